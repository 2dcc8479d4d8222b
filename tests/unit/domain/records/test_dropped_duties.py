"""A duty that is owed doesn't end by an edit of the station file: it stands until somebody answers for it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import Draft
from edge.domain.settings import DailyTest, Settings
from edge.domain.station.dropped import asked_before
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import Bench, bench
from tests.unit.stations import DRAWING, QUIET, SETTINGS, english

REPAIR_ONLY = replace(SETTINGS, clean_side_opened_by=frozenset({"repair"}))


def settle(made: Bench) -> None:
    made.run(60, QUIET)
    made.run(60, DRAWING)
    made.run(1200, QUIET, every_s=5)


def edited(made: Bench, settings: Settings) -> list[str]:
    """The station file is changed, as the judge does it. The kinds of the entries that came of it."""
    owed, kept = made.station.owed(made.now), made.station.state()
    made.station = Station(settings, made.boot, kept)
    told = [Draft(made.now, "settings", {"digest": repr(settings), "document": {}})]
    entries = made.keep([*told, *made.station.settings_changed(owed, made.now)])
    settle(made)
    return [entry.kind for entry in entries]


def owing_treatment(made: Bench) -> None:
    made.change_filters()
    made.record("daily_test", passed=True)
    assert made.state_of("water_path_treatment")[0] == "unmet"


@pytest.mark.parametrize(
    "settings",
    [replace(SETTINGS, treatment_contact_ms=None), REPAIR_ONLY],
    ids=["the section is taken out", "the word is"],
)
@pytest.mark.parametrize("again", ["on", "started from the state", "folded anew", "another boot"])
def test_a_treatment_that_is_owed_stays_so_until_somebody_answers_for_it(settings: Settings, again: str) -> None:
    made = bench()
    owing_treatment(made)
    assert edited(made, settings) == ["settings", "duty_dropped"]
    if again != "on":
        made.start_again(boot="boot-2" if again == "another boot" else None, state=again == "started from the state")
        settle(made)
    assert made.verdict() == "unknown"
    state, text = made.state_of("no_hold")
    assert state == "unknown" and "water path treatment (owed since the clean side was opened (filter change))" in text
    assert any("release that names no hold" in ask for ask in made.station.verdict(made.now)["waits_for"])
    assert made.record("release")[0].body["counts"]
    settle(made)
    assert made.state_of("no_hold") == ("met", "no hold") and made.verdict() == "ready"
    made.start_again()
    settle(made)
    assert made.verdict() == "ready"


@pytest.mark.parametrize(
    ("ident", "record", "body", "change"),
    [
        ("daily_test", "equipment_change", {"what": "pump"}, {"daily_test": None}),
        ("disinfectant", "equipment_change", {"what": "pump"}, {"reuse_life_ms": None}),
        (
            "filter:fine",
            "service",
            {"what": "seals", "filter": "fine", "passed": False},
            {"filters": SETTINGS.filters[:1]},
        ),
    ],
)
def test_what_was_not_met_is_not_met_by_taking_its_section_out(
    ident: str, record: str, body: dict[str, Any], change: dict[str, Any]
) -> None:
    made = bench()
    made.record("disinfectant_fill", litres=11)
    made.record(record, **body)
    assert made.state_of(ident)[0] in ("unmet", "unknown")
    edited(made, replace(SETTINGS, **change))
    state, text = made.state_of("no_hold")
    assert state in ("unknown", "unmet") and ident.replace("_", " ") in text
    assert made.verdict() != "ready"


def test_a_failed_test_is_not_passed_by_a_wider_limit() -> None:
    made = bench()
    made.record("daily_test", channel_ports=[{"port": 1, "seconds": 16.0}])
    assert made.state_of("daily_test")[0] == "unmet"
    edited(made, replace(SETTINGS, daily_test=DailyTest(100.0, 20.0, "weak ports")))
    state, text = made.state_of("no_hold")
    assert state == "unknown" and "daily test (the last daily test failed: port 1 gave 100 mL in 16 s" in text
    assert made.verdict() == "unknown"


def test_what_was_met_may_go_and_what_is_judged_anew_is_not_told_twice() -> None:
    made = bench()
    assert edited(made, replace(SETTINGS, treatment_contact_ms=None, daily_test=None)) == ["settings"]
    assert made.verdict() == "ready"
    made = bench()
    owing_treatment(made)
    assert edited(made, replace(SETTINGS, title="Room 2")) == ["settings"]
    assert made.state_of("no_hold")[0] == "met" and made.state_of("water_path_treatment")[0] == "unmet"


def test_a_release_that_names_a_hold_answers_for_none_of_it() -> None:
    made = bench()
    owing_treatment(made)
    edited(made, REPAIR_ONLY)
    made.record("hold", name="culture", why="culture")
    made.record("release", name="culture")
    assert made.state_of("no_hold")[0] == "unknown"
    made.record("hold", why="another")
    assert made.record("release")[0].body["counts"]  # of the hold: what stands behind it nobody saw
    assert made.state_of("no_hold")[0] == "unknown"
    made.record("release")
    assert made.state_of("no_hold")[0] == "met"


def test_settings_of_before_that_this_version_cannot_use_are_no_reason_to_forget() -> None:
    owed = asked_before({"daily_test": {}, "disinfectant": {}}, ["free", "disinfectant"])
    assert {ident: english(why) for ident, why in owed.items()} == {
        "daily_test": "whether it was owed can't be told: this version can't use the settings of before"
    }
