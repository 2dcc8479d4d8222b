"""A hard case of the time to readiness: steps, noise, a lid that is opened, a thermostat that comes round near the end.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

from edge.domain.heat.warmup import WarmUpEstimator
from edge.domain.messages import say
from tests.told import tell, until_read
from tests.unit.domain.heat.test_warmup import ROOM_C, Tank, left_s

TARGET_C = 39.0
REST_S = 900


def morning(seed: int, power: float, *, lid: bool = True) -> tuple[list[float], int]:
    """Readings each second, in steps of 0.06 °C, and the second in which the liquid reaches 39 °C: 22 -> 39 °C in some 110 min.

    The lid is open for 3 min at minute 40; the thermostat switches off at 39.1 and on again at 38.9 °C.
    """
    tank = Tank(22.0, power, seed)
    tank.wall, tank.step_k = 22.0, 0.06
    read, reached = list[float](), 0
    while not reached or len(read) < reached + 600:
        minute = (len(read) - REST_S) / 60
        if minute >= 0:
            tank.on = tank.probe < (39.1 if tank.on else 38.9)
        if lid and 40 <= minute < 43:
            tank.liquid -= 250.0 / 45_000.0  # W: what an open surface gives off more
        read.append(tank.second())
        if not reached and tank.probe >= TARGET_C:
            reached = len(read)
    return read, reached


def test_c054_an_interval_that_narrows_moves_only_by_the_lid_and_holds_the_truth():
    asked = inside = 0
    for seed in range(3):
        read, reached = morning(seed, 163.0 + seed)
        _, undisturbed = morning(seed, 163.0 + seed, lid=False)
        assert 100 <= (reached - REST_S) / 60 <= 115
        watch, widths, before = WarmUpEstimator(), dict[int, float](), None
        for second, value in enumerate(read, start=1):
            tell(watch, value, ROOM_C, second * 1000)
            minute, rest = divmod(second - REST_S, 60)
            if rest or minute < 0 or (minute % 5 and minute > 5) or second > reached - 120:
                continue
            said = until_read(watch, TARGET_C, second * 1000)
            if minute < 3:
                assert said.in_ms is None, "nothing is said before it is founded"
            if said.in_ms is None:
                before = None
                continue
            middle, low, high = left_s(said)
            if before is not None:
                assert before[0] <= second + middle <= before[1], f"minute {minute}: it moved by more than its width"
            before, widths[minute] = (second + low, second + high), high - low
            truth = (undisturbed if minute <= 40 else reached) - second
            asked, inside = asked + 1, inside + (low <= truth <= high)
            if 45 < minute <= 50:
                assert said.why == say("heating.cooled"), "after the lid a new one, with its reason"
        assert before is not None and 45 not in widths, "with the lid open nothing can be said"
        assert widths[10] > widths[20] > widths[35] and widths[50] > widths[70] > widths[90]
    assert asked > 50 and inside >= 0.9 * asked, (inside, asked)
