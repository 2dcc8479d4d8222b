"""The gpio adapter on simulated lines: contacts and their words, meters, and every way in which lines misbehave.

Readings are held against the world's truth (simulators/physics/world.py): none may differ from it without saying so.
"""

from __future__ import annotations

import errno
import os
import threading
import time
from dataclasses import dataclass, field
from itertools import count
from typing import Any

import pytest

from adapters import gpio
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock, ToldClock
from edge.domain.contracts import Clock
from edge.domain.errors import BusLost, UnusableInput
from edge.domain.readings import KIND_OF, REASONS, Quality, Role, Sample
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point
from simulators.adapter import SharedWorld
from simulators.devices.lines import DeviceLines, SimulatedLines
from simulators.physics.events import Day, Draw, Leak, PowerOff, Trip
from simulators.physics.world import World
from tests.unit.stations import Driver

METER = {"per": "1 L", "count": 450, "maximum_flow": "30 L/min"}
POINTS: dict[str, dict[str, Any]] = {
    "flow": {"role": "supply_flow", "line": 17, "pulses": METER},
    "machine-outlet": {"role": "outlet_protection", "of": "machine", "line": 22, "tripped_when": "open"},
    "heater-outlet": {"role": "outlet_protection", "of": "heater", "line": "HEATER", "tripped_when": "open"},
    "power": {"role": "machine_power", "line": 24},
    "leak": {"role": "leak", "line": 25, "wet_when": "closed"},
}
DRAW_S = (10, 130)
_CHIPS = count()


def settings_of(name: str, table: dict[str, Any], every_ms: int = 500) -> Point:
    role = Role(table["role"])
    return Point(name, role, KIND_OF[role], every_ms, 10_000, -1.0, 100.0, bus="lines")


def device_of(clock: Clock, *events: Any) -> DeviceLines:
    world = World.of_day(Day(8 * 3600, 39.5, ((0.0, 20.0),), events))
    return DeviceLines(f"/dev/simulated-{next(_CHIPS)}", SharedWorld(world, clock), clock)


class Bench:
    """A bus of lines on a told clock; `device` is in the test's hands."""

    def __init__(self, *events: Any, points: dict[str, dict[str, Any]] | None = None) -> None:
        self.clock = ToldClock()
        self.points = points or POINTS
        self.device = device_of(self.clock, *events)
        self.adapter = self.made()
        self._transducers = {name: transducer(settings_of(name, table), table) for name, table in self.points.items()}

    def made(self) -> gpio.Gpio:
        bus = {"id": "lines", "kind": "gpio", "chip": self.device.path}
        return gpio.Gpio(bus, self.points, self.clock, lambda *made: SimulatedLines(*made, device=self.device))

    def read(self, *names: str) -> dict[str, Sample]:
        return {raw.point: self._transducers[raw.point](raw) for raw in self.adapter.read(names or list(self.points))}

    def run(self, seconds: float, *names: str, every_ms: int = 500) -> list[dict[str, Sample]]:
        said = []
        for _ in range(round(seconds * 1000 / every_ms)):
            self.clock.tell(every_ms)
            said.append(self.read(*names))
        return said

    def true_flow(self) -> float:
        value = self.device._shared.world.water.flow_l_min
        assert value > 5.0
        return value


def flows(said: list[dict[str, Sample]]) -> list[float | None]:
    return [now["flow"].value for now in said if "flow" in now]


def reasons(said: list[dict[str, Sample]], point: str = "flow") -> set[str | None]:
    return {now[point].reason for now in said if point in now}


# -- all well


