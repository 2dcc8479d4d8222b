"""Draws at a station without a flow meter: water passes where the filters take pressure.

The lesser way: that water is drawn, and for how long, is seen; how much is not. The reference flow of the station file is taken
instead, so volumes are as good as that, and what hangs on their proportion (days left) is better than they are. No flow is judged by it;
the supply's pressure is, for a dip that the filters don't share is a neighbour's, and one that they do is ours.
The numbers are common practice, no published source.
"""

from __future__ import annotations

from typing import Final

from edge.domain.settings import Settings

#: more than at rest by this much: water passes; by less than the second: no more
STARTS_KPA: Final = 6.0
ENDS_KPA: Final = 3.0
#: what the taps differ by at rest (their zeros) is followed with this time constant, and can't be more than this
REST_MS: Final = 300_000.0
REST_AT_MOST_KPA: Final = 12.0


def assumed_l_min(settings: Settings) -> float | None:
    """The flow that is taken while water passes: the reference, else the middle of the flow's limits; None where neither is given."""
    supply = settings.supply
    if settings.reference_flow_l_min is not None or supply is None:
        return settings.reference_flow_l_min
    known = [flow for flow in (supply.flow_low_l_min, supply.flow_high_l_min) if flow is not None]
    return sum(known) / len(known) if known else None


class Meterless:
    """Takes the pressure between the supply and the last tap for a sign of flow.

    Args:
        flow_l_min: what is taken as the flow while water passes.
    """

    __slots__ = ("flow_l_min", "_rest_kpa", "_last_ms", "_passes", "_once")

    def __init__(self, flow_l_min: float) -> None:
        self.flow_l_min = flow_l_min
        self._rest_kpa: float | None = None
        self._last_ms = 0
        self._passes = self._once = False

    def hear(self, train_kpa: float, mono_ms: int) -> float:
        """What is lost from the supply to the last tap [kPa] now; the flow to be taken [L/min]."""
        rest, before_ms = self._rest_kpa, self._last_ms
        self._last_ms = mono_ms
        if rest is None:
            self._rest_kpa = rest = min(max(train_kpa, -REST_AT_MOST_KPA), REST_AT_MOST_KPA)
        above = train_kpa - rest
        if self._passes:
            self._passes = above >= ENDS_KPA
        elif above > STARTS_KPA:
            self._passes, self._once = self._once, True  # two in a row: one may be a hammer
            return self.flow_l_min if self._passes else 0.0
        else:
            share = 0.2 if above < 0.0 else min((mono_ms - before_ms) / REST_MS, 1.0)
            self._rest_kpa = rest + above * share
        self._once = self._passes
        return self.flow_l_min if self._passes else 0.0
