"""The filter train as finished draws show it: the taps' zeros, each stage's drop over the water that has passed, what is left.

Everything here is rebuilt from the journal's draw entries, in their order. Pressure sensors of 1 % of 100 psi are 0.8 psi off, on a
clean drop of 2 psi; but while nothing flows all taps stand at one pressure. So the differences between the taps at rest, before
each draw (the whole of a quiet night is before the first one), are the differences of their zeros, and are taken off the drops. Zeros
drift: where they move by more than a quiet spell's own noise, fewer of the last spells are asked.

A drop that falls suddenly is never good news: a filter may be torn or by-passed, or was changed and nobody recorded it. Numbers
that have no source beside them are common practice, no published source.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entry_bodies import DrawBody, tap_kpa
from edge.domain.maths.robust import MAD_TO_SIGMA, Z90, mad_sigma, mann_kendall, median
from edge.domain.settings import Settings
from edge.domain.water.filter_life import SCALE_U, Housing, Kind, Life, Point, fit
from edge.domain.water.filter_pair import LEAST_TOGETHER, Pair, Side, together
from edge.domain.water.normalise import GAINS_AT_MOST_KPA, Parts, colder_share, parts, scaled, taps_of

#: the whole train as one stage, where no pressure is known between its stages; no filter's id is a star
TRAIN: Final = "*"
#: zeros: the median of so many quiet spells at most, and of so few where they drift; a difference beyond this is no zero error (a check
#: valve holds pressure, say)
ZERO_SPELLS: Final = 15
LEAST_SPELLS: Final = 3
ZERO_AT_MOST_KPA: Final = 25.0
#: spells kept to tell drift from noise, by how they differ from the next and from the eighth after; less than this is no drift but chance
ZEROS_KEPT: Final = 60
DRIFTS_OVER: Final = 8
BY_CHANCE: Final = 1.3
#: points kept of a stage, each of as many draws as the first; beyond, neighbours are merged. An even number
POINTS_KEPT: Final = 96
#: draws whose median is the drop now
LAST: Final = 3
#: how good a median deviation is, as a share of the draws (Hampel: 37 %)
MAD_AS_GOOD: Final = 0.37
#: a fall is told by so many draws, before two of them could make the median look better; it is judged against those before them
FELL_LAST: Final = 2
BEFORE: Final = 10
#: a drop that is up again within so many draws had not fallen; one that grows again later is another filter's, or a torn one's
COMES_BACK: Final = 6
LEAST_BEFORE: Final = 5
#: a fall to less than this share of the least of so few is none of scatter or of a change that nobody recorded: a new filter takes more
NEARLY_ALL: Final = 0.2
FEWEST_BEFORE: Final = 2
#: a fall by this share, this much and this many standard deviations is sudden
FELL_SHARE: Final = 0.3
FELL_KPA: Final = 3.0
FELL_SIGMA: Final = 6.0
#: a new filter that takes less than this share of what the one before took when it was clean is none: an empty housing takes some too. That
#: one was seen clean where it took no more than this share of its limit (media of one rating differ by two, not by four)
EMPTY_SHARE: Final = 0.25
CLEAN_SHARE: Final = 0.5
#: a filter that is due stays so until it is changed, or its drop is below its limit by this share
DUE_BAND: Final = 0.1
#: standard uncertainty of a drop's scale where nobody measures the water's temperature: 2.5 % of viscosity go with 1 K, cold water moves
#: by some 4 K over the year, and its mean may be as far from the reference
SCALE_BLIND_U: Final = 0.15
#: the first of two stages that seem to end together is told as ending by this share sooner
TIE: Final = 0.005
#: a stage loads where its drops rise with this standard score (Mann-Kendall; 2.5 % by chance)
LOADS_Z: Final = 1.96
#: the fit is made anew once this share more water has passed
AGAIN_SHARE: Final = 0.02


class Zeros:
    """By how much each tap reads below the supply's at rest [kPa]."""

    def __init__(self) -> None:
        self._seen: dict[str, deque[float]] = {}
        self._below: dict[str, float] = {}  # of what was seen by now
        self.held: frozenset[str] = (
            frozenset()
        )  # taps whose gauges stand apart: nothing is learnt of them (cross_checks.py)

    def learn(self, static_kpa: Mapping[str, float]) -> None:
        """Pressures of all taps in one quiet spell."""
        supply = static_kpa.get("supply")
        if supply is None:
            return
        self._below.clear()
        for tap, kpa in static_kpa.items():
            is_held = tap in self.held or "supply" in self.held
            if tap != "supply" and not is_held and abs(supply - kpa) <= ZERO_AT_MOST_KPA:
                self._seen.setdefault(tap, deque(maxlen=ZEROS_KEPT)).append(round(supply - kpa, 4))

    def forget(self, tap: str) -> None:
        """This tap's gauge was calibrated, or compared; where it is the supply's, all are read against it anew."""
        for one in [tap] if tap != "supply" else list(self._seen):
            self._seen.pop(one, None)
        self._below.clear()

    def below(self, tap: str) -> float:
        """What has to be added to a tap's pressure to make it comparable with the supply's."""
        if tap not in self._below:
            seen = self._seen.get(tap)
            self._below[tap] = median(list(seen)[-spells_of(seen) :]) if seen else 0.0
        return self._below[tap]

    def surely_below(self, tap: str) -> float:
        """As below(), but never too little: pressure that a check valve holds behind the supply's gauge looks as a tap that reads above it,
        and is gone once the valve lets go. The one that stands out isn't counted.
        """
        seen = self._seen.get(tap)
        return max([0.0, *sorted(seen)[-2:][:1]]) if seen else 0.0

    def knows(self, tap: str) -> bool:
        """Was this tap ever seen at rest?"""
        return tap == "supply" or tap in self._seen

    def state(self) -> dict[str, list[float]]:
        """What has to survive a restart, as JSON."""
        return {tap: list(seen) for tap, seen in self._seen.items()}

    def restore(self, state: Mapping[str, Sequence[float]]) -> None:
        """Take back what state() gave."""
        self._seen = {tap: deque(seen, maxlen=ZEROS_KEPT) for tap, seen in state.items()}
        self._below.clear()


