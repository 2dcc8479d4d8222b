"""What the tests of the page share: a station that a test pictures as it likes, a line to it that can be cut, and the page's states."""

from __future__ import annotations

import math
import socket
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from edge.api.parts import MadeOfIt, People
from edge.api.server import ApiServer
from edge.clock import ToldClock
from edge.domain.entries import Entry, Stamp, rfc3339
from edge.domain.messages import as_json, say, text
from edge.domain.messages import name as named
from edge.domain.settings import DailyTest, Settings
from edge.domain.words.saying import Words
from edge.people.access import Access
from edge.people.sessions import AccessRules
from tests.api_fakes import ABOUT, START_MS, Fakes, alarm, cold_morning, condition, point, told, until
from tests.browser.driver import Browser
from tests.unit.stations import ASKING, QUIET, Driver

HOUR_MS = 3_600_000


class Relay:
    """A line between browser and station that can be cut the way networks are: nothing passes, and nobody is told."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.whole, self._sockets = threading.Event(), list[socket.socket]()
        self.whole.set()
        self._threads = list[threading.Thread]()
        self._start(self._accept)

    def _start(self, work: Callable[..., None], *args: socket.socket) -> None:
        self._threads.append(threading.Thread(target=work, args=args, daemon=True))
        self._threads[-1].start()

    def _accept(self) -> None:
        while True:
            try:
                one, _ = self._listener.accept()
            except OSError:
                return  # closed
            self._sockets.append(one)
            try:
                other = socket.create_connection(("127.0.0.1", self._port))
            except OSError:
                one.close()  # the station has gone
                continue
            self._sockets.append(other)
            for source, sink in ((one, other), (other, one)):
                self._start(self._pass_on, source, sink)

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while piece := source.recv(65536):
                self.whole.wait()
                sink.sendall(piece)
            sink.shutdown(socket.SHUT_WR)
        except OSError:
            pass  # one side has gone: so goes the other

    def close(self) -> None:
        self.whole.set()
        for each in [self._listener, *self._sockets]:
            try:
                each.shutdown(socket.SHUT_RDWR)  # wakes whoever waits on it
            except OSError:
                pass  # it has ended already
        for thread in self._threads:
            thread.join(5)
        for each in [self._listener, *self._sockets]:
            each.close()


class Station:
    """A server whose picture is renewed each second, as the judge does it."""

    def __init__(
        self, entries: int = 7, people: Path | People | None = None, room: Sequence[Mapping[str, Any]] | None = None
    ) -> None:
        """`people`: a folder with people who sign in, or the part that knows them; None: nobody is set up. `room`: its neighbours."""
        self.fakes = Fakes(entries)
        self.fakes.series.columns = a_years_columns
        self.clock, self.access = ToldClock(mono_ms=1_000_000), None
        if isinstance(people, Path):
            people = self.access = Access(people, self.clock, AccessRules(), lambda seq: None, lambda kind, body: None)
            self.access.look()
        fakes = self.fakes
        self.server = ApiServer(
            "127.0.0.1",
            0,
            fakes.judge,
            fakes.journal,
            fakes.series,
            ABOUT,
            fakes.status,
            people=people,
            room=None if room is None else lambda: room,
            made_of_it=MadeOfIt(report=lambda of, options: f"<!doctype html><title>{of} {options}</title>".encode()),
        )
        self.server.start()
        assert self.server.wait_ready(30)
        self.url = self.server.url
        self.frozen, self._end = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._renew, daemon=True)
        self._thread.start()

    def _renew(self) -> None:
        while not self._end.wait(0.5):
            if not self.frozen.is_set():
                self.fakes.judge.show()

    def stop(self) -> None:
        self.server.stop()
        self._end.set()
        self._thread.join(5)
        if self.access is not None:
            self.access.stop()


#: a site that measures every port, has check items, asks what follows a treatment, and reads some things by eye
SITE: Final = replace(
    ASKING,
    daily_test=DailyTest(100.0, 15.0, "weak ports", 1.0, ("Lid closes and seals", "Drain without kinks")),
)


#: places in the view Do, and what is there once it is shown
DOING: Final = (
    ("do", ".ask-go"), ("do/daily_test", ".watch-press"), ("do/water_path_treatment", ".treatment .main"),
    ("do/disinfectant_fill", ".send"), ("do/calibration?point=reservoir", ".value-button"), ("do/correction", ".send"),
    ("do/commissioning", ".comm-item"), ("do/commissioning?item=zero%3Asupply", ".commission .field"),
)  # fmt: skip


def doing(browser: Browser, station: Station) -> Iterator[str]:
    """Each of these places, one after the other, with all that can be opened open; what is yielded says which."""
    items = Driver(SITE).station.commissioning
    station.fakes.judge.show(settings=SITE, commissioning=items(station.fakes.judge.newest.now))
    for place, there in DOING:
        browser.js(f"location.hash = '#{place}'")
        until(lambda there=there: browser.js(f"!!document.querySelector('{there}')"), place)  # type: ignore[misc]
        browser.js("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        yield place


class LiveStation(Station):
    """The same over a station that judges, on a clock that is told: what the page records is judged as it is in life."""

    def __init__(self, people: Path | None = None, settings: Settings = SITE) -> None:
        self.driver, self._lock = Driver(settings), threading.Lock()
        self.driver.run(200, QUIET, every_s=5)
        super().__init__(0, people)
        self.fakes.judge.recorded = self._record
        self._show(self.driver.said)

    def _show(self, entries: Sequence[Entry]) -> None:
        for entry in entries:
            self.fakes.journal.add(entry.kind, dict(entry.body), entry.stamp)
        station, now = self.driver.station, self.driver.now
        self.fakes.judge.show(
            verdict=station.verdict(now), points=station.points(now), alarms=station.alarms(now), estimates=station.estimates(now),
            dates=station.dates, settings=station.settings, units=station.units, commissioning=station.commissioning(now),
        )  # fmt: skip

    def _record(self, body: dict[str, Any]) -> Future[Entry]:
        future: Future[Entry] = Future()
        with self._lock:
            entries = self.driver.keep(self.driver.station.record(body, self.driver.now))
            self._show(entries)
        future.set_result(next(entry for entry in entries if entry.kind == "record"))
        return future

    def lives(self, seconds: float) -> None:
        """So much of the station's time goes by."""
        with self._lock:
            before = len(self.driver.said)
            self.driver.run(seconds, QUIET, every_s=5)
            self._show(self.driver.said[before:])


