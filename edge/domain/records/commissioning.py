"""The commissioning list: which items a station has, what each takes, and how each stands by what the journal holds.

Theory of operation. ROWS is the list as shipped; the station file says which of it a station has (items_of: one for each sensor, filter,
outlet), and a site's own list ([commissioning_item.<id>]) changes rows, leaves some out and adds others. What was found is a record
`commissioning` that names its item: the newest that counts stands (the book, corrections included). What the journal holds anyway isn't
asked for (Known): a calibration, an outlet's test, a learned warm-up. Each limit is one of the station file, or common practice without
a published source, which the site's list sets otherwise.

An item is open again (`reopened`) after a record of the kinds that its row names, and where a part of the station file that its result
rested on has changed since (`rests_on`: digests, kept with the result). What failed stays failed until it is done anew.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.alarms.limits import side_of
from edge.domain.messages import (
    Message,
    Value,
    as_told,
    difference,
    duration,
    moment,
    name,
    number,
    part,
    parts,
    quantity,
    say,
    text,
)
from edge.domain.quantities import UnitError
from edge.domain.quantities import quantity as quantity_in
from edge.domain.readings import Kind, Role
from edge.domain.records.book import is_machine_changed, names_of
from edge.domain.records.fact import Fact
from edge.domain.records.shut_line import fall_per_min
from edge.domain.settings import CommissioningItem, Point, Settings

RECORD: Final = "commissioning"
#: a vented gauge shows nought within this share of what its point can read: common practice, no published source
ZERO_SHARE: Final = 0.01
#: a meter agrees with the bucket within this share: common practice, no published source
BUCKET_SHARE: Final = 0.05
#: a shut line keeps its pressure to within this in DECAY_MIN minutes [kPa], 2 psi: common practice, no published source
DECAY_KPA: Final = 13.8
DECAY_MIN: Final = 10


class How(StrEnum):
    """What shows that an item is right."""

    EYE = "eye"  # somebody looks, and says so
    NUMBER = "number"  # a value, entered or as the station has it now
    BUCKET = "bucket"  # litres and seconds beside the flow meter
    DECAY = "decay"  # a pressure before and after, timed by the station or by hand
    CLOCK = "clock"  # the station's clock is trusted now
    TRIP = "trip"  # the outlet's contact has just shown that its test button makes it trip
    JOURNAL = "journal"  # an entry of the journal, and nothing else
    JOURNAL_OR_EYE = "journal_or_eye"  # an entry; or somebody looks, and says so


class Result(StrEnum):
    """What was found."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_APPLICABLE = "not_applicable"


#: how an item stands: as found, or as below
OPEN: Final = "open"
REOPENED: Final = "reopened"
STATES: Final = (OPEN, REOPENED, *map(str, Result))
#: how a number was taken
LIVE: Final = "live"
ENTERED: Final = "entered"
TIMED: Final = "timed"


class Row(NamedTuple):
    """One row of the list as shipped. `per`: what there is one item for each of; `rests_on`: parts of the station file (digests_of)."""

    group: str
    how: How
    per: str = ""  # "", "outlet", "measured", "pressure" or "filter"
    caution: str = ""  # "pressure", "mains", "heat" or "liquid"
    quantity: str = ""  # what its number is: a key of DIMENSIONS, or "share"
    rests_on: tuple[str, ...] = ()
    reopened_by: tuple[str, ...] = ("equipment_change",)
    practice: bool = False  # its limit, or that it is asked for, is common practice without a published source


