"""The station file to start from: what was found, written down so that `warmwell check` takes it and nothing is hidden. Pure.

A point is active only where its kind and unit are told by the device, or one alone is plausible; then it is marked CONFIRM.
Everything else stands as a comment with what there is to choose: a guess at a transmitter's span would be a believable
wrong number. The draft can't say READY: its daily test is owed, and its title says that nothing is confirmed.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

from edge.domain.readings import Kind, Role
from edge.domain.roles import CONTACTS, ROLES
from edge.survey.lines import Proposal
from edge.survey.readings import platinum
from edge.survey.sources import Device, Row

TITLE: Final = "NOT CONFIRMED: draft of a survey"
#: roles by kind, in the order in which they are given out; further ones share the last with an `of` of their own
_ROLES: Final[dict[Kind, Sequence[Role]]] = {
    kind: tuple(role for role, row in ROLES.items() if row.kind is kind and row.is_surveyed) for kind in Kind
}
_EVERY: Final = {"onewire": "2 s", "iio": "1 s", "modbus-rtu": "1 s"}
_OWN_ID: Final = "@id@"  # a point's own id, in a line that is written before it is known
_BUS_IDS: Final = {"onewire": "probe-wire", "serial-line": "lines", "modbus-rtu": "modbus", "gpio": "board"}
_CONTACT_ROLES: Final = " or ".join((", ".join(list(CONTACTS)[:-1]), list(CONTACTS)[-1]))

_HEAD: Final = """\
# Written by `warmwell survey` on {when} to start from. It shows what was found, not what it means.
# Roles were given out by kind alone, in the order found: each is to be CONFIRMED, best by warming, cooling, drawing or
# switching one thing at a time while `warmwell status` shows which point moves. What stands as a comment could not be told
# from the device: fill it in by the data sheet, and take the # away. Then `warmwell check` this file.
# When all is confirmed: give the station its name and title, and add [reservoir], [supply], [[filter]] and the other
# sections as in station-example.toml. Limits come from the maker's instructions and the label, not from here.

[station]
site = "not-confirmed"              # CONFIRM: a-z, 0-9 and '-'
id = "survey"                       # CONFIRM
title = "{title}"
timezone = {zone}{zone_note}

[daily_test]                        # so that a draft can't say READY by itself

[[basin]]
id = "basin"
ports = 6                           # CONFIRM: channel ports of the machine
"""
_TAIL: Final = """
[commissioning]                     # it says that it isn't commissioned until the list is done: warmwell commission

[api]
listen = "127.0.0.1:8484"

