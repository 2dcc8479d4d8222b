"""What somebody saw with their own eyes, and that no sensor outweighs: water where none should be, an outlet that has tripped.

It stands whatever is fitted and whatever the station file names, until somebody reads the opposite; of an outlet also until it is seen
to protect, and to be live.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from edge.domain.readings import CONTACT_WORDS, Role
from edge.domain.records.fact import Fact
from edge.domain.records.outlets import fitted_outlets, outlet_result, outlets_of
from edge.domain.roles import REST_IS_WELL
from edge.domain.settings import Settings

#: that the contact of an outlet showed that it had tripped, and has been live since: a fact of this time
LIVE: Final = "live"


def word_of(value: object) -> object:
    """A contact's word as it is compared: case, spaces around it and the point of a sentence don't matter. What is no text stays."""
    return value.strip().rstrip(".!").casefold() if isinstance(value, str) else value


def role_of(settings: Settings, body: Mapping[str, Any]) -> Role | None:
    """The alarming role that an entered reading is of; None where it is of none.

    Bad news is of the role that has its word, whatever it names: a point of that name may never have been, or be gone since. What is
    fine is so only for the role, or the point, that it names.
    """
    word = word_of(body.get("value"))
    bad = next((role for role in REST_IS_WELL if word == CONTACT_WORDS[role][1]), None)
    if bad is not None:
        return bad
    named = {str(body.get("role")), *(p.role for p in settings.points if p.id == body.get("point"))}
    return next((role for role in REST_IS_WELL if role in named), None)


def is_alarming(settings: Settings, record: str, body: Mapping[str, Any]) -> bool:
    """Does somebody say by this record that they saw such a thing?"""
    role = role_of(settings, body) if record == "entered_reading" else None
    return role is not None and word_of(body.get("value")) == CONTACT_WORDS[role][1]


def seen(facts: Sequence[Fact], settings: Settings, role: Role, outlet: str | None = None) -> Fact | None:
    """The newest alarming reading by eye of this role that stands; of outlets only what is of this one, or may be.

    It is ended by one of its opposite that comes after it in the journal, and not before it by date: of the same point, or of none. That
    an outlet tripped is ended too by a test of it that passed, and where its own contact shows a trip, and that it is live since.
    """
    found: list[Fact] = []
    for fact in facts:
        if fact.record == "entered_reading" and fact.counts and role_of(settings, fact.body) is role:
            word = word_of(fact.body.get("value"))
            if word == CONTACT_WORDS[role][1]:
                found.append(fact)
            elif not fact.doubt and word == CONTACT_WORDS[role][0]:
                found = [bad for bad in found if not ends_sight(settings, fact.body, fact.at_ms, bad)]
        elif role is Role.OUTLET_PROTECTION and found and not fact.doubt and _shows_live(fact):
            live = [one for one in outlets_of(fact.body) if one in fitted_outlets(settings)]
            found = [bad for bad in found if fact.at_ms < bad.at_ms or not _is_of(settings, bad, live)]
    return next((bad for bad in reversed(found) if outlet is None or outlet in _may_be_of(settings, bad)), None)


def ends_sight(settings: Settings, fine: Mapping[str, Any], at_ms: int, bad: Fact) -> bool:
    """Does a reading that all is well end an alarming one: is it of the same point, of none, or of the only outlet that there is?"""
    point, seen_at = fine.get("point"), bad.body.get("point")
    if at_ms < bad.at_ms:
        return False
    if point is None or point == seen_at:
        return True
    return any(p == point and _is_of(settings, bad, [outlet]) for outlet, p in _outlets(settings))


def _shows_live(fact: Fact) -> bool:
    """Does it show that an outlet protects, and is live: a test that passed, or its contact that showed a trip and its end?"""
    return fact.record == LIVE or (fact.record == "outlet_test" and fact.counts and outlet_result(fact.body)[0])


def _may_be_of(settings: Settings, bad: Fact) -> list[str]:
    """The outlets that somebody may have seen: that of the point that was named; all where none was that is there."""
    named = [outlet for outlet, point in _outlets(settings) if point == bad.body.get("point")]
    return named or fitted_outlets(settings)


def _is_of(settings: Settings, bad: Fact, outlets: Sequence[str]) -> bool:
    """Was it surely of one of these outlets?"""
    may_be, point = _may_be_of(settings, bad), bad.body.get("point")
    is_only = Role.OUTLET_PROTECTION not in settings.not_fitted
    return set(may_be) <= set(outlets) and (is_only or point in [p for _, p in _outlets(settings)])


def _outlets(settings: Settings) -> list[tuple[str, str]]:
    return [(p.of or p.id, p.id) for p in settings.points if p.role is Role.OUTLET_PROTECTION]
