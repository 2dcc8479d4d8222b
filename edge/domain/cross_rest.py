"""What the pressures at rest say of what the last draw showed, and of one another."""

from __future__ import annotations

from typing import Final, NamedTuple

from edge.domain.cross_table import LOW_KPA, SUNK_FROM_MS, SUNK_KPA
from edge.domain.supply import drawn_from_kpa

#: the first pressure at rest after a draw is that of the draw's end, if it is settled so soon
JUST_AFTER_MS: Final = 60_000


class Seen(NamedTuple):
    """Pressures of the supply [kPa]: at rest now, and before the last draw; what drawing would leave now."""

    rest_kpa: float
    was_kpa: float
    left_kpa: float


class Sunk:
    """Has the static pressure sunk since the last draw to where drawing would fall below the least pressure?

    The draw's own pressure goes with what was at rest about it. A pressure tank gives less at a draw's end than at its beginning: the
    lower of what stood before it and just after it counts.
    """

    __slots__ = ("_ended_ms", "_after_kpa", "_since_ms", "_fine_ms")

    def __init__(self) -> None:
        self._ended_ms: int | None = None
        self._after_kpa: float | None = None
        self._since_ms: int | None = None  # since when it has been too low, and high enough
        self._fine_ms: int | None = None

    def drawn(self, mono_ms: int) -> None:
        """A steady draw has ended."""
        self._ended_ms, self._after_kpa = mono_ms, None
        self.broken_off()

    def broken_off(self) -> None:
        """Something else has begun: it has to last anew."""
        self._since_ms = self._fine_ms = None

    def see(
        self, rest_kpa: float, about: tuple[float, float], least_kpa: float, mono_ms: int
    ) -> tuple[bool | None, Seen]:
        """One mean of a quiet spell.

        Args:
            about: static and dynamic pressure [kPa] of the last steady draw.
            least_kpa: the least dynamic pressure, guarded.

        Returns:
            True once it has been too low for long enough, False once it has been high enough for as long, else None; what was seen.
        """
        if self._ended_ms is not None and self._after_kpa is None:
            self._after_kpa = rest_kpa if mono_ms - self._ended_ms <= JUST_AFTER_MS else about[0]
        was_kpa = about[0] if self._after_kpa is None else min(about[0], self._after_kpa)
        seen = Seen(rest_kpa, was_kpa, drawn_from_kpa(rest_kpa, max(was_kpa, about[1]), about[1]))
        if seen.left_kpa < least_kpa - LOW_KPA and rest_kpa < was_kpa - SUNK_KPA:
            self._fine_ms = None
            self._since_ms = mono_ms if self._since_ms is None else self._since_ms
            return (True if mono_ms - self._since_ms >= SUNK_FROM_MS else None), seen
        self._since_ms = None
        if seen.left_kpa >= least_kpa or rest_kpa >= was_kpa - SUNK_KPA / 2.0:
            self._fine_ms = mono_ms if self._fine_ms is None else self._fine_ms
            return (False if mono_ms - self._fine_ms >= SUNK_FROM_MS else None), seen
        self._fine_ms = None
        return None, seen
