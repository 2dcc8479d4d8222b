"""What people are told, in English: a title of one line and a text, plain, as a telephone shows it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final, NamedTuple, cast
from zoneinfo import ZoneInfo

from edge.domain.alarms.catalogue import CATALOGUE, base_of, row_at
from edge.domain.alarms.states import STATE_TITLES, State
from edge.domain.entries import Entry, wall_ms_of
from edge.domain.entry_bodies import AlarmBody
from edge.domain.settings import Settings
from edge.domain.wording import age_text
from edge.telling.cursor import Item, Notice

#: a summary names so many alarms of each kind, then counts the rest
MOST_NAMED: Final = 12
#: said of a message that may be the second of its kind: one that came may have been reported as failed
REPEAT: Final = "(This may be a repeat: an earlier try may have come through.)"
ACT: Final = "Acknowledge it at the station's page."


class Told(NamedTuple):
    """A message as it is sent. `sort`: success, info, warning or failure, as the library calls them."""

    title: str
    text: str
    sort: str


def title_of(alarm: str) -> str:
    """An alarm's name for people.

    >>> title_of("outlet_tripped:heater"), title_of("leak")
    ('Outlet tripped: heater', 'Leak')
    """
    base, _, which = alarm.partition(":")
    title = CATALOGUE[base].title if base in CATALOGUE else base
    return f"{title}: {which}" if which else title


def say(notice: Notice, settings: Settings) -> Told:
    """A notice of a station in words, by the station's clock and by its own catalogue of alarms."""
    zone = ZoneInfo(settings.timezone)
    item = notice.items[0] if notice.items else None
    if notice.what == "test" or (item is None and notice.what != "summary"):
        title, lines, sort = "test notice", ["Telling works. This is only a test: nothing is to be done."], "info"
    elif notice.what == "alarm" and item is not None:
        title, lines, sort = _alarm(item, settings, zone)
    elif notice.what == "right_again" and item is not None:
        title, sort = f"RIGHT AGAIN: {title_of(item.alarm)}", "success"
        lines = [f"Since {_at(item.last, zone)}. Nobody has acknowledged it yet."]
        if item.last.body["to"] != State.RETURNED:
            lines = [f"Since {_at(item.over or item.last, zone)}."]
    elif notice.what == "came_and_went" and item is not None:
        title, sort = f"CAME AND WENT: {title_of(item.alarm)}", "warning"
        lines = [f"{_course(item, zone)}: {_cause(item)}.", ACT]
    else:
        title, lines, sort = _summary(notice, zone)
    if notice.since_ms is not None:
        lines.insert(0, f"You could not be told since {_time(notice.since_ms, zone)}.")
    if notice.tries > 1:
        lines.append(REPEAT)
    lines.append(
        f"{settings.name}, {_time(notice.now.wall_ms, zone)}"
        + ("" if notice.now.trusted else " (the clock is not trusted)")
    )
    return Told(f"{settings.title}: {title}", "\n".join(lines), sort)


def _alarm(item: Item, settings: Settings, zone: ZoneInfo) -> tuple[str, list[str], str]:
    entry = item.came or item.last
    body, known = cast(AlarmBody, entry.body), base_of(item.alarm) in CATALOGUE
    lines = [f"{_sentence(body['cause'])} Since {_since(entry, zone)}."]
    if known:
        row = row_at(settings, item.alarm)
        within = age_text(row.respond_within_s * 1000)
        lines += [f"What follows: {row.consequence}.", f"What to do, within {within}: {row.response}."]
    if item.times > 1:
        lines.append(f"It came {item.times} times before it could be told.")
    return (
        f"ALARM ({body['priority']}): {title_of(item.alarm)}",
        [*lines, ACT],
        "failure" if body["priority"] == "high" else "warning",
    )


def _summary(notice: Notice, zone: ZoneInfo) -> tuple[str, list[str], str]:
    """What stands now, what is right again, what came and went."""
    stand = [item for item in notice.items if item.over is None]
    again = [item for item in notice.items if item.what == "right_again"]
    went = [item for item in notice.items if item.over is not None and item.what != "right_again"]
    lines = _named(
        "Stands now:",
        [f"{title_of(i.alarm)} ({_standing(i)}), since {_since(i.came or i.last, zone)}: {_cause(i)}" for i in stand],
    )
    lines += _named("You were told before, and it isn't over:", [title_of(alarm) for alarm in notice.still])
    lines = lines or ["Nothing stands now."]
    lines += _named("Right again:", [f"{title_of(i.alarm)}, since {_at(i.over or i.last, zone)}" for i in again])
    lines += _named("Came and went:", [f"{title_of(i.alarm)}, {_course(i, zone)}: {_cause(i)}" for i in went])
    count, over = len(stand) + len(notice.still), len(again) + len(went)
    title = f"SUMMARY: {count} stand, {over} over" if count or over else "SUMMARY: nothing stands"
    urgent = any(i.last.body["priority"] == "high" for i in stand)
    return title, lines, "failure" if urgent else "warning" if count else "info"


def _named(head: str, lines: Sequence[str]) -> list[str]:
    if not lines:
        return []
    more = len(lines) - MOST_NAMED
    return [
        head,
        *(f"- {line}" for line in lines[:MOST_NAMED]),
        *([f"- and {more} more, see the page"] if more > 0 else []),
    ]


def _standing(item: Item) -> str:
    """How it stands, and who did that."""
    body = cast(AlarmBody, item.last.body)
    state = STATE_TITLES[State(body["to"])] if body["to"] in set(State) else body["to"]
    return f"{body['priority']}, {state}" + (f" by {body['by']}" if body.get("by") else "")


def _cause(item: Item) -> str:
    return str((item.came or item.last).body["cause"]).rstrip(".") or "no cause is told"


def _course(item: Item, zone: ZoneInfo) -> str:
    came = item.first or item.came or item.last
    often = f", {item.times} times" if item.times > 1 else ""
    return f"from {_since(came, zone)} to {_at(item.over or item.last, zone)}{often}"


def _sentence(text: str) -> str:
    said = text.rstrip(".")
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def _since(entry: Entry, zone: ZoneInfo) -> str:
    since = entry.body.get("since")
    return _at(entry, zone) if since is None else _time(wall_ms_of(since), zone)


def _at(entry: Entry, zone: ZoneInfo) -> str:
    return _time(entry.wall_ms, zone)


def _time(wall_ms: int, zone: ZoneInfo) -> str:
    """By the clock on the station's wall."""
    return f"{datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(zone):%Y-%m-%d %H:%M}"
