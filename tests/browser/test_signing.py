"""Signing in on the page: typed and scanned, a wrong code, a session that is over, and what goes on after it.

That a card scanner types a code within a few milliseconds a key and ends it with Enter is common practice of keyboard-wedge scanners, no
published source. Who may record what: edge/domain/permits.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.api_fakes import alarm, until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import Station, shows
from tests.security.kit import AUDITOR, BIOMED, TECHNICIAN, copied, set_up

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    folder = tmp_path_factory.mktemp("people")
    return folder, set_up(folder)


@pytest.fixture
def manned(browser: Browser, made: tuple[Path, dict[str, str]], tmp_path: Path) -> Iterator[Station]:
    """A station with people, and the page's alarms on it."""
    found = Station(people=copied(made[0], tmp_path))
    found.fakes.judge.show(
        alarms={
            "leak": alarm("leak", "unacknowledged", "high"),
            "hold": alarm("hold", "latched_acknowledged", latching=True),
        }
    )
    browser.size(1280, 800)
    browser.context.clear_cookies()
    browser.go(f"{found.url}#alarms")
    shows(browser, "#signed", "Sign in")
    until(lambda: browser.js("!!document.querySelector('.alarm .answer')"), "the alarms")
    yield found
    browser.go("about:blank")
    found.stop()


def test_what_was_wanted_goes_on_once_a_code_was_typed(
    browser: Browser, manned: Station, made: tuple[Path, dict[str, str]]
) -> None:
    """By touch alone, on the page's own keypad; a slip of the finger is no try, and is put right at its sign."""
    code = made[1][TECHNICIAN].replace("-", "")
    browser.touch(".alarm[data-key=leak] .answer")
    shows(browser, "#who .signs", "You sign in before it is sent.")
    assert browser.js("document.querySelector('#who .typed').hidden") is True
    browser.touch("#who button.main")
    until(lambda: browser.js("!!document.querySelector('#sign')"), "the sign-in is asked for")
    assert "Acknowledging goes on then." in browser.text("#sign")

    def press(signs: str) -> None:
        for sign in signs:
            at = "0123456789ABCDEFGHJKMNPQRSTVWXYZ".index(sign) + 1
            browser.touch(f"#sign .code-pad .key:nth-child({at})")

    slip = code[:-1] + ("0" if code[-1] != "0" else "1")
    press(slip)
    shows(browser, "#sign .who-fault", "A character is wrong or missing: a code has 16. Look at it with Show")
    assert manned.fakes.judge.bodies == [] and code not in browser.js("document.body.innerText")
    for width, height in ((390, 844), (320, 568)):
        browser.size(width, height, mobile=True)
        for scrolled in (0, 9999):
            browser.js(f"document.getElementById('sign').scrollTop = {scrolled}")
            left, top, right, bottom = browser.js(
                "(r => [r.left, r.top, r.right, r.bottom])(document.querySelector('#sign .main').getBoundingClientRect())"
            )
            assert left >= 0 and top >= 0 and right <= width and bottom <= height and bottom - top >= 56, (
                width,
                scrolled,
            )
    browser.js("document.getElementById('sign').scrollTop = 9999")
    browser.touch("#sign .back")  # one sign was wrong: it alone is put right
    assert browser.js("[document.getElementById('code').value.length, document.getElementById('code').type]") == [
        15,
        "password",
    ]
    browser.size(1280, 800)
    press(code[-1])
    until(lambda: manned.fakes.judge.bodies, "the station hears of it")
    assert manned.fakes.judge.bodies == [
        {"record": "acknowledge", "alarm": "leak", "by": TECHNICIAN, "by_role": "technician", "proven": "session"}
    ]
    until(lambda: browser.js("!document.querySelector('dialog')"), "both dialogs close")
    assert TECHNICIAN in browser.text("#signed") and "technician" in browser.text("#signed")
    browser.touch("#signed")
    browser.touch("dialog .leave")
    shows(browser, "#sign-strip", f"{TECHNICIAN} has signed out.")
    shows(browser, "#signed", "Sign in")


