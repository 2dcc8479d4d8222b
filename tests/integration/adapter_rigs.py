"""A bus of each kind with a device that misbehaves on request, all read by one acquisition.

Each rig has a point `subject`, which the device's misbehaviour is about, and mostly a `neighbour` on the same bus, which it is
not about. Values are constants, so that a wrong one can't pass for another. Names are made one bus's own by `rig:point`.
"""

from __future__ import annotations

import errno
import itertools
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import serial

import adapters
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.domain.contracts import Raw
from edge.domain.errors import BusLost, SensorSilent
from edge.domain.readings import KIND_OF, Role, Sample
from edge.domain.settings import Point
from simulators import adapter as simulated
from simulators.adapter import SharedWorld
from simulators.devices.far_end import FarEnd
from simulators.devices.files_fuse import FuseFiles
from simulators.devices.hardware import platinum_ohm
from simulators.devices.lines import device_lines
from simulators.devices.modbus import ModbusSlaves, register
from simulators.devices.trees import IioChannel, IioTree, OneWireTree
from simulators.physics.events import DAY_S, Day, Draw
from simulators.physics.world import Missing, World

PERIOD_MS = 100
LIMIT_MS = 300
TRUE_C, BESIDE_C = 39.0, 21.5
_FIRST, _SECOND, _STRANGER = "28-00000a1b2c3d", "28-00000a1b2c4e", "28-0000cafe0001"
_ROOM, _OUTLET, _FLOW = Role.ROOM_TEMPERATURE, Role.OUTLET_PROTECTION, Role.SUPPLY_FLOW


class Rig:
    """One bus and its device. `values` is what each of its points says while all is well; `slack` how far off it may be."""

    kind = ""
    options: dict[str, Any] = {}
    slack = 0.05

    def __init__(self, name: str) -> None:
        self.name = name
        self.id = name.replace(", ", "-")
        self.tables: dict[str, dict[str, Any]] = {}
        self.roles: dict[str, Role] = {}
        self.values: dict[str, float] = {}
        self.time_limit_ms = LIMIT_MS

    def add(self, point: str, value: float, role: Role = _ROOM, **table: Any) -> None:
        self.roles[point], self.values[point] = role, value
        self.tables[point] = {"role": str(role), "every": f"{PERIOD_MS} ms", **table}

    @property
    def points(self) -> dict[str, dict[str, Any]]:
        return {f"{self.name}:{point}": table for point, table in self.tables.items()}

    def settings(self) -> dict[str, Point]:
        return {
            f"{self.name}:{point}": Point(
                f"{self.name}:{point}", role, KIND_OF[role], PERIOD_MS, 5 * PERIOD_MS, -60.0, 900.0
            )
            for point, role in self.roles.items()
        }

    def is_right(self, point: str, value: float | None) -> bool:
        true = self.values[point]
        return value is not None and abs(value - true) <= self.slack * max(1.0, abs(true))

    def start(self) -> None:
        """Nothing to start."""

    def stop(self) -> None:
        """Nothing to stop."""

    def spoil(self, how: str, point: str) -> None:
        raise NotImplementedError

    def mend(self) -> None:
        raise NotImplementedError

    def values_while(self, how: str) -> dict[str, float]:
        """What points say that are read all the same, where that is another value than before."""
        return {}


