"""Transfer loss learned from a basin's probe: `python -m tests.bench.transfer [--stations 100] [--days 6] [--seed 1] [--show]`.

Each station is a plant that nobody tuned for: share f of 0.1 to 0.35, volume, heater, losses, a basin that cools and warms, one to four
cycles a day with contacts of 5 to 20 minutes, rinses that leave the basin warm or cold; a basin's probe with a lag of 1 to 60 s,
covered at once or after a minute and a half, off by up to 0.25 K, in steps of 0.01 to 0.25 K, read each 5 to 60 s; on some mornings
it hangs beside the basin, or the liquid is back after 45 s. One station in six has no room point. Nights are read each five minutes.

True f of a cycle is (liquid - basin)/(liquid - room) at the mixing, by the world's own quantities. Printed:

- transfers told, and of the first cycles those that count; the error of f in those that count, and how often it lies within
  1.645 u of it (u with the probe's own uncertainty, 0.3 K where nothing is stated);
- of what is judged with at the end: its f against that of the day's first cycles, and whether the 90 % interval of the next
  first cycle holds it;
- basin_temperature: coverage and width of its interval, each ten minutes of a warm reservoir;
- minutes at which the reservoir's condition is met though a cycle begun then would see less than the label's minimum by more than
  SLACK_K in its basin: in all, with a learned f (greater than the rule, but not enough yet), and with one below the rule (goal: none,
  as only there learning has made the station ready).
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Any, Final

from edge.domain.entries import Now, wall_ms_of
from edge.domain.heat.transfer_loss import RULE_SHARE, UNSTATED_U_K
from edge.domain.readings import KIND_OF, Role, Sample
from edge.domain.settings import Basin, Point, Reservoir, Settings
from edge.domain.station.station import Station
from simulators.physics.events import DAY_S, HOUR, MINUTE, Away, BasinProbeOut, Day, Draw, Event
from simulators.physics.reservoir import J_PER_L_K, Vessel
from simulators.physics.water import Mains
from simulators.physics.world import World

MONDAY_MS: Final = wall_ms_of("2026-03-16T05:00:00Z")
START_S: Final = 5 * HOUR
WORK_S: Final = 11 * HOUR  # after the day's start
NIGHT_EVERY_S: Final = 300
LABEL_MIN_C: Final = 35.0
SLACK_K: Final = 0.1
Z90: Final = 1.645


@dataclass
class Plant:
    """One random station; its days are alike, but for what is odd on one of them."""

    share: float
    days: list[Day]
    settings: Settings
    every_s: int
    step_k: float
    off_k: dict[str, float]
    aborted: set[int]
    out: set[int]


def plant(seed: int, days: int) -> Plant:
    """The station of this seed."""
    r = Random(f"transfer {seed}")
    share, litres = r.uniform(0.10, 0.35), r.uniform(7.0, 18.0)
    heel = litres * r.uniform(0.03, 0.1)
    low, noon = r.uniform(16.5, 21.0), r.uniform(20.0, 24.0)
    needed = (LABEL_MIN_C - share * low) / (1.0 - share)
    band, set_point = r.uniform(0.3, 0.8), min(max(needed + r.uniform(-0.3, 2.5), 37.0), 46.0)
    vessel = Vessel(
        litres=litres, heel_l=heel, heater_w=litres * r.uniform(14.0, 24.0), set_point_c=set_point, hysteresis_k=band - 0.1,
        wall_j_per_k=r.uniform(1_500.0, 6_000.0), probe_lag_s=r.uniform(4.0, 45.0), probe_lag_air_s=r.uniform(60.0, 250.0),
        basin_j_per_k=share / (1.0 - share) * (litres - heel) * J_PER_L_K, basin_loss=r.uniform(0.5, 6.0),
        basin_to_room_s=r.uniform(900.0, 3_000.0), basin_to_rinse_s=r.uniform(300.0, 1_500.0),
        basin_probe_lag_s=r.choice((1.0, 5.0, 10.0, 20.0, 40.0, 60.0)), basin_fill_s=r.choice((0.0, 20.0, 60.0, 90.0)),
    )  # fmt: skip
    room = ((0.0, low + 1.0), (5.0, low), (7.0, low), (9.0, noon - 0.8), (13.0, noon), (18.0, noon - 0.4))
    starts, in_air, rinsed = _starts(r), r.random() < 0.5, r.random() < 0.6
    made: list[Day] = []
    aborted, out = set(), set()
    for n in range(days):
        events, odd = _events(r, starts, in_air, rinsed, n)
        (aborted if odd == "aborted" else out if odd == "out" else set()).add(n)
        mains = Mains(water_c=r.uniform(6.0, 18.0))
        made.append(Day(start_s=START_S, liquid_c=low + 4.0, room=room, events=events, vessel=vessel, mains=mains))
    every_s = r.choice((5, 5, 10, 10, 15, 30, 60))
    plan = Reservoir(
        round(set_point, 2), round(band, 2), LABEL_MIN_C, RULE_SHARE, False, 3 * HOUR * 1000, volume_l=litres, coldest_room_c=low - 0.3
    )  # fmt: skip
    off_k = {"basin": r.uniform(-0.25, 0.25), "reservoir": r.uniform(-0.1, 0.1), "room": r.uniform(-0.2, 0.2)}
    step_k = r.choice((0.01, 0.0625, 0.0625, 0.1, 0.125, 0.25))
    return Plant(share, made, _settings(plan, r.random() < 0.84, every_s), every_s, step_k, off_k, aborted, out)


def _starts(r: Random) -> list[int]:
    """Seconds after a day's start at which its cycles begin."""
    starts = [r.randint(3 * HOUR, 4 * HOUR)]
    while len(starts) < r.randint(1, 4) and starts[-1] < 7 * HOUR:
        starts.append(starts[-1] + r.randint(90, 150) * MINUTE)
    return starts


