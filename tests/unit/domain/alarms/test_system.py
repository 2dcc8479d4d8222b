"""What an alarm says of itself: since when, and why, whatever the clock did and whoever put it aside."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.entries import Draft, Entry, Now, rfc3339, wall_ms_of
from edge.domain.settings import AlarmTuning
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import DRAWING, HOUR, MONDAY, PSI, QUIET, SETTINGS, Driver, kept, tuned

TRIP = "outlet_tripped:heater"
#: what a record needs beside its alarm
MORE: dict[str, dict[str, Any]] = {
    "shelve": {"minutes": 10},
    "out_of_service": {"why": "its contact is being replaced"},
}


#: what an alarm's entry says of it; that it comes and goes while it is put aside is no entry
SAID = ("state", "answered", "of", "seq", "at", "aside", "announced")


def tripped_then_clock_back(by_ms: int) -> Driver:
    driver = Driver()
    driver.run(60)
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    driver.wall_ms += by_ms
    driver.keep(driver.station.clock_step(driver.now, by_ms, "set by hand"))
    driver.run(10, QUIET | {"heater-outlet": 1.0})
    return driver


def live(driver: Driver, event: str) -> None:
    """A trip, a return, or what somebody does."""
    if event in ("trip", "right"):
        driver.run(3, QUIET | {"heater-outlet": float(event == "trip")})
    else:
        driver.record(event, alarm=TRIP, by="Ann", **MORE.get(event, {}))


def test_after_every_short_history_of_answers_the_entries_say_what_the_saved_state_says() -> None:
    for history in product(
        ("trip", "right", "acknowledge", "shelve", "unshelve", "out_of_service", "in_service"), repeat=3
    ):
        driver = Driver()
        driver.run(3)
        for event in ("trip", *history):
            live(driver, event)
        after = Station(SETTINGS, driver.boot)
        for entry in driver.said:
            after.fold(entry)
        told, kept = (one.state()["alarms"][TRIP] for one in (after, driver.station))
        assert [told[key] for key in SAID] == [kept[key] for key in SAID], history


@pytest.mark.parametrize("state", [True, False])
@pytest.mark.parametrize("is_answered", [True, False])
def test_an_alarm_that_stands_for_another_hold_says_so(is_answered: bool, state: bool) -> None:
    made = Bench(SETTINGS)
    made.run(3)
    made.record("hold", why="culture")
    made.run(70)
    if is_answered:
        made.record("acknowledge", alarm="hold", by="Ann")
    made.start_again(state=state)
    made.record("hold", why="recall")
    made.run(3)
    told = [entry.body for entry in made.said if entry.kind == "alarm" and entry.body["id"] == "hold"]
    assert "recall" in told[-1]["cause"] and told[-1]["to"] == "unacknowledged"
    assert [body["from"] for body in told] == (
        ["normal", "unacknowledged", "acknowledged"] if is_answered else ["normal", "unacknowledged"]
    )
    assert "recall" in made.station.alarms(made.now)["hold"]["cause"]
    made.run(600, every_s=20)
    assert len([entry for entry in made.said if entry.kind == "alarm" and entry.body["id"] == "hold"]) == len(told)


def test_a_hold_that_follows_another_within_seconds_is_told_as_what_it_is() -> None:
    driver = Driver()
    driver.run(3)
    for why in ("culture", "recall", "repair"):
        driver.record("hold", why=why)
        driver.run(3)
        assert why in driver.station.alarms(driver.now)["hold"]["cause"]
        told = [entry.body for entry in driver.said if entry.kind == "alarm" and entry.body["id"] == "hold"]
        assert why in told[-1]["cause"] and told[-1]["to"] == "unacknowledged"
        driver.record("release")
        driver.run(3)


def test_the_picture_of_a_duty_that_is_owed_says_why_now() -> None:
    driver = Driver()
    driver.run(70)
    assert driver.station.alarms(driver.now)["duty_due:daily_test"]["cause"] == "no daily test on record"
    driver.record("daily_test", passed=False)
    driver.run(3)
    assert "failed" in driver.station.alarms(driver.now)["duty_due:daily_test"]["cause"]


def test_an_alarm_that_is_out_of_service_is_not_shelved() -> None:
    driver = Driver()
    driver.run(3)
    for record, counts in (("out_of_service", True), ("shelve", False), ("in_service", True), ("shelve", True)):
        told = kept(driver, record, alarm=TRIP, **MORE.get(record, {}))
        assert told["counts"] is counts, (record, told)
    assert kept(driver, "shelve", alarm=TRIP, minutes=5)["counts"]  # for another while


def test_a_shelf_that_is_told_late_ends_as_if_it_had_been_told_in_time() -> None:
    driver = Driver()
    driver.run(3)
    told = kept(driver, "shelve", alarm=TRIP, minutes=10, at=rfc3339(driver.wall_ms - 11 * 60_000))
    assert told["counts"] is False and "would have ended at" in told["why_not"]
    assert kept(driver, "shelve", alarm=TRIP, minutes=10, at=rfc3339(driver.wall_ms - 4 * 60_000))["counts"]
    until = driver.station.alarms(driver.now)[TRIP]["aside_until"]
    assert wall_ms_of(until) - driver.wall_ms == 6 * 60_000


@pytest.mark.parametrize("by_ms", [-HOUR, HOUR, -1_000])
def test_after_a_step_of_the_clock_an_alarm_and_a_condition_have_stood_as_long_as_before(by_ms: int) -> None:
    driver = tripped_then_clock_back(by_ms)
    since = driver.station.alarms(driver.now)[TRIP]["since"]
    assert driver.wall_ms - wall_ms_of(since) == 15_000
    assert driver.wall_ms - wall_ms_of(driver.condition("outlet:heater")["since"]) == 15_000
    driver.run(5)
    gone = [e for e in driver.said if e.kind == "alarm" and e.body["id"] == TRIP][-1]
    assert gone.body["since"] == since and gone.wall_ms - wall_ms_of(since) == 15_000


def test_a_restart_after_the_step_says_the_same() -> None:
    driver = tripped_then_clock_back(-HOUR)
    after = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        after.fold(entry)
    before = driver.station.alarms(driver.now)[TRIP]["since"]
    assert after.alarms(Now(5_000, driver.wall_ms + 60_000, True))[TRIP]["since"] == before
    by_snapshot = Station(SETTINGS, "boot-2", driver.station.state())
    assert by_snapshot.alarms(Now(5_000, driver.wall_ms + 60_000, True))[TRIP]["since"] == before


def test_what_stood_since_an_earlier_boot_whose_clock_was_ahead_stands_since_now() -> None:
    driver = Driver()
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    after = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        after.fold(entry)
    now = Now(5_000, driver.wall_ms - HOUR, True)
    after.advance(now)
    assert wall_ms_of(after.alarms(now)[TRIP]["since"]) == now.wall_ms
    assert all(wall_ms_of(c["since"]) <= now.wall_ms for c in after.verdict(now)["conditions"])


@pytest.mark.parametrize(
    ("records", "causes"),
    [
        (
            ["out_of_service", "in_service"],
            ["not present; taken out of service by Ana", "not present; back in service by Ana"],
        ),
        (["shelve", "unshelve"], ["not present; shelved by Ana", "not present; no longer shelved by Ana"]),
    ],
)
def test_an_alarm_that_was_never_there_and_is_put_aside_says_so(records: list[str], causes: list[str]) -> None:
    driver = Driver()
    driver.run(5)
    for record in records:
        driver.record(record, alarm=TRIP, by="Ana", **MORE.get(record, {}))
    bodies = [e.body for e in driver.said if e.kind == "alarm" and e.body["id"] == TRIP]
    assert [body["cause"] for body in bodies] == causes
    assert {(body["since"], body["value"]) for body in bodies} == {(None, None)}


def test_one_that_was_there_once_says_nothing_of_then_and_what_comes_while_it_is_away_is_told() -> None:
    driver = Driver()
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    driver.record("acknowledge", alarm=TRIP)
    driver.run(5)
    driver.record("out_of_service", alarm=TRIP, by="Ana", why="its contact is being replaced")
    assert driver.station.alarms(driver.now)[TRIP]["cause"] == "not present; taken out of service by Ana"
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    driver.record("in_service", alarm=TRIP, by="Ana")
    last = [e.body for e in driver.said if e.kind == "alarm" and e.body["id"] == TRIP][-1]
    assert (last["to"], last["cause"]) == ("unacknowledged", "the heater outlet has tripped")
    assert last["since"] is not None


def noisy(mean: float, sd: float, seed: int) -> Callable[[float], dict[str, float]]:
    """A supply pressure at rest with normal noise [kPa]."""
    chance = random.Random(seed)
    return lambda _t: QUIET | {"supply": chance.gauss(mean, sd)}


@pytest.mark.parametrize("sd", [1.0, 2.0, 3.5])
def test_a_noisy_pressure_within_its_limit_is_no_alarm(sd: float) -> None:
    driver = Driver()
    driver.run(7200, noisy(60 * PSI - 5.0, sd, 1))
    assert driver.alarms("static_high") == []


@pytest.mark.parametrize("sd", [0.0, 1.0, 3.5])
def test_a_noisy_pressure_beyond_its_limit_is_one_within_the_minute(sd: float) -> None:
    driver = Driver()
    driver.run(60, noisy(60 * PSI + 2.0, sd, 2))
    assert driver.alarms("static_high") == ["unacknowledged"]
    (told,) = [e.body for e in driver.said if e.kind == "alarm" and e.body["id"] == "static_high"]
    assert told["value"] > told["limit"], "the reading that decided it is one beyond"


@pytest.mark.parametrize(
    "swing", [lambda t: 0.4 if t % 2 else -0.4, lambda t: 0.4 * math.sin(1.7 * t), lambda t: 0.4 * math.sin(t / 60)]
)
def test_case_44_a_value_that_swings_about_its_limit_is_one_alarm(swing: Callable[[float], float]) -> None:
    driver = Driver()
    driver.run(3600, lambda t: QUIET | {"supply": (60.0 + swing(t)) * PSI})
    assert driver.alarms("static_high") == ["unacknowledged"]
    driver = Driver()
    driver.run(60)
    driver.run(3600, lambda t: DRAWING | {"supply": (40.0 + swing(t)) * PSI})
    assert driver.alarms("pressure_low") == ["unacknowledged"]


def test_a_ramp_is_told_when_its_on_delay_is_over_as_ever() -> None:
    driver = Driver()
    driver.run(60, lambda t: QUIET | {"supply": (58.0 + t / 10) * PSI})  # beyond from 21 s on
    (told,) = [e for e in driver.said if e.kind == "alarm" and e.body["id"] == "static_high"]
    assert told.mono_ms - 1_000_000 == 36_000


def test_an_outlet_whose_contact_flaps_is_never_ready_between() -> None:
    driver = Driver()
    driver.duties_done()
    driver.run(200, DRAWING)
    driver.run(300)
    assert driver.verdict() == "ready"
    for period_s in (18, 4):
        seen = set()
        for _ in range(120 // period_s):
            driver.run(1, QUIET | {"heater-outlet": 1.0})
            seen.add(driver.verdict())
            driver.run(period_s - 1)
            seen.add(driver.verdict())
        assert "ready" not in seen, period_s
        driver.run(60)
    assert driver.condition("outlet:heater")["state"] == "unknown", "held as one that comes and goes"
    driver.run(600)
    assert driver.verdict() == "ready"


@pytest.mark.parametrize("on_ms", [0, 2_000])
def test_an_outlet_that_tripped_once_is_live_again_after_a_third_of_a_minute(on_ms: int) -> None:
    driver = Driver(tuned(outlet_tripped=AlarmTuning(on_delay_ms=on_ms)))
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    driver.run(10)
    assert driver.condition("outlet:heater")["state"] == "unknown" and driver.condition("outlet:heater")["expected_at"]
    driver.run(9.5, every_s=0.5)
    assert driver.condition("outlet:heater")["state"] == "met"
    states = [e.body["conditions"]["outlet:heater"] for e in driver.said if e.kind == "verdict"]
    assert "unmet" in states


def cooling(from_c: float, k_per_h: float) -> Callable[[float], dict[str, float]]:
    return lambda t: QUIET | {"reservoir": from_c - k_per_h * t / 3600}


def test_an_answered_alarm_that_becomes_clearly_worse_is_announced_anew_with_its_value_of_now() -> None:
    driver = Driver(tuned(not_heating=AlarmTuning(on_delay_ms=24 * HOUR)))
    driver.run(60)
    driver.run(1800, QUIET | {"reservoir": 38.2}, every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged"]
    driver.record("acknowledge", alarm="reservoir_cold")
    driver.run(1800, cooling(38.2, 3.0), every_s=5)  # 1.5 K: not clearly
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged"]
    driver.run(1800, cooling(36.7, 3.0), every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged", "unacknowledged"]
    shown = driver.station.alarms(driver.now)["reservoir_cold"]
    assert shown["value"] == pytest.approx(36.0, abs=0.5) and "38.2" not in shown["cause"] and shown["announced"]
    driver.record("acknowledge", alarm="reservoir_cold")
    driver.run(4 * HOUR / 1000, cooling(35.2, 1.8), every_s=10)
    assert driver.alarms("reservoir_cold").count("unacknowledged") == 3, "a few times, not each half hour"
    assert driver.station.alarms(driver.now)["reservoir_cold"]["value"] == pytest.approx(28.0, abs=2.1)


def test_an_answered_alarm_is_not_announced_anew_by_getting_better_up_to_the_limit_where_it_ends() -> None:
    """The limit that ends it lies above the one that began it: between them a warming liquid is better, not worse."""
    waits = AlarmTuning(limit=38.5, deadband=0.6)
    driver = Driver(tuned(not_heating=AlarmTuning(on_delay_ms=24 * HOUR), reservoir_cold=waits))
    driver.run(60)
    driver.run(1800, QUIET | {"reservoir": 38.2}, every_s=5)
    driver.run(3600, cooling(38.2, 3.0), every_s=5)
    driver.record("acknowledge", alarm="reservoir_cold")
    driver.run(2 * HOUR / 1000, cooling(35.2, -3.0), every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged", "normal"]


def test_an_alarm_that_returned_unanswered_is_the_consequence_of_the_trip_that_brings_it_again() -> None:
    driver = Driver(tuned(not_heating=AlarmTuning(on_delay_ms=24 * HOUR)))
    driver.run(60)
    driver.run(1800, QUIET | {"reservoir": 38.2}, every_s=5)
    driver.run(1800, QUIET | {"reservoir": 39.6}, every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "returned_unacknowledged"]
    off = QUIET | {"heater-outlet": 1.0}
    driver.run(2 * HOUR / 1000, lambda t: off | {"reservoir": 22 + 17.6 * math.exp(-t / 18_000)}, every_s=5)
    assert driver.alarms("reservoir_cold")[2:] == ["suppressed_by_design"]
    assert driver.station.alarms(driver.now)["reservoir_cold"]["consequence_of"] == TRIP


@pytest.mark.parametrize("by_snapshot", [False, True])
def test_an_alarm_whose_point_is_gone_from_the_station_file_ends_and_that_is_told_once(by_snapshot: bool) -> None:
    before = Driver()
    before.run(5, QUIET | {"heater-outlet": 1.0})
    assert before.alarms(TRIP)[-1] == "unacknowledged"
    fewer = replace(SETTINGS, points=tuple(p for p in SETTINGS.points if p.id != "heater-outlet"))

    def started(entries: list[Entry], state: dict[str, Any] | None = None) -> tuple[Station, list[Draft]]:
        station = Station(fewer, "boot-2", state)
        for entry in entries:
            station.fold(entry)
        return station, station.advance(Now(5_000, before.wall_ms + 60_000, True))

    station, drafts = started([], before.station.state()) if by_snapshot else started(before.said)
    (ended,) = [d for d in drafts if d.kind == "alarm" and d.body["id"] == TRIP]
    assert (ended.body["from"], ended.body["to"]) == ("unacknowledged", "normal")
    assert (
        "the station file has it no more" in ended.body["cause"]
        and ended.body["priority"] == CATALOGUE["outlet_tripped"].priority
    )
    kept = [Entry(before.said[-1].seq + n, "boot-2", *d.now, d.kind, d.body) for n, d in enumerate(drafts, 1)]
    station.kept(kept)
    later = [*station.advance(Now(6_000, before.wall_ms + 61_000, True)), *started([*before.said, *kept])[1]]
    assert not [d for d in later if d.kind == "alarm" and d.body["id"] == TRIP]


@pytest.mark.parametrize("restart", ["", "entries", "state"])
def test_a_reading_that_decided_an_alarm_a_while_ago_is_shown_with_its_time(restart: str) -> None:
    driver = Bench(SETTINGS)
    driver.run(300, QUIET | {"reservoir": 24.0}, every_s=10)
    (told,) = [entry for entry in driver.said if entry.kind == "alarm" and entry.body["id"] == "reservoir_cold"]
    assert driver.station.alarms(Now(*told.stamp[1:]))["reservoir_cold"]["cause"] == told.body["cause"]
    driver.record("acknowledge", alarm="reservoir_cold")
    if restart:
        driver.start_again(state=restart == "state")
    driver.run(60, QUIET | {"reservoir": 24.5}, every_s=10)
    assert (
        driver.station.alarms(driver.now)["reservoir_cold"]["cause"] == told.body["cause"] + " (read 2026-03-16 05:52)"
    )


# -- put aside: that changes nothing of whether it is there (IEC 62682 and ISA-18.2, from memory: at the end of a shelf an alarm is in
# the state that its condition gives, not acknowledged where that holds)


def warming(driver: Bench, minutes: float) -> None:
    """A morning without a clock that is right until 05:58, whose liquid will be warm in time for the first case at 07:45."""
    for _ in range(int(minutes)):
        began_s = (driver.wall_ms - MONDAY) / 1000.0
        driver.trusted = began_s >= 480.0
        driver.run(60, lambda t, began_s=began_s: QUIET | {"reservoir": 24.0 + (t + began_s) / 300.0}, every_s=10)


def much_is_wrong(driver: Bench, minutes: float) -> None:
    """An outlet has tripped, the supply is beyond its limit at rest, and a point gives no readings."""
    driver.trusted = True
    wrong = {
        "reservoir": 38.2,
        "room": None,
        "heater-outlet": 1.0,
        "supply": 66 * PSI,
        "between": 66 * PSI,
        "filtered": 66 * PSI,
    }
    driver.run(minutes * 60, {**QUIET, **wrong}, every_s=10)  # type: ignore[arg-type] # None: it can't be read


@pytest.mark.parametrize(("aside", "restart"), [("shelve", ""), ("shelve", "entries"), ("out_of_service", "state")])
@pytest.mark.parametrize(
    ("goes", "expected"),
    [
        (warming, {"reservoir_cold", "duty_due:daily_test"}),
        (much_is_wrong, {TRIP, "static_high", "silent:room", "duty_due:daily_test"}),
    ],
)
def test_what_is_put_aside_is_there_as_long_as_it_would_be_and_comes_back(
    goes: Callable[[Bench, float], None], expected: set[str], aside: str, restart: str
) -> None:
    settings = replace(SETTINGS, hours=dict.fromkeys(range(5), (7 * 60 + 45, 18 * 60)))
    driver, twin = Bench(settings, trusted=False), Bench(settings, trusted=False)
    for one in (driver, twin):
        goes(one, 12)
        for ident, alarm in one.station.alarms(one.now).items():
            if alarm["state"] == "unacknowledged":
                one.record("acknowledge", alarm=ident)
    put = [ident for ident, alarm in driver.station.alarms(driver.now).items() if alarm["state"] == "acknowledged"]
    for ident in put:
        assert kept(driver, aside, alarm=ident, **MORE[aside])["counts"]
    if restart:
        driver.start_again(state=restart == "state")
    for minutes in (3, 5, 3):
        goes(driver, minutes)
        goes(twin, minutes)
        shown, others = (one.station.alarms(one.now) for one in (driver, twin))
        assert [(ident, shown[ident]["active"]) for ident in put] == [(ident, others[ident]["active"]) for ident in put]
    for ident in put if aside == "out_of_service" else ():
        driver.record("in_service", alarm=ident)
    shown = driver.station.alarms(driver.now)
    stand = {ident: shown[ident]["state"] for ident in put if shown[ident]["active"]}
    assert expected <= set(stand) and set(stand.values()) == {"unacknowledged"}
