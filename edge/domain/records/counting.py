"""Does a record count at this station, and if not, why not?

A record is never refused for coming in the wrong order, or for something that the station doesn't have: it is kept and does not
count. What takes READY away holds all the same (`stands`), whatever is wrong with its form: nobody who wrote "reason" for "why" meant
the station to start.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final, Literal

from edge.domain.entries import Entry, Now, wall_ms_of
from edge.domain.messages import Message, duration, moment, name, names, number, part, parts, say, text
from edge.domain.permits import of_a_biomed
from edge.domain.readings import Role
from edge.domain.records import site_duties, treatments
from edge.domain.records.basins import as_told, basins_about, is_unknown
from edge.domain.records.bodies import form_fault
from edge.domain.records.book import AHEAD_MS, TRIPPED, RecordBook, ended_by, local_date, name_of, names_of, says_opened
from edge.domain.records.daily_tests import left_out, test_result, unknown_items
from edge.domain.records.fact import Fact
from edge.domain.records.forms import first_day, last_day
from edge.domain.records.holding import ends, holding, names_no_hold
from edge.domain.records.outlets import fitted_outlets, outlet_result, outlets_of
from edge.domain.records.seen import is_alarming
from edge.domain.settings import Settings

#: the station's clock and the watch that it is confirmed by may differ by so much
CONFIRMED_WITHIN_MS: Final = 600_000
#: a fill is at least this share of what the reservoir holds, and at most that (our own numbers)
FILL_SHARES: Final = (0.5, 1.5)
#: who presses an outlet's test button records it within this time (our own number)
TRIPPED_WITHIN_MS: Final = 3_600_000
#: what keeps a station from starting by being recorded at all
_BLOCKING: Final = frozenset({"hold", "work_begins", "equipment_change", "filter_change"})


def judge(book: RecordBook, record: str, at_ms: int, body: Mapping[str, Any], now: Now) -> Message | None:
    """Why a record doesn't count; None where it does."""
    fault = form_fault(body)
    if fault is not None:
        return fault
    future = in_future(at_ms, now)
    if future is not None:
        return future
    unseen = _unseen(book.settings, record, body)
    if unseen is not None:
        return unseen
    if record == "daily_test":
        passed, why = test_result(book.settings, body)
        if passed is not False and (unknown := unknown_items(book.settings, body)):
            return _not_among(
                "item", unknown, [] if book.settings.daily_test is None else list(book.settings.daily_test.also)
            )
        return why if passed is None else _left_out(book, at_ms, body) if passed else None
    if record == "disinfectant_fill":
        return _fill(book.settings, body) or _opened(book, at_ms, body)
    if record == "concentration_check" and body["passed"]:
        last = last_day(body.get("expires"))
        if last is not None and now.trusted and local_date(at_ms, book.zone) > last:
            return say("record.strips_expired", last=name(last.isoformat()))
        return None
    if record == "water_path_treatment":
        return treatments.why_not(book, at_ms, body, now)
    if record == "outlet_test":
        return _trip_not_seen(book, at_ms, body)
    if record == "release":
        return _release(book, at_ms, body, now)
    if record == "work_ends":
        return _work_ends(book, at_ms, body, now)
    if record == "clock_confirmed":
        return _clock(now, body)
    return _correction(book, body) if record == "correction" else None


def in_future(at_ms: int, now: Now) -> Message | None:
    """That a record is of a time to come, by a clock that is right; None where it isn't."""
    is_ahead = now.trusted and at_ms > now.wall_ms + AHEAD_MS
    return say("record.in_future", clock=moment(now.wall_ms)) if is_ahead else None


def _clock(now: Now, body: Mapping[str, Any]) -> Message | None:
    if abs(wall_ms_of(body["time"]) - now.wall_ms) <= CONFIRMED_WITHIN_MS:
        return None
    return say("record.clock_wrong", clock=moment(now.wall_ms))


def stands(settings: Settings, record: str, body: Mapping[str, Any]) -> bool:
    """Does a record that doesn't count keep the station from starting all the same?"""
    if is_alarming(settings, record, body):
        return True
    if record in _BLOCKING:
        return True
    if record == "service":
        failed_filter = body.get("passed") is False and body.get("filter") is not None
        return says_opened(body, settings) or failed_filter or site_duties.blocks(settings.rules.duties, body)
    if record == "daily_test":
        return test_result(settings, body)[0] is False
    if record == "water_path_treatment":
        return treatments.leaves_disinfectant(body)
    if record == "outlet_test" and not outlet_result(body)[0]:
        return body.get("passed") is not None
    return record == "concentration_check" and body.get("passed") is False


def confirms_clock(entry: Entry) -> bool:
    """Does a person say by this entry that the station's date is right?"""
    return entry.kind == "record" and entry.body.get("record") == "clock_confirmed" and bool(entry.body.get("counts"))


def failure(last: Fact) -> Message:
    """What an outlet's test that failed came to."""
    why = outlet_result(last.body)[1]
    return say("outlet.test_failed") if why is None else say("outlet.test_not_passed", why=part(why))


