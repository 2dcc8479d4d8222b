"""How many records one station takes by its API in a minute: a loose client may not fill the journal."""

from __future__ import annotations

import math
from typing import Final

#: a busy person sends some records a minute, a page with a stuck key some a second
RECORDS_A_MINUTE: Final = 120
BYTES_A_MINUTE: Final = 128 * 1024
#: what takes READY away has room of its own: nobody's records may keep another person from saying "don't start"
HOLDS_A_MINUTE: Final = 30
HOLD_BYTES_A_MINUTE: Final = 32 * 1024


class Budget:
    """Fills evenly, up to what a minute allows; a record takes one piece of it, and its bytes."""

    def __init__(self, records: int = RECORDS_A_MINUTE, size: int = BYTES_A_MINUTE) -> None:
        self._most = (float(records), float(size))
        self._left, self._at_s = self._most, 0.0

    def take(self, size: int, now_s: float) -> int:
        """Take a record of so many bytes; 0, or after how many seconds there is room for it again."""
        gone_s = max(0.0, now_s - self._at_s)
        left = [min(most, one + gone_s * most / 60.0) for one, most in zip(self._left, self._most, strict=True)]
        self._at_s = now_s
        self._left = (left[0], left[1])
        short = max((want - one) * 60.0 / most for want, one, most in zip((1, size), left, self._most, strict=True))
        if short > 0.0:
            return math.ceil(short)
        self._left = (left[0] - 1, left[1] - size)
        return 0
