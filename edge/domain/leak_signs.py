"""Signs of water that leaks: what passes the meter while nothing draws, the least flow of a day, and pressure that bleeds away.

Pure, fed by edge/domain/water.py. A stopped line holds its pressure for hours; one that leaks loses it along an exponential, as its
flow falls with the pressure. A building's supply that is drawn upon falls too, but comes back, and does not fall to half by itself;
one that fails falls just so, and is told in the same words. All numbers: common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

#: a pressure below this tells nothing by its fall
WORTH_KPA: Final = 70.0
#: gauge pressure has bled away once this share is left; half-way in time, an exponential has this share left, a step has not
LEFT: Final = 0.5
HALFWAY: Final = (0.55, 0.88)
#: noise and heat make a shut line's pressure rise by less than this
RISES_KPA: Final = 2.0
#: faster is no leak but a valve or a failed gauge; slower is heat and a gauge's drift
FASTEST_MS: Final = 180_000
SLOWEST_MS: Final = 12 * 3_600_000
_KEPT: Final = 256

#: the least flow of a day is looked for in windows of this length, wholly without a draw
NIGHT_MS: Final = 1_800_000
NIGHTS_MS: Final = 24 * 3_600_000


class Bled(NamedTuple):
    """Pressure that fell while nothing drew: from, to [kPa], within how long."""

    from_kpa: float
    to_kpa: float
    within_ms: int


class Decay:
    """Looks for an unbroken fall of the static pressure to half."""

    __slots__ = ("_fall", "bled")

    def __init__(self) -> None:
        self._fall: list[tuple[int, float]] = []
        self.bled: Bled | None = None

    def forget(self) -> None:
        """Water is drawn."""
        self._fall.clear()
        self.bled = None

    def hear(self, kpa: float, mono_ms: int) -> None:
        """The mean static pressure of one quiet spell."""
        fall = self._fall
        if fall and (kpa > min(p for _, p in fall[-3:]) + RISES_KPA or mono_ms - fall[-1][0] > SLOWEST_MS // 24):
            self.forget()
        fall.append((mono_ms, kpa))
        while len(fall) > 1 and fall[0][1] <= fall[1][1] + RISES_KPA / 4 and self.bled is None:
            del fall[0]  # the fall has not begun yet
        if len(fall) > _KEPT:
            del fall[1:-1:2]
        (began_ms, high), lasted_ms = fall[0], mono_ms - fall[0][0]
        if self.bled is not None:
            self.bled = Bled(high, kpa, lasted_ms)
        elif high >= WORTH_KPA and kpa <= LEFT * high and FASTEST_MS <= lasted_ms <= SLOWEST_MS:
            halfway = next(p for at, p in fall if at - began_ms >= lasted_ms / 2)
            if HALFWAY[0] <= halfway / high <= HALFWAY[1]:
                self.bled = Bled(high, kpa, lasted_ms)


class NightFlow:
    """The least mean flow of the half hours without a draw, within the last day: zero where nothing leaks."""

    __slots__ = ("_bin", "_covered_ms", "_litres", "_quiet", "_done")

    def __init__(self) -> None:
        self._bin, self._covered_ms, self._litres, self._quiet = -1, 0, 0.0, True
        self._done: deque[tuple[int, float]] = deque()  # (end of the half hour, L/min), flows rising

    def draw(self, mono_ms: int) -> None:
        """A draw began: its half hour is not quiet."""
        self._quiet = False

    def add(self, litres: float, from_ms: int, mono_ms: int) -> None:
        """What passed between two readings without a draw."""
        at = mono_ms // NIGHT_MS
        if at != self._bin:
            self._end(mono_ms)
            self._bin, self._covered_ms, self._litres, self._quiet = at, 0, 0.0, True
        self._covered_ms += mono_ms - from_ms
        self._litres += litres

    def _end(self, mono_ms: int) -> None:
        done = self._done
        while done and mono_ms - done[0][0] > NIGHTS_MS:
            done.popleft()
        if not self._quiet or self._covered_ms < 0.9 * NIGHT_MS:
            return
        flow = self._litres * 60_000.0 / self._covered_ms
        while done and done[-1][1] >= flow:
            done.pop()
        done.append((mono_ms, flow))

    @property
    def least_l_min(self) -> float | None:
        """The least flow of the last day; None where there was no quiet half hour."""
        return self._done[0][1] if self._done else None


class LeakWindow:
    """Volume that passed while nothing drew, within the last `within_ms`. Noise around zero cancels: volumes are signed."""

    __slots__ = ("within_ms", "_parts", "_sum")

    def __init__(self, within_ms: int) -> None:
        self.within_ms = within_ms
        self._parts: deque[tuple[int, float]] = deque()  # (start of a slice, litres); a slice is a 60th of the window
        self._sum = 0.0

    def add(self, litres: float, mono_ms: int) -> None:
        """Some more, at this time."""
        slice_ms = max(self.within_ms // 60, 1)
        at = mono_ms - mono_ms % slice_ms
        if self._parts and self._parts[-1][0] == at:
            self._parts[-1] = (at, self._parts[-1][1] + litres)
        else:
            self._parts.append((at, litres))
        self._sum += litres
        while self._parts and mono_ms - self._parts[0][0] > self.within_ms:
            self._sum -= self._parts.popleft()[1]

    def forget_last(self) -> None:
        """A draw began: the rise of its flow, just before, was no leak."""
        if self._parts:
            self._sum -= self._parts.pop()[1]

    @property
    def litres(self) -> float:
        """Litres within the window, never below zero."""
        return max(self._sum, 0.0)
