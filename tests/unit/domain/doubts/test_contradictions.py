"""Points that can't both be right: draws that the meter doesn't see, and filters that gain pressure.

Common practice, no published source, but for the plain facts that water which flows through a filter loses pressure, and that
a pressure which everything shares tells nothing of a flow.
"""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest

from edge.domain.doubts.draws import exchanged
from edge.domain.doubts.silent_draws import FALLS, SilentDraws
from edge.domain.readings import Quality
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, HOUR, PSI, QUIET, SETTINGS, Driver

STATIC, DRAWN = 58 * PSI, 46 * PSI


def ready_station() -> Driver:
    """With today's duties done and a draw that showed all in order."""
    driver = Driver()
    driver.duties_done()
    driver.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
    driver.run(60, DRAWING)
    driver.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
    assert driver.condition("pressure")["state"] == driver.condition("flow")["state"] == "met"
    return driver


def fall(driver: Driver, seconds: float = 90, **taps: float) -> None:
    """The supply falls while the meter stays at zero, and comes back."""
    pressures = {"supply": DRAWN, "between": 43 * PSI, "filtered": 39 * PSI} | taps
    driver.run(seconds, QUIET | pressures)
    driver.run(300, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})


def point(driver: Driver, ident: str) -> dict:
    return driver.station.points(driver.now)[ident]


def changes(driver: Driver) -> list[tuple[str, list[str]]]:
    return [(entry.body["what"], entry.body["points"]) for entry in driver.said if entry.kind == "contradiction"]


# -- no pulses although water runs


def test_static_58_psi_falls_to_46_psi_for_90_s_eight_times_with_0_pulses():
    driver = ready_station()
    for _ in range(8):
        fall(driver)
    flow = point(driver, "flow")
    assert (flow["quality"], flow["reason"], flow["value"]) == ("uncertain", "contradicted", 0.0)
    assert "pressure says draw, meter says none" in flow["text"]
    assert all(word in flow["advice"] for word in ("rotor", "cable", "pull-up"))
    for ident in ("pressure", "flow"):
        condition = driver.condition(ident)
        assert condition["state"] == "unknown"
        assert "pressure says draw, meter says none" in condition["text"]
    assert driver.verdict() == "unknown"
    verdict = driver.station.verdict(driver.now)
    assert any("rotor" in ask for ask in verdict["waits_for"])
    assert changes(driver) == [("began", ["flow"])]
    assert {ident for entry in driver.said if entry.kind == "alarm" for ident in [entry.body["id"]]} <= {
        "duty_due:daily_test", "duty_due:water_path_treatment", "duty_due:disinfectant_change",
    }  # fmt: skip


def test_a_meter_that_was_doubted_wrongly_takes_more_to_be_doubted_again():
    """They were a neighbour's: its own draws show that the meter counts."""
    driver = ready_station()
    for _ in range(4):
        for _ in range(FALLS + 1):
            fall(driver)
        driver.run(60, DRAWING)
        driver.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
    assert changes(driver) == [("began", ["flow"]), ("ended", ["flow"])]
    for _ in range(2 * FALLS):
        fall(driver)
    assert changes(driver)[-1] == ("began", ["flow"])


def test_it_takes_several_and_a_draw_that_the_meter_sees_ends_it():
    driver = ready_station()
    for _ in range(FALLS - 1):
        fall(driver)
    assert point(driver, "flow")["quality"] == "good"
    fall(driver)
    assert point(driver, "flow")["reason"] == "contradicted"
    driver.run(60, DRAWING)
    driver.run(60)
    assert point(driver, "flow")["quality"] == "good"
    assert driver.condition("flow")["state"] == "met"
    assert changes(driver) == [("began", ["flow"]), ("ended", ["flow"])]


def test_falls_between_draws_that_the_meter_sees_say_nothing():
    driver = ready_station()
    for _ in range(2 * FALLS):
        fall(driver)
        driver.run(40, DRAWING)
        driver.run(30)
    assert changes(driver) == []


@pytest.mark.parametrize("seconds", [20, 30])
def test_a_neighbours_tap_is_no_draw(seconds):
    driver = ready_station()
    for _ in range(8):
        fall(driver, seconds)
    assert changes(driver) == []


def test_a_sag_of_the_building_that_all_taps_share_is_no_draw():
    driver = ready_station()
    for _ in range(8):
        fall(driver, between=DRAWN, filtered=DRAWN)
    assert changes(driver) == []


@pytest.mark.parametrize("held", [("filtered",), ("between", "filtered")])
def test_a_neighbours_draw_that_a_check_valve_keeps_from_the_taps_behind_it_is_no_draw(held):
    driver = ready_station()
    for _ in range(8):
        fall(driver, **({"between": DRAWN} | dict.fromkeys(held, STATIC)))
    assert changes(driver) == []


