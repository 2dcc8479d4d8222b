"""Every kind of record, from its form: what is right counts, and each single mistake is refused at the border with one sentence, and kept
by the station as not counting with its reason.

The table is drawn from FORMS: a kind or a key without a right value here fails, so does a kind of value without a wrong one. The rules are
this project's own; 1 psi is 6.894757 kPa (SP 811 of NIST, table B.8, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from edge.domain.errors import RecordRefused
from edge.domain.readings import Role
from edge.domain.records.book import ALARM_RECORDS
from edge.domain.records.border import refuse
from edge.domain.records.forms import COMMON, FORMS, KINDS, PAIR, PORT, Key
from edge.domain.settings import DailyTest, Duty, Every, Level, Rules
from tests.unit.stations import HOUR, POINTS, QUIET, SETTINGS, Driver

SITE = replace(
    SETTINGS,
    daily_test=DailyTest(100.0, 15.0, "weak ports", 1.0, ("lid", "drain")),
    points=tuple(p for p in POINTS if p.id != "flow"),
    not_fitted={Role.SUPPLY_FLOW: 24 * HOUR},
    rules=Rules(duties={"sample": Duty(Every(months=1), "Water sample", action=Level(100.0, "CFU/mL"))}),
)
ITEMS = ["lid", "drain"]
CALIBRATION = {"point": "reservoir", "reference_u": "0.05 K"}
FULL_CALIBRATION = {
    "reference_resolution": "0.01 K", "drift_allowance": "0.3 K", "due_at": "2027-03-16T00:00:00Z", "instrument": "thermometer 7",
    "certificate": "HL-0042", "confirm": "compared twice", "adjust": True, "why": "new",
}  # fmt: skip
ALARM = {"alarm": "outlet_tripped:heater"}

#: bodies of each record that count; all keys of its form stand in one of them
RIGHT: dict[str, list[dict[str, Any]]] = {
    "daily_test": [
        {"passed": True, "checked": ITEMS},
        {"channel_ports": [{"port": 3, "seconds": 11.8, "ml": 100.0}], "checked": ITEMS},
        {"failed": ["lid"], "basin": "basin"},
    ],
    "water_path_treatment": [
        {"contact_min": 12, "drained": True, "rinsed": True, "residue_free": True, "product": "by the label", "lot": "0123"},
        {"began_at": "2026-03-16T05:52:00Z", "ended_at": "2026-03-16T06:02:00Z", "at": "2026-03-16T06:05:00Z"},
        {"step": "begins"},
    ],
    "filter_change": [{"filters": ["coarse", "fine"], "product": "by the label", "lot": "0123", "why": "due"}, {"filter": "coarse"}],
    "disinfectant_fill": [
        {
            "product": "by the label", "lot": "0123", "expires": "2027-03", "opened": "2026-03-10", "litres": 11,
            "opened_clean_side": False, "why": "due",
        }
    ],
    "disinfectant_top_up": [{"litres": 1.2, "stirred": True, "product": "by the label", "lot": "0123", "why": "low"}],
    "concentration_check": [
        {"passed": True, "value": 0.35, "unit": "%", "strip": "A", "lot": "0123", "expires": "2027-03-31"},
        {"passed": True, "value": "0.35 %"},
    ],
    "calibration": [
        {**CALIBRATION, **FULL_CALIBRATION, "points": [{"reference": "39.3 degC", "readings": ["39.2 degC", "39.21 degC"]}]},
        {**CALIBRATION, "points": [{"reference": "39.3 degC", "reading": "39.2 degC"}]},
    ],
    "entered_reading": [
        {"role": "supply_flow", "value": "9 L/min", "instrument": "bucket"}, {"role": "supply_flow", "value": 9.0, "unit": "L/min"},
    ],
    "outlet_test": [
        {"outlet": "heater", "passed": True, "trip_ms": 25.0, "trip_ma": 5.0, "instrument": "its button"}, {"of": "heater", "passed": True},
    ],
    "hold": [{"why": "recall", "name": "A", "released_by": "biomed"}, {"basin": "basin"}],
    "release": [{"name": "A", "why": "over"}, {"basin": "basin"}],
    "equipment_change": [{"what": "loaner", "point": "room", "serial": "7", "opened_clean_side": True, "why": "repair"}],
    "service": [
        {"what": "looked at", "filter": "coarse", "point": "room", "opened_clean_side": False, "passed": True, "why": "noise"},
        {"duty": "sample", "value": "3 CFU/mL"}, {"duty": "sample", "value": 3, "unit": "CFU/mL"},
    ],
    "work_begins": [{"what": "filters", "why": "due"}, {"basin": "basin"}],
    "work_ends": [{"what": "filters", "why": "done"}, {"basin": "basin"}],
    "acknowledge": [ALARM],
    "shelve": [{**ALARM, "minutes": 5, "why": "known"}],
    "unshelve": [{**ALARM, "why": "mended"}],
    "reset": [{**ALARM, "why": "mended"}],
    "out_of_service": [{**ALARM, "why": "repair"}],
    "in_service": [{**ALARM, "why": "repaired"}],
    "correction": [{"of": 1, "why": "mistake"}],
    "note": [{"text": "all is well"}],
    "commissioning": [
        {"item": "standpipe", "passed": True, "instrument": "a tape"}, {"item": "static", "value": "50 psi"},
        {"item": "static", "value": 50, "unit": "psi"}, {"item": "decay", "before": "55 psi", "after": "54.5 psi"},
        {"item": "restart", "not_applicable": "a bench"}, {"item": "decay", "timing": "begins"},
        {"item": "housings", "passed": True, "litres": 9.0, "seconds": 60.0, "litres_u": 0.05, "seconds_u": 0.3},
    ],
    "clock_confirmed": [{"time": "2026-03-16T06:05:00Z", "why": "long off"}],
}  # fmt: skip
#: a key that is only told by eye at a point that people read: tests/unit/domain/records/test_entered.py
ELSEWHERE = {("entered_reading", "point")}
#: what counts of an alarm that latches alone, as no other does here: tests/unit/stories/test_alarm_lives.py
NEEDS_A_LATCH = {"reset"}
#: what has to stand before it counts
BEFORE: dict[str, list[dict[str, Any]]] = {
    "release": [{"record": "hold", "name": "A"}, {"record": "hold", "basin": "basin"}],
    "work_ends": [{"record": "work_begins"}, {"record": "work_begins", "basin": "basin"}],
    "unshelve": [{"record": "shelve", **ALARM, "minutes": 60}],
    "in_service": [{"record": "out_of_service", **ALARM, "why": "repair"}],
    "correction": [{"record": "note", "text": "wrong"}],
}

BARE = 0.05
#: a wrong value of each kind of value; those of numbers beyond their bounds follow from the key
WRONG: dict[str, list[Any]] = {
    "line": ["", " ", 3, ["a"], "x" * 201],
    "note": [3, "x" * 2001],
    "number": ["12", True, [1]],
    "whole": ["3", 1.5, True],
    "flag": ["yes", 1, "true"],
    "date": ["03/04/2027", "2027-13", "2027-02-30", 2027],
    "time": ["yesterday", "2026-03-16T07:10:00", "07:10", 1773645000],
    "any_time": [],  # `at`: see the tests of time
    "names": ["coarse,fine", [], ["coarse", 2], [""]],
    "reading": [[], {}, True],
    "quantity": [[], {}, True, BARE],
    "quantities": ["39 degC", [], [{}]],
    "ports": [{}, [], [3], [{"port": 3}], [{"seconds": 9}], [{"port": 3, "seconds": 9, "secs": 9}]],
    "pairs": [{}, [3], [{}], [{"reference": "39 degC", "read": "39 degC"}]],
}


def mistakes(key: Key) -> Iterator[Any]:
    """Values that a key can't hold."""
    yield from WRONG[key.kind]
    if key.words:
        yield f"no {key.words[0]}"
    if key.kind in ("number", "whole"):
        yield from (key.low - 1, key.high * 2 + 1)
    parts = {"ports": PORT, "pairs": PAIR}.get(key.kind, {})
    right = {"ports": {"port": 3, "seconds": 9}, "pairs": {"reference": "39 degC"}}.get(key.kind, {})
    for name, part in parts.items():
        yield from ([{**right, name: wrong}] for wrong in mistakes(part))


