"""What is particular to `warmwell demo --hardware`: the plugs that are pulled, and what its people enter."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from edge.domain.errors import UnusableInput
from edge.domain.readings import Role
from edge.terminal import duration_ms
from simulators.devices.hardware import refuse_unknown
from simulators.scenarios.scenarios import EARLY, Act
from simulators.scenarios.station_file import BY_PEOPLE

_OPTION: Final = "--unplug"


class Unplugging(NamedTuple):
    """A bus whose device is unplugged from one instant of the scenario to another."""

    bus: str
    from_ms: int
    to_ms: int


def unplugging_in(text: str) -> Unplugging:
    """`BUS:FROM:TO`, with durations since the scenario's start, such as "panel:30 min:35 min".

    Raises:
        UnusableInput: it is something else, names no device's bus, or ends before it begins.
    """
    parts = text.split(":")
    if len(parts) != 3:
        raise UnusableInput(
            f"{text!r} is no unplugging", where=_OPTION, expected="BUS:FROM:TO, such as panel:30min:35min",
            do="Name the bus, and when its plug is pulled and put back, counted from the scenario's start",
        )  # fmt: skip
    bus, from_ms, to_ms = parts[0].strip(), duration_ms(parts[1], _OPTION), duration_ms(parts[2], _OPTION)
    refuse_unknown(bus)
    if from_ms >= to_ms:
        raise UnusableInput(
            f"{text!r} is plugged in before it is unplugged",
            where=_OPTION,
            expected="FROM before TO",
            do="Swap the two",
        )
    return Unplugging(bus, from_ms, to_ms)


def with_hardware(acts: Iterable[Act]) -> list[Act]:
    """What people do at a station with hardware: the supply's water has a sensor there, its conductivity has none.

    In place of the temperature that they read by eye, they enter what their own meter says of the conductivity.
    """
    by_eye = str(Role.SUPPLY_TEMPERATURE)
    kept = [act for act in acts if act.body.get("role") != by_eye]
    body = {"record": "entered_reading", "by": EARLY, "point": BY_PEOPLE, "value": 310, "unit": "uS/cm"}
    return sorted([*kept, Act(0, "record", body)], key=lambda act: act.mono_ms)
