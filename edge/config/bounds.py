"""Defaults and bounds of the station file, in one place, each with its reason.

All of them are common practice without a published source unless the row says otherwise. A bound is not advice: it is what no
such value can be, so that a slip of the pen or of the unit is caught; the maker's instructions and the label set the limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple


class Bound(NamedTuple):
    """What a setting can be: its dimension and the ends, both allowed."""

    dimension: str
    low: str
    high: str
    why: str


#: by key of the station file
BOUNDS: Final[Mapping[str, Bound]] = MappingProxyType(
    {
        "reservoir.volume": Bound("volume", "0.5 L", "200 L", "reservoirs under a bench hold some ten litres"),
        "reservoir.set_point": Bound(
            "temperature", "15 degC", "70 degC", "heated disinfectants are used warm, not hot"
        ),
        "reservoir.thermostat_band": Bound("temperature_difference", "0.05 K", "10 K", "a thermostat's switching band"),
        "reservoir.maximum": Bound("temperature", "20 degC", "90 degC", "above it the liquid steams"),
        "reservoir.warm_up_limit": Bound("duration", "5 min", "24 h", "warm-up can take up to 2 h"),
        "reservoir.contact": Bound("temperature", "5 degC", "70 degC", "labels name room to body temperature, or warm"),
        "reservoir.loss": Bound("temperature_difference", "0 K", "30 K", "the rule is 4 K"),
        "water": Bound("temperature", "0 degC", "40 degC", "cold or mixed water"),
        "room": Bound("temperature", "0 degC", "50 degC", "a room people work in"),
        "supply.low": Bound("pressure", "10 psi", "150 psi", "building supplies run at 40 to 60 psi"),
        "supply.high": Bound("pressure", "15 psi", "230 psi", "building supplies run at 40 to 60 psi"),
        "supply.flow": Bound("flow", "0.1 L/min", "100 L/min", "a bench connection gives some 2 to 3 gal/min"),
        "supply.draw": Bound("flow", "0.01 L/min", "20 L/min", "a draw begins well below the supply's flow"),
        "supply.steady_after": Bound("duration", "1 s", "10 min", "pressures settle within seconds"),
        "supply.stands_for": Bound("duration", "10 min", "31 days", "evidence of a day"),
        "supply.leak_volume": Bound("volume", "0.05 L", "1000 L", "litres in a night"),
        "supply.leak_within": Bound("duration", "1 min", "7 days", "a night"),
        "filter.rating": Bound("length_um", "0.01 um", "500 um", "from sediment to bacteria-retentive"),
        "filter.drop_limit": Bound("pressure_difference", "0.1 psi", "100 psi", "a clean stage loses 1 to 3 psi"),
        "filters.flow": Bound("flow", "0.1 L/min", "100 L/min", "the supply's flow"),
        "filters.temperature": Bound("temperature", "0.5 degC", "60 degC", "cold or mixed water"),
        "daily_test.volume": Bound("volume", "1 mL", "10 L", "100 mL at each channel port"),
        "daily_test.within": Bound("duration", "1 s", "10 min", "15 s at each channel port"),
        "daily_test.cylinder": Bound("volume", "0.01 mL", "100 mL", "a cylinder of 100 mL is good to 0.5 or 1 mL"),
        "water_path_treatment.contact": Bound("duration", "10 s", "24 h", "by the label"),
        "disinfectant.reuse_life": Bound("duration", "1 h", "366 days", "by the label; two weeks is common"),
        "disinfectant.opened_life": Bound("duration", "1 day", "730 days", "by the label; some weeks are common"),
        "not_fitted": Bound("duration", "1 min", "366 days", "how often somebody looks"),
        "duty.every": Bound("duration", "1 h", "3660 days", "site's own list"),
        "alarm.delay": Bound("duration", "0 s", "24 h", "delays of alarms"),
        "commissioning_item.duration": Bound("duration", "10 s", "1 h", "for how long the station watches a shut line"),
        "alarm.respond_within": Bound("duration", "1 min", "31 days", "how soon somebody has to respond"),
        "alarm.deadband.pressure": Bound(
            "pressure_difference", "0 psi", "10 psi", "wider, and the alarm hardly ever ends"
        ),
        "alarm.deadband.temperature": Bound("temperature_difference", "0 K", "10 K", "wider, and it hardly ever ends"),
        "alarm.deadband.flow": Bound("flow", "0 L/min", "20 L/min", "wider, and the alarm hardly ever ends"),
        "alarm.re_announce": Bound("duration", "10 s", "31 days", "how long an unanswered alarm waits"),
        "point.every": Bound("duration", "10 ms", "1 day", "what a board and its buses can keep"),
        "point.stale_after": Bound("duration", "50 ms", "31 days", "longer than a period"),
        "bus.time_limit": Bound("duration", "10 ms", "10 min", "how long one reading may take"),
        "bus.settle": Bound("duration", "0 s", "10 min", "what a sender needs after its port is opened"),
        "bus.silence": Bound("duration", "50 ms", "1 day", "how long a sender may say nothing"),
        "gpio.debounce": Bound("duration", "0 s", "1 s", "contacts bounce for milliseconds"),
        "supervised.ohm": Bound("resistance_ohm", "10 ohm", "1 Mohm", "end-of-line resistors are some kilohms"),
        "pulses.per": Bound("volume", "0.1 mL", "1000 L", "flow meters give 1 to 10 000 pulses a litre"),
        "pulses.maximum_flow": Bound("flow", "0.1 L/min", "1000 L/min", "the meter's data sheet"),
        "loop.burden": Bound("resistance_ohm", "1 ohm", "2 kohm", "a loop's sender drives some hundred ohm"),
        "rtd.lead": Bound("resistance_ohm", "0 ohm", "200 ohm", "both leads together; copper has some 0.1 ohm a metre"),
        "sensor.current": Bound("current_ma", "1 uA", "25 mA", "more would warm the element"),
        "sensor.reference": Bound("resistance_ohm", "1 ohm", "10 Mohm", "about as large as the element"),
        "sensor.supply": Bound("voltage_v", "0.5 V", "36 V", "what feeds a sensor"),
        "thermocouple.junction": Bound("temperature", "-40 degC", "125 degC", "where a board can be"),
        "ratiometric.volts": Bound("voltage_v", "0 V", "36 V", "0.5 to 4.5 V of 5 V are common"),
        "ntc.resistance": Bound("resistance_ohm", "1 ohm", "100 Mohm", "2 to 100 kohm at 25 degC are common"),
        "ntc.at": Bound("temperature", "-55 degC", "155 degC", "25 degC is common"),
        "loop.current": Bound("current_ma", "0 mA", "25 mA", "current loops carry 4 to 20 mA"),
        "mqtt.keep_alive": Bound("duration", "5 s", "18 h", "two octets of seconds: MQTT 5.0, 3.1.2.10 (from memory)"),
        "people.idle": Bound("duration", "1 min", "12 h", "who walks away is signed out before the next comes"),
        "people.longest": Bound("duration", "5 min", "31 days", "a shift; people sign in again each day"),
        "tell.summary_after": Bound("duration", "0 s", "24 h", "news of one cause come together"),
        "tell.longest_pause": Bound("duration", "15 s", "15 min", "whoever is there again hears within it"),
        "target.longest_wait": Bound("duration", "1 min", "7 days", "a night, a week-end"),
        "keep.age": Bound("duration", "1 h", "36600 days", "retention by age"),
        "backup.every": Bound("duration", "1 h", "31 days", "what a broken disk may take"),
        "backup.overdue_after": Bound("duration", "2 h", "92 days", "a week-end, a holiday"),
        "reports.keep": Bound("duration", "7 days", "36600 days", "days that were missed are told up to a week later"),
        "keep.size": Bound("size_bytes", "1 MB", "100 TB", "retention by size"),
    }
)


#: what an alarm's own limit can be, by the row above for the setting that it stands for
ALARM_LIMITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "reservoir_cold": "reservoir.set_point",
        "reservoir_hot": "reservoir.maximum",
        "pressure_low": "supply.low",
        "pressure_high": "supply.high",
        "static_high": "supply.high",
        "flow_low": "supply.flow",
        "flow_high": "supply.flow",
    }
)

#: a loop's readings may go beyond its span by this share before they are impossible (its own bands are judged before)
LOOP_MARGIN: Final = 0.05
#: a contact without `every`: a tripped outlet is told within a second
CONTACT_EVERY_MS: Final = 250
#: a point is stale after this many periods, but never sooner than STALE_FLOOR_MS: one lost reading is no alarm
STALE_PERIODS: Final = 5
#: where people read it by eye, one round may be missed
STALE_ROUNDS: Final = 2
STALE_FLOOR_MS: Final = 10_000

#: shortest period of one point, by kind of bus, where no formula of edge/config/checks.py says more [ms]
LEAST_EVERY_MS: Final[Mapping[str, int]] = MappingProxyType(
    {
        "simulated": 10,
        "replay": 10,
        "serial-line": 20,
        "onewire": 750,
        "modbus-rtu": 20,
        "gpio": 10,
        "iio": 20,
        "entered": 60_000,
    }
)
#: one conversion of a 12-bit digital thermometer takes 750 ms, measured with the kernel's driver; probes are read in turn
ONEWIRE_READ_MS: Final = 770
#: a unit on a serial bus answers within some 20 ms (common practice, no published source)
MODBUS_TURNAROUND_MS: Final = 20
#: characters of a short line of text from a transmitter ("P1=+52.4 psi" and its line end)
SHORT_LINE_CHARACTERS: Final = 12
#: pulses that a line of the board can count without losing edges: its queue holds 16 by default (the kernel's own, measured)
MOST_PULSES_HZ: Final = 2000
