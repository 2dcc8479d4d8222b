"""A failure binds although the station file names nothing that would look at it; and a thinned book still knows what stands."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.readings import Role
from edge.domain.records.book import RecordBook
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import Bench, bench
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS, point

FILTERS = ("coarse", "fine")
NO_OUTLET = tuple(p for p in SETTINGS.points if p.role is not Role.OUTLET_PROTECTION)
WARMER = (*NO_OUTLET, point("heater-outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of="warmer", bus="lines"))


def settle(made: Bench) -> None:
    made.run(60, QUIET)
    made.run(60, DRAWING)
    made.run(1200, QUIET, every_s=5)


def edited(made: Bench, settings: Settings, state: bool) -> None:
    """The station file changed: by a reload or a start from the saved state, or by a start that folds all anew."""
    kept = made.station.state()
    made.station = Station(settings, made.boot, kept if state else None)
    if not state:
        for entry in made.said:
            made.station.fold(entry)
    made.keep(made.station.advance(made.now))
    settle(made)


@pytest.mark.parametrize("state", [False, True])
@pytest.mark.parametrize(
    ("body", "change", "said"),
    [
        ({"record": "daily_test"}, {"daily_test": None}, "(daily test)"),
        ({"record": "concentration_check"}, {"reuse_life_ms": None}, "(concentration check)"),
        (
            {"record": "service", "what": "seals", "filter": "fine"},
            {"filters": (SETTINGS.filters[0], replace(SETTINGS.filters[1], id="bacteria"))},
            "(service fine)",
        ),
        ({"record": "outlet_test", "outlet": "heater"}, {"points": WARMER}, "(outlet test heater)"),
        (
            {"record": "outlet_test", "outlet": "heater"},
            {"points": NO_OUTLET, "not_fitted": {Role.OUTLET_PROTECTION: 12 * HOUR}},
            "(outlet test heater)",
        ),
    ],
)
def test_a_failure_stands_when_the_station_file_loses_what_looked_at_it(
    body: dict[str, Any], change: dict[str, Any], said: str, state: bool
) -> None:
    made = bench()
    made.record(body["record"], passed=False, **{k: v for k, v in body.items() if k != "record"})
    edited(made, replace(SETTINGS, **change), state)
    assert made.verdict() == "not_ready"
    found, text = made.state_of("no_hold")
    assert found == "unmet" and said in text and "nothing in the station file looks at it" in text
    assert made.record("release")[0].body["counts"]
    assert made.state_of("no_hold")[0] == "met"


@pytest.mark.parametrize("state", [False, True])
def test_a_failure_whose_section_is_back_is_told_by_its_condition(state: bool) -> None:
    made = bench()
    made.record("daily_test", passed=False)
    edited(made, replace(SETTINGS, daily_test=None), state)
    edited(made, SETTINGS, state)
    assert made.state_of("no_hold")[0] == "met" and made.state_of("daily_test")[0] == "unmet"


def test_a_failed_test_of_an_outlet_whose_name_is_misspelt_holds_as_its_answer_says() -> None:
    made = bench()
    answer = made.record("outlet_test", outlet="heatr", passed=False)[0]
    assert "keeps the station from starting all the same" in answer.body["why_not"]
    settle(made)
    assert made.verdict() == "not_ready" and "outlet test heatr" in made.state_of("no_hold")[1]
    made.record("correction", of=answer.seq)
    settle(made)
    assert made.verdict() == "ready"


def test_a_release_of_a_hold_does_not_answer_for_a_failure_that_nobody_saw_behind_it() -> None:
    made = bench()
    made.record("outlet_test", outlet="heatr", passed=False)
    made.record("hold", why="culture")
    made.record("release")
    assert "heatr" in made.state_of("no_hold")[1]
    made.record("release")
    assert made.state_of("no_hold")[0] == "met"
    made.record("outlet_test", outlet="heatr", passed=False)
    assert made.state_of("no_hold")[0] == "unmet"


class TestThinned:
    """After more facts than the book keeps."""

    @staticmethod
    def notes(made: Bench) -> None:
        for _ in range(RecordBook.MOST + 10):
            made.record("note", text="all quiet")
        assert len(made.station.book.facts) < RecordBook.MOST

    def test_two_people_at_work_of_whom_one_ends_theirs(self) -> None:
        made = bench()
        made.record("work_begins", by="kim")
        made.record("work_begins", by="tom")
        self.notes(made)
        made.record("work_ends", by="tom")
        assert made.state_of("free") == ("unmet", "work was declared by kim")
        made.record("work_ends", by="kim")
        settle(made)
        assert made.verdict() == "ready"

    def test_who_ended_their_own_work_does_not_end_that_of_another(self) -> None:
        made = bench()
        made.record("work_begins", by="kim")
        made.record("work_begins", by="tom")
        made.record("work_ends", by="tom")
        self.notes(made)
        assert made.state_of("free") == ("unmet", "work was declared by kim")

    @pytest.mark.parametrize(
        ("condition", "body"),
        [
            ("water_path_treatment", {"record": "filter_change", "filters": ["fine"]}),
            ("daily_test", {"record": "daily_test", "passed": False}),
            ("disinfectant", {"record": "concentration_check", "passed": False}),
            ("filter:fine", {"record": "service", "what": "seals", "filter": "fine", "passed": False}),
            ("outlet:heater", {"record": "outlet_test", "outlet": "heater", "passed": False}),
            ("free", {"record": "work_begins"}),
        ],
    )
    def test_what_was_recorded_twice_and_corrected_once_still_stands(
        self, condition: str, body: dict[str, Any]
    ) -> None:
        made = bench()
        what = {key: value for key, value in body.items() if key != "record"}
        made.record(body["record"], **what)
        twice = made.record(body["record"], **what)[0]
        self.notes(made)
        assert made.record("correction", of=twice.seq)[0].body["counts"]
        settle(made)
        assert made.state_of(condition)[0] == "unmet"

    def test_a_change_whose_form_is_wrong_does_not_put_the_true_one_out_of_mind(self) -> None:
        made = bench()
        made.record("filter_change", filters=list(FILTERS), colour="blue")
        self.notes(made)
        changed = [made.station.book.last_change(ident) for ident in FILTERS]
        assert all(change is not None and change.body["counts"] for change in changed)


def test_a_failed_test_of_an_outlet_rings_until_one_passes_or_it_is_taken_back() -> None:
    made = bench()
    made.record("outlet_test", outlet="heater", passed=False)
    assert made.alarms("outlet_test_failed:heater") == ["unacknowledged"]
    published = made.station.alarms(made.now)["outlet_test_failed:heater"]
    assert published["cause"] == "heater: its last test failed, as early technician recorded"
    assert published["priority"] == "high" and "licensed staff" in published["response"]
    made.start_again()
    assert made.station.alarms(made.now)["outlet_test_failed:heater"]["active"]
    made.record("outlet_test", outlet="heater", passed=True, trip_ma=40.0)  # it tripped too late to protect anybody
    assert made.alarms("outlet_test_failed:heater") == ["unacknowledged", "unacknowledged"], "another failure is told"
    made.record("outlet_test", outlet="heater", passed=True)
    assert made.alarms("outlet_test_failed:heater")[-1] == "returned_unacknowledged"
