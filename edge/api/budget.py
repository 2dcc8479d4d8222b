"""How many records one station takes by its API in a minute: a loose client may not fill the journal, nor take the room of the others."""

from __future__ import annotations

import math
from collections import OrderedDict
from typing import Final

#: a busy person sends some records a minute, a page with a stuck key some a second
RECORDS_A_MINUTE: Final = 120
BYTES_A_MINUTE: Final = 128 * 1024
#: one client may take this share of it, so that the others have room beside it; and of so many clients is known what they took
SHARE_OF_ONE: Final = 0.5
MOST_CLIENTS: Final = 256
#: what takes READY away has room of its own: nobody's records may keep another person from saying "don't start"
HOLDS_A_MINUTE: Final = 30
HOLD_BYTES_A_MINUTE: Final = 32 * 1024


class Budget:
    """Fills evenly, up to what a minute allows; a record takes one piece of it, and its bytes."""

    def __init__(self, records: int = RECORDS_A_MINUTE, size: int = BYTES_A_MINUTE) -> None:
        self._most = (float(records), float(size))
        self._left, self._at_s = self._most, 0.0

    def wait_s(self, size: int, now_s: float) -> int:
        """0 where there is room for a record of so many bytes, else after how many seconds there is again."""
        gone_s = max(0.0, now_s - self._at_s)
        left = [min(most, one + gone_s * most / 60.0) for one, most in zip(self._left, self._most, strict=True)]
        self._at_s = now_s
        self._left = (left[0], left[1])
        short = max((want - one) * 60.0 / most for want, one, most in zip((1, size), left, self._most, strict=True))
        return math.ceil(short) if short > 0.0 else 0

    def take(self, size: int, now_s: float) -> int:
        """Take a record of so many bytes; 0, or after how many seconds there is room for it again."""
        wait_s = self.wait_s(size, now_s)
        if not wait_s:
            self._left = (self._left[0] - 1, self._left[1] - size)
        return wait_s


class Shares:
    """A station's budget of a minute, of which no client takes more than its share."""

    def __init__(self) -> None:
        self._whole = Budget()
        self._of: OrderedDict[str, Budget] = OrderedDict()  # the one that was heard last stands last

    def take(self, client: str, size: int, now_s: float) -> tuple[int, bool]:
        """Take a record of so many bytes: (0 or after how many seconds there is room again, is it this client's own that is used up)."""
        own = self._of.pop(client, None) or Budget(
            round(RECORDS_A_MINUTE * SHARE_OF_ONE), round(BYTES_A_MINUTE * SHARE_OF_ONE)
        )
        self._of[client] = own
        if len(self._of) > MOST_CLIENTS:
            self._of.popitem(last=False)
        wait_s = own.wait_s(size, now_s)
        if wait_s:
            return wait_s, True
        wait_s = self._whole.take(size, now_s)
        if not wait_s:
            own.take(size, now_s)
        return wait_s, False
