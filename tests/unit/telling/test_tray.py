"""What a target of people is told, and when.

The states are those of IEC 62682 / ISA-18.2 as edge/domain/alarms has them. The cases are the project's own: no recovery for an alarm that
nobody got, consequences aren't told, a receiver that was away hears it after its return. What hears them from a whole station is in
tests/unit/stories/test_telling.py.
"""

from __future__ import annotations

import json
from itertools import product

import pytest

from edge.domain.entries import rfc3339
from edge.telling.tray import MOST_SINGLE, Tray
from tests.unit.telling.kit import HOUR, MIN, MONDAY, Journal, Target

OPEN = dict.fromkeys(range(5), (450, 1080))  # 07:30 to 18:00, Monday to Friday


@pytest.fixture
def journal() -> Journal:
    return Journal()


@pytest.fixture
def target(journal: Journal) -> Target:
    return Target(journal)


def test_an_alarm_is_told_once_and_right_again_where_it_was_told(journal, target):
    journal.alarm("leak", "unacknowledged")
    assert target.look() == [("alarm", ["leak"])]
    assert target.look() == []
    journal.alarm("leak", "acknowledged", by="biomed")
    assert target.look() == []
    journal.alarm("leak", "normal")
    assert target.look() == [("right_again", ["leak"])]
    assert target.look() == []


def test_one_that_is_right_again_before_anybody_looked_is_told_so_once(journal, target):
    journal.alarm("leak", "unacknowledged")
    target.look()
    journal.alarm("leak", "returned_unacknowledged")
    assert target.look() == [("right_again", ["leak"])]
    assert "Nobody has acknowledged it yet." in target.read().text
    journal.alarm("leak", "normal", by="biomed")
    assert target.look() == []


def test_an_alarm_that_is_announced_anew_is_told_anew(journal, target):
    journal.alarm("reservoir_cold", "unacknowledged")
    target.look()
    journal.alarm("reservoir_cold", "acknowledged", by="biomed")
    journal.alarm("reservoir_cold", "unacknowledged")  # it has become clearly worse
    assert target.look() == [("alarm", ["reservoir_cold"])]
    journal.alarm("reservoir_cold", "returned_unacknowledged")
    assert target.look() == [("right_again", ["reservoir_cold"])]
    journal.alarm("reservoir_cold", "unacknowledged")
    assert target.look() == [("alarm", ["reservoir_cold"])]


def test_consequences_are_not_told_until_they_are_announced(journal, target):
    journal.alarm("outlet_tripped:heater", "unacknowledged", priority="high")
    journal.alarm("reservoir_cold", "suppressed_by_design", consequence_of="outlet_tripped:heater")
    assert target.look() == [("alarm", ["outlet_tripped:heater"])]
    journal.alarm("outlet_tripped:heater", "returned_unacknowledged", priority="high")
    assert target.look() == [("right_again", ["outlet_tripped:heater"])]
    journal.alarm("reservoir_cold", "unacknowledged")  # the cause has ended, it stays
    assert target.look() == [("alarm", ["reservoir_cold"])]


def test_a_consequence_that_ends_with_its_cause_is_never_told(journal, target):
    journal.alarm("reservoir_cold", "suppressed_by_design", consequence_of="not_heating")
    journal.alarm("reservoir_cold", "normal")
    assert target.look() == []


def test_one_that_was_told_and_then_shown_as_a_consequence_is_told_right_again(journal, target):
    journal.alarm("reservoir_cold", "unacknowledged")
    target.look()
    journal.alarm("reservoir_cold", "suppressed_by_design", consequence_of="outlet_tripped:heater")
    assert target.look() == []
    journal.alarm("reservoir_cold", "normal")
    assert target.look() == [("right_again", ["reservoir_cold"])]


def test_what_was_shown_as_a_consequence_before_it_could_be_told_is_not_told(journal, target):
    target.answers = False
    journal.alarm("reservoir_cold", "unacknowledged")
    journal.alarm("outlet_tripped:heater", "unacknowledged", priority="high")
    journal.alarm("reservoir_cold", "suppressed_by_design", consequence_of="outlet_tripped:heater")
    target.look()
    target.answers = True
    assert target.look() == [("alarm", ["outlet_tripped:heater"])]


