"""How right the time to temperature is, on plants that nobody tuned for: `python -m tests.bench.heating [--hard] [--from FOLDER]`.

Printed at 5, 10, 20 and 40 minutes after the heat's start, for what is left until the probe reads the target and goes on doing so:
median and 90th percentile of the error (of what is left), share of truths inside the 90 % interval, its mean width and the mean
interval score, both relative to what is left; then how often a minute's estimate lies inside the interval of the minute before.

The plants are simulated here, by a plain step-by-step integration of heat content (element, liquid, wall, probe) that shares no
formula with the estimator: random volumes, heaters, losses, walls, probe lags, resolutions, noise, sampling, rooms and starts. The
oracle that the interval score is held against knows the form of the plants, the distributions that their numbers come from, the noise of
each probe and when the heat began, and samples the posterior of what it does not know.

Outside recordings: a folder of CSV files (columns time, reservoir and perhaps room; time in seconds, or RFC 3339) and a truth.json,
{"name.csv": {"start": …, "reached": …, "target": …}} ("target" may be left out: what the probe reads when it is reached).

`--hard --plants 60` takes plants of simulators/physics/hard_plants.py: moderate ones with mains, lid and slow wall at once, a mix with one
hardship or two, each alone, and harsh ones with all.

Interval score: Gneiting and Raftery, Strictly proper scoring rules, prediction, and estimation, JASA 102 (2007), section 6.2: width
plus 2/alpha times what the truth lies outside. Smaller is better.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import random
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from edge.domain.heat.balance import HOLD_MS
from edge.domain.heat.warmup import WarmUpEstimator
from tests.told import tell, until_read

Numbers = NDArray[np.float64]
AT_MIN = (5, 10, 20, 40)
HOLD_S = HOLD_MS / 1000.0
WIDE = 3.0  # of an oracle that knows the form and not where plants lie
LEAST_LEFT_S = 300.0  # nobody needs a forecast of less

J_PER_L_K = 4150.0


@dataclass(frozen=True)
class Plant:
    """One reservoir and its probe. J/K, W/K, W, s, K."""

    liquid: float
    wall: float
    exchange: float
    surface_loss: float
    wall_loss: float
    element_s: float
    lag_s: float
    heater: float
    step_k: float
    noise_k: float
    every_s: int
    room_error_k: float


@dataclass(frozen=True)
class Morning:
    """One heat-up: where it starts and what the room does. s, Cel."""

    start_c: float
    room_c: float
    room_per_h: float
    room_wave_k: float
    ripple: float  # share by which the heater's power wanders
    wave_s: float
    before_s: int
    target_c: float
    seed: int

    def room(self, t: float) -> float:
        return self.room_c + self.room_per_h * t / 3600.0 + self.room_wave_k * math.sin(t / 700.0)


@dataclass(frozen=True)
class Recorded:
    """What the station hears of one heat-up, and what is true. Times in s from the first reading."""

    rows: list[tuple[float, float, float]]
    start_s: float
    target_c: float
    reached_s: float  # the first reading at or above the target from which on all were, for as long as the hold lasts
    liquid_s: float | None = None  # when the liquid itself passed the target


def log_even(rng: random.Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def a_plant(rng: random.Random) -> Plant:
    """Everything but the heater's power, which a_heater() finds."""
    litres = log_even(rng, 5.0, 30.0)
    liquid = litres * J_PER_L_K
    wall = liquid * log_even(rng, 0.03, 0.3)
    loss = log_even(rng, 1.0, 5.0) * (litres / 10.0) ** (2.0 / 3.0)
    by_wall = rng.uniform(0.2, 0.9)
    return Plant(
        liquid, wall, wall / log_even(rng, 40.0, 1_200.0), loss * (1.0 - by_wall), loss * by_wall, log_even(rng, 5.0, 60.0),
        log_even(rng, 5.0, 120.0), 0.0, rng.choice((0.0, 0.0625, 0.0625, 0.1)), log_even(rng, 0.01, 0.1), rng.choice((1, 2, 5, 10)),
        rng.gauss(0.0, 0.2),
    )  # fmt: skip


