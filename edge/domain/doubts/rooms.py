"""The room: which of its points are believed, and what is reckoned with where none is."""

from __future__ import annotations

from collections.abc import Mapping

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.table import (
    ASSUMED_ROOM_C,
    COOLER_BY_K,
    HEATED_C,
    ROOM_AGAIN_MS,
    ROOM_BAND_K,
    WARMEST_ROOM_C,
)
from edge.domain.messages import celsius, name, part, say
from edge.domain.readings import Role
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings


class Rooms:
    """The rooms' points of a station, each held against what a used room can be and against the liquid beside it.

    Args:
        watches: the monitor of every point, by its id.
        doubts: where those that fail are written down.
    """

    def __init__(self, settings: Settings, watches: Mapping[str, PointMonitor], doubts: DoubtRegister) -> None:
        self._settings, self._watches, self._doubts = settings, watches, doubts
        self.points = [p.id for p in settings.points if p.role is Role.ROOM_TEMPERATURE]
        self._liquids = [p.id for p in settings.points if p.role is Role.RESERVOIR_TEMPERATURE]
        self._room_ms: dict[str, int] = {}  # since when a doubted room's reading has been plausible

    def heard(self, point: str, room_c: float, mono_ms: int) -> None:
        """A good reading of one of them."""
        doubted = point in self._doubts.doubts.get("room_warm", {})
        band = ROOM_BAND_K if doubted else 0.0
        liquids = [c for p in self._liquids if (c := self._watches[p].value(mono_ms)) is not None and c >= HEATED_C]
        most = min([WARMEST_ROOM_C, *(c - COOLER_BY_K for c in liquids)]) - band
        if room_c > most + AT_LIMIT:
            self._room_ms.pop(point, None)
            if not doubted:
                than, named = say("doubt.room_warm.than_rooms"), [point]
                if most != WARMEST_ROOM_C:
                    than = say("doubt.room_warm.than_liquid", liquid=celsius(min(liquids)))
                    named += self._liquids
                cause = say(
                    "doubt.room_warm",
                    point=name(point),
                    here=celsius(room_c, point),
                    says=part(say("check.room_warm")),
                    than=part(than),
                )
                self._doubts.begin("room_warm", [point], cause, named)
        elif doubted and mono_ms - self._room_ms.setdefault(point, mono_ms) >= ROOM_AGAIN_MS:
            self._room_ms.pop(point)
            self._doubts.change([point], None, say("doubt.room_warm.over", point=name(point)), "room_warm")

    def room_c(self, mono_ms: int) -> float | None:
        """The coldest of the rooms' points that aren't doubted [Cel]; None where there is none."""
        coldest: float | None = None
        for point in self.points:
            watch = self._watches[point]
            room_c = None if watch.doubt is not None else watch.value(mono_ms)
            if room_c is not None and (coldest is None or room_c < coldest):
                coldest = room_c
        return coldest

    def room_now(self, mono_ms: int) -> float:
        """The room to judge with [Cel]: as read, else as declared or assumed; a colder reading that is doubted counts then as well."""
        room = self.room_c(mono_ms)
        if room is not None:
            return room
        plan = self._settings.reservoir
        doubted = [c for p in self.points if (c := self._watches[p].value(mono_ms)) is not None]
        return min([ASSUMED_ROOM_C if plan is None or plan.coldest_room_c is None else plan.coldest_room_c, *doubted])

    def room_or_assumed(self, mono_ms: int) -> tuple[float, bool]:
        """(the room to judge with [Cel], is it assumed)."""
        return self.room_now(mono_ms), self.room_c(mono_ms) is None
