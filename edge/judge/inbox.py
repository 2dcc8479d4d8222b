"""The judge's queue, what can stand in it, and what the judge asks of the parts that it works with."""

from __future__ import annotations

import threading
from collections import Counter, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from typing import Any, Final, NamedTuple, Protocol, TypeAlias

from edge.domain.dates import Dates
from edge.domain.entries import Draft, Entry, Now
from edge.domain.entry_bodies import SettingsBody
from edge.domain.errors import StoreFault, WarmwellError
from edge.domain.messages import Message
from edge.domain.readings import Reading, Sample
from edge.domain.settings import Settings
from edge.domain.words.units import Units
from edge.snapshot import Items

#: samples that may wait; 20,000 are half an hour of 12 points at 1 Hz. Beyond, the oldest are dropped and counted
MOST_SAMPLES: Final = 20_000
#: kinds of entry that may be dropped while the disk refuses, the least missed first
TELEMETRY: Final = ("phase", "verdict", "heat_up", "cool_down", "transfer", "filter_day", "draw")


#: a station's state() as the journal keeps it beside the entries: plain JSON. Its form is the station's own, and every change of it a new
#: FOLD_VERSION; whoever keeps it looks into none of it
StationState: TypeAlias = dict[str, Any]
#: makes a station from a state
MakeStation: TypeAlias = "Callable[[StationState], OwnedStation]"


class Ticker(NamedTuple):
    """`call(now, station)` runs in the judge's thread at each wall time that is a multiple of `interval_ms` since 1970.

    The station has been moved to exactly that instant, and all entries up to it are on disk, when it runs.
    """

    interval_ms: int
    call: Callable[[Now, OwnedStation], None]


class OwnedStation(Protocol):
    """All that is asked of a station by the judge, and by those to whom the judge hands it: tickers, acts, what it was under other
    settings. (It is edge.domain.station.station.Station.)"""

    @property
    def settings(self) -> Settings: ...
    @property
    def readings(self) -> Sequence[Reading]: ...
    @property
    def dates(self) -> Dates: ...
    @property
    def buses_seen(self) -> Mapping[str, Mapping[str, str]]: ...
    @property
    def units(self) -> Units | None: ...
    @property
    def conditions(self) -> Iterable[str]: ...
    @property
    def settings_told(self) -> tuple[int, str] | None: ...
    def owed(self, now: Now) -> dict[str, Message]: ...
    def settings_changed(self, before: Mapping[str, Message], now: Now) -> list[Draft]: ...
    def hear(self, samples: Sequence[Sample], now: Now) -> list[Draft]: ...
    def advance(self, now: Now) -> list[Draft]: ...
    def next_deadline(self) -> int | None: ...
    def record(self, body: Mapping[str, Any], now: Now) -> list[Draft]: ...
    def bus(self, bus: str, what: str, why: str, now: Now) -> list[Draft]: ...
    def bus_seen(self, bus: str, seen: Mapping[str, str], now: Now) -> list[Draft]: ...
    def fact(self, alarm_id: str, active: bool, cause: Message | None, now: Now) -> list[Draft]: ...
    def clock_step(self, now: Now, by_ms: int, why: str) -> list[Draft]: ...
    def fold(self, entry: Entry) -> None: ...
    def kept(self, entries: Sequence[Entry]) -> None: ...
    def state(self) -> StationState: ...
    def verdict(self, now: Now) -> dict[str, Any]: ...
    def points(self, now: Now) -> dict[str, Any]: ...
    def alarms(self, now: Now) -> dict[str, Any]: ...
    def estimates(self, now: Now) -> dict[str, Any]: ...
    def commissioning(self, now: Now) -> Items: ...


class KeptJournal(Protocol):
    """What the judge asks of the journal. Only the judge appends."""

    @property
    def trouble(self) -> str | None: ...
    def append(self, drafts: Sequence[Draft]) -> list[Entry]: ...
    def read(self, after: int, limit: int) -> list[Entry]: ...
    def last_seq(self) -> int: ...
    def save_fold(self, seq: int, version: int, state: StationState) -> None: ...
    def load_fold(self, version: int) -> tuple[int, StationState] | None: ...
    def refuse_fold(self, why: str) -> None: ...


class KeptSeries(Protocol):
    """What the judge asks of the readings' store. `append` must not block for long."""

    def append(self, readings: Sequence[Reading]) -> None: ...
    def note_clock(self, boot: str, mono_ms: int, offset_ms: int, trusted: bool) -> None: ...


