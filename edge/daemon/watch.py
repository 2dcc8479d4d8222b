"""What the daemon makes of its parts' figures: can the store be relied on, and which part makes no progress."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

#: a journal that refuses, or a commit under way, for so long (real seconds) is said
SAID_AFTER_S: Final = 5.0
#: 95 % of the recent commits within this (real seconds), else the disk is slow
SLOW_S: Final = 1.0
#: a part that has not come round for so long (real seconds) hangs. The disk of a board may take a minute over a commit
HANGS_S: Final[Mapping[str, float]] = {
    "judge": 30.0,
    "journal writer": 120.0,
    "mqtt": 120.0,
    "api": 30.0,
    "acquisition": 60.0,
}


def store_trouble(judge: Mapping[str, Any], refusing_s: float, series: Mapping[str, Any], *, newly_lost: bool) -> str:
    """Why what is measured or recorded may not be kept; empty while all is well.

    Args:
        judge, series: their status().
        refusing_s: for how long the journal has refused.
        newly_lost: readings were lost since the last look.
    """
    commit = judge["commit"]
    if refusing_s >= SAID_AFTER_S:
        return f"the journal can't be written: {judge['store_fault']}"
    if commit["busy_s"] >= SAID_AFTER_S:
        return f"a commit has been under way for {commit['busy_s']:.0f} s: the disk is slow or hangs"
    if series.get("trouble"):
        return f"readings are not kept: {series['trouble']}"
    if series.get("disk", "ok") not in ("ok", "low"):
        return f"readings are not kept: {series['disk']}"
    if series.get("read_only"):
        return "the disk is mounted for reading only: nothing can be kept"
    if newly_lost:
        return f"readings are lost: {series['lost_readings']} since the start"
    if commit["p95_s"] is not None and commit["p95_s"] > SLOW_S:
        return f"the disk is slow: one commit in twenty takes {commit['p95_s']:.1f} s or more"
    return ""


def hanging(quiet_s: Mapping[str, float]) -> list[str]:
    """Of the parts and for how long each has not come round, those that hang, in words.

    >>> hanging({"judge": 2.0, "api": 31.0})
    ['api (no progress for 31 s)']
    """
    return [f"{part} (no progress for {quiet:.0f} s)" for part, quiet in quiet_s.items() if quiet >= HANGS_S[part]]
