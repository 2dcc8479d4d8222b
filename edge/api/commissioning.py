"""The commissioning list as it stands: each item with what to do, its limits, what its number is now, and what was found."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import Request
from fastapi.responses import Response
from pydantic import Field

from edge.api import models
from edge.api.asks import read_in
from edge.api.jsonout import dumps
from edge.api.preference import OfViewer
from edge.domain.entries import rfc3339
from edge.domain.messages import as_json, say
from edge.domain.quantities import DIMENSIONS
from edge.domain.readings import Kind
from edge.domain.records.commissioning import GROUPS, Item, Live, Standing, as_read, limits_said, needs, shown
from edge.domain.settings import Settings
from edge.domain.words.saying import Words
from edge.snapshot import Snapshot


class Group(models.Shape):
    """A group of the commissioning list."""

    id: str
    title: str


class Reading(models.Shape):
    """What the station reads for an item now."""

    value: float
    unit: str
    text: str


class ItemNumber(models.Shape):
    """The number of an item. `low` and `high` are in the canonical unit of `quantity`; of a share they are parts of 1."""

    quantity: str = Field(description="a dimension, or share")
    low: float | None
    high: float | None
    limits: str
    units: list[str] = Field(description="in which it may be entered")
    now: Reading | None = Field(description="null: nothing is known of it now")


class Timing(models.Shape):
    """What the station times of an item: begun and ended by records (`timing`), on whichever device."""

    lasts_s: float
    left_s: float | None = Field(description="null: none is under way")
    text: str = Field(description="what was seen so far, or why the last one gave no number; empty where neither is so")


class ListedItem(models.Shape):
    """One item of the commissioning list."""

    id: str = Field(description="what stands behind ':' names a point, a filter or an outlet")
    group: str
    how: Literal["eye", "number", "bucket", "decay", "clock", "trip", "journal", "journal_or_eye"] = Field(
        description="what shows that it is right"
    )
    state: Literal["open", "reopened", "passed", "failed", "not_applicable"]
    state_text: str
    is_done: bool
    title: str
    do: str = Field(description="what to look at or measure")
    caution: str = Field(description="what can hurt; empty where nothing does")
    source: str = Field(description="where its limit is from, or that it is common practice")
    needs: list[str] = Field(
        description="keys without each of which a record of it says nothing, but where it doesn't apply"
    )
    point: str | None
    number: ItemNumber | None
    timing: Timing | None = Field(description="null: the station doesn't time it")
    text: str = Field(description="what was found, or why it has to be done again")
    msg: models.Message | None
    seq: int | None = Field(description="of the entry")
    at: str | None
    by: str | None
    left_out: bool = Field(description="the site's list leaves it out")


class CommissioningList(models.Shape):
    """The commissioning list in its order. `asked`: the station says that it isn't commissioned until it is."""

    at: str | None
    trusted: bool
    asked: bool
    commissioned: bool
    left: int = Field(description="how many items are still to be done")
    groups: list[Group]
    items: list[ListedItem]


async def commissioning(request: Request, viewer: OfViewer) -> Response:
    """The commissioning list, in its order, and how each item stands. `asked`: the station file has [commissioning]."""
    watch = request.app.state.desk.watch
    snapshot = watch.see().snapshot
    return Response(dumps(_told(snapshot, watch.viewers.words(viewer, snapshot))), media_type="application/json")


def _told(snapshot: Snapshot, words: Words) -> dict[str, Any]:
    """The list in words, as CommissioningList."""
    items, settings, verdict = snapshot.commissioning, snapshot.settings, snapshot.verdict
    left = sum(not one.is_done for one, _ in items)
    return {
        "at": verdict.get("at"), "trusted": verdict.get("trusted", False),
        "asked": settings is not None and settings.rules.commissioning.is_asked, "commissioned": bool(items) and left == 0, "left": left,
        "groups": [{"id": group, "title": words.text(say(f"commissioning.group.{group}"))} for group in GROUPS],
        "items": [_item(one, live, settings, words) for one, live in items],
    }  # fmt: skip


def _item(one: Standing, live: Live, settings: Settings | None, words: Words) -> dict[str, Any]:
    item = one.item
    return {
        "id": item.id, "group": item.group, "how": str(item.how), "state": str(one.state),
        "state_text": words.text(say(f"commissioning.state.{one.state}")), "is_done": one.is_done,
        "title": words.text(item.title), "do": words.text(item.ask), "caution": words.text(item.caution), "source": words.text(item.source),
        "needs": list(needs(item, is_read=live.value is not None)),
        "point": item.point, "number": _number(item, live, settings, words) if item.quantity else None,
        "timing": None if item.lasts_ms is None else {
            "lasts_s": item.lasts_ms / 1000.0, "left_s": None if live.left_ms is None else live.left_ms / 1000.0,
            "text": words.text(live.seen),
        },
        "text": words.text(one.text), "msg": None if one.text is None else as_json(one.text),
        "seq": one.seq, "at": None if one.at_ms is None else rfc3339(one.at_ms),
        "by": None if one.by is None else words.formatted(one.by, ""), "left_out": item.leave_out is not None,
    }  # fmt: skip


def _number(item: Item, live: Live, settings: Settings | None, words: Words) -> dict[str, Any]:
    read = as_read(item)
    value = None if live.value is None else shown(read, live.value)
    now = None if value is None else {"value": value.value, "unit": value.unit, "text": words.formatted(value, "")}
    return {
        "quantity": item.quantity, "low": item.low, "high": item.high, "limits": words.text(limits_said(item)),
        "units": _units(read, settings), "now": now,
    }  # fmt: skip


def _units(item: Item, settings: Settings | None) -> list[str]:
    """The units that its number may be entered in, the point's own first."""
    quantity, points = item.quantity, () if settings is None else settings.points
    kind = next((one for one in Kind if one is not Kind.CONTACT and quantity.removesuffix("_difference") == one), None)
    if kind is None:
        return list(DIMENSIONS[quantity].units)[:4]
    return [
        unit
        for unit in read_in(kind, next((p for p in points if p.id == item.point), None))
        if unit in DIMENSIONS[quantity].units
    ]
