"""Duties that come round by the calendar: those of the site's own list, and the tests of the outlets. Pure, from recorded facts.

Days and months are those of the station's calendar: what is owed every seven days, done on a Monday, is due from the beginning of the next
Monday on, whatever hours the clock left out or repeated between. A month later is the same day of the month, or the last one where that
month is shorter.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.domain.messages import Message, say, text
from edge.domain.records.book import RecordBook, day_start_ms, local_date, months_later
from edge.domain.records.fact import Fact
from edge.domain.settings import Duty, Every, Level

#: "3 CFU/100 mL"; "<1 CFU/100 mL" is at most that, ">300 CFU/100 mL" is more than was counted
_RESULT: Final = re.compile(r"\s*([<>]?)\s*([0-9]+(?:\.[0-9]+)?)\s*(.*?)\s*")

#: a unit of so much per volume, without its blanks
_PER: Final = re.compile(r"(.+)/([0-9]+(?:\.[0-9]+)?)?(ml|cl|dl|l)")
_ML: Final = {"ml": 1.0, "cl": 10.0, "dl": 100.0, "l": 1000.0}


def later_date(day: date, every: Every) -> date:
    """The date so many months, or days, after another.

    >>> later_date(date(2026, 1, 31), Every(months=1))
    datetime.date(2026, 2, 28)
    """
    return months_later(day, every.months) + timedelta(days=every.days)


def due_from_ms(done_ms: int, every: Every, zone: ZoneInfo) -> int:
    """From when on something is due again that was done then: the beginning of that date at the station, or of the next one where the
    zone left that date out; after so many hours, where it is owed by hours [ms since 1970].
    """
    if every.ms:
        return done_ms + every.ms
    return first_instant_ms(later_date(local_date(done_ms, zone), every), zone)


def first_instant_ms(day: date, zone: ZoneInfo) -> int:
    """The beginning of a date at the station, or of the next one where the zone left that date out [ms since 1970]."""
    while (start_ms := day_start_ms(day, zone)) is None:
        day += timedelta(days=1)
    return start_ms


def result_of(body: Mapping[str, Any]) -> tuple[str, Level] | None:
    """The sign before a record's result, and the result with its unit. None where it tells none.

    >>> result_of({"value": "<1 CFU/100 mL"})
    ('<', Level(value=1.0, unit='CFU/100 mL'))
    """
    value, unit = body.get("value"), body.get("unit")
    found = (
        _RESULT.fullmatch(str(value)) if isinstance(value, str | int | float) and not isinstance(value, bool) else None
    )
    if found is None or (found[3] and unit is not None):
        return None
    return found[1], Level(float(found[2]), found[3] or str(unit or ""))


def _in_unit_of(level: Level, result: Level) -> float | None:
    """A result in the unit of a level: per 100 mL, per mL and per L are one quantity. None where it is another one.

    >>> _in_unit_of(Level(100.0, "CFU/100 mL"), Level(300.0, "CFU/L"))
    30.0
    """
    (wanted, wanted_ml), (given, given_ml) = _per(level.unit), _per(result.unit)
    return result.value * wanted_ml / given_ml if wanted == given else None


def _per(unit: str) -> tuple[str, float]:
    """(what is counted per volume, that volume [mL]); of a unit without a volume the unit itself."""
    plain = _plain(unit)
    found = _PER.fullmatch(plain)
    volume_ml = 0.0 if found is None else float(found[2] or 1) * _ML[found[3]]
    return (plain, 1.0) if found is None or volume_ml <= 0.0 else (found[1] + "/", volume_ml)


def is_above(body: Mapping[str, Any], level: Level | None) -> bool:
    """Is a record's result strictly above a level, whatever volume either is told by?"""
    told = result_of(body)
    value = None if told is None or level is None else _in_unit_of(level, told[1])
    if told is None or level is None or value is None:
        return False
    return value >= level.value if told[0] == ">" else value > level.value


def cant_be_compared(body: Mapping[str, Any], level: Level | None) -> bool:
    """Is it a result of which nobody can tell whether it is above a level: too many to count, in another quantity?"""
    told = result_of(body)
    if body.get("value") is None or level is None:
        return False
    value = None if told is None else _in_unit_of(level, told[1])
    return value is None or (told is not None and told[0] == ">" and value < level.value)


def is_other_quantity(body: Mapping[str, Any], level: Level) -> bool:
    """Is it a result in a unit in which it can't be told whether it is above a level?"""
    told = result_of(body)
    return told is not None and bool(told[1].unit) and _in_unit_of(level, told[1]) is None


def why_not(duties: Mapping[str, Duty], body: Mapping[str, Any]) -> Message | None:
    """Why a service doesn't count for a duty that has levels; None where it does, or is of none."""
    duty = duties.get(str(body.get("duty")))
    level = None if duty is None else duty.action or duty.alert
    if level is None or not (body.get("value") is None or cant_be_compared(body, level)):
        return None
    return say("record.no_result", unit=text(level.unit))


def _plain(unit: str) -> str:
    return re.sub(r"\s+", "", unit).casefold()


def settles(duties: Mapping[str, Duty], body: Mapping[str, Any]) -> bool:
    """Does a service say that its duty was done, and let be what went before: neither failed nor with a result that tells nothing?"""
    duty = duties.get(str(body.get("duty")))
    return duty is not None and not failed(duties, body) and not cant_be_compared(body, duty.action)


def failed(duties: Mapping[str, Duty], body: Mapping[str, Any]) -> bool:
    """Does a service say that the duty which it names failed: it says so, or its result is above the action level?"""
    duty = duties.get(str(body.get("duty")))
    return duty is not None and (body.get("passed") is False or is_above(body, duty.action))


def blocks(duties: Mapping[str, Duty], body: Mapping[str, Any]) -> bool:
    """Does it keep the station from starting by that?"""
    duty = duties.get(str(body.get("duty")))
    if duty is None:
        return False
    is_beyond = is_above(body, duty.action) or cant_be_compared(body, duty.action)
    return is_beyond or (failed(duties, body) and duty.keeps_from_ready)


def last_done(book: RecordBook, ident: str) -> Fact | None:
    """The service that holds for a duty: one that failed, or tells nothing, until a later one settles it, else the newest."""
    duties = book.settings.rules.duties
    return book.standing(
        "service", lambda fact: settles(duties, fact.body), lambda fact: fact.body.get("duty") == ident
    )
