"""deploy/package.sh: the Debian package, looked at and installed into a folder by dpkg itself. Control fields are of deb-control(5)."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.integration.daemon_kit import ROOT
from tests.integration.install_kit import NEEDS_SYSTEMD, Board, stick


def package(stick: Path, into: Path) -> Path:
    into.mkdir()
    done = subprocess.run(
        ["bash", "deploy/package.sh", str(stick), str(into)], cwd=ROOT, capture_output=True, text=True, check=False, timeout=300
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (made,) = into.iterdir()
    assert done.stdout == f"{made}\n"
    return made


@NEEDS_SYSTEMD
def test_the_package_holds_the_stick_and_installing_it_runs_the_installer(tmp_path: Path) -> None:
    if not shutil.which("dpkg-deb"):
        pytest.skip("dpkg is not installed here")
    source = stick(tmp_path / "stick", "1.0")
    made = package(source, tmp_path / "first")
    assert made.read_bytes() == package(source, tmp_path / "second").read_bytes(), "the same stick, other bytes"

    told = subprocess.run(["dpkg-deb", "--field", made], capture_output=True, text=True, check=True).stdout
    fields = dict(re.findall(r"^([A-Z][\w-]*): (.*)$", told, re.MULTILINE))
    assert (fields["Package"], fields["Version"], fields["Architecture"]) == ("warmwell", "1.0", "all")
    assert {"python3 (>= 3.11)", "python3-venv", "systemd", "udev"} <= set(fields["Depends"].split(", "))
    listed = subprocess.run(["dpkg-deb", "--contents", made], capture_output=True, text=True, check=True).stdout
    holds = {line.split()[-1].removeprefix("./usr/lib/warmwell/"): line for line in listed.splitlines()}
    assert {str(path.relative_to(source)) for path in source.rglob("*") if path.is_file()} <= set(holds)
    assert all(" root/root " in line and line[5] != "w" and line[8] != "w" for line in holds.values())

    board = Board(tmp_path)
    (board.root / "var/lib/dpkg/updates").mkdir(parents=True)
    (board.root / "var/lib/dpkg/info").mkdir()
    for name in ("status", "available"):
        (board.root / "var/lib/dpkg" / name).touch()

    def dpkg(*arguments: str | Path) -> str:
        """Below the root; the maintainer scripts run outside of it, told of it by DPKG_ROOT (dpkg(1), --force-script-chrootless)."""
        settings = {
            **os.environ,
            "WARMWELL_PYTHON": str(board.python),
            "WARMWELL_ROOM_KB": "1000",
            "PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
        }
        force = [f"--force-{thing}" for thing in ("script-chrootless", "depends", "not-root", "bad-path")]
        done = subprocess.run(
            ["dpkg", f"--root={board.root}", f"--log={tmp_path}/dpkg.log", *force, *arguments],
            env=settings, capture_output=True, text=True, check=False, timeout=300,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stderr

    assert "version 1.0-" in dpkg("--install", made)
    assert board.says("--version") == "warmwell 1.0\n"
    assert (board.root / "usr/local/lib/systemd/system/warmwell@.service").is_file()
    kept = board.root / "var/lib/warmwell/journal.db"
    kept.write_bytes(b"a record")
    assert "removed" in dpkg("--remove", "warmwell")
    assert kept.read_bytes() == b"a record" and not (board.root / "opt/warmwell").exists()
    assert not (board.root / "usr/lib/warmwell/deploy/install.sh").exists()


def test_what_is_no_stick_is_refused(tmp_path: Path) -> None:
    done = subprocess.run(
        ["bash", "deploy/package.sh", str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert "no folder of deploy/stick.sh; expected one with SHA256SUMS" in line and line.endswith(".")
    done = subprocess.run(
        ["bash", "deploy/stick.sh", str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "WARMWELL_PYTHON": sys.executable},
    )  # fmt: skip
    assert done.returncode == 2 and "it is there already; expected a new folder" in done.stderr
