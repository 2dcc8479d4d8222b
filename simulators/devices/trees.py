"""The kernel's trees of sensors, played: 1-Wire thermometers and industrial I/O, in a folder that an adapter is pointed at.

What the files say is what the kernel's own drivers said of a simulated bus, state by state: an empty file for a cut cable, nine
zero bytes for a shorted wire, 85 degC for a probe that was reset. Each probe and each channel can be told how to behave
while it is read. Values come from functions: from a simulated world, from a test's own.
"""

from __future__ import annotations

import errno
import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from simulators.devices.files import DeviceFiles, PlainFiles
from simulators.physics.world import Missing

_log = logging.getLogger(__name__)

Measured = Callable[[], "float | Missing"]

RENEW_S: Final = 0.05  # how often (real seconds) what the files say is renewed
SLOW_S: Final = 0.75  # a conversion
BULK: Final = "therm_bulk_read"
MASTER: Final = "w1_bus_master1"
PHANTOMS: Final = ("00-800000000000", "00-400000000000")  # what a search finds on a shorted wire

#: what each state of a probe does to its file `w1_slave`; "bytes" shows what show() was given
ONE_WIRE_STATES: Final = (
    "good", "power_on", "under_supplied", "crc", "crc_no", "cut", "shorted", "one_line", "no_t", "no_digits", "nul", "garbage",
    "huge", "bytes", "io_error", "hangs", "slow", "no_files", "vanished", "phantoms", "error",
)  # fmt: skip
#: what each state of a channel does to its file
IIO_STATES: Final = (
    "good", "lower_stop", "upper_stop", "empty", "garbage", "nul", "huge", "bytes", "io_error", "hangs", "slow", "no_files", "error",
)  # fmt: skip

#: reasons of a world's missing values, as a probe shows them; all others as a cut cable
_AS_PROBE: Final[Mapping[str, str]] = MappingProxyType(
    {"power_on_value": "power_on", "under_supplied": "under_supplied", "crc": "crc_no", "shorted": "shorted", "": "vanished"}
)  # fmt: skip
_MILLI: Final = ("voltage", "temp")  # types that the kernel tells in thousandths of our unit


def crc8(data: bytes) -> int:
    """The check sum of the 1-Wire bus, by the shift register of its description: x8 + x5 + x4 + 1."""
    register = 0
    for byte in data:
        for bit in range(8):
            feedback = (register ^ byte >> bit) & 1
            register >>= 1
            if feedback:
                register ^= 0x8C
    return register


def scratchpad(celsius: float, is_look_alike: bool = False) -> bytes:
    """The nine bytes of a probe that has converted, at 12 bits. A look-alike doesn't keep byte 6."""
    register = round(celsius * 16.0)
    left = 0x0C if is_look_alike else 0x10 - (register & 0x0F)
    eight = (register & 0xFFFF).to_bytes(2, "little") + bytes((0x4B, 0x46, 0x7F, 0xFF, left, 0x10))
    return eight + bytes((crc8(eight),))


def w1_slave(nine: bytes, millidegrees: int, ok: bool = True) -> bytes:
    """The two lines in which the kernel shows them."""
    shown = nine.hex(" ")
    return f"{shown} : crc={crc8(nine[:8]):02x} {'YES' if ok else 'NO'}\n{shown} t={millidegrees}\n".encode()


def millidegrees_of(nine: bytes) -> int:
    """As the kernel counts them: cut to whole ones, towards zero."""
    return int(int.from_bytes(nine[:2], "little", signed=True) * 1000 / 16)


class _Tree:
    """A tree of files that follows what it shows: each part of it (a probe, a channel) in a state, renewed by a thread.

    Args:
        root: what the adapter's `root` is set to.
        parts: the names of its parts.
        states: those that a part can be in, the first of them at the start.
        files: plain files where none are given.
    """

    def __init__(self, root: Path, parts: Iterable[str], states: Sequence[str], files: DeviceFiles | None) -> None:
        self.root = root
        self._files = files if files is not None else PlainFiles(root)
        self._states = states
        self._state: dict[str, tuple[str, bytes | int]] = dict.fromkeys(parts, (states[0], b""))
        self._renewal = _Renewal(self.renew)

    def start(self) -> None:
        """Make the tree and begin to keep it up to date."""
        self.renew()
        self._renewal.start()

    def stop(self) -> None:
        """End, let everything go that waits, and take the tree away."""
        self._renewal.stop()
        self._files.close()

    def show(self, part: str, state: str, what: bytes | int = b"") -> None:
        """From now on this part is in one of the tree's states; `what`: the bytes, or for "error" the errno."""
        if state not in self._states:
            raise ValueError(f"{state!r} is no state of {part}; one of {', '.join(self._states)}")
        with self._renewal.lock:
            self._state[part] = (state, what)
            self.renew()

    def renew(self) -> None:
        """Have the files say what is so now."""
        raise NotImplementedError


