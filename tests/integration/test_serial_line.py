"""The serial-line adapter on pseudo-terminals: what a transmitter, a cable, a plug and other programs do to it.

A pseudo-terminal gives the same exceptions as a pulled USB adapter (seen word for word with a real USB-serial driver); it has
no baud rate and no parity, so nothing here says anything about those. Sample bytes are spelt out where the case is about them.
"""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import select
import subprocess
import sys
import termios
import threading
import time
import tty

import pytest
import serial

from adapters.cut_numbers import Verdict
from adapters.serial_line import SerialLine
from adapters.serial_port import PortInUse
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.domain.errors import BusLost
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point
from tests.yardstick import Yardstick


class Line:
    """The far end of a serial line behind a lasting name, as /dev/serial/by-id/... is one."""

    def __init__(self, folder):
        self.path = str(folder / "usb-transmitter")
        self.plug()

    def plug(self):
        """A new device, and the lasting name leads to it."""
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)  # without it the far end's bytes are echoed and line ends changed
        os.symlink(os.ttyname(self.slave), self.path + ".new")
        os.replace(self.path + ".new", self.path)

    def send(self, data):
        os.write(self.master, data)

    def unplug(self):
        os.close(self.master)
        os.close(self.slave)
        os.unlink(self.path)
        self.master = self.slave = -1

    def end(self):
        if self.master >= 0:
            self.unplug()


@pytest.fixture
def line(tmp_path):
    line = Line(tmp_path)
    yield line
    line.end()


CSV = {"reservoir": 0, "supply": 1, "conductivity": 2}
CSV_POINTS = {
    name: {"id": name, "every": "500 ms", "text": {"pattern": rf"^(?:[^,]+,){{{column}}}(?P<value>[^,]+)(?:,|$)"}}
    for name, column in CSV.items()
}
NAMED_POINTS = {
    "supply": {"every": "500 ms", "text": {"pattern": r"P1=(?P<value>\S+)", "unit": "psi"}},
    "reservoir": {"every": "500 ms", "text": {"pattern": r"T=(?P<value>[-+.\d]+)", "unit": "degC"}},
    "outlet": {"every": "500 ms", "text": {"pattern": r"OUTLET=(?P<value>\w+)", "true": "TRIP", "false": "OK"}},
}


class Reader:
    """An open adapter, and what it heard. Its points have had their first number, of which test_cut_numbers.py tells."""

    def __init__(self, line, points, **options):
        self.adapter = SerialLine({"id": "lines", "port": line.path, **options}, points, RealClock())
        self.adapter.open()
        for numbers in self.adapter._numbers.values():
            assert [numbers.look("0", 0.0) for _ in range(2)][1] is Verdict.BORNE_OUT

    def hear(self, until, timeout_s=30.0):
        """All raw readings until `until` of them came, by (point, number or reason)."""
        raws, deadline_s = [], time.monotonic() + timeout_s
        while len(raws) < until:
            left_s = deadline_s - time.monotonic()
            assert left_s > 0, raws
            raws += self.adapter.listen(left_s)
        return raws

    def nothing_for(self, s):
        return list(self.adapter.listen(s)) == []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.adapter.close()


def pairs(raws):
    return [(raw.point, raw.reason or raw.number) for raw in raws]


def test_several_points_in_one_line(line):
    with Reader(line, NAMED_POINTS) as reader:
        sent_ms = RealClock().mono_ms()
        line.send(b"\nT=39.0 P1=+52.4 OUTLET=OK\r\nOUTLET=TRIP\r\n")
        raws = reader.hear(4)
        assert pairs(raws) == [("supply", 52.4), ("reservoir", 39.0), ("outlet", 0.0), ("outlet", 1.0)]
        assert all(sent_ms <= raw.mono_ms <= RealClock().mono_ms() for raw in raws)


def test_every_line_is_handed_over_with_its_own_time_and_the_newest_comes_last(line):
    with Reader(line, NAMED_POINTS) as reader:
        line.send(b"\nT=39.0\n")
        first = reader.hear(1)
        line.send(b"T=39.1\nT=39.2\n")
        later = reader.hear(2)
        assert pairs(first + later) == [("reservoir", 39.0), ("reservoir", 39.1), ("reservoir", 39.2)]
        assert first[0].mono_ms <= later[0].mono_ms <= later[1].mono_ms


