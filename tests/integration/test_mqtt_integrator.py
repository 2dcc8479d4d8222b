"""An integrator's client, written from config/mqtt.asyncapi.json alone, follows a real daemon at a real Mosquitto.

It knows no name of ours: topics come from the document's addresses, what a message may be from its schemas, what is kept and for how
long from its bindings. Every message that it gets is held against the document, and nothing in one may go unsaid there. The daemon
reads three points from a serial line (a pseudo-terminal) that the test writes.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from edge.cli.retained import own_topics
from edge.config import load
from tests.asyncapi_kit import Contract
from tests.integration.daemon_kit import HEAD, ROOT, Daemon
from tests.integration.mqtt_kit import NEEDS_MOSQUITTO, Broker, until
from tests.integration.test_serial_line import Line

pytestmark = NEEDS_MOSQUITTO

SITE, STATION = "harbour-lane", "scope-room-2"
#: members of a point that don't move while its sensor says the same
KEPT = ("seq", "boot", "mono_ms", "at", "trusted", "kind", "body")
STEADY = ("id", "role", "of", "value", "unit", "quality", "reason", "text", "shown", "calibrated")
ROOM = """
[[point]]
id = "room"
role = "room_temperature"
bus = "panel"
every = "200 ms"
text = {{ pattern = 'ROOM=(?P<value>\\S+)', unit = "degC" }}
"""
FILE = (
    HEAD
    + """
[[bus]]
id = "panel"
kind = "serial-line"
port = "LINE"
baud = 9600

[[point]]
id = "reservoir"
role = "reservoir_temperature"
bus = "panel"
every = "200 ms"
text = {{ pattern = 'BATH=(?P<value>\\S+)', unit = "degC" }}

[[point]]
id = "heater-outlet"
role = "outlet_protection"
of = "heater"
bus = "panel"
every = "200 ms"
text = {{ pattern = 'OUTLET=(?P<value>\\w+)', true = "TRIP", false = "OK" }}

[mqtt]
host = "127.0.0.1"
port = BROKER
keep_alive = "5 s"

[api]
listen = "127.0.0.1:{port}"

[keep]
folder = "{folder}"
"""
)


class Integrator:
    """A building system's client. `faults`: what was not as the document says; `state`: what is retained now, by channel and parameters.

    Its session is kept by the broker, so that nothing is missed while it, or the broker, is away.
    """

    def __init__(self, contract: Contract, port: int) -> None:
        self.contract = contract
        self.faults: list[str] = []
        self.state: dict[tuple[str, ...], dict[str, Any]] = {}
        self.entries: dict[int, bytes] = {}
        self.order: list[int] = []
        self.words: list[str] = []
        self._heard = threading.Lock()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="building-system", protocol=paho.MQTTv5)
        self._client.on_connect = lambda client, *_rest: (
            client.subscribe([(one, 1) for one in contract.filters()]) and None
        )
        self._client.on_message = self._hear
        self._client.reconnect_delay_set(1, 1)
        session = Properties(PacketTypes.CONNECT)
        session.SessionExpiryInterval = 3600
        self._client.connect_async("127.0.0.1", port, 10, clean_start=False, properties=session)
        self._client.loop_start()

    def _hear(self, _client: object, _userdata: object, message: paho.MQTTMessage) -> None:
        with self._heard:
            place = self.contract.place(message.topic)
            if place is None:
                self.faults.append(f"no channel has the topic {message.topic}")
                return
            key = (place.channel, *(v for k, v in place.parameters.items() if k not in ("site", "station")))
            if not message.payload:  # emptied: the thing is gone
                self.state.pop(key, None)
                return
            told = json.loads(message.payload)
            self.faults += self.contract.faults(message.topic, told)
            if self.contract.retained(place.channel):
                self.state[key] = told
                if place.channel == "node":
                    self.words.append(told["state"])
                return
            if self.entries.setdefault(told["seq"], message.payload) != message.payload:
                self.faults.append(f"entry {told['seq']} came again with other contents")
            self.order.append(told["seq"])

    def said(self, channel: str, *of: str) -> dict[str, Any]:
        """What is retained there now; empty where nothing is."""
        return self.state.get((channel, *of), {})

    def names(self, channel: str) -> set[str]:
        return {key[1] for key in list(self.state) if key[0] == channel}

    def journal(self) -> list[dict[str, Any]]:
        """The entries, in the order of their seq."""
        with self._heard:
            return [json.loads(self.entries[seq]) for seq in sorted(self.entries)]

    def lacks(self) -> list[int]:
        """Entries up to the journal's head that never came."""
        head = self.said("head").get("seq", 0)
        return [seq for seq in range(1, head + 1) if seq not in self.entries]

    def condition(self, ident: str) -> dict[str, Any]:
        return next((one for one in self.said("verdict").get("conditions", []) if one["id"] == ident), {})

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Panel:
    """The transmitter at the far end of the line: says the same again and again until it is told otherwise."""

    def __init__(self, line: Line) -> None:
        self.says, self._line, self._over = "BATH=39.2 ROOM=21.0 OUTLET=OK", line, threading.Event()
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def _talk(self) -> None:
        while not self._over.wait(0.1):
            with contextlib.suppress(OSError):  # nobody reads
                self._line.send(f"{self.says}\n".encode())

    def end(self) -> None:
        self._over.set()
        self._thread.join(5)


