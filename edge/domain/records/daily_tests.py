"""What a daily test came to: what was measured decides, whatever else is said."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any, Final

from edge.domain.settings import DailyTest, Settings

#: what one channel port can give; a slower or a lesser delivery is a failure, a quicker or a greater one a slip of the pen.
#: Our own bounds, no published source: a hand with a stopwatch measures no less than a second
LEAST_S: Final = 1.0
MOST_ML: Final = 10_000.0


def test_result(settings: Settings, body: Mapping[str, Any]) -> tuple[bool | None, str]:
    """Did a daily test pass? (None: it can't be told), and why.

    `channel_ports`: [{"port": n, "seconds": s}] for the volume of the station file, or {"port", "ml", "seconds"}; "within" is
    strictly less. Where ports are given they decide; else `passed`, which is not enough where every port has to be measured.
    """
    ports, said, test = body.get("channel_ports"), body.get("passed"), settings.daily_test
    if test is not None and ports is not None:
        return _of_ports(settings, test, ports, said)
    if not isinstance(said, bool):
        return None, "no result: neither passed nor channel_ports"
    if said and test is not None and test.measure == "every port":
        return None, "no channel port measured: what every port gives is needed"
    return said, "passed" if said else "failed"


def _of_ports(settings: Settings, test: DailyTest, ports: Any, said: Any) -> tuple[bool | None, str]:
    if not isinstance(ports, list) or not ports:
        return None, "channel_ports is no list of what ports gave"
    fitted = sum(basin.channel_ports for basin in settings.basins)
    failed, doubt, seen = [], "", set()
    for port in ports:
        number, ml, seconds, why = _read(port, test, fitted)
        doubt = doubt or why or (f"port {number} is there twice" if number in seen else "")
        seen.add(number)
        if seconds is not None and ml is not None and not (seconds < test.within_s and ml >= test.volume_ml):
            failed.append(f"port {number if number is not None else '?'} gave {ml:g} mL in {seconds:g} s")
    needed = f"; at least {test.volume_ml:g} mL in less than {test.within_s:g} s is needed"
    if failed:  # also beside what can't be read: a failure is never talked away
        return False, "; ".join(failed) + needed
    if said is False:
        return False, "recorded as failed"
    if doubt:
        return None, doubt
    if test.measure == "every port" and len(seen) < fitted:
        return None, f"{len(seen)} of {fitted} channel ports measured"
    return True, "passed"


def measured_ports(body: Mapping[str, Any]) -> set[int]:
    """Numbers of the channel ports that a daily test measured."""
    ports = body.get("channel_ports")
    named = [port.get("port") for port in ports if isinstance(port, Mapping)] if isinstance(ports, list) else []
    return {number for number in named if isinstance(number, int) and not isinstance(number, bool)}


def failed_ports(settings: Settings, body: Mapping[str, Any]) -> set[int]:
    """Numbers of the channel ports that gave too little, of those that there are: a basin may have gone since."""
    ports, fitted = body.get("channel_ports"), sum(basin.channel_ports for basin in settings.basins)
    each = [{"channel_ports": [port]} for port in ports] if isinstance(ports, list) else []
    failed = {n for one in each if test_result(settings, one)[0] is False for n in measured_ports(one)}
    return {n for n in failed if n >= 1 and (fitted == 0 or n <= fitted)}


def _read(port: Any, test: DailyTest, fitted: int) -> tuple[int | None, float | None, float | None, str]:
    """(number, mL, seconds, why it can't be used) of one port; None for what can't be read."""
    if not isinstance(port, Mapping):
        return None, None, None, f"{port!r} is no channel port"
    number = port.get("port")
    if isinstance(number, bool) or not isinstance(number, int):
        number, why = None, f"a channel port without its number: {port!r}"
    else:
        is_there = number >= 1 and (fitted == 0 or number <= fitted)
        why = "" if is_there else f"there is no channel port {number}: they are 1 to {fitted}"
    seconds, ml = _positive(port.get("seconds")), _positive(port.get("ml", test.volume_ml))
    if seconds is None or ml is None:
        what = "seconds" if seconds is None else "a volume"
        return number, ml, seconds, why or f"a channel port without {what}: {port!r}"
    if seconds < LEAST_S or ml > MOST_ML:
        why = why or f"port {number}: {ml:g} mL in {seconds:g} s can't be"
    return number, ml, seconds, why


def _positive(value: Any) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and isfinite(value) and value > 0 else None
