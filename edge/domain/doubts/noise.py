"""Frozen points: how long has a point ever stood still to the last digit (a "still")? A far longer still means that it is frozen.

A sensor's last digit moves by its noise or by its surroundings, and only noise never rests. A probe of little noise toggles between two
values near a quantisation step, and rests between steps for hours, rightly. So noise is learned from stretches of a few minutes without
drift in which ten readings in a row show three or more values, again and again. If most stretches are so, the point moves by itself. Then
a quarter of an hour without a change does not come by chance, nor six times its longest still. A heated liquid never rests either, as its
thermostat works. So for a liquid held at its temperature stills are learned as well, over three hours, whatever moves it. After a wrong
doubt the next one takes twice as long. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from edge.domain.maths.robust import median
from edge.domain.readings import Kind

_MIN: Final = 60_000
#: A stretch has at least this many readings; one of a held liquid has at least half as many.
STRETCH_READINGS: Final = 60
#: A stretch lasts at least this long [ms].
STRETCH_MS: Final = 2 * _MIN
#: A stretch of a held liquid lasts at least this long [ms].
HELD_MS: Final = 10 * _MIN
#: A point moves by itself if this many of its stretches are good, and more than the others.
STRETCHES: Final = 12
#: Good stretches have to add up to this time [ms].
LEARNT_MS: Final = 30 * _MIN
#: The motion of a held liquid is known after this many good stretches.
HELD_STRETCHES: Final = 18
#: With the evidence of other points, this many good stretches are enough for a point that moves by itself.
SOME_STRETCHES: Final = 4
#: Good stretches have to add up to this time with the evidence of other points [ms].
SOME_MS: Final = 10 * _MIN
#: A stretch is divided into blocks of this many readings.
BLOCK: Final = 10
#: In a good stretch this share of the blocks has three or more different values.
LIVELY_SHARE: Final = 0.33
#: The halves of a good stretch differ by less than this many of its usual steps.
DRIFT_STEPS: Final = 2.0
#: A still has at least this many readings.
LEAST_STILL_READINGS: Final = 150
#: The halves of a held liquid's good stretch differ by less than this [K].
HELD_K: Final = 0.5
#: A still is too long beyond this many times the longest learned one.
STILL_TIMES: Final = 6
#: Each wrong doubt doubles the time until the next one, up to this factor.
PATIENCE_AT_MOST: Final = 8
#: No shorter still is too long [ms].
LEAST_STILL_MS: Final[Mapping[Kind, int]] = MappingProxyType(
    {Kind.PRESSURE: 15 * _MIN, Kind.FLOW: 15 * _MIN, Kind.TEMPERATURE: 30 * _MIN, Kind.CONDUCTIVITY: 60 * _MIN}
)
#: No shorter still of a held liquid is too long [ms].
HELD_LEAST_STILL_MS: Final = 60 * _MIN


class _Learnt:
    """Counts of good and other stretches, and the longest still of good ones.

    `odd_ms` is the longest still and `longest_ms` the second longest: the longest may have had another cause. A stretch counts only once
    the point has moved after it.
    """

    __slots__ = ("good", "other", "learnt_ms", "longest_ms", "odd_ms", "_waiting")

    def __init__(self) -> None:
        self.good = self.other = self.learnt_ms = self.longest_ms = self.odd_ms = 0
        self._waiting: list[tuple[bool, int, int]] = []

    def take(self, is_good: bool, still_ms: int, lasted_ms: int) -> None:
        """Add a stretch that has ended; it waits until the point moves."""
        self._waiting.append((is_good, still_ms, lasted_ms))

    def settle(self, is_doubted: bool) -> None:
        """Count the waiting stretches, as the point has moved; drop them if it was doubted meanwhile."""
        if not self._waiting:
            return
        for is_good, still_ms, lasted_ms in () if is_doubted else self._waiting:
            self.other += not is_good
            if is_good:
                self.good += 1
                self.learnt_ms += lasted_ms
                self.longest_ms = max(self.longest_ms, min(self.odd_ms, still_ms))
                self.odd_ms = max(self.odd_ms, still_ms)
        self._waiting.clear()


class Stills:
    """The stills of one point.

    Args:
        gap_ms: a longer time between two readings belongs to no still.
        is_heated: the point measures a liquid that a thermostat holds.
    """

    __slots__ = (
        "_least_ms", "_gap_ms", "_patience", "_value", "_since_ms", "_last_ms", "_noise", "_near", "_held", "_far", "_is_heated", "_n",
        "_is_disowned", "_learns",
    )  # fmt: skip

    def __init__(self, kind: Kind, gap_ms: int, is_heated: bool = False) -> None:
        self._least_ms, self._gap_ms, self._patience, self._is_heated = LEAST_STILL_MS[kind], gap_ms, 1, is_heated
        self._value: float | None = None
        self._since_ms = self._last_ms = self._n = 0
        self._is_disowned = False
        self._noise, self._held = _Learnt(), _Learnt()
        self._near, self._far = _Stretch(STRETCH_READINGS, STRETCH_MS), _Stretch(STRETCH_READINGS // 2, HELD_MS)
        both = (self._noise, self._near), (self._held, self._far)
        self._learns = both if is_heated else both[:1]  # a held stretch tells of a heated liquid alone

    def rest(self) -> None:
        """Leave out the present readings: a meter without flow shows nothing of its noise."""
        self._value = None

    def unheld(self, mono_ms: int) -> None:
        """Begin the held stretch again: a cycle has taken the liquid, or it is heated again after one."""
        self._far.begin(mono_ms)

    def disown(self) -> None:
        """Learn nothing from the still under way: it is not the point's own."""
        self._is_disowned = True

    def moves(self, value: float, mono_ms: int, is_doubted: bool) -> bool:
        """Take a reading; has it changed since the one before? Nothing is learned from a still that was doubted."""
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
            for learnt, stretch in self._learns:
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
        """(length of the still under way, longest one before [ms]) if it is too long; else None."""
        still_ms, noise, held = mono_ms - self._since_ms, self._noise, self._held
        if self._value is None or self._n < LEAST_STILL_READINGS or still_ms <= self._least_ms * self._patience:
            return None
        is_lively = noise.good >= STRETCHES and noise.good > noise.other and noise.learnt_ms >= LEARNT_MS
        if is_lively and still_ms > self._patience * max(self._least_ms, STILL_TIMES * noise.longest_ms):
            return still_ms, noise.longest_ms
        if held.good >= HELD_STRETCHES and still_ms > self._patience * max(
            HELD_LEAST_STILL_MS, STILL_TIMES * held.longest_ms
        ):
            return still_ms, held.longest_ms
        return None

    def moved_ms(self, mono_ms: int) -> int | None:
        """When the reading last changed, or the point began to be read again [ms]; None while it isn't read or rest() holds."""
        return None if self._value is None or mono_ms - self._last_ms > self._gap_ms else self._since_ms

    @property
    def own_still_ms(self) -> int | None:
        """The longest still [ms] of a point that moves by itself; None of any other point, or while that isn't known."""
        noise = self._noise
        if noise.good < SOME_STRETCHES or noise.good <= noise.other or noise.learnt_ms < SOME_MS:
            return None
        return noise.odd_ms


class _Stretch:
    """The readings of the stretch under way, and the longest still that ended in it."""

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
        """(values, longest still [ms], length [ms]) of the stretch if this reading ends it; else None."""
        self._values.append(value)
        lasted_ms = mono_ms - self._begun_ms
        if lasted_ms < self._lasts_ms or len(self._values) < self._n:
            return None
        ended = self._values, max(self._still_ms, mono_ms - since_ms), lasted_ms
        self.begin(mono_ms)
        return ended


def _is_noise(values: list[float]) -> bool:
    """Do the blocks show three or more values without a drift? A drift across a quantisation step shows two."""
    steps = [abs(b - a) for a, b in pairwise(values) if a != b]
    blocks = [values[at : at + BLOCK] for at in range(0, len(values), BLOCK)]
    lively = sum(len(set(block)) >= 3 for block in blocks)
    return lively >= LIVELY_SHARE * len(blocks) and _drift(values) < DRIFT_STEPS * median(steps)


def _is_held(values: list[float]) -> bool:
    return max(values) > min(values) and _drift(values) < HELD_K


def _drift(values: list[float]) -> float:
    half = len(values) // 2
    return abs(sum(values[:half]) / half - sum(values[-half:]) / half)
