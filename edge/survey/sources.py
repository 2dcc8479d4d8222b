"""What a survey looks at: each device in a thread of its own, so that one that hangs or is silent holds up no other.

The adapters' own code reads them: what the survey shows is what the daemon will read. Nothing is set, switched or
calibrated; on serial ports it only listens, but for a Modbus line that was asked for.
"""

from __future__ import annotations

import logging
import math
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from adapters import iio, onewire
from adapters.kernel_files import names_in
from adapters.serial_line import LineBuffer, text_of
from adapters.serial_port import PortInUse, SerialPort, other_reader
from edge.clock import RealClock
from edge.domain.contracts import Raw
from edge.domain.errors import WarmwellError
from edge.domain.readings import REASONS
from edge.domain.sensing.onewire_text import FAMILIES
from edge.survey.lines import Proposal, proposals
from edge.survey.modbus import Place, Scan
from edge.survey.readings import as_each_unit, electrical, in_trade_units, kind_of_unit, number_text, registers

_log = logging.getLogger(__name__)

EVERY_S: Final = 1.0
MOST_LINES: Final = 60  # of a port, that patterns are made from
BAUDS: Final = (9600, 19200, 115200, 38400, 4800, 57600, 2400)
LISTEN_S: Final = 2.0  # at one speed, where rubbish comes, before another is tried
ENOUGH_LINES: Final = 3
PROPOSE_S: Final = 0.5  # patterns are made anew at most so often


@dataclass(slots=True)
class Row:
    """One thing that can be read, as it was last. `data` is what the station file needs of it."""

    key: str
    raw: str = ""
    readings: Sequence[str] = ()
    number: float | None = None
    unit: str = ""
    trouble: str = ""
    good: int = 0
    moved: bool = False
    data: Any = None


@dataclass(slots=True)
class Device:
    """One device of whatever kind, and its rows. Written by its own thread, read by others as it stands."""

    kind: str  # of bus: "onewire", "iio", "serial-line", "modbus-rtu", "gpio"
    name: str
    about: str = ""
    trouble: str = ""
    is_held: bool = False
    is_done: bool = False
    is_scanning: bool = False  # it isn't known yet what there is
    every_s: int = 1  # how often it has something to say
    bus: dict[str, Any] = field(default_factory=dict)  # options for the station file
    rows: dict[str, Row] = field(default_factory=dict)


class Watch:
    """One device, watched in a daemon thread until stop()."""

    def __init__(self, device: Device, work: Callable[[Device, threading.Event], None]) -> None:
        self.device, self._work = device, work
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"survey {device.name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout_s: float) -> None:
        """End it; one that hangs in a read stays behind, and its device says so."""
        self._over.set()
        self._thread.join(max(0.0, timeout_s))
        if self._thread.is_alive() and not any(row.good for row in self.device.rows.values()):
            self.device.trouble = self.device.trouble or "a read has not come back"

    def _run(self) -> None:
        try:
            self._work(self.device, self._over)
        except PortInUse as exc:
            self.device.is_held, self.device.trouble = True, str(exc)
        except WarmwellError as exc:
            self.device.trouble = str(exc)
        except Exception as exc:  # supervision border: one device must not end the survey of the others
            _log.debug("%s", self.device.name, exc_info=True)
            self.device.trouble = f"looking at it failed ({type(exc).__name__}: {exc})"
        self.device.is_done = True


# -- what the kernel shows


def one_wire(root: str) -> Watch | None:
    """The thermometers on the 1-Wire bus; None where there is no bus."""
    if not any(name.startswith("w1_bus_master") for name in names_in(root)) and not onewire.probes(root):
        return None
    bus = {"root": root} if root != onewire.ROOT else {}
    device = Device("onewire", root, bus=bus)

    def work(device: Device, over: threading.Event) -> None:
        adapter, addresses = None, []
        while not over.is_set():
            there = [probe.address for probe in onewire.probes(root)]
            if adapter is None or there != addresses:
                addresses = there
                tables = {address: {"address": address, "every": "1 s"} for address in addresses}
                adapter = onewire.OneWire({"id": "survey", "root": root}, tables, RealClock())
            device.about = f"{len(addresses) or 'no'} thermometer{'' if len(addresses) == 1 else 's'}"
            phantoms = [name for name in names_in(root) if name.startswith("00-")]
            device.trouble = (
                f"the bus shows phantoms ({phantoms[0]}): its wire is shorted to ground" if phantoms else ""
            )
            if addresses:
                for raw in adapter.read(addresses):
                    _note(device, raw, FAMILIES.get(raw.point[:2], ""))
            over.wait(EVERY_S)

    return Watch(device, work)


