"""What is computed of the supply: what it can give, and how long a fill takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from edge.domain.entries import Now
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
            found = {name: estimate(name, "L/min", now, *figure.rounded(3), "")}
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

    def capacity_text(self, now: Now) -> str:
        """Can the supply serve? For the pressure's condition; empty where that isn't known."""
        figure, plan, show = self.capacity(now), self._plan, self._view.show
        if figure is None or self._supply_point is None or self._flow_point is None:
            return ""
        least = show(self._supply_point, plan.pressure_low_kpa)
        gives = f"{show(self._flow_point, figure.value)} at {least}"
        wanted = plan.flow_low_l_min
        if wanted is None or figure.value >= wanted:
            return f"; the supply could give {gives}"
        doubt = "cannot" if figure.high < wanted else "perhaps cannot"
        return f"; the supply {doubt} serve: it could give only {gives}, {show(self._flow_point, wanted)} is needed"

    def _no_capacity(self) -> str:
        if self._flow_point is None:
            return "no flow meter"
        return "no supply pressure" if self._supply_point is None else "no steady draw of late that pressure fell by"

    def _fill(self, now: Now) -> dict[str, Any]:
        fills, name = self._evidence.fills, "fill_time"
        figure, reference = fills.time_s(), fills.reference()
        if figure is None or reference is None:
            why = "no flow meter" if self._flow_point is None else "too few draws of one volume yet"
            return estimate(name, "s", now, why=why)
        return estimate(name, "s", now, *figure.rounded(2), f"for {reference[0]:.2f} L{self._trend_text()}")

    def _trend_text(self) -> str:
        """How the time for a fill has changed; empty where it hasn't, or nobody can tell yet."""
        trend = self._evidence.fills.trend()
        if trend is None:
            return ""
        way = "longer" if trend.share > 0 else "shorter"
        text = f"; it has become {abs(trend.share):.0%} {way} within {trend.days:.0f} days"
        return text + (": a filter that loads, or a weaker supply" if trend.share > 0 else "")

    def fill_text(self) -> str:
        """The early sign of a filter that loads, for the flow's condition: told where fills have become longer."""
        found, trend = self._evidence.fills.reference(), self._evidence.fills.trend()
        figure = self._evidence.fills.time_s()
        if found is None or figure is None or trend is None or trend.share <= 0.0 or self._flow_point is None:
            return ""
        litres = f"{found[0]:.1f} L"
        return f"; a fill of {litres} takes {figure.value:.0f} s{self._trend_text()}"
