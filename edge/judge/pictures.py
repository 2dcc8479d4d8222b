"""The judge's pictures of the station: when the next is due, what people have to read beside it, and who waits for one."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from typing import Final, cast

from edge.domain.entries import Now
from edge.domain.messages import say
from edge.domain.readings import Quality, Reading
from edge.domain.settings import Settings
from edge.judge.inbox import OwnedStation
from edge.judge.picture import Unsaved, unknown_verdict, with_what_is_not_kept
from edge.snapshot import Items, Snapshot, VerdictPicture

#: a picture costs several times as much as to hear readings: where nothing asks for one at once, one is made after so much time of the
#: clock, and not sooner than SHORTEST_S real seconds where that clock runs fast
EVERY_MS: Final = 1000
SHORTEST_S: Final = 0.2
#: and after so many real seconds in any case
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
        self._is_urgent = False
        self._qualities: dict[str, Quality] = {}  # of each point's last reading
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

    def ask(self) -> None:
        """There is something that nobody should wait for."""
        self._is_urgent = True

    def heard(self, readings: Iterable[Reading]) -> None:
        """Readings came: the first one of a point, and one that is better or worse than its last, is shown at once."""
        for reading in readings:
            if self._qualities.get(reading.point) is not reading.quality:
                self._qualities[reading.point], self._is_urgent = reading.quality, True

    def due_in_s(self, now: Now) -> float:
        """Real seconds until a picture is due; 0 or less once it is."""
        since_s = self._mono_s() - self._made_s
        has_time_passed = now.mono_ms - self.newest.now.mono_ms >= EVERY_MS
        return -1.0 if self._is_urgent else (SHORTEST_S if has_time_passed else LONGEST_S) - since_s

    def make(
        self, now: Now, seq: int, station: OwnedStation, unsaved: Callable[[], Unsaved], stumbled: Callable[[str], None]
    ) -> None:
        """Picture the station; one that can't be asked is told by `stumbled`, and nothing of before stands as if it were live."""
        self._made_s = self._mono_s()
        self._is_urgent = False
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
