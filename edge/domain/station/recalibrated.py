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
from edge.domain.messages import Message, both, difference, has, moment, name, names, part, parts, say
from edge.domain.readings import Role
from edge.domain.sensing.calibration import K_CALIBRATED, Correction
from edge.domain.station.judged import MET, Judged
from edge.domain.station.parts.calibrations import Calibrations
from edge.domain.station.view import View
from edge.domain.water.draw_history import Shown

#: so long after a calibration it is said that a condition is met only since then
SAID_FOR_MS: Final = 3_600_000


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
        since = self._only_since(warmth, liquid_c, room_c, probe, room, now)
        return judged._replace(text=both(judged.text, since))

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
        found = say("recalibrated.found", found=parts(self._found(point) for point in points))
        ask = say("recalibrated.found.ask", points=names(points))
        return judged.doubted(say("but", first=part(judged.text), then=part(found)), ask)

    def past_due(self, judged: Judged, points: tuple[str | None, ...], now: Now) -> Judged:
        """Where the calibration of a point is past its due date: met, but only nominally."""
        if judged.state != MET or has(judged.text, "met_nominally") or has(judged.text, "met_nominally.past_due"):
            return judged
        due = [p for p in points if p is not None and self._calibrations.is_past_due(p, now)]
        if not due:
            return judged
        return judged._replace(text=both(judged.text, say("met_nominally.past_due", points=names(due))))

    @staticmethod
    def _is_enough(warmth: ReservoirMonitor, liquid_c: float, room_c: float, guard_k: float) -> bool:
        """Would it go on being warm enough with these?"""
        return liquid_c - guard_k >= warmth.limits(room_c)[1] - AT_LIMIT

    def _disputed(
        self, warmth: ReservoirMonitor, liquid_c: float, room_c: float, guard_k: float, probe: str, room: str | None
    ) -> list[str]:
        """The points whose waiting comparisons would make the liquid too cold."""
        points = [point for point in (probe, room) if point is not None]
        waiting = {
            point: one for point in points if (one := self._calibrations.waiting(point)) is not None and one.by < 0.0
        }
        if not waiting:
            return []
        liquid_c += waiting[probe].by if probe in waiting else 0.0
        room_c += waiting[room].by if room is not None and room in waiting else 0.0
        return [] if self._is_enough(warmth, liquid_c, room_c, guard_k) else list(waiting)

    def _found(self, point: str) -> Message:
        """What the comparison of a point that waits has found."""
        found = self._calibrations.waiting(point)
        assert found is not None
        by, at = difference(self._view.watches[point].point.kind, abs(found.by), point), moment(found.at_ms)
        which, side = "check" if found.is_check else "comparison", "lower" if found.by < 0.0 else "higher"
        return say(f"recalibrated.{which}_{side}", at=at, point=name(point), by=by)

    def _only_since(
        self, warmth: ReservoirMonitor, liquid_c: float, room_c: float, probe: str, room: str | None, now: Now
    ) -> Message | None:
        """That it is warm enough only by calibrations of late; None where it would be without them, too."""
        before_c, before_room_c, latest_ms = liquid_c, room_c, -1
        guard_k = self._view.watches[probe].guard
        for point in (probe, room):
            watch = None if point is None else self._view.watches[point]
            if point is None or watch is None or watch.correction is None or watch.raw is None:
                continue
            if not 0 <= now.wall_ms - watch.correction.at_ms <= SAID_FOR_MS:
                continue
            before: Correction | None = self._calibrations.before(point)
            value = watch.raw if before is None else before.of(watch.raw)
            latest_ms = max(latest_ms, watch.correction.at_ms)
            if point == probe:
                before_c, guard_k = value, 0.0 if before is None else K_CALIBRATED * before.u
            else:
                before_room_c = value
        if latest_ms < 0 or self._is_enough(warmth, before_c, before_room_c, guard_k):
            return None
        return say("recalibrated.only_since", at=moment(latest_ms))
