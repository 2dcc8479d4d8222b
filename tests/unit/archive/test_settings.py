"""The archive's file: the example, and every mistake in one sentence with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.archive.settings import ENVIRONMENT, load
from edge.config.reading import UnusableInputs

EXAMPLE = Path(__file__).parents[3] / "config/archive.toml"
DATABASE = "host=/run/postgresql dbname=warmwell user=warmwell"


@pytest.fixture(autouse=True)
def database(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(ENVIRONMENT, DATABASE)


def test_the_example_says_all(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = load(EXAMPLE)
    assert (found.name, found.sites, found.database) == ("hospital", ("harbour-lane",), DATABASE)
    assert (found.mqtt.host, found.mqtt.port, found.mqtt.username) == ("broker.harbour-lane.example", 8883, "archive")
    assert found.mqtt.tls is not None and found.mqtt.tls.ca == EXAMPLE.parent / "ca.pem"
    monkeypatch.delenv(ENVIRONMENT)
    file = tmp_path / "archive.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "archive-database").write_text(DATABASE + "\n", encoding="utf-8")
    assert load(file).database == DATABASE


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "hospital"', 'name = "a/b"', "line 3, archive.name"), ('name = "hospital"', "", "name is missing"),
        ('sites = ["harbour-lane"]', "sites = []", "line 4, archive.sites"), ("port = 8883", "port = 0", "mqtt.port"),
        ('["harbour-lane"]', '["harbour-lane", "harbour-lane"]', "names one twice"), ("\n[mqtt]\n", "\n[mqttt]\n", 'did you mean "mqtt"?'),
        ('username = "archive"', "", "a password without a username"), ("port = 8883", 'archives = ["x"]', "is not known here"),
        ("\nname =", "\nnome =", "is not known here"), ('host = "broker.harbour-lane.example"', "", "host is missing"),
    ],
)  # fmt: skip
def test_a_mistake_is_one_sentence_at_its_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    assert text.count(old) == 1
    (tmp_path / "archive.toml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(UnusableInputs) as refused:
        load(tmp_path / "archive.toml")
    assert said in str(refused.value)


@pytest.mark.parametrize("text", ["", "\n", "two=1\nlines=2\n", "nothing", "dbname=x\x1b[2J"])
def test_no_word_of_the_database_is_said_and_its_text_is_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    monkeypatch.delenv(ENVIRONMENT)
    (tmp_path / "archive.toml").write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(UnusableInputs, match="can't be read"):
        load(tmp_path / "archive.toml")
    (tmp_path / "archive-database").write_text(text, encoding="utf-8")
    with pytest.raises(UnusableInputs, match="doesn't say where the database is") as refused:
        load(tmp_path / "archive.toml")
    assert text.strip() == "" or text.strip() not in str(refused.value)