def shows(browser: Browser, selector: str, words: str, timeout_s: float = 60.0) -> None:
    until(lambda: words in browser.text(selector), f"{selector} shows {words!r}", timeout_s)


def put_into(browser: Browser, station: Station, state: str) -> dict[str, Any]:
    """Show one of STATES, and wait until Now shows it; its verdict."""
    parts = STATES[state]
    note = f"{parts['verdict']['note']} ({state})"
    verdict: dict[str, Any] = {**parts["verdict"], "note": note, "note_msg": told(note)}  # the same in each language
    station.fakes.judge.show(**{**parts, "verdict": verdict})
    shows(browser, ".note", f"({state})")
    return verdict


# -- the page's states, as parts of a picture


def _at(minutes: float) -> str:
    return rfc3339(int(START_MS + minutes * 60_000))


def _estimates(**values: tuple[Any, Any, Any]) -> dict[str, Any]:
    """Of filters' lives and, by name, (value, low, high); those that are times are minutes from now."""
    found = {
        f"filter:{ident}:left": {"value": left, "low": low, "high": high, "unit": "d", "why": why}
        for ident, left, low, high, why in (
            ("coarse", 23.4, 17.2, 31.9, ""),
            ("fine", None, None, None, "too few steady draws since its change"),
        )
    }
    for name, value, low, high, unit, why in (
        ("needed_reservoir_temperature", 38.9, 37.3, 41.2, "Cel", "transfer loss by the rule"),
        ("basin_temperature", 35.6, 32.8, 37.5, "Cel", ""),
        ("supply_capacity", 10.51, 10.04, 11.0, "L/min", ""),
        ("fill_time", None, None, None, "s", "too few draws of one volume yet"),
    ):
        found[name] = {"value": value, "low": low, "high": high, "unit": unit, "why": why}
    for ident, drop in (("coarse", 24.4), ("fine", None)):
        of = f"filter:{ident}:drop"
        found[of] = {
            "value": drop,
            "low": drop,
            "high": drop,
            "unit": "kPa",
            "why": "" if drop else "no steady draw to judge it by",
        }
    for name, (value, low, high) in values.items():
        found[name] = {"value": _at(value), "low": _at(low), "high": _at(high), "unit": "time", "why": ""}
    return {of: {"at": rfc3339(START_MS), "of": of, **one} for of, one in found.items()}


