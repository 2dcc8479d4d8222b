"""How people spell what a record's key holds, and the form of each record told in these spellings, with a line to be pasted."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from edge.domain.quantities import UnitError, quantity
from edge.domain.records import forms

#: what a kind of key holds, as it is typed
SPELLING: Final[Mapping[str, str]] = MappingProxyType(
    {
        "flag": "yes or no",
        "names": "ids with commas between them, such as coarse,fine",
        "ports": "port 3: 11.8 s, or port 3: 100 mL in 11.8 s; several with commas between them",
        "reading": "a value with its unit, such as 44 psi",
        "quantity": "a value with its unit, such as 0.05 K",
        "line": f"up to {forms.LONGEST_LINE} characters",
        "note": f"up to {forms.LONGEST_NOTE} characters",
    }
)
#: numbers that may be typed with their unit: dimension, how many of its own units make one of the key's, an example
_UNITS: Final[Mapping[str, tuple[str, float, str]]] = MappingProxyType(
    {
        "litres": ("volume", 1.0, "11 L"),
        "contact_min": ("duration", 60_000.0, "10 min"),
        "minutes": ("duration", 60_000.0, "30 min"),
        "trip_ms": ("duration", 1.0, "25 ms"),
        "seconds": ("duration", 1000.0, "62.4 s"),
    }
)
_MILLIAMPERES: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) *mA")
#: times that may be told by the station's clock
_LOCAL: Final = ("began_at", "ended_at")
#: what people write for true and false
_FLAGS: Final[Mapping[str, bool]] = MappingProxyType(
    {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
)
#: what matters of a record beyond what its form can't do without: asked for on a terminal, an empty answer leaves it out
ALSO_ASKED: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "disinfectant_fill": ("lot", "expires", "opened"),
        "water_path_treatment": ("drained", "rinsed", "residue_free"),
        "hold": ("why",),
        "concentration_check": ("value",),
    }
)
#: a line for each record, that fits the example station
EXAMPLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "daily_test": "passed=yes 'port 3: 11.8 s'",
        "water_path_treatment": "contact_min='10 min' drained=yes rinsed=yes residue_free=yes",
        "filter_change": "filters=coarse,fine lot=0123",
        "disinfectant_fill": "lot=0123 expires=2027-03 opened=2026-03-14 litres='11 L'",
        "disinfectant_top_up": "litres='2 L' stirred=yes",
        "concentration_check": "passed=yes value='0.35 %'",
        "calibration": """point=reservoir points='[{"reference": "35.00 degC"}]' reference_u='0.05 K'""",
        "entered_reading": "point=gauge value='44 psi'",
        "outlet_test": "outlet=heater passed=yes trip_ms='25 ms'",
        "hold": "why='water sample is awaited' name=sample",
        "release": "name=sample",
        "equipment_change": "what=loaner serial=HL-7",
        "service": "duty=air-filter",
        "work_begins": "what='a hose is changed'",
        "work_ends": "what='a hose was changed'",
        "acknowledge": "alarm=leak",
        "reset": "alarm=leak",
        "shelve": "alarm=leak minutes='30 min' why=mopping",
        "unshelve": "alarm=leak",
        "out_of_service": "alarm=leak why='the sensor is away'",
        "in_service": "alarm=leak",
        "correction": "of=17 why='wrong filter'",
        "note": "text='the plumber was here'",
        "clock_confirmed": "time=2026-03-16T05:50:00Z",
        "commissioning": "item=standpipe passed=yes",
    }
)


def flag(text: str) -> Any:
    """True, False, or the text itself where it is neither."""
    return _FLAGS.get(text.strip().lower(), text)


def number(key: str, text: str) -> float | None:
    """A number that is typed with its unit, in the unit of its key; None where it is none.

    >>> number("contact_min", "600 s"), number("litres", "500 mL"), number("trip_ma", "5 mA"), number("of", "5 L")
    (10.0, 0.5, 5.0, None)
    """
    if key == "trip_ma":
        found = _MILLIAMPERES.fullmatch(text.strip())
        return None if found is None else float(found[1])
    if key not in _UNITS:
        return None
    dimension, own, _ = _UNITS[key]
    try:
        return quantity(text, dimension) / own
    except UnitError:
        return None


def held(name: str, key: forms.Key) -> str:
    """What a key may hold, as it is typed.

    >>> held("passed", forms.PASSED), held("litres", forms.FORMS["disinfectant_fill"].keys["litres"])
    ('yes or no', 'such as 11 L, 0.01 to 1000')
    """
    if name in _UNITS:
        return f"such as {_UNITS[name][2]}, {key.low:g} to {key.high:g}"
    if name in _LOCAL:
        return "05:00, or 2026-03-14 05:00, by the station's clock"
    return forms.held(key) if key.words or key.kind not in SPELLING else SPELLING[key.kind]


def says(key: forms.Key) -> str:
    """What a key is for, without how a program writes it."""
    return re.split(r": \[\{|: \[", key.says)[0] if key.kind in ("ports", "names") else key.says


def expected(fault: forms.Fault, kind: str) -> str:
    """What would do in place of what doesn't fit, as it is typed."""
    key = forms.keys_of(kind).get(fault.key)
    if key is None or fault.what == forms.MISSING or fault.expected != forms.KINDS[key.kind][1]:
        return fault.expected
    return held(fault.key, key)


def help_text(record: str) -> str:
    """The form of a record, as it is typed, with an example."""
    form = forms.FORMS[record]
    needed = {key for group in form.needs for key in group if len(group) == 1}
    either = {key: group for group in form.needs if len(group) > 1 for key in group}
    lines = [f"{record}: {form.says}", ""]
    for name, key in {**form.keys, "note": forms.COMMON["note"]}.items():
        must = "needed" if name in needed else f"{' or '.join(either[name])} needed" if name in either else "optional"
        lines.append(f"  {name:<18} {must}; {says(key)} ({held(name, key)})")
    lines += ["", f"  warmwell record {record} --by NAME KEY=VALUE… [--at TIME]"]
    lines += ["", "For example:", f"  warmwell record {record} --by NAME {EXAMPLES[record]}"]
    return "\n".join(
        [*lines, "", "It ends with 0 where the record was kept; whether it counts is said, with --json as `counts`."]
    )
