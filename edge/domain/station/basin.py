"""What a probe in the basin shows of each transfer, and what a station learns of its loss.

When a cycle takes the liquid away (cycle.py), the reservoir's fall says when, within a minute; the basin's rise says it better. Before
it stands the liquid's temperature, after it the basin's: a probe follows with a lag, liquid and metal even out, and the whole cools
slowly. With x seconds since the rise

    T(x) = a - b x + d exp(-x/lag) + e exp(-x/even)

a - b x is what the liquid became by the transfer. Over a grid of b, lag and even the least squares give a, d and e, weighted by how
well they fit: its temperature and standard deviation without choosing one. Slow evening out looks much like cooling; so it is told for
the time a minute and a half after the rise, not for the rise itself: what is lost until then counts as lost on the way.

f = (liquid - basin)/(liquid - Tcold), Tcold the room; where no room is measured it is what the basin's own probe showed at rest before,
since the declared coldest room would make f look smaller than it is.

The day's first cycle finds all cold and counts; a basin that is warm already (a later cycle, rinse residue) is counted apart.
Common practice, no published source; `python -m tests.bench.transfer` is what it was tried on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from math import exp, hypot, sqrt
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.doubts.table import WARMEST_ROOM_C
from edge.domain.entries import Now, rfc3339, wall_ms_of
from edge.domain.heat.transfer_loss import REMEMBERED, UNSTATED_U_K, Seen, decided, share_of
from edge.domain.heat.warmup import hinge
from edge.domain.maths.robust import median
from edge.domain.readings import Role
from edge.domain.records.book import local_date

if TYPE_CHECKING:
    from edge.domain.station.station import Station

BIN_MS: Final = 15_000
KEPT_MS: Final = 25 * 60_000
#: the basin's rise is looked for from so long before the reservoir's fall (a large heel shows it late) until so long after it
RISES_FROM_MS: Final = 300_000
RISES_UNTIL_MS: Final = 300_000
RISE_K: Final = 2.0  # less than this is none
RISE_WITHIN_MS: Final = 75_000
#: the part of the contact that is measured; by the label it lasts longer, or little so
WINDOW_S: Final = 300.0
LEAST_S: Final = 160.0
FILLED_S: Final = 20.0
#: after the window by this the transfer is measured, whatever was seen of it
GIVE_UP_MS: Final = 8 * 60_000
LOOK_MS: Final = 30_000
LAGS_S: Final = (4.0, 8.0, 15.0, 25.0, 40.0, 60.0, 90.0, 130.0)
COUNTS_FROM_S: Final = 90.0
EVENS_S: Final = (30.0, 60.0, 100.0)
COOLS_K_PER_MIN: Final = (0.0, 0.03, 0.07, 0.12, 0.2)
EVENS_K: Final = 3.0  # how much of it evening out can take, standard deviation
LEAST_SD_K: Final = 0.02
USUAL_COOLS_K_PER_MIN: Final = 0.06  # a few litres lose some tens of watts to basin and room
#: falls faster by so much within a quarter of a minute than just before, and the liquid has left the basin
LEAVES_K: Final = 0.35
#: and one that still falls so fast at the end never held it
EMPTIES_K_PER_MIN: Final = 0.6
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

FOLLOWS: Final = (
    "the basin's probe shows the reservoir's temperature",
    "Check that the basin's probe hangs in the basin, and the points' lines in the station file",
)
SWAPPED: Final = (
    "the basin's probe shows more than the reservoir's: points probably exchanged",
    "Check which probe hangs in the reservoir and which in the basin, and the points' lines in the station file",
)


class Averages:
    """Means of a quarter of a minute: (ms of their middle, Cel), for 25 minutes."""

    __slots__ = ("rows", "_from_ms", "_times", "_sum", "_n")

    def __init__(self) -> None:
        self.rows: deque[tuple[int, float]] = deque()
        self._from_ms = self._times = self._n = 0
        self._sum = 0.0

    def add(self, value_c: float, mono_ms: int) -> bool:
        """One reading. True where it ended a quarter of a minute."""
        ended = self._n > 0 and mono_ms - self._from_ms >= BIN_MS
        if ended:
            rows = self.rows
            rows.append((self._times // self._n, self._sum / self._n))
            while rows and mono_ms - rows[0][0] > KEPT_MS:
                rows.popleft()
            self._n = 0
        if not self._n:
            self._from_ms, self._times, self._sum = mono_ms, 0, 0.0
        self._times += mono_ms
        self._sum += value_c
        self._n += 1
        return ended

    def between(self, from_ms: float, to_ms: float) -> list[tuple[int, float]]:
        """Those whose middle lies within."""
        return [row for row in self.rows if from_ms <= row[0] <= to_ms]


class Plateau(NamedTuple):
    """What the basin came to: Cel at COUNTS_FROM_S, standard deviation, and how fast it cools."""

    basin_c: float
    sd_k: float
    falls_k_per_min: float


class Arrival(NamedTuple):
    """The liquid's arrival in the basin: when [ms], what stood there before [Cel], and the rows since, s and Cel."""

    at_ms: float
    was_c: float
    rose_k: float
    rows: list[tuple[float, float]]
    is_over: bool  # the liquid has left again


