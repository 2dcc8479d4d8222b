"""Does a record count at this station, and if not, why not?

A record is never refused for coming in the wrong order, or for something that the station doesn't have: it is kept and does not
count. What takes READY away holds all the same (`stands`), whatever is wrong with its form: nobody who wrote "reason" for "why" meant
the station to start.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from edge.domain.entries import Entry, Now, rfc3339, wall_ms_of
from edge.domain.readings import Role
from edge.domain.records.book import AHEAD_MS, RecordBook, local_date, name_of, names_of, opens, says_opened
from edge.domain.records.daily_tests import failed_ports, measured_ports, test_result
from edge.domain.records.fact import Fact
from edge.domain.records.forms import faults, last_day
from edge.domain.records.holding import holding, names_no_hold
from edge.domain.records.seen import is_alarming
from edge.domain.settings import Settings
from edge.domain.wording import age_text

#: the station's clock and the watch that it is confirmed by may differ by so much
CONFIRMED_WITHIN_MS: Final = 600_000
#: a fill is at least this share of what the reservoir holds, and at most that (our own numbers)
FILL_SHARES: Final = (0.5, 1.5)
#: additional protection of people by a residual-current device is rated at no more (IEC 60364-4-41, 415.1, from memory); ground-fault
#: outlets trip far below it (UL 943, class A: 4 to 6 mA, from memory)
MOST_TRIP_MA: Final = 30.0
#: what keeps a station from starting by being recorded at all
_BLOCKING: Final = frozenset({"hold", "work_begins", "equipment_change", "filter_change"})


def judge(book: RecordBook, record: str, at_ms: int, body: Mapping[str, Any], now: Now) -> str:
    """Why a record doesn't count; "" where it does."""
    fault = next(faults(body), None)
    if fault is not None:
        return str(fault)
    if now.trusted and at_ms > now.wall_ms + AHEAD_MS:
        return f"its time is in the future: the station's clock shows {rfc3339(now.wall_ms)}; correct `at`, or leave it out for now"
    why = _unseen(book.settings, record, body)
    if why:
        return why
    if record == "daily_test":
        passed, why = test_result(book.settings, body)
        return why if passed is None else _left_out(book, at_ms, body) if passed else ""
    if record == "disinfectant_fill":
        return _fill(book.settings, body)
    if record == "concentration_check" and body["passed"]:
        last = last_day(body.get("expires"))
        is_over = last is not None and now.trusted and local_date(at_ms, book.zone) > last
        return f"the strips were good until {last}: check it with others" if is_over else ""
    if record == "water_path_treatment":
        return _treatment(book, at_ms, body)
    if record == "release":
        return _release(book, at_ms, body, now)
    if record == "work_ends":
        return _work_ends(book, at_ms, body, now)
    if record == "clock_confirmed":
        return _clock(now, body)
    return _correction(book, body) if record == "correction" else ""


def _clock(now: Now, body: Mapping[str, Any]) -> str:
    if abs(wall_ms_of(body["time"]) - now.wall_ms) <= CONFIRMED_WITHIN_MS:
        return ""
    return f"the station's clock shows {rfc3339(now.wall_ms)}: set it right first"


def stands(settings: Settings, record: str, body: Mapping[str, Any]) -> bool:
    """Does a record that doesn't count keep the station from starting all the same?"""
    if is_alarming(settings, record, body):
        return True
    if record in _BLOCKING:
        return True
    if record == "service":
        return says_opened(body, settings) or (body.get("passed") is False and body.get("filter") is not None)
    if record == "daily_test":
        return test_result(settings, body)[0] is False
    if record == "outlet_test" and not outlet_result(body)[0]:
        return body.get("passed") is not None
    return record == "concentration_check" and body.get("passed") is False


def confirms_clock(entry: Entry) -> bool:
    """Does a person say by this entry that the station's date is right?"""
    return entry.kind == "record" and entry.body.get("record") == "clock_confirmed" and bool(entry.body.get("counts"))


def outlets_of(body: Mapping[str, Any]) -> list[str]:
    """Which outlet an outlet_test is about; one that names two is about both."""
    return list(dict.fromkeys(str(body[key]) for key in ("outlet", "of") if body.get(key) is not None))