class FastDaemon(Daemon):
    program = (str(Path(__file__).with_name("mqtt_daemon.py")),)


@pytest.fixture
def lasting(tmp_path: Path) -> Iterator[Broker]:
    store = tmp_path / "kept"
    store.mkdir()
    store.chmod(0o777)
    made = Broker(tmp_path / "broker", "persistence true", f"persistence_location {store}/", "user root").start()
    yield made
    made.stop()


@pytest.fixture
def panel(tmp_path: Path) -> Iterator[Panel]:
    line = Line(tmp_path)
    os.set_blocking(line.master, False)
    made = Panel(line)
    yield made
    made.end()
    line.end()


@pytest.fixture
def daemon(tmp_path: Path, lasting: Broker, panel: Panel) -> Iterator[Daemon]:
    text = (FILE + ROOM).replace("LINE", str(tmp_path / "usb-transmitter")).replace("BROKER", str(lasting.port))
    made = FastDaemon(tmp_path, text)
    yield made
    made.end()


@pytest.fixture
def integrator(lasting: Broker) -> Iterator[Integrator]:
    made = Integrator(Contract(), lasting.port)
    yield made
    made.close()


def _lacks(one: Integrator, daemon: Daemon) -> str:
    """The first thing that it heard otherwise than the API says it now; empty: none."""
    try:
        api = daemon.entries()
        answers = {what: daemon.get(f"/api/1/{what}")[1] for what in ("alarms", "points", "verdict", "estimates")}
    except OSError as exc:
        return f"the API: {exc}"
    if one.lacks() or one.said("head").get("seq") != api[-1]["seq"]:
        return "entries"
    kept = [{key: entry[key] for key in KEPT} for entry in api]
    if [{key: entry.get(key) for key in KEPT} for entry in one.journal()] != kept:
        return "other entries"
    alarms, points, verdict = answers["alarms"]["alarms"], answers["points"]["points"], answers["verdict"]
    conditions = {c["id"]: c["state"] for c in verdict["conditions"]}
    heard_of = {
        "alarms": (
            {name: one.said("alarm", name).get("state") for name in one.names("alarm")},
            {ident.replace(":", "/"): alarm["state"] for ident, alarm in alarms.items()},
        ),
        "points": (
            {name: {key: one.said("point", name).get(key) for key in STEADY} for name in one.names("point")},
            {ident: {key: point[key] for key in STEADY} for ident, point in points.items()},
        ),
        "verdict": (one.said("verdict").get("verdict"), verdict["verdict"]),
        "conditions": ({c["id"]: c["state"] for c in one.said("verdict").get("conditions", [])}, conditions),
        "estimates": (
            one.names("estimate"),
            {name.replace(":", "/") for name in answers["estimates"]["estimates"]},
        ),
    }
    return next((f"{what}: {heard} is not {said}" for what, (heard, said) in heard_of.items() if heard != said), "")


