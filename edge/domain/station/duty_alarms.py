"""The alarms of what people owe the station: tests, treatments, changes, calibrations, outlets whose test failed, and a hold that
stands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from edge.domain.entries import Now
from edge.domain.records.counting import failed_outlet_test
from edge.domain.station.conditions import Judged
from edge.domain.station.duty_conditions import failure_text

if TYPE_CHECKING:
    from edge.domain.station.station import Station


def raise_duties(station: Station, judged: Mapping[str, Judged], now: Now) -> None:
    """Set each by what its condition, or the calibration's date, says; duties rest with the station."""
    for condition, alarm in (
        ("daily_test", "duty_due:daily_test"),
        ("water_path_treatment", "duty_due:water_path_treatment"),
        ("disinfectant", "duty_due:disinfectant_change"),
    ):
        if condition in judged:
            one = judged[condition]
            station.desk.set(alarm, one.state == "unmet" and not station.is_resting, now, cause=one.text)
    for ident in station.calibrations.duties:
        why = station.calibrations.due(ident, now)
        station.desk.set(f"duty_due:calibration:{ident}", bool(why), now, cause=why)
    for outlet, _ in station.outlets:
        failed = failed_outlet_test(station.book, outlet)
        cause = (
            ""
            if failed is None
            else f"{outlet}: {failure_text(failed)}, as {failed.body.get('by', 'somebody')} recorded"
        )
        station.desk.set(f"outlet_test_failed:{outlet}", failed is not None, now, cause=cause)
    hold = judged["no_hold"]
    station.desk.set("hold", hold.state != "met", now, cause=hold.text)
