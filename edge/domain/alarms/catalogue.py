"""Every alarm that a station can raise: cause, consequence, response, time to respond, and its default tuning.

Delays and deadbands are starting values of common practice (no published source but the rules of thumb kept in
tests/handbook/k.alarms.jsonl, from memory: pressure 2 % of the span and 15 s, flow 15 s, temperature 1 % and 60 s); the station
file tunes each. The reservoir's on-delay is longer than the rule of thumb: a cycle that takes the liquid away has to be told
from a cold reservoir first, and nobody can answer that alarm within minutes anyway.

Priorities follow from consequence and time to respond, as IEC 62682 and ISA-18.2 ask (`priority_of`), so that what keeps the station
from starting never ranks below what only warns. Where the line between soon and late lies is our own number.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.roles import Role
from edge.domain.settings import AlarmTuning, Settings


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
        on_ms, off_ms, deadband: its default tuning; the deadband is in kPa, Cel or L/min.
        consequence: what follows if nobody answers.
        response: what to do.
        respond_within_s: how soon.
        hurts: somebody may come to harm by it.
        stops: the condition of READY that isn't met while it stands, without what follows ':'; "" where it only warns.
        low: it stands for a value that is below its limit, not above.
        per: what there is one alarm of each of: "outlet", "filter", "point", "bus" or "duty", named behind ':'; "" for one alarm.
        compares: the reading that is compared with its limit; None where none is.
        after_trip: the outlets without whose power it follows of itself; None where none is its cause.
        caused_by: alarms that it is a consequence of, in this order; of a bus, that of the bus of its point.
        latching: it stays until a person resets it.
        re_announce_ms: so long after it was announced, and nobody answered, it is announced again; None: never.
        escalate_ms: so long after that its priority is raised; None: never.
        set_priority: what a site sets in place of priority_of(); "" where it doesn't.
    """

    title: str
    on_ms: int
    off_ms: int
    deadband: float
    consequence: str
    response: str
    respond_within_s: int
    hurts: bool = False
    stops: str = ""
    low: bool = False
    per: str = ""
    compares: Compares | None = None
    after_trip: Trip | None = None
    caused_by: tuple[str, ...] = ()
    latching: bool = False
    re_announce_ms: int | None = None
    escalate_ms: int | None = None
    set_priority: str = ""

    @property
    def priority(self) -> str:
        """What the site sets, else what follows from consequence and time to respond."""
        return self.set_priority or priority_of(self.hurts, bool(self.stops), self.respond_within_s)


#: the lowest first
PRIORITIES: Final = ("low", "medium", "high")


def rank_of(priority: str) -> int:
    """Where a priority stands, the lowest at 0; one that this version doesn't know ranks as the highest.

    >>> [rank_of(priority) for priority in ("low", "high", "to come")]
    [0, 2, 2]
    """
    return PRIORITIES.index(priority) if priority in PRIORITIES else len(PRIORITIES) - 1


#: up to this the time to respond is short for what may hurt, and for what only warns [s]
SOON_FOR_HARM_S: Final = 900
SOON_S: Final = 1800


def priority_of(hurts: bool, stops: bool, respond_within_s: float) -> str:
    """The priority that follows from what an alarm leads to and how soon somebody has to respond.

    >>> priority_of(True, True, 300), priority_of(False, True, 86_400), priority_of(False, False, 86_400)
    ('high', 'medium', 'low')
    """
    if hurts and respond_within_s <= SOON_FOR_HARM_S:
        return "high"
    return "medium" if hurts or stops or respond_within_s <= SOON_S else "low"


_MIN: Final = 60_000
_PSI: Final = 6.894757293168361  # kPa

