"""The journal in a backup: its entries as the bytes that were hashed, in segments of JSON lines, packed.

A line is `{"trusted":true,"entry":…}`; what stands for … is what the chain's digest is made of, byte for byte. A segment that is full
never changes; the last one is written anew with what came to it.
"""

from __future__ import annotations

import gzip
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.backup.folder import BackupFolder, Kept
from edge.domain.errors import StoreFault
from edge.store.chain import FIRST_PREVIOUS, link
from edge.store.journal import ReadOnlyJournal
from edge.store.verify import says_lost

#: entries of a full segment
ENTRIES: Final = 5000
_PAGE: Final = 500
_ENDING: Final = ".jsonl.gz"
_HEADS: Final = {True: b'{"trusted":true,"entry":', False: b'{"trusted":false,"entry":'}
_TAIL: Final = b"}\n"
#: no line of ours is so long: a body is bounded
_MOST_LINE: Final = 16 << 20


class Segment(Kept):
    """Entries of a journal, from one seq to another."""

    first: int
    last: int
    entries: int


class Row(NamedTuple):
    """One entry as a journal keeps it."""

    seq: int
    hashed: bytes
    trusted: bool


class Chained(NamedTuple):
    """An entry that fits the one before it. `lost_from`: from this seq up to it entries were lost, as it says; 0: none."""

    row: Row
    digest: bytes
    lost_from: int


def copy(journal: ReadOnlyJournal, folder: BackupFolder, have: Sequence[Segment], up_to: int) -> list[Segment]:
    """The segments that hold the journal up to a seq; what `have` holds in full segments isn't copied again."""
    segments = list(have)
    while segments and segments[-1]["entries"] < ENTRIES:
        segments.pop()
    after = segments[-1]["last"] if segments else 0
    while rows := list(_rows(journal, after, up_to)):
        after = rows[-1].seq
        if have and after == have[-1]["last"] and len(segments) == len(have) - 1:
            return list(have)  # nothing has come to the last one
        stem = f"journal-{rows[0].seq:09d}-{after:09d}"
        kept = folder.put(stem, _ENDING, [packed(rows)])
        segments.append({**kept, "first": rows[0].seq, "last": after, "entries": len(rows)})
    return segments


def _rows(journal: ReadOnlyJournal, after: int, up_to: int) -> Iterator[Row]:
    """The next entries, at most a segment of them."""
    left = ENTRIES
    while left > 0:
        page = [row for row in journal.rows(after, min(_PAGE, left)) if row[0] <= up_to]
        if not page:
            return
        yield from (Row(seq, hashed, trusted) for seq, hashed, trusted in page)
        left -= len(page)
        after = page[-1][0]


def packed(rows: Sequence[Row]) -> bytes:
    """A segment's bytes; the same for the same entries."""
    return gzip.compress(b"".join(_HEADS[row.trusted] + row.hashed + _TAIL for row in rows), 6, mtime=0)


def read(folder: Path, segments: Sequence[Mapping[str, Any]]) -> Iterator[Row]:
    """The entries of segments, one by one. Raises StoreFault: a segment can't be read."""
    for segment in segments:
        path = folder / segment["name"]
        try:
            with gzip.open(path) as lines:
                while line := lines.readline(_MOST_LINE):
                    yield _row(line)
        except (OSError, EOFError, ValueError, zlib.error) as exc:
            raise StoreFault(
                f"it can't be read ({exc})", where=str(path), expected="entries as they were backed up",
                do="Take another backup; keep this one, it is evidence",
            ) from exc  # fmt: skip


def _row(line: bytes) -> Row:
    for trusted, head in _HEADS.items():
        if line.startswith(head) and line.endswith(_TAIL):
            hashed = line[len(head) : -len(_TAIL)]
            return Row(int(json.loads(hashed)["seq"]), hashed, trusted)
    raise ValueError("a line is no entry")


def chained(rows: Iterator[Row], seq: int = 0, digest: bytes = FIRST_PREVIOUS) -> Iterator[Chained]:
    """The entries with their digests, each looked at: does it follow the one before?

    Args:
        seq, digest: of the entry before the first.

    Raises:
        StoreFault: one doesn't.
    """
    for row in rows:
        lost_from = 0
        if row.seq != seq + 1:
            if row.seq < seq + 1 or not says_lost(row.hashed, seq + 1, row.seq):
                raise StoreFault(
                    f"after entry {seq} stands entry {row.seq}", where="the backup's journal", expected="an unbroken chain",
                    do="Take another backup; keep this one, it is evidence",
                )  # fmt: skip
            lost_from = seq + 1
        digest = link(digest, row.hashed)
        seq = row.seq
        yield Chained(row, digest, lost_from)