def _verdict(
    display: str, verdict: str, phase: str, states: Mapping[str, tuple[str, str]], **more: Any
) -> dict[str, Any]:
    """The cold morning's verdict with others of its conditions: `states` by id; all else is met."""
    base = cold_morning()["verdict"]
    texts = {
        c["id"]: "as it should be" if c["state"] in ("unmet", "unknown") else c["text"] for c in base["conditions"]
    }
    texts |= {
        "no_hold": "no hold",
        "no_leak": "no leak seen",
        "outlet:machine": "live",
        "flow": "2.46 gal/min while drawing",
        "disinfectant": "10 days of its reuse life left",
        "sensors": "all are heard",
        "clock": "trusted",
    }
    met = [
        condition(ident, "by_eye" if ident == "water_path_treatment" else "met", text) for ident, text in texts.items()
    ]
    conditions = [condition(c["id"], *states[c["id"]]) if c["id"] in states else c for c in met]
    conditions += [condition(ident, *one) for ident, one in states.items() if ident not in texts]
    for one in conditions:
        if one["id"].startswith("filter:"):
            one |= {"value": 24.4, "limit": 55.158, "unit": "kPa"}
    waits = more.pop("waits", [])
    made = base | {
        "display": display,
        "verdict": verdict,
        "phase": phase,
        "conditions": conditions,
        "waits_for": [Words().text(one) for one in waits],
        "waits_for_msgs": [as_json(one) for one in waits],
    }
    return made | dict.fromkeys(("expected_at", "earliest", "latest")) | more


def _when(at: float, low: float, high: float) -> dict[str, str]:
    return {"expected_at": _at(at), "earliest": _at(low), "latest": _at(high)}


def _points(**changed: dict[str, Any]) -> dict[str, Any]:
    points = cold_morning()["points"]
    points["between"] = point("between", "between_filters_pressure", 389.2, "kPa", (56.45, "psi"))
    points["filtered"] = point("filtered", "filtered_pressure", 380.1, "kPa", (55.13, "psi"))
    points["leak"] = point("leak", "leak", 0.0, "1", ("dry", ""))
    points["reservoir"] = point(
        "reservoir",
        "reservoir_temperature",
        39.94,
        "Cel",
        (39.94, "degC"),
        calibrated=True,
        u=0.16,
        correction={"gain": 1.0021, "offset": -0.12, "at": _at(-90 * 1440), "due_at": _at(275 * 1440), "u_parts": {}},
    )
    for ident, more in changed.items():
        points[ident] |= more
    return points


