"""What a face takes a station's picture for: old, damaged and unknown things are never fine."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from edge.api.picture import Watch
from edge.domain.alarms.states import State
from edge.faces.seen import NOBODY, OLD_S, TEST, SeenAlarm, later, read, rehearsed
from tests.api_fakes import Fakes
from tests.unit.faces.kit import picture, point


def test_a_picture_is_read_with_its_points_and_alarms():
    seen = read(picture())
    assert (seen.station, seen.verdict, seen.is_live, seen.seq) == (
        "harbour-lane/scope-room-2",
        "not_ready",
        True,
        70000,
    )
    assert (seen.points["reservoir"].value, seen.points["reservoir"].unit) == (38.5, "Cel")
    assert (seen.points["supply"].value, seen.points["supply"].quality) == (None, "bad")
    raised = {ident: (alarm.is_active, alarm.is_unacknowledged) for ident, alarm in seen.alarms.items()}
    assert raised == {"leak": (False, False), "pressure_low": (True, False), "reservoir_cold": (True, True)}


def test_what_the_api_tells_is_read_whole():
    watch = Watch(Fakes().judge)
    told = watch.everything(watch.see())
    seen = read(told)
    assert set(seen.points) == set(told["points"]) and set(seen.alarms) == set(told["alarms"])
    values = {ident: point["value"] for ident, point in told["points"].items() if point["quality"] != "bad"}
    assert {ident: point.value for ident, point in seen.points.items() if point.value is not None} == values and values


def test_what_is_old_is_unknown_and_alarms_stay_as_they_were_heard():
    told = picture()
    told["verdict"] |= {"verdict": "ready", "verdicts": [{"basin": "left", "verdict": "ready"}]}
    seen = read(told)
    assert later(seen, OLD_S - 0.3).verdict == "ready"
    old = later(seen, OLD_S, "nobody answers")
    assert (old.verdict, old.is_live, old.basins, old.why) == ("unknown", False, {"left": "unknown"}, "nobody answers")
    assert [one.value for one in old.points.values()] == [None, None, None]
    assert {one.quality for one in old.points.values()} == {"bad"}
    assert old.points["flow"].age_s == pytest.approx(11.0)
    assert old.alarms == seen.alarms
    assert read(picture(quiet_s=OLD_S + 0.1)).is_live is False  # the station itself says that its judge is silent
    assert later(NOBODY, 100.0) == NOBODY


@pytest.mark.parametrize("value", [None, math.nan, math.inf, True, "38.5"], ids=repr)
def test_what_is_no_number_is_no_value(value):
    told = picture()
    told["points"]["flow"] = point("flow", value, "L/min")
    seen = read(told).points["flow"]
    assert (seen.value, seen.quality) == (None, "bad")


def test_a_value_without_an_age_is_not_known_and_words_of_a_later_version_are_not_fine():
    told = picture()
    told["points"]["flow"] = point("flow", 9.5, "L/min", age_s=None)
    told["verdict"]["verdict"] = "mostly_ready"
    told["alarms"]["leak"]["state"] = "dozing"
    seen = read(told)
    assert seen.points["flow"].value is None
    assert seen.verdict == "unknown"
    assert seen.alarms["leak"].is_active and seen.alarms["leak"].is_unacknowledged


@pytest.mark.parametrize("without", ["verdict", "points", "alarms"])
def test_half_a_picture_is_none(without):
    told = picture()
    del told[without]
    with pytest.raises(KeyError):
        read(told)


def test_each_state_of_the_standard_is_there_called_for_or_aside_as_it_says():
    # ISA-18.2-2016, 5.10, states A to I, from memory: active and annunciated B, C; E only annunciated; latched; G, H, I set aside
    shown = {
        state: (alarm.is_active, alarm.is_unacknowledged, alarm.is_aside)
        for state in State
        for alarm in [SeenAlarm("leak", "high", str(state), "")]
    }
    yes, no = True, False
    assert list(shown.values()) == [
        (no, no, no), (yes, yes, no), (yes, no, no), (no, yes, no), (yes, yes, no), (yes, no, no),
        (no, no, yes), (no, no, yes), (no, no, yes),
    ]  # fmt: skip


def test_a_test_raises_one_alarm_and_says_that_it_is_one():
    seen = read(picture())
    shown = rehearsed(seen, "leak")
    assert (shown.alarms["leak"].state, shown.alarms["leak"].cause, shown.is_test) == ("unacknowledged", TEST, True)
    assert replace(shown, alarms=seen.alarms, is_test=False) == seen
