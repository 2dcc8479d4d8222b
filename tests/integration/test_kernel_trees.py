"""1-Wire and industrial I/O through acquisition, on trees that misbehave while they are read.

What is wrong with one probe or channel stays there: it gets its reason, other buses keep their periods, and it is good again
without a restart as soon as it is right. Errors that plain files can't give, and reads that really hang in the kernel, come
from a file system of our own.
"""

from __future__ import annotations

import errno
import itertools
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from adapters.iio import Iio
from adapters.onewire import OneWire
from edge import config
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.domain.readings import KIND_OF, REASONS, Quality, Role
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Point
from simulators.devices.files_fuse import FuseFiles, why_not
from simulators.devices.trees import IioChannel, IioTree, OneWireTree
from tests.yardstick import Yardstick

needs_fuse = pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")

RESERVOIR, BASIN, ROOM, WATER = "28-00000a1b2c3d", "28-00000a1b2c5f", "28-00000a1b2c4e", "28-00000a1b2c60"
PERIOD_MS = 100
LIMIT_MS = 400


@dataclass
class Plan:
    id: str
    kind: str
    options: dict[str, Any]
    points: dict[str, dict[str, Any]]
    time_limit_ms: int = LIMIT_MS
    is_watched: bool = field(default=True)


def one_wire(bus, root, limit_ms=LIMIT_MS, **points):
    tables = {name: {"id": name, "address": address, "every": f"{PERIOD_MS} ms"} for name, address in points.items()}
    return Plan(bus, "onewire", {"root": str(root), "time_limit": f"{limit_ms} ms"}, tables, limit_ms)


def converter(bus, tree, limit_ms=LIMIT_MS, **points):
    tables = {name: {"id": name, "channel": channel} for name, channel in points.items()}
    options = {"device": tree.name, "root": str(tree.root), "time_limit": f"{limit_ms} ms"}
    return Plan(bus, "iio", options, tables, limit_ms)


