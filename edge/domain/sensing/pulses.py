"""A flow meter's pulses: from the times of edges to flow, volume and how far both can be relied on.

A meter's wheel closes a contact so many times a litre (its K factor). What comes in here are edges as the kernel stamped and
numbered them; three things stand between them and the truth:

- bounce: one closing gives several edges. Two pulses can't be closer together than the meter's maximum flow makes them;
  what is closer is no pulse. An edge a little farther away than that is one only if its neighbours are that close as well: a
  wheel that has mass can't give a single pulse at twice the speed of those before and after.
- loss: the kernel's queue holds so many edges; when it overflows, the numbers jump. As many of the lost edges are counted
  as can have been pulses, and the reading says that some were lost. A flow is never low because of them.
- slowness: at a low flow nothing comes for a long time. Flow is told from the time between pulses, not from how many fell
  into a period; when the next pulse is overdue the flow can only be lower than before, and after twice the time it is zero.

Bounce, loss and the rest are this project's own rules, common practice, no published source. f = K Q / 60 is the definition of
the K factor.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import Final, NamedTuple

from edge.domain.quantities import pulse_frequency_hz, pulse_volume_l

#: pulses may come faster than at the maximum flow by this factor: meters are read a little beyond their range
BEYOND_MAXIMUM: Final = 1.25
#: an edge within so many shortest spacings of the pulse before must have neighbours as close, or is bounce
LONE: Final = 2.0
#: the wheel stands once the next pulse has been due for so many times the interval of the last ones
OVERDUE: Final = 2.0
#: an edge may reach us so long after it happened: kernel threads, debouncing, a busy board [ns]
DELIVERY_NS: Final = 50_000_000
#: so long after the line was taken without a pulse, the flow is zero [ns]
FIRST_LOOK_NS: Final = 1_000_000_000
#: two pulses farther apart than this have nothing to do with each other [ns]
UNRELATED_NS: Final = 6 * 3600 * 1_000_000_000
#: an edge stamped this far ahead of now was not stamped by the clock that we read [ns]
AHEAD_NS: Final = 1_000_000_000
#: rejected edges for each pulse, beyond which it is no bounce any more but interference
NOISY: Final = 5
#: near the meter's maximum, rejected edges as a share of all mean that the meter turns faster than it can, or interference
NOISY_SHARE: Final = 0.3
#: the kernel numbers the edges of a line with 32 bits; a jump beyond MOST_AHEAD is no loss, but nonsense
SEQNO_BITS: Final = 32
MOST_AHEAD: Final = 1 << 24

_NS_PER_MIN: Final = 60e9


class Step(StrEnum):
    """What became of a counter between two looks at it."""

    SAME = "same"
    COUNTED = "counted"
    WRAPPED = "wrapped"  # it ran over its end: nothing is lost
    RESET = "reset"  # it began anew: what it had counted since the last look is not known
    GLITCH = "glitch"  # neither: the look was wrong


def counter_step(before: int, now: int, bits: int, most: int) -> tuple[Step, int]:
    """What a counter that only ever rises did, and how many it counted since the look before.

    Args:
        before, now: what it showed, 0 to 2**bits - 1.
        bits: its width; it begins at 0 again after its end.
        most: more than this can't have been counted between the two looks.

    >>> counter_step(65_530, 4, 16, 100), counter_step(65_530, 40, 16, 30), counter_step(500, 40, 16, 100)
    ((<Step.WRAPPED: 'wrapped'>, 10), (<Step.GLITCH: 'glitch'>, 0), (<Step.RESET: 'reset'>, 40))
    """
    ahead = (now - before) % (1 << bits)
    if ahead == 0:
        return Step.SAME, 0
    if ahead <= most:
        return (Step.WRAPPED if now < before else Step.COUNTED), ahead
    if now < before and now <= most:
        return Step.RESET, now
    return Step.GLITCH, 0


class Told(NamedTuple):
    """What the meter says now. `l_min` is None only while nothing can be told yet; `reason` is a key of REASONS or None."""

    l_min: float | None
    reason: str | None = None
    detail: str = ""


class PulseMeter:
    """One meter. Feed it every edge in order, and ask it once a period. Not for several threads.

    Args:
        pulses_per_l: its K factor, above 0.
        maximum_l_min: the most that it can measure, above 0: pulses can't come closer than that.

    `pulses`, `rejected`, `lost`, `glitches` and `resets` only ever rise, for as long as the object lives: `lost` are the edges
    that the kernel dropped, `recovered` those of them that were counted as pulses all the same. Pulses are counted when their period
    is told; those of a period of interference (edges_noisy) are `withheld`: a wet joint must not pass for water.

    Raises:
        ValueError: a factor or a maximum that is not above 0.
    """

    def __init__(self, pulses_per_l: float, maximum_l_min: float) -> None:
        if not (pulses_per_l > 0.0 and maximum_l_min > 0.0):
            raise ValueError("a meter's K factor and maximum flow are above 0")
        self.pulses_per_l = pulses_per_l
        fastest_hz = pulse_frequency_hz(maximum_l_min, pulses_per_l)
        self.shortest_ns = 1e9 / (fastest_hz * BEYOND_MAXIMUM)
        self._half_of_most_ns = 2e9 / fastest_hz
        self.pulses = self.rejected = self.lost = self.recovered = self.withheld = self.glitches = self.resets = 0
        self._n_counted = self._n_recovered = 0  # of this period, for the totals
        self._share = 1.0  # of the edges, so many were pulses: a running share, for edges that nobody has seen
        self.begin(0)

    @property
    def volume_l(self) -> float:
        """What has run through since the meter is watched."""
        return pulse_volume_l(self.pulses, self.pulses_per_l)

    def is_like(self, other: PulseMeter) -> bool:
        """Whether both have the same factor and maximum, so that one's counts may go on in the other's place."""
        return (self.pulses_per_l, self.shortest_ns) == (other.pulses_per_l, other.shortest_ns)

    def begin(self, now_ns: int) -> None:
        """The line was taken: its numbers begin at 1, and what was before is not known. Counts go on."""
        self._count(is_noise=False)
        self._begun_ns = now_ns
        self._seqno = 0
        self._seen_ns = now_ns  # time of the newest edge, pulse or not
        self._last_ns: int | None = None  # of the newest pulse
        self._before_ns: float | None = None  # the interval that ended with it
        self._lone_ns: int | None = None  # an edge that is a pulse only if the next one comes as soon
        self._interval_ns: float | None = None  # between the pulses of the newest period that had some
        self._forget_period(None)

    def _forget_period(self, anchor_ns: int | None) -> None:
        """A period begins; `anchor_ns` is the newest pulse before it."""
        self._anchor_ns = anchor_ns
        self._first_ns: int | None = None
        self._at_first = 0  # pulses told by the first edge: itself, and those lost just before
        self._n = self._n_rejected = self._n_lost = 0
        self._restarted = False

    # -- edges

    def hear(self, edges: Iterable[tuple[int, int]], now_ns: int) -> None:
        """Take edges, (time [ns], number of the edge on its line), oldest first. `now_ns` is the time by the same clock."""
        for at_ns, seqno in edges:
            if at_ns > now_ns + AHEAD_NS or at_ns < self._seen_ns or not 0 <= seqno < 1 << SEQNO_BITS:
                self.glitches += 1
                continue
            step, ahead = counter_step(self._seqno, seqno, SEQNO_BITS, MOST_AHEAD)
            if step in (Step.SAME, Step.GLITCH) or (step is Step.RESET and at_ns == self._seen_ns):
                self.glitches += 1
                continue
            self._seqno = seqno
            if step is Step.RESET:
                self._restart(at_ns)
            self._edge(at_ns, max(ahead - 1, 0))
            self._seen_ns = at_ns

    def _restart(self, at_ns: int) -> None:
        """The numbers began anew: somebody took the line in between. Time between pulses can't be told across it."""
        self.resets += 1
        self._restarted = True
        self._begun_ns, self._last_ns, self._before_ns, self._lone_ns = self._seen_ns, None, None, None
        self._anchor_ns, self._first_ns = None, None
        self._n = self._at_first = 0

    def _edge(self, at_ns: int, lost: int) -> None:
        self._settle(at_ns, lost)
        credited = self._recover(lost, at_ns) if lost else 0
        last_ns = self._last_ns
        if last_ns is None:
            self._pulse(at_ns, 1 + credited)
        elif at_ns - (self._lone_ns or last_ns) < self.shortest_ns:
            self._reject()
        elif not lost and self._stands_alone(at_ns - last_ns):
            self._lone_ns = at_ns
        else:
            self._pulse(at_ns, 1 + credited)

    def _stands_alone(self, gap_ns: int) -> bool:
        """So soon after the last pulse that the one before it must have come as soon, else it is bounce."""
        return gap_ns < LONE * self.shortest_ns and (self._before_ns is None or self._before_ns >= LONE * gap_ns)

    def _settle(self, at_ns: int, lost: int = 0) -> None:
        """Was the lone edge a pulse? Only if the next edge, seen or lost, comes as soon. `at_ns`: of that edge, or now."""
        lone_ns, last_ns = self._lone_ns, self._last_ns
        if lone_ns is None or last_ns is None or at_ns - lone_ns < self.shortest_ns:
            return
        self._lone_ns = None
        if not lost and at_ns - lone_ns >= LONE * (lone_ns - last_ns):
            self._reject()
        else:
            self._pulse(lone_ns, 1)

    def _recover(self, lost: int, at_ns: int) -> int:
        """How many of the lost edges to count: as many as were pulses of late, and never more than fit into the time."""
        since_ns = self._begun_ns if self._last_ns is None else self._last_ns
        fit = int((at_ns - since_ns) / self.shortest_ns) - 1
        credited = max(0, min(round(lost * self._share), fit))
        self.lost += lost
        self._n_recovered += credited
        self._n_lost += lost
        return credited

    def _pulse(self, at_ns: int, pulses: int) -> None:
        if self._last_ns is not None:
            self._before_ns = (at_ns - self._last_ns) / pulses
        if self._first_ns is None:
            self._first_ns, self._at_first = at_ns, pulses
        self._last_ns = at_ns
        self._n += pulses
        self._n_counted += pulses
        self._share += (1.0 - self._share) * 0.01

    def _reject(self) -> None:
        self.rejected += 1
        self._n_rejected += 1
        self._share -= self._share * 0.01

    # -- what it says

    def tell(self, now_ns: int) -> Told:
        """The flow now; ends the period."""
        self._settle(now_ns)
        pace_ns = self._interval_of_period() if self._n else None
        if self._n:
            self._interval_ns = pace_ns
        l_min = self._flow(now_ns)
        told = Told(l_min, *self._doubt(pace_ns))
        self._count(is_noise=told.reason == "edges_noisy")
        self._forget_period(self._last_ns)
        return told

    def _count(self, *, is_noise: bool) -> None:
        """Put the period's pulses into the totals."""
        if is_noise:
            self.withheld += self._n_counted
        else:
            self.pulses += self._n_counted
            self.recovered += self._n_recovered
        self._n_counted = self._n_recovered = 0

    def _interval_of_period(self) -> float | None:
        """Time between the pulses of this period [ns]; None where one pulse alone can't say."""
        assert self._first_ns is not None and self._last_ns is not None
        inside = self._n - self._at_first
        inner_ns = (self._last_ns - self._first_ns) / inside if inside else None
        if self._anchor_ns is None or self._first_ns - self._anchor_ns > UNRELATED_NS:
            return inner_ns
        if inner_ns is not None and (self._first_ns - self._anchor_ns) / self._at_first > OVERDUE * inner_ns:
            return inner_ns  # the wheel stood before the first one
        return (self._last_ns - self._anchor_ns) / self._n

    def _flow(self, now_ns: int) -> float | None:
        if self._last_ns is None:
            return None if now_ns - self._begun_ns < FIRST_LOOK_NS else 0.0
        if self._interval_ns is None:
            return 0.0
        waited_ns = now_ns - self._last_ns - DELIVERY_NS
        if waited_ns > OVERDUE * self._interval_ns:
            self._interval_ns = None
            return 0.0
        return _NS_PER_MIN / (self.pulses_per_l * max(self._interval_ns, waited_ns))

    def _doubt(self, pace_ns: float | None) -> tuple[str | None, str]:
        """Reason and detail where this period's reading is not beyond doubt. `pace_ns`: between its pulses, though they be over."""
        if self._restarted:
            return "edges_lost", "the line's numbers began anew: how many pulses are missing is not known"
        rejected, seen = self._n_rejected, self._n + self._n_rejected
        is_fast = pace_ns is not None and pace_ns < self._half_of_most_ns
        if rejected > NOISY * max(self._n, 2) or (is_fast and rejected > NOISY_SHARE * seen):
            return "edges_noisy", f"{rejected} of {seen} edges are none of the meter's"
        if (
            self._n_lost
        ):  # after noise: interference overflows the queue, and it is the interference that is to be mended
            return "edges_lost", f"{self._n_lost} edges lost"
        return None, ""
