"""A liquid that nothing heats cools: a probe that stays warm, or warms, while its heater's outlet has tripped doesn't show that liquid.

By lumped capacity a vessel falls by b (T - Troom), whatever else is true of it. What is believed of b here is the least of what the
station has shown of it and of what its volume makes believable (prior.py), and a fall of a third of that is fall enough: the top of a
liquid that lies in layers cools more slowly than the whole, a pump's own heat holds it up a little. Heat of the element and of a wall
comes through for a while after the trip, cold liquid below the probe for longer after it came; so nothing is said before. Nothing either
while the room is not read, or the liquid is near to it. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

from edge.domain.doubts.table import GAP_MS

_MIN: Final = 60_000
#: after the trip, and after anything sudden, it is left alone for so long
SETTLES_MS: Final = 15 * _MIN
DISTURBED_MS: Final = 45 * _MIN
#: means of so long are compared
MEAN_MS: Final = 2 * _MIN
#: of what is believed of its loss, so many standard deviations of the logarithm below the middle is the least believable (1 %)
LEAST_SIGMAS: Final = -2.33
#: a fall of this share of the least believable one is one; it is looked at once that is so many kelvins, noises and steps
SHARE: Final = 0.35
LEAST_K: Final = 0.3
NOISES: Final = 6.0
STEPS: Final = 1.6
#: it warms where it has risen by so much
WARMS_K: Final = 0.5
#: above its room by less it may rest
ABOVE_ROOM_K: Final = 8.0


class Seen(NamedTuple):
    """What a stretch came to. `what`: "cools", "stays" or "warms"; by how much it rose [K], and would have fallen at the least [K]."""

    what: str
    rose_k: float
    least_k: float
    lasted_ms: int


class Unheated:
    """One probe, by its levels, while nothing heats its liquid."""

    __slots__ = ("_lately", "_begun_ms", "_last_ms", "_from_c", "_least_k")

    def __init__(self) -> None:
        self._lately: deque[tuple[int, float]] = deque()
        self.forget()

    def forget(self) -> None:
        """It is heated, or that isn't known."""
        self._lately.clear()
        self._begun_ms = self._last_ms = 0
        self._from_c: float | None = None
        self._least_k = 0.0

    def hear(
        self, level_c: float, room_c: float | None, loses_per_s: float, noise_k: float, step_k: float, mono_ms: int
    ) -> Seen | None:
        """One level [Cel] while nothing heats it.

        Args:
            room_c: None where it isn't known.
            loses_per_s: the least believable b [1/s].

        Returns:
            What it shows, once it can be told; then the next stretch begins.
        """
        if room_c is None or level_c - room_c < ABOVE_ROOM_K or mono_ms - self._last_ms > GAP_MS:
            self.forget()
        passed_s, self._last_ms = (mono_ms - self._last_ms) / 1000.0, mono_ms
        if room_c is None or level_c - room_c < ABOVE_ROOM_K:
            return None
        lately = self._lately
        if not lately:
            self._begun_ms, passed_s = mono_ms, 0.0
        lately.append((mono_ms, level_c))
        while mono_ms - lately[0][0] > MEAN_MS:
            lately.popleft()
        if mono_ms - self._begun_ms < MEAN_MS:
            return None
        mean_c = sum(c for _, c in lately) / len(lately)
        if self._from_c is None:
            self._from_c = mean_c
            return None
        self._least_k += loses_per_s * (min(level_c, self._from_c) - room_c) * passed_s
        rose_k, sure_k = mean_c - self._from_c, max(NOISES * noise_k, STEPS * step_k)
        if rose_k >= max(WARMS_K, sure_k):
            return self._end("warms", mean_c, rose_k, mono_ms)
        if self._least_k < max(LEAST_K, sure_k):
            return None
        return self._end("stays" if -rose_k < SHARE * self._least_k else "cools", mean_c, rose_k, mono_ms)

    def _end(self, what: str, mean_c: float, rose_k: float, mono_ms: int) -> Seen:
        found = Seen(what, rose_k, self._least_k, mono_ms - self._begun_ms)
        self._from_c, self._least_k, self._begun_ms = mean_c, 0.0, mono_ms - MEAN_MS
        return found