def a_morning(rng: random.Random, target_c: float | None = None) -> Morning:
    room = rng.uniform(16.0, 26.0)
    start = min(max(room + rng.uniform(-3.0, 8.0), 15.0), 30.0)
    return Morning(
        start, room, rng.uniform(-0.7, 0.7), rng.uniform(0.0, 0.3), rng.uniform(0.0, 0.01), rng.uniform(600.0, 3_000.0),
        rng.randrange(600, 1_800), rng.uniform(38.0, 40.0) if target_c is None else target_c, rng.randrange(1 << 30),
    )  # fmt: skip


def steps(plant: Plant, morning: Morning, step_s: float = 1.0) -> Iterator[tuple[float, float, float]]:
    """(time, liquid, probe) from the beginning of the record on, without end."""
    liquid = probe = morning.start_c
    room = morning.room(0.0)
    # a vessel long at rest: its wall stands between liquid and room
    wall = (plant.exchange * liquid + plant.wall_loss * room) / (plant.exchange + plant.wall_loss)
    heat, t = 0.0, 0.0
    while True:
        yield t, liquid, probe
        room = morning.room(t)
        power = (
            0.0
            if t < morning.before_s
            else plant.heater * (1.0 + morning.ripple * math.sin(t / morning.wave_s * 6.283))
        )
        heat += (power - heat) * min(step_s / plant.element_s, 1.0)
        across = plant.exchange * (liquid - wall)
        liquid += step_s * (heat - across - plant.surface_loss * (liquid - room)) / plant.liquid
        wall += step_s * (across - plant.wall_loss * (wall - room)) / plant.wall
        probe += step_s * (liquid - probe) / plant.lag_s
        t += step_s


def a_heater(plant: Plant, morning: Morning, rng: random.Random) -> Plant:
    """The power that takes between half an hour and three hours in this room."""
    wanted = log_even(rng, 1_800.0, 10_800.0)
    low, high = 1.0, 20_000.0
    for _ in range(18):
        middle = math.sqrt(low * high)
        made = replace(plant, heater=middle)
        for t, liquid, _ in steps(made, replace(morning, before_s=0), 4.0):
            if liquid >= morning.target_c or t > wanted:
                break
        low, high = (low, middle) if t <= wanted else (middle, high)
    return replace(plant, heater=high)


def record(plant: Plant, morning: Morning) -> Recorded:
    """Run it until the target has been held."""
    rng = random.Random(morning.seed)
    rows: list[tuple[float, float, float]] = []
    since: float | None = None
    liquid_s: float | None = None
    for t, liquid, probe in steps(plant, morning):
        if liquid_s is None and liquid >= morning.target_c and t > morning.before_s:
            liquid_s = t
        if t % plant.every_s:
            continue
        read = probe + rng.gauss(0.0, plant.noise_k)
        if plant.step_k:
            read = round(read / plant.step_k) * plant.step_k
        room = round((morning.room(t) + plant.room_error_k + rng.gauss(0.0, 0.03)) / 0.0625) * 0.0625
        rows.append((t, read, room))
        since = None if read < morning.target_c else t if since is None else since
        if since is not None and t - since >= HOLD_S:
            return Recorded(rows, morning.before_s, morning.target_c, since, liquid_s)
        if t > 40_000:
            raise ValueError("this plant never gets there")
    raise AssertionError


