"""What is known of each role: one row, from which everything else that is said of the role is derived.

A role that is added gets its member of `Role` and its row here. That is enough for it to be known to the station file (its bounds,
its words, the key that says what a closed contact means), to records (what people can read by eye, how far a calibration may
correct), to the survey, the export, replays, and the page.

Numbers are common practice without a published source, unless a row says otherwise, in the unit of the role's kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple


class Kind(StrEnum):
    """What a point measures; it decides the unit that values are held in."""

    TEMPERATURE = "temperature"  # Cel
    PRESSURE = "pressure"  # kPa, gauge
    FLOW = "flow"  # L/min
    CONDUCTIVITY = "conductivity"  # uS/cm
    CONTACT = "contact"  # 1: tripped, wet, on; 0: ok, dry, off


UNIT_OF: Final[Mapping[Kind, str]] = MappingProxyType(
    {Kind.TEMPERATURE: "Cel", Kind.PRESSURE: "kPa", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm", Kind.CONTACT: "1"}
)


class Role(StrEnum):
    """What a point means to its station."""

    RESERVOIR_TEMPERATURE = "reservoir_temperature"
    BASIN_TEMPERATURE = "basin_temperature"
    ROOM_TEMPERATURE = "room_temperature"
    SUPPLY_TEMPERATURE = "supply_temperature"
    SUPPLY_PRESSURE = "supply_pressure"
    BETWEEN_FILTERS_PRESSURE = "between_filters_pressure"
    FILTERED_PRESSURE = "filtered_pressure"
    SUPPLY_FLOW = "supply_flow"
    OUTLET_PROTECTION = "outlet_protection"
    MACHINE_POWER = "machine_power"
    LEAK = "leak"
    FILTERED_CONDUCTIVITY = "filtered_conductivity"


class ByEye(NamedTuple):
    """What a person can read of a role: beyond `low` and `high` lies a slip of the pen or of the unit.

    Attributes:
        low, high: within what a point of the role can be.
        decides: a condition takes such a reading where [not_fitted] names the role.
        backs_up: [not_fitted] may name the role though a sensor is fitted: while it is broken somebody looks.
        instead: what serves where such a reading decides nothing; "" for a point.
    """

    low: float = 0.0
    high: float = 1.0
    decides: bool = False
    backs_up: bool = False
    instead: str = ""


class Correction(NamedTuple):
    """How far a calibration may correct a point. K; or a share of the span or of the reference, by `of`.

    Attributes:
        most: in force by one comparison.
        hard: never beyond.
        of: "", "span" or "reading".
        why: where the numbers come from.
    """

    most: float
    hard: float
    of: str
    why: str


class Contact(NamedTuple):
    """What a contact says.

    Attributes:
        words: for 0 and for 1; in replay files, exports, records and on the page.
        when: the key of the station file that says whether an open or a closed contact is 1.
        rest_is_well: a contact at rest means that all is well. Such a one can be supervised, and its second word is bad news at any
            time. (A machine without power is none: it is off at night.)
        sent: words of senders for 0 and 1, in capitals, that mean this role wherever they stand; () where none does.
        labels: beginnings of senders' labels, in capitals, behind which ON and OFF mean this role.
    """

    words: tuple[str, str]
    when: str
    rest_is_well: bool = False
    sent: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    labels: tuple[str, ...] = ()


class RoleRow(NamedTuple):
    """One role.

    Attributes:
        title: its name for people.
        kind: what it measures, and so the unit of every number of this row.
        low, high: what a point of it can be, where the station file sets no `range`; a current loop's own span replaces both.
        max_rate: how fast it can change, per second, where the station file sets no `max_rate`; None: any.
        why: where low, high and max_rate come from.
        can_be: what the thing itself can be, whatever the sensor could show: beyond it a probe has lost its sensor. None: as the point.
        by_eye: what a person can read of it.
        section: the section of the station file whose conditions judge it; "" where none does.
        needed: by section, what can't be told of that section without a point of this role.
        limits: settings of the station file, dotted, that its readings are compared with: they have to lie within what its points read.
        one_point: it is followed at one point only: a second one would be read and never judged.
        by_second: its conditions rest on readings each second (draws, warm-up): what people read of it is evidence by eye instead.
        is_lesser: a point of it may fall silent without making the station unready at once: what rests on it goes unknown by itself, or
            a declared value is taken instead.
        correction: how far a calibration may correct it; None for what isn't calibrated.
        is_surveyed: the survey gives this role out to what it finds of its kind.
        contact: what a contact says; None where it measures something.
    """

    title: str
    kind: Kind
    low: float
    high: float
    max_rate: float | None
    why: str
    by_eye: ByEye
    can_be: tuple[float, float] | None = None
    section: str = ""
    needed: Mapping[str, str] = MappingProxyType({})
    limits: tuple[str, ...] = ()
    one_point: bool = False
    by_second: bool = False
    is_lesser: bool = False
    correction: Correction | None = None
    is_surveyed: bool = False
    contact: Contact | None = None


_AS_THE_SUPPLYS: Final = Correction(0.03, 0.15, "span", "as the supply's")

#: the table of roles, in the order of Role
ROLES: Final[Mapping[Role, RoleRow]] = MappingProxyType(
    {
        Role.RESERVOIR_TEMPERATURE: RoleRow(
            title="Reservoir temperature",
            kind=Kind.TEMPERATURE,
            low=-5.0,
            high=90.0,
            max_rate=10.0,
            why="a heated liquid indoors; a cycle takes it away within seconds, the probe's lag smooths that",
            by_eye=ByEye(0.0, 90.0, decides=True, backs_up=True),
            section="reservoir",
            needed={"reservoir": "whether the reservoir is warm enough"},
            limits=("reservoir.set_point", "reservoir.maximum"),
            by_second=True,
            correction=Correction(2.0, 10.0, "", "digital and class B probes are within 0.5 K; leads and mounting add one"),
            is_surveyed=True,
        ),
        Role.BASIN_TEMPERATURE: RoleRow(
            title="Basin temperature",
            kind=Kind.TEMPERATURE,
            low=-5.0,
            high=90.0,
            max_rate=10.0,
            why="the basin fills within seconds",
            by_eye=ByEye(0.0, 90.0),
            section="reservoir",
            limits=("reservoir.contact.minimum", "reservoir.contact.maximum"),
            by_second=True,
            is_lesser=True,
            correction=Correction(2.0, 10.0, "", "as the reservoir's"),
        ),
        Role.ROOM_TEMPERATURE: RoleRow(
            title="Room temperature",
            kind=Kind.TEMPERATURE,
            low=-20.0,
            high=60.0,
            max_rate=2.0,
            why="indoors; a door opens, the sun comes in",
            can_be=(5.0, 45.0),
            by_eye=ByEye(5.0, 45.0, instead="give the room a point on a bus of kind entered, or coldest_room"),
            correction=Correction(2.0, 10.0, "", "as the reservoir's; a warmer room lowers what is needed"),
            is_surveyed=True,
        ),
        Role.SUPPLY_TEMPERATURE: RoleRow(
            title="Supply temperature",
            kind=Kind.TEMPERATURE,
            low=-2.0,
            high=80.0,
            max_rate=10.0,
            why="water, perhaps from a mixing valve",
            can_be=(1.0, 35.0),
            by_eye=ByEye(1.0, 35.0, decides=True),
            one_point=True,
            is_lesser=True,
            correction=Correction(2.0, 10.0, "", "as the reservoir's; warmer water lowers what is needed"),
            is_surveyed=True,
        ),
        Role.SUPPLY_PRESSURE: RoleRow(
            title="Supply pressure",
            kind=Kind.PRESSURE,
            low=-35.0,
            high=1100.0,
            max_rate=2000.0,
            why="a drifted zero to 160 psi; a valve opens within 0.2 s",
            by_eye=ByEye(0.0, 1100.0, decides=True, backs_up=True),
            section="supply",
            needed={"supply": "whether the supply's pressure will do", "filter": "the first stage's pressure drop"},
            limits=("supply.pressure.low", "supply.pressure.high", "supply.static_high"),
            one_point=True,
            by_second=True,
            correction=Correction(0.03, 0.15, "span", "senders are within 1 % of their span; a zero drifts as far again"),
            is_surveyed=True,
        ),
        Role.BETWEEN_FILTERS_PRESSURE: RoleRow(
            title="Between filters pressure",
            kind=Kind.PRESSURE,
            low=-35.0,
            high=1100.0,
            max_rate=2000.0,
            why="as the supply",
            by_eye=ByEye(0.0, 1100.0),
            section="filter",
            needed={"filter": "the pressure drop of each stage"},
            one_point=True,
            by_second=True,
            is_lesser=True,
            correction=_AS_THE_SUPPLYS,
            is_surveyed=True,
        ),
        Role.FILTERED_PRESSURE: RoleRow(
            title="Filtered pressure",
            kind=Kind.PRESSURE,
            low=-35.0,
            high=1100.0,
            max_rate=2000.0,
            why="as the supply",
            by_eye=ByEye(0.0, 1100.0),
            section="filter",
            needed={"filter": "the last stage's pressure drop"},
            one_point=True,
            by_second=True,
            is_lesser=True,
            correction=_AS_THE_SUPPLYS,
            is_surveyed=True,
        ),
        Role.SUPPLY_FLOW: RoleRow(
            title="Supply flow",
            kind=Kind.FLOW,
            low=-0.5,
            high=100.0,
            max_rate=200.0,
            why="a bench connection; a valve opens within 0.2 s",
            by_eye=ByEye(0.0, 100.0, decides=True),
            section="supply",
            needed={"filter": "pressure drops at the reference flow"},
            limits=("supply.flow.low", "supply.flow.high", "supply.draw.starts_above", "supply.draw.ends_below"),
            one_point=True,
            by_second=True,
            correction=Correction(0.10, 0.30, "reading", "meters are within 5 %; more is a wrong factor in the station file"),
            is_surveyed=True,
        ),
        Role.OUTLET_PROTECTION: RoleRow(
            title="Outlet protection",
            kind=Kind.CONTACT,
            low=0.0,
            high=1.0,
            max_rate=None,
            why="a contact",
            by_eye=ByEye(decides=True),
            contact=Contact(("ok", "tripped"), "tripped_when", True, sent=(("OK",), ("TRIP", "TRIPPED", "FAULT"))),
        ),
        Role.MACHINE_POWER: RoleRow(
            title="Machine power",
            kind=Kind.CONTACT,
            low=0.0,
            high=1.0,
            max_rate=None,
            why="a contact",
            by_eye=ByEye(decides=True),
            one_point=True,
            contact=Contact(("off", "on"), "on_when", labels=("POWER", "MAINS")),
        ),
        Role.LEAK: RoleRow(
            title="Leak",
            kind=Kind.CONTACT,
            low=0.0,
            high=1.0,
            max_rate=None,
            why="a contact",
            by_eye=ByEye(decides=True),
            contact=Contact(("dry", "wet"), "wet_when", True, sent=(("DRY",), ("WET", "LEAK")), labels=("LEAK",)),
        ),
        Role.FILTERED_CONDUCTIVITY: RoleRow(
            title="Filtered conductivity",
            kind=Kind.CONDUCTIVITY,
            low=0.0,
            high=20_000.0,
            max_rate=None,
            why="from pure to brackish water",
            by_eye=ByEye(0.0, 20_000.0),
            is_lesser=True,
            correction=Correction(0.20, 0.50, "reading", "cells are within 10 % before they are calibrated"),
            is_surveyed=True,
        ),
    }
)  # fmt: skip

KIND_OF: Final[Mapping[Role, Kind]] = MappingProxyType({role: row.kind for role, row in ROLES.items()})

#: what each contact says
CONTACTS: Final[Mapping[Role, Contact]] = MappingProxyType(
    {role: row.contact for role, row in ROLES.items() if row.contact is not None}
)
#: words of a contact, (0, 1), by role
CONTACT_WORDS: Final[Mapping[Role, tuple[str, str]]] = MappingProxyType(
    {role: contact.words for role, contact in CONTACTS.items()}
)
#: keys of the station file that say what a closed or an open contact means
WHEN_KEYS: Final = tuple(contact.when for contact in CONTACTS.values())
#: contacts at rest where all is well, in the order of their names
REST_IS_WELL: Final = tuple(sorted(role for role, contact in CONTACTS.items() if contact.rest_is_well))


def roles_of(section: str) -> frozenset[Role]:
    """The roles that a section of the station file judges.

    >>> sorted(roles_of("reservoir"))
    [<Role.BASIN_TEMPERATURE: 'basin_temperature'>, <Role.RESERVOIR_TEMPERATURE: 'reservoir_temperature'>]
    """
    return frozenset(role for role, row in ROLES.items() if row.section == section)
