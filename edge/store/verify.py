"""Does the journal hold? The chain from its first entry to its newest, the guards, and a head noted outside.

The journal is read in pieces, by short reads, so that a running daemon is not held up; nothing is written.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple
from urllib.parse import quote

from edge.domain.entries import Entry
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.caches import FOLD_FILE, Caches
from edge.store.chain import FIRST_PREVIOUS, MEMBERS, V, entry_of, link, trust_check
from edge.store.database import JOURNAL_FILE, Damaged, as_sentence, connect, fault, looks_like_sqlite, newer_store
from edge.store.fold_check import difference, invented, left_out, reader
from edge.store.schema import JOURNAL_VERSION, has_entries, wrong_triggers

#: entries of one read
_PIECE: Final = 1000
#: is shown each entry that fits, in their order: its seq, its members as they are hashed, and whether its clock was trusted
Seen = Callable[[int, dict[str, Any], bool], None]
#: what works out the states that entries (handed over as something that reads them from the first) can have led to
Refold = Callable[[Callable[[], Iterable[Entry]]], Iterator[dict[str, Any]]]


class Verified(NamedTuple):
    """What verify found. `first_bad_seq` is None where it holds, or where what is wrong is no single entry."""

    ok: bool
    first_bad_seq: int | None
    why: str
    head_seq: int
    head_digest: str
    station: str = ""
    lost: tuple[tuple[int, int], ...] = ()  # entries that are gone, first and last; the chain itself says so


class Misfit(NamedTuple):
    """The first entry that doesn't fit, and why. `other_station`: it fits, but in another station's journal."""

    seq: int
    why: str
    other_station: str = ""


class _Row(NamedTuple):
    seq: int
    hashed: bytes
    digest: bytes
    trusted: int
    trust_check: bytes


def verify(
    folder: Path,
    head: tuple[int, str] | None = None,
    progress: Callable[[int, int], None] | None = None,
    *,
    refold: tuple[int, Refold] | None = None,
    seen: Seen | None = None,
) -> Verified:
    """Check the journal of a folder, also while a daemon runs on it.

    Args:
        folder: the folder, or the journal file itself.
        head: (seq, digest in hex) noted outside, as the retained `head` topic publishes it: finds entries cut off the
            end and a chain that was forged whole.
        progress: called with (entries checked, entries in all) now and then.
        refold: (the fold version of this program, what works a state out anew): the whole saved state is compared, not only its facts.
        seen: so that whoever needs the entries, too, needn't read them a second time.

    Raises:
        UnusableInput: there is no journal, or the head isn't one.
        NewerStore: a later version wrote it.
        StoreFault: the disk refuses.
    """
    path = folder if folder.is_file() else folder / JOURNAL_FILE
    _refuse_unusable(path, head)
    if not looks_like_sqlite(path):
        return Verified(False, None, f"{path.name} is empty or not an SQLite file", 0, FIRST_PREVIOUS.hex())
    try:
        with as_sentence(str(path)):
            return _verify_file(path, head, progress, refold, seen)
    except Damaged as exc:
        return Verified(False, None, exc.what, 0, FIRST_PREVIOUS.hex())


def parse_head(text: str) -> tuple[int, str]:
    """`SEQ:DIGEST` as the command line takes it.

    Raises:
        UnusableInput: it is not.

    >>> parse_head("0:" + "0" * 64)[0]
    0
    """
    seq, _, digest = text.partition(":")
    try:
        if len(bytes.fromhex(digest)) == 32 and int(seq) >= 0:
            return int(seq), digest.lower()
    except ValueError:
        pass
    raise UnusableInput(
        f"{text!r} is no head of a journal",
        where="--head",
        expected="SEQ:DIGEST, such as 17:9f86d08… with 64 hex digits",
        do="Copy seq and digest from the retained `head` topic or an earlier verify",
    )


def _refuse_unusable(path: Path, head: tuple[int, str] | None) -> None:
    if head is not None:
        parse_head(f"{head[0]}:{head[1]}")
    if not path.is_file():
        raise UnusableInput(
            "there is no journal",
            where=str(path.parent),
            expected=f"a folder with {JOURNAL_FILE}",
            do="Name the folder that [keep] of the station file names",
        )


def _verify_file(
    path: Path,
    head: tuple[int, str] | None,
    progress: Callable[[int, int], None] | None,
    refold: tuple[int, Refold] | None,
    seen: Seen | None,
) -> Verified:
    conn = _open_to_look(path)
    try:
        version = conn.execute("PRAGMA user_version").fetchone()[0]
        if version > JOURNAL_VERSION:
            raise newer_store(path, str(version), JOURNAL_VERSION)
        if not has_entries(conn):
            return Verified(False, None, f"{path.name} holds no table of entries", 0, FIRST_PREVIOUS.hex())
        return _verify_chain(conn, path, head, progress, refold, seen)
    finally:
        conn.close()


def _open_to_look(path: Path) -> sqlite3.Connection:
    """A read-only connection; on a read-only disk the file alone, where its log holds nothing more."""
    try:
        return connect(path, readonly=True)
    except StoreFault as exc:
        log = path.with_name(path.name + "-wal")
        if type(exc) is not StoreFault or (log.exists() and log.stat().st_size > 0):
            raise
    return sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1", uri=True)


def _verify_chain(
    conn: sqlite3.Connection,
    path: Path,
    head: tuple[int, str] | None,
    progress: Callable[[int, int], None] | None,
    refold: tuple[int, Refold] | None,
    seen: Seen | None,
) -> Verified:
    walk = _Walk(conn, progress=progress, seen=seen)
    try:
        misfit = walk.first_misfit()
    except sqlite3.DatabaseError as exc:
        told = fault(exc, JOURNAL_FILE)
        if not isinstance(told, Damaged):
            raise
        misfit = Misfit(walk.seq + 1, f"it can't be read, {told.what}")
    at = (walk.seq, walk.digest.hex(), walk.station or "")
    if misfit is not None:
        return Verified(False, misfit.seq, misfit.why, *at)
    if head is not None:
        cut = _against_head(conn, head, walk.seq, walk.lost)
        if cut is not None:
            return Verified(False, cut.seq, cut.why, *at)
    wrong = wrong_triggers(conn)
    if wrong:
        return Verified(False, None, f"the chain holds, but the journal is not guarded: {'; '.join(wrong)}", *at)
    forged = _forged_fold(conn, path.parent, refold)
    if forged:
        return Verified(
            False, None, f"the chain holds, but the saved state {FOLD_FILE} doesn't follow from it: {forged}", *at
        )
    return Verified(True, None, "the chain holds" + lost_text(walk.lost), *at, tuple(walk.lost))


def _forged_fold(conn: sqlite3.Connection, folder: Path, refold: tuple[int, Refold] | None) -> str:
    """Why the saved state can't come from these entries; "" where it does, where there is none, or none that is used."""
    entry_at = reader(conn)

    def digest_at(seq: int) -> bytes | None:
        row = conn.execute("SELECT digest FROM entry WHERE seq = ?", (seq,)).fetchone()
        return bytes(row[0]) if row else FIRST_PREVIOUS if seq == 0 else None

    caches = Caches(folder, digest_at)
    saved = caches.load_fold(None)
    if saved is None:
        return ""  # damaged, or of another journal: a start passes it over
    seq, state = saved
    try:
        forged = invented(state, entry_at) or left_out(state, conn, seq)
    except (ValueError, TypeError, KeyError) as exc:
        return f"its facts are none ({exc})"
    if forged or refold is None or caches.load_fold(refold[0]) is None:
        return forged  # a state of another fold version is not used: a start works it out anew
    return _no_sum(conn, seq, state, refold[1])


