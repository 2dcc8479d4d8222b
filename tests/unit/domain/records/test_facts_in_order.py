"""What holds now, whatever the clock did: facts stand in the order of the journal, and have the dates that can be relied on."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.records.counting import confirms_clock
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, HOUR, MONDAY, QUIET, Driver

MINUTE = 60_000
DAY = 24 * HOUR
YEAR = 365 * DAY


class Bench(Driver):
    """A driver whose clock can be set, and whose station can be started again from its journal."""

    def set_clock(self, by_ms: int, trusted: bool = True) -> None:
        self.wall_ms += by_ms
        self.trusted = trusted
        self.keep(self.station.clock_step(self.now, by_ms, "the wall clock was set"))

    def wait(self, ms: int) -> None:
        """Time passes without readings; a draw at its end, so that only records decide."""
        self.pass_to(self.mono_ms + ms - 4 * MINUTE)
        self.run(60, QUIET)
        self.run(60, DRAWING)
        self.run(120, QUIET, every_s=5.0)

    def start_again(
        self, boot: str | None = None, wall_ms: int | None = None, trusted: bool = True, state: bool = False
    ) -> None:
        """The same settings, from the journal or from the saved fold; in another boot monotonic time begins anew."""
        kept = self.station.state()
        self.boot = boot or self.boot
        self.station = Station(self.station.settings, self.boot, kept if state else None)
        if not state:
            for entry in self.said:
                self.station.fold(entry)
        if boot is not None:
            self.mono_ms = 20_000
        self.wall_ms, self.trusted = self.wall_ms if wall_ms is None else wall_ms, trusted
        self.keep(self.station.advance(self.now))

    def state_of(self, condition: str) -> tuple[str, str]:
        found = self.condition(condition)
        return found["state"], found["text"]


def bench(wall_ms: int = MONDAY) -> Bench:
    made = Bench(wall_ms=wall_ms)
    made.run(30, QUIET)
    made.duties_done()
    made.run(60, DRAWING)
    made.run(180, QUIET)
    return made


def test_the_bench_is_ready() -> None:
    assert bench().verdict() == "ready"


class TestWhatHappenedInABootWithoutADate:
    """Between the last dated boot before it and the first one after it, whatever its own clock showed."""

    @pytest.mark.parametrize("state", [False, True])
    @pytest.mark.parametrize(
        ("record", "body", "fine", "said", "condition"),
        [
            ("daily_test", {"passed": False}, "daily_test", {"passed": True}, "daily_test"),
            ("outlet_test", {"of": "heater", "passed": False}, "outlet_test", {"of": "heater", "passed": True}, "outlet:heater"),
            ("entered_reading", {"role": "leak", "value": "wet"}, "entered_reading", {"role": "leak", "value": "dry"}, "no_leak"),
            ("hold", {"why": "culture"}, "release", {}, "no_hold"),
        ],
    )  # fmt: skip
    def test_it_is_not_lifted_by_what_is_dated_before_that_boot(
        self, record: str, body: dict[str, Any], fine: str, said: dict[str, Any], condition: str, state: bool
    ) -> None:
        made = bench()
        before = rfc3339(made.wall_ms - 20 * MINUTE)
        made.start_again("boot-2", wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False)
        made.run(60)
        made.record(record, **body)
        made.start_again("boot-3", wall_ms=MONDAY + HOUR, state=state)
        made.run(60)
        assert made.state_of(condition)[0] == "unmet"
        made.record(fine, **said, at=before)
        made.run(5)
        assert made.state_of(condition)[0] == "unmet"
        made.record(fine, **said)
        made.run(90)
        assert made.state_of(condition)[0] == "met"

    def test_liquid_that_was_added_then_may_have_been_added_just_now(self) -> None:
        made = bench()
        made.start_again("boot-2", wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False)
        made.run(60)
        made.record("disinfectant_top_up", litres=3)
        made.start_again("boot-3", wall_ms=MONDAY + HOUR)
        made.run(300)
        assert "topped up" in made.state_of("reservoir")[1]
        made.run(1800)
        assert made.state_of("reservoir")[0] == "met"


class TestWhatBinds:
    @pytest.mark.parametrize("state", [False, True])
    def test_a_hold_dated_before_an_earlier_release_holds(self, state: bool) -> None:
        made = bench()
        made.record("hold", why="recall")
        made.run(60)
        made.record("release")
        made.run(60)
        assert made.record("hold", why="culture", at=rfc3339(made.wall_ms - 10 * MINUTE))[0].body["counts"]
        made.run(60)
        assert made.verdict() == "not_ready" and "culture" in made.state_of("no_hold")[1]
        made.start_again(state=state)
        made.run(60)
        assert made.state_of("no_hold")[0] == "unmet"

    def test_a_release_by_a_tablet_four_minutes_ahead_does_not_end_the_next_hold(self) -> None:
        made = bench()
        made.record("hold", why="recall")
        made.record("release", at=rfc3339(made.wall_ms + 4 * MINUTE))
        assert made.state_of("no_hold")[0] == "met"
        made.run(30)
        made.record("hold", why="culture")
        assert made.state_of("no_hold")[0] == "unmet"

    def test_a_release_of_another_name_leaves_the_hold(self) -> None:
        made = bench()
        made.record("hold", name="recall 7", why="recall")
        made.record("hold", name="culture", why="culture")
        made.record("release", name="recall 7")
        assert "culture" in made.state_of("no_hold")[1]
        made.record("release", name="culture")
        assert made.state_of("no_hold")[0] == "met"

    def test_a_test_that_failed_holds_though_it_is_dated_before_the_one_that_passed(self) -> None:
        made = bench()
        made.record("daily_test", passed=False, at=rfc3339(made.wall_ms - 20 * MINUTE))
        assert made.state_of("daily_test")[0] == "unmet"
        made.run(60)
        made.record("daily_test", passed=True)
        assert made.state_of("daily_test")[0] == "met"

    def test_a_pass_of_yesterday_written_down_late_does_not_lift_the_failure_of_today(self) -> None:
        made = bench()
        made.record("daily_test", passed=False)
        made.run(60)
        made.record("daily_test", passed=True, at=rfc3339(made.wall_ms - DAY))
        assert made.state_of("daily_test")[0] == "unmet"

    def test_a_pass_of_yesterday_written_down_late_does_not_hide_that_of_today(self) -> None:
        made = bench()
        made.record("daily_test", passed=True, at=rfc3339(made.wall_ms - DAY))
        assert made.state_of("daily_test")[0] == "met"

    def test_a_failed_check_of_the_concentration_is_not_lifted_by_an_older_one_written_down_late(self) -> None:
        made = bench()
        made.record("concentration_check", passed=False)
        made.run(60)
        made.record("concentration_check", passed=True, at=rfc3339(made.wall_ms - DAY))
        assert made.state_of("disinfectant")[0] == "unmet"
        made.record("concentration_check", passed=True)
        assert made.state_of("disinfectant")[0] == "met"

    def test_a_change_written_down_after_the_treatment_owes_another_one(self) -> None:
        made = bench()
        made.record("filter_change", filters=["fine"], at="2026-03-14T17:30:00Z")
        assert made.state_of("water_path_treatment")[0] == "unmet"

    @pytest.mark.parametrize("state", [False, True])
    @pytest.mark.parametrize("restart", [False, True])
    def test_what_was_recorded_before_the_clock_was_set_binds_when_it_is(self, state: bool, restart: bool) -> None:
        made = bench()
        made.start_again("boot-2", wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False)
        made.run(60)
        made.record("work_begins")
        made.record("hold", why="recall")
        made.record("daily_test", passed=False)
        made.record("filter_change", filters=["fine"])
        made.run(60)
        if restart:
            made.start_again("boot-3", wall_ms=MONDAY + HOUR, state=state)
        else:
            made.set_clock(MONDAY + HOUR - made.wall_ms)
        made.run(60)
        for condition in ("free", "no_hold", "daily_test", "water_path_treatment"):
            assert made.state_of(condition)[0] == "unmet", condition

    @pytest.mark.parametrize("state", [False, True])
    def test_a_power_up_before_the_clock_was_set_makes_the_test_due(self, state: bool) -> None:
        made = bench()
        made.start_again("boot-2", wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False, state=state)
        made.run(30, QUIET | {"power": 0.0})
        made.run(60, QUIET)
        made.set_clock(MONDAY + HOUR - made.wall_ms)
        made.run(60)
        assert made.state_of("daily_test") == ("unmet", "due: the machine was powered up since the last one")
        made.record("daily_test", passed=True)
        assert made.state_of("daily_test")[0] == "met"

    def test_a_test_recorded_after_a_power_up_but_done_before_it_is_due_again(self) -> None:
        made = bench()
        made.run(30, QUIET | {"power": 0.0})
        made.run(600, QUIET)
        made.record("daily_test", passed=True, at=rfc3339(made.wall_ms - 20 * MINUTE))
        assert made.state_of("daily_test")[0] == "unmet"

    def test_power_that_was_off_and_then_not_known_is_a_power_up(self) -> None:
        made = bench()
        made.run(30, QUIET | {"power": 0.0})
        made.run(20, {name: value for name, value in QUIET.items() if name != "power"})
        made.run(60, QUIET)
        assert made.state_of("daily_test")[0] == "unmet"


class TestDates:
    def test_a_test_recorded_before_the_clock_was_set_counts_with_its_true_time(self) -> None:
        made = bench(wall_ms=MONDAY - 12 * HOUR)
        made.start_again("boot-2", wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False)
        made.run(120, QUIET)
        assert made.state_of("daily_test")[0] == "unknown"
        made.record("daily_test", passed=True)
        made.run(240)
        made.set_clock(MONDAY - made.wall_ms)
        assert made.state_of("daily_test") == ("met", "passed 4 min ago")

    @pytest.mark.parametrize("ahead", [DAY, 30 * DAY, YEAR], ids=["a day", "a month", "a year"])
    @pytest.mark.parametrize(
        "restart, state",
        [("no", False), *((restart, state) for restart in ("same boot", "another boot") for state in (False, True))],
    )
    def test_a_test_recorded_while_the_date_was_ahead_stands_for_its_own_day_only(
        self, ahead: int, restart: str, state: bool
    ) -> None:
        made = bench(wall_ms=MONDAY - 12 * HOUR)
        made.set_clock(ahead)
        made.run(60)
        made.record("daily_test", passed=True)
        made.run(600)
        if restart == "another boot":
            made.start_again("boot-2", wall_ms=MONDAY - 11 * HOUR, state=state)
        else:
            made.set_clock(-ahead)
        if restart == "same boot":
            made.start_again(state=state)
        made.wait(HOUR)
        if restart != "another boot":
            if restart == "no":  # nothing was heard of the machine's power for an hour
                assert made.record("release", why="it kept its power")[0].body["counts"]
            assert made.state_of("daily_test")[0] == "met"
        for _ in range(2):
            made.wait(24 * HOUR)
            assert made.state_of("daily_test")[0] == "unmet"
            assert made.verdict() == "not_ready"

    def test_what_was_recorded_under_a_wrong_date_in_an_earlier_boot_says_so(self) -> None:
        made = Bench(wall_ms=MONDAY + YEAR)
        made.run(60)
        made.record("disinfectant_fill")
        made.record("daily_test", passed=True)
        made.start_again("boot-2", wall_ms=MONDAY)
        made.run(60)
        state, text = made.state_of("disinfectant")
        assert state == "unknown" and text == "the last disinfectant fill was recorded while the date was wrong"
        assert "recorded while the date was wrong" in made.state_of("daily_test")[1]
        made.record("disinfectant_fill")
        assert made.state_of("disinfectant")[0] == "met"

    def test_a_boot_whose_clock_was_right_before_it_was_set_wrong_keeps_its_dates(self) -> None:
        made = bench()
        made.run(60)
        made.set_clock(YEAR)
        made.run(60)
        made.start_again("boot-2", wall_ms=MONDAY + HOUR)
        made.run(60)
        assert made.state_of("daily_test")[0] == "met"

    def test_a_fill_of_2047_does_not_stand_for_twenty_years(self) -> None:
        made = bench()
        made.set_clock(21 * YEAR)
        made.record("disinfectant_fill")
        made.run(60)
        made.set_clock(-21 * YEAR)
        made.run(60)
        assert made.state_of("disinfectant")[0] == "met"
        made.wait(15 * DAY)
        assert made.state_of("disinfectant")[0] == "unmet"

    def test_a_test_of_tomorrow_recorded_today_is_of_today(self) -> None:
        made = bench(wall_ms=wall_ms_of("2026-03-16T23:52:30Z"))
        made.record("daily_test", passed=True, at=rfc3339(wall_ms_of("2026-03-17T00:01:30Z")))
        assert made.state_of("daily_test")[0] == "met"
        made.wait(30 * MINUTE)
        assert made.state_of("daily_test")[0] == "unmet"

    @pytest.mark.parametrize("ahead", [-DAY, -HOUR, HOUR, DAY])
    def test_a_time_that_was_said_by_a_wrong_clock_is_never_fresher_than_it_was(self, ahead: int) -> None:
        made = bench()
        made.set_clock(ahead)
        made.record("disinfectant_fill", at=rfc3339(made.wall_ms - HOUR))
        made.set_clock(-ahead)
        fact = made.station.book.last("disinfectant_fill")
        assert fact is not None
        assert made.wall_ms - HOUR - max(0, -ahead) - MINUTE <= fact.at_ms <= made.wall_ms - HOUR

    def test_evidence_of_a_draw_under_a_wrong_date_does_not_stand(self) -> None:
        made = bench(wall_ms=MONDAY + YEAR)
        made.start_again("boot-2", wall_ms=MONDAY)
        made.run(60)
        assert made.state_of("pressure")[0] == "unknown"

    def test_a_draw_before_the_clock_was_set_counts_for_the_day_that_it_turns_out_to_be(self) -> None:
        made = Bench(wall_ms=wall_ms_of("1970-01-01T00:00:20Z"), trusted=False)
        made.run(30, QUIET)
        made.run(60, DRAWING)
        made.run(60, QUIET)
        made.set_clock(MONDAY - made.wall_ms)
        made.wait(24 * HOUR)
        days = [entry.body for entry in made.said if entry.kind == "filter_day"]
        assert {day["date"] for day in days} == {"2026-03-16"} and {day["draws"] for day in days} == {1}


class TestShelves:
    @pytest.mark.parametrize("step", [-6 * HOUR, -2 * HOUR, 2 * HOUR, 6 * HOUR])
    @pytest.mark.parametrize("state", [False, True])
    def test_a_shelf_of_an_hour_is_one_of_an_hour_whatever_the_clock_does(self, step: int, state: bool) -> None:
        made = bench()
        made.record("shelve", alarm="reservoir_cold", minutes=60)
        made.run(600, every_s=5.0)
        made.set_clock(step)
        made.run(600, every_s=5.0)
        made.start_again(state=state)
        made.run(39 * 60, every_s=5.0)
        assert shelf(made) == "shelved"
        made.run(70, every_s=5.0)
        assert shelf(made) == "normal"

    def test_a_shelf_ends_under_an_untrusted_clock(self) -> None:
        made = bench()
        made.record("shelve", alarm="reservoir_cold", minutes=60)
        made.start_again("boot-2", wall_ms=20_000, trusted=False)
        made.run(61 * 60, every_s=5.0)
        assert shelf(made) == "normal"

    def test_after_another_boot_the_time_without_power_counts(self) -> None:
        made = bench()
        made.record("shelve", alarm="reservoir_cold", minutes=60)
        made.start_again("boot-2", wall_ms=made.wall_ms + 50 * MINUTE)
        made.run(9 * 60, every_s=5.0)
        assert shelf(made) == "shelved"
        made.run(2 * 60, every_s=5.0)
        assert shelf(made) == "normal"


def shelf(made: Bench) -> Any:
    return made.station.alarms(made.now)["reservoir_cold"]["state"]


def test_a_condition_that_pauses_for_a_reading_each_minute_is_an_alarm_all_the_same() -> None:
    made = bench()

    def values(s: float) -> dict[str, float]:
        return QUIET | {"reservoir": 46.5 if s % 50 >= 1 else 39.2}

    made.run(1800, values)
    assert made.alarms("reservoir_hot")[:1] == ["unacknowledged"]


def test_dips_that_are_far_apart_are_no_alarm() -> None:
    made = bench()

    def values(s: float) -> dict[str, float]:
        return QUIET | {"reservoir": 46.5 if s % 120 < 20 else 39.2}

    made.run(1800, values)
    assert made.alarms("reservoir_hot") == []


@pytest.mark.parametrize("off", [0, 9 * MINUTE, -9 * MINUTE, 11 * MINUTE, -DAY, YEAR])
def test_a_clock_is_confirmed_only_by_a_watch_that_agrees_with_it(off: int) -> None:
    made = bench()
    made.set_clock(200 * DAY, trusted=False)
    [entry] = [
        e for e in made.record("clock_confirmed", time=rfc3339(made.wall_ms + off)) if e.kind == "record"
    ]  # fmt: skip
    assert entry.body["counts"] is (abs(off) < 10 * MINUTE)
    assert confirms_clock(entry) is entry.body["counts"]
