"""Asking a station's parts, in their order: readings in, time on, conditions judged, entries out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from edge.domain.alarms.system import AlarmSystem
from edge.domain.entries import Draft, Now
from edge.domain.messages import say
from edge.domain.readings import Reading, Role, Sample
from edge.domain.sensing.point_monitor import DECIDES_NOTHING, PointMonitor
from edge.domain.station.build import Parts, judges_of
from edge.domain.station.judged import Judged
from edge.domain.station.part import ClockTrustChanged, FactsRedated, that_mind
from edge.domain.station.verdict_memory import VerdictMemory
from edge.domain.station.view import View

#: at the latest after this everything is judged anew, whatever happened
LOOK_AGAIN_MS: Final = 3_600_000
_UNTRUSTED: Final = say("alarm.clock_untrusted.cause")


class Asking:
    """Runs passes over the parts, each: begin(), what is heard or happens, settle() or take().

    Args:
        alarms: the station's.
        verdicts: what the conditions were.
    """

    def __init__(self, view: View, parts: Parts, alarms: AlarmSystem, verdicts: VerdictMemory) -> None:
        self._view, self._parts, self._alarms, self._verdicts = view, parts, alarms, verdicts
        self._watches: Mapping[str, PointMonitor] = view.watches
        self.readings: list[Reading] = []
        self.judges = judges_of(parts.in_order)
        self._hears = {
            point.id: [(part.hear, point) for part in parts.in_order if point.role in part.roles]
            for point in view.settings.points
        }
        self._advances, self._deadlines = (that_mind(parts.in_order, name) for name in ("advance", "next_deadline_ms"))
        self._room_now = parts.crossed.rooms.room_now
        self._liquids = frozenset(view.points.ids(Role.RESERVOIR_TEMPERATURE))
        self._begun = False
        self._again_ms = 0

    def begin(self, now: Now) -> None:
        """An instant begins: what the clock has come to, and at the first instant of a run all parts begin."""
        view = self._view
        view.drafts, self.readings = [], []
        before, view.now = view.now, now
        if view.book.note_clock(view.boot, now) or not self._begun:
            view.happen(FactsRedated(), now)
            view.changed()
        if not self._begun:
            self._begun = True
            for part in self._parts.in_order:
                part.begin(now)
            for watch in self._watches.values():
                watch.started_ms = watch.good_ms = watch.still_since_ms = now.mono_ms
            self._again_ms = now.mono_ms
            view.changed()
            self.hear(view.entered.samples(now), now)
            for part in self._parts.in_order:
                part.resume(now)
        elif before.trusted != now.trusted:
            view.happen(ClockTrustChanged(), now)
            view.changed()
            self.hear(view.entered.samples(now), now)
        self._alarms.set_condition("clock_untrusted", not now.trusted, now, cause=_UNTRUSTED)
        self.readings = []  # what was entered before a restart is no new reading

    def hear(self, samples: Sequence[Sample], now: Now) -> None:
        """Judge samples, and let the parts hear those that are good. One of a point that the station doesn't have is passed over."""
        readings, watches, view = self.readings, self._watches, self._view
        for sample in samples:
            watch = watches.get(sample.point)
            if watch is None:
                continue
            room_c = self._room_now(sample.mono_ms) if sample.point in self._liquids else None
            reading = watch.hear(sample, room_c)
            readings.append(reading)
            value = None if reading.reason in DECIDES_NOTHING else reading.value
            if value is None:
                if (advice := watch.advice()) is not None:
                    view.advise(advice, now, changes=False)
                continue
            if watch.news is not None and (news := watch.take_news()) is not None:
                view.advise(news, now, changes=False)
            for hear, point in self._hears[sample.point]:
                hear(point, value, sample.mono_ms, now)

    def settle(self, now: Now) -> list[Draft]:
        """All of this instant is heard: time passes for the parts and the alarms, and conditions are judged where they may have changed."""
        for advance in self._advances:
            advance(now)
        self._alarms.pass_time(now)
        if self._view.is_changed or now.mono_ms >= self._again_ms:
            self._judge(now)
        return self.take()

    def take(self) -> list[Draft]:
        """The entries so far."""
        drafts, self._view.drafts = self._view.drafts, []
        return drafts

    def next_deadline(self) -> int | None:
        """Monotonic time at which settle() is due if nothing is heard before; None before the first instant."""
        if not self._begun:
            return None
        now, due = self._view.now, [self._again_ms]
        for deadlines in self._deadlines:
            due += deadlines(now)
        pending = self._alarms.next_deadline_ms(now)
        if pending is not None:
            due.append(pending)
        return max(min(due), now.mono_ms + 1)

    def judged(self, now: Now) -> dict[str, Judged]:
        """Every condition as it is now, by id, in the order of CONDITIONS (build.py)."""
        return {ident: judge(now) for ident, judge in self.judges.items()}

    def _judge(self, now: Now) -> None:
        """Look at every condition; the verdict's change is an entry."""
        view = self._view
        self._again_ms = now.mono_ms + LOOK_AGAIN_MS
        judged: dict[str, Judged] = {}
        for _ in range(2):  # duties raise alarms of their own, which may be looked at by conditions
            view.is_changed = False
            judged = self.judged(now)
            for part in self._parts.in_order:
                part.judged(judged, now)
            if not view.is_changed:
                break
        view.is_changed = False
        for part in self._parts.in_order:
            for end_ms in part.ends_in_ms(now):
                if 0 < end_ms < LOOK_AGAIN_MS:
                    self._again_ms = min(self._again_ms, now.mono_ms + end_ms)
        body = self._verdicts.look(judged, now.wall_ms)
        if body is not None:
            view.note("verdict", body, now)