def _no_sum(conn: sqlite3.Connection, seq: int, state: dict[str, Any], refold: Refold) -> str:
    """In what a saved state isn't what the entries up to `seq` add up to; "" where it is, or where they tell no settings."""
    found = [difference(state, worked_out) for worked_out in refold(lambda: _entries(conn, seq))]
    return "" if "" in found else next(iter(found), "")


def _entries(conn: sqlite3.Connection, up_to: int) -> Iterator[Entry]:
    """In pieces, as _Walk reads them."""
    sql, after = "SELECT seq, hashed, trusted FROM entry WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?", 0
    while piece := conn.execute(sql, (after, up_to, _PIECE)).fetchall():
        yield from (entry_of(hashed, bool(trusted)) for _, hashed, trusted in piece)
        after = piece[-1][0]


def lost_text(lost: Sequence[tuple[int, int]]) -> str:
    """Words for entries that a journal itself says it lost; none where it lost none.

    >>> lost_text([(101, 274)])
    '; it says itself that entries 101 to 274 were lost'
    """
    spans = ", ".join(f"{first} to {last}" for first, last in lost)
    return f"; it says itself that entries {spans} were lost" if lost else ""


def _against_head(
    conn: sqlite3.Connection, head: tuple[int, str], last_seq: int, lost: Sequence[tuple[int, int]]
) -> Misfit | None:
    seq, digest = head
    if any(first <= seq <= last for first, last in lost):
        return Misfit(seq, "it was lost, as a later entry says")
    if seq > last_seq:
        return Misfit(last_seq + 1, f"the journal ends at {last_seq}; the noted head is {seq}: entries were cut off")
    row = conn.execute("SELECT digest FROM entry WHERE seq = ?", (seq,)).fetchone()
    there = bytes(row[0]).hex() if row else FIRST_PREVIOUS.hex()
    if there != digest.lower():
        return Misfit(seq, f"its digest is {there[:16]}…, the noted head says {digest[:16].lower()}…: another chain")
    return None


