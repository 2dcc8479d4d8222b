"""Hard cases of the whole process: a disk that runs full, nothing there at boot, and what grows while it runs.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.store.verify import verify
from tests.integration.daemon_kit import STATION, Daemon, finished, free_port, open_stream, until
from tests.integration.store_kit import small_file_system

GOOD = "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\n"


# -- C034


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 6 MB."""
    with small_file_system(tmp_path / "small", "size=6m") as folder:
        yield folder


def fill(folder: Path, leave: int) -> Path:
    """Fill the disk but for `leave` bytes."""
    ballast = folder / f"ballast-{len(list(folder.iterdir()))}"
    with ballast.open("wb", buffering=0) as file:
        free = os.statvfs(folder)
        os.posix_fallocate(file.fileno(), 0, max(free.f_bavail * free.f_frsize - leave, 4096))
    return ballast


def test_c034_a_disk_that_fills_is_told_early_costs_readings_first_and_heals(small_disk: Path, tmp_path: Path) -> None:
    daemon = Daemon(tmp_path, keep=small_disk / "keep")
    try:
        daemon.start()
        until(lambda: (small_disk / "keep" / "reserve").exists())
        early = fill(small_disk, 450_000)
        alarm = until(lambda: (a := daemon.alarm("disk_low"))["active"] and a, why="no alarm")
        assert "the disk is nearly full" in alarm["cause"]
        assert daemon.get("/health")[1]["parts"]["series"]["disk"] == "low", "all is kept yet"
        last = fill(small_disk, 0)
        until(
            lambda: daemon.get("/health")[1]["parts"]["series"]["disk"] == "neither raw readings nor rollups are kept"
        )
        assert daemon.get("/api/1/verdict")[0] == daemon.get("/api/1/points")[0] == 200
        told, ballast = {}, [early, last]
        for number in range(40):  # the journal goes on, until even what was laid aside for it is used up
            status, answer = daemon.record(record="note", text=f"{number} " + "x" * 1900)
            if status == 503:
                assert "the disk is full" in answer["detail"]
                break
            assert status == 200, answer
            told[answer["seq"]] = number
            if number == 4:  # somebody else takes what was laid aside
                ballast.append(fill(small_disk, 0))
        else:
            pytest.fail("it never ran full")
        assert len(told) > 4 and daemon.get("/api/1/verdict")[0] == 200
        for file in ballast:
            file.unlink()
        until(lambda: daemon.record(record="note", text="room again")[0] == 200, 60.0)
        until(lambda: daemon.get("/health")[1]["parts"]["series"]["disk"] == "ok", 60.0)
        until(lambda: not daemon.alarm("disk_low")["active"], 60.0)
        notes = {e["seq"]: e["body"]["text"] for e in daemon.entries() if e["kind"] == "record"}
        assert {seq: int(notes[seq].split()[0]) for seq in told} == told
        assert daemon.stop()[0] == 0 and "Traceback" not in daemon.log()
        assert verify(daemon.keep).ok
    finally:
        daemon.end()


# -- C061


def used_by(daemon: Daemon) -> dict[str, int]:
    """Threads, open files and resident memory [KiB] of the process."""
    assert daemon.process is not None
    own = Path(f"/proc/{daemon.process.pid}")
    status = dict(line.split(":", 1) for line in (own / "status").read_text().splitlines())
    return {
        "threads": int(status["Threads"]), "files": len(list((own / "fd").iterdir())), "resident": int(status["VmRSS"].split()[0]),
    }  # fmt: skip


#: rounds of a reload, pages and a record that are measured
RELOADS = int(os.environ.get("WARMWELL_RELOADS", "5"))


def test_c061_reloads_and_pages_that_come_and_go_leave_nothing_behind(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path)

    def rounds(first: int, last: int) -> dict[str, int]:
        for number in range(first, last):
            daemon.write(title=f"Bench {number}")
            daemon.send(signal.SIGHUP)
            until(lambda number=number: _title(daemon) == f"Bench {number}")
            for _ in range(20):
                with open_stream(daemon.port):
                    pass
            daemon.record(record="note", text=f"round {number}")
        until(lambda: daemon.get("/health")[1]["streams"] == 0)
        return used_by(daemon)

    try:
        daemon.start()
        before = rounds(0, 6)  # till what is kept for the next page is there
        after = rounds(6, 6 + RELOADS)
        until(
            lambda: (now := used_by(daemon))["threads"] <= before["threads"] + 2 and now["files"] <= before["files"] + 2
        )
        assert after["resident"] - before["resident"] < 6 * 1024, (before, after)
        assert daemon.stop()[0] == 0
    finally:
        daemon.end()


def _title(daemon: Daemon) -> str:
    try:
        return str(daemon.get("/api/1/station")[1]["title"])
    except OSError:  # the API itself is started anew
        return ""


# -- C062

NOTHING_THERE = """
[[bus]]
id = "probes"
kind = "onewire"
root = "{folder}/../devices"

[[point]]
id = "room"
role = "room_temperature"
bus = "probes"
address = "28-00000a1b2c4e"
every = "1 s"

[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "{folder}/../ttyUSB0"
baud = 19200
parity = "none"

[[point]]
id = "supply"
role = "supply_pressure"
bus = "panel"
unit_id = 3
register = {{ kind = "input", at = 0, type = "int16", scale = 0.1, unit = "kPa" }}
every = "1 s"

[mqtt]
host = "127.0.0.1"
port = {broker}
"""


def test_c062_a_file_with_an_error_ends_it_once_corrected_it_waits_for_what_is_not_there_yet(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path, STATION + NOTHING_THERE.replace("{broker}", str(free_port())))
    good = daemon.file.read_text()
    daemon.file.write_text(good.replace('"40 degC"', '"40"', 1))
    code, out, err = finished("run", daemon.file)
    assert (code, out, err.count("\n")) == (2, "", 1) and "line 9, reservoir.set_point" in err
    daemon.file.write_text(good)

    def point(ident: str) -> dict[str, Any]:
        return dict(daemon.get("/api/1/points")[1]["points"][ident])

    try:
        daemon.start()
        until(
            lambda: (
                point("room")["reason"] not in (None, "no_reading_yet")
                and point("supply")["reason"] not in (None, "no_reading_yet")
            )
        )
        assert point("room")["value"] is point("supply")["value"] is None
        verdict = daemon.get("/api/1/verdict")[1]
        assert verdict["verdict"] != "ready"
        assert daemon.get("/health")[1]["parts"]["mqtt"]["connected"] is False
        assert daemon.record(record="note", text="kept all the same")[0] == 200
        (tmp_path / "devices" / "w1_bus_master1").mkdir(parents=True)
        (tmp_path / "devices" / "28-00000a1b2c4e").mkdir()
        (tmp_path / "devices" / "28-00000a1b2c4e" / "w1_slave").write_text(GOOD)
        until(lambda: point("room")["value"] == 39.0, why=f"never read:\n{daemon.log()}")
        assert daemon.process is not None and daemon.process.poll() is None
        assert [e["kind"] for e in daemon.entries()].count("started") == 1, "without a restart"
        assert daemon.stop()[0] == 0 and "Traceback" not in daemon.log()
    finally:
        daemon.end()
