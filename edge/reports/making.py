"""Makes reports of a folder's journal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeAlias
from zoneinfo import ZoneInfo

from edge.domain.entries import SignedHead, rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.readings import Role
from edge.domain.records.book import local_date
from edge.domain.settings import Settings
from edge.domain.words.english import EN
from edge.domain.words.units import Chosen
from edge.reports import calibration, incident
from edge.reports.calibration import CalibrationFacts
from edge.reports.calibration_page import CalibrationPage
from edge.reports.commissioning import gathered
from edge.reports.commissioning_page import CommissioningPage
from edge.reports.day import DayFacts, courses_of, readings_of, span_of
from edge.reports.html import document
from edge.reports.incident import IncidentFacts
from edge.reports.incident_page import IncidentPage
from edge.reports.page import DayPage, Paper
from edge.reports.period import OF_DUTIES, Period, PeriodFacts, due_next, period_of
from edge.reports.period_page import PeriodPage
from edge.reports.source import Head, Source

#: of the facts' own form; grows where an older program could not make the page again
FORM: Final = 1


class Calibrations(NamedTuple):
    """Of one point."""

    point: str


class Incident(NamedTuple):
    """[from, to), milliseconds since 1970; whole minutes."""

    from_ms: int
    to_ms: int


class Commissioned(NamedTuple):
    """The commissioning, as it stands at the head. `key`: the public half that a report tells of, made again; None: the folder's."""

    key: str | None = None


#: what a report can be of: a day, or as many days ago; a month or a quarter; a point's calibrations; the time of an incident; or the
#: commissioning
Of: TypeAlias = date | int | Period | Calibrations | Incident | Commissioned


class Wish(NamedTuple):
    """What a report is to be.

    Attributes:
        of: what it is of. A day is the station's; a number: so many days before that of `made_at_ms`.
        made_at_ms: now, milliseconds since 1970; of a new one at least when the last entry was made.
        by_station: whether that is by the station's own clock, and not by this computer's.
        trusted: whether that clock was trusted.
        head: as far as the journal is read; None: its end.
        signed: as `head`, what a report that is made again tells of a signature: None where that tells of none.
    """

    of: Of
    made_at_ms: int
    program: str
    language: str = EN.code
    units: Chosen = Chosen()
    head: Head | None = None
    signed: SignedHead | None = None
    by_station: bool = False
    trusted: bool = True


class Made(NamedTuple):
    """A report: its facts, the page that says them, and the settings by which it says them."""

    facts: dict[str, Any]
    html: str
    settings: Settings

    def pdf(self) -> bytes:
        """The page for print and for keeping; it bears its HTML. Raises UnusableInput: what makes it isn't installed."""
        return pdf_page_of(self.facts, self.settings)


def report_of(folder: Path, wish: Wish) -> Made:
    """The report that is wished for.

    Raises:
        UnusableInput: no journal there, or nothing there of what it is to be of.
        StoreFault: it can't be read.
    """
    with closing(Source(folder, wish.head, proves=True)) as source:
        if wish.head is None:
            wish = wish._replace(made_at_ms=source.made_at_ms(wish.made_at_ms, is_stations=wish.by_station))
        facts, settings = _MAKE[type(wish.of)](source, wish)
    return Made(facts, page_of(facts, settings), settings)


def page_of(facts: dict[str, Any], settings: Settings) -> str:
    """The page that says these facts."""
    return document(paper_of(facts, settings).html())


def paper_of(facts: dict[str, Any], settings: Settings) -> Paper:
    """What says these facts."""
    return _PAGES[facts["report"]](facts, settings)


def pdf_page_of(facts: dict[str, Any], settings: Settings) -> bytes:
    """The same as a PDF.

    Raises:
        UnusableInput: what makes it isn't installed.
    """
    try:
        from edge.reports.pdf import pdf_of
    except ImportError as exc:
        raise UnusableInput(
            f"what makes a PDF isn't installed ({exc.name})", where="--pdf", expected="Warmwell with its extra `pdf`",
            do="Install warmwell[pdf], or leave --pdf out and print the page from a browser",
        ) from exc  # fmt: skip
    paper = paper_of(facts, settings)
    return pdf_of(paper.html(), paper.becomes)


def of_facts(facts: Mapping[str, Any]) -> Of:
    """What a report is of, by its facts.

    Raises:
        ValueError, TypeError, KeyError: they are none.
        UnusableInput: its period is none.
    """
    return _OF[facts["report"]](facts)


def _day(source: Source, wish: Wish) -> tuple[dict[str, Any], Settings]:
    zone = ZoneInfo(source.settings().timezone)
    assert isinstance(wish.of, date | int)
    day = wish.of if isinstance(wish.of, date) else local_date(wish.made_at_ms, zone) - timedelta(days=wish.of)
    span = span_of(day, zone)
    settings = source.settings(span.to_ms)
    until_ms = min(span.to_ms, wish.made_at_ms)
    gathered = DayFacts(span, until_ms, source.dates, source.taken_back())
    for entry in source.entries(span.from_ms, span.to_ms):
        gathered.take(entry)
    steps = source.steps(span.from_ms, span.to_ms, wish.made_at_ms)
    reservoirs = [point for point in settings.points if point.role is Role.RESERVOIR_TEMPERATURE]
    return {
        **_of_itself("day", source, wish, settings), "day": day.isoformat(),
        "from": rfc3339(span.from_ms), "to": rfc3339(span.to_ms), "until": rfc3339(until_ms),
        **gathered.told(),
        "readings": readings_of(settings, steps.points), "courses": courses_of(reservoirs, steps.points), "step_ms": steps.step_ms,
    }, settings  # fmt: skip


