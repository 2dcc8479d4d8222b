"""The bill of materials of an installation, from the lock of the packages and what they say of themselves where they are installed.

    .cache/env/run-…/bin/python deploy/sbom.py              CycloneDX 1.6, JSON, on standard output
    .cache/env/run-…/bin/python deploy/sbom.py --licences   a list to read: name, version, licence

Run it with the Python of an environment that was made from deploy/requirements-run.lock (deploy/stick.sh does, and puts both on the
stick). A package of the lock that isn't installed there, such as one for another system, is listed without licence. The same lock and
environment give the same bytes. Fields are those of the CycloneDX 1.6 reference, names of packages as purl-spec has them for pypi.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
import uuid
from importlib import metadata
from pathlib import Path
from typing import Any, Final, NamedTuple

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT: Final = Path(__file__).resolve().parents[1]


class Package(NamedTuple):
    """One line of the lock: its name as packages are compared, its version, the SHA-256 of each of its wheels."""

    name: str
    version: str
    hashes: tuple[str, ...]

    @property
    def purl(self) -> str:
        return f"pkg:pypi/{self.name}@{self.version}"


def locked(text: str) -> list[Package]:
    """The packages of a lock, by name."""
    entries = re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)((?:.*\\\n)*.*)", text, re.MULTILINE)
    return sorted(
        Package(canonicalize_name(name), version, tuple(sorted(re.findall(r"--hash=sha256:([0-9a-f]{64})", rest))))
        for name, version, rest in entries
    )


def about(package: Package) -> metadata.PackageMetadata | None:
    """What the installed package says of itself; None where that version isn't installed."""
    try:
        found = metadata.metadata(package.name)
    except metadata.PackageNotFoundError:
        return None
    return found if found["Version"] == package.version else None


#: what packages don't say of themselves but in the text of their licence, as it was read
READ: Final = {"pysnmp": "BSD-2-Clause"}


def licence(package: Package) -> tuple[str, bool]:
    """Its licence, and whether that is an SPDX expression; ("", False) where it doesn't say."""
    found = about(package)
    if found is None:
        return "", False
    if found.get("License-Expression"):
        return found["License-Expression"], True
    named = [word.split(" :: ")[-1] for word in found.get_all("Classifier", []) if word.startswith("License :: ")]
    first = (found.get("License") or "").strip().splitlines()
    if not (named or first) and package.name in READ:
        return READ[package.name], True
    return (" and ".join(named) or (first[0][:100] if first else "")), False


def needs(package: Package, versions: dict[str, Package]) -> list[str]:
    """Which packages of the lock it asks for here, without its extras."""
    found = about(package)
    asked = [Requirement(text) for text in (found.get_all("Requires-Dist", []) if found else [])]
    here = {**default_environment(), "extra": ""}
    names = {canonicalize_name(one.name) for one in asked if one.marker is None or one.marker.evaluate(here)}
    return sorted(versions[name].purl for name in names if name in versions)


def bill(packages: list[Package], project: dict[str, Any]) -> dict[str, Any]:
    """The document."""
    own = f"pkg:pypi/{project['name']}@{project['version']}"
    versions = {package.name: package for package in packages}
    components: list[dict[str, Any]] = []
    for package in packages:
        component: dict[str, Any] = {
            "type": "library",
            "bom-ref": package.purl,
            "name": package.name,
            "version": package.version,
            "purl": package.purl,
            "hashes": [{"alg": "SHA-256", "content": one} for one in package.hashes],
        }
        said, is_spdx = licence(package)
        if said:
            component["licenses"] = [{"expression": said}] if is_spdx else [{"license": {"name": said}}]
        components.append(component)
    wanted = [Requirement(text) for text in project["dependencies"]]
    wanted += [
        Requirement(text)
        for extra, texts in project["optional-dependencies"].items()
        if extra != "test"
        for text in texts
    ]
    asked = {canonicalize_name(one.name) for one in wanted}
    graph = [{"ref": own, "dependsOn": sorted(versions[name].purl for name in asked)}]
    graph += [{"ref": package.purl, "dependsOn": needs(package, versions)} for package in packages]
    body = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": own,
                "name": project["name"],
                "version": project["version"],
                "purl": own,
                "licenses": [{"expression": project["license"]}],
            }
        },
        "components": components,
        "dependencies": graph,
    }
    serial = uuid.uuid5(uuid.NAMESPACE_URL, json.dumps(body, sort_keys=True))
    return {
        "bomFormat": body.pop("bomFormat"),
        "specVersion": body.pop("specVersion"),
        "serialNumber": f"urn:uuid:{serial}",
        **body,
    }


def main(arguments: list[str]) -> int:
    """Print it."""
    packages = locked((ROOT / "deploy/requirements-run.lock").read_text(encoding="utf-8"))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    if arguments == ["--licences"]:
        for package in packages:
            print(f"{package.name}  {package.version}  {licence(package)[0] or 'not installed here, or not said'}")
    elif not arguments:
        print(json.dumps(bill(packages, project), indent=2, ensure_ascii=False))
    else:
        print(
            f"sbom.py: {' '.join(arguments)} is no option; expected --licences or nothing. Correct it.", file=sys.stderr
        )
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
