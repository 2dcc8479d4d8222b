"""Power cuts while people record through the API: each write that was answered 200 is there at the next boot.

The whole daemon runs on a disk whose power can be cut (powercut_fs.py). The same cuts with synchronous=OFF are the control:
they must lose answered writes, else the disk loses nothing and the test proves nothing.
WARMWELL_CUTS sets how many cuts (default 2; 50 for a release).
"""

from __future__ import annotations

import http.client
import os
import random
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from edge.domain.errors import WarmwellError
from edge.store.journal import ReadOnlyJournal
from edge.store.verify import verify
from tests.integration.daemon_kit import ROOT, Daemon, until
from tests.integration.powercut_fs import powercut_mount, why_not

CUTS = int(os.environ.get("WARMWELL_CUTS") or os.environ.get("WARMWELL_POWERCUTS") or "2")

pytestmark = [pytest.mark.fuse, pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")]

#: the daemon, but its journal doesn't wait for the disk
CARELESS = """
import sys
from edge.store import journal
careful = journal.connect
def careless(*what, **how):
    conn = careful(*what, **how)
    conn.execute("PRAGMA synchronous=OFF")
    return conn
journal.connect = careless
from edge.cli.app import main
sys.argv = ["warmwell", "run", sys.argv[1]]
main()
"""


class CarelessDaemon(Daemon):
    """The control."""

    def start(self, *options: str, **environment: str) -> Daemon:
        with self.file.with_name("log.txt").open("a", encoding="utf-8") as lines:
            command = [sys.executable, "-c", CARELESS, str(self.file)]
            self.process = subprocess.Popen(command, stdout=lines, stderr=lines, text=True, cwd=ROOT)
        until(self._answers, why=f"no answer from the API; it said:\n{self.log()}")
        return self


class Writers:
    """Three people who record as fast as they are answered."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self.told: dict[int, str] = {}  # seq -> text, answered 200
        self._over = threading.Event()
        self._threads = [threading.Thread(target=self._write, args=(number,)) for number in range(3)]
        for thread in self._threads:
            thread.start()

    def _write(self, person: int) -> None:
        number = 0
        while not self._over.is_set():
            number += 1
            text = f"person {person}, note {number}, " + "x" * (number * 37 % 700)
            try:
                status, answer = self._daemon.record(record="note", text=text)
            except (OSError, ValueError, http.client.HTTPException):  # the daemon is gone
                return
            if status == 200:
                self.told[answer["seq"]] = text

    def end(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join(15)


def cut_while_people_write(daemon: Daemon, disk: object, chance: random.Random) -> dict[int, str]:
    """What had been answered 200 when the power went."""
    daemon.start()
    writers = Writers(daemon)
    try:
        wanted = 15 + chance.randrange(60)
        until(lambda: len(writers.told) >= wanted, why=f"{len(writers.told)} notes, then none:\n{daemon.log()}")
        disk.cut()  # type: ignore[attr-defined]  # a PowercutMount
        daemon.end()
    finally:
        writers.end()
        daemon.end()
    return writers.told


def kept_in(folder: Path) -> dict[int, str]:
    """The notes that the next boot finds, by seq; nothing where there is no journal that can be read."""
    try:
        journal = ReadOnlyJournal(folder)
    except WarmwellError:
        return {}
    try:
        return {entry.seq: entry.body["text"] for entry in journal.read(0, 100_000) if entry.kind == "record"}
    except WarmwellError:
        return {}
    finally:
        journal.close()


@pytest.mark.slow
@pytest.mark.parametrize("torn", [False, True], ids=["all unsynced pages lost", "unsynced pages torn"])
def test_every_record_answered_200_is_there_after_a_power_cut(tmp_path: Path, torn: bool) -> None:
    chance = random.Random(torn)
    for number in range(CUTS):
        folder = tmp_path / str(number)
        folder.mkdir()
        with powercut_mount(torn, tmp_path, seed=number) as disk:
            told = cut_while_people_write(Daemon(folder, keep=disk.folder / "keep"), disk, chance)
        home = disk.backing / "keep"
        found = verify(home)
        assert found.ok, found.why
        kept = kept_in(home)
        assert {seq: kept.get(seq) for seq in told} == told
        assert len(kept) - len(told) <= 3  # on disk, but their answers were still under way
    again = Daemon(tmp_path, keep=home)  # and it starts on what the last cut left
    try:
        again.start()
        starts = [entry["body"]["after"] for entry in again.entries() if entry["kind"] == "started"]
        assert starts == ["nothing", "an unclean stop"]
        assert again.stop()[0] == 0
    finally:
        again.end()


@pytest.mark.slow
def test_without_waiting_for_the_disk_answered_records_are_lost_or_the_test_above_is_void(tmp_path: Path) -> None:
    with powercut_mount(False, tmp_path) as disk:
        told = cut_while_people_write(CarelessDaemon(tmp_path, keep=disk.folder / "keep"), disk, random.Random(1))
    kept = kept_in(disk.backing / "keep")
    lost = [seq for seq, text in told.items() if kept.get(seq) != text]
    assert lost, f"all {len(told)} answered records survived: this disk loses nothing, so the test above proves nothing"