CATALOGUE: Final[Mapping[str, Row]] = MappingProxyType(
    {
        "reservoir_cold": Row(
            "Reservoir cold", 2 * _MIN, 0, 0.0,
            "Contact in the basin would be below the label's minimum: no cycle may start",
            "See that the heater is on and its outlet live; wait for the expected time, or warm the room", 1800,
            stops="reservoir", low=True,
            compares=Compares(Role.RESERVOIR_TEMPERATURE, "in the reservoir"), after_trip=Trip.HEATER,
            caused_by=("late_for_first_case", "not_heating"),
        ),
        "reservoir_hot": Row(
            "Reservoir hot", 1 * _MIN, 0, 0.5,
            "Beyond the label's range; endoscopes and liquid may suffer; hot surfaces and vapour",
            "Don't start; let it cool; have the thermostat looked at by the maker's rules", 900, stops="reservoir",
            compares=Compares(Role.RESERVOIR_TEMPERATURE, "in the reservoir", "reservoir.maximum_c"),
        ),
        "not_heating": Row(
            "Not heating", 20 * _MIN, 0, 0.0,
            "It does not get warm: no cycle may start",
            "See that the heater is on and its thermostat set; close the lid; have heater and thermostat looked at by licensed staff", 1800,
            stops="reservoir",
            low=True, after_trip=Trip.HEATER,
        ),
        "heating_weak": Row(
            "Heating weak", 10 * _MIN, 0, 0.0,
            "Warm-up takes longer than it used to: an element may be failing, or the lid is open",
            "Close the lid; reckon with the later time; have the heater looked at by licensed staff", 86_400,
            after_trip=Trip.HEATER,
        ),
        "late_for_first_case": Row(
            "Late for the first case", 10 * _MIN, 0, 0.0,
            "The first case of the day has to wait",
            "Start heating now where it isn't; close the lid, warm the room; tell who plans the cases when it will be warm", 900,
            stops="reservoir", low=True,
            after_trip=Trip.ANY,
        ),
        "pressure_low": Row(
            "Pressure low", 15_000, 0, 2 * _PSI,
            "Channels and rinses get too little water",
            "Open the stop valve fully; see whether others draw; look at the supply's regulator", 900, stops="pressure", low=True,
            compares=Compares(Role.SUPPLY_PRESSURE, "while drawing", "supply.pressure_low_kpa"),
        ),
        "pressure_high": Row(
            "Pressure high", 15_000, 0, 2 * _PSI,
            "Fittings and filter housings are stressed",
            "Have the supply's regulator set; keep away from housings under pressure", 900, stops="pressure",
            compares=Compares(Role.SUPPLY_PRESSURE, "while drawing", "supply.pressure_high_kpa"),
        ),
        "static_high": Row(
            "Static pressure high", 15_000, 0, 2 * _PSI,
            "Fittings and filter housings are stressed while nothing draws",
            "Have the supply's regulator looked at; keep away from housings under pressure", 3600, stops="pressure",
            compares=Compares(Role.SUPPLY_PRESSURE, "while nothing draws", "supply.static_high_kpa"),
        ),
        "static_low": Row(
            "Static pressure low", 0, 0, 0.0,
            "Less at rest than drawing needs: fills and rinses would get too little water",
            "Open the stop valve; see whether the building's supply is off; then draw water for half a minute", 900,
            stops="pressure", low=True,
        ),
        "flow_low": Row(
            "Flow low", 15_000, 0, 0.4,
            "Fills and rinses take too long",
            "Open the stop valve fully; look at the filters' pressure drops", 900, stops="flow", low=True,
            compares=Compares(Role.SUPPLY_FLOW, "while drawing", "supply.flow_low_l_min"),
        ),
        "flow_high": Row(
            "Flow high", 15_000, 0, 0.4,
            "A hose may be off, or the meter's factor wrong", "Look for running water", 900, stops="flow",
            compares=Compares(Role.SUPPLY_FLOW, "while drawing", "supply.flow_high_l_min"),
        ),
        "outlet_tripped": Row(
            "Outlet tripped", 0, 0, 0.0,
            "No power behind this outlet: what it feeds stands still or cools",
            "Keep hands dry; don't reset more than once: have the cause found by licensed staff", 300, hurts=True, stops="outlet",
            per="outlet",
        ),
        "outlet_test_failed": Row(
            "Outlet test failed", 0, 0, 0.0,
            "This outlet may not protect people from a shock; the station may not start",
            "Use nothing that it feeds; have it mended by licensed staff, then test it again and record that", 900,
            hurts=True, stops="outlet", per="outlet",
        ),
        "leak": Row(
            "Leak", 0, 0, 0.0,
            "Water where none should be", "Shut the stop valve; wipe up; find where it comes from", 300, hurts=True, stops="no_leak",
        ),
        "filter_due": Row(
            "Filter due", 0, 0, 0.0,
            "Rinses lengthen; a filter past its time may let through what it should hold",
            "Change the filter by its maker's instructions; then the water-path treatment is owed", 86_400, stops="filter",
            per="filter",
        ),
        "filter_fell": Row(
            "Filter's drop fell", 0, 0, 0.0,
            "A torn or by-passed filter lets through what it should hold",
            "If it was changed, record the change; else have the filter and its seals looked at before water is used", 3600, stops="filter",
            per="filter",
        ),
        "silent": Row(
            "Sensor silent", 0, 0, 0.0,
            "What this point should tell is not known",
            "See that its plug sits and its cable is whole; until it is back, read by eye what it should tell", 1800, stops="sensors",
            per="point", caused_by=("bus_lost",),
        ),
        "bus_lost": Row(
            "Bus lost", 0, 0, 0.0,
            "None of its points can be read",
            "Reseat the adapter's plug at the board; until it is back, read by eye what its points should tell", 1800, stops="sensors",
            per="bus",
        ),
        "duty_due": Row(
            "Due", 1 * _MIN, 0, 0.0,
            "The station may not start until it is done", "Do it and record it", 3600,
            per="duty",
        ),
        "hold": Row(
            "Hold", 0, 0, 0.0,
            "The station is held and may not start", "Ask whoever holds it", 3600, stops="no_hold",
        ),
        "disk_low": Row(
            "Disk nearly full", 0, 0, 0.0,
            "Readings, later the journal, can't be kept", "Free space on the board's disk, or replace the card", 1800,
        ),
        "clock_untrusted": Row(
            "Clock not trusted", 10 * _MIN, 0, 0.0,
            "Due dates can't be told", "See that the board reaches its time server", 3600, stops="clock",
        ),
        "store": Row(
            "Store can't be relied on", 15_000, 60_000, 0.0,
            "What is measured or recorded here may not be kept; records may be refused",
            "Replace the card or disk soon; write records on paper until then and enter them after", 1800,
        ),
        "untold": Row(
            "Somebody could not be told", 10 * _MIN, 0, 0.0,
            "Who is named hears of no alarms away from here",
            "See that network, broker and targets are up; warmwell tell FILE --test tries each", 1800,
        ),
        "certificate_ends": Row(
            "Page's certificate ends", 0, 0, 0.0,
            "Once it has ended, browsers warn of the page and programs that check it don't ask it any more",
            "Have the site's authority renew it and put the files in place; an own one: warmwell certificate make FILE", 86_400,
        ),
        "backup_overdue": Row(
            "Backup overdue", 0, 0, 0.0,
            "If the board's disk fails, the record since the last backup is gone",
            "See that the backup's disk is plugged in and has room; by hand: warmwell backup DEST", 86_400,
        ),
        "archive_silent": Row(
            "Archive silent", 0, 0, 0.0,
            "What is recorded here may stand on this board's disk alone",
            "See that the archive runs and that the broker lets it say what it has; until then make backups: warmwell backup DEST", 86_400,
        ),
    }
)  # fmt: skip


