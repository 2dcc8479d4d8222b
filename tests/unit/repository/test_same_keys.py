"""What is known of a role, an alarm, a condition, a phase or a state stands in one table, and nothing of it is left out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, replace
from enum import Enum
from pathlib import Path

import pytest

from edge.api.models import Words
from edge.api.words import WORDS, words_in
from edge.config import load
from edge.config.sections import WholeFile
from edge.domain.alarms.catalogue import CATALOGUE, OWN, PRIORITIES, base_of, row_of
from edge.domain.alarms.states import State
from edge.domain.heat.cycle import Phase
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Kind, Role
from edge.domain.roles import ROLES, WHEN_KEYS
from edge.domain.settings import Commissioning, Duty, Every, Rules, Settings
from edge.domain.station.build import CONDITIONS
from edge.domain.station.station import Station
from edge.domain.words.english import EN
from tests.unit.stations import SETTINGS, point

ROOT = Path(__file__).parents[3]
WEB = ROOT / "edge" / "web"
#: in English
PAGE = "\n".join(
    path.read_text(encoding="utf-8")
    for path in sorted(WEB.rglob("*.js"))
    if path.parent.name != "words" or path.stem == "english"
)
#: all that a station can have
WHOLE = replace(
    SETTINGS,
    points=(*SETTINGS.points, point("floor", Role.LEAK, 0.0, 1.0)),
    hours={0: (465, 1080)},
    rules=Rules(
        {"drip-tray": Duty(Every(days=7), "Drip tray", keeps_from_ready=True)},
        commissioning=Commissioning(True, keeps_from_ready=True),
    ),
)
STATIONS: dict[str, Settings] = {
    "whole": WHOLE,
    "plain": SETTINGS,
    **{path.name: load(path).settings for path in sorted((ROOT / "config").glob("*-*.toml"))},
}


# -- roles


def test_every_role_has_a_row_and_a_contact_says_what_it_says() -> None:
    assert list(ROLES) == list(KIND_OF) == list(Role)
    contacts = {role for role, row in ROLES.items() if row.kind is Kind.CONTACT}
    assert contacts == set(CONTACT_WORDS) == {role for role, row in ROLES.items() if row.contact is not None}
    assert all(row.title and row.why and row.low < row.high for row in ROLES.values())


def test_what_can_be_calibrated_is_what_is_measured() -> None:
    for role, row in ROLES.items():
        assert (row.correction is None) == (row.contact is not None), role
        assert row.correction is None or 0.0 < row.correction.most < row.correction.hard, role


def test_the_keys_and_words_of_contacts_can_be_told_apart() -> None:
    assert len(set(WHEN_KEYS)) == len(WHEN_KEYS)
    words = [word for pair in CONTACT_WORDS.values() for word in pair]
    assert len(set(words)) == len(words)


def _model_of(path: str) -> Iterator[object]:
    """The station file's models along a dotted path; raises KeyError where it leads nowhere."""
    model: object = WholeFile
    for step in path.split("."):
        field = model.model_fields[step]  # type: ignore[attr-defined]  # a model as long as the path is right
        inner = [kind for kind in _kinds(field.annotation) if hasattr(kind, "model_fields")]
        model = inner[0] if inner else None
        yield model


def _kinds(annotation: object) -> Iterator[object]:
    yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _kinds(part)


@pytest.mark.parametrize("role", list(Role))
def test_what_a_row_names_of_the_station_file_is_there(role: Role) -> None:
    row = ROLES[role]
    for path in (*row.limits, *row.needed, *([row.section] if row.section else [])):
        assert len(list(_model_of(path))) == path.count(".") + 1


# -- alarms


def _alarms(settings: Settings) -> list[str]:
    return list(Station(settings, "boot").desk.alarms)


def test_every_alarm_of_any_station_has_a_row_and_every_row_an_alarm() -> None:
    assert {base_of(ident) for settings in STATIONS.values() for ident in _alarms(settings)} == set(CATALOGUE)


