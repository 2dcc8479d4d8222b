"""Backups at intervals: when one is begun, what becomes of one that fails, and when the station says that they are overdue."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from edge.backup.noted import Noted, note
from edge.config.plans import BackupPlan
from edge.daemon.backups import Backups
from edge.daemon.repeated import AGAIN_MS, LOOK_EVERY_MS, SETTLED_MS
from edge.domain.entries import Entry, Now
from edge.domain.words.saying import Words
from tests.integration.store_kit import until

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
WALL_MS = 1_773_640_200_000

#: in place of the command: notes each call in a file, says what it is told to and ends as it is told to
PROGRAM = """
import sys
from pathlib import Path
own = Path(sys.argv[1])
with (own / "calls").open("a") as calls:
    print(*sys.argv[2:], file=calls)
print("the stick\\nis full", file=sys.stderr)
sys.exit(int((own / "code").read_text()))
"""


class Board:
    """A board whose clock moves when it is told."""

    def __init__(self, folder: Path, every_ms: int = DAY_MS) -> None:
        self.folder, self.mono_ms, self.trusted = folder, 0, True
        self.ends_with(0)
        (folder / "calls").write_text("", encoding="utf-8")
        plan = BackupPlan(folder / "stick", every_ms, 3 * DAY_MS)
        first = Entry(1, "boot-0", 0, WALL_MS - HOUR_MS, True, "started", {})
        command = (sys.executable, "-c", PROGRAM, str(folder))
        self.backups = Backups(plan, folder / "station.toml", folder, "boot-1", lambda: first, command)

    def ends_with(self, code: int) -> None:
        (self.folder / "code").write_text(str(code), encoding="utf-8")

    def now(self) -> Now:
        return Now(self.mono_ms, WALL_MS + self.mono_ms, self.trusted)

    def look(self) -> str:
        """What it says of backups that are overdue, a look later."""
        self.mono_ms += LOOK_EVERY_MS
        return Words().text(self.backups.look(self.now())) or ""

    def until(self, true: Callable[[], Any]) -> bool:
        return until(lambda: self.look() is not None and bool(true()))

    def calls(self) -> int:
        return len((self.folder / "calls").read_text(encoding="utf-8").splitlines())

    def settled(self) -> None:
        """Nothing is under way, and what there is to see was seen."""
        for _ in range(3):
            self.look()
            assert until(self.backups._aside._under_way.done)  # what was begun is known of, and what is noted was read
            assert self.until(lambda: not self.backups.status()["under_way"])


def test_one_is_made_at_its_interval_and_only_then(tmp_path: Path) -> None:
    board = Board(tmp_path)
    board.look()
    board.mono_ms = SETTLED_MS - 4 * LOOK_EVERY_MS
    board.look()
    assert board.calls() == 0, "a start is left in peace"
    board.mono_ms = SETTLED_MS
    assert board.until(lambda: board.calls() == 1)
    assert (tmp_path / "calls").read_text(encoding="utf-8").split() == [
        str(tmp_path / "stick"), "--keep", str(tmp_path / "station.toml"),
    ]  # fmt: skip
    note(tmp_path, Noted(board.now(), "boot-1", "stick"))
    board.settled()
    status = board.backups.status()
    assert status["ok"] and status["made_at_ms"] is not None and status["trouble"] == ""
    board.mono_ms += DAY_MS - HOUR_MS
    board.settled()
    assert board.calls() == 1
    board.mono_ms += 2 * HOUR_MS
    assert board.until(lambda: board.calls() == 2)
    board.backups.stop()


def test_one_that_fails_is_tried_again_each_hour_and_said_once_it_is_overdue(tmp_path: Path) -> None:
    board = Board(tmp_path)
    board.ends_with(1)
    board.look()
    board.mono_ms = SETTLED_MS
    assert board.until(lambda: board.backups.trouble)
    assert board.backups.status()["ok"] is False and board.backups.trouble == "the stick is full"
    board.settled()
    assert board.calls() == 1 and board.look() == ""
    board.mono_ms += AGAIN_MS
    assert board.until(lambda: board.calls() == 2)
    board.mono_ms = 3 * DAY_MS - 2 * HOUR_MS
    assert board.look() == ""
    board.mono_ms = 3 * DAY_MS
    assert board.look() == "no backup was made yet; the last try failed: the stick is full"
    board.settled()
    note(tmp_path, Noted(board.now(), "boot-1", "stick"))  # by hand, onto another one
    assert board.until(lambda: board.look() == "")
    board.mono_ms += 3 * DAY_MS
    assert board.look().startswith("the last good backup is of 2026-03-19; the last try failed:")
    board.backups.stop()


def test_a_clock_that_is_not_trusted_tells_of_nothing_overdue_and_one_is_made_all_the_same(tmp_path: Path) -> None:
    board = Board(tmp_path)
    board.trusted = False
    note(tmp_path, Noted(Now(5, WALL_MS - 9 * DAY_MS, True), "boot-0", "stick"))
    board.look()
    board.mono_ms = SETTLED_MS
    assert board.until(lambda: board.calls() == 1) and board.look() == ""
    board.trusted = True
    assert board.until(lambda: board.look() == "the last good backup is of 2026-03-07")
    board.backups.stop()
