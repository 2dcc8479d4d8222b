"""The retained topics: what each says now, what it said last, and which are due.

Telemetry is merged: a topic has at most one message in flight, and what came in between is left out. What people act on
(an alarm's state, the verdict) goes at once; the rest at most once in 5 s.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, cast

from edge.domain.errors import UnusableInput
from edge.domain.messages import MEMBERS
from edge.mqtt.topics import Topics, compact
from edge.snapshot import ConditionPicture, Snapshot

_log = logging.getLogger("warmwell.mqtt")

#: keys that change with every picture and say nothing new by themselves; what a text says without words is news where the text is
_RESTLESS: Final = frozenset({"at", "age_s", "evidence", "trusted"}) | MEMBERS
#: the same of a condition, whose text says them rounded
_FIGURES: Final = _RESTLESS | {"value", "limit", "probability"}
_ALARM_ACTS: Final = (
    "state",
    "active",
    "announced",
    "priority",
    "since",
    "consequence_of",
    "acknowledged_by",
    "again",
    "seq",
)
_VERDICT_ACTS: Final = ("verdict", "phase", "waits_for", "note")


@dataclass(frozen=True, slots=True)
class Pace:
    """Real seconds."""

    gap_s: float = 5.0  # least time between two messages of a topic that nobody acts on at once
    head_gap_s: float = 1.0
    heartbeat_s: float = 60.0  # unchanged values are said again, so that their age can be told
    alarm_heartbeat_s: float = 600.0  # mends what another client wrote or emptied there
    retry_s: float = 60.0  # after a refusal
    cuts_retry_s: float = 3600.0  # after a message that ends the connection each time it is sent
    fresh: int = 3  # so many heartbeats without a word, and what a topic says holds no more
    ghost_s: float = 10.0  # a topic that is gone from the picture this long is emptied


@dataclass(slots=True)
class _Topic:
    """One retained topic."""

    gap_s: float
    heartbeat_s: float
    acts: Callable[[Mapping[str, object]], object] | None  # what of it goes at once
    message: Mapping[str, object] = field(default_factory=dict)
    said: Mapping[str, object] | None = None  # what was last sent in this connection
    said_s: float = float("-inf")
    in_flight: bool = False
    not_before_s: float = float("-inf")
    refused: str = ""
    cuts: bool = False  # the connection ends whenever it is sent
    seen_s: float = 0.0

    def is_due(self, now_s: float) -> bool:
        if self.in_flight or now_s < self.not_before_s:
            return False
        if self.said is None:
            return now_s >= self.said_s + self.gap_s or self.acts is not None
        if now_s >= self.said_s + self.heartbeat_s:
            return True
        if self.message is self.said:
            return False
        if self.acts and self.acts(self.message) != self.acts(self.said):
            return True
        return now_s >= self.said_s + self.gap_s and not self._settled()

    def _settled(self) -> bool:
        """Whether it says what was said already; then the two need not be compared again."""
        assert self.said is not None
        if _calm(self.message) != _calm(self.said):
            return False
        self.said = self.message
        return True

    def due_s(self) -> float:
        """The earliest instant at which it may be due without a new picture."""
        if self.in_flight:
            return float("inf")
        if self.said is None:
            return max(self.not_before_s, float("-inf") if self.acts else self.said_s + self.gap_s)
        return max(self.not_before_s, self.said_s + (self.heartbeat_s if self.message is self.said else self.gap_s))


class Board:
    """Used by the publisher's thread alone."""

    def __init__(self, topics: Topics, mono_s: Callable[[], float], pace: Pace = Pace()) -> None:
        self._names, self._mono_s, self._pace = topics, mono_s, pace
        self._topics: dict[str, _Topic] = {}
        self._shown_s: tuple[float, float] | None = None  # when the first and the newest picture came
        self._named: dict[tuple[str, str], str] = {}  # what a thing's topic is; empty where its name can't stand in one

    # ---- what is to be said

    def say(self, topic: str, message: Mapping[str, object], *, gap_s: float = 0.0) -> None:
        """Something that is not in the snapshot: the node word, the journal's head. Goes at once after a change."""
        found = self._topics.get(topic)
        if found is None:
            found = self._topics[topic] = _Topic(
                gap_s, self._pace.heartbeat_s, None if gap_s else dict, seen_s=float("inf")
            )
        if found.message != message:
            found.message = message

    def show(self, picture: Snapshot) -> None:
        """The station as it is now."""
        names, pace = self._names, self._pace
        now_s = self._mono_s()
        self._shown_s = (self._shown_s[0] if self._shown_s else now_s, now_s)
        if picture.verdict:
            self._put(names.verdict, picture.verdict, _verdict_acts, pace.heartbeat_s)
        self._put_all(names.alarm, picture.alarms, _alarm_acts, pace.alarm_heartbeat_s)
        self._put_all(names.point, picture.points, None, pace.heartbeat_s)
        self._put_all(names.estimate, picture.estimates, None, pace.heartbeat_s)

    def _put_all(
        self,
        name: Callable[[str], str],
        messages: Mapping[str, Mapping[str, object]],
        acts: Callable[[Mapping[str, object]], object] | None,
        heartbeat_s: float,
    ) -> None:
        for thing, message in messages.items():
            topic = self._named.get((name.__name__, thing))
            if topic is None:
                try:
                    topic = name(thing)
                except UnusableInput as exc:
                    topic = ""
                    _log.error("MQTT: %s", exc)
                self._named[name.__name__, thing] = topic
            if topic:
                self._put(topic, message, acts, heartbeat_s)

    def _put(
        self,
        topic: str,
        message: Mapping[str, object],
        acts: Callable[[Mapping[str, object]], object] | None,
        heartbeat_s: float,
    ) -> None:
        found = self._topics.get(topic)
        if found is None:
            found = self._topics[topic] = _Topic(self._pace.gap_s, heartbeat_s, acts)
        found.message, found.seen_s = message, self._mono_s()

    # ---- what is due

    def renew(self) -> None:
        """A connection began: everything is to be said anew, whatever was said before."""
        for topic in self._topics.values():
            topic.said, topic.in_flight = None, False
            if not topic.cuts:
                topic.not_before_s, topic.refused = float("-inf"), ""

    def due(self) -> list[str]:
        """Topics to publish now: those that people act on first."""
        now_s = self._mono_s()
        ready = [(found.acts is None, name) for name, found in self._topics.items() if found.is_due(now_s)]
        return [name for _later, name in sorted(ready, key=lambda pair: pair[0])]

    def next_s(self) -> float:
        return min((found.due_s() for found in self._topics.values()), default=float("inf"))

    def contradicted(self, topic: str) -> None:
        """Somebody else wrote there: it is said anew, but not in a race with another that goes on writing there."""
        if (found := self._topics.get(topic)) is not None and found.said is not None:
            found.said, found.not_before_s = None, max(found.not_before_s, found.said_s + self._pace.gap_s)

    def fresh_s(self, topic: str) -> int:
        """For how long (real seconds) what it says holds without being said again."""
        return int(self._pace.fresh * self._topics[topic].heartbeat_s)

    def payload(self, topic: str, fresh_until: str | None = None) -> bytes:
        """What it says, and until when that holds, as JSON.

        Empty where it can't be said as JSON (logged: a mistake of ours, and no reason to say nothing else).
        """
        try:
            return compact({**self._topics[topic].message, "fresh_until": fresh_until})
        except (TypeError, ValueError) as exc:
            _log.error("MQTT: %s can't be said as JSON: %s", topic, exc)
            return b""

    # ---- what became of it

    def sent(self, topic: str) -> None:
        found = self._topics[topic]
        found.said, found.said_s, found.in_flight = found.message, self._mono_s(), True

    def confirmed(self, topic: str) -> None:
        if (found := self._topics.get(topic)) is not None:
            found.in_flight, found.refused, found.cuts = False, "", False

    def refused(self, topic: str, why: str, *, cuts: bool = False) -> None:
        if (found := self._topics.get(topic)) is None:
            return
        if not found.refused:
            # one access list refuses all twenty topics at once: the first is told, /health has them all
            first = not any(each.refused for each in self._topics.values())
            more = "; topics refused beside it are in /health" if first else ""
            _log.log(logging.WARNING if first else logging.DEBUG, "MQTT: the broker refuses %s: %s%s", topic, why, more)
        found.in_flight, found.said, found.refused = False, None, why
        found.cuts = cuts
        found.not_before_s = self._mono_s() + (self._pace.cuts_retry_s if cuts else self._pace.retry_s)

    def refusals(self) -> dict[str, str]:
        """Topics that the broker refuses at present, and why."""
        return {name: found.refused for name, found in list(self._topics.items()) if found.refused}

    # ---- what is gone

    def gone(self, known: frozenset[str]) -> list[str]:
        """Which of the topics published earlier the station no longer has; none until pictures have come for a while."""
        if self._shown_s is None or self._mono_s() - self._shown_s[0] < self._pace.ghost_s:
            return []
        gone_s = self._shown_s[1] - self._pace.ghost_s  # measured by pictures: a judge that draws none makes no ghosts
        for name in [name for name, found in self._topics.items() if found.seen_s < gone_s and not found.in_flight]:
            del self._topics[name]
        return sorted(known - self._topics.keys())


def _calm(message: object, restless: frozenset[str] = _RESTLESS) -> object:
    """A message without what is restless in it; what stands in a list is a condition."""
    if isinstance(message, Mapping):
        return {key: _calm(value, restless) for key, value in message.items() if key not in restless}
    if isinstance(message, list | tuple):
        return [_calm(value, _FIGURES) for value in message]
    return message


def _alarm_acts(alarm: Mapping[str, object]) -> object:
    return [alarm.get(key) for key in _ALARM_ACTS]


def _verdict_acts(verdict: Mapping[str, object]) -> object:
    conditions = cast("Iterable[ConditionPicture]", verdict.get("conditions", ()))
    return [verdict.get(key) for key in _VERDICT_ACTS], [(c.get("id"), c.get("state")) for c in conditions]
