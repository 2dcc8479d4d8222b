"""What people do to alarms: which event a record is, for how long it shelves, and whether it changes anything."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, Final

from edge.domain.alarms.states import Alarm, Event, State, next_state
from edge.domain.entries import Now, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.messages import Message, moment, name, say

LONGEST_SHELF_MS: Final = 24 * 3_600_000
#: what a record does to an alarm
EVENTS: Final = {
    "acknowledge": Event.ACKNOWLEDGE, "reset": Event.RESET, "shelve": Event.SHELVE, "unshelve": Event.UNSHELVE,
    "out_of_service": Event.REMOVE, "in_service": Event.RETURN_TO_SERVICE,
}  # fmt: skip


def why_not(
    alarms: Mapping[str, Alarm], record: str, body: Mapping[str, Any], form_fault: Message | None, now: Now
) -> Message | None:
    """Why this record doesn't count: the fault of its form, or that it would change nothing; None where it does.

    Raises:
        RecordRefused: no such alarm here, or a shelf without an end.
    """
    ident = body.get("alarm")
    if not isinstance(ident, str) or ident not in alarms:
        near = difflib.get_close_matches(str(ident), alarms, 1)
        raise RecordRefused(
            f"no alarm {ident!r} at this station", where=f"record '{record}', alarm",
            expected=f"{near[0]!r} perhaps" if near else "the id of one of its alarms", do="Look at /api/1/alarms for the ids",
        )  # fmt: skip
    if record == "shelve":
        shelf_ms(body)
        if form_fault is None and (left_ms := shelf_left_ms(body, now)) <= 0:
            return say("record.shelf_over", ended=moment(now.wall_ms + left_ms))
    return form_fault or _changes_nothing(alarms[ident], record)


def _changes_nothing(alarm: Alarm, record: str) -> Message | None:
    """Why a record does nothing to its alarm; None where it does something."""
    ident = name(alarm.id)
    after = next_state(alarm.state, EVENTS[record], latching=alarm.row.latching, in_alarm=alarm.present)
    if after is not alarm.state or (record == "shelve" and alarm.state is State.SHELVED):
        return None
    if record == "acknowledge" and alarm.state is State.NORMAL:
        return say("record.nothing_to_acknowledge", alarm=ident)
    if record == "acknowledge" and alarm.answered is not None:
        by, at = name(alarm.answered.by), moment(alarm.answered.wall_ms)
        return say("record.acknowledged_already", alarm=ident, by=by, at=at)
    return say("record.changes_nothing", alarm=ident, state=name(alarm.state))


def shelf_left_ms(body: Mapping[str, Any], now: Now) -> int:
    """How much of a shelf is still to come: it begins when it is said to, by a clock that is right."""
    began_ms = wall_ms_of(body["at"]) if now.trusted and body.get("at") is not None else now.wall_ms
    return shelf_ms(body) - max(now.wall_ms - began_ms, 0)


def shelf_ms(body: Mapping[str, Any]) -> int:
    """How long a shelf lasts: `minutes`, above 0, at most a day.

    Raises:
        RecordRefused: none, or too long: a shelf has an end.
    """
    minutes = body.get("minutes")
    if (
        isinstance(minutes, bool)
        or not isinstance(minutes, int | float)
        or not 0 < minutes * 60_000 <= LONGEST_SHELF_MS
    ):
        raise RecordRefused(
            f"minutes is {minutes!r}",
            where="record 'shelve', minutes",
            expected="more than 0, at most 1440",
            do="Say for how long",
        )
    return int(minutes * 60_000)
