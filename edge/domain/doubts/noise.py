"""A point's own noise: how long it has ever stood still to the last digit. One that is stiller than that by far is frozen.

What moves a sensor's last digit may be its noise or its surroundings, and only the first never rests. A probe of little noise toggles
between two values near a step and rests between its steps for hours, rightly. So noise is learnt by stretches of a few minutes that
hardly drift, in which ten readings in a row show three values and more, again and again. Where most stretches are so, the point
moves by itself, and a quarter of an hour without a change does not come by chance, nor six times its longest still. A heated liquid
is never at rest either: its thermostat works. So for it stills are learnt too while it is held at its temperature, over three hours,
whatever moves it. A point that was doubted wrongly takes twice as long the next time. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from edge.domain.maths.robust import median
from edge.domain.readings import Kind

_MIN: Final = 60_000
#: a stretch has so many readings, over so long at least; a held one lasts longer
READINGS: Final = 60
STRETCH_MS: Final = 2 * _MIN
HELD_MS: Final = 10 * _MIN
#: so many good stretches, most of all, over so long tell a point's noise; so many how a held liquid moves
STRETCHES: Final = 12
LEARNT_MS: Final = 30 * _MIN
HELD_STRETCHES: Final = 18
#: so many, over so long, tell that a point moves by itself where others bear witness too
SOME_STRETCHES: Final = 4
SOME_MS: Final = 10 * _MIN
#: of so many readings in a row three values and more show, in this share of a good stretch's blocks
BLOCK: Final = 10
LIVELY_SHARE: Final = 0.33
#: its halves differ by less than so many steps
DRIFT_STEPS: Final = 2.0
#: no still of fewer readings is one
STILL_READINGS: Final = 150
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
    """Good stretches among all, and the longest still of good ones, but for the one that stands out: it may have been half of
    something else. Nothing of a still that lasts is learnt before it has ended."""

    __slots__ = ("good", "other", "learnt_ms", "longest_ms", "odd_ms", "_waiting")

    def __init__(self) -> None:
        self.good = self.other = self.learnt_ms = self.longest_ms = self.odd_ms = 0
        self._waiting: list[tuple[bool, int, int]] = []

    def take(self, is_good: bool, still_ms: int, lasted_ms: int) -> None:
        """A stretch has ended."""
        self._waiting.append((is_good, still_ms, lasted_ms))

    def settle(self, is_doubted: bool) -> None:
        """The point has moved: what was taken before counts, unless it was doubted meanwhile."""
        for is_good, still_ms, lasted_ms in () if is_doubted else self._waiting:
            self.other += not is_good
            if is_good:
                self.good += 1
                self.learnt_ms += lasted_ms
                self.longest_ms = max(self.longest_ms, min(self.odd_ms, still_ms))
                self.odd_ms = max(self.odd_ms, still_ms)
        self._waiting.clear()


class Stills:
    """One point.

    Args:
        gap_ms: a longer time between two readings is in no still.
        is_heated: it measures a liquid that a thermostat holds.
    """

    __slots__ = (
        "_least_ms", "_gap_ms", "_patience", "_value", "_since_ms", "_last_ms", "_noise", "_near", "_held", "_far", "_is_heated", "_n",
        "_is_disowned",
    )  # fmt: skip

    def __init__(self, kind: Kind, gap_ms: int, is_heated: bool = False) -> None:
        self._least_ms, self._gap_ms, self._patience, self._is_heated = LEAST_MS[kind], gap_ms, 1, is_heated
        self._value: float | None = None
        self._since_ms = self._last_ms = self._n = 0
        self._is_disowned = False
        self._noise, self._held = _Learnt(), _Learnt()
        self._near, self._far = _Stretch(READINGS, STRETCH_MS), _Stretch(READINGS // 2, HELD_MS)

    def rest(self) -> None:
        """What it reads now tells nothing of its noise: a meter that nothing flows through."""
        self._value = None

    def unheld(self, mono_ms: int) -> None:
        """Its liquid isn't held at its temperature: a cycle has taken it, or it is heated again after one."""
        self._far.begin(mono_ms)

    def disown(self) -> None:
        """The still that lasts isn't its own: nothing is learnt from it."""
        self._is_disowned = True

    def moves(self, value: float, mono_ms: int, is_doubted: bool) -> bool:
        """Take a reading; has it changed since the one before? A still that was doubted isn't learnt from."""
        before, self._value, before_ms, self._last_ms = self._value, value, self._last_ms, mono_ms
        moved = before is not None and value != before
        self._n = self._n + 1 if value == before else 0
        if before is None or mono_ms - before_ms > self._gap_ms:
            self._since_ms = mono_ms
            self._near.begin(mono_ms)
            self._far.begin(mono_ms)
            return moved
        if moved:
            if is_doubted:
                self._patience = min(2 * self._patience, PATIENCE_AT_MOST)
            for learnt, stretch in ((self._noise, self._near), (self._held, self._far)):
                learnt.settle(is_doubted or self._is_disowned)
                if self._is_disowned:
                    stretch.begin(mono_ms)
                else:
                    stretch.moved(mono_ms - self._since_ms)
            self._since_ms, self._is_disowned = mono_ms, False
        if (ended := self._near.hear(value, mono_ms, self._since_ms)) is not None:
            self._noise.take(_is_noise(ended[0]), *ended[1:])
        if self._is_heated and (ended := self._far.hear(value, mono_ms, self._since_ms)) is not None:
            self._held.take(_is_held(ended[0]), *ended[1:])
        return moved

    def too_still(self, mono_ms: int) -> tuple[int, int] | None:
        """(how long it has stood still, its longest before [ms]) where that is too long; else None."""
        still_ms, noise, held = mono_ms - self._since_ms, self._noise, self._held
        if self._value is None or self._n < STILL_READINGS or still_ms <= self._least_ms * self._patience:
            return None
        is_lively = noise.good >= STRETCHES and noise.good > noise.other and noise.learnt_ms >= LEARNT_MS
        if is_lively and still_ms > self._patience * max(self._least_ms, TIMES * noise.longest_ms):
            return still_ms, noise.longest_ms
        if held.good >= HELD_STRETCHES and still_ms > self._patience * max(HELD_LEAST_MS, TIMES * held.longest_ms):
            return still_ms, held.longest_ms
        return None

    def moved_ms(self, mono_ms: int) -> int | None:
        """When it last changed, or began to be read anew; None while it isn't read, or what it reads tells nothing."""
        return None if self._value is None or mono_ms - self._last_ms > self._gap_ms else self._since_ms

    @property
    def own_still_ms(self) -> int | None:
        """The longest still of a point that moves by itself [ms]; None of another, or while that isn't known."""
        noise = self._noise
        if noise.good < SOME_STRETCHES or noise.good <= noise.other or noise.learnt_ms < SOME_MS:
            return None
        return noise.odd_ms


