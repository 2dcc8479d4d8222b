"""Which holds stand, and which releases answer for what only a person can answer for. Pure, and in the order of the journal.

A release is judged by what stood when it was recorded: a hold that was taken back later stood then, so whoever released it answered
for nothing behind it; and one that was taken back then, and given back since, was not released by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from edge.domain.records.fact import Fact


class Holding(NamedTuple):
    """`holds`: those that stand. `answers`: ids (of the objects) of the releases that name no hold and found none."""

    holds: list[Fact]
    answers: set[int]


def names_no_hold(release: Any) -> bool:
    """A release that names a hold, or the basin that was held, answers for that only."""
    return release.get("name") is None and release.get("basin") is None


def ends(release: Any, hold: Fact) -> bool:
    """Is a hold one that this release is about: of the name, and of the basin, that it names? It need name neither."""
    return all(release.get(key) in (None, hold.body.get(key)) for key in ("name", "basin"))


def holding(facts: Sequence[Fact]) -> Holding:
    """Go through the facts as they came.

    A release counts as it does now: one that was taken back ended nothing. Of holds and corrections it matters what they were then.
    """
    by_seq: dict[Any, Fact] = {fact.seq: fact for fact in facts if fact.record in ("hold", "correction")}
    counts: dict[int, bool] = {}  # id -> does it count by now?
    standing: list[Fact] = []
    away: set[int] = set()  # ids of holds that stood when they were taken back
    answers: set[int] = set()
    for fact in facts:
        if fact.record == "hold":
            counts[id(fact)] = _did_count(fact)
            standing += [fact] if counts[id(fact)] else []
        elif fact.record == "correction":
            counts[id(fact)] = counted = _did_count(fact)
            of, now = by_seq.get(fact.body["of"]) if counted else None, False
            while of is not None and counts.get(id(of), now) is not now:
                counts[id(of)] = now
                if of.record == "hold" and not now:
                    away |= {id(of)} if any(hold is of for hold in standing) else set()
                    standing = [hold for hold in standing if hold is not of]
                elif of.record == "hold" and id(of) in away:
                    away.discard(id(of))
                    standing.append(of)
                of, now = by_seq.get(of.body["of"]) if of.record == "correction" else None, not now
        elif fact.record == "release" and fact.counts:
            if not standing and names_no_hold(fact.body):
                answers.add(id(fact))
            standing = [hold for hold in standing if not ends(fact.body, hold)]
    return Holding(standing, answers)


def _did_count(fact: Fact) -> bool:
    """Did it count, or bind all the same, when it was recorded?"""
    return fact.counts or bool(fact.body.get("counts") or fact.body.get("stands"))