class Wire(Rig):
    kind = "onewire"

    def __init__(self, name: str, folder: Path, files: FuseFiles | None = None) -> None:
        super().__init__(name)
        shows = "w1_slave" if files is None else "hwmon"
        ids = {_FIRST: lambda: TRUE_C, _SECOND: lambda: BESIDE_C}
        self.tree = OneWireTree(folder, ids, files=files, shows=shows)
        self.options = {"root": str(folder), "time_limit": f"{LIMIT_MS} ms"}
        self.add("subject", TRUE_C, address=_FIRST)
        self.add("neighbour", BESIDE_C, address=_SECOND)

    def start(self) -> None:
        self.tree.start()

    def stop(self) -> None:
        self.tree.stop()

    def spoil(self, how: str, point: str) -> None:
        if how == "unplugged":
            self.tree.unplug_master()
        elif how == "stranger":
            self.tree.show(_FIRST, "vanished")
            self.tree.plug(_STRANGER, lambda: 36.25)
        elif hasattr(errno, how):
            self.tree.show(_FIRST, "error", getattr(errno, how))
        else:
            self.tree.show(_FIRST, how)

    def mend(self) -> None:
        self.tree.unplug_master(is_there=True)
        self.tree.show(_FIRST, "good")


class Converter(Rig):
    kind = "iio"

    def __init__(self, name: str, folder: Path, files: FuseFiles | None = None) -> None:
        super().__init__(name)
        self.element_ohm, self.loop_ohm = platinum_ohm(TRUE_C), 2200.0
        channels = {"temp0": IioChannel(lambda: TRUE_C, scale=62.5), "temp1": IioChannel(lambda: BESIDE_C, scale=62.5)}
        channels["resistance0"] = IioChannel(lambda: self.element_ohm, scale=0.05, signed=False)
        channels["resistance1"] = IioChannel(lambda: self.loop_ohm, scale=1.0, bits=24, signed=False)
        self.tree = IioTree(folder, channels, files=files)
        self.options = {"device": self.tree.name, "root": str(folder), "time_limit": f"{LIMIT_MS} ms"}
        self.add("subject", TRUE_C, channel="temp0")
        self.add("neighbour", BESIDE_C, channel="temp1")
        if files is None:
            self.add("element", TRUE_C, channel="resistance0", rtd={"element": "Pt1000", "wires": 4})
            supervised = {"normal": "2.2 kohm", "tripped": "22 kohm"}
            self.add("loop", 0.0, _OUTLET, channel="resistance1", supervised=supervised)

    def start(self) -> None:
        self.tree.start()

    def stop(self) -> None:
        self.tree.stop()

    def spoil(self, how: str, point: str) -> None:
        if point == "element":
            self.element_ohm = float(how.removesuffix(" ohm"))
        elif point == "loop":
            self.loop_ohm = float(how.removesuffix(" ohm"))
        elif how == "unplugged":
            self.tree.unplug()
        elif how == "another":
            self.tree.name = "mcp3208"
        elif hasattr(errno, how):
            self.tree.show("temp0", "error", getattr(errno, how))
        else:
            self.tree.show("temp0", how)

    def mend(self) -> None:
        self.element_ohm, self.loop_ohm, self.tree.name = platinum_ohm(TRUE_C), 2200.0, "ads1115"
        self.tree.show("temp0", "good")
        self.tree.plug()


class Held:
    """Another program that takes a port while its holder is away."""

    def __init__(self, port: str) -> None:
        self._port = port
        self._serial: serial.Serial | None = None

    def take(self) -> None:
        deadline_s = time.monotonic() + 60.0
        while self._serial is None:
            try:
                self._serial = serial.Serial(self._port, exclusive=True)
            except serial.SerialException:
                assert time.monotonic() < deadline_s
                time.sleep(0.0005)

    def free(self) -> None:
        if self._serial is not None:
            self._serial.close()
            self._serial = None


