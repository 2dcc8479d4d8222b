"""Transfer loss learned from a basin's probe: what counts, what moves it, what it is used for. Mixing is calorimetry; all else is made up.

Figures on plants that nobody tuned for: `python -m tests.bench.transfer`.
"""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace
from typing import Any

import pytest

from edge.domain.heat.balance import needed_c
from edge.domain.heat.transfer_fit import arrival, left_at_ms, plateau
from edge.domain.heat.transfer_loss import (
    LARGEST_SHARE,
    MIN_AGREEING,
    RULE_SHARE,
    Transfer,
    believed,
    by_the_file,
    decided,
)
from edge.domain.messages import of_json
from edge.domain.readings import Role
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from tests.bench.transfer import Run
from tests.unit.stations import HOUR, QUIET, SETTINGS, Driver, english, point

ROOM = 20.0
RULE = by_the_file(RULE_SHARE, False)
U = 0.3 / 19.0  # an unstated probe's


def seen(*shares: float, u: float = 0.005) -> list[Transfer]:
    return [Transfer(share, u) for share in shares]


# -- what is believed


def test_the_rule_holds_until_enough_first_cycles_agree() -> None:
    for n in range(MIN_AGREEING):
        assert decided(RULE, seen(*[0.15] * n), [], 0.0, U).needed == RULE_SHARE
    learned = decided(RULE, seen(*[0.15] * MIN_AGREEING), [], 0.0, U)
    assert 0.15 + 1.645 * U < learned.needed < RULE_SHARE, "guarded by the probe's own uncertainty"
    assert english(learned.origin) == f"measured on {MIN_AGREEING} first cycles"


def test_more_cycles_narrow_it_to_the_probes_own_uncertainty() -> None:
    few, many = (decided(RULE, seen(*[0.15] * n), [], 0.0, U) for n in (3, 10))
    assert many.high - many.low < few.high - few.low
    assert many.needed == pytest.approx(0.15 + 1.645 * U, abs=0.004)
    assert decided(RULE, seen(*[0.15] * 10), [], 0.004, 0.004).needed < many.needed, "a calibrated probe tells more"


def test_a_loss_above_the_rule_counts_at_once() -> None:
    one = decided(RULE, seen(0.27), [], 0.0, U)
    assert one.needed == pytest.approx(0.27, abs=0.01) and english(one.origin) == "measured on 1 first cycle"


@pytest.mark.parametrize("odd", [0.42, 0.5, 0.6])
@pytest.mark.parametrize("n", [3, 5, 8])
@pytest.mark.parametrize("where", [0, 1, -1])
def test_one_odd_cycle_does_not_move_it(odd: float, n: int, where: int) -> None:
    shares = [0.15] * n
    calm = decided(RULE, seen(*shares), [], 0.0, U)
    shares.insert(where % (n + 1), odd)
    moved = decided(RULE, seen(*shares), [], 0.0, U)
    assert moved.needed == pytest.approx(calm.needed, abs=0.01) and moved.cycles == n


def test_an_odd_cycle_alone_is_not_believed() -> None:
    assert decided(RULE, seen(0.5), [], 0.0, U).needed == RULE_SHARE


def test_a_change_for_the_worse_is_seen_by_three_cycles_and_one_for_the_better_by_most() -> None:
    worse = decided(RULE, seen(*[0.15] * 7, *[0.26] * 3), [], 0.0, U)
    assert worse.best == pytest.approx(0.26, abs=0.01)
    better = decided(RULE, seen(*[0.26] * 6, *[0.15] * 3), [], 0.0, U)
    assert better.best == pytest.approx(0.26, abs=0.01)


def test_later_cycles_can_only_make_it_safer() -> None:
    first = seen(*[0.15] * 5)
    plain = decided(RULE, first, [], 0.0, U)
    warm = decided(RULE, first, seen(*[0.08] * 5), 0.0, U)
    assert warm.needed == plain.needed, "a warm basin takes less: that is no measure for the morning's"
    assert warm.hot < plain.hot, "but the label's maximum is judged with it"
    assert decided(RULE, first, seen(*[0.24] * 5), 0.0, U).needed == pytest.approx(0.24, abs=0.01), (
        "cold rinse water left"
    )


