"""The routes, asked in process over small fakes: shapes, bounds, refusals. Statuses and members of problems: RFC 9457, RFC 9110."""

from __future__ import annotations

import asyncio
import json
import math
from concurrent.futures import Future
from dataclasses import replace
from typing import Any

import pytest

from edge.api import app as api
from edge.api import models
from edge.api.commissioning import CommissioningList
from edge.domain.entries import Entry, rfc3339
from edge.domain.errors import RecordRefused, StoreFault
from edge.domain.readings import Role
from edge.domain.settings import Basin, Duty, Every, Level
from tests.api_fakes import ABOUT, START_MS, Answer, Fakes, ask, point
from tests.unit.stations import SETTINGS
from tests.unit.stations import point as station_point

ONE = "/api/1"
GETS = [
    f"{ONE}/{name}"
    for name in (
        "station",
        "verdict",
        "points",
        "points/reservoir/readings",
        "alarms",
        "journal",
        "estimates",
        "asks",
        "forms",
        "commissioning",
        "drafts",
    )
]
MODELS = {
    "station": models.Station, "verdict": models.Verdict, "points": models.Points, "alarms": models.Alarms,
    "estimates": models.Estimates, "journal": models.Journal, "points/reservoir/readings": models.Readings, "asks": models.Asks,
    "forms": models.Forms, "commissioning": CommissioningList, "drafts": models.Drafts,
}  # fmt: skip


class Desk:
    """The application over fakes, and a plain way to ask it."""

    def __init__(self) -> None:
        from edge.api.parts import Parts

        self.fakes = Fakes()
        self.parts = Parts(self.fakes.judge, self.fakes.journal, self.fakes.series, ABOUT, self.fakes.status)
        self.built = api.build(self.parts, kept_within_s=0.2)
        self.app = api.bordered(self.built, "127.0.0.1", body_within_s=0.2)

    def __call__(self, method: str, target: str, body: Any = None, **headers: str) -> Answer:
        sent = {key.replace("_", "-"): value for key, value in headers.items()}
        if body is not None and not isinstance(body, bytes | list):
            body = json.dumps(body).encode()
        if body is not None:
            sent.setdefault("content-type", "application/json")
        return asyncio.run(ask(self.app, method, target, body, sent))


@pytest.fixture
def desk() -> Desk:
    return Desk()


def assert_problem(answer: Answer, status: int, *words: str) -> dict[str, Any]:
    """A problem document with one sentence that holds these words, and no trace."""
    assert answer.status == status, answer.body
    assert answer.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = answer.json
    assert problem["status"] == status and problem["type"] == "about:blank" and problem["title"]
    assert {"what", "where", "expected", "do", "instance"} <= problem.keys()
    assert b"Traceback" not in answer.body and b'File "' not in answer.body
    for word in words:
        assert word in problem["detail"]
    assert problem["detail"].endswith(".") and "\n" not in problem["detail"]
    return problem


@pytest.mark.parametrize("name", MODELS)
def test_answers_have_the_shape_that_openapi_promises(desk: Desk, name: str) -> None:
    answer = desk("GET", f"{ONE}/{name}")
    assert answer.status == 200 and answer.headers["content-type"] == "application/json"
    MODELS[name].model_validate_json(answer.body, strict=True)


def test_the_verdict_is_the_pictures_with_its_seq(desk: Desk) -> None:
    verdict = desk("GET", f"{ONE}/verdict").json
    assert verdict["verdict"] == "not_ready" and verdict["seq"] == 7
    assert verdict["note"] == "surroundings only: the maker's instructions decide the rest"
    assert [c["id"] for c in verdict["conditions"]][:2] == ["free", "reservoir"]


def no_constant(text: str) -> None:
    raise AssertionError(f"{text} is no JSON")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_never_leaves(desk: Desk, value: float) -> None:
    points = {"reservoir": point("reservoir", "reservoir_temperature", value, "Cel", (value, "degC"), u=value)}
    verdict = dict(desk.fakes.judge.newest.verdict) | {"evidence": value}
    desk.fakes.judge.show(points=points, verdict=verdict, estimates={"x": {"value": value, "of": "x"}})
    desk.fakes.journal.add("heat_up", {"slope": value})
    row = {"n": 3, "min": value, "mean": value, "max": 1.0, "worst": "good", "covered": value}
    desk.fakes.series.rows = lambda a, b, n: [{"from": a, "to": b, **row}]
    for path in [*GETS, "/health", "/metrics"]:
        answer = desk("GET", path)
        assert answer.status == 200, path
        if path != "/metrics":
            json.loads(answer.body, parse_constant=no_constant)
        else:
            assert not any(
                line.split(b" ")[-1].lower().strip(b"+-") in (b"nan", b"inf") for line in answer.body.splitlines()
            )
    shown = desk("GET", f"{ONE}/points").json["points"]["reservoir"]
    assert (shown["value"], shown["shown"], shown["quality"], shown["reason"]) == (None, None, "bad", "not_a_number")
    bucket = desk("GET", f"{ONE}/points/reservoir/readings").json["buckets"][0]
    assert (bucket["min"], bucket["mean"], bucket["max"], bucket["quality"]) == (None, None, None, "bad")