def converters(root: str) -> list[Watch]:
    """The converters of the kernel's industrial I/O."""
    found = iio.devices(root)
    names = [one.name for one in found]
    watches = []
    for one in found:
        bus: dict[str, Any] = {
            "device": one.name if one.name and names.count(one.name) == 1 else _lasting_folder(one.folder)
        }
        if root != iio.ROOT:
            bus["root"] = root
        watches.append(
            Watch(
                Device("iio", one.name or os.path.basename(one.folder), one.folder, bus=bus),
                _converter(one.folder, root),
            )
        )
    return watches


def _lasting_folder(folder: str) -> str:
    """The folder of the chip that a converter hangs on, where that has no other: numbers of devices change, that doesn't."""
    above = os.path.dirname(os.path.realpath(folder))
    return (
        above
        if iio.find(above)[0] and len([n for n in os.listdir(above) if n.startswith("iio:device")]) == 1
        else folder
    )


def _converter(folder: str, root: str) -> Callable[[Device, threading.Event], None]:
    def work(device: Device, over: threading.Event) -> None:
        there = iio.channels(folder)
        known = [channel for channel in there if iio.unit_of(channel)]
        for channel in there:
            if channel not in known:
                device.rows[channel] = Row(channel, trouble="a type of channel that is not read here")
        tables = {channel: {"channel": channel, "every": "1 s"} for channel in known}
        adapter = iio.Iio({"id": "survey", "device": folder, "root": root}, tables, RealClock())
        adapter.open()
        while not over.is_set():
            for raw in adapter.read(known):
                _note(device, raw)
            over.wait(EVERY_S)

    return work


def _note(device: Device, raw: Raw, about: str = "") -> None:
    """What an adapter said of one row."""
    before = device.rows.get(raw.point, Row(raw.point))
    if raw.number is None or raw.reason is not None:
        why = REASONS.get(raw.reason or "no_answer", REASONS["no_answer"])
        trouble = f"{why.text}{f' ({raw.detail})' if raw.detail else ''}. {why.advice}"
        device.rows[raw.point] = Row(
            raw.point, before.raw, before.readings, None, raw.unit, trouble, before.good, before.moved
        )
        return
    known = kind_of_unit(raw.unit)
    bare = raw.unit in ("V", "mA", "ohm", "kPa") or known is None
    readings = electrical(raw.number, raw.unit) if bare or known is None else [in_trade_units(raw.number, *known)]
    moved = before.moved or (before.number is not None and before.number != raw.number)
    text = f"{number_text(raw.number)} {raw.unit}{f', {about}' if about else ''}"
    device.rows[raw.point] = Row(raw.point, text, readings, raw.number, raw.unit, "", before.good + 1, moved)


# -- serial ports


def lines_on(port_name: str, baud: int | None, bus: Mapping[str, Any]) -> Watch:
    """A port that a transmitter may talk on. `baud` None: the usual speeds are tried one after the other."""
    device = Device("serial-line", port_name, bus=dict(bus))

    def work(device: Device, over: threading.Event) -> None:
        speeds = (baud,) if baud is not None else BAUDS
        turn = 0
        while not over.is_set():
            speed = speeds[turn % len(speeds)]
            heard = _listen(device, port_name, speed, over, None if len(speeds) == 1 else LISTEN_S)
            turn += 0 if heard else 1

    return Watch(device, work)


