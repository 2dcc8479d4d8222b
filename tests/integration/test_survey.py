"""`warmwell survey` on simulated devices: it finds each, and its station file is one that `check` takes and `run` reads.

The devices are this project's own (simulators/devices/); the rules are those of edge/survey/survey.py.
"""

from __future__ import annotations

import contextlib
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from edge.clock import RealClock
from edge.domain.sensing.registers import ORDERS
from edge.survey import gpio as survey_gpio
from edge.survey import survey
from edge.survey.sources import Device
from simulators.devices.far_end import FarEnd
from simulators.devices.hardware import Hardware
from simulators.devices.modbus import ModbusSlaves, register
from simulators.devices.trees import IioChannel, IioTree, OneWireTree
from simulators.scenarios.station_file import PANEL_UNIT, PROBES, WATER_CHANNEL
from tests.integration.daemon_kit import ROOT, Daemon, called, finished, until

RESERVOIR, ROOM = "28-00000a1b2c3d", "28-00000a1b2c4e"


class Talker:
    """A transmitter that prints a line each tenth of a second."""

    def __init__(self, line: Callable[[int], bytes], every_s: float = 0.1) -> None:
        self.end = FarEnd("panel")
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._talk, args=(line, every_s), daemon=True)
        self._thread.start()

    @property
    def port(self) -> str:
        return self.end.port

    def _talk(self, line: Callable[[int], bytes], every_s: float) -> None:
        number = 0
        while not self._over.wait(every_s):
            number += 1
            self.end.write(line(number))

    def stop(self) -> None:
        self._over.set()
        self._thread.join(2.0)
        self.end.done()


def pressures(number: int) -> bytes:
    return b"P1=%.2f P2=55.59 P3=%.2f OUTLET=OK\r\n" % (55 + number % 7 / 10, 54 + number % 3 / 10)


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[Path]:
    """A board's tree: two thermometers, and a converter with what it may carry."""
    root = tmp_path / "board"
    wires, chips = root / "sys/bus/w1/devices", root / "sys/bus/iio/devices"
    for folder in (wires, chips):
        folder.mkdir(parents=True)
    probes = OneWireTree(wires, {RESERVOIR: lambda: 39.0625, ROOM: lambda: 21.5})
    channels = {
        "voltage0": IioChannel(lambda: 2.5), "temp": IioChannel(lambda: 22.0, scale=62.5),
        "resistance0": IioChannel(lambda: 107.79, scale=0.01),
    }  # fmt: skip
    chip = IioTree(chips, channels)
    for started in (probes, chip):
        started.start()
    yield root
    for started in (probes, chip):
        started.stop()


@pytest.fixture
def talkers() -> Iterator[Callable[..., Talker]]:
    made: list[Talker] = []

    def make(line: Callable[[int], bytes] = pressures, every_s: float = 0.1) -> Talker:
        made.append(Talker(line, every_s))
        return made[-1]

    yield make
    for talker in made:
        talker.stop()


def found(out: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in out.splitlines()]


