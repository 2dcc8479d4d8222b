"""The heated liquid: what its probe and the room's say, and whether it is warm enough."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from edge.domain.doubts.rooms import Rooms
from edge.domain.entries import Entry, Now
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.readings import Role
from edge.domain.settings import Point
from edge.domain.station.part import (
    FactAdded,
    FactsRedated,
    Happening,
    Judge,
    LiquidMoved,
    Part,
    PhaseChanged,
    PointSilent,
    PowerChanged,
    Recalibrated,
    RecordKept,
    RestChanged,
)
from edge.domain.station.parts.reservoir.condition import ReservoirCondition
from edge.domain.station.view import View


class Reservoir(Part):
    """Follows the liquid. Its alarms are a part of their own (alarms.py), as they wait for what the machine does; so are its estimates.

    Args:
        warmth: what is known of the liquid, its heating and its losses.
        rooms: the room to reckon with.
        water_c: how cold the supply's water is, which a share of the loss goes into [Cel]; None where nothing tells.
        condition: judges it.
    """

    roles = frozenset({Role.RESERVOIR_TEMPERATURE, Role.ROOM_TEMPERATURE})
    folds = frozenset({"heat_up", "cool_down"})

    def __init__(
        self,
        view: View,
        warmth: ReservoirMonitor,
        rooms: Rooms,
        water_c: Callable[[Now], float | None],
        condition: ReservoirCondition,
    ) -> None:
        self._view, self._warmth, self._rooms, self._water_c, self._condition = view, warmth, rooms, water_c, condition
        self._point = view.points.first(Role.RESERVOIR_TEMPERATURE)
        self._has_moved = False

    # -- what is heard and what happens

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if point.role is Role.ROOM_TEMPERATURE:
            self._has_moved = True
            self._warmth.hear_room(value, mono_ms)
        elif point.id == self._point:
            self._has_moved = True
            event = self._warmth.hear(value, self._rooms.room_now(mono_ms), mono_ms)
            if event is not None:
                self._view.happen(LiquidMoved(event), now)

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case FactAdded(fact):
                if fact.counts:
                    self._warmth.poured_ms = self._view.book.poured_ms()
                    self._warmth.recorded(fact.record, fact.body)
            case FactsRedated():
                self._warmth.poured_ms = self._view.book.poured_ms()
            case Recalibrated(point, by) if point == self._point:
                self._warmth.recalibrated(by)
            case PointSilent(point):
                if point == self._point:
                    self._warmth.forget()
                elif point in self._rooms.points:
                    self._has_moved = True
            case RecordKept() | PowerChanged() | PhaseChanged() | RestChanged():
                self._has_moved = True

    def advance(self, now: Now) -> None:
        if self._has_moved or self._warmth.hold_ends_ms is not None:
            self._look(now)

    def _look(self, now: Now) -> None:
        if self._point is None:
            return
        watch, warmth = self._view.watches[self._point], self._warmth
        liquid = watch.value(now.mono_ms)
        if liquid is None:
            warmth.forget()
            return
        room_c = self._rooms.room_now(now.mono_ms)
        if warmth.plan.supply_share:
            warmth.supply_is(self._water_c(now))
        warmth.guard_k = watch.guard
        changed, became_warm = warmth.look(liquid, watch.good_ms, room_c, not watch.is_sure, now)
        self._view.changed(changed)
        body = warmth.heat_up(room_c, now) if became_warm else None
        if body is not None:
            self._view.note("heat_up", body, now)

    def take_moved(self) -> bool:
        """Has anything come that its alarms go by since this was last asked?"""
        moved, self._has_moved = self._has_moved, False
        return moved

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        if self._warmth.hold_ends_ms is not None:
            yield self._warmth.hold_ends_ms
        ends = self._warmth.cycle.next_deadline_ms()
        if ends is not None and ends > now.mono_ms:
            yield ends

    # -- what others ask

    def conditions(self) -> Mapping[str, Judge]:
        return {"reservoir": self._condition.judge}

    # -- after a restart

    def fold(self, entry: Entry) -> None:
        (self._warmth.learn if entry.kind == "heat_up" else self._warmth.cool.learn)(entry.body)

    def state(self) -> dict[str, Any]:
        return self._warmth.state()

    def restore(self, state: Mapping[str, Any]) -> None:
        self._warmth.poured_ms = self._view.book.poured_ms()
        self._warmth.restore(state)
