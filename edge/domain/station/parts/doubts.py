"""Points that contradict each other: the table of cross checks, told of what is heard and of what happens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from edge.domain.doubts.cross_checks import CrossChecks
from edge.domain.doubts.water_checks import FALL
from edge.domain.entries import Entry, Now, Stamp
from edge.domain.readings import Role
from edge.domain.settings import Point
from edge.domain.station.part import (
    DrawBegan,
    DrawEnded,
    EntriesLost,
    FactAdded,
    Happening,
    Part,
    RecordWeighed,
)


class Doubts(Part):
    """Hears every reading before anything else is made of it. What rests on a doubted point asks the cross checks itself."""

    roles = frozenset(Role)
    folds = frozenset({"contradiction", "advice"})

    def __init__(self, crossed: CrossChecks) -> None:
        self._crossed, self._heard = crossed, crossed.readings.heard

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        self._heard(point.id, value, mono_ms)

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case DrawBegan():
                self._crossed.water.flowed()
            case DrawEnded(draw, is_proved):
                self._crossed.water.drawn(draw, is_proved, now.mono_ms)
            case FactAdded(fact) if fact.record == "calibration" and fact.counts:
                self._crossed.water.compared(fact.body.get("point"))
            case RecordWeighed(record, body):
                self._crossed.readings.recorded(record, body, now.mono_ms)
            case EntriesLost():
                self._crossed.readings.lost()

    def fold(self, entry: Entry) -> None:
        if entry.kind == "contradiction":
            self._crossed.register.take(entry.body)
        elif entry.body["reason"] == FALL:
            self._crossed.water.falls.take(entry.seq, entry.stamp)

    def state(self) -> dict[str, Any]:
        return {"doubts": self._crossed.register.state(), "falls": self._crossed.water.falls.state()}

    def restore(self, state: Mapping[str, Any]) -> None:
        self._crossed.register.restore(state.get("doubts", {}))
        for seq, *at in state.get("falls", ()):
            self._crossed.water.falls.take(int(seq), Stamp(*at))
