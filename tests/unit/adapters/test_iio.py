"""The adapter of the kernel's industrial I/O on files laid out as the kernel does, and what transducers make of it.

Sources: the form of the texts was seen with a driver of our own on the real core (Debian 6.1): `1234`, `-7`, scales with nine
decimals, (raw + offset) x scale in mV or thousandths of a degree. Which shared names a scale can have is the kernel's ABI
description (from memory). Bytes of the cases are the case book's.
"""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from adapters.iio import Device, Iio, Stops, channels, devices, find, stops_in, unit_of
from edge.clock import ToldClock
from edge.domain.errors import BusLost, UnusableInput
from edge.domain.readings import REASONS, Quality, Role, Sample
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.sensing.transducers import transducer
from simulators.devices.trees import IIO_STATES, IioChannel, IioTree, loop_volts
from tests.unit.stations import POINTS, PSI, QUIET, SETTINGS, Driver, point

SUPPLY = next(p for p in POINTS if p.id == "supply")
LOOP = {"from": "4 mA", "to": "20 mA", "low": "0 psi", "high": "100 psi", "kind": "gauge"}
LOOPED = {"channel": "voltage0", "shunt": 150.0, "loop": LOOP}  # 20 mA over 150 ohm are 3 V


class Chip:
    """A device whose files say what a test writes into them."""

    def __init__(self, root, points=None, **options):
        self.root, self.folder = root, root / "iio:device0"
        self.folder.mkdir(parents=True)
        self.write(name="ads1115\n", in_voltage0_raw="1234\n", in_voltage0_scale="2.000000000\n")
        self.clock = ToldClock(mono_ms=1_000_000)
        self.points = points or {"p": {"channel": "voltage0"}}
        self.adapter = Iio({"id": "adc", "device": "ads1115", "root": str(root), **options}, self.points, self.clock)

    def write(self, **files):
        for name, text in files.items():
            path = self.folder / name.replace("__", "/")
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())

    def read(self, *due):
        """By point: (number, unit, reason)."""
        self.raws = {raw.point: raw for raw in self.adapter.read(due or tuple(self.points))}
        return {name: (raw.number, raw.unit, raw.reason) for name, raw in self.raws.items()}

    def one(self):
        return self.read("p")["p"]


@pytest.fixture
def chip(tmp_path):
    chip = Chip(tmp_path / "devices")
    chip.adapter.open()
    return chip


# -- what the kernel's files say


@pytest.mark.parametrize(
    "channel, files, number, unit",
    [
        ("voltage0", {"in_voltage0_raw": "1234\n", "in_voltage0_scale": "2.000000000\n"}, 2.468, "V"),
        ("voltage0", {"in_voltage0_raw": "-7\n", "in_voltage0_scale": "2.000000000\n"}, -0.014, "V"),
        ("voltage1", {"in_voltage1_raw": "1000\n", "in_voltage_scale": "0.125000000\n"}, 0.125, "V"),
        (
            "voltage2",
            {"in_voltage2_raw": "100\n", "in_voltage2_offset": "-20\n", "in_voltage2_scale": "1.5\n"},
            0.12,
            "V",
        ),
        ("voltage0-voltage1", {"in_voltage0-voltage1_raw": "400\n", "in_voltage-voltage_scale": "0.5\n"}, 0.2, "V"),
        ("voltage5", {"in_voltage5_raw": "10\n", "scale": "3\n"}, 0.03, "V"),
        ("temp", {"in_temp_raw": "640\n", "in_temp_scale": "62.500000\n"}, 40.0, "degC"),
        ("temp_object", {"in_temp_object_raw": "640\n", "in_temp_scale": "62.500000\n"}, 40.0, "degC"),
        ("temp1", {"in_temp1_input": "23125\n"}, 23.125, "degC"),
        ("current0", {"in_current0_raw": "1200\n", "in_current_scale": "0.010000000\n"}, 12.0, "mA"),
        ("resistance0", {"in_resistance0_input": "109.735000\n"}, 109.735, "ohm"),
        ("pressure", {"in_pressure_input": "101.325\n"}, 101.325, "kPa"),
    ],
)
def test_channels(tmp_path, channel, files, number, unit):
    chip = Chip(tmp_path / "devices", {"p": {"channel": channel}})
    for name, text in files.items():
        chip.write(**{name: text})
    chip.adapter.open()
    read, in_unit, reason = chip.one()
    assert (in_unit, reason) == (unit, None) == (unit_of(channel), None)
    assert read == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize(
    "text, reason",
    [
        ("", "empty_answer"), ("\n", "empty_answer"), ("abc\n", "garbled"), (b"\xff\x00", "garbled"), (bytes(3000), "garbled"),
        ("9" * 5000, "garbled"), ("12\n13\n", "garbled"), ("1.5\n", "garbled"), ("0x10\n", "garbled"), ("1_0\n", "garbled"),
        ("nan\n", "garbled"), ("99999999999\n", "garbled"),
    ],
)  # fmt: skip
def test_texts_that_are_no_raw_number(chip, text, reason):
    chip.write(in_voltage0_raw=text)
    assert chip.one() == (None, "V", reason)
    assert chip.adapter.counts[reason] == 1
    chip.write(in_voltage0_raw="1234\n")
    assert chip.one() == (2.468, "V", None)


