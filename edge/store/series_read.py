"""Readings as they are read back: row by row for exports, drawn together to buckets for charts."""

from __future__ import annotations

import heapq
import sqlite3
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import chain
from operator import itemgetter
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.readings import Kind, Reading
from edge.store import slots, tail
from edge.store.clockmap import BootClock, Note
from edge.store.database import SERIES_FILE, Readers
from edge.store.packing import Columns, unpack
from edge.store.rollup import HOUR_MS, MINUTE_MS, QUALITIES, Read, Span, Spans, fold

#: the most buckets that one question gets
MOST_BUCKETS: Final = 2000
#: the longest span that is drawn from readings themselves; beyond it minutes are the finest
LONGEST_RAW_MS: Final = 6 * HOUR_MS
#: from this width on, buckets are drawn from hours
HOURS_FROM_MS: Final = 6 * HOUR_MS
#: sealed hours whose time was not trusted yet (no rollups): so many of the newest are read for one chart
_MOST_UNROLLED: Final = 200
_TIME: Final = itemgetter(0)


class PointFacts(NamedTuple):
    """What the store knows of a point, without the station file. `hold_ms`: how long a reading stands at most."""

    number: int
    id: str
    role: str
    kind: str
    unit: str
    hold_ms: int


class Row(NamedTuple):
    """One reading with its wall time, and whether that is trusted."""

    wall_ms: int
    trusted: bool
    boot: str
    reading: Reading


class Packed(NamedTuple):
    """Readings of one hour of monotonic time as they stand in the store. `point` 0: all points together."""

    point: int
    data: bytes


