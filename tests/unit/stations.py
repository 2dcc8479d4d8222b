"""A small station for tests of the domain, and a driver that moves time only when told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from edge.domain.entries import Draft, Entry, Now, wall_ms_of
from edge.domain.messages import Message
from edge.domain.readings import KIND_OF, Role, Sample
from edge.domain.settings import (
    AlarmTuning,
    Basin,
    DailyTest,
    Duty,
    Every,
    Filter,
    Level,
    Point,
    Reservoir,
    Rules,
    Settings,
    Supply,
)  # fmt: skip
from edge.domain.station.station import Station
from edge.domain.words.saying import Words
from edge.domain.words.units import Units

MONDAY = wall_ms_of("2026-03-16T05:50:00Z")
HOUR = 3_600_000
PSI = 6.894757293168361


def point(ident: str, role: Role, low: float, high: float, unit: str = "", **more: Any) -> Point:
    return Point(ident, role, KIND_OF[role], 1000, 10_000, low, high, unit=unit, bus=more.pop("bus", "wires"), **more)


POINTS = (
    point("reservoir", Role.RESERVOIR_TEMPERATURE, -10.0, 90.0),
    point("room", Role.ROOM_TEMPERATURE, -10.0, 60.0),
    point("supply", Role.SUPPLY_PRESSURE, -50.0, 1500.0, "psi"),
    point("between", Role.BETWEEN_FILTERS_PRESSURE, -50.0, 1500.0, "psi"),
    point("filtered", Role.FILTERED_PRESSURE, -50.0, 1500.0, "psi"),
    point("flow", Role.SUPPLY_FLOW, -1.0, 60.0, "gal/min"),
    point("heater-outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of="heater", bus="lines"),
    point("power", Role.MACHINE_POWER, 0.0, 1.0, bus="lines"),
)
SETTINGS = Settings(
    site="harbour-lane",
    id="scope-room-2",
    title="Scope room 2",
    timezone="Europe/Dublin",
    points=POINTS,
    buses=("wires", "lines"),
    basins=(Basin("basin", 6),),
    reservoir=Reservoir(
        39.5, 0.5, 35.0, 4 / 19, False, 2 * HOUR, volume_l=11.0, maximum_c=45.0, contact_max_c=40.0, coldest_room_c=18.0,
    ),
    supply=Supply(
        40 * PSI, 60 * PSI, 7.57, 11.36, 1.135, 0.568, 15_000, 24 * HOUR,
        static_high_kpa=60 * PSI, leak_volume_l=2.0, leak_within_ms=6 * HOUR,
    ),
    filters=(Filter("coarse", 1.0, 8 * PSI, 6), Filter("fine", 0.2, 10 * PSI, 6)),
    reference_flow_l_min=9.46,
    reference_c=15.0,
    daily_test=DailyTest(100.0, 15.0, "weak ports"),
    treatment_contact_ms=600_000,
    clean_side_opened_by=frozenset({"filter_change", "repair"}),
    reuse_life_ms=14 * 24 * HOUR,
)  # fmt: skip

QUIET = {
    "reservoir": 39.2, "room": 22.0, "supply": 55 * PSI, "between": 55 * PSI, "filtered": 55 * PSI, "flow": 0.0,
    "heater-outlet": 0.0, "power": 1.0,
}  # fmt: skip
DRAWING = QUIET | {"flow": 9.0, "supply": 46 * PSI, "between": 43 * PSI, "filtered": 39 * PSI}


#: the same with a duty of the site's own, what follows a treatment, checks of the concentration, tests of outlets, and roles read by eye
ASKING = replace(
    SETTINGS,
    not_fitted={Role.SUPPLY_TEMPERATURE: 7 * 86_400_000, Role.LEAK: 86_400_000},
    rules=Rules(
        {"sample": Duty(Every(months=1), "Final rinse sample", True, action=Level(10.0, "CFU/100 mL"))},
        ("drained", "rinsed"),
        Every(days=28),
        "day",
    ),
)


def tuned(settings: Settings = SETTINGS, **alarms: AlarmTuning) -> Settings:
    return replace(settings, tuning=alarms)


def english(message: Message | None, settings: Settings = SETTINGS) -> str:
    """What a station says to its people; "" for no message."""
    return Words(Units(settings, list(settings.points)), ZoneInfo(settings.timezone)).text(message)


class Driver:
    """Feeds a station; `heard` gathers what it said, as entries with seq."""

    def __init__(
        self, settings: Settings = SETTINGS, wall_ms: int = MONDAY, boot: str = "boot-1", trusted: bool = True
    ) -> None:
        self.station = Station(settings, boot)
        self.mono_ms, self.wall_ms, self.trusted, self.boot = 1_000_000, wall_ms, trusted, boot
        self.said: list[Entry] = []

    @property
    def now(self) -> Now:
        return Now(self.mono_ms, self.wall_ms, self.trusted)

    def keep(self, drafts: list[Draft]) -> list[Entry]:
        entries: list[Entry] = []
        if not drafts:  # as at most readings
            return entries
        for draft in drafts:
            at = draft.now
            entries.append(
                Entry(
                    len(self.said) + len(entries) + 1,
                    self.boot,
                    at.mono_ms,
                    at.wall_ms,
                    at.trusted,
                    draft.kind,
                    draft.body,
                )
            )
        self.station.kept(entries)
        self.said += entries
        return entries

    def tell(self, **values: float | None) -> list[Entry]:
        return self.hear(values)

    def hear(self, values: Mapping[str, float | None]) -> list[Entry]:
        """As tell(); an id may have "-" or "_"."""
        samples = [
            Sample(name.replace("_", "-"), self.mono_ms, value, None if value is not None else "no_answer")
            for name, value in values.items()
        ]
        return self.keep(self.station.hear(samples, self.now))

    def pass_to(self, mono_ms: int) -> None:
        while (due := self.station.next_deadline()) is not None and due < mono_ms:
            self.wall_ms += due - self.mono_ms
            self.mono_ms = due
            self.keep(self.station.advance(self.now))
        self.wall_ms += mono_ms - self.mono_ms
        self.mono_ms = mono_ms

    def run(
        self,
        seconds: float,
        values: dict[str, float] | Callable[[float], dict[str, float]] = QUIET,
        every_s: float = 1.0,
    ) -> None:
        start, steps = self.mono_ms, int(seconds / every_s)
        for step in range(steps):
            self.pass_to(start + int(step * every_s * 1000))
            now = values((self.mono_ms - start) / 1000) if callable(values) else values
            self.hear(now)
        self.pass_to(start + int(seconds * 1000))

    def record(self, record: str, **more: Any) -> list[Entry]:
        return self.keep(self.station.record({"record": record, "by": "early technician"} | more, self.now))

    def alarms(self, ident: str) -> list[str]:
        return [e.body["to"] for e in self.said if e.kind == "alarm" and e.body["id"] == ident]

    def condition(self, ident: str) -> dict[str, Any]:
        return next(c for c in self.station.verdict(self.now)["conditions"] if c["id"] == ident)

    def verdict(self) -> str:
        return str(self.station.verdict(self.now)["verdict"])

    def change_filters(self, **more: Any) -> list[Entry]:
        """Every stage is changed."""
        return self.record("filter_change", filters=[stage.id for stage in self.station.settings.filters], **more)

    def duties_done(self) -> None:
        """What people must have recorded before this station can be ready."""
        if self.station.settings.filters:
            self.change_filters(at="2026-03-02T17:30:00Z")
        self.record("daily_test", at="2026-03-15T07:10:00Z", passed=True)
        self.record("water_path_treatment", at="2026-03-15T08:00:00Z", contact_min=12)
        self.record("disinfectant_fill", at="2026-03-14T08:00:00Z")
        self.record("daily_test", passed=True)


def ready() -> Driver:
    """READY: water was drawn and all duties are done."""
    driver = Driver()
    driver.run(130, QUIET)
    driver.run(60, DRAWING)
    driver.run(300, QUIET, every_s=5)
    driver.duties_done()
    driver.run(5, QUIET)
    assert driver.verdict() == "ready"
    return driver


def kept(driver: Driver, record: str, **more: Any) -> dict[str, Any]:
    """The body that a record is kept with."""
    return dict(driver.record(record, **more)[0].body)
