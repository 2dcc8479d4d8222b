"""`warmwell demo --hardware`: the same morning, read through every adapter on devices that speak their protocols.

What is compared is the project's own: the plain demo and the one with hardware see the same world.
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import adapters
from edge.domain.entries import wall_ms_of
from simulators.scenarios.scenarios import scenario_named
from simulators.scenarios.station_file import HARDWARE_BUSES
from tests.integration.daemon_kit import called, finished, warmwell

START_MS = scenario_named("cold-morning").start_wall_ms
MIN_MS = 60_000
#: bus -> minutes after 05:50 at which it is unplugged and plugged in: some while it heats, some once it is ready (07:33)
PULLED = {"probe-wire": (15, 21), "converter": (28, 34), "tray": (41, 47), "lines": (107, 113), "panel": (118, 124)}
LINES_OFF_MS = START_MS + PULLED["lines"][0] * MIN_MS
#: alarms that rest on the flow: at speed 60 a pulse meter is read each 50 ms of real time, and 20 ms of delay are two fifths of its flow
BY_PULSES = ("flow_", "filter_")
#: a busy machine may take a thread from its work for this long (real 2 s at speed 60)
BUSY_MS = 2 * MIN_MS
#: a sixth of a real second at speed 60
BLIP_MS = 10_000


class Played(NamedTuple):
    """One demo: its lines, and where it kept its store."""

    lines: list[dict[str, Any]]
    keep: Path

    def entries(self, kind: str) -> list[dict[str, Any]]:
        return [line for line in self.lines if line["type"] == "entry" and line["kind"] == kind]

    def verdicts(self) -> list[tuple[str | None, str, int]]:
        """(from, to, at) of each change, but what was taken back at once: a reading that a busy machine stamps late looks like a fall."""
        found: list[tuple[str | None, str, int]] = []
        for entry in self.entries("verdict"):
            change = (entry["body"]["from"], entry["body"]["to"], wall_ms_of(entry["at"]))
            if found and found[-1][0] == change[1] and change[2] - found[-1][2] <= BLIP_MS:
                found.pop()
            else:
                found.append(change)
        return found

    def until(self, wall_ms: int) -> Played:
        """What was said before this."""
        said = [line for line in self.lines if "at" in line and wall_ms_of(line["at"]) < wall_ms]
        return self._replace(lines=said)

    def alarms(self) -> list[str]:
        """Announced, but for those of pulled plugs, and of the demo's own broker, which a busy machine may keep waiting."""
        told = [e["body"]["id"] for e in self.entries("alarm") if e["body"]["to"] == "unacknowledged"]
        return sorted(ident for ident in told if ident.partition(":")[0] not in ("silent", "bus_lost", "untold"))

    def station(self) -> dict[str, Any]:
        return tomllib.loads((self.keep / "station.toml").read_text())

    def points_of(self, bus: str) -> set[str]:
        return {point["id"] for point in self.station()["point"] if point["bus"] == bus}


@pytest.fixture(scope="module")
def mornings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Played]]:
    """Two demos at once: plain, and with hardware whose plugs are pulled, as fast as its devices can be read."""
    folder = tmp_path_factory.mktemp("mornings")
    pulls = [wish for bus, (off, on) in PULLED.items() for wish in ("--unplug", f"{bus}:{off}min:{on}min")]
    wishes = {
        "plain": ("--speed", "120", "--for", "54"),
        "hardware": ("--hardware", *pulls, "--speed", "60", "--for", "132"),
    }
    usual = ("--scenario", "cold-morning", "--json", "--port", "0")
    demos = {name: warmwell("demo", *own, *usual, "--keep", folder / name) for name, own in wishes.items()}
    played = {}
    try:
        for name, demo in demos.items():
            out, err = demo.communicate(timeout=280)
            assert (demo.returncode, err) == (0, ""), name
            played[name] = Played([json.loads(line) for line in out.splitlines()], folder / name)
    finally:
        for demo in demos.values():
            demo.kill()
            demo.wait(60)
    yield played


@pytest.fixture(scope="module")
def readings(mornings: dict[str, Played]) -> tuple[list[str], list[list[str]]]:
    """What was read of hardware, exported: names of columns, rows."""
    code, out, err = called("export", "readings", mornings["hardware"].keep)
    assert code == 0, err
    header, *rows = csv.reader(out.splitlines())
    return header, rows


