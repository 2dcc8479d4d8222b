"""The modbus-rtu adapter on pseudo-terminals: hard cases with their own bytes, and everything that units and cables do wrong.

A pseudo-terminal has no baud rate and refuses parity sooner or later, so the line is 8N1 here and nothing is said about frame timing.
The simulated units make their frames with code of their own; a third opinion is in test_modbus_other_server.py.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time

import pytest
import serial

from adapters.modbus_rtu import ModbusRtu
from adapters.serial_port import PortInUse
from edge.clock import RealClock
from edge.domain.contracts import Raw
from edge.domain.errors import BusLost, UnusableInput
from edge.domain.readings import REASONS, Kind, Quality, Role
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point
from simulators.devices.modbus import MISBEHAVIOURS, ModbusSlaves, bit, crc_of, octets, register
from tests.integration.modbus_kit import Master, Played, point
from tests.yardstick import Yardstick

FLOAT = {"pressure": point(1, 0, "float32", order="ABCD", unit="psi")}
COUNT = {"pressure": point(1, 0, scale=0.01, unit="mA")}


@pytest.fixture
def units(request):
    """Simulated units that run until the test ends; `request.param` or a test gives their registers."""
    made = []

    def make(banks, **options):
        made.append(ModbusSlaves(banks, **options))
        made[-1].start()
        return made[-1]

    yield make
    for one in made:
        one.stop()


# -- cases with their own bytes


def test_the_adapter_hears_itself():
    """The echo of the question stands before the answer; then there is nothing but the echo."""
    echo, answer = "01 04 00 00 00 02 71 cb", "01 04 04 42 3e 00 00 8e 30"
    with Played(f"{echo} {answer}", echo) as far, Master(far.port, FLOAT, time_limit="300 ms") as master:
        assert master.ask()["pressure"].number == 47.5
        assert far.asked == [bytes.fromhex(echo)]
        with Yardstick() as yardstick:
            began_s = time.monotonic()
            raw = master.ask()["pressure"]
            took_s = time.monotonic() - began_s
        assert (raw.number, raw.reason) == (None, "no_answer")
        assert "no answer; the adapter hears itself" in raw.detail
        assert 0.29 < took_s < 0.8 + yardstick.late_s()
        assert master.adapter.counts["echoes"] == 2
        assert master.adapter.counts["unit 1 broken"] == 0


def test_registers_in_the_wrong_order_name_the_right_one():
    """47.5 with its words swapped: in order ABCD it would be 2.4e-41."""
    with Played("01 04 04 00 00 42 3e 4a f4") as far:
        with Master(far.port, FLOAT) as master:
            raw = master.ask()["pressure"]
            assert (raw.number, raw.reason) == (None, "absurd_number")
            assert "in order CDAB this would be 47.5" in raw.detail
        with Master(far.port, {"pressure": point(1, 0, "float32", order="CDAB", unit="psi")}) as master:
            assert master.ask()["pressure"].number == 47.5


def test_the_sign_of_a_count_near_zero():
    """-2 counts are -0.02 mA, not 655; -1 likewise; 80 00 is an end stop. Nothing positive and large comes of them."""
    answers = ("01 04 02 ff fe 79 40", "01 04 02 ff ff b8 80", "01 04 02 80 00 d8 f0")
    with Played(*answers) as far, Master(far.port, COUNT) as master:
        assert master.ask()["pressure"].number == pytest.approx(-0.02)
        assert master.ask()["pressure"].number == pytest.approx(-0.01)
        assert master.ask()["pressure"].reason == "lower_stop"
    vented = Point("p", Role.SUPPLY_PRESSURE, Kind.PRESSURE, 1000, 10_000, -35, 1100)
    sample = transducer(vented, {"register": {"unit": "psi"}})(Raw("p", 0, -0.02, "psi"))
    assert sample.value == pytest.approx(-0.02 * 6.894757, rel=1e-6)  # kPa: shown as it is, not as zero


def noisy(units, **share):
    """A unit whose answers are spoilt at random, and a master that reads it each 500 ms, in fast motion."""
    far = units({1: {"input": {0: register(lambda: 1234, "int16")}}}, answer_s=0.001)
    far.disturb(**share)
    return far, Master(far.port, {"pressure": point(1, 0, every="500 ms")}, time_limit="300 ms")


def test_noise_on_the_line_costs_no_reading(units):
    """5 % of answers with a flipped bit, 5 % behind ff 00, one in 200 without its last byte."""
    far, master = noisy(units, flipped=0.05, noise=0.05, short=0.005)
    with master:
        raws = [master.ask()["pressure"] for _ in range(300)]
        assert {raw.number for raw in raws if raw.number is not None} == {1234}
        assert sum(raw.number is None for raw in raws) <= 1
        counts = master.adapter.counts
        assert far.sent["flipped"] > 5 and far.sent["noise"] > 5 and far.sent["short"] > 0
        assert counts["unit 1 broken"] == far.sent["flipped"] + far.sent["short"]
        assert counts["unit 1 error rate"] == pytest.approx(0.055, abs=0.04)
        assert counts["noise bytes"] >= 2 * far.sent["noise"]


def test_a_fifth_of_the_answers_broken_makes_no_point_stale(units):
    """The documented rate. A point with a period of 500 ms is stale after 10 s, 20 periods without a number."""
    far, master = noisy(units, flipped=0.2)
    with master:
        run = longest = 0
        for _ in range(120):
            raw = master.ask()["pressure"]
            assert raw.number in (None, 1234)
            run = run + 1 if raw.number is None else 0
            longest = max(longest, run)
        assert longest <= 2
        assert far.sent["flipped"] > 12


# -- late answers


@pytest.mark.parametrize("late_s", [0.45, 0.62, 0.75, 1.3])
def test_a_late_answer_is_never_taken_for_the_next_question(units, late_s):
    """Two registers with a question each, of the same length; the unit answers late each other second."""
    far = units({1: {"input": {10: register(lambda: 1010, "int16"), 20: register(lambda: 1020, "int16")}}})
    far.late_s = late_s
    points = {"10": point(1, 10, every="100 ms"), "20": point(1, 20, every="100 ms")}
    with Master(far.port, points, time_limit="300 ms") as master:
        heard, began_s = [], time.monotonic()
        while (passed_s := time.monotonic() - began_s) < 3.0:
            if int(passed_s) % 2:
                far.misbehave("late")
            else:
                far.behave()
            heard += [*master.adapter.read(["10", "20"]), *master.adapter.listen(0.1)]
        assert {(raw.point, raw.number) for raw in heard if raw.number is not None} == {("10", 1010), ("20", 1020)}
        assert far.sent["late"] >= 1
        assert {raw.reason for raw in heard} == {None, "no_answer"}
        far.behave()
        master.ask_until_good()


@pytest.mark.parametrize("late_s", [0.15, 0.21, 0.25])
def test_a_unit_that_is_always_late_gives_no_number_of_another_register(units, late_s):
    """Its answers are stale whenever they come in the time of a later question; then they must be of the same registers."""
    far = units({1: {"input": {10: register(lambda: 1010, "int16"), 20: register(lambda: 1020, "int16")}}})
    far.late_s = late_s
    far.misbehave("late")
    points = {"10": point(1, 10, every="50 ms"), "20": point(1, 20, every="50 ms")}
    with Master(far.port, points, time_limit="100 ms") as master:
        heard, began_s = [], time.monotonic()
        while time.monotonic() - began_s < 2.0:
            heard += [*master.adapter.read(["10", "20"]), *master.adapter.listen(0.02)]
        assert far.asked[1] >= 3
        assert {(raw.point, raw.number) for raw in heard if raw.number is not None} <= {("10", 1010), ("20", 1020)}


def test_after_a_silence_the_same_question_is_asked_again_and_not_too_soon():
    """A stale answer to it would be of the right registers; and one that comes within the time limit again is heard before."""
    points = {"10": point(1, 10, every="50 ms"), "20": point(1, 20, every="50 ms")}
    with Played("") as far, Master(far.port, points, time_limit="100 ms") as master:
        master.ask("10")
        while len(far.asked) < 3:
            master.adapter.read(["20"])
            master.adapter.listen(0.02)
        assert set(far.asked) == {bytes.fromhex("01 04 00 0a 00 01 11 c8")}  # for register 10, though only 20 was due
        assert (
            far.asked_at_s[1] - far.asked_at_s[0] > 0.19
        )  # twice the limit, less a little for the far end's own thread


def test_what_waits_in_the_port_is_no_answer_to_a_question_that_comes_after_it(units):
    far = units({1: {"input": {0: register(lambda: 5, "int16")}}})
    stale = b"\x01\x04\x02\x00\x63"
    with Master(far.port, {"p": point(1, 0)}) as master:
        far.say(stale + crc_of(stale))
        assert master.adapter._port.ready(1.0)  # it is there before the question
        threading.Event().wait(0.02)  # longer than the silence between frames: nothing else holds the question back
        assert master.ask()["p"].number == 5
        assert master.adapter.counts["noise bytes"] == 7


def test_a_unit_that_is_always_late_says_so(units):
    far = units({1: {"input": {0: register(lambda: 5, "int16")}}})
    far.late_s = 0.4
    far.misbehave("late")
    with Master(far.port, {"p": point(1, 0)}, time_limit="200 ms") as master:
        began_s = time.monotonic()
        master.ask()
        master.adapter.listen(0.4)
        while "later than time_limit" not in (raw := master.ask()["p"]).detail:
            assert time.monotonic() < began_s + 60, raw
            master.adapter.listen(0.1)
        told = re.search(r"it answers after ([\d.]+) s, later than time_limit", raw.detail)
        assert told and 0.4 <= float(told[1]) < time.monotonic() - began_s, raw
        assert master.adapter.counts["unit 1 late"] >= 1


# -- everything that can go wrong, one by one

#: misbehaviour of unit 1 -> its reason; None: it is read all the same
MATRIX = {
    "silent": "no_answer",
    "late": "no_answer",
    "partial": "garbled",
    "short": "garbled",
    "drip": "garbled",
    "split": None,
    "crc": "crc",
    "garbage": "garbled",
    "wrong unit": "garbled",
    "wrong length": "garbled",
    "exception": "refused",
    "echo": None,
    "echo only": "no_answer",
    "noise": None,
}


def test_the_matrix_has_every_misbehaviour():
    assert set(MATRIX) == set(MISBEHAVIOURS)


@pytest.mark.parametrize("how", MISBEHAVIOURS)
def test_a_misbehaviour_has_its_reason_and_no_other_unit_suffers_and_all_recovers(units, how):
    far = units(
        {1: {"input": {0: register(lambda: 47.5, "float32")}}, 5: {"holding": {7: register(lambda: -3, "int16")}}}
    )
    points = {"p": point(1, 0, "float32", order="ABCD"), "other": point(5, 7, kind="holding")}
    with Master(far.port, points, time_limit="300 ms") as master:
        master.ask_until_good()
        far.drip_s = 0.12  # slower than a frame may be
        far.misbehave(how, 1)
        raws = master.ask()
        assert raws["other"].number == -3
        assert (raws["p"].number, raws["p"].reason) == ((47.5, None) if MATRIX[how] is None else (None, MATRIX[how]))
        if raws["p"].reason is not None:
            assert REASONS[raws["p"].reason].quality is Quality.BAD
            assert "unit 1" in raws["p"].detail
        far.behave()
        with Yardstick() as yardstick:
            assert master.ask_until_good() < 3.0 + yardstick.late_s()  # the same adapter, never opened anew
        assert master.ask()["p"].number == 47.5


def test_an_answer_that_drips_within_the_time_limit_is_read(units):
    far = units({1: {"input": {0: register(lambda: 7, "int16")}}})
    far.misbehave("drip")
    with Master(far.port, {"p": point(1, 0)}) as master:
        assert master.ask()["p"].number == 7


def test_a_line_that_is_never_silent(units):
    """Bytes without end, as from a talker of another kind on the same two wires."""
    far = units({1: {"input": {0: register(lambda: 7, "int16")}}})
    with Master(far.port, {"p": point(1, 0)}, time_limit="200 ms", baud=300) as master:  # 3.5 characters are 128 ms
        master.ask_until_good()
        over = threading.Event()
        talker = threading.Thread(target=lambda: [far.say(b"\x55\xaa") for _ in iter(lambda: over.wait(0.02), True)])
        talker.start()
        raws, deadline_s = [], time.monotonic() + 60
        while not any(raw.reason == "garbled" and "never silent" in raw.detail for raw in raws):
            assert time.monotonic() < deadline_s, raws
            raws += master.adapter.read(["p"])
            raws += master.adapter.listen(0.1)
        over.set()
        talker.join()
        master.ask_until_good()


# -- questions


def test_neighbours_are_one_question_and_each_kind_its_own(units):
    far = units(
        {
            3: {
                "input": {at: register(lambda at=at: 100 + at, "int16") for at in range(3)},
                "holding": {0: register(lambda: 2**31, "uint32", "CDAB"), 8: register(lambda: 39.0, "float32", "BADC")},
                "coil": {at: bit(lambda at=at: at in (1, 2)) for at in range(4)},
                "discrete": {9: bit(lambda: True)},
            }
        }
    )
    points = {
        "a": point(3, 0), "b": point(3, 1, scale=0.5), "c": point(3, 2, offset=1000),
        "wide": point(3, 0, "uint32", "holding", order="CDAB"), "warm": point(3, 8, "float32", "holding", order="BADC"),
        "coil 1": point(3, 1, "bit", "coil"), "coil 3": point(3, 3, "bit", "coil"), "input 9": point(3, 9, "bit", "discrete"),
    }  # fmt: skip
    with Master(far.port, points) as master:
        numbers = {name: raw.number for name, raw in master.ask().items()}
    assert numbers == {
        "a": 100, "b": 50.5, "c": 1102, "wide": 2**31, "warm": 39.0, "coil 1": 1, "coil 3": 0, "input 9": 1,
    }  # fmt: skip
    assert far.asked[3] == 6  # input block; two of holding; two coils with a gap between; one discrete


def test_one_register_that_is_not_there_takes_no_neighbour_with_it(units):
    far = units({1: {"input": {0: register(lambda: 1, "int16"), 1: register(lambda: 2, "int16")}}})
    points = {"a": point(1, 0), "b": point(1, 1), "gone": point(1, 2)}
    with Master(far.port, points) as master:
        raws = master.ask()
        assert (raws["a"].number, raws["b"].number) == (1, 2)
        assert raws["gone"].reason == "refused"
        assert "exception 2: it has no such register" in raws["gone"].detail


@pytest.mark.parametrize(
    "code, words", [(1, "this function"), (4, "has failed"), (6, "is busy"), (11, "gateway"), (77, "standard")]
)
def test_a_refusal_says_what_it_means(units, code, words):
    far = units({1: {"input": {0: register(lambda: 1, "int16")}}})
    far.exception_code = code
    far.misbehave("exception")
    with Master(far.port, {"p": point(1, 0)}) as master:
        raw = master.ask()["p"]
        assert raw.reason == "refused"
        assert words in raw.detail


def test_what_a_contact_means_is_the_transducers_to_say(units):
    far = units({1: {"discrete": {0: bit(lambda: True)}}})
    table = {**point(1, 0, "bit", "discrete"), "tripped_when": "open"}
    with Master(far.port, {"outlet": table}) as master:
        raw = master.ask()["outlet"]
    assert (raw.number, raw.unit) == (1.0, "closed")
    outlet = Point("outlet", Role.OUTLET_PROTECTION, Kind.CONTACT, 250, 10_000, 0, 1)
    assert transducer(outlet, table)(raw).value == 0.0  # closed, so not tripped


def test_readings_are_stamped_when_their_answer_came(units):
    far = units({1: {"input": {0: register(lambda: 1, "int16")}}}, answer_s=0.15)
    with Master(far.port, {"p": point(1, 0)}) as master:
        before_ms = RealClock().mono_ms()
        raw = master.ask()["p"]
    assert 140 <= raw.mono_ms - before_ms <= RealClock().mono_ms() - before_ms


# -- the port


def test_unplugged_and_plugged_in_again(units):
    far = units({1: {"input": {0: register(lambda: 7, "int16")}}})
    with Master(far.port, {"p": point(1, 0)}) as master:
        assert master.ask()["p"].number == 7
        spare = os.openpty()
        far.unplug()
        with pytest.raises(BusLost, match="the port is lost"):
            master.ask()
        master.adapter.close()
        with pytest.raises(BusLost, match="the port is not there"):
            master.adapter.open()
        assert not master.adapter.changed()
        far.replug()
        assert master.adapter.changed()
        master.adapter.open()
        assert master.ask()["p"].number == 7
        for handle in spare:
            os.close(handle)


def test_the_port_is_locked_and_its_holder_named(units):
    far = units({1: {"input": {0: register(lambda: 7, "int16")}}})
    with Master(far.port, {"p": point(1, 0)}):
        with pytest.raises(PortInUse, match="this program itself"):
            Master(far.port, {"p": point(1, 0)})
        with pytest.raises(serial.SerialException):
            serial.Serial(far.port, exclusive=True)
    hold = "import fcntl, sys, time; f = open(sys.argv[1], 'rb', 0); fcntl.flock(f, 2); print('held', flush=True); time.sleep(60)"
    other = subprocess.Popen([sys.executable, "-c", hold, far.port], stdout=subprocess.PIPE)
    try:
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(PortInUse, match=rf"held by \S+ \(process {other.pid}\)"):
            Master(far.port, {"p": point(1, 0)})
    finally:
        other.kill()
        other.communicate()


def test_a_wait_is_ended_from_another_thread(units):
    far = units({1: {"input": {0: register(lambda: 7, "int16")}}})
    with Master(far.port, {"p": point(1, 0)}) as master:
        master.adapter.wake()
        began_s = time.monotonic()
        assert list(master.adapter.listen(60.0)) == []
        assert time.monotonic() - began_s < 50
    master.adapter.wake()  # closed meanwhile: nothing happens
    with pytest.raises(BusLost):
        master.adapter.read(["p"])


def test_waiting_costs_nothing(units):
    """All well, and all hung up: well below 5 % of a core."""
    far = units({unit: {"input": {0: register(lambda: 7, "int16")}} for unit in range(1, 5)})
    with Master(far.port, {str(unit): point(unit, 0, every="500 ms") for unit in range(1, 5)}) as master:
        for silent in (False, True):
            if silent:
                far.misbehave("silent")
            mine_s, began_s = time.thread_time(), time.monotonic()
            while time.monotonic() - began_s < 1.5:
                master.adapter.read(list(master.points))
                pause_s = time.monotonic() + 0.5
                while (left_s := pause_s - time.monotonic()) > 0:
                    master.adapter.listen(left_s)
            assert (time.thread_time() - mine_s) / (time.monotonic() - began_s) < 0.05


# -- settings


GOOD = {"unit_id": 1, "register": {"kind": "input", "at": 0, "type": "int16"}}


@pytest.mark.parametrize(
    "table, said",
    [
        ({**GOOD, "unit_id": 0}, "point p, unit_id"),
        ({**GOOD, "unit_id": True}, "point p, unit_id"),
        ({"unit_id": 1}, "there is no register"),
        ({"unit_id": 1, "register": {"kind": "coils", "at": 0, "type": "bit"}}, "kind is 'coils'"),
        ({"unit_id": 1, "register": {"kind": "coil", "at": 0, "type": "int16"}}, "type is 'int16'"),
        ({"unit_id": 1, "register": {"kind": "input", "at": 0, "type": "float32"}}, "order is None"),
        ({"unit_id": 1, "register": {"kind": "input", "at": 0, "type": "float32", "order": "CBAD"}}, "order is 'CBAD'"),
        ({"unit_id": 1, "register": {"kind": "input", "at": 65535, "type": "float32", "order": "ABCD"}}, "at is 65535"),
        ({"unit_id": 1, "register": {"kind": "input", "at": 0, "type": "int16", "scale": "2"}}, "scale is '2'"),
    ],
)
def test_settings_that_cannot_be_used(table, said):
    with pytest.raises(UnusableInput) as refused:
        ModbusRtu({"id": "panel", "port": "/dev/null"}, {"p": table}, RealClock())
    assert said in str(refused.value)


def test_octets_of_the_simulated_units_stay_in_their_range():
    assert octets(1e9, "int16") == b"\x7f\xff"
    assert octets(-5, "uint16") == b"\x00\x00"