_DUE: Final = CATALOGUE["duty_due"]
#: rows of which more is known than the catalogue's: by what their messages are called
OWN: Final[Mapping[str, Row]] = MappingProxyType(
    {
        "duty_due.daily_test": _DUE._replace(stops="daily_test", after_trip=Trip.OTHER),
        # of one of several basins: the others may start
        "duty_due.daily_test_of_basin": _DUE._replace(
            consequence="Basin {basin} may not start until it is done", stops="daily_test", after_trip=Trip.OTHER
        ),
        # the station goes on by the old one: it keeps no station from starting, as one that was never made doesn't
        "duty_due.calibration": _DUE._replace(
            consequence="Conditions that rest on this point are met only nominally until it is calibrated",
            response="Compare the point with a reference and record it",
            respond_within_s=86_400,
        ),
        "duty_due.water_path_treatment": _DUE._replace(stops="water_path_treatment"),
        "duty_due.disinfectant_change": _DUE._replace(stops="disinfectant"),
        "duty_due.concentration_check": _DUE._replace(stops="disinfectant"),
        "duty_due.by_calendar": _DUE._replace(
            consequence="What the site has laid down is overdue; the verdict says whether the station may start all the same",
        ),
    }
)


def key_of(alarm_id: str) -> str:
    """Where the row of an alarm stands, in OWN or in CATALOGUE, and what its messages are called.

    >>> key_of("duty_due:calibration:reservoir"), key_of("duty_due:drip-tray"), key_of("outlet_tripped:heater")
    ('duty_due.calibration', 'duty_due.by_calendar', 'outlet_tripped')
    """
    base, _, duty = alarm_id.partition(":")
    if base != "duty_due":
        return base
    if basin_of(alarm_id):
        return "duty_due.daily_test_of_basin"
    own = f"{base}.{duty.partition(':')[0]}"
    return own if own in OWN else f"{base}.by_calendar"


