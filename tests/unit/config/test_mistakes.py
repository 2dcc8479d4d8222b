"""Station files that can't be used: one sentence for each mistake, with its line, all in one go."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from edge import config
from edge.domain.errors import UnusableInput

CONFIG = Path(__file__).parents[3] / "config"
EXAMPLE = (CONFIG / "station-example.toml").read_text(encoding="utf-8")
SENTENCE = re.compile(
    r"^(?P<where>.+? line \d+(?:, \S+)?): (?P<what>.+); expected (?P<expected>.+)\. (?P<do>[A-Z].+)\.$"
)


def sentences(text: str) -> list[str]:
    """All complaints about a text; each must have the shape of a sentence of ours."""
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads(text, Path("s.toml"))
    said = str(refusal.value).splitlines()
    assert [str(mistake) for mistake in refusal.value] == said
    for sentence in said:
        assert SENTENCE.match(sentence), sentence
    return said


def changed(old: str, new: str, text: str = EXAMPLE) -> tuple[str, int]:
    """The example with one change, and the line of it."""
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1), text[: text.index(old)].count("\n") + 1


TEN = """\
suply_min_psi = 35
[station]
site = "harbour-lane"
id = "scope room 2"
timezone = "Europe/Dublin"
[reservoir]
set_point = "390 degC"
thermostat_band = 0.5
contact = { minimum = "35 degC" }
[supply]
pressure = { low = "65 psi", high = "60 psi" }
flow = { low = "7 psi" }
static_high = "60,5 psi"
leek = { volume = "2 L", within = "6 h" }
[[bus]]
id = "bench"
kind = "simulatd"
[[point]]
id = "reservoir"
role = "reservior_temperature"
bus = "bench"
every = "2 s"
[api]
listen = "0.0.0.0:8484"
"""


def test_ten_mistakes_are_ten_sentences_with_their_lines() -> None:
    said = sentences(TEN)
    starts = [sentence.split(": ")[0] for sentence in said]
    assert (
        starts
        == [
            "s.toml line 1, suply_min_psi",
            "s.toml line 4, station.id",
            "s.toml line 7, reservoir.set_point",
            "s.toml line 8, reservoir.thermostat_band",
            "s.toml line 11, supply.pressure",
            "s.toml line 12, supply.flow.low",
            "s.toml line 13, supply.static_high",
            "s.toml line 14, supply.leek",
            "s.toml line 17, bus[bench].kind",
            "s.toml line 20, point[reservoir].role",
            "s.toml line 24, api.listen",
        ][: len(said)]
    )
    assert len(said) == 11  # one more than ten, so that nothing stops at ten
    assert 'did you mean "supply"' in said[0]
    assert "390 degC" in said[2] and "15 degC to 70 degC" in said[2]
    assert '"0.5 K"' in said[3]
    assert "low is 65 psi, high is 60 psi; expected low below high. Swap the two." in said[4]
    assert "unit of a pressure, not of a flow" in said[5]
    assert '"60.5 psi"' in said[6]
    assert 'did you mean "leak"' in said[7]
    assert 'did you mean "simulated"' in said[8]
    assert 'did you mean "reservoir_temperature"' in said[9]
    assert "would open the page to the network without TLS" in said[10]


def test_the_report_of_a_bad_file_exits_2_with_a_line_for_each_mistake(tmp_path: Path) -> None:
    file = tmp_path / "station.toml"
    file.write_text(TEN, encoding="utf-8")
    code, text = config.check_report(file)
    assert code == 2
    assert len(text.splitlines()) == 11
    assert all(line.startswith(f"{file} line ") for line in text.splitlines())


def test_slips_of_toml_hide_nothing_behind_them() -> None:
    text = TEN.replace('timezone = "Europe/Dublin"', "timezone = Europe/Dublin").replace('every = "2 s"', "every = 2 s")
    said = sentences(text)
    assert len(said) == 13
    assert "line 5: " in said[2]
    assert any('the quantity 2 s stands without quotes; expected it in quotes, as in "2 s"' in s for s in said)
    assert not any("is missing" in sentence for sentence in said)  # they are there, only not readable


#: what stands in the example, what stands there instead, the key that is named, part of the sentence
ONE_MISTAKE = [
    ('set_point = "39 degC"', "set_point = 39", "reservoir.set_point", '39 has no unit; expected a temperature with its unit'),
    ('set_point = "39 degC"', 'set_point = "39"', "reservoir.set_point", '"39" has no unit'),
    ('set_point = "39 degC"', 'set_point = "39 psi"', "reservoir.set_point", "is the unit of a pressure, not of a temperature"),
    ('set_point = "39 degC"', "set_point = nan", "reservoir.set_point", "nan is not a finite number"),
    ('set_point = "39 degC"', "set_point = inf", "reservoir.set_point", "inf is not a finite number"),
    ('set_point = "39 degC"', 'set_point = "nan degC"', "reservoir.set_point", "is not a finite number"),
    ('set_point = "39 degC"', 'set_point = "1e300 degC"', "reservoir.set_point", "is beyond anything that a temperature can be"),
    ('set_point = "39 degC"', 'set_point = "390 degC"', "reservoir.set_point", "is not possible here"),
    ('set_point = "39 degC"', 'set_point = "102 degC"', "reservoir.set_point", "did you mean degF?"),
    ('set_point = "39 degC"', 'set_point = "39,1 degC"', "reservoir.set_point", 'as in "39.1 degC"'),
    ('set_point = "39 degC"', "set_point = true", "reservoir.set_point", "is true; expected a temperature"),
    ('set_point = "39 degC"', "set_point = 2026-03-14", "reservoir.set_point", "is the date or time 2026-03-14"),
    ('set_point = "39 degC"', 'set_point = ["39 degC"]', "reservoir.set_point", "is a list"),
    ('set_point = "39 degC"', 'set_point = "34 degC"', "reservoir.contact.minimum", "reservoir.set_point is 34 degC"),
    ('maximum = "45 degC"', 'maximum = "38 degC"', "reservoir.maximum", "expected a maximum above the set point"),
    ('minimum = "35 degC", maximum = "40 degC"', 'minimum = "40 degC", maximum = "35 degC"', "reservoir.contact",
     "minimum is 40 degC, maximum is 35 degC; expected minimum below maximum"),
    ('room = "20 degC"', 'room = "40 degC"', "reservoir.transfer_loss", "expected a room colder than the set point"),
    ('loss = "4 K"', 'loss = "20 K"', "reservoir.transfer_loss", "would cool the liquid below the room"),
    ("measured = false", "measured = false, supply_share = 1.5", "reservoir.transfer_loss.supply_share", "expected a number from 0 to 0.8"),
    ("measured = false", 'measured = false, supply_share = "10 %"', "reservoir.transfer_loss.supply_share", "a number from 0 to 0.8"),
    ("measured = false", 'measured = false, supply = "60 degC"', "reservoir.transfer_loss.supply", "0 degC to 40 degC"),
    ("measured = false", 'measured = false, supply = "39.5 degC"', "reservoir.transfer_loss.supply", "colder than the set point"),
    ('coldest_room = "18 degC"', 'coldest_room = "45 degC"', "reservoir.coldest_room", "colder than the set point"),
    ('warm_up_limit = "2 h"', 'warm_up_limit = "6 months"', "reservoir.warm_up_limit", "is not known for a duration"),
    ('low = "40 psi", high = "60 psi"', 'low = "40 kPa", high = "60 psi"', "supply.pressure.low", "did you mean psi?"),
    ('low = "40 psi", high = "60 psi"', 'low = "60 psi", high = "60 psi"', "supply.pressure", "low below high"),
    ('static_high = "60 psi"', 'static_high = "30 psi"', "supply.static_high", "supply.pressure.low is 40 psi"),
    ('static_high = "60 psi"', 'static_high = "140 psi"', "supply.static_high", 'beyond what point "supply" can read'),
    ('starts_above = "0.3 gal/min"', 'starts_above = "0.1 gal/min"', "supply.draw", "expected ends_below below starts_above"),
    ('starts_above = "0.3 gal/min"', 'starts_above = "2.5 gal/min"', "supply.draw.starts_above", "supply.flow.low is 2 gal/min"),
    ('flow = { low = "2 gal/min", high = "3 gal/min" }', 'flow = { low = "4 gal/min", high = "3 gal/min" }', "supply.flow",
     "low is 4 gal/min, high is 3 gal/min"),
    ('rating = "1 um"', 'rating = "1 kg"', "filter[coarse].rating", "is not known for a length"),
    ('drop_limit = "8 psi"', 'drop_limit = "80 psi"', "filter[coarse].drop_limit", "well below the supply's pressure"),
    ('replace_after = "6 months"', 'replace_after = "180 days"', "filter[coarse].replace_after", "is not a count of months"),
    ('id = "fine"', 'id = "coarse"', "filter[coarse].id", 'filter "coarse" is there twice'),
    ("ports = 6", 'ports = "6"', "basin[basin].ports", "expected a whole number from 1 to 32"),
    ("ports = 6", "ports = 600", "basin[basin].ports", "is 600"),
    ("ports = 6", "port = 6", "basin[basin].port", 'did you mean "ports"'),
    ('monday = "07:30-18:00"', 'monday = "18:00-07:30"', "hours.monday", "ends before it begins"),
    ('monday = "07:30-18:00"', 'monday = "7.30-18"', "hours.monday", "expected first case and end of the day"),
    ('monday = "07:30-18:00"', 'monday = "07:30-25:00"', "hours.monday", "is no time of day"),
    ('timezone = "Europe/Dublin"', 'timezone = "Dublin"', "station.timezone", "is no time zone that this machine knows"),
    ('site = "harbour-lane"', 'site = "harbour/lane"', "station.site", "as it stands in topics"),
    ('site = "harbour-lane"', 'site = "#"', "station.site", "as it stands in topics"),
    ('measure = "weak ports"', 'measure = "weak port"', "daily_test.measure", 'did you mean "weak ports"'),
    ('"sensor_fitted"', '"sensor_fited"', "water_path_treatment.clean_side_opened_by", 'did you mean "sensor_fitted"'),
    ('["filter_change", "sensor_fitted", "repair"]', "[]", "water_path_treatment.clean_side_opened_by", "no change of a filter would owe"),
    ('supply_temperature = "7 days"', 'supply_temp = "7 days"', "not_fitted.supply_temp", 'did you mean "supply_temperature"'),
    ('supply_temperature = "7 days"', 'supply_flow = "7 days"', "not_fitted.supply_flow", 'is measured by point "flow"'),
    ("[alarm.pressure_low]", "[alarm.presure_low]", "alarm.presure_low", 'did you mean "pressure_low"'),
    ("[alarm.outlet_tripped]", '[alarm."outlet_tripped:heater"]', 'alarm."outlet_tripped:heater"', "[alarm.outlet_tripped] tunes them"),
    ('deadband = "1 psi"', 'deadband = "1 K"', "alarm.pressure_low.deadband", "not of a pressure difference"),
    ('deadband = "1 psi"', 'deadband = "-1 psi"', "alarm.pressure_low.deadband", "expected 0 or more"),
    ('deadband = "1 psi"', 'limit = "140 psi"', "alarm.pressure_low.limit", 'beyond what point "supply" can read'),
    ('deadband = "1 psi"', 'priority = "urgent"', "alarm.pressure_low.priority", '"low", "medium" or "high"'),
    ('on_delay = "2 s"', 'deadband = "2 s"', "alarm.outlet_tripped.deadband", "compares no reading and has no deadband"),
    ("[alarm.pressure_low]", '[duty.tray]\nevery = "1 moon"\n[alarm.pressure_low]', "duty.tray.every", 'unit "moon" is not known'),
    ("[alarm.pressure_low]", "[duty.tray]\nevery = 7\n[alarm.pressure_low]", "duty.tray.every", '"1 month", "7 days"'),
    ("[alarm.pressure_low]", '[duty.tray]\nevery = "700 years"\n[alarm.pressure_low]', "duty.tray.every", "between 1 and 600 months"),
    ("[alarm.pressure_low]", '[duty.w]\nevery = "1 year"\nalert_level = 10\n[alarm.pressure_low]', "duty.w.alert_level", "CFU/100 mL"),
    (
        "[alarm.pressure_low]", '[duty.w]\nevery = "1 year"\nalert_level = "9 CFU/mL"\naction_level = "9 CFU/mL"\n[alarm.pressure_low]',
        "duty.w.action_level", "an action level above the alert level",
    ),
    (
        "[alarm.pressure_low]", '[duty.w]\nevery = "1 year"\nalert_level = "9 CFU/mL"\naction_level = "10 CFU/L"\n[alarm.pressure_low]',
        "duty.w.action_level", "one unit for both",
    ),
    ('measure = "weak ports"', 'also = "lid"', "daily_test.also", "a list of at most 20 short texts"),
    ('measure = "weak ports"', 'also = ["lid", "Lid "]', "daily_test.also", "names one item twice"),
    ('measure = "weak ports"', 'also = ["lid, drain"]', "daily_test.also", "without a comma"),
    ('measure = "weak ports"', 'also = ["lid", 3]', "daily_test.also", "is 3"),
    ('measure = "weak ports"', 'cylinder_uncertainty = 1', "daily_test.cylinder_uncertainty", "1 has no unit"),
    ('reuse_life = "14 days"', 'reuse_life = "14 days"\nconcentration_check = "day"', "disinfectant.concentration_check", '"each day" or'),
    ('reuse_life = "14 days"', 'reuse_life = "14 days"\nopened_life = "75"', "disinfectant.opened_life", '"75" has no unit'),
    ("[alarm.pressure_low]", '[outlet_test]\nevery = "30 days"\n[alarm.pressure_low]', "outlet_test.every", "not a count of months"),
    ('kind = "onewire"', 'kind = "one-wire"', "bus[probe-wire].kind", 'did you mean "onewire"'),
    ("baud = 19200", 'baud = "19200"', "bus[panel].baud", "expected a whole number"),
    ("baud = 19200", "bauds = 19200", "bus[panel].bauds", 'did you mean "baud"'),
    ('id = "panel"', 'id = "probe-wire"', "bus[probe-wire].id", 'bus "probe-wire" is there twice'),
    ('every = "2 s"', 'every = "500 ms"', "point[reservoir].every", "is shorter than a onewire bus can keep"),
    ('every = "2 s"', 'every = "800 ms"', "point[reservoir].every", "would be busy"),
    ('every = "2 s"', "every = 2", "point[reservoir].every", "2 has no unit"),
    ('every = "2 s"\n', "", "point[reservoir].every", "every is missing"),
    ('role = "room_temperature"', 'role = "reservoir_temperature"', "point[room].role", 'is the role of point "reservoir" too'),
    ('of = "heater"', 'of = "machine"', "point[heater-outlet].role", 'point "machine-outlet" too of machine'),
    ('id = "room"', 'id = "reservoir"', "point[reservoir].id", 'point "reservoir" is there twice'),
    ('id = "room"', 'id = "time"', "point[time].id", "name of the column of times"),
    ('address = "28-00000a1b2c4e"', 'address = "28-00000a1b2c3d"', "point[room].address", 'same address as point "reservoir"'),
    ('address = "28-00000a1b2c4e"', 'address = "room"', "point[room].address", "family and 12 hex digits"),
    ('uncertainty = "0.5 K"', 'uncertainty = "0.5 psi"', "point[reservoir].uncertainty", "not of a temperature difference"),
    ('uncertainty = "0.5 K"', 'stale_after = "1 s"', "point[reservoir].stale_after", "is not longer than a period"),
    ('uncertainty = "0.5 K"', 'max_rate = "1 psi/s"', "point[reservoir].max_rate", "not of a rate of temperature"),
    ('uncertainty = "0.5 K"', 'range = { low = "50 degC", high = "0 degC" }', "point[reservoir].range", "expected low below high"),
    ('uncertainty = "0.5 K"', 'unit = "psi"', "point[reservoir].unit", "is the unit of a pressure"),
    (', kind = "gauge" }', " }", "point[supply].loop.kind", "kind is missing"),
    ('low = "0 psi", high = "100 psi"', 'low = "100 psi", high = "0 psi"', "point[supply].loop", "expected low below high"),
    ('low = "0 psi", high = "100 psi"', 'low = "0 psi abs", high = "100 psi"', "point[supply].loop.low", "absolute, but kind is gauge"),
    ('from = "4 mA"', 'from = "4 V"', "point[supply].loop.from", "is the unit of a voltage, not of a current"),
    ('from = "4 mA", to = "20 mA"', 'from = "20 mA", to = "4 mA"', "point[supply].loop", "expected from below to"),
    ('scale = 0.01, unit = "mA"', "scale = 0.01", "point[supply].register.unit", "unit is missing"),
    ("scale = 0.01", "scale = 0", "point[supply].register.scale", "but not 0"),
    ('type = "int16"', 'type = "float32"', "point[supply].register.order", "order is missing"),
    ('kind = "input", at = 0', 'kind = "coil", at = 0', "point[supply].register", "a coil is no int16"),
    ("at = 1,", "at = 0,", "point[between].register", 'same register as point "supply"'),
    ("unit_id = 3", "unit_id = 0", "point[supply].unit_id", "from 1 to 247"),
    ("count = 450", "count = 450000", "point[flow].pulses", "more than a line can count"),
    ('pulses = { per = "1 L", count = 450, maximum_flow = "30 L/min" }\n', "", "point[flow].pulses", "pulses is missing"),
    ("line = 23", "line = 22", "point[heater-outlet].line", 'same line as point "machine-outlet"'),
    ("line = 24", 'line = 24\ntripped_when = "open"', "point[power].tripped_when", "is for outlet_protection, not for machine_power"),
    ("line = 24", 'line = 24\nunit = "V"', "point[power].unit", "a contact has no unit"),
    ("port = 8883", 'username = "scope\\u0000room"', "mqtt.username", "holds a control character"),
    ("port = 8883", 'username = "scope\\u0085room"', "mqtt.username", "holds a control character"),
    ("port = 8883", "port = 88830", "mqtt.port", "from 1 to 65535"),
    ('archives = ["hospital"]', 'archives = "hospital"', "mqtt.archives", 'up to four names of archives, as ["hospital"]'),
    ('archives = ["hospital"]', 'archives = ["hospital", "hospital"]', "mqtt.archives", "names one twice"),
    ('archives = ["hospital"]', 'archives = ["a/#"]', "mqtt.archives", "can't be used"),
    (', key = "node.key"', "", "mqtt.tls", "certificate and key go together"),
    ("port = 8883", 'password_file = "secret"', "mqtt.password_file", "a password without a username"),
    ('listen = "127.0.0.1:8484"', 'listen = "8484"', "api.listen", "an address and a port"),
    ('listen = "127.0.0.1:8484"', 'listen = "scope-room-2:8484"', "api.listen", "would open the page to the network without TLS"),
    ('folder = "/var/lib/warmwell"', 'folder = ""', "keep.folder", "is empty"),
    ('folder = "/var/lib/warmwell"', 'raw = "90"', "keep.raw", '"90" has no unit'),
    ('folder = "/var/lib/warmwell"', 'size = "2 L"', "keep.size", "is the unit of a volume, not of a size on disk"),
    ('overdue_after = "3 days"', 'overdue_after = "1 day"', "backup", 'overdue_after is 1 day, every is 24 h'),
    ('every = "24 h"', 'every = "10 min"', "backup.every", "from 1 h to 31 days"),
    ('folder = "/media/stick/scope-room-2"', 'folder = "/var/lib/warmwell/backup"', "backup.folder", "lies in the [keep] folder"),
    ('folder = "/var/lib/warmwell/reports"', 'folder = "/var/lib/warmwell"', "reports.folder", "is the [keep] folder itself"),
    ('forms = ["html"]', "forms = []", "reports.forms", "names nothing"),
    ('forms = ["html"]', 'forms = ["doc"]', "reports.forms", '"html" or "pdf"'),
    ('keep = "400 days"', 'keep = "1 day"', "reports.keep", "from 7 days to 36600 days"),
    ('folder = "/var/lib/warmwell"', 'timestamp_url = "ftp://stamps.example"', "keep.timestamp_url", "can't be used"),
    ('folder = "/var/lib/warmwell"', 'timestamp_ca = "ca.pem"', "keep.timestamp_ca", "of no use without timestamp_url"),
    ('folder = "/var/lib/warmwell"', 'set_point = "39 degC"', "keep.set_point", "it belongs in [reservoir]"),
]  # fmt: skip


@pytest.mark.parametrize("old, new, key, part", ONE_MISTAKE, ids=[f"{new or old}" for old, new, _, _ in ONE_MISTAKE])
def test_one_mistake_is_one_sentence_at_its_line(old: str, new: str, key: str, part: str) -> None:
    text, line = changed(old, new)
    said = sentences(text)
    naming = [sentence for sentence in said if f", {key}: " in sentence]
    assert len(naming) == 1, said
    assert part in naming[0], naming[0]
    told_line = int(naming[0].split()[2].rstrip(","))
    last = key.split(".")[-1].strip('"')
    if f"{last} = " in new:
        assert told_line == line + new[: new.index(f"{last} = ")].count("\n")
    else:  # the other of two keys that contradict each other, or the header of a table that lacks one
        named = text.splitlines()[told_line - 1]
        assert last in named or key.split(".")[-2] in named or named.startswith("["), named


def test_a_people_file_is_not_read_yet_and_it_is_said() -> None:
    local, _ = changed('listen = "127.0.0.1:8484"', 'listen = "[::1]:8484"\npeople = "people.toml"')
    station = config.loads(local, Path("s.toml"))
    assert station.api.host == "::1"
    assert any("api.people" in text for text in station.not_active)


def test_a_point_on_an_unknown_bus_names_the_nearest() -> None:
    text, _ = changed('bus = "panel"', 'bus = "pannel"')
    said = sentences(text)
    assert any('there is no bus "pannel" (did you mean "panel"?)' in sentence for sentence in said)


def test_of_two_buses_one_must_be_named() -> None:
    text, _ = changed('bus = "panel"\n', "")
    assert any("point[supply].bus: bus is missing" in sentence for sentence in sentences(text))


@pytest.mark.parametrize(
    "text, part",
    [
        ("", "the file is empty"),
        ("  \n# only a remark\n", "the file is empty"),
        ("[station", "is not TOML"),
        ("x = ", "is not TOML"),
        ('x = "abc', "is not TOML"),
        ("x = 1\nx = 2", "sets a key that is set already"),
        ("[keep]\n[keep]", "opens a table that is there already"),
        ("x = 39,1", "decimal comma"),
        ("station = 3", "expected a table"),
        ("[[station]]", "is a list"),
        ("[bus]", "a list of tables, each under [[bus]]"),
        ("point = [1, 2]", "is 1"),
        ("alarm = 3", "tables such as [alarm.name]"),
        ("[not_fitted]\nroom_temperature = 7", "7 has no unit"),
        ("x = " + "[" * 3000, "nested too deeply"),
        ("x = " + "9" * 5000, "a number of thousands of digits"),
        ("x = 0x" + "f" * 5000, "is not known here"),
        ("a" + ".a" * 3000 + " = 1", "has a key of 3001 parts"),
        ("x = \x00", "is not TOML"),
    ],
)
def test_a_text_that_is_no_station_file(text: str, part: str) -> None:
    assert part in "\n".join(sentences(text))


def test_a_file_of_nothing_but_a_station_lacks_bus_and_point() -> None:
    said = "\n".join(sentences('[station]\nsite = "a"\nid = "b"\ntimezone = "UTC"\n'))
    assert "no [[point]] is there" in said and "no [[bus]] is there" in said


def refused(path: Path) -> str:
    """The one sentence about a file that can't be read at all; check_report says the same and exits 2."""
    with pytest.raises(config.UnusableInputs) as refusal:
        config.load(path)
    assert isinstance(refusal.value, UnusableInput)  # exit code 2
    assert len(refusal.value) == 1
    assert config.check_report(path) == (2, str(refusal.value))
    return str(refusal.value)


