"""What is known of a role, an alarm or a condition stands in several tables: all have the same keys, so none is forgotten in one."""

from __future__ import annotations

import re
from enum import Enum
from pathlib import Path

import pytest

from edge.config.bounds import ROLES
from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.alarms.states import State
from edge.domain.heat.cycle import Phase
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Kind, Quality, Role
from edge.domain.station.station import Station
from tests.unit.stations import SETTINGS

PAGE = (Path(__file__).parents[3] / "edge" / "web" / "page.js").read_text(encoding="utf-8")


def _keys(table: str) -> set[str]:
    """The keys of one of the page's tables."""
    found = re.search(rf"^const {table} = \{{(.*?)\}};$", PAGE, re.MULTILINE | re.DOTALL)
    assert found is not None, f"the page has no table {table}"
    return set(re.findall(r"(\w+): [\"\[]", found[1]))


def test_the_page_has_words_for_every_alarm() -> None:
    assert _keys("ALARMS") == set(CATALOGUE)


def test_the_page_has_words_for_every_condition() -> None:
    judges = Station(SETTINGS, "boot").conditions
    assert _keys("CONDITIONS") == {ident.partition(":")[0] for ident in judges}


@pytest.mark.parametrize(("table", "words"), [("PHASES", Phase), ("QUALITIES", Quality)])
def test_the_page_has_words_for_every(table: str, words: type[Enum]) -> None:
    assert _keys(table) == {str(word.value) for word in words}


def test_the_page_has_words_for_every_state_of_an_alarm_that_it_shows() -> None:
    assert _keys("ALARM_STATES") == {str(state) for state in State} - {"normal"}


def test_the_page_has_words_for_both_sides_of_every_contact() -> None:
    contacts = {role for role in Role if KIND_OF[role] is Kind.CONTACT}
    assert set(CONTACT_WORDS) == contacts
    assert _keys("CONTACTS") == {str(role) for role in contacts}


def test_every_role_has_a_kind_and_bounds() -> None:
    assert set(ROLES) == set(KIND_OF) == set(Role)
