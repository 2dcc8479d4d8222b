"""The prior of a heat-up: broad, from the volume alone; learned, from the station's own earlier heat-ups.

Each heat-up leaves its estimates in the journal (the "fit" of its entry). The estimates are fused as normal distributions, with an
allowance for what differs from day to day (mains voltage, level of the liquid). The broad prior stays part of the mixture of hypotheses,
so that a changed heater is noticed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, log, sqrt
from statistics import NormalDist
from typing import Any, Final, NamedTuple

#: The learned prior rests on this many heat-ups at most.
HEAT_UPS_KEPT: Final = 8
#: Standard deviation of the power from day to day, as a share.
POWER_DAILY: Final = 0.025
#: Standard deviation of the loss from day to day, as a share.
LOSS_DAILY: Final = 0.06
#: Standard deviation of the logarithms of walls and lags from day to day.
SHAPE_DAILY: Final = 0.1
#: Evaporation is at most this share of the loss.
MAX_EVAPORATION: Final = 0.8
#: A warm-up within the station file's limit is taken as a rise of this [K].
WARM_UP_K: Final = 20.0
#: A typical plant is faster than the station file's limit by this factor.
QUICKER: Final = 1.5
_NORMAL: Final = NormalDist()


class Spread(NamedTuple):
    """A positive number known by its median and the standard deviation of its logarithm."""

    median: float
    sd: float

    def at(self, share: float) -> float:
        """The quantile of this probability."""
        return self.of(_NORMAL.inv_cdf(share))

    def of(self, z: float) -> float:
        """The value that is `z` standard deviations of the logarithm above the median."""
        return self.median * exp(self.sd * z)


class Prior(NamedTuple):
    """Prior distributions of a plant's parameters; C is the heat capacity of liquid and wall together."""

    wall: Spread = Spread(0.1, 0.75)  # heat capacity of the wall over that of the liquid
    wall_s: Spread = Spread(180.0, 1.0)  # time constant of the exchange between wall and liquid [s]
    lag_s: Spread = Spread(25.0, 0.95)  # lag of the probe [s]
    loss: Spread = Spread(5.0e-5, 0.6)  # UA/C [1/s]; the time constant of a covered vessel is some hours
    evaporation: tuple[float, float] = (0.2, 0.25)  # share of the loss by evaporation at 30 Cel; standard deviation
    power: tuple[float, float] = (0.004, 0.006)  # P/C and its standard deviation [K/s]
    power_loss: float = 0.0  # covariance of power and loss [K/s^2]
    heat_ups: int = 0  # number of heat-ups that the prior was learned from
    element_s: Spread = Spread(15.0, 0.8)  # lag of the heater by its own heat capacity [s]
    outer: Spread = Spread(0.02, 1.5)  # heat capacity of an outer wall that warms up slowly, over that of the liquid
    outer_s: Spread = Spread(3_000.0, 0.6)  # time constant of the outer wall [s]


def of_volume(volume_l: float | None, warm_up_limit_ms: int | None = None) -> Prior:
    """The broad prior. Losses go with the surface and heat capacity with the volume, so the rate falls with the cube root of the volume.

    Plants stay below the station file's warm-up limit, or far below it, or exceed it: so the limit moves only the middle of the power.
    """
    power = Prior().power
    if warm_up_limit_ms is not None and warm_up_limit_ms > 0:
        middle = QUICKER * WARM_UP_K / (warm_up_limit_ms / 1000.0)
        power = (middle, max(1.5 * middle, power[1]))
    if volume_l is None or volume_l <= 0.0:
        return Prior(power=power)
    median = 5.0e-5 * (11.0 / min(max(volume_l, 2.0), 100.0)) ** (1.0 / 3.0)
    return Prior(loss=Spread(median, 0.58), power=power)


def is_usable(fit: object) -> bool:
    """Is this "fit" of a journal entry complete and valid? Another version may have written it."""
    if not isinstance(fit, Mapping):
        return False
    for name in ("power", "loss", "wall", "wall_s", "lag_s"):
        if not _is_pair(fit.get(name)):
            return False
    together = fit.get("together")
    return isinstance(together, int | float) and abs(together) < 1.0


def _is_pair(pair: object) -> bool:
    """Is this a pair of positive numbers?"""
    if not isinstance(pair, Sequence) or len(pair) != 2:
        return False
    return all(isinstance(x, int | float) and x > 0.0 for x in pair)


