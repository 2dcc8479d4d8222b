"""`warmwell record` and `calibrate` before anything is sent: words, units, what is missing, and how an outcome is told.

The rules are this project's own; 1 psi is 6.894757 kPa (SP 811 of NIST, table B.8, from memory).
"""

from __future__ import annotations

import json
import shlex
from typing import Any

import pytest
from typer.testing import CliRunner

from edge.cli import plain
from edge.cli import record as cli_record
from edge.cli.app import app
from edge.cli.calibration_text import outcome_lines, preview_lines
from edge.cli.record import Calibration, calibrate, fields, kept_line, record
from edge.domain.errors import UnusableInput
from edge.domain.readings import Kind
from edge.domain.records import forms
from edge.terminal import guarded

RESERVOIR = {
    "id": "reservoir",
    "role": "reservoir_temperature",
    "value": 39.0,
    "uncorrected": 39.2,
    "at": "t",
    "quality": "good",
}
POINTS = {"points": {"reservoir": RESERVOIR, "power": {"id": "power", "role": "machine_power", "value": 1.0}}}
LED_TO = ("No hold: held by kim", "the station may not start yet; first: wait")
TOLD = {"instrument": "thermometer 7", "certificate": "HL-0042", "reference_u": "0.05 K"}


@pytest.fixture
def station(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """A station behind the client: what was sent to it. Each look at a point is another instant."""
    sent: list[dict[str, Any]] = []
    looks = iter(range(1000))

    def get(url: str, path: str, timeout_s: float = 10.0) -> dict[str, Any]:
        if path == "/api/1/station":
            return {"timezone": "Europe/Dublin"}
        if path == "/api/1/verdict":
            return {"at": "2026-03-16T06:10:00.000Z", "seq": 12}
        if path == "/api/1/points":
            return {"points": {**POINTS["points"], "reservoir": {**RESERVOIR, "at": f"t{next(looks)}"}}}
        assert path == "/api/1/journal?after=11&limit=1"
        worked = {
            "counts": True, "as_found": 0.2, "as_left": 0.0, "gain": 1.0, "offset": -0.2, "u": 0.05, "u_parts": {"reference": 0.05},
            "due_at": "2027-03-16T05:50:00.000Z",
        }  # fmt: skip
        return {"entries": [{"seq": 12, "kind": "record", "body": {**sent[-1], **worked}}]}

    def post(body: dict[str, Any], url: str, timeout_s: float = 15.0) -> dict[str, Any]:
        sent.append(body)
        return {"seq": 12, "led_to": [] if body["record"] == "note" else list(LED_TO)}

    monkeypatch.setattr("edge.cli.client.get", get)
    monkeypatch.setattr("edge.cli.client.record", post)
    return sent


def test_values_of_the_command_line_are_json_or_text() -> None:
    words = [
        "value=44 psi",
        "passed=true",
        "contact_min=12",
        'channel_ports=[{"port":1,"seconds":11.8}]',
        "text=NaN",
        "note=",
        "a=1e999",
    ]
    assert fields(words) == {
        "value": "44 psi", "passed": True, "contact_min": 12, "channel_ports": [{"port": 1, "seconds": 11.8}], "text": "NaN",
        "note": "", "a": "1e999",
    }  # fmt: skip


@pytest.mark.parametrize("pair", ["value", "=3", "Value=3", "by=me", "counts=true", "a b=3"])
def test_what_is_no_key_and_value_is_refused(pair: str) -> None:
    with pytest.raises(UnusableInput, match="expected key=value"):
        fields([pair])
    with pytest.raises(UnusableInput, match="twice"):
        fields(["a=1", "a=2"])


@pytest.mark.parametrize(
    ("kind", "words", "body"),
    [
        ("daily_test", ["passed=yes"], {"passed": True}),
        ("daily_test", ["passed=No"], {"passed": False}),
        ("daily_test", ["passed=perhaps"], {"passed": "perhaps"}),
        (
            "daily_test", ["port 3: 11.8 s", "port 4: 100 mL in 12 s, port 5: 12 s", "checked=lid, drain"],
            {
                "channel_ports": [{"port": 3, "seconds": 11.8}, {"port": 4, "ml": 100.0, "seconds": 12.0}, {"port": 5, "seconds": 12.0}],
                "checked": ["lid", "drain"],
            },
        ),
        ("daily_test", ["channel_ports=port 3: 11.8 s"], {"channel_ports": [{"port": 3, "seconds": 11.8}]}),
        ("filter_change", ["filters=coarse,fine"], {"filters": ["coarse", "fine"]}),
        ("filter_change", ['filters=["coarse"]'], {"filters": ["coarse"]}),
        ("filter_change", ["filter=coarse", "lot=0123"], {"filter": "coarse", "lot": "0123"}),
        ("correction", ["of=12"], {"of": 12}),
        ("disinfectant_fill", ["litres=11 L"], {"litres": 11.0}),
        ("water_path_treatment", ["contact_min=10 min"], {"contact_min": 10.0}),
        ("shelve", ["minutes=0.5 h"], {"minutes": 30.0}),
        ("outlet_test", ["trip_ms=25 ms", "trip_ma=5 mA"], {"trip_ms": 25.0, "trip_ma": 5.0}),
        ("shelve", ["minutes=30 psi"], {"minutes": "30 psi"}),
        ("disinfectant_fill", ["expires=2027-03", "litres=11.5"], {"expires": "2027-03", "litres": 11.5}),
    ],
    ids=str,
)  # fmt: skip
def test_words_of_the_command_line_are_what_the_form_holds(kind: str, words: list[str], body: dict[str, Any]) -> None:
    assert fields(words, kind) == body


@pytest.mark.parametrize("word", ["port 3: 11.8", "port 3 11.8 s", "port: 11 s"])
def test_a_port_that_cannot_be_read_is_refused(word: str) -> None:
    with pytest.raises(UnusableInput, match=r"port 3: 11\.8 s"):
        fields([word], "daily_test")
    with pytest.raises(UnusableInput, match="expected key=value"):
        fields([word], "hold")


@pytest.mark.parametrize(
    ("at", "sent", "said"),
    [
        ("05:00", "2026-03-16T05:00:00.000Z", "2026-03-16 05:00"),
        ("2026-03-14 17:30", "2026-03-14T17:30:00.000Z", "2026-03-14 17:30"),
        ("2026-03-14", "2026-03-14", "2026-03-14"),  # the station itself knows where its days begin
        ("2026-03-14T05:00:00+01:00", "2026-03-14T05:00:00+01:00", "2026-03-14 04:00"),
    ],
)
def test_c042_a_time_by_the_stations_clock_is_sent_as_an_instant_and_said(
    station: list[dict[str, Any]], capsys: pytest.CaptureFixture[str], at: str, sent: str, said: str
) -> None:
    assert record("note", "kim", at, ["text=x"], "http://nowhere") == 0
    assert station[-1]["at"] == sent and f"it happened at {said}" in capsys.readouterr().out


@pytest.mark.parametrize("at", ["07:00", "2026-03-17 05:00", "2026-03-29 01:30", "25:00"])
def test_c042_a_time_that_is_to_come_or_none_is_sent_to_nobody(station: list[dict[str, Any]], at: str) -> None:
    with pytest.raises(UnusableInput, match="--at"):
        record("note", "kim", at, ["text=x"], "http://nowhere")
    assert station == []


def test_the_times_of_a_contact_may_be_told_by_the_stations_clock(station: list[dict[str, Any]]) -> None:
    record("water_path_treatment", "kim", None, ["began_at=05:10", "ended_at=05:21"], "http://nowhere")
    assert station[-1] == {
        "record": "water_path_treatment", "by": "kim", "began_at": "2026-03-16T05:10:00.000Z", "ended_at": "2026-03-16T05:21:00.000Z",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "words", "answers", "body", "asked"),
    [
        ("hold", [], [""], {}, ["why"]),
        ("hold", [], ["a sample"], {"why": "a sample"}, ["why"]),
        ("hold", ["why=x"], [], {"why": "x"}, []),
        (
            "disinfectant_fill", [], ["0123", "", "2026-03-14"], {"lot": "0123", "opened": "2026-03-14"},
            ["lot", "expires", "opened"],
        ),
        ("daily_test", [], ["yes"], {"passed": True}, ["passed"]),
        ("daily_test", [], ["", "port 3: 11.8 s"], {"channel_ports": [{"port": 3, "seconds": 11.8}]}, ["passed", "channel_ports"]),
        ("daily_test", [], ["perhaps", "no"], {"passed": False}, ["passed", "passed"]),
        ("daily_test", ["port 3: 11.8 s"], [], {"channel_ports": [{"port": 3, "seconds": 11.8}]}, []),
        ("filter_change", [], ["coarse, fine"], {"filters": ["coarse", "fine"]}, ["filters"]),
        (
            "entered_reading", ["value=44 psi"], ["", "supply_pressure"], {"value": "44 psi", "role": "supply_pressure"},
            ["point", "role"],
        ),
        ("outlet_test", [], ["heater", "yes"], {"outlet": "heater", "passed": True}, ["outlet", "passed"]),
        ("shelve", ["alarm=leak"], ["ten", "2000", "10"], {"alarm": "leak", "minutes": 10}, ["minutes"] * 3),
        ("correction", [], ["", "12"], {"of": 12}, ["of", "of"]),
    ],
    ids=str,
)  # fmt: skip
def test_on_a_terminal_a_form_asks_for_what_it_needs_and_what_matters(
    station: list[dict[str, Any]],
    kind: str,
    words: list[str],
    answers: list[str],
    body: dict[str, Any],
    asked: list[str],
) -> None:
    questions: list[str] = []
    said = iter(answers)

    def ask(question: str) -> str:
        questions.append(question.partition(",")[0])
        return next(said)

    assert record(kind, "kim", None, words, "http://nowhere", ask) == 0
    assert station == [{"record": kind, "by": "kim"} | body] and questions == asked and list(said) == []


