"""Gauges, meter and filters against each other: between draws, while something draws unseen, and as a draw has ended.

A fall of the supply's pressure that all taps of the filter train share is no draw: where water flows, filters take pressure; where the
building's supply sags, all taps fall alike, or a check valve holds the pressure behind it. The taps' differences at rest, their zeros, are
taken off first: a sensor of 1 % of 100 psi may read 7 kPa too high.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from itertools import combinations
from typing import Final

from edge.domain.doubts.draws import blind_gauges, empty_stages, exchanged
from edge.domain.doubts.register import ANEW, DoubtRegister
from edge.domain.doubts.rest import Levels, Seen, Sunk, odd
from edge.domain.doubts.silent_draws import Fall, FallCount, SilentDraws
from edge.domain.doubts.table import (
    ALIKE_MS,
    ALIKE_SHARE,
    ALONG_KPA,
    DROP_FROM_MS,
    HOLDS_MS,
    LET_GO_KPA,
    LOW_FROM_MS,
    NEAR_FLOW,
    NOTHING_KPA,
    REFUTED_MS,
    UNSEEN_FROM_MS,
)
from edge.domain.doubts.unseen import Unseen
from edge.domain.entries import Now
from edge.domain.messages import Advice, Message, difference, duration, name, names, number, part, quantity, say
from edge.domain.readings import Kind
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.draws import LOW_KPA, Draw
from edge.domain.water.filter_train import ZERO_AT_MOST_KPA
from edge.domain.water.normalise import GAINS_AT_MOST_KPA

#: The reason of an entry `advice` that tells of a fall: a restart counts them from there.
FALL: Final = "fall"
#: Water that flows back from a hose loses at most this share of what a draw loses over the filters: a hose holds little.
BACK_SHARE: Final = 0.5
#: The static pressure is compared with the last draw this often [ms].
LOOKED_MS: Final = 10_000


class WaterChecks:
    """What the water's points say of one another.

    Args:
        watches: the monitor of every point, by its id.
        flow: the meter's point, or None.
        taps: the pressure points by tap, in the order of flow.
        power: the point that says whether the machine has power, without which it draws nothing; or None.
        evidence: what finished draws showed, with the filter train: its taps' zeros, its stages.
        doubts: where those that fail are written down.
        advise: called with what is to be looked at before anything is doubted.
    """

    def __init__(
        self, settings: Settings, watches: Mapping[str, PointMonitor], flow: str | None, taps: Mapping[str, str], power: str | None,
        evidence: DrawHistory, doubts: DoubtRegister, advise: Callable[[Advice], None],
    ) -> None:  # fmt: skip
        self._settings, self._watches, self._flow, self._taps, self._doubts = settings, watches, flow, taps, doubts
        self._advise = advise
        self._evidence = evidence
        downstream = [tap for tap in self._taps if tap != "supply"]
        self._last = downstream[-1] if downstream else None
        self._holding = (
            downstream[-2] if len(downstream) > 1 else None
        )  # the last tap but one, the witness where the last one loses its pressure
        self._power = None if power is None else watches[power]
        supply = self._taps.get("supply")
        self.falls = FallCount(evidence)
        gap_ms = 0 if supply is None else watches[supply].point.stale_after_ms
        steady_ms = 0 if settings.supply is None else settings.supply.steady_after_ms
        self._silent_draws, self._unseen = SilentDraws(gap_ms), Unseen(gap_ms, max(steady_ms, UNSEEN_FROM_MS))
        self._levels = Levels(gap_ms)
        self._odd: tuple[str, int] | None = None  # the tap that differs from both others at rest, and since when
        self._alike_ms: int | None = None  # since when the gauges have agreed at rest again
        self._lets_go = False  # the last tap loses its pressure at rest, and shows it in draws
        self._holds_ms: int | None = None  # since when the last tap has held its pressure at rest
        # The train's drop when the meter was doubted [kPa]; the drop at which the meter then proved right [kPa].
        self._drop_kpa: float | None = None
        self._proved_kpa: float | None = None
        self._drop_ms: int | None = None  # since when the filters have taken pressure without flow
        self._low_ms: int | None = None  # since when the static pressure has been too low
        self.is_low = False  # the static pressure is too low, for LOW_FROM_MS
        self._sunk = Sunk()
        self._looked_ms = 0  # when the static pressure was last compared with the last draw's

    def static(self, kpa: float, settled_kpa: float | None, mono_ms: int, now: Now) -> bool:
        """Take one static pressure of the supply and the mean of the last quiet spell [kPa]; True where a doubt has changed."""
        witness = self._holding if self._lets_go else self._last
        last = None if witness is None else self._believed(witness, mono_ms)
        self.unmetered(kpa, mono_ms)
        fall = self._silent_draws.hear(kpa, None if last is None else kpa - last, mono_ms)
        news = self._is_too_low(settled_kpa, mono_ms)
        if settled_kpa is not None and mono_ms - self._looked_ms >= LOOKED_MS:
            self._looked_ms = mono_ms
            news = self._has_sunk(settled_kpa, mono_ms) or news
        if self._flow is None or self._is_off(mono_ms):
            return news
        if fall is not None and self._watches[self._flow].doubt is None:
            falls, wanted = self.falls.add(now), self.falls.wanted
            if falls >= wanted:
                cause = say("doubt.no_pulses", says=part(say("check.no_pulses")), falls=number(falls))
                self._doubts.begin("no_pulses", [self._flow], cause)
                news = True
            else:
                what = _fell(fall, falls, wanted, self._taps["supply"])
                self._advise(Advice(self._flow, FALL, what, say("supply.fall.advice")))
        return self._takes_at_rest(kpa, mono_ms) or news

    def unmetered(self, kpa: float, mono_ms: int) -> None:
        """Take a pressure of the supply [kPa] while the meter shows no draw or is silent: do the pressures show that water is drawn?"""
        plan, supply = self._settings.supply, self._taps.get("supply")
        if plan is None or supply is None or self._flow is None or self._last is None or self._is_off(mono_ms):
            return
        taps: dict[str, float] = {}
        for tap in self._taps:
            tap_kpa = kpa if tap == "supply" else self._believed(tap, mono_ms)
            if tap_kpa is not None:
                taps[tap] = tap_kpa
        apart = self._unseen.hear(taps, mono_ms)
        if apart is None or self._watches[supply].doubt is not None:
            return
        wrong = exchanged([(self._taps[tap], level) for tap, level in apart.level_kpa.items()])
        if (
            wrong
            and apart.has_order
            and (not apart.goes_back_kpa or apart.goes_back_kpa > BACK_SHARE * self._took_kpa())
        ):
            cause = say("doubt.exchanged_unseen", says=part(say("check.exchanged")))
            self._doubts.begin("exchanged", [p for p in self._taps.values() if p in wrong], cause)
        elif (
            apart.is_flow
            and apart.kpa["supply"] < plan.pressure_low_kpa - LOW_KPA
            and "unseen_low" not in self._doubts.doubts
        ):
            here = quantity(Kind.PRESSURE, apart.kpa["supply"], supply)
            self._doubts.begin(
                "unseen_low", [supply], say("doubt.unseen_low", here=here, says=part(say("check.unseen_low")))
            )

    def _took_kpa(self) -> float:
        """The train's drop in the last steady draw [kPa]; infinite where it isn't known."""
        body = {} if self._evidence.last is None else self._evidence.last["body"]
        first, last = body.get("supply_kpa"), body.get(f"{self._last}_kpa")
        return math.inf if first is None or last is None else abs(first - last)

    def _believed(self, tap: str, mono_ms: int) -> float | None:
        watch = self._watches[self._taps[tap]]
        return None if watch.doubt is not None else self._at_rest(tap, mono_ms)

    def _is_off(self, mono_ms: int) -> bool:
        """Is the machine known to have no power, so that it draws nothing?"""
        return self._power is not None and self._power.value(mono_ms) == 0.0

    def _takes_at_rest(self, kpa: float, mono_ms: int) -> bool:
        """Is there a drop over the filters though the meter shows no flow, or does one gauge differ from the others at rest?"""
        if self._flow is None:
            return False
        self._mind_letting_go(kpa, mono_ms)
        taps: dict[str, float] = {}
        for tap in self._taps:
            here = kpa if tap == "supply" else self._at_rest(tap, mono_ms)
            if here is not None:
                taps[tap] = here
        zeros = self._evidence.train.zeros
        known = all(map(zeros.knows, taps))
        level: dict[str, float] = {}
        surely: dict[str, float] = {}
        for tap, mean_kpa in self._levels.hear(taps, mono_ms).items():
            level[tap], surely[tap] = mean_kpa + zeros.below(tap), mean_kpa + zeros.surely_below(tap)
        if self._stands_apart(level, surely, ALONG_KPA if known else ZERO_AT_MOST_KPA, mono_ms):
            self._drop_ms = None
            return False
        pair = self._pair_apart(taps)
        if pair is None:
            self._drop_ms = None
            return False
        self._drop_ms = mono_ms if self._drop_ms is None else self._drop_ms
        if mono_ms - self._drop_ms < DROP_FROM_MS or "drop_no_flow" in self._doubts.doubts:
            return False
        drop_kpa = level[pair[0]] - level[pair[1]]
        if self._proved_kpa is not None and abs(drop_kpa - self._proved_kpa) < GAINS_AT_MOST_KPA:
            alone = odd(level, ALONG_KPA, ALONG_KPA)
            self._stands_off([alone] if alone is not None else list(pair), level)
        else:
            self._drop_kpa = drop_kpa
            self._doubts.begin("drop_no_flow", [self._flow, *(self._taps[tap] for tap in pair)])
        return True

    def _mind_letting_go(self, supply_kpa: float, mono_ms: int) -> None:
        """Find whether the last tap sits behind the machine's own valve: it then shows pressure in draws, and loses it at rest."""
        last = None if self._last is None else self._watches[self._taps[self._last]].value(mono_ms)
        if last is None or supply_kpa < LET_GO_KPA + ZERO_AT_MOST_KPA:
            return
        if last > LET_GO_KPA:
            holds = supply_kpa - last < ZERO_AT_MOST_KPA
            self._holds_ms = (mono_ms if self._holds_ms is None else self._holds_ms) if holds else None
            if self._holds_ms is not None and mono_ms - self._holds_ms >= HOLDS_MS:
                self._lets_go = False
            return
        drawn = None if self._evidence.last is None else self._evidence.last["body"].get(f"{self._last}_kpa")
        self._lets_go = drawn is None or drawn > LET_GO_KPA + ALONG_KPA  # without a draw so far the next one decides

    def _at_rest(self, tap: str, mono_ms: int) -> float | None:
        """Static pressure of a tap behind the supply [kPa]; None where it is the last one and loses its pressure at rest."""
        return None if tap == self._last and self._lets_go else self._watches[self._taps[tap]].value(mono_ms)

    def compared(self, point: str | None) -> None:
        """Take that a point was compared with a reference: if it is a gauge of the train, its zero is learned again."""
        for tap in (tap for tap, own in self._taps.items() if own == point):
            self._evidence.train.zeros.forget(tap)

    def _stands_apart(
        self, level: Mapping[str, float], surely: Mapping[str, float], apart_kpa: float, mono_ms: int
    ) -> bool:
        """Does one of three gauges differ from the two others at rest, or did it until recently? Such a difference is no flow.

        It has to differ with `level` and with `surely`: a pressure that a check valve held may have been learned as another gauge's zero.
        """
        if "zero" in self._doubts.doubts:
            alike = len(level) > 1 and max(level.values()) - min(level.values()) < ALIKE_SHARE * apart_kpa
            self._alike_ms = (mono_ms if self._alike_ms is None else self._alike_ms) if alike else None
            if self._alike_ms is not None and mono_ms - self._alike_ms >= ALIKE_MS:
                self._doubts.end("zero", say("doubt.zero.over"))
            return True
        tap = odd(level, apart_kpa, GAINS_AT_MOST_KPA, NOTHING_KPA)
        if tap is None or odd(surely, apart_kpa, apart_kpa) != tap:
            self._odd = None
            return False
        if self._odd is None or self._odd[0] != tap:
            self._odd = tap, mono_ms
        if mono_ms - self._odd[1] >= DROP_FROM_MS:
            self._stands_off([tap], level)
        return True

    def _stands_off(self, taps: Sequence[str], level: Mapping[str, float]) -> None:
        """Doubt the gauges of one tap, which differs from the others at rest, or of two taps that differ from each other."""
        first, others = taps[0], [kpa for tap, kpa in level.items() if tap != taps[0]]
        off_kpa = level[first] - (level[taps[1]] if len(taps) > 1 else sum(others) / len(others))
        off = difference(Kind.PRESSURE, off_kpa, self._taps[first])
        points = [self._taps[tap] for tap in taps]
        self._alike_ms = None
        self._doubts.begin(
            "zero", points, say("doubt.zero", points=names(points), says=part(say("check.zero")), off=off)
        )

    def _pair_apart(self, seen: Mapping[str, float]) -> tuple[str, str] | None:
        """Two taps of which the first is higher at rest than the second by more than gauges differ, the outermost pair first; else None.

        A second tap that is higher may be held there by a check valve.
        """
        zeros = self._evidence.train.zeros
        for before, after in _pairs(tuple(seen), self._last):
            known = zeros.knows(before) and zeros.knows(after)
            drop = seen[before] - seen[after] + (zeros.below(before) - zeros.surely_below(after) if known else 0.0)
            if drop > (ALONG_KPA if known else ZERO_AT_MOST_KPA):
                return before, after
        return None

    def _is_too_low(self, settled_kpa: float | None, mono_ms: int) -> bool:
        """Check that the static pressure is not below the least dynamic one; else the last draw's evidence is void."""
        plan, was = self._settings.supply, self.is_low
        if plan is None or settled_kpa is None:
            return False
        if settled_kpa >= plan.pressure_low_kpa - LOW_KPA:
            self._low_ms, self.is_low = None, self.is_low and settled_kpa < plan.pressure_low_kpa + LOW_KPA
            return was is not self.is_low
        self._low_ms = mono_ms if self._low_ms is None else self._low_ms
        self.is_low = self.is_low or mono_ms - self._low_ms >= LOW_FROM_MS
        if mono_ms - self._low_ms >= REFUTED_MS and "static_low" not in self._doubts.doubts:
            cause = say("doubt.static_low", says=part(say("check.static_low")))
            self._doubts.begin("static_low", [self._taps["supply"]], cause)
        return was is not self.is_low

    def _has_sunk(self, settled_kpa: float, mono_ms: int) -> bool:
        """Check that the next draw would not fall below the least pressure; True where the doubt has changed."""
        plan, about, point = self._settings.supply, self._evidence.rest_and_drawn_kpa(), self._taps.get("supply")
        if plan is None or about is None or point is None or self.is_low:
            self._sunk.broken_off()
            return False
        least_kpa = plan.pressure_low_kpa + self._watches[point].guard
        has_sunk, seen = self._sunk.see(settled_kpa, about, least_kpa, mono_ms)
        is_doubted = "static_sunk" in self._doubts.doubts
        if has_sunk and not is_doubted:
            self._doubts.begin("static_sunk", [point], _sunk(point, seen, plan.pressure_low_kpa))
        elif has_sunk is False and is_doubted:
            self._doubts.end("static_sunk", say("doubt.static_sunk.over"))
        return is_doubted is not ("static_sunk" in self._doubts.doubts)

    def flowed(self) -> None:
        """Take that the meter shows a draw: doubts about it end."""
        self._silent_draws.forget()
        self.falls.forget()
        self._low_ms = self._drop_ms = self._odd = self._alike_ms = self._holds_ms = None
        self._levels.forget()
        if self._flow is not None and "no_pulses" in self._doubts.doubts:
            self.falls.were_no_draws()
            self._doubts.end("no_pulses", say("doubt.meter_shows_draw"))
        if "drop_no_flow" in self._doubts.doubts:
            self._proved_kpa = self._drop_kpa
        self._doubts.end("drop_no_flow", say("doubt.meter_shows_draw"))

    def drawn(self, draw: Draw, is_proved: bool, mono_ms: int) -> None:
        """Check the pressures of a draw that has ended. `is_proved`: its end was seen, so that it counts as the last draw."""
        shorts, point = self._evidence.shorts, self._taps.get("supply")
        if shorts.is_low and point is not None and "short_low" not in self._doubts.doubts:
            cause = say(
                "doubt.short_low",
                draws=number(shorts.run),
                says=part(say("check.short_low")),
                last=quantity(Kind.PRESSURE, shorts.last_kpa, point),
            )
            self._doubts.begin("short_low", [point], cause)
        if not draw.supply.n:
            return
        plan, drawn_kpa = self._settings.supply, draw.supply.value
        shows_enough = plan is None or drawn_kpa is None or drawn_kpa >= plan.pressure_low_kpa
        self.is_low = self.is_low and not shows_enough  # a draw that is too low continues the same alarm
        if is_proved:
            self._sunk.drawn(mono_ms)
            for check in ANEW:
                if shows_enough or check != "static_low":
                    self._doubts.end(check, say("doubt.drawn_anew"))
        below, off = self._evidence.train.zeros.below, self._doubts.doubts.get("zero", {})
        shown = [(tap, p, draw.mean(tap).value) for tap, p in self._taps.items() if p not in off]
        wrong = exchanged([(point, None if kpa is None else kpa + below(tap)) for tap, point, kpa in shown])
        if wrong and not off and (tap := odd(draw.static_kpa, ZERO_AT_MOST_KPA, ALONG_KPA, held=False)) is not None:
            self._stands_off(
                [tap], draw.static_kpa
            )  # exchanged gauges agree at rest, so a difference there is a zero that has moved
        else:
            self._now_doubted("exchanged", wrong, [point for _, point, _ in shown], say("doubt.exchanged.over"))
        if not self._tells(draw):
            return
        if self._flow is not None:
            none, still = blind_gauges(draw, self._taps)
            unseen = [self._flow, *self._taps.values()] if none else []
            self._now_doubted("flow_no_drop", unseen, None, say("doubt.flow_no_drop.over"))
            self._now_doubted("still_in_draw", still, None, say("doubt.still_in_draw.over"))
        for ident, takes_nothing in empty_stages(draw, self._evidence.train).items():
            taps = [self._taps[tap] for tap in self._evidence.train.taps_of(ident)]
            if off.keys().isdisjoint(taps):
                self._look_at_stage(ident, taps, takes_nothing)

    def _look_at_stage(self, ident: str, taps: list[str], takes_nothing: bool) -> None:
        """Check that the stage holds a filter."""
        stage, check = self._evidence.train.stages[ident], f"stage:{ident}"
        changed_ms = self._evidence.train.changed_ms(ident)
        clean = stage.took_clean_kpa(changed_ms) if self._evidence.train.zeros_known(ident) else None
        if not takes_nothing and clean is None:
            self._doubts.end(check, say("doubt.stage.over", filter=name(ident)))
        elif check not in self._doubts.doubts and (takes_nothing or clean is None):
            self._doubts.begin(check, taps, say("doubt.stage", filter=name(ident), says=part(say("check.stage"))))
        elif check not in self._doubts.doubts:
            took, takes = (
                difference(Kind.PRESSURE, kpa or 0.0, taps[0]) for kpa in (clean, stage.drop_kpa(changed_ms))
            )
            self._doubts.begin(check, taps, say("doubt.stage.too_little", filter=name(ident), takes=takes, took=took))

    def _tells(self, draw: Draw) -> bool:
        """Is the draw's flow large enough to judge the filters by it?"""
        plan, flow = self._settings.supply, draw.flow.value
        if plan is None or flow is None:
            return False
        least = plan.flow_low_l_min or self._settings.reference_flow_l_min or 4.0 * plan.draw_starts_l_min
        return flow >= NEAR_FLOW * least

    def _now_doubted(self, check: str, wrong: Iterable[str], judged: Sequence[str] | None, over: Message) -> None:
        """Doubt the points in `wrong` by this row; end the doubts of the other points that the draw has judged (None: of all)."""
        wrong, had = list(wrong), self._doubts.doubts.get(check, {})
        ended = [p for p in had if p not in wrong and (judged is None or p in judged)]
        fresh = [p for p in self._watches if p in wrong and p not in had]
        if ended:
            self._doubts.change(ended, None, over, check)
        if fresh:
            says = say(f"check.{check}")
            named = check == "still_in_draw"
            self._doubts.begin(check, fresh, say("doubt.of", points=names(fresh), says=part(says)) if named else says)

    def goes_out(self, point: str, value: float) -> None:
        """Doubt the last draw's evidence: a draw under way shows this point outside its limits, and may never be seen to end."""
        if point not in self._doubts.doubts.get("draw_out", {}):
            here = quantity(self._watches[point].point.kind, value, point)
            self._doubts.begin("draw_out", [point], say("doubt.draw_out", here=here, says=part(say("check.draw_out"))))


@cache
def _pairs(taps: tuple[str, ...], last: str | None) -> list[tuple[str, str]]:
    """All pairs of these taps, the outermost first."""
    return sorted(combinations(taps, 2), key=lambda pair: pair != ("supply", last))


def _fell(fall: Fall, falls: int, wanted: int, point: str) -> Message:
    by = difference(Kind.PRESSURE, fall.kpa, point)
    return say("supply.fall", by=by, lasted=duration(fall.lasted_ms), falls=number(falls), wanted=number(wanted))


def _sunk(point: str, seen: Seen, least_kpa: float) -> Message:
    here, was, left, least = (quantity(Kind.PRESSURE, kpa, point) for kpa in (*seen, least_kpa))
    says = part(say("check.static_sunk"))
    return say("doubt.static_sunk", here=here, was=was, says=says, left=left, least=least)
