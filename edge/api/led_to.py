"""What a record led to, for whoever made it: what the station makes of it, until when it holds, and whether the station may start now.

It is told of the picture that takes the record into account, in messages: the page, the command line and the API say the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, duration, moment, name, of_kept, part, say
from edge.domain.records.answers import to_alarm
from edge.domain.records.book import ALARM_RECORDS, names_of, says_opened
from edge.domain.records.counting import TRIPPED_WITHIN_MS
from edge.domain.records.outlets import outlets_of
from edge.domain.records.treatments import is_taken_at_its_word
from edge.domain.roles import Role
from edge.domain.settings import Settings
from edge.snapshot import Snapshot

#: conditions that a record is about; what stands before ":" of one means all of its kind
_OF_RECORD: Final[Mapping[str, tuple[str, ...]]] = {
    "daily_test": ("daily_test",),
    "water_path_treatment": ("water_path_treatment",),
    "disinfectant_fill": ("disinfectant",),
    "disinfectant_top_up": ("reservoir", "disinfectant"),
    "concentration_check": ("disinfectant",),
    "hold": ("no_hold",),
    "release": ("no_hold",),
    "work_begins": ("free",),
    "work_ends": ("free",),
    "equipment_change": ("daily_test", "water_path_treatment", "disinfectant"),
    "clock_confirmed": ("clock",),
    "commissioning": ("commissioned",),
}
_OF_ROLE: Final[Mapping[str, tuple[str, ...]]] = {
    Role.RESERVOIR_TEMPERATURE: ("reservoir",),
    Role.BASIN_TEMPERATURE: ("reservoir",),
    Role.ROOM_TEMPERATURE: ("reservoir",),
    Role.SUPPLY_TEMPERATURE: ("filter",),
    Role.SUPPLY_PRESSURE: ("pressure",),
    Role.BETWEEN_FILTERS_PRESSURE: ("filter",),
    Role.FILTERED_PRESSURE: ("filter",),
    Role.SUPPLY_FLOW: ("flow",),
    Role.OUTLET_PROTECTION: ("outlet",),
    Role.MACHINE_POWER: ("free",),
    Role.LEAK: ("no_leak",),
}


def led_to(seq: int, body: Mapping[str, Any], snapshot: Snapshot) -> list[Message]:
    """What a record's entry led to, in clauses; none where the picture doesn't take it into account yet.

    Args:
        body: of the entry, as it was kept.
        snapshot: the newest picture.
    """
    if snapshot.seq < seq or body.get("record") == "note":
        return []
    return [*_clauses(body, snapshot), *_may_start(snapshot.verdict)]


def conditions_of(body: Mapping[str, Any], settings: Settings | None) -> tuple[str, ...]:
    """Ids of the conditions that a record is about, or what stands before ":" in them.

    >>> conditions_of({"record": "daily_test", "basin": "left"}, None)
    ('daily_test:left',)
    >>> conditions_of({"record": "filter_change", "filters": ["coarse"]}, None)
    ('filter:coarse',)
    """
    record = str(body["record"])
    is_opened = settings is not None and (record in settings.clean_side_opened_by or says_opened(body, settings))
    opened = ("water_path_treatment",) if is_opened else ()
    if record == "filter_change":
        return (*(f"filter:{one}" for one in names_of(body)), *opened)
    if record == "outlet_test":
        return (f"outlet:{body.get('outlet') or body.get('of')}",)
    if record == "service":
        duty = (f"duty:{body['duty']}",) if body.get("duty") else ()
        served = (f"filter:{body['filter']}",) if body.get("filter") else ()
        return (*duty, *served, *opened)
    if record in ("entered_reading", "calibration"):
        return _OF_ROLE.get(_role(body, settings), ())
    basin = f":{body['basin']}" if body.get("basin") else ""
    return (*(f"{one}{basin}" for one in _OF_RECORD.get(record, ())), *opened)


def _role(body: Mapping[str, Any], settings: Settings | None) -> str:
    points = () if settings is None else settings.points
    return str(body.get("role") or next((point.role for point in points if point.id == body.get("point")), ""))


def _clauses(body: Mapping[str, Any], snapshot: Snapshot) -> Iterator[Message]:
    """What the station makes of it."""
    counts, settings = bool(body.get("counts")), snapshot.settings
    if body["record"] in ALARM_RECORDS:
        alarm = snapshot.alarms.get(str(body.get("alarm")))
        if alarm is not None:
            yield say("led.alarm", alarm=name(alarm["id"]), state=name(alarm["state"]))
        return
    wanted = conditions_of(body, settings)
    found = [one for one in snapshot.verdict.get("conditions", ()) if one["id"] in wanted]
    if not found:  # without its basin it is about the conditions of all basins
        found = [one for one in snapshot.verdict.get("conditions", ()) if one["id"].partition(":")[0] in wanted]
    for one in found:
        yield say("led.condition", condition=name(one["id"]), text=part(of_kept(one["msg"], one["text"])))
    if not counts:
        return
    stands_ms = None if settings is None else _stands_ms(body, settings)
    if stands_ms is not None:
        yield say("led.stands", until=moment(wall_ms_of(str(body["at"])) + stands_ms))
    if settings is not None and is_taken_at_its_word(settings, body):
        yield say("led.taken_as_rinsed")
    if body["record"] == "outlet_test" and body.get("trip_seen") is False:
        yield say("led.no_trip_seen", outlet=name(outlets_of(body)[0]), within=duration(TRIPPED_WITHIN_MS))
    if body["record"] == "disinfectant_fill" and body.get("expires") is None:
        yield say("led.no_last_date")
    due = min((due for due in _due(body, snapshot) if due is not None), default=None)
    if due is not None:
        at, due_ms = snapshot.verdict.get("at"), wall_ms_of(due)
        is_past = at is not None and due_ms <= wall_ms_of(str(at))
        yield say("led.due_since" if is_past else "led.due", due=moment(due_ms))


def _stands_ms(body: Mapping[str, Any], settings: Settings) -> int | None:
    """How long what was read by eye stands; None of any other record."""
    if body["record"] != "entered_reading":
        return None
    point = next((point for point in settings.points if point.id == body.get("point")), None)
    if point is not None:
        return point.stale_after_ms if point.by_people else None
    return next((ms for role, ms in settings.not_fitted.items() if str(role) == body.get("role")), None)


def _due(body: Mapping[str, Any], snapshot: Snapshot) -> Iterator[str | None]:
    """When the duties that it does are due again."""
    for ident, alarm in snapshot.alarms.items():
        duty, answer = alarm.get("duty"), to_alarm(ident)
        if duty is None or answer is None or answer.record != body["record"]:
            continue
        if all(value in _named(body, key, value) for key, value in answer.keys.items()):
            yield duty["due_at"]


def _named(body: Mapping[str, Any], key: str, value: str) -> list[str]:
    """What a record names by a key; a daily test without its basin is of each."""
    if key == "filters":
        return names_of(body)
    if key == "outlet":
        return outlets_of(body)
    return [str(body.get(key) or (value if key == "basin" else ""))]


def _may_start(verdict: Mapping[str, Any]) -> Iterator[Message]:
    """Whether the station may start now; if not, the first thing to do."""
    waits, expected = (
        list(zip(verdict.get("waits_for_msgs", ()), verdict.get("waits_for", ()), strict=False)),
        verdict.get("expected_at"),
    )
    if verdict.get("verdict") == "ready":
        yield say("led.may_start")
    elif waits:
        yield say("led.may_not_first", first=part(of_kept(*waits[0])))
    elif expected is not None:
        yield say("led.may_not_until", at=moment(wall_ms_of(expected)))
    else:
        yield say("led.may_not")
