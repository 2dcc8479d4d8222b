"""Points that bear witness against each other: each row of the table of cross checks fails where it should, and on no ordinary day.

Plain facts, no published source: water at rest stands at one pressure, and no lower than while it flows; water that flows loses
pressure in every filter; a room in which a liquid is heated is cooler than it. Numbers are common practice.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.doubts.noise import Stills
from edge.domain.doubts.table import CHECKS
from edge.domain.readings import Kind, Role
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, HOUR, PSI, QUIET, SETTINGS, Driver, point

REST = QUIET
Values = dict[str, float]


def ready_station(settings: Settings = SETTINGS, every_s: float = 5.0) -> Driver:
    driver = Driver(settings)
    driver.duties_done()
    driver.run(150, REST, every_s)
    driver.run(60, DRAWING, min(every_s, 2.0))
    driver.run(240, REST, every_s)
    assert driver.verdict() == "ready", driver.station.verdict(driver.now)["waits_for"]
    return driver


def at_rest(psi: float) -> Values:
    return REST | dict.fromkeys(("supply", "between", "filtered"), psi * PSI)


def checks(driver: Driver) -> list[tuple[str, str, list[str]]]:
    return [(e.body["check"], e.body["what"], e.body["points"]) for e in driver.said if e.kind == "contradiction"]


def again(driver: Driver, settings: Settings = SETTINGS) -> Driver:
    """The same station after a restart, from its entries."""
    station = Station(settings, "boot-2")
    for entry in driver.said:
        station.fold(entry)
    other = Driver(settings, boot="boot-2", wall_ms=driver.wall_ms)
    other.station = station
    return other


# -- at rest the pressure is no lower than while drawing


@pytest.mark.parametrize("psi", [0, 5, 20, 30, 38, 39, 39.5])
def test_a_supply_that_rests_below_its_least_pressure_refutes_the_last_draw(psi):
    driver = ready_station()
    driver.run(200, at_rest(psi))
    condition = driver.condition("pressure")
    assert condition["state"] == "unmet" and "while nothing draws" in condition["text"]
    assert driver.verdict() == "not_ready"
    assert driver.alarms("static_low") == ["unacknowledged"]
    driver.run(3 * 3600, at_rest(psi), every_s=10)
    assert driver.condition("pressure")["state"] == "unmet"
    assert driver.alarms("static_low") == ["unacknowledged"], "one alarm, not one each minute"


@pytest.mark.parametrize("psi", [50, 55, 60])
def test_a_supply_that_rests_high_enough_to_draw_from_says_nothing(psi):
    driver = ready_station()
    driver.run(1200, at_rest(psi))
    assert driver.condition("pressure")["state"] == "met" and driver.alarms("static_low") == [] and checks(driver) == []


def test_a_valve_that_was_shut_for_long_leaves_the_pressure_unknown_until_a_draw_has_shown_it():
    driver = ready_station()
    driver.run(1200, at_rest(5))
    driver.run(300, REST)
    for one in (driver, again(driver)):
        one.run(60, REST)
        assert one.condition("pressure")["state"] == one.condition("flow")["state"] == "unknown"
        assert "stands no more" in one.condition("pressure")["text"]
    driver.run(60, DRAWING)
    driver.run(240, REST)
    assert driver.condition("pressure")["state"] == "met" and driver.verdict() == "ready"


@pytest.mark.parametrize("rest_s", [60, 200, 900])
def test_a_supply_that_stays_low_through_draws_and_pauses_is_announced_once(rest_s):
    driver = ready_station()
    driver.run(200, at_rest(38))
    for _ in range(6):
        driver.run(40, DRAWING | {"supply": 33 * PSI, "between": 31 * PSI, "filtered": 28 * PSI}, every_s=2)
        driver.run(rest_s, at_rest(38), every_s=2)
        assert driver.condition("pressure")["state"] == "unmet" and driver.verdict() == "not_ready"
    assert driver.alarms("static_low") == ["unacknowledged"]
    first = [("draw_out", what, ["supply"]) for what in ("began", "ended")]  # the first low draw, while it ran
    assert checks(driver)[:2] == first and len(checks(driver)) <= 3
    driver.run(120, REST)
    assert driver.alarms("static_low") == ["unacknowledged", "returned_unacknowledged"]
    assert driver.condition("pressure")["state"] == "unmet", "the last draw was too low"
    driver.run(60, DRAWING)
    driver.run(240, REST)
    assert driver.verdict() == "ready"


@pytest.mark.parametrize("seconds", [20, 60, 90])
def test_a_neighbours_draw_is_too_short_to_refute_anything(seconds):
    driver = ready_station()
    for _ in range(4):
        driver.run(seconds, at_rest(32))
        driver.run(300, REST)
    assert driver.condition("pressure")["state"] == "met" and driver.alarms("static_low") == []
    assert ("static_low", "began", ["supply"]) not in checks(driver)


def test_noise_about_the_least_pressure_is_not_below_it():
    driver, rng = ready_station(), random.Random(3)
    driver.run(3600, lambda _: at_rest(40.0 + rng.gauss(0.0, 0.4)))
    assert driver.condition("pressure")["state"] == "unknown", "from there drawing would fall below it"
    assert driver.alarms("static_low") == [] and ("static_low", "began", ["supply"]) not in checks(driver)


# -- flow takes pressure, and pressure lost is flow


@pytest.mark.parametrize("psi", [44, 50, 55, 58])
@pytest.mark.parametrize("noise", [0.0, 0.1, 0.3])
def test_a_meter_that_counts_while_no_gauge_moves_is_doubted_with_the_gauges(psi, noise):
    driver, rng = ready_station(), random.Random(7)
    driver.run(120, at_rest(psi))

    def wheel(_: float) -> Values:
        taps = {tap: (psi + rng.gauss(0.0, noise)) * PSI for tap in ("supply", "between", "filtered")}
        return REST | taps | {"flow": 9.08}

    driver.run(90, wheel)
    driver.run(240, at_rest(psi))
    for ident in ("pressure", "flow"):
        assert driver.condition(ident)["state"] == "unknown", ident
        assert "the meter says draw, no gauge moves" in driver.condition(ident)["text"]
    began = next(points for check, what, points in checks(driver) if (check, what) == ("flow_no_drop", "began"))
    assert set(began) == {"flow", "supply", "between", "filtered"}
    assert driver.verdict() == "unknown"
    driver.run(60, DRAWING)
    driver.run(240, REST)
    assert driver.verdict() == "ready", "a draw that the gauges show takes the doubt back"


@pytest.mark.parametrize("gauge", ["supply", "between", "filtered"])
def test_a_gauge_that_is_frozen_through_a_draw_in_which_others_move_is_doubted(gauge):
    driver = ready_station()
    frozen = {gauge: 50.0 * PSI}
    driver.run(120, at_rest(50) | frozen)
    driver.run(60, DRAWING | frozen)
    driver.run(60, at_rest(50) | frozen)
    assert ("still_in_draw", "began", [gauge]) in checks(driver)
    assert driver.station.points(driver.now)[gauge]["reason"] == "contradicted"
    assert driver.verdict() != "ready"
    driver.run(60, DRAWING)
    driver.run(60, REST)
    assert ("still_in_draw", "ended", [gauge]) in checks(driver)


@pytest.mark.parametrize("every_s", [1, 5])
@pytest.mark.parametrize("gauge", ["supply", "between"])
def test_a_gauge_whose_last_digit_toggles_through_a_draw_in_which_others_fall_is_doubted(gauge, every_s):
    driver, rng = ready_station(), random.Random(4)

    def toggles(values: Values) -> Callable[[float], Values]:
        return lambda _: values | {gauge: 345.0 + 0.1 * rng.choice((0, 1))}

    driver.run(120, toggles(at_rest(50)), every_s=every_s)
    driver.run(60, toggles(DRAWING), every_s=every_s)
    driver.run(60, toggles(at_rest(50)), every_s=every_s)
    assert gauge in driver.station.parts.crossed.register.doubts["still_in_draw"]
    assert driver.verdict() != "ready"
    assert driver.condition("pressure" if gauge == "supply" else "filter:coarse")["state"] != "met"


@pytest.mark.parametrize("falls_kpa, step", [(0.8, 0.1), (0.0, 0.5), (2.0, 2.0)])
def test_a_stiff_supply_that_falls_by_little_is_no_gauge_that_stands_still(falls_kpa, step):
    """A pump's tank close by. A gauge of coarse steps may show nothing of it, and toggle."""
    driver, rng = ready_station(), random.Random(4)

    def supply(values: Values, kpa: float) -> Callable[[float], Values]:
        return lambda _: values | {"supply": toggling(rng, kpa, 0.3 * max(step, 0.5), step)}

    for _ in range(4):
        driver.run(120, supply(at_rest(50), 345.0), every_s=5)
        driver.run(60, supply(DRAWING, 345.0 - falls_kpa), every_s=5)
    driver.run(60, supply(at_rest(50), 345.0), every_s=5)
    assert "still_in_draw" not in driver.station.parts.crossed.register.doubts


