"""verify names the first entry that doesn't fit, whatever was done to the journal."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from edge.domain.errors import UnusableInput
from edge.store.chain import canonical, link, trust_check
from edge.store.journal import Journal
from edge.store.verify import Verified, parse_head, verify
from tests.integration.store_kit import STATION, draft

ENTRIES = 60
TRIALS = 200


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole")
    journal = Journal(folder, STATION, "boot")
    for number in range(1, ENTRIES + 1):
        journal.append([draft(number, trusted=number % 3 > 0)])
    journal.close()
    return folder


@pytest.fixture
def copy(whole: Path, tmp_path: Path) -> Path:
    shutil.copy(whole / "journal.db", tmp_path / "journal.db")
    return tmp_path


class Forger:
    """Somebody with a raw connection, who puts the triggers back so that only the entries tell."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.raw = sqlite3.connect(folder / "journal.db", isolation_level=None)
        self.chance = random.Random(seed)
        self.triggers = [row[0] for row in self.raw.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")]
        for (name,) in self.raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            self.raw.execute(f"DROP TRIGGER {name}")

    def done(self) -> None:
        for sql in self.triggers:
            self.raw.execute(sql)
        self.raw.close()

    def row(self, seq: int) -> list[object]:
        return list(self.raw.execute("SELECT * FROM entry WHERE seq = ?", (seq,)).fetchone())

    def put(self, row: list[object], seq: object) -> None:
        self.raw.execute("UPDATE entry SET hashed=?, digest=?, trusted=?, trust_check=? WHERE seq=?", (*row[1:], seq))

    # each returns the first entry that doesn't fit any more

    def edit_a_byte(self) -> int:
        seq = self.chance.randint(1, ENTRIES)
        row = self.row(seq)
        column = self.chance.choice([1, 2, 4])
        data = bytearray(row[column])  # type: ignore[arg-type]  # a BLOB
        data[self.chance.randrange(len(data))] ^= self.chance.randint(1, 255)
        row[column] = bytes(data)
        self.put(row, seq)
        return seq

    def edit_trusted(self) -> int:
        seq = self.chance.randint(1, ENTRIES)
        row = self.row(seq)
        row[3] = self.chance.choice([1 - int(str(row[3])), 2, 7])
        self.put(row, seq)
        return seq

    def rewrite(self) -> int:
        """Change an entry and make its own digest right again: the next one gives it away."""
        seq = self.chance.randint(1, ENTRIES - 1)
        row = self.row(seq)
        said = json.loads(row[1])  # type: ignore[arg-type]  # a BLOB
        said["body"]["number"] = 999
        previous = bytes(32) if seq == 1 else self.row(seq - 1)[2]
        row[1] = canonical(said)
        row[2] = link(previous, row[1])  # type: ignore[arg-type]  # a BLOB
        row[4] = trust_check(row[2], bool(row[3]))
        self.put(row, seq)
        return seq + 1

    def delete(self) -> int:
        seq = self.chance.randint(1, ENTRIES - 1)
        self.raw.execute("DELETE FROM entry WHERE seq = ?", (seq,))
        return seq

    def delete_and_close_up(self) -> int:
        seq = self.chance.randint(1, ENTRIES - 1)
        self.raw.execute("DELETE FROM entry WHERE seq = ?", (seq,))
        for later in range(seq + 1, ENTRIES + 1):
            self.raw.execute("UPDATE entry SET seq = ? WHERE seq = ?", (later - 1, later))
        return seq

    def swap(self) -> int:
        one, other = sorted(self.chance.sample(range(1, ENTRIES + 1), 2))
        first, second = self.row(one), self.row(other)
        self.put(second, one)
        self.put(first, other)
        return one

    def insert_before_the_first(self) -> int:
        row = self.row(1)
        self.raw.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?)", (self.chance.choice([0, -5]), *row[1:]))
        return 1

    def append(self) -> int:
        row = self.row(self.chance.randint(1, ENTRIES))
        self.raw.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?)", (ENTRIES + 1, *row[1:]))
        return ENTRIES + 1

    def truncate(self) -> int:
        seq = self.chance.randint(1, ENTRIES)
        self.raw.execute("DELETE FROM entry WHERE seq >= ?", (seq,))
        return seq


