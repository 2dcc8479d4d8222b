"""An alarm as others see it: its entry in the journal, and its picture, whose shape stands in edge/snapshot.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.alarms.catalogue import CATALOGUE, base_of, basin_of, key_of, message_id, row_of
from edge.domain.alarms.states import (
    ANSWERED,
    LIT,
    NOT_ASIDE,
    WAITING,
    Alarm,
    Announced,
    Answered,
    Aside,
    Band,
    Shelf,
    Since,
    State,
)
from edge.domain.entries import Entry, Now, rfc3339, wall_ms_of
from edge.domain.entry_bodies import AlarmBody
from edge.domain.messages import Message, as_told, moment, name, part, say

#: a reading that decided an alarm so long ago isn't taken for one of now (our own number)
OLD_MS: Final = 120_000


def since(alarm: Alarm, now: Now) -> str | None:
    """Since when it stands; never later than now, whatever clock an earlier boot had."""
    return None if alarm.since is None else rfc3339(min(alarm.since.wall_ms, now.wall_ms))


def row_message(alarm: Alarm, what: str) -> Message:
    """What its row says, or the site in its place: `what` is "consequence" or "response"."""
    own, basin = getattr(alarm.row, what), basin_of(alarm.id)
    if own != getattr(row_of(alarm.id), what):
        return as_told(own)
    ident = message_id(key_of(alarm.id), what)
    return say(ident, basin=name(basin)) if basin and what == "consequence" else say(ident)


def alarm_picture(alarm: Alarm, band: Band | None, until_ms: int | None, now: Now) -> dict[str, Any]:
    """Everything that is said of it but its row's texts; its cause is a message yet.

    Args:
        band: the limit that it compares a reading with.
        until_ms: the end of its shelf, milliseconds since 1970.
    """
    row, waits, answered = alarm.row, alarm.announced, alarm.answered
    lit = alarm.state is not State.NORMAL
    return {
        "id": alarm.id, "state": str(alarm.state), "active": alarm.present, "announced": alarm.state is State.UNACKNOWLEDGED,
        "priority": alarm.priority, "since": since(alarm, now) if lit else None,
        "since_at_latest": lit and alarm.since is not None and alarm.since.at_latest,
        "point": alarm.point, "value": alarm.value if lit else None, "unit": alarm.unit, "limit": alarm.limit,
        "cause": _cause(alarm, now) if lit else None,
        "respond_within_s": row.respond_within_s, "latching": row.latching,
        "acknowledged_by": None if answered is None else answered.by,
        "acknowledged_at": None if answered is None else rfc3339(answered.wall_ms),
        "consequence_of": alarm.consequence_of,
        "first_out": waits is not None and waits.first_out, "again": 0 if waits is None else waits.again,
        "crossings": (alarm.delay.comings if band is None else band.crossings) if alarm.present else 0,
        "escalated": waits is not None and waits.escalated,
        "aside_by": alarm.aside.by, "aside_why": alarm.aside.why, "aside_until": None if until_ms is None else rfc3339(until_ms),
        "seq": alarm.seq, "at": None if alarm.at_wall_ms is None else rfc3339(alarm.at_wall_ms),
    }  # fmt: skip


def _cause(alarm: Alarm, now: Now) -> Message | None:
    """Why it stands; where a reading decided it that isn't of now any more, with its time."""
    read_ms = None if alarm.since is None else alarm.since.read_ms
    if (
        not alarm.present
        or alarm.cause is None
        or alarm.value is None
        or read_ms is None
        or now.wall_ms - read_ms < OLD_MS
    ):
        return alarm.cause
    return say("alarm.read_at", cause=part(alarm.cause), at=moment(read_ms))


def alarm_body(alarm: Alarm, before: State, by: str | None, until_ms: int | None, now: Now) -> AlarmBody:
    """The entry of a change of state, or of one more announcement; its cause is to be said yet.

    Args:
        before: the state that it came from; unacknowledged where it is announced once more.
        by: who brought the change about.
        until_ms: the end of its shelf, milliseconds since 1970.
    """
    body: AlarmBody = {
        "id": alarm.id, "from": str(before), "to": str(alarm.state), "cause": "", "value": alarm.value, "unit": alarm.unit,
        "limit": alarm.limit, "since": since(alarm, now), "point": alarm.point,
        "priority": alarm.priority, "present": alarm.present,
    }  # fmt: skip
    if alarm.since is not None and alarm.since.at_latest:
        body["since_at_latest"] = True
    if by is not None:
        body["by"] = by
    if alarm.aside.why is not None:
        body["why"] = alarm.aside.why
    if alarm.consequence_of is not None:
        body["consequence_of"] = alarm.consequence_of
    if until_ms is not None:
        body["until"] = rfc3339(until_ms)
    waits = alarm.announced
    if waits is not None and alarm.state is State.UNACKNOWLEDGED:
        if waits.first_out:
            body["first_out"] = True
        if waits.again:
            body["again"] = waits.again
        if waits.escalated:
            body["escalated"] = True
    return body


def gone_body(ident: str, state: str) -> AlarmBody:
    """The entry of an alarm that the settings have no more; `state`: what it was in."""
    row = CATALOGUE.get(base_of(ident))
    return {
        "id": ident, "from": state, "to": str(State.NORMAL), "cause": "", "value": None,
        "unit": None, "limit": None, "since": None, "point": None, "priority": "low" if row is None else row.priority,
        "present": False,
    }  # fmt: skip


def kept_of(entry: Entry, alarm: Alarm) -> Mapping[str, Any]:
    """What an alarm's entry says of it, as Alarm.restore() takes it, but its cause; `alarm`: as the entries before left it."""
    body = entry.body
    state = State(body["to"])
    answers = state in ANSWERED and "by" in body
    is_aside = state in (State.SHELVED, State.OUT_OF_SERVICE)
    before = alarm.since if alarm.present and alarm.value == body["value"] else None
    read_ms = entry.wall_ms if before is None else before.read_ms
    began = None if body["since"] is None else wall_ms_of(body["since"])
    since = None if began is None else Since(began, bool(body.get("since_at_latest")), read_ms)
    return {
        "state": state, "present": body["present"], "since": since, "value": body["value"], "limit": body["limit"],
        "point": body["point"], "unit": body["unit"],
        "answered": Answered(body["by"], entry.wall_ms) if answers else None,
        "of": body.get("consequence_of"), "seq": entry.seq, "at": entry.wall_ms,
        "told": body["value"] if state in LIT else alarm.told,
        "aside": Aside(body.get("by"), body.get("why"), _shelf(entry)) if is_aside else NOT_ASIDE,
        "announced": _announced(entry, alarm.announced) if state in WAITING else None,
    }  # fmt: skip


def _shelf(entry: Entry) -> Shelf | None:
    """The shelf that an alarm entry tells of."""
    if "until" not in entry.body:
        return None
    return Shelf(entry.stamp, wall_ms_of(entry.body["until"]) - entry.wall_ms)


def _announced(entry: Entry, before: Announced | None) -> Announced | None:
    """The announcement that an alarm entry tells of; `before`: the one that stood."""
    body = entry.body
    if body["to"] != State.UNACKNOWLEDGED:
        return before
    if body["from"] != State.UNACKNOWLEDGED or before is None:
        return Announced(entry.stamp, entry.stamp, first_out=bool(body.get("first_out")))
    again, escalated = int(body.get("again", 0)), bool(body.get("escalated"))
    return before._replace(last=entry.stamp, again=again, escalated=escalated)
