"""What people read by eye where no sensor tells: which reading stands, and what a condition that rests on one says."""

from __future__ import annotations

from edge.domain.entries import Now
from edge.domain.messages import Message, ago, both, name, part, say, text
from edge.domain.readings import CONTACT_WORDS, Role
from edge.domain.records.entered import entered_value
from edge.domain.station.judged import BY_EYE, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.view import View


def entered(view: View, role: Role, now: Now) -> tuple[float, int | None, int, str] | None:
    """(value in the unit of the role's kind, seq, at_ms, by) of an entered reading that has not expired."""
    stands_ms, told = view.settings.not_fitted.get(role), view.entered
    fact = view.book.last("entered_reading", role=str(role))
    point = told.point_of(role)
    if point is not None:
        stands_ms = point.stale_after_ms
        fact = view.book.last("entered_reading", point=point.id)
    if fact is None or stands_ms is None or not now.trusted or now.wall_ms - fact.at_ms > stands_ms:
        return None
    sensor = told.sensor_of(role)
    if sensor is not None and (
        view.watches[sensor].value(now.mono_ms) is not None or fact.at_ms < told.last_good_ms(sensor, now)
    ):
        return None  # the sensor answers, or has since somebody looked
    if told.overtaken(role, fact):
        return None
    value = entered_value(role, fact.body)
    return None if value is None else (value, fact.seq, fact.at_ms, str(fact.body["by"]))


def overtaken(view: View, role: Role) -> Message | None:
    """What happened since somebody read it by eye, to be said behind that no such reading stands."""
    fact = view.book.last("entered_reading", role=str(role))
    what = None if fact is None else view.entered.overtaken(role, fact)
    return None if what is None else say("by_eye.overtaken", what=part(what))


def nothing(view: View, role: Role) -> Judged:
    """No sensor of this role, and no reading by eye that stands."""
    point, what = view.entered.point_of(role), name(role)
    if point is not None:
        here = name(point.id)
        return Judged(UNKNOWN, say("by_eye.no_reading_of_point", point=here), ask=say("by_eye.read_point", point=here))
    if role in view.settings.not_fitted:
        since = part(overtaken(view, role))
        none = say("by_eye.no_reading_of_role", role=what, since=since)
        return Judged(UNKNOWN, none, ask=say("by_eye.read_role", role=what))
    return Judged(UNKNOWN, say("by_eye.no_point", role=what), ask=say("by_eye.no_point.ask", role=what))


def contact(view: View, role: Role, now: Now, ask: Message) -> Judged:
    """What people read of a contact that [not_fitted] names: fine as long as it stands."""
    alarming, read = seen(view, role, now, ask), entered(view, role, now)
    if alarming is not None:
        return alarming
    if read is None:
        return nothing(view, role)
    value, seq, at_ms, by = read
    is_fine = value == float(role is Role.MACHINE_POWER)
    read_by = say("by_eye.read_by", value=name(CONTACT_WORDS[role][int(value)]), by=name(by))
    return Judged(BY_EYE if is_fine else UNMET, read_by, seq=seq, evidence_ms=at_ms, ask=None if is_fine else ask)


def seen(view: View, role: Role, now: Now, ask: Message, outlet: str | None = None) -> Judged | None:
    """The condition of a role (of this outlet) of which somebody saw something alarming; None where nobody did, or it is over since."""
    last = view.book.seen(role, outlet)
    if last is None:
        return None
    since = ago(max(now.wall_ms - last.at_ms, 0))
    what = say("by_eye.seen", value=text(str(last.body["value"])), by=last.by, since=since)
    over = say("by_eye.seen.ask", role=name(role)) if outlet is None else say("outlet.seen.ask", outlet=name(outlet))
    return by_fact(UNMET, what, last, both(ask, over))
