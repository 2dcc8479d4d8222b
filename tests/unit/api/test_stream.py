"""The live stream in process. The format is that of the HTML standard, 9.2.6 ("Interpreting an event stream")."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any, NamedTuple

import pytest

from edge.api.picture import Watch
from edge.api.problems import Problem
from edge.api.readers import Readers
from edge.api.stream import Hub
from edge.api.viewers import AS_IT_IS, Viewer
from edge.domain.dates import Dates
from edge.domain.entries import Now, rfc3339
from tests.api_fakes import START_MS, Fakes


class Event(NamedTuple):
    name: str
    ident: str | None
    data: Any


def parsed(text: bytes) -> list[Event]:
    """Events by the standard's own steps; comments and retry are left out."""
    events = []
    for block in text.decode().split("\n\n"):
        fields: dict[str, str] = {}
        for line in block.splitlines():
            name, _, value = line.partition(":")
            if name:
                fields[name] = value.removeprefix(" ")
        if "data" in fields:
            events.append(Event(fields.get("event", "message"), fields.get("id"), json.loads(fields["data"])))
    return events


class Client:
    """One stream, read as far as a test wants."""

    def __init__(self, events: AsyncIterator[bytes]) -> None:
        self._events, self.seen = events, list[Event]()

    async def until(self, true: Callable[[list[Event]], bool], timeout_s: float = 60.0) -> list[Event]:
        async with asyncio.timeout(timeout_s):
            while not true(self.seen):
                self.seen += parsed(await anext(self._events))
        return self.seen

    def seqs(self) -> list[int]:
        return [int(e.ident or 0) for e in self.seen if e.name == "entry"]


@asynccontextmanager
async def hub_over(fakes: Fakes, most: int = 20) -> AsyncIterator[Hub]:
    readers = Readers(timeout_s=2)
    hub = Hub(fakes.judge, fakes.journal, Watch(fakes.judge), readers, most)
    try:
        yield hub
    finally:
        hub.close()
        fakes.judge.show()  # wakes the pump
        await asyncio.to_thread(hub.join, 3)
        readers.stop()


async def opened(hub: Hub, after: int | None, viewer: Viewer = AS_IT_IS) -> Client:
    last = await hub.last_seq()
    hub.take_place("/api/1/stream", viewer)
    return Client(hub.events(after, last, viewer))


def entries(n: int) -> Callable[[list[Event]], bool]:
    return lambda seen: sum(e.name == "entry" for e in seen) >= n


def test_a_client_gets_a_picture_at_once_and_entries_as_they_come() -> None:
    async def run() -> None:
        fakes = Fakes(entries=5)
        async with hub_over(fakes) as hub:
            client = await opened(hub, None)
            await client.until(lambda seen: bool(seen))
            first = client.seen[0]
            assert first.name == "snapshot" and first.ident is None and first.data["verdict"]["verdict"] == "not_ready"
            assert {"points", "alarms", "seq", "at"} <= first.data.keys()
            fakes.journal.add("note", {"n": 6})
            fakes.judge.show()
            await client.until(entries(1))
            assert client.seqs() == [6]

    asyncio.run(run())


def test_what_came_after_the_first_picture_is_sent_though_it_was_on_disk_before() -> None:
    """A page reads back from its first picture on: what that doesn't take into account comes by the stream or not at all."""

    async def run() -> None:
        fakes = Fakes(entries=5)
        fakes.judge.show()
        for n in range(3):
            fakes.journal.add("note", {"n": n})  # on disk; the judge hasn't shown it yet
        async with hub_over(fakes) as hub:
            client = await opened(hub, None)
            await client.until(lambda seen: any(e.name == "snapshot" for e in seen))
            picture = next(e for e in client.seen if e.name == "snapshot")
            assert picture.data["seq"] == 5
            await client.until(entries(3))
            assert client.seqs() == [6, 7, 8]

    asyncio.run(run())


@pytest.mark.parametrize("before", [0, 1, 3, 700])
def test_a_resumed_client_misses_nothing_and_gets_nothing_twice(before: int) -> None:
    async def run() -> None:
        fakes = Fakes(entries=before)
        async with hub_over(fakes) as hub:
            client = await opened(hub, 0)
            for n in range(300):
                fakes.journal.add("note", {"n": n})
                if n % 50 == 0:
                    fakes.judge.show()
                    await client.until(entries(1 if before or n else 0))
            fakes.judge.show()
            await client.until(entries(before + 300))
            assert client.seqs() == list(range(1, before + 301))

    asyncio.run(run())


@pytest.mark.parametrize("after_the_clock_was_set", [False, True], ids=["sent before", "sent after"])
def test_entries_bear_their_time_as_known_when_they_are_sent(after_the_clock_was_set: bool) -> None:
    """The journal's stamps stand; an hour is what the clock was behind before it was set."""

    async def run() -> None:
        fakes, dates, hour_ms = Fakes(), Dates(), 3_600_000
        dates.note("boot-1", Now(0, START_MS, trusted=False))
        fakes.judge.show(dates=dates)
        async with hub_over(fakes) as hub:
            early = await opened(hub, None)
            await early.until(lambda seen: bool(seen))
            entry = fakes.journal.add("note", {})  # goes through the ring
            fakes.judge.show()
            await early.until(entries(1))
            assert early.seen[-1].data["dated_at"] == early.seen[-1].data["at"] == rfc3339(entry.wall_ms)
            if after_the_clock_was_set:
                dates.note("boot-1", Now(entry.mono_ms + 1, entry.wall_ms + 1 + hour_ms, trusted=True))
            late = await opened(hub, entry.seq - 1)
            await late.until(entries(1))
            (data,) = (e.data for e in late.seen if e.name == "entry")
            assert data["at"] == rfc3339(entry.wall_ms)
            assert data["dated_at"] == rfc3339(entry.wall_ms + hour_ms * after_the_clock_was_set)

    asyncio.run(run())


