"""The capacity of the building's supply, and the time for a fill, from finished draws.

Capacity: the flow-test relation of NFPA 291 (recommended practice for fire flow testing), Q = Qt ((Ps - P) / (Ps - Pd))^0.54, with
Qt drawn at the dynamic pressure Pd and Ps the static one; 0.54 is 1/1.85, the exponent of Hazen and Williams's friction formula.
Here P is the least pressure that the station file allows. Checked in tests/handbook/test_supply.py.

Fills: the machine draws the same volumes again and again. The volume that it draws most often is the reference fill. The time for it grows
as a filter loads or the supply weakens, so that its trend (Mann-Kendall, Theil-Sen) is an early sign. Numbers without a source beside them
are common practice, no published source.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Final, NamedTuple

from edge.domain.entry_bodies import DrawBody
from edge.domain.maths.robust import MAD_TO_SIGMA, Z90, RobustLine, mad_sigma, mann_kendall, median, theil_sen
from edge.domain.records.book import DAY_MS

#: Exponent of the flow-test relation.
EXPONENT: Final = 0.54
#: Standard uncertainty of the exponent: orifices and regulators have 0.50, smooth pipes up to 0.57, and a supply has both.
EXPONENT_U: Final = 0.02
#: Standard uncertainty of a pressure point that states none: 0.5 % of a usual span of 100 psi [kPa].
PRESSURE_U_KPA: Final = 3.4
#: Relative standard uncertainty of a flow point that states none.
FLOW_U_SHARE: Final = 0.02
#: A draw with a smaller fall of the pressure shows nothing of the supply [kPa].
LEAST_FALL_KPA: Final = 7.0
#: Draws kept as evidence of the supply.
FLOWS_KEPT: Final = 15
#: Steps of the bisection of a pressure: to 0.1 kPa of 100 psi.
_HALVED: Final = 13


def capacity_l_min(flow_l_min: float, static_kpa: float, dynamic_kpa: float, at_kpa: float) -> float:
    """The flow that the supply gives when drawn down to `at_kpa`: unit of flow as given, pressures in any one unit.

    Raises:
        ValueError: the pressure did not fall while drawing, so nothing can be said.

    >>> round(capacity_l_min(789.0, 86.0, 42.0, 20.0))
    982
    """
    if static_kpa <= dynamic_kpa:
        raise ValueError(f"the pressure fell from {static_kpa} to {dynamic_kpa}: no fall")
    if static_kpa <= at_kpa:
        return 0.0
    return float(flow_l_min * ((static_kpa - at_kpa) / (static_kpa - dynamic_kpa)) ** EXPONENT)


def pressure_at_kpa(flow_l_min: float, static_kpa: float, dynamic_kpa: float, wanted_l_min: float) -> float:
    """The pressure left when `wanted_l_min` is drawn, by the flow-test relation; pressures in any one unit, flows in any one unit."""
    return static_kpa - (static_kpa - dynamic_kpa) * float((wanted_l_min / flow_l_min) ** (1.0 / EXPONENT))


def drawn_from_kpa(static_kpa: float, was_static_kpa: float, was_dynamic_kpa: float) -> float:
    """The dynamic pressure of the same valve at another static pressure; any one unit, never below zero.

    A valve or a hose end is an orifice: its flow goes with the root of the pressure (textbook), so a lower pressure draws less.

    >>> round(drawn_from_kpa(322.0, 385.0, 301.0))
    251
    """
    took = was_static_kpa - was_dynamic_kpa
    if took <= 0.0 or was_dynamic_kpa <= 0.0:
        return max(static_kpa - max(took, 0.0), 0.0)
    low, high = 0.0, max(static_kpa, 0.0)
    for _ in range(_HALVED):
        left = 0.5 * (low + high)
        gives = pressure_at_kpa(1.0, static_kpa, static_kpa - took, math.sqrt(left / was_dynamic_kpa))
        low, high = (left, high) if gives > left else (low, left)
    return 0.5 * (low + high)


class Figure(NamedTuple):
    """A value with its 5 and 95 % points."""

    value: float
    low: float
    high: float

    def rounded(self, digits: int) -> tuple[float, float, float]:
        """The figure rounded for publishing."""
        return round(self.value, digits), round(self.low, digits), round(self.high, digits)


class Flow(NamedTuple):
    """One draw as evidence of the supply: wall time [ms], flow [L/min], static and dynamic pressure [kPa]."""

    wall_ms: int
    flow_l_min: float
    static_kpa: float
    dynamic_kpa: float


class Flows:
    """The last draws that show something of the supply."""

    def __init__(self) -> None:
        self._seen: deque[Flow] = deque(maxlen=FLOWS_KEPT)
        self._cached: tuple[tuple[float, ...], int, int, Figure | None] | None = None

    def add(self, wall_ms: int, body: DrawBody) -> None:
        """Take a draw's entry."""
        flow, dynamic = body["flow_l_min"], body["supply_kpa"]
        static = (body.get("static_kpa") or {}).get("supply", body["static_before_kpa"])
        if flow is not None and dynamic is not None and static is not None and flow > 0.0:
            self._seen.append(Flow(wall_ms, flow, static, dynamic))
            self._cached = None

    def capacity(
        self, at_kpa: float, now_ms: int, within_ms: int, u_kpa: float | None, u_share: float | None
    ) -> Figure | None:
        """The supply's flow at `at_kpa` [L/min]: the median of the draws of the last `within_ms`; None where none shows it.

        Args:
            u_kpa, u_share: standard uncertainty of the supply's pressure [kPa] and of the flow (relative); None where not known.
        """
        asked: tuple[float, ...] = (
            at_kpa,
            within_ms,
            -1.0 if u_kpa is None else u_kpa,
            -1.0 if u_share is None else u_share,
        )
        if self._cached is not None and self._cached[0] == asked and self._cached[1] <= now_ms < self._cached[2]:
            return self._cached[3]
        recent = [s for s in self._seen if now_ms - s.wall_ms <= within_ms]
        ends_ms = min((s.wall_ms + within_ms + 1 for s in recent), default=1 << 62)
        figure = _capacity(recent, at_kpa, u_kpa, u_share)
        self._cached = (asked, now_ms, ends_ms, figure)
        return figure

    def takes_kpa(self, flow_l_min: float) -> float | None:
        """The fall from static to dynamic pressure at this flow [kPa]: the median of the draws; None where there are none."""
        took = [
            s.static_kpa - pressure_at_kpa(s.flow_l_min, s.static_kpa, s.dynamic_kpa, flow_l_min) for s in self._seen
        ]
        return median(took) if took else None

    def state(self) -> list[list[float]]:
        """What has to survive a restart, as JSON."""
        return [list(flow) for flow in self._seen]

    def restore(self, state: Sequence[Sequence[float]]) -> None:
        """Take back what state() gave."""
        self._cached = None
        self._seen = deque((Flow(int(f[0]), f[1], f[2], f[3]) for f in state), maxlen=FLOWS_KEPT)


