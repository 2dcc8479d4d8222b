"""What stands on a real Mosquitto of things that are gone: the station empties what it knows of, `warmwell retained` the rest.

An empty retained message removes what was retained (MQTT 5.0, 3.3.1.3). Expiry: MQTT 5.0, 3.3.2.3.3.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from edge.cli.retained import own_topics, retained
from edge.config import load
from edge.domain.errors import UnusableInput
from edge.mqtt.timing import Timing
from tests.integration.mqtt_kit import (
    BASE,
    FAST,
    NEEDS_MOSQUITTO,
    SITE,
    STATION,
    Bench,
    Broker,
    Watcher,
    alarm,
    bench,
    broker,
    point,
    until,
    watcher,
)

__all__ = ["bench", "broker", "watcher"]  # fixtures
pytestmark = NEEDS_MOSQUITTO

CONFIG = Path(__file__).parents[2] / "config"


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """A broker on this machine tells what it retains at once."""
    monkeypatch.setattr("edge.mqtt.visit.QUIET_S", 0.3)


@pytest.fixture
def file(tmp_path: Path, broker: Broker) -> Path:
    """The small example's station, telling this broker."""
    text = (CONFIG / "station-minimal.toml").read_text(encoding="utf-8")
    path = tmp_path / "station.toml"
    path.write_text(f'{text}\n[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\n', encoding="utf-8")
    return path


def _there(broker: Broker) -> set[str]:
    """The retained topics, as somebody sees who comes now."""
    late = Watcher(broker.port, "warmwell/#")
    late.say("warmwell/end", b"1")
    until(lambda: any(m.topic == "warmwell/end" for m in late.messages), "the end of what is retained")
    late.close()
    return {m.topic for m in late.messages if m.retained and m.payload}


def _base(file: Path) -> str:
    settings = load(file).settings
    return f"warmwell/1/{settings.site}/{settings.id}"


@pytest.fixture
def left(file: Path, watcher: Watcher) -> Iterator[set[str]]:
    """Three topics of what the file doesn't have, beside what it has, another station's, and an archive's word."""
    base = _base(file)
    ghosts = {f"{base}/point/spare", f"{base}/alarm/outlet_tripped/old", f"{base}/estimate/filter/old/left"}
    others = {f"warmwell/1/{SITE}/elsewhere/point/spare", f"{base}/receipt/archive", f"{base}2/point/spare"}
    for topic in ghosts | others | own_topics(load(file)):
        watcher.say(topic, json.dumps({"at": "2026-03-16T05:50:00.000Z", "state": "normal"}).encode(), retain=True)
    yield ghosts


def test_a_list_names_what_the_file_lacks_and_touches_nothing(
    file: Path, left: set[str], broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _there(broker)
    assert retained(file, None, clear=False, is_sure=False) == 0
    said = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in said[:-1]] == sorted(left)
    assert said[0].endswith("normal, of 2026-03-16T05:50:00.000Z")
    assert said[-1].endswith("3 topics of what station.toml doesn't have; --clear empties them")
    assert retained(file, None, clear=False, is_sure=False, as_json=True) == 0
    listed = json.loads(capsys.readouterr().out)["topics"]
    assert {one["topic"] for one in listed} == left and not any(one["emptied"] for one in listed)
    assert _there(broker) == before


