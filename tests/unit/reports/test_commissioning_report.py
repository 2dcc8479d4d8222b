"""The record of a commissioning: each item as the journal has it, what failed and was done anew; nothing that doesn't follow from it."""

from __future__ import annotations

import base64
import hashlib
import re
import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from edge.domain.entries import Now, wall_ms_of
from edge.domain.words.languages import LANGUAGES
from edge.reports.making import Commissioned, Made, Wish, report_of
from edge.reports.proof import prove
from edge.store.signed_heads import append
from edge.store.signing import PUBLIC_FILE, own_key
from tests.unit.reports.kit import PLAN, Store
from tests.unit.reports.test_day_report import Reader

LATER = wall_ms_of("2026-03-14T18:00:00Z")


def commissioned(folder: Path) -> Store:
    """One item fails and is done again, one does not apply, one was of another station and is corrected."""
    store = Store(folder, "2026-03-14T08:00:00Z")

    def found(at: str, item: str, result: str, **body: object) -> int:
        told = {
            "record": "commissioning",
            "item": item,
            "result": result,
            "by": "M. Osei",
            "at": at,
            "counts": True,
            **body,
        }
        return store.add(at, "record", **told)

    found("2026-03-14T08:10:00.000Z", "standpipe", "failed", passed=False, note="it has a <loop>")
    found("2026-03-14T08:40:00.000Z", "standpipe", "passed", passed=True, rests_on={})
    found("2026-03-14T08:41:00.000Z", "restart", "not_applicable", not_applicable="done at the bench")
    found(
        "2026-03-14T08:50:00.000Z",
        "static",
        "passed",
        taken="live",
        number=379.2,
        quantity="pressure",
        low=275.8,
        high=413.7,
    )
    wrong = found("2026-03-14T08:55:00.000Z", "housings", "passed", passed=True)
    store.add("2026-03-14T08:56:00Z", "record", record="correction", of=wrong, why="another station", by="M. Osei",
              at="2026-03-14T08:56:00.000Z", counts=True)  # fmt: skip
    return store


def made(folder: Path, language: str = "en") -> Made:
    return report_of(folder, Wish(Commissioned(), LATER, "0.1.0", language))


def test_it_tells_each_item_as_it_stands_and_all_that_was_recorded(tmp_path: Path) -> None:
    commissioned(tmp_path)
    report = made(tmp_path)
    items = {one["id"]: one for one in report.facts["items"]}
    assert [items[i]["state"] for i in ("standpipe", "restart", "static", "housings")] == [
        "passed",
        "not_applicable",
        "passed",
        "open",
    ]
    assert report.facts["left"] == sum(not one["is_done"] for one in items.values()) > 10
    assert [(one["item"], one.get("result")) for one in report.facts["records"]][:2] == [
        ("standpipe", "failed"),
        ("standpipe", "passed"),
    ]
    assert report.facts["records"][-1]["item"] == "housings" and report.facts["records"][-1]["record"] == "correction"
    text = " ".join(Reader(report.html).texts)
    for said in (
        "not commissioned",
        "it has a <loop>",
        "done at the bench",
        "55.0 psi (40.0 psi to 60.0 psi), measured by the station",
    ):
        assert said in text, said
    assert report.facts["settings"] in text and "Seen by" in text


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_report_follows_from_its_journal_also_later_and_a_changed_one_does_not(tmp_path: Path, language: str) -> None:
    store = commissioned(tmp_path)
    file = tmp_path / "report.html"
    file.write_text(made(tmp_path, language).html, encoding="utf-8")
    store.add("2026-03-15T08:00:00Z", "record", record="commissioning", item="standpipe", result="failed", passed=False, by="kim",
              at="2026-03-15T08:00:00.000Z", counts=True)  # fmt: skip
    assert prove(file, tmp_path, "0.1.0").holds
    file.write_text(
        file.read_text(encoding="utf-8").replace('"result":"failed"', '"result":"passed"'), encoding="utf-8"
    )
    assert any("records[0].result" in said for said in prove(file, tmp_path, "0.1.0").differences)


def test_the_public_half_of_the_station_s_key_stands_in_it_as_openssl_reads_that_of_its_file(tmp_path: Path) -> None:
    store = commissioned(tmp_path)
    append(tmp_path, own_key(tmp_path).signed(PLAN.settings.name, store.mark(), store.head(), Now(0, LATER, True)))
    report = made(tmp_path)
    command = ["openssl", "pkey", "-pubin", "-in", str(tmp_path / PUBLIC_FILE), "-outform", "DER"]
    der = subprocess.run(command, capture_output=True, check=True).stdout
    pages = PdfReader(BytesIO(report.pdf())).pages
    for shown in (" ".join(Reader(report.html).texts), "".join(page.extract_text() for page in pages)):
        said = "".join(shown.split())
        key = re.search("-----BEGINPUBLICKEY-----(.+?)-----ENDPUBLICKEY-----", said)
        assert key is not None and base64.b64decode(key[1], validate=True) == der
        assert f"fingerprintofitskey:{hashlib.sha256(der).hexdigest()}" in said
    assert report.facts["public_key"] == (tmp_path / PUBLIC_FILE).read_text(encoding="ascii")
