"""A water-path treatment told by its steps: the contact is timed by the station, and what follows it is asked for where the site says so.

Ten minutes of contact, then draining, rinsing and a look for residue are example values of common practice; the label decides.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import rfc3339
from edge.domain.errors import RecordRefused
from edge.domain.records.border import refuse
from edge.domain.settings import Rules, Settings
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import DRAWING, HOUR, MONDAY, QUIET, SETTINGS, kept

MINUTE = 60_000
#: a station file that asks for nothing after the contact, and says so
ENDED = replace(SETTINGS, rules=Rules(treatment_then=()))
ASKED = replace(SETTINGS, rules=Rules(treatment_then=("drained", "rinsed", "residue_free")))
AFTER = {"drained": True, "rinsed": True, "residue_free": True}


def opened(settings: Settings = ENDED) -> Bench:
    """The filters were changed, and the day's test was passed."""
    made = Bench(settings)
    made.run(3, QUIET)
    made.record("filter_change", filters=["coarse", "fine"])
    made.record("daily_test", passed=True)
    return made


def wait(made: Bench, ms: int) -> None:
    made.pass_to(made.mono_ms + ms)


def step(made: Bench, which: str, **more: Any) -> dict[str, Any]:
    return kept(made, "water_path_treatment", step=which, **more)


def owed(made: Bench) -> tuple[str, str]:
    return made.state_of("water_path_treatment")


def test_a_contact_that_is_begun_and_ended_counts_once_it_was_long_enough() -> None:
    made = opened()
    told = step(made, "begins")
    assert told["counts"] and told["done"] is False
    wait(made, 4 * MINUTE)
    assert owed(made) == ("unmet", "its contact is under way: 6 min left")
    wait(made, 6 * MINUTE - 1)
    told = step(made, "ends")
    assert told["counts"] is False and "10 min are needed" in told["why_not"] and owed(made)[0] == "unmet"
    wait(made, 1)
    assert "as long as the label asks" in owed(made)[1]
    told = step(made, "ends")
    assert told["counts"] and told["contact_s"] == told["began_s"] == 600.0 and told["done"] is True
    assert owed(made)[0] == "met"


def test_the_wall_clock_that_is_set_meanwhile_makes_no_contact_longer_or_shorter() -> None:
    for by_ms in (-3_600_000, 3_600_000):
        made = opened()
        step(made, "begins")
        wait(made, 9 * MINUTE)
        made.set_clock(by_ms)
        assert "9 min of contact" in step(made, "ends")["why_not"]
        wait(made, MINUTE)
        told = step(made, "ends")
        assert told["counts"] and told["contact_s"] == 600.0 and owed(made)[0] == "met"


@pytest.mark.parametrize("trusted", [True, False])
def test_across_a_restart_of_the_board_dates_that_can_be_relied_on_time_it(trusted: bool) -> None:
    made = opened()
    step(made, "begins")
    wait(made, 11 * MINUTE)
    made.start_again(boot="boot-2", trusted=trusted)
    told = step(made, "ends")
    assert told["counts"] is trusted and ("restarted" in told.get("why_not", "")) is not trusted
    assert owed(made)[0] == ("met" if trusted else "unmet")


@pytest.mark.parametrize("state", [True, False])
def test_a_restart_of_the_program_loses_no_contact(state: bool) -> None:
    made = opened(ASKED)
    step(made, "begins")
    wait(made, 5 * MINUTE)
    made.start_again(state=state)
    wait(made, 5 * MINUTE)
    assert step(made, "ends")["done"] is False
    made.start_again(state=state)
    assert "not recorded yet: drained and rinsed and looked at" in owed(made)[1]
    wait(made, 7 * MINUTE)
    told = step(made, "finished", **AFTER)
    assert told["counts"] and (told["contact_s"], told["began_s"]) == (600.0, 1020.0)
    made.start_again(state=state)
    assert owed(made)[0] == "met"


