"""Signs of water that leaks: what passes the meter while nothing draws, the least flow of a day, and pressure that bleeds away.

Pure, fed by edge/domain/water/draws.py. A stopped line holds its pressure for hours; one that leaks loses it along an exponential, as its
flow falls with the pressure. A building's supply that is drawn upon falls too, but comes back, and does not fall to half by itself;
one that fails falls just so, and is told in the same words. All numbers: common practice, no published source.
"""

from __future__ import annotations

from collections import deque
from math import exp, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.maths.robust import normal_cdf, normal_quantile

#: a pressure below this tells nothing by its fall
WORTH_KPA: Final = 70.0
#: gauge pressure has bled away once this share is left; half-way in time, an exponential has this share left, a step has not
LEFT: Final = 0.5
HALFWAY: Final = (0.55, 0.88)
#: heat makes a shut line's pressure rise by less than this, and a gauge's noise by less than so many of its standard deviations
RISES_KPA: Final = 2.0
RISES_SIGMAS: Final = 6.0
#: noise follows the spells by this share, and none of them by more than so many standard deviations
NOISE_SHARE: Final = 0.05
WILD: Final = 3.0
#: faster is no leak but a valve or a failed gauge; slower is heat and a gauge's drift
FASTEST_MS: Final = 180_000
SLOWEST_MS: Final = 12 * 3_600_000
_KEPT: Final = 256

#: a meter's noise is told from water by so many readings, a stretch of the leak's time of at least a 60th, at most a half
SLICE_READINGS: Final = 200
#: fewer than these tell nothing of it
NOISE_READINGS: Final = 40
#: standard deviation over mean of the readings above zero: 0.756 for half a normal distribution (sqrt(pi/2 - 1)), about 0 for pulses
CENSORED: Final = (0.6, 0.92)
#: more zeros than three readings in four are no noise around zero
MOST_ZEROS_SIGMAS: Final = 0.674
#: a draw's flow rises this long, at most, before it counts as one
RISES_MS: Final = 5_000

#: the least flow of a day is looked for in windows of this length, wholly without a draw
NIGHT_MS: Final = 1_800_000
NIGHTS_MS: Final = 24 * 3_600_000
#: water that never stops: in each of so many such windows on end, so many readings show flow, and the least at least this share of the mean
DRIPS_READINGS: Final = 3
EVEN: Final = 0.5
#: where the station file doesn't say within how long a leak shows
WITHIN_MS: Final = 6 * 3_600_000


class Bled(NamedTuple):
    """Pressure that fell while nothing drew: from, to [kPa], within how long."""

    from_kpa: float
    to_kpa: float
    within_ms: int


class Decay:
    """Looks for an unbroken fall of the static pressure to half: what it did before, slowly, doesn't matter."""

    __slots__ = ("_fall", "_began", "bled", "_last", "_variance", "_n")

    def __init__(self) -> None:
        self._last: tuple[float, ...] = ()  # the last two spells
        self._variance, self._n = 0.0, 0  # of a spell's mean, by its noise
        self._fall: list[tuple[int, float]] = []
        self._began: tuple[int, float] | None = None
        self.bled: Bled | None = None

    def forget(self) -> None:
        """Water is drawn."""
        self._fall.clear()
        self.bled = self._began = None

    def recall(self, kpa: float, mono_ms: int) -> None:
        """Before a restart it had bled away to this; it stands until the pressure rises or water is drawn."""
        self._fall = [(mono_ms, kpa)]
        self._began = (mono_ms, kpa / LEFT)
        self.bled = Bled(kpa / LEFT, kpa, 0)

    def hear(self, kpa: float, mono_ms: int) -> None:
        """The mean static pressure of one quiet spell."""
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
        """Take a spell; the standard deviation of such means, by what three neighbours are off a straight line."""
        if len(self._last) == 2:
            first, second = self._last
            squared = (first - 2.0 * second + kpa) ** 2 / 6.0
            if self._n >= 5:
                squared = min(squared, max(WILD * WILD * self._variance, 0.01))  # a valve's own step is no noise
            self._n += 1
            self._variance += max(NOISE_SHARE, 1.0 / self._n) * (squared - self._variance)
        self._last = (*self._last[-1:], kpa)
        return sqrt(self._variance)

    def _start_of_fall(self, kpa: float, mono_ms: int) -> tuple[int, float] | None:
        """When the pressure was last at twice as much as now, where it has come down from there as a leak lets it."""
        fall = self._fall
        at = next((n for n in range(len(fall) - 1, -1, -1) if LEFT * fall[n][1] >= kpa), None)
        if at is None:
            return None
        began_ms, high = fall[at]
        lasted_ms = mono_ms - began_ms
        if high < WORTH_KPA or not FASTEST_MS <= lasted_ms <= SLOWEST_MS:
            return None
        halfway = next(p for at_ms, p in fall[at:] if at_ms - began_ms >= lasted_ms / 2)
        return (began_ms, high) if HALFWAY[0] <= halfway / high <= HALFWAY[1] else None