def test_what_a_person_acknowledged_before_it_could_be_told_is_not_told_as_new(journal, target):
    journal.alarm("leak", "unacknowledged")
    journal.alarm("leak", "acknowledged", by="biomed")
    assert target.look() == []
    journal.alarm("leak", "normal")
    assert target.look() == []  # nobody got it, so nobody is told that it is over
    journal.alarm("leak", "unacknowledged")
    assert target.look() == [("alarm", ["leak"])]


@pytest.mark.parametrize("aside", ["shelved", "out_of_service"])
def test_what_was_put_aside_before_it_could_be_told_is_not_told(journal, target, aside):
    journal.alarm("leak", "unacknowledged")
    journal.alarm("leak", aside, by="biomed", present=True)
    assert target.look() == []
    journal.alarm("leak", "unacknowledged")  # the shelf has ended and it stands
    assert target.look() == [("alarm", ["leak"])]
    journal.alarm("leak", aside, by="biomed", present=True)
    journal.alarm("leak", "normal")
    assert target.look() == [("right_again", ["leak"])]


def test_a_recovery_for_an_alarm_that_nobody_got_is_not_sent(journal, target):
    """One that came and went before the first try is told as that, never as right again."""
    journal.alarm("pressure_low", "unacknowledged")
    journal.alarm("pressure_low", "returned_unacknowledged")
    assert target.look() == [("came_and_went", ["pressure_low"])]
    journal.alarm("pressure_low", "normal", by="biomed")
    assert target.look() == []


def test_alarms_below_its_priority_are_nothing_to_it(journal):
    target = Target(journal, priority="high")
    journal.alarm("pressure_low", "unacknowledged")
    journal.alarm("pressure_low", "normal")
    assert target.look() == []
    journal.alarm("leak", "unacknowledged", priority="high")
    assert target.look() == [("alarm", ["leak"])]


def test_a_priority_that_this_version_does_not_know_is_told(journal):
    target = Target(journal, priority="high", outside_hours="high", hours=OPEN)
    journal.alarm("leak", "unacknowledged", priority="critical")
    assert target.look() == [("alarm", ["leak"])]


# -- outages


def test_after_an_outage_one_summary_says_what_stands_and_what_came_and_went(journal, target):
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    target.look()
    target.answers = False
    journal.alarm("leak", "unacknowledged", priority="high")
    target.look()
    since = journal.wall_ms
    for _ in range(30):
        journal.passes(10 * MIN)
        journal.alarm("pressure_low", "unacknowledged")
        journal.alarm("pressure_low", "returned_unacknowledged")
        target.look()
    journal.alarm("filter_due:fine", "normal", priority="low")
    journal.alarm("static_high", "unacknowledged")
    journal.alarm("static_high", "acknowledged", by="early technician")
    target.look()
    target.answers = True
    assert target.look() == [("summary", ["leak", "pressure_low", "static_high", "filter_due:fine"])]
    assert target.sent[-1].since_ms == since
    told = target.read()
    assert told.title == "Scope room 2: SUMMARY: 2 stand, 2 over"
    text = told.text
    assert "You could not be told since 2026-03-16 05:50." in text
    assert "- Leak (high, not acknowledged), since 2026-03-16 05:50: leak it is" in text
    assert "- Static pressure high (medium, acknowledged by early technician), since" in text
    assert "Right again:\n- Filter due: fine, since 2026-03-16 10:50" in text
    assert (
        "Came and went:\n- Pressure low, from 2026-03-16 06:00 to 2026-03-16 10:50, 30 times: pressure_low it is"
        in text
    )
    assert told.sort == "failure"
    journal.alarm("static_high", "normal")
    assert target.look() == [("right_again", ["static_high"])]  # the summary told that it stands