def test_a_supply_gauge_alone_that_never_moves_is_doubted_at_the_first_draw():
    alone = tuple(p for p in SETTINGS.points if p.id not in ("between", "filtered"))
    driver = Driver(replace(SETTINGS, points=alone, filters=()))
    frozen = {"supply": 50.0 * PSI}
    driver.run(120, QUIET | frozen)
    driver.run(60, DRAWING | frozen)
    driver.run(60, QUIET | frozen)
    assert driver.condition("pressure")["state"] == driver.condition("flow")["state"] == "unknown"


@pytest.mark.parametrize("shift", [-6, 0, 5])
def test_filters_that_take_pressure_while_the_meter_is_still_are_a_contradiction(shift):
    driver = ready_station()
    dead = {tap: DRAWING[tap] + shift * PSI for tap in ("supply", "between", "filtered")}
    driver.run(240, REST | dead)
    assert ("drop_no_flow", "began", ["flow", "supply", "filtered"]) in checks(driver)
    assert driver.condition("flow")["state"] == "unknown" and driver.verdict() != "ready"


def test_a_sag_of_the_supply_and_a_trapped_pressure_behind_the_filters_are_no_flow():
    driver = ready_station()
    for _ in range(3):
        # the last tap keeps its pressure behind a check valve
        driver.run(250, REST | {"supply": 45 * PSI, "between": 45 * PSI})
        driver.run(400, at_rest(52))
    assert checks(driver) == []


