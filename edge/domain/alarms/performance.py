"""How an alarm system performs: the figures of ANSI/ISA-18.2, IEC 62682 and EEMUA 191, from the alarm entries of a journal.

The standards could not be opened here: measures and their targets are from memory and public summaries, as the rows of
tests/handbook/k.alarms.jsonl say. What is counted is the announcement of an alarm: a change to unacknowledged. One that is only told
again because nobody answered is the same announcement.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.alarms.states import LIT, State
from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339

MINUTE_MS: Final = 60_000
PERIOD_MS: Final = 10 * MINUTE_MS
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS

#: targets: the most alarms in ten minutes that can be answered on an average, and before it is a flood; a flood ends below FLOOD_ENDS
AVERAGE_PER_PERIOD: Final = 1.0
FLOOD: Final = 10
FLOOD_ENDS: Final = 5
BUSY_HOUR: Final = 30
#: shares, in per cent
MOST_FLOODED: Final = 1.0
MOST_OF_TOP_TEN: Final = 5.0
#: an alarm that came so often within a minute chatters; one that was gone so soon, and didn't, was fleeting (ours: "within seconds")
CHATTERS: Final = 3
FLEETING_MS: Final = 10_000
#: what stands longer is stale, and so many of them at once are too many
STALE_MS: Final = DAY_MS
MOST_STALE: Final = 5
MOST_STANDING: Final = 10


#: figure -> the most that it should be; where `below` stands it should be less
TARGETS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "per_day": {"most": AVERAGE_PER_PERIOD * DAY_MS / PERIOD_MS}, "per_period": {"most": AVERAGE_PER_PERIOD},
        "most_in_period": {"most": FLOOD}, "periods_over": {"most": 1.0}, "hours_over": {"most": 1.0},
        "flooded": {"below": MOST_FLOODED}, "chattering": {"most": 0}, "fleeting": {"most": 0}, "stale": {"below": MOST_STALE},
        "most_standing": {"most": MOST_STANDING},
    }
)  # fmt: skip


class Stood(NamedTuple):
    """One alarm that stood, from its announcement until it was gone; `until_ms` None: it stands yet."""

    id: str
    from_ms: int
    until_ms: int | None


class Performance(NamedTuple):
    """The figures of one span of time. Times in milliseconds since 1970, shares in per cent.

    Attributes:
        per_day, per_period: announcements on an average, a day and ten minutes.
        most_in_period: most announcements in any ten minutes.
        periods_over: share of ten-minute periods with more than FLOOD; hours_over: of hours with more than BUSY_HOUR.
        floods: (begin, end) of each; flooded: share of the time in one.
        top: the ten most frequent, with how often; top_share: of all announcements.
        chattering, fleeting: ids, with how often.
        stale: what stood longer than a day.
        most_standing: most alarms at one time.
        answered_s: median and 90 % point of the time until somebody acknowledged [s]; None where nobody did.
        unanswered: announcements that nobody has acknowledged yet, or that went before somebody did.
        by_priority: announcements by priority.
        undated: announcements whose date can't be told: they are taken to lie between the boots that have one.
    """

    from_ms: int
    until_ms: int
    again: int
    per_day: float
    per_period: float
    most_in_period: int
    periods_over: float
    hours_over: float
    floods: tuple[tuple[int, int], ...]
    flooded: float
    top: tuple[tuple[str, int], ...]
    top_share: float
    chattering: Mapping[str, int]
    fleeting: Mapping[str, int]
    stale: tuple[Stood, ...]
    most_standing: int
    answered_s: tuple[float, float] | None
    unanswered: int
    by_priority: Mapping[str, int]
    undated: int

    @property
    def announced(self) -> int:
        """How many announcements there were."""
        return sum(self.by_priority.values())


def chatters(times_ms: Iterable[int]) -> bool:
    """Did one alarm come CHATTERS times within a minute? `times_ms`: when it was announced, in order.

    >>> chatters([0, 20_000, 40_000]), chatters([0, 30_000, 61_000])
    (True, False)
    """
    last: deque[int] = deque(maxlen=CHATTERS)
    for at_ms in times_ms:
        last.append(at_ms)
        if len(last) == CHATTERS and at_ms - last[0] <= MINUTE_MS:
            return True
    return False


def performance(entries: Iterable[Entry], from_ms: int, until_ms: int, dates: Dates | None = None) -> Performance:
    """The figures of [from_ms, until_ms), by the dates of the entries as known now.

    Args:
        entries: of a whole journal, in order; those of other kinds are passed over.
        dates: what is known of the clock; None: what was stamped is right.

    Raises:
        ValueError: there is no time between the two.
    """
    if until_ms <= from_ms:
        raise ValueError("the span has no length")
    seen, known = _Seen(), dates or Dates()
    for entry in entries:
        if entry.kind == "alarm" and (at_ms := known.nearest_ms(entry.stamp)) < until_ms:
            seen.take(entry, at_ms, is_dated=not known.of(entry.stamp).doubt)
    told = [(at_ms, ident) for at_ms, ident in seen.announced if at_ms >= from_ms]
    times, span_ms = sorted(at_ms for at_ms, _ in told), until_ms - from_ms
    by_id: dict[str, list[int]] = {}
    for at_ms, ident in told:
        by_id.setdefault(ident, []).append(at_ms)
    chattering = {ident: len(at) for ident, at in by_id.items() if chatters(sorted(at))}
    floods = _floods(times, until_ms)
    top = Counter({ident: len(at) for ident, at in by_id.items()}).most_common(10)
    stood = [one for one in seen.stood(until_ms) if (one.until_ms or until_ms) > from_ms]
    answered = sorted(took_ms / 1000.0 for at_ms, took_ms in seen.answered if at_ms >= from_ms)
    return Performance(
        from_ms=from_ms,
        until_ms=until_ms,
        again=sum(at_ms >= from_ms for at_ms in seen.again),
        per_day=len(told) * DAY_MS / span_ms,
        per_period=len(told) * PERIOD_MS / span_ms,
        most_in_period=_most_within(times, PERIOD_MS),
        periods_over=_share_over(times, from_ms, span_ms, PERIOD_MS, FLOOD),
        hours_over=_share_over(times, from_ms, span_ms, HOUR_MS, BUSY_HOUR),
        floods=tuple(floods),
        flooded=100.0 * sum(end - begin for begin, end in floods) / span_ms,
        top=tuple(top),
        top_share=100.0 * sum(n for _, n in top) / len(told) if told else 0.0,
        chattering=chattering,
        fleeting={
            ident: n
            for ident, n in Counter(one.id for one in stood if _is_fleeting(one, from_ms)).items()
            if ident not in chattering
        },
        stale=tuple(one for one in stood if (one.until_ms or until_ms) - one.from_ms > STALE_MS),
        most_standing=_most_at_once(stood, until_ms),
        answered_s=(median(answered), answered[max(-(-9 * len(answered) // 10) - 1, 0)]) if answered else None,
        unanswered=len(told) - len(answered),
        by_priority=Counter(seen.priorities[at_ms, ident] for at_ms, ident in told),
        undated=sum(at_ms >= from_ms for at_ms in seen.undated),
    )


def performance_json(found: Performance) -> dict[str, Any]:
    """The figures in plain JSON: times RFC 3339 UTC; floods as [begin, end], stale as [id, begin, end or null]."""
    return {
        "announced": found.announced,
        **{key: value for key, value in found._asdict().items() if key not in ("from_ms", "until_ms")},
        "from": rfc3339(found.from_ms), "to": rfc3339(found.until_ms),
        "floods": [[rfc3339(begin), rfc3339(end)] for begin, end in found.floods],
        "stale": [[one.id, rfc3339(one.from_ms), None if one.until_ms is None else rfc3339(one.until_ms)] for one in found.stale],
        "chattering": dict(found.chattering), "fleeting": dict(found.fleeting), "by_priority": dict(found.by_priority),
    }  # fmt: skip


class _Seen:
    """What the alarm entries tell, in their order."""

    def __init__(self) -> None:
        self.announced: list[tuple[int, str]] = []
        self.undated: list[int] = []
        self.again: list[int] = []
        self.answered: list[tuple[int, int]] = []  # announced when, acknowledged after so long
        self.priorities: dict[tuple[int, str], str] = {}
        self._waits: dict[str, int] = {}  # not acknowledged yet: announced when
        self._lit: dict[str, int] = {}  # stands: since when
        self._stood: list[Stood] = []

    def take(self, entry: Entry, at_ms: int, *, is_dated: bool) -> None:
        body = entry.body
        ident, before, after = body["id"], body["from"], body["to"]
        if after == State.UNACKNOWLEDGED and before == after:
            self.again.append(at_ms)
        elif after == State.UNACKNOWLEDGED:
            self.announced.append((at_ms, ident))
            self.undated += [] if is_dated else [at_ms]
            self.priorities[at_ms, ident] = body["priority"]
            self._waits[ident] = at_ms
        elif ident in self._waits and "by" in body and after in _ANSWERED:
            told_ms = self._waits.pop(ident)
            self.answered.append((told_ms, max(at_ms - told_ms, 0)))
        elif after == State.NORMAL:
            self._waits.pop(ident, None)
        if after in LIT:
            self._lit.setdefault(ident, at_ms)
        elif ident in self._lit:
            self._stood.append(Stood(ident, self._lit.pop(ident), at_ms))

    def stood(self, until_ms: int) -> Sequence[Stood]:
        """Every alarm that stood, those that stand yet with no end."""
        return [*self._stood, *(Stood(ident, since_ms, None) for ident, since_ms in self._lit.items())]


_ANSWERED: Final = frozenset({State.ACKNOWLEDGED, State.NORMAL, State.LATCHED_ACKNOWLEDGED})


def _is_fleeting(one: Stood, from_ms: int) -> bool:
    return one.from_ms >= from_ms and one.until_ms is not None and one.until_ms - one.from_ms <= FLEETING_MS


def _most_within(times: Sequence[int], width_ms: int) -> int:
    """Most of the times within any `width_ms`, the end not counted."""
    most, first = 0, 0
    for at, at_ms in enumerate(times):
        while at_ms - times[first] >= width_ms:
            first += 1
        most = max(most, at - first + 1)
    return most


def _share_over(times: Sequence[int], from_ms: int, span_ms: int, width_ms: int, limit: int) -> float:
    """Share of the periods of a span that hold more than `limit` [%]."""
    counts = Counter((at_ms - from_ms) // width_ms for at_ms in times)
    return 100.0 * sum(n > limit for n in counts.values()) / max(-(-span_ms // width_ms), 1)


def _floods(times: Sequence[int], until_ms: int) -> list[tuple[int, int]]:
    """Where more than FLOOD alarms came in ten minutes, until fewer than FLOOD_ENDS did."""
    floods: list[tuple[int, int]] = []
    window: deque[int] = deque()
    begun_ms: int | None = None
    for at_ms in times:
        while window and at_ms - window[0] >= PERIOD_MS:
            gone_ms = window.popleft() + PERIOD_MS
            if begun_ms is not None and len(window) < FLOOD_ENDS:
                floods.append((begun_ms, gone_ms))
                begun_ms = None
        window.append(at_ms)
        if begun_ms is None and len(window) > FLOOD:
            begun_ms = window[0]
    if begun_ms is not None:
        end_ms = window[-FLOOD_ENDS] + PERIOD_MS if len(window) >= FLOOD_ENDS else until_ms
        floods.append((begun_ms, min(end_ms, until_ms)))
    return floods


def _most_at_once(stood: Iterable[Stood], until_ms: int) -> int:
    """Most alarms that stood at one time."""
    steps = sorted(
        step for one in stood for step in ((one.from_ms, 1), (until_ms if one.until_ms is None else one.until_ms, -1))
    )
    most = now = 0
    for _, step in steps:
        now += step
        most = max(most, now)
    return most