def is_bare(value: Any) -> bool:
    """A number without its unit where a value was read, or such a number within a list."""
    within = (
        [one for part in value if isinstance(part, dict) for one in part.values()]
        if isinstance(value, list)
        else [value]
    )
    return BARE in within


def prepared(record: str) -> Driver:
    """A station at which such a record would count now: at 06:05, with its outlet tripped, its filters changed and its test passed."""
    driver = Driver(SITE)
    driver.run(3, {name: value for name, value in QUIET.items() if name != "flow"})
    driver.record("filter_change", filters=["coarse", "fine"])
    driver.record("daily_test", passed=True, checked=ITEMS)
    driver.pass_to(driver.mono_ms + 15 * 60_000)
    driver.run(3, {name: value for name, value in QUIET.items() if name != "flow"} | {"heater-outlet": 1.0})
    for body in BEFORE.get(record, []):
        driver.record(**body)
    return driver


@cache
def shared(record: str) -> Driver:
    """One for all mistakes of a record: what doesn't count leaves it as it was."""
    return prepared(record)


def sent(driver: Driver, record: str, body: dict[str, Any]) -> dict[str, Any]:
    """As it is kept; its number is that of the note before it where it corrects one."""
    if record == "correction" and body.get("of") == 1 and body["of"] is not True:
        body = body | {"of": next(e.seq for e in driver.said if e.kind == "record" and e.body["record"] == "note")}
    return dict(driver.record(record, **body)[0].body)


