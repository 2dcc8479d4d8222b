"""Acquisition: what an adapter may do to others, which is nothing. The adapters here are fakes of a few lines."""

from __future__ import annotations

import itertools
import logging
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from edge.acquisition.acquisition import Acquisition
from edge.clock import FastClock, RealClock
from edge.domain.contracts import Raw
from edge.domain.errors import BusLost, SensorSilent, UnusableInput
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point
from tests.yardstick import Yardstick

PERIOD_MS = 50
LIMIT_MS = 150


class Steady:
    """An adapter without faults."""

    def __init__(self, bus: Any, points: Any, clock: Any) -> None:
        self.clock = clock

    def open(self) -> None:
        pass

    def read(self, due):
        return [Raw(point, self.clock.mono_ms(), 39.0, "Cel") for point in due]

    def close(self) -> None:
        pass


@dataclass
class Plan:
    id: str
    kind: str
    points: dict[str, dict[str, Any]]
    options: dict[str, Any] = field(default_factory=dict)
    time_limit_ms: int = LIMIT_MS


class Bench:
    """An acquisition with one point per bus, named like it, and everything that it said."""

    def __init__(self, adapters, clock=None, period_ms=PERIOD_MS, stale_ms=5 * PERIOD_MS, limit_ms=LIMIT_MS):
        self.samples, self.told, self.clock = [], [], clock or RealClock()
        self._lock = threading.Lock()
        points = {
            name: Point(name, Role.ROOM_TEMPERATURE, Kind.TEMPERATURE, period_ms, stale_ms, -50, 150)
            for name in adapters
        }
        self.acquisition = Acquisition(
            [Plan(name, name, {name: {"id": name}}, time_limit_ms=limit_ms) for name in adapters],
            points,
            self.clock,
            self._take,
            lambda bus, what, why, now: self.told.append((bus, what, why)),
            lambda kind: adapters[kind],
        )

    def _take(self, samples):
        with self._lock:
            self.samples.extend(samples)

    def of(self, point):
        with self._lock:
            return [sample for sample in self.samples if sample.point == point]

    def told_of(self, bus):
        """What was told of a bus, but for the "back" that opens it: that one is for those who knew it as lost before."""
        told = [what for who, what, _ in list(self.told) if who == bus]
        return told[1:] if told[:1] == ["back"] else told

    def wait(self, until, timeout_s=60.0):
        deadline_s = time.monotonic() + timeout_s
        while not until():
            assert time.monotonic() < deadline_s, (self.samples[-5:], self.told)
            time.sleep(0.005)

    def __enter__(self):
        self.acquisition.start()
        return self

    def __exit__(self, *_):
        self.acquisition.stop(1.0)


@pytest.fixture(autouse=True)
def quick_back_off(monkeypatch):
    monkeypatch.setattr("edge.acquisition.worker.FIRST_BACK_OFF_S", 0.05)


