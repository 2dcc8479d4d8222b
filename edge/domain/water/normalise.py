"""Normalised pressure drops of the water filters: each stage's drop, made comparable between draws.

The same filter shows a larger drop at more flow and in colder, more viscous water. Therefore a drop is scaled to the reference flow and
temperature of the station file. Flow through the medium is laminar: drop ~ viscosity x flow (Darcy's law, textbook). The housing's share
is known where draws of different flow have shown it: drop ~ flow squared (textbook; the density of water doesn't matter here). Without a
supply temperature the viscosity is not corrected; the season's possible effect is told beside the drop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.settings import Settings

#: A stage can't gain pressure beyond this: the pressures' remaining uncertainty once their zeros are taken off [kPa].
GAINS_AT_MOST_KPA: Final = 3.0

#: Cold water that nobody measures has its mean halfway between this and the reference [Cel] (common practice, no published source).
USUAL_C: Final = 12.0
#: Amplitude of its yearly swing [K] (common practice, no published source).
YEARLY_SWING_K: Final = 3.0
#: Its coldest day of the year in the north; in the south half a year later (common practice, no published source).
COLDEST_DAY: Final = 45
#: Relative standard uncertainty of a drop scaled by that temperature: 4 K, and 2.5 % of viscosity go with 1 K.
BLIND_U: Final = 0.10
#: A filter is due only if it would be so in water colder than usual by this many of these deviations. Of 60 random lives one was told due
#: earlier than a tenth of its life before its limit, and half of them after it (tests/bench/filters.py --blind).
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
    """A laminar drop (any unit of pressure) as it would be at the reference flow [L/min] and temperature [Cel].

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
    """Factors of a drop at a draw's flow and temperature, relative to the reference: viscosity times flow, and flow squared."""

    laminar: float
    square: float


def parts(settings: Settings, flow_l_min: float, supply_c: float | None) -> Parts:
    """The factors of a draw of this flow [L/min] and supply temperature [Cel]; without a reference flow the draw's own is taken.

    Raises:
        ValueError: no flow; a mistake in the caller.
    """
    if flow_l_min <= 0.0:
        raise ValueError(f"flow must be above zero, got {flow_l_min}")
    reference = settings.reference_flow_l_min or flow_l_min
    laminar = 1.0 / normalised_drop(1.0, flow_l_min, reference, supply_c, settings.reference_c)
    return Parts(laminar, (flow_l_min / reference) ** 2)


def scaled(drop_kpa: float, factors: Parts, housing_kpa: float = 0.0) -> float:
    """A drop as it would be at the reference [kPa]: the housing's share scales with the square of the flow, the rest as laminar.

    Args:
        drop_kpa: the drop of a draw.
        factors: that draw's factors.
        housing_kpa: the housing's share at the reference.
    """
    return (drop_kpa - housing_kpa * factors.square) / factors.laminar + housing_kpa


def assumed_c(reference_c: float, wall_ms: int, zone: ZoneInfo) -> float:
    """The assumed temperature of supply water that nobody measures [Cel]: colder in winter.

    A time zone with summer time shows the hemisphere; in one without, it is the mean all the year.
    """
    mean = (USUAL_C + reference_c) / 2.0
    now = datetime.fromtimestamp(wall_ms / 1000.0, UTC)
    january, july = (datetime(now.year, month, 15, 12, tzinfo=zone).utcoffset() for month in (1, 7))
    if january is None or july is None or january == july:
        return mean
    swing = YEARLY_SWING_K if july > january else -YEARLY_SWING_K
    return mean - swing * math.cos(2.0 * math.pi * (now.timetuple().tm_yday - COLDEST_DAY) / 365.25)


def colder_share(reference_c: float, wall_ms: int, zone: ZoneInfo) -> float:
    """The share of a drop that may be due to water colder than the reference, if nobody measures it: by the season, with a guard band."""
    season = viscosity_mpa_s(reference_c) / viscosity_mpa_s(assumed_c(reference_c, wall_ms, zone))
    return max(1.0 - season / (1.0 + BLIND_GUARD * BLIND_U), 0.0)


def taps_of(filters: Sequence[str]) -> dict[str, tuple[str, str]]:
    """The taps before and after each filter; none for more than two stages, which three taps can't tell apart."""
    if len(filters) == 1:
        return {filters[0]: ("supply", "filtered")}
    if len(filters) == 2:
        return {filters[0]: ("supply", "between"), filters[1]: ("between", "filtered")}
    return {}
