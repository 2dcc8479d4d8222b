"""What can be wrong with a simulated station, and how a file lays it upon a scenario. Physics: balances that must close."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from simulators.physics.events import (
    Day,
    Draw,
    Drift,
    Drip,
    HeaterWeak,
    Lag,
    LidOpen,
    NewFilter,
    Noisy,
    TopUp,
    Torn,
    Turned,
)  # fmt: skip
from simulators.physics.reservoir import J_PER_L_K, Reservoir, Vessel
from simulators.physics.water import MOST_TIMES, Mains, Pump, Stage
from simulators.physics.world import METERS, World
from simulators.scenarios.compose import KINDS, composed, laid_upon
from simulators.scenarios.record import main
from simulators.scenarios.scenarios import SCENARIOS

ROOM = ((0.0, 20.0),)


def world(*events: object, **more: object) -> World:
    day = Day(start_s=8 * 3600, liquid_c=39.8, room=ROOM, events=tuple(events), **more)  # type: ignore[arg-type]
    return World.of_day(day, 1, wall_ms_of("2026-08-15T08:00:00Z"))


def after(w: World, seconds: int) -> World:
    w.step_to(seconds * 1000)
    return w


@pytest.mark.parametrize("lower_share", [0.0, 0.4])
def test_heat_is_neither_made_nor_lost_with_layers(lower_share):
    vessel = Reservoir(Vessel(lower_share=lower_share), 30.0, 20.0, heating=True)
    before = vessel.held_j
    for _ in range(60):
        vessel.step(60, 20.0, True, None, True)
    vessel.top_up(1.0, 12.0)
    vessel.step(600, 20.0, True, None, True)
    assert vessel.held_j - before == pytest.approx(vessel.heat_j - vessel.lost_j, rel=1e-9)


def test_cold_liquid_sinks_below_the_probe_and_the_heater_stirs():
    w = after(world(TopUp(60, 1.0, 14.0), vessel=Vessel(lower_share=0.4)), 180)
    mean, seen = w.reservoir.liquid_c, w.true("reservoir")
    assert seen - mean > 0.8 and w.reservoir.layers_k > 2.0
    after(w, 4000)
    assert abs(w.reservoir.layers_k) < 0.5, "the heater's warm liquid has risen through it"


def test_a_weak_heater_an_open_lid_and_a_turned_thermostat():
    def level(*events: object) -> float:
        w = world(*events)
        return after(w, 4 * 3600).reservoir.liquid_c

    usual = level()
    assert level(HeaterWeak(0, 86_400, 0.0)) < 37.0 < usual
    assert level(LidOpen(0, 86_400, 9.0)) < usual - 2.0
    assert level(Turned(0, 86_400, -2.0)) == pytest.approx(usual - 2.0, abs=0.6)


def test_a_sensor_that_drifts_lags_and_is_noisy():
    w = world(Drift(0, 86_400, "room", per_h=0.5, by=1.0), Lag(600, 86_400, "supply", 60.0), Noisy(0, 86_400, "reservoir", 5.0),
              Draw(1200, 1800), mains=Mains())  # fmt: skip
    usual = world(Draw(1200, 1800))
    after(w, 7200)
    after(usual, 7200)
    assert w._measured("room", 7_200_000) - usual._measured("room", 7_200_000) == pytest.approx(
        2.0, abs=METERS["room"].resolution
    )
    w, usual = world(Lag(600, 86_400, "supply", 60.0), Draw(1200, 1800)), world(Draw(1200, 1800))
    after(w, 1260), after(usual, 1260)
    fell, truly = 385.0 - w._seen("supply", 1_260_000), 385.0 - usual.true("supply")
    assert fell / truly == pytest.approx(1 - 2.718281828**-1, abs=0.05), "one time constant after a step"
    noisy, quiet = (
        [x._measured("reservoir", t * 1000) - x.true("reservoir") for t in range(600)]
        for x in (world(Noisy(0, 86_400, "reservoir", 5.0)), world())
    )
    assert sum(n * n for n in noisy) > 6 * sum(n * n for n in quiet)


def test_water_hammer_rings_at_the_valve_and_dies():
    w = world(Draw(100, 160), mains=Mains(hammer_kpa=200.0))
    after(w, 160)
    at_once = w.true("supply")
    assert at_once > 385.0 + 100.0
    after(w, 170)
    assert w.true("supply") == pytest.approx(385.0, abs=3.0)


def test_a_valve_takes_its_time():
    w = world(Draw(100, 200), mains=Mains(opens_s=6))
    flows = [after(w, s).water.flow_l_min for s in range(100, 110)]
    assert flows == sorted(flows) and flows[0] < 0.3 * flows[-1]


def test_a_pump_keeps_its_pressures_and_every_litre():
    pump = Pump()
    w = world(Draw(600, 900), mains=Mains(pump=pump))
    seen = [after(w, s).true("supply") for s in range(0, 3000, 2)]
    assert min(seen[0:300]) >= pump.cut_in_kpa - 1.0 and max(seen) <= pump.cut_out_kpa + 10.0
    assert max(seen[455:]) > 360.0, "filled again after the draw"


def test_the_season_warms_the_water():
    mains = Mains(water_c=11.0, swing_k=6.0)
    summer = world(mains=mains)
    winter = World.of_day(summer.day, 1, wall_ms_of("2026-02-14T08:00:00Z"))
    assert summer.true("water") == pytest.approx(17.0, abs=0.1) and winter.true("water") == pytest.approx(5.0, abs=0.2)


@pytest.mark.parametrize("blocks", ["cake", "intermediate", "standard", "complete"])
def test_filters_block_by_laws_that_agree_at_the_start_and_at_the_double(blocks):
    stage = Stage(20.0, 1000.0, blocks=blocks)
    grown = [stage.resists(v) for v in range(0, 1001, 50)]
    assert grown[0] == 1.0 and grown[-1] == pytest.approx(2.0) and grown == sorted(grown)
    assert stage.resists(1e7) == MOST_TIMES


def test_the_blocking_laws_bend_in_their_order():
    half = {b: Stage(20.0, 1000.0, blocks=b).resists(500.0) for b in ("cake", "intermediate", "standard", "complete")}
    assert half["cake"] > half["intermediate"] > half["standard"] > half["complete"] > 1.0, (
        "the later, the steeper at the end"
    )


def test_torn_and_new_filters_and_a_drip():
    def drop(*events: object) -> float:
        w = after(world(Draw(7200, 7300), *events, coarse=Stage(24.0, 20.0)), 7250)
        return w.true("supply") - w.true("between")

    old = world(Draw(0, 3600), Draw(7200, 7300), coarse=Stage(24.0, 200.0))
    new = world(Draw(0, 3600), Draw(7200, 7300), NewFilter(5000, "coarse"), coarse=Stage(24.0, 200.0))
    after(old, 7250), after(new, 7250)
    assert new.true("supply") - new.true("between") < 0.5 * (old.true("supply") - old.true("between"))
    assert drop(Torn(7000, 8000, "coarse", 0.7)) < 0.5 * drop()
    dripping = after(world(Drip(0, 7200, 0.5)), 3600)
    assert dripping.read("flow") == pytest.approx(0.5, abs=0.05) and dripping.passed_l == pytest.approx(30.0, rel=0.01)


def test_the_same_faulty_world_however_often_it_is_read():
    events = (
        Drift(0, 9000, "room", 0.5),
        Lag(100, 9000, "supply", 30.0),
        Draw(500, 700),
        TopUp(800, 0.5, 15.0),
        Drip(900, 2000, 0.4),
    )
    mains, vessel = Mains(pump=Pump(), hammer_kpa=100.0, opens_s=2), Vessel(lower_share=0.3)
    often, seldom = (world(*events, mains=mains, vessel=vessel) for _ in range(2))
    for s in range(3001):
        after(often, s)
        [often.read(p) for p in METERS]
    after(seldom, 3000)
    assert [often.read(p) for p in METERS] == [seldom.read(p) for p in METERS]


# -- files

FILE = """
[vessel]
lower_share = 0.4
[mains]
hammer_kpa = 120.0
[mains.pump]
cut_in_kpa = 300.0
[fine]
blocks = "complete"
[[event]]
what = "Drift"
from = "09:30"
until = "12:00"
point = "reservoir"
per_h = 0.3
[[event]]
what = "TopUp"
from = 7200
litres = 0.5
temp_c = 14.0
"""


def test_a_file_lays_faults_upon_a_scenario(tmp_path: Path):
    path = tmp_path / "faults.toml"
    path.write_text(FILE)
    day, plain = composed(path, "busy-day"), SCENARIOS["busy-day"].day
    assert day.vessel == replace(plain.vessel, lower_share=0.4) and day.fine.blocks == "complete"
    assert day.mains.pump == Pump(cut_in_kpa=300.0)
    assert day.events[:2] == (Drift(2 * 3600 + 1800, 5 * 3600, "reservoir", 0.3), TopUp(7200, 0.5, 14.0))
    assert day.events[2:] == plain.events


def test_a_recording_is_made_of_it(tmp_path: Path):
    path = tmp_path / "faults.toml"
    path.write_text('[[event]]\nwhat = "Drift"\nfrom = "07:30"\nuntil = "09:00"\npoint = "room"\nby = 5.0\n')
    for name, more in (("plain", []), ("mixed", ["--with", str(path)])):
        assert main(["busy-day", str(tmp_path / name), "--hours", "1", "--every", "10", *more]) == 0
    plain, mixed = ((tmp_path / name / "readings.csv").read_text().splitlines() for name in ("plain", "mixed"))
    assert plain[:150] == mixed[:150] and plain[250] != mixed[250]


@pytest.mark.parametrize(
    "document, said",
    [
        ({"vassel": {}}, "'vassel' is no part of a day"),
        ({"vessel": {"litre": 1.0}}, "no such figure"),
        ({"event": [{"what": "Flood"}]}, "no such event"),
        ({"event": [{"what": "Drip", "from": "09:00", "until": "10:00", "l_per_min": 1.0}]}, "Drip has no 'l_per_min'"),
        ({"event": [{"what": "Drip", "from": "09:00", "until": "10:00"}]}, "missing 1 required"),
        ({"event": [{"what": "Drip", "from": "nine", "until": "10:00", "l_min": 1.0}]}, "'nine' is no time"),
        ({"event": [{"what": "Drip", "from": "10:00", "until": "09:00", "l_min": 1.0}]}, "ends before it begins"),
        ({"event": {"what": "Drip"}}, "event is no list"),
    ],
)  # fmt: skip
def test_what_a_file_can_not_ask_for_is_one_sentence(document, said):
    with pytest.raises(UnusableInput, match="expected") as refused:
        laid_upon(SCENARIOS["busy-day"].day, document)
    assert said in str(refused.value) and "\n" not in str(refused.value)


def test_a_file_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "bad.toml").write_text("[[event")
    assert main(["busy-day", str(tmp_path / "out"), "--with", str(tmp_path / "bad.toml")]) == 2
    assert "can't be read" in capsys.readouterr().err
    assert main(["busy-day", str(tmp_path / "out"), "--with", str(tmp_path / "none.toml")]) == 2


def test_every_event_can_be_named():
    assert {
        "Away",
        "Draw",
        "Drift",
        "HeaterWeak",
        "Lag",
        "Torn",
        "Turned",
        "LidOpen",
        "NewFilter",
        "Noisy",
        "Drip",
    } <= set(KINDS)
    assert J_PER_L_K > 4000.0
