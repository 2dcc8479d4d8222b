"""Parts by themselves: each with a view of its own, told what happens, without a station around it. Rules are the project's own."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from edge.domain.alarms.system import AlarmSystem
from edge.domain.entries import Entry, Now
from edge.domain.messages import say
from edge.domain.readings import Role, Sample
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.station.build import CONDITIONS, judges_of, parts_of
from edge.domain.station.part import (
    DrawBegan,
    Happening,
    Part,
    PhaseChanged,
    PointSilent,
    PowerChanged,
    RecordKept,
    RestChanged,
)
from edge.domain.station.parts.hours import Hours
from edge.domain.station.parts.power import STEADY_MS, Power
from edge.domain.station.parts.reservoir.part import Reservoir
from edge.domain.station.parts.sensors import Sensors
from edge.domain.station.view import View
from tests.unit.stations import SETTINGS, point

T0 = Now(1_000_000, 1_773_640_200_000, True)


class Told(Part):
    """Remembers what happened."""

    def __init__(self) -> None:
        self.events: list[Happening] = []

    def happened(self, event: Happening, now: Now) -> None:
        self.events.append(event)


def a_view(settings: Settings = SETTINGS) -> View:
    watches = {point.id: PointMonitor(point, T0.mono_ms) for point in settings.points}
    view = View(settings, "boot", ZoneInfo(settings.timezone), watches)
    view.now = T0
    return view


def alone(part: Part, view: View) -> Told:
    """Gives a part its alarms, and somebody who hears what it says has happened."""
    told = Told()
    view.alarms = AlarmSystem(view.settings, part.alarm_ids(), view.announce, view.book.dates, view.boot)
    view.tells([told])
    part.begin(T0)
    return told


def later(now: Now, ms: int) -> Now:
    return Now(now.mono_ms + ms, now.wall_ms + ms, now.trusted)


def hear(part: Part, view: View, point: str, value: float, now: Now) -> None:
    """What a station does with one reading."""
    watch = view.watches[point]
    watch.hear(Sample(point, now.mono_ms, value))
    view.now = now
    part.hear(watch.point, value, now.mono_ms, now)


def test_an_outlet_that_trips_is_told_and_counts_as_live_again_only_once_it_has_been_so_for_long_enough() -> None:
    view = a_view()
    power = Power(view)
    told = alone(power, view)
    (outlet, point), *_ = view.points.outlets
    hear(power, view, point, 1.0, T0)
    assert told.events == [PowerChanged()]
    assert [draft.kind for draft in view.drafts] == ["power", "alarm"] and view.is_changed
    assert power.conditions()[f"outlet:{outlet}"](T0)[:2] == ("unmet", say("outlet.tripped"))
    again = later(T0, 1_000)
    hear(power, view, point, 0.0, again)
    assert power.conditions()[f"outlet:{outlet}"](again).state == "unknown"
    assert next(iter(power.ends_in_ms(again))) == STEADY_MS - 1_000
    steady = later(T0, STEADY_MS)
    hear(power, view, point, 0.0, steady)
    power.advance(steady)
    assert power.conditions()[f"outlet:{outlet}"](steady).state == "met"
    assert view.drafts[-1].body["what"] == "back"


def test_what_a_part_keeps_it_takes_back_and_no_other_keys() -> None:
    view = a_view()
    power = Power(view)
    alone(power, view)
    hear(power, view, view.points.outlets[0][1], 1.0, T0)
    kept = power.state()
    other = Power(a_view())
    other.restore({"of another part": 1, **kept})
    assert other.state() == kept == {"lost": [view.points.outlets[0][0]]}
    other.restore({"phase": "idle"})
    assert other.state() == {"lost": []}


def test_a_point_that_is_not_heard_any_more_has_happened_to_all_and_stands_in_the_situation() -> None:
    view = a_view()
    sensors = Sensors(view)
    told = alone(sensors, view)
    point = view.settings.points[0]
    for one in view.settings.points:
        hear(sensors, view, one.id, 1.0 if one.max_rate_per_s is None else one.low + 1.0, T0)
    assert view.situation.silent == set() and told.events == []
    for one in view.settings.points:
        if one is not point:
            hear(
                sensors,
                view,
                one.id,
                1.0 if one.max_rate_per_s is None else one.low + 1.0,
                later(T0, point.stale_after_ms),
            )
    after = later(T0, point.stale_after_ms + 1)
    assert min(sensors.next_deadline_ms(after)) <= after.mono_ms
    sensors.advance(after)
    assert PointSilent(point.id) in told.events and point.id in view.situation.silent
    hear(sensors, view, point.id, 1.0 if point.max_rate_per_s is None else point.low + 1.0, later(after, 1))
    assert point.id not in view.situation.silent


def test_rest_happens_at_the_edges_of_the_hours_and_never_by_a_clock_that_is_not_trusted() -> None:
    hours = dict.fromkeys(range(7), (8 * 60, 17 * 60))
    view = a_view(replace(SETTINGS, hours=hours))
    part = Hours(view)
    told = alone(part, view)
    part.advance(Now(T0.mono_ms, T0.wall_ms, False))
    assert not view.situation.is_resting and told.events == []
    midnight = Now(T0.mono_ms + 1, 1_773_619_200_000, True)  # 2026-03-16T00:00:00Z
    part.begin(midnight)
    part.advance(midnight)
    assert view.situation.is_resting and told.events == [RestChanged()]
    (edge_ms,) = part.next_deadline_ms(midnight)
    day = Now(edge_ms, midnight.wall_ms + edge_ms - midnight.mono_ms, True)
    part.advance(day)
    assert not view.situation.is_resting and told.events == [RestChanged(), RestChanged()]


@pytest.mark.parametrize("without", ["reservoir", "supply", "both", "points"])
def test_a_station_without_a_section_has_its_conditions_all_the_same_and_in_order(without: str) -> None:
    lacks = {"reservoir": ("reservoir",), "supply": ("supply",), "both": ("reservoir", "supply"), "points": ()}[without]
    settings = replace(SETTINGS, **dict.fromkeys(lacks), **({"points": ()} if without == "points" else {}))
    view = a_view(settings)
    judges = judges_of(parts_of(view).in_order)
    bases = [ident.partition(":")[0] for ident in judges]
    assert {"free", "no_hold", "reservoir", "pressure", "flow", "sensors", "clock"} <= set(bases)
    assert bases == sorted(bases, key=list(CONDITIONS).index)


def test_every_happening_is_minded_by_a_part() -> None:
    view = a_view()
    minded: set[str] = set()
    for part in parts_of(view).in_order:
        names = type(part).happened.__code__.co_names
        minded |= set(names)
    for event in get_args(Happening):
        assert event.__name__ in minded, event
    assert {DrawBegan, PhaseChanged} <= set(get_args(Happening))


def test_no_two_parts_judge_one_condition_or_keep_one_key() -> None:
    view = a_view()
    parts = parts_of(view).in_order
    conditions = [ident for part in parts for ident in part.conditions()]
    assert len(conditions) == len(set(conditions))
    view.alarms = AlarmSystem(view.settings, (), view.announce, view.book.dates, view.boot)
    keys = [key for part in parts for key in part.state()]
    assert len(keys) == len(set(keys))
    folded = [kind for part in parts for kind in part.folds]
    assert len(folded) == len(set(folded))
    assert {role for part in parts for role in part.roles} == set(Role)


def test_a_trip_that_stood_before_a_restart_counts_from_the_restart() -> None:
    """When it ended isn't known."""
    view = a_view()
    power = Power(view)
    (outlet, point), *_ = view.points.outlets
    power.restore({"lost": [outlet]})
    alone(power, view)
    hear(power, view, point, 0.0, T0)
    assert power.steady_in_ms(outlet, T0) == STEADY_MS
    assert power.conditions()[f"outlet:{outlet}"](T0).state == "unknown"


