"""What a picture says where the station can't be asked, or where what it says can't be kept: never fine."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from edge.domain.entries import Now, rfc3339
from edge.domain.errors import StoreFault
from edge.domain.messages import Message, Value, as_told, duration, message_body, number, of_json, part, say, text
from edge.domain.settings import Settings
from edge.domain.words.saying import Words
from edge.snapshot import BasinVerdict, ConditionPicture, VerdictPicture

#: a journal that has refused for so long, or a commit that has hung for so long (real seconds), makes the verdict unknown
REFUSES_S: Final = 10.0
HANGS_S: Final = 30.0
#: a commit under way for so long (real seconds) is said beside the verdict
SAID_AFTER_S: Final = 1.0
#: the condition that stands for the store, shown only while it can't be relied on
STORE: Final = "store"
SEE_TO_IT: Final = say("store.see_to_it")


_WORDS: Final = Words()


def unknown_verdict(now: Now, why: Message, settings: Settings) -> VerdictPicture:
    """The verdict where the station, which is as `settings` say, can't be asked."""
    told: VerdictPicture = {
        "at": rfc3339(now.wall_ms),
        "trusted": now.trusted,
        "site": settings.site,
        "station": settings.id,
        "verdict": "unknown",
        "display": "cant_tell",
        "phase": "idle",
        "expected_at": None,
        "earliest": None,
        "latest": None,
        "waits_for": [],
        "conditions": [_unknown("sensors", why)],
        "note": _WORDS.text(why),
        "waits_for_msgs": [],
        "note_msg": message_body(why),
    }
    if settings.judged_basins:
        told["verdicts"] = [_unknown_basin(basin) for basin in settings.judged_basins]
    return told


def _unknown_basin(basin: str) -> BasinVerdict:
    return {
        "basin": basin, "verdict": "unknown", "display": "cant_tell", "expected_at": None, "earliest": None, "latest": None,
        "waits_for": [], "waits_for_msgs": [], "conditions": ["sensors"],
    }  # fmt: skip


class Unsaved(NamedTuple):
    """What is not on disk: how many entries, for how long (real seconds) a commit has been under way, and how long it refuses.

    `away`: why what is written would not be found again (the journal's file is gone, or was changed from outside); None while it would.
    """

    entries: int
    writing_s: float
    fault: StoreFault | None
    refusing_s: float
    away: str | None = None


def with_what_is_not_kept(verdict: VerdictPicture, unsaved: Unsaved, remarks: Iterable[str] = ()) -> VerdictPicture:
    """The verdict, and what people have to know beside it: nothing looks kept that isn't."""
    told: VerdictPicture = {**verdict}
    for remark in remarks:
        told = _with_note(as_told(remark), told)
    if unsaved.entries:
        told["unsaved"] = unsaved.entries
    fault = unsaved.fault
    if fault is not None:
        why = say("store.refuses", why=text(fault.what), waiting=_waiting(unsaved.entries))
        if unsaved.refusing_s >= REFUSES_S or unsaved.away:
            return with_store(told, why, as_told(fault.do))
        return _with_note(why, told)
    if unsaved.away:
        return with_store(told, say("store.away", why=text(unsaved.away)), SEE_TO_IT)
    lasts = duration(unsaved.writing_s * 1000.0)
    if unsaved.writing_s >= HANGS_S:
        return with_store(told, say("store.hangs", lasts=lasts, waiting=_waiting(unsaved.entries)), SEE_TO_IT)
    if unsaved.entries and unsaved.writing_s > SAID_AFTER_S:
        return _with_note(say("store.is_slow", lasts=lasts, waiting=_waiting(unsaved.entries)), told)
    return told


def _waiting(entries: int) -> Value:
    return part(say("store.one_waits") if entries == 1 else say("store.some_wait", entries=number(entries)))


def with_store(verdict: VerdictPicture, why: Message, do: Message) -> VerdictPicture:
    """A verdict beside a store that can't be relied on: ready can't be told, as no hold or failed test could be recorded.

    What is unmet stays unmet.
    """
    told: VerdictPicture = {
        **verdict,
        "conditions": [*verdict.get("conditions", ()), _unknown(STORE, why)],
    }
    told = _with_note(why, told)
    _can_not_start(told, do)
    if "verdicts" in verdict:
        basins: list[BasinVerdict] = [{**one, "conditions": [*one["conditions"], STORE]} for one in verdict["verdicts"]]
        for one in basins:
            _can_not_start(one, do)
        told["verdicts"] = basins
    return told


def _can_not_start(told: VerdictPicture | BasinVerdict, do: Message) -> None:
    told["waits_for"] = [*told.get("waits_for", ()), _WORDS.text(do)]
    told["waits_for_msgs"] = [*told.get("waits_for_msgs", ()), message_body(do)]
    told["expected_at"] = told["earliest"] = told["latest"] = None
    if told["verdict"] == "ready":
        told["verdict"] = "unknown"
    # a person has to do something about the store, also outside hours
    told["display"] = "cant_tell" if told["verdict"] == "unknown" else "not_ready"


def _with_note(said: Message, verdict: VerdictPicture) -> VerdictPicture:
    """A verdict with one more thing said beside it, before the others."""
    whole = say("note", said=part(said), then=part(of_json(verdict["note_msg"])))
    return {**verdict, "note": _WORDS.text(whole), "note_msg": message_body(whole)}


def _unknown(condition: str, why: Message) -> ConditionPicture:
    return {
        "id": condition, "state": "unknown", "text": _WORDS.text(why), "since": None, "expected_at": None, "evidence": None,
        "msg": message_body(why), "value": None, "limit": None, "unit": None, "probability": None,
    }  # fmt: skip
