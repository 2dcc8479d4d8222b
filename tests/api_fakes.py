"""A small judge, journal and series in the contract's shapes, and a way to ask the application without a network.

Nothing here decides anything about stations: a test says what the picture is.
"""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from edge.domain.entries import Entry, Now, Stamp, rfc3339
from edge.domain.errors import StoreFault
from edge.domain.messages import as_json, as_told, say
from edge.snapshot import Snapshot

START_MS = 1_773_640_200_000  # 2026-03-16T05:50:00Z, a Monday in winter time
ABOUT = {
    "site": "harbour-lane", "station": "scope-room-2", "title": "Scope room 2, left bench", "timezone": "Europe/Dublin",
    "version": "0.1.0", "speed": 1.0,
}  # fmt: skip


def point(
    ident: str, role: str, value: float | None, unit: str, shown: tuple[Any, str] | None, **more: Any
) -> dict[str, Any]:
    """A point's shape in edge/snapshot.py."""
    return {
        "id": ident, "role": role, "of": None, "value": value, "unit": unit, "quality": "good", "reason": None, "advice": "",
        "text": "", "at": rfc3339(START_MS), "age_s": 0.4, "stale_after_s": 10.0, "u": None,
        "shown": None if shown is None else {"value": shown[0], "unit": shown[1]},
    } | more  # fmt: skip


def alarm(ident: str, state: str = "normal", priority: str = "medium", **more: Any) -> dict[str, Any]:
    """An alarm's shape in edge/snapshot.py."""
    return {
        "id": ident, "state": state, "active": state in ("unacknowledged", "acknowledged"), "announced": state == "unacknowledged",
        "priority": priority, "since": None if state == "normal" else rfc3339(START_MS - 600_000), "point": None, "value": None,
        "unit": None, "limit": None, "cause": "", "consequence": "", "response": "", "respond_within_s": 900,
        "since_at_latest": False, "latching": False, "first_out": False, "crossings": 0, "again": 0, "escalated": False,
        "aside_by": None, "aside_why": None, "aside_until": None,
        "acknowledged_by": None, "acknowledged_at": None, "consequence_of": None, "seq": None, "at": None,
    } | more  # fmt: skip


def condition(ident: str, state: str, text: str, expected_at: str | None = None) -> dict[str, Any]:
    """A condition's shape in edge/snapshot.py."""
    since = rfc3339(START_MS - 60_000)
    return {
        "id": ident,
        "state": state,
        "text": text,
        "since": since,
        "expected_at": expected_at,
        "evidence": None,
        "msg": told(text),
        "value": None,
        "limit": None,
        "unit": None,
        "probability": None,
    }


def of_basin(basin: str, verdict: str, *waits_for: str) -> dict[str, Any]:
    """The verdict of one of several basins: BasinVerdict in edge/snapshot.py."""
    return {
        "basin": basin, "verdict": verdict, "display": verdict.replace("unknown", "cant_tell"), "expected_at": None, "earliest": None,
        "latest": None, "waits_for": list(waits_for), "waits_for_msgs": [told(one) for one in waits_for], "conditions": ["free"],
    }  # fmt: skip


def told(text: str) -> dict[str, Any]:
    """A message's shape in edge/domain/messages.py, of words from outside."""
    return as_json(as_told(text))