class Reload(NamedTuple):
    """New settings to put in force: `make(state)` gives the new station from what the old one knows."""

    make: MakeStation
    document: Mapping[str, Any]
    digest: str
    done: Future[None]


class Heard(NamedTuple):
    samples: Sequence[Sample]


class Record(NamedTuple):
    mono_ms: int
    body: Mapping[str, Any]
    answer: Future[Entry]


class Act(NamedTuple):
    """Something that happened at `mono_ms`: `do(station, now)` gives the drafts."""

    mono_ms: int
    what: str
    do: Callable[[OwnedStation, Now], list[Draft]]


class Stop(NamedTuple):
    why: str


#: what waits for the judge
Item: TypeAlias = Heard | Record | Act | Reload | Stop


class Inbox:
    """What waits for the judge. Samples are bounded, the oldest go first; nothing else is ever dropped."""

    def __init__(self, most_samples: int = MOST_SAMPLES) -> None:
        self._most, self._samples = most_samples, 0
        self._items: deque[Item] = deque()
        self._changed = threading.Condition()
        self.dropped = 0

    def put(self, item: Item) -> None:
        """Add an item; never blocks for longer than another caller's few lines, never raises."""
        with self._changed:
            self._items.append(item)
            if isinstance(item, Heard):
                self._samples += len(item.samples)
                while self._samples > self._most:
                    self._drop_oldest()
            self._changed.notify()

    def _drop_oldest(self) -> None:
        for place, item in enumerate(self._items):
            if isinstance(item, Heard):
                del self._items[place]
                self._samples -= len(item.samples)
                self.dropped += len(item.samples)
                return

    def take(self, timeout_s: float) -> list[Item]:
        """All that waits, in order; waits up to `timeout_s` for the first."""
        with self._changed:
            if not self._items and timeout_s > 0:
                self._changed.wait(timeout_s)
            items = list(self._items)
            self._items.clear()
            self._samples = 0
            return items

    def __len__(self) -> int:
        return len(self._items)


def not_running() -> StoreFault:
    """What a record gets before the start and after the stop."""
    return StoreFault(
        "the station is starting or stopping", where="record", expected="a running station",
        do="Send the record again in a minute; it was not kept",
    )  # fmt: skip


def refuse_left(items: Iterable[Item | None]) -> None:
    """Answer those whose item will not be judged any more."""
    for item in items:
        if isinstance(item, Record) and not item.answer.done():
            item.answer.set_exception(not_running())
        elif isinstance(item, Reload) and not item.done.done():
            item.done.set_exception(not_running())


def store_fault(exc: Exception) -> StoreFault:
    """What a journal that fails in another way than it should is told as."""
    return StoreFault(
        f"it can't be written ({type(exc).__name__}: {exc})", where="journal", expected="a disk that takes writes",
        do="Free space or replace the card; Warmwell tries again by itself",
    )  # fmt: skip


def record_fault() -> WarmwellError:
    return WarmwellError(
        "the record could not be judged because of a fault in Warmwell", where="record",
        expected="an entry in the journal", do="It is not kept; see the system journal and report it",
    )  # fmt: skip


def fate_unknown() -> StoreFault:
    """What a record gets whose commit was still under way when the stop could wait no longer."""
    return StoreFault(
        "the disk had not answered when the station stopped: whether it was kept isn't known", where="record",
        expected="a disk that answers within seconds", do="Look for it in the journal after the next start, then repeat it if need be",
    )  # fmt: skip


def bounded(drafts: list[Draft], most: int) -> tuple[list[Draft], Counter[str]]:
    """What waits for a disk that refuses, and what was given up: the least missed kinds first, the oldest first.

    Alarms and what people did stay, however many there are.
    """
    lost: Counter[str] = Counter()
    for kind in TELEMETRY:
        too_many = len(drafts) - most
        if too_many <= 0:
            break
        kept = []
        for draft in drafts:
            if draft.kind == kind and too_many > 0:
                too_many -= 1
                lost[kind] += 1
            else:
                kept.append(draft)
        drafts = kept
    return drafts, lost


def settings_draft(now: Now, document: Mapping[str, Any], digest: str) -> Draft:
    """The entry that writes down the whole settings and their digest."""
    body: SettingsBody = {"digest": digest, "document": dict(document)}
    return Draft(now, "settings", body)
