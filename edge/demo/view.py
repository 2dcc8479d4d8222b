"""What the demo shows: JSON lines, plain lines where something changed, or a live view on a terminal."""

from __future__ import annotations

import json
import queue
import sys
import threading
from collections import Counter, deque
from collections.abc import Mapping, Sequence
from typing import IO, TYPE_CHECKING, Any, Final, Protocol
from zoneinfo import ZoneInfo

from edge.demo import screen
from edge.demo.screen import clock_text, when_text
from edge.domain.entries import Entry, Now, rfc3339
from edge.domain.entry_bodies import announced
from edge.judge.inbox import OwnedStation
from edge.replay.text import entry_words
from edge.snapshot import Snapshot
from edge.terminal import all_words, basin_words, display_word

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.live import Live

#: entries that the live view shows at most; fewer where the terminal is low
NEWEST: Final = 100
#: a reader that takes no line for so long (real seconds) is given up, and that is said
READER_STALLS_S: Final = 60.0
_DULL: Final = frozenset({"settings", "phase", "draw", "filter_day"})


class View(Protocol):
    """A way to show the demo. `entries` is called in the judge's thread and must not block; `show` in the main one."""

    def entries(self, entries: Sequence[Entry]) -> None: ...
    def begin(self, playing: Sequence[str], further: Sequence[str]) -> None: ...
    def show(self, picture: Snapshot) -> None: ...
    def over(self, text: str) -> None: ...
    def end(self) -> None: ...


class JsonLines:
    """The lines of a replay, in order, on standard output and nothing else.

    Lines are made in the judge's thread and written by another: a reader that takes its time must not hold the station up.
    """

    def __init__(self, out: IO[bytes]) -> None:
        self._out = out
        self._lines: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._write, name="json lines", daemon=True)
        self.alarms: Counter[str] = Counter()
        self.reader_left = threading.Event()
        self.count = self._taken = 0
        self._thread.start()

    def say(self, line: Mapping[str, Any]) -> None:
        """One line."""
        text = json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        self._lines.put(text.encode() + b"\n")

    def entries(self, entries: Sequence[Entry]) -> None:
        for entry in entries:
            self.count += 1
            if (alarm := announced(entry.kind, entry.body)) is not None:
                self.alarms[alarm] += 1
            self.say({"type": "entry", **entry.as_json()})

    def verdict(self, now: Now, station: OwnedStation) -> None:
        """For a Ticker."""
        self.say({"type": "verdict", **station.verdict(now)})

    def estimates(self, now: Now, station: OwnedStation) -> None:
        """For a Ticker."""
        for estimate in station.estimates(now).values():
            self.say({"type": "estimate", **estimate})

    def begin(self, playing: Sequence[str], further: Sequence[str]) -> None:
        """Nothing but lines."""

    def show(self, picture: Snapshot) -> None:
        """Nothing but lines."""

    def over(self, text: str) -> None:
        """Nothing but lines."""

    def close(self, picture: Snapshot, with_estimates: bool, figures: Mapping[str, Any], span_s: float) -> None:
        """The closing lines: a last verdict, last estimates, the summary."""
        self.say({"type": "verdict", **picture.verdict})
        if with_estimates:
            for estimate in picture.estimates.values():
                self.say({"type": "estimate", **estimate})
        self.say(
            {
                "type": "summary",
                "rows": figures["hearings"],
                "readings": figures["readings"],
                "bad": figures["bad"],
                "entries": self.count,
                "alarms": dict(sorted(self.alarms.items())),
                "span_s": span_s,
            }
        )

    def end(self) -> None:
        """Wait for the reader for as long as it takes lines: none is dropped."""
        self._lines.put(None)
        taken = -1
        while self._thread.is_alive() and taken != self._taken:
            taken = self._taken
            self._thread.join(READER_STALLS_S)
        if self._thread.is_alive():
            self.reader_left.set()
            print("The reader has taken no line for 60 s: the lines after that are missing.", file=sys.stderr)

    def _write(self) -> None:
        while (line := self._lines.get()) is not None:
            try:
                self._out.write(line)
                self._taken += 1
                if self._lines.empty():
                    self._out.flush()
            except (OSError, ValueError):  # `| head` has enough; the demo then stops
                self.reader_left.set()
                return


