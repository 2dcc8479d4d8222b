"""What a record's answer says that it led to, of a real station's picture, in the words of who asked.

What each record means is the project's own contract; 14 days of reuse life are an example value of common practice.
"""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import replace
from typing import Any

import pytest

from edge.api.led_to import conditions_of, led_to
from edge.domain.entries import Entry
from edge.domain.readings import Role
from edge.domain.settings import Basin, Settings
from tests.unit.api.test_asks import pictured
from tests.unit.api.test_routes import ONE, Desk
from tests.unit.stations import HOUR, QUIET, SETTINGS, Driver, ready

SEEN = replace(SETTINGS, not_fitted={Role.SUPPLY_TEMPERATURE: 7 * 24 * HOUR, Role.LEAK: 24 * HOUR})


class Live:
    """A station that takes records by its API."""

    def __init__(self, driver: Driver) -> None:
        self.driver, self.desk = driver, Desk()
        self.desk.fakes.judge.newest = pictured(driver)
        self.desk.fakes.judge.record = self.record  # type: ignore[method-assign,assignment]  # as the judge answers

    def record(self, body: Any) -> Future[Entry]:
        (entry, *_) = self.driver.keep(self.driver.station.record(body, self.driver.now))
        self.desk.fakes.judge.newest = replace(pictured(self.driver), seq=len(self.driver.said))
        answer: Future[Entry] = Future()
        answer.set_result(entry)
        return answer

    def says(self, record: str, query: str = "", **more: Any) -> list[str]:
        answer = self.desk("POST", f"{ONE}/records{query}", {"record": record, "by": "kim", **more})
        assert answer.status == 200, answer.body
        assert len(answer.json["led_to_msgs"]) == len(answer.json["led_to"])
        return list(answer.json["led_to"])


def quiet(settings: Settings = SETTINGS) -> Live:
    driver = Driver(settings)
    driver.run(5, QUIET)
    return Live(driver)


@pytest.fixture
def live() -> Live:
    return Live(ready())


DRAW = "the station may not start yet; first: draw water for half a minute"


@pytest.mark.parametrize(
    ("record", "more", "said"),
    [
        ("disinfectant_fill", {"expires": "2026-12"}, ["disinfectant: 14 days of its reuse life left", "due again from 2026-03-30 on"]),
        ("disinfectant_fill", {}, [
            "disinfectant: 14 days of its reuse life left", "the last date on its label is not on record (expires)",
            "due again from 2026-03-30 on",
        ]),
        ("daily_test", {"passed": True}, ["daily test: passed 0 s ago", "due again from 2026-03-17 on"]),
        ("outlet_test", {"of": "heater", "passed": True}, [
            "outlet:heater: live",
            ("the station saw no trip of the heater outlet within 60 min before it; "
             "the test counts all the same, as the station file asks for none"),
        ]),
        ("release", {}, ["no hold: no hold"]),
        ("shelve", {"alarm": "leak", "minutes": 30}, ["leak: shelved"]),
    ],
    ids=str,
)  # fmt: skip
def test_a_record_says_what_it_led_to_until_when_it_holds_and_that_the_station_may_start(
    live: Live, record: str, more: dict[str, Any], said: list[str]
) -> None:
    assert live.says(record, **more) == [*said, "the station may start"]


def test_it_says_what_is_next_in_the_words_of_who_asked(live: Live) -> None:
    owed = "water path treatment: owed since the clean side was opened (filter change)"
    told = live.says("filter_change", filters=["coarse"])
    assert told[0].startswith("filter:coarse: ") and told[1] == owed and told[-1] == DRAW
    assert live.says("note", text="the plumber was here") == [], "nothing follows from it"
    live.driver.run(660, QUIET, every_s=5)
    told = live.says("water_path_treatment", contact_min=10)
    assert told[:2] == [
        "water path treatment: done 0 s ago",
        "taken as drained and rinsed, as the record of a whole treatment says; if it wasn't, record that (rinsed=no)",
    ]
    told = live.says("hold", "?lang=de", why="Probe")
    assert told[0].startswith("Keine Sperre: ") and told[-1].startswith("die Station darf noch nicht starten; zuerst: ")


def test_what_no_longer_counts_when_it_is_recorded_is_said_to_be_so_and_what_the_station_saw_is_not_doubted(
    live: Live,
) -> None:
    told = live.says("disinfectant_fill", expires="2026-01-01")
    assert told[:2] == [
        "disinfectant: expired: it was good until 2026-01-01 by its label",
        "due again since 2026-01-02",
    ]
    assert told[-1].startswith("the station may not start yet; first:")
    live.driver.run(3, QUIET | {"heater-outlet": 1.0})
    live.driver.run(30, QUIET)
    assert not [said for said in live.says("outlet_test", outlet="heater", passed=True) if "saw no trip" in said]


def test_what_was_read_by_eye_says_until_when_it_stands() -> None:
    live = quiet(SEEN)
    told = live.says("entered_reading", role="leak", value="dry")
    assert told[0].startswith("no leak: ") and told[1] == "it stands until 2026-03-17 05:50"
    told = live.says("entered_reading", role="supply_temperature", value="12 degC")
    assert "it stands until 2026-03-23 05:50" in told and told[-1].startswith("the station may not start yet; first: ")
    refused = live.desk(
        "POST",
        f"{ONE}/records",
        {"record": "entered_reading", "by": "kim", "role": "room_temperature", "value": "20 degC"},
    )
    assert refused.json["counts"] is False and not any("stands" in one for one in refused.json["led_to"])


def test_a_picture_from_before_the_record_tells_nothing_of_it(live: Live) -> None:
    entry = live.driver.record("hold")[0]
    assert led_to(entry.seq, entry.body, live.desk.fakes.judge.newest) == []


@pytest.mark.parametrize(
    ("body", "found"),
    [
        ({"record": "hold", "basin": "left"}, ("no_hold:left",)),
        ({"record": "filter_change", "filters": ["coarse", "fine"]}, ("filter:coarse", "filter:fine", "water_path_treatment")),
        ({"record": "outlet_test", "of": "heater"}, ("outlet:heater",)),
        ({"record": "service", "duty": "air-filter"}, ("duty:air-filter",)),
        ({"record": "service", "what": "repair"}, ("water_path_treatment",)),
        ({"record": "service", "what": "wiped"}, ()),
        ({"record": "entered_reading", "role": "leak"}, ("no_leak",)),
        ({"record": "entered_reading", "point": "supply"}, ("pressure",)),
        ({"record": "shelve", "alarm": "leak"}, ()),
    ],
    ids=str,
)  # fmt: skip
def test_each_record_is_about_its_conditions(body: dict[str, Any], found: tuple[str, ...]) -> None:
    assert conditions_of(body, SETTINGS) == found


def test_a_daily_test_without_its_basin_is_about_those_of_all() -> None:
    live = quiet(replace(SETTINGS, basins=(Basin("left", 6), Basin("right", 6))))
    told = live.says("daily_test", passed=True)
    assert [one.partition(": ")[0] for one in told[:2]] == ["daily test:left", "daily test:right"]
    assert told[2] == "due again from 2026-03-17 on"
    told = live.says("daily_test", passed=True, basin="left")
    assert told[0].startswith("daily test:left: ") and told[1] == "due again from 2026-03-17 on"
