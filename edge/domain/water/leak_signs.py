"""Signs of a leak: volume that passes the meter without a draw, the least flow of a day, and static pressure that bleeds away.

Pure, fed by edge/domain/water/draws.py. A stopped line holds its pressure for hours. A leaking line loses it exponentially, as the leak's
flow falls with the pressure. The pressure of a building's supply falls while others draw, but comes back, and does not fall to half by
itself; a supply that fails falls as a leak does and is told in the same words. All numbers: common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from math import exp, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.maths.robust import normal_cdf, normal_quantile
from edge.domain.messages import Message, duration, number, say

#: A lower static pressure shows nothing by its fall [kPa].
WORTH_KPA: Final = 70.0
#: Pressure has bled away once this share of it is left.
BLED_SHARE: Final = 0.5
#: Half-way in time, an exponential fall to half has a share within these limits left; a step has not.
HALFWAY: Final = (0.55, 0.88)
#: A rise of the static pressure by less than this is heat in a shut line [kPa].
RISES_KPA: Final = 2.0
#: A rise within this many standard deviations of a spell's mean is noise.
RISES_SIGMAS: Final = 6.0
#: The noise variance follows each spell by this share.
NOISE_SHARE: Final = 0.05
#: A spell counts in the noise with at most this many standard deviations.
SPELL_SIGMAS: Final = 3.0
#: A faster fall to half is no leak but a valve or a failed gauge [ms].
FASTEST_MS: Final = 180_000
#: A slower fall to half is heat and a gauge's drift [ms].
SLOWEST_MS: Final = 12 * 3_600_000
#: Spells kept of a fall; beyond it every second one is dropped.
_KEPT: Final = 256

#: A meter's noise is told from water over slices of at least this many readings, and of 1/60 to 1/2 of the leak's time.
SLICE_READINGS: Final = 200
#: With fewer readings a meter's noise can't be told from water.
NOISE_READINGS: Final = 40
#: Limits of standard deviation over mean of the readings above zero: 0.756 for half a normal one (sqrt(pi/2 - 1)), about 0 for pulses.
CENSORED: Final = (0.6, 0.92)
#: A share of zeros above three in four is no noise around zero: its normal quantile.
MOST_ZEROS_SIGMAS: Final = 0.674
#: A draw's flow rises for at most this long before it counts as a draw [ms].
DRAW_RISES_MS: Final = 5_000

#: The least flow of a day is looked for in windows of this length without a draw [ms].
NIGHT_MS: Final = 1_800_000
#: The least flow is that of the windows of this time [ms].
NIGHTS_MS: Final = 24 * 3_600_000
#: A window drips if at least this many of its readings show flow.
DRIPS_READINGS: Final = 3
#: Water that never stops passes evenly: the least window has at least this share of the mean.
EVEN_SHARE: Final = 0.5
#: The time within which a leak shows, where the station file doesn't say [ms].
LEAK_WITHIN_MS: Final = 6 * 3_600_000


class Bled(NamedTuple):
    """Static pressure that has bled away: from, to [kPa], within [ms]."""

    from_kpa: float
    to_kpa: float
    within_ms: int


class Decay:
    """Detects an unbroken fall of the static pressure to half, whatever slow change came before."""

    __slots__ = ("_fall", "_began", "bled", "_last", "_variance", "_n")

    def __init__(self) -> None:
        self._last: tuple[float, ...] = ()  # means of the last two spells [kPa]
        self._variance, self._n = 0.0, 0  # noise variance of a spell's mean [kPa2], and the spells it rests on
        self._fall: list[tuple[int, float]] = []
        self._began: tuple[int, float] | None = None
        self.bled: Bled | None = None

    def forget(self) -> None:
        """Forget the fall: water is drawn."""
        self._fall.clear()
        self.bled = self._began = None

    def recall(self, kpa: float, mono_ms: int) -> None:
        """Restore after a restart that the pressure had bled away to this [kPa]; it stands until pressure rises or water is drawn."""
        self._fall = [(mono_ms, kpa)]
        self._began = (mono_ms, kpa / BLED_SHARE)
        self.bled = Bled(kpa / BLED_SHARE, kpa, 0)

    def hear(self, kpa: float, mono_ms: int) -> None:
        """Take the mean static pressure of one quiet spell [kPa]."""
        fall = self._fall
        rises_kpa = max(RISES_KPA, RISES_SIGMAS * self._noise_kpa(kpa))
        if fall and (kpa > min(p for _, p in fall[-3:]) + rises_kpa or mono_ms - fall[-1][0] > SLOWEST_MS // 24):
            self.forget()
        fall.append((mono_ms, kpa))
        if len(fall) > _KEPT:
            del fall[1:-1:2]
        if self._began is None:
            self._began = self._start_of_fall(kpa, mono_ms)
        if self._began is not None:
            began_ms, high = self._began
            self.bled = Bled(high, kpa, mono_ms - began_ms)

    def _noise_kpa(self, kpa: float) -> float:
        """Take a spell's mean; the noise of such means [kPa], by how far three neighbours are off a straight line."""
        if len(self._last) == 2:
            first, second = self._last
            squared = (first - 2.0 * second + kpa) ** 2 / 6.0
            if self._n >= 5:
                squared = min(
                    squared, max(SPELL_SIGMAS * SPELL_SIGMAS * self._variance, 0.01)
                )  # the step of a valve is no noise
            self._n += 1
            self._variance += max(NOISE_SHARE, 1.0 / self._n) * (squared - self._variance)
        self._last = (*self._last[-1:], kpa)
        return sqrt(self._variance)

    def _start_of_fall(self, kpa: float, mono_ms: int) -> tuple[int, float] | None:
        """(when the pressure was last twice as high [ms], that pressure [kPa]), if it fell exponentially since; else None."""
        fall = self._fall
        at = next((n for n in range(len(fall) - 1, -1, -1) if BLED_SHARE * fall[n][1] >= kpa), None)
        if at is None:
            return None
        began_ms, high = fall[at]
        lasted_ms = mono_ms - began_ms
        if high < WORTH_KPA or not FASTEST_MS <= lasted_ms <= SLOWEST_MS:
            return None
        halfway = next(p for at_ms, p in fall[at:] if at_ms - began_ms >= lasted_ms / 2)
        return (began_ms, high) if HALFWAY[0] <= halfway / high <= HALFWAY[1] else None