# -- a stage takes something


@pytest.mark.parametrize("name, taps", [("coarse", ("supply", "between")), ("fine", ("between", "filtered"))])
@pytest.mark.parametrize("offset", [0.0, 0.6, -0.4])
def test_a_stage_that_takes_nothing_from_the_first_draw_on_is_doubted(name, taps, offset):
    driver = Driver()
    driver.duties_done()
    before, after = taps
    driver.run(150, REST | {after: REST[after] + offset * PSI})
    driver.run(60, DRAWING | {after: DRAWING[before] + offset * PSI})
    driver.run(60, REST | {after: REST[after] + offset * PSI})
    condition = driver.condition(f"filter:{name}")
    assert condition["state"] == "unknown" and "takes nothing while water flows" in condition["text"]
    assert (f"stage:{name}", "began", list(taps)) in checks(driver)
    other = "fine" if name == "coarse" else "coarse"
    assert "takes nothing" not in driver.condition(f"filter:{other}")["text"]
    assert again(driver).condition(f"filter:{name}")["state"] == "unknown"
    driver.run(150, REST)
    for _ in range(3):
        driver.run(60, DRAWING)
        driver.run(60, REST)
    assert (f"stage:{name}", "ended", list(taps)) in checks(driver)


def test_clean_filters_that_take_little_are_filters():
    driver = Driver()
    driver.duties_done()
    driver.run(150, REST)
    driver.run(60, DRAWING | {"between": DRAWING["supply"] - 0.5 * PSI, "filtered": DRAWING["supply"] - 1.1 * PSI})
    driver.run(240, REST)
    assert checks(driver) == [] and driver.verdict() == "ready"


