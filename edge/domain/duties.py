"""What people owe the station, from recorded facts only.

"After midnight" is the station's zone by IANA rules: a daily test is due when the local date is later than the local date of the
last pass, or when the machine was powered up since; days without a midnight and clocks that go back are thereby right. A record
is never refused for coming in the wrong order: it is kept and does not count, with the reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entries import Now, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.settings import Settings

#: words of the contract
RECORDS: Final = tuple(
    "daily_test water_path_treatment filter_change disinfectant_fill disinfectant_top_up concentration_check calibration "
    "entered_reading outlet_test hold release equipment_change service work_begins work_ends acknowledge shelve unshelve "
    "out_of_service in_service correction note".split()
)
#: what people do to alarms: remembered by the alarms themselves
ALARM_RECORDS: Final = frozenset({"acknowledge", "shelve", "unshelve", "out_of_service", "in_service"})

AHEAD_MS: Final = 300_000  # a record's time may be this far ahead of ours: two clocks are never the same
LONGEST_NAME: Final = 80
DAY_MS: Final = 86_400_000


class Fact(NamedTuple):
    """A record that was kept. `at_ms`: when it happened."""

    seq: int | None
    record: str
    at_ms: int
    body: Mapping[str, Any]
    counts: bool


def local_date(wall_ms: int, zone: ZoneInfo) -> date:
    """The calendar date at the station."""
    return datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(zone).date()


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


def months_later_ms(wall_ms: int, months: int, zone: ZoneInfo) -> int:
    """The same local day and time so many calendar months later; a day that the month lacks becomes its last."""
    local = datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(zone)
    year, month = divmod(local.year * 12 + local.month - 1 + months, 12)
    for day in (local.day, 30, 29, 28):
        try:
            return int(local.replace(year=year, month=month + 1, day=day).timestamp() * 1000)
        except ValueError:
            continue
    raise AssertionError("every month has a 28th")


def checked(body: Mapping[str, Any], now: Now) -> tuple[str, str, int]:
    """(record, by, at_ms) of a record's body.

    Raises:
        RecordRefused: an unknown record, nobody's name, or a time that is none.
    """
    record, by, at = body.get("record"), body.get("by"), body.get("at")
    where = f"record {record!r}" if isinstance(record, str) else "record"
    if record not in RECORDS:
        raise RecordRefused(
            "no such record",
            where=where,
            expected="one of " + ", ".join(RECORDS),
            do="Correct the word and send it again",
        )
    if not isinstance(by, str) or not by.strip() or len(by) > LONGEST_NAME:
        raise RecordRefused(
            "nobody is named",
            where=f"{where}, by",
            expected=f"a name of 1 to {LONGEST_NAME} characters",
            do="Say who did it",
        )
    if at is None:
        return str(record), by.strip(), now.wall_ms
    try:
        if not isinstance(at, str):
            raise ValueError
        return str(record), by.strip(), wall_ms_of(at)
    except (ValueError, OverflowError):
        raise RecordRefused(
            f"{at!r} is no such time",
            where=f"{where}, at",
            expected="a time with Z or an offset, 2026-03-16T07:10:00Z",
            do="Correct the time",
        ) from None


def test_result(settings: Settings, body: Mapping[str, Any]) -> tuple[bool | None, str]:
    """Did a daily test pass? (None: it can't be told), and why.

    `channel_ports`: [{"port": n, "seconds": s}] for the volume of the station file, or {"port", "ml", "seconds"}; "within" is
    strictly less. Where ports are given they decide; else `passed`.
    """
    ports, said, test = body.get("channel_ports"), body.get("passed"), settings.daily_test
    if ports is None or test is None:
        if isinstance(said, bool):
            return said, "passed" if said else "failed"
        return None, "no result: neither passed nor channel_ports"
    if not isinstance(ports, list) or not ports:
        return None, "channel_ports is no list"
    failed: list[str] = []
    for port in ports:
        seconds = port.get("seconds") if isinstance(port, dict) else None
        if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds < 3600:
            return None, f"a channel port without seconds: {port!r}"
        ml = port.get("ml", test.volume_ml)
        if isinstance(ml, bool) or not isinstance(ml, int | float) or not 0 < ml < 1e6:
            return None, f"a channel port with a volume that is none: {port!r}"
        if not (seconds < test.within_s and ml >= test.volume_ml):
            failed.append(f"port {port.get('port', '?')} gave {ml:g} mL in {seconds:g} s")
    wanted = sum(basin.channel_ports for basin in settings.basins)
    if failed:
        return False, "; ".join(failed) + f"; at least {test.volume_ml:g} mL in less than {test.within_s:g} s is needed"
    if said is False:
        return False, "recorded as failed"
    if test.measure == "every port" and len({str(p.get("port")) for p in ports}) < wanted:
        return None, f"{len(ports)} of {wanted} channel ports measured"
    return True, "passed"


class Book:
    """The facts that count, newest kept. Rebuilt from the journal after a restart."""

    MOST: Final = 500

    def __init__(self, settings: Settings, zone: ZoneInfo) -> None:
        self.settings, self.zone = settings, zone
        self.facts: list[Fact] = []
        self.powered_up_ms: int | None = None

    def last(self, record: str, **where: Any) -> Fact | None:
        """The newest counting fact of this kind whose body agrees with `where`."""
        found: Fact | None = None
        for fact in self.facts:
            wanted = fact.counts and fact.record == record and all(fact.body.get(k) == v for k, v in where.items())
            if wanted and (found is None or fact.at_ms >= found.at_ms):
                found = fact
        return found

    def poured_ms(self) -> int | None:
        """When the disinfectant was last topped up, but for what says `stirred`. It doesn't begin a new reuse life."""
        fact = self.last("disinfectant_top_up")
        return None if fact is None or fact.body.get("stirred") is True else fact.at_ms

    def last_change(self, filter_id: str) -> Fact | None:
        """The newest change of this filter: a filter_change that names it in `filters`, `filter`, or names none (all)."""
        found: Fact | None = None
        for fact in self.facts:
            wanted = fact.counts and fact.record == "filter_change" and filter_id in changed(fact.body, self.settings)
            if wanted and (found is None or fact.at_ms >= found.at_ms):
                found = fact
        return found

    def opened(self) -> Fact | None:
        """The newest fact that opened the clean side of the water path."""
        opened_by = self.settings.clean_side_opened_by
        found: Fact | None = None
        for fact in self.facts:
            what = fact.body.get("what")
            opens = (
                fact.record in opened_by
                or (isinstance(what, str) and what in opened_by)
                or fact.body.get("opened_clean_side") is True
            )
            if fact.counts and opens and (found is None or fact.at_ms >= found.at_ms):
                found = fact
        return found

    def judge(self, record: str, at_ms: int, body: Mapping[str, Any], now: Now) -> tuple[bool, str]:
        """Does this record count, and if not, why not?"""
        if now.trusted and at_ms > now.wall_ms + AHEAD_MS:
            return False, "its time is in the future"
        if record == "daily_test":
            passed, why = test_result(self.settings, body)
            return passed is not None, "" if passed is not None else why
        if record == "water_path_treatment":
            return self._judge_treatment(at_ms, body)
        if record == "filter_change":
            unknown = set(_names(body)) - {f.id for f in self.settings.filters}
            return not unknown, f"no such filter: {', '.join(sorted(map(str, unknown)))}" if unknown else ""
        if record == "release":
            return (True, "") if self.is_held else (False, "nothing is held")
        if record == "work_ends":
            return (True, "") if self.work is not None else (False, "no work was declared")
        if record == "correction":
            fact = next((f for f in self.facts if f.seq is not None and f.seq == body.get("of")), None)
            return (True, "") if fact is not None and fact.counts else (False, "of: no counting record has this seq")
        return True, ""

    def _judge_treatment(self, at_ms: int, body: Mapping[str, Any]) -> tuple[bool, str]:
        wanted_ms = self.settings.treatment_contact_ms or 0
        minutes = body.get("contact_min")
        if isinstance(minutes, bool) or not isinstance(minutes, int | float):
            return False, "contact_min is missing: the minutes of contact"
        if minutes * 60_000 < wanted_ms:
            return False, f"{minutes:g} min of contact; {wanted_ms / 60_000:g} min are needed"
        if body.get("rinsed") is False:
            return False, "not drained and rinsed"
        test = self.last("daily_test")
        if (
            test is None
            or local_date(test.at_ms, self.zone) != local_date(at_ms, self.zone)
            or test.at_ms > at_ms
            or not self.passed(test)
        ):
            return False, "that day's daily test had not passed before it"
        return True, ""

    def add(self, fact: Fact) -> None:
        """Keep a fact. A correction takes the record it names out of the count."""
        if fact.record == "correction" and fact.counts:
            self.facts = [f._replace(counts=False) if f.seq == fact.body.get("of") else f for f in self.facts]
        self.facts.append(fact)
        if len(self.facts) > self.MOST:
            self._thin()

    def _thin(self) -> None:
        """Forget what can't decide anything any more: all but the newest hundred and the newest of each kind."""
        newest: dict[Any, Fact] = {}
        for fact in self.facts:
            key = (
                fact.record,
                fact.counts,
                str(sorted(_names(fact.body))),
                fact.body.get("role"),
                fact.body.get("of"),
                fact.body.get("name"),
                fact.body.get("point"),
                fact.body.get("adjust"),
            )
            newest[key] = fact
        keep = (
            {id(f) for f in newest.values()}
            | {id(f) for f in self.facts[-100:]}
            | {id(f) for f in self.facts if f.record in ("hold", "release", "calibration")}
        )
        self.facts = [f for f in self.facts if id(f) in keep]

    def number_next(self, seq: int) -> None:
        """Give the earliest fact that has none its seq."""
        for position, fact in enumerate(self.facts):
            if fact.seq is None:
                self.facts[position] = fact._replace(seq=seq)
                return

    def passed(self, fact: Fact) -> bool:
        """Did this daily test pass?"""
        return test_result(self.settings, fact.body)[0] is True

    def last_pass(self) -> Fact | None:
        """The newest daily test that passed, unless a later one failed."""
        test = self.last("daily_test")
        return test if test is not None and self.passed(test) else None

    @property
    def is_held(self) -> bool:
        """A hold stands."""
        return self.hold is not None

    @property
    def hold(self) -> Fact | None:
        """The newest hold that no release has ended; a release ends the hold of the same `name`, or all where it names none."""
        releases = [f for f in self.facts if f.counts and f.record == "release"]
        standing: Fact | None = None
        for fact in self.facts:
            if fact.counts and fact.record == "hold" and not any(_ends(r, fact) for r in releases):
                standing = fact
        return standing

    @property
    def work(self) -> Fact | None:
        """The work that was declared and not ended."""
        begun, ended = self.last("work_begins"), self.last("work_ends")
        return begun if begun is not None and (ended is None or ended.at_ms < begun.at_ms) else None


def _ends(release: Fact, hold: Fact) -> bool:
    return release.at_ms >= hold.at_ms and release.body.get("name") in (None, hold.body.get("name"))


def _names(body: Mapping[str, Any]) -> list[Any]:
    many, one = body.get("filters"), body.get("filter")
    if isinstance(many, list):
        return [n for n in many if isinstance(n, str)]
    return [one] if isinstance(one, str) else []


def changed(body: Mapping[str, Any], settings: Settings) -> list[str]:
    """Ids of the filters that a filter_change is about; all where it names none."""
    return _names(body) or [f.id for f in settings.filters]
