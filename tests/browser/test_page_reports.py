"""Reports by tap: what the page offers, where it leads, and that it fits gloves and a small screen (56 px; WCAG 2.2, 1.4.10 at 320 px)."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest

from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import Station
from tests.browser.test_page_views import press, texts, view

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def led_to(browser: Browser, what: str) -> list[dict[str, str]]:
    """Where the links of a row lead: path, and what is asked."""
    found = []
    for href in browser.js(f"[...document.querySelectorAll('.paper[data-of={what}] a')].map((a) => a.href)"):
        parts = urlsplit(href)
        found.append({"path": parts.path, **{key: values[0] for key, values in parse_qs(parts.query).items()}})
    return found


def chosen(browser: Browser, what: str, at: int, value: str) -> None:
    browser.js(
        f"(() => {{ const one = document.querySelectorAll('.paper[data-of={what}] select')[{at}]; one.value = {value!r};"
        " one.dispatchEvent(new Event('change')); })()"
    )


def test_each_report_is_chosen_by_tap_and_opens_as_a_page_of_its_own(browser: Browser, station: Station) -> None:
    browser.size(320, 640)
    view(browser, "record", ".papers")
    assert "/web/papers.js" not in " ".join(browser.asked()), "loaded when it is opened"
    press(browser, ".papers summary")
    until(lambda: len(texts(browser, ".paper")) == 5, "five reports are offered")
    # the station's time is the morning of 16 March 2026 at Dublin
    page, paper = led_to(browser, "day")
    assert (page["path"], page["day"], page["form"], paper["form"]) == (
        "/api/1/report/day",
        "2026-03-15",
        "html",
        "pdf",
    )
    chosen(browser, "day", 0, "2026-03-14")
    assert led_to(browser, "day")[0]["day"] == "2026-03-14"
    assert led_to(browser, "period")[0]["period"] == "2026-03"
    chosen(browser, "period", 0, "2026-Q1")
    assert led_to(browser, "period")[1]["period"] == "2026-Q1" and led_to(browser, "period")[1]["lang"] == "en"
    chosen(browser, "incident", 1, "5")
    chosen(browser, "incident", 2, "2")
    around = led_to(browser, "incident")[0]
    assert (around["from"], around["to"]) == ("2026-03-16T05:00:00.000Z", "2026-03-16T07:00:00.000Z")
    assert led_to(browser, "calibration")[0]["point"] == "reservoir"
    assert led_to(browser, "commissioning")[1]["path"] == "/api/1/report/commissioning"
    size = "[...document.querySelectorAll('.paper select, .paper a, .papers summary')].every((e) => e.getBoundingClientRect().height >= 56)"
    assert browser.js(size), "big enough for gloves"
    assert browser.js("document.documentElement.scrollWidth <= innerWidth"), "nothing runs out of a small screen"
    answer = browser.js(
        "fetch(document.querySelector('.paper[data-of=day] a').href)"
        ".then(async (r) => [r.status, await r.text(), r.headers.get('content-security-policy')])"
    )
    assert answer[0] == 200 and "['day', '2026-03-14'] ['--language', 'en'" in answer[1] and "sandbox" in answer[2]
    assert browser.errors() == []
