"""Detection of draws, and their measurements: pressure and flow while drawing, static pressure between draws, leaking water.

Dynamic pressure and flow are judged only in the steady part of a draw (from `steady_after` after its start), static pressure only between
draws. The evidence of a finished draw stands for a time that the station file sets. Limits: common practice, no published source; they are
settings.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from edge.domain.readings import Role
from edge.domain.settings import Supply
from edge.domain.water.leak_signs import Decay, LeakWindow, NightFlow

#: A dynamic pressure is too low when it is below the least one by more than this [kPa] (our own number: the gauges' noise).
LOW_KPA: Final = 1.4
#: The taps of the filter train in the order of flow, each with the role of its pressure point.
TAPS: Final[Mapping[str, Role]] = MappingProxyType(
    {"supply": Role.SUPPLY_PRESSURE, "between": Role.BETWEEN_FILTERS_PRESSURE, "filtered": Role.FILTERED_PRESSURE}
)
#: Pressure counts as static this long after a draw [ms]: water hammer and a pressure tank settle first.
STATIC_AFTER_MS: Final = 10_000
#: Readings this shortly before the end of a draw are not part of its steady part [ms]: a valve closes.
CLOSING_MS: Final = 3_000
#: A valve that closes slowly is looked for in the flow over this time [ms].
CLOSES_OVER_MS: Final = 5_000
#: The valve is closing when the flow has fallen by this share over CLOSES_OVER_MS.
CLOSES_BY: Final = 0.07
#: The valve is closing only if the flow would be zero within this time at that rate [ms].
CLOSES_WITHIN_MS: Final = 60_000
#: Readings this shortly after the start don't count in a draw that ends before it is steady [ms]: the opening valve makes pressure swing.
OPENING_MS: Final = 3_000
#: A flow with a longer interval of readings is judged only after the next reading [ms]: a counting meter tells the mean since its last
#: reading, and so a part of a draw's end.
SELDOM_MS: Final = 10_000
#: Water that runs for longer than this without a stop is no draw but a valve that doesn't close [ms].
RUNS_ON_MS: Final = 30 * 60_000
#: A draw ended because the meter showed its end; or so it did of one that ran on, which tells nothing of a draw: the valve or hose
#: that let it run may have been anywhere, and a meter that shows flow for hours may show nothing true.
SEEN_TO_END: Final = "flow"
RAN_ON: Final = "ran on"
#: Static pressures are averaged over spells of this length [ms].
SPELL_MS: Final = 20_000
#: Without a whole spell before a draw, the mean of the first readings of a spell counts, over this time [ms].
EARLY_MS: Final = 5_000
#: An older spell tells nothing of the pressure just before a draw [ms].
SPELL_STANDS_MS: Final = 600_000


class Mean:
    """A running mean with the least and the greatest value."""

    __slots__ = ("n", "total", "least", "most")

    def __init__(self) -> None:
        self.n, self.total = 0, 0.0
        self.least, self.most = float("inf"), float("-inf")

    def add(self, value: float) -> None:
        """Add one value."""
        self.n += 1
        self.total += value
        if value < self.least:
            self.least = value
        if value > self.most:
            self.most = value

    @property
    def value(self) -> float | None:
        """The mean; None without values."""
        return self.total / self.n if self.n else None


@dataclass(slots=True)
class Draw:
    """One period of flow: pressures [kPa], flow [L/min] and volume [L]; means and extremes are of its steady part."""

    start_ms: int
    start_wall_ms: int
    volume_l: float = 0.0
    readings: int = 0  # readings of the flow since the start
    flow: Mean = field(default_factory=Mean)
    supply: Mean = field(default_factory=Mean)
    between: Mean = field(default_factory=Mean)
    filtered: Mean = field(default_factory=Mean)
    static_before_kpa: float | None = None
    static_kpa: dict[str, float] = field(default_factory=dict)  # static pressure of each tap in the quiet spell before
    supply_temperature_c: float | None = None
    early: list[tuple[int, float]] = field(
        default_factory=list
    )  # the supply's pressures before the steady part: (ms, kPa)
    flowed_ms: int = 0  # time of the last reading that showed flow [ms]

    def mean(self, what: str) -> Mean:
        """The running mean of a tap, or of "flow"."""
        return {"supply": self.supply, "between": self.between, "filtered": self.filtered, "flow": self.flow}[what]

    def as_body(self, end_ms: int, end_wall_ms: int, why: str) -> dict[str, Any]:
        """The body of its journal entry."""
        steady = self.flow.n > 0
        early = {} if steady else {"early_supply_kpa": _rounded(self._early_kpa(end_ms))}
        lasted_s = (end_ms - self.start_ms) / 1000.0
        return {
            "start_ms": self.start_wall_ms, "end_ms": end_wall_ms, "duration_s": lasted_s,
            "reading_s": round(lasted_s / max(self.readings, 1), 3),
            "volume_l": round(self.volume_l, 4), "steady": steady, "ended": why,
            "flow_l_min": _rounded(self.flow.value), "least_flow_l_min": _rounded(self.flow.least if steady else None),
            "supply_kpa": _rounded(self.supply.value), "least_supply_kpa": _rounded(self.supply.least if self.supply.n else None),
            "most_supply_kpa": _rounded(self.supply.most if self.supply.n else None),
            "between_kpa": _rounded(self.between.value), "filtered_kpa": _rounded(self.filtered.value),
            "static_before_kpa": _rounded(self.static_before_kpa),
            "static_kpa": {tap: round(kpa, 4) for tap, kpa in self.static_kpa.items()}, "supply_c": _rounded(self.supply_temperature_c),
        } | early  # fmt: skip

    def _early_kpa(self, end_ms: int) -> float | None:
        """The supply's mean pressure [kPa] between the valve's opening and closing, for a draw that ended before it was steady."""
        until_ms, mean = min(self.flowed_ms, end_ms - CLOSING_MS), Mean()
        for read_ms, kpa in self.early:
            if self.start_ms + OPENING_MS <= read_ms <= until_ms:
                mean.add(kpa)
        return mean.value


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


class Spell(NamedTuple):
    """A whole spell of a tap's static pressures: mean [kPa], time of its last reading, time of the reading that ended it [ms]."""

    mean_kpa: float
    last_ms: int
    until_ms: int