class OneWireTree(_Tree):
    """Thermometers on one bus master.

    Args:
        root: what the adapter's `root` is set to.
        ids: address -> what that probe measures [degC].
        files: plain files where none are given.
        bulk: whether the kernel can have all convert at once.
        shows: "w1_slave", "temperature" or "hwmon": the first file that a probe has.
        look_alikes: addresses of parts that don't keep byte 6.
    """

    def __init__(
        self,
        root: Path,
        ids: Mapping[str, Measured],
        files: DeviceFiles | None = None,
        bulk: bool = True,
        shows: str = "w1_slave",
        look_alikes: frozenset[str] = frozenset(),
    ) -> None:
        super().__init__(root, ids, ONE_WIRE_STATES, files)
        self._ids = dict(ids)
        self._bulk, self._shows, self._look_alikes = bulk, shows, look_alikes
        self._has_master = True

    def plug(self, address: str, measured: Measured) -> None:
        """Another probe on the wire."""
        with self._renewal.lock:
            self._ids[address] = measured
            self._state[address] = ("good", b"")
            self.renew()

    def unplug_master(self, is_there: bool = False) -> None:
        """Pull the bus master with all its probes; or put it back."""
        with self._renewal.lock:
            self._has_master = is_there
            self.renew()

    def conversions_at_once(self) -> int:
        """How often all were made to convert at once."""
        return self._files.orders(f"{MASTER}/{BULK}")

    def renew(self) -> None:
        """Have the files say what is so now."""
        with self._renewal.lock:
            if not self._has_master:
                for name in (*self._ids, *PHANTOMS, MASTER):
                    self._files.remove(name)
                return
            self._files.put(f"{MASTER}/w1_master_name", b"w1_bus_master1\n")
            if self._bulk:
                self._files.put(f"{MASTER}/{BULK}", b"0\n")
                self._files.orders(f"{MASTER}/{BULK}")
            phantoms = any(state == "phantoms" for state, _ in self._state.values())
            for name in PHANTOMS:
                self._files.put(f"{name}/name", name.encode()) if phantoms else self._files.remove(name)
            for address, measured in self._ids.items():
                self._probe(address, measured())

    def _probe(self, address: str, value: float | Missing) -> None:
        state, what = self._state[address]
        if isinstance(value, Missing):
            state, value = _AS_PROBE.get(value.reason, "cut"), 0.0
        folder = f"{MASTER}/{address}"
        if state in ("vanished", "phantoms"):
            self._files.remove(address)
            self._files.remove(folder)
            return
        path = f"{folder}/{_PROBE_FILES[self._shows]}"
        self._files.put(f"{folder}/name", f"{address}\n".encode())
        self._files.put(f"{folder}/resolution", _RESOLUTION.get(state, b"12\n"))
        _behave(self._files, path, state, what, self._text(address, state, value), converts=f"{MASTER}/{BULK}")
        self._files.link(address, f"{MASTER}/{address}")

    def _text(self, address: str, state: str, celsius: float) -> bytes:
        """What the file says in a state in which it says something."""
        nine = scratchpad(celsius, address in self._look_alikes)
        if state == "power_on":
            nine = bytes.fromhex("50 05 4b 46 7f ff 0c 10 1c")
        elif state == "under_supplied":
            nine = scratchpad(127.9375)
        elif state == "shorted":
            nine = bytes(9)
        if self._shows != "w1_slave":
            return f"{millidegrees_of(nine)}\n".encode()
        if state == "crc_no":
            return _with_no(nine)
        lines = w1_slave(nine, millidegrees_of(nine)).splitlines(keepends=True)
        cut = {"one_line": lines[0], "no_t": lines[0] + lines[1].split(b"t=")[0] + b"\n"}
        cut["no_digits"] = lines[0] + lines[1].split(b"t=")[0] + b"t=\n"
        return cut.get(state, b"".join(lines))


_PROBE_FILES: Final = {"w1_slave": "w1_slave", "temperature": "temperature", "hwmon": "hwmon/hwmon0/temp1_input"}
#: what `resolution` holds after a failure
_RESOLUTION: Final = {"cut": b"-19\n", "crc": b"-5\n"}
_GARBAGE: Final = b"\xff\x00\xfe t=23\n"


def _with_no(good: bytes) -> bytes:
    """The line that was received, with its wrong check sum, over the last good one and a number that is neither's."""
    return b"ff ff ff ff ff ff ff ff ff : crc=c9 NO\n" + f"{good.hex(' ')} t=-62\n".encode()


