"""The commissioning of a station: how each item of its list stands, what its numbers are now, and what a record of one comes to."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NamedTuple

from edge.domain.entries import Entry, Now
from edge.domain.messages import Message, name, number, part, say
from edge.domain.records.commissioning import (
    ENTERED,
    LIVE,
    RECORD,
    How,
    Item,
    Known,
    Live,
    Result,
    Standing,
    Unusable,
    digests_of,
    items_of,
    result_of,
    standing,
    told_in,
)
from edge.domain.records.counting import perhaps, there_are, trip_not_seen
from edge.domain.records.fact import Fact
from edge.domain.sensing.bucket import bucket
from edge.domain.station.judged import MET, UNMET, Judged
from edge.domain.station.part import FactAdded, FactsRedated, Happening, Judge, Part
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.draws import DrawDetector

#: a word of how the run before a `started` entry ended where the power was cut
_CUT_OFF: Final = "unclean"
#: what signs a program's records: the facilities system has a token of its own
_BY_PROGRAM: Final = "token"


class Asked(NamedTuple):
    """What this part asks of others.

    Attributes:
        capacity: flow that the supply gives at its least pressure [L/min]; None: not known.
        compared: the newest comparison of a point with a reference.
        warm_ups, transfers: how many were learned from.
        timing: why a record of a timing doesn't count, and what it comes to.
        timed: what is left of the time of one [ms], and what was seen (Live).
    """

    capacity: Callable[[Now], float | None]
    compared: Callable[[str], Fact | None]
    warm_ups: Callable[[], int]
    transfers: Callable[[], int]
    timing: Callable[[Mapping[str, Any], Now], tuple[Message | None, dict[str, Any]]]
    timed: Callable[[Now], tuple[int | None, Message | None]]


class Commissioning(Part):
    """What was found stands in the book; what only entries tell (settings, restarts, who answered) is remembered here."""

    folds = frozenset({"record", "settings", "started"})

    def __init__(self, view: View, draws: DrawDetector | None, evidence: DrawHistory, asked: Asked) -> None:
        self._view, self._draws, self._evidence, self._asked = view, draws, evidence, asked
        self._plan = view.settings.rules.commissioning
        self.items = items_of(view.settings)
        self._digests: dict[str, str] = {}
        self._cut_off: Known | None = None
        self._answered: Known | None = None
        self._told: tuple[Now | None, tuple[Standing, ...]] = None, ()

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, FactAdded | FactsRedated):
            self._told = None, ()

    # -- what entries tell

    def fold(self, entry: Entry) -> None:
        body = entry.body
        if entry.kind == "settings":
            digests = digests_of(body.get("document") or {})
            tellers = [(of.get("mqtt"), of.get("target")) for of in (self._digests, digests)]
            if self._digests and tellers[0] != tellers[1]:
                self._answered = None
            self._digests = digests
        elif entry.kind == "started" and _CUT_OFF in str(body.get("after")).split():
            self._cut_off = Known(say("commissioning.restarted"), entry.seq, entry.wall_ms)
        elif body.get("record") == "acknowledge" and body.get("counts") and body.get("proven") == _BY_PROGRAM:
            by = name(str(body.get("by")))
            self._answered = Known(_answer(str(body.get("alarm"))), entry.seq, entry.wall_ms, by)
        self._told = None, ()

    def kept(self, entry: Entry) -> None:
        self.fold(entry)

    def state(self) -> dict[str, Any]:
        cut, answered = self._cut_off, self._answered
        return {
            "commissioning": {
                "digests": self._digests,
                "cut_off": None if cut is None else [cut.seq, cut.at_ms],
                "answered": None if answered is None else [
                    answered.seq, answered.at_ms, None if answered.by is None else answered.by.value,
                    answered.text.values["alarm"].value,
                ],
            }
        }  # fmt: skip

    def restore(self, state: Mapping[str, Any]) -> None:
        kept = state.get("commissioning") or {}
        self._digests = dict(kept.get("digests", {}))
        cut, answered = kept.get("cut_off"), kept.get("answered")
        self._cut_off = None if cut is None else Known(say("commissioning.restarted"), *cut)
        self._answered = None
        if answered is not None:
            seq, at_ms, by, alarm = answered
            self._answered = Known(_answer(alarm), seq, at_ms, None if by is None else name(by))
        self._told = None, ()

    # -- how it stands

    def standings(self, now: Now) -> tuple[Standing, ...]:
        """Each item of the list, in its order."""
        when, told = self._told
        if when != now:
            told = tuple(self._standings())
            self._told = now, told
        return told

    def _standings(self) -> Iterator[Standing]:
        facts, kinds = self._view.book.facts, {kind for item in self.items for kind in item.reopened_by}
        found: dict[str, tuple[int, Fact]] = {}
        changes: list[tuple[int, Fact]] = []
        for place, fact in enumerate(facts):
            if fact.counts and fact.record == RECORD and fact.body.get("timing") is None:
                found[str(fact.body.get("item"))] = place, fact
            elif fact.counts and fact.record in kinds:
                changes.append((place, fact))
        for item in self.items:
            place, record = found.get(item.id, (len(facts), None))
            later = [fact for at, fact in changes if at > place]
            yield standing(item, record, self._known(item), later, self._digests)

    def pictured(self, now: Now) -> tuple[tuple[Standing, Live], ...]:
        """Each item as it stands, and what its number is now."""
        return tuple((one, self.live(one.item, now)) for one in self.standings(now))

    def left(self, now: Now) -> int:
        """How many items are still to be done."""
        return sum(not one.is_done for one in self.standings(now))

    def note(self, now: Now) -> Message | None:
        """What is said beside the verdict, where the site asks for it: that the station isn't commissioned."""
        left = self.left(now) if self._plan.is_asked else 0
        return say("commissioning.not_yet", left=number(left), all=number(len(self.items))) if left else None

    def conditions(self) -> Mapping[str, Judge]:
        return {"commissioned": self._condition} if self._plan.is_asked and self._plan.keeps_from_ready else {}

    def _condition(self, now: Now) -> Judged:
        left = self.left(now)
        if not left:
            return Judged(MET, say("commissioning.done"))
        why = say("commissioning.left", left=number(left), all=number(len(self.items)))
        return Judged(UNMET, why, ask=say("commissioning.ask"))

    def _known(self, item: Item) -> Known | None:
        """What the journal holds that shows an item to be right."""
        asked = self._asked
        if item.base == "calibration":
            fact = asked.compared(item.of)
            return None if fact is None else Known(say("commissioning.compared"), fact.seq, fact.at_ms, fact.by)
        if item.base == "warm_up" and (n := asked.warm_ups()):
            return Known(say("commissioning.warm_ups", n=number(n)))
        if item.base == "transfer" and (n := asked.transfers()):
            return Known(say("commissioning.transfers", n=number(n)))
        return {"restart": self._cut_off, "alarm_test": self._answered}.get(item.base)

    # -- what its numbers are now

    def live(self, item: Item, now: Now) -> Live:
        """What an item's number is now, as the station has it."""
        view, evidence, draws = self._view, self._evidence, self._draws
        guard = 0.0 if item.point is None else view.watches[item.point].guard
        match item.base:
            case "decay":
                return Live(view.value(item.point, now.mono_ms), guard, *self._asked.timed(now))
            case "zero" | "step":
                return Live(view.value(item.point, now.mono_ms), guard)
            case "static":
                rest = None if draws is None else draws.settled_kpa
                at_rest = (
                    evidence.rest_and_drawn_kpa()
                    if rest is None and evidence.shown("supply_kpa", now, None).stands
                    else None
                )
                return Live(at_rest[0] if at_rest is not None else rest, guard)
            case "dynamic" | "drawn" | "bucket":
                seen = evidence.shown("supply_kpa" if item.base == "dynamic" else "flow_l_min", now, None)
                return Live(seen.value if seen.stands else None, guard)
            case "capacity":
                return Live(self._asked.capacity(now))
            case "drop":
                drop = evidence.drop_since_change(item.of, now)
                return Live(drop.value if drop.stands else None)
        return Live()

    # -- what a record comes to

    def judge(self, body: Mapping[str, Any], at_ms: int, now: Now) -> tuple[Message | None, dict[str, Any]]:
        """(why a record of an item doesn't count; None where it does, what it comes to)."""
        item = next((one for one in self.items if one.id == body.get("item")), None)
        if item is None:
            ids, asked = [one.id for one in self.items], str(body.get("item"))
            there = perhaps(difflib.get_close_matches(asked, ids, 1)) or there_are(ids)
            return say("commissioning.no_such_item", named=name(asked), there=part(there)), {}
        why: Message | None = None
        if body.get("timing") is not None:
            is_timed = item.how is How.DECAY
            why, worked = self._asked.timing(body, now) if is_timed else (say("commissioning.not_timed"), {})
        else:
            try:
                worked = self._worked(item, body, at_ms, now)
            except Unusable as unusable:
                return unusable.why, {}
        if why is not None:
            return why, worked
        rests = {key: self._digests[key] for key in item.rests_on if key in self._digests}
        return None, {**worked, "rests_on": rests}

    def _worked(self, item: Item, body: Mapping[str, Any], at_ms: int, now: Now) -> dict[str, Any]:
        if body.get("not_applicable") is not None:
            return {"result": str(Result.NOT_APPLICABLE)}
        passed = body.get("passed")
        if item.how in (How.NUMBER, How.BUCKET, How.DECAY):
            return self._measured(item, body, now)
        if passed is False:
            return {"result": str(Result.FAILED)}
        if item.how is How.CLOCK:
            return {"result": str(Result.PASSED if now.trusted else Result.FAILED), "taken": LIVE}
        if item.how is How.TRIP:
            why = trip_not_seen(self._view.book, item.of, at_ms)
            if why is not None:
                raise Unusable(why)
            return {"result": str(Result.PASSED), "taken": LIVE}
        if item.how is How.JOURNAL and self._known(item) is None:
            raise Unusable(say("commissioning.journal_only"))
        if passed is None:
            raise Unusable(say("commissioning.nothing_told"))
        return {"result": str(Result.PASSED)}

    def _measured(self, item: Item, body: Mapping[str, Any], now: Now) -> dict[str, Any]:
        now_is = self.live(item, now)
        if item.how is How.BUCKET:
            return self._bucket(item, body, now_is)
        if item.how is How.DECAY:
            before, after = (told_in(body, key, "pressure") for key in ("before", "after"))
            if before is None:
                raise Unusable(say("commissioning.no_before"))
            after = now_is.value if after is None else after
            value, how, guard = (
                None if after is None else before - after,
                LIVE if body.get("after") is None else ENTERED,
                0.0,
            )
        else:
            value, how, guard = told_in(body, "value", item.quantity), ENTERED, 0.0
            if value is None:
                value, how, guard = now_is.value, LIVE, now_is.guard
        if value is None:
            raise Unusable(say("commissioning.no_number"))
        result = result_of(item, value, guard, body.get("passed"))
        return {"result": str(result), "taken": how, "number": round(value, 6), **_held(item)}

    def _bucket(self, item: Item, body: Mapping[str, Any], now_is: Live) -> dict[str, Any]:
        told = told_in(body, "value", "flow")
        meter, how = (now_is.value, LIVE) if told is None else (told, ENTERED)
        if body.get("litres") is None or body.get("seconds") is None:
            raise Unusable(say("commissioning.no_bucket"))
        if meter is None:
            raise Unusable(say("commissioning.no_number"))
        step = 0.0 if item.point is None else self._view.watches[item.point].point.resolution or 0.0
        found = bucket(body["litres"], body["seconds"], meter, body.get("litres_u"), body.get("seconds_u"), step)
        most = item.high or 0.0
        if 2.0 * found.u > most:
            raise Unusable(say("commissioning.bucket_too_coarse", u=number(2.0 * found.u, "1"), most=number(most, "1")))
        result = result_of(item, found.off, 0.0, body.get("passed"))
        more = {"flow_l_min": round(found.flow_l_min, 6), "meter_l_min": round(meter, 6), "u": round(found.u, 6)}
        return {"result": str(result), "taken": how, "number": round(found.off, 6), **more, **_held(item)}


def _held(item: Item) -> dict[str, Any]:
    """What a number is, and its limits, as they are kept beside it."""
    return {"quantity": item.quantity, "low": item.low, "high": item.high}


def _answer(alarm: str) -> Message:
    return say("commissioning.answered", alarm=name(alarm))
