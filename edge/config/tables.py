"""The station file's tables but buses and points, as models. Their names and meanings are the contract with its readers.

A field's annotation is its kind of value (edge/config/fields.py). Defaults are written as they would stand in the file.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field

from edge.config.fields import (
    Address,
    Count,
    DayHours,
    Flag,
    HostNames,
    Is,
    Items,
    Months,
    Names,
    Number,
    OfLevel,
    Often,
    Quantity,
    Text,
    Word,
    Words,
    Zone,
    name,
)
from edge.domain.alarms.catalogue import PRIORITIES
from edge.domain.records.forms import AFTERWARDS
from edge.domain.settings import Every, Level
from edge.domain.words.languages import LANGUAGES

#: in which a day can be told
REPORT_FORMS: Final = ("html", "pdf")

#: what the number of a commissioning item can be
ITEM_QUANTITIES: Final = (
    "pressure", "pressure_difference", "temperature", "temperature_difference", "flow", "volume", "duration", "conductivity", "length_um",
)  # fmt: skip
#: records after which a commissioning item can have to be done again
REOPENING: Final = (
    "equipment_change",
    "filter_change",
    "service",
    "calibration",
    "disinfectant_fill",
    "water_path_treatment",
)


class Table(BaseModel):
    """A table of the station file: no key but its own."""

    # what checks a table is built with the first one, not at each start
    model_config = ConfigDict(extra="forbid", populate_by_name=True, protected_namespaces=(), defer_build=True)


ARCHIVES: Final = Names('up to four names of archives, as ["hospital"]', ("an archive's name", "hospital"), 0, 4)


def default(written: object, description: str = "") -> Any:
    """A default, written as it would stand in the file."""
    return Field(written, validate_default=True, description=description or None)


class StationTable(Table):
    """Which station this is."""

    site: Annotated[str, name("the site's name", "harbour-lane")]
    id: Annotated[str, name("the station's name", "scope-room-2")]
    title: Annotated[str, Text("what people call it", "Scope room 2, left bench")] | None = None
    timezone: Annotated[str, Zone()]
    alarms: Annotated[str, Text("a file name", "alarms.toml", longest=1000)] | None = Field(
        None,
        description="The site's alarm catalogue: a file beside this one with [alarm.<id>] tables for several stations.",
    )


Hours = Annotated[tuple[int, int] | None, DayHours()]


class HoursTable(Table):
    """First case and end of each day; a day left out is closed."""

    monday: Hours = None
    tuesday: Hours = None
    wednesday: Hours = None
    thursday: Hours = None
    friday: Hours = None
    saturday: Hours = None
    sunday: Hours = None


class BasinTable(Table):
    """One basin."""

    id: Annotated[str, name("the basin's name", "basin")]
    ports: Annotated[int, Count(1, 32)] = Field(description="How many channel ports it has.")


class ContactTable(Table):
    """Temperature of the contact in the basin, by the disinfectant's label."""

    minimum: Annotated[float, Is("reservoir.contact")]
    maximum: Annotated[float, Is("reservoir.contact")] | None = None


class TransferLossTable(Table):
    """What is lost on the way to the basin: `loss` at the set point in a room of `room`, with supply water of `supply`."""

    loss: Annotated[float, Is("reservoir.loss")] = default("4 K")
    room: Annotated[float, Is("room")] = default("20 degC")
    measured: Annotated[bool, Flag()] = Field(False, description="true once a basin thermometer has confirmed it.")
    supply_share: Annotated[float, Number(0.0, 0.8)] = Field(
        0.0,
        description="Of what the liquid meets in hoses and basin: how much is supply water; the rest is as warm as the room.",
    )
    supply: Annotated[float, Is("water")] | None = Field(
        None, description="The coldest supply water: taken where its temperature isn't measured."
    )

    @property
    def met_c(self) -> float:
        """What the liquid meets where `loss` was stated [Cel]; without a `supply` all is taken for as warm as the room."""
        wet = 0.0 if self.supply is None else self.supply_share
        return self.room if not wet or self.supply is None else (1.0 - wet) * self.room + wet * self.supply


class ReservoirTable(Table):
    """The heated disinfectant."""

    volume: Annotated[float, Is("reservoir.volume")] | None = Field(None, description="Sharpens the first forecast.")
    set_point: Annotated[float, Is("reservoir.set_point")]
    thermostat_band: Annotated[float, Is("reservoir.thermostat_band")] = default(
        "0.5 K", "How far below the set point the thermostat lets it fall."
    )
    maximum: Annotated[float, Is("reservoir.maximum")] | None = None
    warm_up_limit: Annotated[float, Is("reservoir.warm_up_limit")] = default("2 h")
    contact: ContactTable
    transfer_loss: TransferLossTable = Field(default_factory=lambda: TransferLossTable.model_validate({}))
    coldest_room: Annotated[float, Is("room")] | None = Field(None, description="Assumed where no room point exists.")


