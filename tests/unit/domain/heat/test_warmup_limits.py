"""A liquid that ends just about where it is wanted: there is always an answer, a time or why there is none, never a fault."""

from __future__ import annotations

import math
import random
from collections import deque
from dataclasses import replace

import pytest

from edge.domain.heat.balance import HOLD_MS, Forecast
from edge.domain.heat.prior import of_volume
from edge.domain.heat.warmup import WarmUpEstimator
from edge.domain.readings import Kind
from tests.bench.heating import Morning, Plant, steps
from tests.told import tell, until_read
from tests.unit.domain.heat.test_warmup import ROOM_C, Bench, Tank
from tests.unit.stations import SETTINGS, english


@pytest.mark.parametrize(
    ("step_k", "plateau_c"),
    [*((0.0625, plateau_c) for plateau_c in (38.0, 38.9, 39.05, 39.4)), (0.01, 39.05)],
)
def test_a_plateau_near_the_target_is_answered(step_k: float, plateau_c: float) -> None:
    watch = WarmUpEstimator()
    answers: list[Forecast] = []
    for second in range(0, 4 * 3600, 20):
        liquid_c = plateau_c - (plateau_c - 22.0) * math.exp(-second / 3600.0)
        tell(watch, round(liquid_c / step_k) * step_k, 21.0, second * 1000)
        if second % 600 == 0:
            for target_c in (37.5, 39.0, 39.5, 45.0):
                answers.append(until_read(watch, target_c, second * 1000))
    assert all(a.why if a.in_ms is None else a.low_ms <= a.in_ms <= a.high_ms for a in answers)  # type: ignore[operator]  # none of them None
    never = [a for a in answers if a.in_ms is None]
    assert never and {type(a.in_ms) for a in answers} == {int, type(None)}


def open_tank(ends_c: float, fades_s: float, seed: int = 1) -> Tank:
    """A vessel that loses far more than any with a lid: it rises towards `ends_c`."""
    tank = Tank(seed=seed)
    tank.loss = 45_000.0 / fades_s
    tank.power, tank.on = tank.loss * (ends_c - ROOM_C), True
    return tank


def test_no_time_is_promised_that_the_rise_of_the_last_minutes_does_not_bear_out() -> None:
    """An open vessel slows down as none with a lid does: two degrees below the target for hours it was said to take no minute."""
    plant = Plant(56_912.0, 4_556.0, 6.714, 8.095, 3.571, 36.0, 114.0, 133.96, 0.0625, 0.0414, 5, -0.162)
    morning = Morning(23.565, 24.48, 0.168, 0.0427, 0.00343, 1_172.9, 1_229, 38.0, 1)
    watch, rng = WarmUpEstimator(of_volume(13.7, 7_200_000)), random.Random(3)
    warned, recent = False, deque[float](maxlen=11)
    for t, _, probe in steps(plant, morning):
        if t > morning.before_s + 4.0 * 3_600.0:
            break
        if t % plant.every_s:
            continue
        read = round((probe + rng.gauss(0.0, plant.noise_k)) / plant.step_k) * plant.step_k
        tell(watch, read, morning.room(t) + plant.room_error_k, int(t * 1000))
        if t % 60:
            continue
        recent.append(probe)
        when = until_read(watch, morning.target_c, int(t * 1000))
        if t > morning.before_s + 1_800.0 and when.in_ms is not None:
            left_s, rises = (when.in_ms - HOLD_MS) / 1000.0, (recent[-1] - recent[0]) / 600.0
            assert left_s >= 0.3 * (morning.target_c - probe) / max(rises, 5e-5), (
                f"{(t - morning.before_s) / 60.0:.0f} min"
            )
        warned = warned or "not get there" in english(when.why)
    assert warned


def test_where_it_slows_down_to_can_be_said_in_another_unit() -> None:
    watch = WarmUpEstimator()
    for second in range(0, 2_400, 5):
        tell(watch, 37.0 - 15.0 * math.exp(-second / 1_500.0), 21.0, second * 1000)
    told = watch._why_slower(39.0)
    assert english(told).startswith("not known yet: it may not get there; it slows down as if to end near 3")
    near_c = told.values["near"].value
    in_f = replace(
        SETTINGS, points=tuple(replace(p, unit="degF") if p.kind is Kind.TEMPERATURE else p for p in SETTINGS.points)
    )
    assert english(told, in_f).endswith(f" near {1.8 * near_c + 32.0:.1f} °F") and round(1.8 * near_c + 32.0) == 99


def test_a_target_near_where_it_ends_is_told_with_a_wide_interval() -> None:
    """The room and the mains wander: by a fifth of a kelvin each way where it ends, which is much time near there."""
    widths = []
    for above_k in (1.5, 12.0):
        tank = open_tank(39.0 + above_k, 11_000.0)
        tank.on = False
        bench = Bench(tank)
        bench.run(900)
        tank.on = True
        while tank.probe < 37.0:
            bench.run(60)
        when = bench.until(39.0)
        assert when.in_ms is not None and when.low_ms is not None and when.high_ms is not None
        assert when.low_ms <= bench.truth_s(39.0) * 1000 + HOLD_MS <= when.high_ms
        assert (when.high_ms - when.low_ms) / when.in_ms > 0.15
        # the room for an opening of the lid is in the later end of both
        widths.append((when.in_ms - when.low_ms) / when.in_ms)
    assert widths[0] > 3.0 * widths[1]
