"""Does a record count at this station, and if not, why not?

A record is never refused for coming in the wrong order, or for something that the station doesn't have: it is kept and does not
count. What takes READY away holds all the same (`stands`), whatever is wrong with its form: nobody who wrote "reason" for "why" meant
the station to start.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, Final

from edge.domain.daily_tests import test_result
from edge.domain.duties import AHEAD_MS, Book, Fact, local_date, names_of, opens
from edge.domain.entries import Entry, Now, rfc3339, wall_ms_of
from edge.domain.forms import faults
from edge.domain.losses import answers_loss
from edge.domain.readings import Role
from edge.domain.settings import Settings
from edge.domain.wording import age_text

#: the station's clock and the watch that it is confirmed by may differ by so much
CONFIRMED_WITHIN_MS: Final = 600_000
#: what keeps a station from starting by being recorded at all
_BLOCKING: Final = frozenset({"hold", "work_begins", "equipment_change", "filter_change"})


def judge(book: Book, record: str, at_ms: int, body: Mapping[str, Any], now: Now) -> str:
    """Why a record doesn't count; "" where it does."""
    fault = next(faults(body), None)
    if fault is not None:
        return str(fault)
    if now.trusted and at_ms > now.wall_ms + AHEAD_MS:
        return "its time is in the future"
    why = _unseen(book.settings, record, body)
    if why:
        return why
    if record == "daily_test":
        passed, why = test_result(book.settings, body)
        return why if passed is None else ""
    if record == "water_path_treatment":
        return _treatment(book, at_ms, body)
    if record == "release":
        return _release(book, body)
    if record == "work_ends":
        return "" if book.work is not None else "no work was declared"
    if record == "clock_confirmed":
        return _clock(now, body)
    return _correction(book, body) if record == "correction" else ""


def _clock(now: Now, body: Mapping[str, Any]) -> str:
    if abs(wall_ms_of(body["time"]) - now.wall_ms) <= CONFIRMED_WITHIN_MS:
        return ""
    return f"the station's clock shows {rfc3339(now.wall_ms)}: set it right first"


def stands(settings: Settings, record: str, body: Mapping[str, Any]) -> bool:
    """Does a record that doesn't count keep the station from starting all the same?"""
    if record in _BLOCKING:
        return record != "filter_change" or bool(settings.filters)
    if record == "service":
        return body.get("what") in settings.clean_side_opened_by or body.get("opened_clean_side") is True
    if record == "daily_test":
        return test_result(settings, body)[0] is False
    return record in ("concentration_check", "outlet_test") and body.get("passed") is False


def confirms_clock(entry: Entry) -> bool:
    """Does a person say by this entry that the station's date is right?"""
    return entry.kind == "record" and entry.body.get("record") == "clock_confirmed" and bool(entry.body.get("counts"))


def outlet_of(body: Mapping[str, Any]) -> str:
    """Which outlet an outlet_test is about."""
    return str(body.get("outlet", body.get("of")))


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
        fitted = [p.of or p.id for p in settings.points if p.role is Role.OUTLET_PROTECTION]
        return _not_among("outlet", [outlet_of(body)], fitted)
    return ""


def _not_among(kind: str, named: list[Any], fitted: list[str]) -> str:
    unknown = sorted({str(name) for name in named} - set(fitted))
    if not unknown:
        return ""
    near = difflib.get_close_matches(unknown[0], fitted, 1)
    there = f"; nearest: {near[0]}" if near else f"; there are {', '.join(fitted)}" if fitted else f"; it has no {kind}"
    return f"no such {kind} at this station: {', '.join(unknown)}{there}"


def _treatment(book: Book, at_ms: int, body: Mapping[str, Any]) -> str:
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
    opened = max(before, key=lambda f: f.at_ms, default=None)
    if opened is not None and began < opened.at_ms:
        what = opened.record.replace("_", " ")
        return (
            f"its {contact_ms / 60_000:g} min of contact would have begun before the clean side was opened ({what}, "
            f"{age_text(at_ms - opened.at_ms)} before the end)"
        )
    return _tested_before(book, at_ms)


def _opened_by_then(book: Book, fact: Fact, at_ms: int) -> bool:
    return fact.counts and fact.at_ms <= at_ms and opens(fact, book.settings)


def _tested_before(book: Book, at_ms: int) -> str:
    test = book.last("daily_test")
    that_day = test is not None and local_date(test.at_ms, book.zone) == local_date(at_ms, book.zone)
    if test is None or not that_day or test.at_ms > at_ms or not book.passed(test):
        return "that day's daily test had not passed before it"
    return ""


def _release(book: Book, body: Mapping[str, Any]) -> str:
    if book.loss is not None and answers_loss(body):
        return ""
    if not book.is_held:
        return "nothing is held"
    name = body.get("name")
    holds = [f.body.get("name") for f in book.facts if f.counts and f.record == "hold"]
    if name is None or name in holds:
        return ""
    named = ", ".join(dict.fromkeys(str(one) for one in holds if one is not None))
    return f"nothing is held by the name of {name!r}" + (f"; there are {named}" if named else "")


def _correction(book: Book, body: Mapping[str, Any]) -> str:
    fact = next((f for f in book.facts if f.seq is not None and f.seq == body.get("of")), None)
    if fact is None or not fact.counts:
        return "of: no counting record has this seq"
    if stands(book.settings, fact.record, fact.body) and _name(fact.body) != _name(body):
        who, what = fact.body.get("by", "somebody"), fact.record.replace("_", " ")
        return f"of: this {what} keeps the station from starting; only {who}, who recorded it, may take it back"
    return ""


def _name(body: Mapping[str, Any]) -> str:
    return " ".join(str(body.get("by", "")).casefold().split())
