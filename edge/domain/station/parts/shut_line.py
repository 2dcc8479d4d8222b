"""Commissioning's pressure decay, timed by the station: begun and ended by records, fed by readings, and a record of what it gave.

The record of the result is in the name of whoever began it. A watch isn't kept over a restart: one that was begun and has no result in the
journal gets a record that says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from edge.domain.entries import Draft, Now, Stamp
from edge.domain.messages import Message, of_json, part, quantity, say
from edge.domain.readings import Kind, Role
from edge.domain.records import shut_line
from edge.domain.records.bodies import as_draft_body
from edge.domain.records.commissioning import RECORD, TIMED, How, Item, fallen, items_of, result_of
from edge.domain.records.fact import Fact
from edge.domain.records.forms import BEGINS, ENDS
from edge.domain.records.shut_line import Unusable, Watched
from edge.domain.settings import Point
from edge.domain.station.part import DrawBegan, FactAdded, Happening, Part, RecordKept
from edge.domain.station.view import View
from edge.domain.water.draws import DrawDetector


class ShutLine(Part):
    """What is under way; what it gave stands in the book."""

    roles = frozenset({Role.SUPPLY_PRESSURE, Role.SUPPLY_FLOW})

    def __init__(self, view: View, draws: DrawDetector | None) -> None:
        self._view, self._draws = view, draws
        #: the item that is timed; None: this station has none
        self._item = next((item for item in items_of(view.settings) if item.how is How.DECAY), None)
        self._watched: Watched | None = None
        self._by: dict[str, Any] = {}  # of the record that began it: who, and what its result rests on
        self._left_open: Fact | None = None  # a beginning of a run before, without a result

    # -- what is asked and recorded of it

    def shown(self, now: Now) -> tuple[int | None, Message | None]:
        """(what is left of its time, None where none is under way; what was seen so far, or why the last one gave no number)."""
        if self._watched is not None and self._item is not None:
            return self._watched.left_ms(now.mono_ms), _so_far(self._item, self._watched)
        last = self._last()
        why = None if last is None or last.counts else last.body.get("why_not_msg")
        return None, None if why is None else of_json(why)

    def judge(self, body: Mapping[str, Any], now: Now) -> tuple[Message | None, dict[str, Any]]:
        """(why a record of its beginning or its end doesn't count, what it comes to). No end counts: what was begun gave no number."""
        if body.get("timing") == ENDS:
            if self._watched is None or self._item is None:
                return say("commissioning.none_timed"), {}
            return _unusable(Unusable.STOPPED), _found(shut_line.spoilt(self._watched, Unusable.STOPPED))
        return self._why_not_now(now), {}

    def _why_not_now(self, now: Now) -> Message | None:
        """Why it can't begin; None where it can."""
        item, plan = self._item, self._view.settings.supply
        if item is None or item.point is None or plan is None:
            return say("commissioning.not_timed")
        if self._watched is not None:
            return say("commissioning.already_timed")
        kpa = self._view.value(item.point, now.mono_ms)
        if kpa is None:
            return say("commissioning.no_pressure")
        if self._draws is not None and self._draws.draw is not None:
            return say("commissioning.water_runs")
        if kpa < plan.pressure_low_kpa:
            return say(
                "commissioning.little_pressure", here=quantity(Kind.PRESSURE, kpa, item.point),
                least=quantity(Kind.PRESSURE, plan.pressure_low_kpa, item.point),
            )  # fmt: skip
        return None

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, DrawBegan):
            self._spoil(Unusable.FLOWED)
        elif isinstance(event, RecordKept) and event.record == RECORD and self._is_of_it(event.body):
            self._recorded(event.body, now)

    def _is_of_it(self, body: Mapping[str, Any]) -> bool:
        return self._item is not None and body.get("item") == self._item.id

    def _recorded(self, body: Mapping[str, Any], now: Now) -> None:
        if body.get("taken") == TIMED:
            self._watched = None
        elif body.get("timing") == BEGINS and body.get("counts") and self._item is not None:
            kpa = self._view.value(self._item.point, now.mono_ms)
            self._by = _carried(body)
            self._watched = None if kpa is None else shut_line.begun(kpa, now.mono_ms, self._item.lasts_ms or 0)

    # -- what is heard, and what it comes to

    def resume(self, now: Now) -> None:
        last = self._last()
        self._left_open = last if last is not None and last.body.get("timing") == BEGINS else None

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        watched, item, plan = self._watched, self._item, self._view.settings.supply
        if watched is None or item is None or plan is None:
            return
        if point.id == item.point:
            self._watched = shut_line.heard(watched, value, mono_ms)
        elif point.role is Role.SUPPLY_FLOW and value > plan.draw_starts_l_min:
            self._spoil(Unusable.FLOWED)

    def advance(self, now: Now) -> None:
        left, self._left_open = self._left_open, None
        if left is not None:
            self._keep(_carried(left.body), {"taken": TIMED}, _unusable(Unusable.RESTARTED), now)
        if self._watched is None or self._item is None:
            return
        if self._view.value(self._item.point, now.mono_ms) is None:
            self._spoil(Unusable.LOST)
        watched = self._watched
        if watched.why is not None:
            self._keep(self._by, _found(watched), _unusable(watched.why), now)
        elif watched.is_over:
            self._keep(self._by, _found(watched) | _came_to(self._item, watched), None, now)

    def _spoil(self, why: Unusable) -> None:
        if self._watched is not None:
            self._watched = shut_line.spoilt(self._watched, why)

    def _keep(self, by: Mapping[str, Any], found: Mapping[str, Any], why: Message | None, now: Now) -> None:
        """A record of what it gave, by nobody's hand."""
        view = self._view
        kept = as_draft_body({**by, **found}, RECORD, str(by["by"]), now.wall_ms, why, view.words.text)
        view.drafts.append(Draft(now, "record", kept))
        fact = view.book.add(Fact(None, RECORD, now.wall_ms, kept, why is None, Stamp(view.boot, *now)))
        view.happen(FactAdded(fact), now)
        view.happen(RecordKept(RECORD, kept), now)
        view.changed()

    def _last(self) -> Fact | None:
        """The newest record of a beginning, a result, or what else was found of the item."""
        return next(
            (
                fact for fact in reversed(self._view.book.facts)
                if fact.record == RECORD and self._is_of_it(fact.body) and (fact.counts or fact.body.get("taken") == TIMED)
            ),
            None,
        )  # fmt: skip