class PressureTable(Table):
    """Dynamic pressure: while drawing, upstream of the filters."""

    low: Annotated[float, Is("supply.low")]
    high: Annotated[float, Is("supply.high")]


class FlowTable(Table):
    """Flow while drawing."""

    low: Annotated[float, Is("supply.flow")]
    high: Annotated[float, Is("supply.flow")] | None = None


class DrawTable(Table):
    """What counts as a draw, and when its readings are steady."""

    starts_above: Annotated[float, Is("supply.draw")] = default("0.3 gal/min")
    ends_below: Annotated[float, Is("supply.draw")] = default("0.15 gal/min")
    steady_after: Annotated[float, Is("supply.steady_after")] = default("15 s")


class LeakTable(Table):
    """So much water within so long while nothing draws is a leak."""

    volume: Annotated[float, Is("supply.leak_volume")]
    within: Annotated[float, Is("supply.leak_within")]


class SupplyTable(Table):
    """The cold-water supply at the machine."""

    pressure: PressureTable
    static_high: Annotated[float, Is("supply.high")] | None = None
    flow: FlowTable | None = None
    draw: DrawTable = Field(default_factory=lambda: DrawTable.model_validate({}))
    stands_for: Annotated[float, Is("supply.stands_for")] = default("24 h", "How long the last draw's evidence holds.")
    leak: LeakTable | None = None


class FilterTable(Table):
    """One stage of the filter train; stages stand in the order of flow."""

    id: Annotated[str, name("the filter's name", "coarse")]
    rating: Annotated[float, Is("filter.rating")] | None = None
    drop_limit: Annotated[float, Is("filter.drop_limit")] | None = Field(
        None, description="At the reference flow and temperature."
    )
    replace_after: Annotated[int, Months()] | None = None


class ReferenceTable(Table):
    """What pressure drops are normalised to."""

    flow: Annotated[float, Is("filters.flow")]
    temperature: Annotated[float, Is("filters.temperature")]


class FiltersTable(Table):
    """What holds for all filters."""

    reference: ReferenceTable


class DeliverTable(Table):
    """Each channel port delivers `volume` in less than `within`."""

    volume: Annotated[float, Is("daily_test.volume")] = default("100 mL")
    within: Annotated[float, Is("daily_test.within")] = default("15 s")


class DailyTestTable(Table):
    """The daily test, before a day's first procedure."""

    deliver: DeliverTable = Field(default_factory=lambda: DeliverTable.model_validate({}))
    measure: Annotated[str, Word("weak ports", "every port")] = default("weak ports")
    cylinder_uncertainty: Annotated[float, Is("daily_test.cylinder")] | None = Field(
        None, description="Of the graduated cylinder, by its maker; shown beside what was measured."
    )
    also: Annotated[list[str], Items("Lid closes and seals")] = Field(
        default_factory=list,
        description="What else is looked at each day. A test passes once each of these is among `checked`.",
    )


class WaterPathTreatmentTable(Table):
    """Disinfection of filter housings and lines after the clean side was opened."""

    contact: Annotated[float, Is("water_path_treatment.contact")]
    clean_side_opened_by: Annotated[list[str], Words("filter_change", "sensor_fitted", "repair")] = default(
        ["filter_change", "sensor_fitted", "repair"]
    )
    then: Annotated[list[str], Words(*AFTERWARDS)] | None = Field(
        None,
        description="What has to be recorded as done after the contact before the treatment counts. Left out: drained and rinsed, which "
        "the record of a whole treatment says by itself.",
    )


class DisinfectantTable(Table):
    """The disinfectant in the reservoir."""

    reuse_life: Annotated[float, Is("disinfectant.reuse_life")]
    opened_life: Annotated[float, Is("disinfectant.opened_life")] | None = Field(
        None, description="How long it keeps once its container was opened: each fill then has to say when that was."
    )
    concentration_check: Annotated[str, Word("each day", "each use")] | None = Field(
        None, description="When its concentration has to be checked; left out: the station doesn't ask for checks."
    )


class OutletTestTable(Table):
    """The test of each ground-fault outlet by its test button."""

    every: Annotated[int, Months()]


