"""What the station is doing, as far as temperature, flow, power and what people declared can tell.

A cycle takes the heated liquid away: the probe then sees air or a heel of liquid, and falls far faster than a covered vessel can
cool (0.05 to 0.1 K a minute, against 0.2 and more in a heel and kelvins in air). The liquid comes back cooler, at some 33 to 37 Cel,
and is heated again. By temperature alone a cycle mostly shows within four minutes of the liquid's leaving, in a large heel that cools
slowly within eight; where a flow meter shows that water is drawn, with the draw, and smaller falls count. An alarm that a cycle
explains is masked, for a limited time. Cold liquid poured in is a fall that doesn't go on: it passes for a cycle until it has risen, or
has been level for some minutes (believed_liquid.py).
The figures are common practice, no published source; `python -m tests.bench.cycles` is what they were tried on.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from math import inf, sqrt
from types import MappingProxyType
from typing import Final

from edge.domain.heat.believed_liquid import LiquidWatch
from edge.domain.heat.probe import Average, Heard, ProbeWatch


class Phase(StrEnum):
    """Words of the contract."""

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
        Phase.REHEATING: "reheating", Phase.AT_WORK: "somebody works on it",
    }
)  # fmt: skip

AWAY_FALL_K: Final = 0.8
AWAY_WITHIN_MS: Final = 240_000
#: (K, within ms): a fall of averages by as much shows it too, sooner or in a large heel that cools slowly
SOONER: Final = ((0.45, 120_000), (0.6, 180_000), (0.8, 300_000), (1.0, 420_000))
#: where water was drawn so shortly before, this share of those falls is enough
DRAWN_MS: Final = 360_000
DRAWN_SHARE: Final = 0.7
#: and so much beyond what a covered vessel cools, where that is sure
BEYOND_K: Final = 0.12
#: (a step of the probe more), and never less than so many standard deviations of the difference of two averages
SIGMAS: Final = 6.0
#: only a liquid this far above the room shows by its fall that it was taken away
AWAY_ABOVE_ROOM_K: Final = 8.0
BACK_RISE_K: Final = 0.5
RISING_BACK_K: Final = 0.2  # where it surely goes on rising
AWAY_AT_MOST_MS: Final = 60 * 60_000
#: it is back, or was never away, where it is cold and has fallen by less than LEVEL_K within LEVEL_MS
#: (below LEVEL_FROM_C it may be air that the probe hangs in)
LEVEL_FROM_C: Final = 31.0
LEVEL_MS: Final = 360_000
LEVEL_K: Final = 0.3
#: or where it is calm (believed_liquid.py) for so long
CALM_MS: Final = 150_000
#: water drawn this short before or after belongs to the same cycle
DRAW_BELONGS_MS: Final = 180_000
COARSE_STEPS: Final = 2.5  # of a single reading, and of a rise, fewer of the probe's steps tell nothing
#: a fall of so much within so long may become a cycle: an alarm of cold waits for it, but no longer than that
SUSPECT_K: Final = 0.5
SUSPECT_MS: Final = 300_000


def phase_of(*, off: bool, at_work: bool, away: bool, drawn: bool, reheating: bool, resting: bool) -> Phase:
    """The phase that follows from what is known; the first that holds.

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


