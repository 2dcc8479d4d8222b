"""How well draws are found and measured, over random weeks: `python -m tests.bench.draws [--weeks 20] [--seed N]`.

The weeks are made here: fills, rinses and hands at a basin, at 1 to 5 s sampling, with the meter's noise, a factor, a wheel that stalls
at small flows, neighbours that pull the supply down, and short bursts of interference below and above the threshold. A draw counts as
found where exactly one entry overlaps it; a false one overlaps none. Errors are of those that were found.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import time
from dataclasses import dataclass

from edge.domain.settings import Supply
from edge.domain.water.draws import Draw, DrawDetector
from tests.unit.stations import SETTINGS

WEEK_S = 7 * 86_400
LEAST_L = 0.5  # less is a rinse of a cup: no draw that anything rests on


@dataclass
class Truth:
    """A draw as it really was: s, L, L/min, kPa."""

    start: float
    end: float
    litres: float
    flow: float
    dynamic: float
    static: float


@dataclass
class Week:
    """What really happened, and what the watch made of it."""

    true: list[Truth]
    found: list[tuple[float, float, Draw]]


def draws_of(rng: random.Random) -> list[Truth]:
    """A week's draws: cycles of a fill and two to four rinses, hands between; Sunday off."""
    found: list[Truth] = []
    for day in range(6):
        at = day * 86_400 + rng.uniform(6.5, 7.5) * 3600
        for _ in range(rng.randint(4, 14)):
            for _ in range(rng.randint(3, 5)):
                litres, flow = rng.choice((9.0, 9.0, 9.0, 5.0)) * rng.uniform(0.97, 1.03), rng.uniform(7.5, 10.5)
                static = rng.gauss(385.0, 8.0)
                length = litres / flow * 60.0
                found.append(Truth(at, at + length, litres, flow, static - 0.9 * flow**1.85, static))
                at += length + rng.uniform(30.0, 400.0)
            if rng.random() < 0.5:
                length, flow = rng.uniform(4.0, 25.0), rng.uniform(2.0, 6.0)
                found.append(Truth(at, at + length, flow * length / 60.0, flow, 350.0, 385.0))
                at += length
            at += rng.uniform(300.0, 2400.0)
    return found


def week(seed: int, plan: Supply) -> Week:
    """One week through the watch."""
    rng = random.Random(seed)
    true = draws_of(rng)
    every, factor, noise = rng.choice((1.0, 1.0, 2.0, 5.0)), 1.0 + rng.uniform(-0.03, 0.03), rng.uniform(0.0, 0.02)
    zero_noise = rng.choice((0.0, 0.05, 0.15))
    watch, found, began = DrawDetector(plan), [], 0.0
    at, sags = 0, sorted(rng.uniform(0, WEEK_S) for _ in range(200))
    sag_at = 0
    steps = int(WEEK_S / every)
    for step in range(steps):
        t = step * every + rng.uniform(0.0, 0.1)
        while at < len(true) and true[at].end < t:
            at += 1
        while sag_at < len(sags) and sags[sag_at] + 90.0 < t:
            sag_at += 1
        now = true[at] if at < len(true) and true[at].start <= t else None
        quiet_for_long = (
            now is None
            and (at >= len(true) or true[at].start - t > 120.0)
            and (at == 0 or t - true[at - 1].end > 120.0)
        )
        if quiet_for_long and every < 5.0 and step % 3 and rng.random() < 0.9:
            continue  # nothing happens: the week is read more seldom, to be done in time
        sag = 25.0 if sag_at < len(sags) and sags[sag_at] <= t else 0.0
        pressure = (now.dynamic if now else 385.0) - sag + rng.gauss(0.0, 0.5)
        flow = now.flow * factor * (1.0 + rng.gauss(0.0, noise)) if now else max(rng.gauss(0.0, zero_noise), 0.0)
        if now is None and rng.random() < 2e-6:
            flow = rng.uniform(0.5, 3.0)  # interference on the line
        ms = int(t * 1000)
        watch.hear_pressure("supply", pressure, ms)
        heard = watch.hear_flow(flow, ms, ms, 20_000)
        if heard.began:
            began = t
        if heard.ended is not None:
            found.append((began, t, heard.ended[0]))
    return Week(true, found)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--weeks", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    plan = SETTINGS.supply
    assert plan is not None
    began = time.process_time()
    true = missed = split = false = 0
    volumes: list[float] = []
    flows: list[float] = []
    statics: list[float] = []
    dynamics: list[float] = []
    for seed in range(asked.weeks):
        one = week(asked.seed * 1000 + seed, plan)
        wanted = [t for t in one.true if t.litres >= LEAST_L]
        true += len(wanted)
        for t in wanted:
            over = [draw for start, end, draw in one.found if start < t.end + 6.0 and end > t.start]
            missed += not over
            split += len(over) > 1
            if len(over) != 1:
                continue
            draw = over[0]
            volumes.append(abs(draw.volume_l / t.litres - 1.0))
            if draw.flow.value is not None and t.litres > 4.0:
                flows.append(abs(draw.flow.value / t.flow - 1.0))
                if draw.supply.value is not None:
                    dynamics.append(abs(draw.supply.value - t.dynamic))
                if draw.static_before_kpa is not None:
                    statics.append(abs(draw.static_before_kpa - 385.0))
        for start, end, _ in one.found:
            false += not any(start < t.end + 6.0 and end > t.start for t in one.true)
    print(
        f"{asked.weeks} weeks, {true} draws of {LEAST_L} L and more: {time.process_time() - began:.0f} s of processor time"
    )
    print(
        f"missed {missed} ({missed / true:.2%}), in pieces or run together {split} ({split / true:.2%}), "
        f"false {false} ({false / asked.weeks:.2f} a week)"
    )
    for name, errors, unit in (
        ("volume", volumes, "of it"), ("flow", flows, "of it"), ("dynamic pressure", dynamics, "kPa"), ("static pressure", statics, "kPa"),
    ):  # fmt: skip
        ordered = sorted(errors)
        scale = 100.0 if unit == "of it" else 1.0
        text = "%" if unit == "of it" else unit
        print(
            f"error of the {name}: median {scale * statistics.median(ordered):.2f} {text}, 95th percentile "
            f"{scale * ordered[min(math.floor(0.95 * len(ordered)), len(ordered) - 1)]:.2f} {text} ({len(ordered)} draws)"
        )


if __name__ == "__main__":
    main()
