"""Checks of the reservoir's probes against time and the heater's outlet: a probe that shows what no liquid does is doubted.

`jumps.py` defines a jump, `unheated.py` a liquid that nothing heats, `restless.py` swings. The outlet that counts is the one that the
station file calls the heater's, since a heater may be plugged in anywhere. A doubt ends by what the probe shows, or by a record that says
what was done to it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import inf
from typing import Any, Final

from edge.domain.doubts.jumps import Jump, Jumps, heats_k_per_s
from edge.domain.doubts.levels import Levels
from edge.domain.doubts.restless import SWING_K, Restless
from edge.domain.doubts.table import ASSUMED_ROOM_C
from edge.domain.doubts.unheated import DISTURBED_MS, LEAST_SIGMAS, SETTLES_MS, Unheated, UnheatedStretch
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.messages import Message, celsius, difference, duration, name, names, number, say
from edge.domain.readings import Kind, Role
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings, feeds_machine

#: A covered vessel may cool at the loss this many standard deviations (of the logarithm) above its prior median.
COOLS_SIGMAS: Final = 1.3
#: A warm liquid may be this far above a room that isn't read [K].
ABOVE_K: Final = 20.0
#: A record this shortly before a jump explains it [ms]: somebody may write it down first.
EXPLAINS_MS: Final = 3_600_000
#: A larger rise is told as a rise in the cause of a doubt [K].
RISEN_K: Final = 0.15
#: Records that explain a jump of the liquid.
POURED: Final = frozenset({"disinfectant_fill", "disinfectant_top_up"})
#: Records that explain what a probe shows.
LOOKED_AT: Final = frozenset({"calibration", "equipment_change", "service"})

_Doubts = Mapping[str, Mapping[str, Any]]


class ProbeChecks:
    """The checks of one of the reservoir's probes."""

    __slots__ = ("levels", "jumps", "restless", "unheated", "disturbed_ms", "explained_ms")

    def __init__(self) -> None:
        self.levels, self.jumps, self.restless, self.unheated = Levels(), Jumps(), Restless(), Unheated()
        self.explained_ms: int | None = None  # time of the last record that explains something [ms]
        self.disturbed_ms: int | None = None  # when the liquid was last disturbed, or seems to have been [ms]