class Panel(Rig):
    kind = "modbus-rtu"

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.mend_numbers()
        bank = {
            0: lambda: register(lambda: self.celsius, "float32", self.order)(),
            10: register(lambda: self.count, "int16"),
            20: register(lambda: self.ma, "int16", scale=0.01),
        }
        self.units = ModbusSlaves({1: {"input": bank}, 5: {"input": {0: register(lambda: BESIDE_C, "float32")}}})
        self.units.drip_s = 0.12  # slower than a frame may be
        self.units.late_s = 0.7
        self._held = Held(self.units.port)
        self.options = {"port": self.units.port, "baud": 19200, "parity": "none", "time_limit": f"{LIMIT_MS} ms"}

        def at(address: int, width: str, unit: str, **more: Any) -> dict[str, Any]:
            return {"kind": "input", "at": address, "type": width, "unit": unit, **more}

        self.add("subject", TRUE_C, unit_id=1, register=at(0, "float32", "degC", order="ABCD"))
        self.add("count", 40.0, unit_id=1, register=at(10, "int16", "degC", scale=0.1))
        loop = {"from": "4 mA", "to": "20 mA", "low": "0 degC", "high": "100 degC"}
        self.add("loop", 50.0, unit_id=1, register=at(20, "int16", "mA", scale=0.01), loop=loop)
        self.add("neighbour", BESIDE_C, unit_id=5, register=at(0, "float32", "degC", order="ABCD"))

    def mend_numbers(self) -> None:
        self.celsius, self.order, self.count, self.ma = TRUE_C, "ABCD", 400.0, 12.0

    def start(self) -> None:
        self.units.start()

    def stop(self) -> None:
        self.units.stop()

    def spoil(self, how: str, point: str) -> None:
        if how == "nan":
            self.celsius = float("nan")
        elif how == "swapped":
            self.order = "CDAB"
        elif point == "count":
            self.count = float(how)
        elif point == "loop":
            self.ma = float(how.removesuffix(" mA"))
        elif how in ("unplugged", "held"):
            self.units.unplug()
            if how == "held":
                self.units.replug()
                self._held.take()
        else:
            self.units.misbehave(how, 1)

    def mend(self) -> None:
        self.mend_numbers()
        self._held.free()
        self.units.behave()
        self.units.replug()


class Lines(Rig):
    kind = "gpio"
    _chips = itertools.count()

    def __init__(self, name: str, clock: RealClock) -> None:
        super().__init__(name)
        path = f"matrix-board-{next(self._chips)}"
        world = World.of_day(Day(0, 39.5, ((0.0, 20.0),), (Draw(0, DAY_S),)))
        self.device = device_lines(path, SharedWorld(world, clock), clock)
        self.options = {"chip": path, "lines": "simulated"}
        meter = {"k_factor": "450 /L", "maximum_flow": "30 L/min"}
        world.step_to(1000)
        self.add("subject", world.water.flow_l_min, _FLOW, line=17, pulses=meter)
        self.add("neighbour", 0.0, _OUTLET, line=22, tripped_when="open")
        self._over = threading.Event()

    def spoil(self, how: str, point: str) -> None:
        self._over.clear()
        if how == "bounces":
            self.device.bounce(17, 3)
        elif how == "noise":
            self.device.bounce(17, 14)  # 10 ms of them: the wheel's next closing is 14 ms away
        elif how == "edges lost":
            threading.Thread(target=self._lose, daemon=True).start()
        elif how == "cut":
            self.device.cut(17)
        elif how == "unplugged":
            self.device.unplug()
        else:
            if how == "held":
                self.device.hold(17, "another program")
            elif how == "no line":
                self.device.lack(17)
            self.device.break_line(17, errno.EIO)  # our hold on it ends
            if how != "error":
                self._over.wait(3 * PERIOD_MS / 1000)
                self.device.break_line(17, None)

    def _lose(self) -> None:
        while not self._over.wait(0.05):
            self.device.lose(17, 1)

    def values_while(self, how: str) -> dict[str, float]:
        return {"subject": 0.0} if how == "cut" else {}

    def mend(self) -> None:
        self._over.set()
        self.device.bounce(17, 0)
        self.device.cut(17, False)
        self.device.free(17)
        self.device.lack(17, False)
        self.device.break_line(17, None)
        self.device.replug()


