"""Lives of two filter stages in water that changes: bursts of dirt, laws that change on the way, gauges that drift, seasons.

A stage is grown litre by litre, by adding to its resistance a step that goes with resistance to the power 2, 3/2, 1 or 0 (the four
blocking laws; Hermia, from memory); nothing here shares a formula with the estimator.
- Bursts: the water carries 3 to 8 times as many particles at once, after works on the mains or rain, and clears with a time of 3 h to
  3 days; one comes every 15 to 60 days on average, at any time of day. Both stages get them.
- Law: each stage's exponent changes once, between 0.3 and 0.6 of the dirt that it would take, and its rate then jumps to between half
  and twice of what it was.
- Zeros: each gauge's zero wanders about its first one by 1 to 4 kPa within 2 to 6 weeks (Ornstein and Uhlenbeck). Not before each
  draw was there a quiet spell that shows them.
- Seasons: the water is 3 to 7 K warmer in summer than its mean and as much colder in winter, and wanders by 0.8 K with the weather.

What is not asked for is steady; each life has the noise, the gains and the wander of flow, use and dirt that every station has. The
ranges are common practice, from memory; there is no published source for them.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from simulators.physics.water import STATED_L_MIN, viscosity_pa_s

KINDS: Final = ("bursts", "law", "zeros", "seasons")
#: how a step of resistance goes with the resistance there is
POWER: Final = {"complete": 2.0, "standard": 1.5, "intermediate": 1.0, "cake": 0.0}
TAPS: Final = ("supply", "between", "filtered")
SPAN_KPA: Final = 689.476  # 100 psi
STATED_C: Final = 15.0
LONGEST_DAYS: Final = 1500
#: resistance beyond which a stage only counts as blocked
BLOCKED: Final = 1e3


@dataclass
class HardStage:
    """One stage: resistance relative to the clean one; its law and rate, and those after it has taken `changes_at` of dirt [L of usual
    water]."""

    clean_kpa: float
    housing_share: float
    limit_kpa: float
    laws: tuple[str, str]
    changes_at: float
    jump: float
    k: float = 0.0
    r: float = 1.0
    taken: float = 0.0
    reached_l: float | None = None

    def take(self, dirt: float, step: float = 1.0) -> None:
        """So much dirt, in steps."""
        while dirt > 0.0 and self.r < BLOCKED:
            if self.taken >= self.changes_at and len(set(self.laws)) > 1:
                old, new = (POWER[law] for law in self.laws)
                self.k *= self.jump * self.r ** (old - new)  # the rate jumps from what it was there
                self.laws = (self.laws[1], self.laws[1])
            part, power = min(step, dirt), POWER[self.laws[0]]
            half = self.r + 0.5 * part * self.k * self.r**power
            self.r += part * self.k * half**power
            self.taken += part
            dirt -= part

    def drop_kpa(self, flow_l_min: float, thick: float) -> float:
        """Its drop at this flow and relative viscosity."""
        q = flow_l_min / STATED_L_MIN
        return self.clean_kpa * ((1.0 - self.housing_share) * self.r * thick * q + self.housing_share * q * q)


@dataclass
class HardDraw:
    """What one draw was, and what its gauges showed: day and minute of its start; litres and flow that truly passed; means of the
    taps [kPa] over so many readings, at rest before it (empty where there was no quiet spell); the water as measured [Cel]; litres
    passed after it."""

    day: int
    minute: float
    litres: float
    flow_l_min: float
    readings: int
    taps_kpa: dict[str, float]
    rest_kpa: dict[str, float]
    water_c: float
    passed_l: float


@dataclass
class HardFilters:
    """One station's two stages, water and gauges."""

    seed: int
    kinds: frozenset[str]
    stages: list[HardStage]
    life_l: tuple[float, float]
    draws_a_day: float
    litres: float
    saturday: float
    flow_l_min: float
    flow_spread: float
    dirt_spread: float
    burst_every_days: float
    zeros_kpa: list[float]
    zero_sd_kpa: float
    zero_days: float
    rests_share: float
    gains: list[float]
    noise_kpa: float
    step_kpa: float
    meter: float
    thermometer_k: float
    warm_c: float
    season_k: float
    warmest_day: float
    bursts: list[tuple[float, float, float]] = field(default_factory=list)  # (day, times, days to clear)

    def load(self, day: float) -> float:
        """How many times as much dirt as usual the water carries."""
        return 1.0 + sum(
            (times - 1.0) * math.exp((at - day) / clears) for at, times, clears in self.bursts if at <= day
        )