@dataclass
class Figures:
    """What is kept of one forecast: relative error, in the interval?, width and score relative to what is left."""

    said: int = 0
    unsaid: int = 0
    errors: list[float] = field(default_factory=list)
    inside: int = 0
    widths: list[float] = field(default_factory=list)
    scores: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def add(self, left_s: float, forecast: tuple[float, float, float] | None) -> None:
        if forecast is None:
            self.unsaid += 1
            return
        middle, low, high = forecast
        self.said += 1
        self.errors.append(abs(middle - left_s) / left_s)
        self.inside += low <= left_s <= high
        outside = max(low - left_s, left_s - high, 0.0)
        self.widths.append((high - low) / left_s)
        self.scores.append((high - low + 20.0 * outside) / left_s)
        self.seconds.append(high - low + 20.0 * outside)

    def line(self) -> str:
        if not self.said:
            return f"nothing said ({self.unsaid})"
        errors = sorted(self.errors)
        return (
            f"n {self.said:3d} (unsaid {self.unsaid})  median {100 * statistics.median(errors):5.2f} %  "
            f"p90 {100 * errors[int(0.9 * (len(errors) - 1))]:5.2f} %  inside {100 * self.inside / self.said:5.1f} %  "
            f"width {100 * statistics.fmean(self.widths):5.1f} %  score {100 * statistics.fmean(self.scores):5.1f} %"
        )


class Followed:
    """One heat-up, heard by the estimator; asked once a minute, as a picture would."""

    def __init__(self, watch: WarmUpEstimator, took: list[float]) -> None:
        self.watch, self.took = watch, took

    def run(self, seen: Recorded) -> Iterator[tuple[float, tuple[float, float, float] | None]]:
        """(seconds since the heat's start, (middle, low, high) seconds left) each minute; None where nothing is said."""
        minute = -10_000
        for t, read, room in seen.rows:
            if t >= seen.reached_s - LEAST_LEFT_S:
                return
            mono_ms = int(t * 1000)
            tell(self.watch, read, room, mono_ms)
            since = t - seen.start_s
            if since // 60 == minute or since < 60:
                continue
            minute = since // 60
            began = time.process_time()
            said = until_read(self.watch, seen.target_c, mono_ms)
            self.took.append(time.process_time() - began)
            if said.in_ms is None or said.low_ms is None or said.high_ms is None:
                yield since, None
            else:
                yield since, tuple(max(ms / 1000.0 - HOLD_S, 0.0) for ms in (said.in_ms, said.low_ms, said.high_ms))  # type: ignore[misc] # three of them


def judge(
    seen: Recorded, watch: WarmUpEstimator, table: dict[int, Figures], moves: list[bool], took: list[float]
) -> None:
    """Follow one heat-up and enter its forecasts."""
    last: tuple[float, float, float, float] | None = None
    done = set()
    for since, said in Followed(watch, took).run(seen):
        if said is not None:
            if last is not None:
                at = since + said[0]
                moves.append(last[0] + last[2] <= at <= last[0] + last[3])
            last = (since, *said)
        elif last is not None:
            moves.append(False)
            last = None
        for minutes in AT_MIN:
            if minutes not in done and 0 <= since - 60 * minutes < 60:
                done.add(minutes)
                table[minutes].add(seen.reached_s - seen.start_s - since, said)


