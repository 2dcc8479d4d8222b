"""Which message makes a broker hang up.

Some brokers answer a message that is too large by ending the connection. Without this it would be sent again, for ever. What was under way
when a connection ended is sent one by one in the next; what was alone under way three times when the broker cut a connection that had
worked for others is taken for the cause.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Final

#: something under way: ("entry", seq), ("again", seq), ("topic", name) or ("ghost", name)
UnderWay = tuple[str, str | int]
_GUILTY_AFTER: Final = 3  # connections that ended with the same message alone under way


class Suspects:
    """Used by the publisher's thread alone."""

    def __init__(self) -> None:
        #: under way when a connection ended: sent one by one
        self.careful: set[UnderWay] = set()
        self._blamed: Counter[UnderWay] = Counter()  # alone under way when a connection ended
        self._was_cut = self._confirmed_any = False

    def begin(self, under_way: Iterable[UnderWay]) -> UnderWay | None:
        """A connection begins; `under_way` when the one before ended. Returns what ends them, once that is known."""
        self.careful = set(under_way)
        guilty = None
        if len(self.careful) == 1 and self._was_cut:
            (one,) = self.careful
            self._blamed[one] += 1
            if self._blamed[one] >= _GUILTY_AFTER:
                guilty = one
                self.careful.clear()
                del self._blamed[one]
        self._was_cut = self._confirmed_any = False
        return guilty

    def ended(self, *, cut: bool) -> None:
        """A connection that was up has ended; `cut`: by the other side, without a word."""
        self._was_cut = cut and self._confirmed_any

    def answered(self, one: UnderWay) -> None:
        """The broker has answered this message."""
        self.careful.discard(one)
        self._blamed.pop(one, None)
        self._confirmed_any = True
