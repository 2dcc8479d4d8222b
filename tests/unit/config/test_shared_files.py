"""The site's alarm catalogue and its commissioning list: read with the station file, key by key behind it, and checked as hard."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.config.reading import UnusableInputs
from edge.domain.alarms.catalogue import CATALOGUE, base_of, row_of
from edge.domain.records.commissioning import items_of
from edge.domain.station.station import Station

ROOT = Path(__file__).parents[3]
EXAMPLE = (ROOT / "config/station-example.toml").read_text(encoding="utf-8")
NAMED = EXAMPLE.replace("timezone = ", 'alarms = "alarms.toml"\ntimezone = ', 1)


def written(folder: Path, catalogue: str | None, station: str = NAMED) -> Path:
    if catalogue is not None:
        (folder / "alarms.toml").write_text(catalogue, encoding="utf-8")
    (folder / "station.toml").write_text(station, encoding="utf-8")
    return folder / "station.toml"


def test_its_tables_hold_where_the_station_file_says_nothing(tmp_path: Path) -> None:
    catalogue = """
[alarm.pressure_low]
on_delay = "40 s"
deadband = "3 psi"
latching = true

[alarm.leak]
response = "Shut the red valve behind the bench; call the duty technician"
respond_within = "3 min"
"""
    plan = config.load(written(tmp_path, catalogue))
    low = plan.settings.tuning["pressure_low"]
    assert (low.on_delay_ms, low.latching) == (40_000, True)
    assert low.deadband == pytest.approx(6.894757), "the station file's own 1 psi"
    alarms = Station(plan.settings, "boot").desk.alarms
    assert alarms["leak"].row.response.startswith("Shut the red valve") and alarms["leak"].row.respond_within_s == 180
    assert alarms["leak"].row.consequence == CATALOGUE["leak"].consequence


def test_it_is_part_of_the_settings_and_of_their_digest(tmp_path: Path) -> None:
    plan = config.load(written(tmp_path, "[alarm.leak]\nlatching = true\n"))
    other = config.load(written(tmp_path, "[alarm.leak]\nlatching = false\n"))
    assert plan.digest != other.digest and plan.document["alarm"]["leak"] == {"latching": True}
    assert config.settings_of(plan.document).tuning["leak"].latching is True, "a journal needs no further file"


@pytest.mark.parametrize(
    ("catalogue", "line", "what"),
    [
        ("[alarm.leak]\n[alarm.presure_low]\nlatching = true\n", 2, "pressure_low"),
        ('[alarm.leak]\nlatching = "yes"\n', 2, "true or false"),
        ('[alarm.leak]\nrespond_within = "5"\n', 2, "unit"),
        ('[alarm.leak]\ndeadband = "1 psi"\n', 2, "compares no reading"),
        ('[alarm.leak]\nanswer = "run"\n', 2, "not known here"),
        ('[alarm."silent:room"]\npriority = "low"\n', 1, "one alarm of its kind"),
        ('[station]\nid = "x"\n', 1, "nothing but [alarm.<id>] tables"),
        ("[alarm.leak\n", 1, ""),
        ("", 1, "empty"),
    ],
)
def test_each_mistake_has_its_line_in_its_own_file(tmp_path: Path, catalogue: str, line: int, what: str) -> None:
    with pytest.raises(UnusableInputs) as refused:
        config.load(written(tmp_path, catalogue))
    (said,) = str(refused.value).splitlines()
    assert f"alarms.toml line {line}" in said and what in said


def test_mistakes_of_both_files_are_told_in_one_go(tmp_path: Path) -> None:
    station = NAMED.replace('loss = "4 K"', 'loss = "4 psi"')
    assert station != NAMED
    with pytest.raises(UnusableInputs) as refused:
        config.load(written(tmp_path, "[alarm.leak]\nlatching = 3\n", station))
    first, second = str(refused.value).splitlines()
    assert "station.toml" in first and "alarms.toml line 2" in second


def test_one_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnusableInputs, match="no such file; expected an alarm catalogue"):
        config.load(written(tmp_path, None))


def test_check_says_where_what_stops_the_station_ranks_below_what_only_warns(tmp_path: Path) -> None:
    code, text = config.check_report(written(tmp_path, '[alarm.pressure_low]\npriority = "low"\n'))
    assert (
        code == 0
        and "pressure_low.priority: it keeps the station from starting and ranks below alarms that only warn" in text
    )
    assert "untold" in text
    code, text = config.check_report(written(tmp_path, '[alarm.heating_weak]\npriority = "medium"\n'))
    assert code == 0 and "only warn" not in text


def test_what_check_says_of_the_catalogue_names_its_file_and_line_and_alarms_that_are_there(tmp_path: Path) -> None:
    catalogue = '[alarm.leak]\nlatching = true\n\n[alarm.pressure_low]\npriority = "low"\n'
    code, text = config.check_report(written(tmp_path, catalogue))
    (said,) = [line for line in text.splitlines() if "ranks below" in line]
    assert code == 0 and f"{tmp_path / 'alarms.toml'} line 5, alarm.pressure_low.priority: " in said
    there = set(map(base_of, Station(config.load(tmp_path / "station.toml").settings, "boot").desk.alarms))
    assert set(said.rpartition("(")[2].rstrip(").").split(", ")) < there
    own = NAMED.replace("[alarm.pressure_low]", '[alarm.pressure_low]\npriority = "low"')
    assert own != NAMED
    code, text = config.check_report(written(tmp_path, "[alarm.pressure_low]\nlatching = true\n", own))
    (said,) = [line for line in text.splitlines() if "ranks below" in line]
    assert "station.toml line " in said


@pytest.mark.parametrize(
    ("catalogue", "line", "what"),
    [
        ('[alarm.outlet_tripped]\noff_delay = "24 h"\n', 2, "it stays for 24 h 0 min after it is over"),
        ('[alarm.leak]\nlatching = true\non_delay = "12 h"\n', 3, "told after 12 h 0 min only"),
        ('[alarm.flow_high]\ndeadband = "20 L/min"\n', 2, "it comes once and never ends"),
    ],
)
def test_check_says_which_tuning_silences_an_alarm_for_good(
    tmp_path: Path, catalogue: str, line: int, what: str
) -> None:
    station = NAMED.replace('on_delay = "2 s"', "latching = false")
    assert station != NAMED
    code, text = config.check_report(written(tmp_path, catalogue, station))
    assert code == 0 and [s for s in text.splitlines() if f"alarms.toml line {line}, " in s and what in s], text


def test_the_shipped_catalogue_says_what_holds_without_it(tmp_path: Path) -> None:
    shipped = (ROOT / "config/alarms.toml").read_text(encoding="utf-8")
    plan, plain = config.load(written(tmp_path, shipped)), config.load(written(tmp_path, None, EXAMPLE))
    alarms, without = Station(plan.settings, "boot").desk.alarms, Station(plain.settings, "boot").desk.alarms
    assert {i: a.row._replace(set_priority="") for i, a in alarms.items() if not i.startswith("duty_due")} == {
        i: a.row._replace(set_priority="") for i, a in without.items() if not i.startswith("duty_due")
    }
    assert set(plan.settings.tuning) == {ident for ident in CATALOGUE if ident != "duty_due"}
    for ident, tuned in plan.settings.tuning.items():
        assert (tuned.consequence, tuned.response) == (row_of(ident).consequence, row_of(ident).response)


# -- the commissioning list

ASKED = EXAMPLE + '\n[commissioning]\nlist = "commissioning.toml"\n'


def listed(folder: Path, text: str, more: str = "") -> Path:
    (folder / "commissioning.toml").write_text(text, encoding="utf-8")
    return written(folder, None, ASKED + more)


def test_the_list_that_is_shipped_changes_nothing(tmp_path: Path) -> None:
    shipped = (ROOT / "config/commissioning.toml").read_text(encoding="utf-8")
    settings = config.load(listed(tmp_path, shipped)).settings
    plain = config.load(written(tmp_path, None, EXAMPLE)).settings
    assert settings.rules.commissioning.is_asked and not plain.rules.commissioning.is_asked
    assert items_of(settings) == items_of(plain) and len(items_of(plain)) > 20


def test_a_station_files_own_items_come_before_the_list_and_both_are_in_its_settings(tmp_path: Path) -> None:
    shared = """
