"""The word for people: it never looks better than the verdict, and says in use only where nobody has to do anything."""

from __future__ import annotations

import json

import pytest

from edge.domain.entries import Entry
from edge.domain.heat.cycle import Phase, shown_phase
from edge.domain.messages import say
from edge.domain.station.displayed import displayed_word, phases_of
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged, display_word, verdict_word
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, MONDAY, QUIET, SETTINGS, Driver, ready

IN_USE, COLD = (
    Judged(UNMET, say("machine.cycle_running"), mends=True),
    Judged(UNMET, say("machine.cycle_running"), mends=True),
)
FINE, OWED = Judged(MET, say("machine.not_in_use")), Judged(UNMET, say("daily_test.none"), ask=say("daily_test.ask"))
BLIND = Judged(UNKNOWN, say("daily_test.none"))


@pytest.mark.parametrize(
    ("judged", "phase", "word"),
    [
        ({"free": FINE, "reservoir": FINE}, "idle", "ready"),
        ({"free": IN_USE, "reservoir": COLD}, "in_use", "in_use"),
        ({"free": FINE, "reservoir": COLD}, "reheating", "reheating"),
        ({"free": IN_USE, "daily_test": OWED}, "in_use", "not_ready"),
        ({"free": IN_USE, "filter:fine": BLIND}, "in_use", "not_ready"),
        ({"free": FINE, "reservoir": COLD}, "idle", "not_ready"),
        ({"free": FINE, "reservoir": COLD._replace(ask=say("reservoir.no_power.ask"))}, "reheating", "not_ready"),
        ({"free": FINE, "filter:fine": BLIND}, "idle", "cant_tell"),
        ({"reservoir": COLD, "daily_test": OWED}, "at_rest", "at_rest"),
        ({"reservoir": COLD, "outlet:heater": OWED}, "at_rest", "not_ready"),
        ({"sensors": BLIND}, "at_rest", "cant_tell"),
        ({}, "at_rest", "cant_tell"),
    ],
)
def test_the_word(judged: dict[str, Judged], phase: str, word: str) -> None:
    assert display_word(judged, phase) == word


def test_it_says_ready_only_with_the_verdict() -> None:
    for phase in Phase:
        for states in ((MET, BY_EYE), (MET, UNKNOWN), (MET, UNMET), (UNMET, UNKNOWN)):
            judged = {str(n): Judged(state, say("machine.not_in_use")) for n, state in enumerate(states)}
            assert (display_word(judged, str(phase)) == "ready") is (verdict_word(list(states)) == "ready")


def test_a_station_says_in_use_while_water_is_drawn_for_a_cycle() -> None:
    driver = ready()
    assert driver.station.verdict(driver.now)["display"] == "ready"
    driver.run(30, DRAWING)
    verdict = driver.station.verdict(driver.now)
    assert (verdict["phase"], verdict["verdict"], verdict["display"]) == ("in_use", "not_ready", "in_use")
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    assert driver.station.verdict(driver.now)["display"] == "not_ready"


def test_what_is_heated_from_cold_comes_from_no_cycle() -> None:
    driver = Driver()
    driver.run(130, QUIET | {"reservoir": 25.0})
    driver.run(60, DRAWING | {"reservoir": 25.0})
    driver.duties_done()
    driver.run(1200, lambda s: QUIET | {"reservoir": 25.0 + 0.003 * s}, every_s=5)
    verdict = driver.station.verdict(driver.now)
    assert [one["id"] for one in verdict["conditions"] if one["state"] != "met"] == ["reservoir"]
    assert (verdict["phase"], verdict["display"]) == ("reheating", "not_ready")
    told = next(entry.body for entry in driver.said if entry.kind == "phase" and entry.body["to"] == "reheating")
    assert (
        displayed_word({"to": "not_ready", "conditions": {"reservoir": "unmet"}}, shown_phase(*phases_of(told)))
        == "not_ready"
    )


@pytest.mark.parametrize(("before", "shown"), [("in_use", "reheating"), ("idle", "idle"), ("off", "idle")])
def test_what_is_shown_goes_by_the_same_entry_live_in_reports_and_after_a_restart(before: str, shown: str) -> None:
    entry = Entry(1, "boot-0", 0, MONDAY, True, "phase", {"from": before, "to": "reheating"})
    folded = Station(SETTINGS, "boot-1")
    folded.fold(entry)
    restored = Station(SETTINGS, "boot-2", json.loads(json.dumps(folded.state())))
    assert folded.view.situation.shown_phase == restored.view.situation.shown_phase == shown
    assert shown_phase(*phases_of(entry.body)) == shown
