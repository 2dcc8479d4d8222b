"""A liquid of some litres changes slowly: a probe that swings by kelvins, up and down within minutes, doesn't show the liquid.

The average of such readings may lie anywhere. Swings are counted by their turns: after a turn the reading has gone back by SWING_K. The
noise of a working probe is well below that; a cycle, a pouring or an open lid makes a turn or two. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from edge.domain.doubts.table import GAP_MS

#: A swing is at least this [K].
SWING_K: Final = 2.0
#: A probe is restless after this many turns.
RESTLESS_TURNS: Final = 8
#: The turns come within this time [ms].
TURNS_WITHIN_MS: Final = 120_000
#: The turns of a slow point come within this many readings instead.
TURN_READINGS: Final = 12
#: Without a turn for this long the probe is quiet again [ms].
QUIET_MS: Final = 300_000


class Restless:
    """The swings of one probe."""

    __slots__ = ("_extreme", "_rises", "_turns", "_since_ms", "_last_ms", "_n")

    def __init__(self) -> None:
        self._extreme: float | None = None
        self._rises = True
        self._turns: deque[tuple[int, int]] = deque(maxlen=RESTLESS_TURNS)  # (time [ms], readings until then)
        self._since_ms = self._last_ms = self._n = 0

    def hear(self, value: float, mono_ms: int) -> bool:
        """Take a reading [Cel]; does it complete RESTLESS_TURNS turns that are too close together?"""
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
            return len(self._turns) == RESTLESS_TURNS and (
                mono_ms - first_ms <= TURNS_WITHIN_MS or self._n - first < TURN_READINGS
            )
        return False

    def is_quiet(self, mono_ms: int) -> bool:
        """Has the probe made no turn for QUIET_MS?"""
        return mono_ms - self._since_ms >= QUIET_MS
