"""What people read while a sensor is broken: it counts where [not_fitted] says for how long, and the sensor has the first word again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from edge import config
from edge.domain.entries import rfc3339
from edge.domain.readings import Role
from tests.unit.domain.records.test_facts_in_order import MINUTE, Bench
from tests.unit.stations import DRAWING, HOUR, PSI, QUIET, SETTINGS

LOOKED_AT = replace(SETTINGS, not_fitted={Role.RESERVOIR_TEMPERATURE: HOUR, Role.SUPPLY_PRESSURE: HOUR})
NO_PROBE = {name: value for name, value in QUIET.items() if name != "reservoir"}
NO_GAUGE = {name: value for name, value in QUIET.items() if name != "supply"}


def ready(settings: object = LOOKED_AT) -> Bench:
    made = Bench(settings)  # type: ignore[arg-type]
    made.run(130, QUIET)
    made.duties_done()
    made.run(60, DRAWING)
    made.run(600, QUIET, every_s=5)
    assert made.verdict() == "ready"
    return made


def read(made: Bench, role: str = "reservoir_temperature", value: str = "39.4 degC", ago_ms: int = 0) -> str:
    body = made.record("entered_reading", role=role, value=value, at=rfc3339(made.wall_ms - ago_ms))[0].body
    return str(body.get("why_not", ""))


def test_a_thermometer_read_by_eye_stands_for_a_probe_that_is_broken_and_says_so() -> None:
    made = ready()
    made.run(60, NO_PROBE)
    assert made.state_of("reservoir")[0] == "unknown" and made.state_of("sensors")[0] == "unknown"
    assert read(made) == ""
    state, text = made.state_of("reservoir")
    assert state == "by_eye" and "read by early technician" in text and "its sensor reservoir is not heard" in text
    assert made.state_of("sensors")[0] == "met" and "or read by eye" in made.state_of("sensors")[1]
    assert made.verdict() == "ready"
    made.run(HOUR / 1000 + 10, NO_PROBE, every_s=5)
    assert made.state_of("reservoir")[0] == "unknown" and made.verdict() == "unknown"


def test_what_is_read_too_cold_is_not_met() -> None:
    made = ready()
    made.run(60, NO_PROBE)
    assert read(made, value="36 degC") == "" and made.state_of("reservoir")[0] == "unmet"


def test_a_probe_that_answers_has_the_first_word() -> None:
    made = ready()
    assert "reservoir is read by its sensor, which answers" in read(made)
    made.run(60, NO_PROBE)
    read(made)
    made.run(30, QUIET | {"reservoir": 30.0})
    assert made.state_of("reservoir")[0] == "unmet"
    made.run(60, NO_PROBE)  # broken again: what was read before it told of 30 degrees stands no more
    assert made.state_of("reservoir")[0] == "unknown" and made.verdict() != "ready"


def test_what_was_read_before_the_probe_failed_or_before_a_restart_does_not_stand() -> None:
    made = ready()
    made.run(60, NO_PROBE)
    assert "from before reservoir was last heard" in read(made, ago_ms=10 * MINUTE)
    assert read(made) == "" and made.state_of("reservoir")[0] == "by_eye"
    made.run(10, NO_PROBE)
    made.start_again()
    made.run(60, NO_PROBE)
    assert made.state_of("reservoir")[0] == "unknown"


def test_without_a_word_in_the_station_file_nobody_reads_for_a_sensor() -> None:
    made = ready(SETTINGS)
    made.run(60, NO_PROBE)
    assert "read by its sensor" in read(made)
    assert made.state_of("reservoir")[0] == "unknown"


@pytest.mark.parametrize(("value", "state"), [("46 psi", "by_eye"), ("36 psi", "unmet")])
def test_so_does_a_gauge(value: str, state: str) -> None:
    made = ready()
    made.run(60, NO_GAUGE)
    assert read(made, "supply_pressure", value) == ""
    assert made.state_of("pressure")[0] == state and "supply is not heard" in made.state_of("pressure")[1]
    assert made.state_of("sensors")[0] == "met"
    made.run(10, QUIET | {"supply": 55 * PSI})
    assert made.state_of("pressure")[0] == "met"


def test_a_draw_that_was_too_low_is_not_outweighed_by_what_somebody_reads() -> None:
    made = ready()
    made.run(60, DRAWING | {"supply": 36 * PSI, "between": 33 * PSI, "filtered": 30 * PSI})
    made.run(240, QUIET)
    made.run(60, NO_GAUGE)
    assert made.state_of("pressure")[0] == "unmet"
    read(made, "supply_pressure", "46 psi")
    assert made.state_of("pressure")[0] == "unmet"


def test_the_station_file_names_it_under_not_fitted() -> None:
    text = (Path(__file__).parents[3] / "config/station-example.toml").read_text(encoding="utf-8")
    more = text.replace("[not_fitted]", '[not_fitted]\nreservoir_temperature = "30 min"')
    plan = config.loads(more, Path("s.toml"))
    assert plan.settings.not_fitted[Role.RESERVOIR_TEMPERATURE] == HOUR // 2
    with pytest.raises(config.UnusableInputs, match="is measured by point"):
        config.loads(text.replace("[not_fitted]", '[not_fitted]\nsupply_flow = "30 min"'), Path("s.toml"))


UNFITTED = replace(
    LOOKED_AT,
    points=tuple(p for p in SETTINGS.points if p.role is not Role.RESERVOIR_TEMPERATURE),
    not_fitted={Role.RESERVOIR_TEMPERATURE: 6 * HOUR},
)


def without_probe(fitted: bool) -> Bench:
    """READY by a thermometer that somebody read."""
    if fitted:
        made = ready()
        made.run(60, NO_PROBE)
    else:
        made = Bench(UNFITTED)
        made.run(130, NO_PROBE)
        made.duties_done()
        made.run(60, {name: value for name, value in DRAWING.items() if name != "reservoir"})
        made.run(300, NO_PROBE, every_s=5)
    assert read(made) == "" and made.verdict() == "ready"
    made.run(10, NO_PROBE)
    return made


@pytest.mark.parametrize("fitted", [True, False], ids=["broken", "not fitted"])
@pytest.mark.parametrize(
    ("record", "body", "what"),
    [
        ("disinfectant_fill", {"litres": 11}, "filled anew"),
        ("disinfectant_top_up", {"litres": 3}, "liquid was added"),
        ("equipment_change", {"what": "loaner"}, "equipment was changed"),
    ],
)
def test_a_temperature_read_before_other_liquid_came_tells_nothing_of_it(
    fitted: bool, record: str, body: dict[str, object], what: str
) -> None:
    made = without_probe(fitted)
    made.record(record, **body)
    state, text = made.state_of("reservoir")
    assert state == "unknown" and what in text and made.verdict() != "ready"
    assert read(made) == "" and made.state_of("reservoir")[0] == "by_eye"
    made.record("disinfectant_top_up", litres=1, stirred=True)
    assert made.state_of("reservoir")[0] == "by_eye"


@pytest.mark.parametrize("again", ["on", "from the state", "folded anew"])
@pytest.mark.parametrize("off", ["heater-outlet", "power"])
def test_a_temperature_read_before_the_heater_was_without_power_tells_nothing(off: str, again: str) -> None:
    made = without_probe(False)
    made.run(3600, NO_PROBE | {off: 1.0 if off == "heater-outlet" else 0.0}, every_s=5)
    made.run(30, NO_PROBE)
    if again != "on":
        made.start_again(state=again == "from the state")
        made.run(30, NO_PROBE)
    state, text = made.state_of("reservoir")
    assert state == "unknown" and "without power" in text
    assert read(made) == "" and made.state_of("reservoir")[0] == "by_eye"


def test_a_gauge_read_by_eye_is_outdone_by_pressures_behind_it_that_rest_too_low() -> None:
    made = ready()
    made.run(60, NO_GAUGE)
    assert read(made, "supply_pressure", "46 psi") == "" and made.state_of("pressure")[0] == "by_eye"
    made.run(300, NO_GAUGE | {"between": 0.0, "filtered": 0.0})
    state, text = made.state_of("pressure")
    assert state == "unmet" and "between rests below" in text
    assert [e.body["to"] for e in made.said if e.kind == "verdict"][-1] == "not_ready"
    made.run(300, NO_GAUGE)
    assert made.state_of("pressure")[0] == "by_eye" and made.verdict() == "ready"


@pytest.mark.parametrize("again", ["on", "from the state", "folded anew"])
def test_a_machine_that_somebody_saw_without_power_owes_its_test(again: str) -> None:
    unheard = tuple(p for p in SETTINGS.points if p.role is not Role.MACHINE_POWER)
    quiet = {name: value for name, value in QUIET.items() if name != "power"}
    made = Bench(replace(SETTINGS, points=unheard, not_fitted={Role.MACHINE_POWER: 12 * HOUR}))
    made.run(130, quiet)
    made.duties_done()
    made.run(60, {name: value for name, value in DRAWING.items() if name != "power"})
    made.run(600, quiet, every_s=5)
    assert read(made, "machine_power", "on") == "" and made.verdict() == "ready"
    made.run(60, quiet)
    assert read(made, "machine_power", "Off") == "" and made.verdict() == "not_ready"
    made.run(60, quiet)
    assert read(made, "machine_power", "on") == ""
    if again != "on":
        made.start_again(state=again == "from the state")
    state, text = made.state_of("daily_test")
    assert state == "unmet" and "saw the machine without power" in text
    made.run(5, quiet)
    made.record("daily_test", passed=True)
    assert made.state_of("daily_test")[0] == "met"
