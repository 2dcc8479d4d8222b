"""What a unit counted of a contact between two looks at it: one that closed and opened again, or opened and closed. Pure.

Many modules count the closings of each input by themselves. The count and the contact are asked for one after the other, so a closing
may be in one of them only; what doesn't fit is reckoned anew as soon as neither has moved.
"""

from __future__ import annotations

from typing import Final

#: a count that falls has run over where it was this near to its end and is this near to 0; else the unit has started anew [share]
NEAR_END: Final = 0.1


class Closings:
    """One contact and its count of closings, which runs over at `size`."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._count: int | None = None
        self._level: bool | None = None
        self._unexplained = 0  # closings counted, but for those that were seen

    def look(self, level: bool, count: int) -> bool:
        """Whether the contact was otherwise since the last look, unseen.

        >>> relay = Closings(65536)
        >>> [relay.look(*seen) for seen in ((False, 7), (False, 8), (True, 9), (True, 9), (True, 11), (True, 2))]
        [False, True, False, False, True, False]
        """
        before, was, self._count, self._level = self._count, self._level, count, level
        if before is None or was is None:
            self._unexplained = -int(level)  # its closing may not be counted yet
            return False
        counted = self._counted(before, count)
        if not counted and level is was:
            self._unexplained = 0
            return False
        self._unexplained += counted - (1 if level and not was else 0)
        if self._unexplained <= 0 or level is not was:
            return False
        self._unexplained = 0
        return True

    def _counted(self, before: int, count: int) -> int:
        if count >= before:
            return count - before
        runs_over = before >= (1.0 - NEAR_END) * self._size and count <= NEAR_END * self._size
        return count + self._size - before if runs_over else 0

    def forget(self) -> None:
        """The unit was not heard, or the line opened anew: what it counted meanwhile is of no look."""
        self._count = self._level = None
        self._unexplained = 0
