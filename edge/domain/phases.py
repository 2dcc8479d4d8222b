"""What the station is doing, as far as temperature, flow, power and what people declared can tell.

A cycle takes the heated liquid away: the probe then sees air or a heel of liquid, and falls far faster than a covered vessel can
cool (a quarter of a kelvin in four minutes at most, against kelvins). The liquid comes back cooler and is heated again. An alarm
that a cycle explains is masked, for a limited time.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Phase(StrEnum):
    """Words of the contract."""

    OFF = "off"
    AT_REST = "at_rest"
    IDLE = "idle"
    IN_USE = "in_use"
    REHEATING = "reheating"
    AT_WORK = "at_work"


AWAY_FALL_K: Final = 0.8
AWAY_WITHIN_MS: Final = 240_000
#: only a liquid this far above the room shows by its fall that it was taken away
AWAY_ABOVE_ROOM_K: Final = 8.0
BACK_RISE_K: Final = 0.5
AWAY_AT_MOST_MS: Final = 60 * 60_000
#: water drawn this short before or after belongs to the same cycle
DRAW_BELONGS_MS: Final = 180_000


class CycleWatch:
    """Is the heated liquid away, or back and being heated again after a cycle?"""

    __slots__ = ("away_since_ms", "back_since_ms", "_lowest", "_reheat_at_most_ms", "_was_warm_ms")

    def __init__(self, warm_up_limit_ms: int) -> None:
        self.away_since_ms: int | None = None
        self.back_since_ms: int | None = None
        self._lowest = 0.0
        self._reheat_at_most_ms = max(45 * 60_000, warm_up_limit_ms * 3 // 4)
        self._was_warm_ms: int | None = None

    def hear(self, liquid_c: float, fell_k: float, room_c: float, warm_c: float, mono_ms: int) -> str | None:
        """One reading of the reservoir. `fell_k`: below its highest of the last AWAY_WITHIN_MS; `warm_c`: warm enough to start.

        Returns "away" or "back" at the reading that shows it, else None.
        """
        if liquid_c >= warm_c:
            self._was_warm_ms = mono_ms
            if self.back_since_ms is not None:
                self.back_since_ms = None
        if self.away_since_ms is None:
            if fell_k >= AWAY_FALL_K and liquid_c + fell_k - room_c >= AWAY_ABOVE_ROOM_K:
                self.away_since_ms, self._lowest, self.back_since_ms = mono_ms, liquid_c, None
                return "away"
            return None
        self._lowest = min(self._lowest, liquid_c)
        if liquid_c - self._lowest >= BACK_RISE_K:
            self.away_since_ms, self.back_since_ms = None, mono_ms
            return "back"
        return None

    def is_away(self, mono_ms: int) -> bool:
        """The liquid is away, and not for longer than a cycle can last."""
        return self.away_since_ms is not None and mono_ms - self.away_since_ms <= AWAY_AT_MOST_MS

    def explains_cold(self, mono_ms: int) -> bool:
        """A cycle is why the probe sees less than a warm liquid: it is away, or back and being heated again."""
        if self.is_away(mono_ms):
            return True
        return self.back_since_ms is not None and mono_ms - self.back_since_ms <= self._reheat_at_most_ms

    def next_deadline_ms(self) -> int | None:
        """When an explanation runs out by time alone."""
        if self.away_since_ms is not None:
            return self.away_since_ms + AWAY_AT_MOST_MS + 1
        if self.back_since_ms is not None:
            return self.back_since_ms + self._reheat_at_most_ms + 1
        return None
