"""What people owe the station, from recorded facts only.

"After midnight" is the station's zone by IANA rules: a daily test is due when the local date is later than the local date of the
last pass, or when the machine was powered up since; days without a midnight and clocks that go back are thereby right. A record
is never refused for coming in the wrong order: it is kept and does not count, with the reason.
"""

from __future__ import annotations

import difflib
import re
from calendar import monthrange
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import chain
from math import inf
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.domain.dates import Dates
from edge.domain.entries import Now, Stamp, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.readings import Role
from edge.domain.records.basins import basin_of, basins_about, is_about
from edge.domain.records.daily_tests import left_out, test_result
from edge.domain.records.fact import Fact
from edge.domain.records.forms import AFTERWARDS, LONGEST_NAME, is_name, known
from edge.domain.records.holding import holding
from edge.domain.records.losses import DROPPED, LOST, unanswered
from edge.domain.records.seen import LIVE, is_alarming, seen, word_of
from edge.domain.settings import Settings

#: what people do to alarms: remembered by the alarms themselves
ALARM_RECORDS: Final = frozenset({"acknowledge", "reset", "shelve", "unshelve", "out_of_service", "in_service"})

AHEAD_MS: Final = 300_000  # a record's time may be this far ahead of ours: two clocks are never the same
DAY_MS: Final = 86_400_000
FEW: Final = 3  # of each kind so many are never forgotten
NEARLY: Final = 0.8  # a word that is like another by so much is a slip of the pen


#: records that meet a condition by their date: one whose date can't be told meets nothing
DATED: Final = frozenset(
    {
        "daily_test",
        "water_path_treatment",
        "filter_change",
        "disinfectant_fill",
        "concentration_check",
        "entered_reading",
        "outlet_test",
    }
)
#: of these the newest by date holds, of the others the last in the journal
_BY_DATE: Final = frozenset({"disinfectant_fill", "entered_reading"})
#: that the machine was powered up: no record, but it stands among them in their order
POWER_UP: Final = "power_up"
#: that it may have been: nothing was heard of its power for a while
POWER_UNSURE: Final = "power_unsure"


#: that the outlet of the heater had tripped, or was live again
HEAT_OFF: Final = "heat_off"
#: that a cycle began or ended
USED: Final = "used"
#: that an outlet was seen to trip, each by its own name
TRIPPED: Final = "tripped"
#: facts that are no records: they have no seq
UNNUMBERED: Final = (POWER_UP, POWER_UNSURE, HEAT_OFF, USED, TRIPPED, LIVE)


def _on_the_wall(wall_ms: int, zone: ZoneInfo) -> datetime:
    """An instant as the clock at the station shows it."""
    return datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(zone)


def local_date(wall_ms: int, zone: ZoneInfo) -> date:
    """The calendar date at the station."""
    return _on_the_wall(wall_ms, zone).date()


def is_test_due(last_pass_ms: int | None, now_ms: int, zone: ZoneInfo) -> bool:
    """Is the daily test due by the calendar?

    >>> zone = ZoneInfo("America/Toronto")
    >>> is_test_due(wall_ms_of("2026-11-24T14:00:00Z"), wall_ms_of("2026-11-25T05:00:00Z"), zone)
    True
    """
    return last_pass_ms is None or local_date(now_ms, zone) > local_date(last_pass_ms, zone)


@lru_cache(maxsize=64)  # thousands of looks at the zone's rules, and asked for with every judgement of a filter
def day_start_ms(day: date, zone: ZoneInfo) -> int | None:
    """First instant of a local date, milliseconds since 1970; None where the date was skipped whole.

    A minute scan, so that skipped and doubled midnights come out right by the zone's own rules; but a midnight that is none of
    these, as nearly all are, is found at once: this is asked with each reading of a draw.
    """
    guess = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
    if guess.astimezone(zone).date() == day != (guess - timedelta(minutes=1)).astimezone(zone).date():
        return int(guess.timestamp()) * 1000
    for minutes in range(-26 * 60, 26 * 60):
        moment = guess + timedelta(minutes=minutes)
        if moment.astimezone(zone).date() == day:
            return int(moment.timestamp()) * 1000
    return None


def next_date_change_ms(wall_ms: int, zone: ZoneInfo) -> int:
    """The next whole minute at which the local date is another than now (at most 49 h ahead), milliseconds since 1970."""
    today = local_date(wall_ms, zone)
    at = wall_ms - wall_ms % 60_000
    for step in (3_600_000, 60_000):  # by hours up to the change, then by minutes
        while local_date(at + step, zone) == today and at - wall_ms < 49 * 3_600_000:
            at += step
    return at + 60_000


