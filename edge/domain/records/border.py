"""What API and command line refuse of a record: what doesn't fit its form, and what can only be a slip of the pen or of the unit.

Who typed it is still there and can say it anew. A record that comes by a replay is kept all the same, and doesn't count where it can't.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from typing import Any, Final, NamedTuple

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.errors import RecordRefused
from edge.domain.messages import difference, names, number, quantity, say, text
from edge.domain.quantities import is_unit
from edge.domain.readings import CONTACT_WORDS, UNIT_OF, Kind, Role
from edge.domain.records import forms, site_duties
from edge.domain.records.book import AHEAD_MS
from edge.domain.records.commissioning import FINDINGS, How, Item, Unusable, as_read, items_of, lacks, told_in
from edge.domain.records.commissioning import RECORD as COMMISSIONING
from edge.domain.records.forms import Fault, first_day, last_day, shown
from edge.domain.records.seen import word_of
from edge.domain.roles import REST_IS_WELL, ROLES
from edge.domain.settings import Level, Settings

_BARE: Final = re.compile(r"\s*[-+\N{MINUS SIGN}]?[0-9]+([.,][0-9]*)?\s*")
#: a number with what stands behind it
_MEASURED: Final = re.compile(r"\s*[-+\N{MINUS SIGN}]?[0-9]++(?:[.,][0-9]*+)?+\s*+([^0-9\s].*)", re.DOTALL)
#: how much of a substance is in a liquid: per cent (by mass or volume), parts, mass or amount per volume; words may follow ("0.35 % w/v")
_CONCENTRATION: Final = re.compile(
    r"\s*[<>]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(%|pp[mb]\b|([mµu]?)(g|mol)/(m?)l\b)", re.IGNORECASE
)
#: no disinfectant in use has more, whatever its label says, by unit (our own numbers, 20 % by mass or volume; liquids for endoscopes have
#: 0.2 to 7.5 %, from memory)
_MOST_OF: Final[Mapping[str, float]] = {"%": 20.0, "ppm": 2e5, "ppb": 2e8, "g": 200.0, "mol": 10.0}
#: no record is of something that happened longer ago [years] (our own number)
_OLDEST: Final = 10
#: no opened container of a disinfectant keeps longer [days], whatever its label says: years, not weeks, are a slip (our own number)
_LONGEST_OPEN: Final = 730
#: no label's date lies further ahead [years] (our own number)
_LONGEST_LABEL: Final = 10
#: within so many days of today lies what a date can mean
WITHIN_DAYS: Final[Mapping[str, tuple[int, int]]] = {
    "opened": (-_LONGEST_OPEN, 0), "expires": (-365 * _LONGEST_LABEL, 365 * _LONGEST_LABEL),
}  # fmt: skip


class Range(NamedTuple):
    """What a number of a commissioning can be, in the unit of its kind; `keys`: where it is told; `point`: in whose unit it is shown."""

    keys: tuple[str, ...]
    dimension: str
    kind: Kind
    low: float
    high: float
    point: str | None


class Asked(NamedTuple):
    """What of a station decides whether a record can be meant so. `roles`: by point; `levels`: by duty, in the unit of its results;
    `items`: of its commissioning list; `ranges`: of their numbers.
    """

    basins: tuple[str, ...] = ()
    roles: Mapping[str, Role] = {}
    levels: Mapping[str, Level] = {}
    items: Mapping[str, Item] = {}
    ranges: Mapping[str, Range] = {}


def asked_by(settings: Settings) -> Asked:
    """What a station file asks of records."""
    items = items_of(settings)
    levels = {ident: duty.action or duty.alert for ident, duty in settings.rules.duties.items()}
    return Asked(
        tuple(basin.id for basin in settings.basins),
        {point.id: point.role for point in settings.points},
        {ident: level for ident, level in levels.items() if level is not None},
        {item.id: item for item in items},
        {item.id: found for item in items if (found := _range_of(settings, item)) is not None},
    )


def _range_of(settings: Settings, item: Item) -> Range | None:
    """What the number of an item can be: what its point can read, or any of its kind; None where that isn't known."""
    keys = {How.NUMBER: ("value",), How.BUCKET: ("value",), How.DECAY: ("before", "after")}.get(item.how, ())
    dimension = as_read(item).quantity
    kind = next((kind for kind in Kind if kind == dimension.removesuffix("_difference")), None)
    if not keys or kind is None or item.group == "own":
        return None
    point = next((p for p in settings.points if p.id == item.point and p.kind is kind), None)
    of_kind = (
        [(point.low, point.high)] if point else [(row.low, row.high) for row in ROLES.values() if row.kind is kind]
    )
    low, high = min(low for low, _ in of_kind), max(high for _, high in of_kind)
    spans = (low - high, high - low) if dimension.endswith("_difference") else (low, high)
    return Range(keys, dimension, kind, *spans, None if point is None else point.id)