def test_each_step_may_be_told_late() -> None:
    made = opened()
    start = made.wall_ms
    wait(made, 20 * MINUTE)
    step(made, "begins", at=rfc3339(start + MINUTE))
    told = step(made, "ends", at=rfc3339(start + 12 * MINUTE))
    assert told["counts"] and told["contact_s"] == 660.0 and owed(made)[0] == "met"


def test_what_is_asked_for_after_the_contact_may_stand_in_two_records_or_in_one() -> None:
    made = opened(ASKED)
    step(made, "begins")
    wait(made, 10 * MINUTE)
    assert step(made, "ends", drained=True)["done"] is False
    told = step(made, "finished", rinsed=True)
    assert told["counts"] is False and told["why_not"].endswith("looked at for residue and free of it")
    assert step(made, "finished", rinsed=True, residue_free=True)["counts"] and owed(made)[0] == "met"
    made = opened(ASKED)
    wait(made, 12 * MINUTE)
    told = kept(made, "water_path_treatment", contact_min=11, drained=True)
    assert told["counts"] is False and told["why_not"].endswith("rinsed and looked at for residue and free of it")
    assert kept(made, "water_path_treatment", contact_min=11, **AFTER)["counts"] and owed(made)[0] == "met"


@pytest.mark.parametrize(
    ("which", "more", "why"),
    [
        ("finished", {"drained": False}, "not drained"),
        ("finished", {"rinsed": False}, "not drained and rinsed"),
        ("finished", {"residue_free": False, "drained": True, "rinsed": True}, "not free of residue"),
        ("finished", {}, "what has to follow the contact here: drained and rinsed and looked at"),
        ("begins", {"at": "2027-03-16T06:00:00Z"}, "in the future"),
        ("ends", {"at": "2026-03-16T05:00:00Z"}, "ends before it begins"),
        ("rests", {}, "one of begins, ends, finished"),
    ],
)
def test_a_step_that_cannot_count_says_why(which: str, more: dict[str, Any], why: str) -> None:
    made = opened(ASKED)
    step(made, "begins")
    wait(made, 10 * MINUTE)
    if which == "finished":
        step(made, "ends")
    told = step(made, which, **more)
    assert told["counts"] is False and why in told["why_not"] and owed(made)[0] == "unmet"


@pytest.mark.parametrize(("which", "why"), [("ends", "no contact is under way"), ("finished", "no contact has ended")])
def test_a_step_without_the_one_before_is_kept_and_does_not_count(which: str, why: str) -> None:
    made = opened()
    assert why in step(made, which)["why_not"]
    kept(made, "correction", of=len(made.said))
    step(made, "begins")
    assert ("no contact has ended" in step(made, "finished").get("why_not", "")) and owed(made)[0] == "unmet"


def test_a_contact_that_began_before_the_opening_answers_it_by_none_of_its_steps() -> None:
    made = opened()
    step(made, "begins")
    wait(made, 2 * MINUTE)
    made.record("service", what="repair")
    assert owed(made)[1] == "owed since the clean side was opened (service)"
    wait(made, 9 * MINUTE)
    told = step(made, "ends")
    assert told["counts"] is False and "would have begun before the clean side was opened (service" in told["why_not"]
    step(made, "begins")
    wait(made, 10 * MINUTE)
    assert step(made, "ends")["counts"] and owed(made)[0] == "met"


def test_without_that_days_test_no_step_ends_it() -> None:
    made = Bench(SETTINGS)
    made.run(3, QUIET)
    made.record("filter_change", filters=["coarse"])
    step(made, "begins")
    wait(made, 10 * MINUTE)
    assert "daily test had not passed" in step(made, "ends")["why_not"]


def asks(made: Bench) -> list[str]:
    return [one["id"] for one in made.station.verdict(made.now)["waits_for_msgs"] if one["id"].startswith("treatment.")]


