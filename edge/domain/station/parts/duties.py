"""What people owe the station: the daily test, the treatment, the disinfectant, calibrations, and outlets whose test failed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from edge.domain.entries import Now
from edge.domain.records.book import POWER_UNSURE, day_start_ms, is_test_due
from edge.domain.records.counting import began_ms, failed_outlet_test, failure_text, has_passed, last_check
from edge.domain.records.daily_tests import test_result
from edge.domain.records.fact import Fact
from edge.domain.records.forms import last_day
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import Judge, Part
from edge.domain.station.view import View
from edge.domain.wording import age_text

DO_TEST = "Do the daily test and record it"
POWER_ASK = f"{DO_TEST}; if the machine kept its power for certain, record a release that names no hold instead"
#: the alarm of each duty's condition
_ALARMS = (
    ("daily_test", "duty_due:daily_test"),
    ("water_path_treatment", "duty_due:water_path_treatment"),
    ("disinfectant", "duty_due:disinfectant_change"),
)


class Duties(Part):
    """Judges the duties, and raises the alarms of those that are owed. A hold that stands is told here, too.

    Args:
        calibrated: points that can be calibrated.
        calibration_due: why a point's is due; "" where it isn't.
        is_power_unsure: may the machine have been powered up unheard?
    """

    def __init__(
        self, view: View, calibrated: Sequence[str], calibration_due: Callable[[str, Now], str], is_power_unsure: Callable[[], bool]
    ) -> None:  # fmt: skip
        self._view, self._calibrated, self._calibration_due = view, calibrated, calibration_due
        self._is_power_unsure = is_power_unsure

    def alarm_ids(self) -> Iterable[str]:
        return [alarm for condition, alarm in _ALARMS if condition in self.conditions()]

    def conditions(self) -> Mapping[str, Judge]:
        settings = self._view.settings
        judges: dict[str, Judge] = {}
        if settings.daily_test is not None:
            judges["daily_test"] = self.daily_test
        if settings.treatment_contact_ms is not None:
            judges["water_path_treatment"] = self.water_path_treatment
        if settings.reuse_life_ms is not None:
            judges["disinfectant"] = self.disinfectant
        return judges

    def judged(self, conditions: Mapping[str, Judged], now: Now) -> None:
        """Set each alarm by what its condition, or the calibration's date, says; duties rest with the station."""
        view = self._view
        for condition, alarm in _ALARMS:
            if condition in conditions:
                one = conditions[condition]
                view.alarms.set_condition(
                    alarm, one.state == UNMET and not view.situation.is_resting, now, cause=one.text
                )
        for ident in self._calibrated:
            why = self._calibration_due(ident, now)
            view.alarms.set_condition(f"duty_due:calibration:{ident}", bool(why), now, cause=why)
        for outlet, _ in view.points.outlets:
            failed = failed_outlet_test(view.book, outlet)
            cause = (
                ""
                if failed is None
                else f"{outlet}: {failure_text(failed)}, as {failed.body.get('by', 'somebody')} recorded"
            )
            view.alarms.set_condition(f"outlet_test_failed:{outlet}", failed is not None, now, cause=cause)
        hold = conditions["no_hold"]
        view.alarms.set_condition("hold", hold.state != MET, now, cause=hold.text)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        settings, book = self._view.settings, self._view.book
        fill = book.last("disinfectant_fill")
        if fill is not None and settings.reuse_life_ms is not None:
            yield fill.at_ms + settings.reuse_life_ms - now.wall_ms
            yield (label_ends_ms(fill, self._view.zone) or 0) - now.wall_ms
        for role, stands_ms in settings.not_fitted.items():
            entered = book.last("entered_reading", role=str(role))
            if entered is not None:
                yield entered.at_ms + stands_ms - now.wall_ms + 1

    def daily_test(self, now: Now) -> Judged:
        """Passed today, and since the machine was powered up or changed."""
        book = self._view.book
        last, changed = book.last("daily_test"), book.machine_changed()
        if last is None:
            text, ask = _doubted(self._view, "daily_test") or ("no daily test on record", DO_TEST)
            return Judged(UNMET if now.trusted else UNKNOWN, text, ask=ask)
        passed, why = test_result(self._view.settings, last.body)
        if not passed:
            what = "failed" if passed is False else "tells nothing"
            return by_fact(
                UNMET, f"the last daily test {what}: {why}", last, "Mend what failed and do the daily test again"
            )
        if book.powered_up_since(last):
            return by_fact(UNMET, "due: the machine was powered up since the last one", last, DO_TEST)
        if changed is not None and not book.comes_after(last, changed):
            return by_fact(UNMET, "due: the equipment was changed since the last one", changed, DO_TEST)
        off = book.seen_off()
        if off is not None and not book.comes_after(last, off):
            text = f"due: {off.body.get('by', 'somebody')} saw the machine without power since the last one"
            return by_fact(UNMET, text, off, DO_TEST)
        if now.trusted and is_test_due(last.at_ms, now.wall_ms, self._view.zone):
            return by_fact(UNMET, "due: none was passed today", last, DO_TEST)
        if self._is_power_unsure() or (book.power_unsure and book.powered_up_since(last, POWER_UNSURE)):
            text = "whether the machine was powered up since the last one is not known: nothing was heard of its power for a while"
            return by_fact(UNKNOWN, text, last, POWER_ASK)
        if not now.trusted:
            return by_fact(UNKNOWN, "the clock is not trusted: whether it was passed today can't be told", last)
        return by_fact(MET, f"passed {age_text(now.wall_ms - last.at_ms)} ago", last)

    def water_path_treatment(self, now: Now) -> Judged:
        """Done, from the beginning of its contact on, since the clean side was last opened."""
        book = self._view.book
        opened, treated = book.opened(), book.treated()
        ask = "Pass the daily test, then do the water-path treatment by the label, drain and rinse, and record it"
        dated = opened is not None and not opened.doubt
        if treated is not None and (
            not dated or opened is None or began_ms(treated.body, treated.at_ms) >= opened.latest_ms(book.dates)
        ):
            return by_fact(MET, f"done {age_text(now.wall_ms - treated.at_ms)} ago", treated)
        if opened is None:
            return Judged(UNKNOWN, "neither a treatment nor an opening of the clean side on record", ask=ask)
        doubted = _doubted(self._view, "water_path_treatment")
        if doubted is not None:
            return Judged(UNMET, doubted[0], ask=doubted[1])
        what = opened.record.replace("_", " ")
        return by_fact(UNMET, f"owed since the clean side was opened ({what})", opened, ask)

    def disinfectant(self, now: Now) -> Judged:
        """Within its reuse life, and strong enough as far as it was checked."""
        book = self._view.book
        fill, changed = book.last("disinfectant_fill"), book.machine_changed()
        check = last_check(book)
        if check is not None and not has_passed(check) and (fill is None or not book.comes_after(fill, check)):
            ask = "Change the disinfectant by its label, or check it again and record that"
            return by_fact(UNMET, "the last check of its concentration failed", check, ask)
        if fill is None:
            text, ask = _doubted(self._view, "disinfectant_fill") or (
                "no fill on record", "Record when the disinfectant was filled",
            )  # fmt: skip
            return Judged(UNKNOWN, text, ask=ask)
        looked_at = [fact for fact in (fill, check) if fact is not None]
        if changed is not None and not any(book.comes_after(fact, changed) for fact in looked_at):
            ask = "Record the fill of the reservoir, or check its concentration and record that"
            return by_fact(UNKNOWN, "the equipment was changed: which liquid is in it is not known", changed, ask)
        left_ms = fill.at_ms + (self._view.settings.reuse_life_ms or 0) - now.wall_ms
        label_ms = label_ends_ms(fill, self._view.zone)
        if not now.trusted:
            return by_fact(UNKNOWN, "the clock is not trusted: its age can't be told", fill)
        ask = "Change the disinfectant by its label"
        if left_ms <= 0:
            return by_fact(UNMET, f"its reuse life ended {age_text(-left_ms)} ago", fill, ask)
        if label_ms is not None and label_ms <= now.wall_ms:
            return by_fact(UNMET, f"it was good until {fill.body['expires']} by its label", fill, ask)
        if label_ms is not None and label_ms - now.wall_ms < left_ms:
            text = f"{age_text(label_ms - now.wall_ms)} left: good until {fill.body['expires']} by its label"
            return by_fact(MET, text, fill)
        return by_fact(MET, f"{age_text(left_ms)} of its reuse life left", fill)


def label_ends_ms(fill: Fact, zone: ZoneInfo) -> int | None:
    """The end of the last day on the label of what was filled in, milliseconds since 1970; None where it isn't known."""
    last = last_day(fill.body.get("expires"))
    return None if last is None else day_start_ms(last + timedelta(days=1), zone)


def _doubted(view: View, record: str) -> tuple[str, str] | None:
    """(what is wrong, what to do) where a record of this kind would count, were its date known."""
    fact = view.book.doubted(record)
    if fact is None:
        return None
    what = record.replace("_", " ")
    return f"the last {what} was {fact.doubt}", f"Repeat the {what}, or record it again with its true time"
