"""What somebody saw with their own eyes, and that no sensor outweighs: water where none should be, an outlet that has tripped.

It stands whatever is fitted and whatever the station file names, until somebody reads the opposite.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from edge.domain.readings import CONTACT_WORDS, Role
from edge.domain.records.fact import Fact
from edge.domain.roles import REST_IS_WELL
from edge.domain.settings import Settings


def word_of(value: object) -> object:
    """A contact's word as it is compared: case, spaces around it and the point of a sentence don't matter. What is no text stays."""
    return value.strip().rstrip(".!").casefold() if isinstance(value, str) else value


def role_of(settings: Settings, body: Mapping[str, Any]) -> Role | None:
    """The alarming role that an entered reading is of; None where it is of none.

    Bad news is of the role that has its word, whatever it names: a point of that name may never have been, or be gone since. What is
    fine is so only for the role, or the point, that it names.
    """
    bad = next((role for role in REST_IS_WELL if word_of(body.get("value")) == CONTACT_WORDS[role][1]), None)
    if bad is not None:
        return bad
    named = {str(body.get("role")), *(p.role for p in settings.points if p.id == body.get("point"))}
    return next((role for role in REST_IS_WELL if role in named), None)


def is_alarming(settings: Settings, record: str, body: Mapping[str, Any]) -> bool:
    """Does somebody say by this record that they saw such a thing?"""
    role = role_of(settings, body) if record == "entered_reading" else None
    return role is not None and word_of(body.get("value")) == CONTACT_WORDS[role][1]


def seen(facts: Sequence[Fact], settings: Settings, role: Role) -> Fact | None:
    """The newest alarming reading by eye of this role that stands.

    It is ended by one of its opposite that comes after it in the journal, and not before it by date: of the same point, or of none.
    """
    found: list[Fact] = []
    for fact in facts:
        if fact.record != "entered_reading" or not fact.counts or role_of(settings, fact.body) is not role:
            continue
        if is_alarming(settings, fact.record, fact.body):
            found.append(fact)
        elif not fact.doubt and word_of(fact.body.get("value")) == CONTACT_WORDS[role][0]:
            point = fact.body.get("point")
            found = [f for f in found if not _ends(fact, f, point)]
    return next(reversed(found), None)


def _ends(fine: Fact, bad: Fact, point: object) -> bool:
    return point in (None, bad.body.get("point")) and fine.at_ms >= bad.at_ms
