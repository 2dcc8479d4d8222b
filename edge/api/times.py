"""Times as people and programs write them in requests, understood or refused in one sentence.

Accepted: RFC 3339 with Z or an offset; a date alone, the first instant of that day in the station's zone; UNIX seconds. A time of
day without a zone is refused, as a replay's records refuse it: who sends it may sit in another zone, and one hour a year comes
twice. A record is evidence; its time is never guessed.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from edge.api.problems import Problem
from edge.domain.entries import rfc3339
from edge.domain.strict_json import shown

_TIME: Final = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)"
    r"(?:[Tt ](\d\d):(\d\d)(?::(\d\d)(?:\.(\d{1,9}))?)?"
    r"(?:([Zz])|([+\- ])(\d\d):(\d\d))?)?",  # a '+' that was not percent-encoded arrives as a blank
    re.ASCII,
)
_SECONDS: Final = re.compile(r"\d{1,17}(?:\.\d{1,9})?", re.ASCII)
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_END_S: Final = 253_370_764_800  # 9999-01-01: nothing beyond it can be written as RFC 3339 in every zone
END_MS: Final = _END_S * 1000


def zone_of(name: str) -> tzinfo:
    """The station's zone; UTC where its name isn't known here."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return UTC


def wall_ms_of(text: str, zone: tzinfo, where: str) -> int:
    """The instant that `text` means, milliseconds since 1970.

    Raises:
        Problem: 422, no such time.

    >>> wall_ms_of("2026-03-16T05:50:00Z", ZoneInfo("Europe/Dublin"), "from") == wall_ms_of("1773640200", UTC, "from")
    True
    """
    text = text.strip()
    if _SECONDS.fullmatch(text):
        return _from_seconds(text, where)
    match = _TIME.fullmatch(text)
    if match is None:
        raise _refused(f"{shown(text)} is no time that is understood here", where)
    if match.group(4) is not None and match.group(8, 9) == (None, None):
        raise _refused(
            f"{shown(text)} doesn't say its zone",
            where,
            f"Z or an offset behind it, such as {text[:40]}Z or {text[:40]}+01:00",
        )
    try:
        return _from_parts(match, zone, text, where)
    except (ValueError, OverflowError) as exc:
        raise _refused(f"{shown(text)} is no such time ({exc})", where) from None


def span_ms(from_: str | None, to: str | None, now_ms: int, else_ms: int, zone: tzinfo, path: str) -> tuple[int, int]:
    """The instants that a request's `from` and `to` mean, milliseconds since 1970; left out: now, and `else_ms` before `to`.

    Raises:
        Problem: 422, no such time, or no time between the two.
    """
    to_ms = now_ms if to is None else wall_ms_of(to, zone, f"{path}, to")
    from_ms = max(0, to_ms - else_ms) if from_ is None else wall_ms_of(from_, zone, f"{path}, from")
    if from_ms >= to_ms:
        raise Problem(
            422, f"from is {rfc3339(from_ms)}, to is {rfc3339(to_ms)}", where=path, expected="from before to", do="Swap or widen them"
        )  # fmt: skip
    return from_ms, to_ms


def _from_seconds(text: str, where: str) -> int:
    whole, _, rest = text.partition(".")
    seconds = int(whole)
    if seconds >= _END_S:
        hint = "looks like milliseconds" if seconds // 1000 < _END_S else "lies beyond the year 9998"
        raise _refused(f"{text} {hint}", where)
    return seconds * 1000 + int((rest + "000")[:3])


def _from_parts(match: re.Match[str], zone: tzinfo, text: str, where: str) -> int:
    year, month, day = (int(part) for part in match.group(1, 2, 3))
    hour, minute, second = (int(part or 0) for part in match.group(4, 5, 6))
    if not 1970 <= year <= 9998:
        raise _refused(f"the year of {shown(text)} is {year}", where, "a year from 1970 to 9998")
    if hour == 24:
        raise _refused(f"{shown(text)} has an hour 24", where, "00:00 of the next day")
    is_leap_second = second == 60
    moment = datetime(year, month, day, hour, minute, 59 if is_leap_second else second, tzinfo=_zone(match, zone))
    moment = moment.astimezone(UTC)
    if is_leap_second:
        if (moment.hour, moment.minute) != (23, 59):
            raise _refused(f"{shown(text)} has a second 60", where, "a leap second only at 23:59:60 UTC")
        moment += timedelta(seconds=1)  # UNIX time has no leap seconds: the first instant after it
    since = moment - _EPOCH
    millis = 0 if is_leap_second else int(((match.group(7) or "") + "000")[:3])
    return max(0, (since.days * 86_400 + since.seconds) * 1000 + millis)


def _zone(match: re.Match[str], station: tzinfo) -> tzinfo:
    utc, sign, hours, minutes = match.group(8, 9, 10, 11)
    if utc:
        return UTC
    if sign is None:  # a date alone
        return station
    if int(hours) > 23 or int(minutes) > 59:
        raise ValueError("its offset is none")
    offset = timedelta(hours=int(hours), minutes=int(minutes))
    return timezone(-offset if sign == "-" else offset)


def _refused(what: str, where: str, expected: str | None = None) -> Problem:
    wanted = "a time such as 2026-03-16T05:50:00Z or 2026-03-16T06:50:00+01:00, a date, or UNIX seconds"
    return Problem(422, what, where=where, expected=expected or wanted, do="Correct the time and ask again")
