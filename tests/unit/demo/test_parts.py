"""What of the demo needs no process: addresses, ports, and what is said where there is no broker."""

from __future__ import annotations

import io
import json
import socket
import threading
from pathlib import Path
from typing import Any

import pytest

from edge.demo import demo
from edge.demo.broker import free_port
from edge.demo.demo import Demo, Folder, Wishes, broker_address
from edge.demo.view import JsonLines
from edge.domain.entries import Entry
from edge.domain.errors import UnusableInput
from simulators.scenarios.scenarios import scenario_named


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
