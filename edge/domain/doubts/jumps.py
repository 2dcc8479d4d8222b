"""A liquid rises no faster than its heater can heat it: a probe that jumps up and stays there is off, or warm liquid was poured in.

From the lowest two levels in a row of the last minutes the liquid may have risen by the greatest heating rate times the time since. That
rate is the least of what a mains socket can give to the liquid's volume, what the prior allows, and what the station's heat-ups have
shown, with a margin. A level beyond that, which stays above half the step for most of a minute, is a jump. A jump is explained if

- the probe fell before, as when a cycle takes the liquid, cold liquid is poured in or the probe is pulled out: it may come back to where it
  fell from, once, within the time for which a cycle may take the liquid;
- the station has just started, or the probe was silent for long, so that a fall may not have been seen: below what READY needs the jump may
  be a cycle's return;
- the probe hung in the room's air, and is plunged into a far warmer liquid;
- a record of the last hour says what was done.

A sudden fall can't be told from liquid that a cycle takes, and makes nothing READY: no fall is doubted here. Common practice, no
published source, except for the heat capacity of water.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.doubts.levels import RETURNS_MS, Levels

#: A jump exceeds the greatest possible heating by this [K].
JUMP_K: Final = 0.7
#: A jump exceeds the greatest possible heating by this many standard deviations of a level.
JUMP_NOISES: Final = 6.0
#: A jump exceeds the greatest possible heating by this many quantisation steps of the probe.
JUMP_STEPS: Final = 1.3
#: A jump has to last this long [ms].
STAYS_MS: Final = 50_000
#: A slow point's jump has to last for this many readings instead.
STAYS_READINGS: Final = 2
#: A point with a longer interval of readings is slow [ms].
SLOW_MS: Final = 30_000
#: A fall that equals the jump to within this share, followed by level readings, is a jump back.
LIKE_FALL_SHARE: Final = 0.3
#: That fall comes within this time [ms].
BACK_WITHIN_MS: Final = 60_000
#: Level readings differ by at most this [K].
LEVEL_K: Final = 0.3
#: A probe this near to its room may have hung in air [K].
AIR_K: Final = 4.0
#: A larger jump from air takes the probe into a liquid [K].
PLUNGED_K: Final = 10.0
#: The greatest power of a heater on a mains socket [W].
SOCKET_W: Final = 3_700.0
#: Heat capacity of a litre of water at 35 Cel [J/(L K)]: 4178 J/(kg K) times 0.994 kg/L.
J_PER_L_K: Final = 4_153.0
#: The greatest heating rate lies this many standard deviations above its mean.
POWER_SIGMAS: Final = 3.0
#: Factor on the learned heating rate, since the liquid alone may rise faster than liquid and wall.
HEAT_UP_MARGIN: Final = 1.5


class Jump(NamedTuple):
    """A jump from one temperature to another [Cel] within a time [ms]. `explained`: by the probe's own history."""

    from_c: float
    to_c: float
    within_ms: int
    explained: bool


def heats_k_per_s(
    broad: tuple[float, float], learned: tuple[float, float], heat_ups: int, volume_l: float | None
) -> float:
    """The greatest rate at which the liquid may be heated [K/s].

    Args:
        broad: prior of P/C, mean and standard deviation [K/s].
        learned: the same after `heat_ups` heat-ups.
        volume_l: the liquid's volume; None: not known.

    >>> round(heats_k_per_s((0.004, 0.3), (0.004, 0.3), 0, 11.0), 3)
    0.081
    """
    most = broad[0] + POWER_SIGMAS * broad[1]
    if heat_ups:
        most = min(most, HEAT_UP_MARGIN * (learned[0] + POWER_SIGMAS * learned[1]))
    return most if not volume_l else min(most, SOCKET_W / (volume_l * J_PER_L_K))


