"""What people type: a form for every record, what doesn't fit it, and what holds whatever its form.

The forms are this project's own. 1 psi is 6.894757 kPa as in SP 811 of NIST, table B.8 (from memory). The figures of the trade (100 mL in
less than 15 s, ten minutes of contact, 40 psi) are example values of common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from edge.cli.app import app
from edge.domain.entries import rfc3339
from edge.domain.errors import RecordRefused
from edge.domain.messages import has, of_json
from edge.domain.readings import Role
from edge.domain.records.book import checked
from edge.domain.records.border import refuse
from edge.domain.records.daily_tests import test_result as result_of
from edge.domain.records.forms import FORMS
from edge.domain.roles import ROLES
from edge.domain.settings import DailyTest
from edge.domain.station.station import Station
from tests.unit.stations import HOUR, POINTS, QUIET, SETTINGS, Driver, english, kept, ready

MINUTE = 60_000
#: a body of each record that fits its form
FITS: dict[str, dict[str, Any]] = {
    "daily_test": {"passed": True},
    "water_path_treatment": {"contact_min": 12},
    "filter_change": {"filters": ["coarse"]},
    "disinfectant_fill": {},
    "disinfectant_top_up": {"litres": 1.2},
    "concentration_check": {"passed": True, "value": "0.35 %"},
    "calibration": {"point": "reservoir", "points": [{"reference": "39 degC"}], "reference_u": "0.05 K"},
    "entered_reading": {"role": "supply_pressure", "value": "44 psi"},
    "outlet_test": {"of": "heater", "passed": True},
    "acknowledge": {"alarm": "reservoir_cold"},
    "shelve": {"alarm": "reservoir_cold", "minutes": 5},
    "unshelve": {"alarm": "reservoir_cold"},
    "reset": {"alarm": "reservoir_cold"},
    "out_of_service": {"alarm": "reservoir_cold", "why": "its gauge is being replaced"},
    "in_service": {"alarm": "reservoir_cold"},
    "correction": {"of": 3},
    "service": {"what": "seals were changed"},
    "note": {"text": "all quiet"},
    "clock_confirmed": {"time": "2026-03-16T05:50:00Z"},
    "commissioning": {"item": "standpipe", "passed": True},
}


def folded(driver: Driver) -> Station:
    after = Station(driver.station.settings, "boot-2")
    for entry in driver.said:
        after.fold(entry)
    return after


# -- the forms


def test_every_record_of_the_contract_has_a_form() -> None:
    words = (
        "daily_test water_path_treatment filter_change disinfectant_fill disinfectant_top_up concentration_check calibration "
        "entered_reading outlet_test hold release equipment_change service work_begins work_ends acknowledge shelve unshelve "
        "out_of_service in_service reset correction note clock_confirmed commissioning"
    )
    assert set(FORMS) == set(words.split())


def test_a_record_of_no_known_kind_is_refused_at_the_border_and_by_the_station_in_the_same_words() -> None:
    body, driver = {"record": "daily_tset", "by": "kim"}, Driver()
    sentences = []
    for border in (
        refuse,
        lambda sent: checked(sent, driver.now),
        lambda sent: driver.station.record(sent, driver.now),
    ):
        with pytest.raises(RecordRefused) as refused:
            border(body)
        sentences.append(str(refused.value))
    assert sentences == 3 * [sentences[0]] and "nearest: daily_test" in sentences[0]


@pytest.mark.parametrize("record", FORMS)
def test_a_body_that_fits_passes_and_a_key_too_much_is_refused(record: str) -> None:
    body = {"record": record, "by": "kim", **FITS.get(record, {})}
    refuse(body)
    with pytest.raises(RecordRefused) as refused:
        refuse(body | {"colour": "blue"})
    assert refused.value.where == f"record '{record}', colour" and "no such key" in refused.value.what


@pytest.mark.parametrize("record", FORMS)
def test_a_key_too_much_is_kept_by_the_station_and_does_not_count(record: str) -> None:
    driver = Driver()
    driver.run(3, QUIET)
    body = kept(driver, record, **FITS.get(record, {}), colour="blue")
    assert body["counts"] is False and "colour" in body["why_not"] and body["colour"] == "blue"


@pytest.mark.parametrize(
    ("body", "where", "said"),
    [
        ({"record": "hold", "reason": "rinse culture positive"}, "reason", "nearest: 'why'"),
        ({"record": "release", "nmae": "A"}, "nmae", "nearest: 'name'"),
        ({"record": "daily_test", "passed": True, "ports": [{"port": 1, "seconds": 99}]}, "ports", "channel_ports"),
        ({"record": "daily_test"}, "passed", "is missing"),
        ({"record": "daily_test", "passed": "true"}, "passed", "true or false"),
        (
            {"record": "daily_test", "channel_ports": [{"port": 1, "secs": 9}]},
            "channel_ports.secs",
            "nearest: 'seconds'",
        ),
        ({"record": "daily_test", "channel_ports": {"port": 1}}, "channel_ports", "a list such as"),
        ({"record": "filter_change"}, "filters", "is missing"),
        ({"record": "filter_change", "filters": "coarse,fine"}, "filters", '["coarse","fine"]'),
        ({"record": "filter_change", "filters": []}, "filters", "a list of ids"),
        ({"record": "filter_change", "filters": ["coarse", 2]}, "filters", "a list of ids"),
        ({"record": "water_path_treatment"}, "contact_min", "is missing"),
        ({"record": "water_path_treatment", "contact_min": "12"}, "contact_min", "a number"),
        ({"record": "water_path_treatment", "contact_min": -12}, "contact_min", "0 to 1440"),
        ({"record": "water_path_treatment", "began_at": "yesterday"}, "began_at", "a time with Z"),
        ({"record": "entered_reading", "value": "44 psi"}, "point", "is missing"),
        ({"record": "entered_reading", "role": "supply_flow"}, "value", "is missing"),
        ({"record": "entered_reading", "role": "supply_flow", "value": 9.1}, "value", "no unit"),
        ({"record": "entered_reading", "role": "supply_flow", "value": "9.1"}, "value", "no unit"),
        ({"record": "concentration_check"}, "passed", "is missing"),
        ({"record": "concentration_check", "passed": True, "value": 0.3}, "value", "no unit"),
        ({"record": "outlet_test", "passed": True}, "outlet", "is missing"),
        ({"record": "disinfectant_top_up", "litres": True}, "litres", "a number"),
        ({"record": "shelve", "alarm": "leak", "minutes": 2000}, "minutes", "1 to 1440"),
        ({"record": "correction", "of": "3"}, "of", "a whole number"),
        ({"record": "note", "text": None}, "text", "it is null"),
        ({"record": "note", "counts": True}, "counts", "the station itself"),
        ({"record": "calibration", **FITS["calibration"], "gain": 2}, "gain", "the station itself"),
        ({"record": "hold", "why": "x" * 201}, "why", "200 characters"),
        ({"record": "holt"}, "holt", "nearest: hold"),
    ],
    ids=str,
)
def test_what_does_not_fit_is_one_sentence_that_says_what_would(body: dict[str, Any], where: str, said: str) -> None:
    with pytest.raises(RecordRefused) as refused:
        refuse({"by": "kim"} | body)
    sentence = str(refused.value)
    assert where in refused.value.where and said in sentence and sentence.count("; expected ") == 1
    assert len(sentence) < 400


@pytest.mark.parametrize("record", FORMS)
def test_help_tells_every_key_of_the_form(record: str) -> None:
    told = CliRunner().invoke(app, ["record", record, "--help"])
    assert told.exit_code == 0 and f"\nFor example:\n  warmwell record {record} " in told.output
    assert all(f"\n  {key} " in told.output for key in FORMS[record].keys)


def test_the_command_line_refuses_before_anything_is_sent() -> None:
    told = CliRunner().invoke(app, ["record", "release", "--by", "kim", "nmae=A", "--url", "http://127.0.0.1:9"])
    assert told.exit_code == 2 and "nobody answers" not in told.output


# -- what holds whatever its form


@pytest.mark.parametrize(
    ("record", "more", "condition"),
    [
        ("hold", {"reason": "rinse culture positive"}, "no_hold"),
        ("work_begins", {"until": "noon"}, "free"),
        ("filter_change", {}, "water_path_treatment"),
        ("filter_change", {"filters": "coarse,fine"}, "water_path_treatment"),
        ("filter_change", {"filters": ["corse"]}, "water_path_treatment"),
        ("service", {"what": "repair", "done": True}, "water_path_treatment"),
        ("equipment_change", {"waht": "loaner"}, "daily_test"),
        ("daily_test", {"passed": False, "why": "port 3"}, "daily_test"),
        ("concentration_check", {"passed": False, "percent": 0.1}, "disinfectant"),
        ("outlet_test", {"of": "heater", "passed": False, "who": "kim"}, "outlet:heater"),
        ("hold", {"why": "recall", "at": "2027-03-16T05:50:00Z"}, "no_hold"),
    ],
    ids=str,
)
def test_what_takes_ready_away_holds_though_its_form_is_wrong(
    record: str, more: dict[str, Any], condition: str
) -> None:
    driver = ready()
    body = kept(driver, record, **more)
    assert body["counts"] is False and body["stands"] is True and "all the same" in body["why_not"]
    assert english(of_json(body["why_not_msg"])) == body["why_not"]
    for station in (driver.station, folded(driver)):
        found = {c["id"]: c["state"] for c in station.verdict(driver.now)["conditions"]}
        assert found[condition] == "unmet"


def test_a_hold_from_the_future_is_ended_by_a_release() -> None:
    driver = ready()
    driver.record("hold", why="recall", at="2027-03-16T05:50:00Z")
    driver.run(1, QUIET)
    assert kept(driver, "release")["counts"] and driver.condition("no_hold")["state"] == "met"


@pytest.mark.parametrize(
    ("record", "more"),
    [
        ("daily_test", {"passed": True, "ports": []}),
        ("water_path_treatment", {"contact_min": 12, "contact": "by the label"}),
        ("disinfectant_fill", {"what": "all"}),
        ("release", {"nmae": "A"}),
        ("work_ends", {"done": True}),
    ],
)
def test_what_gives_ready_does_not_hold_when_its_form_is_wrong(record: str, more: dict[str, Any]) -> None:
    driver = Driver()
    driver.record("hold", name="A")
    driver.record("work_begins")
    body = kept(driver, record, **more)
    assert body["counts"] is False and "stands" not in body
    assert driver.condition("no_hold")["state"] == driver.condition("free")["state"] == "unmet"
    assert driver.condition("daily_test")["state"] == "unmet" and driver.condition("disinfectant")["state"] == "unknown"


def test_a_change_that_names_nothing_gives_no_filter_a_new_life() -> None:
    driver = Driver()
    driver.run(3, QUIET)
    driver.record("filter_change")
    assert driver.condition("filter:coarse")["text"].endswith("no change of it on record")
    driver.record("filter_change", filter="coarse")
    assert "no change" not in driver.condition("filter:coarse")["text"]
    assert driver.condition("filter:fine")["text"].endswith("no change of it on record")


def test_a_release_of_another_name_releases_nothing() -> None:
    driver = ready()
    driver.record("hold", name="culture")
    body = kept(driver, "release", name="cultur")
    assert body["counts"] is False and "culture" in body["why_not"]
    assert english(of_json(body["why_not_msg"])) == body["why_not"] and has(
        of_json(body["why_not_msg"]), "record.there_are"
    )
    assert driver.condition("no_hold")["state"] == "unmet"


@pytest.mark.parametrize(
    ("record", "more"),
    [("hold", {}), ("daily_test", {"passed": False}), ("filter_change", {"filters": ["coarse"]}), ("work_begins", {})],
)
def test_only_who_recorded_it_takes_back_what_keeps_the_station_from_starting(
    record: str, more: dict[str, Any]
) -> None:
    driver = ready()
    (entry, *_) = driver.record(record, **more)
    assert kept(driver, "correction", of=entry.seq, by="somebody else")["counts"] is False
    assert driver.verdict() == "not_ready"
    assert kept(driver, "correction", of=entry.seq, by="Early  Technician")["counts"] is True
    assert driver.verdict() == "ready"


# -- the treatment


def opened() -> Driver:
    driver = ready()
    driver.record("filter_change", filters=["coarse", "fine"])
    return driver


@pytest.mark.parametrize("after_s, counts", [(4, False), (599, False), (719, False), (720, True), (2000, True)])
def test_a_contact_of_12_min_begins_after_the_change(after_s: int, counts: bool) -> None:
    driver = opened()
    driver.pass_to(driver.mono_ms + after_s * 1000)
    body = kept(driver, "water_path_treatment", contact_min=12)
    assert body["counts"] is counts
    assert driver.condition("water_path_treatment")["state"] == ("met" if counts else "unmet")
    assert counts or "before the clean side was opened (filter change" in body["why_not"]


@pytest.mark.parametrize(
    ("began_min", "ended_min", "more", "why"),
    [
        (1, 12, {}, ""),
        (1, None, {}, ""),
        (-1, 12, {}, "before the clean side was opened"),
        (1, 10, {}, "9 min of contact; 10 min are needed"),
        (12, 1, {}, "ends before it begins"),
        (1, 21, {}, "after the record's own time"),
        (1, 12, {"contact_min": 12}, "don't fit between"),
        (1, 12, {"contact_min": 9}, "9 min of contact"),
        (1, 12, {"rinsed": False}, "not drained and rinsed"),
    ],
)
def test_a_treatment_with_its_beginning_and_end(
    began_min: int, ended_min: int | None, more: dict[str, Any], why: str
) -> None:
    driver = opened()
    start = driver.wall_ms
    driver.pass_to(driver.mono_ms + 20 * MINUTE)
    body = {"began_at": rfc3339(start + began_min * MINUTE), **more}
    if ended_min is not None:
        body["ended_at"] = rfc3339(start + ended_min * MINUTE)
    told = kept(driver, "water_path_treatment", **body)
    assert told["counts"] is (not why) and why in told.get("why_not", "")
    assert driver.condition("water_path_treatment")["state"] == ("unmet" if why else "met")


def test_a_treatment_that_was_under_way_when_a_change_is_told_late_is_owed_again() -> None:
    driver = ready()
    start = driver.wall_ms
    driver.pass_to(driver.mono_ms + 20 * MINUTE)
    driver.record("water_path_treatment", contact_min=12)
    assert driver.condition("water_path_treatment")["state"] == "met"
    driver.record("filter_change", filters=["coarse"], at=rfc3339(start + 15 * MINUTE))
    assert driver.condition("water_path_treatment")["state"] == "unmet"


# -- the daily test


def ports(*pairs: tuple[Any, Any], **more: Any) -> dict[str, Any]:
    return {"channel_ports": [{"port": port, "seconds": s} for port, s in pairs], **more}


ALL = [(n, 11.0) for n in range(1, 7)]


@pytest.mark.parametrize(
    ("measure", "body", "passed", "why"),
    [
        ("weak ports", ports((3, 14.9)), True, "passed"),
        ("weak ports", ports((3, 15.0)), False, "less than 15 s"),
        ("weak ports", ports((3, 99), passed=True), False, "port 3 gave 100 mL in 99 s"),
        ("weak ports", ports((3, 11), passed=False), False, "recorded as failed"),
        ("weak ports", ports((11, 11)), None, "no channel port 11: they are 1 to 6"),
        ("weak ports", ports((0, 11)), None, "no channel port 0"),
        ("weak ports", ports((3, 11), (3, 12)), None, "port 3 is there twice"),
        ("weak ports", ports(("3", 11)), None, "without its number"),
        ("weak ports", ports((3, 0)), None, "without seconds"),
        ("weak ports", ports((3, True)), None, "without seconds"),
        ("weak ports", ports((3, 0.01)), None, "can't be"),
        ("weak ports", ports((3, 5000)), False, "5000 s"),
        ("weak ports", ports((11, 99)), False, "port 11 gave"),
        ("weak ports", {"channel_ports": [{"port": 1, "seconds": 11, "ml": 99}]}, False, "99 mL"),
        ("weak ports", {"channel_ports": [{"port": 1, "seconds": 11, "ml": 1e7}]}, None, "can't be"),
        ("weak ports", {"channel_ports": [], "passed": True}, None, "no list"),
        ("weak ports", {"passed": True}, True, "passed"),
        ("every port", {"passed": True}, None, "what every port gives is needed"),
        ("every port", {"passed": False}, False, "failed"),
        ("every port", ports(*ALL), True, "passed"),
        ("every port", ports(*ALL[:5]), None, "5 of 6"),
        ("every port", ports(*ALL[:5], ALL[0]), None, "twice"),
    ],
)
def test_what_was_measured_decides(measure: str, body: dict[str, Any], passed: bool | None, why: str) -> None:
    settings = replace(SETTINGS, daily_test=DailyTest(100.0, 15.0, measure))
    found = result_of(settings, body)
    assert found[0] is passed and why in english(found[1])
    driver = Driver(settings)
    told = kept(driver, "daily_test", **body)
    assert told["counts"] is (passed is not None)
    assert driver.condition("daily_test")["state"] == ("met" if passed else "unmet")


# -- read by eye

WITHOUT = tuple(p for p in POINTS if p.id not in ("reservoir", "supply", "between", "filtered", "flow"))
BY_EYE = replace(
    SETTINGS, points=WITHOUT, filters=(),
    not_fitted={Role.RESERVOIR_TEMPERATURE: HOUR, Role.SUPPLY_FLOW: 24 * HOUR, Role.LEAK: HOUR},
)  # fmt: skip


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ({"role": "supply_flow", "value": 9.1}, "without a unit"),
        ({"role": "supply_flow", "value": "9.1"}, "no flow with its unit"),
        ({"role": "supply_flow", "value": "44 psi"}, "no flow with its unit"),
        ({"role": "supply_flow", "value": 44, "unit": "psi"}, "no flow with its unit"),
        ({"role": "supply_flow", "value": "2.4 gal/min", "unit": "L/min"}, "no flow with its unit"),
        ({"role": "suply_flow", "value": "9 L/min"}, "nearest: supply_flow"),
        ({"role": "supply_pressure", "value": "44 psi"}, "[not_fitted] of the station file names"),
        ({"role": "room_temperature", "value": "20 degC"}, "room is read by its sensor"),
        ({"role": "reservoir_temperature", "value": "395 degC"}, "can't be"),
        ({"role": "reservoir_temperature", "value": "-1 degC"}, "can't be"),
        ({"role": "reservoir_temperature", "value": 95}, "without a unit"),
        ({"role": "supply_flow", "value": "150 L/min"}, "can't be"),
        ({"role": "leak", "value": 0}, "neither dry nor wet"),
        ({"role": "leak", "value": True}, "value"),
        ({"role": "leak", "value": "ok"}, "neither dry nor wet"),
        ({"role": "supply_flow", "value": "9 L/min", "at": "2026-03-14T05:50:00Z"}, "older than"),
        ({"role": "supply_flow"}, "value is missing"),
    ],
    ids=str,
)
def test_a_reading_by_eye_that_is_none_is_kept_and_does_not_count(body: dict[str, Any], why: str) -> None:
    driver = Driver(BY_EYE)
    driver.run(3, {p.id: QUIET[p.id] for p in WITHOUT})
    told = kept(driver, "entered_reading", **body)
    assert told["counts"] is False and why in told["why_not"]
    for condition in ("flow", "reservoir"):
        assert driver.condition(condition)["state"] == "unknown"


@pytest.mark.parametrize(
    ("value", "state", "said"),
    [
        ("39.6 degC", "by_eye", "read by early technician"),
        ("30 degC", "unmet", "needed"),
        ("60 degC", "unmet", "above the 45.0 °C allowed"),
        ("44.9 degC", "unmet", "above the label's 40.0 °C"),
        ("140 degF", "unmet", "allowed"),
    ],
)
def test_the_maxima_of_the_station_file_hold_for_what_is_read_by_eye(value: str, state: str, said: str) -> None:
    driver = Driver(BY_EYE)
    driver.run(3, {p.id: QUIET[p.id] for p in WITHOUT})
    assert kept(driver, "entered_reading", role="reservoir_temperature", value=value)["counts"]
    found = driver.condition("reservoir")
    assert found["state"] == state and said in found["text"]


def test_what_people_can_read_lies_within_what_a_point_can_be() -> None:
    assert all(row.low <= row.by_eye.low < row.by_eye.high <= row.high for row in ROLES.values())


# -- checks that failed, and equipment that was changed


def test_a_failed_check_of_the_disinfectant_stands_until_a_check_passes_or_it_is_filled_anew() -> None:
    for mend in ({"record": "concentration_check", "passed": True}, {"record": "disinfectant_fill"}):
        driver = ready()
        assert kept(driver, "concentration_check", passed=False)["counts"]
        assert driver.condition("disinfectant")["state"] == "unmet" and driver.verdict() == "not_ready"
        driver.run(70, QUIET)
        assert driver.alarms("duty_due:disinfectant_change")[-1] == "unacknowledged"
        assert {c["id"]: c["state"] for c in folded(driver).verdict(driver.now)["conditions"]}[
            "disinfectant"
        ] == "unmet"
        driver.record(mend.pop("record"), **mend)
        assert driver.condition("disinfectant")["state"] == "met"


def test_a_failed_test_of_an_outlet_stands_until_one_passes() -> None:
    driver = ready()
    assert kept(driver, "outlet_test", outlet="heater", passed=False)["counts"]
    found = driver.condition("outlet:heater")
    assert found["state"] == "unmet" and "its last test failed" in found["text"]
    driver.run(5, QUIET)
    assert driver.condition("outlet:heater")["state"] == "unmet"
    driver.record("outlet_test", of="heater", passed=True)
    assert driver.condition("outlet:heater")["state"] == "met"


def test_other_equipment_owes_test_treatment_and_liquid() -> None:
    driver = ready()
    driver.run(1, QUIET)
    driver.record("equipment_change", what="loaner")
    states = {c["id"]: c["state"] for c in driver.station.verdict(driver.now)["conditions"]}
    assert [states[c] for c in ("daily_test", "water_path_treatment", "disinfectant")] == ["unmet", "unmet", "unknown"]
    driver.run(1, QUIET)
    driver.record("daily_test", passed=True)
    driver.run(720, QUIET, every_s=5)
    driver.record("water_path_treatment", contact_min=12)
    driver.record("concentration_check", passed=True)
    assert driver.verdict() == "ready"


# -- what nothing looks at


@pytest.mark.parametrize(
    ("change", "record", "why"),
    [
        ({}, {"record": "outlet_test", "of": "heter", "passed": False}, "nearest: heater"),
        ({"reuse_life_ms": None}, {"record": "concentration_check", "passed": False}, "no [disinfectant]"),
        ({"reuse_life_ms": None}, {"record": "disinfectant_fill"}, "no [disinfectant]"),
        ({"treatment_contact_ms": None}, {"record": "water_path_treatment", "contact_min": 12}, "no [water_path_treatment]"),
        ({"daily_test": None, "treatment_contact_ms": None}, {"record": "daily_test", "passed": True}, "no [daily_test]"),
        ({"reservoir": None}, {"record": "disinfectant_top_up"}, "no [reservoir]"),
        ({"filters": ()}, {"record": "filter_change", "filters": ["coarse"]}, "no such filter"),
    ],
    ids=str,
)  # fmt: skip
def test_a_record_that_nothing_looks_at_says_so(change: dict[str, Any], record: dict[str, Any], why: str) -> None:
    driver = Driver(replace(SETTINGS, **change))
    told = kept(driver, **record)
    assert told["counts"] is False and why in told["why_not"]


# -- alarms


def test_who_acknowledges_what_is_normal_or_acknowledged_is_told() -> None:
    driver = Driver()
    driver.run(5, QUIET)
    told = kept(driver, "acknowledge", alarm="outlet_tripped:heater")
    assert told["counts"] is False and "is normal: there is nothing to acknowledge" in told["why_not"]
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    assert kept(driver, "acknowledge", alarm="outlet_tripped:heater")["counts"]
    told = kept(driver, "acknowledge", alarm="outlet_tripped:heater", by="kim")
    assert told["counts"] is False and "already, by early technician at 2026-03-16T05:50:1" in told["why_not"]
    assert driver.station.alarms(driver.now)["outlet_tripped:heater"]["acknowledged_by"] == "early technician"
    assert "nothing changes" in kept(driver, "unshelve", alarm="leak")["why_not"]


def test_a_calibration_that_is_due_does_not_say_that_the_station_may_not_start() -> None:
    alarms = Driver().station.alarms(Driver().now)
    assert alarms["duty_due:daily_test"]["consequence"] == "The station may not start until it is done"
    assert "may not start" not in alarms["duty_due:calibration:reservoir"]["consequence"]


# -- texts


@pytest.mark.parametrize("text", ["a\x00b", "a\x1bb", "a\x7fb", "a\x85b", "\x08"], ids=ascii)
@pytest.mark.parametrize("key", ["note", "why", "name"])
def test_control_characters_are_refused_in_every_text(text: str, key: str) -> None:
    driver = Driver()
    with pytest.raises(RecordRefused, match="control character U\\+00"):
        driver.record("hold", **{key: text})
    with pytest.raises(RecordRefused, match="control character U\\+00"):
        driver.record("acknowledge", alarm="duty_due:daily_test", **{key: text})
    with pytest.raises(RecordRefused, match="be a name"):
        driver.record("hold", by=f"kim{text}")
    assert driver.condition("no_hold")["state"] == "met"


def test_tab_and_line_end_are_texts_and_so_is_any_script() -> None:
    text = "first\tline\nsecond\r\nΔp 漢字 العربية 🙂"
    assert kept(Driver(), "note", text=text)["text"] == text


def test_a_record_of_more_than_16_kib_is_refused() -> None:
    listed = [{"reference": "35.00 degC", "readings": ["34.87 degC"] * 100}] * 20
    with pytest.raises(RecordRefused, match="at most 16 KiB"):
        Driver().record("calibration", point="reservoir", points=listed, reference_u="0.05 K")


def test_the_documents_say_only_records_that_fit() -> None:
    """The commands that README and handbook show are such that the command line would send them."""
    import re
    import shlex

    from edge.cli.record import fields

    shown = 0
    for document in ("README.md", "deploy/wiring.md"):
        for line in re.findall(r"warmwell record [a-z_]+[^`\n(]*", Path(document).read_text(encoding="utf-8")):
            words = shlex.split(line)[2:]
            if "NAME" in line and "KEY" in line:
                continue
            pairs = [w for w in words[1:] if "=" in w]
            refuse({"record": words[0], "by": "kim", **fields(pairs, words[0])})
            shown += 1
    assert shown >= 5
