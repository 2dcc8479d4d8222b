"""The facts of a commissioning as a page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.entries import wall_ms_of
from edge.domain.messages import moment, name, number, of_json, say, text
from edge.domain.records.commissioning import GROUPS, Result
from edge.reports.html import Child, Element, el, table
from edge.reports.page import OfPaper, Paper, entries_told

#: each group's table has the same columns [%]
_SHARES: Final = (28, 13, 28, 12, 10, 9)


class CommissioningPage(Paper):
    """A page of a commissioning, to print and sign."""

    def said_of(self) -> OfPaper:
        facts, entries = self._facts, self._facts["entries"]
        first, last = number(entries["first"]), number(entries["last"])
        at = moment(wall_ms_of(facts["made_at"]))
        told = say("report.commissioning_entries", n=number(entries["number"]), first=first, last=last)
        undated = say("report.commissioning_undated", n=number(entries["undated"]))
        return OfPaper(
            say("report.commissioning"), self._tell.at(facts["made_at"]), say("report.commissioning_span", at=at, zone=name(facts["zone"])),
            None, entries_told(entries, told, say("report.commissioning_no_entries"), undated),
        )  # fmt: skip

    def sections(self) -> Iterable[Element]:
        items = self._facts["items"]
        if items is None:
            yield el("p", self._tell.said(say("report.due_not_known")), class_="loud")
        else:
            left = self._facts["left"]
            done = (
                say("commissioning.left", left=number(left), all=number(len(items)))
                if left
                else say("commissioning.done")
            )
            yield el("p", self._tell.said(done), class_="loud")
            for group in GROUPS:
                yield from self._group(group, [one for one in items if one["group"] == group])
        yield from self._history()
        yield from self._keys()

    def _group(self, group: str, items: list[Mapping[str, Any]]) -> Iterable[Element]:
        if not items:
            return
        yield el("h2", self._tell.said(say(f"commissioning.group.{group}")))
        rows: list[list[Child]] = [
            [
                self._tell.said(of_json(one["title"])),
                self._tell.said(say(f"commissioning.state.{one['state']}")),
                self._found(one),
                "" if one["at"] is None else self._tell.at(one["at"]),
                one["by"] or "",
                "" if one["seq"] is None else str(one["seq"]),
            ]
            for one in items
        ]
        yield table(self._tell.columns("item", "result", "told", "at", "by", "entry"), rows, _SHARES)

    def _found(self, one: Mapping[str, Any]) -> Element:
        lines = [] if one["text"] is None else [self._tell.said(of_json(one["text"]))]
        if one["text"] is None and one["limits"] is not None:
            lines.append(self._tell.said(of_json(one["limits"])))
        if one["state"] != Result.NOT_APPLICABLE:
            lines.append(self._tell.said(of_json(one["source"])))
        return el("ul", *(el("li", line) for line in lines))

    def _history(self) -> Iterable[Element]:
        """All that was recorded, what failed and what was corrected too."""
        rows: list[list[Child]] = []
        for one in self._facts["records"]:
            result = say(f"commissioning.state.{one['result']}") if one.get("result") in set(Result) else None
            said = [self._tell.said(result) if result is not None else self._tell.title("records", one["record"])]
            said += [str(one[key]) for key in ("not_applicable", "why", "note", "instrument") if one.get(key)]
            said += self._tell.doubts(one)
            at = self._tell.said(say("report.no_date")) if one["at"] is None else self._tell.at(one["at"])
            rows.append(
                [
                    at,
                    self._tell.item(one["item"]),
                    el("ul", *(el("li", line) for line in said)),
                    self._tell.who(one),
                    str(one["seq"]),
                ]
            )
        if not rows:
            yield from self._none("commissioning_records")
            return
        yield from self._section(
            "commissioning_records", table(self._tell.columns("at", "item", "told", "by", "entry"), rows)
        )

    def _keys(self) -> Iterable[Element]:
        facts = self._facts
        lines = [say("report.settings_in_force", digest=name(facts["settings"]))]
        lines += (
            [say("report.public_half", key=text(" ".join(facts["public_key"].split())))] if facts["public_key"] else []
        )
        yield from self._section("settings", *(el("p", self._tell.said(line), class_="digest") for line in lines))
