"""The hard half of `python -m tests.bench.heating --hard`, on plants of simulators/physics/hard_plants.py.

Moderate plants with mains, lid and wall at once, a mix with one hardship or two, each hardship alone; then harsh ones with all.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from edge.domain.heat.warmup import WarmUpEstimator
from simulators.physics.hard_plants import KINDS, hard_plant, heat_up, moderate_kinds
from tests.bench.heating import HOLD_S, Recorded, empty, judge, report

THREE: Final = frozenset({"mains", "lid", "wall"})
MIX: Final = "one or two at a time"


def hard_plants(number: int, seed: int, kinds: frozenset[str] | None, *, moderate: bool) -> Iterator[Recorded]:
    """Recorded heat-ups, with one hardship or two where no kinds are told; a plant that never gets there is left out."""
    for i in range(number):
        at = 1_000_000 * seed + i
        plant = hard_plant(at, moderate_kinds(at) if kinds is None else kinds, moderate=moderate)
        try:
            rows, reached_s = heat_up(plant, HOLD_S)
        except ValueError:
            continue
        yield Recorded(rows, plant.before_s, plant.target_c, reached_s)


def hard(number: int, seed: int) -> None:
    """Print the figures: moderate plants with three hardships, with one or two, with each alone; harsh ones with all."""
    goals = "goals: median 5 % at 10 min, 3.5 % at 20, 3 % at 40; inside 86 to 96 %"
    sets: list[tuple[str, frozenset[str] | None, bool]] = [("mains, lid and wall", THREE, True), (MIX, None, True)]
    sets += [(kind, frozenset((kind,)), True) for kind in KINDS]
    sets.append(("all at once, harsh: no goal", frozenset(KINDS), False))
    for name, kinds, moderate in sets:
        table, moves, took = empty(), list[bool](), list[float]()
        for seen in hard_plants(number, seed, kinds, moderate=moderate):
            judge(seen, WarmUpEstimator(), table, moves, took)
        report(f"hard plants, no history, {number} drawn: {name}", table, moves, took)
    print(f"  {goals}")
