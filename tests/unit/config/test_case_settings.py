"""Hard cases of the station file: a mistyped key, and a value whose unit doesn't belong to it.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from edge import config
from edge.config.bounds import ALARM_LIMITS
from edge.config.build import COMPARES
from edge.domain.settings import Settings
from tests.unit.config.test_mistakes import EXAMPLE, sentences
from tests.unit.stations import DRAWING, PSI, QUIET, Driver

PRESSURE = 'pressure = { low = "40 psi", high = "60 psi" }'
LIMITS = 'low = "40 psi", high = "60 psi"'
SENDER = 'low = "0 psi", high = "100 psi"'


def changed(old: str, new: str) -> str:
    assert EXAMPLE.count(old) >= 1, old
    return EXAMPLE.replace(old, new, 1)


def line_of(text: str, what: str) -> int:
    return text[: text.index(what)].count("\n") + 1


# -- C063


def test_c063_what_is_mistyped_is_told_in_one_go_each_at_its_line_with_the_nearest_right_name():
    """A key that nothing has, one in the wrong table, a role, a comma before a brace, a table twice: each is one sentence."""
    text = changed(PRESSURE, 'pressure = { low = "40 psi", high = "60 psi", }\nset_point = "39.5 degC"')
    text = text.replace('role = "reservoir_temperature"', 'role = "reservior_temperature"', 1)
    text = f'suply_min_psi = 35\n{text}\n[supply] # again\nstatic_high = "60 psi"\n'
    wanted = {
        "suply_min_psi = 35": ', suply_min_psi: "suply_min_psi" is not known here (did you mean "supply"?)',
        'high = "60 psi", }': "has a comma before its closing brace; expected no comma there",
        'set_point = "39.5 degC"': ', supply.set_point: key "set_point" is not known here (it belongs in [reservoir])',
        '"reservior_temperature"': 'role "reservior_temperature" is not known (did you mean "reservoir_temperature"?)',
        "[supply] # again": "opens a table that is there already; expected each table once",
    }
    said = sentences(text)
    for sentence, (what, told) in zip(said, wanted.items(), strict=True):  # in the order of lines
        assert re.match(rf"s\.toml line {line_of(text, what)}[,:]", sentence) and told in sentence, sentence


@pytest.mark.parametrize(
    "harmless",
    [
        lambda text: text.replace('"repair"]', '"repair",]', 1),
        lambda text: text.replace(PRESSURE, f"\t{PRESSURE.replace(' = ', chr(9) + '=' + chr(9))}", 1),
        lambda text: text.replace('"40 psi"', '"40\tpsi"', 1),
        lambda text: text.replace("\n", "\r\n"),
    ],
    ids=["a comma behind the last of a list", "tabs", "a tab in a quantity", "CRLF"],
)
def test_c063_what_is_harmless_is_read(harmless: object):
    text = harmless(EXAMPLE)  # type: ignore[operator]
    assert text != EXAMPLE
    assert config.loads(text, Path("s.toml")).settings == config.loads(EXAMPLE, Path("s.toml")).settings


def test_c063_a_byte_order_mark_before_crlf_is_read(tmp_path: Path):
    file = tmp_path / "station.toml"
    file.write_bytes(("\ufeff" + EXAMPLE.replace("\n", "\r\n")).encode("utf-8"))
    assert config.load(file).settings == config.loads(EXAMPLE, file).settings


# -- C064


@pytest.mark.parametrize(
    ("written", "kpa"),
    [
        ('low = "2.8 bar", high = "4.1 bar"', (280.0, 410.0)),
        ('low = "40 PSI", high = "60 PSI"', (40 * PSI, 60 * PSI)),
        ('low = "40 psig", high = "60 psig"', (40 * PSI, 60 * PSI)),
        ('low = "40 lbf/in2", high = "60 lbf/in²"', (40 * PSI, 60 * PSI)),
        ('low = "2100 mmHg", high = "3100 mmHg"', (2100 * 0.133322387415, 3100 * 0.133322387415)),
        ('low = "276 kPa", high = "0.41 MPa"', (276.0, 410.0)),
        ('low = "40 psi", high = "4.1 bar"', (40 * PSI, 410.0)),
    ],
)
def test_c064_every_spelling_is_the_same_pressure(written: str, kpa: tuple[float, float]):
    """Factors: lbf/in2 by the pound, the inch and standard gravity; the conventional millimetre of mercury (exact, from memory)."""
    supply = config.loads(changed(LIMITS, written), Path("s.toml")).settings.supply
    assert supply is not None
    assert (supply.pressure_low_kpa, supply.pressure_high_kpa) == pytest.approx(kpa, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ('low = "40 kPa", high = "60 kPa"', '"40 kPa" is not possible here (did you mean psi?)'),
        ('low = "40", high = "60"', '"40" has no unit; expected a pressure with its unit, "40 psi" or "40 kPa"'),
        ("low = 40, high = 60", "40 has no unit"),
        ('low = "40 mmHg", high = "60 mmHg"', '"40 mmHg" is not possible here (did you mean psi?)'),
        ('low = "40 bar", high = "60 bar"', '"40 bar" is not possible here (did you mean psi?)'),
        ('low = "2.8 psi", high = "4.1 psi"', '"2.8 psi" is not possible here (did you mean bar?)'),
        ('low = "40 pounds", high = "60 psi"', 'unit "pounds" is not known for a pressure'),
    ],
)
def test_c064_what_does_not_belong_together_is_asked(written: str, told: str):
    assert any(", supply.pressure.low: " in s and told in s for s in sentences(changed(LIMITS, written)))


@pytest.mark.parametrize("alarm", ["pressure_low", "pressure_high", "static_high"])
@pytest.mark.parametrize("limit", ["40 kPa", "40 bar"])
def test_c064_an_alarms_own_limit_is_asked_too(alarm: str, limit: str):
    """40 kPa are 5.8 psi: such an alarm would never come."""
    text = re.sub(r"\[alarm\.pressure_low\]\n(?:.+\n)*", f'[alarm.{alarm}]\nlimit = "{limit}"\n', EXAMPLE)
    assert any(f", alarm.{alarm}.limit: " in s and "did you mean psi?" in s for s in sentences(text))


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        (
            'deadband = "1 psi"',
            'deadband = "1 bar"',
            "alarm.pressure_low.deadband",
            '"1 bar" is not possible here (did you mean psi?)',
        ),
        ('deadband = "1 psi"', 'deadband = "100 kPa"', "alarm.pressure_low.deadband", '"100 kPa" is not possible here'),
        (
            'drop_limit = "8 psi"',
            'drop_limit = "8 bar"',
            "filter[coarse].drop_limit",
            '"8 bar" is not possible here (did you mean psi?)',
        ),
    ],
)
def test_c064_so_are_differences_of_pressure(old: str, new: str, key: str, told: str):
    """A deadband of 1 bar is 14.5 psi: from 40 psi such an alarm would end at 54.5."""
    assert any(f", {key}: " in s and told in s for s in sentences(changed(old, new)))


def test_c064_every_alarm_that_compares_has_a_bound():
    assert set(ALARM_LIMITS) == set(COMPARES)


def station_in_bar() -> Settings:
    """A sender of 0 to 10 bar, with its limits in psi."""
    return config.loads(changed(SENDER, 'low = "0 bar", high = "10 bar"'), Path("s.toml")).settings


def test_c064_a_sender_in_bar_under_limits_in_psi_speaks_one_unit_throughout():
    driver = Driver(station_in_bar())
    low = {name: value for name, value in (DRAWING | {"supply": 37 * PSI}).items() if name in driver.station.watches}
    rest = {name: value for name, value in QUIET.items() if name in driver.station.watches}
    driver.run(60, rest)
    driver.run(60, low)
    (told,) = [e.body["cause"] for e in driver.said if e.kind == "alarm" and e.body["id"] == "pressure_low"]
    assert "2.551 bar" in told and "2.758 bar" in told and "psi" not in told  # 37 and 40 psi
    shown = driver.station.points(driver.now)["supply"]["shown"]
    assert (shown["unit"], shown["value"]) == ("bar", pytest.approx(37 * PSI / 100, abs=5e-4))
    assert "bar" in driver.condition("pressure")["text"] and "psi" not in driver.condition("pressure")["text"]
