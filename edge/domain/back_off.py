"""How long to wait before the next try of something that failed."""

from __future__ import annotations


class BackOff:
    """Waits that double, up to the longest, until whoever asks begins anew.

    >>> back_off = BackOff(1.0, 5.0)
    >>> [back_off.take_s() for _ in range(4)]
    [1.0, 2.0, 4.0, 5.0]
    """

    def __init__(self, first_s: float, longest_s: float) -> None:
        self._first_s, self._longest_s, self._next_s = first_s, longest_s, first_s

    def begin_anew(self) -> None:
        """A try was good: the next wait is the first."""
        self._next_s = self._first_s

    def take_s(self, least_s: float = 0.0, longest_s: float | None = None) -> float:
        """The wait [s] before the next try, at least so long; `longest_s` in place of its own longest."""
        longest_s = self._longest_s if longest_s is None else longest_s
        wait_s = min(max(self._next_s, least_s), longest_s)
        self._next_s = min(wait_s * 2.0, longest_s)
        return wait_s