def test_a_line_cut_by_the_time_limit_is_one_line(line):
    """`39.1,52.` then 1.2 s nothing, then `4,2.31`: 52.4, never 52.0; and the rest is no line of its own."""
    with Reader(line, CSV_POINTS) as reader:
        line.send(b"\n39.1,52.")
        heard, began_s = [], time.monotonic()
        while time.monotonic() - began_s < 1.2:  # reads with a limit of 0.5 s go by meanwhile
            heard += [
                raw for raw in [*reader.adapter.listen(0.25), *reader.adapter.read(list(CSV))] if raw.number is not None
            ]
        line.send(b"4,2.31\n")
        heard += reader.hear(3)
        assert pairs(heard) == [("reservoir", 39.1), ("supply", 52.4), ("conductivity", 2.31)]


def test_a_fragment_whose_rest_never_comes_is_dropped_and_counted(line, monkeypatch, caplog):
    monkeypatch.setattr("adapters.serial_line.FRAGMENT_S", 0.1)
    with Reader(line, CSV_POINTS) as reader:
        line.send(b"\n39.1,52.")
        assert reader.nothing_for(0.2)
        line.send(b"4,2.31\n39.2,52.5,2.32\n")
        assert pairs(reader.hear(3)) == [("reservoir", 39.2), ("supply", 52.5), ("conductivity", 2.32)]
        assert reader.adapter.counts["unfinished lines dropped"] == 1
    assert [record.message for record in caplog.records if "not finished" in record.message]


def test_bytes_from_before_the_port_was_ours_are_nobodys(line):
    line.send(b"T=1.0\nT=2.0\n")
    with Reader(line, NAMED_POINTS) as reader:
        line.send(b"0\nT=39.0\n")
        assert pairs(reader.hear(1)) == [("reservoir", 39.0)]


def test_rubbish_after_the_opening_is_skipped_to_the_first_good_line_with_one_line_in_the_log(line, caplog):
    """First bytes at another speed, then boot text, then good lines; in mid-stream a byte 0xff."""
    points = {"a": {"every": "1 s", "text": {"pattern": r"(?P<value>[\d.]+)"}}}
    with caplog.at_level(logging.INFO), Reader(line, points) as reader:
        line.send(bytes.fromhex("aa 65 d1 b9 f1 30 3b 30 0a"))
        line.send(b"sensor booting\nready\n\n39.0\n")
        assert pairs(reader.hear(1)) == [("a", 39.0)]
        line.send(b"39.1\xff\n")
        assert pairs(reader.hear(1)) == [("a", "garbled")]
        line.send(b"39.2 \xb0C\n39.3 \xb5\n" + "39.4 °C\n".encode())
        assert pairs(reader.hear(3)) == [("a", 39.2), ("a", 39.3), ("a", 39.4)]
        line.send(bytes.fromhex("aa 65 d1 b9 f1 30 3b 30 0a") * 20 + b"39.5\n")
        assert [pair for pair in pairs(reader.hear(21)) if pair[1] != "garbled"] == [("a", 39.5)]
    assert len(caplog.records) <= 2, caplog.messages  # one for text without a value, one for rubbish


def test_a_decimal_comma_is_bad_unless_the_station_file_says_so(line):
    """`39,1;52,4;2,31`, as a transmitter of another locale sends it."""
    semicolons = {name: rf"^(?:[^;]+;){{{column}}}(?P<value>[^;]+)(?:;|$)" for name, column in CSV.items()}
    plain = {name: {"every": "1 s", "text": {"pattern": pattern}} for name, pattern in semicolons.items()}
    comma = {
        name: {"every": "1 s", "text": {"pattern": pattern, "decimal": "comma"}} for name, pattern in semicolons.items()
    }
    with Reader(line, plain) as reader:
        line.send(b"\n39,1;52,4;2,31\n")
        assert {raw.reason for raw in reader.hear(3)} == {"garbled"}
    with Reader(line, CSV_POINTS) as reader:
        line.send(b"\n39,1;52,4;2,31\n")
        assert all(raw.number is None for raw in reader.adapter.listen(0.3))
    with Reader(line, comma) as reader:
        line.send(b"\n39,1;52,4;2,31\n")
        assert [raw.number for raw in reader.hear(3)] == [39.1, 52.4, 2.31]


@pytest.mark.parametrize(
    "sent, reason",
    [
        (b"T=nan", None), (b"P1=nan", "not_a_number"), (b"P1=-inf", "not_a_number"), (b"P1=1_000", "garbled"), (b"P1=0x1F", "garbled"),
        (b"P1=1e3", "garbled"), (b"P1=----", "garbled"), (b"P1=52.", "garbled"), (b"OUTLET=MAYBE", "garbled"),
        (b"P1=52.4\x00", "garbled"), (b"P1=1.0 P1=2.0", "garbled"),
    ],
)  # fmt: skip
def test_what_is_no_plain_number_or_word_is_bad(line, sent, reason):
    with Reader(line, NAMED_POINTS) as reader:
        line.send(b"\n" + sent + b"\nT=39.0\n")
        raws = reader.hear(2 if reason else 1)
        assert [raw.reason for raw in raws if raw.number is None] == ([reason] if reason else [])
        assert pairs(raws)[-1] == ("reservoir", 39.0)


