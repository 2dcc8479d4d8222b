"""Points that people read: the value that somebody enters is the point's reading until it is too old.

A record "entered_reading" that names a `point` of a bus of kind "entered" is that point's sample, of the moment at which
it was read. It is judged as any other, stands for the point's stale_after, and then the point is silent. (One that names a
`role` instead is a reading by eye of something that has no point at all: edge/domain/readiness.py.)

The journal keeps what was entered, so after a restart the newest one stands again, by its own age. How old it is only a
trusted clock can tell: until then the point has no value.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from edge.domain.duties import Book, Fact
from edge.domain.entries import Now
from edge.domain.quantities import UnitError, in_kind, quantity
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Kind, Role, Sample
from edge.domain.settings import Point, Settings
from edge.domain.validity import PointWatch

#: records that give a point a reading by eye, or take one away
BY_EYE: Final = ("entered_reading", "correction")
#: roles whose conditions rest on readings each second (draws, warm-up): what people read of them is evidence by eye instead
_FOLLOWED: Final = frozenset(
    {
        Role.RESERVOIR_TEMPERATURE, Role.BASIN_TEMPERATURE, Role.SUPPLY_PRESSURE, Role.BETWEEN_FILTERS_PRESSURE,
        Role.FILTERED_PRESSURE, Role.SUPPLY_FLOW,
    }
)  # fmt: skip


def sensed(points: Iterable[Point]) -> Iterator[Point]:
    """The points that the station may follow: all but those that people read, of roles that change by the second."""
    return (point for point in points if not (point.by_people and point.role in _FOLLOWED))


def entered_value(role: Role, body: Mapping[str, Any]) -> float | None:
    """The value of an entered reading in the unit of the role's kind; None where it is none.

    Args:
        body: `value`: "44 psi"; or a number, with its `unit` beside it, else in the unit of the kind. For a contact its word
            ("tripped"), or 1 and 0.
    """
    value, kind, unit = body.get("value"), KIND_OF[role], body.get("unit")
    if kind is Kind.CONTACT:
        if isinstance(value, str):
            words = CONTACT_WORDS[role]
            return float(words.index(value)) if value in words else None
        return float(value) if isinstance(value, int | float) and value in (0, 1) else None
    try:
        if isinstance(value, str):
            return quantity(value, str(kind))
        if isinstance(value, bool) or not isinstance(value, int | float):
            return None
        return float(value) if unit is None else in_kind(float(value), str(unit), kind)
    except (UnitError, OverflowError):
        return None


class Entered:
    """Reads the book, and gives the points that people read what was entered for them."""

    def __init__(self, settings: Settings, watches: Mapping[str, PointWatch], book: Book) -> None:
        self._watches, self._book = watches, book
        self._points = {point.id: point for point in settings.points}
        self._by_people = [point.id for point in settings.points if point.by_people]
        self._taken: dict[str, Fact] = {}

    def judge(self, body: Mapping[str, Any], at_ms: int, now: Now) -> tuple[bool, str]:
        """Does an entered reading count, and if not, why not?"""
        name = body.get("point")
        if name is None:
            return True, ""  # of a role that has no point
        point = self._points.get(str(name))
        if point is None:
            return False, f"there is no point {name!r}"
        if not point.by_people:
            return False, f"{point.id} is read by its sensor: nobody enters its readings"
        why = _why_not(point, body)
        if why:
            return False, why
        if now.trusted and now.wall_ms - at_ms > point.stale_after_ms:
            return False, "it is older than a reading of this point may be"
        return True, ""

    def samples(self, now: Now) -> list[Sample]:
        """What stands now and hasn't been heard yet. One that was withdrawn takes its value with it."""
        found = []
        for name in self._by_people:
            newest = self._book.last("entered_reading", point=name)
            before = self._taken.get(name)
            if before is not None and not _is_same(before, newest):
                del self._taken[name]
                self._watches[name].forget()
                before = None
            if newest is None or before is not None or not (now.trusted or newest.at_ms == now.wall_ms):
                continue
            self._taken[name] = newest
            value = entered_value(self._points[name].role, newest.body)
            age_ms = max(0, now.wall_ms - newest.at_ms)
            if value is not None and age_ms <= self._points[name].stale_after_ms:
                found.append(Sample(name, now.mono_ms - age_ms, value))
        return found

    def point_of(self, role: Role) -> Point | None:
        """The point of this role that people read, if there is one."""
        return next((self._points[name] for name in self._by_people if self._points[name].role is role), None)

    def signed(self, name: str) -> dict[str, Any]:
        """Who entered the reading that stands, for what is published of the point; nothing for a sensor's."""
        if name not in self._taken or self._watches[name].good is None:
            return {}
        fact = self._book.last("entered_reading", point=name)
        return {} if fact is None else {"by": fact.body.get("by"), "seq": fact.seq}


def _is_same(before: Fact, newest: Fact | None) -> bool:
    """Facts get their number after they were heard, and are made anew with it."""
    return newest is not None and newest.body is before.body


def _why_not(point: Point, body: Mapping[str, Any]) -> str:
    value, unit = body.get("value"), body.get("unit")
    if value is None:
        return "value is missing: what was read"
    if point.kind is Kind.CONTACT:
        words = " or ".join(CONTACT_WORDS[point.role])
        return "" if entered_value(point.role, body) is not None else f"value is {value!r}, neither {words}"
    if isinstance(value, int | float) and not isinstance(value, bool) and unit is None:
        return f'value is {value!r} without a unit; such as "{value:g} {point.unit or _USUAL[point.kind]}" would do'
    read = entered_value(point.role, body)
    if read is None:
        return f"value is {value!r}{'' if unit is None else f' {unit}'}, no {point.kind} with its unit{_hint(point, value)}"
    if not point.low <= read <= point.high:
        return f"value is {value!r}{'' if unit is None else f' {unit}'}: outside what this point can be"
    return ""


def _hint(point: Point, value: object) -> str:
    """What is wrong with a typed value, where the station file's own reader of quantities knows it (a decimal comma)."""
    try:
        quantity(str(value), str(point.kind))
    except UnitError as exc:
        return f" ({exc})" if isinstance(value, str) else ""
    return ""


_USUAL: Final[Mapping[Kind, str]] = {
    Kind.TEMPERATURE: "degC", Kind.PRESSURE: "kPa", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm",
}  # fmt: skip
