"""When a station asks for a time stamp of its signed head, and what becomes of a try that fails."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from edge.daemon.repeated import LOOK_EVERY_MS, SETTLED_MS
from edge.daemon.stamping import FIRST_PAUSE_S, Stamping
from edge.domain.entries import Now, SignedHead, rfc3339, wall_ms_of
from edge.store.signed_heads import append
from tests.integration.store_kit import until

#: in place of the command: keeps the newest head of the list as stamped, and says why where it is not to end well
PROGRAM = """
import sys
from pathlib import Path
from edge.store import signed_heads, stamps
own = Path(sys.argv[1])
with (own / "calls").open("a") as calls:
    print(*sys.argv[2:], file=calls)
if (own / "fails").exists():
    print("the address: the head got no time stamp.", file=sys.stderr)
    sys.exit(1)
stamps.append(own, signed_heads.heads_of(own)[-1], b"answer")
"""
NOON = wall_ms_of("2026-07-12T12:00:00Z")
HOUR_MS = 3_600_000


class Board:
    """A board whose clock moves when it is told."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.mono_ms, self.newest = folder, 0, self.signs(folder, 5, NOON)
        self.stamping = Stamping(
            folder / "station.toml", folder, lambda: self.newest, (sys.executable, "-c", PROGRAM, str(folder))
        )

    @staticmethod
    def signs(folder: Path, seq: int, at_ms: int) -> SignedHead:
        head: SignedHead = {
            "what": "signed_head", "v": 1, "station": "harbour-lane/scope-room-2", "journal": "00" * 8, "seq": seq,
            "digest": "00" * 32, "at": rfc3339(at_ms), "trusted": True, "key": "00" * 32, "signature": "AA==",
        }  # fmt: skip
        append(folder, head)
        return head

    def look(self) -> str:
        self.mono_ms += LOOK_EVERY_MS
        return self.stamping.look(Now(self.mono_ms, NOON + self.mono_ms, True))

    def until(self, true: Callable[[], Any]) -> bool:
        return until(lambda: self.look() is not None and bool(true()))

    def calls(self) -> int:
        file = self.folder / "calls"
        return len(file.read_text(encoding="utf-8").splitlines()) if file.exists() else 0

    def settled(self) -> None:
        for _ in range(3):
            self.look()
            assert until(self.stamping._aside._under_way.done)
            assert self.until(lambda: not self.stamping.status()["under_way"])


def test_one_a_day_is_asked_for_and_a_try_that_fails_is_said_and_made_again_after_growing_pauses(
    tmp_path: Path,
) -> None:
    board = Board(tmp_path)
    (tmp_path / "fails").touch()
    board.settled()
    assert board.calls() == 0, "a start is left in peace"
    board.mono_ms += SETTLED_MS
    assert board.until(lambda: board.stamping.trouble)
    assert board.look() == "The signed head of the journal got no time stamp: the address: the head got no time stamp."
    assert board.calls() == 1 and board.stamping.status()["ok"] is False
    board.settled()
    assert board.calls() == 1
    board.mono_ms += round(FIRST_PAUSE_S * 1000)
    assert board.until(lambda: board.calls() == 2)
    assert board.until(lambda: not board.stamping.status()["under_way"])
    board.mono_ms += round(FIRST_PAUSE_S * 1000)
    board.settled()
    assert board.calls() == 2, "the second pause is longer"
    (tmp_path / "fails").unlink()
    board.mono_ms += round(FIRST_PAUSE_S * 1000)
    assert board.until(lambda: board.look() == "" and board.stamping.status()["seq"] == 5)
    assert board.calls() == 3
    board.newest = board.signs(tmp_path, 9, NOON + 11 * HOUR_MS)
    board.settled()
    assert board.calls() == 3, "signed at a stop, hours later"
    board.newest = board.signs(tmp_path, 12, NOON + 24 * HOUR_MS)
    assert board.until(lambda: board.stamping.status()["seq"] == 12)
    board.stamping.stop()
    again = Board.__new__(Board)
    again.folder, again.mono_ms, again.newest = tmp_path, 0, board.newest
    again.stamping = Stamping(
        tmp_path / "station.toml", tmp_path, lambda: again.newest, (sys.executable, "-c", PROGRAM, str(tmp_path))
    )
    again.settled()
    again.mono_ms += SETTLED_MS
    again.settled()
    assert (board.calls(), again.stamping.status()["seq"]) == (4, 12), "a restart asks for none again"
    again.stamping.stop()
