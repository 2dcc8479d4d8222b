"""One station of a fleet: its chain of entries, its retained topics, what it has told and what an archive lacks. No network here."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final, cast

from edge.domain.entries import Entry, Now, rfc3339
from edge.mqtt.chain import Chain
from edge.mqtt.memory import Refused
from edge.mqtt.receipts import AgainPace, Receipts
from edge.mqtt.retained import Board, Pace
from edge.mqtt.shapes import NodeMessage
from edge.mqtt.topics import LOST, ONLINE, STOPPED, Topics, compact, entry_message
from edge.snapshot import AlarmPicture, ConditionPicture, Snapshot, VerdictPicture
from edge.store.chain import FIRST_PREVIOUS, hashed_bytes, link
from simulators.fleet.days import AWAY, Days, Happening

#: alarms of the catalogue that each one has, also when normal
_ALARMS: Final = ("outlet_tripped:heater", "reservoir_cold", "supply_pressure_low")
#: condition -> what is said of it: met, unmet
_TEXTS: Final[Mapping[str, tuple[str, str]]] = {
    "free": ("machine.not_in_use", "machine.drawing"),
    "daily_test": ("daily_test.passed", "daily_test.none"),
}


class Time:
    """Wall time of a whole fleet: from `start_ms` on, `speed` times as fast as `mono_s`."""

    def __init__(self, speed: float, start_ms: int, mono_s: Callable[[], float]) -> None:
        self.speed, self._start_ms, self._mono_s, self._began_s = speed, start_ms, mono_s, mono_s()

    def wall_ms(self) -> int:
        """Now."""
        return self._start_ms + int((self._mono_s() - self._began_s) * 1000 * self.speed)

    def real_s_of(self, wall_ms: int) -> float:
        """When it will be that time, by `mono_s`."""
        return self._began_s + (wall_ms - self._start_ms) / 1000 / self.speed


class StationClock:
    """The clock of one station (edge/domain/contracts.py, Clock)."""

    def __init__(self, time: Time) -> None:
        self._time, self.speed = time, time.speed
        self.boot, self._booted_ms = "", 0
        self.starts(time.wall_ms())

    def starts(self, wall_ms: int) -> None:
        """The board gets power."""
        self.boot, self._booted_ms = str(uuid.uuid4()), wall_ms

    def at(self, wall_ms: int) -> Now:
        return Now(wall_ms - self._booted_ms, wall_ms, True)

    def now(self) -> Now:
        return self.at(self._time.wall_ms())

    def mono_ms(self) -> int:
        return self.now().mono_ms

    def real_s(self, ms: int) -> float:
        return ms / 1000 / self.speed


class FleetJournal:
    """A journal in memory, chained as one on disk."""

    def __init__(self, station: str) -> None:
        self._station, self._entries, self._digests = station, list[Entry](), list[bytes]()

    def append(self, boot: str, now: Now, kind: str, body: Mapping[str, Any]) -> Entry:
        seq = len(self._entries) + 1
        entry = Entry(seq, boot, *now, kind, body)
        previous = self._digests[-1] if self._digests else FIRST_PREVIOUS
        hashed = hashed_bytes(self._station, seq, boot, entry.mono_ms, entry.wall_ms, kind, body)
        self._digests.append(link(previous, hashed))
        self._entries.append(entry)
        return entry

    def read(self, after: int, limit: int) -> list[Entry]:
        return self._entries[after : after + limit]

    def last_seq(self) -> int:
        return len(self._entries)

    def head(self) -> tuple[int, str]:
        return len(self._entries), self.digest(len(self._entries))

    def wait(self, after: int, timeout_s: float) -> bool:
        """Nobody waits here."""
        return len(self._entries) > after

    def cursor(self, name: str) -> int | None:
        """No reader's place is saved."""
        return None

    def move_cursor(self, name: str, seq: int) -> None: ...

    def mark(self) -> str:
        return self.digest(1)[:16]

    def digest(self, seq: int) -> str:
        return self._digests[seq - 1].hex() if 0 < seq <= len(self._digests) else ""


