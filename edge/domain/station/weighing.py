"""What the cross checks make of the conditions: what rests on points that contradict each other, on a second point of a role, or on
a section that the station file lacks is never silently met.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.roles import missing, unjudged
from edge.domain.doubts.table import WARMEST_ROOM_C
from edge.domain.entries import Now
from edge.domain.heat.balance import HOLD_MS
from edge.domain.readings import REASONS
from edge.domain.station.conditions import side_of
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged
from edge.domain.water.filter_train import TRAIN

if TYPE_CHECKING:
    from edge.domain.station.station import Station

#: two probes of one liquid that differ by more than this [K] for so long aren't both right (our own numbers: class B probes are within
#: 0.5 K, leads and mounting add one; layers don't outlast a thermostat's round)
APART_K: Final = 3.0
APART_MS: Final = 1_800_000


class Seconds:
    """Further points of the reservoir: each is judged as the first is, and the worst decides."""

    def __init__(self, station: Station, points: list[str]) -> None:
        self._station, self.points = station, points
        self._warm: dict[str, bool] = dict.fromkeys(points, False)
        self._since_ms: dict[str, int] = {}
        self._hot = {point: Ceiling() for point in points}
        self._beyond_label = {point: Ceiling() for point in points}
        self._apart_ms: dict[str, int] = {}  # since when one reads otherwise than the first
        self._apart: set[str] = set()  # and has done so for long

    def hear(self, point: str, liquid_c: float, mono_ms: int) -> bool:
        """A good reading of any point. True where a condition may have changed by it."""
        warmth = self._station.warmth
        if point not in self._warm or warmth is None:
            return False
        guard, room_c = self._station.watches[point].guard, self._station.contradictions.room_now(mono_ms)
        enter, leave = (limit + guard for limit in warmth.limits(room_c))
        was = self._state(point)
        if liquid_c < (leave if self._warm[point] else enter) - AT_LIMIT:
            self._warm[point] = False
            self._since_ms.pop(point, None)
        elif mono_ms - self._since_ms.setdefault(point, mono_ms) >= HOLD_MS:
            self._warm[point] = True
        self._hot[point].see(liquid_c + guard, warmth.plan.maximum_c, mono_ms)
        basin_c = warmth.basin_c(liquid_c, room_c, warmth.share.hot)
        self._beyond_label[point].see(basin_c + guard, warmth.plan.contact_max_c, mono_ms)
        self._compare(point, liquid_c, mono_ms)
        return was != self._state(point)

    def _state(self, point: str) -> tuple[bool, ...]:
        return self._warm[point], self._hot[point].over, self._beyond_label[point].over, point in self._apart

    def _compare(self, point: str, liquid_c: float, mono_ms: int) -> None:
        """Two probes of one liquid read the same but for what they are uncertain by, and for layers that don't last."""
        s = self._station
        first = None if s.reservoir_point is None else s.watches[s.reservoir_point].value(mono_ms)
        if first is None or abs(liquid_c - first) <= APART_K:
            self._apart_ms.pop(point, None)
            self._apart.discard(point)
        elif mono_ms - self._apart_ms.setdefault(point, mono_ms) >= APART_MS:
            self._apart.add(point)

    def judge(self, one: Judged, now: Now) -> Judged:
        """The reservoir's condition, met by the first point, by the others."""
        s = self._station
        for point in self.points:
            watch = s.watches[point]
            value = watch.value(now.mono_ms)
            if value is None:
                why = REASONS[watch.why_silent()]
                return one._replace(
                    state=UNKNOWN, text=f"{point} is not known: {why.text}", ask=f"{point}: {why.advice}"
                )
            here = f"{point}: {s.show(point, value)}{s.nominal(point)}"
            if not watch.is_sure:
                why_doubted = watch.doubt or (REASONS["perhaps_stuck"].text, REASONS["perhaps_stuck"].advice)
                return one._replace(state=UNKNOWN, text=f"{here}, but {why_doubted[0]}", ask=why_doubted[1])
            if self._hot[point].over:
                ask = "Let it cool; have the thermostat looked at"
                return Judged(UNMET, f"{here}, above the maximum, or not yet for long enough below it", ask=ask)
            if self._beyond_label[point].over:
                ask = "Lower the set point within the label's range, or let it cool"
                return Judged(
                    UNMET, f"{here}: the basin would see more than the label allows, or has until of late", ask=ask
                )
            if not self._warm[point]:
                return Judged(UNMET, f"{here}: not warm enough there, or not yet for long enough", mends=True)
            if point in self._apart:
                text = f"{one.text}; but {here}: two probes of one liquid that differ by more than {APART_K:g} K for half an hour"
                return one._replace(
                    state=UNKNOWN, text=text, ask=f"Stir; compare {s.reservoir_point} and {point} with a reference"
                )
        return one


