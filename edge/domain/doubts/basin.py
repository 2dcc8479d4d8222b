"""A basin at rest comes to its room's temperature: a probe that reads far colder for hours is doubted.

Rinse water leaves the basin cold, and a basin left full of it needs hours to warm up (10 L that lose 3 W/K: a time constant of 3.9 h). A
puddle that evaporates keeps the basin below the room, by a part of the wet-bulb depression (8 K at 22 Cel and 40 % relative humidity,
psychrometric tables, from memory). So the basin has to be at rest for RESTS_MS, and colder than the room's coldest of the last hours by
COLDER_K and both probes' uncertainty: a room that warms up is ahead of what stands in it. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from edge.domain.doubts.table import GAP_MS

_MIN: Final = 60_000
#: The basin is at rest this long after water ran or the liquid was away [ms].
RESTS_MS: Final = 240 * _MIN
#: The basin is compared with the room's coldest reading of this time [ms].
ROOM_MS: Final = 120 * _MIN
#: No basin at rest is colder than its room by more than this [K].
COLDER_K: Final = 6.0
#: The probe is doubted when it has been so cold for this long [ms].
LASTS_MS: Final = 30 * _MIN
#: The doubt ends within COLDER_K less this hysteresis [K].
BAND_K: Final = 1.0
#: The doubt ends when the probe has been so for this long [ms].
AGAIN_MS: Final = 10 * _MIN
#: Readings are compared this often [ms].
CHECK_EVERY_MS: Final = _MIN


class Resting:
    """Compares one basin's probe with its room."""

    __slots__ = ("_rooms", "_since_ms", "_cold_ms", "_fine_ms", "look_ms")

    def __init__(self) -> None:
        self._rooms: deque[tuple[int, float]] = deque()  # (time [ms], room [Cel])
        self._since_ms = 0  # since when both probes have been read
        self.look_ms = 0  # time of the next comparison [ms]
        self._cold_ms: int | None = None
        self._fine_ms: int | None = None

    def hear(
        self, basin_c: float, room_c: float | None, u_k: float, disturbed_ms: int | None, mono_ms: int
    ) -> bool | None:
        """Take one good reading of the basin [Cel].

        Args:
            room_c: the room [Cel]; None: not known.
            u_k: expanded uncertainty of the difference of both [K].
            disturbed_ms: when water last ran, or the liquid was away.

        Returns:
            True: the probe has been colder than a basin can be; False: it has been as it should be; None: nothing can be said yet.
        """
        rooms = self._rooms
        if room_c is None or (rooms and mono_ms - rooms[-1][0] > GAP_MS):
            rooms.clear()
        if room_c is None:
            return None
        self._since_ms = self._since_ms if rooms else mono_ms
        self.look_ms = mono_ms + CHECK_EVERY_MS
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
