"""The page may stand on a tablet for months: after a night on Now it needs no more memory than before."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import STATES, Station

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]

NIGHT = Path(__file__).with_name("night.js").read_text(encoding="utf-8")
#: a picture and an entry each thirty seconds for eight hours
PICTURES, NIGHTS = 960, 5
#: until the page's code is compiled for good and it keeps as many entries as it ever does (book.js)
BEFORE, ENTRIES = 800, 4100


@pytest.fixture
def held(browser: Browser, station: Station) -> Iterator[Browser]:
    """The page on Now, with its stream held."""
    with browser.page.add_init_script(NIGHT):
        station.fakes.judge.show(**STATES["trip"])
        browser.go("about:blank")
        browser.go(station.url)
        until(lambda: browser.js("!!window.brought && document.querySelectorAll('.point').length > 6"), "its points")
        yield browser


def heap(browser: Browser) -> int:
    """Bytes that are used once all garbage is collected."""
    for _ in range(3):
        browser.call("HeapProfiler.collectGarbage")
    return int(browser.call("Runtime.getHeapUsage")["usedSize"])


def test_a_night_on_now_leaves_the_heap_as_it_was(held: Browser) -> None:
    """Within 3 %, one of the first five nights: what is made once, such as code that is compiled late, is no growth of each night.
    The same measure finds a page that keeps each picture of an hour.
    """
    held.js(f"night(0, {BEFORE}, {ENTRIES}, false)")
    after, nodes, growth = heap(held), held.js("document.getElementsByTagName('*').length"), []
    for night in range(NIGHTS):
        before = after
        held.js(f"night({ENTRIES + night * PICTURES}, {PICTURES}, {PICTURES}, false)")
        after = heap(held)
        growth.append(after / before)
        if after < 1.03 * before:
            break
    assert before > 1_000_000 and min(growth) < 1.03, growth
    assert held.js("document.getElementsByTagName('*').length") < 1.05 * nodes
    assert held.js("document.body.dataset.view") == "now" and held.errors() == []
    held.js(f"night({ENTRIES + NIGHTS * PICTURES}, {PICTURES // 8}, 0, true)")
    assert heap(held) > 1.05 * after
