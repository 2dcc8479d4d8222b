"""What of the demo needs no process: addresses, ports, and what is said where there is no broker."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from edge import demo
from edge.demo import Demo, Folder, Wishes, broker_address
from edge.demo_broker import free_port
from edge.domain.errors import UnusableInput
from simulators.scenarios import scenario_named


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


def test_without_the_brokers_package_it_says_so_and_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "is_installed", lambda: False)
    with Folder(tmp_path / "kept") as folder:
        showing = Demo(Wishes(), scenario_named("cold-morning"), folder)
        assert showing._broker() is None
        assert any("amqtt is not installed" in note for note in showing.notes)
        assert "[mqtt]" not in showing._station_toml(None, 8484, None)
    assert (tmp_path / "kept").is_dir()


def test_a_temporary_folder_is_gone_afterwards() -> None:
    with Folder(None) as folder:
        assert folder.path.is_dir()
    assert not folder.path.exists()