def test_the_table_leaves_no_kind_and_no_key_out() -> None:
    assert set(RIGHT) == set(FORMS) and set(WRONG) == set(KINDS)
    for record, form in FORMS.items():
        told = {key for body in RIGHT[record] for key in body} - set(COMMON)
        assert told | {key for of, key in ELSEWHERE if of == record} == set(form.keys), record


@pytest.mark.parametrize(
    ("record", "body"), [(record, body) for record, bodies in RIGHT.items() for body in bodies], ids=str
)
def test_a_right_form_counts(record: str, body: dict[str, Any]) -> None:
    refuse({"record": record, "by": "kim", "note": "as ever"} | body)
    told = sent(prepared(record), record, {"note": "as ever", **body})
    assert told["counts"] is (record not in NEEDS_A_LATCH), told.get("why_not")


def judged(record: str, body: dict[str, Any]) -> str:
    """What the station says of a body that is wrong: why it is kept and doesn't count, or its refusal."""
    try:
        told = sent(shared(record), record, body)
    except RecordRefused as exc:  # nothing that could be told, or done: no alarm of this name, no end of a shelf
        return str(exc)
    assert told["counts"] is False, told
    return str(told["why_not"])


def border(record: str, body: dict[str, Any]) -> str:
    with pytest.raises(RecordRefused) as refused:
        refuse({"record": record, "by": "kim"} | body)
    sentence = str(refused.value)
    assert sentence.count("; expected ") == 1 and "\n" not in sentence and len(sentence) < 500
    return sentence


@pytest.mark.parametrize(("record", "key"), [(r, k) for r, form in FORMS.items() for k in form.keys])
def test_each_wrong_value_of_each_key_is_told(record: str, key: str) -> None:
    form = FORMS[record].keys[key]
    right = next((body for body in RIGHT[record] if key in body), RIGHT[record][0])
    values = list(mistakes(form))
    assert values
    for value in values:
        body = right | {key: value}
        assert key in border(record, body), value
        if is_bare(value):
            continue  # an older client's: the station takes it in the unit of the point's quantity, or says that it has none
        said = judged(record, body)
        assert key in said or "no such point" in said, value


@pytest.mark.parametrize("record", FORMS)
def test_a_key_that_there_is_not_is_told_with_those_that_there_are(record: str) -> None:
    for key in ("colour", "Why", "passd"):
        body = RIGHT[record][0] | {key: "blue"}
        assert f"record '{record}', {key}" in border(record, body) and f"{key}: there is no such key" in judged(
            record, body
        )


@pytest.mark.parametrize(("record", "group"), [(r, group) for r, form in FORMS.items() for group in form.needs])
def test_each_part_that_is_needed_is_asked_for(record: str, group: tuple[str, ...]) -> None:
    body = {key: value for key, value in RIGHT[record][0].items() if key not in group}
    assert "is missing" in border(record, body) and f"record '{record}', {group[0]}" in border(record, body)
    said = judged(record, body)
    assert f"{group[0]} is missing" in said or "no alarm None" in said or group[0] in said


@pytest.mark.parametrize("record", FORMS)
def test_a_time_to_come_does_not_count(record: str) -> None:
    for body in RIGHT[record]:
        assert "its time is in the future" in judged(record, body | {"at": "2027-03-16T06:05:00Z"})


@pytest.mark.parametrize("record", FORMS)
@pytest.mark.parametrize(
    "at", ["yesterday", "2026-03-16T06:05:00", "25:00", "0001-01-01T00:00:00Z", "1969-12-31T23:59:59Z", True, 7, {}]
)
def test_what_is_no_time_is_refused_by_the_station_itself(record: str, at: Any) -> None:
    with pytest.raises(RecordRefused, match="is no such time"):
        shared(record).record(record, **(RIGHT[record][0] | {"at": at}))


