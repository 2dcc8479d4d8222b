"""Words apart from facts: each message has words, its values are those that its words name, and no words stand where facts are made.

What is asked here is the project's own rule (edge/domain/words): the domain says ids and values, a language's catalogue says words.
"""

from __future__ import annotations

import ast
import re
import sys
from collections import Counter
from collections.abc import Iterator

import pytest

from edge.api.words import WORDS as TITLES
from edge.api.words import words_in
from edge.domain.entries import KINDS
from edge.domain.messages import (
    MEMBERS,
    Value,
    ago,
    celsius,
    difference,
    duration,
    moment,
    name,
    names,
    number,
    part,
    parts,
    quantity,
    remaining,
    say,
    text,
)
from edge.domain.readings import REASONS, Kind
from edge.domain.records.forms import FORMS, says_of
from edge.domain.roles import CONTACTS
from edge.domain.words.english import EN, ENGLISH
from edge.domain.words.language import TITLED, Language
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from edge.domain.words.units import Units
from tests.said import all_said, called, kinds_of, meant, said_values, trees, values_of
from tests.terms import CODES, TERMS, TYPED, Term, used
from tests.unit.repository.test_architecture import MODULES, name_of
from tests.unit.stations import SETTINGS

DOMAIN = "edge.domain."
WORDS = "edge.domain.words."
#: packages of languages: their keys are ids, and nothing is said there
LANGUAGE = tuple(f"{WORDS}{name}" for name in ("english", "german", "french", "spanish"))
ID = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)*")
#: two words side by side: a text for people, and no name, key or unit
TEXT = re.compile(r"[A-Za-z’']{2,}[,;:]? [A-Za-z’']{2,}")

#: rows of facts, each with its English words or its title in it (edge/domain/words/__init__.py), and forms that people are shown beside
#: what they type
ROWS = frozenset(
    f"edge.domain.{name}"
    for name in (
        "alarms.catalogue", "alarms.states", "doubts.table", "heat.cycle", "readings", "records.border", "records.forms",
        "records.spelling", "roles", "sensing.calibration_budget", "station.build", "station.judged",
    )
)  # fmt: skip
#: whoever calls these refuses: the sentence is the exception's (what, where, expected, do), and is said to who sent it
REFUSES = re.compile(r"(Refused|Error|Fault|Input|Reject|refused|refusal)")
KEYS = "names of keys, kinds or ended draws, no words for people"
REFUSED = "what a refusal says that is raised elsewhere"
DETAIL = "the detail of a reading: told beside its reason, as an adapter's own words are"
#: the ended draws and a setting's value
NAMED = frozenset({"every port", "flow not known", "ran on"})
#: texts that are no message, and why they stay. The list may only shrink.
STAYS = {
    "edge.domain.entries": KEYS,
    "edge.domain.messages": KEYS,
    "edge.domain.records.daily_tests": KEYS,
    "edge.domain.station.parts.supply.part": KEYS,
    "edge.domain.water.draws": KEYS,
    "edge.domain.quantities": REFUSED,
    "edge.domain.sensing.common": REFUSED,
    "edge.domain.sensing.thermistor": REFUSED,
    "edge.domain.sensing.transducers": REFUSED,
    "edge.domain.strict_json": REFUSED,
    "edge.domain.sensing.pulses": DETAIL,
    "edge.domain.sensing.registers": DETAIL,
    "edge.domain.sensing.sensors": DETAIL,
    "edge.domain.sensing.supervised": DETAIL,
}


def test_many_messages_are_said() -> None:
    assert len(all_said()) > 200 and len(ENGLISH) > 300


def test_each_message_that_is_said_has_words_and_the_values_that_they_name() -> None:
    wrong = []
    for said in all_said():
        for pattern in said.ids:
            found = meant(pattern)
            if not found:
                wrong.append(f"{said.where}: {pattern} has no words")
            for ident in found:
                if said.values is not None and not values_of(ENGLISH[ident]) <= said.values:
                    wrong.append(f"{said.where}: {ident} names {sorted(values_of(ENGLISH[ident]) - said.values)}")
    assert wrong == []


def test_no_value_is_handed_over_that_no_words_name() -> None:
    """With one id for several templates (`*`) each value is named by one of them at least."""
    wrong = []
    for said in all_said():
        named = frozenset().union(*(values_of(ENGLISH[i]) for pattern in said.ids for i in meant(pattern)))
        if said.values is not None and said.ids and not said.values <= named:
            wrong.append(f"{said.where}: {said.ids} has {sorted(said.values - named)}")
    assert wrong == []


