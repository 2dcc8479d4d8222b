"""The page in each language: none of its own English is left, nothing is cut, and what matters is read from two metres."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.cli.certificate import QUIET_ZONE, symbol
from edge.domain.words.languages import LANGUAGES
from edge.reports.wall_sheet import Sheet, wall_sheet
from tests.api_fakes import ABOUT, until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.judged import picture, speak, troubled, well
from tests.browser.kit import Station, doing, put_into, shows
from tests.browser.test_page_looks import HEIGHT, WIDTH, cap_px, px_of
from tests.browser.test_page_views import press, texts, view
from tests.page_words import words
from tests.terms import TYPED
from tests.unit.stations import SETTINGS

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]

in_each_language = pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
#: what is seen, and what is read out; the station file's own keys are no words
SEEN = """(() => {
  const found = [document.title];
  for (const one of document.querySelectorAll("body *")) {
    if (one.closest("script, noscript, .settings, [hidden]") || one.lang) continue;
    for (const node of one.childNodes) if (node.nodeType === 3 && node.data.trim()) found.push(node.data);
    for (const name of ["aria-label", "title", "placeholder"]) if (one.getAttribute(name)) found.push(one.getAttribute(name));
  }
  return found;
})()"""
#: texts that leave the screen, or what they stand in. What scrolls by itself may, and reasons end in "…": they stand whole below.
CUT = """(() => {
  const isOut = (one) => (box => box.width > 1 && (box.left < -1 || box.right > innerWidth + 1))(one.getBoundingClientRect());
  const isCut = (one) => one.matches("a, button, .choice span, .word, .under, .chip") && one.scrollWidth > one.clientWidth + 1;
  const all = [...document.querySelectorAll("body *")].filter((one) => one.textContent.trim() && one.checkVisibility());
  const own = all.filter((one) => !one.closest(".scroll, .chips, .why, .aside, .skip, script, noscript"));
  return own.filter((one) => isOut(one) || isCut(one)).map((one) => `${one.className}: ${one.textContent.slice(0, 60)}`);
})()"""
#: names that the station file gives
GIVEN = {point.id for point in SETTINGS.points} | {str(told) for told in ABOUT.values()} | {"coarse", "fine", "heater"}

#: who signs what the driver records
SIGNED = "early technician"


def pieces(template: str) -> Iterator[str]:
    """What a template says between its values, where there is a word in it.

    >>> list(pieces("live, {speed} times as fast"))
    ['live', 'times as fast']
    """
    for piece in re.split(r"\{\w+\}", template):
        words_of_it = piece.strip(" .,:;…()?")
        if re.search(r"[^\W\d_]{3}", words_of_it):
            yield words_of_it


def english_in(seen: list[str], code: str) -> set[str]:
    """The page's own English words that are among texts in another language."""
    titles = [title for table in LANGUAGES[code].titles.values() for title in table.values()]
    own = "\n".join([*words(code).values(), *titles, *GIVEN]).lower()
    said = TYPED.sub(" ", "\n".join(seen).replace(SIGNED, " "))

    def stands(piece: str, text: str) -> bool:
        return re.search(rf"(?<!\w){re.escape(piece)}(?!\w)", text) is not None

    english = {piece for template in words("en").values() for piece in pieces(template)}
    return {piece for piece in english if stands(piece, said) and not stands(piece.lower(), own)}


