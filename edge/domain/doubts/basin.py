"""A basin at rest comes to its room's temperature: one that reads far colder for hours isn't what its probe shows.

Rinse water leaves it cold, and a basin that was left full of it needs hours (10 L that lose 3 W/K: a time constant of 3.9 h). A puddle that
evaporates keeps it below the room, by a part of what a wet thermometer shows less (8 K at 22 Cel and 40 % of moisture, by psychrometric
tables, from memory). So it has to be at rest for RESTS_MS, and colder by COLDER_K and both probes' uncertainty than the room was at any
time of the last hours: a room that warms up is ahead of what stands in it. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from edge.domain.doubts.table import GAP_MS

_MIN: Final = 60_000
#: it is at rest so long after water ran, or the liquid was away
RESTS_MS: Final = 240 * _MIN
#: compared with the room's coldest of so long
ROOM_MS: Final = 120 * _MIN
#: colder by so much [K], for so long, isn't so; within it by the band, for so long, is
COLDER_K: Final = 6.0
LASTS_MS: Final = 30 * _MIN
BAND_K: Final = 1.0
AGAIN_MS: Final = 10 * _MIN
LOOK_MS: Final = _MIN


class Resting:
    """One basin's probe."""

    __slots__ = ("_rooms", "_since_ms", "_cold_ms", "_fine_ms", "look_ms")

    def __init__(self) -> None:
        self._rooms: deque[tuple[int, float]] = deque()  # when, and how cold the room was
        self._since_ms = 0  # since when both have been read
        self.look_ms = 0  # nothing is made of a reading before
        self._cold_ms: int | None = None
        self._fine_ms: int | None = None

    def hear(
        self, basin_c: float, room_c: float | None, u_k: float, disturbed_ms: int | None, mono_ms: int
    ) -> bool | None:
        """One good reading [Cel]. True: it has been colder than a basin can be for long; False: it is as it should be; None: no word.

        Args:
            room_c: None where it isn't known.
            u_k: expanded uncertainty of their difference.
            disturbed_ms: when last water ran, or the liquid was away.
        """
        rooms = self._rooms
        if room_c is None or (rooms and mono_ms - rooms[-1][0] > GAP_MS):
            rooms.clear()
        if room_c is None:
            return None
        self._since_ms = self._since_ms if rooms else mono_ms
        self.look_ms = mono_ms + LOOK_MS
        rooms.append((mono_ms, room_c))
        while mono_ms - rooms[0][0] > ROOM_MS:
            rooms.popleft()
        if mono_ms - max(self._since_ms, disturbed_ms or 0) < RESTS_MS:
            self._cold_ms = self._fine_ms = None
            return None
        colder_k = min(c for _, c in rooms) - basin_c - u_k
        self._cold_ms = (self._cold_ms or mono_ms) if colder_k > COLDER_K else None
        self._fine_ms = (self._fine_ms or mono_ms) if colder_k < COLDER_K - BAND_K else None
        if self._cold_ms is not None and mono_ms - self._cold_ms >= LASTS_MS:
            return True
        return False if self._fine_ms is not None and mono_ms - self._fine_ms >= AGAIN_MS else None
