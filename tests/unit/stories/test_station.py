"""One station through its days: readiness, alarms, cycles, restarts. Figures are of the invented clinic; limits are settings.

Case numbers name a kind of trouble known from public reports of people who log sensors on small boards.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from edge.domain.entries import Now, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.readings import Role, Sample
from edge.domain.settings import AlarmTuning
from edge.domain.station.station import FOLD_VERSION, Station
from tests.unit.stations import DRAWING, HOUR, MONDAY, POINTS, PSI, QUIET, SETTINGS, Driver, point, tuned


def ready_station() -> Driver:
    driver = Driver()
    driver.run(130, QUIET)
    driver.run(60, DRAWING)
    driver.run(300, QUIET)
    driver.duties_done()
    driver.run(5, QUIET)
    return driver


def test_ready_only_when_everything_is_met() -> None:
    driver = ready_station()
    assert driver.verdict() == "ready", [
        c for c in driver.station.verdict(driver.now)["conditions"] if c["state"] != "met"
    ]
    assert [e.body["to"] for e in driver.said if e.kind == "verdict"][-1] == "ready"


def test_nothing_is_fine_before_anything_was_read() -> None:
    driver = Driver()
    driver.keep(driver.station.advance(driver.now))
    assert driver.verdict() != "ready"
    assert driver.condition("reservoir")["state"] == "unknown"
    assert all(
        p["value"] is None and p["reason"] == "no_reading_yet" for p in driver.station.points(driver.now).values()
    )
    driver.pass_to(driver.mono_ms + 10_002)
    assert {e.body["id"] for e in driver.said if e.kind == "alarm"} >= {
        "silent:reservoir",
        "silent:flow",
        "silent:power",
    }


def test_a_missing_role_is_said_and_makes_its_condition_unknown() -> None:
    driver = Driver(replace(SETTINGS, points=tuple(p for p in POINTS if p.id != "reservoir")))
    driver.run(5, {k: v for k, v in QUIET.items() if k != "reservoir"})
    assert driver.condition("reservoir")["state"] == "unknown"
    assert "no point has the role reservoir_temperature" in driver.condition("reservoir")["text"]


def test_cold_morning_forecast_is_right_from_ten_minutes_on() -> None:
    """The plant: 11 L of water, 150 W, 2.4 W/K, 20.5 Cel room, one lump; its own closed form is the truth."""
    capacity, power, loss, room = 46_000.0, 150.0, 2.4, 21.5
    plateau, rate = room + power / loss, loss / capacity

    def values(t: float) -> dict[str, float]:
        liquid = plateau - (plateau - 24.0) * math.exp(-rate * t)
        return QUIET | {"reservoir": round(liquid / 0.0625) * 0.0625, "room": room}

    driver = Driver()
    start = driver.mono_ms
    needed = 39.0
    truth_s = math.log((plateau - 24.0) / (plateau - needed)) / rate + 120.0
    for minute in range(2, int(truth_s // 60)):
        driver.run(60, lambda t, m=minute: values((m - 2) * 60 + t))
        said = driver.station.verdict(driver.now)
        left_s = truth_s - (driver.mono_ms - start) / 1000
        if minute >= 11:
            estimate = driver.station.estimates(driver.now)["reservoir_ready"]
            assert estimate["value"] is not None, (minute, estimate)
            expected_s = (driver.station.parts.warmth.until(room, driver.mono_ms).in_ms or 0) / 1000  # type: ignore[union-attr]
            assert abs(expected_s - left_s) <= max(0.1 * left_s, 12.0), (minute, expected_s, left_s)
            assert said["expected_at"] is not None and said["earliest"] <= said["expected_at"] <= said["latest"]
    assert driver.alarms("reservoir_cold")[0] == "unacknowledged"


def test_not_known_is_said_when_nothing_can_be_said() -> None:
    driver = Driver()
    driver.run(1800, QUIET | {"reservoir": 22.0})
    estimate = driver.station.estimates(driver.now)["reservoir_ready"]
    assert estimate["value"] is None and estimate["why"] == "it is not heating"
    assert driver.station.verdict(driver.now)["expected_at"] is None


def test_a_cycle_explains_a_cold_probe_and_no_alarm_comes() -> None:
    driver = ready_station()
    before = len([e for e in driver.said if e.kind == "alarm"])

    def cycle(t: float) -> dict[str, float]:
        if t < 900:  # the liquid is away; the probe sees air
            return QUIET | {"reservoir": 24.0 + 15.2 * math.exp(-t / 90)}
        warm = min(35.5 + 0.15 * (t - 900) / 60, 39.3)
        return QUIET | {"reservoir": warm - (warm - 24.0) * math.exp(-(t - 900) / 60)}

    driver.run(3600, cycle)
    driver.run(300, QUIET)
    phases = [e.body["to"] for e in driver.said if e.kind == "phase"]
    assert phases[-3:] == ["in_use", "reheating", "idle"]
    assert len([e for e in driver.said if e.kind == "alarm"]) == before
    assert driver.verdict() == "ready"


def test_an_explanation_does_not_last_for_ever() -> None:
    driver = ready_station()
    driver.run(3 * HOUR / 1000, lambda t: QUIET | {"reservoir": 22.0 + 17.2 * math.exp(-t / 90)}, every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged"]


def test_outlet_trip_is_told_at_once_and_the_cold_that_follows_is_its_consequence() -> None:
    driver = ready_station()
    told = driver.tell(**{k.replace("-", "_"): v for k, v in (QUIET | {"heater-outlet": 1.0}).items()})
    assert [e.body["id"] for e in told if e.kind == "alarm"] == ["outlet_tripped:heater"]
    driver.run(
        2 * HOUR / 1000,
        lambda t: QUIET | {"heater-outlet": 1.0, "reservoir": 22 + 17.2 * math.exp(-t / 18_000)},
        every_s=5,
    )
    assert driver.alarms("reservoir_cold") == ["suppressed_by_design"]
    cold = driver.station.alarms(driver.now)["reservoir_cold"]
    assert cold["consequence_of"] == "outlet_tripped:heater" and not cold["announced"]
    driver.run(60, QUIET | {"reservoir": 34.0})
    assert driver.alarms("reservoir_cold") == ["suppressed_by_design"], "it has a while to end by itself"
    driver.run(120, QUIET | {"reservoir": 34.0})
    assert driver.alarms("reservoir_cold") == ["suppressed_by_design", "unacknowledged"], (
        "the cause ended, the consequence stays"
    )


def test_lost_bus_is_one_alarm() -> None:
    driver = ready_station()
    driver.keep(driver.station.bus("wires", "lost", "the plug is out", driver.now))
    driver.run(60, {"heater-outlet": 0.0, "power": 1.0})
    announced = [e.body["id"] for e in driver.said if e.kind == "alarm" and e.body["to"] == "unacknowledged"]
    assert announced[-1:] == ["bus_lost:wires"] and "silent:flow" not in announced
    assert driver.alarms("silent:reservoir")[-1] == "suppressed_by_design"
    assert len([e for e in driver.said if e.kind == "bus"]) == 1
    driver.keep(driver.station.bus("wires", "back", "", driver.now))
    driver.run(30, QUIET)
    assert driver.alarms("bus_lost:wires")[-1] == "returned_unacknowledged"
    assert (
        driver.alarms("silent:reservoir")[-1] == "normal"
        or driver.alarms("silent:reservoir")[-1] == "returned_unacknowledged"
    )


def test_pressure_is_judged_only_in_the_steady_part_of_a_draw() -> None:
    driver = ready_station()
    driver.run(12, DRAWING | {"supply": 30 * PSI})  # hammer and opening valves: not steady yet
    driver.run(60, DRAWING)
    driver.run(60, QUIET | {"supply": 30 * PSI})  # between draws
    assert driver.alarms("pressure_low") == []
    driver.run(60, DRAWING | {"supply": 38 * PSI})
    assert driver.alarms("pressure_low") == ["unacknowledged"]
    driver.run(60, QUIET)
    assert driver.alarms("pressure_low") == ["unacknowledged"], "only a draw can show that it is right again"
    assert driver.condition("pressure")["state"] == "unmet"
    driver.run(60, DRAWING)
    assert driver.alarms("pressure_low")[-1] == "returned_unacknowledged"


def test_limits_are_met_at_equality() -> None:
    driver = ready_station()
    driver.run(60, DRAWING | {"supply": 40 * PSI})
    assert driver.alarms("pressure_low") == []
    assert driver.condition("pressure")["state"] == "met"


def test_case_45_a_dip_shorter_than_the_delay_says_nothing() -> None:
    driver = Driver(tuned(pressure_low=AlarmTuning(on_delay_ms=60_000)))
    for _ in range(3):
        driver.run(60, DRAWING)
        driver.run(20, DRAWING | {"supply": 37 * PSI})
    driver.run(60, DRAWING)
    assert driver.alarms("pressure_low") == []


def test_case_52_an_old_number_is_never_shown_as_live() -> None:
    driver = ready_station()
    driver.run(30, {k: v for k, v in QUIET.items() if k != "reservoir"})
    shown = driver.station.points(driver.now)["reservoir"]
    assert shown["value"] is shown["uncorrected"] is shown["shown"] is None and shown["age_s"] > 10
    assert shown["reason"] == "stale"
    assert driver.condition("reservoir")["state"] == "unknown" and driver.verdict() == "unknown"
    assert driver.alarms("silent:reservoir") == ["unacknowledged"]


def test_a_reservoir_that_reads_warm_enough_but_not_for_long_enough_says_so() -> None:
    driver = Driver()
    driver.duties_done()
    driver.run(300, QUIET | {"reservoir": 36.0})
    assert driver.condition("reservoir")["text"].startswith("36.0 °C (uncalibrated); 39.0 °C needed in a room of 22.0")
    driver.run(60, QUIET | {"reservoir": 40.0})
    condition = driver.condition("reservoir")
    assert condition["state"] == "unmet"
    assert condition["text"].startswith("40.0 °C (uncalibrated), not yet for long enough above the 39.0 °C needed")
    driver.run(120, QUIET | {"reservoir": 40.0})
    assert driver.condition("reservoir")["state"] == "met"


def test_case_6_a_frozen_reservoir_is_found_a_steady_one_is_left_alone() -> None:
    frozen, steady = Driver(), Driver()
    frozen.run(5 * HOUR / 1000, QUIET | {"reservoir": 38.9375}, every_s=10)
    steady.run(5 * HOUR / 1000, lambda t: QUIET | {"reservoir": 39.0 + 0.0625 * (int(t / 1200) % 3 - 1)}, every_s=10)
    assert frozen.station.points(frozen.now)["reservoir"]["reason"] == "stuck"
    assert frozen.condition("reservoir")["state"] == "unknown"
    words = [e.body["to"] for e in frozen.said if e.kind == "verdict"]
    assert "ready" not in words[-2:], "neither while it is doubtful nor in the moment it is given up"
    assert steady.station.points(steady.now)["reservoir"]["quality"] == "good"
    assert steady.alarms("silent:reservoir") == []


def test_case_15_one_wild_sample_leaves_no_trace() -> None:
    points = tuple(replace(p, max_rate_per_s=200.0) if p.id == "supply" else p for p in POINTS)
    driver = Driver(replace(SETTINGS, points=points))
    driver.run(20, DRAWING)
    driver.tell(supply=-19_800.0)
    driver.tell(supply=1200.0)
    driver.run(40, DRAWING)
    driver.run(5, QUIET)
    draw = next(e.body for e in driver.said if e.kind == "draw")
    assert draw["least_supply_kpa"] == pytest.approx(46 * PSI, abs=0.01) == draw["most_supply_kpa"]
    assert not [e for e in driver.said if e.kind == "alarm" and e.body["id"].startswith("pressure")]


def test_case_15_many_wild_samples_within_an_hour_are_told_once() -> None:
    def told(every_s: int) -> list[str]:
        driver = Driver()
        driver.run(3600, lambda t: QUIET | {"supply": -19_800.0 if int(t) % every_s == every_s - 1 else 52 * PSI})
        return [e.body["point"] for e in driver.said if e.kind == "advice"]

    assert told(479) == ["supply"], "about every eight minutes"
    assert told(620) == []
    broken = Driver()
    broken.run(600, QUIET | {"supply": -19_800.0})
    assert [e for e in broken.said if e.kind == "advice"] == [], "a point that is bad throughout falls silent instead"


def test_a_reading_within_milliseconds_of_the_last_is_no_impossible_rate() -> None:
    """After a freeze two readings come at once, and the second may differ by what a whole period allows, and no more."""
    points = tuple(replace(p, max_rate_per_s=200.0) if p.id == "flow" else p for p in POINTS)
    watch = Driver(replace(SETTINGS, points=points)).station.watches["flow"]
    assert watch.hear(Sample("flow", 1_000_000, 0.0)).reason is None
    lost = watch.hear(Sample("flow", 1_000_003, 9.0, "edges_lost"))
    assert (lost.reason, lost.quality, lost.value) == ("edges_lost", "uncertain", 9.0)
    slow = replace(next(p for p in POINTS if p.id == "flow"), max_rate_per_s=5.0)
    watch = Driver(replace(SETTINGS, points=(*(p for p in POINTS if p.id != "flow"), slow))).station.watches["flow"]
    watch.hear(Sample("flow", 1_000_000, 0.0))
    assert watch.hear(Sample("flow", 1_000_003, 5.1)).reason == "impossible_rate"


def test_a_level_that_truly_jumped_is_believed_after_three_readings() -> None:
    points = tuple(replace(p, max_rate_per_s=1.0) if p.id == "room" else p for p in POINTS)
    driver = Driver(replace(SETTINGS, points=points))
    driver.run(5, QUIET)
    driver.run(1, QUIET | {"room": 30.0})
    assert driver.station.watches["room"].last.reason == "impossible_rate"  # type: ignore[union-attr]
    driver.run(3, QUIET | {"room": 30.0})
    assert driver.station.watches["room"].good == 30.0


def test_leak_while_nothing_draws() -> None:
    driver = ready_station()
    driver.run(5 * HOUR / 1000, QUIET | {"flow": 0.5}, every_s=5)  # below a draw: 150 L in five hours
    assert driver.alarms("leak") == ["unacknowledged"]
    assert driver.condition("no_leak")["state"] == "unmet"
    assert not [e for e in driver.said if e.kind == "draw" and e.mono_ms > driver.mono_ms - HOUR]


def test_noise_around_zero_is_no_leak() -> None:
    driver = ready_station()
    driver.run(7 * HOUR / 1000, lambda t: QUIET | {"flow": 0.3 * math.sin(t)}, every_s=5)
    assert driver.alarms("leak") == []


def test_filter_drop_is_made_comparable_and_due_beyond_its_limit() -> None:
    driver = ready_station()
    drop = driver.station.estimates(driver.now)["filter:coarse:drop"]["value"]
    assert drop == pytest.approx(3 * PSI * 9.46 / 9.0, rel=0.01)
    driver.run(60, DRAWING | {"between": 37 * PSI, "filtered": 33 * PSI})
    driver.run(10, QUIET)
    assert driver.alarms("filter_due:coarse") == ["unacknowledged"] and driver.alarms("filter_due:fine") == []
    assert driver.condition("filter:coarse")["state"] == "unmet"
    driver.record("filter_change", filters=["coarse"])
    assert driver.condition("filter:coarse")["state"] == "unknown", "the new filter has not been seen in a draw yet"
    assert driver.condition("water_path_treatment")["state"] == "unmet"


class TestDuties:
    def test_due_again_after_midnight(self) -> None:
        driver = ready_station()
        driver.run(20 * HOUR / 1000, QUIET | {"reservoir": 39.2}, every_s=10)
        assert driver.condition("daily_test")["state"] == "unmet"
        due = next(
            e
            for e in driver.said
            if e.kind == "alarm"
            and e.body["id"] == "duty_due:daily_test"
            and e.body["to"] == "unacknowledged"
            and e.wall_ms > MONDAY + HOUR
        )
        assert due.body["since"] == "2026-03-17T00:00:00.000Z", "at local midnight, which is UTC's in March"

    def test_due_again_after_power_up(self) -> None:
        driver = ready_station()
        driver.run(10, QUIET | {"power": 0.0})
        assert driver.station.view.situation.phase == "off"
        driver.run(10, QUIET)
        assert "powered up" in driver.condition("daily_test")["text"]

    def test_fifteen_seconds_is_not_within_fifteen_seconds(self) -> None:
        driver = ready_station()
        driver.record("daily_test", channel_ports=[{"port": 3, "seconds": 15.0}])
        assert driver.condition("daily_test")["state"] == "unmet"
        assert "port 3 gave 100 mL in 15 s" in driver.condition("daily_test")["text"]
        driver.record("daily_test", channel_ports=[{"port": 3, "seconds": 14.99}])
        assert driver.condition("daily_test")["state"] == "met"

    def test_wrong_order_is_kept_and_does_not_count(self) -> None:
        driver = ready_station()
        driver.run(24 * HOUR / 1000, QUIET, every_s=10)
        (entry, *_) = driver.record("water_path_treatment", contact_min=12)
        assert entry.body["counts"] is False and "daily test" in entry.body["why_not"]
        (entry, *_) = driver.record("release")
        assert entry.body["counts"] is False

    def test_treatment_is_owed_after_the_clean_side_was_opened(self) -> None:
        driver = ready_station()
        driver.record("filter_change", filters=["coarse", "fine"])
        assert driver.condition("water_path_treatment")["state"] == "unmet"
        assert driver.record("water_path_treatment", contact_min=9)[0].body["counts"] is False
        driver.run(600, QUIET, every_s=5)
        driver.record("water_path_treatment", contact_min=10)
        assert driver.condition("water_path_treatment")["state"] == "met"

    def test_case_56_a_mistake_is_corrected_by_a_further_entry(self) -> None:
        driver = ready_station()
        (mistake, *_) = driver.record("filter_change", filters=["coarse"])
        assert driver.condition("water_path_treatment")["state"] == "unmet"
        driver.record("correction", of=mistake.seq, why="that was the other bench")
        assert driver.condition("water_path_treatment")["state"] == "met"

    def test_hold_blocks_until_released(self) -> None:
        driver = ready_station()
        driver.record("hold", why="failed culture")
        assert driver.verdict() == "not_ready" and driver.condition("no_hold")["text"].endswith("failed culture")
        driver.run(1)
        driver.record("release")
        assert driver.verdict() == "ready"

    def test_refused_only_for_its_shape(self) -> None:
        driver = ready_station()
        before = driver.station.state()
        for bad in (
            {"record": "nonsense", "by": "x"}, {"record": "note"}, {"record": "note", "by": "x", "at": "yesterday"},
            {"record": "note", "by": "x", "at": "2026-03-16T07:00:00"}, {"record": "acknowledge", "by": "x", "alarm": "reservoir_cool"},
            {"record": "shelve", "by": "x", "alarm": "reservoir_cold"}, {"record": "note", "by": "x", "n": float("inf")},
            {"record": "note", "by": "x", "n": 1 << 60},
        ):  # fmt: skip
            with pytest.raises(RecordRefused) as refused:
                driver.station.record(bad, driver.now)
            assert str(refused.value).count("expected") == 1
        assert driver.station.state() == before

    def test_by_eye_reading_stands_its_time(self) -> None:
        points = tuple(p for p in POINTS if p.id not in ("supply", "between", "filtered"))
        driver = Driver(replace(SETTINGS, points=points, filters=(), not_fitted={Role.SUPPLY_PRESSURE: 24 * HOUR}))
        driver.run(5, {k: v for k, v in QUIET.items() if k in {p.id for p in points}})
        assert driver.condition("pressure")["state"] == "unknown"
        driver.record("entered_reading", role="supply_pressure", value="44 psi")
        assert driver.condition("pressure")["state"] == "by_eye"
        driver.pass_to(driver.mono_ms + 24 * HOUR + 60_000)
        assert driver.condition("pressure")["state"] == "unknown"


class TestRestart:
    def test_case_46_states_people_and_shelves_survive(self) -> None:
        driver = Driver()
        driver.run(200, QUIET | {"reservoir": 30.0})
        driver.run(5, QUIET | {"heater-outlet": 1.0, "reservoir": 30.0})
        driver.record("acknowledge", alarm="outlet_tripped:heater")
        driver.record("shelve", alarm="reservoir_cold", minutes=120)
        after = Station(SETTINGS, "boot-2")
        for entry in driver.said:
            after.fold(entry)
        later = Now(5_000, driver.wall_ms + 60_000, True)
        before = driver.station.alarms(driver.now)
        for ident in ("outlet_tripped:heater", "reservoir_cold", "duty_due:daily_test"):
            told, was = after.alarms(later)[ident], before[ident]
            assert all(told[k] == was[k] for k in ("state", "acknowledged_by", "since")), ident
            assert told["cause"].partition(" (read ")[0] == was["cause"]  # an older value has its time
        drafts = after.advance(later)
        assert [d for d in drafts if d.kind == "alarm"] == []
        drafts = after.advance(Now(5_000 + 120 * 60_000, later.wall_ms + 120 * 60_000, True))
        assert [d.body["to"] for d in drafts if d.kind == "alarm" and d.body["id"] == "reservoir_cold"] == [
            "unacknowledged"
        ]

    def test_a_snapshot_and_the_entries_add_up_to_the_same(self) -> None:
        driver = ready_station()
        driver.run(400, QUIET | {"reservoir": 30.0})
        folded = Station(SETTINGS, "boot-1")
        for entry in driver.said:
            folded.fold(entry)
        restored = Station(SETTINGS, "boot-1", driver.station.state())
        assert folded.state() == restored.state() == driver.station.state()
        assert FOLD_VERSION >= 1

    def test_evidence_of_another_boot_is_dated_by_the_wall(self) -> None:
        driver = ready_station()
        after = Station(SETTINGS, "boot-2", driver.station.state())
        soon, late = (Now(10, driver.wall_ms + ms, True) for ms in (HOUR, 25 * HOUR))
        after.advance(soon)
        assert next(c for c in after.verdict(soon)["conditions"] if c["id"] == "pressure")["state"] == "met"
        after.advance(late)
        assert next(c for c in after.verdict(late)["conditions"] if c["id"] == "pressure")["state"] == "unknown"


def test_untrusted_clock_says_so() -> None:
    driver = Driver(trusted=False, wall_ms=0)
    driver.run(700, QUIET)
    assert driver.condition("clock")["state"] == "unknown"
    assert driver.alarms("clock_untrusted") == ["unacknowledged"]
    driver.trusted, driver.wall_ms = True, MONDAY
    driver.run(5, QUIET)
    assert driver.condition("clock")["state"] == "met"


def test_outside_the_hours_cold_is_no_alarm_but_a_trip_is() -> None:
    hours = dict.fromkeys(range(5), (7 * 60 + 30, 18 * 60))
    driver = Driver(replace(SETTINGS, hours=hours), wall_ms=MONDAY - 4 * HOUR)
    driver.run(3600, QUIET | {"reservoir": 25.0}, every_s=5)
    assert driver.station.view.situation.phase == "at_rest" and driver.alarms("reservoir_cold") == []
    driver.run(60, QUIET | {"reservoir": 25.0, "heater-outlet": 1.0})
    assert driver.alarms("outlet_tripped:heater") == ["unacknowledged"]
    driver.run(60, QUIET | {"reservoir": 25.0})
    driver.run(3 * HOUR / 1000, QUIET | {"reservoir": 25.0}, every_s=5)
    late, cold = (
        [e for e in driver.said if e.kind == "alarm" and e.body["id"] == i]
        for i in ("late_for_first_case", "reservoir_cold")
    )
    assert late[0].body["to"] == "unacknowledged"
    assert late[0].body["since"] == "2026-03-16T05:30:00.000Z", "a warm-up before the first case"
    assert [e.body["to"] for e in cold] == ["suppressed_by_design"] and cold[0].body[
        "consequence_of"
    ] == "late_for_first_case"


def test_samples_of_unknown_points_are_passed_over() -> None:
    driver = Driver()
    assert driver.tell(nobody=1.0) is not None
    assert driver.station.readings == []


def test_leak_contact() -> None:
    driver = Driver(replace(SETTINGS, points=(*POINTS, point("floor", Role.LEAK, 0.0, 1.0))))
    driver.run(5, QUIET | {"floor": 0.0})
    driver.run(1, QUIET | {"floor": 1.0})
    assert driver.alarms("leak") == ["unacknowledged"]
    driver.run(1, QUIET | {"floor": 0.0})
    assert driver.alarms("leak")[-1] == "returned_unacknowledged"


def test_a_long_draw_is_judged_anew_only_where_that_may_change_something() -> None:
    driver = Driver()
    driver.duties_done()
    driver.run(60)
    judges, asked = driver.station.conditions, []
    began_ms = driver.wall_ms
    judges["free"] = lambda now, free=judges["free"]: asked.append(now) or free(now)
    driver.run(600, lambda t: DRAWING | {"supply": (46.0 if t < 300 else 20.0) * PSI})
    assert driver.condition("pressure")["state"] == "unmet"  # the mean of the draw so far fell below 40 psi
    assert len(asked) < 12
    fell_s = wall_ms_of(driver.condition("pressure")["since"]) / 1000 - began_ms / 1000
    assert fell_s == pytest.approx(385.5, abs=5.0)  # 285 s of 46 psi and 85.5 s of 20 psi make 40 psi, from 15 s on


def test_a_contact_that_is_only_looked_at_says_so_where_it_is_met() -> None:
    polled = tuple(replace(p, polled=p.role is Role.OUTLET_PROTECTION, every_ms=2000) for p in POINTS)
    leak = replace(point("floor", Role.LEAK, 0.0, 1.0), every_ms=500, polled=True)
    driver = Driver(replace(SETTINGS, points=(*polled, leak)))
    driver.run(60, QUIET | {"floor": 0.0})
    assert driver.condition("outlet:heater")["text"] == "live (polled every 2 s)"
    assert driver.condition("no_leak")["text"].endswith("(polled every 0.5 s)")
    plain = Driver()
    plain.run(60, QUIET)
    assert plain.condition("outlet:heater")["text"] == "live"
