"""What a probe in the basin shows of each transfer, and what a station learns of its loss (heat/transfer_fit.py has the theory)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot, sqrt
from types import MappingProxyType
from typing import Any, Final, cast

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.register import OTHER, DoubtRegister
from edge.domain.doubts.rooms import Rooms
from edge.domain.doubts.table import WARMEST_ROOM_C
from edge.domain.entries import Entry, Now, rfc3339, wall_ms_of
from edge.domain.entry_bodies import TransferForgottenBody, TransferSeenBody
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.transfer_fit import (
    BASIN_RISE_K,
    LEAST_SD_K,
    WINDOW_S,
    Arrival,
    Averages,
    Plateau,
    arrival,
    empties,
    left_at_ms,
    plateau,
)  # fmt: skip
from edge.domain.heat.transfer_loss import TRANSFERS_KEPT, UNSTATED_U_K, Transfer, decided, share_of
from edge.domain.maths.robust import median
from edge.domain.messages import Advice, Doubt, Message, celsius, message_body, name, number, part, say
from edge.domain.readings import Role
from edge.domain.records.book import local_date
from edge.domain.settings import Point
from edge.domain.station.part import Happening, LiquidMoved, Part, RecordKept
from edge.domain.station.view import View

#: after the window by this the transfer is measured, whatever was seen of it
GIVE_UP_MS: Final = 8 * 60_000
LOOK_MS: Final = 30_000
#: a basin warmer than its surroundings by more than this isn't cold any more
WARM_K: Final = 2.5
#: what can't be a transfer's share: the probe follows the reservoir, or sees hardly any liquid
LEAST_SHARE: Final = 0.02
MOST_SHARE: Final = 0.6
MOST_U: Final = 0.04
#: so much above its surroundings the liquid must be for a share to be told
LEAST_ABOVE_K: Final = 8.0
#: uncertainty of Tcold by a room probe, and by the basin itself
ROOM_U_K: Final = 0.2
REST_U_K: Final = 0.7
#: a basin that shows this of the reservoir for so long, while its surroundings are far from it, isn't measured by its probe
FOLLOWS_K: Final = 1.0
ABOVE_K: Final = 5.0
FAR_K: Final = 8.0
FOLLOWS_MS: Final = 60 * 60_000
CLEARED_MS: Final = 10 * 60_000

FOLLOWS: Final = "follows"
SWAPPED: Final = "swapped"
APART: Final = "apart"
DOUBTS: Final[Mapping[str, Doubt]] = MappingProxyType(
    {
        FOLLOWS: Doubt(say("basin.follows"), say("basin.follows.advice")),
        SWAPPED: Doubt(say("basin.swapped"), say("basin.swapped.advice")),
    }
)


class Basin(Part):
    """One station's transfers: what is learned of them, and what the basin's probe says against others.

    What was learned stays while the station file has no [reservoir], and other equipment ends it all the same.

    Args:
        warmth: what is known of the liquid and its losses; None: the station file has no [reservoir].
        doubts: which points are doubted.
        rooms: the room to reckon with.
    """

    roles = frozenset({Role.RESERVOIR_TEMPERATURE, Role.BASIN_TEMPERATURE})
    folds = frozenset({"transfer"})

    def __init__(self, view: View, warmth: ReservoirMonitor | None, doubts: DoubtRegister, rooms: Rooms) -> None:
        self._view, self._warmth, self._doubts, self._rooms = view, warmth, doubts, rooms
        self._reservoir_point, self._basin_point = (
            view.points.first(role) for role in (Role.RESERVOIR_TEMPERATURE, Role.BASIN_TEMPERATURE)
        )
        self._room_point = view.points.first(Role.ROOM_TEMPERATURE)
        self._event: str | None = None  # what the reservoir's reading of this very instant has shown
        self.is_watching = warmth is not None and self._basin_point is not None and self._reservoir_point is not None
        if not self.is_watching:
            self.roles = frozenset()
        self.first: list[Transfer] = []
        self.later: list[Transfer] = []
        self.short: Message | None = None  # the basin is below the label's minimum in the contact under way
        self._day: str | None = None  # local date of the last cycle
        self._liquid, self._basin = Averages(), Averages()
        self._away_ms: int | None = None
        self._look_ms = 0
        self._like: tuple[str, int] | None = None  # what it has looked like, since when

    # -- readings

    def begin(self, now: Now) -> None:
        self._refresh()

    def happened(self, event: Happening, now: Now) -> None:
        match event:
            case LiquidMoved(what):
                self._event = what
            case RecordKept(record, body, is_of_alarms) if not is_of_alarms:
                self._recorded(record, body)

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if point.id == self._reservoir_point:
            event, self._event = self._event, None
            self._hear_liquid(value, event, mono_ms, now)
        elif point.id == self._basin_point and self._basin.add(value, mono_ms) and self._basin.rows:
            self._doubt(mono_ms, now)

    def _hear_liquid(self, liquid_c: float, event: str | None, mono_ms: int, now: Now) -> None:
        """One reading of the reservoir; `event`: "away" or "back" where it has just shown that."""
        self._liquid.add(liquid_c, mono_ms)
        if event == "away":
            self._away_ms, self._look_ms, self.short = mono_ms, mono_ms + 2 * LOOK_MS, None
        elif event == "back":
            self.short = None
        if self._away_ms is not None and (mono_ms >= self._look_ms or event == "back"):
            self._look_ms = mono_ms + LOOK_MS
            self._measure(event == "back" or mono_ms - self._away_ms > GIVE_UP_MS, now)

    def _measure(self, is_last: bool, now: Now) -> None:
        """Measure the transfer under way if enough of it was seen, or if no more will be."""
        away_ms = self._away_ms
        assert away_ms is not None
        left_ms = left_at_ms(list(self._liquid.rows), away_ms)
        seen = arrival(list(self._basin.rows), left_ms)
        if seen is None or (not is_last and not seen.is_over and (not seen.rows or seen.rows[-1][0] < WINDOW_S - 20.0)):
            if is_last:
                self._away_ms = None
            return
        self._away_ms = None
        room = self._view.value(self._room_point, now.mono_ms)
        if seen.rose_k < BASIN_RISE_K and seen.was_c < (room if room is not None else seen.was_c) + WARM_K:
            return  # nothing arrived: the reservoir fell for another reason, or the probe isn't in the basin
        self._tell(seen, min(left_ms, seen.at_ms) - 20_000.0, room, now)

    def _tell(self, seen: Arrival, until_ms: float, room_c: float | None, now: Now) -> None:
        """The entry of a transfer, and what is learned of it."""
        zone, basin_point = self._view.zone, self._basin_point
        assert basin_point is not None
        wall_ms = now.wall_ms - (now.mono_ms - int(seen.at_ms))
        day = local_date(wall_ms, zone).isoformat()
        is_first = now.trusted and self._day != day
        self._day = day
        cold_c, cold_u, cold_from = self._cold(seen, room_c, is_first)
        if cold_c is not None and seen.was_c > cold_c + WARM_K:
            is_first = False
        liquid = self._liquid_before(until_ms)
        found = plateau(seen.rows, self._view.watches[basin_point].point.resolution or 0.0)
        body: dict[str, Any] = {
            "at": rfc3339(wall_ms), "point": basin_point, "first": is_first, "was_c": round(seen.was_c, 3), "cold_from": cold_from,
            "cold_c": None if cold_c is None else round(cold_c, 3), "liquid_c": None if liquid is None else round(liquid[0], 3),
            "basin_c": None, "share": None, "u": None,
        }  # fmt: skip
        if found is not None:
            body |= {"basin_c": round(found.basin_c, 3), "falls_k_per_min": round(found.falls_k_per_min, 3)}
        if found is not None and cold_c is not None and liquid is not None and liquid[0] - cold_c >= LEAST_ABOVE_K:
            above = liquid[0] - cold_c
            share = share_of(liquid[0], found.basin_c, cold_c)
            u = hypot(found.sd_k, (1.0 - share) * liquid[1], share * cold_u, self._step_k()) / above
            body |= {"share": round(share, 4), "u": round(u, 4)}
        why = self._why_not(body, liquid, found, seen.rows)
        body |= {"counts": why is None, "why": self._view.words.text(why)}
        if why is not None:
            body["msg"] = message_body(why)
        self._view.tell("transfer", cast(TransferSeenBody, body))
        self._take(body)
        self._refresh()
        if found is not None and why is None:
            self._warn(found, now)

    def _why_not(
        self,
        body: Mapping[str, Any],
        liquid: tuple[float, float] | None,
        found: Plateau | None,
        rows: Sequence[tuple[float, float]],
    ) -> Message | None:
        """Why nothing is learned of a transfer; None where something is."""
        share = body["share"]
        if self._doubts.doubt_about((self._basin_point,)) is not None:
            return say("transfer.probe_doubted")
        if found is None:
            return say("transfer.too_short")
        if liquid is None:
            return say("transfer.reservoir_unread")
        if empties(rows):
            return say("transfer.cooled_too_fast")
        if body["cold_c"] is None:
            return say("transfer.room_unknown")
        if share is None:
            return say("transfer.hardly_warmer")
        if share < LEAST_SHARE:
            return say("transfer.followed")
        if share > MOST_SHARE:
            return say("transfer.hardly_seen")
        return None if body["u"] <= MOST_U else say("transfer.scattered")

    def _cold(self, seen: Arrival, room_c: float | None, is_first: bool) -> tuple[float | None, float, str]:
        """(what the liquid met [Cel], its standard uncertainty [K], where from)."""
        warmth = self._warmth
        assert warmth is not None
        if room_c is not None:
            return warmth.mixing_c(room_c), ROOM_U_K, "room"
        rest = [c for _, c in self._basin.between(seen.at_ms - 20 * 60_000, seen.at_ms - 4 * 60_000)]
        if len(rest) < 6 or max(rest) - min(rest) > 1.5 or not is_first:
            return None, 0.0, ""
        return warmth.mixing_c(median(rest)), REST_U_K, "basin"

    def _liquid_before(self, until_ms: float) -> tuple[float, float] | None:
        """(the liquid's temperature when it left [Cel], standard uncertainty), by the line through the three minutes before."""
        rows = self._liquid.between(until_ms - 180_000, until_ms)
        if not rows:
            rows = [row for row in self._liquid.rows if row[0] <= until_ms and until_ms - row[0] < 5 * 60_000][-1:]
        n = len(rows)
        if n < 4:
            return (median([c for _, c in rows]), 0.15) if rows else None
        times = [(t - until_ms) / 60_000.0 for t, _ in rows]
        mean_t, mean_c = sum(times) / n, sum(c for _, c in rows) / n
        spread = sum((t - mean_t) ** 2 for t in times)
        slope = sum((t - mean_t) * (c - mean_c) for t, (_, c) in zip(times, rows, strict=True)) / spread
        slope = min(max(slope, -0.4), 0.4)
        left = sum((c - mean_c - slope * (t - mean_t)) ** 2 for t, (_, c) in zip(times, rows, strict=True)) / (n - 2)
        return mean_c - slope * mean_t, sqrt(max(left, LEAST_SD_K**2) * (1.0 / n + mean_t**2 / spread)) + 0.03

    def _step_k(self) -> float:
        """What both probes' steps leave, where the station file tells them."""
        points = (self._basin_point, self._reservoir_point)
        steps = [self._view.watches[p].point.resolution or 0.0 for p in points if p is not None]
        return 0.3 * hypot(*steps) / sqrt(4.0)

    def _warn(self, found: Plateau, now: Now) -> None:
        """Contact below the label's minimum is worth a sentence; it changes nothing."""
        view, warmth, point = self._view, self._warmth, self._basin_point
        assert warmth is not None and point is not None
        plan = warmth.plan
        guard = view.watches[point].guard
        if found.basin_c - guard >= plan.contact_min_c - AT_LIMIT:
            return
        short = say("basin.short", here=celsius(found.basin_c, point), least=celsius(plan.contact_min_c, point))
        view.advise(Advice(point, "below_label", short, say("basin.short.advice")), now)
        self.short = short if warmth.cycle.is_away(now.mono_ms) else None

    # -- a probe that shows something else

    def _doubt(self, mono_ms: int, now: Now) -> None:
        """Does the basin's probe show the reservoir, or the reservoir's the basin? Looked at each quarter of a minute.

        A liquid that nobody heats comes to the room's temperature, as the basin is: only well above a room that is read, or above any, does
        it tell.
        """
        point, warmth, doubts = self._basin_point, self._warmth, self._doubts
        assert warmth is not None and point is not None
        liquid, basin = self._view.value(self._reservoir_point, mono_ms), self._basin.rows[-1][1]
        if liquid is None or warmth.cycle.may_explain_cold(mono_ms):
            self._like = None
            return
        room_c = self._rooms.room_c(mono_ms)
        far_c = WARMEST_ROOM_C if room_c is None else max(room_c, self._rooms.room_now(now.mono_ms)) + FAR_K
        what = ""
        if abs(basin - liquid) <= FOLLOWS_K and min(basin, liquid) >= far_c:
            what = FOLLOWS
        elif basin >= liquid + ABOVE_K and basin >= far_c:
            what = SWAPPED
        elif basin < liquid - ABOVE_K:
            what = APART
        if not what or self._like is None or self._like[0] != what:
            self._like = (what, mono_ms) if what else None
            return
        lasts_ms = mono_ms - self._like[1]
        doubted = self._view.watches[point].doubt
        if what == APART:
            ours = doubts.doubts.get(OTHER, {}).get(point)
            if ours is not None and lasts_ms >= CLEARED_MS and doubted is ours:
                doubts.change([point], None, say("basin.is_basin_again"))
        elif doubted is None and lasts_ms >= FOLLOWS_MS:
            doubts.change([point], DOUBTS[what], DOUBTS[what].cause)

    # -- what is learned

    def _refresh(self) -> None:
        """Judge with what is known now."""
        warmth = self._warmth
        if warmth is None or self._basin_point is None or not self.is_watching:
            return
        watch = self._view.watches[self._basin_point]
        above = max(warmth.plan.set_point_c - 20.0, LEAST_ABOVE_K)
        sure = 0.0 if watch.correction is None else watch.correction.u / above
        stated = UNSTATED_U_K if watch.point.uncertainty is None else watch.point.uncertainty
        u = sure if watch.correction is not None else stated / above
        warmth.believe(decided(warmth.filed, self.first, self.later, sure, u))

    def _take(self, body: Mapping[str, Any]) -> None:
        if body["counts"] and body["share"] is not None:
            seen = Transfer(float(body["share"]), float(body["u"]))
            if body["first"]:
                self.first = [*self.first, seen][-TRANSFERS_KEPT:]
            else:
                self.later = [*self.later, seen][-TRANSFERS_KEPT:]

    def _recorded(self, record: str, body: Mapping[str, Any]) -> None:
        """A fact: where it counts, other equipment or a probe with another calibration ends what was learned."""
        why = None
        if not body["counts"]:
            return
        ours = body.get("point") in (self._basin_point, self._reservoir_point)
        if record == "equipment_change" and (ours or body.get("what") != "sensor_fitted"):
            why = say("transfer.equipment_changed")
        elif record == "calibration" and ours:
            why = say("transfer.calibrated", point=name(body["point"]))
        if why is None or not (self.first or self.later):
            return
        n = len(self.first) + len(self.later)
        what = say("transfer.forgotten", why=part(why), cycles=number(n), filed=part(self._filed()))
        words = self._view.words
        told: TransferForgottenBody = {
            "forgotten": n, "why": words.text(why), "text": words.text(what), "msg": message_body(what),
        }  # fmt: skip
        self._view.tell("transfer", told)
        self.first, self.later = [], []
        self._refresh()

    def _filed(self) -> Message | None:
        """What holds again instead."""
        return None if self._warmth is None else say("transfer.forgotten.filed", loss=part(self._warmth.filed.origin))

    # -- after a restart

    def fold(self, entry: Entry) -> None:
        body = entry.body
        if "forgotten" in body:
            self.first, self.later = [], []
            return
        self._day = local_date(wall_ms_of(body["at"]), self._view.zone).isoformat()
        self._take(body)

    def state(self) -> dict[str, Any]:
        first, later = ([list(seen) for seen in shares] for shares in (self.first, self.later))
        return {"transfers": {"first": first, "later": later, "day": self._day}}

    def restore(self, state: Mapping[str, Any]) -> None:
        state = state.get("transfers", {})
        self.first = [Transfer(*one) for one in state.get("first", ())]
        self.later = [Transfer(*one) for one in state.get("later", ())]
        self._day = state.get("day")
