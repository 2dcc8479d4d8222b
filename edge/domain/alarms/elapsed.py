"""How long ago something was: over restarts, and whatever the clock did. Shelves and repeated announcements end by it."""

from __future__ import annotations

from edge.domain.alarms.states import Alarm
from edge.domain.alarms.unanswered import due_in_ms
from edge.domain.dates import Dates
from edge.domain.entries import Now, Stamp


class Elapsed:
    """By this boot's monotonic time; of an earlier boot by what is known of dates."""

    def __init__(self, boot: str, dates: Dates) -> None:
        self._boot, self._dates = boot, dates

    def stamp(self, now: Now) -> Stamp:
        """This instant, to be asked for later."""
        return Stamp(self._boot, *now)

    def since_ms(self, stamp: Stamp, now: Now) -> int:
        """How long ago that was. After a restart in another boot the time without power counts as far as dates can tell; where they
        can't, it is counted from the beginning of this boot: what waits for its end comes all the same.
        """
        if stamp.boot == self._boot:
            return now.mono_ms - stamp.mono_ms
        dated = self._dates.of(stamp)
        passed_ms = now.wall_ms - dated.wall_ms if now.trusted and not dated.doubt else 0
        return max(passed_ms, now.mono_ms)

    def shelf_left_ms(self, alarm: Alarm, now: Now) -> int | None:
        """How much of an alarm's shelf is left; nought or less: it is over. None: there is none."""
        shelf = alarm.aside.shelf
        return None if shelf is None else shelf.for_ms - self.since_ms(shelf.since, now)

    def shelf_ends_ms(self, alarm: Alarm, now: Now) -> int | None:
        """The end of an alarm's shelf, milliseconds since 1970; None: there is none."""
        left_ms = self.shelf_left_ms(alarm, now)
        return None if left_ms is None else now.wall_ms + left_ms

    def rings_in_ms(self, alarm: Alarm, now: Now) -> int | None:
        """Until an alarm that nobody has answered is announced again; nought or less: it is due. None: never."""
        waits = alarm.announced
        if waits is None:
            return None
        since_last, since_first = (self.since_ms(stamp, now) for stamp in (waits.last, waits.first))
        return due_in_ms(alarm.row, waits.again, waits.escalated, since_last, since_first)
