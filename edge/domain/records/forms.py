"""The form of every record: which keys it has, what each may be, which it can't do without. Plain data, and one reader of it.

API and command line refuse what doesn't fit, with the nearest key (border.py). A record that comes by a replay is kept all the same and
does not count (edge/domain/records/counting.py). What only a station can tell (which filters it has, which order is right) is judged there.
"""

from __future__ import annotations

import difflib
import re
from calendar import monthrange
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from math import isfinite
from types import MappingProxyType
from typing import Any, Final, NamedTuple, TypeGuard

from edge.domain.entries import wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.messages import Message, names, number, say

LONGEST_NAME: Final = 80
LONGEST_LINE: Final = 200
LONGEST_NOTE: Final = 2_000
#: names in a list: filters, and the like
MOST_NAMES: Final = 20
MOST_PORTS: Final = 200
#: a date as ISO 8601 writes it: whoever writes 03/04/2027 means one of two days
_DATE: Final = re.compile(r"(20[0-9]{2})-([0-9]{2})(?:-([0-9]{2}))?")
#: no channel port delivers its volume sooner [s] (our own number)
SHORTEST_S: Final = 1.0
#: keys that are two words for one thing
SAME: Final = (("filters", "filter"), ("outlet", "of"))

MISSING: Final = "it is missing"


class Key(NamedTuple):
    """One key of a form: what it holds (a row of KINDS), what it is for, between what a number lies (both allowed), or the only words.
    `is_own`: other records have a key of this name that is for something else."""

    kind: str
    says: str
    low: float = 0.0
    high: float = 1e9
    words: tuple[str, ...] = ()
    is_own: bool = False


class Form(NamedTuple):
    """One record's form. `needs`: of each group at least one key. `made`: what the station adds, which nobody enters."""

    says: str
    keys: Mapping[str, Key]
    needs: tuple[tuple[str, ...], ...] = ()
    made: frozenset[str] = frozenset()


class Fault(NamedTuple):
    """Where a body doesn't fit its form. `msg`: the same for whoever has the form before them; None where no form can lead to it."""

    key: str
    what: str
    expected: str
    do: str = "Correct it and send it again"
    msg: Message | None = None

    def __str__(self) -> str:
        if self.what == MISSING:
            return f"{self.key} is missing: {self.expected}"
        return f"{self.key}: {self.what}; expected {self.expected}"


WHY: Final = Key("line", "why")
LOT: Final = Key("line", "lot number")
PRODUCT: Final = Key("line", "what it is called on its label")
OPENED: Final = Key("flag", "whether the clean side of the water path was opened")
ALARM: Final = Key("line", "id of the alarm, such as outlet_tripped:heater")
FILTER: Final = Key("line", "id of the filter in the station file")
PASSED: Final = Key("flag", "whether it passed")

BASIN: Final = Key("line", "id of the basin that it is about alone; left out: the station")

#: steps of a water-path treatment that is told as it goes on
BEGINS: Final = "begins"
ENDS: Final = "ends"
FINISHED: Final = "finished"
#: what follows its contact
AFTERWARDS: Final = ("drained", "rinsed", "residue_free")

#: every record has these
COMMON: Final[Mapping[str, Key]] = MappingProxyType(
    {
        "record": Key("line", "which record it is"),
        "by": Key("line", "who did it"),
        "at": Key("any_time", "when it happened; left out: now"),
        "note": Key("note", "whatever else is worth keeping"),
    }
)
#: what the station adds to a record when it keeps it
KEPT: Final = frozenset({"counts", "why_not", "why_not_msg", "stands"})
#: what the API adds of whoever sent it
SIGNED: Final = frozenset({"by_role", "proven"})

