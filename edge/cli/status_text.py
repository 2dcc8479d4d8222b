"""What `warmwell status` says, as lines of a terminal: the word, what to do first, when; then conditions, alarms, what is due, estimates,
points.

Times are those of the clock on the station's wall, written as `--at` takes them. Lines are at most as long as the picture is wide; only
commands that are to be pasted may be longer.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.cli.when import shown, shown_beside
from edge.domain.readings import UNIT_OF, Kind
from edge.domain.wording import age_text, difference_text, value_text
from edge.terminal import basin_words, display_word, value_words

WIDTH: Final = 80
_LAMP: Final = {"met": "ok", "by_eye": "ok (by eye)", "unmet": "NOT", "unknown": "?"}
_LATCHED: Final = frozenset({"latched_unacknowledged", "latched_acknowledged"})
_UNANSWERED: Final = frozenset({"unacknowledged", "returned_unacknowledged", "latched_unacknowledged"})
#: how urgent, first the most
_PRIORITIES: Final = ("high", "medium", "low")
_STATES: Final = {
    "unacknowledged": "not acknowledged",
    "returned_unacknowledged": "right again, not acknowledged",
    "latched_unacknowledged": "right again, stays until it is reset, not acknowledged",
    "latched_acknowledged": "right again, stays until it is reset",
    "suppressed_by_design": "suppressed by design",
    "out_of_service": "out of service",
}
_TIMES: Final = {
    "reservoir_below_needed": "reservoir warm enough until",
    "reservoir_ready": "reservoir warm enough",
    "heating_must_start_by": "heating must begin by",
}
_RECKONED: Final = {
    "needed_reservoir_temperature": "reservoir must have",
    "basin_temperature": "basin would get",
    "supply_capacity": "supply could give",
    "fill_time": "a fill takes",
}
_PHASES: Final = {
    "off": "switched off",
    "at_rest": "at rest",
    "in_use": "in use",
    "reheating": "heating up",
    "at_work": "somebody works on it",
}


class Picture(NamedTuple):
    """What the API says of a station, its answers to verdict, station, alarms, estimates and points, rows as lists; and a line's width."""

    verdict: Mapping[str, Any]
    station: Mapping[str, Any]
    alarms: Sequence[Mapping[str, Any]] = ()
    estimates: Sequence[Mapping[str, Any]] = ()
    points: Sequence[Mapping[str, Any]] = ()
    width: int = WIDTH

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(str(self.station.get("timezone") or "UTC"))

    @property
    def units(self) -> dict[str, str]:
        """By the unit of a kind of points the one that they are shown in."""
        return {str(one.get("unit")): str(one["shown"]["unit"]) for one in self.points if one.get("shown")}

    def wrapped(self, text: str, first: str, further: str) -> list[str]:
        return textwrap.wrap(
            text, self.width, initial_indent=first, subsequent_indent=further, break_long_words=False, break_on_hyphens=False
        ) or [first.rstrip()]  # fmt: skip


def status_lines(picture: Picture) -> list[str]:
    """All of it."""
    lines = [*verdict_lines(picture)]
    lit = sorted(
        (alarm for alarm in picture.alarms if alarm["state"] != "normal"),
        key=lambda alarm: (alarm["state"] in ("shelved", "out_of_service"), _rank(alarm)),
    )
    lines += ["Alarms:" if lit else "Alarms: none"]
    for alarm in lit:
        lines += alarm_lines(alarm, picture)
    lines += due_lines(picture)
    lines += estimate_lines(picture)
    lines += ["Points:"] if picture.points else []
    for point in picture.points:
        lines += picture.wrapped(point_line(point), "  ", "    ")
    return lines


