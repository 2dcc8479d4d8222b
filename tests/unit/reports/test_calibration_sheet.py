"""The calibration sheet of a point, of records that a station itself kept; its figures are computed a second time from the journal's rows.

Errors as found and as left: indication less reference (JCGM 200:2012, 2.16). The budget adds in quadrature and is expanded with k = 2
(JCGM 100:2008, 5.1.2 and 6.2.1). The figures of the comparisons are by hand, beside them.
"""

from __future__ import annotations

import json
import math
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from edge.domain.entries import Now, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.station.station import Station
from edge.domain.words.languages import LANGUAGES
from edge.reports.making import Calibrations, Made, Wish, report_of
from edge.reports.period import period_of
from edge.reports.proof import prove
from tests.unit.reports.kit import PLAN, Store
from tests.unit.reports.test_day_report import Reader

LATER = wall_ms_of("2026-12-01T00:00:00Z")
REFERENCE = {"instrument": "reference thermometer 7", "certificate": "HL-0042", "reference_u": "0.05 K"}


class Bench(Store):
    """A folder into which a station keeps what people compare."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, "2026-03-14T06:00:00Z")
        self._station = Station(PLAN.settings, "boot-1")

    def record(self, at: str, record: str, *, by: str = "ada", **body: Any) -> int:
        wall_ms = wall_ms_of(at)
        now = Now(wall_ms - self.begins_ms, wall_ms, True)
        drafts = [
            d for d in self._station.record({"record": record, "by": by, "at": at, **body}, now) if d.kind == "record"
        ]
        (kept,) = self._journal.append(drafts)
        self._station.kept([kept])
        self.seq = kept.seq
        return kept.seq

    def compare(self, at: str, *pairs: tuple[str, str], **more: Any) -> int:
        points = [{"reference": reference, "reading": reading} for reference, reading in pairs]
        return self.record(at, "calibration", point="reservoir", points=points, **(REFERENCE | more))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with closing(Bench(tmp_path / "keep")) as made:
        yield made


def report(folder: Path, point: str = "reservoir", language: str = "en") -> Made:
    return report_of(folder, Wish(Calibrations(point), LATER, "0.1.0", language))


def rows_of(folder: Path) -> dict[int, dict[str, Any]]:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        return {seq: json.loads(hashed) for seq, hashed in conn.execute("SELECT seq, hashed FROM entry")}


def lived(bench: Bench) -> tuple[int, int, int]:
    """Compared, found drifted half a year later and adjusted again, which is taken back; then doubted, and a probe replaced by name."""
    first = bench.compare(
        "2026-03-14T08:00:00Z", ("39.0 degC", "39.4 degC"), drift_allowance="0.2 K", due_at="2026-09-14T08:00:00Z"
    )
    bench.alarm("2026-09-14T08:00:00Z", "unacknowledged", id="duty_due:calibration:reservoir", point="reservoir")
    second = bench.compare("2026-09-15T08:00:00Z", ("39.0 degC", "39.7 degC"), drift_allowance="0.2 K", by="eve")
    third = bench.record("2026-09-15T09:00:00Z", "correction", of=second, why="wrong thermometer", by="eve")
    bench.add("2026-09-16T08:00:00Z", "contradiction", check="two_probes", points=["reservoir"], what="began", cause="two probes differ",
              advice="compare them")  # fmt: skip
    bench.record(
        "2026-09-17T08:00:00Z", "equipment_change", what="sensor_fitted", point="reservoir", why="a new sleeve"
    )
    return first, second, third


def test_its_figures_are_those_of_the_records(bench: Bench) -> None:
    first, second, correction = lived(bench)
    made, rows = report(bench.folder), rows_of(bench.folder)
    one, two = made.facts["calibrations"]
    assert (one["seq"], two["seq"], one["by"], two["by"]) == (first, second, "ada", "eve")
    # by hand: 39.4 beside 39.0 is 0.4 too much, then nothing; half a year later 39.7 - 0.4 beside 39.0 is 0.3 too much
    assert (one["as_found"], one["as_left"], one["before"]) == (pytest.approx(0.4), pytest.approx(0.0), None)
    assert (two["as_found"], two["drift"], two["beyond_allowance"]) == (pytest.approx(0.3), pytest.approx(0.3), True)
    assert two["before"] == {"seq": first, "gain": 1.0, "offset": pytest.approx(-0.4)}
    assert [(pair["found"], pair["left"]) for pair in two["compared"]] == [(pytest.approx(0.3), pytest.approx(0.0))]
    for told in (one, two):
        body = rows[told["seq"]]["body"]
        assert told["u_parts"] == body["u_parts"] and told["u"] == pytest.approx(
            math.sqrt(sum(u**2 for u in body["u_parts"].values()))
        )
        assert (told["instrument"], told["certificate"], told["reference_u"]) == (
            "reference thermometer 7",
            "HL-0042",
            "0.05 K",
        )
    # the second stood for an hour, until it was taken back: the first stands again, and is due as it was
    assert [(s["from"][:16], (s["to"] or "")[:16], s.get("why")) for s in one["in_force"]] == [
        ("2026-03-14T08:00", "2026-09-15T08:00", "next"), ("2026-09-15T09:00", "", None)]  # fmt: skip
    assert [(s["from"][:16], s["to"][:16], s["why"], s["ended_by"]) for s in two["in_force"]] == [
        ("2026-09-15T08:00", "2026-09-15T09:00", "correction", correction)]  # fmt: skip
    assert (made.facts["stands"], made.facts["next_due"]) == (first, rows[first]["body"]["due_at"])
    assert (one["counts_now"], two["counts_now"]) == (True, False)
    (due,) = [
        due for due in report_of(bench.folder, Wish(period_of("2026-09"), LATER, "0.1.0")).facts["due"]
        if due["id"] == "duty_due:calibration:reservoir"
    ]  # fmt: skip
    assert (due["by"], due["due_at"]) == ("ada", made.facts["next_due"]), "a period's record says so, too"
    assert [later["kind"] for later in one["later"]] == ["alarm"]
    assert [later.get("record", later.get("kind")) for later in two["later"]] == [
        "correction",
        "contradiction",
        "equipment_change",
    ]
    texts = Reader(made.html).texts
    expanded = f"{2 * rows[first]['body']['u']:.3f} K"
    assert {"reference thermometer 7", "HL-0042", "+0.400 K", "+0.300 K: more than the drift allowed", expanded} <= set(
        texts
    )
    assert any(f"Entry {first} stands" in said and expanded in said for said in texts)
    early = report_of(bench.folder, Wish(Calibrations("reservoir"), wall_ms_of("2026-09-14T07:59:59Z"), "0.1.0"))
    late = "It was past its due date when this was made."
    assert late in texts and late not in Reader(early.html).texts
    assert f"Comparison of 2026-09-15 09:00, entry {second}" in texts, "summer time at Dublin"


def test_another_sensor_ends_what_stood(bench: Bench) -> None:
    first = bench.compare("2026-03-14T08:00:00Z", ("39.0 degC", "39.4 degC"))
    document = json.loads(json.dumps(PLAN.document))
    next(point for point in document["point"] if point["id"] == "reservoir")["address"] = "28-00000a1b2cff"
    new = bench.add("2026-04-01T08:00:00Z", "settings", digest="0" * 64, document=document)
    made = report(bench.folder)
    (one,) = made.facts["calibrations"]
    assert (
        one["in_force"][-1]["why"] == "sensor"
        and one["in_force"][-1]["ended_by"] == new
        and made.facts["stands"] is None
    )
    assert made.facts["fitted"]["identity"] == "28-00000a1b2cff" != one["identity"] and one["seq"] == first
    assert "No calibration stands: the point is uncalibrated." in Reader(made.html).texts


def test_what_did_not_count_a_check_and_a_clock_that_nobody_trusted_are_told(bench: Bench) -> None:
    bench.compare(
        "2026-03-14T08:00:00Z", ("39.0 degC", "31.0 degC")
    )  # 8 K: beyond what any comparison alone may correct
    check = bench.compare("2026-03-14T09:00:00Z", ("39.0 degC", "39.2 degC"), adjust=False)
    body = {
        "by": "ada",
        "at": "2026-03-14T10:00:00.000Z",
        "point": "reservoir",
        "points": [],
        "counts": False,
        "why_not": "no points",
    }
    bench.add("2026-03-14T10:00:00Z", "record", trusted=False, record="calibration", **body)
    made = report(bench.folder)
    far, checked, empty = made.facts["calibrations"]
    assert (far["counts"], far["in_force"], checked["is_check"], made.facts["stands"]) == (False, [], True, None)
    assert made.facts["entries"]["untrusted"] == 1 and empty["compared"] == []
    texts = Reader(made.html).texts
    assert f"Check of 2026-03-14 09:00, entry {check}: nothing was adjusted" in texts
    assert sum(said.startswith("does not count: ") for said in texts) == 2 and "never in force" in texts


def test_it_is_proved_in_each_language_and_each_digit_of_it(bench: Bench, tmp_path: Path) -> None:
    lived(bench)
    path = tmp_path / "sheet.html"

    def differences(page: str) -> list[str]:
        path.write_text(page, encoding="utf-8")
        return prove(path, bench.folder, "0.1.0").differences

    for language in LANGUAGES:
        page = report(bench.folder, language=language).html
        assert differences(page) == []
        assert not [said for said in Reader(page).texts if said.startswith("report.")]
    page = report(bench.folder).html
    places = [m.start() for m in re.finditer(r"(?<=[>\s:.+-])\d(?=[\d.:<\s])", page) if m.start() > page.index("<body")]
    assert len(places) > 100
    for at in places[::9]:
        assert differences(page[:at] + str((int(page[at]) + 1) % 10) + page[at + 1 :]), page[at - 30 : at + 10]
    bench.compare("2026-10-15T08:00:00Z", ("39.0 degC", "39.5 degC"))
    assert differences(page) == [], "what came later changes nothing of it"


def test_a_point_that_nobody_knows_is_refused_and_one_never_compared_says_so(bench: Bench) -> None:
    with pytest.raises(UnusableInput, match="no point 'reservoirs'"):
        report(bench.folder, "reservoirs")
    assert {"The journal has no comparison of this point.", "none"} <= set(
        Reader(report(bench.folder, "room").html).texts
    )
