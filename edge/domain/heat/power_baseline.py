"""What a station's heater used to give: the yardstick for one that grows weak over weeks.

A forecast believes the last heat-ups (prior.py) and so follows a heater that fails slowly; by that habit it would never be weak. Here
the power of many heat-ups is remembered, and the habit is the best that five in a row gave in the middle: one odd heat-up makes none.
"""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Any, Final

#: half a year of working days
REMEMBERED: Final = 130
IN_A_ROW: Final = 5
LEAST: Final = 3


class Habit:
    """`powers`: P/C of the station's heat-ups [K/s], oldest first."""

    def __init__(self) -> None:
        self.powers: list[float] = []

    def learn(self, fit: Mapping[str, Any]) -> None:
        """A usable fit of a heat_up entry."""
        self.powers = [*self.powers, fit["power"][0] / 60.0][-REMEMBERED:]

    def usual(self) -> float | None:
        """K/s; None before there is a habit.

        >>> habit = Habit(); habit.powers = [0.004] * 5 + [0.0035] * 20
        >>> habit.usual()
        0.004
        """
        powers = self.powers
        if len(powers) < LEAST:
            return None
        return max(median(powers[i : i + IN_A_ROW]) for i in range(max(len(powers) - IN_A_ROW, 0) + 1))
