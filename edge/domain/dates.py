"""Which date something has that happened in some boot: by the monotonic time it was stamped with, and by what is known of the clock.

Nothing stored is ever re-dated; what is read from it is. Within a boot monotonic time runs on whatever the clock says, so the newest
trusted offset (wall - monotonic) of a boot dates all of it, also what was recorded before the clock was set or while it was wrong.
A boot whose dates reach beyond what a later boot's trusted clock showed was wrong: an older trusted offset of it is taken where that
fits, and where none does its dates can't be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from edge.domain.entries import Entry, Now, Stamp, rfc3339

#: two offsets of one boot that differ by less are one: clocks are set whole, slewing moves both
SAME_MS: Final = 1_000
#: a boot may seem to end this much after the next one began: two clocks that were right are never exactly so
OVERLAP_MS: Final = 300_000
#: boots that are remembered, of older ones what was stamped is taken; and stretches of one boot, the first and the newest
MOST_BOOTS: Final = 200
MOST_STRETCHES: Final = 50

#: why a date can't be relied on: it was recorded before the clock was set, or while the date was wrong
NEVER_SET: Final = "never_set"
WRONG_DATE: Final = "wrong_date"


class Dated(NamedTuple):
    """When something was stamped, as known now. `doubt`: why that date can't be relied on (NEVER_SET, WRONG_DATE); "" where it can."""

    wall_ms: int
    doubt: str = ""


class Dates:
    """What is known of the clock, boot by boot. `version` changes with what it would answer. One thread tells; `of` may be asked by any."""

    def __init__(self) -> None:
        self._boots: dict[
            str, list[list[int]]
        ] = {}  # boot -> [offset, trusted, mono of its first and of its last entry]
        self._chosen: dict[str, tuple[int | None, bool]] = {}
        self._boot = ""
        self.version = 0

    @property
    def boot(self) -> str:
        """The boot that was told of last; "" before any was."""
        return self._boot

    def note(self, boot: str, now: Now) -> None:
        """The clock showed this in this boot. Boots are told in their order."""
        rows = self._boots.get(boot)
        offset_ms = now.wall_ms - now.mono_ms
        if rows is not None and boot == self._boot:
            row = rows[-1]
            if row[1] == now.trusted and -SAME_MS <= row[0] - offset_ms <= SAME_MS:
                return
            if now.mono_ms < row[2]:  # told late
                return
        if rows is None:
            rows = self._boots[boot] = []
            if len(self._boots) > MOST_BOOTS:
                del self._boots[next(iter(self._boots))]
        rows.append([offset_ms, int(now.trusted), now.mono_ms, now.mono_ms])
        if len(rows) > MOST_STRETCHES:
            del rows[1]
        self._boot = boot
        self._choose()

    def reached(self, boot: str, mono_ms: int) -> None:
        """An entry of this boot has this time."""
        if boot == self._boot:
            self._boots[boot][-1][3] = mono_ms

    def _choose(self) -> None:
        """For each boot the offset that dates it, the newest boot first: each bounds those before it."""
        self.version += 1
        self._chosen = {}
        bound_ms: int | None = None
        for boot, rows in reversed(self._boots.items()):
            first_ms, last_ms = rows[0][2], rows[-1][3]
            trusted = [row[0] for row in reversed(rows) if row[1]]
            fits = [o for o in trusted if bound_ms is None or last_ms + o <= bound_ms + OVERLAP_MS]
            if fits:
                self._chosen[boot] = (fits[0], True)
                bound_ms = first_ms + fits[0]
            else:
                self._chosen[boot] = (None, bool(trusted))

    def of(self, stamp: Stamp) -> Dated:
        """The date of what was stamped so.

        In the present boot, as long as its clock was never trusted, ages are right all the same: its newest offset is taken.
        """
        offset_ms, was_trusted = self._chosen.get(stamp.boot, (None, False))
        if offset_ms is not None:
            return Dated(stamp.mono_ms + offset_ms)
        if stamp.boot not in self._boots:
            return Dated(stamp.wall_ms, "" if stamp.trusted else NEVER_SET)
        if stamp.boot == self._boot and not was_trusted:
            return Dated(stamp.mono_ms + self._boots[stamp.boot][-1][0])
        return Dated(stamp.wall_ms, WRONG_DATE if was_trusted else NEVER_SET)

    def between(self, boot: str) -> tuple[int | None, int | None]:
        """(when the last dated boot before this one was last heard of, when the first dated one after it began) [ms since 1970]: between
        them lies what happened in a boot without a date of its own; None where there is no such boot, or this one isn't known.
        """
        before: int | None = None
        is_past = False
        for one, rows in self._boots.items():
            offset_ms = self._chosen.get(one, (None, False))[0]
            if one == boot:
                is_past = True
            elif offset_ms is not None and is_past:
                return before, rows[0][2] + offset_ms
            elif offset_ms is not None:
                before = rows[-1][3] + offset_ms
        return (before, None) if is_past else (None, None)

    def nearest_ms(self, stamp: Stamp) -> int:
        """Its date as known now [ms since 1970]; where that can't be told the time it was stamped with, between the boots that have one.

        >>> Dates().nearest_ms(Stamp("boot-1", 5, 1_000, False))
        1000
        """
        dated = self.of(stamp)
        if not dated.doubt:
            return dated.wall_ms
        earliest_ms, latest_ms = self.between(stamp.boot)
        at_least = stamp.wall_ms if earliest_ms is None else max(stamp.wall_ms, earliest_ms)
        return at_least if latest_ms is None else min(at_least, latest_ms)

    def state(self) -> list[Any]:
        """What has to survive a restart, as JSON: in the order of the boots."""
        return [[boot, rows] for boot, rows in self._boots.items()]

    def restore(self, state: Sequence[Any]) -> None:
        """Take back what state() gave."""
        self._boots = {str(boot): [[int(n) for n in row] for row in rows] for boot, rows in state}
        self._boot = next(reversed(self._boots), "")
        self._choose()


def dated_json(entry: Entry, dates: Dates) -> dict[str, Any]:
    """An entry as it is shown: beside what it was stamped with `dated_at`, its time as known now; null where that can't be told."""
    dated = dates.of(entry.stamp)
    return entry.as_json() | {"dated_at": None if dated.doubt else rfc3339(dated.wall_ms)}


def claimed(claim_ms: int, stamp: Stamp, dated_ms: int) -> int:
    """When something happened of which a person said when: never later than it was recorded.

    Args:
        claim_ms: the time that was said, by whatever clock.
        stamp: of its recording.
        dated_ms: when it was recorded, as known now.

    What was said goes by the clock that the person saw. So it lies as long before its recording as it did then; where that clock
    is only now known to have been wrong, the earlier of this and of what was said is taken: nothing seems fresher than it is.
    """
    before_ms = stamp.wall_ms - claim_ms
    if before_ms < 0:  # said by a clock ahead of ours, or while ours had no date yet
        return min(claim_ms, dated_ms)
    if not stamp.trusted or abs(stamp.wall_ms - dated_ms) <= OVERLAP_MS:
        return dated_ms - before_ms
    return min(claim_ms, dated_ms - before_ms)