#: in the order in which they are gone through
ROWS: Final[Mapping[str, Row]] = MappingProxyType(
    {
        "standpipe": Row("site", How.EYE, caution="liquid", practice=True),
        "shut_off": Row("site", How.EYE, practice=True),
        "housings": Row("site", How.EYE, practice=True),
        "reservoir_below": Row("site", How.EYE, caution="liquid", practice=True),
        "outlet": Row("site", How.TRIP, "outlet", "mains", rests_on=("point",), practice=True),
        "outlets": Row("site", How.EYE, caution="mains", practice=True),
        "filter_order": Row("site", How.EYE, caution="pressure", rests_on=("filter",), practice=True),
        "no_leaks": Row("site", How.EYE, caution="pressure", practice=True),
        "clock": Row("system", How.CLOCK, reopened_by=()),
        "calibration": Row("sensors", How.JOURNAL, "measured", reopened_by=()),
        "zero": Row("sensors", How.NUMBER, "pressure", "pressure", "pressure", ("point",), (), practice=True),
        "step": Row("sensors", How.NUMBER, "pressure", "pressure", "pressure", ("point", "supply"), ()),
        "bucket": Row("water", How.BUCKET, "flow", "", "share", ("point",), (), practice=True),
        "static": Row("water", How.NUMBER, "supply", "pressure", "pressure", ("point", "supply")),
        "dynamic": Row("water", How.NUMBER, "supply", "", "pressure", ("point", "supply")),
        "drawn": Row("water", How.NUMBER, "flow", "", "flow", ("point", "supply")),
        "capacity": Row("water", How.NUMBER, "flow", "", "flow", ("point", "supply")),
        "decay": Row("water", How.DECAY, "supply", "pressure", "pressure_difference", ("point",), practice=True),
        "drop": Row("water", How.NUMBER, "filter", "pressure", "pressure_difference", ("filter", "filters")),
        "warm_up": Row("heat", How.JOURNAL, caution="heat", reopened_by=()),
        "transfer": Row("heat", How.JOURNAL_OR_EYE, caution="liquid"),
        "alarm_test": Row("system", How.JOURNAL_OR_EYE, rests_on=("mqtt", "target"), reopened_by=(), practice=True),
        "restart": Row("system", How.JOURNAL, caution="mains", practice=True),
    }
)  # fmt: skip
GROUPS: Final = ("site", "sensors", "water", "heat", "system", "own")


class Item(NamedTuple):
    """One item of a station's list. Limits in the unit of `quantity`; `point`: in whose unit it is read; `lasts_ms`: how long the station
    times it, None where it doesn't."""

    id: str
    base: str
    of: str
    group: str
    how: How
    title: Message
    ask: Message
    caution: Message | None
    source: Message
    quantity: str = ""
    low: float | None = None
    high: float | None = None
    point: str | None = None
    rests_on: tuple[str, ...] = ()
    reopened_by: frozenset[str] = frozenset()
    leave_out: str | None = None
    lasts_ms: int | None = None


class Known(NamedTuple):
    """What the journal holds that shows an item to be right; `seq`: of the entry, as far as there is one."""

    text: Message
    seq: int | None = None
    at_ms: int | None = None
    by: Value | None = None


class Live(NamedTuple):
    """What an item's number is now; None: not known. `guard`: how far inside its limits it has to be. Of what the station times `left_ms`,
    None where nothing is timed now, and what was seen since it began, or why the last time gave no number.
    """

    value: float | None = None
    guard: float = 0.0
    left_ms: int | None = None
    seen: Message | None = None


class Standing(NamedTuple):
    """How an item stands. `text`: what was found, or why it is open again; None: nothing is to be said."""

    item: Item
    state: str
    text: Message | None = None
    seq: int | None = None
    at_ms: int | None = None
    by: Value | None = None

    @property
    def is_done(self) -> bool:
        """Does it keep the station from being commissioned no longer?"""
        return self.state in (Result.PASSED, Result.NOT_APPLICABLE)


# -- which items there are


def items_of(settings: Settings) -> tuple[Item, ...]:
    """The list of a station, in its order: as shipped, as its site has it, and the site's own items."""
    own = settings.rules.commissioning.items
    shipped = [item for base, row in ROWS.items() for item in _of_row(settings, base, row, own.get(base))]
    return (*shipped, *(_own(ident, told) for ident, told in own.items() if ident not in ROWS))


def _of_row(settings: Settings, base: str, row: Row, told: CommissioningItem | None) -> Iterator[Item]:
    own = told or CommissioningItem()
    source = "commissioning.source.practice" if row.practice else "commissioning.source.station"
    for of, point in _each(settings, base, row):
        low, high = _limits(settings, base, of, point)
        lasts = own.lasts_ms or lasts_ms(base)
        yield Item(
            f"{base}:{of}" if of else base, base, of, row.group, row.how,
            say(f"commissioning.each.{base}", of=name(of)) if of else say(f"commissioning.item.{base}"),
            ask(base, lasts) if own.ask is None else as_told(own.ask),
            as_told(own.caution) if own.caution else say(f"commissioning.caution.{row.caution}") if row.caution else None,
            say(source) if own.source is None else as_told(own.source),
            row.quantity, low if own.low is None else own.low, high if own.high is None else own.high,
            None if point is None else point.id,
            tuple(_named(part, of, point) for part in row.rests_on),
            frozenset(row.reopened_by) if own.reopened_by is None else own.reopened_by, own.leave_out, lasts,
        )  # fmt: skip