def learned(broad: Prior, fits: Sequence[Mapping[str, Any]]) -> Prior:
    """The prior learned from these heat-ups' fits, on the base of the broad one.

    Args:
        fits: power [K/min] and loss [1/h] with their standard deviations; `together`, the correlation of both; of walls and lags the
            median and the standard deviation of the logarithm.
    """
    if not fits:
        return broad
    mean = (broad.power[0], broad.loss.median)
    cov = (broad.power[1] ** 2, 0.0, (broad.loss.sd * broad.loss.median) ** 2)
    daily = (0.0, 0.0)
    for fit in fits:
        (power, power_sd), (loss, loss_sd) = (
            (fit["power"][i] / 60.0 for i in (0, 1)),
            (fit["loss"][i] / 3_600.0 for i in (0, 1)),
        )
        daily = ((POWER_DAILY * power) ** 2, (LOSS_DAILY * loss) ** 2)
        seen = (power_sd**2 + daily[0], fit["together"] * power_sd * loss_sd, loss_sd**2 + daily[1])
        mean, cov = _fused(mean, cov, (power, loss), seen)
    sd = sqrt(cov[2] + daily[1])
    return Prior(
        wall=_shape(broad.wall, [fit["wall"] for fit in fits]),
        wall_s=_shape(broad.wall_s, [fit["wall_s"] for fit in fits]),
        lag_s=_shape(broad.lag_s, [fit["lag_s"] for fit in fits]),
        element_s=_shape(broad.element_s, [fit["element_s"] for fit in fits if _is_pair(fit.get("element_s"))]),
        outer=_shape(broad.outer, [fit["outer"] for fit in fits if _is_pair(fit.get("outer"))]),
        outer_s=_shape(broad.outer_s, [fit["outer_s"] for fit in fits if _is_pair(fit.get("outer_s"))]),
        loss=Spread(max(mean[1], 2e-6), min(sd / max(mean[1], 2e-6), broad.loss.sd)),
        evaporation=_evaporation(broad.evaporation, [fit["damp"] for fit in fits if _is_pair(fit.get("damp"))]),
        power=(mean[0], sqrt(cov[0] + daily[0])),
        power_loss=cov[1],
        heat_ups=len(fits),
    )


#: Covariance matrix of two numbers: variance of the first, covariance, variance of the second.
_Cov = tuple[float, float, float]


def _fused(m: tuple[float, float], p: _Cov, z: tuple[float, float], r: _Cov) -> tuple[tuple[float, float], _Cov]:
    """The product of two normal distributions of the same two numbers: means `m`, `z`, covariances `p`, `r` (a Kalman update)."""
    s = (p[0] + r[0], p[1] + r[1], p[2] + r[2])
    det = s[0] * s[2] - s[1] * s[1]
    inverse = (s[2] / det, -s[1] / det, s[0] / det)
    k = (
        (p[0] * inverse[0] + p[1] * inverse[1], p[0] * inverse[1] + p[1] * inverse[2]),
        (p[1] * inverse[0] + p[2] * inverse[1], p[1] * inverse[1] + p[2] * inverse[2]),
    )
    off = (z[0] - m[0], z[1] - m[1])
    mean = (m[0] + k[0][0] * off[0] + k[0][1] * off[1], m[1] + k[1][0] * off[0] + k[1][1] * off[1])
    return mean, (
        p[0] - k[0][0] * p[0] - k[0][1] * p[1],
        p[1] - k[0][0] * p[1] - k[0][1] * p[2],
        p[2] - k[1][0] * p[1] - k[1][1] * p[2],
    )


def _shape(broad: Spread, seen: Sequence[Sequence[float]]) -> Spread:
    """The product of lognormal estimates (median, standard deviation of the logarithm), each with its variation from day to day."""
    weight, total = 1.0 / broad.sd**2, log(broad.median) / broad.sd**2
    for median, sd in seen:
        # Each estimate contains the broad prior already: its weight is taken off.
        more = max(1.0 / (sd**2 + SHAPE_DAILY**2) - 1.0 / broad.sd**2, 0.0)
        weight += more
        total += more * log(median)
    return Spread(exp(total / weight), sqrt(1.0 / weight + SHAPE_DAILY**2))


def _evaporation(broad: tuple[float, float], seen: Sequence[Sequence[float]]) -> tuple[float, float]:
    """The product of normal estimates of the share of evaporation; each contains the broad prior already."""
    weight, total = 1.0 / broad[1] ** 2, broad[0] / broad[1] ** 2
    for mean, sd in seen:
        more = max(1.0 / (sd**2 + SHAPE_DAILY**2) - 1.0 / broad[1] ** 2, 0.0)
        weight += more
        total += more * mean
    return total / weight, min(sqrt(1.0 / weight + SHAPE_DAILY**2), broad[1])


def evaporation_share(evaporation: tuple[float, float], z: float) -> float:
    """The share of evaporation that is `z` standard deviations above the mean, within 0 and MAX_EVAPORATION."""
    return min(max(evaporation[0] + evaporation[1] * z, 0.0), MAX_EVAPORATION)


def evaporation_k(liquid_c: float, room_c: float) -> float:
    """What drives evaporation, as a difference of temperatures [K].

    The vapour pressure at the liquid less that of a room of 50 % relative humidity, over the slope of the vapour pressure at 30 Cel.
    Source: Magnus' formula (coefficients of the WMO guide to instruments, 2014).
    """
    return (_vapour_pa(liquid_c) - 0.5 * _vapour_pa(room_c)) / 243.0


def _vapour_pa(t_c: float) -> float:
    """Saturation vapour pressure over water [Pa] at `t_c` [Cel]."""
    return 611.2 * exp(17.62 * t_c / (243.12 + t_c))