def test_an_overlong_line_is_skipped_and_counted(line, caplog):
    with Reader(line, NAMED_POINTS) as reader:
        sent = [b"\n", *[b"x" * 1000] * 9, b"T=1\nT=39.0\n"]
        sender = threading.Thread(target=lambda: [line.send(piece) for piece in sent])
        sender.start()
        assert pairs(reader.hear(1)) == [("reservoir", 39.0)]
        sender.join()
        assert reader.adapter.counts["overlong lines dropped"] == 1
    assert len(caplog.records) == 1


def test_a_backlog_is_bounded_and_the_newest_survive(line):
    with Reader(line, NAMED_POINTS) as reader:
        line.send(b"\n" + b"".join(b"T=%d\n" % n for n in range(500)))
        time.sleep(0.05)  # the backlog gathers while nobody reads: that is the case
        raws = reader.hear(64)
        while raws[-1].number != 499:
            raws += reader.hear(1)
        dropped = reader.adapter.counts["lines of a backlog dropped"]
        assert dropped + len(raws) == 500
        assert dropped > 0


def test_silence_is_bad_after_its_limit_and_not_before(line):
    with Reader(line, NAMED_POINTS, silence="200 ms") as reader:
        line.send(b"\nT=39.0\n")
        reader.hear(1)
        assert reader.adapter.read(["reservoir"]) == []
        assert reader.nothing_for(0.25)
        assert pairs(reader.adapter.read(["reservoir"])) == [("reservoir", "no_answer")]
        line.send(b"hello\nhello\n")
        assert reader.nothing_for(0.05)
        (raw,) = reader.adapter.read(["supply"])
        assert (raw.reason, raw.detail) == ("garbled", "2 lines came without a value")


def test_nothing_counts_before_the_sender_has_settled(line):
    with Reader(line, NAMED_POINTS, settle="300 ms", silence="100 ms") as reader:
        line.send(b"\nT=1.0\n")
        assert reader.nothing_for(0.1)
        assert reader.adapter.read(["reservoir"]) == []
        assert reader.nothing_for(0.25)
        line.send(b"2.0\nT=39.0\n")
        assert pairs(reader.hear(1)) == [("reservoir", 39.0)]


# -- the port


def test_unplugged_in_the_middle_of_a_wait(line):
    with Reader(line, NAMED_POINTS) as reader:
        pulled = threading.Timer(0.1, line.unplug)
        pulled.start()
        with pytest.raises(BusLost, match="the port is lost") as lost:
            reader.adapter.listen(3.0)
        pulled.join()
        assert line.path in str(lost.value)
        with pytest.raises(BusLost):
            reader.adapter.read(["supply"])


def test_a_port_that_is_not_there_names_itself(tmp_path):
    reader = SerialLine({"id": "lines", "port": str(tmp_path / "gone")}, NAMED_POINTS, RealClock())
    with pytest.raises(BusLost, match=r"bus lines, .*gone: the port is not there.*Plug it in"):
        reader.open()
    reader.close()


@pytest.mark.parametrize("what", ["file", "folder", "pipe"])
def test_something_else_under_the_ports_name(tmp_path, what):
    path = tmp_path / what
    {"file": path.touch, "folder": path.mkdir, "pipe": lambda: os.mkfifo(path)}[what]()
    reader = SerialLine({"id": "lines", "port": str(path)}, NAMED_POINTS, RealClock())
    with pytest.raises(BusLost, match="can't be opened as a serial port"):
        reader.open()
    reader.close()


def test_two_buses_on_one_port_and_who_holds_it(line):
    with Reader(line, NAMED_POINTS):
        with pytest.raises(PortInUse, match="this program itself") as refused:
            SerialLine({"id": "second", "port": line.path}, NAMED_POINTS, RealClock()).open()
        assert refused.value.reason == "in_use"
    Reader(line, NAMED_POINTS).adapter.close()


