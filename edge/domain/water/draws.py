"""Draws of water and what they show: pressure and flow while drawing, static pressure between draws, water that leaks.

Pressure and flow are judged only in the steady part of a draw (`steady_after` from its start); static pressure only between
draws. What a finished draw showed stands for a time that the station file sets. Limits: common practice, no published source;
they are settings.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

from edge.domain.settings import Supply
from edge.domain.water.leak_signs import Decay, LeakWindow, NightFlow

#: a pressure is too low where it is below the least dynamic one by more than this (our own number: gauges' noise)
LOW_KPA: Final = 1.4
#: in the order of flow
TAPS: Final = ("supply", "between", "filtered")
#: pressure settles after a draw (hammer, a pressure tank filling) before it counts as static
STATIC_AFTER_MS: Final = 10_000
#: a valve closes: what was read this shortly before the end of a draw is no part of its steady part
CLOSING_MS: Final = 3_000
#: a valve that closes slowly: the flow of late, over so long, falls by so much, and would be nought within so long. What is read until it
#: levels off is no part of the steady part
CLOSES_OVER_MS: Final = 5_000
CLOSES_BY: Final = 0.07
CLOSES_WITHIN_MS: Final = 60_000
#: a valve opens and the pressure swings: what was read so shortly after its start tells nothing of a draw that ends before it is steady
OPENING_MS: Final = 3_000
#: a flow that is read more seldom is judged once the next reading has shown that the draw went on: a meter that counts tells the mean
#: since its last reading, and so of a draw's end a part
SELDOM_MS: Final = 10_000
#: water that runs for longer than this without a stop is no draw but a valve that doesn't close
RUNS_ON_MS: Final = 30 * 60_000
#: static pressures are averaged over spells of this length
SPELL_MS: Final = 20_000
#: where there was no whole spell before a draw, its first readings do, if they are this old
EARLY_MS: Final = 5_000
#: an older spell tells nothing of the pressure just before a draw
SPELL_STANDS_MS: Final = 600_000


class Mean:
    """A running mean with its least and greatest value."""

    __slots__ = ("n", "total", "least", "most")

    def __init__(self) -> None:
        self.n, self.total = 0, 0.0
        self.least, self.most = float("inf"), float("-inf")

    def add(self, value: float) -> None:
        """One more value."""
        self.n += 1
        self.total += value
        if value < self.least:
            self.least = value
        if value > self.most:
            self.most = value

    @property
    def value(self) -> float | None:
        """The mean; None where there was nothing."""
        return self.total / self.n if self.n else None


@dataclass(slots=True)
class Draw:
    """One period of flow. Pressures [kPa], flow [L/min], volume [L]; means and extremes of its steady part."""

    start_ms: int
    start_wall_ms: int
    volume_l: float = 0.0
    readings: int = 0  # of the flow, since its start
    flow: Mean = field(default_factory=Mean)
    supply: Mean = field(default_factory=Mean)
    between: Mean = field(default_factory=Mean)
    filtered: Mean = field(default_factory=Mean)
    static_before_kpa: float | None = None
    static_kpa: dict[str, float] = field(default_factory=dict)  # of each tap, in the quiet spell before
    supply_temperature_c: float | None = None
    early: list[tuple[int, float]] = field(default_factory=list)  # the supply's pressures before it was steady
    flowed_ms: int = 0  # when the flow last showed that it was on

    def mean(self, what: str) -> Mean:
        """The mean of a tap, or of the flow."""
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
        """The supply's mean pressure between the opening and the closing of the valve, of a draw that ended before it was steady."""
        until_ms, mean = min(self.flowed_ms, end_ms - CLOSING_MS), Mean()
        for read_ms, kpa in self.early:
            if self.start_ms + OPENING_MS <= read_ms <= until_ms:
                mean.add(kpa)
        return mean.value


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


