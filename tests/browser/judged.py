"""A station that is really judged, pictured for the page: what it says is ids and values, so that any language can say it."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple, Protocol

from edge import config
from edge.domain.entries import Entry, Now, Stamp, wall_ms_of
from edge.domain.station.station import Station as Judge
from edge.replay.replay import Replay, read_records
from edge.replay.rows import Recording
from simulators.scenarios.record import write
from tests.browser.driver import Browser
from tests.browser.kit import HEALTH, Station
from tests.unit.stations import DRAWING, PSI, QUIET, Driver, ready

#: what /health tells, with no English in what it quotes
UNWELL: Final = HEALTH | {
    "buses": {"bench": {"kind": "one-wire", "state": "lost", "why": "EIO", "faults": 14, "remark": ""}},
    "telling": {"targets": {"BR-1": {"untold_since": "2026-03-16T05:00:00Z", "why": "EIO", "told_at": None}}},
    "mqtt": {"connected": False, "behind": 7, "last_error": "EIO"},
}


class Judged(Protocol):
    """A station that judges, the time there, and what it has said."""

    @property
    def station(self) -> Judge: ...
    @property
    def now(self) -> Now: ...
    @property
    def said(self) -> Sequence[Entry]: ...


class Played(NamedTuple):
    """A scenario, played as far as it was wished for."""

    station: Judge
    now: Now
    said: Sequence[Entry]


@cache
def morning(hours: float = 0.75) -> Played:
    """The demo's cold morning, by the code that judges live, so many hours after mains returned at 05:50."""
    with TemporaryDirectory() as scratch:
        folder = Path(scratch)
        write("cold-morning", folder, hours)
        plan, out = config.load(folder / "station.toml"), io.BytesIO()
        run = Replay(plan, read_records(folder / "records.jsonl"), out, "jsonl", 60_000, None, None)
        recording = Recording(folder / "readings.csv", {point.id: point for point in plan.settings.points})
        try:
            run.run(recording)
            run.flush()
        finally:
            recording.close()
    lines = [json.loads(line) for line in out.getvalue().splitlines()]
    *_, verdict, summary = lines
    said = [
        Entry(one["seq"], one["boot"], one["mono_ms"], wall_ms_of(one["at"]), one["trusted"], one["kind"], one["body"])
        for one in lines
        if one["type"] == "entry"
    ]
    return Played(run.station, Now(round(summary["span_s"] * 1000), wall_ms_of(verdict["at"]), True), said)


@cache
def troubled() -> Driver:
    """A tripped outlet, a weak supply, a silent probe, cold liquid, duties that wait: as much to say as there can be at one time."""
    driver = Driver()
    driver.run(30, QUIET)
    driver.run(60, DRAWING | {"supply": 20 * PSI})
    driver.record("daily_test", channel_ports=[{"port": 1, "seconds": 11.5}, {"port": 2, "seconds": 19.0}])
    driver.record("hold", why="K-17")
    driver.tell(room=None, heater_outlet=1.0)
    driver.run(200, {"reservoir": 31.4, "heater-outlet": 1.0, "supply": 55 * PSI, "flow": 0.0})
    driver.record("shelve", alarm="silent:room", minutes=90, why="K-18")
    driver.record("acknowledge", alarm="outlet_tripped:heater")
    driver.run(5, {"reservoir": 31.4, "heater-outlet": 1.0, "supply": 55 * PSI, "flow": 0.0})
    return driver


@cache
def well() -> Driver:
    """READY."""
    return ready()


def picture(station: Station, driver: Judged) -> None:
    """Show what a driver's station is, with all that it has said."""
    own, now = driver.station, driver.now
    station.fakes.journal.entries.clear()
    first = driver.said[0]
    told = [("settings", {"digest": "5f" * 32, "document": {"reservoir": {"minimum": "35 degC"}}}, first)]
    for kind, body, entry in (*told, *((entry.kind, dict(entry.body), entry) for entry in driver.said)):
        station.fakes.journal.add(kind, body, Stamp(entry.boot, entry.mono_ms, entry.wall_ms, entry.trusted))
    station.fakes.parts_state = lambda: UNWELL
    station.fakes.judge.show(
        verdict=own.verdict(now), points=own.points(now), alarms=own.alarms(now), estimates=own.estimates(now), dates=own.dates,
        units=own.units,
    )  # fmt: skip


def speak(browser: Browser, url: str, code: str) -> None:
    """Open the page anew in a language, chosen on this device before."""
    browser.js(f"localStorage.setItem('warmwell.lang', {code!r})")
    browser.go("about:blank")
    browser.go(url)
