"""Points that all stand still at once: not they are frozen, but what reads them.

A gateway that hangs repeats its last answers, while their stamps go on. One point's still tells that late; several that move by themselves
(noise.py) and have all stopped at the same time tell it soon, where each has been still for longer than it ever was, by far. They
have to be of two kinds: pressures may come to rest together, when a building's pump stops. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import Final, NamedTuple

from edge.domain.doubts.noise import Stills
from edge.domain.settings import Point

#: so many points that move by themselves, of so many kinds
POINTS: Final = 3
KINDS: Final = 2
#: still for so long, and so many times the longest still of each
LEAST_MS: Final = 12 * 60_000
TIMES: Final = 3
#: the last move of each came no earlier than its longest still, or so many periods, before that of the last one
PERIODS: Final = 2
#: it is looked at so often
LOOK_MS: Final = 30_000


class Stopped(NamedTuple):
    """What stands still together, and since when [ms]."""

    points: list[str]
    since_ms: int


class Together:
    """The points of each bus, and of the whole station. `stills`: of those that aren't contacts."""

    def __init__(self, points: Sequence[Point], stills: Mapping[str, Stills]) -> None:
        sensed = [p for p in points if not p.by_people]
        self._points = {p.id: p for p in sensed}
        self._stills = stills
        buses = dict.fromkeys(p.bus for p in sensed)
        groups = [[p.id for p in sensed if p.bus == bus] for bus in buses]
        self._groups = [g for g in (*groups, *([list(self._points)] if len(groups) > 1 else [])) if len(g) >= POINTS]
        self.look_ms = 0  # it need not be looked before

    def look(self, frozen: Container[str], mono_ms: int) -> Stopped | None:
        """The first group that has stopped. `frozen`: points that are known to stand still by themselves."""
        self.look_ms = mono_ms + LOOK_MS
        for group in self._groups:
            since_ms = self._since_ms([p for p in group if p not in frozen], mono_ms)
            if since_ms is not None:
                return Stopped(group, since_ms)
        return None

    def _since_ms(self, group: Sequence[str], mono_ms: int) -> int | None:
        """Since when all of a group that are read have stood still; None where one moves, or it may be chance."""
        moved = {p: ms for p in group if p in self._stills and (ms := self._stills[p].moved_ms(mono_ms)) is not None}
        last_ms = max(moved.values(), default=mono_ms)
        if mono_ms - last_ms < LEAST_MS:
            return None
        lively = {p: longest for p in moved if (longest := self._stills[p].own_still_ms) is not None}
        if len(lively) < POINTS or len({self._points[p].kind for p in lively}) < KINDS:
            return None
        for point, longest_ms in lively.items():
            near_ms = max(longest_ms, PERIODS * self._points[point].every_ms)
            if mono_ms - moved[point] < TIMES * longest_ms or last_ms - moved[point] > near_ms:
                return None
        return last_ms
