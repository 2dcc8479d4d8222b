"""When an alarm that is present has become clearly worse than what it says: it says so, and is announced anew where it was answered.

Clearly is by CLEARLY_K, or by CLEARLY of its limit, and by several deadbands, for as long as its on-delay. What was answered is
announced anew once it is worse by that and twice as far beyond its limit as when it was told: a liquid that cools for hours is told a
few times and not each hour. Our own numbers, no published source.
"""

from __future__ import annotations

from typing import Final

from edge.domain.alarms.states import Alarm

CLEARLY_K: Final = 2.0
CLEARLY: Final = 0.1
DEADBANDS: Final = 3.0


def has_worsened(
    alarm: Alarm, value: float | None, limit: float | None, deadband: float, mono_ms: int, *, low: bool
) -> bool:
    """Is it clearly worse than the value that it shows, and has been for its on-delay? `low`: it is worse the lower it is."""
    shown = alarm.value
    if not alarm.present or value is None or limit is None or shown is None:
        return False
    if _beyond(value, limit, low=low) <= 0.0 or _beyond(value, shown, low=low) < _clearly(alarm, limit, deadband):
        alarm.worse_since_ms = None
        return False
    if alarm.worse_since_ms is None:
        alarm.worse_since_ms = mono_ms
    return mono_ms - alarm.worse_since_ms >= alarm.delay.on_ms


def is_told_anew(alarm: Alarm, value: float, limit: float, deadband: float, *, low: bool) -> bool:
    """Is it so much worse than it was told that whoever answered has to hear of it?"""
    told = alarm.told
    return told is None or _beyond(value, told, low=low) >= max(_clearly(alarm, limit, deadband), abs(told - limit))


def _beyond(value: float, than: float, *, low: bool) -> float:
    """By how much it is further on its bad side; less than nought where it is better."""
    return than - value if low else value - than


def _clearly(alarm: Alarm, limit: float, deadband: float) -> float:
    return max(CLEARLY_K if alarm.unit == "Cel" else CLEARLY * abs(limit), DEADBANDS * deadband)
