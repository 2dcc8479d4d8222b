"""What `warmwell status` says, as lines of a terminal: the word, what to do first, when; then conditions, alarms, what is due, points.

Times are those of the clock on the station's wall, written as `--at` takes them. Lines are at most WIDTH characters long.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.cli.when import shown, shown_beside
from edge.domain.readings import Kind
from edge.domain.wording import age_text, value_text
from edge.terminal import basin_words, display_word

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
    "suppressed_by_design": "a consequence",
    "out_of_service": "out of service",
}
_PHASES: Final = {"off": "switched off", "at_rest": "at rest", "in_use": "in use", "at_work": "somebody works on it"}


class Picture(NamedTuple):
    """What the API says of a station: its answers to verdict, station, alarms, estimates and points, rows as lists."""

    verdict: Mapping[str, Any]
    station: Mapping[str, Any]
    alarms: Sequence[Mapping[str, Any]] = ()
    estimates: Sequence[Mapping[str, Any]] = ()
    points: Sequence[Mapping[str, Any]] = ()

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(str(self.station.get("timezone") or "UTC"))


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
    lines += due_lines(picture.alarms)
    lines += ["Points:"] if picture.points else []
    for point in picture.points:
        lines += _wrapped(point_line(point), "  ", "    ")
    return lines


def verdict_lines(picture: Picture) -> Iterator[str]:
    """The word and the station; what to do first; when; then each condition."""
    verdict, station, zone = picture.verdict, picture.station, picture.zone
    now = str(verdict["at"])
    ident = f"{verdict.get('site', '')}/{verdict.get('station', '')}"
    title = f"{station['title']} ({ident})" if station.get("title") else ident
    phase = str(verdict.get("phase"))
    yield from _wrapped(f"{display_word(verdict)}  {title}", "", "  ")
    yield from _wrapped(f"{shown(now, zone)}, {_PHASES.get(phase, phase)}", "  ", "  ")
    todo = [str(what) for what in verdict.get("waits_for", [])]
    for n, what in enumerate(todo):
        yield from _wrapped(what, "  do first: " if n == 0 else "      then: ", " " * 12)
    if verdict.get("expected_at"):
        between = (
            f", between {shown_beside(verdict['earliest'], now, zone)} and {shown_beside(verdict['latest'], now, zone)}"
            if verdict.get("earliest") and verdict.get("latest")
            else ""
        )
        left = _until(now, str(verdict["expected_at"]))
        yield from _wrapped(
            f"READY expected {shown_beside(verdict['expected_at'], now, zone)} ({left}){between}", "  ", "    "
        )
    for basin in verdict.get("verdicts", []):
        yield from _wrapped(basin_words(basin), "  ", "    ")
    for text in time_left(picture):
        yield from _wrapped(text, "  ", "    ")
    for condition in verdict.get("conditions", []):
        lamp = _LAMP.get(condition["state"], condition["state"])
        yield from _wrapped(f"{condition['id']}: {condition['text']}", f"  {lamp:>11}  ", " " * 17)
    if verdict.get("note"):
        yield from _wrapped(str(verdict["note"]), "  ", "  ")


def time_left(picture: Picture) -> Iterator[str]:
    """What the estimates say of time: until the reservoir is warm, until it is too cold, what the filters have left."""
    now, zone = str(picture.verdict["at"]), picture.zone
    for one in picture.estimates:
        name, value = str(one.get("of") or one.get("id")), one.get("value")
        if value is None:
            continue
        low, high = one.get("low"), one.get("high")
        if name in ("reservoir_ready", "reservoir_below_needed"):
            what = "reservoir warm enough" if name == "reservoir_ready" else "reservoir too cold"
            between = (
                f", between {shown_beside(low, now, zone)} and {shown_beside(high, now, zone)}" if low and high else ""
            )
            yield f"{what} about {shown_beside(value, now, zone)} ({_until(now, str(value))}){between}"
        elif name.startswith("filter:") and name.endswith(":left"):
            between = f" ({low:.0f} to {high:.0f})" if low is not None and high is not None else ""
            yield f"{name.removesuffix(':left')}: about {value:.0f} days left{between}"


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
    yield from _wrapped(f"{alarm['id']} ({alarm.get('priority')}), {', '.join(said)}{why}", "  ", "    ")
    if state in ("shelved", "out_of_service"):
        until = f" until {shown_beside(alarm['aside_until'], now, zone)}" if alarm.get("aside_until") else ""
        reason = f": {alarm['aside_why']}" if alarm.get("aside_why") else ""
        yield from _wrapped(f"{_STATES.get(state, state)}{until} by {alarm.get('aside_by')}{reason}", "    ", "    ")
        ends = "in_service" if state == "out_of_service" else "unshelve"
        yield from _command(f"warmwell record {ends} alarm={alarm['id']}")
        return
    if alarm.get("consequence_of"):
        yield from _wrapped(f"follows from {alarm['consequence_of']}", "    ", "    ")
    elif state in _LATCHED:
        yield from _wrapped("See that it is right, then reset it:", "    ", "    ")
        yield from _command(f"warmwell record reset alarm={alarm['id']}")
    elif alarm.get("active", True):  # what is right again asks for nothing but to be seen
        yield from _wrapped(str(alarm.get("response") or ""), "    ", "    ")
    if state in _UNANSWERED and state not in _LATCHED:
        yield from _command(f"warmwell ack {alarm['id']}")


def due_lines(alarms: Sequence[Mapping[str, Any]]) -> list[str]:
    """What people do next, in the order of its dates."""
    due = sorted((a for a in alarms if (a.get("duty") or {}).get("due_at")), key=lambda a: str(a["duty"]["due_at"]))
    lines = [line for alarm in due for line in _wrapped(f"{alarm['id']}: {alarm['duty']['text']}", "  ", "    ")]
    return ["Due again:", *lines] if lines else []


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


def value_words(value: Any, unit: str) -> str:
    """A value with its unit's usual sign.

    >>> value_words(39.0, "Cel"), value_words(102.2, "degF"), value_words(44.0, "psi"), value_words("ok", "")
    ('39.0 °C', '102.2 °F', '44.0 psi', 'ok')
    """
    if unit in ("Cel", "degC", "°C", "degF", "°F", "K"):
        return f"{value:.1f} {'K' if unit == 'K' else '°F' if unit.endswith('F') else '°C'}"
    if unit == "kPa":
        return value_text(float(value), "kPa", Kind.PRESSURE)
    return f"{value} {unit}".rstrip()


def _rank(alarm: Mapping[str, Any]) -> int:
    priority = alarm.get("priority")
    return _PRIORITIES.index(priority) if priority in _PRIORITIES else len(_PRIORITIES)


def _until(now: str, then: str) -> str:
    ms = round((datetime.fromisoformat(then) - datetime.fromisoformat(now)).total_seconds() * 1000)
    return f"in {age_text(ms)}" if ms > 0 else "any moment now"


def _command(text: str) -> Iterator[str]:
    """Something to be pasted stays on one line."""
    yield f"    {text}"


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=further, break_long_words=False, break_on_hyphens=False
    ) or [first.rstrip()]
