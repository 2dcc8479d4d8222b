"""Each point by itself and against the others, reading by reading: frozen, stuck, jumping, swinging, too cold beside its room.

A frozen reservoir probe beside a room that moves is detected in point_monitor.py as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot
from typing import Any, Final

from edge.domain.doubts.basin import COLDER_K, Resting
from edge.domain.doubts.liquid import Liquids, tells_of
from edge.domain.doubts.noise import Stills
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.rooms import Rooms
from edge.domain.doubts.swings import Swings
from edge.domain.doubts.together import Together
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.transfer_loss import UNSTATED_U_K
from edge.domain.messages import Doubt, celsius, difference, duration, name, names, part, say
from edge.domain.readings import Kind, Role
from edge.domain.sensing.calibration import K_CALIBRATED
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings

#: A probe that has shown this many different values isn't stuck.
MOVES: Final = 3
#: A liquid nearer to its room than this may rest [K].
FAR_FROM_ROOM_K: Final = 5.0


class ReadingChecks:
    """Hears every good reading before it is used for anything else.

    Args:
        watches: the monitor of every point, by its id.
        rooms: which room to reckon with.
        doubts: where those that fail are written down.
        warmth: the reservoir's heating and losses; None where there is none.
    """

    def __init__(
        self, settings: Settings, watches: Mapping[str, PointMonitor], rooms: Rooms, doubts: DoubtRegister, warmth: ReservoirMonitor | None
    ) -> None:  # fmt: skip
        self._watches, self._rooms, self._doubts = watches, rooms, doubts
        self._stills = {
            ident: Stills(watch.point.kind, watch.point.stale_after_ms, watch.point.role is Role.RESERVOIR_TEMPERATURE)
            for ident, watch in watches.items()
            if watch.point.kind is not Kind.CONTACT and not watch.point.by_people
        }
        self._together = Together(settings.points, self._stills)
        liquids = [p.id for p in settings.points if p.role is Role.RESERVOIR_TEMPERATURE]
        self._swings = {ident: Swings() for ident in liquids if ident in self._stills}
        self._shown: dict[str, set[float]] = {}  # values shown by each liquid's point that has to move first
        self._warmth = warmth
        self._flowed_ms: int | None = None  # when the meter last showed any flow
        self._basins = {
            p.id: Resting() for p in settings.points if p.role is Role.BASIN_TEMPERATURE and not p.by_people
        }
        self._liquid: Liquids | None = None
        if warmth is not None and liquids:
            self._liquid = Liquids(
                settings, watches, warmth, rooms.room_c, doubts.doubts,
                begin=lambda check, point, cause, named: doubts.begin(check, [point], cause, named),
                end=lambda check, point, cause: doubts.change([point], None, cause, check),
            )  # fmt: skip

    def heard(self, point: str, value: float, mono_ms: int) -> None:
        """Take a good reading of any point, before it is used for anything else."""
        stills = self._stills.get(point)
        if stills is None:
            if self._liquid is not None:
                self._liquid.contact(point, value, mono_ms)
            return
        role = self._watches[point].point.role
        if role is Role.ROOM_TEMPERATURE:
            self._rooms.heard(point, value, mono_ms)
        elif role is Role.SUPPLY_FLOW:
            if value <= 0.0:
                stills.rest()
                return
            self._flowed_ms = mono_ms
        elif role is Role.BASIN_TEMPERATURE:
            self._look_at_basin(point, value, mono_ms)
        frozen = stopped = False
        if self._doubts.doubts:
            frozen, stopped = (
                point in self._doubts.doubts.get("frozen", {}),
                point in self._doubts.doubts.get("stopped", {}),
            )
        if mono_ms >= self._together.look_ms and not stopped:
            self._look_together(mono_ms)
        if stills.moves(value, mono_ms, frozen):
            if frozen:
                self._doubts.change([point], None, say("doubt.moves_again", point=name(point)), "frozen")
            if stopped:
                self._doubts.end("stopped", say("doubt.moves_again", point=name(point)))
        elif (
            not (frozen or stopped)
            and (found := stills.too_still(mono_ms)) is not None
            and self._must_move(point, value, mono_ms)
        ):
            still, longest = map(duration, found)
            self._doubts.begin("frozen", [point], say("doubt.frozen", point=name(point), still=still, longest=longest))
        if point in self._swings:
            in_cycle = self._in_cycle(mono_ms)
            if in_cycle:
                stills.unheld(mono_ms)
            if point in self._doubts.doubts.get("unmoved", {}):
                self._look_whether_it_moves(point, value)
            self._look_at_swings(point, value, in_cycle, mono_ms)
            if self._liquid is not None:
                self._liquid.hear(point, value, mono_ms)

    def recorded(self, record: str, body: Mapping[str, Any], mono_ms: int) -> None:
        """Take a record."""
        if self._liquid is not None:
            self._liquid.recorded(record, body, mono_ms)
        for point in [
            p for p in self._doubts.doubts.get("basin_cold", {}) if body.get("counts") and tells_of(record, body, p)
        ]:
            cause = say("doubt.explained", point=name(point), record=name(record))
            self._doubts.change([point], None, cause, "basin_cold")

    def _look_at_basin(self, point: str, basin_c: float, mono_ms: int) -> None:
        if mono_ms < self._basins[point].look_ms:
            return
        if self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms):
            self._flowed_ms = mono_ms  # the liquid comes into the basin, and rinses follow
        room_c = self._rooms.room_c(mono_ms)
        us = [UNSTATED_U_K if (u := self._watches[p].u) is None else u for p in (point, *self._rooms.points[:1])]
        found = self._basins[point].hear(basin_c, room_c, K_CALIBRATED * hypot(*us), self._flowed_ms, mono_ms)
        doubted = point in self._doubts.doubts.get("basin_cold", {})
        if found is None or found is doubted or room_c is None:
            return
        if found:
            cause = say(
                "doubt.basin_cold",
                point=name(point),
                here=celsius(basin_c, point),
                room=celsius(room_c),
                colder=difference(Kind.TEMPERATURE, COLDER_K),
            )
            self._doubts.begin("basin_cold", [point], cause, [point, *self._rooms.points])
        else:
            self._doubts.change([point], None, say("doubt.basin_cold.over", point=name(point)), "basin_cold")

    def _look_together(self, mono_ms: int) -> None:
        stopped = self._together.look(self._doubts.doubts.get("frozen", {}), mono_ms)
        if stopped is None or "stopped" in self._doubts.doubts:
            return
        cause = say("doubt.stopped", points=names(stopped.points), still=duration(mono_ms - stopped.since_ms))
        self._doubts.begin("stopped", stopped.points, cause)
        for point in stopped.points:
            if point in self._stills:
                self._stills[point].disown()

    def _look_at_swings(self, point: str, value: float, in_cycle: bool, mono_ms: int) -> None:
        swings, raw, doubted = (
            self._swings[point],
            self._watches[point].raw,
            point in self._doubts.doubts.get("toggling", {}),
        )
        seen = value if raw is None else raw
        if not doubted and in_cycle:
            swings.pause(seen, mono_ms)
        elif swings.hear(seen, mono_ms, doubted):
            if doubted:
                self._doubts.change([point], None, say("doubt.toggling.over", point=name(point)), "toggling")
        elif not doubted and (found := swings.stuck(mono_ms)) is not None and self._must_move(point, value, mono_ms):
            rests, longest = map(duration, found)
            cause = say("doubt.toggling", point=name(point), rests=rests, longest=longest)
            self._doubts.begin("toggling", [point], cause)

    def _in_cycle(self, mono_ms: int) -> bool:
        """Has a cycle taken the liquid, or is it heated again after one? A suspected cycle doesn't count: open lids look alike."""
        return self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms)

    def _must_move(self, point: str, value: float, mono_ms: int) -> bool:
        """Must this point's reading move? A liquid that has come to its room's temperature may rest."""
        if self._watches[point].point.role is not Role.RESERVOIR_TEMPERATURE:
            return True
        room = self._rooms.room_c(mono_ms)
        return room is None or abs(value - room) > FAR_FROM_ROOM_K

    def lost(self) -> None:
        """Doubt the liquid's probes until they move: lost entries may have held a doubt of a frozen one. The loss has its own entry."""
        for point in self._swings:
            self._shown.pop(point, None)
            cause = say("doubt.of", points=names([point]), says=part(say("check.unmoved")))
            self._doubts.put("unmoved", [point], Doubt(cause, say("check.unmoved.advice")))

    def _look_whether_it_moves(self, point: str, value: float) -> None:
        """End the doubt once the probe has shown MOVES values; a stuck one may toggle between two."""
        shown = self._shown.setdefault(point, set())
        shown.add(value)
        if len(shown) >= MOVES:
            del self._shown[point]
            self._doubts.change([point], None, say("doubt.moves", point=name(point)), "unmoved")
