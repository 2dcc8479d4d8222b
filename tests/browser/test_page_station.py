"""What the view Station does: hands out the support bundle, and sets up the first person."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import Station, shows
from tests.browser.test_page_views import press, view

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def test_the_support_bundle_comes_as_a_file_and_a_refusal_in_the_stations_words(
    browser: Browser, station: Station, tmp_path: Path
) -> None:
    station.fakes.journal.add("settings", {"digest": "5f" * 32, "document": {"reservoir": {"minimum": "35 degC"}}})
    browser.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path))
    view(browser, "station", ".support-take")
    press(browser, ".support-take")
    shows(browser, ".support-told", "warmwell-support-harbour-lane-scope-room-2-2026-03-16.zip")
    until(lambda: [one.suffix for one in tmp_path.iterdir()] == [".zip"], "the file is whole")
    with zipfile.ZipFile(next(tmp_path.iterdir())) as found:
        assert (
            len(found.read("journal.jsonl").splitlines()) == 8 and "scope-room-2" in found.read("README.txt").decode()
        )
    assert browser.errors() == []
    station.fakes.break_store()
    press(browser, ".support-take")
    shows(browser, ".support-told", "the disk refused a read")
