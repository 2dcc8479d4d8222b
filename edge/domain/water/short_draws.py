"""Draws too short to be steady, as evidence of a low pressure.

One short draw proves nothing: a valve that has just opened draws the pressure down for a moment. A run of short draws that all stay below
the least pressure proves that the pressure is too low. Numbers are common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from edge.domain.entry_bodies import DrawBody
from edge.domain.water.draws import LOW_KPA, SEEN_TO_END

#: This many short draws in a row prove a low pressure; after a steady draw that refutes it, twice as many are needed the next time.
RUN_LENGTH: Final = 3
#: At most this many are needed.
RUN_MAX: Final = 24


class ShortDraws:
    """The run of short draws since the last steady one. `least_kpa`: the least dynamic pressure."""

    __slots__ = ("_least_kpa", "run", "last_kpa", "_wanted")

    def __init__(self, least_kpa: float) -> None:
        self._least_kpa, self.run, self._wanted = least_kpa, 0, RUN_LENGTH
        self.last_kpa = 0.0

    @property
    def is_low(self) -> bool:
        """Does the run prove that the pressure is too low?"""
        return self.run >= self._wanted

    def add(self, body: DrawBody) -> None:
        """Take a draw's entry; once the run is long enough only a steady draw ends it."""
        if body["steady"]:
            if body["ended"] == SEEN_TO_END and body["supply_kpa"] is not None:
                if self.is_low and body["supply_kpa"] >= self._least_kpa:
                    self._wanted = min(2 * self._wanted, RUN_MAX)
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
