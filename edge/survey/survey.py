"""`warmwell survey`: what is wired to this board, live, and a station file to start from.

It looks at 1-Wire, the kernel's converters, GPIO chips and serial ports, each in a thread of its own; on request it scans a Modbus
line. It only watches: nothing is switched, and a port that somebody else holds is left alone, with the holder's name.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from adapters import iio, onewire
from edge.config import ports as config_ports
from edge.domain.errors import UnusableInput, WarmwellError
from edge.survey import gpio as survey_gpio
from edge.survey.file import Draft, draft
from edge.survey.sources import Device, Row, Watch, converters, lines_on, modbus, one_wire
from edge.terminal import is_terminal, say_json

#: folders below a tree in which 1-Wire and converters may stand
_ONE_WIRE: Final = ("sys/bus/w1/devices", "bus/w1/devices", "w1/devices", "w1", "")
_CONVERTERS: Final = ("sys/bus/iio/devices", "bus/iio/devices", "iio/devices", "iio", "")
_LASTING: Final = ("dev/serial/by-id", "dev/serial/by-path")
_OTHERS: Final = ("ttyUSB", "ttyACM", "ttyAMA", "serial")
SHOW_S: Final = 0.5
END_S: Final = 1.0  # how long all devices together may take to end
MOST_ROWS: Final = 200
LAST_UNIT: Final = 247


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks for. `baud` None: usual speeds are tried."""

    root: Path = Path("/")
    ports: tuple[str, ...] = ()
    modbus_port: str | None = None
    baud: int | None = None
    parity: str = "even"
    units: tuple[int, ...] = tuple(range(1, 17))
    last_register: int = 63
    write: Path | None = None
    for_s: float = 10.0
    as_json: bool = False


def main(wishes: Wishes) -> int:
    """Look, show, write; the exit code: 1 where a port that was named could not be looked at.

    Raises:
        UnusableInput: a tree that isn't there, a file that is; nothing to write.
    """
    _refuse(wishes)
    watches, absent = _found(wishes)
    if not wishes.as_json:
        print("\n".join(absent), flush=True)
    for watch in watches:
        watch.start()
    try:
        _show(watches, wishes)
    except KeyboardInterrupt:
        pass  # seen enough: what was found is told all the same
    deadline_s = time.monotonic() + END_S
    for watch in watches:
        watch.stop(deadline_s - time.monotonic())
    devices = [watch.device for watch in watches]
    _tell(devices, absent, wishes)
    if wishes.write is not None:
        _write(devices, wishes)
    named = {*wishes.ports, *filter(None, [wishes.modbus_port])}
    refused = [device.trouble for device in devices if device.name in named and device.trouble]
    for trouble in refused:
        print(trouble, file=sys.stderr)
    return 1 if refused else 0


def _refuse(wishes: Wishes) -> None:
    if not wishes.root.is_dir():
        raise UnusableInput(
            "there is no such folder", where=f"--root {wishes.root}", expected="a tree such as / that holds sys and dev",
            do="Correct it, or leave it out",
        )  # fmt: skip
    if wishes.write is not None and wishes.write.exists():
        raise UnusableInput(
            "it is there already", where=f"--write {wishes.write}", expected="the name of a new file",
            do="Name another: a survey overwrites nothing",
        )  # fmt: skip
    if wishes.modbus_port is not None and os.path.realpath(wishes.modbus_port) in map(os.path.realpath, wishes.ports):
        raise UnusableInput(
            "it can't be listened on and asked at once", where=f"--ports {wishes.modbus_port}", expected="either --ports or --modbus",
            do="Name it once",
        )  # fmt: skip


def units_in(text: str) -> tuple[int, ...]:
    """The units of "1-16" or "3".

    Raises:
        UnusableInput: neither, or none that a unit can have.
    """
    first, _, last = text.partition("-")
    if not (first.isascii() and first.isdigit() and (last or first).isascii() and (last or first).isdigit()):
        found = range(0)
    else:
        found = range(int(first[:4]), int((last or first)[:4]) + 1)
    if not found or found[0] < 1 or found[-1] > LAST_UNIT:
        raise UnusableInput(
            f"{text[:40]!r} names no units",
            where="--units",
            expected=f"units from 1 to {LAST_UNIT}",
            do='Write such as "1-16"',
        )
    return tuple(found)