class Text(Rig):
    kind = "serial-line"

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.line = FarEnd("transmitter")
        self._how = ""
        self._over = threading.Event()
        self._held = Held(self.line.port)
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self.options = {"port": self.line.port, "silence": f"{LIMIT_MS} ms"}
        self.add("subject", TRUE_C, text={"pattern": r"T=(?P<value>[^\s]+)", "unit": "degC"})
        self.add("neighbour", BESIDE_C, text={"pattern": r"R=(?P<value>[^\s]+)", "unit": "degC"})

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        self._thread.join(2.0)
        self.line.done()

    def _talk(self) -> None:
        while not self._over.wait(0.05):
            for piece in self._pieces(self._how):
                self.line.write(piece)

    def _pieces(self, how: str) -> Iterator[bytes]:
        beside = f"R={BESIDE_C}\r\n".encode()
        right = f"T={TRUE_C}\r\n".encode()
        if how in ("", "unplugged", "held"):
            yield right + beside
        elif how == "silent":
            return
        elif how == "rubbish":
            yield b"\xaa\x65\xd1T=\xb9\xf1\x30 R=\xff\xfe\x0a"
        elif how == "endless":
            yield b"T=39.5 " * 8
        elif how == "cut":
            yield right[:4]
        elif how == "drip":
            for octet in right:
                yield bytes([octet])
                self._over.wait(0.005)
            yield beside
        else:
            yield how.encode("latin-1") + b"\r\n" + beside

    def spoil(self, how: str, point: str) -> None:
        self._how = how
        if how in ("unplugged", "held"):
            self.line.unplug()
            if how == "held":
                self.line.replug()
                self._held.take()

    def mend(self) -> None:
        self._how = ""
        self._held.free()
        self.line.replug()


class _OfWords(World):
    """A world whose reservoir says what it is told to."""

    says: float | Missing = TRUE_C

    def read(self, point: str, mono_ms: int | None = None) -> float | Missing:
        return self.says if point == "reservoir" else BESIDE_C


class Bench(Rig):
    kind = "simulated"

    def __init__(self, name: str, clock: RealClock) -> None:
        super().__init__(name)
        self.world = _OfWords("busy-day")
        self._key = ("busy-day", 4711, clock.boot)
        simulated._WORLDS[self._key] = SharedWorld(self.world, clock)
        self.options = {"scenario": "busy-day", "seed": 4711}
        self.add("subject", TRUE_C, Role.RESERVOIR_TEMPERATURE)
        self.add("neighbour", BESIDE_C)

    def stop(self) -> None:
        simulated._WORLDS.pop(self._key, None)

    def spoil(self, how: str, point: str) -> None:
        self.world.says = Missing(how, "as the test says")

    def mend(self) -> None:
        self.world.says = TRUE_C


class Anything(Rig):
    """An adapter that can do anything wrong itself."""

    kind = "any"

    def __init__(self, name: str, clock: RealClock) -> None:
        super().__init__(name)
        self.how, self._clock = "", clock
        self._free = threading.Event()
        self.add("subject", TRUE_C)

    def __call__(self, *_: Any) -> Anything:
        return self

    def open(self) -> None:
        if self.how == "lost":
            self._lose()

    def close(self) -> None:
        """Nothing is held."""

    def changed(self) -> bool:
        return self.how != "lost"

    def _lose(self) -> None:
        raise BusLost("it is gone", where=f"bus {self.id}", expected="a test", do="Wait")

    def read(self, due: Any) -> Any:
        how, mono_ms = self.how, self._clock.mono_ms()
        if how == "raises":
            raise RuntimeError("as the test says")
        if how == "odd":
            return [3.14]
        if how == "silent":
            raise SensorSilent("nothing comes", where=f"bus {self.id}", expected="a test", do="Wait")
        if how == "lost":
            self._lose()
        if how == "hangs":
            self._free.wait(30.0)
        return [Raw(f"{self.name}:subject", mono_ms + (60_000 if how == "ahead" else 0), TRUE_C, "degC")]

    def spoil(self, how: str, point: str) -> None:
        self._free.clear()
        self.how = how

    def mend(self) -> None:
        self.how = ""
        self._free.set()


