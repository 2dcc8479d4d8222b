"""Points that are not heard any more: one alarm each, or one for all that fall silent together.

A point is silent once its last good reading is older than its stale limit. Where every point of a bus that was ever heard has stopped
together, that is one cause: `bus_lost` is announced and each point's silence is its consequence; where all of the station have, the
first bus stands for all. A point that stopped without a word counts as back once it has been heard for as long as its stale limit, so
that readings that come more slowly than it are one standing alarm, with advice. One whose readings were bad is back with its first
good one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.doubts.roles import unjudged
from edge.domain.entries import Draft, Entry, Now
from edge.domain.messages import Advice, Message, as_told, duration, name, names, part, parts, say, text, within
from edge.domain.readings import Role
from edge.domain.records.entered import BY_EYE as READ_BY_EYE
from edge.domain.roles import ROLES
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Point
from edge.domain.station import by_eye
from edge.domain.station.judged import MET, UNKNOWN, Judged
from edge.domain.station.part import ClockTrustChanged, Happening, Judge, Part, PointSilent, RecordKept
from edge.domain.station.view import View

#: at the latest after this it is looked again
LOOK_AGAIN_MS: Final = 3_600_000
#: a point that hasn't been read for so many of its periods has stopped, though its stale limit isn't over
STOPPED_PERIODS: Final = 2


class Sensors(Part):
    """Which points are heard, and the buses behind them."""

    roles = frozenset(Role)
    folds = frozenset({"bus"})

    def __init__(self, view: View) -> None:
        self._view, self._watches = view, view.watches
        self._unjudged = unjudged(view.settings)
        self._silent = view.situation.silent
        self.lost_buses: set[str] = set()  # as their adapters say
        self.told: dict[str, str] = {}  # bus -> "lost" or "back", as the journal's last entry of it says
        self.seen: dict[str, dict[str, str]] = {}  # bus -> what it turned out to be, likewise
        self._next_ms = 0
        self._until_ms: dict[str, int] = {}  # point that fell silent -> when it was last heard before
        self._gap_ms: dict[str, int] = {}  # point -> how long the silence was that its last reading ended
        self._by_bus: dict[str, list[str]] = {}
        for point in view.settings.points:
            if not point.by_people:
                self._by_bus.setdefault(point.bus, []).append(point.id)

    def alarm_ids(self) -> Iterable[str]:
        settings = self._view.settings
        yield from (f"silent:{point.id}" for point in settings.points)
        yield from (
            f"bus_lost:{bus}" for bus in dict.fromkeys([*settings.buses, *(p.bus for p in settings.points if p.bus)])
        )

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if self._watches[point.id].is_first or point.id in self._silent:
            self._view.changed()
            self._heard(point.id, now)

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case RecordKept(record) if record in READ_BY_EYE:
                self._next_ms = now.mono_ms
            case ClockTrustChanged():
                self._next_ms = now.mono_ms

    def advance(self, now: Now) -> None:
        if now.mono_ms >= self._next_ms:
            for ident in self._look(now):
                self._view.changed()
                self._view.happen(PointSilent(ident), now)

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        return (self._next_ms,)

    def conditions(self) -> Mapping[str, Judge]:
        return {"sensors": self.sensors}

    def responses(self, now: Now) -> Mapping[str, Message]:
        return {f"silent:{point}": self._view.advice(point) for point in self._silent}

    def bus(self, bus: str, what: str, why: str, now: Now) -> bool:
        """A bus was "lost", or is "back"; False where that is known. What the journal says already is no entry: a restart is no news."""
        lost, was = what == "lost", self.told.get(bus, "back")
        if lost == (bus in self.lost_buses) and what == was:
            return False
        (self.lost_buses.add if lost else self.lost_buses.discard)(bus)
        if what != was:
            self.told[bus] = what
            self._view.tell("bus", {"bus": bus, "what": "lost" if lost else "back", "why": why}, now)
        self._view.alarms.set_condition(
            f"bus_lost:{bus}", lost, now, cause=as_told(why) if why else say("bus.lost", bus=name(bus))
        )
        return True

    def see(self, bus: str, seen: Mapping[str, str], now: Now) -> list[Draft]:
        """What a bus turned out to be, for later starts; no entry where the journal says so already."""
        if self.seen.get(bus) == seen:
            return []
        self.seen[bus] = dict(seen)
        return [Draft(now, "bus", {"bus": bus, "what": "seen", **seen})]

    def fold(self, entry: Entry) -> None:
        """Take a `bus` entry."""
        body = entry.body
        if body["what"] == "seen":
            self.seen[body["bus"]] = {key: told for key, told in body.items() if key not in ("bus", "what")}
        else:
            self.told[body["bus"]] = body["what"]

    def state(self) -> dict[str, Any]:
        """What has to survive a restart."""
        return {"buses": dict(self.told), "seen": dict(self.seen)}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self.told.update(state.get("buses", {}))
        self.seen.update(state.get("seen", {}))

    # -- heard again

    def _heard(self, point: str, now: Now) -> None:
        """A good reading of a point that was silent, or the first one since the start."""
        alarms, watch = self._view.alarms, self._watches[point]
        self._silent.discard(point)
        self._next_ms = min(self._next_ms, now.mono_ms + watch.point.stale_after_ms + 1)
        if point in self._until_ms:
            self._gap_ms[point] = watch.good_ms - self._until_ms.pop(point)
        alarms.set_condition(f"silent:{point}", False, now)
        bus = watch.point.bus
        if bus not in self.lost_buses:
            alarms.set_condition(f"bus_lost:{bus}", False, now)
        for_all = alarms.causes.silent_all
        if for_all is not None and for_all.removeprefix("bus_lost:") not in self.lost_buses:
            alarms.set_condition(for_all, False, now)

    # -- falling silent

    def _look(self, now: Now) -> list[str]:
        """Find those that have fallen silent since the last look; their alarms are raised."""
        mono_ms, fallen = now.mono_ms, list[str]()
        self._next_ms = mono_ms + LOOK_AGAIN_MS
        watches = self._watches
        for ident, watch in watches.items():
            if not watch.is_silent(mono_ms):
                self._next_ms = min(self._next_ms, watch.stale_at_ms)
            elif ident not in self._silent:
                self._silent.add(ident)
                fallen.append(ident)
        if fallen:
            self._look_together(fallen, now)
        for ident in fallen:
            self._fall(ident, watches[ident], now)
        return fallen

    def _fall(self, ident: str, watch: PointMonitor, now: Now) -> None:
        desk, alarm = self._view.alarms, f"silent:{ident}"
        why = watch.why_silent()
        if why == "stale":
            self._until_ms[ident] = watch.good_ms
            if ident in self._gap_ms and desk.alarms[alarm].present:
                self._say_slow([ident], alarm, now)
        desk.extend_off_delay(alarm, watch.point.stale_after_ms + 2 if why == "stale" else 0)
        desk.set_condition(alarm, True, now, point=ident, cause=_silence(ident, why, watch.detail))

    def _look_together(self, fallen: list[str], now: Now) -> None:
        """One cause, one alarm: raised before those of the points, which become its consequences."""
        watches, desk = self._watches, self._view.alarms
        heard = {bus: [p for p in points if watches[p].last is not None] for bus, points in self._by_bus.items()}
        stopped = {bus: points for bus, points in heard.items() if points and self._have_stopped(points, now)}
        everyone = [p for points in heard.values() for p in points]
        if len(everyone) > 1 and sum(map(len, stopped.values())) == len(everyone):
            bus = next(iter(stopped))
            desk.causes.silent_all = f"bus_lost:{bus}"
            self._together(bus, everyone, now, is_all=len(stopped) > 1)
            return
        desk.causes.silent_all = None
        for bus, points in stopped.items():
            if len(points) > 1 and any(p in points for p in fallen):
                self._together(bus, points, now)

    def _have_stopped(self, points: list[str], now: Now) -> bool:
        """None of them is read any more. One whose readings are bad is read, and tells why itself."""
        watches = self._watches
        return all(
            watches[p].why_silent() == "stale" and now.mono_ms - watches[p].good_ms > STOPPED_PERIODS * watches[p].point.every_ms
            for p in points
        )  # fmt: skip

    def _together(self, bus: str, points: list[str], now: Now, *, is_all: bool = False) -> None:
        """The points of a bus, or all of the station, have stopped: the alarm of the bus stands for theirs."""
        desk, alarm = self._view.alarms, f"bus_lost:{bus}"
        watches = self._watches
        if all(p in self._gap_ms for p in points) and desk.alarms[alarm].present:
            self._say_slow(points, alarm, now)
        desk.extend_off_delay(alarm, max(watches[p].point.stale_after_ms for p in points) + 2)
        of_bus = say("bus.not_heard", bus=name(bus), points=names(points))
        desk.set_condition(alarm, True, now, cause=say("bus.none_heard", points=names(points)) if is_all else of_bus)
        for point in points:
            desk.suppress_under(f"silent:{point}", alarm, now)

    def _say_slow(self, points: list[str], alarm: str, now: Now) -> None:
        """Readings that come more slowly than their stale limit: said once, by the alarm that stands for it."""
        standing = self._view.alarms.alarms[alarm]
        watch = self._watches[points[0]]
        limit, gap = duration(watch.point.stale_after_ms), duration(self._gap_ms[points[0]])
        what, advice = say("silent.slow", every=gap, limit=limit), say("silent.slow.advice")
        if what in within(standing.cause) or standing.consequence_of is not None:
            return
        slow = say("silent.slow_points", points=names(points), what=part(what), advice=part(advice))
        self._view.alarms.restate(alarm, slow)
        self._view.advise(Advice(points[0], "stale", what, advice), now)

    # -- the condition

    def sensors(self, now: Now) -> Judged:
        """Every point that decides is heard."""
        silent = [p for p in sorted(self._silent) if self._decides(p) and not self._is_read_instead(p, now)]
        if silent:
            each = parts(say("sensors.because", point=name(p), why=part(self._view.why_silent(p))) for p in silent)
            return Judged(UNKNOWN, say("sensors.not_heard", points=each), ask=self._view.advice(silent[0]))
        if waiting := [p for p in self._watches if self._is_waited_for(p, now)]:
            return Judged(UNKNOWN, say("sensors.no_reading_yet", points=names(waiting)))
        one = Judged(MET, say("sensors.heard"))
        if unheard := self._silent | {p for p, watch in self._watches.items() if watch.good is None}:
            is_read = any(self._is_read_instead(p, now) for p in unheard)
            ident = "sensors.deciding_heard_or_read" if is_read else "sensors.deciding_heard"
            one = Judged(MET, say(ident, silent=names(sorted(unheard))))
        if self._unjudged:
            point, why = self._unjudged[0]
            told = say("sensors.unjudged", point=name(point), why=part(why))
            return one.doubted(told, say("sensors.unjudged.ask", point=name(point)))
        return one

    def _is_waited_for(self, point: str, now: Now) -> bool:
        return self._watches[point].good is None and self._decides(point) and not self._is_read_instead(point, now)

    def _decides(self, point: str) -> bool:
        """Does this point's silence make the station's readiness unknown?"""
        role, reservoir = self._watches[point].point.role, self._view.settings.reservoir
        if role is Role.ROOM_TEMPERATURE:
            return reservoir is not None and reservoir.coldest_room_c is None
        return not ROLES[role].is_lesser

    def _is_read_instead(self, point: str, now: Now) -> bool:
        """Is a sensor that isn't heard stood in for by what somebody reads?"""
        role = self._watches[point].point.role
        return self._view.entered.sensor_of(role) == point and by_eye.entered(self._view, role, now) is not None


def _silence(point: str, why: str, detail: str) -> Message:
    """Why a point is silent, with what its adapter told beside it."""
    told = say("silent.detail", detail=text(detail)) if detail else None
    return say("silent.point", point=name(point), why=part(say(f"reason.{why}")), detail=part(told))
