"""Trends, used as people use them: by keys alone, by fingers, by mouse; what is not known stays so; and the page doesn't grow."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from itertools import pairwise

import pytest

from tests.api_fakes import START_MS, until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import HOUR_MS, STATES, Station, a_day, shows

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]

MINUTE_MS = 60_000
LINE = "#trend-reservoir .line-of:not(.unsure)"


@pytest.fixture
def trends(browser: Browser, station: Station) -> Iterator[Station]:
    """A station that warms up, and its trends of six hours."""
    station.fakes.journal.entries.clear()
    a_day(station.fakes.journal)
    station.fakes.judge.show(**STATES["warming"])
    browser.go("about:blank")
    browser.go(f"{station.url}#trends")
    until(
        lambda: browser.js(
            f"!!document.querySelector('{LINE}') && !!document.querySelector('{LINE}').getAttribute('d')"
        ),
        "a line",
    )
    shows(browser, "#trend-said .summary", "alarm")
    yield station


def seen(browser: Browser) -> tuple[float, float]:
    """The stretch that is seen, ms since 1970."""
    least, most = browser.js(
        "['aria-valuemin', 'aria-valuemax'].map((n) => Number(document.querySelector('.axis').getAttribute(n)))"
    )
    return least * 1000, most * 1000


def said(browser: Browser) -> str:
    return str(browser.js("document.querySelector('.axis').getAttribute('aria-valuetext')"))


def choose(browser: Browser, name: str) -> None:
    browser.js(f"document.querySelector('[data-range=\"{name}\"]').click()")


def settled(browser: Browser, width_s: float) -> None:
    """What is drawn has buckets of this width."""
    asked = f"performance.getEntriesByType('resource').filter((e) => e.name.includes('width_s={width_s:g}&') && e.responseEnd > 0).length"
    until(lambda: browser.js(asked), f"buckets of {width_s:g} s")
    browser.js("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def asked_for(browser: Browser) -> list[str]:
    return [url for url in browser.asked() if "/trends?" in url]


def buckets_of(url: str) -> int:
    return int(url.rsplit("&n=", 1)[1])


def steps(path: str) -> list[list[float]]:
    """The x of each run of a line, run by run."""
    return [[float(x) for x in re.findall(r"(-?[\d.]+) -?[\d.]+", run)] for run in path.split("M") if run]


def test_lines_end_where_nothing_was_read_and_a_years_spike_is_there(browser: Browser, trends: Station) -> None:
    choose(browser, "week")
    settled(browser, 1800)
    until(
        lambda: browser.js("document.querySelectorAll('#trend-reservoir .void[data-kind=none]').length") == 1,
        "the hours without power",
    )
    width = browser.js("document.querySelector('#trend-reservoir .plot').clientWidth")
    first, last = seen(browser)
    runs = steps(browser.js(f"document.querySelector('{LINE}').getAttribute('d')"))
    bucket_px = width * 1800_000 / (last - first)
    assert len(runs) == 2 and all(b - a <= bucket_px + 0.2 for run in runs for a, b in pairwise(run))
    gap = [first + x / width * (last - first) for x in (runs[0][-1], runs[1][0])]
    assert gap == pytest.approx([START_MS - 32.5 * HOUR_MS, START_MS - 30 * HOUR_MS], abs=HOUR_MS)
    feet = browser.js("[...document.querySelectorAll('#trend-pressure .stretch')].map((e) => e.dataset.kind)")
    assert {"unsure", "bad"} <= set(feet)
    assert "nothing known for" in browser.text("#trend-pressure .summary")
    choose(browser, "year")
    settled(browser, 86400)
    shows(browser, "#trend-reservoir .summary", "to 47.1 °C")
    band = browser.js("document.querySelector('#trend-reservoir .band-of').getAttribute('d')")
    tops = sorted(float(y) for y in re.findall(r"-?[\d.]+ (-?[\d.]+)", band))
    assert tops[0] < 15 < 40 < tops[20]  # days with a spike stand far above the others
    nodes = browser.js("document.querySelectorAll('#main *').length")
    assert nodes < 600 and all(buckets_of(url) <= 960 for url in asked_for(browser))
    assert browser.errors() == []


def test_it_is_said_without_being_seen(browser: Browser, trends: Station) -> None:
    reservoir = browser.text("#trend-reservoir .summary")
    assert re.match(
        r"2\d\.\d °C to 31\.\d °C\. Expected to be warm enough about 07:42, between 07:35 and 07:58", reservoir
    )
    assert "Coarse: now 3.5 psi of 8.0 psi, at its limit in about 23 days (17 to 32)" in browser.text(
        "#trend-filters .summary"
    )
    assert "NOT READY from 05:30 to 05:50" in browser.text("#trend-said .summary")
    assert browser.js(
        "[...document.querySelectorAll('#main svg')].every((e) => e.getAttribute('aria-hidden') === 'true')"
    )
    wedge = steps(browser.js("document.querySelector('#trend-reservoir .foreseen').getAttribute('d')"))[0]
    width = browser.js("document.querySelector('#trend-reservoir .plot').clientWidth")
    first, last = seen(browser)
    times = [(first + x / width * (last - first) - START_MS) / MINUTE_MS for x in wedge[:3]]
    assert times == pytest.approx([0, 105, 128], abs=1.5)  # from now to between the earliest and the latest time
    browser.js("document.querySelector('.to-tables').click()")
    shows(browser, "#trend-reservoir table", "reservoir, °C")
    rows = browser.js(
        "[...document.querySelectorAll('#trend-reservoir tbody tr')].map((e) => e.innerText.split('\\t'))"
    )
    assert rows[0][0] == "05:50" and len(rows) == 120 and float(rows[10][2]) <= float(rows[10][1]) <= float(rows[10][3])
    assert "Reservoir cold" in browser.text("#trend-said table")


def luminance(colour: str) -> float:
    channels = [int(n) / 255 for n in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_lines_stand_out_and_differ_without_their_colour(browser: Browser, trends: Station) -> None:
    """WCAG 2.2, 1.4.11 (AA): graphics at least 3:1, by its formula of relative luminance; 1.4.1: not by colour alone."""
    for scheme, name in (("dark", "dark"), ("light", "day")):
        browser.prefers(color_scheme=scheme)
        until(lambda name=name: browser.js("document.documentElement.dataset.scheme") == name, name)  # type: ignore[misc]
        styles = browser.js(
            "[...document.querySelectorAll('#trend-pressure .line-of:not(.unsure), #trend-pressure .limit, #trend-pressure .foreseen')]"
            ".map(e => getComputedStyle(e)).map(s => [s.stroke, s.strokeDasharray])"
        )
        ground = luminance(
            browser.js("getComputedStyle(document.querySelector('#trend-pressure .plot')).backgroundColor")
        )
        for stroke, _ in styles:
            low, high = sorted((luminance(stroke), ground))
            assert (high + 0.05) / (low + 0.05) >= 3, (name, stroke)
        assert len({dash for _, dash in styles}) == len(styles) == 5
    ends = browser.js("[...document.querySelectorAll('#trend-pressure .end')].map((e) => e.innerText)")
    assert ends == ["supply", "between", "filtered"]


def test_keys_alone_read_move_and_widen_it(browser: Browser, trends: Station) -> None:
    browser.js("document.querySelector('.to-tables').focus()")
    browser.key("Tab")
    assert browser.js("document.activeElement.getAttribute('role')") == "slider"
    assert browser.js("getComputedStyle(document.activeElement).outlineWidth") == "4px"
    assert said(browser).startswith("Now, 05:50; NOT READY; reservoir 31.4 °C")
    for _ in range(3):
        browser.key("ArrowLeft")
    assert re.match(r"Monday,? 16 March, 05:47; NOT READY; reservoir 31.2 °C", said(browser)) and "unsure" not in said(
        browser
    )
    assert "not believed, no answer within the time limit" in said(browser)
    first, last = seen(browser)
    browser.key("+")
    shorter = seen(browser)
    assert shorter[1] - shorter[0] == pytest.approx((last - first) / 2, abs=2000)
    browser.key("-")
    browser.key("PageUp")
    moved = seen(browser)
    assert moved[1] == pytest.approx(last - (last - first) / 2, abs=5000)
    assert browser.js("document.querySelector('.to-now').getAttribute('aria-pressed')") == "false"
    browser.key("Home")
    assert browser.js("Number(document.activeElement.getAttribute('aria-valuenow'))") * 1000 == pytest.approx(
        moved[0], abs=MINUTE_MS
    )
    browser.key("End")
    assert said(browser).startswith("Now, 05:50") and seen(browser)[1] == pytest.approx(last, abs=2000)


def touch(browser: Browser, kind: str, *spots: tuple[float, float]) -> None:
    points = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(spots)]
    browser.call("Input.dispatchTouchEvent", type=kind, touchPoints=points)


def test_fingers_drag_pinch_and_read(browser: Browser, trends: Station) -> None:
    browser.size(390, 844, mobile=True)
    browser.js("document.querySelector('#trend-reservoir').scrollIntoView({ block: 'center' })")
    box = "(r => [r.left, r.top, r.width, r.height])(document.querySelector('#trend-reservoir .plot').getBoundingClientRect())"
    left, top, width, height = browser.js(box)
    y, length = top + height / 2, 6 * HOUR_MS
    first, last = seen(browser)
    touch(browser, "touchStart", (left + 100, y))
    touch(browser, "touchEnd")
    at = first + 100 / width * length
    until(lambda: browser.js("!document.querySelector('#trend-reservoir .cross').hidden"), "the moment is marked")
    assert browser.js("Number(document.querySelector('.axis').getAttribute('aria-valuenow'))") * 1000 == pytest.approx(
        at, abs=5 * MINUTE_MS
    )
    assert "16 March" in browser.text(".when-of")
    touch(browser, "touchStart", (left + 100, y))
    for x in (110, 150, 200):
        touch(browser, "touchMove", (left + x, y))
    touch(browser, "touchEnd")
    until(lambda: seen(browser)[1] < last - 60 * MINUTE_MS, "it was moved")
    assert seen(browser)[1] == pytest.approx(last - 100 / width * length, abs=10 * MINUTE_MS)
    touch(browser, "touchStart", (left + 100, y), (left + 200, y))
    for off in (10, 25, 50):
        touch(browser, "touchMove", (left + 100 - off, y), (left + 200 + off, y))
    touch(browser, "touchEnd")
    until(lambda: seen(browser)[1] - seen(browser)[0] < 0.7 * length, "it was pinched")
    now = seen(browser)
    assert now[1] - now[0] == pytest.approx(length / 2, rel=0.1)
    assert browser.js("document.documentElement.scrollWidth") <= 390
    assert browser.errors() == []


def test_a_mouse_reads_drags_and_its_wheel_widens(browser: Browser, trends: Station) -> None:
    left, top, width = browser.js(
        "(r => [r.left, r.top, r.width])(document.querySelector('#trend-reservoir .plot').getBoundingClientRect())"
    )
    first, last = seen(browser)

    mouse = browser.page.mouse
    mouse.move(left + 200, top + 50)
    until(lambda: "Monday" in browser.text(".when-of"), "what the mouse points at is read")
    mouse.down()
    mouse.move(left + 300, top + 50, steps=3)
    mouse.up()
    until(lambda: seen(browser)[1] < last - 20 * MINUTE_MS, "it was dragged")
    assert seen(browser)[1] == pytest.approx(last - 100 / width * (last - first), abs=3 * MINUTE_MS)
    browser.page.keyboard.down("Control")
    mouse.wheel(0, -600)
    browser.page.keyboard.up("Control")
    until(lambda: seen(browser)[1] - seen(browser)[0] < 0.6 * (last - first), "it was widened")
    assert not browser.js("window.scrollY") and browser.errors() == []


def test_what_is_old_or_cannot_be_read_is_said(browser: Browser, trends: Station) -> None:
    trends.fakes.break_store()
    began_s = time.monotonic()
    choose(browser, "month")
    shows(browser, ".trouble", "The station can't read this just now")
    assert browser.js(f"!!document.querySelector('{LINE}').getAttribute('d')")  # what was read before stays
    assert "31.4" in browser.text(".values-of")
    trends.frozen.set()
    until(lambda: browser.js("document.body.classList.contains('lost')"), "it is lost", 20)
    shows(browser, ".axis-now", "last heard")
    assert browser.text(".when-of").startswith("Last heard") and "was 31.4 °C" in browser.text(".values-of")
    assert "Don't start by it" in browser.text("#lost-strip")
    failed = [url for url in asked_for(browser) if "width_s=7200&" in url]
    assert 1 <= len(failed) <= 1 + (time.monotonic() - began_s) / 3  # it is asked again, and not at once


#: pictures, one for each minute of the station's time, each drawn, with what has come since
AN_HOUR = """(async (steps, offset) => {
  const [told, trends] = await Promise.all([import("/web/told.js"), import("/web/views/trends.js")]);
  for (let n = 1; n <= steps; n += 1) {
    const at = %d + offset + n * 60000;
    const news = structuredClone(window.pictured);
    news.points.reservoir.value += Math.sin(n);
    told.itIs(new Date(at).toISOString());
    trends.show({ line: { news, isLost: false, heardWall: Date.now() }, book: { newest: n } });
    const box = document.querySelector('.axis').getBoundingClientRect();
    const spot = { pointerType: 'mouse', bubbles: true, clientX: box.left + (n * 7) %% box.width };
    if (n %% 4 === 0) document.querySelector('.axis').dispatchEvent(new PointerEvent('pointermove', spot));
    await new Promise((done) => setTimeout(done, 4));
  }
})"""


def test_an_hour_of_updates_leaves_the_page_as_large_as_it_was(browser: Browser, trends: Station) -> None:
    trends.frozen.set()  # pictures come from here
    browser.js(
        f"window.pictured = {json.dumps({key: STATES['warming'][key] for key in ('points', 'estimates', 'verdict')})}; 1"
    )

    def least() -> int:
        browser.js("performance.clearResourceTimings()")  # the browser's own list
        browser.call("HeapProfiler.collectGarbage")
        return int(browser.call("Runtime.getHeapUsage")["usedSize"])

    browser.js(
        "AbortSignal.timeout = () => new AbortController().signal; 1"
    )  # else an hour's time limits all run at once
    browser.js(f"({AN_HOUR % START_MS})(40, 0)")
    before = min(least() for _ in range(6))
    begun = len(asked_for(browser))
    browser.js(f"({AN_HOUR % START_MS})(60, {40 * 60_000})")
    assert all(buckets_of(url) < 100 for url in asked_for(browser)[begun:])  # only what is new, not all again
    until(lambda: least() < before * 1.05, f"the page is as large as it was, {before} bytes, and 5 % at most")
    assert browser.errors() == []
