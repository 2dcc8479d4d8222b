"""What people read by eye where no sensor tells: which reading stands, and what a condition that rests on one says."""

from __future__ import annotations

from edge.domain.entries import Now
from edge.domain.readings import CONTACT_WORDS, Role
from edge.domain.records.entered import entered_value
from edge.domain.station.judged import BY_EYE, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.view import View
from edge.domain.wording import age_text


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
    return None if value is None else (value, fact.seq, fact.at_ms, str(fact.body.get("by", "somebody")))


def overtaken_text(view: View, role: Role) -> str:
    """What happened since somebody read it by eye, to be said behind that no such reading stands."""
    fact = view.book.last("entered_reading", role=str(role))
    what = "" if fact is None else view.entered.overtaken(role, fact)
    return what and f"; since somebody read it {what}"


def nothing(view: View, role: Role) -> Judged:
    """No sensor of this role, and no reading by eye that stands."""
    point = view.entered.point_of(role)
    if point is not None:
        return Judged(
            UNKNOWN, f"no reading of {point.id} by eye that still stands", ask=f"Read {point.id} and enter it"
        )
    if role in view.settings.not_fitted:
        return Judged(
            UNKNOWN,
            f"no reading of {role} by eye that still stands{overtaken_text(view, role)}",
            ask=f"Read {role} by eye and enter it",
        )
    return Judged(
        UNKNOWN, f"no point has the role {role}", ask=f"Fit a point for {role}, or name it under [not_fitted]"
    )


def contact(view: View, role: Role, now: Now, ask: str) -> Judged:
    """What people read of a contact that [not_fitted] names: fine as long as it stands."""
    alarming, read = seen(view, role, now, ask), entered(view, role, now)
    if alarming is not None:
        return alarming
    if read is None:
        return nothing(view, role)
    value, seq, at_ms, by = read
    is_fine = value == float(role is Role.MACHINE_POWER)
    text = f"{CONTACT_WORDS[role][int(value)]}, read by {by}"
    return Judged(BY_EYE if is_fine else UNMET, text, seq=seq, evidence_ms=at_ms, ask="" if is_fine else ask)


def seen(view: View, role: Role, now: Now, ask: str) -> Judged | None:
    """The condition of a role of which somebody saw something alarming; None where nobody did, or somebody saw since that it is over."""
    last = view.book.seen(role)
    if last is None:
        return None
    who, when = last.body.get("by", "somebody"), age_text(max(now.wall_ms - last.at_ms, 0))
    text = f"{last.body['value']}, as {who} saw {when} ago"
    return by_fact(UNMET, text, last, f"{ask}; once it is over, enter a reading of {role} that says so")
