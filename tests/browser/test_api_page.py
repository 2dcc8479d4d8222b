"""The page in a real browser: it shows the verdict, says so when the station is gone, and answers an alarm."""

from __future__ import annotations

import json

import pytest

from edge.api.words import WORDS
from edge.domain.dates import Dates
from edge.domain.entries import Now, Stamp, rfc3339, wall_ms_of
from tests.api_fakes import START_MS, alarm, condition, of_basin, told, until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import DOING, SITE, STATES, Relay, Station, put_into, ready_picture, shows
from tests.unit.stations import Driver
from tests.yardstick import Yardstick

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def view(browser: Browser, name: str, there: str) -> None:
    """Go to a view by its place, and wait until something of it is there."""
    browser.js(f"location.hash = '#{name}'")
    until(lambda: browser.js(f"!!document.querySelector({there!r})"), f"{name} shows {there}")


def test_the_views_show_verdict_conditions_points_alarms_and_record(browser: Browser, station: Station) -> None:
    assert browser.text(".word-text") == "NOT READY"
    assert "31.4 °C; 38.9 °C are needed in this room" in browser.text(".why")
    assert browser.text(".due") == "ready about\n\n07:42"  # Europe/Dublin in winter
    assert browser.text(".when") == (
        "Ready about 07:42 (in 1 h 52 min), between 07:35 and 07:58, once what is listed here is done."
    )
    assert "urroundings only: the maker's instructions decide the rest" in browser.text(".note")
    assert browser.text(".first-text") == "Do the daily test and record it"
    points = browser.text(".points")
    assert "31.4 °C" in points.replace("\n", " ") and "57.8 psi" in points.replace("\n", " ")
    assert "current loop open or sender fault. Check the loop's wiring" in points
    assert browser.text(".under") == "" and browser.js("document.body.classList.contains('lost')") is False
    assert browser.js("document.title") == "NOT READY · Scope room 2, left bench"
    view(browser, "alarms", ".alarm")
    shown = browser.text("#standing")
    assert "Reservoir cold" in shown and "Do: See that the heater is on" in shown
    view(browser, "record", ".entry")
    shows(browser, ".days", "phase")
    station.fakes.journal.add("settings", {"digest": "5f" * 32, "document": {"reservoir": {"minimum": "35 degC"}}})
    view(browser, "station", ".settings-group")
    shows(browser, "#about", "harbour-lane")
    assert browser.errors() == []
    assert {url.split("/")[2] for url in browser.asked()} == {station.url.split("/")[2]}


def test_of_several_basins_each_has_a_line_and_none_where_there_is_one(browser: Browser, station: Station) -> None:
    assert browser.js("document.querySelector('.basins').hidden") is True
    verdict = dict(station.fakes.judge.newest.verdict)
    verdict["verdicts"] = [
        of_basin("left", "ready"),
        of_basin("right", "unknown", "Have the hold of basin right released", "Wait"),
    ]
    verdict["conditions"] = [*verdict["conditions"], condition("no_hold:left", "met", "no hold")]
    station.fakes.judge.show(verdict=verdict)
    shows(browser, ".basins", "READY")
    rows = browser.js(
        "[...document.querySelectorAll('.basin')].map(li => [...li.children].slice(1).map(e => e.textContent))"
    )
    assert rows == [
        ["Basin left", "READY", ""],
        ["Basin right", "NOT READY, CAN'T TELL", "Have the hold of basin right released"],
    ]
    assert "No hold, basin left" in browser.text(".conditions")
    assert browser.errors() == []


