"""A point's calibrations as a page: a sheet for each comparison, what stands, and what came after."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, moment, name, number, of_body, of_kept, say, text
from edge.domain.readings import Kind
from edge.domain.sensing.calibration_budget import PARTS
from edge.reports.html import Child, Element, el, table
from edge.reports.page import OfPaper, Paper, entries_told

#: expanded: with this factor, about 95 % (GUM, JCGM 100:2008, 6.2 and G.6)
_K: float = 2.0


class CalibrationPage(Paper):
    """A page of one point."""

    def said_of(self) -> OfPaper:
        facts, entries = self._facts, self._facts["entries"]
        first, last = number(entries["first"]), number(entries["last"])
        told = say("report.calibration_entries", n=number(entries["number"]), first=first, last=last)
        undated = say("report.calibration_undated", n=number(entries["undated"]))
        span = say(
            "report.calibration_span", point=name(facts["point"]), at=moment(wall_ms_of(facts["made_at"])), zone=name(facts["zone"])
        )  # fmt: skip
        return OfPaper(
            say("report.calibration"), facts["point"], span, None,
            entries_told(entries, told, say("report.calibration_no_entries"), undated),
        )  # fmt: skip

    @property
    def _kind(self) -> Kind:
        fitted = self._facts["fitted"]
        if fitted is not None:
            return Kind(fitted["kind"])
        units = [one.get("unit") for one in self._facts["calibrations"]]
        return next((kind for kind in Kind if self._tell.unit_of(kind) in units), Kind.TEMPERATURE)

    def sections(self) -> Iterable[Element]:
        yield from self._fitted()
        yield from self._stands()
        if not self._facts["calibrations"]:
            yield from self._none("compared")
        for one in self._facts["calibrations"]:
            yield from self._sheet(one)

    def _fitted(self) -> Iterable[Element]:
        fitted = self._facts["fitted"]
        if fitted is None:
            return self._section("fitted", el("p", self._tell.said(say("report.not_fitted")), class_="loud"))
        kind, point = self._kind, self._facts["point"]
        span = (self._tell.value(kind, fitted[end], point) for end in ("low", "high"))
        step = "" if fitted["resolution"] is None else self._tell.fine(kind, fitted["resolution"], point)
        told = {
            "point": point, "role": self._tell.title("roles", fitted["role"]), "range": " - ".join(span), "resolution": step,
            "identity": fitted["identity"], "transducer": fitted["transducer"],
        }  # fmt: skip
        return self._section("fitted", self._rows(told))

    def _rows(self, told: Mapping[str, Child]) -> Element:
        """Facts one below the other, those that there are."""
        rows: list[list[Child]] = [
            [self._tell.said(say(f"report.col.{key}")), said] for key, said in told.items() if said
        ]
        return table([], rows)

    def _stands(self) -> Iterable[Element]:
        standing = next((one for one in self._facts["calibrations"] if one["seq"] == self._facts["stands"]), None)
        if standing is None:
            return self._section("stands", el("p", self._tell.said(say("report.uncalibrated"))))
        said = say(
            "report.stands", seq=number(standing["seq"]), correction=text(self._correction(standing)),
            u=text(self._tell.fine(self._kind, _K * standing["u"], self._facts["point"])), due=text(self._tell.at(standing["due_at"])),
        )  # fmt: skip
        is_past = wall_ms_of(standing["due_at"]) <= wall_ms_of(self._facts["made_at"])
        late = el("p", self._tell.said(say("report.past_due")), class_="loud") if is_past else None
        return self._section("stands", el("p", self._tell.said(said)), late)

    def _correction(self, one: Mapping[str, Any] | None) -> str:
        if one is None or "gain" not in one:
            return self._tell.said(say("report.no_correction"))
        unit = "K" if self._kind is Kind.TEMPERATURE else self._tell.unit_of(self._kind)
        gain, offset = number(one["gain"]), number(one["offset"])
        return self._tell.said(say("report.correction", gain=gain, offset=offset, unit=name(unit)))

    def _sheet(self, one: Mapping[str, Any]) -> Iterable[Element]:
        head = say(
            "report.checked" if one["is_check"] else "report.compared", at=text(self._when(one["happened_at"])), seq=number(one["seq"])
        )  # fmt: skip
        yield el("h2", self._tell.said(head))
        yield self._rows(
            {
                "by": self._tell.who(one), "instrument": one.get("instrument"), "certificate": one.get("certificate"),
                "reference_u": self._as_typed(one.get("reference_u")), "drift_allowance": self._as_typed(one.get("drift_allowance")),
                "status": self._status(one), "why": one.get("confirm") or one.get("why"), "note": one.get("note"),
                "as_found": self._error(one, "as_found"), "as_left": self._error(one, "as_left"), "drift": self._drift(one),
                "before": self._correction(one["before"]), "after": self._correction(one) if "gain" in one else None,
                "stood": self._in_force(one["in_force"]), "again": self._tell.at(one["due_at"]) if "due_at" in one else None,
            }
        )  # fmt: skip
        if one["compared"]:
            yield self._compared(one["compared"])
        if "u_parts" in one:
            yield self._budget(one)
        if one["later"]:
            yield el("p", self._tell.said(say("report.head.later")), class_="station")
            yield table(
                self._tell.columns("at", "what", "told", "entry"), [self._later(later) for later in one["later"]]
            )

    def _as_typed(self, told: Any) -> str | None:
        """A difference as somebody wrote it, with its unit; a bare number is in the unit of the point's kind."""
        if told is None or isinstance(told, str):
            return told
        return self._tell.fine(self._kind, float(told), self._facts["point"])

    def _when(self, at: str | None) -> str:
        return self._tell.said(say("report.no_date")) if at is None else self._tell.at(at)

    def _status(self, one: Mapping[str, Any]) -> str:
        if not one["counts"]:
            why = self._tell.said(of_kept(one.get("why_not_msg"), one.get("why_not", "")))
            said = [self._tell.said(say("report.does_not_count", why=text(why)))]
        else:
            said = [self._tell.said(say("report.counts" if one["counts_now"] else "report.counts_no_more"))]
        if "agrees_with" in one:
            said.append(self._tell.said(say("report.agrees_with", seq=number(one["agrees_with"]))))
        return "; ".join(said)

    def _error(self, one: Mapping[str, Any], which: str) -> str | None:
        return (
            None if which not in one else self._tell.fine(self._kind, one[which], self._facts["point"], is_signed=True)
        )

    def _drift(self, one: Mapping[str, Any]) -> str | None:
        said = self._error(one, "drift")
        if said is None or not one.get("beyond_allowance"):
            return said
        return f"{said}: {self._tell.said(say('report.beyond_allowance'))}"

    def _in_force(self, spans: Sequence[Mapping[str, Any]]) -> Element | str:
        if not spans:
            return self._tell.said(say("report.never_in_force"))
        return el("ul", *(el("li", self._tell.said(self._span(span))) for span in spans))

    def _span(self, span: Mapping[str, Any]) -> Message:
        since = text(self._when(span["from"]))
        if "why" not in span:
            return say("report.in_force", since=since)
        why = self._tell.said(say(f"report.ended.{span['why']}", seq=number(span["ended_by"])))
        return say("report.was_in_force", since=since, until=text(self._when(span["to"])), why=text(why))

    def _compared(self, compared: Sequence[Mapping[str, Any]]) -> Element:
        kind, point = self._kind, self._facts["point"]
        rows: list[list[Child]] = []
        for one in compared:
            values = (self._tell.fine_value(kind, one[key], point) for key in ("reference", "read"))
            errors = (
                self._tell.fine(kind, one[key], point, is_signed=True) if key in one else ""
                for key in ("found", "left")
            )
            rows.append([*values, str(one["n"]), *errors])
        return table(self._tell.columns("reference", "read", "number", "error_before", "error_after"), rows)

    def _budget(self, one: Mapping[str, Any]) -> Element:
        kind, point = self._kind, self._facts["point"]
        order = [part for part in PARTS if part in one["u_parts"]]
        order += sorted(part for part in one["u_parts"] if part not in PARTS)
        rows: list[list[Child]] = [
            [self._tell.said(PARTS[part]) if part in PARTS else part, self._tell.fine(kind, one["u_parts"][part], point)] for part in order
        ]  # fmt: skip
        rows.append([self._tell.said(say("report.budget_sum")), self._tell.fine(kind, one["u"], point)])
        rows.append([self._tell.said(say("report.budget_expanded")), self._tell.fine(kind, _K * one["u"], point)])
        return table(self._tell.columns("part", "u"), rows)

    def _later(self, later: Mapping[str, Any]) -> list[Child]:
        told = [str(later[key]) for key in ("of", "what", "why", "identity") if later.get(key)]
        told += [f"({later['by']})"] if later.get("by") else []
        if "record" in later:
            what = self._tell.title("records", later["record"])
        elif later["kind"] == "alarm":
            what, told = self._tell.alarm(later["id"]), [self._tell.title("alarm_states", later["to"])]
        else:
            is_over = later["kind"] == "contradiction" and later.get("what") == "ended"
            what = self._tell.said(say("report.kind.contradiction_over" if is_over else f"report.kind.{later['kind']}"))
            told = [self._tell.said(of_body(later, "cause"))] if "cause" in later else told
        return [self._when(later["at"]), what, ", ".join(told), str(later["seq"])]
