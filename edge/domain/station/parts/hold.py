"""Holds, and what stands until a person has answered for it: failures that no condition looks at, lost entries, dropped duties."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from edge.domain.entries import Now
from edge.domain.records import losses
from edge.domain.records.counting import outlets_of, overlooked
from edge.domain.records.fact import Fact
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import Judge, Part
from edge.domain.station.view import View

OVERLOOKED_ASK: Final = (
    "See that what failed was put right, and that the station file names all that is there; whoever recorded it in error corrects it; "
    "else record a release that names no hold"
)
ASK: Final = "See that what was owed is done or isn't needed, and that the station file is right; then record a release that names no hold"


class Hold(Part):
    """Its alarm is set with those of the duties (duties.py)."""

    def __init__(self, view: View) -> None:
        self._view = view

    def alarm_ids(self) -> Iterable[str]:
        return ("hold",)

    def conditions(self) -> Mapping[str, Judge]:
        return {"no_hold": self.no_hold}

    def no_hold(self, now: Now) -> Judged:
        """Nobody holds the station, and nothing stands that only a person can answer for."""
        book = self._view.book
        hold = book.hold
        if hold is not None:
            why = hold.body.get("why") or hold.body.get("name") or "no reason given"
            return by_fact(UNMET, f"held by {hold.body.get('by', 'somebody')}: {why}", hold, "Have the hold released")
        failed, loss, gone = overlooked(book), book.loss, book.dropped
        found: list[Judged] = []
        if failed is not None:
            found.append(by_fact(UNMET, _overlooked_text(failed), failed, OVERLOOKED_ASK))
        if loss is not None:
            found.append(by_fact(UNKNOWN, losses.text(loss), loss, losses.ASK))
        found += [by_fact(UNKNOWN, _text(fact.body), fact, ASK) for fact in gone]
        if not found:
            return Judged(MET, "no hold")
        return found[0]._replace(text="; ".join(dict.fromkeys(one.text for one in found)))


def _overlooked_text(failed: Fact) -> str:
    """What a failure means that no condition looks at."""
    if failed.record == "entered_reading":
        by, value = failed.body.get("by", "somebody"), failed.body.get("value")
        return f"{by} saw it {value} ({failed.body.get('role') or failed.body.get('point')}), and nothing in the station file looks at it"
    about = outlets_of(failed.body) if failed.record == "outlet_test" else [failed.body.get("filter")]
    what = f"{failed.record.replace('_', ' ')} {' and '.join(str(a) for a in about if a is not None)}".strip()
    return f"{failed.body.get('by', 'somebody')} recorded that it failed ({what}), and nothing in the station file looks at it"


def _text(body: Mapping[str, Any]) -> str:
    what = ", ".join(f"{ident.replace('_', ' ')} ({text})" for ident, text in body.get("owed", {}).items())
    return f"the station file was changed while this was not met, and then no longer asked for it: {what}"
