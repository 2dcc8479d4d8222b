"""Station files that can be used: what is made of them."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import jsonschema_rs
import pytest
import rfc8785

from edge import config
from edge.config.sections import ALARM_IDS, SECTIONS
from edge.domain.readings import Role
from edge.domain.settings import Duty, Every

CONFIG = Path(__file__).parents[3] / "config"
EXAMPLE = CONFIG / "station-example.toml"
MINIMAL = CONFIG / "station-minimal.toml"
SCHEMA = CONFIG / "station.schema.json"

PSI_KPA = 6.894757293168  # exact definitions, tests/handbook/f.flow-units.jsonl
GALLON_L = 3.785411784


def test_the_example_loads_whole() -> None:
    station = config.load(EXAMPLE)
    settings = station.settings
    assert settings.name == "harbour-lane/scope-room-2"
    assert settings.title == "Scope room 2, left bench"
    assert [point.id for point in settings.points] == [
        "reservoir", "room", "supply", "between", "filtered", "flow", "machine-outlet", "heater-outlet", "power",
    ]  # fmt: skip
    assert settings.hours == {0: (450, 1080), 1: (450, 1080), 2: (450, 1080), 3: (450, 1080), 4: (450, 960)}
    assert [(basin.id, basin.channel_ports) for basin in settings.basins] == [("basin", 6)]
    assert station.reports is not None and (station.reports.keep_days, station.reports.send) == (400, None)
    assert set(station.document) | {"duty", "outlet_test", "commissioning", "commissioning_item"} == set(SECTIONS)
    assert settings.clean_side_opened_by == {"filter_change", "sensor_fitted", "repair"}
    assert settings.not_fitted == {Role.SUPPLY_TEMPERATURE: 7 * 86_400_000}
    assert (settings.treatment_contact_ms, settings.reuse_life_ms) == (600_000, 14 * 86_400_000)


def test_the_examples_reservoir_is_in_celsius_and_its_loss_a_share() -> None:
    reservoir = config.load(EXAMPLE).settings.reservoir
    assert reservoir is not None
    assert (reservoir.set_point_c, reservoir.thermostat_band_k, reservoir.maximum_c) == (39.0, 0.5, 45.0)
    assert (reservoir.contact_min_c, reservoir.contact_max_c, reservoir.coldest_room_c) == (35.0, 40.0, 18.0)
    assert reservoir.loss_share == pytest.approx(4 / 19, rel=1e-15)  # 4 K at 39 degC in a room of 20 degC
    assert (reservoir.loss_measured, reservoir.volume_l, reservoir.warm_up_limit_ms) == (False, 11.0, 7_200_000)


def test_the_loss_may_be_to_supply_water_in_part() -> None:
    text = (CONFIG / "station-example.toml").read_text(encoding="utf-8")
    wet = text.replace("measured = false", 'measured = false, supply_share = 0.25, supply = "10 degC"')
    station = config.loads(wet, Path("station.toml"))
    reservoir = station.settings.reservoir
    assert reservoir is not None and (reservoir.supply_share, reservoir.coldest_supply_c) == (0.25, 10.0)
    assert reservoir.loss_share == pytest.approx(4.0 / (39.0 - (0.75 * 20.0 + 0.25 * 10.0)))
    assert not any("supply_share" in warning for warning in station.warnings)
    for part, said in (("supply_share = 0.25", "5 degC is taken"), ('supply = "10 degC"', "counts for nothing")):
        warned = config.loads(
            text.replace("measured = false", f"measured = false, {part}"), Path("station.toml")
        ).warnings
        assert any(said in warning for warning in warned), part


def test_the_examples_supply_and_filters_are_in_held_units() -> None:
    settings = config.load(EXAMPLE).settings
    supply = settings.supply
    assert supply is not None
    assert supply.pressure_low_kpa == pytest.approx(40 * PSI_KPA, rel=1e-12)
    assert supply.pressure_high_kpa == supply.static_high_kpa == pytest.approx(60 * PSI_KPA, rel=1e-12)
    assert (supply.flow_low_l_min, supply.flow_high_l_min) == pytest.approx((2 * GALLON_L, 3 * GALLON_L), rel=1e-12)
    assert (supply.draw_starts_l_min, supply.draw_ends_l_min) == pytest.approx((0.3 * GALLON_L, 0.15 * GALLON_L))
    assert (supply.steady_after_ms, supply.stands_for_ms) == (15_000, 86_400_000)
    assert (supply.leak_volume_l, supply.leak_within_ms) == (2.0, 6 * 3_600_000)
    assert [(stage.id, stage.rating_um, stage.replace_after_months) for stage in settings.filters] == [
        ("coarse", 1.0, 6), ("fine", 0.2, 6),
    ]  # fmt: skip
    assert [stage.drop_limit_kpa for stage in settings.filters] == pytest.approx([8 * PSI_KPA, 10 * PSI_KPA])
    assert settings.reference_flow_l_min == pytest.approx(2.5 * GALLON_L)
    assert settings.reference_c == 15.0
    assert settings.daily_test is not None
    assert (settings.daily_test.volume_ml, settings.daily_test.within_s) == pytest.approx((100.0, 15.0))


def test_the_examples_alarms_plans_and_points() -> None:
    station = config.load(EXAMPLE)
    tuning = station.settings.tuning
    assert tuning["outlet_tripped"].on_delay_ms == 2000
    assert tuning["pressure_low"].deadband == pytest.approx(PSI_KPA)  # a difference: no zero is shifted
    assert station.mqtt == config.MqttPlan(
        "broker.harbour-lane.example", 8883, config.TlsPlan(CONFIG / "ca.pem", CONFIG / "node.pem", CONFIG / "node.key"),
        archives=("hospital",),
    )  # fmt: skip
    assert (station.api.host, station.api.port) == ("127.0.0.1", 8484)
    assert station.keep.folder == Path("/var/lib/warmwell")
    points = {point.id: point for point in station.settings.points}
    assert (points["reservoir"].every_ms, points["reservoir"].stale_after_ms, points["reservoir"].uncertainty) == (
        2000,
        10_000,
        0.5,
    )
    assert points["room"].stale_after_ms == 50_000  # five periods
    assert points["supply"].unit == "psi"  # its loop's
    assert points["supply"].low == pytest.approx(-5 * PSI_KPA)  # the loop's span and 5 %
    assert points["power"].every_ms == 250
    buses = {bus.id: bus for bus in station.buses}
    assert buses["panel"].points["supply"]["register"]["at"] == 0
    assert (buses["panel"].options["baud"], buses["panel"].period_ms, buses["panel"].active) == (19200, 500, True)


def test_nothing_of_the_example_is_not_active() -> None:
    station = config.load(EXAMPLE)
    assert all(bus.active for bus in station.buses)
    assert station.not_active == ()


def test_probes_that_share_a_bus_convert_at_once_and_an_older_kernel_is_warned_of() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    one = text.replace('every = "10 s"', 'every = "2 s"', 1)
    probe = '\n[[point]]\nid = "{0}"\nrole = "{1}"\nbus = "probe-wire"\naddress = "28-00000a1b2c{2}"\nevery = "2 s"\n'
    more = probe.format("basin", "basin_temperature", "5f") + probe.format("water", "supply_temperature", "60")
    station = config.loads(one, EXAMPLE)
    assert not any("convert at once" in warning for warning in station.warnings)
    four = one.replace('supply_temperature = "7 days"', "") + more
    station = config.loads(four, EXAMPLE)
    warned = [warning for warning in station.warnings if "convert at once" in warning]
    assert (
        len(warned) == 1 and "busy 154% of the time" in warned[0] and "1.5 times less often" in warned[0]
    )  # four conversions of 770 ms in 2 s
    assert {bus.id: bus.time_limit_ms for bus in station.buses}["probe-wire"] == 2000 + 4 * 770


def test_the_digest_is_that_of_the_canonical_document() -> None:
    station = config.load(EXAMPLE)
    # RFC 8785 by a library of its own; SHA-256 by the standard library
    assert station.digest == hashlib.sha256(rfc8785.dumps(station.document)).hexdigest()
    assert json.loads(json.dumps(station.document)) == station.document


def test_the_digest_ignores_order_and_comments_but_no_value() -> None:
    text = MINIMAL.read_text(encoding="utf-8")
    first = config.loads(text, MINIMAL).digest
    assert config.loads("# another comment\n" + text, MINIMAL).digest == first
    assert config.loads(text.replace('"39 degC"', '"39.5 degC"'), MINIMAL).digest != first


def test_the_minimal_file_has_two_points_and_is_told_only_of_the_outlet_that_it_lacks() -> None:
    station = config.load(MINIMAL)
    assert [point.id for point in station.settings.points] == ["reservoir", "room"]
    assert [warning.partition("no [[point]] has the role ")[2].split(",")[0] for warning in station.warnings] == [
        "outlet_protection"
    ]
    assert station.not_active == ()
    assert station.buses[0].options["scenario"] == "cold-morning"
    assert station.buses[0].active
    assert station.keep.folder == CONFIG / "warmwell-data"
    reservoir = station.settings.reservoir
    assert reservoir is not None
    assert reservoir.loss_share == pytest.approx(4 / 19)  # the rule is the default


def test_a_harmless_mark_or_line_end_changes_nothing() -> None:
    text = MINIMAL.read_text(encoding="utf-8")
    plain = config.loads(text, MINIMAL)
    assert config.loads(text.replace("\n", "\r\n"), MINIMAL).digest == plain.digest
    assert config.loads(text.replace(" = ", "\t=\t"), MINIMAL).digest == plain.digest


def test_a_byte_order_mark_is_read_over(tmp_path: Path) -> None:
    marked = tmp_path / "station.toml"
    marked.write_bytes(b"\xef\xbb\xbf" + MINIMAL.read_bytes())
    assert config.load(marked).digest == config.load(MINIMAL).digest


REPLAY = """
[station]
site = "harbour-lane"
id = "recorded"
timezone = "America/New_York"
[supply]
pressure = { low = "40 psi", high = "60 psi" }
[[bus]]
id = "recording"
kind = "replay"
[[point]]
id = "supply"
role = "supply_pressure"
every = "1 s"
unit = "psi"
[[point]]
id = "outlet"
role = "outlet_protection"
of = "heater"
every = "1 s"
"""


def test_a_file_for_replay_needs_id_role_every_and_unit() -> None:
    station = config.loads(REPLAY, Path("replay.toml"))
    assert [(point.id, point.unit, point.bus) for point in station.settings.points] == [
        ("supply", "psi", "recording"), ("outlet", "", "recording"),
    ]  # fmt: skip
    assert station.mqtt is None
    assert (station.api.host, station.api.port) == ("127.0.0.1", 8484)


def test_a_section_without_its_points_is_a_warning_and_no_mistake() -> None:
    text = REPLAY + '[reservoir]\nset_point = "39 degC"\ncontact = { minimum = "35 degC" }\n'
    station = config.loads(text, Path("replay.toml"))
    line = text.splitlines().index("[reservoir]") + 1
    warnings = "\n".join(station.warnings)
    assert f"replay.toml line {line}, reservoir: no point has the role reservoir_temperature" in warnings
    assert "neither a room point nor coldest_room" in warnings
    fitted = text + '[not_fitted]\nreservoir_temperature = "1 day"\n'
    assert "no point has the role reservoir_temperature" not in "\n".join(config.loads(fitted, Path("x.toml")).warnings)


SERIAL = """
[station]
site = "harbour-lane"
id = "lines"
timezone = "Europe/Dublin"
[[bus]]
id = "transmitter"
kind = "serial-line"
port = "/dev/serial/by-id/usb-transmitter"
time_limit = "3 s"
[[point]]
id = "supply"
role = "supply_pressure"
bus = "transmitter"
every = "1 s"
max_rate = "20 psi/s"
resolution = "0.1 psi"
range = { low = "-2 psi", high = "150 psi" }
stale_after = "7 s"
text = { pattern = 'P1=(?P<value>\\S+)', unit = "psi", decimal = "comma" }
[[point]]
id = "heater"
role = "outlet_protection"
of = "heater"
bus = "transmitter"
text = { pattern = 'OUTLET=(?P<value>\\w+)', true = "TRIP", false = "OK" }
[alarm.pressure_low]
limit = "38 psi"
re_announce = "10 min"
priority = "high"
[duty.drip-tray]
every = "7 days"
[keep]
folder = "store"
raw = "30 days"
size = "2 GB"
"""


def test_points_of_a_serial_line_with_all_their_settings() -> None:
    station = config.loads(SERIAL, Path("/srv/station.toml"))
    supply, heater = station.settings.points
    assert supply.max_rate_per_s == pytest.approx(20 * PSI_KPA)
    assert supply.resolution == pytest.approx(0.1 * PSI_KPA)
    assert (supply.low, supply.high) == pytest.approx((-2 * PSI_KPA, 150 * PSI_KPA))
    assert (supply.stale_after_ms, supply.unit) == (7000, "psi")
    assert (heater.every_ms, heater.of, heater.unit) == (250, "heater", "")
    bus = station.buses[0]
    assert bus.points["heater"]["text"]["true"] == "TRIP"
    assert (bus.time_limit_ms, bus.period_ms, bus.active) == (3000, 250, True)
    assert station.settings.rules.duties == {"drip-tray": Duty(Every(days=7), "Drip tray")}
    assert station.settings.tuning["pressure_low"].limit == pytest.approx(38 * PSI_KPA)
    assert station.keep == config.KeepPlan(Path("/srv/store"), 30 * 86_400_000, 730 * 86_400_000, None, 2_000_000_000)
    assert station.not_active == ()


def test_an_absolute_sender_reads_one_atmosphere_less() -> None:
    text = SERIAL.replace(
        'unit = "psi", decimal = "comma" }',
        'unit = "mA" }\nloop = { from = "4 mA", to = "20 mA", low = "0 bar", high = "10 bar", kind = "absolute" }',
    ).replace('range = { low = "-2 psi", high = "150 psi" }\n', "")
    point = config.loads(text, Path("x.toml")).settings.points[0]
    margin = 0.05 * 1000
    assert (point.low, point.high) == pytest.approx((-101.325 - margin, 1000 - 101.325 + margin))  # 1 atm, exact
    assert point.unit == "bar"


def test_the_report_of_a_good_file_exits_0() -> None:
    code, text = config.check_report(EXAMPLE)
    assert code == 0
    assert text.splitlines()[0].endswith(f"9 points on 3 buses, settings {config.load(EXAMPLE).digest[:12]}.")
    assert "ca.pem isn't there" in text
    assert "Not active yet" not in text


def test_the_schema_file_is_in_step_with_the_models() -> None:
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == config.schema(), (
        "config/station.schema.json is out of step: run `warmwell schema station > config/station.schema.json`"
    )


@pytest.mark.parametrize("file", [EXAMPLE, MINIMAL], ids=lambda path: path.stem)
def test_the_schema_is_valid_and_takes_the_shipped_files(file: Path) -> None:
    # an independent validator of JSON Schema, draft 2020-12
    jsonschema_rs.meta.validate(config.schema())
    validator = jsonschema_rs.Draft202012Validator(config.schema())
    assert [str(error) for error in validator.iter_errors(config.load(file).document)] == []


@pytest.mark.parametrize(
    "old, new",
    [
        ('set_point = "39 degC"', "set_point = 39"),
        ("[reservoir]", "[reservoirs]"),
        ('role = "room_temperature"', 'role = "romm_temperature"'),
        ('kind = "simulated"', 'kind = "simulatd"'),
        ('site = "harbour-lane"', 'site = "Harbour/Lane"'),
    ],
)
def test_the_schema_refuses_what_an_editor_can_see(old: str, new: str) -> None:
    import tomllib

    text = MINIMAL.read_text(encoding="utf-8")
    assert old in text
    document = tomllib.loads(text.replace(old, new))
    assert not jsonschema_rs.Draft202012Validator(config.schema()).is_valid(document)


def test_the_schema_names_every_section_and_alarm_with_descriptions_and_examples() -> None:
    schema = config.schema()
    assert set(schema["properties"]) == set(SECTIONS)
    assert schema["properties"]["alarm"]["propertyNames"]["enum"] == list(ALARM_IDS)
    reservoir = schema["$defs"]["ReservoirTable"]["properties"]
    assert all("description" in reservoir[key] or "$ref" in reservoir[key] for key in reservoir)
    assert reservoir["set_point"]["examples"]
    assert reservoir["thermostat_band"]["default"] == "0.5 K"
    assert '"null"' not in json.dumps(schema)


def test_a_kind_of_bus_from_another_package_keeps_its_own_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "of_our_own-1.dist-info"
    package.mkdir()
    (package / "METADATA").write_text("Metadata-Version: 2.1\nName: of-our-own\nVersion: 1\n")
    (package / "entry_points.txt").write_text("[warmwell.adapters]\nbarge = of_our_own:Barge\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    text = MINIMAL.read_text(encoding="utf-8").replace(
        'kind = "simulated"\nscenario = "cold-morning"', 'kind = "barge"\ndepth = 3'
    )
    station = config.loads(text.replace('every = "2 s"', 'every = "2 s"\ncabin = [1, 2]'), MINIMAL)
    (bus,) = station.buses
    assert (bus.kind, bus.active, bus.options["depth"], bus.points["reservoir"]["cabin"]) == ("barge", True, 3, [1, 2])
    with pytest.raises(config.UnusableInputs, match="holds a date"):
        config.loads(text.replace("depth = 3", "depth = 2026-03-14"), MINIMAL)


def test_reading_a_file_imports_nothing_heavy() -> None:
    code = (
        "import sys; from pathlib import Path; from edge import config; config.load(Path(sys.argv[1])); "
        "print(sorted({'fastapi', 'paho', 'typer', 'rich', 'serial', 'sqlite_utils', 'asyncio'} & set(sys.modules)))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, str(MINIMAL)],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=CONFIG.parent,
        check=True,
    )
    assert ran.stdout.strip() == "[]"


ENTERED = """
[station]
site = "harbour-lane"
id = "scope-room-2"
title = "Scope room 2"
timezone = "Europe/Dublin"
[[bus]]
id = "people"
kind = "entered"
[[point]]
id = "gauge"
role = "supply_pressure"
bus = "people"
every = "8 h"
unit = "psi"
"""


def test_points_that_people_read_stand_for_two_rounds_and_know_no_rate(tmp_path):
    station = config.loads(ENTERED, tmp_path / "station.toml")
    assert station.not_active == () and station.buses[0].active
    point = station.settings.points[0]
    assert point.by_people and point.stale_after_ms == 16 * 3_600_000 and point.max_rate_per_s is None
    slow = config.loads(ENTERED + 'stale_after = "3 days"\nmax_rate = "1 psi/s"\n', tmp_path / "station.toml")
    assert slow.settings.points[0].stale_after_ms == 3 * 86_400_000
    assert slow.settings.points[0].max_rate_per_s == pytest.approx(6.894757)  # kPa in a psi: SP 811 of NIST, B.8


def test_nobody_reads_a_gauge_each_second(tmp_path):
    with pytest.raises(config.UnusableInputs, match="every"):
        config.loads(ENTERED.replace("8 h", "1 s"), tmp_path / "station.toml")


def test_a_reference_flow_that_no_draw_of_this_station_comes_near_to_is_a_warning() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    limits = 'flow = { low = "2 gal/min", high = "3 gal/min" }'
    assert limits in text and not any("filters.reference" in w for w in config.loads(text, Path("x.toml")).warnings)
    slip = config.loads(text.replace(limits, 'flow = { low = "2 L/min", high = "3 L/min" }'), Path("x.toml"))
    assert any("filters.reference.flow: 2.5 gal/min lies outside what supply.flow allows" in w for w in slip.warnings)


def test_a_role_that_nobody_looks_at_by_eye_is_a_warning() -> None:
    named = EXAMPLE.read_text(encoding="utf-8").replace(
        "[not_fitted]", '[not_fitted]\nbasin_temperature = "1 day"\nleak = "1 day"'
    )
    warned = [w for w in config.loads(named, Path("x.toml")).warnings if "read by eye" in w]
    assert len(warned) == 1 and "not_fitted.basin_temperature: nothing looks at a basin_temperature" in warned[0]
