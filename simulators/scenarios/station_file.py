"""The station file of a scenario: Harbour Lane Day Clinic, scope room 2, as its biomed technician would write it.

The three pressures come from one transmitter that prints lines of text on a serial line, where a serial port is given; all else is
read from the simulated bus. Where there are devices (simulators/devices/hardware.py), every point is read from one of them through the
adapter that a real one would be. At a higher speed the same real period is more simulated time, so points are read less
often, their stale limits grow with it, and notes() says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.readings import Role
from simulators.scenarios.scenarios import SITE, STATION, TITLE, scenario_named

#: points on a real protocol are read at this real period or more; simulated ones at this
SERIAL_LEAST_MS: Final = 50.0
SIMULATED_LEAST_MS: Final = 10.0
#: no point is stale before this real time: a busy computer may hold a thread up that long
STALE_REAL_MS: Final = 2_000.0
#: real protocols keep their station's own periods up to this speed
OWN_PERIOD_SPEED: Final = 60.0
#: what the transmitter calls the pressures, in the order of flow
CHANNELS: Final = (("supply", "P1"), ("between", "P2"), ("filtered", "P3"))


class _Row(NamedTuple):
    point: str
    role: str
    every_ms: int
    more: str = ""


_ROWS: Final = (
    _Row("reservoir", "reservoir_temperature", 2_000, 'uncertainty = "0.5 K"\n'),
    _Row("room", "room_temperature", 10_000),
    _Row("supply", "supply_pressure", 500, 'unit = "psi"\n'),
    _Row("between", "between_filters_pressure", 500, 'unit = "psi"\n'),
    _Row("filtered", "filtered_pressure", 500, 'unit = "psi"\n'),
    _Row("flow", "supply_flow", 500, 'unit = "gal/min"\n'),
    _Row("machine-outlet", "outlet_protection", 250, 'of = "machine"\n'),
    _Row("heater-outlet", "outlet_protection", 250, 'of = "heater"\n'),
    _Row("power", "machine_power", 250),
    _Row("leak", "leak", 250),
)
#: role of each point of a scenario's station file, in the file's order
ROLE_OF: Final[Mapping[str, Role]] = {row.point: Role(row.role) for row in _ROWS}
_ON_THE_LINE: Final = dict(CHANNELS)


class Places(NamedTuple):
    """Where the devices of a station with hardware are found: folders, a converter's name, serial ports, a chip."""

    wire_root: str
    converter_root: str
    converter: str
    panel_port: str
    chip: str
    tray_port: str


#: the buses of a station with hardware, but for the people's
HARDWARE_BUSES: Final = ("probe-wire", "converter", "panel", "lines", "tray")
#: addresses of the probes on the wire
PROBES: Final[Mapping[str, str]] = MappingProxyType({"reservoir": "28-00000a1b2c3d", "room": "28-00000a1b2c4e"})
#: unit of the panel's module that measures the pressures' current loops, in the order of flow
PANEL_UNIT: Final = 3
#: pulses of the flow meter [/L]
METER_PER_L: Final = 450
#: channel of the converter that measures the platinum element in the supply's water
WATER_CHANNEL: Final = "resistance0"


def _loop(at: int) -> str:
    return (
        f'unit_id = {PANEL_UNIT}\nregister = {{ kind = "input", at = {at}, type = "int16", scale = 0.01, unit = "mA" }}\n'
        'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge" }\n'
    )


#: what a station with hardware has beside: the supply's water measured, and its conductivity read by people, once a day
_ROWS_BESIDE: Final = (
    _Row("water", "supply_temperature", 5_000),
    _Row("conductivity", "filtered_conductivity", 86_400_000, 'unit = "uS/cm"\n'),
)
#: the people's bus, and the one point that they read
PEOPLE: Final = "people"
BY_PEOPLE: Final = "conductivity"
#: point -> its bus, and what else stands in its table
_WIRED: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        **{point: ("probe-wire", f'address = "{address}"\n') for point, address in PROBES.items()},
        "water": ("converter", f'channel = "{WATER_CHANNEL}"\nrtd = {{ element = "Pt1000", wires = 4, class = "A" }}\n'),
        **{point: ("panel", _loop(at)) for at, (point, _) in enumerate(CHANNELS)},
        "flow": ("lines", f'line = 17\npulses = {{ k_factor = "{METER_PER_L} /L", maximum_flow = "30 L/min" }}\n'),
        "machine-outlet": ("lines", 'line = 22\ntripped_when = "open"\n'),
        "heater-outlet": ("lines", 'line = 23\ntripped_when = "open"\n'),
        "power": ("lines", "line = 24\n"),
        "leak": ("tray", "text = { pattern = 'LEAK=(?P<value>\\w+)', true = \"ON\", false = \"OFF\" }\n"),
        BY_PEOPLE: (PEOPLE, ""),
    }
)  # fmt: skip

