"""Hears one station by its API's live stream, and says at any moment how it is: what is old is said to be unknown.

A thread reads; whoever asks is told what it heard last, aged to now. Where the stream ends it is opened anew, after the last entry heard.
"""

from __future__ import annotations

import contextvars
import logging
import random
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final, Protocol

from edge.domain.back_off import BackOff
from edge.domain.errors import WarmwellError
from edge.faces.seen import NOBODY, Seen, later, read

log = logging.getLogger("warmwell.face")

#: real seconds between two tries
_FIRST_S: Final = 0.5
_LONGEST_S: Final = 15.0


class Event(Protocol):
    """An event of the stream; `seq` for entries."""

    @property
    def name(self) -> str: ...
    @property
    def seq(self) -> int | None: ...
    @property
    def data(self) -> Mapping[str, Any]: ...


#: opens the stream after an entry; None: from now on
Stream = Callable[[int | None], Iterator[Event]]


class Source:
    """A station as it is heard.

    Args:
        stream: opens the station's live stream, and raises a WarmwellError where it can't or no longer can.
        news: called in the reading thread after each event that changes something.
        entry: called in the reading thread with each entry of the journal, in order; one may come again.
        after: the last entry that is known; None: entries from now on.
    """

    def __init__(
        self,
        stream: Stream,
        *,
        news: Callable[[], None] = lambda: None,
        entry: Callable[[Mapping[str, Any]], None] = lambda _: None,
        after: int | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
        first_s: float = _FIRST_S,
    ) -> None:
        self._stream, self._news, self._entry, self._after = stream, news, entry, after
        self._monotonic_s = monotonic_s
        self._back_off = BackOff(first_s, _LONGEST_S)
        self._lock = threading.Lock()
        self._heard, self._heard_s, self._trouble, self._beats = NOBODY, monotonic_s(), "", 0
        self._stopping = threading.Event()
        # tokens that sign for what is asked are of the context of whoever made this
        self._thread = threading.Thread(
            target=contextvars.copy_context().run, args=(self._run,), name="face-source", daemon=True
        )

    def start(self) -> None:
        """Begin to hear."""
        self._thread.start()

    def stop(self) -> None:
        """Hear no more. The thread ends with its next event, or with this process."""
        self._stopping.set()

    def seen(self) -> Seen:
        """The station as it is known now."""
        with self._lock:
            return later(self._heard, self._monotonic_s() - self._heard_s, self._trouble)

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                for event in self._stream(self._after):
                    if self._stopping.is_set():
                        return
                    self._hear(event)
                self._say("the station ended its stream")
            except WarmwellError as trouble:
                self._say(str(trouble))
            except Exception as exc:  # supervision border: a thread that ends would never hear the station again
                log.exception("reading the station's stream failed")
                self._say(f"reading its stream failed ({type(exc).__name__})")
            self._news()
            self._stopping.wait(self._back_off.take_s() * random.uniform(0.5, 1.0))

    def _hear(self, event: Event) -> None:
        if event.name == "entry" and event.seq is not None:
            self._entry(event.data)
            self._after = event.seq
            self._news()
        elif event.name == "reset":  # another journal, or one that was put back: what comes from now on is news
            self._after = None
        elif event.name == "snapshot":
            try:
                heard = read(event.data)
            except (ValueError, TypeError, KeyError, AttributeError) as exc:
                self._say(f"the station's picture can't be read ({type(exc).__name__})")
                return
            with self._lock:
                self._beats += heard.is_live  # an old picture, which comes after each reconnection, is no judgement
                self._heard = replace(heard, heartbeat=self._beats)
                self._heard_s, self._trouble = self._monotonic_s(), ""
            self._back_off.begin_anew()
            self._news()

    def _say(self, trouble: str) -> None:
        with self._lock:
            self._trouble = trouble
