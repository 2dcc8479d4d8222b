"""The facts of an incident as a page: all times to the second; date, offset and zone stand once at the head."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from edge.domain.entries import wall_ms_of
from edge.domain.messages import duration, moment, name, number, of_body, say
from edge.domain.readings import KIND_OF, Kind, Role
from edge.reports.drawing import course
from edge.reports.html import Child, Element, el, table
from edge.reports.incident import cycles, lasted_ms
from edge.reports.page import DayPage, OfPaper, entries_told, is_not_over


class IncidentPage(DayPage):
    """A page of the time around an event."""

    covered = "of_time"

    def said_of(self) -> OfPaper:
        facts, entries = self._facts, self._facts["entries"]
        begins, ends = moment(wall_ms_of(facts["from"])), moment(wall_ms_of(facts["to"]))
        first, last = number(entries["first"]), number(entries["last"])
        told = say("report.incident_entries", n=number(entries["number"]), first=first, last=last)
        undated = say("report.incident_undated", n=number(entries["undated"]))
        return OfPaper(
            say("report.incident"), self._tell.exactly(facts["from"]),
            say("report.incident_span", begins=begins, ends=ends, span=duration(lasted_ms(facts)), zone=name(facts["zone"])),
            say("report.incident_not_over", at=moment(wall_ms_of(facts["until"]))) if is_not_over(facts) else None,
            entries_told(entries, told, say("report.incident_no_entries"), undated),
        )  # fmt: skip

    def sections(self) -> Iterable[Element]:
        yield from self._verdict()
        yield from self._alarms()
        yield from self._notices()
        yield from self._records()
        yield from self._advice()
        yield from self._phases()
        yield from self._readings()
        yield from self._draws()
        yield from self._heat_ups()
        yield from self._watch()
        yield from self._incidents()

    def _notices(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for one in self._facts["notices"]:
            alarms = ", ".join(self._tell.alarm(ident) for ident in one.get("alarms", ()))
            missed = self._tell.said(say("report.kind.untold")) if one["kind"] == "untold" else ""
            why = ", ".join(filter(None, (missed, alarms, str(one.get("why", "")))))
            rows.append(
                [self._tell.at(one["at"]), str(one.get("target", "")), why, str(one.get("tries", "")), str(one["seq"])]
            )
        if not rows:
            return self._none("notices")
        return self._section("notices", table(self._tell.columns("at", "target", "told", "tries", "entry"), rows))

    def _advice(self) -> Iterable[Element]:
        rows: list[list[Child]] = [
            [
                self._tell.at(one["at"]), self._tell.point(str(one.get("point", ""))), self._tell.said(of_body(one, "what")),
                self._tell.said(of_body(one, "advice")), str(one["seq"]),
            ]
            for one in self._facts["advice"]
        ]  # fmt: skip
        if not rows:
            return self._none("advice")
        return self._section("advice", table(self._tell.columns("at", "point", "what", "advice", "entry"), rows))

    def _phases(self) -> Iterable[Element]:
        rows: list[list[Child]] = [
            [self._tell.at(one["at"]), " → ".join(self._tell.title("phases", one[end]) for end in ("from", "to")), str(one["seq"])]
            for one in self._facts["phases"]
        ]  # fmt: skip
        if not rows:
            return self._none("phases")
        begun = el("p", self._tell.said(say("report.cycles", n=number(cycles(self._facts)))))
        return self._section("phases", begun, table(self._tell.columns("at", "phase", "entry"), rows))

    def _courses(self) -> Iterable[Element]:
        """Each point's course, also of one that had no reading."""
        for one in self._facts["readings"]:
            yield el("h3", f"{self._tell.title('roles', one['role'])} ({one['id']})")
            means = self._facts["courses"].get(one["id"], [])
            drawn = course(self._facts, means, self._tell.zone, partial(self._said, one), self._facts["step_ms"])
            yield el("p", self._tell.said(say("report.no_reading")), class_="quiet") if drawn is None else drawn

    def _said(self, point: Mapping[str, Any], value: float) -> str:
        kind = KIND_OF[Role(point["role"])]
        if kind is Kind.CONTACT:
            return self._tell.contact(point["role"], round(value))
        return self._tell.value(kind, value, point["id"])
