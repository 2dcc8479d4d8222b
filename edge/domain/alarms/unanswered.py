"""An alarm that nobody answers: when it is announced again, and when its priority rises.

Both are off unless a site sets them (`re_announce`, `escalate_after`). The interval stays the site's for PATIENT announcements and then
doubles, up to SLOWEST times: what was rung ten times in vain isn't answered sooner by ringing on, and the journal stays small. Our own
numbers, no published source.
"""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.catalogue import PRIORITIES, Row, rank_of

PATIENT: Final = 10
SLOWEST: Final = 32


def interval_ms(every_ms: int, times: int) -> int:
    """How long after the newest announcement the next is due; `times`: how often it was announced again already.

    >>> [interval_ms(60_000, times) // 60_000 for times in (0, 9, 10, 11, 30)]
    [1, 1, 2, 4, 32]
    """
    return every_ms * min(1 << min(max(times - PATIENT + 1, 0), 16), SLOWEST)


def due_in_ms(row: Row, times: int, escalated: bool, since_last_ms: int, since_first_ms: int) -> int | None:
    """Milliseconds until it is announced again; nought or less: it is due. None: never.

    Args:
        times: how often it was announced again.
        escalated: its priority has risen already.
        since_last_ms, since_first_ms: how long ago it was announced the last time, and the first time since it was last answered.
    """
    due = []
    if row.re_announce_ms is not None:
        due.append(interval_ms(row.re_announce_ms, times) - since_last_ms)
    if row.escalate_ms is not None and not escalated:
        due.append(row.escalate_ms - since_first_ms)
    return min(due, default=None)


def raised(priority: str) -> str:
    """The next higher priority.

    >>> raised("low"), raised("high")
    ('medium', 'high')
    """
    return PRIORITIES[min(rank_of(priority) + 1, len(PRIORITIES) - 1)]
