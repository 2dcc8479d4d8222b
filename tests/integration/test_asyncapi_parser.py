"""config/mqtt.asyncapi.json is read by the AsyncAPI initiative's own parser (JavaScript), which holds it against their schema of 3.0.

The parser is fetched once, by npm, into the user's cache folder; a machine without node, npm or a registry skips, visibly.
"""

from __future__ import annotations

import copy
import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.asyncapi_kit import FILE
from tests.npm_kit import folder_of

PARSER = "@asyncapi/parser@3.6.6"
PROGRAM = Path(__file__).with_name("asyncapi_parse.mjs")
ERROR, WARNING = 0, 1  # of the parser's severities; below stand hints


@pytest.fixture(scope="module")
def folder() -> Path:
    return folder_of(PARSER, "the AsyncAPI parser")


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
