"""The command line: help, exit codes (README.md), one sentence for each refusal, no stack trace ever."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from edge.cli.app import app
from edge.domain.entries import Draft, Now
from edge.domain.readings import Kind as PointKind
from edge.domain.readings import Quality, Reading, Role
from edge.domain.settings import Point
from edge.store.journal import Journal
from edge.store.series import Series
from tests.integration.daemon_kit import ROOT, called, finished, free_port

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
VERBS = (
    "run check schema replay verify export listen retained demo status watch ack record calibrate survey completion support "
    "backup restore"
).split()
WALL_MS = 1_773_640_200_000  # 2026-03-16T05:50:00Z


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with 3000 entries and 3000 readings."""
    keep = tmp_path_factory.mktemp("store") / "keep"
    point = Point("supply", Role.SUPPLY_PRESSURE, PointKind.PRESSURE, 500, 5000, 0.0, 2000.0, unit="psi")
    journal, series = Journal(keep, "harbour-lane/scope-room-2", "boot-1"), Series(keep, [point], "boot-1")
    try:
        series.note_clock("boot-1", 0, WALL_MS, True)
        times = range(0, 1_500_000, 500)
        journal.append([Draft(Now(ms, WALL_MS + ms, True), "told", {"to": "nobody", "n": ms}) for ms in times])
        series.append([Reading("supply", ms, 300.0 + ms / 1e6, Quality.GOOD, None, None) for ms in times])
        assert series.flush()
    finally:
        series.close()
        journal.close()
    return keep


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_says_what_it_does(verb: str) -> None:
    code, out, err = called(verb, "--help")
    assert code == 0 and err == "" and out.startswith(f"Usage: warmwell {verb}")


def test_the_lists_of_verbs_say_whole_sentences() -> None:
    for words in ([], ["people"], ["people", "token"]):
        code, out, _ = called(*words, "--help", COLUMNS="80")
        listed = out.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
        assert (
            code == 0 and listed and [line for line in listed if line.endswith("...") or line.startswith("    ")] == []
        )


def test_the_version_is_that_of_the_project() -> None:
    code, out, _ = finished("--version")
    assert code == 0 and out in (f"warmwell {PROJECT['version']}\n", "warmwell 0+source\n")  # installed, or a checkout


@pytest.mark.parametrize(
    "words",
    [["frobnicate"], ["run"], ["verify", "a", "b"], ["demo", "--speed", "fast"], ["schema", "world"]],
)
def test_words_that_can_not_be_understood_end_with_2(words: list[str]) -> None:
    code, out, err = called(*words)
    assert code == 2 and out == "" and err.count("\n") == 1 and "expected warmwell" in err and "--help`." in err


@pytest.mark.parametrize(
    "words, said",
    [
        (["check", "nowhere.toml"], "nowhere.toml"),
        (["check", "/"], "/"),
        (["run", "nowhere.toml"], "nowhere.toml"),
        (["verify", "nowhere"], "nowhere"),
        (["verify", "nowhere", "--head", "12"], "--head"),
        (["export", "journal", "nowhere"], "nowhere"),
        (["export", "readings", "nowhere"], "nowhere"),
        (["export", "journal", "nowhere", "--from", "someday"], "--from"),
        (["export", "journal", "nowhere", "--to", "2026-13-16T05:50:00Z"], "--to"),
        (["export", "journal", "nowhere", "--points", "supply"], "--points"),
        (["export", "journal", "nowhere", "--output", "tests"], "tests: it is a folder"),
        (["export", "journal", "nowhere", "--output", "/dev/null"], "/dev/null: it is not an ordinary file"),
        (["replay", "nowhere.toml", "nowhere.csv"], "nowhere.toml"),
        (["replay", "nowhere.toml", "nowhere.csv", "--verdict-every", "often"], "--verdict-every"),
        (["status", "--url", "ftp://nowhere"], "ftp://nowhere"),
        (["listen", "--broker", "//"], "--broker"),
        (["listen", "--username", "hall", "--password-file", "nowhere"], "nowhere"),
        (["listen", "--password-file", "README.md"], "a password without a user name"),
        (["listen", "--ca", "/"], "--ca"),
        (["survey", "--root", "nowhere"], "nowhere"),
        (["survey", "--units", "0-400"], "--units"),
        (["survey", "--write", "README.md"], "README.md"),
        (["record", "reading", "--by", "biomed"], "entered_reading"),
        (["record", "note", "--by", "biomed", "text"], "key=value"),
        (["ack", "leak", "--url", "http://127.0.0.1:9"], "--by: it is missing"),
        (["ack", "leak", "--by", " ", "--url", "http://127.0.0.1:9"], "' ' is no name"),
        (["status", "--url", "http://[::1"], "'http://[::1': this is no address"),
        (["status", "--url", "https://127.0.0.1:9", "--ca", "README.md"], "it holds no certificate"),
    ],
)
def test_input_that_can_not_be_used_ends_with_2_and_one_sentence(words: list[str], said: str) -> None:
    code, out, err = (finished if words[0] == "run" else called)(*words)  # which sets up the log of its process
    assert code == 2 and out == ""
    assert said in err and "expected" in err and err.count("\n") == 1


