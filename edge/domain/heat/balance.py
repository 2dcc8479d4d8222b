"""Heat in closed form: heat balance, transfer loss, and the type of a forecast.

Heat balance of one lumped liquid: C dT/dt = P - UA (T - Troom). So T runs towards the plateau Tp = Troom + P/UA with the rate b = UA/C:
    t = ln((Tp - T1) / (Tp - target)) / b.
Source: textbook lumped capacity; checked against tests/handbook/h.heat.domain.jsonl. Wall, probe and unknown parameters are in
warmup_fit.py; warmup.py follows the readings.

Transfer loss: the basin sees T - f (T - Tcold), with f of the station file or measured. So the reservoir needs
(Tmin - f Tcold) / (1 - f).
"""

from __future__ import annotations

from math import log
from typing import Final, NamedTuple

from edge.domain.messages import Message
from edge.domain.settings import Reservoir

#: The reservoir's condition is met once it has held for this long [ms].
HOLD_MS: Final = 120_000


class Forecast(NamedTuple):
    """A time from now [ms] with its 90 % interval; None where nothing can be said. `why`: the reason, or news beside the forecast."""

    in_ms: int | None
    low_ms: int | None
    high_ms: int | None
    why: Message | None


def needed_c(reservoir: Reservoir, cold_c: float, share: float | None = None) -> float:
    """Reservoir temperature [Cel] at which the basin just sees the label's minimum, with Tcold = `cold_c` [Cel].

    Source: on its way the liquid loses the share f of (T - Tcold) to basin and hoses. 4 K at 39 Cel in a 20 Cel room: f = 4/19 (common
    practice, no published source). `share`: another f than the reservoir's.
    """
    lost = reservoir.loss_share if share is None else share
    return (reservoir.contact_min_c - lost * cold_c) / (1.0 - lost)


def basin_c(reservoir: Reservoir, liquid_c: float, cold_c: float, share: float | None = None) -> float:
    """Temperature [Cel] in the basin of a liquid at `liquid_c` [Cel], with Tcold = `cold_c` [Cel]. `share`: as in needed_c()."""
    return liquid_c - (reservoir.loss_share if share is None else share) * (liquid_c - cold_c)


def plateau_c(power_w: float, ua_w_per_k: float, room_c: float) -> float:
    """Plateau of heating, where dT/dt = 0: Troom + P/UA [Cel]."""
    return room_c + power_w / ua_w_per_k


def time_to_s(start_c: float, target_c: float, plateau: float, rate_per_s: float) -> float | None:
    """Seconds from `start_c` to `target_c` on the way to `plateau` [Cel] with b = UA/C = `rate_per_s`; None: the target is never reached.

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
