"""What is computed of the supply: what it can give, and how long a fill takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from edge.domain.entries import Now
from edge.domain.messages import Message, duration, number, part, say
from edge.domain.readings import Role
from edge.domain.settings import Supply as Plan
from edge.domain.station.published import estimate
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.supply import Figure


class SupplyEstimates:
    """Computes them anew each time, of what finished draws showed."""

    def __init__(self, view: View, plan: Plan, evidence: DrawHistory) -> None:
        self._view, self._plan, self._evidence = view, plan, evidence
        self._supply_point, self._flow_point = (
            view.points.first(role) for role in (Role.SUPPLY_PRESSURE, Role.SUPPLY_FLOW)
        )

    def all(self, now: Now) -> Mapping[str, dict[str, Any]]:
        """By name: shape in edge/snapshot.py."""
        name, figure = "supply_capacity", self.capacity(now)
        if figure is None:
            found = {name: estimate(name, "L/min", now, why=self._no_capacity())}
        else:
            found = {name: estimate(name, "L/min", now, *figure.rounded(3))}
        return found | {"fill_time": self._fill(now)}

    def capacity(self, now: Now) -> Figure | None:
        """Flow [L/min] that the supply gives at the least pressure of the station file; None where no draw has told it of late."""
        plan = self._plan
        if self._supply_point is None or self._flow_point is None:
            return None
        pressure, flow = (self._view.watches[point] for point in (self._supply_point, self._flow_point))
        u_kpa = pressure.point.uncertainty if pressure.correction is None else pressure.correction.u
        u_flow = flow.point.uncertainty if flow.correction is None else flow.correction.u
        last = self._evidence.shown("flow_l_min", now, None).value
        share = None if u_flow is None or not last else u_flow / last
        return self._evidence.flows.capacity(plan.pressure_low_kpa, now.wall_ms, plan.stands_for_ms, u_kpa, share)

    def serves(self, now: Now) -> Message | None:
        """Can the supply serve? A clause for the pressure's condition; None where that isn't known."""
        figure, plan, reading = self.capacity(now), self._plan, self._view.reading
        if figure is None or self._supply_point is None or self._flow_point is None:
            return None
        gives = {
            "flow": reading(self._flow_point, figure.value),
            "least": reading(self._supply_point, plan.pressure_low_kpa),
        }
        wanted = plan.flow_low_l_min
        if wanted is None or figure.value >= wanted:
            return say("supply.could_give", **gives)
        ident = "supply.cannot_serve" if figure.high < wanted else "supply.perhaps_cannot_serve"
        return say(ident, **gives, wanted=reading(self._flow_point, wanted))

    def _no_capacity(self) -> Message:
        if self._flow_point is None:
            return say("supply.no_flow_meter")
        return say("supply.no_pressure" if self._supply_point is None else "supply.no_fall")

    def _fill(self, now: Now) -> dict[str, Any]:
        fills, name = self._evidence.fills, "fill_time"
        figure, reference = fills.time_s(), fills.reference()
        if figure is None or reference is None:
            why = say("supply.no_flow_meter" if self._flow_point is None else "fill.too_few_draws")
            return estimate(name, "s", now, why=why)
        why = say("fill.of", litres=number(reference[0], "L"), trend=part(self._trend()))
        return estimate(name, "s", now, *figure.rounded(2), why)

    def _trend(self) -> Message | None:
        """How the time for a fill has changed; None where it hasn't, or nobody can tell yet."""
        trend = self._evidence.fills.trend()
        if trend is None:
            return None
        ident = "fill.longer" if trend.share > 0 else "fill.shorter"
        return say(ident, share=number(abs(trend.share), "1"), days=number(trend.days, "d"))

    def fills_longer(self) -> Message | None:
        """The early sign of a filter that loads, a clause for the flow's condition: told where fills have become longer."""
        found, trend = self._evidence.fills.reference(), self._evidence.fills.trend()
        figure = self._evidence.fills.time_s()
        if found is None or figure is None or trend is None or trend.share <= 0.0 or self._flow_point is None:
            return None
        litres, lasts = number(found[0], "L"), duration(figure.value * 1000.0)
        return say("fill.takes", litres=litres, lasts=lasts, trend=part(self._trend()))