@pytest.mark.parametrize("verb", ["status", "watch"])
def test_a_station_that_does_not_answer_is_a_fault_and_one_sentence(verb: str) -> None:
    code, out, err = called(verb, "--url", f"http://127.0.0.1:{free_port()}")
    assert code == 1 and out == "" and "nobody answers" in err and err.count("\n") == 1


def test_check_passes_the_example_in_a_plain_c_locale() -> None:
    code, out, err = finished(
        "check", "config/station-example.toml", LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0"
    )
    assert code == 0 and err == "" and "can be used" in out and "Warning: " in out


def test_the_schema_is_json() -> None:
    code, out, _ = finished("schema", "station", LC_ALL="C")
    assert code == 0 and json.loads(out)["$schema"].startswith("https://json-schema.org/")
    code, out, _ = called("schema", "mqtt")
    assert code == 0 and json.loads(out)["asyncapi"] == "3.0.0"


def test_verify_prints_a_head_that_verify_takes(folder: Path) -> None:
    code, out, err = called("verify", folder)
    assert code == 0 and err == "" and "3000 entries" in out
    head = out.splitlines()[-1].removeprefix("head ")
    assert called("verify", folder, "--head", head)[0] == 0
    seq, _, digest = head.partition(":")
    code, out, _ = called("verify", folder, "--head", f"{int(seq) + 7}:{digest}")
    assert code == 1 and "entry 3001" in out and "cut off" in out


def test_export_of_the_journal_is_whole_and_a_file_appears_only_when_it_is(folder: Path, tmp_path: Path) -> None:
    target = tmp_path / "journal.jsonl"
    code, out, err = called("export", "journal", folder, "--format", "jsonl", "--output", target)
    assert code == 0 and out == "" and err == ""
    rows = [json.loads(line) for line in target.read_text(encoding="utf-8").splitlines()]
    assert [row["seq"] for row in rows] == list(range(1, 3001))
    assert not list(tmp_path.glob("*.part"))
    code, _, err = called("export", "journal", folder, "--output", tmp_path / "missing" / "j.csv")
    assert code == 2 and "missing" in err and err.count("\n") == 1


def test_export_takes_times_and_points(folder: Path) -> None:
    words = ["--from", "2026-03-16T05:50:10Z", "--to", "2026-03-16T06:50:20+01:00", "--points", "supply"]
    code, out, _ = called("export", "readings", folder, *words)
    lines = out.splitlines()
    assert code == 0 and lines[0].startswith("time,supply") and len(lines) == 21
    code, _, err = called("export", "readings", folder, "--points", "supplyy")
    assert code == 2 and "supplyy" in err and "supply" in err.split("expected")[1]
    code, _, err = called(
        "export", "readings", folder, "--from", "2026-03-16T05:50:10Z", "--to", "2026-03-16T05:50:10Z"
    )
    assert code == 2 and "--to" in err


