"""The simulated station obeys physics, and is the same world however it is read."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from math import sqrt
from pathlib import Path

import pytest

from simulators.physics.events import Away, Day, Draw, LineFault, PowerOff, Sag, SensorFault, TopUp, Trip
from simulators.physics.noise import even, mixed, normal, stream_of
from simulators.physics.reservoir import J_PER_L_K, Reservoir, Vessel
from simulators.physics.water import BUILDING_EXPONENT, STATED_C, STATED_L_MIN, Mains, Stage, at_rest, drawing
from simulators.physics.world import METERS, POINTS, Missing, World
from simulators.scenarios.compose import laid_upon
from simulators.scenarios.scenarios import SCENARIOS, scenario_named

ROOT = Path(__file__).parents[3]
ROOM_20 = ((0.0, 20.0),)
MIN = 60


def world_of(*events: object, liquid_c: float = 39.8, heating: bool = True, seed: int = 1, **more: object) -> World:
    """A world of a made-up day in a room of 20 Cel, from 06:00 on."""
    day = Day(start_s=6 * 3600, liquid_c=liquid_c, room=ROOM_20, events=events, heating=heating, **more)  # type: ignore[arg-type] # test's own
    return World.of_day(day, seed)


# -- noise


def test_mixing_is_splitmix64():
    """First outputs of that generator for seed 1234567, as widely printed (from memory)."""
    golden = 0x9E3779B97F4A7C15
    assert [mixed(1234567 + k * golden) for k in range(3)] == [
        6457827717110365317, 3203168211198807973, 9817491932198370423,
    ]  # fmt: skip


def test_noise_has_the_moments_it_claims():
    values = [normal(stream_of(7, "reservoir"), tick) for tick in range(20_000)]
    mean = sum(values) / len(values)
    spread = sqrt(sum((v - mean) ** 2 for v in values) / len(values))
    assert abs(mean) < 4.0 / sqrt(len(values))  # four standard errors
    assert spread == pytest.approx(1.0, abs=0.03)
    assert max(map(abs, values)) <= 3.5


def test_chances_are_even():
    share = sum(even(stream_of(3, "x"), tick) < 0.1 for tick in range(20_000)) / 20_000
    assert share == pytest.approx(0.1, abs=0.01)


# -- heat


def test_what_is_put_in_is_held_or_lost():
    """First law: heat content + losses = heat content at the start + heater + what was poured in, through a day of cycles."""
    world = World("busy-day")
    before = world.reservoir.held_j
    for hour in range(1, 11):
        world.step_to(hour * 3_600_000)
        box = world.reservoir
        assert box.held_j + box.lost_j == pytest.approx(before + box.heat_j, rel=1e-9)


def test_the_thermostat_puts_in_what_is_lost():
    """Steady state: power is the conductance to the room (surface, beside exchange and insulation in series) times the difference."""
    world, v = world_of(), Vessel()
    world.step_to(6 * 3_600_000)
    start, at = world.reservoir.heat_j, 6 * 3600
    seen = []
    for second in range(at, at + 12 * 3600, 5):
        world.step_to(second * 1000)
        seen.append(world.reservoir.liquid_c)
    conductance = v.surface_loss + 1.0 / (1.0 / v.wall_exchange + 1.0 / v.wall_loss)
    mean_c = sum(seen) / len(seen)
    power = (world.reservoir.heat_j - start) / (12 * 3600)
    assert power == pytest.approx(conductance * (mean_c - 20.0), rel=0.02)  # a few thermostat periods more or less
    assert min(seen) > v.set_point_c - v.hysteresis_k - 0.05
    assert max(seen) < v.set_point_c + 0.05


def test_a_cooling_vessel_dies_away_at_the_slow_rate_of_its_two_nodes():
    """Two coupled first-order nodes: rates are the eigenvalues of their 2 x 2 matrix (textbook); the slow one is left after minutes."""
    v = Vessel()
    liquid_j, wall_j = v.litres * J_PER_L_K, v.wall_j_per_k
    a, b = -(v.wall_exchange + v.surface_loss) / liquid_j, v.wall_exchange / liquid_j
    c, d = v.wall_exchange / wall_j, -(v.wall_exchange + v.wall_loss) / wall_j
    slow_per_s = (a + d) / 2.0 + sqrt(((a - d) / 2.0) ** 2 + b * c)
    box = Reservoir(v, 40.0, 20.0)
    box.step(3600, 20.0, False, None, False)
    first = box.liquid_c - 20.0
    box.step(7200, 20.0, False, None, False)
    assert (box.liquid_c - 20.0) / first == pytest.approx(2.718281828459045 ** (slow_per_s * 7200), rel=1e-4)


def test_the_probe_shows_63_percent_of_a_step_after_its_lag():
    """Meaning of a first-order time constant: 1 - 1/e."""
    v = Vessel(wall_exchange=1e-12, wall_loss=0.0, surface_loss=0.0, probe_lag_s=15.0)
    box = Reservoir(v, 40.0, 20.0)
    box.probe_c = 20.0
    box.step(15, 20.0, False, None, False)
    assert (box.probe_c - 20.0) / 20.0 == pytest.approx(0.632121, abs=1e-4)


def test_the_basins_probe_shows_63_percent_of_the_step_after_its_lag():
    """Meaning of a first-order time constant: 1 - 1/e."""
    box = Reservoir(Vessel(basin_probe_lag_s=30.0, basin_loss=0.0), 40.0, 20.0)
    box.take_away()
    box.step(30, 20.0, False, None, False)
    assert (box.basin_probe_c - 20.0) / (box.basin_c - 20.0) == pytest.approx(0.632121, abs=1e-4)


def test_the_basins_probe_may_be_covered_late_or_hang_outside():
    late, out = (
        Reservoir(Vessel(basin_probe_lag_s=1.0, basin_loss=0.0, basin_fill_s=fill), 40.0, 20.0) for fill in (60.0, 0.0)
    )
    out.basin_probe_out = True
    for box in (late, out):
        box.take_away()
        box.step(30, 20.0, False, None, False)
    assert (late.basin_probe_c - 20.0) / (late.basin_c - 20.0) == pytest.approx(0.5, abs=0.03)
    assert out.basin_probe_c == pytest.approx(20.0)


def test_a_cycle_takes_the_liquid_and_brings_it_back_cooler():
    world = world_of(Draw(600, 770), Away(840, 840 + 8 * MIN))
    world.step_to(830_000)
    warm = world.reservoir.liquid_c
    world.step_to(850_000)
    assert world.reservoir.is_away
    basin = world.read("basin")
    assert isinstance(basin, float)
    assert 33.5 < basin < 36.0  # four to six kelvins are lost on the way
    world.step_to(1_000_000)
    assert world.read("reservoir") < warm - 3.0  # type: ignore[operator] # a number here; the probe hangs in the empty vessel
    world.step_to((840 + 8 * MIN + 90) * 1000)
    assert not world.reservoir.is_away
    assert 33.0 < world.reservoir.liquid_c < 37.0


@pytest.mark.parametrize("minutes", [5, 20, 40])
def test_after_cycles_of_any_length_the_liquid_is_back_at_33_to_37(minutes: int):
    world = world_of(Away(600, 600 + minutes * MIN))
    world.step_to((600 + minutes * MIN + 1) * 1000)
    assert 33.0 < world.reservoir.liquid_c < 37.0


def test_the_heater_rests_while_the_vessel_is_empty():
    world = world_of(Away(60, 1260), liquid_c=37.0)
    world.step_to(61_000)
    before = world.reservoir.heat_j
    world.step_to(1_259_000)
    assert world.reservoir.heat_j == before


def test_a_heel_cools_more_slowly_than_air_but_far_faster_than_a_full_vessel():
    fallen = {}
    for in_air in (True, False):
        world = world_of(Away(600, 1800, in_air))
        world.step_to(600_000)
        start = world.reservoir.probe_c
        world.step_to(840_000)
        fallen[in_air] = start - world.reservoir.probe_c
    assert fallen[True] > fallen[False] > 0.8


def test_cold_liquid_poured_in_mixes_by_heat_content():
    world = world_of(TopUp(600, 1.0, 15.0), heating=False, liquid_c=39.9)
    world.step_to(599_000)
    before = world.reservoir.liquid_c
    world.step_to(601_000)
    assert world.reservoir.liquid_c == pytest.approx((11.0 * before + 15.0) / 12.0, abs=0.01)
    assert world.reservoir.litres == 12.0


def test_without_its_outlet_the_heater_does_nothing():
    world = world_of(Trip(0, 3600, "heater"), liquid_c=30.0)
    world.step_to(3_599_000)
    assert world.reservoir.heat_j == 0.0
    assert world.read("heater-outlet") == 1.0
    assert world.read("machine-outlet") == 0.0
    world.step_to(3_700_000)
    assert world.reservoir.heat_j > 0.0


# -- water


def test_the_mains_follow_the_fire_flow_relation():
    """Q2 = Q1 ((Ps - P2) / (Ps - P1))^0.54, as in NFPA 291 (from memory); its printed exponent is 1/1.85 rounded."""
    mains = Mains(static_kpa=400.0, curve=1.2)
    p1, p2 = (mains.static_kpa - mains.curve * q**BUILDING_EXPONENT for q in (5.0, 10.0))
    assert 5.0 * ((400.0 - p2) / (400.0 - p1)) ** 0.54 == pytest.approx(10.0, rel=0.005)


def test_the_row_of_resistances_balances():
    mains = Mains()
    coarse, fine = Stage(24.0, 1e4).law(0.0, 12.5), Stage(26.0, 1e4).law(0.0, 12.5)
    water = drawing(mains, mains.static_kpa, coarse, fine, mains.valve)
    assert water.supply_kpa > water.between_kpa > water.filtered_kpa > 0.0
    assert water.filtered_kpa == pytest.approx(mains.valve * water.flow_l_min**2, rel=1e-9)
    assert water.supply_kpa == pytest.approx(mains.static_kpa - mains.curve * water.flow_l_min**BUILDING_EXPONENT)


def test_a_hose_to_the_machine_takes_its_share():
    coarse, fine = Stage(24.0, 1e4).law(0.0, 12.5), Stage(26.0, 1e4).law(0.0, 12.5)
    near, far = (drawing(m, m.static_kpa, coarse, fine, m.valve) for m in (Mains(), Mains(hose_m=15.0, hose_mm=9.0)))
    assert far.flow_l_min < near.flow_l_min and far.filtered_kpa > near.filtered_kpa
    mains = Mains(hose_m=15.0, hose_mm=9.0)
    left = far.filtered_kpa - mains.hose_kpa(far.flow_l_min)
    assert left == pytest.approx(mains.valve * far.flow_l_min**2, rel=1e-6)


def test_a_hole_leaks_as_the_pressure_drives_it():
    def leaks(static_kpa: float) -> float:
        day = laid_upon(
            scenario_named("busy-day").day,
            {"mains": {"static_kpa": static_kpa}, "event": [{"what": "Hole", "from": 0, "until": 60, "bore_mm": 1.0}]},
        )
        world = World.of_day(day)
        world.step_to(30_000)
        return world.read("flow")

    assert leaks(4 * 300.0) / leaks(300.0) == pytest.approx(2.0, rel=0.01)


def test_a_stage_has_its_stated_drop_and_grows_with_what_passed():
    stage = Stage(drop_kpa=30.0, doubles_l=1000.0, housing_share=0.1)

    def drop(passed_l: float, water_c: float) -> float:
        a, b = stage.law(passed_l, water_c)
        return a * STATED_L_MIN + b * STATED_L_MIN**2

    assert drop(0.0, STATED_C) == pytest.approx(30.0)
    assert drop(1000.0, STATED_C) == pytest.approx(30.0 * 1.9)  # the medium's 90 % doubled
    # water of 8 against 20 Cel: viscosity 38 % higher (IAPWS R12-08), felt by the medium only
    assert drop(0.0, 8.0) / drop(0.0, 20.0) == pytest.approx(
        (0.9 * 1.384724 + 0.113757) / (0.9 * 1.001596 + 0.113757), rel=1e-4
    )


def test_without_a_draw_all_three_pressures_are_one():
    water = at_rest(385.0)
    assert (water.supply_kpa, water.between_kpa, water.filtered_kpa) == (385.0, 385.0, 385.0)
    world = world_of(Draw(600, 900))
    for ms in (0, 599_000, 901_000):
        world.step_to(ms)
        assert world.water.supply_kpa == world.water.filtered_kpa
        assert world.read("flow") == 0.0


def test_drawn_water_is_near_the_usual_bench_connection():
    """40 to 60 psi and 2 to 3 US gal/min while drawing: common practice, no published source."""
    world = world_of(Draw(600, 900))
    world.step_to(700_000)
    assert 276.0 < world.water.supply_kpa < 414.0
    assert 7.57 < world.water.flow_l_min < 11.36


def test_the_filters_have_passed_what_the_meter_showed():
    world, litres = world_of(Draw(600, 900)), 0.0
    for second in range(1000):
        world.step_to(second * 1000)
        flow = world.read("flow")
        assert isinstance(flow, float)
        litres += flow / 60.0
    assert litres > 30.0
    assert world.passed_l == pytest.approx(litres, rel=0.003)  # noise of 0.6 % over 300 readings, and a second of edges


def test_a_machine_without_power_draws_nothing():
    world = world_of(Draw(600, 900), PowerOff(0, 1000))
    world.step_to(700_000)
    assert world.read("flow") == 0.0
    assert world.read("power") == 0.0


def test_a_tripped_machine_outlet_takes_the_power_and_leaves_the_liquid_in_the_basin():
    world = world_of(Away(600, 1200), Trip(900, 2000, "machine"))
    world.step_to(1_500_000)
    assert world.read("power") == 0.0
    assert world.reservoir.is_away
    world.step_to(2_100_000)
    assert world.read("power") == 1.0
    assert not world.reservoir.is_away


def test_a_neighbours_draw_moves_all_three_pressures_together():
    world = world_of(Sag(600, 900, 330.0))
    world.step_to(700_000)
    assert world.water.supply_kpa == world.water.between_kpa == world.water.filtered_kpa
    assert world.water.supply_kpa == pytest.approx(330.0, abs=2.1)


# -- sensors


def test_probes_show_sixteenths_of_a_kelvin():
    """12-bit digital thermometers: 0.0625 K."""
    world = World("cold-morning")
    for minute in range(60):
        world.step_to(minute * 60_000)
        value = world.read("reservoir")
        assert isinstance(value, float)
        assert (value * 16.0).is_integer()
        assert abs(value - world.true("reservoir")) < 0.0625 / 2 + 3.5 * METERS["reservoir"].noise + 1e-9


def test_contacts_change_at_their_instant_and_not_at_the_next_second():
    world = world_of(Trip(600, 660, "heater"))
    world.step_to(599_999)
    assert world.read("heater-outlet", 599_999) == 0.0
    assert world.read("heater-outlet", 600_000) == 1.0


@pytest.mark.parametrize("how", ["crc", "power_on_value", "absent"])
def test_a_faulty_probe_gives_no_number(how: str):
    world = world_of(SensorFault(600, 900, "reservoir", how))
    world.step_to(700_000)
    heard = world.read("reservoir")
    assert isinstance(heard, Missing)
    assert heard.reason == ("" if how == "absent" else how)
    world.step_to(900_000)
    assert isinstance(world.read("reservoir"), float)


def test_a_frozen_probe_repeats_its_last_number_while_the_liquid_cools():
    world = world_of(SensorFault(600, 7200, "reservoir", "frozen"), Trip(0, 7200, "heater"))
    world.step_to(600_000)
    first = world.read("reservoir")
    world.step_to(7_000_000)
    assert world.read("reservoir") == first
    assert world.true("reservoir") < first - 2.0  # type: ignore[operator] # a number here


def test_a_share_of_readings_fails():
    world = world_of(SensorFault(0, 3600, "room", "crc", share=0.25))
    failed = 0
    for second in range(3600):
        world.step_to(second * 1000)
        failed += isinstance(world.read("room"), Missing)
    assert failed / 3600 == pytest.approx(0.25, abs=0.03)


def test_the_line_of_the_pressures_has_its_own_faults():
    world = world_of(LineFault(10, 20, "garbled"), LineFault(30, 40, "unplugged"))
    assert [world.line_state(ms) for ms in (0, 10_000, 19_999, 20_000, 35_000)] == [
        "ok",
        "garbled",
        "garbled",
        "ok",
        "unplugged",
    ]


def test_an_unknown_point_is_a_mistake_of_the_caller():
    with pytest.raises(KeyError):
        World("busy-day").read("boiler")


def test_events_beyond_a_day_are_refused():
    with pytest.raises(ValueError, match="within one day"):
        world_of(Draw(86_000, 90_000))


# -- the same world for everybody


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_the_world_does_not_depend_on_how_it_is_sampled(scenario: str):
    marks = list(range(0, 9 * 3_600_000, 1_111_000))
    fine, coarse = World(scenario), World(scenario)
    for mark in marks:
        for ms in range(max(mark - 20_000, 0), mark + 1, 700):
            fine.step_to(ms)
            fine.read("reservoir")
        fine.step_to(mark)
        coarse.step_to(mark)
        assert [fine.read(point) for point in POINTS] == [coarse.read(point) for point in POINTS]
    assert fine.reservoir.liquid_c == coarse.reservoir.liquid_c
    assert fine.passed_l == coarse.passed_l


def test_another_seed_has_other_noise_and_the_same_physics():
    one, other = World("cold-morning", 1), World("cold-morning", 2)
    different = 0
    for minute in range(100):
        one.step_to(minute * 60_000)
        other.step_to(minute * 60_000)
        different += one.read("supply") != other.read("supply")
    assert different > 80
    assert one.reservoir.liquid_c == other.reservoir.liquid_c


def test_time_does_not_go_back():
    world = World("cold-morning")
    world.step_to(600_000)
    before = world.reservoir.liquid_c
    world.step_to(300_000)
    assert (world.mono_ms, world.reservoir.liquid_c) == (600_000, before)


def test_the_day_begins_anew_after_24_hours():
    world = World("outlet-trip")
    world.step_to((86_400 + 3600) * 1000)  # 08:00 of the second day
    assert world.read("heater-outlet") == 1.0
    assert world.room_c(86_400) == pytest.approx(world.room_c(0))


def test_another_interpreter_with_another_hash_seed_sees_the_same_world():
    code = "from simulators.scenarios.record import table; print(list(table('busy-day', 2, 600)))"
    said = {
        subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }  # fmt: skip
    assert len(said) == 1
    assert b"2026-03-24T09:00:00.000Z" in said.pop()


def test_ten_hours_are_cheap(capsys: pytest.CaptureFixture[str]):
    """Measured and shown; only a hundredfold slip fails."""
    began_s = time.process_time()
    World("busy-day").step_to(36_000_000)
    took_s = time.process_time() - began_s
    with capsys.disabled():
        sys.stdout.write(f"\nten simulated hours: {took_s:.3f} s of CPU\n")
    assert took_s < 20.0
