"""Supervised contacts: normal, tripped, cut and shorted are told apart, pure and through the station file.

That a divider of two equal resistors halves its supply is the definition; the widths of the bands are common practice, no
published source.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from edge import config
from edge.domain.contracts import Raw
from edge.domain.errors import UnusableInput
from edge.domain.readings import REASONS, Kind, Quality, Role
from edge.domain.sensing.supervised import Loop, LoopState
from edge.domain.sensing.transducers import beside_channel, transducer
from edge.domain.settings import Point

LEAK = Point("leak", Role.LEAK, Kind.CONTACT, 250, 10_000, 0.0, 1.0)
#: a contact that closes 2.2 kohm beside the 4.7 kohm at the end of the line
CLOSES = Loop(4700.0, 4700.0 * 2200.0 / 6900.0)
#: one that opens, with 1 kohm across it and 1 kohm at the end
OPENS = Loop(1000.0, 2000.0)


@pytest.mark.parametrize("loop", [CLOSES, OPENS], ids=["closes", "opens"])
@pytest.mark.parametrize("share", [0.81, 0.95, 1.0, 1.05, 1.19])
def test_resistors_of_some_percent_and_leads_are_near_enough(loop, share):
    assert loop.state(loop.normal_ohm * share) is LoopState.NORMAL
    assert loop.state(loop.tripped_ohm * share) is LoopState.TRIPPED


@pytest.mark.parametrize("loop", [CLOSES, OPENS], ids=["closes", "opens"])
def test_cut_and_shorted_are_neither(loop):
    assert loop.state(math.inf) is loop.state(2.0 * max(loop)) is LoopState.CUT
    assert loop.state(0.0) is loop.state(0.5 * min(loop)) is LoopState.SHORTED


@pytest.mark.parametrize("loop", [CLOSES, OPENS], ids=["closes", "opens"])
def test_from_shorted_to_cut_the_states_come_in_order_with_a_gap_between(loop):
    seen = [loop.state(min(loop) * 0.3 * 1.01**n) for n in range(400)]
    changes = [state for before, state in zip([None, *seen], seen, strict=False) if state is not before]
    lower, higher = ("tripped", "normal") if loop is CLOSES else ("normal", "tripped")
    assert changes == ["shorted", "unclear", lower, "unclear", higher, "unclear", "cut"]


WIRED = {
    "supervised": {
        "normal": "1 kohm", "tripped": "2 kohm", "reference": "1 kohm", "supply": "3.3 V", "supply_channel": "voltage3",
    }
}  # fmt: skip


@pytest.mark.parametrize(
    "volts, supply_v, value, reason",
    [
        (1.65, 3.3, 0.0, None),  # 1 kohm
        (2.2, 3.3, 1.0, None),  # 2 kohm
        (2.1, 3.15, 1.0, None),  # 2 kohm too: the supply is measured, and lower
        (3.29, 3.3, None, "sensor_open"),
        (3.35, 3.3, None, "sensor_open"),
        (0.02, 3.3, None, "shorted"),
        (1.95, 3.3, None, "loop_unclear"),  # 1.44 kohm
        (2.2, 2.5, None, "supply_wrong"),
        (2.2, None, None, "no_answer"),
    ],
)
def test_a_supervised_leak_detector(volts, supply_v, value, reason):
    sample = transducer(LEAK, WIRED)(Raw("leak", 1, volts, "V", beside=supply_v))
    assert (sample.value, sample.reason) == (value, reason)
    assert reason is None or REASONS[reason].quality is Quality.BAD


def test_the_supply_is_read_beside_the_loop():
    assert beside_channel(WIRED) == "voltage3"


FILE = """\
[station]
site = "harbour-lane"
id = "scope-room-2"
title = "Scope room 2"
timezone = "Europe/Dublin"
[[bus]]
id = "adc"
kind = "iio"
device = "/sys/bus/iio/devices/iio:device0"
[[point]]
id = "tray"
role = "leak"
bus = "adc"
channel = "voltage1"
every = "250 ms"
supervised = { normal = "4.7 kohm", tripped = "1.5 kohm", reference = "4.7 kohm", supply_channel = "voltage3" }
"""


def loaded(tmp_path: Path, text: str) -> config.StationFile:
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return config.load(path)


def test_the_station_file_takes_a_supervised_loop(tmp_path):
    station = loaded(tmp_path, FILE)
    assert station.buses[0].points["tray"]["supervised"]["normal"] == "4.7 kohm"


@pytest.mark.parametrize(
    "old, new, said",
    [
        ('"1.5 kohm"', '"4 kohm"', "can't be told apart"),
        ('"1.5 kohm"', '"1500"', "no unit"),
        (', supply_channel = "voltage3"', "", "nothing says how a resistance is had"),
        ('"voltage3"', '"voltage1"', "the point's own channel"),
        ('role = "leak"', 'role = "machine_power"', "no rest that could be supervised"),
        ('role = "leak"', 'role = "supply_pressure"', "has no supervised loop"),
        ('tripped = "1.5 kohm", ', "", "tripped"),
        ('supervised = {', '#', "watches a supervised loop"),
    ],
)  # fmt: skip
def test_what_can_not_be_supervised_is_refused(tmp_path, old, new, said):
    assert FILE.count(old) == 1
    with pytest.raises(UnusableInput) as refused:
        loaded(tmp_path, FILE.replace(old, new))
    assert said in str(refused.value)