def row_of(alarm_id: str) -> Row:
    """The row of an alarm, as shipped.

    >>> row_of("duty_due:daily_test").consequence
    'The station may not start until it is done'
    """
    key, basin = key_of(alarm_id), basin_of(alarm_id)
    row = OWN[key] if key in OWN else CATALOGUE[key]
    return row._replace(consequence=row.consequence.format(basin=basin)) if basin else row


def basin_of(alarm_id: str) -> str:
    """Which of several basins a daily test is due of; "" where it is of the station, and of every other alarm.

    >>> row_of("duty_due:daily_test:left").consequence
    'Basin left may not start until it is done'
    """
    duty = alarm_id.removeprefix("duty_due:daily_test:")
    return duty if duty != alarm_id else ""


def row_at(settings: Settings, alarm_id: str) -> Row:
    """The row of an alarm as it holds at a station: with what the site sets in place of it, and what its own duties stop."""
    row = tuned_row(row_of(alarm_id), settings.tuning.get(base_of(alarm_id)))
    duty = settings.rules.duties.get(alarm_id.removeprefix("duty_due:"))
    stops = duty is not None and (duty.keeps_from_ready or duty.action is not None)
    return row._replace(stops="duty") if stops else row


def tuned_row(row: Row, tuned: AlarmTuning | None) -> Row:
    """A row with what a site sets in place of it."""
    if tuned is None:
        return row
    given: dict[str, Any] = {
        "on_ms": tuned.on_delay_ms, "off_ms": tuned.off_delay_ms, "deadband": tuned.deadband, "set_priority": tuned.priority,
        "latching": tuned.latching, "re_announce_ms": tuned.re_announce_ms, "escalate_ms": tuned.escalate_ms,
        "consequence": tuned.consequence, "response": tuned.response, "respond_within_s": tuned.respond_within_s,
    }  # fmt: skip
    return row._replace(**{name: value for name, value in given.items() if value is not None})


def message_id(key: str, what: str) -> str:
    """The message of a row's `what`: "consequence", "response" or "beyond".

    >>> message_id(key_of("duty_due:calibration:reservoir"), "response")
    'alarm.duty_due.calibration.response'
    """
    return f"alarm.{key}.{what}"


def base_of(alarm_id: str) -> str:
    """The catalogue's name of an alarm.

    >>> base_of("outlet_tripped:heater")
    'outlet_tripped'
    """
    return alarm_id.partition(":")[0]