class _Stretch:
    """Readings of a stretch under way, and the longest still that ended in it."""

    __slots__ = ("_n", "_lasts_ms", "_values", "_begun_ms", "_still_ms")

    def __init__(self, n: int, lasts_ms: int) -> None:
        self._n, self._lasts_ms = n, lasts_ms
        self._values: list[float] = []
        self._begun_ms = self._still_ms = 0

    def begin(self, mono_ms: int) -> None:
        self._values, self._begun_ms, self._still_ms = [], mono_ms, 0

    def moved(self, still_ms: int) -> None:
        self._still_ms = max(self._still_ms, still_ms)

    def hear(self, value: float, mono_ms: int, since_ms: int) -> tuple[list[float], int, int] | None:
        """(values, longest still, how long it lasted [ms]) where this reading ends it."""
        self._values.append(value)
        lasted_ms = mono_ms - self._begun_ms
        if lasted_ms < self._lasts_ms or len(self._values) < self._n:
            return None
        ended = self._values, max(self._still_ms, mono_ms - since_ms), lasted_ms
        self.begin(mono_ms)
        return ended


def _is_noise(values: list[float]) -> bool:
    """Blocks of three values and more, though the level hardly moves: a drift across a step shows two."""
    steps = [abs(b - a) for a, b in pairwise(values) if a != b]
    blocks = [values[at : at + BLOCK] for at in range(0, len(values), BLOCK)]
    lively = sum(len(set(block)) >= 3 for block in blocks)
    return lively >= LIVELY_SHARE * len(blocks) and _drift(values) < DRIFT_STEPS * median(steps)


def _is_held(values: list[float]) -> bool:
    return max(values) > min(values) and _drift(values) < HELD_K


def _drift(values: list[float]) -> float:
    half = len(values) // 2
    return abs(sum(values[:half]) / half - sum(values[-half:]) / half)
