"""The whole daemon on a disk that refuses: it goes on watching, says so, keeps what it must, and takes back nothing it said.

The disk is powercut_fs.py, told to fail every write (28: no space left, 5: input/output error, 30: read-only; errno(3)).
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from edge.store.journal import Journal, ReadOnlyJournal
from edge.store.verify import verify
from tests.integration.daemon_kit import Daemon, until
from tests.integration.powercut_fs import PowercutMount, powercut_mount, why_not

pytestmark = [pytest.mark.fuse, pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")]


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[PowercutMount]:
    with powercut_mount(above=tmp_path) as mounted:
        yield mounted


@pytest.fixture
def daemon(disk: PowercutMount, tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path, keep=disk.folder / "keep")
    yield made
    made.end()


def _has_settings(daemon: Daemon, times: int) -> bool:
    return [entry["kind"] for entry in daemon.entries()].count("settings") == times


#: no space left, an input/output error, read-only
REFUSALS = (28, 5, 30)


def test_a_disk_that_refuses_is_said_and_nothing_is_lost(daemon: Daemon, disk: PowercutMount) -> None:
    """Whatever its reason: one after the other, in the life of one daemon."""
    daemon.start()
    assert daemon.record(record="note", text="before")[0] == 200
    right = daemon.file.read_text()
    for times, error in enumerate(REFUSALS, start=1):
        disk.order(f"errno {error}")
        for number in range(3):
            status, problem = daemon.record(record="note", text=f"refused {number}")
            assert status == 503 and problem["status"] == 503 and problem["do"]
        tuned = f'\n[alarm.outlet_tripped]\non_delay = "{1 + times} s"\n'
        daemon.file.write_text(right + tuned)  # becomes an entry by itself, meanwhile
        daemon.send(signal.SIGHUP)
        until(lambda: "can't be written" in str(daemon.get("/api/1/verdict")[1]["note"]))
        assert daemon.get("/api/1/points")[0] == 200
        assert daemon.record(record="note", text="refused too")[0] == 503  # while an entry waits for the disk

        disk.order("errno 0")
        until(partial(_has_settings, daemon, 1 + times), why=daemon.log())
        until(lambda: "can't be written" not in str(daemon.get("/api/1/verdict")[1]["note"]))
        assert daemon.record(record="note", text=f"after {error}")[0] == 200
    code, took_s = daemon.stop()
    assert code == 0 and took_s < 5
    assert "Traceback" not in daemon.log()

    assert verify(daemon.keep).ok
    journal = ReadOnlyJournal(daemon.keep)
    entries = journal.read(0, 1000)
    journal.close()
    assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))
    kept = [entry.body["text"] for entry in entries if entry.kind == "record"]
    assert kept == ["before", *(f"after {error}" for error in REFUSALS)]


def test_with_a_disk_that_refuses_from_the_start_the_station_is_watched_and_never_ready(
    daemon: Daemon, disk: PowercutMount
) -> None:
    disk.order("errno 28")
    daemon.start()
    verdict = until(lambda: daemon.get("/api/1/verdict")[1])
    assert verdict["verdict"] != "ready"
    assert {c["id"]: c["state"] for c in verdict["conditions"]}["store"] == "unknown"
    assert daemon.record(record="hold")[0] == 503
    _status, health = daemon.get("/health")
    assert health["status"] != "ok" and str(disk.folder) in health["parts"]["store"]
    disk.order("errno 0")

    def is_kept() -> bool:
        with contextlib.suppress(OSError):  # it begins anew with the store, the page is away for a moment
            return daemon.record(record="note", text="kept")[0] == 200
        return False

    until(is_kept, 40.0)
    assert daemon.stop()[0] == 0
    assert "Traceback" not in daemon.log() and verify(daemon.keep).ok


def test_a_stop_while_the_disk_refuses_is_still_quick(daemon: Daemon, disk: PowercutMount) -> None:
    daemon.start()
    disk.order("errno 28")
    assert daemon.record(record="note", text="refused")[0] == 503
    code, took_s = daemon.stop()
    assert code in (0, 1) and took_s < 5.0, daemon.log()
    disk.order("errno 0")
    assert verify(daemon.keep).ok


def test_a_disk_that_answers_nothing_holds_up_neither_page_nor_stop(daemon: Daemon, disk: PowercutMount) -> None:
    daemon.start()
    assert daemon.record(record="note", text="before")[0] == 200
    with disk.frozen():
        health = until(lambda: (h := daemon.get("/health")[1])["status"] != "ok" and h)
        assert daemon.get("/api/1/verdict")[0] == 200  # the page goes on
        said = until(lambda: (s := daemon.get("/health")[1]["parts"].get("store", "ok")) != "ok" and s, 40.0)
        assert "not answered" in said or "under way" in said, health
        until(lambda: daemon.alarm("store")["state"] == "unacknowledged", 40.0)
        assert daemon.get("/api/1/verdict")[0] == 200
        daemon.send(signal.SIGTERM)
        until(lambda: "the program ends without it" in daemon.log(), 30.0, daemon.log())
    # the kernel lets a process end only once its calls to the disk have come back
    assert daemon.process is not None and daemon.process.wait(60) == 1
    assert "Traceback" not in daemon.log()
    assert verify(daemon.keep).ok


def test_a_start_on_a_disk_that_answers_nothing_has_a_page_and_is_never_ready(
    daemon: Daemon, disk: PowercutMount
) -> None:
    daemon.start()
    assert daemon.record(record="hold", why="culture")[0] == 200
    daemon.stop()
    with disk.frozen():
        daemon.start()  # until its page answers
        verdict = daemon.get("/api/1/verdict")[1]
        assert verdict["verdict"] != "ready" and "the disk doesn't answer" in verdict["note"]
        assert {c["id"]: c["state"] for c in verdict["conditions"]}["store"] == "unknown"
        health = daemon.get("/health")[1]
        assert health["status"] != "ok" and "the disk doesn't answer" in health["parts"]["store"]
        assert daemon.record(record="note", text="refused")[0] == 503
        until(lambda: daemon.get("/api/1/points")[1])  # the sensors are read meanwhile

    def hold() -> bool:
        with contextlib.suppress(OSError):  # it begins anew with the journal, the page is away for a moment
            conditions = daemon.get("/api/1/verdict")[1]["conditions"]
            return "culture" in next(c["text"] for c in conditions if c["id"] == "no_hold")
        return False

    until(hold, 40.0, daemon.log())
    assert daemon.record(record="note", text="kept")[0] == 200
    assert daemon.stop()[0] == 0
    assert "Traceback" not in daemon.log() and verify(daemon.keep).ok


def test_a_stop_does_not_wait_for_a_disk_that_never_answered(daemon: Daemon, disk: PowercutMount) -> None:
    Journal(daemon.keep, "harbour-lane/scope-room-2", "boot-1").close()
    with disk.frozen():
        daemon.start()
        daemon.send(signal.SIGTERM)
        until(lambda: "stopped (SIGTERM)" in daemon.log().split("the page is at")[-1], 60.0, daemon.log())
    assert daemon.process is not None and daemon.process.wait(60) in (0, 1)
    assert "Traceback" not in daemon.log() and verify(daemon.keep).ok
