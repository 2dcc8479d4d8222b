"""A liquid that a thermostat switches for is never long within one step of its probe: a probe that stays there is stuck.

A stuck probe need not stand still to the last digit: its converter may toggle between two neighbouring values, and so does the probe of
a truly steady liquid. What tells them apart is how this liquid moved before. A thermostat that switches a heater on and off lets it swing
by several steps, again and again; where it has just been seen to do so, half an hour within one step does not come by chance, nor six
times the longest such rest. A cycle makes no such swing: its rise isn't heard, and tops without bottoms between them count for one. A
liquid that is held steadily, or that rests for long between its swings, is never judged by this: nor is one that has come to rest below
its swings, whose heater has grown weak. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from math import inf
from typing import Final

from edge.domain.doubts.table import GAP_MS
from edge.domain.maths.robust import median

#: a swing goes so many steps of the probe and more; noise goes two
SWING_STEPS: Final = 2.8
#: values so many steps apart are neighbours: rounding to two decimals makes steps of 0.06 and 0.07 of one of 0.0625
WITHIN: Final = 1.2
#: so many turns are looked back on
TURNS: Final = 12
#: a liquid that swings is within one step for no longer, but for once
RESTS_MS: Final = 600_000
#: so long within one step is too long, and so many times the longest before; twice as long after a doubt that was wrong, at most so many
LEAST_MS: Final = 1_800_000
TIMES: Final = 6
PATIENCE_AT_MOST: Final = 8
#: so many readings at least tell it
READINGS: Final = 60


class Swings:
    """One probe in a liquid that is heated. It hears values as read, before calibration."""

    __slots__ = (
        "_step",
        "_value",
        "_low",
        "_high",
        "_since_ms",
        "_last_ms",
        "_n",
        "_turns",
        "_rests",
        "_rises",
        "_extreme",
        "_patience",
    )

    def __init__(self) -> None:
        self._step = inf  # the smallest difference of two readings
        self._value: float | None = None
        self._low = self._high = self._extreme = 0.0
        self._since_ms = self._last_ms = self._n = 0
        self._turns: deque[tuple[int, float, bool]] = deque(maxlen=TURNS)  # when, where, was it a top
        self._rests: deque[tuple[int, int]] = (
            deque()
        )  # rests within one step since the first of those turns: ended, lasted [ms]
        self._rises = True
        self._patience = 1

    def hear(self, value: float, mono_ms: int, is_doubted: bool) -> bool:
        """Take a reading; has it left the step that the readings before it were within? A rest that was doubted isn't learnt from."""
        before, self._value, before_ms, self._last_ms = self._value, value, self._last_ms, mono_ms
        if before is None or mono_ms - before_ms > GAP_MS:
            self._rest(value, mono_ms)
            self._extreme = value
            return False
        if value != before:
            self._step = min(self._step, abs(value - before))
        self._turn(value, mono_ms)
        low, high = min(self._low, value), max(self._high, value)
        if high - low <= WITHIN * self._step:
            self._low, self._high, self._n = low, high, self._n + 1
            return False
        if is_doubted:
            self._patience = min(2 * self._patience, PATIENCE_AT_MOST)
        else:
            self._rests.append((mono_ms, mono_ms - self._since_ms))
        self._rest(value, mono_ms)
        return True

    def pause(self, value: float, mono_ms: int) -> None:
        """A reading while a cycle has taken the liquid, or it is heated again after one: its turns aren't a thermostat's."""
        self._value, self._last_ms, self._extreme, self._rises = value, mono_ms, value, True
        self._rest(value, mono_ms)

    def _rest(self, value: float, mono_ms: int) -> None:
        self._low = self._high = value
        self._since_ms, self._n = mono_ms, 1

    def _turn(self, value: float, mono_ms: int) -> None:
        """Has it turned back by a swing from where it came to?"""
        sign = 1.0 if self._rises else -1.0
        if sign * (value - self._extreme) >= 0.0:
            self._extreme = value
        elif sign * (self._extreme - value) >= SWING_STEPS * self._step:
            if self._turns and self._turns[-1][2] is self._rises:
                self._turns.pop()  # between two tops it was paused: cycles upon cycles are no swings, and cost none
            self._turns.append((mono_ms, self._extreme, self._rises))
            self._rises, self._extreme = not self._rises, value
            while self._rests and self._rests[0][0] < self._turns[0][0]:
                self._rests.popleft()

    def stuck(self, mono_ms: int) -> tuple[int, int] | None:
        """(how long it has been within one step, the longest before [ms]) where that is too long for a liquid that swings; else None.

        The longest of all may have been something else, and counts for no more than the one that follows it.
        """
        rests_ms = mono_ms - self._since_ms
        if len(self._turns) < TURNS or self._n < READINGS or rests_ms <= LEAST_MS * self._patience:
            return None
        longest_ms = sorted((0, 0, *(lasted for _, lasted in self._rests)))[-2]
        lowest = median([at for _, at, was_top in self._turns if not was_top])
        if longest_ms > RESTS_MS or self._high < lowest or rests_ms <= self._patience * TIMES * longest_ms:
            return None
        return rests_ms, longest_ms
