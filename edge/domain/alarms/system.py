"""All alarms of one station: conditions in, changes of state out; one cause, one alarm.

An alarm that comes as the consequence of another that is present (the reservoir cools after its outlet has tripped; every point of
a lost bus falls silent) is suppressed by design and names its cause. When the cause has ended and the consequence stays, it is
announced.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from typing import Any, Final, cast

from edge.domain.alarms.answers import EVENTS, changes_nothing, shelf_ms
from edge.domain.alarms.catalogue import CATALOGUE, Row, Trip, base_of, called_as, row_of
from edge.domain.alarms.states import LIT, Alarm, Band, Event, Shelf, State
from edge.domain.alarms.worsening import has_worsened, is_told_anew
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now, Stamp, rfc3339, wall_ms_of
from edge.domain.entry_bodies import AlarmBody, MessageBody
from edge.domain.errors import RecordRefused
from edge.domain.messages import Message, message_body, name, of_body, of_json, part, quantity, say
from edge.domain.readings import UNIT_OF
from edge.domain.settings import Settings, feeds_machine

#: so long a consequence may outlast its cause before it is announced as an alarm of its own
GRACE_MS: Final = 30_000

#: what is said of an alarm that the settings have no more
GONE: Final = say("alarm.gone")
#: what is said of an alarm that is put aside, or taken back, while nothing of it is there
_ABSENCE: Final[Mapping[Event, str]] = {
    Event.REMOVE: "alarm.absent_out_of_service", Event.RETURN_TO_SERVICE: "alarm.absent_in_service",
    Event.SHELVE: "alarm.absent_shelved", Event.UNSHELVE: "alarm.absent_unshelved",
}  # fmt: skip

Emit = Callable[[AlarmBody, Message | None, Now], None]


def _since(alarm: Alarm, now: Now) -> str | None:
    """Since when it stands; never later than now, whatever clock an earlier boot had."""
    return None if alarm.since_wall_ms is None else rfc3339(min(alarm.since_wall_ms, now.wall_ms))


def _shelf(entry: Entry) -> Shelf | None:
    """The shelf that an alarm entry tells of."""
    if "until" not in entry.body:
        return None
    return Shelf(entry.stamp, wall_ms_of(entry.body["until"]) - entry.wall_ms)


@cache
def _row_messages(called: str) -> Mapping[str, MessageBody]:
    """What an alarm's row says, without words: the same in every picture."""
    return {
        "consequence_msg": message_body(say(f"alarm.{called}.consequence")),
        "response_msg": message_body(say(f"alarm.{called}.response")),
    }


def _limit(settings: Settings, row: Row) -> float | None:
    """The limit that the settings set, in the unit of the reading's kind; None where they don't."""
    if row.compares is None or not row.compares.setting:
        return None
    section, _, key = row.compares.setting.partition(".")
    own = getattr(settings, section)
    limit: float | None = None if own is None else getattr(own, key)
    return limit