FORMS: Final[Mapping[str, Form]] = MappingProxyType(
    {
        "daily_test": Form(
            "The daily test. Where ports were measured they decide, whatever else is said of it.",
            {
                "passed": PASSED,
                "channel_ports": Key("ports", 'what each measured port gave: [{"port": 3, "seconds": 11.8}], with "ml" '
                                     "where it isn't the volume of the station file"),
                "checked": Key("names", "the station file's other check items that were found well: [daily_test] also"),
                "failed": Key("names", "the check items that were not found well"),
                "basin": Key("line", "id of the basin, whose ports are numbered from 1; left out: all, numbered through all basins",
                             is_own=True),
            },
            (("passed", "channel_ports", "failed"),),
        ),
        "water_path_treatment": Form(
            "The water path was disinfected, drained and rinsed: when its contact began and ended, or how long it lasted; or step by step.",
            {
                "contact_min": Key("number", "minutes of contact", 0.0, 1440.0),
                "began_at": Key("time", "when the contact began"),
                "ended_at": Key("time", "when the contact ended"),
                "step": Key(
                    "line", "its contact begins, ends, or (drained, rinsed, looked at) it is finished; each has its own `at`",
                    words=(BEGINS, ENDS, FINISHED),
                ),
                "drained": Key("flag", "whether it was drained after the contact"),
                "rinsed": Key("flag", "whether it was drained and rinsed"),
                "residue_free": Key("flag", "whether its rinse water was looked at and is free of residue"),
                "product": PRODUCT,
                "lot": LOT,
            },
            (("contact_min", "began_at", "step"),),
            frozenset(("contact_s", "began_s", "done")),
        ),
        "filter_change": Form(
            "Filters were changed: say which.",
            {
                "filters": Key("names", 'ids of the filters in the station file: ["coarse","fine"]'),
                "filter": FILTER,
                "product": PRODUCT,
                "lot": LOT,
                "why": WHY,
            },
            (("filters", "filter"),),
        ),
        "disinfectant_fill": Form(
            "The reservoir was filled anew: a reuse life begins.",
            {
                "product": PRODUCT,
                "lot": LOT,
                "expires": Key("date", "the last date on the label", is_own=True),
                "opened": Key("date", "when its container was opened"),
                "litres": Key("number", "how much", 0.01, 1000.0),
                "opened_clean_side": OPENED,
                "why": WHY,
            },
        ),
        "disinfectant_top_up": Form(
            "Liquid was added. It begins no new reuse life.",
            {
                "litres": Key("number", "how much", 0.01, 1000.0),
                "stirred": Key("flag", "whether it was stirred, so that its temperature is that of the whole"),
                "product": PRODUCT,
                "lot": LOT,
                "why": WHY,
            },
        ),
        "concentration_check": Form(
            "The disinfectant's concentration was checked. One that failed stands until a check passes or it is filled anew.",
            {
                "passed": PASSED,
                "value": Key("reading", 'what was read, with its unit, such as "0.35 %"', is_own=True),
                "unit": Key("line", "unit of a bare value"),
                "strip": Key("line", "which test strip"),
                "lot": LOT,
                "expires": Key("date", "the last date on the strips", is_own=True),
            },
            (("passed",),),
        ),
        "calibration": Form(
            "A point was compared with a reference.",
            {
                "point": Key("line", "id of the point"),
                "points": Key("pairs", 'references, with what the point read: [{"reference": "35.00 degC", "reading": "34.87 degC"}]'),
                "reference_u": Key("quantity", "standard uncertainty of the reference, such as 0.05 K"),
                "reference_resolution": Key("quantity", "step of the reference's display; left out: by the digits written"),
                "confirm": Key("line", "the reason for an unusual correction, by whoever answers for it"),
                "drift_allowance": Key("quantity", "how far the point may drift until the next one"),
                "due_at": Key("time", "when it is due again; left out: in a year"),
                "instrument": Key("line", "the reference instrument", is_own=True),
                "certificate": Key("line", "its certificate"),
                "adjust": Key("flag", "false: a check, nothing is adjusted"),
                "why": WHY,
            },
            (("point",), ("points",), ("reference_u",)),
            frozenset(
                (
                    "gain offset u u_parts as_found as_left unit identity transducer drift beyond_allowance was becomes reading error "
                    "corrects changes given told_at beyond agrees_with"
                ).split()
            ),
        ),
        "entered_reading": Form(
            "Something was read by eye.",
            {
                "point": Key("line", "id of the point that people read", is_own=True),
                "role": Key("line", "the role of what was read, that [not_fitted] names"),
                "value": Key("reading", 'what was read, with its unit, such as "44 psi"; of a contact its word', is_own=True),
                "unit": Key("line", "unit of a bare value"),
                "instrument": Key("line", "what it was read from", is_own=True),
            },
            (("point", "role"), ("value",)),
        ),
        "outlet_test": Form(
            "A ground-fault outlet was tried with its test button. One that failed stands until a test passes.",
            {
                "outlet": Key("line", "which outlet, such as heater"),
                "of": Key("line", "the same by another name", is_own=True),
                "passed": PASSED,
                "trip_ms": Key("number", "after how many milliseconds it tripped", 0.0, 60_000.0),
                "trip_ma": Key("number", "at how many milliamperes it tripped", 0.0, 1_000.0),
                "instrument": Key("line", "what it was tested with", is_own=True),
            },
            (("outlet", "of"), ("passed",)),
            frozenset(("trip_seen",)),
        ),
        "hold": Form(
            "The station may not start until it is released.",
            {
                "why": WHY,
                "name": Key("line", "a name for it, where several may stand; a release names it", is_own=True),
                "released_by": Key("line", "who may release it"),
                "basin": BASIN,
            },
        ),
        "release": Form(
            "Ends the hold of this name, or of this basin alone, or every hold.",
            {"name": Key("line", "which hold", is_own=True), "why": WHY, "basin": BASIN},
        ),
        "equipment_change": Form(
            "Another machine, or a part of it, stands here: what was learned is forgotten, and test, treatment and liquid are owed.",
            {
                "what": Key("line", "what was changed: loaner, swap, repair, sensor_fitted, …", is_own=True),
                "point": Key("line", "id of the point whose sensor was fitted", is_own=True),
                "serial": Key("line", "serial number of what came"),
                "opened_clean_side": OPENED,
                "why": WHY,
            },
        ),
        "service": Form(
            "Something was looked at, or mended.",
            {
                "what": Key("line", "what was done: repair, …", is_own=True),
                "duty": Key("line", "which duty of the station file's own list was done: [duty.…]"),
                "value": Key("reading", 'its result, with its unit, such as "3 CFU/100 mL"', is_own=True),
                "unit": Key("line", "unit of a bare value"),
                "filter": FILTER,
                "point": Key("line", "id of the point"),
                "opened_clean_side": OPENED,
                "passed": PASSED,
                "why": WHY,
            },
        ),
        "work_begins": Form(
            "Somebody works on the station.",
            {"what": Key("line", "what is done", is_own=True), "why": WHY, "basin": BASIN},
        ),
        "work_ends": Form(
            "The work has ended.",
            {"what": Key("line", "what was done", is_own=True), "why": WHY, "basin": BASIN},
        ),
        "acknowledge": Form("An alarm was seen.", {"alarm": ALARM}, (("alarm",),)),
        "reset": Form("An alarm that stays until somebody resets it is over.", {"alarm": ALARM, "why": WHY}, (("alarm",),)),
        "shelve": Form(
            "An alarm is put aside for a while.",
            {"alarm": ALARM, "minutes": Key("number", "for how long", 1.0, 1440.0), "why": WHY},
            (("alarm",), ("minutes",)),
        ),
        "unshelve": Form("A shelf ends.", {"alarm": ALARM, "why": WHY}, (("alarm",),)),
        "out_of_service": Form(
            "An alarm is taken out of service.", {"alarm": ALARM, "why": WHY}, (("alarm",), ("why",))
        ),
        "in_service": Form("An alarm is back in service.", {"alarm": ALARM, "why": WHY}, (("alarm",),)),
        "correction": Form(
            "A record was a mistake and counts no more.",
            {"of": Key("whole", "seq of its entry", 1, 2**53 - 1, is_own=True), "why": WHY},
            (("of",),),
        ),
        "commissioning": Form(
            "An item of the commissioning list was looked at or measured.",
            {
                "item": Key("line", "which item, such as standpipe or zero:supply"),
                "passed": PASSED,
                "value": Key("reading", 'what was read, with its unit, such as "0.2 psi"; left out: what the station reads now',
                             is_own=True),
                "unit": Key("line", "unit of a bare value"),
                "timing": Key(
                    "line", "of a pressure decay that the station times: it begins, once the valve is shut; or it ends before its time",
                    words=(BEGINS, ENDS),
                ),
                "before": Key("quantity", 'of a pressure decay: what was read when the valve was shut, such as "52 psi"'),
                "after": Key("quantity", "what was read afterwards; left out: what the station reads now"),
                "litres": Key("number", "how much", 0.01, 1000.0),
                "seconds": Key("number", "how long it took", 0.1, 3600.0),
                "litres_u": Key("number", "standard uncertainty of the litres", 0.0, 100.0),
                "seconds_u": Key("number", "standard uncertainty of the seconds", 0.0, 60.0),
                "not_applicable": Key("line", "why it does not apply to this station"),
                "instrument": Key("line", "what it was measured with", is_own=True),
            },
            (("item",),),
            frozenset("result taken number quantity low high u flow_l_min meter_l_min rests_on".split()),
        ),
        "note": Form("A note.", {"text": Key("note", "what is worth keeping")}),
        "clock_confirmed": Form(
            "The station's date is right though it is months from the newest one that was trusted.",
            {"time": Key("time", "the time now, by a watch that is right"), "why": WHY},
            (("time",),),
        ),
    }
)  # fmt: skip
PORT: Final[Mapping[str, Key]] = MappingProxyType(
    {
        "port": Key("whole", "its number", 1, MOST_PORTS),
        "seconds": Key("number", "how long it took", SHORTEST_S, 86_400.0),
        "ml": Key("number", "millilitres", 0.0, 1e6),
    }
)
PAIR: Final[Mapping[str, Key]] = MappingProxyType(
    {
        "reference": Key("quantity", "what the reference showed"),
        "reading": Key("quantity", "what the point read; left out: what it reads now"),
        "readings": Key("quantities", "or several readings of it"),
    }
)


