"""Every entry's body fits the TypedDict of its kind, every record's the one of its form, and the shapes leave no kind out.

The kinds are those of the journal (edge/domain/entries.py), the keys of records those of their forms (edge/domain/records/forms.py).
"""

from __future__ import annotations

import json
from typing import get_args, get_type_hints

import pytest

from edge.config import load
from edge.domain.entries import KINDS, Draft
from edge.domain.entry_bodies import SHAPES, announced
from edge.domain.record_bodies import RECORDS, Kept
from edge.domain.records.forms import FORMS, KEPT
from edge.replay.replay import Replay, read_records
from edge.replay.rows import Recording
from edge.snapshot import AlarmPicture, EstimatePicture, PointPicture, VerdictPicture
from simulators.scenarios.record import write
from tests.unit.domain.shapes import fault_in, misfit

#: what a form's kind of value is in JSON; a time or a date is text, a measured value is text with its unit or a bare number
JSON_OF = {
    "line": {str}, "note": {str}, "number": {float}, "whole": {int}, "flag": {bool}, "date": {str}, "time": {str},
    "names": {list}, "reading": {str, int, float}, "quantity": {str, int, float}, "ports": {list}, "pairs": {list},
}  # fmt: skip


class _Kept(Replay):
    """A replay that keeps the drafts of its entries."""

    def __init__(self, *args: object) -> None:
        self.drafts: list[Draft] = []
        super().__init__(*args)  # type: ignore[arg-type]

    def _keep(self, drafts):
        self.drafts += drafts
        super()._keep(drafts)


@pytest.fixture(scope="module")
def replayed(tmp_path_factory, fewer_hypotheses) -> _Kept:
    """What a station says of a simulated morning with its warm-up, its checks, draws and a cycle."""
    folder = tmp_path_factory.mktemp("morning")
    write("cold-morning", folder, every_s=5.0)
    plan = load(folder / "station.toml")
    with (folder / "lines.jsonl").open("wb") as out:
        replay = _Kept(
            plan, read_records(folder / "records.jsonl"), out, "json", 3_600_000, 3_600_000, None, "records.jsonl"
        )
        recording = Recording(folder / "readings.csv", {point.id: point for point in plan.settings.points})
        replay.run(recording)
        replay.flush()
        recording.close()
    return replay


@pytest.fixture(scope="module")
def morning(replayed) -> list[Draft]:
    return replayed.drafts


def test_every_entry_of_a_morning_fits_its_shape(morning):
    faults = [(draft.kind, misfit(draft.kind, json.loads(json.dumps(draft.body)))) for draft in morning]
    assert [fault for fault in faults if fault[1]] == []
    assert {"started", "settings", "alarm", "verdict", "phase", "draw", "heat_up", "record"} <= {
        d.kind for d in morning
    }


def test_what_is_pictured_of_it_fits_the_shapes_that_are_published(replayed):
    station, now = replayed.station, replayed.drafts[-1].now
    pictured = [(VerdictPicture, station.verdict(now))]
    pictured += [(PointPicture, point) for point in station.points(now).values()]
    pictured += [(AlarmPicture, alarm) for alarm in station.alarms(now).values()]
    pictured += [(EstimatePicture, estimate) for estimate in station.estimates(now).values()]
    faults = [fault_in(shape, json.loads(json.dumps(picture))) for shape, picture in pictured]
    assert [fault for fault in faults if fault] == []
    assert {shape for shape, _ in pictured} == {VerdictPicture, PointPicture, AlarmPicture, EstimatePicture}


def test_a_body_that_is_otherwise_is_found_out(morning):
    draw = next(dict(draft.body) for draft in morning if draft.kind == "draw")
    assert misfit("draw", draw) == ""
    assert "extra" in misfit("draw", draw | {"extra": 1})
    assert "volume_l" in misfit("draw", draw | {"volume_l": "3.2"})
    assert "total_l" in misfit("draw", {key: draw[key] for key in draw if key != "total_l"})


def test_every_kind_of_entry_has_a_shape():
    assert set(SHAPES) == KINDS
    assert all(SHAPES.values())


def test_every_record_has_the_shape_of_its_form():
    assert set(RECORDS) == set(FORMS)
    assert set(KEPT) <= set(get_type_hints(Kept))
    for record, shape in RECORDS.items():
        own = set(get_type_hints(shape)) - set(get_type_hints(Kept))
        assert own == set(FORMS[record].keys) | FORMS[record].made, record


@pytest.mark.parametrize("record", RECORDS)
def test_a_record_s_values_are_of_the_kinds_that_its_form_names(record):
    hints = get_type_hints(RECORDS[record])
    for name, key in FORMS[record].keys.items():
        parts = (
            get_args(hints[name])
            if not isinstance(hints[name], type) and not hasattr(hints[name], "__origin__")
            else ()
        )
        is_of = {getattr(part, "__origin__", part) for part in parts or (hints[name],)}
        assert is_of == JSON_OF[key.kind], (record, name)


def test_what_the_form_needs_is_required_where_it_is_one_key():
    for record, shape in RECORDS.items():
        needed = {group[0] for group in FORMS[record].needs if len(group) == 1}
        assert needed <= shape.__required_keys__, record
        assert shape.__required_keys__ - needed == Kept.__required_keys__, record


def test_an_alarm_is_announced_when_nobody_has_answered_it(morning):
    told = [draft for draft in morning if announced(draft.kind, draft.body) is not None]
    assert told and all(draft.body["to"] == "unacknowledged" for draft in told)
    assert [d for d in morning if d.kind == "alarm" and d.body["to"] == "unacknowledged"] == told
