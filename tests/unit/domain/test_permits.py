"""Which role may record what: each kind of record has its row, and nobody may by mistake."""

from __future__ import annotations

import pytest

from edge.domain.permits import MAY_RECORD, TECHNICIAN_SHELVES_MIN, PersonRole, Scope, may_record, scope_of
from edge.domain.records.forms import FORMS

BIOMED, TECHNICIAN, AUDITOR, VIEWER = PersonRole.BIOMED, PersonRole.TECHNICIAN, PersonRole.AUDITOR, PersonRole.VIEWER


def test_each_kind_of_record_has_a_row() -> None:
    assert set(MAY_RECORD) == set(FORMS)


def test_who_only_looks_records_nothing_and_a_biomed_everything() -> None:
    assert all(VIEWER not in roles and BIOMED in roles for roles in MAY_RECORD.values())
    assert {record for record, roles in MAY_RECORD.items() if AUDITOR in roles} == {"note"}


@pytest.mark.parametrize(
    "record", ["calibration", "equipment_change", "filter_change", "out_of_service", "clock_confirmed", "commissioning"]
)
def test_what_changes_what_is_believed_is_a_biomeds(record: str) -> None:
    assert MAY_RECORD[record] == {BIOMED}


def test_whoever_may_record_a_days_work_may_say_dont_start() -> None:
    assert MAY_RECORD["hold"] == MAY_RECORD["daily_test"] == {BIOMED, TECHNICIAN}


def test_a_technician_shelves_for_a_while_a_biomed_for_as_long_as_a_shelf_can_be() -> None:
    for minutes, may in (
        (TECHNICIAN_SHELVES_MIN, True),
        (TECHNICIAN_SHELVES_MIN + 0.1, False),
        (None, False),
        ("5", False),
    ):
        assert may_record(TECHNICIAN, {"record": "shelve", "alarm": "leak", "minutes": minutes}) is may
    assert may_record(BIOMED, {"record": "shelve", "alarm": "leak", "minutes": 1440})


def test_a_kind_that_nobody_knows_is_nobodys() -> None:
    assert not any(may_record(role, {"record": record}) for role in PersonRole for record in ("x", None, ""))


def test_a_token_needs_the_scope_of_what_it_does() -> None:
    assert {record for record in FORMS if scope_of(record) is Scope.ACKNOWLEDGE} == {"acknowledge"}
