"""deploy/wiring.md is as good as it reads: its station-file snippets load, its check figures are what the code makes of them, its
tables are those of the code, its drawings are there and plain.
"""

from __future__ import annotations

import importlib.util
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any
from xml.etree import ElementTree

import pytest

from edge import config
from edge.config.points import ACTIVE_KINDS
from edge.domain.contracts import Raw
from edge.domain.quantities import from_kind
from edge.domain.readings import REASONS
from edge.domain.records.forms import FORMS
from edge.domain.sensing.transducers import transducer
from tests.unit.stations import SETTINGS, Driver

ROOT = Path(__file__).parents[3]
TEXT = (ROOT / "deploy/wiring.md").read_text(encoding="utf-8")
DRAWINGS = sorted((ROOT / "deploy").glob("wiring-*.svg"))
MINIMAL = """\
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

"""


def sections() -> dict[str, str]:
    parts = re.split(r"^## (.+)$", TEXT, flags=re.MULTILINE)[1:]
    return dict(zip(parts[::2], parts[1::2], strict=True))


SNIPPETS = {
    name: code for name, text in sections().items() for code in re.findall(r"^```toml\n(.*?)^```$", text, re.M | re.S)
}


def loaded(name: str) -> config.StationFile:
    return config.loads(MINIMAL + SNIPPETS[name], Path("station.toml"))


# -- station-file snippets


@pytest.mark.parametrize("name", SNIPPETS)
def test_a_snippet_in_a_minimal_file_loads_and_is_read_by_this_version(name: str):
    station = loaded(name)
    assert station.settings.points
    assert station.not_active == ()
    assert all(bus.active for bus in station.buses)
    tables = {point: table for bus in station.buses for point, table in bus.points.items()}
    for point in station.settings.points:
        if not point.by_people:
            transducer(point, tables[point.id])


def test_a_snippet_that_is_wrong_would_be_found():
    good = SNIPPETS["Pressure senders of 4 to 20 mA"]
    with pytest.raises(config.UnusableInputs, match="kind"):
        config.loads(MINIMAL + good.replace(', kind = "gauge"', ""), Path("station.toml"))


def test_every_kind_of_bus_and_every_sensor_that_it_is_about_has_a_snippet():
    documents = [tomllib.loads(code) for code in SNIPPETS.values()]
    assert {bus["kind"] for one in documents for bus in one["bus"]} == ACTIVE_KINDS - {"simulated", "replay"}
    keys = {key for one in documents for point in one["point"] for key in point}
    assert keys >= {"address", "rtd", "ntc", "loop", "ratiometric", "register", "pulses", "supervised", "text"}
    wires = {point["rtd"]["wires"] for one in documents for point in one["point"] if "rtd" in point}
    assert wires == {2, 3, 4}


# -- what it promises of a check


#: (section, point, what stands in the text of what is put in and read, number, unit, beside, value in unit, reason)
FIGURES: list[tuple[str, str, str, float, str, float | None, tuple[float, str] | None, str | None]] = [
    ("Platinum elements", "reservoir", "100.00 ohm reads 0.0 °C", 100.0, "ohm", None, (0.0, "degC"), None),
    ("Platinum elements", "reservoir", "115.15 ohm\nreads 39.0 °C", 115.15, "ohm", None, (39.0, "degC"), None),
    ("Thermistors", "room", "10.00 kohm in place of the thermistor reads 25.0 °C", 1.65, "V", 3.3, (25.0, "degC"), None),
    ("Pressure senders of 4 to 20 mA", "filtered", "4.00 mA reads 0.0 psi", 0.6, "V", None, (0.0, "psi"), None),
    ("Pressure senders of 4 to 20 mA", "filtered", "12.00 mA reads 50.0 psi", 1.8, "V", None, (50.0, "psi"), None),
    ("Pressure senders of 4 to 20 mA", "filtered", "20.00 mA reads\n100.0 psi", 3.0, "V", None, (100.0, "psi"), None),
    ("Pressure senders of 4 to 20 mA", "filtered", "3.50 mA is bad and no number", 0.525, "V", None, None, "loop_open"),
    ("Ratiometric pressure senders", "supply", "0.300 V where the supply is seen as 3.000 V", 0.3, "V", 3.0, (0.0, "psi"), None),
    ("Ratiometric pressure senders", "supply", "4.9 V turn 60 psi into 58.6", 0.6 * 2.9 * 4.9 / 5, "V", 3.0, (58.6, "psi"), None),
    ("Supervised loops", "machine-outlet", "at rest;", 1.65, "V", 3.3, (0.0, "1"), None),
    ("Supervised loops", "machine-outlet", "tripped;", 2.2, "V", 3.3, (1.0, "1"), None),
    ("Supervised loops", "machine-outlet", "one core off;", 3.3, "V", 3.3, None, "sensor_open"),
    ("Supervised loops", "machine-outlet", "both cores bridged.", 0.0, "V", 3.3, None, "shorted"),
    ("Supervised loops", "tray", "at rest;", 2.2, "V", 3.3, (0.0, "1"), None),
    ("Supervised loops", "tray", "tripped;", 1.65, "V", 3.3, (1.0, "1"), None),
    ("Pulse flow meters and contacts on the board's lines", "machine-outlet", "it reads as tripped", 0.0, "closed", None, (1.0, "1"), None),
]  # fmt: skip