class Oracle:
    """Knows the form of these plants, the distributions of their numbers, when the heat began and the probe; not the numbers.

    `widened`: each of their ranges is this many times as low and as high. At WIDE it knows little but the form.

    The numbers are written as standard normal ones, so their distribution is the prior. The most likely are searched for (Levenberg and
    Marquardt) from their middle and from the truth, so that the search is not what is measured; from around them chains run through the
    posterior, moved by differences of each other (differential evolution Markov chains: ter Braak, Stat. Comput. 16, 2006; from memory).
    Whether they have converged shows in their later halves agreeing. Each sample's time to the target comes with the readings' noise and
    steps, as the truth does. Slow, and of no use outside this bench.
    """

    #: power, loss per litre, litres, share of the loss by the wall, wall, its time, element, lag, start, ripple, its wave, the room's error
    UNKNOWN = 12
    CHAINS = 400
    MOVES = 160  # of which the first half is forgotten
    KEPT_EVERY = 10

    def __init__(self, plant: Plant, morning: Morning, seen: Recorded, widened: float = 1.0) -> None:
        self.plant, self.seen, self.every, self.widened = plant, seen, plant.every_s, widened
        self.true = self._normal(plant, morning)
        self.start_c = statistics.fmean(read for t, read, _ in seen.rows if t <= 60.0)
        self.start_sd = 0.03 + plant.noise_k
        self.apart: list[float] = []  # of both later halves' middles, as shares of the interval
        self.rng = np.random.default_rng(morning.seed)

    def _normal(self, plant: Plant, morning: Morning) -> Numbers:
        """The standard normal numbers that are this plant's truth."""

        def place(value: float, low: float, high: float, more: float = 1.0) -> float:
            share = math.log(value * more / low) / math.log(high / low * more**2)
            return statistics.NormalDist().inv_cdf(min(max(share, 0.002), 0.998))

        litres, loss, more = plant.liquid / J_PER_L_K, plant.surface_loss + plant.wall_loss, self.widened
        return np.array([
            math.log(plant.heater / plant.liquid / 0.0035) / (0.9 * more), place(loss / (litres / 10.0) ** (2.0 / 3.0), 1.0, 5.0, more),
            place(litres, 5.0, 30.0, more),
            place(math.exp(plant.wall_loss / loss), math.exp(0.2), math.exp(0.9)), place(plant.wall / plant.liquid, 0.03, 0.3, more),
            place(plant.wall / plant.exchange, 40.0, 1_200.0, more), place(plant.element_s, 5.0, 60.0, more),
            place(plant.lag_s, 5.0, 120.0, more), 0.0,
            place(math.exp(morning.ripple / 0.01), 1.0, math.e), place(math.exp((morning.wave_s - 600.0) / 2_400.0), 1.0, math.e),
            plant.room_error_k / 0.2,
        ])  # fmt: skip

    def _undithered(self) -> float:
        step = self.plant.step_k
        return math.exp(-19.7 * (self.plant.noise_k / step) ** 2) if step else 0.0

    def _run(
        self, z: Numbers, times: list[tuple[float, float]], target_c: float | None
    ) -> tuple[Numbers, Numbers, Numbers]:
        """For plants `z` (n, 12): means of what the probe would see over `times` (n, m); seconds to the target, the rise there (n)."""
        even, more = np.clip(ndtr(z), 1e-6, 1.0 - 1e-6).T, self.widened

        def spread(i: int, low: float, high: float) -> Numbers:
            return np.asarray(low / more * (high / low * more**2) ** even[i])

        power, litres = 0.0035 * np.exp(0.9 * more * z[:, 0]), spread(2, 5.0, 30.0)
        loss = spread(1, 1.0, 5.0) * (litres / 10.0) ** (2.0 / 3.0) / (litres * J_PER_L_K)
        by_wall, wall_j = (0.2 + 0.7 * even[3]) * loss, spread(4, 0.03, 0.3)
        surface, exchange = loss - by_wall, wall_j / spread(5, 40.0, 1_200.0)
        element_s, lag_s, ripple, turn = (
            spread(6, 5.0, 60.0),
            spread(7, 5.0, 120.0),
            0.01 * even[9],
            6.283 / (600.0 + 2_400.0 * even[10]),
        )
        before_s, error, room = self.seen.start_s, -0.2 * z[:, 11], 0
        room_c = self.rooms[0][1] + error
        liquid = self.start_c + self.start_sd * z[:, 8]
        probe, wall = liquid.copy(), (exchange * liquid + by_wall * room_c) / (exchange + by_wall)
        heat, t = np.zeros(len(z)), -before_s

        def step(dt: float) -> None:
            nonlocal heat, liquid, wall, probe
            wanted = 0.0 * power if t < -1e-6 else power * (1.0 + ripple * np.sin((t + 0.5 * dt + before_s) * turn))
            fade = np.exp(-dt / element_s)
            given = wanted * dt + (heat - wanted) * element_s * (1.0 - fade)
            heat = wanted + (heat - wanted) * fade
            # the middle of the step first, then the step
            half = 0.5 * (given - dt * (exchange * (liquid - wall) + surface * (liquid - room_c)))
            half_wall = 0.5 * dt * (exchange * (liquid - wall) - by_wall * (wall - room_c)) / wall_j
            across = exchange * (liquid + half - wall - half_wall)
            slope = (given - dt * (across + surface * (liquid + half - room_c))) / dt
            wall = wall + dt * (across - by_wall * (wall + half_wall - room_c)) / wall_j
            probe = liquid + slope * (dt - lag_s) + (probe - liquid + slope * lag_s) * np.exp(-dt / lag_s)
            liquid = liquid + slope * dt

        found = np.empty((len(z), len(times)))
        for i, (begin, at) in enumerate(times):
            area, since = np.zeros(len(z)), t
            while t < at - 1e-6:
                while room + 1 < len(self.rooms) and self.rooms[room + 1][0] <= t:
                    room += 1
                    room_c = self.rooms[room][1] + error
                dt = min(10.0, -t) if t < -1e-6 else 2.0 if t < 300.0 else 5.0
                dt = min(dt, (at if t >= begin - 1e-6 else begin) - t)
                before = probe
                step(dt)
                if t >= begin - 1e-6:
                    area += 0.5 * dt * (before + probe)
                else:
                    since = t + dt
                t += dt
            found[:, i] = area / (t - max(since, begin)) if at > begin else probe
        seconds, rise = np.full(len(z), 60_000.0), np.full(len(z), 1e-5)
        if target_c is None:
            return found, seconds, rise
        open_, passed = probe < target_c, 0.0
        seconds[~open_], rise[~open_] = 0.0, 0.003
        room_c = self.rooms[-1][1] + error
        while open_.any() and passed < 30_000.0:
            before, dt = probe, 5.0 if passed < 300.0 else 15.0
            step(dt)
            t, passed = t + dt, passed + dt
            there = open_ & (probe >= target_c)
            rise[there] = (probe - before)[there] / dt
            seconds[there] = passed - ((probe - target_c)[there] / np.maximum(rise[there], 1e-9))
            open_ &= ~there
        return found, seconds, rise

    def until(self, since: float) -> tuple[float, float, float]:
        """(middle, low, high) seconds left, `since` seconds after the heat began."""
        times, reads, sds = self._bins(since)

        def residuals(z: Numbers) -> Numbers:
            return np.hstack([(reads - self._run(z, times, None)[0]) / sds, -z])

        best: tuple[float, Numbers] | None = None
        for start in (np.zeros(self.UNKNOWN), self.true.copy()):
            if not start.any():
                steady = max((reads[-1] - reads[0]) / since, 1e-4)
                start[0] = min(max(math.log(steady / 0.0035) / (0.9 * self.widened), -2.5), 2.5)
            found = self._search(residuals, start)
            if best is None or found[0] < best[0]:
                best = found
        assert best is not None
        jac = self._slopes(residuals, best[1])
        kept = self._chains(residuals, best[1], np.linalg.inv(jac @ jac.T))
        early, late = (self._left(z, times, since) for z in (kept[: len(kept) // 2], kept[len(kept) // 2 :]))
        low, mid, high = np.quantile(np.hstack([early, late]), (0.05, 0.5, 0.95))
        self.apart.append(float(abs(np.median(late) - np.median(early)) / max(high - low, self.every)))
        return float(mid), max(float(low), 0.0), float(high)

    def _left(self, z: Numbers, times: list[tuple[float, float]], since: float) -> Numbers:
        """Seconds left by some of these samples (n, 12)."""
        _, seconds, rise = self._run(self.rng.permutation(z)[:300], times, self.seen.target_c)
        last_s = times[-1][1]
        return np.array([self._first_held(s, r, last_s) for s, r in zip(seconds, rise, strict=True)]) - (since - last_s)

    def _bins(self, since: float) -> tuple[list[tuple[float, float]], Numbers, Numbers]:
        """Averages of what has been read: from and to, in s since the heat began; Cel; standard deviations."""
        plant, start = self.plant, self.seen.start_s
        acc: list[tuple[float, float, float]] = []
        bins: list[tuple[float, float, int, float, float]] = []
        for t, read, room in self.seen.rows:
            if t > start + since:
                break
            acc.append((t, read, room))
            if t - acc[0][0] >= (15.0 if 0.0 <= t - start < 600 else 60.0) - self.every or acc[0][0] <= start < t:
                mean, mean_room = statistics.fmean(a[1] for a in acc), statistics.fmean(a[2] for a in acc)
                bins.append((acc[0][0] - start, mean, len(acc), mean_room, t - start))
                acc = []
        times = [(b[0], b[4]) for b in bins]
        # the room's own noise and steps smoothed away
        self.rooms = [(b[0], statistics.fmean(c[3] for c in bins if abs(c[0] - b[0]) <= 150.0)) for b in bins]
        step = plant.step_k
        steady = max((bins[-1][1] - bins[0][1]) / since, 1e-4)
        sds = []
        for i, b in enumerate(bins):
            width = b[4] - bins[i - 1][4] if i else 15.0
            passed = max((steady if b[0] > 0.0 else 0.0) * width / step, 0.05) if step else 1.0
            rounding = step**2 / 12.0 * self._undithered() ** 2 * (1.0 / passed if passed < 1.0 else 1.0 / passed**2)
            sds.append(math.sqrt(plant.noise_k**2 / b[2] + rounding + 0.008**2))
        return times, np.array([b[1] for b in bins]), np.array(sds)

    def _first_held(self, seconds: float, rise: float, last_s: float) -> float:
        """From when on the readings stay at the target, where the probe itself passes it after `seconds`: noise and steps as they come."""
        every, noise, step, target = self.every, self.plant.noise_k, self.plant.step_k, self.seen.target_c
        wide = min(4.0 * (noise + step) / rise, 2_000.0)
        ticks = (
            np.arange(math.floor((last_s + seconds - wide) / every), math.ceil((last_s + seconds + wide) / every) + 2)
            * every
            - last_s
        )
        reads = target + rise * (ticks - seconds) + self.rng.normal(0.0, noise, len(ticks))
        if step:
            reads = np.round(reads / step) * step
        since = None
        for at, read in zip(ticks, reads, strict=True):
            since = None if read < target else at if since is None else since
            if since is not None and at - since >= HOLD_S:
                break
        return float(seconds if since is None else since)

    def _chains(self, residuals: Any, middle: Numbers, cov: Numbers) -> Numbers:
        """Samples of the posterior (n, 12): chains that begin around `middle`; each half is moved by the other's differences."""

        def log_density(at: Numbers) -> Numbers:
            with np.errstate(all="ignore"):  # a plant that explodes is an impossible one
                found = -0.5 * (residuals(at) ** 2).sum(axis=1)
            return np.where(np.isfinite(found), found, -1e300)

        half, usual = self.CHAINS // 2, 2.38 / math.sqrt(2.0 * self.UNKNOWN)
        z = middle + self.rng.normal(size=(self.CHAINS, self.UNKNOWN)) @ np.linalg.cholesky(cov).T
        density, kept = log_density(z), []
        for move in range(self.MOVES):
            for mine, other in ((slice(half), slice(half, None)), (slice(half, None), slice(half))):
                one = self.rng.integers(0, half, half)
                two = (one + self.rng.integers(1, half, half)) % half
                scale = np.where(self.rng.random(half) < 0.1, 1.0, usual * self.rng.choice((1.0, 0.5, 0.25), half))
                tried = z[mine] + scale[:, None] * (z[other][one] - z[other][two])
                tried += 1e-4 * self.rng.normal(size=tried.shape)
                new = log_density(tried)
                taken = np.log(self.rng.random(half)) < new - density[mine]
                z[mine][taken], density[mine][taken] = tried[taken], new[taken]
            if move >= self.MOVES // 2 and move % self.KEPT_EVERY == 0:
                kept.append(z.copy())
        return np.vstack(kept)

    def _search(self, residuals: Any, z: Numbers) -> tuple[float, Numbers]:
        """(sum of squares, numbers) at the nearest least (Levenberg and Marquardt)."""
        now = residuals(z[None])[0]
        cost, damp = float(now @ now), 1e-2
        for _ in range(30):
            jac = self._slopes(residuals, z)
            normal = jac @ jac.T
            tried = np.clip(z - np.linalg.solve(normal + damp * np.diag(np.diag(normal)), jac @ now), -3.0, 3.0)
            new = residuals(tried[None])[0]
            if new @ new < cost:
                done = cost - new @ new < 0.01
                z, now, cost, damp = tried, new, float(new @ new), damp * 0.3
                if done:
                    break
            else:
                damp *= 10.0
                if damp > 1e5:
                    break
        return cost, z

    def _slopes(self, residuals: Any, z: Numbers) -> Numbers:
        """The residuals' derivatives by the numbers: (12, m)."""
        h = 0.02
        both = residuals(np.vstack([z + h * np.eye(self.UNKNOWN), z - h * np.eye(self.UNKNOWN)]))
        return np.asarray((both[: self.UNKNOWN] - both[self.UNKNOWN :]) / (2.0 * h))


def plants(number: int, seed: int) -> Iterator[tuple[Plant, Morning, Recorded]]:
    """The plants of a seed, each with one recorded morning."""
    for i in range(number):
        rng = random.Random(f"{seed}/{i}")
        plant, morning = a_plant(rng), a_morning(rng)
        plant = a_heater(plant, morning, rng)
        yield plant, morning, record(plant, morning)


def history(plant: Plant, target_c: float, seed: str, number: int = 5) -> list[dict[str, Any]]:
    """What earlier heat-ups of this plant leave in its journal: other mornings, mains and fillings."""
    rng, fits = random.Random(seed), []
    while len(fits) < number:
        that_day = replace(
            plant, heater=plant.heater * rng.gauss(1.0, 0.02), liquid=plant.liquid * rng.gauss(1.0, 0.02)
        )
        try:
            seen = record(that_day, a_morning(rng, target_c))
        except ValueError:
            continue
        watch = WarmUpEstimator()
        watch.learn(fits)
        for t, read, room in seen.rows:
            tell(watch, read, room, int(t * 1000))
        left = watch.summary()
        if left is not None:
            fits.append(json.loads(json.dumps(left)))  # as the journal gives it back
    return fits


def seconds_of(text: str) -> float:
    """A time of an outside file."""
    try:
        return float(text)
    except ValueError:
        return datetime.fromisoformat(text).timestamp()


def outside(folder: Path, room_c: float) -> Iterator[tuple[str, Recorded]]:
    """Recordings of somewhere else: see the top."""
    for name, truth in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        with (folder / name).open(encoding="utf-8", newline="") as file:
            read = [row for row in csv.DictReader(file) if row["reservoir"]]
        zero = seconds_of(read[0]["time"])
        rows = [
            (seconds_of(row["time"]) - zero, float(row["reservoir"]), float(row.get("room") or room_c)) for row in read
        ]
        start, reached = (seconds_of(str(truth[key])) - zero for key in ("start", "reached"))
        target = truth.get("target")
        if target is None:
            target = statistics.fmean(c for t, c, _ in rows if abs(t - reached) <= 30.0)
        yield name, Recorded(rows, start, float(target), reached)


def report(title: str, table: dict[int, Figures], moves: list[bool], took: list[float]) -> None:
    """Print one table."""
    print(title)
    for minutes, figures in table.items():
        print(f"  {minutes:2d} min: {figures.line()}")
    if moves:
        print(f"  new estimates inside the interval of the minute before: {100 * sum(moves) / len(moves):.1f} %")
    if took:
        print(f"  an answer takes {1000 * statistics.fmean(took):.2f} ms of CPU, at the most {1000 * max(took):.1f} ms")


def empty() -> dict[int, Figures]:
    return {minutes: Figures() for minutes in AT_MIN}


def against_oracle(number: int, seed: int, widened: float) -> None:
    """The interval score beside that of an oracle, on the same heat-ups at the same instants."""
    ours, best, apart = empty(), empty(), []
    for plant, morning, seen in plants(number, seed):
        oracle = Oracle(plant, morning, seen, widened)
        said = {int(since // 60): (since, answer) for since, answer in Followed(WarmUpEstimator(), []).run(seen)}
        for minutes in AT_MIN:
            since, answer = said.get(minutes, (0.0, None))
            left = seen.reached_s - seen.start_s - since
            if answer is not None and left >= LEAST_LEFT_S:
                ours[minutes].add(left, answer)
                best[minutes].add(left, oracle.until(since))
        apart += oracle.apart
    knows = (
        "the form and the distributions" if widened == 1.0 else f"the form, and each range {widened:g} times too wide"
    )
    report(
        f"oracle that knows {knows}, {number} plants (its chains' halves differ by {100 * statistics.median(apart):.1f} % of the interval"
        f" in the median, at the most {100 * max(apart):.0f} %)", best, [], [],
    )  # fmt: skip
    report("ours, the same instants", ours, [], [])
    for minutes in AT_MIN:
        if best[minutes].said:
            mean = statistics.fmean(ours[minutes].scores) / statistics.fmean(best[minutes].scores)
            middle = statistics.median(ours[minutes].scores) / statistics.median(best[minutes].scores)
            print(
                f"  {minutes:2d} min: interval score over the oracle's: {mean:.2f} (of the means), {middle:.2f} (of the medians)"
            )
    print("  goal, of an oracle that knows the form: 1.5")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plants", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--learned", type=int, default=100, help="how many of them with five heat-ups in the journal, too"
    )
    parser.add_argument(
        "--oracle", type=int, default=40, help="how many of them against the oracles (half a minute each)"
    )
    parser.add_argument("--from", dest="folder", type=Path, help="outside recordings instead")
    parser.add_argument("--room", type=float, default=20.0, help="room of recordings without one [Cel]")
    parser.add_argument("--hard", action="store_true", help="plants of simulators/physics/hard_plants.py instead")
    given = parser.parse_args()
    if given.hard:
        from tests.bench.heating_hard import hard  # it builds on this module

        hard(given.plants, given.seed)
        return
    table: dict[int, Figures] = empty()
    moves: list[bool] = []
    took: list[float] = []
    if given.folder is not None:
        found = list(outside(given.folder, given.room))
        for _, seen in found:
            judge(seen, WarmUpEstimator(), table, moves, took)
        report(f"{len(found)} recordings of {given.folder.name}", table, moves, took)
        return
    for _, _, seen in plants(given.plants, given.seed):
        judge(seen, WarmUpEstimator(), table, moves, took)
    report(f"no history, {given.plants} plants", table, moves, took)
    print(
        "  goals: median 6 % at 10 min, 4 % at 20, 2.5 % at 40; 90th percentile at most three times that; inside 86 to 96 %"
    )
    if given.learned:
        table, moves, took = empty(), [], []
        for i, (plant, morning, seen) in enumerate(plants(given.learned, given.seed)):
            watch = WarmUpEstimator()
            watch.learn(history(plant, morning.target_c, f"earlier {given.seed}/{i}"))
            judge(seen, watch, table, moves, took)
        report(f"five heat-ups in the journal, {given.learned} plants", table, moves, took)
        print("  goal: median 4 % at 5 min")
    if given.oracle:
        for widened in (WIDE, 1.0):
            against_oracle(given.oracle, given.seed, widened)


if __name__ == "__main__":
    main()