def _log_even(rng: random.Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def _stage(rng: random.Random, kinds: frozenset[str], limit_kpa: float, life_l: float) -> HardStage:
    """A stage that usual water takes to its limit within so many litres: its rate found by trying."""
    law, later = rng.sample(sorted(POWER), 2)
    clean, housing = limit_kpa * rng.uniform(0.15, 0.45), rng.uniform(0.0, 0.25)
    at, jump = rng.uniform(0.3, 0.6), _log_even(rng, 0.5, 2.0)
    laws = (law, later if "law" in kinds else law)
    low, high = 1e-8, 10.0
    for _ in range(45):
        k = math.sqrt(low * high)
        tried = HardStage(clean, housing, limit_kpa, laws, at * life_l, jump, k)
        tried.take(life_l, life_l / 150.0)
        low, high = (low, k) if tried.drop_kpa(STATED_L_MIN, 1.0) > limit_kpa else (k, high)
    return HardStage(clean, housing, limit_kpa, laws, at * life_l, jump, k)


def hard_filters(seed: int, kinds: frozenset[str]) -> HardFilters:
    """The station of a seed, with these of KINDS."""
    rng = random.Random(f"hard filters {seed}")
    draws_a_day, litres, saturday = rng.uniform(4, 16), rng.uniform(4, 14), rng.choice((0.0, 0.3, 1.0))
    life = _log_even(rng, 25.0, 250.0) * draws_a_day * litres * (5.0 + saturday) / 7.0
    lives = (life, life * math.exp(rng.choice((-1, 1)) * rng.uniform(0.1, 1.1)))
    limits = (rng.uniform(41.0, 83.0), rng.uniform(41.0, 97.0))  # 6 to 12, and 6 to 14 psi
    made = HardFilters(
        seed, kinds, [_stage(rng, kinds, limit, lived) for limit, lived in zip(limits, lives, strict=True)], lives,
        draws_a_day, litres, saturday, flow_l_min=rng.uniform(7.8, 10.5), flow_spread=rng.uniform(0.02, 0.15),
        dirt_spread=rng.uniform(0.0, 0.2), burst_every_days=_log_even(rng, 15.0, 60.0),
        zeros_kpa=[rng.uniform(-0.01, 0.01) * SPAN_KPA for _ in TAPS],
        zero_sd_kpa=rng.uniform(1.0, 4.0) if "zeros" in kinds else 0.0, zero_days=rng.uniform(14.0, 42.0),
        rests_share=rng.uniform(0.3, 1.0) if "zeros" in kinds else 1.0, gains=[1.0 + rng.gauss(0.0, 0.002) for _ in TAPS],
        noise_kpa=rng.uniform(0.2, 1.5), step_kpa=rng.choice((0.0, 0.07, 0.43, 0.7)), meter=1.0 + rng.uniform(-0.03, 0.03),
        thermometer_k=rng.gauss(0.0, 0.4), warm_c=rng.uniform(12.0, 16.0),
        season_k=rng.uniform(3.0, 7.0) if "seasons" in kinds else 0.0, warmest_day=rng.uniform(0.0, 365.0),
    )  # fmt: skip
    weather = random.Random(f"bursts {seed}")
    at = weather.expovariate(1.0 / made.burst_every_days)
    while "bursts" in kinds and at < LONGEST_DAYS:
        made.bursts.append((at, _log_even(weather, 3.0, 8.0), _log_even(weather, 0.125, 3.0)))
        at += weather.expovariate(1.0 / made.burst_every_days)
    return made


def draws(plant: HardFilters) -> Iterator[HardDraw]:
    """Draw after draw, until both stages have reached their limits; each stage's `reached_l` is set on the way."""
    rng, gauges = random.Random(f"water {plant.seed}"), random.Random(f"gauges {plant.seed}")
    off = [gauges.gauss(0.0, plant.zero_sd_kpa) for _ in TAPS]
    dirt, weather_k, passed_l = 1.0, 0.0, 0.0

    def read(tap: int, kpa: float, n: int) -> float:
        noisy = kpa * plant.gains[tap] + plant.zeros_kpa[tap] + off[tap]
        noisy += gauges.gauss(0.0, plant.noise_kpa / math.sqrt(n))
        fine = plant.step_kpa / math.sqrt(n)  # noise dithers the converter's steps
        return round(noisy / fine) * fine if fine > 0.0 else noisy

    for day in range(LONGEST_DAYS):
        dirt = math.exp(0.6 * math.log(dirt) + rng.gauss(0.0, 0.8 * plant.dirt_spread))
        weather_k += -weather_k / 5.0 + rng.gauss(0.0, 0.5)
        off = [
            v - v / plant.zero_days + gauges.gauss(0.0, plant.zero_sd_kpa * math.sqrt(2.0 / plant.zero_days))
            for v in off
        ]
        swing_k = plant.season_k * math.cos(6.283185 * (day - plant.warmest_day) / 365.0)
        open_share = 1.0 if day % 7 < 5 else plant.saturday if day % 7 == 5 else 0.0
        number = int(rng.gauss(plant.draws_a_day, 0.2 * plant.draws_a_day) * open_share)
        for i in range(number):
            minute = 420.0 + 600.0 * (i + rng.uniform(0.1, 0.6)) / number  # between 7 and 17 o'clock
            water_c = max(plant.warm_c + swing_k + weather_k + rng.gauss(0.0, 0.3), 5.0)
            thick = viscosity_pa_s(water_c) / viscosity_pa_s(STATED_C)
            loaded = sum(s.r * s.clean_kpa for s in plant.stages) / sum(s.clean_kpa for s in plant.stages)
            flow = (
                plant.flow_l_min * math.exp(rng.gauss(0.0, plant.flow_spread)) * (1.0 - 0.04 * min(loaded - 1.0, 4.0))
            )
            litres = plant.litres * math.exp(rng.gauss(0.0, 0.15))
            passed_l += litres
            for stage in plant.stages:
                stage.take(litres * dirt * plant.load(day + minute / 1440.0))
                if stage.reached_l is None and stage.drop_kpa(STATED_L_MIN, 1.0) >= stage.limit_kpa:
                    stage.reached_l = passed_l
            supply, rest = rng.gauss(300.0, 12.0), rng.gauss(385.0, 8.0)
            first, second = (stage.drop_kpa(flow, thick) for stage in plant.stages)
            n = max(int(litres / flow * 60.0) - 15, 3)
            taps = {tap: read(at, kpa, n) for at, (tap, kpa) in enumerate(zip(
                TAPS, (supply, supply - first, supply - first - second), strict=True))}  # fmt: skip
            at_rest = {tap: read(at, rest, 20) for at, tap in enumerate(TAPS)}
            is_quiet = i == 0 or gauges.random() < plant.rests_share
            yield HardDraw(
                day, minute, litres, flow, n, taps, at_rest if is_quiet else {}, water_c + plant.thermometer_k, passed_l
            )
        if all(stage.reached_l is not None for stage in plant.stages):
            return