def first_misfit(conn: sqlite3.Connection, after: int = 0, station: str | None = None) -> Misfit | None:
    """The first entry with seq > after that doesn't fit the one before it. `station`: whose journal it must be."""
    return _Walk(conn, after, station).first_misfit()


class _Walk:
    """One walk along the chain."""

    def __init__(
        self,
        conn: sqlite3.Connection,
        after: int = 0,
        station: str | None = None,
        progress: Callable[[int, int], None] | None = None,
        seen: Seen | None = None,
    ) -> None:
        self._conn, self._progress, self._seen = conn, progress, seen
        self.seq, self.digest, self.station = after, FIRST_PREVIOUS, station
        self._own_station = station is None
        self.lost: list[tuple[int, int]] = []
        self._all: int = conn.execute("SELECT count(*) FROM entry").fetchone()[0] if progress else 0

    def first_misfit(self) -> Misfit | None:
        if self.seq:
            row = self._conn.execute("SELECT digest FROM entry WHERE seq = ?", (self.seq,)).fetchone()
            if row is None:
                return Misfit(self.seq, "it is missing")
            self.digest = bytes(row[0])
        for row in self._rows():
            misfit = self._look(row)
            if misfit is not None:
                return misfit
            self.seq, self.digest = row.seq, row.digest
        return None

    def _rows(self) -> Iterator[_Row]:
        """In pieces by key, so that no read stays open. A row below seq 1 would hide from `seq > 0`: it comes first."""
        sql = "SELECT seq, hashed, digest, trusted, trust_check FROM entry"
        if self.seq == 0:
            before = self._conn.execute(f"{sql} WHERE seq < 1 ORDER BY seq LIMIT 1").fetchall()
            yield from (_Row(*row) for row in before)
        after = self.seq
        while piece := self._piece(f"{sql} WHERE seq > ? ORDER BY seq LIMIT ?", after):
            yield from (_Row(*row) for row in piece)
            after = piece[-1][0]
            if self._progress:
                self._progress(min(after, self._all), self._all)

    def _piece(self, sql: str, after: int) -> list[tuple[int, bytes, bytes, int, bytes]]:
        try:
            return self._conn.execute(sql, (after, _PIECE)).fetchall()
        except sqlite3.DatabaseError:
            return self._conn.execute(sql, (after, 1)).fetchall()  # one by one up to the one that can't be read

    def _look(self, row: _Row) -> Misfit | None:
        expected = self.seq + 1
        if row.seq > expected and says_lost(row.hashed, expected, row.seq):
            self.lost.append((expected, row.seq - 1))
        elif row.seq != expected:
            return Misfit(expected, "it is missing" if row.seq > expected else f"an entry {row.seq} stands before it")
        if not all(isinstance(part, bytes) for part in (row.hashed, row.digest, row.trust_check)):
            return Misfit(row.seq, "a column is not of the kind that is written")
        if link(self.digest, row.hashed) != row.digest:
            return Misfit(row.seq, "its digest doesn't fit its content and the entry before it")
        return self._content(row)

    def _content(self, row: _Row) -> Misfit | None:
        try:
            said = json.loads(row.hashed)
        except ValueError:
            return Misfit(row.seq, "its content is no JSON")
        if not isinstance(said, dict) or said.keys() != MEMBERS or said["v"] != V or not isinstance(said["body"], dict):
            return Misfit(row.seq, "its content isn't that of an entry")
        if said["seq"] != row.seq:
            return Misfit(row.seq, f"its content is that of entry {said['seq']}")
        if row.trusted not in (0, 1) or trust_check(row.digest, bool(row.trusted)) != row.trust_check:
            return Misfit(row.seq, "its mark of whether the clock was trusted was changed")
        if self.station is None:
            self.station = said["station"]
        if said["station"] != self.station:
            other = "" if self._own_station else str(said["station"])
            return Misfit(row.seq, f"it is of station {said['station']}, the journal of {self.station}", other)
        if self._seen is not None:
            self._seen(row.seq, said, bool(row.trusted))
        return None


def says_lost(hashed: object, first: int, seq: int) -> bool:
    """Whether an entry says that those between `first` and itself were lost: no gap but a told one."""
    try:
        said = json.loads(hashed)  # type: ignore[arg-type]  # what isn't bytes raises
        body = said["body"]
        return bool(
            said["kind"] == "repair" and body["what"] == "lost" and (body["from"], body["to"]) == (first, seq - 1)
        )
    except (ValueError, TypeError, KeyError):
        return False


__all__ = ["Misfit", "Verified", "first_misfit", "lost_text", "parse_head", "verify"]
