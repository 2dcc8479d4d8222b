"""Digital thermometers on the kernel's 1-Wire bus, each by the address that is lasered into it.

Probes are never told apart by order: a point is read by its address or not at all. When its probe is gone, other probes
that no point names are told as candidates for a deliberate replacement; none takes its place by itself.

What is read, the first that a probe has: `w1_slave` (the scratchpad, and so the most to judge by), `temperature`,
`hwmon/hwmon*/temp1_input`. Where several points share a master, its `therm_bulk_read` is triggered first: all probes
convert at once, and the wait of 750 ms comes once instead of for each. Where that order is refused they convert in turn: no read
then lasts longer than the shortest period by more than one probe, and who was left out comes first at the next.

The kernel seldom gives an error. An empty file is what a cut cable and a wrong check sum look like: its list of probes is then
looked at again at once, since a probe is taken off it only after several searches. The rest is in
edge/domain/sensing/onewire_text.py. Whether 85 degC is a temperature is decided in edge/domain/sensing/onewire_history.py.
"""

from __future__ import annotations

import logging
import os
import re
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from adapters.kernel_files import TooLong, names_in, read_whole, reason_of, text_of, write_whole
from adapters.serial_port import duration_s, unusable
from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.errors import BusLost
from edge.domain.sensing.onewire_history import RECENT_MS, ProbeHistory
from edge.domain.sensing.onewire_text import FAMILIES, Heard, parse_millidegrees, parse_w1_slave, told_step_c

_log = logging.getLogger(__name__)

ROOT: Final = "/sys/bus/w1/devices"
TRIGGER: Final = b"trigger\n"  # to the byte: the kernel compares length and text
BULK_LIMIT_S: Final = 1.0  # after the order came back, for a conversion that another program has begun
BULK_LOOK_S: Final = 0.02
PATIENCE_SHARE: Final = 0.6  # of the bus's time limit: so long all silent files of one read are waited for together
USUAL_LIMIT_S: Final = 2.0
RECENT_PERIODS: Final = 5  # good readings that many periods back still tell where a temperature can be
MOST_CANDIDATES: Final = 5  # in one sentence
CONVERSION_S: Final = 0.75  # of 12 bits: a read that is over sooner leaves nobody out
LONGEST_TURN: Final = 5.0  # periods that one that didn't answer gives way to others

ADDRESS: Final = re.compile(rf"(?:{'|'.join(FAMILIES)})-[0-9a-f]{{12}}")
_PHANTOM: Final = re.compile(r"00-[0-9a-f]{12}")  # a shorted wire answers every search with ones that aren't there
_MASTER: Final = re.compile(r"w1_bus_master[0-9]+")
_SLAVES: Final = "w1_master_slaves"
_PERHAPS_GONE: Final = ("no_valid_answer", "empty_answer")
_BULK: Final = "therm_bulk_read"
_UNDER_WAY, _UNREAD = "-1", "1"  # what the kernel's bulk file says
#: what `resolution` holds after a failure, though it is no resolution then
_AFTERWARDS: Final = {"-19": "it didn't answer its address", "-5": "its check sum was wrong each time"}


class Probe(NamedTuple):
    """A thermometer that the kernel has found."""

    address: str
    folder: str


def probes(root: str = ROOT) -> list[Probe]:
    """The thermometers that are there now, by address. Other devices and phantoms are left out."""
    return [Probe(name, os.path.join(root, name)) for name in names_in(root) if ADDRESS.fullmatch(name)]