def cold_morning() -> dict[str, Any]:
    """The parts of a picture: a reservoir that warms up, a tripped outlet, a point that is silent."""
    ready_at = rfc3339(START_MS + 112 * 60_000)
    verdict = {
        "at": rfc3339(START_MS), "trusted": True, "site": "harbour-lane", "station": "scope-room-2", "verdict": "not_ready",
        "display": "not_ready", "phase": "idle", "expected_at": ready_at, "earliest": rfc3339(START_MS + 105 * 60_000),
        "latest": rfc3339(START_MS + 128 * 60_000), "waits_for": ["Do the daily test and record it"],
        "waits_for_msgs": [as_json(say("daily_test.ask"))], "note_msg": as_json(say("verdict.surroundings_only")),
        "conditions": [
            condition("free", "met", "idle"),
            condition("reservoir", "unmet", "31.4 °C; 38.9 °C are needed in this room", ready_at),
            condition("pressure", "met", "44.2 psi while drawing, yesterday 17:12"),
            condition("filter:coarse", "met", "2.1 psi of 8 psi; uncalibrated"),
            condition("filter:fine", "unknown", "no steady draw to judge it by"),
            condition("outlet:heater", "met", "ok"),
            condition("daily_test", "unmet", "due since 00:00"),
            condition("water_path_treatment", "by_eye", "recorded yesterday"),
        ],
        "note": "surroundings only: the maker's instructions decide the rest",
    }  # fmt: skip
    points = [
        point("reservoir", "reservoir_temperature", 31.4375, "Cel", (31.4375, "degC")),
        point("room", "room_temperature", 17.0, "Cel", (17.0, "degC"), age_s=6.2, stale_after_s=30.0),
        point("supply", "supply_pressure", 398.4, "kPa", (57.79, "psi")),
        point(
            "between", "between_filters_pressure", None, "kPa", None, quality="bad", reason="loop_open", age_s=412.0,
            text="current loop open or sender fault", advice="Check the loop's wiring and the transmitter",
        ),
        point("filtered", "filtered_pressure", 380.1, "kPa", (55.13, "psi"), quality="uncertain", reason="over_range",
              text="above the transmitter's range", advice="Check the transmitter's range and span"),
        point("flow", "supply_flow", 0.0, "L/min", (0.0, "gal/min")),
        point("heater-outlet", "outlet_protection", 0.0, "1", ("ok", ""), of="heater"),
    ]  # fmt: skip
    alarms = [
        alarm(
            "reservoir_cold", "unacknowledged", point="reservoir", value=31.4, unit="Cel", limit=38.9, seq=7,
            cause="31.4 °C, needed 38.9 °C", consequence="Contact in the basin would be below the label's minimum: no cycle may start",
            response="See that the heater is on and its outlet live; wait for the expected time, or warm the room",
        ),
        alarm("outlet_tripped:heater", priority="high"),
        alarm("silent:between", "acknowledged", cause="current loop open or sender fault", acknowledged_by="M. Osei",
              acknowledged_at=rfc3339(START_MS), consequence="What this point should tell is not known",
              response="Follow the point's advice"),
        alarm("filter_due:fine", priority="low"),
    ]  # fmt: skip
    estimates = {
        of: {"at": rfc3339(START_MS), "of": of, "value": value, "low": value, "high": value, "unit": unit, "why": why}
        for of, value, unit, why in (
            ("reservoir_ready", ready_at, "time", ""),
            ("basin_temperature", None, "Cel", "not known"),
        )
    }
    return {
        "verdict": verdict, "points": {p["id"]: p for p in points}, "alarms": {a["id"]: a for a in alarms}, "estimates": estimates,
    }  # fmt: skip


class FakeJournal:
    """Entries in memory. `fault` is raised by every read while it is set."""

    def __init__(self, entries: int = 0) -> None:
        self.changed = threading.Condition()
        self.entries: list[Entry] = []
        self.fault: Exception | None = None
        self.reads = 0
        for _ in range(entries):
            self.add("phase", {"from": "off", "to": "idle"})

    def add(self, kind: str, body: dict[str, Any], stamp: Stamp | None = None) -> Entry:
        with self.changed:
            seq = len(self.entries) + 1
            at = stamp or Stamp("boot-1", seq * 1000, START_MS + seq * 1000, trusted=True)
            entry = Entry(seq, at.boot, at.mono_ms, at.wall_ms, at.trusted, kind, body)
            self.entries.append(entry)
            self.changed.notify_all()
            return entry

    def read(self, after: int, limit: int) -> list[Entry]:
        self._check()
        self.reads += 1
        return self.entries[after : after + limit]

    def last_seq(self) -> int:
        self._check()
        return len(self.entries)

    def head(self) -> tuple[int, str]:
        return len(self.entries), "0" * 64

    def wait(self, after: int, timeout_s: float) -> bool:
        with self.changed:
            return self.changed.wait_for(lambda: len(self.entries) > after, timeout_s)

    def cursor(self, name: str) -> int | None:
        return None

    def move_cursor(self, name: str, seq: int) -> None:
        raise AssertionError("the API keeps no cursor")

    def _check(self) -> None:
        if self.fault is not None:
            raise self.fault


