"""deploy/demo.sh, tests/run.sh and the environment they make, on machines that lack one thing or another.

A small checkout of its own stands in for the project: a package whose `warmwell` prints its arguments and ends with 7,
and a lock with one wheel. The machine is a folder of links on PATH, with a python3 that lacks what a test takes away
from it. No test here needs the network.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import os
import shlex
import shutil
import subprocess
import sys
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCRIPTS = sorted([*ROOT.glob("deploy/*.sh"), *ROOT.glob("tests/*.sh"), ROOT / "deploy/warmwell", ROOT / ".ci/run"])
TOOLS = "bash env cat sha256sum cut mkdir rm tail touch find id dirname basename chmod grep sh uname".split()

PYTHON = """#!{bash}
# A python3 from which some modules were left out.
lacks() { case " $LACKING " in *" $1 "*) echo "No module named $1" >&2; exit 1 ;; esac; }
case " $* " in
    *" -m venv --without-pip "*) lacks venv ;;
    *" -m venv "*) lacks venv; lacks ensurepip ;;
    *" -m pip "*) lacks pip ;;
    *" -m virtualenv "*) lacks virtualenv ;;
esac
exec {python} "$@"
"""
VIRTUALENV = '#!{bash}\nexec {python} -m venv "$3"\n'  # virtualenv -p PYTHON FOLDER
UV = """#!{bash}
case "$1" in
    venv) exec {python} -m venv "$4" ;;  # uv venv --python PYTHON FOLDER
    pip)  # uv pip install --python PYTHON ...; it reads no setting of pip's
        into=$4
        shift 4
        exec env PIP_FIND_LINKS="$UV_FIND_LINKS" PIP_NO_INDEX="$UV_NO_INDEX" "$into" -m pip install "$@"
        ;;
esac
"""

BACKEND = """
import base64, hashlib, zipfile
from pathlib import Path

