"""The journal on a real disk: what is answered is kept, what failed is not, and nobody can change it unseen."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import tempfile
import threading
from contextlib import closing
from pathlib import Path

import pytest

from edge.domain.contracts import JournalReader
from edge.domain.entries import Draft, Now
from edge.domain.errors import AlreadyRunning, NewerStore, StoreFault, UnusableInput
from edge.store.database import connect
from edge.store.journal import Journal, ReadOnlyJournal
from edge.store.lock import FolderLock
from edge.store.verify import verify
from tests.integration.store_kit import STATION, WALL_MS, draft, python, until


@pytest.fixture
def journal(tmp_path: Path):
    opened = Journal(tmp_path, STATION, "boot-1")
    yield opened
    opened.close()


def numbers(journal: JournalReader) -> list[int]:
    return [entry.body["number"] for entry in journal.read(0, 10_000)]


# -- keeping and reading


def test_entries_are_numbered_chained_and_read_back_as_returned(journal: Journal, tmp_path: Path) -> None:
    first = journal.append([draft(1), draft(2, trusted=False)])
    second = journal.append([draft(3)])
    assert [entry.seq for entry in first + second] == [1, 2, 3]
    assert journal.read(0, 10) == first + second
    assert journal.read(1, 1) == first[1:]
    assert [entry.trusted for entry in first] == [True, False]
    assert journal.head() == (3, verify(tmp_path).head_digest)


def test_an_empty_journal_has_a_head_of_zeros(journal: Journal) -> None:
    assert (journal.last_seq(), journal.head(), journal.read(0, 5)) == (0, (0, "00" * 32), [])
    assert journal.append([]) == []


def test_a_restart_goes_on_where_it_was(tmp_path: Path) -> None:
    for life in range(3):
        journal = Journal(tmp_path, STATION, f"boot-{life}")
        journal.append([draft(life * 2), draft(life * 2 + 1)])
        journal.close()
    with_boots = ReadOnlyJournal(tmp_path)
    assert [(e.seq, e.boot) for e in with_boots.read(0, 9)] == [
        (1, "boot-0"), (2, "boot-0"), (3, "boot-1"), (4, "boot-1"), (5, "boot-2"), (6, "boot-2"),
    ]  # fmt: skip
    assert with_boots.station() == STATION
    with_boots.close()
    assert verify(tmp_path).ok


def test_values_that_json_cannot_hold_never_stop_an_entry(journal: Journal) -> None:
    body = {"nan": float("nan"), "huge": 10**400, "text": "\udcff", "value": 39.0}
    (entry,) = journal.append([Draft(Now(0, WALL_MS, True), "alarm", body)])
    assert entry.body == {"nan": None, "huge": None, "text": "\ufffd", "value": 39}
    assert journal.read(0, 1) == [entry]


def test_a_waiting_reader_wakes_at_the_append(journal: Journal) -> None:
    woken: list[bool] = []
    waiting = threading.Thread(target=lambda: woken.append(journal.wait(0, 30)))
    waiting.start()
    journal.append([draft(1)])
    waiting.join(10)
    assert woken == [True]
    assert journal.wait(1, 0.01) is False


def test_many_threads_read_while_one_appends(journal: Journal) -> None:
    faults: list[BaseException] = []

    def read_all() -> None:
        try:
            seen = 0
            while seen < 200:
                entries = journal.read(seen, 50)
                assert [entry.seq for entry in entries] == list(range(seen + 1, seen + 1 + len(entries)))
                seen += len(entries)
                journal.move_cursor("reader", seen)
                if not entries:
                    journal.wait(seen, 5)
        except BaseException as exc:  # shown by the main thread
            faults.append(exc)

    readers = [threading.Thread(target=read_all) for _ in range(4)]
    for reader in readers:
        reader.start()
    for number in range(200):
        journal.append([draft(number)])
    for reader in readers:
        reader.join(30)
    assert not faults
    assert journal.cursor("reader") is not None


def test_the_newest_trusted_time_passes_over_untrusted_entries(journal: Journal) -> None:
    assert journal.newest_trusted() is None
    journal.append([draft(1), draft(2, trusted=False)])
    newest = journal.newest_trusted()
    assert newest is not None and newest.wall_ms == WALL_MS + 1000


# -- positions and snapshots


def test_a_cursor_is_remembered_and_is_no_entry(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    assert journal.cursor("mqtt") is None
    journal.append([draft(1), draft(2)])
    journal.move_cursor("mqtt", 1)
    journal.move_cursor("mqtt", 2)
    journal.close()
    journal = Journal(tmp_path, STATION, "boot")
    assert (journal.cursor("mqtt"), journal.last_seq()) == (2, 2)
    journal.close()


def test_a_fold_is_given_back_only_to_its_version_and_its_chain(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1), draft(2)])
    journal.save_fold(2, 7, {"alarms": {"leak": "normal"}, "nan": float("nan")})
    assert journal.load_fold(7) == (2, {"alarms": {"leak": "normal"}, "nan": None})
    assert journal.load_fold(8) is None
    with pytest.raises(StoreFault, match="no entry 3"):
        journal.save_fold(3, 7, {})
    journal.save_fold(1, 8, {"later": True})
    assert (journal.load_fold(7), journal.load_fold(8)) == (None, (1, {"later": True}))
    journal.close()
    saved = (tmp_path / "fold.json").read_text()
    (tmp_path / "fold.json").write_text(saved.replace("true", "null"))
    journal = Journal(tmp_path, STATION, "boot")
    assert journal.load_fold(8) is None  # somebody changed it: fold from the start
    (repair,) = journal.take_repairs()
    assert (repair["what"], repair["file"]) == ("rebuilt", "fold.json")
    journal.close()


# -- guards


def test_every_connection_has_a_write_ahead_log_and_full_sync(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[sqlite3.Connection] = []
    plain = sqlite3.connect

    def noted(*arguments: object, **options: object) -> sqlite3.Connection:
        made.append(plain(*arguments, **options))  # type: ignore[call-overload]  # handed on as they come
        return made[-1]

    monkeypatch.setattr(sqlite3, "connect", noted)
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1)])
    journal.read(0, 1)
    threading.Thread(target=journal.head).start()
    settings = []
    for conn in made:
        try:
            settings.append(
                (conn.execute("PRAGMA journal_mode").fetchone()[0], conn.execute("PRAGMA synchronous").fetchone()[0])
            )
        except sqlite3.ProgrammingError:
            pass  # closed again already: the one that made the file
    journal.close()
    assert len(settings) >= 2
    assert set(settings) == {("wal", 2)}


def test_a_file_system_without_a_write_ahead_log_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plain.db"
    sqlite3.connect(path).close()
    path.touch()
    with pytest.raises(StoreFault, match="journal mode is delete"):
        connect(path, readonly=True)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE entry SET hashed = x'00' WHERE seq = 2",
        "UPDATE entry SET trusted = 0",
        "DELETE FROM entry WHERE seq = 3",
        "DELETE FROM entry",
        "INSERT INTO entry VALUES (7, x'', x'', 0, x'')",
        "INSERT INTO entry VALUES (NULL, x'', x'', 0, x'')",
        "INSERT INTO entry VALUES (2, x'', x'', 0, x'')",
        "INSERT OR REPLACE INTO entry VALUES (3, x'', x'', 0, x'')",
        "REPLACE INTO entry SELECT * FROM entry WHERE seq = 1",
    ],
)
def test_the_triggers_refuse_every_change(journal: Journal, change: str) -> None:
    journal.append([draft(1), draft(2), draft(3)])
    raw = sqlite3.connect(journal.path, isolation_level=None)
    with pytest.raises(sqlite3.IntegrityError, match="entr"):
        raw.execute(change)
    raw.close()
    assert numbers(journal) == [1, 2, 3]


@pytest.mark.parametrize(
    "tampering, told",
    [
        ("DROP TRIGGER entry_no_update", "entry_no_update is missing"),
        ("DROP TRIGGER entry_no_delete", "entry_no_delete is missing"),
        (
            "DROP TRIGGER entry_in_order; CREATE TRIGGER entry_in_order BEFORE INSERT ON entry WHEN 0 BEGIN SELECT 1; END",
            "entry_in_order was altered",
        ),
        ("CREATE TRIGGER helper AFTER INSERT ON entry BEGIN SELECT 1; END", "helper is not ours"),
    ],
)
def test_start_and_verify_miss_a_trigger(tmp_path: Path, tampering: str, told: str) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1)])
    journal.close()
    raw = sqlite3.connect(tmp_path / "journal.db")
    raw.executescript(tampering)
    raw.close()
    with pytest.raises(StoreFault, match=told):
        Journal(tmp_path, STATION, "boot")
    found = verify(tmp_path)
    assert (found.ok, found.first_bad_seq, told in found.why) == (False, None, True)


def test_a_broken_chain_is_refused_at_start_and_kept(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(number) for number in range(5)])
    journal.close()
    raw = sqlite3.connect(tmp_path / "journal.db")
    sql = raw.execute("SELECT sql FROM sqlite_master WHERE name = 'entry_no_update'").fetchone()[0]
    raw.executescript(f"DROP TRIGGER entry_no_update; UPDATE entry SET hashed = hashed || ' ' WHERE seq = 4; {sql}")
    raw.close()
    before = (tmp_path / "journal.db").read_bytes()
    with pytest.raises(StoreFault, match=r"entry 4: .*set journal\.db.* aside by hand"):
        Journal(tmp_path, STATION, "boot")
    assert (tmp_path / "journal.db").read_bytes() == before


# -- refusals


def test_a_second_daemon_is_told_who_holds_the_folder(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    code = (
        "import sys; from pathlib import Path; from edge.store.journal import Journal\n"
        "from edge.domain.errors import AlreadyRunning\n"
        "try: Journal(Path(sys.argv[1]), 'a/b', 'boot')\n"
        "except AlreadyRunning as exc: print(exc)"
    )
    with python(code, str(tmp_path)) as second:
        said, errors = second.communicate(timeout=30)
    assert f"process {os.getpid()} holds this folder" in said, errors
    journal.close()
    Journal(tmp_path, STATION, "boot").close()


def test_a_killed_holder_leaves_no_lock_behind(tmp_path: Path) -> None:
    code = (
        "import sys, time; from pathlib import Path; from edge.store.lock import FolderLock\n"
        "held = FolderLock(Path(sys.argv[1])); print('held', flush=True); time.sleep(60)"
    )
    with python(code, str(tmp_path)) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(AlreadyRunning, match=f"process {holder.pid} "):
            FolderLock(tmp_path)
        holder.send_signal(signal.SIGKILL)
        holder.wait(10)
    FolderLock(tmp_path).release()


@pytest.mark.parametrize("damage", ["deleted", "another file", "a folder"])
def test_the_folder_stays_held_whatever_becomes_of_the_lock_file(tmp_path: Path, damage: str) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    (tmp_path / "lock").unlink()
    if damage == "another file":
        (tmp_path / "lock").write_text("12\n")
    elif damage == "a folder":
        (tmp_path / "lock").mkdir()
    code = (
        "import sys; from pathlib import Path; from edge.store.lock import FolderLock\n"
        "from edge.domain.errors import AlreadyRunning\n"
        "try: FolderLock(Path(sys.argv[1])); print('taken')\n"
        "except AlreadyRunning as exc: print(exc)"
    )
    with python(code, str(tmp_path)) as second:
        said, errors = second.communicate(timeout=30)
    assert "holds this folder" in said, errors
    journal.close()
    again = Journal(tmp_path, STATION, "boot")  # a damaged lock file is no reason not to start
    again.append([draft(1)])
    again.close()


def test_a_later_version_of_the_store_is_refused_unchanged(tmp_path: Path) -> None:
    Journal(tmp_path, STATION, "boot").close()
    raw = sqlite3.connect(tmp_path / "journal.db")
    raw.execute("PRAGMA user_version = 99")
    raw.close()
    for opening in (lambda: Journal(tmp_path, STATION, "boot"), lambda: verify(tmp_path)):
        with pytest.raises(NewerStore, match="newer version"):
            opening()


def test_another_stations_journal_is_refused(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(1)])
    journal.close()
    with pytest.raises(UnusableInput, match=f"the journal is of {STATION}"):
        Journal(tmp_path, "harbour-lane/scope-room-9", "boot")


def cut_in_half(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def overwrite_64_kb(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(os.urandom(64 << 10))


def empty(path: Path) -> None:
    os.truncate(path, 0)


def all_nul(path: Path) -> None:
    path.write_bytes(bytes(path.stat().st_size))


@pytest.mark.parametrize("damage", [cut_in_half, overwrite_64_kb, empty, all_nul])
@pytest.mark.parametrize("with_log", [False, True], ids=["log gone", "log left in place"])
def test_a_damaged_journal_is_refused_with_what_to_do_and_never_thrown_away(tmp_path: Path, damage, with_log) -> None:
    running = tmp_path / "running"
    journal = Journal(running, STATION, "boot")
    for start in range(0, 1000, 50):
        journal.append([draft(number) for number in range(start, start + 50)])
    if with_log:  # what a power cut leaves: the files as they stand, not closed
        with sqlite3.connect(journal.path) as raw:
            raw.execute("PRAGMA wal_checkpoint(FULL)")
        raw.close()
        journal.append([draft(1000)])
    stopped = tmp_path / "stopped"
    if with_log:
        shutil.copytree(running, stopped)
        journal.close()
    else:
        journal.close()
        shutil.copytree(running, stopped)
    path = stopped / "journal.db"
    damage(path)
    before = path.read_bytes()
    with pytest.raises(StoreFault) as refused:
        Journal(stopped, STATION, "boot")
    assert "set journal.db" in str(refused.value) or "verify" in str(refused.value)
    assert path.read_bytes() == before
    found = verify(stopped)
    assert not found.ok
    if damage is overwrite_64_kb:
        assert found.first_bad_seq is not None
        assert 1 <= found.first_bad_seq < 1000  # 1: where the page that leads to all others was hit
    assert path.read_bytes() == before


def test_a_log_without_its_journal_is_refused(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a", STATION, "boot")
    journal.append([draft(1)])
    (tmp_path / "b").mkdir()
    shutil.copy(tmp_path / "a" / "journal.db-wal", tmp_path / "b" / "journal.db-wal")
    journal.close()
    with pytest.raises(StoreFault, match="its write-ahead log is still there"):
        Journal(tmp_path / "b", STATION, "boot")


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "folder").write_text("not one")
    with pytest.raises(StoreFault, match="it can't be used"):
        Journal(tmp_path / "folder", STATION, "boot")


def test_a_folder_that_is_not_writable_is_refused() -> None:
    # root may write everywhere, so another user tries
    code = (
        "import os, sys; from pathlib import Path; from edge.store.journal import Journal\n"
        "from edge.domain.errors import StoreFault\n"
        "if os.geteuid() == 0: os.setuid(65534)\n"
        "try: Journal(Path(sys.argv[1]), 'a/b', 'boot')\n"
        "except StoreFault as exc: print(exc)"
    )
    with tempfile.TemporaryDirectory() as above:
        os.chmod(above, 0o755)
        folder = Path(above, "closed")
        folder.mkdir(mode=0o555)
        with python(code, str(folder)) as other:
            said, errors = other.communicate(timeout=30)
    assert "can't be written to" in said, errors
    assert "Give the user that runs Warmwell the right" in said


def test_a_folder_without_a_journal_is_refused_by_readers(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="there is no journal"):
        ReadOnlyJournal(tmp_path)
    with pytest.raises(UnusableInput, match="there is no journal"):
        verify(tmp_path)


# -- the disk refuses


def test_a_full_file_keeps_nothing_leaves_no_gap_and_heals(journal: Journal, tmp_path: Path) -> None:
    journal.append([draft(1)])
    conn = journal._conn
    pages = conn.execute("PRAGMA page_count").fetchone()[0]
    conn.execute(f"PRAGMA max_page_count={pages}")  # SQLite then says SQLITE_FULL, as a full disk makes it say
    refused = 0
    for number in range(2, 200):
        try:
            journal.append([draft(number)])
        except StoreFault as exc:
            assert "the disk is full" in str(exc)
            refused += 1
    assert refused > 100
    kept = numbers(journal)
    conn.execute("PRAGMA max_page_count=1000000")
    (entry,) = journal.append([draft(1000)])
    assert entry.seq == len(kept) + 1
    assert numbers(journal) == [*kept, 1000]
    assert verify(tmp_path).ok


def test_a_full_disk_costs_the_reserve_before_it_costs_an_entry(tmp_path: Path) -> None:
    asked: list[int] = []

    def make_room() -> bool:
        asked.append(1)
        journal._conn.execute("PRAGMA max_page_count=1000000")
        return True

    journal = Journal(tmp_path, STATION, "boot", make_room=make_room)
    pages = journal._conn.execute("PRAGMA page_count").fetchone()[0]
    journal._conn.execute(f"PRAGMA max_page_count={pages}")
    for number in range(200):
        journal.append([draft(number)])
    assert (asked, len(numbers(journal))) == ([1], 200)
    journal.close()


def test_another_program_that_holds_the_file_is_named(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    journal._conn.execute("PRAGMA busy_timeout=50")
    shell = sqlite3.connect(journal.path, isolation_level=None)
    shell.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreFault, match="another program holds the file"):
        journal.append([draft(1)])
    shell.execute("ROLLBACK")
    shell.close()
    assert journal.append([draft(2)])[0].seq == 1


def test_a_kill_in_the_middle_loses_nothing_that_was_told(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from edge.store.journal import Journal\n"
        "from edge.domain.entries import Draft, Now\n"
        "journal, number = Journal(Path(sys.argv[1]), 'harbour-lane/scope-room-2', 'boot'), 0\n"
        "while True:\n"
        "    number += 1\n"
        "    entry, = journal.append([Draft(Now(number, number, True), 'record', {'number': number})])\n"
        "    print(entry.seq, flush=True)\n"
    )
    told = 0
    for _ in range(5):
        with python(code, str(tmp_path)) as writer:
            assert writer.stdout is not None
            for _ in range(40):
                told = int(writer.stdout.readline())
            writer.send_signal(signal.SIGKILL)
            told = max([told, *map(int, writer.stdout.read().split())])
            writer.wait(10)
        found = verify(tmp_path)
        assert found.ok
        assert found.head_seq in (told, told + 1)  # at most the one that was kept and not yet told
        told = found.head_seq


def test_readers_never_hold_the_log(journal: Journal) -> None:
    for number in range(300):
        journal.append([draft(number)])
        journal.read(0, 5)
    raw = sqlite3.connect(journal.path)
    busy, pages, moved = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    raw.close()
    assert (busy, pages, moved) == (0, 0, 0)
    assert until(lambda: journal.status()["log_bytes"] == 0)


def test_a_newer_version_that_writes_into_an_open_journal_is_told_and_ends_no_thread(tmp_path: Path) -> None:
    with closing(Journal(tmp_path, STATION, "boot")) as journal:
        journal.append([draft(1)])
        with closing(sqlite3.connect(journal.path)) as raw:
            raw.execute("PRAGMA user_version = 99")
        journal.look()
        assert journal.trouble is not None and "was written by a newer version" in journal.trouble
        with pytest.raises(StoreFault, match="newer version"):
            journal.append([draft(2)])
