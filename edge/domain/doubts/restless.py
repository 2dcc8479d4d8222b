"""A liquid of some litres turns slowly: a probe that swings by kelvins, up and down again and again within minutes, shows no liquid.

What would be judged of it is an average that may lie anywhere. So swings are counted by their turns: from a turn on it has gone back by
SWING_K. Noise of a working probe is well below that; a cycle, a pouring or a lid make a turn or two. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from edge.domain.doubts.table import GAP_MS

SWING_K: Final = 2.0
#: so many turns within so long, or within so many readings
TURNS: Final = 8
WITHIN_MS: Final = 120_000
READINGS: Final = 12
#: without a turn for so long it is quiet again
QUIET_MS: Final = 300_000


class Restless:
    """One probe."""

    __slots__ = ("_extreme", "_rises", "_turns", "_since_ms", "_last_ms", "_n")

    def __init__(self) -> None:
        self._extreme: float | None = None
        self._rises = True
        self._turns: deque[tuple[int, int]] = deque(maxlen=TURNS)  # when, and after how many readings
        self._since_ms = self._last_ms = self._n = 0

    def hear(self, value: float, mono_ms: int) -> bool:
        """Take a reading; is it a turn that makes the swings too many?"""
        extreme, before_ms, self._last_ms = self._extreme, self._last_ms, mono_ms
        self._n += 1
        if extreme is None or mono_ms - before_ms > GAP_MS:
            self._extreme, self._since_ms = value, mono_ms
            self._turns.clear()
            return False
        back_k = extreme - value if self._rises else value - extreme
        if back_k <= 0.0:
            self._extreme = value
        elif back_k >= SWING_K:
            self._extreme, self._rises, self._since_ms = value, not self._rises, mono_ms
            self._turns.append((mono_ms, self._n))
            first_ms, first = self._turns[0]
            return len(self._turns) == TURNS and (mono_ms - first_ms <= WITHIN_MS or self._n - first < READINGS)
        return False

    def is_quiet(self, mono_ms: int) -> bool:
        """It hasn't turned for long."""
        return mono_ms - self._since_ms >= QUIET_MS
