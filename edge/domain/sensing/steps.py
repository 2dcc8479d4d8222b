"""In what steps a thermometer reads: whether its resolution has fallen back, and what that adds to its uncertainty.

A digital thermometer that lost its settings (a power cut, a look-alike) may convert with 9 bits in place of 12: its readings then move by
half a degree, and each is off by up to that much. What tells its step itself (1-Wire) is believed. Else the differences of readings
tell: where as many in a row as chance doesn't make are all multiples of a step, and it mostly stood still between them (a steady
rise has like differences, too), it reads in that step. What the point's own step is says
`resolution` in the station file, else the finest that it was seen to read in. A step is a rectangle: step / sqrt(12) (JCGM 100:2008,
F.2.2.1). The numbers of differences are our own: by chance all of FEW are multiples of 4 steps once in 4^11 times, all of MANY of 2
steps once in 2^19.
"""

from __future__ import annotations

from collections import deque
from math import sqrt
from operator import itemgetter
from typing import Final

#: a step that is so many times the point's own has fallen back: told by the probe, by many differences, by few
TOLD, BY_MANY, BY_FEW = 1.9, 1.9, 3.5
FEW: Final = 12
MANY: Final = 20
#: a difference is a multiple of a step where it is off by no more than this share of it, nor by more than this [K]: as numbers are written
OFF: Final = 0.1
ROUNDED_K: Final = 0.011
_STOOD: Final = itemgetter(1)


class Steps:
    """One thermometer's steps [K]. `coarse`: the step that it has fallen back to; None while it reads as finely as it did."""

    __slots__ = ("coarse", "_own", "_told_own", "_finest", "_last", "_differences", "_stood")

    def __init__(self, resolution: float | None, of_class: float | None) -> None:
        """`resolution` by the station file, `of_class` by the class of its sensor: only what the probe tells is compared with that."""
        self.coarse: float | None = None
        self._own, self._told_own = resolution, resolution or of_class
        self._finest: float | None = None
        self._last: float | None = None
        self._differences: deque[tuple[float, bool]] = deque(maxlen=MANY)  # and whether the value before was read twice
        self._stood = False

    @property
    def own(self) -> float | None:
        """The point's own step, as far as anything tells it."""
        return self._own or self._finest or self._told_own

    def hear(self, value: float, told: float | None) -> bool:
        """One reading before calibration, and the step that the probe itself told. True where `coarse` has changed."""
        before = self.coarse
        if told is not None:
            own = self._told_own
            self.coarse = told if own is not None and told >= TOLD * own else None
        elif self._last is not None and value != self._last:
            self._differ(abs(value - self._last))
        self._stood, self._last = value == self._last, value
        return self.coarse != before

    def _differ(self, by: float) -> None:
        differences = self._differences
        differences.append((by, self._stood))
        if self.coarse is not None:
            if not _is_multiple(by, self.coarse):
                self.coarse = None
            return
        if len(differences) < FEW:
            return
        newest = list(differences)
        for number, times in ((FEW, BY_FEW), (MANY, BY_MANY)):
            lately = newest[-number:]
            if len(lately) < number or 2 * sum(map(_STOOD, lately)) < number:
                continue
            step = min(lately)[0]
            own = self._own or self._finest
            if self._finest is not None and step >= self._finest and own is not None and step < times * own:
                continue  # neither a finer step nor a coarse one
            if not all(_is_multiple(one, step) for one, _ in lately):
                continue
            if self._finest is None or step < self._finest:
                self._finest = step
            own = self._own or self._finest
            if step >= times * own:
                self.coarse = step
                return

    @property
    def u(self) -> float:
        """The standard uncertainty that the coarser step adds; 0 while there is none."""
        if self.coarse is None:
            return 0.0
        own = self.own or 0.0
        return sqrt(max(self.coarse**2 - own**2, 0.0) / 12.0)


def _is_multiple(difference: float, step: float) -> bool:
    off = abs(difference - step * round(difference / step))
    return off <= min(OFF * step, ROUNDED_K)
