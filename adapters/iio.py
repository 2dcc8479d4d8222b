"""Channels of converters and sensor chips that the kernel's industrial I/O knows: volts, milliamperes, ohms, degrees.

A channel is read as the kernel gives it: `in_<channel>_raw` with its offset and scale, (raw + offset) x scale, or where the
chip gives no raw number `in_<channel>_input`. Scale and offset are read each time, for another program may change them, and a
cached one would make a believable wrong number. Both may be the channel's own or shared by all channels of its type.

At its end stop a converter only knows "at least so much", so a raw number there is bad. Where the stops lie the kernel
tells in `scan_elements/in_<channel>_type`; else the point's `counts` may. The lower stop of an unsigned converter is
0: no signal, and what that means the transducer behind it knows better (an open loop, a cut cable).

Errors are the kernel's own errnos: EIO, EBUSY, ENODEV, ETIMEDOUT, EREMOTEIO (a chip on I2C that doesn't answer).

Sources: the kernel's ABI description of industrial I/O (units by type, names of files; from memory), a driver of our own on
the real core (form of the texts, errnos; measured).
"""

from __future__ import annotations

import logging
import os
import re
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from adapters.kernel_files import TooLong, names_in, read_whole, reason_of, text_of
from adapters.serial_port import duration_s, unusable
from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.errors import BusLost
from edge.domain.sensing.transducers import beside_channel

_log = logging.getLogger(__name__)

ROOT: Final = "/sys/bus/iio/devices"
#: a device that is plugged in has all its files after this (real seconds; the kernel makes them within milliseconds; our own number)
SETTLES_S: Final = 5.0
#: until then they are looked for so often
LOOKS_S: Final = 0.5
PATIENCE_SHARE: Final = 0.6  # of the bus's time limit: so long all silent files of one read are waited for together
USUAL_LIMIT_S: Final = 2.0
NAME_S: Final = 0.2  # for the name of a device

#: type of a channel -> (unit that we hand over, factor from the kernel's unit)
UNITS: Final[Mapping[str, tuple[str, float]]] = {
    "voltage": ("V", 0.001),  # mV
    "current": ("mA", 1.0),
    "temp": ("degC", 0.001),  # thousandths of a degree
    "resistance": ("ohm", 1.0),
    "pressure": ("kPa", 1.0),
    "electricalconductivity": ("uS/cm", 10_000.0),  # S/m
}

_DEVICE: Final = re.compile(r"iio:device[0-9]+")
_CHANNEL: Final = re.compile(r"[a-z][a-z0-9_-]*")
_FILE: Final = re.compile(r"in_([a-z]+[0-9]*(?:[_-][a-z0-9-]+)*)_(?:raw|input)")
_RAW: Final = re.compile(r"-?[0-9]{1,10}")
_NUMBER: Final = re.compile(r"-?[0-9]{1,10}(?:\.[0-9]{1,12})?")
_FORM: Final = re.compile(r"[bl]e:([su])([0-9]{1,2})/[0-9]{1,3}(?:X[0-9]+)?(?:>>[0-9]{1,3})?")


class Device(NamedTuple):
    """A converter that the kernel shows."""

    name: str
    folder: str


class Stops(NamedTuple):
    """The lowest and the highest raw number of a converter."""

    low: int
    high: int


class Unreadable(Exception):
    """Why a channel gave no number: `reason` is a key of the table of reasons."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(detail)
        self.reason, self.detail = reason, detail


def devices(root: str = ROOT) -> list[Device]:
    """The devices that are there now, in the order of their numbers."""
    folders = [os.path.join(root, name) for name in names_in(root) if _DEVICE.fullmatch(name)]
    return [Device(text_of(os.path.join(folder, "name"), time.monotonic() + NAME_S), folder) for folder in folders]


def channels(folder: str) -> list[str]:
    """The channels of a device that can be read, such as "voltage0", "temp"."""
    found = (_FILE.fullmatch(name) for name in names_in(folder))
    return list(dict.fromkeys(match[1] for match in found if match))


def type_of(channel: str) -> str:
    """The type of a channel: "voltage" of "voltage0-voltage1".

    >>> type_of("temp_object")
    'temp'
    """
    match = re.match(r"[a-z]+", channel)
    return match[0] if match else ""


def unit_of(channel: str) -> str:
    """The unit that a channel is handed over in; "" for a type that isn't known here."""
    return UNITS.get(type_of(channel), ("", 1.0))[0]


