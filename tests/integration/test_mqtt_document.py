"""deploy/mqtt.md says what is so: the settings and access list beside it are tried at a real Mosquitto, its tables are held against the
AsyncAPI document."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

from edge.config import MqttPlan
from edge.domain.alarms.states import State
from edge.mqtt.retained import Pace
from tests.asyncapi_kit import Contract
from tests.integration.mqtt_kit import (
    BASE,
    MOSQUITTO,
    Bench,
    Broker,
    Watcher,
    alarm,
    point,
    until,
)
from tests.security.tls_kit import Authority

DEPLOY = Path(__file__).parents[2] / "deploy"
TEXT = (DEPLOY / "mqtt.md").read_text(encoding="utf-8")


def _first_cells(heading: str) -> list[str]:
    """The first cells of the first table below a heading."""
    section = TEXT.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"^\| `([^`]+)`", section, re.MULTILINE)


def test_its_topics_words_and_states_are_those_of_the_asyncapi_document() -> None:
    contract = Contract()
    assert [cell.split("/")[0] for cell in _first_cells("Topics")] == [
        "node", "verdict", "alarm", "point", "estimate", "head", "journal", "receipt",
    ] and len(contract.channels) == 8  # fmt: skip
    assert _first_cells("Is the station there?") == contract.enum("node_state")
    assert _first_cells("Alarms") == contract.enum("alarm_state") == [str(state) for state in State]
    filters = set(re.findall(r"`(warmwell/1/SITE/\+/[^`]+)`", TEXT))
    assert {one.replace("SITE", "+") for one in filters} == set(contract.filters())
    for word in (*contract.enum("verdict_word"), *contract.enum("condition_state"), *contract.enum("priority")):
        assert f"`{word}`" in TEXT


def test_its_times_are_those_that_hold() -> None:
    pace, keep_alive_s = Pace(), MqttPlan("host", 1883).keepalive_s
    assert (pace.heartbeat_s, pace.alarm_heartbeat_s, pace.gap_s, pace.head_gap_s) == (60.0, 600.0, 5.0, 1.0)
    assert pace.fresh * pace.heartbeat_s == 180.0 and "three\nminutes, of alarms half an hour" in TEXT
    assert 1.5 * keep_alive_s == 45.0 and "(45 s as it comes)" in TEXT


#: where a broker of Debian keeps things, by its own file
DEBIAN = ("persistence true", "persistence_location {folder}/kept/", "user root", "include_dir {folder}/conf.d")
USERS = ("scope-room-2", "building-system")


def shipped_broker(folder: Path) -> tuple[Broker, Path]:
    """Mosquitto with the shipped settings, their paths moved below `folder`, beside what Debian's own file says; and its authority."""
    for name in ("conf.d", "kept"):
        (folder / name).mkdir(parents=True)
    text = (DEPLOY / "mosquitto/warmwell.conf").read_text(encoding="utf-8")
    text = (
        text.replace("/etc/mosquitto", str(folder))
        .replace("certs/", "")
        .replace("listener 8883", "listener PORT 127.0.0.1")
    )
    shutil.copy(DEPLOY / "mosquitto/warmwell.acl", folder / "warmwell.acl")
    authority = Authority(folder)
    authority.issue(folder / "broker.pem", folder / "broker-key.pem")
    passwords = folder / "warmwell.passwords"
    passwords.touch()
    tool = shutil.which("mosquitto_passwd", path=f"/usr/bin:/usr/local/bin:{Path(MOSQUITTO or '/').parent}")
    assert tool, "mosquitto_passwd comes with Mosquitto"
    for user in USERS:
        subprocess.run([tool, "-b", str(passwords), user, "right"], check=True, capture_output=True)
    for secret in (passwords, folder / "warmwell.acl"):
        secret.chmod(0o600)
    broker = Broker(folder / "broker", *(line.format(folder=folder) for line in DEBIAN), whole=True)
    (folder / "conf.d/warmwell.conf").write_text(text.replace("PORT", str(broker.port)), encoding="utf-8")
    return broker, authority.file


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed here")
def test_the_shipped_settings_let_a_station_tell_and_a_building_system_read_alone_and_lose_nothing(
    tmp_path: Path,
) -> None:
    broker, ca = shipped_broker(tmp_path / "etc")
    broker.start()
    word = tmp_path / "password"
    word.write_text("right\n", encoding="utf-8")
    tls = SimpleNamespace(ca=ca, certificate=None, key=None)
    bench = Bench(tmp_path, broker.port, plan={"username": "scope-room-2", "password_file": word, "tls": tls})
    login = {"username": "building-system", "password": "right"}
    try:
        watcher = Watcher(broker.port, f"{BASE}/#", ca=ca, lasting=True, **login)
        bench.book.draw([alarm("outlet_tripped:heater")], [point("room")], estimates={"fill_time": {"value": 9.0}})
        bench.add(count=3)
        bench.start()
        bench.told()
        bench.settled()
        until(lambda: watcher.seqs() == [1, 2, 3], "the entries")
        for rest in ("node", "head", "verdict", "alarm/outlet_tripped/heater", "point/room", "estimate/fill_time"):
            until(lambda rest=rest: watcher.last(rest), rest)
        assert bench.status["refused_topics"] == {} and bench.status["proved"]
        watcher.say(f"{BASE}/verdict", b"{}", retain=True)
        bench.add()
        until(lambda: watcher.seqs() == [1, 2, 3, 4], "one more entry")
        assert watcher.last("verdict").json() != {}, "it may not write"  # type: ignore[union-attr]  # seen above
        watcher.close()

        bench.add(count=1200)  # beyond what a broker keeps as it comes
        bench.told()
        again = Watcher(broker.port, f"{BASE}/#", ca=ca, lasting=True, **login)
        until(lambda: again.seqs()[-1:] == [1204], "the entries of while it was away")
        assert again.seqs() == list(range(5, 1205))
        again.close()

        kept = tmp_path / "etc/kept/mosquitto.db"
        until(lambda: kept.exists() and f"{BASE}/head".encode() in kept.read_bytes(), "retained topics on disk")
        for port_alone in ({}, {"ca": ca}):  # without TLS, and without a name and word
            with pytest.raises(AssertionError, match="could not subscribe"):
                Watcher(broker.port, wait_s=1.0, **port_alone)  # type: ignore[arg-type]  # as they come
    finally:
        bench.stop()
        broker.stop()