class CycleWatch:
    """Is the heated liquid away, or back and being heated again after a cycle?"""

    __slots__ = (
        "away_since_ms", "back_since_ms", "powered", "_lowest", "_reheat_at_most_ms", "_drawn_ms", "_falls", "_suspect_ms", "_probe",
        "_heard", "_highest", "_liquid",
    )  # fmt: skip

    def __init__(
        self, warm_up_limit_ms: int, probe: ProbeWatch | None = None, liquid: LiquidWatch | None = None
    ) -> None:
        self._probe = probe or ProbeWatch()
        self._heard = Heard(self._probe)
        self._liquid = liquid or LiquidWatch()
        self.away_since_ms: int | None = None
        self.back_since_ms: int | None = None
        self.powered = True  # a machine without power takes no liquid away
        self._lowest = inf  # average since it went away
        self._highest = -inf  # average of the last AWAY_WITHIN_MS
        self._reheat_at_most_ms = max(45 * 60_000, warm_up_limit_ms * 3 // 4)
        self._drawn_ms: int | None = None
        self._falls = 0  # readings in a row that have fallen
        self._suspect_ms: int | None = None  # since when it has been falling as if away

    def drew(self, mono_ms: int) -> None:
        """Water is drawn, or was until now."""
        self._drawn_ms = mono_ms

    def hear(self, liquid_c: float, room_c: float, warm_c: float, closed: Average | None, mono_ms: int) -> str | None:
        """One reading of the reservoir. `closed`: the average that it ended; `warm_c`: warm enough to start.

        Returns "away" or "back" at the reading that shows it, else None.
        """
        if self._liquid.judged_c(liquid_c) >= warm_c:
            self.back_since_ms = None
        if closed is not None and closed.at_ms <= self._heard.since_ms:
            closed = None  # what was read before the fall is no rise
        if closed is not None:
            self._highest = self._heard.highest_c(AWAY_WITHIN_MS)
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
        """All that its probe read was so much warmer: it was calibrated."""
        self._highest += by_k
        self._lowest += by_k

    def forget(self) -> None:
        """What comes is no fall from, and no rise above, what was."""
        self._highest, self._falls = -inf, 0
        self._heard.forget()

    def _fell_k(self, liquid_c: float, closed: Average | None, mono_ms: int) -> float:
        """How far it has fallen, where it is as much as a cycle makes it; else 0.0."""
        fell_k = self._highest - liquid_c
        self._falls = self._falls + 1 if fell_k >= max(AWAY_FALL_K, self._coarse_k()) else 0
        fell_k = max(fell_k if self._falls > 1 else 0.0, self._fell_soon(closed, mono_ms) if closed else 0.0)
        if self._drawn_lately(mono_ms) and self._liquid.fell_beyond_k >= BEYOND_K:
            fell_k = max(fell_k, self._liquid.fell_beyond_k)
        return fell_k

    def _coarse_k(self) -> float:
        return COARSE_STEPS * (self._probe.step_k or 0.0)

    def _fell_by(self, now: Average, within_ms: int) -> float:
        """How far it is below its highest average of so long [K]."""
        return self._heard.highest_c(within_ms) - now.liquid_c

    def _fell_soon(self, now: Average, mono_ms: int) -> float:
        """How far the averages have fallen, where it is as much as SOONER asks; else 0.0."""
        least_k = SIGMAS * sqrt(2.0 * self._probe.noise2() / now.n)
        step_k = self._probe.step_k or 0.0
        share = DRAWN_SHARE if self._drawn_lately(mono_ms) else 1.0
        for wanted_k, within_ms in SOONER:
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
        seen_ms = now.at_ms - self._heard.lately()[-1].at_ms
        if now.liquid_c >= LEVEL_FROM_C and self._liquid.is_calm and seen_ms >= CALM_MS:
            return True
        if not LEVEL_FROM_C <= now.liquid_c < warm_c or seen_ms < LEVEL_MS:
            return False
        return self._fell_by(now, LEVEL_MS) < LEVEL_K

    def _suspect(self, now: Average, room_c: float, mono_ms: int) -> None:
        fell_k = self._fell_by(now, SUSPECT_MS)
        if fell_k < SUSPECT_K or not self.powered or now.liquid_c + fell_k - room_c < AWAY_ABOVE_ROOM_K:
            self._suspect_ms = None
        elif self._suspect_ms is None:
            self._suspect_ms = mono_ms

    def fell_to_c(self) -> float:
        """Lowest average since the liquid went away [Cel]."""
        return self._lowest

    def may_explain_cold(self, mono_ms: int) -> bool:
        """As explains_cold, or it falls as if a cycle had taken the liquid, and that can't be told yet."""
        since_ms = self._suspect_ms
        return self.explains_cold(mono_ms) or (since_ms is not None and mono_ms - since_ms <= SUSPECT_MS)

    def is_away(self, mono_ms: int) -> bool:
        """The liquid is away, and not for longer than a cycle can last."""
        return self.away_since_ms is not None and mono_ms - self.away_since_ms <= AWAY_AT_MOST_MS

    def explains_cold(self, mono_ms: int) -> bool:
        """A cycle is why the probe sees less than a warm liquid: it is away, or back and being heated again."""
        if self.is_away(mono_ms):
            return True
        return self.back_since_ms is not None and mono_ms - self.back_since_ms <= self._reheat_at_most_ms

    def next_deadline_ms(self) -> int | None:
        """When an explanation runs out by time alone."""
        if self.away_since_ms is not None:
            return self.away_since_ms + AWAY_AT_MOST_MS + 1
        if self.back_since_ms is not None:
            return self.back_since_ms + self._reheat_at_most_ms + 1
        return None
