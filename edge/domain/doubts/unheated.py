"""A liquid that nothing heats cools: a probe that stays warm, or warms, while its heater's outlet has tripped is doubted.

As a lumped capacity the vessel falls by b (T - Troom). The least plausible b follows from what the station has shown of it, within what its
volume makes plausible (prior.py). A third of that fall is enough: the top of a stratified liquid cools more slowly than the whole, and a
pump heats it a little. Heat of element and wall comes through for a while after the trip, and cold liquid below the probe for longer, so
nothing is judged until then; nor while the room is not read, or the liquid is near to its room. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

from edge.domain.doubts.table import GAP_MS

_MIN: Final = 60_000
#: After the trip of the outlet nothing is judged for this long [ms].
SETTLES_MS: Final = 15 * _MIN
#: After any sudden change nothing is judged for this long [ms].
DISTURBED_MS: Final = 45 * _MIN
#: Means over this time are compared [ms].
MEAN_MS: Final = 2 * _MIN
#: The least plausible loss is this many standard deviations of the logarithm from the median: the 1 % point.
LEAST_SIGMAS: Final = -2.33
#: The liquid cools if it falls by this share of the least plausible fall.
FALL_SHARE: Final = 0.35
#: The fall is judged once the least plausible one is this [K].
LEAST_K: Final = 0.3
#: A change counts beyond this many standard deviations of a level.
CHANGE_NOISES: Final = 6.0
#: A change counts beyond this many quantisation steps.
CHANGE_STEPS: Final = 1.6
#: The liquid warms if it has risen by this [K].
WARMS_K: Final = 0.5
#: A liquid less far above its room may rest [K].
ABOVE_ROOM_K: Final = 8.0


class UnheatedStretch(NamedTuple):
    """The result of a stretch: "cools", "stays" or "warms"; its rise [K], its least plausible fall [K], and its length [ms]."""

    what: str
    rose_k: float
    least_k: float
    lasted_ms: int


class Unheated:
    """The levels of one probe while nothing heats its liquid."""

    __slots__ = ("_lately", "_begun_ms", "_last_ms", "_from_c", "_least_k")

    def __init__(self) -> None:
        self._lately: deque[tuple[int, float]] = deque()
        self.forget()

    def forget(self) -> None:
        """Forget the stretch: the liquid is heated, or that isn't known."""
        self._lately.clear()
        self._begun_ms = self._last_ms = 0
        self._from_c: float | None = None
        self._least_k = 0.0

    def hear(
        self, level_c: float, room_c: float | None, loses_per_s: float, noise_k: float, step_k: float, mono_ms: int
    ) -> UnheatedStretch | None:
        """Take one level [Cel] while nothing heats the liquid.

        Args:
            room_c: the room [Cel]; None: not known.
            loses_per_s: the least plausible b [1/s].
            noise_k: standard deviation of a level [K].
            step_k: the probe's quantisation step [K].

        Returns:
            The result of the stretch once it can be told, and the next stretch begins; else None.
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
        rose_k, sure_k = mean_c - self._from_c, max(CHANGE_NOISES * noise_k, CHANGE_STEPS * step_k)
        if rose_k >= max(WARMS_K, sure_k):
            return self._end("warms", mean_c, rose_k, mono_ms)
        if self._least_k < max(LEAST_K, sure_k):
            return None
        return self._end("stays" if -rose_k < FALL_SHARE * self._least_k else "cools", mean_c, rose_k, mono_ms)

    def _end(self, what: str, mean_c: float, rose_k: float, mono_ms: int) -> UnheatedStretch:
        found = UnheatedStretch(what, rose_k, self._least_k, mono_ms - self._begun_ms)
        self._from_c, self._least_k, self._begun_ms = mean_c, 0.0, mono_ms - MEAN_MS
        return found
