"""Caches beside the journal: a fault in them costs nothing but the time to work them out again, and is said."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from edge.domain.entries import Draft, Entry, Now
from edge.domain.errors import StoreFault
from edge.store.journal import Journal
from edge.store.side_files import SmallNote, open_own
from edge.store.space import Space
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, STATION, WALL_MS, draft

DAMAGES = {
    "empty": b"", "no text": b"\xff\xfe\xfd" * 400, "no json": b"{" * 2000, "null": b"null\nnull\n",
    "wrong types": b'{"version": 7, "seq": "1", "check": 5}\n[]\n', "zeros": bytes(1024),
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
@pytest.mark.parametrize("file", ["fold.json", "cursors", "head"])
def test_a_damaged_cache_never_stops_a_start_and_is_said(tmp_path: Path, file: str, damage: bytes) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1), draft(2)])
    journal.save_fold(2, 7, {"word": "ready"})
    journal.move_cursor("mqtt", 2)
    journal.close()
    (tmp_path / file).write_bytes(damage)
    journal = Journal(tmp_path, STATION, "boot")
    assert journal.load_fold(7) == (None if file == "fold.json" else (2, {"word": "ready"}))
    assert journal.cursor("mqtt") == (None if file == "cursors" else 2)
    said = [(repair["what"], repair["file"]) for repair in journal.take_repairs()]
    assert said == ([("rebuilt", file)] if damage or file == "fold.json" else [])
    assert journal.take_repairs() == []
    journal.save_fold(2, 7, {"word": "unknown"})
    journal.move_cursor("mqtt", 1)
    assert [entry.seq for entry in journal.append([draft(3)])] == [3]
    journal.close()
    journal = Journal(tmp_path, STATION, "boot")
    assert (journal.load_fold(7), journal.cursor("mqtt"), journal.take_repairs()) == ((2, {"word": "unknown"}), 1, [])
    journal.close()


def test_a_torn_write_of_a_note_leaves_the_one_before(tmp_path: Path) -> None:
    note = SmallNote(tmp_path / "note")
    for number in range(5):
        note.write({"number": number})
    content = bytearray((tmp_path / "note").read_bytes())
    place = 0 if b'"number":4' in content[:512] else 512
    content[place + 20] ^= 0x40
    (tmp_path / "note").write_bytes(content)
    again = SmallNote(tmp_path / "note")
    assert (again.read(), again.damaged) == ({"number": 3}, False)
    again.write({"number": 9})
    assert SmallNote(tmp_path / "note").read() == {"number": 9}


def test_positions_that_an_earlier_version_kept_in_the_journal_are_taken_over(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1)])
    journal._conn.execute("INSERT INTO cursor (name, seq) VALUES ('mqtt', 1), ('(after a failed commit)', 77)")
    journal.close()
    (tmp_path / "cursors").unlink(missing_ok=True)
    journal = Journal(tmp_path, STATION, "boot")
    assert (journal.cursor("mqtt"), journal.cursor("(after a failed commit)")) == (1, None)
    journal.close()


@pytest.mark.parametrize("name", ["fold.json", "fold.json.new"])
def test_a_state_that_can_not_be_kept_keeps_no_record_from_being_taken(tmp_path: Path, name: str) -> None:
    """The judge asks by save_fold whether a disk that refused is back."""
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1)])
    (tmp_path / name).mkdir()
    (tmp_path / name / "something").touch()
    journal.save_fold(1, 7, {})
    assert "fold.json" in journal.status()["saved_state"]
    (tmp_path / name / "something").unlink()
    (tmp_path / name).rmdir()
    journal.save_fold(1, 7, {})
    assert journal.status()["saved_state"] == "ok"
    journal.close()


# -- links, and who may read


@pytest.mark.parametrize("name", ["lock", "reserve", "head", "cursors", "fold.json", "fold.json.new", "journal.db.new"])
def test_nothing_is_written_through_a_link(tmp_path: Path, name: str) -> None:
    foreign, folder = tmp_path / "foreign", tmp_path / "store"
    foreign.write_text("kept")
    folder.mkdir()
    (folder / name).symlink_to(foreign)
    journal = Journal(folder, STATION, "boot")
    journal.append([draft(1)])
    journal.save_fold(1, 7, {})
    journal.move_cursor("mqtt", 1)
    journal.close()
    assert foreign.read_text() == "kept"


def test_a_pipe_or_a_folder_under_the_name_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name in ("pipe", "folder"):
        with pytest.raises(StoreFault, match="expected a plain file"):
            open_own(tmp_path / name, os.O_WRONLY)
        assert SmallNote(tmp_path / name).read() is None


def test_the_store_is_for_its_user_and_group_alone(tmp_path: Path) -> None:
    from edge.store.series import Series

    folder, before = tmp_path / "store", os.umask(0o000)
    try:
        space = Space(folder)
        journal, series = Journal(folder, STATION, "boot", make_room=space.make_room), Series(folder, POINTS, "boot")
        journal.append([draft(1)])
        journal.save_fold(1, 7, {})
        journal.move_cursor("mqtt", 1)
        assert series.flush()
        modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}
        series.close()
        journal.close()
    finally:
        os.umask(before)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o750
    assert {"journal.db", "journal.db-wal", "series.db", "lock", "head", "cursors", "fold.json"} <= modes.keys()
    assert {name: mode for name, mode in modes.items() if mode & 0o137} == {}


# -- a state that somebody wrote


def record(number: int, what: str, **more: object) -> Draft:
    body = {"record": what, "by": "early technician", "at": "2026-03-16T06:00:00.000Z", "counts": True, **more}
    return Draft(Now(1000 * number, WALL_MS + 1000 * number, True), "record", body)


def fact(entry: Entry) -> list[object]:
    return [entry.seq, entry.body["record"], entry.wall_ms, entry.body, entry.body["counts"]]


def test_a_forged_state_is_not_believed_and_verify_says_so(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    hold, note = journal.append([record(1, "hold", why="failed culture"), record(2, "note")])
    true = [fact(hold), fact(note)]
    journal.save_fold(2, 7, {"facts": true})
    assert journal.load_fold(7) == (2, {"facts": true})
    assert verify(tmp_path).ok
    test = [2, "daily_test", WALL_MS, {"record": "daily_test", "passed": True, "counts": True}, True]
    for forged in ([*true, test], [fact(hold)[:2]], [[2, *fact(hold)[1:]]], 5):
        journal.save_fold(2, 7, {"facts": forged})  # with a check sum that fits, as whoever can write can reckon it
        assert journal.load_fold(7) is None
        assert [repair["file"] for repair in journal.take_repairs()] == ["fold.json"]
        found = verify(tmp_path)
        assert not found.ok
        assert "fold.json" in found.why
    journal.save_fold(2, 7, {"facts": [fact(note)]})  # the hold is left out
    assert "it leaves out entry 1" in verify(tmp_path).why
    journal.close()
    journal = Journal(tmp_path, STATION, "boot", fold_anew=2)
    assert journal.load_fold(7) is None  # a start of the daemon folds so short a journal anew
    journal.close()


def test_a_fact_that_a_correction_took_out_of_the_count_is_true_all_the_same(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    (note,) = journal.append([record(1, "note")])
    journal.save_fold(1, 7, {"facts": [[*fact(note)[:4], False]]})
    assert journal.load_fold(7) is not None
    assert verify(tmp_path).ok
    journal.close()
