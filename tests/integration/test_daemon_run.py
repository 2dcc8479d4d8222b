"""`warmwell run` as a process: start, stop, kill, reload, and what it says to a service manager.

The promises are this project's own: README.md (exit codes), edge/daemon and edge/judge (a stop within five seconds,
nothing answered before it is on disk). The notify protocol is that of sd_notify(3).
"""

from __future__ import annotations

import contextlib
import json
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.domain.entries import Draft, Now
from edge.store.journal import Journal, ReadOnlyJournal
from edge.store.verify import verify
from tests.integration.daemon_kit import ROOT, Daemon, called, finished, open_stream, until, warmwell

TEST_PASSED = {"record": "daily_test", "passed": True}


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path)
    yield made
    made.end()


def kinds(daemon: Daemon) -> list[str]:
    journal = ReadOnlyJournal(daemon.keep)
    try:
        return [entry.kind for entry in journal.read(0, 10_000)]
    finally:
        journal.close()


@pytest.fixture
def kept(daemon: Daemon) -> Path:
    """The daemon's folder, with a journal of its station in it that has an entry of an earlier boot."""
    journal = Journal(daemon.keep, "harbour-lane/scope-room-2", "boot-1")
    journal.append([Draft(Now(0, 1_773_640_200_000, True), "told", {"to": "nobody"})])
    journal.close()
    return daemon.keep


def test_it_stops_within_five_seconds_with_ten_streams_open_one_of_them_asleep(daemon: Daemon) -> None:
    daemon.start()
    status, answer = daemon.record(record="note", text="before the stop")
    assert status == 200 and answer["seq"] > 0
    with contextlib.ExitStack() as streams:
        for number in range(10):
            streams.enter_context(open_stream(daemon.port, reads=number > 0))
        code, took_s = daemon.stop(signal.SIGTERM)
    assert code == 0 and took_s < 5.0, daemon.log()
    assert kinds(daemon)[0] == "started" and kinds(daemon)[-1] == "stopped"
    assert verify(daemon.keep).ok
    assert "Traceback" not in daemon.log()


def test_sigint_stops_it_too_and_the_next_start_knows_of_the_clean_stop(daemon: Daemon) -> None:
    assert daemon.start().stop(signal.SIGINT)[0] == 0
    daemon.start()
    starts = [entry["body"] for entry in daemon.entries() if entry["kind"] == "started"]
    assert [start["after"] for start in starts] == ["nothing", "a clean stop"]


def test_alarms_and_who_answered_them_survive_a_kill(daemon: Daemon) -> None:
    daemon.start()
    assert daemon.record(record="hold", why="culture failed", released_by="biomed technician")[0] == 200
    assert daemon.alarm("hold")["state"] == "unacknowledged"
    answered = daemon.ask("POST", "/api/1/alarms/hold/acknowledge", {"by": "early technician"})
    assert answered[0] == 200
    before = daemon.alarm("hold")
    assert before["state"] == "acknowledged"
    seen = [e for e in daemon.entries() if e["kind"] == "alarm" and e["body"]["id"] == "hold"]
    daemon.stop(signal.SIGKILL)

    daemon.start()
    after = daemon.alarm("hold")
    assert after["state"] == "acknowledged" and after["acknowledged_by"] == "early technician"
    assert after["since"] == before["since"]
    now_seen = [e for e in daemon.entries() if e["kind"] == "alarm" and e["body"]["id"] == "hold"]
    assert now_seen == seen  # nothing rings again
    assert [e["body"]["after"] for e in daemon.entries() if e["kind"] == "started"][-1] == "an unclean stop"


def test_c036_what_was_answered_200_is_there_after_a_kill(daemon: Daemon) -> None:
    """Notes, and last the daily test: SIGKILL the moment it is answered. What a kill takes of the readings is a gap, the rest is there.

    Nor does the lock that each kill leaves hold up the next start.
    """
    told: dict[int, tuple[str, str | None]] = {}
    for life in range(3):
        daemon.start(WEB_CONCURRENCY="4")
        for number in range(5):
            body = {"record": "note", "text": f"life {life}, note {number}"} if number < 4 else TEST_PASSED
            status, answer = daemon.record(**body)
            assert status == 200
            told[answer["seq"]] = str(body["record"]), body.get("text")
        daemon.stop(signal.SIGKILL)
    journal = ReadOnlyJournal(daemon.keep)
    kept = {
        entry.seq: (entry.body["record"], entry.body.get("text"))
        for entry in journal.read(0, 10_000)
        if entry.kind == "record"
    }
    journal.close()
    assert {seq: kept.get(seq) for seq in told} == told
    assert [record for record, _ in told.values()].count("daily_test") == 3
    assert verify(daemon.keep).ok
    daemon.start()
    assert daemon.get("/api/1/verdict")[0] == 200