def test_what_the_station_file_measured_may_lie_below_the_rule_and_is_corrected_by_what_is_seen() -> None:
    filed = by_the_file(0.15, True)
    assert filed.needed == 0.15 and english(filed.origin) == "as measured by the station file"
    assert decided(filed, seen(0.19), [], 0.0, U).needed > 0.17, "above what is filed: at once"
    assert decided(filed, seen(*[0.19] * 4), [], 0.0, U).needed > 0.185


@pytest.mark.parametrize("scatter", [0.003, 0.01, 0.03])
def test_the_interval_holds_the_next_cycle_nine_times_in_ten(scatter: float) -> None:
    """By drawing from the model's own form: stations about the rule, cycles about their station."""
    r = random.Random(4)
    held, n = 0, 300
    for _ in range(n):
        true = min(max(RULE_SHARE * math.exp(r.gauss(0.0, 0.25)), 0.05), 0.5)
        shares = [Transfer(true + r.gauss(0.0, math.hypot(scatter, 0.005)), 0.005) for _ in range(r.randint(3, 6))]
        about = believed(shares, RULE_SHARE)
        held += about.low <= true + r.gauss(0.0, scatter) <= about.high
    assert held / n >= 0.75, "more where cycles hardly differ: three can't tell that"


def test_nothing_that_can_be_seen_takes_it_out_of_bounds() -> None:
    r = random.Random(7)
    for _ in range(60):
        shares = [Transfer(r.uniform(0.02, 0.6), r.uniform(0.0, 0.04)) for _ in range(r.randint(1, 12))]
        found = decided(RULE, shares, shares[: r.randint(0, 5)], 0.0, r.uniform(0.0, 0.05))
        assert 0.0 <= found.low <= found.best <= found.high <= LARGEST_SHARE and 0.0 <= found.hot <= found.needed < 0.7
        assert found.low <= found.needed <= found.high


# -- the measurement


def contact(
    x: float,
    ends_c: float,
    was_c: float = ROOM,
    lag_s: float = 10.0,
    cools: float = 0.0,
    evens_k: float = 0.0,
    evens_s: float = 35.0,
) -> float:
    """A lagging probe in a basin that liquid came into x seconds ago."""
    if x < 0.0:
        return was_c
    over = evens_k * (math.exp(-x / evens_s) - math.exp(-x / lag_s)) / (1.0 - lag_s / evens_s) if evens_k else 0.0
    return ends_c - cools * x / 60.0 + (was_c - ends_c) * math.exp(-x / lag_s) + over


@pytest.mark.parametrize("lag_s", [2.0, 10.0, 30.0, 60.0, 85.0])
@pytest.mark.parametrize("cools", [0.0, 0.1])
@pytest.mark.parametrize("evens_k", [0.0, 3.0])
def test_the_plateau_is_found_behind_a_probes_lag_and_an_evening_out(
    lag_s: float, cools: float, evens_k: float
) -> None:
    r = random.Random(3)
    rows = [
        (x, contact(x, 35.0, lag_s=lag_s, cools=cools, evens_k=evens_k) + r.gauss(0.0, 0.02))
        for x in range(22, 300, 15)
    ]
    found = plateau(rows)
    assert found is not None
    assert found.basin_c == pytest.approx(35.0 - cools * 1.5, abs=0.25 if lag_s < 70 else 0.6)
    assert abs(found.basin_c - 35.0 + cools * 1.5) < 3.5 * found.sd_k + 0.03


def test_a_contact_of_a_minute_is_no_measure() -> None:
    assert plateau([(x, 35.0) for x in (22.0, 37.0, 52.0, 67.0)]) is None


def averages(basin: Any, from_s: int, to_s: int) -> list[tuple[int, float]]:
    return [(t * 1000, basin(t)) for t in range(from_s, to_s, 15)]