def test_files_that_cannot_be_read_get_one_sentence(tmp_path: Path) -> None:
    assert "there is no such file" in refused(tmp_path / "none.toml")
    assert "is a folder" in refused(tmp_path)
    assert "its name can't be used" in refused(tmp_path / "a\0b")
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    assert "can't be read" in refused(loop)
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    assert "is not an ordinary file" in refused(pipe)  # and nobody waits for it


def test_a_file_that_fails_while_it_is_read_gets_one_sentence(tmp_path: Path) -> None:
    broken = tmp_path / "broken.toml"
    broken.symlink_to("/proc/self/mem")  # opens, then reads EIO: no root and no package needed
    assert re.search(r"can't be read \(.+\)|this user may not", refused(broken))


def test_a_file_that_this_user_may_not_read_gets_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    secret = tmp_path / "secret.toml"
    secret.write_text(EXAMPLE, encoding="utf-8")

    def denied(*_: object, **__: object) -> object:  # root may read anything, so the refusal is played
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", denied)
    assert "this user may not" in refused(secret)


def test_a_huge_file_is_refused_without_being_read_whole(tmp_path: Path) -> None:
    huge = tmp_path / "huge.toml"
    with huge.open("wb") as file:
        file.truncate(1 << 40)  # a hole: a terabyte that takes no space
    assert "is larger than 1 MiB" in refused(huge)


def test_text_that_is_not_utf_8_names_line_and_byte(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes('[station]\ntitle = "Salle d\'é"\n'.encode("latin-1"))
    said = refused(latin)
    assert f"{latin} line 2, byte 18: is not UTF-8 (octet 0xe9)" in said
    wide = tmp_path / "wide.toml"
    wide.write_bytes("[station]".encode("utf-16"))
    assert "is saved as UTF-16" in refused(wide)
