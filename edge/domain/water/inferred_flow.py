"""Draws at a station without a flow meter: water passes while the filters show a pressure drop.

The pressures show that water is drawn, and for how long, but not how much. The reference flow of the station file is assumed instead, so
volumes are as good as that flow; figures that rest on the volumes' proportion (days left) are better. No flow is judged by it. The
supply's pressure is: a dip that the filters don't share is a neighbour's draw, one that they share is ours.
The numbers are common practice, no published source.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from edge.domain.settings import Settings

#: Water passes when the filters take this much more pressure than at rest [kPa].
STARTS_KPA: Final = 6.0
#: Water has stopped when the filters take less than this more than at rest [kPa].
ENDS_KPA: Final = 3.0
#: Time constant with which the taps' difference at rest, their zeros, is followed [ms].
ZERO_MS: Final = 300_000.0
#: The taps differ at rest by at most this [kPa].
REST_AT_MOST_KPA: Final = 12.0
#: Water passes only beyond this many standard deviations of the noise.
WATER_SIGMAS: Final = 4.5
#: The noise variance follows each reading by this share.
NOISE_SHARE: Final = 0.005
#: A reading counts in the noise with a step of at most this many standard deviations.
STEP_SIGMAS: Final = 4.0
#: Least standard deviation in that bound [kPa].
LEAST_NOISE_KPA: Final = 0.5
#: Until this many readings the noise isn't known, and the threshold is half as high again.
NOISE_READINGS: Final = 30
#: Averages lag, so a draw by noisy gauges ends once this share of its drop is left.
ENDS_SHARE: Final = 0.3
#: The end of a draw is told late by at most this many time constants of the average.
LAG_CONSTANTS: Final = 2.0
#: Noisy gauges are averaged with at most this time constant [ms].
AVERAGE_AT_MOST_MS: Final = 4_000.0


def assumed_l_min(settings: Settings) -> float | None:
    """The flow [L/min] assumed while water passes: the reference, else the middle of the flow's limits; None where neither is given."""
    supply = settings.supply
    if settings.reference_flow_l_min is not None or supply is None:
        return settings.reference_flow_l_min
    known = [flow for flow in (supply.flow_low_l_min, supply.flow_high_l_min) if flow is not None]
    return sum(known) / len(known) if known else None


class Meterless:
    """Infers the flow from the pressure drop between the supply and the last tap.

    The gauges' noise is learned from the differences of neighbouring readings. Noisy gauges are averaged, no longer than needed, and have
    to show a larger drop.

    Args:
        flow_l_min: the flow that is assumed while water passes.
    """

    __slots__ = (
        "flow_l_min",
        "_rest_kpa",
        "_shown_kpa",
        "_read_kpa",
        "_variance",
        "_last_ms",
        "_n",
        "_level_kpa",
        "_passes",
        "_once",
        "lag_ms",
    )

    def __init__(self, flow_l_min: float) -> None:
        self.flow_l_min = flow_l_min
        self.lag_ms = 0  # the average tells the end of a draw this late [ms]
        self._rest_kpa: float | None = None
        self._shown_kpa = self._read_kpa = 0.0
        self._variance = self._level_kpa = 0.0
        self._last_ms = self._n = 0
        self._passes = self._once = False

    def hear(self, train_kpa: float, mono_ms: int) -> float:
        """Take the drop from the supply to the last tap [kPa]; the inferred flow [L/min]."""
        rest, passed_ms = self._rest_kpa, mono_ms - self._last_ms
        self._last_ms = mono_ms
        self._n += 1
        if rest is None:
            self._rest_kpa = rest = min(max(train_kpa, -REST_AT_MOST_KPA), REST_AT_MOST_KPA)
            self._shown_kpa = self._read_kpa = train_kpa
        sigma, is_averaged = self._average(train_kpa, passed_ms)
        above = self._shown_kpa - rest
        ends_kpa = max(ENDS_KPA, 0.5 * WATER_SIGMAS * sigma, ENDS_SHARE * self._level_kpa if is_averaged else 0.0)
        if self._passes:
            self._passes = above >= ends_kpa
            self._level_kpa += 0.1 * (above - self._level_kpa)
            if not self._passes:
                self._level_kpa, self._shown_kpa = 0.0, rest  # a lagging average would pass for the next draw
        elif above > max(STARTS_KPA, WATER_SIGMAS * sigma) * (1.0 if self._n > NOISE_READINGS else 1.5):
            self._passes, self._once = self._once, True  # two readings in a row: one may be a water hammer
            return self.flow_l_min if self._passes else 0.0
        elif train_kpa >= -REST_AT_MOST_KPA:  # below that a check valve holds pressure behind it
            # Flow never makes the drop less than at rest: the level taken for rest was a draw.
            fast = above < -ends_kpa and rest > 0.0
            self._rest_kpa = rest + above * (0.2 if fast else min(max(passed_ms / ZERO_MS, 1.0 / self._n), 1.0))
        self._once = self._passes
        return self.flow_l_min if self._passes else 0.0

    def _average(self, train_kpa: float, passed_ms: int) -> tuple[float, bool]:
        """Take a reading into the shown drop; (the shown drop's standard deviation [kPa], is it an average?)."""
        raw = sqrt(self._variance)
        step = min(
            abs(train_kpa - self._read_kpa), STEP_SIGMAS * max(raw, LEAST_NOISE_KPA)
        )  # the step of a draw is no noise
        self._variance += max(NOISE_SHARE, 1.0 / self._n) * (step * step / 2.0 - self._variance)
        self._read_kpa = train_kpa
        share = 1.0
        if WATER_SIGMAS * raw > STARTS_KPA:
            ratio = (STARTS_KPA / (WATER_SIGMAS * raw)) ** 2
            share = max(2.0 * ratio / (1.0 + ratio), passed_ms / (passed_ms + AVERAGE_AT_MOST_MS))
        self.lag_ms = 0 if share == 1.0 else int(passed_ms * (LAG_CONSTANTS * (1.0 - share) / share + 1.0))
        self._shown_kpa += share * (train_kpa - self._shown_kpa)
        return raw * sqrt(share / (2.0 - share)), share < 1.0