def outlet_result(body: Mapping[str, Any]) -> tuple[bool, str]:
    """Did a test of an outlet pass, and why not: what was measured decides, whatever `passed` says."""
    trip_ma = body.get("trip_ma")
    if _is_number(trip_ma) and trip_ma is not None and trip_ma > MOST_TRIP_MA:
        return False, f"it tripped at {trip_ma:g} mA, {MOST_TRIP_MA:g} mA at most protects people"
    return body.get("passed") is True, "failed"


def failure_text(last: Fact) -> str:
    """What an outlet's test that failed came to."""
    why = outlet_result(last.body)[1]
    return f"its last test {'failed' if why == 'failed' else f'did not pass: {why}'}"


def has_passed(fact: Fact) -> bool:
    """Does it say so?"""
    return fact.body.get("passed") is True


def last_check(book: RecordBook) -> Fact | None:
    """The check of the disinfectant's concentration that stands."""
    return book.standing("concentration_check", has_passed)


def failed_outlet_test(book: RecordBook, outlet: str) -> Fact | None:
    """The newest test of this outlet, if it failed."""
    last = book.standing("outlet_test", _outlet_passed, lambda fact: outlet in outlets_of(fact.body))
    return None if last is None or _outlet_passed(last) else last


def _outlet_passed(fact: Fact) -> bool:
    return outlet_result(fact.body)[0]


def overlooked(book: RecordBook) -> Fact | None:
    """The newest failure that stands and that no condition of the station file looks at: its section, filter or outlet is gone, or never
    was. A release that names no hold, and finds none, answers for those before it.
    """
    failed = {id(fact) for fact in _failures_nobody_looks_at(book)}
    last: Fact | None = None
    if failed:
        answers = holding(book.facts).answers
        for fact in book.facts:
            last = None if id(fact) in answers else fact if id(fact) in failed else last
    return last


def _failures_nobody_looks_at(book: RecordBook) -> Iterator[Fact]:
    settings = book.settings
    if settings.daily_test is None:
        test = book.standing("daily_test", book.passed)
        if test is not None and test_result(settings, test.body)[0] is False:
            yield test
    if settings.reuse_life_ms is None:
        check = last_check(book)
        if check is not None and not has_passed(check):
            yield check
    for role, is_judged in (
        (Role.LEAK, looks_for_leaks(settings)),
        (Role.OUTLET_PROTECTION, _looks_at_outlets(settings)),
    ):
        if not is_judged and (seen := book.seen(role)) is not None:
            yield seen
    tested = {outlet for f in book.facts if f.record == "outlet_test" for outlet in outlets_of(f.body)}
    for outlet in tested - set(_fitted_outlets(settings)):
        if (failed := failed_outlet_test(book, outlet)) is not None:
            yield failed
    looked_at = {f.body.get("filter") for f in book.facts if f.record == "service"} - {f.id for f in settings.filters}
    for name in looked_at:
        if isinstance(name, str) and (failed := book.failed(name)) is not None:
            yield failed


def looks_for_leaks(settings: Settings) -> bool:
    """Does anything in the station file tell of water where none should be?"""
    by_litres = settings.supply is not None and settings.supply.leak_volume_l is not None
    return by_litres or Role.LEAK in settings.not_fitted or any(p.role is Role.LEAK for p in settings.points)


def _looks_at_outlets(settings: Settings) -> bool:
    return Role.OUTLET_PROTECTION in settings.not_fitted or bool(_fitted_outlets(settings))


def _fitted_outlets(settings: Settings) -> list[str]:
    return [p.of or p.id for p in settings.points if p.role is Role.OUTLET_PROTECTION]


