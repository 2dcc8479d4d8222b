"""When a bus's points are due."""

from __future__ import annotations

from collections.abc import Mapping


class Schedule:
    """When each point is due: on a grid of its own period, so that lateness never adds up; what is missed stays missed.

    Args:
        every_ms: period of each point, in the order in which they are to be read.
        start_ms: the first time that all are due.
    """

    def __init__(self, every_ms: Mapping[str, int], start_ms: int) -> None:
        self._every_ms = {point: max(1, every) for point, every in every_ms.items()}
        self._next_ms = dict.fromkeys(self._every_ms, start_ms)

    def next_ms(self) -> int | None:
        """When the next point is due; None where there are no points."""
        return min(self._next_ms.values(), default=None)

    def take(self, now_ms: int) -> list[str]:
        """The points that are due now; each is next due at the first instant of its grid after now."""
        due = [point for point, at_ms in self._next_ms.items() if at_ms <= now_ms]
        for point in due:
            every_ms = self._every_ms[point]
            self._next_ms[point] += ((now_ms - self._next_ms[point]) // every_ms + 1) * every_ms
        return due
