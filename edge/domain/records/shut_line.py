"""A shut line, watched for a time: how far its pressure falls, or why what was seen is no number.

Theory of operation. Water is nearly incompressible, so what leaks from a line whose valve is shut shows as a fall of its pressure. The
watch begins with a reading, goes on with each, and is over with the first reading that is its whole time later: so first and last are
readings, and the fall per minute goes by the time between these two. All times are monotonic. What would make the fall another thing than
a leak ends the watch at once, without a number: water that was drawn, a point that isn't heard, a pressure that rises again, which a
tight line with a shut valve doesn't do by itself, a restart, somebody who ends it. Whether the valve is shut the station can't see.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final, NamedTuple

#: how far above the least so far the pressure may come [kPa], half a psi: above any gauge's noise (our own number)
RISE_KPA: Final = 3.4
#: in so many readings, one after the other: one alone may be a knock in the pipe (our own number)
RISES: Final = 2


class Unusable(StrEnum):
    """Why a watch tells nothing of the line."""

    FLOWED = "flowed"
    LOST = "lost"  # its point turned bad, or fell silent
    ROSE = "rose"  # as when the valve is opened
    STOPPED = "stopped"  # somebody ended it before its time
    RESTARTED = "restarted"  # the station was started anew meanwhile, or its settings changed


class Watched(NamedTuple):
    """What was seen of a line since its watch began. Pressures [kPa], times monotonic [ms]."""

    began_ms: int
    lasts_ms: int
    first_kpa: float
    last_kpa: float
    last_ms: int
    least_kpa: float
    risen: int = 0  # readings, the last ones, that stood above the least by more than RISE_KPA
    why: Unusable | None = None

    @property
    def fall_kpa(self) -> float:
        """From the first reading to the last; below nought where it rose."""
        return self.first_kpa - self.last_kpa

    @property
    def lasted_ms(self) -> int:
        """From the first reading to the last."""
        return self.last_ms - self.began_ms

    @property
    def is_over(self) -> bool:
        """Its time is over, or it tells nothing any more."""
        return self.why is not None or self.lasted_ms >= self.lasts_ms

    def left_ms(self, mono_ms: int) -> int:
        """How much of its time is left."""
        return max(0, self.began_ms + self.lasts_ms - mono_ms)


def fall_per_min(fall_kpa: float, lasted_ms: float) -> float:
    """The mean fall of a minute [kPa], of one in so many milliseconds.

    >>> round(fall_per_min(2.0, 600_000), 2)
    0.2
    """
    return fall_kpa * 60_000.0 / lasted_ms


def begun(kpa: float, mono_ms: int, lasts_ms: int) -> Watched:
    """A watch of `lasts_ms` that begins with this pressure."""
    return Watched(mono_ms, lasts_ms, kpa, kpa, mono_ms, kpa)


def heard(watched: Watched, kpa: float, mono_ms: int) -> Watched:
    """The next reading [kPa]. One that isn't later than the last is passed over, and so is all that comes after its end.

    >>> line = begun(379.2, 0, 600_000)
    >>> line = heard(heard(line, 378.0, 300_000), 377.2, 600_000)
    >>> line.is_over, round(line.fall_kpa, 1)
    (True, 2.0)
    """
    if watched.is_over or mono_ms <= watched.last_ms:
        return watched
    risen = watched.risen + 1 if kpa > watched.least_kpa + RISE_KPA else 0
    why = Unusable.ROSE if risen >= RISES else None
    least = min(watched.least_kpa, kpa)
    return watched._replace(last_kpa=kpa, last_ms=mono_ms, least_kpa=least, risen=risen, why=why)


def spoilt(watched: Watched, why: Unusable) -> Watched:
    """Something else was seen. What was over before stays as it was."""
    return watched if watched.is_over else watched._replace(why=why)