class Bench:
    """An acquisition over some buses, all of it temperatures, and everything that it said."""

    def __init__(self, *plans):
        self.samples, self.told, self._lock = [], [], threading.Lock()
        role = Role.ROOM_TEMPERATURE
        self.points = {
            name: Point(name, role, KIND_OF[role], PERIOD_MS, 5 * PERIOD_MS, -60.0, 150.0)
            for plan in plans
            for name in plan.points
        }
        self.yardstick = Yardstick()
        self.acquisition = Acquisition(
            plans, self.points, RealClock(), self._take, lambda bus, what, why, now: self.told.append((bus, what, why))
        )

    def _take(self, samples):
        with self._lock:
            self.samples.extend(samples)

    def of(self, point):
        with self._lock:
            return [sample for sample in self.samples if sample.point == point]

    def says(self, point, value, reason, timeout_s=60.0):
        """Waits until the newest sample of a point says this."""
        deadline_s = time.monotonic() + timeout_s
        while not ((last := self.of(point)[-1:]) and (last[0].value, last[0].reason) == (value, reason)):
            assert time.monotonic() < deadline_s, (point, value, reason, last, self.told)
            time.sleep(0.01)
        return last[0]

    def was_always(self, point, value):
        """No sample said anything else, but "no answer" where the machine held its bus up for most of the time limit."""
        limit_s = LIMIT_MS / 1000
        held_up = self.yardstick.late_s(limit_s) > limit_s / 2
        others = {(sample.value, sample.reason) for sample in self.of(point) if sample.value != value}
        assert others <= ({(None, "no_answer")} if held_up else set()), self.told

    def kept_its_period(self, *names):
        """No gap of two periods, but for what a busy machine does to any thread now and then."""
        deadline_s = time.monotonic() + 60.0
        while min(len(self.of(name)) for name in names) < 12:
            assert time.monotonic() < deadline_s
            time.sleep(0.02)
        limit_ms = 2 * PERIOD_MS + 1000 * self.yardstick.late_s(2 * PERIOD_MS / 1000)
        for name in names:
            stamps = [sample.mono_ms for sample in self.of(name)]
            gaps = sorted(later - earlier for earlier, later in itertools.pairwise(stamps))
            assert gaps[len(gaps) * 9 // 10] < limit_ms, (name, gaps[-5:])

    def __enter__(self):
        self.yardstick.__enter__()
        self.acquisition.start()
        return self

    def __exit__(self, *_):
        self.acquisition.stop(2.0)
        self.yardstick.__exit__(None, None, None)


@contextmanager
def running(*trees) -> Iterator[None]:
    for tree in trees:
        tree.start()
    try:
        yield
    finally:
        for tree in trees:
            tree.stop()


@pytest.fixture(autouse=True)
def quick_back_off(monkeypatch):
    monkeypatch.setattr("edge.acquisition.worker.FIRST_BACK_OFF_S", 0.05)


@pytest.fixture
def beside(tmp_path):
    """Two buses that have nothing to do with the one under test, and what shows that they go on."""
    wire = OneWireTree(tmp_path / "beside-wire", {ROOM: lambda: 21.5})
    chip = IioTree(tmp_path / "beside-chip", {"temp": IioChannel(lambda: 23.125, scale=62.5)}, name="beside")
    with running(wire, chip):
        yield one_wire("w2", wire.root, room=ROOM), converter("a2", chip, board="temp")


# -- plain files

PROBE_STATES = {
    "power_on": "power_on_value", "under_supplied": "under_supplied", "crc": "no_valid_answer", "crc_no": "crc", "cut": "no_valid_answer",
    "shorted": "shorted", "one_line": "garbled", "no_t": "garbled", "no_digits": "garbled", "nul": "garbled", "garbage": "garbled",
    "huge": "garbled", "io_error": "io_error", "hangs": "no_answer", "no_files": "device_gone", "vanished": "device_gone",
    "phantoms": "shorted",
}  # fmt: skip
CHANNEL_STATES = {
    "lower_stop": "lower_stop", "upper_stop": "upper_stop", "empty": "empty_answer", "garbage": "garbled", "nul": "garbled",
    "huge": "garbled", "io_error": "io_error", "hangs": "no_answer", "no_files": "device_gone",
}  # fmt: skip


def test_every_misbehaviour_of_a_probe_has_its_reason_and_ends_without_a_restart(tmp_path, beside):
    tree = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0, BASIN: lambda: 35.5})
    with running(tree), Bench(one_wire("w1", tree.root, reservoir=RESERVOIR, basin=BASIN), *beside) as bench:
        watch = PointMonitor(bench.points["reservoir"], 0)
        for state, reason in PROBE_STATES.items():
            bench.says("reservoir", 39.0, None)
            tree.show(RESERVOIR, state)
            reading = watch.hear(bench.says("reservoir", None, reason))
            assert (reading.quality, reading.reason, reading.value) == (Quality.BAD, reason, None)
            assert REASONS[reason].advice
            bench.says("basin", 35.5, None)
            tree.show(RESERVOIR, "good")
        bench.says("reservoir", 39.0, None)
        bench.kept_its_period("room", "board")
        bench.was_always("basin", 35.5)
        assert {sample.value for sample in bench.of("reservoir")} == {39.0, None}
        counts = bench.acquisition.status()["w1"]["counts"]
        assert counts["crc"] >= 1 and counts["bulk"] >= 1
    assert [what for bus, what, _ in bench.told if what == "lost"] == []


def test_every_misbehaviour_of_a_channel_has_its_reason_and_ends_without_a_restart(tmp_path, beside):
    played = {"temp0": IioChannel(lambda: 39.0, scale=62.5), "temp1": IioChannel(lambda: 35.5, scale=62.5)}
    tree = IioTree(tmp_path / "chip", played)
    with running(tree), Bench(converter("a1", tree, reservoir="temp0", basin="temp1"), *beside) as bench:
        for state, reason in CHANNEL_STATES.items():
            bench.says("reservoir", 39.0, None)
            tree.show("temp0", state)
            bench.says("reservoir", None, reason)
            bench.says("basin", 35.5, None)
            tree.show("temp0", "good")
        bench.says("reservoir", 39.0, None)
        bench.kept_its_period("room", "board")
        bench.was_always("basin", 35.5)
    assert [what for bus, what, _ in bench.told if what == "lost"] == []


