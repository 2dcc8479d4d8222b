"""Points that can't all be right. A believable number of one is doubted because of what others say.

What must be true together stands in table.py, one row each; here readings and draws are held against it. A fall of the supply's
pressure that all taps of the filter train share is no draw: where water flows, filters take pressure; where the building's supply
sags, nothing differs between them, or a check valve holds what stands behind it. What the taps differ by at rest, their zeros, is taken
off first: a sensor of 1 % of 100 psi may stand 7 kPa too high.

(A reservoir that is frozen while the room moves is told in point_monitor.py, too.) A doubted point reads on, as uncertain; what rests on it
is unknown (weighing.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import combinations
from math import hypot
from typing import Any, Final

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.basin import COLDER_K, Resting
from edge.domain.doubts.draws import blind_gauges, empty_stages, exchanged
from edge.domain.doubts.liquid import Liquids, tells_of
from edge.domain.doubts.noise import Stills
from edge.domain.doubts.rest import Levels, Seen, Sunk, odd
from edge.domain.doubts.silent_draws import SilentDraws
from edge.domain.doubts.swings import Swings
from edge.domain.doubts.table import (
    ALIKE_MS,
    ALIKE_SHARE,
    ALONG_KPA,
    ASSUMED_ROOM_C,
    CHECKS,
    COOLER_BY_K,
    DROP_FROM_MS,
    HEATED_C,
    HOLDS_MS,
    LET_GO_KPA,
    LOW_FROM_MS,
    NEAR_FLOW,
    NOTHING_KPA,
    REFUTED_MS,
    ROOM_AGAIN_MS,
    ROOM_BAND_K,
    UNSEEN_FROM_MS,
    WARMEST_ROOM_C,
)
from edge.domain.doubts.together import Together
from edge.domain.doubts.unseen import Unseen
from edge.domain.heat.reservoir import Warmth
from edge.domain.heat.transfer_loss import UNSTATED_U_K
from edge.domain.readings import Kind, Role
from edge.domain.sensing.calibration import K_CALIBRATED
from edge.domain.sensing.point_monitor import PointWatch
from edge.domain.settings import Settings
from edge.domain.station.published import difference_text, value_text
from edge.domain.water.draw_history import Evidence
from edge.domain.water.draws import LOW_KPA, Draw
from edge.domain.water.filter_train import ZERO_AT_MOST_KPA
from edge.domain.water.normalise import GAINS_AT_MOST_KPA
from edge.domain.wording import age_text

#: so many falls without a draw between them, within SilentDraws' time, and the meter is doubted
FALLS: Final = 3
#: a meter that was doubted wrongly (they were a neighbour's) is doubted after twice as many the next time, and at most so many
FALLS_AT_MOST: Final = 24
#: so many different values show that a probe isn't stuck
MOVES: Final = 3
#: a liquid this near to its room may rest there [K]
FAR_FROM_ROOM_K: Final = 5.0
#: no hose holds so much water that it could flow back with more than this share of what a draw loses over the filters
BACK_SHARE: Final = 0.5
#: so often the pressure at rest is held against the last draw's
LOOKED_MS: Final = 10_000
#: what the last draw showed, put in doubt: a new one settles it
ANEW: Final = ("static_low", "static_sunk", "short_low", "unseen_low", "draw_out")
#: what is put in doubt without a row of its own (basin.py)
OTHER: Final = "other"
_WATER: Final = (Role.SUPPLY_PRESSURE, Role.BETWEEN_FILTERS_PRESSURE, Role.FILTERED_PRESSURE)


class Contradictions:
    """Which points of a station are doubted, by which row, and why. Reads the watches, and marks those that it doubts.

    Args:
        watches: of every point, by its id.
        flow: the meter's point, or None.
        taps: the points of the pressures by tap, in the order of flow; None where there is none.
        power: the point that says whether the machine has power: without power it draws nothing.
        evidence: what finished draws showed, and what is known of the filter train: its taps' zeros, its stages.
        tell: gets the body of an entry for each change, {"check", "points", "what": "began" | "ended", "cause", "advice"}.
        warmth: what is known of the reservoir's heating and losses; None where there is none.
    """

    def __init__(
        self,
        settings: Settings,
        watches: Mapping[str, PointWatch],
        flow: str | None,
        taps: Mapping[str, str | None],
        power: str | None,
        evidence: Evidence,
        tell: Callable[[dict[str, Any]], None],
        warmth: Warmth | None = None,
    ) -> None:
        self._settings, self._watches, self._flow, self._tell = settings, watches, flow, tell
        self._evidence, self._train = evidence, evidence.train
        self.doubts: dict[str, dict[str, tuple[str, str]]] = {}  # check, "stage:<filter>" -> point -> (cause, advice)
        self._taps = {tap: point for tap, point in taps.items() if point is not None}
        downstream = [tap for tap in self._taps if tap != "supply"]
        self._last = downstream[-1] if downstream else None
        self._holding = downstream[-2] if len(downstream) > 1 else None  # the last tap but one
        self._power = None if power is None else watches[power]
        supply = self._taps.get("supply")
        self._wanted = FALLS
        gap_ms = 0 if supply is None else watches[supply].point.stale_after_ms
        steady_ms = 0 if settings.supply is None else settings.supply.steady_after_ms
        self._silent_draws, self._unseen = SilentDraws(gap_ms), Unseen(gap_ms, max(steady_ms, UNSEEN_FROM_MS))
        self._levels = Levels(gap_ms)
        self._odd: tuple[str, int] | None = None  # which tap stands apart from both others at rest, and since when
        self._alike_ms: int | None = None  # since when one that did agrees with them again
        self._lets_go = False  # the last tap loses its pressure at rest, and shows it in draws
        self._holds_ms: int | None = None  # since when it has held it
        # what the filters took then, and what they did when the meter had shown a draw since
        self._drop_kpa: float | None = None
        self._proved_kpa: float | None = None
        self._drop_ms: int | None = None  # since when the filters take pressure though the meter is still
        self._low_ms: int | None = None  # since when the static pressure is too low
        self.is_low = False  # and it still is
        self._sunk = Sunk()
        self._looked_ms = 0  # when the static pressure was last held against the last draw's
        self._stills = {
            ident: Stills(watch.point.kind, watch.point.stale_after_ms, watch.point.role is Role.RESERVOIR_TEMPERATURE)
            for ident, watch in watches.items()
            if watch.point.kind is not Kind.CONTACT and not watch.point.by_people
        }
        self._together = Together(settings.points, self._stills)
        self.rooms = [p.id for p in settings.points if p.role is Role.ROOM_TEMPERATURE]
        self._liquids = [p.id for p in settings.points if p.role is Role.RESERVOIR_TEMPERATURE]
        self._swings = {ident: Swings() for ident in self._liquids if ident in self._stills}
        self._shown: dict[str, set[float]] = {}  # by liquid's point that has to move first: values that it has shown
        self._room_ms: dict[str, int] = {}  # since when a doubted room reads what a room can have
        self._warmth, self._liquid = warmth, None
        self._flowed_ms: int | None = None  # when the meter last showed any flow
        self._basins = {
            p.id: Resting() for p in settings.points if p.role is Role.BASIN_TEMPERATURE and not p.by_people
        }
        if warmth is not None and self._liquids:
            self._liquid = Liquids(
                settings, watches, warmth, self.room_c, self.doubts,
                begin=lambda check, point, cause, names: self._doubt(check, [point], cause, names),
                end=lambda check, point, cause: self.change([point], None, cause, check),
            )  # fmt: skip

    # -- each reading

    def heard(self, point: str, value: float, mono_ms: int) -> None:
        """A good reading of any point, before anything is made of it."""
        stills = self._stills.get(point)
        if stills is None:
            if self._liquid is not None:
                self._liquid.contact(point, value, mono_ms)
            return
        role = self._watches[point].point.role
        if role is Role.ROOM_TEMPERATURE:
            self._look_at_room(point, value, mono_ms)
        elif role is Role.SUPPLY_FLOW:
            if value <= 0.0:
                stills.rest()
                return
            self._flowed_ms = mono_ms
        elif role is Role.BASIN_TEMPERATURE:
            self._look_at_basin(point, value, mono_ms)
        frozen = stopped = False
        if self.doubts:
            frozen, stopped = point in self.doubts.get("frozen", {}), point in self.doubts.get("stopped", {})
        if mono_ms >= self._together.look_ms and not stopped:
            self._look_together(mono_ms)
        if stills.moves(value, mono_ms, frozen):
            if frozen:
                self.change([point], None, f"{point} moves again", "frozen")
            if stopped:
                self._end("stopped", f"{point} moves again")
        elif (
            not (frozen or stopped)
            and (found := stills.too_still(mono_ms)) is not None
            and self._must_move(point, value, mono_ms)
        ):
            still, longest = map(age_text, found)
            self._doubt(
                "frozen", [point], f"{point} is frozen: still for {still}, never before for longer than {longest}"
            )
        if point in self._swings:
            in_cycle = self._in_cycle(mono_ms)
            if in_cycle:
                stills.unheld(mono_ms)
            if point in self.doubts.get("unmoved", {}):
                self._look_whether_it_moves(point, value)
            self._look_at_swings(point, value, in_cycle, mono_ms)
            if self._liquid is not None:
                self._liquid.hear(point, value, mono_ms)

    def recorded(self, record: str, body: Mapping[str, Any], mono_ms: int) -> None:
        """A record was taken just now."""
        if self._liquid is not None:
            self._liquid.recorded(record, body, mono_ms)
        for point in [p for p in self.doubts.get("basin_cold", {}) if body.get("counts") and tells_of(record, body, p)]:
            self.change([point], None, f"{point} is explained by a record: {record}", "basin_cold")

    def _look_at_basin(self, point: str, basin_c: float, mono_ms: int) -> None:
        if mono_ms < self._basins[point].look_ms:
            return
        if self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms):
            self._flowed_ms = mono_ms  # its liquid is on its way, and rinses follow
        room_c = self.room_c(mono_ms)
        us = [UNSTATED_U_K if (u := self._watches[p].u) is None else u for p in (point, *self.rooms[:1])]
        found = self._basins[point].hear(basin_c, room_c, K_CALIBRATED * hypot(*us), self._flowed_ms, mono_ms)
        doubted = point in self.doubts.get("basin_cold", {})
        if found is None or found is doubted or room_c is None:
            return
        if found:
            cause = f"{point} rests at {basin_c:.4g} degC in a room of {room_c:.4g} degC: more than {COLDER_K:g} K colder, for hours"
            self._doubt("basin_cold", [point], cause, [point, *self.rooms])
        else:
            self.change([point], None, f"{point} rests as warm as its room again", "basin_cold")

    def _look_together(self, mono_ms: int) -> None:
        stopped = self._together.look(self.doubts.get("frozen", {}), mono_ms)
        if stopped is None or "stopped" in self.doubts:
            return
        since = age_text(mono_ms - stopped.since_ms)
        cause = f"{', '.join(stopped.points)} have repeated their values for {since}, since one and the same time"
        self._doubt("stopped", stopped.points, cause)
        for point in stopped.points:
            if point in self._stills:
                self._stills[point].disown()

    def _look_at_swings(self, point: str, value: float, in_cycle: bool, mono_ms: int) -> None:
        swings, raw, doubted = self._swings[point], self._watches[point].raw, point in self.doubts.get("toggling", {})
        seen = value if raw is None else raw
        if not doubted and in_cycle:
            swings.pause(seen, mono_ms)
        elif swings.hear(seen, mono_ms, doubted):
            if doubted:
                self.change([point], None, f"{point} moves by more than a step again", "toggling")
        elif not doubted and (found := swings.stuck(mono_ms)) is not None and self._must_move(point, value, mono_ms):
            rests, longest = map(age_text, found)
            cause = f"{point} is stuck: within one step for {rests}, before for no longer than {longest} while its liquid swung"
            self._doubt("toggling", [point], cause)

    def _in_cycle(self, mono_ms: int) -> bool:
        """Has a cycle taken the liquid, or is it heated again after one? A fall that may yet become one is none: lids make such falls."""
        return self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms)

    def _must_move(self, point: str, value: float, mono_ms: int) -> bool:
        """A liquid that has come to its room's temperature may rest there."""
        if self._watches[point].point.role is not Role.RESERVOIR_TEMPERATURE:
            return True
        room = self.room_c(mono_ms)
        return room is None or abs(value - room) > FAR_FROM_ROOM_K

    def _look_at_room(self, point: str, room_c: float, mono_ms: int) -> None:
        doubted = point in self.doubts.get("room_warm", {})
        band = ROOM_BAND_K if doubted else 0.0
        liquids = [c for p in self._liquids if (c := self._watches[p].value(mono_ms)) is not None and c >= HEATED_C]
        most = min([WARMEST_ROOM_C, *(c - COOLER_BY_K for c in liquids)]) - band
        if room_c > most + AT_LIMIT:
            self._room_ms.pop(point, None)
            if not doubted:
                beside = (
                    "used rooms are no warmer"
                    if most == WARMEST_ROOM_C
                    else f"beside a liquid of {min(liquids):.4g} degC"
                )
                names = [point] if most == WARMEST_ROOM_C else [point, *self._liquids]
                cause = f"{point}: {room_c:.4g} degC {CHECKS['room_warm'].says}: {beside}"
                self._doubt("room_warm", [point], cause, names)
        elif doubted and mono_ms - self._room_ms.setdefault(point, mono_ms) >= ROOM_AGAIN_MS:
            self._room_ms.pop(point)
            self.change([point], None, f"{point} reads what a room can have again", "room_warm")

    def room_c(self, mono_ms: int) -> float | None:
        """The coldest of the rooms' points that are believed [Cel]; None where none is."""
        seen = [self._watches[p].value(mono_ms) for p in self.rooms if self._watches[p].doubt is None]
        return min((c for c in seen if c is not None), default=None)

    def room_now(self, mono_ms: int) -> float:
        """The room to reckon with [Cel]: as read, else as declared or assumed; one that isn't believed never asks for less by that."""
        room = self.room_c(mono_ms)
        if room is not None:
            return room
        plan = self._settings.reservoir
        doubted = [c for p in self.rooms if (c := self._watches[p].value(mono_ms)) is not None]
        return min([ASSUMED_ROOM_C if plan is None or plan.coldest_room_c is None else plan.coldest_room_c, *doubted])

    def room_or_assumed(self, mono_ms: int) -> tuple[float, bool]:
        """(the room to reckon with [Cel], is that assumed)."""
        return self.room_now(mono_ms), self.room_c(mono_ms) is None

    # -- between draws

    def static(self, kpa: float, settled_kpa: float | None, mono_ms: int) -> bool:
        """One static pressure of the supply, and the mean of the last quiet spell. True where something has come to be doubted."""
        witness = self._holding if self._lets_go else self._last
        last = None if witness is None else self._believed(witness, mono_ms)
        self.unmetered(kpa, mono_ms)
        falls = self._silent_draws.hear(kpa, None if last is None else kpa - last, mono_ms)
        news = self._is_too_low(settled_kpa, mono_ms)
        if settled_kpa is not None and mono_ms - self._looked_ms >= LOOKED_MS:
            self._looked_ms = mono_ms
            news = self._has_sunk(settled_kpa, mono_ms) or news
        if self._flow is None or self._is_off(mono_ms):
            return news
        if falls >= self._wanted and self._watches[self._flow].doubt is None:
            self._doubt("no_pulses", [self._flow], f"{CHECKS['no_pulses'].says}: {falls} times without a pulse")
            news = True
        return self._takes_at_rest(kpa, mono_ms) or news

    def unmetered(self, kpa: float, mono_ms: int) -> None:
        """A pressure of the supply while the meter shows no draw, or is silent itself: do the pressures say that water is drawn?"""
        plan, supply = self._settings.supply, self._taps.get("supply")
        if plan is None or supply is None or self._flow is None or self._last is None or self._is_off(mono_ms):
            return
        taps = {tap: kpa if tap == "supply" else self._believed(tap, mono_ms) for tap in self._taps}
        apart = self._unseen.hear({tap: here for tap, here in taps.items() if here is not None}, mono_ms)
        if apart is None or self._watches[supply].doubt is not None:
            return
        wrong = exchanged([(self._taps[tap], level) for tap, level in apart.level_kpa.items()])
        if (
            wrong
            and apart.has_order
            and (not apart.goes_back_kpa or apart.goes_back_kpa > BACK_SHARE * self._took_kpa())
        ):
            cause = f"{CHECKS['exchanged'].says}; and the meter says nothing of the water that flows"
            self._doubt("exchanged", [p for p in self._taps.values() if p in wrong], cause)
        elif (
            apart.is_flow and apart.kpa["supply"] < plan.pressure_low_kpa - LOW_KPA and "unseen_low" not in self.doubts
        ):
            here = value_text(apart.kpa["supply"], self._watches[supply].point.unit, Kind.PRESSURE)
            self._doubt("unseen_low", [supply], f"{here}, {CHECKS['unseen_low'].says}")

    def _took_kpa(self) -> float:
        """What the train took in the last steady draw; without bounds where that isn't known."""
        body = {} if self._evidence.last is None else self._evidence.last["body"]
        first, last = body.get("supply_kpa"), body.get(f"{self._last}_kpa")
        return math.inf if first is None or last is None else abs(first - last)

    def _believed(self, tap: str, mono_ms: int) -> float | None:
        watch = self._watches[self._taps[tap]]
        return None if watch.doubt is not None else self._at_rest(tap, mono_ms)

    def _is_off(self, mono_ms: int) -> bool:
        """A machine without power draws nothing."""
        return self._power is not None and self._power.value(mono_ms) == 0.0

    def _takes_at_rest(self, kpa: float, mono_ms: int) -> bool:
        """Do the filters, or one of them, take pressure while the meter says that nothing flows; or does one gauge stand apart?"""
        if self._flow is None:
            return False
        self._mind_letting_go(kpa, mono_ms)
        taps = {
            tap: here
            for tap in self._taps
            if (here := kpa if tap == "supply" else self._at_rest(tap, mono_ms)) is not None
        }
        zeros = self._train.zeros
        known = all(zeros.knows(tap) for tap in taps)
        means = self._levels.hear(taps, mono_ms)
        level, surely = (
            {tap: kpa + off(tap) for tap, kpa in means.items()} for off in (zeros.below, zeros.surely_below)
        )
        if self._stands_apart(level, surely, ALONG_KPA if known else ZERO_AT_MOST_KPA, mono_ms):
            self._drop_ms = None
            return False
        pair = self._pair_apart(taps)
        if pair is None:
            self._drop_ms = None
            return False
        self._drop_ms = mono_ms if self._drop_ms is None else self._drop_ms
        if mono_ms - self._drop_ms < DROP_FROM_MS or "drop_no_flow" in self.doubts:
            return False
        drop_kpa = level[pair[0]] - level[pair[1]]
        if self._proved_kpa is not None and abs(drop_kpa - self._proved_kpa) < GAINS_AT_MOST_KPA:
            tap = odd(level, ALONG_KPA, ALONG_KPA)
            self._stands_off([tap] if tap is not None else list(pair), level)
        else:
            self._drop_kpa = drop_kpa
            self._doubt("drop_no_flow", [self._flow, *(self._taps[tap] for tap in pair)])
        return True

    def _mind_letting_go(self, supply_kpa: float, mono_ms: int) -> None:
        """Does the last tap sit behind the machine's own valve? It shows its pressure in draws, and lets it go at rest."""
        last = None if self._last is None else self._watches[self._taps[self._last]].value(mono_ms)
        if last is None or supply_kpa < LET_GO_KPA + ZERO_AT_MOST_KPA:
            return
        if last > LET_GO_KPA:
            holds = supply_kpa - last < ZERO_AT_MOST_KPA
            self._holds_ms = (mono_ms if self._holds_ms is None else self._holds_ms) if holds else None
            if self._holds_ms is not None and mono_ms - self._holds_ms >= HOLDS_MS:
                self._lets_go = False
            return
        drawn = None if self._evidence.last is None else self._evidence.last["body"].get(f"{self._last}_kpa")
        self._lets_go = drawn is None or drawn > LET_GO_KPA + ALONG_KPA  # a draw will show it

    def _at_rest(self, tap: str, mono_ms: int) -> float | None:
        """What a tap behind the supply tells [kPa]; nothing where it is the last one and lets its pressure go at rest."""
        return None if tap == self._last and self._lets_go else self._watches[self._taps[tap]].value(mono_ms)

    def compared(self, point: str | None) -> None:
        """A point was compared with a reference: where it is a gauge of the train, its zero is learnt anew."""
        for tap in (tap for tap, own in self._taps.items() if own == point):
            self._train.zeros.forget(tap)

    def _stands_apart(
        self, level: Mapping[str, float], surely: Mapping[str, float], apart_kpa: float, mono_ms: int
    ) -> bool:
        """Does one of three gauges stand apart from the two others, or did it until of late? Then that is no flow. It has to do so also
        where what a check valve held was learnt as the zero of another.
        """
        if "zero" in self.doubts:
            alike = len(level) > 1 and max(level.values()) - min(level.values()) < ALIKE_SHARE * apart_kpa
            self._alike_ms = (mono_ms if self._alike_ms is None else self._alike_ms) if alike else None
            if self._alike_ms is not None and mono_ms - self._alike_ms >= ALIKE_MS:
                self._end("zero", "the gauges agree at rest again")
            return True
        tap = odd(level, apart_kpa, GAINS_AT_MOST_KPA, NOTHING_KPA)
        if tap is None or odd(surely, apart_kpa, apart_kpa) != tap:
            self._odd = None
            return False
        if self._odd is None or self._odd[0] != tap:
            self._odd = tap, mono_ms
        if mono_ms - self._odd[1] >= DROP_FROM_MS:
            self._stands_off([tap], level)
        return True

    def _stands_off(self, taps: Sequence[str], level: Mapping[str, float]) -> None:
        """These taps' gauges, one or two, don't agree at rest with the others, or with one another."""
        first, others = taps[0], [kpa for tap, kpa in level.items() if tap != taps[0]]
        off_kpa = level[first] - (level[taps[1]] if len(taps) > 1 else sum(others) / len(others))
        off = difference_text(off_kpa, self._watches[self._taps[first]].point.unit, Kind.PRESSURE)
        points = [self._taps[tap] for tap in taps]
        self._alike_ms = None
        self._doubt("zero", points, f"{' and '.join(points)} {CHECKS['zero'].says}: {off}")

    def _pair_apart(self, seen: Mapping[str, float]) -> tuple[str, str] | None:
        """Two taps of which the first stands higher at rest than the second, by more than gauges differ; the outermost first.

        Where the second stands higher a check valve may hold it there.
        """
        zeros = self._train.zeros
        for before, after in sorted(combinations(seen, 2), key=lambda pair: pair != ("supply", self._last)):
            known = zeros.knows(before) and zeros.knows(after)
            drop = seen[before] - seen[after] + (zeros.below(before) - zeros.surely_below(after) if known else 0.0)
            if drop > (ALONG_KPA if known else ZERO_AT_MOST_KPA):
                return before, after
        return None

    def _is_too_low(self, settled_kpa: float | None, mono_ms: int) -> bool:
        """A pressure at rest can't be lower than while drawing: what the last draw showed stands no more."""
        plan, was = self._settings.supply, self.is_low
        if plan is None or settled_kpa is None:
            return False
        if settled_kpa >= plan.pressure_low_kpa - LOW_KPA:
            self._low_ms, self.is_low = None, self.is_low and settled_kpa < plan.pressure_low_kpa + LOW_KPA
            return was is not self.is_low
        self._low_ms = mono_ms if self._low_ms is None else self._low_ms
        self.is_low = self.is_low or mono_ms - self._low_ms >= LOW_FROM_MS
        if mono_ms - self._low_ms >= REFUTED_MS and "static_low" not in self.doubts:
            self._doubt("static_low", [self._taps["supply"]], f"the supply {CHECKS['static_low'].says}")
        return was is not self.is_low

    def _has_sunk(self, settled_kpa: float, mono_ms: int) -> bool:
        """The next draw would show less than the last one did."""
        plan, about, point = self._settings.supply, self._evidence.rest_and_drawn_kpa(), self._taps.get("supply")
        if plan is None or about is None or point is None or self.is_low:
            self._sunk.broken_off()
            return False
        least_kpa = plan.pressure_low_kpa + self._watches[point].guard
        has_sunk, seen = self._sunk.see(settled_kpa, about, least_kpa, mono_ms)
        is_doubted = "static_sunk" in self.doubts
        if has_sunk and not is_doubted:
            self._doubt("static_sunk", [point], self._sunk_text(point, seen, plan.pressure_low_kpa))
        elif has_sunk is False and is_doubted:
            self._end("static_sunk", "at rest it is high enough again")
        return is_doubted is not ("static_sunk" in self.doubts)

    def _sunk_text(self, point: str, seen: Seen, least_kpa: float) -> str:
        here, was, left, least = (
            value_text(kpa, self._watches[point].point.unit, Kind.PRESSURE) for kpa in (*seen, least_kpa)
        )
        says = CHECKS["static_sunk"].says
        return f"{here} while nothing draws, {was} about the last draw: it {says}, and drawing would leave {left} of the {least} needed"

    # -- draws

    def flowed(self) -> None:
        """The meter shows a draw: it can be believed."""
        self._silent_draws.forget()
        self._low_ms = self._drop_ms = self._odd = self._alike_ms = self._holds_ms = None
        self._levels.forget()
        if self._flow is not None and "no_pulses" in self.doubts:
            self._wanted = min(2 * self._wanted, FALLS_AT_MOST)
            self._end("no_pulses", "the meter shows a draw")
        if "drop_no_flow" in self.doubts:
            self._proved_kpa = self._drop_kpa
        self._end("drop_no_flow", "the meter shows a draw")

    def drawn(self, draw: Draw, is_proved: bool, mono_ms: int) -> None:
        """A draw has ended: what its steady pressures say together. `is_proved`: its end was seen, so that it counts as the last one."""
        shorts, point = self._evidence.shorts, self._taps.get("supply")
        if shorts.is_low and point is not None and "short_low" not in self.doubts:
            last = value_text(shorts.last_kpa, self._watches[point].point.unit, Kind.PRESSURE)
            self._doubt("short_low", [point], f"{shorts.run} draws, {CHECKS['short_low'].says}, the last {last}")
        if not draw.supply.n:
            return
        plan, drawn_kpa = self._settings.supply, draw.supply.value
        shows_enough = plan is None or drawn_kpa is None or drawn_kpa >= plan.pressure_low_kpa
        self.is_low = self.is_low and not shows_enough  # else it is the same alarm in the next pause
        if is_proved:
            self._sunk.drawn(mono_ms)
            for check in ANEW:
                if shows_enough or check != "static_low":
                    self._end(check, "a draw shows the pressure anew")
        below, off = self._train.zeros.below, self.doubts.get("zero", {})
        shown = [(tap, p, draw.mean(tap).value) for tap, p in self._taps.items() if p not in off]
        wrong = exchanged([(point, None if kpa is None else kpa + below(tap)) for tap, point, kpa in shown])
        if wrong and not off and (tap := odd(draw.static_kpa, ZERO_AT_MOST_KPA, ALONG_KPA, held=False)) is not None:
            self._stands_off([tap], draw.static_kpa)  # exchanged gauges rest alike
        else:
            self._now_doubted(
                "exchanged", wrong, [point for _, point, _ in shown], "a draw shows the pressures in order"
            )
        if not self._tells(draw):
            return
        if self._flow is not None:
            none, still = blind_gauges(draw, self._taps)
            self._now_doubted(
                "flow_no_drop", [self._flow, *self._taps.values()] if none else [], None, "a draw shows in the gauges"
            )
            self._now_doubted("still_in_draw", still, None, "it moves with a draw")
        for ident, takes_nothing in empty_stages(draw, self._train).items():
            taps = [self._taps[tap] for tap in self._train.taps_of(ident)]
            if off.keys().isdisjoint(taps):
                self._look_at_stage(ident, taps, takes_nothing)

    def _look_at_stage(self, ident: str, taps: list[str], takes_nothing: bool) -> None:
        """Is there a filter at all?"""
        stage, check = self._train.stages[ident], f"stage:{ident}"
        changed_ms = self._train.changed_ms(ident)
        clean = stage.took_clean_kpa(changed_ms) if self._train.zeros_known(ident) else None
        if not takes_nothing and clean is None:
            self._end(check, f"filter {ident} takes pressure of a draw")
        elif check not in self.doubts and (takes_nothing or clean is None):
            self._doubt(check, taps, f"filter {ident} {CHECKS['stage'].says}")
        elif check not in self.doubts:
            unit = self._watches[taps[0]].point.unit
            took, takes = (
                difference_text(kpa or 0.0, unit, Kind.PRESSURE) for kpa in (clean, stage.drop_kpa(changed_ms))
            )
            says = "an empty housing, a torn or a by-passed filter; where it is right, record that it was looked at"
            self._doubt(check, taps, f"filter {ident} takes {takes}, a clean one took {took}: {says}")

    def _tells(self, draw: Draw) -> bool:
        """Is the flow near enough to what the filters are judged at?"""
        plan, flow = self._settings.supply, draw.flow.value
        if plan is None or flow is None:
            return False
        least = plan.flow_low_l_min or self._settings.reference_flow_l_min or 4.0 * plan.draw_starts_l_min
        return flow >= NEAR_FLOW * least

    def _now_doubted(
        self, check: str, wrong: Iterable[str], judged: Sequence[str] | None, over: str, what: str = ""
    ) -> None:
        """A draw says of which points a row fails now; of the others (of `judged`, or of all) it holds again."""
        wrong, had = list(wrong), self.doubts.get(check, {})
        ended = [p for p in had if p not in wrong and (judged is None or p in judged)]
        fresh = [p for p in self._watches if p in wrong and p not in had]
        if ended:
            self.change(ended, None, over, check)
        if fresh:
            says = CHECKS[check.partition(":")[0]].says
            self._doubt(
                check, fresh, f"{what or ', '.join(fresh)} {says}" if what or check == "still_in_draw" else says
            )

    # -- who is doubted

    def doubt_about(self, points: Iterable[str | None]) -> tuple[str, str] | None:
        """(what contradicts, what to do) of the first of these points that is doubted."""
        for point in points:
            watch = self._watches.get(point) if point is not None else None
            if watch is not None and watch.doubt is not None:
                return watch.doubt
        return None

    def evidence_doubt(self, check: str) -> tuple[str, str] | None:
        """(what contradicts, what to do) where a row that doubts no reading fails: "static_low", "stage:<filter>"."""
        return next(iter(self.doubts.get(check, {}).values()), None)

    def drawn_doubt(self, point: str | None) -> tuple[str, str] | None:
        """(what contradicts, what to do) where what the last draw showed of this point is put in doubt; None where it isn't."""
        of_it = (doubt for check in ANEW if (doubt := self.doubts.get(check, {}).get(point or "")) is not None)
        return next(of_it, None)

    def goes_out(self, point: str, value: float) -> None:
        """A draw under way shows this point outside limits that the last draw kept: were it never seen to end, that one must not stand."""
        if point not in self.doubts.get("draw_out", {}):
            here = value_text(value, self._watches[point].point.unit, self._watches[point].point.kind)
            self._doubt("draw_out", [point], f"{here}: {CHECKS['draw_out'].says}")

    def _doubt(self, check: str, points: Sequence[str], cause: str = "", names: Sequence[str] = ()) -> None:
        row = CHECKS[check.partition(":")[0]]
        self.change(points, (cause or row.says, row.advice), cause or row.says, check, names)

    def _end(self, check: str, cause: str) -> None:
        if check in self.doubts:
            self.change(list(self.doubts[check]), None, cause, check)

    def change(
        self, points: Sequence[str], doubt: tuple[str, str] | None, cause: str, check: str = OTHER, names: Sequence[str] = ()
    ) -> None:  # fmt: skip
        """These points have come to be doubted, or no longer are (None). `names`: all that the row rests on, where that is more."""
        body = _change(points, doubt, cause, check)
        if names:
            body["beside"] = [name for name in names if name not in points]
        self._tell(body)
        self.take(body)

    # -- after a restart, or a loss

    def lost(self) -> None:
        """Entries of the journal were lost, a doubt about a frozen probe may be among them. The entry of the loss tells it."""
        row = CHECKS["unmoved"]
        for point in self._swings:
            self._shown.pop(point, None)
            cause = f"{point} {row.says}"
            self.take(_change([point], (cause, row.advice), cause, "unmoved"))

    def _look_whether_it_moves(self, point: str, value: float) -> None:
        """One that is stuck may toggle between two values."""
        shown = self._shown.setdefault(point, set())
        shown.add(value)
        if len(shown) >= MOVES:
            del self._shown[point]
            self.change([point], None, f"{point} moves", "unmoved")

    def take(self, body: Mapping[str, Any]) -> None:
        """Take a change, as it stands in the journal."""
        check, began = str(body.get("check", OTHER)), body["what"] == "began"
        of = self.doubts.setdefault(check, {})
        for point in body["points"]:
            if point in self._watches and began:
                of[point] = (str(body["cause"]), str(body["advice"]))
            else:
                of.pop(point, None)
        if not of:
            del self.doubts[check]
        off = self.doubts.get("zero", {})
        self._train.zeros.held = frozenset(tap for tap, point in self._taps.items() if point in off)
        for point in body["points"]:
            if (watch := self._watches.get(point)) is not None:
                watch.doubt = self._first(point)
                watch.is_sure = watch.is_sure and watch.doubt is None  # the value that stands is doubted at once

    def _first(self, point: str) -> tuple[str, str] | None:
        for check, of in self.doubts.items():
            row = CHECKS.get(check.partition(":")[0])
            if point in of and (row is None or row.doubts_reading):
                return of[point]
        return None

    def state(self) -> dict[str, dict[str, list[str]]]:
        """Who is doubted and why, as JSON: by row and point, [what contradicts, what to do]."""
        return {check: {point: list(doubt) for point, doubt in of.items()} for check, of in self.doubts.items()}

    def restore(self, state: Mapping[str, Mapping[str, Sequence[str]]]) -> None:
        """Take back what state() gave."""
        for check, of in state.items():
            for point, (cause, advice) in of.items():
                self.take(_change([point], (cause, advice), cause, check))


def _change(points: Sequence[str], doubt: tuple[str, str] | None, cause: str, check: str) -> dict[str, Any]:
    """The body of an entry: these points have come to be doubted, or no longer are (None)."""
    what, advice = ("ended", "") if doubt is None else ("began", doubt[1])
    return {"check": check, "points": list(points), "what": what, "cause": cause, "advice": advice}
