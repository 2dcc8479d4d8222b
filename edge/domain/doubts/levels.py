"""What a reservoir's probe has stood at of late, told so that single slips don't count, and whether it has fallen suddenly.

A level is the median of ten seconds of readings, or one reading of a slower point. A fall counts where two levels in a row lie below what
two in a row were before, by more than noise, a step and what a vessel loses: a cycle took the liquid, cold liquid was poured in, a lid
was opened, the probe was pulled out. After it the probe may rise as far again though nothing heats. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from math import sqrt
from typing import Final

from edge.domain.doubts.table import GAP_MS
from edge.domain.maths.robust import median

LEVEL_MS: Final = 10_000
#: so far back is looked for what it fell from, or rose from
LOOK_MS: Final = 240_000
#: a fall is no less than this, so many times the noise, and so many steps
FALL_K: Final = 0.4
NOISES: Final = 4.0
STEPS: Final = 1.3
#: what has fallen may come back for so long; and once it has begun to, for so long
RETURNS_MS: Final = 75 * 60_000
RETURNED_MS: Final = 10 * 60_000
#: second differences that noise is taken from: the newest count for one in so many; and one of them for no more than this [K]
OF: Final = 30.0
WILD_K: Final = 1.0


class Levels:
    """One probe. `rows`: (ms, Cel), oldest first."""

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
        """What is heard next has nothing to do with what was heard before."""
        self.rows: deque[tuple[int, float]] = deque()
        self.since_ms: int | None = None  # since when it has been heard without a long silence
        self.fell_ms: int | None = None  # when last it was seen to have fallen
        self.fell_from_c = 0.0  # and from where [Cel]
        self._returns_until_ms: int | None = None  # it has come back, or begun to
        self._values: list[float] = []
        self._begun_ms: int | None = None
        self._last_ms = 0

    def hear(self, value_c: float, mono_ms: int) -> float | None:
        """One good reading; the level that it completes [Cel], which isn't among `rows` yet."""
        if self._begun_ms is not None and mono_ms - self._last_ms > GAP_MS:
            self.forget()
        if mono_ms - self._last_ms > LEVEL_MS:
            self._values.clear()  # what was read before a pause is no level of now
        self._last_ms = mono_ms
        self._values.append(value_c)
        if self._begun_ms is not None and mono_ms - self._begun_ms < LEVEL_MS:
            return None
        level, self._values, self._begun_ms = median(self._values), [], mono_ms
        self.since_ms = mono_ms if self.since_ms is None else self.since_ms
        return level

    def take(self, level_c: float, loses_per_s: float, step_k: float, mono_ms: int) -> None:
        """Put a level among the rows. `loses_per_s`: how fast the vessel may cool now [K/s]; `step_k`: the probe's own step."""
        rows = self.rows
        if len(rows) >= 2:
            turn = min(abs(level_c - 2.0 * rows[-1][1] + rows[-2][1]), WILD_K)
            self._turns += (turn * turn - self._turns) / OF
        rows.append((mono_ms, level_c))
        while mono_ms - rows[0][0] > LOOK_MS:
            rows.popleft()
        if len(rows) < 3:
            return
        low = max(level_c, rows[-2][1])
        least_k = max(FALL_K, NOISES * self.noise_k, STEPS * step_k)
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
        """It has fallen, and hasn't come back for long."""
        if self.fell_ms is None or mono_ms - self.fell_ms > RETURNS_MS:
            return False
        return self._returns_until_ms is None or mono_ms <= self._returns_until_ms

    def returned(self, mono_ms: int) -> None:
        """What had fallen comes back."""
        self._returns_until_ms = self._returns_until_ms or mono_ms + RETURNED_MS

    @property
    def noise_k(self) -> float:
        """Standard deviation of a level [K]: white noise of variance s^2 makes second differences of variance 6 s^2."""
        return sqrt(self._turns / 6.0)
