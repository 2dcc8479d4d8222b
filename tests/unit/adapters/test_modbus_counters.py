"""A unit's count of closings tells what a contact did between two looks. The rules are the project's own, tried against a contact
whose every change is known."""

from __future__ import annotations

import random

import pytest

from adapters.modbus_counters import Closings


class Contact:
    """A contact and its count; the count is read a little before or after the level."""

    def __init__(self, count: int = 0, size: int = 65536) -> None:
        self.level, self.count, self.size = False, count, size

    def turn(self) -> None:
        self.level = not self.level
        self.count = (self.count + self.level) % self.size


def test_one_that_closed_and_opened_between_two_looks_is_told_once() -> None:
    contact, closings = Contact(), Closings(65536)
    assert not closings.look(contact.level, contact.count)
    contact.turn()
    contact.turn()
    assert closings.look(contact.level, contact.count)
    assert not closings.look(contact.level, contact.count)


def test_one_that_opened_and_closed_between_two_looks_is_told_once() -> None:
    contact, closings = Contact(), Closings(65536)
    contact.turn()
    assert [closings.look(contact.level, contact.count) for _ in range(2)] == [False, False]
    contact.turn()
    contact.turn()
    assert closings.look(contact.level, contact.count)
    assert not closings.look(contact.level, contact.count)


def test_a_count_that_runs_over_is_a_closing_and_a_unit_that_started_anew_is_none() -> None:
    closings = Closings(65536)
    closings.look(False, 65535)
    assert closings.look(False, 0)
    closings.look(False, 900)
    assert not closings.look(False, 0)
    assert closings.look(False, 1)


@pytest.mark.parametrize("count_first", [True, False])
def test_whatever_falls_between_the_two_questions_no_trip_is_made_up(count_first: bool) -> None:
    """Single closings, each seen for some looks: none is otherwise unseen, but where it fell between the two questions of one look."""
    chance = random.Random(7)
    contact, closings, made_up, between = Contact(), Closings(65536), 0, 0
    for look in range(4000):
        moves = look % 5 == 0
        place = chance.choice(("before", "between")) if moves else ""
        if place == "before":
            contact.turn()
        count, level = contact.count, contact.level
        if place == "between":
            contact.turn()
            between += 1
            count, level = (count, contact.level) if count_first else (contact.count, level)
        made_up += closings.look(level, count)
    assert between > 300 and made_up == 0 if count_first else 0 < made_up <= between


def test_each_unseen_trip_among_seen_ones_is_told() -> None:
    chance = random.Random(3)
    contact, closings, told, unseen = Contact(), Closings(65536), 0, 0
    closings.look(contact.level, contact.count)
    for look in range(3000):
        if look % 4 == 0 and chance.random() < 0.5:
            contact.turn()
        elif look % 4 == 2:
            contact.turn()
            contact.turn()
            unseen += 1
        told += closings.look(contact.level, contact.count)
    assert told == unseen > 600
