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
from edge.api.viewers import AS_IT_IS, Viewer, Viewers
from edge.domain.messages import Message, as_json, duration, of_json, of_kept, part, say
from edge.domain.readings import REASONS
from edge.domain.records.answers import to_message
from edge.domain.words.saying import Words
from edge.snapshot import Snapshot

SILENT_AFTER_S: Final = 10.0  # the judge renews its picture at least each second
#: with a fast clock a second between two pictures is minutes: within so many real seconds that is no age
FAST_GRACE_S: Final = 3.0
_SEE_TO_IT: Final = say("picture.judge_silent")
_ENGLISH: Final = Words()


class Seen(NamedTuple):
    """A snapshot, for how many real seconds it has been the newest, and in which words it is said."""

    snapshot: Snapshot
    quiet_s: float
    words: Words = _ENGLISH

    @property
    def is_silent(self) -> bool:
        """The judge has said nothing for too long."""
        return self.quiet_s > SILENT_AFTER_S


class Watch:
    """Notes when the judge last renewed its picture. `speed`: how much faster than real the station's clock runs."""

    def __init__(
        self,
        judge: Judge,
        speed: float = 1.0,
        monotonic_s: Callable[[], float] = time.monotonic,
        viewers: Viewers | None = None,
    ) -> None:
        self._judge, self._speed, self._monotonic_s = judge, speed, monotonic_s
        self.viewers = viewers or Viewers()
        self._version: int | None = None
        self._since_s = monotonic_s()

    def see(self, viewer: Viewer = AS_IT_IS) -> Seen:
        """The newest picture, in a viewer's words, and its age. To be called at least each second: a silence is noticed from its start."""
        snapshot, now_s = self._judge.snapshot(), self._monotonic_s()
        if snapshot.version != self._version:
            self._version, self._since_s = snapshot.version, now_s
        quiet_s = now_s - self._since_s
        if viewer == AS_IT_IS:
            return Seen(snapshot, quiet_s)
        return Seen(self.viewers.picture(viewer, snapshot), quiet_s, self.viewers.words(viewer, snapshot))

    def words(self, viewer: Viewer) -> Words:
        """How a viewer reads what this station tells; without the picture, which takes a while to say anew."""
        return self.viewers.words(viewer, self._judge.snapshot())

    def verdict(self, seen: Seen) -> dict[str, Any]:
        """The verdict as published, with `seq`, `quiet_s` and `answers`; `unknown` where the judge is silent."""
        judged = seen.snapshot.verdict
        verdict: dict[str, Any] = {**judged, "seq": seen.snapshot.seq, "quiet_s": round(seen.quiet_s, 1)}
        if seen.is_silent:
            self._silent(verdict, seen)
        verdict["answers"] = [_answers(form) for form in verdict.get("waits_for_msgs", ())]
        return verdict

    def _silent(self, verdict: dict[str, Any], seen: Seen) -> None:
        judged = seen.snapshot.verdict
        since = say("picture.not_judged", since=duration(seen.quiet_s * 1000.0))
        verdict |= _unsure(judged, seen.words)
        if "verdicts" in judged:
            verdict["verdicts"] = [{**one, **_unsure(one, seen.words)} for one in judged["verdicts"]]
        verdict["conditions"] = [_unjudged(condition, since, seen.words) for condition in judged.get("conditions", [])]

    def points(self, seen: Seen) -> dict[str, dict[str, Any]]:
        """Points by id, aged."""
        grace_s = FAST_GRACE_S if self._speed > 1.0 else 0.0
        more_s = seen.quiet_s * self._speed if seen.quiet_s > grace_s else 0.0
        return {ident: aged(point, more_s, seen.words) for ident, point in seen.snapshot.points.items()}

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


def message_of(form: object) -> Message:
    """The message of its form; an empty one where it is none."""
    try:
        return of_json(form)
    except ValueError:
        return Message("")


def _answers(form: object) -> list[dict[str, Any]]:
    """The records that answer what is asked, the plainest first; [] where no record does."""
    return [{"record": one.record, "keys": dict(one.keys)} for one in to_message(message_of(form))]


def _unsure(verdict: Mapping[str, Any], words: Words) -> dict[str, Any]:
    """What a verdict, of the station or of a basin, says while the judge is silent."""
    return {
        "verdict": "unknown" if verdict.get("verdict") == "ready" else verdict.get("verdict"), "display": "cant_tell",
        "expected_at": None, "earliest": None, "latest": None,
        "waits_for": [words.text(_SEE_TO_IT), *verdict.get("waits_for", [])],
        "waits_for_msgs": [as_json(_SEE_TO_IT), *verdict.get("waits_for_msgs", [])],
    }  # fmt: skip


def _unjudged(condition: Mapping[str, Any], since: Message, words: Words) -> dict[str, Any]:
    if condition.get("state") == "unmet":
        return dict(condition)
    before = of_kept(condition.get("msg"), condition.get("text"))
    message = as_json(say("condition.and_when", text=part(before), when=part(since)))
    text = f"{condition.get('text', '')} ({words.text(since)})"
    return {**condition, "state": "unknown", "text": text, "msg": message, "expected_at": None}


def aged(point: Mapping[str, Any], more_s: float, words: Words = _ENGLISH) -> dict[str, Any]:
    """A point `more_s` later: older, stale beyond its limit; never a number that is none."""
    older = dict(point)
    age_s, limit_s = point.get("age_s"), point.get("stale_after_s")
    if isinstance(age_s, int | float):
        older["age_s"] = round(age_s + more_s, 3) if math.isfinite(age_s) else None
    value = point.get("value")
    if isinstance(value, float) and not math.isfinite(value):
        return _without_value(older, "not_a_number", words)
    is_stale = (
        isinstance(older.get("age_s"), int | float) and isinstance(limit_s, int | float) and older["age_s"] > limit_s
    )
    if more_s > 0 and is_stale and point.get("quality") != "bad":
        return _without_value(older, "stale", words)
    return older


def _without_value(point: dict[str, Any], reason: str, words: Words) -> dict[str, Any]:
    why, advice = say(f"reason.{reason}"), say(f"reason.{reason}.advice")
    return point | {
        "value": None, "shown": None, "u": None, "quality": str(REASONS[reason].quality), "reason": reason,
        "text": words.text(why), "advice": words.text(advice), "msg": as_json(why), "advice_msg": as_json(advice),
    }  # fmt: skip