class AlarmTable(Table):
    """Tuning of one kind of alarm; what is left out stays as shipped."""

    on_delay: Annotated[float, Is("alarm.delay")] | None = None
    off_delay: Annotated[float, Is("alarm.delay")] | None = None
    deadband: Annotated[str, Quantity("pressure_difference", "temperature_difference", "flow")] | None = Field(
        None,
        description="How far inside its limit a value must come before the alarm returns; a difference, as in 1 psi.",
    )
    priority: Annotated[str, Word(*PRIORITIES)] | None = None
    limit: Annotated[str, Quantity("pressure", "temperature", "flow")] | None = Field(
        None, description="Where the alarm compares a reading: its own limit instead of its section's."
    )
    re_announce: Annotated[float, Is("alarm.re_announce")] | None = Field(
        None, description="Unanswered for so long, it is announced again; after ten times ever more seldom."
    )
    escalate_after: Annotated[float, Is("alarm.re_announce")] | None = Field(
        None, description="Unanswered for so long, it is announced again with the next higher priority."
    )
    latching: Annotated[bool, Flag()] | None = Field(None, description="true where it stays until somebody resets it.")
    consequence: Annotated[str, Text("what follows if nobody answers", "Rinses take too long")] | None = None
    response: Annotated[str, Text("what to do now", "Open the stop valve")] | None = None
    respond_within: Annotated[float, Is("alarm.respond_within")] | None = Field(
        None, description="How soon; with the consequence it gives the priority, where that isn't set."
    )


class DutyTable(Table):
    """One duty of the site's own list."""

    every: Annotated[Every, Often()]
    title: Annotated[str, Text("what is to be done", "Wipe the drip tray")] | None = None
    keeps_from_ready: Annotated[bool, Flag()] = Field(
        False, description="Whether the station may not start while it is owed."
    )
    alert_level: Annotated[Level, OfLevel()] | None = Field(
        None, description="Of a duty with a result, such as a water sample: above it somebody has to look into it."
    )
    action_level: Annotated[Level, OfLevel()] | None = Field(
        None, description="A result above it keeps the station from READY until one is at it or below."
    )


class CommissioningTable(Table):
    """Commissioning: with this table the station says that it isn't commissioned until each item of its list is done."""

    list_: Annotated[str, Text("a file name", "commissioning.toml", longest=1000)] | None = Field(
        None,
        alias="list",
        description="The site's own list: a file beside this one with [commissioning_item.<id>] tables for several stations.",
    )
    keeps_from_ready: Annotated[bool, Flag()] = Field(
        False, description="Whether the station may not start before; left out: it only says so."
    )


class CommissioningItemTable(Table):
    """One item of the commissioning list: what is different of one as shipped, or one of the site's own."""

    title: Annotated[str, Text("what it is about", "Sign at the door")] | None = None
    do: Annotated[str, Text("what to look at or measure", "See that it can be read")] | None = None
    caution: Annotated[str, Text("what can hurt", "Hot: don't touch")] | None = None
    low: Annotated[str, Quantity(*ITEM_QUANTITIES)] | None = Field(
        None, description="The least that its number may be."
    )
    high: Annotated[str, Quantity(*ITEM_QUANTITIES)] | None = Field(None, description="The most.")
    duration: Annotated[float, Is("commissioning_item.duration")] | None = Field(
        None, description="How long the station times it; of decay alone."
    )
    source: Annotated[str, Text("where its limit is from", "Plumbing code, 4.2")] | None = None
    leave_out: Annotated[str, Text("why it does not apply here", "The board has a battery")] | None = None
    reopened_by: Annotated[list[str], Words(*REOPENING)] | None = Field(
        None, description="Records after which it has to be done again."
    )


class ClientTlsTable(Table):
    """TLS to a broker or a receiver: who may vouch for it, and an own certificate where it asks for one; files beside the station file."""

    ca: Annotated[str, Text("a file name", "ca.pem", longest=1000)] | None = Field(
        None, description="Who may vouch for the other side; the system's own list where left out."
    )
    certificate: Annotated[str, Text("a file name", "node.pem", longest=1000)] | None = None
    key: Annotated[str, Text("a file name", "node.key", longest=1000)] | None = None


class BrokerTable(Table):
    """A broker."""

    host: Annotated[
        str, Text("a host's name or address", "broker.harbour-lane.example", longest=253, pattern=r"[A-Za-z0-9._:-]+")
    ]
    port: Annotated[int, Count(1, 65535)] | None = Field(None, description="8883 with tls, else 1883.")
    tls: ClientTlsTable | None = None
    username: Annotated[str, Text("a user's name", "scope-room-2")] | None = None
    password_file: Annotated[str, Text("a file name", "mqtt-password", longest=1000)] | None = Field(
        None, description="The file's first line is the password, so that it stands in no settings."
    )
    client_id: Annotated[str, Text("a client's name", "harbour-lane-scope-room-2", longest=120)] | None = None
    keep_alive: Annotated[float, Is("mqtt.keep_alive")] = default("30 s")


