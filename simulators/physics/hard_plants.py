"""Heat-ups that go less smoothly than a plain vessel's: mains that wander, a lid left open, a second, slow wall, readings lost.

Physics, stepped once a second, sharing no formula with the estimator: an element with its own heat, the liquid, a wall that is exchanged
with quickly, an outer wall that is exchanged with slowly, a probe with a lag.
- Mains: power goes with the square of the voltage. Its deviation is a slow random walk that is pulled back (Ornstein and Uhlenbeck,
  15 to 90 min) plus a part of the daily shape (a sine of 4 to 12 h); together it stays within about 3 % of the voltage.
- Lid: for 2 to 10 min, once or twice, the surface loses 2 to 4 times as much by air, and by evaporation what the vapour's pressure drives.
- Outer wall: 10 to 60 % of the liquid's heat capacity, evened out within 20 min to 2 h.
- Readings lost: bursts of 10 s to 3 min, 1 to 5 % of the time.
A moderate plant has one opening of 2 to 6 min, a lid that is half open, and an outer wall of 5 to 20 %; its mains are the same.

The ranges are common practice, from memory; there is no published source for them.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

J_PER_L_K = 4150.0
KINDS = ("mains", "lid", "wall", "gaps")
LONGEST_S = 40_000


@dataclass(frozen=True)
class HardPlant:
    """One vessel and one heat-up of it. J/K, W/K, W, s, K, Cel."""

    seed: int
    kinds: frozenset[str]
    liquid: float
    wall: float
    exchange: float
    outer: float
    outer_exchange: float
    loss: float  # of the outermost to the room
    surface: float
    element_s: float
    lag_s: float
    heater: float
    mains_share: float  # standard deviation of the voltage's walk
    mains_s: float
    daily_share: float
    daily_s: float
    open_air: float
    open_vapour: float  # share of an open surface's
    step_k: float
    noise_k: float
    every_s: int
    start_c: float
    room_c: float
    room_per_h: float
    before_s: int
    target_c: float
    openings: tuple[tuple[float, float], ...] = ()  # from and to, seconds after the heater came on


def vapour_pa(t_c: float) -> float:
    """Of saturated vapour: Tetens' formula (from memory)."""
    return 610.8 * math.exp(17.27 * t_c / (t_c + 237.3))


