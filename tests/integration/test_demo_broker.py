"""The demo's own broker: MQTT 5 with Mosquitto, 3.1.1 with the package amqtt; it ends with its parent, however that ends.

MQTT 5.0, 3.1.2.2 and 3.2.2.2: a server that doesn't speak the version refuses it with reason code 132.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.demo.broker import DemoBroker, mosquitto
from edge.demo.demo import Demo, Folder, Wishes
from simulators.scenarios.scenarios import scenario_named
from tests.integration.mqtt_kit import free_port, until

ROOT = Path(__file__).parents[2]


@pytest.fixture(params=["mosquitto", "amqtt"])
def broker(request: pytest.FixtureRequest) -> Iterator[DemoBroker]:
    program = mosquitto() if request.param == "mosquitto" else None
    if request.param == "mosquitto" and program is None:
        pytest.skip("Mosquitto is not installed here")
    made = DemoBroker(free_port(), program)
    made.up()
    yield made
    made.down()


def _is_there(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True


def _says(port: int, protocol: MQTTProtocolVersion) -> bool:
    """Whether a client of this version is let in."""
    answers: list[int] = []
    answered = threading.Event()

    def told(_client: object, _userdata: object, _flags: object, reason: object, _properties: object) -> None:
        answers.append(int(getattr(reason, "value", 255)))
        answered.set()

    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=protocol, reconnect_on_failure=False)
    client.on_connect = told
    client.on_disconnect = lambda *_all: answered.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert answered.wait(30)
    client.disconnect()
    client.loop_stop()
    return answers[:1] == [0]


def test_which_versions_it_speaks(broker: DemoBroker, request: pytest.FixtureRequest) -> None:
    assert _says(broker.port, MQTTProtocolVersion.MQTTv311)
    assert _says(broker.port, MQTTProtocolVersion.MQTTv5) is ("mosquitto" in request.node.name)


def test_it_goes_down_and_comes_up_again_on_its_port(broker: DemoBroker) -> None:
    assert broker.is_up and _is_there(broker.port)
    broker.down()
    until(lambda: not _is_there(broker.port), "nobody listens")
    broker.up()
    assert broker.is_up and _is_there(broker.port)


@pytest.mark.skipif(mosquitto() is None, reason="Mosquitto is not installed here")
def test_a_parent_that_is_killed_leaves_no_broker() -> None:
    port = free_port()
    code = (
        "import sys, time; from edge.demo.broker import DemoBroker, mosquitto\n"
        f"broker = DemoBroker({port}, mosquitto()); broker.up(); print('up', flush=True); time.sleep(300)"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env=env)
    assert parent.stdout is not None and parent.stdout.readline() == "up\n"
    parent.send_signal(signal.SIGKILL)
    parent.wait(10)
    parent.stdout.close()
    until(lambda: not _is_there(port), "the broker is gone, too")


def test_a_demo_on_amqtt_says_that_it_is_3_1_1(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("edge.demo.demo.mosquitto", lambda: None)
    with Folder(tmp_path / "kept") as folder:
        showing = Demo(Wishes(port=0), scenario_named("cold-morning"), folder)
        try:
            assert showing._broker() is not None
            assert any("amqtt, which speaks MQTT 3.1.1" in note for note in showing.notes)
        finally:
            assert showing.own_broker is not None
            showing.own_broker.down()
