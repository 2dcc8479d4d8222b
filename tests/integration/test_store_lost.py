"""Entries that were on disk and are gone are noticed at the next start, said in the journal, and their seqs are not told again."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from edge.domain.entries import Entry
from edge.store.journal import Journal
from edge.store.verify import verify
from tests.integration.store_kit import STATION, draft


def filled(folder: Path, entries: int, boot: str = "boot") -> Journal:
    journal = Journal(folder, STATION, boot)
    while journal.last_seq() < entries:
        journal.append([draft(journal.last_seq())])
    return journal


def after_a_start(folder: Path, boot: str = "boot") -> list[Entry]:
    journal = Journal(folder, STATION, boot)
    try:
        return journal.append([draft(9)])
    finally:
        journal.close()


def test_an_older_copy_of_the_folder_put_back_is_noticed(tmp_path: Path) -> None:
    folder, copy = tmp_path / "store", tmp_path / "copy"
    filled(folder, 10).close()
    shutil.copytree(folder, copy)
    filled(folder, 25).close()
    told = verify(folder)
    shutil.rmtree(folder)
    shutil.copytree(copy, folder)
    repair, entry = after_a_start(folder)
    assert (repair.seq, repair.body["from"], repair.body["to"], entry.seq) == (26, 11, 25, 27)
    found = verify(folder)
    assert (found.ok, found.lost) == (True, ((11, 25),))
    assert "entries 11 to 25 were lost" in found.why
    assert verify(folder, (25, told.head_digest)).first_bad_seq == 25  # who noted that head finds that it is gone
    (later,) = after_a_start(folder)  # said once
    assert later.seq == 28


def test_a_lost_log_is_noticed(tmp_path: Path) -> None:
    folder, copy = tmp_path / "store", tmp_path / "copy"
    filled(folder, 10).close()
    journal = filled(folder, 30)
    shutil.copytree(folder, copy)  # as a crash leaves it
    journal.close()
    assert (copy / "journal.db-wal").stat().st_size > 0
    (copy / "journal.db-wal").unlink()
    (copy / "journal.db-shm").unlink()
    repair, entry = after_a_start(copy)
    assert repair.body["what"] == "lost"
    assert (repair.body["from"], repair.body["to"], entry.seq) == (11, 30, 32)
    assert verify(copy).ok


def test_after_a_power_cut_new_seqs_keep_clear_of_what_the_note_may_have_missed(tmp_path: Path) -> None:
    folder, copy = tmp_path / "store", tmp_path / "copy"
    filled(folder, 10).close()
    journal = filled(folder, 30)
    shutil.copytree(folder, copy)
    journal.close()
    (copy / "journal.db-wal").unlink()
    (copy / "journal.db-shm").unlink()
    repair, _ = after_a_start(copy, "next boot")
    assert repair.body["known"] == 30
    assert repair.body["from"] == 11
    assert repair.seq == repair.body["to"] + 1 > 1000


def test_a_journal_deleted_whole_begins_above_what_was_told_and_has_a_mark_of_its_own(tmp_path: Path) -> None:
    journal = filled(tmp_path, 12)
    mark = journal.mark()
    assert mark == journal.head()[1][:16] or len(mark) == 16
    journal.close()
    (tmp_path / "journal.db").unlink()
    repair, entry = after_a_start(tmp_path)
    assert (repair.body["from"], repair.body["to"], entry.seq) == (1, 12, 14)
    journal = Journal(tmp_path, STATION, "boot")
    assert journal.mark() not in ("", mark)
    assert journal.station() == STATION
    journal.close()


def test_another_journal_of_the_same_length_is_noticed(tmp_path: Path) -> None:
    filled(tmp_path / "store", 10).close()
    other = Journal(tmp_path / "other", STATION, "boot")
    other.append([draft(100 + number) for number in range(20)])
    other.close()
    shutil.copy(tmp_path / "other" / "journal.db", tmp_path / "store" / "journal.db")
    repair, entry = after_a_start(tmp_path / "store")
    assert (repair.kind, repair.body["what"], entry.seq) == ("repair", "exchanged", 22)
    assert verify(tmp_path / "store").ok


def test_one_of_the_two_notes_is_enough(tmp_path: Path) -> None:
    for number, gone in enumerate(("head", ".store-1.head")):
        folder = tmp_path / f"store-{number}"
        filled(folder, 8).close()
        (folder / "journal.db").unlink()
        (folder / gone if number == 0 else tmp_path / gone).unlink()
        repair, _ = after_a_start(folder)
        assert repair.body["to"] == 8


def test_a_station_that_starts_for_the_first_time_has_lost_nothing(tmp_path: Path) -> None:
    assert [entry.seq for entry in after_a_start(tmp_path / "new")] == [1]


def test_the_note_of_another_station_is_passed_over(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    filled(folder, 8).close()
    shutil.rmtree(folder)
    journal = Journal(folder, "harbour-lane/another", "boot")
    assert [entry.seq for entry in journal.append([draft(0)])] == [1]
    journal.close()


@pytest.mark.parametrize("body", ['{"what":"lost","from":3,"to":5}', '{"what":"lost"}', '{"what":"other"}'])
def test_a_gap_that_no_entry_tells_rightly_does_not_hold(tmp_path: Path, body: str) -> None:
    filled(tmp_path, 3).close()
    older = (tmp_path / "journal.db").read_bytes()
    filled(tmp_path, 6).close()
    (tmp_path / "journal.db").write_bytes(older)
    after_a_start(tmp_path)
    with sqlite3.connect(tmp_path / "journal.db") as raw:
        for name in ("entry_no_update", "entry_no_delete", "entry_in_order"):
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute("UPDATE entry SET hashed = CAST(replace(CAST(hashed AS TEXT), '\"from\":4', '\"from\":3') AS BLOB)")
    raw.close()
    found = verify(tmp_path)
    assert (found.ok, found.first_bad_seq) == (False, 4)
    assert body  # each a body that the check of a told gap refuses
    from edge.store.verify import _says_lost

    assert not _says_lost(b'{"kind":"repair","body":' + body.encode() + b"}", 4, 7)