def _capacity(recent: Sequence[Flow], at_kpa: float, u_kpa: float | None, u_share: float | None) -> Figure | None:
    seen = [s for s in recent if s.static_kpa - s.dynamic_kpa >= LEAST_FALL_KPA]
    if not seen:
        return None
    values = [capacity_l_min(s.flow_l_min, s.static_kpa, s.dynamic_kpa, at_kpa) for s in seen]
    middle = median(values)
    if middle <= 0.0:
        return Figure(0.0, 0.0, max(values))
    logs = [math.log(value / middle) for value in values if value > 0.0]
    spread = mad_sigma(logs) if len(logs) >= 3 else max(map(abs, logs), default=0.0)
    static, dynamic = median([s.static_kpa for s in seen]), median([s.dynamic_kpa for s in seen])
    u = math.hypot(spread, _doubt(static, dynamic, at_kpa, u_kpa, u_share))
    return Figure(middle, middle * math.exp(-Z90 * u), middle * math.exp(Z90 * u))


def _doubt(static: float, dynamic: float, at_kpa: float, u_kpa: float | None, u_share: float | None) -> float:
    """Standard uncertainty of the capacity's logarithm, by the law of propagation (GUM 5.1.2).

    One gauge reads both pressures: its zero cancels in their difference, and remains in the static pressure against the limit. The part
    that doesn't cancel in the difference (repeatability, linearity) is taken as a quarter of the gauge's uncertainty.
    """
    u_kpa = PRESSURE_U_KPA if u_kpa is None else u_kpa
    above, fall = max(static - at_kpa, u_kpa), static - dynamic
    return math.sqrt(
        (FLOW_U_SHARE if u_share is None else u_share) ** 2
        + (EXPONENT * u_kpa / above) ** 2
        + 2.0 * (EXPONENT * 0.25 * u_kpa / fall) ** 2
        + (EXPONENT_U * math.log(above / fall)) ** 2
    )