class Rest:
    """The mean of a tap's static pressure over the last whole spell of `SPELL_MS`.

    The last readings before a draw may belong to the draw already, as the flow is read a little later; so the spell under way is never
    used. Without a meter a draw is told one reading late, and that reading may have been a spell of its own.
    """

    __slots__ = ("_since_ms", "_n", "_total", "_early", "_spell", "_older", "_last_ms", "_before_ms")

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Forget the spells: a draw has begun."""
        self._since_ms, self._n, self._total = 0, 0, 0.0
        self._early: float | None = None  # mean of the first readings of the spell under way [kPa]
        self._spell: Spell | None = None  # the last whole spell
        self._older: Spell | None = None  # the whole spell before the last one
        self._last_ms = self._before_ms = 0  # times of the last two readings [ms]

    @property
    def mean_kpa(self) -> float | None:
        """Mean of the last whole spell [kPa]; None where there was none since the last draw."""
        return None if self._spell is None else self._spell.mean_kpa

    def hear(self, kpa: float, mono_ms: int) -> bool:
        """Take one static pressure [kPa]; True where it ended a spell, whose mean `mean_kpa` then is."""
        self._before_ms, self._last_ms = self._last_ms, mono_ms
        if not self._n:
            self._since_ms, self._n, self._total = mono_ms, 1, kpa
            return False
        if mono_ms - self._since_ms < SPELL_MS:
            self._n += 1
            self._total += kpa
            if mono_ms - self._since_ms <= EARLY_MS:
                self._early = self._total / self._n
            return False
        self._older, self._spell = self._spell, Spell(self._total / self._n, self._before_ms, mono_ms)
        self._since_ms, self._n, self._total = mono_ms, 1, kpa
        self._early = None
        return True

    def before(self, mono_ms: int, late_ms: int | None = None) -> float | None:
        """The static pressure before a draw that begins now [kPa]; without a whole spell, the early mean of the spell under way.

        Args:
            late_ms: the draw began one reading ago, and this much earlier [ms]; None: it begins now.
        """
        latest_ms = mono_ms if late_ms is None else min(self._before_ms - 1, mono_ms - late_ms)
        for spell in (self._spell, self._older):
            if spell is not None and spell.last_ms <= latest_ms and mono_ms - spell.until_ms <= SPELL_STANDS_MS:
                return spell.mean_kpa
        if self._spell is not None and late_ms is not None:
            return None
        return self._early if self._n and mono_ms - self._since_ms >= EARLY_MS + CLOSING_MS else None


class FlowResult(NamedTuple):
    """The result of a reading of the flow: the draw that it ended and why, whether one began, and the steady readings it confirmed."""

    ended: tuple[Draw, str] | None = None
    began: bool = False
    steady: tuple[tuple[str, float], ...] = ()  # (tap, kPa) or ("flow", L/min)


_NOTHING: Final = FlowResult()


class Closing:
    """Detects a closing valve by the flow's last readings."""

    __slots__ = ("now", "_seen")

    def __init__(self) -> None:
        self.now = False
        self._seen: deque[tuple[int, float]] = deque()

    def forget(self) -> None:
        """Forget the readings: the draw is over."""
        self.now = False
        self._seen.clear()

    def hear(self, flow_l_min: float, mono_ms: int) -> bool:
        """Take one flow of a draw [L/min]; is the valve closing?

        >>> watch = Closing()
        >>> [watch.hear(flow, 1000 * at) for at, flow in enumerate((9.0, 9.0, 9.0, 8.7, 8.4, 8.1, 8.1, 8.1, 8.1, 8.1, 8.1))]
        [False, False, False, False, False, True, True, True, False, False, False]
        """
        seen = self._seen
        while len(seen) > 1 and mono_ms - seen[1][0] >= CLOSES_OVER_MS:
            seen.popleft()
        self.now = False
        if seen:
            was_ms, was = seen[0]
            less = was - flow_l_min
            self.now = less >= CLOSES_BY * was and flow_l_min * (mono_ms - was_ms) <= less * CLOSES_WITHIN_MS
        seen.append((mono_ms, flow_l_min))
        return self.now


