"""The chain of the journal: what is hashed, and how.

digest = SHA-256(previous digest || JCS({v, station, seq, boot, mono_ms, wall_ms, kind, body})); the first previous
digest is 32 zero bytes; JCS is the canonical JSON of RFC 8785.

`trusted` is not among the hashed members. It stands in a column of its own with a check sum that ties it to the entry's
digest: a changed mark is found by `verify`, but, unlike all else, a forger who knows the rule could change it without
contradicting a head that was noted outside.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from typing import Any, Final

import rfc8785

from edge.domain.entries import Entry

#: version of the hashed members
V: Final = 1
FIRST_PREVIOUS: Final = bytes(32)
MEMBERS: Final = frozenset({"v", "station", "seq", "boot", "mono_ms", "wall_ms", "kind", "body"})

_SAFE_INT: Final = 2**53 - 1  # RFC 8785 (I-JSON): beyond it a number isn't the same everywhere
_DEEPEST: Final = 64


def storable(value: Any, depth: int = 0) -> Any:
    """The value as JSON can hold it; nothing that a body may contain stops an entry from being kept.

    Not-a-number and infinities become null; integers beyond 2**53 the nearest number; lone surrogates U+FFFD; what JSON
    doesn't know its text.

    >>> storable({"value": float("nan"), 3: (1, 2)})
    {'value': None, '3': [1, 2]}
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _whole_text(str(value))
    if isinstance(value, int):
        return int(value) if -_SAFE_INT <= value <= _SAFE_INT else _near(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if depth >= _DEEPEST:
        return "(nested too deeply to be kept)"
    if isinstance(value, Mapping):
        return {str(storable(str(key))): storable(item, depth + 1) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [storable(item, depth + 1) for item in value]
    return storable(str(value))


def _whole_text(text: str) -> str:
    if text.isascii():
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def _near(value: int) -> float | None:
    try:
        return float(value)
    except OverflowError:
        return None


def canonical(document: Any) -> bytes:
    """RFC 8785 bytes of a JSON document."""
    return rfc8785.dumps(document)


def hashed_bytes(
    station: str, seq: int, boot: str, mono_ms: int, wall_ms: int, kind: str, body: Mapping[str, Any]
) -> bytes:
    """The bytes that are hashed and stored for one entry."""
    return canonical(
        {
            "v": V,
            "station": station,
            "seq": seq,
            "boot": boot,
            "mono_ms": mono_ms,
            "wall_ms": wall_ms,
            "kind": kind,
            "body": storable(body),
        }
    )


#: the end of an entry's bytes (RFC 8785: members in the order of their names): all but its body, which is most of the work of reading it.
#: A text within can't look like it, as its quotes are escaped, and no object within has these members.
_ENDS: Final = re.compile(
    rb'\},"boot":"([^"\\]*)","kind":"([a-z_]+)","mono_ms":(-?\d+),"seq":(\d+),"station":"([^"\\]*)","v":(\d+),"wall_ms":(-?\d+)\}$'
)


def all_but_body(hashed: bytes) -> dict[str, Any] | None:
    """An entry's members as its bytes end, with an empty body; None where they have to be read whole. Raises ValueError."""
    found = _ENDS.search(hashed)
    if found is None or not hashed.startswith(b'{"body":{'):
        return None
    boot, kind, mono_ms, seq, station, v, wall_ms = found.groups()
    return {
        "body": {}, "boot": boot.decode(), "kind": kind.decode(), "mono_ms": int(mono_ms), "seq": int(seq), "station": station.decode(),
        "v": int(v), "wall_ms": int(wall_ms),
    }  # fmt: skip


def link(previous: bytes, hashed: bytes) -> bytes:
    """The digest of an entry, from the digest before it and its own bytes."""
    return hashlib.sha256(previous + hashed).digest()


def trust_check(digest: bytes, trusted: bool) -> bytes:
    """The check sum that ties `trusted` to an entry."""
    return hashlib.sha256(digest + (b"trusted" if trusted else b"untrusted")).digest()[:16]


def entry_of(hashed: bytes, trusted: bool) -> Entry:
    """The entry that the stored bytes say.

    Raises:
        ValueError: they aren't such an entry.
    """
    said = json.loads(hashed)
    if not isinstance(said, dict) or said.keys() != MEMBERS or not isinstance(said["body"], dict):
        raise ValueError("not an entry of the journal")
    return Entry(said["seq"], said["boot"], said["mono_ms"], said["wall_ms"], trusted, said["kind"], said["body"])
