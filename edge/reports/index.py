"""Which entries a journal has, by when they were stamped and what kind they are: enough to read afterwards only those that are needed."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Mapping
from typing import Any, Final

from edge.domain.dates import Dates
from edge.domain.entries import Stamp
from edge.store.export import may_lie

#: kinds of entries each of which says when somebody watched
_RUNS: Final = ("started", "stopped")
#: and those of which the last one says how things stood
_STATES: Final = ("phase", "verdict")


class Index:
    """Of each entry 26 bytes, and of those of alarms 17 more, so that years of them fit a small board."""

    def __init__(self) -> None:
        self._boots: dict[str, int] = {}
        self._seqs, self._monos, self._walls = array("q"), array("q"), array("q")
        self._of_boot, self._trusted = array("L"), array("B")
        self._runs: list[int] = []  # positions
        self._states: dict[str, array[int]] = {kind: array("q") for kind in _STATES}
        self._alarms: dict[str, int] = {}
        self._alarm_seqs, self._of_alarm, self._is_over = array("q"), array("L"), array("B")

    @property
    def last_seq(self) -> int:
        """Of the last entry that was added; 0 for none."""
        return self._seqs[-1] if self._seqs else 0

    def add(self, seq: int, stamp: Stamp, kind: str, body: Mapping[str, Any]) -> None:
        """The next entry; `body`: of an alarm."""
        if kind == "alarm":
            self._alarm_seqs.append(seq)
            self._of_alarm.append(self._alarms.setdefault(str(body["id"]), len(self._alarms)))
            self._is_over.append(body["to"] == "normal")
        elif kind in _RUNS:
            self._runs.append(len(self._seqs))
        elif kind in _STATES:
            self._states[kind].append(seq)
        self._seqs.append(seq)
        self._monos.append(stamp.mono_ms)
        self._walls.append(stamp.wall_ms)
        self._of_boot.append(self._boots.setdefault(stamp.boot, len(self._boots)))
        self._trusted.append(stamp.trusted)

    def between(self, dates: Dates, from_ms: int, to_ms: int) -> tuple[int, int]:
        """The first and the last seq whose entry is, or may be, of [from, to). Of none: one behind the last before it, and that one."""
        boots, first, last, before = list(self._boots), 0, 0, 0
        offsets_ms = [_offset_ms(dates, boot) for boot in boots]
        for at, seq in enumerate(self._seqs):
            of_boot = self._of_boot[at]
            offset_ms = offsets_ms[of_boot]
            if offset_ms is not None:
                at_ms = self._monos[at] + offset_ms
                lies, is_before = from_ms <= at_ms < to_ms, at_ms < from_ms
            else:
                stamp = Stamp(boots[of_boot], self._monos[at], self._walls[at], bool(self._trusted[at]))
                lies, is_before = may_lie(stamp, dates, from_ms, to_ms), may_lie(stamp, dates, None, from_ms)
            if lies:
                first, last = first or seq, seq
            elif is_before:
                before = seq
        return (first, last) if first else (before + 1, before)

    def before(self, first: int) -> list[int]:
        """The seqs before this one that say how things stood then: each start, with what came last before it, and stop; the last phase and
        verdict; the last entry of all; and of each alarm that stood then what became of it since it had begun."""
        found = {self._seqs[at] for run in self._runs for at in (run - 1, run) if at >= 0}
        for seqs in (*self._states.values(), self._seqs):
            found.update(seqs[max(bisect_left(seqs, first) - 1, 0) : bisect_left(seqs, first)])
        stands: dict[int, list[int]] = {}
        for seq, alarm, is_over in zip(self._alarm_seqs, self._of_alarm, self._is_over, strict=True):
            if seq >= first:
                break
            if is_over:
                stands.pop(alarm, None)
            else:
                stands.setdefault(alarm, []).append(seq)
        found |= {seq for seqs in stands.values() for seq in seqs}
        return sorted(seq for seq in found if 0 < seq < first)


def _offset_ms(dates: Dates, boot: str) -> int | None:
    """What makes a date of a boot's monotonic time; None where nothing does for all of its entries."""
    probe = dates.of(Stamp(boot, 0, 0, False))
    return None if probe.doubt else probe.wall_ms