def test_a_second_daemon_on_the_folder_is_refused_with_its_own_exit_code(daemon: Daemon, tmp_path: Path) -> None:
    daemon.start()
    other = tmp_path / "other"
    other.mkdir()
    second = Daemon(other, keep=daemon.keep)  # another port, the same folder
    code, _, err = finished("run", second.file)
    assert code == 4
    assert err.count("\n") <= 3 and f"process {daemon.process.pid if daemon.process else 0} holds this folder" in err
    assert daemon.get("/api/1/verdict")[0] == 200  # the first one doesn't mind
    third = Daemon(other)
    third.port = daemon.port
    third.write()
    code, _, err = finished("run", third.file)
    assert code == 4 and f"port {daemon.port}" in err
    assert not third.keep.exists()  # nothing half begun
    code, _, err = finished("run", daemon.file)  # the same file: who is there is said, not that its port is taken
    assert code == 4 and f"process {daemon.process.pid if daemon.process else 0} holds this folder" in err


def test_a_store_of_a_newer_version_is_left_alone(daemon: Daemon, kept: Path) -> None:
    with contextlib.closing(sqlite3.connect(kept / "journal.db")) as conn:
        conn.execute("PRAGMA user_version = 99")
    before = (kept / "journal.db").read_bytes()
    code, _, err = finished("run", daemon.file)
    assert code == 3 and "99" in err and "Traceback" not in err
    assert (kept / "journal.db").read_bytes() == before


def test_readings_that_are_damaged_are_set_aside_and_it_says_so(daemon: Daemon, kept: Path) -> None:
    (kept / "series.db").write_bytes(b"garbage" * 4000)
    daemon.start()
    until(lambda: any(entry["kind"] == "repair" for entry in daemon.entries()), why="no entry `repair`")
    until(lambda: "series.db is damaged" in daemon.log(), why="the log is silent")
    assert "set aside as series-damaged-" in daemon.log() and daemon.get("/api/1/verdict")[0] == 200


def test_a_station_file_that_can_not_be_used_ends_it_with_a_sentence_for_each_mistake(daemon: Daemon) -> None:
    daemon.file.write_text(daemon.file.read_text().replace('"40 degC"', '"40"').replace("every =", "evry =", 1))
    code, out, err = finished("run", daemon.file)
    assert code == 2 and out == ""
    assert "line 9, reservoir.set_point" in err and "evry" in err and "every" in err and "Traceback" not in err
    assert not daemon.keep.exists()


def test_another_stations_folder_is_refused(daemon: Daemon, kept: Path) -> None:
    assert (kept / "journal.db").is_file()
    daemon.file.write_text(daemon.file.read_text().replace("scope-room-2", "scope-room-9"))
    code, _, err = finished("run", daemon.file)
    assert code == 2 and "harbour-lane/scope-room-2" in err


