"""What is left of a filter: laws against their own differential equation, and against what they must do at the edges."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from itertools import pairwise

import pytest
from scipy.integrate import solve_ivp

from edge.domain.water.filter_life import LAWS, TURNS_AT, Housing, Line, Point, _turns, bursts, fit, straight

POWER = {"complete": 2.0, "standard": 1.5, "intermediate": 1.0, "cake": 0.0}


def grown(law: str, clean: float, k: float, until: float, step: float = 0.25) -> list[tuple[float, float]]:
    """(V, R) by Runge-Kutta of dR/dV = k R^n, R in units of the clean one."""
    found, r, v = [(0.0, clean)], 1.0, 0.0
    while v < until:

        def d(x: float) -> float:
            return k * x ** POWER[law]

        k1 = d(r)
        k2 = d(r + step * k1 / 2)
        k3 = d(r + step * k2 / 2)
        k4 = d(r + step * k3)
        r += step * (k1 + 2 * k2 + 2 * k3 + k4) / 6
        v += step
        found.append((v, clean * r))
    return found


@pytest.mark.parametrize("law", LAWS)
def test_each_law_is_a_straight_line_of_its_own(law: str) -> None:
    """Hermia 1982 (from memory): d2t/dV2 = k (dt/dV)^n; the function that is straight is that equation's own solution."""
    curve = grown(law, 15.0, 4e-4, 1000.0)[:: 4 * 50]
    ys = [straight(law, r) for _, r in curve]
    steps = [b - a for a, b in pairwise(ys)]
    assert max(steps) == pytest.approx(min(steps), rel=1e-6)


def life_of(law: str, share: float, noise_kpa: float, seed: int = 1) -> tuple[float, list[Point], float]:
    """(litres truly left, points up to that share of the life, limit) of a stage that grows threefold."""
    rng, k = random.Random(seed), 1e-3
    curve = grown(law, 15.0, k, {"complete": 700.0, "standard": 900.0, "intermediate": 1200.0, "cake": 2200.0}[law])
    life = next(v for v, r in curve if r >= 45.0)
    seen = [(v, r) for v, r in curve if v <= share * life][:: max(int(4 * life * share / 80), 1)]
    points = []
    for v, r in seen:
        q, mu = rng.uniform(0.8, 1.2), rng.uniform(0.9, 1.15)
        points.append(Point(v, q * mu, q * q, r * q * mu + rng.gauss(0.0, noise_kpa)))
    return life - points[-1].volume_l, points, 45.0


def housing_of(points: list[Point]) -> Housing:
    housing = Housing()
    for one, other in pairwise(points):
        housing = housing.and_draws(one, other)
    return housing


@pytest.mark.parametrize("law", LAWS)
def test_what_is_left_at_half_and_three_quarters(law: str) -> None:
    for share, most in ((0.5, 0.06), (0.75, 0.03)):
        true_left, points, limit = life_of(law, share, 0.05)
        life = fit(points, housing_of(points), limit, points[-1].volume_l)
        assert life is not None
        whole = points[-1].volume_l + true_left
        assert abs(life.left_l - true_left) < most * whole, (share, life, true_left)
        assert life.low_l <= true_left <= life.high_l
        assert life.weights[law] == max(life.weights.values())
        assert sum(life.weights.values()) == pytest.approx(1.0)


def test_a_drop_that_does_not_grow_promises_nothing() -> None:
    rng = random.Random(3)
    points = [Point(10.0 * i, 1.0, 1.0, 15.0 + rng.gauss(0.0, 0.3)) for i in range(40)]
    life = fit(points, Housing(), 45.0, 400.0)
    assert life is not None and math.isinf(life.high_l)
    assert life.left_l > 1000.0


def test_a_limit_that_is_passed_leaves_nothing() -> None:
    points = [Point(10.0 * i, 1.0, 1.0, 20.0 + i) for i in range(60)]
    life = fit(points, Housing(), 45.0, 600.0)
    assert life is not None and life.left_l == life.low_l == 0.0


def test_too_few_points_say_nothing() -> None:
    assert fit([Point(10.0 * i, 1.0, 1.0, 20.0 + i) for i in range(5)], Housing(), 45.0, 50.0) is None
    assert fit([Point(10.0, 1.0, 1.0, 20.0)] * 9, Housing(), 45.0, 50.0) is None


def test_a_volume_that_runs_backwards_stops_no_fit() -> None:
    """A total that was taken up again after a loss of entries: what was drawn before it seems to lie ahead."""
    true_left, points, limit = life_of("cake", 0.6, 0.05)
    ahead = 3.0 * points[-1].volume_l
    back = [points[0], *(one._replace(volume_l=one.volume_l + ahead) for one in points[1:12]), *points[12:]]
    life = fit(back, housing_of(points), limit, back[-1].volume_l)
    assert life is None or 0.0 <= life.left_l < 10.0 * true_left


def test_wild_points_do_not_turn_the_answer() -> None:
    true_left, points, limit = life_of("cake", 0.6, 0.05)
    for i in (7, 23, 51):
        points[i] = points[i]._replace(drop_kpa=points[i].drop_kpa * 2.5)
    life = fit(points, Housing(), limit, points[-1].volume_l)
    assert life is not None and life.left_l == pytest.approx(true_left, rel=0.12)


def test_the_housing_is_told_from_the_medium_by_flow_alone() -> None:
    """drop = 12 kPa laminar + 4 kPa square, at flows that vary: the square's share is found."""
    rng, points = random.Random(5), []
    for i in range(120):
        q = rng.uniform(0.75, 1.25)
        points.append(Point(10.0 * i, q, q * q, 12.0 * q + 4.0 * q * q + rng.gauss(0.0, 0.05)))
    share, u = housing_of(points).share_kpa(16.0)
    assert share == pytest.approx(4.0, abs=0.15) and u < 0.2
    assert Housing().share_kpa(16.0) == pytest.approx((1.6, 1.6))  # nothing seen: what is usual