@pytest.mark.parametrize("section, point, said, number, unit, beside, expected, reason", FIGURES)
def test_a_commissioning_check_shows_what_the_text_says(
    section: str,
    point: str,
    said: str,
    number: float,
    unit: str,
    beside: float | None,
    expected: Any,
    reason: str | None,
):
    """Platinum: IEC 60751, 100 ohm at 0 degC; 4 to 20 mA: a straight line. The rest is the drawings' own arithmetic (Ohm)."""
    assert said in sections()[section]
    station = loaded(section)
    where = next(p for p in station.settings.points if p.id == point)
    table = next(bus.points[point] for bus in station.buses if point in bus.points)
    sample = transducer(where, table)(Raw(point, 0, number, unit, beside=beside))
    assert sample.reason == reason
    if expected is None:
        assert sample.value is None
    else:
        value, of = expected
        assert sample.value is not None
        shown = sample.value if of == "1" else from_kind(sample.value, of, where.kind)
        assert round(shown, 1) + 0.0 == value


def test_a_sensor_that_was_fitted_owes_a_treatment_until_it_is_recorded():
    assert "warmwell record equipment_change what=sensor_fitted" in TEXT
    assert "warmwell record water_path_treatment contact_min=12" in TEXT
    treated = '[water_path_treatment]\ncontact = "10 min"\n'
    opened_by = config.loads(MINIMAL + treated + SNIPPETS["Thermistors"], Path("x")).settings.clean_side_opened_by
    assert "sensor_fitted" in opened_by, "by default, without a word in the station file"
    driver = Driver(replace(SETTINGS, clean_side_opened_by=opened_by))
    driver.run(130)
    driver.duties_done()
    driver.run(60)
    assert driver.condition("water_path_treatment")["state"] == "met"
    driver.record("equipment_change", what="sensor_fitted")
    driver.run(60)
    assert driver.condition("water_path_treatment")["state"] == "unmet"
    driver.record("daily_test", passed=True)
    driver.run(720, every_s=5)
    driver.record("water_path_treatment", contact_min=12)
    driver.run(60)
    assert driver.condition("water_path_treatment")["state"] == "met"


# -- text


def tables() -> ModuleType:
    spec = importlib.util.spec_from_file_location("warmwell_tables", ROOT / "tests/tables.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_what_it_says_of_failures_is_what_warmwell_says():
    module = tables()
    found = list(module.SAYS.finditer(TEXT))
    assert len(found) == len(SNIPPETS)
    for one in found:
        assert set(one[2].split()) <= set(REASONS)
        assert one[3] == module.says(one[2]) + "\n", "run python tests/tables.py"


@pytest.mark.parametrize("name", SNIPPETS)
def test_each_kind_is_told_in_the_same_order(name: str):
    text = sections()[name]
    parts = ["**Measures** ", "**Parts**", "```toml", "**Commissioning.**", "**When it fails**", "**Common mistakes.**"]
    places = [text.find(part) for part in parts]
    assert -1 not in places and places == sorted(places), dict(zip(parts, places, strict=True))
    assert "](wiring-" in text or "read by eye" in name


def test_cautions_come_first_and_name_what_can_harm():
    first = next(iter(sections()))
    assert first == "Cautions"
    for word in ("Disinfectant", "Mains", "Pressure", "Heat", "licensed electrician only"):
        assert word in sections()[first]


def test_commands_and_records_that_it_names_exist():
    from typer.main import get_command

    from edge.cli.app import app  # here: the command line imports much

    verbs = set(getattr(get_command(app), "commands", {}))
    assert set(re.findall(r"warmwell ([a-z]+) ?", TEXT)) <= verbs
    assert set(re.findall(r"warmwell record (\w+)", TEXT)) <= set(FORMS)
    points = {p.id for name in SNIPPETS for p in loaded(name).settings.points}
    assert set(re.findall(r"warmwell calibrate ([\w-]+)", TEXT)) <= points


def test_places_within_the_page_that_it_points_to_are_there():
    anchors = {re.sub(r"[^\w -]", "", name.lower()).replace(" ", "-") for name in sections()}
    assert set(re.findall(r"\]\(#([\w-]+)\)", TEXT)) <= anchors


# -- drawings


def test_every_drawing_is_shown_and_every_shown_one_is_there():
    assert sorted(re.findall(r"!\[[^\]]+\]\(([\w.-]+)\)", TEXT)) == [path.name for path in DRAWINGS]


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.name)
def test_a_drawing_is_plain_black_on_white_and_says_what_it_shows(path: Path):
    text = path.read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    svg = "{http://www.w3.org/2000/svg}"
    title, desc = root.find(f"{svg}title"), root.find(f"{svg}desc")
    assert title is not None and f"![{title.text}]({path.name})" in TEXT
    assert desc is not None and desc.text and len(desc.text) > 80
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b", text)) <= {"#000", "#fff"}
    assert {element.tag for element in root.iter()} <= {
        svg + tag for tag in "svg title desc style rect polyline polygon circle line path text".split()
    }
    assert "href" not in text and "url(" not in text
    width, height = (float(root.attrib[key]) for key in ("width", "height"))
    for element in root.iter(f"{svg}text"):
        left = float(element.attrib["x"])
        room = (6.0 if element.get("class") == "s" else 7.0) * len(element.text or "")  # half of 12 and 14 px a letter
        start = {"start": left, "middle": left - room / 2, "end": left - room}[element.attrib["text-anchor"]]
        assert start >= -10 and start + room <= width + 10, element.text
        assert 0 < float(element.attrib["y"]) <= height