def plateau(rows: Sequence[tuple[float, float]], step_k: float = 0.0) -> Plateau | None:
    """The T(x) of this module's head without its last terms at COUNTS_FROM_S, from rows of (s since the rise, Cel); None: too few.

    Args:
        step_k: the probe's resolution [K], where it is known.
    """
    if len(rows) < 3 or rows[-1][0] < LEAST_S - FILLED_S:
        return None
    shapes = [(lag, even, cools) for lag in LAGS_S for even in EVENS_S for cools in COOLS_K_PER_MIN]
    found = [_fit(rows, lag, even, cools / 60.0) for lag, even, cools in shapes]
    best = min(left for _, _, left in found)
    variance = max((best + 3.0 * LEAST_SD_K**2) / len(rows), LEAST_SD_K**2, (step_k / 3.0) ** 2)
    whole = mean = square = falls = 0.0
    for (a, spread, left), (_, _, cools) in zip(found, shapes, strict=True):
        weight = exp(-0.5 * min((left - best) / variance, 60.0) - cools / USUAL_COOLS_K_PER_MIN)
        seen = a - cools * COUNTS_FROM_S / 60.0
        whole, mean, falls = whole + weight, mean + weight * seen, falls + weight * cools
        square += weight * (seen * seen + spread * variance)
    mean /= whole
    return Plateau(mean, hypot(LEAST_SD_K, sqrt(max(square / whole - mean * mean, 0.0))), falls / whole)


def _fit(rows: Sequence[tuple[float, float]], lag: float, even: float, cools: float) -> tuple[float, float, float]:
    """Least squares of a, d and e: (a, its variance in units of that of a row, sum of squares left)."""
    base, n = rows[-1][1], float(len(rows))
    # beforehand, in units of a row's noise: d may be anything, e is a kelvin or so
    sd, se, sdd, sde, see, sy, sdy, sey, syy = 0.0, 0.0, 1e-6, 0.0, (LEAST_SD_K / EVENS_K) ** 2, 0.0, 0.0, 0.0, 0.0
    for x, c in rows:
        u, v, y = exp(-x / lag), exp(-x / even), c - base + cools * x
        sd, se, sdd, sde, see = sd + u, se + v, sdd + u * u, sde + u * v, see + v * v
        sy, sdy, sey, syy = sy + y, sdy + u * y, sey + v * y, syy + y * y
    # symmetric 3 x 3 by cofactors
    a00, a01, a02 = sdd * see - sde * sde, se * sde - sd * see, sd * sde - se * sdd
    a11, a12, a22 = n * see - se * se, sd * se - n * sde, n * sdd - sd * sd
    det = n * a00 + sd * a01 + se * a02
    a, d, e = ((a00 * sy + a01 * sdy + a02 * sey) / det, (a01 * sy + a11 * sdy + a12 * sey) / det,
               (a02 * sy + a12 * sdy + a22 * sey) / det)  # fmt: skip
    return base + a, a00 / det, max(syy - a * sy - d * sdy - e * sey, 0.0)