def test_one_pump_reads_for_all() -> None:
    async def run() -> None:
        fakes = Fakes(entries=3)
        async with hub_over(fakes) as hub:
            clients = [await opened(hub, None) for _ in range(10)]
            for client in clients:
                await client.until(lambda seen: bool(seen))
            reads = fakes.journal.reads
            for n in range(5):
                fakes.journal.add("note", {"n": n})
            fakes.judge.show()
            for client in clients:
                await client.until(entries(5))
                assert client.seqs() == [4, 5, 6, 7, 8]
            assert fakes.journal.reads - reads <= 15  # the pump's, and at most one per client that was quicker than it

    asyncio.run(run())


def test_a_change_of_verdict_or_alarm_is_shown_at_once() -> None:
    async def run() -> None:
        fakes = Fakes()
        async with hub_over(fakes) as hub:
            client = await opened(hub, None)
            await client.until(lambda seen: len(seen) >= 2)  # the first, and the pump's own first
            loop, verdict = asyncio.get_running_loop(), dict(fakes.judge.newest.verdict)
            for word in ("ready", "not_ready", "unknown"):
                began = loop.time()
                fakes.judge.show(verdict=verdict | {"verdict": word})
                await client.until(lambda seen, word=word: seen[-1].data["verdict"]["verdict"] == word)
                assert loop.time() - began < 0.5
            alarms = dict(fakes.judge.newest.alarms)
            alarms["outlet_tripped:heater"] = dict(alarms["outlet_tripped:heater"]) | {"state": "unacknowledged"}
            began = loop.time()
            fakes.judge.show(alarms=alarms)
            await client.until(
                lambda seen: seen[-1].data["alarms"]["outlet_tripped:heater"]["state"] == "unacknowledged"
            )
            assert loop.time() - began < 0.5

    asyncio.run(run())


def test_pictures_are_at_most_one_a_second_however_often_the_judge_renews_its_own() -> None:
    async def run() -> None:
        fakes = Fakes()
        async with hub_over(fakes) as hub:
            client = await opened(hub, None)
            reading = asyncio.create_task(client.until(lambda seen: len(seen) >= 4, timeout_s=60))
            loop = asyncio.get_running_loop()
            began = loop.time()
            while not reading.done():
                fakes.judge.show()
                await asyncio.sleep(0.005)
            await reading
            assert loop.time() - began >= 1.5  # the first at once, perhaps one that was due, the others a second apart

    asyncio.run(run())


def test_a_client_of_another_journal_is_told() -> None:
    async def run() -> None:
        fakes = Fakes(entries=4)
        async with hub_over(fakes) as hub:
            client = await opened(hub, 9000)
            await client.until(lambda seen: len(seen) >= 2)
            assert client.seen[0].name == "reset" and client.seen[0].data["last_seq"] == 4

    asyncio.run(run())


def test_a_store_that_fails_in_between_is_said_once_and_then_resumed() -> None:
    async def run() -> None:
        fakes = Fakes(entries=4)
        async with hub_over(fakes) as hub:
            client = await opened(hub, 0)
            fakes.break_store()
            await client.until(lambda seen: any(e.name == "trouble" for e in seen))
            assert "the disk refused a read" in next(e for e in client.seen if e.name == "trouble").data["why"]
            fakes.journal.fault = None
            fakes.judge.show()
            await client.until(entries(4))
            assert client.seqs() == [1, 2, 3, 4]
            assert sum(e.name == "trouble" for e in client.seen) == 1

    asyncio.run(run())


def test_places_are_counted_and_given_back() -> None:
    async def run() -> None:
        async with hub_over(Fakes(), most=2) as hub:
            one, _ = hub.take_place("/s"), hub.take_place("/s")
            with pytest.raises(Problem, match="all 2 live streams are taken") as caught:
                hub.take_place("/s")
            assert caught.value.status == 503 and caught.value.headers["retry-after"]
            hub.leave_place(one)
            hub.take_place("/s")

    asyncio.run(run())


def test_at_the_end_each_client_gets_a_last_word() -> None:
    async def run() -> None:
        async with hub_over(Fakes()) as hub:
            clients = [await opened(hub, None) for _ in range(3)]
            for client in clients:
                await client.until(lambda seen: bool(seen))
            hub.close()
            for client in clients:
                await client.until(lambda seen: seen[-1].name == "goodbye")
                with pytest.raises(StopAsyncIteration):
                    await anext(client._events)
            with pytest.raises(Problem, match="stopping"):
                hub.take_place("/s")

    asyncio.run(run())
