"""Time as the domain sees it, and the journal's entries."""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final, Literal, NamedTuple, TypedDict

from edge.domain.vocabulary import Digest, EntryKind, JournalMark, Time

#: kinds of entry; adding is free, renaming is not
KINDS: Final = frozenset(
    (
        "started stopped settings clock_step bus alarm verdict phase draw heat_up cool_down transfer filter_day contradiction advice "
        "record told untold repair settings_refused power duty_dropped access"
    ).split()
)


class Now(NamedTuple):
    """One instant: monotonic since boot, wall since 1970 (UTC), and whether the wall clock is trusted."""

    mono_ms: int
    wall_ms: int
    trusted: bool


class Draft(NamedTuple):
    """An entry before the journal gives it its seq. `body` holds only what JSON can: str, int, float, bool, None, list, dict; the shape of
    each kind's is in entry_bodies.py."""

    now: Now
    kind: str
    body: Mapping[str, Any]


class Stamp(NamedTuple):
    """What the journal stamps an entry with."""

    boot: str
    mono_ms: int
    wall_ms: int
    trusted: bool


class EntryJson(TypedDict):
    """An entry of the journal as it is published. It never changes: what comes twice is the same."""

    seq: int  # from 1, without gaps but where the journal lost entries
    boot: str  # the run of the board
    mono_ms: int  # since that boot
    at: Time
    trusted: bool  # the station's clock, then
    kind: EntryKind
    body: Mapping[str, Any]


class SignedHead(TypedDict):
    """The end that the journal had, signed by the station: Ed25519 (RFC 8032) over the RFC 8785 form of all members but `signature`."""

    what: Literal["signed_head"]
    v: Literal[1]
    station: str  # site/id
    journal: JournalMark
    seq: int  # of the last entry then
    digest: Digest  # of that entry, over all before it
    at: Time  # by the station's clock
    trusted: bool  # that clock
    key: Digest  # of the public key: of its SubjectPublicKeyInfo (RFC 8410) in DER
    signature: str  # base64


class Entry(NamedTuple):
    """An entry of the journal."""

    seq: int
    boot: str
    mono_ms: int
    wall_ms: int
    trusted: bool
    kind: str
    body: Mapping[str, Any]

    @property
    def stamp(self) -> Stamp:
        """What it was stamped with."""
        return Stamp(self.boot, self.mono_ms, self.wall_ms, self.trusted)

    def as_json(self) -> EntryJson:
        """The shape that is published: times as RFC 3339 UTC with milliseconds."""
        return {
            "seq": self.seq,
            "boot": self.boot,
            "mono_ms": self.mono_ms,
            "at": rfc3339(self.wall_ms),
            "trusted": self.trusted,
            "kind": self.kind,
            "body": self.body,
        }


_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def rfc3339(wall_ms: int) -> str:
    """Milliseconds since 1970 as RFC 3339 UTC with milliseconds.

    >>> rfc3339(1773640200123)
    '2026-03-16T05:50:00.123Z'
    """
    seconds, millis = divmod(wall_ms, 1000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{millis:03d}Z"


def wall_ms_of(text: str) -> int:
    """RFC 3339 with Z or an offset, as milliseconds since 1970.

    Raises:
        ValueError: not such a time, or without an offset.

    >>> wall_ms_of("2026-03-16T05:50:00.123Z")
    1773640200123
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no offset")
    delta = moment - _EPOCH
    return (delta.days * 86_400 + delta.seconds) * 1000 + (delta.microseconds + 500) // 1000