def test_an_integrator_with_the_document_alone_follows_a_station(
    daemon: Daemon, integrator: Integrator, panel: Panel, lasting: Broker
) -> None:
    one, env = integrator, {"PYTHONPATH": str(ROOT)}

    # It comes up: which station this is, whether it may start, what it measures.
    daemon.start(**env)
    until(lambda: one.said("node").get("state") == "online", "online")
    node = one.said("node")
    assert (node["site"], node["station"], node["title"]) == (SITE, STATION, "Scope room 2, left bench")
    assert node["timezone"] == "Europe/Dublin" and node["simulated"] is False
    until(lambda: one.said("point", "reservoir").get("value") == 39.2, "the reservoir's temperature")
    assert one.names("point") == {"reservoir", "room", "heater-outlet"}
    until(lambda: one.condition("outlet:heater").get("state") == "met", "a live outlet")
    assert one.said("verdict")["verdict"] != "ready", "a daily test is owed"
    until(lambda: one.condition("reservoir").get("value") == 39.2, "what the reservoir is judged by")
    reservoir = one.condition("reservoir")
    assert (reservoir["state"], reservoir["unit"]) == ("unmet", "Cel") and 39.2 < reservoir["limit"] < 40.0

    # The heater's outlet trips: the alarm's topic and its entry are the same fact.
    panel.says = "BATH=39.2 ROOM=21.0 OUTLET=TRIP"
    until(lambda: one.said("alarm", "outlet_tripped/heater").get("state") == "unacknowledged", "the alarm")
    alarm = one.said("alarm", "outlet_tripped/heater")
    assert alarm["active"] and alarm["announced"] and alarm["priority"] == "high" and alarm["response"]
    until(lambda: alarm["seq"] in one.entries, "its entry")
    entry = json.loads(one.entries[alarm["seq"]])
    assert (entry["kind"], entry["body"]["id"], entry["body"]["to"]) == ("alarm", alarm["id"], alarm["state"])
    until(lambda: one.condition("outlet:heater").get("state") == "unmet", "the condition")
    assert one.said("verdict")["verdict"] == "not_ready"

    # The broker is away: somebody answers, the outlet is live again. Nothing of it is lost.
    lasting.stop()
    assert daemon.ask("POST", "/api/1/alarms/outlet_tripped:heater/acknowledge", {"by": "M. Osei"})[0] == 200
    assert daemon.record(record="note", text="the cord was wet")[0] == 200
    panel.says = "BATH=39.2 ROOM=21.0 OUTLET=OK"
    until(lambda: daemon.alarm("outlet_tripped:heater")["state"] == "normal", "the alarm is over")
    before = len(one.order)
    lasting.start()
    until(lambda: one.said("alarm", "outlet_tripped/heater")["state"] == "normal", "it hears that the alarm is over")
    until(lambda: len(one.order) > before and not one.lacks(), "no entry lacks")
    states = [e["body"]["to"] for e in one.journal() if e["kind"] == "alarm" and e["body"]["id"] == alarm["id"]]
    assert states == ["unacknowledged", "acknowledged", "normal"]
    (note,) = [e for e in one.journal() if e["kind"] == "record" and e["body"]["record"] == "note"]
    assert note["body"]["text"] == "the cord was wet"

    # The daemon is killed and starts again: lost, then online, with the same journal.
    daemon.send(signal.SIGKILL)
    until(lambda: one.said("node")["state"] == "lost", "lost")
    assert one.said("node")["at"] is None
    daemon.end()
    daemon.start(**env)
    until(lambda: one.said("node")["state"] == "online", "online again")
    assert one.said("node")["journal"] == node["journal"]
    until(lambda: [e["kind"] for e in one.journal()].count("started") == 2 and not one.lacks(), "the second start")

    # A point is taken out of the station file while the station is stopped.
    daemon.stop()
    until(lambda: one.said("node")["state"] == "stopped", "stopped, on request")
    gone = {("point", "room"), ("alarm", "silent/room"), ("alarm", "duty_due/calibration/room")}
    assert gone <= one.state.keys()
    daemon.text = daemon.text.replace(ROOM, "")
    daemon.write()
    daemon.start(**env)
    until(lambda: one.names("point") == {"reservoir", "heater-outlet"}, "the point is gone")
    until(lambda: not gone & one.state.keys(), "and what was said of it")

    # A changed station file is put in force while it runs.
    daemon.write(title="Scope room 2, right bench")
    daemon.send(signal.SIGHUP)
    until(lambda: one.said("node").get("title") == "Scope room 2, right bench", "the new title")

    # At the end it knows what the station's own API says, which the new title has opened anew.
    until(lambda: not _lacks(one, daemon), "what it heard is what the API says", say=lambda: _lacks(one, daemon))
    firsts = list(dict.fromkeys(one.order))
    assert firsts == sorted(firsts), "in order, but for repeats"
    of = {"site": SITE, "station": STATION}
    told = {one.contract.topic(key[0], **of, **{key[0]: key[-1]}) for key in one.state}
    assert own_topics(load(daemon.file)) - told == {
        one.contract.topic("estimate", **of, estimate="heating_must_start_by")
    }
    assert told <= own_topics(load(daemon.file)) | {one.contract.topic("head", **of)}, (
        "what `warmwell retained` leaves alone"
    )
    assert one.words[:1] == ["online"] and set(one.words) == set(one.contract.enum("node_state"))
    assert one.faults == []
