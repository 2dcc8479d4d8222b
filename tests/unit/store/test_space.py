"""What is given up when the disk runs full, and that it comes back."""

from __future__ import annotations

import errno
import os
import tempfile
import threading
from pathlib import Path

import pytest

from edge.domain.errors import StoreFault
from edge.store.database import as_sentence
from edge.store.space import RESERVE_FILE, Margins, Room, Space
from tests.integration.store_kit import until

MIB = 1 << 20
MARGINS = Margins(low=100 * MIB, raw=50 * MIB, rollups=20 * MIB, reserve=4096)


class Disk:
    """A disk that says what it is told to say."""

    def __init__(self, free: int, size: int = 1 << 40) -> None:
        self.free, self.size = free, size

    def measure(self, _: Path) -> tuple[int, int]:
        return self.free, self.size


@pytest.mark.parametrize(
    "free_mib, room",
    [(101, Room.FOR_ALL), (99, Room.LOW), (49, Room.NO_RAW), (19, Room.NO_ROLLUPS), (0, Room.NO_ROLLUPS)],
)
def test_raw_readings_go_first_then_rollups(tmp_path: Path, free_mib: int, room: Room) -> None:
    space = Space(tmp_path, MARGINS, Disk(free_mib * MIB).measure)
    assert space.room() is room
    assert space.status()["low"] == (room >= Room.LOW)


def test_room_that_comes_back_is_noticed(tmp_path: Path) -> None:
    disk = Disk(0)
    space = Space(tmp_path, MARGINS, disk.measure)
    assert space.room(fresh=True) is Room.NO_ROLLUPS
    disk.free = 200 * MIB
    assert space.room(fresh=True) is Room.FOR_ALL


def test_a_refused_write_counts_more_than_what_the_disk_says(tmp_path: Path) -> None:
    disk = Disk(50 * MIB)
    space = Space(tmp_path, MARGINS, disk.measure)
    space.refused()
    assert space.room() is Room.NO_RAW
    disk.free = 51 * MIB
    assert space.room(fresh=True) is Room.LOW


def test_the_reserve_is_laid_down_given_up_and_laid_down_again(tmp_path: Path) -> None:
    disk = Disk(200 * MIB)
    space = Space(tmp_path, MARGINS, disk.measure)
    space.room(fresh=True)
    reserve = tmp_path / RESERVE_FILE
    assert reserve.stat().st_blocks * 512 >= 4096  # blocks, not only a length
    disk.free = 0
    assert space.make_room()
    assert not reserve.exists()
    assert not space.make_room()  # there is only one
    assert space.room(fresh=True) is Room.NO_ROLLUPS
    assert not reserve.exists()
    disk.free = 200 * MIB
    space.room(fresh=True)
    assert reserve.exists()


def test_a_small_disk_has_smaller_margins(tmp_path: Path) -> None:
    small = Space(tmp_path, Margins(), Disk(150 * 1024, MIB).measure)
    assert small.room() is Room.FOR_ALL


def test_a_disk_that_cannot_be_asked_gets_nothing_but_the_journal(tmp_path: Path) -> None:
    def gone(_: Path) -> tuple[int, int]:
        raise OSError(5, "Input/output error")

    assert Space(tmp_path, MARGINS, gone).room() is Room.NO_ROLLUPS


def test_a_folder_that_may_not_be_looked_into_is_said_and_raises_nothing() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "closed"
        folder.mkdir()
        assert Space(folder).status()["reserve"] is True
        Path(name).chmod(0o755)
        folder.chmod(0)
        user = os.geteuid()
        if user == 0:
            os.seteuid(65534)  # root may look anywhere
        try:
            status = Space(folder).status()
        finally:
            os.seteuid(user)
            folder.chmod(0o755)
        assert status["reserve"] is False


def test_a_disk_that_gives_no_answer_holds_nobody_up_and_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk, answers = Disk(1 << 30), threading.Event()
    answers.set()

    def measure(folder: Path) -> tuple[int, int]:
        answers.wait()
        return disk.measure(folder)

    monkeypatch.setattr("edge.store.space.PATIENCE_S", 0.01)
    monkeypatch.setattr("edge.store.space._HANGS_AFTER_S", 1e-9)
    space = Space(tmp_path, MARGINS, measure)
    assert until(lambda: space.status()["disk"] == "ok")
    answers.clear()
    space.refused()  # so that it is asked anew
    assert "the disk has not answered for" in space.status()["disk"]
    assert space.silent_s() > 0
    answers.set()
    assert until(lambda: space.status()["disk"] == "ok") and space.silent_s() == 0


@pytest.mark.parametrize(
    "number, said, do",
    [
        (errno.ENOSPC, "the disk is full", "df -i"),
        (errno.EISDIR, "a link, a folder or a device stands under this name", "remove it"),
        (errno.ELOOP, "a link, a folder or a device stands under this name", "remove it"),
        (errno.EACCES, "it can't be used (Permission denied)", "the right to read and write it"),
    ],
)
def test_what_the_system_refuses_is_said_of_the_file_itself(number: int, said: str, do: str) -> None:
    with pytest.raises(StoreFault) as caught, as_sentence("/keep/head"):
        raise OSError(number, os.strerror(number))
    assert caught.value.what == said and caught.value.where == "/keep/head" and do in caught.value.do
