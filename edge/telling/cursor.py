"""What every target's cursor over the journal has, whatever it tells. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple, Protocol

from edge.domain.entries import Entry, Now

What = Literal["alarm", "right_again", "came_and_went", "summary", "test", "entry"]


class Item(NamedTuple):
    """One alarm in a notice. `came`, `over`: its entries, as far as they are news; `first`, `last`: the oldest and the newest of what is
    told of it. `times`: how often it came."""

    alarm: str
    what: What
    last: Entry
    came: Entry | None = None
    over: Entry | None = None
    times: int = 1
    first: Entry | None = None


class Notice(NamedTuple):
    """One message: its items, those of highest priority first, and since when (wall time [ms]) the target could not be told.

    `tries`: how many tries this one makes, those of a message that it takes over among them. `still`: alarms that the target was told
    before and that aren't over; of a summary.
    """

    what: What
    items: tuple[Item, ...]
    now: Now
    since_ms: int | None = None
    tries: int = 1
    still: tuple[str, ...] = ()

    @property
    def seq(self) -> int:
        """The highest entry that it tells of; 0 for none."""
        return max((item.last.seq for item in self.items), default=0)


class Outage:
    """Whether a target can be told. `since_ms`: wall time since when it can't; None while it can. `tries`: of the notice that is due."""

    def __init__(self) -> None:
        self.since_ms: int | None = None
        self.tries = 0

    def begin_try(self) -> None:
        """A notice is about to be sent: after a kill it counts as one that may have come."""
        self.tries += 1

    def refused(self, now: Now) -> bool:
        """It was not taken. Whether that is news: the target could be told until now."""
        news = self.since_ms is None
        if news:
            self.since_ms = now.wall_ms
        return news

    def took(self) -> None:
        """It was."""
        self.since_ms, self.tries = None, 0

    def as_state(self) -> dict[str, Any]:
        """As plain JSON."""
        return {"since": self.since_ms, "tries": self.tries}

    @classmethod
    def of(cls, state: Mapping[str, Any]) -> Outage:
        """What as_state() gave. Raises ValueError, TypeError, KeyError where it isn't such a state."""
        made, since = cls(), state["since"]
        made.since_ms, made.tries = None if since is None else int(since), max(0, int(state["tries"]))
        return made


class Cursor(Protocol):
    """One target's place in the journal, and what it is still to be told."""

    heard: int  # all entries up to this one were heard
    outage: Outage

    def begin(self, start: int, newest: int, now: Now) -> None:
        """A target that was never told: of the entries after `start`, up to `newest`, what stands is news; later all is."""
        ...

    def restore(self, state: Mapping[str, Any], newest: int) -> None:
        """Take back what as_state() gave; `newest`: the highest entry there is.

        Raises:
            ValueError, TypeError, KeyError: it isn't such a state; nothing is changed then.
        """
        ...

    def as_state(self) -> dict[str, Any]:
        """The place, as plain JSON."""
        ...

    def hear(self, entry: Entry) -> None:
        """An entry of the journal, in their order."""
        ...

    def due(self, now: Now) -> Notice | None:
        """The next message; None while there is none. What needs none is settled by this."""
        ...

    def took(self, notice: Notice) -> None:
        """The target has it."""
        ...

    def waits(self) -> int:
        """How much waits."""
        ...
