"""Hard cases of showing the truth: a number that is none on its way out, a value whose source is dead, green before anything was read.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import asyncio
import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edge import config
from edge.api import app as api
from edge.api.parts import Parts
from edge.domain.contracts import Raw
from edge.domain.readings import Quality, Reading, Role
from edge.domain.sensing.transducers import transducer
from edge.mqtt.retained import Board
from edge.mqtt.topics import Topics
from edge.snapshot import Snapshot
from edge.store.export import export_readings
from edge.store.series import Series
from tests.api_fakes import ABOUT, Fakes, ask
from tests.unit.config.test_mistakes import EXAMPLE
from tests.unit.stations import DRAWING, POINTS, QUIET, SETTINGS, Driver, ready

GETS = ("station", "verdict", "points", "points/reservoir/readings", "alarms", "journal", "estimates")


def strict(body: bytes | str) -> Any:
    """JSON, without the words that JSON hasn't."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(body, parse_constant=refuse)


def picture(driver: Driver, version: int) -> Snapshot:
    station, now = driver.station, driver.now
    shown = (station.verdict(now), station.points(now), station.alarms(now), station.estimates(now))
    return Snapshot(version, len(driver.said), now, *shown)  # type: ignore[arg-type]  # as the judge makes it


# -- C038


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, 1e308, -1e308])
def test_c038_what_is_no_number_leaves_an_adapter_and_reaches_nobody(tmp_path: Path, number: float):
    """From what the adapter hands over to every route, the live stream, metrics, topics, and the exported files."""
    driver = ready()
    convert = transducer(POINTS[0], {})
    heard: list[Reading] = []
    for _ in range(12):  # longer than the last good one stands
        driver.pass_to(driver.mono_ms + 1000)
        driver.keep(driver.station.hear([convert(Raw("reservoir", driver.mono_ms, number, ""))], driver.now))
        heard += [reading for reading in driver.station.readings if reading.point == "reservoir"]
    assert {(reading.value, reading.quality) for reading in heard} == {(None, Quality.BAD)}
    (reason,) = {reading.reason for reading in heard}
    assert reason == ("out_of_range" if math.isfinite(number) else "not_a_number")
    assert driver.verdict() != "ready"

    series = Series(tmp_path, POINTS, driver.boot)
    series.note_clock(driver.boot, 0, driver.wall_ms - driver.mono_ms, True)
    series.append(heard)
    assert series.flush()
    fakes = Fakes()
    fakes.judge.newest, fakes.series = picture(driver, 2), series  # type: ignore[assignment]  # the real one
    for entry in driver.said:
        fakes.journal.add(entry.kind, entry.body)  # type: ignore[arg-type]  # a typed body
    app = api.bordered(api.build(Parts(fakes.judge, fakes.journal, series, ABOUT, fakes.status)), "127.0.0.1")
    begin, end = driver.wall_ms / 1000 - 60, driver.wall_ms / 1000 + 1
    for path in (*GETS, f"points/reservoir/readings?from={begin}&to={end}&buckets=7"):
        answer = asyncio.run(ask(app, "GET", f"/api/1/{path}"))
        assert answer.status == 200, (path, answer.body)
        strict(answer.body)
    shown = strict(asyncio.run(ask(app, "GET", "/api/1/points")).body)["points"]["reservoir"]
    assert (shown["value"], shown["shown"], shown["quality"], shown["reason"]) == (None, None, "bad", reason)
    assert strict(asyncio.run(ask(app, "GET", "/health")).body)["status"] in ("ok", "degraded")
    metrics = asyncio.run(ask(app, "GET", "/metrics"))
    assert metrics.status == 200 and b'warmwell_point_value{point="reservoir"' not in metrics.body
    assert not any(line.split(b" ")[-1].lower().strip(b"+-") in (b"nan", b"inf") for line in metrics.body.splitlines())

    topics = Topics("harbour-lane", "scope-room-2")
    board = Board(topics, lambda: 0.0)
    board.show(fakes.judge.newest)
    for topic in board.due():
        strict(board.payload(topic))
    told = strict(board.payload(topics.point("reservoir")))
    assert (told["value"], told["quality"], told["reason"]) == (None, "bad", reason)

    series.close()
    for form in ("csv", "jsonl"):
        out = io.BytesIO()
        export_readings(tmp_path, out, form)
        text = out.getvalue().decode()
        if form == "csv":
            assert {row["reservoir [Cel]"] for row in csv.DictReader(io.StringIO(text))} == {f"bad:{reason}"}
        else:
            assert {strict(line)["value"] for line in text.splitlines()} == {None}


# -- C052


