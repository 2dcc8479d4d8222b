"""What people recorded, as lines to read: no ids of keys, each value with its unit, times by the station's clock."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from edge.domain.messages import number, say, text
from edge.domain.readings import CONTACT_WORDS, Kind
from edge.domain.records.commissioning import RECORD as COMMISSIONING
from edge.domain.records.commissioning import Result
from edge.domain.words.saying import SIGNS
from edge.reports.teller import Teller

_SIGNS: Final[Mapping[str, str]] = {**SIGNS, "Cel": SIGNS["degC"]}
_UNIT: Final = re.compile(rf"\b({'|'.join(_SIGNS)})\b")
_NUMBER: Final = re.compile(r"(?<=\d)\.(?=\d)")
#: what the station worked out of a record and tells elsewhere, or keeps for itself
_LEFT_OUT: Final[Mapping[str, frozenset[str]]] = {
    "water_path_treatment": frozenset({"began_s", "done"}),
    COMMISSIONING: frozenset({"rests_on", "taken", "number", "quantity", "low", "high", "u"}),
}
#: keys whose value is a number in a unit of its own
_IN_UNIT: Final[Mapping[str, str]] = {
    "minutes": "min", "contact_min": "min", "litres": "L", "litres_u": "L", "seconds": "s", "seconds_u": "s",
    "trip_ms": "ms", "trip_ma": "mA",
}  # fmt: skip
_TIMES: Final = frozenset({"began_at", "ended_at", "due_at", "time"})
#: of a calibration: what is told in the unit of its point, in this order, and whether with its sign
_OF_POINT: Final[Mapping[str, bool]] = {"as_found": True, "as_left": True, "drift": True, "u": False}
_AS_TYPED: Final = (
    "reference_u", "reference_resolution", "drift_allowance", "instrument", "certificate", "confirm", "why", "due_at",
)  # fmt: skip


def lines_of(record: Mapping[str, Any], tell: Teller) -> Iterator[str]:
    """The lines of a record, as the facts of a day have it."""
    kind, more = str(record["record"]), record["more"]
    if kind == "calibration":
        yield from _calibration(more, tell)
        return
    told = {key: value for key, value in more.items() if key not in _LEFT_OUT.get(kind, ())}
    if "value" in told and "unit" in told:
        told["value"] = f"{told['value']} {told.pop('unit')}"
    if told.get("result") is not None:
        told.pop("passed", None)
    for key, value in told.items():
        yield from _line(key, value, tell)
    if kind == COMMISSIONING and "number" in more:
        yield _fact("limits", _limits(more, tell), tell)


def _line(key: str, value: Any, tell: Teller) -> Iterator[str]:
    special = _SPECIAL.get(key)
    if key == "text":
        yield str(value)
    elif key == "channel_ports" and isinstance(value, list):
        yield from (_port(one, tell) for one in value)
    elif special is not None:
        yield _fact(key, special(tell, value), tell)
    elif key in _TIMES and isinstance(value, str):
        yield _fact(key, tell.at(value), tell)
    elif key in _IN_UNIT and isinstance(value, int | float):
        yield _fact(key, tell.digits(f"{value:g} {_IN_UNIT[key]}"), tell)
    else:
        yield _fact(key, plain(value, tell), tell)


def _fact(key: str, value: str, tell: Teller) -> str:
    return tell.said(say("report.fact", what=text(tell.key(key)), value=text(value)))


def _port(one: Mapping[str, Any], tell: Teller) -> str:
    port = tell.said(say("report.port", port=number(one.get("port", 0)), seconds=number(one.get("seconds", 0.0))))
    return f"{port}, {tell.digits(format(one['ml'], 'g'))} mL" if "ml" in one else port


def plain(value: Any, tell: Teller) -> str:
    """A value as people read it: lists with commas, pairs by their names, numbers and what was typed with the units' signs."""
    if isinstance(value, bool):
        return tell.said(say("report.yes" if value else "report.no"))
    if isinstance(value, Mapping):
        return ", ".join(f"{tell.key(key)} {plain(one, tell)}" for key, one in value.items())
    if isinstance(value, list):
        return ", ".join(plain(one, tell) for one in value)
    if isinstance(value, float):
        return tell.digits(f"{value:g}")
    return _typed(str(value), tell)


