"""A day of a station as it truly was, and what was done to it: ingredients drawn at random, each of them one plain mishap.

The day begins at 05:00 of a Monday, two days after the last fill and filter change. It has draws, a daily test at 07:00 and two cycles;
at 15:00 the board goes off, and on a later morning the station is started again for half an hour. Times are seconds since 05:00.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from typing import Final

from edge.domain.entries import wall_ms_of
from edge.domain.readings import KIND_OF, Role
from edge.domain.settings import Basin, DailyTest, Filter, Point, Reservoir, Settings, Supply
from simulators.physics.events import (
    HOUR,
    MINUTE,
    Away,
    Day,
    Draw,
    Event,
    HeaterWeak,
    LidOpen,
    PowerOff,
    Sag,
    TopUp,
    Torn,
    Trip,
    Turned,
)  # fmt: skip
from simulators.physics.reservoir import J_PER_L_K, Vessel

PSI: Final = 6.894757293168361  # kPa
STEP_S: Final = 20
START_MS: Final = wall_ms_of("2026-03-16T05:00:00Z")  # Dublin's winter time is UTC
END_S: Final = 10 * HOUR
TEST_S: Final = 2 * HOUR
LATER_S: Final = 30 * MINUTE
DAY_MS: Final = 86_400_000
SHARE: Final = 0.2  # what the basin truly costs; the station file declares a little more
VESSEL: Final = Vessel(basin_j_per_k=SHARE / (1.0 - SHARE) * 10.5 * J_PER_L_K)
ROOM: Final = ((0.0, 20.5), (6.0, 19.5), (12.0, 22.0), (18.0, 21.5))
DRAWS: Final = ((6_000, 6_150), (7_800, 7_920), (14_400, 14_520), (19_800, 19_920), (23_400, 23_520), (32_400, 32_520))
CYCLES: Final = (16_200, 26_400)
TEMPERATURES: Final = ("reservoir", "room")
TAPS: Final = ("supply", "between", "filtered")
SENSED: Final = ("reservoir", "room", "supply", "between", "filtered", "flow", "heater-outlet", "power")
BASINS: Final = ("basin", "basin-2")
#: what a station may lack, or have more of
LACKS: Final = ("flow", "room", "between")
TWO_BASINS: Final = "two basins"
#: its reservoir isn't stirred: cold liquid that is poured in lies below the probe
LAYERS: Final = "unstirred"
WARMER_K: Final = 1.0  # the set point where the loss is measured: the probes' uncertainty is in that


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One thing that goes wrong, or one thing that somebody does, from `at_s` until `until_s`."""

    kind: str
    at_s: int
    until_s: int
    what: str = ""
    value: float = 0.0

    def __str__(self) -> str:
        until = "" if self.until_s <= self.at_s else f" until {clock(self.until_s)}"
        value = f" {self.value:g}" if self.value else ""
        return f"{self.kind} {self.what}{value} at {clock(self.at_s)}{until}".replace("  ", " ")


def clock(at_s: float) -> str:
    """The true time of day."""
    minutes = (5 * HOUR + int(at_s)) // 60
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


@dataclass(frozen=True)
class Composed:
    """One composed day. `later_days`: the morning on which it is looked at again; `tests_later`: is the daily test done then?"""

    seed: int
    ingredients: tuple[Ingredient, ...]
    by_eye: bool
    later_days: int
    tests_later: bool
    station: frozenset[str] = frozenset()  # of LACKS, TWO_BASINS, LAYERS
    on_disk: bool = False  # its journal is the real one

    def of(self, *ingredients: Ingredient) -> Composed:
        """The same day with these ingredients and no others."""
        return replace(self, ingredients=ingredients)

    @property
    def world_day(self) -> Day:
        """What is physically so."""
        events: list[Event] = [Draw(a, b, into_basin=False) for a, b in DRAWS]
        for at_s in (*CYCLES, *(one.at_s for one in self.ingredients if one.kind == "cycle")):
            back_s = at_s + 12 * MINUTE
            events += [Draw(at_s, at_s + 150), Away(at_s + 240, back_s), Draw(back_s + 60, back_s + 180)]
        for one in self.ingredients:
            until_s = max(one.until_s, one.at_s + 1)
            if one.kind == "valve":
                events.append(Sag(one.at_s, until_s, one.value * PSI))
            elif one.kind == "neighbour":
                events.append(Sag(one.at_s, until_s, one.value))
            elif one.kind == "trip":
                events.append(Trip(one.at_s, until_s, "heater"))
            elif one.kind == "heater_dead":
                events.append(HeaterWeak(one.at_s, until_s, 0.0))
            elif one.kind == "heater_weak":
                events.append(HeaterWeak(one.at_s, until_s, one.value))
            elif one.kind == "lid_open":
                events.append(LidOpen(one.at_s, until_s, one.value))
            elif one.kind == "turned":
                events.append(Turned(one.at_s, until_s, one.value))
            elif one.kind == "top_up":
                events.append(TopUp(one.at_s, one.value, 15.0))
            elif one.kind == "power_off":
                events.append(PowerOff(one.at_s, until_s))
            elif one.kind == "bypass":
                events.append(Torn(one.at_s, until_s, one.what, one.value))
        return Day(start_s=5 * HOUR, liquid_c=39.7 + self.warmer_k, room=ROOM, events=tuple(events), vessel=self.vessel)

    @property
    def warmer_k(self) -> float:
        """How much warmer its reservoir is kept."""
        return WARMER_K if TWO_BASINS in self.station else 0.0

    @property
    def vessel(self) -> Vessel:
        """The reservoir and what it loses."""
        lower = 0.4 if LAYERS in self.station else 0.0
        return replace(VESSEL, set_point_c=VESSEL.set_point_c + self.warmer_k, lower_share=lower)

    @property
    def later_day(self) -> Day:
        """The later morning: the liquid is warm, water is drawn once, nothing is wrong."""
        draw = Draw(240, 360, into_basin=False)
        return Day(6 * HOUR + 30 * MINUTE, liquid_c=39.8 + self.warmer_k, room=ROOM, events=(draw,), vessel=self.vessel)