class FakeSeries:
    """Buckets that a test sets; by default two, the second empty. Remembers what it was asked."""

    def __init__(self) -> None:
        self.fault: Exception | None = None
        self.asked: list[tuple[str, int, int, int]] = []
        self.rows: Callable[[int, int, int], list[dict[str, Any]]] = _two_buckets
        self.columns: Callable[[str, int, int, int], dict[str, list[Any]]] = _half_there

    def buckets(self, point: str, from_wall_ms: int, to_wall_ms: int, n: int) -> list[dict[str, Any]]:
        self.asked.append((point, from_wall_ms, to_wall_ms, n))
        if self.fault is not None:
            raise self.fault
        return self.rows(from_wall_ms, to_wall_ms, n)

    def trend(self, points: Sequence[str], from_wall_ms: int, width_ms: int, n: int) -> dict[str, Any]:
        if self.fault is not None:
            raise self.fault
        return {
            "from_ms": from_wall_ms,
            "width_ms": width_ms,
            "n": n,
            "points": {p: self.columns(p, from_wall_ms, width_ms, n) for p in points},
        }


def _half_there(point: str, from_ms: int, width_ms: int, n: int) -> dict[str, list[Any]]:
    """Every other bucket has readings."""
    is_there = [at % 2 == 0 for at in range(n)]
    numbers = {
        key: [value if there else None for there in is_there]
        for key, value in (("min", 31.0), ("mean", 31.2), ("max", 31.4))
    }
    return numbers | {
        "worst": ["good" if there else None for there in is_there], "reason": [None] * n,
        "covered": [1.0 if there else 0.0 for there in is_there],
    }  # fmt: skip


def _two_buckets(from_ms: int, to_ms: int, n: int) -> list[dict[str, Any]]:
    middle = (from_ms + to_ms) // 2
    return [
        {
            "from": from_ms,
            "to": middle,
            "n": 5,
            "min": 31.0,
            "mean": 31.2,
            "max": 31.4,
            "worst": "good",
            "covered": 1.0,
        },
        {
            "from": middle,
            "to": to_ms,
            "n": 0,
            "min": None,
            "mean": float("nan"),
            "max": None,
            "worst": None,
            "covered": 0.0,
        },
    ][: max(1, n)]


