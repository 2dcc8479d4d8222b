"""Water in pipes and through holes, as the simulator has it, against published values (g.pipes.jsonl)."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from edge.domain.water.normalise import viscosity_mpa_s
from simulators.physics.pipes import density_kg_m3, friction_factor, hole_l_min, pipe_drop_pa, reynolds
from simulators.physics.reservoir import J_PER_L_K
from simulators.physics.water import VISCOSITY, Mains, viscosity_pa_s

ROWS = [json.loads(line) for line in (Path(__file__).parent / "g.pipes.jsonl").read_text(encoding="utf-8").splitlines()]

#: rows that no function of ours answers, and why
NOT_BUILT = {
    "g.rho.45": "the density's formula is recommended up to 40 Cel; no water of a supply is warmer",
    "g.r12": "viscosity at any density and up to 900 Cel: ours is the correlation for liquid water at 0.1 MPa, checked at its rows",
    "g.i95": "an equation of state for steam and dense water; the rows check the packages that other rows were computed with",
    "g.power": "the exponent of the supply's curve is the published 0.54 with its uncertainty: two draws differ too little to tell it",
}


def left_out(ident: str) -> bool:
    return any(ident == name or ident.startswith(name + ".") for name in NOT_BUILT)


def rows(op: str) -> list[Any]:
    found = [row for row in ROWS if row["inputs"]["op"] == op and not left_out(row["id"])]
    assert found, f"no row {op}"
    return [pytest.param(row["inputs"], row["expected"], row["tolerance"], id=row["id"]) for row in found]


def test_no_row_is_dropped_silently() -> None:
    used = {
        "water_rho", "water_nu", "water_cp", "friction", "fluids_example", "reynolds", "pipe_dp", "orifice_flow",
    }  # fmt: skip
    assert {row["inputs"]["op"] for row in ROWS if not left_out(row["id"])} == used
    assert all(any(row["id"] == name or row["id"].startswith(name + ".") for row in ROWS) for name in NOT_BUILT)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("water_rho"))
def test_density(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    assert density_kg_m3(inputs["t"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("water_nu"))
def test_kinematic_viscosity(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    assert viscosity_pa_s(inputs["t"]) / density_kg_m3(inputs["t"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("water_cp"))
def test_the_reservoirs_liquid_takes_up_heat_as_water_does(
    inputs: dict[str, float], expected: float, tolerance: float
) -> None:
    """The simulated liquid is water near 39 Cel; colder water takes up a little more a litre."""
    assert expected * density_kg_m3(inputs["t"]) / 1000.0 == pytest.approx(J_PER_L_K, rel=0.01)
    assert tolerance < 0.01 * expected


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("friction"))
def test_friction(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    assert friction_factor(inputs["re"], inputs["ed"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("fluids_example"))
def test_the_drop_of_a_documented_example(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    flow = inputs["m"] / inputs["rho"]
    got = pipe_drop_pa(flow, inputs["d"], inputs["length"], inputs["rho"], inputs["mu"])
    assert got == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("reynolds"))
def test_reynolds_number(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    kinematic = viscosity_pa_s(inputs["t"]) / density_kg_m3(inputs["t"])
    assert reynolds(inputs["q"], inputs["d"], kinematic) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("pipe_dp"))
def test_drop_along_a_pipe(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    fluid = density_kg_m3(inputs["t"]), viscosity_pa_s(inputs["t"])
    got = pipe_drop_pa(inputs["q"], inputs["d"], inputs["length"], *fluid, rough_m=inputs.get("rough", 0.0))
    assert got == pytest.approx(expected, abs=tolerance)


def test_the_simulated_hose_is_such_a_pipe() -> None:
    """The row of 2.5 gal/min through 3 m of half an inch, as the mains of a scenario have it."""
    row = next(row for row in ROWS if row["id"] == "g.dp.supply")
    mains = Mains(water_c=row["inputs"]["t"], hose_m=row["inputs"]["length"], hose_mm=1000.0 * row["inputs"]["d"])
    assert mains.hose_kpa(60_000.0 * row["inputs"]["q"]) == pytest.approx(row["expected"] / 1000.0, rel=1e-5)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("orifice_flow"))
def test_flow_through_a_hole(inputs: dict[str, float], expected: float, tolerance: float) -> None:
    got = hole_l_min(inputs["dp"], inputs["d"], inputs["rho"], inputs["cd"])
    assert got == pytest.approx(expected, abs=tolerance)


def test_the_simulators_viscosity_and_the_stations_agree() -> None:
    """Two correlations of IAPWS, each from its own source."""
    for water_c, pa_s in VISCOSITY:
        assert viscosity_mpa_s(water_c) / 1000.0 == pytest.approx(pa_s, rel=0.002)
    assert math.isclose(viscosity_pa_s(10.0), 0.001305899)