def _events(r: Random, starts: Sequence[int], in_air: bool, rinsed: bool, day: int) -> tuple[tuple[Event, ...], str]:
    odd = r.choice(("", "", "", "", "", "", "aborted", "out")) if day else ""
    events: list[Event] = []
    for n, start in enumerate(starts):
        at_s = start + r.randint(-10, 10) * MINUTE
        minutes = 0.75 if odd == "aborted" and n == 0 else r.choice((5, 6, 8, 10, 12, 20))
        away_s = at_s + 240
        back_s = away_s + int(minutes * MINUTE)
        if rinsed:
            events.append(Draw(at_s, at_s + 120))
        events += [Away(away_s, back_s, in_air), Draw(back_s + 60, back_s + 200), Draw(back_s + 330, back_s + 450)]
        if odd == "out" and n == 0:
            events.append(BasinProbeOut(at_s - 600, back_s + 600))
    return tuple(events), odd


def _settings(plan: Reservoir, has_room: bool, every_s: int) -> Settings:
    def point(ident: str, role: Role, low: float, high: float) -> Point:
        return Point(ident, role, KIND_OF[role], every_s * 1000, 900_000, low, high, bus="bench")

    points = [
        point("reservoir", Role.RESERVOIR_TEMPERATURE, -10.0, 90.0),
        point("basin", Role.BASIN_TEMPERATURE, -5.0, 90.0),
    ]
    if has_room:
        points.append(point("room", Role.ROOM_TEMPERATURE, -10.0, 60.0))
    return Settings(
        site="harbour-lane", id="scope-room-2", title="Bench", timezone="Europe/Dublin", points=tuple(points), buses=("bench",),
        basins=(Basin("basin", 6),), reservoir=plan,
    )  # fmt: skip


@dataclass
class Result:
    """Figures of one station or of many."""

    stations: int = 0
    cycles: int = 0
    told: int = 0
    mornings: int = 0
    first: int = 0
    wrongly_first: int = 0
    odd_counted: int = 0
    errors: list[float] = field(default_factory=list)
    within: list[bool] = field(default_factory=list)
    ends: list[float] = field(default_factory=list)
    end_within: list[bool] = field(default_factory=list)
    learned: int = 0
    covered: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    met: int = 0
    below: int = 0
    below_learned: int = 0
    below_by_learning: int = 0
    deepest_k: float = 0.0

    def add(self, other: Result) -> None:
        """Take the figures of another station."""
        for name, value in vars(other).items():
            mine = getattr(self, name)
            if name == "deepest_k":
                self.deepest_k = max(mine, value)
            else:
                setattr(self, name, mine + value)