def test_a_trickle_tells_nothing_of_the_filters():
    driver = ready_station()
    driver.run(90, REST | {"flow": 1.5})
    driver.run(60, REST)
    assert checks(driver) == [("draw_out", what, ["flow"]) for what in ("began", "ended")], "only that it was a trickle"


# -- the room is cooler than the liquid


@pytest.mark.parametrize("room", [33.0, 36.0, 38.0, 39.2, 44.0])
def test_a_room_probe_on_the_warm_vessel_is_doubted_and_the_declared_room_is_used(room):
    driver = ready_station()
    needed = driver.station.parts.warmth.limits(18.0)[0]  # type: ignore[union-attr]
    driver.run(60, REST | {"room": room, "reservoir": needed - 0.3})
    assert driver.condition("reservoir")["state"] == "unmet", "what is needed must not fall by it"
    assert "an assumed room of 18" in driver.condition("reservoir")["text"]
    assert driver.station.points(driver.now)["room"]["reason"] == "contradicted"
    assert ("room_warm", "began", ["room"]) in checks(driver)


@pytest.mark.parametrize("room", [33.0, 38.0, 39.2])
def test_without_a_declared_room_what_is_needed_is_unknown_then(room):
    bare = replace(SETTINGS, reservoir=replace(SETTINGS.reservoir, coldest_room_c=None))  # type: ignore[type-var]
    driver = ready_station(bare)
    driver.run(60, REST | {"room": room})
    assert driver.condition("reservoir")["state"] == "unknown" and driver.verdict() == "unknown"
    driver.run(900, REST)
    assert driver.verdict() == "ready", "it hangs free again"


def test_a_room_as_warm_as_a_cold_liquid_is_a_room():
    driver = Driver()
    driver.run(600, REST | {"room": 24.0, "reservoir": 24.0})
    driver.run(600, lambda t: REST | {"room": 28.0, "reservoir": 24.0 + t * 0.02})
    assert checks(driver) == []


def test_neither_a_room_point_nor_a_declared_room_leaves_the_reservoir_unknown():
    no_room = replace(
        SETTINGS,
        points=tuple(p for p in SETTINGS.points if p.id != "room"),
        reservoir=replace(SETTINGS.reservoir, coldest_room_c=None),  # type: ignore[type-var]
    )
    driver = Driver(no_room)
    driver.duties_done()
    driver.run(300, {name: value for name, value in REST.items() if name != "room"})
    condition = driver.condition("reservoir")
    assert condition["state"] == "unknown" and "nothing says how cold the room is" in condition["text"]


@pytest.mark.parametrize(
    "role, low, high, values",
    [
        (Role.SUPPLY_TEMPERATURE, -20.0, 90.0, [-0.06, 0.0, -5.0, 35.5, 60.0, 85.0]),
        (Role.ROOM_TEMPERATURE, -20.0, 90.0, [-0.06, 4.9, 46.0, 85.0]),
    ],
)
def test_what_running_water_or_a_room_cannot_be_is_bad(role, low, high, values):
    probe = point("probe", role, low, high)
    rest = tuple(p for p in SETTINGS.points if p.role is not role)
    for value in values:
        driver = Driver(replace(SETTINGS, points=(*rest, probe)))
        driver.run(5, {"probe": value})
        assert driver.station.readings[-1].reason == "beyond_its_role", value
        driver.run(5, {"probe": 12.0})
        assert driver.station.readings[-1].value == 12.0


# -- a point is never quieter than its own noise


def toggling(rng: random.Random, level: float, sigma: float, step: float) -> float:
    return round((level + rng.gauss(0.0, sigma)) / step) * step


