"""Sticks of two small wheels, a folder that stands for a board's root, and a service manager of a few lines, for deploy/install.sh.

Warmwell's own wheel holds one line, a path to this checkout and to the packages that the tests run with: what is installed by it is
the true program. The scripts are the shipped ones, and every step they take is the true one; only what is installed is small.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from tests.integration.daemon_kit import ROOT, free_port
from tests.integration.test_scripts import digest, wheel_of_thing

LACKS = not all(shutil.which(tool) for tool in ("systemctl", "systemd-sysusers", "setpriv", "flock", "sha256sum"))
NEEDS_SYSTEMD = pytest.mark.skipif(LACKS, reason="systemd or util-linux is not installed here")

SHIPPED = (
    "install.sh environment.sh sums.sh warmwell.sysusers 60-warmwell-gpio.rules 60-warmwell-onewire.rules "
    "warmwell@.service warmwell@.path warmwell-bus@.service warmwell-face@.service"
).split()

STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[reservoir]
set_point = "39 degC"
contact = {{ minimum = "35 degC" }}
coldest_room = "18 degC"

[[bus]]
id = "bench"
kind = "simulated"
scenario = "cold-morning"

[[point]]
id = "reservoir"
role = "reservoir_temperature"
bus = "bench"
every = "200 ms"

[api]
listen = "127.0.0.1:{port}"

[keep]
folder = "/var/lib/warmwell/scope-room-2"
"""

#: an interpreter without ensurepip, as Debian's without python3-venv: the environment is made by another's pip, in a tenth of the time
PYTHON = """#!/bin/sh
case " $* " in
    *" -m venv --without-pip "*) ;;
    *" -m venv "*) exit 1 ;;
esac
exec {python} "$@"
"""

#: stands for systemd: starts what the installed unit says, with the folder of the root in front, and waits for READY=1
MANAGER = """#!{python} -I
import os, re, signal, socket, subprocess, sys
from pathlib import Path
root, state = Path({root!r}), Path({state!r})
words = [word for word in sys.argv[1:] if not word.startswith("-")]
with (state / "asked").open("a") as asked:
    print(*words, file=asked)
def stop(name):
    pid = state / name
    if pid.exists():
        try:
            os.kill(int(pid.read_text()), signal.SIGKILL)
        except ProcessLookupError:
            pass
        pid.unlink()
if words[0] == "list-units":
    if not any("failed" in word for word in sys.argv):
        for pid in state.glob("warmwell@*.service"):
            print(pid.name, "loaded active running")
elif words[0] in ("stop", "restart") and words[-1].endswith(".service"):
    stop(words[-1])
    if words[0] == "restart":
        name = words[-1].removeprefix("warmwell@").removesuffix(".service")
        unit = (root / "usr/local/lib/systemd/system/warmwell@.service").read_text()
        command = re.search("^ExecStart=(.*)$", unit, re.MULTILINE)[1].replace("%i", name).split()
        station = state / (name + ".toml")
        text = (root / ("etc/warmwell/" + name + ".toml")).read_text()
        station.write_text(text.replace('"/var/lib/', f'"{{root}}/var/lib/'))
        command = [str(root) + command[0], command[1], str(station)]
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            address = state / "notify"
            address.unlink(missing_ok=True)
            manager.bind(str(address))
            manager.settimeout(0.2)
            with (state / "log").open("a") as log:
                started = subprocess.Popen(command, env={{"PATH": "/usr/bin:/bin", "NOTIFY_SOCKET": str(address)}},
                    stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True)
            while started.poll() is None:
                try:
                    if b"READY=1" in manager.recv(4096):
                        (state / words[-1]).write_text(str(started.pid))
                        sys.exit(0)
                except TimeoutError:
                    pass
        sys.exit(1)
"""


def wheel_of_warmwell(folder: Path, version: str) -> Path:
    """Its .pth leads to this checkout and to the packages of the interpreter that runs the tests."""
    info = f"warmwell-{version}.dist-info/"
    files = {
        "warmwell.pth": f"{ROOT}\n{sysconfig.get_path('purelib')}\n",
        info + "METADATA": f"Metadata-Version: 2.1\nName: warmwell\nVersion: {version}\n",
        info + "WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    path = folder / f"warmwell-{version}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as wheel:
        for name, text in files.items():
            wheel.writestr(name, text)
        wheel.writestr(info + "RECORD", "".join(f"{name},,\n" for name in (*files, info + "RECORD")))
    return path


def stick(folder: Path, version: str, unit: tuple[str, str] = ("", "")) -> Path:
    """As deploy/stick.sh writes it. `unit`: what is replaced in the service unit, and by what."""
    (folder / "deploy").mkdir(parents=True)
    (folder / "wheels").mkdir()
    for name in SHIPPED:
        shutil.copy(ROOT / "deploy" / name, folder / "deploy" / name)
    service = folder / "deploy/warmwell@.service"
    service.write_text(service.read_text().replace(*unit))
    thing = wheel_of_thing(folder / "wheels")
    wheel_of_warmwell(folder / "wheels", version)
    (folder / "deploy/requirements-run.lock").write_text(f"thing==1.0 --hash=sha256:{digest(thing)}\n")
    (folder / "LICENSE").write_text("Apache-2.0\n")
    signed(folder)
    return folder


def signed(folder: Path) -> None:
    """SHA256SUMS, as deploy/stick.sh writes it last."""
    files = sorted(path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("SHA256SUMS"))
    lines = (f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder)}\n" for path in files)
    (folder / "SHA256SUMS").write_text("".join(lines))