def build_editable(folder, config_settings=None, metadata_directory=None):
    name = "warmwell-0-py3-none-any.whl"
    info = "warmwell-0.dist-info/"
    with zipfile.ZipFile(Path(folder) / name, "w") as wheel:
        wheel.writestr("warmwell.pth", str(Path.cwd()))
        wheel.writestr(info + "METADATA", "Metadata-Version: 2.1\\nName: warmwell\\nVersion: 0\\n")
        wheel.writestr(info + "WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        names = ("warmwell", "ruff", "mypy")
        scripts = "".join(f"{name} = stand_in:{name}\\n" for name in names)
        wheel.writestr(info + "entry_points.txt", "[console_scripts]\\n" + scripts)
        wheel.writestr(info + "RECORD", "warmwell.pth,,\\n" + "".join(
            f"{info}{name},,\\n" for name in ("METADATA", "WHEEL", "entry_points.txt", "RECORD")))
    return name

def build_wheel(*_args):
    raise SystemExit("only the editable install is expected")
"""
STAND_IN = """
import json, os, sys
import thing  # of the lock

def warmwell():
    print(json.dumps({"arguments": sys.argv[1:], "thing": thing.VALUE}))
    return 7

def ruff():
    return int(os.environ.get("RUFF_FINDS", "0"))

def mypy():
    return 0
"""
PYTEST = """
import json, os, sys
print(json.dumps({"arguments": sys.argv[1:], "folder": os.getcwd()}))
print("3 passed, 0 failed, 0 skipped")
sys.exit(int(os.environ.get("PYTEST_ENDS", "0")))
"""
PYPROJECT = """
[build-system]
requires = []
build-backend = "backend"
backend-path = ["."]
[project]
name = "warmwell"
version = "0"
"""


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def wheel_of_thing(folder: Path) -> Path:
    """A wheel made by hand after the binary distribution format (packaging.python.org): three files and a RECORD."""
    files = {
        "thing.py": "VALUE = 42\n",
        "thing-1.0.dist-info/METADATA": "Metadata-Version: 2.1\nName: thing\nVersion: 1.0\n",
        "thing-1.0.dist-info/WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "thing-1.0.dist-info/RECORD,,\n"
    for name, text in files.items():
        code = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        record += f"{name},sha256={code},{len(text)}\n"
    path = folder / "thing-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as wheel:
        for name, text in {**files, "thing-1.0.dist-info/RECORD": record}.items():
            wheel.writestr(name, text)
    return path


@dataclass
class Machine:
    """A checkout, and a PATH that leads to nothing but what is in `bin`."""

    folder: Path
    lacking: str = ""
    settings: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.bin, self.checkout = self.folder / "bin", self.folder / "a clinic's checkout"
        self.elsewhere, self.wheels = self.folder / "elsewhere", self.folder / "wheels"
        for folder in (self.bin, self.checkout / "deploy", self.checkout / "tests", self.elsewhere, self.wheels):
            folder.mkdir(parents=True)
        for tool in TOOLS:
            (self.bin / tool).symlink_to(str(shutil.which(tool)))
        self.command("python3", PYTHON)
        for name in ("deploy/demo.sh", "deploy/warmwell", "deploy/environment.sh", "tests/run.sh", "tests/debian.sh"):
            shutil.copy(ROOT / name, self.checkout / name)
        project = {"backend.py": BACKEND, "stand_in.py": STAND_IN, "pytest.py": PYTEST, "pyproject.toml": PYPROJECT}
        for name, text in project.items():
            (self.checkout / name).write_text(text)
        self.lock = self.checkout / "deploy/requirements-run.lock"
        self.lock.write_text(f"thing==1.0 --hash=sha256:{digest(wheel_of_thing(self.wheels))}\n")
        shutil.copy(self.lock, self.checkout / "deploy/requirements-test.lock")

    def command(self, name: str, text: str) -> None:
        path = self.bin / name
        path.write_text(
            text.replace("{bash}", str(shutil.which("bash"))).replace("{python}", shlex.quote(sys.executable))
        )
        path.chmod(0o755)

    def start(self, script: str, *arguments: str) -> subprocess.Popen[str]:
        environ = {
            "PATH": str(self.bin), "HOME": str(self.folder / "home"), "LACKING": self.lacking,
            "WARMWELL_WHEELS": str(self.folder / "no-wheels"), "PIP_FIND_LINKS": str(self.wheels), "PIP_NO_INDEX": "1",
            "PIP_CONFIG_FILE": os.devnull, "PIP_NO_CACHE_DIR": "1", "WARMWELL_NO_APT": "1", **self.settings,
        }  # fmt: skip
        command = ["bash", str(self.checkout / script), *arguments]
        return subprocess.Popen(
            command, cwd=self.elsewhere, env=environ, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )

    def demo(self, *arguments: str) -> tuple[int, str, str]:
        return self.run("deploy/demo.sh", *arguments)

    def run(self, script: str, *arguments: str) -> tuple[int, str, str]:
        """Exit code, standard output, standard error."""
        process = self.start(script, *arguments)
        out, err = process.communicate(timeout=120)
        return process.returncode, out, err

    def way(self) -> str:
        """The way by which the environment was made, from the log."""
        log = next(self.folder.rglob("run.log")).read_text()
        return [line for line in log.splitlines() if line.startswith("== ")][-1].removeprefix("== ")


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_bash_can_read_it(script: Path):
    done = subprocess.run(["bash", "-n", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_shellcheck_finds_nothing(script: Path):
    if not shutil.which("shellcheck"):
        pytest.skip("shellcheck is not installed")
    done = subprocess.run(
        ["shellcheck", "-x", "-s", "bash", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stdout == ""


BUNDLED = (
    Path(str(importlib.util.find_spec("ensurepip").origin)).parent / "_bundled"
    if importlib.util.find_spec("ensurepip")
    else None
)


@pytest.mark.parametrize("way", ["_by_venv", "_by_bare_venv", "_by_pip_wheel", "_by_virtualenv", "_by_uv"])
def test_each_way_leads_to_the_same_demo(machine: Machine, way: str):
    if not BUNDLED and way != "_by_bare_venv":
        pytest.skip("this Python has no ensurepip")
    if way == "_by_bare_venv":
        machine.lacking = "ensurepip"
    elif way == "_by_pip_wheel":
        machine.lacking, machine.settings = "ensurepip pip", {"WARMWELL_WHEELS": str(BUNDLED)}
    elif way == "_by_virtualenv":
        machine.lacking = "venv virtualenv"
        machine.command("virtualenv", VIRTUALENV)
    elif way == "_by_uv":
        machine.lacking = "venv virtualenv"
        machine.command("uv", UV)
    status, out, err = machine.demo("--scenario", "cold-morning", "--json")
    assert (status, machine.way()) == (7, way), err
    # Nothing but JSON lines on standard output; the arguments as they were given; the program's own exit code.
    assert json.loads(out) == {"arguments": ["demo", "--scenario", "cold-morning", "--json"], "thing": 42}


def test_the_command_line_works_from_any_folder_by_a_link_and_on_the_path(machine: Machine):
    status, out, err = machine.run("deploy/warmwell", "status", "--url", "a b")
    assert (status, json.loads(out)["arguments"]) == (7, ["status", "--url", "a b"]), err
    (machine.elsewhere / "link").symlink_to(
        "../" + os.path.relpath(machine.checkout / "deploy/warmwell", machine.elsewhere.parent)
    )
    (machine.bin / "warmwell").symlink_to(machine.elsewhere / "link")
    (machine.bin / "readlink").symlink_to(str(shutil.which("readlink")))
    done = subprocess.run(
        ["bash", "-c", "warmwell check"], cwd=machine.elsewhere, env={"PATH": str(machine.bin), "HOME": str(machine.folder / "home")},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, json.loads(done.stdout)["arguments"], done.stderr) == (7, ["check"], "")


@pytest.mark.parametrize("script", ["deploy/demo.sh", "tests/run.sh"])
def test_without_any_way_it_says_what_to_install(machine: Machine, script: str):
    machine.lacking = "venv virtualenv"
    status, out, err = machine.run(script, "--json")
    assert (status, out) == (3, "")
    said = err.splitlines()
    assert [line for line in said if "preparing" not in line] == said[-1:]
    assert said[-1].endswith("run 'apt install python3-venv' and start again.")
    assert [path.name for path in machine.checkout.glob(".cache/env/*") if path.is_dir()] == []


def test_without_a_python_it_says_what_to_install(machine: Machine):
    machine.command("python3", "#!{bash}\nexit 1\n")
    status, out, err = machine.demo()
    assert (status, out) == (3, "")
    assert "no Python 3.11 or later" in err and "apt install python3" in err
    assert len(err.splitlines()) == 1


def test_a_second_start_changes_nothing_and_a_new_lock_does(machine: Machine):
    machine.lacking = "ensurepip"
    assert machine.demo()[0] == 7
    before = {path.name: path.stat().st_mtime_ns for path in machine.checkout.glob(".cache/env/run-*")}
    status, _, err = machine.demo()
    assert (status, err) == (7, "")
    assert {path.name: path.stat().st_mtime_ns for path in machine.checkout.glob(".cache/env/run-*")} == before
    machine.lock.write_text(machine.lock.read_text() + "# renewed\n")
    status, _, err = machine.demo()
    assert status == 7 and "preparing" in err
    assert len(list(machine.checkout.glob(".cache/env/run-*"))) == 2  # whoever runs from the first is left alone


def test_two_at_once_share_one_environment(machine: Machine):
    machine.lacking = "ensurepip"
    both = [machine.start("deploy/demo.sh", word) for word in ("first", "second")]
    said = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [7, 7]
    assert [json.loads(out)["arguments"] for out, _ in said] == [["demo", "first"], ["demo", "second"]]
    log = (machine.checkout / ".cache/env/run.log").read_text()
    assert log.count("== _by_bare_venv") == 1


def test_what_was_begun_and_not_finished_is_made_anew(machine: Machine):
    machine.lacking = "ensurepip"
    assert machine.demo()[0] == 7
    (env,) = machine.checkout.glob(".cache/env/run-*")
    (env / ".complete").unlink()
    (env / "bin/warmwell").write_text("half")
    assert machine.demo()[0] == 7


def test_a_wheel_with_another_hash_is_refused(machine: Machine):
    machine.lacking = "ensurepip"
    machine.lock.write_text("thing==1.0 --hash=sha256:" + "0" * 64 + "\n")
    status, out, err = machine.demo()
    assert (status, out) == (1, "")
    assert "could not be installed" in err.splitlines()[-1]
    assert not list(machine.checkout.glob(".cache/env/run-*"))


def test_a_checkout_that_cannot_be_written_uses_the_cache(machine: Machine):
    machine.lacking = "ensurepip"
    (machine.checkout / ".cache").write_text("a file, so that no folder can be made here, not even by root")
    machine.settings = {"XDG_CACHE_HOME": str(machine.folder / "user cache")}
    before = sorted(machine.checkout.rglob("*"))
    status, _, err = machine.demo()
    assert status == 7, err
    assert list(machine.folder.glob("user cache/warmwell/*/env/run-*"))
    changed = set(machine.checkout.rglob("*")) - set(before)
    assert {path for path in changed if "__pycache__" not in path.parts} == set()


def test_a_machine_without_browser_or_broker_is_fine(machine: Machine):
    machine.lacking = "ensurepip"
    assert not any((machine.bin / name).exists() for name in ("mosquitto", "chromium", "apt-get"))
    status, _, err = machine.demo()
    assert status == 7
    assert "install" not in err


@pytest.mark.parametrize(
    "settings, status, last",
    [
        ({}, 0, ""),
        ({"RUFF_FINDS": "1"}, 1, "not passed: ruff format --check"),
        ({"PYTEST_ENDS": "5"}, 5, ""),
    ],
    ids=["all well", "ruff finds something", "pytest ran nothing"],
)
def test_run_passes_arguments_on_and_fails_when_anything_does(
    machine: Machine, settings: dict[str, str], status: int, last: str
):
    machine.lacking, machine.settings = "ensurepip", settings
    ended, out, err = machine.run("tests/run.sh", "-k", "two words")
    said, count = out.splitlines()
    assert ended == status, err
    assert json.loads(said)["arguments"][-2:] == ["-k", "two words"]
    assert json.loads(said)["folder"] == str(machine.checkout)
    assert count == "3 passed, 0 failed, 0 skipped"
    assert err.rstrip().endswith(last)
    assert "some tests will skip: mosquitto" in err  # told to install nothing, it says what is missing
