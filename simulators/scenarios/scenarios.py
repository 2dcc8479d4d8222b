"""What can happen at the invented Harbour Lane Day Clinic, scope room 2: the physics of the day and what its people do.

The demo's station. Eleven litres; the room is at 18.9 Cel early and 21.5 Cel in the afternoon. By the rule of transfer loss
(f = 4/19) a label minimum of 35 Cel in the basin asks for (35 - f room) / (1 - f) in the reservoir: 39.29 Cel at 18.9 Cel, 38.6 Cel at
21.5 Cel. So this site runs its thermostat at 40 Cel (band 0.5 K), within what its label allows in the basin: the thermostat's
trough of 39.5 Cel lies above what is needed all day, and a station that is warm stays ready while its thermostat works. With
155 W and about 2.4 W/K of losses, 24 to 39 Cel takes about 97 minutes.

Nobody here is real: people are named by what they do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from simulators.physics.events import (
    HOUR,
    MINUTE,
    Day,
    Draw,
    Event,
    Leak,
    LineFault,
    Sag,
    SensorFault,
    TopUp,
    Trip,
    cycle,
)
from simulators.physics.water import Stage

SITE: Final = "harbour-lane"
STATION: Final = "scope-room-2"
TITLE: Final = "Scope room 2, left bench"
ZONE: Final = ZoneInfo("Europe/Dublin")

EARLY: Final = "early technician"
LATE: Final = "late technician"
BIOMED: Final = "biomed technician"

ROOM: Final = (
    (0.0, 19.6), (4.0, 18.9), (6.5, 18.9), (7.5, 19.6), (9.0, 20.5), (12.0, 21.2), (15.0, 21.5), (18.0, 21.0), (21.0, 20.2),
)  # fmt: skip
PSI: Final = 6.894757293168361  # kPa


class Act(NamedTuple):
    """What somebody does at `mono_ms` of the scenario. `kind`: "record", "acknowledge", "broker_down" or "broker_up"."""

    mono_ms: int
    kind: Literal["record", "acknowledge", "broker_down", "broker_up"]
    body: Mapping[str, Any]


@dataclass(frozen=True)
class Scenario:
    """One scenario. `hours`: how many simulated hours show it; `start`: local date and time of mono 0."""

    name: str
    title: str
    text: str
    start: datetime
    hours: float
    day: Day
    told: tuple[Act, ...] = field(default=())

    @property
    def start_wall_ms(self) -> int:
        """Wall time of mono 0, milliseconds since 1970."""
        return int(self.start.timestamp() * 1000)

    @property
    def acts(self) -> list[Act]:
        """What people do, in order: first the history that an empty journal lacks, told as late entries."""
        return [*_history(self.start), *sorted(self.told, key=lambda act: act.mono_ms)]


def _at(year: int, month: int, day: int, hour: int, minute: int) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=ZONE)


def _history(start: datetime) -> list[Act]:
    """What was done before the journal began: filters, the water path after them, the liquid. Told at mono 0.

    The change of filters is entered last of its day: entered first, it would owe a treatment until the next entry.
    """

    def told(days: int, hour: int, minute: int, record: str, by: str, **more: Any) -> Act:
        moment = (start - timedelta(days=days)).replace(hour=hour, minute=minute)
        while moment.weekday() > 4:  # the clinic is closed at the weekend
            moment -= timedelta(days=1)
        return Act(0, "record", {"record": record, "by": by, "at": rfc3339(int(moment.timestamp() * 1000)), **more})

    return [
        told(20, 16, 10, "filter_change", BIOMED, filters=["coarse", "fine"]),
        told(20, 16, 35, "daily_test", BIOMED, passed=True, channel_ports=_ports(11.4)),
        told(20, 17, 5, "water_path_treatment", BIOMED, contact_min=12, rinsed=True),
        told(3, 15, 30, "disinfectant_fill", LATE),
        told(3, 15, 40, "entered_reading", LATE, role="supply_temperature", value=12.5, unit="degC"),
    ]


def _ports(slowest_s: float) -> list[dict[str, float]]:
    """Six channel ports; the third is the slowest. Seconds for 100 mL."""
    return [{"port": port, "seconds": round(slowest_s - 0.3 * abs(port - 3), 1)} for port in range(1, 7)]


def _test(at_s: int, by: str = EARLY) -> Act:
    return Act(at_s * 1000, "record", {"record": "daily_test", "by": by, "passed": True, "channel_ports": _ports(11.8)})


def _answer(at_s: int, alarm: str, by: str = EARLY) -> Act:
    return Act(at_s * 1000, "acknowledge", {"record": "acknowledge", "by": by, "alarm": alarm})


def _since(start: datetime, hour: int, minute: int) -> int:
    """Seconds from the scenario's start to a local time of the same day."""
    return (hour - start.hour) * HOUR + (minute - start.minute) * MINUTE


