"""Every alarm that a station can raise: cause, consequence, response, time to respond, and its default tuning.

Priorities, delays and deadbands are starting values of common practice (no published source but the rules of thumb kept in
tests/handbook/k.alarms.jsonl, from memory: pressure 2 % of the span and 15 s, flow 15 s, temperature 1 % and 60 s); the station
file tunes each. The reservoir's on-delay is longer than the rule of thumb: a cycle that takes the liquid away has to be told
from a cold reservoir first, and nobody can answer that alarm within minutes anyway.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.roles import Role


class Trip(StrEnum):
    """Which outlets' trips explain an alarm."""

    HEATER = "heater"  # the heater's; any where none is named for the heater
    ANY = "any"  # any, the heater's before the others
    OTHER = "other"  # those that aren't the heater's


class Compares(NamedTuple):
    """The reading that an alarm compares with its limit; only such an alarm has a limit and a deadband.

    Attributes:
        role: of the points whose readings are compared; its kind is the unit of limit and deadband.
        words: when, or where, the reading counts.
        setting: the limit among the station's settings, dotted; "" where the station works it out.
    """

    role: Role
    words: str
    setting: str = ""


class Row(NamedTuple):
    """One alarm of the catalogue. Its key is what stands before ':' in the ids of its alarms.

    Attributes:
        title: its name for people.
        priority, on_ms, off_ms, deadband: its default tuning; the deadband is in kPa, Cel or L/min.
        consequence: what follows if nobody answers.
        response: what to do.
        respond_within_s: how soon.
        low: it stands for a value that is below its limit, not above.
        per: what there is one alarm of each of: "outlet", "filter", "point", "bus" or "duty", named behind ':'; "" for one alarm.
        compares: the reading that is compared with its limit; None where none is.
        after_trip: the outlets without whose power it follows of itself; None where none is its cause.
        caused_by: alarms that it is a consequence of, in this order; of a bus, that of the bus of its point.
    """

    title: str
    priority: str
    on_ms: int
    off_ms: int
    deadband: float
    consequence: str
    response: str
    respond_within_s: int
    low: bool = False
    per: str = ""
    compares: Compares | None = None
    after_trip: Trip | None = None
    caused_by: tuple[str, ...] = ()


_MIN: Final = 60_000
_PSI: Final = 6.894757293168361  # kPa

