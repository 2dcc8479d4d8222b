"""What whoever types a record is told at once: slips of the pen and of the unit, and what says nothing.

Units of a concentration (per cent, parts per million, mass and amount per volume) are those in which labels and strips state it: common
practice, no published source. So is that no opened container keeps for two years, and no label's date lies ten years ahead.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from typer.testing import CliRunner

from edge.cli.app import app
from edge.domain.errors import RecordRefused
from edge.domain.readings import Role
from edge.domain.records.border import Asked, asked_by, refuse
from edge.domain.records.commissioning import items_of
from edge.domain.settings import Commissioning, CommissioningItem, Level, Rules
from tests.unit.stations import MONDAY, SETTINGS

OWN = {
    "tray": CommissioningItem(title="Tray empty"),
    "hardness": CommissioningItem(title="Hardness", quantity="conductivity"),
}
LIST = items_of(replace(SETTINGS, rules=Rules(commissioning=Commissioning(items=OWN))))
ASKED = Asked(
    ("left", "right"),
    {
        "tray": Role.LEAK,
        "heater-outlet": Role.OUTLET_PROTECTION,
        "power": Role.MACHINE_POWER,
        "supply": Role.SUPPLY_PRESSURE,
    },
    {"sample": Level(10.0, "CFU/100 mL")},
    {item.id: item for item in LIST},
    asked_by(SETTINGS).ranges,
)


def refused(body: dict[str, Any]) -> str:
    with pytest.raises(RecordRefused) as told:
        refuse({"by": "kim"} | body, ASKED, MONDAY)
    return str(told.value)


@pytest.mark.parametrize(
    "body, said",
    [
        ({"record": "entered_reading", "point": "tray", "value": "leaking"}, "expected dry or wet"),
        ({"record": "entered_reading", "role": "leak", "value": "leaking"}, "expected dry or wet"),
        ({"record": "entered_reading", "point": "heater-outlet", "value": "off"}, "expected ok or tripped"),
        ({"record": "entered_reading", "point": "power", "value": 1}, "expected off or on"),
        ({"record": "service", "duty": "sample", "value": "3 NTU"}, "expected a result in CFU/100 mL"),
        ({"record": "service", "duty": "sample", "value": 3, "unit": "psi"}, "it is '3 psi'"),
        ({"record": "concentration_check", "passed": True, "value": "44 psi"}, "a concentration in %"),
        ({"record": "concentration_check", "passed": True, "value": 35, "unit": "degC"}, "it is '35 degC'"),
        ({"record": "concentration_check", "passed": True, "value": "999 %"}, "at most 20 %"),
        ({"record": "concentration_check", "passed": True, "value": "35", "unit": "%"}, "it is '35 %'"),
        ({"record": "concentration_check", "passed": True, "value": "250000 ppm"}, "at most 200000 ppm"),
        ({"record": "concentration_check", "passed": True, "value": "0,5 g/mL"}, "at most 0.2 g/mL"),
        ({"record": "concentration_check", "passed": True, "value": "11000 mmol/L"}, "at most 10000 mmol/L"),
        ({"record": "commissioning", "item": "static", "value": "999 psi"}, "expected -50 to 1500 kPa"),
        ({"record": "commissioning", "item": "drawn", "value": 62, "unit": "L/min"}, "expected -1 to 60 L/min"),
        ({"record": "commissioning", "item": "drop:fine", "value": "-1200 kPa"}, "-1135 to 1135 kPa"),
        (
            {"record": "commissioning", "item": "decay", "before": "52 psi", "after": "520 psi"},
            "after: it is '520 psi'",
        ),
        (
            {"record": "commissioning", "item": "bucket", "litres": 9, "seconds": 60, "value": "70 L/min"},
            "nothing else can be read here",
        ),
        ({"record": "commissioning", "item": "dynamic", "value": "50 bananas"}, "it is '50 bananas'"),
        ({"record": "disinfectant_fill", "opened": "2009-05"}, "17 years ago"),
        ({"record": "disinfectant_fill", "expires": "2099-03"}, "Read the label again"),
        ({"record": "concentration_check", "passed": True, "expires": "2001-03"}, "no label goes further"),
        ({"record": "filter_change", "filter": "fine", "at": "2006-03-16T07:10:00Z"}, "within the last 10 years"),
        ({"record": "filter_change", "filter": "fine", "at": "2026-03-17T07:10:00Z"}, "expected a time that is past"),
        ({"record": "water_path_treatment", "began_at": "2026-03-17T07:10:00Z"}, "began_at: it is 2026-03-17"),
        ({"record": "entered_reading", "point": "supply", "value": "50 bananas"}, "the unit 'bananas' is not known"),
        (
            {"record": "entered_reading", "point": "supply", "value": 50, "unit": "stone"},
            "the unit 'stone' is not known",
        ),
        ({"record": "service"}, "which duty, filter or point"),
        ({"record": "service", "note": "see the log"}, "which duty, filter or point"),
        ({"record": "service", "what": "  "}, "text of 1 to 200 characters"),
        ({"record": "note"}, "text: it is missing"),
        ({"record": "commissioning", "item": "standpipe"}, "passed: it is missing"),
        ({"record": "commissioning", "item": "tray", "note": "looked"}, "passed: it is missing"),
        ({"record": "commissioning", "item": "calibration:supply"}, "passed: it is missing"),
        ({"record": "commissioning", "item": "hardness", "passed": False}, "value: it is missing"),
        ({"record": "commissioning", "item": "bucket", "litres": 9}, "seconds: it is missing"),
        ({"record": "commissioning", "item": "decay", "after": "52 psi"}, "before: it is missing"),
        (
            {"record": "commissioning", "item": "x", "not_applicable": "no", "passed": True},
            "either why it does not apply",
        ),
        (
            {"record": "commissioning", "item": "zero:supply", "not_applicable": "no", "value": "0 psi"},
            "value is told beside it",
        ),
        ({"record": "note", "text": " "}, "it is empty"),
        ({"record": "hold", "note": ""}, "it is empty"),
        ({"record": "shelve", "alarm": "leak", "minutes": 0}, "1 to 1440"),
        ({"record": "correction", "of": 0}, "it is 0; expected 1 or more"),
        (
            {"record": "daily_test", "channel_ports": [{"port": 3, "seconds": 0}]},
            "seconds: it is 0; expected 1 to 86400",
        ),
    ],
    ids=str,
)
def test_what_can_not_be_meant_so_is_refused_with_what_would_do(body: dict[str, Any], said: str) -> None:
    sentence = refused(body)
    assert said in sentence and sentence.count("; expected ") == 1 and sentence.endswith(".")


@pytest.mark.parametrize(
    "body",
    [
        {"record": "entered_reading", "point": "tray", "value": " Wet. "},
        {"record": "entered_reading", "role": "laek", "value": "wet"},
        {"record": "entered_reading", "role": "machine_power", "value": "wet"},
        {"record": "entered_reading", "point": "power", "value": "off"},
        {"record": "entered_reading", "point": "supply", "value": "44 psi"},
        {"record": "entered_reading", "point": "supply", "value": "0.5 psig"},
        {"record": "service", "duty": "sample", "value": "<1 CFU/mL"},
        {"record": "service", "duty": "sample", "value": ">300 CFU/100 mL"},
        {"record": "service", "duty": "sample", "value": "too many to count"},
        {"record": "service", "opened_clean_side": True},
        {"record": "concentration_check", "passed": True, "value": "0.35 % w/v"},
        {"record": "concentration_check", "passed": False, "value": "<1500 ppm"},
        {"record": "concentration_check", "passed": True, "value": 3.5, "unit": "g/L"},
        {"record": "concentration_check", "passed": True, "value": "7.5 %"},
        {"record": "commissioning", "item": "static", "value": "55 psi"},
        {"record": "commissioning", "item": "zero:supply", "value": "-0.2 psi"},
        {"record": "disinfectant_fill", "opened": "2026-03-14", "expires": "2025-12"},
        {"record": "note", "note": "the plumber was here"},
        {"record": "commissioning", "item": "standpipe", "passed": False},
        {"record": "commissioning", "item": "standpipe", "not_applicable": "it hangs on the wall"},
        {"record": "commissioning", "item": "static"},  # the station takes its own reading
        {"record": "commissioning", "item": "outlet:heater"},
        {"record": "commissioning", "item": "nowhere"},  # the station knows its list
        {"record": "hold", "basin": "left", "at": "2026-03-16T05:54:00Z"},
    ],
    ids=str,
)
def test_what_can_be_meant_so_passes(body: dict[str, Any]) -> None:
    refuse({"by": "kim"} | body, ASKED, MONDAY)


@pytest.mark.parametrize(
    "words, said",
    [
        (["entered_reading", "role=leak", "value=leaking"], "dry or wet"),
        (["concentration_check", "passed=yes", "value=44 psi"], "a concentration in %"),
        (["note"], "text: it is missing"),
        (["shelve", "alarm=leak", "minutes=0"], "1 to 1440"),
    ],
)
def test_the_command_line_refuses_it_before_it_is_sent(words: list[str], said: str) -> None:
    told = CliRunner().invoke(app, ["record", *words, "--by", "kim", "--url", "http://127.0.0.1:9"])
    assert told.exit_code == 2 and said in told.output and "nobody answers" not in told.output
