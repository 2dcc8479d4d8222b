"""The record of each day by itself: when one is made, what becomes of one that fails, and what is deleted.

Local midnight is Dublin's (IANA data base): in summer an hour before that of UTC.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.config.plans import ReportsPlan
from edge.daemon.repeated import AGAIN_MS, LOOK_EVERY_MS, SETTLED_MS
from edge.daemon.reports import AFTER_MIDNIGHT_MS, DailyReports
from edge.domain.entries import Now, wall_ms_of
from tests.integration.store_kit import until

#: in place of the command: notes each call, makes the file where it is to end well, and says why where not
PROGRAM = """
import sys
from pathlib import Path
own = Path(sys.argv[1])
with (own / "calls").open("a") as calls:
    print(*sys.argv[2:], file=calls)
if (own / "fails").exists():
    print("the journal can't be read.", file=sys.stderr)
    sys.exit(1)
Path(sys.argv[sys.argv.index("--out") + 1]).write_text("a day")
"""


class Board:
    """A board whose clock moves when it is told; its journal began on the evening of 10 July, there."""

    def __init__(self, folder: Path, forms: tuple[str, ...] = ("html",)) -> None:
        self.folder, self.mono_ms, self.wall_ms, self.trusted = folder, 0, wall_ms_of("2026-07-12T12:00:00Z"), True
        (folder / "calls").write_text("", encoding="utf-8")
        plan = ReportsPlan(folder / "out", forms, 30, "fr")
        command = (sys.executable, "-c", PROGRAM, str(folder))
        first_ms = wall_ms_of("2026-07-10T20:00:00Z")
        self.reports = DailyReports(plan, folder / "keep", ZoneInfo("Europe/Dublin"), lambda: first_ms, command)

    def passes(self, ms: int) -> None:
        self.mono_ms += ms
        self.wall_ms += ms

    def look(self) -> str:
        self.passes(LOOK_EVERY_MS)
        return self.reports.look(Now(self.mono_ms, self.wall_ms, self.trusted))

    def until(self, true: Callable[[], Any]) -> bool:
        return until(lambda: self.look() is not None and bool(true()))

    def calls(self) -> list[list[str]]:
        return [line.split() for line in (self.folder / "calls").read_text(encoding="utf-8").splitlines()]

    def settled(self) -> None:
        """Nothing is under way, and whatever was due then was begun."""
        for _ in range(3):
            self.look()
            assert until(self.reports._aside._under_way.done)
            assert self.until(lambda: not self.reports.status()["under_way"])

    def files(self) -> set[str]:
        return {path.name for path in (self.folder / "out").iterdir()}


def test_each_day_since_the_journal_began_is_told_once_after_local_midnight(tmp_path: Path) -> None:
    board = Board(tmp_path, ("html", "pdf"))
    board.look()
    board.passes(SETTLED_MS // 2)
    board.settled()
    assert board.calls() == [], "a start is left in peace"
    board.passes(SETTLED_MS)
    assert board.until(lambda: len(board.calls()) == 4)
    board.settled()
    assert board.files() == {f"day-2026-07-1{day}.{form}" for day in (0, 1) for form in ("html", "pdf")}
    out = tmp_path / "out"
    assert all(call[6] == "--as-of" for call in board.calls()), "by the station's clock"
    assert [[*call[:6], *call[8:]] for call in board.calls()[:2]] == [
        ["2026-07-10", str(tmp_path / "keep"), "--out", str(out / "day-2026-07-10.html"), "--language", "fr"],
        ["2026-07-10", str(tmp_path / "keep"), "--out", str(out / "day-2026-07-10.pdf"), "--language", "fr", "--pdf"],
    ]
    assert (board.reports.status()["ok"], board.reports.status()["newest"]) == (True, "day-2026-07-11.pdf")
    board.passes(wall_ms_of("2026-07-12T23:00:00Z") - board.wall_ms)
    board.settled()
    assert len(board.calls()) == 4, "midnight there, but its last entries may not be on disk yet"
    board.passes(AFTER_MIDNIGHT_MS)
    assert board.until(lambda: "day-2026-07-12.pdf" in board.files())
    board.reports.stop()


def test_one_that_fails_is_said_and_tried_again_each_hour(tmp_path: Path) -> None:
    board = Board(tmp_path)
    (tmp_path / "fails").touch()
    board.look()
    board.passes(SETTLED_MS)
    assert board.until(lambda: board.reports.trouble)
    assert board.look() == "The record of the day could not be made: day-2026-07-10.html: the journal can't be read."
    assert board.reports.status()["ok"] is False
    board.settled()
    assert len(board.calls()) == 1
    (tmp_path / "fails").unlink()
    board.passes(AGAIN_MS)
    assert board.until(lambda: board.look() == "" and len(board.files()) == 2)
    (tmp_path / "out").rename(tmp_path / "gone")
    (tmp_path / "out").write_text("no folder", encoding="utf-8")
    assert board.until(lambda: "it can't be used" in board.look()), "it never raises"
    board.reports.stop()


@pytest.mark.parametrize("trusted", [True, False])
def test_what_is_past_its_age_is_deleted_by_a_trusted_clock_alone(tmp_path: Path, trusted: bool) -> None:
    board = Board(tmp_path)
    out = tmp_path / "out"
    out.mkdir()
    for name in ("day-2026-06-11.html", "day-2026-06-12.html", "day-2026-06-11.txt", "audit-2025-01-01.html"):
        (out / name).write_text("a day", encoding="utf-8")
    board.trusted = trusted
    board.look()
    board.passes(SETTLED_MS)
    board.settled()
    if trusted:
        assert board.until(lambda: len(board.calls()) == 2)
    assert len(board.calls()) == 2 * trusted
    assert ("day-2026-06-11.html" in board.files()) is not trusted, "a month and a day old"
    assert {"day-2026-06-12.html", "day-2026-06-11.txt", "audit-2025-01-01.html"} <= board.files(), (
        "what others put there stays"
    )
    board.reports.stop()
