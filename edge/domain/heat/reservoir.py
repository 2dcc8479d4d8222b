"""Is the reservoir warm enough for today's room, and what follows from how it got there.

Met at max(needed, set point - band) once held for two minutes; ends below max(needed, set point - 2 bands). An unmeasured transfer
loss is never taken for less than the rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import hypot, inf
from typing import Any, Final

from edge.domain.alarms.ceiling import Ceiling
from edge.domain.alarms.states import AT_LIMIT
from edge.domain.entries import Now, rfc3339
from edge.domain.entry_bodies import HeatUpBody
from edge.domain.heat.balance import HOLD_MS, Forecast, basin_c, needed_c
from edge.domain.heat.believed_liquid import LiquidWatch
from edge.domain.heat.cooldown import CoolWatch
from edge.domain.heat.cooldown_fit import Loss as Cooling
from edge.domain.heat.cycle import CycleWatch
from edge.domain.heat.power_baseline import Habit
from edge.domain.heat.prior import REMEMBERED, is_usable, of_volume
from edge.domain.heat.probe import ProbeWatch
from edge.domain.heat.thermostat import Trough, trough
from edge.domain.heat.transfer_loss import Loss, by_the_file, mixed_c
from edge.domain.heat.warmup import LEAST_SD_S, HeatWatch
from edge.domain.records.book import AHEAD_MS
from edge.domain.settings import AlarmTuning, Reservoir
from edge.domain.wording import Worded

#: the supply's water where nothing tells how cold it is: mains in winter
ASSUMED_SUPPLY_C: Final = 5.0
#: a lid, or what is poured in, cools a warm-up by less; a cycle by more
TAKEN_K: Final = 5.0
#: a thermostat's scale is no better than this
SET_POINT_SLACK_K: Final = 0.5
#: a liquid that has been this far beyond what is needed will be there again
BEYOND_K: Final = 0.1
#: not heated for so long, being below what is needed
#: for so long after it fell like that nothing may point to colder liquid before it is believed
MIXED_MS: Final = 60_000
#: cold liquid that was poured in may lie below the probe until its heater makes the probe rise: as long as that lies there nothing warms
#: what is above it. A thermostat comes round within so long, and so far back a rise may have begun before the pouring
MIXES_MS: Final = 1_800_000
RISES_AFTER_MS: Final = 150_000
#: of what is believed of its losses, this quantile is how fast a covered vessel may cool
COOLS_SHARE: Final = 0.9
#: and this one of what probes' lags are is how far behind it may be: what heat-ups tell of a lag is the wall's as well
LAGS_SHARE: Final = 0.9
#: a probe in a room's air is so far behind (sensors in still air follow within one to five minutes: makers' data sheets, from memory)
ROOM_LAG_S: Final = 90.0
ROOM_STANDS_MS: Final = 180_000
#: a rise of at least this much is a heat-up worth remembering
HEAT_UP_K: Final = 2.0


class Warmth:
    """The reservoir's condition with its hold and hysteresis, its heating and its cycles."""

    def __init__(self, plan: Reservoir) -> None:
        self.plan = plan
        self.filed = by_the_file(plan.loss_share, plan.loss_measured)  # what holds without a basin's probe
        self.declared_supply_c = ASSUMED_SUPPLY_C if plan.coldest_supply_c is None else plan.coldest_supply_c
        self.supply_c = self.declared_supply_c
        self.believe(self.filed)
        self.probe = ProbeWatch()
        self.heat = HeatWatch(of_volume(plan.volume_l, plan.warm_up_limit_ms), self.probe)
        self.lag_s = self.heat.broad.lag_s.at(LAGS_SHARE)
        self.cool = CoolWatch(of_volume(plan.volume_l), self.probe)
        self.habit = Habit()
        self.fits: list[dict[str, Any]] = []  # what the last heat-ups left to learn from, oldest first
        self.liquid = LiquidWatch()
        self._room, self._room_ms = LiquidWatch(), 0
        self._room_cools = False  # by a room that is falling it may need more than it has
        self.cycle = CycleWatch(plan.warm_up_limit_ms, self.probe, self.liquid)
        self.is_warm = False  # warm enough, and not about to fall below it
        self._pumped = False  # a cycle has returned the liquid since the last look: it is mixed
        self.is_falling = False  # it was, and falls faster than its vessel cools: where it ends isn't known yet
        self._slipped = False  # the last reading was far off
        self._sudden_c = inf  # where it may be on its way to, where the last reading fell beyond its noise [Cel]
        self._highest_c = -inf  # that this thermostat has let it be [Cel]
        self._let_be: list[float] | None = None  # of that, what a heat_up entry tells: set point, and beyond it [Cel]
        self._went_ms: int | None = None  # start of the heat-up that was under way when the liquid seemed to go away
        self._held = False  # warm enough with the hold and the hysteresis
        self.since_ms: int | None = None  # monotonic time since when it has been warm enough without a break
        self.hot, self.beyond_label = Ceiling(), Ceiling()  # of the liquid, of the basin
        self.guard_k = 0.0  # k u of the reservoir's calibrated probe
        self._mark: object = None
        self.poured_ms: int | None = None  # wall time of the last recorded top-up that wasn't stirred
        self._mixed_ms = 0  # wall time at which it was last seen to be mixed
        self.is_mixing = (
            False  # it has been topped up, and nothing has shown yet that no cold liquid lies below the probe
        )
        self._fell_ms: int | None = None  # when last it could have come to less than what is needed
        self._told_ms: int | None = None  # start of the heat-up that an entry was made of

    def believe(self, share: Loss) -> None:
        """Judge with this share f of transfer loss."""
        self.share = share
        self.loss = replace(self.plan, loss_share=share.needed)

    def supply_is(self, supply_c: float | None) -> None:
        """How cold the supply's water is [Cel]; None: nothing tells, so it is as declared."""
        self.supply_c = self.declared_supply_c if supply_c is None else float(supply_c)

    def cold_c(self, room_c: float) -> float:
        """What the liquid meets on its way [Cel]: basin and hoses at the room's temperature, and the declared share of supply water."""
        wet = self.plan.supply_share
        return mixed_c((1.0 - wet, room_c), (wet, self.supply_c)) if wet else room_c

    def needed_c(self, room_c: float, share: float | None = None) -> float:
        """Reservoir temperature at which the basin just sees the label's minimum [Cel]; with another `share` than is judged with."""
        plan = self.loss if share is None else replace(self.plan, loss_share=share)
        return needed_c(plan, self.cold_c(room_c))

    def basin_c(self, liquid_c: float, room_c: float, share: float | None = None) -> float:
        """What the basin would see now [Cel]; with another `share` than is judged with."""
        plan = self.loss if share is None else replace(self.plan, loss_share=share)
        return basin_c(plan, liquid_c, self.cold_c(room_c))

    def trough(self, enter_c: float, room_c: float) -> Trough | None:
        """Where the thermostat's trough lies below `enter_c`, what the condition needs: what would do."""
        found = trough(self.loss, enter_c, self.cold_c(room_c), self.share.hot)
        wet = self.plan.supply_share
        if found is None or found.room_c is None or not wet:
            return found
        warm_c = (found.room_c - wet * self.supply_c) / (1.0 - wet)
        return found._replace(room_c=warm_c if warm_c < self.plan.contact_min_c else None)

    def limits(self, room_c: float) -> tuple[float, float]:
        """(met at, ends below) [Cel]."""
        needed, plan = self.needed_c(room_c), self.plan
        return (
            max(needed, plan.set_point_c - plan.thermostat_band_k),
            max(needed, plan.set_point_c - 2.0 * plan.thermostat_band_k),
        )

    def alarm_limits(self, cold_c: float, tuned: AlarmTuning | None) -> tuple[float, float]:
        """(cold below, cold no more at) [Cel]. Where the thermostat's own trough lies below what is needed, the alarm waits
        for a band more: one alarm, not one each quarter of an hour."""
        if tuned is not None and tuned.limit is not None:
            return tuned.limit, tuned.limit + (tuned.deadband or 0.0)
        enter, leave = self.limits(cold_c)
        trough = self.plan.set_point_c - self.plan.thermostat_band_k
        return leave, leave + self.plan.thermostat_band_k if trough < leave - AT_LIMIT else enter

    def hear(self, liquid_c: float, cold_c: float, mono_ms: int) -> str | None:
        """One good reading. "away" or "back" where it shows that a cycle has taken or returned the liquid."""
        cools = self.heat.prior.loss.at(COOLS_SHARE) * max(liquid_c - cold_c, 0.0)
        sudden_c = self.liquid.falls_to_c(liquid_c, cools, self.lag_s, mono_ms)
        self._sudden_c = inf if sudden_c is None else sudden_c
        if self.probe.is_another_story(mono_ms):
            self.heat.forget()
            self.cool.forget()
            self.cycle.forget()
        closed = self.probe.hear(liquid_c, cold_c, mono_ms)
        if closed is not None:
            self.heat.take(closed)
            self.cool.take(closed)
        self._slipped = self.probe.suspects
        if self._slipped:
            return None  # one reading far off: a slip, unless the next agrees
        self.liquid.hear(liquid_c, cools, mono_ms)
        event = self.cycle.hear(liquid_c, cold_c, self.limits(cold_c)[0], closed, mono_ms)
        if event is not None:
            self._pumped = event == "back"
            if not self._goes_on(event):
                self.heat.forget()
            self.cool.forget()
        return event

    def recalibrated(self, by_k: float) -> None:
        """What its probe reads has moved by a calibration alone: the liquid did what it did, so much warmer or colder."""
        self.liquid.shift(by_k)
        self.probe.shift(by_k)
        self.cycle.shift(by_k)
        self.heat.forget()
        self.cool.forget()
        self._highest_c += by_k
        self._sudden_c += by_k

    def hear_room(self, room_c: float, mono_ms: int) -> None:
        """One good reading of the room: where it falls its probe is behind it."""
        self._room.hear(room_c, 0.0, mono_ms)
        self._room_ms = mono_ms

    def _coldest_c(self, cold_c: float, mono_ms: int) -> float:
        """Where a room that surely falls may be by now [Cel]."""
        heard = mono_ms - self._room_ms <= ROOM_STANDS_MS
        return cold_c - self._room.falls_k_per_s * ROOM_LAG_S if heard else cold_c

    def _goes_on(self, event: str) -> bool:
        """A warm-up that is only cooled (a lid, cold liquid poured in) goes on; what a cycle has taken and returned begins anew."""
        since_ms, highest_c = self.heat.heating_since_ms, self.heat.highest_c
        if event == "away":
            self._went_ms = None if self.is_warm else since_ms
            return self._went_ms is not None
        same = since_ms is not None and since_ms == self._went_ms
        return same and highest_c is not None and highest_c - self.cycle.fell_to_c() < TAKEN_K

    def forget(self) -> None:
        """The temperature is not known any more."""
        self.is_warm = self.is_falling = self._held = self._slipped = False
        self.since_ms = self._fell_ms = None
        self._sudden_c = inf
        self.cool.forget()
        self.liquid.forget()

    def look(self, liquid_c: float, read_ms: int, cold_c: float, uncertain: bool, now: Now) -> tuple[bool, bool]:
        """(something that conditions show has changed, it has just become warm). `read_ms`: when the value was read.

        A minimum is met only by `guard_k` more, a maximum only by as much less.
        """
        self.is_mixing = self._may_lie_below(now.wall_ms)
        became = self._hold(liquid_c, read_ms, cold_c, now.mono_ms)
        plan, basin = self.plan, self.basin_c(liquid_c, cold_c, self.share.hot)
        hot = self.hot.see(liquid_c + self.guard_k, plan.maximum_c, read_ms)
        beyond_label = self.beyond_label.see(basin + self.guard_k, plan.contact_max_c, read_ms)
        mark = (self.is_warm, self.is_falling, self.is_mixing, hot, beyond_label, uncertain)
        changed, self._mark = mark != self._mark, mark
        return changed, became

    def _hold(self, liquid_c: float, read_ms: int, cold_c: float, mono_ms: int) -> bool:
        """Follow the condition; True where it has just become warm enough. One reading far off ends it only for as long as it stands."""
        judged_c = self.liquid.judged_c(liquid_c, self._slipped)
        enter, leave = (limit + self.guard_k for limit in self.limits(cold_c))
        self._highest_c = max(self._highest_c, judged_c)
        became = False
        if self._held:
            if judged_c < leave - AT_LIMIT:
                self._held, self.since_ms = False, None
        elif judged_c < enter - AT_LIMIT:
            self.since_ms = None
        else:
            self.since_ms = read_ms if self.since_ms is None else self.since_ms
            self._held = became = mono_ms - self.since_ms >= HOLD_MS
        needed = self.needed_c(self._coldest_c(cold_c, mono_ms)) + self.guard_k - AT_LIMIT
        falls_to_c = self._may_fall_to(judged_c)
        if falls_to_c < needed:
            self._fell_ms = mono_ms
            self._room_cools = falls_to_c >= self.needed_c(cold_c) + self.guard_k - AT_LIMIT
        fell = self._fell_ms is not None and mono_ms - self._fell_ms < MIXED_MS
        sudden = self._sudden_c < needed or (self._slipped and liquid_c < leave - AT_LIMIT)
        self._room_cools = self._room_cools and not sudden
        self.is_falling = self._held and (fell or sudden)
        self.is_warm = self._held and not self.is_falling and not self.is_mixing
        return became

    def _may_lie_below(self, wall_ms: int) -> bool:
        """Somebody has told of cold liquid that was poured in, and it isn't known to be mixed."""
        pumped, self._pumped = self._pumped, False
        if self.poured_ms is None or not -AHEAD_MS <= wall_ms - self.poured_ms < MIXES_MS:
            return False
        if pumped or (self.liquid.rises_k_per_s > 0.0 and wall_ms - self.poured_ms >= RISES_AFTER_MS):
            self._mixed_ms = wall_ms
        return self._mixed_ms < self.poured_ms

    @property
    def unsure(self) -> str:
        """Why a liquid that reads warm enough isn't taken to be; "" where it is, or doesn't."""
        if self.is_falling and self._room_cools:
            return "but the room is cooling: it may be colder than its probe"
        if self.is_falling:
            return "and falling: the liquid may be colder than its probe"
        if self.is_mixing and self._held:
            return "but topped up: cold liquid may lie below the probe until it is seen to rise"
        return ""

    def _may_fall_to(self, judged_c: float) -> float:
        """What the liquid is or comes to by what is seen of it [Cel]: a probe that falls is behind, by its lag and by rounding."""
        liquid = self.liquid
        falls_to_c = judged_c - liquid.falls_yet_k
        if liquid.line_c is None:
            return falls_to_c
        return min(falls_to_c, liquid.line_c - liquid.line_falls_k_per_s * self.lag_s)

    def heat_up(self, cold_c: float, now: Now) -> HeatUpBody | None:
        """The body of the entry of the heat-up that has just ended; None where there was none to speak of."""
        since, reached_c = self.heat.heating_since_ms, self.limits(cold_c)[0]
        if since is None or since == self._told_ms or reached_c - self.heat.started_at_c < HEAT_UP_K:
            return None
        self._told_ms = since
        body: HeatUpBody = {
            "from_c": round(self.heat.started_at_c, 3),
            "to_c": round(reached_c, 3),
            "room_c": round(cold_c, 3),
            "start": rfc3339(now.wall_ms - (now.mono_ms - since)),
            "duration_s": (now.mono_ms - since) / 1000.0,
        }
        fit = self.heat.summary()
        if fit is not None:
            body["fit"] = fit
        if self._highest_c > self.plan.set_point_c:
            body["let_be"] = [self.plan.set_point_c, round(self._highest_c, 2)]
        self.learn(body)
        return body

    def learn(self, body: Mapping[str, Any]) -> None:
        """Take what a heat_up entry, just made or read from the journal, has to teach."""
        fit = body.get("fit")
        if isinstance(fit, Mapping) and is_usable(fit):
            self.recall([*self.fits, dict(fit)])
            self.habit.learn(fit)
        if "let_be" in body:
            self._allow(body["let_be"])

    def _allow(self, let_be: list[float] | None) -> None:
        """So far beyond this set point the thermostat has let it be; with another set point it tells nothing."""
        self._let_be = None if let_be is None else list(let_be)
        if let_be is not None and abs(let_be[0] - self.plan.set_point_c) < AT_LIMIT:
            self._highest_c = max(self._highest_c, let_be[1])

    def state(self) -> dict[str, Any]:
        """What the journal's entries taught, as JSON."""
        losses = [list(loss) for loss in self.cool.kept]
        return {"heat_ups": self.fits, "cool_downs": losses, "powers": self.habit.powers, "let_be": self._let_be}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Believe what state() gave; an older one may lack a part."""
        self.recall(state.get("heat_ups", []))
        self.cool.kept = [Cooling(*loss) for loss in state.get("cool_downs", [])]
        self.habit.powers = list(state.get("powers", []))
        self._allow(state.get("let_be"))

    def recall(self, fits: list[dict[str, Any]]) -> None:
        """Believe these fits, oldest first, and no others."""
        self.fits = fits[-REMEMBERED:]
        self.heat.learn(self.fits)
        self.cool.prior = self.heat.prior

    def recorded(self, record: str, body: Mapping[str, Any]) -> None:
        """A fact that counts: what another machine did tells nothing of this one."""
        if record == "equipment_change" and body.get("what") != "sensor_fitted":
            self.recall([])
            self.cool.kept, self.cool.seen, self.habit.powers = [], [], []
            self._let_be, self._highest_c = None, -inf

    def until(self, cold_c: float, mono_ms: int) -> Forecast:
        """Time until the condition is met."""
        if self.unsure:
            return Forecast(
                None, None, None, f"not known yet: it {'is falling' if self.is_falling else 'was topped up'}"
            )
        target_c = self.limits(cold_c)[0] + self.guard_k
        if self.since_ms is not None:
            return self._until_held(target_c, self.since_ms + HOLD_MS, mono_ms)
        if target_c > self.plan.set_point_c + max(self.plan.thermostat_band_k, SET_POINT_SLACK_K):
            needed = (self.plan.set_point_c, " is below the ", target_c, " needed")
            return Forecast(None, None, None, Worded("it will not get there: the set point of ", *needed))
        if target_c > max(self.plan.set_point_c, self._highest_c - BEYOND_K) + AT_LIMIT:
            needed = (self.plan.set_point_c, " is below the ", target_c, " needed, it may not get there")
            return Forecast(None, None, None, Worded("not known: the set point of ", *needed))
        return self._until_judged(target_c, mono_ms)

    def _until_judged(self, target_c: float, mono_ms: int) -> Forecast:
        """Time until what is judged has been there for as long as it must hold: later than the probe sees it."""
        passing = self.liquid.passing(target_c, self.heat.probe)
        if passing is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        seen = self.heat.sees(passing.sees_c, mono_ms)
        if isinstance(seen, str):
            return Forecast(None, None, None, seen)
        comes_ms, sd_s = passing.comes(self.heat.rise(passing.sees_c, seen, mono_ms))
        late_s = (comes_ms - mono_ms) / 1000.0 - seen.mid_s
        return seen.later(late_s, hypot(sd_s, LEAST_SD_S), HOLD_MS)

    def _until_held(self, target_c: float, ends_ms: int, mono_ms: int) -> Forecast:
        """Time until it has held, at `ends_ms` unless a fall of what is judged, or a slip of the probe, begins the hold anew."""
        left_ms = max(ends_ms - mono_ms, 0)
        passing = self.liquid.passing(target_c, self.heat.probe)
        seen = "" if passing is None else self.heat.sees(passing.sees_c, mono_ms)
        if isinstance(seen, str) or passing is None:
            return Forecast(left_ms, left_ms, left_ms + HOLD_MS, "")
        if 1000.0 * seen.mid_s > left_ms:
            return self._until_judged(target_c, mono_ms)
        falls = passing.holds(self.heat.rise(passing.sees_c, seen, mono_ms), ends_ms)
        mid_ms, high_ms = (max(int(ms) + HOLD_MS - mono_ms, left_ms) for ms in falls)
        return Forecast(mid_ms, left_ms, high_ms, seen.why)

    def until_below(self, limit_c: float, mono_ms: int) -> Forecast:
        """Time until the liquid, where it cools, is below `limit_c`."""
        if self.cycle.is_away(mono_ms):
            return Forecast(None, None, None, "the liquid is away")
        return self.cool.until_below(limit_c, mono_ms, self.plan.set_point_c - self.plan.thermostat_band_k)

    # -- facts that alarms can be made of

    def weaker_than_habit(self) -> float | None:
        """The heater's power as a share of its habit, where it is surely weaker; None where it isn't, or no habit is known.

        Near the set point a thermostat switches it off and on: nothing is said there.
        """
        highest = self.heat.highest_c
        if highest is None or highest > self.plan.set_point_c - 2.0 * max(
            self.plan.thermostat_band_k, SET_POINT_SLACK_K
        ):
            return None
        return self.heat.weaker_than_habit(self.habit.usual() or 0.0)

    def is_reheating(self, mono_ms: int) -> bool:
        """Below what is needed and on its way up, after a cycle or from cold."""
        return not self._held and (self.cycle.explains_cold(mono_ms) or self.heat.heating_since_ms is not None)

    @property
    def hold_ends_ms(self) -> int | None:
        """Monotonic time at which the hold will have lasted; None where none is under way."""
        return None if self.since_ms is None or self._held else self.since_ms + HOLD_MS