def test_what_is_asked_is_what_counts_whether_the_day_was_tested_before_the_change_or_not() -> None:
    made = Bench(SETTINGS)
    made.run(3, QUIET)
    made.record("daily_test", passed=True)
    made.record("filter_change", filters=["coarse"])
    assert asks(made) == ["treatment.tested.ask"], "the day's test passed before the change: it is not asked for again"
    wait(made, 12 * MINUTE)
    assert kept(made, "water_path_treatment", contact_min=11)["counts"] and owed(made)[0] == "met"
    wait(made, 24 * HOUR)
    made.record("filter_change", filters=["coarse"])
    assert asks(made) == ["treatment.ask"], "nor is yesterday's"
    step(made, "begins")
    assert asks(made) == ["treatment.untested.ask"]
    wait(made, 10 * MINUTE)
    assert asks(made) == ["treatment.untested.ask"] and step(made, "ends")["counts"] is False
    made.record("daily_test", passed=True)
    assert asks(made) == ["treatment.contact_done.ask"]
    assert step(made, "ends", drained=True, rinsed=True)["counts"] and owed(made)[0] == "met"
    made.record("equipment_change", what="loaner")
    assert asks(made) == ["treatment.ask"], "that was the test of another machine"
    wait(made, 12 * MINUTE)
    assert "daily test had not passed" in kept(made, "water_path_treatment", contact_min=11)["why_not"]
    made.record("daily_test", passed=True)
    assert asks(made) == ["treatment.tested.ask"]
    assert kept(made, "water_path_treatment", contact_min=11)["counts"] and owed(made)[0] == "met"


OWED = "duty_due:water_path_treatment"


def rings(made: Bench) -> tuple[str, str]:
    """The state of the treatment's alarm, and why."""
    one = made.station.alarms(made.now)[OWED]
    return one["state"], one["cause"]


def test_the_treatments_alarm_is_silent_by_design_while_one_is_on_its_way() -> None:
    """IEC 62682 (from memory): an alarm that needs no response now is suppressed by design, shown with its reason, and comes back."""
    made = opened(SETTINGS)
    wait(made, 2 * MINUTE)
    assert rings(made)[0] == "unacknowledged"
    step(made, "begins")
    until = "this alarm is silent until 2026-03-16 06:17"  # 10 min of contact, 15 min to record its end
    assert rings(made) == ("suppressed_by_design", f"its contact is under way: until 2026-03-16 06:02; {until}")
    wait(made, 11 * MINUTE)
    assert rings(made)[0] == "suppressed_by_design" and rings(made)[1].startswith("its contact has lasted as long as")
    step(made, "ends")
    made.start_again(boot="boot-2", state=False)
    wait(made, 2 * MINUTE)
    assert rings(made)[0] == "suppressed_by_design" and rings(made)[1].startswith(
        "its contact is over; not recorded yet"
    )
    step(made, "finished", drained=True, rinsed=True)
    assert rings(made)[0] == "normal" and made.alarms(OWED) == ["unacknowledged", "suppressed_by_design", "normal"]
    step(made, "begins")  # nothing was owed: it never rings
    wait(made, 5 * MINUTE)
    assert made.alarms(OWED)[3:] == ["suppressed_by_design"]


@pytest.mark.parametrize(
    ("breaks", "after_ms"),
    [
        (lambda made: made.record("service", what="repair"), 0),
        (lambda made: made.record("correction", of=len(made.said) - 1), 0),
        (lambda made: made.record("daily_test", passed=False), 0),
        (lambda made: kept(made, "water_path_treatment", contact_min=1, rinsed=False), 0),
        (lambda made: wait(made, 25 * MINUTE), 1),
    ],
    ids=["opened again", "taken back", "the day's test failed", "not rinsed", "never ended"],
)
def test_it_comes_back_where_the_treatment_breaks_off_or_takes_too_long(breaks: Any, after_ms: int) -> None:
    made = opened(SETTINGS)
    wait(made, 2 * MINUTE)
    made.record("acknowledge", alarm=OWED)
    step(made, "begins")
    assert rings(made)[0] == "suppressed_by_design"
    breaks(made)
    assert rings(made)[0] == ("suppressed_by_design" if after_ms else "unacknowledged")
    wait(made, after_ms)
    assert rings(made)[0] == "unacknowledged"


