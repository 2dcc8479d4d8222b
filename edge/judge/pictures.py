"""The judge's pictures of the station: when the next is due, what people have to read beside it, and who waits for one."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Final, cast

from edge.domain.entries import Now
from edge.domain.messages import say
from edge.domain.settings import Settings
from edge.judge.inbox import OwnedStation
from edge.judge.picture import Unsaved, unknown_verdict, with_what_is_not_kept
from edge.snapshot import Items, Snapshot, VerdictPicture

#: a new picture at most this often (real seconds), unless an entry was made
PICTURE_EVERY_S: Final = 0.2
#: and at least this often
LONGEST_S: Final = 1.0
_PICTURING: Final = "picturing the station"


class Pictures:
    """Made by the judge's thread, read by any.

    Args:
        settings: of the station at the start.
        mono_s: real seconds that never go back.
    """

    def __init__(self, now: Now, settings: Settings, mono_s: Callable[[], float]) -> None:
        self._mono_s = mono_s
        verdict = unknown_verdict(now, say("picture.starting"), settings)
        self.newest = Snapshot(0, 0, now, verdict, settings=settings)
        self._changed = threading.Condition()
        self.remarks: Mapping[str, str] = {}
        self._is_news = self._is_urgent = False  # something to picture; and at once
        self._made_s = 0.0

    def remark(self, what: str, text: str) -> None:
        """Something that people have to read beside the verdict until it is over (`text` empty). Any thread."""
        remarks = {**self.remarks, what: text}
        self.remarks = {key: said for key, said in remarks.items() if said}

    def wait(self, version: int, timeout_s: float) -> Snapshot:
        """A picture newer than `version`, or the newest one when time (real seconds) ran out. Any thread."""
        with self._changed:
            self._changed.wait_for(lambda: self.newest.version > version, timeout_s)
            return self.newest

    def has_news(self, *, at_once: bool = False) -> None:
        """There is something to picture."""
        self._is_news, self._is_urgent = True, self._is_urgent or at_once

    def due_in_s(self) -> float:
        """Real seconds until what is news is due to be pictured; `inf` where nothing is."""
        return self._made_s + PICTURE_EVERY_S - self._mono_s() if self._is_news else float("inf")

    def is_due(self) -> bool:
        """Whether it is time for a picture."""
        since_s = self._mono_s() - self._made_s
        return self._is_urgent or since_s >= LONGEST_S or (self._is_news and since_s >= PICTURE_EVERY_S)

    def make(
        self, now: Now, seq: int, station: OwnedStation, unsaved: Callable[[], Unsaved], stumbled: Callable[[str], None]
    ) -> None:
        """Picture the station; one that can't be asked is told by `stumbled`, and nothing of before stands as if it were live."""
        self._made_s = self._mono_s()
        self._is_news = self._is_urgent = False
        items: Items = ()
        try:
            parts = station.points(now), station.alarms(now), station.estimates(now)
            verdict = cast(VerdictPicture, station.verdict(now))
            items = station.commissioning(now)
        except Exception:  # supervision border: an old picture must not stand as if it were live
            stumbled(_PICTURING)
            parts, items = ({}, {}, {}), ()
            verdict = unknown_verdict(now, say("picture.failed"), station.settings)
        verdict = with_what_is_not_kept(verdict, unsaved(), self.remarks.values())
        with self._changed:
            seen = dict(station.buses_seen)
            settings, units = station.settings, station.units
            self.newest = Snapshot(
                self.newest.version + 1, seq, now, verdict, *parts, station.dates, seen, settings, units, items
            )
            self._changed.notify_all()