class Stretch:
    """A stretch of readings of the flow without a draw: litres, and the sums that tell a meter's noise from water."""

    __slots__ = ("since_ms", "litres", "n", "zeros", "total", "squares")

    def __init__(self, since_ms: int) -> None:
        self.since_ms = since_ms
        self.litres = self.total = self.squares = 0.0
        self.n = self.zeros = 0

    def add(self, litres: float, flow_l_min: float) -> None:
        """Add one reading [L/min], and the litres since the one before."""
        self.litres += litres
        self.n += 1
        self.zeros += flow_l_min == 0.0
        self.total += flow_l_min
        self.squares += flow_l_min * flow_l_min

    def water_l(self) -> float:
        """Litres of water, noise left out."""
        return self.litres * self._share_of_water()

    @property
    def drips(self) -> bool:
        """Did the meter show flow again and again, beyond its noise, with zeros between?"""
        is_pulses = self.zeros > 0 and self.n >= NOISE_READINGS and self._share_of_water() == 1.0
        return is_pulses and self.n - self.zeros >= DRIPS_READINGS

    def _share_of_water(self) -> float:
        """The share of the litres that is water.

        A meter that never shows less than zero turns its noise into flow: half of its readings are zero, and the others are distributed as
        one half of a normal distribution. The flow beneath such noise follows from the share of zeros (normal distribution censored at
        zero, textbook). Pulses, and water that runs off and on, have another distribution and are taken as they are.
        """
        above = self.n - self.zeros
        if self.n < NOISE_READINGS or not self.zeros or above < 3 or self.total <= 0.0:
            return 1.0
        spread = sqrt(max(self.squares * above / (self.total * self.total) - 1.0, 0.0))
        if not CENSORED[0] <= spread <= CENSORED[1]:
            return 1.0
        flow_sigmas = -normal_quantile(self.zeros / self.n)  # negative by chance, too, so that chance cancels
        if flow_sigmas < -MOST_ZEROS_SIGMAS:
            return 1.0
        density = exp(-0.5 * flow_sigmas * flow_sigmas) / sqrt(2.0 * pi)
        return flow_sigmas / (flow_sigmas * normal_cdf(flow_sigmas) + density)


class Drip(NamedTuple):
    """Water that never stopped while nothing drew: litres, within [ms]."""

    litres: float
    within_ms: int

    def words(self) -> Message:
        """What people are told."""
        return say("leak.drip", litres=number(self.litres, "L"), within=duration(self.within_ms))


