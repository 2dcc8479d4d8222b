"""The water filters: what draws show of them, when each is due, and when its drop fell without a reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from edge.domain.entries import Entry, Now
from edge.domain.messages import name, part, say
from edge.domain.records.book import local_date, months_later_ms, next_date_change_ms
from edge.domain.station.judged import UNKNOWN, UNMET
from edge.domain.station.part import (
    ClockStepped,
    ClockTrustChanged,
    DrawEnded,
    EntriesLost,
    FactAdded,
    FactsRedated,
    Happening,
    Judge,
    NextDue,
    Part,
    RecordKept,
    due_again,
)
from edge.domain.station.parts.filters.condition import FilterCondition
from edge.domain.station.parts.filters.estimates import FilterEstimates
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory


class Filters(Part):
    """Looks at the filters after each draw, after what people did, and as a local date begins. Keeps what draws showed.

    Args:
        evidence: what draws showed; the filter train.
    """

    folds = frozenset({"draw"})

    def __init__(
        self, view: View, evidence: DrawHistory, condition: FilterCondition, estimates: FilterEstimates
    ) -> None:
        self._view, self._evidence, self._condition, self._estimates = view, evidence, condition, estimates
        self._day_ms = 0  # monotonic time of the next local date

    def alarm_ids(self) -> Iterable[str]:
        stages = self._view.settings.filters
        return [f"{what}:{stage.id}" for stage in stages for what in ("filter_due", "filter_fell")]

    def next_due(self) -> Mapping[str, NextDue]:
        """By age: a drop may ask for a change sooner."""
        book, zone = self._view.book, self._view.zone
        found: dict[str, NextDue] = {}
        for stage in self._view.settings.filters:
            change, months = book.last_change(stage.id), stage.replace_after_months
            due_ms = None if change is None or months is None else months_later_ms(change.at_ms, months, zone)
            found[f"filter_due:{stage.id}"] = due_again(change, due_ms)
        return found

    def begin(self, now: Now) -> None:
        self._day_ms = now.mono_ms

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case DrawEnded():
                self._look(now)
            case FactAdded():
                self._evidence.train.rebase()
            case EntriesLost():
                self._evidence.last = None  # a later draw may be among what was lost
            case RecordKept() | FactsRedated() | ClockTrustChanged() | ClockStepped():
                self._day_ms = now.mono_ms

    def advance(self, now: Now) -> None:
        """A local date began, or facts changed: ages of filters, the day's figures."""
        if now.mono_ms < self._day_ms:
            return
        view = self._view
        self._day_ms = now.mono_ms + (next_date_change_ms(now.wall_ms, view.zone) - now.wall_ms)
        today = local_date(now.wall_ms, view.zone).isoformat()
        for body in self._evidence.begin_day(today) if now.trusted else ():
            view.note("filter_day", body, now)
        self._look(now)
        view.changed()

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        return (self._day_ms,)

    def _look(self, now: Now) -> None:
        """Due by drop or age (`filter_due:<id>`), fallen suddenly (`filter_fell:<id>`)."""
        alarms, told, train = self._view.alarms, self._estimates, self._evidence.train
        train.rebase()
        for stage in self._view.settings.filters:
            judged = self._condition.by_drop_and_age(stage.id, now)
            drop = told.dropped(stage.id, now).value
            cause = say("filter.cause", filter=name(stage.id), why=part(judged.text), at_once=part(told.at_once()))
            due, fell = f"filter_due:{stage.id}", f"filter_fell:{stage.id}"
            limit = stage.drop_limit_kpa
            is_due = None if judged.state == UNKNOWN and not now.trusted else judged.state == UNMET
            alarms.set_condition(due, is_due, now, value=drop, unit="kPa", limit=limit, cause=cause)
            seen = train.of(stage.id)
            if seen is None:
                continue
            why = told.fell(seen)
            fallen = (
                None if why is None else say("filter.cause", filter=name(stage.id), why=part(why), at_once=part(None))
            )
            alarms.set_condition(fell, fallen is not None, now, value=drop, unit="kPa", cause=fallen)

    # -- what others ask

    def conditions(self) -> Mapping[str, Judge]:
        filters = self._view.settings.filters
        return {f"filter:{stage.id}": partial(self._condition.judge, stage.id) for stage in filters}

    def estimates(self, now: Now) -> Mapping[str, dict[str, Any]]:
        return self._estimates.all(now)

    # -- after a restart

    def fold(self, entry: Entry) -> None:
        self._evidence.fold(entry)

    def kept(self, entry: Entry) -> None:
        self._evidence.kept(entry.seq)

    def state(self) -> dict[str, Any]:
        return {"evidence": self._evidence.state()}

    def restore(self, state: Mapping[str, Any]) -> None:
        self._evidence.restore(state["evidence"])
