"""Readings drawn together over spans of wall time: n, min, max, time-weighted mean, worst quality, covered share, reason.

A reading stands until the next one of its point, and no longer than the point's stale limit; a bad one stands for
nothing. So a gap stays a gap, and a mean is not pulled by how often a sensor happened to be read. Everything that is kept
adds up: two parts of one minute make the minute, sixty minutes the hour; for a flow the integral is the volume. A span in
which no value was read keeps why its newest bad reading was bad.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from edge.domain.readings import Quality

QUALITIES: Final = (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)
_RANK: Final = {quality: rank for rank, quality in enumerate(QUALITIES)}
_BAD: Final = _RANK[Quality.BAD]

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000

#: one reading as the folding wants it: monotonic time, value or None, quality, reason
Read = tuple[int, float | None, Quality, str | None]


class Span:
    """What is known of one span. `integral`: value times milliseconds; `covered_ms`: for how long a value stood; `reason`: of the
    newest bad reading.
    """

    __slots__ = ("n", "low", "high", "integral", "covered_ms", "worst", "reason")

    def __init__(
        self,
        n: int = 0,
        low: float | None = None,
        high: float | None = None,
        integral: float = 0.0,
        covered_ms: int = 0,
        worst: int = -1,
        reason: str | None = None,
    ) -> None:
        self.n, self.low, self.high, self.integral = n, low, high, integral
        self.covered_ms, self.worst, self.reason = covered_ms, worst, reason

    def see(self, value: float | None, rank: int, reason: str | None) -> None:
        """A reading that falls into the span."""
        if rank > self.worst:
            self.worst = rank
        if rank == _BAD:
            self.reason = reason
        if value is None:
            return
        self.n += 1
        if self.low is None or value < self.low:
            self.low = value
        if self.high is None or value > self.high:
            self.high = value

    def hold(self, value: float, ms: int) -> None:
        """A value that stood for some time of the span, from a reading in it or before it."""
        self.integral += value * ms
        self.covered_ms += ms
        self._reach(value, value)

    def add(self, other: Span) -> None:
        """Take in another part that is no older, or a shorter span."""
        self.n += other.n
        self.integral += other.integral
        self.covered_ms += other.covered_ms
        self.worst, self.reason = max(self.worst, other.worst), other.reason or self.reason
        if other.low is not None and other.high is not None:
            self._reach(other.low, other.high)

    def mean(self) -> float | None:
        """Time-weighted, within what was seen; None where no value stood."""
        if not self.covered_ms:
            return None
        return self.integral / self.covered_ms

    def row(self) -> tuple[int, float | None, float | None, float, int, int, str | None]:
        return self.n, self.low, self.high, self.integral, self.covered_ms, self.worst, None if self.n else self.reason

    def _reach(self, low: float, high: float) -> None:
        self.low = low if self.low is None or low < self.low else self.low
        self.high = high if self.high is None or high > self.high else self.high


Spans = dict[int, Span]


def fold(
    readings: Iterable[Read],
    hold_ms: int,
    offset_ms: int,
    end_mono_ms: int,
    width_ms: int,
    into: Spans,
    begin_mono_ms: int | None = None,
) -> None:
    """Add readings of one point and one stretch of the clock to spans of `width_ms`, by the span's index since 1970.

    Args:
        readings: in order of time. One before `begin_mono_ms` only lends its value to what follows it.
        hold_ms: the longest that a reading stands.
        offset_ms: wall - mono of the stretch.
        end_mono_ms: nothing stands beyond it.
        into: spans by `wall_ms // width_ms`; grows as needed.
    """
    begin_ms = -(1 << 62) if begin_mono_ms is None else begin_mono_ms
    held: float | None = None
    held_from_ms = held_to_ms = 0
    span, first_ms, next_ms = (
        Span(),
        0,
        0,
    )  # of the reading before, and from when to when it goes: most follow in the same one
    for mono_ms, value, quality, reason in readings:
        if held is not None:
            from_ms, to_ms = max(held_from_ms, begin_ms), min(held_to_ms, mono_ms)
            if first_ms <= from_ms < to_ms <= next_ms:
                span.integral += held * (to_ms - from_ms)  # it was seen in this span: low and high hold it already
                span.covered_ms += to_ms - from_ms
            else:
                _hold(into, width_ms, offset_ms, held, from_ms, to_ms)
        held, held_from_ms, held_to_ms = value, mono_ms, min(mono_ms + hold_ms, end_mono_ms)
        if mono_ms >= begin_ms:
            if not first_ms <= mono_ms < next_ms:
                index = (mono_ms + offset_ms) // width_ms
                span, first_ms = _span(into, index), index * width_ms - offset_ms
                next_ms = first_ms + width_ms
            span.see(value, _RANK[quality], reason)
    if held is not None:
        _hold(into, width_ms, offset_ms, held, max(held_from_ms, begin_ms), held_to_ms)


def _hold(into: Spans, width_ms: int, offset_ms: int, value: float, from_ms: int, to_ms: int) -> None:
    while from_ms < to_ms:
        index = (from_ms + offset_ms) // width_ms
        until_ms = min(to_ms, (index + 1) * width_ms - offset_ms)
        _span(into, index).hold(value, until_ms - from_ms)
        from_ms = until_ms


def _span(into: Spans, index: int) -> Span:
    span = into.get(index)
    if span is None:
        span = into[index] = Span()
    return span


def regroup(spans: Spans, from_ms: int, to_ms: int) -> Spans:
    """Spans of `from_ms` drawn together to spans of `to_ms`, a multiple."""
    wider: Spans = {}
    for index, span in spans.items():
        _span(wider, index * from_ms // to_ms).add(span)
    return wider