CATALOGUE: Final[Mapping[str, Row]] = MappingProxyType(
    {
        "reservoir_cold": Row(
            "Reservoir cold", "medium", 2 * _MIN, 0, 0.0,
            "Contact in the basin would be below the label's minimum: no cycle may start",
            "See that the heater is on and its outlet live; wait for the expected time, or warm the room", 1800, low=True,
            compares=Compares(Role.RESERVOIR_TEMPERATURE, "in the reservoir"), after_trip=Trip.HEATER,
            caused_by=("late_for_first_case", "not_heating"),
        ),
        "reservoir_hot": Row(
            "Reservoir hot", "medium", 1 * _MIN, 0, 0.5,
            "Beyond the label's range; endoscopes and liquid may suffer; hot surfaces and vapour",
            "Don't start; let it cool; have the thermostat looked at by the maker's rules", 900,
            compares=Compares(Role.RESERVOIR_TEMPERATURE, "in the reservoir", "reservoir.maximum_c"),
        ),
        "not_heating": Row(
            "Not heating", "medium", 20 * _MIN, 0, 0.0,
            "It does not get warm: no cycle may start",
            "See that the heater is on and its thermostat set; close the lid; have heater and thermostat looked at by licensed staff", 1800,
            low=True, after_trip=Trip.HEATER,
        ),
        "heating_weak": Row(
            "Heating weak", "low", 10 * _MIN, 0, 0.0,
            "Warm-up takes longer than it used to: an element may be failing, or the lid is open",
            "Close the lid; reckon with the later time; have the heater looked at by licensed staff", 86_400,
            after_trip=Trip.HEATER,
        ),
        "late_for_first_case": Row(
            "Late for the first case", "medium", 10 * _MIN, 0, 0.0,
            "The first case of the day has to wait",
            "Start heating now where it isn't; close the lid, warm the room; tell who plans the cases when it will be warm", 900, low=True,
            after_trip=Trip.ANY,
        ),
        "pressure_low": Row(
            "Pressure low", "medium", 15_000, 0, 2 * _PSI,
            "Channels and rinses get too little water",
            "Open the stop valve fully; see whether others draw; look at the supply's regulator", 900, low=True,
            compares=Compares(Role.SUPPLY_PRESSURE, "while drawing", "supply.pressure_low_kpa"),
        ),
        "pressure_high": Row(
            "Pressure high", "medium", 15_000, 0, 2 * _PSI,
            "Fittings and filter housings are stressed",
            "Have the supply's regulator set; keep away from housings under pressure", 900,
            compares=Compares(Role.SUPPLY_PRESSURE, "while drawing", "supply.pressure_high_kpa"),
        ),
        "static_high": Row(
            "Static pressure high", "medium", 15_000, 0, 2 * _PSI,
            "Fittings and filter housings are stressed while nothing draws",
            "Have the supply's regulator looked at; keep away from housings under pressure", 3600,
            compares=Compares(Role.SUPPLY_PRESSURE, "while nothing draws", "supply.static_high_kpa"),
        ),
        "static_low": Row(
            "Static pressure low", "medium", 0, 0, 0.0,
            "Less at rest than drawing needs: fills and rinses would get too little water",
            "Open the stop valve; see whether the building's supply is off; then draw water for half a minute", 900, low=True,
        ),
        "flow_low": Row(
            "Flow low", "medium", 15_000, 0, 0.4,
            "Fills and rinses take too long",
            "Open the stop valve fully; look at the filters' pressure drops", 900, low=True,
            compares=Compares(Role.SUPPLY_FLOW, "while drawing", "supply.flow_low_l_min"),
        ),
        "flow_high": Row(
            "Flow high", "low", 15_000, 0, 0.4,
            "A hose may be off, or the meter's factor wrong", "Look for running water", 900,
            compares=Compares(Role.SUPPLY_FLOW, "while drawing", "supply.flow_high_l_min"),
        ),
        "outlet_tripped": Row(
            "Outlet tripped", "high", 0, 0, 0.0,
            "No power behind this outlet: what it feeds stands still or cools",
            "Keep hands dry; don't reset more than once: have the cause found by licensed staff", 300,
            per="outlet",
        ),
        "outlet_test_failed": Row(
            "Outlet test failed", "high", 0, 0, 0.0,
            "This outlet may not protect people from a shock; the station may not start",
            "Use nothing that it feeds; have it mended by licensed staff, then test it again and record that", 900,
            per="outlet",
        ),
        "leak": Row(
            "Leak", "high", 0, 0, 0.0,
            "Water where none should be", "Shut the stop valve; wipe up; find where it comes from", 300,
        ),
        "filter_due": Row(
            "Filter due", "low", 0, 0, 0.0,
            "Rinses lengthen; a filter past its time may let through what it should hold",
            "Change the filter by its maker's instructions; then the water-path treatment is owed", 86_400,
            per="filter",
        ),
        "filter_fell": Row(
            "Filter's drop fell", "medium", 0, 0, 0.0,
            "A torn or by-passed filter lets through what it should hold",
            "If it was changed, record the change; else have the filter and its seals looked at before water is used", 3600,
            per="filter",
        ),
        "silent": Row(
            "Sensor silent", "medium", 0, 0, 0.0,
            "What this point should tell is not known", "Follow the point's advice", 1800,
            per="point", caused_by=("bus_lost",),
        ),
        "bus_lost": Row(
            "Bus lost", "medium", 0, 0, 0.0,
            "None of its points can be read", "Reseat the adapter's plug; it is tried again by itself", 1800,
            per="bus",
        ),
        "duty_due": Row(
            "Due", "low", 1 * _MIN, 0, 0.0,
            "The station may not start until it is done", "Do it and record it", 3600,
            per="duty",
        ),
        "hold": Row(
            "Hold", "medium", 0, 0, 0.0,
            "The station is held and may not start", "Ask whoever holds it", 3600,
        ),
        "disk_low": Row(
            "Disk nearly full", "medium", 0, 0, 0.0,
            "Readings, later the journal, can't be kept", "Free space on the board's disk, or replace the card", 3600,
        ),
        "clock_untrusted": Row(
            "Clock not trusted", "low", 10 * _MIN, 0, 0.0,
            "Due dates can't be told", "See that the board reaches its time server", 3600,
        ),
        "store": Row(
            "Store can't be relied on", "medium", 15_000, 60_000, 0.0,
            "What is measured or recorded here may not be kept; records may be refused",
            "Replace the card or disk soon; write records on paper until then and enter them after", 1800,
        ),
        "untold": Row(
            "Somebody could not be told", "medium", 10 * _MIN, 0, 0.0,
            "Who is named hears of no alarms away from here",
            "See that network, broker and targets are up; warmwell tell FILE --test tries each", 1800,
        ),
    }
)  # fmt: skip


#: alarms of which more than their row is known, by the beginning of their id
_OWN: Final[Mapping[str, Row]] = MappingProxyType(
    {
        # the station goes on by the old one: it keeps no station from starting, as one that was never made doesn't
        "duty_due:calibration:": CATALOGUE["duty_due"]._replace(
            consequence="Conditions that rest on this point are met only nominally until it is calibrated",
            response="Compare the point with a reference and record it",
        ),
        "duty_due:daily_test": CATALOGUE["duty_due"]._replace(after_trip=Trip.OTHER),
    }
)


def row_of(alarm_id: str) -> Row:
    """The catalogue's row of an alarm.

    >>> row_of("duty_due:daily_test").consequence
    'The station may not start until it is done'
    """
    return (
        next((row for start, row in _OWN.items() if alarm_id.startswith(start)), None) or CATALOGUE[base_of(alarm_id)]
    )


def base_of(alarm_id: str) -> str:
    """The catalogue's name of an alarm.

    >>> base_of("outlet_tripped:heater")
    'outlet_tripped'
    """
    return alarm_id.partition(":")[0]
