"""Settings that were renamed: understood by their former names, told, and kept by their present ones alone."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from edge import config
from edge.config import former
from edge.config.former import Renamed
from edge.config.sections import schema

ROOT = Path(__file__).parents[3]
FILE = Path("station.toml")
HEAD = '[station]\nsite = "harbour-lane"\nid = "scope-room-2"\ntimezone = "Europe/Dublin"\n\n'
PROBES = HEAD + (
    '[[bus]]\nid = "probes"\nkind = "onewire"\nroot = "/sys/bus/w1/devices"\n\n'
    '[[point]]\nid = "reservoir"\nrole = "reservoir_temperature"\naddress = "28-0316a2795cff"\nevery = "2 s"\n'
)
LOOP = HEAD + (
    '[[bus]]\nid = "bench"\nkind = "iio"\ndevice = "ads1015"\n\n[[point]]\nid = "supply"\nrole = "supply_pressure"\nevery = "1 s"\n'
    'channel = "voltage0"\n'
    'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge", burden = "150 ohm" }\n\n'
    '[alarm.pressure_low]\non_delay = "40 s"\n'
)


def called(*rows: Renamed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(former, "FORMER", rows)


def notices(plan: config.StationFile) -> list[str]:
    return [text for text in plan.warnings if "since version" in text]


@pytest.mark.parametrize("row", former.FORMER, ids=lambda row: row.was)
def test_each_row_leads_from_a_name_that_is_gone_to_one_that_there_is(row: Renamed) -> None:
    table, _, was = row.was.rpartition(".")
    assert row.now.rpartition(".")[0] == table and was != row.now.rpartition(".")[2]
    assert f"\n## {row.since} - " in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    document = schema()

    def tables(part: dict, steps: list[str]) -> list[dict]:
        """The tables of the schema that such a name leads into."""
        part = document["$defs"][part["$ref"].rpartition("/")[2]] if "$ref" in part else part
        ways = [one for way in ("anyOf", "oneOf") for one in part.get(way, ())]
        if ways:
            return [found for one in ways for found in tables(one, steps)]
        if steps and steps[0].startswith("["):
            kind = steps[0].strip("[]")
            rows = tables(part.get("items", {}), [])
            return [
                found
                for row in rows
                if kind in ("", row.get("properties", {}).get("kind", {}).get("const"))
                for found in tables(row, steps[1:])
            ]
        if steps:
            inner = part.get("additionalProperties") if steps[0] == "*" else part.get("properties", {}).get(steps[0])
            return tables(inner, steps[1:]) if inner else []
        return [part]

    found = tables(document, re.findall(r"\[\w*\]|\*|[\w-]+", table))
    assert found and all(row.now.rpartition(".")[2] in one["properties"] for one in found)
    assert not any(was in one["properties"] for one in found)


def test_a_file_of_before_is_the_same_station_and_says_what_its_line_is_to_be() -> None:
    now, then = config.loads(PROBES, FILE), config.loads(PROBES.replace("root =", "folder ="), FILE)
    assert (then.digest, then.document, then.settings, then.buses) == (
        now.digest,
        now.document,
        now.settings,
        now.buses,
    )
    assert notices(now) == [] and notices(then) == [
        (
            "station.toml line 9, bus[probes].folder: folder is called root since version 0.1.0, and is understood; "
            'write line 9 as: root = "/sys/bus/w1/devices".'
        )
    ]
    corrected = PROBES.replace("root =", "folder =").splitlines()
    corrected[8] = notices(then)[0].partition("write line 9 as: ")[2].removesuffix(".")
    assert "\n".join(corrected) + "\n" == PROBES
    other = PROBES.replace("root =", "folder =").replace("onewire", "simulated")
    with pytest.raises(config.UnusableInputs, match=r"line 9, bus\[probes\].folder: key \"folder\" is not known here"):
        config.loads(other, FILE)  # no bus of another kind ever had it


def test_both_names_in_one_place_are_refused_and_a_mistake_is_told_by_the_name_that_stands_there() -> None:
    with pytest.raises(config.UnusableInputs) as both:
        config.loads(PROBES.replace("root =", 'folder = "/sys"\nroot ='), FILE)
    assert str(both.value) == (
        "station.toml line 9, bus[probes].folder: folder and root both stand here, and folder is a former name of root; "
        "expected root alone. Remove folder."
    )
    with pytest.raises(config.UnusableInputs) as wrong:
        config.loads(PROBES.replace('root = "/sys/bus/w1/devices"', "folder = 5"), FILE)
    assert str(wrong.value).startswith("station.toml line 9, bus[probes].folder: is 5; expected a folder")
    assert len(wrong.value) == 1
    with pytest.raises(config.UnusableInputs) as slip:
        config.loads(PROBES.replace('root = "/sys/bus/w1/devices"', "folder = /sys"), FILE)
    assert [str(one).partition(":")[0] for one in slip.value] == ["station.toml line 9"]


@pytest.mark.parametrize(
    ("rows", "was", "now"),
    [
        ([Renamed("alarm.*.late", "alarm.*.on_delay", "0.1.0")], "late =", "on_delay ="),
        ([Renamed("alert", "alarm", "0.1.0")], "[alert.", "[alarm."),
        ([Renamed("point[].input", "point[].channel", "0.1.0")], '"input" =', "channel ="),
        ([Renamed("point[].loop.full", "point[].loop.high", "0.1.0")], "full =", "high ="),
        ([Renamed("point[].wire.low", "point[].wire.least", "0.1.0")], "low =", "low ="),  # nothing of that name
    ],
    ids=["any name", "a table", "quoted", "inside a line", "absent"],
)
def test_names_of_every_shape(rows: list[Renamed], was: str, now: str, monkeypatch: pytest.MonkeyPatch) -> None:
    present = config.loads(LOOP, FILE)
    called(*rows, monkeypatch=monkeypatch)
    text = LOOP.replace(now, was)
    then = config.loads(text, FILE)
    assert (then.digest, then.document) == (present.digest, present.document)
    lines = [number for number, line in enumerate(text.splitlines(), 1) if was in line]
    if was == now:
        assert notices(then) == []
        return
    (said,) = notices(then)
    assert said.startswith(f"station.toml line {lines[0]}, ")
    line, _, elsewhere = (
        said.partition(f"write line {lines[0]} as: ")[2].removesuffix(".").partition(", and alarm wherever")
    )
    assert line.replace('"channel"', "channel") in LOOP and bool(elsewhere) == now.startswith("[")


def test_a_setting_that_was_renamed_even_twice_undoes_no_calibration(monkeypatch: pytest.MonkeyPatch) -> None:
    """A calibration is bound to a digest of its point's settings: the one that the first version made of them."""
    loop = {"from": "4 mA", "to": "20 mA", "low": "0 psi", "most": "100 psi", "kind": "gauge", "burden": "150 ohm"}
    first = {"input": "voltage0", "current": loop}
    digest = hashlib.sha256(json.dumps(first, sort_keys=True).encode()).hexdigest()[:16]
    called(
        Renamed("point[].input", "point[].channel", "0.1.0"),
        Renamed("point[].pin", "point[].channel", "0.2.0"),
        Renamed("point[].current", "point[].loop", "0.2.0"),
        Renamed("point[].loop.most", "point[].loop.high", "0.3.0"),
        monkeypatch=monkeypatch,
    )
    for old in ({}, {"channel": "input", "loop =": "current =", "high": "most"}, {"channel": "pin"}, {"high": "most"}):
        text = LOOP
        for now, was in old.items():
            text = text.replace(now, was)
        plan = config.loads(text, FILE)
        assert [point.transducer for point in plan.settings.points] == [digest]
        assert len(notices(plan)) == len(old)


def test_what_the_journal_keeps_of_an_earlier_version_is_read() -> None:
    document = dict(config.loads(PROBES, FILE).document)
    (bus,) = document["bus"]
    older = {**document, "bus": [{"folder" if key == "root" else key: value for key, value in bus.items()}]}
    assert config.settings_of(older) == config.settings_of(document)
    assert older["bus"][0]["folder"] == "/sys/bus/w1/devices", "what was handed over stays as it was"


def test_a_file_that_several_stations_share_is_understood_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    called(Renamed("alarm.*.late", "alarm.*.on_delay", "0.1.0"), monkeypatch=monkeypatch)
    (tmp_path / "alarms.toml").write_text('[alarm.leak]\nlate = "5 s"\n', encoding="utf-8")
    plan = config.loads(PROBES.replace("timezone", 'alarms = "alarms.toml"\ntimezone'), tmp_path / "station.toml")
    assert plan.settings.tuning["leak"].on_delay_ms == 5000 and plan.document["alarm"] == {"leak": {"on_delay": "5 s"}}
    (said,) = notices(plan)
    assert said.startswith(f"{tmp_path}/alarms.toml line 2, alarm.leak.late: late is called on_delay")