[keep]
folder = "warmwell-draft"           # beside this file; CONFIRM: an installed station keeps in /var/lib/warmwell
"""


class Draft:
    """Gathers the file's text. `points` are those that will be read as it stands."""

    def __init__(self, when: str, zone: str | None) -> None:
        note = (
            ""
            if zone
            else "               # CONFIRM: this board doesn't know its zone; an IANA name such as Europe/Dublin"
        )
        head = _HEAD.format(when=when, title=TITLE, zone=_quoted(zone or "UTC"), zone_note=note)
        self._parts = [head]
        self._ids: Counter[str] = Counter()
        self._roles: Counter[Role] = Counter()
        self.points: list[str] = []
        self.left: list[str] = []  # what stands as a comment

    def text(self) -> str:
        """The whole."""
        return "\n".join([*self._parts, _TAIL.lstrip("\n")])

    def add(self, device: Device) -> None:
        """One device: its bus, and its points."""
        blocks = [(row, *self._block(device, row)) for row in device.rows.values()]
        bus_id = self._id(_BUS_IDS.get(device.kind, device.name))
        active = any(is_active for _, is_active, _ in blocks)
        lines = [f"# ---- {device.kind}: {_plain(device.name)}{f': {_plain(device.about)}' if device.about else ''}"]
        lines += [f"# {_plain(device.trouble)}"] if device.trouble else []
        options = {"id": bus_id, "kind": device.kind, **device.bus}
        bus = ["[[bus]]", *(f"{key} = {_value(value)}" for key, value in options.items()), ""]
        parts = ["\n".join(lines)]
        if blocks or active:
            parts.append("\n".join(bus if active else [f"#{line}" if line else "#" for line in bus]))
        for row, is_active, body in blocks:
            parts.append(self._point(device, row, bus_id, is_active, body))
        self._parts.append("\n".join(parts))

    def nobody_reads(self) -> None:
        """Where no point is active: one that people read, so that the file is one."""
        self._parts.append(
            "# Nothing that was found could be made a point as it stands; a file needs one. Remove it once another is active.\n"
            '[[bus]]\nid = "people"\nkind = "entered"\n\n[[point]]\nid = "room-by-eye"\nrole = "room_temperature"\nbus = "people"\n'
            'every = "8 h"\nunit = "degC"\n'
        )

    # -- one point

    def _point(self, device: Device, row: Row, bus_id: str, is_active: bool, body: Sequence[str]) -> str:
        said = [f"# {_plain(row.key)}: {_plain(row.raw) or 'nothing was read'}{', moved' if row.moved else ''}"]
        said += [f"#   {_plain(reading)}" for reading in row.readings]
        said += [f"#   {_plain(row.trouble)}"] if row.trouble else []
        if not body:
            return "\n".join([*said, ""])
        name = self._id(_name(device, row))
        lines = [
            "[[point]]",
            f'id = "{name}"',
            *body,
            f'bus = "{bus_id}"',
            f'every = "{_every(device)}"',
        ]
        if is_active:
            lines = [line.replace(_OWN_ID, name) for line in lines]
            self.points.append(name)
        else:
            self.left.append(f"{device.name}, {row.key}")
            lines.insert(3, f'of = "{name}"   # needed only where another point has the same role')
            lines = [f"#{line}" for line in lines]
        return "\n".join([*said, *lines, ""])

    def _block(self, device: Device, row: Row) -> tuple[bool, list[str]]:
        """Whether a row can be an active point, and the lines of its table between id and bus."""
        if row.good == 0 and device.kind != "gpio":
            return False, []
        if device.kind == "onewire":
            return True, [*self._role(Kind.TEMPERATURE), f'address = "{row.key}"']
        if device.kind == "iio":
            return self._channel(row)
        if device.kind == "serial-line" and isinstance(row.data, Proposal):
            return self._line(row.data)
        if device.kind == "modbus-rtu":
            return False, _register(row)
        if device.kind == "gpio":
            return False, _board_line(row)
        return False, []

    def _role(self, kind: Kind) -> list[str]:
        roles = _ROLES[kind]
        taken = sum(self._roles[role] for role in roles)
        role = roles[min(taken, len(roles) - 1)]
        self._roles[role] += 1
        lines = [f'role = "{role}"{" " * max(1, 26 - len(role))}# CONFIRM: guessed by its kind alone']
        if taken >= len(roles):
            lines.append(
                'of = "@id@"                        # CONFIRM: two points share a role only with different `of`'
            )
        return lines

    def _channel(self, row: Row) -> tuple[bool, list[str]]:
        """A converter's channel: degrees, conductivity and platinum tell themselves; a voltage or a current doesn't."""
        own = f'channel = "{row.key}"'
        if row.unit == "degC":
            return True, [
                *self._role(Kind.TEMPERATURE),
                f"{own}               # CONFIRM: perhaps the chip's own temperature",
            ]
        if row.unit == "uS/cm":
            return True, [*self._role(Kind.CONDUCTIVITY), own]
        if row.unit == "ohm" and row.number is not None:
            element = platinum(row.number)
            if element is not None:
                rtd = f'rtd = {{ element = "{element[0]}", wires = 4 }}'
                note = "# CONFIRM element and wires; two wires add their resistance: say lead"
                return True, [*self._role(Kind.TEMPERATURE), own, f"{rtd}   {note}"]
            return False, [
                'role = "reservoir_temperature"',
                own,
                'ntc = { r25 = "10 kohm", beta = 3950 }   # by the data sheet',
            ]
        if row.unit == "V":
            return False, [
                'role = "supply_pressure"', own,
                "# either a sender of 0.5 to 4.5 V at a supply of 5 V, by its data sheet:",
                'ratiometric = { low = "0 psi", high = "100 psi", kind = "gauge" }',
                "# or a current over a resistor (then without the line above):",
                '#loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge", burden = "100 ohm" }',
            ]  # fmt: skip
        if row.unit == "mA":
            loop = 'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge" }   # by the data sheet'
            return False, ['role = "supply_pressure"', own, loop]
        return False, []

    def _line(self, one: Proposal) -> tuple[bool, list[str]]:
        """A value in a transmitter's lines."""
        table = f"text = {one.text}"
        comma = ["# CONFIRM: the comma is taken for a decimal sign"] if one.decimal == "comma" else []
        if one.number is None:
            if one.words is None or one.role is None:
                seen = " and ".join(sorted(one.words_seen))
                words = table.replace(" }", ', true = "TRIP", false = "OK" }')
                return False, [
                    f'role = "outlet_protection"   # or {_CONTACT_ROLES}; heard: {seen}',
                    f"{words}   # the sender's words",
                ]
            self._roles[one.role] += 1
            lines = [f'role = "{one.role}"          # CONFIRM: guessed by its words']
            if one.role is Role.OUTLET_PROTECTION or self._roles[one.role] > 1:
                lines.append(
                    'of = "@id@"                        # CONFIRM: what it protects, such as "machine" or "heater"'
                )
            unheard = [word for word in one.words if word not in one.words_seen]
            note = (
                f"   # CONFIRM: {' and '.join(unheard)} was not heard"
                if unheard
                else "   # CONFIRM which word is which"
            )
            return True, [*lines, table + note]
        if one.kind is None:
            return False, [
                'role = "supply_pressure"   # or what it is',
                *comma,
                table.replace(" }", ', unit = "psi" }') + "   # its unit",
            ]
        if not one.unit:
            example = {Kind.PRESSURE: "psi", Kind.TEMPERATURE: "degC", Kind.FLOW: "L/min"}.get(one.kind, "uS/cm")
            bare = table.replace(" }", f', unit = "{example}" }}')
            return False, [
                f'role = "{_ROLES[one.kind][0]}"',
                *comma,
                f"{bare}   # the line names no unit: which is it?",
            ]
        gauge = (
            ["# CONFIRM: read as gauge; an absolute sender's unit ends in abs"]
            if one.kind is Kind.PRESSURE and "abs" not in one.unit
            else []
        )
        note = "" if one.told else f"   # CONFIRM: the line names no unit; {one.unit} is the one in which it is likely"
        return True, [*self._role(one.kind), *comma, *gauge, table + note]

    def _id(self, wish: str) -> str:
        """A name of its own for each bus and point."""
        name = re.sub(r"[^a-z0-9]+", "-", wish.lower()).strip("-")[:40].strip("-") or "one"
        name = name if name != "time" else "time-point"
        name = name if name[0].isalpha() else f"n-{name}"
        self._ids[name] += 1
        return name if self._ids[name] == 1 else self._id(f"{name}-{self._ids[name]}")


