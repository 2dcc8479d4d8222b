"""What the daemon makes of its parts' figures: can the store be relied on, and which part makes no progress."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from edge.daemon.room import Room
from edge.daemon.untold import Untold
from edge.domain.messages import Message, duration, number, say, text
from edge.store.database import LOG_LIMIT_BYTES

#: a journal that refuses, or a commit under way, for so long (real seconds) is said
SAID_AFTER_S: Final = 5.0
#: 95 % of the recent commits within this (real seconds), else the disk is slow
SLOW_S: Final = 1.0
#: a part that has not come round for so long (real seconds) hangs. The disk of a board may take a minute over a commit
HANGS_S: Final[Mapping[str, float]] = {
    "judge": 30.0,
    "journal writer": 120.0,
    "mqtt": 120.0,
    "telling": 240.0,
    "signing": 240.0,
    "outputs": 30.0,
    "api": 30.0,
    "acquisition": 60.0,
}
#: a write-ahead log of so many bytes is one that a reader keeps from being moved into its file
HELD_BYTES: Final = 4 * LOG_LIMIT_BYTES


class Losses:
    """Whether readings were lost within the last minute."""

    def __init__(self) -> None:
        self._lost, self._at_s = 0, float("-inf")

    def are_new(self, lost: int, now_s: float) -> bool:
        """`lost`: since the start; `now_s`: real seconds."""
        if lost > self._lost:
            self._lost, self._at_s = lost, now_s
        return now_s - self._at_s < 60.0


@dataclass(slots=True)
class Remembered:
    """What is remembered from one look at the parts to the next."""

    losses: Losses = field(default_factory=Losses)
    untold: Untold = field(default_factory=Untold)
    facts: dict[str, tuple[bool, Message | None]] = field(default_factory=dict)  # as told, by alarm
    room: Room | None = None  # what this station tells the others of its computer, while the page is up


def held_logs(logs: Mapping[str, int]) -> str:
    """What is said beside the verdict of a write-ahead log that grows, as somebody holds a read open; "" while none does.

    The daemon's own readers hold none. The log is moved into the file by the first write after the read has ended.

    Args:
        logs: the bytes of each file's log.

    >>> held_logs({"journal.db": 70_000_000, "series.db": 1_000_000})
    'Another program keeps journal.db open for reading, and its log has grown to 70 MB: end that program.'
    """
    return " ".join(
        f"Another program keeps {file} open for reading, and its log has grown to {size / 1e6:.0f} MB: end that program."
        for file, size in logs.items()
        if size > HELD_BYTES
    )


def store_trouble(
    judge: Mapping[str, Any], refusing_s: float, series: Mapping[str, Any], *, newly_lost: bool
) -> Message | None:
    """Why what is measured or recorded may not be kept; None while all is well.

    Args:
        judge, series: their status().
        refusing_s: for how long the journal has refused.
        newly_lost: readings were lost since the last look.
    """
    commit = judge["commit"]
    if refusing_s >= SAID_AFTER_S:
        return say("alarm.store.refuses", why=text(judge["store_fault"]))
    if commit["busy_s"] >= SAID_AFTER_S:
        return say("alarm.store.hangs", since=duration(commit["busy_s"] * 1000.0))
    if series.get("trouble"):
        return say("alarm.store.not_kept", why=text(series["trouble"]))
    if series.get("disk", "ok") not in ("ok", "low"):
        return say("alarm.store.not_kept", why=text(series["disk"]))
    if series.get("read_only"):
        return say("alarm.store.read_only")
    if newly_lost:
        return say("alarm.store.lost", readings=number(series["lost_readings"]))
    if commit["p95_s"] is not None and commit["p95_s"] > SLOW_S:
        return say("alarm.store.slow", took=duration(commit["p95_s"] * 1000.0))
    return None


def hanging(quiet_s: Mapping[str, float]) -> list[str]:
    """Of the parts and for how long each has not come round, those that hang, in words.

    >>> hanging({"judge": 2.0, "api": 31.0})
    ['api (no progress for 31 s)']
    """
    return [f"{part} (no progress for {quiet:.0f} s)" for part, quiet in quiet_s.items() if quiet >= HANGS_S[part]]