def test_contacts_say_what_their_role_means_by_open_and_closed():
    bench = Bench(Trip(10, 20, "heater"), Leak(30, 40), PowerOff(50, 60))
    bench.adapter.open()
    seen = {5: {}, 15: {"heater-outlet": 1.0}, 35: {"leak": 1.0}, 55: {"power": 0.0}}
    for at_s, differs in seen.items():
        bench.clock.tell(at_s * 1000 - bench.clock.mono_ms())
        values = {name: sample.value for name, sample in bench.read().items() if name != "flow"}
        assert values == {"machine-outlet": 0.0, "heater-outlet": 0.0, "power": 1.0, "leak": 0.0} | differs


def test_a_meter_reads_the_flow_of_a_draw_and_nothing_before_and_after():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(9)
    assert bench.run(1, "flow")[0]["flow"].value == 0.0
    said = bench.run(119, "flow")
    assert flows(said)[4:-2] == pytest.approx([bench.true_flow()] * (len(said) - 6), rel=0.03)
    assert reasons(said) == {None}
    assert flows(bench.run(10, "flow"))[-1] == 0.0
    litres = bench.adapter.counts["flow: litres"]
    assert litres == pytest.approx(bench.device._shared.world.passed_l, rel=0.02)


def test_the_pulses_of_a_k_factor_in_other_words_are_the_same():
    flow = POINTS["flow"] | {"pulses": {"k_factor": "7.5 Hz per L/min", "maximum_flow": "7.9 gal/min"}}
    bench = Bench(Draw(*DRAW_S), points={"flow": flow})
    bench.adapter.open()
    assert flows(bench.run(60))[-1] == pytest.approx(bench.true_flow(), rel=0.03)


@pytest.mark.parametrize(("before_ms", "after_ms"), [(0, 900), (1800, 0), (1800, 900)])
def test_a_thread_that_is_held_up_around_the_fetching_of_edges_reads_the_same_flow(monkeypatch, before_ms, after_ms):
    """A busy processor gives a thread nothing for a second or two, between any two lines of it."""
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(30)
    fetched = DeviceLines.edges

    def held_up(device: DeviceLines, *of: Any) -> Any:
        bench.clock.tell(before_ms)
        found = fetched(device, *of)
        bench.clock.tell(after_ms)
        return found

    monkeypatch.setattr(DeviceLines, "edges", held_up)
    said = bench.run(15, "flow")
    assert [value for value in flows(said) if value != pytest.approx(bench.true_flow(), rel=0.02)] == []
    assert reasons(said) == {None}
    assert bench.adapter.counts["flow: odd edges"] == bench.adapter.counts["flow: edges rejected"] == 0


def test_a_flow_read_once_in_four_seconds_loses_nothing():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    said = bench.run(100, "flow", every_ms=4000)
    assert flows(said)[-1] == pytest.approx(bench.true_flow(), rel=0.03)
    assert bench.adapter.counts["flow: edges lost"] == 0


# -- misbehaviours, each with its reason and its way back


def test_bounce_is_rejected_counted_and_harmless():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.device.bounce(17, 3)
    said = bench.run(100, "flow")
    assert flows(said)[-1] == pytest.approx(bench.true_flow(), rel=0.03)
    counts = bench.adapter.counts
    assert counts["flow: litres"] == pytest.approx(bench.device._shared.world.passed_l, rel=0.02)
    assert 1.0 < counts["flow: edges rejected"] / counts["flow: pulses"] < 2.0  # 0 to 3 more for each pulse
    assert reasons(said) == {None}


def test_lost_edges_make_one_reading_uncertain_and_no_flow_low():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(60)
    bench.device.lose(17, 16)
    said = bench.run(10, "flow")
    assert [now["flow"].reason for now in said].count("edges_lost") == 1
    assert said[0]["flow"].detail == "16 edges lost"
    assert REASONS["edges_lost"].quality is Quality.UNCERTAIN
    assert min(flows(said)) > 0.96 * bench.true_flow()
    assert bench.adapter.counts["flow: edges lost"] == 16