def test_a_port_that_another_program_holds_names_it(line):
    hold = (
        "import fcntl, sys, time; f = open(sys.argv[1], 'rb', 0); fcntl.flock(f, fcntl.LOCK_EX)\n"
        "print('held', flush=True); time.sleep(60)"
    )
    other = subprocess.Popen([sys.executable, "-c", hold, line.path], stdout=subprocess.PIPE)
    try:
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(PortInUse, match=rf"held by \S+ \(process {other.pid}\)"):
            SerialLine({"id": "lines", "port": line.path}, NAMED_POINTS, RealClock()).open()
    finally:
        other.kill()
        other.communicate()
    Reader(line, NAMED_POINTS).adapter.close()


def test_the_port_is_locked_while_it_is_open_and_free_afterwards(line):
    with Reader(line, NAMED_POINTS):
        with pytest.raises(serial.SerialException) as refused:
            serial.Serial(line.path, exclusive=True)
        assert refused.value.errno == errno.EAGAIN
    serial.Serial(line.path, exclusive=True).close()


@pytest.mark.parametrize(
    "fails", [termios.error(22, "Invalid argument"), OSError(5, "Input/output error"), serial.SerialException("gone")]
)
def test_every_kind_of_failure_of_a_dead_port_is_a_lost_bus(line, monkeypatch, fails):
    """termios.error is neither an OSError nor a SerialException; in_waiting gives a bare OSError."""

    def fail(*_, **__):
        raise fails

    reader = SerialLine({"id": "lines", "port": line.path}, NAMED_POINTS, RealClock())
    with monkeypatch.context() as patch:
        patch.setattr(serial.Serial, "reset_input_buffer", fail)
        with pytest.raises(BusLost):
            reader.open()
        reader.close()
    with monkeypatch.context() as patch:
        patch.setattr(serial.Serial, "_reconfigure_port", fail)
        with pytest.raises(BusLost):
            reader.open()
        reader.close()
    reader.open()
    line.send(b"\nT=39.0\n")
    with monkeypatch.context() as patch:
        patch.setattr(serial.Serial, "in_waiting", property(fail))
        with pytest.raises(BusLost):
            reader.listen(1.0)
        patch.setattr(serial.Serial, "close", fail)
        reader.close()
    reader.close()


def test_parity_that_the_port_cannot_do_is_a_lost_bus_or_works(line):
    """A pseudo-terminal takes 8E1 at the first opening and refuses it at the second, by termios.error."""
    for _ in range(3):
        reader = SerialLine({"id": "lines", "port": line.path, "parity": "even"}, NAMED_POINTS, RealClock())
        try:
            reader.open()
        except BusLost as lost:
            assert "can't be opened as a serial port" in str(lost)
        reader.close()


def test_no_handle_is_left_open(line):
    def handles():
        return len(os.listdir("/proc/self/fd"))

    before = handles()
    for _ in range(5):
        with Reader(line, NAMED_POINTS) as reader:
            with pytest.raises(PortInUse):
                SerialLine({"id": "second", "port": line.path}, NAMED_POINTS, RealClock()).open()
            reader.adapter.read(["supply"])
    assert handles() == before


def test_a_wait_ends_when_it_is_woken_from_another_thread(line):
    with Reader(line, NAMED_POINTS) as reader:
        waker = threading.Timer(0.05, reader.adapter.wake)
        waker.start()
        began_s = time.monotonic()
        assert reader.adapter.listen(60.0) == ()
        assert time.monotonic() - began_s < 50
        waker.join()
    reader.adapter.wake()  # closed meanwhile: nothing happens


# -- under acquisition


class Station:
    """Acquisition of one serial bus, and what it said."""

    def __init__(self, line, **options):
        self.samples, self.told = [], []
        points = {
            "supply": Point("supply", Role.SUPPLY_PRESSURE, Kind.PRESSURE, 200, 1000, 0, 1000),
            "reservoir": Point("reservoir", Role.RESERVOIR_TEMPERATURE, Kind.TEMPERATURE, 200, 1000, 0, 100),
        }

        class Plan:
            id, kind, time_limit_ms = "lines", "serial-line", None

        plan = Plan()
        plan.options = {"port": line.path, **options}
        plan.points = {name: {**NAMED_POINTS[name], "every": "200 ms"} for name in points}
        self.acquisition = Acquisition(
            [plan], points, RealClock(), self.samples.extend, lambda bus, what, why, now: self.told.append((what, why))
        )

    def wait(self, until, timeout_s=60.0):
        deadline_s = time.monotonic() + timeout_s
        while not until():
            assert time.monotonic() < deadline_s, (self.samples[-5:], self.told)
            time.sleep(0.01)

    def good(self, point, since=0):
        return [sample for sample in self.samples[since:] if sample.point == point and sample.value is not None]

    def __enter__(self):
        self.acquisition.start()
        return self

    def __exit__(self, *_):
        assert self.acquisition.stop(30.0)


