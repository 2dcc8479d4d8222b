"""A report's facts as a page: in a language, in units, by the station's clock. What it says is in the facts, and all of them are in it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final, NamedTuple

from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, moment, name, number, of_body, of_kept, say, text
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.settings import Settings
from edge.reports.drawing import course, legend, strip
from edge.reports.html import Child, Element, add, el, table
from edge.reports.recorded import lines_of, plain
from edge.reports.teller import Teller

#: where the facts stand in a page
FACTS_ID: Final = "facts"
_STYLE: Final = """
@page { size: A4; margin: 14mm 14mm 16mm; }
:root { color-scheme: light; }
body { font: 10.5pt/1.4 system-ui, sans-serif; color: #111; background: #fff; max-width: 190mm; margin: 0 auto; padding: 6mm; }
header { border-bottom: .6mm solid #111; padding-bottom: 3mm; }
h1 { font-size: 18pt; margin: 0 0 1mm; } h2 { font-size: 12.5pt; margin: 7mm 0 2mm; break-after: avoid; }
h3 { font-size: 10.5pt; margin: 4mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0; } ul { margin: 0; padding-left: 4.5mm; }
.station { font-weight: 600; } .quiet { color: #444; } .loud { font-weight: 700; border: .5mm solid #111; padding: 2mm; }
table { border-collapse: collapse; width: 100%; margin-bottom: 4mm; font-size: 9.5pt; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: 1mm 3mm 1mm 0; border-bottom: .2mm solid #999; }
td { overflow-wrap: break-word; hyphens: auto; }
td:first-child, .short { white-space: nowrap; }
table.fixed { table-layout: fixed; } table.fixed td, table.fixed th { white-space: normal; overflow-wrap: anywhere; }
th { font-weight: 600; border-bottom-color: #111; } thead { display: table-header-group; } tr { break-inside: avoid; }
svg { display: block; width: 100%; height: auto; } svg text { font-family: system-ui, sans-serif; fill: #111; }
.legend { display: flex; flex-wrap: wrap; gap: 1mm 6mm; list-style: none; padding: 0; margin: 2mm 0 0; }
.legend svg { display: inline-block; width: 6mm; height: 3.5mm; vertical-align: -.4mm; margin-right: 1.5mm; }
.signatures td { height: 11mm; } .digest { font-family: ui-monospace, monospace; font-size: 8.5pt; overflow-wrap: anywhere; }
@media print { body { padding: 0; max-width: none; } }
"""


class OfPaper(NamedTuple):
    """What a report says of itself, in the words of its kind.

    Attributes:
        title, named: its kind, and which one of that kind.
        span: what it is of.
        not_over: that it isn't of all of it yet; None: it is.
        entries: which entries of the journal it tells; and, in front of that, those that it can't tell.
    """

    title: Message
    named: str
    span: Message
    not_over: Message | None
    entries: tuple[Message, ...]


class Paper:
    """What every report's page has.

    Args:
        facts: with what the report says of itself.
        settings: the station's, of that time.
    """

    def __init__(self, facts: Mapping[str, Any], settings: Settings) -> None:
        self._facts, self._tell = facts, Teller(facts, settings)

    def sections(self) -> Iterable[Element]:
        """Between its head and the evidence."""
        raise NotImplementedError

    def said_of(self) -> OfPaper:
        """What it says of itself."""
        raise NotImplementedError

    @property
    def becomes(self) -> str:
        """What an arrow says where it can't be shown."""
        return self._tell.said(say("report.becomes"))

    def html(self) -> Element:
        """The whole page."""
        facts, own = self._facts, self.said_of()
        title = f"{self._tell.said(own.title)} {own.named} · {facts['station']}"
        # "<" would end the element that bears the facts
        embedded = json.dumps(facts, ensure_ascii=False, sort_keys=True, separators=(",", ":")).replace("<", "\\u003c")
        head = el(
            "head", el("meta", charset="utf-8"), el("meta", name="viewport", content="width=device-width"), el("title", title),
            el("style", _STYLE), el("script", embedded, type="application/json", id=FACTS_ID),
        )  # fmt: skip
        body = el("body", self._head(), *self.sections(), *self._evidence())
        return el("html", head, body, lang=facts["language"])

    def _section(self, which: str, *children: Element | None) -> Iterable[Element]:
        yield el("h2", self._tell.said(say(f"report.head.{which}")))
        yield from (child for child in children if child is not None)

    def _none(self, which: str) -> Iterable[Element]:
        return self._section(which, el("p", self._tell.said(say("report.none")), class_="quiet"))

    # -- sections that all have

    def _head(self) -> Element:
        facts, own = self._facts, self.said_of()
        head = el(
            "header", el("h1", self._tell.said(own.title)),
            el("p", f"{facts['title']} · {facts['station']}", class_="station"), el("p", self._tell.said(own.span)),
        )  # fmt: skip
        for line in self._loud(own):
            add(head, el("p", self._tell.said(line), class_="loud"))
        return head

    def _loud(self, own: OfPaper) -> Iterable[Message]:
        """What a reader has to know before all else."""
        facts = self._facts
        if own.not_over is not None:
            yield own.not_over
        if not facts.get("made_trusted", True):
            yield say("report.made_untrusted")
        if facts["entries"]["untrusted"]:
            yield say("report.untrusted", n=number(facts["entries"]["untrusted"]))
        if facts["simulated"]:
            yield say("report.simulated")
        if not facts["chain"]["holds"]:
            yield say("report.chain_broken", why=text(facts["chain"]["why"]))

    def subject(self) -> str:
        """What a letter with it is called: which report, of which station."""
        own = self.said_of()
        return f"{self._tell.said(own.title)} {own.named}: {self._facts['title']}"

    def opening(self) -> list[str]:
        """How a letter with it begins: station, time, and what a reader has to know before all else."""
        own = self.said_of()
        loud = [self._tell.said(line) for line in self._loud(own)]
        return [f"{self._facts['title']} · {self._facts['station']}", self._tell.said(own.span), *loud]

    def _heat_ups(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for one in self._facts["heat_ups"]:
            ends = (self._tell.value(Kind.TEMPERATURE, one[end]) for end in ("from_c", "to_c"))
            rows.append([self._tell.at(one["from"]), self._tell.lasted(one["duration_s"] / 60), *ends])
        if not rows:
            return self._none("heat_ups")
        return self._section("heat_ups", table(self._tell.columns("at", "lasted", "from", "to"), rows))

    def _watch(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for one in self._facts["gaps"]:
            why = say("report.gap_stopped", why=text(one["stopped"])) if "stopped" in one else say("report.gap_broken")
            rows.append(
                [
                    self._tell.at(one["from"]),
                    self._tell.end(one["to"]),
                    self._tell.said(why),
                ]
            )
        if not rows:
            return self._none("watch")
        return self._section("watch", table(self._tell.columns("from", "to", "why"), rows))

    def _evidence(self) -> Iterable[Element]:
        facts = self._facts
        said = [*self.said_of().entries]
        said += [say("report.chain_holds")] if facts["chain"]["holds"] else []
        said += [say("report.readings_apart")]
        rests = say("report.rests_on", seq=number(facts["head"]["seq"]), digest=name(facts["head"]["digest"]))
        made = say("report.made", at=moment(wall_ms_of(facts["made_at"])), version=name(facts["program"]))
        lines = [el("p", self._tell.said(line)) for line in said]
        lines += [el("p", self._tell.said(line), class_="digest") for line in (rests, self._signed())]
        lines.append(el("p", self._tell.said(made)))
        lines += [
            el("p", self._tell.said(say("report.to_prove"))),
            el("p", self._tell.said(say("report.only_watches")), class_="quiet"),
        ]
        signing = table(self._tell.columns("name", "date", "signature"), [["", "", ""], ["", "", ""]])
        signing.set("class", "signatures")
        yield from self._section("evidence", *lines)
        yield from self._section("signatures", signing)

    def _signed(self) -> Message:
        signed = self._facts["signed"]
        if signed is None:
            return say("report.not_signed")
        return say(
            "report.signed", seq=number(signed["seq"]), at=moment(wall_ms_of(signed["at"])), key=name(signed["key"])
        )


def is_not_over(facts: Mapping[str, Any]) -> bool:
    """Was the time that a report is of not over when it was made?"""
    return bool(facts["until"] < facts["to"])


def entries_told(
    entries: Mapping[str, Any], told: Message, no_entries: Message, undated: Message
) -> tuple[Message, ...]:
    """What is said of the entries that a report tells."""
    return (told if entries["number"] else no_entries, *((undated,) if entries["undated"] else ()))


class DayPage(Paper):
    """A page of one day."""

    #: the column that says in how much of it a point had a reading
    covered = "covered"

    def said_of(self) -> OfPaper:
        facts, entries = self._facts, self._facts["entries"]
        begins, ends = wall_ms_of(facts["from"]), wall_ms_of(facts["to"])
        first, last = number(entries["first"]), number(entries["last"])
        told = say("report.entries", n=number(entries["number"]), first=first, last=last)
        undated = say("report.undated", n=number(entries["undated"]))
        return OfPaper(
            say("report.day"), facts["day"],
            say(
                "report.span", day=name(facts["day"]), begins=moment(begins), ends=moment(ends),
                hours=number((ends - begins) / 3_600_000), zone=name(facts["zone"]),
            ),
            say("report.not_over", at=moment(wall_ms_of(facts["until"]))) if is_not_over(facts) else None,
            entries_told(entries, told, say("report.no_entries"), undated),
        )  # fmt: skip

    def sections(self) -> Iterable[Element]:
        yield from self._verdict()
        yield from self._alarms()
        yield from self._records()
        yield from self._readings()
        yield from self._draws()
        yield from self._heat_ups()
        yield from self._watch()
        yield from self._incidents()

    def _verdict(self) -> Iterable[Element]:
        facts = self._facts
        lasted = [(word, self._tell.lasted(minutes)) for word, minutes in facts["minutes"].items()]
        told = [
            (word, self._tell.said(say("report.word_lasted", word=text(self._tell.word(word)), span=text(span))))
            for word, span in lasted
        ]
        if facts["unwatched_min"] > 0:
            span = self._tell.lasted(facts["unwatched_min"])
            told.append(("", self._tell.said(say("report.unwatched", span=text(span)))))
        changes: list[list[Child]] = [
            [
                self._tell.at(one["at"]),
                " → ".join(self._tell.word(word) for word in (one["from"], one["to"]) if word),
                self._why(one),
            ]
            for one in facts["verdicts"]
        ]
        drawn = strip(facts, self._tell.zone, self._tell.word)
        return self._section(
            "verdict", drawn, legend(told), table(self._tell.columns("at", "word", "why"), changes) if changes else None
        )

    def _why(self, one: Mapping[str, Any]) -> Element:
        forms = one.get("msgs") or [None] * len(one["why"])
        return el(
            "ul",
            *(el("li", self._tell.said(of_kept(form, kept))) for kept, form in zip(one["why"], forms, strict=False)),
        )

    def _alarms(self) -> Iterable[Element]:
        alarms = self._facts["alarms"]
        if not alarms:
            return self._none("alarms")
        rows: list[list[Child]] = [
            [
                self._since(one),
                self._tell.end(one["to"], one.get("returned")),
                self._tell.alarm(one["id"]),
                self._tell.title("priorities", one.get("priority", "")),
                self._tell.said(of_body(one, "cause")),
                self._events(one["events"]),
            ]
            for one in alarms
        ]
        return self._section(
            "alarms", table(self._tell.columns("from", "to", "alarm", "priority", "cause", "answers"), rows)
        )

    def _since(self, one: Mapping[str, Any]) -> str:
        at = self._tell.at(one["from"])
        return self._tell.said(say("report.at_latest", at=text(at))) if one.get("since_at_latest") else at

    def _events(self, events: Sequence[Mapping[str, Any]]) -> Element:
        lines = []
        for one in events:
            at = text(self._tell.at(one["at"]))
            if one.get("again"):
                lines.append(say("report.event_again", at=at))
            elif one.get("by"):
                lines.append(
                    say(
                        "report.event_by",
                        at=at,
                        state=text(self._tell.title("alarm_states", one["to"])),
                        by=text(one["by"]),
                    )
                )
            else:
                lines.append(say("report.event", at=at, state=text(self._tell.title("alarm_states", one["to"]))))
        return el("ul", *(el("li", self._tell.said(line)) for line in lines))

    def _records(self) -> Iterable[Element]:
        records = self._facts["records"]
        if not records:
            return self._none("records")
        rows: list[list[Child]] = []
        for one in records:
            told = list(lines_of(one, self._tell))
            told += [one["note"]] if one.get("note") else []
            told += self._tell.doubts(one)
            at = self._tell.at(one.get("happened_at", one["at"]))
            rows.append(
                [
                    at,
                    self._tell.title("records", one["record"]),
                    self._tell.who(one),
                    el("ul", *(el("li", line) for line in told)),
                    str(one["seq"]),
                ]
            )
        return self._section("records", table(self._tell.columns("at", "record", "by", "told", "entry"), rows))

    def _readings(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for one in self._facts["readings"]:
            kind, role = KIND_OF[Role(one["role"])], self._tell.title("roles", one["role"])
            if kind is Kind.CONTACT:
                low, high = (self._tell.contact(one["role"], one[end]) for end in ("low", "high"))
            else:
                low, high = (self._tell.value(kind, one[end], one["id"]) for end in ("low", "high"))
            share = self._tell.said(say("report.share", share=number(one["covered"])))
            rows.append([f"{role} ({one['id']})", low, high, share])
        yield from self._section("readings", table(self._tell.columns("point", "low", "high", self.covered), rows))
        if any(one.get("corrected") for one in self._facts["readings"]):
            yield el("p", self._tell.said(say("report.corrected")), class_="quiet")
        yield from self._courses()

    def _courses(self) -> Iterable[Element]:
        for point, means in self._facts["courses"].items():
            said = partial(self._tell.value, Kind.TEMPERATURE, point=point)
            drawn = course(self._facts, means, self._tell.zone, said, self._facts["step_ms"])
            if drawn is not None:
                yield el("h2", f"{self._tell.said(say('report.head.reservoir'))} ({point})")
                yield drawn

    def _draws(self) -> Iterable[Element]:
        draws = self._facts["draws"]
        if not draws:
            return self._none("draws")
        rows: list[list[Child]] = []
        for one in draws:
            drops = [f"{ident}: {self._tell.drop(drop)}" for ident, drop in (one.get("drops_kpa") or {}).items()]
            rows.append(
                [
                    self._tell.at(one["from"]), self._tell.lasted(one["duration_s"] / 60), self._tell.volume(one["volume_l"]),
                    self._tell.value(Kind.FLOW, one["flow_l_min"]), self._tell.value(Kind.PRESSURE, one["supply_kpa"]), ", ".join(drops),
                ]
            )  # fmt: skip
        total = say("report.water", volume=number(self._facts["water_l"], "L"), number=number(len(draws)))
        columns = self._tell.columns("from", "lasted", "volume", "flow", "supply", "drops")
        return self._section("draws", el("p", self._tell.said(total)), table(columns, rows))

    def _incidents(self) -> Iterable[Element]:
        rows: list[list[Child]] = []
        for one in self._facts["incidents"]:
            body = one["body"]
            is_over = one["kind"] == "contradiction" and body.get("what") == "ended"
            kind = say("report.kind.contradiction_over" if is_over else f"report.kind.{one['kind']}")
            rows.append([self._tell.at(one["at"]), self._tell.said(kind), self._told(body), str(one["seq"])])
        if not rows:
            return self._none("incidents")
        return self._section("incidents", table(self._tell.columns("at", "what", "why", "entry"), rows))

    def _told(self, body: Mapping[str, Any]) -> str:
        """What an entry says, in words where it has some."""
        if "cause" in body:
            return f"{', '.join(body.get('points', ()))}: {self._tell.said(of_body(body, 'cause'))}"
        parts = [
            str(body[key]) for key in ("bus", "outlet", "point", "file", "what", "target") if body.get(key) is not None
        ]
        parts += [plain(body[key], self._tell) for key in ("from", "to") if key in body]
        parts += [str(body["why"])] if body.get("why") else []
        parts += [str(body["digest"])[:16]] if "digest" in body else []
        parts += [f"{self._tell.duty(key)}: {why}" for key, why in (body.get("owed") or {}).items()]
        return ", ".join(parts)
