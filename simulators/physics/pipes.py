"""Water in a pipe or a hose, and through a hole: density, Reynolds number, friction, pressure lost. SI units.

Darcy and Weisbach's drop with the factor of Colebrook and White (turbulent) or of Hagen and Poiseuille (laminar): textbooks; checked
against published values in tests/handbook/g.pipes.jsonl.
"""

from __future__ import annotations

from math import log10, pi, sqrt
from typing import Final

#: below this Reynolds number flow through a pipe stays laminar
LAMINAR_BELOW: Final = 2040.0
#: of a sharp-edged hole
DISCHARGE: Final = 0.61


def density_kg_m3(water_c: float) -> float:
    """Density of water at 101.325 kPa, 0 to 45 Cel.

    Source: M. Tanaka et al. 2001, Metrologia 38, formula recommended by the CIPM, for 0 to 40 Cel; from memory.

    >>> round(density_kg_m3(20.0), 3)
    998.207
    """
    t = water_c
    return 999.97495 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def reynolds(flow_m3_s: float, bore_m: float, kinematic_m2_s: float) -> float:
    """Reynolds number in a round bore."""
    return 4.0 * flow_m3_s / (pi * bore_m * kinematic_m2_s)


def friction_factor(re: float, roughness: float) -> float:
    """Darcy's friction factor (four times Fanning's). `roughness`: height over bore.

    >>> friction_factor(1000.0, 0.0)
    0.064
    """
    if re < LAMINAR_BELOW:
        return 64.0 / re
    root = 8.0  # 1 / sqrt(factor)
    for _ in range(60):
        nearer = -2.0 * log10(roughness / 3.7 + 2.51 * root / re)
        if abs(nearer - root) < 1e-12:
            break
        root = nearer
    return 1.0 / (root * root)


def pipe_drop_pa(
    flow_m3_s: float, bore_m: float, length_m: float, density: float, viscosity_pa_s: float, rough_m: float = 0.0
) -> float:
    """Pressure lost along a straight pipe [Pa]."""
    if flow_m3_s <= 0.0:
        return 0.0
    speed = flow_m3_s / (pi * bore_m * bore_m / 4.0)
    factor = friction_factor(reynolds(flow_m3_s, bore_m, viscosity_pa_s / density), rough_m / bore_m)
    return factor * length_m / bore_m * density * speed * speed / 2.0


def hole_l_min(drop_pa: float, hole_m: float, density: float, discharge: float = DISCHARGE) -> float:
    """What runs out of a sharp-edged hole [L/min]; nothing where the pressure is not above the room's."""
    area = pi * hole_m * hole_m / 4.0
    return 60_000.0 * discharge * area * sqrt(2.0 * max(drop_pa, 0.0) / density)