def spells_of(seen: Sequence[float]) -> int:
    """Of how many of the last quiet spells the median tells a zero best: fewer where it drifts by more than the spells' own noise.

    A walk of variance q from one to the next, read with variance r: values that are m apart differ by 2 r + m q. The median of m has
    a variance of about 1.57 r / m by noise and q m / 3 by what it is behind, so the best m is sqrt(4.7 r / q).
    """
    if len(seen) < 3 * DRIFTS_OVER:
        return ZERO_SPELLS
    near, far = (_spread(seen, apart) for apart in (1, DRIFTS_OVER))
    drift = max(far - BY_CHANCE * near, 0.0) / (DRIFTS_OVER - 1)
    noise = max(near - drift, 0.0) / 2.0
    best = math.sqrt(4.7 * noise / drift) if drift > 0.0 else math.inf
    return int(min(max(best, LEAST_SPELLS), ZERO_SPELLS))


def _spread(seen: Sequence[float], apart: int) -> float:
    """The mean square of the differences of values so far apart; the wildest are taken as three standard deviations."""
    rows = list(seen)
    off = [b - a for a, b in zip(rows, rows[apart:], strict=False)]
    most = 3.0 * MAD_TO_SIGMA * median([abs(v) for v in off])
    return sum(min(abs(v), most) ** 2 for v in off) / len(off)


class Fall(NamedTuple):
    """A sudden fall of a drop: from, to [kPa]; wall time of the last draw before it."""

    before_kpa: float
    after_kpa: float
    wall_ms: int


class Seen(NamedTuple):
    """A point of the stage's life, and the wall time of its (last) draw."""

    wall_ms: int
    point: Point


