"""Draws at a station without a flow meter: water passes where the filters take pressure.

The lesser way: that water is drawn, and for how long, is seen; how much is not. The reference flow of the station file is taken
instead, so volumes are as good as that, and what hangs on their proportion (days left) is better than they are. No flow is judged by it;
the supply's pressure is, for a dip that the filters don't share is a neighbour's, and one that they do is ours.
The numbers are common practice, no published source.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from edge.domain.settings import Settings

#: more than at rest by this much: water passes; by less than the second: no more
STARTS_KPA: Final = 6.0
ENDS_KPA: Final = 3.0
#: what the taps differ by at rest (their zeros) is followed with this time constant, and can't be more than this
REST_MS: Final = 300_000.0
REST_AT_MOST_KPA: Final = 12.0
#: so many standard deviations of noise are no sign of water; noise follows a reading by this share, and no reading by more than this
SURE: Final = 4.5
NOISE_SHARE: Final = 0.005
#: before so many readings the noise isn't known yet, and half as much again is asked for
LEARNT: Final = 30
#: averages lag: a draw by noisy gauges ends once this share of what it took is left
LEFT: Final = 0.3
#: in time constants of the average, that is later than it was, at most
LAGS: Final = 2.0
WILD: Final = 4.0
LEAST_NOISE_KPA: Final = 0.5
#: noisy gauges are averaged with at most this time constant
AVERAGE_AT_MOST_MS: Final = 4_000.0


def assumed_l_min(settings: Settings) -> float | None:
    """The flow that is taken while water passes: the reference, else the middle of the flow's limits; None where neither is given."""
    supply = settings.supply
    if settings.reference_flow_l_min is not None or supply is None:
        return settings.reference_flow_l_min
    known = [flow for flow in (supply.flow_low_l_min, supply.flow_high_l_min) if flow is not None]
    return sum(known) / len(known) if known else None


class Meterless:
    """Takes the pressure between the supply and the last tap for a sign of flow.

    The gauges' noise is learned from what one reading differs by from the next. Noisy ones are averaged, for as short as will do, and
    have to show the more.

    Args:
        flow_l_min: what is taken as the flow while water passes.
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
        self.lag_ms = 0  # what is averaged tells the end of a draw so late
        self._rest_kpa: float | None = None
        self._shown_kpa = self._read_kpa = 0.0
        self._variance = self._level_kpa = 0.0
        self._last_ms = self._n = 0
        self._passes = self._once = False

    def hear(self, train_kpa: float, mono_ms: int) -> float:
        """What is lost from the supply to the last tap [kPa] now; the flow to be taken [L/min]."""
        rest, passed_ms = self._rest_kpa, mono_ms - self._last_ms
        self._last_ms = mono_ms
        self._n += 1
        if rest is None:
            self._rest_kpa = rest = min(max(train_kpa, -REST_AT_MOST_KPA), REST_AT_MOST_KPA)
            self._shown_kpa = self._read_kpa = train_kpa
        sigma, is_averaged = self._average(train_kpa, passed_ms)
        above = self._shown_kpa - rest
        ends_kpa = max(ENDS_KPA, 0.5 * SURE * sigma, LEFT * self._level_kpa if is_averaged else 0.0)
        if self._passes:
            self._passes = above >= ends_kpa
            self._level_kpa += 0.1 * (above - self._level_kpa)
            if not self._passes:
                self._level_kpa, self._shown_kpa = 0.0, rest  # or the average would pass for the next draw
        elif above > max(STARTS_KPA, SURE * sigma) * (1.0 if self._n > LEARNT else 1.5):
            self._passes, self._once = self._once, True  # two in a row: one may be a hammer
            return self.flow_l_min if self._passes else 0.0
        elif (
            train_kpa >= -REST_AT_MOST_KPA
        ):  # below, a check valve holds what stands behind it: no zeros differ by so much
            fast = (
                above < -ends_kpa and rest > 0.0
            )  # no flow makes it less than at rest: what was taken as rest was a draw
            self._rest_kpa = rest + above * (0.2 if fast else min(max(passed_ms / REST_MS, 1.0 / self._n), 1.0))
        self._once = self._passes
        return self.flow_l_min if self._passes else 0.0

    def _average(self, train_kpa: float, passed_ms: int) -> tuple[float, bool]:
        """Take a reading into what is shown; (the standard deviation of that [kPa], is it an average?)."""
        raw = sqrt(self._variance)
        step = min(abs(train_kpa - self._read_kpa), WILD * max(raw, LEAST_NOISE_KPA))  # a draw's own step is no noise
        self._variance += max(NOISE_SHARE, 1.0 / self._n) * (step * step / 2.0 - self._variance)
        self._read_kpa = train_kpa
        share = 1.0
        if SURE * raw > STARTS_KPA:
            ratio = (STARTS_KPA / (SURE * raw)) ** 2
            share = max(2.0 * ratio / (1.0 + ratio), passed_ms / (passed_ms + AVERAGE_AT_MOST_MS))
        self.lag_ms = 0 if share == 1.0 else int(passed_ms * (LAGS * (1.0 - share) / share + 1.0))
        self._shown_kpa += share * (train_kpa - self._shown_kpa)
        return raw * sqrt(share / (2.0 - share)), share < 1.0