def test_the_page_speaks_the_stations_words_and_shows_nothing_before_it_has_them(
    browser: Browser, station: Station
) -> None:
    alarms = {
        ident: alarm(ident, "unacknowledged", active=True) for ident in (*WORDS["alarms"], "outlet_tripped:heater")
    }
    verdict = dict(station.fakes.judge.newest.verdict)
    verdict["conditions"] = [condition(ident, "unmet", "") for ident in WORDS["conditions"]]
    station.fakes.judge.show(alarms=alarms, verdict=verdict)
    lists = ".condition, .alarm, .point, .entry"
    browser.page.route("**/api/1/station?*", lambda route: route.abort())
    browser.go(station.url)
    shows(browser, ".why", "Nothing has been heard from the station yet.")
    assert browser.js(f"document.querySelectorAll('{lists}').length") == 0
    assert browser.text(".under") == "CAN'T TELL"
    view(browser, "alarms", "#standing")
    assert browser.text(".none-text") == "Not known yet."
    browser.page.unroute_all()
    until(lambda: browser.js("document.querySelectorAll('.alarm').length") == len(alarms), "the alarms", 20)
    shown = "[...document.querySelectorAll('{}')].map(e => e.innerText)"
    assert set(browser.js(shown.format(".alarm .what"))) == {*WORDS["alarms"].values(), "Outlet tripped: heater"}
    view(browser, "now", ".condition")
    assert browser.js(shown.format(".condition .name")) == list(WORDS["conditions"].values())
    assert browser.js(shown.format(".condition .state")) == ["not met"] * len(WORDS["conditions"])
    points = station.fakes.judge.newest.points.values()
    assert browser.js(shown.format(".point .role")) == [
        WORDS["roles"][p["role"]] + (f", {p['of']}" if p["of"] else "") for p in points
    ]


def colour_of(browser: Browser, selector: str) -> tuple[int, int, int]:
    red, green, blue = browser.js(
        f"getComputedStyle(document.querySelector({selector!r})).backgroundColor.match(/\\d+/g).slice(0, 3).map(Number)"
    )
    return red, green, blue


def test_amber_only_where_somebody_must_do_something(browser: Browser, station: Station) -> None:
    """IEC 60073: yellow is for what needs attention; a normal state is neutral. Never by colour alone: word and mark differ, too."""
    titles = {"in_use": "IN USE", "reheating": "REHEATING", "at_rest": "AT REST", "ready": "READY"}
    marks = {}
    for state in STATES:
        verdict = put_into(browser, station, state)
        assert browser.text(".word-text") == titles.get(verdict["display"], "NOT READY")
        assert browser.text(".under") == ("CAN'T TELL" if verdict["display"] == "cant_tell" else "")
        red, green, blue = colour_of(browser, ".plate")
        is_amber = red - blue > 100
        assert is_amber == (verdict["display"] == "not_ready" and bool(verdict["waits_for"])), state
        assert is_amber or max(red, green, blue) - min(red, green, blue) < 8, state
        marks[verdict["display"], is_amber] = browser.js("document.querySelector('.word .mark').dataset.mark")
    assert len(set(marks.values())) == len(marks) == 7
    assert browser.errors() == []


@pytest.mark.parametrize("how", ["server stopped", "judge frozen", "network cut"])
def test_when_nothing_is_heard_no_number_looks_live(browser: Browser, station: Station, how: str) -> None:
    relay = Relay(int(station.url.rsplit(":", 1)[1].strip("/")))
    browser.go(f"http://127.0.0.1:{relay.port}/")
    station.fakes.judge.show(verdict=ready_picture(station.fakes))
    shows(browser, ".word-text", "READY")
    until(lambda: browser.text(".word-text") == "READY", "READY")
    browser.js("window.noticed = 0; 1")
    watch = (
        "new MutationObserver(() => { if (document.body.classList.contains('lost')) window.noticed = performance.now(); })"
        ".observe(document.body, {attributes: true}); 1"
    )
    browser.js(watch)
    with Yardstick(*browser.processes()) as yardstick:
        began = browser.js("performance.now()")
        if how == "server stopped":
            station.server.stop()
        elif how == "judge frozen":
            station.frozen.set()
        else:
            relay.whole.clear()
        until(lambda: browser.text(".word-text") == "NOT READY", "the page notices", 60)
        # within five seconds of the newest picture, which may have come a second after `began`
        assert browser.js("window.noticed") - began < 6_000 + 1000 * yardstick.late_s()
    assert browser.text(".under") == "CAN'T TELL" and "No connection since" in browser.text(".why")
    assert "Don't start." in browser.text(".lost-do") and "ask whoever looks after" in browser.text(".lost-do")
    assert browser.text("#live-word") == "NOT LIVE"
    struck = "[...document.querySelectorAll('.point .value')].every(e => getComputedStyle(e).textDecorationLine === 'line-through')"
    assert browser.js(struck) is True
    assert browser.js("document.title").startswith("CAN'T TELL")
    before = browser.text(".point .age")
    until(lambda: browser.text(".point .age") != before, "ages go on")
    for name, there in (("alarms", "#standing"), ("record", ".finder"), ("station", "#about")):
        view(browser, name, there)
        assert "Don't start by it" in browser.text("#lost-strip") and "CAN'T TELL" in browser.text("#chip")
    view(browser, "now", ".plate")
    if how == "judge frozen":  # a line opened anew brings the same old picture: it is no news
        browser.go(f"http://127.0.0.1:{relay.port}/#now")
        shows(browser, ".why", "No connection since")
        assert browser.text(".under") == "CAN'T TELL" and browser.text("#live-word") == "NOT LIVE"
    if how != "server stopped":
        station.frozen.clear()
        relay.whole.set()
        until(lambda: browser.text(".word-text") == "READY", "it comes back by itself", 120)
    browser.go("about:blank")
    relay.close()


