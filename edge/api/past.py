"""What the journal tells as a whole: how its alarms have performed, the settings in force, and what happened in a stretch of time.

A journal may be years long and the board small: each question reads on for a moment only, what was read is remembered, and who asks
too early is told to ask again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from typing import Annotated, Any, Final

from fastapi import Query, Request
from fastapi.responses import Response

from edge.api import times
from edge.api.history import History
from edge.api.jsonout import dumps
from edge.api.problems import Problem
from edge.domain.alarms.performance import TARGETS, Performance, performance, performance_json
from edge.domain.contracts import JournalReader
from edge.domain.dates import Dates, dated_json
from edge.domain.entries import Entry, rfc3339

#: for so long [s] one question may read on
READS_FOR_S: Final = 2.0
_PAGE: Final = 200
_DAY_MS: Final = 86_400_000
_MONTH_MS: Final = 30 * _DAY_MS


class Past:
    """Reads the journal once, whatever is asked of it. Any thread may ask; one at a time reads."""

    def __init__(self, journal: JournalReader, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self._journal, self._monotonic_s = journal, monotonic_s
        self._lock = threading.Lock()
        self._read = 0  # all alarm entries up to this seq are remembered
        self._heard, self._history, self._dated = 0, History(), -1  # likewise, with what was known of the clock then
        self._alarms: list[Entry] = []
        self._settings: Entry | None = None
        self._looked = 0  # the newest settings up to this seq are remembered

    def performance(self, from_ms: int, until_ms: int, dates: Dates, where: str) -> Performance:
        """The figures of [from_ms, until_ms), milliseconds since 1970, by `dates` as known now.

        Raises:
            Problem: 503, the journal is so long that it isn't read yet.
            StoreFault: it can't be read.
        """
        with self._lock:
            self._forget_another(self._journal.last_seq())
            for entries, is_late in self._pages(self._read):
                self._alarms += [entry for entry in entries if entry.kind == "alarm"]
                self._read = entries[-1].seq
                if is_late:
                    raise _not_yet(where, self._read)
            return performance(self._alarms, from_ms, until_ms, dates)

    def history(self, from_ms: int, to_ms: int, now_ms: int, dates: Dates, where: str) -> dict[str, Any]:
        """What happened in [from_ms, to_ms), see History.told(). Raises as performance()."""
        with self._lock:
            self._forget_another(self._journal.last_seq())
            if dates.version != self._dated:  # what was read has other dates now
                self._heard, self._history, self._dated = 0, History(), dates.version
            for entries, is_late in self._pages(self._heard):
                for entry in entries:
                    self._history.take(entry, dates)
                self._heard = entries[-1].seq
                if is_late:
                    raise _not_yet(where, self._heard)
            return self._history.told(from_ms, to_ms, now_ms)

    def _pages(self, after: int) -> Iterator[tuple[list[Entry], bool]]:
        """The entries after this seq, page by page, each with whether reading should go on another time."""
        end_s = self._monotonic_s() + READS_FOR_S
        while entries := self._journal.read(after, _PAGE):
            after = entries[-1].seq
            yield entries, self._monotonic_s() > end_s

    def settings(self, where: str) -> Entry | None:
        """The newest entry of settings; None where the journal has none. Raises as performance()."""
        with self._lock:
            last = self._journal.last_seq()
            self._forget_another(last)
            end_s, before = self._monotonic_s() + READS_FOR_S, last
            while before > self._looked:
                after = max(before - _PAGE, self._looked)
                found = [e for e in self._journal.read(after, before - after) if e.kind == "settings"]
                if found:
                    self._settings = found[-1]
                    break
                before = after
                if self._monotonic_s() > end_s:
                    raise _not_yet(where, last - before)
            self._looked = last
            return self._settings

    def _forget_another(self, last: int) -> None:
        if last < max(self._read, self._looked, self._heard):  # another journal than the one that was read
            self._read, self._looked, self._settings = 0, 0, None
            self._alarms.clear()
            self._heard, self._history = 0, History()


def _not_yet(where: str, read: int) -> Problem:
    return Problem(
        503, f"the journal is long, and only {read} of its entries have been read yet", where=where,
        expected="a journal that has been read", do="Ask again in some seconds: it goes on from there", headers={"retry-after": "2"},
    )  # fmt: skip


async def alarm_performance(
    request: Request,
    from_: Annotated[
        str | None, Query(alias="from", max_length=64, description="left out: 30 days before `to`")
    ] = None,
    to: Annotated[str | None, Query(max_length=64, description="end; left out: now")] = None,
) -> Response:
    """How the alarms of a span have performed, by the figures of ISA-18.2 and IEC 62682; `targets` beside them."""
    desk, path = request.app.state.desk, request.url.path
    snapshot = desk.watch.see().snapshot
    from_ms, to_ms = times.span_ms(from_, to, snapshot.now.wall_ms, _MONTH_MS, desk.zone, path)
    found = await desk.readers.read(path, lambda: desk.past.performance(from_ms, to_ms, snapshot.dates, path))
    return _json({**performance_json(found), "targets": TARGETS})


async def history(
    request: Request,
    from_: Annotated[str | None, Query(alias="from", max_length=64, description="left out: a day before `to`")] = None,
    to: Annotated[str | None, Query(max_length=64, description="end; left out: now")] = None,
) -> Response:
    """What happened in a span: the verdict's words, alarms, draws of water, and days of filters. Where there is too much to draw, words
    are told as shares of equal parts of the span, draws are left out, and alarms that are left out are counted."""
    desk, path = request.app.state.desk, request.url.path
    snapshot = desk.watch.see().snapshot
    now_ms = snapshot.now.wall_ms
    from_ms, to_ms = times.span_ms(from_, to, now_ms, _DAY_MS, desk.zone, path)
    found = await desk.readers.read(path, lambda: desk.past.history(from_ms, to_ms, now_ms, snapshot.dates, path))
    return _json({"from": rfc3339(from_ms), "to": rfc3339(to_ms), **found})


async def settings(request: Request) -> Response:
    """The settings in force: the station file as written, in plain JSON, and its digest. No secret stands in a station file."""
    desk, path = request.app.state.desk, request.url.path
    entry = await desk.readers.read(path, lambda: desk.past.settings(path))
    if entry is None:
        raise Problem(
            404, "there are no settings in the journal", where=path, expected="a station that has started", do="Ask again later"
        )  # fmt: skip
    dated = dated_json(entry, desk.parts.judge.snapshot().dates)
    return _json({"seq": entry.seq, "at": dated["at"], "dated_at": dated["dated_at"], **entry.body})


def _json(value: Any) -> Response:
    return Response(dumps(value), media_type="application/json")