class SeriesReader:
    """The readings of a folder, in this process or another; takes no lock and writes nothing.

    Raises:
        UnusableInput: there are no readings in the folder.
    """

    def __init__(self, folder: Path, on_damage: Callable[[], None] | None = None) -> None:
        self.path = folder / SERIES_FILE
        if not self.path.is_file():
            raise UnusableInput(
                "there are no readings",
                where=str(folder),
                expected=f"a folder with {SERIES_FILE}",
                do="Name the folder that [keep] of the station file names",
            )
        self._readers = Readers(self.path, on_damage)
        self.unreadable_blocks = 0

    def close(self) -> None:
        self._readers.close()

    def points(self) -> list[PointFacts]:
        """Every point that ever had readings here, by id."""
        rows = self._rows("SELECT number, id, role, kind, unit, hold_ms FROM point ORDER BY id")
        return [PointFacts(*row) for row in rows]

    def readings_sealed(self) -> int:
        """How many readings stand in sealed hours: about how long an export of all is."""
        return int(self._rows("SELECT coalesce(sum(n), 0) FROM block")[0][0])

    # -- row by row

    def rows(
        self, from_wall_ms: int | None = None, to_wall_ms: int | None = None, points: Sequence[str] | None = None
    ) -> Iterator[Row]:
        """Readings with wall time in [from, to), boot by boot in order of monotonic time; an hour at a time in memory.

        Readings of a boot that never noted a clock have no wall time and are left out.
        """
        facts = {fact.number: fact for fact in self.points() if points is None or fact.id in points}
        begin, end = _bounds(from_wall_ms, to_wall_ms)
        clocks = self.clocks()
        for boot, name in self._boots():
            clock = clocks.get(boot)
            if clock is None:
                continue
            for from_mono_ms, to_mono_ms in clock.spans(begin, end):
                yield from self._rows_of(boot, name, clock, facts, from_mono_ms, to_mono_ms)

    def _rows_of(
        self, boot: int, name: str, clock: BootClock, facts: dict[int, PointFacts], from_mono_ms: int, to_mono_ms: int
    ) -> Iterator[Row]:
        for hour in self._hours(boot, from_mono_ms, to_mono_ms, self._open_hours()):
            columns = self._columns(boot, hour, list(facts))
            streams = [_in_order(facts[number].id, parts) for number, parts in sorted(columns.items())]
            for reading in heapq.merge(*streams, key=lambda r: r.mono_ms):
                stretch = clock.at(reading.mono_ms)
                if stretch is not None and from_mono_ms <= reading.mono_ms < to_mono_ms:
                    yield Row(stretch.wall_ms(reading.mono_ms), stretch.trusted, name, reading)

    # -- drawn together

    def buckets(self, point: str, from_wall_ms: int, to_wall_ms: int, n: int) -> list[dict[str, Any]]:
        """At most `n` equally wide buckets over [from, to), from the tier that fits the width; empty ones are gaps.

        Each: {"from", "to" (RFC 3339), "n" (readings with a value), "min", "mean" (time-weighted), "max", "worst"
        (quality, null where there is nothing), "reason" (of the newest bad reading, where no value is in it; null for what an
        older version drew together), "covered" (share of the bucket in which a value stood, 0 to 1)}; for a flow also
        "volume_l" (null where nothing stood). Widths are whole minutes or hours where the tier is, so the first
        bucket may begin earlier.

        Raises:
            UnusableInput: an unknown point, or a span that ends before it begins.
            StoreFault: the disk refuses.
        """
        fact = self._fact(point)
        if not from_wall_ms < to_wall_ms or n < 1:
            raise UnusableInput(
                f"{n} buckets from {from_wall_ms} to {to_wall_ms}",
                where=f"readings of {point}",
                expected="at least one bucket and a span that ends after it begins",
                do="Swap from and to",
            )
        frame, by_point = self._filled(_frames(from_wall_ms, to_wall_ms, min(n, MOST_BUCKETS)), [fact])
        spans = by_point[fact.number]
        return [_bucket(frame, index, spans.get(index), fact.kind) for index in range(frame.number)]

    def trend(self, points: Sequence[str], from_wall_ms: int, width_ms: int, n: int) -> dict[str, Any]:
        """Several points over the same buckets, `n` of them from `from_wall_ms` on, drawn from as few rows as their width allows.

        Returns {"from_ms", "width_ms", "n", "points": {id: columns}}; columns are equally long lists: "min", "mean" and "max"
        (null where nothing stood), "worst" (quality, null where there is nothing), "reason" (where no value is) and "covered" (0
        to 1). A point that the store doesn't know has none. Widths from a minute on are whole minutes, from an hour on whole hours;
        where what is finer is no longer kept, buckets are wider and fewer than asked for. Of one bucket at most 60 rows are read,
        or the readings of LONGEST_RAW_MS in all.

        Raises:
            UnusableInput: no buckets, or ones without width.
            StoreFault: the disk refuses.
        """
        if n < 1 or width_ms < 1:
            raise UnusableInput(
                f"{n} buckets of {width_ms} ms", where="trend", expected="at least one of at least 1 ms", do="Ask for a span"
            )  # fmt: skip
        known = {fact.id: fact for fact in self.points()}
        facts = [known[point] for point in points if point in known]
        frame, spans = self._filled(_trend_frames(from_wall_ms, width_ms, min(n, MOST_BUCKETS)), facts)
        columns = {fact.id: _columns_of(frame, spans[fact.number]) for fact in facts}
        return {"from_ms": frame.from_ms, "width_ms": frame.width_ms, "n": frame.number, "points": columns}

    def _filled(self, frames: Sequence[_Frame], facts: Sequence[PointFacts]) -> tuple[_Frame, dict[int, Spans]]:
        """The first of the frames in which there is anything, else the first; and by point its spans."""
        for frame in frames:
            spans = self._spans(facts, frame)
            if any(spans.values()):
                return frame, spans
        return frames[0], {fact.number: {} for fact in facts}

    def _spans(self, facts: Sequence[PointFacts], frame: _Frame) -> dict[int, Spans]:
        spans: dict[int, Spans] = {fact.number: {} for fact in facts}
        if frame.tier_ms:
            self._add_rollups(facts, frame, spans)
        clocks, longest_ms = self.clocks(), max((fact.hold_ms for fact in facts), default=0)
        open_hours = self._open_hours()
        boots = self._unrolled_boots(open_hours) if frame.tier_ms else clocks.keys()
        for boot in clocks.keys() & boots:
            clock = clocks[boot]
            for begin, end in clock.spans(frame.from_ms, frame.to_ms):
                hours = self._hours(boot, begin - longest_ms, end, open_hours, unrolled=bool(frame.tier_ms))
                self._add_readings(facts, frame, spans, boot, clock, hours[-_MOST_UNROLLED:], begin, end)
        return spans

    def _add_rollups(self, facts: Sequence[PointFacts], frame: _Frame, spans: Mapping[int, Spans]) -> None:
        tier = "hour" if frame.tier_ms == HOUR_MS else "minute"
        reason = "reason" if self._has_reasons() else "NULL"
        sql = (
            f"SELECT (at * ? - ?) / ? AS bucket, sum(n), min(low), max(high), sum(integral), sum(covered_ms), max(worst),"
            f" substr(max(CASE WHEN {reason} IS NOT NULL THEN printf('%019d', at) || {reason} END), 20)"
            f" FROM {tier} WHERE point = ? AND at >= ? AND at < ? GROUP BY bucket"
        )
        first, end = frame.from_ms // frame.tier_ms, -(-frame.to_ms // frame.tier_ms)
        for fact in facts:
            rows = self._rows(sql, frame.tier_ms, frame.from_ms, frame.width_ms, fact.number, first, end)
            spans[fact.number].update((bucket, Span(*values)) for bucket, *values in rows)

    def _has_reasons(self) -> bool:
        """Not the rollups of an older version that is read as it stands."""
        return bool(self._rows("SELECT 1 FROM pragma_table_info('minute') WHERE name = 'reason'"))

    def _add_readings(
        self,
        facts: Sequence[PointFacts],
        frame: _Frame,
        spans: Mapping[int, Spans],
        boot: int,
        clock: BootClock,
        hours: Sequence[int],
        begin_ms: int,
        end_ms: int,
    ) -> None:
        """Fold the readings of some hours, each read once for all points. The one before the span lends its value to the beginning."""
        numbers = [fact.number for fact in facts]
        parts = [self._columns(boot, hour, numbers, bool(frame.tier_ms)) for hour in hours]
        for fact in facts:
            for stretch in clock.within(begin_ms, end_ms) if parts else ():
                first_ms, last_ms = stretch.from_mono_ms - fact.hold_ms, stretch.to_mono_ms
                fold(
                    chain.from_iterable(_read(part.get(fact.number, []), first_ms, last_ms) for part in parts),
                    fact.hold_ms,
                    stretch.offset_ms - frame.from_ms,
                    stretch.to_mono_ms,
                    frame.width_ms,
                    spans[fact.number],
                    stretch.from_mono_ms,
                )

    def _fact(self, point: str) -> PointFacts:
        rows = self._rows("SELECT number, id, role, kind, unit, hold_ms FROM point WHERE id = ?", point)
        if not rows:
            raise UnusableInput(
                f"there is no point {point!r}",
                where=str(self.path),
                expected="a point of the station file",
                do="Look at /api/1/points for the names",
            )
        return PointFacts(*rows[0])

    # -- what stands in the file

    def clocks(self) -> dict[int, BootClock]:
        """The clock map, by the boot's number."""
        notes: dict[int, list[Note]] = {}
        for boot, from_mono_ms, offset_ms, trusted in self._clock_notes():
            notes.setdefault(boot, []).append(Note(from_mono_ms, offset_ms, bool(trusted)))
        return {boot: BootClock(of_boot) for boot, of_boot in notes.items()}

    def _clock_notes(self) -> list[tuple[int, int, int, int]]:
        return self._rows("SELECT boot, from_mono_ms, offset_ms, trusted FROM clock")

    def _boots(self) -> list[tuple[int, str]]:
        return self._rows("SELECT number, id FROM boot ORDER BY number")

    def _open_hours(self) -> set[tuple[int, int]]:
        """(boot, hour) of those that aren't sealed yet. To be asked before blocks: one that is sealed meanwhile is found there."""
        in_tail = self._in_tail()
        return self._readers.ask(
            lambda conn: slots.live_hours(conn) | {(batch.boot, batch.hour) for batch in tail.live(conn, in_tail)}
        )

    def _in_tail(self) -> list[tail.Record]:
        """Batches of the tail. To be asked before the file: one that is moved meanwhile is found there."""
        return tail.records(self.path)

    def _unrolled_boots(self, open_hours: Iterable[tuple[int, int]]) -> set[int]:
        """Boots of which the rollups don't hold all yet: few of many."""
        is_one = "EXISTS (SELECT 1 FROM block WHERE boot = boot.number AND rolled_up = 0)"
        return {row[0] for row in self._rows(f"SELECT number FROM boot WHERE {is_one}")} | {
            boot for boot, _ in open_hours
        }

    def _hours(
        self,
        boot: int,
        from_mono_ms: int,
        to_mono_ms: int,
        open_hours: Iterable[tuple[int, int]],
        unrolled: bool = False,
    ) -> list[int]:
        """Hours of a boot that have readings. `unrolled`: only those that the rollups don't hold yet."""
        first, last = max(from_mono_ms // HOUR_MS, 0), min((to_mono_ms - 1) // HOUR_MS, 2**40)
        sql = "SELECT DISTINCT hour FROM block WHERE boot = ? AND hour BETWEEN ? AND ?"
        only = " AND rolled_up = 0" if unrolled else ""  # so written it has an index of its own
        rows = self._rows(sql + only, boot, first, last)
        return sorted({row[0] for row in rows} | {h for b, h in open_hours if b == boot and first <= h <= last})

    def _packed(self, boot: int, hour: int, unrolled: bool) -> list[Packed]:
        """What there is of one hour, in one read: sealed blocks and batches."""
        sql = "SELECT point, packed FROM block WHERE boot = ? AND hour = ? AND (NOT ? OR rolled_up = 0)"

        in_tail = [one for one in self._in_tail() if (one.batch.boot, one.batch.hour) == (boot, hour)]

        def question(conn: sqlite3.Connection) -> list[Packed]:
            conn.execute("BEGIN")  # so that an hour that is sealed meanwhile is seen once
            try:
                sealed = [Packed(*row) for row in conn.execute(sql, (boot, hour, unrolled)).fetchall()]
                batches = slots.live(conn, boot, hour) + tail.live(conn, in_tail)
                return sealed + [Packed(0, batch.packed) for batch in batches]
            finally:
                conn.execute("ROLLBACK")

        return self._readers.ask(question)

    def _columns(
        self, boot: int, hour: int, numbers: Sequence[int], unrolled: bool = False
    ) -> dict[int, list[Columns]]:
        """The readings of one hour, by the point's number; parts that can't be unpacked are counted and left out."""
        wanted = set(numbers)
        columns: dict[int, list[Columns]] = {}
        for packed in self._packed(boot, hour, unrolled):
            if packed.point and packed.point not in wanted:
                continue
            try:
                parts = unpack(packed.data)
            except ValueError:
                self.unreadable_blocks += 1  # one block of one hour is lost; the rest is as good as it was
                continue
            for number, part in parts.items():
                if number in wanted:
                    columns.setdefault(number, []).append(part)
        return columns

    def _rows(self, sql: str, *values: object) -> list[Any]:
        return self._readers.ask(lambda conn: conn.execute(sql, values).fetchall())


class _Frame(NamedTuple):
    """Buckets to fill: equally wide from `from_ms` on. `tier_ms` 0: from readings; else from rollups of this length."""

    from_ms: int
    width_ms: int
    number: int
    tier_ms: int

    @property
    def to_ms(self) -> int:
        return self.from_ms + self.number * self.width_ms


def _frames(from_ms: int, to_ms: int, n: int) -> list[_Frame]:
    """The frame that fits best, and coarser ones for when its tier is no longer kept."""
    width_ms = -(-(to_ms - from_ms) // n)
    frames = []
    if to_ms - from_ms <= LONGEST_RAW_MS:
        frames.append(_Frame(from_ms, width_ms, -(-(to_ms - from_ms) // width_ms), 0))
    if width_ms < HOURS_FROM_MS:
        frames.append(_aligned(from_ms, to_ms, n, MINUTE_MS))
    if to_ms - from_ms >= HOUR_MS:
        frames.append(_aligned(from_ms, to_ms, n, HOUR_MS))
    return frames


def _trend_frames(from_ms: int, width_ms: int, n: int) -> list[_Frame]:
    """As _frames, for buckets of a given width."""
    to_ms, frames = from_ms + n * width_ms, []
    if width_ms < MINUTE_MS and to_ms - from_ms <= LONGEST_RAW_MS:
        frames.append(_Frame(from_ms, width_ms, n, 0))
    for tier_ms in (MINUTE_MS, HOUR_MS):
        if tier_ms == HOUR_MS or width_ms < HOUR_MS:
            wide_ms = -(-width_ms // tier_ms) * tier_ms
            begin_ms = from_ms // tier_ms * tier_ms
            frames.append(_Frame(begin_ms, wide_ms, -(-(to_ms - begin_ms) // wide_ms), tier_ms))
    return frames


def _aligned(from_ms: int, to_ms: int, n: int, tier_ms: int) -> _Frame:
    begin_ms = from_ms // tier_ms * tier_ms
    width_ms = -(-(to_ms - begin_ms) // (n * tier_ms)) * tier_ms
    return _Frame(begin_ms, width_ms, -(-(to_ms - begin_ms) // width_ms), tier_ms)


def _bucket(frame: _Frame, index: int, span: Span | None, kind: str) -> dict[str, Any]:
    begin_ms = frame.from_ms + index * frame.width_ms
    span = span or Span()
    bucket: dict[str, Any] = {
        "from": rfc3339(begin_ms),
        "to": rfc3339(begin_ms + frame.width_ms),
        "n": span.n,
        "min": span.low,
        "mean": _between(span),
        "max": span.high,
        "worst": QUALITIES[span.worst].value if span.worst >= 0 else None,
        "reason": None if span.n else span.reason,
        "covered": min(1.0, span.covered_ms / frame.width_ms),
    }
    if kind == Kind.FLOW:
        bucket["volume_l"] = span.integral / MINUTE_MS if span.covered_ms else None  # L/min times ms
    return bucket


def _columns_of(frame: _Frame, spans: Spans) -> dict[str, list[Any]]:
    nothing = Span()
    row = [spans.get(index, nothing) for index in range(frame.number)]
    return {
        "min": [span.low for span in row],
        "mean": [_between(span) for span in row],
        "max": [span.high for span in row],
        "worst": [QUALITIES[span.worst].value if span.worst >= 0 else None for span in row],
        "reason": [None if span.n else span.reason for span in row],
        "covered": [min(1.0, span.covered_ms / frame.width_ms) for span in row],
    }


def _between(span: Span) -> float | None:
    """The mean, kept between min and max: dividing the integral can miss them by a last digit."""
    mean = span.mean()
    if mean is None or span.low is None or span.high is None:
        return mean
    return min(max(mean, span.low), span.high)


def _in_order(point: str, parts: Iterable[Columns]) -> Iterable[Reading]:
    readings = [reading for part in parts for reading in part.readings(point)]
    readings.sort(key=lambda reading: reading.mono_ms)
    return readings


def _read(parts: Iterable[Columns], first_ms: int, last_ms: int) -> list[Read]:
    """Each reading in [first, last), in order: what a fold needs, without the rest."""
    found: list[Read] = []
    for part in parts:
        qualities, reasons = [quality for quality, _ in part.table], [reason for _, reason in part.table]
        found += zip(
            part.mono_ms,
            part.values,
            map(qualities.__getitem__, part.marks),
            map(reasons.__getitem__, part.marks),
            strict=True,
        )
    found.sort(key=_TIME)
    return found[bisect_left(found, first_ms, key=_TIME) : bisect_left(found, last_ms, key=_TIME)]


def _bounds(from_wall_ms: int | None, to_wall_ms: int | None) -> tuple[int, int]:
    return (
        -(2**52) if from_wall_ms is None else from_wall_ms,
        2**52 if to_wall_ms is None else to_wall_ms,
    )
