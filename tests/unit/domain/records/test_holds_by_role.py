"""A hold that a biomed set is released by a biomed; whoever set any other is released as before. A rule of this project."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.station.station import Station
from tests.unit.domain.records.test_contrary_records import state
from tests.unit.stations import Driver, kept, ready

BIOMED = {"by_role": "biomed", "proven": "session"}
TECHNICIAN = {"by_role": "technician", "proven": "session"}


def held(**more: Any) -> Driver:
    driver = ready()
    body = kept(driver, "hold", by="M. Osei", why="culture", **more)
    assert body["counts"] and state(driver, "no_hold") == "unmet"
    return driver


@pytest.mark.parametrize(
    "who", [TECHNICIAN, {"proven": "typed"}, {}, {"by_role": "auditor"}, {"by_role": None}, {"by_role": ["biomed"]}]
)
def test_nobody_but_a_biomed_releases_what_a_biomed_holds(who: dict[str, Any]) -> None:
    driver = held(**BIOMED)
    answer = kept(driver, "release", by="M. Osei", **who)
    assert not answer["counts"] and "only a biomed" in answer["why_not"] and state(driver, "no_hold") == "unmet"
    answer = kept(driver, "release", by="J. Lund", **BIOMED | {"proven": "token"})
    assert answer["counts"] and state(driver, "no_hold") == "met"
    assert (answer["by_role"], answer["proven"]) == ("biomed", "token"), "it is kept with what it was made by"


@pytest.mark.parametrize("set_by", [TECHNICIAN, {}, {"proven": "typed"}])
def test_any_other_hold_is_released_as_before(set_by: dict[str, Any]) -> None:
    assert kept(held(**set_by), "release", by="J. Lund", **TECHNICIAN)["counts"]
    assert kept(held(**set_by), "release", by="J. Lund")["counts"]


def test_a_biomed_may_say_who_else_releases_it() -> None:
    driver = held(**BIOMED, released_by="Lund")
    assert not kept(driver, "release", by="K. Sato", **BIOMED)["counts"]
    assert kept(driver, "release", by="J. Lund", **TECHNICIAN)["counts"]


def test_of_two_holds_the_one_by_name_that_isnt_a_biomeds_ends() -> None:
    driver = held(**BIOMED, name="culture")
    kept(driver, "hold", by="J. Lund", name="leak", **TECHNICIAN)
    assert not kept(driver, "release", by="J. Lund", **TECHNICIAN)["counts"], "one that names none is for both"
    assert kept(driver, "release", by="J. Lund", name="leak", **TECHNICIAN)["counts"]
    assert state(driver, "no_hold") == "unmet"


def test_a_restart_remembers_whose_hold_it_is() -> None:
    driver = held(**BIOMED)

    after = Driver(driver.station.settings, driver.wall_ms, "boot-2")
    after.mono_ms = 5_000
    after.station = Station(driver.station.settings, "boot-2", driver.station.state())
    assert not kept(after, "release", by="J. Lund", **TECHNICIAN)["counts"]
    assert kept(after, "release", by="J. Lund", **BIOMED)["counts"]
