"""A commissioning in a real browser, over a station that judges: an item fails, somebody stops, another goes on at another device and at a
terminal, and the paper follows from the journal. The list and its limits are the project's own or the station file's; 1 psi is 6.894757 kPa
(SP 811 of NIST, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edge import config
from edge.cli import commission
from edge.domain.entries import Draft, Now
from edge.domain.settings import Commissioning, CommissioningItem
from edge.reports.making import Commissioned, Wish, report_of
from edge.reports.proof import prove
from edge.store.journal import Journal
from tests.api_fakes import until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import SITE, LiveStation, shows
from tests.unit.cli.test_commission import answers
from tests.unit.stations import PSI, QUIET

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]

PLAN = config.load(Path(__file__).parents[2] / "config/station-example.toml")
#: what takes hours or other hands is left out by the site's list, so that the rest is gone through whole
OWN = {
    base: CommissioningItem(leave_out="done at the bench")
    for base in ("calibration", "warm_up", "restart", "alarm_test", "transfer")
} | {"decay": CommissioningItem(lasts_ms=20_000)}
STATION = replace(SITE, rules=replace(SITE.rules, commissioning=Commissioning(True, items=OWN)))


@pytest.fixture
def live(browser: Browser) -> Iterator[LiveStation]:
    found = LiveStation(settings=STATION)
    browser.size(1280, 800)
    browser.context.clear_cookies()
    browser.go(f"{found.url}#do/commissioning")
    until(lambda: browser.js("document.querySelectorAll('.comm-item').length") > 15, "the list")
    yield found
    browser.go("about:blank")
    found.stop()


def item(browser: Browser, ident: str) -> None:
    browser.js(f"location.hash = '#do/commissioning?item={ident.replace(':', '%3A')}'")
    until(lambda: browser.js("!!document.querySelector('.commission .fields .field')"), ident)


def sign(browser: Browser, who: str) -> None:
    browser.js("document.getElementById('who-name').focus()")
    browser.type(who, gap_s=0.0)


def tap(browser: Browser, key: str, words: str) -> None:
    browser.js(
        f"[...document.querySelectorAll('.field[data-key={key}] .chip-button')].find((b) => b.textContent === {words!r}).click()"
    )


def sent(browser: Browser, result: str) -> None:
    browser.touch(".commission .send")
    shows(browser, ".comm-result", result)


def state(live: LiveStation, ident: str) -> str:
    return next(str(one.state) for one, _ in live.driver.station.commissioning(live.driver.now) if one.item.id == ident)


def test_a_commissioning_is_gone_through_on_two_devices_and_a_terminal_and_ends_in_a_report_that_follows(
    browser: Browser, live: LiveStation, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    driver: Any = live.driver
    every = len(driver.station.commissioning(driver.now))
    left = every - sum(
        state(live, one.item.id) == "not_applicable" for one, _ in driver.station.commissioning(driver.now)
    )
    shows(browser, ".comm-left", f"Not commissioned: {left} of {every} items")
    # one that fails, with its caution above it
    item(browser, "standpipe")
    shows(browser, ".comm-caution", "Caution: Disinfectant: gloves")
    sign(browser, "M. Osei")
    browser.touch(".commission .send")
    shows(browser, ".commission .who-fault", "Say this first: Result or Does not apply here, because.")
    tap(browser, "passed", "Failed")
    browser.js("document.querySelector('.field[data-key=not_applicable] input').value = 'none here'")
    browser.touch(".commission .send")
    shows(browser, ".commission .who-fault", "Does not apply here, because: a result is told as well")
    browser.js("document.querySelector('.field[data-key=not_applicable] input').value = ''")
    browser.js("document.querySelector('.field[data-key=note] textarea').focus()")
    browser.type("it has a loop", gap_s=0.0)
    sent(browser, "failed: it has a loop")
    assert state(live, "standpipe") == "failed" and browser.text(".next-item").startswith("Next: Stop valve")
    browser.touch(".next-item")
    shows(browser, ".doing-title", "Stop valve")
    # a number is taken as the station reads it; one that isn't heard is refused in words
    item(browser, "static")
    shows(browser, ".live-value", "The station reads 55.0 psi now.")
    sent(browser, "passed: 55.0 psi (40.0 psi to 60.0 psi), measured by the station")
    item(browser, "dynamic")
    browser.touch(".commission .send")
    shows(browser, ".commission .who-fault", "Say this first: Its value")
    # the station times the decay: begun here, left, ended as not usable; begun anew
    item(browser, "decay")
    shows(browser, ".comm-caution", "Caution: Under pressure: relieve it before anything is opened")
    browser.touch(".comm-begin")
    shows(browser, ".comm-timed .countdown", "0:20")
    assert browser.js(
        "document.querySelector('.commission .send').hidden && document.querySelector('.comm-stop').offsetHeight >= 56"
    )
    browser.touch(".comm-stop")
    shows(browser, ".comm-seen", "not usable: it was ended before its time")
    browser.touch(".comm-begin")
    shows(browser, ".comm-seen", "begun at 55.0 psi")
    browser.js("location.hash = '#do/commissioning'")
    # somebody stops here; another goes on at another device, where all of it stands, and the timing goes on
    other = browser.another()
    try:
        other.size(390, 844, mobile=True)
        other.go(f"{live.url}#do/commissioning")
        until(lambda: "failed" in other.text(".comm-item[data-state=failed]"), "what failed")
        assert "M. Osei" in other.text(".comm-item[data-state=failed]")
        assert other.js("document.documentElement.scrollWidth <= innerWidth"), "nothing is cut off"
        item(other, "decay")
        with live._lock:
            driver.run(10, QUIET | {"supply": 54.0 * PSI}, every_s=5)
            live._show(driver.said[len(live.fakes.journal.entries) :])
        shows(other, ".comm-timed .countdown", "0:10")
        shows(other, ".comm-seen", "fell by 1.0 psi in 5 s")
        with live._lock:
            driver.run(12, QUIET | {"supply": 54.0 * PSI}, every_s=1)
            live._show(driver.said[len(live.fakes.journal.entries) :])
        shows(
            other,
            ".comm-now",
            "passed: fell by 1.0 psi in 20 s (3.00 a minute), from 55.0 psi to 54.0 psi (at most 2.0 psi), timed by the station",
        )
        assert other.js(
            "document.documentElement.scrollWidth <= innerWidth && document.querySelector('.comm-timed').hidden"
        )
        item(other, "standpipe")
        sign(other, "A. Berg")
        tap(other, "passed", "Passed")
        sent(other, "passed")
        assert other.errors() == []
    finally:
        other.close()
    # the rest at a terminal: interrupted once, and gone on with
    assert commission.guide("A. Berg", live.url, answers("na it hangs on the wall", "stop")) == 0
    assert "Stopped. What is recorded stays" in capsys.readouterr().out and state(live, "shut_off") == "not_applicable"
    with live._lock:
        driver.run(60, {"flow": 9.0, "supply": 317.0, "between": 300.0, "filtered": 280.0})
        driver.run(60, {"flow": 0.0, "supply": 379.0, "between": 379.0, "filtered": 379.0, "heater-outlet": 1.0})
        driver.run(5, {"heater-outlet": 0.0})
        live._show(driver.said[len(live.fakes.journal.entries) :])
    said = {
        "eye": ["yes"],
        "clock": ["take"],
        "trip": ["take"],
        "number": ["take"],
        "bucket": ["take", "9 L", "60 s", ""],
    }
    for one, _ in driver.station.commissioning(driver.now):
        if not one.is_done:
            lines = ["0.2 psi"] if one.item.base == "zero" else said[str(one.item.how)]
            assert commission.one(one.item.id, "A. Berg", (), live.url, answers(*lines)) == 0
    assert driver.station.verdict(driver.now)["note"] == "Surroundings only: the maker's instructions decide the rest"
    browser.js("location.hash = '#do/commissioning'")
    shows(browser, ".comm-left", "Commissioned: every item is done.")
    assert all("422" in error for error in browser.errors()), "the refusal alone, which the browser notes"
    # the paper: of the same entries, kept as a station keeps them
    with closing(Journal(tmp_path, PLAN.settings.name, driver.boot)) as journal:
        settings = {"digest": PLAN.digest, "document": PLAN.document}
        kept = [Draft(Now(e.mono_ms, e.wall_ms, e.trusted), e.kind, e.body) for e in driver.said]
        journal.append([Draft(kept[0].now, "settings", settings), *kept])
    report = report_of(tmp_path, Wish(Commissioned(), driver.now.wall_ms, "0.1.0"))
    results = [(one["item"], one.get("result")) for one in report.facts["records"] if one["item"] == "standpipe"]
    assert results == [("standpipe", "failed"), ("standpipe", "passed")] and "it has a loop" in report.html
    file = tmp_path / "commissioning.html"
    file.write_text(report.html, encoding="utf-8")
    assert prove(file, tmp_path, "0.1.0").holds
