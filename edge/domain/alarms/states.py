"""The alarm state machine of IEC 62682 / ISA-18.2, as a table, and the delays and deadbands in front of it.

The standards could not be opened here; states and transitions are from memory, with their public summaries, and are checked
against the rows of tests/handbook/k.alarms.jsonl. An alarm needs strictly beyond its limit; both delays run on monotonic time.

Every state of the table is live: `suppressed_by_design` is entered when an alarm comes as the consequence of another, and
left, announced, when the cause ends and the consequence stays. A phase or a pause between draws that explains a value never
becomes an alarm at all: it masks the condition before the delays.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from enum import StrEnum
from math import exp, sqrt
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.alarms.catalogue import Row
from edge.domain.alarms.unanswered import raised
from edge.domain.entries import Stamp
from edge.domain.messages import Message, as_json


class State(StrEnum):
    """States A to I of the standards' diagram, in their order."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned_unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched_unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


#: the same for people
STATE_TITLES: Final[Mapping[State, str]] = MappingProxyType(
    {
        State.NORMAL: "normal", State.UNACKNOWLEDGED: "not acknowledged", State.ACKNOWLEDGED: "acknowledged",
        State.RETURNED: "right again, not acknowledged",
        State.LATCHED_UNACKNOWLEDGED: "right again, latched, not acknowledged", State.LATCHED_ACKNOWLEDGED: "latched, acknowledged",
        State.SHELVED: "shelved", State.SUPPRESSED: "suppressed by design", State.OUT_OF_SERVICE: "out of service",
    }
)  # fmt: skip


class Event(StrEnum):
    """What can happen to an alarm."""

    ALARM = "alarm"
    RETURN_TO_NORMAL = "rtn"
    WORSEN = "worsen"
    ACKNOWLEDGE = "ack"
    RESET = "reset"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove"
    RETURN_TO_SERVICE = "return"


_LIVE: Final = tuple(State)[:6]

#: (state, event) -> next state. A pair that is missing changes nothing: an alarm must never crash.
TABLE: Final[Mapping[tuple[State, Event], State]] = MappingProxyType(
    {
        (State.NORMAL, Event.ALARM): State.UNACKNOWLEDGED,
        (State.UNACKNOWLEDGED, Event.ACKNOWLEDGE): State.ACKNOWLEDGED,
        (State.UNACKNOWLEDGED, Event.RETURN_TO_NORMAL): State.RETURNED,
        (State.ACKNOWLEDGED, Event.RETURN_TO_NORMAL): State.NORMAL,
        (State.ACKNOWLEDGED, Event.WORSEN): State.UNACKNOWLEDGED,  # what was answered was less (re-alarming)
        (State.RETURNED, Event.ALARM): State.UNACKNOWLEDGED,
        (State.RETURNED, Event.ACKNOWLEDGE): State.NORMAL,
        (State.LATCHED_UNACKNOWLEDGED, Event.ALARM): State.UNACKNOWLEDGED,
        (State.LATCHED_UNACKNOWLEDGED, Event.ACKNOWLEDGE): State.LATCHED_ACKNOWLEDGED,
        (State.LATCHED_ACKNOWLEDGED, Event.ALARM): State.UNACKNOWLEDGED,
        (State.LATCHED_ACKNOWLEDGED, Event.RESET): State.NORMAL,
        **{(live, Event.SHELVE): State.SHELVED for live in _LIVE},
        **{(live, Event.SUPPRESS): State.SUPPRESSED for live in _LIVE},
        **{(live, Event.REMOVE): State.OUT_OF_SERVICE for live in _LIVE},
    }
)

#: the rows that a latching alarm replaces
LATCHING: Final[Mapping[tuple[State, Event], State]] = MappingProxyType(
    {
        (State.UNACKNOWLEDGED, Event.RETURN_TO_NORMAL): State.LATCHED_UNACKNOWLEDGED,
        (State.ACKNOWLEDGED, Event.RETURN_TO_NORMAL): State.LATCHED_ACKNOWLEDGED,
    }
)

#: events that end an absence: what is still present comes back as a new unacknowledged alarm
COMES_BACK: Final = MappingProxyType(
    {
        (State.SHELVED, Event.UNSHELVE): True,
        (State.SUPPRESSED, Event.UNSUPPRESS): True,
        (State.OUT_OF_SERVICE, Event.RETURN_TO_SERVICE): True,
    }
)

#: states in which an alarm is there for people: raised, and neither over nor put aside (ISA-18.2, 5.10: the states of the alarm's diagram)
STANDS: Final = frozenset(
    {State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED}
)
LIT: Final = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED})
#: in these the process's comings and goings are noted but change no state
ABSENT: Final = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})
#: in these somebody has answered
ANSWERED: Final = frozenset({State.ACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED})
#: in these somebody still has to answer
WAITING: Final = frozenset({State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED})