def test_a_screen_whose_clock_was_set_or_that_slept_shows_nothing_old_as_live(
    browser: Browser, station: Station
) -> None:
    station.fakes.judge.show(verdict=ready_picture(station.fakes))
    until(lambda: browser.text(".word-text") == "READY", "READY")
    station.frozen.set()
    browser.js("window.now = Date.now; Date.now = () => now() + 60000; 1")  # it slept: its monotonic clock stood
    shows(browser, ".word-text", "NOT READY", 3)
    station.frozen.clear()
    until(lambda: browser.text(".word-text") == "READY", "it is heard again")
    browser.js("Date.now = () => now() - 3600000; 1")  # it was set back: what was heard is not younger for it
    station.frozen.set()
    shows(browser, ".word-text", "NOT READY", 20)


def test_an_alarm_is_acknowledged_with_a_name_that_is_remembered(browser: Browser, station: Station) -> None:
    alarms = dict(station.fakes.judge.newest.alarms)
    alarms["outlet_tripped:heater"] = alarm("outlet_tripped:heater", "unacknowledged", "high", cause="tripped")
    station.fakes.judge.show(alarms=alarms)
    view(browser, "alarms", ".alarm")
    shows(browser, "#standing", "Outlet tripped: heater")
    assert browser.text("#standing .what") == "Outlet tripped: heater"  # the most urgent first
    assert browser.text("#nav [data-view=alarms] .count") == "2"
    browser.js("sessionStorage.clear(); document.querySelector('.alarm .answer').click()")
    assert browser.js("document.getElementById('who').open") is True
    assert browser.js("document.activeElement.id") == "who-name"
    browser.page.keyboard.insert_text("M. Osei")
    browser.key("Enter")  # by keyboard alone
    until(lambda: station.fakes.judge.bodies, "the station hears of it")
    assert station.fakes.judge.bodies == [{"record": "acknowledge", "alarm": "outlet_tripped:heater", "by": "M. Osei"}]
    shows(browser, "#standing", "seen by M. Osei")
    until(lambda: browser.js("document.getElementById('who') === null"), "the dialog closes")
    browser.js("document.querySelector('.alarm .answer:not([hidden])').click()")
    assert browser.js("document.getElementById('who-name').value") == "M. Osei"
    browser.js("document.getElementById('who').close()")
    view(browser, "record", ".entry")
    shows(browser, ".days", "Acknowledge Outlet tripped: heater by M. Osei")
    assert browser.errors() == []


def test_a_refusal_is_shown_in_plain_words(browser: Browser, station: Station) -> None:
    alarms = dict(station.fakes.judge.newest.alarms)
    view(browser, "alarms", ".alarm")
    browser.js("document.querySelector('.alarm .answer').click(); document.getElementById('who-name').value = 'Kim'")
    del alarms["reservoir_cold"]
    station.fakes.judge.show(alarms=alarms)
    browser.js("document.querySelector('#who button.main').click()")
    shows(browser, "#who-fault", "The station doesn't know this any more: look again.")
    assert browser.js("document.getElementById('who').open") is True
    browser.js("document.getElementById('who').close()")