def test_a_reload_puts_a_new_file_in_force_and_a_bad_one_does_not(daemon: Daemon) -> None:
    """A bad one: no TOML, or one that names another folder. A new one adds a point too, which is read and kept from then on."""
    daemon.start()
    assert daemon.get("/api/1/station")[1]["title"] == "Scope room 2, left bench"
    right = daemon.file.read_text()

    daemon.file.write_text("this is no TOML")
    daemon.send(signal.SIGHUP)
    until(lambda: "the old settings" in daemon.log())
    assert [e["kind"] for e in daemon.entries()].count("settings") == 1
    assert "line 1" in daemon.log()
    refused = until(lambda: [e["body"] for e in daemon.entries() if e["kind"] == "settings_refused"])
    assert len(refused) == 1 and "line 1" in refused[0]["why"]
    until(lambda: "The station file was not taken" in daemon.get("/api/1/verdict")[1]["note"])

    daemon.file.write_text(right.replace(str(daemon.keep), f"{daemon.keep}-2"))
    daemon.send(signal.SIGHUP)
    until(lambda: "Restart Warmwell" in daemon.log())
    assert daemon.get("/api/1/verdict")[0] == 200 and not Path(f"{daemon.keep}-2").exists()

    added = '\n[[point]]\nid = "room"\nrole = "room_temperature"\nbus = "bench"\nevery = "200 ms"\n'
    daemon.file.write_text(right.replace("left bench", "right bench") + added)
    daemon.send(signal.SIGHUP)
    until(lambda: _title(daemon) == "Scope room 2, right bench")
    settings = [e["body"] for e in daemon.entries() if e["kind"] == "settings"]
    assert len(settings) == 2 and settings[1]["document"]["station"]["title"] == "Scope room 2, right bench"
    assert settings[0]["digest"] != settings[1]["digest"]
    assert daemon.record(record="note", text="after the reload")[0] == 200
    until(lambda: "was not taken" not in daemon.get("/api/1/verdict")[1]["note"])
    until(lambda: _point(daemon, "room").get("quality") == "good")
    assert daemon.get("/api/1/points/room/readings?buckets=1")[0] == 200
    assert daemon.stop()[0] == 0


def _title(daemon: Daemon) -> str:
    try:
        return str(daemon.get("/api/1/station")[1]["title"])
    except OSError:  # the API itself is started anew
        return ""


def _point(daemon: Daemon, ident: str) -> dict[str, object]:
    points = daemon.get("/api/1/points")[1]["points"]
    rows = points.values() if isinstance(points, dict) else points
    return next((dict(row) for row in rows if row["id"] == ident), {})


def test_it_tells_the_service_manager_that_it_is_ready_alive_and_stopping(daemon: Daemon, tmp_path: Path) -> None:
    """And each line of its log for the system journal is JSON, with a priority."""
    address = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(10)
        daemon.start("--log", "json", NOTIFY_SOCKET=address, WATCHDOG_USEC="400000")
        said = ""
        deadline_s = time.monotonic() + 10
        while said.count("WATCHDOG=1") < 3:
            said += manager.recv(200).decode() + "\n"
            assert time.monotonic() < deadline_s
        assert said.splitlines()[0] == "READY=1"
        daemon.stop()
        while "STOPPING=1" not in said:
            said += manager.recv(200).decode() + "\n"
    lines = daemon.log().splitlines()
    assert len(lines) >= 3
    for line in lines:
        priority, _, text = line.partition(">")
        assert priority in ("<6", "<4", "<3") and set(json.loads(text)) >= {"at", "level", "part", "text"}


def test_a_stop_right_after_the_start_is_a_clean_one(daemon: Daemon, kept: Path) -> None:
    """Right after its first entry, long before its page is there."""
    daemon.process = subprocess.Popen([sys.executable, "-m", "edge.cli", "run", str(daemon.file)], cwd=ROOT)
    until(lambda: "started" in kinds(daemon))
    assert daemon.stop(signal.SIGTERM)[0] == 0
    assert kinds(daemon)[-1] == "stopped" and kept == daemon.keep


def test_status_watch_and_ack_ask_the_running_station(daemon: Daemon) -> None:
    daemon.start()
    url = f"http://127.0.0.1:{daemon.port}/"
    with warmwell("watch", "--url", url) as watching:
        try:
            assert watching.stdout is not None
            first = watching.stdout.readline()
            assert first.startswith("NOT READY  ") and "(harbour-lane/scope-room-2)" in first
            assert daemon.record(record="hold", why="recall", released_by="biomed technician")[0] == 200
            seen = ""
            while "alarm: hold normal -> unacknowledged" not in seen:
                seen = watching.stdout.readline()
                assert seen
        finally:
            watching.send_signal(signal.SIGINT)
    assert watching.returncode == 0

    code, out, err = called("status", "--url", url)
    assert code == 0 and err == "" and re.search(r"hold \(\w+\), not acknowledged, since ", out)
    assert re.search(r"reservoir: \d+\.\d* ", out) and "heater-outlet: ok, " in out
    code, out, err = called("ack", "hold", "--by", "early technician", "--url", url)
    assert code == 0 and err == "" and out.startswith("acknowledged: entry ")
    assert daemon.alarm("hold")["acknowledged_by"] == "early technician"
    code, out, err = called("ack", "hodl", "--by", "early technician", "--url", url)
    assert code == 2 and out == "" and "hodl" in err and err.count("\n") == 1