def test_a_queue_that_overflows_is_counted_all_the_same():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(20)
    bench.clock.tell(60_000)  # the board was busy: some 4000 pulses, of which the queue kept 1024
    late = bench.read("flow")["flow"]
    assert late.reason == "edges_lost"
    assert late.value == pytest.approx(bench.true_flow(), rel=0.03)
    assert bench.adapter.counts["flow: litres"] == pytest.approx(bench.device._shared.world.passed_l, rel=0.03)


def test_a_cut_wire_of_a_meter_is_a_flow_of_zero_and_of_an_outlet_a_trip():
    # an unsupervised loop can't tell more; what the pressures say is the station's affair
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(60)
    bench.device.cut(17)
    bench.device.cut(22)
    said = bench.run(5)
    assert (said[-1]["flow"].value, said[-1]["machine-outlet"].value) == (0.0, 1.0)
    bench.device.cut(17, False)
    bench.device.cut(22, False)
    said = bench.run(5)
    assert said[-1]["flow"].value == pytest.approx(bench.true_flow(), rel=0.03)
    assert said[-1]["machine-outlet"].value == 0.0


def test_a_line_that_fails_is_let_go_and_taken_again_and_the_others_go_on(monkeypatch):
    now_s = [1000.0]
    monkeypatch.setattr("adapters.gpio.time.monotonic", lambda: now_s[0])
    bench = Bench()
    bench.adapter.open()
    bench.device.break_line(22, errno.EIO)
    said = bench.run(1)[-1]
    assert (said["machine-outlet"].value, said["machine-outlet"].reason) == (None, "no_answer")
    assert f"line 22 of {bench.device.path} can't be read ({os.strerror(errno.EIO)})" in said["machine-outlet"].detail
    assert said["power"].value == 1.0
    bench.device.break_line(22, None)
    now_s[0] += 1.0
    assert bench.run(1)[-1]["machine-outlet"].value == 0.0


def test_a_line_that_can_be_taken_but_never_read_is_tried_ever_more_seldom_and_said_once(monkeypatch, caplog):
    now_s = [1000.0]
    monkeypatch.setattr("adapters.gpio.time.monotonic", lambda: now_s[0])
    bench = Bench()
    bench.adapter.open()
    bench.device.break_line(22, errno.EIO)
    tries: list[float] = []
    take = bench.device.take

    def counted(line: Any, generation: int) -> Any:
        tries.append(now_s[0])
        return take(line, generation)

    bench.device.take = counted  # type: ignore[method-assign]  # to see when it is tried
    for second in range(180):
        now_s[0] = 1000.0 + second
        assert bench.run(1)[-1]["machine-outlet"].reason == "no_answer"
    gaps = [later - sooner for sooner, later in zip([1000.0, *tries], tries, strict=False)]
    assert gaps == sorted(gaps) and 60.0 >= gaps[-1] > 30.0 and len(tries) < 12
    assert sum("can't be read" in line for line in caplog.messages) == 1
    bench.device.break_line(22, None)
    now_s[0] += 60.0
    assert bench.run(1)[-1]["machine-outlet"].value == 0.0


def test_a_chip_that_is_unplugged_is_the_bus_and_counts_go_on_after_it():
    bench = Bench(Draw(*DRAW_S))
    bench.adapter.open()
    bench.run(60)
    counted = bench.adapter.counts["flow: pulses"]
    bench.device.unplug()
    bench.clock.tell(500)
    with pytest.raises(BusLost, match=f"{bench.device.path}, lines 17 \\(flow\\), .*the chip is gone") as lost:
        bench.read()
    assert "\n" not in str(lost.value)
    bench.adapter.close()
    again = bench.made()
    again.resume(bench.adapter)
    with pytest.raises(BusLost, match="the chip is not there"):
        again.open()
    assert not again.changed()
    bench.device.replug()
    assert again.changed() and not again.changed()
    again.open()
    bench.adapter = again
    said = bench.run(5, "flow")
    assert flows(said)[-1] == pytest.approx(bench.true_flow(), rel=0.03)
    assert again.counts["flow: pulses"] > counted
    assert again.counts["flow: restarts"] == 0  # a line that we took anew is no surprise
    again.close()
    again.close()
    with pytest.raises(BusLost, match="not open"):
        again.read(["flow"])


