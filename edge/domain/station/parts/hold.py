"""Holds, and what stands until a person has answered for it: failures that no condition looks at, lost entries, dropped duties."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial, reduce
from typing import Any, Final

from edge.domain.alarms.states import Event
from edge.domain.entries import Now
from edge.domain.messages import Message, Value, both, name, names, of_kept, part, parts, say, text
from edge.domain.records import losses
from edge.domain.records.counting import overlooked
from edge.domain.records.fact import Fact
from edge.domain.records.outlets import outlets_of
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import Happening, Judge, Part, RecordKept
from edge.domain.station.view import View

#: records that end a hold
_ENDS: Final = ("release", "correction")


class Hold(Part):
    """Its alarm is set with those of the duties (duties.py)."""

    def __init__(self, view: View) -> None:
        self._view = view

    def alarm_ids(self) -> Iterable[str]:
        return ("hold",)

    def happened(self, event: Happening, now: Now) -> None:
        """Whoever ends what holds the station has seen its alarm: that is an answer to it, so it isn't over unacknowledged."""
        if not isinstance(event, RecordKept) or event.record not in _ENDS or not event.body["counts"]:
            return
        alarms = self._view.alarms
        is_over = all(judge(now).state == MET for judge in self.conditions().values())
        if is_over and alarms.alarms["hold"].present and alarms.alarms["hold"].waits:
            alarms.step("hold", Event.ACKNOWLEDGE, now, by=str(event.body["by"]))

    def consequences(self, now: Now) -> Mapping[str, Message]:
        """Where basins alone are held, the others may start."""
        tuned = self._view.settings.tuning.get("hold")
        if tuned is not None and tuned.consequence is not None:
            return {}
        held = [one for one in self._view.settings.judged_basins if self._view.book.hold_of(one) is not None]
        if not held or self.no_hold(now).state != MET:
            return {}
        return {"hold": say("hold.basins_held", basins=names(held))}

    def conditions(self) -> Mapping[str, Judge]:
        basins = self._view.settings.judged_basins
        return {"no_hold": self.no_hold, **{f"no_hold:{basin}": partial(self.no_hold_in, basin) for basin in basins}}

    def no_hold(self, now: Now) -> Judged:
        """Nobody holds the station, and nothing stands that only a person can answer for."""
        book = self._view.book
        hold = book.hold_of()
        if hold is not None:
            return by_fact(UNMET, say("hold.held", by=hold.by, why=_reason(hold)), hold, say("hold.held.ask"))
        failed, loss, gone = overlooked(book), book.loss, book.dropped
        found: list[Judged] = []
        if failed is not None:
            found.append(by_fact(UNMET, _overlooked(failed), failed, say("hold.overlooked.ask")))
        if loss is not None:
            found.append(by_fact(UNKNOWN, losses.meaning(loss), loss, say("loss.ask")))
        found += [by_fact(UNKNOWN, _dropped(fact.body), fact, say("dropped.ask")) for fact in gone]
        if not found:
            return Judged(MET, say("hold.none"))
        said = [one.text for one in found]
        return found[0]._replace(text=reduce(both, [one for i, one in enumerate(said) if one not in said[:i]]))

    def no_hold_in(self, basin: str, now: Now) -> Judged:
        """Nobody holds this basin alone."""
        hold = self._view.book.hold_of(basin)
        if hold is None:
            return Judged(MET, say("hold.none"))
        held = say("hold.held_in", basin=name(basin), by=hold.by, why=_reason(hold))
        return by_fact(UNMET, held, hold, say("hold.held_in.ask", basin=name(basin)))


def _reason(hold: Fact) -> Value:
    why = hold.body.get("why") or hold.body.get("name")
    return text(str(why)) if why else part(say("hold.no_reason"))


def _overlooked(failed: Fact) -> Message:
    """What a failure means that no condition looks at."""
    if failed.record == "entered_reading":
        value, where = failed.body.get("value"), failed.body.get("role") or failed.body.get("point")
        return say("hold.overlooked_sight", by=failed.by, value=text(str(value)), where=name(str(where)))
    named = (
        outlets_of(failed.body)
        if failed.record == "outlet_test"
        else [failed.body.get("filter"), failed.body.get("basin")]
    )
    about = [str(one) for one in named if one is not None]
    told = say("hold.overlooked_about", about=names(about)) if about else None
    return say("hold.overlooked", by=failed.by, record=name(failed.record), about=part(told))


def _dropped(body: Mapping[str, Any]) -> Message:
    """What was owed when the station file stopped asking for it. Entries that are older than messages have only texts."""
    kept = body.get("msgs")
    owed = {
        ident: of_kept(kept.get(ident) if isinstance(kept, Mapping) else None, words)
        for ident, words in body.get("owed", {}).items()
    }
    each = [say("dropped.owed", condition=name(ident), why=part(why)) for ident, why in owed.items()]
    return say("dropped.since_changed", owed=parts(each))
