"""Recent levels of a reservoir's probe, robust against outliers, and its sudden falls.

A level is the median of ten seconds of readings, or one reading of a slower point. A fall counts if two levels in a row lie below two
earlier ones in a row by more than noise, a quantisation step and the vessel's cooling: a cycle took the liquid, cold liquid was poured in,
a lid was opened, or the probe was pulled out. After a fall the probe may rise as far again without heating. Common practice, no published
source.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from math import sqrt
from typing import Final

from edge.domain.doubts.table import GAP_MS
from edge.domain.maths.robust import median

#: A level is the median of the readings of this time [ms].
LEVEL_MS: Final = 10_000
#: Falls and rises are looked for over this time [ms].
WINDOW_MS: Final = 240_000
#: A fall is at least this [K].
FALL_K: Final = 0.4
#: A fall is at least this many standard deviations of a level.
FALL_NOISES: Final = 4.0
#: A fall is at least this many quantisation steps.
FALL_STEPS: Final = 1.3
#: A probe that has fallen may come back for this long [ms].
RETURNS_MS: Final = 75 * 60_000
#: Once it has begun to come back, it may do so for this long [ms].
RETURNED_MS: Final = 10 * 60_000
#: The mean square of second differences follows each by 1 over this.
NOISE_WINDOW: Final = 30.0
#: A second difference counts with at most this [K].
MAX_TURN_K: Final = 1.0


class Levels:
    """The levels of one probe. `rows`: (ms, Cel), oldest first."""

    __slots__ = (
        "rows",
        "since_ms",
        "fell_ms",
        "fell_from_c",
        "_returns_until_ms",
        "_values",
        "_begun_ms",
        "_last_ms",
        "_turns",
    )

    def __init__(self) -> None:
        self._turns = 0.0  # mean square of second differences [K^2]
        self.forget()

    def forget(self) -> None:
        """Forget the levels, but not the noise."""
        self.rows: deque[tuple[int, float]] = deque()
        self.since_ms: int | None = None  # since when it has been read without a long silence
        self.fell_ms: int | None = None  # time of the last fall [ms]
        self.fell_from_c = 0.0  # level before that fall [Cel]
        self._returns_until_ms: int | None = None  # it has begun to come back, and may do so until then [ms]
        self._values: list[float] = []
        self._begun_ms: int | None = None
        self._last_ms = 0

    def hear(self, value_c: float, mono_ms: int) -> float | None:
        """Take one good reading [Cel]; the level that it completes [Cel], which isn't among `rows` yet, else None."""
        if self._begun_ms is not None and mono_ms - self._last_ms > GAP_MS:
            self.forget()
        if mono_ms - self._last_ms > LEVEL_MS:
            self._values.clear()  # readings from before a pause don't belong to this level
        self._last_ms = mono_ms
        self._values.append(value_c)
        if self._begun_ms is not None and mono_ms - self._begun_ms < LEVEL_MS:
            return None
        level, self._values, self._begun_ms = median(self._values), [], mono_ms
        self.since_ms = mono_ms if self.since_ms is None else self.since_ms
        return level

    def take(self, level_c: float, loses_per_s: float, step_k: float, mono_ms: int) -> None:
        """Append a level [Cel] to the rows, and look for a fall.

        Args:
            loses_per_s: how fast the vessel may cool now [K/s].
            step_k: the probe's quantisation step [K].
        """
        rows = self.rows
        if len(rows) >= 2:
            turn = min(abs(level_c - 2.0 * rows[-1][1] + rows[-2][1]), MAX_TURN_K)
            self._turns += (turn * turn - self._turns) / NOISE_WINDOW
        rows.append((mono_ms, level_c))
        while mono_ms - rows[0][0] > WINDOW_MS:
            rows.popleft()
        if len(rows) < 3:
            return
        low = max(level_c, rows[-2][1])
        least_k = max(FALL_K, FALL_NOISES * self.noise_k, FALL_STEPS * step_k)
        if max(c for _, c in rows) - low <= least_k:
            return
        high = max(
            min(before, after) - loses_per_s * (mono_ms - at) / 1000.0 for (_, before), (at, after) in pairwise(rows)
        )
        if high - low > least_k:
            self.fell_from_c = max(high, self.fell_from_c) if self.may_return(mono_ms) else high
            self._returns_until_ms = self._returns_until_ms if self.may_return(mono_ms) else None
            self.fell_ms = mono_ms

    def may_return(self, mono_ms: int) -> bool:
        """Has the probe fallen, and may it still come back?"""
        if self.fell_ms is None or mono_ms - self.fell_ms > RETURNS_MS:
            return False
        return self._returns_until_ms is None or mono_ms <= self._returns_until_ms

    def returned(self, mono_ms: int) -> None:
        """Take that the probe comes back after its fall."""
        self._returns_until_ms = self._returns_until_ms or mono_ms + RETURNED_MS

    @property
    def noise_k(self) -> float:
        """Standard deviation of a level [K]: white noise of variance s^2 makes second differences of variance 6 s^2."""
        return sqrt(self._turns / 6.0)
