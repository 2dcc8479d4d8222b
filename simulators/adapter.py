"""The `simulated` way of reading sensors: the points of a bus are those of a simulated station, by their roles.

All buses of one process that name the same scenario and seed, on the same boot of a clock, see the same world.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any, Final

from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.errors import BusLost, UnusableInput
from edge.domain.readings import KIND_OF, UNIT_OF, Kind, Role
from simulators.physics.world import Missing, World

#: a clock at speed 1 that is older than this was not started for the scenario: the world then begins when it is first used
YOUNG_MS: Final = 3_600_000

#: with a clock that runs fast, what these points show is noted each so often on the way to the next read
SLOW_POINTS: Final = ("reservoir",)
BETWEEN_MS: Final = 2_000
MOST_BETWEEN: Final = 200

_POINT_OF: Final[Mapping[Role, str]] = {
    Role.RESERVOIR_TEMPERATURE: "reservoir",
    Role.BASIN_TEMPERATURE: "basin",
    Role.ROOM_TEMPERATURE: "room",
    Role.SUPPLY_TEMPERATURE: "water",
    Role.SUPPLY_PRESSURE: "supply",
    Role.BETWEEN_FILTERS_PRESSURE: "between",
    Role.FILTERED_PRESSURE: "filtered",
    Role.SUPPLY_FLOW: "flow",
    Role.MACHINE_POWER: "power",
    Role.LEAK: "leak",
    Role.FILTERED_CONDUCTIVITY: "conductivity",
}


class SharedWorld:
    """A world and the clock it runs on; any thread may read it."""

    def __init__(self, world: World, clock: Clock) -> None:
        self.world = world
        self._clock = clock
        now_ms = clock.mono_ms()
        self._zero_ms = now_ms if clock.speed == 1.0 and now_ms > YOUNG_MS else 0
        self._lock = threading.Lock()
        self._reached_ms = now_ms
        self._between: deque[tuple[int, dict[str, float | Missing]]] = deque(maxlen=MOST_BETWEEN)

    def read(self, points: Sequence[str]) -> tuple[int, list[float | Missing]]:
        """The clock's time, and what each point (of simulators.physics.world.POINTS) says at that instant."""
        with self._lock:
            mono_ms = self._clock.mono_ms()
            if self._clock.speed > 1.0:
                self._go_by_steps(mono_ms)
            self.world.step_to(mono_ms - self._zero_ms)
            self._reached_ms = mono_ms
            return mono_ms, [self.world.read(point) for point in points]

    def _go_by_steps(self, mono_ms: int) -> None:
        """A clock that runs fast skips over what a probe would have shown: it is noted on the way."""
        first = self._reached_ms // BETWEEN_MS + 1
        for step in range(max(first, mono_ms // BETWEEN_MS - MOST_BETWEEN), -(-mono_ms // BETWEEN_MS)):
            self.world.step_to(step * BETWEEN_MS - self._zero_ms)
            self._between.append((step * BETWEEN_MS, {point: self.world.read(point) for point in SLOW_POINTS}))

    def between(self, point: str, from_ms: int, to_ms: int) -> list[tuple[int, float | Missing]]:
        """What a slow point showed on the way, after `from_ms` and before `to_ms`."""
        with self._lock:
            return [
                (at_ms, heard[point]) for at_ms, heard in self._between if from_ms < at_ms < to_ms and point in heard
            ]

    def line_state(self) -> str:
        """How the serial line of the pressures is now."""
        return self.world.line_state(self._clock.mono_ms() - self._zero_ms)


_WORLDS: dict[tuple[str, int, str], SharedWorld] = {}
_WORLDS_LOCK = threading.Lock()


def shared_world(scenario: str, seed: int, clock: Clock) -> SharedWorld:
    """The one world of this process for a scenario, a seed and a boot of the clock.

    Raises:
        UnusableInput: there is no such scenario.
    """
    key = (scenario, seed, clock.boot)
    with _WORLDS_LOCK:
        found = _WORLDS.get(key)
        if found is None:
            found = _WORLDS[key] = SharedWorld(World(scenario, seed), clock)
        return found


def world_point(role: Role, of: str | None) -> str:
    """Which point of the world stands for a role. An outlet is the heater's where `of` says so, else the machine's.

    >>> world_point(Role.OUTLET_PROTECTION, "heater")
    'heater-outlet'
    """
    if role is Role.OUTLET_PROTECTION:
        return "heater-outlet" if of == "heater" else "machine-outlet"
    return _POINT_OF[role]


class Simulated(Adapter):
    """Reads a shared world. Bus options: `scenario` (default "cold-morning"), `seed` (default 1). Points need id and role only."""

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._where = f"bus {bus.get('id', 'simulated')}"
        self._scenario, self._seed = str(bus.get("scenario", "cold-morning")), int(bus.get("seed", 1))
        self._clock = clock
        self._shared: SharedWorld | None = None
        self._read_ms: dict[str, int] = {}
        self._stands_for: dict[str, str] = {}
        self._unit: dict[str, str] = {}
        for point, table in points.items():
            role = Role(table["role"])
            kind = KIND_OF[role]
            self._stands_for[point] = world_point(role, table.get("of"))
            self._unit[point] = "" if kind is Kind.CONTACT else UNIT_OF[kind]

    def open(self) -> None:
        """Join the world. Raises BusLost where there is no such scenario."""
        try:
            self._shared = shared_world(self._scenario, self._seed, self._clock)
        except UnusableInput as exc:
            raise BusLost(exc.what, where=self._where, expected=exc.expected, do=exc.do) from exc

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """A Raw for each due point, and what a slow one showed since the last read. Raises BusLost before open and after close."""
        if self._shared is None:
            raise BusLost(
                "it is not open", where=self._where, expected="open() first", do="It is tried again by itself"
            )
        mono_ms, heard = self._shared.read([self._stands_for[point] for point in due])
        answers: list[Raw] = []
        for point, value in zip(due, heard, strict=True):
            before_ms = self._read_ms.get(point, mono_ms)
            for at_ms, earlier in self._shared.between(self._stands_for[point], before_ms, mono_ms):
                answers.append(self._raw(point, at_ms, earlier))
            answers.append(self._raw(point, mono_ms, value))
            self._read_ms[point] = mono_ms
        return answers

    def _raw(self, point: str, mono_ms: int, value: float | Missing) -> Raw:
        if isinstance(value, Missing):
            return Raw(point, mono_ms, None, self._unit[point], value.reason or "no_answer", value.detail)
        return Raw(point, mono_ms, value, self._unit[point])

    def close(self) -> None:
        """Leave the world; it goes on for others."""
        self._shared = None