class PlainLines:
    """One line for each change, for a log or a pipe."""

    def __init__(self, zone: ZoneInfo, out: IO[str] | None = None) -> None:
        self._zone, self._out = zone, out or sys.stdout
        self._new: deque[Entry] = deque()
        self._word: list[str] = []

    def entries(self, entries: Sequence[Entry]) -> None:
        self._new.extend(entries)

    def begin(self, playing: Sequence[str], further: Sequence[str]) -> None:
        print("\n".join([*playing, *further]), file=self._out, flush=True)

    def over(self, text: str) -> None:
        print(text, file=self._out, flush=True)

    def show(self, picture: Snapshot) -> None:
        while self._new:
            print(entry_text(self._new.popleft(), self._zone), file=self._out)
        word = all_words(picture.verdict)
        if word != self._word:
            self._word = word
            print(headline(picture, self._zone), file=self._out)
            print(
                "".join(f"  {basin_words(one)}\n" for one in picture.verdict.get("verdicts", [])),
                file=self._out,
                end="",
            )
        self._out.flush()

    def end(self) -> None:
        """Nothing is left open."""


class LiveView:
    """A screen of its own on a terminal, renewed in place: it never scrolls. What stood there before is there again afterwards."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone
        self._newest: deque[Entry] = deque(maxlen=NEWEST)
        self._foot: Sequence[str] = ()
        self._live: Live | None = None

    def entries(self, entries: Sequence[Entry]) -> None:
        self._newest.extend(entry for entry in entries if entry.kind not in _DULL)

    def begin(self, playing: Sequence[str], further: Sequence[str]) -> None:
        from rich.console import Console
        from rich.live import Live

        console = Console()
        console.print("\n".join(playing), markup=False, highlight=False)
        console.print("\n".join(further), markup=False, highlight=False, soft_wrap=True)  # to be pasted whole
        self._foot = [*further[:2], further[-1]]
        self._live = Live(console=console, auto_refresh=False, screen=True, vertical_overflow="crop")
        self._live.start()

    def show(self, picture: Snapshot) -> None:
        if self._live is not None:
            self._live.update(self._drawn(picture, *self._live.console.size), refresh=True)

    def over(self, text: str) -> None:
        self._foot = [text, *self._foot[:-1]]

    def _drawn(self, picture: Snapshot, width: int, height: int) -> RenderableType:
        from rich.text import Text

        newest = [entry_text(entry, self._zone)[5:] for entry in self._newest]  # the year is said above
        made = screen.rows(picture, self._zone, newest, self._foot, width, height)
        return Text("\n", no_wrap=True, overflow="crop").join(Text(row.text, style=row.look) for row in made)

    def end(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None


def headline(picture: Snapshot, zone: ZoneInfo) -> str:
    """READY or NOT READY, what for and until when, and what it is about."""
    verdict = picture.verdict
    parts = [display_word(verdict)]
    wrong = [condition["id"] for condition in verdict["conditions"] if condition["state"] in ("unmet", "unknown")]
    if wrong:
        parts.append(", ".join(wrong))
    if verdict.get("expected_at"):
        parts.append(when_text(verdict, zone))
    return f"{clock_text(verdict['at'], zone)}  {'  ·  '.join(parts)}  ·  {verdict['phase']}  ·  {verdict.get('note') or ''}"


def entry_text(entry: Entry, zone: ZoneInfo) -> str:
    """One entry of the journal on one line."""
    return f"{clock_text(rfc3339(entry.wall_ms), zone)}  #{entry.seq} {entry.kind}: {entry_words(entry.kind, entry.body, zone)}"
