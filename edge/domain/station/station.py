"""One station: feed it readings, records and the time; it returns journal entries and the verdict.

Pure: the same object runs live, in the accelerated demo and in a replay of old data. Only `now` tells it the time; delays and
rates use the monotonic part, calendar duties the wall part. Entries are outcomes, so that a later version never re-judges history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.domain.alarms.system import AlarmDesk
from edge.domain.doubts.cross_checks import Contradictions
from edge.domain.entries import Draft, Entry, Now, Stamp, rfc3339, wall_ms_of
from edge.domain.heat.cycle import DRAW_BELONGS_MS, Phase, phase_of
from edge.domain.heat.reservoir import Warmth
from edge.domain.readings import Reading, Role, Sample
from edge.domain.records.bodies import as_draft_body, to_alarms
from edge.domain.records.book import ALARM_RECORDS, Book, Fact, checked, local_date, next_date_change_ms
from edge.domain.records.counting import judge, stands
from edge.domain.records.entered import BY_EYE, Entered, sensed
from edge.domain.records.losses import DROPPED, LOST, tells_of_loss
from edge.domain.sensing.point_monitor import DECIDES_NOTHING, PointWatch
from edge.domain.settings import Settings
from edge.domain.station import dropped
from edge.domain.station import published as show
from edge.domain.station.assembled import assemble
from edge.domain.station.basin import Transfers
from edge.domain.station.calibrations import Calibrations
from edge.domain.station.conditions import Judged, Readiness
from edge.domain.station.duty_alarms import raise_duties
from edge.domain.station.filter_alarms import look_at_filters
from edge.domain.station.hours import at_rest
from edge.domain.station.leak_alarm import look_for_leak, recall_leak
from edge.domain.station.next_look import ends_in_ms
from edge.domain.station.outages import Outages
from edge.domain.station.published_water import water_estimates
from edge.domain.station.recalibrated import weighed
from edge.domain.station.reservoir_alarms import ReservoirAlarms
from edge.domain.station.silence import Silence
from edge.domain.station.verdict_memory import VerdictMemory
from edge.domain.station.weighing import Seconds, Weighing
from edge.domain.water.draw_history import Evidence, Shown
from edge.domain.water.draws import Draw, DrawWatch
from edge.domain.water.inferred_flow import Meterless, assumed_l_min

#: changes when the meaning of state() changes; snapshots of another version are rebuilt from the journal
FOLD_VERSION: Final = 9
#: at the latest after this everything is judged anew, whatever happened
LOOK_AGAIN_MS: Final = 3_600_000
#: while water is drawn, leaks are looked for so often
LOOK_FOR_LEAK_MS: Final = 60_000
_DRAWN_ALARMS: Final = ("pressure_low", "pressure_high", "flow_low", "flow_high")


class Station:
    """One station's state. Not for several threads: one owner calls it.

    Args:
        settings: what the station is.
        boot: identity of this boot; monotonic times of another boot can't be compared.
        state: what state() of the same FOLD_VERSION gave, or None.
    """

    def __init__(self, settings: Settings, boot: str, state: Mapping[str, Any] | None = None) -> None:
        self.settings, self.boot = settings, boot
        self.zone = ZoneInfo(settings.timezone)
        self.book = Book(settings, self.zone)
        self.dates = self.book.dates
        self.readings: list[Reading] = []
        self.watches: dict[str, PointWatch] = {p.id: PointWatch(p, 0) for p in settings.points}
        self.warmth = Warmth(settings.reservoir) if settings.reservoir is not None else None
        self.calibrations = Calibrations(settings, self.watches, self.book, self._recalibrated)
        self.entered = Entered(settings, self.watches, self.book)
        self.draws = DrawWatch(settings.supply) if settings.supply is not None else None
        self.phase = Phase.IDLE
        self.evidence = Evidence(settings, self.zone, boot, self.book)
        self.outages = Outages(self, self._draft)
        self._find_points()
        leaks, tell = bool(self.leak_points), partial(self._draft, "alarm")
        self.desk = AlarmDesk(settings, [o for o, _ in self.outlets], leaks, tell, self.book.dates, boot)
        points = (self.watches, self.flow_point, self.taps, self.power_point, self.evidence)
        self.contradictions = Contradictions(settings, *points, partial(self._draft, "contradiction"), self.warmth)
        self.seconds, self.weighing = Seconds(self, self.reservoir_points[1:]), Weighing(self)
        self.silence = Silence(self, self._draft)
        self.buses_seen = self.silence.seen
        self.transfers = Transfers(self, self._draft)
        self._handlers |= {self.basin_point: self.transfers.hear_basin} if self.basin_point is not None else {}
        self._drafts: list[Draft] = []
        self._now = Now(0, 0, False)
        self._begun = self._dirty = self._reservoir_moved = False
        self.is_resting = False  # outside the hours, by a trusted clock
        self._again_ms = self._leak_ms = 0
        self._edge_ms = self._day_ms = 0  # monotonic times of the next edge of the hours and of the next local date
        self._belongs_until_ms: int | None = None
        self._sides: tuple[int | None, ...] = ()  # on which sides of its limits the draw under way stands
        self._verdicts = VerdictMemory()
        self.settings_told: tuple[int, str] | None = None  # seq and digest of the settings that the journal told last
        self.readiness = Readiness(self)
        self.reservoir_alarms = ReservoirAlarms(self, partial(self._draft, "cool_down"))
        if state is not None:
            self._restore(state)

    def _find_points(self) -> None:
        by_role: dict[Role, list[str]] = {}
        for point in sensed(self.settings.points):
            by_role.setdefault(point.role, []).append(point.id)

        def first(role: Role) -> str | None:
            return next(iter(by_role.get(role, ())), None)

        self.reservoir_point = first(Role.RESERVOIR_TEMPERATURE)
        self.reservoir_points = by_role.get(Role.RESERVOIR_TEMPERATURE, [])
        self.basin_point = first(Role.BASIN_TEMPERATURE)
        self.room_point = first(Role.ROOM_TEMPERATURE)
        self.supply_temperature_point = first(Role.SUPPLY_TEMPERATURE)
        self.supply_point = first(Role.SUPPLY_PRESSURE)
        self.flow_point = first(Role.SUPPLY_FLOW)
        self.power_point = first(Role.MACHINE_POWER)
        self.leak_points = by_role.get(Role.LEAK, [])
        points = {p.id: p for p in self.settings.points}
        self.outlets: list[tuple[str, str]] = [(points[p].of or p, p) for p in by_role.get(Role.OUTLET_PROTECTION, [])]
        rooms = by_role.get(Role.ROOM_TEMPERATURE, ())
        handlers: dict[str, Callable[[float, int, Now], None]] = dict.fromkeys(rooms, self._hear_room)
        for role, handler in (
            (Role.RESERVOIR_TEMPERATURE, self._hear_reservoir),
            (Role.SUPPLY_FLOW, self._hear_flow),
            (Role.SUPPLY_PRESSURE, self._hear_supply),
            (Role.MACHINE_POWER, self._hear_power),
        ):
            if (name := first(role)) is not None:
                handlers[name] = handler
        between, filtered = first(Role.BETWEEN_FILTERS_PRESSURE), first(Role.FILTERED_PRESSURE)
        self.taps = {"supply": self.supply_point, "between": between, "filtered": filtered}
        for tap, name in self.taps.items():
            if name is not None and tap != "supply":
                handlers[name] = partial(self._hear_tap, tap)
        self.last_tap = filtered or between
        self.meterless = None
        if self.flow_point is None and self.last_tap is not None and self.supply_point is not None:
            flow_l_min = assumed_l_min(self.settings)
            self.meterless = None if flow_l_min is None else Meterless(flow_l_min)
        for outlet, name in self.outlets:
            handlers[name] = partial(self._hear_outlet, outlet, name)
        for name in self.leak_points:
            handlers[name] = self._hear_leak
        self._handlers = handlers

    # -- what the outside calls

    def hear(self, samples: Sequence[Sample], now: Now) -> list[Draft]:
        """Judge samples of one instant or burst. The judged readings stand in `readings` until the next call.

        A sample of a point that the station does not have is passed over.
        """
        self._begin(now)
        self._hear(samples, now)
        self._settle(now)
        return self._take()

    def _hear(self, samples: Sequence[Sample], now: Now) -> None:
        readings, watches, handlers = self.readings, self.watches, self._handlers
        for sample in samples:
            watch = watches.get(sample.point)
            if watch is None:
                continue
            first = watch.good is None
            room_c = self.contradictions.room_now(sample.mono_ms) if sample.point in self.reservoir_points else None
            reading = watch.hear(sample, room_c)
            readings.append(reading)
            value = None if reading.reason in DECIDES_NOTHING else reading.value
            if value is None:
                if (advice := watch.advice()) is not None:
                    self._drafts.append(Draft(now, "advice", advice))
                continue
            self._drafts += watch.take_news(now)
            self.contradictions.heard(sample.point, value, sample.mono_ms)
            self._dirty |= self.seconds.hear(sample.point, value, sample.mono_ms)
            if first or sample.point in self.silence.points:
                self._dirty = True
                self.silence.heard(sample.point, now)
            handler = handlers.get(sample.point)
            if handler is not None:
                handler(value, sample.mono_ms, now)

    def advance(self, now: Now) -> list[Draft]:
        """Let time pass without a reading."""
        self._begin(now)
        self._settle(now)
        return self._take()

    def next_deadline(self) -> int | None:
        """Monotonic time at which advance() is due if nothing is heard before; None before the first call."""
        if not self._begun:
            return None
        due = [self.silence.next_ms, self._again_ms, self._edge_ms, self._day_ms]
        if self._belongs_until_ms is not None:
            due.append(self._belongs_until_ms)
        if self.warmth is not None:
            if self.warmth.hold_ends_ms is not None:
                due.append(self.warmth.hold_ends_ms)
            ends = self.warmth.cycle.next_deadline_ms()
            if ends is not None and ends > self._now.mono_ms:
                due.append(ends)
        pending = self.desk.next_deadline_ms(self._now)
        if pending is not None:
            due.append(pending)
        return max(min(due), self._now.mono_ms + 1)

    def record(self, body: Mapping[str, Any], now: Now, *, readings_follow: bool = False) -> list[Draft]:
        """Take a record; the first draft is its own. `readings_follow`, of this very instant: what is due is settled with them.

        Raises:
            RecordRefused: its shape can't be used; nothing has changed.
        """
        record, by, at_ms = checked(body, now)
        worked: dict[str, Any] = {}
        if record in ALARM_RECORDS:
            why = self.desk.check_record(record, body)
        else:
            why = judge(self.book, record, at_ms, body, now)
        if record == "entered_reading" and not why:
            why = self.entered.judge(body, at_ms, now)
        if record == "calibration" and not why:
            _, why, worked = self.calibrations.judge(body, at_ms, now)
        held = bool(why) and stands(self.settings, record, body)
        kept = as_draft_body({**body, **worked}, record, by, at_ms, why, stands=held)
        self._begin(now)
        self._drafts.insert(0, Draft(now, "record", kept))
        if record not in ALARM_RECORDS:
            self._add(Fact(None, record, at_ms, kept, held or not why, Stamp(self.boot, *now)))
            self.calibrations.apply()
            self.transfers.recorded(record, kept)
            self.contradictions.recorded(record, kept, now.mono_ms)
            self._hear(self.entered.samples(now), now)
            self.silence.next_ms = now.mono_ms if record in BY_EYE else self.silence.next_ms
        elif not why:
            to_alarms(self.desk, record, by, body, now)
        self._dirty = self._reservoir_moved = True
        self._day_ms = now.mono_ms
        if not readings_follow:
            self._settle(now)
        return self._take()

    def _add(self, fact: Fact) -> None:
        fact = self.book.add(fact)
        self.evidence.train.rebase()
        if fact.record == "calibration" and fact.counts:
            self.contradictions.compared(fact.body.get("point"))
        if self.warmth is not None and fact.counts:
            self.warmth.poured_ms = self.book.poured_ms()
            self.warmth.recorded(fact.record, fact.body)

    def _recalibrated(self, point: str, by: float) -> None:
        if point == self.reservoir_point and self.warmth is not None:
            self.warmth.recalibrated(by)

    def bus(self, bus: str, what: str, why: str, now: Now) -> list[Draft]:
        """A bus was "lost", or is "back". What the journal's last entry says already is no entry again: a restart is no news."""
        self._begin(now)
        if not self.silence.bus(bus, what, why, now):
            return []
        self._settle(now)
        return self._take()

    def fact(self, alarm_id: str, active: bool, text: str, now: Now) -> list[Draft]:
        """What the daemon knows and the station can't see: `disk_low`, `untold`."""
        self._begin(now)
        self.desk.set(alarm_id, active, now, cause=text)
        self._settle(now)
        return self._take()

    def clock_step(self, now: Now, by_ms: int, why: str) -> list[Draft]:
        """The wall clock stepped. Delays don't notice; dates do."""
        self._begin(now)
        times = {"from": rfc3339(now.wall_ms - by_ms), "to": rfc3339(now.wall_ms)}
        self._drafts.append(Draft(now, "clock_step", {"by_ms": by_ms, "why": why, **times}))
        self._redate(now.wall_ms, now.mono_ms, by_ms)
        self._edge_ms = self._day_ms = now.mono_ms
        self._dirty = True
        self._settle(now)
        return self._take()

    @property
    def conditions(self) -> Iterable[str]:
        """The ids of its conditions that have a judge."""
        return self.readiness.judges

    def owed(self, now: Now) -> dict[str, str]:
        """What people owe the station now: condition -> why it isn't met. Asked before its settings change."""
        self._begin(now)
        return dropped.owed(self.judged(now))

    def settings_changed(self, before: Mapping[str, str], now: Now) -> list[Draft]:
        """These settings have come into force; `before` is what was owed under those before (owed())."""
        self._begin(now)
        gone = dropped.dropped(before, self.judged(now))
        if gone:
            self.book.add(Fact(None, DROPPED, now.wall_ms, {"owed": gone}, True, Stamp(self.boot, *now)))
            self._draft(dropped.KIND, {"owed": gone})
        return self._take()

    def _redate(self, wall_ms: int, mono_ms: int, by_ms: int) -> None:
        """What stands since a time of this boot has stood as long as before: by the clock as it is now that was then."""
        booted_ms = wall_ms - by_ms - mono_ms
        self._verdicts.redate(booted_ms, by_ms)
        self.desk.redate(booted_ms, by_ms)

    # -- readings, by role

    def _hear_reservoir(self, liquid_c: float, mono_ms: int, now: Now) -> None:
        self._reservoir_moved = True
        if self.warmth is not None:
            event = self.warmth.hear(liquid_c, self.contradictions.room_now(mono_ms), mono_ms)
            self.transfers.hear_liquid(liquid_c, event, mono_ms, now)

    def _hear_room(self, value: float, mono_ms: int, now: Now) -> None:
        self._reservoir_moved = True
        if self.warmth is not None:
            self.warmth.hear_room(value, mono_ms)

    def _hear_flow(self, value: float, mono_ms: int, now: Now) -> None:
        point = self.flow_point or self.last_tap
        if self.draws is None or point is None:
            return
        wall_ms = now.wall_ms - (now.mono_ms - mono_ms)
        heard = self.draws.hear_flow(value, mono_ms, wall_ms, self.watches[point].point.stale_after_ms)
        if heard.ended is not None:
            self._finish_draw(*heard.ended, now)
        elif heard.began:
            self._dirty = True
            self.contradictions.flowed()
            self.desk.drop_pending("static_high", now)
        elif heard.steady:
            for what, seen in heard.steady:
                self._see_drawn(what, seen, now)
        if self.draws.draw is None or mono_ms >= self._leak_ms:
            self._leak_ms = mono_ms + LOOK_FOR_LEAK_MS
            self._dirty |= look_for_leak(self, now, self._draft)

    def _hear_supply(self, value: float, mono_ms: int, now: Now) -> None:
        if self.draws is None or self.supply_point is None:
            return
        static, steady = self.draws.hear_pressure("supply", value, mono_ms)
        if static:
            self.desk.see("static_high", value, self.supply_point, now)
            if self.contradictions.static(value, self.draws.settled_kpa, mono_ms):
                self._dirty = True
                self.weighing.tell_static(now)
            self._dirty |= self.readiness.has_static_moved(mono_ms)
        elif steady:
            self._see_drawn("supply", value, now)
        elif self.draws.is_blind:
            self.contradictions.unmetered(value, mono_ms)

    def _see_drawn(self, what: str, value: float, now: Now) -> None:
        """A value of a steady draw against its limits. Judged anew only where that may change a condition: a draw has many."""
        sides = self.readiness.drawn_sides()
        if sides != self._sides:
            self._sides, self._dirty = sides, True
            self.weighing.mind_draw(sides)
        if what == "flow" and self.flow_point is not None:
            self.desk.see("flow_low", value, self.flow_point, now)
            self.desk.see("flow_high", value, self.flow_point, now)
        elif what == "supply" and self.supply_point is not None:
            self.desk.see("pressure_low", value, self.supply_point, now)
            self.desk.see("pressure_high", value, self.supply_point, now)

    def _hear_tap(self, tap: str, value: float, mono_ms: int, now: Now) -> None:
        if self.draws is None:
            return
        self._dirty |= self.draws.hear_pressure(tap, value, mono_ms)[0] and self.readiness.has_tap_sunk()
        if self.meterless is not None and self.taps[tap] == self.last_tap and self.supply_point is not None:
            supply_kpa = self.watches[self.supply_point].value(mono_ms)
            if supply_kpa is not None:
                flow_l_min = self.meterless.hear(supply_kpa - value, mono_ms)
                self.draws.lag_ms = self.meterless.lag_ms
                self._hear_flow(flow_l_min, mono_ms, now)

    def _hear_outlet(self, outlet: str, point: str, value: float, mono_ms: int, now: Now) -> None:
        if self.outages.hear(outlet, point, value, mono_ms, now):
            self._dirty = self._reservoir_moved = True

    def _hear_leak(self, value: float, mono_ms: int, now: Now) -> None:
        self._dirty |= look_for_leak(self, now, self._draft)

    def _hear_power(self, value: float, mono_ms: int, now: Now) -> None:
        self.outages.hear_power(value, mono_ms)
        if self.warmth is not None:
            self.warmth.cycle.powered = value == 1.0

    def _finish_draw(self, draw: Draw, why: str, now: Now) -> None:
        if self.supply_temperature_point is not None:
            watch = self.watches[self.supply_temperature_point]
            draw.supply_temperature_c = watch.value(now.mono_ms) if watch.doubt is None else None
        else:
            entered = self.readiness.entered(Role.SUPPLY_TEMPERATURE, now)
            draw.supply_temperature_c = None if entered is None else entered[0]
        self._drafts.append(Draft(now, "draw", self.evidence.finish(draw, why, now)))
        self.contradictions.drawn(draw, why == "flow", now.mono_ms)
        self.weighing.tell_static(now)
        if self._belongs(now):
            self._belongs_until_ms = now.mono_ms + DRAW_BELONGS_MS
        for ident in _DRAWN_ALARMS:
            self.desk.drop_pending(ident, now)
        look_at_filters(self, now)
        self._dirty = True

    # -- after every call

    def _begin(self, now: Now) -> None:
        self._drafts, self.readings = [], []
        before, self._now = self._now, now
        if self.book.note_clock(self.boot, now) or not self._begun:
            self._facts_redated(now)
        if not self._begun:
            self._begun = True
            self.calibrations.apply()
            self.transfers.refresh()
            self.outages.begin(now)
            for watch in self.watches.values():
                watch.started_ms = watch.good_ms = watch.still_since_ms = now.mono_ms
            self._edge_ms = self._day_ms = self._again_ms = now.mono_ms
            self._dirty = True
            self._hear(self.entered.samples(now), now)
            recall_leak(self, now)
            self.reservoir_alarms.resume(now)
        elif before.trusted != now.trusted:
            self.silence.next_ms = self._edge_ms = self._day_ms = now.mono_ms
            self._dirty = True
            self._hear(self.entered.samples(now), now)
        self.desk.set("clock_untrusted", not now.trusted, now, cause="the wall clock is not trusted")
        self.readings = []  # what was entered before a restart is no new reading

    def _facts_redated(self, now: Now) -> None:
        """More is known of the clock than before, so facts have other dates."""
        if self.warmth is not None:
            self.warmth.poured_ms = self.book.poured_ms()
        self._day_ms, self._dirty = now.mono_ms, True

    def _take(self) -> list[Draft]:
        drafts, self._drafts = self._drafts, []
        return drafts

    def _draft(self, kind: str, body: Mapping[str, Any], now: Now | None = None) -> None:
        self._drafts.append(Draft(now or self._now, kind, body))
        self._dirty = True

    def _settle(self, now: Now) -> None:
        mono_ms = now.mono_ms
        if mono_ms >= self.silence.next_ms:
            for ident in self.silence.look(now):
                self._fall_silent(ident, now)
        if mono_ms >= self._day_ms:
            self._look_at_calendar(now)
        if mono_ms >= self._edge_ms:
            self._look_at_hours(now)
        if self._reservoir_moved or (self.warmth is not None and self.warmth.hold_ends_ms is not None):
            self._look_at_warmth(now)
        self._look_at_phase(now)
        self.outages.look(now)
        if self._reservoir_moved:
            self.reservoir_alarms.look(now)
            self._reservoir_moved = False
        self.desk.pass_time(now)
        if self._dirty or mono_ms >= self._again_ms:
            self._judge(now)

    def _fall_silent(self, ident: str, now: Now) -> None:
        """What rests on a point that has fallen silent."""
        self._dirty = True
        if ident == self.reservoir_point:
            if self.warmth is not None:
                self.warmth.forget()
            self.reservoir_alarms.forget(now)
        elif ident in self.contradictions.rooms:
            self._reservoir_moved = True
        elif ident == (self.flow_point or self.last_tap) and self.draws is not None:
            draw = self.draws.lose_flow(now.mono_ms)
            if draw is not None:
                self._finish_draw(draw, "flow not known", now)

    def cold_now(self, now: Now) -> tuple[float, bool]:
        """(what the liquid meets on its way [Cel], is that assumed): the room, or the declared coldest one."""
        return self.contradictions.room_now(now.mono_ms), self.contradictions.room_c(now.mono_ms) is None

    def _look_at_warmth(self, now: Now) -> None:
        if self.warmth is None or self.reservoir_point is None:
            return
        watch = self.watches[self.reservoir_point]
        liquid = watch.value(now.mono_ms)
        if liquid is None:
            self.warmth.forget()
            return
        cold_c = self.contradictions.room_now(now.mono_ms)
        self.transfers.look_at_supply(now)
        self.warmth.guard_k = watch.guard
        uncertain = not watch.is_sure
        changed, became_warm = self.warmth.look(liquid, watch.good_ms, cold_c, uncertain, now)
        self._dirty |= changed
        body = self.warmth.heat_up(cold_c, now) if became_warm else None
        if body is not None:
            self._drafts.append(Draft(now, "heat_up", body))

    def _belongs(self, now: Now) -> bool:
        """Is water drawn now, or just now, drawn for a cycle? A cold liquid can't be in a cycle."""
        if self.warmth is None or self.reservoir_point is None:
            return True
        return self.warmth.is_warm or self.warmth.cycle.explains_cold(now.mono_ms) or self.phase is Phase.IN_USE

    def _look_at_phase(self, now: Now) -> None:
        mono_ms = now.mono_ms
        if self._belongs_until_ms is not None and mono_ms >= self._belongs_until_ms:
            self._belongs_until_ms = None
        drawing = self.draws is not None and self.draws.draw is not None
        if drawing and self.warmth is not None:
            self.warmth.cycle.drew(mono_ms)
        away = self.warmth is not None and self.warmth.cycle.is_away(mono_ms)
        phase = phase_of(
            off=self.power_point is not None and self.watches[self.power_point].value(mono_ms) == 0.0,
            at_work=self.book.work is not None,
            away=away,
            drawn=self._belongs_until_ms is not None or (drawing and self._belongs(now)),
            reheating=self.warmth is not None and self.warmth.is_reheating(mono_ms),
            resting=self.is_resting,
        )
        if phase is not self.phase:
            self._drafts.append(Draft(now, "phase", {"from": str(self.phase), "to": str(phase)}))
            if self.phase is Phase.OFF:
                self.book.power_up(Stamp(self.boot, *now))
            self.phase, self._dirty, self._reservoir_moved = phase, True, True

    def _look_at_hours(self, now: Now) -> None:
        """At rest: outside the hours. An untrusted clock can't say so."""
        hours, resting = self.settings.hours, False
        self._edge_ms = now.mono_ms + 24 * LOOK_AGAIN_MS
        if hours is not None and now.trusted:
            lead_ms = self.settings.reservoir.warm_up_limit_ms if self.settings.reservoir is not None else 0
            resting, change_ms = at_rest(hours, lead_ms, self.zone, now.wall_ms)
            self._edge_ms = now.mono_ms + change_ms - now.wall_ms
        if resting != self.is_resting:
            self.is_resting, self._dirty, self._reservoir_moved = resting, True, True

    def _look_at_calendar(self, now: Now) -> None:
        """A local date began, or facts changed: duties, ages of filters, the day's filter figures."""
        self._day_ms = now.mono_ms + (next_date_change_ms(now.wall_ms, self.zone) - now.wall_ms)
        today = local_date(now.wall_ms, self.zone).isoformat()
        if now.trusted:
            self._drafts += [Draft(now, "filter_day", body) for body in self.evidence.begin_day(today)]
        look_at_filters(self, now)
        self._dirty = True

    # -- judging

    def judged(self, now: Now) -> dict[str, Judged]:
        """Every condition as it is now, by id, in the order of the contract."""
        judged = self.weighing.all(self.readiness.judges, now)
        return {ident: weighed(self, ident, one, now) for ident, one in judged.items()}

    def _judge(self, now: Now) -> None:
        """Look at every condition; the verdict's change is an entry."""
        self._again_ms = now.mono_ms + LOOK_AGAIN_MS
        for _ in range(2):  # duties raise alarms of their own, which may be looked at by conditions
            self._dirty = False
            judged = self.judged(now)
            raise_duties(self, judged, now)
            if not self._dirty:
                break
        self._dirty = False
        for end_ms in ends_in_ms(self, now):
            if 0 < end_ms < LOOK_AGAIN_MS:
                self._again_ms = min(self._again_ms, now.mono_ms + end_ms)
        body = self._verdicts.look(judged, now.wall_ms)
        if body is not None:
            self._drafts.append(Draft(now, "verdict", body))

    def drawn(self, key: str, now: Now) -> Shown:
        """What the last steady draw showed, or the one under way once it is steady."""
        return self.evidence.shown(key, now, self.draws.draw if self.draws is not None else None)

    def dropped(self, ident: str, now: Now) -> Shown:
        """A filter's normalised drop [kPa]."""
        change = self.book.last_change(ident)
        return self.evidence.drop(ident, None if change is None else change.at_ms, now)

    def show(self, point: str, value: float) -> str:
        """A value in the unit that the station file gives its point."""
        settings = self.watches[point].point
        return show.value_text(value, settings.unit, settings.kind)

    def nominal(self, point: str) -> str:
        """What stands behind a value: its expanded uncertainty, or that it is uncalibrated."""
        return self.watches[point].nominal

    # -- what is published

    def verdict(self, now: Now) -> dict[str, Any]:
        """The verdict with its conditions: shape in edge/snapshot.py."""
        return assemble(self, self.judged(now), self._verdicts.since, now)

    def alarms(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every alarm, also when normal: shape in edge/snapshot.py."""
        return self.desk.published(now)

    def points(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every point's last reading, its age and what to do: shape in edge/snapshot.py."""
        silent, signed = self.silence.points, self.entered.signed
        return {i: {**show.point(watch, i in silent, now), **signed(i)} for i, watch in self.watches.items()}

    def estimates(self, now: Now) -> dict[str, dict[str, Any]]:
        """What is computed rather than read: shape in edge/snapshot.py."""
        return show.estimates(self, now) | water_estimates(self, now)

    # -- after a restart

    def kept(self, entries: Iterable[Entry]) -> None:
        """The journal gave entries their seq."""
        for entry in entries:
            self.book.dates.reached(entry.boot, entry.mono_ms)
            if entry.kind == "record":
                if entry.body["record"] not in ALARM_RECORDS:
                    self.book.number_next(entry.seq)
            elif entry.kind == "alarm" and entry.body["id"] in self.desk.alarms:
                self.desk.alarms[entry.body["id"]].seq = entry.seq
            elif entry.kind == "draw":
                self.evidence.kept(entry.seq)
            elif entry.kind == dropped.KIND:
                self.book.number_next(entry.seq)
            elif entry.kind == "settings":
                self.settings_told = (entry.seq, entry.body["digest"])
            elif tells_of_loss(entry.kind, entry.body):
                self._dirty = True
                self.fold(entry)

    def fold(self, entry: Entry) -> None:
        """Take one outcome of the journal into the state, in order, before the first reading."""
        body = entry.body
        self.book.note_clock(entry.boot, Now(entry.mono_ms, entry.wall_ms, entry.trusted))
        self.book.dates.reached(entry.boot, entry.mono_ms)
        if entry.kind == "alarm":
            self.desk.fold(entry)
        elif tells_of_loss(entry.kind, body):
            self.book.add(Fact(entry.seq, LOST, entry.wall_ms, body, True))
            self.evidence.last = None  # a later draw may be among what was lost
            self.contradictions.lost()
        elif entry.kind == dropped.KIND:
            self.book.add(Fact(entry.seq, DROPPED, entry.wall_ms, body, True, entry.stamp))
        elif entry.kind == "settings":
            self.settings_told = (entry.seq, body["digest"])
        elif entry.kind == "record" and body.get("record") not in ALARM_RECORDS:
            counts = bool(body.get("stands")) or bool(body.get("counts"))
            self._add(Fact(entry.seq, body["record"], wall_ms_of(body["at"]), body, counts, entry.stamp))
        elif entry.kind == "clock_step":
            self._redate(entry.wall_ms, entry.mono_ms, body["by_ms"])
        elif entry.kind == "draw":
            self.evidence.fold(entry)
        elif entry.kind == "contradiction":
            self.contradictions.take(body)
        elif entry.kind in ("heat_up", "cool_down") and self.warmth is not None:
            (self.warmth.learn if entry.kind == "heat_up" else self.warmth.cool.learn)(body)
        elif entry.kind == "transfer":
            self.transfers.fold(body)
        elif entry.kind == "bus":
            self.silence.fold(body)
        elif entry.kind == "power":
            self.outages.take(body, entry.stamp)
        elif entry.kind == "phase":
            self.phase = Phase(body["to"])
            if body["from"] == Phase.OFF:
                self.book.power_up(entry.stamp)
        elif entry.kind == "verdict":
            self._verdicts.fold(body, entry.wall_ms)

    def state(self) -> dict[str, Any]:
        """What the journal's entries add up to, as JSON; a snapshot spares reading them all."""
        return {
            "alarms": {ident: alarm.as_state() for ident, alarm in self.desk.alarms.items() if alarm.seq is not None or alarm.present},
            "facts": [fact.as_state() for fact in self.book.facts], "dates": self.book.dates.state(), "evidence": self.evidence.state(),
            "phase": str(self.phase), "verdict": self._verdicts.state(), "settings": self.settings_told, "lost": self.outages.state(),
            "doubts": self.contradictions.state(), "transfers": self.transfers.state(), **self.silence.state(),
            **({} if self.warmth is None else self.warmth.state()),
        }  # fmt: skip

    def _restore(self, state: Mapping[str, Any]) -> None:
        self.desk.restore(state["alarms"])
        self.book.facts = [Fact.of_state(fact) for fact in state["facts"]]
        self.book.dates.restore(state["dates"])
        self.evidence.restore(state["evidence"])
        self.contradictions.restore(state.get("doubts", {}))
        self.transfers.restore(state.get("transfers", {}))
        self.silence.restore(state)
        self.outages.restore(state.get("lost", ()))
        if self.warmth is not None:
            self.warmth.poured_ms = self.book.poured_ms()
            self.warmth.restore(state)
        self.phase = Phase(state["phase"])
        self._verdicts.restore(state["verdict"])
        self.settings_told = None if (told := state.get("settings")) is None else (int(told[0]), str(told[1]))
