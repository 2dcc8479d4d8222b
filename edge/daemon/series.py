"""The readings' store as the other parts hold it: always there, whatever becomes of the file behind it.

A readings' store that can't be opened, or that has to be opened anew because points were added, is no reason for the judge
to stop or for the API to be built again.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Any

from edge.config import KeepPlan
from edge.domain.entry_bodies import FileRepair
from edge.domain.errors import NewerStore, StoreFault
from edge.domain.readings import Reading
from edge.domain.settings import Point
from edge.store.retention import Retention
from edge.store.series import Series
from edge.store.space import Space

log = logging.getLogger("warmwell.daemon")


class CurrentSeries:
    """Hands everything on to the series that is open now; without one, readings are counted as lost."""

    def __init__(self, keep: KeepPlan, boot: str, space: Space) -> None:
        self._keep, self._boot, self._space = keep, boot, space
        self._points: tuple[Point, ...] = ()
        self._inner: Series | None = None
        self._why = "not opened yet"
        self._lost = 0
        self._clock: tuple[str, int, int, bool] | None = None

    def open(self, points: Sequence[Point]) -> bool:
        """Open it for these points, beside one that is open already, then let go of that. False where the disk refuses."""
        keep = self._keep
        try:
            fresh = Series(
                keep.folder,
                points,
                self._boot,
                retention=Retention(keep.raw_ms, keep.minutes_ms, keep.hours_ms, keep.size_bytes),
                space=self._space,
            )
        except (StoreFault, NewerStore) as fault:
            if str(fault) != self._why:
                log.error("%s The station is watched all the same.", fault)
            self._why = str(fault)
            return False
        if self._clock is not None:
            fresh.note_clock(*self._clock)
        old, self._inner, self._points, self._why = self._inner, fresh, tuple(points), ""
        if old is not None:
            old.close()
        return True

    def look(self) -> None:
        """Try again to open one that could not be opened."""
        if self._inner is None and self._points:
            self.open(self._points)

    def wanted(self, points: Sequence[Point]) -> None:
        """Open it now, or, where the disk refuses, later."""
        if not self.open(points):
            self._points = tuple(points)

    # -- for the judge

    def append(self, readings: Sequence[Reading]) -> None:
        """Take readings over. Never waits for the disk."""
        if self._inner is not None:
            self._inner.append(readings)
        else:
            self._lost += len(readings)

    def note_clock(self, boot: str, mono_ms: int, offset_ms: int, trusted: bool) -> None:
        """From this instant on, wall time is `mono_ms + offset_ms`."""
        self._clock = (boot, mono_ms, offset_ms, trusted)
        if self._inner is not None:
            self._inner.note_clock(boot, mono_ms, offset_ms, trusted)

    # -- for the API

    def buckets(self, point: str, from_wall_ms: int, to_wall_ms: int, n: int) -> list[dict[str, Any]]:
        """Readings thinned to buckets; see edge.store.series_read. Raises StoreFault where there is no store now."""
        return self._there().buckets(point, from_wall_ms, to_wall_ms, n)

    def trend(self, points: Sequence[str], from_wall_ms: int, width_ms: int, n: int) -> dict[str, Any]:
        """Several points over the same buckets; see edge.store.series_read. Raises StoreFault where there is no store now."""
        return self._there().trend(points, from_wall_ms, width_ms, n)

    def _there(self) -> Series:
        if self._inner is None:
            raise StoreFault(
                f"the readings can't be read now ({self._why})", where="readings", expected="an open store",
                do="Wait: it is tried again by itself",
            )  # fmt: skip
        return self._inner

    # -- for the daemon

    def take_repairs(self) -> list[FileRepair]:
        """Bodies for `repair` entries."""
        return self._inner.take_repairs() if self._inner is not None else []

    def status(self) -> dict[str, Any]:
        """For /health and the alarm `disk_low`."""
        if self._inner is not None:
            return self._inner.status()
        return {**self._space.status(), "trouble": self._why, "lost_readings": self._lost}

    def close(self) -> None:
        """Write what there is and let go. May be called twice."""
        if self._inner is not None:
            self._inner.close(3.0)
