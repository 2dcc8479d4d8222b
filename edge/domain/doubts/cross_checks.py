"""Cross checks: points whose readings can't all be right. A plausible reading is doubted because other points contradict it.

The rows of table.py say what must be true together; here readings and draws are checked against them. A fall of the supply's pressure that
all taps of the filter train share is no draw: where water flows, filters take pressure; where the building's supply sags, all taps fall
alike, or a check valve holds the pressure behind it. The taps' differences at rest, their zeros, are taken off first: a sensor of 1 % of
100 psi may read 7 kPa too high.

The readings of a doubted point go on as uncertain; a condition that rests on them is unknown: each part asks (station/parts). A
frozen reservoir probe beside a room that moves is detected in point_monitor.py as well.
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
from edge.domain.entry_bodies import ContradictionBody
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.transfer_loss import UNSTATED_U_K
from edge.domain.readings import Kind, Role
from edge.domain.sensing.calibration import K_CALIBRATED
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.water.draw_history import DrawHistory
from edge.domain.water.draws import LOW_KPA, Draw
from edge.domain.water.filter_train import ZERO_AT_MOST_KPA
from edge.domain.water.normalise import GAINS_AT_MOST_KPA
from edge.domain.wording import age_text, difference_text, value_text

#: The meter is doubted after this many falls without a draw between them, within the time of SilentDraws.
FALLS: Final = 3
#: Each wrong doubt of the meter (the falls were a neighbour's) doubles FALLS, up to this.
FALLS_AT_MOST: Final = 24
#: A probe that has shown this many different values isn't stuck.
MOVES: Final = 3
#: A liquid nearer to its room than this may rest [K].
FAR_FROM_ROOM_K: Final = 5.0
#: Water that flows back from a hose loses at most this share of what a draw loses over the filters: a hose holds little.
BACK_SHARE: Final = 0.5
#: The static pressure is compared with the last draw this often [ms].
LOOKED_MS: Final = 10_000
#: Rows that doubt the evidence of the last draw: a new steady draw ends them.
ANEW: Final = ("static_low", "static_sunk", "short_low", "unseen_low", "draw_out")
#: Name of a doubt without a row of its own (basin.py).
OTHER: Final = "other"
_WATER: Final = (Role.SUPPLY_PRESSURE, Role.BETWEEN_FILTERS_PRESSURE, Role.FILTERED_PRESSURE)


class CrossChecks:
    """The standing doubts of a station: which points, by which row, and why. Reads the points' watches, and marks the doubted ones.

    Args:
        watches: the watch of every point, by its id.
        flow: the meter's point, or None.
        taps: the pressure points by tap, in the order of flow; None where there is none.
        power: the point that says whether the machine has power, without which it draws nothing; or None.
        evidence: the evidence of finished draws, with the filter train: its taps' zeros, its stages.
        tell: called with the body of an entry for each change, {"check", "points", "what": "began" | "ended", "cause", "advice"}.
        warmth: the reservoir's heating and losses; None where there is none.
    """

    def __init__(
        self,
        settings: Settings,
        watches: Mapping[str, PointMonitor],
        flow: str | None,
        taps: Mapping[str, str | None],
        power: str | None,
        evidence: DrawHistory,
        tell: Callable[[ContradictionBody], None],
        warmth: ReservoirMonitor | None = None,
    ) -> None:
        self._settings, self._watches, self._flow, self._tell = settings, watches, flow, tell
        self._evidence, self._train = evidence, evidence.train
        self.doubts: dict[
            str, dict[str, tuple[str, str]]
        ] = {}  # by check or "stage:<filter>", then by point: (cause, advice)
        self._taps = {tap: point for tap, point in taps.items() if point is not None}
        downstream = [tap for tap in self._taps if tap != "supply"]
        self._last = downstream[-1] if downstream else None
        self._holding = (
            downstream[-2] if len(downstream) > 1 else None
        )  # the last tap but one, the witness where the last one loses its pressure
        self._power = None if power is None else watches[power]
        supply = self._taps.get("supply")
        self._wanted = FALLS
        gap_ms = 0 if supply is None else watches[supply].point.stale_after_ms
        steady_ms = 0 if settings.supply is None else settings.supply.steady_after_ms
        self._silent_draws, self._unseen = SilentDraws(gap_ms), Unseen(gap_ms, max(steady_ms, UNSEEN_FROM_MS))
        self._levels = Levels(gap_ms)
        self._odd: tuple[str, int] | None = None  # the tap that differs from both others at rest, and since when
        self._alike_ms: int | None = None  # since when the gauges have agreed at rest again
        self._lets_go = False  # the last tap loses its pressure at rest, and shows it in draws
        self._holds_ms: int | None = None  # since when the last tap has held its pressure at rest
        # The train's drop when the meter was doubted [kPa]; the drop at which the meter then proved right [kPa].
        self._drop_kpa: float | None = None
        self._proved_kpa: float | None = None
        self._drop_ms: int | None = None  # since when the filters have taken pressure without flow
        self._low_ms: int | None = None  # since when the static pressure has been too low
        self.is_low = False  # the static pressure is too low, for LOW_FROM_MS
        self._sunk = Sunk()
        self._looked_ms = 0  # when the static pressure was last compared with the last draw's
        self._stills = {
            ident: Stills(watch.point.kind, watch.point.stale_after_ms, watch.point.role is Role.RESERVOIR_TEMPERATURE)
            for ident, watch in watches.items()
            if watch.point.kind is not Kind.CONTACT and not watch.point.by_people
        }
        self._together = Together(settings.points, self._stills)
        self.rooms = [p.id for p in settings.points if p.role is Role.ROOM_TEMPERATURE]
        self._liquids = [p.id for p in settings.points if p.role is Role.RESERVOIR_TEMPERATURE]
        self._swings = {ident: Swings() for ident in self._liquids if ident in self._stills}
        self._shown: dict[str, set[float]] = {}  # values shown by each liquid's point that has to move first
        self._room_ms: dict[str, int] = {}  # since when a doubted room's reading has been plausible
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
        """Take a good reading of any point, before it is used for anything else."""
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
        """Take a record."""
        if self._liquid is not None:
            self._liquid.recorded(record, body, mono_ms)
        for point in [p for p in self.doubts.get("basin_cold", {}) if body.get("counts") and tells_of(record, body, p)]:
            self.change([point], None, f"{point} is explained by a record: {record}", "basin_cold")

    def _look_at_basin(self, point: str, basin_c: float, mono_ms: int) -> None:
        if mono_ms < self._basins[point].look_ms:
            return
        if self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms):
            self._flowed_ms = mono_ms  # the liquid comes into the basin, and rinses follow
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
        """Has a cycle taken the liquid, or is it heated again after one? A suspected cycle doesn't count: open lids look alike."""
        return self._warmth is not None and self._warmth.cycle.explains_cold(mono_ms)

    def _must_move(self, point: str, value: float, mono_ms: int) -> bool:
        """Must this point's reading move? A liquid that has come to its room's temperature may rest."""
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
        """The coldest of the rooms' points that aren't doubted [Cel]; None where there is none."""
        seen = [self._watches[p].value(mono_ms) for p in self.rooms if self._watches[p].doubt is None]
        return min((c for c in seen if c is not None), default=None)

    def room_now(self, mono_ms: int) -> float:
        """The room to judge with [Cel]: as read, else as declared or assumed; a colder reading that is doubted counts then as well."""
        room = self.room_c(mono_ms)
        if room is not None:
            return room
        plan = self._settings.reservoir
        doubted = [c for p in self.rooms if (c := self._watches[p].value(mono_ms)) is not None]
        return min([ASSUMED_ROOM_C if plan is None or plan.coldest_room_c is None else plan.coldest_room_c, *doubted])

    def room_or_assumed(self, mono_ms: int) -> tuple[float, bool]:
        """(the room to judge with [Cel], is it assumed)."""
        return self.room_now(mono_ms), self.room_c(mono_ms) is None

    # -- between draws

    def static(self, kpa: float, settled_kpa: float | None, mono_ms: int) -> bool:
        """Take one static pressure of the supply and the mean of the last quiet spell [kPa]; True where a doubt has changed."""
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
        """Take a pressure of the supply [kPa] while the meter shows no draw or is silent: do the pressures show that water is drawn?"""
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
        """The train's drop in the last steady draw [kPa]; infinite where it isn't known."""
        body = {} if self._evidence.last is None else self._evidence.last["body"]
        first, last = body.get("supply_kpa"), body.get(f"{self._last}_kpa")
        return math.inf if first is None or last is None else abs(first - last)

    def _believed(self, tap: str, mono_ms: int) -> float | None:
        watch = self._watches[self._taps[tap]]
        return None if watch.doubt is not None else self._at_rest(tap, mono_ms)

    def _is_off(self, mono_ms: int) -> bool:
        """Is the machine known to have no power, so that it draws nothing?"""
        return self._power is not None and self._power.value(mono_ms) == 0.0

    def _takes_at_rest(self, kpa: float, mono_ms: int) -> bool:
        """Is there a drop over the filters though the meter shows no flow, or does one gauge differ from the others at rest?"""
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
        """Find whether the last tap sits behind the machine's own valve: it then shows pressure in draws, and loses it at rest."""
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
        self._lets_go = drawn is None or drawn > LET_GO_KPA + ALONG_KPA  # without a draw so far the next one decides

    def _at_rest(self, tap: str, mono_ms: int) -> float | None:
        """Static pressure of a tap behind the supply [kPa]; None where it is the last one and loses its pressure at rest."""
        return None if tap == self._last and self._lets_go else self._watches[self._taps[tap]].value(mono_ms)

    def compared(self, point: str | None) -> None:
        """Take that a point was compared with a reference: if it is a gauge of the train, its zero is learned again."""
        for tap in (tap for tap, own in self._taps.items() if own == point):
            self._train.zeros.forget(tap)

    def _stands_apart(
        self, level: Mapping[str, float], surely: Mapping[str, float], apart_kpa: float, mono_ms: int
    ) -> bool:
        """Does one of three gauges differ from the two others at rest, or did it until recently? Such a difference is no flow.

        It has to differ with `level` and with `surely`: a pressure that a check valve held may have been learned as another gauge's zero.
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
        """Doubt the gauges of one tap, which differs from the others at rest, or of two taps that differ from each other."""
        first, others = taps[0], [kpa for tap, kpa in level.items() if tap != taps[0]]
        off_kpa = level[first] - (level[taps[1]] if len(taps) > 1 else sum(others) / len(others))
        off = difference_text(off_kpa, self._watches[self._taps[first]].point.unit, Kind.PRESSURE)
        points = [self._taps[tap] for tap in taps]
        self._alike_ms = None
        self._doubt("zero", points, f"{' and '.join(points)} {CHECKS['zero'].says}: {off}")

    def _pair_apart(self, seen: Mapping[str, float]) -> tuple[str, str] | None:
        """Two taps of which the first is higher at rest than the second by more than gauges differ, the outermost pair first; else None.

        A second tap that is higher may be held there by a check valve.
        """
        zeros = self._train.zeros
        for before, after in sorted(combinations(seen, 2), key=lambda pair: pair != ("supply", self._last)):
            known = zeros.knows(before) and zeros.knows(after)
            drop = seen[before] - seen[after] + (zeros.below(before) - zeros.surely_below(after) if known else 0.0)
            if drop > (ALONG_KPA if known else ZERO_AT_MOST_KPA):
                return before, after
        return None

    def _is_too_low(self, settled_kpa: float | None, mono_ms: int) -> bool:
        """Check that the static pressure is not below the least dynamic one; else the last draw's evidence is void."""
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
        """Check that the next draw would not fall below the least pressure; True where the doubt has changed."""
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
        """Take that the meter shows a draw: doubts about it end."""
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
        """Check the pressures of a draw that has ended. `is_proved`: its end was seen, so that it counts as the last draw."""
        shorts, point = self._evidence.shorts, self._taps.get("supply")
        if shorts.is_low and point is not None and "short_low" not in self.doubts:
            last = value_text(shorts.last_kpa, self._watches[point].point.unit, Kind.PRESSURE)
            self._doubt("short_low", [point], f"{shorts.run} draws, {CHECKS['short_low'].says}, the last {last}")
        if not draw.supply.n:
            return
        plan, drawn_kpa = self._settings.supply, draw.supply.value
        shows_enough = plan is None or drawn_kpa is None or drawn_kpa >= plan.pressure_low_kpa
        self.is_low = self.is_low and not shows_enough  # a draw that is too low continues the same alarm
        if is_proved:
            self._sunk.drawn(mono_ms)
            for check in ANEW:
                if shows_enough or check != "static_low":
                    self._end(check, "a draw shows the pressure anew")
        below, off = self._train.zeros.below, self.doubts.get("zero", {})
        shown = [(tap, p, draw.mean(tap).value) for tap, p in self._taps.items() if p not in off]
        wrong = exchanged([(point, None if kpa is None else kpa + below(tap)) for tap, point, kpa in shown])
        if wrong and not off and (tap := odd(draw.static_kpa, ZERO_AT_MOST_KPA, ALONG_KPA, held=False)) is not None:
            self._stands_off(
                [tap], draw.static_kpa
            )  # exchanged gauges agree at rest, so a difference there is a zero that has moved
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
        """Check that the stage holds a filter."""
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
        """Is the draw's flow large enough to judge the filters by it?"""
        plan, flow = self._settings.supply, draw.flow.value
        if plan is None or flow is None:
            return False
        least = plan.flow_low_l_min or self._settings.reference_flow_l_min or 4.0 * plan.draw_starts_l_min
        return flow >= NEAR_FLOW * least

    def _now_doubted(
        self, check: str, wrong: Iterable[str], judged: Sequence[str] | None, over: str, what: str = ""
    ) -> None:
        """Doubt the points in `wrong` by this row; end the doubts of the other points that the draw has judged (None: of all)."""
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
        """(cause, advice) of the first of these points that is doubted; None where none is."""
        for point in points:
            watch = self._watches.get(point) if point is not None else None
            if watch is not None and watch.doubt is not None:
                return watch.doubt
        return None

    def evidence_doubt(self, check: str) -> tuple[str, str] | None:
        """(cause, advice) of a row that doubts evidence instead of readings, as "static_low" or "stage:<filter>"; None: it holds."""
        return next(iter(self.doubts.get(check, {}).values()), None)

    def drawn_doubt(self, point: str | None) -> tuple[str, str] | None:
        """(cause, advice) if the last draw's evidence of this point is doubted; else None."""
        of_it = (doubt for check in ANEW if (doubt := self.doubts.get(check, {}).get(point or "")) is not None)
        return next(of_it, None)

    def goes_out(self, point: str, value: float) -> None:
        """Doubt the last draw's evidence: a draw under way shows this point outside its limits, and may never be seen to end."""
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
        """Begin a doubt (cause, advice) of these points, or end it (None). `names`: all points of the row, where they are more."""
        body = _change(points, doubt, cause, check)
        if names:
            body["beside"] = [name for name in names if name not in points]
        self._tell(body)
        self.take(body)

    # -- after a restart, or a loss

    def lost(self) -> None:
        """Doubt the liquid's probes until they move: lost entries may have held a doubt of a frozen one. The loss has its own entry."""
        row = CHECKS["unmoved"]
        for point in self._swings:
            self._shown.pop(point, None)
            cause = f"{point} {row.says}"
            self.take(_change([point], (cause, row.advice), cause, "unmoved"))

    def _look_whether_it_moves(self, point: str, value: float) -> None:
        """End the doubt once the probe has shown MOVES values; a stuck one may toggle between two."""
        shown = self._shown.setdefault(point, set())
        shown.add(value)
        if len(shown) >= MOVES:
            del self._shown[point]
            self.change([point], None, f"{point} moves", "unmoved")

    def take(self, body: Mapping[str, Any]) -> None:
        """Take a change of the doubts, just made or read from the journal."""
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
                watch.is_sure = watch.is_sure and watch.doubt is None  # the present value becomes uncertain at once

    def _first(self, point: str) -> tuple[str, str] | None:
        for check, of in self.doubts.items():
            row = CHECKS.get(check.partition(":")[0])
            if point in of and (row is None or row.doubts_reading):
                return of[point]
        return None

    def state(self) -> dict[str, dict[str, list[str]]]:
        """The standing doubts as JSON: by row and point, [cause, advice]."""
        return {check: {point: list(doubt) for point, doubt in of.items()} for check, of in self.doubts.items()}

    def restore(self, state: Mapping[str, Mapping[str, Sequence[str]]]) -> None:
        """Take back what state() gave."""
        for check, of in state.items():
            for point, (cause, advice) in of.items():
                self.take(_change([point], (cause, advice), cause, check))


def _change(points: Sequence[str], doubt: tuple[str, str] | None, cause: str, check: str) -> ContradictionBody:
    """The body of an entry: a doubt (cause, advice) of these points has begun, or has ended (None)."""
    named = list(points)
    if doubt is None:
        return {"check": check, "points": named, "what": "ended", "cause": cause, "advice": ""}
    return {"check": check, "points": named, "what": "began", "cause": cause, "advice": doubt[1]}
