"""What later records make of earlier ones in reports: taken back, or shown by a calibration; and by whose clock a report is made.

The figures are worked by hand: a probe that reads 39.4 °C beside a reference of 39.0 °C is shown 0.4 K lower from then on.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from edge.domain.entries import wall_ms_of
from edge.reports.making import Made, Wish, report_of
from edge.reports.period import period_of
from edge.reports.proof import prove
from tests.unit.reports.kit import Store
from tests.unit.reports.test_calibration_sheet import LATER, Bench
from tests.unit.reports.test_day_report import Reader

DAY = date(2026, 3, 14)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with closing(Bench(tmp_path / "keep")) as made:
        yield made


def holds(made: Made, folder: Path) -> bool:
    path = folder.parent / "report.html"
    path.write_text(made.html, encoding="utf-8")
    return prove(path, folder, "0.1.0").holds


def test_readings_are_those_that_were_shown_by_the_calibration_in_force_at_each_time(bench: Bench) -> None:
    calibrated = bench.compare("2026-03-14T08:00:00Z", ("39.0 degC", "39.4 degC"))
    taken = bench.record("2026-03-14T08:02:00Z", "correction", of=calibrated, why="wrong thermometer", by="eve")
    bench.readings("2026-03-14T07:59:00Z", [39.4, 39.4, 39.4, 39.4])
    made = report_of(bench.folder, Wish(DAY, LATER, "0.1.0"))
    means = [mean for mean in made.facts["courses"]["reservoir"] if mean is not None]
    assert means == [39.4, 39.0, 39.0, 39.4][: len(means)] and len(means) >= 3
    (found,) = [one for one in made.facts["readings"] if one["id"] == "reservoir"]
    assert (found["low"], found["high"]) == (39.0, 39.4)
    texts = Reader(made.html).texts
    assert "As shown then: by the calibration that was in force at each time." in texts
    assert f"taken back by entry {taken} (eve, 08:02): it does not count" in texts
    assert holds(made, bench.folder)
    of_month = report_of(bench.folder, Wish(period_of("2026-03"), LATER, "0.1.0")).facts["records"]
    assert of_month["calibration"] == {"number": 1, "counted": 0}
    bench.record("2026-03-15T08:00:00Z", "correction", of=taken, why="it was the right one", by="eve")
    again = report_of(bench.folder, Wish(DAY, LATER, "0.1.0"))
    assert not any("taken_back" in one for one in again.facts["records"] if one["seq"] == calibrated)
    assert holds(made, bench.folder), "also when it counts again"


def test_an_alarm_that_is_right_again_and_not_acknowledged_does_not_still_stand(tmp_path: Path) -> None:
    with closing(Store(tmp_path / "keep", "2026-03-14T06:00:00Z")) as store:
        store.alarm("2026-03-14T06:30:00Z", "unacknowledged")
        store.alarm("2026-03-14T06:40:00Z", "returned_unacknowledged", "unacknowledged", present=False)
        texts = Reader(report_of(store.folder, Wish(DAY, LATER, "0.1.0")).html).texts
    assert "right again 06:40, not acknowledged" in texts and "still stood at the end" not in texts


def test_a_report_is_made_by_the_stations_clock(tmp_path: Path) -> None:
    """Of a simulated station that is no computer's: it is as far as its last entry, unless the station says more."""
    with closing(Store(tmp_path / "keep", "2026-03-14T06:00:00Z")) as store:
        store.add("2026-03-14T06:00:00Z", "started", demo="first_case")
        store.verdict("2026-03-14T06:21:00Z", "not_ready", before=None)
        said = wall_ms_of("2026-03-14T06:30:00Z")
        for wish, until in (
            (Wish(DAY, LATER, "0.1.0"), "06:21"),
            (Wish(DAY, said, "0.1.0", by_station=True, trusted=False), "06:30"),
            (Wish(DAY, said - 3_600_000, "0.1.0", by_station=True), "06:21"),
        ):
            made = report_of(store.folder, wish)
            texts = Reader(made.html).texts
            assert f"The day was not over when this was made: it is told up to {until}." in texts
            assert any(one.startswith(f"Made 2026-03-14 {until}") for one in texts)
            assert any("clock was not set when this was made" in one for one in texts) is not wish.trusted
            assert made.facts["minutes"] == ({"not_ready": 9.0} if until == "06:30" else {})
            assert holds(made, store.folder)


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", {"sensor: Reservoir temperature (reservoir)", "shown: 39.400 °C → 39.000 °C", "error as found: +0.400 K",
                "alarm: Due: Daily test", "of: Supply temperature", "value: 12.5 °C", "contact: 12 min", "passed: yes"}),
        ("de", {"angezeigt: 39,400 °C → 39,000 °C", "Abweichung wie vorgefunden: +0,400 K", "Alarm: Fällig: Tagestest",
                "Wert: 12,5 °C", "Einwirkung: 12 min", "bestanden: ja"}),
    ],
)  # fmt: skip
def test_what_people_recorded_is_told_in_words_with_units(bench: Bench, language: str, said: set[str]) -> None:
    bench.compare("2026-03-14T08:00:00Z", ("39.0 degC", "39.4 degC"))
    for body in (
        {"record": "acknowledge", "alarm": "duty_due:daily_test"},
        {"record": "entered_reading", "role": "supply_temperature", "value": 12.5, "unit": "degC"},
        {"record": "water_path_treatment", "contact_min": 12.0, "began_s": 1.0, "done": True},
        {"record": "concentration_check", "passed": True},
    ):
        bench.add("2026-03-14T09:00:00Z", "record", by="ada", counts=True, proven="typed", **body)
    texts = set(Reader(report_of(bench.folder, Wish(DAY, LATER, "0.1.0", language)).html).texts)
    assert said <= texts, said - texts
    assert not [one for one in texts if "degC" in one or "duty_due" in one or "u_parts" in one or "began" in one]