COLD = ("unmet", "31.4 °C; 38.9 °C are needed in this room")
TEST = say("daily_test.ask")
WELL: dict[str, Any] = {
    "alarms": {"reservoir_cold": alarm("reservoir_cold"), "leak": alarm("leak")},
    "points": _points(),
    "estimates": _estimates(),
}
_OUTLET = say("outlet.tripped.ask", outlet=named("heater"))
_TRIP = {
    "verdict": _verdict(
        "not_ready",
        "not_ready",
        "idle",
        {
            "outlet:heater": ("unmet", "tripped"),
            "daily_test": ("unmet", "due: none was passed today"),
            "reservoir": ("met", "39.4 °C, 38.9 °C needed in this room"),
        },
        waits=[_OUTLET, TEST],
    ),
    "points": _points(
        **{"heater-outlet": {"value": 1.0, "shown": {"value": "tripped", "unit": ""}}, "reservoir": {"value": 39.4}}
    ),
    "alarms": {
        "outlet_tripped:heater": alarm(
            "outlet_tripped:heater",
            "unacknowledged",
            "high",
            point="heater-outlet",
            cause="the outlet has tripped",
            first_out=True,
            consequence="The reservoir cools; whoever touches a faulty appliance may be hurt",
            response=Words().text(_OUTLET),
            respond_within_s=300,
        ),
        "reservoir_cold": alarm(
            "reservoir_cold",
            "suppressed_by_design",
            active=True,
            point="reservoir",
            cause="38.6 °C, below 38.9 °C",
            consequence_of="outlet_tripped:heater",
            consequence="Contact in the basin would be below the label's minimum",
        ),
        "not_heating": alarm(
            "not_heating",
            "suppressed_by_design",
            active=True,
            cause="it falls by 0.9 K in a quarter of an hour",
            consequence_of="outlet_tripped:heater",
            consequence="It will be too cold before the first case",
        ),
        "duty_due:daily_test": alarm(
            "duty_due:daily_test",
            "acknowledged",
            acknowledged_by="M. Osei",
            acknowledged_at=_at(-4),
            cause="due: none was passed today",
            response="Do the daily test and record it",
            consequence="The station may not start until it is done",
        ),
        "pressure_low": alarm(
            "pressure_low",
            "returned_unacknowledged",
            cause="right again; before: 36.1 psi, below 40.0 psi",
            crossings=0,
        ),
        "silent:room": alarm(
            "silent:room",
            "shelved",
            "low",
            active=True,
            cause="no answer",
            aside_by="M. Osei",
            aside_why="probe is being moved",
            aside_until=_at(170),
        ),
        "static_high": alarm(
            "static_high", "latched_unacknowledged", latching=True, cause="81.2 psi, above 80.0 psi", active=False
        ),
    },
    "estimates": _estimates(reservoir_below_needed=(37, 31, 46)),
}
_MANY = [
    TEST,
    say("draw.ask"),
    say("hold.held.ask"),
    say("disinfectant.ask"),
    say("filter.no_change.ask", filter=named("coarse")),
    say("filter.no_change.ask", filter=named("fine")),
    say("draw.below.ask"),
    say("treatment.ask"),
    say("clock.untrusted.ask"),
    say("point.advice", point=named("room"), advice=text("check probe and plug")),
]
#: name -> parts of a picture (FakeJudge.show)
STATES: dict[str, dict[str, Any]] = {
    "ready": WELL | {"verdict": _verdict("ready", "ready", "idle", {})},
    "in_use": WELL
    | {
        "verdict": _verdict(
            "in_use", "not_ready", "in_use", {"free": ("unmet", "a cycle is running")}, **_when(24, 21, 29)
        )
    },
    "reheating": WELL
    | {
        "verdict": _verdict(
            "reheating",
            "not_ready",
            "reheating",
            {"reservoir": ("unmet", "38.1 °C; 38.9 °C are needed")},
            **_when(7, 6, 9),
        )
    },
    "at_rest": WELL
    | {
        "verdict": _verdict(
            "at_rest",
            "not_ready",
            "at_rest",
            {"daily_test": ("unmet", "due since 00:00"), "reservoir": COLD},
            waits=[TEST],
        )
    },
    "warming": WELL
    | {
        "verdict": _verdict("not_ready", "not_ready", "idle", {"reservoir": COLD}, **_when(112, 105, 128)),
        "points": _points(reservoir={"value": 31.44}),
        "estimates": _estimates(reservoir_ready=(112, 105, 128)),
    },
    "to_do": cold_morning() | {"estimates": _estimates()},
    "trip": _TRIP,
    "cant_tell": WELL
    | {
        "verdict": _verdict(
            "cant_tell",
            "unknown",
            "idle",
            {"reservoir": ("unknown", "the reservoir's temperature is not known: wire broken")},
            waits=[say("point.advice", point=named("reservoir"), advice=text("check probe and plug"))],
        ),
        "points": _points(
            reservoir={
                "value": None,
                "shown": None,
                "quality": "bad",
                "reason": "loop_open",
                "text": "wire broken",
                "advice": "Check probe and plug",
                "age_s": 95.0,
            }
        ),
    },
    "ten": WELL
    | {
        "verdict": _verdict(
            "not_ready",
            "not_ready",
            "idle",
            {
                "no_hold": ("unmet", "held by K. Lindqvist: awaits a sample's result"),
                "reservoir": COLD,
                "pressure": ("unmet", "36.1 psi while drawing, 40.0 psi needed"),
                "flow": ("unknown", "no steady draw of water yet to judge it by"),
                "filter:coarse": ("unknown", "no change of it on record"),
                "filter:fine": ("unknown", "no change of it on record"),
                "daily_test": ("unmet", "due: none was passed today"),
                "water_path_treatment": ("unmet", "the clean side was opened after the last one"),
                "disinfectant": ("unmet", "its reuse life ended yesterday"),
                "clock": ("unknown", "not trusted yet"),
            },
            waits=_MANY,
        )
    },
}


def ready_picture(fakes: Fakes) -> dict[str, Any]:
    """The verdict of the picture now, with all its conditions met."""
    verdict = dict(fakes.judge.newest.verdict) | dict.fromkeys(("expected_at", "earliest", "latest"))
    verdict |= {"verdict": "ready", "display": "ready", "waits_for": [], "waits_for_msgs": []}
    verdict["conditions"] = [condition(c["id"], "met", "") for c in verdict["conditions"]]
    return verdict