def test_no_words_stand_in_the_catalogue_that_nothing_says() -> None:
    patterned = {ident for said in all_said() for pattern in said.ids for ident in meant(pattern)}
    literal = {  # an id that is chosen in one place and said in another
        node.value
        for module, tree in trees().items()
        if not module.startswith(LANGUAGE)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert set(own_rows()) - patterned - literal == set()


def own_rows() -> Iterator[str]:
    """The ids that stand in the catalogue's files, as often as they stand there."""
    for module, tree in trees().items():
        if module.startswith(WORDS + "english."):
            for node in ast.walk(tree):
                if isinstance(node, ast.Dict):
                    yield from (str(key.value) for key in node.keys if isinstance(key, ast.Constant))


def test_ids_are_lower_case_words_with_dots_and_stand_once() -> None:
    assert [ident for ident in ENGLISH if not ID.fullmatch(ident)] == []
    assert [ident for ident, times in Counter(own_rows()).items() if times > 1] == []


#: a value of each kind, as large as it gets and as small
SAMPLES: dict[str, list[Value]] = {
    "temperature": [celsius(39.04), celsius(-1.0)],
    "reading": [quantity(Kind.PRESSURE, 300.0), quantity(Kind.FLOW, 9.0), celsius(39.0)],
    "difference": [difference(Kind.TEMPERATURE, 0.5), difference(Kind.PRESSURE, 12.0), difference(Kind.PRESSURE, None)],
    "duration": [duration(1_500.0), duration(90_000_000)],
    "ago": [ago(1_500.0), ago(900_000_000)],
    "left": [remaining(90_000_000)],
    "moment": [moment(1_773_647_100_000)],
    "number": [number(3), number(2.5, "L"), number(None)],
    "name": [name("tray")],
    "text": [text("as typed")],
    "message": [part(None), part(say("hold.none"))],
    "list": [names(["a", "b"]), parts([say("hold.none")])],
}
#: counts are whole numbers
COUNTED = {"d": [number(3)]}


def test_each_value_can_be_said_as_its_words_want_it() -> None:
    words, wrong = Words(Units(SETTINGS, list(SETTINGS.points))), []
    for ident, template in ENGLISH.items():
        kinds = kinds_of(ident)
        for key, spec in said_values(template):
            for kind in kinds.get(key, ()):
                for value in COUNTED.get(spec, SAMPLES[kind]) if kind == "number" else SAMPLES[kind]:
                    if spec and kind in ("reading", "difference") and not value.kind.startswith("temperature"):
                        continue  # which kind of reading it is, the words know
                    try:
                        words.formatted(value, spec)
                    except (KeyError, TypeError, ValueError) as exc:
                        wrong.append(f"{ident}: {{{key}:{spec}}} can't say a {kind}, such as {value}: {exc}")
    assert wrong == []


#: what stands in the station file, and is changed there alone
OF_THE_FILE = re.compile(
    r"\[+[\w.]*\]+|\b(coldest_room|drop_limit|stale_after)\b|`(resolution|every|stale_after)`|warmwell [a-z].*"
)
#: an id of a record, a key or a role; or a key with its value
OF_OURS = re.compile(r"\b[a-z]+_[a-z_]+\b|\b[a-z]+=\S|`[a-z]+`|^of: ")


@pytest.mark.parametrize("language", LANGUAGES.values(), ids=LANGUAGES)
def test_whoever_has_forms_reads_no_id(language: Language) -> None:
    typed, formed = (Words(language=language, has_forms=has) for has in (False, True))
    left, fewer = {}, 0
    asked_by_keys = {says_of(record, key).id for record, form in FORMS.items() for key in form.keys}
    for ident in language.catalogue.keys() - asked_by_keys:  # who has forms is shown no keys
        said = formed.text(say(ident))
        if found := OF_OURS.search(OF_THE_FILE.sub(" ", said)):
            left[ident] = found[0]
        fewer += OF_OURS.search(OF_THE_FILE.sub(" ", typed.text(say(ident)))) is not None
    assert left == {} and fewer > 25
    ask = say("by_eye.read_role", role=name("outlet_protection"))
    assert "outlet_protection" not in formed.text(ask)


# -- further languages

TRANSLATIONS = [language for code, language in LANGUAGES.items() if code != "en"]
#: words of English that no other language of the catalogues has
OF_ENGLISH = re.compile(
    r"\b(the|of|is|are|not|and|with|it|its|for|to|by|be|been|than|from|which|that|this|does)\b", re.I
)
in_each_language = pytest.mark.parametrize("language", TRANSLATIONS, ids=[each.code for each in TRANSLATIONS])


@in_each_language
def test_a_language_has_words_for_each_id_and_no_other(language: Language) -> None:
    assert ENGLISH.keys() - language.catalogue.keys() == set(), "give them words in this language"
    assert language.catalogue.keys() - ENGLISH.keys() == set(), "nothing says these"


@in_each_language
def test_a_language_names_the_values_that_english_names(language: Language) -> None:
    wrong = [i for i, template in language.catalogue.items() if values_of(template) != values_of(ENGLISH[i])]
    assert wrong == []


@in_each_language
def test_each_value_can_be_said_as_a_language_wants_it(language: Language) -> None:
    words, looked = Words(Units(SETTINGS, list(SETTINGS.points)), language=language), 0
    for ident, template in language.catalogue.items():
        kinds = kinds_of(ident)
        for key, spec in said_values(template):
            assert spec not in TITLED or set(kinds[key]) <= {"name", "text"}, f"{ident}: {key} has no title"
            for kind in kinds.get(key, ()):
                for value in COUNTED.get(spec, SAMPLES[kind]) if kind == "number" else SAMPLES[kind]:
                    if spec and kind in ("reading", "difference") and not value.kind.startswith("temperature"):
                        continue
                    words.formatted(value, spec)
                    looked += 1
    assert looked > 500


@in_each_language
def test_no_english_is_left_in_a_language(language: Language) -> None:
    texts = {**language.catalogue} | {
        f"{table}.{key}": title for table, titles in language.titles.items() for key, title in titles.items()
    }
    left = {ident: found[0] for ident, text in texts.items() if (found := OF_ENGLISH.search(TYPED.sub(" ", text)))}
    assert left == {}
    alike = [i for i, text in language.catalogue.items() if text == ENGLISH[i] and TEXT.search(TYPED.sub(" ", text))]
    assert alike == []


def test_english_that_is_left_would_be_found() -> None:
    assert OF_ENGLISH.search(TYPED.sub(" ", "der Filter is fällig"))
    assert not OF_ENGLISH.search(TYPED.sub(" ", "erfassen (outlet_test outlet={outlet}), `to` in [not_fitted]"))


@in_each_language
def test_a_language_has_a_title_for_all_that_has_one(language: Language) -> None:
    contacts = {word for contact in CONTACTS.values() for word in contact.words}
    english = {table: set(titles) for table, titles in TITLES.items() if table != "contacts"} | {
        "contact_words": contacts
    }
    assert {table: set(titles) for table, titles in language.titles.items()} == english
    assert all(title.strip() == title != "" for titles in language.titles.values() for title in titles.values())
    assert set(TITLED.values()) <= set(language.titles)
    said = words_in(language)
    assert said.pop("reasons").keys() == REASONS.keys()
    assert said.keys() == TITLES.keys() and all(said[table].keys() == TITLES[table].keys() for table in said)
    assert said["contacts"]["leak"] == [language.titles["contact_words"][word] for word in ("dry", "wet")]


def test_english_titles_are_those_of_the_rows() -> None:
    assert words_in(EN) == {**TITLES, "reasons": {key: row.text for key, row in REASONS.items()}}


@in_each_language
def test_a_translation_that_nobody_has_reviewed_says_so(language: Language) -> None:
    """Whoever sets it has read deploy/terms.md as one who speaks the language and knows the trade."""
    package = next(
        name for name in LANGUAGE if name != f"{WORDS}english" and sys.modules[name].__dict__.get(language.code.upper())
    )
    assert sys.modules[package].REVIEWED is language.reviewed
    assert language.reviewed or "unreviewed translation" in str(sys.modules[package].__doc__)


def test_words_in_place_of_others_have_their_values() -> None:
    """A name within a sentence is a title in the language, with what stands behind its ':'."""
    why = say("condition.why", condition=name("filter:coarse"), text=part(say("filter.no_draw_yet")))
    for language in TRANSLATIONS:
        said = Words(language=language).text(why)
        assert said.startswith(language.titles["conditions"]["filter"] + " coarse") and "no steady" not in said


@pytest.mark.parametrize("term", TERMS, ids=[term.said["en"] for term in TERMS])
def test_a_term_is_the_same_wherever_it_is_said(term: Term) -> None:
    """Four of five sentences that have it in English have it in each language: in the others the sentence is built in another way."""
    english = set(used(term))
    assert english
    for code in CODES:
        assert re.search(term.find[code], term.said[code], re.I)
        assert len(english & set(used(term, code))) >= 0.8 * len(english), (
            code,
            sorted(english - set(used(term, code))),
        )


# -- and no words elsewhere


def texts_of(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Texts for people in a module: not docstrings, not what a refusal says, not what is logged."""
    passed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                passed.add(id(first.value))
        refuses = isinstance(node, ast.Raise | ast.Assert) or (
            isinstance(node, ast.Call) and (REFUSES.search(called(node)) or called(node) in ("overload", "deprecated"))
        )
        is_type = isinstance(node, ast.AnnAssign) and node.value is None
        if refuses or is_type:
            passed |= {id(inner) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in passed
            and TEXT.search(node.value)
        ):
            yield node.lineno, node.value


@pytest.mark.parametrize(
    "module",
    sorted(m for m in map(name_of, MODULES) if m.startswith(DOMAIN) and not m.startswith(WORDS) and m not in ROWS),
)
def test_no_words_stand_in_the_domain_outside_the_catalogue(module: str) -> None:
    found = [f"{line}: {text}" for line, text in texts_of(trees()[module])]
    if module in STAYS:
        assert found, f"{module} has no texts any more: take it off the list"
    if STAYS.get(module) in (REFUSED, DETAIL):
        return
    texts = (told.partition(": ")[2] for told in found)
    words = [told for told in texts if told not in NAMED and not set(told.split()) <= KINDS | MEMBERS]
    assert words == [], "say an id and values, and put the words under that id into edge/domain/words/english"


def test_the_rule_finds_words_where_they_stand() -> None:
    tree = ast.parse(
        'def f(x):\n    """A doc string."""\n    y = f"{x} is too cold"\n    raise ValueError("not so good")\n'
    )
    assert list(texts_of(tree)) == [(3, " is too cold")]