def test_a_slow_probe_is_waited_for_within_the_limit(tmp_path):
    tree = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0})
    with running(tree), Bench(one_wire("w1", tree.root, 2000, reservoir=RESERVOIR)) as bench:
        bench.says("reservoir", 39.0, None)
        tree.show(RESERVOIR, "slow")
        time_of_change = RealClock().mono_ms()
        deadline_s = time.monotonic() + 60.0
        while not any(s.mono_ms > time_of_change + 700 for s in bench.of("reservoir")):
            assert time.monotonic() < deadline_s
            time.sleep(0.02)
        assert {sample.value for sample in bench.of("reservoir")} == {39.0}


def test_c004_a_pipe_that_nobody_writes_to(tmp_path, beside):
    """No answer within the time limit, no pile of threads, and a stop that doesn't wait for it."""
    tree = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0})
    with running(tree), Bench(one_wire("w1", tree.root, reservoir=RESERVOIR), *beside) as bench:
        bench.says("reservoir", 39.0, None)
        threads = threading.active_count()
        tree.show(RESERVOIR, "hangs")
        began_s = time.monotonic()
        bench.says("reservoir", None, "no_answer")
        assert time.monotonic() - began_s < 0.4 + 2 * PERIOD_MS / 1000 + 0.3 + bench.yardstick.late_s()
        deadline_s = time.monotonic() + 2.0
        while time.monotonic() < deadline_s:
            assert threading.active_count() <= threads
            time.sleep(0.1)
        bench.kept_its_period("room", "board")
        began_s = time.monotonic()
        assert bench.acquisition.stop(20.0)
        assert time.monotonic() - began_s < 2.0 + bench.yardstick.late_s()


def test_a_master_that_is_pulled_is_one_lost_bus_and_is_found_again(tmp_path, beside):
    tree = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0, BASIN: lambda: 35.5})
    with running(tree), Bench(one_wire("w1", tree.root, reservoir=RESERVOIR, basin=BASIN), *beside) as bench:
        bench.says("reservoir", 39.0, None)
        tree.unplug_master()
        bench.says("reservoir", None, "bus_lost")
        bench.says("basin", None, "bus_lost")
        tree.unplug_master(is_there=True)
        bench.says("reservoir", 39.0, None)
        bench.says("basin", 35.5, None)
        bench.kept_its_period("room", "board")
    assert [what for bus, what, _ in bench.told if bus == "w1"] == ["back", "lost", "back"]


def test_a_converter_that_is_pulled_is_one_lost_bus_and_is_found_under_its_new_number(tmp_path, beside):
    tree = IioTree(tmp_path / "chip", {"temp0": IioChannel(lambda: 39.0, scale=62.5)})
    with running(tree), Bench(converter("a1", tree, reservoir="temp0"), *beside) as bench:
        bench.says("reservoir", 39.0, None)
        tree.unplug()
        bench.says("reservoir", None, "bus_lost")
        tree.plug(7)
        bench.says("reservoir", 39.0, None)
        bench.kept_its_period("room", "board")
    assert [what for bus, what, _ in bench.told if bus == "a1"] == ["back", "lost", "back"]


def test_c005_through_acquisition_no_probe_takes_another_s_place(tmp_path):
    tree = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0, BASIN: lambda: 35.5})
    with running(tree), Bench(one_wire("w1", tree.root, reservoir=RESERVOIR, basin=BASIN)) as bench:
        bench.says("reservoir", 39.0, None)
        tree.show(RESERVOIR, "vanished")
        bench.says("reservoir", None, "device_gone")
        tree.plug("28-0000cafe0001", lambda: 36.25)
        deadline_s = time.monotonic() + 60.0
        while "28-0000cafe0001" not in bench.of("reservoir")[-1].detail:
            assert time.monotonic() < deadline_s
            time.sleep(0.02)
        tree.show(RESERVOIR, "good")
        bench.says("reservoir", 39.0, None)
        assert {sample.value for sample in bench.of("reservoir")} == {39.0, None}
        bench.was_always("basin", 35.5)


STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[[bus]]
id = "probe-wire"
kind = "onewire"
root = "{wire}"

[[bus]]
id = "adc"
kind = "iio"
device = "ads1115"
root = "{chip}"

[[point]]
id = "reservoir"
role = "reservoir_temperature"
bus = "probe-wire"
address = "28-00000a1b2c3d"
every = "1 s"

[[point]]
id = "room"
role = "room_temperature"
bus = "adc"
channel = "temp"
counts = {{ low = -2048, high = 2047 }}
every = "250 ms"

[keep]
folder = "kept"
"""


def test_a_station_file_for_both_is_read_and_every_point_is_good(tmp_path):
    wire = OneWireTree(tmp_path / "wire", {RESERVOIR: lambda: 39.0})
    chip = IioTree(tmp_path / "chip", {"temp": IioChannel(lambda: 21.5, scale=62.5)})
    with running(wire, chip):
        plan = config.loads(STATION.format(wire=wire.root, chip=chip.root), tmp_path / "station.toml")
        assert plan.not_active == () and all(bus.active for bus in plan.buses)
        heard, told = [], []
        points = {point.id: point for point in plan.settings.points}
        acquisition = Acquisition(plan.buses, points, RealClock(), heard.extend, lambda *what: told.append(what[:2]))
        acquisition.start()
        try:
            deadline_s = time.monotonic() + 60.0
            while {sample.point for sample in heard} != {"reservoir", "room"}:
                assert time.monotonic() < deadline_s, (heard, told)
                time.sleep(0.02)
        finally:
            assert acquisition.stop(30.0)
    assert {(sample.point, sample.value, sample.reason) for sample in heard} == {
        ("reservoir", 39.0, None),
        ("room", 21.5, None),
    }


# -- a file system of our own


@pytest.mark.fuse
@needs_fuse
def test_the_kernel_s_own_errors_have_their_reasons(tmp_path, beside):
    """As seen of the kernel's real core: 5, 16, 19, 110, 121; 13 and 71 for those that the table doesn't name."""
    reasons = {
        errno.EIO: "io_error", errno.EBUSY: "in_use", errno.ENODEV: "device_gone", errno.ETIMEDOUT: "no_answer",
        errno.EREMOTEIO: "no_answer", errno.EACCES: "no_access", errno.EPROTO: "io_error",
    }  # fmt: skip
    played = {"temp0": IioChannel(lambda: 39.0, scale=62.5), "temp1": IioChannel(lambda: 35.5, scale=62.5)}
    chip = IioTree(tmp_path / "chip", played, files=FuseFiles(tmp_path / "chip"))
    wire = OneWireTree(tmp_path / "wire", {WATER: lambda: 12.5}, files=FuseFiles(tmp_path / "wire"), shows="hwmon")
    with running(chip, wire):
        plans = converter("a1", chip, reservoir="temp0", basin="temp1"), one_wire("w1", wire.root, water=WATER)
        with Bench(*plans, *beside) as bench:
            for number, reason in reasons.items():
                bench.says("reservoir", 39.0, None)
                bench.says("water", 12.5, None)
                chip.show("temp0", "error", number)
                wire.show(WATER, "error", number)
                assert bench.says("reservoir", None, reason).detail.startswith(errno.errorcode[number])
                assert bench.says("water", None, reason).detail.startswith(errno.errorcode[number])
                bench.says("basin", 35.5, None)
                chip.show("temp0", "good")
                wire.show(WATER, "good")
            bench.says("reservoir", 39.0, None)
            bench.kept_its_period("room", "board")


@pytest.mark.fuse
@needs_fuse
def test_c004_a_read_that_hangs_in_the_kernel_holds_up_nobody(tmp_path, beside):
    """All points of that bus are bad in time, others keep their periods, there is one stuck thread and no second one;
    stopping doesn't wait for it, and where it is answered instead all is good again without a restart."""
    tree = OneWireTree(
        tmp_path / "wire", {RESERVOIR: lambda: 39.0, BASIN: lambda: 35.5}, files=FuseFiles(tmp_path / "wire")
    )
    with running(tree), Bench(one_wire("w1", tree.root, reservoir=RESERVOIR, basin=BASIN), *beside) as bench:
        bench.says("reservoir", 39.0, None)
        threads = threading.active_count()
        tree.show(RESERVOIR, "hangs")
        bench.says("reservoir", None, "no_answer")
        bench.says("basin", None, "no_answer")
        deadline_s = time.monotonic() + 1.5
        while time.monotonic() < deadline_s:
            assert threading.active_count() <= threads
            time.sleep(0.1)
        bench.kept_its_period("room", "board")
        tree.show(RESERVOIR, "good")
        bench.says("reservoir", 39.0, None)
        bench.says("basin", 35.5, None)
        tree.show(RESERVOIR, "hangs")
        bench.says("reservoir", None, "no_answer")
        began_s = time.monotonic()
        assert bench.acquisition.stop(0.5) is False  # and says so
        assert time.monotonic() - began_s < 2.0 + bench.yardstick.late_s()
        tree.show(RESERVOIR, "good")


