"""The page in a real browser: it shows the verdict, says so when the station is gone, and answers an alarm.

Driven over Chromium's own debugging protocol (DevTools Protocol, over a pipe): no driver package is needed.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.api.server import ApiServer
from edge.api.words import WORDS
from edge.domain.dates import Dates
from edge.domain.entries import Now, Stamp, rfc3339, wall_ms_of
from tests.api_fakes import ABOUT, START_MS, Fakes, alarm, condition, of_basin, until

CHROMIUM = shutil.which("chromium")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


class Browser:
    """One headless Chromium with one page."""

    FLAGS = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync --disable-dev-shm-usage --hide-scrollbars --remote-debugging-pipe"
    ).split()

    def __init__(self, profile: Path) -> None:
        to_read, self._to = os.pipe()
        self._from, from_write = os.pipe()

        def wire() -> None:  # the protocol's file descriptors are 3 (in) and 4 (out)
            one, other = os.dup(to_read), os.dup(from_write)
            os.dup2(one, 3)
            os.dup2(other, 4)

        assert CHROMIUM is not None
        self._process = subprocess.Popen(
            [CHROMIUM, *self.FLAGS, f"--user-data-dir={profile}", "about:blank"],
            preexec_fn=wire, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_read)
        os.close(from_write)
        self._buffer, self._number = b"", 0
        self.said: list[dict[str, Any]] = []
        self._session: str | None = None
        target = until(self._page, "the browser opens a page", 120)
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def _page(self) -> str | None:
        targets = self.call("Target.getTargets")["targetInfos"]
        return next((str(t["targetId"]) for t in targets if t["type"] == "page"), None)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its result."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        deadline = time.monotonic() + 120
        while True:
            found = self._next(deadline)
            if found.get("id") == self._number:
                assert "error" not in found, found
                result: dict[str, Any] = found["result"]
                return result
            self.said.append(found)

    def _next(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            assert select.select([self._from], [], [], max(0.0, deadline - time.monotonic()))[0], (
                "the browser is silent"
            )
            piece = os.read(self._from, 1 << 20)
            assert piece, "the browser has ended"
            self._buffer += piece
        one, _, self._buffer = self._buffer.partition(b"\0")
        found: dict[str, Any] = json.loads(one)
        return found

    def js(self, expression: str) -> Any:
        """The value of an expression in the page."""
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in result, result
        return result["result"].get("value")

    def text(self, selector: str) -> str:
        """Its words; "" while the page is not there yet."""
        return str(self.js(f"(e => e ? e.innerText : '')(document.querySelector({json.dumps(selector)}))"))

    def errors(self) -> list[str]:
        """Exceptions, errors in the console and refusals by the policy so far."""
        self.js("1")
        found = []
        for event in self.said:
            params = event.get("params", {})
            if event.get("method") == "Runtime.exceptionThrown":
                found.append(str(params["exceptionDetails"]))
            if event.get("method") == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
                found.append(str(params["args"]))
            if event.get("method") == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
                found.append(str(params["entry"]))
        return found

    def asked(self) -> list[str]:
        """Addresses that the page has asked for."""
        self.js("1")
        return [e["params"]["request"]["url"] for e in self.said if e.get("method") == "Network.requestWillBeSent"]

    def size(self, width: int, height: int, mobile: bool = False) -> None:
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile)

    def screenshot(self) -> bytes:
        return base64.b64decode(self.call("Page.captureScreenshot")["data"])

    def close(self) -> None:
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._to)
        os.close(self._from)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    found = Browser(tmp_path_factory.mktemp("profile"))
    yield found
    found.close()


class Relay:
    """A line between browser and station that can be cut the way networks are: nothing passes, and nobody is told."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.whole, self._sockets = threading.Event(), list[socket.socket]()
        self.whole.set()
        self._threads = list[threading.Thread]()
        self._start(self._accept)

    def _start(self, work: Callable[..., None], *args: socket.socket) -> None:
        self._threads.append(threading.Thread(target=work, args=args, daemon=True))
        self._threads[-1].start()

    def _accept(self) -> None:
        while True:
            try:
                one, _ = self._listener.accept()
            except OSError:
                return  # closed
            self._sockets.append(one)
            try:
                other = socket.create_connection(("127.0.0.1", self._port))
            except OSError:
                one.close()  # the station has gone
                continue
            self._sockets.append(other)
            for source, sink in ((one, other), (other, one)):
                self._start(self._pass_on, source, sink)

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while piece := source.recv(65536):
                self.whole.wait()
                sink.sendall(piece)
            sink.shutdown(socket.SHUT_WR)
        except OSError:
            pass  # one side has gone: so goes the other

    def close(self) -> None:
        self.whole.set()
        for each in [self._listener, *self._sockets]:
            try:
                each.shutdown(socket.SHUT_RDWR)  # wakes whoever waits on it
            except OSError:
                pass  # it has ended already
        for thread in self._threads:
            thread.join(5)
        for each in [self._listener, *self._sockets]:
            each.close()