def began_ms(body: Mapping[str, Any], at_ms: int) -> int:
    """When the contact of a treatment began: as told, else its minutes before the record's own time (`at_ms`)."""
    ended_at = wall_ms_of(body["at"]) if "at" in body else at_ms
    if body.get("began_at") is not None:
        return at_ms - (ended_at - wall_ms_of(body["began_at"]))
    return at_ms - round(body["contact_min"] * 60_000) if _is_number(body.get("contact_min")) else at_ms


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _unseen(settings: Settings, record: str, body: Mapping[str, Any]) -> str:
    """Why nothing at this station looks at such a record; "" where something does."""
    sections = {
        "daily_test": settings.daily_test is not None or settings.treatment_contact_ms is not None,
        "water_path_treatment": settings.treatment_contact_ms is not None,
        "disinfectant_fill": settings.reuse_life_ms is not None,
        "concentration_check": settings.reuse_life_ms is not None,
        "disinfectant_top_up": settings.reservoir is not None,
    }
    missing = {
        "disinfectant_fill": "disinfectant",
        "concentration_check": "disinfectant",
        "disinfectant_top_up": "reservoir",
    }
    if not sections.get(record, True):
        return f"nothing looks at it: the station file has no [{missing.get(record, record)}]"
    if record == "filter_change":
        return _not_among("filter", names_of(body), [f.id for f in settings.filters])
    if record == "outlet_test":
        return _not_among("outlet", outlets_of(body), _fitted_outlets(settings))
    if record == "service" and body.get("passed") is False and body.get("filter") is not None:
        return _not_among("filter", [body["filter"]], [f.id for f in settings.filters])
    if record == "service" and body.get("passed") is False:
        return "nothing looks at a service that failed, but for one of a filter: record a hold if the station may not start"
    return ""