class NightFlow:
    """The least mean flow of the half hours without a draw within the last day: zero where nothing leaks.

    `drip`: water that passed evenly through all half hours of `within_ms`. It stands until a half hour passes without water. It may be less
    than what counts as a leak.
    """

    __slots__ = ("_bin", "_covered_ms", "_seen", "_quiet", "_done", "_even", "_wanted", "drip", "_is_new")

    def __init__(self, within_ms: int | None = None) -> None:
        self._wanted = max((within_ms or LEAK_WITHIN_MS) // NIGHT_MS, 4)
        self._even: deque[float] = deque(maxlen=self._wanted)  # litres of each window in a row that dripped
        self.drip: Drip | None = None
        self._is_new = False
        self._bin, self._covered_ms, self._seen, self._quiet = -1, 0, Stretch(0), True
        self._done: deque[tuple[int, float]] = deque()  # (end of the half hour [ms], flow [L/min]), flows rising

    def draw(self, mono_ms: int) -> None:
        """Take that a draw began: its half hour is not quiet."""
        self._quiet = False

    def add(self, litres: float, flow_l_min: float, from_ms: int, mono_ms: int) -> None:
        """Add the litres between two readings without a draw; the later one showed this flow [L/min]."""
        at = mono_ms // NIGHT_MS
        if at != self._bin:
            self._end(mono_ms)
            self._bin, self._covered_ms, self._seen, self._quiet = at, 0, Stretch(mono_ms), True
        self._covered_ms += mono_ms - from_ms
        self._seen.add(litres, flow_l_min)

    def _end(self, mono_ms: int) -> None:
        done = self._done
        while done and mono_ms - done[0][0] > NIGHTS_MS:
            done.popleft()
        if not self._quiet or self._covered_ms < 0.9 * NIGHT_MS:
            self._even.clear()
            return
        self._look_for_drip()
        flow = self._seen.water_l() * 60_000.0 / self._covered_ms
        while done and done[-1][1] >= flow:
            done.pop()
        done.append((mono_ms, flow))

    def _look_for_drip(self) -> None:
        even = self._even
        if not self._seen.drips:
            even.clear()
            self.drip = None
            return
        even.append(self._seen.litres)
        if len(even) == self._wanted and min(even) >= EVEN_SHARE * sum(even) / len(even):
            self._is_new |= self.drip is None
            self.drip = Drip(sum(even), len(even) * NIGHT_MS)

    def take_new(self) -> Drip | None:
        """The drip, if it has begun since the last call; else None."""
        is_new, self._is_new = self._is_new, False
        return self.drip if is_new else None

    @property
    def least_l_min(self) -> float | None:
        """The least flow of the last day [L/min]; None where there was no quiet half hour."""
        return self._done[0][1] if self._done else None


class LeakWindow:
    """The volume that passed without a draw within the last `within_ms`; it is signed, so that noise around zero cancels."""

    __slots__ = ("within_ms", "_parts", "_sum", "_open", "_held")

    def __init__(self, within_ms: int) -> None:
        self.within_ms = within_ms
        self._parts: deque[tuple[int, float]] = deque()  # (start of a slice [ms], litres of water)
        self._sum = 0.0
        self._open: Stretch | None = None
        self._held: deque[tuple[int, float, float]] = deque()  # readings that may belong to the rise of a draw's flow

    def add(self, litres: float, flow_l_min: float, mono_ms: int) -> None:
        """Add litres at this time, when the meter showed this flow [L/min]."""
        held = self._held
        while held and mono_ms - held[0][0] >= DRAW_RISES_MS:
            at_ms, some, flow = held.popleft()
            self._count(some, flow, at_ms)
        held.append((mono_ms, litres, flow_l_min))
        self.pass_time(mono_ms)

    def _count(self, litres: float, flow_l_min: float, mono_ms: int) -> None:
        part = self._open
        if part is not None:
            lasted_ms = mono_ms - part.since_ms
            full = part.n >= SLICE_READINGS and lasted_ms >= self.within_ms // 60
            if full or lasted_ms >= self.within_ms // 2:
                self.put(part.water_l(), part.since_ms)
                part = None
        if part is None:
            self._open = part = Stretch(mono_ms)
        part.add(litres, flow_l_min)

    def put(self, litres: float, mono_ms: int) -> None:
        """Add the litres of a slice, or those known from before a restart, at this time."""
        self._parts.append((mono_ms, litres))
        self._sum += litres

    def pass_time(self, mono_ms: int) -> None:
        """Drop what is older than the window."""
        while self._parts and mono_ms - self._parts[0][0] > self.within_ms:
            self._sum -= self._parts.popleft()[1]
        if self._open is not None and mono_ms - self._open.since_ms > self.within_ms:
            self._open = None

    def forget_last(self) -> None:
        """Take that a draw began: the rise of its flow just before was no leak."""
        self._held.clear()

    @property
    def litres(self) -> float:
        """Litres within the window, never below zero."""
        return self._with_open(0.0 if self._open is None else self._open.water_l())

    @property
    def most_l(self) -> float:
        """As `litres`, but with the open slice's noise, which costs less to compute: an upper bound."""
        return self._with_open(0.0 if self._open is None else self._open.litres)

    def _with_open(self, litres: float) -> float:
        return max(self._sum + sum(some for _, some, _ in self._held) + litres, 0.0)