def test_an_outage_ends_with_a_message_also_where_nothing_is_left_to_tell(journal, target):
    target.answers = False
    journal.alarm("leak", "unacknowledged")
    target.look()
    journal.alarm("leak", "suppressed_by_design", consequence_of="outlet_tripped:heater")
    target.look()
    target.answers = True
    assert target.look() == [("summary", [])]
    assert "Nothing stands now." in target.read().text
    assert target.look() == [] and target.tray.outage.since_ms is None


def test_a_summary_names_what_was_told_before_and_is_not_over(journal, target):
    journal.alarm("leak", "unacknowledged", priority="high")
    target.look()
    target.answers = False
    for ident in ("pressure_low", "static_high"):
        journal.alarm(ident, "unacknowledged")
        journal.alarm(ident, "normal")
    target.look()
    target.answers = True
    assert target.look() == [("summary", ["pressure_low", "static_high"])]
    assert "You were told before, and it isn't over:\n- Leak\n" in target.read().text
    assert "Nothing stands" not in target.read().text
    journal.alarm("leak", "normal", priority="high")
    assert target.look() == [("right_again", ["leak"])]


def test_one_alarm_after_an_outage_is_told_as_itself_and_as_a_possible_repeat(journal, target):
    target.answers = False
    journal.alarm("leak", "unacknowledged")
    for _ in range(3):
        target.look()
        journal.passes(HOUR)
    target.answers = True
    assert target.look() == [("alarm", ["leak"])]
    assert target.sent[-1].tries == 4
    assert target.read().text.startswith("You could not be told since 2026-03-16 05:50.")
    assert "may be a repeat" in target.read().text


def test_the_alarm_that_says_that_telling_fails_is_no_news_to_whom_it_is_about(journal, target):
    target.answers = False
    journal.alarm("leak", "unacknowledged")
    target.look()
    journal.alarm("untold", "unacknowledged")
    target.look()
    target.answers = True
    assert target.look() == [("alarm", ["leak"])]
    journal.passes(5000)
    journal.alarm("untold", "returned_unacknowledged")  # the daemon has noticed
    journal.passes(HOUR)
    assert target.look() == []


def test_another_target_is_told_that_telling_fails(journal, target):
    journal.alarm("untold", "unacknowledged")
    assert target.look() == [("alarm", ["untold"])]
    journal.alarm("untold", "returned_unacknowledged")
    assert target.look() == [("right_again", ["untold"])]


def test_one_that_fails_still_a_minute_after_this_target_s_return_is_told(journal, target):
    target.answers = False
    journal.alarm("untold", "unacknowledged")
    journal.alarm("leak", "unacknowledged")
    target.look()
    target.answers = True
    assert target.look() == [("alarm", ["leak"])]
    journal.passes(2 * MIN)
    assert target.look() == [("alarm", ["untold"])]


def test_a_burst_is_one_summary_and_a_few_are_told_one_by_one(journal, target):
    for n in range(MOST_SINGLE):
        journal.alarm(f"filter_due:f{n}", "unacknowledged")
    assert [what for what, _ in target.look()] == ["alarm"] * MOST_SINGLE
    for n in range(40):
        journal.alarm(f"silent:p{n}", "unacknowledged")
    assert [(what, len(alarms)) for what, alarms in target.look()] == [("summary", 40)]
    text, before = target.read().text.split("\nYou were told before")
    assert text.count("\n- ") == 13 and "- and 28 more, see the page" in text
    assert before.count("\n- ") == MOST_SINGLE and target.read().title.endswith("SUMMARY: 43 stand, 0 over")


def test_the_most_urgent_is_told_first(journal, target):
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    journal.alarm("leak", "unacknowledged", priority="high")
    assert target.look() == [("alarm", ["leak"]), ("alarm", ["filter_due:fine"])]


# -- hours


def test_at_night_what_can_wait_waits_for_the_hours(journal):
    target = Target(journal, outside_hours="high", hours=OPEN)
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    journal.alarm("leak", "unacknowledged", priority="high")
    assert target.look() == [("alarm", ["leak"])]
    journal.passes(99 * MIN)  # 07:29
    assert target.look() == []
    journal.alarm("reservoir_cold", "unacknowledged")
    journal.passes(MIN)
    assert target.look() == [("summary", ["reservoir_cold", "filter_due:fine"])]


