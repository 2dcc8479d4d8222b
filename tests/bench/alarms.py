"""The alarms of a simulated month with faults, by the figures of ISA-18.2: `python -m tests.bench.alarms [--days 30] [--seed 1] [--list]`.

The demo's station on days of its own: three to six cycles on each working day, draws between, and on each day some of what happens in
such rooms: an outlet trips, a heater gives less or nothing, the building's water falls short, a lid stands open, cold liquid is poured in,
water lies in the tray, a sensor is disturbed, absent or frozen, the serial line is garbled or unplugged, a transmitter is noisier than it
was. How often each happens is invented, and more than any room should see.

People do the daily test at 07:15, change the liquid every 13 days, answer an alarm within 3 to 15 minutes between 07:00 and 18:00 and
else in the morning, and record what they were asked for. The figures are those of `warmwell alarms --performance`; the targets those of
tests/handbook/k.alarms.jsonl (from memory, and public summaries). Exit code 1 where the average, the most in ten minutes or the most at one
time is beyond its target.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from random import Random
from typing import Any, Final

from edge.cli.alarms import as_text
from edge.config import loads
from edge.domain.alarms.performance import AVERAGE_PER_PERIOD, FLOOD, MOST_STANDING, Performance, performance
from edge.domain.entries import Draft, Entry, Now, rfc3339
from edge.domain.readings import Sample
from edge.domain.station.station import Station
from simulators.physics import events as happen
from simulators.physics.events import HOUR, MINUTE, Day, Event, cycle
from simulators.physics.world import Missing, World
from simulators.scenarios.scenarios import ROOM, scenario_named
from simulators.scenarios.station_file import station_toml

EVERY_S: Final = 10
DAY_S: Final = 86_400
DAY_MS: Final = DAY_S * 1000
START_MS: Final = 1_772_409_600_000  # Monday 2026-03-02T00:00:00Z; Dublin's winter time is UTC
CAUSES: Final = ("outlet", "water", "heater", "lid", "poured", "tray", "disturbed", "absent", "frozen", "line", "noisy")
#: how likely each is on one day
CHANCES: Final = dict(zip(CAUSES, (0.10, 0.15, 0.05, 0.10, 0.20, 0.03, 0.30, 0.10, 0.03, 0.06, 0.10), strict=True))
TEST_S: Final = 7 * HOUR + 15 * MINUTE


def drawn(chance: Random, weekday: int, liquid_c: float) -> Day:
    """One day, counted from midnight."""
    events: list[Event] = []
    if weekday < 5:
        at_s = 6 * HOUR + 50 * MINUTE
        events += [happen.Draw(at_s, at_s + 4 * MINUTE), happen.Draw(TEST_S, TEST_S + 2 * MINUTE)]
        at_s = 8 * HOUR
        for _ in range(chance.randint(3, 6)):
            events += cycle(at_s, chance.randint(6, 12))
            at_s += chance.randint(75, 110) * MINUTE
    for cause in CAUSES:
        if chance.random() < CHANCES[cause]:
            events += _happening(chance, cause)
    return Day(start_s=0, liquid_c=liquid_c, room=ROOM, events=tuple(events))


def _happening(chance: Random, cause: str) -> Iterator[Event]:
    at_s = chance.randint(1, 21) * HOUR + chance.randint(0, 59) * MINUTE
    until_s = at_s + chance.randint(5, 60) * MINUTE
    point = chance.choice(("reservoir", "room", "supply", "between", "filtered", "flow"))
    if cause == "outlet":
        yield happen.Trip(at_s, until_s, chance.choice(("heater", "machine")))
    elif cause == "water":
        yield happen.Sag(at_s, until_s, chance.uniform(230.0, 300.0))
    elif cause == "heater":
        yield happen.HeaterWeak(at_s, until_s + HOUR, chance.choice((0.0, 0.5)))
    elif cause == "lid":
        yield happen.LidOpen(at_s, until_s, chance.uniform(2.0, 5.0))
    elif cause == "poured":
        yield happen.TopUp(at_s, chance.uniform(0.3, 1.5), 15.0)
    elif cause == "tray":
        yield happen.Leak(at_s, until_s)
    elif cause == "disturbed":
        yield happen.SensorFault(at_s, until_s + 2 * HOUR, point, "crc", 0.2)
    elif cause == "absent":
        yield happen.SensorFault(at_s, until_s, point, "absent")
    elif cause == "frozen":
        yield happen.SensorFault(at_s, until_s + 2 * HOUR, point, "frozen")
    elif cause == "line":
        yield happen.LineFault(at_s, until_s, chance.choice(("garbled", "unplugged")))
    else:
        yield happen.Noisy(at_s, until_s + 2 * HOUR, chance.choice(("supply", "between", "filtered")), 5.0)


class Month:
    """One station, its people, and what they said."""

    def __init__(self, days: int, seed: int) -> None:
        self.days, self._chance = days, Random(seed)
        plan = loads(station_toml("busy-day", "keep", sampled_ms=EVERY_S * 1000), Path("station.toml"))
        self.points = [point.id for point in plan.settings.points if not point.by_people]
        self.station, self.entries = Station(plan.settings, "month"), list[Entry]()
        self._answers: dict[str, int] = {}  # alarm -> when somebody answers

    def run(self) -> Performance:
        """The whole month, and its figures."""
        liquid_c = 39.8
        for day in range(self.days):
            liquid_c = self._live(day, liquid_c)
        return performance(self.entries, START_MS, START_MS + self.days * DAY_MS)

    def _live(self, day: int, liquid_c: float) -> float:
        weekday, begun_ms = day % 7, day * DAY_MS
        world = World.of_day(
            drawn(self._chance, weekday, liquid_c), seed=1000 * day + 1, start_wall_ms=START_MS + begun_ms
        )
        if day == 0:
            history = [act.body for act in scenario_named("busy-day").acts if act.mono_ms == 0 and act.kind == "record"]
            for n, body in enumerate(history):  # in their order, an hour apart
                self._record(Now(0, START_MS, True), {**body, "at": rfc3339(START_MS - 2 * DAY_MS + n * 3_600_000)})
        for at_s in range(0, DAY_S, EVERY_S):
            world.step_to(at_s * 1000)
            mono_ms = begun_ms + at_s * 1000
            now = Now(mono_ms, START_MS + mono_ms, True)
            self._pass_to(mono_ms)
            self._keep(self.station.hear([self._sample(world, point, mono_ms) for point in self.points], now))
            self._do(day, weekday, at_s, now)
        return world.true("reservoir")

    @staticmethod
    def _sample(world: World, point: str, mono_ms: int) -> Sample:
        read = world.read(point)
        return (
            Sample(point, mono_ms, None, read.reason or "no_answer")
            if isinstance(read, Missing)
            else Sample(point, mono_ms, read)
        )

    def _pass_to(self, mono_ms: int) -> None:
        while (due := self.station.next_deadline()) is not None and due < mono_ms:
            self._keep(self.station.advance(Now(due, START_MS + due, True)))

    def _do(self, day: int, weekday: int, at_s: int, now: Now) -> None:
        if at_s == TEST_S + 3 * MINUTE and weekday < 5:
            self._record(now, {"record": "daily_test", "by": "early technician", "passed": True})
        if at_s == 16 * HOUR and day % 13 == 12:
            self._record(now, {"record": "disinfectant_fill", "by": "late technician"})
        if at_s % MINUTE or not 7 * HOUR <= at_s < 18 * HOUR:
            return
        for alarm in [alarm for alarm, when_ms in self._answers.items() if when_ms <= now.mono_ms]:
            del self._answers[alarm]
            self._record(now, {"record": "acknowledge", "by": "early technician", "alarm": alarm})

    def _record(self, now: Now, body: dict[str, Any]) -> None:
        self._keep(self.station.record(body, now))

    def _keep(self, drafts: Sequence[Draft]) -> None:
        kept = [
            Entry(len(self.entries) + 1 + n, "month", at.mono_ms, at.wall_ms, at.trusted, kind, body)
            for n, (at, kind, body) in enumerate(drafts)
        ]
        self.station.kept(kept)
        self.entries += kept
        for entry in kept:
            if entry.kind == "alarm" and entry.body["to"] == "unacknowledged":
                self._answers[entry.body["id"]] = entry.mono_ms + self._chance.randint(3, 15) * MINUTE * 1000


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.alarms", description="Alarm performance of a month with faults."
    )
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="each announcement, too")
    given = parser.parse_args(arguments)
    month = Month(given.days, given.seed)
    found = month.run()
    print("\n".join(as_text(found)))
    if given.list:
        for entry in month.entries:
            if entry.kind == "alarm" and entry.body["to"] == "unacknowledged":
                print(rfc3339(entry.wall_ms), entry.body["priority"], entry.body["id"], "·", entry.body["cause"])
    held = (
        found.per_period <= AVERAGE_PER_PERIOD
        and found.most_in_period <= FLOOD
        and found.most_standing <= MOST_STANDING
    )
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