class DrawDetector:
    """Finds draws in the flow, and collects the pressures of their steady part.

    A pressure counts as dynamic only once a reading of the flow at the same instant or later shows that the draw was still on. So the
    first pressure after a draw is never taken for one of the draw.
    """

    __slots__ = (
        "supply", "draw", "last_end_ms", "_flow", "_flow_ms", "_every_ms", "static_kpa", "leaked", "decay", "night", "_waiting", "_line",
        "_rests", "ran_on", "lag_ms", "_closing",
    )  # fmt: skip

    def __init__(self, supply: Supply) -> None:
        self.supply = supply
        self.draw: Draw | None = None
        self.last_end_ms: int | None = None
        #: Without a meter the inferred flow tells the end of a draw at most this late [ms]; None: a meter tells it at once.
        self.lag_ms: int | None = None
        self.ran_on = False  # water ran without a stop before a restart, and hasn't been seen to stop since
        self._flow: float | None = None
        self._flow_ms = self._every_ms = 0
        self.static_kpa: float | None = None
        self._rests = {tap: Rest() for tap in TAPS}
        self.leaked = LeakWindow(supply.leak_within_ms or 0)
        self.decay = Decay()
        self.night = NightFlow(supply.leak_within_ms)
        self._closing = Closing()
        self._waiting: list[tuple[int, str, float]] = []  # pressures that no flow has confirmed yet
        self._line: deque[tuple[int, str, float]] = deque()  # confirmed readings that a closing valve may still void

    def hear_flow(self, flow_l_min: float, mono_ms: int, wall_ms: int, stale_after_ms: int) -> FlowResult:
        """Take one reading of the flow [L/min]."""
        before, before_ms = self._flow, self._flow_ms
        self._flow, self._flow_ms = flow_l_min, mono_ms
        litres = 0.0
        known = before is not None and 0 < mono_ms - before_ms <= stale_after_ms
        self._every_ms = mono_ms - before_ms if known else 0
        if known and before is not None:
            litres = (before + flow_l_min) * (mono_ms - before_ms) / 120_000.0
        draw = self.draw
        if known and draw is None:
            self.night.add(litres, flow_l_min, before_ms, mono_ms)
        if draw is not None:
            draw.volume_l += litres
            draw.readings += 1
            if flow_l_min < self.supply.draw_ends_l_min:
                ended = SEEN_TO_END if self.runs_on_ms(mono_ms) is None else RAN_ON
                return FlowResult((self._end(draw, mono_ms), ended))
            draw.flowed_ms = mono_ms
            return self._go_on(draw, flow_l_min, mono_ms)
        if flow_l_min > self.supply.draw_starts_l_min:
            static = self._static_before(mono_ms)
            before_kpa = static.get("supply", self.static_kpa)
            self.draw = Draw(mono_ms, wall_ms, litres, static_before_kpa=before_kpa, static_kpa=static)
            self.leaked.forget_last()
            self.night.draw(mono_ms)
            self.decay.forget()
            return FlowResult(began=True)
        self.ran_on, ended_ms = False, self.last_end_ms
        if known and self.supply.leak_volume_l is not None and (ended_ms is None or mono_ms - ended_ms > CLOSING_MS):
            self.leaked.add(litres, flow_l_min, mono_ms)
        return _NOTHING

    def recall_leak(self, value: float, unit: str | None, mono_ms: int) -> None:
        """Restore the evidence of a leak after a restart: litres that passed ("L"), water that ran ("min"), or a low pressure ("kPa")."""
        if unit == "L":
            self.leaked.put(max(value, self.supply.leak_volume_l or 0.0), mono_ms)
        elif unit == "min":
            self.ran_on = True
        elif unit == "kPa":
            self.decay.recall(value, mono_ms)

    def runs_on_ms(self, mono_ms: int) -> int | None:
        """How long the draw under way has lasted [ms], where that is too long for a draw; else None."""
        if self.draw is None:
            return None
        lasted_ms = mono_ms - self.draw.start_ms
        return lasted_ms if self.ran_on or lasted_ms > RUNS_ON_MS else None

    @property
    def is_blind(self) -> bool:
        """Is the flow unknown?"""
        return self._flow is None

    @property
    def settled_kpa(self) -> float | None:
        """The supply's mean static pressure in the last quiet spell [kPa]; None since a draw has begun."""
        return self.rest_kpa("supply")

    def rest_kpa(self, tap: str) -> float | None:
        """A tap's mean static pressure in the last quiet spell [kPa]; None since a draw has begun."""
        return self._rests[tap].mean_kpa

    def _static_before(self, mono_ms: int) -> dict[str, float]:
        """Each tap's static pressure before the draw that begins now [kPa]; the spells are then forgotten."""
        found: dict[str, float] = {}
        for tap, rest in self._rests.items():
            before = rest.before(mono_ms, self.lag_ms)
            if before is not None:
                found[tap] = before
            rest.forget()
        return found

    def _go_on(self, draw: Draw, flow_l_min: float, mono_ms: int) -> FlowResult:
        if mono_ms - draw.start_ms < self.supply.steady_after_ms:
            self._waiting.clear()
            self._closing.hear(flow_l_min, mono_ms)
            return _NOTHING
        confirmed = [(read_ms, tap, kpa) for read_ms, tap, kpa in self._waiting if read_ms <= mono_ms]
        self._waiting = [held for held in self._waiting if held[0] > mono_ms]
        confirmed.append((mono_ms, "flow", flow_l_min))
        line = self._line
        line.extend(confirmed)
        if self._closing.hear(flow_l_min, mono_ms):
            return _NOTHING
        settled: list[tuple[int, str, float]] = []
        while line and mono_ms - line[0][0] >= max(CLOSING_MS, self._every_ms, self.lag_ms or 0):
            settled.append(line.popleft())
            draw.mean(settled[-1][1]).add(settled[-1][2])
        judged = confirmed if self._is_prompt else settled
        return FlowResult(steady=tuple((tap, value) for _, tap, value in judged))

    @property
    def _is_prompt(self) -> bool:
        """Does a reading of the flow show at once that the draw is steady: short interval, no lag, no closing valve?"""
        return self._every_ms <= SELDOM_MS and not self.lag_ms and not self._closing.now

    def _end(self, draw: Draw, mono_ms: int) -> Draw:
        self.draw, self.last_end_ms, self.ran_on = None, mono_ms, False
        self._waiting.clear()
        self._line.clear()
        self._closing.forget()
        return draw

    def lose_flow(self, mono_ms: int) -> Draw | None:
        """Take that the flow is not known any more: a draw under way ends without proof, and is returned."""
        self._flow = None
        return None if self.draw is None else self._end(self.draw, mono_ms)

    def hear_pressure(self, tap: str, kpa: float, mono_ms: int) -> tuple[bool, bool]:
        """Take one reading of a tap ("supply", "between", "filtered") [kPa]; (it is static, it belongs to a steady draw).

        A pressure that may belong to a steady draw waits until the flow confirms it, unless the flow of its own instant has done so.
        """
        draw = self.draw
        if draw is not None:
            if mono_ms - draw.start_ms < self.supply.steady_after_ms:
                if tap == "supply":
                    draw.early.append((mono_ms, kpa))
                return False, False
            if self._flow_ms < mono_ms:
                self._waiting.append((mono_ms, tap, kpa))
                return False, False
            self._line.append((mono_ms, tap, kpa))
            return False, self._is_prompt
        if self._flow is None or (self.last_end_ms is not None and mono_ms - self.last_end_ms < STATIC_AFTER_MS):
            return False, False
        if self._rests[tap].hear(kpa, mono_ms) and tap == "supply":
            self.decay.hear(self._rests[tap].mean_kpa or 0.0, mono_ms)
        if tap == "supply":
            self.static_kpa = kpa
        return True, False