class Spell(NamedTuple):
    """A whole spell of a tap's static pressures: their mean, its last reading, and the reading that ended it."""

    mean_kpa: float
    last_ms: int
    until_ms: int


class Rest:
    """The mean of a tap's static pressure over the last whole spell of `SPELL_MS`.

    What is read last before a draw may be of the draw already, as its flow is told a little later; the spell under way is therefore
    never used. Where no meter tells the flow a draw is told a reading late, and that reading may have been a spell of its own.
    """

    __slots__ = ("_since_ms", "_n", "_total", "_early", "_spell", "_older", "_last_ms", "_before_ms")

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """A draw has begun."""
        self._since_ms, self._n, self._total = 0, 0, 0.0
        self._early: float | None = None  # the mean of the first readings of the spell under way
        self._spell: Spell | None = None
        self._older: Spell | None = None  # the one before it
        self._last_ms = self._before_ms = 0  # the last two readings

    @property
    def mean_kpa(self) -> float | None:
        """Of the last whole spell; None where there was none since the last draw."""
        return None if self._spell is None else self._spell.mean_kpa

    def hear(self, kpa: float, mono_ms: int) -> bool:
        """One static pressure. True where it ended a spell: `mean_kpa` is that one's."""
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
        """The mean before a draw that begins now; of records that hold little but draws, what was read well before it.

        `late_ms`: the draw began a reading ago, and so much earlier still; None: it begins now.
        """
        latest_ms = mono_ms if late_ms is None else min(self._before_ms - 1, mono_ms - late_ms)
        for spell in (self._spell, self._older):
            if spell is not None and spell.last_ms <= latest_ms and mono_ms - spell.until_ms <= SPELL_STANDS_MS:
                return spell.mean_kpa
        if self._spell is not None and late_ms is not None:
            return None
        return self._early if self._n and mono_ms - self._since_ms >= EARLY_MS + CLOSING_MS else None


class Heard(NamedTuple):
    """What a reading of the flow settled: the draw that it ended and how, and readings in a steady draw that it confirmed."""

    ended: tuple[Draw, str] | None = None
    began: bool = False
    steady: tuple[tuple[str, float], ...] = ()  # (tap or "flow", value)


_NOTHING: Final = Heard()