def left_at_ms(liquid: Sequence[tuple[int, float]], away_ms: int) -> float:
    """When the liquid began to leave, by the reservoir's averages before `away_ms`, when that was told."""
    rows = [(t, -c) for t, c in liquid if away_ms - 9 * 60_000 <= t <= away_ms + 45_000]
    bend = hinge(rows) if len(rows) >= 8 else None
    if bend is not None:
        return bend[0]
    late = [row for row in rows if row[0] >= away_ms - 5 * 60_000] or rows
    return max(late, key=lambda row: (-row[1], row[0]))[0] if late else float(away_ms)


def arrival(basin: Sequence[tuple[int, float]], left_ms: float) -> Arrival | None:
    """The basin's rise, or where there was none, what it shows from the time at which liquid must have come; None: too little was seen.

    Args:
        basin: the basin's averages.
        left_ms: when the reservoir says that the liquid left.
    """
    from_ms = left_ms - RISES_FROM_MS
    begins = _rise([row for row in basin if from_ms <= row[0] <= left_ms + RISES_UNTIL_MS])
    if begins is None:  # a heel may show only by the liquid's return that it was away
        begins = _rise([row for row in basin if row[0] < from_ms])
        if (
            begins is not None
            and min((c for t, c in basin if begins[0] + 90_000 < t < left_ms - 30_000), default=0.0) < begins[2]
        ):
            begins = None
    if begins is None:
        before = [c for t, c in basin if left_ms - 150_000 <= t < left_ms - 15_000]
        return Arrival(left_ms + 30_000, median(before), 0.0, *_since(basin, left_ms + 30_000)) if before else None
    at0_ms, rises_to_c, _ = begins
    before = [c for t, c in basin if at0_ms - 150_000 <= t <= at0_ms]
    was_c = min(median(before), rises_to_c)
    top = max(c for t, c in basin if at0_ms <= t <= at0_ms + 240_000)
    half, at_ms, prior = (was_c + top) / 2.0, float(at0_ms), (at0_ms, was_c)
    for row in basin:
        if row[0] <= at0_ms:
            continue
        if row[1] >= half:
            at_ms = prior[0] + (row[0] - prior[0]) * (half - prior[1]) / max(row[1] - prior[1], 1e-6)
            break
        prior = row
    return Arrival(at_ms, was_c, top - was_c, *_since(basin, at_ms))


def _rise(rows: Sequence[tuple[int, float]]) -> tuple[int, float, float] | None:
    """The steepest rise within RISE_WITHIN_MS: (where it begins [ms], the next average, what the liquid keeps above); None below RISE_K."""
    rose, first = 0.0, -1
    for i, (from_ms, from_c) in enumerate(rows):
        for j in range(i + 1, len(rows)):
            if rows[j][0] - from_ms > RISE_WITHIN_MS and j > i + 1:
                break
            if rows[j][1] - from_c > rose:
                rose, first = rows[j][1] - from_c, i
    if rose < RISE_K:
        return None
    return rows[first][0], rows[first + 1][1], rows[first][1] + 0.6 * rose


def _since(basin: Sequence[tuple[int, float]], at_ms: float) -> tuple[list[tuple[float, float]], bool]:
    """The rows of the window, and whether the liquid has left within it."""
    rows: list[tuple[float, float]] = []
    before = 0.0
    for t, c in basin:
        x = (t - at_ms) / 1000.0
        if x < FILLED_S or x > WINDOW_S:
            continue
        fell = (rows[-1][1] - c) / max((x - rows[-1][0]) / 15.0, 1.0) if rows else 0.0
        if x > 120.0 and fell > LEAVES_K + max(before, 0.0):  # evening out falls less and less
            return rows, True
        before = fell
        rows.append((x, c))
    return rows, False


