"""Two stages in a row that the same water passes: their laws, and the one that is first at its limit, without a forecast of the dirt."""

from __future__ import annotations

import math
import random
from functools import cache
from itertools import combinations_with_replacement

import pytest

from edge.domain.water.filter_life import LAWS, Housing, Point, fit
from edge.domain.water.filter_pair import Side, together
from tests.unit.domain.water.test_filter_life import POWER

LIMIT = 60.0


@cache
def blocks(law: str, clean: float) -> float:
    """k of a life of one unit of dirt, by trying."""
    low, high = 1e-6, 1e3
    for _ in range(60):
        k, r = math.sqrt(low * high), 1.0
        for _ in range(400):
            r = min(r + k / 400 * r ** POWER[law], 1e3)
        low, high = (low, k) if clean * r > LIMIT else (k, high)
    return k


def loaded(law: str, clean: float, dirt: list[float], life: float) -> list[float]:
    """Drops [kPa] by Euler steps of dR/dV = k R^n over the dirt that comes with each draw; the limit is reached after `life` of it."""
    k, r, found = blocks(law, clean) / life, 1.0, list[float]()
    for d in dirt:
        for _ in range(4):
            r = min(r + d / 4 * k * r ** POWER[law], 1e3)
        found.append(clean * r)
    return found


def lives(seed: int, laws: tuple[str, str], ratio: float, is_common: bool = True) -> tuple[list[Point], list[Point]]:
    """Half the first one's life, in water that is by turns three times as dirty and a third."""
    rng = random.Random(seed)
    dirt, other, now, also = [], [], 1.0, 1.0
    for _ in range(60):
        now, also = (math.exp(0.8 * math.log(d) + rng.gauss(0.0, 0.35)) for d in (now, also))
        dirt.append(now)
        other.append(now if is_common else also)
    scale = 2.0 * sum(dirt)
    drops = loaded(laws[0], 20.0, dirt, scale), loaded(laws[1], 16.0, other, scale * ratio)
    return tuple(  # type: ignore[return-value]  # two of them
        [Point(10.0 * (i + 1), 1.0, 1.0, kpa + rng.gauss(0.0, 0.15)) for i, kpa in enumerate(of)] for of in drops
    )


def sides(points: tuple[list[Point], list[Point]]) -> tuple[Side, Side]:
    found = []
    for of in points:
        life = fit(of, Housing(), LIMIT, of[-1].volume_l)
        assert life is not None
        found.append(Side(of, LIMIT, life))
    return found[0], found[1]


@pytest.mark.parametrize("laws", list(combinations_with_replacement(LAWS, 2)), ids="-".join)
def test_the_first_at_its_limit_is_told_from_the_two_alone_however_dirty_the_water(laws: tuple[str, str]) -> None:
    """Each two laws once: either stage is the first at its limit by turns."""
    for ratio in (0.8, 1.25):
        right = 0
        for seed in range(3):
            pair = together(*sides(lives(seed, laws, ratio)))
            assert pair is not None
            right += (pair.one_first > 0.5) == (ratio > 1.0)
        assert right >= 2, ratio


def test_laws_that_dirt_blurs_over_the_litres_are_told_over_one_another() -> None:
    pairs = [sides(lives(seed, ("cake", "complete"), 1.3)) for seed in range(5)]
    found = [pair for one, other in pairs if (pair := together(one, other)) is not None]
    assert all(pair.one["cake"] == max(pair.one.values()) for pair in found) and len(found) == 5
    assert sorted(pair.one["cake"] for pair in found)[2] > 0.75  # less in water that may have changed a law
    assert sum(one.life.weights["cake"] for one, _ in pairs) < 2.5
    assert sum(pair.other["cake"] + pair.other["intermediate"] for pair in found) < 1.0


def test_stages_that_do_not_load_together_tell_less() -> None:
    """Each in dirt of its own: what is about their line hangs together, and the pair is not sure of itself."""
    sure = [together(*sides(lives(seed, ("cake", "cake"), 1.0, is_common=False))) for seed in range(8)]
    assert sum(pair is not None and 0.02 < pair.one_first < 0.98 for pair in sure) >= 6


def test_too_little_in_common_tells_nothing() -> None:
    one, other = lives(1, ("cake", "cake"), 1.2)
    later = [point._replace(volume_l=point.volume_l + 550.0) for point in other]
    assert together(*sides((one, later))) is None


def test_a_stage_that_was_changed_on_the_way_spoils_nothing_of_the_other() -> None:
    """Nobody recorded it and the fall was too small to be told: the two don't load together, so each is taken alone."""
    for seed in range(4):
        one, other = lives(seed, ("cake", "intermediate"), 1.5)
        step = other[30].drop_kpa - other[0].drop_kpa
        other = [p if i < 30 else p._replace(drop_kpa=p.drop_kpa - step) for i, p in enumerate(other)]
        first, second = sides((one, other))
        pair = together(first, second)
        assert pair is not None
        assert pair.one["cake"] == pytest.approx(first.life.weights["cake"], abs=0.25)
