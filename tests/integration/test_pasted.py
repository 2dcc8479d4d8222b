"""What the documents say to type is typed as it stands, beside a running station, and ends with 0: of README.md each verb's first command;
of deploy/handbook.md all, in their order, on the station that it practises on; the examples of deploy/api.md, which print what stands below
them.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from edge.cli.app import app
from tests.integration.daemon_kit import ROOT, STATION, Daemon
from tests.pasted import commands

#: these are looked at by tests of their own
NOT_HERE = {
    r"bash deploy/demo\.sh|warmwell demo": "goes on until Ctrl-C",
    r"warmwell (run|watch|listen)\b": "goes on until Ctrl-C",
    r"warmwell survey": "looks at what is wired to this computer",
    r"warmwell calibrate": "asks at a terminal",
    r"warmwell replay": "wants recorded readings",
    r"warmwell retained": "wants a broker",
    r"warmwell archive": "wants a database",
    r"warmwell face": "goes on until Ctrl-C",
    r"warmwell stamp": "wants an authority of time stamps",
    r"warmwell record (hold|disinfectant_top_up)$|basin=left|of=17": "is about one station or another",
    r"warmwell (record|people|check|restore)$": "is no whole command",
}
PUT_IN = {
    "my-station.toml": "config/station-minimal.toml", "FILE": "config/station-example.toml", "FOLDER": "$KEEP", "KIND": "note",
    "NAME": "'J. Lund'", "KEY=VALUE…": "text=seen", "ALARM": "reservoir_cold", "LINE.toml": "config/line.toml",
    "BUNDLE.zip": "$WARMWELL_KEEP/bundle.zip", "day.html": "$WARMWELL_KEEP/day.html",
    "sheet.html": "$WARMWELL_KEEP/sheet.html", "DEST": "$WARMWELL_KEEP/backup --keep $KEEP",
}  # fmt: skip


def put_on_path(folder: Path) -> str:
    """PATH with a `warmwell` of this checkout."""
    program = folder / "bin/warmwell"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m edge.cli "$@"\n')
    program.chmod(0o755)
    return f"{program.parent}:{os.environ['PATH']}"


@pytest.fixture(scope="module")
def daemon(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    made = Daemon(tmp_path_factory.mktemp("station"), STATION)
    yield made.start()
    made.end()


def test_each_command_of_readme_ends_with_0(daemon: Daemon, tmp_path: Path) -> None:
    people = tmp_path / "people"
    people.mkdir()
    environment = {
        **os.environ, "PATH": put_on_path(tmp_path), "WARMWELL_URL": f"http://127.0.0.1:{daemon.port}",
        "WARMWELL_KEEP": str(people), "KEEP": str(daemon.keep), "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    typed = dict.fromkeys(commands(ROOT / "README.md"))
    left_out = {pattern: [one for one in typed if re.search(pattern, one)] for pattern in NOT_HERE}
    assert all(left_out.values()), "this stands in README.md no more"
    here = [one for one in typed if not any(one in others for others in left_out.values())]
    verbs = {
        " ".join(one.split()[:2]): one for one in reversed(here)
    }  # of each verb the first: each costs a start of the program
    here = [one for one in here if one in verbs.values()]
    assert len(here) > 10
    for one in here:
        command = one
        for word, put in PUT_IN.items():
            command = re.sub(rf"(?<![\w-]){re.escape(word)}(?![\w-])", lambda _, put=put: put, command)
        done = subprocess.run(
            ["bash", "-c", command], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120, check=False,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
        # no alarm of that name stands at this station: the answer is kept, and doesn't count
        ends = 2 if one.startswith("warmwell ack ") and "it changes nothing" in done.stdout else 0
        assert (done.returncode, done.stderr) == (ends, ""), f"{one}: {done.stderr or done.stdout}"


#: of the handbook
NOT_IN_PRACTICE = {
    r"warmwell run": "is the station beside which all else is typed",
    r"warmwell survey": "looks at what is wired to this computer",
    r"warmwell tell": "has nobody to tell there",
    r"warmwell (restore|verify|record work_ends|record clock_confirmed)$": "is no whole command",
}


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """The station that the handbook practises on, in a folder with its file, at the pace of life."""
    text = (ROOT / "config/station-practice.toml").read_text(encoding="utf-8").replace("{", "{{").replace("}", "}}")
    text = text.replace('every = "2 s"', 'every = "2 s"\nstale_after = "5 min"')  # a busy computer is no silent probe
    folder = tmp_path_factory.mktemp("practice")
    made = Daemon(folder, text + '\n[api]\nlisten = "127.0.0.1:{port}"\n', keep=folder / "warmwell-data")
    made.file = folder / "my-station.toml"
    made.write()
    yield made.start()
    made.end()


def test_the_handbook_can_be_followed(practice: Daemon, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In this process: each start of the program costs half a second."""
    monkeypatch.chdir(practice.file.parent)
    monkeypatch.setenv("WARMWELL_URL", f"http://127.0.0.1:{practice.port}")
    monkeypatch.setenv("WARMWELL_KEEP", str(tmp_path))  # in place of the board's own folder
    typed = dict.fromkeys(commands(ROOT / "deploy/handbook.md"))
    left_out = [one for one in typed if any(re.search(pattern, one) for pattern in NOT_IN_PRACTICE)]
    assert len(left_out) >= len(NOT_IN_PRACTICE)
    said, wrong = {}, {}
    for one in typed:
        if one in left_out:
            continue
        done = CliRunner().invoke(app, shlex.split(one)[1:])
        said[one] = done.stdout
        is_idle = re.search(r"of the journal(, but it doesn't count|; it changes nothing)", done.stdout) is not None
        if (done.exit_code, done.stderr) != (2 if is_idle else 0, ""):  # some say what this station has no use for
            wrong[one] = done.output
    assert wrong == {} and len(said) > 35
    assert re.search(
        r"^NOT READY  Practice station.*^Points:\n  reservoir: \d\d\.\d °C", said["warmwell status"], re.S | re.M
    )
    room = next(
        text for one, text in said.items() if one.startswith("warmwell calibrate room") and "--check" not in one
    )
    assert "reads 19.20 Cel now" in room
    counted = [text for one, text in said.items() if re.search(r"record (daily_test .*passed|hold|release)", one)]
    assert len(counted) == 3 and not any("doesn't count" in text for text in counted)