def test_a_reader_that_has_enough_is_no_fault(folder: Path) -> None:
    command = f'"{sys.executable}" -m edge.cli export journal "{folder}"; echo "code $?" >&2'
    piped = subprocess.run(
        ["bash", "-c", f"{{ {command}; }} | head -1"], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    assert piped.stdout.startswith("seq,") and piped.stderr == "code 0\n"


def test_a_full_disk_under_the_output_is_one_sentence(folder: Path) -> None:
    for words in (f'export journal "{folder}"', "--help"):
        command = f'"{sys.executable}" -m edge.cli {words} > /dev/full'
        done = subprocess.run(
            ["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
        )
        assert (
            done.returncode == 1
            and "No space left" in done.stderr
            and done.stderr.count("\n") == 1
            and "fault" not in done.stderr
        )


def test_output_that_is_closed_is_no_fault(folder: Path) -> None:
    command = f'"{sys.executable}" -m edge.cli verify "{folder}"'
    for closed, code in ((">&-", 0), (">&- 2>&-", 0)):
        done = subprocess.run(
            ["bash", "-c", f"{command} {closed}"], cwd=ROOT, capture_output=True, timeout=60, check=False
        )
        assert (done.returncode, done.stdout, done.stderr) == (code, b"", b"")


@pytest.mark.parametrize("words", [["check"], ["run"], ["replay"], ["verify"], ["export", "journal"]], ids=" ".join)
def test_a_file_that_may_not_be_read_gets_a_sentence_of_ours(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """typer would say "is not readable" below a line of usage: what was expected and what to do would be missing.

    Root may read everything, so the system's answers are stood in for.
    """

    def refuse(*_args: object, **_named: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    closed = tmp_path / "closed"
    closed.write_text("[station]")
    monkeypatch.setattr(os, "access", lambda *_args, **_named: False)
    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(SystemExit) as ended:
        app([*words, str(closed), *([str(closed)] if words == ["replay"] else [])], prog_name="warmwell")
    said = capsys.readouterr().err
    assert ended.value.code in (1, 2) and str(closed) in said and "expected" in said and "Usage" not in said


def test_a_fault_of_its_own_is_one_sentence_that_names_where_the_trace_is(tmp_path: Path) -> None:
    """A package of the same name as a part stands in for whatever may be broken."""
    broken = tmp_path / "rfc8785"
    broken.mkdir()
    (broken / "__init__.py").write_text("raise ZeroDivisionError('a broken part')")
    places = {"PYTHONPATH": str(tmp_path), "TMPDIR": str(tmp_path)}
    code, out, err = finished("check", "config/station-example.toml", **places)
    assert code == 1 and out == "" and err.count("\n") == 1
    assert "ZeroDivisionError" in err and "Traceback" not in err
    log = next(tmp_path.glob("warmwell-fault-*.log"))
    assert str(log) in err and "Traceback" in log.read_text()
    _, _, err = finished("check", "config/station-example.toml", WARMWELL_DEBUG="1", **places)
    assert "Traceback" in err


@pytest.mark.parametrize(
    ("words", "of_ours"),
    [
        (["verify", "nowhere"], {"edge.daemon", "edge.api", "edge.cli.record"}),
        (["--help"], {"edge.config", "edge.store", "edge.domain.records", "edge.domain.quantities"}),
        (["status", "--url", "http://127.0.0.1:9"], {"edge.config", "edge.store", "edge.domain.station", "edge.domain.records"}),
    ],
    ids=["verify", "--help", "status"],
)  # fmt: skip
def test_nothing_heavy_is_imported_for_a_light_verb(words: list[str], of_ours: set[str]) -> None:
    """FastAPI, MQTT and the terminal's colours cost a board seconds; so do parts of our own that a verb doesn't ask."""
    code = f"import sys; sys.argv = ['warmwell', *{words}]\nfrom edge.cli import app\ntry: app.main()\nexcept SystemExit: pass\n"
    code += "print('modules', *sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        env=dict(os.environ),
    )
    modules = set(done.stdout.splitlines()[-1].split())
    heavy = {"fastapi", "uvicorn", "paho", "rich", "serial", "amqtt", "numpy", "cryptography"}
    assert "edge.cli.app" in modules and modules & (heavy | of_ours) == set()
