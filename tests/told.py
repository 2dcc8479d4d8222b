"""An estimator that has its probe for itself, told readings and asked; at a station `ReservoirMonitor` does so for all."""

from __future__ import annotations

from math import hypot

from edge.domain.heat.balance import HOLD_MS, Forecast
from edge.domain.heat.cooldown import CoolDownEstimator
from edge.domain.heat.crossing import last_look, rounded_up
from edge.domain.heat.warmup import MIN_SD_S, ProbeForecast, WarmUpEstimator


def tell(watch: WarmUpEstimator | CoolDownEstimator, read_c: float, room_c: float, mono_ms: int) -> None:
    """One good reading [Cel], with the room."""
    probe = watch.view.probe
    if probe.gap_exceeded(mono_ms):
        watch.forget()
    closed = probe.hear(read_c, room_c, mono_ms)
    if closed is not None:
        watch.take(closed)


def until_read(watch: WarmUpEstimator, target_c: float, mono_ms: int) -> Forecast:
    """Time until single readings show `target_c` and go on showing it for as long as it must hold.

    Of readings below it tau seconds after the probe passes it there are s/(r dt) G(r tau/s), G(x) the integral of the normal tail, s the
    noise, r the rise; in the median there is none more where that is ln 2.
    """
    probe = watch.probe
    seen = watch.sees(rounded_up(target_c, probe), mono_ms)
    if not isinstance(seen, ProbeForecast):
        return Forecast(None, None, None, seen)
    wide_s = min(probe.noise_k / watch.rise(target_c, seen, mono_ms).k_per_s, 300.0)
    late_s = 0.5 * probe.every_s
    if wide_s >= 0.2 * probe.every_s:
        late_s += last_look(wide_s / probe.every_s) * wide_s
    return seen.later(late_s, hypot(0.5 * wide_s, 0.4 * probe.every_s, MIN_SD_S), HOLD_MS)
