"""How often lines come, held against how often they used to: another program that reads the port takes whole lines, too. Pure.

Only a sender that talks regularly has a usual rate; of one that speaks when something changes nothing is said. Numbers are our own.
"""

from __future__ import annotations

from collections import deque
from typing import Final

#: the usual interval is that of so many lines, in so many parts that agree within this share of it
LEARNED_FROM: Final = 40
PARTS: Final = 8
REGULAR: Final = 0.25
#: of lines that come more often a busy computer alone makes a difference [s]
LEAST_S: Final = 0.2
#: it is held against that of so many lines lately
LATELY: Final = 20
#: so many times the usual interval, or so small a part of it, is said; and over again nearer than this
SLOWER, FASTER = 1.6, 0.62
OVER: Final = 1.3


class LineRate:
    """The lines of one port since it was opened. `remark`: what is unusual now; "" where nothing is."""

    def __init__(self) -> None:
        self._first_s: list[float] = []
        self._lately_s: deque[float] = deque(maxlen=LATELY + 1)
        self._usual_s: float | None = None
        self.remark = ""

    def hear(self, lines: int, now_s: float) -> None:
        """So many lines have come by now."""
        for _ in range(min(lines, LATELY + 1)):
            self._lately_s.append(now_s)
            if self._usual_s is None:
                self._learn(now_s)
        if self._usual_s and len(self._lately_s) > LATELY:
            self._compare(self._usual_s, (self._lately_s[-1] - self._lately_s[0]) / LATELY)

    def _learn(self, now_s: float) -> None:
        self._first_s.append(now_s)
        if len(self._first_s) <= LEARNED_FROM:
            return
        part = LEARNED_FROM // PARTS
        parts = [(self._first_s[n + part] - self._first_s[n]) / part for n in range(0, LEARNED_FROM, part)]
        mean_s = sum(parts) / PARTS
        if mean_s >= LEAST_S and max(abs(one - mean_s) for one in parts) <= REGULAR * mean_s:
            self._usual_s = mean_s
        else:
            del self._first_s[:part]  # not yet, or never: it is looked at anew

    def _compare(self, usual_s: float, now_s: float) -> None:
        ratio = now_s / usual_s
        if SLOWER > ratio > FASTER:
            if OVER > ratio > 1.0 / OVER:
                self.remark = ""
            return
        many = "more seldom" if ratio > 1.0 else "more often"
        self.remark = (
            f"lines come every {now_s:.2g} s, {many} than the usual {usual_s:.2g} s: see whether another program reads or feeds this port, "
            "or whether the sender was set otherwise"
        )
