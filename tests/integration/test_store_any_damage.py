"""A hundred random damages of every file of the store: no answered entry is lost without a word, no cache stops a start."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from edge.daemon.unkept import UnkeptJournal
from edge.domain.errors import StoreFault, WarmwellError
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, STATION, WALL_MS, draft, seconds

ENTRIES = 60
JOURNAL_FILES = ("journal.db", "journal.db-wal", "journal.db-shm")
OTHER_FILES = (
    "series.db", "series.db-wal", "series.db-shm", "series.tail", "head", "cursors", "fold.json", "lock", "reserve",
)  # fmt: skip


def flip(content: bytearray, dice: random.Random) -> None:
    content[dice.randrange(len(content))] ^= 1 << dice.randrange(8)


def scribble(content: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(content))
    length = min(dice.randrange(1, 3000), len(content) - at)
    content[at : at + length] = dice.randbytes(length)


def blank(content: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(content)) // 1024 * 1024
    content[at : at + 1024] = bytes(len(content[at : at + 1024]))


def cut(content: bytearray, dice: random.Random) -> None:
    del content[dice.randrange(len(content)) :]


def replaced(content: bytearray, dice: random.Random) -> None:
    content[:] = dice.randbytes(len(content))


def header(content: bytearray, dice: random.Random) -> None:
    content[dice.randrange(min(100, len(content)))] = dice.randrange(256)


WAYS: list[Callable[[bytearray, random.Random], None]] = [flip, scribble, blank, cut, replaced, header]


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Path]]:
    """A folder as a crash leaves it, with its logs, and one that was closed in order."""
    made = tmp_path_factory.mktemp("stores")
    running = made / "running"
    journal, series = Journal(running, STATION, "boot"), Series(running, POINTS, "boot")
    series.note_clock("boot", 0, WALL_MS, True)
    for number in range(ENTRIES):
        if number == ENTRIES // 2:  # one half in the file, one in its log
            journal._conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            journal._watch.wrote()
        journal.append([draft(number)])
    journal.save_fold(ENTRIES, 7, {"word": "ready"})
    journal.move_cursor("mqtt", ENTRIES)
    for first in range(0, 8000, 500):
        for burst in seconds(first, first + 500):
            series.append(burst)
        assert series.flush()
    shutil.copytree(running, made / "crashed")
    series.close()
    journal.close()
    yield {"crashed": made / "crashed", "closed": running}


def said_or_whole(folder: Path, journal: Journal) -> bool:
    """Every entry that was answered is there as it was, or the journal says which are lost."""
    entries = journal.append([draft(999)])
    there = {entry.seq: entry.body.get("number") for entry in journal.read(0, 10_000)}
    lost = [e.body for e in entries if e.kind == "repair"]
    gone = {seq for seq in range(1, ENTRIES + 1) if there.get(seq) != seq - 1}
    told = {seq for body in lost if body["what"] == "lost" for seq in range(body["from"], body["to"] + 1)}
    return gone <= told and entries[-1].seq > ENTRIES


def damaged(folder: Path, file: str, dice: random.Random) -> bool:
    path = folder / file
    if not path.exists():
        return False
    content = bytearray(path.read_bytes())
    if not content:
        return False
    dice.choice(WAYS)(content, dice)
    path.write_bytes(content)
    return True


#: ten damages each
SHARES = int(os.environ.get("WARMWELL_DAMAGES", "10"))


@pytest.mark.parametrize("share", range(SHARES))
def test_no_damage_loses_an_answered_entry_without_a_word(stores: dict[str, Path], tmp_path: Path, share: int) -> None:
    dice = random.Random(f"damage {share}")
    for number in range(10):
        folder, kind = tmp_path / f"store-{number}", dice.choice(["crashed", "closed"])
        shutil.copytree(stores[kind], folder)
        file = dice.choice((*JOURNAL_FILES, *OTHER_FILES))
        if not damaged(folder, file, dice):
            continue
        what = f"{kind}, {file}, number {number} of share {share}"
        try:
            journal = Journal(folder, STATION, "boot")
        except WarmwellError:  # the journal itself: it is refused with a sentence, and verify says so too
            assert file in JOURNAL_FILES, what
            continue
        try:
            series = Series(folder, POINTS, "boot-2")
            series.note_clock("boot-2", 0, WALL_MS, True)
            for burst in seconds(0, 20):
                series.append(burst)
            assert series.flush(), what
            list(series.rows())
            assert series.status()["trouble"] is None, what
            series.close()
            journal.load_fold(7)
            journal.cursor("mqtt")
            assert said_or_whole(folder, journal), what
        finally:
            journal.close()
        assert verify(folder).ok, what
        shutil.rmtree(folder)


@pytest.mark.parametrize("file", JOURNAL_FILES[:2])
def test_a_file_of_the_journal_that_is_gone_is_said(stores: dict[str, Path], tmp_path: Path, file: str) -> None:
    folder = tmp_path / "store"
    shutil.copytree(stores["crashed"], folder)
    (folder / file).unlink()
    try:
        journal = Journal(folder, STATION, "boot")
    except WarmwellError as exc:
        assert file == "journal.db"
        assert "its write-ahead log is still there" in str(exc)
        return
    assert said_or_whole(folder, journal)
    journal.close()


FOREIGN: dict[str, Callable[[Path], object]] = {
    "random bytes": lambda path: path.write_bytes(b"SQLite format 3\0" + os.urandom(20_000)),
    "no data base": lambda path: path.write_bytes(os.urandom(20_000)),
    "another schema": lambda path: sqlite3.connect(path).execute("CREATE TABLE point (name TEXT)").connection.commit(),
    "tables that lack columns": lambda path: _altered(path, "ALTER TABLE block RENAME COLUMN hour TO hours"),
    "text that is none in the schema": lambda path: _scribbled_schema(path),
    "slots that are too short": lambda path: _altered(path, "INSERT INTO slot (data) VALUES (x'FFFFFFFFFFFFFFFF00')"),
    "numbers that are texts": lambda path: _altered(
        path, "INSERT INTO date_seen VALUES (5, 'x', 'y', 'z', 'w'), (999999999, 1, 2, 'z', 4)"
    ),
    "no note of what is sealed": lambda path: _altered(path, "DELETE FROM sealed"),
    "a version far ahead": lambda path: _altered(path, "PRAGMA user_version = 1342177281"),
    "a folder": lambda path: _instead(path, os.mkdir),
    "a pipe": lambda path: _instead(path, os.mkfifo),
}


def _instead(path: Path, make: Callable[[Path], None]) -> None:
    path.unlink()
    make(path)


def _altered(path: Path, sql: str) -> None:
    raw = sqlite3.connect(path)
    raw.execute(sql)
    raw.commit()
    raw.close()


def _scribbled_schema(path: Path) -> None:
    content = path.read_bytes()
    assert b"CREATE TABLE" in content
    path.write_bytes(content.replace(b"hold_ms", b"\xff\xfe\xfd\xff\xfe\xfd\xff"))


@pytest.mark.parametrize("damage", FOREIGN.values(), ids=FOREIGN)
def test_nothing_that_stands_as_series_db_stops_a_start(
    stores: dict[str, Path], tmp_path: Path, damage: Callable[[Path], object]
) -> None:
    folder = tmp_path / "store"
    shutil.copytree(stores["closed"], folder)
    if damage in (FOREIGN["another schema"],):
        (folder / "series.db").unlink()
    damage(folder / "series.db")
    series = Series(folder, POINTS, "boot-2")
    series.note_clock("boot-2", 0, WALL_MS, True)
    for burst in seconds(0, 20):
        series.append(burst)
    assert series.flush()
    assert sum(1 for row in series.rows() if row.boot == "boot-2") == 20 * len(POINTS)
    (repair,) = series.take_repairs()
    assert (folder / repair["set_aside"]).exists()
    series.close()


def test_a_changed_bit_in_a_block_is_a_gap_that_is_counted(stores: dict[str, Path], tmp_path: Path) -> None:
    folder = tmp_path / "store"
    shutil.copytree(stores["closed"], folder)
    raw = sqlite3.connect(folder / "series.db")
    number, packed = raw.execute("SELECT number, packed FROM block ORDER BY number LIMIT 1").fetchone()
    changed = bytearray(packed)
    changed[len(changed) // 2] ^= 1
    raw.execute("UPDATE block SET packed = ? WHERE number = ?", (bytes(changed), number))
    raw.commit()
    raw.close()
    series = Series(folder, POINTS, "boot-2")
    read = sum(1 for _ in series.rows())
    assert read < 8000 * len(POINTS)
    assert series.status()["unreadable_blocks"] >= 1
    series.close()


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir], ids=["a pipe", "a folder"])
def test_what_stands_as_journal_and_is_no_file_is_refused_at_once(tmp_path: Path, make: Callable[[Path], None]) -> None:
    """Opening a pipe waits for whoever writes to it (fifo(7)): without a look at its kind a start would never end."""
    make(tmp_path / "journal.db")
    with pytest.raises(StoreFault, match="stands under this name; expected a plain file"):
        Journal(tmp_path, STATION, "boot")
    assert UnkeptJournal(tmp_path, StoreFault("x", where="x", expected="x", do="x")).read(0, 1) == []
