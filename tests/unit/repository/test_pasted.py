"""Commands that the documents have can be pasted: their verbs, options, kinds of records, keys and words are there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.main import get_command

from edge.cli.app import app
from edge.cli.completion import FILES, Place, places
from edge.domain.records.forms import keys_of
from tests.pasted import commands

ROOT = Path(__file__).parents[3]
PLACES = places(get_command(app))
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(ROOT.glob("deploy/*.md"))]
FOUND = [(path.name, command) for path in DOCUMENTS for command in commands(path)]


def is_placeholder(word: str) -> bool:
    """NAME, KEY=VALUE…, FIRST-LAST: whoever pastes it puts in their own."""
    return word.upper() == word and re.search("[A-Z…]", word) is not None


def strange(command: str) -> list[str]:
    """Words of a command that the command line doesn't know."""
    text = command.replace("bash deploy/demo.sh", "warmwell demo").removeprefix("source <(").removesuffix(")")
    text = text.partition(" > ")[0]
    words, path, option, wrong = shlex.split(text)[1:], "", "", list[str]()
    given = 0
    for word in words:
        place = PLACES[path]
        if option:
            wrong += _not_among(word, place.values[option])
            option = ""
        elif word.startswith("--"):
            option = word if word in place.values else ""
            wrong += [] if word in place.values or word in place.flags else [word]
        elif word in place.verbs:
            path, given = f"{path} {word}".strip(), 0
        elif path.startswith("record ") and "=" in word and not is_placeholder(word):
            wrong += [] if word.partition("=")[0] in keys_of(path.removeprefix("record ")) else [word]
        elif place.arguments:
            wrong += _not_among(word, place.arguments[min(given, len(place.arguments) - 1)])
            given += 1
        elif not is_placeholder(word):
            wrong.append(word)
    return [*wrong, *([f"{option} lacks its value"] if option else [])]


def _not_among(word: str, words: tuple[str, ...]) -> list[str]:
    known = not words or words == (FILES,) or word in words or any(one.endswith((":", "=")) for one in words)
    return [] if known or is_placeholder(word) else [word]


@pytest.mark.parametrize(("document", "command"), FOUND, ids=[f"{name}: {text}"[:70] for name, text in FOUND])
def test_it_is_known(document: str, command: str) -> None:
    assert strange(command) == []


def test_enough_was_looked_at() -> None:
    assert len(FOUND) > 60 and len(commands(ROOT / "README.md")) > 35


@pytest.mark.parametrize(
    ("command", "wrong"),
    [
        ("warmwell stat", ["stat"]),
        ("warmwell status --jsn", ["--jsn"]),
        ("warmwell people add 'M. Osei' --role chief", ["chief"]),
        ("warmwell record hold --by NAME whi='a leak'", ["whi='a leak'".replace("'", "")]),
        ("warmwell certificate renew FILE", ["renew"]),
        ("bash deploy/demo.sh --scenario warm-morning", ["warm-morning"]),
        ("warmwell status --url", ["--url lacks its value"]),
    ],
)
def test_what_is_strange_is_found(command: str, wrong: list[str]) -> None:
    assert strange(command) == wrong


def test_options_beside_a_verb_in_readmes_table_are_that_verbs() -> None:
    rows = re.findall(
        r"^\| `warmwell (\w+)[^\n|]*\|([^\n]*)\|$", (ROOT / "README.md").read_text(encoding="utf-8"), re.M
    )
    seen = 0
    for verb, text in rows:
        of: list[Place] = [place for path, place in PLACES.items() if path.split(" ")[0] == verb]
        for option in re.findall(r"(?<!\w)--[a-z-]+", " ".join(re.findall(r"`(-[^`]*)`", text))):
            assert any(option in (*place.flags, *place.values) for place in of), (verb, option)
            seen += 1
    assert seen > 10
