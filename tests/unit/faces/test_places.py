"""Numbers of points and alarms: given once, kept, never moved."""

from __future__ import annotations

import json

import pytest

from edge.domain.errors import UnusableInput
from edge.faces.places import MOST, Places, load, save
from edge.faces.seen import NOBODY, read
from tests.unit.faces.kit import alarm, picture, point


def test_numbers_stay_when_a_point_is_added_and_when_one_goes(tmp_path):
    first = Places().grown(read(picture()))
    assert first.points == {"flow": 0, "reservoir": 1, "supply": 2}
    told = picture()
    del told["points"]["flow"]
    told["points"]["basin"] = point("basin_temperature", 25.0, "Cel")  # by name it would come first
    told["alarms"]["hold"] = alarm()
    grown = first.grown(read(told))
    assert grown.points == {"flow": 0, "reservoir": 1, "supply": 2, "basin": 3}
    assert {name: grown.alarms[name] for name in first.alarms} == first.alarms
    assert grown.mark != first.mark
    save(tmp_path / "places.json", grown)
    kept = load(tmp_path / "places.json")
    assert kept == grown and kept.mark == grown.mark
    assert kept.grown(read(told)) is kept and kept.grown(NOBODY) is kept


def test_places_are_one_station_s(tmp_path):
    told = picture()
    told["verdict"]["station"] = "scope-room-3"
    with pytest.raises(UnusableInput, match="those of harbour-lane/scope-room-2"):
        Places().grown(read(picture())).grown(read(told))


def test_more_than_there_is_room_for_is_refused():
    told = picture()
    told["points"] = {f"room-{number}": point("room_temperature", 20.0, "Cel") for number in range(MOST + 1)}
    with pytest.raises(UnusableInput, match=f"{MOST + 1} points"):
        Places().grown(read(told))


@pytest.mark.parametrize(
    "change",
    [
        {"points": {"flow": 0, "supply": 0}}, {"points": {"flow": -1}}, {"points": {"flow": True}}, {"points": {"flow": MOST}},
        {"points": ["flow"]}, {"kind": "other"}, {"format": 2}, {"station": None},
    ],
    ids=str,
)  # fmt: skip
def test_a_damaged_file_is_refused_as_numbers_would_move(tmp_path, change):
    file = tmp_path / "places.json"
    save(file, Places().grown(read(picture())))
    file.write_text(json.dumps(json.loads(file.read_text()) | change))
    with pytest.raises(UnusableInput, match="places can't be read"):
        load(file)
    file.write_text(file.read_text()[:-9])
    with pytest.raises(UnusableInput, match="places can't be read"):
        load(file)


def test_without_a_file_there_are_none(tmp_path):
    assert load(tmp_path / "places.json") == Places()