def find(device: str, root: str = ROOT) -> tuple[str, str]:
    """The folder of a device, by its name, its folder's name, a path to it, or a path to what it hangs on.

    Returns:
        folder, ""; or "", and why there is none.
    """
    if "/" in device:
        inside = [name for name in names_in(device) if _DEVICE.fullmatch(name)]
        if len(inside) == 1 and not channels(device):
            return os.path.join(device, inside[0]), ""
        return (device, "") if os.path.isdir(device) else ("", f"there is no {device}")
    if _DEVICE.fullmatch(device):
        folder = os.path.join(root, device)
        return (folder, "") if os.path.isdir(folder) else ("", f"there is no {folder}")
    there = devices(root)
    named = [one.folder for one in there if one.name == device]
    if len(named) == 1:
        return named[0], ""
    if named:
        return "", f"{len(named)} devices are called {device!r}: {', '.join(named)}; name one by its path"
    names = ", ".join(sorted({one.name for one in there if one.name})) or "none"
    return "", f"no device is called {device!r}; there: {names}"


class Channel:
    """One channel of one device, as far as it was found.

    Its files are looked up at each open of the bus, and again for SETTLES_S: a device that was plugged in a moment ago has its folder
    before it has all its files. As long as its scale lacks it is looked for at each reading.
    """

    def __init__(self, folder: str, channel: str, counts: Stops | None) -> None:
        self.folder, self.channel, self._counts = folder, channel, counts
        self._raw = os.path.join(folder, f"in_{channel}_raw")
        self._input = os.path.join(folder, f"in_{channel}_input")
        self._stops: Stops | None = counts
        self._look_up()
        self._settled_s = self._looked_s + SETTLES_S

    def _look_up(self) -> None:
        self._looked_s = time.monotonic()
        self._is_raw = os.path.exists(self._raw) or not os.path.exists(self._input)
        self._scale, self._offset = (self._beside(what) for what in ("scale", "offset"))

    def _beside(self, what: str) -> str:
        """The file of scale or offset: the channel's own, its type's, or everyone's; "" for none."""
        kind = type_of(self.channel)
        shared = [f"in_{kind}-{kind}_{what}"] if "-" in self.channel else []
        names = [f"in_{self.channel}_{what}", *shared, f"in_{kind}_{what}", f"in_{what}", what]
        return next((path for name in names if os.path.exists(path := os.path.join(self.folder, name))), "")

    def learn_stops(self, deadline_s: float) -> None:
        """Where the converter's end stops lie, where the kernel tells and the station file doesn't."""
        if self._counts is None:
            path = os.path.join(self.folder, "scan_elements", f"in_{self.channel}_type")
            self._stops = stops_in(text_of(path, deadline_s))

    def read(self, deadline_s: float) -> float:
        """What the channel measures, in unit_of().

        Raises:
            Unreadable: no number, and why.
        """
        factor = UNITS.get(type_of(self.channel), ("", 1.0))[1]
        is_new = self._looked_s < self._settled_s and time.monotonic() >= self._looked_s + LOOKS_S
        if is_new or (self._is_raw and not self._scale):
            self._look_up()
            if self._stops is None:
                self.learn_stops(deadline_s)
        try:
            if not self._is_raw:
                return self._number(self._input, _NUMBER, deadline_s) * factor
            raw = self._number(self._raw, _RAW, deadline_s)
            self._refuse_stops(raw)
            return (raw + self._offset_now(deadline_s)) * self._scale_now(deadline_s) * factor
        except OSError as exc:
            raise Unreadable(*reason_of(exc)) from exc

    def _number(self, path: str, form: re.Pattern[str], deadline_s: float) -> float:
        try:
            text = read_whole(path, deadline_s).decode("ascii", errors="replace").strip()
        except TooLong as exc:
            raise Unreadable("garbled", str(exc)) from exc
        if not text:
            raise Unreadable("empty_answer", f"{os.path.basename(path)} is empty")
        if form.fullmatch(text) is None:
            raise Unreadable("garbled", f"{os.path.basename(path)} says {text[:32]!r}")
        return float(text)

    def _refuse_stops(self, raw: float) -> None:
        stops = self._stops
        if stops is None:
            return
        if raw >= stops.high:
            raise Unreadable("upper_stop", f"raw {raw:.0f} of {stops.low} to {stops.high}")
        if raw < stops.low or (raw == stops.low and stops.low < 0):
            raise Unreadable("lower_stop", f"raw {raw:.0f} of {stops.low} to {stops.high}")

    def _scale_now(self, deadline_s: float) -> float:
        if not self._scale:
            raise Unreadable(
                "adapter_fault", f"the kernel's driver gives {self.channel} no scale, so a count has no unit"
            )
        scale = self._number(self._scale, _NUMBER, deadline_s)
        if scale == 0.0:
            raise Unreadable("garbled", f"{os.path.basename(self._scale)} is 0")
        return scale

    def _offset_now(self, deadline_s: float) -> float:
        return self._number(self._offset, _NUMBER, deadline_s) if self._offset else 0.0