def next_state(state: State, event: Event, *, latching: bool = False, in_alarm: bool = False) -> State:
    """Advance one alarm by one event.

    Args:
        latching: stays until a person resets it.
        in_alarm: the condition is present now; only looked at when an absence ends.

    >>> next_state(State.UNACKNOWLEDGED, Event.RETURN_TO_NORMAL)
    <State.RETURNED: 'returned_unacknowledged'>
    """
    key = (state, event)
    if key in COMES_BACK:
        return State.UNACKNOWLEDGED if in_alarm else State.NORMAL
    if latching and key in LATCHING:
        return LATCHING[key]
    return TABLE.get(key, state)


#: comparing converted units must not raise an alarm by a last bit: a value this close to a limit is at it (kPa, Cel, L/min)
AT_LIMIT: Final = 0.001


#: readings that are looked at together, at the most; and how near a mean has to be to its limit to be at it, in standard errors
MOST_SEEN: Final = 4096
AT_THE_LIMIT: Final = 0.25


class Band:
    """A limit with its deadband: beyond it strictly, back only when inside by the deadband."""

    __slots__ = ("low", "limit", "deadband", "beyond", "crossings", "_was_over", "_seen")

    def __init__(self, limit: float, deadband: float, *, low: bool) -> None:
        self.low, self.limit, self.deadband, self.beyond = low, limit, deadband, False
        self.crossings, self._was_over = 0, False  # how often the limit itself was passed, whatever the deadband holds
        self._seen: deque[float] = deque(maxlen=MOST_SEEN)  # by how much each reading was over since it went beyond

    def see(self, value: float) -> bool:
        """Is `value` beyond, with what was seen before in mind?

        >>> band = Band(40.0, 2.0, low=True)
        >>> [band.see(v) for v in (40.0, 39.9, 41.9, 42.0)]
        [False, True, True, False]
        """
        over = self._over(value)
        self.crossings += over > AT_LIMIT and not self._was_over
        self._was_over = over > AT_LIMIT
        self.beyond = over > AT_LIMIT if not self.beyond else over > -self.deadband + AT_LIMIT
        if self.beyond:
            self._seen.append(over)
        else:
            self._seen.clear()
        return self.beyond

    def is_over(self, value: float) -> bool:
        """Is this very value beyond?"""
        return self._over(value) > AT_LIMIT

    def _over(self, value: float) -> float:
        """By how much it is beyond; less than nought inside."""
        return self.limit - value if self.low else value - self.limit

    def forget(self) -> None:
        """What was seen beyond is over."""
        self.beyond, self.crossings = False, 0
        self._seen.clear()

    def is_borne_out(self) -> bool:
        """Do the readings since it went beyond say so together, or was it one of a noisy value that lies inside?

        Their mean without the highest and lowest fifth, against its own standard error: a value that swings about its limit is at it.
        The deadband alone would hold one reading of noise through the whole on-delay.

        >>> band = Band(60.0, 2.0, low=False)
        >>> [band.see(v) for v in (60.3, 59.1, 59.4, 58.9, 59.2)][-1], band.is_borne_out()
        (True, False)
        """
        ordered = sorted(self._seen)
        n, cut = len(ordered), len(ordered) // 5
        kept = ordered[cut : n - cut]
        if len(kept) < 2:
            return True
        mean = sum(kept) / len(kept)
        error = sqrt(sum((over - mean) ** 2 for over in kept) / (len(kept) - 1) / n)
        return mean > -AT_THE_LIMIT * error - AT_LIMIT


class Delay:
    """On-delay and off-delay: a change counts once it has lasted; a change back in between starts anew."""

    __slots__ = ("on_ms", "off_ms", "out", "pending_since_ms")

    def __init__(self, on_ms: int, off_ms: int) -> None:
        self.on_ms, self.off_ms = on_ms, off_ms
        self.out = False
        self.pending_since_ms: int | None = None

    def see(self, active: bool, mono_ms: int) -> bool:
        """The delayed state at this instant. Call it again at `due_ms` with the same `active`."""
        if active == self.out:
            self.pending_since_ms = None
            return self.out
        if self.pending_since_ms is None:
            self.pending_since_ms = mono_ms
        if mono_ms - self.pending_since_ms >= self._wanted_ms():
            self.out, self.pending_since_ms = active, None
        return self.out

    def _wanted_ms(self) -> int:
        """How long the pending change has to last."""
        return self.off_ms if self.out else self.on_ms

    @property
    def due_ms(self) -> int | None:
        """When a pending change will count, if nothing happens before."""
        if self.pending_since_ms is None:
            return None
        return self.pending_since_ms + self._wanted_ms()


