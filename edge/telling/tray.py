"""What one target of people is still to be told, and what it was told. Pure: entries and times in, notices out.

An alarm waits from its first entry that isn't settled; later entries of it are merged, so an outage of weeks costs one row for each alarm.
What was told is remembered by alarm, with the highest entry that it covers: an entry that is heard again after a restart changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple, cast
from zoneinfo import ZoneInfo

from edge.domain.alarms.catalogue import rank_of
from edge.domain.entries import Entry, Now
from edge.domain.entry_bodies import AlarmBody, announced
from edge.domain.station.hours import at_rest
from edge.telling.cursor import Item, Notice, Outage, What

#: the alarm that says that telling fails: a target that could not be told itself hears of it by its summary
UNTOLD: Final = "untold"
#: so long after an outage it is left alone: it ends a little later than what it is about
UNTOLD_LASTS_MS: Final = 60_000
#: more news than this at once are one summary (our own number, no published source)
MOST_SINGLE: Final = 3
_PUT_ASIDE: Final = frozenset({"acknowledged", "latched_acknowledged", "shelved", "out_of_service", "normal"})


@dataclass(frozen=True, slots=True)
class Rules:
    """What a target is told, and when.

    Attributes:
        zone: the station's.
        priority: the least that is told at all.
        outside_hours: the least that is told at once while the station is closed; the rest waits for the hours, at most
            `longest_wait_ms`.
        summary_after_ms: several news, the oldest of which has waited so long, are one summary.
        hours: the station's, as Settings.hours has them; None: it is never closed.
        daily_test_min: minutes after local midnight of a daily test notice; None: there is none.
    """

    zone: ZoneInfo
    priority: str = "low"
    outside_hours: str = "low"
    longest_wait_ms: int = 14 * 3_600_000
    summary_after_ms: int = 120_000
    hours: Mapping[int, tuple[int, int]] | None = None
    daily_test_min: int | None = None


class _Settled(NamedTuple):
    """Up to which entry an alarm is settled, and whether the target knows of it as one that isn't over."""

    seq: int
    told: bool


_NEVER: Final = _Settled(0, False)


@dataclass(slots=True)
class _Waiting:
    """An alarm with entries that aren't settled. `aside`: somebody acknowledged it, or put it aside, before it was told."""

    first: Entry
    last: Entry
    came: Entry | None = None
    over: Entry | None = None
    times: int = 0
    aside: bool = False