COLD_STATES = {"reservoir": "unmet", "daily_test": "unmet"}


def a_day(journal: Any) -> None:
    """Entries of two days for the record: verdicts, phases, draws, alarms, what people did."""
    day = START_MS - 50 * 60_000 - 24 * HOUR_MS  # 05:00 the day before

    def add(minutes: float, kind: str, **body: Any) -> None:
        at = int(day + minutes * 60_000)
        journal.add(kind, body, Stamp("boot-1", at - day, at, trusted=True))

    add(0, "started", version="0.1.0", after="power lost")
    add(0, "settings", digest="5f" * 32, document={
        "station": {"id": "scope-room-2", "site": "harbour-lane", "title": "Scope room 2, left bench", "timezone": "Europe/Dublin"},
        "reservoir": {"minimum": "35 degC", "maximum": "42 degC"}, "bus": [{"id": "bench", "kind": "serial-line", "port": "/dev/ttyUSB0"}],
        "filter": [{"id": "coarse", "rating": "1 um", "drop_limit": "8 psi"}, {"id": "fine", "rating": "0.2 um", "drop_limit": "8 psi"}],
        "point": [{"id": "reservoir", "role": "reservoir_temperature", "every": "2 s", "unit": "degC"}]})  # fmt: skip
    add(0.1, "verdict", **{"from": None, "to": "unknown", "conditions": {}, "why": ["sensors: no reading yet"]})
    add(
        1,
        "verdict",
        **{
            "from": "unknown",
            "to": "not_ready",
            "conditions": {},
            "why": ["Reservoir warm: 24.1 °C; 38.9 °C are needed", "Daily test: due"],
        },
    )
    add(1, "phase", **{"from": "off", "to": "idle"})
    add(61, "alarm", **_alarm_body("duty_due:daily_test", "normal", "unacknowledged", "due: none was passed today"))
    add(
        75,
        "record",
        record="daily_test",
        by="M. Osei",
        counts=True,
        channel_ports=[{"port": 1, "seconds": 11.8}, {"port": 2, "seconds": 12.1}],
    )
    add(76, "alarm", **_alarm_body("duty_due:daily_test", "unacknowledged", "normal", "right again"))
    add(118, "heat_up", from_c=24.1, to_c=39.0, room_c=17.4, start=rfc3339(day), duration_s=7020.0)
    add(120, "verdict", **{"from": "not_ready", "to": "ready", "conditions": {}, "why": []})
    for cycle in range(5):
        start = 150 + 95 * cycle
        add(start, "phase", **{"from": "idle", "to": "in_use"})
        add(
            start,
            "verdict",
            **{
                "from": "ready",
                "to": "not_ready",
                "conditions": {"free": "unmet", "reservoir": "met"},
                "why": ["Station free: water is being drawn"],
            },
        )
        add(
            start + 4,
            "draw",
            start=rfc3339(int(day + start * 60_000)),
            end=rfc3339(int(day + (start + 4) * 60_000)),
            duration_s=240.0,
            volume_l=37.3,
            flow_l_min=9.31,
            supply_kpa=297.4,
            drops_kpa={"coarse": 23.2 + 0.4 * cycle, "fine": 30.1 + 0.2 * cycle},
        )
        add(start + 28, "phase", **{"from": "in_use", "to": "reheating"})
        add(start + 41, "phase", **{"from": "reheating", "to": "idle"})
        add(start + 41, "verdict", **{"from": "not_ready", "to": "ready", "conditions": {}, "why": []})
    add(590, "record", record="note", by="K. Lindqvist", counts=True, text="New mat under the left bench")
    add(780, "phase", **{"from": "idle", "to": "at_rest"})
    add(
        781,
        "verdict",
        **{
            "from": "ready",
            "to": "not_ready",
            "conditions": {"daily_test": "unmet", "free": "met"},
            "why": ["Daily test: due"],
        },
    )
    add(1140, "filter_day", date="2026-03-15", filter="coarse", drop_kpa=23.8, draws=5, volume_l=186.5, total_l=9120.0)
    add(1470, "phase", **{"from": "at_rest", "to": "idle"})
    add(
        1471,
        "verdict",
        **{
            "from": "not_ready",
            "to": "not_ready",
            "conditions": {"reservoir": "unmet", "daily_test": "unmet"},
            "why": ["Reservoir warm: 29.0 °C; 38.9 °C are needed"],
        },
    )
    add(1480, "alarm", **_alarm_body("reservoir_cold", "normal", "unacknowledged", "31.4 °C, needed 38.9 °C"))


