"""Samples, readings, their quality and the table of reasons.

A Sample is what an adapter hands over; a Reading is a sample that was judged. Quality is `good`, `uncertain` or `bad`;
each but the first has a reason. A bad reading has no value: no number can be mistaken for one.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.roles import CONTACT_WORDS as CONTACT_WORDS  # others take these from here
from edge.domain.roles import KIND_OF as KIND_OF
from edge.domain.roles import UNIT_OF as UNIT_OF
from edge.domain.roles import Kind as Kind
from edge.domain.roles import Role as Role


class Quality(StrEnum):
    """How far a reading may be relied on. Unknown is never treated as fine."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class Why(NamedTuple):
    """One row of the table of reasons."""

    quality: Quality
    text: str
    advice: str


#: The table of reasons. The key is what is stored, published and shown; adding a row is free, renaming one is not.
REASONS: Final[Mapping[str, Why]] = MappingProxyType(
    {
        "no_reading_yet": Why(
            Quality.BAD, "no reading yet", "Wait one period; then check that the sensor is wired and powered"
        ),
        "stale": Why(Quality.BAD, "no reading for too long", "Check the sensor's cable and supply"),
        "not_entered": Why(
            Quality.BAD, "nobody has entered a reading that still stands", "Read it and enter it, with its unit"
        ),
        "no_answer": Why(
            Quality.BAD, "no answer within the time limit", "Check the sensor's cable, supply and address"
        ),
        "bus_lost": Why(Quality.BAD, "its bus is lost", "Reseat the adapter's plug; Warmwell tries again by itself"),
        "in_use": Why(Quality.BAD, "the line or port is in use by another program", "Stop the other program"),
        "garbled": Why(Quality.BAD, "the answer could not be understood", "Check baud rate, pattern and shielding"),
        "empty_answer": Why(Quality.BAD, "an empty answer", "Check the sensor's cable and pull-up"),
        "no_valid_answer": Why(
            Quality.BAD,
            "no valid answer: cable cut, probe dead or interference",
            "Check the probe's cable and plug first, then pull-up and shielding; replace a probe that stays silent",
        ),
        "crc": Why(Quality.BAD, "check sum wrong (CRC)", "Check cable length, pull-up and shielding"),
        "power_on_value": Why(Quality.BAD, "power-on value", "Check the sensor's supply and pull-up"),
        "refused": Why(
            Quality.BAD,
            "the unit refused the question",
            "Check kind and address of the register against the unit's manual; addresses count from 0",
        ),
        "absurd_number": Why(
            Quality.BAD,
            "a number that can't be a measurement",
            "Check type and order of the register against the unit's manual",
        ),
        "not_a_number": Why(Quality.BAD, "not a number", "Check the transmitter's output format"),
        "out_of_range": Why(
            Quality.BAD, "outside what this point can be", "Check sensor, wiring and the point's range setting"
        ),
        "beyond_its_role": Why(
            Quality.BAD,
            "neither running cold water nor a used room can be so",
            "Check the probe's cable, plug and place; compare it with a reference instrument",
        ),
        "impossible_rate": Why(Quality.BAD, "changed faster than it can", "Check for a loose contact or interference"),
        "stuck": Why(
            Quality.BAD,
            "has not moved at all for too long",
            "Compare with a reference; replace the sensor if it is frozen",
        ),
        "perhaps_stuck": Why(
            Quality.UNCERTAIN, "has not moved at all for a while", "Compare with a reference instrument"
        ),
        "loop_open": Why(
            Quality.BAD, "current loop open or sender fault", "Check the loop's wiring and the transmitter"
        ),
        "loop_over": Why(
            Quality.BAD, "current loop shorted or sender fault", "Check the loop's wiring and the transmitter"
        ),
        "under_range": Why(
            Quality.UNCERTAIN, "below the transmitter's range", "Check the transmitter's range and zero"
        ),
        "over_range": Why(Quality.UNCERTAIN, "above the transmitter's range", "Check the transmitter's range and span"),
        "sensor_open": Why(
            Quality.BAD,
            "sensor open: cable or element broken",
            "Check the sensor's plug and cable; measure the element",
        ),
        "under_supplied": Why(
            Quality.BAD,
            "the sensor has too little power",
            "Give the probe its supply wire, or a stronger pull-up; shorten the cable",
        ),
        "supply_wrong": Why(
            Quality.BAD,
            "the sensor's supply voltage is wrong",
            "Measure the sensor's supply at its plug; check fuse and cable",
        ),
        "shorted": Why(Quality.BAD, "sensor line shorted", "Check the sensor's cable for a short circuit"),
        "device_gone": Why(
            Quality.BAD,
            "the sensor or its device is not there",
            "Check plug, cable and supply, and the address in the station file",
        ),
        "io_error": Why(
            Quality.BAD,
            "reading it failed (input/output error)",
            "Check cable and connectors; see the system's own journal",
        ),
        "no_access": Why(
            Quality.BAD,
            "the daemon may not read it",
            "Give the daemon's user access to the device, as the installer does",
        ),
        "lower_stop": Why(
            Quality.BAD,
            "the converter is at its lower end stop",
            "Check the sensor's wiring and polarity, and the converter's measuring range",
        ),
        "upper_stop": Why(
            Quality.BAD,
            "the converter is at its upper end stop",
            "Check for an open sensor or a wrong supply, and the converter's measuring range",
        ),
        "loop_unclear": Why(
            Quality.BAD,
            "the supervised loop is neither at rest nor tripped",
            "Measure the loop at the board; check its resistors, joints and cable for corrosion and water",
        ),
        "no_such_line": Why(
            Quality.BAD, "the chip has no such line", "Check the line's number or name in the station file"
        ),
        "edges_lost": Why(
            Quality.UNCERTAIN,
            "pulses were lost on their way and counted by their numbers",
            "Read the meter more often, or take load off the board",
        ),
        "edges_noisy": Why(
            Quality.UNCERTAIN,
            "more edges than the meter can give",
            "Check the meter's cable, shield and pull-up, and its maximum flow in the station file",
        ),
        "adapter_fault": Why(
            Quality.BAD, "the adapter failed", "See the system journal; report it with a replay of the readings"
        ),
        "contradicted": Why(Quality.UNCERTAIN, "contradicted by another point", "Check both points"),
        "recorded_bad": Why(Quality.BAD, "recorded as bad", "See the recording for why"),
    }
)


class Sample(NamedTuple):
    """One attempt to read a point: after the transducer, before calibration and judgement.

    `value` is in the unit of the point's kind (UNIT_OF), None where there is none; then `reason` (a key of REASONS) says why.
    `mono_ms` is the monotonic time of the read itself. `step` is the resolution that the sensor itself told [K]; None where it doesn't.
    """

    point: str
    mono_ms: int
    value: float | None
    reason: str | None = None
    detail: str = ""
    step: float | None = None


class Reading(NamedTuple):
    """A judged sample. `value` is calibrated, in the unit of the point's kind; None when bad. `u` is the standard uncertainty."""

    point: str
    mono_ms: int
    value: float | None
    quality: Quality
    reason: str | None
    u: float | None
    raw: float | None = None  # before calibration: what is stored and exported; None where it is the value

    def uncorrected(self) -> Reading:
        """The same reading with its value before calibration."""
        return self if self.raw is None else self._replace(value=self.raw, raw=None)