@pytest.mark.parametrize("text, reason", [("0\n", "garbled"), ("", "empty_answer"), ("much\n", "garbled")])
def test_a_scale_that_is_none(chip, text, reason):
    chip.write(in_voltage0_scale=text)
    assert chip.one() == (None, "V", reason)


def test_a_scale_that_another_program_changes_is_heeded_at_once(chip):
    chip.write(in_voltage0_scale="4.000000000\n")
    assert chip.one() == (4.936, "V", None)


def test_a_count_without_a_scale_has_no_unit(tmp_path):
    chip = Chip(tmp_path / "devices")
    (chip.folder / "in_voltage0_scale").unlink()
    chip.adapter.open()
    assert chip.one() == (None, "V", "adapter_fault")
    assert "no scale" in chip.raws["p"].detail


def test_files_that_come_after_their_folder_are_found(tmp_path, monkeypatch):
    """A device that was plugged in a moment ago: its folder and a count are there, scale, offset and form of storage come later."""
    monkeypatch.setattr("adapters.iio.LOOKS_S", 0.0)
    chip = Chip(tmp_path / "devices")
    (chip.folder / "in_voltage0_scale").unlink()
    chip.adapter.open()
    assert chip.one()[::2] == (None, "adapter_fault")
    chip.write(in_voltage0_scale="2.000000000\n")
    assert chip.one() == (2.468, "V", None)
    chip.write(in_voltage0_offset="-34\n", scan_elements__in_voltage0_type="le:s12/16>>0\n")
    assert chip.one() == (2.4, "V", None)
    chip.write(in_voltage0_raw="2047\n")
    assert chip.one()[2] == "upper_stop"


def test_a_channel_that_isn_t_there_names_those_that_are(tmp_path):
    chip = Chip(tmp_path / "devices", {"p": {"channel": "voltage7"}})
    chip.write(**{"in_voltage0-voltage1_raw": "1\n", "in_temp_input": "1\n", "in_voltage0_sampling_frequency": "8\n"})
    chip.adapter.open()
    assert chip.one() == (None, "V", "device_gone")
    assert chip.raws["p"].detail.endswith("ads1115 has no voltage7, it has temp, voltage0-voltage1, voltage0")


def test_an_io_error_is_one(chip):
    (chip.folder / "in_voltage0_raw").unlink()
    os.symlink("/proc/self/mem", chip.folder / "in_voltage0_raw")  # opens, and reading at its beginning is EIO
    assert chip.one() == (None, "V", "io_error")
    assert chip.raws["p"].detail == "EIO: Input/output error"


def test_a_pipe_that_nobody_writes_to_is_no_answer_within_the_limit(tmp_path):
    chip = Chip(tmp_path / "devices", {"p": {"channel": "voltage0"}, "q": {"channel": "voltage1"}}, time_limit="200 ms")
    chip.write(in_voltage1_raw="1000\n", in_voltage1_scale="2.000000000\n")
    (chip.folder / "in_voltage0_raw").unlink()
    os.mkfifo(chip.folder / "in_voltage0_raw")
    chip.adapter.open()
    assert chip.read() == {"p": (None, "V", "no_answer"), "q": (2.0, "V", None)}
    assert list(chip.read()) == ["q", "p"]  # from now on it holds up no other


# -- end stops


@pytest.mark.parametrize(
    "text, stops",
    [
        ("le:s12/16>>4", Stops(-2048, 2047)), ("be:u16/16>>0", Stops(0, 65535)), ("le:s24/32X2>>8", Stops(-(2**23), 2**23 - 1)),
        ("", None), ("s12", None), ("le:s12", None), ("le:s1/16>>0", None), ("le:x12/16>>4", None), ("le:s99/16>>4", None),
    ],
)  # fmt: skip
def test_forms_of_storage(text, stops):
    assert stops_in(text) == stops


