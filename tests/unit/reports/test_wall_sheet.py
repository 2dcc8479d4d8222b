"""`warmwell sheet`: its square is read back by a reader of our own (tests/qr.py, ISO/IEC 18004), its HTML by Python's."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from edge.certificates.making import make_own
from edge.cli.app import app
from edge.domain.words.language import Language
from edge.domain.words.languages import LANGUAGES
from tests import qr

ROOT = Path(__file__).parents[3]
MINIMAL = (ROOT / "config/station-minimal.toml").read_text(encoding="utf-8")
EXAMPLE = ROOT / "config/station-example.toml"
#: what only some sheets say
LEFT_OUT = ("sheet.fingerprint", "sheet.own_computer", "sheet.unreviewed")


class Heard(HTMLParser):
    """What a browser would make of it: tags, and texts by the tag that they stand in."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags, self.texts, self.asks = [""], list[tuple[str, str]](), list[str]()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.asks += [name for name, _ in attrs if name in ("src", "href") or name.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.texts.append((self.tags[-1], data))


def sheet(*words: str | Path) -> str:
    done = CliRunner().invoke(app, ["sheet", *map(str, words)])
    assert (done.exit_code, done.stderr) == (0, "")
    return done.stdout


def square_of(page: str) -> list[list[bool]]:
    found = re.search(r'<svg viewBox="0 0 (\d+) (\d+)".*? d="([^"]+)"', page)
    assert found
    modules = qr.modules_of(found[3], 4)
    assert int(found[1]) == int(found[2]) == len(modules) + 8, "four modules of light on each side"
    return modules


def test_the_square_leads_to_the_address_that_stands_beside_it(tmp_path: Path) -> None:
    """Of both kinds: one block of words, and several that are interleaved."""
    for host, own in (("127.0.0.1", True), ("192.0.2.14", False), ("2001:db8:0:1:aaaa:bbbb:cccc:14", False)):
        file = tmp_path / "station.toml"
        listen = f"[{host}]:8484" if ":" in host else f"{host}:8484"
        file.write_text(
            f'{MINIMAL}\n[api]\nlisten = "{listen}"\n'
            + ("" if own else '[api.tls]\ncertificate = "page.pem"\nkey = "page-key.pem"\n')
        )
        if not own:
            make_own(tmp_path / "page.pem", tmp_path / "page-key.pem", (host,), datetime.now(UTC))
        page = sheet(file)
        address = f"{'http' if own else 'https'}://{listen}/"
        assert ("p", address) in Heard(page).texts and qr.read(square_of(page)) == address
        assert ("own computer alone" in page) is own and ("fingerprint" in page.split("</style>")[1]) is not own


def test_a_square_with_a_module_turned_over_is_noticed() -> None:
    square = square_of(sheet(EXAMPLE))
    square[-1][-1] ^= True
    with pytest.raises(AssertionError, match="a word is wrong"):
        qr.read(square)


@pytest.mark.parametrize("language", LANGUAGES.values(), ids=LANGUAGES)
def test_it_says_what_to_do_in_each_language_and_asks_nobody_for_anything(language: Language) -> None:
    heard = Heard(sheet(EXAMPLE, "--language", language.code))
    texts = [text for _, text in heard.texts]
    for ident, template in language.catalogue.items():
        if ident.startswith("sheet.") and ident not in LEFT_OUT:
            shown = template.partition("{")[0] or template.rpartition("}")[2]
            assert any(shown in text for text in texts), ident
    assert (language.catalogue["sheet.unreviewed"] in texts) is not language.reviewed
    assert heard.tags.count("li") == 5 + 3 + 6 and heard.asks == []
    assert {"script", "link", "img", "iframe"} & set(heard.tags) == set()


def test_what_people_wrote_stands_there_as_they_wrote_it(tmp_path: Path) -> None:
    nasty = "</title><script>alert(1)</script> & Room “2”"
    file = tmp_path / "station.toml"
    file.write_text(MINIMAL.replace('id = "practice-bench"', f"id = \"practice-bench\"\ntitle = '{nasty}'"))
    heard = Heard(sheet(file, "--call", "<b>Biomed</b>, 214", "--call", "Facilities & water"))
    assert ("h1", nasty) in heard.texts
    assert [text for tag, text in heard.texts if text.startswith(("<b>", "Facilities"))] == [
        "<b>Biomed</b>, 214",
        "Facilities & water",
    ]
    assert {"script", "b"} & set(heard.tags) == set()


def test_a_language_that_there_is_not_is_refused() -> None:
    done = CliRunner().invoke(app, ["sheet", str(EXAMPLE), "--language", "xx"])
    assert done.exit_code == 2 and "--language: there are no words in 'xx'; expected en, de, fr, es" in done.stderr
