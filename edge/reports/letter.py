"""What a letter says to which a report is attached: the verdict at the first case, alarms and sums of a day; of any other what it is of."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entries import wall_ms_of
from edge.domain.messages import moment, name, number, of_body, say, text
from edge.domain.settings import Settings
from edge.reports.making import Wish, paper_of
from edge.reports.period import Period, PeriodFacts
from edge.reports.proof import facts_of
from edge.reports.source import Source
from edge.reports.teller import Teller

#: a letter names so many alarms; all stand in the report
_MOST_ALARMS: Final = 20
_LONGEST_SUBJECT: Final = 200


class Letter(NamedTuple):
    """Plain text; the subject is one line."""

    subject: str
    text: str


def letter_of(report: Path, folder: Path) -> Letter:
    """The letter with a report, in its language and by the settings of its time.

    Args:
        report: a file that was made.
        folder: the [keep] folder of its station.

    Raises:
        UnusableInput: the file is no report, or the journal isn't the one that it was made of.
        StoreFault: the journal can't be read.
    """
    facts, wish = facts_of(report)
    with closing(Source(folder, wish.head)) as source:
        settings = source.settings(wall_ms_of(facts["to"]) if "to" in facts else None)
        day = _first_case(source, wish) if isinstance(wish.of, date) else None
    paper, tell = paper_of(facts, settings), Teller(facts, settings)
    lines = [*paper.opening(), ""]
    if day is not None:
        lines += [*_of_day(facts, day, settings, tell), ""]
    lines += [tell.said(say("report.letter.attached", file=name(report.name))), tell.said(say("report.only_watches"))]
    return Letter(" ".join(paper.subject().split())[:_LONGEST_SUBJECT], "\n".join(lines) + "\n")


def _first_case(source: Source, wish: Wish) -> dict[str, Any]:
    """What a period's report says of this day: {"first_case", "was_then", "word"} and more."""
    assert isinstance(wish.of, date)
    of = Period(wish.of.isoformat(), wish.of, wish.of + timedelta(days=1))
    zone = ZoneInfo(source.settings().timezone)
    gathered = PeriodFacts(of, zone, wish.made_at_ms, source.dates, source.settings, source.taken_back())
    for entry in source.entries(*gathered.span):
        gathered.take(entry)
    return next(iter(gathered.told()["days"]), {"first_case": None, "was_then": False, "word": None})


def _of_day(facts: dict[str, Any], day: dict[str, Any], settings: Settings, tell: Teller) -> Iterator[str]:
    if day["first_case"] is not None:
        if day["was_then"]:
            word = tell.word(day["word"]) if day["word"] else tell.said(say("report.not_known"))
        else:
            word = tell.said(say("report.still_to_come"))
        at = moment(wall_ms_of(day["first_case"]))
        yield tell.said(say("report.letter.first_case", at=at, word=text(word)))
    elif settings.hours is not None:
        yield tell.said(say("report.letter.closed"))
    for word, minutes in facts["minutes"].items():
        yield tell.said(say("report.word_lasted", word=text(tell.word(word)), span=text(tell.lasted(minutes))))
    if facts["unwatched_min"] > 0:
        yield tell.said(say("report.unwatched", span=text(tell.lasted(facts["unwatched_min"]))))
    alarms = facts["alarms"]
    yield _fact(tell, "alarms", str(len(alarms)) if alarms else tell.said(say("report.none")))
    for one in alarms[:_MOST_ALARMS]:
        span = f"{tell.at(one['from'])} – {tell.end(one['to'], one.get('returned'))}"
        yield f"- {span}: {tell.alarm(one['id'])}: {tell.said(of_body(one, 'cause'))}"
    if len(alarms) > _MOST_ALARMS:
        yield f"- … (+{len(alarms) - _MOST_ALARMS})"
    for head, found in (("records", facts["records"]), ("watch", facts["gaps"])):
        yield _fact(tell, head, str(len(found)) if found else tell.said(say("report.none")))
    yield tell.said(say("report.water", volume=number(facts["water_l"], "L"), number=number(len(facts["draws"]))))


def _fact(tell: Teller, head: str, value: str) -> str:
    return tell.said(say("report.fact", what=text(tell.said(say(f"report.head.{head}"))), value=text(value)))
