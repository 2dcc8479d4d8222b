"""How long a reservoir stays warm enough after its heater's outlet has tripped: `python -m tests.bench.cooling [--trips 200]`.

Printed at 0, 5, 10 and 20 minutes after the trip, for what is left until the liquid is below what the room needs: median and 90th
percentile of the error, in minutes and as a share of what is left; the share of truths inside the 90 % interval, and its mean width.
Three times: for a station that was read for ten minutes only, for one that was seen an hour and a half under its thermostat,
and for one that has five heat-ups and that hour and a half behind it. Then what is said where nothing tripped, and how often a
minute's estimate lies inside the interval of the minute before.

True is the probe without its noise and steps, against what the room, as its probe reads it in the mean, needs at that moment.
Plants, probes, thermostats and rooms are random, and simulated here step by step (liquid, wall, probe; a part of the loss goes with a
higher power of the temperature, as evaporation does); nothing is shared with the estimator.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
from collections.abc import Iterator
from dataclasses import dataclass, replace

from edge.domain.entries import Now
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.settings import Reservoir
from edge.domain.words.english import ENGLISH

AT_MIN = (0, 5, 10, 20)
J_PER_L_K = 4150.0
START_MS = 1_750_000_000_000
LONGEST_S = 6 * 3600


@dataclass(frozen=True)
class Vessel:
    """One reservoir, its probe, its thermostat. J/K, W/K, W, s, K."""

    litres: float
    liquid: float
    wall: float
    exchange: float
    lid_loss: float
    wall_loss: float
    steepness: float  # of the lid's loss with the temperature
    lag_s: float
    heater: float
    set_c: float
    band_k: float
    step_k: float
    noise_k: float
    every_s: int
    room_c: float
    room_per_h: float
    room_wave_k: float
    room_error_k: float
    share: float

    def room(self, t: float) -> float:
        return self.room_c + self.room_per_h * t / 3600.0 + self.room_wave_k * math.sin(t / 1100.0)

    def plan(self) -> Reservoir:
        return Reservoir(self.set_c, self.band_k, 35.0, self.share, True, 7_200_000, volume_l=self.litres)

    def needed(self, t: float) -> float:
        return (35.0 - self.share * (self.room(t) + self.room_error_k)) / (1.0 - self.share)


def log_even(rng: random.Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def a_vessel(rng: random.Random) -> Vessel:
    """One whose thermostat keeps it between half a kelvin and two and a half above what the room needs."""
    litres = log_even(rng, 5.0, 30.0)
    liquid = litres * J_PER_L_K
    wall = liquid * log_even(rng, 0.03, 0.3)
    loss = log_even(rng, 1.0, 5.0) * (litres / 10.0) ** (2.0 / 3.0)
    by_wall = rng.uniform(0.2, 0.9)
    room, share, band = rng.uniform(16.0, 25.0), rng.uniform(0.1, 0.3), rng.choice((0.3, 0.5, 0.5, 1.0))
    needed = (35.0 - share * room) / (1.0 - share)
    heater = loss * 22.0 * rng.uniform(1.5, 8.0) + liquid * rng.uniform(0.0005, 0.003)
    return Vessel(
        litres, liquid, wall, wall / log_even(rng, 40.0, 900.0), loss * (1.0 - by_wall), loss * by_wall, rng.uniform(0.0, 1.0),
        log_even(rng, 5.0, 90.0), heater, needed + band + rng.uniform(0.3, 2.5), band, rng.choice((0.0, 0.0625, 0.0625, 0.1)),
        log_even(rng, 0.01, 0.08), rng.choice((1, 2, 5, 10)), room, rng.uniform(-0.6, 0.4), rng.uniform(0.0, 0.2),
        rng.gauss(0.0, 0.2), share,
    )  # fmt: skip


def steps(v: Vessel, start_c: float, trip_s: float, step_s: float = 1.0) -> Iterator[tuple[float, float, float]]:
    """(time, liquid, probe): under its thermostat until the trip, then cooling."""
    liquid = probe = start_c
    wall = start_c - v.wall_loss / (v.exchange + v.wall_loss) * (start_c - v.room_c)
    on, t = start_c < v.set_c - v.band_k, 0.0
    while True:
        yield t, liquid, probe
        room = v.room(t)
        on = t < trip_s and (probe < v.set_c if on else probe < v.set_c - v.band_k)
        across = v.exchange * (liquid - wall)
        lid = v.lid_loss * (liquid - room) * (max(liquid - room, 0.1) / 15.0) ** v.steepness
        liquid += step_s * ((v.heater if on else 0.0) - across - lid) / v.liquid
        wall += step_s * (across - v.wall_loss * (wall - room)) / v.wall
        probe += step_s * (liquid - probe) / v.lag_s
        t += step_s


def readings(v: Vessel, start_c: float, trip_s: float, seed: int) -> Iterator[tuple[float, float, float, float]]:
    """(time, read, room read, probe without noise and steps)."""
    rng = random.Random(seed)
    for t, _, probe in steps(v, start_c, trip_s):
        if t % v.every_s:
            continue
        read = probe + rng.gauss(0.0, v.noise_k)
        if v.step_k:
            read = round(read / v.step_k) * v.step_k
        yield t, read, round((v.room(t) + v.room_error_k + rng.gauss(0.0, 0.03)) / 0.0625) * 0.0625, probe


def below_s(v: Vessel, start_c: float, trip_s: float) -> float | None:
    """When it is below what the room needs."""
    for t, _, probe in steps(v, start_c, trip_s):
        if t > trip_s and probe < v.needed(t):
            return t
        if t > trip_s + LONGEST_S:
            return None
    return None


def heat_ups(warmth: ReservoirMonitor, v: Vessel, n: int, rng: random.Random) -> int:
    """Let it learn from `n` mornings; the monotonic time after them."""
    mono_s = 0.0
    for _ in range(n):
        cold = replace(v, room_c=rng.uniform(17.0, 23.0))
        for t, read, room, _ in readings(cold, cold.room_c + 2.0, 1e9, rng.randrange(1 << 30)):
            mono_ms = int((mono_s + t) * 1000)
            if t > 600.0:
                warmth.hear(read, room, mono_ms)
            now = Now(mono_ms, START_MS + mono_ms, True)
            _, became = warmth.look(read, mono_ms, room, False, now)
            if became:
                warmth.heat_up(room, now)
                break
            if t > 20_000.0:
                break
        warmth.forget()
        mono_s += t + 40_000.0
    return int(mono_s)


class Figures:
    """Of forecasts at one time after the trip."""

    def __init__(self) -> None:
        self.unsaid = 0
        self.rows: list[tuple[float, float, float, float]] = []  # left, said, low, high [min]

    def line(self) -> str:
        if not self.rows:
            return f"nothing said ({self.unsaid})"
        off = sorted(abs(said - left) for left, said, _, _ in self.rows)
        share = sorted(abs(said - left) / left for left, said, _, _ in self.rows)
        inside = sum(low <= left <= high for left, _, low, high in self.rows)
        early = sum(left < low for left, _, low, _ in self.rows)
        width = statistics.fmean((high - low) / left for left, _, low, high in self.rows)
        n = len(self.rows)
        score = statistics.fmean(
            (high - low + 20.0 * max(low - left, left - high, 0.0)) / left for left, _, low, high in self.rows
        )
        return (
            f"n {n:3d} (unsaid {self.unsaid})  error median {statistics.median(off):5.2f} min {100 * statistics.median(share):5.1f} %  "
            f"p90 {off[int(0.9 * (n - 1))]:5.2f} min {100 * share[int(0.9 * (n - 1))]:5.1f} %  "
            f"inside {100 * inside / n:5.1f} % (too late {early})  width {100 * width:5.0f} %  score {100 * score:5.0f} %"
        )


def one(
    number: int, before_s: int, mornings: int, table: dict[int, Figures], moves: list[bool], idle: list[str]
) -> None:
    """One trip, followed."""
    rng = random.Random(7_000 + number)
    v = a_vessel(rng)
    start_c = v.set_c - rng.uniform(0.1, 0.9) * v.band_k
    trip_s = before_s + rng.randrange(0, 1_200)
    seed = rng.randrange(1 << 30)
    truth_s = below_s(v, start_c, trip_s)
    if truth_s is None or truth_s - trip_s < 120.0:
        return
    warmth = ReservoirMonitor(v.plan())
    offset_s = heat_ups(warmth, v, mornings, rng)
    last: tuple[float, float] | None = None
    asked = -1
    for t, read, room, _ in readings(v, start_c, trip_s, seed):
        mono_ms = int((offset_s + t) * 1000)
        warmth.hear(read, room, mono_ms)
        tripped = t >= trip_s
        warmth.cool.heater(tripped, mono_ms)
        if t >= truth_s - 60.0:
            break
        if t // 60 == asked:
            continue
        if not tripped:
            asked = int(t // 60)
            if t > 900:
                said = warmth.until_below(warmth.needed_c(room), mono_ms)
                idle.append("a time" if said.why is None else ENGLISH[said.why.id])
            continue
        minute = int((t - trip_s) // 60)
        if minute == asked - 1_000_000:
            continue
        asked = minute + 1_000_000
        said = warmth.until_below(warmth.needed_c(room), mono_ms)
        if said.in_ms is None or said.low_ms is None or said.high_ms is None:
            if last is not None:
                moves.append(False)
                last = None
        else:
            at_s = t + said.in_ms / 1000.0
            if last is not None:
                moves.append(last[0] <= at_s <= last[1])
            last = (t + said.low_ms / 1000.0, t + said.high_ms / 1000.0)
        if minute in table:
            figures = table[minute]
            if said.in_ms is None or said.low_ms is None or said.high_ms is None:
                figures.unsaid += 1
            else:
                left, *rest = (x / 60.0 for x in (truth_s - t, said.in_ms / 1e3, said.low_ms / 1e3, said.high_ms / 1e3))
                figures.rows.append((left, rest[0], rest[1], rest[2]))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--trips", type=int, default=200)
    options.add_argument("--from", dest="first", type=int, default=0)
    asked = options.parse_args()
    for name, before_s, mornings in (
        ("seen for ten minutes", 600, 0), ("an hour and a half under its thermostat", 5_400, 0), ("five heat-ups as well", 5_400, 5),
    ):  # fmt: skip
        table = {minutes: Figures() for minutes in AT_MIN}
        moves: list[bool] = []
        idle: list[str] = []
        trips = asked.trips if not mornings else asked.trips // 4
        for number in range(asked.first, asked.first + trips):
            one(number, before_s, mornings, table, moves, idle)
        print(f"\n{name}")
        for minutes, figures in table.items():
            print(f"  {minutes:2d} min after the trip  {figures.line()}")
        print(f"  inside the interval of the minute before: {100 * statistics.fmean(moves):.1f} % of {len(moves)}")
        if idle:
            said = ", ".join(
                f"{why}: {100 * idle.count(why) / len(idle):.1f} %"
                for why in sorted(set(idle), key=lambda w: -idle.count(w))
            )
            print(f"  said before the trip: {said}")


if __name__ == "__main__":
    main()