def refuse(body: Mapping[str, Any], asked: Asked | None = None, now_ms: int | None = None) -> None:
    """Refuse a body that doesn't fit its form, or can't be meant so.

    Args:
        asked: what its station asks; None where that isn't known.
        now_ms: the station's clock, milliseconds since 1970; None where it isn't known, or not trusted.

    Raises:
        RecordRefused: for the first fault, as a sentence.
    """
    record = forms.known(body)
    for fault in _all(record, body, asked, now_ms):
        raise RecordRefused(
            fault.what,
            where=f"record '{record}', {fault.key[:60]}",
            expected=fault.expected,
            do=fault.do,
            key=fault.key,
            msg=fault.msg,
        )


def _all(record: str, body: Mapping[str, Any], asked: Asked | None, now_ms: int | None) -> Iterator[Fault]:
    form = forms.FORMS[record]
    for key, value in body.items():
        if key in forms.KEPT or key in forms.SIGNED or key in form.made:
            yield Fault(str(key), "the station itself says that", "only what people know", "Leave it out")
        elif value is None and key != "at":
            yield Fault(str(key), "it is null", "a value", "Leave it out")
    yield from forms.faults(body)
    yield from _says_nothing(record, body)
    if record == "entered_reading":
        yield from _unknown_unit(body)
        yield from _no_such_word(body, {} if asked is None else asked.roles)
    yield from _bare(body)
    if record == "concentration_check":
        yield from _no_concentration(body)
    if record == COMMISSIONING:
        yield from _no_finding(body, {} if asked is None else asked.items)
    if asked is not None:
        yield from _cant_be(body, asked.ranges)
        yield from _no_basin(body, asked.basins)
        yield from _other_quantity(body, asked.levels)
    if now_ms is not None:
        yield from _to_come(body, now_ms)
        yield from _long_ago(body, now_ms)


def _says_nothing(record: str, body: Mapping[str, Any]) -> Iterator[Fault]:
    """A text that is blank; a note without one; a service that doesn't say of what."""
    for key, known in forms.keys_of(record).items():
        if known.kind == "note" and isinstance(body.get(key), str) and not body[key].strip():
            yield Fault(key, "it is empty", known.says, "Write it, or leave it out", say("refused.empty"))
    if record == "note" and body.get("text") is None and body.get("note") is None:
        yield Fault("text", forms.MISSING, forms.FORMS[record].keys["text"].says, "Add it", say("refused.missing"))
    if record == "service" and not any(key in forms.FORMS[record].keys for key in body):
        yield Fault(
            "what",
            forms.MISSING,
            "what was done, or which duty, filter or point it was about",
            "Add it",
            say("refused.says_nothing"),
        )


def _no_such_word(body: Mapping[str, Any], roles: Mapping[str, Role]) -> Iterator[Fault]:
    """What somebody saw of a contact, in other words than the station knows: nothing would go by it."""
    named, word = body.get("role"), word_of(body.get("value"))
    role = roles.get(str(body.get("point"))) if named is None else next((r for r in Role if r == named), None)
    if role is None or role not in CONTACT_WORDS or word in {CONTACT_WORDS[bad][1] for bad in REST_IS_WELL}:
        return
    if word not in CONTACT_WORDS[role]:
        words = " or ".join(CONTACT_WORDS[role])
        yield Fault(
            "value",
            f"it is {shown(body.get('value'))}",
            words,
            "Say it with one of these words; more fits in note",
            say("refused.word", words=names(CONTACT_WORDS[role])),
        )


