"""Heat in closed form: balance, transfer loss, and what a forecast is.

One lumped liquid: C dT/dt = P - UA (T - Troom); so T runs towards Tp = Troom + P/UA with the rate b = UA/C, and
    t = ln((Tp - T1) / (Tp - target)) / b.
Source: textbook lumped capacity; checked against tests/handbook/h.heat.domain.jsonl. Wall and probe, and what isn't known of a
plant, are warmup_fit.py's; following the readings is warmup.py's.

Transfer loss: the basin sees T - f (T - Tcold); f by the rule of the station file or measured; so the reservoir needs
(Tmin - f Tcold) / (1 - f).
"""

from __future__ import annotations

from math import log
from typing import Final, NamedTuple

from edge.domain.settings import Reservoir

HOLD_MS: Final = 120_000  # the condition has to hold this long


class Forecast(NamedTuple):
    """Wall-independent: milliseconds from now, with a 90 % interval; None where nothing can be said, and why."""

    in_ms: int | None
    low_ms: int | None
    high_ms: int | None
    why: str


def needed_c(reservoir: Reservoir, cold_c: float) -> float:
    """Reservoir temperature [Cel] at which the basin just sees the label's minimum, with Tcold = `cold_c` [Cel].

    Source: heat lost to what the liquid meets on the way, a share f of (T - Tcold); 4 K in a 20 Cel room at 39 Cel: f = 4/19
    (common practice, no published source).
    """
    return (reservoir.contact_min_c - reservoir.loss_share * cold_c) / (1.0 - reservoir.loss_share)


def basin_c(reservoir: Reservoir, liquid_c: float, cold_c: float) -> float:
    """Temperature [Cel] that the basin sees of a liquid at `liquid_c`."""
    return liquid_c - reservoir.loss_share * (liquid_c - cold_c)


def plateau_c(power_w: float, ua_w_per_k: float, room_c: float) -> float:
    """Where heating ends, dT/dt = 0: Troom + P/UA [Cel]."""
    return room_c + power_w / ua_w_per_k


def time_to_s(start_c: float, target_c: float, plateau: float, rate_per_s: float) -> float | None:
    """Seconds from `start_c` to `target_c` on the way to `plateau` with b = UA/C = `rate_per_s`; None where it never gets there.

    >>> round(time_to_s(20.0, 39.0, 80.0, 1 / 18_000))
    6854
    """
    if (
        rate_per_s <= 0.0
        or (plateau - target_c) * (plateau - start_c) <= 0.0
        or abs(plateau - target_c) > abs(plateau - start_c)
    ):
        return None
    return log((plateau - start_c) / (plateau - target_c)) / rate_per_s