def _empties(rows: Sequence[tuple[float, float]]) -> bool:
    """Does it still fall at the end as no basin does that holds liquid? (A fill that was broken off leaves warm metal.)"""
    late = [row for row in rows if row[0] >= max(rows[-1][0] - 90.0, 120.0)]
    return len(late) > 1 and (late[0][1] - late[-1][1]) * 60.0 / (late[-1][0] - late[0][0]) > EMPTIES_K_PER_MIN


class Transfers:
    """One station's transfers: what is learned of them, and what the basin's probe says against others.

    Args:
        tell: gets kind and body of each entry.
    """

    def __init__(self, station: Station, tell: Callable[[str, dict[str, Any]], None]) -> None:
        self._station, self._draft = station, tell
        plan, point = station.settings.reservoir, station.basin_point
        self.is_watching = plan is not None and point is not None and station.reservoir_point is not None
        self.first: list[Seen] = []
        self.later: list[Seen] = []
        self.short = ""  # the basin is below the label's minimum in the contact under way
        self._day: str | None = None  # local date of the last cycle
        self._liquid, self._basin = Averages(), Averages()
        self._away_ms: int | None = None
        self._look_ms = 0
        self._like: tuple[str, int] | None = None  # what it has looked like, since when

    # -- readings

    def hear_liquid(self, liquid_c: float, event: str | None, mono_ms: int, now: Now) -> None:
        """One reading of the reservoir; `event`: "away" or "back" where it has just shown that."""
        if not self.is_watching:
            return
        self._liquid.add(liquid_c, mono_ms)
        if event == "away":
            self._away_ms, self._look_ms, self.short = mono_ms, mono_ms + 2 * LOOK_MS, ""
        elif event == "back":
            self.short = ""
        if self._away_ms is not None and (mono_ms >= self._look_ms or event == "back"):
            self._look_ms = mono_ms + LOOK_MS
            self._measure(event == "back" or mono_ms - self._away_ms > GIVE_UP_MS, now)

    def hear_basin(self, basin_c: float, mono_ms: int, now: Now) -> None:
        """One reading of the basin."""
        if self.is_watching and self._basin.add(basin_c, mono_ms) and self._basin.rows:
            self._doubt(mono_ms, now)

    def _measure(self, is_last: bool, now: Now) -> None:
        """Measure the transfer under way if enough of it was seen, or if no more will be."""
        s, away_ms = self._station, self._away_ms
        assert away_ms is not None
        left_ms = left_at_ms(list(self._liquid.rows), away_ms)
        seen = arrival(list(self._basin.rows), left_ms)
        if seen is None or (not is_last and not seen.is_over and (not seen.rows or seen.rows[-1][0] < WINDOW_S - 20.0)):
            if is_last:
                self._away_ms = None
            return
        self._away_ms = None
        room = s.watches[s.room_point].value(now.mono_ms) if s.room_point is not None else None
        if seen.rose_k < RISE_K and seen.was_c < (room if room is not None else seen.was_c) + WARM_K:
            return  # nothing arrived: the reservoir fell for another reason, or the probe isn't in the basin
        self._tell(seen, min(left_ms, seen.at_ms) - 20_000.0, room, now)

    def _tell(self, seen: Arrival, until_ms: float, room_c: float | None, now: Now) -> None:
        """The entry of a transfer, and what is learned of it."""
        s = self._station
        assert s.basin_point is not None
        wall_ms = now.wall_ms - (now.mono_ms - int(seen.at_ms))
        day = local_date(wall_ms, s.zone).isoformat()
        is_first = now.trusted and self._day != day
        self._day = day
        cold_c, cold_u, cold_from = self._cold(seen, room_c, is_first)
        if cold_c is not None and seen.was_c > cold_c + WARM_K:
            is_first = False
        liquid = self._liquid_before(until_ms)
        found = plateau(seen.rows, s.watches[s.basin_point].point.resolution or 0.0)
        body: dict[str, Any] = {
            "at": rfc3339(wall_ms), "point": s.basin_point, "first": is_first, "was_c": round(seen.was_c, 3), "cold_from": cold_from,
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
        self._draft("transfer", body | {"counts": not why, "why": why})
        self._take(body | {"counts": not why})
        self.refresh()
        if found is not None and not why:
            self._warn(found, now)

    def _why_not(
        self,
        body: Mapping[str, Any],
        liquid: tuple[float, float] | None,
        found: Plateau | None,
        rows: Sequence[tuple[float, float]],
    ) -> str:
        share = body["share"]
        if self._station.contradictions.doubt_about((self._station.basin_point,)) is not None:
            return "the basin's probe is doubted"
        if found is None:
            return "the liquid stayed too short, or too little was read of it"
        if liquid is None:
            return "the reservoir wasn't read before it"
        if _empties(rows):
            return "the basin cooled too fast to hold the liquid"
        if body["cold_c"] is None:
            return "how cold the room is isn't known"
        if share is None:
            return "the liquid was hardly warmer than the room"
        if share < LEAST_SHARE:
            return "the basin showed the reservoir's own temperature"
        if share > MOST_SHARE:
            return "the basin's probe saw hardly any of the liquid"
        return "" if body["u"] <= MOST_U else "its readings are too scattered"

    def _cold(self, seen: Arrival, room_c: float | None, is_first: bool) -> tuple[float | None, float, str]:
        """(what the liquid met [Cel], its standard uncertainty [K], where from)."""
        warmth = self._station.warmth
        assert warmth is not None
        if room_c is not None:
            return warmth.cold_c(room_c), ROOM_U_K, "room"
        rest = [c for _, c in self._basin.between(seen.at_ms - 20 * 60_000, seen.at_ms - 4 * 60_000)]
        if len(rest) < 6 or max(rest) - min(rest) > 1.5 or not is_first:
            return None, 0.0, ""
        return warmth.cold_c(median(rest)), REST_U_K, "basin"

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
        s = self._station
        steps = [s.watches[p].point.resolution or 0.0 for p in (s.basin_point, s.reservoir_point) if p is not None]
        return 0.3 * hypot(*steps) / sqrt(4.0)

    def _warn(self, found: Plateau, now: Now) -> None:
        """Contact below the label's minimum is worth a sentence; it changes nothing."""
        s, plan = self._station, self._station.settings.reservoir
        assert plan is not None and s.basin_point is not None
        guard = s.watches[s.basin_point].guard
        if found.basin_c - guard >= plan.contact_min_c - AT_LIMIT:
            return
        label = s.show(s.basin_point, plan.contact_min_c)
        self.short = f"the basin came to {s.show(s.basin_point, found.basin_c)}, the label asks for {label}"
        advice = "Don't count on this contact; warm the reservoir further or the room before the next"
        body = {"point": s.basin_point, "reason": "below_label", "what": self.short, "advice": advice}
        self._draft("advice", body)
        if s.warmth is not None and not s.warmth.cycle.is_away(now.mono_ms):
            self.short = ""

    # -- a probe that shows something else

    def _doubt(self, mono_ms: int, now: Now) -> None:
        """Does the basin's probe show the reservoir, or the reservoir's the basin? Looked at each quarter of a minute.

        A liquid that nobody heats comes to the room's temperature, as the basin is: only well above a room that is read, or above any, does
        it tell.
        """
        s = self._station
        assert s.basin_point is not None and s.reservoir_point is not None and s.warmth is not None
        liquid, basin = s.watches[s.reservoir_point].value(mono_ms), self._basin.rows[-1][1]
        if liquid is None or s.warmth.cycle.may_explain_cold(mono_ms):
            self._like = None
            return
        room_c = s.contradictions.room_c(mono_ms)
        far_c = WARMEST_ROOM_C if room_c is None else max(room_c, s.cold_now(now)[0]) + FAR_K
        what = ""
        if abs(basin - liquid) <= FOLLOWS_K and min(basin, liquid) >= far_c:
            what = FOLLOWS[0]
        elif basin >= liquid + ABOVE_K and basin >= far_c:
            what = SWAPPED[0]
        elif basin < liquid - ABOVE_K:
            what = "apart"
        if not what or self._like is None or self._like[0] != what:
            self._like = (what, mono_ms) if what else None
            return
        lasts_ms = mono_ms - self._like[1]
        doubted = s.watches[s.basin_point].doubt
        if what == "apart":
            if doubted is not None and lasts_ms >= CLEARED_MS and doubted[0] in (FOLLOWS[0], SWAPPED[0]):
                s.contradictions.change([s.basin_point], None, "the basin's probe shows a basin again")
        elif doubted is None and lasts_ms >= FOLLOWS_MS:
            doubt = FOLLOWS if what == FOLLOWS[0] else SWAPPED
            s.contradictions.change([s.basin_point], doubt, doubt[0])

    # -- what is learned

    def look_at_supply(self, now: Now) -> None:
        """How cold the supply's water is, where it is a declared part of what the liquid meets.

        By the last draw, as a pipe at rest takes the room's temperature; else as it is read or entered, or declared.
        """
        s = self._station
        if s.warmth is None or not s.warmth.plan.supply_share:
            return
        last, watch = s.evidence.last, s.watches.get(s.supply_temperature_point or "")
        read = None if watch is None else watch.value(now.mono_ms)
        drawn = None if last is None or read is None else last["body"].get("supply_c")
        entered = s.readiness.entered(Role.SUPPLY_TEMPERATURE, now) if read is None else None
        known = drawn if drawn is not None else read if read is not None else None if entered is None else entered[0]
        s.warmth.supply_c = s.warmth.declared_supply_c if known is None else float(known)

    def refresh(self) -> None:
        """Judge with what is known now."""
        s = self._station
        if s.warmth is None or s.basin_point is None or not self.is_watching:
            return
        watch = s.watches[s.basin_point]
        above = max(s.warmth.plan.set_point_c - 20.0, LEAST_ABOVE_K)
        sure = 0.0 if watch.correction is None else watch.correction.u / above
        stated = UNSTATED_U_K if watch.point.uncertainty is None else watch.point.uncertainty
        u = sure if watch.correction is not None else stated / above
        s.warmth.believe(decided(s.warmth.filed, self.first, self.later, sure, u))

    def _take(self, body: Mapping[str, Any]) -> None:
        if body["counts"] and body["share"] is not None:
            seen = Seen(float(body["share"]), float(body["u"]))
            if body["first"]:
                self.first = [*self.first, seen][-REMEMBERED:]
            else:
                self.later = [*self.later, seen][-REMEMBERED:]

    def recorded(self, record: str, body: Mapping[str, Any]) -> None:
        """A fact: where it counts, other equipment or a probe with another calibration ends what was learned."""
        s = self._station
        why = ""
        if not body["counts"]:
            return
        ours = body.get("point") in (s.basin_point, s.reservoir_point)
        if record == "equipment_change" and (ours or body.get("what") != "sensor_fitted"):
            why = "the equipment was changed"
        elif record == "calibration" and ours:
            why = f"{body['point']} was calibrated"
        if not why or not (self.first or self.later):
            return
        n = len(self.first) + len(self.later)
        body = {
            "forgotten": n,
            "why": why,
            "text": f"{why}: the transfer loss of {n} cycles is forgotten, {self._filed()}",
        }
        self._draft("transfer", body)
        self.first, self.later = [], []
        self.refresh()

    def _filed(self) -> str:
        warmth = self._station.warmth
        assert warmth is not None
        return f"what the reservoir needs is told {warmth.filed.words} again"

    # -- after a restart

    def fold(self, body: Mapping[str, Any]) -> None:
        """Take an entry of the journal."""
        if "forgotten" in body:
            self.first, self.later = [], []
            return
        self._day = local_date(wall_ms_of(body["at"]), self._station.zone).isoformat()
        self._take(body)

    def state(self) -> dict[str, Any]:
        """What is known, as JSON."""
        return {"first": [list(s) for s in self.first], "later": [list(s) for s in self.later], "day": self._day}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self.first = [Seen(*one) for one in state.get("first", ())]
        self.later = [Seen(*one) for one in state.get("later", ())]
        self._day = state.get("day")
