"""Reports as PDF, read back by pypdf: each text of the page is in it, and what was changed of it is found.

How an attachment stands in a file: ISO 32000-1, 7.11.4, as pypdf reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from edge.domain.entries import wall_ms_of
from edge.domain.words.languages import LANGUAGES
from edge.reports.making import Calibrations, Incident, Of, Wish, report_of
from edge.reports.period import period_of
from edge.reports.proof import prove
from tests.unit.reports.kit import Store
from tests.unit.reports.test_calibration_sheet import Bench, lived
from tests.unit.reports.test_day_report import Reader, busy

TYPED = "37 °C ± 0,5 → gut ≥ 5 µm 🙂 <b>&amp;"
LATER = wall_ms_of("2026-12-01T00:00:00Z")
OF: dict[str, Of] = {
    "day": date(2026, 3, 14),
    "period": period_of("2026-03"),
    "incident": Incident(wall_ms_of("2026-03-14T05:00:00Z"), wall_ms_of("2026-03-14T09:00:00Z")),
    "calibration": Calibrations("reservoir"),
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Bench(tmp_path / "keep")) as made:
        busy(made)
        made.add(
            "2026-03-14T07:10:00Z",
            "record",
            record="note",
            by="Zoë Ångström",
            text="37 °C ± 0,5 → gut ≥ 5 µm 🙂 <b>&amp;",
            counts=True,
        )
        made.readings("2026-03-14T07:00:00Z", [31.25, 36.5, None, None, 39.75, 38.0])
        yield made


def shown(pdf: bytes) -> str:
    """All text of its pages, without spaces: lines are broken where they must be."""
    return "".join("".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages)


def proven(store: Store, pdf: bytes) -> list[str]:
    path = store.folder.parent / "report.pdf"
    path.write_bytes(pdf)
    return prove(path, store.folder, "0.1.0").differences


@pytest.mark.parametrize(
    ("which", "language"), [("day", "de"), ("period", "fr"), ("incident", "es"), ("calibration", "en")]
)
def test_it_says_all_that_the_page_says(store: Store, which: str, language: str) -> None:
    if which == "calibration":
        assert isinstance(store, Bench)
        lived(store)
    made = report_of(store.folder, Wish(OF[which], LATER, "0.1.0", language))
    pdf = made.pdf()
    text, becomes = shown(pdf), {"de": "wird zu", "fr": "devient", "es": "pasa a", "en": "to"}[language]
    pieces = [said for said in Reader(made.html).texts if said != f"{made.facts['station']}"]
    assert len(pieces) > 50
    for said in pieces[1:]:  # the first is the title of the window
        said = said.replace("→", becomes).replace("🙂", "(slightly smiling face)")
        assert "".join(said.split()) in text, said
    found = PdfReader(BytesIO(pdf))
    (attached,) = found.attachments["report.html"]
    assert attached.decode() == made.html and found.trailer["/Root"]["/Lang"] == language  # type: ignore[index]
    assert proven(store, pdf) == []


def test_signs_of_each_language_and_of_what_people_type_are_shown(store: Store) -> None:
    for language in LANGUAGES:
        text = shown(report_of(store.folder, Wish(OF["day"], LATER, "0.1.0", language)).pdf())
        assert "■" not in text and "\x00" not in text
    assert "ZoëÅngström" in text and "37°C±0,5pasaagut≥5µm(slightlysmilingface)<b>&amp;" in text
    fonts = {str(font) for page in PdfReader(BytesIO(report_of(store.folder, Wish(OF["day"], LATER, "0.1.0")).pdf())).pages
             for font in (one.get_object()["/BaseFont"] for one in page["/Resources"]["/Font"].values())}  # type: ignore[index]  # fmt: skip
    assert fonts and all("+" in font for font in fonts if "Vera" in font), "a subset of each font is in the file"


def test_courses_and_strips_are_lines_and_no_pictures(store: Store) -> None:
    pages = PdfReader(BytesIO(report_of(store.folder, Wish(OF["incident"], LATER, "0.1.0")).pdf())).pages
    assert all(not page.images for page in pages)
    drawn = b"".join(page.get_contents().get_data() for page in pages)  # type: ignore[union-attr]
    assert len(re.findall(rb"\bre\b", drawn)) > 10 and len(re.findall(rb"\bl\b", drawn)) > 20


def test_what_was_changed_in_its_pages_is_found_also_where_the_attached_page_is_right(store: Store) -> None:
    wish = Wish(OF["day"], LATER, "0.1.0")
    made = report_of(store.folder, wish)
    pdf = made.pdf()
    assert proven(store, pdf) == []
    facts = made.facts | {"water_l": 39.75}  # 38.75 is right; the same length
    forged = made._replace(facts=facts).pdf()
    assert shown(forged) != shown(pdf)
    assert any(said.startswith("water_l: the report says 39.75, the journal 38.75") for said in proven(store, forged))
    page = made.html.encode()
    at = forged.index(page[:200])
    mixed = forged[:at] + page + forged[at + len(page) :]
    assert proven(store, mixed) == ["the page that is attached to it holds; what its own pages show was changed"]
    older = pdf.replace(b"reportlab ", b"reportlab 1", 1)
    (said,) = proven(store, older)
    assert "laid out by reportlab 1" in said and "can't be compared" in said


def test_a_pdf_of_others_is_no_report(store: Store) -> None:
    from edge.domain.errors import UnusableInput

    with pytest.raises(UnusableInput, match="it is no report"):
        proven(store, b"%PDF-1.4\n%%EOF\n")