@pytest.mark.slow
def test_hardware_gives_the_same_verdict_changes_within_a_simulated_minute(mornings: dict[str, Played]) -> None:
    """Up to READY and some minutes beyond, three plugs pulled on the way: silent sensors are told, and change nothing else."""
    plain, hardware = (mornings[name].until(LINES_OFF_MS) for name in ("plain", "hardware"))
    assert [change[:2] for change in plain.verdicts()] == [(None, "not_ready"), ("not_ready", "ready")]
    assert [change[:2] for change in hardware.verdicts()] == [change[:2] for change in plain.verdicts()]
    for (*_, expected_ms), (*_, at_ms) in zip(plain.verdicts(), hardware.verdicts(), strict=True):
        assert abs(at_ms - expected_ms) <= MIN_MS
    assert plain.entries("bus") == []
    assert {e["body"]["bus"] for e in hardware.entries("bus")} == {"probe-wire", "converter", "tray"}
    assert [one for one in hardware.alarms() if not one.startswith(BY_PULSES)] == plain.alarms()


#: one step of the probe (0.0625 K) is this much of heating near the end: no forecast of a stepped reading can be finer
ONE_STEP_MS = 30_000


@pytest.mark.slow
def test_the_cold_morning_from_its_alarm_to_ready(mornings: dict[str, Played]) -> None:
    """The main job, seen from outside: alarm, a forecast that holds, the alarm's return, ready. Two simulated hours."""
    plain = mornings["plain"]
    told = [e["body"]["to"] for e in plain.entries("alarm") if e["body"]["id"] == "reservoir_cold"]
    assert told == ["unacknowledged", "acknowledged", "normal"]
    ready_ms = next(wall_ms_of(e["at"]) for e in plain.entries("verdict") if e["body"]["to"] == "ready")
    verdicts = [line for line in plain.lines if line["type"] == "verdict"]
    assert verdicts[-1]["verdict"] == "ready"
    from_ms = START_MS + 11 * MIN_MS  # heating began at 05:50
    waiting = [v for v in verdicts if from_ms <= wall_ms_of(v["at"]) < ready_ms]
    assert len(waiting) > 60
    for verdict in waiting:
        left_ms = ready_ms - wall_ms_of(verdict["at"])
        assert verdict["verdict"] == "not_ready" and verdict["expected_at"] is not None, verdict["at"]
        off_ms = abs(wall_ms_of(verdict["expected_at"]) - ready_ms)
        assert off_ms <= max(left_ms / 10, ONE_STEP_MS), (verdict["at"], verdict["expected_at"])


@pytest.mark.slow
def test_every_sensor_was_read_by_the_adapter_of_its_kind(
    mornings: dict[str, Played], readings: tuple[list[str], list[list[str]]]
) -> None:
    station = mornings["hardware"].station()
    kinds = {bus["id"]: bus["kind"] for bus in station["bus"]}
    assert set(kinds.values()) == set(adapters.TABLE) - {"simulated", "replay"}
    assert {point["bus"] for point in station["point"]} == set(kinds)
    header, rows = readings
    for column, name in enumerate(header[1:], start=1):
        good = [row[column] for row in rows if row[column] and not row[column].startswith("bad")]
        assert len(good) >= (1 if name.startswith("conductivity") else 100), name


@pytest.mark.slow
@pytest.mark.parametrize("bus", PULLED)
def test_an_unplugged_device_turns_only_its_points_bad_and_they_come_back(
    mornings: dict[str, Played], readings: tuple[list[str], list[list[str]]], bus: str
) -> None:
    pulled = mornings["hardware"]
    own = pulled.points_of(bus)
    from_ms, to_ms = (START_MS + minutes * MIN_MS for minutes in PULLED[bus])
    told = [(e["body"]["what"], wall_ms_of(e["at"])) for e in pulled.entries("bus") if e["body"]["bus"] == bus]
    assert [what for what, _ in told] == ["lost", "back"]  # nothing is told of a bus that was good from the start
    assert from_ms <= told[0][1] <= from_ms + BUSY_MS and to_ms <= told[1][1] <= to_ms + BUSY_MS
    silent = {
        e["body"]["id"].removeprefix("silent:")
        for e in pulled.entries("alarm")
        if e["body"]["id"].startswith("silent:") and from_ms <= wall_ms_of(e["at"]) <= to_ms + BUSY_MS
    }
    assert silent == own
    header, rows = readings
    within = [row for row in rows if from_ms <= wall_ms_of(row[0]) <= to_ms]
    bad = {
        name.split(" ")[0] for row in within for name, cell in zip(header, row, strict=True) if cell.startswith("bad:")
    }
    assert bad == own
    after = [row for row in rows if to_ms + BUSY_MS <= wall_ms_of(row[0]) <= to_ms + 2 * BUSY_MS]
    cells = [(name.split(" ")[0], cell) for row in after for name, cell in zip(header, row, strict=True) if cell]
    assert own <= {name for name, cell in cells if not cell.startswith("bad:")}
    assert not [name for name, cell in cells if cell.startswith("bad:")]