class FakeJudge:
    """Shows the picture that it is given; records go into the journal at once, or as `recorded` says."""

    def __init__(self, journal: FakeJournal) -> None:
        self.journal = journal
        self.changed = threading.Condition()
        self.newest = picture(1, journal.last_seq())
        self.recorded: Callable[[dict[str, Any]], Future[Entry]] = self._keep
        self.bodies: list[dict[str, Any]] = []

    def show(self, **parts: Any) -> None:
        """A newer picture; what is not given stays."""
        with self.changed:
            old = self.newest
            given = {
                "verdict": old.verdict,
                "points": old.points,
                "alarms": old.alarms,
                "estimates": old.estimates,
                "dates": old.dates,
                "settings": old.settings,
                "units": old.units,
                "commissioning": old.commissioning,
            } | parts
            self.newest = Snapshot(old.version + 1, len(self.journal.entries), old.now, **given)
            self.changed.notify_all()

    def snapshot(self) -> Snapshot:
        return self.newest

    def wait_snapshot(self, version: int, timeout_s: float) -> Snapshot:
        with self.changed:
            self.changed.wait_for(lambda: self.newest.version > version, timeout_s)
            return self.newest

    def record(self, body: dict[str, Any]) -> Future[Entry]:
        self.bodies.append(body)
        return self.recorded(body)

    def _keep(self, body: dict[str, Any]) -> Future[Entry]:
        future: Future[Entry] = Future()
        entry = self.journal.add("record", {**body, "counts": True})
        if body.get("record") == "acknowledge" and body.get("alarm") in self.newest.alarms:
            alarms = deepcopy(dict(self.newest.alarms))
            alarms[body["alarm"]] |= {"state": "acknowledged", "acknowledged_by": body["by"]}
            self.show(alarms=alarms)
        future.set_result(entry)
        return future


def picture(version: int = 1, seq: int = 0) -> Snapshot:
    """The cold morning."""
    return Snapshot(version, seq, Now(1_000_000, START_MS, True), **cold_morning())


class Fakes:
    """All parts together."""

    def __init__(self, entries: int = 7) -> None:
        self.journal = FakeJournal(entries)
        self.series = FakeSeries()
        self.judge = FakeJudge(self.journal)
        self.parts_state: Callable[[], dict[str, Any]] = lambda: {"ok": True, "store": {"bytes_written": 4096}}

    def status(self) -> dict[str, Any]:
        return self.parts_state()

    def break_store(self) -> None:
        """From now on nothing can be read."""
        fault = StoreFault(
            "the disk refused a read", where="journal.db", expected="a readable file", do="Check the card"
        )
        self.journal.fault = self.series.fault = fault


@dataclass
class Answer:
    """What the application answered."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


async def ask(
    app: Any,
    method: str,
    target: str,
    body: bytes | Iterable[bytes] | None = None,
    headers: dict[str, str] | None = None,
    *,
    address: str = "127.0.0.1",
    scheme: str = "http",
) -> Answer:
    """One request to an ASGI application, in process. A body of several pieces is sent as a chunked one would arrive."""
    path, _, query = target.partition("?")
    sent = {"host": "127.0.0.1:8484"} | (headers or {})
    pieces = [] if body is None else [body] if isinstance(body, bytes) else list(body)
    if body is not None:
        sent |= {"content-length": str(len(body))} if isinstance(body, bytes) else {"transfer-encoding": "chunked"}
    scope = {
        "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1", "method": method,
        "scheme": scheme, "path": _unquoted(path), "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(k.lower().encode(), v.encode("latin-1")) for k, v in sent.items()], "client": (address, 50000),
        "server": ("127.0.0.1", 8484), "state": {},
    }  # fmt: skip
    answer = Answer(0, {}, b"")
    left = list(pieces) or [b""]

    async def receive() -> dict[str, Any]:
        if not left:
            await asyncio.sleep(3600)
        piece = left.pop(0)
        return {"type": "http.request", "body": piece, "more_body": bool(left)}

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = {k.decode().lower(): v.decode() for k, v in message["headers"]}
        else:
            answer.body += message.get("body", b"")

    await app(scope, receive, send)
    return answer


def _unquoted(path: str) -> str:
    from urllib.parse import unquote

    return unquote(path)


def until(true: Callable[[], Any], what: str, timeout_s: float = 60.0) -> Any:
    """Wait until `true()` is, and give it; a failure that says `what` where it never is."""
    deadline, pause_s = time.monotonic() + timeout_s, 0.01
    while not (found := true()):
        assert time.monotonic() < deadline, f"not within {timeout_s:g} s: {what}"
        time.sleep(pause_s)
        pause_s = min(1.3 * pause_s, 0.05)  # what takes long is asked for less often
    return found
