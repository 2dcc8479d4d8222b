"""verify works the saved state out anew from the entries: whoever wrote something else into it is found, whatever it is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from edge.cli.app import app
from edge.config import StationFile, loads
from edge.domain.entries import Draft, Now
from edge.domain.station.station import FOLD_VERSION, Station
from edge.judge.inbox import settings_draft
from edge.replay.refold import refolded
from edge.store.journal import Journal
from edge.store.verify import Verified, verify
from tests.unit.stations import DRAWING, QUIET, Driver

EXAMPLE = Path(__file__).resolve().parents[2] / "config" / "station-example.toml"


def plan_of(*change: tuple[str, str]) -> StationFile:
    text = EXAMPLE.read_text()
    for old, new in change:
        assert old in text
        text = text.replace(old, new)
    return loads(text, EXAMPLE)


def told(driver: Driver, plan: StationFile, *, at_start: bool = True) -> None:
    """What a daemon writes at a start and at a reload."""
    begin = [Draft(driver.now, "started", {"version": "0"})] if at_start else []
    driver.keep([*begin, settings_draft(driver.now, plan.document, plan.digest)])


def morning(plan: StationFile) -> Driver:
    """A day with most of what a state holds: duties, draws, an alarm that was answered, a trip, what was learned."""
    driver = Driver(plan.settings)
    told(driver, plan)
    quiet = QUIET | {"machine-outlet": 0.0}
    drawing = DRAWING | {"machine-outlet": 0.0}
    driver.run(120, quiet)
    driver.duties_done()
    driver.run(90, drawing)
    driver.run(120, quiet)
    driver.run(7200, lambda s: quiet | {"reservoir": 39.2 - s / 900}, every_s=10)
    driver.record("acknowledge", alarm="reservoir_cold")
    driver.run(3600, lambda s: quiet | {"reservoir": 31.2 + s / 450}, every_s=10)
    driver.run(60, quiet | {"heater-outlet": 1.0})
    driver.run(120, quiet)
    driver.record("hold", why="recall")
    return driver


def kept(folder: Path, driver: Driver, state: dict[str, Any]) -> Verified:
    """A journal of what the driver's station said, and this state beside it."""
    if not (folder / "journal.db").exists():
        folder.mkdir(exist_ok=True)
        settings = driver.station.settings
        journal = Journal(folder, settings.name, driver.boot)
        drafts = [Draft(Now(e.mono_ms, e.wall_ms, e.trusted), e.kind, dict(e.body)) for e in driver.said]
        journal.append(drafts)
    else:
        journal = Journal(folder, driver.station.settings.name, driver.boot)
    journal.save_fold(len(driver.said), FOLD_VERSION, state)
    journal.close()
    return verify(folder, refold=(FOLD_VERSION, refolded))


@pytest.fixture(scope="module")
def whole() -> Driver:
    return morning(plan_of())


def test_what_a_station_saved_is_what_its_entries_add_up_to(whole: Driver, tmp_path: Path) -> None:
    state = json.loads(json.dumps(whole.station.state()))
    assert {"reservoir_cold", "outlet_tripped:heater"} <= state["alarms"].keys() and state["evidence"]["last"]
    found = kept(tmp_path, whole, state)
    assert found.ok, found.why
    answer = CliRunner().invoke(app, ["verify", str(tmp_path)])
    assert answer.exit_code == 0, answer.output


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("alarms", "reservoir_cold", "state"), "normal2", "alarms, reservoir_cold, state: it has"),
        (("alarms", "outlet_tripped:heater", "seq"), 3, "alarms, outlet_tripped:heater, seq: it has 3"),
        (("evidence", "last", "body", "volume_l"), 99.5, "evidence, last, body, volume_l: it has 99.5"),
        (("phase",), "off", 'phase: it has "off", the entries say'),
        (("dates",), [["boot-1", [[5, 1, 0, 0]]]], "dates: the clock of boot boot-1"),
        (("buses",), {"lines": "lost"}, 'buses, lines: it has "lost", the entries say none'),
        (("facts",), None, "leaves out entry"),
    ],
)
def test_whatever_was_written_into_a_saved_state_is_named(
    whole: Driver, tmp_path: Path, path: tuple[str, ...], value: Any, said: str
) -> None:
    state = json.loads(json.dumps(whole.station.state()))
    place = state
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = [] if value is None else value
    found = kept(tmp_path, whole, state)
    assert not found.ok and said in found.why and "fold.json" in found.why


def test_what_was_learned_is_compared_too(whole: Driver, tmp_path: Path) -> None:
    state = json.loads(json.dumps(whole.station.state()))
    known = {"alarms", "facts", "dates", "evidence", "phase", "verdict", "doubts", "transfers", "buses"}
    learned = sorted(state.keys() - known)
    assert learned
    for key in learned:
        found = kept(tmp_path, whole, state | {key: {"power_w": 12345.0}})
        assert not found.ok and f"from it: {key}" in found.why


@pytest.mark.parametrize("way", ["a reload", "a start that folds anew", "a start from the saved state"])
def test_settings_that_changed_on_the_way_are_no_difference(tmp_path: Path, way: str) -> None:
    driver = morning(plan_of())
    plan = plan_of(('id = "heater-outlet"', 'id = "warmer-outlet"'), ('of = "heater"', 'of = "warmer"'))
    after = Station(
        plan.settings, driver.boot, None if "anew" in way else json.loads(json.dumps(driver.station.state()))
    )
    if "anew" in way:
        for entry in driver.said:
            after.fold(entry)
    driver.station = after
    told(driver, plan, at_start="start" in way)
    driver.run(60, QUIET | {"machine-outlet": 0.0, "warmer-outlet": 0.0})
    found = kept(tmp_path, driver, json.loads(json.dumps(driver.station.state())))
    assert found.ok, found.why


def test_a_state_of_another_fold_version_is_not_compared_as_a_start_does_not_use_it(
    whole: Driver, tmp_path: Path
) -> None:
    kept(tmp_path, whole, json.loads(json.dumps(whole.station.state())) | {"phase": "off"})
    assert verify(tmp_path, refold=(FOLD_VERSION + 1, refolded)).ok