def test_entries_of_before_the_clock_was_set_show_their_time_beside_the_stamp(
    browser: Browser, station: Station
) -> None:
    journal, judge, dates = station.fakes.journal, station.fakes.judge, Dates()
    dates.note("boot-2", Now(60_000, 60_000, trusted=False))
    judge.show(dates=dates)
    journal.add("note", {"text": "before the clock"}, Stamp("boot-2", 60_000, 60_000, trusted=False))
    view(browser, "record", ".entry")
    shows(browser, ".days", "before the clock")
    set_ms = START_MS + 2 * 3_600_000
    dates.note("boot-2", Now(120_000, set_ms, trusted=True))
    judge.show(dates=dates)
    journal.add("clock_step", {"from": None}, Stamp("boot-2", 120_000, set_ms, trusted=True))
    shows(browser, ".days", "stamped 01/01/1970 01:01:00")  # Europe/Dublin kept summer time all that winter
    row = "[...document.querySelectorAll('.entry')].find((li) => li.textContent.includes('before the clock'))"
    assert browser.js(f"{row}.querySelector('time').dateTime") == rfc3339(set_ms - 60_000)
    assert "?" not in browser.js(f"{row}.querySelector('time').textContent")
    assert browser.errors() == []


def test_c041_a_time_that_comes_twice_is_shown_with_its_offset(browser: Browser, station: Station) -> None:
    """Europe/Dublin, 25 Oct 2026: 01:30 comes twice; America/Chicago has its own on 1 Nov 2026."""
    for number, at in enumerate(("2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z", "2026-10-25T02:30:00Z")):
        station.fakes.journal.add(
            "note", {"text": at}, Stamp("boot-41", number * 3_600_000, wall_ms_of(at), trusted=True)
        )
    view(browser, "record", ".entry")
    shows(browser, ".days", "2026-10-25T02:30:00Z")
    times = browser.js("[...document.querySelectorAll('.entry time')].slice(0, 3).map(e => e.innerText)")
    assert times == ["02:30:00", "01:30:00 GMT+0", "01:30:00 GMT+1"]
    assert browser.text(".day h2") == "Sunday, 25 October 2026" or browser.text(".day h2") == "Sunday 25 October 2026"
    chicago = ("2026-11-01T05:30:00Z", "2026-11-01T06:30:00Z", "2026-11-01T07:30:00Z")
    told = "import('/web/told.js').then((t) => (t.ofStation({timezone: 'America/Chicago'}), %s.map((at) => t.clockTime(at, false))))"
    assert browser.js(told % json.dumps(chicago)) == [
        "Sun 1 Nov 00:30", "Sun 1 Nov 01:30 GMT-5", "Sun 1 Nov 01:30 GMT-6",
    ]  # fmt: skip
    assert browser.errors() == []


def test_text_from_outside_stays_text(browser: Browser, station: Station) -> None:
    nasty = "<img src=x onerror=\"document.title='taken'\"><b>x</b>"
    verdict = dict(station.fakes.judge.newest.verdict) | {"waits_for": [nasty], "waits_for_msgs": [told(nasty)]}
    verdict["conditions"] = [condition("reservoir", "unmet", nasty)]
    alarms = dict(station.fakes.judge.newest.alarms)
    alarms["reservoir_cold"] = dict(alarms["reservoir_cold"]) | {"cause": nasty, "response": nasty}
    station.fakes.journal.add("record", {"record": "note", "by": nasty, "text": nasty})
    station.fakes.judge.show(verdict=verdict, alarms=alarms)
    shows(browser, ".first", "<img src=x")
    shows(browser, ".why", "<img src=x")
    assert browser.js("document.querySelectorAll('img').length") == 0
    view(browser, "alarms", ".alarm")
    assert nasty in browser.text("#standing")
    view(browser, "record", ".entry")
    shows(browser, ".days", "<img src=x")
    assert browser.js("document.querySelectorAll('img').length") == 0
    assert browser.js("document.title") != "taken"


def bounds(browser: Browser, selector: str) -> tuple[float, float, float, float]:
    left, top, right, bottom = browser.js(
        f"(r => [r.left, r.top, r.right, r.bottom])(document.querySelector({selector!r}).getBoundingClientRect())"
    )
    return left, top, right, bottom


