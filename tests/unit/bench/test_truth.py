"""Days composed at random of faults, records, clocks and restarts: READY is never wrong (tests/bench/truth.py searches further)."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from edge.domain.station.station import Station
from simulators.physics.events import HOUR
from tests.bench.truth import FEWER, described, shrunk
from tests.bench.truth_day import KINDS, LACKS, LAYERS, MORE, PLANT, TWO_BASINS, Composed, Ingredient, compose
from tests.bench.truth_disk import DAMAGES
from tests.bench.truth_oracle import KINDS as WRONGS
from tests.bench.truth_oracle import Truth
from tests.bench.truth_run import Found, Run

WHOLE = range(1, 2)  # with the time to temperature as it is; the others have it of fewer hypotheses
SEEDS = (*range(1, 11), 20)
#: kinds of wrong READY that are known and open, each found by the search; empty where none is
OPEN: frozenset[str] = frozenset()
#: a day without a fault, of a station that has all points and one basin
PLAIN = replace(compose(10), station=frozenset(), on_disk=False)


@pytest.fixture
def quick(fewer_hypotheses: None) -> None:
    """With the time to temperature of fewer hypotheses."""


@pytest.fixture
def until_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day ends at 11:00: after the test, what befalls it at 08:00, and a cycle."""
    monkeypatch.setattr("tests.bench.truth_run.END_S", 6 * HOUR)


@pytest.fixture(scope="module")
def days() -> dict[int, Found]:
    found = {seed: Run(compose(seed)).run() for seed in WHOLE}
    with patch.multiple("edge.domain.heat.warmup_fit", **FEWER):
        return found | {seed: Run(compose(seed)).run() for seed in SEEDS if seed not in WHOLE}


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
    assert all(alarm.startswith("duty_due:daily_test") for found in quiet for alarm in found.alarms)


@pytest.mark.usefixtures("quick")
def test_a_station_that_always_says_ready_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle itself: whatever is wrong on these days has to be seen."""
    monkeypatch.setattr(Station, "verdict", lambda self, now: {"verdict": "ready", "conditions": []})
    monkeypatch.setattr(Run, "always", "ready")
    plain = Run(PLAIN).run().wrong_s  # of an ordinary day: before the test, after a cycle, much later
    assert set(plain) <= {"test", "away", "cold", "fill"}
    everything = PLAIN.of(
        Ingredient("swapped", 8_000, 35_980, "between filtered"), Ingredient("bypass", 8_000, 35_980, "fine", 1.0),
        Ingredient("heater_dead", 8_000, 35_980), Ingredient("hold", 9_000, 9_000), Ingredient("failed_test", 9_000, 9_000, "flag"),
        Ingredient("work_begins", 9_000, 9_000), Ingredient("treatment_short", 10_000, 10_000, "", 5.0),
        Ingredient("check_failed", 10_000, 10_000), Ingredient("outlet_test_failed", 10_000, 10_000),
        Ingredient("equipment_change", 10_000, 10_000, "swap"), Ingredient("trip", 20_000, 35_980),
        Ingredient("cut", 20_000, 35_980, "flow"),
        Ingredient("valve", 25_200, 35_980), Ingredient("power_off", 34_000, 35_980),
        Ingredient("clock_untrusted", 30_000, 35_980, "", -3600.0),
    )  # fmt: skip
    found = Run(everything).run().wrong_s
    assert {kind for kind in WRONGS if found[kind] <= plain[kind]} <= {"flow", "by_eye", "away", "fill", "loss"}


@pytest.mark.usefixtures("quick")
def test_the_oracle_goes_back_to_the_test_before_one_that_was_taken_back() -> None:
    truth = Truth(PLAIN)
    truth.tested(7, 1_000, True, 2_000)
    truth.tested(9, 5_000, False, 6_000)
    assert truth.test == (5_000, False)
    truth.took_back(9)
    assert truth.test == (1_000, True)
    truth.took_back(7)
    assert truth.test is None


@pytest.mark.usefixtures("quick", "until_noon")
def test_a_day_is_made_as_small_as_keeps_it_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    composed = PLAIN.of(Ingredient("bad_readings", 9_000, 12_000, "room", 0.1), Ingredient("hold", 9_000, 9_000))
    monkeypatch.setattr(Run, "always", "ready")
    monkeypatch.setattr(Station, "verdict", lambda self, now: {"verdict": "ready", "conditions": []})
    assert [i.kind for i in shrunk(composed, "hold").ingredients] == ["hold"]


def test_days_are_the_same_each_time_and_use_every_ingredient() -> None:
    assert compose(7) == compose(7)
    assert {i.kind for seed in range(400) for i in compose(seed).ingredients} >= set(KINDS)
    assert all(any(i.kind == kind for i in compose(3, kind).ingredients) for kind in KINDS)
    further = {i.kind for kind in (*MORE, *PLANT) for i in compose(3, kind).ingredients}
    assert further >= {"disk", "frozen", "offset", "cut", "swapped", *PLANT}


# -- other stations, and the real journal


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    "station", [*([one] for one in (*LACKS, TWO_BASINS, LAYERS)), [*LACKS, TWO_BASINS]], ids=" ".join
)
def test_a_quiet_day_of_a_station_that_lacks_something_is_quiet_and_ready(station: list[str]) -> None:
    found = Run(replace(PLAIN, station=frozenset(station))).run()
    assert (found.wrong_s, found.crash, found.unknown_s) == ({}, "", 0)
    assert found.ready_s > 4 * 3600 and all(alarm.startswith("duty_due:daily_test") for alarm in found.alarms)


def disk_day(what: str, seed: int) -> Composed:
    """A day without a fault, but that something befalls the journal's files at eight; the seed says who looks after it."""
    return replace(PLAIN, seed=seed, on_disk=True, ingredients=(Ingredient("disk", 3 * HOUR, 3 * HOUR, what),))


#: what loses entries that were answered, at once or by files that can't be used and are set aside
LOSES = tuple(sorted({*DAMAGES} - {"killed"}))


@pytest.mark.usefixtures("quick", "until_noon")
@pytest.mark.parametrize("what", sorted(DAMAGES))
def test_what_befalls_the_journal_is_never_ready_until_somebody_has_answered_for_it(what: str) -> None:
    answered, left = Run(disk_day(what, 1)).run(), Run(disk_day(what, 2)).run()
    assert (answered.wrong_s, answered.crash, left.wrong_s, left.crash) == ({}, "", {}, "")
    if what in LOSES:
        assert left.ready_s + 1800 < answered.ready_s, "a release that names no hold makes it ready again"
    else:
        assert left.ready_s > 2 * 3600


@pytest.mark.usefixtures("quick", "until_noon")
@pytest.mark.parametrize("what", LOSES[::3])
def test_a_station_that_passed_over_a_loss_would_be_found_out(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Station, "verdict", lambda self, now: {"verdict": "ready", "conditions": []})
    monkeypatch.setattr(Run, "always", "ready")
    assert Run(disk_day(what, 2)).run().wrong_s["loss"] > 1800
