"""What people owe the station: the daily test, the treatment, the disinfectant, calibrations, and outlets whose test failed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import timedelta
from functools import partial
from typing import Final
from zoneinfo import ZoneInfo

from edge.domain.entries import Now
from edge.domain.messages import Message, ago, duration, moment, name, part, parts, remaining, say, text
from edge.domain.records.book import DAY_MS, POWER_UNSURE, USED, days_later_ms, is_test_due, local_date, on_the_wall_ms
from edge.domain.records.counting import failed_outlet_test, failure, has_passed, last_check
from edge.domain.records.daily_tests import after_failure, slowest, test_result
from edge.domain.records.fact import Fact
from edge.domain.records.forms import BEGINS, first_day, last_day
from edge.domain.records.site_duties import first_instant_ms
from edge.domain.records.treatments import (
    began_ms,
    contact_so_far_ms,
    denied,
    in_path,
    is_tested,
    last_done,
    not_told,
    under_way,
)
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import Judge, NextDue, Part, due_again
from edge.domain.station.view import View

DO_TEST: Final = say("daily_test.ask")
CHANGE: Final = say("disinfectant.ask")
CHECK_OWED: Final = say("disinfectant.check_owed")
#: while a treatment is on its way, its alarm is silent: so long after its contact has lasted as long as it must, until its end is recorded,
#: and so long after that, until it is drained and rinsed (our own numbers)
END_WITHIN_MS: Final = 900_000
FINISH_WITHIN_MS: Final = 3_600_000


class Duties(Part):
    """Judges the duties, and raises the alarms of those that are owed. A hold that stands is told here, too.

    Args:
        calibrated: points that can be calibrated.
        calibration_due: why a point's is due; None where it isn't.
        is_power_unsure: may the machine have been powered up unheard?
    """

    def __init__(
        self, view: View, calibrated: Sequence[str], calibration_due: Callable[[str, Now], Message | None],
        is_power_unsure: Callable[[], bool],
    ) -> None:  # fmt: skip
        self._view, self._calibrated, self._calibration_due = view, calibrated, calibration_due
        self._is_power_unsure = is_power_unsure
        self._asks: dict[str, Message | None] = {}  # by alarm, what its condition asks people to do
        basins = view.settings.judged_basins
        self._tests: dict[str, str | None] = {f"daily_test:{one}": one for one in basins} or {"daily_test": None}
        self._alarms = {  # by condition
            **{condition: f"duty_due:{condition}" for condition in self._tests},
            "water_path_treatment": "duty_due:water_path_treatment", "disinfectant": "duty_due:disinfectant_change",
        }  # fmt: skip

    def alarm_ids(self) -> Iterable[str]:
        judged = self.conditions()
        found = [alarm for condition, alarm in self._alarms.items() if condition in judged]
        return [*found, "duty_due:concentration_check"] if self._view.settings.rules.concentration_check else found

    def responses(self, now: Now) -> Mapping[str, Message]:
        return {alarm: ask for alarm, ask in self._asks.items() if ask is not None}

    def conditions(self) -> Mapping[str, Judge]:
        settings = self._view.settings
        judges: dict[str, Judge] = {}
        if settings.daily_test is not None:
            judges |= {ident: partial(self.daily_test, basin) for ident, basin in self._tests.items()}
        if settings.treatment_contact_ms is not None:
            judges["water_path_treatment"] = self.water_path_treatment
        if settings.reuse_life_ms is not None:
            judges["disinfectant"] = self.disinfectant
        return judges

    def judged(self, conditions: Mapping[str, Judged], now: Now) -> None:
        """Set each alarm by what its condition, or the calibration's date, says; duties rest with the station."""
        view = self._view
        for condition, alarm in self._alarms.items():
            if condition in conditions:
                one = conditions[condition]
                self._asks[alarm] = self._asks["duty_due:concentration_check"] = one.ask
                is_owed = (
                    None if one.state == UNKNOWN and not now.trusted else one.state == UNMET and one.text != CHECK_OWED
                )
                quiet_ms = self._quiet_ms(now) if condition == "water_path_treatment" else None
                said = one.text
                if quiet_ms is not None:
                    said = say("treatment.quiet", text=part(said), until=moment(now.wall_ms + quiet_ms))
                is_owed = is_owed and not view.situation.is_resting
                explained = quiet_ms is not None
                view.alarms.set_condition(alarm, is_owed, now, cause=said, follows=True, explained=explained)
        if view.settings.rules.concentration_check and "disinfectant" in conditions:
            is_owed = conditions["disinfectant"].text == CHECK_OWED and not view.situation.is_resting
            view.alarms.set_condition("duty_due:concentration_check", is_owed, now, cause=CHECK_OWED)
        for ident in self._calibrated:
            why = self._calibration_due(ident, now)
            view.alarms.set_condition(f"duty_due:calibration:{ident}", why is not None, now, cause=why)
        for outlet, _ in view.points.outlets:
            failed = failed_outlet_test(view.book, outlet)
            cause = None if failed is None else say(
                "outlet.test_failed_as_recorded", outlet=name(outlet), failure=part(failure(failed)), by=failed.by
            )  # fmt: skip
            view.alarms.set_condition(
                f"outlet_test_failed:{outlet}", failed is not None, now, cause=cause, is_by_cause=True
            )
        holds = [one for ident, one in conditions.items() if ident.partition(":")[0] == "no_hold"]
        hold = next((one for one in holds if one.state != MET), holds[0])
        view.alarms.set_condition("hold", hold.state != MET, now, cause=hold.text, is_by_cause=True)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        settings, book = self._view.settings, self._view.book
        fill = book.last("disinfectant_fill")
        if fill is not None and settings.reuse_life_ms is not None:
            yield self._life_ends_ms(fill) - now.wall_ms
            yield (label_ends_ms(fill, self._view.zone) or 0) - now.wall_ms
            yield (self._opened_ends_ms(fill) or 0) - now.wall_ms
        step = under_way(book)
        if step is not None and step.body.get("step") == BEGINS:
            yield self._contact_left_ms(step, now) or 0
        yield self._quiet_ms(now) or 0
        for role, stands_ms in settings.not_fitted.items():
            entered = book.last("entered_reading", role=str(role))
            if entered is not None:
                yield entered.at_ms + stands_ms - now.wall_ms + 1

    def next_due(self) -> Mapping[str, NextDue]:
        book, zone, asked = self._view.book, self._view.zone, self._view.settings.rules.concentration_check
        judged = self.conditions()
        found: dict[str, NextDue] = {}
        for condition, basin in self._tests.items() if self._view.settings.daily_test is not None else ():
            test = book.tested(basin)
            has_failed = test is not None and not book.passed(test, basin)
            found[self._alarms[condition]] = due_again(test, _day_after(test, zone), passed=not has_failed)
        if "water_path_treatment" in judged:
            treated = book.treated()
            found["duty_due:water_path_treatment"] = due_again(
                treated or last_done(book), None, counts=treated is not None
            )
        if "disinfectant" in judged:
            fill = book.last("disinfectant_fill")
            ends = [] if fill is None else [label_ends_ms(fill, zone), self._opened_ends_ms(fill)]
            if fill is not None:
                ends.append(self._life_ends_ms(fill))
            found["duty_due:disinfectant_change"] = due_again(
                fill, min((end for end in ends if end is not None), default=None)
            )
        if "disinfectant" in judged and asked:
            check = last_check(book)
            due_ms = _day_after(check, zone) if asked == "day" else None
            found["duty_due:concentration_check"] = due_again(check, due_ms, passed=check is None or has_passed(check))
        return found

    def daily_test(self, basin: str | None, now: Now) -> Judged:
        """Passed today (in this basin), and since the machine was powered up or changed."""
        one = self._daily_test(basin, now)
        if basin is None or one.ask is None:
            return one
        return one._replace(ask=say("daily_test.in_basin", basin=name(basin), ask=part(one.ask)))

    def _daily_test(self, basin: str | None, now: Now) -> Judged:
        book = self._view.book
        last, changed = book.tested(basin), book.machine_changed()
        if last is None:
            none, ask = _doubted(self._view, "daily_test", basin) or (say("daily_test.none"), DO_TEST)
            return Judged(UNMET if now.trusted else UNKNOWN, none, ask=ask)
        passed, why = test_result(self._view.settings, last.body, basin)
        if not passed:
            ident = "daily_test.last_failed" if passed is False else "daily_test.last_tells_nothing"
            return by_fact(UNMET, say(ident, why=part(why)), last, after_failure(self._view.settings, last.body, basin))
        if book.powered_up_since(last):
            return by_fact(UNMET, say("daily_test.due_after_power_up"), last, DO_TEST)
        if changed is not None and not book.comes_after(last, changed):
            return by_fact(UNMET, say("daily_test.due_after_change"), changed, DO_TEST)
        off = book.seen_off()
        if off is not None and not book.comes_after(last, off):
            return by_fact(UNMET, say("daily_test.due_after_seen_off", by=off.by), off, DO_TEST)
        if now.trusted and is_test_due(last.at_ms, now.wall_ms, self._view.zone):
            return by_fact(UNMET, say("daily_test.due_today"), last, DO_TEST)
        if self._is_power_unsure() or (book.power_unsure and book.powered_up_since(last, POWER_UNSURE)):
            return by_fact(UNKNOWN, say("daily_test.power_unsure"), last, say("daily_test.power_unsure.ask"))
        if not now.trusted:
            return by_fact(UNKNOWN, say("daily_test.clock_untrusted"), last)
        since, gave = duration(now.wall_ms - last.at_ms), slowest(self._view.settings, last.body, basin)
        passed_ago = say("daily_test.passed_ago", since=since)
        if gave is not None:
            passed_ago = say("daily_test.passed_measured_ago", since=since, gave=part(gave))
        return by_fact(MET, passed_ago, last)

    def water_path_treatment(self, now: Now) -> Judged:
        """Done, from the beginning of its contact on, since the clean side was last opened."""
        book = self._view.book
        opened, treated = book.opened(), book.treated()
        ask, left, step = self._treatment_ask(now), in_path(book), under_way(book)
        runs = step is not None and step.body.get("step") == BEGINS
        if left is not None and (lacks := denied(left.body)) is not None and not runs:
            ask = ask if step is None else self._treatment_under_way(step, now).ask or ask
            return by_fact(UNMET, say(f"treatment.not.{lacks}", by=left.by), left, ask)
        dated = opened is not None and not opened.doubt
        if (
            treated is not None
            and left is None
            and (not dated or opened is None or began_ms(treated.body, treated.at_ms) >= opened.latest_ms(book.dates))
        ):
            return by_fact(MET, say("treatment.done_ago", since=duration(now.wall_ms - treated.at_ms)), treated)
        if step is not None:
            return self._treatment_under_way(step, now)
        if left is not None and (opened is None or book.comes_after(left, opened)):
            return by_fact(UNMET, say("treatment.begun", by=left.by), left, ask)
        if opened is None:
            return Judged(UNKNOWN, say("treatment.none"), ask=ask)
        doubted = _doubted(self._view, "water_path_treatment")
        if doubted is not None:
            return Judged(UNMET, doubted[0], ask=doubted[1])
        return by_fact(UNMET, say("treatment.owed", record=name(opened.record)), opened, ask)

    def _treatment_under_way(self, step: Fact, now: Now) -> Judged:
        """What is still to come of a treatment that has begun."""
        if step.body.get("step") != BEGINS:
            missing = not_told(self._view.book, step.body)
            if not missing:
                return by_fact(UNMET, say("treatment.unfinished"), step, say("treatment.unfinished.ask"))
            what = parts(missing)
            return by_fact(UNMET, say("treatment.waits", what=what), step, say("treatment.waits.ask", what=what))
        left_ms = self._contact_left_ms(step, now)
        if left_ms is None:
            return by_fact(UNMET, say("treatment.cant_be_timed"), step, self._treatment_ask(now))
        runs, text = left_ms > 0, say("treatment.under_way", left=remaining(left_ms))
        ask = say("treatment.under_way.ask" if runs else "treatment.contact_done.ask")
        if not is_tested(self._view.book, began_ms(step.body, step.at_ms), now.wall_ms):
            ask = say("treatment.untested.ask")
        return by_fact(UNMET, text if runs else say("treatment.contact_done"), step, ask)

    def _quiet_ms(self, now: Now) -> int | None:
        """How long the alarm of the treatment is silent yet, because one is on its way that will count; None where none is, it has
        taken too long, or somebody said that something of it was left undone.
        """
        book, contact_ms = self._view.book, self._view.settings.treatment_contact_ms
        step, left = under_way(book), in_path(book)
        if step is None or contact_ms is None or (left is not None and denied(left.body) is not None):
            return None
        runs, lasted_ms = step.body.get("step") == BEGINS, contact_so_far_ms(book, step, now)
        if lasted_ms is None or (runs and not is_tested(book, began_ms(step.body, step.at_ms), now.wall_ms)):
            return None
        quiet_ms = (contact_ms + END_WITHIN_MS if runs else FINISH_WITHIN_MS) - lasted_ms
        return quiet_ms if quiet_ms > 0 else None

    def _treatment_ask(self, now: Now) -> Message:
        """What a treatment begins with: the day's test, where it hasn't passed yet."""
        tested = is_tested(self._view.book, now.wall_ms, now.wall_ms)
        return say("treatment.tested.ask" if tested else "treatment.ask")

    def _contact_left_ms(self, step: Fact, now: Now) -> int | None:
        lasted_ms = contact_so_far_ms(self._view.book, step, now)
        return None if lasted_ms is None else (self._view.settings.treatment_contact_ms or 0) - lasted_ms

    def disinfectant(self, now: Now) -> Judged:
        """Within its reuse life, and strong enough as far as it was checked."""
        book = self._view.book
        fill, changed = book.last("disinfectant_fill"), book.machine_changed()
        check = last_check(book)
        if check is not None and not has_passed(check) and (fill is None or not book.comes_after(fill, check)):
            return by_fact(UNMET, say("disinfectant.check_failed"), check, say("disinfectant.check_failed.ask"))
        if fill is None:
            doubted = _doubted(self._view, "disinfectant_fill")
            none, ask = doubted or (say("disinfectant.no_fill"), say("disinfectant.no_fill.ask"))
            return Judged(UNKNOWN, none, ask=ask)
        looked_at = [fact for fact in (fill, check) if fact is not None]
        if changed is not None and not any(book.comes_after(fact, changed) for fact in looked_at):
            ask = say("disinfectant.equipment_changed.ask")
            return by_fact(UNKNOWN, say("disinfectant.equipment_changed"), changed, ask)
        kept = self._within_its_life(fill, now)
        if kept.state == MET and self._check_owed(fill, check, now):
            return by_fact(UNMET, CHECK_OWED, check or fill, say("disinfectant.check_owed.ask"))
        return kept

    def _check_owed(self, fill: Fact, check: Fact | None, now: Now) -> bool:
        """Does the site ask for a check of the concentration that hasn't been made: since the fill, today, or since the last use?"""
        book, asked = self._view.book, self._view.settings.rules.concentration_check
        if not asked:
            return False
        if check is None or not has_passed(check) or not book.comes_after(check, fill):
            return True
        if asked == "day":
            return is_test_due(check.at_ms, now.wall_ms, self._view.zone)
        return book.powered_up_since(check, USED)

    def _within_its_life(self, fill: Fact, now: Now) -> Judged:
        """In use no longer than its label allows: by its reuse life, its last day, and since its container was opened."""
        zone, wall_ms = self._view.zone, now.wall_ms
        ends_ms = self._life_ends_ms(fill)
        if not now.trusted:
            return by_fact(UNKNOWN, say("disinfectant.clock_untrusted"), fill)
        if ends_ms <= wall_ms:
            return by_fact(UNMET, say("disinfectant.reuse_ended", since=ago(wall_ms - ends_ms)), fill, CHANGE)
        last, opened = text(str(fill.body.get("expires"))), text(str(fill.body.get("opened")))
        label_ms, opened_ms = label_ends_ms(fill, zone), self._opened_ends_ms(fill)
        if label_ms is not None and label_ms <= wall_ms:
            return by_fact(UNMET, say("disinfectant.expired", last=last), fill, CHANGE)
        if opened_ms is not None and opened_ms <= wall_ms:
            return by_fact(UNMET, say("disinfectant.opened_too_long", opened=opened), fill, CHANGE)
        if opened_ms is None and self._view.settings.rules.opened_life_days is not None:
            return by_fact(
                UNKNOWN, say("disinfectant.opening_not_known"), fill, say("disinfectant.opening_not_known.ask")
            )
        if opened_ms is not None and opened_ms < ends_ms and (label_ms is None or opened_ms < label_ms):
            left = duration(opened_ms - wall_ms)
            return by_fact(MET, say("disinfectant.left_by_opening", left=left, opened=opened), fill)
        if label_ms is not None and label_ms < ends_ms:
            left = duration(label_ms - wall_ms)
            return by_fact(MET, say("disinfectant.left_by_label", left=left, last=last), fill)
        return by_fact(MET, say("disinfectant.left", left=duration(on_the_wall_ms(wall_ms, ends_ms, zone))), fill)

    def _life_ends_ms(self, fill: Fact) -> int:
        """The end of its reuse life, whose days keep the local time [ms since 1970]."""
        days, rest_ms = divmod(self._view.settings.reuse_life_ms or 0, DAY_MS)
        return days_later_ms(fill.at_ms, days, self._view.zone) + rest_ms

    def _opened_ends_ms(self, fill: Fact) -> int | None:
        """The end of the last day on which it keeps, by when its container was opened; None where nobody asks, or it isn't known."""
        days, opened = self._view.settings.rules.opened_life_days, first_day(fill.body.get("opened"))
        if days is None or opened is None:
            return None
        return first_instant_ms(opened + timedelta(days=days + 1), self._view.zone)


def _day_after(fact: Fact | None, zone: ZoneInfo) -> int | None:
    """The beginning of the date after that of a fact [ms since 1970]."""
    return None if fact is None else first_instant_ms(local_date(fact.at_ms, zone) + timedelta(days=1), zone)


def label_ends_ms(fill: Fact, zone: ZoneInfo) -> int | None:
    """The end of the last day on the label of what was filled in, milliseconds since 1970; None where it isn't known."""
    last = last_day(fill.body.get("expires"))
    return None if last is None else first_instant_ms(last + timedelta(days=1), zone)


def _doubted(view: View, record: str, basin: str | None = None) -> tuple[Message, Message] | None:
    """(what is wrong, what to do) where a record of this kind would count, were its date known."""
    fact = view.book.doubted(record, basin)
    if fact is None:
        return None
    what = name(record)
    return say(f"undated.{fact.doubt}", record=what), say("undated.ask", record=what)
