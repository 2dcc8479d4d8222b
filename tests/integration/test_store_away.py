"""A journal that is taken away while it is open answers nothing any more; what was answered before is found or said to be lost."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from edge.domain.errors import StoreFault
from edge.store.journal import Journal
from edge.store.verify import verify
from tests.integration.store_kit import STATION, draft

BEFORE = 40


def unlinked(folder: Path) -> None:
    (folder / "journal.db").unlink()


def log_unlinked(folder: Path) -> None:
    (folder / "journal.db-wal").unlink()


def index_unlinked(folder: Path) -> None:
    (folder / "journal.db-shm").unlink()


def emptied(folder: Path) -> None:
    for path in folder.iterdir():
        path.unlink()


def renamed(folder: Path) -> None:
    folder.rename(folder.with_name("elsewhere"))


def renamed_and_made_anew(folder: Path) -> None:
    renamed(folder)
    folder.mkdir()


def file_renamed(folder: Path) -> None:
    (folder / "journal.db").rename(folder / "journal.old")


def another_put_there(folder: Path) -> None:
    another = folder / "another.db"
    shutil.copy(folder / "journal.db", another)
    os.replace(another, folder / "journal.db")


def another_written_into_it(folder: Path) -> None:
    (folder / "journal.db").write_bytes(b"\0" * (folder / "journal.db").stat().st_size)


def log_cut_to_nothing(folder: Path) -> None:
    os.truncate(folder / "journal.db-wal", 0)


def replaced_by_a_link(folder: Path) -> None:
    (folder / "journal.db").rename(folder / "moved.db")
    (folder / "journal.db").symlink_to(folder / "moved.db")


WAYS = [
    unlinked, log_unlinked, index_unlinked, emptied, renamed, renamed_and_made_anew, file_renamed, another_put_there,
    another_written_into_it, log_cut_to_nothing, replaced_by_a_link,
]  # fmt: skip


@pytest.mark.parametrize("take_away", WAYS, ids=lambda way: way.__name__.replace("_", " "))
def test_nothing_is_answered_once_the_journal_is_away(tmp_path: Path, take_away: Callable[[Path], None]) -> None:
    folder = tmp_path / "store"
    journal = Journal(folder, STATION, "boot")
    for number in range(BEFORE):
        journal.append([draft(number)])
    take_away(folder)
    with pytest.raises(StoreFault):
        journal.append([draft(BEFORE)])
    journal.look()
    assert journal.trouble is not None
    assert journal.status()["trouble"] == journal.trouble
    with pytest.raises(StoreFault):
        journal.save_fold(BEFORE, 1, {})
    journal.close()


def test_a_folder_put_back_is_taken_again_without_a_restart(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    journal = Journal(folder, STATION, "boot")
    journal.append([draft(0)])
    renamed(folder)
    with pytest.raises(StoreFault, match=r"journal\.db is gone from its name"):
        journal.append([draft(1)])
    (tmp_path / "elsewhere").rename(folder)
    assert [entry.seq for entry in journal.append([draft(1)])] == [2]
    assert journal.trouble is None
    journal.close()
    assert verify(folder).ok


def test_a_shell_that_moves_the_log_into_the_file_is_no_trouble(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(0)])
    with sqlite3.connect(tmp_path / "journal.db") as shell:
        shell.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shell.close()
    assert [entry.seq for entry in journal.append([draft(1)])] == [2]
    journal.close()
    assert verify(tmp_path).ok


@pytest.mark.parametrize("take_away", [unlinked, emptied, renamed_and_made_anew], ids=lambda way: way.__name__)
def test_what_was_answered_before_is_said_to_be_lost_at_the_next_start(
    tmp_path: Path, take_away: Callable[[Path], None]
) -> None:
    folder = tmp_path / "store"
    journal = Journal(folder, STATION, "boot")
    for number in range(BEFORE):
        journal.append([draft(number)])
    take_away(folder)
    journal.close()
    for log in ("journal.db-wal", "journal.db-shm"):  # what a person clears away before the next start
        (folder / log).unlink(missing_ok=True)
    journal = Journal(folder, STATION, "boot")
    repair, entry = journal.append([draft(BEFORE)])
    assert (repair.kind, repair.body["what"], repair.body["from"], repair.body["to"]) == ("repair", "lost", 1, BEFORE)
    assert entry.seq == BEFORE + 2
    journal.close()
    found = verify(folder)
    assert found.ok
    assert found.lost == ((1, BEFORE),)
