"""Draws that the flow meter doesn't show, seen as falls of the supply's static pressure that come back after a while."""

from __future__ import annotations

from typing import Final

from edge.domain.doubts.table import ALONG_KPA, NEW_LEVEL_MS, REST_MS

#: A draw takes more than this from the supply's static pressure: a few psi [kPa].
FALL_KPA: Final = 20.0
#: A shorter fall may be a neighbour's tap [ms].
FALL_FROM_MS: Final = 30_000
#: Older falls don't count [ms].
FALLS_WITHIN_MS: Final = 12 * 3_600_000


class SilentDraws:
    """Detects draws in the static pressure, that is in readings taken while the meter shows no draw.

    Args:
        gap_ms: a fall with a longer gap in its readings doesn't count.
    """

    __slots__ = ("_gap_ms", "_rest_kpa", "_rest_drop_kpa", "_last_ms", "_fell_ms", "_moved_kpa", "_n", "_falls_ms")

    def __init__(self, gap_ms: int) -> None:
        self._gap_ms = gap_ms
        self._rest_kpa: float | None = None
        self._last_ms = 0
        self.forget()

    def forget(self) -> None:
        """Forget the falls: the meter has shown a draw."""
        self._rest_drop_kpa: float | None = None
        self._fell_ms: int | None = None
        self._moved_kpa, self._n = 0.0, 0
        self._falls_ms: list[int] = []

    def hear(self, kpa: float, train_kpa: float | None, mono_ms: int) -> int:
        """Take one static pressure of the supply.

        Args:
            kpa: the supply's gauge pressure [kPa].
            train_kpa: the drop from the supply to the last tap of the filter train at this time [kPa]; None: not known.

        Returns:
            The number of falls within FALLS_WITHIN_MS when one has just ended, else 0.
        """
        rest, before_ms = self._rest_kpa, self._last_ms
        self._last_ms = mono_ms
        if rest is None or mono_ms - before_ms > self._gap_ms:
            self._begin(kpa)
            return 0
        if self._fell_ms is not None:
            return self._go_on(kpa, train_kpa, mono_ms, rest)
        if kpa < rest - FALL_KPA:
            self._fell_ms, self._moved_kpa, self._n = mono_ms, 0.0, 0
            return 0
        share = min((mono_ms - before_ms) / REST_MS, 1.0)
        self._rest_kpa = rest + (kpa - rest) * share
        if train_kpa is not None:
            drop = self._rest_drop_kpa
            self._rest_drop_kpa = train_kpa if drop is None else drop + (train_kpa - drop) * share
        return 0

    def _begin(self, kpa: float) -> None:
        self._rest_kpa, self._fell_ms = kpa, None

    def _go_on(self, kpa: float, train_kpa: float | None, mono_ms: int, rest: float) -> int:
        assert self._fell_ms is not None
        lasted_ms = mono_ms - self._fell_ms
        if kpa <= rest - FALL_KPA / 2:
            if lasted_ms > NEW_LEVEL_MS:
                self._begin(kpa)
            elif train_kpa is not None and self._rest_drop_kpa is not None:
                self._moved_kpa += train_kpa - self._rest_drop_kpa
                self._n += 1
            return 0
        self._fell_ms = None
        if lasted_ms <= FALL_FROM_MS or (self._n and self._moved_kpa / self._n < ALONG_KPA):
            return 0
        self._falls_ms = [at_ms for at_ms in self._falls_ms if mono_ms - at_ms <= FALLS_WITHIN_MS] + [mono_ms]
        return len(self._falls_ms)