def test_a_scanned_card_signs_in_wherever_the_page_is_and_is_never_shown(
    browser: Browser, manned: Station, made: tuple[Path, dict[str, str]]
) -> None:
    codes = made[1]
    browser.js("document.querySelector('.alarm .answer').focus()")
    browser.type(codes[TECHNICIAN] + "\r", 0.004)
    shows(browser, "#signed", TECHNICIAN)
    assert browser.js("!document.querySelector('dialog')"), "its Enter presses no button"
    browser.js("location.hash = '#record'")
    until(lambda: browser.js("!!document.querySelector('#search')"), "a field")
    browser.js("document.querySelector('#search').focus()")
    browser.type("leak")
    browser.type(codes[BIOMED] + "\r", 0.004)
    shows(browser, "#signed", BIOMED)
    assert browser.js("document.querySelector('#search').value") == "leak", "nothing of it stays in a field"
    assert codes[BIOMED][:4] not in browser.js("document.body.innerText")
    browser.type("0" * 16 + "\r", 0.15)  # as slow as a hand: text, no code
    assert browser.js("document.querySelector('#search').value") == "leak" + "0" * 16
    browser.js("document.activeElement.blur()")
    browser.type("ZZZZ-ZZZZ-ZZZZ-ZZZZ\r", 0.004)
    shows(browser, "#sign-strip", "code")
    assert BIOMED in browser.text("#signed"), "whoever was signed in still is"


def test_a_session_that_is_over_is_said_and_the_next_write_asks_again(
    browser: Browser, manned: Station, made: tuple[Path, dict[str, str]]
) -> None:
    browser.type(made[1][TECHNICIAN] + "\r", 0.004)
    shows(browser, "#signed", TECHNICIAN)
    manned.clock.tell(10 * 60_000)  # nobody did anything
    browser.touch(".alarm[data-key=leak] .answer")
    browser.touch("#who button.main")
    until(lambda: browser.js("!!document.querySelector('#sign')"), "it is asked for again")
    assert manned.fakes.judge.bodies == []
    browser.type(made[1][BIOMED] + "\r", 0.004)  # into the field that has the focus
    until(lambda: manned.fakes.judge.bodies, "then it goes on")
    assert manned.fakes.judge.bodies[0]["by"] == BIOMED
    manned.clock.tell(9 * 60_000 + 30_000)
    browser.js("import('/web/session.js').then((m) => m.look())")
    shows(browser, "#signed", "ends in")
    manned.clock.tell(31_000)
    browser.js("import('/web/session.js').then((m) => m.look())")
    shows(browser, "#sign-strip", f"{BIOMED} is signed out: the session is over.")


def test_who_may_not_is_told_who_may(browser: Browser, manned: Station, made: tuple[Path, dict[str, str]]) -> None:
    browser.type(made[1][AUDITOR] + "\r", 0.004)
    shows(browser, "#signed", AUDITOR)
    browser.touch(".alarm[data-key=leak] .answer")
    shows(browser, "#who-fault", "Auditors don't record this (acknowledge): biomed or technician may.")
    assert browser.js("document.querySelector('#who button.main').disabled") is True
    browser.key("Escape")
    until(lambda: browser.js("!document.querySelector('dialog')"), "closed")
    browser.type(made[1][TECHNICIAN] + "\r", 0.004)
    shows(browser, "#signed", TECHNICIAN)
    browser.touch(".alarm[data-key=leak] .shelve")
    shows(browser, "#who-fault", "A technician puts an alarm aside for at most 120 minutes")
    enabled = browser.js("[...document.querySelectorAll('#who [type=submit]')].map((b) => !b.disabled)")
    assert enabled == [True, True, False, False]


def test_where_looking_takes_a_sign_in_the_page_asks_for_one_and_then_shows_the_station(
    browser: Browser, manned: Station, made: tuple[Path, dict[str, str]]
) -> None:
    assert manned.access is not None
    manned.access.rules = replace(manned.access.rules, is_looking_open=False)
    browser.go("about:blank")
    browser.go(f"{manned.url}#now")
    until(lambda: browser.js("!!document.querySelector('#sign')"), "it asks")
    assert browser.text("#live-word") == "NOT LIVE" and not browser.js("document.querySelectorAll('.point').length")
    browser.type(made[1][AUDITOR] + "\r", 0.004)
    until(lambda: browser.text("#live-word") == "live", "then it shows")
    until(lambda: browser.js("document.querySelectorAll('.point').length"), "the points")
