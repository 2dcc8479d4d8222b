"""What the faces that tell by themselves share: one thing after the other, tried again until it was taken."""

from __future__ import annotations

import asyncio
import logging
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from edge.domain.back_off import BackOff
from edge.domain.entries import Entry
from edge.faces.outbox import Outbox
from edge.faces.seen import NOBODY, Seen

log = logging.getLogger("warmwell.face")

#: real seconds between two tries
_FIRST_S: Final = 1.0
_LONGEST_S: Final = 60.0


class TellingFace(ABC):
    """A face that tells its receiver of each change of an alarm."""

    name: str

    def __init__(self, outbox: Outbox, first_s: float = _FIRST_S) -> None:
        self._outbox = outbox
        self._seen = NOBODY
        self._more = asyncio.Event()
        self._back_off, self._trouble = BackOff(first_s, _LONGEST_S), ""

    @property
    def after(self) -> int | None:
        """The last entry that is told; None: nothing was ever."""
        return self._outbox.after

    @abstractmethod
    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """The list for whoever receives: what can come."""

    @abstractmethod
    async def tell(self, entry: Entry, seen: Seen) -> str:
        """Tell it: "" where it was taken, else why not. `seen`: the station now."""

    def show(self, seen: Seen) -> None:
        self._seen = seen
        self._outbox.show(seen)
        self._more.set()

    def hear(self, entry: Mapping[str, Any]) -> None:
        self._outbox.hear(entry)
        self._more.set()

    async def serve(self, opened: Callable[[], None]) -> None:
        """Until cancelled."""
        opened()
        while True:
            self._more.clear()
            entry = self._outbox.first()
            if entry is None:
                await self._more.wait()
                continue
            self._say(await self.tell(entry, self._seen))
            if self._trouble:
                await asyncio.sleep(self._back_off.take_s())
            else:
                self._outbox.took(entry)
                self._back_off.begin_anew()

    def _say(self, trouble: str) -> None:
        """Once, until it is something else."""
        if trouble != self._trouble:
            log.log(
                logging.WARNING if trouble else logging.INFO,
                "%s: %s",
                self.name,
                trouble or "the receiver takes what it is told",
            )
        self._trouble = trouble