def test_over_a_week_end_it_waits_no_longer_than_it_may(journal):
    journal.passes(-3 * 24 * HOUR)  # Friday
    journal.passes(13 * HOUR)  # 18:50
    target = Target(journal, outside_hours="high", hours=OPEN, longest_wait_ms=20 * HOUR)
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    journal.passes(20 * HOUR - 1)
    assert target.look() == []
    target.restart("boot-2")  # ages of another boot go by the clock on the wall
    journal.passes(1)
    assert target.look() == [("alarm", ["filter_due:fine"])]


def test_a_clock_that_is_not_trusted_keeps_nothing_back(journal):
    target = Target(journal, outside_hours="high", hours=OPEN)
    journal.trusted = False
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    assert target.look() == [("alarm", ["filter_due:fine"])]
    assert "the clock is not trusted" in target.read().text


# -- over a restart


def test_what_waits_for_the_hours_survives_a_restart_and_what_was_told_is_not_told_again(journal):
    target = Target(journal, outside_hours="high", hours=OPEN)
    journal.alarm("filter_due:fine", "unacknowledged", priority="low")
    journal.alarm("leak", "unacknowledged", priority="high")
    journal.alarm("static_high", "unacknowledged", priority="high")
    target.look()
    journal.alarm("leak", "normal", priority="high")
    assert target.look() == [("right_again", ["leak"])]
    target.restart("boot-2")
    assert target.look() == []
    journal.passes(2 * HOUR)
    assert target.look() == [("alarm", ["filter_due:fine"])]
    journal.alarm("static_high", "normal", priority="high")
    assert target.look() == [("right_again", ["static_high"])]


def test_a_kill_between_sending_and_noting_repeats_and_says_so(journal, target):
    journal.alarm("leak", "unacknowledged")

    def killed() -> None:
        raise InterruptedError

    with pytest.raises(InterruptedError):
        target.look(killed)
    target.restart()
    assert target.look() == [("alarm", ["leak"])]
    assert "may be a repeat" in target.read().text


def test_refused_for_26_hours_with_a_restart_it_is_told_after_the_return(journal, target):
    target.answers = False
    journal.alarm("leak", "unacknowledged", priority="high")
    tries = 0
    for hour in range(26):
        target.look()
        tries += 1
        journal.passes(HOUR)
        if hour == 12:
            target.restart("boot-2")
    journal.alarm("static_high", "unacknowledged")
    assert target.tray.outage.since_ms == MONDAY
    target.answers = True
    assert target.look() == [("summary", ["leak", "static_high"])]
    assert target.sent[-1].tries == tries + 1
    assert target.look() == []


def test_a_place_is_plain_json_and_one_that_is_damaged_changes_nothing(journal, target):
    journal.alarm("leak", "unacknowledged")
    target.look()
    state = target.tray.as_state()
    assert json.loads(json.dumps(state)) == state
    for damage in (
        {}, {"seq": "x"}, state | {"alarms": {"leak": [1]}}, state | {"tries": None}, state | {"alarms": [1]}, {**state, "since": "x"},
    ):  # fmt: skip
        with pytest.raises((ValueError, TypeError, KeyError)):
            target.tray.restore(damage, 1)
    assert target.tray.as_state() == state


def test_a_place_beyond_the_journal_is_at_its_end(journal, target):
    for _ in range(5):
        journal.alarm("leak", "unacknowledged")
        journal.alarm("leak", "normal")
    target.look()
    state = target.tray.as_state()
    fresh = Tray(target.rules, "boot-1")
    fresh.restore(state, 3)
    assert fresh.heard == 3
    fresh.hear(journal.entries[3]._replace(body=journal.entries[2].body))
    assert fresh.waits() == 1