def _log_even(rng: random.Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def moderate_kinds(seed: int) -> frozenset[str]:
    """One hardship or two."""
    rng = random.Random(f"kinds {seed}")
    return frozenset(rng.sample(KINDS, rng.choice((1, 2))))


def hard_plant(seed: int, kinds: frozenset[str], *, moderate: bool = False) -> HardPlant:
    """The plant of a seed, with these of KINDS."""
    rng = random.Random(f"hard plant {seed}")
    litres = _log_even(rng, 6.0, 28.0)
    liquid = litres * J_PER_L_K
    wall = liquid * _log_even(rng, 0.03, 0.2)
    outer = liquid * (_log_even(rng, 0.05, 0.2) if moderate else _log_even(rng, 0.1, 0.6)) if "wall" in kinds else 0.0
    loss = _log_even(rng, 1.0, 4.0) * (litres / 10.0) ** (2.0 / 3.0)
    room = rng.uniform(17.0, 25.0)
    target, takes_s = rng.uniform(38.0, 40.0), _log_even(rng, 3_000.0, 9_000.0)
    start = room + rng.uniform(-1.0, 4.0)
    # near enough to what it takes: the heat put in, and what the middle of the way loses
    heater = (liquid + wall + 0.6 * outer) * (target - start) / takes_s + loss * (0.5 * (target + start) - room)
    openings = []
    for _ in range(1 if moderate else rng.choice((1, 1, 2))):
        at = rng.uniform(0.05, 0.8) * takes_s
        openings.append((at, at + rng.uniform(120.0, 360.0 if moderate else 600.0)))
    return HardPlant(
        seed, kinds, liquid, wall, wall / _log_even(rng, 60.0, 600.0), outer, outer / _log_even(rng, 1_200.0, 7_200.0),
        0.6 * loss, 0.4 * loss, _log_even(rng, 5.0, 60.0), _log_even(rng, 5.0, 90.0), heater, rng.uniform(0.004, 0.012),
        rng.uniform(900.0, 5_400.0), rng.uniform(0.0, 0.01), rng.uniform(4.0, 12.0) * 3_600.0,
        rng.uniform(1.5, 2.5) if moderate else rng.uniform(2.0, 4.0),
        0.5 if moderate else 1.0, rng.choice((0.0, 0.0625, 0.0625, 0.1)), _log_even(rng, 0.01, 0.08), rng.choice((1, 2, 5)), start, room,
        rng.uniform(-0.7, 0.7), rng.randrange(600, 1_500), target, tuple(openings) if "lid" in kinds else (),
    )  # fmt: skip


def without_kinds(plant: HardPlant) -> HardPlant:
    """The same vessel on steady mains, its lid shut, every reading heard (its outer wall, if it has one, stays)."""
    return replace(plant, kinds=plant.kinds & {"wall"}, openings=())


def heat_up(plant: HardPlant, hold_s: float) -> tuple[list[tuple[float, float, float]], float]:
    """Rows (time, probe, room) that are heard, and from when on the probe's readings hold the target for `hold_s`.

    Raises:
        ValueError: it never gets there.
    """
    rng, noise = random.Random(f"mains {plant.seed}"), random.Random(f"noise {plant.seed}")
    liquid = wall = outer = probe = plant.start_c
    heat, volts, phase, lost_until = 0.0, rng.gauss(0.0, plant.mains_share), rng.uniform(0.0, 6.283), 0.0
    rows: list[tuple[float, float, float]] = []
    since: float | None = None
    for t in range(LONGEST_S):
        on = t - plant.before_s
        room = plant.room_c + plant.room_per_h * t / 3_600.0
        volts += -volts / plant.mains_s + rng.gauss(0.0, plant.mains_share * math.sqrt(2.0 / plant.mains_s))
        off = volts + plant.daily_share * math.sin(phase + 6.283 * t / plant.daily_s) if "mains" in plant.kinds else 0.0
        power = plant.heater * (1.0 + min(max(off, -0.03), 0.03)) ** 2 if on >= 0 else 0.0
        heat += (power - heat) / plant.element_s
        lost = plant.surface * (liquid - room)
        if any(begin <= on < end for begin, end in plant.openings):
            lost *= plant.open_air
            # 1 W/K of air takes about 0.016 W/Pa of vapour with it (Lewis' relation; from memory)
            lost += plant.open_vapour * 0.016 * plant.surface * max(vapour_pa(liquid) - 0.5 * vapour_pa(room), 0.0)
        across = plant.exchange * (liquid - wall)
        liquid += (heat - across - lost) / plant.liquid
        if plant.outer:
            on_out = plant.outer_exchange * (wall - outer)
            wall += (across - on_out) / plant.wall
            outer += (on_out - plant.loss * (outer - room)) / plant.outer
        else:
            wall += (across - plant.loss * (wall - room)) / plant.wall
        probe += (liquid - probe) / plant.lag_s
        if t % plant.every_s:
            continue
        read = probe + noise.gauss(0.0, plant.noise_k)
        if plant.step_k:
            read = round(read / plant.step_k) * plant.step_k
        if "gaps" in plant.kinds and t >= lost_until and noise.random() < 0.0005 * plant.every_s:
            lost_until = t + noise.uniform(10.0, 180.0)
        if t >= lost_until:
            rows.append((float(t), read, round(room / 0.0625) * 0.0625))
        since = None if read < plant.target_c else float(t) if since is None else since
        if since is not None and t - since >= hold_s:
            return rows, since
    raise ValueError("this plant never gets there")