@pytest.mark.parametrize(
    "tests, counts",
    [
        ([(-60, True), (20, True)], True),  # tested again since
        ([(-60, True), (20, False)], True),  # it failed since
        ([(-60, False), (-50, True)], True),
        ([(-60, True), (-50, False)], False),
        ([(20, True)], False),
        ([(-24 * 60, True)], False),
    ],
)
def test_a_treatment_goes_by_the_test_that_stood_when_its_contact_ended(
    tests: list[tuple[int, bool]], counts: bool
) -> None:
    made = Bench(SETTINGS, MONDAY + 6 * HOUR)
    made.run(3, QUIET)
    made.record("filter_change", filters=["coarse"], at=rfc3339(made.wall_ms - 3 * HOUR))
    ended_ms = made.wall_ms - HOUR
    for minutes, passed in tests:
        made.record("daily_test", passed=passed, at=rfc3339(ended_ms + minutes * MINUTE))
    told = kept(made, "water_path_treatment", contact_min=12, at=rfc3339(ended_ms))
    assert told["counts"] is counts and (counts or "daily test had not passed" in told["why_not"])


def test_a_contact_over_midnight_goes_by_the_test_of_the_day_on_which_it_began() -> None:
    made = Bench(ENDED, MONDAY + 18 * HOUR)  # 23:50 UTC, as in Dublin in winter
    made.run(3, QUIET)
    made.record("filter_change", filters=["coarse"])
    made.record("daily_test", passed=True)
    step(made, "begins")
    wait(made, 15 * MINUTE)
    assert step(made, "ends")["counts"] and owed(made)[0] == "met"


def treated(settings: Settings = ENDED) -> Bench:
    """The same, and treated since."""
    made = opened(settings)
    wait(made, 12 * MINUTE)
    assert kept(made, "water_path_treatment", contact_min=11, **AFTER)["counts"] and owed(made)[0] == "met"
    return made


@pytest.mark.parametrize("state", [True, False])
def test_a_new_contact_brings_disinfectant_into_a_path_that_was_rinsed(state: bool) -> None:
    made = treated()
    step(made, "begins")
    assert owed(made) == ("unmet", "its contact is under way: 10 min left") and made.verdict() == "not_ready"
    made.start_again(boot="boot-2", state=state)
    assert owed(made)[0] == "unmet"
    wait(made, 10 * MINUTE)
    assert step(made, "ends", at=rfc3339(made.wall_ms - 9 * MINUTE))["counts"] is False and owed(made)[0] == "unmet"
    assert step(made, "ends")["counts"] and owed(made)[0] == "met"


def test_a_contact_that_never_began_leaves_the_treatment_before_it() -> None:
    made = treated()
    (entry, *_) = made.record("water_path_treatment", step="begins")
    made.record("correction", of=entry.seq)
    assert owed(made)[0] == "met"
    (ended, *_) = made.record("water_path_treatment", step="begins", at="2027-03-16T06:00:00Z")
    assert ended.body["counts"] is False and owed(made) == (
        "unmet", "disinfectant may be in the water path: early technician recorded a treatment that is not done",
    )  # fmt: skip
    made.record("correction", of=ended.seq)
    assert owed(made)[0] == "met"


