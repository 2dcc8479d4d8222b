"""The alarms of the heated liquid: cold, hot, not heating, heating weakly, late for the first case of the day.

A cold reservoir is no alarm at rest, nor while a cycle explains it; after an outlet's trip it is the trip's consequence. Late for
the first case: it is expected to be warm after the first case only, or it isn't heating and has to, now. That needs the
station's hours and a trusted clock; once it has been warm for that day's first case, the day is not late any more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import hypot, sqrt
from typing import Final, NamedTuple, cast

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.rooms import Rooms
from edge.domain.entries import Now, rfc3339
from edge.domain.entry_bodies import CoolDownBody
from edge.domain.heat.balance import HOLD_MS, time_to_s
from edge.domain.heat.cycle import Phase
from edge.domain.heat.prior import Prior
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.thermostat import remedy
from edge.domain.maths.robust import Z90
from edge.domain.messages import Message, both, celsius, duration, has, moment, number, part, say
from edge.domain.readings import Role
from edge.domain.station.hours import first_case
from edge.domain.station.part import Happening, Part, PointSilent
from edge.domain.station.view import View

#: a forecast is asked for this often
ASK_MS: Final = 60_000
#: so much later than the first case is late; a forecast that moves about within it is not
SLACK_MS: Final = 120_000
#: a case that began so long ago is not waited for any more
OVER_MS: Final = 600_000
#: without heat-ups to learn from: this many times the warm-up limit's share
CAUTION: Final = 1.25
#: a heat-up that went on for so long without a sign of weakness shows that there is none
STRONG_AFTER_MS: Final = 1_200_000
#: before this a heat-up tells nothing of its power
WEAK_AFTER_MS: Final = 900_000
#: so many heat-ups are a habit, and one from so far below the set point shows the heater's power
HABIT: Final = 3
FAR_K: Final = 6.0
#: what one lump of liquid leaves out of its time, as a share
FORM_SHARE: Final = 0.02
FIRST_CASE: Final = "late_for_first_case"
#: ids within its causes: that it isn't heating, and that it would not get there
NOT_HEATING: Final = "late.not_heating"
MUST_START: Final = "late.must_start"
NEVER: Final = "heating.never"


class MustStart(NamedTuple):
    """When heating has to begin at the latest [ms since 1970], and where that is from."""

    by_ms: int
    why: Message
    low_ms: int | None = None  # 90 % interval, where this station's own heat-ups tell it
    high_ms: int | None = None


def doubt_s(prior: Prior, liquid_c: float, target_c: float, room_c: float, takes_s: float) -> float | None:
    """Standard uncertainty [s] of the time from `liquid_c` to `target_c` [Cel] by what earlier heat-ups left of power and loss.

    Propagated to first order (GUM, JCGM 100:2008, 5.2.2), and what wall and probe add. None where it may never get there.
    """
    if takes_s <= 0.0:
        return 0.0
    (power, power_sd), loss = prior.power, prior.loss.median
    loss_sd = loss * prior.loss.sd

    def takes(p: float, b: float) -> float | None:
        return time_to_s(liquid_c, target_c, room_c + p / b, b) if p > 0.0 and b > 0.0 else None

    ends = [
        takes(power - power_sd, loss), takes(power + power_sd, loss),
        takes(power, max(loss - loss_sd, 0.1 * loss)), takes(power, loss + loss_sd),
    ]  # fmt: skip
    weak, strong, tight, leaky = ends
    if weak is None or strong is None or tight is None or leaky is None:
        return None
    by_power, by_loss = 0.5 * (strong - weak), 0.5 * (leaky - tight)
    together = prior.power_loss / (power_sd * loss_sd) if power_sd > 0.0 and loss_sd > 0.0 else 0.0
    both = by_power**2 + by_loss**2 + 2.0 * min(max(together, -1.0), 1.0) * by_power * by_loss
    return hypot(sqrt(max(both, 0.0)), FORM_SHARE * takes_s, prior.lag_s.median)


class ReservoirAlarms(Part):
    """Looks at one station's reservoir; remembers what alarms need and conditions don't.

    Args:
        warmth: what is known of the liquid.
        rooms: the room to reckon with.
        has_moved: has the reservoir, its room, its power or the phase moved since this was last asked?
        heater_is_tripped: asked with a monotonic time [ms].
    """

    def __init__(
        self, view: View, warmth: ReservoirMonitor, rooms: Rooms, has_moved: Callable[[], bool],
        heater_is_tripped: Callable[[int], bool],
    ) -> None:  # fmt: skip
        self._view, self._warmth, self._rooms = view, warmth, rooms
        self._has_moved, self._heater_is_tripped = has_moved, heater_is_tripped
        self._point = view.points.first(Role.RESERVOIR_TEMPERATURE)
        self._asked_ms: int | None = None
        self._warm_for_ms: int | None = None  # the first case that it has been warm for
        self._seen_weak_ms: int | None = None  # start of the heat-up that has shown weakness
        self._heated = False  # since it has been late for the first case
        self._in_time = False  # for the first case, as far as can be told

    def alarm_ids(self) -> Iterable[str]:
        yield from ("reservoir_cold", "not_heating", "heating_weak")
        if self._view.settings.hours:
            yield FIRST_CASE
        if self._warmth.plan.maximum_c is not None:
            yield "reservoir_hot"

    def resume(self, now: Now) -> None:
        """A restart in the middle of a cycle, or of the heating after it. Before the first case, or where a cold reservoir has been told,
        it is heated from cold: no cycle explains that.
        """
        cycle, phase = self._warmth.cycle, self._view.situation.phase
        if phase is Phase.IN_USE:
            cycle.away_since_ms = now.mono_ms
        elif (
            phase is Phase.REHEATING
            and not self._view.alarms.alarms["reservoir_cold"].present
            and self._first_case_ms(now, 0) is None
        ):
            cycle.back_since_ms = now.mono_ms

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, PointSilent) and event.point == self._point:
            # the temperature is not known any more: what was only pending is forgotten
            for ident in ("reservoir_cold", "reservoir_hot", "not_heating", "heating_weak", FIRST_CASE):
                self._view.alarms.cancel_pending(ident, now)

    def advance(self, now: Now) -> None:
        if self._has_moved():
            self._look(now)

    def _look(self, now: Now) -> None:
        warmth, point = self._warmth, self._point
        if point is None:
            return
        self._follow_cooling(warmth, now)
        liquid = self._view.watches[point].value(now.mono_ms)
        if liquid is None:
            return
        room_c = self._rooms.room_now(now.mono_ms)
        self._look_for_cold(warmth, point, liquid, room_c, now)
        self._view.alarms.compare("reservoir_hot", liquid, point, now)
        if self._asked_ms is None or now.mono_ms - self._asked_ms >= ASK_MS:
            self._asked_ms = now.mono_ms
            self._look_for_weakness(warmth, point, now)
            self._look_at_first_case(warmth, point, liquid, room_c, now)
        self._heated |= warmth.heat.heating_since_ms is not None
        self._look_for_heat(warmth, point, liquid, room_c, now)

    def _follow_cooling(self, warmth: ReservoirMonitor, now: Now) -> None:
        """Where the heater has no power it cools, from then on; what a cool-down leaves to learn from is an entry."""
        is_off = self._view.situation.phase is Phase.OFF or self._heater_is_tripped(now.mono_ms)
        warmth.cool.heater(is_off, now.mono_ms)
        noted = warmth.cool.take_noted()
        if noted is not None:
            start_ms = now.wall_ms - (now.mono_ms - noted.pop("start_ms"))
            self._view.tell("cool_down", cast(CoolDownBody, {"start": rfc3339(start_ms), **noted}), now)

    def _look_for_cold(self, warmth: ReservoirMonitor, point: str, liquid: float, room_c: float, now: Now) -> None:
        view = self._view
        limit, again = warmth.alarm_limits(room_c, view.settings.tuning.get("reservoir_cold"))
        alarm = view.alarms.alarms["reservoir_cold"]
        active, cause = liquid < (again if alarm.present else limit) - AT_LIMIT, None
        found = warmth.trough(warmth.limits(room_c)[0] + warmth.guard_k, room_c) if active else None
        explained = active and self._is_explained(warmth, now)
        if explained:
            # a set point that is too low is one alarm, not one after each cycle; what wasn't told yet isn't told in a cycle
            active = found is not None and alarm.is_told and not view.situation.is_resting
        if active and not explained:
            cause = say("reservoir.cold", here=celsius(liquid, point), limit=celsius(limit, point))
            if warmth.cycle.away_since_ms is not None:
                cause = both(cause, say("reservoir.away_too_long"))
            elif found is not None:
                cause = both(cause, remedy(found, point))
        view.alarms.set_condition(
            "reservoir_cold", active, now, value=liquid, unit="Cel", limit=round(limit, 4), point=point, cause=cause
        )

    def _is_explained(self, warmth: ReservoirMonitor, now: Now) -> bool:
        """A cold reservoir is no alarm at rest, while it can still be in time for the first case, nor while a phase explains it."""
        situation = self._view.situation
        if situation.is_resting:
            return True
        if self._view.alarms.causes.present("reservoir_cold") is not None:
            return False
        return (
            situation.phase is Phase.OFF or self._is_for_first_case(now) or warmth.cycle.may_explain_cold(now.mono_ms)
        )

    def _is_for_first_case(self, now: Now) -> bool:
        """Before the first case, in time or about to be told as late; what has been announced already stays."""
        alarms = self._view.alarms.alarms
        late, cold = alarms.get(FIRST_CASE), alarms["reservoir_cold"]
        if late is None or cold.is_told or not self._is_before_first_case(now):
            return False
        return self._in_time or (late.condition and not late.present)

    def _is_before_first_case(self, now: Now) -> bool:
        """It has yet to become warm for the day's first case: whether that will be in time is an alarm of its own."""
        first_ms = self._first_case_ms(now, 0)
        return first_ms is not None and self._warm_for_ms != first_ms

    def _look_for_heat(self, warmth: ReservoirMonitor, point: str, liquid: float, room_c: float, now: Now) -> None:
        """Colder than its thermostat would let it be, and not rising. Its delay is the alarm's on-delay."""
        view, heat, plan = self._view, warmth.heat, warmth.plan
        limit = min(warmth.limits(room_c)[1], plan.set_point_c - 2.0 * plan.thermostat_band_k)
        rises = heat.heating_since_ms is not None and not heat.has_levelled_off
        active, cause = liquid < limit - AT_LIMIT and not rises and warmth.cycle.away_since_ms is None, None
        active = active and self._should_heat(warmth, now)
        if active:
            cause = say("heating.not_rising", here=celsius(liquid, point))
            if heat.has_levelled_off and heat.highest_c is not None:
                near, set_point = celsius(heat.highest_c, point), celsius(plan.set_point_c, point)
                cause = say("heating.levelled_off", near=near, set_point=set_point)
        view.alarms.set_condition(
            "not_heating", active, now, value=liquid, unit="Cel", limit=round(limit, 4), point=point, cause=cause
        )

    def _should_heat(self, warmth: ReservoirMonitor, now: Now) -> bool:
        """Somebody counts on it, and it has power; what the alarm for the first case says needs no other."""
        situation = self._view.situation
        if (
            situation.is_resting
            or situation.phase is Phase.OFF
            or self._heater_is_tripped(now.mono_ms)
            or self._is_before_first_case(now)
        ):
            return False
        told = self._view.alarms.alarms.get(FIRST_CASE)
        if told is None or not told.present:
            return True
        if warmth.heat.has_levelled_off or has(told.cause, NEVER):
            return False
        return self._heated or not (has(told.cause, NOT_HEATING) or has(told.cause, MUST_START))

    def _look_for_weakness(self, warmth: ReservoirMonitor, point: str, now: Now) -> None:
        """Surely weaker than its habit for a while. Then it stands until a heat-up shows otherwise: between them nothing is known."""
        alarms, since_ms, share = self._view.alarms, warmth.heat.heating_since_ms, None
        tells = since_ms is not None and now.mono_ms - since_ms >= WEAK_AFTER_MS and self._tells_power(warmth, now)
        if tells:
            share = warmth.weaker_than_habit()
        if share is not None:
            self._seen_weak_ms = since_ms
            cause = say("heating.weak", share=number(100.0 * share, "%"))
            alarms.set_condition("heating_weak", True, now, value=round(share, 3), unit="1", point=point, cause=cause)
            return
        alarms.cancel_pending("heating_weak", now)
        strong = tells and now.mono_ms - (since_ms or 0) >= STRONG_AFTER_MS and self._seen_weak_ms != since_ms
        if strong:
            alarms.set_condition("heating_weak", False, now)

    def _tells_power(self, warmth: ReservoirMonitor, now: Now) -> bool:
        """A warm-up from cold of a station whose habit is known. After a cycle a cold wall takes its share of the heat first."""
        from_far = warmth.heat.started_at_c <= warmth.plan.set_point_c - FAR_K
        known = warmth.heat.prior.heat_ups >= HABIT
        return (
            known and from_far and not self._view.situation.is_resting and not warmth.cycle.explains_cold(now.mono_ms)
        )

    # -- the first case

    def _first_case_ms(self, now: Now, over_ms: int) -> int | None:
        """Today's first case [ms since 1970], where it is known and not over for longer than that."""
        hours = self._view.settings.hours
        if hours is None or not now.trusted or self._view.situation.is_resting:
            return None
        first_ms = first_case(hours, self._view.zone, now.wall_ms)
        return None if first_ms is None or now.wall_ms > first_ms + over_ms else first_ms

    def must_start(self, liquid: float, room_c: float, now: Now) -> MustStart | None:
        """When heating must begin for the first case of this day; None where there is none to be in time for, or it is warm."""
        warmth, first_ms = self._warmth, self._first_case_ms(now, 0)
        if first_ms is None or warmth.is_warm:
            return None
        target_c = warmth.limits(room_c)[0] + warmth.guard_k
        prior = warmth.heat.prior
        if prior.heat_ups:
            power, loss = prior.power[0], prior.loss.median
            takes_s = time_to_s(liquid, target_c, room_c + power / loss, loss) if liquid < target_c else 0.0
            if takes_s is not None:
                by_ms = first_ms - int(takes_s * 1000.0) - HOLD_MS
                why = say("heating.by_own_heat_ups")
                sd_s = doubt_s(prior, liquid, target_c, room_c, takes_s)
                half_ms = None if sd_s is None else int(Z90 * sd_s * 1000.0)
                return (
                    MustStart(by_ms, why)
                    if half_ms is None
                    else MustStart(by_ms, why, by_ms - half_ms, by_ms + half_ms)
                )
        limit_ms = warmth.plan.warm_up_limit_ms
        share = min(max((target_c - liquid) / max(target_c - room_c, 1.0), 0.0) * CAUTION, 1.0)
        return MustStart(first_ms - int(share * limit_ms), say("heating.by_limit", limit=duration(limit_ms)))

    def _look_at_first_case(self, warmth: ReservoirMonitor, point: str, liquid: float, room_c: float, now: Now) -> None:
        alarms = self._view.alarms
        alarm = alarms.alarms.get(FIRST_CASE)
        if alarm is None:
            return
        first_ms = self._first_case_ms(now, OVER_MS if not alarm.condition else 1 << 60)
        if first_ms is not None and warmth.is_warm:
            self._warm_for_ms = first_ms
        self._in_time = False
        if first_ms is None or self._warm_for_ms == first_ms or warmth.cycle.explains_cold(now.mono_ms):
            alarms.set_condition(FIRST_CASE, False, now, value=liquid)
            return
        is_known, why = self._why_late(warmth, liquid, room_c, first_ms, alarm.condition, now)
        self._in_time = is_known and why is None
        if not is_known:  # what is present stays, what was pending isn't known to be so
            alarms.cancel_pending(FIRST_CASE, now)
            return
        cause = None if why is None else say("late", here=celsius(liquid, point), why=part(why))
        if not alarm.condition:
            self._heated = False
        limit = round(warmth.limits(room_c)[0] + warmth.guard_k, 4)
        alarms.set_condition(
            FIRST_CASE, why is not None, now, value=liquid, unit="Cel", limit=limit, point=point, cause=cause
        )

    def _why_late(
        self, warmth: ReservoirMonitor, liquid: float, room_c: float, first_ms: int, was_late: bool, now: Now
    ) -> tuple[bool, Message | None]:
        """(can it be told yet, why it is late for the first case); no why where it isn't."""
        case = moment(first_ms)
        forecast = warmth.until(room_c, now.mono_ms)
        if forecast.in_ms is not None:
            expected_ms = now.wall_ms + forecast.in_ms
            if expected_ms <= first_ms + (0 if was_late else SLACK_MS):
                return True, None
            if expected_ms // 60_000 == first_ms // 60_000:
                return True, say("late.just_after", case=case)
            return True, say("late.expected", expected=moment(expected_ms), case=case)
        if has(forecast.why, NEVER):
            return True, say("late.never", why=part(forecast.why), case=case)
        must = self.must_start(liquid, room_c, now)
        if warmth.heat.heating_since_ms is not None:
            if now.wall_ms >= first_ms:
                return True, say("late.not_warm_yet", case=case)
            if must is None or not warmth.heat.prior.heat_ups:
                return False, None
            is_late = now.wall_ms > must.by_ms + SLACK_MS
            return True, say("late.too_cold", why=part(must.why), case=case) if is_late else None
        if must is None:
            return True, say("late.not_heating", case=case)
        if now.wall_ms < must.by_ms:
            return True, None
        return True, say("late.must_start", by=moment(must.by_ms), why=part(must.why), case=case)