[commissioning_item.static]
low = "45 psi"
high = "70 psi"
source = "the site's plumber"

[commissioning_item.restart]
leave_out = "the board has a battery"

[commissioning_item.sign]
title = "Sign at the door"
"""
    plan = config.load(listed(tmp_path, shared, '\n[commissioning_item.static]\nhigh = "60 psi"\n'))
    items = {item.id: item for item in items_of(plan.settings)}
    assert items["static"].low == pytest.approx(45 * 6.894757) and items["static"].high == pytest.approx(60 * 6.894757)
    assert items["restart"].leave_out == "the board has a battery" and items["sign"].group == "own"
    assert items_of(config.settings_of(plan.document)) == items_of(plan.settings), "a journal needs no further file"


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("[commissioning_item.standpip]\n", 1, 'did you mean "standpipe"?'),
        ("[commissioning_item.sign]\n", 1, "title is missing"),
        ('[commissioning_item.standpipe]\nhigh = "5 psi"\n', 2, "standpipe has no number"),
        ('[commissioning_item.static]\nhigh = "5 degC"\n', 2, "a pressure"),
        ("[commissioning_item.static]\nhigh = 5\n", 2, "unit"),
        ('[commissioning_item.static]\nlow = "60 psi"\nhigh = "50 psi"\n', 1, "low below high"),
        ('[commissioning_item.bucket]\nhigh = "1 L"\n', 2, "per cent"),
        ('[commissioning_item."drop:fine"]\nhigh = "1 psi"\n', 1, "one item of its kind"),
        ('[commissioning_item.static]\nreopened_by = ["hold"]\n', 2, "equipment_change"),
        ('[commissioning_item.static]\ntitle = "Mine"\n', 2, "has its own title"),
        ('[commissioning_item.Sign]\ntitle = "Mine"\n', 1, "can't be a name"),
        ('[commissioning_item.static]\nmost = "1 psi"\n', 2, "not known here"),
        ("[alarm.leak]\nlatching = true\n", 1, "nothing but [commissioning_item.<id>] tables"),
        ("", 1, "empty"),
    ],
)
def test_each_mistake_of_the_list_has_its_line_in_its_own_file(tmp_path: Path, text: str, line: int, what: str) -> None:
    with pytest.raises(UnusableInputs) as refused:
        config.load(listed(tmp_path, text))
    (said,) = str(refused.value).splitlines()
    assert f"commissioning.toml line {line}" in said and what in said, said
