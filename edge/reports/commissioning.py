"""What the journal says of a station's commissioning: facts, as plain JSON, in the forms of day.py."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now, rfc3339
from edge.domain.messages import Message, as_json
from edge.domain.records.commissioning import RECORD, Standing, limits_said
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from edge.reports.day import Taken

#: of a record: what is told of it
_TOLD: Final = tuple(
    "item result taken number quantity u litres seconds instrument not_applicable note by by_role proven".split()
)


class CommissioningFacts:
    """Gathers them: fed with all entries of the journal up to its head, in their order.

    Args:
        settings: those in force at the head.
        dates: what is known of the clock up to the head.
        taken: the records that count no more.
    """

    def __init__(self, settings: Settings, dates: Dates, taken: Taken) -> None:
        self._station, self._dates = Station(settings, ""), dates
        self._can_follow, self._untrusted, self._undated = True, 0, 0
        self._records: list[dict[str, Any]] = []
        self._items: dict[int, str] = {}  # by seq, for what corrects them
        self._taken = taken

    def take(self, entry: Entry) -> None:
        """The next entry."""
        if self._can_follow:
            try:
                self._station.fold(entry)
            except (ValueError, TypeError, KeyError):  # an earlier version wrote what this one can't follow
                self._can_follow = False
        if entry.kind == "record" and self._is_of_it(entry.body):
            self._record(entry)

    def _is_of_it(self, body: Mapping[str, Any]) -> bool:
        return body.get("record") == RECORD or (body.get("record") == "correction" and body.get("of") in self._items)

    def _record(self, entry: Entry) -> None:
        body, dated = entry.body, self._dates.of(entry.stamp)
        self._items[entry.seq] = item = str(body.get("item") or self._items.get(int(body.get("of") or 0), ""))
        self._untrusted += not entry.trusted
        self._undated += bool(dated.doubt)
        told = {key: body[key] for key in (*_TOLD, "of", "why", "why_not", "why_not_msg") if body.get(key) is not None}
        at = None if dated.doubt else rfc3339(dated.wall_ms)
        self._records.append(
            {
                "seq": entry.seq,
                "at": at,
                "record": body["record"],
                "counts": bool(body.get("counts")),
                **told,
                **({"taken_back": self._taken[entry.seq]} if entry.seq in self._taken else {}),
                "item": item,
            }
        )

    def told(self, made_at_ms: int) -> dict[str, Any]:
        """The facts."""
        seqs = [one["seq"] for one in self._records]
        part = self._station.parts.commissioning
        items = [_item(one) for one in part.standings(Now(0, made_at_ms, True))] if self._can_follow else None
        told = {
            "items": items,
            "left": None if items is None else sum(not one["is_done"] for one in items),
            "records": self._records,
            "entries": {
                "first": min(seqs, default=None), "last": max(seqs, default=None), "number": len(seqs),
                "undated": self._undated, "untrusted": self._untrusted,
            },
        }  # fmt: skip
        plain: dict[str, Any] = json.loads(json.dumps(told))
        return plain


def gathered(settings: Settings, dates: Dates, taken: Taken, entries: Iterable[Entry]) -> CommissioningFacts:
    """The facts of these entries."""
    facts = CommissioningFacts(settings, dates, taken)
    for entry in entries:
        facts.take(entry)
    return facts


def _item(one: Standing) -> dict[str, Any]:
    item = one.item
    return {
        "id": item.id, "group": item.group, "how": str(item.how), "state": str(one.state), "is_done": one.is_done,
        "title": as_json(item.title), "limits": _form(limits_said(item)), "source": as_json(item.source), "text": _form(one.text),
        "seq": one.seq, "at": None if one.at_ms is None else rfc3339(one.at_ms),
        "by": None if one.by is None or one.by.kind == "message" else str(one.by.value),
    }  # fmt: skip


def _form(message: Message | None) -> dict[str, Any] | None:
    return None if message is None else as_json(message)