def _warm_day(start: datetime, events: tuple[Event, ...], **more: Any) -> Day:
    """A day that begins with the reservoir warm and its thermostat at work."""
    start_s = start.hour * HOUR + start.minute * MINUTE
    return Day(start_s=start_s, liquid_c=39.8, room=ROOM, events=events, **more)


def _first_water(at_s: int) -> tuple[Event, ...]:
    """The first draws of a day: pressures, flow and filters show themselves."""
    return (Draw(at_s, at_s + 4 * MINUTE), Draw(at_s + 7 * MINUTE, at_s + 10 * MINUTE))


def _test_water(at_s: int) -> tuple[Event, ...]:
    """The daily test's own water: a fill, then some through the channel ports."""
    return (Draw(at_s, at_s + 2 * MINUTE), Draw(at_s + 4 * MINUTE, at_s + 6 * MINUTE, opening=0.85))


def _cold_morning() -> Scenario:
    start = _at(2026, 3, 16, 5, 50)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(6, 40)),
        *_test_water(at(6, 56)),
        Trip(at(11, 20), at(11, 50), "heater"),
        *cycle(at(13, 20), 9),
    )
    day = Day(
        start_s=start.hour * HOUR + start.minute * MINUTE, liquid_c=24.0, room=ROOM, events=events,
        coarse=Stage(drop_kpa=0.71 * 8 * PSI, doubles_l=6_000.0),
    )  # fmt: skip
    return Scenario(
        "cold-morning", "A cold morning",
        "Mains return at 05:50 after a night without: the reservoir is at 24 °C and heats. Water is drawn from 06:40 on, the daily "
        "test passes at 07:04, the reservoir is the last to be right, soon after 07:30. At 11:20 the heater's outlet trips; it is reset "
        "at 11:50. A cycle runs at 13:20.",
        start, 10.0, day,
        (
            _answer(at(6, 5), "reservoir_cold"), _answer(at(6, 6), "duty_due:daily_test"), _test(at(7, 4)),
            _answer(at(11, 24), "outlet_tripped:heater"), _answer(at(11, 55), "reservoir_cold"),
        ),
    )  # fmt: skip


def _outlet_trip() -> Scenario:
    start = _at(2026, 3, 17, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(7, 5)),
        *_test_water(at(7, 18)),
        Trip(at(8, 0), at(9, 10), "heater"),
        Trip(at(11, 30), at(11, 50), "machine"),
        *_test_water(at(11, 56)),
        *cycle(at(13, 30), 8),
    )
    return Scenario(
        "outlet-trip", "Two outlets trip",
        "A warm station loses its heater's outlet at 08:00 and cools below what the room needs; reset at 09:10. At 11:30 the machine's "
        "outlet trips; after the reset at 11:50 the machine was powered up, so the daily test is due again: passed at 12:04.",
        start, 8.0, _warm_day(start, events),
        (
            _test(at(7, 26)), _answer(at(8, 4), "outlet_tripped:heater"),
            _answer(at(11, 33), "outlet_tripped:machine", LATE), _test(at(12, 4), LATE),
        ),
    )  # fmt: skip


def _low_pressure() -> Scenario:
    start = _at(2026, 3, 18, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(7, 5)),
        *_test_water(at(7, 18)),
        *cycle(at(8, 0), 8),
        Sag(at(9, 15), at(11, 40), 322.0),
        *cycle(at(9, 30), 8),
        *cycle(at(12, 0), 8),
    )
    return Scenario(
        "low-pressure", "The building's water falls short",
        "From 09:15 to 11:40 the building gives 47 psi at rest; the cycle at 09:30 draws it below 40 psi. The cycle at 12:00 finds "
        "it right again.",
        start, 6.5, _warm_day(start, events),
        (_test(at(7, 26)), _answer(at(9, 32), "pressure_low")),
    )  # fmt: skip