def stops_in(text: str) -> Stops | None:
    """The end stops that a channel's form of storage tells; None where it tells none.

    >>> stops_in("le:s12/16>>4"), stops_in("be:u16/16>>0")
    (Stops(low=-2048, high=2047), Stops(low=0, high=65535))
    """
    form = _FORM.fullmatch(text)
    if form is None or not 2 <= int(form[2]) <= 64:
        return None
    bits = int(form[2])
    return Stops(-(2 ** (bits - 1)), 2 ** (bits - 1) - 1) if form[1] == "s" else Stops(0, 2**bits - 1)


class Iio(Adapter):
    """The adapter of buses of kind "iio": one device.

    Options of the bus: device (its name "ads1015", a path to its folder or to what it hangs on), root
    ("/sys/bus/iio/devices": where names are looked for). Each point: channel ("voltage0"); counts = { low, high }, where the
    kernel doesn't tell the converter's end stops; and its transducer's, which may name a channel to be read along.

    `counts`: bad answers by reason.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._clock = clock
        self._id = str(bus.get("id", "?"))
        self._device = _text(bus, "device", self._id, 'a device\'s name or folder, such as "ads1015"')
        self._root = _text({"root": ROOT, **bus}, "root", self._id, f'a folder such as "{ROOT}"')
        self._patience_s = PATIENCE_SHARE * (duration_s(bus, "time_limit", self._id) or USUAL_LIMIT_S)
        self._named = {name: _channel(self._id, name, table) for name, table in points.items()}
        self._counts = {name: _stops(self._id, name, table) for name, table in points.items()}
        self._along = {name: beside_channel(table) for name, table in points.items()}
        self._folder = self._name = ""
        self._channels: dict[str, Channel] = {}
        self._beside: dict[str, Channel] = {}
        self._silent: set[str] = set()  # points whose file didn't answer: read last, so that they hold up no other
        self._tally: Counter[str] = Counter()

    @property
    def counts(self) -> Mapping[str, float]:
        """Bad answers by reason."""
        return self._tally

    def open(self) -> None:
        """Find the device and its channels. Raises BusLost."""
        folder, why = find(self._device, self._root)
        if not folder:
            raise self._lost(why)
        deadline_s = time.monotonic() + self._patience_s
        self._folder = folder
        self._name = self._called(deadline_s)
        self._channels = {name: Channel(folder, own, self._counts[name]) for name, own in self._named.items()}
        self._beside = {name: Channel(folder, along, None) for name, along in self._along.items() if along}
        for channel in (*self._channels.values(), *self._beside.values()):
            channel.learn_stops(deadline_s)

    def changed(self) -> bool:
        """Whether, after it was lost, the device is there again."""
        return bool(find(self._device, self._root)[0])

    def close(self) -> None:
        """Nothing is held open."""

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """Read the due points' channels. Raises BusLost where the device is gone or another one has its place."""
        deadline_s = time.monotonic() + self._patience_s
        if not self._folder or not os.path.isdir(self._folder):
            raise self._lost(f"there is no {self._folder or self._device}")
        called = self._called(deadline_s)
        if self._name and called and called != self._name:
            raise self._lost(f"{self._folder} was {self._name!r} and is {called!r} now")
        in_order = sorted(due, key=lambda name: name in self._silent)
        return [self._read(name, deadline_s) for name in in_order]

    def _called(self, deadline_s: float) -> str:
        return text_of(os.path.join(self._folder, "name"), deadline_s)

    def _lost(self, why: str) -> BusLost:
        return BusLost(
            why,
            where=f"bus {self._id}, device {self._device}",
            expected=f"a device under {self._root}" if "/" not in self._device else "its folder",
            do="Check its wiring and that its driver is loaded; `warmwell survey` shows what the kernel sees",
        )

    def _read(self, name: str, deadline_s: float) -> Raw:
        channel = self._channels[name]
        unit = unit_of(channel.channel)
        try:
            number = channel.read(deadline_s)
        except Unreadable as exc:
            (self._silent.add if exc.reason == "no_answer" else self._silent.discard)(name)
            self._tally[exc.reason] += 1
            return Raw(name, self._clock.mono_ms(), None, unit, exc.reason, self._detail(exc, channel))
        self._silent.discard(name)
        mono_ms = self._clock.mono_ms()
        beside, told = self._measured_beside(name, deadline_s)
        return Raw(name, mono_ms, number, unit, detail=told, beside=beside)

    def _measured_beside(self, name: str, deadline_s: float) -> tuple[float | None, str]:
        """Supply or reference junction, right after the channel itself; None where that gave nothing, and why."""
        along = self._beside.get(name)
        if along is None:
            return None, ""
        try:
            return along.read(deadline_s), ""
        except Unreadable as exc:
            self._tally[exc.reason] += 1
            return None, f"{along.channel}: {exc.detail}"

    def _detail(self, exc: Unreadable, channel: Channel) -> str:
        if exc.reason != "device_gone":
            return exc.detail
        there = channels(self._folder)
        if channel.channel in there or not there:
            return exc.detail
        return f"{exc.detail}; {self._name or 'the device'} has no {channel.channel}, it has {', '.join(there[:12])}"


