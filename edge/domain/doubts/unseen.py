"""Pressures while the meter shows no draw, or is silent: detects water that flows unseen, and exchanged gauges.

Where water flows, each filter takes pressure. So pressures that fall apart along the train show a draw at this station. A neighbour's draw
makes all of them fall alike; behind a check valve the pressure then falls less, not more.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.doubts.table import ALIKE_KPA, ALONG_KPA, NEW_LEVEL_MS, REST_MS
from edge.domain.water.normalise import GAINS_AT_MOST_KPA

#: Pressures have fallen apart, or are at rest again, after at least this many readings.
LEAST_READINGS: Final = 3
#: A closing valve makes the water swing, and the gauges read it at different instants; the swing has died down after this time [ms].
SWINGS_MS: Final = 6_000
#: The widest quantisation step of a gauge [kPa]: 1 psi, rounded.
WIDEST_KPA: Final = 7.0
#: The difference of two falls is uncertain by this many quantisation steps, as each fall is that of two readings.
DIFFERENCE_STEPS: Final = 2.0


class Apart(NamedTuple):
    """Pressures that have fallen apart, by tap: means as read and with their zeros taken off, and each one's fall [kPa].

    `rounded_kpa`: the difference of two falls that quantisation alone may cause [kPa].
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
        """Drop of water that flows back, as through a check valve that doesn't close [kPa]; 0.0 where the falls have another order."""
        fell = list(self.fell_kpa.values())
        return fell[0] - fell[-1] if fell == sorted(fell, reverse=True) else 0.0

    @property
    def has_order(self) -> bool:
        """Has each of three taps fallen, each by a different amount? Taps behind a closed check valve have not, or fall alike."""
        fell = sorted(self.fell_kpa.values())
        gaps = [b - a for a, b in pairwise(fell)]
        return len(fell) == 3 and fell[0] >= ALONG_KPA and min(gaps) > GAINS_AT_MOST_KPA + self.rounded_kpa


class Unseen:
    """Detects pressures that fall apart.

    Args:
        gap_ms: after a longer gap in the readings the levels at rest begin again.
        from_ms: the pressures have to be apart for this long.
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
        self._moved_ms: int | None = None  # since when the pressures have not been at rest
        self._sums: dict[str, float] = {}
        self._apart: dict[str, float] = {}  # the newest pressures that are apart [kPa]
        self._now: dict[str, float] = {}  # the newest pressures [kPa]
        self._steps: dict[
            str, float
        ] = {}  # smallest difference of two readings of each tap: its quantisation step [kPa]

    def hear(self, taps: Mapping[str, float], mono_ms: int) -> Apart | None:
        """Take the trusted taps' pressures [kPa] in the order of flow, the supply's first; how they are apart, else None."""
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
        """Wait until the readings are at rest: the first ones can't be compared."""
        self._rest, self._settles = dict(taps), self._settles + 1
        self._is_settled = self._settles >= LEAST_READINGS and mono_ms - self._begun_ms >= SWINGS_MS

    def _rise(self, taps: Mapping[str, float], mono_ms: int) -> None:
        """A pressure above its level at rest: for a moment the water swings; if it lasts, the level was none at rest."""
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
        # The first readings and the newest are left out: there the other taps may still have their readings from before.
        for tap, kpa in before.items():
            self._sums[tap] += kpa
        n = self._n - 2
        if n < LEAST_READINGS or mono_ms - self._since_ms < self._from_ms:
            return None
        rest, means = self._rest, {tap: total / n for tap, total in self._sums.items()}
        level = {tap: kpa + rest["supply"] - rest[tap] for tap, kpa in means.items()}
        rounded_kpa = DIFFERENCE_STEPS * max(self._steps.get(tap, WIDEST_KPA) for tap in taps)
        return Apart(means, level, {tap: rest[tap] - kpa for tap, kpa in means.items()}, rounded_kpa)