def test_a_new_target_is_told_what_stands_and_not_what_came_and_went_before(journal):
    journal.alarm("leak", "unacknowledged", priority="high")
    journal.alarm("pressure_low", "unacknowledged")
    journal.alarm("pressure_low", "returned_unacknowledged")
    target = Target(journal)
    target.tray.begin(0, 3, journal.now)
    assert target.look() == [("alarm", ["leak"])]
    journal.alarm("pressure_low", "unacknowledged")
    journal.alarm("pressure_low", "returned_unacknowledged")
    assert target.look() == [("came_and_went", ["pressure_low"])]


# -- test notices


def test_a_test_notice_comes_each_day_once(journal):
    target = Target(journal, daily_test_min=7 * 60)
    assert target.look() == []  # 05:50
    journal.passes(70 * MIN)
    assert target.look() == [("test", [])]
    assert target.read().title == "Scope room 2: test notice"
    target.restart()
    journal.passes(23 * HOUR + 59 * MIN)
    assert target.look() == []
    journal.passes(MIN)
    assert target.look() == [("test", [])]


def test_a_target_that_is_new_after_the_hour_of_the_test_waits_for_the_next_day(journal):
    journal.passes(5 * HOUR)
    target = Target(journal, daily_test_min=7 * 60)
    assert target.look() == []
    journal.passes(24 * HOUR)
    assert target.look() == [("test", [])]


def test_on_the_day_that_loses_an_hour_the_test_comes_all_the_same():
    journal = Journal(MONDAY + 12 * 24 * HOUR)  # 28 March 2026; on the 29th 01:00 becomes 02:00 in Dublin
    target = Target(journal, daily_test_min=90)  # 01:30, which that day hasn't
    assert target.look() == []
    journal.passes(20 * HOUR + MIN)
    assert journal.wall_ms and rfc3339(journal.wall_ms).startswith("2026-03-29T01:51")
    assert target.look() == [("test", [])]


def test_a_test_that_fails_is_an_outage(journal):
    target = Target(journal, daily_test_min=7 * 60)
    journal.passes(2 * HOUR)
    target.answers = False
    target.look()
    assert target.tray.outage.since_ms == journal.wall_ms
    target.answers = True
    assert target.look() == [("summary", [])]


def test_an_untrusted_clock_sends_no_test(journal):
    target = Target(journal, daily_test_min=7 * 60)
    journal.trusted = False
    journal.passes(48 * HOUR)
    assert target.look() == []


# -- promises over every short history


CHANGES = ("unacknowledged", "acknowledged", "returned_unacknowledged", "normal", "suppressed_by_design", "shelved")


def test_no_history_of_five_changes_breaks_a_promise():
    """Whatever happens, and whenever the target answers: right again comes only after it was told; what stands unanswered at the end was
    told after it came last; a restart at any point changes nothing; and nothing is left waiting."""
    for history in product(CHANGES, repeat=4):
        for answering in (0b11111, 0b10000, 0b10101, 0b11001):
            journal = Journal()
            plain, restarted = Target(journal), Target(journal)
            for step, to in enumerate(history):
                journal.alarm("leak", to)
                for target in (plain, restarted):
                    target.answers = bool(answering >> step & 1)
                    target.look()
                restarted.restart()
                journal.passes(1000)
            for target in (plain, restarted):
                target.answers = True
                target.look()
                knows = False
                for notice in target.sent:
                    for item in notice.items:
                        assert item.what != "right_again" or knows, history
                        knows = item.over is None
                assert target.tray.waits() == 0, history
                if history[-1] == "unacknowledged":
                    assert knows and any(item.last.seq == 4 for notice in target.sent for item in notice.items), history
                if history[-1] in ("normal", "returned_unacknowledged"):
                    assert not knows, history
            assert [(n.what, n.seq) for n in plain.sent] == [(n.what, n.seq) for n in restarted.sent], history


def test_priorities_are_ranked_as_the_catalogue_has_them():
    from edge.domain.alarms.catalogue import CATALOGUE, OWN, PRIORITIES, rank_of

    assert {row.priority for row in {**CATALOGUE, **OWN}.values()} == set(PRIORITIES)
    assert rank_of("low") < rank_of("medium") < rank_of("high")
