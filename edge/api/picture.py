"""The newest picture of the station, aged to the moment it is shown.

A picture that the judge has not renewed is not shown as live: its points age, and after ten seconds of silence nothing in it
counts as met any more.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from edge.api.parts import Judge
from edge.domain.messages import Message, as_told, duration, message_body, of_kept, part, say
from edge.domain.readings import REASONS
from edge.domain.words.saying import Words
from edge.snapshot import Snapshot

SILENT_AFTER_S: Final = 10.0  # the judge renews its picture at least each second
#: with a fast clock a second between two pictures is minutes: within so many real seconds that is no age
FAST_GRACE_S: Final = 3.0
RESTART: Final = say("judge.is_silent")
_WORDS: Final = Words()


class Seen(NamedTuple):
    """A snapshot and for how many real seconds it has been the newest."""

    snapshot: Snapshot
    quiet_s: float

    @property
    def is_silent(self) -> bool:
        """The judge has said nothing for too long."""
        return self.quiet_s > SILENT_AFTER_S


class Watch:
    """Notes when the judge last renewed its picture. `speed`: how much faster than real the station's clock runs."""

    def __init__(self, judge: Judge, speed: float = 1.0, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self._judge, self._speed, self._monotonic_s = judge, speed, monotonic_s
        self._version: int | None = None
        self._since_s = monotonic_s()

    def see(self) -> Seen:
        """The newest picture and its age. To be called at least each second, so that a silence is noticed from its start."""
        snapshot, now_s = self._judge.snapshot(), self._monotonic_s()
        if snapshot.version != self._version:
            self._version, self._since_s = snapshot.version, now_s
        return Seen(snapshot, now_s - self._since_s)

    def verdict(self, seen: Seen) -> dict[str, Any]:
        """The verdict as published, with `seq` and `quiet_s`; `unknown` where the judge is silent."""
        judged = seen.snapshot.verdict
        verdict: dict[str, Any] = {**judged, "seq": seen.snapshot.seq, "quiet_s": round(seen.quiet_s, 1)}
        if not seen.is_silent:
            return verdict
        verdict |= _unsure(judged)
        if "verdicts" in judged:
            verdict["verdicts"] = [{**one, **_unsure(one)} for one in judged["verdicts"]]
        verdict["conditions"] = [_unjudged(condition, seen.quiet_s) for condition in judged.get("conditions", [])]
        return verdict

    def points(self, seen: Seen) -> dict[str, dict[str, Any]]:
        """Points by id, aged."""
        grace_s = FAST_GRACE_S if self._speed > 1.0 else 0.0
        more_s = seen.quiet_s * self._speed if seen.quiet_s > grace_s else 0.0
        return {ident: aged(point, more_s) for ident, point in seen.snapshot.points.items()}

    def everything(self, seen: Seen) -> dict[str, Any]:
        """What the live stream calls a snapshot."""
        return {
            "at": seen.snapshot.verdict.get("at"),
            "seq": seen.snapshot.seq,
            "verdict": self.verdict(seen),
            "points": self.points(seen),
            "alarms": dict(seen.snapshot.alarms),
            "estimates": dict(seen.snapshot.estimates),
        }


def _unsure(verdict: Mapping[str, Any]) -> dict[str, Any]:
    """What a verdict, of the station or of a basin, says while the judge is silent."""
    return {
        "verdict": "unknown" if verdict.get("verdict") == "ready" else verdict.get("verdict"), "display": "cant_tell",
        "expected_at": None, "earliest": None, "latest": None,
        "waits_for": [_WORDS.text(RESTART), *verdict.get("waits_for", [])],
        "waits_for_msgs": [message_body(RESTART), *verdict.get("waits_for_msgs", [])],
    }  # fmt: skip


def _unjudged(condition: Mapping[str, Any], quiet_s: float) -> dict[str, Any]:
    if condition.get("state") == "unmet":
        return dict(condition)
    told = str(condition.get("text", ""))
    text = _WORDS.text(_not_judged(as_told(told), quiet_s))  # what was told is in the station's units already
    msg = message_body(_not_judged(of_kept(condition.get("msg"), told), quiet_s))
    return {**condition, "state": "unknown", "text": text, "msg": msg, "expected_at": None}


def _not_judged(before: Message, quiet_s: float) -> Message:
    return say("judge.not_judged", before=part(before), silent=duration(quiet_s * 1000.0))


def aged(point: Mapping[str, Any], more_s: float) -> dict[str, Any]:
    """A point `more_s` later: older, stale beyond its limit; never a number that is none."""
    older = dict(point)
    age_s, limit_s = point.get("age_s"), point.get("stale_after_s")
    if isinstance(age_s, int | float):
        older["age_s"] = round(age_s + more_s, 3) if math.isfinite(age_s) else None
    value = point.get("value")
    if isinstance(value, float) and not math.isfinite(value):
        return _without_value(older, "not_a_number")
    is_stale = (
        isinstance(older.get("age_s"), int | float) and isinstance(limit_s, int | float) and older["age_s"] > limit_s
    )
    if more_s > 0 and is_stale and point.get("quality") != "bad":
        return _without_value(older, "stale")
    return older


def _without_value(point: dict[str, Any], reason: str) -> dict[str, Any]:
    why = REASONS[reason]
    return point | {
        "value": None, "shown": None, "u": None, "quality": str(why.quality), "reason": reason, "text": why.text, "advice": why.advice
    }  # fmt: skip
