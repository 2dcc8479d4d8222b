"""Records that contradict each other, themselves, or what they are about: what holds then, and how it is said.

The forms and rules are this project's own; what a label's date, a fill, a hold and declared work are is common practice of the trade, no
published source. Dates are written as ISO 8601 has them.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.records.border import refuse
from edge.domain.records.forms import last_day
from edge.domain.station.station import Station
from edge.store.fold_check import invented
from tests.unit.stations import HOUR, Driver, kept, ready

MINUTE = 60_000
DAY = 24 * HOUR


def seq_of(driver: Driver) -> int:
    return int(next(e.seq for e in reversed(driver.said) if e.kind == "record"))


def state(driver: Driver, condition: str) -> str:
    return str(driver.condition(condition)["state"])


def folded(driver: Driver) -> Station:
    after = Station(driver.station.settings, "boot-2")
    for entry in driver.said:
        after.fold(entry)
    return after


# -- a correction that was a mistake itself


@pytest.mark.parametrize(
    "record, body, condition",
    [
        ("hold", {"why": "culture"}, "no_hold"),
        ("work_begins", {}, "free"),
        ("filter_change", {"filters": ["fine"]}, "water_path_treatment"),
        ("daily_test", {"passed": False}, "daily_test"),
        ("outlet_test", {"of": "heater", "passed": False}, "outlet:heater"),
    ],
)
def test_what_a_correction_took_back_holds_again_once_the_correction_is_corrected(
    record: str, body: dict[str, Any], condition: str
) -> None:
    driver = ready()
    kept(driver, record, **body)
    assert kept(driver, "correction", of=seq_of(driver))["counts"] and state(driver, condition) == "met"
    first = seq_of(driver)
    assert kept(driver, "correction", of=first)["counts"] and state(driver, condition) == "unmet"
    assert kept(driver, "correction", of=seq_of(driver))["counts"] and state(driver, condition) == "met"
    assert not kept(driver, "correction", of=first + 40)["counts"]


def test_a_correction_of_a_correction_is_the_same_after_a_restart() -> None:
    driver = ready()
    kept(driver, "hold", why="culture")
    kept(driver, "correction", of=seq_of(driver))
    kept(driver, "correction", of=seq_of(driver))
    hold = folded(driver).book.hold_of()
    assert hold is not None and hold.body["why"] == "culture"


# -- what ends a hold or work


def test_a_release_dated_before_the_hold_does_not_end_it() -> None:
    driver = ready()
    kept(driver, "hold", why="culture")
    driver.run(60)
    late = kept(driver, "release", at=rfc3339(driver.wall_ms - 5 * HOUR))
    assert not late["counts"] and "dated before the hold of" in late["why_not"]
    assert state(driver, "no_hold") == "unmet"
    assert kept(driver, "release", at=rfc3339(driver.wall_ms - 30_000))["counts"] and state(driver, "no_hold") == "met"


def test_a_tablet_a_few_minutes_behind_may_release_what_was_just_placed() -> None:
    driver = ready()
    kept(driver, "hold", why="culture")
    assert kept(driver, "release", at=rfc3339(driver.wall_ms - 4 * MINUTE))["counts"]


@pytest.mark.parametrize("record, ended_by", [("hold", "release"), ("work_begins", "work_ends")])
def test_what_is_ended_now_is_ended_though_the_clock_shows_1970(record: str, ended_by: str) -> None:
    driver = ready()
    kept(driver, record)
    driver.trusted, driver.wall_ms, driver.boot = False, wall_ms_of("1970-01-01T00:00:20Z"), "boot-2"
    driver.station = folded(driver)
    assert kept(driver, ended_by)["counts"]
    assert driver.station.book.hold_of() is driver.station.book.work_of() is None


@pytest.mark.parametrize(
    "by, counts",
    [
        ("Tom", False),
        ("infection", False),
        ("Infection  Control", True),
        ("kim (infection control)", True),
        ("control of infection, ward 3", True),
    ],
)
def test_a_hold_that_names_who_may_release_it_is_released_by_them(by: str, counts: bool) -> None:
    driver = ready()
    kept(driver, "hold", why="culture", released_by="infection control")
    body = kept(driver, "release", by=by)
    assert body["counts"] is counts and (state(driver, "no_hold") == "met") is counts
    assert counts or "is to be released by 'infection control'" in body["why_not"]


def test_a_release_of_everything_does_not_end_a_hold_that_somebody_else_has_to_release() -> None:
    driver = ready()
    kept(driver, "hold", name="pump", why="noise")
    kept(driver, "hold", name="culture", why="culture", released_by="infection control")
    assert not kept(driver, "release")["counts"] and state(driver, "no_hold") == "unmet"
    assert kept(driver, "release", name="pump")["counts"]
    assert "culture" in driver.condition("no_hold")["text"]


def test_work_ends_for_who_ended_it_and_goes_on_for_the_others() -> None:
    driver = ready()
    kept(driver, "work_begins", by="Kim")
    kept(driver, "work_begins", by="Tom")
    assert kept(driver, "work_ends", by="kim ")["counts"]
    assert state(driver, "free") == "unmet" and "Tom" in driver.condition("free")["text"]
    assert folded(driver).book.work_of() is not None
    assert kept(driver, "work_ends", by="Kim")["counts"], "the only work that is left may be ended by a colleague"
    assert state(driver, "free") == "met"


def test_who_ends_work_of_several_others_is_asked_whose() -> None:
    driver = ready()
    kept(driver, "work_begins", by="Kim")
    kept(driver, "work_begins", by="Tom")
    body = kept(driver, "work_ends", by="Ana")
    assert not body["counts"] and "work of Kim and of Tom was declared" in body["why_not"]
    assert state(driver, "free") == "unmet"


def test_an_end_of_work_dated_before_its_beginning_does_not_end_it() -> None:
    driver = ready()
    kept(driver, "work_begins")
    body = kept(driver, "work_ends", at=rfc3339(driver.wall_ms - DAY))
    assert not body["counts"] and "dated before the work of" in body["why_not"] and state(driver, "free") == "unmet"


# -- what a person wrote in words


@pytest.mark.parametrize(
    "what", ["Repair", "repair of the fine housing", "repairs", "reapir", "Filter change", "filters changed"]
)
def test_what_opens_the_clean_side_does_so_in_other_words(what: str) -> None:
    driver = ready()
    kept(driver, "service", what=what)
    assert state(driver, "water_path_treatment") == "unmet"


@pytest.mark.parametrize(
    "body", [{"what": "cleaned"}, {"what": "looked at"}, {"what": "no repair needed", "opened_clean_side": False}]
)
def test_what_does_not_open_the_clean_side_owes_nothing(body: dict[str, Any]) -> None:
    driver = ready()
    kept(driver, "service", **body)
    assert state(driver, "water_path_treatment") == "met"


def test_the_word_itself_outweighs_that_it_is_denied() -> None:
    driver = ready()
    kept(driver, "service", what="repair", opened_clean_side=False)
    assert state(driver, "water_path_treatment") == "unmet"


def test_a_filter_that_was_looked_at_and_failed_is_not_met_until_it_is_changed() -> None:
    driver = ready()
    assert kept(driver, "service", filter="coarse", passed=False)["counts"]
    assert state(driver, "filter:coarse") == "unmet" and state(driver, "filter:fine") == "met"
    assert folded(driver).book.failed("coarse") is not None
    driver.run(60)
    kept(driver, "filter_change", filters=["coarse"])
    assert "failed" not in driver.condition("filter:coarse")["text"]


@pytest.mark.parametrize("name", ["Fine", "fien", "final"])
def test_a_filter_that_failed_by_a_name_that_nothing_has_is_no_ready(name: str) -> None:
    driver = ready()
    body = kept(driver, "service", filter=name, passed=False)
    assert not body["counts"] and "no such filter" in body["why_not"] and state(driver, "no_hold") == "unmet"
    assert kept(driver, "release")["counts"] and state(driver, "no_hold") == "met"


def test_a_filter_changed_while_the_station_file_has_none_owes_a_treatment_once_it_asks_for_one() -> None:
    driver = ready()
    settings = driver.station.settings
    driver.station = Station(replace(settings, filters=()), driver.boot, driver.station.state())
    kept(driver, "filter_change", filters=["fine"])
    assert state(driver, "water_path_treatment") == "unmet"
    driver.station = Station(settings, driver.boot, driver.station.state())
    assert state(driver, "water_path_treatment") == "unmet"


def test_a_snapshot_with_a_record_that_binds_though_it_does_not_count_is_no_forgery() -> None:
    driver = ready()
    body = kept(driver, "filter_change", filters=["fien"])
    assert body["stands"] and not body["counts"]
    entries = {entry.seq: entry for entry in driver.said}
    assert invented(driver.station.state(), entries.get) == ""


def test_a_service_that_failed_and_that_nothing_looks_at_says_so() -> None:
    body = kept(ready(), "service", what="inspection", passed=False)
    assert not body["counts"] and "record a hold if the station may not start" in body["why_not"]


# -- two words for one thing


@pytest.mark.parametrize(
    "body, key",
    [
        ({"record": "filter_change", "filters": ["coarse"], "filter": "fine"}, "filter"),
        ({"record": "outlet_test", "outlet": "heater", "of": "machine", "passed": False}, "of"),
    ],
)
def test_two_words_for_one_thing_that_differ_are_refused(body: dict[str, Any], key: str) -> None:
    with pytest.raises(RecordRefused, match="not both: they mean the same") as caught:
        refuse({"by": "kim", **body})
    assert caught.value.where.endswith(f", {key}")


def test_two_words_that_agree_pass() -> None:
    refuse({"record": "filter_change", "by": "kim", "filters": ["coarse"], "filter": "coarse"})
    refuse({"record": "outlet_test", "by": "kim", "outlet": "heater", "of": "heater", "passed": True})


def test_a_failure_that_names_two_outlets_holds_for_both() -> None:
    driver = ready()
    body = kept(driver, "outlet_test", outlet="machine", of="heater", passed=False)
    assert not body["counts"] and body["stands"] and state(driver, "outlet:heater") == "unmet"


@pytest.mark.parametrize("trip_ma, passes", [(5, True), (30, True), (30.5, False), (300, False)])
def test_an_outlet_that_tripped_at_more_than_protects_people_did_not_pass(trip_ma: float, passes: bool) -> None:
    """30 mA: additional protection by IEC 60364-4-41, 415.1 (from memory)."""
    driver = ready()
    kept(driver, "outlet_test", of="heater", passed=True, trip_ma=trip_ma)
    assert state(driver, "outlet:heater") == ("met" if passes else "unmet")
    assert passes or f"it tripped at {trip_ma:g} mA" in driver.condition("outlet:heater")["text"]
    kept(driver, "correction", of=seq_of(driver), by="somebody else")
    assert state(driver, "outlet:heater") == ("met" if passes else "unmet")


@pytest.mark.parametrize("key", ["reference_u", "reference_resolution", "drift_allowance"])
def test_a_bare_number_where_a_quantity_belongs_is_refused(key: str) -> None:
    body = {
        "record": "calibration",
        "by": "kim",
        "point": "supply",
        "points": [{"reference": "44 psi"}],
        "reference_u": "0.2 psi",
    }
    refuse(body)
    with pytest.raises(RecordRefused, match="has no unit"):
        refuse(body | {key: 0.05})


# -- the label's date, and how much a fill is


def test_a_fill_of_what_was_good_until_a_date_that_has_passed_is_not_met() -> None:
    driver = ready()
    kept(driver, "disinfectant_fill", expires="2026-02")
    assert state(driver, "disinfectant") == "unmet"
    assert driver.condition("disinfectant")["text"] == "expired: it was good until 2026-02 by its label"


def test_the_label_ends_a_reuse_life_in_the_middle_of_it() -> None:
    driver = ready()
    kept(driver, "disinfectant_fill", expires="2026-03-17")
    assert state(driver, "disinfectant") == "met" and "by its label" in driver.condition("disinfectant")["text"]
    driver.pass_to(driver.mono_ms + wall_ms_of("2026-03-17T23:59:00Z") - driver.wall_ms)
    assert state(driver, "disinfectant") == "met"
    driver.pass_to(driver.mono_ms + 3 * MINUTE)
    assert state(driver, "disinfectant") == "unmet"
    changes = [e.body for e in driver.said if e.kind == "alarm" and e.body["id"] == "duty_due:disinfectant_change"]
    assert changes and changes[-1]["to"] == "unacknowledged", "told at midnight, not an hour later"


@pytest.mark.parametrize(
    "text", ["31/03/2026", "03-04-2026", "2026-13", "2026-02-30", "March 2026", "26-03-31", 2026, "1926-03"]
)
def test_a_date_that_could_be_read_in_two_ways_is_refused(text: object) -> None:
    assert last_day(text) is None
    with pytest.raises(RecordRefused, match="2027-03-31"):
        refuse({"record": "disinfectant_fill", "by": "kim", "expires": text})


def test_a_check_by_strips_past_their_date_passes_nothing_and_may_fail() -> None:
    driver = ready()
    kept(driver, "concentration_check", passed=False)
    body = kept(driver, "concentration_check", passed=True, expires="2026-03-15")
    assert not body["counts"] and "the strips were good until 2026-03-15" in body["why_not"]
    assert state(driver, "disinfectant") == "unmet"
    assert kept(driver, "concentration_check", passed=True, expires="2026-03-16")["counts"]
    assert state(driver, "disinfectant") == "met"
    assert kept(driver, "concentration_check", passed=False, expires="2026-03-15")["counts"]
    assert state(driver, "disinfectant") == "unmet"


@pytest.mark.parametrize(
    "litres, says", [(1.1, "is no fill of a reservoir of 11 L"), (110, "don't go into a reservoir of 11 L")]
)
def test_what_is_no_fill_begins_no_reuse_life(litres: float, says: str) -> None:
    driver = ready()
    before = driver.station.book.last("disinfectant_fill")
    body = kept(driver, "disinfectant_fill", litres=litres)
    assert not body["counts"] and says in body["why_not"]
    assert driver.station.book.last("disinfectant_fill") == before
    assert kept(driver, "disinfectant_fill", litres=10.5)["counts"]


# -- what failed is measured again


@pytest.mark.parametrize("passing", [{"passed": True}, {"channel_ports": [{"port": 5, "seconds": 11.8}]}])
def test_a_test_that_leaves_out_the_port_that_failed_does_not_pass(passing: dict[str, Any]) -> None:
    driver = ready()
    kept(driver, "daily_test", channel_ports=[{"port": 3, "seconds": 16.2}, {"port": 5, "seconds": 12.0}])
    driver.run(60)
    body = kept(driver, "daily_test", **passing)
    assert not body["counts"] and body["why_not"].startswith("port 3 failed in the last test: measure again")
    assert state(driver, "daily_test") == "unmet"
    driver.pass_to(driver.mono_ms + DAY)
    assert not kept(driver, "daily_test", **passing)["counts"], "nor does one of the next day"
    assert kept(driver, "daily_test", channel_ports=[{"port": 3, "seconds": 11.8}])["counts"]
    assert state(driver, "daily_test") == "met"
    assert kept(driver, "daily_test", **passing)["counts"]


@pytest.mark.parametrize("port", [0, 33])
def test_a_port_that_failed_and_is_not_there_need_not_be_measured_again(port: int) -> None:
    driver = ready()
    kept(driver, "daily_test", channel_ports=[{"port": port, "seconds": 16.2}])
    assert state(driver, "daily_test") == "unmet"
    driver.run(60)
    assert kept(driver, "daily_test", passed=True)["counts"] and state(driver, "daily_test") == "met"


def test_a_failure_that_names_no_port_is_followed_by_any_pass() -> None:
    driver = ready()
    kept(driver, "daily_test", passed=False)
    assert kept(driver, "daily_test", passed=True)["counts"] and state(driver, "daily_test") == "met"


# -- what is forgotten of many records


@pytest.mark.parametrize(
    "records, condition",
    [
        ([("service", {"what": "repair"}), ("service", {"what": "cleaned"})], "water_path_treatment"),
        ([("equipment_change", {"what": "loaner"}), ("equipment_change", {"what": "sensor_fitted"})], "daily_test"),
    ],
)
def test_what_takes_ready_away_is_not_forgotten_under_many_records(
    records: list[tuple[str, dict[str, Any]]], condition: str
) -> None:
    driver = ready()
    for record, body in records:
        kept(driver, record, **body)
    for _ in range(driver.station.book.MOST + 10):
        kept(driver, "note", text="looked in")
    assert state(driver, condition) == "unmet"