def _slow(at_ms: int) -> float:
    """A liquid that is warm by day and cold by night: what a reservoir shows, in Cel."""
    minute = (at_ms - START_MS + 350 * 60_000) / 60_000 % 1440  # of the day, UTC
    if minute > 1140 or minute < 273:
        return 24.0 + 15.6 * math.exp(-((minute - 1140) % 1440) / 300)
    return min(39.6 + 0.5 * math.sin(at_ms / 7e5), 26.5 + 0.0645 * (minute - 273))


def _drawing_ms(from_ms: int, to_ms: int) -> int:
    """For how long water is drawn within a stretch: five times a day, as in a_day()."""
    first = START_MS - 350 * 60_000 + (450 - 30 * 1440) * 60_000
    cycles = [first + (95 * cycle + 1440 * day) * 60_000 for day in range(32) for cycle in range(5)]
    if to_ms < cycles[0]:
        return (to_ms - from_ms) // 72
    return sum(max(0, min(to_ms, begin + 240_000) - max(from_ms, begin)) for begin in cycles)


def a_years_columns(point: str, from_ms: int, width_ms: int, n: int) -> dict[str, list[Any]]:
    """Readings of a station that runs: with draws, a spike, hours without power, and gauges that are unsure or bad for a while."""
    columns: dict[str, list[Any]] = {"min": [], "mean": [], "max": [], "worst": [], "reason": [], "covered": []}
    for at in range(n):
        at_ms = from_ms + at * width_ms
        ago = (START_MS - at_ms) / HOUR_MS
        share = _drawing_ms(at_ms, at_ms + width_ms) / width_ms
        age = (at_ms / HOUR_MS / 24 + 60) % 120 / 120  # of the filters
        noise = 1.5 * math.sin(at_ms / 4.1e6) + 0.2 * math.sin(at * 1.7)
        rest, fall = {
            "supply": (398.0 + noise, 100.0), "between": (396.0 + noise, 118.0 + 22 * age), "filtered": (395.0 + noise, 145.0 + 35 * age),
            "flow": (0.0, -9.3),
        }.get(point, (0.0, 0.0))  # fmt: skip
        low, high = sorted((rest, rest - fall)) if share else (rest, rest)
        mean = rest - fall * share
        if point == "reservoir":
            warmths = [_slow(at_ms + width_ms * part // 12) for part in range(12)]
            low, mean, high = min(warmths), sum(warmths) / 12 + 0.8 * math.sin(at_ms / 1.9e9), max(warmths)
            high += 7.0 if 300 <= ago % 2500 < 300 + width_ms / HOUR_MS else 0.0
        is_off = 30.0 < ago < 32.5 or 2000 < ago < 2260 or at_ms > START_MS
        is_bad = point == "between" and (ago < 1.2 or 60 < ago < 75 or 700 < ago < 790)
        gone = is_off or is_bad
        for name, value in (("min", low), ("mean", min(max(mean, low), high)), ("max", high)):
            columns[name].append(None if gone else value)
        unsure = point == "filtered" and (0.5 < ago < 2.2 or 120 < ago < 200)
        columns["worst"].append(None if is_off else "bad" if is_bad else "uncertain" if unsure else "good")
        columns["reason"].append("no_answer" if is_bad and not is_off else None)
        columns["covered"].append(0.0 if gone else 1.0)
    return columns


def _alarm_body(ident: str, before: str, after: str, cause: str) -> dict[str, Any]:
    return {"id": ident, "from": before, "to": after, "cause": cause, "priority": "medium", "present": after != "normal", "point": None,
            "value": None, "unit": None, "limit": None, "since": rfc3339(START_MS)}  # fmt: skip


#: what /health tells of a station's parts
HEALTH: dict[str, Any] = {
    "ok": True, "stuck": [], "store": "ok", "uptime_s": 93_600.0, "judge": {"ok": True}, "journal": {"bytes": 1_126_400, "trouble": None},
    "series": {"free_bytes": 7_544_921_292, "low": False, "trouble": None, "waiting": 0, "lost_readings": 0},
    "buses": {"bench": {"kind": "one-wire", "state": "ok", "why": "", "faults": 2, "remark": ""},
              "panel": {"kind": "serial-line", "state": "lost", "why": "the port is gone", "faults": 14, "remark": ""}},
    "mqtt": {"connected": True, "behind": 0, "last_error": None},
}  # fmt: skip
