"""What was owed when the station file was changed, and that the new one no longer asks for.

A section that is taken out, a word that is, or a limit that is moved doesn't do a duty. So what wasn't met by the old file, and
would be met or not be looked at by the new one, keeps the station from READY until somebody answers for it: by a `release` that names
no hold, as after a loss of entries.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from edge.domain.messages import Message, say
from edge.domain.station.judged import BY_EYE, MET, UNKNOWN, UNMET, Judged

#: the kind of the entry that tells of it: {"owed": {condition: why it wasn't met}}
KIND: Final = "duty_dropped"
#: conditions that rest on what people do; each has the name of its section of the station file
BY_PEOPLE: Final = ("daily_test", "water_path_treatment", "disinfectant")


def is_by_people(ident: str) -> bool:
    """Does a condition rest on what people do?"""
    return ident.partition(":")[0] in (*BY_PEOPLE, "duty")


def owed(judged: Mapping[str, Judged]) -> dict[str, Message]:
    """The duties that are not met, and why: what people owe, and filters that are due."""
    return {
        ident: one.text
        for ident, one in judged.items()
        if (is_by_people(ident) and one.state in (UNMET, UNKNOWN))
        or (ident.startswith("filter:") and one.state == UNMET)
    }


def asked_before(document: Mapping[str, Any], judges: Sequence[str]) -> dict[str, Message]:
    """What a station file of before asked for and the present one doesn't, where what it owed can't be worked out any more."""
    why = say("dropped.cant_be_told")
    asked = [ident for ident in BY_PEOPLE if ident in document and not any(_is_heir(one, ident) for one in judges)]
    own = document.get("duty")
    for ident, table in own.items() if isinstance(own, Mapping) else ():
        if isinstance(table, Mapping) and (table.get("keeps_from_ready") is True or "action_level" in table):
            asked.append(f"duty:{ident}")
    return {ident: why for ident in asked if ident not in judges}


def dropped(before: Mapping[str, Message], judged: Mapping[str, Judged]) -> dict[str, Message]:
    """Of what was owed before the change, what now seems to be owed no more. A filter that is still there is judged anew.

    Where basins came or went, daily tests are asked for by other conditions than before: one that was owed is, as long as all of these are.
    """
    found: dict[str, Message] = {}
    for ident, why in before.items():
        heirs = [judged[ident]] if ident in judged else [one for now, one in judged.items() if _is_heir(now, ident)]
        if not heirs or (is_by_people(ident) and any(one.state in (MET, BY_EYE) for one in heirs)):
            found[ident] = why
    return found


def _is_heir(ident: str, before: str) -> bool:
    """Does a condition ask for what one of before did: of a basin, or of the station as a whole?"""
    return ident == before or (ident.partition(":")[0] == before.partition(":")[0] == "daily_test")