def _period(source: Source, wish: Wish) -> tuple[dict[str, Any], Settings]:
    assert isinstance(wish.of, Period)
    zone = ZoneInfo(source.settings().timezone)
    gathered = PeriodFacts(wish.of, zone, wish.made_at_ms, source.dates, source.settings, source.taken_back())
    span = gathered.span
    settings = source.settings(span.to_ms)
    for entry in source.entries(span.from_ms, span.to_ms):
        gathered.take(entry)
    return {
        **_of_itself("period", source, wish, settings),
        "period": wish.of.name, "of_days": len(wish.of.days()),
        "from": rfc3339(span.from_ms), "to": rfc3339(span.to_ms), "until": rfc3339(min(span.to_ms, wish.made_at_ms)),
        **gathered.told(), "due": due_next(settings, source.within(None, span.to_ms, OF_DUTIES)),
    }, settings  # fmt: skip


def _calibrations(source: Source, wish: Wish) -> tuple[dict[str, Any], Settings]:
    assert isinstance(wish.of, Calibrations)
    settings = source.settings()
    gathered = CalibrationFacts(wish.of.point, settings, source.dates)
    for entry in source.within(None, None, calibration.KINDS):
        gathered.take(entry)
    told = gathered.told()
    return {**_of_itself("calibration", source, wish, settings), "point": wish.of.point, **told}, settings


def _incident(source: Source, wish: Wish) -> tuple[dict[str, Any], Settings]:
    assert isinstance(wish.of, Incident)
    span = incident.incident_span(wish.of.from_ms, wish.of.to_ms)
    settings = source.settings(span.to_ms)
    until_ms = min(span.to_ms, wish.made_at_ms)
    gathered = IncidentFacts(span, until_ms, source.dates, source.taken_back())
    for entry in source.entries(span.from_ms, span.to_ms):
        gathered.take(entry)
    steps = source.steps(span.from_ms, span.to_ms, wish.made_at_ms, incident.step_of(span))
    return {
        **_of_itself("incident", source, wish, settings),
        "from": rfc3339(span.from_ms), "to": rfc3339(span.to_ms), "until": rfc3339(until_ms),
        **gathered.told(),
        "readings": readings_of(settings, steps.points), "courses": courses_of(settings.points, steps.points), "step_ms": steps.step_ms,
    }, settings  # fmt: skip


def _commissioned(source: Source, wish: Wish) -> tuple[dict[str, Any], Settings]:
    assert isinstance(wish.of, Commissioned)
    settings = source.settings()
    found = gathered(settings, source.dates, source.taken_back(), source.within(None, None, OF_DUTIES))
    itself = _of_itself("commissioning", source, wish, settings)
    return {
        **itself, "settings": source.digests(None, None)[-1][1], "public_key": source.public_half(itself["signed"], wish.of.key),
        **found.told(wish.made_at_ms),
    }, settings  # fmt: skip


def _of_itself(which: str, source: Source, wish: Wish, settings: Settings) -> dict[str, Any]:
    """What a report says of itself."""
    return {
        "report": which, "form": FORM, "program": wish.program, "made_at": rfc3339(wish.made_at_ms),
        "language": wish.language, "units": list(wish.units), "station": settings.name, "title": settings.title,
        "zone": settings.timezone, "simulated": source.is_simulated, "head": source.head._asdict(), "chain": source.chain(),
        "signed": None if wish.head is not None and wish.signed is None else source.signed(wish.signed),
        **({} if wish.trusted else {"made_trusted": False}),
    }  # fmt: skip


_MAKE: Final[Mapping[type, Callable[[Source, Wish], tuple[dict[str, Any], Settings]]]] = {
    date: _day, int: _day, Period: _period, Calibrations: _calibrations, Incident: _incident, Commissioned: _commissioned,
}  # fmt: skip
#: by the name of its kind: its page, and what it is of
_PAGES: Final[Mapping[str, Callable[[Mapping[str, Any], Settings], Paper]]] = {
    "day": DayPage, "period": PeriodPage, "calibration": CalibrationPage, "incident": IncidentPage,
    "commissioning": CommissioningPage,
}  # fmt: skip
_OF: Final[Mapping[str, Callable[[Mapping[str, Any]], Of]]] = {
    "day": lambda facts: date.fromisoformat(facts["day"]),
    "period": lambda facts: period_of(str(facts["period"])),
    "calibration": lambda facts: Calibrations(str(facts["point"])),
    "incident": lambda facts: Incident(wall_ms_of(facts["from"]), wall_ms_of(facts["to"])),
    "commissioning": lambda facts: Commissioned(facts["public_key"]),
}