def _bare(body: Mapping[str, Any]) -> Iterator[Fault]:
    """A value that was read and has no unit."""
    value = body.get("value")
    is_bare = forms.is_number(value) or (isinstance(value, str) and _BARE.fullmatch(value) is not None)
    if is_bare and body.get("unit") is None:
        yield Fault(
            "value",
            f"{value} has no unit",
            'a value with its unit, such as "44 psi"',
            "Add the unit",
            say("refused.no_unit"),
        )
    for key, known in forms.FORMS[str(body["record"])].keys.items():
        value = body.get(key)
        told = [(key, value)] if known.kind == "quantity" else []
        if known.kind == "pairs" and isinstance(value, list):
            pairs = [pair for pair in value if isinstance(pair, Mapping)]
            told = [(f"{key}.{name}", one) for pair in pairs for name, part in pair.items() for one in _several(part)]
        for where, one in told:
            if forms.is_number(one):
                yield Fault(
                    where,
                    f"{one} has no unit",
                    forms.KINDS["quantity"][1],
                    "Add the unit, in quotes",
                    say("refused.no_unit"),
                )


def _unknown_unit(body: Mapping[str, Any]) -> Iterator[Fault]:
    """A value in a unit that nothing here is measured in."""
    found = _MEASURED.fullmatch(str(body.get("value")))
    unit = str(body["unit"]).strip() if body.get("unit") is not None else "" if found is None else found[1].strip()
    if body.get("value") is None or not unit or unit == "%" or is_unit(unit):
        return
    yield Fault(
        "value",
        f"the unit {shown(unit)} is not known",
        'a value with its unit, such as "44 psi", "39 degC" or "2 gal/min"',
        "Correct the unit",
        say("refused.unit"),
    )


