"""What is said of one bus's points: samples of what its adapter returned, whatever that was, and bad ones in their place."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import islice
from typing import Any, Final, Protocol

from edge.domain.contracts import Clock, Raw
from edge.domain.readings import Sample
from edge.domain.sensing.common import Transducer
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point

_log = logging.getLogger(__name__)

OnSamples = Callable[[Sequence[Sample]], None]

MOST_RAWS: Final = 10_000  # of one read; an adapter that never ends its answer must not fill the memory
FUTURE_MS: Final = 1000  # a reading may be stamped this far ahead of the clock, not more


class BusLike(Protocol):
    """What acquisition needs of a bus's plan."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def options(self) -> Mapping[str, Any]: ...
    @property
    def points(self) -> Mapping[str, Mapping[str, Any]]: ...
    @property
    def time_limit_ms(self) -> int | None: ...  # of one read; None: TIME_LIMIT_S


class Handover:
    """Makes samples of one bus, and hands them over. Its worker calls it, and the supervisor for a read that doesn't come back."""

    def __init__(
        self, bus: BusLike, points: Mapping[str, Point], clock: Clock, on_samples: OnSamples, stop: threading.Event
    ) -> None:
        self.id, self._clock, self._on_samples, self._stop = bus.id, clock, on_samples, stop
        self._transducers = {name: _made(point, bus.points[name]) for name, point in points.items()}
        self._handing = threading.Lock()
        self._newest_ms: dict[str, int] = {}
        self._good_ms: dict[str, int] = {}
        self.odd: set[str] = set()  # what was said once

    def ages(self) -> dict[str, int | None]:
        """How old the newest good sample of each point is [ms]; None where there was none."""
        now_ms = self._clock.mono_ms()
        return {name: now_ms - self._good_ms[name] if name in self._good_ms else None for name in self._transducers}

    def samples_of(self, raws: Iterable[object]) -> tuple[list[Sample], str]:
        """Samples of what an adapter returned, and what of it was no reading at all, or ""."""
        samples, odd = [], ""
        for raw in islice(raws, MOST_RAWS):
            if not isinstance(raw, Raw):
                odd = f"handed over {type(raw).__name__} in place of a reading"
            elif raw.point not in self._transducers:
                self.say_once(f"handed over a point of another name, {str(raw.point)[:40]!r}")
            else:
                samples.append(self._sample(raw))
        return samples, odd

    def _sample(self, raw: Raw) -> Sample:
        now_ms = self._clock.mono_ms()
        fault = _fault_in(raw, now_ms)
        if fault:
            return Sample(raw.point, now_ms, None, "adapter_fault", fault)
        return self._transducers[raw.point](raw)

    def give_bad(self, names: Iterable[str], reason: str, detail: str) -> None:
        """Say of these points that they give nothing now, and why."""
        now_ms = self._clock.mono_ms()
        self.give([Sample(name, now_ms, None, reason, detail) for name in names])

    def give(self, samples: Sequence[Sample]) -> None:
        """Give samples on, each point's in the order of time: a late answer never overtakes what was said since."""
        with self._handing:
            fresh = []
            for sample in sorted(samples, key=lambda one: one.mono_ms):
                if sample.mono_ms >= self._newest_ms.get(sample.point, sample.mono_ms):
                    self._newest_ms[sample.point] = sample.mono_ms
                    fresh.append(sample)
                    if sample.value is not None:
                        self._good_ms[sample.point] = sample.mono_ms
            if not fresh or self._stop.is_set():
                return  # after the stop nobody is there to take them, should a hung read come back
            try:
                self._on_samples(fresh)
            except Exception:  # supervision border: reading goes on whatever becomes of the readings
                if self.say_once("its samples were not taken"):
                    _log.exception("bus %s", self.id)

    def say_once(self, what: str) -> bool:
        """One line in the log for each oddity, until the bus has been lost and is back."""
        if what in self.odd or len(self.odd) > 50:
            return False
        self.odd.add(what)
        _log.warning("bus %s: its adapter %s", self.id, what)
        return True


def _made(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    """The point's transducer; one that can't be made makes its point bad, and no other."""
    try:
        return transducer(point, wiring)
    except (ValueError, KeyError, TypeError) as exc:
        told = f"the point's wiring can't be used: {exc}"
        _log.warning("point %s: %s", point.id, told)
        return lambda raw: Sample(raw.point, raw.mono_ms, None, "adapter_fault", told)


def _fault_in(raw: Any, now_ms: int) -> str:
    """What is wrong with a raw reading's shape, whatever its annotations promise; "" where nothing is."""
    if type(raw.mono_ms) is not int:
        return f"a reading stamped with {type(raw.mono_ms).__name__}"
    if raw.mono_ms > now_ms + FUTURE_MS:
        return f"a reading stamped {raw.mono_ms - now_ms} ms ahead"
    if raw.number is not None and not isinstance(raw.number, (int, float)):
        return f"a reading that is {type(raw.number).__name__}, not a number"
    if isinstance(raw.number, int) and abs(raw.number) > 2**63:
        return "a reading beyond 64 bits"
    if not all(isinstance(text, str) for text in (raw.unit, raw.detail, raw.reason or "")):
        return "a reading whose unit, reason or detail is no text"
    return ""