class Station:
    """A server whose picture is renewed each second, as the judge does it."""

    def __init__(self) -> None:
        self.fakes = Fakes()
        self.server = ApiServer(
            "127.0.0.1", 0, self.fakes.judge, self.fakes.journal, self.fakes.series, ABOUT, self.fakes.status
        )
        self.server.start()
        assert self.server.wait_ready(30)
        self.url = self.server.url
        self.frozen, self._end = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._renew, daemon=True)
        self._thread.start()

    def _renew(self) -> None:
        while not self._end.wait(0.5):
            if not self.frozen.is_set():
                self.fakes.judge.show()

    def stop(self) -> None:
        self.server.stop()
        self._end.set()
        self._thread.join(5)


@pytest.fixture
def station(browser: Browser) -> Iterator[Station]:
    found = Station()
    browser.said.clear()
    browser.size(1280, 800)
    browser.call("Page.navigate", url=found.url)
    until(
        lambda: browser.js("document.body && document.querySelectorAll('#point-list li').length") == 7,
        "the page shows the points",
    )
    yield found
    browser.call("Page.navigate", url="about:blank")
    found.stop()


def shows(browser: Browser, selector: str, words: str, timeout_s: float = 60.0) -> None:
    until(lambda: words in browser.text(selector), f"{selector} shows {words!r}", timeout_s)


def ready_picture(fakes: Fakes) -> dict[str, Any]:
    verdict = dict(fakes.judge.newest.verdict) | dict.fromkeys(("expected_at", "earliest", "latest"))
    verdict |= {"verdict": "ready", "waits_for": []}
    verdict["conditions"] = [condition(c["id"], "met", "") for c in verdict["conditions"]]
    return verdict


def test_the_page_shows_verdict_conditions_points_alarms_and_journal(browser: Browser, station: Station) -> None:
    assert browser.text("#word-text") == "NOT READY"
    assert "31.4 °C; 38.9 °C are needed in this room" in browser.text("#why")
    assert (
        browser.text("#when") == "Ready about 07:42 (07:35 to 07:58), once the list below is done"
    )  # Europe/Dublin in winter
    assert "surroundings only: the maker's instructions decide the rest" in browser.text("#note")
    assert browser.text("#waits") == "Do the daily test and record it"
    points = browser.text("#point-list")
    assert (
        "31.4 °C" in points
        and "57.8 psi" in points
        and "current loop open or sender fault. Check the loop's wiring" in points
    )
    assert "Reservoir cold" in browser.text("#alarm-list") and "Do: See that the heater is on" in browser.text(
        "#alarm-list"
    )
    shows(browser, "#entry-list", "phase")
    assert browser.text("#cannot") == "" and browser.js("document.body.classList.contains('lost')") is False
    assert browser.js("document.title") == "NOT READY · Scope room 2, left bench"
    assert browser.errors() == []
    assert {url.split("/")[2] for url in browser.asked()} == {station.url.split("/")[2]}


def test_of_several_basins_each_has_a_line_and_none_where_there_is_one(browser: Browser, station: Station) -> None:
    assert browser.js("document.querySelector('#basins').hidden") is True
    verdict = dict(station.fakes.judge.newest.verdict)
    verdict["verdicts"] = [
        of_basin("left", "ready"),
        of_basin("right", "unknown", "Have the hold of basin right released", "Wait"),
    ]
    verdict["conditions"] = [*verdict["conditions"], condition("no_hold:left", "met", "no hold")]
    station.fakes.judge.show(verdict=verdict)
    shows(browser, "#basins", "left: READY")
    assert (
        browser.text("#basins li:last-child") == "right: NOT READY, CAN'T TELL · Have the hold of basin right released"
    )
    assert "No hold, basin left" in browser.text("#condition-list")
    assert browser.errors() == []