@pytest.mark.parametrize("state", [True, False])
@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"step": "finished", "drained": True, "rinsed": False}, "not rinsed, as early technician recorded"),
        ({"step": "finished", "drained": False}, "not drained, as early technician recorded"),
        ({"contact_min": 11, "drained": False}, "not drained, as early technician recorded"),
        ({"contact_min": 11, "residue_free": False}, "not free of residue, as early technician recorded"),
    ],
)
def test_what_was_not_rinsed_is_not_what_was_rinsed_before(body: dict[str, Any], said: str, state: bool) -> None:
    made = treated()
    wait(made, 12 * MINUTE)
    assert kept(made, "water_path_treatment", **body)["counts"] is False
    assert owed(made) == ("unmet", said)
    made.start_again(boot="boot-2", state=state)
    assert owed(made) == ("unmet", said)
    kept(made, "water_path_treatment", contact_min=11, at=rfc3339(made.wall_ms - 20 * MINUTE), **AFTER)
    assert owed(made) == ("unmet", said)  # it was done before that
    wait(made, 12 * MINUTE)
    assert kept(made, "water_path_treatment", contact_min=11, **AFTER)["counts"] and owed(made)[0] == "met"


def test_a_contact_that_ended_and_was_not_rinsed_is_finished_by_rinsing() -> None:
    made = treated(ASKED)
    step(made, "begins")
    wait(made, 10 * MINUTE)
    step(made, "ends")
    assert step(made, "finished", drained=True, rinsed=False, residue_free=True)["counts"] is False
    assert owed(made) == ("unmet", "not rinsed, as early technician recorded")
    assert step(made, "finished", **AFTER)["counts"] and owed(made)[0] == "met"


@pytest.mark.parametrize("trusted", [True, False])
def test_disinfectant_of_no_date_is_in_the_path_all_the_same(trusted: bool) -> None:
    made = treated()
    made.start_again(boot="boot-2", wall_ms=20_000, trusted=False)
    step(made, "begins")
    assert owed(made)[0] == "unmet"
    made.start_again(boot="boot-3", wall_ms=MONDAY + HOUR, trusted=trusted)
    assert owed(made)[0] == "unmet"


def test_where_nothing_asks_for_treatments_a_path_that_was_not_rinsed_keeps_from_starting() -> None:
    made = Bench(replace(SETTINGS, treatment_contact_ms=None))
    made.run(3, QUIET)
    assert owed_of(made, "no_hold") == "met"
    kept(made, "water_path_treatment", contact_min=11, rinsed=False)
    assert owed_of(made, "no_hold") == "unmet"
    made.record("release")
    assert owed_of(made, "no_hold") == "met"


def owed_of(made: Bench, condition: str) -> str:
    return made.state_of(condition)[0]


def test_a_step_that_was_a_mistake_is_taken_back_by_a_further_entry() -> None:
    made = opened()
    step(made, "begins")
    wait(made, 10 * MINUTE)
    (entry, *_) = made.record("water_path_treatment", step="ends")
    made.record("correction", of=entry.seq)
    assert owed(made)[0] == "unmet" and step(made, "ends")["counts"]


def test_a_step_has_its_own_time() -> None:
    for key, value in {
        "contact_min": 12,
        "began_at": "2026-03-16T05:50:00Z",
        "ended_at": "2026-03-16T05:50:00Z",
    }.items():
        with pytest.raises(RecordRefused, match="its time is `at`"):
            refuse({"record": "water_path_treatment", "by": "kim", "step": "ends", key: value})
    for key in ("contact_s", "began_s", "done"):
        with pytest.raises(RecordRefused, match="the station itself says that"):
            refuse({"record": "water_path_treatment", "by": "kim", "step": "ends", key: 1})