# -- what there is


def _found(wishes: Wishes) -> tuple[list[Watch], list[str]]:
    """A watch for each device, and what there is none of."""
    watches: list[Watch] = []
    absent: list[str] = []
    wires = [found for folder in _below(wishes.root, _ONE_WIRE) if (found := one_wire(folder)) is not None][:1]
    watches += wires
    absent += [] if wires else ["1-Wire: no bus master (its driver makes sys/bus/w1/devices)"]
    chips_iio = next(filter(None, map(converters, _below(wishes.root, _CONVERTERS))), [])
    watches += chips_iio
    absent += [] if chips_iio else ["Converters: none (their drivers make sys/bus/iio/devices)"]
    gpio = survey_gpio.chips(str(wishes.root / "dev"))
    watches += [survey_gpio.chip(path) for path in gpio]
    absent += [] if gpio else ["GPIO: no chip (the kernel makes dev/gpiochip0)"]
    asked = os.path.realpath(wishes.modbus_port) if wishes.modbus_port is not None else ""
    ports = wishes.ports or tuple(port for port in serial_ports(wishes.root) if os.path.realpath(port) != asked)
    for port in ports:
        bus = {"port": lasting_name(port, wishes.root)}
        watches.append(lines_on(port, wishes.baud if wishes.modbus_port is None else None, bus))
    absent += [] if ports else ["Serial ports: none with a lasting name; --ports names others"]
    twins = config_ports.nameless(wishes.root / "dev" / "serial")
    absent += [f"Serial ports: {config_ports.told(twins)}"] if twins else []
    if wishes.modbus_port is not None:
        watches.append(
            modbus(wishes.modbus_port, wishes.baud or 19200, wishes.parity, wishes.units, wishes.last_register)
        )
    return watches, absent


def _below(root: Path, places: Sequence[str]) -> Iterator[str]:
    """The usual folders of the kernel first, where the root is this board's own."""
    if str(root) == "/":
        yield from (onewire.ROOT,) if places is _ONE_WIRE else (iio.ROOT,)
        return
    for place in places:
        folder = root / place
        if folder.is_dir():
            yield str(folder)


def serial_ports(root: Path) -> list[str]:
    """The serial ports by names that last, and those without one last of all; each once."""
    seen: set[str] = set()
    found: list[str] = []
    names = [entry for place in _lasting(root) for entry in _entries(root / place)]
    names += [
        entry
        for start in _OTHERS
        for entry in _entries(root / "dev")
        if entry.name.startswith(start) and not entry.is_dir()
    ]
    for name in names:
        device = os.path.realpath(name)
        if device not in seen:
            seen.add(device)
            found.append(str(name))
    return found


def _lasting(root: Path) -> Sequence[str]:
    """Where the names that last are: by the maker's number first, but where two converters bear the same."""
    return tuple(reversed(_LASTING)) if config_ports.nameless(root / "dev" / "serial") else _LASTING


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def lasting_name(port: str, root: Path) -> str:
    """The name of a port that stays its own when plugs are changed; the name itself where there is none."""
    device = os.path.realpath(port)
    for place in _lasting(root):
        for entry in _entries(root / place):
            if os.path.realpath(entry) == device:
                return str(entry)
    return port


# -- what is shown


def _show(watches: Sequence[Watch], wishes: Wishes) -> None:
    """Wait until the time is over, live on a terminal. A scan takes as long as it takes; the time begins after it."""
    devices = [watch.device for watch in watches]
    if wishes.as_json or not is_terminal(sys.stdout):
        for _ in _time_left(devices, wishes.for_s):
            if all(device.is_done for device in devices):
                return
        return
    from rich.live import Live
    from rich.text import Text

    with Live(refresh_per_second=4, transient=True) as live:
        for left_s in _time_left(devices, wishes.for_s):
            lines = [*device_lines(devices), f"{left_s:.0f} s left; Ctrl-C when you have seen enough"]
            live.update(Text("\n".join(lines)))  # plain text: what a device says is never taken for markup


