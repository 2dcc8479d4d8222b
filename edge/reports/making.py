"""Makes reports of a folder's journal."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entries import SignedHead, rfc3339
from edge.domain.readings import Role
from edge.domain.records.book import local_date
from edge.domain.settings import Settings
from edge.domain.words.english import EN
from edge.domain.words.units import Chosen
from edge.reports.day import DayFacts, readings_of, span_of
from edge.reports.html import document
from edge.reports.page import DayPage
from edge.reports.period import Period, PeriodFacts, due_next
from edge.reports.period_page import PeriodPage
from edge.reports.source import Head, Source

#: of the facts' own form; grows where an older program could not make the page again
FORM: Final = 1
_DIGITS: Final = 3


class Wish(NamedTuple):
    """What a report is to be.

    Attributes:
        day: by the station's clock; a number: so many days before that of `made_at_ms`; or a month or quarter.
        made_at_ms: now, milliseconds since 1970.
        head: as far as the journal is read; None: its end.
        signed: as `head`, what a report that is made again tells of a signature: None where that tells of none.
    """

    day: date | int | Period
    made_at_ms: int
    program: str
    language: str = EN.code
    units: Chosen = Chosen()
    head: Head | None = None
    signed: SignedHead | None = None


class Made(NamedTuple):
    """A report: its facts, the page that says them, and the settings by which it says them."""

    facts: dict[str, Any]
    html: str
    settings: Settings


def day_report(folder: Path, wish: Wish) -> Made:
    """The record of a day.

    Raises:
        UnusableInput: no journal there, or no such day.
        StoreFault: it can't be read.
    """
    source = Source(folder, wish.head)
    try:
        zone = ZoneInfo(source.settings().timezone)
        assert not isinstance(wish.day, Period)
        day = wish.day if isinstance(wish.day, date) else local_date(wish.made_at_ms, zone) - timedelta(days=wish.day)
        span = span_of(day, zone)
        settings = source.settings(span.to_ms)
        until_ms = min(span.to_ms, wish.made_at_ms)
        gathered = DayFacts(span, until_ms, source.dates)
        for entry in source.entries(span.from_ms, span.to_ms):
            gathered.take(entry)
        minutes = source.minutes(span.from_ms, span.to_ms)
        facts = {
            **_of_itself("day", source, wish, settings, gathered.is_simulated), "day": day.isoformat(),
            "from": rfc3339(span.from_ms), "to": rfc3339(span.to_ms), "until": rfc3339(until_ms),
            **gathered.told(),
            "readings": readings_of(settings, minutes), "courses": _courses(settings, minutes),
        }  # fmt: skip
    finally:
        source.close()
    return Made(facts, page_of(facts, settings), settings)


def period_report(folder: Path, wish: Wish) -> Made:
    """The record of a month or a quarter.

    Raises:
        UnusableInput: no journal there, or a period that isn't one.
        StoreFault: it can't be read.
    """
    assert isinstance(wish.day, Period)
    with closing(Source(folder, wish.head)) as source:
        zone = ZoneInfo(source.settings().timezone)
        gathered = PeriodFacts(wish.day, zone, wish.made_at_ms, source.dates, source.settings)
        span = gathered.span
        settings = source.settings(span.to_ms)
        for entry in source.entries(span.from_ms, span.to_ms):
            gathered.take(entry)
        facts = {
            **_of_itself("period", source, wish, settings, gathered.is_simulated),
            "period": wish.day.name, "of_days": len(wish.day.days()),
            "from": rfc3339(span.from_ms), "to": rfc3339(span.to_ms), "until": rfc3339(min(span.to_ms, wish.made_at_ms)),
            **gathered.told(), "due": due_next(settings, source.within(None, span.to_ms)),
        }  # fmt: skip
    return Made(facts, page_of(facts, settings), settings)


def report_of(folder: Path, wish: Wish) -> Made:
    """The report that is wished for. Raises as day_report() and period_report() do."""
    return period_report(folder, wish) if isinstance(wish.day, Period) else day_report(folder, wish)


def page_of(facts: dict[str, Any], settings: Settings) -> str:
    """The page that says these facts."""
    paper = PeriodPage(facts, settings) if facts["report"] == "period" else DayPage(facts, settings)
    return document(paper.html())


def _of_itself(which: str, source: Source, wish: Wish, settings: Settings, is_simulated: bool) -> dict[str, Any]:
    """What a report says of itself."""
    return {
        "report": which, "form": FORM, "program": wish.program, "made_at": rfc3339(wish.made_at_ms),
        "language": wish.language, "units": list(wish.units), "station": settings.name, "title": settings.title,
        "zone": settings.timezone, "simulated": is_simulated, "head": source.head._asdict(), "chain": source.chain(),
        "signed": None if wish.head is not None and wish.signed is None else source.signed(wish.signed),
    }  # fmt: skip


def _courses(settings: Settings, minutes: Mapping[str, Any]) -> dict[str, list[float | None]]:
    """Means by minutes of what is drawn: each reservoir, to a thousandth of a kelvin."""
    return {
        point.id: [None if mean is None else round(mean, _DIGITS) for mean in minutes[point.id]["mean"]]
        for point in settings.points
        if point.role is Role.RESERVOIR_TEMPERATURE and point.id in minutes
    }