def lasts_ms(base: str) -> int | None:
    """How long the station times a row of the list, as shipped; None where it doesn't."""
    return DECAY_MIN * 60_000 if ROWS[base].how is How.DECAY else None


def ask(base: str, lasts: int | None) -> Message:
    """What to do for a row; `lasts`: for how long the station times it [ms]."""
    values = {} if lasts is None else {"time": duration(lasts)}
    return say(f"commissioning.do.{base}", **values)


def _own(ident: str, told: CommissioningItem) -> Item:
    return Item(
        ident, ident, "", "own", How.NUMBER if told.quantity else How.EYE, as_told(told.title or ident), as_told(told.ask or ""),
        as_told(told.caution) if told.caution else None, say("commissioning.source.site") if told.source is None else as_told(told.source),
        told.quantity, told.low, told.high, reopened_by=told.reopened_by or frozenset(), leave_out=told.leave_out,
    )  # fmt: skip


def _named(part: str, of: str, point: Point | None) -> str:
    """The key of a part of the station file among digests_of(): of a point or a filter its own table."""
    if part == "point" and point is not None:
        return f"point:{point.id}"
    return f"filter:{of}" if part == "filter" and of else part


def _each(settings: Settings, base: str, row: Row) -> Iterator[tuple[str, Point | None]]:
    """(what an item is of, "" for the station; the point that it is read by) of each item of a row that this station has."""
    points = [point for point in settings.points if not point.by_people]

    def first(role: Role) -> Point | None:
        return next((point for point in points if point.role is role), None)

    outlets = [p for p in points if p.role is Role.OUTLET_PROTECTION]
    supply, flow = first(Role.SUPPLY_PRESSURE), first(Role.SUPPLY_FLOW)
    match row.per:
        case "outlet":
            yield from ((p.of or p.id, p) for p in outlets)
        case "measured":
            yield from ((p.id, p) for p in points if p.kind is not Kind.CONTACT)
        case "pressure":
            yield from ((p.id, p) for p in points if p.kind is Kind.PRESSURE and (base == "zero" or settings.supply))
        case "filter":
            yield from ((f.id, None) for f in settings.filters if f.drop_limit_kpa is not None)
        case "supply" if settings.supply is not None and supply is not None:
            yield "", supply
        case "flow" if flow is not None and (base == "bucket" or _has_flow_limit(settings, base, supply)):
            yield "", flow
        case "" if _is_there(settings, base, bool(outlets)):
            yield "", None


def _has_flow_limit(settings: Settings, base: str, supply: Point | None) -> bool:
    plan = settings.supply
    return plan is not None and plan.flow_low_l_min is not None and (base == "drawn" or supply is not None)


def _is_there(settings: Settings, base: str, has_outlets: bool) -> bool:
    """Has a station what a row without `per` is about?"""
    if base in ("warm_up", "transfer", "reservoir_below"):
        return settings.reservoir is not None
    if base == "filter_order":
        return bool(settings.filters)
    return base != "outlets" or not has_outlets


def _limits(settings: Settings, base: str, of: str, point: Point | None) -> tuple[float | None, float | None]:
    """The least and the most, in the unit of the row's quantity; the station file's own where it has one."""
    plan = settings.supply
    if base == "zero" and point is not None:
        most = ZERO_SHARE * (point.high - point.low)
        return -most, most
    if base == "bucket":
        return -BUCKET_SHARE, BUCKET_SHARE
    if base == "decay":
        return None, DECAY_KPA
    if base == "drop":
        return None, next((f.drop_limit_kpa for f in settings.filters if f.id == of), None)
    if plan is None:
        return None, None
    limits: dict[str, tuple[float | None, float | None]] = {
        "step": (plan.pressure_low_kpa, plan.static_high_kpa),
        "static": (plan.pressure_low_kpa, plan.static_high_kpa),
        "dynamic": (plan.pressure_low_kpa, plan.pressure_high_kpa),
        "drawn": (plan.flow_low_l_min, plan.flow_high_l_min),
        "capacity": (plan.flow_low_l_min, None),
    }
    return limits.get(base, (None, None))


