"""When READY would be wrong, by what is truly so; and from when on a station could have known it.

Each kind of wrong has the time that a station is given for it (`ALLOWED_S`), and what would excuse it for good because no reading,
record or stamp could tell:

- cold: the basin would be below the label's minimum by more than 0.4 K (what uncalibrated probes are good for). Excused while the
  reservoir's probe drifts, the room's probe is off by less than can't be, or people read the thermometer. A probe that has stopped
  moving is to be doubted within an hour, a room probe on the vessel within half an hour. One that toggles between two neighbouring steps is
  told from that of a steady liquid only where the station, since its start, has seen the thermostat switch SWITCHED times before.
  Cold liquid below the probe of a vessel that isn't stirred shows to nobody who wasn't told of it.
- away, outlet, power: the cycle, the trip, the switched-off machine are readings; excused while their own point is falsified.
- pressure: the valve is shut, so that at rest the supply stands below the dynamic minimum; or the last true draw was truly out of its
  limits by more than 3 %. Excused while the supply's gauge (or for the flow the meter) lies and no true draw has shown that since.
- evidence: the taps or the meter have contradicted each other through two whole true draws (four for a dead meter). A station without a
  flow meter sees draws by its first and last tap: while either lies nothing tells of a draw. One without a tap between the filters
  can't tell them apart.
- silent: a point that decides has given nothing good for longer than its stale limit and a minute.
- hold, work, test, treatment, check, outlet_test, equipment, fill: facts of the order in which they were answered 200 as counting. A
  test counts for the true date on which it was done, never for one later than that of its recording; a failed one until a later
  one passes. Ages are excused while a trusted clock is wrong by less than sixty days: nothing tells a date.
- loss: entries of the journal that had been answered are gone, and nobody has recorded a release that names no hold since. What was
  lost is forgiven from then on: whoever records it says that nothing else stands.
- clock: the clock isn't trusted.
- by_eye: what was read of the thermometer can't be so, or is too cold.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from typing import Any, Final

from simulators.physics.world import World
from tests.bench.truth_day import DAY_MS, PSI, SHARE, TAPS, Composed, Ingredient

ALLOWED_S: Final = {
    "cold": 300, "away": 480, "outlet": 90, "power": 90, "pressure": 360, "flow": 360, "evidence": 120, "bypass": 120, "silent": 60,
    "hold": 60, "work": 60, "test": 60, "treatment": 60, "check": 60, "outlet_test": 60, "equipment": 60, "fill": 60, "clock": 60,
    "by_eye": 60, "loss": 60,
}  # fmt: skip
KINDS: Final = tuple(ALLOWED_S)
#: whose readings tell of it: while they are missing the time runs for `silent` alone
WITNESS: Final = {
    "cold": "reservoir", "away": "reservoir", "outlet": "heater-outlet", "power": "power", "pressure": "supply", "flow": "flow",
}  # fmt: skip
MARGIN_K: Final = 0.4
MARGIN: Final = 0.03
FROZEN_S: Final = 3600
ON_VESSEL_S: Final = 1800
LAYER_K: Final = 0.2  # a probe above colder liquid reads so much more than the whole is
SWITCHED: Final = 16
STALE_S: Final = 90
#: what people's records and the power came to
FACTS: Final = (
    "holds", "is_working", "tests", "powered_up_ms", "opened_ms", "treated_ms", "filled_ms", "check_failed", "outlet_failed",
    "equipment_changed",
)  # fmt: skip


class Truth:
    """What is so. Times of facts are true milliseconds since 1970."""

    def __init__(self, composed: Composed) -> None:
        self.composed = composed
        self.holds: list[tuple[str, str]] = []  # (name, by) of those that stand
        self.is_working = False
        self.tests: list[
            tuple[int, int, bool]
        ] = []  # in the order of recording: seq, when it was truly done, did it pass
        self.powered_up_ms = 0
        self.opened_ms = self.treated_ms = self.filled_ms = 0
        self.check_failed = self.outlet_failed = self.equipment_changed = False
        self.by_eye_bad = self.pours_unseen = False
        self.loss = False  # answered entries are gone, and nobody has looked since
        self._were: list[tuple[int, dict[str, Any]]] = []  # the facts once the entries up to this seq had been made
        self.draws: list[
            tuple[float, float, float]
        ] = []  # (end, supply kPa, flow) of the true draws that were long enough
        self._drawing: list[tuple[float, float, float]] = []
        self._was_on = True
        self.switched_s: list[float] = []  # when the thermostat switched, since the station's start
        self._was_heating = False
        self._heard_s: dict[str, float] = {}

    # -- facts

    def tested(self, seq: int, true_ms: int, passed: bool, recorded_ms: int) -> None:
        """A daily test was recorded, and answered as counting."""
        self.tests.append((seq, min(true_ms, recorded_ms), passed))

    def took_back(self, seq: int) -> None:
        """Who recorded a daily test said that it was none: the one before is the last again."""
        self.tests = [test for test in self.tests if test[0] != seq]

    @property
    def test(self) -> tuple[int, bool] | None:
        """The last daily test: when it was truly done, did it pass?"""
        return self.tests[-1][1:] if self.tests else None

    def released(self, name: str | None) -> None:
        """A release was answered as counting."""
        self.holds = [h for h in self.holds if name is not None and h[0] != name]
        self.loss = self.loss and name is not None

    def note(self, last_seq: int) -> None:
        """The facts stand so; further entries come after this one."""
        self._were.append((last_seq, {name: copy(getattr(self, name)) for name in FACTS}))

    def lost(self, after_seq: int) -> None:
        """What was answered after this entry is gone."""
        self.loss = True
        self._were = [were for were in self._were if were[0] <= after_seq]
        facts = self._were[-1][1] if self._were else {name: getattr(Truth(self.composed), name) for name in FACTS}
        for name, value in facts.items():
            setattr(self, name, copy(value))

    # -- the plant

    def see(self, world: World, at_s: float, true_ms: int) -> None:
        """Follow the water, the power and the thermostat."""
        if world.reservoir.heating is not self._was_heating:
            self._was_heating = world.reservoir.heating
            self.switched_s.append(at_s)
        flow = world.water.flow_l_min
        if flow > 1.2:
            self._drawing.append((at_s, world.water.supply_kpa, flow))
        elif self._drawing:
            steady = self._drawing[1:-1]
            if len(steady) >= 3:
                n = len(steady)
                self.draws.append((at_s, sum(k for _, k, _ in steady) / n, sum(q for _, _, q in steady) / n))
            self._drawing = []
        on = world.is_on(world.mono_ms)
        if on and not self._was_on:
            self.powered_up_ms = true_ms
        self._was_on = on

    def heard(self, point: str, at_s: float) -> None:
        """A point gave a number."""
        self._heard_s[point] = at_s

    def is_silent(self, point: str, at_s: float) -> bool:
        """It has given no number for longer than its stale limit."""
        return at_s - self._heard_s.get(point, -1e9) > STALE_S

    # -- judging

    def bad(
        self, world: World, at_s: float, true_ms: int, off_ms: int, trusted: bool, faults: list[Ingredient]
    ) -> Iterator[str]:
        """The kinds by which READY is wrong now, and could be known to be once it has lasted as allowed."""
        lying = {one.what for one in faults if one.kind in ("frozen", "last_bit", "offset", "drift", "power_on_value")}
        yield from self._plant(world, at_s, faults, lying)
        yield from self._water(world, at_s, faults, lying)
        yield from self._facts(true_ms, off_ms, trusted)
        if self.loss:
            yield "loss"
        decides = {
            "supply",
            "flow",
            "heater-outlet",
            "power",
            "reservoir",
        }  # the filters' drops stand from the last draw
        for point in decides - self.composed.station - ({"reservoir"} if self.composed.by_eye else set()):
            if self.is_silent(point, at_s):
                yield "silent"
                break

    def _plant(self, world: World, at_s: float, faults: list[Ingredient], lying: set[str]) -> Iterator[str]:
        vessel, room = world.reservoir, world.true("room")
        basin = vessel.liquid_c - SHARE * (vessel.liquid_c - room)
        if not vessel.is_away and basin < 35.0 - MARGIN_K and not self._cold_excused(world, at_s, faults):
            yield "cold"
        if vessel.is_away and not {"flow", "reservoir"} & lying and not self.composed.by_eye:
            yield "away"
        if world.read("heater-outlet"):
            yield "outlet"
        if not world.is_on(world.mono_ms):
            yield "power"
        if self.composed.by_eye and self.by_eye_bad:
            yield "by_eye"

    def _cold_excused(self, world: World, at_s: float, faults: list[Ingredient]) -> bool:
        above_k = world.reservoir.layers_k * world.reservoir.vessel.lower_share
        if self.composed.by_eye or (self.pours_unseen and above_k > LAYER_K):
            return True
        for one in faults:
            since_s = at_s - one.at_s
            if one.what == "reservoir" and one.kind in ("offset", "drift"):
                return True
            if one.what == "reservoir" and one.kind in ("frozen", "last_bit") and since_s < FROZEN_S:
                return True
            if one.what == "reservoir" and one.kind == "last_bit" and not self._swung(one.at_s):
                return True
            if one.kind == "room_on_vessel" and since_s < ON_VESSEL_S:
                return True
            if one.what == "room" and (one.kind == "frozen" or (one.kind == "offset" and abs(one.value) < 10.0)):
                return True
        return False

    def _swung(self, until_s: float) -> bool:
        return sum(at_s < until_s for at_s in self.switched_s) >= SWITCHED

    def _water(self, world: World, at_s: float, faults: list[Ingredient], lying: set[str]) -> Iterator[str]:
        at_rest = world.water.flow_l_min < 0.1
        if (
            at_rest
            and world.water.supply_kpa < 40 * PSI * (1.0 - MARGIN)
            and "supply" not in lying
            and not _swapped(faults, "supply")
        ):
            yield "pressure"
        elif self.draws:
            end_s, kpa, flow = self.draws[-1]
            meter_lies = any(f.kind in ("meter_dead", "ghost_flow", "cut", "gap") for f in faults) or "flow" in lying
            gauge_lies = "supply" in lying or _swapped(faults, "supply")
            meterless = "flow" in self.composed.station
            if meterless:
                meter_lies = _hidden(faults, lying)
            if at_s >= end_s and not meter_lies:
                if not 40 * PSI * (1.0 - MARGIN) <= kpa <= 60 * PSI * (1.0 + MARGIN) and not gauge_lies:
                    yield "pressure"
                if not meterless and not 7.57 * (1.0 - MARGIN) <= flow <= 11.36 * (1.0 + MARGIN):
                    yield "flow"
        for one in faults:
            through = sum(1 for end_s, _, _ in self.draws if end_s - 150 > one.at_s)
            if "flow" in self.composed.station and _hidden(faults, lying):
                continue
            if _contradicts(one, through, at_s):
                yield "evidence"
            elif one.kind == "bypass" and through >= 2 and "between" not in self.composed.station:
                yield "bypass"

    def _facts(self, true_ms: int, off_ms: int, trusted: bool) -> Iterator[str]:
        for kind, stands in (
            ("hold", bool(self.holds)), ("work", self.is_working), ("check", self.check_failed), ("outlet_test", self.outlet_failed),
            ("equipment", self.equipment_changed), ("treatment", self.treated_ms < self.opened_ms), ("clock", not trusted),
        ):  # fmt: skip
            if stands:
                yield kind
        dateless = trusted and 300_000 < abs(off_ms) < 60 * DAY_MS
        test = self.test
        if (
            test is None
            or not test[1]
            or test[0] < self.powered_up_ms
            or (not dateless and test[0] // DAY_MS != true_ms // DAY_MS)
        ):
            yield "test"  # Dublin's winter time is UTC
        if not dateless and true_ms - self.filled_ms > 14 * DAY_MS:
            yield "fill"


def _contradicts(one: Ingredient, through: int, at_s: float) -> bool:
    """Has this fault shown itself against the other points, in so many whole draws since it began?"""
    if one.kind in ("frozen", "last_bit"):
        return one.what in TAPS and through >= 2
    if one.kind == "ghost_flow":
        return at_s - one.at_s > 600
    if one.kind == "swapped" and not set(one.what.split()) <= set(TAPS):
        return False
    return through >= {"swapped": 2, "meter_dead": 4}.get(one.kind, 1 << 30)


def _hidden(faults: list[Ingredient], lying: set[str]) -> bool:
    """Does nothing tell a station without a meter that water is drawn?"""
    ends = {"supply", "filtered"}
    silent = {f.what for f in faults if f.kind in ("cut", "bad_readings", "gap")}
    return bool(ends & (lying | silent)) or "all" in silent or any(_swapped(faults, end) for end in ends)


def _swapped(faults: list[Ingredient], point: str) -> bool:
    return any(one.kind == "swapped" and point in one.what for one in faults)


def said(conditions: list[dict[str, Any]], kind: str) -> str:
    """What the verdict says of the condition that a kind is about."""
    about = {
        "cold": "reservoir", "away": "free", "outlet": "outlet:heater", "power": "free", "pressure": "pressure", "flow": "flow",
        "evidence": "pressure", "bypass": "filter:", "silent": "sensors", "hold": "no_hold", "work": "free", "test": "daily_test",
        "treatment": "water_path_treatment", "check": "disinfectant", "outlet_test": "outlet:heater", "equipment": "daily_test",
        "fill": "disinfectant", "clock": "clock", "by_eye": "reservoir",
        "loss": "no_hold",
    }[kind]  # fmt: skip
    return "; ".join(f"{c['id']}: {c['text']}" for c in conditions if c["id"].startswith(about))
