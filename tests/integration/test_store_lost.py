"""Entries that were on disk and are gone are noticed at the next start, said in the journal, and their seqs are not told again."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from edge.domain.entries import Entry
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, STATION, draft


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


def damaged(note: Path, how: str) -> None:
    if how == "gone":
        note.unlink()
    elif how == "a folder":
        note.unlink()
        note.mkdir()
    elif how == "a link":
        note.rename(note.with_suffix(".away"))
        note.symlink_to(note.with_suffix(".away"))
    else:
        note.write_bytes({"empty": b"", "zeros": bytes(1024), "random": b"\x9c7\x00" * 300}[how])


@pytest.mark.parametrize("how", ["gone", "empty", "zeros", "random", "a folder", "a link"])
def test_without_any_note_a_lost_log_is_not_taken_for_none(tmp_path: Path, how: str) -> None:
    folder, copy = tmp_path / "store", tmp_path / "copy"
    filled(folder, 10).close()
    journal = filled(folder, 30)
    shutil.copytree(folder, copy)  # as a crash leaves it
    journal.close()
    (copy / "journal.db-wal").unlink()
    (tmp_path / ".copy.head").write_bytes((tmp_path / ".store.head").read_bytes())
    for note in (copy / "head", tmp_path / ".copy.head"):
        damaged(note, how)
    repair, entry = after_a_start(copy)
    assert (repair.kind, repair.body["what"], entry.seq) == ("repair", "unproved", 12)
    assert verify(copy).ok


def test_without_any_note_a_saved_state_or_position_still_tells_how_far_the_journal_went(tmp_path: Path) -> None:
    for cache in ("fold.json", "cursors"):
        folder = tmp_path / cache.removesuffix(".json")
        journal = filled(folder, 40)
        journal.save_fold(40, 7, {})
        journal.move_cursor("mqtt", 40)
        journal.close()
        for name in {"journal.db", "head", "fold.json", "cursors"} - {cache}:
            (folder / name).unlink()
        (tmp_path / f".{folder.name}.head").unlink()
        repair, entry = after_a_start(folder)
        assert (repair.body["what"], repair.body["from"], repair.body["known"]) == ("lost", 1, 40)
        assert entry.seq > repair.seq > 40  # no seq that was told is told again
        assert verify(folder).ok


def test_readings_without_a_journal_show_that_there_was_one(tmp_path: Path) -> None:
    filled(tmp_path / "store", 5).close()
    Series(tmp_path / "store", POINTS, "boot").close()
    for note in (*(tmp_path / "store").glob("journal.db*"), tmp_path / "store" / "head", tmp_path / ".store.head"):
        note.unlink()
    assert after_a_start(tmp_path / "store")[0].body["what"] == "unproved"


def test_a_note_that_can_not_be_written_is_said_until_it_can(tmp_path: Path) -> None:
    journal = filled(tmp_path / "store", 5)
    assert journal.note_trouble is None
    (tmp_path / "store" / "head").unlink()
    (tmp_path / "store" / "head").mkdir()
    journal.append([draft(5)])
    assert "head" in (journal.note_trouble or "")
    (tmp_path / "store" / "head").rmdir()
    journal.look()
    assert journal.note_trouble is None
    journal.close()
    assert [entry.seq for entry in after_a_start(tmp_path / "store")] == [7]


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
    from edge.store.verify import says_lost

    assert not says_lost(b'{"kind":"repair","body":' + body.encode() + b"}", 4, 7)
