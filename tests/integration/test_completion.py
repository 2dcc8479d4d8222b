"""`warmwell completion`: the scripts, in the shells themselves."""

from __future__ import annotations

import os
import pty
import re
import select
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.integration.daemon_kit import ROOT, called

#: what is typed before Tab is pressed, and what is offered (of fish and bash also all of it: second)
CASES = {
    "warmwell st": ({"status", "stamp"}, True),
    "warmwell people token ": ({"add", "list", "revoke"}, True),
    "warmwell people add --role ": ({"viewer", "technician", "biomed", "auditor"}, True),
    "warmwell demo --scenario c": ({"cold-morning"}, True),
    "warmwell status --j": ({"--json"}, True),
    "warmwell export ": ({"journal", "readings"}, True),
    "warmwell export journal --format ": ({"csv", "jsonl", "table", "senml", "xlsx"}, True),
    "warmwell check config/station-m": ({"config/station-minimal.toml"}, True),
    "warmwell replay a config/station-m": ({"config/station-minimal.toml"}, True),
    "warmwell certificate show config/station-m": ({"config/station-minimal.toml"}, True),
    "warmwell record da": ({"daily_test"}, True),
    "warmwell record --by 'J. Lund' hold ": ({"why=", "name=", "basin="}, False),
    "warmwell record filter_change fil": ({"filters=", "filter="}, False),
    "warmwell ack outl": ({"outlet_tripped:"}, False),
    "warmwell survey --parity ": ({"none", "even", "odd"}, True),
    "warmwell completion ": ({"bash", "zsh", "fish"}, True),
}


@pytest.fixture(scope="module")
def scripts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("completion")
    made = {}
    for shell in ("bash", "zsh", "fish"):
        code, out, err = called("completion", shell)
        assert (code, err) == (0, "")
        made[shell] = folder / f"warmwell.{shell}"
        made[shell].write_text(out, encoding="utf-8")
    return made


def said(*command: str, text: str = "", home: Path) -> list[str]:
    done = subprocess.run(
        command, cwd=ROOT, input=text, capture_output=True, text=True, timeout=120, check=False,
        env={**os.environ, "HOME": str(home), "LC_ALL": "C.UTF-8"},
    )  # fmt: skip
    assert done.stderr == "", done.stderr
    return done.stdout.splitlines()


def offered(lines: list[str]) -> dict[str, set[str]]:
    """What stands between the lines that name each case."""
    found: dict[str, set[str]] = {}
    for line in lines:
        if line.startswith("> "):
            current = found.setdefault(line[2:], set())
        else:
            current.add(line.partition("\t")[0])
    return found


def check(found: dict[str, set[str]]) -> None:
    assert found.keys() == CASES.keys()
    for typed, (wanted, is_all) in CASES.items():
        assert found[typed] == wanted if is_all else wanted <= found[typed], (typed, found[typed])


def test_bash_offers_what_may_follow(scripts: dict[str, Path], tmp_path: Path) -> None:
    ask = 'source "$1"; while IFS= read -r COMP_LINE; do COMP_POINT=${#COMP_LINE}; echo "> $COMP_LINE"; _warmwell; '
    ask += 'printf "%s\\n" "${COMPREPLY[@]}"; done'
    text = "".join(f"{typed}\n" for typed in CASES)
    found = offered(said("bash", "--norc", "-c", ask, "bash", str(scripts["bash"]), text=text, home=tmp_path))
    broken = "warmwell ack outl"
    assert "outlet_tripped:" in found[broken]
    check(found)


def test_fish_offers_what_may_follow(scripts: dict[str, Path], tmp_path: Path) -> None:
    if not shutil.which("fish"):
        pytest.skip("fish is not installed here")
    ask = f'source {scripts["fish"]}; while read -l line; echo "> $line"; complete -C $line; end'
    check(offered(said("fish", "--no-config", "-c", ask, text="".join(f"{typed}\n" for typed in CASES), home=tmp_path)))


class Terminal:
    """A shell at which somebody sits."""

    def __init__(self, *command: str, home: Path) -> None:
        self._pid, self._far = pty.fork()
        if self._pid == 0:
            os.chdir(ROOT)
            environment = {**os.environ, "HOME": str(home), "TERM": "xterm", "LC_ALL": "C.UTF-8", "PS1": "$ "}
            os.execvpe(command[0], [*command], environment)
        self._shown = ""

    def type(self, text: str, until: str, timeout_s: float = 60.0) -> None:
        """Type it, and wait for what has to stand on the terminal then."""
        self._shown = ""
        os.write(self._far, text.encode())
        deadline_s = time.monotonic() + timeout_s
        while re.search(until, self.plain()) is None:
            assert time.monotonic() < deadline_s, f"after {text!r}: {self.plain()!r}, not {until!r}"
            if select.select([self._far], [], [], 0.2)[0]:
                self._shown += os.read(self._far, 4096).decode("utf-8", "replace")

    def plain(self) -> str:
        return re.sub(r"\x1b(\[[0-9;?]*[A-Za-z]|[=>])|.\x08|\x07", "", self._shown)

    def end(self) -> None:
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)
        os.close(self._far)


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_tab_completes_on_a_terminal(scripts: dict[str, Path], tmp_path: Path, shell: str) -> None:
    """Only what has one answer, as a person types on: after `key=` no blank comes, after a whole word one does."""
    if not shutil.which(shell):
        pytest.skip(f"{shell} is not installed here")
    terminal = Terminal(shell, *(("--norc", "--noprofile") if shell == "bash" else ("-f",)), home=tmp_path)
    try:
        begin = "autoload -Uz compinit && compinit -u -D; " if shell == "zsh" else ""
        terminal.type(f"{begin}source {scripts[shell]}; echo rea''dy\n", "ready\r")
        terminal.type("warmwell stat\t", "status ")
        terminal.type("--la\t", "--lang ")
        terminal.type("\x15warmwell record hol\t", "hold ")
        terminal.type("--by kim wh\t", "why=")
        terminal.type("mopping name=a\x15warmwell record daily_test pa\t", "passed=")
        terminal.type("y\t", "yes ")
        terminal.type("\x15warmwell check config/station-mi\t", r"station-minimal\.toml ")
    finally:
        terminal.end()