class Closing:
    """Is a valve closing? By the flow's last readings."""

    __slots__ = ("now", "_seen")

    def __init__(self) -> None:
        self.now = False
        self._seen: deque[tuple[int, float]] = deque()

    def forget(self) -> None:
        """The draw is over."""
        self.now = False
        self._seen.clear()

    def hear(self, flow_l_min: float, mono_ms: int) -> bool:
        """One flow of a draw.

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


class DrawWatch:
    """Finds draws in the flow, and gathers what the pressures showed in their steady part.

    A pressure counts as read while drawing only once a reading of the flow, at its own instant or later, shows that the draw was
    still on; so that the first pressure after a draw is never taken for one of it.
    """

    __slots__ = (
        "supply", "draw", "last_end_ms", "_flow", "_flow_ms", "_every_ms", "static_kpa", "leaked", "decay", "night", "_waiting", "_line",
        "_rests", "ran_on", "lag_ms", "_closing",
    )  # fmt: skip

    def __init__(self, supply: Supply) -> None:
        self.supply = supply
        self.draw: Draw | None = None
        self.last_end_ms: int | None = None
        #: so late, at most, what passes for a meter tells the end of a draw; None: a meter tells it at once
        self.lag_ms: int | None = None
        self.ran_on = False  # before a restart, water ran without a stop; nothing has shown yet that it stopped
        self._flow: float | None = None
        self._flow_ms = self._every_ms = 0
        self.static_kpa: float | None = None
        self._rests = {tap: Rest() for tap in TAPS}
        self.leaked = LeakWindow(supply.leak_within_ms or 0)
        self.decay = Decay()
        self.night = NightFlow(supply.leak_within_ms)
        self._closing = Closing()
        self._waiting: list[tuple[int, str, float]] = []  # not confirmed yet
        self._line: deque[tuple[int, str, float]] = deque()  # confirmed, perhaps read while a valve closed

    def hear_flow(self, flow_l_min: float, mono_ms: int, wall_ms: int, stale_after_ms: int) -> Heard:
        """One reading of flow [L/min]."""
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
                return Heard((self._end(draw, mono_ms), "flow"))
            draw.flowed_ms = mono_ms
            return self._go_on(draw, flow_l_min, mono_ms)
        if flow_l_min > self.supply.draw_starts_l_min:
            static = self._static_before(mono_ms)
            before_kpa = static.get("supply", self.static_kpa)
            self.draw = Draw(mono_ms, wall_ms, litres, static_before_kpa=before_kpa, static_kpa=static)
            self.leaked.forget_last()
            self.night.draw(mono_ms)
            self.decay.forget()
            return Heard(began=True)
        self.ran_on, ended_ms = False, self.last_end_ms
        if known and self.supply.leak_volume_l is not None and (ended_ms is None or mono_ms - ended_ms > CLOSING_MS):
            self.leaked.add(litres, flow_l_min, mono_ms)
        return _NOTHING

    def recall_leak(self, value: float, unit: str | None, mono_ms: int) -> None:
        """After a restart, what a leak had been told by: litres that passed, minutes that water ran, or a pressure that fell [kPa]."""
        if unit == "L":
            self.leaked.put(max(value, self.supply.leak_volume_l or 0.0), mono_ms)
        elif unit == "min":
            self.ran_on = True
        elif unit == "kPa":
            self.decay.recall(value, mono_ms)

    def runs_on_ms(self, mono_ms: int) -> int | None:
        """How long the draw under way has lasted, where that is too long for one; else None."""
        if self.draw is None:
            return None
        lasted_ms = mono_ms - self.draw.start_ms
        return lasted_ms if self.ran_on or lasted_ms > RUNS_ON_MS else None

    @property
    def is_blind(self) -> bool:
        """Nothing tells whether water flows."""
        return self._flow is None

    @property
    def settled_kpa(self) -> float | None:
        """The supply's mean static pressure in the last quiet spell; None since a draw has begun."""
        return self.rest_kpa("supply")

    def rest_kpa(self, tap: str) -> float | None:
        """A tap's mean static pressure in the last quiet spell [kPa]; None since a draw has begun."""
        return self._rests[tap].mean_kpa

    def _static_before(self, mono_ms: int) -> dict[str, float]:
        """Each tap's pressure in the last whole quiet spell before now; a draw begins, so all are forgotten."""
        found: dict[str, float] = {}
        for tap, rest in self._rests.items():
            before = rest.before(mono_ms, self.lag_ms)
            if before is not None:
                found[tap] = before
            rest.forget()
        return found

    def _go_on(self, draw: Draw, flow_l_min: float, mono_ms: int) -> Heard:
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
        return Heard(steady=tuple((tap, value) for _, tap, value in judged))

    @property
    def _is_prompt(self) -> bool:
        """The flow is known to be what it is told to be at once."""
        return self._every_ms <= SELDOM_MS and not self.lag_ms and not self._closing.now

    def _end(self, draw: Draw, mono_ms: int) -> Draw:
        self.draw, self.last_end_ms, self.ran_on = None, mono_ms, False
        self._waiting.clear()
        self._line.clear()
        self._closing.forget()
        return draw

    def lose_flow(self, mono_ms: int) -> Draw | None:
        """The flow can't be told any more: a draw under way ends without proof."""
        self._flow = None
        return None if self.draw is None else self._end(self.draw, mono_ms)

    def hear_pressure(self, tap: str, kpa: float, mono_ms: int) -> tuple[bool, bool]:
        """One reading of a tap ("supply", "between", "filtered"): (it is static, it is of a steady draw).

        One that may be of a steady draw waits for the flow to confirm it, unless the flow of its own instant has done so.
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
