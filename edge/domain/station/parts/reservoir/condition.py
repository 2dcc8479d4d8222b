"""The condition `reservoir`: warm enough for today's room, not too hot for the label, by every probe that hangs in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.rooms import Rooms
from edge.domain.doubts.table import WARMEST_ROOM_C
from edge.domain.entries import Now
from edge.domain.heat.cycle import Phase
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.thermostat import remedy
from edge.domain.messages import Doubt, Message, both, celsius, name, part, say
from edge.domain.readings import Role
from edge.domain.station import by_eye
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged
from edge.domain.station.parts.reservoir.second_probes import SecondProbes
from edge.domain.station.recalibrated import Recalibrations
from edge.domain.station.view import View


class ReservoirCondition:
    """Judges the liquid. Changes nothing.

    Args:
        warmth: what is known of it.
        doubts: which points are doubted.
        rooms: the room to reckon with.
        seconds: further probes in it.
        recalibrations: what calibrations have to do with it.
        heater_is_tripped: asked with a monotonic time [ms].
    """

    def __init__(
        self, view: View, warmth: ReservoirMonitor, doubts: DoubtRegister, rooms: Rooms, seconds: SecondProbes,
        recalibrations: Recalibrations,
        heater_is_tripped: Callable[[int], bool],
    ) -> None:  # fmt: skip
        self._view, self._warmth, self._doubts, self._rooms, self._seconds = view, warmth, doubts, rooms, seconds
        self._recalibrations, self._heater_is_tripped = recalibrations, heater_is_tripped
        self._plan, self._point = warmth.plan, view.points.first(Role.RESERVOIR_TEMPERATURE)
        self._basin_point = view.points.first(Role.BASIN_TEMPERATURE)

    def judge(self, now: Now) -> Judged:
        """As it is now."""
        one = self._doubted(self._by_first_probe(now), now)
        return self._recalibrations.reservoir(one, self._warmth, self._rooms, now)

    # -- by the first probe

    def _by_first_probe(self, now: Now) -> Judged:
        view, plan, warmth, point = self._view, self._plan, self._warmth, self._point
        if point is None:
            return self._by_eye(now)
        watch = view.watches[point]
        liquid = watch.value(now.mono_ms)
        if liquid is None and by_eye.entered(view, Role.RESERVOIR_TEMPERATURE, now) is not None:
            eye = self._by_eye(now)
            return eye._replace(text=both(eye.text, view.broken(point)))
        if liquid is None:
            since = by_eye.overtaken(view, Role.RESERVOIR_TEMPERATURE)
            unheard = say("reservoir.unheard", why=part(view.why_silent(point)), since=part(since))
            return Judged(UNKNOWN, unheard, ask=view.advice(point))
        room_c, assumed = self._rooms.room_or_assumed(now.mono_ms)
        enter, leave = warmth.limits(room_c)
        read_ms = now.wall_ms - (now.mono_ms - watch.good_ms)
        sure = view.probability(point, liquid, leave if warmth.is_warm else enter, None)
        here, nominal = celsius(liquid, point), part(view.nominal(point))
        if not watch.is_sure:
            doubtful = say("reservoir.doubtful", here=here, nominal=nominal, why=part(say("reason.perhaps_stuck")))
            return Judged(UNKNOWN, doubtful, ask=say("reason.perhaps_stuck.advice"))
        basin, guard = warmth.basin_c(liquid, room_c), watch.guard
        if plan.maximum_c is not None and (warmth.hot.over or liquid + guard > plan.maximum_c + AT_LIMIT):
            is_above = liquid + guard > plan.maximum_c + AT_LIMIT
            hot = say(
                "reservoir.above_maximum" if is_above else "reservoir.below_maximum_too_short",
                here=here, nominal=nominal, most=celsius(plan.maximum_c, point),
            )  # fmt: skip
            return Judged(UNMET, hot, ask=say("reservoir.above_maximum.ask"))
        most = warmth.basin_c(liquid, room_c, warmth.share.hot)
        if plan.contact_max_c is not None and (
            warmth.beyond_label.over or most + guard > plan.contact_max_c + AT_LIMIT
        ):
            is_above = most + guard > plan.contact_max_c + AT_LIMIT
            hot = say(
                "reservoir.above_label" if is_above else "reservoir.below_label_too_short",
                here=here, nominal=nominal, basin=celsius(most, point), most=celsius(plan.contact_max_c, point),
            )  # fmt: skip
            return Judged(UNMET, hot, ask=say("reservoir.above_label.ask"))
        room = part(
            say(
                "reservoir.in_assumed_room" if assumed else "reservoir.in_room",
                room=celsius(room_c, point), loss=part(warmth.share.origin),
            )
        )  # fmt: skip
        low = warmth.trough(enter + guard, room_c)
        too_low = None if low is None else remedy(low, point)
        evidence: dict[str, Any] = {} if sure is None else {"probability": sure, "evidence_ms": read_ms}
        if warmth.is_warm:
            warm = say("reservoir.warm", here=here, nominal=nominal, needed=celsius(leave, point), room=room)
            return Judged(MET, view.nominally(both(warm, too_low), point), **evidence)
        if warmth.unsure is not None:
            unsure = say(
                "reservoir.unsure",
                here=here, nominal=nominal, why=part(warmth.unsure), needed=celsius(leave, point), room=room,
            )  # fmt: skip
            when = warmth.until(room_c, now.mono_ms)
            return Judged(UNMET, both(unsure, too_low), mends=True, when=when, **evidence)
        is_above = liquid >= enter + guard - AT_LIMIT
        cold = say(
            "reservoir.warm_too_short" if is_above else "reservoir.too_cold",
            here=here, nominal=nominal, needed=celsius(enter, point), room=room, basin=celsius(basin, point),
        )  # fmt: skip
        cold = both(cold, too_low)
        if view.situation.phase is Phase.OFF or self._heater_is_tripped(now.mono_ms):
            return Judged(UNMET, cold, ask=say("reservoir.no_power.ask"), **evidence)
        when = warmth.until(room_c, now.mono_ms)
        return Judged(UNMET, cold if when.in_ms is None else both(cold, when.why), mends=True, when=when, **evidence)

    # -- by eye

    def _by_eye(self, now: Now) -> Judged:
        entered = by_eye.entered(self._view, Role.RESERVOIR_TEMPERATURE, now)
        if entered is None:
            return by_eye.nothing(self._view, Role.RESERVOIR_TEMPERATURE)
        value, seq, at_ms, by = entered
        room_c = self._rooms.room_now(now.mono_ms)
        enter, _ = self._warmth.limits(room_c)
        too_hot = self._too_hot(value, room_c)
        if too_hot is not None:
            hot = say("reservoir.too_hot_by_eye", what=part(too_hot), by=name(by))
            return Judged(UNMET, hot, seq=seq, evidence_ms=at_ms, ask=say("reservoir.too_hot_by_eye.ask"))
        read = say("reservoir.by_eye", here=celsius(value), by=name(by), needed=celsius(enter))
        if value >= enter - AT_LIMIT:
            return Judged(BY_EYE, read, seq=seq, evidence_ms=at_ms)
        return Judged(UNMET, read, seq=seq, evidence_ms=at_ms, ask=say("reservoir.by_eye.ask"))

    def _too_hot(self, liquid: float, room_c: float) -> Message | None:
        """What is wrong with a temperature read by eye that is above the vessel's maximum or the label's; None where it isn't."""
        plan, warmth, here, nominal = self._plan, self._warmth, celsius(liquid), part(None)
        if plan.maximum_c is not None and liquid > plan.maximum_c + AT_LIMIT:
            return say("reservoir.above_maximum", here=here, nominal=nominal, most=celsius(plan.maximum_c))
        most = warmth.basin_c(liquid, room_c, warmth.share.hot)
        if plan.contact_max_c is not None and most > plan.contact_max_c + AT_LIMIT:
            return say(
                "reservoir.above_label",
                here=here, nominal=nominal, basin=celsius(most), most=celsius(plan.contact_max_c),
            )  # fmt: skip
        return None

    # -- what others say against it

    def _doubted(self, one: Judged, now: Now) -> Judged:
        """What rests on points that contradict each other, or on a second probe, is never silently met."""
        if one.state in (BY_EYE, UNMET):
            return self._by_room(one, now)
        if one.state == UNKNOWN:
            return self._doubted_reading(one)
        one = self._by_basin(self._by_room(one, now))
        return self._seconds.judge(one, now) if one.state == MET else one

    def _may_be_enough(self, now: Now) -> bool:
        """Would the liquid be warm enough in the warmest of rooms, and is it not too hot?"""
        warmth, liquid = self._warmth, self._view.value(self._point, now.mono_ms)
        if liquid is None or warmth.hot.over or warmth.beyond_label.over:
            return False
        return liquid >= warmth.limits(WARMEST_ROOM_C)[1]

    def _doubted_reading(self, one: Judged) -> Judged:
        """A point that is contradicted says by what, not that it is stuck."""
        doubt = None if self._point is None else self._view.watches[self._point].doubt
        return one if doubt is None else one._replace(text=doubt.cause, ask=doubt.advice)

    def _by_basin(self, one: Judged) -> Judged:
        """What is needed may have been learned by the basin's probe: where that isn't believed it isn't known."""
        if one.state != MET or not self._warmth.share.cycles:
            return one
        doubt = self._doubts.doubts.get("basin_cold", {}).get(self._basin_point or "")
        return one if doubt is None else _needed_unknown(one, doubt)

    def _by_room(self, one: Judged, now: Now) -> Judged:
        """What is needed goes by the room: without one that is believed or declared it isn't known."""
        if self._plan.coldest_room_c is not None or self._rooms.room_c(now.mono_ms) is not None:
            return one
        if one.state == UNMET and not self._may_be_enough(now):
            return one
        doubt = self._doubts.doubt_about(self._rooms.points)
        return _needed_unknown(one, doubt or Doubt(say("reservoir.no_room"), say("reservoir.no_room.ask")))


def _needed_unknown(one: Judged, doubt: Doubt) -> Judged:
    """How warm it has to be rests on what is doubted."""
    return one.doubted(say("reservoir.needed_unknown", why=part(doubt.cause)), doubt.advice)
