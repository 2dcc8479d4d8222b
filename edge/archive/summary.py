"""What the fleet's list tells of a station, out of its newest retained messages. No database here, and no broker.

What can't be read is unknown, and what is unknown is never ready. A station is silent once its verdict has outlived the time for which the
station itself said that it holds (`fresh_until`), counted from when it was said and from when it came: a station's clock that is ahead
keeps nothing alive. Where the broker says that it is lost, or it has stopped, it is silent at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

from edge.archive.messages import Unkept, object_of, without_nul
from edge.domain.entries import wall_ms_of

#: for a time that isn't known: of what was heard, and of what is due
NEVER: Final = datetime(1970, 1, 1, tzinfo=UTC)
FAR: Final = datetime(9999, 1, 1, tzinfo=UTC)
#: priority of an alarm as a number, the most urgent the highest
PRIORITIES: Final[Mapping[str, int]] = {"low": 1, "medium": 2, "high": 3}
#: an alarm that stands and that nobody put aside
_ASIDE: Final = frozenset({"normal", "shelved", "suppressed_by_design", "out_of_service"})
_VERDICTS: Final = frozenset({"ready", "not_ready", "unknown"})
_DISPLAYS: Final = frozenset({"ready", "in_use", "reheating", "not_ready", "cant_tell", "at_rest"})
_NODES: Final = frozenset({"online", "stopped", "lost"})
_LONGEST: Final = 400
_LONGEST_MSG: Final = 8192
#: the year 2200: a time behind it is none that somebody waits for
_LATEST_MS: Final = 7_258_118_400_000
_DAY: Final = timedelta(days=1)


class Summary(NamedTuple):
    """One row of the list, as its columns are called."""

    title: str
    timezone: str
    node: str
    verdict: str
    display: str
    said_at: datetime  # the verdict, by the station's clock
    heard_at: datetime
    silent_at: datetime
    expected_at: datetime
    first_text: str  # what to do first
    first_msg: str  # its message, as JSON
    alarm: int  # highest priority that stands
    alarms: int
    filters_due: datetime
    calibration_due: datetime


def summary_of(said: Mapping[str, tuple[bytes, datetime]]) -> Summary:
    """Sum a station up.

    Args:
        said: by topic below the station's own, the newest message and when it came.
    """
    node, verdict = (_object(said.get(topic)) for topic in ("node", "verdict"))
    came = said["verdict"][1] if "verdict" in said else NEVER
    last = max((at for _, at in said.values()), default=NEVER)
    word, at, until = (
        _one_of(node.get("state"), _NODES),
        _time(verdict.get("at"), NEVER),
        _time(verdict.get("fresh_until"), NEVER),
    )
    silent_at = min(until, came + max(until - at, timedelta())) if at > NEVER else NEVER
    if word != "online" and "node" in said:
        silent_at = min(silent_at, said["node"][1])
    heard_at = min(last, max(at, _time(node.get("at"), NEVER)))
    is_whole = _one_of(verdict.get("verdict"), _VERDICTS, "") != "" and at > NEVER
    stands, filters, calibrations = _alarms(said, at)
    tasks, msgs = verdict.get("waits_for"), verdict.get("waits_for_msgs")
    first = str(tasks[0]) if isinstance(tasks, list) and tasks else ""
    return Summary(
        _text(node.get("title")), _text(node.get("timezone")), word,
        str(verdict["verdict"]) if is_whole else "unknown",
        _one_of(verdict.get("display"), _DISPLAYS, "cant_tell") if is_whole else "cant_tell",
        at, heard_at, silent_at, _time(verdict.get("expected_at"), FAR), _text(first),
        _msg(msgs[0]) if isinstance(msgs, list) and msgs else "", max(stands, default=0), len(stands),
        min([*filters, *_used_up(said, at)], default=FAR), min(calibrations, default=FAR),
    )  # fmt: skip


def standing(alarm: Mapping[str, Any]) -> int:
    """The priority of an alarm that stands, as a number; 0 of one that doesn't, or was put aside. One without a word is urgent."""
    state = str(alarm.get("state"))
    if state in _ASIDE or not (alarm.get("active") or alarm.get("announced") or "latched" in state):
        return 0
    return PRIORITIES.get(str(alarm.get("priority")), 3)


def below(said: Mapping[str, tuple[bytes, datetime]], head: str, at: datetime) -> Iterator[dict[str, Any]]:
    """What is said below a topic, as far as it holds: what wasn't said again up to the verdict of `at` is no more (the station no longer
    has it)."""
    for topic, message in said.items():
        if topic.startswith(f"{head}/"):
            found = _object(message)
            if found and _time(found.get("fresh_until"), NEVER) >= at:
                yield found


def _alarms(
    said: Mapping[str, tuple[bytes, datetime]], at: datetime
) -> tuple[list[int], list[datetime], list[datetime]]:
    """Priorities of the alarms that stand; when filters are due by age or because they are used up; when calibrations are."""
    stands, filters, calibrations = list[int](), list[datetime](), list[datetime]()
    for alarm in below(said, "alarm", at):
        ident, duty = str(alarm.get("id")), alarm.get("duty")
        due = _time(duty.get("due_at"), FAR) if isinstance(duty, dict) else FAR
        priority = standing(alarm)
        if priority:
            stands.append(priority)
        if ident.startswith(("filter_due:", "duty_due:filter_change")):
            filters.append(min(due, _time(alarm.get("since"), at)) if alarm.get("active") else due)
        elif ident.startswith("duty_due:calibration:"):
            calibrations.append(min(due, _time(alarm.get("since"), at)) if alarm.get("active") else due)
    return stands, filters, calibrations


def _used_up(said: Mapping[str, tuple[bytes, datetime]], at: datetime) -> Iterator[datetime]:
    for one in below(said, "estimate", at):
        left = one.get("value")
        if isinstance(left, int | float) and 0 <= left < 100_000:
            yield _time(one.get("at"), at) + left * _DAY


def _object(message: tuple[bytes, datetime] | None) -> dict[str, Any]:
    if message is None:
        return {}
    try:
        return object_of(message[0])
    except Unkept:
        return {}


def _one_of(word: object, known: frozenset[str], otherwise: str = "unknown") -> str:
    return word if isinstance(word, str) and word in known else otherwise


def _time(text: object, otherwise: datetime) -> datetime:
    try:
        wall_ms = wall_ms_of(text) if isinstance(text, str) else -1
    except (ValueError, OverflowError):
        return otherwise
    return NEVER + timedelta(milliseconds=wall_ms) if 0 <= wall_ms < _LATEST_MS else otherwise


def _text(text: object) -> str:
    return without_nul(text)[:_LONGEST] if isinstance(text, str) else ""


def _msg(msg: object) -> str:
    text = json.dumps(msg)
    return text if len(text) <= _LONGEST_MSG else ""