def test_the_page_speaks_the_stations_words_and_shows_nothing_before_it_has_them(
    browser: Browser, station: Station
) -> None:
    alarms = {ident: alarm(ident, "unacknowledged") for ident in (*WORDS["alarms"], "outlet_tripped:heater")}
    verdict = dict(station.fakes.judge.newest.verdict)
    verdict["conditions"] = [condition(ident, "unmet", "") for ident in WORDS["conditions"]]
    station.fakes.judge.show(alarms=alarms, verdict=verdict)
    lists = "#condition-list li, #alarm-list li, #point-list li, #entry-list li"
    browser.call("Network.setBlockedURLs", urls=["*/api/1/station"])
    browser.call("Page.navigate", url=station.url)
    until(lambda: browser.js("window.performance.getEntriesByType('resource').length > 2"), "the page asks")
    assert browser.js(f"document.querySelectorAll('{lists}').length") == 0
    assert browser.text("#cannot") == "CAN'T TELL" and browser.text("#no-alarms") == "Not known yet."
    browser.call("Network.setBlockedURLs", urls=[])
    until(lambda: browser.js("document.querySelectorAll('#alarm-list li').length") == len(alarms), "the alarms", 20)
    shown = "[...document.querySelectorAll('{} li .{}')].map(e => e.innerText)"
    assert set(browser.js(shown.format("#alarm-list", "what"))) == {*WORDS["alarms"].values(), "Outlet tripped: heater"}
    assert browser.js(shown.format("#condition-list", "name")) == list(WORDS["conditions"].values())
    assert browser.js(shown.format("#condition-list", "state")) == ["not met"] * len(WORDS["conditions"])
    points = station.fakes.judge.newest.points.values()
    assert browser.js(shown.format("#point-list", "role")) == [
        WORDS["roles"][p["role"]] + (f", {p['of']}" if p["of"] else "") for p in points
    ]


def test_ready_is_grey_and_unknown_says_so(browser: Browser, station: Station) -> None:
    verdict = ready_picture(station.fakes)
    station.fakes.judge.show(verdict=verdict, alarms={"leak": alarm("leak")})
    until(lambda: browser.text("#word-text") == "READY", "READY")
    colour = "getComputedStyle(document.getElementById('verdict')).backgroundColor"
    red, green, blue = browser.js(f"{colour}.match(/\\d+/g).slice(0, 3).map(Number)")
    assert max(red, green, blue) - min(red, green, blue) < 8  # no colour while all is well
    assert browser.text("#no-alarms") == "None."
    verdict["conditions"][1] = condition("reservoir", "unknown", "no reading yet")
    station.fakes.judge.show(verdict=verdict | {"verdict": "unknown"})
    until(lambda: browser.text("#word-text") == "NOT READY", "NOT READY")
    assert browser.text("#cannot") == "CAN'T TELL" and "no reading yet" in browser.text("#why")
    assert browser.errors() == []


@pytest.mark.parametrize("how", ["server stopped", "judge frozen", "network cut"])
def test_when_nothing_is_heard_no_number_looks_live(browser: Browser, station: Station, how: str) -> None:
    relay = Relay(int(station.url.rsplit(":", 1)[1].strip("/")))
    browser.call("Page.navigate", url=f"http://127.0.0.1:{relay.port}/")
    station.fakes.judge.show(verdict=ready_picture(station.fakes))
    until(lambda: browser.text("#word-text") == "READY", "READY")
    if how == "server stopped":
        station.server.stop()
    elif how == "judge frozen":
        station.frozen.set()
    else:
        relay.whole.clear()
    until(lambda: browser.text("#word-text") == "NOT READY", "the page notices", 60)
    assert browser.text("#cannot") == "CAN'T TELL" and "No connection since" in browser.text("#why")
    assert browser.text("#live-word") == "NOT LIVE"
    struck = "[...document.querySelectorAll('#point-list .value')].every(e => getComputedStyle(e).textDecorationLine === 'line-through')"
    assert browser.js(struck) is True
    assert browser.js("document.title").startswith("CAN'T TELL")
    before = browser.text("#point-list .age")
    until(lambda: browser.text("#point-list .age") != before, "ages go on")
    if how != "server stopped":
        station.frozen.clear()
        relay.whole.set()
        until(lambda: browser.text("#word-text") == "READY", "it comes back by itself", 120)
    browser.call("Page.navigate", url="about:blank")
    relay.close()


