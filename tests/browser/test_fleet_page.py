"""The page over an archive, at a real PostgreSQL: what it shows of each station, filters, one station, and that nothing old looks live.

WCAG 2.2: 1.4.10 (320 px), 1.4.3 (contrast), 2.1.1 (keyboard), 2.5.8 (targets; 56 px is this project's own).
"""

from __future__ import annotations

import contextlib
import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.archive import migrations
from edge.archive.store import Store
from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.integration.archive_kit import NEEDS_POSTGRES, Postgres
from tests.integration.fleet_kit import TEN, ten_stations

pytestmark = [
    *NEEDS_POSTGRES,
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
]
CONTRAST = (Path(__file__).parent / "contrast.js").read_text(encoding="utf-8")


@pytest.fixture
def served() -> Iterator[tuple[str, Any]]:
    """Ten stations, served in a thread: (address, the database)."""
    import uvicorn

    from edge.api.app import bordered
    from edge.fleet.app import build
    from edge.fleet.asking import Fleet

    postgres, name = Postgres(), "postgres"
    with contextlib.closing(postgres.connect(name)) as db:
        migrations.prepare(db)
        ten_stations(db)
        fleet = Fleet(postgres.dsn(name))
        with socket.create_server(("127.0.0.1", 0)) as listener:
            app = bordered(build(fleet, "hospital", "0"), "127.0.0.1")
            server = uvicorn.Server(
                uvicorn.Config(app, lifespan="off", log_config=None, ws="none", timeout_graceful_shutdown=1)
            )
            thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
            thread.start()
            yield f"http://127.0.0.1:{listener.getsockname()[1]}/", db
            server.should_exit = True
            thread.join(30)
        fleet.close()
    postgres.close()


def draw(browser: Browser, name: str) -> None:
    """A picture, for whoever wants to look: into the folder that the environment names."""
    if folder := os.environ.get("WARMWELL_PICTURES"):
        Path(folder, f"fleet-{name}.png").write_bytes(browser.screenshot(whole=True))


def rows(browser: Browser) -> list[list[str]]:
    """Each row of the list: its word, and its text."""
    script = "[...document.querySelectorAll('#stations .fleet-row')].map((e) => [e.querySelector('.its-word').innerText, e.innerText])"
    found: list[list[str]] = browser.js(script)
    return found


def test_the_list_leads_to_what_is_urgent_and_shows_nothing_silent_as_ready(
    browser: Browser, served: tuple[str, Any]
) -> None:
    url, db = served
    browser.size(1280, 900)
    browser.prefers()
    browser.go(url)
    until(lambda: len(rows(browser)) == 10 or browser.errors(), "the page shows the stations")
    assert browser.errors() == []
    told = rows(browser)
    assert [row[0] for row in told] == [
        "NOT READY",
        "SILENT",
        "SILENT",
        "NOT READY",
        "CAN'T TELL",
        "READY",
        "READY",
        "AT REST",
        "READY",
        "READY",
    ]
    assert all(name in row[1] for name, row in zip(TEN, told, strict=True))
    assert "then: READY" in told[1][1] and "Warm it up" in told[3][1] and "lack: 3" in told[6][1]
    until(lambda: "hears nothing" in browser.text("#lost-strip"), "that no worker hears is said")
    assert Store(db).lock()
    until(lambda: browser.js("document.querySelector('#lost-strip').hidden"), "and no longer, once one hears")

    draw(browser, "list")
    browser.js("document.querySelector('[name=silent]').focus()")
    browser.key("Space")
    until(lambda: len(rows(browser)) == 2, "only who is silent")
    assert "silent=yes" in browser.js("location.hash")
    browser.key("Space")
    browser.page.select_option("[name=verdict]", "ready")
    until(lambda: [row[0] for row in rows(browser)] == ["READY"] * 4, "only who is ready")

    for scheme in ("light", "dark"):
        browser.prefers(color_scheme=scheme)
        browser.size(320, 640, mobile=True)
        browser.go(url)
        until(lambda: len(rows(browser)) == 10, "the page shows the stations")
        assert browser.js("document.documentElement.scrollWidth") <= 320
        assert browser.js(CONTRAST)[1] == []
        targets = "main a, main select, main button:not([hidden]), .box"
        heights = f"[...document.querySelectorAll('{targets}')].map((e) => e.getBoundingClientRect().height)"
        assert min(browser.js(heights)) >= 55.5
    draw(browser, "list-320-dark")
    browser.js("document.querySelector('#stations .fleet-row').focus()")
    browser.key("Enter")
    until(lambda: "has tripped" in browser.text("#standing"), "one station")
    assert browser.js("document.documentElement.scrollWidth") <= 320 and browser.js(CONTRAST)[1] == []
    browser.size(1280, 900)
    draw(browser, "station")
    assert browser.errors() == []
