"""All alarms of one station: conditions in, changes of state out; one cause, one alarm.

An alarm that comes as the consequence of another that is present (the reservoir cools after its outlet has tripped; every point of
a lost bus falls silent) is suppressed by design and names its cause. When the cause has ended and the consequence stays, it is
announced. So is one that somebody sees to in a way that takes its time (a treatment is owed, and its contact runs): whoever sets its
condition says that it is `explained`, and until when in its cause; when that ends and the condition stays, it is announced anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, cast

from edge.domain.alarms.answers import EVENTS, shelf_left_ms
from edge.domain.alarms.catalogue import Row, base_of, key_of, message_id, row_at
from edge.domain.alarms.causes import Causes
from edge.domain.alarms.coming import Coming, redated
from edge.domain.alarms.elapsed import Elapsed
from edge.domain.alarms.published import alarm_body, alarm_picture, gone_body, kept_of
from edge.domain.alarms.states import (
    LIT,
    NOT_ASIDE,
    Alarm,
    Announced,
    Answered,
    Aside,
    Band,
    Decided,
    Event,
    Shelf,
    Since,
    State,
)
from edge.domain.alarms.worsening import has_worsened, is_told_anew
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now
from edge.domain.entry_bodies import AlarmBody
from edge.domain.messages import Message, lasting, name, of_body, of_json, part, quantity, say, within
from edge.domain.readings import UNIT_OF
from edge.domain.settings import Settings

#: so long a consequence may outlast its cause before it is announced as an alarm of its own
GRACE_MS: Final = 30_000

#: what is said of an alarm that the settings have no more
GONE: Final = say("alarm.gone")
#: what is said of an alarm that is put aside, or taken back, while nothing of it is there
_ABSENCE: Final[Mapping[Event, str]] = {
    Event.REMOVE: "alarm.absent_out_of_service", Event.RETURN_TO_SERVICE: "alarm.absent_in_service",
    Event.SHELVE: "alarm.absent_shelved", Event.UNSHELVE: "alarm.absent_unshelved",
}  # fmt: skip


def _is_another(cause: Message, told: Message | None, *, whole: bool) -> bool:
    """Is a cause another one than was told, whatever its figures are? `whole`: are its values?"""
    return cause != told if whole else [one.id for one in within(cause)] != [one.id for one in within(told)]


Emit = Callable[[AlarmBody, Message | None, Now], None]


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
        self.settings, self._emit, self._elapsed = settings, emit, Elapsed(boot, dates)
        self.alarms: dict[str, Alarm] = {}
        self.bands: dict[str, Band] = {}
        self._pending: dict[str, Alarm] = {}
        self._absent: dict[str, None] = {}  # shelved or suppressed: looked at as time passes
        self._ringing: dict[str, None] = {}  # nobody has answered, and they are told again some day
        self._gone: dict[
            str, str
        ] = {}  # not normal in the journal, and these settings have it no more -> its state there
        self.coming = Coming()
        self._grace: dict[str, int] = {}  # consequences whose cause has ended -> when they are announced
        self._kinds = {p.id: p for p in settings.points}
        for ident in ids:
            self._add(ident)
        self.causes = Causes(settings, self.alarms)

    def _add(self, ident: str) -> None:
        tuned = self.settings.tuning.get(base_of(ident))
        row = row_at(self.settings, ident)
        self.alarms[ident] = Alarm(ident, row)
        limit = _limit(self.settings, row) if tuned is None or tuned.limit is None else tuned.limit
        if limit is not None:
            self.bands[ident] = Band(limit, row.deadband, low=row.low)

    # -- conditions

    def compare(self, ident: str, value: float, point: str, now: Now) -> None:
        """A value against the alarm's limit and deadband. An alarm that this station does not have is passed over."""
        band = self.bands.get(ident)
        if band is None:
            return
        active = band.see(value)
        alarm = self.alarms[ident]
        if not active and not alarm.condition:
            alarm.was_seen_inside = True
            band.crossings = band.crossings if alarm.present else 0
            return
        cause = None
        if active and band.is_over(value):  # one within the deadband decides nothing
            kind = self._kinds[point].kind
            cause = say(
                message_id(key_of(ident), "beyond"),
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
        self, ident: str, active: bool | None, now: Now, *, value: float | None = None, unit: str = "", limit: float | None = None,
        point: str | None = None, cause: Message | None = None, is_by_cause: bool = False, follows: bool = False,
        explained: bool = False,
    ) -> bool:  # fmt: skip
        """Say whether an alarm's condition holds; None: that can't be told now, so what stands stands. True where that is news.

        `follows`: the cause shown is that of now, where it is of another kind than it was. `is_by_cause`: another cause is another
        thing, so it is told as well; such a cause holds nothing that changes as time passes. `explained`: it is suppressed by design as
        long as that holds.
        """
        if active is None:
            self.cancel_pending(ident, now)
            return False
        alarm = self.alarms.get(ident)
        if not active and alarm is not None and not alarm.condition and ident not in self._pending:
            alarm.was_seen_inside = True  # what most alarms are told at most readings
            return False
        cause = None if cause is None else lasting(cause, now.wall_ms)
        if alarm is not None and active and cause:
            self._review_worsening(alarm, value, limit, cause, now)
            if alarm.present and (follows or is_by_cause) and _is_another(cause, alarm.cause, whole=is_by_cause):
                alarm.cause = cause
                if is_by_cause and alarm.state is State.ACKNOWLEDGED:
                    self.step(ident, Event.WORSEN, now)
                elif is_by_cause and alarm.state is State.UNACKNOWLEDGED:
                    self._announce_again(alarm, now, 0)
        if alarm is not None and active and (event := self.causes.explain(alarm, explained=explained)) is not None:
            self.step(ident, event, now)
        if alarm is not None and not active:
            alarm.was_seen_inside = True
        if alarm is None or (active is alarm.condition and ident not in self._pending):
            return False
        news = active is not alarm.condition
        alarm.condition = active
        if active and not alarm.present and (news or cause):
            begins = Since(now.wall_ms, not alarm.was_seen_inside) if news else None
            self.coming.note(alarm, Decided(begins, value, unit, limit, point, cause), begins)
        elif not active:
            self.coming.drop(alarm)
            alarm.value = alarm.value if value is None else value
        self._pass(alarm, now)
        return news

    def _review_worsening(
        self, alarm: Alarm, value: float | None, limit: float | None, cause: Message, now: Now
    ) -> None:
        """What has become clearly worse shows today's value; answered before, it is announced anew, unless its cause tells it."""
        band, low = self.bands.get(alarm.id), alarm.row.low
        deadband = 0.0 if band is None else band.deadband
        if not has_worsened(alarm, value, limit, deadband, now.mono_ms, low=low) or value is None or limit is None:
            return
        alarm.value, alarm.limit, alarm.cause, alarm.worse_since_ms = value, limit, cause, None
        alarm.was_read(now.wall_ms)
        is_answered = alarm.state is State.ACKNOWLEDGED and self.causes.present(alarm.id) is None
        if is_answered and is_told_anew(alarm, value, limit, deadband, low=low):
            self.step(alarm.id, Event.WORSEN, now)

    def extend_off_delay(self, ident: str, off_ms: int) -> None:
        """Lengthen the off-delay to at least `off_ms`."""
        alarm = self.alarms[ident]
        alarm.delay.off_ms = max(alarm.row.off_ms, off_ms)

    def restate(self, ident: str, cause: Message) -> None:
        """Why an alarm stands that stands already: what is known of it has changed."""
        alarm = self.alarms[ident]
        if alarm.present:
            alarm.cause = cause

    def cancel_pending(self, ident: str, now: Now) -> None:
        """The evidence has ended (the draw is over): cancel a running on-delay; leave an active alarm active."""
        alarm = self.alarms.get(ident)
        if alarm is not None and not alarm.present and alarm.condition:
            if ident in self.bands:
                self.bands[ident].forget()
            self.set_condition(ident, False, now)

    def _pass(self, alarm: Alarm, now: Now) -> None:
        was, band = alarm.present, self.bands.get(alarm.id)
        is_due = alarm.condition and not was and alarm.delay.is_due(now.mono_ms)
        if is_due and band is not None and not band.is_borne_out():
            band.forget()  # one reading of noise began it, and those since don't bear it out
            alarm.condition = False
            self.coming.drop(alarm)
        present = alarm.delay.see(alarm.condition, now.mono_ms)
        if alarm.delay.pending_since_ms is None:
            self._pending.pop(alarm.id, None)
        else:
            self._pending[alarm.id] = alarm
        if present is was:
            return
        if present:
            if band is not None:
                band.crossings = 1  # what came before it stands is no coming of it
            self.coming.take(alarm)
            alarm.was_read(now.wall_ms)
            self._arrive(alarm, now)
        else:
            if band is not None:
                band.crossings = 0
            alarm.cause = None if alarm.cause is None else say("alarm.right_again", was=part(alarm.cause))
            self.step(alarm.id, Event.UNSUPPRESS if alarm.state is State.SUPPRESSED else Event.RETURN_TO_NORMAL, now)

    def _arrive(self, alarm: Alarm, now: Now) -> None:
        of = self.causes.present(alarm.id)
        is_explained = of is not None or alarm.id in self.causes.explained
        if is_explained and alarm.state in (State.NORMAL, State.RETURNED):
            alarm.consequence_of = of
            self.step(alarm.id, Event.SUPPRESS, now)
            return
        self.step(alarm.id, Event.ALARM, now)
        for ident in list(
            self.causes.consequences(alarm.id)
        ):  # announced before its cause was known, and answered by nobody yet
            self.suppress_under(ident, alarm.id, now)

    def suppress_under(self, ident: str, cause: str, now: Now) -> None:
        """Show an alarm as the consequence of another, where both are announced and nobody has answered."""
        if self.alarms[ident].state is State.UNACKNOWLEDGED and self.alarms[cause].state is State.UNACKNOWLEDGED:
            self.alarms[ident].consequence_of = cause
            self.step(ident, Event.SUPPRESS, now)

    def _review_cause(self, alarm: Alarm, now: Now) -> None:
        """A suppressed alarm: its cause may have ended, perhaps before a restart."""
        cause = self.causes.present(alarm.id)
        if cause is not None or alarm.id in self.causes.explained:
            alarm.consequence_of = cause
            self._grace.pop(alarm.id, None)
            return
        ends_ms = self._grace.setdefault(alarm.id, now.mono_ms + max(alarm.delay.on_ms, GRACE_MS))
        if now.mono_ms >= ends_ms:
            alarm.consequence_of = None
            self.step(alarm.id, Event.UNSUPPRESS, now)

    def pass_time(self, now: Now) -> None:
        """Delays that have run out, shelves that have ended, alarms that the settings have no more."""
        while self._gone:
            self._emit(
                gone_body(*self._gone.popitem()), GONE, now
            )  # whoever was told of it has to hear that it is over
        for alarm in list(self._pending.values()):
            self._pass(alarm, now)
        for ident in list(self._absent):
            alarm = self.alarms[ident]
            if alarm.state is State.SUPPRESSED:
                self._review_cause(alarm, now)
            elif (left_ms := self._elapsed.shelf_left_ms(alarm, now)) is not None and left_ms <= 0:
                self.step(ident, Event.UNSHELVE, now)
        for ident in list(self._ringing):
            due_ms = self._elapsed.rings_in_ms(self.alarms[ident], now)
            if due_ms is not None and due_ms <= 0:
                self._announce_again(self.alarms[ident], now)

    def _announce_again(self, alarm: Alarm, now: Now, times: int = 1) -> None:
        """Nobody has answered: it is told once more, and with the next higher priority where it has waited that long.

        `times`: 0 where it is told for another cause, which is no repetition.
        """
        waits, row = alarm.announced, alarm.row
        if waits is None:
            return
        waited_ms = self._elapsed.since_ms(waits.first, now)
        escalated = waits.escalated or (row.escalate_ms is not None and waited_ms >= row.escalate_ms)
        alarm.announced = waits._replace(last=self._elapsed.stamp(now), again=waits.again + times, escalated=escalated)
        self._tell(alarm, State.UNACKNOWLEDGED, None, now)

    def next_deadline_ms(self, now: Now) -> int | None:
        """Monotonic time of the next delay or shelf that runs out, or of an announcement that is due again."""
        due = [alarm.delay.due_ms for alarm in self._pending.values()]
        due += self._grace.values()
        waits = [self._elapsed.shelf_left_ms(self.alarms[ident], now) for ident in self._absent]
        waits += [self._elapsed.rings_in_ms(self.alarms[ident], now) for ident in self._ringing]
        due += [now.mono_ms + in_ms for in_ms in waits if in_ms is not None]
        return min((d for d in due if d is not None), default=None)

    # -- what people do

    def answer(self, record: str, by: str, body: Mapping[str, Any], now: Now) -> None:
        """Carry out what a checked record does to an alarm."""
        alarm, why = self.alarms[str(body["alarm"])], body.get("why")
        if record == "out_of_service":
            alarm.aside = Aside(by, why)
        if record == "shelve":
            alarm.aside = Aside(by, why, Shelf(self._elapsed.stamp(now), shelf_left_ms(body, now)))
        if record == "shelve" and alarm.state is State.SHELVED:
            self._tell(alarm, State.SHELVED, by, now)  # for another while
        else:
            self.step(alarm.id, EVENTS[record], now, by=by)

    def step(self, ident: str, event: Event, now: Now, by: str | None = None) -> None:
        """One event for one alarm; a change of state is an entry."""
        alarm = self.alarms[ident]
        before = alarm.step(event)
        if before is None:
            return
        if alarm.state not in (State.SHELVED, State.OUT_OF_SERVICE):
            alarm.aside = NOT_ASIDE
        if event is Event.ACKNOWLEDGE and by is not None and alarm.state is not State.NORMAL:
            alarm.answered = Answered(by, now.wall_ms)
        if alarm.state in LIT:
            alarm.told, alarm.worse_since_ms = alarm.value, None
        if alarm.state is State.UNACKNOWLEDGED:
            stamp = self._elapsed.stamp(now)
            is_alone = not any(other.waits for other in self.alarms.values() if other is not alarm)
            alarm.announced = Announced(stamp, stamp, first_out=is_alone)
        if alarm.state is State.NORMAL:
            alarm.consequence_of = None
        self._place(alarm)
        if (
            event in _ABSENCE and not alarm.present and not alarm.condition
        ):  # nothing of what it once was is said of it now
            alarm.value = alarm.since = None
            who = None if by is None else say("alarm.absent_by", by=name(by))
            alarm.cause = say(_ABSENCE[event], by=part(who))
        self._tell(alarm, before, by, now)

    def _tell(self, alarm: Alarm, before: State, by: str | None, now: Now) -> None:
        """The entry of a change of state, or of one more announcement."""
        alarm.at_wall_ms = now.wall_ms
        self._emit(alarm_body(alarm, before, by, self._elapsed.shelf_ends_ms(alarm, now), now), alarm.cause, now)

    def redate(self, booted_ms: int, by_ms: int) -> None:
        """The wall clock stepped: what has stood since a time of this boot has stood as long as before."""
        self.coming.redate(booted_ms, by_ms)
        for alarm in self.alarms.values():
            alarm.since = redated(alarm.since, booted_ms, by_ms)
            if alarm.answered is not None and alarm.answered.wall_ms >= booted_ms:
                alarm.answered = alarm.answered._replace(wall_ms=alarm.answered.wall_ms + by_ms)

    # -- published, kept

    def published(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every alarm, also when normal: shape in edge/snapshot.py, without its row's texts, and its `cause` is a message yet."""
        ends = self._elapsed.shelf_ends_ms
        return {
            ident: alarm_picture(alarm, self.bands.get(ident), ends(alarm, now), now)
            for ident, alarm in self.alarms.items()
        }

    def fold(self, entry: Entry) -> None:
        """Take an alarm entry of the journal as the alarm's state. One that this station has no more will end, which is told."""
        body = cast(AlarmBody, entry.body)
        alarm = self.alarms.get(body["id"])
        if alarm is None:
            self._note_gone(body["id"], body["to"])
            return
        alarm.restore(kept_of(entry, alarm), of_body(body, "cause"))
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
        if alarm.state is State.UNACKNOWLEDGED and (alarm.row.re_announce_ms or alarm.row.escalate_ms):
            self._ringing[alarm.id] = None
        else:
            self._ringing.pop(alarm.id, None)
        self._grace.pop(alarm.id, None)

    def _restored(self, alarm: Alarm) -> None:
        self._place(alarm)
        if alarm.id in self.bands:
            self.bands[alarm.id].beyond = alarm.condition
