"""Packages of npm that single tests need, fetched once into the user's cache folder; a machine without them skips, visibly."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def folder_of(package: str, called: str) -> Path:
    """The folder that holds `package` ("name@version"); made whole beside its place, then moved: no other run sees half of it."""
    npm = shutil.which("npm")
    if npm is None or shutil.which("node") is None:
        pytest.skip("node and npm are not installed here")
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "warmwell"
    place = cache / package.replace("/", "-")
    if not (place / "node_modules").is_dir():
        new = cache / f"new-{os.getpid()}-{package.replace('/', '-')}"
        options = ["--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries", "1", "--fetch-timeout", "30000"]
        try:
            new.mkdir(parents=True)
            subprocess.run(
                [npm, "install", "--prefix", str(new), *options, package], capture_output=True, check=True, timeout=120
            )
        except (OSError, subprocess.SubprocessError):
            shutil.rmtree(new, ignore_errors=True)
            pytest.skip(f"npm can't install {called} here")
        try:
            new.rename(place)
        except OSError:  # another run was sooner
            shutil.rmtree(new)
    return place
