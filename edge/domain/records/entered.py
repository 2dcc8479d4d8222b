"""Points that people read: the value that somebody enters is the point's reading until it is too old.

A record "entered_reading" that names a `point` of a bus of kind "entered" is that point's sample, of the moment at which
it was read. It is judged as any other, stands for the point's stale_after, and then the point is silent. (One that names a
`role` instead is a reading by eye of something that has no point at all: edge/domain/station/by_eye.py.)

The journal keeps what was entered, so after a restart the newest one stands again, by its own age. How old it is only a
trusted clock can tell: until then the point has no value.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from edge.domain.entries import Now
from edge.domain.quantities import UnitError, in_kind, quantity, unit_in
from edge.domain.readings import CONTACT_WORDS, KIND_OF, UNIT_OF, Kind, Role, Sample
from edge.domain.records.book import HEAT_OFF, POWER_UP, RecordBook
from edge.domain.records.fact import Fact
from edge.domain.records.seen import is_alarming, role_of, word_of
from edge.domain.roles import ROLES
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Point, Settings

#: records that give a point a reading by eye, or take one away
BY_EYE: Final = ("entered_reading", "correction")
#: records after which the liquid isn't that which was read before them
_CHANGES_LIQUID: Final[Mapping[str, str]] = {
    "disinfectant_fill": "the reservoir was filled anew",
    "disinfectant_top_up": "liquid was added",
}
COMPARE: Final = "what an instrument shows beside it is a calibration with adjust=false"


def sensed(points: Iterable[Point]) -> Iterator[Point]:
    """The points that the station may follow: all but those that people read, of roles that change by the second."""
    return (point for point in points if not (point.by_people and ROLES[point.role].by_second))


def entered_value(role: Role, body: Mapping[str, Any]) -> float | None:
    """The value of an entered reading in the unit of the role's kind; None where it is none.

    Args:
        body: `value`: "44 psi"; or a number, with its `unit` beside it: a bare number is none. For a contact its word ("tripped").
    """
    value, kind, unit = body.get("value"), KIND_OF[role], body.get("unit")
    if kind is Kind.CONTACT:
        words = CONTACT_WORDS[role]
        word = word_of(value)
        return float(words.index(word)) if isinstance(word, str) and word in words else None
    try:
        if isinstance(value, str):
            return quantity(value, str(kind)) if unit is None or unit_in(value, str(kind)) == unit else None
        if isinstance(value, bool) or not isinstance(value, int | float) or unit is None:
            return None
        return in_kind(float(value), str(unit), kind)
    except (UnitError, OverflowError):
        return None


class Entered:
    """Reads the book, and gives the points that people read what was entered for them."""

    def __init__(self, settings: Settings, watches: Mapping[str, PointMonitor], book: RecordBook) -> None:
        self._watches, self._book = watches, book
        self._points = {point.id: point for point in settings.points}
        self._by_people = [point.id for point in settings.points if point.by_people]
        self._not_fitted = settings.not_fitted
        self._taken: dict[str, Fact] = {}

    def judge(self, body: Mapping[str, Any], at_ms: int, now: Now) -> str:
        """Why an entered reading doesn't count; "" where it does."""
        name, alarming = body.get("point"), role_of(self._book.settings, body)
        if is_alarming(self._book.settings, "entered_reading", body):
            return ""
        if alarming is not None and (
            entered_value(alarming, body) is None
            or self._book.seen(alarming) is not None  # whoever says that it is over
        ):
            return _why_no_value(alarming, body, "")
        if name is None:
            return self._why_not_by_role(body, at_ms, now)
        point = self._points.get(str(name))
        if point is None:
            near = difflib.get_close_matches(str(name), self._points, 1)
            return f"there is no point {name!r}" + (f"; nearest: {near[0]}" if near else "")
        if body.get("role") not in (None, point.role):
            return f"{point.id} has not the role {body['role']!r}: name one of them"
        if not point.by_people:
            return f"{point.id} is read by its sensor: nobody enters its readings; {COMPARE}"
        if now.trusted and now.wall_ms - at_ms > point.stale_after_ms:
            return _why_not(point, body) or "it is older than a reading of this point may be"
        return _why_not(point, body)

    def _why_not_by_role(self, body: Mapping[str, Any], at_ms: int, now: Now) -> str:
        """Why a reading by eye of a role doesn't count; "" where it does."""
        named, looked_at = str(body.get("role")), self._not_fitted
        if named not in list(Role):
            near = difflib.get_close_matches(named, list(Role), 1)
            return f"there is no role {named[:60]!r}" + (f"; nearest: {near[0]}" if near else "")
        role = Role(named)
        if role not in looked_at:
            point = next((p for p in self._points.values() if p.role is role), None)
            if point is not None and point.by_people:
                return f"{role} has a point that people read: enter it with point={point.id}"
            if point is not None:
                return f"{point.id} is read by its sensor: nobody enters its readings; {COMPARE}"
            named = ", ".join(looked_at) or "none"
            return f"nothing looks at it: [not_fitted] of the station file names {named}"
        sensor = self.sensor_of(role)
        if sensor is not None and self._watches[sensor].value(now.mono_ms) is not None:
            return f"{sensor} is read by its sensor, which answers: nobody enters its readings"
        if sensor is not None and at_ms < self.last_good_ms(sensor, now):
            return f"it is from before {sensor} was last heard: read it again"
        by_eye = ROLES[role].by_eye
        if not by_eye.decides:
            return f"nothing looks at a {role} that is read by eye: {by_eye.instead or 'fit a point for it'}"
        why = _why_no_value(role, body, _USUAL.get(KIND_OF[role], ""))
        value = entered_value(role, body)
        if why or value is None:
            return why
        if not by_eye.low <= value <= by_eye.high:
            unit = UNIT_OF[KIND_OF[role]].replace("Cel", "degC")
            return f"{_said(body)} can't be: {role} lies within {by_eye.low:g} and {by_eye.high:g} {unit}"
        if now.trusted and now.wall_ms - at_ms > looked_at[role]:
            return "it is older than a reading of this role may be"
        return ""

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

    def overtaken(self, role: Role, read: Fact) -> str:
        """What happened to the liquid since somebody read its temperature, so that it tells nothing any more; "" where nothing did."""
        if role is not Role.RESERVOIR_TEMPERATURE:
            return ""
        book = self._book
        for record, what in _CHANGES_LIQUID.items():
            since = book.last(record)
            if since is not None and since.body.get("stirred") is not True and not _was_read_after(book, read, since):
                return what
        changed = book.machine_changed()
        if changed is not None and not _was_read_after(book, read, changed):
            return "the equipment was changed"
        off = (book.last(HEAT_OFF), book.last(POWER_UP))
        if any(fact is not None and not _was_read_after(book, read, fact) for fact in off):
            return "the heater, or the machine, was without power"
        return ""

    def point_of(self, role: Role) -> Point | None:
        """The point of this role that people read, if there is one."""
        return next((self._points[name] for name in self._by_people if self._points[name].role is role), None)

    def sensor_of(self, role: Role) -> str | None:
        """The sensor of a role that [not_fitted] names all the same: while it is silent, what people read stands for it. None: no such."""
        found = [p.id for p in self._points.values() if p.role is role and not p.by_people]
        return found[0] if len(found) == 1 and role in self._not_fitted and ROLES[role].by_eye.backs_up else None

    def last_good_ms(self, point: str, now: Now) -> int:
        """Wall time at which a point was last heard; of one that hasn't been since the start, that of the start."""
        return now.wall_ms - (now.mono_ms - self._watches[point].good_ms)

    def signed(self, name: str) -> dict[str, Any]:
        """Who entered the reading that stands, for what is published of the point; nothing for a sensor's."""
        if name not in self._taken or self._watches[name].good is None:
            return {}
        fact = self._book.last("entered_reading", point=name)
        return {} if fact is None else {"by": fact.body.get("by"), "seq": fact.seq}