def _behave(files: DeviceFiles, path: str, state: str, what: bytes | int, text: bytes, converts: str = "") -> None:
    """Have one file do what its state says."""
    said = {"cut": b"", "crc": b"", "empty": b"", "nul": bytes(3000), "garbage": _GARBAGE, "huge": b"9" * 5000}
    if state == "hangs":
        files.hang(path)
    elif state == "slow":
        files.slow(path, text, SLOW_S)
    elif state == "io_error":
        files.fail(path, errno.EIO)
    elif state == "error":
        files.fail(path, int(what))
    elif state == "no_files":
        files.remove(path)
    elif state == "bytes":
        files.put(path, bytes(what), converts)
    else:
        files.put(path, said.get(state, text), converts)


@dataclass(frozen=True, slots=True)
class IioChannel:
    """A channel: what it measures [V, mA, degC, ohm], and how its converter counts.

    `scale` is the kernel's, in thousandths for volts and degrees: 2.0 is 2 mV a count. `is_input`: the chip gives the quantity
    itself and no raw number.
    """

    measured: Measured
    scale: float = 0.125
    offset: float = 0.0
    bits: int = 16
    signed: bool = True
    is_input: bool = False

    def stops(self) -> tuple[int, int]:
        """The lowest and the highest raw number."""
        return (-(1 << self.bits - 1), (1 << self.bits - 1) - 1) if self.signed else (0, (1 << self.bits) - 1)

    def raw(self, kernel_value: float) -> int:
        """The raw number of a quantity in the kernel's unit."""
        low, high = self.stops()
        return min(high, max(low, round(kernel_value / self.scale - self.offset)))


class IioTree(_Tree):
    """One converter.

    Args:
        root: what the adapter's `root` is set to.
        channels: channel -> what it measures.
        name: of the device.
        files: plain files where none are given.
        tells_stops: whether the kernel tells where the end stops lie.
    """

    def __init__(
        self,
        root: Path,
        channels: Mapping[str, IioChannel],
        name: str = "ads1115",
        files: DeviceFiles | None = None,
        tells_stops: bool = True,
    ) -> None:
        super().__init__(root, channels, IIO_STATES, files)
        self.name = name
        self._channels = dict(channels)
        self._tells_stops = tells_stops
        self._number: int | None = 0

    @property
    def device(self) -> Path:
        """The device's folder, while it is plugged in."""
        return self.root / f"iio:device{self._number}"

    def unplug(self) -> None:
        """The device goes, with its folder."""
        with self._renewal.lock:
            if self._number is not None:
                self._files.remove(self.device.name)
            self._number = None

    def plug(self, number: int = 0) -> None:
        """It is there again, perhaps under another number."""
        with self._renewal.lock:
            self._number = number
            self.renew()

    def renew(self) -> None:
        """Have the files say what is so now."""
        with self._renewal.lock:
            if self._number is None:
                return
            folder = self.device.name
            self._files.put(f"{folder}/name", f"{self.name}\n".encode())
            for name, channel in self._channels.items():
                self._channel(f"{folder}/in_{name}", channel, name, folder)

    def _channel(self, path: str, channel: IioChannel, name: str, folder: str) -> None:
        state, what = self._state[name]
        value = channel.measured()
        if isinstance(value, Missing):
            state, value = ("io_error" if state == "good" else state), 0.0
        kernel_value = value * (1000.0 if name.startswith(_MILLI) else 1.0)
        if channel.is_input:
            _behave(self._files, f"{path}_input", state, what, f"{kernel_value:.6f}\n".encode())
            return
        low, high = channel.stops()
        raw = {"lower_stop": low, "upper_stop": high}.get(state, channel.raw(kernel_value))
        self._files.put(f"{path}_scale", f"{channel.scale:.9f}\n".encode())
        if channel.offset:
            self._files.put(f"{path}_offset", f"{channel.offset:g}\n".encode())
        if self._tells_stops:
            form = f"be:{'s' if channel.signed else 'u'}{channel.bits}/{channel.bits}>>0\n"
            self._files.put(f"{folder}/scan_elements/in_{name}_type", form.encode())
        _behave(self._files, f"{path}_raw", state, what, f"{raw}\n".encode())


def loop_volts(measured: Measured, low: float, high: float, burden_ohm: float) -> Measured:
    """What a 4-20 mA sender of a quantity leaves over a burden [V]: `low` at 4 mA, `high` at 20 mA; none where it is missing."""

    def volts() -> float:
        value = measured()
        if isinstance(value, Missing):
            ma = 22.0 if value.reason == "loop_over" else 0.0
        else:
            ma = 4.0 + 16.0 * (value - low) / (high - low)
        return ma * burden_ohm / 1000.0

    return volts


class _Renewal:
    """A daemon thread that renews a tree until it is stopped."""

    def __init__(self, renew: Callable[[], None]) -> None:
        self.lock = threading.RLock()
        self._renew = renew
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="device tree", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        if self._thread.ident is not None:
            self._thread.join(2.0)

    def _run(self) -> None:
        while not self._over.wait(RENEW_S):
            try:
                self._renew()
            except Exception:  # supervision border: a world that fails must not freeze what the files say unseen
                _log.exception("a device tree could not be renewed")
