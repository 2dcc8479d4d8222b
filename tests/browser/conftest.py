"""One browser for each file of tests, and a fresh station for each test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api_fakes import until
from tests.browser.driver import Browser
from tests.browser.kit import Station


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = Browser()
    yield found
    found.close()


@pytest.fixture
def station(browser: Browser) -> Iterator[Station]:
    """The cold morning, and the page on it."""
    found = Station()
    browser.size(1280, 800)
    browser.prefers()
    browser.go(found.url)
    until(lambda: browser.js("document.querySelectorAll('.point').length") == 7, "the page shows the points")
    yield found
    browser.go("about:blank")
    found.stop()