def settled(browser: Browser, width: int, height: int) -> None:
    browser.size(width, height)  # no mobile one: it would grow with what sticks out
    until(lambda: browser.js("innerWidth") == width, "its size")
    browser.js("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def stages(browser: Browser, station: Station) -> Iterator[str]:
    """Each view, and two dialogs; then with nothing heard."""
    views = {
        "alarms": ".alarm",
        "record": ".entry",
        "trends": "#trend-reservoir .line-of[d*=M]",
        "station": ".settings-group",
        "now": ".point",
    }
    for name, there in views.items():
        view(browser, name, there)
        if name == "trends":
            press(browser, ".to-tables")
        yield name
        if name == "alarms":
            press(browser, ".alarm .shelve:not([hidden])")
            yield "putting aside"
            browser.js("document.querySelector('dialog').close()")
    yield from doing(browser, station)
    browser.js("import('/web/sign.js').then((sign) => { sign.askToSign(); })")
    until(lambda: browser.js("!!document.querySelector('#sign')"), "the sign-in")
    yield "signing in"
    browser.js("document.querySelector('dialog').close()")
    station.frozen.set()
    until(lambda: browser.js("document.body.classList.contains('lost')"), "it is lost", 20)
    for name, there in (("station", "#about"), ("now", ".plate")):
        view(browser, name, there)
        yield f"{name}, lost"


def shown_in(browser: Browser, station: Station, code: str) -> None:
    """Show the station that has most to say, in a language."""
    picture(station, troubled())
    speak(browser, station.url, code)
    until(lambda: browser.js("document.querySelectorAll('.point').length") == len(SETTINGS.points), "its points")


@pytest.fixture(autouse=True)
def as_before(browser: Browser, station: Station) -> Iterator[None]:
    yield
    browser.js("localStorage.clear()")


#: the navigation holds six views: those that there are, and the longest name again in place of others
SIX = """(() => {
  const nav = document.getElementById("nav");
  const [longest] = [...nav.children].sort((a, b) => b.innerText.length - a.innerText.length);
  while (nav.children.length < 6) nav.append(longest.cloneNode(true));
  return [...nav.children].map((tab) => tab.getBoundingClientRect()).map((box) => [box.width, box.height, box.top]);
})()"""


#: pixels between two times under an axis
BETWEEN = """[...document.querySelectorAll(".tick + .tick")].map((tick) =>
  tick.getBoundingClientRect().left - tick.previousSibling.getBoundingClientRect().right)"""


@in_each_language
def test_times_under_an_axis_stand_apart(browser: Browser, station: Station, code: str) -> None:
    for width in (320, 412, 900, 1280):
        settled(browser, width, 800)
        speak(browser, station.url, code)
        put_into(browser, station, "warming")
        shows(browser, ".tick", words(code)["horizon.now"])
        between = browser.js(BETWEEN)
        assert between and min(between) >= 12, (width, between)


@in_each_language
def test_each_view_speaks_the_language_alone_and_nothing_is_cut(browser: Browser, station: Station, code: str) -> None:
    shown_in(browser, station, code)
    assert browser.js("document.documentElement.lang") == code
    for width, rows in ((320, 2), (480, 1), (900, 1)):
        settled(browser, width, 640)
        tabs = browser.js(SIX)
        assert len(tabs) == 6 and all(wide >= 56 and high >= 56 for wide, high, _ in tabs)
        assert len({top for _, _, top in tabs}) == rows and browser.js(CUT) == [], width
    for stage in stages(browser, station):
        assert english_in(browser.js(SEEN), code) == set(), stage
        for width, height in ((320, 568), (WIDTH, HEIGHT)):
            settled(browser, width, height)
            if stage == "do/daily_test":
                assert browser.js("document.querySelector('.watch-press').getBoundingClientRect().bottom") <= height, (
                    "Start is seen at once"
                )
            assert browser.js("document.documentElement.scrollWidth") <= width, (stage, width)
            assert browser.js(CUT) == [], (stage, width)
    assert browser.errors() == []


def test_english_that_is_left_and_words_that_are_cut_would_be_found(browser: Browser, station: Station) -> None:
    shown_in(browser, station, "en")
    found = english_in(browser.js(SEEN), "de")
    assert len(found) > 15 and {"What READY asks for", "not known", "Now"} <= found
    browser.js("document.querySelector('.word-text').textContent = 'W'.repeat(40)")
    assert any(one.startswith("word-text") for one in browser.js(CUT))


@in_each_language
def test_verdict_and_first_thing_to_do_are_read_from_two_metres(browser: Browser, station: Station, code: str) -> None:
    """The measure of test_page_looks.py, ISO 9241-303: 22 minutes of arc for the verdict, 16 at least for what to do."""
    shown_in(browser, station, code)

    def fits(state: str) -> None:
        assert cap_px(browser, ".word-text") >= px_of(22), state
        assert cap_px(browser, ".under") >= px_of(16) and cap_px(browser, ".first-text") >= px_of(16), state
        for part in (".word", ".under", ".due", ".first-text"):
            left, right, bottom = browser.js(
                f"(r => [r.left, r.right, r.bottom])(document.querySelector('{part}').getBoundingClientRect())"
            )
            assert left >= 0 and right <= WIDTH and bottom <= HEIGHT, (state, part)

    def stands_in_one_row() -> None:
        """The word, and when it is READY beside it."""
        boxes = "['.word', '.due'].map((s) => document.querySelector(s).getBoundingClientRect())"
        assert browser.js(f"(([word, due]) => due.top < word.bottom && due.left >= word.right)({boxes})") is True
        assert browser.text(".word-text") == LANGUAGES[code].titles["displays"]["not_ready"]

    fits("troubled")
    stands_in_one_row()
    assert browser.js("document.querySelector('.first').hidden") is False
    put_into(browser, station, "warming")
    fits("warming")
    stands_in_one_row()
    assert cap_px(browser, ".due-time") >= px_of(16)
    for state in ("in_use", "reheating", "cant_tell"):  # the longest words
        put_into(browser, station, state)
        fits(state)


@in_each_language
def test_whatever_is_asked_for_loses_no_word_in_the_big_lines(browser: Browser, station: Station, code: str) -> None:
    asks = [text for ident, text in LANGUAGES[code].catalogue.items() if ident.endswith((".ask", ".advice"))]
    assert len(asks) > 60
    pairs = browser.js(f"import('/web/views/now.js').then((now) => {asks!r}.map((text) => now.shortened(text)))")
    for ask, (head, rest) in zip(asks, pairs, strict=True):
        assert 0 < len(head) <= 64, ask
        assert [c for c in head + rest if c.isalnum()] == [c for c in ask if c.isalnum()], ask


def test_a_language_takes_effect_at_once_and_is_kept_on_the_device(browser: Browser, station: Station) -> None:
    picture(station, troubled())
    shows(browser, ".conditions", "held by")
    view(browser, "station", "#device input[name=lang]")
    assert browser.js("document.querySelector('.reviewed').hidden") is True  # English is the project's own
    browser.js("window.here = true; document.querySelector('input[name=lang][value=de]').focus()")
    press(browser, "input[name=lang][value=de]")
    shows(browser, "#nav", "Protokoll")
    assert browser.js("[document.documentElement.lang, window.here, document.activeElement.value]") == [
        "de",
        True,
        "de",
    ]
    until(lambda: browser.js("document.querySelector('.reviewed').hidden") is False, "that nobody has reviewed it")
    assert texts(browser, ".reviewed") == [words("de")["station.unreviewed"]]
    view(browser, "now", ".condition")
    shows(browser, ".conditions", "gesperrt von")  # what the station says follows, by the same page
    assert browser.text(".point[data-key=reservoir] .value").split() == ["31,4", "°C"]
    view(browser, "record", ".entry")
    shows(browser, ".days", "Quittierung (Steckdose ausgelöst: heater) durch early technician")
    assert texts(browser, ".day h2") == ["Heute, Montag, 16. März 2026"]
    view(browser, "alarms", ".alarm")
    assert "priorität mittel" in browser.text("#standing").lower()
    picture(station, well())
    shows(browser, "#chip", "BEREIT")
    until(lambda: browser.text("#chip").strip() == "BEREIT", "READY, in German")
    browser.go("about:blank")
    browser.go(station.url)
    shows(browser, ".word-text", "BEREIT")
    asked = [url for url in browser.asked() if "/api/1/" in url and not url.endswith(("/performance", "/session"))]
    assert asked and all("lang=de" in url for url in asked)
    assert [url for url in browser.asked() if "/web/words/" in url] == [f"{station.url}web/words/german.js"]
    view(browser, "station", "#device input[name=lang]")
    press(browser, "input[name=lang][value=device]")
    shows(browser, "#nav", "Record")
    assert browser.errors() == []


def test_it_speaks_the_devices_own_language_where_none_is_chosen(browser: Browser, station: Station) -> None:
    def told(languages: str) -> str:
        browser.call("Network.setUserAgentOverride", userAgent="a tablet", acceptLanguage=languages)
        browser.go("about:blank")
        browser.go(station.url)
        until(lambda: browser.js("document.querySelectorAll('.point').length") == 7, "the points")
        return str(browser.js("document.documentElement.lang"))

    assert told("fr-CH,de") == "fr"
    assert browser.text(".word-text") == LANGUAGES["fr"].titles["displays"]["not_ready"]
    assert told("nl,es-MX,en") == "es"
    assert told("nl") == "en"
    browser.js(
        "localStorage.setItem('warmwell.lang', 'xx'); localStorage.setItem('warmwell.units.pressure', 'furlong')"
    )
    assert told("en-US") == "en"  # what this page doesn't know isn't asked for
    assert browser.errors() == []


def test_the_sheet_for_the_wall_is_one_page_of_a4_and_of_letter(browser: Browser, tmp_path: Path) -> None:
    """Printed on what both papers have: the width of A4 (ISO 216), the height of letter (ANSI/ASME Y14.1)."""
    address = "https://scope-room-2.harbour-lane.example:8484/"
    square = symbol(address).svg_inline(border=QUIET_ZONE, omitsize=True)
    file, fingerprint = tmp_path / "sheet.html", ":".join(["AB"] * 32)
    pages = {}
    for code, language in LANGUAGES.items():
        sheet = Sheet(
            "Scope room 2, left bench", "harbour-lane", address, square, False, fingerprint, ["Biomed: 214"] * 4
        )
        file.write_text(wall_sheet(sheet, language), encoding="utf-8")
        browser.go(file.as_uri())
        pdf = browser.page.pdf(width="210mm", height="279.4mm")
        pages[code] = len(re.findall(rb"/Type\s*/Page\b", pdf))
    assert pages == dict.fromkeys(LANGUAGES, 1)