class OneWire(Adapter):
    """The adapter of buses of kind "onewire".

    Options of the bus: root ("/sys/bus/w1/devices"). Each point: address ("28-00000a1b2c3d").

    `counts`: bad answers by reason, and bulk conversions ("bulk", "bulk_refused"). `remark`: what people should know though it is read.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._clock = clock
        self._id = str(bus.get("id", "?"))
        self._root = _root(bus, self._id)
        self._patience_s = PATIENCE_SHARE * (duration_s(bus, "time_limit", self._id) or USUAL_LIMIT_S)
        self._address = {name: _address(self._id, name, table) for name, table in points.items()}
        self._history = {
            name: ProbeHistory(max(RECENT_MS, round(RECENT_PERIODS * 1000 * (duration_s(table, "every", self._id) or 0.0))))
            for name, table in points.items()
        }  # fmt: skip
        self._every_s = {name: _every_s(table, self._id, clock) for name, table in points.items()}
        self._read_s: dict[str, float] = {}  # when (time.monotonic()) each point was last looked at
        self._owed: set[str] = set()  # points that were due and had no turn
        self._silent: set[str] = set()  # points whose file didn't answer: read last, so that they hold up no other
        self._gone: set[str] = set()
        self._remark = ""
        self._tally: Counter[str] = Counter()

    @property
    def counts(self) -> Mapping[str, float]:
        """Bad answers by reason, and bulk conversions."""
        return self._tally

    @property
    def remark(self) -> str:
        """That bulk conversions are refused, while they are."""
        return self._remark

    def open(self) -> None:
        """Look whether the kernel's tree is there. Raises BusLost."""
        why = self._why_lost()
        if why:
            raise BusLost(
                why,
                where=f"bus {self._id}, {self._root}",
                expected="the kernel's 1-Wire tree with a bus master",
                do="Plug the bus master in and load its driver (on many boards the overlay w1-gpio)",
            )

    def changed(self) -> bool:
        """Whether, after it was lost, the tree is back."""
        return not self._why_lost()

    def close(self) -> None:
        """Nothing is held open."""

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """Read the due points' probes, and those that had no turn. Raises BusLost where the tree or its last bus master is gone."""
        there = set(names_in(self._root))
        due = list(dict.fromkeys((*due, *self._owed)))
        present = {name for name in due if self._address[name] in there}
        if not present:
            self.open()
        deadline_s = time.monotonic() + self._patience_s
        self._convert_at_once(there, present, deadline_s)
        began_s = time.monotonic()
        until_s = began_s + max(CONVERSION_S, min(self._every_s.values()))
        raws, now_s = [], began_s
        for name in self._in_order(due, began_s):
            if now_s >= until_s:
                self._owed.add(name)
                continue
            raws.append(self._read(name, deadline_s) if name in present else self._not_there(name, there))
            self._owed.discard(name)
            now_s = self._read_s[name] = time.monotonic()
        return raws

    def _in_order(self, due: Sequence[str], now_s: float) -> list[str]:
        """Who has waited longest, in its own periods, first. One that didn't answer is last, unless it has waited for very long."""

        def waited(name: str) -> float:
            return (now_s - self._read_s.get(name, float("-inf"))) / self._every_s[name]

        return sorted(due, key=lambda name: (name in self._silent and waited(name) < LONGEST_TURN, -waited(name)))

    def _why_lost(self) -> str:
        names = names_in(self._root)
        if not names and not os.path.isdir(self._root):
            return "there is no such folder"
        if not any(_MASTER.fullmatch(name) or ADDRESS.fullmatch(name) for name in names):
            return "there is no bus master"
        return ""

    # -- one conversion for all

    def _convert_at_once(self, there: Iterable[str], present: Iterable[str], deadline_s: float) -> None:
        """Have all probes of each master convert, where that saves a wait; else each read converts by itself."""
        mine = set(self._address.values()) & set(there)
        masters = [self._master_of(address, there) for address in mine]
        asked = {self._master_of(self._address[name], there) for name in present}
        for master in sorted(filter(None, asked)):
            bulk = os.path.join(master, _BULK)
            # an answer of a bulk conversion that nobody fetched is as old as that conversion: have a new one
            if masters.count(master) > 1 or text_of(bulk, deadline_s) == _UNREAD:
                self._trigger(bulk, deadline_s)

    def _master_of(self, address: str, there: Iterable[str]) -> str:
        """The folder of a probe's master, where it can convert all at once; else ""."""
        above = os.path.dirname(os.path.realpath(os.path.join(self._root, address)))
        if os.path.exists(os.path.join(above, _BULK)):
            return above
        masters = [os.path.join(self._root, name) for name in there if _MASTER.fullmatch(name)]
        able = [folder for folder in masters if os.path.exists(os.path.join(folder, _BULK))]
        own = [folder for folder in able if os.path.exists(os.path.join(folder, address))]
        return own[0] if own else able[0] if len(masters) == 1 and able else ""

    def _trigger(self, bulk: str, deadline_s: float) -> None:
        try:
            write_whole(bulk, TRIGGER)
        except OSError as exc:
            self._tally["bulk_refused"] += 1
            if not self._remark:
                self._remark = (
                    f"{bulk} takes no order ({exc.strerror or exc}): probes are read one by one, each about 0.75 s. Let the daemon's user "
                    "write it (deploy/60-warmwell-onewire.rules), or set the probes to 11 bits (resolution), which halves that"
                )
                _log.warning("bus %s: %s", self._id, self._remark)
            return
        self._tally["bulk"] += 1
        self._remark = ""
        until_s = min(deadline_s, time.monotonic() + BULK_LIMIT_S)
        while text_of(bulk, deadline_s) == _UNDER_WAY and time.monotonic() < until_s:
            time.sleep(BULK_LOOK_S)

    # -- one probe

    def _read(self, name: str, deadline_s: float) -> Raw:
        folder = os.path.join(self._root, self._address[name])
        try:
            heard, detail = self._heard(name, folder, deadline_s)
        except OSError as exc:
            reason, detail = reason_of(exc)
            heard = Heard(None, reason)
        except TooLong as exc:
            heard, detail = Heard(None, "garbled"), str(exc)
        if heard.reason in _PERHAPS_GONE and not self._is_listed(self._address[name], folder, deadline_s):
            return self._not_there(name, names_in(self._root))
        mono_ms = self._clock.mono_ms()
        decided = self._history[name].decide(heard, mono_ms)
        (self._silent.add if decided.reason == "no_answer" else self._silent.discard)(name)
        self._gone.discard(name)
        if decided.reason is None:
            step_c = told_step_c(heard.scratchpad, self._address[name][:2])
            return Raw(name, mono_ms, decided.celsius, "degC", step=step_c)
        return self._bad(name, mono_ms, decided.reason, detail or _shown(heard))

    def _heard(self, name: str, folder: str, deadline_s: float) -> tuple[Heard, str]:
        """What the first file that is there says, and what can be told beside it."""
        try:
            data = read_whole(os.path.join(folder, "w1_slave"), deadline_s)
        except FileNotFoundError:
            heard = parse_millidegrees(self._millidegrees(folder, deadline_s))
        else:
            heard = parse_w1_slave(data, self._address[name][:2])
        afterwards = ""
        if heard.reason == "empty_answer":
            afterwards = _AFTERWARDS.get(text_of(os.path.join(folder, "resolution"), deadline_s), "")
            if afterwards:
                heard = Heard(None, "no_valid_answer")
        return heard, afterwards

    def _is_listed(self, address: str, folder: str, deadline_s: float) -> bool:
        """Whether the kernel still counts a probe that gave no answer among its own, this very moment; its master keeps the list."""
        if not os.path.isdir(folder):
            return False
        for above in (os.path.dirname(os.path.realpath(folder)), *self._masters_with(address)):
            listed = text_of(os.path.join(above, _SLAVES), deadline_s).split()
            if listed:
                return address in listed
        return True

    def _masters_with(self, address: str) -> list[str]:
        """Masters whose folder holds the probe, where the kernel shows it beside them and not below."""
        masters = [os.path.join(self._root, name) for name in names_in(self._root) if _MASTER.fullmatch(name)]
        return [folder for folder in masters if os.path.exists(os.path.join(folder, address))]

    def _millidegrees(self, folder: str, deadline_s: float) -> bytes:
        try:
            return read_whole(os.path.join(folder, "temperature"), deadline_s)
        except FileNotFoundError:
            hwmon = os.path.join(folder, "hwmon")
            inputs = [os.path.join(hwmon, name, "temp1_input") for name in names_in(hwmon)]
            if not inputs:
                raise
            return read_whole(inputs[0], deadline_s)

    def _not_there(self, name: str, there: Iterable[str]) -> Raw:
        """A probe that the kernel doesn't list. Phantoms in its stead are the sign of a wire shorted to ground."""
        address = self._address[name]
        phantoms = [other for other in there if _PHANTOM.fullmatch(other)]
        if phantoms:
            reason, detail = "shorted", f"{address} is gone and the bus shows phantoms: {_some(phantoms)}"
        else:
            reason, detail = "device_gone", f"{address} is not on the bus"
            strangers = [other for other in there if ADDRESS.fullmatch(other) and other not in self._address.values()]
            if strangers:
                detail += f"; candidates, if one of them is meant to replace it in the station file: {_some(strangers)}"
        if name not in self._gone:
            self._gone.add(name)
            _log.warning("bus %s, point %s: %s", self._id, name, detail)
        return self._bad(name, self._clock.mono_ms(), reason, detail)

    def _bad(self, name: str, mono_ms: int, reason: str, detail: str) -> Raw:
        self._tally[reason] += 1
        return Raw(name, mono_ms, None, "degC", reason, detail)


