"""What the demo shows on a terminal, as rows that fit it: word, when, what to do first; alarms, what READY lacks, points, journal.

Pure: a picture and a size go in, rows come out, never more of them and never wider than asked for. Where the terminal is low, the journal
gives way first, then the points.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.alarms.catalogue import rank_of
from edge.snapshot import Snapshot
from edge.terminal import basin_words, display_word, value_words

#: a point's cell is at least so wide
_CELL: Final = 26
_MOST_ALARMS: Final = 4
_MOST_LACKING: Final = 4
_ASIDE: Final = frozenset({"normal", "shelved", "out_of_service"})
LOUD: Final = "bold reverse"
BOLD: Final = "bold"
DIM: Final = "dim"


class Row(NamedTuple):
    """A line, and how it looks: "", LOUD, BOLD or DIM."""

    text: str
    look: str = ""


def rows(
    picture: Snapshot, zone: ZoneInfo, newest: Sequence[str], foot: Sequence[str], width: int, height: int
) -> list[Row]:
    """The whole screen.

    Args:
        newest: lines of the journal, the newest last.
        foot: what stands at the bottom: how to look further.
    """
    top = [*_head(picture, zone), *_alarms(picture.alarms), *_lacking(picture)]
    bottom = [Row(text, DIM) for text in foot]
    points = list(_points(picture, width))
    room = height - len(top) - len(bottom)
    points = points[: max(0, room - 2)]  # a heading and the newest entry have to fit below
    left = max(0, room - len(points) - 1)
    journal = [Row("Journal", DIM), *(Row(text) for text in newest[-left:])] if left else []
    empty = [Row("")] * max(0, room - len(points) - len(journal))
    made = [*top, *points, *journal, *empty, *bottom]
    return [Row(_cut(row.text, width), row.look) for row in made[:height]]


def clock_text(at: str, zone: ZoneInfo) -> str:
    """Date and time on the station's wall."""
    return f"{datetime.fromisoformat(at).astimezone(zone):%Y-%m-%d %H:%M:%S}"


def when_text(verdict: Mapping[str, Any], zone: ZoneInfo) -> str:
    """When READY is expected, with its interval; "" where that isn't known."""
    if not verdict.get("expected_at"):
        return ""
    at, low, high = (
        verdict.get(key) and clock_text(str(verdict[key]), zone)[11:16] for key in ("expected_at", "earliest", "latest")
    )
    return f"expected {at}" + (f", between {low} and {high}" if low and high else "")


def _cut(text: str, width: int) -> str:
    """On one line: what is too long ends in a sign that it goes on."""
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return plain if len(plain) <= width else f"{plain[: max(0, width - 1)]}…"


def _head(picture: Snapshot, zone: ZoneInfo) -> Iterator[Row]:
    verdict = picture.verdict
    when = when_text(verdict, zone)
    is_calm = verdict["verdict"] == "ready"
    said = "  ".join(part for part in (display_word(verdict), when) if part)
    yield Row(f" {said} ", BOLD if is_calm else LOUD)
    place = f"{verdict['site']}/{verdict['station']}"
    yield Row("  ".join([clock_text(verdict["at"], zone), place, verdict["phase"]]), DIM)
    yield from _warm_until(picture, zone)
    todo = verdict["waits_for"]
    for n, what in enumerate(todo[:2]):
        more = f" (and {len(todo) - 2} more)" if n == 1 and len(todo) > 2 else ""
        yield Row(f"{'Do first' if n == 0 else 'then    '}  {what}{more}", BOLD if n == 0 else "")
    for basin in verdict.get("verdicts", []):
        yield Row(basin_words(basin))
    yield Row(str(verdict.get("note") or ""), DIM)


def _warm_until(picture: Snapshot, zone: ZoneInfo) -> Iterator[Row]:
    """For how long the liquid stays warm enough, while it is and loses warmth."""
    found = picture.estimates.get("reservoir_below_needed")
    is_warm = any(one["id"] == "reservoir" and one["state"] == "met" for one in picture.verdict["conditions"])
    if is_warm and found is not None and found["value"] is not None:
        yield Row(f"The liquid stays warm enough until about {clock_text(str(found['value']), zone)[11:16]}", BOLD)


def _alarms(alarms: Mapping[str, Mapping[str, Any]]) -> Iterator[Row]:
    standing = [alarm for alarm in alarms.values() if alarm["state"] not in _ASIDE]
    standing.sort(key=lambda alarm: (not alarm["active"], bool(alarm["consequence_of"]), -rank_of(alarm["priority"])))
    if not standing:
        yield Row("Alarms   none", DIM)
        return
    yield Row(f"Alarms   {len(standing)}", DIM)
    shown = standing if len(standing) <= _MOST_ALARMS else standing[: _MOST_ALARMS - 1]
    for alarm in shown:
        said = "right again" if not alarm["active"] else str(alarm["cause"])
        if alarm["consequence_of"]:
            said = f"follows from {alarm['consequence_of']}"
        unanswered = str(alarm["state"]).endswith("unacknowledged")
        answer = ", not acknowledged" if unanswered else ""
        look = BOLD if unanswered and alarm["active"] else ""
        yield Row(f"  {alarm['priority']:<7}{alarm['id']}{answer}: {said}", look)
    if len(shown) < len(standing):
        yield Row(f"  and {len(standing) - len(shown)} more")


def _lacking(picture: Snapshot) -> Iterator[Row]:
    conditions = picture.verdict["conditions"]
    lacking = [one for one in conditions if one["state"] in ("unmet", "unknown")]
    yield Row(f"READY    {len(conditions) - len(lacking)} of {len(conditions)} conditions are met", DIM)
    shown = lacking if len(lacking) <= _MOST_LACKING else lacking[: _MOST_LACKING - 1]
    for one in shown:
        yield Row(f"  {'NOT' if one['state'] == 'unmet' else '?':<7}{one['id']}: {one['text']}")
    if len(shown) < len(lacking):
        yield Row(f"  and {len(lacking) - len(shown)} more")


def _points(picture: Snapshot, width: int) -> Iterator[Row]:
    """As many beside each other as there is room for."""
    beside = max(1, width // _CELL)
    cell = width // beside
    cells = [_cut(_point(point), cell - 2).ljust(cell) for point in picture.points.values()]
    for n in range(0, len(cells), beside):
        yield Row("".join(cells[n : n + beside]).rstrip())


def _point(point: Mapping[str, Any]) -> str:
    shown = point.get("shown")
    if shown is None:
        return f"? {point['id']} {point.get('reason') or 'no reading'}"
    mark = "" if point["quality"] == "good" else "? "
    return f"{mark}{point['id']} {value_words(shown['value'], str(shown['unit']))}"
