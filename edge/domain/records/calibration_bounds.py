"""How far one comparison may correct a point by itself, and what it takes to go further.

A slip of the keyboard looks like a large correction, and so does a probe that hangs in the wrong liquid. So a correction beyond what the
sensor's class allows waits: it is kept, and comes into force once a second comparison agrees with it (within both uncertainties, JCGM
100:2008, and never by more than the bound itself), or somebody confirms it by name with a reason. What no sensor in order can be off by
never comes into force.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot
from typing import Any, Final, NamedTuple

from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, difference, duration, name, number, say
from edge.domain.records.fact import Fact
from edge.domain.roles import ROLES, Correction
from edge.domain.settings import Point

#: a correction may be so many standard uncertainties, the point's stated one and the reference's together
TIMES: Final = 3.0
#: two comparisons agree within so many of theirs
AGREES: Final = 2.0
#: so long after the first a second one is another comparison, and not the same moment twice
SECOND_AFTER_MS: Final = 300_000
#: a reason that says something
REASON_CHARACTERS: Final = 15
REASON_WORDS: Final = 3


class Verdict(NamedTuple):
    """May a correction come into force? `beyond`: "", "bound" (it waits for a second), or "hard" (never)."""

    beyond: str
    why: Message | None = None
    second: int | None = None  # seq of the comparison that agrees


def bounded(body: Mapping[str, Any], worked: Mapping[str, Any], point: Point, earlier: Iterable[Fact]) -> Verdict:
    """Judge a worked-out comparison. `earlier`: the comparisons of this point, sensor and transducer before it."""
    row = ROLES[point.role].correction
    assert row is not None  # what isn't calibrated has no comparisons
    size = _size(row, point, worked)
    by = max((worked["corrects"], worked["changes"]), key=abs)
    told = {"point": name(point.id), "by": difference(point.kind, by, point.id)}
    if abs(by) > row.hard * size:
        most = difference(point.kind, row.hard * size, point.id)
        return Verdict("hard", say("calibration.beyond_any_sensor", **told, most=most))
    limit = row.most * size
    if point.uncertainty is not None:
        limit = min(limit, TIMES * hypot(point.uncertainty, worked["u"]))
    if abs(by) <= limit:
        return Verdict("")
    if confirmed(body):
        return Verdict("")
    second = next((fact for fact in earlier if agrees(body, worked, fact, limit)), None)
    if second is not None:
        return Verdict("", second=second.seq)
    may = difference(point.kind, limit, point.id)
    again, words = duration(SECOND_AFTER_MS), number(REASON_WORDS)
    return Verdict("bound", say("calibration.beyond_one", **told, may=may, again=again, words=words))


def _size(row: Correction, point: Point, worked: Mapping[str, Any]) -> float:
    if row.of == "span":
        return point.high - point.low
    if row.of == "reading":
        return abs(float(worked["becomes"]))
    return 1.0


def confirmed(body: Mapping[str, Any]) -> bool:
    """A reason that somebody gave for a large correction: who it is says `by`."""
    reason = body.get("confirm")
    if not isinstance(reason, str):
        return False
    words = {word.lower() for word in reason.split() if sum(c.isalpha() for c in word) > 1}
    return len(reason.strip()) >= REASON_CHARACTERS and len(words) >= REASON_WORDS


def agrees(body: Mapping[str, Any], worked: Mapping[str, Any], fact: Fact, limit: float) -> bool:
    """Is an earlier record another comparison that found the same?"""
    other = fact.body
    if not (fact.counts or other.get("beyond") == "bound") or "error" not in other or "told_at" not in other:
        return False
    apart = [abs(wall_ms_of(str(worked[key])) - wall_ms_of(str(other[key]))) for key in ("told_at", "at")]
    if min(apart) < SECOND_AFTER_MS:
        return False
    same_hand = all(body.get(key) == other.get(key) for key in ("by", "instrument"))
    if same_hand and worked["given"] == other.get("given"):
        return False  # the same numbers sent again
    return abs(float(worked["error"]) - float(other["error"])) <= min(AGREES * hypot(worked["u"], other["u"]), limit)
