"""What the tests of the store share: drafts, points, readings, and processes of their own."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from edge.domain.entries import Draft, Now
from edge.domain.readings import KIND_OF, Quality, Reading, Role
from edge.domain.settings import Point
from edge.store import slots, tail

STATION = "harbour-lane/scope-room-2"
#: 2026-03-16T05:50:00Z
WALL_MS = 1_773_640_200_000
ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def small_file_system(folder: Path, option: str) -> Iterator[Path]:
    """A file system of its own, as "size=6m" says, in a folder that it makes; skips where none can be mounted."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", option, "tmpfs", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("can't mount: a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def draft(number: int, trusted: bool = True, kind: str = "record") -> Draft:
    """An entry that says its number."""
    return Draft(Now(1000 * number, WALL_MS + 1000 * number, trusted), kind, {"record": "note", "number": number})


def point(ident: str, role: Role, every_ms: int = 1000, stale_after_ms: int = 5000) -> Point:
    return Point(ident, role, KIND_OF[role], every_ms, stale_after_ms, -1e9, 1e9)


POINTS = (
    point("reservoir", Role.RESERVOIR_TEMPERATURE),
    point("supply", Role.SUPPLY_PRESSURE),
    point("flow", Role.SUPPLY_FLOW),
    point("heater-outlet", Role.OUTLET_PROTECTION),
)


def reading(ident: str, mono_ms: int, value: float | None, reason: str | None = None) -> Reading:
    return Reading(ident, mono_ms, value, Quality.GOOD if value is not None else Quality.BAD, reason, None)


def seconds(first_s: int, last_s: int, points: Sequence[Point] = POINTS) -> Iterator[list[Reading]]:
    """One burst a second, every point a value that says which second it is."""
    for at_s in range(first_s, last_s):
        yield [
            reading(p.id, at_s * 1000, float(at_s % 2) if p.role is Role.OUTLET_PROTECTION else at_s / 8)
            for p in points
        ]


def open_batches(folder: Path) -> list[slots.Batch]:
    """Batches on disk that aren't sealed yet."""
    conn = sqlite3.connect(folder / "series.db")
    try:
        return slots.live(conn) + tail.live(conn, tail.records(folder / "series.db"))
    finally:
        conn.close()


def until(what: Callable[[], bool], timeout_s: float = 60.0) -> bool:
    """Poll until it holds; False when time ran out."""
    end_s = time.monotonic() + timeout_s
    while not what():
        if time.monotonic() > end_s:
            return False
        time.sleep(0.005)
    return True


def python(code: str, *arguments: str, **options: object) -> subprocess.Popen[str]:
    """A Python process in which the project can be imported."""
    return subprocess.Popen(  # type: ignore[call-overload, no-any-return]  # options are passed on as they come
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options,
    )  # fmt: skip
