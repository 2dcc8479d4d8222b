"""The page's own words: each language has them all, each is said somewhere, and no words stand anywhere else.

What is asked here is the project's own rule, which opens edge/web/say.js.
"""

from __future__ import annotations

import re
from typing import get_args

import pytest

from edge.api.words import words_in
from edge.domain.alarms.performance import TARGETS
from edge.domain.entries import KINDS
from edge.domain.records.forms import FORMS
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import TO_CHOOSE
from edge.telling.cursor import What
from tests.page_words import WEB, files, literals, rows, said, scripts, values_of, words
from tests.terms import TYPED
from tests.unit.repository.test_words import OF_ENGLISH

OTHERS = [code for code in LANGUAGES if code != "en"]
in_each_language = pytest.mark.parametrize("code", OTHERS)
#: ids whose words are the same in English and another language: names, signs, and words that the languages share
ALIKE = {
    "de": """about.name about.station column.alarm entry.draw field.in_unit health.bus health.journal lane.reservoir section.reservoir
           section.station test.start verdict.when view.station""",
    "fr": """about.site column.point entry.version fact.contact fleet.sites health.bus health.journal key.contact_s key.gain key.instrument
key.lot key.point kind.bus
          kind.contradiction kind.phase kind.verdict group.verdicts label.note label.text treat.contact""",
    "es": "entry.broker health.bus key.error kind.bus role.auditor section.bus station.no",
}
#: signs and joints that no language says in another way
SIGNS = re.compile(r"(name|age|span|unit|size|choice)\.\w+|key\.u")

#: two words side by side, or one that begins with a capital: a text for people
TEXT = re.compile(r"[A-Za-z’']{2,}[,;:.]? [A-Za-z’'(]{2,}|^[A-Z](?!\d)\w+\b")
#: texts of code: classes of elements, places in the document, names of events
CODE = re.compile(
    r'make\("\w+", "[^"]*"|button\("[^"]*"|section\("[^"]*", "[^"]*"|(querySelector(All)?|closest|getElementById|addEventListener'
    r'|matchMedia|split|setAttribute|setItem|getItem|Event|warn)\("[^"]*"|import .*?;|shape\("[^"]*"|"Content-Type"|"Cel"|"UTC"'
    r'|"(POST|PUT|DELETE)"|"(Enter|Backspace|Shift|CapsLock)"',
    re.DOTALL,
)
#: texts that stay, and why. The list may only shrink.
STAYS = {
    "entries.js": {"record by at counts why_not why_not_msg stands note text why alarm": "keys of a record"},
    "say.js": {name: "what a language calls itself" for name, _ in files().values()},
    "told.js": {"Warmwell": "the project's name, where the station has none"},
    "views/station.js": {"API": "a section of the station file", "MQTT": "a section of the station file"},
}
#: modules that say an id of a table of theirs. The list may only shrink.
UNWRITTEN = ["told.js", "told.js", "views/now.js", "views/station.js"]


# -- the languages


def test_the_page_speaks_the_languages_that_the_station_speaks() -> None:
    assert {code: name for code, (name, _) in files().items()} == {
        code: language.name for code, language in LANGUAGES.items()
    }
    assert {path.stem for path in (WEB / "words").glob("*.js")} == {file for _, file in files().values()}


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_file_of_words_holds_nothing_but_words(code: str) -> None:
    text = (WEB / "words" / f"{files()[code][1]}.js").read_text(encoding="utf-8")
    frame = [line for line in text.splitlines() if not re.match(r'  "|  // |// ', line)]
    assert frame == ["export const WORDS = {", "};"]
    assert len(rows(code)) == len(words(code)) == len(re.findall(r'^  "', text, re.MULTILINE)) > 300
    assert all(template.strip() == template != "" for template in words(code).values())


@in_each_language
def test_a_language_has_the_ids_and_values_of_english(code: str) -> None:
    assert [ident for ident, _ in rows(code)] == [ident for ident, _ in rows("en")]
    assert [i for i, template in words(code).items() if values_of(template) != values_of(words("en")[i])] == []


@in_each_language
def test_no_english_is_left_in_a_language(code: str) -> None:
    alike = {i for i, template in words(code).items() if template == words("en")[i] and not SIGNS.fullmatch(i)}
    assert alike == set(ALIKE[code].split()), "give it words in this language, or list it"
    assert {i: template for i, template in words(code).items() if OF_ENGLISH.search(TYPED.sub(" ", template))} == {}