def test_a_chip_that_goes_while_its_lines_are_taken_is_the_bus():
    bench = Bench()
    take = bench.device.take

    def gone(line: Any, generation: int) -> Any:
        bench.device.unplug()
        return take(line, generation)

    bench.device.take = gone  # type: ignore[method-assign]  # the plug is pulled in the middle
    with pytest.raises(BusLost, match="the chip is gone"):
        bench.adapter.open()
    bench.adapter.close()


# -- what a contact was between two looks


def contact(bench: Bench, point: str, by_ms: int) -> list[Sample]:
    bench.clock.tell(by_ms)
    return [bench._transducers[raw.point](raw) for raw in bench.adapter.read([point])]


def test_each_of_twenty_short_trips_between_two_looks_is_told_with_its_time():
    bench = Bench()
    bench.adapter.open()
    contact(bench, "machine-outlet", 1000)
    for trip in range(20):
        at_ms = bench.clock.mono_ms() + 35 * (trip + 1) % 650 + 10
        bench.device.flip(22, at_ms, 300)
        said = contact(bench, "machine-outlet", 1000)
        assert [(one.value, one.mono_ms) for one in said] == [(1.0, at_ms), (0.0, bench.clock.mono_ms())]
        assert [one.value for one in contact(bench, "machine-outlet", 1000)] == [0.0]
    assert bench.adapter.counts["machine-outlet: changes between two looks"] == 20


def test_a_trip_that_a_look_sees_is_told_once_and_not_again_when_it_is_over():
    bench = Bench()
    bench.adapter.open()
    contact(bench, "machine-outlet", 1000)
    bench.device.flip(22, bench.clock.mono_ms() + 900, 300)
    assert [[one.value for one in contact(bench, "machine-outlet", 1000)] for _ in range(3)] == [[1.0], [0.0], [0.0]]
    assert "machine-outlet: changes between two looks" not in bench.adapter.counts


def test_a_trip_before_the_first_look_is_told_and_a_storm_of_changes_is_one_reading_more():
    bench = Bench()
    bench.adapter.open()
    bench.device.flip(25, bench.clock.mono_ms() + 100, 200)
    assert [one.value for one in contact(bench, "leak", 1000)] == [1.0, 0.0]
    for at in range(30):
        bench.device.flip(25, bench.clock.mono_ms() + 30 * at + 10, 15)
    assert [one.value for one in contact(bench, "leak", 1000)] == [1.0, 0.0]


def test_a_short_trip_is_an_alarm_and_its_outlet_is_not_live_for_twenty_seconds():
    bench, driver = Bench(), Driver()
    bench.adapter.open()
    driver.mono_ms = bench.clock.mono_ms()
    states = []
    for second in range(40):
        if second == 12:
            bench.device.flip("HEATER", bench.clock.mono_ms() + 400, 300)
        heard = contact(bench, "heater-outlet", 1000)
        driver.mono_ms, driver.wall_ms = bench.clock.mono_ms(), driver.wall_ms + 1000
        driver.keep(driver.station.hear(heard, driver.now))
        condition = driver.station.conditions["outlet:heater"](driver.now)
        states.append(condition.state)
    assert states[11] == "met" and set(states[12:32]) == {"unknown"} and states[33] == "met"
    trips = [(e.body["to"], e.body["value"]) for e in driver.said if e.body.get("id") == "outlet_tripped:heater"]
    assert [state for state, _ in trips] == ["unacknowledged", "returned_unacknowledged"]
    assert trips[0][1] == 1.0


# -- edge detection refused at start


