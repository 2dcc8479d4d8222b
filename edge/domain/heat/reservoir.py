"""The reservoir's condition: is it warm enough for today's room, when will it be, and for how long?

The condition is met when the liquid has been at max(needed, set point - band) for two minutes, and ends below
max(needed, set point - 2 bands). An unmeasured transfer loss is never taken for less than the rule.
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
from edge.domain.heat.believed_liquid import LiquidEstimator
from edge.domain.heat.cooldown import CoolDownEstimator
from edge.domain.heat.cooldown_fit import LossEstimate
from edge.domain.heat.cycle import CycleDetector
from edge.domain.heat.power_baseline import Habit
from edge.domain.heat.prior import HEAT_UPS_KEPT, is_usable, of_volume
from edge.domain.heat.probe import ProbeStatistics
from edge.domain.heat.thermostat import Trough, trough
from edge.domain.heat.transfer_loss import TransferLoss, by_the_file, mixed_c
from edge.domain.heat.warmup import MIN_SD_S, ProbeForecast, WarmUpEstimator
from edge.domain.messages import Message, celsius, part, say
from edge.domain.records.book import AHEAD_MS
from edge.domain.settings import AlarmTuning, Reservoir

#: Temperature of the supply's water where none is known: mains in winter [Cel].
ASSUMED_SUPPLY_C: Final = 5.0
#: A warm-up that an open lid or poured-in liquid interrupts is cooled by less than this, by a cycle by more [K].
TAKEN_K: Final = 5.0
#: The scale of a thermostat is no better than this [K].
SET_POINT_SLACK_K: Final = 0.5
#: A thermostat that has let the liquid this far beyond a target will reach the target again [K].
REACHED_SLACK_K: Final = 0.1
#: A liquid that fell counts as falling until nothing has pointed to colder liquid for this long [ms].
MIXED_MS: Final = 60_000
#: Cold liquid poured in lies below the probe for at most this long, since a thermostat comes on within it and mixes the liquid [ms].
MIXES_MS: Final = 1_800_000
#: A rise shows that poured-in liquid is mixed once the pouring is this long ago: an earlier rise may have begun before it [ms].
RISES_AFTER_MS: Final = 150_000
#: A covered vessel is taken to cool at this quantile of the prior loss.
LOSS_QUANTILE: Final = 0.9
#: The probe's lag is taken as this quantile of its prior. A warm-up can't identify the lag: the wall's time constant looks the same.
LAG_QUANTILE: Final = 0.9
#: Lag of a probe in the room's air (sensors in still air follow within one to five minutes: makers' data sheets, from memory) [s].
ROOM_LAG_S: Final = 90.0
#: The room's rate of change counts for this long after its last reading [ms].
ROOM_STANDS_MS: Final = 180_000
#: A rise of at least this is a heat-up worth an entry [K].
HEAT_UP_K: Final = 2.0


class ReservoirMonitor:
    """The reservoir's condition with its hold and hysteresis, its heating, its cooling and its cycles."""

    def __init__(self, plan: Reservoir) -> None:
        self.plan = plan
        self.filed = by_the_file(
            plan.loss_share, plan.loss_measured
        )  # the transfer loss of the station file, without a basin's probe
        self.declared_supply_c = ASSUMED_SUPPLY_C if plan.coldest_supply_c is None else plan.coldest_supply_c
        self.supply_c = self.declared_supply_c
        self.believe(self.filed)
        self.probe = ProbeStatistics()
        self.heat = WarmUpEstimator(of_volume(plan.volume_l, plan.warm_up_limit_ms), self.probe)
        self.lag_s = self.heat.broad.lag_s.at(LAG_QUANTILE)
        self.cool = CoolDownEstimator(of_volume(plan.volume_l), self.probe)
        self.habit = Habit()
        self.fits: list[dict[str, Any]] = []  # the fits of the last heat-ups, oldest first
        self.liquid = LiquidEstimator()
        self._room, self._room_ms = LiquidEstimator(), 0
        self._room_cools = False  # is_falling because the room cools, and the liquid may need more
        self.cycle = CycleDetector(plan.warm_up_limit_ms, self.probe, self.liquid)
        self.is_warm = False  # the condition is met
        self._pumped = False  # a cycle has returned the liquid since the last look(), which mixes it
        self.is_falling = False  # held, but falling faster than a vessel cools: its end isn't known yet
        self._slipped = False  # the last reading was a suspect
        self._sudden_c = inf  # where the liquid may be going after a sudden fall [Cel]; inf: no sudden fall
        self._highest_c = -inf  # highest temperature that this thermostat has let the liquid reach [Cel]
        self._let_be: list[float] | None = (
            None  # that temperature as a heat_up entry has it: [set point, highest] [Cel]
        )
        self._went_ms: int | None = None  # start of the heat-up under way when the liquid went away
        self._held = False  # warm enough, hold and hysteresis included
        self.since_ms: int | None = None  # monotonic time since when it has been warm enough without a break
        self.hot, self.beyond_label = Ceiling(), Ceiling()  # maxima of the liquid and of the basin
        self.guard_k = 0.0  # guard band k u of the reservoir's calibrated probe [K]
        self._mark: object = None
        self.poured_ms: int | None = None  # wall time of the last recorded top-up that wasn't stirred
        self._mixed_ms = 0  # wall time at which the liquid was last seen to be mixed
        self.is_mixing = False  # topped up, and not seen to be mixed since: cold liquid may lie below the probe
        self._fell_ms: int | None = None  # when the liquid last could have been going below what is needed
        self._told_ms: int | None = None  # start of the heat-up whose entry was made last

    def believe(self, share: TransferLoss) -> None:
        """Judge with this transfer loss from now on."""
        self.share = share
        self.loss = replace(self.plan, loss_share=share.needed)

    def supply_is(self, supply_c: float | None) -> None:
        """Take the temperature of the supply's water [Cel]; None: not known, so it is as declared."""
        self.supply_c = self.declared_supply_c if supply_c is None else float(supply_c)

    def mixing_c(self, room_c: float) -> float:
        """What the liquid mixes with on its way [Cel]: basin and hoses at the room's temperature and the declared share of supply water."""
        wet = self.plan.supply_share
        return mixed_c((1.0 - wet, room_c), (wet, self.supply_c)) if wet else room_c

    def needed_c(self, room_c: float, share: float | None = None) -> float:
        """Reservoir temperature at which the basin just sees the label's minimum [Cel]. `share`: transfer loss; None: the judged one."""
        return needed_c(self.loss, self.mixing_c(room_c), share)

    def basin_c(self, liquid_c: float, room_c: float, share: float | None = None) -> float:
        """What the basin would see now [Cel]. `share`: transfer loss; None: the judged one."""
        return basin_c(self.loss, liquid_c, self.mixing_c(room_c), share)

    def trough(self, enter_c: float, room_c: float) -> Trough | None:
        """The thermostat's trough where it lies below `enter_c`, at which the condition is met [Cel]; else None."""
        found = trough(self.loss, enter_c, self.mixing_c(room_c), self.share.hot)
        wet = self.plan.supply_share
        if found is None or found.room_c is None or not wet:
            return found
        warm_c = (found.room_c - wet * self.supply_c) / (1.0 - wet)
        return found._replace(room_c=warm_c if warm_c < self.plan.contact_min_c else None)

    def limits(self, room_c: float) -> tuple[float, float]:
        """(the condition is met at, it ends below) [Cel]."""
        needed, plan = self.needed_c(room_c), self.plan
        enter, leave = plan.set_point_c - plan.thermostat_band_k, plan.set_point_c - 2.0 * plan.thermostat_band_k
        return enter if enter > needed else needed, leave if leave > needed else needed

    def alarm_limits(self, room_c: float, tuned: AlarmTuning | None) -> tuple[float, float]:
        """(the alarm of cold becomes active below, it ends at) [Cel].

        Where the thermostat's own trough lies below what is needed, the alarm ends a band higher: one alarm, not one for each of the
        thermostat's cycles.
        """
        if tuned is not None and tuned.limit is not None:
            return tuned.limit, tuned.limit + (tuned.deadband or 0.0)
        enter, leave = self.limits(room_c)
        trough = self.plan.set_point_c - self.plan.thermostat_band_k
        return leave, leave + self.plan.thermostat_band_k if trough < leave - AT_LIMIT else enter

    def hear(self, liquid_c: float, room_c: float, mono_ms: int) -> str | None:
        """Take one good reading [Cel]; "away" or "back" where it shows that a cycle has taken or returned the liquid, else None."""
        cools = self.heat.prior.loss.at(LOSS_QUANTILE) * max(liquid_c - room_c, 0.0)
        sudden_c = self.liquid.falls_to_c(liquid_c, cools, self.lag_s, mono_ms)
        self._sudden_c = inf if sudden_c is None else sudden_c
        if self.probe.gap_exceeded(mono_ms):
            self.heat.forget()
            self.cool.forget()
            self.cycle.forget()
        closed = self.probe.hear(liquid_c, room_c, mono_ms)
        if closed is not None:
            self.heat.take(closed)
            self.cool.take(closed)
        self._slipped = self.probe.suspects
        if self._slipped:
            return None  # a suspect: an outlier unless the next reading agrees
        self.liquid.hear(liquid_c, cools, mono_ms)
        event = self.cycle.hear(liquid_c, room_c, self.limits(room_c)[0], closed, mono_ms)
        if event is not None:
            self._pumped = event == "back"
            if not self._goes_on(event):
                self.heat.forget()
            self.cool.forget()
        return event

    def recalibrated(self, by_k: float) -> None:
        """Add `by_k` [K] to all readings so far: the probe was calibrated, and the liquid did not change."""
        self.liquid.shift(by_k)
        self.probe.shift(by_k)
        self.cycle.shift(by_k)
        self.heat.forget()
        self.cool.forget()
        self._highest_c += by_k
        self._sudden_c += by_k

    def hear_room(self, room_c: float, mono_ms: int) -> None:
        """Take one good reading of the room [Cel], to know how fast the room falls: its probe lags."""
        self._room.hear(room_c, 0.0, mono_ms)
        self._room_ms = mono_ms

    def _coldest_c(self, room_c: float, mono_ms: int) -> float:
        """The coldest that a falling room may be by now, ahead of its lagging probe [Cel]."""
        heard = mono_ms - self._room_ms <= ROOM_STANDS_MS
        return room_c - self._room.falls_k_per_s * ROOM_LAG_S if heard else room_c

    def _goes_on(self, event: str) -> bool:
        """Does the warm-up go on after this event? It does if it was only cooled (lid, poured-in liquid), not after a cycle."""
        since_ms, highest_c = self.heat.heating_since_ms, self.heat.highest_c
        if event == "away":
            self._went_ms = None if self.is_warm else since_ms
            return self._went_ms is not None
        same = since_ms is not None and since_ms == self._went_ms
        return same and highest_c is not None and highest_c - self.cycle.fell_to_c() < TAKEN_K

    def forget(self) -> None:
        """Forget the condition: the temperature is not known any more."""
        self.is_warm = self.is_falling = self._held = self._slipped = False
        self.since_ms = self._fell_ms = None
        self._sudden_c = inf
        self.cool.forget()
        self.liquid.forget()

    def look(self, liquid_c: float, read_ms: int, room_c: float, uncertain: bool, now: Now) -> tuple[bool, bool]:
        """Judge the newest value; (something that conditions show has changed, the condition has just been met).

        A minimum is met only by `guard_k` more, a maximum only by `guard_k` less.

        Args:
            read_ms: when the value was read, monotonic.
            uncertain: the value is uncertain; a change of that shows in the conditions.
        """
        self.is_mixing = self._may_lie_below(now.wall_ms)
        became = self._hold(liquid_c, read_ms, room_c, now.mono_ms)
        plan, basin = self.plan, self.basin_c(liquid_c, room_c, self.share.hot)
        hot = self.hot.see(liquid_c + self.guard_k, plan.maximum_c, read_ms)
        beyond_label = self.beyond_label.see(basin + self.guard_k, plan.contact_max_c, read_ms)
        mark = (self.is_warm, self.is_falling, self.is_mixing, hot, beyond_label, uncertain)
        changed, self._mark = mark != self._mark, mark
        return changed, became

    def _hold(self, liquid_c: float, read_ms: int, room_c: float, mono_ms: int) -> bool:
        """Follow the condition; True where it has just been held. A suspect reading ends it only until the next reading disagrees."""
        judged_c = self.liquid.judged_c(liquid_c, self._slipped)
        enter, leave = (limit + self.guard_k for limit in self.limits(room_c))
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
        needed = self.needed_c(self._coldest_c(room_c, mono_ms)) + self.guard_k - AT_LIMIT
        falls_to_c = self._may_fall_to(judged_c)
        if falls_to_c < needed:
            self._fell_ms = mono_ms
            self._room_cools = falls_to_c >= self.needed_c(room_c) + self.guard_k - AT_LIMIT
        fell = self._fell_ms is not None and mono_ms - self._fell_ms < MIXED_MS
        sudden = self._sudden_c < needed or (self._slipped and liquid_c < leave - AT_LIMIT)
        self._room_cools = self._room_cools and not sudden
        self.is_falling = self._held and (fell or sudden)
        self.is_warm = self._held and not self.is_falling and not self.is_mixing
        return became

    def _may_lie_below(self, wall_ms: int) -> bool:
        """Has cold liquid been poured in, by a record, and hasn't been seen to be mixed since?"""
        pumped, self._pumped = self._pumped, False
        if self.poured_ms is None or not -AHEAD_MS <= wall_ms - self.poured_ms < MIXES_MS:
            return False
        if pumped or (self.liquid.rises_k_per_s > 0.0 and wall_ms - self.poured_ms >= RISES_AFTER_MS):
            self._mixed_ms = wall_ms
        return self._mixed_ms < self.poured_ms

    @property
    def unsure(self) -> Message | None:
        """Why a liquid that reads warm enough isn't taken for warm; None where it is, or doesn't read so."""
        if self.is_falling and self._room_cools:
            return say("reservoir.unsure.room_cools")
        if self.is_falling:
            return say("reservoir.unsure.falling")
        if self.is_mixing and self._held:
            return say("reservoir.unsure.topped_up")
        return None

    def _may_fall_to(self, judged_c: float) -> float:
        """The lowest that the liquid may be or come to [Cel]: a falling probe is behind by its lag and its quantisation step."""
        liquid = self.liquid
        falls_to_c = judged_c - liquid.falls_yet_k
        if liquid.line_c is None:
            return falls_to_c
        return min(falls_to_c, liquid.line_c - liquid.line_falls_k_per_s * self.lag_s)

    def heat_up(self, room_c: float, now: Now) -> HeatUpBody | None:
        """The body of the heat_up entry of the heat-up that has just ended; None where there was none of HEAT_UP_K."""
        since, reached_c = self.heat.heating_since_ms, self.limits(room_c)[0]
        if since is None or since == self._told_ms or reached_c - self.heat.started_at_c < HEAT_UP_K:
            return None
        self._told_ms = since
        body: HeatUpBody = {
            "from_c": round(self.heat.started_at_c, 3),
            "to_c": round(reached_c, 3),
            "room_c": round(room_c, 3),
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
        """Learn from a heat_up entry, just made or read from the journal."""
        fit = body.get("fit")
        if isinstance(fit, Mapping) and is_usable(fit):
            self.recall([*self.fits, dict(fit)])
            self.habit.learn(fit)
        if "let_be" in body:
            self._allow(body["let_be"])

    def _allow(self, let_be: list[float] | None) -> None:
        """Take the [set point, highest temperature] of a heat_up entry [Cel]; with another set point now it teaches nothing."""
        self._let_be = None if let_be is None else list(let_be)
        if let_be is not None and abs(let_be[0] - self.plan.set_point_c) < AT_LIMIT:
            self._highest_c = max(self._highest_c, let_be[1])

    def state(self) -> dict[str, Any]:
        """What was learned from the journal's entries, as JSON."""
        losses = [list(loss) for loss in self.cool.kept]
        return {"heat_ups": self.fits, "cool_downs": losses, "powers": self.habit.powers, "let_be": self._let_be}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave; an older one may lack a part."""
        self.recall(state.get("heat_ups", []))
        self.cool.kept = [LossEstimate(*loss) for loss in state.get("cool_downs", [])]
        self.habit.powers = list(state.get("powers", []))
        self._allow(state.get("let_be"))

    def recall(self, fits: list[dict[str, Any]]) -> None:
        """Learn from these fits, oldest first, and forget all others."""
        self.fits = fits[-HEAT_UPS_KEPT:]
        self.heat.learn(self.fits)
        self.cool.prior = self.heat.prior

    def recorded(self, record: str, body: Mapping[str, Any]) -> None:
        """Take a record that counts: after a change of equipment, what was learned is of another machine and is forgotten."""
        if record == "equipment_change" and body.get("what") != "sensor_fitted":
            self.recall([])
            self.cool.kept, self.cool.seen, self.habit.powers = [], [], []
            self._let_be, self._highest_c = None, -inf

    def until(self, room_c: float, mono_ms: int) -> Forecast:
        """Time until the condition is met."""
        if self.unsure is not None:
            why = say("heating.not_yet.falling" if self.is_falling else "heating.not_yet.topped_up")
            return Forecast(None, None, None, why)
        target_c = self.limits(room_c)[0] + self.guard_k
        if self.since_ms is not None:
            return self._until_held(target_c, self.since_ms + HOLD_MS, mono_ms)
        if target_c > self.plan.set_point_c + max(self.plan.thermostat_band_k, SET_POINT_SLACK_K):
            too_low = say("heating.never.set_point", set_point=celsius(self.plan.set_point_c), needed=celsius(target_c))
            return Forecast(None, None, None, say("heating.never", why=part(too_low)))
        if target_c > max(self.plan.set_point_c, self._highest_c - REACHED_SLACK_K) + AT_LIMIT:
            too_low = say(
                "heating.perhaps_never.set_point", set_point=celsius(self.plan.set_point_c), needed=celsius(target_c)
            )
            return Forecast(None, None, None, too_low)
        return self._until_judged(target_c, mono_ms)

    def _until_judged(self, target_c: float, mono_ms: int) -> Forecast:
        """Time until the judged value has held above `target_c` for HOLD_MS; it lags behind the probe."""
        crossing = self.liquid.crossing(target_c, self.heat.probe)
        if crossing is None:
            return Forecast(None, None, None, say("reservoir.no_reading"))
        seen = self.heat.sees(crossing.sees_c, mono_ms)
        if not isinstance(seen, ProbeForecast):
            return Forecast(None, None, None, seen)
        comes_ms, sd_s = crossing.comes(self.heat.rise(crossing.sees_c, seen, mono_ms))
        late_s = (comes_ms - mono_ms) / 1000.0 - seen.mid_s
        return seen.later(late_s, hypot(sd_s, MIN_SD_S), HOLD_MS)

    def _until_held(self, target_c: float, ends_ms: int, mono_ms: int) -> Forecast:
        """Time until the condition has held: `ends_ms`, unless a fall of the judged value below the limit begins the hold again."""
        left_ms = max(ends_ms - mono_ms, 0)
        crossing = self.liquid.crossing(target_c, self.heat.probe)
        seen = None if crossing is None else self.heat.sees(crossing.sees_c, mono_ms)
        if crossing is None or not isinstance(seen, ProbeForecast):
            return Forecast(left_ms, left_ms, left_ms + HOLD_MS, None)
        if 1000.0 * seen.mid_s > left_ms:
            return self._until_judged(target_c, mono_ms)
        falls = crossing.holds(self.heat.rise(crossing.sees_c, seen, mono_ms), ends_ms)
        mid_ms, high_ms = (max(int(ms) + HOLD_MS - mono_ms, left_ms) for ms in falls)
        return Forecast(mid_ms, left_ms, high_ms, seen.why)

    def until_below(self, limit_c: float, mono_ms: int) -> Forecast:
        """Time until a cooling liquid is below `limit_c` [Cel]."""
        if self.cycle.is_away(mono_ms):
            return Forecast(None, None, None, say("reservoir.away"))
        return self.cool.until_below(limit_c, mono_ms, self.plan.set_point_c - self.plan.thermostat_band_k)

    # -- facts that alarms can be made of

    def weaker_than_habit(self) -> float | None:
        """The heater's power as a share of its habit, where it is surely weaker; None where it isn't, or no habit is known.

        None also near the set point, where a thermostat switches the heater off and on.
        """
        highest = self.heat.highest_c
        if highest is None or highest > self.plan.set_point_c - 2.0 * max(
            self.plan.thermostat_band_k, SET_POINT_SLACK_K
        ):
            return None
        return self.heat.weaker_than_habit(self.habit.usual() or 0.0)

    def is_reheating(self, mono_ms: int) -> bool:
        """Is the liquid below what is needed, and being heated after a cycle or from cold?"""
        return not self._held and (self.cycle.explains_cold(mono_ms) or self.heat.heating_since_ms is not None)

    @property
    def hold_ends_ms(self) -> int | None:
        """When the hold under way ends [ms, monotonic]; None where none is under way."""
        return None if self.since_ms is None or self._held else self.since_ms + HOLD_MS