def _typed(said: str, tell: Teller) -> str:
    """What was typed with a unit, with that unit's sign."""
    signed, n = _UNIT.subn(lambda found: _SIGNS[found[0]], said)
    return _NUMBER.sub(tell.digits("."), signed) if n else said


def _limits(more: Mapping[str, Any], tell: Teller) -> str:
    """The number of a commissioning item, and what it had to lie within."""
    kind = next((one for one in Kind if one == more.get("quantity")), None)

    def said(value: float) -> str:
        return tell.digits(f"{value:.6g}") if kind is None else tell.value(kind, value)

    low, high = more.get("low"), more.get("high")
    here = said(more["number"])
    if low is not None and high is not None:
        limit = say("commissioning.between", low=text(said(low)), high=text(said(high)))
    elif low is not None:
        limit = say("commissioning.at_least", low=text(said(low)))
    elif high is not None:
        limit = say("commissioning.at_most", high=text(said(high)))
    else:
        return here
    return f"{here} ({tell.said(limit)})"


def _calibration(more: Mapping[str, Any], tell: Teller) -> Iterator[str]:
    """Point, what was compared, what it was and became, by how much it was off, and what a certificate asks for."""
    point = str(more.get("point", ""))
    kind = tell.kind_of(point)
    yield _fact("point", tell.point(point), tell)
    for pair in more.get("given") or more.get("points") or ():
        for key in ("reference", "reading", "readings"):
            if key in pair:
                yield _fact(key, plain(pair[key], tell), tell)
    if kind is not None and "was" in more and "becomes" in more:
        yield _fact("shown", " → ".join(tell.fine_value(kind, more[end], point) for end in ("was", "becomes")), tell)
    for key, is_signed in _OF_POINT.items():
        if kind is not None and isinstance(more.get(key), int | float):
            yield _fact(key, tell.fine(kind, more[key], point, is_signed=is_signed), tell)
    if more.get("adjust") is False:
        yield tell.said(say("report.only_checked"))
    for key in _AS_TYPED:
        if more.get(key) not in (None, ""):
            yield from _line(key, more[key], tell)


def _role(tell: Teller, value: Any) -> str:
    return tell.title("roles", str(value))


def _alarm(tell: Teller, value: Any) -> str:
    return tell.alarm(str(value))


def _point(tell: Teller, value: Any) -> str:
    return tell.point(str(value))


def _step(tell: Teller, value: Any) -> str:
    return tell.said(say(f"report.step.{value}")) if value in ("begins", "ends", "finished") else str(value)


def _timing(tell: Teller, value: Any) -> str:
    return tell.said(say(f"report.timing.{value}")) if value in ("begins", "ends") else str(value)


def _entry(tell: Teller, value: Any) -> str:
    return tell.said(say("report.entry", seq=number(value))) if isinstance(value, int) else str(value)


def _item(tell: Teller, value: Any) -> str:
    return tell.item(str(value))


def _result(tell: Teller, value: Any) -> str:
    return tell.said(say(f"commissioning.state.{value}")) if value in set(Result) else str(value)


def _lasted(tell: Teller, value: Any) -> str:
    return tell.lasted(float(value) / 60.0) if isinstance(value, int | float) else str(value)


def _value(tell: Teller, value: Any) -> str:
    """A word of a contact, or what was typed."""
    words = {word for both in CONTACT_WORDS.values() for word in both}
    return tell.contact_word(str(value)) if value in words else plain(value, tell)


def _flow(tell: Teller, value: Any) -> str:
    return tell.value(Kind.FLOW, value) if isinstance(value, int | float) else str(value)


#: keys whose values have words of their own
_SPECIAL: Final[Mapping[str, Callable[[Teller, Any], str]]] = {
    "role": _role, "alarm": _alarm, "point": _point, "step": _step, "timing": _timing, "of": _entry, "item": _item, "result": _result,
    "contact_s": _lasted, "value": _value, "flow_l_min": _flow, "meter_l_min": _flow,
}  # fmt: skip