def _left_out(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> str:
    """A test that passes measures again what failed in the one before."""
    last = book.last("daily_test")
    if last is None or book.passed(last) or at_ms < last.at_ms:
        return ""
    left_out = sorted(failed_ports(book.settings, last.body) - measured_ports(body))
    if not left_out:
        return ""
    ports = f"port {left_out[0]}" if len(left_out) == 1 else f"ports {' and '.join(map(str, left_out))}"
    return f"{ports} failed in the last test: measure again and say in channel_ports what came"


def _fill(settings: Settings, body: Mapping[str, Any]) -> str:
    """How much is a fill of this reservoir?"""
    litres, holds = body.get("litres"), None if settings.reservoir is None else settings.reservoir.volume_l
    if litres is None or holds is None:
        return ""
    if litres < FILL_SHARES[0] * holds:
        return f"{litres:g} L is no fill of a reservoir of {holds:g} L: what was added is a disinfectant_top_up"
    return f"{litres:g} L don't go into a reservoir of {holds:g} L" if litres > FILL_SHARES[1] * holds else ""


def _not_among(kind: str, named: list[Any], fitted: list[str]) -> str:
    unknown = sorted({str(name) for name in named} - set(fitted))
    if not unknown:
        return ""
    near = difflib.get_close_matches(unknown[0], fitted, 1)
    there = f"; nearest: {near[0]}" if near else f"; there are {', '.join(fitted)}" if fitted else f"; it has no {kind}"
    return f"no such {kind} at this station: {', '.join(unknown)}{there}"


def _treatment(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> str:
    wanted_ms = book.settings.treatment_contact_ms or 0
    began = began_ms(body, at_ms)
    ended = at_ms if body.get("ended_at") is None else at_ms - (
        (wall_ms_of(body["at"]) if "at" in body else at_ms) - wall_ms_of(body["ended_at"])
    )  # fmt: skip
    if not began <= ended <= at_ms:
        return "its contact ends before it begins" if ended < began else "its contact ends after the record's own time"
    contact_ms = ended - began
    if body.get("began_at") is not None and _is_number(body.get("contact_min")):
        said_ms = round(body["contact_min"] * 60_000)
        if said_ms > contact_ms:
            return f"{body['contact_min']:g} min of contact don't fit between its beginning and its end"
        contact_ms = said_ms
    if contact_ms < wanted_ms:
        return f"{contact_ms / 60_000:g} min of contact; {wanted_ms / 60_000:g} min are needed"
    if body.get("rinsed") is False:
        return "not drained and rinsed"
    before = (f for f in book.facts if not f.doubt and _opened_by_then(book, f, at_ms))
    opened = max(before, key=lambda f: f.latest_ms(book.dates), default=None)
    if opened is not None and began < (opened_ms := opened.latest_ms(book.dates)):
        what = opened.record.replace("_", " ")
        return (
            f"its {contact_ms / 60_000:g} min of contact would have begun before the clean side was opened ({what}, "
            f"{age_text(max(at_ms - opened_ms, 0))} before the end)"
        )
    return _tested_before(book, at_ms)


def _opened_by_then(book: RecordBook, fact: Fact, at_ms: int) -> bool:
    return fact.counts and fact.at_ms <= at_ms and opens(fact, book.settings)


def _tested_before(book: RecordBook, at_ms: int) -> str:
    test = book.last("daily_test")
    that_day = test is not None and local_date(test.at_ms, book.zone) == local_date(at_ms, book.zone)
    if test is None or not that_day or test.at_ms > at_ms or not book.passed(test):
        return "that day's daily test had not passed before it"
    return ""


def _release(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> str:
    name, holds = body.get("name"), book.holds
    addressed = [hold for hold in holds if name in (None, hold.body.get("name"))]
    for hold in addressed:
        who, called = hold.body.get("released_by"), hold.body.get("name")
        if isinstance(who, str) and not _answers_for(body, who):
            return (
                f"the hold by {hold.body.get('by', 'somebody')} is to be released by {who!r}: that name, or one with it "
                f"({body.get('by')}, {who}), has to be in by"
            )
        if _is_before(at_ms, hold, now):
            return (
                f"it is dated before the hold {'' if called is None else f'{called!r} '}of {rfc3339(hold.at_ms)} began"
            )
    if addressed or (names_no_hold(body) and any((book.loss, book.dropped, overlooked(book), book.power_unsure))):
        return ""
    if not holds:
        return "nothing is held"
    named = ", ".join(dict.fromkeys(str(hold.body["name"]) for hold in holds if hold.body.get("name") is not None))
    return f"nothing is held by the name of {name!r}" + (f"; there are {named}" if named else "")


def _answers_for(body: Mapping[str, Any], who: str) -> bool:
    """Is the name or the role `who` among the words that somebody signed with?"""
    return set(_words(who)) <= set(_words(str(body.get("by", ""))))


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())


def _is_before(at_ms: int, fact: Fact, now: Now) -> bool:
    """Is what ends something said to be of before it, by more than two clocks may differ? What is of now never is, whatever our clock
    shows.
    """
    return at_ms < min(fact.at_ms, now.wall_ms) - AHEAD_MS


def _work_ends(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> str:
    works = book.works
    if not works:
        return "no work was declared"
    own = [work for work in works if name_of(work.body) == name_of(body)]
    others = sorted({str(work.body.get("by", "somebody")) for work in works})
    if not own and len(others) > 1:
        return f"work of {' and of '.join(others)} was declared: who ends it has to be one of them"
    late = next((work for work in own or works if _is_before(at_ms, work, now)), None)
    return "" if late is None else f"it is dated before the work of {rfc3339(late.at_ms)} began"


def _correction(book: RecordBook, body: Mapping[str, Any]) -> str:
    fact = next((f for f in book.facts if f.seq is not None and f.seq == body.get("of")), None)
    if fact is None or not fact.counts:
        return "of: no counting record has this seq"
    if _takes_ready(book, fact) and name_of(fact.body) != name_of(body):
        who, what = fact.body.get("by", "somebody"), fact.record.replace("_", " ")
        return f"of: this {what} keeps the station from starting; only {who}, who recorded it, may take it back"
    return ""


def _takes_ready(book: RecordBook, fact: Fact) -> bool:
    """Does a fact keep the station from starting, or give back what does? A correction does so by what it took out of the count: of a
    hold it takes none away, of a passed test it does, and of a correction of a hold it gives the hold back. So whoever takes back
    any of a chain of corrections answers for what the chain restores.
    """
    by_seq: dict[Any, Fact] = {f.seq: f for f in book.facts if f.seq is not None}
    takes = True
    while fact.record == "correction":
        of, takes = by_seq.get(fact.body.get("of")), not takes
        if of is None or (fact.seq is not None and (of.seq or 0) >= fact.seq):
            return True  # what it took back isn't known any more
        fact = of
    if fact.record == "calibration":
        return takes is (fact.body.get("adjust") is False)
    return takes is (fact.record == "disinfectant_top_up" or stands(book.settings, fact.record, fact.body))
