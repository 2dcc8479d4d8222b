"""The record of each day by mail: which is sent, once, what becomes of one that fails, and what a restart knows."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from edge.config.plans import ReportsPlan
from edge.daemon.repeated import LOOK_EVERY_MS, SETTLED_MS
from edge.daemon.report_mail import FIRST_PAUSE_S, ReportMail
from edge.domain.entries import Now, wall_ms_of
from tests.integration.store_kit import until

#: in place of the command: notes each call, leaves the mark where it is to end well, and says why where not
PROGRAM = """
import sys
from pathlib import Path
own, report = Path(sys.argv[1]), Path(sys.argv[2])
with (own / "calls").open("a") as calls:
    print(report.name, *sys.argv[3:], file=calls)
if (own / f"fails-{report.name}").exists():
    print("not sent: no route to host.", file=sys.stderr)
    sys.exit(1)
report.with_name(report.name + ".sent").write_text("{}")
"""
TENTH, ELEVENTH = "day-2026-07-10.html", "day-2026-07-11.html"


class Board:
    """A board whose clock moves when it is told; the reports of two days lie there at noon of 12 July."""

    def __init__(self, folder: Path, forms: tuple[str, ...] = ("html",), *, makes_pdf: bool = True) -> None:
        self.folder, self.out, self.mono_ms, self.wall_ms = (
            folder,
            folder / "out",
            0,
            wall_ms_of("2026-07-12T12:00:00Z"),
        )
        self.trusted = True
        self.out.mkdir(exist_ok=True)
        (folder / "calls").write_text("", encoding="utf-8")
        for name in (TENTH, ELEVENTH, "day-2026-07-04.html", "day-2026-07-12.html", "day-2026-07-11.pdf"):
            (self.out / name).touch()
        command = (sys.executable, "-c", PROGRAM, str(folder))
        plan = ReportsPlan(self.out, forms, 30, "fr", folder / "to.url")
        zone = ZoneInfo("Europe/Dublin")
        self.mail = ReportMail(plan, folder / "to.url", folder / "keep", zone, command, makes_pdf=lambda: makes_pdf)

    def passes(self, ms: int) -> None:
        self.mono_ms += ms
        self.wall_ms += ms

    def look(self) -> None:
        self.passes(LOOK_EVERY_MS)
        self.mail.look(Now(self.mono_ms, self.wall_ms, self.trusted))

    def until(self, true: Callable[[], Any]) -> bool:
        return until(lambda: [self.look()] and bool(true()))

    def settled(self) -> None:
        """Nothing is under way, and whatever was due then was begun."""
        for _ in range(3):
            self.look()
            assert until(self.mail._aside._under_way.done)
            assert self.until(lambda: not self.mail.status()["under_way"])

    def calls(self) -> list[str]:
        return [line.split()[0] for line in (self.folder / "calls").read_text(encoding="utf-8").splitlines()]

    def sent(self) -> set[str]:
        return {path.stem for path in self.out.glob("*.sent")}


def begun(board: Board) -> Board:
    board.look()
    board.passes(SETTLED_MS)
    return board


def test_the_reports_of_the_last_week_are_sent_once_and_a_restart_sends_none_again(tmp_path: Path) -> None:
    board = Board(tmp_path)
    board.trusted = False
    begun(board).settled()
    assert board.calls() == [], "a clock that nobody trusts can't tell which day is over"
    board.trusted = True
    assert board.until(lambda: board.sent() == {TENTH, ELEVENTH}), (
        "not of eight days ago, and not of a day that isn't over"
    )
    board.settled()
    line = (tmp_path / "calls").read_text(encoding="utf-8").splitlines()[0]
    assert line == f"{TENTH} {tmp_path / 'keep'} --to {tmp_path / 'to.url'}"
    assert (board.mail.unsent(), board.mail.status()["newest"]) == (None, ELEVENTH)
    board.mail.stop()
    again = begun(Board(tmp_path))
    again.settled()
    assert again.calls() == []
    again.mail.stop()


def test_one_that_fails_is_said_tried_at_growing_pauses_and_keeps_none_from_being_sent(tmp_path: Path) -> None:
    (tmp_path / f"fails-{TENTH}").touch()
    board = begun(Board(tmp_path))
    assert board.until(lambda: board.mail.unsent() is not None)
    since = board.mail.unsent()
    assert since is not None and since[1] == f"{TENTH}: not sent: no route to host"
    assert board.calls() == [TENTH]
    board.passes(round(FIRST_PAUSE_S * 1000))
    assert board.until(lambda: board.sent() == {ELEVENTH}), "the one that was tried less"
    assert board.until(lambda: board.calls() == [TENTH, ELEVENTH, TENTH])
    assert board.until(lambda: not board.mail.status()["under_way"])
    assert board.mail.unsent() == since, "since its first try"
    second_ms = board.mono_ms
    assert board.until(lambda: len(board.calls()) == 4)
    third_ms = board.mono_ms
    assert board.until(lambda: len(board.calls()) == 5)
    assert board.mono_ms - third_ms > 1.5 * (third_ms - second_ms), "the pauses grow"
    (tmp_path / f"fails-{TENTH}").unlink()
    assert board.until(lambda: board.sent() == {TENTH, ELEVENTH})
    assert board.until(lambda: board.mail.unsent() is None and board.mail.trouble == "")
    board.mail.stop()


def test_one_that_can_not_be_sent_for_a_week_is_left(tmp_path: Path) -> None:
    (tmp_path / f"fails-{TENTH}").touch()
    board = begun(Board(tmp_path))
    assert board.until(lambda: board.mail.unsent() is not None)
    (board.out / ELEVENTH).unlink()
    board.wall_ms += 8 * 86_400_000
    board.passes(round(FIRST_PAUSE_S * 1000))
    assert board.until(lambda: board.mail.unsent() is None)
    board.settled()
    assert board.calls() == [TENTH]
    board.mail.stop()


def test_the_pdf_is_sent_where_it_is_asked_for_and_can_be_made(tmp_path: Path) -> None:
    board = begun(Board(tmp_path, ("html", "pdf")))
    assert board.until(lambda: board.sent() == {"day-2026-07-11.pdf"})
    board.mail.stop()
    without = Board(tmp_path, ("html", "pdf"), makes_pdf=False)
    assert without.mail._name(date(2026, 7, 10)) == TENTH


def test_a_folder_that_is_gone_or_can_not_be_read_is_said_and_raises_nothing(tmp_path: Path) -> None:
    board = begun(Board(tmp_path))
    board.out.rename(tmp_path / "elsewhere")
    board.settled()
    assert board.calls() == [] and board.mail.trouble == ""
    board.out.write_text("no folder", encoding="utf-8")
    assert board.until(lambda: "it can't be used" in board.mail.trouble)
    board.mail.stop()
