"""Replay: no look-ahead, the data's own time, plain sentences for what can't be used."""

from __future__ import annotations

import io
import json
import math
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from edge.domain.errors import UnusableInput
from edge.replay.replay import main
from edge.replay.rows import time_of

START = datetime(2026, 3, 16, 5, 50, tzinfo=UTC)
POINTS = {
    "reservoir": ("reservoir_temperature", "degC"), "room": ("room_temperature", "degC"), "supply": ("supply_pressure", "psi"),
    "flow": ("supply_flow", "gal/min"), "heater": ("outlet_protection", ""), "power": ("machine_power", ""),
}  # fmt: skip
STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
title = "Scope room 2"
timezone = "Europe/Dublin"

[reservoir]
set_point = "39.5 degC"
thermostat_band = "0.5 K"
warm_up_limit = "2 h"
contact = { minimum = "35 degC", maximum = "40 degC" }
transfer_loss = { loss = "4 K", room = "20 degC", measured = false }
coldest_room = "18 degC"

[supply]
pressure = { low = "40 psi", high = "60 psi" }
flow = { low = "2 gal/min", high = "3 gal/min" }
draw = { starts_above = "0.3 gal/min", ends_below = "0.15 gal/min", steady_after = "15 s" }
stands_for = "24 h"