@pytest.mark.parametrize(
    "event", [RestChanged(), PhaseChanged(), PowerChanged(), PointSilent("room"), RecordKept("note", {"counts": True})]
)
def test_what_happens_makes_the_reservoirs_alarms_look_again_though_no_reading_comes(event: Happening) -> None:
    view = a_view()
    parts = parts_of(view)
    (reservoir,) = (part for part in parts.in_order if isinstance(part, Reservoir))
    assert {"room"} <= set(parts.crossed.rooms.points)
    assert not reservoir.take_moved()
    reservoir.happened(event, T0)
    assert reservoir.take_moved() and not reservoir.take_moved()
    reservoir.happened(DrawBegan(), T0)
    assert not reservoir.take_moved()


LEARNED = {
    "at": "2026-03-16T08:00:00Z",
    "point": "basin-probe",
    "first": True,
    "share": 0.17,
    "u": 0.01,
    "counts": True,
}


def test_what_was_learned_of_transfers_outlasts_a_file_without_a_reservoir_but_not_other_equipment() -> None:
    probe = point("basin-probe", Role.BASIN_TEMPERATURE, -10.0, 90.0, of="basin")
    whole = replace(SETTINGS, points=(*SETTINGS.points, probe))
    view = a_view(replace(whole, reservoir=None))
    basin = parts_of(view).basin
    basin.fold(Entry(1, "b0", 0, T0.wall_ms, True, "transfer", {**LEARNED, "why": ""}))
    back = parts_of(a_view(whole)).basin
    back.restore(basin.state())
    assert len(back.first) == 1
    basin.happened(RecordKept("equipment_change", {"counts": True, "what": "machine"}), T0)
    (draft,) = view.drafts
    assert (draft.kind, draft.body["forgotten"]) == ("transfer", 1)
    back.fold(Entry(2, "b1", 0, T0.wall_ms, True, draft.kind, draft.body))
    assert back.first == []