@pytest.mark.parametrize(
    "form, raw, reason",
    [
        ("le:s12/16>>4", 2047, "upper_stop"), ("le:s12/16>>4", 2046, None), ("le:s12/16>>4", -2048, "lower_stop"),
        ("le:s12/16>>4", -2047, None), ("le:s12/16>>4", 4095, "upper_stop"), ("le:u10/16>>0", 1023, "upper_stop"),
        ("le:u10/16>>0", 0, None), ("le:u10/16>>0", -1, "lower_stop"), ("", 2047, None),
    ],
)  # fmt: skip
def test_at_an_end_stop_nothing_is_known(tmp_path, form, raw, reason):
    """0 of an unsigned converter is no stop: no signal, which the transducer behind it has better words for."""
    chip = Chip(tmp_path / "devices")
    chip.write(in_voltage0_raw=f"{raw}\n", scan_elements__in_voltage0_type=form + "\n")
    chip.adapter.open()
    assert chip.one()[2] == reason
    assert (chip.one()[0] is None) == (reason is not None)


def test_stops_that_only_the_station_file_knows(tmp_path):
    chip = Chip(tmp_path / "devices", {"p": {"channel": "voltage0", "counts": {"low": 0, "high": 1023}}})
    chip.write(in_voltage0_raw="1023\n", scan_elements__in_voltage0_type="le:s32/32>>0\n")
    chip.adapter.open()
    assert chip.one() == (None, "V", "upper_stop")
    assert chip.raws["p"].detail == "raw 1023 of 0 to 1023"


# -- the case book


@pytest.fixture
def vented(tmp_path):
    """A 0-100 psi sender behind a signed 16-bit converter; 0.125 mV a count."""
    chip = Chip(tmp_path / "devices", {"supply": LOOPED})
    chip.write(in_voltage0_scale="0.125000000\n", scan_elements__in_voltage0_type="be:s16/16>>0\n")
    chip.adapter.open()
    return chip


@pytest.mark.parametrize(
    "two_bytes, volts, reason", [("ffff", -0.000125, None), ("fffe", -0.00025, None), ("8000", None, "lower_stop")]
)
def test_c013_the_sign_of_a_reading_near_zero(vented, two_bytes, volts, reason):
    """Raw ff ff, ff fe, 80 00 as the kernel tells them: -1 and -2 counts are about zero, 80 00 is bad."""
    raw = int.from_bytes(bytes.fromhex(two_bytes), "big", signed=True)
    vented.write(in_voltage0_raw=f"{raw}\n")
    number, unit, said = vented.read()["supply"]
    assert (unit, said) == ("V", reason)
    assert number == (None if volts is None else pytest.approx(volts))


@pytest.mark.parametrize("driver_says", ["65535\n", "65534\n", "32768\n"])
def test_c013_a_driver_that_forgets_the_sign_gives_no_twelve_volts(vented, driver_says):
    vented.write(in_voltage0_raw=driver_says)
    assert vented.read()["supply"] == (None, "V", "upper_stop")


@pytest.mark.parametrize("psi", [-0.9, 0.4, 3.1])
def test_c014_a_zero_that_has_moved_is_shown_as_it_is(vented, psi):
    """Nothing is clamped to 0 to look nice; what drift it is, calibrations tell (tests/unit/stories/test_calibration.py)."""
    ma = 4.0 + 16.0 * psi / 100.0
    vented.write(in_voltage0_raw=f"{round(ma * 150 / 0.125)}\n")
    sample = transducer(SUPPLY, LOOPED)(vented_raw(vented))
    watch = PointMonitor(SUPPLY, 0)
    reading = watch.hear(sample)
    assert reading.quality is Quality.GOOD
    assert reading.value == pytest.approx(psi * PSI, abs=0.01 * PSI)


def vented_raw(chip):
    chip.read()
    return chip.raws["supply"]