# -- what is said


def test_each_id_that_is_said_has_words_and_is_handed_the_values_that_they_name() -> None:
    english, wrong, unwritten = words("en"), list[str](), list[str]()
    assert len(said()) > 150
    for call in said():
        if not call.ids and not call.heads:
            unwritten.append(call.where.partition(":")[0])  # an id that stands elsewhere
            continue
        named = [values_of(english[ident]) for ident in call.ids if ident in english]
        named += [values_of(t) for head in call.heads for ident, t in english.items() if ident.startswith(head)]
        if not named or not call.ids <= english.keys():
            wrong.append(f"{call.where}: no words for {sorted(call.ids - english.keys()) or call.heads or 'it'}")
        elif set().union(*named) != call.values:
            meant = sorted(set().union(*named))
            wrong.append(f"{call.where}: {sorted(call.ids)} name {meant}, {sorted(call.values)} are given")
    assert wrong == []
    assert sorted(unwritten) == UNWRITTEN, "write ids out where they are said"


def test_each_text_that_looks_like_an_id_is_one_and_each_id_is_said() -> None:
    heads = {ident.partition(".")[0] for ident in words("en")}
    texts = [one for _, script in scripts() for one in literals(script)]
    named = {one.text for one in texts if one.whole and re.fullmatch(r"[a-z]+\.[a-z_0-9]+", one.text)}
    named = {ident for ident in named if ident.partition(".")[0] in heads}
    assert named - words("en").keys() == set(), "give it words"
    together = {one.text for one in texts if not one.whole and one.text.removesuffix(".") in heads} | {
        f"{table}." for _, script in scripts() for table in re.findall(r'known\("(\w+)"', script)
    }
    left = {i for i in words("en") if i not in named and f"{i.partition('.')[0]}." not in together}
    assert left == set(), "nothing says these"


def test_what_comes_from_the_stations_vocabulary_has_words() -> None:
    """Words by id of what the page is told, such as a kind of entry: all that there are, and no other."""

    def of(table: str) -> set[str]:
        return {ident.partition(".")[2] for ident in words("en") if ident.startswith(f"{table}.")}

    assert of("kind") == set(KINDS)
    (views,) = re.findall(r"^const VIEWS = \{\n(.*?)^\};", dict(scripts())["main.js"], re.MULTILINE | re.DOTALL)
    assert of("view") == set(re.findall(r"^  (\w+)[:,]", views, re.MULTILINE))
    assert of("told") == set(get_args(What))
    assert of("figure") >= set(TARGETS) - {"per_period"}
    assert of("choice") >= {unit for units in TO_CHOOSE.values() for unit in units}
    told_otherwise = set(
        "by at note text why alarm channel_ports value unit contact_min minutes litres of u_parts".split()
    )
    keys = {key for form in FORMS.values() for key in (*form.keys, *form.made)} - told_otherwise
    assert keys - of("key") == set()


@pytest.mark.parametrize("code", LANGUAGES)
def test_what_the_page_says_while_nothing_is_heard_is_what_the_station_says(code: str) -> None:
    titles = words_in(LANGUAGES[code])["displays"]
    for display in ("not_ready", "cant_tell"):
        assert words(code)[f"unheard.{display}"] == titles[display]
    note = words(code)["now.surroundings_only"]
    assert note[:1].upper() + note[1:] == LANGUAGES[code].catalogue["verdict.surroundings_only"]


# -- and no words elsewhere


def texts_in(script: str) -> list[str]:
    """Texts for people in a script."""
    passed = [found.span() for found in CODE.finditer(script)]
    return [
        one.text
        for one in literals(script)
        if TEXT.search(one.text) and not any(begin <= one.at < end for begin, end in passed)
    ]


@pytest.mark.parametrize(("name", "script"), list(scripts()), ids=[name for name, _ in scripts()])
def test_no_words_stand_in_the_page_outside_its_words(name: str, script: str) -> None:
    texts, stay = texts_in(script), STAYS.get(name, {})
    found = [text for text in texts if text not in stay]
    assert set(stay) <= set(texts), "it is gone: take it off the list"
    assert found == [], "give it an id and words in each language (edge/web/say.js)"


def test_the_rule_finds_words_where_they_stand() -> None:
    script = (
        'make("p", "quiet wide", "No reading"); put(x, `${n} days left`); set(x, "title", "Filters"); // some words'
    )
    assert texts_in(script) == ["No reading", " days left", "Filters"]
