"""The condition `filter:<id>`: a stage's drop at the reference flow, and its age."""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import DoubtRegister
from edge.domain.entries import Now
from edge.domain.messages import Doubt, ago, difference, name, number, part, say, then
from edge.domain.readings import Kind, Role
from edge.domain.records.book import months_later_ms
from edge.domain.sensing.calibration import K_CALIBRATED, combined, probability_within
from edge.domain.station import by_eye
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, beyond, by_fact
from edge.domain.station.parts.filters.estimates import FilterEstimates, blind
from edge.domain.station.recalibrated import Recalibrations
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.filter_train import TRAIN
from edge.domain.water.normalise import GAINS_AT_MOST_KPA

#: what tells more of a filter
DRAW: Final = say("draw.ask")


class FilterCondition:
    """Judges each stage. Changes nothing.

    Args:
        evidence: what draws showed; the filter train.
        doubts: which points are doubted.
        estimates: what is told of the filters beside.
        recalibrations: what calibrations have to do with them.
    """

    def __init__(
        self, view: View, evidence: DrawHistory, doubts: DoubtRegister, estimates: FilterEstimates, recalibrations: Recalibrations
    ) -> None:  # fmt: skip
        self._view, self._evidence, self._doubts = view, evidence, doubts
        self._estimates, self._recalibrations = estimates, recalibrations
        self._flow_point = view.points.first(Role.SUPPLY_FLOW)

    def judge(self, ident: str, now: Now) -> Judged:
        """As it is now."""
        one = self.by_drop_and_age(ident, now)
        if one.state == MET:
            doubt = self._doubt(ident)
            one = one if doubt is None else one.doubted(*doubt)
        return self._recalibrations.past_due(one, tuple(self._view.points.taps.values()), now)

    def _doubt(self, ident: str) -> Doubt | None:
        """Why a condition that reads as met isn't known."""
        doubts, taps = self._doubts, self._view.points.taps
        stage = doubts.evidence_doubt(f"stage:{ident}") or doubts.evidence_doubt(f"stage:{TRAIN}")
        around = (taps[tap] for tap in self._evidence.train.taps_of(ident))
        return stage or doubts.doubt_about((*around, self._flow_point))

    def by_drop_and_age(self, ident: str, now: Now) -> Judged:
        """Its drop at the reference flow, and its age, as its alarm goes by them."""
        view, train, told = self._view, self._evidence.train, self._estimates
        stage = next(f for f in view.settings.filters if f.id == ident)
        change, failed = view.book.last_change(ident), view.book.failed(ident)
        change_it = say("filter.change", filter=name(ident))
        if failed is not None:
            return by_fact(UNMET, say("filter.failed", by=failed.by), failed, change_it)
        drop, seq, at_ms, fresh = told.dropped(ident, now)
        text = say("filter.no_drop") if drop is None else say("filter.drop", drop=difference(Kind.PRESSURE, drop))
        seen = train.of(ident)
        taps = self._taps_of(ident)
        u = self._drop_u(taps)
        sure = None
        if drop is not None and stage.drop_limit_kpa is not None and seen is not None and not train.is_lumped:
            limit = stage.drop_limit_kpa
            sure = None if u is None else round(probability_within(drop, u, None, limit), 3)
            above = drop - seen.doubt_kpa(drop) + K_CALIBRATED * (u or 0.0) > limit + AT_LIMIT
            if above or seen.is_due:
                most = difference(Kind.PRESSURE, limit)
                passed = beyond("above", drop > limit, most) if above else say("filter.was_above", limit=most)
                return Judged(
                    UNMET,
                    say("filter.beyond", drop=part(text), beyond=part(passed)),
                    ask=change_it,
                    seq=seq,
                    evidence_ms=at_ms,
                    probability=sure,
                )
        if change is not None and stage.replace_after_months is not None:
            due_ms = months_later_ms(change.at_ms, stage.replace_after_months, view.zone)
            if now.trusted and now.wall_ms >= due_ms:
                age, months = ago(now.wall_ms - change.at_ms), number(stage.replace_after_months, "month")
                return by_fact(UNMET, say("filter.due_by_age", age=age, months=months), change, change_it)
        if stage.replace_after_months is not None and change is None:
            ask = say("filter.no_change.ask", filter=name(ident))
            return Judged(UNKNOWN, say("filter.no_change", drop=part(text)), ask=ask)
        if seen is not None and (fell := told.fell(seen)) is not None:
            ask = say("filter.fell.ask", filter=name(ident))
            return Judged(UNKNOWN, fell, ask=ask, seq=seq, evidence_ms=at_ms)
        if stage.drop_limit_kpa is not None:
            doubt = self._doubts.doubt_about(view.points.taps.values())
            if doubt is not None:
                return Judged(UNKNOWN, doubt.cause, ask=doubt.advice, seq=seq, evidence_ms=at_ms)
            if train.is_lumped:
                return self._lumped(ident, stage.drop_limit_kpa, now)
            if drop is None and (never := told.never_seen(ident)) is not None:
                if isinstance(never, Role) and never in view.settings.not_fitted:
                    ask = say("filter.by_eye.ask", role=name(never))
                    return Judged(UNKNOWN, say("filter.by_eye"), ask=ask)
                return (
                    by_eye.nothing(view, never) if isinstance(never, Role) else Judged(UNKNOWN, never[0], ask=never[1])
                )
            if drop is None or not fresh:
                return Judged(UNKNOWN, say("filter.no_draw"), ask=DRAW, seq=seq, evidence_ms=at_ms)
            if drop < -GAINS_AT_MOST_KPA:
                return Judged(UNKNOWN, say("filter.gains", drop=part(text)), ask=say("filter.gains.ask"))
            if drop > stage.drop_limit_kpa + AT_LIMIT:  # but not for certain, see above
                limit_kpa = difference(Kind.PRESSURE, stage.drop_limit_kpa)
                text = say("filter.perhaps_above", drop=part(text), limit=limit_kpa, why=part(blind(seen)))
                ask = say("filter.perhaps_above.ask")
                return Judged(UNKNOWN, text, ask=ask, seq=seq, evidence_ms=at_ms)
        if stage.drop_limit_kpa is not None:
            text = view.nominally(text, *taps)
        text = then(text, told.left(ident, now))
        return Judged(MET, text, seq=seq, evidence_ms=at_ms, probability=sure)

    def _lumped(self, ident: str, limit_kpa: float, now: Now) -> Judged:
        """A filter of a train without a pressure between its stages: what the drop over all of them lets say of one."""
        view, train, told = self._view, self._evidence.train, self._estimates
        total, seq, at_ms, fresh = told.dropped(TRAIN, now)
        if total is None or not fresh:
            return Judged(UNKNOWN, say("filter.no_draw_lumped"), ask=DRAW, seq=seq, evidence_ms=at_ms)
        limits = [f.drop_limit_kpa for f in view.settings.filters]
        text = say("filter.total", total=difference(Kind.PRESSURE, total))
        taps = [tap for tap in map(view.points.taps.get, ("supply", "filtered")) if tap is not None]
        if total + K_CALIBRATED * (self._drop_u(taps) or 0.0) <= limit_kpa + AT_LIMIT:
            text = then(view.nominally(text, *taps), told.left(ident, now))
            return Judged(MET, text, seq=seq, evidence_ms=at_ms)
        seen = train.of(ident)
        doubt = 0.0 if seen is None else seen.doubt_kpa(total)
        is_due = seen is not None and seen.is_due
        if None not in limits and (is_due or total - doubt > sum(filter(None, limits)) + AT_LIMIT):
            text, ask = say("filter.total_above", total=part(text)), say("filter.total_above.ask")
            return Judged(UNMET, text, ask=ask, seq=seq, evidence_ms=at_ms)
        text = say("filter.alone_may_be", total=part(text), limit=difference(Kind.PRESSURE, limit_kpa))
        ask = say("filter.alone_may_be.ask", filter=name(ident))
        return Judged(UNKNOWN, text, ask=ask, seq=seq, evidence_ms=at_ms)

    def _taps_of(self, ident: str) -> list[str]:
        """The pressure points before and after a stage; those that the station has."""
        taps, filters = list(self._view.points.taps.values()), self._view.settings.filters
        at, n = [f.id for f in filters].index(ident), len(filters)
        around = (taps[0], taps[2] or taps[1]) if n == 1 else (taps[at], taps[at + 1]) if at < 2 else ()
        return [tap for tap in around if tap is not None]

    def _drop_u(self, taps: list[str]) -> float | None:
        """Standard uncertainty of a difference of two calibrated pressures [kPa]; None where one isn't calibrated."""
        corrections = [self._view.watches[tap].correction for tap in taps]
        known = [c.u for c in corrections if c is not None]
        return combined(known) if len(known) == 2 else None