def test_c015_one_wild_sample_in_a_thousand_leaves_no_trace(tmp_path):
    """52.0 psi once a second for two hours, with one sample of -32767 counts about every eight minutes."""
    chip = Chip(tmp_path / "devices", {"supply": LOOPED})
    chip.write(in_voltage0_scale="0.125000000\n", scan_elements__in_voltage0_type="be:s16/16>>0\n")
    chip.adapter.open()
    right = round((4.0 + 16.0 * 0.52) * 150 / 0.125)
    fast = tuple(replace(p, max_rate_per_s=2000.0) if p.id == "supply" else p for p in POINTS)
    driver = Driver(replace(SETTINGS, points=fast))
    convert, values, bad = transducer(SUPPLY, LOOPED), [], []
    rest = {name: value for name, value in QUIET.items() if name != "supply"}
    for second in range(2 * 3600):
        chip.write(in_voltage0_raw=f"{-32767 if second % 479 == 200 else right}\n")
        driver.run(1, rest if second % 5 == 0 else {})
        driver.keep(driver.station.hear([at(convert(vented_raw(chip)), driver.mono_ms)], driver.now))
        reading = driver.station.watches["supply"].last
        (bad if reading.value is None else values).append(reading)
    assert len(bad) == 15 and {reading.reason for reading in bad} == {"loop_open"}
    assert max(r.value for r in values) - min(r.value for r in values) == 0.0
    assert values[0].value == pytest.approx(52.0 * PSI, abs=0.01 * PSI)
    assert [e.body["id"] for e in driver.said if e.kind == "alarm" and e.body["id"] in ALARMS] == []


ALARMS = {"pressure_low", "pressure_high", "static_high", "silent:supply"}


def at(sample: Sample, mono_ms: int) -> Sample:
    return sample._replace(mono_ms=mono_ms)


# -- what is measured beside


def test_the_supply_of_a_ratiometric_sensor_is_measured_right_after_it(tmp_path):
    table = {"channel": "voltage0", "ratiometric": {"low": "0 psi", "high": "100 psi", "supply_channel": "voltage3"}}
    chip = Chip(tmp_path / "devices", {"p": table})
    chip.write(in_voltage3_raw="2450\n", in_voltage3_scale="2.000000000\n")
    chip.adapter.open()
    chip.read()
    assert (chip.raws["p"].number, chip.raws["p"].beside) == (2.468, 4.9)
    chip.write(in_voltage3_raw="")
    chip.read()
    assert (chip.raws["p"].number, chip.raws["p"].beside) == (2.468, None)
    assert chip.raws["p"].detail == "voltage3: in_voltage3_raw is empty"


# -- the device


def test_a_device_is_found_by_its_name_its_number_or_a_path(tmp_path):
    chip = Chip(tmp_path / "devices")
    folder, root = str(chip.folder), str(chip.root)
    assert devices(root) == [Device("ads1115", folder)]
    assert channels(folder) == ["voltage0"]
    for device in ("ads1115", "iio:device0", folder, str(tmp_path / "devices")):
        assert find(device, root)[0].rstrip("/") == folder
    assert find("mcp3008", root) == ("", "no device is called 'mcp3008'; there: ads1115")
    assert find("iio:device4", root)[0] == "" == find("/nowhere/at/all", root)[0]


def test_two_devices_of_one_name_are_not_guessed_at(tmp_path):
    chip = Chip(tmp_path / "devices")
    (chip.root / "iio:device10").mkdir()
    (chip.root / "iio:device10" / "name").write_text("ads1115\n")
    with pytest.raises(BusLost, match=r"2 devices are called 'ads1115': .*device0, .*device10; name one by its path"):
        chip.adapter.open()


def test_a_device_that_goes_is_a_lost_bus_and_comes_back_under_another_number(tmp_path):
    tree = IioTree(tmp_path / "devices", {"voltage0": IioChannel(lambda: 1.25)})
    adapter = Iio(
        {"id": "adc", "device": "ads1115", "root": str(tree.root)}, {"p": {"channel": "voltage0"}}, ToldClock()
    )
    try:
        tree.renew()
        adapter.open()
        assert [raw.number for raw in adapter.read(["p"])] == [1.25]
        tree.unplug()
        with pytest.raises(
            BusLost, match=r"bus adc, device ads1115: there is no .*iio:device0; expected a device under"
        ):
            adapter.read(["p"])
        assert not adapter.changed()
        with pytest.raises(BusLost, match="no device is called 'ads1115'; there: none"):
            adapter.open()
        tree.plug(3)
        assert adapter.changed()
        adapter.open()
        assert [raw.number for raw in adapter.read(["p"])] == [1.25]
    finally:
        tree.stop()


def test_another_device_in_its_place_is_not_taken_for_it(chip):
    chip.write(name="mcp3008\n")
    with pytest.raises(BusLost, match="was 'ads1115' and is 'mcp3008' now"):
        chip.one()