def has_passed(fact: Fact) -> bool:
    """Does it say so?"""
    return fact.body.get("passed") is True


def last_check(book: RecordBook) -> Fact | None:
    """The check of the disinfectant's concentration that stands."""
    return book.standing("concentration_check", has_passed)


def _trip_not_seen(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> Message | None:
    """A test that passed, where the station asks for tests: each outlet's contact shows that its button made it trip."""
    if book.settings.rules.outlet_test is None or not outlet_result(body)[0]:
        return None
    unseen = (why for outlet in outlets_of(body) if (why := trip_not_seen(book, outlet, at_ms)) is not None)
    return next(unseen, None)


def trip_seen(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> dict[str, Any]:
    """What a test of outlets that counts and passed comes to: whether each contact showed its trip. It counts without only where the
    station file asks for no tests.
    """
    if not outlet_result(body)[0]:
        return {}
    return {"trip_seen": all(trip_not_seen(book, outlet, at_ms) is None for outlet in outlets_of(body))}


def trip_not_seen(book: RecordBook, outlet: str, at_ms: int) -> Message | None:
    """That an outlet's contact has shown no trip shortly before a time [ms since 1970]; None where it has."""
    trips = (f.at_ms for f in book.facts if f.record == TRIPPED and f.body["outlet"] == outlet and not f.doubt)
    if any(-AHEAD_MS <= at_ms - trip_ms <= TRIPPED_WITHIN_MS for trip_ms in trips):
        return None
    return say("record.trip_not_seen", outlet=name(outlet), within=duration(TRIPPED_WITHIN_MS))


def last_outlet_test(book: RecordBook, outlet: str) -> Fact | None:
    """The test of this outlet that stands."""
    return book.standing("outlet_test", _outlet_passed, lambda fact: outlet in outlets_of(fact.body))


def failed_outlet_test(book: RecordBook, outlet: str) -> Fact | None:
    """The newest test of this outlet, if it failed."""
    last = last_outlet_test(book, outlet)
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
    for basin in (settings.judged_basins or (None,)) if settings.daily_test is None else ():
        test = book.tested(basin)
        if test is not None and test_result(settings, test.body, basin)[0] is False:
            yield test
    for fact in book.facts:  # of a basin that isn't there: nothing answers for it but a release
        is_test = fact.record == "daily_test" and fact.counts and is_unknown(settings, fact.body)
        if is_test and test_result(settings, fact.body)[0] is False:
            yield fact
    if settings.treatment_contact_ms is None and (left := treatments.in_path(book)) is not None:
        yield left
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
    for outlet in tested - set(fitted_outlets(settings)):
        if (failed := failed_outlet_test(book, outlet)) is not None:
            yield failed
    served = (f.body.get("filter") for f in book.facts if f.record == "service")
    for one in {one for one in served if isinstance(one, str)} - {f.id for f in settings.filters}:
        if (failed := book.failed(one)) is not None:
            yield failed


def looks_for_leaks(settings: Settings) -> bool:
    """Does anything in the station file tell of water where none should be?"""
    by_litres = settings.supply is not None and settings.supply.leak_volume_l is not None
    return by_litres or Role.LEAK in settings.not_fitted or any(p.role is Role.LEAK for p in settings.points)


def _looks_at_outlets(settings: Settings) -> bool:
    return Role.OUTLET_PROTECTION in settings.not_fitted or bool(fitted_outlets(settings))


def _unseen(settings: Settings, record: str, body: Mapping[str, Any]) -> Message | None:
    """Why nothing at this station looks at such a record; None where something does."""
    if is_unknown(settings, body):
        return _not_among("basin", [body["basin"]], [basin.id for basin in settings.basins])
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
        return say("record.no_section", section=name(missing.get(record, record)))
    if record == "filter_change":
        return _not_among("filter", names_of(body), [f.id for f in settings.filters])
    if record == "outlet_test":
        return _not_among("outlet", outlets_of(body), fitted_outlets(settings))
    if record == "service" and body.get("passed") is False and body.get("filter") is not None:
        return _not_among("filter", [body["filter"]], [f.id for f in settings.filters])
    if record == "service" and body.get("duty") is not None:
        return _not_among("duty", [body["duty"]], list(settings.rules.duties)) or site_duties.why_not(
            settings.rules.duties, body
        )
    if record == "service" and body.get("passed") is False:
        return say("record.failed_service")
    return None


def _left_out(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> Message | None:
    """A test that passes measures again what failed in the one before."""
    settings, failed = book.settings, set[int]()
    for basin in basins_about(settings, body):
        last = book.tested(basin)
        if last is not None and not book.passed(last, basin) and at_ms >= last.at_ms:
            failed |= left_out(settings, last.body, body, basin)
    if not failed:
        return None
    which = "record.port_failed_before" if len(failed) == 1 else "record.ports_failed_before"
    return say(which, ports=names(map(str, as_told(settings, body, failed))))


def _fill(settings: Settings, body: Mapping[str, Any]) -> Message | None:
    """How much is a fill of this reservoir?"""
    litres, holds = body.get("litres"), None if settings.reservoir is None else settings.reservoir.volume_l
    if litres is None or holds is None:
        return None
    told = {"filled": number(litres, "L"), "holds": number(holds, "L")}
    if litres < FILL_SHARES[0] * holds:
        return say("record.no_fill", **told)
    return say("record.too_much", **told) if litres > FILL_SHARES[1] * holds else None


def _opened(book: RecordBook, at_ms: int, body: Mapping[str, Any]) -> Message | None:
    """Was its container opened, and before it was filled in?"""
    opened = first_day(body.get("opened"))
    if opened is None:
        return None if book.settings.rules.opened_life_days is None else say("record.opened_not_told")
    return say("record.opened_after_fill") if opened > local_date(at_ms, book.zone) else None


def _not_among(
    kind: Literal["filter", "outlet", "duty", "item", "basin"], named: list[Any], fitted: list[str]
) -> Message | None:
    unknown = sorted({str(ident) for ident in named} - set(fitted))
    if not unknown:
        return None
    near = difflib.get_close_matches(unknown[0], fitted, 1)
    there = perhaps(near) or (there_are(fitted) if fitted else say(f"record.has_no_{kind}"))
    return say(f"record.no_such_{kind}", named=names(unknown), there=part(there))


def perhaps(near: list[str]) -> Message | None:
    """What was probably meant, to be said behind what isn't there; None where nothing is near."""
    return say("record.nearest", near=name(near[0])) if near else None


def there_are(known: list[str]) -> Message:
    """What there is, to be said behind what isn't."""
    return say("record.there_are", known=names(known))


def _release(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> Message | None:
    wanted, holds = body.get("name"), book.holds
    addressed = [hold for hold in holds if ends(body, hold)]
    for hold in addressed:
        who, called = hold.body.get("released_by"), hold.body.get("name")
        if isinstance(who, str) and not _answers_for(body, who):
            return say(
                "record.others_to_release", by=hold.by, quoted=text(repr(who)), who=name(who), signed=name(str(body.get("by")))
            )  # fmt: skip
        if who is None and of_a_biomed(hold.body) and not of_a_biomed(body):
            return say("record.biomeds_to_release", by=hold.by)
        if _is_before(at_ms, hold, now):
            began = moment(hold.at_ms)
            if called is None:
                return say("record.before_hold", began=began)
            return say("record.before_named_hold", quoted=text(repr(called)), began=began)
    if addressed or (names_no_hold(body) and any((book.loss, book.dropped, overlooked(book), book.power_unsure))):
        return None
    if not holds:
        return say("record.nothing_held")
    if body.get("basin") is not None:
        return say("record.nothing_held_in", basin=name(str(body["basin"])))
    named = list(dict.fromkeys(str(hold.body["name"]) for hold in holds if hold.body.get("name") is not None))
    there = there_are(named) if any(named) else None
    return say("record.nothing_held_so", quoted=text(repr(wanted)), there=part(there))


def _answers_for(body: Mapping[str, Any], who: str) -> bool:
    """Is the name or the role `who` among the words that somebody signed with?"""
    return set(_words(who)) <= set(_words(str(body.get("by", ""))))


def _words(signed: str) -> list[str]:
    return re.findall(r"\w+", signed.casefold())


def _is_before(at_ms: int, fact: Fact, now: Now) -> bool:
    """Is what ends something said to be of before it, by more than two clocks may differ? What is of now never is, whatever our clock
    shows.
    """
    return at_ms < min(fact.at_ms, now.wall_ms) - AHEAD_MS


def _work_ends(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> Message | None:
    works = book.works
    if not works:
        return say("record.no_work")
    ended = ended_by(body, works)
    if not ended:
        return say("record.no_work_in", basin=name(str(body["basin"])))
    others = {str(work.body.get("by")): work.by for work in ended}
    if name_of(body) != name_of(ended[0].body) and len(others) > 1:
        return say("record.work_of_others", others=parts(say("record.of", by=others[who]) for who in sorted(others)))
    late = next((work for work in ended if _is_before(at_ms, work, now)), None)
    return None if late is None else say("record.before_work", began=moment(late.at_ms))


def _correction(book: RecordBook, body: Mapping[str, Any]) -> Message | None:
    fact = next((f for f in book.facts if f.seq is not None and f.seq == body.get("of")), None)
    if fact is None:
        return say("record.nothing_to_correct")
    if not fact.counts:
        was_taken_back = bool(fact.body.get("counts") or fact.body.get("stands"))
        return say("record.taken_back_already" if was_taken_back else "record.never_counted", record=name(fact.record))
    if _takes_ready(book, fact) and name_of(fact.body) != name_of(body):
        return say("record.others_to_correct", record=name(fact.record), by=fact.by)
    return None


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