def of(rows: Sequence[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [row for row in rows if row["type"] == kind]


def test_it_finds_every_device_and_its_file_is_checked_and_read_with_all_points_good(
    tree: Path, talkers: Callable[..., Talker], tmp_path: Path
) -> None:
    panel = talkers()
    gauge = talkers(lambda number: b"%.1f kPa\r\n" % (300 + number % 5), 0.2)
    file = tmp_path / "draft.toml"
    words = ["survey", "--root", tree, "--ports", panel.port, gauge.port, "--for", "4", "--write", file, "--json"]
    code, out, err = finished(*words)
    assert (code, err) == (0, "")
    rows = found(out)
    kinds = sorted(row["kind"] for row in of(rows, "device"))
    assert kinds == ["iio", "onewire", "serial-line", "serial-line"]
    assert [row["text"] for row in of(rows, "absent")] == ["GPIO: no chip (the kernel makes dev/gpiochip0)"]
    read = {row["key"]: row for row in of(rows, "reading")}
    assert {RESERVOIR, ROOM, "voltage0", "temp", "resistance0", "P1", "P2", "P3", "OUTLET", "value"} == set(read)
    assert (
        read[RESERVOIR]["number"] == 39.0625
        and read["value"]["unit"] == "kPa"
        and read["P1"]["moves"]
        and not read["P2"]["moves"]
    )
    assert any("Pt100: 20.0 degC" in text for text in read["resistance0"]["readings"])  # IEC 60751, printed table
    assert any("50.0% of its range" in text for text in read["voltage0"]["readings"])

    code, out, err = called("check", file)
    assert code == 0 and "can be used" in out and err == "" and "Not active" not in out
    (drafted,) = of(rows, "file")
    assert len(drafted["points"]) == 9 and drafted["left"] == ["ads1115, voltage0"]

    daemon = drafted_daemon(tmp_path, file)
    try:
        points = until(lambda: all_good(daemon), why="not all points are good")
        assert set(points) == set(drafted["points"])
        assert points["probe-2c3d"]["value"] == pytest.approx(39.0625)
        assert points["ads1115-resistance0"]["value"] == pytest.approx(20.0, abs=0.02)
        assert points["value"]["shown"]["unit"] == "kPa" and points["p1"]["shown"]["unit"] == "psi"
        assert daemon.get("/api/1/verdict")[1]["verdict"] == "not_ready"  # a draft never says READY
        code, out, err = finished("survey", "--root", tree, "--ports", panel.port, "--for", "1")
        assert code == 1 and daemon.process is not None
        assert f"(process {daemon.process.pid})" in err and "held by" in err and err.count("\n") == 1
        assert all_good(daemon)  # and it was not disturbed
    finally:
        daemon.end()


def test_it_finds_the_devices_of_the_demo_and_drafts_what_they_tell(tmp_path: Path) -> None:
    """The same devices as `warmwell demo --hardware`; its GPIO chip has no file, so that it is reported as absent."""
    devices = Hardware("cold-morning", RealClock())
    devices.start()
    places, file = devices.places, tmp_path / "draft.toml"
    try:
        root = Path(places.wire_root).parent
        words = [
            "survey",
            "--root",
            root,
            "--ports",
            places.tray_port,
            "--modbus",
            places.panel_port,
            "--parity",
            "none",
        ]
        code, out, err = finished(
            *words, "--units", "1-4", "--registers", "15", "--for", "4", "--json", "--write", file
        )
        assert (code, err) == (0, "")
        rows = found(out)
        assert sorted(row["kind"] for row in of(rows, "device")) == ["iio", "modbus-rtu", "onewire", "serial-line"]
        read = {row["key"] for row in of(rows, "reading")}
        loops = {f"unit {PANEL_UNIT} input {at}" for at in range(3)}
        assert {*PROBES.values(), WATER_CHANNEL, "LEAK", *loops} == read
        (drafted,) = of(rows, "file")
        assert len(drafted["points"]) == 4 and len(drafted["left"]) == 3
        assert called("check", file)[0] == 0
        daemon = drafted_daemon(tmp_path, file)
        try:
            points = until(lambda: all_good(daemon), why="not all points are good")
            assert set(points) == set(drafted["points"]) and points["leak"]["shown"]["value"] == "dry"
        finally:
            daemon.end()
    finally:
        devices.stop()


def drafted_daemon(tmp_path: Path, file: Path) -> Daemon:
    """The daemon on the draft as it was written, but for the port of its page."""
    daemon = Daemon(tmp_path)
    text = file.read_text(encoding="utf-8")
    assert text.count("127.0.0.1:8484") == 1
    daemon.file.write_text(text.replace("127.0.0.1:8484", f"127.0.0.1:{daemon.port}"), encoding="utf-8")
    return daemon.start()


def all_good(daemon: Daemon) -> dict[str, Any]:
    points: dict[str, Any] = daemon.get("/api/1/points")[1]["points"]
    return points if all(point["quality"] == "good" for point in points.values()) else {}


def test_what_stands_as_a_comment_is_right_once_it_is_none(
    tree: Path, talkers: Callable[..., Talker], tmp_path: Path
) -> None:
    columns = talkers(lambda number: b"39.%d;52.4\r\n" % (number % 10))
    file = tmp_path / "draft.toml"
    code, out, err = finished("survey", "--root", tree, "--ports", columns.port, "--for", "2", "--write", file)
    assert (code, err) == (0, "") and "5 points" not in out
    lines = file.read_text(encoding="utf-8").split("\n")
    whole = [line[1:] if line.startswith("#") and line[1:2] not in ("", " ") else line for line in lines]
    opened = tmp_path / "opened.toml"
    opened.write_text("\n".join(whole), encoding="utf-8")
    code, out, err = called("check", opened)
    assert code == 0, err
    assert len(tomllib.loads(opened.read_text())["point"]) == 2 + 3 + 2


def test_a_modbus_line_is_scanned_on_request_units_registers_orders_and_what_moves(tmp_path: Path) -> None:
    ticks = iter(range(10_000))
    bank = {
        "input": {
            0: register(lambda: 12.0 + next(ticks) % 9, "int16", scale=0.01),
            2: register(lambda: 47.5, "float32", "CDAB"),
        },
        "holding": {20: register(lambda: -200.0, "int16")},
    }
    slaves = ModbusSlaves({2: bank, 5: {"input": {0: register(lambda: 7.0, "uint16")}}})
    slaves.start()
    file = tmp_path / "draft.toml"
    try:
        words = [
            "survey",
            "--root",
            tmp_path,
            "--modbus",
            slaves.port,
            "--parity",
            "none",
            "--units",
            "1-5",
            "--registers",
            "31",
        ]
        code, out, err = finished(*words, "--for", "3", "--json", "--write", file)
    finally:
        slaves.stop()
    assert (code, err) == (0, "")
    rows = found(out)
    (line,) = of(rows, "device")
    assert line["kind"] == "modbus-rtu" and "unit 2: answers" in line["about"] and "unit 5: answers" in line["about"]
    assert "unit 1" not in line["about"]
    read = {row["key"]: row for row in of(rows, "reading")}
    assert set(read) == {"unit 2 input 0", "unit 2 input 2", "unit 2 input 3", "unit 2 holding 20", "unit 5 input 0"}
    assert read["unit 2 input 0"]["moves"] and not read["unit 2 holding 20"]["moves"]
    assert any("of a 4 to 20 mA range" in text for text in read["unit 2 input 0"]["readings"])
    assert "uint16 65336, int16 -200" in read["unit 2 holding 20"]["readings"]
    floats = [text for text in read["unit 2 input 2"]["readings"] if text.startswith("float32")]
    assert [text.split()[1] for text in floats] == list(ORDERS) and "float32 CDAB 47.5 (likely)" in floats
    code, out, err = called("check", file)  # nothing of it can be a point as it stands: people read one meanwhile
    assert code == 0 and "1 point" in out


def test_nothing_is_asked_on_a_port_that_was_not_named_for_it(tmp_path: Path) -> None:
    slaves = ModbusSlaves({1: {"input": {0: register(lambda: 7.0, "uint16")}}})
    slaves.start()
    try:
        code, out, err = finished("survey", "--root", tmp_path, "--ports", slaves.port, "--for", "1", "--json")
        assert (code, err) == (0, "") and slaves.asked.total() == 0
        (line,) = of(found(out), "device")
        assert "nothing comes" in line["about"]
        code, out, err = finished("survey", "--root", tmp_path, "--ports", slaves.port, "--modbus", slaves.port)
        assert code == 2 and out == "" and "at once" in err
    finally:
        slaves.stop()


def test_a_modbus_port_that_somebody_holds_is_left_alone(talkers: Callable[..., Talker], tmp_path: Path) -> None:
    port = talkers().port
    script = "import serial, sys, time; s = serial.Serial(sys.argv[1], exclusive=True); print('held', flush=True); time.sleep(60)"
    holder = subprocess.Popen([sys.executable, "-c", script, port], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        code, _, err = finished("survey", "--root", tmp_path, "--modbus", port, "--for", "1")
        assert code == 1 and f"(process {holder.pid})" in err and err.count("\n") == 1
    finally:
        holder.kill()
        holder.wait(10)
        assert holder.stdout is not None
        holder.stdout.close()


def test_a_reader_without_a_lock_is_seen_too(talkers: Callable[..., Talker], tmp_path: Path) -> None:
    port = talkers().port
    script = "import os, sys, time; os.open(sys.argv[1], os.O_RDONLY | os.O_NOCTTY); print('open', flush=True); time.sleep(60)"
    reader = subprocess.Popen([sys.executable, "-c", script, port], stdout=subprocess.PIPE, text=True)
    try:
        assert reader.stdout is not None and reader.stdout.readline() == "open\n"
        code, _, err = finished("survey", "--root", tmp_path, "--ports", port, "--for", "1")
        assert code == 1 and f"(process {reader.pid})" in err
    finally:
        reader.kill()
        reader.wait(10)
        assert reader.stdout is not None
        reader.stdout.close()


def test_a_port_that_is_not_there_is_one_sentence_and_the_others_are_told(tree: Path, tmp_path: Path) -> None:
    code, out, err = finished("survey", "--root", tree, "--ports", tmp_path / "nowhere", "--for", "1")
    assert code == 1 and err.count("\n") == 1 and "nowhere" in err and "Traceback" not in err
    assert RESERVOIR in out and "39.06 degC" in out


def test_a_dying_sensor_is_told_with_advice_and_is_no_point(tmp_path: Path) -> None:
    wires = tmp_path / "board/sys/bus/w1/devices"
    wires.mkdir(parents=True)
    probes = OneWireTree(wires, {RESERVOIR: lambda: 39.0, ROOM: lambda: 21.5})
    probes.start()
    probes.show(ROOM, "power_on")
    try:
        file = tmp_path / "draft.toml"
        code, out, _ = finished("survey", "--root", tmp_path / "board", "--for", "2", "--write", file)
    finally:
        probes.stop()
    assert code == 0 and "power-on value" in out and "Check the sensor's supply and pull-up" in out
    drafted = tomllib.loads(file.read_text(encoding="utf-8"))
    assert [point["address"] for point in drafted["point"]] == [RESERVOIR] and ROOM in file.read_text(encoding="utf-8")


def test_a_shorted_wire_is_told(tmp_path: Path) -> None:
    wires = tmp_path / "w1"
    wires.mkdir()
    probes = OneWireTree(wires, {RESERVOIR: lambda: 39.0})
    probes.start()
    probes.show(RESERVOIR, "phantoms")
    try:
        code, out, _ = finished("survey", "--root", tmp_path, "--for", "1")
    finally:
        probes.stop()
    assert code == 0 and "no thermometers" in out and "shorted to ground" in out


def test_a_file_that_is_there_is_never_overwritten_and_nothing_found_is_said(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine", encoding="utf-8")
    code, out, err = finished("survey", "--root", tmp_path, "--write", file, "--for", "1")
    assert code == 2 and out == "" and "overwrites nothing" in err and file.read_text(encoding="utf-8") == "mine"
    code, out, err = finished("survey", "--root", tmp_path, "--write", tmp_path / "new.toml", "--for", "0.2")
    assert (
        code == 1
        and "nothing was found" in err
        and not (tmp_path / "new.toml").exists()
        and "Nothing was found." in out
    )
    for what in ("1-Wire: no bus master", "Converters: none", "GPIO: no chip", "Serial ports: none"):
        assert what in out


def hears_ctrl_c() -> None:
    """Whoever started the tests in the background has it ignored, and children inherit that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_a_terminal_shows_it_live_and_ctrl_c_is_seen_enough(tree: Path) -> None:
    far, near = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "edge.cli", "survey", "--root", str(tree), "--for", "60"],
        stdin=near, stdout=near, stderr=near, cwd=ROOT, env={**os.environ, "COLUMNS": "120", "LINES": "40", "TERM": "xterm"},
        start_new_session=True, preexec_fn=hears_ctrl_c,
    )  # fmt: skip
    os.close(near)
    said = ""
    try:
        deadline_s = time.monotonic() + 90
        while not ("s left; Ctrl-C" in said and "39.06 degC" in said) and time.monotonic() < deadline_s:
            if select.select([far], [], [], 0.2)[0]:
                said += os.read(far, 65536).decode(errors="replace")
        assert "s left; Ctrl-C" in said and "39.06 degC" in said
        process.send_signal(2)
        while process.poll() is None and time.monotonic() < deadline_s + 20:
            if select.select([far], [], [], 0.2)[0]:
                with contextlib.suppress(OSError):  # the last one to hold the near end has ended
                    said += os.read(far, 65536).decode(errors="replace")
        assert process.poll() == 0 and "Traceback" not in said
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(10)
        os.close(far)


def test_plain_lines_where_nobody_watches(tree: Path) -> None:
    code, out, err = finished("survey", "--root", tree, "--for", "1")
    assert (code, err) == (0, "") and "\x1b" not in out and "s left" not in out
    assert re.search(r"onewire +\S+ +2 thermometers", out)


def test_a_hung_file_holds_up_no_other_device(tmp_path: Path) -> None:
    wires, chips = tmp_path / "sys/bus/w1/devices", tmp_path / "sys/bus/iio/devices"
    for folder in (wires, chips):
        folder.mkdir(parents=True)
    probes, chip = (
        OneWireTree(wires, {RESERVOIR: lambda: 39.0}),
        IioTree(chips, {"temp": IioChannel(lambda: 22.0, scale=62.5)}),
    )
    for started in (probes, chip):
        started.start()
    chip.show("temp", "hangs")
    try:
        code, out, _ = finished(
            "survey", "--root", tmp_path, "--for", "2", "--json"
        )  # hung for good: it would never end
    finally:
        for started in (probes, chip):
            started.stop()
    read = {row["key"]: row for row in of(found(out), "reading")}
    assert (
        code == 0
        and read[RESERVOIR]["number"] == 39.0
        and read["temp"]["number"] is None
        and "no answer" in read["temp"]["trouble"]
    )


def test_ports_go_by_their_lasting_names(tmp_path: Path, talkers: Callable[..., Talker]) -> None:
    device = talkers()
    by_id, by_path = tmp_path / "dev/serial/by-id", tmp_path / "dev/serial/by-path"
    for folder in (by_id, by_path):
        folder.mkdir(parents=True)
    (by_id / "usb-panel").symlink_to(os.path.realpath(device.port))
    (by_path / "usb-0:1.2").symlink_to(os.path.realpath(device.port))
    assert survey.serial_ports(tmp_path) == [str(by_id / "usb-panel")]
    assert survey.lasting_name(device.port, tmp_path) == str(by_id / "usb-panel")
    file = tmp_path / "draft.toml"
    code, _, err = finished("survey", "--root", tmp_path, "--for", "2", "--write", file)
    assert (code, err) == (0, "")
    drafted = tomllib.loads(file.read_text(encoding="utf-8"))
    assert [bus["port"] for bus in drafted["bus"]] == [str(by_id / "usb-panel")]


# -- GPIO, behind its seam


class Line:
    def __init__(self, offset: int, name: str, direction: str, consumer: str = "") -> None:
        self.offset, self.name, self.used, self.consumer = offset, name, bool(consumer), consumer
        self.direction = f"Direction.{direction}"


class Chip:
    """As gpiod.Chip answers a survey; it notes what was asked for."""

    LINES = (Line(17, "GPIO17", "INPUT"), Line(22, "GPIO22", "INPUT", "warmwell"), Line(27, "", "OUTPUT"))

    def __init__(self) -> None:
        self.requested: list[tuple[dict[int, object], str]] = []
        self.level = "Value.ACTIVE"

    def __call__(self, path: str) -> Chip:
        return self

    def __enter__(self) -> Chip:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def get_info(self) -> Any:
        return type("Info", (), {"label": "pinctrl", "num_lines": 3})()

    def get_line_info(self, at: int) -> Line:
        return self.LINES[at]

    def request_lines(self, config: dict[int, object], consumer: str) -> Chip:
        self.requested.append((config, consumer))
        return self

    def get_value(self, offset: int) -> str:
        return self.level


def test_gpio_lines_are_shown_with_their_holders_and_only_free_inputs_are_read(tmp_path: Path) -> None:
    (tmp_path / "dev").mkdir()
    (tmp_path / "dev/gpiochip0").touch()
    (path,) = survey_gpio.chips(str(tmp_path / "dev"))
    kernel = Chip()
    watch = survey_gpio.chip(path, kernel)
    watch.start()
    device: Device = watch.device
    try:
        until(lambda: device.rows.get("line 17 (GPIO17)") is not None and device.rows["line 17 (GPIO17)"].good)
        assert not device.rows["line 17 (GPIO17)"].moved
        kernel.level = "Value.INACTIVE"
        until(lambda: device.rows["line 17 (GPIO17)"].moved)
    finally:
        watch.stop(2.0)
    assert device.about == "pinctrl, 3 lines" and device.trouble == ""
    assert device.rows["line 17 (GPIO17)"].raw == "input, free, low"
    assert (
        device.rows["line 22 (GPIO22)"].raw == "input, held by warmwell"
        and device.rows["line 27"].raw == "output, free"
    )
    assert {offset for config, _ in kernel.requested for offset in config} == {17}
    assert all(settings is None for config, _ in kernel.requested for settings in config.values())  # taken as it is


def test_a_chip_that_can_not_be_opened_is_told(tmp_path: Path) -> None:
    def refuse(path: str) -> None:
        raise PermissionError(13, "Permission denied")

    watch = survey_gpio.chip(str(tmp_path / "gpiochip0"), refuse)
    watch.start()
    watch.stop(2.0)
    assert "Permission denied" in watch.device.trouble and "group" in watch.device.trouble
