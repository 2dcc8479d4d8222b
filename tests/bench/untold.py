"""What no reading tells: could any judge of a station's readings know by now that cold liquid has been poured in?

The day is run again without the pouring, and with what else may have happened at that moment on an ordinary day, when READY is
right: nothing; a lid that was opened; a heater that went off; both. All else, and all noise, is the same in each (noise depends on
point and instant only), and only the reservoir's probe differs. From the pouring on the differences of what it is at, each over the
standard deviation of a reading (noise, and q^2/12 of each rounding), are put together: d' = sqrt(sum (difference/sd)^2). The most
powerful test of one day against another that differs by known amounts in normal noise finds it with probability Phi(d' - z), where 1 -
Phi(z) is its rate of false alarms (the lemma of Neyman and Pearson, 1933; textbook). So below TELLS a judge that is wrong about an
ordinary day at one reading in ONE_IN would miss the pouring more often than one time in twenty, though it knew the moment, the amount
and all of the plant: no station does.

The layers are a hard opponent: all that is poured in sinks at once, unmixed, and only 8 W/K pass. A bucket poured from above mixes by its
own swing; a hose that trickles in below may lie like that.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from statistics import NormalDist
from typing import Final

from simulators.physics.events import DAY_S, HOUR, Day, Event, HeaterWeak, LidOpen, Noisy, TopUp
from simulators.physics.world import METERS, World

ONE_IN: Final = 3_600  # readings of a working day, one each ten seconds
TELLS: Final = NormalDist().inv_cdf(1.0 - 1.0 / ONE_IN) + NormalDist().inv_cdf(0.95)
#: losses of a lid that may have been opened instead [W/K]: from a gap to all of it
LIDS: Final = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.5)


def told_from_s(day: Day, seed: int, poured: TopUp, until_s: int, every_s: int, step_k: float) -> int:
    """The first second at which the probe's readings tell of `poured`; `until_s` + 1 where they don't until then."""
    at = range(poured.from_s + -poured.from_s % every_s, until_s + 1, every_s)
    was = _probe(day, seed, at)
    variance = _variance(day, step_k)
    told = poured.from_s
    for instead in _ordinary(day, poured):
        total, seen_at = 0.0, until_s + 1
        for at_s, one, other in zip(at, was, _probe(instead, seed, at), strict=True):
            total += (one - other) ** 2 / variance
            if sqrt(total) >= TELLS:
                seen_at = at_s
                break
        told = max(told, seen_at)
    return told


def _variance(day: Day, step_k: float) -> float:
    """Of one reading [K^2]."""
    meter = METERS["reservoir"]
    times = next((e.times for e in day.events if isinstance(e, Noisy) and e.point == "reservoir"), 1.0)
    return (meter.noise * times) ** 2 + (meter.resolution**2 + step_k**2) / 12.0


def _ordinary(day: Day, poured: TopUp) -> list[Day]:
    """What else may have happened."""
    others = tuple(e for e in day.events if e is not poured)
    found = []
    until_s = min(poured.from_s + HOUR, DAY_S)
    for w_per_k in LIDS:
        lid: tuple[Event, ...] = (LidOpen(poured.from_s, until_s, w_per_k),) if w_per_k else ()
        for dead in ((), (HeaterWeak(poured.from_s, until_s, 0.0),)):
            found.append(replace(day, events=(*lid, *dead, *others)))
    return found


def _probe(day: Day, seed: int, at: range) -> list[float]:
    """What the reservoir's probe is at, without noise."""
    world = World.of_day(day, seed)
    found = []
    for at_s in at:
        world.step_to(at_s * 1000)
        found.append(world.true("reservoir"))
    return found
