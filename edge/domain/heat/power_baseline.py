"""The usual power of a station's heater: the baseline for a heater that grows weak over weeks.

The prior of a forecast follows the last few heat-ups (prior.py). It would follow a heater that fails slowly, too. Here the power of many
heat-ups is kept. The usual power is the highest median of five heat-ups in a row, so that one odd heat-up doesn't count.
"""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Any, Final

#: Heat-ups kept: half a year of working days.
POWERS_KEPT: Final = 130
#: The median is taken over this many heat-ups in a row.
IN_A_ROW: Final = 5
#: With fewer heat-ups there is no usual power.
MIN_POWERS: Final = 3


class Habit:
    """`powers`: P/C of the station's heat-ups [K/s], oldest first."""

    def __init__(self) -> None:
        self.powers: list[float] = []

    def learn(self, fit: Mapping[str, Any]) -> None:
        """Keep the power of a heat_up entry's fit, which prior.is_usable() has accepted."""
        self.powers = [*self.powers, fit["power"][0] / 60.0][-POWERS_KEPT:]

    def usual(self) -> float | None:
        """The usual power [K/s]; None after fewer than MIN_POWERS heat-ups.

        >>> habit = Habit(); habit.powers = [0.004] * 5 + [0.0035] * 20
        >>> habit.usual()
        0.004
        """
        powers = self.powers
        if len(powers) < MIN_POWERS:
            return None
        return max(median(powers[i : i + IN_A_ROW]) for i in range(max(len(powers) - IN_A_ROW, 0) + 1))
