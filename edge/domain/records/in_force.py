"""Which calibration of a point is in force, by the records of it."""

from __future__ import annotations

from collections.abc import Iterable

from edge.domain.records.fact import Fact
from edge.domain.sensing.calibration import applies
from edge.domain.settings import Point


def newest(facts: Iterable[Fact], point: Point, *, checks: bool = False) -> Fact | None:
    """The newest calibration that counts, if it is about the present sensor and transducer of a point.

    Args:
        facts: in the order of the journal.
        checks: those that adjusted nothing too.
    """
    found: Fact | None = None
    for fact in facts:
        if fact.record != "calibration" or not fact.counts or fact.body.get("point") != point.id:
            continue
        if (checks or fact.body.get("adjust") is not False) and (found is None or fact.at_ms >= found.at_ms):
            found = fact
    return found if found is not None and applies(found.body, point) else None
