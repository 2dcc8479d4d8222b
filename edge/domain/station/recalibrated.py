"""What calibrations have to do with a condition: said where it is met only by one, and not met where a comparison speaks against it.

A comparison that is too large for being in force by itself may still be true. Where the truth would be worse by it, the condition can't be
told until a second comparison has settled it; where it would be better, nothing changes.
"""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.rooms import Rooms
from edge.domain.entries import Now
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.readings import Role
from edge.domain.sensing.calibration import K_CALIBRATED, Correction
from edge.domain.station.hours import clock_text
from edge.domain.station.judged import MET, Judged
from edge.domain.station.parts.calibrations import Calibrations
from edge.domain.station.view import View
from edge.domain.water.draw_history import Shown
from edge.domain.wording import difference_text

#: so long after a calibration it is said that a condition is met only since then
SAID_FOR_MS: Final = 3_600_000
#: a date by which a calibration is due is passed
PAST_DUE: Final = "; met nominally: the calibration of {} is past its due date"


class Recalibrations:
    """Weighs conditions by the calibrations that they rest on. Remembers nothing.

    Args:
        calibrations: of all points.
    """

    def __init__(self, view: View, calibrations: Calibrations) -> None:
        self._view, self._calibrations = view, calibrations

    def reservoir(self, judged: Judged, warmth: ReservoirMonitor, rooms: Rooms, now: Now) -> Judged:
        """The condition of the reservoir, as judged."""
        probe = self._view.points.first(Role.RESERVOIR_TEMPERATURE)
        if judged.state != MET:
            return judged
        return self.past_due(self._reservoir(judged, warmth, rooms, probe, now), (probe,), now)

    def _reservoir(self, judged: Judged, warmth: ReservoirMonitor, rooms: Rooms, probe: str | None, now: Now) -> Judged:
        if probe is None:
            return judged
        watch = self._view.watches[probe]
        liquid_c = watch.value(now.mono_ms)
        if liquid_c is None or watch.raw is None:
            return judged
        room_c, assumed = rooms.room_or_assumed(now.mono_ms)
        room = None if assumed else self._view.points.first(Role.ROOM_TEMPERATURE)
        disputed = self._disputed(warmth, liquid_c, room_c, watch.guard, probe, room)
        if disputed:
            return self._unsettled(judged, disputed)
        return judged._replace(text=judged.text + self._only_since(warmth, liquid_c, room_c, probe, room, now))

    def drawn(
        self, judged: Judged, shown: Shown, point: str | None, limits: tuple[float | None, float | None], now: Now
    ) -> Judged:
        """A condition as judged by the last steady draw, had the comparison that waits been right."""
        if judged.state != MET:
            return judged
        return self.past_due(self._drawn(judged, shown, point, limits), (point,), now)

    def _drawn(
        self, judged: Judged, shown: Shown, point: str | None, limits: tuple[float | None, float | None]
    ) -> Judged:
        waiting = None if point is None else self._calibrations.waiting(point)
        value = shown.value
        if point is None or waiting is None or value is None:
            return judged
        guard, truly = self._view.watches[point].guard, value + waiting.by
        is_within = (limits[0] is None or truly - guard >= limits[0] - AT_LIMIT) and (
            limits[1] is None or truly + guard <= limits[1] + AT_LIMIT
        )
        return judged if is_within else self._unsettled(judged, [point])

    def _unsettled(self, judged: Judged, points: list[str]) -> Judged:
        ask = f"Compare {' and '.join(points)} with the reference again"
        text = f"{judged.text}; but {' and '.join(self._said(point) for point in points)}"
        return judged._replace(state="unknown", text=text, ask=ask)

    def past_due(self, judged: Judged, points: tuple[str | None, ...], now: Now) -> Judged:
        """Where the calibration of a point is past its due date: met, but only nominally."""
        if judged.state != "met" or "nominally" in judged.text:
            return judged
        due = [p for p in points if p is not None and self._calibrations.is_past_due(p, now)]
        return judged._replace(text=judged.text + PAST_DUE.format(" and ".join(due))) if due else judged

    @staticmethod
    def _is_enough(warmth: ReservoirMonitor, liquid_c: float, room_c: float, guard_k: float) -> bool:
        """Would it go on being warm enough with these?"""
        return liquid_c - guard_k >= warmth.limits(room_c)[1] - AT_LIMIT

    def _disputed(
        self, warmth: ReservoirMonitor, liquid_c: float, room_c: float, guard_k: float, probe: str, room: str | None
    ) -> list[str]:
        """The points whose waiting comparisons would make the liquid too cold."""
        names = [name for name in (probe, room) if name is not None]
        waiting = {
            name: one for name in names if (one := self._calibrations.waiting(name)) is not None and one.by < 0.0
        }
        if not waiting:
            return []
        liquid_c += waiting[probe].by if probe in waiting else 0.0
        room_c += waiting[room].by if room is not None and room in waiting else 0.0
        return [] if self._is_enough(warmth, liquid_c, room_c, guard_k) else list(waiting)

    def _said(self, point: str) -> str:
        found, settings = self._calibrations.waiting(point), self._view.watches[point].point
        assert found is not None
        by = difference_text(abs(found.by), settings.unit, settings.kind)
        which = "lower" if found.by < 0.0 else "higher"
        if found.is_check:
            return f"a check of {clock_text(found.at_ms, self._view.zone)} found {point} {by} {which} than it reads, and adjusted nothing"
        return f"a comparison of {clock_text(found.at_ms, self._view.zone)} found {point} {by} {which}, and waits for a second one"

    def _only_since(
        self, warmth: ReservoirMonitor, liquid_c: float, room_c: float, probe: str, room: str | None, now: Now
    ) -> str:
        """That it is warm enough only by calibrations of late; "" where it would be without them, too."""
        before_c, before_room_c, latest_ms = liquid_c, room_c, -1
        guard_k = self._view.watches[probe].guard
        for name in (probe, room):
            watch = None if name is None else self._view.watches[name]
            if name is None or watch is None or watch.correction is None or watch.raw is None:
                continue
            if not 0 <= now.wall_ms - watch.correction.at_ms <= SAID_FOR_MS:
                continue
            before: Correction | None = self._calibrations.before(name)
            value = watch.raw if before is None else before.of(watch.raw)
            latest_ms = max(latest_ms, watch.correction.at_ms)
            if name == probe:
                before_c, guard_k = value, 0.0 if before is None else K_CALIBRATED * before.u
            else:
                before_room_c = value
        if latest_ms < 0 or self._is_enough(warmth, before_c, before_room_c, guard_k):
            return ""
        return (
            f"; met only since the calibration of {clock_text(latest_ms, self._view.zone)}: it read too little before"
        )
