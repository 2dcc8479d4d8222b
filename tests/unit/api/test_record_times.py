"""Every route that takes a time, with every way to write one: understood as one instant, which the answer says, or refused in a sentence.

What RFC 3339 is: its section 5.6. A date alone is the first instant of that day in the station's zone (the contract of the API).
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.unit.api.test_routes import ONE, Desk, assert_problem

#: the way it is written -> the instant that it means at a station in Dublin; None: it is refused
WRITTEN: dict[str, str | None] = {
    "2026-03-16T04:10:00Z": "2026-03-16T04:10:00.000Z",
    "2026-03-16T05:10:00+01:00": "2026-03-16T04:10:00.000Z",
    "2026-03-16T04:10:00": None,
    "04:10": None,
    "2026-03-16": "2026-03-16T00:00:00.000Z",
    "2025-06-16": "2025-06-15T23:00:00.000Z",
    "2026-03-16T24:00:00Z": None,
    "2025-12-31T23:59:60Z": "2026-01-01T00:00:00.000Z",
    "2026-W12-1": None,
    "1773634200": "2026-03-16T04:10:00.000Z",
    "1773634200000": None,
    "yesterday": None,
    "'; --": None,
}
#: of keys beside `at` only what RFC 3339 calls a date-time
WHOLE = {"2026-03-16T04:10:00Z", "2026-03-16T05:10:00+01:00"}


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.mark.parametrize("text", WRITTEN)
def test_c042_a_records_time_is_answered_as_the_instant_that_was_understood(desk: Desk, text: str) -> None:
    answer = desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim", "at": text})
    if WRITTEN[text] is None:
        assert_problem(answer, 422, "/api/1/records, at", "expected")
    else:
        assert answer.status == 200 and answer.json["happened_at"] == WRITTEN[text]


@pytest.mark.parametrize("text", WRITTEN)
def test_c042_each_end_of_the_readings_that_are_asked_for(desk: Desk, text: str) -> None:
    for end in ("from", "to"):
        answer = desk(
            "GET", f"{ONE}/points/reservoir/readings?{end}={text.replace('+', '%2B').replace(' ', '%20')}&buckets=2"
        )
        assert answer.status in (200, 422)
        if WRITTEN[text] is None:
            assert_problem(answer, 422, "readings")
        elif answer.status == 200:  # the other end is left to the route: it may not lie on the right side of this one
            assert answer.json[end] == WRITTEN[text]


@pytest.mark.parametrize(
    ("record", "key", "more"),
    [
        ("water_path_treatment", "began_at", {}),
        ("water_path_treatment", "ended_at", {"began_at": "2026-03-16T04:00:00Z"}),
        (
            "calibration",
            "due_at",
            {"point": "reservoir", "points": [{"reference": "39 degC"}], "reference_u": "0.05 K"},
        ),
        ("clock_confirmed", "time", {}),
    ],
)
@pytest.mark.parametrize("text", WRITTEN)
def test_c042_times_within_a_record_have_their_offset(
    desk: Desk, record: str, key: str, more: dict[str, Any], text: str
) -> None:
    answer = desk("POST", f"{ONE}/records", {"record": record, "by": "Kim", key: text} | more)
    if text in WHOLE:
        assert answer.status == 200
    else:
        assert_problem(answer, 422, key, "a time with Z or an offset")


@pytest.mark.parametrize(
    ("told", "ports"),
    [
        ("port 3: 11.8 s", [{"port": 3, "seconds": 11.8}]),
        (
            ["port 3: 11.8 s", "Port 4: 100 ml in 12 s"],
            [{"port": 3, "seconds": 11.8}, {"port": 4, "ml": 100.0, "seconds": 12.0}],
        ),
    ],
)
def test_ports_may_be_written_as_people_say_them(desk: Desk, told: Any, ports: list[dict[str, Any]]) -> None:
    answer = desk("POST", f"{ONE}/records", {"record": "daily_test", "by": "Kim", "channel_ports": told})
    assert answer.status == 200 and desk.fakes.judge.bodies[-1]["channel_ports"] == ports


@pytest.mark.parametrize(
    "told", ["port 3: 11.8", "3: 11.8 s", "port three: 11 s", ["port 3: 11.8 s", {"port": 4, "seconds": 1}], "", []]
)
def test_ports_that_are_none_are_refused(desk: Desk, told: Any) -> None:
    answer = desk("POST", f"{ONE}/records", {"record": "daily_test", "by": "Kim", "channel_ports": told})
    assert_problem(answer, 422, "channel_ports", "expected")


def test_the_document_has_a_form_for_each_kind_told_apart_by_record(desk: Desk) -> None:
    from edge.domain.records.forms import FORMS

    schemas = desk("GET", "/openapi.json").json["components"]["schemas"]
    told_apart = schemas["Record"]["discriminator"]
    assert told_apart["propertyName"] == "record" and set(told_apart["mapping"]) == set(FORMS)
    assert [one["$ref"] for one in schemas["Record"]["oneOf"]] == list(told_apart["mapping"].values())
    for record, place in told_apart["mapping"].items():
        form = schemas[place.rpartition("/")[2]]
        assert form["properties"]["record"] == {"const": record} and "record" in form["required"]
        assert set(form["properties"]) == {"record", "by", "at", "note", *FORMS[record].keys}
