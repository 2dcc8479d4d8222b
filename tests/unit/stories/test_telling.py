"""What people away from the page hear of a whole station's troubles: one message for a cause, no recovery of what nobody heard of.

The cases are this project's own: an outlet that trips, a dip shorter than the on-delay, a restart after alarms were answered.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from edge.domain.settings import AlarmTuning
from edge.telling.tray import Rules, Tray
from edge.telling.words import say
from tests.unit.stations import DRAWING, PSI, QUIET, Driver, ready, tuned

ZONE = ZoneInfo("Europe/Dublin")


class Phone:
    """One target of a station: what it was told, as titles and texts."""

    def __init__(self, driver: Driver, **rules: Any) -> None:
        self.driver, self.tray = driver, Tray(Rules(ZONE, **rules), driver.boot)
        self.tray.begin(len(driver.said), len(driver.said), driver.now)
        self.texts: list[str] = []

    def look(self) -> list[str]:
        titles = []
        for entry in self.driver.said[self.tray.heard :]:
            self.tray.hear(entry)
        while (notice := self.tray.due(self.driver.now)) is not None:
            told = say(notice, self.driver.station.settings)
            self.texts.append(told.text)
            titles.append(told.title.removeprefix("Scope room 2: "))
            self.tray.took(notice)
        return titles


def test_an_outlet_that_trips_is_one_message_until_its_consequence_outlasts_it() -> None:
    driver = ready()
    phone = Phone(driver)
    driver.run(60, QUIET | {"heater-outlet": 1.0})
    assert phone.look() == ["ALARM (high): Outlet tripped: heater"]
    assert "What to do, within 5 min: Keep hands dry; don't reset more than once" in phone.texts[-1]
    driver.run(3600, lambda s: QUIET | {"heater-outlet": 1.0, "reservoir": 39.2 - s / 600}, every_s=5)
    assert driver.alarms("reservoir_cold") == ["suppressed_by_design"]
    assert phone.look() == []
    driver.run(60, QUIET | {"reservoir": 33.2}, every_s=5)  # live again, and still cold
    assert phone.look() == ["RIGHT AGAIN: Outlet tripped: heater"]
    driver.run(240, QUIET | {"reservoir": 33.2}, every_s=5)
    assert phone.look() == ["ALARM (medium): Reservoir cold"]


def test_what_to_do_is_what_the_site_says_where_it_says_so() -> None:
    own = AlarmTuning(response="Call the duty technician", consequence="The room has to wait", respond_within_s=120)
    driver = Driver(tuned(outlet_tripped=own))
    driver.run(5)
    phone = Phone(driver)
    driver.run(5, QUIET | {"heater-outlet": 1.0})
    assert phone.look() == ["ALARM (high): Outlet tripped: heater"]
    assert "What follows: The room has to wait." in phone.texts[-1]
    assert "What to do, within 2 min: Call the duty technician." in phone.texts[-1]


def test_dips_shorter_than_the_on_delay_are_told_nobody() -> None:
    driver = Driver(tuned(pressure_low=AlarmTuning(on_delay_ms=60_000)))
    driver.run(130, QUIET)
    phone = Phone(driver)
    for _ in range(3):
        driver.run(60, DRAWING)
        driver.run(20, DRAWING | {"supply": 37 * PSI})
        driver.run(60, DRAWING)
        driver.run(60, QUIET)
    assert driver.alarms("pressure_low") == [] and phone.look() == []


def test_after_a_restart_what_was_told_and_answered_is_not_told_again() -> None:
    driver = ready()
    phone = Phone(driver)
    driver.record("hold", why="culture grew")
    driver.run(60, QUIET | {"heater-outlet": 1.0})
    assert phone.look() == ["ALARM (high): Outlet tripped: heater", "ALARM (medium): Hold"]
    driver.record("acknowledge", alarm="hold")
    again = Phone(driver)
    again.tray.restore(phone.tray.as_state(), len(driver.said))
    assert again.look() == []
    driver.record("release", by="infection control")
    driver.run(60, QUIET | {"heater-outlet": 1.0})
    assert again.look() == ["RIGHT AGAIN: Hold"]
