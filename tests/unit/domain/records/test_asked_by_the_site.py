"""What a site may ask for beside its sections' limits: checks of the concentration, the age of an opened container, tests of outlets.

That a heated disinfectant's concentration is checked before each use or each day, that an opened container keeps for some weeks, and that
a ground-fault outlet's test button is pressed every month, is common practice by labels and makers' instructions; no published source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.settings import Every, Rules, Settings
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS, kept

MINUTE = 60_000


def asking(**rules: Any) -> Settings:
    return replace(SETTINGS, rules=Rules(**rules))


def bench(**rules: Any) -> Bench:
    made = Bench(asking(**rules))
    made.run(3, QUIET)
    made.duties_done()
    return made


def to(made: Bench, moment: str) -> None:
    made.pass_to(made.mono_ms + wall_ms_of(moment) - made.wall_ms)


# -- the concentration


@pytest.mark.parametrize("rule", ["day", "use"])
def test_a_check_is_owed_after_a_fill_and_has_an_alarm_of_its_own(rule: str) -> None:
    made = bench(concentration_check=rule)
    assert made.state_of("disinfectant") == ("unmet", "its concentration has to be checked before the next use")
    made.run(70, QUIET)
    assert (
        made.alarms("duty_due:concentration_check") == ["unacknowledged"]
        and made.alarms("duty_due:disinfectant_change") == []
    )
    made.record("concentration_check", passed=True)
    assert made.state_of("disinfectant")[0] == "met"
    made.record("disinfectant_fill")
    assert made.state_of("disinfectant")[0] == "unmet"


def test_each_day_ends_at_the_stations_midnight() -> None:
    made = bench(concentration_check="day")
    made.record("concentration_check", passed=True)
    to(made, "2026-03-16T23:59:59Z")
    assert made.state_of("disinfectant")[0] == "met"
    to(made, "2026-03-17T00:00:01Z")
    assert made.state_of("disinfectant")[0] == "unmet"
    made.trusted = False
    made.run(2, QUIET)
    assert made.state_of("disinfectant")[0] == "unknown"


@pytest.mark.parametrize("again", ["on", "from the state", "folded anew"])
def test_each_use_ends_with_the_next_cycle(again: str) -> None:
    made = bench(concentration_check="use")
    made.run(130, QUIET)
    made.record("concentration_check", passed=True)
    assert made.state_of("disinfectant")[0] == "met"
    made.run(60, DRAWING)
    assert any(e.kind == "phase" and e.body["to"] == "in_use" for e in made.said)
    if again != "on":
        made.start_again(state=again == "from the state")
    assert made.state_of("disinfectant")[0] == "unmet"
    made.record("concentration_check", passed=True)  # while it is in use: the cycle's end asks for another
    made.run(400, QUIET, every_s=5)
    assert made.state_of("disinfectant")[0] == "unmet"
    made.record("concentration_check", passed=True)
    assert made.state_of("disinfectant")[0] == "met"


def test_a_night_without_a_use_asks_for_no_check_of_each_use() -> None:
    made = bench(concentration_check="use")
    made.record("concentration_check", passed=True)
    to(made, "2026-03-17T05:00:00Z")
    assert made.state_of("disinfectant")[0] == "met"


def test_one_that_failed_is_no_check_that_is_owed_but_one_that_failed() -> None:
    made = bench(concentration_check="day")
    made.record("concentration_check", passed=False)
    assert made.state_of("disinfectant") == ("unmet", "the last check of its concentration failed")
    made.run(70, QUIET)
    assert made.alarms("duty_due:disinfectant_change") == ["unacknowledged"]


def test_who_doesnt_ask_for_checks_is_asked_for_none() -> None:
    made = bench()
    made.run(70, QUIET)
    assert made.state_of("disinfectant")[0] == "met" and "duty_due:concentration_check" not in made.station.alarms(
        made.now
    )


# -- an opened container


@pytest.mark.parametrize(
    ("opened", "counts", "state", "said"),
    [
        ("2026-03-10", True, "met", "14 days of its reuse life left"),
        ("2026-02-15", True, "met", "its container was opened on 2026-02-15"),  # its 30th day is the 17th of March
        ("2026-02-14", True, "met", "left: its container was opened"),
        ("2026-02-13", True, "unmet", "keeps no longer"),
        ("2026-02", True, "unmet", "keeps no longer"),  # on its first day, for all that is known
        ("2026-03-17", False, "", "after it was filled in"),
        (None, False, "", "when its container was opened"),
    ],
)
def test_how_long_it_keeps_goes_by_when_its_container_was_opened(
    opened: str | None, counts: bool, state: str, said: str
) -> None:
    made = Bench(asking(opened_life_days=30))
    made.run(3, QUIET)
    told = kept(made, "disinfectant_fill", **({} if opened is None else {"opened": opened}))
    assert told["counts"] is counts
    assert said in (made.state_of("disinfectant")[1] if counts else told["why_not"])
    assert not counts or made.state_of("disinfectant")[0] == state


def test_a_fill_of_before_the_site_asked_is_not_known_to_keep() -> None:
    made = Bench()
    made.run(3, QUIET)
    made.duties_done()
    kept_state = made.station.state()
    made.station = type(made.station)(asking(opened_life_days=30), made.boot, kept_state)
    made.keep(made.station.advance(made.now))
    assert (
        made.state_of("disinfectant")[0] == "unknown" and "opened is not on record" in made.state_of("disinfectant")[1]
    )


# -- outlets


def press(made: Bench) -> None:
    """The test button is pressed, and the outlet reset."""
    made.run(2, QUIET | {"heater-outlet": 1.0})
    made.run(2, QUIET)


@pytest.mark.parametrize("again", ["on", "from the state", "folded anew"])
def test_a_test_counts_once_the_contact_was_seen_to_trip(again: str) -> None:
    made = bench(outlet_test=Every(months=1))
    made.run(70, QUIET)
    assert made.alarms("duty_due:outlet_test:heater") == ["unacknowledged"]
    told = kept(made, "outlet_test", outlet="heater", passed=True)
    assert told["counts"] is False and "not seen to trip within 60 min" in told["why_not"]
    press(made)
    if again != "on":
        made.start_again(state=again == "from the state")
    assert kept(made, "outlet_test", outlet="heater", passed=True)["counts"]
    made.run(5, QUIET)
    assert made.alarms("duty_due:outlet_test:heater")[-1] != "unacknowledged"
    to(made, "2026-04-15T22:59:00Z")  # 23:59 there
    assert not made.station.alarms(made.now)["duty_due:outlet_test:heater"]["active"]
    to(made, "2026-04-15T23:02:00Z")
    assert made.station.alarms(made.now)["duty_due:outlet_test:heater"]["active"]
    cause = made.station.alarms(made.now)["duty_due:outlet_test:heater"]["cause"]
    assert "due since 2026-04-16" in cause and "test button" in cause


@pytest.mark.parametrize(("late_ms", "counts"), [(50 * MINUTE, True), (2 * HOUR, False)])
def test_a_press_that_is_long_past_is_no_evidence(late_ms: int, counts: bool) -> None:
    made = bench(outlet_test=Every(months=1))
    press(made)
    pressed = made.wall_ms
    made.pass_to(made.mono_ms + late_ms)
    assert kept(made, "outlet_test", outlet="heater", passed=True)["counts"] is counts
    assert pressed < made.wall_ms and kept(made, "outlet_test", outlet="heater", passed=False)["counts"]


def test_without_the_setting_a_test_needs_no_contact_to_be_seen() -> None:
    made = bench()
    assert kept(made, "outlet_test", outlet="heater", passed=True)["counts"]
    assert not any(ident.startswith("duty_due:outlet_test") for ident in made.station.alarms(made.now))
