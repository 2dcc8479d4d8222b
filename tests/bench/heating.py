"""How right the time to temperature is, on plants that nobody tuned for: `python -m tests.bench.heating [--plants 300] [--from FOLDER]`.

Printed at 5, 10, 20 and 40 minutes after the heat's start, for what is left until the probe reads the target and goes on doing so:
median and 90th percentile of the error (of what is left), share of truths inside the 90 % interval, its mean width and the mean
interval score, both relative to what is left; then how often a minute's estimate lies inside the interval of the minute before.

The plants are simulated here, by a plain step-by-step integration of heat content (element, liquid, wall, probe) that shares no
formula with the estimator: random volumes, heaters, losses, walls, probe lags, resolutions, noise, sampling, rooms and starts. The
oracle that the interval score is held against knows the form of the plants, the distributions that their numbers come from and the
noise of each probe, and fits what it does not know.

Outside recordings: a folder of CSV files (columns time, reservoir and perhaps room; time in seconds, or RFC 3339) and a truth.json,
{"name.csv": {"start": …, "reached": …, "target": …}} ("target" may be left out: what the probe reads when it is reached).

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

from edge.domain.heat_watch import HeatWatch
from edge.domain.heating import HOLD_MS

AT_MIN = (5, 10, 20, 40)
HOLD_S = HOLD_MS / 1000.0
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

    def __init__(self, watch: HeatWatch, took: list[float]) -> None:
        self.watch, self.took = watch, took

    def run(self, seen: Recorded) -> Iterator[tuple[float, tuple[float, float, float] | None]]:
        """(seconds since the heat's start, (middle, low, high) seconds left) each minute; None where nothing is said."""
        minute = -10_000
        for t, read, room in seen.rows:
            if t >= seen.reached_s - LEAST_LEFT_S:
                return
            mono_ms = int(t * 1000)
            self.watch.hear(read, room, mono_ms)
            since = t - seen.start_s
            if since // 60 == minute or since < 60:
                continue
            minute = since // 60
            began = time.process_time()
            said = self.watch.until(seen.target_c, mono_ms)
            self.took.append(time.process_time() - began)
            if said.in_ms is None or said.low_ms is None or said.high_ms is None:
                yield since, None
            else:
                yield since, tuple(max(ms / 1000.0 - HOLD_S, 0.0) for ms in (said.in_ms, said.low_ms, said.high_ms))  # type: ignore[misc] # three of them


def judge(seen: Recorded, watch: HeatWatch, table: dict[int, Figures], moves: list[bool], took: list[float]) -> None:
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
    """Knows the form of these plants, the distributions of their numbers and the probe; not the numbers themselves.

    The numbers are written as standard normal ones; least squares find the most likely, from their middle and from the truth (so that
    the search is not what is measured), and the curvature there gives the interval (Laplace). Slow, and of no use outside this bench.
    """

    #: power, loss per litre, litres, share of the loss by the wall, wall, its time, element, lag, start, ripple, its wave, the room's error
    UNKNOWN = 12

    def __init__(self, plant: Plant, morning: Morning, seen: Recorded) -> None:
        self.plant, self.seen, self.every = plant, seen, plant.every_s
        self.true = self._normal(plant, morning)
        self.room = [(t, room) for t, _, room in seen.rows]
        before = [read for t, read, _ in seen.rows if morning.before_s - 300 < t < morning.before_s]
        self.start_c = statistics.fmean(before)
        self.start_sd = 0.01 + math.hypot(
            plant.noise_k / math.sqrt(len(before)), 0.29 * plant.step_k * self._undithered()
        )

    @staticmethod
    def _normal(plant: Plant, morning: Morning) -> list[float]:
        """The standard normal numbers that are this plant's truth."""

        def place(value: float, low: float, high: float) -> float:
            share = math.log(value / low) / math.log(high / low)
            return statistics.NormalDist().inv_cdf(min(max(share, 0.002), 0.998))

        litres, loss = plant.liquid / J_PER_L_K, plant.surface_loss + plant.wall_loss
        return [
            math.log(plant.heater / plant.liquid / 0.0035) / 0.9, place(loss / (litres / 10.0) ** (2.0 / 3.0), 1.0, 5.0),
            place(litres, 5.0, 30.0),
            place(math.exp(plant.wall_loss / loss), math.exp(0.2), math.exp(0.9)), place(plant.wall / plant.liquid, 0.03, 0.3),
            place(plant.wall / plant.exchange, 40.0, 1_200.0), place(plant.element_s, 5.0, 60.0), place(plant.lag_s, 5.0, 120.0), 0.0,
            place(math.exp(morning.ripple / 0.01), 1.0, math.e), place(math.exp((morning.wave_s - 600.0) / 2_400.0), 1.0, math.e),
            plant.room_error_k / 0.2,
        ]  # fmt: skip

    def _undithered(self) -> float:
        step = self.plant.step_k
        return math.exp(-19.7 * (self.plant.noise_k / step) ** 2) if step else 0.0

    def _numbers(self, z: list[float]) -> tuple[float, ...]:
        """Standard normal numbers to those of a plant, each per J/K of liquid."""
        even = [0.5 * math.erfc(-x / math.sqrt(2.0)) for x in z]

        def spread(i: int, low: float, high: float) -> float:
            return low * (high / low) ** min(max(even[i], 1e-6), 1.0 - 1e-6)

        power = 0.0035 * math.exp(0.9 * z[0])
        litres = spread(2, 5.0, 30.0)
        loss = spread(1, 1.0, 5.0) * (litres / 10.0) ** (2.0 / 3.0) / (litres * J_PER_L_K)
        by_wall = 0.2 + 0.7 * even[3]
        wall = spread(4, 0.03, 0.3)
        return (
            power, loss * (1.0 - by_wall), loss * by_wall, wall / spread(5, 40.0, 1_200.0), wall,
            spread(6, 5.0, 60.0), spread(7, 5.0, 120.0),
            self.start_c + self.start_sd * z[8], 0.01 * even[9], 6.283 / (600.0 + 2_400.0 * even[10]), -0.2 * z[11],
        )  # fmt: skip

    def _run(self, z: list[float], times: list[float], target_c: float | None) -> tuple[list[float], float]:
        """(what the probe would see at `times`, seconds from the last of them to the target)."""
        power, surface, by_wall, exchange, wall_j, element_s, lag_s, start_c, ripple, turn, room_error = self._numbers(
            z
        )
        room_c, before_s = self.rooms[0] + room_error, self.seen.start_s
        liquid = probe = start_c
        wall = (exchange * liquid + by_wall * room_c) / (exchange + by_wall)
        heat = t = 0.0
        found: list[float] = []
        seconds, steps_after = 0.0, 0

        def step(dt: float) -> None:
            nonlocal heat, liquid, wall, probe
            wanted = power * (1.0 + ripple * math.sin((t + 0.5 * dt + before_s) * turn))
            fade = math.exp(-dt / element_s)
            given = wanted * dt + (heat - wanted) * element_s * (1.0 - fade)
            heat = wanted + (heat - wanted) * fade
            # the middle of the step first, then the step
            half = 0.5 * (given - dt * (exchange * (liquid - wall) + surface * (liquid - room_c)))
            half_wall = 0.5 * dt * (exchange * (liquid - wall) - by_wall * (wall - room_c)) / wall_j
            across = exchange * (liquid + half - wall - half_wall)
            slope = (given - dt * (across + surface * (liquid + half - room_c))) / dt
            wall += dt * (across - by_wall * (wall + half_wall - room_c)) / wall_j
            probe = liquid + slope * (dt - lag_s) + (probe - liquid + slope * lag_s) * math.exp(-dt / lag_s)
            liquid += slope * dt

        for i, at in enumerate(times):
            room_c = self.rooms[i] + room_error
            while t < at - 1e-6:
                dt = min(5.0, at - t)
                step(dt)
                t += dt
            found.append(probe)
        if target_c is None:
            return found, 0.0
        while probe < target_c:
            before = probe
            dt = 5.0 if steps_after < 60 else 15.0
            step(dt)
            seconds, t, steps_after = seconds + dt, t + dt, steps_after + 1
            room_c = self.rooms[-1] + room_error
            if probe >= target_c:
                return found, seconds - dt * (probe - target_c) / max(probe - before, 1e-9)
            if seconds > 60_000.0:
                return found, 60_000.0
        return found, 0.0

    def until(self, since: float) -> tuple[float, float, float]:
        """(middle, low, high) seconds left, `since` seconds after the heat began."""
        plant, start = self.plant, self.seen.start_s
        bins: list[tuple[float, float, int, float]] = []
        acc: list[tuple[float, float, float]] = []
        for t, read, room in self.seen.rows:
            if start < t <= start + since:
                acc.append((t, read, room))
                if t - acc[0][0] >= (15.0 if t - start < 600 else 60.0) - self.every:
                    n = len(acc)
                    bins.append(
                        (
                            statistics.fmean(a[0] for a in acc) - start,
                            statistics.fmean(a[1] for a in acc),
                            n,
                            acc[-1][2],
                        )
                    )
                    acc = []
        times, reads = [b[0] for b in bins], [b[1] for b in bins]
        self.rooms = [b[3] for b in bins]
        step = plant.step_k
        steady = max((reads[-1] - reads[0]) / (times[-1] - times[0]), 1e-4)
        sds = []
        for i, b in enumerate(bins):
            width = times[i] - times[i - 1] if i else 15.0
            passed = max(steady * width / step, 0.05) if step else 1.0
            rounding = step**2 / 12.0 * self._undithered() ** 2 * (1.0 / passed if passed < 1.0 else 1.0 / passed**2)
            sds.append(math.sqrt(plant.noise_k**2 / b[2] + rounding + 0.008**2))

        def residuals(z: list[float]) -> list[float]:
            seen, _ = self._run(z, times, None)
            return [(r - s) / sd for r, s, sd in zip(reads, seen, sds, strict=True)] + [-x for x in z]

        best: tuple[float, list[float], list[float]] | None = None
        for z in ([0.0] * self.UNKNOWN, list(self.true)):
            if not any(z):
                z[0] = min(max(math.log(steady / 0.0035) / 0.9, -2.5), 2.5)
            found = self._search(residuals, z)
            if best is None or found[0] < best[0]:
                best = found
        assert best is not None
        return self._interval(best[1], best[2], times, residuals)

    def _search(self, residuals: Any, z: list[float]) -> tuple[float, list[float], list[float]]:
        """(sum of squares, numbers, residuals) at the nearest least (Levenberg and Marquardt)."""
        now = residuals(z)
        cost, damp = sum(r * r for r in now), 1e-2
        for _ in range(25):
            jac = self._slopes(residuals, z, now)
            normal = [[sum(a * b for a, b in zip(p, q, strict=True)) for q in jac] for p in jac]
            push = [-sum(a * b for a, b in zip(p, now, strict=True)) for p in jac]
            for i in range(self.UNKNOWN):
                normal[i][i] *= 1.0 + damp
            tried = [min(max(a + b, -3.0), 3.0) for a, b in zip(z, solve(normal, push), strict=True)]
            new = residuals(tried)
            new_cost = sum(r * r for r in new)
            if new_cost < cost:
                done = cost - new_cost < 0.02
                z, now, cost, damp = tried, new, new_cost, damp * 0.3
                if done:
                    break
            else:
                damp *= 10.0
                if damp > 1e5:
                    break
        return cost, z, now

    def _slopes(self, residuals: Any, z: list[float], now: list[float]) -> list[list[float]]:
        jac = []
        for i in range(self.UNKNOWN):
            h = 0.02
            moved = residuals([*z[:i], z[i] + h, *z[i + 1 :]])
            jac.append([(a - b) / h for a, b in zip(moved, now, strict=True)])
        return jac

    def _interval(
        self, z: list[float], now: list[float], times: list[float], residuals: Any
    ) -> tuple[float, float, float]:
        """The time at the most likely numbers, and what their uncertainty makes of it, by its gradient."""
        jac = self._slopes(residuals, z, now)
        normal = [[sum(a * b for a, b in zip(p, q, strict=True)) for q in jac] for p in jac]
        step, last, target = self.plant.step_k, self.seen.rows[0][1], self.seen.target_c
        if step:
            target = last + (math.ceil((target - last) / step - 1e-6) - 0.5) * step
        middle = self._run(z, times, target)[1]
        gradient = [
            (self._run([*z[:i], z[i] + 0.1, *z[i + 1 :]], times, target)[1] - middle) / 0.1 for i in range(self.UNKNOWN)
        ]
        spread = math.sqrt(sum(a * b for a, b in zip(gradient, solve(normal, gradient), strict=True))) * 1.645
        return middle, max(middle - spread, 0.0), middle + spread


def solve(m: list[list[float]], v: list[float]) -> list[float]:
    """m x = v for a positive definite m."""
    root = cholesky(m)
    n = len(v)
    y = [0.0] * n
    for i in range(n):
        y[i] = (v[i] - sum(root[i][k] * y[k] for k in range(i))) / root[i][i]
    return back_substitute(root, y)


def cholesky(m: list[list[float]]) -> list[list[float]]:
    n = len(m)
    root = [[0.0] * n for _ in range(n)]
    for i in range(n):
        for j in range(i + 1):
            left = m[i][j] - sum(root[i][k] * root[j][k] for k in range(j))
            root[i][j] = math.sqrt(max(left, 1e-12)) if i == j else left / root[j][j]
    return root


def back_substitute(root: list[list[float]], y: list[float]) -> list[float]:
    """x with (transposed root) x = y."""
    n = len(y)
    x = [0.0] * n
    for i in reversed(range(n)):
        x[i] = (y[i] - sum(root[k][i] * x[k] for k in range(i + 1, n))) / root[i][i]
    return x


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
        watch = HeatWatch()
        watch.learn(fits)
        for t, read, room in seen.rows:
            watch.hear(read, room, int(t * 1000))
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


def against_oracle(number: int, seed: int) -> None:
    """The interval score beside that of the oracle, on the same heat-ups at the same instants."""
    ours, best = empty(), empty()
    for plant, morning, seen in plants(number, seed):
        oracle = Oracle(plant, morning, seen)
        said = {int(since // 60): (since, answer) for since, answer in Followed(HeatWatch(), []).run(seen)}
        for minutes in AT_MIN:
            since, answer = said.get(minutes, (0.0, None))
            left = seen.reached_s - seen.start_s - since
            if answer is not None and left >= LEAST_LEFT_S:
                ours[minutes].add(left, answer)
                best[minutes].add(left, oracle.until(since))
    report(f"oracle, {number} plants", best, [], [])
    for minutes in AT_MIN:
        if best[minutes].said:
            mean = statistics.fmean(ours[minutes].scores) / statistics.fmean(best[minutes].scores)
            middle = statistics.median(ours[minutes].scores) / statistics.median(best[minutes].scores)
            print(
                f"  {minutes:2d} min: interval score over the oracle's: {mean:.2f} (of the means), {middle:.2f} (of the medians)"
            )


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plants", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--learned", type=int, default=100, help="how many of them with five heat-ups in the journal, too"
    )
    parser.add_argument("--oracle", type=int, default=60, help="how many of them against the oracle (0.7 s each)")
    parser.add_argument("--from", dest="folder", type=Path, help="outside recordings instead")
    parser.add_argument("--room", type=float, default=20.0, help="room of recordings without one [Cel]")
    given = parser.parse_args()
    table: dict[int, Figures] = empty()
    moves: list[bool] = []
    took: list[float] = []
    if given.folder is not None:
        found = list(outside(given.folder, given.room))
        for _, seen in found:
            judge(seen, HeatWatch(), table, moves, took)
        report(f"{len(found)} recordings of {given.folder.name}", table, moves, took)
        return
    for _, _, seen in plants(given.plants, given.seed):
        judge(seen, HeatWatch(), table, moves, took)
    report(f"no history, {given.plants} plants", table, moves, took)
    print(
        "  goals: median 6 % at 10 min, 4 % at 20, 2.5 % at 40; 90th percentile at most three times that; inside 86 to 96 %"
    )
    if given.learned:
        table, moves, took = empty(), [], []
        for i, (plant, morning, seen) in enumerate(plants(given.learned, given.seed)):
            watch = HeatWatch()
            watch.learn(history(plant, morning.target_c, f"earlier {given.seed}/{i}"))
            judge(seen, watch, table, moves, took)
        report(f"five heat-ups in the journal, {given.learned} plants", table, moves, took)
        print("  goal: median 4 % at 5 min")
    if given.oracle:
        against_oracle(given.oracle, given.seed)


if __name__ == "__main__":
    main()
