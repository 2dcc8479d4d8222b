"""A pressure transmitter that prints lines of text, played over a pseudo-terminal: what the real serial-line adapter reads.

    P1=55.73 P2=55.59 P3=55.72\\r\\n

It talks by itself, one line a period, and hears nothing, like the real thing. It can garble its lines (as a wrong baud rate does),
be unplugged and be plugged in again, which gives another device behind the same lasting name.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from edge.domain.contracts import Clock
from edge.domain.quantities import converter
from edge.domain.readings import KIND_OF
from simulators.adapter import SharedWorld
from simulators.devices.far_end import OnALine
from simulators.physics.noise import mixed
from simulators.physics.world import METERS, Missing
from simulators.scenarios.station_file import CHANNELS, ROLE_OF, SERIAL_LEAST_MS


class Channel(NamedTuple):
    """One value of a line: which point of the world, what the transmitter calls it, its unit ("": the kind's own)."""

    point: str
    label: str
    unit: str = ""

    def text(self, value: float | Missing) -> str:
        """How it stands in the line; a channel without a sensor prints dashes."""
        if isinstance(value, Missing):
            return f"{self.label}=----"
        if self.point not in METERS:
            return f"{self.label}={'ON' if value else 'OFF'}"
        scale, offset = converter(self.unit, KIND_OF[ROLE_OF[self.point]]) if self.unit else (1.0, 0.0)
        return f"{self.label}={(value - offset) / scale:.2f}"


PRESSURE_CHANNELS: Final = tuple(Channel(point, label, "psi") for point, label in CHANNELS)


class SerialTransmitter(OnALine):
    """Feeds a pseudo-terminal with a line each period, in a daemon thread of its own, until stop().

    Args:
        shared: the world (simulators.adapter.shared_world) that it measures.
        clock: the station's clock: `every_ms` is in its time, but a line never comes sooner than each 50 ms of real time.
        channels: what a line carries.
        follow_faults: the scenario's own faults of the line happen; else only garble(), unplug() and replug() do anything.
    """

    def __init__(
        self,
        shared: SharedWorld,
        clock: Clock,
        channels: tuple[Channel, ...] = PRESSURE_CHANNELS,
        every_ms: int = 500,
        follow_faults: bool = True,
    ) -> None:
        super().__init__("panel", shared.line_state if follow_faults else None)
        self._shared, self._channels = shared, channels
        self._period_s = max(clock.real_s(every_ms), SERIAL_LEAST_MS / 1000.0)
        self._garbled = self._muted = False
        self.lines = 0

    def line(self) -> str:
        """The line that it would print now, without its end."""
        _, values = self._shared.read([channel.point for channel in self._channels])
        return " ".join(channel.text(value) for channel, value in zip(self._channels, values, strict=True))

    def garble(self, on: bool = True) -> None:
        """From now on send what a receiver at a wrong baud rate sees; or be right again."""
        self._garbled = on

    def mute(self, on: bool = True) -> None:
        """From now on send nothing; or talk again."""
        self._muted = on

    def _serve(self) -> None:
        while not self._stopping.wait(self._period_s):
            self._follow_line()
            if not self._muted:
                self._send(self.line())

    def _send(self, line: str) -> None:
        self.lines += 1
        data = f"{line}\r\n".encode()
        if self._garbled:
            data = bytes(0x80 | (mixed(self.lines * 4096 + at) & 0x7F) for at in range(len(line))) + b"\r\n"
        self._line.write(data)
