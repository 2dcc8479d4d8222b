"""The daily test: what each port gave, what else the site looks at, and what is advised where one of these failed.

100 mL in less than 15 s at every port is common practice, no published source. That a graduated cylinder of 100 mL is good to 0.5 mL
(class A) or 1 mL (class B) is ISO 4788, from memory.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.records.daily_tests import test_result as result_of
from edge.domain.settings import DailyTest
from tests.unit.stations import QUIET, SETTINGS, Driver, english, kept, ready

SITE = replace(
    SETTINGS, daily_test=DailyTest(100.0, 15.0, "weak ports", 1.0, ("Lid closes and seals", "Drain without kinks"))
)
ALL = ["lid closes and seals", "Drain  without kinks"]


def ports(*pairs: tuple[int, float], **more: Any) -> dict[str, Any]:
    return {"channel_ports": [{"port": port, "seconds": s} for port, s in pairs], **more}


@pytest.mark.parametrize(
    ("body", "passed", "why"),
    [
        ({"passed": True, "checked": ALL}, True, "passed"),
        (ports((3, 11.8), checked=ALL), True, "passed"),
        ({"passed": True}, None, "not among what was checked: Lid closes and seals, Drain without kinks"),
        ({"passed": True, "checked": ALL[:1]}, None, "not among what was checked: Drain without kinks"),
        ({"passed": True, "checked": ALL[:1], "failed": ALL[1:]}, False, "not found well: Drain  without kinks"),
        ({"passed": True, "checked": ALL, "failed": ALL[:1]}, False, "not found well: lid closes and seals"),
        ({"failed": ALL[:1]}, False, "not found well: lid closes and seals"),
        ({"passed": False, "checked": ALL}, False, "failed"),
        (ports((3, 15.0)), False, "port 3 gave 100 ± 1 mL in 15 s; at least 100 mL in less than 15 s is needed"),
        (ports((3, 16.2), failed=ALL[:1]), False, "is needed; not found well: lid closes and seals"),
        (ports((3, 14.9), checked=ALL[1:]), None, "not among what was checked: Lid"),
    ],
    ids=str,
)
def test_ports_and_check_items_decide_together(body: dict[str, Any], passed: bool | None, why: str) -> None:
    found = result_of(SITE, body)
    assert found[0] is passed and why in english(found[1])
    driver = Driver(SITE)
    told = kept(driver, "daily_test", **body)
    assert told["counts"] is (passed is not None) and (passed is not None or why in told["why_not"])
    assert driver.condition("daily_test")["state"] == ("met" if passed else "unmet")


def test_an_item_that_failed_is_never_talked_away_though_the_station_file_names_none() -> None:
    assert result_of(SETTINGS, {"passed": True, "failed": ["lid"]})[0] is False


@pytest.mark.parametrize(
    ("items", "why"),
    [
        (["Lid closes and seals", "Drain without kink"], "nearest: Drain without kinks"),
        (["all"], "there are Lid closes"),
    ],
)
def test_an_item_that_the_station_file_does_not_name_is_told(items: list[str], why: str) -> None:
    told = kept(Driver(SITE), "daily_test", passed=True, checked=items)
    assert told["counts"] is False and why in told["why_not"]
    assert "it has none" in kept(Driver(), "daily_test", passed=True, checked=items)["why_not"]


def test_an_item_that_the_station_file_names_no_more_takes_no_test_back() -> None:
    assert (
        result_of(replace(SITE, daily_test=replace(SITE.daily_test, also=())), {"passed": True, "checked": ALL})[0]
        is True
    )


@pytest.mark.parametrize(
    ("body", "advice"),
    [
        (ports((3, 16.2)), "Reseat the connector at port 3, look for a kinked tube"),
        (ports((1, 20.0), (3, 16.2), (4, 11.0)), "reseat the connectors at ports 1 and 3, look for kinked tubes"),
        (
            {"failed": ["Drain without kinks"]},
            "Put right what failed (Drain without kinks) and do the daily test again",
        ),
        ({"passed": False}, "Mend what failed and do the daily test again"),
    ],
    ids=str,
)
def test_what_failed_is_named_with_what_to_do(body: dict[str, Any], advice: str) -> None:
    driver = Driver(SITE)
    driver.run(2, QUIET)
    driver.record("daily_test", **body)
    assert any(advice in ask for ask in driver.station.verdict(driver.now)["waits_for"])


def test_what_the_slowest_port_gave_stands_beside_a_pass_with_the_cylinders_uncertainty() -> None:
    driver = Driver(SITE)
    driver.record("daily_test", **ports((1, 11.0), (3, 11.8), checked=ALL))
    assert driver.condition("daily_test")["text"] == "passed 0 s ago; the slowest: port 3 gave 100 ± 1 mL in 11.8 s"
    driver.record("daily_test", passed=True, checked=ALL)
    assert driver.condition("daily_test")["text"] == "passed 0 s ago"


def test_a_failed_check_item_is_told_in_a_sentence() -> None:
    driver = ready()
    driver.record("daily_test", failed=["lid"])
    text = driver.condition("daily_test")["text"]
    assert text == "the last daily test failed: not found well: lid"
