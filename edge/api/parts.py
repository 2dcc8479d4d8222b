"""What the API needs of the other parts, as Protocols: it imports none of them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from edge.domain.contracts import JournalReader
from edge.domain.entries import Entry
from edge.domain.permits import Credentials, NewCode, SignedIn, Who
from edge.snapshot import Snapshot

if TYPE_CHECKING:
    import ssl

#: hears of what was refused at the border: why ("connections", "handshake", "plain", "host", "origin") and the address that it came from
Refused = Callable[[str, str], None]


class Judge(Protocol):
    """The one that owns the station."""

    def record(self, body: dict[str, Any]) -> Future[Entry]:
        """Take a record; the future is resolved after its entry is on disk (RecordRefused or StoreFault as exceptions)."""
        ...

    def snapshot(self) -> Snapshot:
        """The newest picture; never blocks."""
        ...

    def wait_snapshot(self, version: int, timeout_s: float) -> Snapshot:
        """A picture newer than `version`, or the newest when time (real seconds) ran out."""
        ...


class Series(Protocol):
    """The readings' store, as far as the API asks it."""

    def buckets(self, point: str, from_wall_ms: int, to_wall_ms: int, n: int) -> list[dict[str, Any]]:
        """At most `n` buckets: {"from","to","n","min","mean","max","worst","reason","covered"}."""
        ...

    def trend(self, points: Sequence[str], from_wall_ms: int, width_ms: int, n: int) -> dict[str, Any]:
        """Several points over the same buckets: {"from_ms","width_ms","n","points": {id: columns}}; columns: "min","mean","max","worst",
        "reason","covered".
        """
        ...


class Certificate(Protocol):
    """What the page is served with by TLS."""

    def context(self) -> ssl.SSLContext:
        """For the next connection: another one once its files have changed."""
        ...

    def names(self) -> Collection[str]:
        """The host names and addresses that it is for."""
        ...


class People(Protocol):
    """Who may do what. Each call but the properties may wait for the disk, and raises what it says in edge/domain/errors.py: NotSignedIn,
    NotAllowed, TooManyTries, UnusableInput, StoreFault."""

    @property
    def state(self) -> str:
        """`none`: nobody is set up; `set_up`; `unreadable`."""
        ...

    @property
    def is_looking_open(self) -> bool:
        """Whether anybody may look."""
        ...

    def sign_in(self, code: str, asks: Credentials) -> SignedIn: ...
    def session(self, asks: Credentials) -> SignedIn | None: ...
    def prolong(self, asks: Credentials) -> SignedIn: ...
    def sign_out(self, asks: Credentials) -> None: ...
    def first(self, code: str, name: str, address: str) -> NewCode: ...
    def end_sessions(self, asks: Credentials, name: str) -> None: ...
    def writer(self, asks: Credentials, body: Mapping[str, Any]) -> Who: ...
    def reader(self, asks: Credentials) -> None: ...
    def helped(self, asks: Credentials) -> list[str]: ...
    def names(self, asks: Credentials) -> list[dict[str, str]]: ...


#: what (readings, journal), form, [from, to) in milliseconds since 1970, and points or kinds (none: all) -> the pieces of an export
Export = Callable[[str, str, tuple[int, int], Sequence[str]], Iterator[bytes]]
#: what a report is of and how it is to be, as words of `warmwell report` -> the report
Report = Callable[[Sequence[str], Sequence[str]], bytes]


class MadeOfIt(NamedTuple):
    """What is made of what is kept; None: nothing is kept."""

    export: Export | None = None
    report: Report | None = None


@dataclass(frozen=True, slots=True)
class Parts:
    """All that the API is handed. `about`: site, station, title, timezone, version, speed …; `status`: health of the parts;
    `on_network`: others than this computer may come in; `keep`: the [keep] folder, whose files are listed; `room`: the other stations of
    this computer, as they tell of themselves (edge/daemon/room.py); `head`: the journal's, with its signature, and the key to look at that
    with (StoreFault)."""

    judge: Judge
    journal: JournalReader
    series: Series
    about: Mapping[str, Any]
    status: Callable[[], dict[str, Any]]
    on_network: bool = False
    keep: Path | None = None
    room: Callable[[], Sequence[Mapping[str, Any]]] | None = None
    head: Callable[[], dict[str, Any]] | None = None
    export: Export | None = None  # None: nothing is kept
    report: Report | None = None
    people: People | None = None  # None: whoever is typed under `by` counts