@pytest.mark.parametrize("late_s", [-60, 0, 100, 250])
def test_the_basins_rise_tells_when_the_liquid_came(late_s: int) -> None:
    found = arrival(averages(lambda t: contact(t - 1500, 35.0), 0, 2200), (1500 + late_s) * 1000.0)
    assert found is not None and found.rose_k > 14.0 and abs(found.at_ms - 1_500_000) < 16_000 and not found.is_over
    assert found.was_c == pytest.approx(ROOM, abs=0.5)


def test_a_heel_that_shows_only_by_the_liquids_return_that_it_was_away() -> None:
    found = arrival(averages(lambda t: contact(t - 600, 35.0), 0, 1500), 1_250_000.0)
    assert found is not None and abs(found.at_ms - 600_000) < 16_000


def test_liquid_that_leaves_ends_the_measure() -> None:
    def basin(t: float) -> float:
        return contact(t - 1500, 35.0) if t < 1700 else 22.0 + 13.0 * math.exp(-(t - 1700) / 40.0)

    found = arrival(averages(basin, 0, 2200), 1_500_000.0)
    assert found is not None and found.is_over and all(c > 34.5 for x, c in found.rows if x > 60.0)


def test_the_reservoirs_fall_is_found_to_a_minute() -> None:
    rows = averages(lambda t: 39.5 if t < 1000 else 39.5 - 0.25 * (t - 1000) / 60.0, 0, 1200)
    assert abs(left_at_ms(rows, 1_190_000) - 1_000_000) < 60_000


# -- the station


def with_basin(**more: Any) -> Settings:
    assert SETTINGS.reservoir is not None
    points = (*SETTINGS.points, point("basin", Role.BASIN_TEMPERATURE, -5.0, 90.0, **more))
    return replace(SETTINGS, points=points, reservoir=replace(SETTINGS.reservoir, set_point_c=40.0))


def morning(
    driver: Driver, share: float = 0.15, minutes: float = 8.0, warm_c: float = 39.8, start_c: float = ROOM, **more: Any
) -> None:
    """An hour at rest, a cycle, and half an hour after it. `share`: what the basin takes of the heat."""
    ends_c, room_c = warm_c - share * (warm_c - ROOM), more.pop("room_c", ROOM)
    gone_s, back_s = 1800.0, 1800.0 + 60.0 * minutes
    seed = driver.mono_ms

    def values(t: float) -> dict[str, float]:
        r = random.Random(seed + int(t))
        if t < gone_s:
            liquid, basin = warm_c, start_c
        elif t < back_s:
            liquid, basin = (
                27.0 + (warm_c - 27.0) * math.exp(-(t - gone_s) / 120.0),
                contact(t - gone_s, ends_c, start_c, **more),
            )
        else:
            left = contact(back_s - gone_s, ends_c, start_c, **more)
            liquid, basin = (
                min(35.5 + 0.3 * (t - back_s) / 60.0, warm_c),
                ROOM + (left - ROOM) * math.exp(-(t - back_s) / 600.0),
            )
        return QUIET | {"room": room_c, "reservoir": liquid + r.gauss(0.0, 0.02), "basin": basin + r.gauss(0.0, 0.02)}

    known = driver.station.watches
    driver.run(3600 + 1200, lambda t: {k: v for k, v in values(t).items() if k in known}, every_s=10.0)


def next_day(driver: Driver) -> None:
    """The night is not read."""
    driver.pass_to(driver.mono_ms + 24 * HOUR - 4800 * 1000)


def mornings(driver: Driver, *shares: float, **more: Any) -> None:
    for share in shares:
        morning(driver, share, **more)
        next_day(driver)


def transfers(driver: Driver) -> list[dict[str, Any]]:
    return [e.body for e in driver.said if e.kind == "transfer"]


def needed(driver: Driver) -> dict[str, Any]:
    driver.tell(**(QUIET | {"room": ROOM, "reservoir": 39.8}))
    return driver.station.estimates(driver.now)["needed_reservoir_temperature"]


