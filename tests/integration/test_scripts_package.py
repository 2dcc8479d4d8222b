"""What is installed: the locks say what pyproject.toml asks for, and an installed wheel works from any folder."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections import Counter
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
RUN, TEST = ROOT / "deploy/requirements-run.lock", ROOT / "deploy/requirements-test.lock"


def wanted(*extras: str) -> list[Requirement]:
    project = PROJECT["project"]
    lists = [project["dependencies"], PROJECT["build-system"]["requires"]]
    lists += [project["optional-dependencies"][extra] for extra in extras]
    return [Requirement(text) for texts in lists for text in texts]


def locked(path: Path) -> dict[str, str]:
    found = re.findall(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)", path.read_text(encoding="utf-8"), re.MULTILINE)
    return {canonicalize_name(name): version for name, version in found}


@pytest.mark.parametrize(
    "path, extras", [(RUN, ["demo", "gpio", "notify"]), (TEST, ["demo", "gpio", "notify", "test"])], ids=["run", "test"]
)
def test_lock_holds_what_the_project_asks_for(path: Path, extras: list[str]):
    versions = locked(path)
    missing = [
        str(r) for r in wanted(*extras) if not r.specifier.contains(versions.get(canonicalize_name(r.name), "0"))
    ]
    assert missing == [], "run deploy/relock.sh"


def test_tests_run_with_the_versions_that_people_run():
    run, test = locked(RUN), locked(TEST)
    assert len(run) > 20
    assert {name: test.get(name) for name in run} == run


@pytest.mark.parametrize("path", [RUN, TEST], ids=["run", "test"])
def test_lock_has_hashes_takes_wheels_only_and_names_no_place(path: Path):
    text = path.read_text(encoding="utf-8")
    assert "\n--only-binary :all:\n" in text
    assert not re.search(r"://|--index|--extra-index|--find-links|@ file", text)
    entries = re.findall(r"^[A-Za-z0-9._-]+==(?:.*\\\n)*.*$", text, re.MULTILINE)
    names = Counter(canonicalize_name(entry.split("==")[0]) for entry in entries)
    assert names.keys() == locked(path).keys()
    twice = [entry.splitlines()[0] for entry in entries if names[canonicalize_name(entry.split("==")[0])] > 1]
    assert [line for line in twice if "python_full_version" not in line] == [], "one version for each Python"
    assert [entry.split()[0] for entry in entries if not re.search(r"--hash=sha256:[0-9a-f]{64}\b", entry)] == []


def test_bill_of_materials_names_what_the_lock_has_with_licences():
    """CycloneDX 1.6's reference, and purl-spec for names of pypi, both from memory; licences are what the packages say themselves."""
    made = [
        subprocess.run([sys.executable, "deploy/sbom.py"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        for _ in "ab"
    ]
    assert made[0] == made[1]
    bill = json.loads(made[0])
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", bill["serialNumber"])
    assert {part["name"]: part["version"] for part in bill["components"]} == locked(RUN)
    hashes = {one["content"] for part in bill["components"] for one in part["hashes"]}
    assert hashes == set(re.findall(r"sha256:([0-9a-f]{64})", RUN.read_text(encoding="utf-8")))
    licences = {part["name"]: part.get("licenses", [{}])[0] for part in bill["components"]}
    assert licences["cryptography"] == {"expression": "Apache-2.0 OR BSD-3-Clause"}
    assert licences["gpiod"] == {"expression": "LGPL-2.1-or-later"}
    assert [
        name for name, said in licences.items() if not said and name != "colorama"
    ] == []  # colorama: for another system
    asks = {line["ref"].split("@")[0]: line["dependsOn"] for line in bill["dependencies"]}
    known = {part["bom-ref"] for part in bill["components"]}
    assert set().union(*map(set, asks.values())) <= known
    assert any(ref.startswith("pkg:pypi/fastapi@") for ref in asks["pkg:pypi/warmwell"])
    assert any(ref.startswith("pkg:pypi/starlette@") for ref in asks["pkg:pypi/fastapi"])


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(tmp_path_factory.mktemp("wheel"))


def built(folder: Path) -> Path:
    command = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", folder, ROOT]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return next(folder.glob("warmwell-*.whl"))


def test_the_same_checkout_gives_a_wheel_of_the_same_bytes(wheel: Path, tmp_path: Path):
    assert built(tmp_path).read_bytes() == wheel.read_bytes()


def test_wheel_holds_the_page_and_the_examples(wheel: Path):
    names = zipfile.ZipFile(wheel).namelist()
    inside = {name for name in names if ".data/" not in name and ".dist-info/" not in name}
    assert {name.split("/")[0] for name in inside} == {"edge", "adapters", "simulators"}
    sources = [p for folder in ("edge", "adapters", "simulators") for p in (ROOT / folder).rglob("*") if p.is_file()]
    expected = {p.relative_to(ROOT).as_posix() for p in sources if p.suffix != ".pyc"}
    assert expected - inside == set()
    assert any(name.endswith(".html") for name in inside)
    assert any("/data/share/warmwell/config/" in name and name.endswith(".toml") for name in names)


def test_installed_wheel_runs_from_any_folder(wheel: Path, tmp_path: Path):
    site, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    elsewhere.mkdir()
    install = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", site, wheel]
    done = subprocess.run(install, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    environ = {**os.environ, "PYTHONPATH": str(site)}

    def said(*command: str | Path) -> str:
        done = subprocess.run(
            command, cwd=elsewhere, env=environ, capture_output=True, text=True, timeout=60, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    where = said(sys.executable, "-c", "import edge.cli.app, simulators; print(edge.cli.app.__file__)")
    assert Path(where.strip()).is_relative_to(site)  # not the checkout's
    program = site / "bin/warmwell"
    assert "check" in said(program, "--help")
    for example in sorted(site.glob("share/warmwell/config/*-*.toml")):
        said(program, "check", example)
    kept = site / "share/warmwell/config/mqtt.asyncapi.json"
    assert said(program, "schema", "mqtt") == kept.read_text(encoding="utf-8")