def settings(by_eye: bool, station: frozenset[str] = frozenset()) -> Settings:
    """The station; `by_eye`: the reservoir's thermometer is read by people. `station`: what it lacks, or has more of."""

    def point(ident: str, role: Role, low: float, high: float, unit: str = "", **more: str | float) -> Point:
        return Point(ident, role, KIND_OF[role], STEP_S * 1000, 90_000, low, high, unit=unit, bus="bench", **more)  # type: ignore[arg-type]  # of, uncertainty

    points = [
        point("reservoir", Role.RESERVOIR_TEMPERATURE, -10.0, 90.0, uncertainty=0.5),
        point("room", Role.ROOM_TEMPERATURE, -10.0, 60.0, uncertainty=0.5),
        point("supply", Role.SUPPLY_PRESSURE, -50.0, 1500.0, "psi"),
        point("between", Role.BETWEEN_FILTERS_PRESSURE, -50.0, 1500.0, "psi"),
        point("filtered", Role.FILTERED_PRESSURE, -50.0, 1500.0, "psi"),
        point("flow", Role.SUPPLY_FLOW, -1.0, 60.0, "gal/min"),
        point("heater-outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of="heater"),
        point("power", Role.MACHINE_POWER, 0.0, 1.0),
    ]
    points = [p for p in points if p.id not in station and not (by_eye and p.id == "reservoir")]
    basins: tuple[str, ...] = BASINS if TWO_BASINS in station else BASINS[:1]
    if TWO_BASINS in station:
        points += [point(name, Role.BASIN_TEMPERATURE, -10.0, 90.0, of=name, uncertainty=0.5) for name in basins]
    by_people = {Role.RESERVOIR_TEMPERATURE: 4 * HOUR * 1000} if by_eye else {}
    by_people |= {Role.SUPPLY_FLOW: 24 * HOUR * 1000} if "flow" in station else {}
    set_point_c = VESSEL.set_point_c + (WARMER_K if TWO_BASINS in station else 0.0)
    coldest_c = 19.0 if "room" in station else 18.0
    return Settings(
        site="harbour-lane", id="scope-room-2", title="Bench", timezone="Europe/Dublin",
        points=tuple(points), buses=("bench",), basins=tuple(Basin(name, 6) for name in basins),
        reservoir=Reservoir(
            set_point_c, 0.5, 35.0, 4.0 / 19.0, False, 3 * HOUR * 1000, volume_l=11.0, maximum_c=45.0, contact_max_c=40.0,
            coldest_room_c=coldest_c,
        ),
        supply=Supply(
            40 * PSI, 60 * PSI, 7.57, 11.36, 1.135, 0.568, 15_000, DAY_MS, static_high_kpa=60 * PSI, leak_volume_l=2.0,
            leak_within_ms=6 * HOUR * 1000,
        ),
        filters=(Filter("coarse", 1.0, 8 * PSI, 6), Filter("fine", 0.2, 10 * PSI, 6)), reference_flow_l_min=9.46, reference_c=15.0,
        daily_test=DailyTest(100.0, 15.0, "weak ports"), treatment_contact_ms=600_000,
        clean_side_opened_by=frozenset({"filter_change", "repair"}), reuse_life_ms=14 * DAY_MS,
        not_fitted=by_people,
    )  # fmt: skip


def _span(r: Random, shortest_s: int = 30 * MINUTE) -> tuple[int, int]:
    at_s = r.randrange(30 * MINUTE, END_S - HOUR, STEP_S)
    return at_s, min(at_s + r.choice((shortest_s, HOUR, 3 * HOUR, 8 * HOUR)), END_S - STEP_S)


def _moment(r: Random) -> int:
    return r.randrange(TEST_S + 30 * MINUTE, END_S - HOUR, STEP_S)


def _over(
    kind: str, whats: tuple[str, ...] = ("",), values: tuple[float, ...] = (0.0,)
) -> Callable[[Random], Ingredient]:
    def draw(r: Random) -> Ingredient:
        return Ingredient(kind, *_span(r), r.choice(whats), r.choice(values))

    return draw


def _once(
    kind: str, whats: tuple[str, ...] = ("",), values: tuple[float, ...] = (0.0,)
) -> Callable[[Random], Ingredient]:
    def draw(r: Random) -> Ingredient:
        at_s = _moment(r)
        return Ingredient(kind, at_s, at_s, r.choice(whats), r.choice(values))

    return draw


def _clock(kind: str, values: tuple[float, ...]) -> Callable[[Random], Ingredient]:
    def draw(r: Random) -> Ingredient:
        at_s = r.choice((STEP_S * 3, TEST_S - 10 * MINUTE, _moment(r)))
        return Ingredient(
            kind, at_s, min(at_s + r.choice((8 * MINUTE, HOUR, 4 * HOUR)), END_S - STEP_S), "", r.choice(values)
        )

    return draw


_SECOND, _HOUR, _DAY = 1.0, 3600.0, 86_400.0
#: every kind of ingredient, and how one is drawn
KINDS: Final[dict[str, Callable[[Random], Ingredient]]] = {
    # sensors
    "frozen": _over("frozen", ("reservoir", "room", "supply", "between", "filtered", "flow")),
    "last_bit": _over("last_bit", ("reservoir", "supply", "between", "filtered")),
    "offset": _over("offset", ("room", "supply", "between", "filtered"), (-30.0, -8.0, 8.0, 30.0)),
    "drift": _over("drift", ("reservoir", "supply"), (-1.5, 1.5, 4.0)),
    "swapped": _over("swapped", ("supply between", "between filtered", "supply filtered")),
    "cut": _over("cut", SENSED),
    "power_on_value": _over("power_on_value", TEMPERATURES, (85.0,)),
    "bad_readings": _over("bad_readings", SENSED, (0.1, 0.5, 0.9)),
    "gap": _over("gap", ("all",)),
    "room_on_vessel": _over("room_on_vessel", ("room",), (0.9, 1.0)),
    "meter_dead": _over("meter_dead", ("flow",)),
    "ghost_flow": _over("ghost_flow", ("flow",), (9.1,)),
    # plant
    "valve": _over("valve", values=(0.0, 5.0, 20.0, 30.0, 39.0)),
    "neighbour": _over("neighbour", values=(300.0, 320.0, 345.0)),
    "trip": _over("trip"),
    "heater_dead": _over("heater_dead"),
    "power_off": _over("power_off"),
    "bypass": _over("bypass", ("coarse", "fine"), (0.97, 1.0)),
    # records
    "miscalibrated": _once("miscalibrated", ("reservoir", "room"), (7.1, 5.9, 3.0, -5.9)),
    "hold": _once("hold", values=(0.0, -_DAY, -2 * _HOUR, 4 * 60.0, _DAY, 400 * _DAY)),
    "released_hold": _once("released_hold", values=(0.0, 240.0, -600.0, _DAY)),
    "release_ahead": _once("release_ahead", values=(240.0, 299.0)),
    "hold_corrected": _once("hold_corrected"),
    "failed_test": _once("failed_test", ("flag", "ports", "ports_passed"), (0.0, -_HOUR * 3, -_DAY, 290.0)),
    "no_test": _once("no_test"),
    "test_dated": _once("test_dated", values=(-_DAY, -2 * _DAY, 290.0, _DAY, 365 * _DAY)),
    "test_by_night": _once("test_by_night"),
    "test_corrected": _once("test_corrected"),
    "filter_change": _once("filter_change", ("coarse", "fine", "both"), (0.0, -_DAY, -5 * _HOUR)),
    "treatment_short": _once("treatment_short", values=(5.0, 9.9)),
    "treatment_early": _once("treatment_early", values=(12.0, 4 * 60.0)),
    "treatment_dated": _once("treatment_dated", values=(290.0, -_HOUR, _DAY)),
    "treatment_right": _once("treatment_right"),
    "check_failed": _once("check_failed"),
    "outlet_test_failed": _once("outlet_test_failed"),
    "equipment_change": _once("equipment_change", ("swap", "loaner")),
    "fill_dated": _once("fill_dated", values=(-15 * _DAY, 300 * _DAY)),
    "work_begins": _once("work_begins", values=(0.0, -_HOUR, _DAY)),
    "entered": _once("entered", ("395 degC", "95 degC", "104 degF", "39", "39.5 psi", "20 degC")),
    "unknown_key": _once("unknown_key", ("hold", "release")),
    # clock
    "clock_step": _clock(
        "clock_step", tuple(s * v for s in (1.0, -1.0) for v in (30 * _SECOND, _HOUR, 5 * _HOUR, _DAY, 30 * _DAY, 400 * _DAY, 7_600 * _DAY))
    ),
    "clock_untrusted": _clock("clock_untrusted", (-56 * 365.25 * _DAY, -3 * _DAY, -_HOUR, _DAY, 365 * _DAY)),
    # restarts and the store
    "restart": _once("restart", ("fold new", "fold same", "state new", "state same")),
    "withdrawn": _once("withdrawn", ("hold", "daily_test", "release", "water_path_treatment")),
}  # fmt: skip


#: further ones, of days over a journal on disk and of stations with two basins; drawn by a stream of their own
MORE: Final[dict[str, Callable[[Random], Ingredient]]] = {
    "disk": _once("disk", ("killed", "log lost", "log cut", "file cut", "file emptied", "old file", "old folder", "all gone")),
    "basin_frozen": _over("frozen", BASINS),
    "basin_offset": _over("offset", BASINS, (-8.0, -2.0, 2.0, 8.0)),
    "basin_cut": _over("cut", BASINS),
    "basins_swapped": _over("swapped", ("basin basin-2",)),
}  # fmt: skip


#: and what befalls the liquid; by a stream of their own, too
PLANT: Final[dict[str, Callable[[Random], Ingredient]]] = {
    "heater_weak": _over("heater_weak", values=(0.2, 0.5)),
    "lid_open": _over("lid_open", values=(3.0, 10.0)),
    "turned": _over("turned", values=(-4.0, -1.5, -0.5, 2.0)),
    "top_up": _once("top_up", ("recorded", "unrecorded"), (0.5, 1.5, 3.0)),
    "cycle": lambda r: Ingredient("cycle", at_s := r.choice((9_600, 12_600, 21_600, 30_000)), at_s),
}


def compose(seed: int, only: str = "") -> Composed:
    """The day of this seed: each tenth is free of faults; of the others each has one to four ingredients, and perhaps some of
    MORE and PLANT."""
    r = Random(f"truth {seed}")
    chosen: list[Ingredient] = []
    fault_free = seed % 10 == 0 and not only
    if only in KINDS:
        chosen.append(KINDS[only](r))
    names = sorted(KINDS)
    for _ in range(0 if fault_free else r.choice((0, 1, 2, 3) if only else (1, 2, 2, 3, 4))):
        one = KINDS[r.choice(names)](r)
        if all(not _clash(one, other) for other in chosen):
            chosen.append(one)
    by_eye = not fault_free and (any(i.kind == "entered" for i in chosen) or r.random() < 0.05)
    later, tests_later = r.choice((1, 1, 1, 7, 200)), r.random() < 0.5
    r = Random(f"truth station {seed}")
    station = frozenset(one for one in (*LACKS, TWO_BASINS) if r.random() < 0.15)
    if only.startswith("basin"):
        station |= {TWO_BASINS}
    more = [only] if only in MORE else []
    if not fault_free:
        more += [name for name in sorted(MORE) if name != only and r.random() < 0.12]
    chosen += [MORE[name](r) for name in more if name == "disk" or TWO_BASINS in station]
    on_disk = "disk" in more or r.random() < 0.1
    r = Random(f"truth plant {seed}")
    station |= {LAYERS} if r.random() < 0.2 else frozenset()
    chosen += [PLANT[name](r) for name in sorted(PLANT) if name == only or (r.random() < 0.08 and not fault_free)]
    return Composed(
        seed, tuple(sorted(chosen, key=lambda i: i.at_s)), by_eye, later, tests_later, station, on_disk
    )  # fmt: skip


_ALONE: Final = ("valve", "neighbour"), ("clock_step", "clock_untrusted"), ("no_test", "test_dated", "test_by_night")


def _clash(one: Ingredient, other: Ingredient) -> bool:
    """The world has one pressure, one clock and one morning's test at a time."""
    return one.kind == other.kind or any(one.kind in group and other.kind in group for group in _ALONE)
