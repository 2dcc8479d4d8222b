"""The simulated reservoir and water against closed forms and published values. Each row names its source and status.

The model is stepped by whole seconds, so it is compared as a model of that grain: times to the next whole second plus the error of
a first-order step (half a step times UA/C times the time, below a second here), temperatures within 2 mK. What is a rule and not
physics of the model (an estimator's, say) is listed with the reason.
"""

from __future__ import annotations

import itertools
import json
from math import exp
from pathlib import Path
from typing import Any

import pytest

from simulators.physics.reservoir import J_PER_L_K, Reservoir, Vessel
from simulators.physics.water import viscosity_pa_s


def rows_of(name: str) -> list[dict[str, Any]]:
    """Rows of one file beside this one."""
    return [json.loads(line) for line in (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()]


HEAT = rows_of("h.heat-model.jsonl")
WATER = rows_of("g.water-model.jsonl")

#: rows that check something else than the model's physics
NOT_PHYSICS = {"h.three": "an estimator's: the plateau from three readings"}

STEP_S = 1.5  # a whole second, and what first-order steps leave out
STEP_C = 0.002


def one_lump(c: float, p: float, ua: float, t0: float, room_c: float) -> Reservoir:
    """The model with everything but the liquid taken away: no wall, no thermostat, no heel."""
    vessel = Vessel(
        litres=c / J_PER_L_K,
        heater_w=p,
        set_point_c=1e6,
        wall_exchange=1e-12,
        wall_loss=0.0,
        surface_loss=ua,
        heel_l=0.0,
    )
    return Reservoir(vessel, t0, room_c, heating=True)


def seconds_to(reservoir: Reservoir, target_c: float, room_c: float, longest_s: int) -> int | None:
    """Whole seconds until the liquid passes the target, from either side."""
    start = reservoir.liquid_c
    if (start >= target_c and reservoir.vessel.heater_w > 0.0) or start == target_c:
        return 0
    for second in range(1, longest_s + 1):
        reservoir.step(1, room_c, True, None, False)
        if (reservoir.liquid_c - target_c) * (start - target_c) <= 0.0:
            return second
    return None


def heat_time(i: dict[str, Any]) -> int | None:
    room_c = i.get("ta", 20.0)
    return seconds_to(one_lump(i["c"], i["p"], i.get("ua", 0.0), i["t0"], room_c), i["target"], room_c, 400_000)


def heat_temp(i: dict[str, Any], seconds: int) -> float:
    reservoir = one_lump(i["c"], i["p"], i["ua"], i["t0"], i["ta"])
    reservoir.step(seconds, i["ta"], True, None, False)
    return reservoir.liquid_c


def mixed_c(
    liquid: tuple[float, float], basin: tuple[float, float], poured: tuple[float, float] | None = None
) -> float:
    """What a basin makes of the liquid; capacities J/K and temperatures Cel. `poured`: cold liquid that was added before."""
    vessel = Vessel(litres=liquid[0] / J_PER_L_K, heel_l=0.0, basin_j_per_k=basin[0])
    reservoir = Reservoir(vessel, liquid[1], basin[1])
    if poured is not None:
        reservoir.top_up(poured[0] / J_PER_L_K, poured[1])
    reservoir.take_away()
    return reservoir.away_c


@pytest.mark.parametrize("row", [r for r in HEAT if r["id"] not in NOT_PHYSICS], ids=lambda r: r["id"])
def test_the_reservoir_obeys_the_heat_balance(row: dict[str, Any]):
    i, expected = row["inputs"], row["expected"]
    match i["op"]:
        case "heat_time" | "heat_time_lossless":
            seconds = heat_time(i)
            assert (seconds is None) == (expected is None)
            assert expected is None or seconds == pytest.approx(expected, abs=STEP_S)
        case "heat_temp":
            assert heat_temp(i, i["t"]) == pytest.approx(expected, abs=STEP_C)
        case "heat_plateau":
            hot = one_lump(83_600.0, i["p"], i["ua"], i["ta"], i["ta"])
            hot.step(400_000, i["ta"], True, None, False)  # 24 time constants
            assert hot.liquid_c == pytest.approx(expected, abs=1e-6)
        case "heat_tau":
            left = heat_temp({"c": i["c"], "p": 0.0, "ua": i["ua"], "t0": 30.0, "ta": 20.0}, round(expected)) - 20.0
            assert left == pytest.approx(10.0 * exp(-1.0), abs=STEP_C)
        case "heater_power":
            rise = heat_temp({"c": i["c"], "p": expected, "ua": 0.0, "t0": 20.0, "ta": 20.0}, 60) - 20.0
            assert rise == pytest.approx(i["rate_per_min"], abs=1e-9)
        case "mix":
            assert mixed_c(*map(tuple, i["parts"])) == pytest.approx(expected, abs=1e-9)
        case "mix_limit":
            # the largest basin that the liquid can warm: just that basin ends at the limit
            assert mixed_c((i["c1"], i["t1"]), (expected, i["t2"])) == pytest.approx(i["tmin"], abs=1e-6)
        case other:
            pytest.fail(f"a row of a rule that is not known here: {other}")


def test_each_row_left_out_is_there():
    assert set(NOT_PHYSICS) <= {row["id"] for row in HEAT}


@pytest.mark.parametrize("row", WATER, ids=lambda r: r["id"])
def test_viscosity_is_the_published_one(row: dict[str, Any]):
    assert viscosity_pa_s(row["inputs"]["t"]) == pytest.approx(row["expected"], abs=row["tolerance"])


def test_between_the_published_values_viscosity_falls_with_warmth():
    curve = [viscosity_pa_s(5.0 + 0.5 * k) for k in range(71)]
    assert all(warmer < colder for colder, warmer in itertools.pairwise(curve))