def verdict_lines(picture: Picture) -> Iterator[str]:
    """The word and the station; what to do first; when; then each condition."""
    verdict, station, zone = picture.verdict, picture.station, picture.zone
    now = str(verdict["at"])
    ident = f"{verdict.get('site', '')}/{verdict.get('station', '')}"
    title = f"{station['title']} ({ident})" if station.get("title") else ident
    phase = str(verdict.get("phase"))
    yield from picture.wrapped(f"{display_word(verdict)}  {title}", "", "  ")
    yield from picture.wrapped(f"{shown(now, zone)}, {_PHASES.get(phase, phase)}", "  ", "  ")
    todo = [str(what) for what in verdict.get("waits_for", [])]
    for n, what in enumerate(todo):
        yield from picture.wrapped(what, "  do first: " if n == 0 else "      then: ", " " * 12)
    again = "READY again" if verdict.get("display") in ("in_use", "reheating") else "READY"
    if verdict.get("expected_at"):
        between = (
            f", between {shown_beside(verdict['earliest'], now, zone)} and {shown_beside(verdict['latest'], now, zone)}"
            if verdict.get("earliest") and verdict.get("latest")
            else ""
        )
        left = _until(now, str(verdict["expected_at"]))
        once = ", once that is done" if todo else ""
        yield from picture.wrapped(
            f"{again} expected {shown_beside(verdict['expected_at'], now, zone)} ({left}){between}{once}", "  ", "    "
        )
    elif verdict.get("verdict") != "ready" and verdict.get("display") != "at_rest":
        yield f"  when it will be {again} is not known"
    for basin in verdict.get("verdicts", []):
        yield from picture.wrapped(basin_words(basin), "  ", "    ")
    for text in time_left(picture):
        yield from picture.wrapped(text, "  ", "    ")
    for condition in verdict.get("conditions", []):
        lamp = _LAMP.get(condition["state"], condition["state"])
        yield from picture.wrapped(f"{condition['id']}: {condition['text']}", f"  {lamp:>11}  ", " " * 17)
    if verdict.get("note"):
        yield from picture.wrapped(str(verdict["note"]), "  ", "  ")


def time_left(picture: Picture) -> Iterator[str]:
    """What the estimates say of time: how long the liquid stays warm enough, when it will be, when heating has to begin."""
    now, zone, ready = str(picture.verdict["at"]), picture.zone, picture.verdict.get("expected_at")
    cold = any(one["id"] == "reservoir" and one["state"] == "unmet" for one in picture.verdict.get("conditions", []))
    for one in picture.estimates:
        name, value = str(one.get("of") or one.get("id")), one.get("value")
        what = _TIMES.get(name)
        if what is None or value is None or value == ready:  # that time stands there already
            continue
        if cold and name == "reservoir_below_needed":  # the condition asks for more than that, and isn't met
            continue
        low, high = one.get("low"), one.get("high")
        between = (
            f", between {shown_beside(low, now, zone)} and {shown_beside(high, now, zone)}"
            if low and high and low != high
            else ""
        )
        yield f"{what} about {shown_beside(value, now, zone)} ({_until(now, str(value))}){between}"


def alarm_lines(alarm: Mapping[str, Any], picture: Picture) -> Iterator[str]:
    """One alarm: its priority, state, since when and why; then what to do about it, where there is something."""
    now, zone, state = str(picture.verdict["at"]), picture.zone, str(alarm["state"])
    by = alarm.get("acknowledged_by")
    said = [_STATES.get(state, state) + (f" by {by}" if by and state == "acknowledged" else "")]
    if alarm.get("since"):
        at_latest = "at the latest " if alarm.get("since_at_latest") else ""
        said.append(f"since {at_latest}{shown_beside(alarm['since'], now, zone)}")
    said += ["came first"] if alarm.get("first_out") else []
    again = int(alarm.get("again") or 0)
    said += [f"announced again {'once' if again == 1 else f'{again} times'}"] if again else []
    said += ["escalated"] if alarm.get("escalated") else []
    said += [f"acknowledged by {by}"] if by and state != "acknowledged" else []
    why = f": {alarm['cause']}" if alarm.get("cause") else ""
    yield from picture.wrapped(f"{alarm['id']} ({alarm.get('priority')}), {', '.join(said)}{why}", "  ", "    ")
    if state in ("shelved", "out_of_service"):
        until = f" until {shown_beside(alarm['aside_until'], now, zone)}" if alarm.get("aside_until") else ""
        reason = f": {alarm['aside_why']}" if alarm.get("aside_why") else ""
        yield from picture.wrapped(
            f"{_STATES.get(state, state)}{until} by {alarm.get('aside_by')}{reason}", "    ", "    "
        )
        ends = "in_service" if state == "out_of_service" else "unshelve"
        yield from _command(f"warmwell record {ends} alarm={alarm['id']}")
        return
    if alarm.get("consequence_of"):
        yield from picture.wrapped(f"follows from {alarm['consequence_of']}", "    ", "    ")
    elif state in _LATCHED:
        yield from picture.wrapped("See that it is right, then reset it:", "    ", "    ")
        yield from _command(f"warmwell record reset alarm={alarm['id']}")
    elif alarm.get("active", True):  # what is right again asks for nothing but to be seen
        yield from picture.wrapped(str(alarm.get("response") or ""), "    ", "    ")
    if state in _UNANSWERED and state not in _LATCHED:
        yield from _command(f"warmwell ack {alarm['id']}")


