"""Does the journal hold? The chain from its first entry to its newest, through every closed segment; the guards; a head noted outside.

The journal is read in pieces, by short reads, so that a running daemon is not held up; nothing is written. What a closed segment's
last digest has to be follows from the entry behind it, so a head that is signed or noted covers the segments, too: one that was
moved away is told from one that was exchanged, and entries cut off the beginning from entries in a segment.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple
from urllib.parse import quote

from edge.domain.entries import Entry
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.caches import FOLD_FILE, Caches
from edge.store.chain import FIRST_PREVIOUS, MEMBERS, V, all_but_body, entry_of, link, trust_check
from edge.store.database import JOURNAL_FILE, Damaged, as_sentence, connect, fault, looks_like_sqlite, newer_store
from edge.store.fold_check import difference, invented, left_out, reader
from edge.store.schema import JOURNAL_VERSION, has_entries, wrong_triggers
from edge.store.whole import PUT_BACK, Head, Segment, SegmentAway, Whole, sha256_of

#: entries of one read
_PIECE: Final = 1000
_JSON: Final = json.JSONDecoder()
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
    unseen: tuple[tuple[str, int, int], ...] = ()  # closed segments that aren't here: file, first and last entry

    @property
    def unseen_alone(self) -> bool:
        """Whether nothing is wrong but that closed segments aren't here."""
        return bool(self.unseen) and self.first_bad_seq is None and self.why == unseen_text(self.unseen)


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
    bodies: Collection[str] | None = None,
) -> Verified:
    """Check the journal of a folder, also while a daemon runs on it.

    Args:
        folder: the folder, or the journal file itself.
        head: (seq, digest in hex) noted outside, as the retained `head` topic publishes it: finds entries cut off the
            end and a chain that was forged whole.
        progress: called with (entries checked, entries in all) now and then.
        refold: (the fold version of this program, what works a state out anew): the whole saved state is compared, not only its facts.
        seen: so that whoever needs the entries, too, needn't read them a second time.
        bodies: of which kinds its bodies are read; None: of all. Of others they are in the digests alone, and `seen` is shown an empty one.

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
            return _verify_file(path, head, refold, _Walk(progress=progress, seen=seen, bodies=bodies))
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


def _verify_file(path: Path, head: tuple[int, str] | None, refold: tuple[int, Refold] | None, walk: _Walk) -> Verified:
    conn = _open_to_look(path)
    try:
        version = conn.execute("PRAGMA user_version").fetchone()[0]
        if version > JOURNAL_VERSION:
            raise newer_store(path, str(version), JOURNAL_VERSION)
        if not has_entries(conn):
            return Verified(False, None, f"{path.name} holds no table of entries", 0, FIRST_PREVIOUS.hex())
        return _verify_chain(conn, path, head, refold, walk)
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
    refold: tuple[int, Refold] | None,
    walk: _Walk,
) -> Verified:
    with Whole(conn, path) as whole:
        unseen = list[tuple[str, int, int]]()
        misfit = _along(whole, path, walk, unseen)
        at = (walk.seq, walk.digest.hex(), walk.station or "")
        rest = (tuple(walk.lost), tuple(unseen))
        if misfit is None and head is not None:
            misfit = _against_head(whole, head, walk.seq, walk.lost)
        if misfit is not None:
            return Verified(False, misfit.seq, misfit.why, *at, *rest)
        wrong = wrong_triggers(conn)
        if wrong:
            return Verified(
                False, None, f"the chain holds, but the journal is not guarded: {'; '.join(wrong)}", *at, *rest
            )
        if unseen:  # nor can it be told whether the saved state follows from all entries
            return Verified(False, None, unseen_text(unseen), *at, *rest)
        forged = _forged_fold(whole, path.parent, refold)
        if forged:
            return Verified(
                False, None, f"the chain holds, but the saved state {FOLD_FILE} doesn't follow from it: {forged}", *at, *rest
            )  # fmt: skip
    return Verified(True, None, "the chain holds" + lost_text(walk.lost), *at, *rest)


def _along(whole: Whole, path: Path, walk: _Walk, unseen: list[tuple[str, int, int]]) -> Misfit | None:
    """Along the whole chain; `unseen` gets the closed segments that aren't here."""
    walk.of, done = sum(segment.entries for segment in whole.segments()) + (whole.count() if walk.progress else 0), 0
    while True:
        for segment in whole.segments()[done:]:
            done += 1
            misfit = _in_closed(walk, whole, path, segment, done, unseen)
            if misfit is not None:
                return misfit
        border, lost, first = Head(walk.seq, walk.digest), list(walk.lost), _first_live(whole)
        misfit = _in_live(walk, whole, path, first)
        if misfit is None or (len(whole.segments()) == done and _first_live(whole) == first):
            return misfit
        walk.go_on(
            border
        )  # a daemon that runs has closed a segment meanwhile, or took entries of one out of journal.db
        walk.lost = lost


