"""What the bench of reports writes is a journal that holds, and a day of it says what was put in. The rows are made up."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from edge.domain.entries import wall_ms_of
from edge.reports.making import Wish, report_of
from edge.reports.proof import prove
from tests.bench.reports import CYCLES, journal_of

END_MS = wall_ms_of("2026-03-14T00:00:00Z")


def test_a_day_of_its_journal_has_a_report_that_follows(tmp_path: Path) -> None:
    keep = tmp_path / "keep"
    keep.mkdir()
    entries = journal_of(keep, 2, END_MS)
    made = report_of(keep, Wish(date(2026, 3, 13), END_MS, "0.1.0"))
    assert (made.facts["water_l"], len(made.facts["draws"])) == (CYCLES * 4 * 18.0, CYCLES * 4)
    assert len(made.facts["alarms"]) == CYCLES // 2 and entries > 2 * CYCLES * 10
    assert made.facts["minutes"]["in_use"] == CYCLES * 20.0 and made.facts["minutes"]["reheating"] == CYCLES * 10.0
    file = tmp_path / "day.html"
    file.write_text(made.html, encoding="utf-8")
    assert prove(file, keep, "0.1.0").holds
