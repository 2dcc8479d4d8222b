"""Water that somebody saw, and an outlet that somebody saw tripped, are no READY, whatever is fitted and whatever the file names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from edge.domain.readings import Role
from edge.domain.records.book import RecordBook
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import MINUTE, Bench, rfc3339
from tests.unit.stations import DRAWING, HOUR, POINTS, QUIET, SETTINGS, point

assert SETTINGS.supply is not None
TRAY = replace(SETTINGS, points=(*POINTS, point("tray", Role.LEAK, 0.0, 1.0, bus="lines")))
NOTHING = replace(SETTINGS, supply=replace(SETTINGS.supply, leak_volume_l=None, leak_within_ms=None))
NOT_FITTED = replace(SETTINGS, not_fitted={Role.LEAK: 12 * HOUR})
NO_OUTLET = replace(SETTINGS, points=tuple(p for p in POINTS if p.role is not Role.OUTLET_PROTECTION))
ALL = {"tray": TRAY, "meter": SETTINGS, "nothing": NOTHING, "not fitted": NOT_FITTED}


def ready(settings: Settings) -> Bench:
    made = Bench(settings)
    there = {p.id for p in settings.points}
    quiet = {name: value for name, value in (QUIET | {"tray": 0.0}).items() if name in there}
    made.run(130, quiet)
    made.duties_done()
    if settings is NOT_FITTED:
        made.record("entered_reading", role="leak", value="dry")
    made.run(60, {name: value for name, value in (DRAWING | {"tray": 0.0}).items() if name in there})
    made.run(300, quiet)
    assert made.verdict() == "ready"
    return made


@pytest.mark.parametrize("fitted", ALL)
@pytest.mark.parametrize("again", [False, True])
def test_wet_that_somebody_saw_is_no_ready_until_somebody_sees_it_dry(fitted: str, again: bool) -> None:
    made = ready(ALL[fitted])
    made.record("entered_reading", role="leak", value="wet")
    assert made.verdict() == "not_ready"
    quiet = {name: value for name, value in (QUIET | {"tray": 0.0}).items() if name in made.station.watches}
    if again:
        made.start_again()
        made.run(10, quiet)
    assert made.verdict() == "not_ready"
    ident = "no_hold" if fitted == "nothing" else "no_leak"
    state, text = made.state_of(ident)
    assert state == "unmet" and "wet" in text and "early technician" in text
    (answer, *_) = made.record("entered_reading", role="leak", value="dry")
    made.run(5, quiet)  # the alarm ends with the next reading
    assert answer.body["counts"] and made.state_of(ident)[0] in ("met", "by_eye")


def test_so_is_wet_at_a_point_that_has_a_sensor_and_dry_elsewhere_does_not_end_it() -> None:
    made = ready(TRAY)
    made.record("entered_reading", point="tray", value="wet")
    assert made.state_of("no_leak")[0] == "unmet"
    made.record("entered_reading", point="tray", value="dry", at=rfc3339(made.wall_ms - 20 * MINUTE))
    assert made.state_of("no_leak")[0] == "unmet"  # it was dry before
    made.record("entered_reading", point="tray", value="dry")
    assert made.state_of("no_leak")[0] == "met"


def test_it_rings_and_so_does_not_dry_where_nobody_saw_it_wet() -> None:
    made = ready(TRAY)
    assert made.record("entered_reading", role="leak", value="dry")[0].body["counts"] is False
    made.record("entered_reading", role="leak", value="wet")
    made.run(90, QUIET | {"tray": 0.0})
    assert made.alarms("leak") == ["unacknowledged"]
    made.record("entered_reading", role="leak", value="dry")
    made.run(90, QUIET | {"tray": 0.0})
    assert made.alarms("leak")[-1] == "returned_unacknowledged"


@pytest.mark.parametrize("settings", [SETTINGS, NO_OUTLET], ids=["fitted", "none"])
def test_an_outlet_that_somebody_saw_tripped_is_no_live_outlet(settings: Settings) -> None:
    made = ready(settings)
    made.record("entered_reading", role="outlet_protection", value="tripped")
    ident = "outlet:heater" if settings is SETTINGS else "no_hold"
    assert made.state_of(ident)[0] == "unmet" and made.verdict() == "not_ready"
    made.record("entered_reading", role="outlet_protection", value="ok")
    assert made.state_of(ident)[0] == "met"


def test_a_form_that_is_wrong_does_not_make_it_dry() -> None:
    made = ready(SETTINGS)
    (answer, *_) = made.record("entered_reading", role="leak", value="wet", colour="clear")
    assert not answer.body["counts"] and answer.body["stands"] and made.state_of("no_leak")[0] == "unmet"


def test_hundreds_of_records_later_it_is_still_wet() -> None:
    made = ready(SETTINGS)
    made.record("entered_reading", role="leak", value="wet")
    for _ in range(RecordBook.MOST + 10):
        made.record("note", text="all quiet")
    assert made.state_of("no_leak")[0] == "unmet"


@pytest.mark.parametrize(
    "body",
    [
        {"role": "leak", "value": "Wet"},
        {"role": "leak", "value": " wet. "},
        {"role": "laek", "value": "wet"},
        {"point": "trai", "value": "WET"},
        {"role": "machine_power", "value": "wet"},
    ],
)
def test_wet_is_wet_however_it_is_written_and_whatever_it_names(body: dict[str, str]) -> None:
    made = ready(TRAY)
    assert made.record("entered_reading", **body)[0].body["counts"]
    assert made.state_of("no_leak")[0] == "unmet"
    made.record("entered_reading", role="outlet_protection", value="ok")  # of something else
    assert made.state_of("no_leak")[0] == "unmet"
    made.record("entered_reading", role="leak", value="Dry")
    made.run(5, QUIET | {"tray": 0.0})
    assert made.state_of("no_leak")[0] == "met"


def test_a_word_that_is_none_is_said() -> None:
    (answer, *_) = ready(SETTINGS).record("entered_reading", role="leak", value="damp")
    assert not answer.body["counts"] and "neither dry nor wet" in answer.body["why_not"]


@pytest.mark.parametrize("renamed", [True, False])
@pytest.mark.parametrize(
    "point_id, value, ident", [("tray", "wet", "no_leak"), ("heater-outlet", "tripped", "outlet:heater")]
)
def test_what_somebody_saw_at_a_point_stays_so_when_the_point_has_another_name_or_goes(
    point_id: str, value: str, ident: str, renamed: bool
) -> None:
    made = ready(TRAY)
    made.record("entered_reading", point=point_id, value=value)
    kept = made.station.state()
    others = tuple(p for p in TRAY.points if p.id != point_id)
    gone = next(p for p in TRAY.points if p.id == point_id)
    points = (*others, replace(gone, id="another")) if renamed else others
    made.station = Station(replace(TRAY, points=points), made.boot, kept)
    quiet = {n: v for n, v in (QUIET | {"tray": 0.0, "another": 0.0}).items() if n in made.station.watches}
    made.run(60, quiet)
    found = ident if renamed or ident == "no_leak" else "no_hold"
    assert made.state_of(found)[0] == "unmet"


# -- an outlet that a sensor reads as live, and that somebody saw tripped: plain facts, no published source

SECOND = replace(
    SETTINGS, points=(*POINTS, point("machine-outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of="machine", bus="lines"))
)
LIVE = QUIET | {"machine-outlet": 0.0}


def two_outlets() -> Bench:
    made = Bench(SECOND)
    made.run(130, LIVE)
    made.duties_done()
    made.run(60, DRAWING | {"machine-outlet": 0.0})
    made.run(300, LIVE)
    made.record("entered_reading", point="heater-outlet", value="tripped")
    made.run(30, LIVE)
    return made


@pytest.mark.parametrize("again", [False, True])
def test_what_was_seen_at_one_outlet_says_nothing_of_another_and_rings_for_that_one(again: bool) -> None:
    made = two_outlets()
    if again:
        made.start_again()
        made.run(30, LIVE)
    state, text = made.state_of("outlet:heater")
    assert state == "unmet" and "tripped" in text and "early technician" in text and made.verdict() == "not_ready"
    assert made.state_of("outlet:machine")[0] == "met"
    assert made.alarms("outlet_tripped:heater") == ["unacknowledged"] and made.alarms("outlet_tripped:machine") == []


def resets(made: Bench) -> None:
    made.run(30, LIVE | {"heater-outlet": 1.0})
    made.run(40, LIVE)


@pytest.mark.parametrize("again", [False, True])
@pytest.mark.parametrize(
    "ends, over",
    [
        (lambda made: made.record("entered_reading", point="heater-outlet", value="ok"), True),
        (lambda made: made.record("entered_reading", role="outlet_protection", value="ok"), True),
        (lambda made: made.record("entered_reading", point="machine-outlet", value="ok"), False),
        (lambda made: made.record("outlet_test", outlet="heater", passed=True), True),
        (lambda made: made.record("outlet_test", outlet="heater", passed=True, trip_ma=40.0), False),
        (lambda made: made.record("outlet_test", outlet="machine", passed=True), False),
        (resets, True),
        (lambda made: made.run(60, LIVE), False),
    ],
    ids=["ok there", "ok", "ok elsewhere", "tested", "tested badly", "another tested", "reset", "nothing"],
)
def test_an_outlet_seen_tripped_is_live_again_once_somebody_or_its_own_contact_shows_it(
    ends: Callable[[Bench], object], over: bool, again: bool
) -> None:
    made = two_outlets()
    ends(made)
    if again:
        made.start_again()
    made.run(40, LIVE)
    assert (made.state_of("outlet:heater")[0] == "met") is over
    assert (made.alarms("outlet_tripped:heater")[-1] == "unacknowledged") is not over


def test_a_reset_that_was_seen_before_does_not_answer_for_what_somebody_sees_since() -> None:
    made = Bench(SECOND)
    made.run(30, LIVE)
    made.run(10, LIVE | {"heater-outlet": 1.0})
    made.run(5, LIVE)  # its contact follows no more, though it isn't steady yet
    made.record("entered_reading", point="heater-outlet", value="tripped")
    made.run(60, LIVE)
    assert made.state_of("outlet:heater")[0] == "unmet"


def test_ok_at_a_point_that_ends_nothing_says_how_to_end_it() -> None:
    made = two_outlets()
    (answer, *_) = made.record("entered_reading", point="machine-outlet", value="ok")
    assert not answer.body["counts"] and "with role=outlet_protection" in answer.body["why_not"]
