"""How far a station has been moved in time, and what moves it on: its deadlines, and tickers at whole multiples of wall time."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from edge.clock import ClockWatch, Step
from edge.domain.contracts import Clock
from edge.domain.entries import Now
from edge.judge.inbox import Ticker

log = logging.getLogger("warmwell.judge")

#: how long (real seconds) is waited at least with a clock that runs fast
SHORTEST_WAIT_S: Final = 0.02
#: a station whose deadline doesn't move when it is reached is left alone for this pass
MOST_AT_ONE_DEADLINE: Final = 16


class Clockwork:
    """One thread's, the judge's. `now`: the clock when it was last looked at; `reached_ms`: how far the station has been moved."""

    def __init__(self, clock: Clock, tickers: Sequence[Ticker]) -> None:
        self._clock, self._tickers, self._watch = clock, tickers, ClockWatch()
        self.now = clock.now()
        self.reached_ms = self.now.mono_ms
        self._ticks: list[int] = []  # next wall time of each ticker

    def begin(self) -> Now:
        """The start: the station is here and now, and the first ticks are ahead."""
        self.look()
        self.reached_ms = self.now.mono_ms
        self._set_ticks()
        return self.now

    def look(self) -> Step | None:
        """Look at the clock; whether it was set, or came to be trusted or not, since the last look."""
        self.now = self._clock.now()
        step = self._watch.look(self.now)
        if step is not None:
            self._set_ticks()
        return step

    def _set_ticks(self) -> None:
        self._ticks = [-(-self.now.wall_ms // ticker.interval_ms) * ticker.interval_ms for ticker in self._tickers]

    def _mono_of(self, wall_ms: int) -> int:
        return self.now.mono_ms + wall_ms - self.now.wall_ms

    def at(self, mono_ms: int) -> Now:
        """That instant by the present offset of the wall clock; never before what the station has been moved to."""
        mono_ms = max(mono_ms, self.reached_ms)
        return Now(mono_ms, self.now.wall_ms + mono_ms - self.now.mono_ms, self.now.trusted)

    def present(self) -> Now:
        """The instant of the last look, or what the station has been moved to if that is later."""
        return self.at(self.now.mono_ms)

    def arrive(self, mono_ms: int) -> Now:
        """The station is moved to that instant."""
        at = self.at(mono_ms)
        self.reached_ms = at.mono_ms
        return at

    def wait_s(self, deadline_ms: int | None) -> float:
        """Real seconds until a deadline or a tick, at most one second of the clock's."""
        clock_s, mono_ms = [self._clock.real_s(1000)], self._clock.mono_ms()
        if deadline_ms is not None and deadline_ms > self.reached_ms:
            clock_s.append(self._clock.real_s(deadline_ms - mono_ms))
        clock_s += [self._clock.real_s(self._mono_of(wall_ms) - mono_ms) for wall_ms in self._ticks]
        return max(min(clock_s), SHORTEST_WAIT_S if self._clock.speed > 1 else 0.001)

    def reach(
        self,
        mono_ms: int,
        deadline: Callable[[], int | None],
        advance: Callable[[int], None],
        tick: Callable[[int], None],
        *,
        ticks_at_end: bool = False,
    ) -> None:
        """Move the station through its deadlines up to `mono_ms`, and through ticks before it (or at it)."""
        before_ms, times = -1, 0
        while True:
            deadline_ms = deadline()
            tick_ms = min(map(self._mono_of, self._ticks), default=None)
            tick_is_due = tick_ms is not None and (tick_ms < mono_ms or (ticks_at_end and tick_ms <= mono_ms))
            deadline_is_due = deadline_ms is not None and deadline_ms <= mono_ms
            if tick_ms is not None and tick_is_due and not (deadline_is_due and (deadline_ms or 0) <= tick_ms):
                tick(tick_ms)
            elif deadline_ms is not None and deadline_is_due:
                times = times + 1 if deadline_ms <= before_ms else 0
                before_ms = deadline_ms
                if times >= MOST_AT_ONE_DEADLINE:
                    log.warning("the station's deadline %s does not move; left for the next pass", deadline_ms)
                    break
                advance(deadline_ms)
            else:
                break
        if mono_ms > self.reached_ms and ticks_at_end:
            advance(mono_ms)

    def due(self, mono_ms: int) -> Iterator[Ticker]:
        """The tickers that are due at that instant; each is next due an interval later."""
        for place, ticker in enumerate(self._tickers):
            if self._mono_of(self._ticks[place]) <= mono_ms:
                self._ticks[place] += ticker.interval_ms
                yield ticker
