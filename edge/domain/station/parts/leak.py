"""Water where none should be: a wet contact, litres that pass the meter while nothing draws, water that never stops, pressure that bleeds
away at rest. Water that never stops, but is less than what counts as a leak, is told as advice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.doubts.register import DoubtRegister
from edge.domain.entries import Now
from edge.domain.maths.robust import Z90
from edge.domain.messages import Advice, Message, as_told, both, duration, name, number, part, quantity, say
from edge.domain.readings import Kind, Role
from edge.domain.records.counting import looks_for_leaks
from edge.domain.settings import Point
from edge.domain.station import by_eye
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged
from edge.domain.station.part import Judge, Part
from edge.domain.station.published import estimate
from edge.domain.station.view import View
from edge.domain.water.draws import DrawDetector

#: while water is drawn, leaks are looked for so often
LOOK_FOR_LEAK_MS: Final = 60_000
STOP_IT: Final = say("leak.ask")


class Leak(Part):
    """Looks where water is that should not be.

    Args:
        draws: the draw under way, what passes between draws; None at a station without a section [supply].
        doubts: which points are doubted.
    """

    roles = frozenset({Role.LEAK})

    def __init__(self, view: View, draws: DrawDetector | None, doubts: DoubtRegister) -> None:
        self._view, self._draws, self._doubts = view, draws, doubts
        self._points = view.points.ids(Role.LEAK)
        self._supply_point, self._flow_point = (
            view.points.first(role) for role in (Role.SUPPLY_PRESSURE, Role.SUPPLY_FLOW)
        )
        self._look_ms = 0
        self._wet: str | None = None  # the contact that last said so

    def alarm_ids(self) -> Iterable[str]:
        supply = self._view.settings.supply
        return ("leak",) if self._points or (supply is not None and supply.leak_volume_l is not None) else ()

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        self._look(now)

    def flow_heard(self, mono_ms: int, now: Now) -> None:
        """The flow was read: between draws leaks are looked for each time, in a draw now and then."""
        assert self._draws is not None
        if self._draws.draw is None or mono_ms >= self._look_ms:
            self._look_ms = mono_ms + LOOK_FOR_LEAK_MS
            self._look(now)

    def resume(self, now: Now) -> None:
        """What a leak was told by stands until something shows that it is over, or the restart would end it."""
        draws, alarm = self._draws, self._view.alarms.alarms.get("leak")
        if alarm is not None and alarm.present and alarm.point in self._points:
            self._wet = alarm.point
        elif draws is not None and alarm is not None and alarm.present and alarm.value is not None:
            draws.recall_leak(alarm.value, alarm.unit, now.mono_ms)

    def _look(self, now: Now) -> None:
        """See whether water is where none should be. The condition goes by it at once, whatever on-delay the alarm is tuned to."""
        alarm = self._view.alarms.alarms.get("leak")
        was = alarm is not None and alarm.condition
        self._look_for_drip(now)
        self._look_for_leak(now)
        self._view.changed(alarm is not None and alarm.condition is not was)

    def _look_for_leak(self, now: Now) -> None:
        view = self._view
        wet = next((p for p in self._points if view.watches[p].value(now.mono_ms) == 1.0), None)
        supply = view.settings.supply
        limit = supply.leak_volume_l if supply is not None else None
        runs_on_ms = None if self._draws is None else self._draws.runs_on_ms(now.mono_ms)
        bled = self._draws.decay.bled if self._draws is not None and self._supply_point is not None else None
        if wet is None and self._wet is not None and view.watches[self._wet].value(now.mono_ms) is None:
            return  # it said that it is wet, and isn't heard any more
        self._wet = wet
        if wet is not None:
            view.alarms.set_condition("leak", True, now, value=1.0, point=wet, cause=say("leak.wet", point=name(wet)))
        elif (seen := view.book.seen(Role.LEAK)) is not None:
            view.alarms.set_condition("leak", True, now, value=1.0, cause=say("leak.seen_wet", by=seen.by))
        elif runs_on_ms is not None:
            cause = say("leak.runs_on", span=duration(runs_on_ms))
            view.alarms.set_condition(
                "leak", True, now, value=runs_on_ms / 60_000, unit="min", point=self._flow_point, cause=cause
            )
        elif bled is not None and (view.situation.is_resting or view.settings.hours is None):
            before, after = (quantity(Kind.PRESSURE, kpa) for kpa in (bled.from_kpa, bled.to_kpa))
            cause = say("leak.bled", before=before, after=after, within=duration(bled.within_ms))
            view.alarms.set_condition(
                "leak", True, now, value=bled.to_kpa, unit="kPa", point=self._supply_point, cause=cause
            )
        elif limit is not None and supply is not None and self._draws is not None:
            self._draws.leaked.pass_time(now.mono_ms)
            told, leaked = view.alarms.alarms["leak"].condition, self._draws.leaked
            if not told and leaked.most_l <= limit:
                return
            litres = leaked.litres
            active = litres > limit or (told and litres > 0.5 * limit)
            if not active and not told:
                return
            within = duration(supply.leak_within_ms or 0)
            cause = say("leak.passed", litres=number(litres, "L"), within=within)
            view.alarms.set_condition(
                "leak", active, now, value=round(litres, 3), unit="L", limit=limit, point=self._flow_point, cause=cause
            )
        else:
            view.alarms.set_condition("leak", False, now)

    def _look_for_drip(self, now: Now) -> None:
        drip = None if self._draws is None or self._flow_point is None else self._draws.night.take_new()
        if drip is not None:
            self._view.advise(Advice(self._flow_point, "drip", drip.words(), say("leak.drip.advice")), now)

    # -- the condition

    def conditions(self) -> Mapping[str, Judge]:
        return {"no_leak": self.no_leak} if looks_for_leaks(self._view.settings) else {}

    def no_leak(self, now: Now) -> Judged:
        """No water where none should be."""
        wet = by_eye.seen(self._view, Role.LEAK, now, STOP_IT)
        if wet is not None:
            return wet
        seen, looked_at = self._no_leak(now), self._view.settings.not_fitted
        if Role.LEAK not in looked_at or seen.state not in (MET, BY_EYE):
            return seen
        eye = by_eye.contact(self._view, Role.LEAK, now, STOP_IT)
        return eye._replace(text=both(seen.text, eye.text)) if eye.state == BY_EYE else eye

    def _no_leak(self, now: Now) -> Judged:
        view = self._view
        alarm = view.alarms.alarms.get("leak")
        if alarm is None:
            return Judged(MET, self._none())
        if alarm.present or alarm.condition:
            return Judged(UNMET, view.alarms.coming.why(alarm) or as_told(""), ask=STOP_IT)
        silent = [p for p in self._points if view.watches[p].value(now.mono_ms) is None]
        if silent:
            return Judged(UNKNOWN, say("not_known", why=part(view.why_silent(silent[0]))), ask=view.advice(silent[0]))
        plan, flow = view.settings.supply, self._flow_point
        if plan is None or plan.leak_volume_l is None:
            return Judged(MET, self._none(view.polled(self._points)))
        if flow is None:
            return self._no_leak_by_eye(now)
        if view.watches[flow].value(now.mono_ms) is None:
            why = say("not_known_of", point=name(flow), why=part(view.why_silent(flow)))
            return Judged(UNKNOWN, why, ask=view.advice(flow))
        doubt = self._doubts.doubt_about((flow,))
        if doubt is not None:
            return Judged(UNKNOWN, doubt.cause, ask=doubt.advice)
        drip = None if self._draws is None else self._draws.night.drip
        polled = view.polled(self._points)
        if drip is None:
            return Judged(MET, self._none(polled))
        return Judged(MET, say("leak.none_but", drip=part(drip.words()), polled=part(polled)))

    @staticmethod
    def _none(polled: Message | None = None) -> Message:
        return say("leak.none", polled=part(polled))

    def _no_leak_by_eye(self, now: Now) -> Judged:
        """No meter tells what passes: a dry contact does for the water that it can see, and so does whoever reads the meter."""
        if self._points or Role.LEAK in self._view.settings.not_fitted:
            return Judged(MET, say("leak.none_unmetered", polled=part(self._view.polled(self._points))))
        entered = by_eye.entered(self._view, Role.SUPPLY_FLOW, now)
        if entered is None:
            return by_eye.nothing(self._view, Role.SUPPLY_FLOW)
        _, seq, at_ms, by = entered
        return Judged(BY_EYE, say("leak.none_read", by=name(by)), seq=seq, evidence_ms=at_ms)

    # -- the estimate

    def estimates(self, now: Now) -> Mapping[str, dict[str, Any]]:
        if self._draws is None or self._flow_point is None:
            return {}
        least = self._draws.night.least_l_min
        none = estimate("night_flow", "L/min", now, why=say("leak.no_quiet_half_hour"))
        return {"night_flow": none if least is None else self._night(self._flow_point, least, now)}

    def _night(self, point: str, least: float, now: Now) -> dict[str, Any]:
        """The least flow with its interval: half the meter's step is told as none, and what its uncertainty allows."""
        of, watch = "night_flow", self._view.watches[point]
        half = math.hypot(0.5 * (watch.point.resolution or 0.0), Z90 * (watch.u or 0.0))
        if half <= 0.0:
            return estimate(of, "L/min", now, round(least, 4), why=say("leak.least_flow_unsure"))
        low, high = round(max(least - half, 0.0), 4), round(least + half, 4)
        return estimate(of, "L/min", now, round(least, 4), low, high, say("leak.least_flow"))