def _time_left(devices: Sequence[Device], for_s: float) -> Iterator[float]:
    """The seconds left, each half second; they don't run while a scan is under way."""
    left_s = for_s
    while left_s > 0.0:
        yield left_s
        before_s = time.monotonic()
        time.sleep(min(left_s, SHOW_S))
        if not any(device.is_scanning for device in devices):
            left_s -= time.monotonic() - before_s


def device_lines(devices: Sequence[Device]) -> list[str]:
    """What was found, for people: each device, its rows, what each may be."""
    lines = []
    for device in devices:
        lines.append(f"{device.kind}  {_printable(device.name)}  {_printable(device.about)}".rstrip())
        if device.trouble:
            lines.append(f"    {_printable(device.trouble)}")
        for row in list(device.rows.values())[:MOST_ROWS]:
            lines += _row_lines(row)
        if len(device.rows) > MOST_ROWS:
            lines.append(f"    … and {len(device.rows) - MOST_ROWS} more: --json has them all")
    return lines


def _row_lines(row: Row) -> list[str]:
    head = f"    {_printable(row.key)}: {_printable(row.raw) or '-'}{'  (moves)' if row.moved else ''}"
    lines = [head, *(f"        {_printable(reading)}" for reading in row.readings)]
    return [*lines, f"        {_printable(row.trouble)}"] if row.trouble else lines


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _tell(devices: Sequence[Device], absent: Sequence[str], wishes: Wishes) -> None:
    if not wishes.as_json:
        print("\n".join(device_lines(devices)) or "Nothing was found.")
        return
    for text in absent:
        say_json({"type": "absent", "text": text})
    for device in devices:
        row = {"kind": device.kind, "name": device.name, "about": device.about, "trouble": device.trouble or None}
        say_json({"type": "device", **row, "held": device.is_held})
        for one in device.rows.values():
            value = {"raw": one.raw, "readings": list(one.readings), "number": one.number, "unit": one.unit or None}
            more = {"trouble": one.trouble or None, "good": one.good, "moves": one.moved}
            say_json({"type": "reading", "device": device.name, "key": one.key, **value, **more})


# -- the station file


def _write(devices: Sequence[Device], wishes: Wishes) -> None:
    assert wishes.write is not None
    if not any(device.rows for device in devices):
        raise WarmwellError(
            "nothing was found that could stand in a station file", where=f"--write {wishes.write}", expected="at least one device",
            do="Check wiring and drivers, name ports with --ports, or look longer with --for",
        )  # fmt: skip
    made = draft(devices, f"{datetime.now(UTC):%Y-%m-%d}", board_zone())
    part = wishes.write.with_name(wishes.write.name + ".part")
    try:
        part.write_text(made.text(), encoding="utf-8")
        os.link(part, wishes.write)  # never over a file that has come meanwhile
    except OSError as exc:
        raise UnusableInput(
            f"it can't be written ({exc.strerror})", where=f"--write {wishes.write}",
            expected="a new file in a folder that you may write to", do="Name another",
        ) from exc  # fmt: skip
    finally:
        part.unlink(missing_ok=True)
    _tell_draft(made, wishes)


def _tell_draft(made: Draft, wishes: Wishes) -> None:
    if wishes.as_json:
        say_json({"type": "file", "path": str(wishes.write), "points": made.points, "left": made.left})
        return
    print(f"{wishes.write}: {len(made.points)} points to confirm, {len(made.left)} more as comments to fill in.")
    print(f"Look for CONFIRM in it, then: warmwell check {wishes.write}")


def board_zone() -> str | None:
    """This board's time zone by its IANA name; None where it doesn't say."""
    from zoneinfo import available_timezones

    linked = os.path.realpath("/etc/localtime").partition("/zoneinfo/")[2]
    try:
        told = Path("/etc/timezone").read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        told = ""
    return next((name for name in (told, linked) if name in available_timezones()), None)