class Talker(threading.Thread):
    """A transmitter that sends a line each 50 ms while it is plugged in."""

    def __init__(self, line):
        super().__init__(daemon=True)
        self.line, self.done = line, threading.Event()

    def run(self):
        while not self.done.wait(0.05):
            try:
                ready = select.select([], [self.line.master], [], 0)[1]
                if ready:
                    self.line.send(b"T=39.0 P1=52.4\r\n")
            except (OSError, ValueError):
                continue  # unplugged just now


@pytest.fixture
def talking(line):
    talker = Talker(line)
    talker.start()
    yield line
    talker.done.set()
    talker.join()


def test_unplugged_and_back_under_another_name(talking, monkeypatch):
    """The back-off is made long, so that what opens the port again is that its lasting name leads somewhere else."""
    monkeypatch.setattr("edge.acquisition.worker.FIRST_BACK_OFF_S", 30.0)
    line = talking
    with Station(line) as station:
        station.wait(lambda: station.good("supply"))
        assert station.good("supply")[0].value == pytest.approx(52.4 * 6.894757293168361, abs=1e-9)
        first_name = os.path.realpath(line.path)
        with Yardstick() as yardstick:
            pulled_ms = RealClock().mono_ms()
            line.unplug()
            station.wait(lambda: len(station.told) == 2)
            assert (
                RealClock().mono_ms() - pulled_ms < 200 + 800 + 1000 * yardstick.late_s()
            )  # within a period, and a little
        station.wait(lambda: station.samples[-1].reason == "bus_lost")
        spare = os.openpty()  # takes the number that the old one had: the device comes back under another name
        cpu_s, began_s = time.process_time(), time.monotonic()
        while time.monotonic() - began_s < 2.5:
            time.sleep(0.1)
        assert (time.process_time() - cpu_s) / (time.monotonic() - began_s) < 0.05
        assert [what for what, _ in station.told] == ["back", "lost"]
        line.plug()
        assert os.path.realpath(line.path) != first_name
        before = len(station.samples)
        station.wait(lambda: station.good("supply", before) and station.good("reservoir", before))
        assert [what for what, _ in station.told] == ["back", "lost", "back"]
        for handle in spare:
            os.close(handle)


def test_lines_are_stamped_when_they_come_and_not_when_they_are_next_due(line):
    clock = RealClock()
    with Station(line, silence="30 s") as station:
        station.wait(lambda: station.acquisition.status()["lines"]["reads"] >= 1)
        line.send(b"\nT=39.0\nT=39.0\n")
        station.wait(lambda: station.good("reservoir"))
        late_ms = []
        for _ in range(5):
            with Yardstick() as yardstick:
                sent_ms = clock.mono_ms()
                before = len(station.samples)
                line.send(b"T=39.0\n")
                station.wait(lambda since=before: station.good("reservoir", since))
                late_ms.append(station.good("reservoir", before)[0].mono_ms - sent_ms - 1000 * yardstick.late_s())
    # waiting for the next period would make it half a period, 100 ms, on average
    assert sorted(late_ms)[2] < 40, late_ms


def test_a_held_port_is_said_once_and_read_as_soon_as_it_is_free(talking):
    line = talking
    holder = os.open(line.path, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(holder, fcntl.LOCK_EX)
    try:
        with Station(line) as station:
            station.wait(lambda: station.samples)
            assert {sample.reason for sample in station.samples} == {"in_use"}
            assert "held by" in station.told[0][1]
            fcntl.flock(holder, fcntl.LOCK_UN)
            station.wait(lambda: station.good("supply"))
            assert [what for what, _ in station.told] == ["lost", "back"]
    finally:
        os.close(holder)


def test_a_stop_does_not_wait_for_the_next_line(line):
    with Station(line, silence="30 s") as station:
        station.wait(lambda: station.acquisition.threads)
        began_s = time.monotonic()
        assert station.acquisition.stop(25.0)
        assert time.monotonic() - began_s < 20.0  # of 30 s of silence


def test_a_dripping_line_costs_little(line):
    with Station(line) as station:
        cpu_s, began_s = time.process_time(), time.monotonic()
        while time.monotonic() - began_s < 1.0:
            line.send(b"x")
            time.sleep(0.001)
        assert (time.process_time() - cpu_s) / (time.monotonic() - began_s) < 0.25
        line.send(b"\nT=39.0\nT=39.0\n")
        station.wait(lambda: station.good("reservoir"))
