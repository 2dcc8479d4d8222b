"""What the pressures before, between and after the two water filters say: drop per stage, made comparable.

The same filter shows more drop at more flow and in colder, thicker water; a drop is therefore scaled to the reference flow and
temperature of the station file. Laminar flow through the medium: drop ~ viscosity x flow (Darcy's law, textbook). Its housing,
where draws of different flow have shown its share: drop ~ flow squared (textbook; the density of water doesn't matter here).
Without a supply temperature the viscosity is left as it is; what the season may make of that is told beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.settings import Settings

#: a stage can't gain pressure; this much is what is left of the pressures' own uncertainty once their zeros are differenced
GAINS_AT_MOST_KPA: Final = 3.0

#: cold water where nobody measures it: its mean, halfway from this to the reference [Cel]; its swing [K]; its coldest day of the year in
#: the north, half a year later in the south (common practice, no published source)
USUAL_C: Final = 12.0
SWING_K: Final = 3.0
COLDEST_DAY: Final = 45
#: relative standard uncertainty of a drop that would be scaled by that: 4 K, and 2.5 % of viscosity go with 1 K
BLIND_U: Final = 0.10
#: so many of these deviations colder than usual, and a filter is still not told to be due: of 60 random lives one was told so earlier
#: than a tenth of its life before its limit, and half of them later than at it (tests/bench/filters.py --blind)
BLIND_GUARD: Final = 0.5


def viscosity_mpa_s(temperature_c: float) -> float:
    """Dynamic viscosity of water at 0.1 MPa [mPa s], -20 to 110 Cel, within 1 %.

    Source: IAPWS SR6-08(2011), supplementary release on properties of liquid water at 0.1 MPa, equation for viscosity; its
    coefficients from memory, checked against tests/handbook/g.water.jsonl.

    >>> round(viscosity_mpa_s(20.0), 3)
    1.002
    """
    t = (temperature_c + 273.15) / 300.0
    return float(280.68 * t**-1.9 + 511.45 * t**-7.7 + 61.131 * t**-19.6 + 0.45903 * t**-40.0) / 1000.0


def normalised_drop(
    drop: float,
    flow_l_min: float,
    reference_l_min: float,
    temperature_c: float | None = None,
    reference_c: float | None = None,
) -> float:
    """A drop (any unit of pressure) as it would be at the reference flow and temperature: the laminar share.

    Raises:
        ValueError: no flow; a mistake in the caller.
    """
    if flow_l_min <= 0.0:
        raise ValueError(f"flow must be above zero, got {flow_l_min}")
    ratio = (
        1.0
        if temperature_c is None or reference_c is None
        else viscosity_mpa_s(reference_c) / viscosity_mpa_s(temperature_c)
    )
    return drop * reference_l_min / flow_l_min * ratio


class Parts(NamedTuple):
    """What a draw's flow and temperature make of a drop, relative to the reference: viscosity times flow, and flow squared."""

    laminar: float
    square: float


def parts(settings: Settings, flow_l_min: float, supply_c: float | None) -> Parts:
    """The parts of a draw. Where the station file gives no reference flow, drops stand as they are.

    Raises:
        ValueError: no flow; a mistake in the caller.
    """
    if flow_l_min <= 0.0:
        raise ValueError(f"flow must be above zero, got {flow_l_min}")
    reference = settings.reference_flow_l_min or flow_l_min
    laminar = 1.0 / normalised_drop(1.0, flow_l_min, reference, supply_c, settings.reference_c)
    return Parts(laminar, (flow_l_min / reference) ** 2)


def scaled(drop_kpa: float, of: Parts, housing_kpa: float = 0.0) -> float:
    """A drop [kPa] as it would be at the reference: what the housing takes by the square of the flow, the rest as laminar.

    Args:
        housing_kpa: the housing's share at the reference.
    """
    return (drop_kpa - housing_kpa * of.square) / of.laminar + housing_kpa


def assumed_c(reference_c: float, wall_ms: int, zone: ZoneInfo) -> float:
    """What the supply's water is taken for where nobody measures it [Cel]: colder in winter. Which half of the year that is, a zone
    with summer time tells; without one it is the mean all the year."""
    mean = (USUAL_C + reference_c) / 2.0
    now = datetime.fromtimestamp(wall_ms / 1000.0, UTC)
    january, july = (datetime(now.year, month, 15, 12, tzinfo=zone).utcoffset() for month in (1, 7))
    if january is None or july is None or january == july:
        return mean
    swing = SWING_K if july > january else -SWING_K
    return mean - swing * math.cos(2.0 * math.pi * (now.timetuple().tm_yday - COLDEST_DAY) / 365.25)


def colder_share(reference_c: float, wall_ms: int, zone: ZoneInfo) -> float:
    """How much of a drop may be water colder than the reference, where nobody measures it: by the season, and somewhat more."""
    season = viscosity_mpa_s(reference_c) / viscosity_mpa_s(assumed_c(reference_c, wall_ms, zone))
    return max(1.0 - season / (1.0 + BLIND_GUARD * BLIND_U), 0.0)


def taps_of(filters: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Between which taps each filter sits. More than two stages can't be told apart by three taps."""
    if len(filters) == 1:
        return {filters[0]: ("supply", "filtered")}
    if len(filters) == 2:
        return {filters[0]: ("supply", "between"), filters[1]: ("between", "filtered")}
    return {}
