"""On which side of its limits a value stands, with room for its uncertainty."""

from __future__ import annotations

from edge.domain.alarms.states import AT_LIMIT


def side_of(value: float, guard: float, low: float | None, high: float | None) -> int:
    """-1: not surely at or above the least, 1: not surely at or below the most, 0: within both (JCGM 106, 8.3, guarded acceptance).

    >>> [side_of(v, 1.0, 10.0, 20.0) for v in (10.9, 11.0, 19.0, 19.1)], side_of(15.0, 0.0, None, 12.0)
    ([-1, 0, 0, 1], 1)
    """
    if low is not None and value - guard < low - AT_LIMIT:
        return -1
    return 1 if high is not None and value + guard > high + AT_LIMIT else 0
