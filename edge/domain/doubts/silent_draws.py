"""Draws that the flow meter doesn't show, seen as falls of the supply's static pressure that come back after a while."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from edge.domain.doubts.table import ALONG_KPA, NEW_LEVEL_MS, REST_MS
from edge.domain.entries import Now, Stamp
from edge.domain.water.draw_history import DrawHistory

#: A draw takes more than this from the supply's static pressure: a few psi [kPa].
FALL_KPA: Final = 20.0
#: A shorter fall may be a neighbour's tap [ms].
FALL_FROM_MS: Final = 30_000


#: The meter is doubted after this many falls without a draw between them, within FALLS_WITHIN_MS.
FALLS: Final = 3
#: Each wrong doubt of the meter (the falls were a neighbour's) doubles FALLS, up to this.
FALLS_AT_MOST: Final = 24
#: Older falls don't count [ms].
FALLS_WITHIN_MS: Final = 12 * 3_600_000


class Fall(NamedTuple):
    """A fall of the static pressure that has ended, as a draw makes it: how long it lasted [ms], by how much it fell at the most [kPa]."""

    lasted_ms: int
    kpa: float


class FallCount:
    """Counts the falls that no draw of the meter has come after, across restarts.

    Args:
        draws: the draws that the meter showed: how old a stamp is, the stamp of a moment, and the seq of the last one in the journal.
    """

    __slots__ = ("_draws", "_at", "wanted")

    def __init__(self, draws: DrawHistory) -> None:
        self._draws = draws
        self._at: list[tuple[int, Stamp]] = []  # the seq of each, or that of the draw before it
        self.wanted = FALLS  # so many make the meter doubtful

    def add(self, now: Now) -> int:
        """Count one that has just ended; how many count by now.

        One whose age nobody knows counts: the meter may have been dead for as long.
        """
        ages = ((seq, at, self._draws.age_of(at, now)) for seq, at in self._standing())
        self._at = [(seq, at) for seq, at, age_ms in ages if age_ms is None or age_ms <= FALLS_WITHIN_MS]
        self._at.append((self._draws.folded_seq, self._draws.stamp(now)))
        return len(self._at)

    def _standing(self) -> list[tuple[int, Stamp]]:
        return [(seq, at) for seq, at in self._at if seq >= self._draws.folded_seq]

    def take(self, seq: int, at: Stamp) -> None:
        """Take one from the journal; a draw that stands there behind it takes it away."""
        self._at.append((seq, at))

    def forget(self) -> None:
        """The meter has shown a draw."""
        self._at.clear()

    def were_no_draws(self) -> None:
        """The meter was doubted and then showed a draw: from now on it takes more falls."""
        self.wanted = min(2 * self.wanted, FALLS_AT_MOST)

    def state(self) -> list[list[Any]]:
        """Those that count for the next one, as JSON."""
        return [[seq, *at] for seq, at in self._standing()]


class SilentDraws:
    """Detects draws in the static pressure, that is in readings taken while the meter shows no draw.

    Args:
        gap_ms: a fall with a longer gap in its readings doesn't count.
    """

    __slots__ = ("_gap_ms", "_rest_kpa", "_rest_drop_kpa", "_last_ms", "_fell_ms", "_least_kpa", "_moved_kpa", "_n")

    def __init__(self, gap_ms: int) -> None:
        self._gap_ms = gap_ms
        self._rest_kpa: float | None = None
        self._last_ms = 0
        self.forget()

    def forget(self) -> None:
        """Forget a fall under way: the meter shows a draw."""
        self._rest_drop_kpa: float | None = None
        self._fell_ms: int | None = None
        self._least_kpa, self._moved_kpa, self._n = 0.0, 0.0, 0

    def hear(self, kpa: float, train_kpa: float | None, mono_ms: int) -> Fall | None:
        """Take one static pressure of the supply.

        Args:
            kpa: the supply's gauge pressure [kPa].
            train_kpa: the drop from the supply to the last tap of the filter train at this time [kPa]; None: not known.

        Returns:
            The fall that has just ended; None where none has.
        """
        rest, before_ms = self._rest_kpa, self._last_ms
        self._last_ms = mono_ms
        if rest is None or mono_ms - before_ms > self._gap_ms:
            self._begin(kpa)
            return None
        if self._fell_ms is not None:
            return self._go_on(kpa, train_kpa, mono_ms, rest)
        if kpa < rest - FALL_KPA:
            self._fell_ms, self._least_kpa, self._moved_kpa, self._n = mono_ms, kpa, 0.0, 0
            return None
        share = min((mono_ms - before_ms) / REST_MS, 1.0)
        self._rest_kpa = rest + (kpa - rest) * share
        if train_kpa is not None:
            drop = self._rest_drop_kpa
            self._rest_drop_kpa = train_kpa if drop is None else drop + (train_kpa - drop) * share
        return None

    def _begin(self, kpa: float) -> None:
        self._rest_kpa, self._fell_ms = kpa, None

    def _go_on(self, kpa: float, train_kpa: float | None, mono_ms: int, rest: float) -> Fall | None:
        assert self._fell_ms is not None
        lasted_ms = mono_ms - self._fell_ms
        if kpa <= rest - FALL_KPA / 2:
            self._least_kpa = min(self._least_kpa, kpa)
            if lasted_ms > NEW_LEVEL_MS:
                self._begin(kpa)
            elif train_kpa is not None and self._rest_drop_kpa is not None:
                self._moved_kpa += train_kpa - self._rest_drop_kpa
                self._n += 1
            return None
        self._fell_ms = None
        if lasted_ms <= FALL_FROM_MS or (self._n and self._moved_kpa / self._n < ALONG_KPA):
            return None
        return Fall(lasted_ms, rest - self._least_kpa)