def test_a_line_in_use_names_its_holder_is_tried_with_back_off_and_costs_no_other(monkeypatch, caplog):
    now_s = [1000.0]
    monkeypatch.setattr("adapters.gpio.time.monotonic", lambda: now_s[0])
    bench = Bench(Draw(0, 600))
    bench.device.wire(17, "flow", per_l=450.0)
    bench.device.hold(17, "other-driver")
    bench.adapter.open()
    tries: list[float] = []
    take = bench.device.take

    def counted(line: Any, generation: int) -> Any:
        if line == 17:
            tries.append(now_s[0])
        return take(line, generation)

    bench.device.take = counted  # type: ignore[method-assign]  # to see when it is tried
    for second in range(180):
        now_s[0] = 1000.0 + second
        said = bench.run(1)[-1]
        assert (said["flow"].value, said["flow"].reason) == (None, "in_use")
        assert f"line 17 of {bench.device.path} is in use by other-driver" in said["flow"].detail
        assert (said["power"].value, said["machine-outlet"].value) == (1.0, 0.0)
    gaps = [later - sooner for sooner, later in zip([1000.0, *tries], tries, strict=False)]
    assert gaps == sorted(gaps) and 60.0 >= gaps[-1] > 30.0 and len(tries) < 12
    bench.device.free(17)
    now_s[0] += 60.0
    assert bench.run(3)[-1]["flow"].value == pytest.approx(bench.true_flow(), rel=0.03)
    assert sum("in use by" in line for line in caplog.messages) == 1


def test_a_line_that_the_chip_does_not_have_is_named():
    points = {"leak": POINTS["leak"] | {"line": "TRAY"}, "power": POINTS["power"]}
    bench = Bench(points={"power": POINTS["power"]})
    bench.points = points
    bus = {"id": "lines", "kind": "gpio", "chip": bench.device.path}
    source = SimulatedLines(bus, {"power": POINTS["power"]}, bench.clock, bench.device)
    bench.adapter = gpio.Gpio(bus, points, bench.clock, lambda *made: source)
    bench.adapter.open()
    raws = {raw.point: raw for raw in bench.adapter.read(["leak", "power"])}
    assert (raws["leak"].number, raws["leak"].reason) == (None, "no_such_line")
    assert raws["leak"].detail == f"{bench.device.path} has no line TRAY"
    assert raws["power"].number == 1.0


@dataclass
class Plan:
    id: str
    options: dict[str, Any]
    points: dict[str, dict[str, Any]]
    time_limit_ms: int | None = None
    kind: str = "gpio"


@dataclass
class Heard:
    samples: list[Sample] = field(default_factory=list)
    told: list[tuple[str, str, str]] = field(default_factory=list)
    came: threading.Event = field(default_factory=threading.Event)

    def take(self, samples: Any) -> None:
        self.samples += samples

    def last(self, point: str) -> Sample | None:
        return next((sample for sample in reversed(self.samples) if sample.point == point), None)


def wait_for(what: Any, seconds: float = 20.0) -> Any:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        found = what()
        if found:
            return found
        time.sleep(0.01)
    raise AssertionError("it did not happen in time")