def test_a_limit_that_is_passed_on_a_poorly_known_scale_may_not_be_passed() -> None:
    """Nobody measures the water's temperature: cold water alone makes a sixth of the drop. With a thermometer, zero is zero."""
    points = [Point(v, 1.0, 1.0, r) for v, r in grown("cake", 20.0, 2e-3, 800.0)[:: 4 * 20]]
    limit = points[-1].drop_kpa * 0.95
    blind = fit(points, Housing(), limit, 800.0, 0.15)
    sure = fit(points, Housing(), limit, 800.0)
    assert blind is not None and sure is not None
    assert sure.left_l == sure.low_l == sure.high_l == 0.0
    assert blind.low_l == blind.left_l == 0.0 and blind.high_l > 50.0


def test_a_burst_of_dirt_is_found_with_what_it_was_worth() -> None:
    """Water that is usual but for 200 litres' worth of dirt between two draws; a single wild draw is none."""
    rng = random.Random(8)
    volumes = [10.0 * i for i in range(80)]
    seen = [20.0 + 0.02 * (v + (200.0 if v >= 500.0 else 0.0)) + rng.gauss(0.0, 0.1) for v in volumes]
    seen[20] += 5.0
    found = bursts(volumes, seen)
    assert found.sizes_l == [pytest.approx(200.0, rel=0.1)]
    assert found.steps[50] and sum(found.steps) <= 4
    assert bursts(volumes, [20.0 + 0.02 * v + rng.gauss(0.0, 0.1) for v in volumes]).sizes_l == []


def test_a_burst_does_not_pass_for_the_usual_rate_and_more_of_them_are_reckoned_with() -> None:
    rng = random.Random(8)
    noise = [rng.gauss(0.0, 0.1) for _ in range(80)]
    usual = [Point(10.0 * i, 1.0, 1.0, 20.0 + 0.2 * i + noise[i]) for i in range(80)]
    after = [p._replace(drop_kpa=p.drop_kpa + (6.0 if i >= 50 else 0.0)) for i, p in enumerate(usual)]
    calm, burst = fit(usual, Housing(), 60.0, 790.0), fit(after, Housing(), 66.0, 790.0)  # as far from the limit
    assert calm is not None and burst is not None
    assert calm.left_l == pytest.approx((60.0 - 35.8) / 0.02, rel=0.1)
    assert burst.left_l == pytest.approx(
        calm.left_l, rel=0.25
    )  # by the ends' mean it would be a quarter less, and then bursts
    assert burst.low_l / burst.left_l < 0.9 * calm.low_l / calm.left_l


@pytest.mark.parametrize("laws, jump", [(("cake", "complete"), 2.5), (("complete", "cake"), 0.4)])
def test_a_law_that_changed_on_the_way_is_followed_from_there_on(laws: tuple[str, str], jump: float) -> None:
    """400 litres by one law, then by the other at another rate."""
    rng, r, seen, k = random.Random(2), 1.0, list[tuple[float, float]](), 1e-3
    v = 0.0
    while 15.0 * r < 45.0:
        if v == 400.0:
            k *= r ** (POWER[laws[0]] - POWER[laws[1]]) * jump
        law = laws[0] if v < 400.0 else laws[1]
        r += k * r ** POWER[law]
        v += 1.0
        seen.append((v, 15.0 * r))
    shown = [(at, kpa) for at, kpa in seen if at <= 0.78 * v][::8]
    points = [Point(at, 1.0, 1.0, kpa + rng.gauss(0.0, 0.08)) for at, kpa in shown]
    life = fit(points, Housing(), 45.0, points[-1].volume_l)
    assert life is not None
    assert life.low_l <= v - points[-1].volume_l <= life.high_l
    assert abs(life.left_l - (v - points[-1].volume_l)) < 0.05 * v
    assert sum(weight for (_, since_l), weight in life.believed().items() if since_l > 0.0) > 0.9


@pytest.mark.parametrize("law", LAWS)
def test_what_another_law_would_make_of_what_is_left_agrees_with_a_general_solver(law: str) -> None:
    """dR/dV = k R^n (Hermia), n changing on the way and the rate going on from what it was: scipy.integrate.solve_ivp, R from 1 to 3."""
    power = {"complete": 2.0, "standard": 1.5, "intermediate": 1.0, "cake": 0.0}

    def litres(law: str, k: float, begin: float, until_l: float) -> tuple[float, float]:
        """Litres until R is 3, or `until_l`; R then."""

        def there(_: float, r: Sequence[float]) -> float:
            return r[0] - 3.0

        there.terminal = True  # type: ignore[attr-defined] # how solve_ivp is told
        found = solve_ivp(
            lambda _, r: k * r ** power[law], (0.0, until_l), [begin], events=there, rtol=1e-9, atol=1e-12
        )
        return float(found.t[-1]), float(found.y[0][-1])

    left_l, _ = litres(law, 1e-3, 1.0, 1e5)
    _, turns = litres(law, 1e-3, 1.0, TURNS_AT * left_l)
    line = Line(law, 0.0, math.log(left_l), 0.1, level=straight(law, 1.0))
    others = [other for other in LAWS if other != law]
    for other, told in zip(others, _turns(line, 3.0), strict=True):
        after_l, _ = litres(other, 1e-3 * turns ** (power[law] - power[other]), turns, 1e5)
        assert told == pytest.approx(math.log(TURNS_AT + after_l / left_l), abs=1e-5)
        assert (told > 0.0) == (power[other] < power[law]), "a law that loads less steeply leaves more"