def test_a_gauge_that_is_doubted_already_holds_no_pressure_behind_a_check_valve():
    driver = ready_station()
    driver.station.parts.crossed.register.begin("frozen", ["filtered"])
    for _ in range(8):
        fall(driver, filtered=STATIC)
    assert ("began", ["flow"]) in changes(driver)


def test_without_taps_behind_it_the_supply_alone_decides():
    bare = replace(
        SETTINGS, points=tuple(p for p in SETTINGS.points if p.id not in ("between", "filtered")), filters=()
    )
    driver = Driver(bare)
    driver.run(60, QUIET | {"supply": STATIC})
    for _ in range(8):
        driver.run(90, QUIET | {"supply": DRAWN})
        driver.run(300, QUIET | {"supply": STATIC})
    assert changes(driver) == [("began", ["flow"])]


def test_a_machine_without_power_draws_nothing():
    driver = ready_station()
    for _ in range(8):
        driver.run(90, QUIET | {"power": 0.0, "supply": DRAWN, "between": 43 * PSI, "filtered": 39 * PSI})
        driver.run(300, QUIET | {"power": 0.0, "supply": STATIC})
    assert changes(driver) == []


def test_a_meter_that_is_silent_is_not_doubted_but_silent():
    driver = ready_station()
    quiet = {name: value for name, value in QUIET.items() if name != "flow"}
    for _ in range(8):
        driver.run(90, quiet | {"supply": DRAWN, "between": 43 * PSI, "filtered": 39 * PSI})
        driver.run(300, quiet | {"supply": STATIC})
    assert changes(driver) == []
    assert point(driver, "flow")["quality"] == "bad"


def test_a_pressure_that_fell_for_good_is_a_new_level_and_a_slow_one_no_fall():
    watch = SilentDraws(10_000)
    said = [watch.hear(STATIC if at < 60 else DRAWN, None, at * 1000) for at in range(7200)]
    said += [watch.hear(DRAWN + (STATIC - DRAWN) * (at - 7200) / 1800, None, at * 1000) for at in range(7200, 9000)]
    assert set(said) == {None}


def test_noise_around_the_static_pressure_says_nothing():
    rng = random.Random(5)
    watch = SilentDraws(10_000)
    assert {watch.hear(rng.gauss(STATIC, 3.0), rng.gauss(0.0, 3.0), at * 1000) for at in range(20_000)} == {None}


def test_a_fall_with_a_gap_in_its_readings_proves_nothing():
    watch = SilentDraws(10_000)
    falls = [(at, DRAWN if 100 <= at % 400 < 190 else STATIC) for at in range(4000) if not 120 <= at % 400 < 140]
    assert {watch.hear(kpa, None, at * 1000) for at, kpa in falls} == {None}
    whole = SilentDraws(10_000)
    said = [whole.hear(DRAWN if 100 <= at % 400 < 190 else STATIC, None, at * 1000) for at in range(4000)]
    assert [fall for fall in said if fall is not None] == [(90_000, pytest.approx(STATIC - DRAWN))] * 10


def test_a_doubt_outlasts_a_restart_from_entries_and_from_a_snapshot():
    driver = ready_station()
    for _ in range(FALLS):
        fall(driver)
    from_entries = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        from_entries.fold(entry)
    from_snapshot = Station(SETTINGS, "boot-2", driver.station.state())
    for station in (from_entries, from_snapshot):
        again = Driver(boot="boot-2", wall_ms=driver.wall_ms)
        again.station = station
        again.run(5)
        assert point(again, "flow")["reason"] == "contradicted"
        assert again.condition("flow")["state"] == "unknown"
        assert again.station.readings[0].quality is not Quality.BAD


@pytest.mark.parametrize(
    ("boot", "away_h", "trusted", "is_doubted"),
    [
        ("boot-1", 0.1, True, True),  # the program alone began anew
        ("boot-2", 0.1, True, True),
        ("boot-2", 13.0, True, False),  # these falls are too old
        ("boot-2", 13.0, False, True),  # how old they are nobody knows
    ],
)
def test_falls_are_counted_on_after_a_restart(boot: str, away_h: float, trusted: bool, is_doubted: bool) -> None:
    """A meter that dies before a restart is found out after it, however few draws come between the restarts."""
    driver = ready_station()
    for _ in range(FALLS - 1):
        fall(driver)
    told = [entry.body for entry in driver.said if entry.kind == "advice" and entry.body["reason"] == "fall"]
    assert [body["point"] for body in told] == ["flow"] * (FALLS - 1)
    assert "fell by 12" in told[0]["what"] and "for 90 s" in told[0]["what"] and "1 of 3 falls" in told[0]["what"]
    from_entries = Station(SETTINGS, boot)
    for entry in driver.said:
        from_entries.fold(entry)
    for station in (from_entries, Station(SETTINGS, boot, json.loads(json.dumps(driver.station.state())))):
        again = Driver(boot=boot, wall_ms=driver.wall_ms + int(away_h * 3_600_000), trusted=trusted)
        again.mono_ms = driver.mono_ms + int(away_h * 3_600_000) if boot == "boot-1" else 5_000
        again.station = station
        again.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
        fall(again)
        assert (point(again, "flow").get("reason") == "contradicted") is is_doubted


