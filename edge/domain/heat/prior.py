"""What is believed of a station's heating before a heat-up: broad from the volume, narrow from its own earlier heat-ups.

Each heat-up leaves a few numbers in the journal ("fit" of its entry). They are put together as normal distributions, with an allowance for
what differs from day to day (mains voltage, level of the liquid); the broad belief stays in the mixture, so that a changed heater is seen
and not argued away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, log, sqrt
from statistics import NormalDist
from typing import Any, Final, NamedTuple

#: so many heat-ups are remembered
REMEMBERED: Final = 8
#: standard deviations from day to day, as shares
POWER_DAILY: Final = 0.025
LOSS_DAILY: Final = 0.06
SHAPE_DAILY: Final = 0.1
MOST_DAMP: Final = 0.8  # more of the loss than this isn't evaporation
#: by the warm-up limit: so much is to be warmed up within it [K], and a plant is rather so much quicker
WARM_UP_K: Final = 20.0
QUICKER: Final = 1.5
_NORMAL: Final = NormalDist()


class Spread(NamedTuple):
    """A positive number known by its median and the standard deviation of its logarithm."""

    median: float
    sd: float

    def at(self, share: float) -> float:
        """The quantile of this share."""
        return self.of(_NORMAL.inv_cdf(share))

    def of(self, z: float) -> float:
        """What lies so many standard deviations of the logarithm from the median."""
        return self.median * exp(self.sd * z)


class Prior(NamedTuple):
    """What is believed. `power` is P/C, `loss` UA/C, C that of liquid and wall together."""

    wall: Spread = Spread(0.1, 0.75)  # heat capacity of the wall over that of the liquid
    wall_s: Spread = Spread(180.0, 1.0)  # time constant with which the two even out
    lag_s: Spread = Spread(25.0, 0.95)  # the probe's
    loss: Spread = Spread(5.0e-5, 0.6)  # 1/s: a covered vessel's time constant is some hours
    damp: tuple[float, float] = (0.2, 0.25)  # share of the loss by evaporation, at 30 Cel, and its standard deviation
    power: tuple[float, float] = (0.004, 0.006)  # K/s and its standard deviation
    power_loss: float = 0.0  # covariance of power and loss
    heat_ups: int = 0  # what it was learned from
    element_s: Spread = Spread(15.0, 0.8)  # with which the heater's own heat goes over to the liquid
    outer: Spread = Spread(0.02, 1.5)  # heat capacity of what warms up slowly, an outer wall, over that of the liquid
    outer_s: Spread = Spread(3_000.0, 0.6)  # and its time constant


def of_volume(volume_l: float | None, warm_up_limit_ms: int | None = None) -> Prior:
    """The broad belief. A vessel loses by its surface and holds by its volume: the rate goes with the cube root of the volume.

    The station file's warm-up limit is an upper end that plants stay below, or far below, or miss: it moves the middle only.
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
    """Can something be learned from this "fit" of a journal entry? (Another version may have written it.)"""
    if not isinstance(fit, Mapping):
        return False
    for name in ("power", "loss", "wall", "wall_s", "lag_s"):
        if not _is_pair(fit.get(name)):
            return False
    together = fit.get("together")
    return isinstance(together, int | float) and abs(together) < 1.0


def _is_pair(pair: object) -> bool:
    """Two positive numbers."""
    if not isinstance(pair, Sequence) or len(pair) != 2:
        return False
    return all(isinstance(x, int | float) and x > 0.0 for x in pair)


def learned(broad: Prior, fits: Sequence[Mapping[str, Any]]) -> Prior:
    """The belief after these heat-ups' fits: power in K/min, loss in 1/h, each with its standard deviation; `together` their correlation.

    Walls and lags: median and standard deviation of the logarithm.
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
        damp=_damp(broad.damp, [fit["damp"] for fit in fits if _is_pair(fit.get("damp"))]),
        power=(mean[0], sqrt(cov[0] + daily[0])),
        power_loss=cov[1],
        heat_ups=len(fits),
    )


_Cov = tuple[float, float, float]  # of two numbers: variance, covariance, variance


def _fused(m: tuple[float, float], p: _Cov, z: tuple[float, float], r: _Cov) -> tuple[tuple[float, float], _Cov]:
    """Two normal distributions of the same two numbers, multiplied."""
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
    """Medians and deviations put together, each with what differs from day to day."""
    weight, total = 1.0 / broad.sd**2, log(broad.median) / broad.sd**2
    for median, sd in seen:
        # the broad belief is in each already
        more = max(1.0 / (sd**2 + SHAPE_DAILY**2) - 1.0 / broad.sd**2, 0.0)
        weight += more
        total += more * log(median)
    return Spread(exp(total / weight), sqrt(1.0 / weight + SHAPE_DAILY**2))


def _damp(broad: tuple[float, float], seen: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Shares put together as normal distributions; the broad belief is in each already."""
    weight, total = 1.0 / broad[1] ** 2, broad[0] / broad[1] ** 2
    for mean, sd in seen:
        more = max(1.0 / (sd**2 + SHAPE_DAILY**2) - 1.0 / broad[1] ** 2, 0.0)
        weight += more
        total += more * mean
    return total / weight, min(sqrt(1.0 / weight + SHAPE_DAILY**2), broad[1])


def damp_of(damp: tuple[float, float], z: float) -> float:
    """The share that lies so many standard deviations from the mean."""
    return min(max(damp[0] + damp[1] * z, 0.0), MOST_DAMP)


def damp_k(liquid_c: float, room_c: float) -> float:
    """What drives evaporation, as a difference of temperatures [K]: vapour's pressure at the liquid less that of a room half moist.

    Over its slope at 30 Cel, so that 1 K is 1 K there. Source: Magnus' formula (coefficients of the WMO guide to instruments, 2014).
    """
    return (_vapour_pa(liquid_c) - 0.5 * _vapour_pa(room_c)) / 243.0


def _vapour_pa(t_c: float) -> float:
    return 611.2 * exp(17.62 * t_c / (243.12 + t_c))