class Stage:
    """One stage of the train, or all of it as one. Drops at the reference [kPa] since its last change."""

    def __init__(self, limit_kpa: float | None) -> None:
        self.limit_kpa = limit_kpa
        self.life: Life | None = None
        self._alone: Life | None = None  # by its own points, without what the other stage tells
        self.loads = True  # as far as can be told: its drops rise, or there were too few of them
        self.fell: Fall | None = None
        self._seen: list[Seen] = []
        self._aside: list[Seen] = []  # of before the last change; a correction may take the change back
        self._recent: deque[Seen] = deque(maxlen=FELL_LAST + BEFORE)
        self.colder: float | None = (
            None  # where the last draw's water temperature isn't known: how much of its drop may be cold water
        )
        self.is_due = False
        self._housing = Housing()  # outlasts a change: the housing stays
        self._before: Point | None = None
        self._fitted_l: float | None = None
        self._told: dict[int | None, float | None] = {}  # drop_kpa's answers since the last draw

    def add(self, seen: Seen, changed_ms: int | None, colder: float | None = None) -> None:
        """One more draw; `colder`: its water's temperature is not known, and so much of its drop may be by that."""
        self.colder = colder
        self._told.clear()
        self.rebase(changed_ms)
        if self._before is not None:
            self._housing = self._housing.and_draws(self._before, seen.point)
        self._before = seen.point
        self._recent.append(seen)
        self._look_for_fall(changed_ms)
        self._look_whether_due(changed_ms)
        if self._seen and seen.point.volume_l <= self._seen[-1].point.volume_l:
            return  # the meter ran backwards, or no water passed: no new point of its life
        open_still = len(self._seen) > 1 and self._seen[-1].point.weight < self._seen[0].point.weight
        if open_still:
            self._seen[-1] = _merged(self._seen[-1], seen)
            return
        if len(self._seen) == POINTS_KEPT:
            self._seen = [_merged(a, b) for a, b in zip(self._seen[::2], self._seen[1::2], strict=True)]
        self._seen.append(seen)

    def rebase(self, changed_ms: int | None) -> None:
        """What was before the last change is of another filter."""
        since = -math.inf if changed_ms is None else changed_ms
        if self.fell is not None and self.fell.wall_ms < since:
            self.fell = None
        if self._recent and self._recent[-1].wall_ms <= since:
            self.is_due = False
        old, new = self._aside, self._seen
        if (old and old[-1].wall_ms > since) or (new and new[0].wall_ms <= since):
            every = [*old, *new]
            self._seen = [seen for seen in every if seen.wall_ms > since]
            self._aside = [seen for seen in every if seen.wall_ms <= since][-POINTS_KEPT:]
            self._told.clear()
            self.life = self._fitted_l = None
            self.loads = True

    def _housing_kpa(self) -> float:
        first = [seen.point for seen in self._seen[:5]]
        clean = median([point.drop_kpa / point.laminar for point in first]) if first else 0.0
        return self._housing.known_kpa(clean) if clean > 0.0 else 0.0

    def level(self, point: Point) -> float:
        """A draw's drop at the reference: the medium's share scaled, the housing's by the square of the flow where it is known."""
        return scaled(point.drop_kpa, Parts(point.laminar, point.square), self._housing_kpa())

    def _levels(self, changed_ms: int | None) -> list[float]:
        """Drops at the reference of the last draws."""
        housing = self._housing_kpa()
        return [
            scaled(seen.point.drop_kpa, Parts(seen.point.laminar, seen.point.square), housing)
            for seen in self._recent
            if changed_ms is None or seen.wall_ms > changed_ms
        ]

    def drop_kpa(self, changed_ms: int | None) -> float | None:
        """The drop now: the median of the last three draws; of two, the later. None where there was none since the change."""
        if changed_ms not in self._told:
            levels = self._levels(changed_ms)[-LAST:]
            self._told[changed_ms] = None if not levels else levels[-1] if len(levels) < LAST else median(levels)
        return self._told[changed_ms]

    def took_clean_kpa(self, changed_ms: int | None) -> float | None:
        """What the filters before took when they were clean, where this one takes far too little to be a filter; else None.

        By two draws, as air leaves a housing with the first. A clean drop is the least but for one in ten: some are of other water.
        """
        now = self._levels(changed_ms)[-FELL_LAST:]
        before = sorted(self.level(seen.point) for seen in self._aside)
        if not before or len(now) < FELL_LAST or self.limit_kpa is None:
            return None
        clean = before[len(before) // 10]
        seen_clean = clean <= CLEAN_SHARE * self.limit_kpa
        return clean if seen_clean and max(now) < EMPTY_SHARE * clean else None

    def half_kpa(self, changed_ms: int | None) -> float | None:
        """Half the 90 % interval of `drop_kpa` by how the draws scatter from one to the next; None where there were too few.

        The median of three normal values has 0.67 times the standard deviation of one (textbook); that of few differences is itself
        poorly known, as Student's factor for so few says (Cornish and Fisher's first term).
        """
        levels = self._levels(changed_ms)
        steps = [abs(b - a) for a, b in pairwise(levels)]
        if len(steps) < LAST:
            return None
        sigma = MAD_TO_SIGMA * median(steps) / math.sqrt(2.0)
        return Z90 * (1.0 + (Z90 * Z90 + 1.0) / (4.0 * len(steps) * MAD_AS_GOOD)) * 0.67 * sigma

    def _look_for_fall(self, changed_ms: int | None) -> None:
        levels = self._levels(changed_ms)
        if self.fell is not None:
            since = sum(seen.wall_ms > self.fell.wall_ms for seen in self._recent)
            is_back = min(levels[-FELL_LAST:], default=0.0) > (self.fell.before_kpa + self.fell.after_kpa) / 2.0
            if is_back and since <= COMES_BACK:
                self.fell = None
            return
        before, after = levels[:-FELL_LAST], levels[-FELL_LAST:]
        nearly_all = len(before) >= FEWEST_BEFORE and max(after) < NEARLY_ALL * min(before)
        if len(before) < LEAST_BEFORE and not nearly_all:
            return
        was, now = median(before), max(after)
        if was - now > max(FELL_SHARE * was, FELL_KPA, FELL_SIGMA * mad_sigma(before)):
            self.fell = Fall(round(was, 3), round(median(after), 3), self._recent[-FELL_LAST - 1].wall_ms)

    def doubt_kpa(self, drop_kpa: float) -> float:
        """How much of a drop may be water that is colder than the reference."""
        return drop_kpa * self.colder if self.colder is not None else 0.0

    def _look_whether_due(self, changed_ms: int | None) -> None:
        drop = self.drop_kpa(changed_ms)
        if drop is None or self.limit_kpa is None:
            return
        band = DUE_BAND if self.is_due else 0.0
        self.is_due = drop - self.doubt_kpa(drop) > (1.0 - band) * self.limit_kpa

    def look(self, passed_l: float, changed_ms: int | None) -> bool:
        """Make the fit anew where enough has passed since the last; is there another than before?"""
        self.rebase(changed_ms)
        if self.limit_kpa is None or self.fell is not None or not self._seen:
            was, self.life, self._fitted_l = self.life, None, None
            return was is not None
        span = passed_l - self._seen[0].point.volume_l
        if self._fitted_l is not None and passed_l - self._fitted_l < AGAIN_SHARE * span:
            return False
        self._fitted_l = passed_l
        points = [seen.point for seen in self._seen]
        drops = [point.drop_kpa / point.laminar for point in points]
        self.loads = len(drops) < LEAST_TOGETHER or mann_kendall(drops).z > LOADS_Z
        scale_u = SCALE_U if self.colder is None else SCALE_BLIND_U
        self._alone = fit(points, self._housing, self.limit_kpa, passed_l, scale_u)
        self.life = self._alone
        return True

    def side(self) -> Side | None:
        """This stage for a look at two together."""
        if self.life is None or self._alone is None or self.limit_kpa is None:
            return None
        return Side([s.point for s in self._seen], self.limit_kpa, self._alone)

    def told(self, weights: Mapping[Kind, float]) -> None:
        """The other stage told of this one's law as well."""
        if self._alone is not None:
            self.life = self._alone.weighed(weights)

    def left(self, passed_l: float) -> tuple[float, float, float] | None:
        """(litres left, 5 and 95 % points); infinity where the drop hardly grows. None where nothing can be said."""
        if self.life is None or self._fitted_l is None:
            return None
        since = passed_l - self._fitted_l
        low, middle, high = (max(v - since, 0.0) for v in (self.life.low_l, self.life.left_l, self.life.high_l))
        return middle, low, high

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON."""
        fell = None if self.fell is None else list(self.fell)
        lists = {"seen": self._seen, "aside": self._aside, "recent": self._recent}
        return {name: [_flat(seen) for seen in kept] for name, kept in lists.items()} | {
            "fell": fell,
            "housing": list(self._housing),
            "colder": self.colder,
            "due": self.is_due,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self._seen, self._aside = ([_seen(flat) for flat in state[name]] for name in ("seen", "aside"))
        self._recent = deque(map(_seen, state["recent"]), maxlen=FELL_LAST + BEFORE)
        self.colder, self.is_due = state["colder"], state["due"]
        self._housing, self._before = Housing(*state["housing"]), self._recent[-1].point if self._recent else None
        self.fell = None if state["fell"] is None else Fall(*state["fell"])
        self._told.clear()


def _merged(a: Seen, b: Seen) -> Seen:
    """Two neighbours as one: the sums that the fit makes of them stay the same, but for the curve between them."""
    one, other = a.point, b.point
    weight = one.weight + other.weight
    mean = [(x * one.weight + y * other.weight) / weight for x, y in zip(one[:4], other[:4], strict=True)]
    return Seen(b.wall_ms, Point(mean[0], mean[1], mean[2], mean[3], weight))


def _flat(seen: Seen) -> list[float]:
    return [seen.wall_ms, *(round(value, 6) for value in seen.point)]


def _seen(flat: Sequence[float]) -> Seen:
    return Seen(int(flat[0]), Point(*flat[1:]))


def _pooled(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """The mean of two medians, each weighing by its interval's width; the other where one is infinite."""
    known = [left for left in (one, other) if math.isfinite(left[0])]
    if not known:
        return math.inf
    weights = [(max(min(high, 1e12) - low, 1e-9)) ** -2 for _, low, high in known]
    return sum(w * left[0] for w, left in zip(weights, known, strict=True)) / sum(weights)


class Train:
    """All stages of a station.

    Args:
        changed: a filter's last recorded change, wall time in ms; None where there is none on record.
    """

    def __init__(
        self, settings: Settings, taps: frozenset[str], changed: Callable[[str], int | None], zone: ZoneInfo
    ) -> None:
        self._settings, self._changed, self._zone = settings, changed, zone
        self.zeros = Zeros()
        ids = [stage.id for stage in settings.filters]
        limits = {stage.id: stage.drop_limit_kpa for stage in settings.filters}
        pairs = {ident: pair for ident, pair in taps_of(ids).items() if set(pair) <= taps}
        #: stages can't be told apart: only the drop over all of them is known
        self.is_lumped = not pairs and len(ids) > 1 and {"supply", "filtered"} <= taps
        self._pairs = {TRAIN: ("supply", "filtered")} if self.is_lumped else pairs
        known = [limit for limit in limits.values() if limit is not None]
        limits[TRAIN] = sum(known) if len(known) == len(ids) else None
        self.stages = {ident: Stage(limits[ident]) for ident in self._pairs}
        self.pair: Pair | None = None

    def of(self, ident: str) -> Stage | None:
        """The stage that tells of a filter: its own, or the whole train."""
        return self.stages.get(TRAIN if self.is_lumped else ident)

    def taps_of(self, ident: str) -> tuple[str, ...]:
        """The taps before and after a filter, or of all of them where no pressure is known between."""
        return tuple(self._pairs.get(TRAIN if self.is_lumped else ident, ()))

    def zeros_known(self, ident: str) -> bool:
        """Were the zeros of both taps about a filter seen, so that they are taken off its drop?"""
        return all(self.zeros.knows(tap) for tap in self.taps_of(ident))

    def changed_ms(self, ident: str) -> int | None:
        """When a stage was last changed; the whole train counts from its newest change."""
        if ident != TRAIN and not self.is_lumped:
            return self._changed(ident)
        return max(filter(None, (self._changed(stage.id) for stage in self._settings.filters)), default=None)

    def rebase(self) -> None:
        """Filters may have been changed: what was seen before is of others."""
        for ident, stage in self.stages.items():
            stage.rebase(self.changed_ms(ident))

    def learn(self, body: DrawBody, wall_ms: int) -> dict[str, float]:
        """Take a draw's entry; the drop [kPa] at the reference of each stage, by filter id, that it shows."""
        flow_l_min, temperature_c = body["flow_l_min"], body["supply_c"]
        self.zeros.learn(body.get("static_kpa") or {})
        if flow_l_min is None or flow_l_min <= 0.0 or body["ended"] != "flow":
            return {}
        laminar, square = parts(self._settings, flow_l_min, temperature_c)
        reference_c = self._settings.reference_c
        blind = temperature_c is None and reference_c is not None
        colder = colder_share(reference_c, wall_ms, self._zone) if blind and reference_c is not None else None
        found: dict[str, float] = {}
        for ident, (before, after) in self._pairs.items():
            high, low = tap_kpa(body, before), tap_kpa(body, after)
            if high is None or low is None or not self.zeros.held.isdisjoint((before, after)):
                continue
            drop = (high + self.zeros.below(before)) - (low + self.zeros.below(after))
            if drop < -GAINS_AT_MOST_KPA:
                continue
            point = Point(body["total_l"] - body["volume_l"] / 2.0, laminar, square, drop)
            self.stages[ident].add(Seen(wall_ms, point), self.changed_ms(ident), colder)
            found[ident] = round(self.stages[ident].level(point), 4)
        return found

    def look(self, passed_l: float) -> None:
        """After a draw: fits, where it is time for one."""
        anew = [stage.look(passed_l, self.changed_ms(ident)) for ident, stage in self.stages.items()]
        if len(self.stages) != 2 or not any(anew):
            return
        one, other = self.stages.values()
        own, its = one.side(), other.side()
        both_load = one.loads and other.loads  # else what one tells is nothing of the other
        self.pair = None if own is None or its is None or not both_load else together(own, its)
        if self.pair is not None:
            one.told(self.pair.one_kinds)
            other.told(self.pair.other_kinds)

    def left(self, ident: str, passed_l: float) -> tuple[float, float, float] | None:
        """A stage's litres left, 5 and 95 % points. Where both together say which is the first, its own can't be the more: what each
        alone said is then pooled."""
        stage = self.of(ident)
        own = None if stage is None else stage.left(passed_l)
        if own is not None and stage is not None and not stage.loads and own[0] > 0.0:
            return math.inf, own[1], math.inf
        if own is None or self.pair is None or self.is_lumped:
            return own
        lefts = {name: left for name, of in self.stages.items() if (left := of.left(passed_l)) is not None}
        if len(lefts) < 2 or any(left[0] == 0.0 for left in lefts.values()):
            return own
        names = list(lefts) if self.pair.one_first >= 0.5 else list(lefts)[::-1]
        first, second = (lefts[name] for name in names)
        pooled = _pooled(first, second)
        if first[0] < second[0] or math.isinf(pooled):
            return own
        middle = pooled * (1.0 - TIE) if names[0] == ident else pooled * (1.0 + TIE)
        return middle, min(own[1], middle), max(own[2], middle)

    def leading(self, passed_l: float) -> str | None:
        """The stage that will reach its limit first; where that can't be told, the one that has used up most of it. Never one that
        doesn't load."""
        if self.is_lumped or len(self.stages) < 2:
            return None
        ranks: list[tuple[float, float, str]] = []
        for ident, stage in self.stages.items():
            drop = stage.drop_kpa(self.changed_ms(ident))
            if drop is None or not stage.limit_kpa:
                return None
            left = self.left(ident, passed_l)
            if not stage.loads and drop < stage.limit_kpa:
                continue
            ranks.append((math.inf if left is None else left[0], -drop / stage.limit_kpa, ident))
        return min(ranks)[2] if ranks else None

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON."""
        return {"zeros": self.zeros.state(), "stages": {ident: stage.state() for ident, stage in self.stages.items()}}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave; a stage that this station has no more is passed over."""
        self.zeros.restore(state["zeros"])
        for ident, kept in state["stages"].items():
            if ident in self.stages:
                self.stages[ident].restore(kept)