@pytest.mark.parametrize("by", [None, "", " ", 7, "x" * 81, "kim\n"])
def test_who_did_it_is_a_name(by: Any) -> None:
    for record in FORMS:
        with pytest.raises(RecordRefused, match="Say who did it"):
            shared(record).record(record, **(RIGHT[record][0] | {"by": by}))


#: a value that fits its form and can't be: in another unit, beyond what there can be, of something that isn't there
CANT_BE: list[tuple[str, dict[str, Any], str]] = [
    ("entered_reading", {"role": "supply_flow", "value": "9 psi"}, "no flow with its unit"),
    ("entered_reading", {"role": "supply_flow", "value": "900 L/min"}, "can't be"),
    ("calibration", {**CALIBRATION, "points": [{"reference": "39 psi", "reading": "39.2 degC"}]}, "psi"),
    ("calibration", {**CALIBRATION, "points": [{"reference": "39.3 degC", "reading": "39.2"}]}, "39.2"),
    (
        "calibration",
        {**CALIBRATION, "reference_u": "0.05 psi", "points": [{"reference": "39.3 degC", "reading": "39.2 degC"}]},
        "psi",
    ),
    ("calibration", {**CALIBRATION, "point": "reservoyr", "points": [{"reference": "39 degC"}]}, "no such point"),
    ("daily_test", {"channel_ports": [{"port": 7, "seconds": 11.8}], "checked": ITEMS}, "no channel port 7"),
    ("daily_test", {"passed": True, "checked": ["lid"]}, "not among what was checked: drain"),
    ("daily_test", {"passed": True, "checked": ["lid", "drian"]}, "nearest: drain"),
    ("water_path_treatment", {"contact_min": 9}, "10 min are needed"),
    ("water_path_treatment", {"step": "ends"}, "no contact is under way"),
    ("filter_change", {"filters": ["corse"]}, "nearest: coarse"),
    ("disinfectant_fill", {"litres": 2}, "no fill of a reservoir"),
    ("disinfectant_fill", {"opened": "2026-04-01"}, "opened after it was filled in"),
    ("concentration_check", {"passed": True, "expires": "2026-02"}, "strips were good until 2026-02-28"),
    ("outlet_test", {"outlet": "heatr", "passed": True}, "nearest: heater"),
    ("daily_test", {"passed": True, "checked": ITEMS, "basin": "basn"}, "nearest: basin"),
    ("hold", {"basin": "basn"}, "no such basin at this station: basn"),
    ("work_begins", {"basin": "tub"}, "no such basin at this station: tub; there are basin"),
    ("release", {"name": "B"}, "nothing is held by the name"),
    ("release", {"name": "A", "basin": "basin"}, "nothing is held in basin basin alone"),
    ("service", {"duty": "smaple", "value": "3 CFU/mL"}, "nearest: sample"),
    ("service", {"duty": "sample", "value": "3 NTU"}, "not told in CFU/mL"),
    ("correction", {"of": 9_999}, "no record that can be taken back has this seq"),
    ("clock_confirmed", {"time": "2026-03-17T06:05:00Z"}, "the station's clock shows"),
    ("acknowledge", {"alarm": "leek"}, "no alarm 'leek'"),
    ("unshelve", {"alarm": "leak"}, "nothing changes"),
]


@pytest.mark.parametrize(("record", "body", "why"), CANT_BE, ids=str)
def test_what_cannot_be_is_kept_and_does_not_count(record: str, body: dict[str, Any], why: str) -> None:
    assert why in judged(record, body)


def test_a_bare_number_is_no_value_that_was_read() -> None:
    for record, form in FORMS.items():
        for key, held in form.keys.items():
            if held.kind in ("reading", "quantity"):
                right = next((body for body in RIGHT[record] if key in body), RIGHT[record][0])
                body = {k: v for k, v in right.items() if k != "unit"} | {key: 9.5}
                assert "has no unit" in border(record, body), (record, key)


def test_a_replay_with_a_list_for_a_filter_does_not_stop_the_station() -> None:
    """It is kept; what it was about can't be told."""
    driver = prepared("service")
    told = sent(driver, "service", {"filter": ["coarse"], "passed": False})
    assert told["counts"] is False and told["stands"] is True and driver.condition("no_hold")["state"] == "met"


def test_nothing_that_did_not_count_changed_what_counts() -> None:
    """After all these mistakes a right record counts still."""
    wanted: Callable[[str], bool] = lambda record: record not in ALARM_RECORDS  # noqa: E731  (a name says what it is)
    for record in filter(wanted, FORMS):
        told = sent(shared(record), record, RIGHT[record][0])
        assert told["counts"], (record, told.get("why_not"))
