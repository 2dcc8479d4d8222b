"""Is this reading believable? Range, rate, stuck, not a number, stale: before any limit is looked at.

A single bad reading makes nothing unknown: the last good one stands until the point's stale limit. After that the point has no
usable value, and whatever rests on it is unknown.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from math import hypot, isfinite, sqrt
from typing import Final

from edge.domain.messages import Advice, Doubt, Message, difference, number, part, say
from edge.domain.readings import REASONS, UNIT_OF, Kind, Quality, Reading, Role, Sample
from edge.domain.roles import ROLES
from edge.domain.sensing.calibration import K_CALIBRATED, Correction, u_message
from edge.domain.sensing.calibration_budget import CLASSES
from edge.domain.sensing.steps import Steps
from edge.domain.settings import Point

#: readings that agree with each other after a jump, before the new level is believed
JUMP_CONFIRMED_BY: Final = 3
#: a heated liquid this far from its room cannot keep still: it cools, or its thermostat works
STUCK_AWAY_FROM_ROOM_K: Final = 5.0
PERHAPS_STUCK_AFTER_MS: Final = 3 * 3_600_000
STUCK_AFTER_MS: Final = 4 * 3_600_000

#: so many single bad readings among good ones within an hour are told once (our own number: at one in ten minutes nobody need act)
WILD_AN_HOUR: Final = 7
#: the same advice is told again after this
ADVISED_AGAIN_MS: Final = 24 * 3_600_000
#: readings that a noise is taken from: so many at most, and at least
NOISE_OF: Final = 32
NOISE_FROM: Final = 8
#: characters of what is told beside a reason
LONGEST_DETAIL: Final = 400

#: reasons of readings that are shown as uncertain and decide nothing: interference may hide water as well as pass for it
DECIDES_NOTHING: Final = frozenset({"edges_noisy"})

#: what an advice entry on a resolution that has fallen back says
COARSE: Final = "coarse_steps"

_GOOD, _BAD, _UNCERTAIN = Quality.GOOD, Quality.BAD, Quality.UNCERTAIN


class PointMonitor:
    """What is known of one point: its last reading, its last good one, and whether it has fallen silent.

    `started_ms`: monotonic time from which a first reading is waited for.
    """

    __slots__ = (
        "point", "last", "good", "good_ms", "is_sure", "raw", "correction", "started_ms", "still_since_ms", "errors",
        "doubt", "detail", "steps", "news", "is_first",
        "_lately", "_wild", "_advised_ms", "_jump", "_jumps", "_rate", "_low", "_high", "_slack", "_contact", "_can_be",
        "_can_stick", "_stale_after_ms", "_every_ms",
    )  # fmt: skip

    def __init__(self, point: Point, started_ms: int) -> None:
        self.point, self.started_ms = point, started_ms
        self.last: Reading | None = None
        self.good: float | None = None
        self.good_ms = started_ms
        self.raw: float | None = None  # the last good value before calibration
        self.correction: Correction | None = None
        self._lately: deque[float] = deque(maxlen=NOISE_OF)  # the last good values before calibration
        self.is_first = False  # the last good reading was the first one since the start, or since it was forgotten
        self.is_sure = True  # the value that stands was read as good, not as uncertain
        self.still_since_ms = started_ms
        self.errors = 0
        self._wild: deque[int] = deque(maxlen=WILD_AN_HOUR)  # when single bad readings came among good ones
        self._advised_ms: dict[str, int] = {}  # reason -> when it was last told
        self.detail = ""  # what the adapter or the transducer told beside the last sample's reason
        self.doubt: Doubt | None = None  # what contradicts it, and what to do (cross_checks.py)
        self._jump: tuple[int, float] | None = None
        self._jumps = 0
        self._rate = None if point.max_rate_per_s is None else point.max_rate_per_s / 1000.0
        self._low, self._high = point.low, point.high
        self._can_be = ROLES[point.role].can_be
        own = CLASSES[point.sensor].step if point.sensor in CLASSES else 0.0
        self.steps = Steps(point.resolution, own or None) if point.kind is Kind.TEMPERATURE else None
        self.news: Advice | None = None  # it waits to be told
        self._slack = 2.0 * (point.resolution or 0.0)
        self._contact = point.kind is Kind.CONTACT
        self._can_stick = point.role is Role.RESERVOIR_TEMPERATURE
        self._stale_after_ms, self._every_ms = point.stale_after_ms, point.every_ms

    def hear(self, sample: Sample, room_c: float | None = None) -> Reading:
        """Judge one sample and remember it. `room_c` is only looked at for a point that can be stuck."""
        ident, mono_ms, value, told, detail, step = sample
        self.detail = detail[:LONGEST_DETAIL]
        if value is None:
            return self._bad(sample, told if told in REASONS else "no_answer")
        if not isfinite(value):
            return self._bad(sample, "not_a_number")
        if value < self._low or value > self._high:
            return self._bad(sample, "out_of_range")
        if told is None and self._can_be is not None and not self._can_be[0] <= value <= self._can_be[1]:
            return self._bad(sample, "beyond_its_role")
        raw, before = value, None
        if self.correction is not None:
            value, before = self.correction.of(value), raw
        if self._contact:
            if value not in (0.0, 1.0):
                return self._bad(sample, "garbled")
        elif self._rate is not None and self.good is not None and self._jumped(value, mono_ms):
            return self._bad(sample, "impossible_rate")
        reason = told if told in REASONS else None
        if self.doubt is not None and reason is None:
            reason = "contradicted"
        quality = _GOOD if reason is None else REASONS[reason].quality
        if quality is _BAD:
            return self._bad(sample, reason)
        if reason in DECIDES_NOTHING:  # what was read before stands until its stale limit, as with a bad one
            self.last = reading = Reading(ident, mono_ms, value, quality, reason, self.u, before)
            return reading
        if self._can_stick:
            if value != self.good:
                self.still_since_ms = mono_ms
            elif reason in (None, "contradicted") and self._is_still(value, mono_ms, room_c):
                if mono_ms - self.still_since_ms >= STUCK_AFTER_MS:
                    return self._bad(sample, "stuck")
                reason, quality = reason or "perhaps_stuck", _UNCERTAIN
        self.is_first = self.good is None
        self.good, self.good_ms, self.is_sure, self.raw = value, mono_ms, quality is _GOOD, raw
        self._lately.append(raw)
        self._jump = None
        if self.steps is not None and self.steps.hear(raw, step) and self.steps.coarse is not None:
            self.news = self._coarse_news(self.steps.coarse, mono_ms)
        self.last = reading = Reading(ident, mono_ms, value, quality, reason, self.u, before)
        return reading

    def _is_still(self, value: float, mono_ms: int, room_c: float | None) -> bool:
        """Not moved by a last bit for hours, though it is far from its room."""
        if room_c is None or mono_ms - self.still_since_ms < PERHAPS_STUCK_AFTER_MS:
            return False
        return abs(value - room_c) > STUCK_AWAY_FROM_ROOM_K

    def _jumped(self, value: float, mono_ms: int) -> bool:
        """Did it change faster than it can, and has the new level not been confirmed yet?"""
        assert self._rate is not None and self.good is not None
        since = mono_ms - self.good_ms
        # over a period at least: after a freeze two readings come within milliseconds
        if (
            since > self._stale_after_ms
            or abs(value - self.good) <= self._rate * max(since, self._every_ms) + self._slack
        ):
            return False
        before = self._jump
        agrees = (
            before is not None
            and abs(value - before[1]) <= self._rate * max(mono_ms - before[0], self._every_ms) + self._slack
        )
        self._jumps = self._jumps + 1 if agrees else 1
        self._jump = (mono_ms, value)
        return self._jumps < JUMP_CONFIRMED_BY

    def _bad(self, sample: Sample, reason: str | None) -> Reading:
        self.errors += 1
        if self.last is not None and self.last.quality is not _BAD:
            self._wild.append(sample.mono_ms)
        self.last = reading = Reading(sample.point, sample.mono_ms, None, _BAD, reason, None)
        return reading

    def forget(self) -> None:
        """What was heard is withdrawn: the point is as silent as if nothing had ever been."""
        self.last = self.good = self.raw = self._jump = None
        self._lately.clear()
        self.good_ms = self.started_ms - self._stale_after_ms - 1

    def correct(self, correction: Correction | None) -> float:
        """Put a correction in force, for the value that stands as well; by how much that has changed."""
        self.correction, before = correction, self.good
        if before is None or self.raw is None:
            return 0.0
        self.good = self.raw if correction is None else correction.of(self.raw)
        self._jump = None
        if self.last is not None and self.last.value is not None:
            raw = None if correction is None else self.raw
            self.last = self.last._replace(value=self.good, u=self.u, raw=raw)
        return self.good - before

    def noise(self) -> float:
        """Standard deviation of one reading, from the differences of neighbours (von Neumann): a slow rise leaves it alone."""
        lately = list(self._lately)
        if len(lately) < NOISE_FROM:
            return 0.0
        squares = sum((b - a) ** 2 for a, b in pairwise(lately))
        return sqrt(squares / (2.0 * (len(lately) - 1)))

    @property
    def own_unit(self) -> str:
        """The unit of its kind, in which values are held."""
        return UNIT_OF[self.point.kind]

    @property
    def guard(self) -> float:
        """k u: how far inside a limit a value has to be to count as met (JCGM 106); of a point without a calibration what a resolution
        that has fallen back adds, else 0.
        """
        own, coarse = 0.0 if self.correction is None else self.correction.u, self._coarse_u
        return K_CALIBRATED * (hypot(own, coarse) if coarse else own)

    @property
    def u(self) -> float | None:
        """Standard uncertainty of a reading: by calibration, else as the station file states it; None where neither tells."""
        own = self.point.uncertainty if self.correction is None else self.correction.u
        if self.steps is None or self.steps.coarse is None:
            return own
        coarse = self._coarse_u
        return hypot(own or 0.0, coarse) if coarse else own

    @property
    def _coarse_u(self) -> float:
        return 0.0 if self.steps is None or self.steps.coarse is None else self.steps.u

    @property
    def nominal(self) -> Message:
        """What stands behind a value, for people: its expanded uncertainty or that it is uncalibrated, and a step that is too coarse."""
        told = say("nominal.uncalibrated") if self.correction is None else u_message(self.correction, self.point)
        coarse = None if self.steps is None else self.steps.coarse
        if coarse is None:
            return told
        return say("nominal.in_steps", told=part(told), step=difference(Kind.TEMPERATURE, coarse))

    def take_news(self) -> Advice | None:
        """Advice that has not been told yet."""
        news, self.news = self.news, None
        return news

    def _coarse_news(self, coarse: float, mono_ms: int) -> Advice | None:
        """Advice on a resolution that has fallen back; None where it was told of late."""
        told_ms = self._advised_ms.get(COARSE)
        if told_ms is not None and mono_ms - told_ms < ADVISED_AGAIN_MS:
            return None
        self._advised_ms[COARSE] = mono_ms
        own = self.steps.own if self.steps is not None else None
        own_part = None if own is None else say("advice.coarse.own", own=difference(Kind.TEMPERATURE, own))
        what = say("advice.coarse", step=difference(Kind.TEMPERATURE, coarse), own=part(own_part))
        return Advice(self.point.id, COARSE, what, say("advice.coarse.advice"))

    @property
    def stale_at_ms(self) -> int:
        """When the point falls silent if nothing good is heard before."""
        return self.good_ms + self._stale_after_ms + 1

    def advice(self) -> Advice | None:
        """Advice when bad readings among good ones have become many within an hour; then it counts anew."""
        wild = self._wild
        if len(wild) < WILD_AN_HOUR or wild[-1] - wild[0] > 3_600_000 or self.last is None or self.last.reason is None:
            return None
        wild.clear()
        told_ms = self._advised_ms.get(self.last.reason)
        if told_ms is not None and self.last.mono_ms - told_ms < ADVISED_AGAIN_MS:
            return None
        self._advised_ms[self.last.reason] = self.last.mono_ms
        reason = self.last.reason
        what = say("advice.wild", times=number(WILD_AN_HOUR), why=part(say(f"reason.{reason}")))
        return Advice(self.point.id, reason, what, say(f"reason.{reason}.advice"))

    def is_silent(self, mono_ms: int) -> bool:
        """No good reading within the stale limit. Exactly at the limit it still stands."""
        return mono_ms - self.good_ms > self._stale_after_ms

    def value(self, mono_ms: int) -> float | None:
        """The last good value while it stands, else None."""
        return None if self.good is None or mono_ms - self.good_ms > self._stale_after_ms else self.good

    def why_silent(self) -> str:
        """The reason (a key of REASONS) to show while the point is silent."""
        last = self.last
        if last is not None and last.reason is not None and (last.quality is _BAD or last.reason in DECIDES_NOTHING):
            return last.reason
        if self.point.by_people:
            return "not_entered"
        return "no_reading_yet" if self.good is None else "stale"