def _was_read_after(book: RecordBook, read: Fact, other: Fact) -> bool:
    return book.comes_after(read, other) if any(fact is read for fact in book.facts) else read.at_ms >= other.at_ms


def _is_same(before: Fact, newest: Fact | None) -> bool:
    """Facts get their number after they were heard, and are made anew with it."""
    return newest is not None and newest.body is before.body


def _why_not(point: Point, body: Mapping[str, Any]) -> str:
    why = _why_no_value(point.role, body, point.unit or _USUAL.get(point.kind, ""))
    read = entered_value(point.role, body)
    if why or read is None:
        return why
    by_eye = ROLES[point.role].by_eye
    if not max(by_eye.low, point.low) <= read <= min(by_eye.high, point.high):
        return f"{_said(body)}: outside what this point can be"
    return ""


def _why_no_value(role: Role, body: Mapping[str, Any], usual: str) -> str:
    """Why what was entered is no value of this role with its unit; "" where it is one."""
    value, unit, kind = body.get("value"), body.get("unit"), KIND_OF[role]
    if value is None:
        return "value is missing: what was read"
    if entered_value(role, body) is not None:
        return ""
    if kind is Kind.CONTACT:
        return f"value is {value!r}, neither {' or '.join(CONTACT_WORDS[role])}"
    if isinstance(value, int | float) and not isinstance(value, bool) and unit is None:
        return f'value is {value!r} without a unit; such as "{value:g} {usual}" would do'
    return f"{_said(body)}, no {kind} with its unit{_hint(kind, value)}"


def _said(body: Mapping[str, Any]) -> str:
    unit = body.get("unit")
    return f"value is {body.get('value')!r}{'' if unit is None else f' {unit}'}"


def _hint(kind: Kind, value: object) -> str:
    """What is wrong with a typed value, where the station file's own reader of quantities knows it (a decimal comma)."""
    try:
        quantity(str(value), str(kind))
    except UnitError as exc:
        return f" ({exc})" if isinstance(value, str) else ""
    return ""


_USUAL: Final[Mapping[Kind, str]] = {
    Kind.TEMPERATURE: "degC", Kind.PRESSURE: "kPa", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm",
}  # fmt: skip
