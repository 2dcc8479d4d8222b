"""Entries that the journal lost: what they said is not known, so the station isn't ready until a person has looked.

A hold, a failed test, a filter change may be among them. Whoever knows the station says that nothing of the kind stands by a
`release` that names no hold; what does stand is recorded again. What draws showed nobody can record: the last one may be among what was
lost, so water is drawn anew; and a reservoir's probe may have been known to be frozen, so it has to move first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from edge.domain.records.fact import Fact
from edge.domain.records.holding import holding

#: the word under which a loss stands among the facts; no record has it
LOST: Final = "(lost)"
#: and that under which stands what a change of the station file dropped (dropped.py)
DROPPED: Final = "(dropped)"
ASK: Final = (
    "Ask who worked here, look at the archive or the paper log, record again what is missing (holds, tests, filter "
    "changes); then record a release that names no hold"
)


def tells_of_loss(kind: str, body: Mapping[str, Any]) -> bool:
    """Whether an entry says that entries were lost, that another journal was put in this one's place, or that neither can be told."""
    return kind == "repair" and body.get("what") in ("lost", "exchanged", "unproved")


def unanswered(facts: Sequence[Fact], what: str) -> list[Fact]:
    """The facts of a kind that only a release answers that names no hold and finds none: who releases a hold may not know of them."""
    found: list[Fact] = []
    if any(fact.record == what for fact in facts):
        answers = holding(facts).answers
        for fact in facts:
            if fact.record == what:
                found.append(fact)
            elif id(fact) in answers:
                found = []
    return found


def text(loss: Fact) -> str:
    """What a loss means, for people."""
    first, last = loss.body.get("from"), loss.body.get("to")
    if first is not None:
        what = f"entries {first} to {last} of the journal were lost"
    elif loss.body.get("what") == "unproved":
        what = "whether entries were lost can't be told, as the notes of where the journal ended are gone"
    else:
        what = "another journal was put here"
    return f"{what}: a hold, a failed test or a filter change may be among them"