def test_clearing_empties_these_alone(
    file: Path, left: set[str], broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _there(broker)
    assert retained(file, None, clear=True, is_sure=True) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "emptied 3 topics"
    assert _there(broker) == before - left
    assert retained(file, None, clear=True, is_sure=True, as_json=True) == 0
    assert json.loads(capsys.readouterr().out)["topics"] == []
    assert retained(file, None, clear=True, is_sure=True) == 0
    assert "nothing is left of what station.toml doesn't have" in capsys.readouterr().out


@pytest.mark.parametrize(("answer", "goes"), [("yes", True), ("no", False), ("", False)])
def test_it_asks_on_a_terminal(file: Path, left: set[str], broker: Broker, answer: str, goes: bool) -> None:
    asked: list[str] = []
    assert retained(file, None, clear=True, is_sure=False, ask=lambda text: asked.append(text) or answer) == 0
    assert asked == ["Empty 3 topics? Type yes: "] and (left & _there(broker) == set()) is goes


def test_without_a_terminal_it_wants_to_be_told(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO())
    with pytest.raises(UnusableInput, match=r"--clear: nobody can be asked here .* Add --yes"):
        retained(file, None, clear=True, is_sure=False)


def test_a_file_without_a_broker_is_refused() -> None:
    with pytest.raises(UnusableInput, match=r"\[mqtt\]: it names no broker"):
        retained(CONFIG / "station-minimal.toml", None, clear=False, is_sure=False)


def test_what_the_broker_refuses_to_empty_is_said(
    file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    base, topic = _base(file), f"{_base(file)}/point/spare"
    acl = tmp_path / "acl"
    acl.write_text("topic readwrite warmwell/#\n", encoding="utf-8")
    guarded = Broker(tmp_path / "guarded", f"acl_file {acl}", "user root").start()
    try:
        watcher = Watcher(guarded.port)
        watcher.say(topic, b"{}", retain=True)
        watcher.close()
        acl.write_text("topic read warmwell/#\n", encoding="utf-8")
        guarded.reload()
        until(lambda: "Reloading config" in guarded.log(), "the new access list in force")
        text = re.sub(r"^port = .*$", f"port = {guarded.port}", file.read_text(encoding="utf-8"), flags=re.MULTILINE)
        file.write_text(text, encoding="utf-8")
        assert retained(file, None, clear=True, is_sure=True) == 1
        said = capsys.readouterr().out
        assert f"{base}/point/spare: not emptied (not authorised" in said and "emptied 0 topics" in said
        assert retained(file, None, clear=True, is_sure=True, as_json=True) == 1
        (one,) = json.loads(capsys.readouterr().out)["topics"]
        assert (one["topic"], one["emptied"]) == (topic, False) and "not authorised" in one["why"]
    finally:
        guarded.stop()


# ---- a station under another name


def test_a_former_name_is_emptied_whole_once_its_station_has_said_goodbye(
    file: Path, broker: Broker, watcher: Watcher
) -> None:
    site = load(file).settings.site
    old = f"warmwell/1/{site}/old-room"
    for rest, word in (
        ("node", "stopped"),
        ("verdict", ""),
        ("point/reservoir", ""),
        ("alarm/duty_due/daily_test", ""),
    ):
        watcher.say(f"{old}/{rest}", json.dumps({"state": word}).encode(), retain=True)
    watcher.say(f"{old}er/node", b"{}", retain=True)
    assert retained(file, "old-room", clear=True, is_sure=True) == 0
    assert _there(broker) == {f"{old}er/node"}


@pytest.mark.parametrize("word", [b'{"state":"online"}', b"{}", b"what"])
def test_a_former_name_under_which_somebody_may_be_at_work_is_left_alone(
    file: Path, broker: Broker, watcher: Watcher, word: bytes
) -> None:
    site = load(file).settings.site
    watcher.say(f"warmwell/1/{site}/neighbour/node", word, retain=True)
    watcher.say(f"warmwell/1/{site}/neighbour/verdict", b"{}", retain=True)
    with pytest.raises(UnusableInput, match=r"neighbour is (online|there) at the broker"):
        retained(file, "neighbour", clear=True, is_sure=True)
    assert len(_there(broker)) == 2


def test_the_present_name_is_no_former_one(file: Path) -> None:
    settings = load(file).settings
    for said in (settings.id, settings.name):
        with pytest.raises(UnusableInput, match="is what the station is called now"):
            retained(file, said, clear=False, is_sure=False)


# ---- C028: what the station does by itself


def test_c028_a_renamed_point_a_removed_alarm_and_a_renamed_station_leave_no_topic(
    bench: Bench, broker: Broker, watcher: Watcher
) -> None:
    """Each change is made while the station is off, and the memory beside its journal goes on."""
    bench.book.draw([alarm("leak"), alarm("outlet_tripped:heater")], [point("room"), point("vessel")])
    bench.start()
    bench.settled()
    until(lambda: len(_there(broker)) == 6, "node, verdict, two alarms, two points")
    steps = (
        ("a point is renamed", [alarm("leak"), alarm("outlet_tripped:heater")], [point("room"), point("reservoir")], STATION),
        ("an alarm is removed", [alarm("leak")], [point("room"), point("reservoir")], STATION),
        ("the station is renamed", [alarm("leak")], [point("room"), point("reservoir")], "scope-room-3"),
    )  # fmt: skip
    for what, alarms, points, station in steps:
        assert bench.stop()
        bench.station = station
        bench.book.draw(alarms, points)
        bench.publisher = bench.made()
        bench.start()
        base = BASE.replace(STATION, station)
        wanted = {f"{base}/node", f"{base}/verdict"}
        wanted |= {f"{base}/alarm/{one['id'].replace(':', '/')}" for one in alarms}
        wanted |= {f"{base}/point/{one['id']}" for one in points}
        until(lambda wanted=wanted: _there(broker) == wanted, what)


def test_c028_what_is_gone_is_emptied_also_where_the_broker_was_away_at_the_change(
    bench: Bench, tmp_path: Path
) -> None:
    store = tmp_path / "kept"
    store.mkdir()
    store.chmod(0o777)
    lasting = Broker(tmp_path / "lasting", "persistence true", f"persistence_location {store}/", "user root").start()
    bench.port = lasting.port
    try:
        bench.publisher = bench.made()
        bench.book.draw([alarm("leak")], [point("room"), point("spare")])
        bench.start()
        bench.settled()
        until(lambda: f"{BASE}/point/spare" in _there(lasting), "the point")
        lasting.stop()
        bench.restart()
        bench.book.draw([alarm("leak")], [point("room")])
        bench.error("connection refused")
        lasting.start()
        until(lambda: f"{BASE}/point/spare" not in _there(lasting), "the point is emptied")
        assert f"{BASE}/point/room" in _there(lasting)
    finally:
        bench.stop()
        lasting.stop()


# ---- how long it holds


def test_what_is_retained_expires_by_itself_and_says_when(bench: Bench, broker: Broker) -> None:
    """Live paces: three heartbeats of 60 s, of alarms 600 s; the broker tells how much of the expiry is left."""
    bench.timing = Timing(first_s=FAST.first_s, cap_s=FAST.cap_s, limits=FAST.limits)
    bench.publisher = bench.made()
    bench.book.draw([alarm("leak")], [point("room")], estimates={"fill_time": {"value": 9.0, "unit": "s"}})
    bench.add()
    bench.start()
    bench.settled()
    found: dict[str, int | None] = {}

    def heard(_client: object, _userdata: object, message: paho.MQTTMessage) -> None:
        found[message.topic.removeprefix(f"{BASE}/")] = getattr(message.properties, "MessageExpiryInterval", None)

    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.on_message = heard
    client.connect("127.0.0.1", broker.port)
    client.subscribe(f"{BASE}/#", 1)
    client.loop_start()
    until(lambda: len(found) == 6, "all retained topics")
    client.disconnect()
    client.loop_stop()
    for rest, seconds in {
        "node": 180,
        "head": 180,
        "verdict": 180,
        "alarm/leak": 1800,
        "point/room": 180,
        "estimate/fill_time": 180,
    }.items():
        left_s = found[rest]
        assert left_s is not None and seconds - 120 < left_s <= seconds, rest


def test_a_station_that_is_gone_is_forgotten_but_for_its_last_word(bench: Bench, broker: Broker) -> None:
    """With heartbeats of 0.7 s: after two seconds without a word only `stopped` stands."""
    bench.timing = Timing(
        first_s=FAST.first_s, cap_s=FAST.cap_s, limits=FAST.limits,
        pace=FAST.pace.__class__(gap_s=0.1, head_gap_s=0.1, heartbeat_s=0.7, alarm_heartbeat_s=0.7, ghost_s=30.0),
    )  # fmt: skip
    bench.publisher = bench.made()
    bench.book.draw([alarm("leak")], [point("room")])
    bench.add()
    bench.start()
    bench.settled()
    state = {f"{BASE}/verdict", f"{BASE}/alarm/leak", f"{BASE}/point/room"}
    until(lambda: state <= _there(broker), "the state, said again and again")
    assert bench.stop()
    until(lambda: _there(broker) == {f"{BASE}/node"}, "all but the last word forgotten")
