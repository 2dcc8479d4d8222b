"""How leaks are found, and what is taken for one, over random weeks: `python -m tests.bench.leaks [--weeks 20] [--seed N]`.

Weeks of draws (tests/bench/draws.py), read every 10 s. In a third nothing leaks; in a third water drips behind the meter from a random
hour on, some of it less than a pulse meter's wheel turns at; in a third the stop valve is shut after the day and the line behind it
loses its pressure. Meters: noise around zero, or pulses of a wheel, with stray pulses at night. Supplies: steady, with neighbours who
draw, from a tank with a pump. The limit is the station file's example: 2 L within 6 h.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import time
from dataclasses import dataclass

from edge.domain.settings import Supply
from edge.domain.water.draws import DrawDetector
from tests.bench.draws import WEEK_S, Truth, draws_of
from tests.unit.stations import PSI, SETTINGS

EVERY_S = 10
STALLS_L_MIN = 0.03


@dataclass
class Leaky:
    """One week: what leaked, and what was told. s, L/min."""

    kind: str
    drip: float
    seen: float
    began: float
    told_flow: float | None = None
    told_bleed: float | None = None
    night: float | None = None
    supply: str = ""


class Supplying:
    """The building's static pressure [kPa] by time."""

    def __init__(self, rng: random.Random) -> None:
        self.kind = rng.choice(("steady", "neighbours", "pump"))
        self._rng, self._sag_until, self._sag = rng, 0.0, 0.0
        self._cycle, self._phase = rng.uniform(600.0, 5400.0), rng.uniform(0.0, 1.0)

    def kpa(self, t: float) -> float:
        """Now."""
        if self.kind == "pump":
            return (60.0 - 20.0 * ((t / self._cycle + self._phase) % 1.0)) * PSI
        if self.kind == "neighbours" and t > self._sag_until and self._rng.random() < 0.01:
            self._sag_until, self._sag = t + self._rng.expovariate(1 / 120.0), self._rng.uniform(10.0, 120.0)
        return 385.0 + 10.0 * math.sin(t / 13_000.0) - (self._sag if t < self._sag_until else 0.0)


def week(seed: int, kind: str, plan: Supply) -> Leaky:
    """One week through the watch."""
    rng = random.Random(seed)
    true: list[Truth] = draws_of(rng)
    wheel, supply = rng.random() < 0.5, Supplying(rng)
    drip = math.exp(rng.uniform(math.log(0.003), math.log(0.3))) if kind == "drip" else 0.0
    out = Leaky(
        kind, drip, 0.0 if wheel and drip < STALLS_L_MIN else drip, rng.uniform(0.0, 0.7) * WEEK_S, supply=supply.kind
    )
    tau_s = math.exp(rng.uniform(math.log(600.0), math.log(4 * 3600.0)))
    shut_day, noise = rng.randint(0, 4), rng.uniform(0.01, 0.05)
    shut = (shut_day * 86_400 + 22 * 3600.0, (shut_day + 1) * 86_400 + 5.5 * 3600.0)
    if kind == "bleed":
        out.began = shut[0]
    watch, at, level = DrawDetector(plan), 0, 0.0
    for step in range(WEEK_S // EVERY_S):
        t = step * EVERY_S + rng.uniform(0.0, 0.1)
        while at < len(true) and true[at].end < t:
            at += 1
        now = true[at] if at < len(true) and true[at].start <= t else None
        leak = out.seen if kind == "drip" and t >= out.began else 0.0
        flow = leak + (now.flow if now else 0.0) + (0.0 if wheel else rng.gauss(0.0, noise))
        if wheel and now is None and rng.random() < 6.0 * EVERY_S / 86_400:
            flow += 60.0 / 450.0 / EVERY_S  # one stray pulse of 450 a litre
        kpa = supply.kpa(t)
        if kind == "bleed" and shut[0] <= t < shut[1]:
            level = kpa if t - shut[0] < EVERY_S else level * math.exp(-EVERY_S / tau_s)
            kpa = level
        ms = int(t * 1000)
        watch.hear_pressure("supply", (now.dynamic if now else kpa) + rng.gauss(0.0, 0.5), ms)
        watch.hear_flow(max(flow, 0.0) if wheel else flow, ms, ms, 60_000)
        if out.told_flow is None and watch.leaked.litres > (plan.leak_volume_l or 2.0):
            out.told_flow = t
        if out.told_bleed is None and watch.decay.bled is not None:
            out.told_bleed = t
    out.night = watch.night.least_l_min
    return out


def share(values: list[bool]) -> str:
    return f"{sum(values)} of {len(values)}"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--weeks", type=int, default=60, help="weeks of all three kinds together")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    plan = SETTINGS.supply
    assert plan is not None
    began = time.process_time()
    outs = [week(asked.seed * 1000 + n, ("none", "drip", "bleed")[n % 3], plan) for n in range(asked.weeks)]
    print(f"{asked.weeks} weeks: {time.process_time() - began:.0f} s of processor time")
    none, drips, bleeds = ([o for o in outs if o.kind == kind] for kind in ("none", "drip", "bleed"))
    wrong = [o for o in outs if (o.told_flow is not None and (o.kind != "drip" or o.told_flow < o.began))]
    print(f"false, by volume: {share([o in wrong for o in outs])} weeks")
    early = [o.told_bleed is not None and (o.kind != "bleed" or o.told_bleed < o.began) for o in outs]
    pumps = [wrong for wrong, o in zip(early, outs, strict=True) if o.supply == "pump"]
    print(f"false, by pressure that bleeds away: {share(early)} weeks; with a pump {share(pumps)}")
    limit = (plan.leak_volume_l or 2.0) / ((plan.leak_within_ms or 1) / 60_000.0)
    for name, low, high in (
        ("below the limit's rate", 0.0, limit),
        ("up to 4 times it", limit, 4 * limit),
        ("more", 4 * limit, 9.0),
    ):
        some = [o for o in drips if low <= o.seen < high]
        if some:
            waits = [(o.told_flow - o.began) / 3600.0 for o in some if o.told_flow is not None]
            after = f", after a median of {statistics.median(waits):.1f} h" if waits else ""
            print(
                f"drips the meter sees, {name} ({limit * 1000:.1f} mL/min): told {share([o.told_flow is not None for o in some])}{after}"
            )
    slow = [abs((o.night or 0.0) - o.seen) for o in drips if o.seen > 0.0 and o.night is not None]
    print(f"least flow of the last night against the drip: median error {1000 * statistics.median(slow):.2f} mL/min;")
    print(f"    where nothing leaks: at most {1000 * max(o.night or 0.0 for o in none):.2f} mL/min")
    waits = [(o.told_bleed - o.began) / 60.0 for o in bleeds if o.told_bleed is not None]
    after = f"after a median of {statistics.median(waits):.0f} min" if waits else ""
    print(
        f"lines that lose their pressure behind a shut valve: told {share([o.told_bleed is not None for o in bleeds])}, {after}"
    )


if __name__ == "__main__":
    main()