#: an alarm that goes again so soon chatters: from then on it goes only after CHATTER_GONE_MS, so that none comes three times within a
#: minute, which ISA-18.2 calls chattering (from memory; how long it is held is our own number: a longer off-delay is the usual remedy)
CHATTER_WITHIN_MS: Final = 60_000
CHATTER_GONE_MS: Final = 300_000
#: one that comes and goes more slowly is held the same once it went so often within so long (our own numbers, no published source)
REPEATS: Final = 3
REPEATS_WITHIN_MS: Final = 600_000
REPEATS_GONE_MS: Final = 600_000


#: a condition that holds for this share of the time, over about so many on-delays, is an alarm though each pause begins its on-delay anew
#: (time in state; our own numbers, no published source)
MOSTLY: Final = 0.8
MOSTLY_WITHIN: Final = 2.0


class HeldDelay(Delay):
    """A delay that holds what chatters, and doesn't wait for ever for what pauses. A restart counts anew."""

    __slots__ = ("_went", "_share", "_active", "_at_ms", "comings")

    def __init__(self, on_ms: int, off_ms: int) -> None:
        super().__init__(on_ms, off_ms)
        self._went: deque[int] = deque(maxlen=REPEATS)  # when it went, or was to go and was held
        self._share = 0.0  # of the time of late in which the condition held
        self._active = False  # whether it did when last told
        self.comings = 0  # how often the condition came since the alarm stands, the first time too
        self._at_ms: int | None = None

    def is_due(self, mono_ms: int) -> bool:
        """Would a condition that holds at this instant now be an alarm?"""
        due_ms = self.due_ms
        return (due_ms is not None and mono_ms >= due_ms) or self._share_at(mono_ms) >= MOSTLY

    def _share_at(self, mono_ms: int) -> float:
        """The share of the time in which the condition held, an average that forgets."""
        if self._at_ms is None or self.on_ms <= 0:
            return 0.0
        weight = exp(-max(mono_ms - self._at_ms, 0) / (MOSTLY_WITHIN * self.on_ms))
        return self._share * weight + (1.0 - weight if self._active else 0.0)

    def see(self, active: bool, mono_ms: int) -> bool:
        """As Delay.see."""
        was = self.out
        self.comings += was and active and not self._active
        self._share = self._share_at(mono_ms)
        self._active, self._at_ms = active, mono_ms
        if active and not was and self._share >= MOSTLY:
            self.out, self.pending_since_ms, self.comings = True, None, 1
            return True
        held = was and not active and self.pending_since_ms is None and self._held_ms(mono_ms) > 0
        if (not super().see(active, mono_ms) and was) or held:
            self._went.append(mono_ms)
        if was and not self.out:
            self._share, self.comings = 0.0, 0  # it went: what comes now is judged anew
        elif self.out and not was:
            self.comings = 1
        return self.out

    def _wanted_ms(self) -> int:
        wanted_ms = super()._wanted_ms()
        if self.out and self.pending_since_ms is not None:
            return max(wanted_ms, self._held_ms(self.pending_since_ms))
        return wanted_ms

    def _held_ms(self, mono_ms: int) -> int:
        """How long what goes at this instant has to be gone because it came and went before; 0 where it didn't."""
        before = [went_ms for went_ms in self._went if went_ms < mono_ms]
        if len(before) >= REPEATS - 1 and mono_ms - before[1 - REPEATS] <= REPEATS_WITHIN_MS:
            return REPEATS_GONE_MS
        return CHATTER_GONE_MS if before and mono_ms - before[-1] <= CHATTER_WITHIN_MS else 0


class Since(NamedTuple):
    """Since when an alarm stands. `at_latest`: it may have begun before, nothing was known of it until then; `read_ms`: when the value
    that it shows was read.
    """

    wall_ms: int
    at_latest: bool = False
    read_ms: int | None = None


class Decided(NamedTuple):
    """What decided an alarm: since when, by which reading, and why."""

    since: Since | None
    value: float | None
    unit: str
    limit: float | None
    point: str | None
    cause: Message | None


class Shelf(NamedTuple):
    """Since when an alarm is shelved, and for how long: by monotonic time, whatever the clock does."""

    since: Stamp
    for_ms: int


class Aside(NamedTuple):
    """Who has put an alarm aside (shelved, or out of service), and why; of a shelf, for how long."""

    by: str | None = None
    why: str | None = None
    shelf: Shelf | None = None


NOT_ASIDE: Final = Aside()