def _text(bus: Mapping[str, Any], key: str, bus_id: str, expected: str) -> str:
    value = bus.get(key)
    if not isinstance(value, str) or not value or "\0" in value:
        raise unusable(bus_id, key, f"{value!r} can't be used", expected)
    return value


def _channel(bus_id: str, name: str, table: Mapping[str, Any]) -> str:
    channel = table.get("channel")
    if not isinstance(channel, str) or _CHANNEL.fullmatch(channel) is None:
        raise unusable(bus_id, f"point {name}", f"{channel!r} is no channel", 'a channel\'s name, such as "voltage0"')
    if not unit_of(channel):
        expected = "a channel whose name begins with " + ", ".join(UNITS)
        raise unusable(bus_id, f"point {name}", f"{channel!r} is of a type that can't be used here", expected)
    return channel


def _stops(bus_id: str, name: str, table: Mapping[str, Any]) -> Stops | None:
    counts = table.get("counts")
    if counts is None:
        return None
    low, high = (counts.get(key) for key in ("low", "high")) if isinstance(counts, Mapping) else (None, None)
    if type(low) is not int or type(high) is not int or low >= high:
        raise unusable(bus_id, f"point {name}", f"counts is {counts!r}", "counts = { low = 0, high = 1023 }")
    return Stops(low, high)
