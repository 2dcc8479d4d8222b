"""The cold water: what the mains give, what two filters take, what flows.

Four resistances stand in a row: the building's pipes, two filter stages, the machine's fill valve. The flow is what balances them:

    static - k Q^1.85 = coarse(Q) + fine(Q) + r Q^2 (+ the hose between the filters and the machine, where there is one)

The building's curve is the one of fire-flow tests (exponent 1.85 of Hazen and Williams). A stage is a medium (drop proportional
to flow and viscosity, growing with what it has caught) in a housing (square of the flow).
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import sqrt
from typing import Final

from simulators.physics.pipes import density_kg_m3, pipe_drop_pa

#: dynamic viscosity of water, (Cel, Pa s), at 101.325 kPa. Source: IAPWS R12-08 with IAPWS-95 densities
VISCOSITY: Final = (
    (5.0, 0.001518173), (8.0, 0.001384724), (10.0, 0.001305899), (12.0, 0.001234043), (15.0, 0.001137568), (18.0, 0.001052674),
    (20.0, 0.001001596), (22.0, 0.0009543962), (25.0, 0.0008900225), (30.0, 0.0007972218), (39.0, 0.0006651895), (40.0, 0.0006527287),
)  # fmt: skip
#: a stage's drop is stated at this flow and temperature
STATED_L_MIN: Final = 9.4635  # 2.5 US gal/min
STATED_C: Final = 15.0
BUILDING_EXPONENT: Final = 1.85
#: a plastic hose's wall
SMOOTH_M: Final = 1.5e-6
#: a clogged filter still lets some water through
MOST_TIMES: Final = 50.0


def viscosity_pa_s(water_c: float) -> float:
    """Dynamic viscosity [Pa s] by straight lines between the published values; held beyond their ends.

    >>> viscosity_pa_s(15.0)
    0.001137568
    """
    at = bisect_left(VISCOSITY, (water_c,))
    if at == 0:
        return VISCOSITY[0][1]
    if at == len(VISCOSITY):
        return VISCOSITY[-1][1]
    (c0, mu0), (c1, mu1) = VISCOSITY[at - 1], VISCOSITY[at]
    return mu0 + (mu1 - mu0) * (water_c - c0) / (c1 - c0)


@dataclass(frozen=True, slots=True)
class Stage:
    """One filter as it stands at the start of a scenario.

    `drop_kpa`: its drop at STATED_L_MIN and STATED_C. `doubles_l`: the volume after which the medium resists twice as much.
    `housing_share`: how much of the drop is housing and fittings. `blocks`: how it catches dirt, "cake" (in proportion to the
    volume), "intermediate" (by powers), "standard" (pores narrow) or "complete" (pores close).
    """

    drop_kpa: float
    doubles_l: float
    housing_share: float = 0.1
    blocks: str = "cake"

    def resists(self, passed_l: float) -> float:
        """How many times as much as at the start the medium resists after `passed_l`; never more than MOST_TIMES.

        >>> [round(Stage(1.0, 100.0, blocks=b).resists(100.0), 6) for b in ("cake", "intermediate", "standard", "complete")]
        [2.0, 2.0, 2.0, 2.0]
        """
        doublings = passed_l / self.doubles_l
        if self.blocks == "cake":
            return min(1.0 + doublings, MOST_TIMES)
        if self.blocks == "intermediate":
            return min(float(2.0 ** min(doublings, 10.0)), MOST_TIMES)
        if self.blocks == "complete":
            return min(1.0 / max(1.0 - 0.5 * doublings, 1e-9), MOST_TIMES)
        open_share = max(1.0 - doublings * (1.0 - sqrt(0.5)), 1e-9)
        return min(1.0 / (open_share * open_share), MOST_TIMES)

    def law(self, passed_l: float, water_c: float) -> tuple[float, float]:
        """(a, b) of drop = a Q + b Q^2 [kPa, L/min] after `passed_l` [L]."""
        thick = viscosity_pa_s(water_c) / viscosity_pa_s(STATED_C)
        caught = self.resists(passed_l)
        medium = self.drop_kpa * (1.0 - self.housing_share) / STATED_L_MIN
        return medium * thick * caught, self.drop_kpa * self.housing_share / STATED_L_MIN**2


@dataclass(frozen=True, slots=True)
class Pump:
    """A pressure tank that a pump fills between two pressures: the static pressure goes up and down. `l_per_kpa`: what the tank gives."""

    cut_in_kpa: float = 320.0
    cut_out_kpa: float = 400.0
    l_per_kpa: float = 0.12
    l_min: float = 22.0


@dataclass(frozen=True, slots=True)
class Mains:
    """The building's supply and the machine's fill valve. `curve`: k of static - k Q^1.85; `valve`: r of r Q^2 [kPa, L/min].

    A hose of `hose_m` length and `hose_mm` bore leads from the filters to the machine.
    `opens_s`: the valve takes so long to open and to close. `hammer_kpa`: how far the pressure swings when STATED_L_MIN is shut off.
    `swing_k`: the water is so much warmer than `water_c` in high summer, and so much colder half a year later.
    """

    static_kpa: float = 385.0  # 55.8 psi
    curve: float = 1.385
    valve: float = 2.83
    water_c: float = 12.5
    opens_s: int = 0
    hammer_kpa: float = 0.0
    hammer_hz: float = 3.0
    hammer_dies_s: float = 0.7
    swing_k: float = 0.0
    warmest_day: int = 227  # of the year: mid-August
    pump: Pump | None = None
    hose_m: float = 0.0
    hose_mm: float = 12.7  # half an inch

    def hose_kpa(self, flow_l_min: float) -> float:
        """What the hose takes."""
        if self.hose_m <= 0.0:
            return 0.0
        flow_m3_s, water_c = flow_l_min / 60_000.0, self.water_c
        fluid = density_kg_m3(water_c), viscosity_pa_s(water_c)
        return pipe_drop_pa(flow_m3_s, self.hose_mm / 1000.0, self.hose_m, *fluid, rough_m=SMOOTH_M) / 1000.0


@dataclass(slots=True)
class Flowing:
    """What the water does at one instant: flow [L/min] and the gauge pressures [kPa] before, between and after the filters."""

    flow_l_min: float
    supply_kpa: float
    between_kpa: float
    filtered_kpa: float


def at_rest(static_kpa: float) -> Flowing:
    """Nothing flows: one pressure everywhere."""
    return Flowing(0.0, static_kpa, static_kpa, static_kpa)


def drawing(
    mains: Mains, static_kpa: float, coarse: tuple[float, float], fine: tuple[float, float], valve: float
) -> Flowing:
    """The balance of the row while the fill valve is open; `coarse` and `fine` as Stage.law gives them.

    Found by halving: what the mains give falls with the flow, what the row takes rises, so there is exactly one crossing.
    """
    a, b = coarse[0] + fine[0], coarse[1] + fine[1] + valve
    low, high = 0.0, 100.0
    for _ in range(44):
        flow = 0.5 * (low + high)
        if static_kpa - mains.curve * flow**BUILDING_EXPONENT > (a + b * flow) * flow + mains.hose_kpa(flow):
            low = flow
        else:
            high = flow
    flow = 0.5 * (low + high)
    supply = static_kpa - mains.curve * flow**BUILDING_EXPONENT
    between = supply - (coarse[0] + coarse[1] * flow) * flow
    return Flowing(flow, supply, between, between - (fine[0] + fine[1] * flow) * flow)
