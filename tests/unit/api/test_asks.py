"""What the station asks people to record, of a real station's picture; the forms and who may; drafts that are no evidence.

Which record answers what is the project's own contract (edge/domain/records/forms.py); that a channel port gives 100 mL in less than 15 s
is common practice, no published source.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edge.api.drafts import EXPIRES_S, LONGEST_BYTES, MOST, Drafts
from edge.api.problems import Problem
from edge.domain.permits import MAY_RECORD
from edge.domain.records import answers
from edge.domain.records.answers import to_message
from edge.domain.records.forms import FORMS
from edge.domain.settings import Basin, DailyTest, Settings
from edge.domain.words.english import ENGLISH
from edge.snapshot import Snapshot
from tests.security.kit import BIOMED, TECHNICIAN, VIEWER, Site, copied, set_up
from tests.unit.api.test_routes import ONE, Desk, assert_problem
from tests.unit.stations import ASKING, QUIET, Driver

SITE = replace(
    ASKING,
    daily_test=DailyTest(100.0, 15.0, "every port", 1.0, ("Lid closes and seals",)),
)
ALSO = ("Lid closes and seals",)
TWO = replace(SITE, basins=(Basin("left", 6), Basin("right", 4)))


def pictured(driver: Driver, version: int = 9) -> Snapshot:
    station, now = driver.station, driver.now
    return Snapshot(
        version, 1, now, station.verdict(now), station.points(now), station.alarms(now), station.estimates(now),  # type: ignore[arg-type]  # as the judge makes it
        station.dates, settings=station.settings, units=station.units,
    )  # fmt: skip


def asked_of(driver: Driver, query: str = "") -> dict[str, Any]:
    desk = Desk()
    desk.fakes.judge.newest = pictured(driver)
    answer = desk("GET", f"{ONE}/asks{query}")
    assert answer.status == 200, answer.body
    told: dict[str, Any] = answer.json
    return told


def morning(settings: Settings = SITE) -> Driver:
    driver = Driver(settings)
    driver.run(200, QUIET, every_s=5)
    return driver


def test_what_ready_waits_for_comes_first_in_the_stations_order_with_what_is_known_filled_in() -> None:
    driver = morning()
    told = asked_of(driver)
    asks = told["asks"]
    waits_for = driver.station.verdict(driver.now)["waits_for"]
    places = [waits_for.index(one["text"]) for one in asks if one["for_ready"]]
    assert places == sorted(places) and len(places) > 5
    assert [one["for_ready"] for one in asks] == sorted((one["for_ready"] for one in asks), reverse=True)
    found = {(one["record"], *one["keys"].items()) for one in asks}
    assert {
        ("daily_test",), ("water_path_treatment",), ("disinfectant_fill",), ("filter_change", ("filters", "fine")),
        ("service", ("duty", "sample")), ("outlet_test", ("outlet", "heater")),
    } <= found  # fmt: skip
    assert len(found) == len(asks), "each once"
    assert all(one["record"] in FORMS and set(one["keys"]) <= set(FORMS[one["record"]].keys) for one in asks)
    german = asked_of(driver, "?lang=de")["asks"]
    assert [one["record"] for one in german] == [one["record"] for one in asks] and german[0]["text"] != asks[0]["text"]


def test_what_is_done_is_asked_no_more_and_stands_with_its_next_date() -> None:
    driver = morning()
    driver.change_filters(at="2026-03-02T17:30:00Z")
    driver.record("daily_test", channel_ports=[{"port": n, "seconds": 11.0} for n in range(1, 7)], checked=list(ALSO))
    driver.run(5, QUIET)
    told = asked_of(driver)
    assert not {"daily_test", "filter_change"} & {one["record"] for one in told["asks"]}
    later = {one["record"]: one["due_at"] for one in told["later"]}
    assert later["daily_test"] == "2026-03-17T00:00:00.000Z"  # Dublin's next midnight, in winter time
    assert list(later.values()) == sorted(later.values())


def test_what_is_due_comes_neither_later_nor_is_it_said_never_to_have_been_done() -> None:
    driver = morning()
    ports = [{"port": n, "seconds": 11.0} for n in range(1, 7)]
    driver.record("daily_test", channel_ports=ports, checked=list(ALSO), at="2026-03-15T07:10:00Z")
    driver.record("water_path_treatment", at="2026-03-15T08:00:00Z", contact_min=12, drained=True, rinsed=True)
    driver.run(2, QUIET)  # within the alarm's delay
    driver.change_filters()
    told = asked_of(driver)
    assert {one["record"] for one in told["asks"] if one["for_ready"]} >= {"daily_test", "water_path_treatment"}
    assert "daily_test" not in {one["record"] for one in told["later"]}
    duty = driver.station.alarms(driver.now)["duty_due:water_path_treatment"]["duty"]
    assert (duty["text"], duty["due_at"]) == ("last done on 2026-03-15 by early technician; due now", None)


def test_each_of_several_basins_asks_for_its_own_test() -> None:
    told = asked_of(morning(TWO))
    assert [one["keys"] for one in told["asks"] if one["record"] == "daily_test"] == [
        {"basin": "left"},
        {"basin": "right"},
    ]
    assert told["setup"]["basins"] == [{"id": "left", "ports": 6, "first": 1}, {"id": "right", "ports": 4, "first": 7}]
    assert told["setup"]["judged_basins"] == ["left", "right"]


def test_what_the_site_has_set_is_told() -> None:
    setup = asked_of(morning())["setup"]
    assert setup["daily_test"] == {
        "volume_ml": 100.0, "within_s": 15.0, "every_port": True, "cylinder_u_ml": 1.0, "also": ["Lid closes and seals"],
    }  # fmt: skip
    assert setup["treatment"] == {"contact_s": 600.0, "then": ["drained", "rinsed"]}
    assert [one["id"] for one in setup["filters"]] == ["coarse", "fine"] and setup["outlets"] == ["heater"]
    assert setup["duties"] == [{"id": "sample", "title": "Final rinse sample", "unit": "CFU/100 mL"}]
    assert {one["role"]: (one["units"], one["words"]) for one in setup["by_eye"]} == {
        "supply_temperature": (["degC", "degF"], []), "leak": ([], ["dry", "wet"]),
    }  # fmt: skip
    points = {one["id"]: one for one in setup["points"]}
    assert points["reservoir"]["steps"] == ["K", "degF"] and "heater-outlet" not in points
    assert points["reservoir"]["bounds"] == {"degC": [-10.0, 90.0], "degF": [14.0, 194.0]}  # ITS-90: F = 1.8 C + 32


def test_a_treatment_is_followed_through_its_steps_by_the_stations_own_clock() -> None:
    driver = morning()
    driver.change_filters()
    driver.record("daily_test", channel_ports=[{"port": n, "seconds": 11.0} for n in range(1, 7)], checked=list(ALSO))
    assert asked_of(driver)["treatment"]["state"] == "none"
    before = [one["text"] for one in asked_of(driver)["asks"]]
    begun = driver.record("water_path_treatment", step="begins")[0].seq
    assert asked_of(driver)["treatment"]["state"] == "contact"
    driver.record("correction", of=begun)
    told = asked_of(driver)
    assert told["treatment"]["state"] == "none" and [one["text"] for one in told["asks"]] == before, (
        "as if it had not begun"
    )
    driver.record("water_path_treatment", step="begins")
    driver.run(240, QUIET, every_s=5)
    told = asked_of(driver)["treatment"]
    assert told["state"] == "contact" and told["left_s"] == pytest.approx(360.0, abs=1.0)
    driver.wall_ms += 3_600_000  # the wall clock is set: a contact lasts no shorter for it
    assert asked_of(driver)["treatment"]["left_s"] == pytest.approx(360.0, abs=1.0)
    driver.wall_ms -= 3_600_000
    driver.run(365, QUIET, every_s=5)
    assert asked_of(driver)["treatment"]["state"] == "contact_done"
    driver.record("water_path_treatment", step="ends")
    told = asked_of(driver)["treatment"]
    assert (told["state"], told["missing"]) == ("afterwards", ["drained", "rinsed"])
    driver.record("water_path_treatment", step="finished", drained=True, rinsed=False)
    told = asked_of(driver)["treatment"]
    assert (told["state"], told["missing"]) == ("afterwards", ["drained", "rinsed"]), "not begun anew"
    driver.record("water_path_treatment", step="finished", drained=True, rinsed=True)
    assert asked_of(driver)["treatment"]["state"] == "none"


def test_every_row_names_messages_records_and_keys_that_there_are() -> None:
    rows = [*answers._ASKED.items(), *answers._ALARMS.items()]
    for ident, row in rows:
        for record in row.records:
            assert set(row.keys) | set(row.given) <= set(FORMS[record].keys), ident
    for ident, row in answers._ASKED.items():
        fields = set(re.findall(r"{(\w+)", ENGLISH[ident]))
        assert set(row.keys.values()) - {"basin"} <= fields, ident


def test_every_message_that_names_a_kind_of_record_has_its_row() -> None:
    """Kinds of one word are words of the language too."""
    kinds = sorted((kind for kind in FORMS if "_" in kind), key=len, reverse=True)
    named = re.compile(rf"\b({'|'.join(kinds)})\b")
    without = {ident for ident, words in ENGLISH.items() if named.search(str(words))} - set(answers._ASKED)
    assert without == {
        "record.no_such_item",  # refusals, to who sent it
        "record.no_fill",
        "check.jumped.advice",  # any of four records may be what was done
        "form.key.checked",  # a section of the station file
    }


def test_a_message_of_no_record_and_one_that_cannot_be_read_answer_nothing() -> None:
    assert to_message(answers.Message("draw.ask")) == []
    desk = Desk()
    desk.fakes.judge.show(
        verdict=dict(desk.fakes.judge.newest.verdict) | {"waits_for": ["x"], "waits_for_msgs": [None]}
    )
    told = desk("GET", f"{ONE}/asks").json
    assert told["asks"] == [] and told["setup"] is None


def test_the_forms_say_who_may_make_each_record() -> None:
    told = Desk()("GET", f"{ONE}/forms").json["records"]
    assert list(told) == list(FORMS)
    assert {record: set(form["may"]) for record, form in told.items()} == {
        record: {str(role) for role in MAY_RECORD[record]} for record in FORMS
    }
    assert told["filter_change"]["needs"] == [["filters", "filter"]]
    assert told["disinfectant_fill"]["keys"][4] == {
        "key": "litres", "kind": "number", "says": "how much", "low": 0.01, "high": 1000.0, "words": [],
    }  # fmt: skip


def test_forms_and_refusals_are_said_in_the_viewers_language(desk: Desk) -> None:
    told = {code: desk("GET", f"{ONE}/forms?lang={code}").json["records"] for code in ("en", "de")}
    assert told["en"]["note"]["says"] == "A note." and told["de"]["note"]["says"] == "Eine Notiz."
    for record, form in told["en"].items():
        assert [key["says"] for key in form["keys"]] == [key.says for key in FORMS[record].keys.values()]
    opened, points = told["de"]["disinfectant_fill"]["keys"][3], told["de"]["calibration"]["keys"][1]
    assert opened["says"] == "wann der Behälter geöffnet wurde" and '[{"reference": "35.00 degC"' in points["says"]
    litres = next(key for key in told["de"]["disinfectant_fill"]["keys"] if key["key"] == "litres")
    expires = next(key for key in told["de"]["disinfectant_fill"]["keys"] if key["key"] == "expires")
    assert (litres["low"], litres["high"]) == (0.01, 1000.0) and expires["within_days"] == [-3650, 3650]
    fill = {"record": "disinfectant_fill", "by": "Kim", "litres": 2000}
    refused = desk("POST", f"{ONE}/records?lang=de&reader=page", fill)
    assert refused.status == 422 and refused.json["key"] == "litres"
    assert refused.json["said"] == "möglich ist 0,01 bis 1000" and refused.json["msg"]["id"] == "refused.between"
    assert "expected 0.01 to 1000" in refused.json["detail"]  # for programs as before


# -- drafts

TEST = f"{ONE}/drafts/daily_test"


def draft(version: int = 0, ports: list[dict[str, Any]] | None = None, **more: Any) -> dict[str, Any]:
    return {"version": version, "body": {"channel_ports": ports} if ports else {}, "state": {}} | more


@pytest.fixture
def desk() -> Desk:
    desk = Desk()
    desk.fakes.judge.newest = pictured(morning())
    return desk


def test_a_draft_is_found_by_another_device_and_ends_when_its_record_is_made(desk: Desk) -> None:
    kept = desk("PUT", TEST, draft(state={"running": {"port": 3, "began_ms": 4}}, by="M. Osei"))
    assert kept.status == 200 and kept.json["draft"]["version"] == 1
    found = desk("GET", f"{ONE}/drafts").json["drafts"]
    assert [(one["record"], one["by"], one["state"]["running"]["port"]) for one in found] == [
        ("daily_test", "M. Osei", 3)
    ]
    assert desk.fakes.judge.bodies == [], "no evidence"
    assert desk("POST", f"{ONE}/records", {"record": "daily_test", "by": "M. Osei", "passed": True}).status == 200
    assert desk("GET", f"{ONE}/drafts").json["drafts"] == []


def test_what_a_test_comes_to_is_the_stations_own_judgement(desk: Desk) -> None:
    slow = [{"port": 3, "seconds": 16.2}]
    told = desk("PUT", TEST, draft(ports=slow)).json["draft"]["comes_to"]
    assert told["passed"] is False and told["failed_ports"] == [3]
    assert "port 3 gave 100 ± 1 mL in 16.2 s" in told["text"] and "Reseat the connector at port 3" in told["advice"]
    good = [{"port": port, "seconds": 11.8} for port in range(1, 7)]
    told = desk("PUT", TEST, draft(1, good, body={"channel_ports": good, "checked": ["Lid closes and seals"]})).json
    assert told["draft"]["comes_to"] == {"passed": True, "text": "passed", "failed_ports": [], "advice": ""}


@pytest.mark.parametrize(
    "ports", [[{"port": 1, "seconds": -1}], "x", [{"port": {}}], [[]], [{"port": 1, "seconds": True}]], ids=str
)
def test_a_test_whose_form_is_wrong_comes_to_nothing_and_says_why(desk: Desk, ports: Any) -> None:
    told = desk("PUT", TEST, draft(body={"channel_ports": ports}))
    assert told.status == 200 and told.json["draft"]["comes_to"]["passed"] is None
    assert "channel_ports" in told.json["draft"]["comes_to"]["text"]


def test_whoever_was_quicker_keeps_the_draft(desk: Desk) -> None:
    assert desk("PUT", TEST, draft()).status == 200
    assert_problem(desk("PUT", TEST, draft()), 409, "somebody has changed this draft meanwhile", "version 1")
    assert desk("PUT", TEST, draft(1)).json["draft"]["version"] == 2
    assert desk("DELETE", TEST).json["ended"] is True
    assert desk("DELETE", TEST).json["ended"] is False


@pytest.mark.parametrize(
    ("target", "body", "status", "words"),
    [
        (f"{ONE}/drafts/daily_tset", draft(), 404, "nearest 'daily_test'"),
        (f"{TEST}?basin=lefft", draft(), 404, "no basin 'lefft'"),
        (TEST, draft(version=-1), 422, "a whole number"),
        (TEST, draft(version=True), 422, "a whole number"),
        (TEST, draft(body=[]), 422, "a JSON object"),
        (TEST, draft(state=None), 422, "a JSON object"),
        (TEST, draft(more=1), 422, "there is no field 'more'"),
        (TEST, draft(by=7), 422, "a name of at most 80"),
        (TEST, draft(state={"x": "y" * LONGEST_BYTES}), 413, "too long"),
    ],
)
def test_a_draft_that_cannot_be_used_is_refused_and_nothing_is_kept(
    desk: Desk, target: str, body: dict[str, Any], status: int, words: str
) -> None:
    assert_problem(desk("PUT", target, body), status, words)
    assert desk("GET", f"{ONE}/drafts").json["drafts"] == []


def test_drafts_are_few_and_expire() -> None:
    now = [1000.0]
    drafts = Drafts(lambda: now[0])
    for number in range(MOST):
        drafts.keep("hold", str(number), "", 0, {}, {}, "/")
    with pytest.raises(Problem, match="12 drafts already"):
        drafts.keep("hold", "one more", "", 0, {}, {}, "/")
    now[0] += EXPIRES_S - 1
    drafts.keep("hold", "0", "", 1, {}, {}, "/")
    now[0] += 1
    assert [one.basin for one in drafts.all()] == ["0"]
    drafts.keep("hold", "1", "", 0, {}, {}, "/")
    assert drafts.mono_ms() == round(now[0] * 1000)


def test_a_draft_is_attributed_to_whoever_is_signed_in_and_is_for_who_may_make_its_record(tmp_path: Path) -> None:
    (tmp_path / "made").mkdir()
    codes = set_up(tmp_path / "made")
    site = Site(copied(tmp_path / "made", tmp_path), codes)
    who, viewer = site.sign_in(TECHNICIAN), site.sign_in(VIEWER)
    assert site.ask("PUT", TEST, draft()).status == 401
    assert site.ask("PUT", TEST, draft(), who, proof="").status == 403, "without the page's proof"
    assert site.ask("PUT", TEST, draft(), viewer).status == 403
    assert site.ask("PUT", f"{ONE}/drafts/filter_change", draft(), who).status == 403, "a technician changes no filters"
    assert site.ask("PUT", TEST, draft(by=BIOMED), who).status == 403, "in nobody else's name"
    assert site.ask("PUT", TEST, draft(), who).json["draft"]["by"] == TECHNICIAN
    assert site.ask("DELETE", TEST).status == 401
    assert site.ask("DELETE", TEST, None, who).json["ended"] is True
