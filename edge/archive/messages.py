"""From a message to what is kept of it. No database here, and no broker."""

from __future__ import annotations

import json
import re
from typing import Any, Final, NamedTuple

from edge.domain.entries import wall_ms_of
from edge.mqtt.topics import ROOT

MARK: Final = re.compile(r"[0-9a-f]{16}")
DIGEST: Final = re.compile(r"[0-9a-f]{64}")
_LAST: Final = 2**53
_STATE: Final = re.compile(r"node|head|verdict|alarm/.+|estimate/filter/[^/]+/left")
LARGEST: Final = 1 << 20


class Unkept(ValueError):
    """A message that can't be kept as an entry; its text says why."""


class Place(NamedTuple):
    """Whose message it is, and of what."""

    site: str
    station: str
    what: str


class Kept(NamedTuple):
    """An entry, as it is kept."""

    site: str
    station: str
    journal: str
    seq: int
    at: str
    trusted: bool
    kind: str
    digest: bytes
    message: bytes
    body: str | None  # None: PostgreSQL's jsonb has no word for something in it
    lost: tuple[int, int] | None  # the entries before it that the station itself lost, as it says


def place_of(topic: str) -> Place | None:
    """Where a message came from; None where the topic is none of a station's."""
    levels = topic.split("/")
    if len(levels) != 5 or "/".join(levels[:2]) != ROOT:
        return None
    return Place(*levels[2:])


def state_of(topic: str) -> Place | None:
    """The same of a retained topic that the archive keeps; `what` may have levels, as alarm/outlet_tripped/heater. None: of any other."""
    levels = topic.split("/")
    if len(levels) < 5 or "/".join(levels[:2]) != ROOT or not all(levels):
        return None
    what = "/".join(levels[4:])
    return Place(levels[2], levels[3], what) if _STATE.fullmatch(what) else None


def entry_of(place: Place, message: bytes) -> Kept:
    """What is kept of a message of the journal.

    Raises:
        Unkept: it is no entry of this station, or lacks what tells it from others.
    """
    if len(message) > LARGEST:
        raise Unkept(f"it has {len(message)} bytes")
    said = object_of(message)
    own = said.get("site"), said.get("station")
    if own != (place.site, place.station):
        raise Unkept(f"it says that it is of {str(own[0])[:60]}/{str(own[1])[:60]}")
    seq, journal, digest, body = (said.get(key) for key in ("seq", "journal", "digest", "body"))
    if type(seq) is not int or not 0 < seq < _LAST:
        raise Unkept("it has no seq")
    if not isinstance(journal, str) or not MARK.fullmatch(journal):
        raise Unkept("it doesn't say of which journal it is")
    if not isinstance(digest, str) or not DIGEST.fullmatch(digest):
        raise Unkept("it has no digest")
    at, trusted, kind = said.get("at"), said.get("trusted"), said.get("kind")
    if not isinstance(kind, str) or not isinstance(trusted, bool) or not isinstance(body, dict) or not _is_time(at):
        raise Unkept("it has no kind, time, mark of the clock or body")
    plain = _for_jsonb(body)
    lost = _lost(body, seq) if kind == "repair" else None
    return Kept(
        place.site, place.station, journal, seq, str(at), trusted, without_nul(kind), bytes.fromhex(digest), message, plain, lost
    )  # fmt: skip


def object_of(message: bytes) -> dict[str, Any]:
    """The JSON object in a message. Raises Unkept."""
    try:
        said = json.loads(message)
    except (ValueError, RecursionError) as exc:
        raise Unkept("it is no JSON") from exc
    if not isinstance(said, dict):
        raise Unkept("it is no JSON object")
    return said


def _is_time(at: object) -> bool:
    try:
        return 0 <= wall_ms_of(str(at)) < 253_402_300_800_000  # the year 10000
    except (ValueError, OverflowError):
        return False


def without_nul(text: str) -> str:
    """A column of text can't hold U+0000; the message can."""
    return text.replace("\0", "�").encode("utf-8", "replace").decode()


def _for_jsonb(body: dict[str, Any]) -> str | None:
    """A body for jsonb: U+0000 and halves of characters have no word there (PostgreSQL's documentation, 8.14)."""
    text = json.dumps(body)
    return None if re.search(r"\\u(0000|d[89ab][0-9a-f]{2}(?!\\ud[c-f]))", text) else text


def _lost(body: dict[str, Any], seq: int) -> tuple[int, int] | None:
    first, last = body.get("from"), body.get("to")
    if body.get("what") == "lost" and type(first) is int and type(last) is int and 0 < first <= last == seq - 1:
        return first, last
    return None