def _in_closed(
    walk: _Walk, whole: Whole, path: Path, segment: Segment, number: int, unseen: list[tuple[str, int, int]]
) -> Misfit | None:
    if segment.number != number or segment.first <= walk.seq:
        return Misfit(walk.seq + 1, f"{path.name} doesn't list the closed segment {number}, or not in its place")
    try:
        conn = whole.within(segment)
    except SegmentAway:
        unseen.append((segment.name, segment.first, segment.last))
        walk.go_on(Head(segment.last, segment.digest))
        return None
    except StoreFault as exc:
        return Misfit(segment.first, _in_segment(segment, exc.what))
    misfit = _in_file(walk, conn, segment.name)
    if misfit is not None:
        return Misfit(misfit.seq, _in_segment(segment, misfit.why))
    if (walk.seq, walk.digest) != (segment.last, segment.digest):
        return Misfit(segment.first, _in_segment(segment, f"it isn't the one that {path.name} lists"))
    if sha256_of(path.with_name(segment.name)) != segment.sha256:
        return Misfit(segment.first, _in_segment(segment, "its entries fit, but the file isn't as it was closed"))
    return None


def _first_live(whole: Whole) -> int:
    try:
        return whole.first_live()
    except sqlite3.DatabaseError:  # the walk says which entry can't be read
        return whole.border().seq + 1


def _in_live(walk: _Walk, whole: Whole, path: Path, first: int) -> Misfit | None:
    """Those of journal.db; of a segment that is being taken out of it some stand there, too, and have to be the same."""
    border = Head(walk.seq, walk.digest)
    if first <= border.seq:
        try:
            before = whole.before(first)
            walk.go_on(Head(before, whole.digest(before) or FIRST_PREVIOUS))
        except SegmentAway:
            pass
    misfit = _in_file(walk, whole.conn, path.name)
    if misfit is None and first <= border.seq and whole.live_digest(border.seq) not in (None, border.digest):
        misfit = Misfit(border.seq, f"{path.name} and the closed segment that ends with it have different ones")
    return misfit


def _in_file(walk: _Walk, conn: sqlite3.Connection, name: str) -> Misfit | None:
    try:
        return walk.first_misfit(conn)
    except sqlite3.DatabaseError as exc:
        told = fault(exc, name)
        if not isinstance(told, Damaged):
            raise
        return Misfit(walk.seq + 1, f"it can't be read, {told.what}")


def _in_segment(segment: Segment, why: str) -> str:
    return f"{segment.told}: {why}. Keep the file, it is evidence, under another name. {PUT_BACK}"


def unseen_text(unseen: Sequence[tuple[str, int, int]]) -> str:
    """Words for closed segments that aren't here; none where all are.

    >>> unseen_text([("journal-000001.db", 1, 25000)])[:63]
    'what is here holds; not here, so nobody knows of them: journal-'
    """
    names = ", ".join(f"{name} (entries {first} to {last})" for name, first, last in unseen)
    return f"what is here holds; not here, so nobody knows of them: {names}. {PUT_BACK}" if unseen else ""


def _forged_fold(whole: Whole, folder: Path, refold: tuple[int, Refold] | None) -> str:
    """Why the saved state can't come from these entries; "" where it does, where there is none, or none that is used."""
    caches = Caches(folder, whole.digest)
    saved = caches.load_fold(None)
    if saved is None:
        return ""  # damaged, or of another journal: a start passes it over
    seq, state = saved
    try:
        forged = invented(state, reader(whole)) or left_out(state, whole, seq)
    except (ValueError, TypeError, KeyError) as exc:
        return f"its facts are none ({exc})"
    if forged or refold is None or caches.load_fold(refold[0]) is None:
        return forged  # a state of another fold version is not used: a start works it out anew
    return _no_sum(whole, seq, state, refold[1])


def _no_sum(whole: Whole, seq: int, state: dict[str, Any], refold: Refold) -> str:
    """In what a saved state isn't what the entries up to `seq` add up to; "" where it is, or where they tell no settings."""
    found = [difference(state, worked_out) for worked_out in refold(lambda: _entries(whole, seq))]
    return "" if "" in found else next(iter(found), "")


def _entries(whole: Whole, up_to: int) -> Iterator[Entry]:
    """In pieces, as _Walk reads them."""
    after = 0
    while piece := [row for row in whole.rows("seq, hashed, trusted", after, _PIECE) if row[0] <= up_to]:
        yield from (entry_of(hashed, bool(trusted)) for _, hashed, trusted in piece)
        after = piece[-1][0]


def lost_text(lost: Sequence[tuple[int, int]]) -> str:
    """Words for entries that a journal itself says it lost; none where it lost none.

    >>> lost_text([(101, 274)])
    '; it says itself that entries 101 to 274 were lost'
    """
    spans = ", ".join(f"{first} to {last}" for first, last in lost)
    return f"; it says itself that entries {spans} were lost" if lost else ""


