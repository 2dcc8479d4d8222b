"""Is READY ever wrong? A random search: `python -m tests.bench.truth [--days 200] [--seed 1] [--only KIND] [--shrink SEED] [--quick]`.

Each day is composed at random of sensor faults, records right and wrong, clocks that step, and restarts (truth_day.py), run over a
plant whose truth is known (truth_run.py), and judged by what is truly so and could have been told (truth_oracle.py). Each tenth day is
free of faults: what alarms and what stays unknown there, though all is well, is counted. Exits 1 where READY was wrong.

Days have liquid poured in, a lid left open and further cycles, too; some run over the real journal on disk, whose files are
lost, cut, or put back from a copy; some stations lack a meter, a room's probe or a gauge, or have
two basins. `--shrink SEED` drops ingredients until only
those are left that make a wrong; `--smallest` does so for each new kind. Some days are among the tests; kinds that are known and open
stand in `OPEN` of tests/unit/bench/test_truth.py.

`--quick` makes the time to temperature of fewer hypotheses: three times as many days, with the same words of the verdict but where a
heat-up is remembered otherwise.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace
from unittest.mock import patch

from tests.bench.truth_day import KINDS, LACKS, MORE, PLANT, Composed, compose
from tests.bench.truth_oracle import KINDS as WRONGS
from tests.bench.truth_run import Found, Run

#: on a day without faults this is as it should be: it is due each morning
ORDINARY = frozenset({"duty_due:daily_test"})
#: of the fit of heat-ups, for a quick search
FEWER = {"HYPOTHESES": 24, "N_LEARNED": 20, "N_BROAD": 8, "MAX_REPLAYED": 0}


def shrunk(composed: Composed, kind: str) -> Composed:
    """The day with as few of its ingredients as make the same kind of wrong."""
    at = 0
    while at < len(composed.ingredients):
        fewer = replace(composed, ingredients=composed.ingredients[:at] + composed.ingredients[at + 1 :])
        if kind in Run(fewer).run().wrong_s:
            composed = fewer
        else:
            at += 1
    return composed


def described(composed: Composed) -> str:
    """Its ingredients, in words."""
    words = " + ".join(map(str, composed.ingredients)) or "nothing but the ordinary day"
    words += "; thermometer read by eye" if composed.by_eye else ""
    words += "".join(f"; no {what}" if what in LACKS else f"; {what}" for what in sorted(composed.station))
    return words + ("; journal on disk" if composed.on_disk else "")


class Search:
    """Many days, and what they came to."""

    def __init__(self) -> None:
        self.minutes: Counter[str] = Counter()
        self.seeds: defaultdict[str, list[int]] = defaultdict(list)
        self.by_cause: dict[tuple[str, str], tuple[int, Composed, str]] = {}
        self.crashes: list[str] = []
        self.quiet_days = self.unknown_s = 0
        self.alarms: Counter[str] = Counter()

    def add(self, composed: Composed, found: Found, shrink: bool) -> None:
        """One more day. With `shrink` each new pair of wrong and causes is kept once, as small as it gets."""
        if not composed.ingredients:
            self.quiet_days += 1
            self.unknown_s += found.unknown_s
            self.alarms += Counter({a: n for a, n in found.alarms.items() if a not in ORDINARY})
        if found.crash:
            self.crashes.append(f"seed {composed.seed}: {found.crash}; {described(composed)}")
        for kind, seconds in found.wrong_s.items():
            self.minutes[kind] += seconds
            self.seeds[kind].append(composed.seed)
            if not shrink:
                continue
            causes = {i.kind for i in composed.ingredients}
            if any(w == kind and set(c.split("+")) <= causes for w, c in self.by_cause):
                continue  # a smaller one has been found
            small = shrunk(composed, kind)
            key = kind, "+".join(sorted({i.kind for i in small.ingredients}))
            self.by_cause[key] = composed.seed, small, Run(small).run().first[kind]

    def report(self, days: int, took_s: float) -> bool:
        """Print; was READY never wrong?"""
        print(f"{days} days composed and run in {took_s:.0f} s ({took_s / max(days, 1):.2f} s a day)")
        for kind in sorted(self.minutes, key=lambda k: -len(self.seeds[k])):
            seeds = self.seeds[kind]
            shown = ", ".join(map(str, seeds[:8])) + (", …" if len(seeds) > 8 else "")
            print(f"WRONG READY {kind}: {self.minutes[kind] // 60} min on {len(seeds)} days, seeds {shown}")
        for (kind, _), (seed, small, relied) in sorted(self.by_cause.items()):
            print(f"  {kind}, seed {seed}: {described(small)}\n    {relied}")
        for crash in self.crashes:
            print(f"FAULT {crash}")
        n = max(self.quiet_days, 1)
        alarms = ", ".join(f"{a} {k / n:.2f}" for a, k in sorted(self.alarms.items())) or "none"
        print(
            f"on {self.quiet_days} days without a fault: unknown though all was well {self.unknown_s / 60 / n:.1f} min a day"
        )
        print(f"  alarms a day: {alarms}")
        if not self.minutes and not self.crashes:
            print("READY was never wrong")
        return not self.minutes and not self.crashes


def main(arguments: Sequence[str] | None = None) -> int:
    """Search; 1 where READY was wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.truth", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--days", type=int, default=200, help="how many days")
    parser.add_argument("--seed", type=int, default=1, help="the first day's seed")
    parser.add_argument(
        "--only", choices=sorted({*KINDS, *MORE, *PLANT}), default="", help="each day has this ingredient"
    )
    parser.add_argument("--wrong", choices=WRONGS, default="", help="look for this kind of wrong alone")
    parser.add_argument(
        "--smallest", action="store_true", help="drop ingredients until each wrong has as few as it needs"
    )
    parser.add_argument("--shrink", type=int, metavar="SEED", help="this day alone, made as small as it gets")
    parser.add_argument("--quick", action="store_true", help="with a coarser time to temperature")
    given = parser.parse_args(arguments)
    if given.quick:
        with patch.multiple("edge.domain.heat.warmup_fit", **FEWER):
            return searched(given)
    return searched(given)


def searched(given: argparse.Namespace) -> int:
    """As the command line asked for; 1 where READY was wrong."""
    first, days = (given.seed, given.days) if given.shrink is None else (given.shrink, 1)
    search, began = Search(), time.monotonic()
    seed = first - 1
    try:
        for seed in range(first, first + days):
            search_day(given, search, seed)
    except KeyboardInterrupt:  # what was run until then is said
        days = max(seed - first, 0)
    return 0 if search.report(days, time.monotonic() - began) else 1


def search_day(given: argparse.Namespace, search: Search, seed: int) -> None:
    """Compose a day, run it, and keep what was wrong."""
    composed = compose(seed, given.only)
    found = Run(composed).run()
    if given.wrong:
        found.wrong_s = Counter({k: s for k, s in found.wrong_s.items() if k == given.wrong})
    search.add(composed, found, given.smallest or given.shrink is not None)
    if given.shrink is not None:
        print(f"seed {seed}: {described(composed)}")


if __name__ == "__main__":
    sys.exit(main())
