"""What the view Station does: hands out the support bundle, and sets up the first person."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from edge.clock import ToldClock
from edge.domain.permits import Credentials
from edge.people import roster
from edge.people.access import Access
from edge.people.codes import new_code
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import Station, shows
from tests.browser.test_page_views import press, view

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def test_the_support_bundle_comes_as_a_file_and_a_refusal_in_plain_words(browser: Browser, station: Station) -> None:
    station.fakes.journal.add("settings", {"digest": "5f" * 32, "document": {"reservoir": {"minimum": "35 degC"}}})
    name = "warmwell-support-harbour-lane-scope-room-2-2026-03-16.zip"
    view(browser, "station", ".support-take")
    with browser.page.expect_download() as taken:
        press(browser, ".support-take")
    shows(browser, ".support-told", name)
    assert taken.value.suggested_filename == name
    with zipfile.ZipFile(taken.value.path()) as found:
        assert (
            len(found.read("journal.jsonl").splitlines()) == 8 and "scope-room-2" in found.read("README.txt").decode()
        )
    assert browser.errors() == []
    station.fakes.break_store()
    press(browser, ".support-take")
    shows(browser, ".support-told", "The station can't read this just now")


def fill(browser: Browser, code: str, name: str) -> None:
    browser.js(
        f"document.getElementById('first-code').value = {code!r}; document.getElementById('first-name').value = {name!r}"
    )
    press(browser, ".first-form button")


def test_the_first_person_is_set_up_by_the_boards_code_and_sees_an_own_code_once(
    browser: Browser, tmp_path: Path
) -> None:
    clock = ToldClock(mono_ms=1_000_000)
    access = Access(tmp_path, clock, AccessRules(), lambda seq: None, lambda kind, body: None)
    access.look()
    station = Station(people=access)
    store = PeopleStore(tmp_path)
    try:
        browser.size(320, 640)
        browser.go(station.url)
        view(browser, "station", ".first-open summary")
        until(lambda: browser.js("document.querySelector('#first').checkVisibility()"), "nobody is set up")
        press(browser, ".first-open summary")
        fill(browser, str(new_code()), "M. Osei")
        until(lambda: browser.text("#first .who-fault").endswith("."), "it is refused in a sentence")
        assert store.people() == [] and browser.js("document.querySelector('.first-made').hidden") is True
        code = str(roster.offer_first(store, clock.boot, clock.mono_ms(), 1))
        clock.tell(60_000)
        fill(browser, f" {code.lower()} ", "M. Osei")
        shows(browser, ".first-who", "M. Osei is set up as a biomed")
        own = browser.text(".own-code").strip()
        assert own not in ("", code) and [str(one.role) for one in store.people()] == ["biomed"]
        assert browser.js("document.documentElement.scrollWidth") <= 320
        assert browser.js("parseFloat(getComputedStyle(document.querySelector('.own-code')).fontSize)") >= 24
        assert "It is not shown again" in browser.text(".first-made")
        press(browser, "#device input[name=lang][value=de]")  # the view is made anew: it stands all the same
        shows(browser, ".first-who", "M. Osei ist als Medizintechniker eingerichtet")
        assert browser.text(".own-code").strip() == own
        assert access.sign_in(own, Credentials(address="127.0.0.1")).name == "M. Osei"
        press(browser, ".first-made .main")
        until(lambda: not browser.js("document.querySelector('#first').checkVisibility()"), "it is gone")
        assert own not in browser.js("document.documentElement.innerHTML")
        browser.go("about:blank")
        browser.go(f"{station.url}#station")
        shows(browser, "#about", "harbour-lane")
        assert browser.js("document.querySelector('#first').checkVisibility()") is False
    finally:
        browser.js("localStorage.clear()")
        browser.go("about:blank")
        station.stop()
        store.close()
        access.stop()
