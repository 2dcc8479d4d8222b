"""A station with two basins: each has a verdict of its own, which rests on what both share and on what is its own.

That each basin is judged by itself is this project's promise, as are all rules here: no published source. A failed port 7 of twelve is the
first port of the second basin of six.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest

from edge.api import models
from edge.cli.status_text import Picture, verdict_lines
from edge.demo.view import PlainLines
from edge.domain.entries import Now
from edge.domain.records.book import RecordBook
from edge.domain.records.fact import Fact
from edge.domain.settings import Basin, DailyTest, Settings
from edge.domain.station.dropped import asked_before
from edge.domain.station.station import Station
from edge.replay.text import entry_words, verdict_words
from edge.snapshot import Snapshot
from tests.asyncapi_kit import Contract
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS, Driver, kept

TWO = replace(SETTINGS, basins=(Basin("left", 6), Basin("right", 6)))
EVERY = replace(TWO, daily_test=DailyTest(100.0, 15.0, "every port"))
#: how a whole station's conditions are named, and each basin's
OWN = ("free", "no_hold", "daily_test")


def station(settings: Settings = TWO, *, tested: bool = True) -> Driver:
    """READY in all but the daily test, which is done where `tested`."""
    driver = Driver(settings)
    driver.run(130, QUIET)
    driver.run(60, DRAWING)
    driver.run(300, QUIET, every_s=5)
    driver.duties_done()
    if not tested:
        driver.run(60, QUIET | {"power": 0.0}, every_s=5)
        driver.run(60, QUIET, every_s=5)
    driver.run(5, QUIET)
    return driver


def words(driver: Driver) -> dict[str, str]:
    return {one["basin"]: one["verdict"] for one in driver.station.verdict(driver.now)["verdicts"]}


def of(driver: Driver, basin: str) -> Mapping[str, Any]:
    return next(one for one in driver.station.verdict(driver.now)["verdicts"] if one["basin"] == basin)


def states(driver: Driver, name: str) -> tuple[str, str]:
    return driver.condition(f"{name}:left")["state"], driver.condition(f"{name}:right")["state"]


def ports(**seconds: float) -> list[dict[str, Any]]:
    return [{"port": int(port.removeprefix("p")), "seconds": s} for port, s in seconds.items()]


def every(count: int, **slow: float) -> list[dict[str, Any]]:
    return ports(**({f"p{n}": 11.0 for n in range(1, count + 1)} | slow))


def test_each_basin_has_conditions_and_an_alarm_of_its_own_and_a_verdict_in_the_files_order() -> None:
    driver = station()
    ids = [one["id"] for one in driver.station.verdict(driver.now)["conditions"]]
    assert [one for one in ids if one.partition(":")[0] in OWN] == [
        "free", "free:left", "free:right", "no_hold", "no_hold:left", "no_hold:right", "daily_test:left", "daily_test:right",
    ]  # fmt: skip
    assert {"duty_due:daily_test:left", "duty_due:daily_test:right"} < set(driver.station.alarms(driver.now))
    assert "duty_due:daily_test" not in driver.station.alarms(driver.now)
    assert words(driver) == {"left": "ready", "right": "ready"} and list(words(driver)) == ["left", "right"]
    assert of(driver, "left")["conditions"] == [one for one in ids if not one.endswith(":right")]


def test_a_station_with_one_basin_has_nothing_of_this() -> None:
    driver = station(SETTINGS)
    told = driver.station.verdict(driver.now)
    assert "verdicts" not in told and not {one["id"] for one in told["conditions"]} & {"free:basin", "daily_test:basin"}
    assert all("basins" not in entry.body for entry in driver.said if entry.kind == "verdict")
    driver.record("hold", basin="basin")  # naming the only one holds the station
    assert driver.condition("no_hold")["state"] == "unmet"


def test_a_filter_that_is_called_as_a_basin_is_shared_by_both() -> None:
    filters = (replace(SETTINGS.filters[0], id="left"), replace(SETTINGS.filters[1], id="right"))
    driver = Driver(replace(TWO, filters=filters))
    driver.run(5, QUIET)
    assert {"filter:left", "filter:right", "outlet:heater"} <= set(of(driver, "left")["conditions"])


def test_a_hold_of_one_basin_leaves_the_other_ready() -> None:
    driver = station()
    driver.record("hold", basin="left", why="culture taken")
    assert words(driver) == {"left": "not_ready", "right": "ready"} and driver.verdict() == "not_ready"
    assert driver.condition("no_hold")["state"] == "met" and states(driver, "no_hold") == ("unmet", "met")
    assert (
        of(driver, "left")["waits_for"] == ["Have the hold of basin left released"]
        and of(driver, "right")["waits_for"] == []
    )
    alarm = driver.station.alarms(driver.now)["hold"]
    assert alarm["active"] and alarm["cause"] == "basin left held by early technician: culture taken"
    assert kept(driver, "release", basin="right")["why_not"] == "nothing is held in basin right alone"
    assert kept(driver, "release", basin="left")["counts"] and words(driver) == {"left": "ready", "right": "ready"}
    assert not driver.station.alarms(driver.now)["hold"]["active"]


@pytest.mark.parametrize(
    ("release", "left_over"),
    [
        ({}, []),
        ({"basin": "left"}, ["right", "station"]),
        ({"name": "A"}, ["station"]),
        ({"name": "A", "basin": "right"}, ["left", "station"]),
    ],
    ids=str,
)
def test_a_release_ends_the_holds_that_it_is_about(release: dict[str, str], left_over: list[str]) -> None:
    driver = station()
    for basin in ("left", "right"):
        driver.record("hold", basin=basin, name="A")
    driver.record("hold")
    assert kept(driver, "release", **release)["counts"]
    found = {"left": "no_hold:left", "right": "no_hold:right", "station": "no_hold"}
    assert [one for one, ident in found.items() if driver.condition(ident)["state"] == "unmet"] == left_over


def test_a_release_of_a_basin_answers_for_nothing_else() -> None:
    """Lost entries are answered for by whoever releases the station, and finds no hold."""
    driver = station()
    driver.record("daily_test", basin="left", channel_ports=ports(p3=20.0))
    gone = Driver(replace(SETTINGS, basins=(Basin("right", 6),)))
    for entry in driver.said:
        gone.station.fold(entry)
    gone.run(5, QUIET)
    assert gone.condition("no_hold")["text"].endswith("(daily test left), and nothing in the station file looks at it")
    gone.said = list(driver.said)
    gone.record("release", basin="right")
    assert gone.condition("no_hold")["state"] == "unmet"
    assert kept(gone, "release")["counts"] and gone.condition("no_hold")["state"] == "met"


def test_work_in_one_basin_leaves_the_other_free_and_is_no_phase() -> None:
    driver = station()
    driver.record("work_begins", basin="right", what="seal")
    assert words(driver) == {"left": "ready", "right": "not_ready"}
    assert driver.condition("free")["state"] == "met" and states(driver, "free") == ("met", "unmet")
    assert driver.station.verdict(driver.now)["phase"] == "idle"
    assert of(driver, "right")["display"] == "not_ready" and of(driver, "left")["display"] == "ready"
    assert kept(driver, "work_ends", basin="left")["why_not"] == "no work was declared in basin left"
    driver.record("work_begins")
    assert driver.station.verdict(driver.now)["phase"] == "at_work" and set(words(driver).values()) == {"not_ready"}
    assert kept(driver, "work_ends", basin="right")["counts"]
    assert states(driver, "free") == ("met", "met") and driver.condition("free")["state"] == "unmet"
    assert kept(driver, "work_ends")["counts"] and set(words(driver).values()) == {"ready"}


def test_who_ends_work_without_a_basin_ends_all_their_own() -> None:
    driver = station()
    for body in ({"basin": "left"}, {"basin": "right", "by": "kim"}, {"basin": "right"}):
        driver.record("work_begins", **body)
    driver.record("work_ends")
    assert states(driver, "free") == ("met", "unmet")
    assert "by kim" in driver.condition("free:right")["text"]


def test_a_power_up_makes_both_tests_due_and_one_record_does_both() -> None:
    driver = station(tested=False)
    assert states(driver, "daily_test") == ("unmet", "unmet") and set(words(driver).values()) == {"not_ready"}
    assert of(driver, "left")["waits_for"] == ["Basin left: do the daily test and record it"]
    driver.run(70, QUIET, every_s=5)
    for basin in ("left", "right"):
        assert driver.alarms(f"duty_due:daily_test:{basin}")[-1] == "unacknowledged"
    driver.record("daily_test", passed=True)
    assert set(words(driver).values()) == {"ready"}
    due = driver.station.alarms(driver.now)["duty_due:daily_test:left"]["duty"]
    assert due["by"] == "early technician" and due["due_at"] == "2026-03-17T00:00:00.000Z"


def test_a_test_of_one_basin_answers_for_that_one_alone() -> None:
    driver = station(tested=False)
    assert kept(driver, "daily_test", basin="right", passed=True)["counts"]
    assert words(driver) == {"left": "not_ready", "right": "ready"}
    assert kept(driver, "daily_test", basin="left", channel_ports=ports(p6=11.8))["counts"]
    assert set(words(driver).values()) == {"ready"}
    assert kept(driver, "daily_test", basin="left", channel_ports=ports(p7=11.8))["why_not"] == (
        "there is no channel port 7: they are 1 to 6"
    )


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ({"channel_ports": ports(p3=11.0, p7=20.0)}, ("met", "unmet")),
        ({"channel_ports": ports(p3=20.0, p7=11.0)}, ("unmet", "met")),
        ({"channel_ports": ports(p3=20.0, p7=20.0)}, ("unmet", "unmet")),
        ({"channel_ports": ports(p3=11.0, p7=20.0), "passed": False}, ("met", "unmet")),
        ({"channel_ports": ports(p3=11.0), "passed": False}, ("unmet", "unmet")),
        ({"channel_ports": ports(p3=11.0)}, ("met", "met")),  # of weak ports alone: the others were adequate by eye
        ({"passed": False}, ("unmet", "unmet")),
        ({"failed": ["lid"]}, ("unmet", "unmet")),
        ({"basin": "right", "failed": ["lid"]}, ("due", "unmet")),
        ({"basin": "right", "channel_ports": ports(p1=20.0)}, ("due", "unmet")),
        ({"channel_ports": ports(p7=20.0)}, ("due", "unmet")),  # nothing is told of the left one
        ({"channel_ports": [*ports(p3=11.0, p7=20.0), {"seconds": 20.0}]}, ("unmet", "unmet")),  # a form's fault; of which, nobody knows
        ({"channel_ports": ports(p3=11.0, p7=20.0, p13=20.0)}, ("unmet", "unmet")),  # a port that there is not
        ({"channel_ports": ports(p3=11.0, p7=20.0, p13=11.0)}, ("due", "unmet")),
    ],
    ids=str,
)  # fmt: skip
def test_ports_decide_each_for_their_own_basin(body: dict[str, Any], expected: tuple[str, str]) -> None:
    driver = station(replace(TWO, daily_test=DailyTest(100.0, 15.0, "weak ports")), tested=False)
    driver.record("daily_test", **body)
    told = [driver.condition(f"daily_test:{basin}") for basin in ("left", "right")]
    assert tuple("due" if "due:" in one["text"] else one["state"] for one in told) == expected


def test_what_failed_stands_in_its_basin_until_that_port_is_measured_again() -> None:
    driver = station()
    driver.record("daily_test", channel_ports=ports(p2=11.0, p7=20.0))
    assert driver.condition("daily_test:right")["text"].startswith(
        "the last daily test failed: port 7 gave 100 mL in 20 s"
    )
    assert "port 7" in of(driver, "right")["waits_for"][0] and of(driver, "right")["waits_for"][0].startswith(
        "Basin right: "
    )
    assert words(driver) == {"left": "ready", "right": "not_ready"}
    assert "port 1 failed" in kept(driver, "daily_test", basin="right", passed=True)["why_not"]
    assert "port 7 failed" in kept(driver, "daily_test", passed=True)["why_not"]
    assert kept(driver, "daily_test", basin="left", passed=True)["counts"]  # the other one has nothing to make good
    driver.record("daily_test", channel_ports=ports(p3=20.0, p8=11.0))
    assert states(driver, "daily_test") == ("unmet", "unmet"), "port 7 was left out of a test that failed elsewhere"
    assert kept(driver, "daily_test", basin="right", channel_ports=ports(p1=11.0))["counts"]
    assert words(driver) == {"left": "not_ready", "right": "ready"}
    assert kept(driver, "daily_test", channel_ports=ports(p3=12.0))["counts"] and driver.verdict() == "ready"


def test_every_port_means_those_of_the_basin_that_is_told_of() -> None:
    driver = station(EVERY, tested=False)
    assert kept(driver, "daily_test", basin="left", passed=True)["why_not"].startswith("no channel port measured")
    assert (
        kept(driver, "daily_test", basin="left", channel_ports=every(5))["why_not"] == "5 of 6 channel ports measured"
    )
    assert kept(driver, "daily_test", basin="left", channel_ports=every(6))["counts"]
    assert states(driver, "daily_test") == ("met", "unmet")
    assert kept(driver, "daily_test", channel_ports=every(6))["why_not"] == "6 of 12 channel ports measured"
    assert kept(driver, "daily_test", channel_ports=every(12, p12=16.0))["counts"]
    assert (
        states(driver, "daily_test") == ("met", "unmet") and "port 12" in driver.condition("daily_test:right")["text"]
    )
    driver.record("daily_test", channel_ports=every(7, p7=16.0))
    assert kept(driver, "daily_test", channel_ports=every(12))["counts"]
    assert states(driver, "daily_test") == ("met", "met")


def test_a_basin_without_channel_ports_is_tested_by_eye() -> None:
    driver = station(replace(EVERY, basins=(Basin("left", 6), Basin("tray", 0))), tested=False)
    assert kept(driver, "daily_test", basin="tray", passed=True)["counts"]
    assert [driver.condition(f"daily_test:{basin}")["state"] for basin in ("left", "tray")] == ["unmet", "met"]


def test_a_treatment_waits_for_the_tests_of_both_basins() -> None:
    driver = station()
    driver.pass_to(driver.mono_ms + 24 * HOUR)
    driver.record("daily_test", basin="left", passed=True)
    why = kept(driver, "water_path_treatment", contact_min=12)["why_not"]
    assert why == "that day's daily test had not passed before it"
    driver.record("daily_test", basin="right", passed=True)
    assert kept(driver, "water_path_treatment", contact_min=12)["counts"]


def test_a_correction_gives_back_what_it_takes_out_of_the_count() -> None:
    driver = station()
    held = driver.record("hold", basin="left")[0].seq
    tested = driver.record("daily_test", basin="right", channel_ports=ports(p1=20.0))[0].seq
    assert set(words(driver).values()) == {"not_ready"}
    driver.record("correction", of=held)
    assert words(driver) == {"left": "ready", "right": "not_ready"}
    driver.record("correction", of=tested)
    assert set(words(driver).values()) == {"ready"}


@pytest.mark.parametrize("record", ["daily_test", "hold", "release", "work_begins", "work_ends"])
def test_a_basin_that_there_is_not_does_not_count_and_is_told_with_the_nearest(record: str) -> None:
    driver = station()
    body = kept(driver, record, basin="lefft", **({"passed": True} if record == "daily_test" else {}))
    assert not body["counts"] and body["why_not"].startswith("no such basin at this station: lefft; nearest: left")


def test_what_keeps_a_basin_that_there_is_not_from_starting_keeps_the_station() -> None:
    driver = station()
    driver.record("hold", basin="lefft")
    assert driver.condition("no_hold")["state"] == "unmet" and set(words(driver).values()) == {"not_ready"}
    driver.record("release")
    driver.record("work_begins", basin="lefft")
    assert driver.condition("free")["state"] == "unmet" and driver.station.verdict(driver.now)["phase"] == "at_work"
    driver.record("work_ends")
    driver.record("daily_test", basin="lefft", channel_ports=ports(p1=20.0))
    assert "nothing in the station file looks at it" in driver.condition("no_hold")["text"]
    driver.record("release")
    assert driver.verdict() == "ready"


def test_an_entry_tells_of_a_basin_that_changed_though_the_station_did_not() -> None:
    driver = station()
    driver.record("hold", basin="left")
    driver.record("hold", basin="right")
    driver.record("release", basin="left")
    told = [entry.body for entry in driver.said if entry.kind == "verdict"][-3:]
    assert [(one["from"], one["to"], one["basins"]) for one in told] == [
        ("ready", "not_ready", {"left": "not_ready", "right": "ready"}),
        ("not_ready", "not_ready", {"left": "not_ready", "right": "not_ready"}),
        ("not_ready", "not_ready", {"left": "ready", "right": "not_ready"}),
    ]
    assert told[-1]["why"] == ["no_hold:right: basin right held by early technician: no reason given"]


def test_what_is_published_of_basins_is_as_the_documents_for_others_say() -> None:
    """By the AsyncAPI document alone (tests/asyncapi_kit.py), and by the models of OpenAPI."""
    driver, contract, base = station(), Contract(), f"warmwell/1/{TWO.site}/{TWO.id}"
    driver.record("hold", basin="left")
    told = driver.station.verdict(driver.now)
    assert contract.faults(f"{base}/verdict", told | {"fresh_until": told["at"]}) == []
    assert models.Verdict.model_validate(told | {"seq": 1, "quiet_s": 0.0}).verdicts[1].basin == "right"
    for alarm in ("duty_due/daily_test/left", "duty_due/daily_test/right"):
        assert contract.place(f"{base}/alarm/{alarm}") is not None
    entry = next(one for one in reversed(driver.said) if one.kind == "verdict")
    line = {"site": TWO.site, "station": TWO.id, "journal": "0" * 16, "digest": "0" * 64, **entry.as_json()}
    assert contract.faults(f"{base}/journal", line) == []
    wrong = line | {"body": {**line["body"], "basins": {"left": "perhaps"}}}
    assert contract.faults(f"{base}/journal", wrong) != []


def test_what_failed_in_a_basin_is_not_forgotten_for_all_that_came_after_in_the_other() -> None:
    book = RecordBook(TWO, ZoneInfo(TWO.timezone))

    def add(seq: int, **body: Any) -> None:
        book.add(Fact(seq, "daily_test", seq * 60_000, {"by": "kim", **body}, True))

    add(1, channel_ports=ports(p2=20.0, p7=11.0))
    for seq in range(2, book.MOST + 60):
        add(seq, basin="right", passed=True)
    assert len(book.facts) < book.MOST
    left, right = book.tested("left"), book.tested("right")
    assert left is not None and left.seq == 1 and not book.passed(left, "left")
    assert right is not None and right.seq == book.MOST + 59


def test_after_a_restart_each_basin_is_as_it_was_from_the_entries_and_from_the_state() -> None:
    driver = station()
    driver.record("hold", basin="left")
    driver.record("daily_test", channel_ports=ports(p2=11.0, p7=20.0))
    driver.record("work_begins", basin="right")
    driver.run(70, QUIET, every_s=5)  # until its alarm is announced
    before = driver.station.verdict(driver.now)
    folded = Station(TWO, "boot-1")
    for entry in driver.said:
        folded.fold(entry)
    restored = Station(TWO, "boot-1", driver.station.state())
    assert folded.state() == restored.state() == driver.station.state()
    for again in (folded, restored):
        told = again.verdict(driver.now)
        mine = [f"{name}:{basin}" for name in OWN for basin in ("left", "right")]
        own = {c["id"]: (c["state"], c["text"]) for c in told["conditions"] if c["id"] in mine}
        assert own == {c["id"]: (c["state"], c["text"]) for c in before["conditions"] if c["id"] in own}
        drafts = again.advance(Now(driver.mono_ms + 1_000, driver.wall_ms + 1_000, True))
        assert [d.body["basins"] for d in drafts if d.kind == "verdict"] in (
            [],
            [{"left": "not_ready", "right": "not_ready"}],
        )


def test_a_basin_that_comes_or_goes_drops_no_test_that_is_asked_for_still() -> None:
    one, two = station(SETTINGS, tested=False), station(tested=False)
    owed = one.station.owed(one.now)
    assert "daily_test" in owed and not two.station.settings_changed(owed, two.now)
    assert set(two.station.owed(two.now)) == {"daily_test:left", "daily_test:right"}
    met = station()
    gone = met.station.settings_changed(two.station.owed(two.now), met.now)
    assert [set(draft.body["owed"]) for draft in gone] == [{"daily_test:left", "daily_test:right"}]
    assert set(asked_before({"daily_test": {}}, ["free"])) == {"daily_test"}
    assert asked_before({"daily_test": {}}, ["free", "daily_test:left", "daily_test:right"]) == {}


def test_a_terminal_and_a_replay_show_a_line_or_a_clause_of_each_basin() -> None:
    driver = station()
    driver.record("hold", basin="right", why="culture taken")
    told = driver.station.verdict(driver.now)
    right = "basin right: NOT READY: Have the hold of basin right released"
    lines = list(verdict_lines(Picture(told, {"timezone": "UTC"})))
    assert lines[2] == "  do first: Have the hold of basin right released"
    assert lines[4:6] == ["  basin left: READY", f"  {right}"]
    assert verdict_words(told, driver.station.view.zone).endswith(f"; basin left: READY; {right}")
    body = next(entry.body for entry in reversed(driver.said) if entry.kind == "verdict")
    assert entry_words("verdict", body).startswith(
        "ready -> not_ready; basin left ready; basin right not_ready; no_hold:right: "
    )
    picture = Snapshot(1, 0, driver.now, cast(Any, told))
    shown = io.StringIO()
    view = PlainLines(driver.station.view.zone, shown)
    for _ in range(2):
        view.show(picture)
    assert shown.getvalue().splitlines()[1:] == ["  basin left: READY", f"  {right}"]


def test_what_one_basin_alone_owes_or_is_held_for_says_which() -> None:
    driver = station()
    driver.record("hold", basin="left", why="culture")
    driver.pass_to(driver.mono_ms + 24 * HOUR)
    driver.run(90)
    alarms = driver.station.alarms(driver.now)
    assert alarms["hold"]["consequence"] == "Held, and may not start: basin left"
    due = alarms["duty_due:daily_test:right"]
    assert due["consequence"] == "Basin right may not start until it is done" and due["active"]
    assert due["consequence_msg"]["values"]["basin"]["value"] == "right"
    driver.record("hold", why="all of it")
    assert driver.station.alarms(driver.now)["hold"]["consequence"] == "The station is held and may not start"