def rigs(folder: Path, clock: RealClock, with_fuse: bool) -> list[Rig]:
    """One of each kind; and with a file system of our own, those that need one."""
    made: list[Rig] = [
        Wire("onewire", folder / "w1"), Converter("iio", folder / "iio"), Panel("modbus-rtu"), Lines("gpio", clock),
        Text("serial-line"), Bench("simulated", clock), Anything("any", clock),
    ]  # fmt: skip
    if with_fuse:
        for name, of in (("onewire, errnos", Wire), ("iio, errnos", Converter)):
            place = folder / name.replace(", ", "-")
            made.append(of(name, place, FuseFiles(place)))
    return made


class Station:
    """All rigs under one acquisition, everything that it said, and how old the points of each bus became."""

    def __init__(self, folder: Path, with_fuse: bool) -> None:
        self.clock = RealClock()
        self.rigs = {rig.name: rig for rig in rigs(folder, self.clock, with_fuse)}
        self.samples: dict[str, list[Sample]] = {}
        self.told: list[tuple[str, str]] = []
        self._lock = threading.Lock()
        settings = {name: point for rig in self.rigs.values() for name, point in rig.settings().items()}
        self.acquisition = Acquisition(
            list(self.rigs.values()), settings, self.clock, self._take,
            lambda bus, what, why, now: self.told.append((bus, what)), self._find,
        )  # fmt: skip
        self.points = settings
        self._over = threading.Event()
        self._watching = threading.Thread(target=self._watch, daemon=True)
        self._oldest_ms: dict[str, int] = {}

    def _find(self, kind: str) -> Any:
        return self.rigs["any"] if kind == "any" else adapters.find(kind)

    def _take(self, samples: Any) -> None:
        with self._lock:
            for sample in samples:
                self.samples.setdefault(sample.point, []).append(sample)

    def _watch(self) -> None:
        """Look at the ages all the time."""
        while not self._over.wait(0.01):
            ages = self.acquisition.ages()
            with self._lock:
                for point, age_ms in ages.items():
                    self._oldest_ms[point] = max(self._oldest_ms.get(point, 0), age_ms or 0)

    def watch_anew(self) -> None:
        with self._lock:
            self._oldest_ms = {}

    def oldest_ms(self, but: str) -> dict[str, int]:
        """Greatest age of each point on other buses than this rig's since watch_anew()."""
        with self._lock:
            return {name: age for name, age in self._oldest_ms.items() if not name.startswith(f"{but}:")}

    def of(self, rig: str, point: str, since_ms: int = 0) -> list[Sample]:
        with self._lock:
            return [sample for sample in self.samples.get(f"{rig}:{point}", ()) if sample.mono_ms >= since_ms]

    def until(self, true: Callable[[], Any], what: Any, timeout_s: float = 60.0) -> Any:
        deadline_s = time.monotonic() + timeout_s
        while not (found := true()):
            assert time.monotonic() < deadline_s, what() if callable(what) else what
            time.sleep(0.01)
        return found

    def is_good(self, rig: str, point: str, since_ms: int) -> bool:
        """Two fresh readings of the point, and the newest is right."""
        found = self.of(rig, point, since_ms)
        last = found[-1] if len(found) > 1 else None
        return last is not None and last.reason is None and self.rigs[rig].is_right(point, last.value)

    def __enter__(self) -> Station:
        for rig in self.rigs.values():
            rig.start()
        self.acquisition.start()
        self._watching.start()
        return self

    def __exit__(self, *_: Any) -> None:
        for rig in self.rigs.values():
            rig.mend()
        self._over.set()
        self._watching.join(2.0)
        assert self.acquisition.stop(3.0)
        for rig in self.rigs.values():
            rig.stop()
        assert not [thread for thread in threading.enumerate() if thread.name.startswith("bus ")], os.getpid()
