"""What a picture says where the station can't be asked, or where what it says can't be kept: never fine."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from edge.domain.entries import Now, rfc3339
from edge.domain.errors import StoreFault
from edge.snapshot import ConditionPicture, VerdictPicture

#: a journal that has refused for so long, or a commit that has hung for so long (real seconds), makes the verdict unknown
REFUSES_S: Final = 10.0
HANGS_S: Final = 30.0
#: a commit under way for so long (real seconds) is said beside the verdict
SAID_AFTER_S: Final = 1.0
#: the condition that stands for the store, shown only while it can't be relied on
STORE: Final = "store"


def unknown_verdict(now: Now, text: str, names: tuple[str, str]) -> VerdictPicture:
    """The verdict where the station can't be asked. `names`: site and station."""
    return {
        "at": rfc3339(now.wall_ms),
        "trusted": now.trusted,
        "site": names[0],
        "station": names[1],
        "verdict": "unknown",
        "phase": "idle",
        "expected_at": None,
        "earliest": None,
        "latest": None,
        "waits_for": [],
        "conditions": [_unknown("sensors", text)],
        "note": text,
    }


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
    for text in remarks:
        told["note"] = _note(text, told)
    if unsaved.entries:
        told["unsaved"] = unsaved.entries
    fault = unsaved.fault
    if fault is not None:
        why = f"The journal can't be written ({fault.what}): {_waiting(unsaved.entries)}, records are refused."
        if unsaved.refusing_s >= REFUSES_S or unsaved.away:
            return with_store(told, why, fault.do)
        return {**told, "note": _note(why, told)}
    if unsaved.away:
        return with_store(told, f"Nothing can be kept: {unsaved.away}", "See to the disk of the journal")
    if unsaved.writing_s >= HANGS_S:
        hangs = f"The disk has not answered for {unsaved.writing_s:.0f} s: {_waiting(unsaved.entries)}, records too."
        return with_store(told, hangs, "See to the disk of the journal")
    if unsaved.entries and unsaved.writing_s > SAID_AFTER_S:
        told["note"] = _note(f"{_waiting(unsaved.entries)} for the disk since {unsaved.writing_s:.0f} s.", told)
    return told


def _waiting(entries: int) -> str:
    return "1 entry waits" if entries == 1 else f"{entries} entries wait"


def with_store(verdict: VerdictPicture, why: str, do: str) -> VerdictPicture:
    """A verdict beside a store that can't be relied on: ready can't be told, as no hold or failed test could be recorded.

    What is unmet stays unmet.
    """
    told: VerdictPicture = {
        **verdict,
        "conditions": [*verdict.get("conditions", ()), _unknown(STORE, why)],
        "note": _note(why, verdict),
    }
    told["waits_for"] = [*verdict.get("waits_for", ()), do]
    told |= {"expected_at": None, "earliest": None, "latest": None}
    if verdict.get("verdict") == "ready":
        told["verdict"] = "unknown"
    if "display" in verdict and told["verdict"] == "unknown":
        told["display"] = "cant_tell"
    elif "display" in verdict and verdict["display"] in ("ready", "in_use", "reheating"):
        told["display"] = "not_ready"  # a person has to do something about the store
    return told


def _note(said: str, verdict: VerdictPicture) -> str:
    return f"{said} {verdict.get('note') or ''}".strip()


def _unknown(condition: str, text: str) -> ConditionPicture:
    return {"id": condition, "state": "unknown", "text": text, "since": None, "expected_at": None, "evidence": None}
