"""A part: one aspect of a station, such as its filters or its outlets, with all that is known of it and all that is said of it.

The station asks its parts in one order, so entries come out in that order. A part sees its station through a view (view.py) and, where
it needs an answer of another part, gets that question as an argument; it never sees the station and never writes into another part.
What has happened is told to all parts, at once and in their order, as a happening; the part that tells it hears it, too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple

from edge.domain.entries import Entry, Now
from edge.domain.messages import Message, moment, say
from edge.domain.readings import Role
from edge.domain.records.fact import Fact
from edge.domain.settings import Point
from edge.domain.station.judged import Judged
from edge.domain.water.draws import Draw


class DrawBegan(NamedTuple):
    """The meter, or what passes for one, shows a draw."""


class DrawEnded(NamedTuple):
    """A draw is over. `is_proved`: its end was seen, so that it counts as the last one. `mono_ms`: when."""

    draw: Draw
    is_proved: bool


class LiquidMoved(NamedTuple):
    """The heated liquid is "away", or "back": the reservoir's probe has just shown it."""

    event: str


class PointSilent(NamedTuple):
    """A point has fallen silent."""

    point: str


class PhaseChanged(NamedTuple):
    """The station does something else than before; view.situation says what."""


class RestChanged(NamedTuple):
    """The station's hours have begun or ended."""


class PowerChanged(NamedTuple):
    """An outlet has tripped, or is live again."""


class Recalibrated(NamedTuple):
    """A point's value has moved by a calibration alone, by so much in the unit of its kind."""

    point: str
    by: float


class FactAdded(NamedTuple):
    """A record stands in the book: one just taken, or one of the journal."""

    fact: Fact


class RecordKept(NamedTuple):
    """A record was taken just now. `is_of_alarms`: it is about an alarm, and no fact."""

    record: str
    body: Mapping[str, Any]
    is_of_alarms: bool = False


class RecordWeighed(NamedTuple):
    """RecordKept has reached all: the cross checks end the doubts that it explains."""

    record: str
    body: Mapping[str, Any]


class EntriesLost(NamedTuple):
    """The journal lost entries."""


class FactsRedated(NamedTuple):
    """More is known of the clock than before, so facts have other dates."""


class ClockTrustChanged(NamedTuple):
    """The wall clock has come to be trusted, or no longer is."""


class ClockStepped(NamedTuple):
    """The wall clock stepped."""


Happening = (
    DrawBegan | DrawEnded | LiquidMoved | PointSilent | PhaseChanged | RestChanged | PowerChanged | Recalibrated | FactAdded
    | RecordKept | RecordWeighed | EntriesLost | FactsRedated | ClockTrustChanged | ClockStepped
)  # fmt: skip


class NextDue(NamedTuple):
    """When something is due again that people do: why then, what was done last, and from when on [ms since 1970]; None: not known."""

    text: Message
    last: Fact | None
    due_ms: int | None


#: gives a condition as it is now
Judge = Callable[[Now], Judged]


def due_again(last: Fact | None, due_ms: int | None, *, passed: bool = True, counts: bool = True) -> NextDue:
    """When it is due again after it was done; what failed, or what no longer `counts`, is due now, as its condition or its alarm says."""
    if last is None:
        return NextDue(say("due.none"), None, None)
    done = {"done": moment(last.at_ms), "by": last.by}
    if not passed:
        return NextDue(say("due.failed", **done), last, None)
    if not counts:
        return NextDue(say("due.now", **done), last, None)
    return NextDue(
        say("due.done", **done) if due_ms is None else say("due.again", **done, due=moment(due_ms)), last, due_ms
    )


def that_mind(parts: Iterable[Part], method: str) -> tuple[Any, ...]:
    """A method of those parts, in their order, that don't leave it as it is here: asking the others costs time on each reading."""
    return tuple(getattr(part, method) for part in parts if getattr(type(part), method) is not getattr(Part, method))


class Part:
    """One aspect of a station. Every method may be left as it is here: then the part has nothing to say to that."""

    #: whose good readings it hears
    roles: frozenset[Role] = frozenset()
    #: kinds of entry that it takes back from the journal
    folds: frozenset[str] = frozenset()

    def begin(self, now: Now) -> None:
        """The first instant of a run, before anything is heard."""

    def resume(self, now: Now) -> None:
        """The first instant of a run, once what people had entered is heard again."""

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        """A reading that has a value, good or uncertain, in the unit of the point's kind."""

    def happened(self, event: Happening, now: Now) -> None:
        """Something that other parts, people or the clock did."""

    def advance(self, now: Now) -> None:
        """Time has passed, and whatever was to be heard of this instant is heard."""

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        """Monotonic times at which advance() is due if nothing is heard before [ms]."""
        return ()

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        """Milliseconds until each piece of evidence of its conditions expires: then these are judged anew; nought or less: it has."""
        return ()

    def responses(self, now: Now) -> Mapping[str, Message]:
        """What to do about those of its alarms that stand, by id, where that is more than their rows know."""
        return {}

    def consequences(self, now: Now) -> Mapping[str, Message]:
        """What follows from those of its alarms that stand, by id, where that isn't what their rows say."""
        return {}

    def alarm_ids(self) -> Iterable[str]:
        """The alarms that this station has because of it, whoever sets them."""
        return ()

    def next_due(self) -> Mapping[str, NextDue]:
        """When what people do is due again, by the alarm that tells of it once it is."""
        return {}

    def conditions(self) -> Mapping[str, Judge]:
        """Its conditions by id, each with its judge."""
        return {}

    def judged(self, conditions: Mapping[str, Judged], now: Now) -> None:
        """All conditions have been judged: alarms that go by conditions are set here."""

    def estimates(self, now: Now) -> Mapping[str, dict[str, Any]]:
        """What is computed rather than read, by name: shape in edge/snapshot.py."""
        return {}

    def fold(self, entry: Entry) -> None:
        """Take an outcome of the journal, of one of the kinds in `folds`."""

    def kept(self, entry: Entry) -> None:
        """An entry of one of the kinds in `folds`, made by this run, has its seq."""

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON; each key is this part's alone."""
        return {}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() of all parts gave, of which it knows its own keys."""