def months_later(day: date, months: int) -> date:
    """The date so many calendar months later; a day that the month lacks becomes its last.

    Source: W3C XML Schema Part 2, appendix E (adding durations to dates).

    >>> months_later(date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def months_later_ms(wall_ms: int, months: int, zone: ZoneInfo) -> int:
    """The same local day and time so many calendar months later; a day that the month lacks becomes its last."""
    local = _on_the_wall(wall_ms, zone)
    day = months_later(local.date(), months)
    return int(local.replace(year=day.year, month=day.month, day=day.day).timestamp() * 1000)


def days_later_ms(wall_ms: int, days: int, zone: ZoneInfo) -> int:
    """The same local time so many days later, also where clocks are set meanwhile: a day has 23 to 25 hours [ms since 1970].

    >>> days_later_ms(wall_ms_of("2026-03-16T06:09:00Z"), 14, ZoneInfo("Europe/Dublin")) == wall_ms_of("2026-03-30T05:09:00Z")
    True
    """
    return round((_on_the_wall(wall_ms, zone) + timedelta(days=days)).timestamp() * 1000)


def on_the_wall_ms(from_ms: int, to_ms: int, zone: ZoneInfo) -> int:
    """How long it is from one instant to another by the clock on the wall, which is set meanwhile now and then [ms].

    >>> on_the_wall_ms(wall_ms_of("2026-03-16T06:09:00Z"), wall_ms_of("2026-03-30T05:09:00Z"), ZoneInfo("Europe/Dublin")) // 86_400_000
    14
    """
    first, last = (_on_the_wall(at_ms, zone).utcoffset() for at_ms in (from_ms, to_ms))
    assert first is not None and last is not None
    return to_ms - from_ms + (last - first) // timedelta(milliseconds=1)


def checked(body: Mapping[str, Any], now: Now) -> tuple[str, str, int]:
    """(record, by, at_ms) of a record's body.

    Raises:
        RecordRefused: an unknown record, nobody's name, or a time that is none.
    """
    record, by, at = known(body), body.get("by"), body.get("at")
    where = f"record {record!r}"
    if not is_name(by):
        raise RecordRefused(
            f"{by[:LONGEST_NAME]!r} can't be a name" if isinstance(by, str) and by.strip() else "nobody is named",
            where=f"{where}, by",
            expected=f"a name of 1 to {LONGEST_NAME} printable characters",
            do="Say who did it",
        )
    if at is None:
        return record, by.strip(), now.wall_ms
    try:
        if not isinstance(at, str) or (at_ms := wall_ms_of(at)) < 0:
            raise ValueError
        return record, by.strip(), at_ms
    except (ValueError, OverflowError):
        raise RecordRefused(
            f"{at!r} is no such time",
            where=f"{where}, at",
            expected="a time since 1970 with Z or an offset, 2026-03-16T07:10:00Z",
            do="Correct the time",
        ) from None


class RecordBook:
    """The facts in the order of the journal, and the one place that answers what holds now.

    What binds (a hold, a failed test, a clean side that was opened, work that was declared, a power-up) stands, whatever date it
    has, until what ends it comes after it in the journal. What meets a condition does so by its date, which is never later than
    that of its recording; one whose date can't be told meets nothing. Rebuilt from the journal after a restart.
    """

    MOST: Final = 500

    def __init__(self, settings: Settings, zone: ZoneInfo) -> None:
        self.settings, self.zone = settings, zone
        self.facts: list[Fact] = []
        self.dates = Dates()
        self._dated_by = 0

    def note_clock(self, boot: str, now: Now) -> bool:
        """The clock showed this. True where it may change what is known of the facts' dates, also of the latest that they can have."""
        self.dates.note(boot, now)
        if self._dated_by == self.dates.version:
            return False
        self._dated_by = self.dates.version
        self.facts = [fact.redated(self.dates) for fact in self.facts]
        return True

    def last(self, record: str, **where: Any) -> Fact | None:
        """The counting fact of this kind that holds now and whose body agrees with `where`.

        That is the newest by its date, among those of one date the last in the journal; for what has no date to go by (see DATED) the
        last in the journal. Of daily tests see `tested`.
        """
        found: Fact | None = None
        for fact in self._counting(record):
            if any(fact.body.get(k) != v for k, v in where.items()):
                continue
            if record not in _BY_DATE or found is None or fact.at_ms >= found.at_ms:
                found = fact
        return found

    def doubted(self, record: str, basin: str | None = None) -> Fact | None:
        """The last fact of this kind (about this basin) that would count, were its date known."""
        last = (f for f in reversed(self.facts) if f.record == record and f.counts and f.doubt)
        last = (f for f in last if basin is None or is_about(self.settings, f.body, basin))
        return next((f for f in last if f.body.get("done") is not False), None)

    def _counting(self, record: str) -> Iterator[Fact]:
        return (f for f in self.facts if f.counts and f.record == record and not (f.doubt and record in DATED))

    def standing(
        self, record: str, passed: Callable[[Fact], bool], about: Callable[[Fact], bool] = lambda _: True
    ) -> Fact | None:
        """The result of a test that holds: a failure of any date until one passes that comes after it in the journal and not before it
        by date; else the newest pass by its date.
        """
        found: Fact | None = None
        for fact in self.facts:
            if fact.record != record or not fact.counts or not about(fact):
                continue
            holds = not fact.doubt and (found is None or fact.at_ms >= found.at_ms)
            if holds or not passed(fact):
                found = fact
        return found

    def tested(self, basin: str | None = None, until_ms: float = inf) -> Fact | None:
        """The daily test that stands: of one of several basins, or (None) of the station as a whole. `until_ms`: that stood then, by what
        is known now.
        """
        settings, found = self.settings, None
        if basin is None:
            return self.standing(
                "daily_test", self.passed, lambda test: test.at_ms <= until_ms and is_about(settings, test.body, None)
            )
        for test in (fact for fact in self.facts if fact.at_ms <= until_ms):
            if test.record == "daily_test" and test.counts and is_about(settings, test.body, basin):
                passed, _ = test_result(settings, test.body, basin)
                # one that failed in another basin may have left out what had failed here
                holds = not test.doubt and (
                    found is None
                    or (test.at_ms >= found.at_ms and not left_out(settings, found.body, test.body, basin))
                )
                if passed is False or (passed and holds):
                    found = test
        return found

    def powered_up_since(self, test: Fact, record: str = POWER_UP) -> bool:
        """Was the machine powered up after this test, or after it was recorded? POWER_UNSURE: may it have been?"""
        place = next((i for i, f in enumerate(self.facts) if f.record == record), None)
        if place is None:
            return False
        up = self.facts[place]
        return not any(f is test for f in self.facts[place:]) or (not up.doubt and up.at_ms > test.at_ms)

    def power_up(self, stamp: Stamp, record: str = POWER_UP) -> None:
        """The machine was powered up; POWER_UNSURE: it may have been; HEAT_OFF: the heater's outlet tripped, or is live again."""
        self.facts = [f for f in self.facts if f.record != record]
        self.facts.append(Fact(None, record, stamp.wall_ms, {}, True, stamp).redated(self.dates))

    @property
    def power_unsure(self) -> bool:
        """The machine may have been powered up, and nobody has said since that it wasn't."""
        return bool(unanswered(self.facts, POWER_UNSURE))

    def seen(self, role: Role, outlet: str | None = None) -> Fact | None:
        """What somebody saw of this role (and of this outlet) that no sensor outweighs (seen.py)."""
        return seen(self.facts, self.settings, role, outlet)

    def seen_off(self) -> Fact | None:
        """The last reading by eye, in the journal, of a machine without power: it was powered up since, or will be."""
        said = (f for f in reversed(self.facts) if f.counts and f.record == "entered_reading")
        return next(
            (f for f in said if f.body.get("role") == Role.MACHINE_POWER and word_of(f.body.get("value")) == "off"),
            None,
        )

    def poured_ms(self) -> int | None:
        """When the disinfectant was last topped up, but for what says `stirred`. It doesn't begin a new reuse life."""
        fact = self.last("disinfectant_top_up")
        return None if fact is None or fact.body.get("stirred") is True else fact.latest_ms(self.dates)

    def last_change(self, filter_id: str) -> Fact | None:
        """The newest change of this filter: a filter_change that names it in `filters` or `filter`."""
        found: Fact | None = None
        for fact in self._counting("filter_change"):
            wanted = filter_id in names_of(fact.body)
            wanted = wanted and not fact.body.get("stands")  # it opened the clean side; what it changed isn't sure
            if wanted and (found is None or fact.at_ms >= found.at_ms):
                found = fact
        return found

    def looked_at(self, filter_id: str) -> Fact | None:
        """The newest service of this filter that didn't find it failed."""
        of_it = (
            f
            for f in self._counting("service")
            if f.body.get("filter") == filter_id and f.body.get("passed") is not False
        )
        return max(of_it, key=lambda fact: fact.at_ms, default=None)

    def failed(self, filter_id: str) -> Fact | None:
        """The service that found this filter failed, as long as none since has found otherwise and it hasn't been changed."""
        last = self.standing(
            "service", lambda f: f.body.get("passed") is not False, lambda f: f.body.get("filter") == filter_id
        )
        change = self.last_change(filter_id)
        if last is None or last.body.get("passed") is not False or (change and self.comes_after(change, last)):
            return None
        return last

    def opened(self) -> Fact | None:
        """The last fact in the journal that opened the clean side of the water path, whatever date it has."""
        return next((f for f in reversed(self.facts) if f.counts and opens(f, self.settings)), None)

    def machine_changed(self) -> Fact | None:
        """The last fact in the journal since which another machine, or a part of it, stands here."""
        return next((f for f in reversed(self.facts) if f.counts and is_machine_changed(f)), None)

    def treated(self) -> Fact | None:
        """The last treatment that was recorded after the clean side was last opened."""
        opened = self.opened()
        last = next((fact for fact in reversed(self.facts) if fact is opened or is_done_treatment(fact)), None)
        return None if last is opened else last

    def comes_after(self, one: Fact, other: Fact) -> bool:
        """Was one recorded after the other, and, as far as dates can tell, not done before it?"""
        order = [f for f in self.facts if f is one or f is other]
        return order[-1] is one and one.at_ms >= other.at_ms

    def add(self, fact: Fact) -> Fact:
        """Keep a fact, with its date as known now. A correction takes the record it names out of the count."""
        fact = fact.redated(self.dates)
        if fact.record == "correction" and fact.counts:
            self._recount(fact.body.get("of"), counts=False)
        self.facts.append(fact)
        if len(self.facts) > self.MOST:
            self._thin()
        return fact

    def _recount(self, seq: Any, *, counts: bool) -> None:
        """A record counts no more, or again: what a correction took out of the count comes back with the correction's own."""
        places = {fact.seq: position for position, fact in enumerate(self.facts) if fact.seq is not None}
        while seq in places and self.facts[places[seq]].counts is not counts:
            position = places[seq]
            fact = self.facts[position] = self.facts[position]._replace(counts=counts)
            if fact.record != "correction":
                return
            seq, counts = fact.body.get("of"), not counts

    def _thin(self) -> None:
        """Forget what can't decide anything any more: all but the newest hundred, and the newest few of each kind: any of them may be
        taken back, and the one before it holds again.
        """
        newest: dict[Any, deque[Fact]] = {}
        latest: dict[Any, Fact] = {}
        for fact in self.facts:
            key = (
                fact.record,
                fact.counts,
                str(sorted(names_of(fact.body))),
                str(fact.body.get("outlet")),
                str(fact.body.get("duty")),
                fact.body.get("step"),
                fact.body.get("timing"),
                fact.body.get("done"),
                *(fact.body.get(key) is False for key in AFTERWARDS),
                fact.body.get("role"),
                fact.body.get("of"),
                fact.body.get("name"),
                fact.body.get("point"),
                fact.body.get("adjust"),
                fact.body.get("item"),
                fact.body.get("result"),
                tuple(self.passed(fact, basin) for basin in basins_about(self.settings, fact.body))
                if fact.record == "daily_test"
                else fact.body.get("passed"),
                str(fact.body.get("basin")),
                opens(fact, self.settings),
                is_machine_changed(fact),
                bool(fact.body.get("stands")),
                is_alarming(self.settings, fact.record, fact.body),
                word_of(fact.body.get("value")) == "off",
            )
            newest.setdefault(key, deque(maxlen=FEW)).append(fact)
            if key not in latest or fact.at_ms >= latest[key].at_ms:
                latest[key] = fact
        keep = (
            {id(f) for f in (*chain.from_iterable(newest.values()), *latest.values(), *self._at_work()[1])}
            | {id(f) for f in self.facts[-100:]}
            | {id(f) for f in self.facts if f.record in ("hold", "release", "calibration", "correction", LOST, DROPPED)}
        )
        self.facts = [f for f in self.facts if id(f) in keep]

    def number_next(self, seq: int) -> None:
        """Give the earliest fact that has none its seq."""
        for position, fact in enumerate(self.facts):
            if fact.seq is None and fact.record not in UNNUMBERED:
                self.facts[position] = fact._replace(seq=seq)
                return

    def passed(self, fact: Fact, basin: str | None = None) -> bool:
        """Did this daily test pass (in this basin)?"""
        return test_result(self.settings, fact.body, basin)[0] is True

    def hold_of(self, basin: str | None = None) -> Fact | None:
        """The newest hold that stands: of one of several basins, or (None) of the station as a whole."""
        return next((hold for hold in reversed(self.holds) if basin_of(self.settings, hold.body) == basin), None)

    @property
    def holds(self) -> list[Fact]:
        """The holds that stand: a release recorded after one ends it (holding.py)."""
        return holding(self.facts).holds

    @property
    def loss(self) -> Fact | None:
        """Entries that the journal lost, until a person has answered for them."""
        return next(reversed(unanswered(self.facts, LOST)), None)

    @property
    def dropped(self) -> list[Fact]:
        """What was owed when the station file stopped asking for it, until a person has answered for it."""
        return unanswered(self.facts, DROPPED)

    def work_of(self, basin: str | None = None) -> Fact | None:
        """The newest work that was declared and not ended: in one of several basins, or (None) on the station as a whole."""
        return next((work for work in reversed(self.works) if basin_of(self.settings, work.body) == basin), None)

    @property
    def works(self) -> list[Fact]:
        """Works that were declared and not ended: who ends work (in a basin) ends their own there, and another's where they have none."""
        return self._at_work()[0]

    def _at_work(self) -> tuple[list[Fact], list[Fact]]:
        """(works that stand, all that began or ended since nobody was at work: only together do they say which stand)."""
        standing: list[Fact] = []
        since: list[Fact] = []
        for fact in self.facts:
            if fact.counts and fact.record == "work_begins":
                standing.append(fact)
                since.append(fact)
            elif fact.counts and fact.record == "work_ends":
                ended = ended_by(fact.body, standing)
                standing = [work for work in standing if not any(work is one for one in ended)]
                since = [*since, fact] if standing else []
        return standing, since