@pytest.mark.parametrize("frozen", ["one source", "all of acquisition"])
def test_c052_a_value_whose_source_is_dead_is_not_live_within_its_stale_limit(frozen: str):
    """READY, then nothing more comes from the reservoir, or from anything: the number goes, its age stays, and READY ends."""
    driver = ready()
    assert driver.station.points(driver.now)["reservoir"]["value"] == 39.2
    left = {name: value for name, value in QUIET.items() if name != "reservoir"} if frozen == "one source" else {}
    stale_s = POINTS[0].stale_after_ms / 1000
    driver.run(stale_s + 1, left)
    shown = driver.station.points(driver.now)["reservoir"]
    assert (shown["value"], shown["quality"], shown["reason"]) == (None, "bad", "stale")
    assert stale_s < shown["age_s"] <= stale_s + 2
    assert driver.condition("reservoir")["state"] == "unknown" and driver.verdict() == "unknown"
    driver.run(2 * 24 * 3600, left, every_s=3600)
    shown = driver.station.points(driver.now)["reservoir"]
    assert shown["value"] is None and shown["age_s"] > 2 * 24 * 3600 and driver.verdict() != "ready"


# -- C053


def silent_station(*silent: str) -> Driver:
    driver = Driver()
    driver.duties_done()
    rest = {name: value for name, value in QUIET.items() if name not in silent}
    before = driver.station.verdict(driver.now)
    assert before["verdict"] != "ready", "nothing was read yet"
    driver.run(5, rest)
    return driver


def test_c053_with_every_adapter_silent_nothing_is_green_and_each_point_says_so():
    driver = silent_station(*QUIET)
    points = driver.station.points(driver.now)
    assert {(p["quality"], p["reason"], p["value"]) for p in points.values()} == {("bad", "no_reading_yet", None)}
    assert "no reading yet" in driver.condition("sensors")["text"]
    assert {c["id"] for c in driver.station.verdict(driver.now)["conditions"] if c["state"] == "met"} <= {
        "free", "no_hold", "daily_test", "water_path_treatment", "disinfectant", "clock",
    }  # fmt: skip
    driver.run(60, {})
    rung = {e.body["id"] for e in driver.said if e.kind == "alarm" and e.body["to"] == "unacknowledged"}
    assert {f"silent:{p.id}" for p in POINTS} <= rung or any(ident.startswith("bus_lost:") for ident in rung)


@pytest.mark.parametrize("silent", [p.id for p in POINTS if p.role not in (Role.ROOM_TEMPERATURE, Role.MACHINE_POWER)])
def test_c053_with_one_adapter_silent_from_the_start_the_station_is_never_ready(silent: str):
    driver = silent_station(silent)
    assert driver.station.points(driver.now)[silent]["reason"] == "no_reading_yet"
    assert silent in driver.condition("sensors")["text"] and driver.verdict() != "ready"
    rest = {name: value for name, value in QUIET.items() if name != silent}
    driver.run(300, rest)
    assert driver.verdict() != "ready" and silent in driver.condition("sensors")["text"]
    assert driver.alarms(f"silent:{silent}") == ["unacknowledged"]


def test_c053_one_that_is_silent_hides_none_that_was_not_read_yet():
    """The gauge between the filters is silent, and the supply's, which is read each minute, has not come yet."""
    points = tuple(replace(p, every_ms=60_000, stale_after_ms=180_000) if p.id == "supply" else p for p in POINTS)
    driver = Driver(replace(SETTINGS, points=points))
    driver.run(20, {name: value for name, value in QUIET.items() if name not in ("between", "supply")})
    assert driver.alarms("silent:between") == ["unacknowledged"]
    found = driver.condition("sensors")
    assert (found["state"], found["text"]) == ("unknown", "no reading yet: supply")


@pytest.mark.parametrize(
    ("role", "condition"),
    [
        (Role.RESERVOIR_TEMPERATURE, "reservoir"),
        (Role.SUPPLY_PRESSURE, "pressure"),
        (Role.SUPPLY_FLOW, "flow"),
        (Role.FILTERED_PRESSURE, "filter:fine"),
    ],
)
def test_c053_a_role_without_a_point_is_unknown_and_never_ready(role: Role, condition: str):
    """All else is as in a station that is READY."""
    driver = Driver(replace(SETTINGS, points=tuple(p for p in POINTS if p.role is not role)))
    for seconds, values in ((130, QUIET), (60, DRAWING), (300, QUIET)):
        driver.run(seconds, {name: value for name, value in values.items() if name in driver.station.watches})
    driver.duties_done()
    driver.run(5, {name: value for name, value in QUIET.items() if name in driver.station.watches})
    found = driver.condition(condition)
    assert (found["state"], found["text"]) == ("unknown", f"no point has the role {role}")
    assert driver.verdict() == "unknown"


def test_c053_check_names_the_role_that_is_missing():
    text = EXAMPLE[: EXAMPLE.index("[[point]]")] + "\n".join(
        f"[[point]]{block}" for block in EXAMPLE.split("[[point]]")[1:] if 'role = "reservoir_temperature"' not in block
    )
    warnings = config.loads(text, Path("s.toml")).warnings
    assert any("reservoir" in warning and "unknown" in warning for warning in warnings), warnings
