"""The lives of alarms: latched, unanswered, put aside with a reason, begun while nobody looked, and told of as over only when it is known.

States and transitions are those of IEC 62682 / ISA-18.2 (tests/handbook/test_alarm_rules.py); intervals of re-announcement are the
project's own.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from edge.domain.entries import Now
from edge.domain.readings import Role
from edge.domain.settings import AlarmTuning
from edge.domain.station.station import Station
from tests.unit.stations import HOUR, POINTS, PSI, QUIET, SETTINGS, Driver, kept, point, tuned

TRIP = "outlet_tripped:heater"
TRIPPED = QUIET | {"heater-outlet": 1.0}
MINUTE = 60_000


def told(driver: Driver, ident: str) -> list[dict[str, Any]]:
    return [dict(e.body) for e in driver.said if e.kind == "alarm" and e.body["id"] == ident]


def shown(driver: Driver, ident: str) -> dict[str, Any]:
    return driver.station.alarms(driver.now)[ident]


def restarted(driver: Driver, *, by: str) -> Driver:
    """The same station after a restart in another boot, ten minutes later."""
    after = Driver(driver.station.settings, driver.wall_ms + 10 * MINUTE, "boot-2")
    after.mono_ms = 5_000
    state = json.loads(json.dumps(driver.station.state())) if by == "state" else None
    after.station = Station(driver.station.settings, "boot-2", state)
    if by == "entries":
        for entry in driver.said:
            after.station.fold(entry)
    after.said = list(driver.said)
    return after


# -- latched


def latching() -> Driver:
    driver = Driver(tuned(outlet_tripped=AlarmTuning(latching=True)))
    driver.run(5)
    driver.run(5, TRIPPED)
    return driver


def test_a_latching_alarm_stays_until_somebody_resets_it() -> None:
    driver = latching()
    driver.run(5)
    assert shown(driver, TRIP)["state"] == "latched_unacknowledged" and not shown(driver, TRIP)["active"]
    early = kept(driver, "reset", alarm=TRIP)
    assert not early["counts"] and "latched unacknowledged: nothing changes" in early["why_not"]
    driver.record("acknowledge", alarm=TRIP)
    assert shown(driver, TRIP)["state"] == "latched_acknowledged"
    driver.record("reset", alarm=TRIP, by="Ana")
    assert shown(driver, TRIP)["state"] == "normal" and told(driver, TRIP)[-1]["by"] == "Ana"


def test_a_latching_alarm_that_comes_again_rings_anew() -> None:
    driver = latching()
    driver.record("acknowledge", alarm=TRIP)
    driver.run(5)
    assert driver.alarms(TRIP)[-1] == "latched_acknowledged"
    driver.run(5, TRIPPED)
    assert driver.alarms(TRIP)[-1] == "unacknowledged"


@pytest.mark.parametrize("by", ["state", "entries"])
def test_a_latched_alarm_stands_over_a_restart(by: str) -> None:
    driver = latching()
    driver.run(5)
    after = restarted(driver, by=by)
    after.run(5)
    assert shown(after, TRIP)["state"] == "latched_unacknowledged"


# -- unanswered


def ringing(**more: Any) -> Driver:
    driver = Driver(tuned(outlet_tripped=AlarmTuning(priority="medium", **more)))
    driver.run(5)
    driver.run(1, TRIPPED)
    return driver


def announcements(driver: Driver) -> list[tuple[int, int]]:
    """(minutes after the first, how often again)"""
    found = [e for e in driver.said if e.kind == "alarm" and e.body["id"] == TRIP and e.body["to"] == "unacknowledged"]
    return [((e.mono_ms - found[0].mono_ms) // MINUTE, e.body.get("again", 0)) for e in found]


def test_an_alarm_that_nobody_answers_is_announced_again_and_then_ever_more_seldom() -> None:
    driver = ringing(re_announce_ms=5 * MINUTE)
    driver.run(6 * 3600, TRIPPED, every_s=30)
    times = [at for at, _ in announcements(driver)]
    assert [after - before for before, after in pairwise(times)] == [5] * 10 + [10, 20, 40, 80, 160][: len(times) - 11]
    assert [again for _, again in announcements(driver)] == list(range(len(times))) and len(times) > 13
    body = told(driver, TRIP)[1]
    assert (body["from"], body["to"], body["cause"]) == (
        "unacknowledged",
        "unacknowledged",
        told(driver, TRIP)[0]["cause"],
    )
    assert shown(driver, TRIP)["again"] == len(times) - 1


def test_nothing_is_announced_again_unless_a_site_asks_for_it_nor_once_somebody_answered_nor_once_it_is_over() -> None:
    driver = ringing()
    driver.run(24 * 3600, TRIPPED, every_s=300)
    assert announcements(driver) == [(0, 0)]
    driver = ringing(re_announce_ms=5 * MINUTE, escalate_ms=15 * MINUTE)
    driver.run(7 * 60, TRIPPED, every_s=30)
    driver.record("acknowledge", alarm=TRIP)
    driver.run(3600, TRIPPED, every_s=30)
    assert announcements(driver) == [(0, 0), (5, 1)]
    driver = ringing(re_announce_ms=5 * MINUTE)
    driver.run(3600, QUIET, every_s=30)
    assert shown(driver, TRIP)["state"] == "returned_unacknowledged" and announcements(driver) == [(0, 0)]


def test_an_alarm_that_nobody_answers_rises_to_the_next_priority_once_and_falls_back_with_the_answer() -> None:
    driver = ringing(escalate_ms=15 * MINUTE)
    driver.run(3600, TRIPPED, every_s=30)
    assert announcements(driver) == [(0, 0), (15, 1)]
    assert [(body["priority"], body.get("escalated", False)) for body in told(driver, TRIP)] == [
        ("medium", False),
        ("high", True),
    ]
    assert shown(driver, TRIP)["priority"] == "high" and shown(driver, TRIP)["escalated"]
    driver.record("acknowledge", alarm=TRIP)
    assert shown(driver, TRIP)["priority"] == "medium" and not shown(driver, TRIP)["escalated"]


@pytest.mark.parametrize("by", ["state", "entries"])
def test_what_was_announced_goes_on_counting_over_a_restart(by: str) -> None:
    driver = ringing(re_announce_ms=60 * MINUTE, escalate_ms=90 * MINUTE)
    driver.run(65 * 60, TRIPPED, every_s=30)
    after = restarted(driver, by=by)  # ten minutes without power: a quarter of an hour since it was announced again
    after.run(30 * 60, TRIPPED, every_s=30)
    last = told(after, TRIP)[-1]
    assert last["escalated"] and last["again"] == 2
    at = [e.wall_ms for e in after.said if e.kind == "alarm" and e.body["id"] == TRIP]
    assert abs(at[-1] - at[0] - 90 * MINUTE) < MINUTE
    assert after.station.desk.alarms[TRIP].announced is not None and shown(after, TRIP)["again"] == 2


# -- first-out


def test_of_alarms_that_come_together_the_first_says_that_it_was() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(3, TRIPPED)
    driver.run(40, TRIPPED | {"supply": 70 * PSI})
    first, second = told(driver, TRIP)[0], told(driver, "static_high")[0]
    assert first.get("first_out") is True and "first_out" not in second
    assert shown(driver, TRIP)["first_out"] and not shown(driver, "static_high")["first_out"]
    driver.record("acknowledge", alarm=TRIP)
    assert not shown(driver, TRIP)["first_out"] and not shown(driver, "static_high")["first_out"]


# -- begun while nobody looked


def test_what_was_there_at_the_first_reading_stands_since_then_at_the_latest() -> None:
    driver = Driver()
    driver.run(5, TRIPPED)
    assert told(driver, TRIP)[0].get("since_at_latest") is True and shown(driver, TRIP)["since_at_latest"]
    watched = Driver()
    watched.run(5)
    watched.run(5, TRIPPED)
    assert "since_at_latest" not in told(watched, TRIP)[0] and not shown(watched, TRIP)["since_at_latest"]


@pytest.mark.parametrize("by", ["state", "entries"])
def test_what_began_during_an_outage_is_told_as_since_at_the_latest(by: str) -> None:
    driver = Driver()
    driver.run(60)
    after = restarted(driver, by=by)
    after.run(5, TRIPPED)
    assert told(after, TRIP)[-1].get("since_at_latest") is True
    again = restarted(after, by=by)
    again.run(5, TRIPPED)
    assert shown(again, TRIP)["since_at_latest"] and len(told(again, TRIP)) == 1, "a restart is no news"


# -- over, and known to be


def test_a_cleared_alarm_s_old_cause_is_not_said_as_if_it_were_there() -> None:
    driver = Driver()
    driver.run(5)
    driver.run(5, TRIPPED)
    cause = shown(driver, TRIP)["cause"]
    driver.run(5)
    assert told(driver, TRIP)[-1]["cause"] == shown(driver, TRIP)["cause"] == f"right again; before: {cause}"
    driver.run(900, every_s=5)
    driver.run(5, TRIPPED)
    assert shown(driver, TRIP)["cause"] == cause
    driver.record("acknowledge", alarm=TRIP)
    driver.run(60)
    assert shown(driver, TRIP)["state"] == "normal" and shown(driver, TRIP)["cause"] == ""


@pytest.mark.parametrize("latching", [False, True])
def test_while_it_may_come_again_an_alarm_that_is_over_says_so(latching: bool) -> None:
    driver = Driver(tuned(outlet_tripped=AlarmTuning(on_delay_ms=MINUTE, off_delay_ms=MINUTE, latching=latching)))
    driver.run(5)
    driver.run(70, TRIPPED)
    cause = shown(driver, TRIP)["cause"]
    driver.run(70)
    before = shown(driver, TRIP)
    assert before["state"].endswith("_unacknowledged") and before["cause"] == f"right again; before: {cause}"
    driver.run(30, TRIPPED)  # its on-delay runs: nothing is known yet
    assert shown(driver, TRIP) == before
    driver.record("acknowledge", alarm=TRIP)
    assert told(driver, TRIP)[-1]["cause"] == before["cause"]
    driver.run(40, TRIPPED)
    again = told(driver, TRIP)[-1]
    assert again["cause"] == cause and again["present"] and again["since"] > before["since"]


TRAY = replace(SETTINGS, points=(*POINTS, point("tray", Role.LEAK, 0.0, 1.0)))


@pytest.mark.parametrize("by", [None, "state", "entries"])
def test_a_leak_contact_that_said_wet_and_is_heard_no_more_is_no_all_clear(by: str | None) -> None:
    driver = Driver(TRAY)
    driver.run(60, QUIET | {"tray": 0.0})
    driver.run(5, QUIET | {"tray": 1.0})
    if by is not None:
        driver = restarted(driver, by=by)
    driver.run(600, QUIET)
    assert shown(driver, "leak")["active"] and driver.alarms("leak") == ["unacknowledged"]
    assert driver.condition("no_leak")["state"] == "unmet"
    driver.run(5, QUIET | {"tray": 0.0})
    assert driver.alarms("leak") == ["unacknowledged", "returned_unacknowledged"]


def test_a_duty_that_is_owed_is_not_told_as_done_because_the_clock_is_not_known() -> None:
    driver = Driver()
    driver.run(300, every_s=5)
    assert driver.alarms("duty_due:daily_test") == ["unacknowledged"]
    driver.trusted = False
    driver.run(300, every_s=5)
    assert driver.condition("daily_test")["state"] == "unknown" and driver.alarms("duty_due:daily_test") == [
        "unacknowledged"
    ]
    driver.trusted = True
    driver.record("daily_test", passed=True)
    driver.run(60, every_s=5)
    assert driver.alarms("duty_due:daily_test")[-1] == "returned_unacknowledged"


# -- what to do now


def test_the_response_of_a_silent_sensor_is_its_advice_itself_and_that_of_a_duty_what_it_asks_for() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(60, {name: value for name, value in QUIET.items() if name != "room"})
    seen = shown(driver, "silent:room")
    assert seen["active"] and "room: " in seen["response"] and "follow" not in seen["response"].lower()
    assert seen["response"] != shown(driver, "silent:flow")["response"], "of a point that is heard it is the row's"
    due = shown(driver, "duty_due:daily_test")
    assert due["active"] and due["response"] in driver.station.verdict(driver.now)["waits_for"]
    assert due["response_msg"]["id"] == "daily_test.ask"


def test_no_row_sends_people_to_look_for_what_to_do() -> None:
    for one in Driver().station.alarms(Now(1, 1, True)).values():
        assert "advice" not in one["response"] and one["response_msg"]["id"], one["id"]


# -- how often


def test_how_often_the_limit_was_passed_is_shown_though_it_is_one_alarm() -> None:
    driver = Driver()
    driver.run(600, lambda t: QUIET | {"supply": (60.0 + (0.4 if int(t) % 2 else -0.4)) * PSI})
    seen = shown(driver, "static_high")
    assert driver.alarms("static_high") == ["unacknowledged"] and 250 <= seen["crossings"] <= 300
    driver.run(3600, every_s=5)
    assert shown(driver, "static_high")["crossings"] == 0
    driver.run(120, lambda t: QUIET | {"heater-outlet": float(int(t) // 5 % 2)})
    assert shown(driver, TRIP)["active"] and shown(driver, TRIP)["crossings"] >= 10


# -- put aside


@pytest.mark.parametrize("by", ["state", "entries"])
def test_an_alarm_out_of_service_says_who_and_why_over_a_restart(by: str) -> None:
    driver = Driver()
    driver.run(5)
    body = kept(driver, "out_of_service", alarm=TRIP, by="Ana")
    assert not body["counts"] and "why" in body["why_not"], "nobody takes an alarm out of service without a reason"
    driver.record("out_of_service", alarm=TRIP, by="Ana", why="its contact is being replaced")
    after = restarted(driver, by=by)
    after.run(5, TRIPPED)
    seen = shown(after, TRIP)
    assert (seen["state"], seen["aside_by"], seen["aside_why"]) == (
        "out_of_service",
        "Ana",
        "its contact is being replaced",
    )
    after.record("in_service", alarm=TRIP)
    assert shown(after, TRIP)["state"] == "unacknowledged" and shown(after, TRIP)["aside_why"] is None


@pytest.mark.parametrize("by", ["state", "entries"])
def test_a_shelf_that_is_set_anew_ends_as_the_last_word_says_also_after_a_restart(by: str) -> None:
    driver = Driver()
    driver.run(5, TRIPPED)
    driver.record("shelve", alarm=TRIP, minutes=30, why="licensed staff are on their way")
    driver.record("shelve", alarm=TRIP, minutes=240)
    after = restarted(driver, by=by)
    after.run(2 * 3600, TRIPPED, every_s=60)
    assert shown(after, TRIP)["state"] == "shelved"
    after.run(2 * 3600, TRIPPED, every_s=60)
    assert shown(after, TRIP)["state"] == "unacknowledged"
    assert after.wall_ms - driver.wall_ms < 5 * HOUR


@pytest.mark.parametrize("by", ["early technician", "kim"])
def test_who_releases_a_hold_has_answered_its_alarm(by: str) -> None:
    """Acknowledging is an operator's action that shows that an alarm was recognised (IEC 62682, from memory): releasing is one."""
    driver = Driver()
    driver.run(5)
    driver.record("hold", why="culture", name="culture")
    driver.record("hold", why="recall", name="recall")
    driver.record("release", name="culture", by=by)
    assert shown(driver, "hold")["state"] == "unacknowledged", "another hold stands"
    driver.record("release", name="recall", by=by)
    assert driver.alarms("hold")[-2:] == ["acknowledged", "normal"]
    assert [one["by"] for one in told(driver, "hold") if one["to"] == "acknowledged"] == [by]
    mistake = driver.record("hold", why="the other bench")[0].seq
    assert shown(driver, "hold")["state"] == "unacknowledged"
    driver.record("correction", of=mistake)
    assert driver.alarms("hold")[-3:] == ["unacknowledged", "acknowledged", "normal"]


def test_what_goes_by_itself_waits_for_an_acknowledgement_all_the_same() -> None:
    driver = Driver()
    driver.run(5)
    driver.tell(heater_outlet=1.0)
    driver.run(5)
    driver.record("release")  # it ends no hold, and answers for no trip
    assert shown(driver, "outlet_tripped:heater")["state"] == "returned_unacknowledged"
