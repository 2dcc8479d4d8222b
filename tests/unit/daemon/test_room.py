"""What stations of one computer tell each other: never a verdict that is old, of another start, or of a judge that hangs."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from edge.clock import ToldClock
from edge.config import load
from edge.daemon.room import LARGEST_BYTES, MOST, SILENT_AFTER_MS, Room
from edge.domain.messages import as_json, say
from tests.integration.daemon_kit import STATION

ASK = say("picture.judge_silent")


def room_of(folder: Path, ident: str, clock: ToldClock) -> Room:
    file = folder / f"{ident}.toml"
    text = STATION.format(title=f"Bench {ident[-1]}", port=8484, folder=folder / ident).replace("scope-room-2", ident)
    file.write_text(text, encoding="utf-8")
    return Room(folder / "room", load(file), clock)


def picture(version: int, verdict: str = "ready") -> Any:
    told = {
        "verdict": verdict,
        "display": verdict,
        "expected_at": None,
        "waits_for": ["Look"],
        "waits_for_msgs": [as_json(ASK)],
    }
    return SimpleNamespace(version=version, verdict=told)


@pytest.fixture
def clock() -> ToldClock:
    return ToldClock(mono_ms=1_000_000)


@pytest.fixture
def rooms(tmp_path: Path, clock: ToldClock) -> tuple[Room, Room]:
    return room_of(tmp_path, "scope-room-1", clock), room_of(tmp_path, "scope-room-2", clock)


def test_each_hears_the_other_and_not_itself(rooms: tuple[Room, Room]) -> None:
    left, right = rooms
    assert left.others() == []
    left.tell(picture(1), 8484)
    right.tell(picture(1, "not_ready"), 8485)
    (other,) = left.others()
    assert (other["station"], other["title"], other["heard"]) == ("scope-room-2", "Bench 2", True)
    assert (other["verdict"], other["port"], other["scheme"], other["first"]) == ("not_ready", 8485, "http", "Look")
    assert other["first_msg"] == as_json(ASK)
    assert [one["station"] for one in right.others()] == ["scope-room-1"]


def test_one_that_has_told_nothing_for_ten_seconds_is_not_heard(rooms: tuple[Room, Room], clock: ToldClock) -> None:
    left, right = rooms
    right.tell(picture(1), 8485)
    clock.tell(SILENT_AFTER_MS)
    assert left.others()[0]["heard"]
    right.tell(picture(1), 8485)  # its judge hangs: the picture is the same
    clock.tell(1)
    assert not left.others()[0]["heard"]
    right.tell(picture(2), 8485)
    assert left.others()[0]["heard"]
    right.leave()
    assert (left.others()[0]["heard"], left.others()[0]["stopped"]) == (False, True)


@pytest.mark.parametrize("changed", [{"boot": "boot-0"}, {"mono_ms": 10**12}], ids=["another start", "from the future"])
def test_what_no_running_station_can_have_told_is_not_heard(
    rooms: tuple[Room, Room], tmp_path: Path, changed: dict[str, Any]
) -> None:
    left, right = rooms
    right.tell(picture(1), 8485)
    (file,) = (tmp_path / "room").glob("*.json")
    file.write_text(json.dumps(json.loads(file.read_text()) | changed), encoding="utf-8")
    assert not left.others()[0]["heard"]


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xfe", b"[]", b"{}", b'{"v": 2}', b" " * (LARGEST_BYTES + 2), None],
    ids=["empty", "cut", "no text", "a list", "no keys", "newer", "too long", "ready as a number"],
)
def test_a_file_that_can_not_be_read_is_a_station_that_is_not_heard(
    rooms: tuple[Room, Room], tmp_path: Path, content: bytes | None
) -> None:
    left, right = rooms
    right.tell(picture(1), 8485)
    (file,) = (tmp_path / "room").glob("*.json")
    if content is None:
        content = json.dumps(json.loads(file.read_text()) | {"verdict": 1}).encode()
    file.write_bytes(content)
    assert left.others() == [{"name": "harbour-lane.scope-room-2", "heard": False}]


def test_neither_a_folder_that_can_not_be_written_nor_a_thousand_files_do_harm(
    rooms: tuple[Room, Room], tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    left, _ = rooms
    (tmp_path / "room").write_text("a file where the folder should be")
    for version in (1, 2):
        left.tell(picture(version), 8484)
    assert left.others() == [] and caplog.text.count("can't be told") == 1
    (tmp_path / "room").unlink()
    left.tell(picture(3), 8484)
    for n in range(MOST + 5):
        (tmp_path / f"room/other.{n}.json").write_text("{}")
    assert len(left.others()) == MOST