def test_three_mornings_take_what_is_needed_below_the_rule() -> None:
    driver = Driver(with_basin())
    before = needed(driver)
    assert before["value"] == pytest.approx(39.0, abs=0.01) and before["low"] < 39.0 < before["high"], "the rule"
    assert "by the rule" in before["why"] and "by the rule" in driver.condition("reservoir")["text"]
    mornings(driver, 0.15, 0.15)
    assert needed(driver)["value"] == pytest.approx(39.0, abs=0.01)
    mornings(driver, 0.15)
    told = transfers(driver)
    assert [(b["counts"], b["first"], b["cold_from"]) for b in told] == [(True, True, "room")] * 3
    assert all(b["share"] == pytest.approx(0.15, abs=0.006) and b["u"] < 0.01 for b in told)
    after = needed(driver)
    true = (35.0 - 0.15 * ROOM) / 0.85
    assert true < after["value"] < 38.8 and after["low"] < true < after["high"]
    assert (
        "measured on 3 first cycles" in after["why"]
        and "measured on 3 first cycles" in driver.condition("reservoir")["text"]
    )
    basin = driver.station.estimates(driver.now)["basin_temperature"]
    assert basin["low"] < 39.8 - 0.15 * 19.8 < basin["high"] and basin["high"] - basin["low"] < 1.6


def test_a_greater_loss_counts_from_the_first_cycle_and_the_station_waits_for_it() -> None:
    driver = Driver(with_basin())
    mornings(driver, 0.27)
    assert needed(driver)["value"] == pytest.approx((35.0 - 0.27 * ROOM) / 0.73, abs=0.25)
    assert driver.condition("reservoir")["state"] == "unmet"


def test_later_cycles_of_a_day_are_counted_apart() -> None:
    driver = Driver(with_basin())
    morning(driver, 0.15)
    morning(driver, 0.10, start_c=24.0)
    assert [b["first"] for b in transfers(driver)] == [True, False]
    assert len(driver.station.parts.basin.first) == len(driver.station.parts.basin.later) == 1


def test_a_basin_that_is_warm_already_is_no_first_cycle() -> None:
    driver = Driver(with_basin())
    morning(driver, 0.15, start_c=27.0)
    assert [b["first"] for b in transfers(driver)] == [False]


@pytest.mark.parametrize(
    "what, why",
    [
        ({"minutes": 0.8}, "stayed too short"),
        ({"share": 0.72}, "hardly any of the liquid"),
        ({"share": 0.01}, "the reservoir's own temperature"),
    ],
    ids=["broken off", "in air", "follows"],
)
def test_what_is_no_measure_is_told_and_does_not_count(what: dict[str, float], why: str) -> None:
    driver = Driver(with_basin())
    morning(driver, **what)
    (body,) = transfers(driver)
    assert not body["counts"] and why in body["why"]
    assert english(of_json(body["msg"])) == body["why"]
    assert driver.station.parts.basin.first == []


def test_an_odd_morning_among_good_ones_moves_nothing() -> None:
    driver = Driver(with_basin())
    mornings(driver, 0.15, 0.15, 0.15, 0.15)
    before = needed(driver)["value"]
    mornings(driver, 0.45)
    assert needed(driver)["value"] == pytest.approx(before, abs=0.15)


def test_without_a_room_point_the_basin_itself_tells_how_cold_it_was() -> None:
    """The declared coldest room would make the loss look smaller, and unsafe on the day the room is that cold."""
    settings = with_basin()
    driver = Driver(replace(settings, points=tuple(p for p in settings.points if p.id != "room")))
    mornings(driver, 0.15, 0.15, 0.15)
    told = transfers(driver)
    assert [b["cold_from"] for b in told] == ["basin"] * 3 and all(
        b["share"] == pytest.approx(0.15, abs=0.01) for b in told
    )
    driver.tell(**{k: v for k, v in (QUIET | {"reservoir": 39.8}).items() if k != "room"})
    found = driver.station.estimates(driver.now)["needed_reservoir_temperature"]
    assert "declared coldest room" in found["why"] and found["value"] > (35.0 - 0.15 * 18.0) / 0.85


