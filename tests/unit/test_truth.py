"""Days composed at random of faults, records, clocks and restarts: READY is never wrong (tests/bench/truth.py searches further)."""

from __future__ import annotations

import pytest

from edge.domain.station import Station
from tests.bench.truth import described, shrunk
from tests.bench.truth_day import KINDS, Ingredient, compose
from tests.bench.truth_oracle import KINDS as WRONGS
from tests.bench.truth_run import Found, Run

SEEDS = range(1, 26)
#: kinds of wrong READY that are known and open, each found by the search; empty where none is
OPEN: frozenset[str] = frozenset({"hold", "treatment", "outlet_test", "equipment"})


@pytest.fixture(scope="module")
def days() -> dict[int, Found]:
    return {seed: Run(compose(seed)).run() for seed in SEEDS}


@pytest.mark.parametrize("kind", [kind for kind in WRONGS if kind not in OPEN])
def test_ready_is_never_wrong(kind: str, days: dict[int, Found]) -> None:
    wrong = [
        f"seed {seed}: {described(compose(seed))}: {found.first[kind]}"
        for seed, found in days.items()
        if kind in found.wrong_s
    ]
    assert wrong == []


def test_no_day_breaks_the_station(days: dict[int, Found]) -> None:
    assert [found.crash for found in days.values() if found.crash] == []
    assert (
        sum(found.ready_s for found in days.values()) > len(days) * 2 * 3600
    )  # a station that is never ready is never wrong


def test_a_day_without_a_fault_is_quiet(days: dict[int, Found]) -> None:
    quiet = [found for seed, found in days.items() if not compose(seed).ingredients]
    assert len(quiet) == 2
    assert [found.unknown_s for found in quiet] == [0, 0]
    assert {alarm for found in quiet for alarm in found.alarms} <= {"duty_due:daily_test"}


def test_a_station_that_always_says_ready_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle itself: whatever is wrong on these days has to be seen."""
    monkeypatch.setattr(Station, "verdict", lambda self, now: {"verdict": "ready", "conditions": []})
    wanted = {
        "heater_dead": "cold", "valve": "pressure", "trip": "outlet", "power_off": "power", "swapped": "evidence", "bypass": "bypass",
        "gap": "silent", "hold": "hold", "work_begins": "work", "no_test": "test", "failed_test": "test", "treatment_short": "treatment",
        "check_failed": "check", "outlet_test_failed": "outlet_test", "equipment_change": "equipment", "clock_untrusted": "clock",
    }  # fmt: skip
    for ingredient, kind in wanted.items():
        run = Run(compose(10).of(Ingredient(ingredient, 9_000, 35_000, _what(ingredient), _value(ingredient))))
        run.always = "ready"
        assert kind in run.run().wrong_s, ingredient


def _what(ingredient: str) -> str:
    return {
        "swapped": "supply between",
        "bypass": "fine",
        "equipment_change": "swap",
        "failed_test": "flag",
        "gap": "all",
    }.get(ingredient, "")


def _value(ingredient: str) -> float:
    return {"bypass": 1.0, "treatment_short": 5.0, "clock_untrusted": -3600.0}.get(ingredient, 0.0)


def test_a_day_is_made_as_small_as_keeps_it_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    composed = compose(10).of(
        Ingredient("bad_readings", 9_000, 12_000, "room", 0.1), Ingredient("heater_dead", 9_000, 35_000)
    )
    monkeypatch.setattr(Run, "always", "ready")
    monkeypatch.setattr(Station, "verdict", lambda self, now: {"verdict": "ready", "conditions": []})
    assert [i.kind for i in shrunk(composed, "cold").ingredients] == ["heater_dead"]


def test_days_are_the_same_each_time_and_use_every_ingredient() -> None:
    assert compose(7) == compose(7)
    assert {i.kind for seed in range(400) for i in compose(seed).ingredients} == set(KINDS)
    assert all(any(i.kind == kind for i in compose(3, kind).ingredients) for kind in KINDS)