class AlarmSystem:
    """Owns the alarms.

    `ids`: the alarms that this station has, in the order in which they are published. `emit(body, cause, now)` is called for each change of
    state, with the body of an alarm entry, whose text of the cause is still to be said.
    """

    def __init__(self, settings: Settings, ids: Iterable[str], emit: Emit, dates: Dates, boot: str) -> None:
        self.settings, self._emit, self._dates, self._boot = settings, emit, dates, boot
        self.alarms: dict[str, Alarm] = {}
        self.bands: dict[str, Band] = {}
        self._pending: dict[str, Alarm] = {}
        self._absent: dict[str, None] = {}  # shelved or suppressed: looked at as time passes
        self._gone: dict[
            str, str
        ] = {}  # not normal in the journal, and these settings have it no more -> its state there
        self._grace: dict[str, int] = {}  # consequences whose cause has ended -> when they are announced
        self._kinds = {p.id: p for p in settings.points}
        self._bus_of = {p.id: p.bus for p in settings.points}
        self.silent_all: str | None = None  # the alarm that stands for a station of which nothing is heard
        for ident in ids:
            self._add(ident)
        self._trips = [ident for ident in self.alarms if ident.startswith("outlet_tripped:")]

    def _add(self, ident: str) -> None:
        base = base_of(ident)
        row, tuned = CATALOGUE[base], self.settings.tuning.get(base)

        def of(name: str, default: Any) -> Any:
            value = getattr(tuned, name, None)
            return default if value is None else value

        self.alarms[ident] = Alarm(
            ident,
            on_ms=of("on_delay_ms", row.on_ms),
            off_ms=of("off_delay_ms", row.off_ms),
            priority=of("priority", row.priority),
        )
        limit = of("limit", _limit(self.settings, row))
        if limit is not None:
            self.bands[ident] = Band(limit, of("deadband", row.deadband), low=row.low)

    # -- conditions

    def compare(self, ident: str, value: float, point: str, now: Now) -> None:
        """A value against the alarm's limit and deadband. An alarm that this station does not have is passed over."""
        band = self.bands.get(ident)
        if band is None:
            return
        active = band.see(value)
        alarm = self.alarms[ident]
        if not active and not alarm.condition:
            return
        cause = None
        if active and band.is_over(value):  # one within the deadband decides nothing
            kind = self._kinds[point].kind
            cause = say(
                f"alarm.{base_of(ident)}.beyond",
                here=quantity(kind, value, point),
                limit=quantity(kind, band.limit, point),
            )
        self.set_condition(
            ident,
            active,
            now,
            value=value,
            unit=UNIT_OF[self._kinds[point].kind],
            limit=band.limit,
            point=point,
            cause=cause,
        )

    def set_condition(
        self, ident: str, active: bool, now: Now, *, value: float | None = None, unit: str = "", limit: float | None = None,
        point: str | None = None, cause: Message | None = None,
    ) -> bool:  # fmt: skip
        """Say whether an alarm's condition holds. True where that is news."""
        alarm = self.alarms.get(ident)
        if alarm is not None and active and cause:
            self._review_worsening(alarm, value, limit, cause, now)
        if alarm is None or (active is alarm.condition and ident not in self._pending):
            return False
        news = active is not alarm.condition
        if news and active and not alarm.present:
            alarm.since_wall_ms = now.wall_ms
        alarm.condition = active
        if active and not alarm.present and (news or cause):
            alarm.value, alarm.unit, alarm.limit, alarm.point, alarm.cause = value, unit, limit, point, cause
        elif not active and value is not None:
            alarm.value = value
        self._pass(alarm, now)
        return news

    def _review_worsening(
        self, alarm: Alarm, value: float | None, limit: float | None, cause: Message, now: Now
    ) -> None:
        """What has become clearly worse shows today's value; answered before, it is announced anew, unless its cause tells it."""
        band, low = self.bands.get(alarm.id), CATALOGUE[base_of(alarm.id)].low
        deadband = 0.0 if band is None else band.deadband
        if not has_worsened(alarm, value, limit, deadband, now.mono_ms, low=low) or value is None or limit is None:
            return
        alarm.value, alarm.limit, alarm.cause, alarm.worse_since_ms = value, limit, cause, None
        is_answered = alarm.state is State.ACKNOWLEDGED and self.cause_of(alarm.id) is None
        if is_answered and is_told_anew(alarm, value, limit, deadband, low=low):
            self.step(alarm.id, Event.WORSEN, now)

    def extend_off_delay(self, ident: str, off_ms: int) -> None:
        """Lengthen the off-delay to at least `off_ms`."""
        row, tuned = CATALOGUE[base_of(ident)], self.settings.tuning.get(base_of(ident))
        own_ms = row.off_ms if tuned is None or tuned.off_delay_ms is None else tuned.off_delay_ms
        self.alarms[ident].delay.off_ms = max(own_ms, off_ms)

    def cancel_pending(self, ident: str, now: Now) -> None:
        """The evidence has ended (the draw is over): cancel a running on-delay; leave an active alarm active."""
        alarm = self.alarms.get(ident)
        if alarm is not None and not alarm.present and alarm.condition:
            if ident in self.bands:
                self.bands[ident].forget()
            self.set_condition(ident, False, now)

    def _pass(self, alarm: Alarm, now: Now) -> None:
        was = alarm.present
        if alarm.condition and not was and alarm.delay.is_due(now.mono_ms):
            self._discard_noise(alarm)
        present = alarm.delay.see(alarm.condition, now.mono_ms)
        if alarm.delay.pending_since_ms is None:
            self._pending.pop(alarm.id, None)
        else:
            self._pending[alarm.id] = alarm
        if present is not was:
            self._arrive(alarm, now) if present else self._leave(alarm, now)

    def _discard_noise(self, alarm: Alarm) -> None:
        """The on-delay of an alarm is over: what a reading of noise began, and those since don't bear out, is forgotten."""
        band = self.bands.get(alarm.id)
        if band is not None and not band.is_borne_out():
            band.forget()
            alarm.condition = False

    def _arrive(self, alarm: Alarm, now: Now) -> None:
        of = self.cause_of(alarm.id)
        if of is not None and alarm.state in (State.NORMAL, State.RETURNED):
            alarm.consequence_of = of
            self.step(alarm.id, Event.SUPPRESS, now)
        else:
            self.step(alarm.id, Event.ALARM, now)
            self._take_over(alarm.id, now)

    def _take_over(self, cause: str, now: Now) -> None:
        """What was announced before its cause was known, and that nobody has answered yet, is shown as its consequence."""
        for ident in (i for i in self.alarms if cause in row_of(i).caused_by):
            self.suppress_under(ident, cause, now)

    def suppress_under(self, ident: str, cause: str, now: Now) -> None:
        """Show an alarm as the consequence of another, where both are announced and nobody has answered."""
        if self.alarms[ident].state is State.UNACKNOWLEDGED and self.alarms[cause].state is State.UNACKNOWLEDGED:
            self.alarms[ident].consequence_of = cause
            self.step(ident, Event.SUPPRESS, now)

    def _leave(self, alarm: Alarm, now: Now) -> None:
        if alarm.state is State.SUPPRESSED:
            self.step(alarm.id, Event.UNSUPPRESS, now)
        else:
            self.step(alarm.id, Event.RETURN_TO_NORMAL, now)

    def _review_cause(self, alarm: Alarm, now: Now) -> None:
        """A suppressed alarm: its cause may have ended, perhaps before a restart."""
        cause = self.cause_of(alarm.id)
        if cause is not None:
            alarm.consequence_of = cause
            self._grace.pop(alarm.id, None)
            return
        ends_ms = self._grace.setdefault(alarm.id, now.mono_ms + max(alarm.delay.on_ms, GRACE_MS))
        if now.mono_ms >= ends_ms:
            alarm.consequence_of = None
            self.step(alarm.id, Event.UNSUPPRESS, now)

    def cause_of(self, ident: str) -> str | None:
        """The present alarm that this one would be a consequence of; None where there is none."""
        return next((c for c in self._causes(ident) if c in self.alarms and self.alarms[c].present), None)

    def _causes(self, ident: str) -> Iterator[str]:
        """What this one can be a consequence of, the nearest cause first."""
        row = row_of(ident)
        heaters = [trip for trip in self._trips if not feeds_machine(trip)]
        others = [trip for trip in self._trips if trip not in heaters]
        if row.after_trip is Trip.HEATER:
            yield from heaters or others
        elif row.after_trip is Trip.ANY:
            yield from (*heaters, *others)
        elif row.after_trip is Trip.OTHER:
            yield from others
        for base in row.caused_by:
            if CATALOGUE[base].per != "bus":
                yield base
                continue
            yield f"{base}:{self._bus_of.get(ident.partition(':')[2], '')}"
            if self.silent_all is not None:
                yield self.silent_all

    def pass_time(self, now: Now) -> None:
        """Delays that have run out, shelves that have ended, alarms that the settings have no more."""
        while self._gone:
            self._end_gone(*self._gone.popitem(), now)
        for alarm in list(self._pending.values()):
            self._pass(alarm, now)
        for ident in list(self._absent):
            alarm = self.alarms[ident]
            if alarm.state is State.SUPPRESSED:
                self._review_cause(alarm, now)
            elif alarm.shelf is not None and self._shelved_for_ms(alarm.shelf, now) <= 0:
                self.step(ident, Event.UNSHELVE, now)

    def _end_gone(self, ident: str, state: str, now: Now) -> None:
        """Whoever was told of it has to hear that it is over."""
        row = CATALOGUE.get(base_of(ident))
        self._emit(
            {
                "id": ident, "from": state, "to": str(State.NORMAL), "cause": "", "value": None,
                "unit": None, "limit": None, "since": None, "point": None, "priority": "low" if row is None else row.priority,
                "present": False,
            },
            GONE,
            now,
        )  # fmt: skip

    def _shelved_for_ms(self, shelf: Shelf, now: Now) -> int:
        """How much of a shelf is left. After a restart in another boot the time without power counts as far as dates can tell; where
        they can't, the shelf begins anew with this boot: it ends all the same.
        """
        if shelf.since.boot == self._boot:
            return shelf.for_ms - (now.mono_ms - shelf.since.mono_ms)
        since = self._dates.of(shelf.since)
        passed_ms = now.wall_ms - since.wall_ms if now.trusted and not since.doubt else 0
        return shelf.for_ms - max(passed_ms, now.mono_ms)

    def next_deadline_ms(self, now: Now) -> int | None:
        """Monotonic time of the next delay or shelf that runs out."""
        due = [alarm.delay.due_ms for alarm in self._pending.values()]
        due += self._grace.values()
        due += [
            now.mono_ms + self._shelved_for_ms(alarm.shelf, now)
            for alarm in map(self.alarms.__getitem__, self._absent)
            if alarm.shelf is not None and alarm.state is State.SHELVED
        ]
        return min((d for d in due if d is not None), default=None)

    # -- what people do

    def check_record(self, record: str, body: Mapping[str, Any], form_fault: Message | None) -> Message | None:
        """Why this record doesn't count: the fault of its form, or that it would change nothing; None where it does.

        Raises:
            RecordRefused: no such alarm here, or a shelf without an end.
        """
        ident = body.get("alarm")
        if not isinstance(ident, str) or ident not in self.alarms:
            near = difflib.get_close_matches(str(ident), self.alarms, 1)
            raise RecordRefused(
                f"no alarm {ident!r} at this station", where=f"record '{record}', alarm",
                expected=f"{near[0]!r} perhaps" if near else "the id of one of its alarms", do="Look at /api/1/alarms for the ids",
            )  # fmt: skip
        if record == "shelve":
            shelf_ms(body)
        return form_fault or changes_nothing(self.alarms[ident], record)

    def answer(self, record: str, by: str, body: Mapping[str, Any], now: Now) -> None:
        """Carry out what a checked record does to an alarm."""
        if record == "shelve":
            self.shelve(str(body["alarm"]), by, shelf_ms(body), now)
        else:
            self.step(str(body["alarm"]), EVENTS[record], now, by=by)

    def shelve(self, ident: str, by: str, for_ms: int, now: Now) -> None:
        """Put an alarm aside for so long."""
        self.alarms[ident].shelf = Shelf(Stamp(self._boot, *now), for_ms)
        self.step(ident, Event.SHELVE, now, by=by)

    def step(self, ident: str, event: Event, now: Now, by: str | None = None) -> None:
        """One event for one alarm; a change of state is an entry."""
        alarm = self.alarms[ident]
        before = alarm.step(event)
        if before is None:
            return
        if alarm.state is not State.SHELVED:
            alarm.shelf = None
        if event is Event.ACKNOWLEDGE:
            alarm.acknowledged_by, alarm.acknowledged_wall_ms = by, now.wall_ms
        if alarm.state in LIT:
            alarm.told, alarm.worse_since_ms = alarm.value, None
        if alarm.state is State.NORMAL:
            alarm.consequence_of = None
        alarm.at_wall_ms = now.wall_ms
        self._place(alarm)
        if (
            event in _ABSENCE and not alarm.present and not alarm.condition
        ):  # nothing of what it once was is said of it now
            alarm.value = alarm.since_wall_ms = None
            who = None if by is None else say("alarm.absent_by", by=name(by))
            alarm.cause = say(_ABSENCE[event], by=part(who))
        body: AlarmBody = {
            "id": ident, "from": str(before), "to": str(alarm.state), "cause": "", "value": alarm.value, "unit": alarm.unit,
            "limit": alarm.limit, "since": _since(alarm, now), "point": alarm.point,
            "priority": alarm.priority, "present": alarm.present,
        }  # fmt: skip
        if by is not None:
            body["by"] = by
        if alarm.consequence_of is not None:
            body["consequence_of"] = alarm.consequence_of
        if alarm.shelf is not None:
            body["until"] = rfc3339(now.wall_ms + self._shelved_for_ms(alarm.shelf, now))
        self._emit(body, alarm.cause, now)

    def redate(self, booted_ms: int, by_ms: int) -> None:
        """The wall clock stepped: what has stood since a time of this boot has stood as long as before."""
        for alarm in self.alarms.values():
            if alarm.since_wall_ms is not None and alarm.since_wall_ms >= booted_ms:
                alarm.since_wall_ms += by_ms
            if alarm.acknowledged_wall_ms is not None and alarm.acknowledged_wall_ms >= booted_ms:
                alarm.acknowledged_wall_ms += by_ms

    # -- published, kept

    def published(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every alarm, also when normal: shape in edge/snapshot.py, but that `cause` is a message yet."""
        return {ident: self._published(alarm, now) for ident, alarm in self.alarms.items()}

    def _published(self, alarm: Alarm, now: Now) -> dict[str, Any]:
        row = row_of(alarm.id)
        lit = alarm.state is not State.NORMAL
        return {
            "id": alarm.id, "state": str(alarm.state), "active": alarm.present, "announced": alarm.state is State.UNACKNOWLEDGED,
            "priority": alarm.priority, "since": _since(alarm, now) if lit else None,
            "point": alarm.point, "value": alarm.value if lit else None, "unit": alarm.unit, "limit": alarm.limit,
            "cause": alarm.cause if lit else None, "consequence": row.consequence, "response": row.response,
            "respond_within_s": row.respond_within_s, "acknowledged_by": alarm.acknowledged_by,
            "acknowledged_at": None if alarm.acknowledged_wall_ms is None else rfc3339(alarm.acknowledged_wall_ms),
            "consequence_of": alarm.consequence_of, "seq": alarm.seq, "at": None if alarm.at_wall_ms is None else rfc3339(alarm.at_wall_ms),
            **_row_messages(called_as(alarm.id)),
        }  # fmt: skip

    def fold(self, entry: Entry) -> None:
        """Take an alarm entry of the journal as the alarm's state. One that this station has no more will end, which is told."""
        body = cast(AlarmBody, entry.body)
        alarm = self.alarms.get(body["id"])
        if alarm is None:
            self._note_gone(body["id"], body["to"])
            return
        state = State(body["to"])
        acknowledged = state in (State.ACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED)
        alarm.restore(
            {
                "state": state, "present": body["present"], "since": None if body["since"] is None else wall_ms_of(body["since"]),
                "value": body["value"], "limit": body["limit"],
                "point": body["point"], "unit": body["unit"],
                "by": body.get("by") if acknowledged else None, "acknowledged": entry.wall_ms if acknowledged else None,
                "of": body.get("consequence_of"), "seq": entry.seq, "at": entry.wall_ms,
                "shelf": _shelf(entry), "told": body["value"] if state in LIT else alarm.told,
            },
            of_body(body, "cause"),
        )  # fmt: skip
        self._restored(alarm)

    def restore(self, states: Mapping[str, Mapping[str, Any]]) -> None:
        """Take back what as_state() gave for each alarm."""
        for ident, kept in states.items():
            if ident in self.alarms:
                cause = kept["cause"]
                self.alarms[ident].restore(kept, None if cause is None else of_json(cause))
                self._restored(self.alarms[ident])
            else:
                self._note_gone(ident, kept["state"])

    def _note_gone(self, ident: str, state: str) -> None:
        self._gone.pop(ident, None)
        if state != State.NORMAL:
            self._gone[ident] = str(state)

    def _place(self, alarm: Alarm) -> None:
        if alarm.state in (State.SHELVED, State.SUPPRESSED):
            self._absent[alarm.id] = None
        else:
            self._absent.pop(alarm.id, None)
        self._grace.pop(alarm.id, None)

    def _restored(self, alarm: Alarm) -> None:
        self._place(alarm)
        if alarm.id in self.bands:
            self.bands[alarm.id].beyond = alarm.condition
