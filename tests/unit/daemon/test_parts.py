"""Small parts of the daemon: supervision with a growing pause, the notify protocol of sd_notify(3), what is logged."""

from __future__ import annotations

import io
import json
import logging
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from edge.config import load
from edge.daemon.assembly import told_of_station
from edge.daemon.log import JsonLines, PlainLines, set_up
from edge.daemon.part import FIRST_PAUSE_S, LONGEST_PAUSE_S, STEADY_S, Part
from edge.daemon.run import feed, refuse_held_port, reload
from edge.daemon.systemd import notify, watchdog_s
from edge.domain.errors import AlreadyRunning, UnusableInput

#: a program that does what the daemon does between two looks, only faster
WAITS = """
from edge.daemon.signals import listening
with listening() as asked:
    print("waits", flush=True)
    while asked.stop_why is None:
        asked.wait(0.0001)
print(asked.reload, asked.stop_why, flush=True)
"""


def test_signals_that_come_while_it_begins_to_wait_hold_nothing_up() -> None:
    """An event's lock, taken by the handler while the same thread held it, hung a daemon that was asked to reload (measured)."""
    with subprocess.Popen([sys.executable, "-c", WAITS], stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None and process.stdout.readline() == "waits\n"
            for _ in range(3000):
                process.send_signal(signal.SIGHUP)
                time.sleep(0.0003)
            process.send_signal(signal.SIGTERM)
            assert process.communicate(timeout=60)[0] == "True SIGTERM\n"
        finally:
            process.kill()


class Teller:
    """A part that tells: lives until it is told to die."""

    def __init__(self) -> None:
        self.lives, self.stopped = False, False

    def start(self) -> None:
        self.lives = True

    def stop(self, timeout_s: float) -> None:
        self.stopped = True

    def status(self) -> dict[str, Any]:
        return {"connected": self.lives}


class Bench:
    """A supervised part, and real time that moves only when told."""

    def __init__(self) -> None:
        self.now_s, self.made, self.refuses = 1000.0, list[Teller](), False
        self.part = Part("teller", self._make, lambda teller: teller.lives, lambda: self.now_s)

    def _make(self) -> Teller:
        if self.refuses:
            raise AlreadyRunning("it is taken", where="port 1", expected="a free one", do="Wait")
        self.made.append(Teller())
        return self.made[-1]


def test_a_part_that_died_is_started_again_after_a_pause_and_stopped_before() -> None:
    bench = Bench()
    bench.part.look()
    assert bench.part.status() == {"ok": True, "state": "up", "restarts": 0, "connected": True}
    bench.made[0].lives = False
    bench.part.look()
    assert bench.made[0].stopped and bench.part.status()["state"] == "down"
    bench.part.look()
    assert len(bench.made) == 1  # not at once
    bench.now_s += LONGEST_PAUSE_S
    bench.part.look()
    assert len(bench.made) == 2 and bench.part.status()["restarts"] == 1


def test_pauses_grow_and_a_part_that_lasted_has_the_first_one_again() -> None:
    bench = Bench()

    def pause_s() -> float:
        bench.made[-1].lives = False
        bench.part.look()
        lives, began_s = len(bench.made), bench.now_s
        while len(bench.made) == lives:
            bench.now_s += 0.5
            bench.part.look()
            assert bench.now_s - began_s < 1000
        return bench.now_s - began_s

    bench.part.look()
    pauses = [pause_s() for _ in range(9)]
    assert pauses == sorted(pauses) and pauses[0] < pauses[3] and pauses[-1] == LONGEST_PAUSE_S
    bench.now_s += STEADY_S + 1
    assert pause_s() <= 2 * FIRST_PAUSE_S


def test_one_that_can_not_be_started_is_tried_again_and_said_once(caplog: pytest.LogCaptureFixture) -> None:
    bench = Bench()
    bench.refuses = True
    for _ in range(200):
        bench.part.look()
        bench.now_s += 5
    assert not bench.made and bench.part.status()["why"].startswith("port 1: it is taken")
    assert len(caplog.records) == 1
    bench.refuses = False
    bench.now_s += LONGEST_PAUSE_S
    bench.part.look()
    assert bench.part.status()["ok"]


def test_a_part_that_fails_at_its_stop_does_not_hold_up_the_others() -> None:
    bench = Bench()
    bench.part.look()

    def fails(timeout_s: float) -> None:
        raise RuntimeError("no")

    bench.made[0].stop = fails  # type: ignore[method-assign]  # the fault under test
    bench.part.stop(1.0)
    assert bench.part.last_status == {"connected": True}


@pytest.mark.parametrize("abstract", [False, True], ids=["a path", "an abstract name"])
def test_the_service_manager_gets_one_datagram(abstract: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    address = f"@warmwell-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + address[1:] if abstract else address)
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", address)
        assert notify("READY=1\nSTATUS=fine")
        assert manager.recv(100) == b"READY=1\nSTATUS=fine"


def test_without_a_service_manager_nothing_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not notify("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "nobody"))
    assert not notify("READY=1")


@pytest.mark.parametrize(
    "usec, pid, every_s",
    [("3000000", "", 1.5), ("3000000", "1", None), ("", "", None), ("0", "", None), ("x", "", None)],
)
def test_the_watchdog_is_fed_at_half_of_its_patience(
    usec: str, pid: str, every_s: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", usec)
    monkeypatch.setenv("WATCHDOG_PID", pid)
    assert watchdog_s() == every_s


def record(exc: bool) -> logging.LogRecord:
    made = logging.LogRecord("warmwell.judge", logging.ERROR, "f.py", 1, "%s failed", ("a pass",), None)
    if exc:
        try:
            raise ZeroDivisionError("a fault")
        except ZeroDivisionError as fault:
            made.exc_info = (type(fault), fault, fault.__traceback__)
    return made


def test_a_plain_line_has_no_stack_trace_but_for_debugging(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("WARMWELL_DEBUG", raising=False)
    line = PlainLines().format(record(True))
    assert line.endswith("error judge: a pass failed (ZeroDivisionError: a fault)") and "\n" not in line
    monkeypatch.setenv("WARMWELL_DEBUG", "1")
    assert "Traceback" in PlainLines().format(record(True))


def test_a_json_line_has_it_all_on_one_line() -> None:
    priority, _, text = JsonLines().format(record(True)).partition(">")
    said = json.loads(text)
    assert priority == "<3" and "\n" not in text
    assert (said["level"], said["part"], said["text"]) == ("error", "judge", "a pass failed")
    assert "ZeroDivisionError" in said["trace"]
    assert "trace" not in json.loads(JsonLines().format(record(False)).partition(">")[2])


def test_where_the_system_journal_listens_lines_are_json(monkeypatch: pytest.MonkeyPatch) -> None:
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    try:
        for stream_set, begins in (("8:1", "<6>{"), ("", "")):
            monkeypatch.setenv("JOURNAL_STREAM", stream_set)
            out = io.StringIO()
            set_up("auto", stream=out)
            logging.getLogger("warmwell.test").info("hello")
            assert "hello" in out.getvalue() and out.getvalue().startswith("<6>{") is bool(begins)
    finally:
        for handler in root.handlers[:]:
            root.removeHandler(handler)
        for handler in before:
            root.addHandler(handler)
        root.setLevel(level)


def test_only_a_port_that_is_taken_means_already_running() -> None:
    """192.0.2.1 is nobody's address: RFC 5737, for documentation."""
    with socket.create_server(("127.0.0.1", 0)) as other, pytest.raises(AlreadyRunning, match="in use"):
        refuse_held_port("127.0.0.1", other.getsockname()[1])
    with pytest.raises(UnusableInput, match="expected an address of this machine"):
        refuse_held_port("192.0.2.1", 8484)


class Kept:
    """The assembly's parts that a refused reload speaks to."""

    def __init__(self) -> None:
        self.plan = SimpleNamespace(digest="ab" * 32)
        self.judge = self
        self.noted: list[tuple[str, dict[str, Any]]] = []
        self.remarks: list[tuple[str, str]] = []

    def note(self, kind: str, body: dict[str, Any]) -> None:
        self.noted.append((kind, body))

    def remark(self, what: str, text: str) -> None:
        self.remarks.append((what, text))

    def reload(self, plan: Any) -> None:
        raise AssertionError("a file that can't be read is not put in force")


def test_a_refused_reload_is_an_entry_and_a_note_and_tells_the_service_manager(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """systemd's sd_notify(3), Type=notify-reload: RELOADING=1 with MONOTONIC_USEC, CLOCK_MONOTONIC in microseconds, then READY=1."""
    file, kept = tmp_path / "station.toml", Kept()
    file.write_text("this is no TOML", encoding="utf-8")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        before_ns = time.clock_gettime_ns(time.CLOCK_MONOTONIC)
        assert not reload(kept, file)  # type: ignore[arg-type]  # what it asks
        after_ns = time.clock_gettime_ns(time.CLOCK_MONOTONIC)
        said = dict(line.split("=") for line in manager.recv(4096).decode().splitlines())
        assert manager.recv(4096) == (
            b"READY=1\nSTATUS=watching; the station file was not taken, the old settings stay in force"
        )
    assert said.keys() == {"RELOADING", "MONOTONIC_USEC"} and said["RELOADING"] == "1"
    assert before_ns // 1000 <= int(said["MONOTONIC_USEC"]) <= after_ns // 1000
    ((kind, body),) = kept.noted
    assert kind == "settings_refused" and body["in_force"] == "ab" * 32 and "line 1" in body["why"]
    ((what, text),) = kept.remarks
    assert what == "settings" and text.startswith("The station file was not taken, the old settings stay in force: ")


def test_the_watchdog_is_fed_only_while_nothing_hangs_and_the_status_says_what_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        assert feed([], again=False)
        assert not feed(["api (no progress for 31 s)"], again=False)
        assert feed([], again=True)
        said = [manager.recv(4096).decode() for _ in range(3)]
    assert said == ["WATCHDOG=1", "STATUS=no progress: api (no progress for 31 s)", "WATCHDOG=1\nSTATUS=watching"]


@pytest.mark.parametrize(
    ("file", "about", "simulated"),
    [("minimal", {}, True), ("example", {}, False), ("example", {"demo": "busy-day"}, True)],
)
def test_what_is_told_of_a_station_says_whether_it_is_simulated(
    file: str, about: dict[str, Any], simulated: bool
) -> None:
    plan = load(Path(__file__).parents[3] / f"config/station-{file}.toml")
    told = told_of_station(plan, about)
    assert told == (plan.settings.title, plan.settings.timezone, simulated)
    assert plan.settings.title and "/" in plan.settings.timezone