_HEAD: Final = """\
# {title}. Harbour Lane Day Clinic is invented; the values are examples of common practice.

[station]
site = "{site}"
id = "{station}"
title = "{station_title}"
timezone = "Europe/Dublin"

[hours]
monday = "07:45-18:00"
tuesday = "07:45-18:00"
wednesday = "07:45-18:00"
thursday = "07:45-18:00"
friday = "07:45-16:00"

[[basin]]
id = "basin"
ports = 6

[reservoir]
set_point = "40 degC"
thermostat_band = "0.5 K"
maximum = "45 degC"
warm_up_limit = "2 h"
contact = {{ minimum = "35 degC", maximum = "40 degC" }}
transfer_loss = {{ loss = "4 K", room = "20 degC", measured = false }}
coldest_room = "18 degC"

[supply]
pressure = {{ low = "40 psi", high = "60 psi" }}
static_high = "60 psi"
flow = {{ low = "2 gal/min", high = "3 gal/min" }}
draw = {{ starts_above = "0.3 gal/min", ends_below = "0.15 gal/min", steady_after = "15 s" }}
stands_for = "24 h"
leak = {{ volume = "2 L", within = "6 h" }}

[[filter]]
id = "coarse"
rating = "1 um"
drop_limit = "8 psi"
replace_after = "6 months"
[[filter]]
id = "fine"
rating = "0.2 um"
drop_limit = "10 psi"
replace_after = "6 months"

[filters]
reference = {{ flow = "2.5 gal/min", temperature = "15 degC" }}

[daily_test]
deliver = {{ volume = "100 mL", within = "15 s" }}
measure = "weak ports"

[water_path_treatment]
contact = "10 min"
clean_side_opened_by = ["filter_change", "sensor_fitted", "repair"]

[disinfectant]
reuse_life = "14 days"

"""
_NOT_FITTED: Final = '[not_fitted]\nsupply_temperature = "7 days"\n\n'


def station_toml(
    scenario: str,
    keep_folder: str,
    mqtt_port: int | None = None,
    api_port: int = 8484,
    *,
    serial_port: str | None = None,
    speed: float = 1.0,
    seed: int = 1,
    mqtt_host: str = "127.0.0.1",
    sampled_ms: int = 0,
    hardware: Places | None = None,
) -> str:
    """The text of a station file.

    Args:
        scenario: a name of SCENARIOS.
        keep_folder: where journal and readings go.
        mqtt_port: of the broker at `mqtt_host`; None: no broker.
        serial_port: where the pressures' transmitter is plugged in; None: the pressures are simulated too.
        speed: of the clock that the station will run on.
        sampled_ms: no point has a shorter period: that of a recording's rows.
        hardware: where the devices are, where every point is read from one; then `serial_port` is not looked at.

    Raises:
        UnusableInput: there is no such scenario.
    """
    wanted = scenario_named(scenario)
    parts = [_HEAD.format(title=wanted.title, site=SITE, station=STATION, station_title=TITLE)]
    if hardware is not None:
        parts.append(_hardware_buses(hardware, wanted.name, seed))
        parts += [_wired_point(row, speed) for row in (*_ROWS, *_ROWS_BESIDE)]
    else:
        parts.append(_NOT_FITTED)
        parts.append(f'[[bus]]\nid = "bench"\nkind = "simulated"\nscenario = "{wanted.name}"\nseed = {seed}\n\n')
        if serial_port is not None:
            parts.append(f'[[bus]]\nid = "panel"\nkind = "serial-line"\nport = {_quoted(serial_port)}\nbaud = 9600\n\n')
        for row in _ROWS:
            parts.append(_point(row, serial_port is not None and row.point in _ON_THE_LINE, speed, sampled_ms))
    if mqtt_port is not None:
        parts.append(f"[mqtt]\nhost = {_quoted(mqtt_host)}\nport = {mqtt_port}\n\n")
    parts.append(f'[api]\nlisten = "127.0.0.1:{api_port}"\n\n[keep]\nfolder = {_quoted(keep_folder)}\n')
    return "".join(parts)