def test_what_was_learned_outlasts_a_restart_by_the_journal_and_by_the_snapshot() -> None:
    driver = Driver(with_basin())
    mornings(driver, 0.15, 0.15, 0.15)
    folded = Station(driver.station.settings, "boot-2")
    for entry in driver.said:
        folded.fold(entry)
    restored = Station(driver.station.settings, "boot-2", json.loads(json.dumps(driver.station.state())))
    for station in (folded, restored):
        station.hear([], driver.now)
        assert station.parts.warmth is not None and driver.station.parts.warmth is not None
        assert station.parts.warmth.share == driver.station.parts.warmth.share
        assert station.parts.basin.state() == driver.station.parts.basin.state()


@pytest.mark.parametrize(
    "record",
    [{"record": "equipment_change", "what": "loaner"}, {"record": "calibration", "point": "basin"}],
    ids=["loaner", "calibrated"],
)
def test_other_equipment_ends_what_was_learned_and_says_so(record: dict[str, Any]) -> None:
    driver = Driver(with_basin())
    mornings(driver, 0.15, 0.15, 0.15)
    if record["record"] == "calibration":
        record |= {"points": [{"reference": "35 degC", "reading": "35.1 degC"}], "reference_u": "0.05 K"}
        record |= {"instrument": "reference thermometer 7", "certificate": "HL-0042"}
    driver.record(**record)
    told = transfers(driver)[-1]
    assert told["forgotten"] == 3 and "forgotten" in told["text"] and "by the rule" in told["text"]
    assert english(of_json(told["msg"])) == told["text"] and told["why"] in told["text"]
    assert needed(driver)["value"] == pytest.approx(39.0, abs=0.01)
    again = Station(driver.station.settings, "boot-2")
    for entry in driver.said:
        again.fold(entry)
    assert again.parts.basin.first == []


def test_a_sensor_fitted_elsewhere_leaves_what_was_learned() -> None:
    driver = Driver(with_basin())
    mornings(driver, 0.15, 0.15, 0.15)
    driver.record("equipment_change", what="sensor_fitted")
    assert len(driver.station.parts.basin.first) == 3
    driver.record("equipment_change", what="sensor_fitted", point="basin")
    assert driver.station.parts.basin.first == []


def test_contact_below_the_labels_minimum_is_worth_a_sentence() -> None:
    driver = Driver(with_basin())
    morning(driver, 0.15, warm_c=37.0, minutes=12.0)
    (advice,) = [e.body for e in driver.said if e.kind == "advice"]
    assert advice["point"] == "basin" and "the basin came to 34." in advice["what"] and "35.0 °C" in advice["what"]