def due_lines(picture: Picture) -> list[str]:
    """What people do next, in the order of its dates."""
    due = [alarm for alarm in picture.alarms if (alarm.get("duty") or {}).get("due_at")]
    due.sort(key=lambda alarm: str(alarm["duty"]["due_at"]))
    lines = [line for one in due for line in picture.wrapped(f"{one['id']}: {one['duty']['text']}", "  ", "    ")]
    return ["Due again:", *lines] if lines else []


def estimate_lines(picture: Picture) -> list[str]:
    """What the station reckons of its filters, its warmth and its supply, or why it can't."""
    found = {str(one.get("of") or one.get("id")): one for one in picture.estimates}
    lines = list[str]()
    for name, one in found.items():
        if name.startswith("filter:") and name.endswith(":left"):
            drop = found.get(f"{name.removesuffix(':left')}:drop")
            now = (
                ""
                if drop is None or drop.get("value") is None
                else f"; its drop is {_reckoned(drop, picture, difference_text)}"
            )
            lines.append(f"{name.removesuffix(':left')}: {_days_left(one)}{now}")
    lines += [
        f"{what}: {_reckoned(found[name], picture)}"
        for name, what in _RECKONED.items()
        if name in found and found[name].get("value") is not None
    ]
    wrapped = [line for text in lines for line in picture.wrapped(text, "  ", "    ")]
    return ["Estimates:", *wrapped] if wrapped else []


def _days_left(one: Mapping[str, Any]) -> str:
    low, high = one.get("low"), one.get("high")
    if one.get("value") is None:
        return f"how long it lasts can't be told: {one.get('why') or 'nothing is known of it'}"
    between = f" ({low:.0f} to {high:.0f})" if low is not None and high is not None else ""
    return f"about {one['value']:.0f} days left{between}"


def _reckoned(one: Mapping[str, Any], picture: Picture, say: Callable[[float, str, Kind], str] = value_text) -> str:
    """An estimate in the unit that points of its kind are shown in, with its interval."""
    unit, low, high = str(one.get("unit")), one.get("low"), one.get("high")
    kind = next((kind for kind, own in UNIT_OF.items() if own == unit), None)
    values = [one["value"], *((low, high) if low is not None and high is not None and low != high else ())]
    words = [
        age_text(round(value * 1000)) if kind is None else say(float(value), picture.units.get(unit, ""), kind)
        for value in values
    ]
    return (
        words[0] if len(words) == 1 else f"{words[0]} ({words[1].rpartition(' ')[0]} to {words[2].rpartition(' ')[0]})"
    )


def point_line(point: Mapping[str, Any]) -> str:
    """One point: its value in its own unit, or why there is none, and its age.

    >>> point_line({"id": "reservoir", "shown": {"value": 39.5625, "unit": "Cel"}, "quality": "good", "age_s": 150})
    'reservoir: 39.6 °C, 2 min ago'
    """
    value = point.get("shown")
    age = point.get("age_s")
    old = "" if age is None else f", {age_text(int(age * 1000))} ago"
    if value is None:
        why = point.get("text") or point.get("reason") or "no reading"
        return f"{point['id']}: {why}{old}. {point.get('advice') or ''}".rstrip()
    doubt = "" if point.get("quality") == "good" else f" ({point.get('quality')}: {point.get('text')})"
    return f"{point['id']}: {value_words(value['value'], str(value['unit']))}{doubt}{old}"


def _rank(alarm: Mapping[str, Any]) -> int:
    priority = alarm.get("priority")
    return _PRIORITIES.index(priority) if priority in _PRIORITIES else len(_PRIORITIES)


def _until(now: str, then: str) -> str:
    ms = round((datetime.fromisoformat(then) - datetime.fromisoformat(now)).total_seconds() * 1000)
    return f"in {age_text(ms)}" if ms > 0 else "any moment now"


def _command(text: str) -> Iterator[str]:
    """Something to be pasted stays on one line."""
    yield f"    {text}"