def is_number(value: Any) -> bool:
    """A number that is finite; true and false are none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _is_time(value: Any) -> bool:
    try:
        return isinstance(value, str) and wall_ms_of(value) >= 0
    except (ValueError, OverflowError):
        return False


def last_day(value: Any) -> date | None:
    """The date that a label's "2027-03-31" or "2027-03" means: of a month its last day; None where it is none.

    >>> last_day("2027-02"), last_day("03/04/2027")
    (datetime.date(2027, 2, 28), None)
    """
    found = _DATE.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        return None
    year, month, day = int(found[1]), int(found[2]), found[3]
    try:
        return date(year, month, int(day)) if day else date(year, month, monthrange(year, month)[1])
    except ValueError:  # also calendar's own of a month that there isn't
        return None


def first_day(value: Any) -> date | None:
    """The same of when something was opened: of a month its first day, which is the earliest that it can have been.

    >>> first_day("2027-02")
    datetime.date(2027, 2, 1)
    """
    last = last_day(value)
    return last.replace(day=1) if last is not None and str(value).count("-") == 1 else last


def _is_text(value: Any, longest: int) -> bool:
    return isinstance(value, str) and bool(value.strip()) and len(value) <= longest


def _is_quantity(value: Any) -> bool:
    return is_number(value) or _is_text(value, LONGEST_LINE)


def _are_names(value: Any) -> bool:
    return (
        isinstance(value, list) and 0 < len(value) <= MOST_NAMES and all(_is_text(one, LONGEST_NAME) for one in value)
    )


#: what a key can hold: is it that, and how it is said
KINDS: Final[Mapping[str, tuple[Callable[[Any], bool], str]]] = MappingProxyType(
    {
        "line": (lambda v: _is_text(v, LONGEST_LINE), f"text of 1 to {LONGEST_LINE} characters"),
        "note": (lambda v: isinstance(v, str) and len(v) <= LONGEST_NOTE, f"text of up to {LONGEST_NOTE} characters"),
        "number": (is_number, "a number"),
        "whole": (lambda v: isinstance(v, int) and not isinstance(v, bool), "a whole number"),
        "flag": (lambda v: isinstance(v, bool), "true or false"),
        "date": (lambda v: last_day(v) is not None, "a date as 2027-03-31, or 2027-03 for the whole month"),
        "time": (_is_time, "a time with Z or an offset, 2026-03-16T07:10:00Z"),
        "any_time": (lambda v: v is not None, "a time with Z or an offset, 2026-03-16T07:10:00Z"),
        "names": (_are_names, 'a list of ids, such as ["coarse","fine"]'),
        "reading": (_is_quantity, 'a value with its unit, such as "44 psi"'),
        "quantity": (_is_quantity, 'a value with its unit, such as "0.05 K"'),
        "quantities": (lambda v: isinstance(v, list) and bool(v) and all(map(_is_quantity, v)), "a list of values"),
        "ports": (
            lambda v: isinstance(v, list) and 0 < len(v) <= MOST_PORTS,
            'a list such as [{"port": 3, "seconds": 11.8}]',
        ),
        "pairs": (lambda v: isinstance(v, list), 'a list such as [{"reference": "35.00 degC"}]'),
    }
)
#: the same for whoever has the form before them
_REFUSED: Final[Mapping[str, Message]] = MappingProxyType(
    {
        "line": say("refused.line", most=number(LONGEST_LINE)), "note": say("refused.note", most=number(LONGEST_NOTE)),
        "number": say("refused.number"), "whole": say("refused.whole"), "date": say("refused.date"),
        "time": say("refused.time"), "any_time": say("refused.time"), "names": say("refused.listed"),
        "reading": say("refused.quantity"), "quantity": say("refused.quantity"),
    }
)  # fmt: skip
_PARTS: Final = MappingProxyType({"ports": (PORT, ("port", "seconds")), "pairs": (PAIR, ("reference",))})


def says_of(record: str, key: str) -> Message:
    """What a key of a record is for, in whatever language it is read."""
    return say(f"form.{record}.{key}") if FORMS[record].keys[key].is_own else say(f"form.key.{key}")


def keys_of(record: str) -> dict[str, Key]:
    """Every key that a record may have."""
    return {**COMMON, **FORMS[record].keys}


def faults(body: Mapping[str, Any]) -> Iterator[Fault]:
    """Where the body of a known record doesn't fit its form, the first first. What the station itself adds is let pass.

    >>> [str(fault) for fault in faults({"record": "hold", "by": "kim", "reason": "culture"})]
    ["reason: there is no such key in a hold; expected one of why, name, released_by, basin, note; nearest: 'why'"]
    """
    form = FORMS[str(body["record"])]
    keys = keys_of(str(body["record"]))
    for key, value in body.items():
        if key in KEPT or key in SIGNED or key in form.made:
            continue
        if key not in keys:
            yield _unknown(str(key), str(body["record"]), [*form.keys, "note"])
        elif value is not None:
            yield from _held(str(key), value, keys[key])
    for group in form.needs:
        if all(body.get(key) is None for key in group):
            yield Fault(
                group[0],
                MISSING,
                " or ".join(f"{key} ({keys[key].says})" for key in group),
                "Add it",
                say("refused.missing"),
            )
    for one, other in SAME:
        if (
            one in keys
            and other in keys
            and None not in (body.get(one), body.get(other))
            and not _agree(body, one, other)
        ):
            yield Fault(
                other,
                f"it is {shown(body[other])} beside {one} {shown(body[one])}",
                f"{one} or {other}, not both: they mean the same",
                f"Leave {other} out",
            )
    if body["record"] == "water_path_treatment" and body.get("step") is not None:
        for key in ("contact_min", "began_at", "ended_at"):
            if body.get(key) is not None:
                yield Fault(key, "it is told beside step", "the step alone: its time is `at`", "Leave one of them out")
    elif body["record"] == "water_path_treatment" and body.get("ended_at") is not None and body.get("began_at") is None:
        yield Fault(
            "began_at", MISSING, "the beginning of a contact whose end is told", "Add it", say("refused.beginning")
        )


def known(body: Mapping[str, Any]) -> str:
    """The kind of a record's body.

    Raises:
        RecordRefused: there is no such kind.
    """
    record = body.get("record")
    if isinstance(record, str) and record in FORMS:
        return record
    near = difflib.get_close_matches(str(record)[:60], FORMS, 1)
    raise RecordRefused(
        "no such record",
        where=f"record {str(record)[:40]!r}",
        expected="nearest: " + near[0] if near else "one of " + ", ".join(FORMS),
        do="Correct the word and send it again",
    )


def _agree(body: Mapping[str, Any], one: str, other: str) -> bool:
    return body[other] in (body[one], [body[one]]) or body[one] == [body[other]]


def is_name(given: object) -> TypeGuard[str]:
    """Can it be the name that signs a record: something that can be read, and not too long?

    >>> is_name("M. Osei"), is_name("  "), is_name("M\\nOsei"), is_name(None)
    (True, False, False, False)
    """
    return isinstance(given, str) and bool(given.strip()) and len(given) <= LONGEST_NAME and given.isprintable()


def _unknown(key: str, record: str, known: list[str]) -> Fault:
    near = nearest(key, known)
    hint = f"; nearest: {near!r}" if near else ""
    where = f"a {record}" if record in FORMS else record
    return Fault(key, f"there is no such key in {where}", f"one of {', '.join(known)}{hint}", "Correct the key")


#: what people write for a key that is called otherwise
_MEANT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "reason": "why", "because": "why", "cause": "why", "comment": "note", "remark": "note", "ports": "channel_ports",
        "stages": "filters", "stage": "filter", "minutes": "contact_min", "contact": "contact_min", "outlet_id": "outlet",
        "result": "passed", "ok": "passed", "pass": "passed", "volume": "litres", "liters": "litres", "seq": "of", "id": "alarm",
    }
)  # fmt: skip


def nearest(key: str, known: list[str]) -> str | None:
    """The key that was probably meant."""
    meant = _MEANT.get(key.lower())
    if meant in known:
        return meant
    return next(iter(difflib.get_close_matches(key[:60].lower(), known, 1, 0.5)), None)


def _held(where: str, value: Any, key: Key) -> Iterator[Fault]:
    fits, words = KINDS[key.kind]
    if not fits(value):
        yield Fault(where, f"it is {shown(value)}", _hint(value, key) or words, msg=_REFUSED.get(key.kind))
        return
    if key.words and value not in key.words:
        yield Fault(
            where,
            f"it is {shown(value)}",
            f"one of {', '.join(key.words)}",
            msg=say("refused.word", words=names(key.words)),
        )
    if key.kind in ("number", "whole") and not key.low <= value <= key.high:
        bounds = {"low": number(key.low)} | ({"high": number(key.high)} if key.high <= 1e9 else {})
        span = say("refused.between", **bounds) if "high" in bounds else say("refused.least", **bounds)
        yield Fault(where, f"it is {shown(value)}", _span(key), msg=span)
    keys, needed = _PARTS.get(key.kind, ({}, ()))
    for one in value if keys else ():
        if not isinstance(one, Mapping):
            yield Fault(where, f"{shown(one)} is in it", words)
            continue
        for name, part in one.items():
            if name not in keys:
                yield _unknown(str(name), where, list(keys))._replace(key=f"{where}.{name}")
            else:
                yield from _held(f"{where}.{name}", part, keys[name])
        for name in needed:
            if name not in one:
                yield Fault(f"{where}.{name}", MISSING, keys[name].says, "Add it", say("refused.missing"))


def _span(key: Key) -> str:
    return f"{key.low:g} to {key.high:g}" if key.high <= 1e9 else f"{key.low:g} or more"


def _hint(value: Any, key: Key) -> str:
    """How a text that was meant as a list is written."""
    if key.kind != "names" or not isinstance(value, str) or not value.strip():
        return ""
    listed = ",".join(f'"{name.strip()}"' for name in value.split(","))
    return f"a list, such as [{listed}]"


def shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:60] + "…"


def held(key: Key) -> str:
    """What a key may hold, for people."""
    kind = ", ".join(key.words) or KINDS[key.kind][1]
    return f"{kind}, {_span(key)}" if key.kind in ("number", "whole") and key.high != 1e9 else kind
