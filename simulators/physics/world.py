"""The physical world of one station: what each of its points would truly read at any instant.

The state moves on a fixed grid of one second, in blocks that end at the same instants whatever the caller asks for, and noise
depends only on point and instant; so the same scenario and seed give the same world however often it is sampled. Ten hours cost
a fraction of a second.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from datetime import UTC, datetime
from math import cos, exp, pi, sin
from typing import Final, NamedTuple, TypeVar

from simulators.physics import events as happen
from simulators.physics.events import (
    DAY_S,
    Away,
    Day,
    Draw,
    Event,
    Leak,
    LineFault,
    PowerOff,
    Sag,
    SensorFault,
    TopUp,
    Trip,
)
from simulators.physics.noise import even, normal, stream_of
from simulators.physics.pipes import density_kg_m3, hole_l_min
from simulators.physics.reservoir import Reservoir
from simulators.physics.water import STATED_L_MIN, Flowing, at_rest, drawing
from simulators.scenarios.scenarios import scenario_named

_E = TypeVar("_E")

BLOCK_S: Final = 60  # room and outlets are looked at again at least this often
DRAW_BLOCK_S: Final = 10  # and while water runs: filters load
PUMP_BLOCK_S: Final = 2  # and while a pump fills its tank, or the tank feeds a draw
_FAULTS: Final = 0x5DEECE66D  # tells the chance of a fault from the noise of the same point
TICK_MS: Final = 50  # readings closer together than this carry the same noise


class Missing(NamedTuple):
    """Why there is no number: a reason of the table of readings ("" : no answer at all, not even an error)."""

    reason: str
    detail: str


class Meter(NamedTuple):
    """How a quantity is measured: zero error and noise (standard deviation) in its unit, share of the value, resolution."""

    zero: float
    noise: float
    noise_share: float
    resolution: float


#: Probes: 12-bit digital thermometers (1/16 K). Pressure transmitters print tenths of kPa, and their zeros differ a little. The
#: flow meter's wheel stands still below STALLS_L_MIN.
METERS: Final[Mapping[str, Meter]] = {
    "reservoir": Meter(0.0, 0.03, 0.0, 0.0625),
    "basin": Meter(0.0, 0.03, 0.0, 0.0625),
    "room": Meter(0.1, 0.03, 0.0, 0.0625),
    "water": Meter(0.0, 0.03, 0.0, 0.0625),
    "supply": Meter(0.3, 0.5, 0.0, 0.1),
    "between": Meter(-0.2, 0.5, 0.0, 0.1),
    "filtered": Meter(0.1, 0.5, 0.0, 0.1),
    "flow": Meter(0.0, 0.0, 0.006, 0.01),
    "conductivity": Meter(0.0, 0.0, 0.003, 0.1),
}
CONTACTS: Final = ("machine-outlet", "heater-outlet", "power", "leak")
#: every point that a world can read
POINTS: Final = (*METERS, *CONTACTS)
STALLS_L_MIN: Final = 0.3


class World:
    """One station's physics. `start_wall_ms` is the wall time of mono 0 (the scenario's own where none is given)."""

    def __init__(self, scenario: str, seed: int = 1, start_wall_ms: int | None = None) -> None:
        self.scenario = scenario_named(scenario)
        self.seed = seed
        self.start_wall_ms = self.scenario.start_wall_ms if start_wall_ms is None else start_wall_ms
        self._take(self.scenario.day)

    @classmethod
    def of_day(cls, day: Day, seed: int = 1, start_wall_ms: int = 0) -> World:
        """A world of a day that is in no list, for tests and studies."""
        world = cls.__new__(cls)
        world.seed, world.start_wall_ms = seed, start_wall_ms
        world._take(day)
        return world

    def _take(self, day: Day) -> None:
        self.day = day
        self.mono_ms = 0
        self._s = 0  # the grid's time
        self._block_end = 0
        self._streams = {name: stream_of(self.seed, name) for name in (*METERS, "static")}
        self._frozen: dict[str, float] = {}
        self._edges = sorted({edge for e in day.events for edge in (e.from_s, e.until_s)} | {0, DAY_S})
        self._by_kind: dict[type, list[Event]] = {}
        for event in day.events:
            if not 0 <= event.from_s < event.until_s <= DAY_S:
                raise ValueError(f"{event} is not within one day, counted from the scenario's start")
            self._by_kind.setdefault(type(event), []).append(event)
        self.passed_l = 0.0  # through the filters since the start
        self._new_at_l = {"coarse": 0.0, "fine": 0.0}  # what had passed when each was changed
        self._tank_kpa, self._pumping = day.mains.static_kpa, False
        self._rings: tuple[int, float] = (-DAY_S, 0.0)  # when a valve moved, and by how much the pressure swings [kPa]
        self._drawing = False
        self._followed_s = 0
        self._lagging: dict[
            str, tuple[float, float]
        ] = {}  # what a slow sensor shows at the block's start, and its time constant
        self._faulty = tuple(e for e in day.events if isinstance(e, happen.Drift | happen.Noisy))
        self.reservoir = Reservoir(day.vessel, day.liquid_c, self.room_c(0), day.heating)
        self.water = at_rest(day.mains.static_kpa)
        self._powered, self._probe_in_air = True, False
        self._true_water_c = self._water_c(0)
        self._rinse_c: float | None = None
        self._begin_block()

    # -- time ------------------------------------------------------------------------------------------------------

    def step_to(self, mono_ms: int) -> None:
        """Move the world on to this instant; an earlier one changes nothing."""
        if mono_ms <= self.mono_ms:
            return
        self.mono_ms = mono_ms
        target = mono_ms // 1000
        while self._s < target:
            if self._s == self._block_end:
                self._begin_block()
            seconds = min(target, self._block_end) - self._s
            self.reservoir.step(seconds, self._room_now, self._powered, self._rinse_c, self._probe_in_air)
            self._s += seconds
            if self._s == self._block_end:  # whole blocks only: the same whatever the caller's steps are
                self._fill_tank(self._s - self._block_start)
            self.passed_l = self._passed_before_l + self.water.flow_l_min * (self._s - self._block_start) / 60.0
        if self._s == self._block_end:
            self._begin_block()

    def _begin_block(self) -> None:
        """Look at everything that is held until the block's end; blocks end at the same instants for every caller."""
        start = self._block_start = self._s
        self._passed_before_l = self.passed_l
        of_day = start % DAY_S
        self._follow(of_day)
        self._happen(of_day)
        draw = self._draw(of_day)
        step = self._block_s(draw, of_day)
        next_edge = self._edges[bisect_right(self._edges, of_day)]
        self._block_end = start - of_day + min(next_edge, of_day - of_day % step + step)
        self._room_now = self.room_c(start)
        self._powered = not self._tripped("heater", of_day)
        self._true_water_c = self._water_c(start)
        self._rinse_c = self._true_water_c if draw is not None and draw.into_basin else None
        before, self.water = self.water, self._water(draw, of_day)
        self._ring(before.flow_l_min - self.water.flow_l_min, draw is not None)

    def _block_s(self, draw: Draw | None, of_day: int) -> int:
        """How long everything may be held."""
        mains = self.day.mains
        if (
            draw is not None
            and mains.opens_s
            and (of_day < draw.from_s + mains.opens_s or of_day >= draw.until_s - mains.opens_s)
        ):
            return 1
        if mains.pump is not None and (self._pumping or draw is not None):
            return PUMP_BLOCK_S
        return DRAW_BLOCK_S if draw is not None else BLOCK_S

    def _happen(self, of_day: int) -> None:
        weak, lid, turned = (
            self._now(happen.HeaterWeak, of_day),
            self._now(happen.LidOpen, of_day),
            self._now(happen.Turned, of_day),
        )
        self.reservoir.heater_share = 1.0 if weak is None else weak.share
        self.reservoir.lid_w_per_k = 0.0 if lid is None else lid.w_per_k
        self.reservoir.set_by_k = 0.0 if turned is None else turned.by_k
        self.reservoir.basin_probe_out = self._now(happen.BasinProbeOut, of_day) is not None
        for new in self._all(happen.NewFilter):
            if new.from_s == of_day:
                self._new_at_l[new.stage] = self.passed_l
        away = self._now(Away, of_day)
        if away is not None and not self.reservoir.is_away and self.is_on(of_day * 1000):
            self.reservoir.take_away()
            self._probe_in_air = away.probe_in_air
        elif away is None and self.reservoir.is_away and self.is_on(of_day * 1000):
            self.reservoir.bring_back()
        for top_up in self._all(TopUp):
            if top_up.from_s == of_day:
                self.reservoir.top_up(top_up.litres, top_up.temp_c)
        for fault in self._all(SensorFault):
            if fault.how == "frozen" and fault.from_s == of_day:
                self._frozen[fault.point] = self._measured(fault.point, self._s * 1000)

    def _all(self, kind: type[_E]) -> list[_E]:
        return [e for e in self._by_kind.get(kind, ()) if isinstance(e, kind)]

    def _now(self, kind: type[_E], of_day: float) -> _E | None:
        """The event of this kind that goes on at this second of the day."""
        for event in self._by_kind.get(kind, ()):
            if event.from_s <= of_day < event.until_s and isinstance(event, kind):
                return event
        return None

    def _draw(self, of_day: int) -> Draw | None:
        draw = self._now(Draw, of_day)
        return draw if draw is not None and self.is_on(of_day * 1000) else None

    def _tripped(self, outlet: str, of_day: float) -> bool:
        return any(e.outlet == outlet and e.from_s <= of_day < e.until_s for e in self._all(Trip))

    def is_on(self, mono_ms: int) -> bool:
        """The machine has power: its outlet is live and it is switched on."""
        of_day = mono_ms / 1000.0 % DAY_S
        return self._now(PowerOff, of_day) is None and not self._tripped("machine", of_day)

    # -- surroundings ----------------------------------------------------------------------------------------------

    def room_c(self, at_s: float) -> float:
        """True temperature of the room, `at_s` seconds after the start."""
        hour = (self.day.start_s + at_s) / 3600.0 % 24.0
        table = self.day.room
        at = bisect_right(table, (hour, 1e9))
        h0, c0 = table[at - 1] if at else (table[-1][0] - 24.0, table[-1][1])
        h1, c1 = table[at] if at < len(table) else (table[0][0] + 24.0, table[0][1])
        return c0 + (c1 - c0) * (hour - h0) / (h1 - h0)

    def _static_kpa(self, of_day: int) -> float:
        sag = self._now(Sag, of_day)
        static = self.day.mains.static_kpa if sag is None else sag.static_kpa
        if self.day.mains.pump is not None:
            return self._tank_kpa
        return static + 2.0 * sin(2.0 * pi * (of_day + self.day.start_s) / 5_400.0)  # the building's slow breathing

    def _water(self, draw: Draw | None, of_day: int) -> Flowing:
        mains, static = self.day.mains, self._static_kpa(of_day)
        drip = self._now(happen.Drip, of_day)
        hole = self._now(happen.Hole, of_day)
        dripping = 0.0 if drip is None else drip.l_min
        if hole is not None:
            dripping += hole_l_min(static * 1000.0, hole.bore_mm / 1000.0, density_kg_m3(mains.water_c))
        if draw is None:
            still = at_rest(static)
            still.flow_l_min = dripping
            return still
        coarse, fine = self._law("coarse", of_day), self._law("fine", of_day)
        opening = draw.opening
        if mains.opens_s:
            moved = min(of_day - draw.from_s + 0.5, draw.until_s - of_day - 0.5) / mains.opens_s
            opening *= min(max(moved, 0.03), 1.0)
        flowing = drawing(mains, static, coarse, fine, mains.valve / opening**2)
        flowing.flow_l_min += dripping
        return flowing

    def _law(self, name: str, of_day: int) -> tuple[float, float]:
        """(a, b) of a stage's drop, as it stands now."""
        stage = self.day.coarse if name == "coarse" else self.day.fine
        a, b = stage.law(self.passed_l - self._new_at_l[name], self._true_water_c)
        torn = next((e for e in self._all(happen.Torn) if e.from_s <= of_day < e.until_s and e.stage == name), None)
        return (a, b) if torn is None else (a * (1.0 - torn.share), b * (1.0 - torn.share))

    def _water_c(self, at_s: int) -> float:
        """The mains' temperature by the season."""
        mains = self.day.mains
        if not mains.swing_k:
            return mains.water_c
        day = datetime.fromtimestamp(self.start_wall_ms / 1000.0 + at_s, UTC).timetuple().tm_yday
        return mains.water_c + mains.swing_k * cos(2.0 * pi * (day - mains.warmest_day) / 365.25)

    def _fill_tank(self, seconds: int) -> None:
        pump = self.day.mains.pump
        if pump is None:
            return
        litres = ((pump.l_min if self._pumping else 0.0) - self.water.flow_l_min) * seconds / 60.0
        self._tank_kpa = max(self._tank_kpa + litres / pump.l_per_kpa, 0.0)
        self._pumping = self._tank_kpa < pump.cut_out_kpa if self._pumping else self._tank_kpa <= pump.cut_in_kpa

    def _ring(self, less_l_min: float, is_drawing: bool) -> None:
        """A valve has moved: the column of water swings (a damped swing; amplitude by the change of flow)."""
        mains = self.day.mains
        if mains.hammer_kpa and is_drawing is not self._drawing:
            self._rings = (self._s, mains.hammer_kpa * less_l_min / STATED_L_MIN / (1.0 + mains.opens_s))
        self._drawing = is_drawing

    def _swing_kpa(self) -> float:
        since_s = self.mono_ms / 1000.0 - self._rings[0]
        if not 0.0 <= since_s < 8.0 * self.day.mains.hammer_dies_s:
            return 0.0
        return (
            self._rings[1]
            * exp(-since_s / self.day.mains.hammer_dies_s)
            * cos(2.0 * pi * self.day.mains.hammer_hz * since_s)
        )

    # -- sensors that are not what they were

    def _follow(self, of_day: int) -> None:
        """Slow sensors: what they show where a block begins. Within it the quantity counts as held."""
        lags = {e.point: e.s for e in self._all(happen.Lag) if e.from_s <= of_day < e.until_s}
        shown = {}
        for point, lag_s in lags.items():
            true = self._held(point)
            before, _ = self._lagging.get(point, (true, lag_s))
            shown[point] = (before + (true - before) * (1.0 - exp(-(self._s - self._followed_s) / lag_s)), lag_s)
        self._lagging, self._followed_s = shown, self._s

    def _held(self, point: str) -> float:
        """The truth as it counts within a block; a slow sensor doesn't follow a pressure's swing."""
        if point == "room":
            return self.room_c(self._s)
        water = {
            "supply": self.water.supply_kpa,
            "between": self.water.between_kpa,
            "filtered": self.water.filtered_kpa,
        }
        return water[point] if point in water else self.true(point)

    def _seen(self, point: str, at_ms: int) -> float:
        """What the sensor of a point is at: the truth, or where it has got to on its slow way there."""
        if point not in self._lagging:
            return self.true(point)
        true = self._held(point)
        before, lag_s = self._lagging[point]
        return before + (true - before) * (1.0 - exp(-max(at_ms / 1000.0 - self._followed_s, 0.0) / lag_s))

    # -- reading ---------------------------------------------------------------------------------------------------

    def read(self, point: str, mono_ms: int | None = None) -> float | Missing:
        """What a sensor says now, in the unit of its kind, or why it says nothing.

        Args:
            point: one of POINTS.
            mono_ms: the instant of the reading where it is not that of the last step_to().

        Raises:
            KeyError: no such point.
        """
        at_ms = self.mono_ms if mono_ms is None else mono_ms
        fault = self._fault(point, at_ms / 1000.0 % DAY_S)
        if fault is not None and even(self._streams.get(point, self.seed) ^ _FAULTS, at_ms // TICK_MS) < fault.share:
            if fault.how != "frozen":
                return Missing("", "no answer") if fault.how == "absent" else Missing(fault.how, "simulated fault")
            if point in self._frozen:
                return self._frozen[point]
        if point in METERS:
            return self._measured(point, at_ms)
        return 1.0 if self._contact(point, at_ms) else 0.0

    def _fault(self, point: str, of_day: float) -> SensorFault | None:
        for event in self._by_kind.get(SensorFault, ()):
            if event.from_s <= of_day < event.until_s and isinstance(event, SensorFault) and event.point == point:
                return event
        return None

    def true(self, point: str) -> float:
        """What the quantity truly is, without the meter's errors; in the unit of its kind."""
        water, reservoir = self.water, self.reservoir
        if point == "reservoir":
            return reservoir.probe_c
        if point == "room":
            return self.room_c(self.mono_ms / 1000.0)
        if point == "basin":
            return reservoir.basin_probe_c
        if point == "water":
            return self._true_water_c
        if point == "conductivity":
            return 310.0
        swing = self._swing_kpa() if self.day.mains.hammer_kpa else 0.0
        values = {
            "supply": water.supply_kpa + swing,
            "between": water.between_kpa + swing,
            "filtered": water.filtered_kpa + swing,
        }
        if point == "flow":
            return water.flow_l_min
        return values[point]

    def _measured(self, point: str, at_ms: int) -> float:
        meter, true = METERS[point], self._seen(point, at_ms)
        if point == "flow" and true < STALLS_L_MIN:
            return 0.0
        spread = meter.noise + meter.noise_share * abs(true)
        zero = meter.zero
        if self._faulty:
            of_day = at_ms / 1000.0 % DAY_S
            for fault in self._faulty:
                if fault.point == point and fault.from_s <= of_day < fault.until_s:
                    if isinstance(fault, happen.Noisy):
                        spread *= fault.times
                    else:
                        zero += fault.by + fault.per_h * (of_day - fault.from_s) / 3600.0
        seen = true + zero + spread * normal(self._streams[point], at_ms // TICK_MS)
        return round(round(seen / meter.resolution) * meter.resolution, 6)

    def _contact(self, point: str, at_ms: int) -> bool:
        of_day = at_ms / 1000.0 % DAY_S
        if point == "machine-outlet":
            return self._tripped("machine", of_day)
        if point == "heater-outlet":
            return self._tripped("heater", of_day)
        if point == "power":
            return self.is_on(at_ms)
        if point == "leak":
            return self._now(Leak, of_day) is not None
        raise KeyError(point)

    def line_state(self, mono_ms: int) -> str:
        """How the serial line of the pressures is: "ok", "garbled" or "unplugged"."""
        of_day = mono_ms / 1000.0 % DAY_S
        fault = self._now(LineFault, of_day)
        return "ok" if fault is None else fault.how
