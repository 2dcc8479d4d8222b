"""A period's facts as a page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.entries import wall_ms_of
from edge.domain.messages import moment, name, number, of_kept, say
from edge.reports.html import Child, Element, el, table
from edge.reports.page import OfPaper, Paper, entries_told, is_not_over

#: words of the display that have a column of their own, in this order
_WORDS: Final = ("ready", "in_use", "reheating", "not_ready", "cant_tell", "at_rest")
#: figures that are numbers, and those that are lists or tables whose length is told
_NUMBERS: Final = ("announced", "per_day", "most_in_period", "flooded", "most_standing", "unanswered")
_LENGTHS: Final = ("chattering", "fleeting", "stale")


class PeriodPage(Paper):
    """A page of a month or a quarter."""

    def said_of(self) -> OfPaper:
        facts, entries = self._facts, self._facts["entries"]
        first, last = number(entries["first"]), number(entries["last"])
        told = say("report.period_entries", n=number(entries["number"]), first=first, last=last)
        undated = say("report.period_undated", n=number(entries["undated"]))
        return OfPaper(
            say("report.period"), facts["period"],
            say(
                "report.period_span", period=name(facts["period"]), begins=moment(wall_ms_of(facts["from"])),
                ends=moment(wall_ms_of(facts["to"])), days=number(facts["of_days"]), zone=name(facts["zone"]),
            ),
            say("report.period_not_over", at=moment(wall_ms_of(facts["until"]))) if is_not_over(facts) else None,
            entries_told(entries, told, say("report.period_no_entries"), undated),
        )  # fmt: skip

    def sections(self) -> Iterable[Element]:
        yield from self._days()
        yield from self._causes()
        yield from self._performance()
        yield from self._duties()
        yield from self._due()
        yield from self._filters()
        yield from self._work()
        yield from self._records()
        yield from self._heat_ups()
        yield from self._watch()

    def _days(self) -> Iterable[Element]:
        days = self._facts["days"]
        shown = [word for word in _WORDS if word in self._facts["minutes"]]
        rows: list[list[Child]] = []
        for day in days:
            lasted = [self._tell.lasted(day["minutes"][word]) if word in day["minutes"] else "" for word in shown]
            unwatched = self._tell.lasted(day["unwatched_min"]) if day["unwatched_min"] > 0 else ""
            rows.append([day["day"], self._at_first(day), *lasted, unwatched, self._tell.volume(day["water_l"])])
        total: list[Child] = [self._tell.lasted(self._facts["minutes"][word]) for word in shown]
        rows.append(
            ["", "", *total, self._tell.lasted(self._facts["unwatched_min"]), self._tell.volume(self._facts["water_l"])]
        )
        columns = self._tell.columns("day", "first_case")
        columns += [self._tell.word(word) for word in shown]
        columns += self._tell.columns("unwatched", "volume")
        opened = [day for day in days if day["was_then"]]
        counted = [day for day in opened if day["word"]]  # what nobody watched was neither ready nor not
        ready = say(
            "report.ready_at_first", n=number(sum(day["word"] == "ready" for day in counted)), of=number(len(counted))
        )
        missed = say("report.unwatched_at_first", n=number(len(opened) - len(counted))) if opened != counted else None
        water = say("report.water", volume=number(self._facts["water_l"], "L"), number=number(self._facts["draws"]))
        return self._section(
            "days",
            *(el("p", self._tell.said(one)) for one in (ready, missed, water) if one is not None),
            table(columns, rows),
        )

    def _at_first(self, day: Mapping[str, Any]) -> str:
        if day["first_case"] is None:
            return self._tell.said(say("report.closed"))
        if not day["was_then"]:
            return self._tell.said(say("report.still_to_come"))
        return self._tell.word(day["word"]) if day["word"] else self._tell.said(say("report.not_known"))

    def _causes(self) -> Iterable[Element]:
        rows: list[list[Child]] = [
            [self._tell.title("conditions", ident), self._tell.lasted(lasted)]
            for ident, lasted in self._facts["causes"].items()
        ]
        if not rows:
            return self._none("causes")
        overlap = el("p", self._tell.said(say("report.causes_overlap")))
        return self._section("causes", overlap, table(self._tell.columns("condition", "counted"), rows))

    def _performance(self) -> Iterable[Element]:
        figures = self._facts["performance"]
        if figures is None:
            return self._none("performance")
        values = [(which, figures[which]) for which in _NUMBERS] + [(which, len(figures[which])) for which in _LENGTHS]
        rows: list[list[Child]] = [
            [self._tell.said(say(f"report.figure.{which}")), self._tell.count(value)] for which, value in values
        ]
        for which, took_s in zip(("half", "most"), figures["answered_s"] or (), strict=False):
            rows.append([self._tell.said(say(f"report.figure.{which}")), self._tell.lasted(took_s / 60)])
        source = el("p", self._tell.said(say("report.figures_from")), class_="quiet")
        most: list[list[Child]] = [[self._tell.alarm(ident), str(n)] for ident, n in figures["top"]]
        often = table(self._tell.columns("alarm", "number"), most) if most else None
        return self._section("performance", source, table(self._tell.columns("figure", "value"), rows), often)

    def _duties(self) -> Iterable[Element]:
        rows: list[list[Child]] = [
            [
                self._tell.duty(one["id"]),
                self._tell.at(one["from"]),
                self._tell.end(one["to"], one.get("returned")),
            ]
            for one in self._facts["duties"]
        ]
        if not rows:
            return self._none("duties")
        return self._section("duties", table(self._tell.columns("duty", "from", "to"), rows))

    def _due(self) -> Iterable[Element]:
        due = self._facts["due"]
        if due is None:
            return self._section("due", el("p", self._tell.said(say("report.due_not_known")), class_="loud"))
        rows: list[list[Child]] = []
        for one in due:
            done = "" if one["done_at"] is None else self._tell.at(one["done_at"])
            again = self._tell.at(one["due_at"]) if one["due_at"] else self._tell.said(of_kept(one["msg"], one["text"]))
            rows.append([self._tell.duty(one["id"]), done, str(one["by"] or ""), again])
        if not rows:
            return self._none("due")
        return self._section("due", table(self._tell.columns("duty", "done", "by", "again"), rows))

    def _filters(self) -> Iterable[Element]:
        of: dict[str, list[Mapping[str, Any]]] = {}
        for one in self._facts["filter_days"]:
            of.setdefault(one["filter"], []).append(one)
        rows: list[list[Child]] = []
        for ident, days in sorted(of.items()):
            first, last = days[0], days[-1]
            highest = max(days, key=lambda one: float(one["drop_kpa"]))
            rows.append(
                [ident, *(f"{self._tell.drop(one['drop_kpa'])} ({one['date']})" for one in (first, last, highest))]
            )
        if not rows:
            return self._none("filters")
        return self._section("filters", table(self._tell.columns("filter", "first", "last", "high"), rows))

    def _work(self) -> Iterable[Element]:
        rows: list[list[Child]] = [
            [
                self._tell.at(one["at"]),
                self._tell.title("records", one["record"]),
                ", ".join([*one["of"], *self._tell.doubts(one)]),
                one["by"],
                str(one["seq"]),
            ]
            for one in self._facts["work"]
        ]
        if not rows:
            return self._none("work")
        return self._section("work", table(self._tell.columns("at", "record", "told", "by", "entry"), rows))

    def _records(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for kind, one in self._facts["records"].items():
            said = say("report.counted", number=number(one["number"]), counted=number(one["counted"]))
            rows.append([self._tell.title("records", kind), self._tell.said(said)])
        if not rows:
            return self._none("records")
        return self._section("records", table(self._tell.columns("record", "number"), rows))