def release(verb: str, key: Path, *folder: Path, passphrase: str = "weak tea") -> str:
    """What deploy/release.sh says, where it does what it is asked for."""
    status, said = released(verb, key, *folder, passphrase=passphrase)
    assert status == 0, said
    return said


def released(*arguments: str | Path, passphrase: str = "weak tea") -> tuple[int, str]:
    """The exit code of deploy/release.sh, and what it says."""
    environ = {"PATH": "/usr/bin:/bin", "WARMWELL_PASSPHRASE": passphrase}
    command = ["bash", str(ROOT / "deploy/release.sh"), *map(str, arguments)]
    done = subprocess.run(command, env=environ, capture_output=True, text=True, check=False, timeout=60)
    assert done.stdout == ""
    return done.returncode, done.stderr


def made_key(path: Path) -> Path:
    """A key to sign with; its public half stands beside it, as PATH.pub."""
    release("key", path)
    return path


class Board:
    """A folder in the place of a board's root. Its user warmwell is whoever runs the tests: nobody else may read their packages."""

    def __init__(self, folder: Path, *, live: bool = False) -> None:
        self.root, self.state, self.live = folder / "root", folder / "state", live
        (self.root / "etc").mkdir(parents=True, exist_ok=True)
        self.state.mkdir(exist_ok=True)
        uid, gid = os.getuid(), os.getgid()
        (self.root / "etc/passwd").write_text(f"warmwell:x:{uid}:{gid}::/var/lib/warmwell:/usr/sbin/nologin\n")
        (self.root / "etc/group").write_text(
            f"warmwell:x:{gid}:\ndialout:x:{gid + 1}:warmwell\ngpio:x:{gid + 2}:warmwell\n"
        )
        self.manager = folder / "manager"
        self.manager.write_text(MANAGER.format(python=sys.executable, root=str(self.root), state=str(self.state)))
        self.manager.chmod(0o755)
        self.python = folder / "python3"
        self.python.write_text(PYTHON.format(python=sys.executable))
        self.python.chmod(0o755)
        self.station = folder / "my-station.toml"
        self.port = free_port()
        self.station.write_text(STATION.format(port=self.port))

    def run(self, stick: Path, *arguments: str | Path, **settings: str) -> tuple[int, list[str]]:
        """Exit code, and the lines on standard error."""
        environ = {
            "PATH": "/usr/bin:/bin", "HOME": str(self.root), "WARMWELL_PYTHON": str(self.python), "PIP_NO_CACHE_DIR": "1",
            "WARMWELL_ROOM_KB": "1000", **({"WARMWELL_SYSTEMCTL": str(self.manager)} if self.live else {}), **settings,
        }  # fmt: skip
        command = ["bash", str(stick / "deploy/install.sh"), "--root", str(self.root), *map(str, arguments)]
        done = subprocess.run(
            command, env=environ, capture_output=True, text=True, check=False, timeout=300, umask=0o077
        )
        assert done.stdout == ""
        return done.returncode, done.stderr.splitlines()

    def says(self, *arguments: str) -> str:
        """What the installed command line says, by the name that is on the path."""
        launcher = self.root / "usr/local/bin/warmwell"
        return subprocess.run([launcher, *arguments], capture_output=True, text=True, check=True, timeout=120).stdout

    def picture(self) -> dict[str, tuple[int, bytes | str]]:
        """Every file below the root but logs and locks: when it was changed, and what is in it."""
        found: dict[str, tuple[int, bytes | str]] = {}
        for path in sorted(self.root.rglob("*")):
            at = str(path.relative_to(self.root))
            if path.is_symlink():
                found[at] = (0, os.readlink(path))
            elif (
                path.is_file()
                and "__pycache__" not in path.parts
                and path.name not in (".lock", ".pwd.lock", "install.log")
            ):
                found[at] = (path.stat().st_mtime_ns, path.read_bytes() if path.stat().st_size < 100_000 else b"")
        return found

    def stop(self) -> None:
        for pid in self.state.glob("warmwell@*.service"):
            subprocess.run([self.manager, "stop", pid.name], check=True, timeout=30)
