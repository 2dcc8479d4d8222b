"""The devices of a simulated station, one of each kind: what the real adapters read in `warmwell demo --hardware`.

    probe-wire   two thermometers on a 1-Wire tree: reservoir, room
    converter    a platinum element behind an industrial I/O device: the supply's water
    panel        a Modbus unit with the current loops of the three pressures
    lines        a GPIO chip: flow meter, both outlets, the machine's power
    tray         a transmitter of text lines: the drip tray

All of them measure one world. Each can be unplugged and plugged in again while it is read. The station file for
them is that of simulators/scenarios/station_file.py with `places`.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

from edge.domain.contracts import Clock
from edge.domain.errors import UnusableInput
from simulators.adapter import shared_world
from simulators.devices.lines import device_lines
from simulators.devices.modbus import station_units
from simulators.devices.transmitter import Channel, SerialTransmitter
from simulators.devices.trees import IioChannel, IioTree, Measured, OneWireTree
from simulators.physics.world import Missing
from simulators.scenarios.station_file import HARDWARE_BUSES, PANEL_UNIT, PROBES, WATER_CHANNEL, Places, every_ms

#: the name that the chip's bus gives; no file is behind it
CHIP: Final = "demo-board"
CONVERTER: Final = "rtd-bridge"
#: one count of the converter [ohm], and its bits: up to 3276 ohm
COUNT_OHM: Final = 0.05
COUNT_BITS: Final = 16
#: IEC 60751, standard platinum element above and below 0 degC
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12
_PT1000_OHM: Final = 1000.0
_TRAY_PERIOD_MS: Final = 250


class _Plug(NamedTuple):
    """How a device is unplugged and plugged in again."""

    pull: Callable[[], None]
    put_back: Callable[[], None]


class Hardware:
    """All the devices, from start() until stop().

    Args:
        scenario, seed: the world that they measure; that of the station's clock.
        clock: the station's own.
        follow_faults: the scenario's faults of the pressures' line happen on the panel's.
    """

    def __init__(self, scenario: str, clock: Clock, seed: int = 1, follow_faults: bool = True) -> None:
        self._shared = shared_world(scenario, seed, clock)
        self._folder = Path(tempfile.mkdtemp(prefix="warmwell-devices-"))
        self.wire = OneWireTree(self._folder / "w1", {address: self._point(point) for point, address in PROBES.items()})
        channel = IioChannel(self._element_ohm, scale=COUNT_OHM, bits=COUNT_BITS, signed=False)
        self.converter = IioTree(self._folder / "iio", {WATER_CHANNEL: channel}, name=CONVERTER)
        self.panel = station_units(self._shared, PANEL_UNIT, follow_faults)
        self.lines = device_lines(CHIP, self._shared, clock)
        self.tray = SerialTransmitter(
            self._shared,
            clock,
            channels=(Channel("leak", "LEAK"),),
            every_ms=every_ms(_TRAY_PERIOD_MS, True, clock.speed),
            follow_faults=False,
        )
        ways = (
            _Plug(self.wire.unplug_master, lambda: self.wire.unplug_master(is_there=True)),
            _Plug(self.converter.unplug, self.converter.plug),
            _Plug(self.panel.unplug, self.panel.replug),
            _Plug(self.lines.unplug, self.lines.replug),
            _Plug(self.tray.unplug, self.tray.replug),
        )
        self._plugs = dict(zip(HARDWARE_BUSES, ways, strict=True))

    @property
    def places(self) -> Places:
        """Where the station file finds them."""
        return Places(str(self.wire.root), str(self.converter.root), CONVERTER, self.panel.port, CHIP, self.tray.port)

    def start(self) -> None:
        """Make the trees, and begin to answer and to talk."""
        for device in (self.wire, self.converter, self.panel, self.tray):
            device.start()

    def stop(self) -> None:
        """Take everything away. May be called twice, and without start()."""
        for device in (self.wire, self.converter, self.panel, self.tray):
            device.stop()
        shutil.rmtree(self._folder, ignore_errors=True)

    def unplug(self, bus: str) -> None:
        """Pull the plug of a bus's device. Raises UnusableInput where no bus is called so."""
        self._plug(bus).pull()

    def plug(self, bus: str) -> None:
        """Put it back."""
        self._plug(bus).put_back()

    def _plug(self, bus: str) -> _Plug:
        refuse_unknown(bus)
        return self._plugs[bus]

    # -- what they measure

    def _point(self, point: str) -> Measured:
        return lambda: self._shared.read([point])[1][0]

    def _element_ohm(self) -> float | Missing:
        celsius = self._shared.read(["water"])[1][0]
        return celsius if isinstance(celsius, Missing) else platinum_ohm(celsius)


def refuse_unknown(bus: str) -> None:
    """Raises UnusableInput where no device hangs on a bus of this name."""
    if bus not in HARDWARE_BUSES:
        raise UnusableInput(
            f"no device hangs on a bus {bus!r}", where="--unplug", expected="one of " + ", ".join(HARDWARE_BUSES),
            do="Choose one of these",
        )  # fmt: skip


def platinum_ohm(celsius: float, at_zero_ohm: float = _PT1000_OHM) -> float:
    """Resistance of a platinum element.

    Source: IEC 60751, Callendar and van Dusen's equations; the simulated element's own, so that the transducer's inverse is
    checked against something that is not itself.

    >>> round(platinum_ohm(100.0), 3)
    1385.055
    """
    cold = _C * (celsius - 100.0) * celsius**3 if celsius < 0.0 else 0.0
    return at_zero_ohm * (1.0 + _A * celsius + _B * celsius**2 + cold)