def test_who_ends_the_questions_sends_nothing_and_reads_one_sentence(
    station: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    def ask(question: str) -> str:
        raise EOFError

    assert guarded(lambda: record("daily_test", "kim", None, [], "http://nowhere", ask)) == 2
    err = capsys.readouterr().err
    assert station == [] and err.count("\n") == 1 and "Nothing was sent" in err


def test_an_unknown_record_is_refused_before_it_is_sent(station: list[dict[str, Any]]) -> None:
    with pytest.raises(UnusableInput, match="entered_reading"):
        record("reading", "early technician", None, [], "http://nowhere")
    assert station == []


def test_a_record_that_does_not_count_says_why() -> None:
    assert kept_line({"seq": 3, "body": {"counts": True}}) == "recorded: entry 3 of the journal"
    kept = {"seq": 3, "body": {"counts": False, "why_not": "nothing is held"}}
    assert kept_line(kept).endswith("but it doesn't count: nothing is held")


def test_a_reference_without_a_reading_leaves_it_to_the_station(station: list[dict[str, Any]]) -> None:
    assert calibrate(Calibration("reservoir", "biomed", ("39.00 degC",), **TOLD), "http://nowhere") == 0
    assert station == [
        {"record": "calibration", "by": "biomed", "point": "reservoir", "points": [{"reference": "39.00 degC"}], **TOLD}
    ]


def test_references_with_readings_a_check_an_allowance_and_a_date(station: list[dict[str, Any]]) -> None:
    references = ("30 degC=30.1 degC", "95 degF=35.2 degC, 35.3 degC", "40 degC=40.4 degC")
    wishes = Calibration(
        "reservoir", "biomed", references, **TOLD, drift_allowance="0.2 K", due="2026-09-16", is_check=True
    )  # fmt: skip
    assert calibrate(wishes, "http://nowhere") == 0
    (body,) = station
    assert body["points"][1] == {"reference": "95 degF", "readings": ["35.2 degC", "35.3 degC"]}
    assert (
        body["adjust"] is False and body["drift_allowance"] == "0.2 K" and body["due_at"] == "2026-09-16T00:00:00.000Z"
    )


@pytest.mark.parametrize(
    "more, said",
    [
        ({"references": ()}, "--reference: it is missing"),
        ({"references": ("39",)}, "--reference"),
        ({"references": ("39 psi",)}, "--reference"),
        ({"references": ("39 degC=39",)}, "--reference"),
        ({"references": ("39 degC", "40 degC")}, "several references"),
        ({"instrument": None}, "--instrument: it is missing"),
        ({"certificate": " "}, "--certificate: it is missing"),
        ({"reference_u": "0.05"}, "--reference-u"),
        ({"reference_u": "-0.05 K"}, "below zero"),
        ({"drift_allowance": "1 psi"}, "--drift-allowance"),
        ({"due": "next year"}, "--due"),
        ({"point": "reservoyr"}, "one of reservoir, power"),
        ({"point": "power"}, "a contact has nothing to calibrate"),
    ],
)
def test_nothing_half_known_is_sent(station: list[dict[str, Any]], more: dict[str, Any], said: str) -> None:
    wishes = Calibration(**({"point": "reservoir", "by": "biomed", "references": ("39 degC",), **TOLD} | more))
    with pytest.raises(UnusableInput, match=said) as refused:
        calibrate(wishes, "http://nowhere")
    assert "\n" not in str(refused.value) and station == []


def test_on_a_terminal_what_is_missing_is_asked_for(
    station: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    monkeypatch.setattr("edge.cli.record.time.sleep", lambda _s: None)
    answers = iter(["39", "39.00 degC", "", "", "thermometer 7", "HL-0042", "0.05 K", "yes"])
    assert calibrate(Calibration("reservoir", "biomed"), "http://nowhere", ask=lambda _question: next(answers)) == 0
    (body,) = station
    assert body["points"] == [{"reference": "39.00 degC", "readings": ["39.2 Cel"] * cli_record.READINGS}]
    assert {key: body[key] for key in TOLD} == TOLD
    out = capsys.readouterr().out
    assert "reads 39.20 Cel now (+0.2 K), would read about 39.00 Cel" in out
    assert "expected" in out and "as found: +0.2 K" in out and "due again: 2027-03-16" in out


def test_an_outcome_is_told_in_the_unit_of_the_point() -> None:
    psi = 6.894757
    body = {
        "counts": True, "as_found": 2 * psi, "as_left": -0.1 * psi, "gain": 1.01, "offset": -psi, "u": 0.5 * psi, "drift": 2 * psi,
        "u_parts": {"reference": 0.4 * psi, "fit": 0.3 * psi}, "beyond_allowance": True, "due_at": "2027-03-16T05:50:00.000Z",
    }  # fmt: skip
    lines = outcome_lines({"seq": 9, "body": body}, {"shown": {"value": 50.0, "unit": "psi"}}, Kind.PRESSURE, "kept")
    assert lines == [
        "kept",
        "  as found: +2 psi, the greatest error before",
        "  as left: -0.1 psi",
        "  correction: reading in kPa x 1.01 -6.895",
        "  standard uncertainty: 0.5 psi, of",
        "         0.4  the reference, by its certificate",
        "         0.3  the fit",
        "  drift since the last calibration: +2 psi: beyond the allowance, look at the sensor",
        "  due again: 2027-03-16",
    ]


def test_what_is_not_in_force_says_so_with_what_it_would_have_made() -> None:
    body = {
        "counts": False, "why_not": "compare again", "as_found": -7.1, "as_left": 0.0, "gain": 1.0, "offset": 7.1, "u": 0.1,
        "was": 35.9, "becomes": 43.0, "u_parts": {"step": 0.018}, "due_at": "2027-03-16T05:50:00.000Z",
    }  # fmt: skip
    text = "\n".join(outcome_lines({"seq": 9, "body": body}, RESERVOIR, Kind.TEMPERATURE, "kept"))
    assert "the point read 35.90 Cel and still reads that: NOT IN FORCE" in text and "due again" not in text


def test_before_it_is_sent_a_terminal_shows_what_changes_and_a_no_sends_nothing(
    station: list[dict[str, Any]], capsys: Any
) -> None:
    wishes = Calibration("reservoir", "biomed", ("43.00 degC=35.90 degC",), **TOLD)
    assert calibrate(wishes, "http://nowhere", ask=lambda _question: "no") == 0
    assert station == [] and "reads 35.90 Cel now (-7.1 K), would read about 43.00 Cel" in capsys.readouterr().out
    sure = Calibration("reservoir", "biomed", ("39.00 degC=38.90 degC",), **TOLD, is_sure=True)
    assert calibrate(sure, "http://nowhere", ask=lambda _question: pytest.fail("asked")) == 0
    assert len(station) == 1
    lines = preview_lines([{"reference": "39.00 degC"}], RESERVOIR, Kind.TEMPERATURE, True)
    assert lines[1].endswith("would read about 39.20 Cel")


def test_a_record_answers_with_what_it_led_to(
    station: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert record("hold", "kim", None, ["why=sample"], "http://nowhere") == 0
    led_to = list(LED_TO)
    assert capsys.readouterr().out == "; ".join(["recorded: entry 12 of the journal", *led_to]) + "\n"
    assert record("hold", "kim", None, ["why=sample"], "http://nowhere", as_json=True) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["counts"] is True and told["seq"] == 12 and told["led_to"] == led_to
    assert record("note", "kim", None, ["text=x"], "http://nowhere") == 0  # nothing follows from it
    assert capsys.readouterr().out == "recorded: entry 12 of the journal\n"


@pytest.mark.parametrize("kind", forms.FORMS)
def test_the_example_of_each_record_fits_its_form(kind: str) -> None:
    body = {"record": kind, "by": "kim", **fields(shlex.split(plain.EXAMPLES[kind]), kind)}
    assert [str(fault) for fault in forms.faults(body)] == []
    assert set(plain.ALSO_ASKED.get(kind, ())) <= set(forms.FORMS[kind].keys)


def test_what_would_do_is_told_as_it_is_typed(station: list[dict[str, Any]]) -> None:
    with pytest.raises(UnusableInput, match=r"passed: it is 'maybe'; expected yes or no"):
        record("daily_test", "kim", None, ["passed=maybe"], "http://nowhere")
    with pytest.raises(UnusableInput, match=r"minutes: it is '30 psi'; expected such as 30 min, 1 to 1440"):
        record("shelve", "kim", None, ["alarm=leak", "minutes=30 psi"], "http://nowhere")
    assert station == []


def test_help_of_a_word_that_is_no_record_names_the_nearest() -> None:
    told = CliRunner().invoke(app, ["record", "dayly_test", "--help"])
    assert told.exit_code == 2 and told.stdout == "" and "nearest: 'daily_test'" in told.stderr


@pytest.mark.parametrize("name", ["x" * 81, " ", "a\nb"])
def test_a_name_has_one_bound_whatever_it_signs(name: str) -> None:
    for words in (["ack", "leak"], ["record", "note", "text=x"], ["calibrate", "reservoir"]):
        told = CliRunner().invoke(app, [*words, "--by", name, "--url", "http://127.0.0.1:9"])
        assert told.exit_code == 2 and "a name of 1 to 80 characters" in told.stderr