@pytest.mark.fuse
@needs_fuse
@pytest.mark.parametrize("bulk, least_s, most_s", [(True, 0.2, 0.7), (False, 0.8, 5.0)])
def test_many_probes_cost_one_conversion(tmp_path, bulk, least_s, most_s):
    """Four of 0.2 s each here, 750 ms in the real part: at once, and in turn where the kernel can't do it at once."""
    ids = {address: (lambda: 39.0) for address in (RESERVOIR, BASIN, ROOM, WATER)}
    files = FuseFiles(tmp_path / "wire", conversion_s=0.2)
    tree = OneWireTree(tmp_path / "wire", ids, files=files, bulk=bulk)
    tables = {address: {"address": address} for address in ids}
    try:
        tree.renew()
        adapter = OneWire({"id": "w", "root": str(tree.root)}, tables, RealClock())
        with Yardstick() as yardstick:
            began_s = time.monotonic()
            raws = adapter.read(list(ids))
            took_s = time.monotonic() - began_s
        assert [raw.number for raw in raws] == [39.0] * 4
        assert least_s <= took_s < most_s + yardstick.late_s()
        assert tree.conversions_at_once() == (1 if bulk else 0)
    finally:
        tree.stop()


# -- what it costs


@pytest.mark.parametrize("state", ["good", "hangs"])
def test_reading_takes_little_of_the_processor(tmp_path, state):
    """Four probes and four channels twice a second: far below 5 % of a core, good or hung."""
    ids = {address: (lambda: 39.0) for address in (RESERVOIR, BASIN, ROOM, WATER)}
    wire = OneWireTree(tmp_path / "wire", ids)
    chip = IioTree(tmp_path / "chip", {f"temp{n}": IioChannel(lambda: 39.0, scale=62.5) for n in range(4)})
    tables = {address: {"address": address} for address in ids}
    limit = {"time_limit": "20 ms"}  # a hung file is waited for without work, so the wait may be short
    probes = OneWire({"id": "w", "root": str(wire.root), **limit}, tables, RealClock())
    columns = {f"c{n}": {"channel": f"temp{n}"} for n in range(4)}
    channels = Iio({"id": "a", "device": chip.name, "root": str(chip.root), **limit}, columns, RealClock())
    try:
        wire.renew()
        chip.renew()
        channels.open()
        for address in ids:
            wire.show(address, state)
        for name in columns.values():
            chip.show(name["channel"], state)
        began_s, rounds = time.thread_time(), 20
        for _ in range(rounds):
            raws = [*probes.read(list(ids)), *channels.read(list(columns))]
        per_round_s = (time.thread_time() - began_s) / rounds
        assert {raw.reason for raw in raws} == {None if state == "good" else "no_answer"}
        assert 2 * per_round_s < 0.05, f"{2 * per_round_s:.1%} of a core at two rounds a second"
    finally:
        wire.stop()
        chip.stop()