def _carried(body: Mapping[str, Any]) -> dict[str, Any]:
    """What a result has of the record that began it."""
    return {key: body[key] for key in ("item", "by", "by_role", "proven", "rests_on") if key in body}


def _so_far(item: Item, watched: Watched) -> Message:
    """What was seen since it began: with the first reading alone no fall."""
    if not watched.lasted_ms:
        return say("commissioning.watched", here=quantity(Kind.PRESSURE, watched.first_kpa, item.point))
    return fallen(item, watched.first_kpa, watched.last_kpa, watched.lasted_ms)


def _found(watched: Watched) -> dict[str, Any]:
    """What a record says of a watch: the first and the last pressure, and the time between them."""
    first, last = (f"{kpa:.2f} kPa" for kpa in (watched.first_kpa, watched.last_kpa))
    return {"taken": TIMED, "before": first, "after": last, "seconds": watched.lasted_ms / 1000.0}


def _came_to(item: Item, watched: Watched) -> dict[str, Any]:
    """What a watch that ended by itself comes to."""
    result = result_of(item, watched.fall_kpa, 0.0, None)
    return {
        "result": str(result), "number": round(watched.fall_kpa, 6),
        "quantity": item.quantity, "low": item.low, "high": item.high,
    }  # fmt: skip


def _unusable(why: Unusable) -> Message:
    return say("commissioning.unusable", why=part(say(f"commissioning.unusable.{why}")))