[[bus]]
id = "recording"
kind = "replay"
""" + "".join(
    f'\n[[point]]\nid = "{ident}"\nrole = "{role}"\nbus = "recording"\nevery = "1 s"\n'
    + (f'unit = "{unit}"\n' if unit else "")
    + ('of = "heater"\n' if ident == "heater" else "")
    for ident, (role, unit) in POINTS.items()
)


def stamp(seconds: float) -> str:
    return (START + timedelta(seconds=seconds)).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def morning(rows: int, *, psi: float = 1.0, unit: str = "psi", separator: str = ",", every_s: int = 1) -> str:
    lines = [separator.join(["time", "reservoir", "room", f"supply [{unit}]", "flow", "heater", "power"])]
    for i in range(0, rows * every_s, every_s):
        liquid = 84.0 - 60.0 * math.exp(-i / 19_000)
        drawing = 3000 < i % 5000 < 3060
        pressure = (38.0 if i % 10_000 > 5000 else 46.0) if drawing else 55.0
        cells = [
            stamp(i),
            f"{round(liquid * 16) / 16}",
            "21.5",
            repr(pressure * psi),
            "2.4" if drawing else "0",
            "ok",
            "on",
        ]
        lines.append(separator.join(cells))
    return "\n".join(lines) + "\n"


@pytest.fixture
def run(tmp_path: Path) -> Any:
    (tmp_path / "station.toml").write_text(STATION, encoding="utf-8")

    def go(data: str | bytes, records: str | None = None, **more: Any) -> list[dict[str, Any]]:
        (tmp_path / "data.csv").write_bytes(data.encode() if isinstance(data, str) else data)
        listed = None
        if records is not None:
            listed = tmp_path / "records.jsonl"
            listed.write_text(records, encoding="utf-8")
        out = io.BytesIO()
        go.out = out  # type: ignore[attr-defined]
        assert (
            main(
                tmp_path / "station.toml",
                tmp_path / "data.csv",
                records=listed,
                form="jsonl",
                stdout=out,
                stderr=io.StringIO(),
                **more,
            )
            == 0
        )
        return [json.loads(line) for line in out.getvalue().splitlines()]

    return go


def test_a_morning_from_cold_to_warm(run: Any) -> None:
    lines = run(morning(7000))
    alarms = [line["body"] for line in lines if line["type"] == "entry" and line["kind"] == "alarm"]
    assert [(a["id"], a["to"]) for a in alarms if a["id"] == "reservoir_cold"] == [
        ("reservoir_cold", "unacknowledged"),
        ("reservoir_cold", "returned_unacknowledged"),
    ]
    verdicts = [line for line in lines if line["type"] == "verdict"]
    assert verdicts[0]["verdict"] == "not_ready" and verdicts[-1]["verdict"] == "ready"
    assert [v["at"] for v in verdicts[:3]] == [
        "2026-03-16T05:50:00.000Z",
        "2026-03-16T05:51:00.000Z",
        "2026-03-16T05:52:00.000Z",
    ]
    assert lines[-1]["type"] == "summary"
    assert lines[-1]["rows"] == 7000 and lines[-1]["readings"] == 42_000 and lines[-1]["bad"] == 0
    assert lines[-1]["alarms"] == {"reservoir_cold": 1} and lines[-1]["span_s"] == 6999.0
    entries = [line for line in lines if line["type"] == "entry"]
    assert [e["seq"] for e in entries] == list(range(1, len(entries) + 1)) and {e["boot"] for e in entries} == {
        "replay"
    }
    assert set(verdicts[0]) >= {
        "type",
        "at",
        "verdict",
        "phase",
        "expected_at",
        "earliest",
        "latest",
        "waits_for",
        "conditions",
    }
    assert set(verdicts[0]["conditions"][0]) >= {"id", "state", "text", "since", "expected_at"}


def test_the_first_rows_print_a_prefix_of_the_whole(run: Any) -> None:
    run(morning(4000), estimates_every_ms=60_000)
    whole = run.out.getvalue()
    for rows in (1, 60, 61, 3030):
        lines = run(morning(rows), estimates_every_ms=60_000)
        closing = 1 + sum(
            line["type"] in ("verdict", "estimate") and line["at"] == lines[-2]["at"] for line in lines[-20:]
        )
        start = b"\n".join(run.out.getvalue().splitlines()[:-closing])
        assert whole.startswith(start), rows
        assert lines[-closing]["type"] == "verdict"


def test_psi_and_kpa_give_the_same_alarms(run: Any) -> None:
    def told(lines: list[dict[str, Any]]) -> list[Any]:
        return [
            (e["at"], e["body"]["id"], e["body"]["to"]) for e in lines if e["type"] == "entry" and e["kind"] == "alarm"
        ]

    psi = told(run(morning(1_640, every_s=5)))
    assert ("pressure_low" in {ident for _, ident, _ in psi}) and psi == told(
        run(morning(1_640, psi=6.894757293168361, unit="kPa", every_s=5))
    )


def test_semicolons_are_found_by_themselves(run: Any) -> None:
    run(morning(300))
    commas = run.out.getvalue()
    run(morning(300, separator=";"))
    assert run.out.getvalue() == commas


def test_deadlines_between_rows_bear_their_own_time(run: Any) -> None:
    data = f"time,reservoir,room\n{stamp(0)},25,21\n{stamp(1)},25,21\n{stamp(1000)},25,21\n"
    lines = run(data)
    silent = next(
        e for e in lines if e["type"] == "entry" and e["kind"] == "alarm" and e["body"]["id"] == "silent:reservoir"
    )
    assert 1_000 < silent["mono_ms"] <= 61_001 and silent["at"] == stamp(silent["mono_ms"] / 1000)
    assert [v["at"] for v in lines if v["type"] == "verdict"] == [stamp(60 * i) for i in range(17)] + [stamp(1000)]


def test_an_alarm_whose_delay_ends_at_a_row_that_is_right_again_is_none(run: Any) -> None:
    def data(last_cold: int) -> str:
        return "time,reservoir,room\n" + "".join(
            f"{stamp(i)},{25 if i <= last_cold else 39.6},21.5\n" for i in range(0, 300, 5)
        )

    def cold(lines: list[dict[str, Any]]) -> int:
        return sum(e["type"] == "entry" and e["kind"] == "alarm" and e["body"]["id"] == "reservoir_cold" for e in lines)

    assert cold(run(data(115))) == 0, "two minutes of on-delay: right again at the very instant"
    assert cold(run(data(120))) == 2


def test_a_record_at_the_instant_of_a_deadline_does_not_settle_it_before_the_row_of_that_instant(run: Any) -> None:
    data = "time,reservoir,room\n" + "".join(f"{stamp(i)},{25 if i < 120 else 39.6},21.5\n" for i in range(0, 300, 5))
    note = json.dumps({"record": "note", "by": "x", "text": "looked at", "at": stamp(120)})
    lines = run(data, note)
    assert not [
        e for e in lines if e["type"] == "entry" and e["kind"] == "alarm" and e["body"]["id"] == "reservoir_cold"
    ]
    (kept,) = (e for e in lines if e["type"] == "entry" and e["kind"] == "record")
    assert kept["at"] == stamp(120)


def test_nothing_stands_since_later_than_now_after_a_row_that_went_back(run: Any) -> None:
    rows = [(i, 25.0) for i in range(0, 1200, 5)] + [(i - 3600, 25.0) for i in range(1200, 1500, 5)]
    lines = run("time,reservoir,room\n" + "".join(f"{stamp(i)},{c},21.5\n" for i, c in rows))
    back = next(n for n, e in enumerate(lines) if e.get("kind") == "clock_step")
    verdicts = [line for line in lines[back:] if line["type"] == "verdict"]
    assert len(verdicts) > 4
    for verdict in verdicts:
        for condition in verdict["conditions"]:
            assert condition["since"] <= verdict["at"], condition["id"]
    cold = next(c for c in verdicts[-1]["conditions"] if c["id"] == "reservoir")
    stood = datetime.fromisoformat(verdicts[-1]["at"]) - datetime.fromisoformat(cold["since"])
    assert stood == timedelta(seconds=1490), (
        "unmet since the first row, however the clock was set; a step takes one interval"
    )


def test_a_row_that_goes_back_is_a_clock_step(run: Any) -> None:
    rows = [0, 10, 20, 30, -3570, -3560]
    lines = run("time,reservoir,room\n" + "".join(f"{stamp(s)},25,21\n" for s in rows))
    step = next(e for e in lines if e["type"] == "entry" and e["kind"] == "clock_step")
    assert step["body"]["by_ms"] == -3_600_000 and step["mono_ms"] == 40_000 and step["at"] == stamp(-3570)
    assert lines[-1]["span_s"] == 50.0


def test_blank_nan_and_bad_cells(run: Any) -> None:
    lines = run(
        f"time,reservoir,room,heater\n{stamp(0)},25,21,ok\n{stamp(1)},NaN,,tripped\n{stamp(2)},bad:crc,bad:whatever,1\n{stamp(3)},inf,21,0\n"
    )
    assert lines[-1]["readings"] == 11 and lines[-1]["bad"] == 4
    told = [
        e["body"]["to"]
        for e in lines
        if e["type"] == "entry" and e["kind"] == "alarm" and e["body"]["id"] == "outlet_tripped:heater"
    ]
    assert told == ["unacknowledged", "returned_unacknowledged"]


def test_records_apply_before_readings_of_their_instant(run: Any) -> None:
    records = "\n".join(
        json.dumps(r)
        for r in (
            {"record": "work_begins", "by": "biomed", "at": stamp(10)},
            {"record": "note", "by": "biomed", "at": stamp(-86_400)},
            {"record": "work_ends", "by": "biomed", "at": stamp(20)},
            {"record": "note", "by": "biomed", "at": stamp(9999)},
        )
    )
    lines = run(morning(40), records, verdict_every_ms=10_000)
    assert [v["phase"] for v in lines if v["type"] == "verdict"] == ["idle", "at_work", "idle", "idle", "idle"]
    kinds = [
        (e["at"], e["kind"], e["body"].get("record")) for e in lines if e["type"] == "entry" and e["kind"] == "record"
    ]
    assert [k[2] for k in kinds] == ["note", "work_begins", "work_ends"]


def test_unix_seconds_and_several_rows_of_one_time(run: Any) -> None:
    seconds = START.timestamp()
    lines = run(f"time,reservoir,room\n{seconds},25,\n{seconds},,21\n{seconds + 1.5},25,21\n")
    assert lines[-1]["span_s"] == 1.5 and lines[-1]["rows"] == 3


def test_out_keeps_a_journal_that_verifies(run: Any, tmp_path: Path) -> None:
    from edge.store.verify import verify

    lines = run(morning(300), out=tmp_path / "kept")
    assert (tmp_path / "kept" / "lines.txt").read_bytes() == run.out.getvalue()
    assert verify(tmp_path / "kept", None).ok
    with pytest.raises(UnusableInput, match="not empty"):
        run(morning(3), out=tmp_path / "kept")
    assert lines[-1]["entries"] > 3


REFUSED = {
    "empty": (b"", "line 1: it is empty"),
    "no time": (b"when,reservoir\n1,2\n", "line 1: unknown column 'when'"),
    "no time at all": (b"reservoir,room\n1,2\n", "no column 'time'"),
    "unknown column": (b"time,resevoir\n0,1\n", "'reservoir' perhaps"),
    "column twice": (b"time,room,room [degC]\n0,1,2\n", "column 'room' twice"),
    "wrong unit": (b"time,supply [degC]\n0,1\n", "column 'supply'"),
    "no such unit": (b"time,supply [pis]\n0,1\n", "column 'supply'"),
    "unit of a contact": (b"time,heater [V]\n0,1\n", "none for a contact"),
    "mixed separators": (b"time,room,supply\n1773640200,21,55\n1773640201;21;55\n", "line 3: 1 field; expected 3, separated by ','"),
    "mixed separators in the header": (b"time,room;supply\n1773640200,21;55\n", "line 1: both ',' and ';' in the header"),
    "tabs": (b"time\troom\n1773640200\t21\n", "line 1: tabs in the header"),
    "another contact's word": (b"time,heater\n1773640200,wet\n", "line 2, column heater: 'wet' is no reading; expected ok or tripped"),
    "text in a number": (b"time,room\n1773640200,warm\n", "line 2, column room: 'warm' is no reading"),
    "decimal comma": (b'time;room\n1773640200;39,1\n', "decimal comma"),
    "underscore": (b"time,room\n1773640200,1_0\n", "'1_0' is no reading"),
    "digits of another script": ("time,room\n1773640200,٢١\n".encode(), "'٢١' is no reading"),
    "time in digits of another script": ("time,room\n١٧٧٣٦٤٠٢٠٠,21\n".encode(), "is no such time"),
    "a header of time alone": (b"time\n1773640200\n", "line 1: no column but 'time'"),
    "hexadecimal": (b"time,room\n1773640200,0x10\n", "'0x10' is no reading"),
    "time without zone": (b"time,room\n2026-03-16T05:50:00,21\n", "line 2, column time"),
    "time that is none": (b"time,room\n2026-03-16T24:61:00Z,21\n", "column time"),
    "a week date": (b"time,room\n2026-W12-1T05:50:00Z,21\n", "column time"),
    "the year 3000": (b"time,room\n32503680000,21\n", "column time"),
    "blank time": (b"time,room\n,21\n", "column time"),
    "not UTF-8": (b"time,room\n1773640200,21\xff\n", "line 2: byte 14 is not UTF-8"),
    "no rows": (b"time,room\n", "no rows below the header"),
    "open quote": (b'time,room\n"1773640200,21\n', "quotes that don't close"),
}  # fmt: skip


@pytest.mark.parametrize(("data", "said"), REFUSED.values(), ids=list(REFUSED))
def test_a_file_that_cannot_be_used_gets_one_sentence(run: Any, data: bytes, said: str) -> None:
    with pytest.raises(UnusableInput) as refused:
        run(data)
    text = str(refused.value)
    assert said in text and "data.csv" in text and "expected" in text and "\n" not in text
    assert b"summary" not in run.out.getvalue()


def test_lines_already_printed_stand(run: Any) -> None:
    with pytest.raises(UnusableInput):
        run(morning(200) + "rubbish\n")
    assert run.out.getvalue().count(b'"type":"verdict"') == 4


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ("{", "line 1: the line is no JSON"),
        ("[]", "line 1: not a JSON object"),
        ('{"record":"note","by":"x"}', "at is missing"),
        ('{"record":"note","by":"x","at":"yesterday"}', "at is 'yesterday'"),
        ('{"record":"nonsense","by":"x","at":"2026-03-16T05:50:00Z"}', "no such record"),
        ("x" * 70_000, "longer than 64 KiB"),
        ("[" * 30_000, "nested deeper"),
        ('{"record":"note","by":"x","by":"y","at":"2026-03-16T05:50:00Z"}', "the key 'by' stands there twice"),
        (
            '{"record":"note","by":"x","at":"2026-03-16T05:50:00Z","more":{"a":1,"a":2}}',
            "the key 'a' stands there twice",
        ),
        ('{"record":"note","by":"x","at":"2026-03-16T05:50:00Z","value":NaN}', "NaN is no JSON number"),
    ],
)
def test_records_that_cannot_be_used(run: Any, records: str, said: str) -> None:
    with pytest.raises(UnusableInput, match=r"records\.jsonl line 1") as refused:
        run(morning(3), records)
    assert said in str(refused.value)


def test_a_folder_and_a_missing_file(run: Any, tmp_path: Path) -> None:
    run(morning(2))
    for path, said in ((tmp_path, "it is a folder"), (tmp_path / "none.csv", "No such file")):
        with pytest.raises(UnusableInput, match=said):
            main(tmp_path / "station.toml", path, stdout=io.BytesIO(), stderr=io.StringIO())


def test_a_line_without_end_is_refused_without_being_read_whole(run: Any, tmp_path: Path) -> None:
    run(morning(2))
    endless = tmp_path / "pipe"
    os.mkfifo(endless)
    writer = subprocess.Popen(  # a line of 1 GB, if anybody reads it
        [sys.executable, "-c", f"f=open({str(endless)!r},'wb'); f.write(b'time,room\\n');\nwhile f.tell if 0 else 1: f.write(b'9'*65536)"],
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        with pytest.raises(UnusableInput, match="line 2: longer than 64 KiB"):
            main(tmp_path / "station.toml", endless, stdout=io.BytesIO(), stderr=io.StringIO())
    finally:
        writer.kill()
        writer.wait()


def test_same_bytes_under_other_hash_seeds_zones_and_locales(run: Any, tmp_path: Path) -> None:
    run(morning(1500) + f"{stamp(3000)},,,,,,\n", estimates_every_ms=300_000)
    expected = run.out.getvalue()
    code = (
        "import sys; from pathlib import Path; from edge.replay.replay import main;"
        "main(Path('station.toml'), Path('data.csv'), form='jsonl', estimates_every_ms=300_000,"
        " stdout=sys.stdout.buffer, stderr=sys.stderr)"
    )
    here = str(Path(__file__).parents[3])
    for seed, zone, locale in (("0", "Asia/Tokyo", "C"), ("4711", "America/St_Johns", "fr_FR.ISO-8859-1")):
        env = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": locale, "PYTHONPATH": here}
        got = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=env, capture_output=True, check=True)
        assert got.stdout == expected


def test_no_host_path_or_version_is_printed(run: Any, tmp_path: Path) -> None:
    run(morning(100))
    text = run.out.getvalue().decode()
    assert str(tmp_path) not in text and os.uname().nodename not in text and "version" not in text


def test_text_form_is_one_line_each(tmp_path: Path) -> None:
    (tmp_path / "station.toml").write_text(STATION, encoding="utf-8")
    (tmp_path / "data.csv").write_text(morning(3100), encoding="utf-8")
    out = io.BytesIO()
    main(tmp_path / "station.toml", tmp_path / "data.csv", stdout=out, stderr=io.StringIO(), estimates_every_ms=600_000)
    lines = out.getvalue().decode().splitlines()
    assert lines[0].startswith("2026-03-16 05:50:00+00:00  #1 started")
    assert any("NOT READY" in line and "reservoir" in line for line in lines)
    assert "reservoir_cold 1" in lines[-1]


@pytest.mark.parametrize(
    ("text", "wall_ms"),
    [
        ("1970-01-01T00:00:00Z", 0), ("2026-03-16T05:50:00.1239Z", 1_773_640_200_124), ("2026-03-16t06:50:00+01:00", 1_773_640_200_000),
        ("1773640200.5", 1_773_640_200_500),
    ],
)  # fmt: skip
def test_times(text: str, wall_ms: int) -> None:
    assert time_of(text) == wall_ms


@pytest.mark.parametrize(
    ("column", "cell", "said"), [("", "", "an assumed room of 18.0"), (",room", ",21", "in a room of 21.0")]
)
def test_a_room_that_is_assumed_is_said_to_be(run: Any, column: str, cell: str, said: str) -> None:
    lines = run(f"time,reservoir{column}\n{stamp(0)},25{cell}\n{stamp(1)},25{cell}\n")
    closing = [line for line in lines if line["type"] == "verdict"][-1]
    (reservoir,) = (each for each in closing["conditions"] if each["id"] == "reservoir")
    assert said in reservoir["text"]


def test_one_row_years_later_is_a_gap_and_not_a_hundred_thousand_lines(run: Any) -> None:
    rows = morning(30).splitlines()
    far = [f"2029-01-01T00:00:0{n}Z," + rows[-1].partition(",")[2] for n in range(3)]
    lines = run("\n".join([*rows, *far]) + "\n", verdict_every_ms=600_000)
    assert sum(line["type"] == "verdict" for line in lines) < 7 * 144 + 10
    (gap,) = [line for line in lines if line["type"] == "gap"]
    assert gap["to"] == "2029-01-01T00:00:00.000Z"
    assert lines[-1]["type"] == "summary" and lines[-1]["rows"] == 33


def test_a_night_without_rows_is_told_in_full(run: Any) -> None:
    rows = morning(30).splitlines()
    later = stamp(12 * 3600) + "," + rows[-1].partition(",")[2]
    lines = run("\n".join([*rows, later]) + "\n", verdict_every_ms=60_000)
    assert sum(line["type"] == "verdict" for line in lines) >= 12 * 60
    assert not [line for line in lines if line["type"] == "gap"]
