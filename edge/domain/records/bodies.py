"""Records as entries, and what people do to alarms."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from edge.domain.alarms.states import Alarm, Event, State, next_state
from edge.domain.entries import Now, rfc3339
from edge.domain.errors import RecordRefused
from edge.domain.records.forms import KEPT

if TYPE_CHECKING:
    from edge.domain.alarms.system import AlarmDesk

DEEPEST: Final = 6
LONGEST_TEXT: Final = 4_000
#: a record as the journal keeps it, in bytes of JSON
MOST_BYTES: Final = 16 * 1024
LONGEST_SHELF_MS: Final = 24 * 3_600_000
#: beyond this JSON's whole numbers are no longer exact everywhere (RFC 8785 refuses them)
EXACT_BELOW: Final = 2**53


def as_draft_body(
    body: Mapping[str, Any], record: str, by: str, at_ms: int, why_not: str, *, stands: bool = False
) -> dict[str, Any]:
    """The body of a record's entry: everything that was sent, checked to be plain JSON, and whether it counts.

    Args:
        why_not: why it doesn't count; "" where it does.
        stands: it keeps the station from starting, though it doesn't count.

    Raises:
        RecordRefused: something in it that a journal can't keep.
    """
    kept = {
        _plain(str(key), f"record '{record}'", 1): _plain(value, f"record '{record}', {str(key)[:60]}", DEEPEST)
        for key, value in body.items()
        if key not in KEPT
    }
    size = len(json.dumps(kept, ensure_ascii=False).encode())
    if size > MOST_BYTES:
        raise RecordRefused(
            f"it has {size} bytes",
            where=f"record '{record}'",
            expected=f"at most {MOST_BYTES // 1024} KiB",
            do="Send less; nothing was recorded",
        )
    kept |= {"record": record, "by": by, "at": rfc3339(at_ms), "counts": not why_not}
    if why_not:
        kept["why_not"] = why_not + ("; it keeps the station from starting all the same" if stands else "")
    if why_not and stands:
        kept["stands"] = True
    return kept


def _plain(value: Any, where: str, depth: int) -> Any:
    def refused(what: str, expected: str) -> RecordRefused:
        return RecordRefused(what, where=where, expected=expected, do="Correct it and send it again")

    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        if abs(value) >= EXACT_BELOW:
            raise refused("the number is too large", "a number below 2^53")
        return value
    if isinstance(value, float):
        if not isfinite(value):
            raise refused("not a number", "a finite number")
        return value
    if isinstance(value, str):
        control = next((c for c in value if unicodedata.category(c) == "Cc" and c not in "\t\n\r"), None)
        if control is not None:
            raise refused(
                f"the text has the control character U+{ord(control):04X}", "text with none but tab and line end"
            )
        if len(value) > LONGEST_TEXT or any(0xD800 <= ord(c) <= 0xDFFF for c in value):
            raise refused("the text is too long or not whole Unicode", f"at most {LONGEST_TEXT} characters")
        return value
    if depth <= 0:
        raise refused("nested too deep", f"at most {DEEPEST} levels")
    if isinstance(value, Mapping):
        return {_plain(str(k), where, 1): _plain(v, f"{where}.{k}", depth - 1) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v, where, depth - 1) for v in value]
    raise refused(f"a {type(value).__name__}", "plain JSON")


#: what a record does to an alarm
_EVENTS: Final = {
    "acknowledge": Event.ACKNOWLEDGE, "shelve": Event.SHELVE, "unshelve": Event.UNSHELVE, "out_of_service": Event.REMOVE,
    "in_service": Event.RETURN_TO_SERVICE,
}  # fmt: skip


def to_alarms(desk: AlarmDesk, record: str, by: str, body: Mapping[str, Any], now: Now) -> None:
    """Carry out what a checked record does to an alarm."""
    ident = str(body["alarm"])
    if record == "shelve":
        desk.shelve(ident, by, shelf_ms(body), now)
        return
    desk.step(ident, _EVENTS[record], now, by=by)


def changes_nothing(alarm: Alarm, record: str) -> str:
    """Why a record does nothing to its alarm; "" where it does something."""
    after = next_state(alarm.state, _EVENTS[record], latching=alarm.latching, in_alarm=alarm.present)
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
