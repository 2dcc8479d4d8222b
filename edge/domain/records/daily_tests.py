"""What a daily test came to: what was measured decides, whatever else is said."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from math import isfinite
from typing import Any, Final

from edge.domain.messages import Message, Value, both, duration, name, names, number, part, say, text
from edge.domain.records.basins import basin_of, ports_of, through_all
from edge.domain.records.forms import SHORTEST_S
from edge.domain.settings import DailyTest, Settings

#: what one channel port can give; a slower or a lesser delivery is a failure, a quicker or a greater one a slip of the pen.
#: Our own bounds, no published source: a hand with a stopwatch measures no less than a second
MOST_ML: Final = 10_000.0


def test_result(settings: Settings, body: Mapping[str, Any], basin: str | None = None) -> tuple[bool | None, Message]:
    """Did a daily test pass? (None: it can't be told), and why. `basin`: did this one of several, which the test is about?

    `channel_ports`: [{"port": n, "seconds": s}] for the volume of the station file, or {"port", "ml", "seconds"}; "within" is
    strictly less. Where ports are given they decide; else `passed`, which is not enough where every port has to be measured. What else
    the station file names has to be among `checked`, and nothing among `failed`.

    Ports of a test that names a `basin` are numbered within it, else through all basins; then a port that failed fails its own basin
    only. Of a basin none of whose ports such a test names, nothing is told.
    """
    delivered, why = _delivery(settings, body)
    if delivered is False and basin is not None and body.get("basin") is None:
        delivered, why = _delivery_in(settings, body, basin) or (delivered, why)
    looked_at, lacks = _items(settings.daily_test, body)
    if lacks is not None and looked_at is False:
        measured = delivered is False and body.get("channel_ports") is not None
        return False, both(why, lacks) if measured else lacks
    return (None, lacks) if delivered and lacks is not None else (delivered, why)


def _delivery(settings: Settings, body: Mapping[str, Any]) -> tuple[bool | None, Message]:
    """What the ports gave, or what is said of them."""
    ports, said, test = body.get("channel_ports"), body.get("passed"), settings.daily_test
    if test is not None and ports is not None:
        fitted = len(ports_of(settings, body.get("basin")))
        return _of_ports(test, ports, said, fitted, fitted)
    if not isinstance(said, bool):
        return None, say("daily_test.no_result")
    is_by_eye = basin_of(settings, body) is not None and not ports_of(settings, body["basin"])
    if said and test is not None and test.measure == "every port" and not is_by_eye:
        return None, say("daily_test.no_port_measured")
    return said, say("daily_test.passed" if said else "daily_test.failed")


def _delivery_in(settings: Settings, body: Mapping[str, Any], basin: str) -> tuple[bool | None, Message] | None:
    """The same of one basin, where the ports of all were told and it failed; None where not by a port that was measured."""
    test, ports, total = settings.daily_test, body.get("channel_ports"), len(ports_of(settings, None))
    if test is None or not isinstance(ports, list) or not any(_has_failed(port, test, total) for port in ports):
        return None
    own, others = ports_of(settings, basin), set(ports_of(settings, None)) - set(ports_of(settings, basin))
    # also those whose number can't be read, or is none that there is: what they tell may be of any basin
    mine = [port for port in ports if not measured_ports({"channel_ports": [port]}) & others]
    if not mine:
        return None, say("daily_test.not_told_of_basin", basin=name(basin))
    return _of_ports(test, mine, None, total, len(own))


def _has_failed(port: Any, test: DailyTest, fitted: int) -> bool:
    _, ml, seconds, _ = _read(port, test, fitted)
    return seconds is not None and ml is not None and not (seconds < test.within_s and ml >= test.volume_ml)


def _of_ports(test: DailyTest, ports: Any, said: Any, fitted: int, wanted: int) -> tuple[bool | None, Message]:
    """What measured ports came to. `fitted`: how far their numbers go; `wanted`: of so many, where every port is measured."""
    if not isinstance(ports, list) or not ports:
        return None, say("daily_test.no_list")
    failed: list[Message] = []
    doubt: Message | None = None
    seen: set[int | None] = set()
    for port in ports:
        ident, ml, seconds, why = _read(port, test, fitted)
        doubt = doubt or why or (say("daily_test.port_twice", port=_port(ident)) if ident in seen else None)
        seen.add(ident)
        if ml is not None and seconds is not None and _has_failed(port, test, fitted):
            failed.append(_gave(test, ident, ml, seconds))
    if failed:  # also beside what can't be read: a failure is never talked away
        needed = {"volume": _ml(test.volume_ml), "time": _time(test.within_s)}
        return False, say("daily_test.ports_failed", ports=part(reduce(both, failed)), **needed)
    if said is False:
        return False, say("daily_test.recorded_as_failed")
    if doubt is not None:
        return None, doubt
    if test.measure == "every port" and len(seen) < wanted:
        return None, say("daily_test.too_few_ports", measured=number(len(seen)), fitted=number(wanted))
    return True, say("daily_test.passed")


def failed_items(body: Mapping[str, Any]) -> list[str]:
    """The check items that a daily test says failed."""
    return _texts(body, "failed")


def unknown_items(settings: Settings, body: Mapping[str, Any]) -> list[str]:
    """Of what a daily test names, what the station file doesn't."""
    known = {_plain(item) for item in (() if settings.daily_test is None else settings.daily_test.also)}
    return [item for item in (*_texts(body, "checked"), *_texts(body, "failed")) if _plain(item) not in known]


def _items(test: DailyTest | None, body: Mapping[str, Any]) -> tuple[bool | None, Message | None]:
    """(did the other check items pass? None: one isn't told, why not)."""
    failed = failed_items(body)
    if failed:
        return False, say("daily_test.items_failed", items=names(failed))
    checked = {_plain(item) for item in _texts(body, "checked")}
    missing = [item for item in (() if test is None else test.also) if _plain(item) not in checked]
    return (None, say("daily_test.items_missing", items=names(missing))) if missing else (True, None)


def _texts(body: Mapping[str, Any], key: str) -> list[str]:
    listed = body.get(key)
    return [one for one in listed if isinstance(one, str)] if isinstance(listed, list) else []


def _plain(item: str) -> str:
    return " ".join(item.casefold().split())


def slowest(settings: Settings, body: Mapping[str, Any], basin: str | None = None) -> Message | None:
    """What the port (of this basin) gave that delivered least in its time, ± the cylinder's uncertainty; None where that isn't stated."""
    test, ports = settings.daily_test, body.get("channel_ports")
    if test is None or test.cylinder_u_ml is None or not isinstance(ports, list):
        return None
    read = [_read(port, test, 0) for port in ports if basin is None or _is_of(settings, body, port, basin)]
    whole = [(ident, ml, seconds) for ident, ml, seconds, _ in read if ml is not None and seconds is not None]
    return _gave(test, *min(whole, key=lambda one: one[1] / one[2])) if whole else None


def _is_of(settings: Settings, body: Mapping[str, Any], port: Any, basin: str) -> bool:
    own = through_all(settings, body, measured_ports({"channel_ports": [port]}))
    return bool(own & set(ports_of(settings, basin)))


def _gave(test: DailyTest, ident: int | None, ml: float, seconds: float) -> Message:
    told = {"port": _port(ident), "volume": _ml(ml), "time": _time(seconds)}
    if test.cylinder_u_ml is None:
        return say("daily_test.port_gave", **told)
    return say("daily_test.port_gave_about", **told, uncertainty=_ml(test.cylinder_u_ml))


def measured_ports(body: Mapping[str, Any]) -> set[int]:
    """Numbers of the channel ports that a daily test measured."""
    ports = body.get("channel_ports")
    named = [port.get("port") for port in ports if isinstance(port, Mapping)] if isinstance(ports, list) else []
    return {number for number in named if isinstance(number, int) and not isinstance(number, bool)}


def failed_ports(settings: Settings, body: Mapping[str, Any], basin: str | None = None) -> set[int]:
    """Numbers of the channel ports (of this basin) that gave too little, of those that there are: a basin may have gone since."""
    test, ports, fitted = settings.daily_test, body.get("channel_ports"), len(ports_of(settings, body.get("basin")))
    if test is None or not isinstance(ports, list):
        return set()
    own = [port for port in ports if basin is None or _is_of(settings, body, port, basin)]
    failed = {n for port in own if _has_failed(port, test, fitted) for n in measured_ports({"channel_ports": [port]})}
    return {n for n in failed if n >= 1 and (fitted == 0 or n <= fitted)}


def after_failure(settings: Settings, body: Mapping[str, Any], basin: str | None = None) -> Message:
    """What to look at after a test that didn't pass (in this basin)."""
    ports, items = sorted(failed_ports(settings, body, basin)), failed_items(body)
    if ports:
        which = "daily_test.port_failed.ask" if len(ports) == 1 else "daily_test.ports_failed.ask"
        return say(which, ports=names(map(str, ports)))
    return say("daily_test.items_failed.ask", items=names(items)) if items else say("daily_test.last_failed.ask")


def left_out(settings: Settings, before: Mapping[str, Any], body: Mapping[str, Any], basin: str | None) -> set[int]:
    """The channel ports (of this basin) that failed in the test before and aren't measured in this one, numbered through all basins."""
    failed = through_all(settings, before, failed_ports(settings, before, basin))
    return failed - through_all(settings, body, measured_ports(body))


def _read(port: Any, test: DailyTest, fitted: int) -> tuple[int | None, float | None, float | None, Message | None]:
    """(number, mL, seconds, why it can't be used) of one port; None for what can't be read."""
    given = text(repr(port))
    if not isinstance(port, Mapping):
        return None, None, None, say("daily_test.no_port", given=given)
    ident, why = port.get("port"), None
    if isinstance(ident, bool) or not isinstance(ident, int):
        ident, why = None, say("daily_test.port_without_number", given=given)
    elif not (ident >= 1 and (fitted == 0 or ident <= fitted)):
        why = say("daily_test.no_such_port", port=_port(ident), fitted=number(fitted))
    seconds, ml = _positive(port.get("seconds")), _positive(port.get("ml", test.volume_ml))
    if seconds is None or ml is None:
        lacks = "daily_test.port_without_seconds" if seconds is None else "daily_test.port_without_volume"
        return ident, ml, seconds, why or say(lacks, given=given)
    if seconds < SHORTEST_S or ml > MOST_ML:
        why = why or say("daily_test.port_cant_be", port=_port(ident), volume=_ml(ml), time=_time(seconds))
    return ident, ml, seconds, why


def _port(ident: int | None) -> Value:
    """The number of a port; None: not known."""
    return Value("number", ident)


def _ml(volume: float) -> Value:
    return number(volume, "mL")


def _time(seconds: float) -> Value:
    return duration(seconds * 1000.0)


def _positive(value: Any) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and isfinite(value) and value > 0 else None
