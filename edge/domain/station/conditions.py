"""May this station start? The conditions, each with its state, its words, since when, and when it will mend itself.

`ready` only where every condition is met (or met by eye); `not_ready` where one is unmet; `unknown` where none is unmet and one is
unknown. Surroundings only: the maker's instructions decide the rest.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.table import LOW_KPA
from edge.domain.entries import Now
from edge.domain.heat.balance import Forecast
from edge.domain.heat.cycle import Phase
from edge.domain.heat.thermostat import words
from edge.domain.readings import CONTACT_WORDS, KIND_OF, REASONS, Kind, Role
from edge.domain.records.book import months_later_ms
from edge.domain.records.counting import looks_for_leaks
from edge.domain.records.entered import entered_value
from edge.domain.roles import ROLES
from edge.domain.sensing.calibration import K_CALIBRATED, combined, probability_within
from edge.domain.station.dropped import no_hold
from edge.domain.station.duty_conditions import (
    daily_test,
    disinfectant,
    outlet_tested,
    seen_by_eye,
    water_path_treatment,
)
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, by_fact
from edge.domain.station.judged import Judged as Judged  # others take it from here
from edge.domain.station.leak_alarm import no_leak_text
from edge.domain.station.published import drop_text, polled_text, said_of, why_text
from edge.domain.station.published_water import blind_text, capacity_text, fell_text, fill_text, filter_text, never_seen
from edge.domain.water.draw_history import LIVE_FROM
from edge.domain.water.filter_train import TRAIN
from edge.domain.water.normalise import GAINS_AT_MOST_KPA
from edge.domain.wording import age_text

if TYPE_CHECKING:
    from edge.domain.station.station import Station

UNCALIBRATED: Final = " (uncalibrated)"
#: what a pressure is judged by where there is no flow meter (inferred_flow.py)
BY_DROP: Final = "no flow meter: taken while the filters take pressure"
STOP_IT: Final = "Shut the stop valve; find where the water comes from"


class Readiness:
    """The conditions of one station, judged on its present state. Reads the station, changes nothing in it."""

    def __init__(self, station: Station) -> None:
        self.station = station
        self._static = Ceiling()
        self._sunk = ""
        settings = station.settings
        self.judges: dict[str, Any] = {"free": self.free, "no_hold": partial(no_hold, station)}
        if settings.reservoir is not None:
            self.judges["reservoir"] = self.reservoir
        if settings.supply is not None:
            self.judges["pressure"] = self.pressure
            self.judges["flow"] = self.flow
        for stage in settings.filters:
            self.judges[f"filter:{stage.id}"] = lambda now, ident=stage.id: self.filter(ident, now)
        for outlet, _ in station.outlets:
            self.judges[f"outlet:{outlet}"] = lambda now, ident=outlet: self.outlet(ident, now)
        if Role.OUTLET_PROTECTION in settings.not_fitted:
            ask = "Have the outlet's trip looked into; reset it once, dry-handed; then read it again"
            self.judges["outlet:by-eye"] = lambda now: self._contact_by_eye(Role.OUTLET_PROTECTION, now, ask)
        if looks_for_leaks(settings):
            self.judges["no_leak"] = self.no_leak
        if settings.daily_test is not None:
            self.judges["daily_test"] = partial(daily_test, station)
        if settings.treatment_contact_ms is not None:
            self.judges["water_path_treatment"] = partial(water_path_treatment, station)
        if settings.reuse_life_ms is not None:
            self.judges["disinfectant"] = partial(disinfectant, station)
        self.judges["sensors"] = self.sensors
        self.judges["clock"] = self.clock

    # -- what people and the machine are doing

    def free(self, now: Now) -> Judged:
        """Not in use, no work declared, powered."""
        s = self.station
        work = s.book.work
        if work is not None:
            return by_fact(
                UNMET, f"work was declared by {work.body.get('by', 'somebody')}", work, "End the declared work"
            )
        if s.phase is Phase.OFF:
            return Judged(UNMET, "the machine has no power", ask="Switch the machine on")
        if s.phase is Phase.IN_USE:
            away = s.warmth is not None and s.warmth.cycle.is_away(now.mono_ms)
            return Judged(UNMET, self._running() if away else "water is being drawn", mends=True)
        if s.power_point is not None and s.watches[s.power_point].value(now.mono_ms) is None:
            return Judged(UNKNOWN, "whether the machine has power is not known")
        if Role.MACHINE_POWER in s.settings.not_fitted:
            eye = self._contact_by_eye(Role.MACHINE_POWER, now, "Switch the machine on, and read it again")
            return eye._replace(text=f"power {eye.text}")
        return Judged(MET, "not in use")

    def _running(self) -> str:
        short = self.station.transfers.short
        return "a cycle is running: the heated liquid is away" + (f"; {short}" if short else "")

    # -- the reservoir

    def reservoir(self, now: Now) -> Judged:
        """Warm enough for today's room, not too hot for the label."""
        s, plan, warmth = self.station, self.station.settings.reservoir, self.station.warmth
        assert plan is not None and warmth is not None
        if s.reservoir_point is None:
            return self._by_eye_temperature(now)
        liquid = s.watches[s.reservoir_point].value(now.mono_ms)
        if liquid is None and self.entered(Role.RESERVOIR_TEMPERATURE, now) is not None:
            eye = self._by_eye_temperature(now)
            return eye._replace(text=f"{eye.text}; {self._broken(s.reservoir_point)}")
        if liquid is None:
            return Judged(
                UNKNOWN,
                f"the reservoir's temperature is not known: {self._why(s.reservoir_point)}"
                + self._overtaken(Role.RESERVOIR_TEMPERATURE),
                ask=self._advice(s.reservoir_point),
            )
        cold, assumed = s.cold_now(now)
        enter, leave = warmth.limits(cold)
        read_ms = now.wall_ms - (now.mono_ms - s.watches[s.reservoir_point].good_ms)
        sure = self._probability(s.reservoir_point, liquid, leave if warmth.is_warm else enter, None)
        here = s.show(s.reservoir_point, liquid) + s.nominal(s.reservoir_point)
        if not s.watches[s.reservoir_point].is_sure:
            return Judged(UNKNOWN, f"{here}, but {REASONS['perhaps_stuck'].text}", ask=REASONS["perhaps_stuck"].advice)
        basin = warmth.basin_c(liquid, cold)
        guard = s.watches[s.reservoir_point].guard
        if plan.maximum_c is not None and (warmth.hot.over or liquid + guard > plan.maximum_c + AT_LIMIT):
            is_above = "above" if liquid + guard > plan.maximum_c + AT_LIMIT else "not yet for long enough below"
            return Judged(
                UNMET,
                f"{here}, {is_above} the {s.show(s.reservoir_point, plan.maximum_c)} allowed",
                mends=False,
                ask="Let it cool; have the thermostat looked at",
            )
        most = warmth.basin_c(liquid, cold, warmth.share.hot)
        if plan.contact_max_c is not None and (
            warmth.beyond_label.over or most + guard > plan.contact_max_c + AT_LIMIT
        ):
            is_above = "above" if most + guard > plan.contact_max_c + AT_LIMIT else "not yet for long enough below"
            label = s.show(s.reservoir_point, plan.contact_max_c)
            text = f"{here}: the basin would see {s.show(s.reservoir_point, most)}, {is_above} the label's {label}"
            return Judged(UNMET, text, ask="Lower the set point within the label's range, or let it cool")
        room = f"{'an assumed' if assumed else 'a'} room of {s.show(s.reservoir_point, cold)}, transfer loss {warmth.share.words}"
        low = warmth.trough(enter + guard, cold)
        too_low = "" if low is None else f"; {words(low, partial(s.show, s.reservoir_point))}"
        evidence: dict[str, Any] = {} if sure is None else {"probability": sure, "evidence_ms": read_ms}
        if warmth.is_warm:
            text = f"{here}, {s.show(s.reservoir_point, leave)} needed in {room}{too_low}"
            return Judged(MET, self._nominally(text, s.reservoir_point), **evidence)
        there = s.show(s.reservoir_point, basin)
        if warmth.unsure:
            need = s.show(s.reservoir_point, leave)
            text = f"{here} {warmth.unsure}; {need} needed in {room}{too_low}"
            return Judged(UNMET, text, mends=True, when=warmth.until(cold, now.mono_ms), **evidence)
        above = ", not yet for long enough above the" if liquid >= enter + guard - AT_LIMIT else ";"
        text = (
            f"{here}{above} {s.show(s.reservoir_point, enter)} needed in {room}, the basin would see {there}{too_low}"
        )
        if s.phase is Phase.OFF or s.outages.heater_is_tripped(now.mono_ms):
            return Judged(UNMET, text, ask="Get the heater's power back", **evidence)
        when = warmth.until(cold, now.mono_ms)
        if when.in_ms is not None and when.why:
            text += f"; {why_text(s, when)}"
        return Judged(UNMET, text, mends=True, when=when, **evidence)

    def _nominally(self, text: str, *points: str | None) -> str:
        """The words of a condition that is met, where one of the points that it rests on is uncalibrated: only nominally."""
        watches = self.station.watches
        if all(p is None or watches[p].correction is not None for p in points):
            return text
        return text.replace(UNCALIBRATED, "") + "; met nominally: uncalibrated"

    def _probability(self, point: str, value: float, low: float | None, high: float | None) -> float | None:
        """That the true value lies within its limits; None for a point that isn't calibrated."""
        correction = self.station.watches[point].correction
        return None if correction is None else round(probability_within(value, correction.u, low, high), 3)

    def _by_eye_temperature(self, now: Now) -> Judged:
        warmth = self.station.warmth
        assert warmth is not None
        entered = self.entered(Role.RESERVOIR_TEMPERATURE, now)
        if entered is None:
            return self._nothing(Role.RESERVOIR_TEMPERATURE)
        value, seq, at_ms, by = entered
        enter, _ = warmth.limits(self.station.cold_now(now)[0])
        here, need = (said_of(self.station, Kind.TEMPERATURE, c) for c in (value, enter))
        too_hot = self._too_hot(value, here, self.station.cold_now(now)[0])
        if too_hot:
            return Judged(
                UNMET, f"{too_hot}, read by {by}", seq=seq, evidence_ms=at_ms, ask="Let it cool and read again"
            )
        text, is_warm = f"{here} read by {by}; {need} needed", value >= enter - AT_LIMIT
        ask = "" if is_warm else "Wait and read again"
        return Judged(BY_EYE if is_warm else UNMET, text, seq=seq, evidence_ms=at_ms, ask=ask)

    def _too_hot(self, liquid: float, here: str, cold: float) -> str:
        """What is wrong with a temperature read by eye that is above the vessel's maximum or the label's; "" where it isn't."""
        plan, warmth, said = self.station.settings.reservoir, self.station.warmth, partial(said_of, self.station)
        assert plan is not None and warmth is not None
        if plan.maximum_c is not None and liquid > plan.maximum_c + AT_LIMIT:
            return f"{here}, above the {said(Kind.TEMPERATURE, plan.maximum_c)} allowed"
        most = warmth.basin_c(liquid, cold, warmth.share.hot)
        if plan.contact_max_c is not None and most > plan.contact_max_c + AT_LIMIT:
            there, label = (said(Kind.TEMPERATURE, c) for c in (most, plan.contact_max_c))
            return f"{here}: the basin would see {there}, above the label's {label}"
        return ""

    # -- the water

    def pressure(self, now: Now) -> Judged:
        """Dynamic pressure within its limits in the last steady draw, static pressure not too high."""
        s, plan = self.station, self.station.settings.supply
        assert plan is not None
        high = s.desk.alarms.get("static_high")
        if high is not None and high.present and s.supply_point is not None and high.value is not None:
            return Judged(
                UNMET,
                f"{s.show(s.supply_point, high.value)} while nothing draws: too high",
                ask="Have the supply's regulator set",
            )
        if s.supply_point is not None and self._static.over:
            return Judged(
                UNMET,
                self._static_text(s.supply_point, plan.static_high_kpa or 0.0),
                ask="Have the supply's regulator set",
            )
        point, least, most = s.supply_point, plan.pressure_low_kpa, plan.pressure_high_kpa
        judged = self._believed(self._drawn("supply_kpa", Role.SUPPLY_PRESSURE, point, least, most, now), point)
        if point is not None and judged.state != UNMET and self.entered(Role.SUPPLY_PRESSURE, now) is not None:
            eye = self._by_eye_drawn(Role.SUPPLY_PRESSURE, least, most, now)
            return eye._replace(text=f"{eye.text}; {self._broken(point)}")
        if judged.state not in (MET, UNMET):
            return judged
        return judged._replace(text=judged.text + capacity_text(s, now))

    def flow(self, now: Now) -> Judged:
        """Flow within its limits in the last steady draw."""
        plan = self.station.settings.supply
        assert plan is not None
        point, low, high = self.station.flow_point, plan.flow_low_l_min, plan.flow_high_l_min
        judged = self._believed(self._drawn("flow_l_min", Role.SUPPLY_FLOW, point, low, high, now))
        return judged._replace(text=judged.text + fill_text(self.station)) if judged.state in (MET, UNMET) else judged

    def _believed(self, judged: Judged, *points: str | None) -> Judged:
        """As judged by these points and the flow; unknown where they are contradicted, unless it is unmet all the same."""
        doubt = self.station.contradictions.doubt_about((self.station.flow_point, *points))
        if doubt is None or judged.state in (UNMET, BY_EYE):
            return judged
        return judged._replace(state=UNKNOWN, text=doubt[0], ask=doubt[1])

    def _drawn(
        self, key: str, role: Role, point: str | None, low: float | None, high: float | None, now: Now
    ) -> Judged:
        s = self.station
        if point is None:
            return self._by_eye_drawn(role, low, high, now)
        if s.flow_point is None and s.meterless is None:
            return self._nothing(Role.SUPPLY_FLOW)
        value, seq, at_ms, fresh = s.drawn(key, now)
        if value is None:
            return Judged(UNKNOWN, "no steady draw of water yet to judge it by", ask="Draw water for half a minute")
        if not fresh:
            return Judged(
                UNKNOWN,
                f"the last steady draw was {age_text(now.wall_ms - (at_ms or now.wall_ms))} ago",
                ask="Draw water for half a minute",
                seq=seq,
                evidence_ms=at_ms,
            )
        text = f"{s.show(point, value)}{s.nominal(point)} while drawing"
        text += "" if s.flow_point is not None else f" ({BY_DROP})"
        sure = self._probability(point, value, low, high)
        side = side_of(value, s.watches[point].guard, low, high)
        if low is not None and side < 0:
            return Judged(
                UNMET,
                f"{text}, {self._beyond('below', value < low - AT_LIMIT, s.show(point, low))}",
                ask="Open the stop valve fully; look at supply and filters; then draw water again",
                seq=seq,
                evidence_ms=at_ms,
                probability=sure,
            )
        if high is not None and side > 0:
            return Judged(
                UNMET,
                f"{text}, {self._beyond('above', value > high + AT_LIMIT, s.show(point, high))}",
                ask="Have the supply's regulator set; then draw water again",
                seq=seq,
                evidence_ms=at_ms,
                probability=sure,
            )
        raised = [s.desk.alarms.get(f"{role.removeprefix('supply_')}_{side}") for side in ("low", "high")]
        if seq is not None and any(a is not None and a.present and (a.seq or 0) > seq for a in raised):
            text += ", but it raised an alarm in a later draw whose end was not seen"
            return Judged(UNKNOWN, text, ask="Draw water for half a minute", seq=seq, evidence_ms=at_ms)
        return Judged(MET, self._nominally(text, point), seq=seq, evidence_ms=at_ms, probability=sure)

    def has_static_moved(self, mono_ms: int) -> bool:
        """Has it changed whether the static pressure counts as too high, or as too near to it? Its alarm may be tuned otherwise."""
        s, plan, was = self.station, self.station.settings.supply, self._static.over
        static = None if s.draws is None else s.draws.settled_kpa
        if static is not None and plan is not None and s.supply_point is not None:
            self._static.see(static + s.watches[s.supply_point].guard, plan.static_high_kpa, mono_ms)
        return was is not self._static.over

    def _static_text(self, point: str, limit_kpa: float) -> str:
        s, limit = self.station, self.station.show(point, limit_kpa)
        static, guard = None if s.draws is None else s.draws.settled_kpa, s.watches[point].guard
        if static is None:
            return f"while nothing draws it was above {limit}"
        here = f"{s.show(point, static)}{s.nominal(point)} while nothing draws"
        if side_of(static, guard, None, limit_kpa) > 0:
            return f"{here}, {self._beyond('above', static > limit_kpa + AT_LIMIT, limit)}"
        return f"{here}, not yet for long enough below {limit}"

    def drawn_sides(self) -> tuple[int | None, ...]:
        """Where the draw under way stands in its limits, pressure and flow: see `side_of`; None where it tells nothing yet."""
        s, plan = self.station, self.station.settings.supply
        draw = None if s.draws is None else s.draws.draw
        if draw is None or plan is None:
            return ()
        judged = (
            (draw.supply, s.supply_point, plan.pressure_low_kpa, plan.pressure_high_kpa),
            (draw.flow, s.flow_point, plan.flow_low_l_min, plan.flow_high_l_min),
        )
        return tuple(
            None if mean.n < LIVE_FROM or mean.value is None or point is None
            else side_of(mean.value, s.watches[point].guard, low, high)
            for mean, point, low, high in judged
        )  # fmt: skip

    def _by_eye_drawn(self, role: Role, low: float | None, high: float | None, now: Now) -> Judged:
        entered = self.entered(role, now)
        if entered is None:
            return self._nothing(role)
        value, seq, at_ms, by = entered
        here = said_of(self.station, KIND_OF[role], value)
        if (low is not None and value < low - AT_LIMIT) or (high is not None and value > high + AT_LIMIT):
            return Judged(
                UNMET,
                f"{here} read by {by}: outside its limits",
                seq=seq,
                evidence_ms=at_ms,
                ask="Mend it and read again",
            )
        sunk = self._sunk_tap() if role is Role.SUPPLY_PRESSURE else ""
        if sunk:
            text = f"{here} read by {by}, but since then {sunk} rests below the least that drawing takes"
            return Judged(UNMET, text, seq=seq, evidence_ms=at_ms, ask="Open the stop valve fully; then read again")
        return Judged(BY_EYE, f"{here} read by {by}", seq=seq, evidence_ms=at_ms)

    def _sunk_tap(self) -> str:
        """A pressure behind the supply that rests so low that the supply can't be within its limits; "" where none does."""
        s, plan = self.station, self.station.settings.supply
        for tap, point in s.taps.items():
            rest = None if s.draws is None or tap == "supply" else s.draws.rest_kpa(tap)
            if plan is None or point is None or rest is None or point in s.silence.points:
                continue
            if rest < plan.pressure_low_kpa - LOW_KPA:
                return point
        return ""

    def has_tap_sunk(self) -> bool:
        """Has it changed which pressure behind the supply rests too low? Only what is read by eye is held against it."""
        was, self._sunk = self._sunk, self._sunk_tap()
        return was != self._sunk

    def filter(self, ident: str, now: Now) -> Judged:
        """Its drop at the reference flow, and its age."""
        s = self.station
        stage = next(f for f in s.settings.filters if f.id == ident)
        change, failed = s.book.last_change(ident), s.book.failed(ident)
        if failed is not None:
            who = failed.body.get("by", "somebody")
            return by_fact(UNMET, f"{who} looked at it and found that it failed", failed, f"Change filter {ident}")
        drop, seq, at_ms, fresh = s.dropped(ident, now)
        text = f"{drop_text(s, drop)} of drop at the reference flow" if drop is not None else "no drop known"
        seen = s.evidence.train.of(ident)
        taps = self._taps_of(ident)
        u = self._drop_u(taps)
        sure = None
        if (
            drop is not None
            and stage.drop_limit_kpa is not None
            and seen is not None
            and not s.evidence.train.is_lumped
        ):
            limit = stage.drop_limit_kpa
            sure = None if u is None else round(probability_within(drop, u, None, limit), 3)
            above = drop - seen.doubt_kpa(drop) + K_CALIBRATED * (u or 0.0) > limit + AT_LIMIT
            if above or seen.is_due:
                beyond = self._beyond("above", drop > limit, drop_text(s, limit))
                return Judged(
                    UNMET,
                    f"{text}, {beyond if above else f'after it was above {drop_text(s, limit)}'}",
                    ask=f"Change filter {ident}",
                    seq=seq,
                    evidence_ms=at_ms,
                    probability=sure,
                )
        if change is not None and stage.replace_after_months is not None:
            due_ms = months_later_ms(change.at_ms, stage.replace_after_months, s.zone)
            if now.trusted and now.wall_ms >= due_ms:
                age, months = age_text(now.wall_ms - change.at_ms), stage.replace_after_months
                return by_fact(
                    UNMET, f"changed {age} ago, after {months} months it is due", change, f"Change filter {ident}"
                )
        if stage.replace_after_months is not None and change is None:
            return Judged(
                UNKNOWN, f"{text}; no change of it on record", ask=f"Record when filter {ident} was last changed"
            )
        if seen is not None and seen.fell is not None:
            ask = f"Record the change of filter {ident}, or have it and its seals looked at and record that service"
            return Judged(UNKNOWN, fell_text(s, seen), ask=ask, seq=seq, evidence_ms=at_ms)
        if stage.drop_limit_kpa is not None:
            doubt = s.contradictions.doubt_about(s.taps.values())
            if doubt is not None:
                return Judged(UNKNOWN, doubt[0], ask=doubt[1], seq=seq, evidence_ms=at_ms)
            if s.evidence.train.is_lumped:
                return self._lumped(ident, stage.drop_limit_kpa, now)
            if drop is None and (never := never_seen(s, ident)) is not None:
                if isinstance(never, Role) and never in s.settings.not_fitted:
                    text = "its drop can't be told by what is read by eye"
                    return Judged(UNKNOWN, text, ask=f"Fit a point for {never}, or leave drop_limit out")
                return self._nothing(never) if isinstance(never, Role) else Judged(UNKNOWN, never[0], ask=never[1])
            if drop is None or not fresh:
                return Judged(
                    UNKNOWN,
                    "no steady draw of late to judge its drop by",
                    ask="Draw water for half a minute",
                    seq=seq,
                    evidence_ms=at_ms,
                )
            if drop < -GAINS_AT_MOST_KPA:
                return Judged(
                    UNKNOWN,
                    f"{text}: a filter can't gain pressure",
                    ask="Check whether the pressure plugs are exchanged",
                )
            if drop > stage.drop_limit_kpa + AT_LIMIT:  # but not for certain, see above
                text = f"{text}, perhaps above {drop_text(s, stage.drop_limit_kpa)}: {blind_text(seen)}"
                return Judged(UNKNOWN, text, ask="Measure the water's temperature", seq=seq, evidence_ms=at_ms)
        if stage.drop_limit_kpa is not None:
            text = self._nominally(text, *taps)
        return Judged(MET, text + filter_text(s, ident, now), seq=seq, evidence_ms=at_ms, probability=sure)

    def _lumped(self, ident: str, limit_kpa: float, now: Now) -> Judged:
        """A filter of a train without a pressure between its stages: what the drop over all of them lets say of one."""
        s = self.station
        total, seq, at_ms, fresh = s.dropped(TRAIN, now)
        if total is None or not fresh:
            ask = "Draw water for half a minute"
            return Judged(
                UNKNOWN, "no steady draw of late to judge the filters' drop by", ask=ask, seq=seq, evidence_ms=at_ms
            )
        limits = [f.drop_limit_kpa for f in s.settings.filters]
        text = f"{drop_text(s, total)} of drop over all filters, no pressure between them"
        taps = [tap for tap in (s.taps["supply"], s.taps["filtered"]) if tap is not None]
        if total + K_CALIBRATED * (self._drop_u(taps) or 0.0) <= limit_kpa + AT_LIMIT:
            return Judged(MET, self._nominally(text, *taps) + filter_text(s, ident, now), seq=seq, evidence_ms=at_ms)
        seen = s.evidence.train.of(ident)
        doubt = 0.0 if seen is None else seen.doubt_kpa(total)
        is_due = seen is not None and seen.is_due
        if None not in limits and (is_due or total - doubt > sum(filter(None, limits)) + AT_LIMIT):
            ask = "Change the filters; fit a pressure point between them to tell which"
            return Judged(UNMET, f"{text}: more than their limits together", ask=ask, seq=seq, evidence_ms=at_ms)
        ask = f"Fit a pressure point between the filters, or change filter {ident}"
        text += f": this one alone may be above {drop_text(s, limit_kpa)}"
        return Judged(UNKNOWN, text, ask=ask, seq=seq, evidence_ms=at_ms)

    def _taps_of(self, ident: str) -> list[str]:
        """The pressure points before and after a stage; those that the station has."""
        s = self.station
        taps = [s.taps["supply"], s.taps["between"], s.taps["filtered"]]
        at, n = [f.id for f in s.settings.filters].index(ident), len(s.settings.filters)
        around = (taps[0], taps[2] or taps[1]) if n == 1 else (taps[at], taps[at + 1]) if at < 2 else ()
        return [tap for tap in around if tap is not None]

    def _drop_u(self, taps: list[str]) -> float | None:
        """Standard uncertainty of a difference of two calibrated pressures [kPa]; None where one isn't calibrated."""
        corrections = [self.station.watches[tap].correction for tap in taps]
        known = [c.u for c in corrections if c is not None]
        return combined(known) if len(known) == 2 else None

    @staticmethod
    def _beyond(side: str, truly: bool, limit: str) -> str:
        """A limit that is passed, or that is too near for the uncertainty."""
        return f"{side} {limit}" if truly else f"too near to {limit} for its uncertainty"

    def outlet(self, ident: str, now: Now) -> Judged:
        """The ground-fault outlet is live."""
        s = self.station
        point = next(p for o, p in s.outlets if o == ident)
        ask = f"Have the {ident} outlet's trip looked into; reset it once, dry-handed"
        failed = outlet_tested(s, ident, now) or seen_by_eye(s, Role.OUTLET_PROTECTION, now, ask)
        if failed is not None:
            return failed
        value = s.watches[point].value(now.mono_ms)
        if value is None:
            return Judged(UNKNOWN, f"not known: {self._why(point)}", ask=self._advice(point))
        if value:
            return Judged(UNMET, "tripped", ask=ask)
        if s.desk.alarms[f"outlet_tripped:{ident}"].present:
            return Judged(
                UNKNOWN, "live at this moment, but its trip comes and goes", ask=f"Have the {ident} outlet looked into"
            )
        left_ms = s.outages.steady_in_ms(ident, now)
        if left_ms > 0:
            when = Forecast(left_ms, left_ms, left_ms, "")
            return Judged(UNKNOWN, "live again, but not yet for long enough to count as steady", mends=True, when=when)
        return Judged(MET, f"live{polled_text(s, [point])}")

    def no_leak(self, now: Now) -> Judged:
        """No water where none should be."""
        wet = seen_by_eye(self.station, Role.LEAK, now, STOP_IT)
        if wet is not None:
            return wet
        seen, looked_at = self._no_leak(now), self.station.settings.not_fitted
        if Role.LEAK not in looked_at or seen.state not in (MET, BY_EYE):
            return seen
        eye = self._contact_by_eye(Role.LEAK, now, STOP_IT)
        return eye._replace(text=f"{seen.text}; {eye.text}") if eye.state == BY_EYE else eye

    def _no_leak(self, now: Now) -> Judged:
        s = self.station
        alarm = s.desk.alarms.get("leak")
        if alarm is None:
            return Judged(MET, "no leak seen")
        if alarm.present or alarm.condition:
            return Judged(UNMET, alarm.cause, ask=STOP_IT)
        silent = [p for p in s.leak_points if s.watches[p].value(now.mono_ms) is None]
        if silent:
            return Judged(UNKNOWN, f"not known: {self._why(silent[0])}", ask=self._advice(silent[0]))
        plan, flow = s.settings.supply, s.flow_point
        if plan is None or plan.leak_volume_l is None:
            return Judged(MET, f"no leak seen{polled_text(s, s.leak_points)}")
        if flow is None:
            return self._no_leak_by_eye(now)
        if s.watches[flow].value(now.mono_ms) is None:
            return Judged(UNKNOWN, f"not known: {flow}: {self._why(flow)}", ask=self._advice(flow))
        return self._believed(Judged(MET, no_leak_text(s) + polled_text(s, s.leak_points)))

    def _no_leak_by_eye(self, now: Now) -> Judged:
        """No meter tells what passes: a dry contact does for the water that it can see, and so does whoever reads the meter."""
        if self.station.leak_points or Role.LEAK in self.station.settings.not_fitted:
            polled = polled_text(self.station, self.station.leak_points)
            return Judged(MET, f"no leak seen{polled}; no flow meter tells what passes unseen")
        entered = self.entered(Role.SUPPLY_FLOW, now)
        if entered is None:
            return self._nothing(Role.SUPPLY_FLOW)
        _, seq, at_ms, by = entered
        return Judged(BY_EYE, f"no leak seen; {by} read the meter", seq=seq, evidence_ms=at_ms)

    def _contact_by_eye(self, role: Role, now: Now, ask: str) -> Judged:
        """What people read of a contact that [not_fitted] names: fine as long as it stands."""
        seen, entered = seen_by_eye(self.station, role, now, ask), self.entered(role, now)
        if seen is not None:
            return seen
        if entered is None:
            return self._nothing(role)
        value, seq, at_ms, by = entered
        is_fine = value == float(role is Role.MACHINE_POWER)
        text = f"{CONTACT_WORDS[role][int(value)]}, read by {by}"
        return Judged(BY_EYE if is_fine else UNMET, text, seq=seq, evidence_ms=at_ms, ask="" if is_fine else ask)

    # -- the instrument itself

    def sensors(self, now: Now) -> Judged:
        """Every point that decides is heard."""
        s = self.station
        silent = [p for p in sorted(s.silence.points) if self._decides(p) and not self._is_read_instead(p, now)]
        if silent:
            names = ", ".join(f"{p} ({self._why(p)})" for p in silent)
            return Judged(UNKNOWN, f"not heard: {names}", ask=self._advice(silent[0]))
        if s.silence.points:
            eye = ", or read by eye" if any(self._is_read_instead(p, now) for p in s.silence.points) else ""
            return Judged(MET, f"all that decide are heard{eye}; not heard: " + ", ".join(sorted(s.silence.points)))
        waiting = [
            p for p, w in s.watches.items() if w.good is None and self._decides(p) and not self._is_read_instead(p, now)
        ]
        if waiting:
            return Judged(UNKNOWN, "no reading yet: " + ", ".join(waiting))
        return Judged(MET, "all are heard")

    def clock(self, now: Now) -> Judged:
        """Dates can be told."""
        if now.trusted:
            return Judged(MET, "trusted")
        return Judged(
            UNKNOWN,
            "the clock is not trusted yet: due dates can't be told",
            mends=True,
            ask="See that the board reaches its time server; where its date is months from the last one and right, record clock_confirmed",
        )

    # -- helpers

    def entered(self, role: Role, now: Now) -> tuple[float, int | None, int, str] | None:
        """(value in the unit of the role's kind, seq, at_ms, by) of an entered reading that has not expired."""
        stands_ms = self.station.settings.not_fitted.get(role)
        fact = self.station.book.last("entered_reading", role=str(role))
        point = self.station.entered.point_of(role)
        if point is not None:
            stands_ms = point.stale_after_ms
            fact = self.station.book.last("entered_reading", point=point.id)
        if fact is None or stands_ms is None or not now.trusted or now.wall_ms - fact.at_ms > stands_ms:
            return None
        sensor, told = self.station.entered.sensor_of(role), self.station.entered
        if sensor is not None and (
            self.station.watches[sensor].value(now.mono_ms) is not None or fact.at_ms < told.last_good_ms(sensor, now)
        ):
            return None  # the sensor answers, or has since somebody looked
        if told.overtaken(role, fact):
            return None
        value = entered_value(role, fact.body)
        return None if value is None else (value, fact.seq, fact.at_ms, str(fact.body.get("by", "somebody")))

    def _overtaken(self, role: Role) -> str:
        """What happened since somebody read it by eye, to be said behind that no such reading stands."""
        fact = self.station.book.last("entered_reading", role=str(role))
        what = "" if fact is None else self.station.entered.overtaken(role, fact)
        return what and f"; since somebody read it {what}"

    def _nothing(self, role: Role) -> Judged:
        point = self.station.entered.point_of(role)
        if point is not None:
            return Judged(
                UNKNOWN, f"no reading of {point.id} by eye that still stands", ask=f"Read {point.id} and enter it"
            )
        if role in self.station.settings.not_fitted:
            return Judged(
                UNKNOWN,
                f"no reading of {role} by eye that still stands{self._overtaken(role)}",
                ask=f"Read {role} by eye and enter it",
            )
        return Judged(
            UNKNOWN, f"no point has the role {role}", ask=f"Fit a point for {role}, or name it under [not_fitted]"
        )

    def _decides(self, point: str) -> bool:
        """Does this point's silence make the station's readiness unknown?"""
        role, reservoir = self.station.watches[point].point.role, self.station.settings.reservoir
        if role is Role.ROOM_TEMPERATURE:
            return reservoir is not None and reservoir.coldest_room_c is None
        return not ROLES[role].is_lesser

    def _is_read_instead(self, point: str, now: Now) -> bool:
        """Is a sensor that isn't heard stood in for by what somebody reads?"""
        role = self.station.watches[point].point.role
        return self.station.entered.sensor_of(role) == point and self.entered(role, now) is not None

    def _broken(self, point: str) -> str:
        return f"its sensor {point} is not heard: {self._why(point)}"

    def _why(self, point: str) -> str:
        return REASONS[self.station.watches[point].why_silent()].text

    def _advice(self, point: str) -> str:
        return f"{point}: {REASONS[self.station.watches[point].why_silent()].advice}"


def side_of(value: float, guard: float, low: float | None, high: float | None) -> int:
    """-1: not surely at or above the least, 1: not surely at or below the most, 0: within both (JCGM 106, 8.3, guarded acceptance).

    >>> [side_of(v, 1.0, 10.0, 20.0) for v in (10.9, 11.0, 19.0, 19.1)], side_of(15.0, 0.0, None, 12.0)
    ([-1, 0, 0, 1], 1)
    """
    if low is not None and value - guard < low - AT_LIMIT:
        return -1
    return 1 if high is not None and value + guard > high + AT_LIMIT else 0
