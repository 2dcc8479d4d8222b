"""The note of the newest backup: what it says of its age, and what a damaged one says."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.backup.noted import NOTE_FILE, Noted, note, noted_in
from edge.domain.entries import Now

NOTED = Noted(Now(1000, 50_000, True), "boot-1", "/media/stick")


def test_what_is_noted_is_read_back(tmp_path: Path) -> None:
    assert noted_in(tmp_path) is None
    note(tmp_path, NOTED)
    assert noted_in(tmp_path) == NOTED
    for damage in (
        b"",
        b"{",
        b"[]",
        b'{"at": [1], "boot": "b", "to": "t"}',
        b'{"at": ["x", 2, true], "boot": "", "to": ""}',
    ):
        (tmp_path / NOTE_FILE).write_bytes(damage)
        assert noted_in(tmp_path) is None


@pytest.mark.parametrize(
    ("now", "boot", "age_ms"),
    [
        (Now(4000, 0, False), "boot-1", 3000),  # of one boot: the clock doesn't matter
        (Now(0, 60_000, True), "boot-2", 10_000),
        (Now(0, 40_000, True), "boot-2", 0),  # the clock was set back: no backup is of the future
        (Now(0, 60_000, False), "boot-2", None),
    ],
)
def test_its_age_is_told_where_a_clock_tells(now: Now, boot: str, age_ms: int | None) -> None:
    assert NOTED.age_ms(now, boot) == age_ms
    assert NOTED._replace(at=Now(1000, 50_000, False)).age_ms(Now(0, 60_000, True), "boot-2") is None