def _loaded_filter() -> Scenario:
    start = _at(2026, 3, 19, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    starts = ((8, 0), (9, 30), (11, 0), (12, 30), (14, 0))
    events = (*_first_water(at(7, 5)), *_test_water(at(7, 18)), *(e for h, m in starts for e in cycle(at(h, m), 8)))
    day = _warm_day(start, events, coarse=Stage(drop_kpa=6.9 * PSI, doubles_l=1_600.0))
    return Scenario(
        "loaded-filter", "The first filter is full",
        "The 1 um stage begins the day at 6.9 psi of its 8 psi and takes more with each of five cycles; it passes its limit in the "
        "course of the day.",
        start, 8.5, day, (_test(at(7, 26)),),
    )  # fmt: skip


def _probe_fault() -> Scenario:
    start = _at(2026, 3, 20, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(7, 5)),
        *_test_water(at(7, 18)),
        SensorFault(at(8, 0), at(8, 20), "reservoir", "crc", share=0.1),
        SensorFault(at(8, 30), at(9, 15), "reservoir", "power_on_value"),
        SensorFault(at(9, 30), at(10, 15), "reservoir", "absent"),
        LineFault(at(10, 30), at(10, 34), "garbled"),
        LineFault(at(10, 45), at(11, 15), "unplugged"),
        SensorFault(at(11, 30), at(16, 0), "reservoir", "frozen"),
    )
    return Scenario(
        "probe-fault", "The reservoir's probe can't be believed",
        "A few failed check sums from 08:00; from 08:30 the power-on value; from 09:30 no answer; the pressures' line garbled at 10:30 and "
        "unplugged at 10:45; from 11:30 to 16:00 a number that never moves. In between and after, all is right.",
        start, 9.5, _warm_day(start, events),
        (_test(at(7, 26)), _answer(at(9, 0), "silent:reservoir"), _answer(at(10, 0), "silent:reservoir")),
    )  # fmt: skip


def _broker_outage() -> Scenario:
    start = _at(2026, 3, 23, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(7, 5)),
        *_test_water(at(7, 18)),
        Trip(at(8, 10), at(8, 18), "heater"),
        Leak(at(8, 25), at(8, 32)),
        Trip(at(8, 40), at(8, 44), "heater"),
        *cycle(at(10, 0), 8),
    )
    return Scenario(
        "broker-outage", "Nobody can be told for an hour",
        "The broker is down from 08:00 to 09:00. Meanwhile the heater's outlet trips twice and the drip tray is wet; all of it is told, in "
        "order, once the broker is back.",
        start, 4.5, _warm_day(start, events),
        (
            _test(at(7, 26)), Act(at(8, 0) * 1000, "broker_down", {}), _answer(at(8, 13), "outlet_tripped:heater"),
            _answer(at(8, 27), "leak"), Act(at(9, 0) * 1000, "broker_up", {}),
        ),
    )  # fmt: skip


def _busy_day() -> Scenario:
    start = _at(2026, 3, 24, 7, 0)

    def at(hour: int, minute: int) -> int:
        return _since(start, hour, minute)

    events = (
        *_first_water(at(7, 5)),
        *_test_water(at(7, 18)),
        *cycle(at(8, 0), 8),
        *cycle(at(9, 15), 6, probe_in_air=False),
        Sag(at(10, 10), at(10, 14), 345.0),
        *cycle(at(10, 30), 8),
        TopUp(at(11, 35), 0.3, 19.0),
        *cycle(at(11, 50), 12),
        *cycle(at(13, 10), 25),
        *cycle(at(14, 50), 8, probe_in_air=False),
    )
    return Scenario(
        "busy-day", "Six cycles",
        "A warm station works through six cycles from 08:00 on: each takes the liquid away, draws water, brings it back cooler and "
        "heats it again. At 10:10 a neighbour's draw dips the pressure; at 11:35 a little liquid is topped up. No alarm is "
        "due.",
        start, 9.5, _warm_day(start, events), (_test(at(7, 26)),),
    )  # fmt: skip


SCENARIOS: Final[Mapping[str, Scenario]] = MappingProxyType(
    {
        scenario.name: scenario
        for scenario in (
            _cold_morning(), _outlet_trip(), _low_pressure(), _loaded_filter(), _probe_fault(), _broker_outage(), _busy_day(),
        )
    }
)  # fmt: skip


def scenario_named(name: str) -> Scenario:
    """The scenario of this name.

    Raises:
        UnusableInput: there is none.
    """
    found = SCENARIOS.get(name)
    if found is None:
        raise UnusableInput(
            f"there is no scenario {name!r}",
            where="scenario",
            expected="one of " + ", ".join(SCENARIOS),
            do="Choose one of these",
        )
    return found


def local(wall_ms: int) -> datetime:
    """Wall time in the clinic's zone."""
    return datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(ZONE)
