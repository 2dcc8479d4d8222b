"""Points that have all stood still since one time: it isn't the sensors that are frozen, but the device that reads them.

A gateway that hangs repeats its last answers with new time stamps. One point's still shows that late. Several points that move by
themselves (noise.py) show it soon if all have stopped at the same time, each for far longer than ever before. They have to be of two
kinds, since pressures may come to rest together when a building's pump stops. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import Final, NamedTuple

from edge.domain.doubts.noise import Stills
from edge.domain.settings import Point

#: At least this many points that move by themselves have stopped.
STOPPED_POINTS: Final = 3
#: They are of at least this many kinds.
STOPPED_KINDS: Final = 2
#: All have stood still for at least this long [ms].
LEAST_STOP_MS: Final = 12 * 60_000
#: Each has stood still for at least this many times its longest still.
STOP_TIMES: Final = 3
#: They stopped at one time if each last moved within its longest still, or this many intervals, before the last of all moved.
PERIODS: Final = 2
#: The groups are checked this often [ms].
CHECK_EVERY_MS: Final = 30_000


class Stopped(NamedTuple):
    """The points that have stopped together, and since when [ms]."""

    points: list[str]
    since_ms: int


class Together:
    """The points of each bus, and of the whole station, as groups. `stills`: of all points that aren't contacts."""

    def __init__(self, points: Sequence[Point], stills: Mapping[str, Stills]) -> None:
        sensed = [p for p in points if not p.by_people]
        self._points = {p.id: p for p in sensed}
        self._stills = stills
        buses = dict.fromkeys(p.bus for p in sensed)
        groups = [[p.id for p in sensed if p.bus == bus] for bus in buses]
        self._groups = [
            g for g in (*groups, *([list(self._points)] if len(groups) > 1 else [])) if len(g) >= STOPPED_POINTS
        ]
        self.look_ms = 0  # time of the next check [ms]

    def look(self, frozen: Container[str], mono_ms: int) -> Stopped | None:
        """The first group that has stopped; None where none has. `frozen`: points that are known to be frozen themselves."""
        self.look_ms = mono_ms + CHECK_EVERY_MS
        for group in self._groups:
            since_ms = self._since_ms([p for p in group if p not in frozen], mono_ms)
            if since_ms is not None:
                return Stopped(group, since_ms)
        return None

    def _since_ms(self, group: Sequence[str], mono_ms: int) -> int | None:
        """Since when all points of a group that are read have stood still [ms]; None if one moves, or it may be chance."""
        moved = {p: ms for p in group if p in self._stills and (ms := self._stills[p].moved_ms(mono_ms)) is not None}
        last_ms = max(moved.values(), default=mono_ms)
        if mono_ms - last_ms < LEAST_STOP_MS:
            return None
        lively = {p: longest for p in moved if (longest := self._stills[p].own_still_ms) is not None}
        if len(lively) < STOPPED_POINTS or len({self._points[p].kind for p in lively}) < STOPPED_KINDS:
            return None
        for point, longest_ms in lively.items():
            near_ms = max(longest_ms, PERIODS * self._points[point].every_ms)
            if mono_ms - moved[point] < STOP_TIMES * longest_ms or last_ms - moved[point] > near_ms:
                return None
        return last_ms
