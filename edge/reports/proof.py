"""Does a report follow from a journal? Its facts are gathered again, as far as the head that it names, and its page is made again."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.settings import Settings
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import Chosen
from edge.reports.attached import PDF as _PDF
from edge.reports.attached import attached_html, made_by, maker
from edge.reports.making import FORM, Made, Wish, of_facts, page_of, report_of
from edge.reports.page import FACTS_ID
from edge.reports.source import Head

_MOST_BYTES: Final = 64 << 20
#: as many differences are told
MOST_TOLD: Final = 20
_FACTS: Final = re.compile(rf'<script [^>]*id="{FACTS_ID}"[^>]*>(.*?)</script>', re.DOTALL)
_UNSEEN: Final = re.compile(r"<(script|style)\b.*?</\1>", re.DOTALL)
_BETWEEN: Final = re.compile(r">([^<]+)")
#: facts that are of readings: they are no part of the chain, and are thinned out as they grow old
_OF_READINGS: Final = ("readings", "courses", "step_ms")


class Proof(NamedTuple):
    """What was found. `differences`: what doesn't follow, one sentence each; `remarks`: what could not be compared, and why."""

    facts: dict[str, Any]
    differences: list[str]
    remarks: list[str]

    @property
    def holds(self) -> bool:
        """Does all of it follow?"""
        return not self.differences


def facts_of(report: Path) -> tuple[dict[str, Any], Wish]:
    """The facts that a report bears, and what makes it again. Raises UnusableInput: it is none."""
    return _wish_of(_page_in(_read(report), report), report)


def prove(report: Path, folder: Path, program: str) -> Proof:
    """Compare a report with a journal.

    Args:
        report: the file.
        folder: the [keep] folder of the station that it is of.
        program: this version.

    Raises:
        UnusableInput: the file is no report, or the journal isn't the one that it was made of.
        StoreFault: the journal can't be read.
    """
    read = _read(report)
    page = _page_in(read, report)
    facts, wish = _wish_of(page, report)
    again = report_of(folder, wish)
    if again.html == page:
        return Proof(facts, list(_of_pdf(read, again)), [])
    differences = list(_between(facts, again.facts, ""))
    remarks = []
    is_kept = any(one["low"] is not None for one in again.facts.get("readings", ()))
    is_kept = is_kept and facts.get("step_ms") == again.facts["step_ms"]
    of_readings = [said for said in differences if said.startswith(_OF_READINGS)]
    if of_readings and not is_kept:
        differences = [said for said in differences if said not in of_readings]
        remarks.append(
            "Its readings could not be compared: those of that time are no longer kept here, or not as fine."
        )
    if not differences:
        differences = list(_of_page(page, facts, again.settings, program))
    differences += [] if differences else _of_pdf(read, Made(facts, page, again.settings))
    return Proof(facts, differences[:MOST_TOLD], remarks)


def _read(report: Path) -> bytes:
    try:
        with report.open("rb") as file:
            read = file.read(_MOST_BYTES + 1)
    except OSError as exc:
        raise UnusableInput(
            f"it can't be read ({exc.strerror})",
            where=str(report),
            expected="a report",
            do="Name the file that was made",
        ) from exc
    if len(read) > _MOST_BYTES:
        raise _no_report(report)
    return read


def _page_in(read: bytes, report: Path) -> str:
    """The HTML of a report; of a PDF what is attached to it."""
    try:
        return (attached_html(read) if read.startswith(_PDF) else read).decode()
    except ValueError as exc:
        raise _no_report(report) from exc


def _of_pdf(read: bytes, made: Made) -> Iterator[str]:
    """What a PDF says otherwise than the HTML that is attached to it, which holds."""
    if not read.startswith(_PDF):
        return
    try:
        if made.pdf() == read:
            return
    except UnusableInput as exc:
        yield f"the page that is attached to it holds; its own pages can't be compared: {exc.what}"
        return
    if made_by(read) != maker():
        yield (
            f"the page that is attached to it holds; its own pages were laid out by reportlab {made_by(read) or '?'}, and this is"
            f" {maker()}, so they can't be compared: check it with that version"
        )
        return
    yield "the page that is attached to it holds; what its own pages show was changed"


def _wish_of(page: str, report: Path) -> tuple[dict[str, Any], Wish]:
    found = _FACTS.findall(page)
    try:
        (embedded,) = found
        facts = json.loads(embedded)
        if facts["form"] > FORM:
            raise UnusableInput(
                f"a newer version made this report (form {facts['form']})", where=str(report), expected=f"form {FORM}",
                do=f"Check it with version {facts['program']}",
            )  # fmt: skip
        head, language = facts["head"], facts["language"]
        if language not in LANGUAGES:
            raise _no_report(report)
        units = Chosen(*map(str, facts["units"]))
        return facts, Wish(
            of_facts(facts), wall_ms_of(facts["made_at"]), str(facts["program"]), language, units,
            Head(int(head["seq"]), str(head["digest"])), facts["signed"], trusted=bool(facts.get("made_trusted", True)),
        )  # fmt: skip
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as exc:
        raise _no_report(report) from exc


def _no_report(report: Path) -> UnusableInput:
    return UnusableInput(
        "it is no report, or its facts were taken out of it", where=str(report),
        expected="a file that `warmwell report` made", do="Name that file",
    )  # fmt: skip


def _between(told: Any, found: Any, path: str) -> Iterator[str]:
    """Where what a report tells is another than what is found, a sentence each."""
    if isinstance(told, dict) and isinstance(found, dict):
        for key in sorted({*told, *found}):
            inner = f"{path}.{key}" if path else str(key)
            if key not in told or key not in found:
                yield f"{inner}: the report {'has no such fact' if key not in told else 'tells of it, and nothing else does'}"
            else:
                yield from _between(told[key], found[key], inner)
    elif isinstance(told, list) and isinstance(found, list):
        if len(told) != len(found):
            yield f"{path}: the report tells {len(told)}, there are {len(found)}"
        for at, (one, other) in enumerate(zip(told, found, strict=False)):
            yield from _between(one, other, f"{path}[{at}]")
    elif told != found or type(told) is not type(found):
        yield f"{path}: the report says {_shown(told)}, the journal {_shown(found)}"


def _shown(value: Any) -> str:
    written = json.dumps(value, ensure_ascii=False)
    return written if len(written) <= 80 else f"{written[:77]}…"


def _of_page(page: str, facts: dict[str, Any], settings: Settings, program: str) -> Iterator[str]:
    """What the page says otherwise than its own facts, which hold."""
    anew = page_of(facts, settings)
    if page == anew:
        return
    if facts["program"] != program:
        yield (
            f"its facts hold; its page was made by version {facts['program']} and this is {program}, so its words can't be compared:"
            " check it with that version"
        )
        return
    said, meant = _texts(page), _texts(anew)
    if said == meant:
        yield "the page's words hold; how it is built or drawn was changed"
    for what, a, b, c, d in difflib.SequenceMatcher(None, said, meant, autojunk=False).get_opcodes():
        if what != "equal":
            yield f"the page says {_shown(' '.join(said[a:b]))} where {_shown(' '.join(meant[c:d]))} follows from the journal"


def _texts(page: str) -> list[str]:
    """What a reader sees of a page, piece by piece."""
    seen = (unescape(piece).strip() for piece in _BETWEEN.findall(_UNSEEN.sub("", page)))
    return [piece for piece in seen if piece]
