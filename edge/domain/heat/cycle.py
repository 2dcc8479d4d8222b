"""The phase of the station, and the detection of cycles, from temperature, flow, power and what people declared.

A cycle takes the heated liquid away. The probe then sees air or a heel of liquid, and falls far faster than a covered vessel can cool (0.05
to 0.1 K a minute, against 0.2 and more in a heel and kelvins in air). The liquid comes back cooler, at some 33 to 37 Cel, and is heated
again. By temperature alone a cycle mostly shows within four minutes of the liquid's leaving; in a large heel that cools slowly, within
eight. Where a flow meter shows a draw, the cycle shows with the draw, and smaller falls count. An alarm of cold that a cycle explains
is masked, for a limited time. Cold liquid poured in is a fall that doesn't go on: it passes for a cycle until it has risen, or has been
level for some minutes (believed_liquid.py).
The figures are common practice, no published source; they were tried on `python -m tests.bench.cycles`.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from math import inf, sqrt
from types import MappingProxyType
from typing import Final

from edge.domain.heat.believed_liquid import LiquidEstimator
from edge.domain.heat.probe import Average, ProbeStatistics, ProbeView


class Phase(StrEnum):
    """The phases of a station, as published."""

    OFF = "off"
    AT_REST = "at_rest"
    IDLE = "idle"
    IN_USE = "in_use"
    REHEATING = "reheating"
    AT_WORK = "at_work"


#: the same for people
PHASE_TITLES: Final[Mapping[Phase, str]] = MappingProxyType(
    {
        Phase.OFF: "switched off", Phase.AT_REST: "at rest, outside hours", Phase.IDLE: "idle", Phase.IN_USE: "in use",
        Phase.REHEATING: "heating up", Phase.AT_WORK: "somebody works on it",
    }
)  # fmt: skip

#: Two readings in a row this far below the highest average of AWAY_WITHIN_MS show that the liquid was taken away [K].
AWAY_FALL_K: Final = 0.8
#: The highest average is taken over this time [ms].
AWAY_WITHIN_MS: Final = 240_000
#: (fall [K], within [ms]): a fall of the averages by this shows it too, sooner, or in a large heel that cools slowly.
AWAY_FALLS: Final = ((0.45, 120_000), (0.6, 180_000), (0.8, 300_000), (1.0, 420_000))
#: Water drawn within this time before the fall supports it [ms].
DRAWN_MS: Final = 360_000
#: After a draw this share of AWAY_FALLS is enough.
DRAWN_SHARE: Final = 0.7
#: After a draw a sure fall of this beyond the cooling of a covered vessel is enough [K].
BEYOND_K: Final = 0.12
#: A fall of the averages has to exceed this many standard deviations of the difference of two averages.
DIFFERENCE_SIGMAS: Final = 6.0
#: Only a liquid this far above the room shows by its fall that it was taken away [K].
AWAY_ABOVE_ROOM_K: Final = 8.0
#: A rise from the lowest average by this shows that the liquid is back [K].
BACK_RISE_K: Final = 0.5
#: The same where the liquid surely goes on rising [K].
RISING_BACK_K: Final = 0.2
#: A cycle takes the liquid away for at most this long [ms].
AWAY_AT_MOST_MS: Final = 60 * 60_000
#: Below this the probe may hang in air, and a level temperature doesn't show that the liquid is back [Cel].
LEVEL_FROM_C: Final = 31.0
#: A cold liquid that has been level for this long is back, or was never away [ms].
LEVEL_FOR_MS: Final = 360_000
#: Level is a fall of less than this within LEVEL_FOR_MS [K].
LEVEL_FALL_K: Final = 0.3
#: A liquid that is calm (believed_liquid.py) is back, or was never away, once it has been seen for this long [ms].
CALM_MS: Final = 150_000
#: Water drawn within this time of the liquid's leaving or return belongs to the same cycle [ms].
DRAW_BELONGS_MS: Final = 180_000
#: A fall of a single reading, or a rise, counts only beyond this many quantisation steps.
COARSE_STEPS: Final = 2.5
#: A fall of this within SUSPECTED_FOR_MS may become a cycle [K].
SUSPECTED_FALL_K: Final = 0.5
#: An alarm of cold waits for a suspected cycle, but no longer than this [ms].
SUSPECTED_FOR_MS: Final = 300_000


def shown_phase(before: str, phase: str) -> str:
    """The phase that the word for people goes by: what is reheating after anything but a cycle is heated from cold, as in no phase of note.

    >>> shown_phase("idle", "reheating"), shown_phase("in_use", "reheating"), shown_phase("in_use", "off")
    ('idle', 'reheating', 'off')
    """
    is_from_cold = phase == Phase.REHEATING and before != Phase.IN_USE
    return str(Phase.IDLE) if is_from_cold else phase


def phase_of(*, off: bool, at_work: bool, away: bool, drawn: bool, reheating: bool, resting: bool) -> Phase:
    """The first phase, in the order of the code, whose evidence holds.

    >>> str(phase_of(off=False, at_work=False, away=True, drawn=False, reheating=True, resting=False))
    'in_use'
    """
    if off:
        return Phase.OFF
    if at_work:
        return Phase.AT_WORK
    if away or drawn:
        return Phase.IN_USE
    if reheating:
        return Phase.REHEATING
    return Phase.AT_REST if resting else Phase.IDLE


class CycleDetector:
    """Detects that the heated liquid is away, and that it is back and being heated again."""

    __slots__ = (
        "away_since_ms", "back_since_ms", "powered", "_lowest", "_reheat_at_most_ms", "_drawn_ms", "_falls", "_suspect_ms", "_probe",
        "_view", "_highest", "_liquid",
    )  # fmt: skip

    def __init__(
        self, warm_up_limit_ms: int, probe: ProbeStatistics | None = None, liquid: LiquidEstimator | None = None
    ) -> None:
        self._probe = probe or ProbeStatistics()
        self._view = ProbeView(self._probe)
        self._liquid = liquid or LiquidEstimator()
        self.away_since_ms: int | None = None
        self.back_since_ms: int | None = None
        self.powered = True  # a machine without power takes no liquid away
        self._lowest = inf  # lowest average since the liquid went away [Cel]
        self._highest = -inf  # highest average of the last AWAY_WITHIN_MS [Cel]
        self._reheat_at_most_ms = max(45 * 60_000, warm_up_limit_ms * 3 // 4)
        self._drawn_ms: int | None = None
        self._falls = 0  # readings in a row that have fallen by AWAY_FALL_K
        self._suspect_ms: int | None = None  # since when the liquid has been falling as in a cycle

    def drew(self, mono_ms: int) -> None:
        """Take that water is drawn, or was until now."""
        self._drawn_ms = mono_ms

    def hear(self, liquid_c: float, room_c: float, warm_c: float, closed: Average | None, mono_ms: int) -> str | None:
        """Take one reading of the reservoir [Cel].

        Args:
            warm_c: the temperature at which the reservoir's condition is met [Cel].
            closed: the average that this reading closed; None: none.

        Returns:
            "away" or "back" at the reading that shows it, else None.
        """
        if self._liquid.judged_c(liquid_c) >= warm_c:
            self.back_since_ms = None
        if closed is not None and closed.at_ms <= self._view.since_ms:
            closed = None  # it holds readings from before the event that the view began with
        if closed is not None:
            self._highest = self._view.highest_c(AWAY_WITHIN_MS)
            self._suspect(closed, room_c, mono_ms)
        if self.away_since_ms is None:
            fell_k = self._fell_k(liquid_c, closed, mono_ms)
            if fell_k > 0.0 and self.powered and liquid_c + fell_k - room_c >= AWAY_ABOVE_ROOM_K:
                self.away_since_ms, self.back_since_ms = mono_ms, None
                self._lowest = liquid_c if closed is None else closed.liquid_c
                self.forget()
                return "away"
        elif closed is not None and self._is_back(closed, warm_c):
            self.away_since_ms, self.back_since_ms = None, mono_ms
            self.forget()
            return "back"
        return None

    def shift(self, by_k: float) -> None:
        """Add `by_k` [K] to all readings so far: the probe was calibrated."""
        self._highest += by_k
        self._lowest += by_k

    def forget(self) -> None:
        """Begin again: falls and rises count from the next reading on."""
        self._highest, self._falls = -inf, 0
        self._view.forget()

    def _fell_k(self, liquid_c: float, closed: Average | None, mono_ms: int) -> float:
        """How far the liquid has fallen [K], where that shows a cycle; else 0.0."""
        fell_k = self._highest - liquid_c
        self._falls = self._falls + 1 if fell_k >= max(AWAY_FALL_K, self._coarse_k()) else 0
        fell_k = max(fell_k if self._falls > 1 else 0.0, self._fell_soon(closed, mono_ms) if closed else 0.0)
        if self._drawn_lately(mono_ms) and self._liquid.fell_beyond_k >= BEYOND_K:
            fell_k = max(fell_k, self._liquid.fell_beyond_k)
        return fell_k

    def _coarse_k(self) -> float:
        return COARSE_STEPS * (self._probe.step_k or 0.0)

    def _fell_by(self, now: Average, within_ms: int) -> float:
        """How far this average is below the highest one of the last `within_ms` [K]."""
        return self._view.highest_c(within_ms) - now.liquid_c

    def _fell_soon(self, now: Average, mono_ms: int) -> float:
        """How far the averages have fallen [K], where that reaches one of AWAY_FALLS; else 0.0."""
        least_k = DIFFERENCE_SIGMAS * sqrt(2.0 * self._probe.noise2() / now.n)
        step_k = self._probe.step_k or 0.0
        share = DRAWN_SHARE if self._drawn_lately(mono_ms) else 1.0
        for wanted_k, within_ms in AWAY_FALLS:
            fell_k = self._fell_by(now, within_ms)
            if fell_k >= max(share * wanted_k + step_k, least_k):
                return fell_k
        return 0.0

    def _drawn_lately(self, mono_ms: int) -> bool:
        return self._drawn_ms is not None and mono_ms - self._drawn_ms <= DRAWN_MS

    def _is_back(self, now: Average, warm_c: float) -> bool:
        self._lowest = min(self._lowest, now.liquid_c)
        rise_k = RISING_BACK_K if self._liquid.rises_k_per_s > 0.0 else BACK_RISE_K
        if now.liquid_c - self._lowest >= max(rise_k, self._coarse_k()):
            return True
        seen_ms = now.at_ms - self._view.lately()[-1].at_ms
        if now.liquid_c >= LEVEL_FROM_C and self._liquid.is_calm and seen_ms >= CALM_MS:
            return True
        if not LEVEL_FROM_C <= now.liquid_c < warm_c or seen_ms < LEVEL_FOR_MS:
            return False
        return self._fell_by(now, LEVEL_FOR_MS) < LEVEL_FALL_K

    def _suspect(self, now: Average, room_c: float, mono_ms: int) -> None:
        fell_k = self._fell_by(now, SUSPECTED_FOR_MS)
        if fell_k < SUSPECTED_FALL_K or not self.powered or now.liquid_c + fell_k - room_c < AWAY_ABOVE_ROOM_K:
            self._suspect_ms = None
        elif self._suspect_ms is None:
            self._suspect_ms = mono_ms

    def fell_to_c(self) -> float:
        """The lowest average since the liquid went away [Cel]."""
        return self._lowest

    def may_explain_cold(self, mono_ms: int) -> bool:
        """Does a cycle explain a cold liquid, or does the liquid fall in a way that may become a cycle?"""
        since_ms = self._suspect_ms
        return self.explains_cold(mono_ms) or (since_ms is not None and mono_ms - since_ms <= SUSPECTED_FOR_MS)

    def is_away(self, mono_ms: int) -> bool:
        """Is the liquid away, and for no longer than a cycle can last?"""
        return self.away_since_ms is not None and mono_ms - self.away_since_ms <= AWAY_AT_MOST_MS

    def explains_cold(self, mono_ms: int) -> bool:
        """Does a cycle explain a cold probe: the liquid is away, or back and being heated again?"""
        if self.is_away(mono_ms):
            return True
        return self.back_since_ms is not None and mono_ms - self.back_since_ms <= self._reheat_at_most_ms

    def next_deadline_ms(self) -> int | None:
        """When the explanation by a cycle expires [ms]; None where there is none."""
        if self.away_since_ms is not None:
            return self.away_since_ms + AWAY_AT_MOST_MS + 1
        if self.back_since_ms is not None:
            return self.back_since_ms + self._reheat_at_most_ms + 1
        return None
