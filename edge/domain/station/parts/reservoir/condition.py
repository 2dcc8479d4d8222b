"""The condition `reservoir`: warm enough for today's room, not too hot for the label, by every probe that hangs in it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.rooms import Rooms
from edge.domain.doubts.table import WARMEST_ROOM_C
from edge.domain.entries import Now
from edge.domain.heat.cycle import Phase
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.thermostat import words
from edge.domain.readings import REASONS, Kind, Role
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
            return eye._replace(text=f"{eye.text}; {view.broken(point)}")
        if liquid is None:
            return Judged(
                UNKNOWN,
                f"the reservoir's temperature is not known: {view.why_silent(point)}"
                + by_eye.overtaken_text(view, Role.RESERVOIR_TEMPERATURE),
                ask=view.advice(point),
            )
        show = partial(view.show, point)
        room_c, assumed = self._rooms.room_or_assumed(now.mono_ms)
        enter, leave = warmth.limits(room_c)
        read_ms = now.wall_ms - (now.mono_ms - watch.good_ms)
        sure = view.probability(point, liquid, leave if warmth.is_warm else enter, None)
        here = show(liquid) + view.nominal(point)
        if not watch.is_sure:
            return Judged(UNKNOWN, f"{here}, but {REASONS['perhaps_stuck'].text}", ask=REASONS["perhaps_stuck"].advice)
        basin, guard = warmth.basin_c(liquid, room_c), watch.guard
        if plan.maximum_c is not None and (warmth.hot.over or liquid + guard > plan.maximum_c + AT_LIMIT):
            is_above = "above" if liquid + guard > plan.maximum_c + AT_LIMIT else "not yet for long enough below"
            return Judged(
                UNMET,
                f"{here}, {is_above} the {show(plan.maximum_c)} allowed",
                mends=False,
                ask="Let it cool; have the thermostat looked at",
            )
        most = warmth.basin_c(liquid, room_c, warmth.share.hot)
        if plan.contact_max_c is not None and (
            warmth.beyond_label.over or most + guard > plan.contact_max_c + AT_LIMIT
        ):
            is_above = "above" if most + guard > plan.contact_max_c + AT_LIMIT else "not yet for long enough below"
            text = f"{here}: the basin would see {show(most)}, {is_above} the label's {show(plan.contact_max_c)}"
            return Judged(UNMET, text, ask="Lower the set point within the label's range, or let it cool")
        room = f"{'an assumed' if assumed else 'a'} room of {show(room_c)}, transfer loss {warmth.share.words}"
        low = warmth.trough(enter + guard, room_c)
        too_low = "" if low is None else f"; {words(low, show)}"
        evidence: dict[str, Any] = {} if sure is None else {"probability": sure, "evidence_ms": read_ms}
        if warmth.is_warm:
            text = f"{here}, {show(leave)} needed in {room}{too_low}"
            return Judged(MET, view.nominally(text, point), **evidence)
        if warmth.unsure:
            text = f"{here} {warmth.unsure}; {show(leave)} needed in {room}{too_low}"
            return Judged(UNMET, text, mends=True, when=warmth.until(room_c, now.mono_ms), **evidence)
        above = ", not yet for long enough above the" if liquid >= enter + guard - AT_LIMIT else ";"
        text = f"{here}{above} {show(enter)} needed in {room}, the basin would see {show(basin)}{too_low}"
        if view.situation.phase is Phase.OFF or self._heater_is_tripped(now.mono_ms):
            return Judged(UNMET, text, ask="Get the heater's power back", **evidence)
        when = warmth.until(room_c, now.mono_ms)
        if when.in_ms is not None and when.why:
            text += f"; {view.units.why(when)}"
        return Judged(UNMET, text, mends=True, when=when, **evidence)

    # -- by eye

    def _by_eye(self, now: Now) -> Judged:
        entered = by_eye.entered(self._view, Role.RESERVOIR_TEMPERATURE, now)
        if entered is None:
            return by_eye.nothing(self._view, Role.RESERVOIR_TEMPERATURE)
        value, seq, at_ms, by = entered
        room_c = self._rooms.room_now(now.mono_ms)
        enter, _ = self._warmth.limits(room_c)
        here, need = (self._view.units.said(Kind.TEMPERATURE, c) for c in (value, enter))
        too_hot = self._too_hot(value, here, room_c)
        if too_hot:
            return Judged(
                UNMET, f"{too_hot}, read by {by}", seq=seq, evidence_ms=at_ms, ask="Let it cool and read again"
            )
        text, is_warm = f"{here} read by {by}; {need} needed", value >= enter - AT_LIMIT
        ask = "" if is_warm else "Wait and read again"
        return Judged(BY_EYE if is_warm else UNMET, text, seq=seq, evidence_ms=at_ms, ask=ask)

    def _too_hot(self, liquid: float, here: str, room_c: float) -> str:
        """What is wrong with a temperature read by eye that is above the vessel's maximum or the label's; "" where it isn't."""
        plan, warmth, said = self._plan, self._warmth, partial(self._view.units.said, Kind.TEMPERATURE)
        if plan.maximum_c is not None and liquid > plan.maximum_c + AT_LIMIT:
            return f"{here}, above the {said(plan.maximum_c)} allowed"
        most = warmth.basin_c(liquid, room_c, warmth.share.hot)
        if plan.contact_max_c is not None and most > plan.contact_max_c + AT_LIMIT:
            return f"{here}: the basin would see {said(most)}, above the label's {said(plan.contact_max_c)}"
        return ""

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
        return one if doubt is None else one._replace(text=doubt[0], ask=doubt[1])

    def _by_basin(self, one: Judged) -> Judged:
        """What is needed may have been learned by the basin's probe: where that isn't believed it isn't known."""
        if one.state != MET or not self._warmth.share.cycles:
            return one
        doubt = self._doubts.doubts.get("basin_cold", {}).get(self._basin_point or "")
        if doubt is None:
            return one
        return one._replace(state=UNKNOWN, text=f"how warm it has to be is not known: {doubt[0]}", ask=doubt[1])

    def _by_room(self, one: Judged, now: Now) -> Judged:
        """What is needed goes by the room: without one that is believed or declared it isn't known."""
        if self._plan.coldest_room_c is not None or self._rooms.room_c(now.mono_ms) is not None:
            return one
        if one.state == UNMET and not self._may_be_enough(now):
            return one
        doubt = self._doubts.doubt_about(self._rooms.points)
        if doubt is not None:
            return one._replace(state=UNKNOWN, text=f"how warm it has to be is not known: {doubt[0]}", ask=doubt[1])
        text = "how warm it has to be is not known: nothing says how cold the room is"
        ask = "Add coldest_room to [reservoir] in the station file, or fit a point for the room"
        return one._replace(state=UNKNOWN, text=text, ask=ask)
