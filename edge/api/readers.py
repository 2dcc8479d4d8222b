"""Blocking reads of the store, off the event loop: two daemon threads, a short queue, a time limit.

Not asyncio's own pool: a read that hangs on a dying card would keep the program from ending.
"""

from __future__ import annotations

import asyncio
import logging
import queue
import threading
from collections.abc import Callable
from typing import Any, Final, TypeVar

from edge.api.problems import Problem, as_problem
from edge.domain.errors import StoreFault, WarmwellError

log = logging.getLogger(__name__)
T = TypeVar("T")
_Job = tuple[Callable[[], Any], asyncio.AbstractEventLoop, "asyncio.Future[Any]"]


class Readers:
    """Runs store calls for the routes, a few at a time."""

    THREADS: Final = 2
    WAITING: Final = 16

    def __init__(self, timeout_s: float = 10.0, threads: int = THREADS, waiting: int = WAITING) -> None:
        self._timeout_s, self._most, self._waiting = timeout_s, threads, waiting
        self._jobs: queue.Queue[_Job | None] = queue.Queue(waiting)
        self._threads: list[threading.Thread] = []

    async def read(self, where: str, call: Callable[[], T]) -> T:
        """What `call` gives.

        Raises:
            Problem: 503, where the store can't be read, is too slow, or too many wait already.
        """
        self._start()
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[T] = loop.create_future()
        try:
            self._jobs.put_nowait((call, loop, answer))
        except queue.Full:
            raise Problem(
                503,
                "too many questions wait for the store",
                where=where,
                expected=f"at most {self._waiting} at a time",
                do="Ask again in some seconds",
                headers={"retry-after": "5"},
            ) from None
        try:
            async with asyncio.timeout(self._timeout_s):
                return await answer
        except Problem:
            raise
        except StoreFault as exc:
            raise as_problem(503, exc, {"retry-after": "10"}) from exc
        except WarmwellError as exc:  # the store understands, and can't do what was asked
            raise as_problem(422, exc) from exc
        except TimeoutError as exc:
            raise self._unreadable(where, f"the store gave no answer within {self._timeout_s:g} s") from exc
        except Exception as exc:  # supervision border: whatever a damaged store raises, page and verdict go on
            log.warning("reading for %s failed", where, exc_info=exc)
            raise self._unreadable(where, f"the store can't be read ({type(exc).__name__})") from exc

    def stop(self) -> None:
        """Let the threads end after what they do now."""
        for _ in self._threads:
            try:
                self._jobs.put_nowait(None)
            except queue.Full:
                return  # they are daemon threads: none holds up the end of the program

    def _start(self) -> None:
        while len(self._threads) < self._most:
            thread = threading.Thread(target=self._work, name=f"api-reader-{len(self._threads)}", daemon=True)
            self._threads.append(thread)
            thread.start()

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            call, loop, answer = job
            if answer.done():  # nobody waits any more
                continue
            result, fault = None, None
            try:
                result = call()
            except Exception as exc:  # handed on to the route, which turns it into a problem
                fault = exc
            try:
                loop.call_soon_threadsafe(_settle, answer, result, fault)
            except RuntimeError:
                return  # the loop is closed: the server has stopped

    @staticmethod
    def _unreadable(where: str, what: str) -> Problem:
        return Problem(
            503,
            what,
            where=where,
            expected="a readable store",
            do="See /health and the system journal; verdict and page go on without it",
            headers={"retry-after": "10"},
        )


def _settle(answer: asyncio.Future[Any], result: Any, fault: Exception | None) -> None:
    if answer.done():
        return
    if fault is not None:
        answer.set_exception(fault)
    else:
        answer.set_result(result)