def test_an_alarm_is_acknowledged_with_a_name_that_is_remembered(browser: Browser, station: Station) -> None:
    alarms = dict(station.fakes.judge.newest.alarms)
    alarms["outlet_tripped:heater"] = alarm("outlet_tripped:heater", "unacknowledged", "high", cause="tripped")
    station.fakes.judge.show(alarms=alarms)
    shows(browser, "#alarm-list", "Outlet tripped: heater")
    assert browser.text("#alarm-list li .what") == "Outlet tripped: heater"  # the most urgent first
    browser.js("sessionStorage.clear(); document.querySelector('#alarm-list li button').click()")
    assert browser.js("document.getElementById('who').open") is True
    assert browser.js("document.activeElement.id") == "who-name"
    browser.call("Input.insertText", text="M. Osei")
    for kind in ("keyDown", "keyUp"):  # by keyboard alone
        browser.call(
            "Input.dispatchKeyEvent", type=kind, key="Enter", code="Enter", windowsVirtualKeyCode=13, text="\r"
        )
    until(lambda: station.fakes.judge.bodies, "the station hears of it")
    assert station.fakes.judge.bodies == [{"record": "acknowledge", "alarm": "outlet_tripped:heater", "by": "M. Osei"}]
    shows(browser, "#alarm-list", "seen by M. Osei")
    until(lambda: browser.js("document.getElementById('who').open") is False, "the dialog closes")
    shows(browser, "#entry-list", "acknowledge by M. Osei")
    browser.js("document.querySelector('#alarm-list button:not([hidden])').click()")
    assert browser.js("document.getElementById('who-name').value") == "M. Osei"
    assert browser.errors() == []


def test_a_refusal_is_shown_in_the_stations_own_words(browser: Browser, station: Station) -> None:
    alarms = dict(station.fakes.judge.newest.alarms)
    browser.js(
        "document.querySelector('#alarm-list li button').click(); document.getElementById('who-name').value = 'Kim'"
    )
    del alarms["reservoir_cold"]
    station.fakes.judge.show(alarms=alarms)
    browser.js("document.getElementById('who-send').click()")
    shows(browser, "#who-fault", "there is no alarm 'reservoir_cold'")
    assert browser.js("document.getElementById('who').open") is True


def test_entries_of_before_the_clock_was_set_show_their_time_beside_the_stamp(
    browser: Browser, station: Station
) -> None:
    journal, judge, dates = station.fakes.journal, station.fakes.judge, Dates()
    dates.note("boot-2", Now(60_000, 60_000, trusted=False))
    judge.show(dates=dates)
    journal.add("note", {"text": "before the clock"}, Stamp("boot-2", 60_000, 60_000, trusted=False))
    shows(browser, "#entry-list", "before the clock")
    set_ms = START_MS + 2 * 3_600_000
    dates.note("boot-2", Now(120_000, set_ms, trusted=True))
    judge.show(dates=dates)
    journal.add("clock_step", {"from": None}, Stamp("boot-2", 120_000, set_ms, trusted=True))
    shows(browser, "#entry-list", "stamped 01/01/1970 01:01:00")  # Europe/Dublin kept summer time all that winter
    row = "[...document.querySelectorAll('#entry-list li')].find((li) => li.textContent.includes('before the clock'))"
    assert browser.js(f"{row}.querySelector('time').dateTime") == rfc3339(set_ms - 60_000)
    assert "?" not in browser.js(f"{row}.querySelector('time').textContent")
    assert browser.errors() == []


def test_c041_a_time_that_comes_twice_is_shown_with_its_offset(browser: Browser, station: Station) -> None:
    """Europe/Dublin, 25 Oct 2026: 01:30 comes twice; America/Chicago has its own on 1 Nov 2026."""
    for number, at in enumerate(("2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z", "2026-10-25T02:30:00Z")):
        station.fakes.journal.add(
            "note", {"text": at}, Stamp("boot-41", number * 3_600_000, wall_ms_of(at), trusted=True)
        )
    shows(browser, "#entry-list", "2026-10-25T02:30:00Z")
    times = browser.js("[...document.querySelectorAll('#entry-list time')].slice(0, 3).map(e => e.innerText)")
    assert times == ["Sun 25 Oct 02:30:00", "Sun 25 Oct 01:30:00 GMT+0", "Sun 25 Oct 01:30:00 GMT+1"]
    chicago = ("2026-11-01T05:30:00Z", "2026-11-01T06:30:00Z", "2026-11-01T07:30:00Z")
    browser.js("state.station.timezone = 'America/Chicago'")
    assert browser.js(f"{json.dumps(chicago)}.map(at => clockTime(at, false))") == [
        "Sun 1 Nov 00:30", "Sun 1 Nov 01:30 GMT-5", "Sun 1 Nov 01:30 GMT-6",
    ]  # fmt: skip
    assert browser.errors() == []


