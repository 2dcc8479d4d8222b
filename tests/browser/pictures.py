"""Pictures of every view and state of the page, to be looked at: `python -m tests.browser.pictures FOLDER [WORD…]`.

Writes a PNG for each view and state on a tablet, a phone and a desk's screen, by day and dark; with words, those whose names hold one.
With the word `small` each has few colours and bytes, for a document: `python -m tests.browser.pictures deploy/pictures small
now-morning-tablet-day` makes README's picture anew. In another language with `lang=de`; `judged` and `morning` (the demo's, at 06:35)
can be said in each.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from tests.api_fakes import until
from tests.browser.driver import Browser
from tests.browser.judged import morning, picture, speak, troubled
from tests.browser.kit import DOING, HEALTH, SITE, STATES, Station, a_day
from tests.browser.small_png import small
from tests.unit.stations import Driver

SIZES: Final = {
    "tablet": (1280, 800, False),
    "phone": (390, 844, True),
    "narrow": (320, 568, True),
    "desk": (1920, 1080, False),
}
SCHEMES: Final = ("day", "dark")
HEARD: Final = "!!document.body && 'view' in document.body.dataset && !document.body.classList.contains('lost')"
#: view -> the states in which it is worth looking at
VIEWS: Final = {
    "now": (*STATES, "lost", "never", "judged", "morning"),
    "do": ("to_do", "ready", "lost"),
    **{name: ("to_do",) for name, _ in DOING[1:]},
    "alarms": ("ready", "trip", "lost", "putting aside", "judged"),
    "record": ("ready", "lost", "judged"),
    "station": ("to_do", "lost", "judged"),
    "trends": ("warming", "trip", "six_hours", "hour", "day", "week", "month", "year", "lost", "table", "unreadable"),
}


def main(folder: Path, words: list[str]) -> None:
    """Write them all."""
    folder.mkdir(parents=True, exist_ok=True)
    code = next((word.removeprefix("lang=") for word in words if word.startswith("lang=")), "en")
    is_small = "small" in words
    words = [word for word in words if not word.startswith("lang=") and word != "small"]
    wanted = [one for one in _all() if not words or any(word in "-".join(one) for word in words)]
    browser = Browser()
    try:
        for view, state in dict.fromkeys((view, state) for view, state, *_ in wanted):
            _write(
                browser, folder, view, state, code, [one[2:] for one in wanted if one[:2] == (view, state)], is_small
            )
    finally:
        browser.close()


def _all() -> Iterator[tuple[str, str, str, str]]:
    for view, states in VIEWS.items():
        for state in states:
            for size in SIZES:
                for scheme in SCHEMES:
                    yield view, state, size, scheme


def _write(
    browser: Browser, folder: Path, view: str, state: str, code: str, looks: list[tuple[str, ...]], is_small: bool
) -> None:
    station = Station(0)
    try:
        a_day(station.fakes.journal)
        station.fakes.parts_state = lambda: HEALTH
        station.fakes.judge.show(**STATES.get(state, STATES["warming" if view == "trends" else "trip"]), settings=SITE)
        if "commissioning" in view:
            station.fakes.judge.show(commissioning=Driver(SITE).station.commissioning(station.fakes.judge.newest.now))
        if state in ("judged", "morning"):
            picture(station, troubled() if state == "judged" else morning())
        browser.go(station.url)
        if state == "never":
            browser.page.route("**/api/1/*", lambda route: route.abort())
        speak(browser, f"{station.url}#{view}", code)
        if state == "never":
            until(lambda: browser.js("!!document.querySelector('.lost .plate')"), "the page stands")
        else:
            until(lambda: browser.js(HEARD), "it is heard")
        if state == "lost":
            station.frozen.set()
            until(lambda: browser.js("document.body.classList.contains('lost')"), "it is lost", 20)
        if view == "trends":
            _trends(browser, station, state)
        if state == "putting aside":
            until(lambda: browser.js("!!document.querySelector('.alarm .shelve')"), "an alarm")
            browser.js("document.querySelector('.alarm .shelve').click()")
        for size, scheme in looks:
            browser.size(*SIZES[size])
            browser.prefers(color_scheme="dark" if scheme == "dark" else "light")
            _settle(browser)
            name = (
                "-".join((view, state, size, scheme, *([] if code == "en" else [code])))
                .replace(" ", "_")
                .replace("/", "-")
            )
            picture_of = browser.screenshot()
            (folder / f"{name}.png").write_bytes(small(picture_of) if is_small else picture_of)
            if not is_small and size != "desk" and state != "putting aside":
                (folder / f"{name}-whole.png").write_bytes(browser.screenshot(whole=True))
            print(name, flush=True)
    finally:
        browser.page.unroute_all()
        browser.go("about:blank")
        station.stop()


def _trends(browser: Browser, station: Station, state: str) -> None:
    line = "document.querySelector('#trend-reservoir .line-of:not(.unsure)')?.getAttribute('d')"
    until(lambda: browser.js(f"!!{line}"), "a line")
    if state == "unreadable":
        station.fakes.break_store()
    clicked = {"table": ".to-tables", "unreadable": "[data-range=month]"}.get(state, f"[data-range='{state}']")
    browser.js(f"(b => b && b.click())(document.querySelector({clicked!r}))")


def _settle(browser: Browser) -> None:
    """Wait until two frames and the page's own half second have passed: fonts, moves and answers are in."""
    time.sleep(0.9)
    browser.js("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