class Weighing:
    """Weighs one station's conditions. Reads the station, changes nothing in it."""

    def __init__(self, station: Station) -> None:
        self._station = station
        self._missing, self._unjudged = missing(station.settings), unjudged(station.settings)

    def all(self, judges: dict[str, Callable[[Now], Judged]], now: Now) -> dict[str, Judged]:
        """Every condition, in the order of the contract."""
        found = {ident: self._weighed(ident, judge(now), now) for ident, judge in judges.items()}
        if not self._missing:
            return found
        lacking = {
            i: Judged(UNKNOWN, text, ask="Add the section to the station file") for i, text in self._missing.items()
        }
        first = ("free", "no_hold", "reservoir", "pressure", "flow")
        both = found | lacking
        return {ident: both[ident] for ident in (*first, *(i for i in both if i not in first)) if ident in both}

    def _weighed(self, ident: str, one: Judged, now: Now) -> Judged:
        if ident == "pressure" and self._station.contradictions.is_low and one.state != UNMET:
            return self._too_low(one)
        if one.state in (BY_EYE, UNMET) and ident == "reservoir":
            return self._by_room(one, now)
        if one.state == UNKNOWN and ident == "reservoir":
            return self._doubted_reading(one)
        if one.state != MET:
            return one
        if ident == "reservoir":
            one = self._by_basin(self._by_room(one, now))
            return self._station.seconds.judge(one, now) if one.state == MET else one
        if ident == "sensors" and self._unjudged:
            point, why = self._unjudged[0]
            return one._replace(
                state=UNKNOWN, text=f"{point}: {why}", ask=f"Take {point} out of the station file, or complete it"
            )
        doubt = self._doubt(ident)
        return one if doubt is None else one._replace(state=UNKNOWN, text=doubt[0], ask=doubt[1])

    def _doubt(self, ident: str) -> tuple[str, str] | None:
        """Why a condition that reads as met isn't known."""
        crossed, s = self._station.contradictions, self._station
        if ident in ("pressure", "flow"):
            found = crossed.evidence_doubt("static_low")
            found = found or crossed.drawn_doubt(s.supply_point if ident == "pressure" else s.flow_point)
            return found or crossed.doubt_about((s.flow_point, s.supply_point if ident == "pressure" else None))
        if ident.startswith("filter:"):
            name = ident.removeprefix("filter:")
            stage = crossed.evidence_doubt(f"stage:{name}") or crossed.evidence_doubt(f"stage:{TRAIN}")
            return stage or crossed.doubt_about(
                (*(s.taps[tap] for tap in s.evidence.train.taps_of(name)), s.flow_point)
            )
        return None

    def _may_be_enough(self, now: Now) -> bool:
        """Would the liquid be warm enough in the warmest of rooms, and is it not too hot?"""
        s = self._station
        warmth, liquid = (
            s.warmth,
            None if s.reservoir_point is None else s.watches[s.reservoir_point].value(now.mono_ms),
        )
        if warmth is None or liquid is None or warmth.hot.over or warmth.beyond_label.over:
            return False
        return liquid >= warmth.limits(WARMEST_ROOM_C)[1]

    def mind_draw(self, sides: Sequence[int | None]) -> None:
        """A draw under way has come to other sides of its limits (`Readiness.drawn_sides`). Where the last one kept them and this one
        doesn't, that is noted before its end, which a restart may hide."""
        s, plan = self._station, self._station.settings.supply
        draw, last = None if s.draws is None else s.draws.draw, s.evidence.last
        if draw is None or last is None or plan is None or not any(sides):
            return
        judged = (
            (s.supply_point, draw.supply, "supply_kpa", plan.pressure_low_kpa, plan.pressure_high_kpa),
            (s.flow_point, draw.flow, "flow_l_min", plan.flow_low_l_min, plan.flow_high_l_min),
        )
        for side, (point, mean, key, low, high) in zip(sides, judged, strict=True):
            was = last["body"].get(key)
            if not side or point is None or mean.value is None or was is None:
                continue
            if side_of(was, s.watches[point].guard, low, high) == 0:
                s.contradictions.goes_out(point, mean.value)

    def tell_static(self, now: Now) -> None:
        """The alarm of a supply that stands too low at rest."""
        s, plan = self._station, self._station.settings.supply
        low, static = s.contradictions.is_low, None if s.draws is None else s.draws.settled_kpa
        if plan is None or s.supply_point is None:
            return
        cause = self._too_low(Judged(UNKNOWN, "")).text if low else ""
        s.desk.set(
            "static_low",
            low,
            now,
            value=static,
            unit="kPa",
            limit=plan.pressure_low_kpa,
            point=s.supply_point,
            cause=cause,
        )

    def _too_low(self, one: Judged) -> Judged:
        s, plan = self._station, self._station.settings.supply
        static = None if s.draws is None else s.draws.static_kpa
        if plan is None or static is None or s.supply_point is None:
            return one
        here, least = (s.show(s.supply_point, kpa) for kpa in (static, plan.pressure_low_kpa))
        text = f"{here}{s.nominal(s.supply_point)} while nothing draws: below the {least} that drawing needs"
        return Judged(UNMET, text, ask="Open the stop valve; look at the supply; then draw water for half a minute")

    def _doubted_reading(self, one: Judged) -> Judged:
        """A reservoir's point that is contradicted says by what, not that it is stuck."""
        s = self._station
        doubt = None if s.reservoir_point is None else s.watches[s.reservoir_point].doubt
        return one if doubt is None else one._replace(text=doubt[0], ask=doubt[1])

    def _by_basin(self, one: Judged) -> Judged:
        """What is needed may have been learned by the basin's probe: where that isn't believed it isn't known."""
        s = self._station
        if one.state != MET or s.warmth is None or not s.warmth.share.cycles:
            return one
        doubt = s.contradictions.doubts.get("basin_cold", {}).get(s.basin_point or "")
        if doubt is None:
            return one
        return one._replace(state=UNKNOWN, text=f"how warm it has to be is not known: {doubt[0]}", ask=doubt[1])

    def _by_room(self, one: Judged, now: Now) -> Judged:
        """What is needed goes by the room: without one that is believed or declared it isn't known."""
        s, plan = self._station, self._station.settings.reservoir
        if plan is None or plan.coldest_room_c is not None or s.contradictions.room_c(now.mono_ms) is not None:
            return one
        if one.state == UNMET and not self._may_be_enough(now):
            return one
        doubt = s.contradictions.doubt_about(s.contradictions.rooms)
        if doubt is not None:
            return one._replace(state=UNKNOWN, text=f"how warm it has to be is not known: {doubt[0]}", ask=doubt[1])
        text = "how warm it has to be is not known: nothing says how cold the room is"
        ask = "Add coldest_room to [reservoir] in the station file, or fit a point for the room"
        return one._replace(state=UNKNOWN, text=text, ask=ask)