class _NoMemory:
    """Nothing outlasts the run (edge/mqtt/memory.py)."""

    def topics_seen(self) -> frozenset[str]:
        return frozenset()

    def remember_topics(self, topics: Iterable[str]) -> None: ...
    def forget_topics(self, topics: Iterable[str]) -> None: ...
    def refusals(self) -> dict[int, Refused]:
        return {}

    def remember_refusals(self, refusals: dict[int, Refused]) -> None: ...
    def receipts(self) -> dict[str, int]:
        return {}

    def remember_receipts(self, receipts: dict[str, int]) -> None: ...


class FleetStation:
    """What there is to be told of one station, and when.

    Args:
        archives: whose receipts it hears.
        pace, again: of the retained topics, and of what is said again; real seconds.
    """

    def __init__(
        self, site: str, name: str, seed: int, time: Time, mono_s: Callable[[], float], archives: Sequence[str],
        pace: Pace, again: AgainPace,
    ) -> None:  # fmt: skip
        self.topics, self.clock = Topics(site, name), StationClock(time)
        self.journal = FleetJournal(f"{site}/{name}")
        self._chain = Chain(self.journal)
        self.board = Board(self.topics, mono_s, pace)
        self.receipts = Receipts(self.topics, archives, self._chain, _NoMemory(), self.clock, mono_s, again)
        self.away_until_ms: int | None = None
        self._told = 0  # entries handed over in this connection, or confirmed before
        self._unconfirmed: set[int] = set()
        self._days = iter(Days(seed, name, time.wall_ms()))
        self._next: Happening = next(self._days)
        self._alarms = {ident: self._alarm(ident) for ident in _ALARMS}
        self._verdict: VerdictPicture | None = None
        self._phase, self._version = "idle", 0

    # ---- what happens

    @property
    def next_ms(self) -> int:
        """When something happens next; wall time."""
        return self._next.at_ms

    def live(self, wall_ms: int) -> int:
        """Let happen what is due. Returns how many entries that made; stops where the power goes."""
        made = 0
        while self._next.at_ms <= wall_ms:
            happening, self._next = self._next, next(self._days)
            if happening.kind == AWAY:
                self.away_until_ms = int(happening.body["until_ms"])
                break
            self._happens(happening)
            made += 1
        if made:
            self._version += 1
            verdict = cast("VerdictPicture", self._verdict or {})
            self.board.show(
                Snapshot(self._version, self.journal.last_seq(), self.clock.now(), verdict, alarms=dict(self._alarms))
            )
            seq, digest = self.journal.head()
            self.board.say(self.topics.head, self._chain.head(seq, digest), gap_s=1.0)
        return made

    def _happens(self, happening: Happening) -> None:
        if happening.kind == "started" and self.away_until_ms is not None:
            self.away_until_ms = None
            self.clock.starts(happening.at_ms)
        now, body = self.clock.at(happening.at_ms), happening.body
        entry = self.journal.append(self.clock.boot, now, happening.kind, body)
        if happening.kind == "phase":
            self._phase = str(body["to"])
        elif happening.kind == "verdict":
            self._verdict = self._picture(entry)
        elif happening.kind == "alarm":
            self._alarms[str(body["id"])] = self._alarm(str(body["id"]), entry)

    def _picture(self, entry: Entry) -> VerdictPicture:
        at, body = rfc3339(entry.wall_ms), entry.body
        conditions = [self._condition(ident, str(state), at) for ident, state in body["conditions"].items()]
        is_busy = self._phase != "idle" and body["to"] == "not_ready"
        return {
            "at": at, "trusted": True, "site": self.topics.site, "station": self.topics.station, "verdict": body["to"],
            "display": self._phase if is_busy else body["to"], "phase": self._phase, "expected_at": None, "earliest": None,
            "latest": None, "waits_for": [], "conditions": conditions, "waits_for_msgs": [],
            "note": "Surroundings only: the maker's instructions decide the rest",
            "note_msg": {"id": "verdict.surroundings_only", "values": {}},
        }  # fmt: skip

    def _condition(self, ident: str, state: str, at: str) -> ConditionPicture:
        texts = _TEXTS.get(ident, ("met_nominally", "outlet.live"))
        msg = texts[0] if state == "met" else texts[1]
        return {
            "id": ident, "state": state, "text": msg.split(".")[-1].replace("_", " "), "since": at, "expected_at": None,
            "evidence": None, "msg": {"id": msg, "values": {}}, "value": None, "limit": None, "unit": None, "probability": None,
        }  # fmt: skip

    def _alarm(self, ident: str, entry: Entry | None = None) -> AlarmPicture:
        body: Mapping[str, Any] = entry.body if entry else {}
        state, family = str(body.get("to", "normal")), ident.split(":")[0]
        is_acknowledged, at = state == "acknowledged", rfc3339(entry.wall_ms) if entry else None
        return {
            "id": ident, "state": state, "active": state != "normal", "announced": state == "unacknowledged", "priority": "high",
            "since": body.get("since"), "since_at_latest": False, "point": body.get("point"), "value": body.get("value"),
            "unit": body.get("unit"), "limit": None, "cause": str(body.get("cause", "")), "consequence": "", "response": "",
            "respond_within_s": 300, "latching": False, "acknowledged_by": "late technician" if is_acknowledged else None,
            "acknowledged_at": at if is_acknowledged else None, "consequence_of": None, "first_out": state != "normal",
            "crossings": int(state != "normal"), "again": 0, "escalated": False, "aside_by": None, "aside_why": None,
            "aside_until": None, "seq": entry.seq if entry else None, "at": at, "msg": body.get("msg"),
            "consequence_msg": {"id": f"alarm.{family}.consequence", "values": {}},
            "response_msg": {"id": f"alarm.{family}.response", "values": {}},
        }  # fmt: skip

    # ---- what is told

    @property
    def confirmed(self) -> int:
        """Up to which entry the broker has confirmed all."""
        return min(self._unconfirmed, default=self._told + 1) - 1

    @property
    def waiting(self) -> int:
        """How many entries the broker hasn't confirmed."""
        return self.journal.last_seq() - self.confirmed

    def connected(self) -> None:
        """A connection begins: what wasn't confirmed is told again."""
        self._told, self._unconfirmed = self.confirmed, set()
        self.board.renew()
        self.board.say(self.topics.node, self._node(ONLINE))

    def next_entries(self, room: int) -> list[tuple[int, bytes]]:
        """The next that are to be told for the first time: seqs and messages."""
        found = self._chain.with_digests(self.journal.read(self._told, room))
        for entry, _digest in found:
            self._told = entry.seq
            self._unconfirmed.add(entry.seq)
        mark = self._chain.mark()
        return [
            (entry.seq, entry_message(entry, self.topics.site, self.topics.station, mark, digest))
            for entry, digest in found
        ]

    def is_confirmed(self, seq: int) -> None:
        self._unconfirmed.discard(seq)

    def will(self) -> bytes:
        """What the broker says where it falls silent."""
        return compact(self._node(LOST))

    def farewell(self) -> bytes:
        return compact(self._node(STOPPED))

    def fresh_until(self, real_s: float) -> str:
        return rfc3339(self.clock.now().wall_ms + int(real_s * 1000 * self.clock.speed))

    def _node(self, word: str) -> NodeMessage:
        at = rfc3339(self.clock.now().wall_ms)
        return {
            "site": self.topics.site, "station": self.topics.station, "state": word, "at": None if word == LOST else at,
            "connected_at": at, "trusted": True, "boot": self.clock.boot, "software": "0.2.0", "title": f"Simulated {self.topics.station}",
            "timezone": "UTC", "simulated": True, "journal": self._chain.mark(),
        }  # fmt: skip