def digests_of(document: Mapping[str, Any]) -> dict[str, str]:
    """By part of a station file's document its digest: `supply`, `filters`, `mqtt`, …, `point:<id>` (its sensor and wiring, not how it is
    shown) and `filter:<id>`, `filter` for all of them in their order.

    >>> sorted(digests_of({"supply": {}, "filter": [{"id": "fine"}], "point": [{"id": "room", "unit": "degF"}]}))
    ['filter', 'filter:fine', 'point:room', 'supply']
    """
    found = {key: _digest(table) for key, table in document.items() if key in ("supply", "filters", "mqtt", "target")}
    for key in ("point", "filter"):
        rows = document.get(key)
        told = [_of_sensor(row) for row in rows if isinstance(row, Mapping)] if isinstance(rows, list | tuple) else []
        found |= {f"{key}:{row.get('id')}": _digest(row) for row in told}
        if key == "filter" and told:
            found[key] = _digest(told)
    return found


def _of_sensor(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in _SHOWN}


#: keys of a point that say nothing of its sensor
_SHOWN: Final = frozenset({"unit", "every", "stale_after", "max_rate", "replace_after"})


def _digest(table: object) -> str:
    return hashlib.sha256(json.dumps(table, sort_keys=True, default=str).encode()).hexdigest()[:16]


# -- what was found


class Unusable(ValueError):
    """Why a record tells nothing of its item."""

    def __init__(self, why: Message) -> None:
        super().__init__(why.id)
        self.why = why


def told_in(body: Mapping[str, Any], key: str, dimension: str) -> float | None:
    """A quantity of a record, in the unit of its dimension; None where it isn't told.

    Raises:
        Unusable: it can't be read so.
    """
    given = body.get(key)
    if given is None:
        return None
    written = f"{given} {body['unit']}" if key == "value" and body.get("unit") is not None else str(given)
    try:
        return quantity_in(written, dimension)
    except UnitError as exc:
        raise Unusable(say("calibration.key", key=name(key), why=text(str(exc)))) from None


def as_read(item: Item) -> Item:
    """The item with the quantity that is read for it: of a bucket test a flow, of a decay a pressure."""
    return item._replace(quantity=str(_READ_FOR.get(item.how, item.quantity)))


def needs(item: Item, *, is_read: bool) -> tuple[str, ...]:
    """The keys without which a record of this item says nothing. `is_read`: the station has a number of its own to take."""
    if item.how is How.NUMBER and not is_read:
        return ("value",)
    return _NEEDS.get(item.how, ())


def lacks(item: Item, body: Mapping[str, Any]) -> str | None:
    """The first of them that a record lacks; None where it says enough, or the station can look for itself."""
    if body.get("not_applicable") is not None or body.get("timing") is not None:
        return None
    # nothing is measured for an item of the site's own
    return next((key for key in needs(item, is_read=item.base in ROWS) if body.get(key) is None), None)


#: what is read for an item whose own quantity is another
_READ_FOR: Final[Mapping[How, Kind]] = MappingProxyType({How.BUCKET: Kind.FLOW, How.DECAY: Kind.PRESSURE})
#: what a record of an item can't do without
_NEEDS: Final[Mapping[How, tuple[str, ...]]] = MappingProxyType(
    {
        How.EYE: ("passed",), How.JOURNAL_OR_EYE: ("passed",), How.JOURNAL: ("passed",), How.BUCKET: ("litres", "seconds"),
        How.DECAY: ("before",),
    }
)  # fmt: skip
#: what says how an item was found; none of it stands beside a reason why it doesn't apply
FINDINGS: Final = ("passed", "value", "before", "after", "litres", "seconds")


def result_of(item: Item, value: float, guard: float, passed: object) -> Result:
    """What a number comes to. Somebody who says that it failed is believed, whatever the number is."""
    is_within = side_of(value, guard, item.low, item.high) == 0
    return Result.PASSED if is_within and passed is not False else Result.FAILED


def shown(item: Item, value: float) -> Value:
    """A number of an item, for people."""
    if item.quantity == "share":
        return number(value, "1")
    if item.quantity.endswith("_difference"):
        return difference(Kind(item.quantity.removesuffix("_difference")), value, item.point)
    if item.quantity in set(Kind):
        return quantity(Kind(item.quantity), value, item.point)
    return number(value, item.quantity)


def limits_said(item: Item) -> Message | None:
    """The limits of an item's number; None where it has none."""
    if item.quantity == "share":
        return None if item.high is None else say("commissioning.share", most=number(item.high, "1"))
    low, high = (None if end is None else shown(item, end) for end in (item.low, item.high))
    if low is not None and high is not None:
        return say("commissioning.between", low=low, high=high)
    if low is not None:
        return say("commissioning.at_least", low=low)
    return None if high is None else say("commissioning.at_most", high=high)


