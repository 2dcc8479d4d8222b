"""What programs get of the command line: one JSON object, or one a line, and a refusal as one too. The shapes are the project's own."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from edge.cli import usage
from edge.cli.app import app
from edge.domain.entries import Draft, Now
from edge.store.journal import Journal

ROOT = Path(__file__).parents[3]
EXAMPLE = str(ROOT / "config/station-example.toml")
Said = tuple[int, list[dict[str, Any]], list[dict[str, Any]]]


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """(exit code, objects on standard output, objects on standard error) of a verb with --json."""

    def run(*words: str | Path) -> Said:
        code = usage.run(app, [*map(str, words), "--json"])
        streams = capsys.readouterr()
        return (code, *([json.loads(line) for line in text.splitlines()] for text in (streams.out, streams.err)))  # type: ignore[return-value]

    return run


@pytest.mark.parametrize(
    ("words", "code", "where"),
    [
        (["tell", "nowhere.toml"], 2, "nowhere.toml"),
        (["certificate", "show", "nowhere.toml"], 2, "nowhere.toml"),
        (["certificate", "make", EXAMPLE], 2, f"{EXAMPLE}, api.tls"),
        (["verify", "nowhere"], 2, "nowhere"),
        (["export", "journal", "nowhere"], 2, "nowhere"),
        (["replay", "nowhere.toml", "nowhere.csv"], 2, "nowhere.toml"),
        (["alarms", "nowhere.toml"], 2, "nowhere.toml"),
        (["listen", "--broker", "//"], 2, "--broker"),
        (["retained", "nowhere.toml"], 2, "nowhere.toml"),
        (["people", "list", "--keep", "nowhere"], 2, "nowhere"),
        (["demo", "--speed", "0"], 2, "--speed"),
        (["survey", "--root", "nowhere"], 2, "--root nowhere"),
        (["status", "--url", "http://127.0.0.1:9"], 1, "http://127.0.0.1:9"),
        (["watch", "--url", "ftp://nowhere"], 2, "'ftp://nowhere'"),
        (["support", "bundle.zip", "--url", "http://127.0.0.1:9"], 1, "http://127.0.0.1:9"),
        (["record", "note", "text", "--by", "biomed"], 2, "'text'"),
        (["verify"], 2, "warmwell verify"),
        (["demo", "--speed", "fast"], 2, "warmwell demo"),
        (["ack", "leak", "--by", "", "--url", "http://127.0.0.1:9"], 2, "--by"),
    ],
    ids=lambda words: " ".join(words)[:30] if isinstance(words, list) else None,
)
def test_a_refusal_is_one_object_with_the_four_parts(
    said: Callable[..., Said], words: list[str], code: int, where: str
) -> None:
    found, out, (problem,) = said(*words)
    assert (found, out, problem["exit"], problem["where"]) == (code, [], code, where)
    assert all(problem[part] for part in ("what", "expected", "do"))
    assert (
        problem["detail"] == f"{problem['where']}: {problem['what']}; expected {problem['expected']}. {problem['do']}."
    )


def test_each_verb_with_json_says_its_shape_in_its_help() -> None:
    def all_of(command: Any, path: str) -> list[tuple[str, Any]]:
        verbs = getattr(command, "commands", None)
        return (
            [(path, command)]
            if verbs is None
            else [one for name, verb in verbs.items() for one in all_of(verb, f"{path} {name}")]
        )

    with_json = {
        path.removeprefix(" "): (command.help, option.help)
        for path, command in all_of(get_command(app), "")
        for option in command.params
        if "--json" in option.opts
    }
    silent = {
        path
        for path, (text, option) in with_json.items()
        if "--json: " not in text and "--format jsonl" not in option and "lines of a replay" not in option
    }
    assert silent == set() and len(with_json) >= 20


def test_what_check_finds(said: Callable[..., Said], tmp_path: Path) -> None:
    code, (good,), err = said("check", EXAMPLE)
    assert (code, err, good["usable"], good["station"]) == (0, [], True, "harbour-lane/scope-room-2")
    assert any("biomed-phone" in text for text in good["warnings"]) and good["not_active"] == []
    text = Path(EXAMPLE).read_text(encoding="utf-8")
    wrong = tmp_path / "station.toml"
    wrong.write_text(text.replace('"39 degC"', '"39"').replace('"40 psi"', '"40 bananas"'), encoding="utf-8")
    code, (bad,), err = said("check", wrong)
    assert (code, err, bad["usable"]) == (2, [], False) and len(bad["mistakes"]) >= 2
    assert all("line " in one["where"] and one["do"] for one in bad["mistakes"])
    code, _, problems = said("certificate", "show", wrong)
    assert code == 2 and [one["detail"] for one in problems] == [one["detail"] for one in bad["mistakes"]]


def test_targets_certificate_and_alarms(said: Callable[..., Said], tmp_path: Path) -> None:
    code, targets, _ = said("tell", EXAMPLE)
    assert code == 0 and [(one["id"], one["by"]) for one in targets] == [
        ("biomed-phone", "address"),
        ("building-log", "syslog tcp"),
    ]
    code, (shown,), _ = said("certificate", "show", EXAMPLE, "--svg", tmp_path / "page.svg")
    assert (code, shown["page"], shown["certificate"]) == (0, "http://127.0.0.1:8484/", None)
    assert "<svg" in Path(shown["svg"]).read_text(encoding="utf-8")
    code, rows, _ = said("alarms", EXAMPLE)
    assert code == 0 and {"leak", "outlet_tripped:heater"} <= {row["alarm"] for row in rows}


def test_an_own_certificate_is_made_and_its_fingerprint_said(said: Callable[..., Said], tmp_path: Path) -> None:
    station = tmp_path / "station.toml"
    text = Path(EXAMPLE).read_text(encoding="utf-8").replace("/var/lib/warmwell", str(tmp_path / "keep"))
    (tmp_path / "keep").mkdir()
    station.write_text(text + '\n[api.tls]\nnames = ["scope-room-2.harbour-lane.example"]\n', encoding="utf-8")
    code, (made,), err = said("certificate", "make", station)
    assert code == 0 and err == [] and len(made["certificate"]["fingerprint"].split(":")) == 32
    assert "scope-room-2.harbour-lane.example" in made["certificate"]["names"] and made["certificate"]["is_own"]
    code, (asked,), _ = said("certificate", "request", station)
    assert code == 0 and Path(asked["request"]).is_file() and asked["names"] == ["scope-room-2.harbour-lane.example"]


def test_a_journal_is_verified_and_exported(said: Callable[..., Said], tmp_path: Path) -> None:
    journal = Journal(tmp_path, "harbour-lane/scope-room-2", "boot-1")
    journal.append([Draft(Now(n, n, True), "told", {"n": n}) for n in range(3)])
    journal.close()
    code, (found,), _ = said("verify", tmp_path)
    assert (code, found["ok"], found["head"]["seq"], found["lost"]) == (0, True, 3, [])
    head = f"7:{found['head']['digest']}"
    code, (cut,), err = said("verify", tmp_path, "--head", head)
    assert (code, cut["ok"], cut["first_bad_seq"], err) == (1, False, 4, [])
    code, entries, _ = said("export", "journal", tmp_path)
    assert code == 0 and [entry["seq"] for entry in entries] == [1, 2, 3]


def test_people_and_tokens(said: Callable[..., Said], tmp_path: Path) -> None:
    keep = ("--keep", str(tmp_path))
    for role in ("viewer", "technician", "auditor"):
        code, told, err = said("people", "add", "J. Lund", "--role", role, *keep)
        assert (code, told) == (2, []) and "expected a biomed first" in str(err), "nobody could manage people"
    assert said("people", "add", "M. Osei", "--role", "biomed", *keep)[0] == 0
    code, (made,), _ = said("people", "add", "J. Lund", "--role", "technician", *keep)
    assert (code, made["name"], made["role"]) == (0, "J. Lund", "technician") and len(made["code"]) == 19
    code, (anew,), _ = said("people", "reset", "J. Lund", *keep)
    assert code == 0 and anew["code"] != made["code"]
    person = {"name": "J. Lund", "role": "technician"}
    biomed = {"name": "M. Osei", "role": "biomed"}
    assert said("people", "list", *keep) == (0, [{"people": [person, biomed]}], [])
    code, (token,), _ = said("people", "token", "add", "J. Lund", "robot", "--scope", "record", *keep)
    code, (listed,), _ = said("people", "token", "list", *keep)
    assert [(one["number"], one["person"], one["scopes"]) for one in listed["tokens"]] == [
        (token["number"], person, ["record"])
    ]
    assert token["token"] not in json.dumps(listed)
    assert said("people", "token", "revoke", "1", *keep)[1][0]["revoked"]["title"] == "robot"
    assert said("people", "remove", "J. Lund", *keep) == (0, [{"removed": person, "left": [biomed]}], [])