class Run:
    """One station, through world and station; each day is a world of its own that begins after a cold night."""

    def __init__(self, seed: int, days: int) -> None:
        self.seed, self.plant = seed, plant(seed, days)
        self.station = Station(self.plant.settings, "bench")
        self.result = Result(stations=1)
        self.truths: list[tuple[int, float, int, int]] = []  # wall ms, f, day, cycle of the day
        self.transfers: list[dict[str, Any]] = []
        self.has_room = any(p.id == "room" for p in self.plant.settings.points)

    def run(self) -> Result:
        """All days, then the figures."""
        for n, day in enumerate(self.plant.days):
            self._day(n, World.of_day(day, self.seed * 100 + n, MONDAY_MS + n * DAY_S * 1000))
        self._figures()
        return self.result

    def _day(self, n: int, world: World) -> None:
        was_away, cycle, at_s = False, 0, 0
        while at_s < DAY_S:
            world.step_to(at_s * 1000)
            is_away = world.reservoir.is_away
            if is_away and not was_away:
                # one reading's time ago it was whole: what mixed is known from heat contents
                tank, room_c = world.reservoir, world.room_c(at_s)
                share = (tank.liquid_c - tank.away_c) / (tank.liquid_c - room_c)
                self.truths.append((MONDAY_MS + (n * DAY_S + at_s) * 1000, share, n, cycle))
                cycle += 1
            was_away = is_away
            now = Now(1_000_000 + (n * DAY_S + at_s) * 1000, MONDAY_MS + (n * DAY_S + at_s) * 1000, True)
            while (due := self.station.next_deadline()) is not None and due < now.mono_ms:
                self._keep(self.station.advance(Now(due, now.wall_ms - (now.mono_ms - due), True)))
            self._keep(self.station.hear([self._sample(p.id, world, now) for p in self.plant.settings.points], now))
            if HOUR < at_s < WORK_S and at_s % 60 == 0:
                self._look(world, at_s, now)
            at_s += self.plant.every_s if HOUR <= at_s < WORK_S else NIGHT_EVERY_S

    def _sample(self, ident: str, world: World, now: Now) -> Sample:
        value = world.read(ident)
        assert isinstance(value, float)
        step = self.plant.step_k
        return Sample(ident, now.mono_ms, round(round((value + self.plant.off_k[ident]) / step) * step, 6))

    def _keep(self, drafts: Sequence[Any]) -> None:
        self.transfers += [d.body for d in drafts if d.kind == "transfer"]

    def _look(self, world: World, at_s: int, now: Now) -> None:
        warmth, tank = self.station.parts.warmth, world.reservoir
        assert warmth is not None
        if tank.is_away or tank.liquid_c < LABEL_MIN_C:
            return
        room_c = world.room_c(at_s)
        basin_c = tank.liquid_c - self.plant.share * (tank.liquid_c - room_c)
        if at_s % 600 == 0 and self.has_room:
            told = self.station.estimates(now)["basin_temperature"]
            if told["value"] is not None:
                self.result.covered.append(told["low"] <= basin_c <= told["high"])
                self.result.widths.append(told["high"] - told["low"])
        if warmth.is_warm:
            self.result.met += 1
            if basin_c < LABEL_MIN_C - SLACK_K:
                self.result.below += 1
                if warmth.share.origin.id in ("transfer_loss.by_cycle", "transfer_loss.by_cycles"):
                    self.result.below_learned += 1
                    self.result.below_by_learning += warmth.share.needed < RULE_SHARE
                    self.result.deepest_k = max(self.result.deepest_k, LABEL_MIN_C - basin_c)

    def _figures(self) -> None:
        found, odd = self.result, self.plant.aborted | self.plant.out
        found.cycles, found.told = len(self.truths), len(self.transfers)
        found.mornings = len(self.plant.days)
        for body in self.transfers:
            at_ms = wall_ms_of(body["at"])
            _, share, day, cycle = min(self.truths, key=lambda t: abs(t[0] - at_ms))
            if not body["counts"]:
                continue
            if day in odd and cycle == 0:
                found.odd_counted += 1
                continue
            found.first += body["first"]
            found.wrongly_first += body["first"] and cycle > 0
            found.errors.append(body["share"] - share)
            liquid_c = body["liquid_c"]
            u = (body["u"] ** 2 + (UNSTATED_U_K / (liquid_c - body["cold_c"])) ** 2) ** 0.5
            found.within.append(abs(body["share"] - share) <= Z90 * u)
        firsts = [share for _, share, _, cycle in self.truths if cycle == 0]
        warmth = self.station.parts.warmth
        assert warmth is not None
        if warmth.share.cycles >= 3:
            found.learned = 1
            true = statistics.median(firsts)
            found.ends.append(warmth.share.best - true)
            found.end_within.append(warmth.share.low <= true <= warmth.share.high)

    def words(self) -> str:
        """One line about this station."""
        share = self.station.parts.warmth.share if self.station.parts.warmth is not None else None
        why = [b["why"] for b in self.transfers if not b["counts"]]
        first = [s for _, s, _, c in self.truths if c == 0]
        return (
            f"{self.seed}: f {self.plant.share:.3f}, first cycles {statistics.median(first):.3f}; {share}; lag "
            f"{self.plant.days[0].vessel.basin_probe_lag_s}, each {self.plant.every_s} s, step {self.plant.step_k}; {why}"
        )