def _some(names: Iterable[str]) -> str:
    ordered = sorted(names)
    more = f" and {len(ordered) - MOST_CANDIDATES} more" if len(ordered) > MOST_CANDIDATES else ""
    return ", ".join(ordered[:MOST_CANDIDATES]) + more


def _shown(heard: Heard) -> str:
    """The scratchpad, for whoever looks into it."""
    return f"scratchpad {heard.scratchpad.hex(' ')}" if heard.scratchpad is not None else ""


def _every_s(table: Mapping[str, Any], bus_id: str, clock: Clock) -> float:
    """A point's period in real seconds."""
    return clock.real_s(round(1000 * (duration_s(table, "every", bus_id) or 1.0)))


def _root(bus: Mapping[str, Any], bus_id: str) -> str:
    root = bus.get("root", ROOT)
    if not isinstance(root, str) or not root or "\0" in root:
        raise unusable(bus_id, "root", f"{root!r} is no folder", f'a folder such as "{ROOT}"')
    return root


def _address(bus_id: str, name: str, table: Mapping[str, Any]) -> str:
    address = table.get("address")
    if not isinstance(address, str) or ADDRESS.fullmatch(address) is None:
        families = ", ".join(FAMILIES)
        expected = f'family ({families}) and 12 hex digits, such as "28-00000a1b2c3d"'
        raise unusable(bus_id, f"point {name}", f"{address!r} is no thermometer's address", expected)
    return address
