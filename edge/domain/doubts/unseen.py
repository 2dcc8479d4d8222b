"""What the pressures say while the meter shows no draw, or nothing at all: water that flows unseen, and gauges that are exchanged.

Where water flows, each filter takes pressure. So pressures that fall apart along the train are a draw, whoever draws: a neighbour's draw
lets all of them fall alike, and where a check valve holds what stands behind it, that falls less and not more.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.doubts.table import ALIKE_KPA, ALONG_KPA, NEW_LEVEL_MS, REST_MS
from edge.domain.water.normalise import GAINS_AT_MOST_KPA

#: so many readings at least of pressures that have fallen apart, or that are at rest anew
LEAST_READINGS: Final = 3
#: a valve that shuts lets the water swing: what each gauge reads of it is another instant's. It has died down by then
SWINGS_MS: Final = 6_000
#: no gauge reads in wider steps [kPa] (1 psi, rounded); what two falls differ by is uncertain by so many steps: each is of two readings
WIDEST_KPA: Final = 7.0
FALL_STEPS: Final = 2.0


class Apart(NamedTuple):
    """Pressures that have fallen apart: their means [kPa], as they are and comparable with the supply's; by how much each fell.

    `rounded_kpa`: what two falls may differ by because of the gauges' steps alone.
    """

    kpa: dict[str, float]
    level_kpa: dict[str, float]
    fell_kpa: dict[str, float]
    rounded_kpa: float = 0.0

    @property
    def is_flow(self) -> bool:
        """Has the last tap fallen by more than the supply, as where filters take pressure?"""
        fell = list(self.fell_kpa.values())
        return fell[-1] - fell[0] >= ALONG_KPA + self.rounded_kpa

    @property
    def goes_back_kpa(self) -> float:
        """What flows back, as through a check valve that doesn't close, loses on its way; 0.0 where the pressures have another order."""
        fell = list(self.fell_kpa.values())
        return fell[0] - fell[-1] if fell == sorted(fell, reverse=True) else 0.0

    @property
    def has_order(self) -> bool:
        """Has each of three taps fallen, and each by another amount? What a check valve holds has not, or stands as one."""
        fell = sorted(self.fell_kpa.values())
        gaps = [b - a for a, b in pairwise(fell)]
        return len(fell) == 3 and fell[0] >= ALONG_KPA and min(gaps) > GAINS_AT_MOST_KPA + self.rounded_kpa


class Unseen:
    """Looks for pressures that fall apart.

    Args:
        gap_ms: a longer gap in the readings begins anew.
        from_ms: they have to be apart for so long.
    """

    __slots__ = (
        "_gap_ms", "_from_ms", "_rest", "_last_ms", "_moved_ms", "_since_ms", "_n", "_sums", "_apart", "_now", "_steps",
        "_is_settled", "_begun_ms", "_settles", "_above", "_above_ms",
    )  # fmt: skip

    def __init__(self, gap_ms: int, from_ms: int) -> None:
        self._gap_ms, self._from_ms = gap_ms, from_ms
        self._rest: dict[str, float] = {}
        self._last_ms = self._since_ms = self._n = self._begun_ms = self._settles = self._above = self._above_ms = 0
        self._is_settled = False
        self._moved_ms: int | None = None  # since when they are not at rest
        self._sums: dict[str, float] = {}
        self._apart: dict[str, float] = {}  # the newest that are apart
        self._now: dict[str, float] = {}  # the newest pressures
        self._steps: dict[str, float] = {}  # the least that each was seen to move by [kPa]

    def hear(self, taps: Mapping[str, float], mono_ms: int) -> Apart | None:
        """Pressures of the taps that are believed [kPa], in the order of flow, the supply's first; what they are while they are apart."""
        before_ms, self._last_ms = self._last_ms, mono_ms
        self._mind_steps(taps)
        rest = self._rest
        if mono_ms - before_ms > self._gap_ms or rest.keys() != taps.keys():
            self._begin(taps, mono_ms)
            return None
        fell = {tap: rest[tap] - kpa for tap, kpa in taps.items()}
        spread = max(fell.values()) - min(fell.values())
        if not self._is_settled:
            self._settle(taps, mono_ms)
            return None
        if min(fell.values()) < -ALONG_KPA:
            self._rise(taps, mono_ms)
            return None
        self._above = 0
        if max(fell.values()) < ALONG_KPA / 2.0:
            self._moved_ms, self._n = None, 0
            share = min((mono_ms - before_ms) / REST_MS, 1.0)
            for tap, kpa in taps.items():
                rest[tap] += (kpa - rest[tap]) * share
            return None
        self._moved_ms = mono_ms if self._moved_ms is None else self._moved_ms
        if mono_ms - self._moved_ms > NEW_LEVEL_MS:
            self._begin(taps, mono_ms)
            return None
        if spread < (ALONG_KPA / 2.0 if self._n else ALONG_KPA):
            self._n = 0
            return None
        return self._go_on(taps, mono_ms)

    def _begin(self, taps: Mapping[str, float], mono_ms: int) -> None:
        self._rest, self._moved_ms, self._n, self._above = dict(taps), None, 0, 0
        self._is_settled, self._begun_ms, self._settles = False, mono_ms, 1

    def _settle(self, taps: Mapping[str, float], mono_ms: int) -> None:
        """The first readings tell nothing of one another."""
        self._rest, self._settles = dict(taps), self._settles + 1
        self._is_settled = self._settles >= LEAST_READINGS and mono_ms - self._begun_ms >= SWINGS_MS

    def _rise(self, taps: Mapping[str, float], mono_ms: int) -> None:
        """Above what is taken as rest: for a moment the water swings; for longer, that was no rest."""
        self._above += 1
        if self._above == 1:
            self._above_ms = mono_ms
        elif self._above >= LEAST_READINGS and mono_ms - self._above_ms >= SWINGS_MS:
            self._begin(taps, mono_ms)

    def _mind_steps(self, taps: Mapping[str, float]) -> None:
        for tap, kpa in taps.items():
            moved_kpa = abs(kpa - self._now.get(tap, kpa))
            if ALIKE_KPA < moved_kpa < self._steps.get(tap, WIDEST_KPA):
                self._steps[tap] = moved_kpa
        self._now = dict(taps)

    def _go_on(self, taps: Mapping[str, float], mono_ms: int) -> Apart | None:
        before, self._apart = self._apart, dict(taps)
        self._n += 1
        if self._n == 1:
            self._since_ms, self._sums = mono_ms, dict.fromkeys(taps, 0.0)
            return None
        if self._n == 2:
            return None
        # in the first ones, and the newest, the other taps may be as they were read before
        for tap, kpa in before.items():
            self._sums[tap] += kpa
        n = self._n - 2
        if n < LEAST_READINGS or mono_ms - self._since_ms < self._from_ms:
            return None
        rest, means = self._rest, {tap: total / n for tap, total in self._sums.items()}
        level = {tap: kpa + rest["supply"] - rest[tap] for tap, kpa in means.items()}
        rounded_kpa = FALL_STEPS * max(self._steps.get(tap, WIDEST_KPA) for tap in taps)
        return Apart(means, level, {tap: rest[tap] - kpa for tap, kpa in means.items()}, rounded_kpa)
