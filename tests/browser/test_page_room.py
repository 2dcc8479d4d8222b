"""The other stations of the room on Now: their words, what to do first, and the way to their pages."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.messages import as_json, say
from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import Station, shows

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def told(ident: str, **changed: Any) -> dict[str, Any]:
    base = {
        "name": ident, "heard": True, "site": "harbour-lane", "station": ident, "title": f"Bench {ident[-1]}", "scheme": "http",
        "port": 8485, "stopped": False, "verdict": "not_ready", "display": "not_ready", "expected_at": None, "first": "see to Warmwell",
        "first_msg": as_json(say("picture.judge_silent")),
    }  # fmt: skip
    return base | changed


def test_the_room_shows_each_other_station_and_leads_there(browser: Browser) -> None:
    neighbours = [
        told("scope-room-1"), told("scope-room-3", verdict="ready", display="ready"), told("scope-room-4", heard=False),
        {"name": "x", "heard": False},
    ]  # fmt: skip
    station = Station(room=neighbours)
    try:
        browser.size(1280, 800)
        browser.prefers()
        browser.go(station.url)
        until(lambda: browser.js("document.querySelectorAll('.neighbour').length") == 4, "the page shows the room")
        rows = browser.js(
            "[...document.querySelectorAll('.neighbour')].map((e) => [e.dataset.word, e.innerText, e.href])"
        )
        assert [row[0] for row in rows] == ["not_ready", "ready", "cant_tell", "cant_tell"]
        assert rows[0][1].startswith("Bench 1") and "NOT READY" in rows[0][1] and rows[0][2] == "http://127.0.0.1:8485/"
        assert rows[1][1].split() == ["Bench", "3", "READY"]
        assert "isn't heard" in rows[2][1] and "READY" not in rows[2][1].replace("CAN'T TELL", "")
        assert rows[3][2] == "", "where its page is isn't known"
        browser.size(320, 568, mobile=True)
        assert browser.js("document.documentElement.scrollWidth") <= 320
        assert (
            browser.js(
                "Math.min(...[...document.querySelectorAll('.neighbour')].map((e) => e.getBoundingClientRect().height))"
            )
            >= 56
        )
        neighbours[1] = told("scope-room-3", heard=False)
        shows(browser, ".neighbour:nth-child(1)", "Bench 1")
        until(
            lambda: "isn't heard" in browser.text(".stations li:nth-child(2)"),
            "what is no longer heard is no longer READY",
        )
        assert browser.errors() == []
    finally:
        browser.go("about:blank")
        station.stop()


def test_without_a_room_nothing_is_shown_and_nothing_asked(browser: Browser, station: Station) -> None:
    shows(browser, ".word-text", "READY")
    assert browser.js("document.querySelector('#room').hidden") is True
    assert not [url for url in browser.asked() if url.endswith("/room")]