def _against_head(whole: Whole, head: tuple[int, str], last_seq: int, lost: Sequence[tuple[int, int]]) -> Misfit | None:
    seq, digest = head
    if any(first <= seq <= last for first, last in lost):
        return Misfit(seq, "it was lost, as a later entry says")
    if seq > last_seq:
        return Misfit(last_seq + 1, f"the journal ends at {last_seq}; the noted head is {seq}: entries were cut off")
    try:
        there = (whole.digest(seq) or FIRST_PREVIOUS).hex()
    except SegmentAway as exc:
        return Misfit(seq, f"the noted head can't be compared: {exc.what}. {PUT_BACK}")
    if there != digest.lower():
        return Misfit(seq, f"its digest is {there[:16]}…, the noted head says {digest[:16].lower()}…: another chain")
    return None


def first_misfit(conn: sqlite3.Connection, after: Head, station: str | None = None) -> Misfit | None:
    """The first entry in one file behind `after` that doesn't fit the one before it. `station`: whose journal it must be."""
    return _Walk(after, station).first_misfit(conn)


class Counted(NamedTuple):
    """Entries of one file that fit each other: how many, and the first and the last one."""

    entries: int
    first: Head
    last: Head


def count_chained(conn: sqlite3.Connection, after: Head, station: str | None = None) -> Counted | Misfit:
    """Along the entries of a closed segment, each of them, from the border before it."""
    found = list[int]()
    walk = _Walk(after, station, seen=lambda seq, _said, _trusted: found.append(seq))
    misfit = walk.first_misfit(conn)
    if misfit is None and not found:
        misfit = Misfit(after.seq + 1, "it holds none")
    if misfit is not None:
        return misfit
    first = conn.execute("SELECT digest FROM entry WHERE seq = ?", (found[0],)).fetchone()[0]
    return Counted(len(found), Head(found[0], bytes(first)), Head(walk.seq, walk.digest))


_START: Final = Head(0, FIRST_PREVIOUS)


class _Walk:
    """One walk along the chain, through one file after the other."""

    def __init__(
        self,
        after: Head = _START,
        station: str | None = None,
        progress: Callable[[int, int], None] | None = None,
        seen: Seen | None = None,
        bodies: Collection[str] | None = None,
    ) -> None:
        self.progress, self._seen, self._bodies = progress, seen, bodies
        (self.seq, self.digest), self.station = after, station
        self._own_station = station is None
        self.lost: list[tuple[int, int]] = []
        self.of = self._told = 0  # entries in all; how far `seen` was told

    def go_on(self, after: Head) -> None:
        """Behind an entry that isn't looked at."""
        self.seq, self.digest = after

    def first_misfit(self, conn: sqlite3.Connection) -> Misfit | None:
        for row in self._rows(conn):
            misfit = self._look(row)
            if misfit is not None:
                return misfit
            self.seq, self.digest = row.seq, row.digest
        return None

    def _rows(self, conn: sqlite3.Connection) -> Iterator[_Row]:
        """In pieces by key, so that no read stays open. A row below seq 1 would hide from `seq > 0`: it comes first."""
        sql = "SELECT seq, hashed, digest, trusted, trust_check FROM entry"
        before = conn.execute(f"{sql} WHERE seq < 1 ORDER BY seq LIMIT 1").fetchall()
        yield from (_Row(*row) for row in before)
        after = self.seq
        while piece := self._piece(conn, f"{sql} WHERE seq > ? ORDER BY seq LIMIT ?", after):
            yield from (_Row(*row) for row in piece)
            after = piece[-1][0]
            if self.progress:
                self.progress(min(after, self.of), self.of)

    @staticmethod
    def _piece(conn: sqlite3.Connection, sql: str, after: int) -> list[tuple[int, bytes, bytes, int, bytes]]:
        try:
            return conn.execute(sql, (after, _PIECE)).fetchall()
        except sqlite3.DatabaseError:
            return conn.execute(sql, (after, 1)).fetchall()  # one by one up to the one that can't be read

    def _look(self, row: _Row) -> Misfit | None:
        expected = self.seq + 1
        if row.seq > expected and says_lost(row.hashed, expected, row.seq):
            self.lost.append((expected, row.seq - 1))
        elif row.seq != expected:
            return Misfit(expected, "it is missing" if row.seq > expected else f"an entry {row.seq} stands before it")
        if {type(row.hashed), type(row.digest), type(row.trust_check)} != {bytes}:
            return Misfit(row.seq, "a column is not of the kind that is written")
        if link(self.digest, row.hashed) != row.digest:
            return Misfit(row.seq, "its digest doesn't fit its content and the entry before it")
        return self._content(row)

    def _content(self, row: _Row) -> Misfit | None:
        try:
            said = None if self._bodies is None else all_but_body(row.hashed)
            if said is None or said["kind"] in (self._bodies or ()):
                text = row.hashed.decode()
                said, length = _JSON.raw_decode(text)  # years of entries: half of the time of json.loads()
                if length != len(text):
                    return Misfit(row.seq, "its content is no JSON")
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
        if self._seen is not None and row.seq > self._told:
            self._told = row.seq
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


__all__ = ["Counted", "Misfit", "Verified", "count_chained", "first_misfit", "lost_text", "parse_head", "verify"]
