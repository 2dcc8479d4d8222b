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
from edge.domain.messages import Message, Value, name, names, part, say, text
from edge.domain.messages import quantity as quantity_of
from edge.domain.quantities import UnitError, in_kind, quantity, unit_in
from edge.domain.readings import CONTACT_WORDS, KIND_OF, UNIT_OF, Kind, Role, Sample
from edge.domain.records.book import HEAT_OFF, POWER_UP, RecordBook
from edge.domain.records.counting import perhaps
from edge.domain.records.fact import Fact
from edge.domain.records.seen import ends_sight, is_alarming, role_of, word_of
from edge.domain.roles import ROLES
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Point, Settings

#: records that give a point a reading by eye, or take one away
BY_EYE: Final = ("entered_reading", "correction")
#: records after which the liquid isn't that which was read before them
_CHANGES_LIQUID: Final[Mapping[str, Message]] = {
    "disinfectant_fill": say("since.filled_anew"),
    "disinfectant_top_up": say("since.liquid_added"),
}


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

    def judge(self, body: Mapping[str, Any], at_ms: int, now: Now) -> Message | None:
        """Why an entered reading doesn't count; None where it does."""
        named, settings = body.get("point"), self._book.settings
        alarming = role_of(settings, body)
        if is_alarming(settings, "entered_reading", body):
            return None
        if alarming is not None and entered_value(alarming, body) is None:
            return _why_no_value(alarming, body, "")
        seen = None if alarming is None else self._book.seen(alarming)
        if seen is not None and ends_sight(settings, body, at_ms, seen):
            return None  # whoever says that it is over
        if named is None:
            return self._why_not_by_role(body, at_ms, now)
        point = self._points.get(str(named))
        if point is None:
            near = perhaps(difflib.get_close_matches(str(named), self._points, 1))
            return say("entered.no_such_point", quoted=text(repr(named)), near=part(near))
        if body.get("role") not in (None, point.role):
            return say("entered.other_role", point=name(point.id), quoted=text(repr(body["role"])))
        if not point.by_people:
            if seen is not None and alarming is not None:
                return say("entered.of_another", value=text(str(seen.body["value"])), by=seen.by, role=name(alarming))
            return say("entered.by_sensor", point=name(point.id))
        if now.trusted and now.wall_ms - at_ms > point.stale_after_ms:
            return _why_not(point, body) or say("entered.too_old_for_point")
        return _why_not(point, body)

    def _why_not_by_role(self, body: Mapping[str, Any], at_ms: int, now: Now) -> Message | None:
        """Why a reading by eye of a role doesn't count; None where it does."""
        named, looked_at = str(body.get("role")), self._not_fitted
        if named not in list(Role):
            near = perhaps(difflib.get_close_matches(named, list(Role), 1))
            return say("entered.no_such_role", quoted=text(repr(named[:60])), near=part(near))
        role = Role(named)
        if role not in looked_at:
            point = next((p for p in self._points.values() if p.role is role), None)
            if point is not None and point.by_people:
                return say("entered.has_point", role=name(role), point=name(point.id))
            if point is not None:
                return say("entered.by_sensor", point=name(point.id))
            if not looked_at:
                return say("entered.nothing_not_fitted")
            return say("entered.not_among_not_fitted", roles=names(looked_at))
        sensor = self.sensor_of(role)
        if sensor is not None and self._watches[sensor].value(now.mono_ms) is not None:
            return say("entered.sensor_answers", point=name(sensor))
        if sensor is not None and at_ms < self.last_good_ms(sensor, now):
            return say("entered.before_last_heard", point=name(sensor))
        by_eye = ROLES[role].by_eye
        if not by_eye.decides:
            instead = say(f"role.{role}.instead") if by_eye.instead else say("role.fit_a_point")
            return say("entered.decides_nothing", role=name(role), instead=part(instead))
        why = _why_no_value(role, body, _USUAL.get(KIND_OF[role], ""))
        value = entered_value(role, body)
        if why is not None or value is None:
            return why
        if not by_eye.low <= value <= by_eye.high:
            kind = KIND_OF[role]
            low, high = quantity_of(kind, by_eye.low), quantity_of(kind, by_eye.high)
            unit = name(UNIT_OF[kind].replace("Cel", "degC"))
            return say("entered.cant_be", given=_given(body), role=name(role), low=low, high=high, unit=unit)
        if now.trusted and now.wall_ms - at_ms > looked_at[role]:
            return say("entered.too_old_for_role")
        return None

    def samples(self, now: Now) -> list[Sample]:
        """What stands now and hasn't been heard yet. One that was withdrawn takes its value with it."""
        found = []
        for ident in self._by_people:
            newest = self._book.last("entered_reading", point=ident)
            before = self._taken.get(ident)
            if before is not None and not _is_same(before, newest):
                del self._taken[ident]
                self._watches[ident].forget()
                before = None
            if newest is None or before is not None or not (now.trusted or newest.at_ms == now.wall_ms):
                continue
            self._taken[ident] = newest
            value = entered_value(self._points[ident].role, newest.body)
            age_ms = max(0, now.wall_ms - newest.at_ms)
            if value is not None and age_ms <= self._points[ident].stale_after_ms:
                found.append(Sample(ident, now.mono_ms - age_ms, value))
        return found

    def overtaken(self, role: Role, read: Fact) -> Message | None:
        """What happened to the liquid since somebody read its temperature, so that it tells nothing any more; None where nothing did."""
        if role is not Role.RESERVOIR_TEMPERATURE:
            return None
        book = self._book
        for record, what in _CHANGES_LIQUID.items():
            since = book.last(record)
            if since is not None and since.body.get("stirred") is not True and not _was_read_after(book, read, since):
                return what
        changed = book.machine_changed()
        if changed is not None and not _was_read_after(book, read, changed):
            return say("since.equipment_changed")
        off = (book.last(HEAT_OFF), book.last(POWER_UP))
        if any(fact is not None and not _was_read_after(book, read, fact) for fact in off):
            return say("since.without_power")
        return None

    def point_of(self, role: Role) -> Point | None:
        """The point of this role that people read, if there is one."""
        return next((self._points[ident] for ident in self._by_people if self._points[ident].role is role), None)

    def sensor_of(self, role: Role) -> str | None:
        """The sensor of a role that [not_fitted] names all the same: while it is silent, what people read stands for it. None: no such."""
        found = [p.id for p in self._points.values() if p.role is role and not p.by_people]
        return found[0] if len(found) == 1 and role in self._not_fitted and ROLES[role].by_eye.backs_up else None

    def last_good_ms(self, point: str, now: Now) -> int:
        """Wall time at which a point was last heard; of one that hasn't been since the start, that of the start."""
        return now.wall_ms - (now.mono_ms - self._watches[point].good_ms)

    def signed(self, point: str) -> dict[str, Any]:
        """Who entered the reading that stands, for what is published of the point; nothing for a sensor's."""
        if point not in self._taken or self._watches[point].good is None:
            return {}
        fact = self._book.last("entered_reading", point=point)
        return {} if fact is None else {"by": fact.body.get("by"), "seq": fact.seq}


