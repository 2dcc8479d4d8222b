"""Further probes in the reservoir: each is judged as the first is, and the worst decides."""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.rooms import Rooms
from edge.domain.entries import Now
from edge.domain.heat.balance import HOLD_MS
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.messages import Doubt, difference, name, part, say
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point
from edge.domain.station.judged import UNMET, Judged
from edge.domain.station.part import Part
from edge.domain.station.view import View

#: two probes of one liquid that differ by more than this [K] for so long aren't both right (our own numbers: class B probes are within
#: 0.5 K, leads and mounting add one; layers don't outlast a thermostat's round)
APART_K: Final = 3.0
APART_MS: Final = 1_800_000


class SecondProbes(Part):
    """All probes of the reservoir but the first. They have no condition of their own: the reservoir's asks them (condition.py)."""

    roles = frozenset({Role.RESERVOIR_TEMPERATURE})

    def __init__(self, view: View, warmth: ReservoirMonitor, rooms: Rooms) -> None:
        self._view, self._warmth, self._rooms = view, warmth, rooms
        self._first = view.points.first(Role.RESERVOIR_TEMPERATURE)
        self.points = points = view.points.ids(Role.RESERVOIR_TEMPERATURE)[1:]
        if not points:
            self.roles = frozenset()
        self._warm: dict[str, bool] = dict.fromkeys(points, False)
        self._since_ms: dict[str, int] = {}
        self._hot = {point: Ceiling() for point in points}
        self._beyond_label = {point: Ceiling() for point in points}
        self._apart_ms: dict[str, int] = {}  # since when one reads otherwise than the first
        self._apart: set[str] = set()  # and has done so for long

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if point.id in self._warm:
            was = self._state(point.id)
            self._hear(point.id, value, mono_ms)
            self._view.changed(was != self._state(point.id))

    def _hear(self, point: str, liquid_c: float, mono_ms: int) -> None:
        warmth = self._warmth
        guard, room_c = self._view.watches[point].guard, self._rooms.room_now(mono_ms)
        enter, leave = (limit + guard for limit in warmth.limits(room_c))
        if liquid_c < (leave if self._warm[point] else enter) - AT_LIMIT:
            self._warm[point] = False
            self._since_ms.pop(point, None)
        elif mono_ms - self._since_ms.setdefault(point, mono_ms) >= HOLD_MS:
            self._warm[point] = True
        self._hot[point].see(liquid_c + guard, warmth.plan.maximum_c, mono_ms)
        basin_c = warmth.basin_c(liquid_c, room_c, warmth.share.hot)
        self._beyond_label[point].see(basin_c + guard, warmth.plan.contact_max_c, mono_ms)
        self._compare(point, liquid_c, mono_ms)

    def _state(self, point: str) -> tuple[bool, ...]:
        return self._warm[point], self._hot[point].over, self._beyond_label[point].over, point in self._apart

    def _compare(self, point: str, liquid_c: float, mono_ms: int) -> None:
        """Two probes of one liquid read the same but for what they are uncertain by, and for layers that don't last."""
        first = self._view.value(self._first, mono_ms)
        if first is None or abs(liquid_c - first) <= APART_K:
            self._apart_ms.pop(point, None)
            self._apart.discard(point)
        elif mono_ms - self._apart_ms.setdefault(point, mono_ms) >= APART_MS:
            self._apart.add(point)

    def judge(self, one: Judged, now: Now) -> Judged:
        """The reservoir's condition, met by the first point, by the others."""
        view = self._view
        for point in self.points:
            watch = view.watches[point]
            value = watch.value(now.mono_ms)
            if value is None:
                unheard = say("second_probe.unknown", point=name(point), why=part(view.why_silent(point)))
                return one.doubted(unheard, view.advice(point))
            here = part(
                say(
                    "second_probe",
                    point=name(point),
                    here=view.reading(point, value),
                    nominal=part(view.nominal(point)),
                )
            )
            if not watch.is_sure:
                doubt = watch.doubt or Doubt(say("reason.perhaps_stuck"), say("reason.perhaps_stuck.advice"))
                doubtful = say("second_probe.doubtful", here=here, why=part(doubt.cause))
                return one.doubted(doubtful, doubt.advice)
            if self._hot[point].over:
                return Judged(
                    UNMET, say("second_probe.above_maximum", here=here), ask=say("reservoir.above_maximum.ask")
                )
            if self._beyond_label[point].over:
                return Judged(UNMET, say("second_probe.above_label", here=here), ask=say("reservoir.above_label.ask"))
            if not self._warm[point]:
                return Judged(UNMET, say("second_probe.too_cold", here=here), mends=True)
            if point in self._apart and self._first is not None:
                apart = say("second_probe.apart", here=here, by=difference(Kind.TEMPERATURE, APART_K))
                ask = say("second_probe.apart.ask", first=name(self._first), point=name(point))
                return one.doubted(say("but", first=part(one.text), then=part(apart)), ask)
        return one