def _said(item: Item, fact: Fact) -> Message | None:
    """What a record found, as it was kept: number and limits are those of then."""
    body = fact.body
    if body.get("result") == Result.NOT_APPLICABLE:
        return as_told(str(body.get("not_applicable")))
    value = body.get("number")
    if not isinstance(value, int | float):
        note = body.get("note")
        if body.get("taken") == LIVE:
            return say("commissioning.seen_by_station")
        return as_told(str(note)) if note else None
    then = item._replace(
        quantity=str(body.get("quantity") or item.quantity), low=body.get("low"), high=body.get("high")
    )
    how = say("commissioning.live" if body.get("taken") in (LIVE, TIMED) else "commissioning.entered")
    if then.quantity == "share":
        gave = {"off": number(value, "1"), "u": number(2.0 * float(body.get("u") or 0.0), "1")}
        return say("commissioning.bucket_gave", **gave, limits=part(limits_said(then)), how=part(how))
    if body.get("taken") == TIMED and (seen := _timed(item, body)) is not None:
        return say("commissioning.timed", seen=part(seen), limits=part(limits_said(then)))
    return say("commissioning.measured", here=shown(then, value), limits=part(limits_said(then)), how=part(how))


def _timed(item: Item, body: Mapping[str, Any]) -> Message | None:
    """What a record tells of a pressure that the station watched; None where it can't be read."""
    try:
        first, last = (told_in(body, key, "pressure") for key in ("before", "after"))
    except Unusable:
        return None
    seconds = body.get("seconds")
    if first is None or last is None or not isinstance(seconds, int | float) or seconds <= 0:
        return None
    return fallen(item, first, last, 1000.0 * seconds)


def fallen(item: Item, first_kpa: float, last_kpa: float, lasted_ms: float) -> Message:
    """How far a pressure fell, from what to what, in what time, and how far in each minute of it."""
    fall = first_kpa - last_kpa
    return say(
        "commissioning.fallen", fall=difference(Kind.PRESSURE, fall, item.point), first=quantity(Kind.PRESSURE, first_kpa, item.point),
        last=quantity(Kind.PRESSURE, last_kpa, item.point), time=duration(lasted_ms),
        rate=difference(Kind.PRESSURE, fall_per_min(fall, lasted_ms), item.point),
    )  # fmt: skip


def standing(
    item: Item, record: Fact | None, known: Known | None, later: Sequence[Fact], digests: Mapping[str, str]
) -> Standing:
    """How an item stands.

    Args:
        record: the newest that counts and is about it.
        known: what the journal holds beside that.
        later: facts that came after `record` and count.
        digests: of the station file in force.
    """
    if item.leave_out is not None:
        return Standing(item, Result.NOT_APPLICABLE, as_told(item.leave_out))
    if known is not None and (record is None or _outweighs(known, record)):
        return Standing(item, Result.PASSED, known.text, known.seq, known.at_ms, known.by)
    if record is None:
        return Standing(item, OPEN)
    state = str(record.body.get("result"))
    told = Standing(item, state, _said(item, record), record.seq, record.at_ms, record.by)
    why = list(_reopened(item, record, later, digests)) if told.is_done else []
    return told._replace(state=REOPENED, text=say("commissioning.again", why=parts(why))) if why else told


def _outweighs(known: Known, record: Fact) -> bool:
    """Of what the journal holds and what somebody found the later stands; what has no entry of its own, but over a failure."""
    if known.seq is None or record.seq is None:
        return record.body.get("result") != Result.FAILED
    return known.seq > record.seq


def _reopened(item: Item, record: Fact, later: Iterable[Fact], digests: Mapping[str, str]) -> Iterator[Message]:
    rested = record.body.get("rests_on")
    for part_of, digest in rested.items() if isinstance(rested, Mapping) else ():
        if digests and digests.get(part_of) != digest:
            yield say("commissioning.file_changed", section=name(part_of))
    for fact in later:
        if fact.record in item.reopened_by and _is_about(item, fact):
            yield say("commissioning.record_came", record=name(fact.record), at=moment(fact.at_ms))
            return


def _is_about(item: Item, fact: Fact) -> bool:
    if fact.record == "equipment_change":
        return is_machine_changed(fact) or fact.body.get("point") in (item.of, item.point)
    if fact.record == "filter_change" and item.base == "drop":
        return item.of in names_of(fact.body)
    return True