def _every(device: Device) -> str:
    return f"{device.every_s} s" if device.kind == "serial-line" else _EVERY.get(device.kind, "500 ms")


def _name(device: Device, row: Row) -> str:
    if device.kind == "onewire":
        return f"probe-{row.key[-4:]}"
    if device.kind == "iio":
        return f"{device.name}-{row.key}"
    return row.key


def _register(row: Row) -> list[str]:
    place = row.data
    table = f'register = {{ kind = "{place.kind}", at = {place.at}, type = "int16", scale = 0.01, unit = "mA" }}'
    return [
        'role = "supply_pressure"', f"unit_id = {place.unit_id}",
        f"{table}   # type, order, scale and unit by the unit's manual",
        'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge" }   # where it is a current',
    ]  # fmt: skip


def _board_line(row: Row) -> list[str]:
    if "free" not in row.raw or "output" in row.raw:
        return []
    others = ", ".join(f"for {role} {contact.when}" for role, contact in CONTACTS.items() if role is not Role.LEAK)
    return [
        f'role = "leak"   # {_CONTACT_ROLES}; or supply_flow with pulses = {{ k_factor = "450 /L", maximum_flow = "30 L/min" }}',
        f"line = {row.data}",
        f'{CONTACTS[Role.LEAK].when} = "closed"   # {others}; for a meter none of them',
    ]


def _plain(text: str) -> str:
    """Text of a device in a comment: one line, printable."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)[:200]


def _value(value: Any) -> str:
    return str(value) if isinstance(value, int) else _quoted(str(value))


def _quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's, too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def draft(devices: Sequence[Device], when: str, zone: str | None) -> Draft:
    """The file for what was found."""
    made = Draft(when, zone)
    for device in devices:
        made.add(device)
    if not made.points:
        made.nobody_reads()
    return made