class Liquids:
    """The checks of all probes of one station's reservoir.

    Args:
        room: gives the room's trusted temperature at a time [Cel]; None where there is none.
        doubts: the standing doubts, by check and point.
        begin: called with (check, point, cause, names) when a doubt begins.
        end: called with (check, point, cause) when a doubt ends.
    """

    def __init__(
        self,
        settings: Settings,
        watches: Mapping[str, PointMonitor],
        warmth: ReservoirMonitor,
        room: Callable[[int], float | None],
        doubts: _Doubts,
        begin: Callable[[str, str, Message, Sequence[str]], None],
        end: Callable[[str, str, Message], None],
    ) -> None:
        self._watches, self._warmth, self._room, self._doubts = watches, warmth, room, doubts
        self._begin, self._end = begin, end
        self._probes = {
            p.id: ProbeChecks() for p in settings.points if p.role is Role.RESERVOIR_TEMPERATURE and not p.by_people
        }
        self._outlets = [
            p.id for p in settings.points
            if p.role is Role.OUTLET_PROTECTION and not p.by_people and not feeds_machine(f"{p.of or ''} {p.id}")
        ]  # fmt: skip
        self._is_worked_on = False  # work has been declared
        self._tripped_ms: dict[str, int] = {}  # by the outlet's point: since when it has been read as tripped

    # -- readings

    def contact(self, point: str, value: float, mono_ms: int) -> None:
        """Take a good reading of a contact."""
        if point not in self._outlets:
            return
        if value == 1.0:
            self._tripped_ms.setdefault(point, mono_ms)
        else:
            self._tripped_ms.pop(point, None)

    def hear(self, point: str, liquid_c: float, mono_ms: int) -> None:
        """Take a good reading of one of the reservoir's points [Cel]."""
        probe = self._probes[point]
        if probe.restless.hear(liquid_c, mono_ms) and point not in self._doubts.get("restless", {}):
            cause = say("doubt.restless", point=name(point), swing=difference(Kind.TEMPERATURE, SWING_K))
            self._begin("restless", point, cause, [point])
        level_c = probe.levels.hear(liquid_c, mono_ms)
        if level_c is None:
            return
        if point in self._doubts.get("restless", {}):
            self._wait_for_quiet(point, probe, mono_ms)
            return
        room_c, step_k = self._room(mono_ms), self._step_k(point)
        above_k = ABOVE_K if room_c is None else max(level_c - room_c, 0.0)
        cools = self._warmth.heat.prior.loss.of(COOLS_SIGMAS) * above_k
        self._look_for_jump(point, probe, level_c, room_c, step_k, mono_ms)
        probe.levels.take(level_c, cools, step_k, mono_ms)
        if self._warmth.cycle.may_explain_cold(mono_ms):
            probe.disturbed_ms = mono_ms
        if not probe.jumps.is_unsure:
            self._look_unheated(point, probe, level_c, room_c, step_k, mono_ms)

    def _wait_for_quiet(self, point: str, probe: ProbeChecks, mono_ms: int) -> None:
        """Forget the levels of a restless probe; end the doubt when it is quiet."""
        probe.levels.forget()
        probe.unheated.forget()
        probe.jumps.forget()
        probe.disturbed_ms = mono_ms
        if probe.restless.is_quiet(mono_ms):
            self._end("restless", point, say("doubt.restless.over", point=name(point)))

    def _step_k(self, point: str) -> float:
        steps = self._watches[point].steps
        return 0.0 if steps is None else min(steps.coarse or steps.own or 0.0, 1.0)

    def _look_for_jump(
        self, point: str, probe: ProbeChecks, level_c: float, room_c: float | None, step_k: float, mono_ms: int
    ) -> None:
        if point in self._doubts.get("jumped", {}):
            if probe.jumps.has_jumped_back(probe.levels, level_c, step_k, mono_ms):
                self._end("jumped", point, say("doubt.jumped.back", point=name(point)))
            return
        warmth = self._warmth
        broad, learned = warmth.heat.broad, warmth.heat.prior
        heats = heats_k_per_s(broad.power, learned.power, learned.heat_ups, warmth.plan.volume_l)
        ready_c = inf  # only used where a jump may be confirmed
        if probe.jumps.is_unsure:
            ready_c = warmth.limits(ASSUMED_ROOM_C if room_c is None else room_c)[1]
        jump = probe.jumps.hear(probe.levels, level_c, heats, room_c, ready_c, step_k, mono_ms)
        if jump is None:
            return
        probe.levels.rows.clear()
        probe.disturbed_ms = mono_ms
        told = probe.explained_ms is not None and mono_ms - probe.explained_ms <= EXPLAINS_MS
        if not (jump.explained or told or self._is_worked_on):
            self._begin("jumped", point, _jumped(point, jump, heats), [point])

    def _unheated_since_ms(self, mono_ms: int) -> int | None:
        """Since when all of the heater's outlets have been read as tripped [ms]; None where one isn't."""
        since = 0
        for point in self._outlets:
            if self._watches[point].value(mono_ms) != 1.0:
                self._tripped_ms.pop(point, None)
            if (tripped_ms := self._tripped_ms.get(point)) is None:
                return None
            since = max(since, tripped_ms)
        return since if self._outlets else None

    def _look_unheated(
        self, point: str, probe: ProbeChecks, level_c: float, room_c: float | None, step_k: float, mono_ms: int
    ) -> None:
        since_ms = self._unheated_since_ms(mono_ms)
        sudden = [ms for ms in (probe.disturbed_ms, probe.levels.fell_ms) if ms is not None]
        if since_ms is None or mono_ms < max([since_ms + SETTLES_MS, *(ms + DISTURBED_MS for ms in sudden)]):
            probe.unheated.forget()
            return
        seen = probe.unheated.hear(level_c, room_c, self._least_loss(), probe.levels.noise_k, step_k, mono_ms)
        doubted = point in self._doubts.get("unheated", {})
        if seen is None or doubted is (seen.what != "cools"):
            return
        if doubted:
            self._end("unheated", point, say("doubt.unheated.cools", point=name(point)))
        else:
            self._begin(
                "unheated", point, self._cause(point, seen, level_c, since_ms, mono_ms), [point, *self._outlets]
            )

    def _least_loss(self) -> float:
        """The least plausible b [1/s]. The learned b is bounded by the prior, since it may be of an open lid or of a frozen probe."""
        broad = self._warmth.heat.broad.loss
        return min(max(self._warmth.cool.believed().of(LEAST_SIGMAS), broad.of(LEAST_SIGMAS)), broad.median)

    def _cause(self, point: str, seen: UnheatedStretch, level_c: float, since_ms: int, mono_ms: int) -> Message:
        off = {"since": duration(mono_ms - since_ms), "outlets": names(self._outlets)}
        here = {"point": name(point), "level": celsius(level_c, point), **off}
        if seen.what == "warms" or seen.rose_k > RISEN_K:
            return say("doubt.unheated.rises", **here, rise=difference(Kind.TEMPERATURE, seen.rose_k))
        least = difference(Kind.TEMPERATURE, seen.least_k)
        return say("doubt.unheated.stays", **here, within=duration(seen.lasted_ms), least=least)

    # -- records

    def recorded(self, record: str, body: Mapping[str, Any], mono_ms: int) -> None:
        """Take a record."""
        if not body.get("counts"):
            return
        if record in ("work_begins", "work_ends"):
            self._is_worked_on = record == "work_begins"
        for point, probe in self._probes.items():
            looked_at = tells_of(record, body, point)
            if record in POURED or looked_at:
                probe.disturbed_ms = probe.explained_ms = mono_ms
                self._is_explained("jumped", point, record)
            if looked_at:
                probe.levels.forget()
                self._is_explained("unheated", point, record)
            if record == "work_ends":
                probe.explained_ms = mono_ms

    def _is_explained(self, check: str, point: str, record: str) -> None:
        if point in self._doubts.get(check, {}):
            self._probes[point].jumps.forget()
            self._end(check, point, say("doubt.explained", point=name(point), record=name(record)))


def tells_of(record: str, body: Mapping[str, Any], point: str) -> bool:
    """Does this record say that this point's sensor was inspected or replaced?"""
    return record in LOOKED_AT and body.get("point", point if record == "equipment_change" else None) == point


def _jumped(point: str, jump: Jump, heats: float) -> Message:
    return say(
        "doubt.jumped",
        point=name(point),
        before=celsius(jump.from_c, point),
        after=celsius(jump.to_c, point),
        within=duration(max(jump.within_ms, 1000)),
        heats=number(60.0 * heats, "K/min"),
    )