class Jumps:
    """Jumps in the levels of one probe."""

    __slots__ = ("_from", "_first", "_n", "_heard_ms", "_jumped_k")

    def __init__(self) -> None:
        self._jumped_k: float | None = None  # height of the last jump that nothing explained [K]
        self._heard_ms = 0
        self.forget()

    def forget(self) -> None:
        """Forget a step under way: it is explained, or is of another probe."""
        self._from: tuple[int, float] | None = None  # start of a step that may be a jump: (ms, Cel)
        self._first = (0, 0.0)  # first level after that step: (ms, Cel)
        self._n = 0  # levels since

    def hear(
        self, levels: Levels, level_c: float, heats_k_per_s: float, room_c: float | None, ready_c: float, step_k: float, mono_ms: int
    ) -> Jump | None:  # fmt: skip
        """Take a level that isn't among `levels` yet; the jump that it confirms, else None.

        Args:
            heats_k_per_s: the greatest heating rate [K/s].
            room_c: the room [Cel]; None: not known.
            ready_c: the least temperature at which the reservoir's condition may be met [Cel].
            step_k: the probe's quantisation step [K].
        """
        every_ms, self._heard_ms = mono_ms - self._heard_ms, mono_ms
        margin_k = _margin_k(levels, step_k)
        if self._from is None:
            self._look_up(levels, level_c, heats_k_per_s, margin_k, mono_ms)
            return None
        (from_ms, from_c), (first_ms, first_c) = self._from, self._first
        if level_c < (from_c + first_c) / 2.0:
            self._from = None
            return None
        if not self._has_stayed(every_ms, mono_ms):
            return None
        self._from = None
        explained = self._is_return(levels, level_c, margin_k, ready_c, mono_ms)
        if room_c is not None and from_c < room_c + AIR_K and level_c - from_c > PLUNGED_K:
            explained = True
        if not explained:
            self._jumped_k = level_c - from_c
        return Jump(from_c, level_c, first_ms - from_ms, explained)

    def has_jumped_back(self, levels: Levels, level_c: float, step_k: float, mono_ms: int) -> bool:
        """While a jump stands, in place of hear(): does this level, not among `levels` yet, confirm that the probe has jumped back?"""
        every_ms, self._heard_ms = mono_ms - self._heard_ms, mono_ms
        if self._jumped_k is None:  # the jump was before a restart
            return False
        if self._from is None:
            highs = [(at_ms, c) for at_ms, c in levels.rows if mono_ms - at_ms <= BACK_WITHIN_MS]
            from_ms, from_c = max(highs, key=lambda row: row[1], default=(mono_ms, level_c))
            if abs(from_c - level_c - self._jumped_k) <= LIKE_FALL_SHARE * self._jumped_k:
                self._from, self._first, self._n = (from_ms, from_c), (mono_ms, level_c), 1
            return False
        if abs(level_c - self._first[1]) > max(LEVEL_K, _margin_k(levels, step_k) - JUMP_K):
            self._from = None
            return False
        if not self._has_stayed(every_ms, mono_ms):
            return False
        self._from = self._jumped_k = None
        return True

    @property
    def is_unsure(self) -> bool:
        """Has the probe stepped just now, so that it isn't known yet whether it stays?"""
        return self._from is not None

    def _has_stayed(self, every_ms: int, mono_ms: int) -> bool:
        self._n += 1
        return mono_ms - self._first[0] >= STAYS_MS or (every_ms >= SLOW_MS and self._n >= STAYS_READINGS)

    def _look_up(self, levels: Levels, level_c: float, heats_k_per_s: float, margin_k: float, mono_ms: int) -> None:
        lowest = level_c - margin_k
        if min((c for _, c in levels.rows), default=level_c) >= lowest:
            return
        for (_, before), (at_ms, after) in pairwise(levels.rows):
            base_c = max(before, after)
            may_be_c = base_c + heats_k_per_s * (mono_ms - at_ms) / 1000.0
            if may_be_c < lowest:
                lowest = may_be_c
                self._from, self._first, self._n = (at_ms, base_c), (mono_ms, level_c), 1

    def _is_return(self, levels: Levels, level_c: float, margin_k: float, ready_c: float, mono_ms: int) -> bool:
        """Is the step a return to where the probe had fallen from, or may it be one?"""
        if levels.may_return(mono_ms) and level_c <= levels.fell_from_c + margin_k:
            levels.returned(mono_ms)
            return True
        since_ms = mono_ms if levels.since_ms is None else levels.since_ms
        return mono_ms - since_ms < RETURNS_MS and level_c < ready_c


def _margin_k(levels: Levels, step_k: float) -> float:
    return max(JUMP_K, JUMP_NOISES * levels.noise_k, JUMP_STEPS * step_k)
