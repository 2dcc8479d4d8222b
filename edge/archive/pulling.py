"""`warmwell archive pull`: a station's journal by its API, as if it had come by MQTT; nothing of it where its chain doesn't fit.

The API tells entries without digests, and its head with one. So each entry's digest is worked out here, from the last one that the archive
holds without a gap on, and the entries are kept only once the chain has come to the very digest that the head says. Until then
they stand in a temporary file. What was kept before isn't asked for again.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from typing import IO, Any, Final, NamedTuple
from urllib.parse import urlencode

from edge.archive.messages import DIGEST, LARGEST, MARK, Place
from edge.archive.store import Message, Put, Store
from edge.domain.entries import Entry, wall_ms_of
from edge.domain.errors import UnusableInput, WarmwellError
from edge.mqtt.topics import Topics, entry_message
from edge.store.chain import FIRST_PREVIOUS, hashed_bytes, link
from edge.store.verify import says_lost

_PIECE: Final = 200
_TRIES: Final = 4
_LAST: Final = 2**53

#: the JSON object at a path of the station's API; raises WarmwellError
Get = Callable[[str], Mapping[str, Any]]


class Pulled(NamedTuple):
    """What came of it. `after`: up to which entry the archive had all before; `up_to`: of the head that was pulled to."""

    station: str
    journal: str
    after: int
    up_to: int
    put: Put


class Head(NamedTuple):
    """The end of a station's journal, as its API says it."""

    site: str
    name: str
    journal: str
    seq: int
    digest: bytes


def pull(
    get: Get,
    store: Store,
    where: str,
    *,
    sites: tuple[str, ...] = (),
    wanted: str = "",
    rest: Callable[[float], None] = time.sleep,
) -> Pulled:
    """Keep what a station has and the archive lacks.

    Args:
        where: the station's address, for what is refused.
        sites: of the archive; none: every one.
        wanted: the station that it has to be, as SITE/STATION; "": any.

    Raises:
        UnusableInput: it isn't the station that was meant, or what it tells doesn't fit: nothing of it is kept.
        WarmwellError: the station doesn't answer, or breaks off again and again; nothing of this run is kept.
    """
    head = _head(get, where)
    _is_meant(head, where, sites, wanted)
    topics = Topics(head.site, head.name)
    after, digest = store.holds_up_to(head.site, head.name, head.journal)
    if after > head.seq:  # it has a head that is older than what it told: not the journal that was heard
        raise _misfit(
            where,
            f"its journal ends at entry {head.seq}, and the archive has {after} of it",
            f"a journal of {after} entries or more",
        )
    with tempfile.TemporaryFile(prefix="warmwell-pull-") as spool:
        walk = _Walk(topics, head, after, digest or FIRST_PREVIOUS, where)
        for entry in _entries(get, after, head.seq, where, rest):
            message = walk.step(entry)
            spool.write(len(message).to_bytes(4, "big") + message)
        walk.ends()
        put = Put()
        for piece in _pieces(spool):
            put = put.plus(
                store.put([Message(topics.journal, Place(head.site, head.name, "journal"), one) for one in piece])
            )
    return Pulled(f"{head.site}/{head.name}", head.journal, after, head.seq, put)


def _head(get: Get, where: str) -> Head:
    said = get("/api/1/head")
    site, _, name = str(said.get("station")).partition("/")
    seq, journal, digest = said.get("seq"), said.get("journal"), said.get("digest")
    if type(seq) is int and seq == 0 and site and name:
        raise UnusableInput(
            "its journal is empty", where=where, expected="a station with entries", do="Ask again once it runs"
        )
    is_well = type(seq) is int and 0 < seq < _LAST and isinstance(journal, str) and isinstance(digest, str)
    if not (site and name and is_well and MARK.fullmatch(str(journal)) and DIGEST.fullmatch(str(digest))):
        raise _misfit(where, "it doesn't say where its journal ends", "station, journal, seq and digest at /api/1/head")
    Topics(site, name)
    return Head(site, name, str(journal), int(str(seq)), bytes.fromhex(str(digest)))


