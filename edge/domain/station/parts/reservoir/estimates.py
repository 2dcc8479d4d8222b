"""What is computed of the reservoir: when it will be warm, until when it stays so, what the basin would see, when to start heating."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import hypot
from typing import Any, Final

from edge.domain.doubts.rooms import Rooms
from edge.domain.entries import Now, rfc3339
from edge.domain.heat.balance import Forecast
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.maths.robust import Z90
from edge.domain.messages import Message, duration, part, say
from edge.domain.readings import Role
from edge.domain.station.part import Part
from edge.domain.station.parts.reservoir.alarms import MustStart
from edge.domain.station.published import estimate
from edge.domain.station.view import View

#: half the 90 % interval of one reading's noise [K]
READ_K: Final = 0.1


class ReservoirEstimates(Part):
    """Computes them anew each time.

    Args:
        warmth: what is known of the liquid.
        rooms: the room to reckon with.
        must_start: when heating must begin for the day's first case (alarms.py).
        heater_is_tripped: asked with a monotonic time [ms].
    """

    def __init__(
        self, view: View, warmth: ReservoirMonitor, rooms: Rooms, must_start: Callable[[float, float, Now], MustStart | None],
        heater_is_tripped: Callable[[int], bool],
    ) -> None:  # fmt: skip
        self._view, self._warmth, self._rooms = view, warmth, rooms
        self._must_start_by, self._heater_is_tripped = must_start, heater_is_tripped
        self._point = view.points.first(Role.RESERVOIR_TEMPERATURE)

    def estimates(self, now: Now) -> Mapping[str, dict[str, Any]]:
        found: dict[str, dict[str, Any]] = {}
        view, warmth = self._view, self._warmth
        room_c, assumed = self._rooms.room_or_assumed(now.mono_ms)
        source = say("reservoir.source_assumed_room" if assumed else "reservoir.source", loss=part(warmth.share.origin))
        needed = warmth.needed_c(room_c)
        ends = sorted((needed, warmth.needed_c(room_c, warmth.share.low), warmth.needed_c(room_c, warmth.share.high)))
        found["needed_reservoir_temperature"] = estimate(
            "needed_reservoir_temperature", "Cel", now, round(needed, 3), round(ends[0], 3), round(ends[2], 3), source
        )
        watch = None if self._point is None else view.watches[self._point]
        liquid, doubt = (None, None) if watch is None else (watch.value(now.mono_ms), watch.doubt)
        if liquid is None or doubt is not None:
            why = say("reservoir.not_known") if doubt is None or liquid is None else doubt.cause
            for name, unit in (
                ("reservoir_ready", "time"),
                ("reservoir_below_needed", "time"),
                ("basin_temperature", "Cel"),
            ):
                found[name] = estimate(name, unit, now, why=why)
            return found
        found["basin_temperature"] = self._basin(liquid, room_c, source, now)
        if warmth.is_warm:
            found["reservoir_ready"] = estimate("reservoir_ready", "time", now, why=say("reservoir.is_warm"))
        elif self._heater_is_tripped(now.mono_ms):
            found["reservoir_ready"] = estimate("reservoir_ready", "time", now, why=say("reservoir.no_power"))
        else:
            found["reservoir_ready"] = self._when("reservoir_ready", warmth.until(room_c, now.mono_ms), now)
        found["reservoir_below_needed"] = self._when(
            "reservoir_below_needed", warmth.until_below(needed, now.mono_ms), now
        )
        if view.settings.hours is not None:
            found["heating_must_start_by"] = self._must_start(liquid, room_c, now)
        return found

    def _basin(self, liquid: float, room_c: float, source: Message, now: Now) -> dict[str, Any]:
        """What the basin of a day's first cycle would see now; while the liquid is away the reservoir can't tell."""
        warmth = self._warmth
        name, share = "basin_temperature", warmth.share
        if warmth.cycle.is_away(now.mono_ms):
            return estimate(name, "Cel", now, why=say("reservoir.heated_away"))
        best = warmth.basin_c(liquid, room_c, share.best)
        above = liquid - warmth.mixing_c(room_c)
        point = self._point  # once the loss is learned, its uncertainty is in the share
        own = 0.0 if point is None or share.cycles else Z90 * (self._view.watches[point].u or 0.0)
        low = best - hypot(above * (share.high - share.best), own, READ_K)
        high = best + hypot(above * (share.best - share.low), own, READ_K)
        return estimate(name, "Cel", now, round(best, 3), round(low, 3), round(high, 3), source)

    def _must_start(self, liquid: float, room_c: float, now: Now) -> dict[str, Any]:
        """When heating has to begin for today's first case."""
        warmth = self._warmth
        name, must = "heating_must_start_by", self._must_start_by(liquid, room_c, now)
        if must is None:
            why = say("reservoir.is_warm" if warmth.is_warm else "heating.no_first_case")
            return estimate(name, "time", now, why=why)
        if warmth.heat.heating_since_ms is not None:
            return estimate(name, "time", now, why=say("heating.under_way"))
        overdue_ms = now.wall_ms - must.by_ms
        why = must.why
        if overdue_ms > 0:
            why = say("heating.overdue", by=duration(overdue_ms), why=part(must.why))
        if must.low_ms is None or must.high_ms is None:
            return estimate(name, "time", now, rfc3339(must.by_ms), why=why)
        return estimate(name, "time", now, rfc3339(must.by_ms), rfc3339(must.low_ms), rfc3339(must.high_ms), why)

    def _when(self, of: str, forecast: Forecast, now: Now) -> dict[str, Any]:
        if forecast.in_ms is None or forecast.low_ms is None or forecast.high_ms is None:
            return estimate(of, "time", now, why=forecast.why)
        value, low, high = (rfc3339(now.wall_ms + ms) for ms in (forecast.in_ms, forecast.low_ms, forecast.high_ms))
        return estimate(of, "time", now, value, low, high, forecast.why)
