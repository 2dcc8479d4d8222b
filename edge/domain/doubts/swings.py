"""Stuck probes: a liquid that a thermostat makes swing never stays within one quantisation step of its probe for long.

A stuck probe need not stand still to the last digit: its converter may toggle between two neighbouring values, and so does the probe of a
truly steady liquid. The difference is how this liquid moved before. A thermostat that switches a heater on and off makes the liquid swing
by several steps, again and again. After such swings, half an hour within one step does not come by chance, nor six times the longest
such rest. A cycle makes no such swing: readings of its rise are left out, and tops without bottoms between them count as one. A liquid that
is held steadily, or rests for long between its swings, is never judged by this, nor one that has come to rest below its swings because its
heater has grown weak. Common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from math import inf
from typing import Final

from edge.domain.doubts.table import GAP_MS
from edge.domain.maths.robust import median

#: A swing is at least this many quantisation steps; noise makes two.
SWING_STEPS: Final = 2.8
#: Values this many steps apart are neighbours: rounding to two decimals makes steps of 0.06 and 0.07 out of 0.0625.
STEP_WIDTH: Final = 1.2
#: This many last turns are looked back on.
TURNS: Final = 12
#: A liquid that swings rests within one step for at most this long, except once [ms].
SWING_REST_MS: Final = 600_000
#: A rest within one step is too long beyond this [ms].
LEAST_REST_MS: Final = 1_800_000
#: A rest within one step is too long beyond this many times the longest before.
REST_TIMES: Final = 6
#: Each wrong doubt doubles the time until the next one, up to this factor.
PATIENCE_AT_MOST: Final = 8
#: A rest that is too long has at least this many readings.
REST_READINGS: Final = 60


class Swings:
    """The swings of one probe in a heated liquid, by its values before calibration."""

    __slots__ = (
        "_step",
        "_value",
        "_low",
        "_high",
        "_since_ms",
        "_last_ms",
        "_n",
        "_turns",
        "_rests",
        "_rises",
        "_extreme",
        "_patience",
    )

    def __init__(self) -> None:
        self._step = inf  # smallest difference of two readings
        self._value: float | None = None
        self._low = self._high = self._extreme = 0.0
        self._since_ms = self._last_ms = self._n = 0
        self._turns: deque[tuple[int, float, bool]] = deque(maxlen=TURNS)  # (time [ms], value, is it a top)
        # Rests within one step since the first of those turns: (end [ms], length [ms]).
        self._rests: deque[tuple[int, int]] = deque()
        self._rises = True
        self._patience = 1

    def hear(self, value: float, mono_ms: int, is_doubted: bool) -> bool:
        """Take a reading; has it left the step that the readings before it were within? Nothing is learned from a doubted rest."""
        before, self._value, before_ms, self._last_ms = self._value, value, self._last_ms, mono_ms
        if before is None or mono_ms - before_ms > GAP_MS:
            self._rest(value, mono_ms)
            self._extreme = value
            return False
        if value != before:
            self._step = min(self._step, abs(value - before))
        self._turn(value, mono_ms)
        low, high = min(self._low, value), max(self._high, value)
        if high - low <= STEP_WIDTH * self._step:
            self._low, self._high, self._n = low, high, self._n + 1
            return False
        if is_doubted:
            self._patience = min(2 * self._patience, PATIENCE_AT_MOST)
        else:
            self._rests.append((mono_ms, mono_ms - self._since_ms))
        self._rest(value, mono_ms)
        return True

    def pause(self, value: float, mono_ms: int) -> None:
        """Take a reading during a cycle, or of the heating after one, whose turns are not the thermostat's."""
        self._value, self._last_ms, self._extreme, self._rises = value, mono_ms, value, True
        self._rest(value, mono_ms)

    def _rest(self, value: float, mono_ms: int) -> None:
        self._low = self._high = value
        self._since_ms, self._n = mono_ms, 1

    def _turn(self, value: float, mono_ms: int) -> None:
        """Look for a turn: the reading has gone back from its extreme by a swing."""
        sign = 1.0 if self._rises else -1.0
        if sign * (value - self._extreme) >= 0.0:
            self._extreme = value
        elif sign * (self._extreme - value) >= SWING_STEPS * self._step:
            if self._turns and self._turns[-1][2] is self._rises:
                self._turns.pop()  # two tops in a row, with a pause between: the newer one replaces the older
            self._turns.append((mono_ms, self._extreme, self._rises))
            self._rises, self._extreme = not self._rises, value
            while self._rests and self._rests[0][0] < self._turns[0][0]:
                self._rests.popleft()

    def stuck(self, mono_ms: int) -> tuple[int, int] | None:
        """(length of the rest within one step, longest rest before [ms]) if it is too long for a liquid that swings; else None.

        The second longest rest counts as the longest: the longest may have had another cause.
        """
        rests_ms = mono_ms - self._since_ms
        if len(self._turns) < TURNS or self._n < REST_READINGS or rests_ms <= LEAST_REST_MS * self._patience:
            return None
        longest_ms = sorted((0, 0, *(lasted for _, lasted in self._rests)))[-2]
        lowest = median([at for _, at, was_top in self._turns if not was_top])
        if longest_ms > SWING_REST_MS or self._high < lowest or rests_ms <= self._patience * REST_TIMES * longest_ms:
            return None
        return rests_ms, longest_ms
