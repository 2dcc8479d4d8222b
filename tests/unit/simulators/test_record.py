"""Recordings of a simulated station are what replay takes."""

from __future__ import annotations

import csv
import json
import sys
import time
from pathlib import Path

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from simulators.scenarios.record import ALL_POINTS, main, records, table, write
from simulators.scenarios.scenarios import SCENARIOS

PSI = 6.894757293168361  # kPa, exact
GALLON = 3.785411784  # L, exact


def test_header_and_first_row():
    lines = table("cold-morning", 1.0, 600.0)
    assert next(lines) == (
        "time,reservoir,room,supply [psi],between [psi],filtered [psi],flow [gal/min],machine-outlet,heater-outlet,power,leak"
    )
    first = next(lines).split(",")
    assert first[0] == "2026-03-16T05:50:00.000Z"
    assert first[-4:] == ["ok", "ok", "on", "dry"]
    assert len(list(lines)) == 6  # both ends are there


def test_units_are_those_of_the_header_and_the_values_are_the_same():
    plain = list(csv.DictReader(table("busy-day", 0.5, 30.0, ["supply", "flow", "room"], {})))
    units = {"supply": "psi", "flow": "gal/min", "room": "degF"}
    trade = list(csv.DictReader(table("busy-day", 0.5, 30.0, ["supply", "flow", "room"], units)))
    for one, other in zip(plain, trade, strict=True):
        assert float(other["supply [psi]"]) * PSI == pytest.approx(float(one["supply"]), rel=1e-9)
        assert float(other["flow [gal/min]"]) * GALLON == pytest.approx(float(one["flow"]), rel=1e-9)
        assert (float(other["room [degF]"]) - 32.0) / 1.8 == pytest.approx(float(one["room"]), rel=1e-8)
    assert max(float(row["flow"]) for row in plain) > 5.0  # a draw was among them


def test_faults_are_blank_or_named():
    rows = list(csv.DictReader(table("probe-fault", 4.0, 60.0, ["reservoir"])))
    cells = {row["time"][11:16]: row["reservoir"] for row in rows}
    assert cells["08:40"] == "bad:power_on_value"
    assert cells["09:40"] == ""


def test_every_record_has_its_time_and_somebody():
    told = [json.loads(line) for line in records("cold-morning")]
    assert len(told) == sum(act.kind in ("record", "acknowledge") for act in SCENARIOS["cold-morning"].acts)
    assert all(wall_ms_of(record["at"]) > 0 and record["by"] for record in told)


@pytest.mark.parametrize(
    ("points", "units", "says"),
    [
        (["boiler"], {}, "boiler"),
        (["supply"], {"supply": "gal/min"}, "column supply"),
        (["flow"], {"flow": "psi"}, "column flow"),
    ],
)
def test_what_can_not_be_recorded_is_refused_in_one_sentence(points: list[str], units: dict[str, str], says: str):
    with pytest.raises(UnusableInput, match=says):
        next(table("busy-day", 1.0, 60.0, points, units))


def test_write_makes_three_files(tmp_path: Path):
    rows = write("outlet-trip", tmp_path / "new", hours=0.1, every_s=10.0)
    assert rows == 37
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == [
        "readings.csv",
        "records.jsonl",
        "station.toml",
    ]
    assert len((tmp_path / "new/readings.csv").read_text().splitlines()) == rows + 1


def test_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["busy-day", str(tmp_path / "a"), "--hours", "0.1", "--every", "60"]) == 0
    assert "7 rows" in capsys.readouterr().out
    assert main(["quiet-night", str(tmp_path / "b")]) == 2
    assert "expected one of cold-morning" in capsys.readouterr().err
    (tmp_path / "file").write_text("")
    assert main(["busy-day", str(tmp_path / "file")]) == 2
    with pytest.raises(SystemExit) as left:
        main(["busy-day", str(tmp_path / "c"), "--every", "0"])
    assert left.value.code == 2


def test_many_rows_are_made_fast(capsys: pytest.CaptureFixture[str]):
    """Measured and shown: the input of a replay of 200,000 rows must not cost more than the replay. Only a hundredfold slip fails."""
    began_s = time.process_time()
    rows = sum(1 for _ in table("busy-day", 20_000 / 3600, 1.0, ALL_POINTS[:6])) - 1
    took_s = time.process_time() - began_s
    with capsys.disabled():
        sys.stdout.write(f"\n{rows} rows of 6 points: {took_s:.2f} s of CPU\n")
    assert rows == 20_001
    assert took_s < 30.0