# -- settings


@pytest.mark.parametrize(
    "bus, table, said",
    [
        ({}, {"channel": "voltage0"}, "bus adc, device: None can't be used"),
        ({"device": "x\0"}, {"channel": "voltage0"}, "device"),
        ({"device": "x", "root": ""}, {"channel": "voltage0"}, "root"),
        ({"device": "x"}, {}, "bus adc, point p: None is no channel"),
        ({"device": "x"}, {"channel": "../voltage0"}, "is no channel"),
        ({"device": "x"}, {"channel": "accel_x"}, "of a type that can't be used here"),
        ({"device": "x"}, {"channel": "voltage0", "counts": {"low": 5, "high": 5}}, "counts"),
        ({"device": "x"}, {"channel": "voltage0", "counts": 12}, "counts"),
        ({"device": "x", "time_limit": "soon"}, {"channel": "voltage0"}, "time_limit"),
    ],
)
def test_unusable_settings_are_refused_in_one_sentence(bus, table, said):
    with pytest.raises(UnusableInput, match=said) as refused:
        Iio({"id": "adc", **bus}, {"p": table}, ToldClock())
    assert "\n" not in str(refused.value)


# -- every state that the played tree can show

EXPECTED = {
    "good": None, "lower_stop": "lower_stop", "upper_stop": "upper_stop", "empty": "empty_answer", "garbage": "garbled", "nul": "garbled",
    "huge": "garbled", "io_error": "io_error", "hangs": "no_answer", "slow": None, "no_files": "device_gone",
}  # fmt: skip


def test_the_table_above_knows_every_state():
    assert set(IIO_STATES) == {*EXPECTED, "bytes", "error"}  # the latter: tests/integration/test_kernel_trees.py


@pytest.mark.parametrize("state", EXPECTED)
def test_every_state_has_its_reason_and_is_over_when_it_is_over(tmp_path, state):
    played = {"voltage0": IioChannel(lambda: 1.25), "temp": IioChannel(lambda: 39.0, scale=62.5)}
    tree = IioTree(tmp_path / "devices", played)
    limit = "2 s" if state == "slow" else "300 ms"
    bus = {"id": "adc", "device": "ads1115", "root": str(tree.root), "time_limit": limit}
    adapter = Iio(bus, {"p": {"channel": "voltage0"}, "q": {"channel": "temp"}}, ToldClock())

    def said():
        return {raw.point: (raw.number, raw.reason) for raw in adapter.read(["p", "q"])}

    try:
        tree.renew()
        adapter.open()
        assert said() == {"p": (1.25, None), "q": (39.0, None)}
        tree.show("voltage0", state)
        reason = EXPECTED[state]
        assert said() == {"p": (1.25 if reason is None else None, reason), "q": (39.0, None)}
        assert reason is None or REASONS[reason].quality is Quality.BAD
        tree.show("voltage0", "good")
        assert said() == {"p": (1.25, None), "q": (39.0, None)}
    finally:
        tree.stop()


def test_a_played_loop_is_read_back_through_its_transducer(tmp_path):
    kpa = 52.0 * PSI
    volts = loop_volts(lambda: kpa, 0.0, 100.0 * PSI, 150.0)
    tree = IioTree(tmp_path / "devices", {"voltage0": IioChannel(volts, scale=0.125)})
    adapter = Iio({"id": "adc", "device": str(tree.device)}, {"supply": LOOPED}, ToldClock())
    try:
        tree.renew()
        adapter.open()
        (raw,) = adapter.read(["supply"])
        sample = transducer(SUPPLY, LOOPED)(raw)
        assert sample.reason is None and sample.value == pytest.approx(kpa, abs=0.01 * PSI)
    finally:
        tree.stop()


def test_degrees_of_a_chip_that_counts_them_itself(tmp_path):
    room = point("room", Role.ROOM_TEMPERATURE, -20.0, 60.0)
    tree = IioTree(tmp_path / "devices", {"temp": IioChannel(lambda: 21.5, scale=62.5)}, name="board-thermometer")
    adapter = Iio({"id": "chip", "device": str(tree.device)}, {"room": {"channel": "temp"}}, ToldClock())
    try:
        tree.renew()
        adapter.open()
        (raw,) = adapter.read(["room"])
        assert transducer(room, {"channel": "temp"})(raw).value == 21.5
    finally:
        tree.stop()
