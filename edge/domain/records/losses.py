"""Entries that the journal lost: what they said is not known, so the station isn't ready until a person has looked.

A hold, a failed test, a filter change may be among them. Whoever knows the station says that nothing of the kind stands by a
`release` that names no hold; what does stand is recorded again. What draws showed nobody can record: the last one may be among what was
lost, so water is drawn anew; and a reservoir's probe may have been known to be frozen, so it has to move first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from edge.domain.entries import Entry
from edge.domain.messages import Message, number, part, say
from edge.domain.records.fact import Fact
from edge.domain.records.holding import holding

#: the word under which a loss stands among the facts; no record has it
LOST: Final = "(lost)"
#: and that under which stands what a change of the station file dropped (dropped.py)
DROPPED: Final = "(dropped)"


def tells_of_loss(kind: str, body: Mapping[str, Any]) -> bool:
    """Whether an entry says that entries were lost, that another journal was put in this one's place, or that neither can be told."""
    return kind == "repair" and body.get("what") in ("lost", "exchanged", "unproved")


def first_lost(entry: Entry) -> int | None:
    """The first of the seqs right before an entry that the journal lost, as the entry says; None where it says of none.

    Whoever reads a journal backwards goes on below it: where a backup was restored, there are millions.
    """
    body = entry.body
    if entry.kind == "repair" and body.get("what") == "lost" and body.get("to") == entry.seq - 1:
        return int(body["from"])
    return None


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


def meaning(loss: Fact) -> Message:
    """What a loss means."""
    first, last = loss.body.get("from"), loss.body.get("to")
    if first is not None and loss.body.get("backup") is not None:
        what = say("loss.restored", last=number(first - 1))
    elif first is not None and last is not None:
        what = say("loss.entries", first=number(first), last=number(last))
    else:
        what = say("loss.unproved" if loss.body.get("what") == "unproved" else "loss.exchanged")
    return say("loss.may_be_among_them", what=part(what))
