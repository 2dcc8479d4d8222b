"""What people do to alarms: which event a record is, for how long it shelves, and whether it changes anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.alarms.states import Alarm, Event, State, next_state
from edge.domain.entries import rfc3339
from edge.domain.errors import RecordRefused

LONGEST_SHELF_MS: Final = 24 * 3_600_000
#: what a record does to an alarm
EVENTS: Final = {
    "acknowledge": Event.ACKNOWLEDGE, "shelve": Event.SHELVE, "unshelve": Event.UNSHELVE, "out_of_service": Event.REMOVE,
    "in_service": Event.RETURN_TO_SERVICE,
}  # fmt: skip


def changes_nothing(alarm: Alarm, record: str) -> str:
    """Why a record does nothing to its alarm; "" where it does something."""
    after = next_state(alarm.state, EVENTS[record], latching=alarm.latching, in_alarm=alarm.present)
    if after is not alarm.state or record == "shelve":
        return ""
    if record == "acknowledge" and alarm.state is State.NORMAL:
        return f"{alarm.id} is normal: there is nothing to acknowledge"
    if record == "acknowledge" and alarm.acknowledged_by is not None and alarm.acknowledged_wall_ms is not None:
        return (
            f"{alarm.id} was acknowledged already, by {alarm.acknowledged_by} at {rfc3339(alarm.acknowledged_wall_ms)}"
        )
    return f"{alarm.id} is {str(alarm.state).replace('_', ' ')}: nothing changes"


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
