"""[people] of the station file: its defaults, its bounds, and what its settings must be to each other."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.config.plans import PeoplePlan
from edge.daemon.people import access_rules
from edge.people.sessions import AccessRules
from tests.unit.config.test_mistakes import sentences

MINIMAL = (Path(__file__).parents[3] / "config/station-minimal.toml").read_text(encoding="utf-8")


def loaded(section: str) -> config.StationFile:
    return config.loads(f"{MINIMAL}\n{section}", Path("s.toml"))


def test_what_is_left_out_is_as_an_empty_section() -> None:
    plain = loaded("")
    assert plain.people == loaded("[people]").people == PeoplePlan()
    assert access_rules(plain) == AccessRules(), "the part's own defaults are the station file's"


def test_each_setting_reaches_whoever_asks_people() -> None:
    station = loaded('[people]\nidle = "2 min"\nlongest = "8 h"\nlooking = "sign-in"\nnames = "open"')
    assert access_rules(station) == AccessRules(120_000, 28_800_000, False, True, is_local=True)
    assert loaded('[people]\nlooking = "open"\nnames = "sign-in"').people == PeoplePlan()


def test_it_changes_nothing_of_what_is_judged() -> None:
    assert loaded('[people]\nidle = "2 min"').settings == loaded("").settings


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('idle = "5 s"', "1 min"), ('idle = "13 h"', "12 h"), ('longest = "1 min"', "5 min"), ('longest = "60 days"', "31 days"),
        ("idle = 10", "unit"), ('looking = "closed"', "sign-in"), ('names = "nobody"', "open"), ('idel = "2 min"', "idle"),
        ('idle = "20 min"\nlongest = "10 min"', "idle no longer than longest"), ('idle = "10 min"\nlongest = "5 min"', "Swap"),
        ('password = "x"', "not known"),
    ],
)  # fmt: skip
def test_what_cant_be_is_said_in_one_sentence(line: str, says: str) -> None:
    (said,) = sentences(f"{MINIMAL}\n[people]\n{line}")
    assert "people" in said and says in said, said


def test_where_sessions_may_be_as_short_as_they_are_idle() -> None:
    assert loaded('[people]\nidle = "10 min"\nlongest = "10 min"').people.longest_ms == 600_000
