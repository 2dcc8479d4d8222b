"""The clock map: which wall time a reading has, by its boot and monotonic time. Nothing stored is ever re-dated.

A stretch begins where an offset (wall - mono) was noted and ends where the next one begins. An untrusted stretch takes
the next trusted offset of its boot, because monotonic time runs on through it; until there is one, it keeps what the clock
said, and is not trusted.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

#: the end of what has no end yet
FOREVER_MS: Final = 2**62


class Note(NamedTuple):
    """One row of the clock map."""

    from_mono_ms: int
    offset_ms: int
    trusted: bool


class Stretch(NamedTuple):
    """A span of monotonic time with one offset. `trusted`: the offset is, be it by a later note."""

    from_mono_ms: int
    to_mono_ms: int
    offset_ms: int
    trusted: bool

    def wall_ms(self, mono_ms: int) -> int:
        return mono_ms + self.offset_ms


class BootClock:
    """The clock map of one boot.

    >>> clock = BootClock([Note(0, 1_000, False), Note(60_000, 500_000, True)])
    >>> clock.wall_ms(10_000)
    (510000, True)
    """

    def __init__(self, notes: Iterable[Note]) -> None:
        self._stretches = _stretches(sorted(notes))
        self._begins = [stretch.from_mono_ms for stretch in self._stretches]

    def at(self, mono_ms: int) -> Stretch | None:
        """The stretch of an instant; the first one reaches back to the beginning of the boot. None: nothing was noted."""
        if not self._stretches:
            return None
        return self._stretches[max(0, bisect_right(self._begins, mono_ms) - 1)]

    def wall_ms(self, mono_ms: int) -> tuple[int, bool] | None:
        """(wall time, trusted), or None where this boot noted no clock."""
        stretch = self.at(mono_ms)
        return (stretch.wall_ms(mono_ms), stretch.trusted) if stretch else None

    def within(self, from_mono_ms: int, to_mono_ms: int) -> Iterator[Stretch]:
        """The stretches of [from, to), cut to it."""
        for stretch in self._stretches:
            begin, end = max(from_mono_ms, stretch.from_mono_ms), min(to_mono_ms, stretch.to_mono_ms)
            if begin < end:
                yield stretch._replace(from_mono_ms=begin, to_mono_ms=end)

    def spans(self, from_wall_ms: int, to_wall_ms: int) -> list[tuple[int, int]]:
        """The spans of monotonic time whose wall time lies in [from, to)."""
        spans = []
        for stretch in self._stretches:
            begin = max(stretch.from_mono_ms, from_wall_ms - stretch.offset_ms)
            end = min(stretch.to_mono_ms, to_wall_ms - stretch.offset_ms)
            if begin < end:
                spans.append((begin, end))
        return spans


def _stretches(notes: list[Note]) -> list[Stretch]:
    stretches: list[Stretch] = []
    to_ms, trusted_offset = FOREVER_MS, None
    for index, note in reversed(list(enumerate(notes))):
        trusted_offset = note.offset_ms if note.trusted else trusted_offset
        offset = note.offset_ms if trusted_offset is None else trusted_offset
        begin = note.from_mono_ms if index else -FOREVER_MS
        if begin < to_ms:
            stretches.append(Stretch(begin, to_ms, offset, trusted_offset is not None))
        to_ms = begin
    return stretches[::-1]
