"""Points that can't both be right. A believable number of one is doubted because of what others say.

- Pressure says draw, meter says none: the supply's pressure falls by more than a few psi for more than half a minute and comes
  back, again and again, while the meter says that nothing flows. A wheel that sticks, a cut cable or a missing pull-up reads as
  a calm zero. A fall that all taps of the filter train share is none: where water flows, filters take pressure; where the
  building's supply sags, nothing differs between them.
- The pressures of a steady draw rise along the filter train: no filter gains pressure, so plugs or lines are exchanged. What the taps
  differ by at rest, their zeros, is taken off first: a sensor of 1 % of 100 psi may stand 7 kPa too high.

(A reservoir that is frozen while the room moves is told in validity.py.) A doubted point reads on, as uncertain; what rests on
it is unknown. A meter is believed again once it shows a draw, a train once a draw shows its pressures in order. The numbers
are common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

from edge.domain.filters import GAINS_AT_MOST_KPA
from edge.domain.validity import PointWatch
from edge.domain.water import Draw

#: a draw takes more than a few psi from the supply's static pressure
FALL_KPA: Final = 20.0
#: a shorter fall may be a neighbour's tap, a longer one a new level of the building's supply
FALL_FROM_MS: Final = 30_000
FALL_UNTIL_MS: Final = 20 * 60_000
#: so many falls without a draw between them, within this time, and the meter is doubted
FALLS: Final = 3
#: a meter that was doubted wrongly (they were a neighbour's) is doubted after twice as many the next time, and at most so many
FALLS_AT_MOST: Final = 24
WITHIN_MS: Final = 12 * 3_600_000
#: the static pressure follows the building's slow changes with this time constant
REST_MS: Final = 60_000.0
#: pressure lost over the filters that differs by less than this from what it is at rest: no water flows through them
ALONG_KPA: Final = 7.0

NO_PULSES: Final = (
    "pressure says draw, meter says none",
    "Check the flow meter: its rotor, its cable and its pull-up; then draw water for half a minute",
)
EXCHANGED: Final = (
    "pressure rises along the filter train: points probably exchanged",
    "Check which pressure sensor is plugged in where, and the points' lines in the station file; then draw water for half a minute",
)


class SilentDraws:
    """Looks for draws in the static pressure, that is in readings taken while the meter says that nothing is drawn.

    Args:
        gap_ms: a fall with a longer gap in its readings proves nothing.
    """

    __slots__ = ("_gap_ms", "_rest_kpa", "_rest_drop_kpa", "_last_ms", "_fell_ms", "_moved_kpa", "_n", "_falls_ms")

    def __init__(self, gap_ms: int) -> None:
        self._gap_ms = gap_ms
        self._rest_kpa: float | None = None
        self._last_ms = 0
        self.forget()

    def forget(self) -> None:
        """The meter has shown a draw."""
        self._rest_drop_kpa: float | None = None
        self._fell_ms: int | None = None
        self._moved_kpa, self._n = 0.0, 0
        self._falls_ms: list[int] = []

    def hear(self, kpa: float, train_kpa: float | None, mono_ms: int) -> int:
        """One static pressure of the supply.

        Args:
            kpa: the supply's gauge pressure [kPa].
            train_kpa: what is lost from it to the last tap of the filter train at this time [kPa]; None where that isn't known.

        Returns:
            How many falls there have been of late, when one has just ended; else 0.
        """
        rest, before_ms = self._rest_kpa, self._last_ms
        self._last_ms = mono_ms
        if rest is None or mono_ms - before_ms > self._gap_ms:
            self._begin(kpa)
            return 0
        if self._fell_ms is not None:
            return self._go_on(kpa, train_kpa, mono_ms, rest)
        if kpa < rest - FALL_KPA:
            self._fell_ms, self._moved_kpa, self._n = mono_ms, 0.0, 0
            return 0
        share = min((mono_ms - before_ms) / REST_MS, 1.0)
        self._rest_kpa = rest + (kpa - rest) * share
        if train_kpa is not None:
            drop = self._rest_drop_kpa
            self._rest_drop_kpa = train_kpa if drop is None else drop + (train_kpa - drop) * share
        return 0

    def _begin(self, kpa: float) -> None:
        self._rest_kpa, self._fell_ms = kpa, None

    def _go_on(self, kpa: float, train_kpa: float | None, mono_ms: int, rest: float) -> int:
        assert self._fell_ms is not None
        lasted_ms = mono_ms - self._fell_ms
        if kpa <= rest - FALL_KPA / 2:
            if lasted_ms > FALL_UNTIL_MS:
                self._begin(kpa)
            elif train_kpa is not None and self._rest_drop_kpa is not None:
                self._moved_kpa += train_kpa - self._rest_drop_kpa
                self._n += 1
            return 0
        self._fell_ms = None
        if lasted_ms <= FALL_FROM_MS or (self._n and abs(self._moved_kpa / self._n) < ALONG_KPA):
            return 0
        self._falls_ms = [at_ms for at_ms in self._falls_ms if mono_ms - at_ms <= WITHIN_MS] + [mono_ms]
        return len(self._falls_ms)


def exchanged(pressures: Sequence[tuple[str, float | None]]) -> frozenset[str]:
    """The points whose pressures stand in the wrong order.

    Args:
        pressures: (point, gauge pressure [kPa] in the steady part of a draw), in the order of flow; None where unknown.

    >>> sorted(exchanged([("supply", 290.0), ("between", 310.0), ("filtered", 270.0)]))
    ['between', 'supply']
    """
    known = [(name, kpa) for name, kpa in pressures if kpa is not None]
    wrong: set[str] = set()
    for at, (name, kpa) in enumerate(known):
        for later, later_kpa in known[at + 1 :]:
            if later_kpa - kpa > GAINS_AT_MOST_KPA:
                wrong |= {name, later}
    return frozenset(wrong)


class Contradictions:
    """Which points of a station are doubted, and why. Reads the watches, and marks those that it doubts.

    Args:
        watches: of every point, by its id.
        flow: the meter's point, or None.
        taps: the points of the pressures by tap, in the order of flow; None where there is none.
        power: the point that says whether the machine has power: without power it draws nothing.
        below: by how much a tap reads below the supply's at rest [kPa].
        tell: gets the body of an entry for each change, {"points", "what": "began" | "ended", "cause", "advice"}.
    """

    def __init__(
        self,
        watches: Mapping[str, PointWatch],
        flow: str | None,
        taps: Mapping[str, str | None],
        power: str | None,
        below: Callable[[str], float],
        tell: Callable[[dict[str, Any]], None],
    ) -> None:
        self._watches, self._flow, self._below, self._tell = watches, flow, below, tell
        self._taps = {tap: point for tap, point in taps.items() if point is not None}
        downstream = [point for tap, point in self._taps.items() if tap != "supply"]
        self._last_tap = watches[downstream[-1]] if downstream else None
        self._power = None if power is None else watches[power]
        supply = self._taps.get("supply")
        self._wanted = FALLS
        self._silent_draws = SilentDraws(0 if supply is None else watches[supply].point.stale_after_ms)

    def static(self, kpa: float, mono_ms: int) -> bool:
        """One static pressure of the supply. True where the meter has come to be doubted by it."""
        last_kpa = None if self._last_tap is None else self._last_tap.value(mono_ms)
        falls = self._silent_draws.hear(kpa, None if last_kpa is None else kpa - last_kpa, mono_ms)
        if falls < self._wanted or self._flow is None or self._watches[self._flow].doubt is not None:
            return False
        if self._power is not None and self._power.value(mono_ms) == 0.0:
            return False
        self.change([self._flow], NO_PULSES, f"{NO_PULSES[0]}: {falls} times without a pulse")
        return True

    def flowed(self) -> None:
        """The meter shows a draw: it can be believed."""
        self._silent_draws.forget()
        if self._flow is not None and self._watches[self._flow].doubt is not None:
            self._wanted = min(2 * self._wanted, FALLS_AT_MOST)
            self.change([self._flow], None, "the meter shows a draw")

    def drawn(self, draw: Draw) -> None:
        """A draw has ended: are its steady pressures in order?"""
        if not draw.supply.n:
            return
        shown = [(tap, point, draw.mean(tap).value) for tap, point in self._taps.items()]
        wrong = exchanged([(point, None if kpa is None else kpa + self._below(tap)) for tap, point, kpa in shown])
        fresh = [point for point in self._taps.values() if point in wrong and self._watches[point].doubt is None]
        over = [point for point in self._taps.values() if point not in wrong and self._watches[point].doubt is not None]
        if over:
            self.change(over, None, "a draw shows the pressures in order")
        if fresh:
            self.change(fresh, EXCHANGED, EXCHANGED[0])

    def doubt_about(self, points: Iterable[str | None]) -> tuple[str, str] | None:
        """(what contradicts, what to do) of the first of these points that is doubted."""
        for point in points:
            watch = self._watches.get(point) if point is not None else None
            if watch is not None and watch.doubt is not None:
                return watch.doubt
        return None

    def change(self, points: Sequence[str], doubt: tuple[str, str] | None, cause: str) -> None:
        """These points have come to be doubted, or no longer are (None)."""
        body = {"points": list(points), "what": "ended" if doubt is None else "began", "cause": cause}
        self._tell(body | {"advice": "" if doubt is None else doubt[1]})
        self.take(body | {"advice": "" if doubt is None else doubt[1]})

    # -- after a restart

    def take(self, body: Mapping[str, Any]) -> None:
        """Take a change, as it stands in the journal."""
        doubt = (str(body["cause"]), str(body["advice"])) if body["what"] == "began" else None
        for point in body["points"]:
            if point in self._watches:
                self._watches[point].doubt = doubt

    def state(self) -> dict[str, list[str]]:
        """Who is doubted and why, as JSON: by point, [what contradicts, what to do]."""
        return {ident: list(watch.doubt) for ident, watch in self._watches.items() if watch.doubt is not None}

    def restore(self, state: Mapping[str, Sequence[str]]) -> None:
        """Take back what state() gave."""
        for point, (cause, advice) in state.items():
            self.take({"points": [point], "what": "began", "cause": cause, "advice": advice})
