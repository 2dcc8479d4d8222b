"""Every alarm that a station can raise: cause, consequence, response, time to respond, and its default tuning.

Priorities, delays and deadbands are starting values of common practice (no published source but the rules of thumb kept in
tests/handbook/k.alarms.jsonl, from memory: pressure 2 % of the span and 15 s, flow 15 s, temperature 1 % and 60 s); the station
file tunes each. The reservoir's on-delay is longer than the rule of thumb: a cycle that takes the liquid away has to be told
from a cold reservoir first, and nobody can answer that alarm within minutes anyway.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple


class Row(NamedTuple):
    """One alarm of the catalogue. `on_ms`, `off_ms`, `deadband` (kPa, Cel, L/min) and `priority` can be tuned.

    `low`: it stands for a value that is below its limit, not above.
    """

    priority: str
    on_ms: int
    off_ms: int
    deadband: float
    consequence: str
    response: str
    respond_within_s: int
    low: bool = False


_MIN: Final = 60_000
_PSI: Final = 6.894757293168361  # kPa

CATALOGUE: Final[Mapping[str, Row]] = MappingProxyType(
    {
        "reservoir_cold": Row(
            "medium", 2 * _MIN, 0, 0.0, "Contact in the basin would be below the label's minimum: no cycle may start",
            "See that the heater is on and its outlet live; wait for the expected time, or warm the room", 1800, low=True,
        ),
        "reservoir_hot": Row(
            "medium", 1 * _MIN, 0, 0.5, "Beyond the label's range; endoscopes and liquid may suffer; hot surfaces and vapour",
            "Don't start; let it cool; have the thermostat looked at by the maker's rules", 900,
        ),
        "not_heating": Row(
            "medium", 20 * _MIN, 0, 0.0, "It does not get warm: no cycle may start",
            "See that the heater is on and its thermostat set; close the lid; have heater and thermostat looked at by licensed staff", 1800,
            low=True,
        ),
        "heating_weak": Row(
            "low", 10 * _MIN, 0, 0.0, "Warm-up takes longer than it used to: an element may be failing, or the lid is open",
            "Close the lid; reckon with the later time; have the heater looked at by licensed staff", 86_400,
        ),
        "late_for_first_case": Row(
            "medium", 10 * _MIN, 0, 0.0, "The first case of the day has to wait",
            "Start heating now where it isn't; close the lid, warm the room; tell who plans the cases when it will be warm", 900, low=True,
        ),
        "pressure_low": Row(
            "medium", 15_000, 0, 2 * _PSI, "Channels and rinses get too little water",
            "Open the stop valve fully; see whether others draw; look at the supply's regulator", 900, low=True,
        ),
        "pressure_high": Row(
            "medium", 15_000, 0, 2 * _PSI, "Fittings and filter housings are stressed",
            "Have the supply's regulator set; keep away from housings under pressure", 900,
        ),
        "static_high": Row(
            "medium", 15_000, 0, 2 * _PSI, "Fittings and filter housings are stressed while nothing draws",
            "Have the supply's regulator looked at; keep away from housings under pressure", 3600,
        ),
        "static_low": Row(
            "medium", 0, 0, 0.0, "Less at rest than drawing needs: fills and rinses would get too little water",
            "Open the stop valve; see whether the building's supply is off; then draw water for half a minute", 900, low=True,
        ),
        "flow_low": Row(
            "medium", 15_000, 0, 0.4, "Fills and rinses take too long",
            "Open the stop valve fully; look at the filters' pressure drops", 900, low=True,
        ),
        "flow_high": Row("low", 15_000, 0, 0.4, "A hose may be off, or the meter's factor wrong", "Look for running water", 900),
        "outlet_tripped": Row(
            "high", 0, 0, 0.0, "No power behind this outlet: what it feeds stands still or cools",
            "Keep hands dry; don't reset more than once: have the cause found by licensed staff", 300,
        ),
        "outlet_test_failed": Row(
            "high", 0, 0, 0.0, "This outlet may not protect people from a shock; the station may not start",
            "Use nothing that it feeds; have it mended by licensed staff, then test it again and record that", 900,
        ),
        "leak": Row("high", 0, 0, 0.0, "Water where none should be", "Shut the stop valve; wipe up; find where it comes from", 300),
        "filter_due": Row(
            "low", 0, 0, 0.0, "Rinses lengthen; a filter past its time may let through what it should hold",
            "Change the filter by its maker's instructions; then the water-path treatment is owed", 86_400,
        ),
        "filter_fell": Row(
            "medium", 0, 0, 0.0, "A torn or by-passed filter lets through what it should hold",
            "If it was changed, record the change; else have the filter and its seals looked at before water is used", 3600,
        ),
        "silent": Row("medium", 0, 0, 0.0, "What this point should tell is not known", "Follow the point's advice", 1800),
        "bus_lost": Row(
            "medium", 0, 0, 0.0, "None of its points can be read", "Reseat the adapter's plug; it is tried again by itself", 1800,
        ),
        "duty_due": Row("low", 1 * _MIN, 0, 0.0, "The station may not start until it is done", "Do it and record it", 3600),
        "hold": Row("medium", 0, 0, 0.0, "The station is held and may not start", "Ask whoever holds it", 3600),
        "disk_low": Row(
            "medium", 0, 0, 0.0, "Readings, later the journal, can't be kept", "Free space on the board's disk, or replace the card", 3600,
        ),
        "clock_untrusted": Row(
            "low", 10 * _MIN, 0, 0.0, "Due dates can't be told", "See that the board reaches its time server", 3600,
        ),
        "store": Row(
            "medium", 15_000, 60_000, 0.0, "What is measured or recorded here may not be kept; records may be refused",
            "Replace the card or disk soon; write records on paper until then and enter them after", 1800,
        ),
        "untold": Row(
            "medium", 10 * _MIN, 0, 0.0, "Nobody away from here hears of alarms", "See that network and broker are up", 1800,
        ),
    }
)  # fmt: skip


#: a calibration that is due keeps no condition unmet: the station goes on by the old one
CALIBRATION_DUE: Final = CATALOGUE["duty_due"]._replace(
    consequence="The point goes on by its old calibration and may have drifted; the station may start",
    response="Compare the point with a reference and record it",
)


def row_of(alarm_id: str) -> Row:
    """The catalogue's row of an alarm.

    >>> row_of("duty_due:daily_test").consequence
    'The station may not start until it is done'
    """
    return CALIBRATION_DUE if alarm_id.startswith("duty_due:calibration:") else CATALOGUE[base_of(alarm_id)]


def base_of(alarm_id: str) -> str:
    """The catalogue's name of an alarm.

    >>> base_of("outlet_tripped:heater")
    'outlet_tripped'
    """
    return alarm_id.partition(":")[0]


def consequence_of(alarm_id: str) -> str:
    """What follows if nobody answers. A calibration that is due keeps no station from starting, as one that was never made doesn't."""
    if alarm_id.startswith("duty_due:calibration:"):
        return "Conditions that rest on this point are met only nominally until it is calibrated"
    return CATALOGUE[base_of(alarm_id)].consequence


def feeds_machine(outlet: str) -> bool:
    """Does an outlet feed the machine? All do but those that are named for the heater.

    >>> [feeds_machine(one) for one in ("machine", "reservoir-heater", "Preheating", "theatre-2")]
    [True, False, False, True]
    """
    return re.search(r"(?<!t)heat", outlet.casefold()) is None
