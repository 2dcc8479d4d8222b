"""What one client can put into the journal, and get out of it at once: forms, a budget a minute, pages bounded in bytes."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from fastapi import Request

from edge.api import app as api
from edge.api.budget import BYTES_A_MINUTE, HOLDS_A_MINUTE, MOST_CLIENTS, RECORDS_A_MINUTE, Budget, Shares
from edge.api.jsonout import dumps
from edge.api.parts import Parts
from tests.api_fakes import ABOUT, Answer, Fakes, ask

RECORDS = "/api/1/records"


class Desk:
    def __init__(self) -> None:
        self.fakes = Fakes()
        fakes = self.fakes
        self.app = api.build(Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status))
        self.border = api.bordered(self.app, "127.0.0.1")

    def __call__(self, method: str, path: str, body: Any = None) -> Answer:
        if body is None:
            return asyncio.run(ask(self.border, method, path))
        kind = {"content-type": "application/json"}
        return asyncio.run(ask(self.border, method, path, json.dumps(body).encode(), kind))


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"record": "hold", "by": "Kim", "reason": "rinse culture positive"}, "nearest: 'why'"),
        ({"record": "release", "by": "Kim", "nmae": "A"}, "nearest: 'name'"),
        ({"record": "filter_change", "by": "Kim", "filters": "coarse,fine"}, '["coarse","fine"]'),
        ({"record": "filter_change", "by": "Kim"}, "is missing"),
        ({"record": "entered_reading", "by": "Kim", "role": "supply_flow", "value": "9.1"}, "no unit"),
        ({"record": "note", "by": "Kim", "counts": True}, "the station itself"),
    ],
    ids=str,
)
def test_a_record_that_does_not_fit_its_form_is_422_and_nothing_is_recorded(body: dict[str, Any], said: str) -> None:
    desk = Desk()
    answer = desk("POST", RECORDS, body)
    assert answer.status == 422 and said in answer.json["detail"] and answer.json["where"].startswith("record '")
    assert desk.fakes.judge.bodies == []


LONG_LIST = ["coarse"] * 10_000


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"record": "note", "by": "Kim", "text": "secret" + "x" * 1_000_000}, 413),
        ({"record": "filter_change", "by": "Kim", "filters": LONG_LIST}, 413),
        ({"record": "filter_change", "by": "Kim", "filters": ["secret", *range(9_999)]}, 422),
        (["secret", *range(9_999)], 422),
        ({"record": "note", "by": "Kim", "text": ["secret", *range(9_999)]}, 422),
        ({f"secret {n}": n for n in range(3_000)}, 422),
    ],
    ids=["1 MB in a note", "a list", "a list below 64 KiB", "nothing but a list", "a list for a text", "keys"],
)
def test_c059_a_megabyte_of_text_and_ten_thousand_entries_are_refused_shortly_and_stay_out_of_the_log(
    body: Any, status: int, caplog: pytest.LogCaptureFixture
) -> None:
    desk = Desk()
    with caplog.at_level("DEBUG"):
        answer = desk("POST", RECORDS, body)
    assert answer.status == status and answer.headers["content-type"] == "application/problem+json"
    assert len(answer.body) < 2_000 and desk.fakes.judge.bodies == []
    assert "secret" not in caplog.text and len(caplog.text) < 2_000


def test_a_budget_fills_evenly_and_says_when_there_is_room() -> None:
    budget = Budget(records=60, size=6000)
    assert [budget.take(10, 1000.0) for _ in range(61)] == [0] * 60 + [1]
    assert budget.take(10, 1001.0) == 0 and budget.take(10, 1001.0) == 1
    assert budget.take(10, 1000.5) == 1, "a clock that goes back gives nothing"
    assert [budget.take(3000, 2000.0) for _ in range(3)] == [0, 0, 30]
    assert budget.take(3000, 2030.0) == 0


def test_too_many_records_in_a_minute_are_429_with_when_to_come_back() -> None:
    desk = Desk()
    now = [1000.0]
    desk.app.state.desk.seconds = lambda: now[0]
    body = {"record": "note", "by": "Kim", "text": "x"}
    for number in range(RECORDS_A_MINUTE):
        assert desk("POST", RECORDS, body | {"by": f"Kim {number % 3}"}).status == 200
    refused = desk("POST", RECORDS, body)
    assert refused.status == 429 and refused.headers["retry-after"] == "1"
    assert "within a minute; expected" in refused.json["detail"]
    assert (
        refused.headers["content-type"] == "application/problem+json" and "nothing was recorded" in refused.json["do"]
    )
    assert desk("POST", "/api/1/alarms/reservoir_cold/acknowledge", {"by": "Kim"}).status == 429
    assert len(desk.fakes.judge.bodies) == RECORDS_A_MINUTE
    hold = {"record": "hold", "by": "Sam", "name": "culture", "why": "rinse sample positive"}
    assert [desk("POST", RECORDS, hold).status for _ in range(HOLDS_A_MINUTE + 1)] == [200] * HOLDS_A_MINUTE + [429]
    now[0] += 1.0
    assert desk("POST", RECORDS, body).status == 200


def test_one_client_leaves_room_for_the_others() -> None:
    """A page with a stuck key, or a program in a loop, that signs with one name; all on this computer have one address."""
    desk = Desk()
    desk.app.state.desk.seconds = lambda: 1000.0
    stuck = {"record": "note", "by": "Kim", "text": "x"}
    answers = [desk("POST", RECORDS, stuck) for _ in range(RECORDS_A_MINUTE)]
    assert [a.status for a in answers] == [200] * (RECORDS_A_MINUTE // 2) + [429] * (RECORDS_A_MINUTE // 2)
    assert "too many records came within a minute from this client" in answers[-1].json["detail"]
    assert desk("POST", RECORDS, stuck | {"by": " KIM "}).status == 429  # the same name
    for number in range(RECORDS_A_MINUTE // 2):
        assert desk("POST", RECORDS, {"record": "daily_test", "by": "Sam", "passed": number % 2 == 0}).status == 200
    assert desk("POST", RECORDS, stuck | {"by": "Tom"}).status == 429  # the station's whole is the bound of all
    assert desk("POST", RECORDS, {"record": "hold", "by": "Kim", "why": "culture"}).status == 200


def test_another_address_or_another_sign_in_is_another_client() -> None:
    shares = Shares()
    for _ in range(RECORDS_A_MINUTE // 2):
        assert shares.take("a", 10, 1000.0) == (0, False)
    assert shares.take("a", 10, 1000.0) == (1, True)
    assert shares.take("b", 10, 1000.0) == (0, False)
    request = {"type": "http", "client": ("10.0.0.9", 1), "headers": [(b"authorization", b"Bearer x")]}
    here = {"type": "http", "client": ("10.0.0.8", 1), "headers": []}
    names = {api._client(Request(scope), {"by": by}) for scope in (request, here) for by in ("Kim", "Sam")}
    assert len(names) == 4


def test_of_clients_without_number_the_oldest_is_forgotten_and_the_whole_still_bounds_them() -> None:
    shares = Shares()
    taken = [shares.take(f"client {number}", 10, 1000.0)[0] == 0 for number in range(3 * MOST_CLIENTS)]
    assert taken.count(True) == RECORDS_A_MINUTE and len(shares._of) == MOST_CLIENTS


def test_bytes_count_as_well() -> None:
    desk = Desk()
    desk.app.state.desk.seconds = lambda: 1000.0
    pairs = [{"reference": "35.00 degC", "readings": ["34.87 degC"] * 60}] * 12
    body = {"record": "calibration", "by": "Kim", "point": "reservoir", "points": pairs, "reference_u": "0.05 K"}
    answers = [desk("POST", RECORDS, body).status for _ in range(40)]
    taken = answers.count(200)
    assert 0 < taken < 40 and answers == [200] * taken + [429] * (40 - taken)
    assert taken == BYTES_A_MINUTE // 2 // len(dumps(body))  # one client's share


def test_a_page_of_the_journal_ends_at_a_mebibyte_and_goes_on_where_it_ended() -> None:
    desk = Desk()
    for _ in range(300):
        desk.fakes.journal.add("note", {"text": "x" * 10_000})
    after, seen, pages = 0, [], 0
    while True:
        answer = desk("GET", f"/api/1/journal?after={after}&limit=1000")
        assert answer.status == 200 and len(answer.body) <= api.PAGE_BYTES + 20_000
        seen += [entry["seq"] for entry in answer.json["entries"]]
        pages, after = pages + 1, answer.json["next_after"]
        if not answer.json["more"]:
            break
    assert seen == list(range(1, 308)) and pages == 3


def test_an_entry_larger_than_a_page_is_a_page() -> None:
    desk = Desk()
    desk.fakes.journal.add("note", {"text": "x" * (2 * api.PAGE_BYTES)})
    desk.fakes.journal.add("note", {"text": "y"})
    first = desk("GET", "/api/1/journal?after=7&limit=10").json
    assert [entry["seq"] for entry in first["entries"]] == [8] and first["more"]
    assert [entry["seq"] for entry in desk("GET", "/api/1/journal?after=8").json["entries"]] == [9]
