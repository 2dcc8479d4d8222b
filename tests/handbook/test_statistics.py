"""Robust statistics against published examples (l.robust.jsonl) and, where it is there, against scipy."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from edge.domain.maths.robust import (
    huber_weight,
    mad_sigma,
    mann_kendall,
    median,
    normal_cdf,
    normal_quantile,
    theil_sen,
)


def rows(op: str) -> list[Any]:
    text = (Path(__file__).parent / "l.robust.jsonl").read_text(encoding="utf-8")
    found = [row for row in map(json.loads, text.splitlines()) if row["inputs"]["op"] == op]
    assert found, f"no row {op}"
    return [pytest.param(row["inputs"], row["expected"], row["tolerance"], id=row["id"]) for row in found]


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("theil"))
def test_theil_sen(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    line = theil_sen(inputs["x"], inputs["y"], 1.0 - inputs.get("alpha", 0.05))
    assert line is not None
    assert getattr(line, inputs["want"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("mad_sigma"))
def test_median_absolute_deviation(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    assert mad_sigma(inputs["values"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("seed", range(20))
def test_theil_sen_agrees_with_scipy(seed: int) -> None:
    from scipy import stats

    rng = random.Random(seed)
    n = rng.randint(5, 40)
    x = [float(rng.randint(0, 30)) for _ in range(n)]  # with ties
    y = [0.3 * a + rng.gauss(0.0, 2.0) for a in x]
    line, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)
    assert line is not None
    assert tuple(line) == pytest.approx((theirs.slope, theirs.intercept, theirs.low_slope, theirs.high_slope))


@pytest.mark.parametrize("seed", range(20))
def test_mann_kendall_agrees_with_scipy(seed: int) -> None:
    """scipy's Kendall against time counts the same pairs; its normal score has no correction for continuity, ours has."""
    from scipy import stats

    rng = random.Random(seed)
    values = rng.sample(range(1000), rng.randint(8, 40))
    n, ours = len(values), mann_kendall([float(value) for value in values])
    theirs = stats.kendalltau(range(n), values, method="asymptotic")
    assert ours.s == round(theirs.statistic * n * (n - 1) / 2)
    step = 1.0 / (n * (n - 1) * (2 * n + 5) / 18) ** 0.5
    uncorrected = abs(ours.z) + step if ours.s else 0.0
    assert 2.0 * (1.0 - normal_cdf(uncorrected)) == pytest.approx(theirs.pvalue, abs=1e-9)


def test_mann_kendall_of_a_short_series() -> None:
    """S counted by hand; variance n(n-1)(2n+5)/18 and the continuity correction (Mann 1945, Kendall 1975; from memory)."""
    rising = mann_kendall([1.0, 2.0, 4.0, 3.0, 5.0, 6.0])
    assert rising.s == 13  # 15 pairs, one of them falls
    assert rising.z == pytest.approx(12.0 / (6 * 5 * 17 / 18) ** 0.5)
    assert rising.p == pytest.approx(0.0242, abs=5e-4)
    assert mann_kendall([3.0] * 9).p == 1.0
    assert mann_kendall([1.0, 2.0, 3.0]).p == 1.0


def test_normal_quantiles() -> None:
    """Table values of the standard normal distribution."""
    assert normal_quantile(0.95) == pytest.approx(1.6448536, abs=1e-6)
    assert normal_quantile(0.5) == pytest.approx(0.0, abs=1e-9)
    assert normal_quantile(0.025) == pytest.approx(-1.9599640, abs=1e-6)


def test_small_tools() -> None:
    assert median([3.0, 1.0, 2.0]) == 2.0 and median([4.0, 1.0, 2.0, 3.0]) == 2.5
    assert huber_weight(1.0, 1.0) == 1.0 and huber_weight(-2.69, 1.0) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="nothing"):
        median([])