class MqttTable(BrokerTable):
    """The broker that hears the station."""

    archives: Annotated[list[str], ARCHIVES] = default(
        [],
        "Which archives say what they have of the journal: what one lacks is said again; silent for a day, it rings.",
    )


class ApiTlsTable(Table):
    """Certificate of the page: files of the site's authority, or, without them, an own one in the [keep] folder."""

    certificate: Annotated[str, Text("a file name", "page.pem", longest=1000)] | None = Field(
        None,
        description="PEM, with the authorities between it and the site's own behind it; warmwell certificate make makes one.",
    )
    key: Annotated[str, Text("a file name", "page.key", longest=1000)] | None = None
    names: Annotated[list[str], HostNames()] | None = Field(
        None, description="By which the page is asked for: what an own certificate, or a request for one, is made for."
    )


class ApiTable(Table):
    """The local page and its API."""

    listen: Annotated[tuple[str, int], Address()] = default("127.0.0.1:8484")
    tls: ApiTlsTable | None = None
    people: Annotated[str, Text("a file name", "people.toml", longest=1000)] | None = Field(
        None, description="Who may sign in, with which role."
    )
    room: Annotated[str, Text("a folder", "/run/warmwell", longest=1000)] | None = Field(
        None,
        description="A folder, best in memory, that all stations of this computer name: each page shows the others' verdicts.",
    )


class PeopleTable(Table):
    """Sign-ins, once people are set up by `warmwell people`. Who they are stands in no file that is written by hand."""

    idle: Annotated[float, Is("people.idle")] = default("10 min", "A session in which nobody does anything ends.")
    longest: Annotated[float, Is("people.longest")] = default("12 h", "Every session ends after so long.")
    looking: Annotated[str, Word("open", "sign-in")] = default(
        "open", "Whether anybody may look, or only who has signed in; recording always takes a sign-in."
    )
    names: Annotated[str, Word("open", "sign-in")] = default(
        "sign-in", "Whether anybody may see who may sign in, for choosing by a tap."
    )


class BackupTable(Table):
    """Backups that the station makes by itself, onto another disk."""

    folder: Annotated[str, Text("a folder", "/media/stick/scope-room-2", longest=1000)]
    every: Annotated[float, Is("backup.every")] = default("24 h")
    overdue_after: Annotated[float, Is("backup.overdue_after")] = default(
        "3 days", "Where the newest backup is older, however it was made, an alarm rings."
    )


class ReportsTable(Table):
    """The record of each day, made by itself after local midnight."""

    folder: Annotated[str, Text("a folder", "/var/lib/warmwell/reports", longest=1000)]
    forms: Annotated[list[str], Words(*REPORT_FORMS)] = default(["html"], "`pdf` needs the extra of that name.")
    keep: Annotated[float, Is("reports.keep")] = default("400 days", "Older ones are deleted.")
    language: Annotated[str, Word(*LANGUAGES)] = default("en")
    send: Annotated[str, Text("a file name", "reports.url", longest=1000)] | None = Field(
        None,
        description="Each is sent by mail, too. The file's one line is the address, a secret: mode 0600, so that it stands in no settings.",
    )


class KeepTable(Table):
    """What is kept, where, and for how long. The journal is always kept."""

    folder: Annotated[str, Text("a folder", "/var/lib/warmwell", longest=1000)] = default("/var/lib/warmwell")
    raw: Annotated[float, Is("keep.age")] = default("90 days", "Every reading.")
    minutes: Annotated[float, Is("keep.age")] = default("730 days", "Minimum, mean and maximum by minute.")
    hours: Annotated[float, Is("keep.age")] | None = Field(None, description="By hour; for ever where left out.")
    size: Annotated[float, Is("keep.size")] | None = Field(None, description="Cap of the readings' file.")
    timestamp_url: (
        Annotated[
            str,
            Text(
                "an http or https address",
                "https://stamps.example/tsa",
                longest=1000,
                pattern=r"https?://[^\s/@\\?#]+(/[^\s@\\?#]*)?",
            ),
        ]
        | None
    ) = Field(None, description="A time-stamp authority of RFC 3161, asked once a day for a stamp of the signed head.")
    timestamp_ca: Annotated[str, Text("a file name", "stamps-ca.pem", longest=1000)] | None = Field(
        None, description="Who may vouch for its stamps, in PEM form; left out: their signature isn't looked at."
    )
    segment_entries: Annotated[int, Count(1000, 1_000_000)] = default(
        25_000,
        "So many of the oldest entries are closed into a file of their own, once 20 000 newer ones stand behind them.",
    )