def share_text(values: Sequence[bool]) -> str:
    """A share of yes, in per cent."""
    return f"{100.0 * sum(values) / len(values):.1f} %" if values else "none"


def report(r: Result, seconds: float) -> bool:
    """Print the figures; True where the goal is met."""
    sizes = sorted(abs(e) for e in r.errors)
    ends = sorted(abs(e) for e in r.ends)
    print(f"{r.stations} stations, {r.cycles} cycles, {seconds:.0f} s of work")
    print(
        f"transfers told {r.told}; first cycles that count {r.first} of {r.mornings} mornings, {r.wrongly_first} that were none; "
        f"{r.odd_counted} odd ones counted"
    )
    if sizes:
        print(
            f"f of a cycle: error median {statistics.median(sizes):.4f}, 90 % {sizes[int(0.9 * (len(sizes) - 1))]:.4f}, most "
            f"{sizes[-1]:.4f}, mean {statistics.mean(r.errors):+.4f}; within 1.645 u {share_text(r.within)}"
        )
    if ends:
        print(
            f"f at the end: learned at {r.learned}; error median {statistics.median(ends):.4f}, "
            f"90 % {ends[int(0.9 * (len(ends) - 1))]:.4f}; "
            f"within its 90 % interval {share_text(r.end_within)}"
        )
    if r.covered:
        print(
            f"basin_temperature: {share_text(r.covered)} within its 90 % interval, mean width {statistics.mean(r.widths):.2f} K"
        )
    print(
        f"reservoir condition met for {r.met} minutes, though the basin would see less than the label's minimum: {r.below}; "
        f"with a learned f {r.below_learned} (deepest {r.deepest_k:.2f} K), with one below the rule {r.below_by_learning}"
    )
    return r.below_by_learning == 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code 1 where the goal is missed."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.transfer", description="Transfer loss learned from a probe."
    )
    parser.add_argument("--stations", type=int, default=100)
    parser.add_argument("--days", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1, help="of the first station")
    parser.add_argument("--show", action="store_true", help="a line for each station")
    given = parser.parse_args(arguments)
    began, found = time.process_time(), Result()
    for seed in range(given.seed, given.seed + given.stations):
        run = Run(seed, given.days)
        found.add(run.run())
        if given.show:
            print(run.words())
    return 0 if report(found, time.process_time() - began) else 1


if __name__ == "__main__":
    sys.exit(main())
