"""A maximum that holds: beyond it at once, below it again only for good, so that a verdict does not come and go at it."""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.states import AT_LIMIT

#: it counts as within again once it has been below by the band for this long, or merely within for the longer time (our own numbers)
BAND_K: Final = 0.2
BELOW_MS: Final = 120_000
WITHIN_MS: Final = 600_000


class Ceiling:
    """Whether a value counts as beyond its maximum. At the maximum it is within."""

    __slots__ = ("over", "_within_ms", "_below_ms")

    def __init__(self) -> None:
        self.over = False
        self._within_ms: int | None = None  # since when it has been within, and below by the band
        self._below_ms: int | None = None

    def see(self, value: float, most: float | None, mono_ms: int) -> bool:
        """One value at its time."""
        if most is None or value > most + AT_LIMIT:
            self.over, self._within_ms, self._below_ms = most is not None, None, None
            return self.over
        self._within_ms = mono_ms if self._within_ms is None else self._within_ms
        if value > most - BAND_K:
            self._below_ms = None
        elif self._below_ms is None:
            self._below_ms = mono_ms
        below = self._below_ms is not None and mono_ms - self._below_ms >= BELOW_MS
        if below or mono_ms - self._within_ms >= WITHIN_MS:
            self.over = False
        return self.over