@pytest.mark.slow
def test_with_all_plugs_back_only_the_machine_s_power_is_asked_for(mornings: dict[str, Played]) -> None:
    verdicts = [line for line in mornings["hardware"].lines if line["type"] == "verdict"]
    # of the last minutes, one in which a busy machine heard of every point in time
    open_ones = [
        {c["id"]: c["text"] for c in v["conditions"] if c["state"] in ("unmet", "unknown")} for v in verdicts[-5:]
    ]
    asked_for = min(open_ones, key=len)
    # six minutes without its power contact: nobody knows whether the machine was powered up, which makes a test due
    assert list(asked_for) == ["daily_test"], open_ones
    assert "whether the machine was powered up" in asked_for["daily_test"]
    changes = [change[1] for change in mornings["hardware"].verdicts()]
    assert changes == ["not_ready", "ready", "unknown"]  # lines carries outlets, flow and power


@pytest.mark.slow
def test_the_record_of_the_day_tells_what_was_told_and_follows_from_the_journal(
    mornings: dict[str, Played], tmp_path: Path
) -> None:
    """Counted anew in what the demo printed; one changed digit of a reading is found."""
    hardware, file = mornings["hardware"], tmp_path / "day.html"
    code, out, err = called("report", "day", "2026-03-16", hardware.keep, "--out", file)
    assert (code, err) == (0, "") and str(file) in out
    page = file.read_text(encoding="utf-8")
    facts = json.loads(page.partition('id="facts">')[2].partition("</script>")[0])
    assert facts["simulated"] and facts["chain"]["holds"]
    assert facts["entries"]["number"] == sum(line["type"] == "entry" for line in hardware.lines)
    assert len(facts["records"]) == len(hardware.entries("record"))
    assert {one["id"] for one in facts["alarms"]} >= set(hardware.alarms())
    code, out, err = called("verify", file, "--journal", hardware.keep)
    assert (code, err) == (0, ""), out
    (warmest,) = (one["high"] for one in facts["readings"] if one["role"] == "reservoir_temperature")
    said = f"{warmest:.1f} °C"
    assert page.count(said) >= 1
    file.write_text(page.replace(said, f"{warmest + 1:.1f} °C"), encoding="utf-8")
    code, out, err = called("verify", file, "--journal", hardware.keep)
    assert code == 1 and f"{warmest + 1:.1f} °C" in out


def test_faster_than_devices_can_be_read_it_reads_them_less_often_and_says_so_and_leaves_nothing_of_them(
    tmp_path: Path,
) -> None:
    keep, own = tmp_path / "kept", tmp_path / "own"
    own.mkdir()
    wishes = ("--hardware", "--speed", "600", "--for", "4", "--port", "0", "--keep", keep)
    code, out, err = finished("demo", *wishes, TMPDIR=str(own))
    assert code == 0, err
    assert list(own.iterdir()) == []
    assert "No sensor is read more often than every 30 simulated seconds" in out
    assert "speed 600 is beyond 60" in out
    assert "a point counts as silent after 20 simulated minutes" in out
    points = tomllib.loads((keep / "station.toml").read_text())["point"]
    read = [point for point in points if point["bus"] in HARDWARE_BUSES]
    assert {point["every"] for point in read} == {"30000 ms"}
    assert {point["stale_after"] for point in read} == {"1200000 ms"}
    assert "bus_lost" not in out and "silent:" not in out


@pytest.mark.slow
def test_the_conductivity_is_what_people_enter(mornings: dict[str, Played]) -> None:
    records = [entry["body"] for entry in mornings["hardware"].entries("record")]
    (entered,) = [body for body in records if body["record"] == "entered_reading"]
    assert (entered["point"], entered["value"], entered["unit"]) == ("conductivity", 310, "uS/cm")
    assert entered.get("counts", True)


@pytest.mark.parametrize(
    "wish, said",
    [
        (["--unplug", "panel:1min:2min"], "--hardware beside it"),
        (["--hardware", "--unplug", "bench:1min:2min"], "probe-wire, converter, panel, lines, tray"),
        (["--hardware", "--unplug", "panel:2min:1min"], "Swap the two"),
        (["--hardware", "--unplug", "panel:2min"], "BUS:FROM:TO"),
        (["--hardware", "--unplug", "panel:2:3"], "a duration with its unit"),
        (["--hardware", "--unplug", ""], "BUS:FROM:TO"),
    ],
)
def test_an_unplugging_that_can_not_be_is_one_sentence(wish: list[str], said: str, tmp_path: Path) -> None:
    code, out, err = called("demo", *wish, "--for", "1", TMPDIR=str(tmp_path))
    assert (code, out) == (2, "") and said in err and err.count("\n") == 1
