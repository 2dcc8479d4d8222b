"""Cross checks of the pressures of one finished draw: their order, their fall from rest, and the drop of each filter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from edge.domain.doubts.table import (
    ALIKE_KPA,
    FALLS_KPA,
    HARDLY_KPA,
    NOTHING_KPA,
    NOTHING_SHARE,
    STILL_ALONE_KPA,
    STILL_KPA,
    STILL_READINGS,
)
from edge.domain.water.draw_history import LIVE_FROM
from edge.domain.water.draws import Draw, Mean
from edge.domain.water.filter_train import Train
from edge.domain.water.normalise import GAINS_AT_MOST_KPA


def exchanged(pressures: Sequence[tuple[str, float | None]]) -> frozenset[str]:
    """The points whose pressures are in the wrong order.

    Args:
        pressures: (point, gauge pressure [kPa] in the steady part of a draw), in the order of flow; None where unknown.

    >>> sorted(exchanged([("supply", 290.0), ("between", 310.0), ("filtered", 270.0)]))
    ['between', 'supply']
    """
    known = [(name, kpa) for name, kpa in pressures if kpa is not None]
    wrong: set[str] = set()
    for at, (name, kpa) in enumerate(known):
        for later, later_kpa in known[at + 1 :]:
            if later_kpa - kpa > GAINS_AT_MOST_KPA:
                wrong |= {name, later}
    return frozenset(wrong)


def blind_gauges(draw: Draw, taps: Mapping[str, str]) -> tuple[bool, list[str]]:
    """(does no gauge show the draw, points of the gauges that didn't move though another did).

    Args:
        taps: the pressure points by tap.
    """
    fell: dict[str, float] = {}
    for tap, point in taps.items():
        rest, mean = draw.static_kpa.get(tap, draw.static_before_kpa if tap == "supply" else None), draw.mean(tap)
        if rest is not None and mean.value is not None and mean.n >= LIVE_FROM:
            fell[point] = rest - mean.value
    if not fell:
        return False, []
    if max(fell.values()) < (STILL_ALONE_KPA if len(fell) == 1 else STILL_KPA):
        return True, []
    falls = max(fell.values()) >= FALLS_KPA
    return False, [p for tap, p in taps.items() if p in fell and _is_still(draw.mean(tap), fell[p], falls)]


def _is_still(mean: Mean, fell_kpa: float, falls: bool) -> bool:
    """Did this gauge not move from rest? `falls`: another gauge fell by far more than noise."""
    spread = mean.most - mean.least
    if spread <= ALIKE_KPA:  # a gauge with wide quantisation steps may read alike by chance
        return abs(fell_kpa) <= ALIKE_KPA and mean.n >= STILL_READINGS
    return falls and spread <= HARDLY_KPA and abs(fell_kpa) <= HARDLY_KPA


def empty_stages(draw: Draw, train: Train) -> dict[str, bool]:
    """For each filter that the draw shows: does it have no pressure drop? ("*": a train whose stages can't be told apart.)"""
    found: dict[str, bool] = {}
    for ident, stage in train.stages.items():
        before, after = train.taps_of(ident)
        high, low = draw.mean(before), draw.mean(after)
        if high.value is None or low.value is None or min(high.n, low.n) < LIVE_FROM:
            continue
        drop = high.value + train.zeros.below(before) - low.value - train.zeros.below(after)
        nothing = NOTHING_KPA if stage.limit_kpa is None else min(NOTHING_KPA, NOTHING_SHARE * stage.limit_kpa)
        if drop >= -GAINS_AT_MOST_KPA:
            found[ident] = drop < nothing
    return found