WAYS = ["edit_a_byte", "edit_trusted", "rewrite", "delete", "delete_and_close_up", "swap", "insert_before_the_first",
        "append", "truncate"]  # fmt: skip


def test_a_whole_journal_holds_also_with_its_head(whole: Path) -> None:
    found = verify(whole)
    assert found == Verified(True, None, "the chain holds", ENTRIES, found.head_digest, STATION)
    assert verify(whole, (ENTRIES, found.head_digest.upper())).ok
    assert verify(whole, (0, "00" * 32)).ok


@pytest.mark.parametrize("way", WAYS)
def test_the_first_entry_that_does_not_fit_is_named_each_time(whole: Path, tmp_path: Path, way: str) -> None:
    head = (ENTRIES, verify(whole).head_digest)
    for trial in range(-(-TRIALS // len(WAYS))):
        folder = tmp_path / str(trial)
        folder.mkdir()
        shutil.copy(whole / "journal.db", folder / "journal.db")
        forger = Forger(folder, seed=WAYS.index(way) * 1000 + trial)
        expected = getattr(forger, way)()
        forger.done()
        # entries cut off the end are found with a head from outside alone, and only with it
        found = verify(folder, head if way == "truncate" else None)
        assert (found.ok, found.first_bad_seq) == (False, expected), found.why
        if way == "truncate":
            assert verify(folder).ok


def test_a_chain_forged_whole_contradicts_a_head_from_outside(whole: Path, copy: Path) -> None:
    head = verify(whole).head_digest
    forger, previous = Forger(copy, 0), bytes(32)
    for seq in range(1, ENTRIES + 1):
        row = forger.row(seq)
        said = json.loads(row[1])  # type: ignore[arg-type]  # a BLOB
        said["body"]["number"] = -seq
        row[1] = canonical(said)
        row[2] = previous = link(previous, row[1])  # type: ignore[arg-type]  # a BLOB
        row[4] = trust_check(previous, bool(row[3]))
        forger.put(row, seq)
    forger.done()
    assert verify(copy).ok
    found = verify(copy, (ENTRIES, head))
    assert (found.ok, found.first_bad_seq) == (False, ENTRIES)
    assert "another chain" in found.why


def test_an_entry_of_another_station_is_named_though_its_chain_holds(whole: Path, copy: Path) -> None:
    forger = Forger(copy, 0)
    row = forger.row(ENTRIES)
    said = json.loads(row[1]) | {"station": "harbour-lane/scope-room-9"}  # type: ignore[arg-type]  # a BLOB
    row[1] = canonical(said)
    row[2] = link(forger.row(ENTRIES - 1)[2], row[1])  # type: ignore[arg-type]  # a BLOB
    row[4] = trust_check(row[2], bool(row[3]))
    forger.put(row, ENTRIES)
    forger.done()
    found = verify(copy)
    assert (found.ok, found.first_bad_seq) == (False, ENTRIES)
    assert "scope-room-9" in found.why


def test_a_running_daemon_is_not_disturbed(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1), draft(2)])
    assert verify(tmp_path).head_seq == 2  # what stands in the log counts
    journal.append([draft(3)])
    assert verify(tmp_path, (3, journal.head()[1])).ok
    journal.close()


def test_progress_reaches_the_end(whole: Path) -> None:
    told: list[tuple[int, int | None]] = []
    verify(whole, progress=lambda done, of: told.append((done, of)))
    assert told[-1] == (ENTRIES, ENTRIES)


@pytest.mark.parametrize("text", ["", "17", "17:", "x:" + "0" * 64, "1:" + "0" * 63, "-1:" + "0" * 64, "1:" + "g" * 64])
def test_a_head_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput, match="SEQ:DIGEST"):
        parse_head(text)
