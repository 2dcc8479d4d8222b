"""Draws too short to be steady.

One proves nothing, for a valve that has just opened draws the pressure down for a moment. A run of them that all stay below the least
pressure does: the mains can hardly be right. Numbers are common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from edge.domain.entry_bodies import DrawBody
from edge.domain.water.draws import LOW_KPA

#: so many of them in a row; after a steady draw that showed better, twice as many the next time, and at most so many
RUN: Final = 3
RUN_AT_MOST: Final = 24


class ShortDraws:
    """The run of short draws since the last steady one. `least_kpa`: the least pressure while drawing."""

    __slots__ = ("_least_kpa", "run", "last_kpa", "_wanted")

    def __init__(self, least_kpa: float) -> None:
        self._least_kpa, self.run, self._wanted = least_kpa, 0, RUN
        self.last_kpa = 0.0

    @property
    def is_low(self) -> bool:
        """Do they say that the pressure is too low?"""
        return self.run >= self._wanted

    def add(self, body: DrawBody) -> None:
        """A draw's entry. Once the run is long enough only a steady draw ends it."""
        if body["steady"]:
            if body["ended"] == "flow" and body["supply_kpa"] is not None:
                if self.is_low and body["supply_kpa"] >= self._least_kpa:
                    self._wanted = min(2 * self._wanted, RUN_AT_MOST)
                self.run = 0
            return
        early = body.get("early_supply_kpa")
        if early is None:
            return
        if early < self._least_kpa - LOW_KPA:
            self.run, self.last_kpa = self.run + 1, early
        elif not self.is_low:
            self.run = 0

    def state(self) -> list[float]:
        """What has to survive a restart, as JSON."""
        return [self.run, self.last_kpa, self._wanted]

    def restore(self, state: Sequence[float]) -> None:
        """Take back what state() gave."""
        if state:
            self.run, self.last_kpa, self._wanted = int(state[0]), state[1], int(state[2])
