"""What the machine does: in use, reheating, resting, off, or held by declared work; and whether it is free."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from edge.domain.entries import Entry, Now, Stamp
from edge.domain.heat.cycle import DRAW_BELONGS_MS, Phase, phase_of
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.messages import Message, both, name, part, say
from edge.domain.readings import Role
from edge.domain.records.book import USED
from edge.domain.settings import Point
from edge.domain.station import by_eye
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.station.part import DrawEnded, Happening, Judge, Part, PhaseChanged
from edge.domain.station.view import View


class Machine(Part):
    """Follows the phase.

    Args:
        warmth: what is known of the heated liquid; None: the station has none, or nothing reads it.
        is_drawing: is water being drawn?
        short: what is wrong with the contact under way; None where nothing is.
    """

    roles = frozenset({Role.MACHINE_POWER})
    folds = frozenset({"phase"})

    def __init__(
        self,
        view: View,
        warmth: ReservoirMonitor | None,
        is_drawing: Callable[[], bool],
        short: Callable[[], Message | None],
    ) -> None:
        self._view, self._warmth, self._is_drawing, self._short = view, warmth, is_drawing, short
        self._power_point = view.points.first(Role.MACHINE_POWER)
        self._reservoir_point = view.points.first(Role.RESERVOIR_TEMPERATURE)
        self._belongs_until_ms: int | None = None  # so long a draw that is over counts for a cycle

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if self._warmth is not None and point.id == self._power_point:
            self._warmth.cycle.powered = value == 1.0

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, DrawEnded) and self._belongs(now):
            self._belongs_until_ms = now.mono_ms + DRAW_BELONGS_MS

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        return () if self._belongs_until_ms is None else (self._belongs_until_ms,)

    def _belongs(self, now: Now) -> bool:
        """Is water drawn now, or just now, drawn for a cycle? A cold liquid can't be in a cycle."""
        warmth = self._warmth
        if warmth is None or self._reservoir_point is None:
            return True
        in_use = self._view.situation.phase is Phase.IN_USE
        return warmth.is_warm or warmth.cycle.explains_cold(now.mono_ms) or in_use

    def advance(self, now: Now) -> None:
        view, warmth, mono_ms = self._view, self._warmth, now.mono_ms
        if self._belongs_until_ms is not None and mono_ms >= self._belongs_until_ms:
            self._belongs_until_ms = None
        drawing = self._is_drawing()
        if drawing and warmth is not None:
            warmth.cycle.drew(mono_ms)
        phase = phase_of(
            off=self._power_point is not None and view.watches[self._power_point].value(mono_ms) == 0.0,
            at_work=view.book.work_of() is not None,
            away=warmth is not None and warmth.cycle.is_away(mono_ms),
            drawn=self._belongs_until_ms is not None or (drawing and self._belongs(now)),
            reheating=warmth is not None and warmth.is_reheating(mono_ms),
            resting=view.situation.is_resting,
        )
        before = view.situation.phase
        if phase is not before:
            view.tell("phase", {"from": str(before), "to": str(phase)}, now)
            if before is Phase.OFF:
                view.book.power_up(Stamp(view.boot, *now))
            if Phase.IN_USE in (before, phase):
                view.book.power_up(Stamp(view.boot, *now), USED)
            view.situation.before, view.situation.phase = before, phase
            view.happen(PhaseChanged(), now)

    # -- the condition

    def conditions(self) -> Mapping[str, Judge]:
        basins = self._view.settings.judged_basins
        return {"free": self.free, **{f"free:{basin}": partial(self.free_in, basin) for basin in basins}}

    def free(self, now: Now) -> Judged:
        """Not in use, no work declared, powered."""
        view = self._view
        work = view.book.work_of()
        if work is not None:
            return by_fact(UNMET, say("machine.work_declared", by=work.by), work, say("machine.work_declared.ask"))
        if view.situation.phase is Phase.OFF:
            return Judged(UNMET, say("machine.no_power"), ask=say("machine.no_power.ask"))
        if view.situation.phase is Phase.IN_USE:
            away = self._warmth is not None and self._warmth.cycle.is_away(now.mono_ms)
            text = both(say("machine.cycle_running"), self._short()) if away else say("machine.drawing")
            return Judged(UNMET, text, mends=True)
        if self._power_point is not None and view.watches[self._power_point].value(now.mono_ms) is None:
            return Judged(UNKNOWN, say("machine.power_not_known"))
        if Role.MACHINE_POWER in view.settings.not_fitted:
            eye = by_eye.contact(view, Role.MACHINE_POWER, now, say("machine.seen_off.ask"))
            return eye._replace(text=say("machine.power_by_eye", told=part(eye.text)))
        return Judged(MET, say("machine.not_in_use"))

    def free_in(self, basin: str, now: Now) -> Judged:
        """No work declared in this basin alone; the rest holds for the station."""
        work = self._view.book.work_of(basin)
        if work is None:
            return Judged(MET, say("machine.no_work"))
        declared = say("machine.work_declared_in", basin=name(basin), by=work.by)
        return by_fact(UNMET, declared, work, say("machine.work_declared_in.ask", basin=name(basin)))

    # -- after a restart

    def fold(self, entry: Entry) -> None:
        self._view.situation.before, self._view.situation.phase = Phase(entry.body["from"]), Phase(entry.body["to"])
        if entry.body["from"] == Phase.OFF:
            self._view.book.power_up(entry.stamp)
        if Phase.IN_USE in (entry.body["from"], entry.body["to"]):
            self._view.book.power_up(entry.stamp, USED)

    def state(self) -> dict[str, Any]:
        return {"phase": str(self._view.situation.phase), "phase_before": str(self._view.situation.before)}

    def restore(self, state: Mapping[str, Any]) -> None:
        self._view.situation.before, self._view.situation.phase = Phase(state["phase_before"]), Phase(state["phase"])
