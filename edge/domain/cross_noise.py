"""A point's own noise: how long it has ever stood still to the last digit. One that is stiller than that by far is frozen.

What moves a sensor's last digit may be its noise or its surroundings, and only the first never rests. So noise is learnt in stretches
in which the level stays and readings lie on both sides of it: a probe of little noise toggles between two values only, and rests
between its steps for hours, rightly. What is learnt is the longest still of an hour and more of such stretches; 6 times that does not
come by chance, and a quarter of an hour at least has to pass. A heated liquid is never at rest either: its thermostat works. So for
it stills are learnt too while it is held at its temperature, over three hours, whatever moves it. A point that was doubted wrongly takes
twice as long the next time. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from edge.domain.readings import Kind
from edge.domain.robust import median

_MIN: Final = 60_000
#: a stretch lasts so long and has so many readings
STRETCH_MS: Final = 10 * _MIN
READINGS: Final = 30
#: so many stretches tell a point's noise; so many tell how a held liquid moves
STRETCHES: Final = 6
HELD_STRETCHES: Final = 18
#: of each side of the middle there are so many readings, as a share
BOTH_SIDES: Final = 0.01
#: the level stays: a stretch's halves differ by less than this share of a usual step
STAYS_STEPS: Final = 0.4
#: held at its temperature: the halves differ by less [K]
HELD_K: Final = 0.5
#: times the longest still is too long; after a doubt that was wrong it takes twice as long, and at most so many times
TIMES: Final = 6
PATIENCE_AT_MOST: Final = 8
#: no still is too long before this
LEAST_MS: Final[Mapping[Kind, int]] = MappingProxyType(
    {Kind.PRESSURE: 15 * _MIN, Kind.FLOW: 15 * _MIN, Kind.TEMPERATURE: 30 * _MIN, Kind.CONDUCTIVITY: 60 * _MIN}
)
HELD_LEAST_MS: Final = 60 * _MIN


class _Learnt:
    """The longest still of good stretches, but for the one that stands out: it may have been half of something else. The newest
    counts once another has followed: it may be the one that froze."""

    __slots__ = ("n", "longest_ms", "_odd_ms", "_newest_ms", "_wanted")

    def __init__(self, wanted: int) -> None:
        self._wanted, self.n, self.longest_ms, self._odd_ms = wanted, 0, 0, 0
        self._newest_ms: int | None = None

    def take(self, still_ms: int | None) -> None:
        """The longest still of a stretch; None where it tells nothing."""
        if still_ms is not None and self._newest_ms is not None:
            self.n += 1
            self.longest_ms = max(self.longest_ms, min(self._odd_ms, self._newest_ms))
            self._odd_ms = max(self._odd_ms, self._newest_ms)
        self._newest_ms = still_ms

    def most_ms(self, least_ms: int) -> int | None:
        """What a still may last at most; None where too little is known."""
        return None if self.n < self._wanted else max(least_ms, TIMES * self.longest_ms)


class Stills:
    """One point.

    Args:
        gap_ms: a longer time between two readings is in no still.
        is_heated: it measures a liquid that a thermostat holds.
    """

    __slots__ = (
        "_least_ms",
        "_gap_ms",
        "_patience",
        "_value",
        "_since_ms",
        "_last_ms",
        "_begun_ms",
        "_stretch",
        "_still_ms",
        "_noise",
        "_held",
    )

    def __init__(self, kind: Kind, gap_ms: int, is_heated: bool = False) -> None:
        self._least_ms, self._gap_ms, self._patience = LEAST_MS[kind], gap_ms, 1
        self._value: float | None = None
        self._since_ms = self._last_ms = self._begun_ms = self._still_ms = 0
        self._stretch: list[float] = []
        self._noise, self._held = _Learnt(STRETCHES), _Learnt(HELD_STRETCHES) if is_heated else None

    def rest(self) -> None:
        """What it reads now tells nothing of its noise: a meter that nothing flows through."""
        self._value = None

    def moves(self, value: float, mono_ms: int, is_doubted: bool) -> bool:
        """Take a reading; has it changed since the one before? A still that was doubted isn't learnt from."""
        before, self._value, before_ms, self._last_ms = self._value, value, self._last_ms, mono_ms
        if before is None or mono_ms - before_ms > self._gap_ms:
            self._since_ms = mono_ms
            self._begin(mono_ms)
            return before is not None and value != before
        moved = value != before
        if moved:
            self._still_ms = max(self._still_ms, mono_ms - self._since_ms)
            self._since_ms = mono_ms
            if is_doubted:
                self._patience = min(2 * self._patience, PATIENCE_AT_MOST)
                self._begin(mono_ms)
        self._stretch.append(value)
        if mono_ms - self._begun_ms >= STRETCH_MS and len(self._stretch) >= READINGS:
            still_ms = max(self._still_ms, mono_ms - self._since_ms)
            self._noise.take(still_ms if _is_noise(self._stretch) else None)
            if self._held is not None:
                self._held.take(still_ms if _is_held(self._stretch) else None)
            self._begin(mono_ms)
        return moved

    def _begin(self, mono_ms: int) -> None:
        self._begun_ms, self._still_ms = mono_ms, 0
        self._stretch.clear()

    def too_still(self, mono_ms: int) -> tuple[int, int] | None:
        """(how long it has stood still, its longest before [ms]) where that is too long; else None."""
        still_ms = mono_ms - self._since_ms
        if self._value is None or still_ms <= self._least_ms:
            return None
        for learnt, least_ms in ((self._noise, self._least_ms), (self._held, HELD_LEAST_MS)):
            most_ms = None if learnt is None else learnt.most_ms(least_ms)
            if learnt is not None and most_ms is not None and still_ms > self._patience * most_ms:
                return still_ms, learnt.longest_ms
        return None


def _halves(stretch: list[float]) -> float:
    half = len(stretch) // 2
    return abs(sum(stretch[:half]) / half - sum(stretch[-half:]) / half)


def _is_noise(stretch: list[float]) -> bool:
    """The level stays, and readings lie on both sides of it."""
    middle = median(stretch)
    least = max(BOTH_SIDES * len(stretch), 2.0)
    if sum(v > middle for v in stretch) < least or sum(v < middle for v in stretch) < least:
        return False
    step = median([abs(b - a) for a, b in pairwise(stretch) if a != b])
    return _halves(stretch) < STAYS_STEPS * step


def _is_held(stretch: list[float]) -> bool:
    return max(stretch) > min(stretch) and _halves(stretch) < HELD_K