def _point(row: _Row, on_the_line: bool, speed: float, sampled_ms: int) -> str:
    text = (
        f'[[point]]\nid = "{row.point}"\nrole = "{row.role}"\nbus = "{"panel" if on_the_line else "bench"}"\n{row.more}'
    )
    if on_the_line:
        text += f"text = {{ pattern = '{_ON_THE_LINE[row.point]}=(?P<value>\\S+)', unit = \"psi\" }}\n"
    every = max(every_ms(row.every_ms, on_the_line, speed), sampled_ms)
    return f'{text}every = "{every} ms"\nstale_after = "{stale_after_ms(every, speed)} ms"\n\n'


def _hardware_buses(places: Places, scenario: str, seed: int) -> str:
    """The buses. A line that is a pseudo-terminal has no parity, so none is asked for."""
    probe_wire, converter, panel, lines, tray = HARDWARE_BUSES
    tables = (
        (probe_wire, "onewire", f"root = {_quoted(places.wire_root)}\n"),
        (converter, "iio", f"device = {_quoted(places.converter)}\nroot = {_quoted(places.converter_root)}\n"),
        (panel, "modbus-rtu", f'port = {_quoted(places.panel_port)}\nbaud = 19200\nparity = "none"\n'),
        (lines, "gpio", f'chip = {_quoted(places.chip)}\nlines = "simulated"\nscenario = "{scenario}"\nseed = {seed}\n'),
        (tray, "serial-line", f"port = {_quoted(places.tray_port)}\nbaud = 9600\n"),
        (PEOPLE, "entered", ""),
    )  # fmt: skip
    return "".join(f'[[bus]]\nid = "{bus}"\nkind = "{kind}"\n{more}\n' for bus, kind, more in tables)


def _wired_point(row: _Row, speed: float) -> str:
    bus, wiring = _WIRED[row.point]
    text = f'[[point]]\nid = "{row.point}"\nrole = "{row.role}"\nbus = "{bus}"\n{row.more}{wiring}'
    if bus == PEOPLE:
        return f'{text}every = "{row.every_ms} ms"\n\n'
    every = every_ms(row.every_ms, True, speed)
    return f'{text}every = "{every} ms"\nstale_after = "{stale_after_ms(every, speed)} ms"\n\n'


def every_ms(own_ms: int, on_the_line: bool, speed: float) -> int:
    """A point's period at this speed, in the clock's time: its own, or what the least real period comes to."""
    return max(own_ms, round((SERIAL_LEAST_MS if on_the_line else SIMULATED_LEAST_MS) * speed))


def stale_after_ms(every: int, speed: float) -> int:
    """When a point is stale: five periods, ten seconds, or what STALE_REAL_MS comes to, whichever is longest."""
    return max(5 * every, 10_000, round(STALE_REAL_MS * speed))


def notes(speed: float, serial: bool = True, hardware: bool = False) -> list[str]:
    """Sentences to print before a demo at this speed; empty where everything keeps its own period."""
    said = []
    if hardware:
        said.append(
            "Every sensor is a simulated device that is read by the adapter for a real one; people enter the conductivity."
        )
    if speed * STALE_REAL_MS > 10_000:
        said.append(
            f"At speed {speed:g} a point counts as silent after {speed * STALE_REAL_MS / 60_000:.3g} simulated minutes "
            f"({STALE_REAL_MS / 1000:g} s of real time) instead of 10 s."
        )
    slower = every_ms(500, True, speed)
    why = f"speed {speed:g} is beyond {OWN_PERIOD_SPEED:g}: " if speed > OWN_PERIOD_SPEED else ""
    if hardware:
        least = every_ms(250, True, speed)
        if least > 250:
            said.append(
                f"No sensor is read more often than every {least / 1000:g} simulated seconds "
                f"({why}real devices are not read more often than each {SERIAL_LEAST_MS:g} ms); "
                '"told within a second" is meant at speed 1.'
            )
        return said
    if serial and slower > 500:
        said.append(
            f"The pressures on the serial line are read every {slower / 1000:g} simulated seconds instead of 0.5 s "
            f"({why}a real line is not read more often than each {SERIAL_LEAST_MS:g} ms)."
        )
    other = every_ms(250, False, speed)
    if other > 250:
        said.append(
            f"Outlets, flow and other simulated points are read every {other / 1000:g} simulated seconds at the most; "
            '"told within a second" is meant at speed 1.'
        )
    return said


def _quoted(text: str) -> str:
    """A TOML basic string."""
    signs = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(signs.get(sign, sign) for sign in text) + '"'