def ended_by(end: Mapping[str, Any], works: Sequence[Fact]) -> list[Fact]:
    """Which of the works that stand a record of work's end ends: one's own, else all; of the basin that it names, if it names one."""
    there = [work for work in works if end.get("basin") in (None, work.body.get("basin"))]
    return [work for work in there if name_of(work.body) == name_of(end)] or there


def name_of(body: Mapping[str, Any], key: str = "by") -> str:
    """A typed name as it is compared: case and spaces don't matter."""
    return " ".join(str(body.get(key, "")).casefold().split())


def opens(fact: Fact, settings: Settings) -> bool:
    """Did this fact open the clean side of the water path? Another machine is connected behind the filters."""
    return fact.record in settings.clean_side_opened_by or says_opened(fact.body, settings) or is_machine_changed(fact)


def is_done_treatment(fact: Fact) -> bool:
    """Was the water path treated, all of it, at a time that is known?"""
    is_one = fact.record == "water_path_treatment" and fact.counts and not fact.doubt
    return is_one and fact.body.get("done") is not False and not fact.body.get("stands")


def says_opened(body: Mapping[str, Any], settings: Settings) -> bool:
    """Does it say so: by `opened_clean_side`, or by a `what` that is, names, or is nearly a word of the station file? Only the word
    itself outweighs an `opened_clean_side` that denies it.
    """
    said, what = body.get("opened_clean_side"), body.get("what")
    is_word, is_near = _like(what, settings.clean_side_opened_by) if isinstance(what, str) else (False, False)
    return said is True or is_word or (said is not False and is_near)


@lru_cache(maxsize=4096)  # asked of each fact of the book whenever conditions are judged
def _like(what: str, opened_by: frozenset[str]) -> tuple[bool, bool]:
    """(is it one of these words? does it name one, or is it nearly one?)."""
    words = re.findall(r"[^\W_]+", what.casefold())
    named = "_".join(words)
    near = any(one in named or difflib.get_close_matches(one, [named, *words], 1, NEARLY) for one in opened_by)
    return named in opened_by, near


def is_machine_changed(fact: Fact) -> bool:
    """Does another machine stand here since this fact, or a part of it?"""
    return fact.record == "equipment_change" and fact.body.get("what") != "sensor_fitted"


def names_of(body: Mapping[str, Any]) -> list[str]:
    """Ids of the filters that a filter_change names."""
    many, one = body.get("filters"), body.get("filter")
    named = [*many, one] if isinstance(many, list) else [one]
    return list(dict.fromkeys(n for n in named if isinstance(n, str)))
