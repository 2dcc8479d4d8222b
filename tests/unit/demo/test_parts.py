"""What of the demo needs no process: addresses, ports, and what is said where there is no broker."""

from __future__ import annotations

import io
import json
import socket
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from edge.clock import FastClock
from edge.daemon.assembly import Assembly
from edge.demo import demo
from edge.demo.broker import free_port
from edge.demo.demo import Demo, Doing, Folder, Wishes, broker_address
from edge.demo.view import JsonLines
from edge.domain.entries import Entry
from edge.domain.errors import UnusableInput
from simulators.scenarios.scenarios import Act, scenario_named


@pytest.mark.parametrize(
    "text, address",
    [
        ("127.0.0.1:1884", ("127.0.0.1", 1884)),
        ("broker.example", ("broker.example", 1883)),
        ("[::1]:1883", ("::1", 1883)),
    ],
)
def test_addresses_of_brokers(text: str, address: tuple[str, int]) -> None:
    assert broker_address(text) == address


@pytest.mark.parametrize("text", ["", ":1883", "host:", "host:0", "host:70000", "host:mqtt"])
def test_what_is_no_address_of_a_broker(text: str) -> None:
    with pytest.raises(UnusableInput, match="expected host:port"):
        broker_address(text)


def test_a_port_that_is_taken_is_not_chosen() -> None:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen(1)
        taken = sock.getsockname()[1]
        assert free_port(taken) != taken
    assert free_port(taken) == taken


def test_without_a_broker_it_says_so_and_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "mosquitto", lambda: None)
    monkeypatch.setattr(demo, "has_amqtt", lambda: False)
    with Folder(tmp_path / "kept") as folder:
        showing = Demo(Wishes(), scenario_named("cold-morning"), folder)
        assert showing._broker() is None
        assert any("neither Mosquitto nor the package amqtt" in note for note in showing.notes)
        assert "[mqtt]" not in showing._station_toml(None, 8484, None)
    assert (tmp_path / "kept").is_dir()


def test_a_temporary_folder_is_gone_afterwards() -> None:
    with Folder(None) as folder:
        assert folder.path.is_dir()
    assert not folder.path.exists()


class SlowReader(io.BytesIO):
    """Takes no line before it is let."""

    def __init__(self) -> None:
        super().__init__()
        self.may, self.asked = threading.Event(), threading.Event()

    def write(self, line: Any) -> int:
        self.asked.set()
        self.may.wait(30)
        return super().write(line)


def test_a_slow_reader_of_the_lines_holds_nobody_up_and_gets_them_all() -> None:
    reader = SlowReader()
    lines = JsonLines(reader)
    for seq in range(1, 1001):
        lines.entries([Entry(seq, "boot", seq, seq, True, "note", {"n": seq})])  # comes back though none is taken
    assert reader.asked.wait(30) and reader.getvalue() == b""
    reader.may.set()
    lines.end()
    assert [json.loads(line)["seq"] for line in reader.getvalue().splitlines()] == list(range(1, 1001))
    assert not lines.reader_left.is_set()


def test_a_reader_that_stalls_is_given_up_and_that_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("edge.demo.view.READER_STALLS_S", 0.0)
    reader = SlowReader()
    lines = JsonLines(reader)
    lines.say({"n": 1})
    assert reader.asked.wait(30)
    lines.end()
    assert lines.reader_left.is_set()
    assert "the lines after that are missing" in capsys.readouterr().err
    reader.may.set()


def test_what_is_not_seen_yet_is_answered_later_and_holds_up_nobody() -> None:
    done, over, stands = list[str](), threading.Event(), threading.Event()

    def answer() -> None:
        done.append("answer")
        over.set()

    doings = [
        Doing(0, "answer", answer, stands.is_set),
        Doing(1000, "other", lambda: (done.append("other"), stands.set())),
    ]
    demo._do(doings, FastClock(1000.0, 0), over)
    assert done == ["other", "answer"]


def test_an_alarm_is_answered_once_somebody_has_to() -> None:
    act = Act(0, "acknowledge", {"record": "acknowledge", "by": "early technician", "alarm": "reservoir_cold"})

    def is_seen(**alarms: object) -> bool:
        picture = SimpleNamespace(alarms=alarms)
        return demo._is_seen(act, cast(Assembly, SimpleNamespace(judge=SimpleNamespace(snapshot=lambda: picture))))

    assert not is_seen() and not is_seen(reservoir_cold={"announced": False}) and not is_seen(other={"announced": True})
    assert is_seen(reservoir_cold={"announced": True})


def test_where_a_shell_knows_no_warmwell_it_is_said_how_it_does(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    (line,) = demo._how_to_have_the_command()
    folder = line.partition('export PATH="')[2].removesuffix(':$PATH"')
    assert (Path(folder) / "warmwell").is_file()
    program = tmp_path / "warmwell"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    assert demo._how_to_have_the_command() == []