class Tray:
    """One target's.

    Args:
        boot: the present one; ages within it go by monotonic time.
    """

    def __init__(self, rules: Rules, boot: str) -> None:
        self._rules, self._boot = rules, boot
        self.heard = 0
        self.outage = Outage()
        self._tested = ""  # local date of the last test notice
        self._waiting: dict[str, _Waiting] = {}
        self._settled: dict[str, _Settled] = {}
        self._old = 0  # what was over by this entry is no news to a new target
        self._calm_ms = 0  # monotonic: until then the alarm of an outage that has ended is left alone

    # ---- the place

    def begin(self, start: int, newest: int, now: Now) -> None:
        """A target that was never told: of the entries after `start`, up to `newest`, what stands is news; later all is, and the next
        test notice is its first."""
        self.heard, self._old = start, newest
        self._tested = self._test_date(now) or ""

    def as_state(self) -> dict[str, Any]:
        """The place, as plain JSON."""
        seq = min((one.first.seq - 1 for one in self._waiting.values()), default=self.heard)
        kept = {alarm: list(one) for alarm, one in self._settled.items() if one.told or one.seq > seq}
        return {"seq": seq, "alarms": kept, "tested": self._tested, **self.outage.as_state()}

    def restore(self, state: Mapping[str, Any], newest: int) -> None:
        """Take back what as_state() gave; `newest`: the highest entry there is.

        Raises:
            ValueError, TypeError, KeyError: it isn't such a state; nothing is changed then.
        """
        seq, tested, outage = int(state["seq"]), str(state["tested"]), Outage.of(state)
        settled = {str(alarm): _Settled(int(upto), bool(told)) for alarm, (upto, told) in dict(state["alarms"]).items()}
        self.heard, self._tested, self.outage = min(max(0, seq), newest), tested, outage
        self._settled = {alarm: one for alarm, one in settled.items() if one.seq <= newest}

    # ---- hearing

    def hear(self, entry: Entry) -> None:
        """An entry of the journal, in their order."""
        self.heard = max(self.heard, entry.seq)
        if entry.kind != "alarm":
            return
        body = cast(AlarmBody, entry.body)
        alarm = body["id"]
        settled, waiting = self._settled.get(alarm, _NEVER), self._waiting.get(alarm)
        if entry.seq <= settled.seq or (not settled.told and _rank(entry) < rank_of(self._rules.priority)):
            return
        if announced(entry.kind, body) is not None:
            one = self._wait(alarm, entry)
            one.came, one.times, one.over, one.aside = entry, one.times + 1, None, False
        elif body["to"] == "suppressed_by_design":  # its cause is told, or somebody sees to it
            self._settle(alarm, entry.seq, settled.told)
        elif not body["present"] and not _was_over(body) and (waiting is not None or settled.told):
            if entry.seq <= self._old:
                self._settle(alarm, entry.seq, False)
            else:
                self._wait(alarm, entry).over = entry
        elif waiting is not None:
            waiting.last = entry
            waiting.aside = waiting.aside or body["to"] in _PUT_ASIDE

    def _wait(self, alarm: str, entry: Entry) -> _Waiting:
        waiting = self._waiting.setdefault(alarm, _Waiting(entry, entry))
        waiting.last = entry
        return waiting

    def _settle(self, alarm: str, seq: int, told: bool) -> None:
        self._waiting.pop(alarm, None)
        self._settled[alarm] = _Settled(seq, told)

    # ---- what is due

    def due(self, now: Now) -> Notice | None:
        """The next message for this target; None while there is none. What needs none is settled by this."""
        items = self._items()
        ripe = [item for item in items if item.what != "summary" and self._is_ripe(item, now)]
        if self.outage.since_ms is not None:
            return self._after_outage(items, ripe, now)
        if not ripe:
            self._settle_rest(items)
            return self._notice("test", [], now) if self._is_test_due(now) else None
        oldest_ms = max(self._age_ms(item.alarm, now) for item in ripe)
        if len(ripe) > MOST_SINGLE or (len(ripe) > 1 and oldest_ms >= self._rules.summary_after_ms):
            return self._notice("summary", items, now)
        return self._notice(ripe[0].what, ripe[:1], now)

    def _after_outage(self, items: list[Item], ripe: list[Item], now: Now) -> Notice:
        """Once a try has failed a message is owed, and says what became of all that waited."""
        items = [item for item in items if item.alarm != UNTOLD or item.what == "right_again"]
        is_single = len(items) == 1 and items[0] in ripe
        return self._notice(items[0].what if is_single else "summary", items, now)

    def _notice(self, what: What, items: list[Item], now: Now) -> Notice:
        still = sorted(alarm for alarm, one in self._settled.items() if one.told and alarm not in self._waiting)
        return Notice(
            what,
            tuple(items),
            now,
            self.outage.since_ms,
            self.outage.tries + 1,
            tuple(still) if what == "summary" else (),
        )

    def _items(self) -> list[Item]:
        """All that waits, the most urgent first. `what` is "summary" for what is no news of its own."""
        items = [
            Item(alarm, self._what(alarm, one), one.last, one.came, one.over, one.times, one.first)
            for alarm, one in self._waiting.items()
        ]
        return sorted(items, key=lambda item: (-_rank(item.last), item.last.seq))

    def _what(self, alarm: str, one: _Waiting) -> What:
        if one.over is not None and self._settled.get(alarm, _NEVER).told:
            return "right_again"
        if one.aside or one.came is None or (alarm == UNTOLD and one.over is not None):
            return "summary"
        return "alarm" if one.over is None else "came_and_went"

    def _is_ripe(self, item: Item, now: Now) -> bool:
        """To be told at once: by its priority, the hours, or how long it has waited. An untrusted clock can't say that it is closed."""
        rules = self._rules
        if item.alarm == UNTOLD and now.mono_ms < self._calm_ms:
            return False
        if _rank(item.last) >= rank_of(rules.outside_hours) or rules.hours is None or not now.trusted:
            return True
        if self._age_ms(item.alarm, now) >= rules.longest_wait_ms:
            return True
        return not at_rest(rules.hours, 0, rules.zone, now.wall_ms)[0]

    def _age_ms(self, alarm: str, now: Now) -> int:
        first = self._waiting[alarm].first
        return now.mono_ms - first.mono_ms if first.boot == self._boot else now.wall_ms - first.wall_ms

    def _settle_rest(self, items: list[Item]) -> None:
        """What somebody saw before it could be told."""
        for item in items:
            if item.what == "summary":
                self._settle(item.alarm, item.last.seq, self._settled.get(item.alarm, _NEVER).told)

    def waits(self) -> int:
        """For how many alarms something waits."""
        return len(self._waiting)

    # ---- what became of it

    def took(self, notice: Notice) -> None:
        """The target has it."""
        for item in notice.items:
            self._settle(item.alarm, item.last.seq, item.over is None)
        if notice.what in ("test", "summary"):
            self._tested = self._test_date(notice.now) or self._tested
        if self.outage.since_ms is not None:
            self._calm_ms = notice.now.mono_ms + UNTOLD_LASTS_MS
        self.outage.took()

    # ---- test notices

    def _is_test_due(self, now: Now) -> bool:
        due = self._test_date(now)
        return due is not None and due > self._tested

    def _test_date(self, now: Now) -> str | None:
        """The local date of the newest test notice that is due by now; None where there is none, or the clock isn't trusted."""
        if self._rules.daily_test_min is None or not now.trusted:
            return None
        local = datetime.fromtimestamp(now.wall_ms / 1000.0, UTC).astimezone(self._rules.zone)
        is_due = local.hour * 60 + local.minute >= self._rules.daily_test_min
        return str(local.date() if is_due else local.date() - timedelta(days=1))


def _rank(entry: Entry) -> int:
    return rank_of(entry.body["priority"])


def _was_over(body: AlarmBody) -> bool:
    """Whether the alarm was right again before this change, which is then a person's."""
    return body["from"] in ("returned_unacknowledged", "latched_unacknowledged", "latched_acknowledged")