def test_text_from_outside_stays_text(browser: Browser, station: Station) -> None:
    nasty = "<img src=x onerror=\"document.title='taken'\"><b>x</b>"
    verdict = dict(station.fakes.judge.newest.verdict) | {"waits_for": [nasty]}
    alarms = dict(station.fakes.judge.newest.alarms)
    alarms["reservoir_cold"] = dict(alarms["reservoir_cold"]) | {"cause": nasty, "response": nasty}
    station.fakes.journal.add("record", {"record": "note", "by": nasty, "text": nasty})
    station.fakes.judge.show(verdict=verdict, alarms=alarms)
    shows(browser, "#waits", "<img src=x")
    shows(browser, "#entry-list", "<img src=x")
    assert nasty in browser.text("#alarm-list")
    assert browser.js("document.querySelectorAll('main img, main b').length") == 0
    assert browser.js("document.title") != "taken"


@pytest.mark.parametrize("width, height", [(1280, 800), (800, 1280), (412, 915), (320, 640)])
def test_it_fits_and_can_be_touched_with_gloves(browser: Browser, station: Station, width: int, height: int) -> None:
    browser.size(width, height, mobile=width < 600)
    assert browser.js("document.documentElement.scrollWidth") <= width
    box = "document.getElementById('word').getBoundingClientRect()"
    left, top, right, bottom = browser.js(f"(r => [r.left, r.top, r.right, r.bottom])({box})")
    assert left >= 0 and right <= width and top >= 0 and bottom <= height / 2  # the verdict without scrolling
    # From two metres a letter should be about 0.004 x 2000 mm = 8 mm high or more (20/40 at 2 m, rule of thumb from memory);
    # at 96 px per inch that is 31 px; capitals are about 0.7 of the font size.
    assert browser.js("parseFloat(getComputedStyle(document.getElementById('word')).fontSize)") * 0.7 >= 31
    for size in browser.js(
        "[...document.querySelectorAll('main button:not([hidden])')].map(b => Math.min(b.offsetHeight, b.offsetWidth))"
    ):
        assert size >= 48
    assert browser.screenshot()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_screen_reader_hears_the_verdict(browser: Browser, station: Station) -> None:
    live = browser.js("(e => [e.getAttribute('aria-live'), e.getAttribute('role')])(document.getElementById('said'))")
    assert live == ["polite", "status"]
    # an unchanged verdict is not said again each second: nothing in the live region changes
    all_changes = "{subtree: true, childList: true, characterData: true, attributes: true}"
    observer = "window.changes = 0; new MutationObserver(() => window.changes++)"
    browser.js(f"{observer}.observe(document.getElementById('said'), {all_changes}); 1")
    version = station.fakes.judge.newest.version
    until(lambda: station.fakes.judge.newest.version >= version + 5, "some pictures later")
    assert browser.js("window.changes") == 0
    named = "[...document.querySelectorAll('#alarm-list button:not([hidden])')].map(b => b.getAttribute('aria-label'))"
    assert browser.js(named) == ["Acknowledge Reservoir cold"]


def test_the_api_pages_come_up_without_internet(browser: Browser, station: Station) -> None:
    browser.said.clear()
    browser.call("Page.navigate", url=station.url + "docs")
    until(lambda: browser.js("document.querySelectorAll('.opblock').length") >= 12, "all routes are shown", 120)
    assert {url.split("/")[2] for url in browser.asked() if not url.startswith("data:")} == {station.url.split("/")[2]}
    assert browser.errors() == []
    browser.js("document.querySelectorAll('.opblock-summary-control').forEach(one => one.click())")
    until(lambda: browser.js("document.querySelectorAll('.opblock.is-open').length") >= 12, "all routes are open", 120)
    assert browser.errors() == [], "the policy refuses nothing of it, without 'unsafe-inline'"
