"""What a station is, in the units that values are held in. Made from the station file by edge/config/station_file.py; checked there."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from edge.domain.readings import Kind, Role


@dataclass(frozen=True, slots=True)
class Point:
    """One measured quantity. Range, rate, resolution and uncertainty in the unit of `kind`."""

    id: str
    role: Role
    kind: Kind
    every_ms: int
    stale_after_ms: int
    low: float
    high: float
    max_rate_per_s: float | None = None
    resolution: float | None = None
    uncertainty: float | None = None  # standard uncertainty of an uncalibrated point, if stated
    of: str | None = None
    unit: str = ""  # for display and for replay columns without a unit, as written in the station file ("psi")
    bus: str = ""
    identity: str = ""  # which sensor it is: address or serial number; a calibration is bound to it
    transducer: str = (
        ""  # digest of the settings that make a quantity of what the sensor says; a calibration is bound to it too
    )
    by_people: bool = False  # read by eye and entered
    polled: bool = False  # a contact of which only its level at each look is known
    sensor: str = ""  # its class, where the station file tells: a calibration's uncertainty asks for it


@dataclass(frozen=True, slots=True)
class Basin:
    """One basin. `channel_ports`: how many; 0: none, its daily test is done by eye."""

    id: str
    channel_ports: int


@dataclass(frozen=True, slots=True)
class Reservoir:
    """The heated disinfectant and what its label asks for in the basin."""

    set_point_c: float
    thermostat_band_k: float
    contact_min_c: float
    loss_share: float  # f: basin = T - f (T - cold)
    loss_measured: bool
    warm_up_limit_ms: int
    volume_l: float | None = None
    maximum_c: float | None = None
    contact_max_c: float | None = None
    coldest_room_c: float | None = None
    supply_share: float = 0.0  # of what the liquid meets: water of the supply; the rest is at the room's temperature
    coldest_supply_c: float | None = None  # assumed where the supply's temperature isn't known


@dataclass(frozen=True, slots=True)
class Supply:
    """Limits of the cold water, upstream of the filters."""

    pressure_low_kpa: float
    pressure_high_kpa: float
    flow_low_l_min: float | None
    flow_high_l_min: float | None
    draw_starts_l_min: float
    draw_ends_l_min: float
    steady_after_ms: int
    stands_for_ms: int
    static_high_kpa: float | None = None
    leak_volume_l: float | None = None
    leak_within_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Filter:
    """One stage of the filter train; stages stand in the order of flow."""

    id: str
    rating_um: float | None
    drop_limit_kpa: float | None  # at the reference flow and temperature
    replace_after_months: int | None


@dataclass(frozen=True, slots=True)
class DailyTest:
    """Delivery per channel port: `volume_ml` in strictly less than `within_s`; and what else is looked at."""

    volume_ml: float
    within_s: float
    measure: str  # "weak ports" or "every port"
    cylinder_u_ml: float | None = (
        None  # uncertainty of the graduated cylinder, as its maker states it: shown, it decides nothing
    )
    also: tuple[str, ...] = ()  # the site's other check items


class Every(NamedTuple):
    """How often something is owed: after calendar months, days of the station's calendar, or so long [ms]. One of them is set."""

    months: int = 0
    days: int = 0
    ms: int = 0


class Level(NamedTuple):
    """A value beyond which people act: strictly above. `unit`: as it is written, "CFU/100 mL"."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Duty:
    """One duty of the site's own list."""

    every: Every
    title: str
    keeps_from_ready: bool = False  # while it is owed
    alert: Level | None = None
    action: Level | None = None  # a result above it keeps the station from READY


@dataclass(frozen=True, slots=True)
class CommissioningItem:
    """What a site's list says of one commissioning item; what is None stays as shipped. `low` and `high` in the unit of `quantity`."""

    title: str | None = None  # of an item of its own
    ask: str | None = None
    caution: str | None = None
    quantity: str = ""  # a key of DIMENSIONS: which number an item of its own asks for; "": looked at by eye
    low: float | None = None
    high: float | None = None
    source: str | None = None
    leave_out: str | None = None  # why it does not apply at this site
    reopened_by: frozenset[str] | None = None  # records after which it is to be done again
    lasts_ms: int | None = None  # how long the station times it


@dataclass(frozen=True, slots=True)
class Commissioning:
    """What a site asks before a station counts as commissioned. `is_asked`: the station says that it isn't, until it is."""

    is_asked: bool = False
    keeps_from_ready: bool = False
    items: Mapping[str, CommissioningItem] = field(default_factory=dict)  # its own list, by id without what follows ':'


@dataclass(frozen=True, slots=True)
class Rules:
    """What a site asks of people beside the limits of its sections; left out: nothing."""

    duties: Mapping[str, Duty] = field(default_factory=dict)  # its own list, by name
    treatment_then: tuple[str, ...] | None = (
        None  # what has to be said to have followed a treatment's contact; None: see treatments.py
    )
    outlet_test: Every | None = None  # how often each outlet's test button is pressed
    concentration_check: str = ""  # each "day" or each "use"; "": not asked for
    opened_life_days: int | None = None  # how long the disinfectant keeps once its container was opened
    commissioning: Commissioning = Commissioning()


@dataclass(frozen=True, slots=True)
class AlarmTuning:
    """What the station file sets for one alarm; None leaves the catalogue's value."""

    on_delay_ms: int | None = None
    off_delay_ms: int | None = None
    deadband: float | None = None
    priority: str | None = None
    limit: float | None = None
    re_announce_ms: int | None = None
    escalate_ms: int | None = None
    latching: bool | None = None
    consequence: str | None = None
    response: str | None = None
    respond_within_s: int | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """One station. `hours`: weekday (Monday 0) -> (first case, end), minutes after local midnight; None: no hours given."""

    site: str
    id: str
    title: str
    timezone: str
    points: tuple[Point, ...]
    buses: tuple[str, ...] = ()
    hours: Mapping[int, tuple[int, int]] | None = None
    basins: tuple[Basin, ...] = ()
    reservoir: Reservoir | None = None
    supply: Supply | None = None
    filters: tuple[Filter, ...] = ()
    reference_flow_l_min: float | None = None
    reference_c: float | None = None
    daily_test: DailyTest | None = None
    treatment_contact_ms: int | None = None  # water-path treatment; None: the section is absent
    clean_side_opened_by: frozenset[str] = frozenset()
    reuse_life_ms: int | None = None  # disinfectant
    not_fitted: Mapping[Role, int] = field(default_factory=dict)  # role -> how long an entered reading stands, ms
    rules: Rules = Rules()
    tuning: Mapping[str, AlarmTuning] = field(default_factory=dict)  # by alarm id without what follows ':'

    @property
    def judged_basins(self) -> tuple[str, ...]:
        """Ids of the basins where there are two or more: then each has a verdict of its own. With fewer the station's is the only one."""
        return tuple(basin.id for basin in self.basins) if len(self.basins) > 1 else ()

    @property
    def name(self) -> str:
        """`site/id`, as it stands in topics and in the chain."""
        return f"{self.site}/{self.id}"


def feeds_machine(outlet: str) -> bool:
    """Does an outlet feed the machine? All do but those that are named for the heater.

    >>> [feeds_machine(one) for one in ("machine", "reservoir-heater", "Preheating", "theatre-2")]
    [True, False, False, True]
    """
    return re.search(r"(?<!t)heat", outlet.casefold()) is None