def test_a_huge_number_is_shown_as_it_is(desk: Desk) -> None:
    desk.fakes.judge.show(
        points={"reservoir": point("reservoir", "reservoir_temperature", 1e308, "Cel", (1e308, "degC"))}
    )
    assert desk("GET", f"{ONE}/points").json["points"]["reservoir"]["value"] == 1e308
    assert b"1e+308" in desk("GET", "/metrics").body


def test_figures_come_in_the_form_that_is_asked_for(desk: Desk) -> None:
    plain = desk("GET", "/metrics")
    assert (plain.headers["content-type"], plain.headers["vary"]) == (
        "text/plain; version=0.0.4; charset=utf-8",
        "Accept",
    )
    asked = desk("GET", "/metrics", accept="application/openmetrics-text; version=1.0.0")
    assert asked.headers["content-type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert asked.body.endswith(b"\n# EOF\n") and b"EOF" not in plain.body


def test_an_empty_bucket_is_null_with_its_quality(desk: Desk) -> None:
    answer = desk("GET", f"{ONE}/points/reservoir/readings?from=1773640000&to=1773640200&buckets=2").json
    full, empty = answer["buckets"]
    assert (full["mean"], full["quality"], full["covered"]) == (31.2, "good", 1.0)
    assert (empty["n"], empty["mean"], empty["quality"], empty["reason"]) == (0, None, "bad", "no_reading")
    assert (answer["from"], answer["to"]) == ("2026-03-16T05:46:40.000Z", "2026-03-16T05:50:00.000Z")
    assert desk.fakes.series.asked == [("reservoir", 1773640000_000, 1773640200_000, 2)]


@pytest.mark.parametrize(
    ("worst", "reason", "shown"), [("bad", "crc", "crc"), ("bad", None, "bad"), (None, None, "no_reading")]
)
def test_c055_a_gap_says_why_as_far_as_the_store_knows(
    desk: Desk, worst: str | None, reason: str | None, shown: str
) -> None:
    row = {"n": 0, "min": None, "mean": None, "max": None, "worst": worst, "reason": reason, "covered": 0.0}
    desk.fakes.series.rows = lambda a, b, n: [{"from": a, "to": b, **row}]
    (bucket,) = desk("GET", f"{ONE}/points/reservoir/readings").json["buckets"]
    assert (bucket["mean"], bucket["quality"], bucket["reason"]) == (None, "bad", shown)


def test_stored_readings_are_shown_with_the_calibration_in_force(desk: Desk) -> None:
    before = desk("GET", f"{ONE}/points/reservoir/readings?from=1773640000&to=1773640200&buckets=2").json["buckets"][0]
    calibrated = point("reservoir", "reservoir_temperature", 31.2, "Cel", (31.2, "degC"))
    correction = {"gain": 2.0, "offset": -0.5, "due_at": "2027-03-16T05:50:00.000Z"}
    desk.fakes.judge.show(points={"reservoir": {**calibrated, "correction": correction}})
    answer = desk("GET", f"{ONE}/points/reservoir/readings?from=1773640000&to=1773640200&buckets=2").json
    assert answer["correction"] == correction
    for key in ("min", "mean", "max"):
        assert answer["buckets"][0][key] == pytest.approx(2.0 * before[key] - 0.5)
    assert answer["buckets"][1]["mean"] is None


def test_readings_default_to_the_last_hour(desk: Desk) -> None:
    answer = desk("GET", f"{ONE}/points/reservoir/readings").json
    assert (answer["from"], answer["to"]) == (rfc3339(START_MS - 3_600_000), rfc3339(START_MS))


@pytest.mark.parametrize(
    "target, status, words",
    [
        (f"{ONE}/nowhere", 404, ["nothing at this path"]),
        (f"{ONE}/verdcit", 404, ["nearest '/api/1/verdict'"]),
        (f"{ONE}/points/resrvoir/readings", 404, ["'resrvoir'", "nearest 'reservoir'"]),
        (f"{ONE}/points/reservoir/readings?buckets=0", 422, ["buckets", "greater than or equal to 1"]),
        (f"{ONE}/points/reservoir/readings?buckets=2001", 422, ["buckets", "2000"]),
        (f"{ONE}/points/reservoir/readings?buckets=many", 422, ["buckets", "'many'", "integer"]),
        (f"{ONE}/points/reservoir/readings?from=2026-03-17&to=2026-03-16", 422, ["from before to"]),
        (f"{ONE}/points/reservoir/readings?fron=2026-03-17", 422, ["'fron'", "nearest 'from'"]),
        (f"{ONE}/points/reservoir/readings?to=1&to=2", 422, ["twice"]),
        (f"{ONE}/journal?limit=1001", 422, ["limit", "1000"]),
        (f"{ONE}/journal?limit=0", 422, ["limit"]),
        (f"{ONE}/journal?after=-1", 422, ["after"]),
        (f"{ONE}/journal?after=99999999999999999999", 422, ["after"]),
        (f"{ONE}/verdict?verbose=1", 422, ["'verbose'", "one of lang, reader, units"]),
        (f"{ONE}/stream?after=x", 422, ["after"]),
    ],
)
def test_a_get_that_cant_be_answered_is_one_sentence(desk: Desk, target: str, status: int, words: list[str]) -> None:
    assert_problem(desk("GET", target), status, *words)


@pytest.mark.parametrize("method", ["DELETE", "PUT", "PATCH", "POST"])
def test_a_wrong_method_is_405_and_names_the_right_one(desk: Desk, method: str) -> None:
    answer = desk(method, f"{ONE}/verdict")
    assert_problem(answer, 405, method, "GET")
    assert answer.headers["allow"] == "GET"


def test_head_is_answered_where_get_is(desk: Desk) -> None:
    assert desk("HEAD", "/health").status == 200


def test_a_page_of_the_journal_says_where_to_go_on(desk: Desk) -> None:
    page = desk("GET", f"{ONE}/journal?after=2&limit=3").json
    assert [e["seq"] for e in page["entries"]] == [3, 4, 5]
    assert (page["next_after"], page["more"], page["last_seq"]) == (5, True, 7)
    end = desk("GET", f"{ONE}/journal?after=7").json
    assert (end["entries"], end["next_after"], end["more"]) == ([], 7, False)


def test_a_thousand_entries_come_whole(desk: Desk) -> None:
    for n in range(1200):
        desk.fakes.journal.add("note", {"n": n, "text": "x" * 50})
    page = desk("GET", f"{ONE}/journal?limit=1000").json
    assert [e["seq"] for e in page["entries"]] == list(range(1, 1001))


def test_without_a_readable_store_verdict_and_page_go_on(desk: Desk) -> None:
    desk.fakes.break_store()
    assert_problem(desk("GET", f"{ONE}/journal"), 503, "the disk refused a read", "Check the card")
    assert_problem(desk("GET", f"{ONE}/points/reservoir/readings"), 503, "the disk refused a read")
    assert_problem(desk("GET", f"{ONE}/stream"), 503)
    for path in (f"{ONE}/verdict", f"{ONE}/points", f"{ONE}/alarms", "/", "/metrics"):
        assert desk("GET", path).status == 200
    health = desk("GET", "/health")
    assert (
        health.status == 503
        and health.json["status"] == "failed"
        and "the disk refused" in health.json["parts"]["journal"]
    )


def test_a_store_that_fails_in_its_own_way_is_503_too(desk: Desk) -> None:
    desk.fakes.journal.fault = ZeroDivisionError("of its own")
    assert_problem(desk("GET", f"{ONE}/journal"), 503, "ZeroDivisionError", "page go on")


def test_health_tells_degraded_from_failed(desk: Desk) -> None:
    assert desk("GET", "/health").json["status"] == "ok"
    desk.fakes.parts_state = lambda: {"ok": False, "mqtt": "not connected since 14:00"}
    assert desk("GET", "/health").json["status"] == "degraded"
    desk.fakes.parts_state = lambda: 1 / 0  # type: ignore[assignment,return-value]  # a part that fails
    answer = desk("GET", "/health")
    assert (answer.status, answer.json["status"]) == (200, "degraded")


def test_a_fault_of_our_own_is_one_sentence(desk: Desk) -> None:
    desk.fakes.judge.newest = None  # type: ignore[assignment]  # what must never happen
    assert_problem(desk("GET", f"{ONE}/verdict"), 500, "an error of Warmwell's own", "system journal")


# -- writes


def test_a_record_is_answered_with_its_seq_once_kept(desk: Desk) -> None:
    answer = desk("POST", f"{ONE}/records", {"record": "daily_test", "by": " M. Osei ", "passed": True})
    assert answer.status == 200 and answer.json == {
        "seq": 8, "at": rfc3339(START_MS + 8000), "counts": True, "led_to": [], "led_to_msgs": [],
    }  # fmt: skip
    assert desk.fakes.judge.bodies == [{"record": "daily_test", "by": "M. Osei", "passed": True}]


def test_the_time_of_a_record_is_understood_like_every_other(desk: Desk) -> None:
    for at in ("2026-03-16T04:10:00Z", "2026-03-16T05:10:00+01:00", 1773634200, "1773634200"):
        assert desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim", "at": at}).status == 200
    assert {body["at"] for body in desk.fakes.judge.bodies} == {"2026-03-16T04:10:00.000Z"}
    refused = desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim", "at": "2026-03-16T04:10:00"})
    assert refused.status == 422 and "doesn't say its zone" in refused.json["detail"]
    assert desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim", "at": None}).status == 200
    assert "at" not in desk.fakes.judge.bodies[-1]


@pytest.mark.parametrize("path", ["outlet_tripped:heater", "outlet_tripped%3Aheater", "filter_due:fine"])
def test_an_alarm_id_with_a_colon_works_in_the_path(desk: Desk, path: str) -> None:
    answer = desk("POST", f"{ONE}/alarms/{path}/acknowledge", {"by": "Kim", "note": "seen"})
    assert answer.status == 200 and answer.json["seq"] == 8
    ident = path.replace("%3A", ":")
    assert desk.fakes.judge.bodies == [{"record": "acknowledge", "alarm": ident, "by": "Kim", "note": "seen"}]


@pytest.mark.parametrize(
    "body, status, words",
    [
        (b"", 400, ["empty"]),
        (b"{", 400, ["no JSON", "line 1"]),
        (b"\xff\xfe", 400, ["UTF-8"]),
        (b'{"by":"a","by":"b"}', 400, ["'by'", "twice"]),
        (b'{"by":NaN}', 400, ["NaN"]),
        (b'{"by":-Infinity}', 400, ["Infinity"]),
        (b'{"by":"\\ud800"}', 400, ["half a character"]),
        (b'{"by":1e999}', 422, ["too big"]),
        (b'{"by":' + b"9" * 5000 + b"}", 422, ["too big"]),
        (b"[" * 30000, 422, ["nested deeper than 12"]),
        (b'{"by":' + b"[" * 20 + b"]" * 20 + b"}", 422, ["nested deeper than 12"]),
        (b'["by"]', 422, ["an array", "JSON object"]),
        (b'"by"', 422, ["a string"]),
        (b"null", 422, ["null"]),
        (b"{}", 422, ["by", "missing", "Say who"]),
        (b'{"by":""}', 422, ["by"]),
        (b'{"by":"  "}', 422, ["by"]),
        (b'{"by":7}', 422, ["by"]),
        (b'{"by":["a"]}', 422, ["by"]),
        (b'{"by":"a\\nb"}', 422, ["by"]),
        (b'{"by":"' + b"x" * 81 + b'"}', 422, ["80 characters"]),
        (b'{"by":"a","nota":"b"}', 422, ["'nota'"]),
        (b'{"by":"a","note":3}', 422, ["note"]),
    ],
)
def test_a_body_that_cant_be_used_is_one_sentence_and_nothing_is_recorded(
    desk: Desk, body: bytes, status: int, words: list[str]
) -> None:
    assert_problem(desk("POST", f"{ONE}/alarms/reservoir_cold/acknowledge", body), status, *words)
    assert desk.fakes.judge.bodies == []


@pytest.mark.parametrize(
    "body, words",
    [
        ({"by": "Kim"}, ["record", "missing"]),
        ({"record": 5, "by": "Kim"}, ["record"]),
        ({"record": "note", "text": "x", "by": "Kim", "at": "yesterday"}, ["at", "'yesterday'"]),
        ({"record": "note", "text": "x", "by": "Kim", "at": True}, ["at"]),
        ({"record": "note", "text": "x", "by": "Kim", "at": {}}, ["at"]),
    ],
)
def test_a_record_that_cant_be_used(desk: Desk, body: dict[str, Any], words: list[str]) -> None:
    assert_problem(desk("POST", f"{ONE}/records", body), 422, *words)
    assert desk.fakes.judge.bodies == []


def test_a_basin_that_there_is_not_is_refused_naming_the_nearest(desk: Desk) -> None:
    hold = {"record": "hold", "by": "Kim", "basin": "lefft"}
    assert_problem(desk("POST", f"{ONE}/records", hold), 422, "there is no basin 'lefft'", "the station file has none")
    desk.fakes.judge.show(settings=replace(SETTINGS, basins=(Basin("left", 6), Basin("right", 6))))
    assert_problem(desk("POST", f"{ONE}/records", hold), 422, "one of left, right; nearest: 'left'")
    assert desk.fakes.judge.bodies == []
    assert desk("POST", f"{ONE}/records", hold | {"basin": "left"}).status == 200


@pytest.mark.parametrize(
    "body, words",
    [
        ({"record": "entered_reading", "point": "tray", "value": "leaking"}, "it is 'leaking'; expected dry or wet"),
        ({"record": "service", "duty": "sample", "value": "3 psi"}, "it is '3 psi'; expected a result in CFU/100 mL"),
        ({"record": "disinfectant_fill", "opened": "2009-03-01"}, "it is 2009-03-01"),
        ({"record": "note", "text": "later", "at": "1999-03-16T07:10:00Z"}, "within the last 10 years"),
    ],
)
def test_what_can_not_be_meant_so_at_this_station_is_refused(desk: Desk, body: dict[str, Any], words: str) -> None:
    rules = replace(SETTINGS.rules, duties={"sample": Duty(Every(months=3), "Water", action=Level(10.0, "CFU/100 mL"))})
    tray = station_point("tray", Role.LEAK, 0.0, 1.0)
    desk.fakes.judge.show(settings=replace(SETTINGS, points=(tray,), basins=(), rules=rules))
    assert_problem(desk("POST", f"{ONE}/records", {"by": "Kim"} | body), 422, words)
    assert desk.fakes.judge.bodies == []


def test_the_number_of_an_entry_may_be_written_as_people_do(desk: Desk) -> None:
    assert desk("POST", f"{ONE}/records", {"record": "correction", "by": "Kim", "of": "#65"}).status == 200
    assert desk.fakes.judge.bodies[-1]["of"] == 65


def test_an_unknown_alarm_is_404_naming_the_nearest(desk: Desk) -> None:
    answer = desk("POST", f"{ONE}/alarms/outlet_triped:heater/acknowledge", {"by": "Kim"})
    assert_problem(answer, 404, "nearest 'outlet_tripped:heater'")
    body = {"record": "acknowledge", "alarm": "reservoir_clod", "by": "Kim"}
    assert_problem(desk("POST", f"{ONE}/records", body), 404, "nearest 'reservoir_cold'")


@pytest.mark.parametrize(
    "kind",
    ["text/plain", "", "application/xml", "application/x-www-form-urlencoded", "application/json; charset=latin-1"],
)
def test_a_body_that_is_not_json_is_415(desk: Desk, kind: str) -> None:
    assert_problem(desk("POST", f"{ONE}/records", b"{}", content_type=kind), 415, "application/json")


def failing(fault: BaseException) -> Any:
    future: Future[Entry] = Future()
    future.set_exception(fault)
    return lambda body: future


def test_what_the_judge_refuses_is_422_in_its_own_words(desk: Desk) -> None:
    desk.fakes.judge.recorded = failing(
        RecordRefused("no such record", where="record 'dance'", expected="one of …", do="Correct it")
    )
    assert_problem(
        desk("POST", f"{ONE}/records", {"record": "dance", "by": "Kim"}), 422, "record 'dance': no such record"
    )


def test_a_disk_that_refuses_is_503(desk: Desk) -> None:
    desk.fakes.judge.recorded = failing(
        StoreFault("the disk is full", where="journal.db", expected="free space", do="Free some")
    )
    assert_problem(
        desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim"}), 503, "the disk is full"
    )


@pytest.mark.parametrize("recorded", [lambda body: Future(), failing(RuntimeError("of its own"))])
def test_a_record_of_which_nothing_is_known_says_so(desk: Desk, recorded: Any) -> None:
    desk.fakes.judge.recorded = recorded
    answer = desk("POST", f"{ONE}/records", {"record": "note", "text": "x", "by": "Kim"})
    assert_problem(answer, 503, "not known whether it was kept", "Look in the journal")
