"""Builds the parts of a station: which there are, in which order they are asked, and what each may ask of which other.

Their order is that of the entries of one instant: readings are doubted before anything is made of them; points fall silent, a date
begins, the hours do, the liquid is looked at, then the machine, the outlets, and the liquid's alarms, which go by all of these.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.doubts.cross_checks import CrossChecks, cross_checks
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.readings import Role
from edge.domain.station.part import Judge, Part
from edge.domain.station.parts.basin import Basin
from edge.domain.station.parts.calibrations import Calibrations
from edge.domain.station.parts.commissioning import Asked, Commissioning
from edge.domain.station.parts.doubts import Doubts
from edge.domain.station.parts.duties import Duties
from edge.domain.station.parts.filters.condition import FilterCondition
from edge.domain.station.parts.filters.estimates import FilterEstimates
from edge.domain.station.parts.filters.part import Filters
from edge.domain.station.parts.hold import Hold
from edge.domain.station.parts.host import Host
from edge.domain.station.parts.hours import Hours
from edge.domain.station.parts.leak import Leak
from edge.domain.station.parts.machine import Machine
from edge.domain.station.parts.power import Power
from edge.domain.station.parts.reservoir.alarms import ReservoirAlarms
from edge.domain.station.parts.reservoir.condition import ReservoirCondition
from edge.domain.station.parts.reservoir.estimates import ReservoirEstimates
from edge.domain.station.parts.reservoir.part import Reservoir
from edge.domain.station.parts.reservoir.second_probes import SecondProbes
from edge.domain.station.parts.sections import Sections
from edge.domain.station.parts.sensors import Sensors
from edge.domain.station.parts.shut_line import ShutLine
from edge.domain.station.parts.site_duties import SiteDuties
from edge.domain.station.parts.supply.condition import SupplyConditions
from edge.domain.station.parts.supply.estimates import SupplyEstimates
from edge.domain.station.parts.supply.part import Supply
from edge.domain.station.parts.supply.water import SupplyWater
from edge.domain.station.recalibrated import Recalibrations
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.draws import DrawDetector
from edge.domain.water.inferred_flow import Meterless, assumed_l_min

#: every condition that readiness can rest on: its name for people, in the order in which they are published. The key is what stands
#: before ':' in a condition's id: of a filter or an outlet there is one each
CONDITIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "free": "Station free", "no_hold": "No hold", "reservoir": "Reservoir warm", "pressure": "Supply pressure",
        "flow": "Supply flow", "filter": "Filter", "outlet": "Outlet", "no_leak": "No leak", "daily_test": "Daily test",
        "water_path_treatment": "Water-path treatment", "disinfectant": "Disinfectant", "duty": "Site's duty",
        "commissioned": "Commissioned", "sensors": "Sensors", "clock": "Clock",
    }
)  # fmt: skip


class Parts(NamedTuple):
    """A station's parts, and what they share of what is known. What a station file has no section for is None."""

    in_order: tuple[Part, ...]  # they are asked in this one
    of_alarms: tuple[Part, ...]  # in this one for their alarms, which are shown so; a part left out here has none
    of_estimates: tuple[Part, ...]  # and for estimates
    crossed: CrossChecks
    evidence: DrawHistory
    sensors: Sensors
    calibrations: Calibrations
    commissioning: Commissioning
    basin: Basin
    warmth: ReservoirMonitor | None
    draws: DrawDetector | None