@pytest.mark.parametrize("width, height", [(1280, 800), (800, 1280), (412, 915), (390, 844), (320, 568)])
def test_it_fits_and_can_be_touched_with_gloves(browser: Browser, station: Station, width: int, height: int) -> None:
    browser.size(width, height, mobile=width < 600)
    until(lambda: browser.js("innerWidth") == width, "its size")
    left, top, right, bottom = bounds(browser, ".word")
    assert left >= 0 and right <= width and top >= 0 and bottom <= height / 2  # the verdict without scrolling
    left, top, right, bottom = bounds(browser, ".first-text")
    assert left >= 0 and right <= width and bottom <= height - (64 if width < 900 else 0)  # and what to do first
    touched = (
        "[...document.querySelectorAll('a, button, input, summary, .choice')]"
        ".filter((e) => e.offsetParent && !e.matches('.skip, .choice input'))"
    )
    now = station.fakes.judge.newest.now
    station.fakes.judge.show(settings=SITE, commissioning=Driver(SITE).station.commissioning(now))
    for name, there in (
        *DOING,
        ("now", ".point"),
        ("alarms", ".alarm"),
        ("record", ".entry"),
        ("station", ".fact"),
        ("trends", ".trend"),
    ):
        view(browser, name, there)
        assert browser.js("document.documentElement.scrollWidth") <= width, name
        if name == "do/daily_test":
            assert bounds(browser, ".watch-press")[3] <= height, "Start is seen at once"
        for size, what in browser.js(
            f"{touched}.map((e) => [Math.min(e.offsetHeight, e.offsetWidth), e.outerHTML.slice(0, 80)])"
        ):
            assert size >= (44 if 'class="chip' in what and "chip-button" not in what else 56), (
                what
            )  # WCAG 2.2, 2.5.5: 44 px; for gloves ours are 56
    assert browser.screenshot()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_views_are_reached_by_keyboard_and_hold_the_focus(browser: Browser, station: Station) -> None:
    browser.js("document.querySelector('#nav a').focus()")
    for name in ("do", "alarms"):
        browser.key("Tab")
        assert browser.js("document.activeElement.dataset.view") == name
    browser.key("Enter")
    until(lambda: browser.js("document.body.dataset.view") == "alarms", "the alarms")
    assert browser.js("document.querySelector('[aria-current=page]').dataset.view") == "alarms"
    assert browser.js("document.activeElement.id") == "main"  # reading goes on in what has come
    browser.key("Tab")
    assert browser.js("document.activeElement.className") == "answer main"
    version = station.fakes.judge.newest.version
    until(lambda: station.fakes.judge.newest.version >= version + 4, "some pictures later")
    assert browser.js("document.activeElement.className") == "answer main"


def test_a_screen_reader_hears_the_verdict_and_only_its_change(browser: Browser, station: Station) -> None:
    live = browser.js("(e => [e.getAttribute('aria-live'), e.getAttribute('role')])(document.getElementById('said'))")
    assert live == ["polite", "status"]
    # an unchanged verdict is not said again each second: nothing in the live region changes
    all_changes = "{subtree: true, childList: true, characterData: true, attributes: true}"
    browser.js(
        "window.heard = []; new MutationObserver(() => window.heard.push(document.getElementById('said').textContent))"
        f".observe(document.getElementById('said'), {all_changes}); 1"
    )
    version = station.fakes.judge.newest.version
    until(lambda: station.fakes.judge.newest.version >= version + 5, "some pictures later")
    assert browser.js("window.heard") == []
    assert browser.js("document.querySelectorAll('[aria-live], [role=status], [role=alert]').length") == 1
    station.fakes.judge.show(verdict=ready_picture(station.fakes))
    until(lambda: browser.js("window.heard.length"), "it says so")
    assert browser.js("window.heard") == ["READY"]
    view(browser, "alarms", ".alarm")
    named = "[...document.querySelectorAll('.alarm .answer:not([hidden])')].map(b => b.getAttribute('aria-label'))"
    assert browser.js(named) == ["Acknowledge Reservoir cold"]


def test_the_api_pages_come_up_without_internet(browser: Browser, station: Station) -> None:
    browser.go(station.url + "docs")
    until(lambda: browser.js("document.querySelectorAll('.opblock').length") >= 12, "all routes are shown", 120)
    assert {url.split("/")[2] for url in browser.asked() if not url.startswith("data:")} == {station.url.split("/")[2]}
    assert browser.errors() == []
    some = "[...document.querySelectorAll('.opblock-summary-control')].filter((one, n) => n % 5 === 0)"
    browser.js(f"{some}.forEach((one) => one.click())")  # all of them take a minute
    until(lambda: browser.js("document.querySelectorAll('.opblock.is-open').length") >= 4, "some routes are open", 120)
    assert browser.errors() == [], "the policy refuses nothing of it, without 'unsafe-inline'"