#: an example, and what it prints
EXAMPLE = re.compile(r"^```(sh|python)\n(.*?)^```\n```text\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def test_the_examples_of_the_api_print_what_stands_below_them(practice: Daemon, tmp_path: Path) -> None:
    """The last of them set people up, so nothing is recorded here by a typed name afterwards."""
    text = (ROOT / "deploy/api.md").read_text(encoding="utf-8").replace(":8484/", f":{practice.port}/")
    found = EXAMPLE.findall(text)
    assert len(found) > 15 and len(found) == len(re.findall("^```(?:sh|python)$", text, re.MULTILINE))
    environment = {
        **os.environ, "PATH": put_on_path(tmp_path), "WARMWELL_KEEP": str(practice.keep), "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    for language, code, printed in found:
        call = ["bash", "-euc", code] if language == "sh" else [sys.executable, "-c", code]
        done = subprocess.run(
            call,
            cwd=tmp_path,
            env=environment,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
            stdin=subprocess.DEVNULL,
        )
        wanted = ".*?".join(map(re.escape, printed.rstrip("\n").split("…")))
        assert (done.returncode, done.stderr) == (0, ""), f"{code}: {done.stderr}"
        is_so = re.fullmatch(wanted, done.stdout.rstrip("\n"), re.DOTALL) is not None
        assert is_so, f"{code} printed {done.stdout[:2000]}, not {printed}"
