"""A filter's change is remembered: over a kill, a clock that is set right, and a mistake that is taken back by a further entry.

Six months between changes are common practice, no published source; a month later is the same day of the month (W3C XML Schema Part 2,
appendix E, from memory).
"""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.entries import wall_ms_of
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS

BIOMED = "biomed technician"


def at_1730() -> Bench:
    """The change of stage 1, recorded at 17:30; both stages were changed in January."""
    made = Bench(SETTINGS, wall_ms=wall_ms_of("2026-03-16T17:20:00Z"))
    made.run(130, QUIET)
    made.run(60, DRAWING)
    made.run(60, QUIET, every_s=5)
    made.record("filter_change", filters=["coarse", "fine"], by="early technician", at="2026-01-12T16:00:00Z")
    made.record("daily_test", passed=True, at="2026-03-16T07:10:00Z")
    made.pass_to(made.mono_ms + wall_ms_of("2026-03-16T17:30:00Z") - made.wall_ms)
    return made


def due(made: Bench, stage: str) -> dict[str, Any]:
    found: dict[str, Any] = made.station.alarms(made.now)[f"filter_due:{stage}"]["duty"]
    return found


@pytest.mark.parametrize("state", [True, False], ids=["from the saved state", "from the entries"])
def test_c056_a_change_of_stage_1_outlasts_a_kill_and_a_clock_that_is_set_right(state: bool) -> None:
    made = at_1730()
    (entry, *_) = made.record("filter_change", filters=["coarse"], by=BIOMED)
    made.start_again(boot="boot-2", state=state)  # nothing was said before: the process was killed
    told = due(made, "coarse")
    assert (told["by"], told["done_at"], told["seq"]) == (BIOMED, "2026-03-16T17:30:00.000Z", entry.seq)
    assert told["due_at"] == "2026-09-16T16:30:00.000Z"  # half past five there, in summer
    assert told["text"] == f"done on 2026-03-16 by {BIOMED}; due from 2026-09-16 on"
    assert (
        due(made, "fine")["done_at"] == "2026-01-12T16:00:00.000Z"
        and due(made, "fine")["due_at"] == "2026-07-12T15:00:00.000Z"
    )
    assert made.state_of("water_path_treatment") == ("unmet", "owed since the clean side was opened (filter change)")


def test_c056_a_change_recorded_before_the_clock_was_set_gets_its_true_date() -> None:
    made = at_1730()
    made.set_clock(-100 * 24 * HOUR, trusted=False)
    made.record("filter_change", filters=["coarse"], by=BIOMED)
    made.set_clock(100 * 24 * HOUR)
    assert due(made, "coarse")["done_at"] == "2026-03-16T17:30:00.000Z"
    made.start_again()
    assert due(made, "coarse")["due_at"] == "2026-09-16T16:30:00.000Z"


@pytest.mark.parametrize("state", [True, False], ids=["from the saved state", "from the entries"])
def test_c056_a_mistaken_change_is_taken_back_by_a_further_entry_and_the_one_before_holds_again(state: bool) -> None:
    made = at_1730()
    made.record("water_path_treatment", contact_min=12, at="2026-03-16T09:00:00Z")
    before = due(made, "coarse")
    (entry, *_) = made.record("filter_change", filters=["coarse"], by=BIOMED)
    assert due(made, "coarse") != before and made.state_of("water_path_treatment")[0] == "unmet"
    kept = list(made.said)
    (taken_back, *_) = made.record("correction", of=entry.seq, by=BIOMED, why="it was the fine one")
    assert taken_back.body["counts"] and made.said[: len(kept)] == kept  # nothing was deleted
    made.start_again(boot="boot-2", state=state)
    assert due(made, "coarse") == before and made.state_of("water_path_treatment")[0] == "met"


def test_c056_without_a_change_on_record_there_is_no_date_and_it_says_so() -> None:
    made = Bench(SETTINGS)
    made.run(3, QUIET)
    assert due(made, "coarse") == {
        "done_at": None, "by": None, "seq": None, "due_at": None, "text": "none on record", "msg": due(made, "coarse")["msg"],
    }  # fmt: skip
    assert made.state_of("filter:coarse")[0] == "unknown"


def test_every_duty_of_the_station_says_when_it_is_due_again() -> None:
    made = Bench(SETTINGS)
    made.run(3, QUIET)
    made.duties_done()
    found = {ident: one["duty"]["due_at"] for ident, one in made.station.alarms(made.now).items() if "duty" in one}
    assert found["duty_due:daily_test"] == "2026-03-17T00:00:00.000Z"
    assert found["duty_due:disinfectant_change"] == "2026-03-28T08:00:00.000Z"
    assert found["filter_due:fine"] == "2026-09-02T16:30:00.000Z"
    assert found["duty_due:water_path_treatment"] is None and found["duty_due:calibration:reservoir"] is None


def test_one_that_failed_has_no_next_date_but_says_that_it_failed() -> None:
    made = Bench(SETTINGS)
    made.run(3, QUIET)
    made.duties_done()
    made.record("daily_test", channel_ports=[{"port": 3, "seconds": 16.2}])
    told = made.station.alarms(made.now)["duty_due:daily_test"]["duty"]
    assert told["due_at"] is None and told["text"] == "the last one, on 2026-03-16 by early technician, failed"
