"""deploy/mqtt.md says what is so: its access list is tried at a real Mosquitto, its tables are held against the AsyncAPI document."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

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

TEXT = (Path(__file__).parents[2] / "deploy/mqtt.md").read_text(encoding="utf-8")


def _first_cells(heading: str) -> list[str]:
    """The first cells of the first table below a heading."""
    section = TEXT.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"^\| `([^`]+)`", section, re.MULTILINE)


def test_its_topics_words_and_states_are_those_of_the_asyncapi_document() -> None:
    contract = Contract()
    assert [cell.split("/")[0] for cell in _first_cells("Topics")] == [
        "node", "verdict", "alarm", "point", "estimate", "head", "journal",
    ] and len(contract.channels) == 7  # fmt: skip
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


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed here")
def test_its_access_list_lets_a_station_tell_and_a_building_system_read_alone(tmp_path: Path) -> None:
    (acl_text,) = re.findall(r"```acl\n(.*?)```", TEXT, re.DOTALL)
    acl, passwords, word = tmp_path / "acl", tmp_path / "passwords", tmp_path / "password"
    acl.write_text(acl_text, encoding="utf-8")
    acl.chmod(0o600)
    passwords.touch()
    word.write_text("right\n", encoding="utf-8")
    tool = shutil.which("mosquitto_passwd", path=f"/usr/bin:/usr/local/bin:{Path(MOSQUITTO or '/').parent}")
    assert tool, "mosquitto_passwd comes with Mosquitto"
    for user in ("scope-room-2", "building-system"):
        subprocess.run([tool, "-b", str(passwords), user, "right"], check=True, capture_output=True)
    lines = ("user root", f"password_file {passwords}", f"acl_file {acl}")
    broker = Broker(tmp_path / "broker", *lines, anonymous=False).start()
    bench = Bench(tmp_path, broker.port, plan={"username": "scope-room-2", "password_file": word})
    try:
        watcher = Watcher(broker.port, f"{BASE}/#", username="building-system", password="right")
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
    finally:
        bench.stop()
        broker.stop()