def steadily_read(bench, point, since=0):
    """Asserts that a point kept its period: no gap of two periods, as far as this machine's own pauses allow."""
    stamps = [sample.mono_ms for sample in bench.of(point)][since:]
    gaps = [later - earlier for earlier, later in itertools.pairwise(stamps)]
    assert len(gaps) > 3
    # a busy machine may hold any thread up, now and again; a bus that waits for another does so every time
    assert sorted(gaps)[len(gaps) // 4] < 2 * PERIOD_MS, gaps
    return gaps


def test_a_point_is_read_on_its_period_and_stamped_at_the_read():
    with Bench({"a": Steady}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 8)
        bench.wait(lambda: bench.acquisition.ages()["a"] < 2 * PERIOD_MS + 100)
        steadily_read(bench, "a")
    assert {sample.value for sample in bench.of("a")} == {39.0}
    assert [told[:2] for told in bench.told] == [("a", "back")]


def hangs_for_ever(released):
    class Hanging(Steady):
        """As a pipe that nobody writes to."""

        def read(self, due):
            released.wait()
            return super().read(due)

    return Hanging


def test_a_read_that_never_returns_stalls_nobody_else(monkeypatch):
    monkeypatch.setattr("edge.acquisition.worker.HUNG_IS_LOST_S", 0.3)
    released = threading.Event()
    before = threading.active_count()
    bench = Bench({"hung": hangs_for_ever(released), "a": Steady, "b": Steady})
    with Yardstick() as yardstick, bench:
        began_ms = bench.clock.mono_ms()
        bench.wait(lambda: len(bench.of("hung")) >= 8)
        assert bench.of("hung")[0].mono_ms - began_ms < LIMIT_MS + 300 + 1000 * yardstick.late_s()
        assert {(s.value, s.reason) for s in bench.of("hung")} == {(None, "no_answer")}
        stamps = [sample.mono_ms for sample in bench.of("hung")]
        assert all(later - earlier >= PERIOD_MS * 0.8 for earlier, later in itertools.pairwise(stamps)), stamps
        steadily_read(bench, "a")
        steadily_read(bench, "b")
        bench.wait(lambda: bench.told_of("hung") == ["lost"])
        assert bench.acquisition.status()["hung"]["state"] == "hung"
        assert threading.active_count() == before + 5  # three buses, one supervisor, the yardstick: no pile-up
        began_s = time.monotonic()
        assert bench.acquisition.stop(0.5) is False
        assert time.monotonic() - began_s < 1.5 + yardstick.late_s()
        assert bench.acquisition.threads == ["bus hung"]
    released.set()
    bench.wait(lambda: bench.acquisition.threads == [])
    assert bench.told_of("hung") == ["lost"]  # nobody listens after the stop, and nothing is said
    assert {sample.value for sample in bench.of("hung")} == {None}


def test_while_a_read_hangs_its_point_is_called_bad_once_a_period_whatever_the_time_limit_is():
    released = threading.Event()
    bench = Bench({"hung": hangs_for_ever(released)}, period_ms=100, limit_ms=600)
    with bench:
        bench.wait(lambda: len(bench.of("hung")) >= 8)
        stamps = [sample.mono_ms for sample in bench.of("hung")]
        gaps = sorted(later - earlier for earlier, later in pairwise(stamps))
        assert 80 <= gaps[len(gaps) // 2] <= 160, gaps
        released.set()


def test_a_hung_bus_comes_back_by_itself(monkeypatch):
    monkeypatch.setattr("edge.acquisition.worker.HUNG_IS_LOST_S", 0.1)
    released = threading.Event()
    with Bench({"hung": hangs_for_ever(released)}) as bench:
        bench.wait(lambda: bench.told_of("hung") == ["lost"])
        released.set()
        bench.wait(lambda: bench.of("hung")[-1].value == 39.0)
        assert bench.told_of("hung") == ["lost", "back"]
        assert bench.acquisition.status()["hung"]["state"] == "ok"


@pytest.mark.parametrize("part", ["open", "close", "__init__"])
def test_hanging_elsewhere_stalls_nobody_either(part):
    released = threading.Event()

    def hang(self, *_):
        released.wait()
        raise BusLost("x", where="x", expected="x", do="x")

    def lost(self, *_):
        raise BusLost("x", where="x", expected="x", do="x")

    hanging = type("Hanging", (Steady,), {part: hang, **({"read": lost} if part == "close" else {})})
    with Bench({"hung": hanging, "a": Steady}) as bench:
        bench.wait(lambda: [s for s in bench.of("hung") if s.reason == "no_answer"])
        bench.wait(lambda: len(bench.of("a")) >= 5)
        steadily_read(bench, "a")
        assert bench.acquisition.stop(0.2) is False
    released.set()
    bench.wait(lambda: bench.acquisition.threads == [])


class Unprintable(Exception):
    def __str__(self) -> str:
        raise RuntimeError("no text")


def raising(exc):
    def read(self, due):
        raise exc

    return type("Raising", (Steady,), {"read": read})


def returning(answer):
    return type("Returning", (Steady,), {"read": lambda self, due: answer(self, due)})


def stamped(**changes):
    def answer(self, due):
        raw = Raw(due[0], self.clock.mono_ms(), 39.0, "Cel")
        for name, value in changes.items():
            setattr(raw, name, value)
        return [raw]

    return answer


BROKEN = {
    "a plain exception": raising(Exception("unhandled")),
    "OSError": raising(OSError(5, "Input/output error")),
    "MemoryError": raising(MemoryError()),
    "SystemExit": raising(SystemExit(1)),
    "StopIteration": raising(StopIteration()),
    "one that can't be printed": raising(Unprintable()),
    "nothing at all": returning(lambda self, due: None),
    "a number": returning(lambda self, due: 39.0),
    "text": returning(lambda self, due: "39.0"),
    "bare numbers": returning(lambda self, due: [39.0]),
    "text for a number": returning(stamped(number="39.0")),
    "a list for a number": returning(stamped(number=[39.0])),
    "a complex number": returning(stamped(number=39j)),
    "a number of 400 digits": returning(stamped(number=10**400)),
    "no stamp": returning(stamped(mono_ms=None)),
    "a stamp in seconds": returning(stamped(mono_ms=1.5)),
    "a stamp of tomorrow": returning(lambda self, due: [Raw(due[0], self.clock.mono_ms() + 86_400_000, 39.0, "Cel")]),
    "a reason that is none": returning(stamped(number=None, reason="tired")),
    "a reason that is no text": returning(stamped(number=None, reason=5)),
    "another unit": returning(stamped(unit="psi")),
    "an answer that breaks off": returning(lambda self, due: (1 // 0 for _ in due)),
    "fails when made": type("Unmakeable", (Steady,), {"__init__": lambda self, *_: 1 // 0}),
    "fails when opened": type("Unopenable", (Steady,), {"open": lambda self: 1 // 0}),
    "is no adapter": lambda *_: None,
}


@pytest.mark.parametrize("broken", BROKEN.values(), ids=BROKEN)
def test_one_bad_adapter_beside_five_good_ones(broken):
    adapters = {"sixth": broken, **dict.fromkeys("abcde", Steady)}
    with Bench(adapters) as bench:
        bench.wait(lambda: len(bench.of("sixth")) >= 3 and all(len(bench.of(good)) >= 6 for good in "abcde"))
        for good in "abcde":
            steadily_read(bench, good)
            assert {sample.value for sample in bench.of(good)} == {39.0}
        assert {(s.value, s.reason) for s in bench.of("sixth")} == {(None, "adapter_fault")}
        assert all(sample.detail for sample in bench.of("sixth"))
        assert bench.told_of("sixth") in (["lost"], [])
        assert not any(bench.told_of(good) for good in "abcde")


def test_numbers_that_are_none_are_bad_without_a_number():
    with Bench(
        {"nan": returning(stamped(number=float("nan"))), "inf": returning(stamped(number=float("inf")))}
    ) as bench:
        bench.wait(lambda: len(bench.of("nan")) >= 2 and len(bench.of("inf")) >= 2)
    assert {(s.value, s.reason) for s in bench.samples} == {(None, "not_a_number")}


def test_a_good_point_keeps_its_value_when_the_answer_holds_rubbish_and_other_names_too():
    def answer(self, due):
        return [Raw("of-another-bus", self.clock.mono_ms(), 1.0), *Steady.read(self, due), object()]

    with Bench({"a": returning(answer)}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 5)
    assert {sample.value for sample in bench.samples} == {39.0}


def test_a_silent_sensor_is_no_lost_bus():
    silent = raising(SensorSilent("got nothing", where="p", expected="an answer", do="Check its cable"))
    with Bench({"a": silent}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 5)
    assert {(s.value, s.reason) for s in bench.samples} == {(None, "no_answer")}
    assert "Check its cable" in bench.samples[0].detail
    assert bench.told == []  # nothing is known of the bus yet: nothing good, nothing lost


class Plug:
    """Something that can be pulled: an adapter that is lost while it is out."""

    def __init__(self) -> None:
        self.out = threading.Event()
        self.opened = self.closed = 0

    def adapter(self):
        plug = self

        class Pluggable(Steady):
            def open(self):
                plug.opened += 1
                self.must_be_in()

            def must_be_in(self):
                if plug.out.is_set():
                    raise BusLost("the port is gone", where="bus a", expected="a port", do="Reseat the plug")

            def read(self, due):
                self.must_be_in()
                return super().read(due)

            def close(self):
                plug.closed += 1

        return Pluggable


def test_a_lost_bus_is_told_once_backs_off_and_comes_back_by_itself(caplog):
    plug = Plug()
    with caplog.at_level(logging.INFO), Bench({"a": plug.adapter()}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 3)
        plug.out.set()
        bench.wait(lambda: plug.opened >= 4)
        lost = [sample for sample in bench.of("a") if sample.value is None]
        assert {sample.reason for sample in lost} == {"bus_lost"}
        assert lost[0].mono_ms - [s.mono_ms for s in bench.of("a") if s.value][-1] < 2 * PERIOD_MS + 100
        assert bench.told_of("a") == ["lost"]
        assert plug.closed >= plug.opened - 1  # closed each time before it is opened again
        plug.out.clear()
        bench.wait(lambda: bench.of("a")[-1].value == 39.0)
        assert bench.told_of("a") == ["lost", "back"]
    assert "the port is gone" in bench.told[1][2]
    assert len([record for record in caplog.records if "lost" in record.message]) == 1
    assert plug.closed == plug.opened


def test_while_a_bus_is_lost_its_points_say_so_seldom_but_before_they_look_merely_stale():
    plug = Plug()
    plug.out.set()
    with Bench({"a": plug.adapter()}, stale_ms=400) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 4)
    stamps = [sample.mono_ms for sample in bench.of("a")]
    gaps = [later - earlier for earlier, later in itertools.pairwise(stamps)]
    assert min(gaps) > 2 * PERIOD_MS
    assert sorted(gaps)[len(gaps) // 2] < 400
    assert bench.told_of("a") == ["lost"]


def test_an_adapter_that_refuses_its_settings_says_why():
    def refuse(*_):
        raise UnusableInput("baud is 0", where="bus a, baud", expected="a speed", do="Correct it in the station file")

    with Bench({"a": refuse}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 1)
        assert bench.told == [
            ("a", "lost", "bus a, baud: baud is 0; expected a speed. Correct it in the station file.")
        ]


def test_a_bus_that_was_lost_before_the_start_is_told_to_be_back():
    """The journal, or the run before a reload, may know it as lost; the first good reading says otherwise."""
    with Bench({"a": Steady}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 3)
    assert bench.told == [("a", "back", "it is read again")]


def test_a_program_ends_in_spite_of_a_read_that_hangs_in_the_kernel(tmp_path):
    """A thermometer's file that is a pipe nobody writes to. Asyncio's pool would keep the program from ending."""
    program = """if True:
        import os, sys, time
        from edge.acquisition.acquisition import Acquisition
        from edge.clock import RealClock
        from edge.domain.readings import Kind, Role
        from edge.domain.settings import Point

        class Pipe:
            def __init__(self, bus, points, clock): self.path = bus["path"]
            def open(self): pass
            def close(self): pass
            def read(self, due): return [open(self.path).read()]

        class Plan: id, kind, points, options, time_limit_ms = "wire", "pipe", {"p": {}}, {"path": sys.argv[1]}, 100

        samples = []
        point = Point("p", Role.ROOM_TEMPERATURE, Kind.TEMPERATURE, 50, 500, -50, 150)
        acquisition = Acquisition([Plan], {"p": point}, RealClock(), samples.extend, print, lambda kind: Pipe)
        acquisition.start()
        deadline = time.monotonic() + 5
        while len(samples) < 3 and time.monotonic() < deadline: time.sleep(0.01)
        print({sample.reason for sample in samples}, acquisition.stop(0.2))
    """
    pipe = tmp_path / "w1_slave"
    os.mkfifo(pipe)
    root = Path(__file__).parents[3]
    done = subprocess.run(
        [sys.executable, "-c", program, str(pipe)], cwd=root, capture_output=True, text=True, timeout=20, check=False
    )
    assert (done.returncode, done.stdout) == (0, "{'no_answer'} False\n"), done.stderr


def test_a_late_answer_does_not_overtake_what_was_said_since():
    """Stamped when it was asked, handed over after the point was called bad: it is history, not news."""

    class Late(Steady):
        def read(self, due):
            at_ms = self.clock.mono_ms()
            time.sleep(0.4)
            return [Raw(point, at_ms, 39.0, "Cel") for point in due]

    with Bench({"a": Late}) as bench:
        bench.wait(lambda: len(bench.of("a")) >= 6)
    stamps = [sample.mono_ms for sample in bench.of("a")]
    assert stamps == sorted(stamps)
    assert {sample.reason for sample in bench.of("a")} == {"no_answer"}


def test_reading_goes_on_whatever_becomes_of_the_readings(caplog):
    class Refusing(Bench):
        def _take(self, samples):
            raise ZeroDivisionError

    with Refusing({"a": Steady}) as bench:
        bench.wait(lambda: bench.acquisition.status()["a"]["reads"] >= 4)
        assert bench.acquisition.threads == ["bus a", "bus supervisor"]
    assert len([record for record in caplog.records if record.levelno >= logging.ERROR]) == 1


def test_an_unusable_point_is_bad_and_no_other():
    points = {
        name: Point(name, Role.SUPPLY_PRESSURE, Kind.PRESSURE, PERIOD_MS, 500, 0, 1000) for name in ("good", "wrong")
    }
    plan = Plan("bus", "steady", {"good": {}, "wrong": {"text": {"unit": "fathoms"}}})
    samples = []
    kilopascal = returning(lambda self, due: [Raw(point, self.clock.mono_ms(), 300.0) for point in due])
    acquisition = Acquisition([plan], points, RealClock(), samples.extend, print, lambda kind: kilopascal)
    acquisition.start()
    deadline_s = time.monotonic() + 60
    while len(samples) < 6 and time.monotonic() < deadline_s:
        time.sleep(0.005)
    assert acquisition.stop(30.0)
    assert {(s.point, s.value, s.reason) for s in samples} == {
        ("good", 300.0, None), ("wrong", None, "adapter_fault"),
    }  # fmt: skip
    assert "fathoms" in next(s.detail for s in samples if s.point == "wrong")


def test_a_fast_clock_makes_periods_short_and_leaves_time_limits_as_they_are():
    with (
        Yardstick() as yardstick,
        Bench({"a": Steady}, FastClock(100, 1_800_000_000_000), period_ms=5000, stale_ms=15_000) as bench,
    ):
        began_s = time.monotonic()
        bench.wait(lambda: len(bench.of("a")) >= 10)
        assert 0.3 < time.monotonic() - began_s < 3 + yardstick.late_s()
    stamps = [sample.mono_ms for sample in bench.of("a")]
    assert stamps[9] - stamps[0] >= 9 * 5000 * 0.8


def test_waiting_costs_next_to_nothing():
    with Bench(dict.fromkeys("abcd", Steady), period_ms=1000):
        began_s, cpu_s = time.monotonic(), time.process_time()
        while time.monotonic() - began_s < 1.0:
            time.sleep(0.1)
        assert (time.process_time() - cpu_s) / (time.monotonic() - began_s) < 0.05


def test_stopping_before_the_start_and_twice_is_harmless():
    bench = Bench({"a": Steady})
    assert bench.acquisition.stop(0.1)
    with Bench({"a": Steady}) as bench:
        bench.wait(lambda: bench.samples)
        assert bench.acquisition.stop(30.0)
        assert bench.acquisition.stop(30.0)
    assert bench.acquisition.threads == []
