"""Cross checks of the static pressures: against the last draw, and of the taps against one another."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from edge.domain.doubts.table import SUNK_FROM_MS, SUNK_KPA
from edge.domain.water.draws import LOW_KPA
from edge.domain.water.supply import drawn_from_kpa

#: Static pressures are averaged with this time constant before they are compared [ms].
AVERAGE_MS: Final = 30_000.0
#: The first static pressure after a draw is that of the draw's end if it comes within this time [ms].
JUST_AFTER_MS: Final = 60_000


class Levels:
    """The mean static pressures of the taps.

    Args:
        gap_ms: after a longer gap in the readings the means begin again.
    """

    __slots__ = ("_gap_ms", "_kpa", "_last_ms")

    def __init__(self, gap_ms: int) -> None:
        self._gap_ms, self._last_ms = gap_ms, 0
        self._kpa: dict[str, float] = {}

    def forget(self) -> None:
        """Forget the means: water has been drawn."""
        self._kpa = {}

    def hear(self, taps: Mapping[str, float], mono_ms: int) -> Mapping[str, float]:
        """Take one static pressure of each tap [kPa]; their means [kPa]."""
        before_ms, self._last_ms = self._last_ms, mono_ms
        if mono_ms - before_ms > self._gap_ms or self._kpa.keys() != taps.keys():
            self._kpa = dict(taps)
            return self._kpa
        share = (mono_ms - before_ms) / (mono_ms - before_ms + AVERAGE_MS)
        for tap, kpa in taps.items():
            self._kpa[tap] += (kpa - self._kpa[tap]) * share
        return self._kpa


def odd(
    levels: Mapping[str, float], apart_kpa: float, agree_kpa: float, ends_kpa: float | None = None, *, held: bool = True
) -> str | None:
    """Of three taps at rest in the order of flow, the one that differs from two others that agree; None where none does.

    Args:
        levels: static pressures [kPa] by tap.
        apart_kpa: the tap differs from both others by more than this.
        agree_kpa: the two others differ by at most this.
        ends_kpa: the same for two others beside the first or the last tap, which may differ because water flows past a torn filter.
        held: a check valve may hold pressure behind the supply: a supply below both others, or a last tap above both, doesn't count.

    >>> odd({"supply": 400.0, "between": 380.0, "filtered": 379.0}, 7.0, 3.0)
    'supply'
    >>> odd({"supply": 360.0, "between": 380.0, "filtered": 379.0}, 7.0, 3.0)
    """
    if len(levels) != 3:
        return None
    a, b, c = levels.values()
    for at, tap, here, one, other in zip((0, 1, 2), levels, (a, b, c), (b, a, a), (c, c, b), strict=True):
        first_kpa, second_kpa = abs(here - one), abs(here - other)
        if first_kpa <= apart_kpa or second_kpa <= apart_kpa:
            continue
        if abs(one - other) > (agree_kpa if at == 1 or ends_kpa is None else ends_kpa):
            continue
        is_held = (at == 0 and here < one) or (at == 2 and here > one)
        return None if held and is_held else tap
    return None


class Seen(NamedTuple):
    """Pressures of the supply [kPa]: static now, static about the last draw, and the dynamic one that a draw would show now."""

    rest_kpa: float
    was_kpa: float
    left_kpa: float


class Sunk:
    """Detects that the static pressure has sunk since the last draw, so far that a draw would fall below the least pressure.

    The draw's dynamic pressure goes with the static pressure about it. A pressure tank gives less at the end of a draw than at its
    beginning: the lower of the static pressures before and just after the draw counts.
    """

    __slots__ = ("_ended_ms", "_after_kpa", "_since_ms", "_fine_ms")

    def __init__(self) -> None:
        self._ended_ms: int | None = None
        self._after_kpa: float | None = None
        self._since_ms: int | None = None  # since when the pressure has been too low
        self._fine_ms: int | None = None  # since when it has been high enough

    def drawn(self, mono_ms: int) -> None:
        """Take that a steady draw has ended."""
        self._ended_ms, self._after_kpa = mono_ms, None
        self.broken_off()

    def broken_off(self) -> None:
        """Begin the times again: something else has happened."""
        self._since_ms = self._fine_ms = None

    def see(
        self, rest_kpa: float, about: tuple[float, float], least_kpa: float, mono_ms: int
    ) -> tuple[bool | None, Seen]:
        """Take the mean static pressure of a quiet spell [kPa].

        Args:
            about: static and dynamic pressure of the last steady draw [kPa].
            least_kpa: the least dynamic pressure with its guard band.

        Returns:
            (True once the pressure has been too low for SUNK_FROM_MS, False once high enough for as long, else None; the pressures).
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
