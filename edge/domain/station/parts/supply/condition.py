"""The conditions `pressure` and `flow`: what the last steady draw showed, and what stands at rest."""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.alarms.limits import side_of
from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.water_checks import WaterChecks
from edge.domain.entries import Now
from edge.domain.messages import Message, ago, both, name, part, quantity, say, then
from edge.domain.readings import KIND_OF, Role
from edge.domain.settings import Supply as Plan
from edge.domain.station import by_eye
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged, beyond
from edge.domain.station.parts.supply.estimates import SupplyEstimates
from edge.domain.station.recalibrated import Recalibrations
from edge.domain.station.view import View
from edge.domain.water.draw_history import LIVE_FROM, DrawHistory, Shown
from edge.domain.water.draws import LOW_KPA, DrawDetector

#: what tells more of the supply
DRAW: Final = say("draw.ask")


class SupplyConditions:
    """Judges the supply. Of what it judged it remembers only which side of a limit at rest it stands on.

    Args:
        plan: the supply's limits.
        draws: the draw under way, the pressures at rest.
        evidence: what finished draws showed.
        doubts: which points are doubted.
        checks: is the supply too low at rest?
        estimates: what the supply can give, how long a fill takes: said with the conditions.
        recalibrations: what calibrations have to do with them.
        has_draws: something tells draws: a meter, or what passes for one.
    """

    def __init__(
        self, view: View, plan: Plan, draws: DrawDetector, evidence: DrawHistory, doubts: DoubtRegister, checks: WaterChecks,
        estimates: SupplyEstimates,
        recalibrations: Recalibrations, has_draws: bool,
    ) -> None:  # fmt: skip
        self._view, self._plan, self._draws, self._evidence, self._doubts = view, plan, draws, evidence, doubts
        self._checks = checks
        self._estimates, self._recalibrations, self._has_draws = estimates, recalibrations, has_draws
        self._supply_point, self._flow_point = (
            view.points.first(role) for role in (Role.SUPPLY_PRESSURE, Role.SUPPLY_FLOW)
        )
        self._static = Ceiling()
        self._sunk = ""

    # -- the two conditions

    def pressure(self, now: Now) -> Judged:
        """Dynamic pressure within its limits in the last steady draw, static pressure neither too high nor too low."""
        limits = self._plan.pressure_low_kpa, self._plan.pressure_high_kpa
        one = self._pressure(now)
        if self._checks.is_low and one.state != UNMET:
            one = self._too_low(one)
        elif one.state == MET:
            one = self._unless_doubted(one, self._supply_point, self._supply_point)
        shown = self._shown("supply_kpa", now)
        return self._recalibrations.drawn(one, shown, self._supply_point, limits, now)

    def flow(self, now: Now) -> Judged:
        """Flow within its limits in the last steady draw."""
        point, low, high = self._flow_point, self._plan.flow_low_l_min, self._plan.flow_high_l_min
        one = self._believed(self._drawn("flow_l_min", Role.SUPPLY_FLOW, point, low, high, now))
        if one.state in (MET, UNMET):
            one = one._replace(text=then(one.text, self._estimates.fills_longer()))
        if one.state == MET:
            one = self._unless_doubted(one, self._flow_point, None)
        return self._recalibrations.drawn(one, self._shown("flow_l_min", now), point, (low, high), now)

    def _pressure(self, now: Now) -> Judged:
        view, plan, point = self._view, self._plan, self._supply_point
        high = view.alarms.alarms.get("static_high")
        if high is not None and high.present and point is not None and high.value is not None:
            text = say("pressure.static_high", here=view.reading(point, high.value))
            return Judged(UNMET, text, ask=say("pressure.static_high.ask"))
        if point is not None and self._static.over:
            text = self._static_high(point, plan.static_high_kpa or 0.0)
            return Judged(UNMET, text, ask=say("pressure.static_high.ask"))
        least, most = plan.pressure_low_kpa, plan.pressure_high_kpa
        judged = self._believed(self._drawn("supply_kpa", Role.SUPPLY_PRESSURE, point, least, most, now), point)
        if point is not None and judged.state != UNMET and by_eye.entered(view, Role.SUPPLY_PRESSURE, now) is not None:
            eye = self._by_eye(Role.SUPPLY_PRESSURE, least, most, now)
            return eye._replace(text=both(eye.text, view.broken(point)))
        if judged.state not in (MET, UNMET):
            return judged
        return judged._replace(text=then(judged.text, self._estimates.serves(now)))

    # -- what draws showed

    def _shown(self, key: str, now: Now) -> Shown:
        """What the last steady draw showed, or the one under way once it is steady."""
        return self._evidence.shown(key, now, self._draws.draw)

    def _drawn(
        self, key: str, role: Role, point: str | None, low: float | None, high: float | None, now: Now
    ) -> Judged:
        view = self._view
        if point is None:
            return self._by_eye(role, low, high, now)
        if not self._has_draws:
            return by_eye.nothing(view, Role.SUPPLY_FLOW)
        value, seq, at_ms, fresh = self._shown(key, now)
        if value is None:
            text = say("draw.none_since_ran_on" if self._evidence.has_run_on else "draw.none")
            return Judged(UNKNOWN, text, ask=DRAW)
        if not fresh:
            text = say("draw.too_long_ago", age=ago(now.wall_ms - (at_ms or now.wall_ms)))
            return Judged(UNKNOWN, text, ask=DRAW, seq=seq, evidence_ms=at_ms)
        inferred = None if self._flow_point is not None else say("draw.inferred")
        here, nominal = view.reading(point, value), part(view.nominal(point))
        text = say("draw.shown", here=here, nominal=nominal, inferred=part(inferred))
        sure = view.probability(point, value, low, high)
        side = side_of(value, view.watches[point].guard, low, high)
        if low is not None and side < 0:
            passed = beyond("below", value < low - AT_LIMIT, view.reading(point, low))
            return Judged(
                UNMET,
                say("draw.beyond", shown=part(text), beyond=part(passed)),
                ask=say("draw.below.ask"),
                seq=seq,
                evidence_ms=at_ms,
                probability=sure,
            )
        if high is not None and side > 0:
            passed = beyond("above", value > high + AT_LIMIT, view.reading(point, high))
            return Judged(
                UNMET,
                say("draw.beyond", shown=part(text), beyond=part(passed)),
                ask=say("draw.above.ask"),
                seq=seq,
                evidence_ms=at_ms,
                probability=sure,
            )
        raised = [view.alarms.alarms.get(f"{role.removeprefix('supply_')}_{side}") for side in ("low", "high")]
        if seq is not None and any(a is not None and a.present and (a.seq or 0) > seq for a in raised):
            return Judged(UNKNOWN, say("draw.alarm_since", shown=part(text)), ask=DRAW, seq=seq, evidence_ms=at_ms)
        return Judged(MET, view.nominally(text, point), seq=seq, evidence_ms=at_ms, probability=sure)

    def drawn_sides(self) -> tuple[int | None, ...]:
        """Where the draw under way stands in its limits, pressure and flow: see `side_of`; None where it tells nothing yet."""
        draw, plan = self._draws.draw, self._plan
        if draw is None:
            return ()
        judged = (
            (draw.supply, self._supply_point, plan.pressure_low_kpa, plan.pressure_high_kpa),
            (draw.flow, self._flow_point, plan.flow_low_l_min, plan.flow_high_l_min),
        )
        return tuple(
            None if mean.n < LIVE_FROM or mean.value is None or point is None
            else side_of(mean.value, self._view.watches[point].guard, low, high)
            for mean, point, low, high in judged
        )  # fmt: skip

    # -- what stands at rest

    def has_static_moved(self, mono_ms: int) -> bool:
        """Has it changed whether the static pressure counts as too high, or as too near to it? Its alarm may be tuned otherwise."""
        was, static = self._static.over, self._draws.settled_kpa
        if static is not None and self._supply_point is not None:
            self._static.see(static + self._view.watches[self._supply_point].guard, self._plan.static_high_kpa, mono_ms)
        return was is not self._static.over

    def _static_high(self, point: str, limit_kpa: float) -> Message:
        view, limit = self._view, self._view.reading(point, limit_kpa)
        static, guard = self._draws.settled_kpa, view.watches[point].guard
        if static is None:
            return say("pressure.static_was_high", limit=limit)
        here = {"here": view.reading(point, static), "nominal": part(view.nominal(point))}
        if side_of(static, guard, None, limit_kpa) > 0:
            above = beyond("above", static > limit_kpa + AT_LIMIT, limit)
            return say("pressure.static_beyond", **here, beyond=part(above))
        return say("pressure.static_not_yet_below", **here, limit=limit)

    def low_cause(self) -> Message | None:
        """Of a supply that stands too low at rest, for its alarm; None where that isn't known."""
        view, point, static = self._view, self._supply_point, self._draws.static_kpa
        if static is None or point is None:
            return None
        here, least = (view.reading(point, kpa) for kpa in (static, self._plan.pressure_low_kpa))
        return say("pressure.static_low", here=here, nominal=part(view.nominal(point)), least=least)

    def _too_low(self, one: Judged) -> Judged:
        cause = self.low_cause()
        return one if cause is None else Judged(UNMET, cause, ask=say("pressure.static_low.ask"))

    # -- what is read by eye

    def _by_eye(self, role: Role, low: float | None, high: float | None, now: Now) -> Judged:
        view, entered = self._view, by_eye.entered(self._view, role, now)
        if entered is None:
            return by_eye.nothing(view, role)
        value, seq, at_ms, by = entered
        read = {"here": quantity(KIND_OF[role], value), "by": name(by)}
        if (low is not None and value < low - AT_LIMIT) or (high is not None and value > high + AT_LIMIT):
            text = say("supply.read_outside", **read)
            return Judged(UNMET, text, seq=seq, evidence_ms=at_ms, ask=say("supply.read_outside.ask"))
        sunk = self._sunk_tap() if role is Role.SUPPLY_PRESSURE else ""
        if sunk:
            text = say("supply.read_but_sunk", **read, point=name(sunk))
            return Judged(UNMET, text, seq=seq, evidence_ms=at_ms, ask=say("supply.read_but_sunk.ask"))
        return Judged(BY_EYE, say("supply.read", **read), seq=seq, evidence_ms=at_ms)

    def _sunk_tap(self) -> str:
        """A pressure behind the supply that rests so low that the supply can't be within its limits; "" where none does."""
        for tap, point in self._view.points.taps.items():
            rest = None if tap == "supply" else self._draws.rest_kpa(tap)
            if point is None or rest is None or point in self._view.situation.silent:
                continue
            if rest < self._plan.pressure_low_kpa - LOW_KPA:
                return point
        return ""

    def has_tap_sunk(self) -> bool:
        """Has it changed which pressure behind the supply rests too low? Only what is read by eye is held against it."""
        was, self._sunk = self._sunk, self._sunk_tap()
        return was != self._sunk

    # -- what is doubted

    def _believed(self, judged: Judged, *points: str | None) -> Judged:
        """As judged by these points and the flow; unknown where they are contradicted, unless it is unmet all the same."""
        doubt = self._doubts.doubt_about((self._flow_point, *points))
        if doubt is None or judged.state in (UNMET, BY_EYE):
            return judged
        return judged.doubted(*doubt)

    def _unless_doubted(self, one: Judged, drawn: str | None, beside: str | None) -> Judged:
        """A condition that reads as met: unknown where what it rests on is doubted, of the draw or of the points themselves."""
        doubts = self._doubts
        doubt = doubts.evidence_doubt("static_low") or doubts.drawn_doubt(drawn)
        doubt = doubt or doubts.doubt_about((self._flow_point, beside))
        return one if doubt is None else one.doubted(*doubt)