def _listen(device: Device, port_name: str, baud: int, over: threading.Event, patience_s: float | None) -> bool:
    """Hear lines at one speed; False where no whole line of text came within the patience."""
    port = SerialPort({"id": "survey", "port": port_name, "baud": baud}, "lines of text")
    _take(port)
    buffer, kept = LineBuffer(), deque[str](maxlen=MOST_LINES)
    began_s, total, rubbish, octets = time.monotonic(), 0, 0, 0
    proposed_s = first_s = 0.0
    try:
        while not over.is_set():
            is_rubbish = octets > 0 and total < ENOUGH_LINES and total <= rubbish
            if patience_s is not None and is_rubbish and time.monotonic() - began_s > patience_s:
                return False
            if not port.ready(0.2):
                device.about = device.about if octets else f"{baud} baud, nothing comes"
                continue
            chunk = port.read()
            octets += len(chunk)
            for line in buffer.feed(chunk):
                text, clean = text_of(line)
                total, rubbish = total + clean, rubbish + (not clean)
                if clean:
                    kept.append(text)
                    first_s = first_s or time.monotonic()
            if total > 1:
                device.every_s = max(1, math.ceil((time.monotonic() - first_s) / (total - 1)))
            if total:
                device.bus["baud"] = baud
                device.about = f"{baud} baud, {total} lines, newest {kept[-1][:80]!r}"
                if time.monotonic() - proposed_s > PROPOSE_S:
                    _propose(device, list(kept))
                    proposed_s = time.monotonic()
            else:
                device.about = f"{baud} baud, {octets} bytes, {rubbish} lines of rubbish"
            over.wait(0.05)
    finally:
        port.close()
    _propose(device, list(kept))
    return True


def _take(port: SerialPort) -> None:
    """Open a port, unless somebody else reads it. Raises PortInUse, BusLost."""
    reader = other_reader(port.name)
    if reader:
        raise PortInUse(
            f"the port is held by {reader}", where=port.name, expected="a port that nobody else reads",
            do="Stop that program first, as with systemctl stop warmwell; two readers would take each other's bytes",
        )  # fmt: skip
    port.open()


def _propose(device: Device, lines: list[str]) -> None:
    for proposal in proposals(lines):
        before = device.rows.get(proposal.label, Row(proposal.label))
        moved = before.moved or (
            before.number is not None and proposal.number is not None and before.number != proposal.number
        )
        device.rows[proposal.label] = Row(
            proposal.label,
            proposal.newest,
            line_readings(proposal),
            proposal.number,
            proposal.unit,
            "",
            proposal.hits,
            moved,
            proposal,
        )


def line_readings(proposal: Proposal) -> list[str]:
    """What a value in a line may be."""
    if proposal.number is None:
        seen = ", ".join(sorted(proposal.words_seen))
        return [f"a contact; heard: {seen}"]
    if proposal.kind is None:
        return ["no unit, and no label that tells what it measures"]
    if proposal.told:
        return [in_trade_units(proposal.number, proposal.unit, proposal.kind)]
    return ["no unit in the line", *as_each_unit(proposal.number, proposal.kind)]


# -- a Modbus line


def modbus(port_name: str, baud: int, parity: str, units: Sequence[int], last_register: int) -> Watch:
    """A Modbus line: scanned once, then watched."""
    bus = {"port": port_name, "baud": baud, "parity": parity}
    device = Device("modbus-rtu", port_name, bus=bus)

    def work(device: Device, over: threading.Event) -> None:
        port = SerialPort({"id": "survey", **bus}, "answers of the units", baud=baud, parity=parity)
        _take(port)
        scan = Scan(port)
        try:
            for unit_id in units:
                device.about = f"asking unit {unit_id} of {units[0]} to {units[-1]}; {_units_text(scan)}"
                scan.unit(unit_id, last_register, over.is_set)
                _show_registers(device, scan)
                if over.is_set():
                    device.trouble = f"the scan was ended at unit {unit_id}"
                    return
            device.is_scanning = False
            device.about = (
                _units_text(scan)
                or f"no answer from units {units[0]} to {units[-1]}: check wires A and B, baud and parity"
            )
            while not over.wait(EVERY_S):
                scan.look_again(over.is_set)
                _show_registers(device, scan)
        finally:
            device.is_scanning = False
            scan.close()

    device.is_scanning = True
    return Watch(device, work)


def place_text(place: Place) -> str:
    """unit 3 input 0"""
    return f"unit {place.unit_id} {place.kind} {place.at}"


def _show_registers(device: Device, scan: Scan) -> None:
    for place in scan.registers:
        device.rows[place_text(place)] = _register_row(scan, place)


def _units_text(scan: Scan) -> str:
    said = [f"unit {unit_id}: {what}" for unit_id, what in scan.units.items()]
    return "; ".join(said + (["the adapter hears itself"] if scan.echo else []))


def _register_row(scan: Scan, place: Place) -> Row:
    octets = [scan.registers[place]]
    after = scan.registers.get(place._replace(at=place.at + 1))
    octets += [after] if after is not None else []
    raw = " ".join(part.hex() for part in octets)
    return Row(place_text(place), raw, registers(octets, 0), None, "", "", 1, place in scan.moved, place)
