"""What each face is, and what runs one until it is told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import signal
import time
from collections import deque
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from typing import Any, Final, Protocol

from edge.daemon.systemd import notify, watchdog_s
from edge.domain.errors import WarmwellError
from edge.faces.seen import OLD_S, Seen, rehearsed
from edge.faces.source import Source, Stream

log = logging.getLogger("warmwell.face")

#: real seconds: a face is told at least so often, as what it shows ages
_EVERY_S: Final = 1.0


class Face(Protocol):
    """One station in one protocol. All is called in the thread of the event loop."""

    @property
    def name(self) -> str:
        """By which the command line knows it."""

    @property
    def after(self) -> int | None:
        """The last entry that it has told of, where it tells by itself; None: it needs no entries of before."""

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """The list for whoever reads the face: a row for each place, all with the same columns."""

    def show(self, seen: Seen) -> None:
        """From now on this is how the station is. Called on each change, and once a second as it ages.

        `seen.is_test`: an alarm in it is there for a witness only (its cause is seen.TEST), and no entry of a journal comes for it.
        """

    def hear(self, entry: Mapping[str, Any]) -> None:
        """An entry of the station's journal, in order, as GET /api/1/journal has it; one may come again."""

    async def serve(self, opened: Callable[[], None]) -> None:
        """Answer until cancelled; `opened` once others can reach it. Raises WarmwellError: it can't."""


def run(face: Face, stream: Stream, *, rehearsal_s: float | None = None) -> int:
    """Show the station until SIGTERM or SIGINT; the exit code.

    Args:
        stream: opens the station's live stream.
        rehearsal_s: raise each alarm for so long, once, in the face alone; then stop.

    Raises:
        WarmwellError: the face can't be opened, or has failed.
    """
    return asyncio.run(_Running(face, stream, rehearsal_s).until_stopped())


class _Running:
    """A face, while it runs."""

    def __init__(self, face: Face, stream: Stream, rehearsal_s: float | None) -> None:
        self._face, self._stream, self._rehearsal_s = face, stream, rehearsal_s
        self._said: str | None = None
        self._raised: str | None = None  # the alarm that a witness is shown
        self._news, self._open = asyncio.Event(), asyncio.Event()
        self._entries: deque[Mapping[str, Any]] = deque()

    async def until_stopped(self) -> int:
        """Until a signal, the end of the rehearsal, or a fault."""
        loop = asyncio.get_running_loop()
        stop = asyncio.Event()

        def news() -> None:
            with contextlib.suppress(RuntimeError):  # the loop has ended: so has the face
                loop.call_soon_threadsafe(self._news.set)

        source = Source(self._stream, news=news, entry=self._entries.append, after=self._face.after)
        self._face.show(source.seen())
        async with _ended_by_signals(stop):
            source.start()
            work = [self._show(source), self._face.serve(self._open.set), stop.wait()]
            if self._rehearsal_s is not None:
                work.append(self._rehearse(source, self._rehearsal_s))
            tasks = [asyncio.ensure_future(one) for one in work]
            try:
                await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            finally:
                source.stop()
                notify("STOPPING=1")
                for task in tasks:
                    task.cancel()
                ends = await asyncio.gather(*tasks, return_exceptions=True)
        for end in ends:
            if isinstance(end, BaseException) and not isinstance(end, asyncio.CancelledError):
                raise end
        return 0

    async def _show(self, source: Source) -> None:
        fed_s, ready = float("-inf"), False
        while True:
            self._news.clear()
            while self._entries:
                self._face.hear(self._entries.popleft())
            seen = source.seen()
            raised = self._raised
            self._face.show(rehearsed(seen, raised) if raised is not None and raised in seen.alarms else seen)
            self._say(seen.why or f"shows {seen.station}")
            if self._open.is_set() and not ready:
                ready = notify("READY=1") or True
            every_s = watchdog_s()
            if every_s is not None and time.monotonic() - fed_s >= every_s / 2:
                notify("WATCHDOG=1")
                fed_s = time.monotonic()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), _EVERY_S)

    async def _rehearse(self, source: Source, each_s: float) -> None:
        """Each alarm by name, raised and gone again."""
        await self._open.wait()
        until_s = time.monotonic() + OLD_S
        while not (seen := source.seen()).is_live:
            if time.monotonic() > until_s:
                raise WarmwellError(
                    seen.why, where=f"the test of the {self._face.name} face", expected="a station that is heard",
                    do="Start the station, or correct --api",
                )  # fmt: skip
            await asyncio.sleep(0.05)
        names = sorted(seen.alarms)
        for number, name in enumerate(names, 1):
            print(f"{number} of {len(names)}: {name}: raised", flush=True)
            await self._hold(name, each_s)
            print(f"{number} of {len(names)}: {name}: gone", flush=True)
            await self._hold(None, each_s / 2)

    async def _hold(self, name: str | None, lasts_s: float) -> None:
        self._raised = name
        self._news.set()
        await asyncio.sleep(lasts_s)

    def _say(self, text: str) -> None:
        """Once, until it is something else."""
        if text != self._said:
            self._said = text
            log.info("%s", text)
            notify(f"STATUS={text[:200]}")


@contextlib.asynccontextmanager
async def _ended_by_signals(stop: asyncio.Event) -> AsyncIterator[None]:
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    try:
        yield
    finally:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)