def _was_read_after(book: RecordBook, read: Fact, other: Fact) -> bool:
    return book.comes_after(read, other) if any(fact is read for fact in book.facts) else read.at_ms >= other.at_ms


def _is_same(before: Fact, newest: Fact | None) -> bool:
    """Facts get their number after they were heard, and are made anew with it."""
    return newest is not None and newest.body is before.body


def _why_not(point: Point, body: Mapping[str, Any]) -> Message | None:
    why = _why_no_value(point.role, body, point.unit or _USUAL.get(point.kind, ""))
    read = entered_value(point.role, body)
    if why is not None or read is None:
        return why
    by_eye = ROLES[point.role].by_eye
    if not max(by_eye.low, point.low) <= read <= min(by_eye.high, point.high):
        return say("entered.outside_point", given=_given(body))
    return None


def _why_no_value(role: Role, body: Mapping[str, Any], usual: str) -> Message | None:
    """Why what was entered is no value of this role with its unit; None where it is one."""
    value, unit, kind = body.get("value"), body.get("unit"), KIND_OF[role]
    if value is None:
        return say("entered.no_value")
    if entered_value(role, body) is not None:
        return None
    if kind is Kind.CONTACT:
        one, other = CONTACT_WORDS[role]
        return say("entered.no_such_word", given=text(repr(value)), one=name(one), other=name(other))
    if isinstance(value, int | float) and not isinstance(value, bool) and unit is None:
        return say("entered.without_unit", given=text(repr(value)), such=text(f"{value:g} {usual}"))
    return say(f"entered.not_a_{kind}", given=_given(body), hint=part(_hint(kind, value)))


def _given(body: Mapping[str, Any]) -> Value:
    """What was entered, with its unit where one stands beside it."""
    value, unit = repr(body.get("value")), body.get("unit")
    return text(value if unit is None else f"{value} {unit}")


def _hint(kind: Kind, value: object) -> Message | None:
    """What is wrong with a typed value, where the station file's own reader of quantities knows it (a decimal comma)."""
    try:
        quantity(str(value), str(kind))
    except UnitError as exc:
        return say("entered.hint", hint=text(str(exc))) if isinstance(value, str) else None
    return None


_USUAL: Final[Mapping[Kind, str]] = {
    Kind.TEMPERATURE: "degC", Kind.PRESSURE: "kPa", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm",
}  # fmt: skip
