"""Records as entries, and what people do to alarms."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from edge.domain.alarms import Event
from edge.domain.entries import Now, rfc3339
from edge.domain.errors import RecordRefused

if TYPE_CHECKING:
    from edge.domain.alarmdesk import AlarmDesk

DEEPEST: Final = 6
LONGEST_TEXT: Final = 4_000
LONGEST_SHELF_MS: Final = 24 * 3_600_000
#: beyond this JSON's whole numbers are no longer exact everywhere (RFC 8785 refuses them)
EXACT_BELOW: Final = 2**53


def as_draft_body(body: Mapping[str, Any], record: str, by: str, at_ms: int, counts: bool, why: str) -> dict[str, Any]:
    """The body of a record's entry: everything that was sent, checked to be plain JSON, and whether it counts.

    Raises:
        RecordRefused: something in it that a journal can't keep.
    """
    kept = {
        str(key): _plain(value, f"record '{record}', {key}", DEEPEST)
        for key, value in body.items()
        if key not in ("counts", "why_not")
    }
    kept |= {"record": record, "by": by, "at": rfc3339(at_ms), "counts": counts}
    if why:
        kept["why_not"] = why
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
        if len(value) > LONGEST_TEXT or any(0xD800 <= ord(c) <= 0xDFFF for c in value):
            raise refused("the text is too long or not whole Unicode", f"at most {LONGEST_TEXT} characters")
        return value
    if depth <= 0:
        raise refused("nested too deep", f"at most {DEEPEST} levels")
    if isinstance(value, Mapping):
        return {str(k): _plain(v, f"{where}.{k}", depth - 1) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v, where, depth - 1) for v in value]
    raise refused(f"a {type(value).__name__}", "plain JSON")


def to_alarms(desk: AlarmDesk, record: str, by: str, body: Mapping[str, Any], now: Now) -> None:
    """Carry out what a checked record does to an alarm."""
    ident = str(body["alarm"])
    if record == "shelve":
        desk.shelve(ident, by, shelf_ms(body), now)
        return
    event = {
        "acknowledge": Event.ACKNOWLEDGE, "unshelve": Event.UNSHELVE, "out_of_service": Event.REMOVE, "in_service": Event.RETURN_TO_SERVICE,
    }[record]  # fmt: skip
    desk.step(ident, event, now, by=by)


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
