"""`warmwell alarms`: the table says of each alarm why it is there and what to do; the figures come from a journal as it lies on disk."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from edge.cli.app import app
from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.entries import Draft, Now
from edge.store.journal import Journal

ROOT = Path(__file__).parents[3]
EXAMPLE = ROOT / "config/station-example.toml"
WALL_MS = 1_773_640_200_000  # 2026-03-16T05:50:00Z
DAY_MS = 86_400_000


def ran(*words: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["alarms", *words])
    return done.exit_code, done.stdout, done.stderr


def test_the_table_of_a_station_has_each_of_its_alarms_with_its_own_tuning() -> None:
    code, out, _ = ran(str(EXAMPLE), "--format", "csv")
    rows = {row["alarm"]: row for row in csv.DictReader(io.StringIO(out))}
    assert code == 0 and rows["outlet_tripped:heater"]["on_delay_s"] == "2.0"
    assert rows["pressure_low"]["unit"] == "kPa" and float(rows["pressure_low"]["limit"]) == pytest.approx(
        40 * 6.894757, abs=1e-3
    )
    assert all(row["consequence"] and row["response"] and float(row["respond_within_s"]) > 0 for row in rows.values())
    assert rows["leak"]["priority"] == "high" and rows["leak"]["keeps_from_ready"] == "no_leak"


def test_without_a_station_it_is_the_catalogue_and_people_read_it_by_priority() -> None:
    code, out, _ = ran()
    heads = [line for line in out.splitlines() if line and not line.startswith(" ")]
    assert code == 0 and {line.split()[1].split(":")[0] for line in heads} == set(CATALOGUE)
    ranks = [("high", "medium", "low").index(line.split()[0]) for line in heads]
    assert ranks == sorted(ranks)
    assert "do        Shut the stop valve; wipe up; find where it comes from (within 5 min)" in out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("", "not while its last result is above 10 CFU/100 mL, or can't be compared with it"),
        ("\nkeeps_from_ready = true", "not while it stands: duty"),
    ],
)
def test_a_duty_with_a_level_alone_keeps_no_station_from_ready_by_being_due(
    more: str, said: str, tmp_path: Path
) -> None:
    file = tmp_path / "station.toml"
    duty = f'\n[duty.sample]\nevery = "7 days"\naction_level = "10 CFU/100 mL"{more}\n'
    file.write_text(EXAMPLE.read_text(encoding="utf-8") + duty, encoding="utf-8")
    code, out, _ = ran(str(file))
    table = out[out.index("duty_due:sample") :].partition("\n\n")[0]
    assert code == 0 and said in table


@pytest.fixture
def keep(tmp_path: Path) -> Path:
    journal = Journal(tmp_path / "keep", "harbour-lane/scope-room-2", "boot-1")
    try:
        drafts = [Draft(Now(0, WALL_MS, True), "started", {"why": "test"})]
        for hour, before, after, more in (
            (1, "normal", "unacknowledged", {}), (2, "unacknowledged", "acknowledged", {"by": "Ana"}),
            (3, "acknowledged", "normal", {}), (30, "normal", "unacknowledged", {}),
        ):  # fmt: skip
            body = {
                "id": "leak", "from": before, "to": after, "cause": "", "value": None, "unit": None, "limit": None, "since": None,
                "point": None, "priority": "high", "present": after != "normal", **more,
            }  # fmt: skip
            drafts.append(Draft(Now(hour * 3_600_000, WALL_MS + hour * 3_600_000, True), "alarm", body))
        drafts.append(Draft(Now(2 * DAY_MS, WALL_MS + 2 * DAY_MS - 1, True), "stopped", {"why": "test"}))
        journal.append(drafts)
    finally:
        journal.close()
    return tmp_path / "keep"


def test_the_figures_are_those_of_the_journal(keep: Path) -> None:
    code, out, _ = ran("--performance", "--format", "jsonl", str(keep))
    found = json.loads(out)
    assert code == 0 and found["announced"] == 2 and found["per_day"] == pytest.approx(1.0)
    assert found["answered_s"] == [3600.0, 3600.0] and found["top"] == [["leak", 2]]
    code, out, _ = ran("--performance", str(keep), "--to", "2026-03-17T05:50:00Z")
    assert code == 0 and "announced" in out and "ok  in ten minutes, at the most" in out and "leak 1" in out


def test_the_station_file_may_name_the_folder(keep: Path) -> None:
    station = keep.parent / "station.toml"
    text = (ROOT / "config/station-example.toml").read_text(encoding="utf-8")
    assert 'folder = "/var/lib/warmwell"' in text
    station.write_text(text.replace("/var/lib/warmwell", str(keep)), encoding="utf-8")
    code, out, _ = ran("--performance", "--format", "jsonl", str(station))
    assert code == 0 and json.loads(out)["announced"] == 2


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--performance"], "no journal is named"),
        (["--performance", "nowhere"], "there is no journal"),
        (["--from", "2026-03-16T05:50:00Z"], "the table of alarms has no times"),
        (["nowhere.toml"], "there is no such file"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(words: list[str], what: str) -> None:
    code, _, err = ran(*words)
    assert code == 2 and what in err and err.count("\n") == 1


def test_a_span_that_ends_before_it_begins_is_refused(keep: Path) -> None:
    code, _, err = ran("--performance", str(keep), "--from", "2026-04-16T05:50:00Z")
    assert code == 2 and "is no span of time" in err


def test_less_than_a_day_is_not_judged_and_times_may_be_the_walls(keep: Path) -> None:
    code, out, _ = ran("--performance", str(keep), "--to", "2026-03-16T12:00:00Z")
    assert code == 0 and "too short to judge" in out
    assert not [line for line in out.splitlines() if line.startswith(("NO", "ok"))]
    code, _, err = ran("--performance", str(keep), "--from", "2026-03-16 08:00")
    assert code == 2 and "no time with an offset" in err  # this journal doesn't say what clock is on the wall
    journal = Journal(keep, "harbour-lane/scope-room-2", "boot-2")
    try:
        body = {"digest": "0" * 64, "document": {"station": {"timezone": "America/Chicago"}}}
        journal.append([Draft(Now(0, WALL_MS + 2 * DAY_MS, True), "settings", body)])
    finally:
        journal.close()
    code, out, _ = ran("--performance", "--format", "jsonl", str(keep), "--from", "2026-03-16 08:00")
    assert code == 0 and json.loads(out)["from"] == "2026-03-16T13:00:00.000Z"  # UTC-5 in March


def test_a_span_goes_by_the_dates_that_are_known_now(tmp_path: Path) -> None:
    """The clock was a month behind until a day after the alarm; what is stamped stays, what is asked for is the true day."""
    journal, month_ms = Journal(tmp_path / "keep", "harbour-lane/scope-room-2", "boot-1"), 30 * DAY_MS
    try:
        body = {"id": "leak", "from": "normal", "to": "unacknowledged", "priority": "high"}
        journal.append([Draft(Now(0, WALL_MS - month_ms, False), "started", {"why": "test"})])
        journal.append([Draft(Now(3_600_000, WALL_MS - month_ms + 3_600_000, False), "alarm", body)])
        journal.append([Draft(Now(DAY_MS, WALL_MS + DAY_MS, True), "stopped", {"why": "test"})])
    finally:
        journal.close()
    for from_, to, announced in (
        ("2026-03-16T05:50:00Z", "2026-03-17T05:50:00Z", 1),
        ("2026-02-14T05:50:00Z", "2026-02-15T05:50:00Z", 0),
    ):
        code, out, _ = ran("--performance", "--format", "jsonl", str(tmp_path / "keep"), "--from", from_, "--to", to)
        found = json.loads(out)
        assert code == 0 and (found["announced"], found["undated"]) == (announced, 0)


def test_the_table_speaks_as_its_reader_does() -> None:
    _, out, _ = ran(str(EXAMPLE), "--format", "csv")
    assert {row["latching"] for row in csv.DictReader(io.StringIO(out))} == {"no"}
    _, out, _ = ran(str(EXAMPLE), "--format", "jsonl")
    rows = {row["alarm"]: row for row in map(json.loads, out.splitlines())}
    assert (
        isinstance(rows["pressure_low"]["follows_from"], list)
        and rows["duty_due:daily_test"]["title"] == "Daily test: due"
    )
    _, out, _ = ran(str(EXAMPLE))
    assert "limit 40.0 psi" in out and "on-delay 60 min" not in out.split("pressure_low")[0]
    assert "Calibration (reservoir): due" in out