def test_a_held_line_and_a_missing_chip_at_the_start_stop_nobody(monkeypatch):
    # an input whose request fails with "busy" at the start and succeeds later; a second whose chip does not exist
    monkeypatch.setattr("adapters.gpio.FIRST_BACK_OFF_S", 0.05)
    clock, heard = RealClock(), Heard()
    device = device_of(clock)
    device.wire(17, "flow", per_l=450.0)
    device.hold(17, "pps-gpio")
    missing = "/dev/gpiochip-that-is-not-there"
    first = {"flow": POINTS["flow"], "power": POINTS["power"]}
    second = {"leak": POINTS["leak"]}
    points = {name: settings_of(name, table, 50) for name, table in (first | second).items()}

    def made(bus: Any, tables: Any, its_clock: Any) -> gpio.Gpio:
        if bus["id"] == "other":
            return gpio.Gpio(bus, tables, its_clock)
        return gpio.Gpio(bus, tables, its_clock, lambda *args: SimulatedLines(*args, device=device))

    plans = [Plan("lines", {"chip": device.path}, first), Plan("other", {"chip": missing}, second)]
    acquisition = Acquisition(
        plans,
        points,
        clock,
        heard.take,
        lambda bus, what, why, now: heard.told.append((bus, what, why)),
        lambda kind: made,
    )
    acquisition.start()
    try:
        held = wait_for(lambda: (one := heard.last("flow")) and one.reason == "in_use" and one)
        assert "line 17" in held.detail and "pps-gpio" in held.detail
        lost = wait_for(lambda: next((why for bus, what, why in heard.told if (bus, what) == ("other", "lost")), None))
        if "gpiod can't be imported" not in lost:  # without the extra, that is what has to be mended first
            assert missing in lost and "25 (leak)" in lost and "not there" in lost
        assert wait_for(lambda: (one := heard.last("power")) and one.value == 1.0)
        ages = acquisition.ages()
        assert ages["power"] is not None and ages["flow"] is None
        device.free(17)
        wait_for(lambda: (one := heard.last("flow")) and one.value == 0.0)
        assert (lost_leak := heard.last("leak")) is not None and lost_leak.value is None
    finally:
        assert acquisition.stop()


# -- settings


@pytest.mark.parametrize(
    "table, said",
    [
        ({"line": None}, "no line"),
        ({"line": True}, "no line"),
        ({"line": ""}, "no line"),
        ({"bias": "up"}, "no bias"),
        ({"closed_is": "open"}, "no level"),
        ({"debounce": "20"}, "debounce"),
        ({"pulses": {"per": "1 L", "count": 450}}, "maximum flow is missing"),
        ({"pulses": {"count": 450, "maximum_flow": "30 L/min"}}, "pulses"),
        ({"pulses": {"k_factor": "450", "maximum_flow": "30 L/min"}}, "no unit"),
        ({"pulses": {"k_factor": "450 /L", "maximum_flow": "30"}}, "no unit"),
        ({"pulses": 450}, "pulses"),
    ],
)
def test_unusable_settings_get_one_sentence(table, said):
    with pytest.raises(UnusableInput, match=said) as refused:
        gpio.Gpio({"id": "lines", "chip": "/dev/gpiochip0"}, {"p": POINTS["power"] | table}, ToldClock())
    assert "bus lines" in str(refused.value) and "\n" not in str(refused.value)


def test_unknown_lines_get_one_sentence():
    with pytest.raises(UnusableInput, match="no kind of lines"):
        gpio.Gpio({"id": "lines", "chip": "x", "lines": "imaginary"}, {}, ToldClock())


def test_a_line_is_taken_as_it_is_wired():
    wanted = {
        name: gpio._line("lines", name, POINTS["power"] | table).wanted
        for name, table in {
            "usual": {}, "down": {"bias": "pull-down"}, "own": {"bias": "none", "closed_is": "high", "debounce": "5 ms"},
            "meter": {"pulses": METER},
        }.items()
    }  # fmt: skip
    assert wanted["usual"] == ("pull-up", True, 20.0, False)  # a contact to ground
    assert wanted["down"] == ("pull-down", False, 20.0, False)  # a contact to the supply
    assert wanted["own"] == ("none", False, 5.0, False)
    assert wanted["meter"] == ("pull-up", True, 0.0, True)


def test_reading_lines_costs_little():
    # 57 pulses a second and four contacts, each half second: the share of one core of an hour of readings
    bench = Bench(Draw(0, 3600))
    bench.adapter.open()
    began = time.process_time()
    bench.run(600)
    assert time.process_time() - began < 0.05 * 600 / 10  # 5 % of a core, a tenth of it here