def _several(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _no_concentration(body: Mapping[str, Any]) -> Iterator[Fault]:
    """What was read of a strip in a unit that no concentration has."""
    if body.get("value") is None:
        return
    told = " ".join(str(body[key]) for key in ("value", "unit") if body.get(key) is not None)
    found = _CONCENTRATION.match(told)
    if found is None:
        expected = 'a concentration in %, ppm, g/L, mg/L or mol/L, such as "0.35 %"'
        yield Fault(
            "value",
            f"it is {shown(told)}",
            expected,
            "Correct it; a strip that only passes or fails needs no value",
            say("refused.concentration"),
        )
    elif float(found[1].replace(",", ".")) > (most := _most_of(found)) * (1.0 + 1e-9):
        limit = f"{most:.12g} {found[2]}"
        expected = f"at most {limit}: no disinfectant in use has more"
        yield Fault(
            "value",
            f"it is {shown(told)}",
            expected,
            "Read it again and correct it",
            say("refused.too_strong", most=text(limit)),
        )


def _most_of(found: re.Match[str]) -> float:
    """The most that a disinfectant in use can have, in the unit that was written."""
    if found[4] is None:
        return _MOST_OF[found[2].lower()]
    scale = {"": 1.0, "m": 1e3}.get(found[3].lower(), 1e6)
    return _MOST_OF[found[4].lower()] * scale / (1e3 if found[5] else 1.0)


def _cant_be(body: Mapping[str, Any], ranges: Mapping[str, Range]) -> Iterator[Fault]:
    """A number of a commissioning that can't be read, or that nothing at this station can be."""
    span = ranges.get(str(body.get("item"))) if body["record"] == COMMISSIONING else None
    if span is None:
        return
    for key in span.keys:
        told = f"it is {shown(body.get(key))}"
        try:
            value = told_in(body, key, span.dimension)
        except Unusable as unusable:
            yield Fault(key, told, 'a value with its unit, such as "44 psi"', "Correct it", unusable.why)
            continue
        if value is None or span.low <= value <= span.high:
            continue
        make = difference if span.dimension.endswith("_difference") else quantity
        low, high = (make(span.kind, end, span.point) for end in (span.low, span.high))
        unit = UNIT_OF[span.kind].replace("Cel", "degC")
        expected = f"{span.low:g} to {span.high:g} {unit}: nothing else can be read here"
        yield Fault(key, told, expected, "Read it again and correct it", say("refused.cant_be", low=low, high=high))


def _no_finding(body: Mapping[str, Any], items: Mapping[str, Item]) -> Iterator[Fault]:
    """An item that doesn't apply and was found in some way all the same; one of which nothing is told."""
    found = next((key for key in FINDINGS if body.get(key) is not None), None)
    if body.get("not_applicable") is not None and found is not None:
        yield Fault(
            "not_applicable",
            f"{found} is told beside it",
            "either why it does not apply, or what was found",
            "Leave one of them out",
            say("refused.both"),
        )
    item = items.get(str(body.get("item")))
    lacking = None if item is None else lacks(item, body)
    if lacking is not None:
        says = forms.FORMS[COMMISSIONING].keys[lacking].says
        yield Fault(lacking, forms.MISSING, f"{says}, or not_applicable with why", "Add it", say("refused.missing"))


def _no_basin(body: Mapping[str, Any], basins: tuple[str, ...]) -> Iterator[Fault]:
    """A basin that isn't there."""
    named = body.get("basin")
    if named is None or named in basins:
        return
    near = next(iter(difflib.get_close_matches(str(named)[:60], basins, 1)), None)
    hint = f"; nearest: {near!r}" if near else ""
    expected = f"one of {', '.join(basins)}{hint}" if basins else "no basin: the station file has none"
    yield Fault(
        "basin",
        f"there is no basin {shown(named)} at this station",
        expected,
        "Correct it, or leave it out",
        say("refused.basin"),
    )


def _other_quantity(body: Mapping[str, Any], levels: Mapping[str, Level]) -> Iterator[Fault]:
    """A laboratory's result in a unit in which it can't be compared with its duty's levels."""
    level = levels.get(str(body.get("duty")))
    if level is None or not site_duties.is_other_quantity(body, level):
        return
    told = " ".join(str(body[key]) for key in ("value", "unit") if body.get(key) is not None)
    expected = f'a result in {level.unit}, in which its levels stand, such as "3 {level.unit}"'
    yield Fault(
        "value",
        f"it is {shown(told)}",
        expected,
        "Correct it, or ask the laboratory for it in that unit",
        say("refused.other_quantity", unit=text(level.unit)),
    )


def _to_come(body: Mapping[str, Any], now_ms: int) -> Iterator[Fault]:
    """What can't have happened yet."""
    for key in ("at", "began_at", "ended_at"):
        if isinstance(body.get(key), str) and _ms_of(body[key]) > now_ms + AHEAD_MS:
            yield Fault(
                key,
                f"it is {body[key]}, and the station's clock shows {rfc3339(now_ms)}",
                "a time that is past",
                "Correct it, or leave it out for now",
                say("refused.to_come"),
            )


def _ms_of(told: str) -> int:
    """The instant that is told; one that is none is refused elsewhere."""
    try:
        return wall_ms_of(told)
    except (ValueError, OverflowError):
        return 0


def _long_ago(body: Mapping[str, Any], now_ms: int) -> Iterator[Fault]:
    """Dates that nobody can mean: years from anything that a record is about."""
    today = datetime.fromtimestamp(now_ms / 1000.0, UTC).date()
    for key in ("at", "began_at", "ended_at"):
        if isinstance(body.get(key), str) and _years(_date_of(body[key]), today) > _OLDEST:
            yield Fault(
                key,
                f"it is {body[key]}",
                f"a time within the last {_OLDEST} years",
                "Correct the year",
                say("refused.long_ago", years=number(_OLDEST)),
            )
    opened, ends = first_day(body.get("opened")), last_day(body.get("expires"))
    if opened is not None and (today - opened).days > _LONGEST_OPEN:
        what = f"it is {body['opened']}, {_years(opened, today):.0f} years ago"
        yield Fault(
            "opened",
            what,
            "the day on which this container was opened: none keeps for so long",
            "Correct it",
            say("refused.opened"),
        )
    if ends is not None and abs(_years(ends, today)) > _LONGEST_LABEL:
        expected = f"a date within {_LONGEST_LABEL} years of today: no label goes further"
        yield Fault("expires", f"it is {body['expires']}", expected, "Read the label again", say("refused.expires"))


def _date_of(told: str) -> date:
    return datetime.fromtimestamp(wall_ms_of(told) / 1000.0, UTC).date()


def _years(one: date, other: date) -> float:
    return (other - one).days / 365.2425