def test_falls_before_a_draw_that_the_meter_showed_are_not_counted_on_after_a_restart() -> None:
    driver = ready_station()
    fall(driver)
    driver.run(60, DRAWING)
    driver.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
    fall(driver)
    again = Driver(boot="boot-2", wall_ms=driver.wall_ms)
    for entry in driver.said:
        again.station.fold(entry)
    again.run(60, QUIET | {"supply": STATIC, "between": STATIC, "filtered": STATIC})
    fall(again)
    assert changes(again) == [] and point(again, "flow")["quality"] == "good"
    fall(again)
    assert changes(again) == [("began", ["flow"])]


# -- exchanged points


@pytest.mark.parametrize(
    "supply, between, filtered, wrong",
    [
        (46, 43, 39, set()),
        (43, 46, 39, {"supply", "between"}),
        (46, 39, 43, {"between", "filtered"}),
        (39, 43, 46, {"supply", "between", "filtered"}),
        (46, None, 43, set()),
        (43, None, 46, {"supply", "filtered"}),
        (43, 43.3, 43.2, set()),  # new filters at a trickle, and the senders' own differences
    ],
)
def test_pressures_fall_in_the_order_of_flow(supply, between, filtered, wrong):
    taps = [
        (name, None if psi is None else psi * PSI)
        for name, psi in zip(("supply", "between", "filtered"), (supply, between, filtered), strict=True)
    ]
    assert exchanged(taps) == wrong


def test_exchanged_plugs_are_told_at_the_first_steady_draw_and_over_once_they_are_right():
    driver = ready_station()
    driver.run(60, DRAWING | {"supply": 43 * PSI, "between": 46 * PSI})
    driver.run(30)
    for ident in ("supply", "between"):
        assert point(driver, ident)["reason"] == "contradicted"
        assert "points probably exchanged" in point(driver, ident)["text"]
    assert point(driver, "filtered")["quality"] == "good"
    for ident in ("pressure", "filter:coarse", "filter:fine"):
        assert driver.condition(ident)["state"] == "unknown", ident
        assert "points probably exchanged" in driver.condition(ident)["text"]
    driver.run(60, DRAWING)
    driver.run(30)
    assert point(driver, "supply")["quality"] == "good"
    assert {driver.condition(ident)["state"] for ident in ("pressure", "filter:coarse", "filter:fine")} == {"met"}
    assert changes(driver) == [("began", ["supply", "between"]), ("ended", ["supply", "between"])]


def test_a_limit_that_is_broken_stays_unmet_whatever_is_doubted():
    driver = ready_station()
    driver.run(60, DRAWING | {"flow": 5.0})
    driver.run(30)
    assert driver.condition("flow")["state"] == "unmet"
    for _ in range(FALLS):
        fall(driver)
    assert changes(driver)[-1] == ("began", ["flow"]) and "no_pulses" in driver.station.parts.crossed.register.doubts
    assert driver.condition("flow")["state"] == "unmet"


def test_what_a_draw_showed_stands_for_hours_but_not_against_a_doubt():
    driver = ready_station()
    for _ in range(FALLS):
        fall(driver)
    driver.pass_to(driver.mono_ms + HOUR)
    assert driver.condition("flow")["state"] == "unknown"


def test_a_gauge_that_stands_too_high_at_rest_too_is_not_exchanged():
    """1 % of 100 psi: the gauge between the filters reads 7 kPa more than the supply's while nothing flows."""
    driver, zero = Driver(), 7.0
    rest, drawn = QUIET | {"between": 55 * PSI + zero}, DRAWING | {"between": 45.6 * PSI + zero}
    driver.run(90, rest)
    driver.run(60, drawn)
    driver.run(60, rest)
    assert changes(driver) == []
    driver.run(60, DRAWING | {"supply": 43 * PSI, "between": 46 * PSI + zero})
    driver.run(30, rest)
    assert changes(driver) == [("began", ["supply", "between"])]
