"""What comes round by the calendar: the site's own list of duties, and the tests of the outlets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import NamedTuple

from edge.domain.entries import Now
from edge.domain.messages import Message, Value, ago, moment, name, part, say, text
from edge.domain.records.counting import failed_outlet_test, last_outlet_test
from edge.domain.records.fact import Fact
from edge.domain.records.site_duties import cant_be_compared, due_from_ms, failed, is_above, last_done, settles
from edge.domain.settings import Duty, Every, Level
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged
from edge.domain.station.part import Judge, NextDue, Part, due_again
from edge.domain.station.view import View


class Owed(NamedTuple):
    """Where a duty stands. `state`: as of a condition that it keeps from READY; `is_raised`: somebody has to do something."""

    state: str
    text: Message
    is_raised: bool
    fact: Fact | None = None
    ask: Message | None = None
    is_beyond: bool = False  # its result is above the action level, or may be


class SiteDuties(Part):
    """Raises `duty_due:<id>` of each duty that is owed, and judges those that keep the station from READY."""

    def __init__(self, view: View) -> None:
        self._view, self._duties = view, view.settings.rules.duties

    def alarm_ids(self) -> Iterable[str]:
        outlets = self._view.points.outlets if self._view.settings.rules.outlet_test else ()
        return [
            *(f"duty_due:{ident}" for ident in self._duties),
            *(f"duty_due:outlet_test:{one}" for one, _ in outlets),
        ]

    def conditions(self) -> Mapping[str, Judge]:
        return {
            f"duty:{ident}": partial(self._condition, ident, duty)
            for ident, duty in self._duties.items()
            if duty.keeps_from_ready or duty.action is not None
        }

    def judged(self, conditions: Mapping[str, Judged], now: Now) -> None:
        """Set each alarm; duties rest with the station."""
        view = self._view
        for ident, duty in self._duties.items():
            owed = self._owed(ident, duty, now)
            is_raised = owed.is_raised and not view.situation.is_resting
            view.alarms.set_condition(f"duty_due:{ident}", is_raised, now, cause=owed.text, follows=True)

        every = view.settings.rules.outlet_test
        for outlet, _ in view.points.outlets if every else ():
            cause = None if every is None else self._outlet_test_owed(outlet, every, now)
            is_raised = cause is not None and not view.situation.is_resting
            view.alarms.set_condition(f"duty_due:outlet_test:{outlet}", is_raised, now, cause=cause, follows=True)

    def _outlet_test_owed(self, outlet: str, every: Every, now: Now) -> Message | None:
        """Why an outlet's test is due; None where it isn't, or one that failed is told by an alarm of its own."""
        last = last_outlet_test(self._view.book, outlet)
        if last is None:
            return say("outlet.test_none", outlet=name(outlet))
        due_ms = due_from_ms(last.at_ms, every, self._view.zone)
        if not now.trusted or due_ms > now.wall_ms:
            return None
        since = ago(now.wall_ms - last.at_ms)
        return say("outlet.test_due", outlet=name(outlet), due=moment(due_ms), since=since, by=last.by)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        return [one.due_ms - now.wall_ms for one in self.next_due().values() if one.due_ms is not None]

    def next_due(self) -> Mapping[str, NextDue]:
        view, every = self._view, self._view.settings.rules.outlet_test
        found: dict[str, NextDue] = {}
        for ident, duty in self._duties.items():
            last = last_done(view.book, ident)
            passed = last is None or settles(self._duties, last.body)
            found[f"duty_due:{ident}"] = self._again(last, duty.every, passed)
        for outlet, _ in view.points.outlets if every is not None else ():
            passed = failed_outlet_test(view.book, outlet) is None
            found[f"duty_due:outlet_test:{outlet}"] = self._again(last_outlet_test(view.book, outlet), every, passed)
        return found

    def _again(self, last: Fact | None, every: Every | None, passed: bool) -> NextDue:
        due_ms = None if last is None or every is None else due_from_ms(last.at_ms, every, self._view.zone)
        return due_again(last, due_ms, passed=passed)

    def _condition(self, ident: str, duty: Duty, now: Now) -> Judged:
        owed = self._owed(ident, duty, now)
        if not duty.keeps_from_ready and not owed.is_beyond:
            return Judged(MET, _of(duty, say("duty.no_result_yet" if owed.fact is None else "duty.not_above_action")))
        seq, at_ms = (None, None) if owed.fact is None else (owed.fact.seq, owed.fact.at_ms)
        return Judged(owed.state, owed.text, ask=owed.ask, seq=seq, evidence_ms=at_ms)

    def _owed(self, ident: str, duty: Duty, now: Now) -> Owed:
        """Done by the calendar, and with a result that lets it be."""
        view, last = self._view, last_done(self._view.book, ident)
        named = {"title": text(duty.title), "duty": name(ident)}
        ask = say("duty.ask", **named)
        if last is None:
            return Owed(UNMET, _of(duty, say("duty.none")), True, ask=ask)
        done = {"by": last.by, "since": ago(now.wall_ms - last.at_ms)}
        if is_above(last.body, duty.action):
            what = say("duty.above_action", **done, **_result(last, duty.action))
            return Owed(UNMET, _of(duty, what), True, last, say("duty.above_action.ask", **named), is_beyond=True)
        if cant_be_compared(last.body, duty.action):
            what = say("duty.cant_be_compared", **done, **_result(last, duty.action))
            return Owed(UNKNOWN, _of(duty, what), True, last, say("duty.cant_be_compared.ask", **named), is_beyond=True)
        if failed(self._duties, last.body):
            return Owed(UNMET, _of(duty, say("duty.failed", **done)), True, last, say("duty.failed.ask", **named))
        due_ms = due_from_ms(last.at_ms, duty.every, view.zone)
        if not now.trusted:
            return Owed(UNKNOWN, _of(duty, say("duty.clock_untrusted")), False, last)
        if due_ms <= now.wall_ms:
            return Owed(UNMET, _of(duty, say("duty.due", **done, due=moment(due_ms))), True, last, ask)
        if is_above(last.body, duty.alert):
            what = say("duty.above_alert", **done, **_result(last, duty.alert))
            return Owed(MET, _of(duty, what), True, last)
        return Owed(MET, _of(duty, say("duty.done", **done, due=moment(due_ms))), False, last)


def _of(duty: Duty, what: Message) -> Message:
    return say("duty.of", title=text(duty.title), what=part(what))


def _result(last: Fact, level: Level | None) -> dict[str, Value]:
    """A result and the level that it is above, as they were written."""
    told = " ".join(str(last.body[key]) for key in ("value", "unit") if last.body.get(key) is not None)
    return {"result": text(told), "level": text("" if level is None else f"{level.value:g} {level.unit}")}
