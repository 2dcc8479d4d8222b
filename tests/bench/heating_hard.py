"""The hard half of `python -m tests.bench.heating --hard`: plants of simulators/hard_plants.py, of each kind and of all together."""

from __future__ import annotations

from collections.abc import Iterator

from edge.domain.heat_watch import HeatWatch
from simulators.hard_plants import KINDS, hard_plant, heat_up
from tests.bench.heating import HOLD_S, Recorded, empty, judge, report


def hard_plants(number: int, seed: int, kinds: frozenset[str]) -> Iterator[Recorded]:
    """Recorded heat-ups; a plant that never gets there is left out."""
    for i in range(number):
        plant = hard_plant(1_000_000 * seed + i, kinds)
        try:
            rows, reached_s = heat_up(plant, HOLD_S)
        except ValueError:
            continue
        yield Recorded(rows, plant.before_s, plant.target_c, reached_s)


def hard(number: int, seed: int) -> None:
    """Print the figures, all kinds together first."""
    for kinds in (frozenset(KINDS), *(frozenset((kind,)) for kind in KINDS)):
        table, moves, took = empty(), list[bool](), list[float]()
        for seen in hard_plants(number, seed, kinds):
            judge(seen, HeatWatch(), table, moves, took)
        report(f"hard plants, no history, {number} drawn: {', '.join(sorted(kinds))}", table, moves, took)
    print("  goals: median 5 % at 10 min, 3.5 % at 20, 3 % at 40; inside 86 to 96 %")