class Stretch:
    """Some readings of the flow while nothing draws: litres, and what tells a meter's noise from water."""

    __slots__ = ("since_ms", "litres", "n", "zeros", "total", "squares")

    def __init__(self, since_ms: int) -> None:
        self.since_ms = since_ms
        self.litres = self.total = self.squares = 0.0
        self.n = self.zeros = 0

    def add(self, litres: float, flow_l_min: float) -> None:
        """One reading, and what passed since the one before it."""
        self.litres += litres
        self.n += 1
        self.zeros += flow_l_min == 0.0
        self.total += flow_l_min
        self.squares += flow_l_min * flow_l_min

    def water_l(self) -> float:
        """Litres of water, without what is noise."""
        return self.litres * self._share_of_water()

    @property
    def drips(self) -> bool:
        """A meter that can stand still showed flow again and again, which is not its noise."""
        is_pulses = self.zeros > 0 and self.n >= NOISE_READINGS and self._share_of_water() == 1.0
        return is_pulses and self.n - self.zeros >= DRIPS_READINGS

    def _share_of_water(self) -> float:
        """Which share of the litres is water.

        A meter that never shows less than zero turns its noise into flow: half of its readings are zero, the others spread as the
        halves of a normal distribution do. What flows below such noise follows from the share of zeros (a normal distribution
        censored at zero, textbook). Pulses, and water that runs off and on, spread otherwise and are taken as they are.
        """
        above = self.n - self.zeros
        if self.n < NOISE_READINGS or not self.zeros or above < 3 or self.total <= 0.0:
            return 1.0
        spread = sqrt(max(self.squares * above / (self.total * self.total) - 1.0, 0.0))
        if not CENSORED[0] <= spread <= CENSORED[1]:
            return 1.0
        flow_sigmas = -normal_quantile(self.zeros / self.n)  # below zero by chance too: so that chance cancels
        if flow_sigmas < -MOST_ZEROS_SIGMAS:
            return 1.0
        density = exp(-0.5 * flow_sigmas * flow_sigmas) / sqrt(2.0 * pi)
        return flow_sigmas / (flow_sigmas * normal_cdf(flow_sigmas) + density)


class Drip(NamedTuple):
    """Water that never stopped while nothing drew: litres, within how long."""

    litres: float
    within_ms: int

    def words(self) -> str:
        """How much of it."""
        return f"{self.litres:.1f} L passed within {self.within_ms / 3_600_000:g} h without a stop while nothing drew"


class NightFlow:
    """The least mean flow of the half hours without a draw, within the last day: zero where nothing leaks.

    `drip`: what passed evenly through each of them, for as long as a leak is looked for (`within_ms`); it stands until one passes
    without. That may be less than what counts as a leak.
    """

    __slots__ = ("_bin", "_covered_ms", "_seen", "_quiet", "_done", "_even", "_wanted", "drip", "_is_new")

    def __init__(self, within_ms: int | None = None) -> None:
        self._wanted = max((within_ms or WITHIN_MS) // NIGHT_MS, 4)
        self._even: deque[float] = deque(maxlen=self._wanted)  # litres of each window on end that dripped
        self.drip: Drip | None = None
        self._is_new = False
        self._bin, self._covered_ms, self._seen, self._quiet = -1, 0, Stretch(0), True
        self._done: deque[tuple[int, float]] = deque()  # (end of the half hour, L/min), flows rising

    def draw(self, mono_ms: int) -> None:
        """A draw began: its half hour is not quiet."""
        self._quiet = False

    def add(self, litres: float, flow_l_min: float, from_ms: int, mono_ms: int) -> None:
        """What passed between two readings without a draw; the later one showed this flow."""
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
        if len(even) == self._wanted and min(even) >= EVEN * sum(even) / len(even):
            self._is_new |= self.drip is None
            self.drip = Drip(sum(even), len(even) * NIGHT_MS)

    def take_new(self) -> Drip | None:
        """A drip that has shown since the last call."""
        is_new, self._is_new = self._is_new, False
        return self.drip if is_new else None

    @property
    def least_l_min(self) -> float | None:
        """The least flow of the last day; None where there was no quiet half hour."""
        return self._done[0][1] if self._done else None


class LeakWindow:
    """Volume that passed while nothing drew, within the last `within_ms`. Noise around zero cancels: volumes are signed."""

    __slots__ = ("within_ms", "_parts", "_sum", "_open", "_held")

    def __init__(self, within_ms: int) -> None:
        self.within_ms = within_ms
        self._parts: deque[tuple[int, float]] = deque()  # (start of a slice, litres of water)
        self._sum = 0.0
        self._open: Stretch | None = None
        self._held: deque[tuple[int, float, float]] = deque()  # may be the rise of a draw's flow yet

    def add(self, litres: float, flow_l_min: float, mono_ms: int) -> None:
        """Some more, at this time, when the meter showed this flow."""
        held = self._held
        while held and mono_ms - held[0][0] >= RISES_MS:
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
        """So much water has passed at this time: a slice, or what is known from before a restart."""
        self._parts.append((mono_ms, litres))
        self._sum += litres

    def pass_time(self, mono_ms: int) -> None:
        """What is older than the window no longer counts."""
        while self._parts and mono_ms - self._parts[0][0] > self.within_ms:
            self._sum -= self._parts.popleft()[1]
        if self._open is not None and mono_ms - self._open.since_ms > self.within_ms:
            self._open = None

    def forget_last(self) -> None:
        """A draw began: the rise of its flow, just before, was no leak."""
        self._held.clear()

    @property
    def litres(self) -> float:
        """Litres within the window, never below zero."""
        return self._with_open(0.0 if self._open is None else self._open.water_l())

    @property
    def most_l(self) -> float:
        """The same with what may be noise of late (that costs less to tell)."""
        return self._with_open(0.0 if self._open is None else self._open.litres)

    def _with_open(self, litres: float) -> float:
        return max(self._sum + sum(some for _, some, _ in self._held) + litres, 0.0)