@pytest.mark.parametrize("name, level, sigma, step", [
    ("supply", 55 * PSI, 0.5, 0.1), ("filtered", 55 * PSI, 1.0, 0.0), ("room", 22.0, 0.04, 0.0625), ("reservoir", 39.2, 0.05, 0.0625),
    ("reservoir", 39.2, 0.1, 0.0625),
])  # fmt: skip
def test_a_point_that_always_moved_and_is_frozen_is_doubted(name, level, sigma, step):
    driver, rng = ready_station(), random.Random(11)

    def lively(_: float) -> Values:
        return REST | {name: toggling(rng, level, sigma, step) if step else level + rng.gauss(0.0, sigma)}

    driver.run(1.5 * 3600, lively, every_s=5)
    assert checks(driver) == []
    last = driver.station.watches[name].good
    assert last is not None
    driver.run(45 * 60, REST | {name: last}, every_s=5)
    assert ("frozen", "began", [name]) in checks(driver)
    assert driver.station.points(driver.now)[name]["reason"] == "contradicted"
    if name in ("supply", "reservoir"):
        assert driver.verdict() == "unknown"
    driver.run(60, lively, every_s=2)
    assert ("frozen", "ended", [name]) in checks(driver)


def test_a_steady_reservoir_that_moves_by_its_last_bit_stays_fine_for_hours():
    driver, rng = ready_station(), random.Random(2)
    driver.run(4 * 3600, lambda _: REST | {"reservoir": 39.0 + rng.choice((-0.0625, 0.0, 0.0625))}, every_s=5)
    assert checks(driver) == [] and driver.verdict() == "ready"


def lived(
    watch: Stills, minutes: float, value: Callable[[float], float], start_s: float = 0.0, every_s: float = 2.0
) -> list[float]:
    """When it was too still, in minutes."""
    found = []
    for i in range(int(minutes * 60 / every_s)):
        at = start_s + i * every_s
        watch.moves(value(at), int(at * 1000), False)
        if watch.too_still(int(at * 1000)) is not None:
            found.append(at / 60.0)
    return found


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("sigma", [0.02, 0.1, 0.2])
def test_a_probe_of_little_noise_rests_between_its_steps_and_is_not_frozen(seed, sigma):
    """In steps of 1: it toggles near a step while the room warms, and is still for the night in the middle between two."""
    rng, watch = random.Random(seed), Stills(Kind.TEMPERATURE, 10_000)

    def day(at: float) -> float:
        return float(round(min(at / 1800.0, 8.0) + rng.gauss(0.0, sigma)))

    assert lived(watch, 16 * 60, day) == []


@pytest.mark.parametrize("sigma", [0.5, 0.6, 1.0, 3.0])
def test_noise_of_half_a_step_and_more_tells_a_frozen_probe_and_never_a_live_one(sigma):
    rng, watch = random.Random(4), Stills(Kind.PRESSURE, 10_000)
    assert lived(watch, 24 * 60, lambda at: float(round(7.1 + rng.gauss(0.0, sigma)))) == []
    found = lived(watch, 120, lambda at: 7.0, start_s=24 * 3600)
    assert found and found[0] - 24 * 60 < 60


def test_a_doubt_that_was_wrong_takes_twice_as_long_the_next_time():
    rng, watch = random.Random(4), Stills(Kind.PRESSURE, 10_000)
    lived(watch, 120, lambda at: float(round(rng.gauss(0.0, 0.6))))
    first = lived(watch, 60, lambda at: 0.0, start_s=7200)[0] - 120
    watch.moves(1.0, 10_800_000, True)
    lived(watch, 30, lambda at: float(round(rng.gauss(0.0, 0.6))), start_s=10_802)
    again_after = lived(watch, 240, lambda at: 0.0, start_s=12_602)
    assert 14 < first < 16 and 29 < again_after[0] - 12_602 / 60 < 31


# -- a maximum holds


def test_a_liquid_about_its_maximum_does_not_make_the_verdict_flap():
    driver, rng = ready_station(), random.Random(1)
    cooler = replace(SETTINGS, reservoir=replace(SETTINGS.reservoir, maximum_c=41.0, contact_max_c=None))  # type: ignore[type-var]
    driver = ready_station(cooler)
    n = len([e for e in driver.said if e.kind == "verdict"])
    driver.run(1800, lambda _: REST | {"reservoir": 41.0 + rng.choice((-0.06, 0.06, 0.13, -0.13))})
    assert [e.body["to"] for e in driver.said if e.kind == "verdict"][n:] == ["not_ready"]
    driver.run(60, REST | {"reservoir": 40.5})
    assert (
        driver.condition("reservoir")["state"] == "unmet"
        and "not yet for long enough" in driver.condition("reservoir")["text"]
    )
    driver.run(120, REST | {"reservoir": 40.5})
    assert driver.condition("reservoir")["state"] == "met"


