"""What the tests of the single parts leave of the case book: from the sensor's own bytes to what the station makes of them.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import logging
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from adapters.onewire import OneWire
from edge.clock import ToldClock
from edge.domain.contracts import Raw
from edge.domain.readings import REASONS, Quality, Reading, Role, Sample
from edge.domain.sensing.pulses import PulseMeter
from edge.domain.sensing.transducers import transducer
from edge.store.rollup import MINUTE_MS, Spans, fold
from tests.unit.stations import DRAWING, POINTS, PSI, QUIET, SETTINGS, Driver, point

S = 1_000_000_000
ADDRESS = "28-00000a1b2c3d"
POWER_ON = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
CRC_NO = "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n63 01 4b 46 7f ff 0d 10 15 t=-62\n"
GOOD = "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\n"


def probe(folder: Path) -> tuple[OneWire, Path]:
    """The 1-Wire adapter with one probe, and the file that the kernel would write."""
    (folder / "w1_bus_master1").mkdir(parents=True)
    (folder / ADDRESS).mkdir()
    table = {"reservoir": {"id": "reservoir", "address": ADDRESS, "every": "2 s"}}
    return OneWire({"id": "w", "root": str(folder)}, table, ToldClock(mono_ms=1_000)), folder / ADDRESS / "w1_slave"


def readings_of(driver: Driver, ident: str) -> list[Reading]:
    return [reading for reading in driver.station.readings if reading.point == ident]


# -- C001, C002: what is no temperature leaves no trace


@pytest.mark.parametrize("text", [POWER_ON, CRC_NO], ids=["power-on value", "check sum NO"])
def test_what_is_no_temperature_moves_no_curve_of_the_past(tmp_path: Path, text: str):
    """Among 39.0 each tenth answer is none: minutes hold 39.0 as lowest, highest and mean, and say that something was bad."""
    adapter, file = probe(tmp_path)
    file.write_text(GOOD)  # the adapter's history begins with a believable one
    convert = transducer(POINTS[0], {})
    driver = Driver()
    driver.run(5)
    kept: list[tuple[int, float | None, Quality]] = []
    for second in range(300):
        file.write_text(text if second % 10 == 7 else GOOD)
        (raw,) = adapter.read(["reservoir"])
        driver.pass_to(driver.mono_ms + 1000)
        driver.keep(driver.station.hear([convert(raw)._replace(mono_ms=driver.mono_ms)], driver.now))
        kept += [(one.mono_ms, one.value, one.quality, one.reason) for one in readings_of(driver, "reservoir")]
    spans: Spans = {}
    fold(kept, 10_000, 0, driver.mono_ms, MINUTE_MS, spans)
    assert len(kept) == 300 and len(spans) >= 5
    assert {(span.low, span.high, span.mean()) for span in spans.values()} == {(39.0, 39.0, 39.0)}
    assert max(span.worst for span in spans.values()) == 2  # bad, in the order of QUALITIES


def warm_up(power_on_each_s: int | None, convert_bad: Sample | None) -> list[float | None]:
    """The expected moment of READY, minute by minute [s from the start], while the reservoir warms by a plain exponential."""
    driver = Driver()
    start_ms, told = driver.mono_ms, []
    for second in range(40 * 60):
        liquid = 84.0 - (84.0 - 24.0) * math.exp(-second / 19_000)
        values: dict[str, Any] = dict(QUIET) | {"reservoir": round(liquid / 0.0625) * 0.0625, "room": 21.5}
        if power_on_each_s and second % power_on_each_s == 5:
            del values["reservoir"]
            assert convert_bad is not None
            driver.keep(driver.station.hear([convert_bad._replace(mono_ms=driver.mono_ms)], driver.now))
        driver.tell(**{name.replace("-", "_"): value for name, value in values.items()})
        driver.pass_to(start_ms + (second + 1) * 1000)
        if second % 60 == 59:
            estimate = driver.station.estimates(driver.now)["reservoir_ready"]
            told.append(None if estimate["value"] is None else driver.station.verdict(driver.now)["expected_at"])
    return told


def test_the_power_on_value_moves_no_forecast(tmp_path: Path):
    adapter, file = probe(tmp_path)
    file.write_text(POWER_ON)
    bad = transducer(POINTS[0], {})(adapter.read(["reservoir"])[0])
    assert (bad.value, bad.reason) == (None, "power_on_value")
    without, among = warm_up(None, None), warm_up(37, bad)
    assert sum(moment is not None for moment in without) > 20
    differ_s = [abs(_second(a) - _second(b)) for a, b in zip(without, among, strict=True) if a and b]
    assert len(differ_s) > 20
    assert max(differ_s) < 120, "a reading less in 37 s, and nothing else"


def _second(moment: Any) -> float:
    from datetime import datetime  # here: only this test reads times

    return datetime.fromisoformat(str(moment).replace("Z", "+00:00")).timestamp()


# -- C003: nothing of it in the log


@pytest.mark.parametrize(
    "content",
    [b"", GOOD.splitlines(keepends=True)[0].encode(), b"70 02 4b 46 7f ff 10 10 a6\n70 02\n", b"t=\n", bytes(3072)],
)
def test_a_broken_file_is_a_reading_and_no_entry_of_the_log(tmp_path: Path, content: bytes, caplog):
    adapter, file = probe(tmp_path)
    with caplog.at_level(logging.DEBUG):
        file.write_bytes(content)
        (raw,) = adapter.read(["reservoir"])
        file.write_text(GOOD)
        (then,) = adapter.read(["reservoir"])
    assert raw.number is None and raw.reason in REASONS
    assert then.number == 39.0
    assert caplog.records == []


# -- C008: lost edges


def test_lost_edges_are_no_low_flow_alarm():
    """Edges numbered 1 to 100 and 117 to 200 of a steady draw, read each half second, through meter, station and alarms."""
    meter, hz = PulseMeter(450.0, 30.0), 450 * 9.0 / 60
    numbers = [*range(1, 101), *range(117, 201)]
    driver = Driver()
    driver.run(30, QUIET)
    start_ms = driver.mono_ms
    edges = [(round((n - 1) / hz * S), n) for n in range(1, 4001) if n > 200 or n in numbers]
    uncertain = 0
    for half in range(1, 110):
        now_ns = half * S // 2
        driver.pass_to(start_ms + half * 500)
        due = [edge for edge in edges[:60] if edge[0] <= now_ns]
        edges = edges[len(due) :]
        meter.hear(due, now_ns)
        told = meter.tell(now_ns)
        values = {name: value for name, value in DRAWING.items() if name != "flow"}
        driver.tell(**{name.replace("-", "_"): value for name, value in values.items()})
        sample = Sample("flow", driver.mono_ms, told.l_min, told.reason, told.detail)
        driver.keep(driver.station.hear([sample], driver.now))
        (reading,) = readings_of(driver, "flow")
        if reading.reason == "edges_lost":
            uncertain += 1
            assert reading.quality is Quality.UNCERTAIN
            assert driver.station.points(driver.now)["flow"]["detail"] == "16 edges lost"
        assert half < 3 or reading.value == pytest.approx(9.0, rel=0.03)
    assert (uncertain, meter.lost) == (1, 16)
    assert driver.alarms("flow_low") == driver.alarms("silent:flow") == []


# -- C012: an open loop


LOOP = {"from": "4 mA", "to": "20 mA", "low": "0 psi", "high": "100 psi", "kind": "gauge"}


def test_a_wire_that_breaks_slowly_is_no_low_pressure():
    """4.2, 3.95, 3.85, 3.7, 3.59, 0.0 mA, 30 s each, in the middle of a draw: then the loop is told, and no pressure."""
    supply = point("supply", Role.SUPPLY_PRESSURE, -35.0, 1100.0, "psi")
    driver = Driver(replace(SETTINGS, points=tuple(supply if p.id == "supply" else p for p in POINTS)))
    convert = transducer(supply, {"loop": LOOP})
    driver.run(60, QUIET)
    seen = []
    for ma in (4.2, 3.95, 3.85, 3.7, 3.59, 0.0):
        for _ in range(30):
            driver.pass_to(driver.mono_ms + 1000)
            rest = {name: value for name, value in QUIET.items() if name != "supply"}
            driver.tell(**{name.replace("-", "_"): value for name, value in rest.items()})
            sample = convert(Raw("supply", driver.mono_ms, ma, "mA"))
            driver.keep(driver.station.hear([sample], driver.now))
        (reading,) = readings_of(driver, "supply")
        seen.append((ma, str(reading.quality), reading.reason))
    assert seen == [
        (4.2, "good", None), (3.95, "good", None), (3.85, "good", None), (3.7, "uncertain", "under_range"),
        (3.59, "bad", "loop_open"), (0.0, "bad", "loop_open"),
    ]  # fmt: skip
    assert driver.alarms("pressure_low") == []
    assert driver.alarms("silent:supply") == ["unacknowledged"]
    shown = driver.station.points(driver.now)["supply"]
    assert (shown["value"], shown["reason"]) == (None, "loop_open")
    assert shown["advice"] == "Check the loop's wiring and the transmitter"


# -- C014: a vented line that reads below zero is shown as it is


@pytest.mark.parametrize("psi, is_shown", [(3.1, True), (-4.9, True), (-9.0, False)])
def test_a_zero_that_has_moved_is_not_clamped(psi: float, is_shown: bool):
    """-9 psi is beyond what a drifted zero can be: bad, and said so; it is no 0 either."""
    supply = point("supply", Role.SUPPLY_PRESSURE, -35.0, 1100.0, "psi")
    sample = transducer(supply, {"register": {"unit": "psi"}})(Raw("supply", 0, psi, "psi"))
    driver = Driver(replace(SETTINGS, points=tuple(supply if p.id == "supply" else p for p in POINTS)))
    driver.keep(driver.station.hear([sample._replace(mono_ms=driver.mono_ms)], driver.now))
    shown = driver.station.points(driver.now)["supply"]
    assert shown["value"] == (pytest.approx(psi * PSI) if is_shown else None)
    assert shown["reason"] == (None if is_shown else "out_of_range")


# -- C023: a decimal comma that people type


def test_a_comma_that_somebody_types_is_refused_with_a_hint_and_never_39():
    gauge = point("gauge", Role.ROOM_TEMPERATURE, -10.0, 60.0, bus="people", by_people=True)
    driver = Driver(
        replace(SETTINGS, points=(*(p for p in POINTS if p.id != "room"), gauge), buses=("wires", "lines", "people"))
    )
    driver.tell(reservoir=39.0)
    (entry, *_) = driver.record("entered_reading", point="gauge", value="39,1 degC")
    assert entry.body["counts"] is False
    assert 'has a decimal comma; expected a decimal point, as in "39.1 degC"' in entry.body["why_not"]
    assert driver.station.points(driver.now)["gauge"]["value"] is None
    (entry, *_) = driver.record("entered_reading", point="gauge", value="39.1 degC")
    assert entry.body["counts"] is not False
    assert driver.station.points(driver.now)["gauge"]["value"] == pytest.approx(39.1)
