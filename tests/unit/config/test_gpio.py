"""Lines of a board in the station file: what may be written of them, what is refused, and what is only said."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from edge import config
from edge.domain.errors import UnusableInput

ROOT = Path(__file__).parents[3]
HEAD = """\
[station]
site = "harbour-lane"
id = "scope-room-2"
title = "Scope room 2"
timezone = "Europe/Dublin"
[supply]
pressure = { low = "40 psi", high = "60 psi" }
draw = { starts_above = "0.3 gal/min", ends_below = "0.15 gal/min", steady_after = "15 s" }
stands_for = "24 h"
[[bus]]
id = "lines"
kind = "gpio"
chip = "/dev/gpiochip0"
"""
FLOW = """
[[point]]
id = "flow"
role = "supply_flow"
line = 17
pulses = { per = "1 L", count = 450, maximum_flow = "30 L/min" }
every = "500 ms"
"""
OUTLET = """
[[point]]
id = "machine-outlet"
role = "outlet_protection"
of = "machine"
line = "OUTLET-1"
tripped_when = "open"
bias = "none"
closed_is = "low"
debounce = "30 ms"
"""


def loaded(tmp_path: Path, text: str) -> config.StationFile:
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return config.load(path)


def refused(tmp_path: Path, text: str) -> str:
    with pytest.raises(UnusableInput) as found:
        loaded(tmp_path, text)
    return str(found.value)


def test_lines_by_number_and_by_name_are_read_by_this_version(tmp_path):
    station = loaded(tmp_path, HEAD + FLOW + OUTLET)
    (bus,) = station.buses
    assert bus.active
    assert [table["line"] for table in bus.points.values()] == [17, "OUTLET-1"]
    assert not [text for text in station.not_active if "gpio" in text]


def test_the_shipped_example_has_an_active_bus_of_lines():
    station = config.load(ROOT / "config/station-example.toml")
    assert [bus.active for bus in station.buses if bus.kind == "gpio"] in ([], [True])
    assert tomllib.loads((ROOT / "config/station-example.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "old, new, where, said",
    [
        ("line = 17", "line = -1", "line", "a number from 0 to 1023, or the line's name"),
        ("line = 17", "line = true", "line", "a number from 0 to 1023, or the line's name"),
        ("line = 17", 'line = ""', "line", "a number from 0 to 1023, or the line's name"),
        ("line = 17", 'line = "OUTLET-1"', "line", "reads the same line as point"),
        ('closed_is = "low"', 'closed_is = "down"', "closed_is", '"low" or "high"'),
        ('every = "500 ms"', 'debounce = "10 ms"', "debounce", "at most half of that"),
        ("chip =", 'lines = "imaginary"\nchip =', "lines", '"kernel" or "simulated"'),
        ('maximum_flow = "30 L/min"', 'maximum_flow = "3000 L/min"', "maximum_flow", "is not possible"),
    ],
)
def test_what_can_not_be_is_refused_with_its_place(tmp_path, old, new, where, said):
    text = HEAD + FLOW + OUTLET
    assert text.count(old) == 1
    told = refused(tmp_path, text.replace(old, new))
    assert where in told
    assert said in told


def test_a_meter_of_few_pulses_ends_a_draw_late_and_that_is_said(tmp_path):
    # 60 / (10 /L x 0.5678 L/min) = 10.6 s between pulses at the flow that ends a draw
    station = loaded(tmp_path, HEAD + FLOW.replace("count = 450", "count = 10"))
    assert any("pulses come each 11 s at supply.draw.ends_below" in text for text in station.warnings)
    assert not any("pulses come" in text for text in loaded(tmp_path, HEAD + FLOW).warnings)


def test_a_meter_read_too_seldom_for_the_queue_is_said(tmp_path):
    # 450 /L at 30 L/min: 225 a second, 1024 in 4.55 s
    station = loaded(tmp_path, HEAD + FLOW.replace("500 ms", "6 s"))
    assert any("read it each 4.6 s or sooner" in text for text in station.warnings)
    assert not any("or sooner" in text for text in loaded(tmp_path, HEAD + FLOW).warnings)


def test_a_chip_by_its_number_alone_loads_and_is_warned_of(tmp_path: Path) -> None:
    text = [warning for warning in loaded(tmp_path, HEAD + FLOW).warnings if "chip_label" in warning]
    assert len(text) == 1 and "another chip may have" in text[0]
    labelled = HEAD.replace('gpiochip0"', 'gpiochip0"\nchip_label = "soc"')
    assert not [warning for warning in loaded(tmp_path, labelled + FLOW).warnings if "chip_label" in warning]


@pytest.mark.parametrize("chip", ["/dev/ttyUSB0", "/dev/null", "gpiochip0", "/sys/class/gpio/gpiochip0", "/dev/i2c-1"])
def test_what_can_be_no_chip_is_refused(tmp_path: Path, chip: str) -> None:
    text = refused(tmp_path, HEAD.replace("/dev/gpiochip0", chip) + FLOW)
    assert f"{chip} can't be a GPIO chip" in text