def _is_meant(head: Head, where: str, sites: tuple[str, ...], wanted: str) -> None:
    station = f"{head.site}/{head.name}"
    if wanted and station != wanted:
        raise UnusableInput(
            f"it is {station[:120]}", where=where, expected=wanted[:120], do="Correct the address, or --station"
        )
    if sites and head.site not in sites:
        expected = f"a station of {', '.join(sites)[:200]}"
        raise UnusableInput(
            f"it is of the site {head.site[:60]}",
            where=where,
            expected=expected,
            do="Correct the address, or `sites` of the file",
        )


class _Walk:
    """Along the chain, from the last entry that the archive has."""

    def __init__(self, topics: Topics, head: Head, after: int, digest: bytes, where: str) -> None:
        self._topics, self._head, self._where = topics, head, where
        self._seq, self._digest = after, digest

    def step(self, said: Mapping[str, Any]) -> bytes:
        """The message of the next entry, as the station tells it by MQTT."""
        topics, head = self._topics, self._head
        try:
            entry = Entry(
                said["seq"], said["boot"], said["mono_ms"], wall_ms_of(said["at"]), said["trusted"], said["kind"], said["body"]
            )  # fmt: skip
            hashed = hashed_bytes(f"{head.site}/{head.name}", *entry[:4], entry.kind, entry.body)
        except (KeyError, TypeError, ValueError, AttributeError) as exc:
            raise _misfit(
                self._where,
                f"what follows entry {self._seq} is no entry ({exc})",
                "entries as /api/1/journal tells them",
            ) from exc
        if entry.seq != self._seq + 1 and not (entry.seq > self._seq and says_lost(hashed, self._seq + 1, entry.seq)):
            raise _misfit(self._where, f"entry {entry.seq} follows entry {self._seq}", f"entry {self._seq + 1}")
        self._seq, self._digest = entry.seq, link(self._digest, hashed)
        if entry.seq == 1 and self._digest.hex()[:16] != head.journal:
            raise _misfit(
                self._where,
                f"entry 1 isn't the first of journal {head.journal}",
                "the entry that its journal is named by",
            )
        message = entry_message(entry, topics.site, topics.station, head.journal, self._digest.hex())
        if len(message) > LARGEST:
            raise _misfit(self._where, f"entry {entry.seq} has {len(message)} bytes", f"at most {LARGEST}")
        return message

    def ends(self) -> None:
        """At the station's head, or not at all."""
        if (self._seq, self._digest) != (self._head.seq, self._head.digest):
            what = (
                f"its chain comes to another digest at entry {self._seq} than its head says at entry {self._head.seq}"
            )
            raise _misfit(
                self._where, what, "entries that fit each other, the head, and what the archive has of this journal"
            )


def _entries(get: Get, after: int, last: int, where: str, rest: Callable[[float], None]) -> Iterator[Mapping[str, Any]]:
    """Those after `after`, up to `last`; an answer that breaks off is asked for again."""
    tries = 0
    while after < last:
        try:
            page = get(f"/api/1/journal?{urlencode({'after': after, 'limit': min(_PIECE, last - after)})}")
        except UnusableInput:
            raise
        except WarmwellError:
            tries += 1
            if tries == _TRIES:
                raise
            rest(float(2**tries))
            continue
        tries, entries = 0, page.get("entries")
        if not isinstance(entries, list) or not entries or not all(isinstance(one, dict) for one in entries):
            raise _misfit(
                where, f"it tells nothing after entry {after}, and its journal ends at {last}", "entries up to its head"
            )
        for entry in entries:
            seq = entry.get("seq")
            if type(seq) is not int or not after < seq < _LAST:
                raise _misfit(where, f"what follows entry {after} is no entry", "entries as /api/1/journal tells them")
            if seq > last:
                return
            after = seq
            yield entry


def _pieces(spool: IO[bytes]) -> Iterator[list[bytes]]:
    spool.seek(0)
    piece: list[bytes] = []
    while size := spool.read(4):
        piece.append(spool.read(int.from_bytes(size, "big")))
        if len(piece) == 5 * _PIECE:
            yield piece
            piece = []
    if piece:
        yield piece


def _misfit(where: str, what: str, expected: str) -> UnusableInput:
    return UnusableInput(
        f"{what}; nothing of it was kept", where=where, expected=expected,
        do="See with `warmwell verify` on the board whether its journal holds, and that no other program answers at this address",
    )  # fmt: skip