def test_the_labels_maximum_in_the_basin_holds_too():
    driver, rng = ready_station(), random.Random(1)
    warmth = driver.station.parts.warmth
    assert warmth is not None
    at_label = next(c / 100 for c in range(3800, 4500) if warmth.basin_c(c / 100, 22.0, warmth.share.hot) > 40.0)
    n = len([e for e in driver.said if e.kind == "verdict"])
    driver.run(900, lambda _: REST | {"reservoir": at_label + rng.choice((-0.06, 0.06))})
    assert [e.body["to"] for e in driver.said if e.kind == "verdict"][n:] in (["not_ready"], [])
    assert driver.condition("reservoir")["state"] == "unmet"


def test_a_ceiling_is_met_at_equality_and_left_for_good():
    ceiling = Ceiling()
    assert not ceiling.see(45.0, 45.0, 0) and ceiling.see(45.01, 45.0, 1000)
    assert ceiling.see(44.9, 45.0, 2000) and ceiling.see(44.9, 45.0, 601_000)
    assert not ceiling.see(44.9, 45.0, 602_000)
    assert (
        ceiling.see(46.0, 45.0, 700_000) and ceiling.see(44.0, 45.0, 701_000) and not ceiling.see(44.0, 45.0, 821_000)
    )
    assert not ceiling.see(99.0, None, 900_000)


# -- every point of a role, every section


def with_second(role: Role, ident: str, **more: float) -> Settings:
    first = next(p for p in SETTINGS.points if p.role is role)
    return replace(SETTINGS, points=(*SETTINGS.points, replace(first, id=ident, of="second")))


@pytest.mark.parametrize("value, state", [(21.0, "unmet"), (36.0, "unmet"), (46.0, "unmet"), (39.2, "met")])
def test_a_second_reservoir_is_judged_and_the_worst_decides(value, state):
    driver = Driver(with_second(Role.RESERVOIR_TEMPERATURE, "reservoir-2"))
    driver.duties_done()
    driver.run(200, REST | {"reservoir-2": value})
    assert driver.condition("reservoir")["state"] == state
    if state == "unmet":
        assert "reservoir-2" in driver.condition("reservoir")["text"]


def test_the_labels_maximum_holds_for_a_second_reservoir_too():
    assert SETTINGS.reservoir is not None
    settings = with_second(Role.RESERVOIR_TEMPERATURE, "reservoir-2")
    driver = Driver(replace(settings, reservoir=replace(SETTINGS.reservoir, maximum_c=None)))
    driver.run(300, QUIET | {"reservoir-2": 46.0})
    condition = driver.condition("reservoir")
    assert condition["state"] == "unmet" and "more than the label allows" in condition["text"]


@pytest.mark.parametrize("other, apart", [(42.1, False), (42.3, True)])
def test_two_probes_of_one_liquid_that_stay_apart_leave_it_unknown(other, apart):
    driver = Driver(with_second(Role.RESERVOIR_TEMPERATURE, "reservoir-2"))
    driver.run(1500, QUIET | {"reservoir-2": other}, every_s=5)
    assert driver.condition("reservoir")["state"] == "met", "layers do not last"
    driver.run(600, QUIET | {"reservoir-2": other}, every_s=5)
    assert driver.condition("reservoir")["state"] == ("unknown" if apart else "met")
    driver.run(60, QUIET | {"reservoir-2": 39.2}, every_s=5)
    assert driver.condition("reservoir")["state"] == "met"


