"""config/mqtt.asyncapi.json is read by the AsyncAPI initiative's own parser (JavaScript), which holds it against their schema of 3.0.

The parser is fetched once, by npm, into the user's cache folder; a machine without node, npm or a registry skips, visibly.
"""

from __future__ import annotations

import copy
import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.asyncapi_kit import FILE

PARSER = "@asyncapi/parser@3.6.6"
PROGRAM = Path(__file__).with_name("asyncapi_parse.mjs")
ERROR, WARNING = 0, 1  # of the parser's severities; below stand hints


@pytest.fixture(scope="module")
def folder() -> Path:
    """The folder that holds the parser; made whole beside its place and moved there, so that no other run sees half of it."""
    npm = shutil.which("npm")
    if npm is None or shutil.which("node") is None:
        pytest.skip("node and npm are not installed here")
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "warmwell"
    place = cache / PARSER.replace("/", "-")
    if not (place / "node_modules").is_dir():
        new = cache / f"new-{os.getpid()}"
        options = ["--ignore-scripts", "--no-audit", "--no-fund", "--fetch-retries", "1", "--fetch-timeout", "30000"]
        try:
            new.mkdir(parents=True)
            subprocess.run(
                [npm, "install", "--prefix", str(new), *options, PARSER], capture_output=True, check=True, timeout=120
            )
        except (OSError, subprocess.SubprocessError):
            shutil.rmtree(new, ignore_errors=True)
            pytest.skip("npm can't install the AsyncAPI parser here")
        try:
            new.rename(place)
        except OSError:  # another run was sooner
            shutil.rmtree(new)
    return place


def test_the_parser_reads_the_document_and_would_find_what_is_wrong_in_it(folder: Path, tmp_path: Path) -> None:
    document: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    action, foreign = copy.deepcopy(document), copy.deepcopy(document)
    action["operations"]["receive_node"]["action"] = "listen"
    foreign["operations"]["receive_node"]["messages"] = [{"$ref": "#/components/messages/head"}]
    files = [tmp_path / f"{number}.json" for number in range(3)]
    for file, told in zip(files, (document, action, foreign), strict=True):
        file.write_text(json.dumps(told), encoding="utf-8")
    done = subprocess.run(
        ["node", str(PROGRAM), str(folder), *map(str, files)], capture_output=True, text=True, check=True, timeout=240
    )
    good, *wrong = [json.loads(line) for line in done.stdout.splitlines()]
    assert good["parsed"] and good["channels"] == len(document["channels"])
    assert [one for one in good["said"] if one["severity"] <= WARNING] == []
    assert len(wrong) == 2
    for one in wrong:
        assert not one["parsed"] and [said for said in one["said"] if said["severity"] == ERROR]
