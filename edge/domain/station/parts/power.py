"""Power that goes and comes back: ground-fault outlets that trip, and a machine of which it isn't known whether it kept its power.

What an outlet that trips cuts off is powered up when it is live again. That is no reading, so it is an entry: a restart in between
knows of it. A machine whose power contact is silent for so long that it can have been off meanwhile may have been powered up: no
first reading afterwards can tell, as "on" is what both look like.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any, Final, Literal

from edge.domain.entries import Entry, Now, Stamp
from edge.domain.entry_bodies import OutletPowerBody, PowerUnsureBody
from edge.domain.heat.balance import Forecast
from edge.domain.messages import ago, name, part, say
from edge.domain.readings import Role
from edge.domain.records.book import HEAT_OFF, POWER_UNSURE, POWER_UP, TRIPPED
from edge.domain.records.counting import failed_outlet_test, failure
from edge.domain.records.fact import Fact
from edge.domain.records.seen import LIVE
from edge.domain.settings import Point, feeds_machine
from edge.domain.station import by_eye
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import Happening, Judge, Part, PowerChanged, RecordKept
from edge.domain.station.view import View

#: an outlet that has tripped counts as live once it has been so for this long: one whose contact chatters would have tripped again
STEADY_MS: Final = 20_000
#: a machine that is switched off, on and comes up again takes at least this long (our own number, no published source)
SHORTEST_POWER_UP_MS: Final = 30_000
#: records by which what somebody saw of an outlet begins or ends
_OF_OUTLETS: Final = frozenset({"entered_reading", "outlet_test", "correction"})


class Power(Part):
    """What a station's outlets and its machine's power contact were read as."""

    roles = frozenset({Role.OUTLET_PROTECTION, Role.MACHINE_POWER})
    folds = frozenset({"power"})

    def __init__(self, view: View) -> None:
        self._view = view
        self._outlets = view.points.outlets
        self._outlet_of = {point: outlet for outlet, point in view.points.outlets}
        self._power_point = view.points.first(Role.MACHINE_POWER)
        named = [point for outlet, point in self._outlets if not feeds_machine(outlet)]
        self._of_heater = named or [point for _, point in self._outlets]
        self._tripped_ms: dict[str, int] = {}  # outlet -> when it was last read as tripped
        self._lost: set[str] = set()  # outlets that tripped and aren't surely live again, as the journal says
        self._power_ms: int | None = None  # when the machine's power was last heard
        self._was_silent = False  # its contact was silent when this run began
        self._silent_ms = 0  # its longest silence that isn't told yet

    def alarm_ids(self) -> Iterable[str]:
        return [f"{what}:{outlet}" for outlet, _ in self._outlets for what in ("outlet_tripped", "outlet_test_failed")]

    def begin(self, now: Now) -> None:
        """When a trip that stood before this run ended isn't known. Nor does a restart end a silence."""
        silent = self._view.alarms.alarms.get(f"silent:{self._power_point}")
        self._was_silent = silent is not None and silent.present
        self._tripped_ms |= dict.fromkeys(self._lost, now.mono_ms)

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if point.role is Role.OUTLET_PROTECTION:
            if self._hear_outlet(self._outlet_of[point.id], point.id, value, mono_ms, now):
                self._view.changed()
                self._view.happen(PowerChanged(), now)
        elif point.id == self._power_point:
            self._hear_power(value, mono_ms)

    def _hear_outlet(self, outlet: str, point: str, value: float, mono_ms: int, now: Now) -> bool:
        """A reading of an outlet. True where that is news."""
        if value == 1.0:
            self._tripped_ms[outlet] = mono_ms
            if outlet not in self._lost:
                self._note("lost", outlet, now)
        return self._ring(outlet, point, value, now)

    def _ring(self, outlet: str, point: str, value: float | None, now: Now) -> bool:
        """Set an outlet's alarm by its contact, and by what somebody saw of it. True where its condition is another than before."""
        alarm = f"outlet_tripped:{outlet}"
        seen = None if value == 1.0 else self._view.book.seen(Role.OUTLET_PROTECTION, outlet)
        if seen is not None:
            cause = say("outlet.seen_tripped", outlet=name(outlet), by=seen.by)
            return self._view.alarms.set_condition(alarm, True, now, value=1.0, cause=cause)
        if value is None and self._view.alarms.alarms[alarm].point is not None:
            return False  # its contact said so, and isn't heard any more
        cause = say("outlet.has_tripped", outlet=name(outlet))
        return self._view.alarms.set_condition(alarm, value == 1.0, now, value=value, point=point, cause=cause)

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, RecordKept) and event.record in _OF_OUTLETS:
            for outlet, point in self._outlets:
                self._view.changed(self._ring(outlet, point, self._view.watches[point].value(now.mono_ms), now))

    def advance(self, now: Now) -> None:
        """An outlet that has been live again for long enough has its power back; a contact that is heard again tells of a silence."""
        if self._lost:
            for outlet, point in self._outlets:
                is_live = self._view.watches[point].value(now.mono_ms) == 0.0
                if outlet in self._lost and is_live and self.steady_in_ms(outlet, now) <= 0:
                    self._note("back", outlet, now)
        if self.is_power_unsure() and not self._view.alarms.alarms[f"silent:{self._power_point}"].present:
            assert self._power_point is not None
            silent_s = None if self._was_silent else self._silent_ms // 1000
            body: PowerUnsureBody = {"what": "unsure", "point": self._power_point, "silent_s": silent_s}
            self._was_silent, self._silent_ms = False, 0
            self._view.tell("power", body)
            self._take(body, Stamp(self._view.boot, *now))

    def is_power_unsure(self) -> bool:
        """Has the machine's power been heard again after a silence that may have hidden a power-up, and no entry tells of it yet? It
        waits for the end of the silence's alarm: readings that come too seldom are one alarm, and one entry.
        """
        point = self._power_point
        if point is None or self._power_ms is None:
            return False
        long_ms = max(self._view.watches[point].point.stale_after_ms, SHORTEST_POWER_UP_MS)
        return self._was_silent or self._silent_ms > long_ms

    def _note(self, what: Literal["lost", "back"], outlet: str, now: Now) -> None:
        body: OutletPowerBody = {"what": what, "outlet": outlet, "machine": feeds_machine(outlet)}
        self._view.tell("power", body)
        self._take(body, Stamp(self._view.boot, *now))

    def _hear_power(self, value: float, mono_ms: int) -> None:
        """A reading of the machine's power contact. A restart alone is no silence; one that is off makes its own power-up."""
        before_ms, self._power_ms = self._power_ms, mono_ms
        if value != 1.0:
            self._was_silent, self._silent_ms = False, 0
        elif before_ms is not None:
            self._silent_ms = max(self._silent_ms, mono_ms - before_ms)

    def steady_in_ms(self, outlet: str, now: Now) -> int:
        """In how long an outlet that is live again will have been so for long enough; 0 or less where it has."""
        tripped_ms = self._tripped_ms.get(outlet)
        return 0 if tripped_ms is None else tripped_ms + STEADY_MS - now.mono_ms

    def heater_is_tripped(self, mono_ms: int) -> bool:
        """An outlet that feeds the heater (the one named so, else any) has tripped."""
        watches = self._view.watches
        return any(watches[p].value(mono_ms) == 1.0 for p in self._of_heater)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        return [self.steady_in_ms(outlet, now) for outlet, _ in self._outlets]

    # -- the conditions

    def conditions(self) -> Mapping[str, Judge]:
        judges: dict[str, Judge] = {f"outlet:{outlet}": partial(self.outlet, outlet) for outlet, _ in self._outlets}
        if Role.OUTLET_PROTECTION in self._view.settings.not_fitted:
            ask = say("outlet.seen_tripped.ask")
            judges["outlet:by-eye"] = lambda now: by_eye.contact(self._view, Role.OUTLET_PROTECTION, now, ask)
        return judges

    def outlet(self, ident: str, now: Now) -> Judged:
        """The ground-fault outlet is live."""
        view, point = self._view, next(p for o, p in self._outlets if o == ident)
        ask = say("outlet.tripped.ask", outlet=name(ident))
        failed = _outlet_tested(view, ident, now) or by_eye.seen(view, Role.OUTLET_PROTECTION, now, ask, ident)
        if failed is not None:
            return failed
        value = view.watches[point].value(now.mono_ms)
        if value is None:
            return Judged(UNKNOWN, say("not_known", why=part(view.why_silent(point))), ask=view.advice(point))
        if value:
            return Judged(UNMET, say("outlet.tripped"), ask=ask)
        if view.alarms.alarms[f"outlet_tripped:{ident}"].present:
            return Judged(
                UNKNOWN, say("outlet.comes_and_goes"), ask=say("outlet.comes_and_goes.ask", outlet=name(ident))
            )
        left_ms = self.steady_in_ms(ident, now)
        if left_ms > 0:
            when = Forecast(left_ms, left_ms, left_ms, None)
            return Judged(UNKNOWN, say("outlet.not_steady_yet"), mends=True, when=when)
        return Judged(MET, say("outlet.live", polled=part(view.polled([point]))))

    # -- after a restart

    def fold(self, entry: Entry) -> None:
        self._take(entry.body, entry.stamp)

    def _take(self, body: Mapping[str, Any], stamp: Stamp) -> None:
        """What a `power` entry says."""
        if body["what"] == "unsure":
            self._view.book.power_up(stamp, POWER_UNSURE)
            return
        (self._lost.add if body["what"] == "lost" else self._lost.discard)(body["outlet"])
        self._view.book.power_up(stamp, POWER_UP if body["machine"] else HEAT_OFF)
        named = {"outlet": body["outlet"]}
        if body["what"] == "lost":
            self._view.book.add(Fact(None, TRIPPED, stamp.wall_ms, named, True, stamp))
        else:
            live = stamp._replace(mono_ms=stamp.mono_ms - STEADY_MS, wall_ms=stamp.wall_ms - STEADY_MS)
            self._view.book.add(Fact(None, LIVE, live.wall_ms, named, True, live))

    def state(self) -> dict[str, Any]:
        """The outlets that aren't surely live again."""
        return {"lost": sorted(self._lost)}

    def restore(self, state: Mapping[str, Any]) -> None:
        self._lost = set(state.get("lost", ()))


def _outlet_tested(view: View, outlet: str, now: Now) -> Judged | None:
    """The condition of an outlet whose last test failed; None where none did."""
    last = failed_outlet_test(view.book, outlet)
    if last is None:
        return None
    since = ago(now.wall_ms - last.at_ms)
    what = say("outlet.test_failed_ago", failure=part(failure(last)), by=last.by, since=since)
    return by_fact(UNMET, what, last, say("outlet.test_failed.ask", outlet=name(outlet)))