def test_a_probe_that_hangs_in_the_reservoir_is_doubted_and_teaches_nothing() -> None:
    driver = Driver(with_basin())
    driver.run(5400, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": 39.5}, every_s=10.0)
    told = [e.body for e in driver.said if e.kind == "contradiction"]
    assert [b["points"] for b in told] == [["basin"]] and "shows the reservoir's temperature" in told[0]["cause"]
    assert driver.station.points(driver.now)["basin"]["reason"] == "contradicted"
    assert driver.condition("reservoir")["state"] == "met", "the reservoir's own probe decides"
    driver.run(1200, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": 20.3}, every_s=10.0)
    assert [e.body["what"] for e in driver.said if e.kind == "contradiction"] == ["began", "ended"]


def test_a_doubt_that_an_older_version_told_in_words_alone_ends_too() -> None:
    before = Driver(with_basin())
    before.run(5400, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": 39.5}, every_s=10.0)
    driver = Driver(with_basin(), wall_ms=before.wall_ms, boot="boot-2")
    for entry in before.said:
        body = {key: value for key, value in entry.body.items() if not key.endswith("msg")}
        driver.station.fold(entry._replace(body=body))
    driver.run(60, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": 20.3}, every_s=10.0)
    told = driver.station.points(driver.now)["basin"]
    assert told["reason"] == "contradicted" and told["text"] == "the basin's probe shows the reservoir's temperature"
    driver.run(1200, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": 20.3}, every_s=10.0)
    assert [e.body["what"] for e in driver.said if e.kind == "contradiction"] == ["ended"]


def test_exchanged_probes_are_told() -> None:
    driver = Driver(with_basin())
    driver.run(5400, QUIET | {"room": ROOM, "reservoir": 20.3, "basin": 39.5}, every_s=10.0)
    (told,) = [e.body for e in driver.said if e.kind == "contradiction"]
    assert "points probably exchanged" in told["cause"]


def test_the_labels_maximum_is_judged_with_the_least_loss() -> None:
    """By the rule 41.5 Cel gives 37 Cel in the basin; a station that loses a twentieth has 40.4 Cel there."""
    driver = Driver(with_basin())
    driver.run(300, QUIET | {"room": ROOM, "reservoir": 41.5}, every_s=10.0)
    assert "above the label's" not in driver.condition("reservoir")["text"]
    mornings(driver, 0.05, 0.05, 0.05)
    driver.run(300, QUIET | {"room": ROOM, "reservoir": 41.5}, every_s=10.0)
    condition = driver.condition("reservoir")
    assert condition["state"] == "unmet" and "above the label's 40.0 °C" in condition["text"]


def test_supply_water_in_hoses_and_basin_is_part_of_what_the_liquid_meets() -> None:
    plan = replace(with_basin().reservoir, supply_share=0.2, coldest_supply_c=10.0)  # type: ignore[type-var]
    driver = Driver(replace(with_basin(), reservoir=plan))
    assert plan is not None
    assert needed(driver)["value"] == pytest.approx(needed_c(plan, 0.8 * ROOM + 0.2 * 10.0), abs=0.001)
    driver.record("entered_reading", role="supply_temperature", value=15.0, unit="degC")
    assert needed(driver)["value"] == pytest.approx(needed_c(plan, 18.0), abs=0.001), (
        "not fitted: what is declared holds"
    )


def test_a_station_that_is_read_every_five_minutes_at_night_goes_on() -> None:
    settings = with_basin()
    driver = Driver(replace(settings, points=tuple(replace(p, stale_after_ms=900_000) for p in settings.points)))

    def cools(t: float) -> dict[str, float]:
        return QUIET | {"room": ROOM, "reservoir": ROOM + 19.8 * math.exp(-t / 30_000.0), "basin": ROOM}

    driver.run(1800, cools, every_s=10.0)
    driver.run(6 * 3600, lambda t: cools(t + 1800.0), every_s=300.0)
    driver.run(1200, lambda t: QUIET | {"room": ROOM, "reservoir": 26.0 + t / 300.0, "basin": ROOM}, every_s=10.0)
    driver.run(3 * 3600, cools, every_s=300.0)
    assert driver.station.points(driver.now)["reservoir"]["value"] is not None


def test_while_the_liquid_is_away_nothing_is_told_of_the_basin_by_the_reservoirs_probe() -> None:
    driver = Driver(with_basin())
    driver.run(600, QUIET | {"room": ROOM, "reservoir": 39.6, "basin": ROOM}, every_s=10.0)
    driver.run(
        300,
        lambda t: QUIET | {"room": ROOM, "reservoir": 27.0 + 12.6 * math.exp(-t / 120.0), "basin": contact(t, 36.6)},
        every_s=10.0,
    )
    told = driver.station.estimates(driver.now)["basin_temperature"]
    assert told["value"] is None and told["why"] == "the heated liquid is away"


def test_a_simulated_station_learns_its_loss_and_is_never_ready_by_it_alone() -> None:
    """One of the bench's; the whole runs by `python -m tests.bench.transfer`."""
    found = Run(2, 3).run()
    assert found.first >= 2 and found.odd_counted == 0 and found.wrongly_first == 0
    assert max(map(abs, found.errors)) < 0.03 and found.below_by_learning == 0
    assert sum(found.covered) >= 0.85 * len(found.covered)
