"""`warmwell report`, and `warmwell verify` of a report: papers made of a folder's journal, also while a station runs on it."""

from __future__ import annotations

import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from edge import terminal
from edge.cli.when import DAYS_AGO, day_of
from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import TO_CHOOSE, Chosen

if TYPE_CHECKING:
    from edge.domain.words.language import Language
    from edge.reports.making import Of


class Paper(NamedTuple):
    """How a report is written: into a file or standard output, in a language and units, as HTML or PDF.

    Attributes:
        as_of: now, by the station's own clock; None: by this computer's.
        trusted: whether that clock is trusted.
    """

    out: Path | None
    language: str
    units: str | None
    as_pdf: bool
    as_of: str | None = None
    trusted: bool = True


def day(day: str, folder: Path, paper: Paper) -> int:
    """Write the record of a day. Raises as _report()."""
    return _report(_day_of(day), folder, paper)


def period(period: str, folder: Path, paper: Paper) -> int:
    """Write the record of a month or a quarter. Raises as _report()."""
    from edge.reports.period import period_of

    return _report(period_of(period), folder, paper)


def calibration(point: str, folder: Path, paper: Paper) -> int:
    """Write the calibration sheet of a point. Raises as _report()."""
    from edge.reports.making import Calibrations

    return _report(Calibrations(point), folder, paper)


def incident(begins: str, ends: str, folder: Path, paper: Paper) -> int:
    """Write the report of an incident. Raises as _report()."""
    from edge.cli.export import instant, zone_of
    from edge.reports.making import Incident

    zone = zone_of(folder)
    from_ms, to_ms = instant(begins, "FROM", zone), instant(ends, "TO", zone)
    assert from_ms is not None and to_ms is not None  # both are told
    return _report(Incident(from_ms, to_ms), folder, paper)


def commissioning(folder: Path, paper: Paper) -> int:
    """Write the record of the commissioning. Raises as _report()."""
    from edge.reports.making import Commissioned

    return _report(Commissioned(), folder, paper)


def _report(of: Of, folder: Path, paper: Paper) -> int:
    """Write a report.

    Raises:
        UnusableInput: an option, or a folder without a journal.
        StoreFault: it can't be read.
    """
    from edge.daemon.version import program_version
    from edge.reports.making import Wish, report_of

    now_ms = time.time_ns() // 1_000_000 if paper.as_of is None else _instant(paper.as_of)
    if paper.as_pdf and paper.out is not None and paper.out.suffix.lower() in (".html", ".htm"):
        raise UnusableInput(
            f"{paper.out} is a name of HTML, and a PDF is asked for", where="--pdf", expected="a name that ends in .pdf",
            do="Name the file so, or leave --pdf out",
        )  # fmt: skip
    as_pdf = paper.as_pdf or (paper.out is not None and paper.out.suffix.lower() == ".pdf")
    wish = Wish(
        of, now_ms, program_version(), language_of(paper.language).code, _units(paper.units),
        by_station=paper.as_of is not None, trusted=paper.trusted,
    )  # fmt: skip
    made = report_of(folder, wish)
    told = made.pdf() if as_pdf else made.html.encode()
    with terminal.output(paper.out) as stream:
        stream.write(told)
    if paper.out is not None:
        print(f"{paper.out}: {len(told)} bytes, as the journal had it at entry {made.facts['head']['seq']}.")
    if not made.facts["chain"]["holds"]:
        terminal.complain(
            f"{folder}: the journal does not hold: {made.facts['chain']['why']}. The report says so, too."
        )
        return terminal.FAULT
    return terminal.DONE


def check(report: Path, folder: Path, key: Path | None, *, as_json: bool) -> int:
    """Does a report follow from a journal, and did the owner of a key sign its head? Raises UnusableInput, StoreFault."""
    from edge.daemon.version import program_version
    from edge.reports.proof import prove
    from edge.store.signing import is_signed, public_keys

    keys = {} if key is None else public_keys(key)
    found = prove(report, folder, program_version())
    signed = found.facts["signed"]
    if key is not None and (signed is None or signed["key"] not in keys or not is_signed(signed, keys[signed["key"]])):
        found.differences.append("signed: what it rests on bears no signature by the key that was given")
    if as_json:
        terminal.say_json(
            {"report": str(report), "ok": found.holds, "differences": found.differences, "remarks": found.remarks}
        )
    else:
        for line in (*found.differences, *found.remarks):
            print(f"{report}: {line}")
        if found.holds:
            facts = found.facts
            print(
                f"{report}: each of its words and numbers follows from the journal up to entry {facts['head']['seq']} of {facts['station']}"
            )
        else:
            print(f"{report}: it does NOT follow from the journal in {folder}")
    return terminal.DONE if found.holds else terminal.FAULT


def language_of(code: str) -> Language:
    """The language that --language names. Raises UnusableInput: there is none of that name."""
    if code not in LANGUAGES:
        raise UnusableInput(
            f"there are no words in {code!r}", where="--language", expected=", ".join(LANGUAGES), do="Name one of them"
        )  # fmt: skip
    return LANGUAGES[code]


def _units(text: str | None) -> Chosen:
    """The units of `degF,psi,gal`, in any order."""
    found: dict[str, str] = {}
    for unit in (text or "").replace(",", " ").split():
        what = next((what for what, units in TO_CHOOSE.items() if unit in units), None)
        if what is None or what in found:
            raise UnusableInput(
                f"{unit[:20]!r} is no unit of a report" if what is None else f"{found[what]} and {unit} are both units of a {what}",
                where="--units", expected=", ".join(one for units in TO_CHOOSE.values() for one in units),
                do="Name one unit of each kind, with commas between",
            )  # fmt: skip
        found[what] = unit
    return Chosen(**found)


def _instant(text: str) -> int:
    """The instant that --as-of names. Raises UnusableInput: none."""
    try:
        return wall_ms_of(text)
    except (ValueError, OverflowError):
        raise UnusableInput(
            f"{text[:40]!r} is no such time", where="--as-of", expected="a time such as 2026-03-14T05:00:00Z", do="Correct it"
        ) from None  # fmt: skip


def _day_of(text: str) -> date | int:
    """The day that a date means, or how many days ago a word does."""
    return DAYS_AGO[text] if text in DAYS_AGO else day_of(text, ZoneInfo("UTC"), "DAY")
