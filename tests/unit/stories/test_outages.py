"""Power that goes and comes back: an outlet's trip over a restart, and what makes the daily test due."""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.domain.readings import Role
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import DRAWING, QUIET, SETTINGS, Driver, point

BOTH = replace(
    SETTINGS,
    points=(*SETTINGS.points, point("machine-outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of="machine", bus="lines")),
)
LIVE = QUIET | {"machine-outlet": 0.0}
HOW = ("same boot", "from the state", "another boot")


def ready() -> Bench:
    made = Bench(BOTH)
    made.run(30, LIVE)
    made.duties_done()
    made.run(60, DRAWING | {"machine-outlet": 0.0})
    made.run(1500, LIVE, every_s=5)
    assert made.verdict() == "ready"
    return made


def start_again(made: Bench, how: str) -> None:
    made.start_again(boot="boot-2" if how == "another boot" else None, state=how == "from the state")


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("outlet", ["heater-outlet", "machine-outlet"])
def test_an_outlet_that_tripped_before_a_restart_is_not_live_at_once(outlet: str, how: str) -> None:
    made = ready()
    made.run(10, LIVE | {outlet: 1.0})
    start_again(made, how)
    ident = f"outlet:{outlet.removesuffix('-outlet')}"
    made.run(15, LIVE)
    assert made.state_of(ident)[0] == "unknown" and made.verdict() != "ready"
    made.run(10, LIVE)
    assert made.state_of(ident)[0] == "met"


@pytest.mark.parametrize("how", HOW)
def test_nor_is_one_that_was_live_again_for_a_moment_when_the_restart_came(how: str) -> None:
    made = ready()
    made.run(10, LIVE | {"heater-outlet": 1.0})
    made.run(5, LIVE)
    start_again(made, how)
    made.run(10, LIVE)
    assert made.state_of("outlet:heater")[0] == "unknown"
    made.run(15, LIVE)
    assert made.state_of("outlet:heater")[0] == "met"


def test_nor_does_a_shelf_hide_it() -> None:
    made = ready()
    made.record("shelve", alarm="outlet_tripped:heater", minutes=60)
    made.run(10, LIVE | {"heater-outlet": 1.0})
    made.start_again()
    made.run(10, LIVE)
    assert made.state_of("outlet:heater")[0] == "unknown"


def test_a_restart_long_after_a_trip_makes_nobody_wait() -> None:
    made = ready()
    made.run(10, LIVE | {"heater-outlet": 1.0})
    made.run(60, LIVE)
    made.start_again()
    made.run(2, LIVE)
    assert made.state_of("outlet:heater")[0] == "met"


def test_a_contact_that_chatters_is_two_entries() -> None:
    made = ready()
    made.run(60, lambda s: LIVE | {"heater-outlet": float(int(s) % 2)})
    made.run(60, LIVE)
    assert [e.body["what"] for e in made.said if e.kind == "power"] == ["lost", "back"]


@pytest.mark.parametrize("again", [None, *HOW])
def test_the_machines_outlet_that_tripped_and_is_live_again_makes_the_test_due(again: str | None) -> None:
    made = ready()
    made.run(10, LIVE | {"machine-outlet": 1.0})
    if again is not None:
        start_again(made, again)
    made.run(60, LIVE)
    assert made.state_of("outlet:machine")[0] == "met"
    state, text = made.state_of("daily_test")
    assert state == "unmet" and "powered up" in text and made.verdict() == "not_ready"
    made.record("daily_test", passed=True)
    assert made.state_of("daily_test")[0] == "met"


def test_a_test_recorded_while_it_had_no_power_is_due_all_the_same() -> None:
    made = ready()
    made.run(10, LIVE | {"machine-outlet": 1.0})
    made.record("daily_test", passed=True)
    made.run(10, LIVE | {"machine-outlet": 1.0})
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "unmet"


def test_the_heaters_outlet_makes_no_test_due() -> None:
    made = ready()
    made.run(10, LIVE | {"heater-outlet": 1.0})
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "met"


def test_an_outlet_of_a_theatre_is_no_heaters() -> None:
    assert BOTH.points[-1].of == "machine"
    made = Bench(replace(BOTH, points=(*BOTH.points[:-1], replace(BOTH.points[-1], of="theatre"))))
    made.run(30, LIVE)
    made.duties_done()
    made.run(10, LIVE | {"machine-outlet": 1.0})
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "unmet"


def silent(made: Driver, seconds: float) -> None:
    made.run(seconds, {name: value for name, value in LIVE.items() if name != "power"})


@pytest.mark.parametrize("again", [None, *HOW])
def test_a_machine_that_was_not_heard_for_so_long_may_have_been_powered_up(again: str | None) -> None:
    """ "On" before and "on" after is what a switch off and on in between looks like, too."""
    made = ready()
    silent(made, 120)
    if again is not None:
        start_again(made, again)
    made.run(60, LIVE)
    state, text = made.state_of("daily_test")
    assert state == "unknown" and "powered up" in text and made.verdict() != "ready"
    made.start_again()
    made.run(10, LIVE)
    assert made.state_of("daily_test")[0] == "unknown"
    made.record("daily_test", passed=True)
    assert made.state_of("daily_test")[0] == "met"


def test_whoever_knows_that_it_kept_its_power_says_so() -> None:
    made = ready()
    silent(made, 120)
    made.run(60, LIVE)
    assert made.record("release", why="it ran a cycle all the while")[0].body["counts"]
    assert made.state_of("daily_test")[0] == "met"


def test_whoever_releases_a_hold_says_nothing_of_the_power() -> None:
    made = ready()
    silent(made, 120)
    made.run(60, LIVE)
    made.record("hold", why="culture")
    made.record("release")
    assert made.state_of("daily_test")[0] == "unknown"


def test_readings_that_come_too_seldom_are_no_entry_each() -> None:
    made = ready()
    made.run(1800, lambda s: LIVE if int(s) % 60 == 0 else {n: v for n, v in LIVE.items() if n != "power"})
    assert made.verdict() != "ready" and [e for e in made.said if e.kind == "power"] == []
    made.run(60, LIVE)
    assert [e.body["what"] for e in made.said if e.kind == "power"] == ["unsure"]


def test_a_silence_that_is_too_short_for_a_power_up_changes_nothing() -> None:
    made = ready()
    silent(made, 25)
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "met" and made.verdict() == "ready"


def test_off_after_a_silence_is_a_power_up_as_ever() -> None:
    made = ready()
    silent(made, 120)
    made.run(10, LIVE | {"power": 0.0})
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "unmet"


def test_a_restart_alone_is_no_power_up() -> None:
    made = ready()
    made.station = Station(BOTH, made.boot, made.station.state())
    made.pass_to(made.mono_ms + 120_000)
    made.run(60, LIVE)
    assert made.state_of("daily_test")[0] == "met"