@pytest.mark.parametrize("name", STATIONS)
def test_an_alarm_names_what_there_is_one_of_each_of(name: str) -> None:
    settings = STATIONS[name]
    named = {
        "outlet": {p.of or p.id for p in settings.points if p.role is Role.OUTLET_PROTECTION},
        "filter": {stage.id for stage in settings.filters},
        "point": {p.id for p in settings.points},
        "bus": {*settings.buses, *(p.bus for p in settings.points)},
    }
    for ident in _alarms(settings):
        per, behind = CATALOGUE[base_of(ident)].per, ident.partition(":")[2]
        assert bool(per) == bool(behind), ident
        assert per not in named or behind in named[per], ident


def test_causes_and_limits_of_alarms_are_there() -> None:
    for ident, row in CATALOGUE.items():
        assert set(row.caused_by) <= set(CATALOGUE), ident
        assert row.title and row.consequence and row.response and row.respond_within_s > 0, ident
        if row.compares is not None and row.compares.setting:
            section, _, key = row.compares.setting.partition(".")
            assert key in {field.name for field in fields(getattr(SETTINGS, section))}, ident
            assert ROLES[row.compares.role].kind is not Kind.CONTACT, ident


def test_an_alarm_that_is_known_better_than_its_row_is_one_of_a_station() -> None:
    calibration = next(ident for ident in _alarms(WHOLE) if ident.startswith("duty_due:calibration:"))
    assert "until it is calibrated" in row_of(calibration).consequence
    assert row_of("duty_due:disinfectant_change").stops == "disinfectant"


def test_what_keeps_the_station_from_starting_never_ranks_below_what_only_warns() -> None:
    """By consequence and time to respond, as IEC 62682 and ISA-18.2 ask; the rule's numbers are the project's own."""
    rows = {**CATALOGUE, **OWN}
    stops, warns = ({i: r for i, r in rows.items() if bool(r.stops) is stop} for stop in (True, False))
    assert min(PRIORITIES.index(row.priority) for row in stops.values()) >= max(
        PRIORITIES.index(row.priority) for row in warns.values() if not row.hurts
    )
    assert {row.priority for row in rows.values() if row.hurts} == {"high"}
    assert {ident for ident, row in stops.items() if row.stops not in CONDITIONS} == set()
    assert {row.priority for row in warns.values()} >= {"low", "medium"}, "else the rule would rank nothing"


# -- conditions


def test_every_condition_has_a_title_and_stands_in_the_tables_order() -> None:
    assert list(dict.fromkeys(ident.partition(":")[0] for ident in Station(WHOLE, "boot").conditions)) == list(
        CONDITIONS
    )


@pytest.mark.parametrize("name", STATIONS)
def test_no_station_has_a_condition_without_a_title(name: str) -> None:
    assert {ident.partition(":")[0] for ident in Station(STATIONS[name], "boot").conditions} <= set(CONDITIONS)


# -- the words that the page is handed


@pytest.mark.parametrize(("table", "words"), [("phases", Phase), ("alarm_states", State), ("roles", Role)])
def test_there_is_a_word_for_every(table: str, words: type[Enum]) -> None:
    assert list(WORDS[table]) == [str(word.value) for word in words]


def test_the_words_have_the_shape_that_the_api_says() -> None:
    words = words_in(EN)
    assert set(Words.model_validate(words).model_dump()) == set(words) == set(Words.model_fields) == {*WORDS, "reasons"}
    assert all(title for table in words.values() for title in table.values())


#: what the page says itself, as it has to say it before it has heard any words (test_page_words.py holds them to the station's)
UNHEARD = {"NOT READY", "CAN'T TELL"}


def test_the_page_types_none_of_these_words_itself() -> None:
    """A title that the page had typed would be a second table."""
    titles = {title for name in WORDS if name != "contacts" for key, title in WORDS[name].items() if title != key}
    assert {part for part in re.split("[\"'`]", PAGE) if part in titles - UNHEARD} == set()
    assert {name for name in WORDS if f'"{name}"' in PAGE} == WORDS.keys(), "a table that the page doesn't use"
