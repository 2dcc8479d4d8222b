"""Records as entries."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any, Final

from edge.domain.entries import rfc3339
from edge.domain.errors import RecordRefused
from edge.domain.messages import MEMBERS, Message, as_json, both, say, text
from edge.domain.records.forms import KEPT, faults

DEEPEST: Final = 6
LONGEST_TEXT: Final = 4_000
#: a record as the journal keeps it, in bytes of JSON
MOST_BYTES: Final = 16 * 1024
#: beyond this JSON's whole numbers are no longer exact everywhere (RFC 8785 refuses them)
EXACT_BELOW: Final = 2**53


def as_draft_body(
    body: Mapping[str, Any], record: str, by: str, at_ms: int, why_not: Message | None, said: Callable[[Message], str],
    *, stands: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """The body of a record's entry: all that was sent but for what the station itself says, checked to be plain JSON; whether it counts.

    Args:
        why_not: why it doesn't count; None where it does.
        said: a message in words.
        stands: it keeps the station from starting, though it doesn't count.

    Raises:
        RecordRefused: something in it that a journal can't keep.
    """
    kept = {
        _plain(str(key), f"record '{record}'", 1): _plain(value, f"record '{record}', {str(key)[:60]}", DEEPEST)
        for key, value in body.items()
        if key not in KEPT and key not in MEMBERS
    }
    size = len(json.dumps(kept, ensure_ascii=False).encode())
    if size > MOST_BYTES:
        raise RecordRefused(
            f"it has {size} bytes",
            where=f"record '{record}'",
            expected=f"at most {MOST_BYTES // 1024} KiB",
            do="Send less; nothing was recorded",
        )
    kept |= {"record": record, "by": by, "at": rfc3339(at_ms), "counts": why_not is None}
    if why_not is not None:
        why = both(why_not, say("record.stands") if stands else None)
        kept |= {"why_not": said(why), "why_not_msg": as_json(why)}
    if why_not is not None and stands:
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


def form_fault(body: Mapping[str, Any]) -> Message | None:
    """Where the body of a known record doesn't fit its form; None where it does."""
    fault = next(faults(body), None)
    return None if fault is None else say("record.form", fault=text(str(fault)))
