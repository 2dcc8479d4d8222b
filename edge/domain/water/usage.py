"""The station's use of water by weekday, and the days that a volume will last."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any, Final, NamedTuple

from edge.domain.maths.robust import Z90

#: The use of this many last days counts.
DAYS_KEPT: Final = 70
#: Days left are told once this many whole days have been seen.
LEAST_DAYS: Final = 3
#: Days left beyond this are told as infinite.
FARTHEST_DAYS: Final = 3650
#: Answers kept, since each reading of a draw asks the same again.
ANSWERS_KEPT: Final = 16


class Days(NamedTuple):
    """Days that a volume lasts, with the 5 and 95 % points; infinity beyond FARTHEST_DAYS."""

    value: float
    low: float
    high: float


class Use:
    """The station's use of water, in litres by local date."""

    def __init__(self) -> None:
        self._days: dict[str, float] = {}
        self._cache: dict[tuple[object, ...], Days | None] = {}  # cache of days_left() since the last draw

    def add(self, day: str, litres: float) -> None:
        """Add litres on this local date (ISO)."""
        self._cache.clear()
        self._days[day] = round(self._days.get(day, 0.0) + litres, 4)
        if len(self._days) > DAYS_KEPT:
            del self._days[min(self._days)]

    def _whole_days(self, today: date) -> list[tuple[date, float]]:
        """(date, litres) from the day after the first, which was seen in part, to yesterday; 0.0 on days without a draw."""
        known = {date.fromisoformat(day): litres for day, litres in self._days.items()}
        first = max(min(known, default=today) + timedelta(days=1), today - timedelta(days=DAYS_KEPT))
        return [(day, known.get(day, 0.0)) for day in (first + timedelta(days=n) for n in range((today - first).days))]

    def days_left(self, left_l: tuple[float, float, float], today: date, spent: float) -> Days | None:
        """The days that litres last at the use of each weekday; None where too few whole days have been seen.

        Args:
            left_l: litres left, with the 5 and 95 % points.
            spent: share of today that is over, 0 to 1.
        """
        asked = (*left_l, today, spent)
        if asked not in self._cache:
            if len(self._cache) == ANSWERS_KEPT:
                self._cache.clear()
            self._cache[asked] = self._days_left(left_l, today, spent)
        return self._cache[asked]

    def _days_left(self, left_l: tuple[float, float, float], today: date, spent: float) -> Days | None:
        seen = self._whole_days(today)
        total = sum(litres for _, litres in seen)
        if len(seen) < LEAST_DAYS or total <= 0.0:
            return None
        mean = total / len(seen)
        rates: list[float] = []
        for weekday in range(7):
            of_day = [litres for day, litres in seen if day.weekday() == weekday]
            # A weekday seen less than twice is averaged with one day of the mean use.
            rates.append((sum(of_day) + mean) / (len(of_day) + 1) if len(of_day) < 2 else sum(of_day) / len(of_day))
        variance = sum((litres - rates[day.weekday()]) ** 2 for day, litres in seen) / max(len(seen) - 7, 1)
        middle, low, high = (_last(litres, rates, today.weekday(), spent) for litres in left_l)
        if math.isinf(middle):
            return Days(middle, low, high)
        # Standard deviation of the days ahead about their means, and of the means themselves, in days of mean use.
        week = sum(rates) / 7.0
        doubt = Z90 * math.sqrt(variance * middle * (1.0 + middle / len(seen))) / week
        return Days(
            middle, max(middle - math.hypot(middle - low, doubt), 0.0), middle + math.hypot(high - middle, doubt)
        )

    def state(self) -> dict[str, float]:
        """What has to survive a restart, as JSON."""
        return dict(self._days)

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self._days, self._cache = dict(state), {}


def _last(litres: float, rates: list[float], weekday: int, spent: float) -> float:
    """Days that these litres last from now: the rest of today, then weekday by weekday."""
    week = sum(rates)
    if math.isinf(litres) or week <= 0.0 or litres / week * 7.0 > FARTHEST_DAYS:
        return math.inf
    share, days = 1.0 - spent, 0.0
    whole = max(int(litres // week) - 1, 0)  # whole weeks are not stepped through day by day
    litres -= whole * week
    while True:
        rate = rates[weekday % 7]
        if rate * share >= litres and rate > 0.0:
            return 7.0 * whole + days + litres / rate
        litres -= rate * share
        days += share
        share, weekday = 1.0, weekday + 1
