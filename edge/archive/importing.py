"""`warmwell archive import`: a journal's folder, brought on a stick or rescued from a card, as if it had come by MQTT."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.archive.messages import Place
from edge.archive.store import Message, Put, Store
from edge.domain.errors import UnusableInput
from edge.mqtt.topics import Topics, entry_message
from edge.store.chain import entry_of
from edge.store.database import JOURNAL_FILE, as_sentence, connect
from edge.store.verify import verify
from edge.store.whole import SegmentAway, Whole

_PIECE: Final = 1000


class Imported(NamedTuple):
    """What came of a folder. `wrong`: why no more of it was taken; "" where all was."""

    station: str
    up_to: int
    put: Put
    wrong: str


def import_folder(folder: Path, store: Store) -> Imported:
    """Keep what a journal holds up to the first entry that doesn't fit; the same bytes as the station tells.

    Raises:
        UnusableInput: there is no journal, or none of a station by name.
        StoreFault: the folder's disk refuses.
    """
    found = verify(folder)
    site, _, name = found.station.partition("/")
    if not found.station or not name:
        raise UnusableInput(
            f"holds no entry that could be taken ({found.why})", where=str(folder), expected=f"a folder with a {JOURNAL_FILE} that holds",
            do="Name the folder that [keep] of the station file names, or a copy of it",
        )  # fmt: skip
    last = found.first_bad_seq - 1 if found.first_bad_seq is not None else found.head_seq
    topics, put = Topics(site, name), Put()
    place = Place(site, name, "journal")
    path = folder if folder.is_file() else folder / JOURNAL_FILE
    for piece in _pieces(path, last, topics):
        put = put.plus(store.put([Message(topics.journal, place, message) for message in piece]))
    return Imported(found.station, last, put, "" if found.ok else found.why)


def _pieces(path: Path, last: int, topics: Topics) -> Iterator[list[bytes]]:
    """Up to entry `last`; those of a closed segment that isn't there are left out, as the caller was told."""
    with as_sentence(str(path)), closing(connect(path, readonly=True)) as conn, Whole(conn, path) as whole:
        mark, after = whole.mark(), 0
        while rows := _next(whole, after):
            rows = [row for row in rows if row[0] <= last]
            if not rows:
                return
            yield [
                entry_message(entry_of(hashed, bool(trusted)), topics.site, topics.station, mark, bytes(digest).hex())
                for _seq, hashed, digest, trusted in rows
            ]
            after = rows[-1][0]


def _next(whole: Whole, after: int) -> list[tuple[Any, ...]]:
    while True:
        try:
            return whole.rows("seq, hashed, digest, trusted", after, _PIECE)
        except SegmentAway as exc:
            after = exc.segment.last
