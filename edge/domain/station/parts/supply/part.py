"""The building's supply: draws and what they showed, pressures at rest, and the alarms of both."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from edge.domain.alarms.limits import side_of
from edge.domain.doubts.water_checks import WaterChecks
from edge.domain.entries import Now
from edge.domain.readings import Role
from edge.domain.settings import Point
from edge.domain.settings import Supply as Plan
from edge.domain.station.part import DrawBegan, DrawEnded, Happening, Judge, Part, PointSilent
from edge.domain.station.parts.supply.condition import SupplyConditions
from edge.domain.station.parts.supply.estimates import SupplyEstimates
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.draws import SEEN_TO_END, Draw, DrawDetector
from edge.domain.water.inferred_flow import Meterless

_DRAWN_ALARMS: Final = ("pressure_low", "pressure_high", "flow_low", "flow_high")


class Supply(Part):
    """Finds draws, and holds what they show and what stands between them against the limits.

    Args:
        plan: the limits.
        draws: finds draws.
        meterless: what passes for a flow meter where there is none; None: nothing does, or there is one.
        evidence: keeps what finished draws showed.
        checks: holds the water's points against one another.
        conditions, estimates: of the supply.
        water_c: how cold the water of a draw that ends is [Cel]; None: not known.
        flow_heard: told of each reading of the flow, once its draw is seen to.
    """

    roles = frozenset({Role.SUPPLY_FLOW, Role.SUPPLY_PRESSURE, Role.BETWEEN_FILTERS_PRESSURE, Role.FILTERED_PRESSURE})

    def __init__(
        self, view: View, plan: Plan, draws: DrawDetector, meterless: Meterless | None, evidence: DrawHistory, checks: WaterChecks,
        conditions: SupplyConditions, estimates: SupplyEstimates, water_c: Callable[[Now], float | None],
        flow_heard: Callable[[int, Now], None],
    ) -> None:  # fmt: skip
        self._view, self._plan, self._draws, self._meterless = view, plan, draws, meterless
        self._evidence, self._checks, self._conditions, self._estimates = evidence, checks, conditions, estimates
        self._water_c, self._flow_heard = water_c, flow_heard
        taps = view.points.taps
        self._tap_of = {point: tap for tap, point in taps.items() if point is not None}
        self._supply_point, self._last_tap = taps["supply"], view.points.last_tap
        self._flow_point = view.points.first(Role.SUPPLY_FLOW)
        self._sides: tuple[int | None, ...] = ()  # on which sides of its limits the draw under way stands

    def alarm_ids(self) -> Iterable[str]:
        yield from ("pressure_low", "pressure_high", "static_low")
        if self._plan.static_high_kpa is not None:
            yield "static_high"
        if self._plan.flow_low_l_min is not None:
            yield "flow_low"
        if self._plan.flow_high_l_min is not None:
            yield "flow_high"

    # -- readings

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if point.id == self._flow_point:
            self._hear_flow(value, mono_ms, now)
        elif point.id == self._supply_point:
            self._hear_supply(value, mono_ms, now)
        elif point.id in self._tap_of:
            self._hear_tap(self._tap_of[point.id], value, mono_ms, now)

    def _hear_flow(self, value: float, mono_ms: int, now: Now) -> None:
        point = self._flow_point or self._last_tap
        if point is None:
            return
        wall_ms = now.wall_ms - (now.mono_ms - mono_ms)
        heard = self._draws.hear_flow(value, mono_ms, wall_ms, self._view.watches[point].point.stale_after_ms)
        if heard.ended is not None:
            self._finish_draw(*heard.ended, now)
        elif heard.began:
            self._view.changed()
            self._view.happen(DrawBegan(), now)
            self._view.alarms.cancel_pending("static_high", now)
        elif heard.steady:
            for what, seen in heard.steady:
                self._see_drawn(what, seen, now)
        self._flow_heard(mono_ms, now)

    def _hear_supply(self, value: float, mono_ms: int, now: Now) -> None:
        assert self._supply_point is not None
        static, steady = self._draws.hear_pressure("supply", value, mono_ms)
        if static:
            self._view.alarms.compare("static_high", value, self._supply_point, now)
            if self._checks.static(value, self._draws.settled_kpa, mono_ms, now):
                self._view.changed()
                self._tell_static(now)
            self._view.changed(self._conditions.has_static_moved(mono_ms))
        elif steady:
            self._see_drawn("supply", value, now)
        elif self._draws.is_blind:
            self._checks.unmetered(value, mono_ms)

    def _hear_tap(self, tap: str, value: float, mono_ms: int, now: Now) -> None:
        self._view.changed(self._draws.hear_pressure(tap, value, mono_ms)[0] and self._conditions.has_tap_sunk())
        if self._meterless is not None and self._view.points.taps[tap] == self._last_tap:
            supply_kpa = self._view.value(self._supply_point, mono_ms)
            if supply_kpa is not None:
                flow_l_min = self._meterless.hear(supply_kpa - value, mono_ms)
                self._draws.lag_ms = self._meterless.lag_ms
                self._hear_flow(flow_l_min, mono_ms, now)

    def _see_drawn(self, what: str, value: float, now: Now) -> None:
        """A value of a steady draw against its limits. Judged anew only where that may change a condition: a draw has many."""
        sides = self._conditions.drawn_sides()
        if sides != self._sides:
            self._sides = sides
            self._view.changed()
            self._mind_draw(sides)
        alarms = self._view.alarms
        if what == "flow" and self._flow_point is not None:
            alarms.compare("flow_low", value, self._flow_point, now)
            alarms.compare("flow_high", value, self._flow_point, now)
        elif what == "supply" and self._supply_point is not None:
            alarms.compare("pressure_low", value, self._supply_point, now)
            alarms.compare("pressure_high", value, self._supply_point, now)

    def _mind_draw(self, sides: tuple[int | None, ...]) -> None:
        """A draw under way has come to other sides of its limits. Where the last one kept them and this one doesn't, that is noted before
        its end, which a restart may hide."""
        draw, last, plan = self._draws.draw, self._evidence.last, self._plan
        if draw is None or last is None or not any(sides):
            return
        judged = (
            (self._supply_point, draw.supply, "supply_kpa", plan.pressure_low_kpa, plan.pressure_high_kpa),
            (self._flow_point, draw.flow, "flow_l_min", plan.flow_low_l_min, plan.flow_high_l_min),
        )
        for side, (point, mean, key, low, high) in zip(sides, judged, strict=True):
            was = last["body"].get(key)
            if not side or point is None or mean.value is None or was is None:
                continue
            if side_of(was, self._view.watches[point].guard, low, high) == 0:
                self._checks.goes_out(point, mean.value)

    def _finish_draw(self, draw: Draw, why: str, now: Now) -> None:
        draw.supply_temperature_c = self._water_c(now)
        self._view.note("draw", self._evidence.finish(draw, why, now), now)
        self._view.happen(DrawEnded(draw, why == SEEN_TO_END), now)
        self._view.changed()

    def _tell_static(self, now: Now) -> None:
        """The alarm of a supply that stands too low at rest."""
        if self._supply_point is None:
            return
        low = self._checks.is_low
        self._view.alarms.set_condition(
            "static_low",
            low,
            now,
            value=self._draws.settled_kpa,
            unit="kPa",
            limit=self._plan.pressure_low_kpa,
            point=self._supply_point,
            cause=self._conditions.low_cause() if low else None,
        )

    # -- what happens

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case PointSilent(point) if point == (self._flow_point or self._last_tap):
                draw = self._draws.lose_flow(now.mono_ms)
                if draw is not None:
                    self._finish_draw(draw, "flow not known", now)
            case DrawEnded():
                self._tell_static(now)
                for ident in _DRAWN_ALARMS:
                    self._view.alarms.cancel_pending(ident, now)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        age_ms = self._evidence.age_ms(now)
        return () if age_ms is None else (self._plan.stands_for_ms - age_ms + 1,)

    # -- what others ask

    def is_drawing(self) -> bool:
        """Is water being drawn?"""
        return self._draws.draw is not None

    def conditions(self) -> Mapping[str, Judge]:
        return {"pressure": self._conditions.pressure, "flow": self._conditions.flow}

    def estimates(self, now: Now) -> Mapping[str, dict[str, Any]]:
        return self._estimates.all(now)