@pytest.mark.parametrize("state", [True, False])
def test_where_the_station_file_leaves_out_what_follows_draining_and_rinsing_do(state: bool) -> None:
    """Common practice, no published source: after the contact the path is drained and rinsed."""
    made = opened(SETTINGS)
    step(made, "begins")
    wait(made, 10 * MINUTE)
    assert step(made, "ends")["done"] is False
    assert owed(made) == ("unmet", "its contact is over; not recorded yet: drained and rinsed")
    assert step(made, "finished", drained=True)["why_not"].endswith("what has to follow the contact here: rinsed")
    made.start_again(state=state)
    assert step(made, "finished", drained=True, rinsed=True)["counts"] and owed(made)[0] == "met"
    step(made, "begins")
    wait(made, 10 * MINUTE)
    assert step(made, "ends", drained=True, rinsed=True)["done"] is True and owed(made)[0] == "met"
    wait(made, 12 * MINUTE)
    told = kept(made, "water_path_treatment", contact_min=11)  # a whole one: drained and rinsed, by its form
    assert told["counts"] and owed(made)[0] == "met"


@pytest.mark.parametrize("settings", [SETTINGS, ENDED])
@pytest.mark.parametrize("state", [True, False])
def test_what_somebody_said_was_not_rinsed_has_to_be_said_to_be(settings: Settings, state: bool) -> None:
    made = opened(settings)
    step(made, "begins")
    wait(made, 10 * MINUTE)
    told = step(made, "ends", drained=True, rinsed=False)
    assert told["counts"] and told["done"] is False, "its contact is over all the same"
    assert owed(made) == ("unmet", "not rinsed, as early technician recorded")
    made.start_again(state=state)
    asked = made.station.verdict(made.now)["waits_for"]
    assert "Go on by the label, then record what was done: rinsed (water_path_treatment step=finished)" in asked
    for body in ({"step": "finished"}, {"contact_min": 10}):
        told = kept(made, "water_path_treatment", **body)
        assert told["counts"] is False and told["why_not"].endswith("what has to follow the contact here: rinsed")
    step(made, "begins")  # a new contact doesn't rinse either
    wait(made, 10 * MINUTE)
    assert step(made, "ends", drained=True)["done"] is False and owed(made)[0] == "unmet"
    assert step(made, "finished", drained=True, rinsed=True)["counts"] and owed(made)[0] == "met"


def test_who_took_back_that_it_was_not_rinsed_has_not_said_so() -> None:
    made = treated()
    (entry, *_) = made.record("water_path_treatment", contact_min=11, rinsed=False)
    assert owed(made)[0] == "unmet"
    made.record("correction", of=entry.seq)
    wait(made, 12 * MINUTE)
    assert kept(made, "water_path_treatment", contact_min=11)["counts"] and owed(made)[0] == "met"


def test_drops_are_taken_anew_after_a_change() -> None:
    """What was drawn through the old filter says nothing of the new one."""
    made = Bench(SETTINGS)
    made.run(130, QUIET)
    made.run(60, DRAWING)
    made.run(60, QUIET, every_s=5)
    made.duties_done()
    assert "no steady draw" not in made.state_of("filter:coarse")[1]
    made.change_filters()
    assert "no steady draw of late to judge its drop by" in made.state_of("filter:coarse")[1]


@pytest.mark.parametrize("counted", [False, True])
@pytest.mark.parametrize("key", AFTER)
@pytest.mark.parametrize("state", [False, True])
def test_what_an_older_version_kept_of_a_path_that_was_not_rinsed_binds_after_an_upgrade(
    key: str, counted: bool, state: bool
) -> None:
    made = treated()
    wait(made, MINUTE)
    step(made, "begins")
    place, entry = max((n, e) for n, e in enumerate(made.said) if e.kind == "record")
    old = {k: v for k, v in entry.body.items() if k not in ("step", "done")}
    made.said[place] = entry._replace(body={**old, "contact_min": 12, key: False, "counts": counted})
    made.start_again(boot="boot-2", state=False)
    if state:
        made.start_again(boot="boot-3", state=True)
    assert owed(made)[0] == "unmet" and "as early technician recorded" in owed(made)[1]
    wait(made, 13 * MINUTE)
    assert kept(made, "water_path_treatment", contact_min=11, **AFTER)["counts"] and owed(made)[0] == "met"