class Answered(NamedTuple):
    """Who has acknowledged an alarm, and when."""

    by: str
    wall_ms: int


class Announced(NamedTuple):
    """An alarm that waits for an answer: when it was announced first and last, and how often again.

    `escalated`: its priority has risen. `first_out`: nothing else waited for an answer when it came.
    """

    first: Stamp
    last: Stamp
    again: int = 0
    escalated: bool = False
    first_out: bool = False


class Alarm:
    """One alarm of one station: its state, why, since when, who answered. Texts and tuning stand in its row."""

    __slots__ = (
        "id", "row", "state", "condition", "delay", "since", "was_seen_inside", "value", "limit", "cause", "point", "unit", "answered",
        "consequence_of", "seq", "at_wall_ms", "aside", "announced", "told", "worse_since_ms",
    )  # fmt: skip

    def __init__(self, ident: str, row: Row) -> None:
        self.id, self.row = ident, row
        self.state, self.condition, self.delay = State.NORMAL, False, HeldDelay(row.on_ms, row.off_ms)
        self.since: Since | None = None
        self.was_seen_inside = False  # in this run its condition was seen not to hold
        self.value: float | None = None
        self.told: float | None = None  # the value with which it was last announced
        self.worse_since_ms: int | None = None  # since when it has been clearly worse than the value that it shows
        self.limit: float | None = None
        self.cause: Message | None = None
        self.unit = ""
        self.point: str | None = None
        self.answered: Answered | None = None
        self.consequence_of: str | None = None
        self.seq: int | None = None
        self.at_wall_ms: int | None = None
        self.aside = NOT_ASIDE
        self.announced: Announced | None = None

    @property
    def present(self) -> bool:
        """The delayed condition holds now, whatever the state says."""
        return self.delay.out

    @property
    def priority(self) -> str:
        """Its row's; the next higher one once it was escalated."""
        is_raised = self.announced is not None and self.announced.escalated
        return raised(self.row.priority) if is_raised else self.row.priority

    @property
    def is_told(self) -> bool:
        """It is there, and people have been told: what explains it later doesn't take it away, whoever has answered it or put it aside."""
        return self.present and self.state is not State.SUPPRESSED

    def was_read(self, wall_ms: int) -> None:
        """The value that it shows is of this time [ms since 1970]."""
        self.since = None if self.since is None else self.since._replace(read_ms=wall_ms)

    @property
    def waits(self) -> bool:
        """It wants an answer."""
        return self.state in WAITING

    def step(self, event: Event) -> State | None:
        """Apply an event; the state it came from when that changed, else None."""
        before = self.state
        self.state = next_state(before, event, latching=self.row.latching, in_alarm=self.present)
        if self.state is before:
            return None
        if self.state not in ANSWERED:
            self.answered = None
        if self.state is State.UNACKNOWLEDGED:
            self.consequence_of = None
        if not self.waits:
            self.announced = None
        return before

    @property
    def decided(self) -> Decided:
        """What decided it."""
        return Decided(self.since, self.value, self.unit, self.limit, self.point, self.cause)

    @decided.setter
    def decided(self, by: Decided) -> None:
        self.since, self.value, self.unit, self.limit, self.point, self.cause = by

    def as_state(self) -> dict[str, Any]:
        """What has to survive a restart."""
        return {
            "state": str(self.state), "present": self.present, "since": self.since, "value": self.value, "limit": self.limit,
            "cause": None if self.cause is None else as_json(self.cause),
            "point": self.point, "unit": self.unit, "answered": self.answered,
            "of": self.consequence_of, "seq": self.seq, "at": self.at_wall_ms,
            "told": self.told, "aside": self.aside, "announced": self.announced,
        }  # fmt: skip

    def restore(self, kept: Mapping[str, Any], cause: Message | None) -> None:
        """Take back what as_state() gave; `cause` in place of its form."""
        self.state = State(kept["state"])
        self.condition = self.delay.out = bool(kept["present"])
        self.since = None if kept["since"] is None else Since(*kept["since"])
        self.value, self.limit = kept["value"], kept["limit"]
        self.told = kept.get("told", self.value)
        self.cause, self.point, self.unit = cause, kept["point"], kept["unit"]
        self.answered = None if kept["answered"] is None else Answered(*kept["answered"])
        self.consequence_of, self.seq, self.at_wall_ms = kept["of"], kept["seq"], kept["at"]
        by, why, shelf = kept["aside"]
        self.aside = Aside(by, why, None if shelf is None else Shelf(Stamp(*shelf[0]), shelf[1]))
        waits = kept["announced"]
        self.announced = None if waits is None else Announced(Stamp(*waits[0]), Stamp(*waits[1]), *waits[2:])