def parts_of(view: View) -> Parts:
    """The parts of a station, and how they hang together."""
    settings, points = view.settings, view.points
    evidence = DrawHistory(settings, view.zone, view.boot, view.book)
    warmth = None if settings.reservoir is None else ReservoirMonitor(settings.reservoir)
    draws = None if settings.supply is None else DrawDetector(settings.supply)
    flow, power_point = points.first(Role.SUPPLY_FLOW), points.first(Role.MACHINE_POWER)
    crossed = cross_checks(
        settings, view.watches, flow, points.taps, power_point, evidence, view.contradict, lambda told: view.advise(told, view.now),
        warmth,
    )  # fmt: skip
    doubts, rooms, meterless = crossed.register, crossed.rooms, _meterless(view, flow)
    has_draws = flow is not None or meterless is not None

    calibrations, sensors, power, leak = Calibrations(view), Sensors(view), Power(view), Leak(view, draws, doubts)
    recalibrations, water = Recalibrations(view, calibrations), SupplyWater(view, evidence)
    filter_estimates = FilterEstimates(view, evidence, has_draws)
    filter_condition = FilterCondition(view, evidence, doubts, filter_estimates, recalibrations)
    filters, basin = Filters(view, evidence, filter_condition, filter_estimates), Basin(view, warmth, doubts, rooms)
    supply = seconds = reservoir = alarms = liquid_estimates = supply_estimates = None
    if settings.supply is not None and draws is not None:
        plan, supply_estimates = settings.supply, SupplyEstimates(view, settings.supply, evidence)
        judged_by = (evidence, doubts, crossed.water, supply_estimates, recalibrations, has_draws)
        conditions = SupplyConditions(view, plan, draws, *judged_by)
        known = (plan, draws, meterless, evidence, crossed.water, conditions, supply_estimates)
        supply = Supply(view, *known, water_c=water.drawn_c, flow_heard=leak.flow_heard)
    if warmth is not None:
        tripped = power.heater_is_tripped
        seconds = SecondProbes(view, warmth, rooms)
        condition = ReservoirCondition(view, warmth, doubts, rooms, seconds, recalibrations, tripped)
        reservoir = Reservoir(view, warmth, rooms, water.water_c, condition)
        alarms = ReservoirAlarms(view, warmth, rooms, reservoir.take_moved, tripped)
        liquid_estimates = ReservoirEstimates(view, warmth, rooms, alarms.must_start, tripped)
    machine = Machine(
        view,
        warmth,
        is_drawing=(lambda: False) if supply is None else supply.is_drawing,
        short=lambda: basin.short,
    )
    hold, duties, host = Hold(view), Duties(view, calibrations.duties, calibrations.due, power.is_power_unsure), Host()
    site = SiteDuties(view)
    shut_line = ShutLine(view, draws)
    asked = Asked(
        capacity=lambda now: (
            None if supply_estimates is None or (of := supply_estimates.capacity(now)) is None else of.value
        ),
        compared=calibrations.compared,
        warm_ups=lambda: 0 if warmth is None else len(warmth.fits),
        transfers=lambda: len(basin.first),
        timing=shut_line.judge,
        timed=shut_line.shown,
    )
    commissioning = Commissioning(view, draws, evidence, asked)
    order: tuple[Part | None, ...] = (
        Doubts(crossed), seconds, sensors, calibrations, supply, filters, Hours(view), reservoir, basin, machine, power, alarms, leak,
        liquid_estimates, hold, duties, site, host, shut_line, commissioning, Sections(view),
    )  # fmt: skip
    of_alarms = (alarms, supply, power, leak, filters, sensors, duties, calibrations, site, hold, host)
    of_estimates = (liquid_estimates, filters, supply, leak)
    return Parts(
        _there(order), _there(of_alarms), _there(of_estimates), crossed, evidence, sensors, calibrations, commissioning,
        basin, warmth, draws,
    )  # fmt: skip


def judges_of(parts: Iterable[Part]) -> dict[str, Judge]:
    """The conditions of all parts by id, each with its judge, in the order in which they are published."""
    order = list(CONDITIONS)
    found = {ident: judge for part in parts for ident, judge in part.conditions().items()}
    return dict(sorted(found.items(), key=lambda item: order.index(item[0].partition(":")[0])))


def _there(parts: Iterable[Part | None]) -> tuple[Part, ...]:
    return tuple(part for part in parts if part is not None)


def _meterless(view: View, flow: str | None) -> Meterless | None:
    """What passes for a flow meter at a station without one: water flows where the filters take pressure."""
    if flow is not None or view.points.last_tap is None or view.points.taps["supply"] is None:
        return None
    flow_l_min = assumed_l_min(view.settings)
    return None if flow_l_min is None else Meterless(flow_l_min)