#: Draws of one fill differ in volume by less than this share either way.
LIKE_VOLUME_SHARE: Final = 0.12
#: The two ends of a draw are known to this many intervals of the readings together.
ENDS_READINGS: Final = 2.0
#: Draws kept as evidence of fills.
FILLS_KEPT: Final = 240
#: Of a day that is over this many of the commonest draws are kept, those nearest to its median: a busy week would displace a month.
OF_A_DAY: Final = 3
#: This many like draws make a reference fill.
LEAST_FILLS: Final = 5
#: A trend needs this many days.
TREND_DAYS: Final = 8
#: A trend is told at this level of significance.
TREND_P: Final = 0.05
#: A trend is told if it changes the time by this share over the days seen.
TREND_SHARE: Final = 0.05


class Fill(NamedTuple):
    """One draw: wall time of its end [ms], volume [L], duration [s], interval of the readings of its flow [s]."""

    wall_ms: int
    volume_l: float
    duration_s: float
    reading_s: float = 0.0


class FillTrend(NamedTuple):
    """The trend of the time for a fill: slope [s a day], change over the days seen as a share of the time, number of days, line."""

    slope_s: float
    share: float
    days: float
    line: RobustLine


class Fills:
    """The last draws, and the time for the commonest volume among them."""

    def __init__(self) -> None:
        self._seen: deque[Fill] = deque(maxlen=FILLS_KEPT)
        self._cached: tuple[float, list[Fill]] | None = None
        self._trend: FillTrend | None = None
        self._is_trend_fresh = False

    def add(
        self, wall_ms: int, volume_l: float, duration_s: float, flow_l_min: float | None = None, reading_s: float = 0.0
    ) -> None:
        """Add one draw. Its ends lie between two readings, so its steady flow gives the better duration, within those readings."""
        if volume_l > 0.0 and duration_s > 0.0:
            if flow_l_min:
                slack_s = ENDS_READINGS * reading_s
                duration_s = min(max(60.0 * volume_l / flow_l_min, duration_s - slack_s), duration_s + slack_s)
            if self._seen and self._seen[-1].wall_ms // DAY_MS != wall_ms // DAY_MS:
                self._thin(self._seen[-1].wall_ms // DAY_MS)
            self._seen.append(Fill(wall_ms, volume_l, duration_s, reading_s))
            self._forget()

    def _thin(self, day: int) -> None:
        """Thin out a day that is over to the draws nearest to the median of its commonest fill."""
        of_day = [fill for fill in self._seen if fill.wall_ms // DAY_MS == day]
        volume_l, group = _commonest(of_day)
        middle = median([_scaled_s(fill, volume_l) for fill in group])
        near = sorted(group, key=lambda fill: abs(_scaled_s(fill, volume_l) - middle))[:OF_A_DAY]
        others = [fill for fill in self._seen if fill.wall_ms // DAY_MS != day]
        self._seen = deque([*others, *sorted(near)], maxlen=FILLS_KEPT)

    def reference(self) -> tuple[float, list[Fill]] | None:
        """(the commonest volume [L], its draws); of two as common, the larger. None where there are too few draws."""
        if self._cached is None:
            self._cached = _commonest(list(self._seen))
        return self._cached if len(self._cached[1]) >= LEAST_FILLS else None

    def time_s(self) -> Figure | None:
        """Time for the reference fill now [s]: the median of its last draws, each scaled to the volume."""
        found = self.reference()
        if found is None:
            return None
        times = [_scaled_s(fill, found[0]) for fill in found[1][-LEAST_FILLS:]]
        middle = median(times)
        spread = max(MAD_TO_SIGMA * median([abs(t - middle) for t in times]), 0.005 * middle)
        half = Z90 * math.hypot(spread, _unread_s(found[1], middle))
        return Figure(middle, middle - half, middle + half)

    def trend(self) -> FillTrend | None:
        """The trend of the fill's time over the days; None where it is not significant or small."""
        if not self._is_trend_fresh:
            self._trend, self._is_trend_fresh = self._trend_now(), True
        return self._trend

    def _trend_now(self) -> FillTrend | None:
        found = self.reference()
        if found is None:
            return None
        by_day: dict[int, list[float]] = {}
        for fill in found[1]:
            by_day.setdefault(fill.wall_ms // DAY_MS, []).append(_scaled_s(fill, found[0]))
        days = sorted(by_day)
        times = [median(by_day[day]) for day in days]
        if len(days) < TREND_DAYS or mann_kendall(times).p > TREND_P:
            return None
        line = theil_sen([float(day) for day in days], times)
        if line is None:
            return None
        over = float(days[-1] - days[0])
        share = line.slope * over / median(times)
        return FillTrend(line.slope, share, over, line) if abs(share) >= TREND_SHARE else None

    def state(self) -> list[list[float]]:
        """What has to survive a restart, as JSON."""
        return [list(fill) for fill in self._seen]

    def restore(self, state: Sequence[Sequence[float]]) -> None:
        """Take back what state() gave."""
        self._seen = deque((Fill(int(f[0]), *f[1:]) for f in state), maxlen=FILLS_KEPT)
        self._forget()

    def _forget(self) -> None:
        self._cached, self._is_trend_fresh = None, False


def _scaled_s(fill: Fill, volume_l: float) -> float:
    return fill.duration_s * volume_l / fill.volume_l


def _unread_s(group: Sequence[Fill], middle_s: float) -> float:
    """Standard uncertainty of a fill's time [s] because its ends lie anywhere between two readings: two rectangular distributions."""
    reading_s = median([fill.reading_s for fill in group[-LEAST_FILLS:]])
    averaged = (
        len(group) if reading_s < LIKE_VOLUME_SHARE * middle_s else 1
    )  # a longer interval splits like draws into groups
    return reading_s / math.sqrt(6.0 * averaged)


def _commonest(fills: Sequence[Fill]) -> tuple[float, list[Fill]]:
    """The volume [L] that the most draws are like, and those draws in order."""
    ordered = sorted(fills, key=lambda fill: fill.volume_l)
    best, start = (0, 0), 0
    for end, fill in enumerate(ordered):
        while fill.volume_l > ordered[start].volume_l * (1.0 + 2.0 * LIKE_VOLUME_SHARE):
            start += 1
        if end + 1 - start >= best[1] - best[0]:
            best = (start, end + 1)
    group = ordered[best[0] : best[1]]
    if not group:
        return 0.0, []
    # The mean, since a volume that is read in few steps has no median between them.
    return sum(fill.volume_l for fill in group) / len(group), sorted(group)