def test_a_second_reservoir_that_falls_silent_leaves_it_unknown():
    driver = Driver(with_second(Role.RESERVOIR_TEMPERATURE, "reservoir-2"))
    driver.duties_done()
    driver.run(200, REST | {"reservoir-2": 39.2})
    driver.run(60, REST)
    assert (
        driver.condition("reservoir")["state"] == "unknown" and "reservoir-2" in driver.condition("reservoir")["text"]
    )


@pytest.mark.parametrize("rooms", [(24.0, 16.0), (16.0, 24.0)])
def test_the_coldest_of_two_rooms_decides(rooms):
    driver = Driver(with_second(Role.ROOM_TEMPERATURE, "room-2"))
    driver.run(60, REST | {"room": rooms[0], "room-2": rooms[1]})
    assert driver.station.parts.crossed.rooms.room_or_assumed(driver.now.mono_ms) == (16.0, False)


@pytest.mark.parametrize(
    "role", [Role.SUPPLY_PRESSURE, Role.SUPPLY_FLOW, Role.BETWEEN_FILTERS_PRESSURE, Role.FILTERED_PRESSURE]
)
def test_a_second_point_that_is_not_followed_is_never_ready(role):
    first = next(p for p in SETTINGS.points if p.role is role)
    driver = Driver(with_second(role, "second"))
    driver.duties_done()
    for values in (REST, DRAWING, REST):
        driver.run(240, values | {"second": values[first.id]})
    assert driver.condition("sensors")["state"] == "unknown" and "second" in driver.condition("sensors")["text"]
    assert driver.verdict() == "unknown"


@pytest.mark.parametrize(
    "lacks, unknown",
    [
        ({"reservoir": None}, ["reservoir"]),
        ({"supply": None}, ["pressure", "flow"]),
        ({"reservoir": None, "supply": None}, ["reservoir", "pressure", "flow"]),
        ({"filters": ()}, ["sensors"]),
    ],
)
def test_a_section_that_is_missing_leaves_its_conditions_there_and_unknown(lacks, unknown):
    driver = Driver(replace(SETTINGS, **lacks))
    driver.duties_done()
    for values in (REST, DRAWING, REST):
        driver.run(240, values | {"reservoir": 21.0})
    for ident in unknown:
        assert driver.condition(ident)["state"] == "unknown"
    assert driver.verdict() != "ready"


def test_without_points_and_without_both_sections_nothing_is_known():
    power = tuple(p for p in SETTINGS.points if p.id == "power")
    driver = Driver(replace(SETTINGS, points=power, reservoir=None, supply=None, filters=()))
    driver.duties_done()
    driver.run(60, {"power": 1.0})
    assert driver.verdict() == "unknown"


# -- ordinary days, and the table


def test_an_ordinary_day_with_cycles_and_noise_says_nothing():
    driver, rng = ready_station(), random.Random(9)

    def noisy(values: Values) -> Callable[[float], Values]:
        def now(_: float) -> Values:
            taps = {tap: values[tap] + rng.gauss(0.0, 0.7) for tap in ("supply", "between", "filtered")}
            flow = {"flow": max(values["flow"] + rng.gauss(0.0, 0.05), 0.0)}
            return values | taps | flow | {"reservoir": round((39.3 + rng.gauss(0.0, 0.04)) * 16) / 16}

        return now

    for _ in range(8):
        driver.run(1500, noisy(REST), every_s=2)
        driver.run(70, noisy(DRAWING), every_s=2)
    assert checks(driver) == [] and driver.alarms("static_low") == []


def test_every_row_says_what_must_be_true_when_it_counts_and_what_to_do():
    for name, row in CHECKS.items():
        assert all((row.together, row.after, row.until, row.says)), name
        assert row.advice[0].isupper() and not row.advice.endswith("."), name


def test_the_same_advice_is_told_once_a_day():
    driver = Driver()
    for _ in range(3600):
        driver.run(1, REST)
        driver.tell(room=None)
    said = [e.body for e in driver.said if e.kind == "advice"]
    assert len(said) == 1
    driver.pass_to(driver.mono_ms + 24 * HOUR)
    for _ in range(60):
        driver.run(1, REST)
        driver.tell(room=None)
    assert len([e for e in driver.said if e.kind == "advice"]) == 2
