"""What can be done and read in the views beside the verdict: shelving, searching the record, units of one's own."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.entries import Stamp, rfc3339
from edge.domain.messages import as_json, celsius, say
from edge.domain.quantities import from_kind
from edge.domain.readings import Kind
from edge.domain.station.judged import DISPLAY_WORDS
from edge.domain.words.units import Units
from tests.api_fakes import START_MS, alarm, condition, until
from tests.browser.driver import CHROMIUM, Browser
from tests.browser.kit import HEALTH, HOUR_MS, SITE, STATES, Station, a_day, put_into, shows
from tests.unit.stations import SETTINGS

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]


def view(browser: Browser, name: str, there: str) -> None:
    """Go to a view by its place, and wait until something of it is there."""
    browser.js(f"location.hash = '#{name}'")
    until(lambda: browser.js(f"!!document.querySelector({there!r})"), f"{name} shows {there}")


def texts(browser: Browser, selector: str) -> list[str]:
    found: list[str] = browser.js(f"[...document.querySelectorAll({selector!r})].map((e) => e.innerText)")
    return found


def module(browser: Browser, path: str, expression: str) -> Any:
    """What an expression over a module `m` of the page gives."""
    return browser.js(f"import('/web/{path}').then((m) => {expression})")


# -- now


def test_what_hurts_comes_first_and_the_time_left_is_said(browser: Browser, station: Station) -> None:
    """The station's order is that of urgency."""
    verdict = put_into(browser, station, "trip")
    assert verdict["waits_for"][1] == "Do the daily test and record it"
    assert browser.text(".first-text") == "Have the heater outlet's trip looked into"
    assert browser.text(".first-rest") == "… reset it once, dry-handed"
    assert texts(browser, ".tasks li") == ["Do the daily test and record it"]
    assert browser.text(".due") == "ready\n\nnot known"  # the large time is READY's alone
    assert "Warm enough until about 06:27 (for 37 min more), between 06:21 and 06:36." in browser.text(".when")
    assert browser.text(".call-text") == "Outlet tripped: heater, and 2 more: not answered yet"
    cap, trip = "parseFloat(getComputedStyle(document.querySelector('.due-time')).fontSize)", STATES["trip"]
    small = browser.js(cap)
    station.fakes.judge.show(**{**trip, "verdict": STATES["ready"]["verdict"]})
    shows(browser, ".due", "warm until about\n\n06:27")
    warm = browser.js(cap)
    put_into(browser, station, "to_do")
    assert browser.text(".due") == "ready about\n\n07:42" and small < warm < browser.js(cap)


def test_do_says_what_stands_and_now_leads_to_what_can_be_recorded(browser: Browser, station: Station) -> None:
    """Which record answers what is asked: edge/domain/records/answers.py. That nothing is to be recorded is no all-clear."""
    station.fakes.judge.show(settings=SITE)
    put_into(browser, station, "trip")  # nothing is recorded of a trip
    assert browser.js("document.querySelector('.first').hasAttribute('href')") is False
    view(browser, "do", ".ask-item")
    until(lambda: len(texts(browser, ".ask-item")) == 2, "both things to do")
    assert texts(browser, ".ask-item .ask-title") == [STATES["trip"]["verdict"]["waits_for"][0], "Daily test"]
    assert texts(browser, ".ask-item .ask-why")[0] == "READY waits for it · nothing is recorded for it"
    assert texts(browser, ".calm") == [""] and len(texts(browser, ".ask-go[href]")) == 1
    for state, said in (
        (
            "warming",
            ["Nothing to record now, but the station isn't ready.", "31.4 °C; 38.9 °C are needed", "Ready about 07:42"],
        ),
        ("in_use", ["Nothing to record now. IN USE.", "a cycle is running"]),
        ("ready", ["Nothing to record now. READY."]),
    ):
        station.fakes.judge.show(**STATES[state])
        for words in said:
            shows(browser, ".stands", words, 20)
    view(browser, "now", ".first")
    put_into(browser, station, "to_do")
    assert browser.js("document.querySelector('.first').getAttribute('href')") == "#do/daily_test"
    press(browser, ".first")
    until(lambda: browser.js("!!document.querySelector('.watch-press')"), "the stopwatch of the daily test")


def test_the_band_lies_where_its_times_are(browser: Browser, station: Station) -> None:
    put_into(browser, station, "warming")
    box = "(r => [r.left, r.right])(document.querySelector('{}').getBoundingClientRect())"
    left, right = browser.js(box.format(".lane"))
    band, pin = browser.js(box.format(".band.ready")), browser.js(box.format(".pin.ready"))
    end_min = 128 * 1.12  # the axis reaches a little beyond the latest time
    for at, minutes in ((band[0], 105), (band[1], 128), (sum(pin) / 2, 112)):
        assert (at - left) / (right - left) == pytest.approx(minutes / end_min, abs=0.01)
    ticks = [(text, x) for text, x in browser.js(
        "[...document.querySelectorAll('.tick')].map((e) => (r => [e.innerText, (r.left + r.right) / 2])(e.getBoundingClientRect()))"
    )]  # fmt: skip
    assert [text for text, _ in ticks] == ["now", "06:00", "06:30", "07:00", "07:30", "08:00"]
    for text, x in ticks[1:]:
        minutes = int(text[:2]) * 60 + int(text[3:]) - 350
        assert (x - left) / (right - left) == pytest.approx(minutes / end_min, abs=0.01)


def test_a_point_beyond_its_limit_is_marked_though_it_is_read_well(browser: Browser, station: Station) -> None:
    put_into(browser, station, "trip")
    marks = dict(browser.js("[...document.querySelectorAll('.point')].map((e) => [e.dataset.key, e.dataset.state])"))
    assert marks["reservoir"] == marks["heater-outlet"] == "beyond" and marks["room"] == marks["supply"] == "good"
    assert "Outlet tripped: heater" in browser.text(".point[data-key=heater-outlet]")
    put_into(browser, station, "warming")  # no alarm yet, but READY waits for it
    assert "Not as READY needs it: 31.4 °C; 38.9 °C are needed" in browser.text(".point[data-key=reservoir]")


def test_filters_say_their_days_left_with_the_interval(browser: Browser, station: Station) -> None:
    put_into(browser, station, "ready")
    assert texts(browser, ".filter .left") == ["23 days left", "not known how long"]
    assert texts(browser, ".filter .text") == [
        "17 to 32 days · drop now 3.5 psi",
        "too few steady draws since its change",
    ]


def test_estimates_are_said_with_their_interval_in_the_viewers_units(browser: Browser, station: Station) -> None:
    put_into(browser, station, "ready")
    assert texts(browser, ".reckoning .worth") == ["38.9 °C", "35.6 °C", "2.78 gal/min", "not known"]
    assert texts(browser, ".reckoning .text")[::3] == [
        "37.3 °C to 41.2 °C · transfer loss by the rule", "too few draws of one volume yet",
    ]  # fmt: skip
    view(browser, "station", "#device")
    press(browser, "#device input[value=degF]")
    view(browser, "now", ".reckoning")
    assert texts(browser, ".reckoning .worth")[:2] == ["102.0 °F", "96.1 °F"]
    view(browser, "station", "#device")
    press(browser, "#device input[name='units.temperature'][value=station]")


# -- alarms


def test_alarms_stand_by_weight_with_consequences_under_their_cause(browser: Browser, station: Station) -> None:
    put_into(browser, station, "trip")
    view(browser, "alarms", ".alarm")
    assert texts(browser, "#standing .what") == [
        "Outlet tripped: heater",
        "Reservoir cold",
        "Not heating",
        "Due: daily test",
    ]
    assert texts(browser, "#over .what") == ["Pressure low", "Static pressure high"]
    assert "put aside by M. Osei until 08:40: probe is being moved" in browser.text("#aside")
    first = browser.text("#standing .alarm")
    for said in (
        "came first",
        "Do: Have the heater outlet's trip",
        "Else: The reservoir cools",
        "within 5 min",
        "high priority",
    ):
        assert said in first
    assert "follows from Outlet tripped: heater" in texts(browser, "#standing .facts")[1]
    assert browser.text("#nav [data-view=alarms] .count") == "3"


def press(browser: Browser, selector: str) -> None:
    browser.js(f"document.querySelector({selector!r}).click()")


@pytest.mark.parametrize(
    ("ident", "button", "choice", "record"),
    [
        ("leak", "shelve", "10 min", {"record": "shelve", "minutes": 10, "why": "mopped"}),
        ("leak", "shelve", "8 h", {"record": "shelve", "minutes": 480, "why": "mopped"}),
        ("leak", "shelve", "until Tue 17 Mar 05:50", {"record": "shelve", "minutes": 1440, "why": "mopped"}),
        ("silent:room", "unshelve", "Take it back", {"record": "unshelve", "why": "mopped"}),
        ("hold", "unshelve", "Take it back", {"record": "in_service", "why": "mopped"}),
        ("static_high", "reset", "Reset it", {"record": "reset", "why": "mopped"}),
    ],
)
def test_an_alarm_is_put_aside_taken_back_and_reset_by_a_signed_record(
    browser: Browser, station: Station, ident: str, button: str, choice: str, record: dict[str, Any]
) -> None:
    station.fakes.judge.show(
        alarms={
            "leak": alarm("leak", "acknowledged", "high"),
            "silent:room": alarm("silent:room", "shelved", aside_by="Kim", active=True),
            "hold": alarm("hold", "out_of_service", aside_by="Kim", aside_why="moved"),
            "static_high": alarm("static_high", "latched_acknowledged", latching=True, active=False),
        }
    )
    view(browser, "alarms", f".alarm[data-key='{ident}']")
    press(browser, f".alarm[data-key='{ident}'] .{button}:not([hidden])")
    browser.js(
        "document.getElementById('who-name').value = 'M. Osei'; document.getElementById('who-why').value = ' mopped '"
    )
    assert choice in texts(browser, "dialog button")
    browser.js(f"[...document.querySelectorAll('dialog button')].find((b) => b.textContent === {choice!r}).click()")
    until(lambda: station.fakes.judge.bodies, "the station hears of it")
    assert station.fakes.judge.bodies == [record | {"alarm": ident, "by": "M. Osei"}]
    until(lambda: browser.js("document.querySelector('dialog') === null"), "the dialog closes")


def test_who_does_not_say_who_and_why_is_not_heard(browser: Browser, station: Station) -> None:
    browser.js("sessionStorage.clear()")
    view(browser, "alarms", ".alarm")
    press(browser, ".alarm .shelve:not([hidden])")
    press(browser, "dialog button[type=submit]")
    assert browser.js("document.querySelector('dialog').open && document.activeElement.id") == "who-name"
    browser.js("document.getElementById('who-name').value = '  '; document.getElementById('who-why').value = 'x'")
    press(browser, "dialog button[type=submit]")
    shows(browser, "#who-fault", "Say who you are.")
    assert station.fakes.judge.bodies == []
    browser.key("Escape")
    until(lambda: browser.js("document.querySelector('dialog') === null"), "it is closed by keyboard")


def test_until_tomorrow_is_six_in_the_morning_and_never_more_than_a_day(browser: Browser, station: Station) -> None:
    def minutes(at: str) -> int:
        return int(module(browser, "views/alarms.js", f"m.minutesToTomorrow(Date.parse('{at}'))"))

    assert minutes("2026-03-16T05:00:00Z") == 1440  # before six: it would be more than a day
    assert minutes("2026-03-16T18:30:00Z") == 11 * 60 + 30
    assert minutes("2026-03-28T18:30:00Z") == 10 * 60 + 30  # clocks go forward in the night
    assert minutes("2026-10-24T17:30:00Z") == 12 * 60 + 30  # and back


# -- the record


def test_the_record_is_read_by_day_searched_and_paged_back(browser: Browser, station: Station) -> None:
    journal = station.fakes.journal
    journal.entries.clear()
    for number in range(450):
        at = START_MS - (450 - number) * 240_000
        who = "K. Lindqvist" if number == 3 else "M. Osei"
        journal.add(
            "record",
            {"record": "note", "by": who, "counts": True, "text": f"note {number}"},
            Stamp("boot-1", number, at, trusted=True),
        )
    station.fakes.judge.show()
    browser.go("about:blank")
    browser.go(f"{station.url}#record")
    until(lambda: browser.js("document.querySelectorAll('.entry').length") == 150, "the newest entries")
    assert texts(browser, ".day h2")[0].startswith("Today, Monday")
    assert browser.text(".entry .text") == "Note by M. Osei · note 449"
    browser.js(
        "(e => { e.value = 'lindqvist'; e.dispatchEvent(new Event('input')); })(document.getElementById('search'))"
    )
    shows(browser, "#main", "Nothing of this kind in what has been read so far.")
    press(browser, ".earlier")  # pages back until it is found
    until(lambda: texts(browser, ".entry .text") == ["Note by K. Lindqvist · note 3"], "the entry of long ago")
    assert browser.js("document.querySelector('.earlier').hidden") is True  # nothing is before it
    browser.js("(e => { e.value = ''; e.dispatchEvent(new Event('input')); })(document.getElementById('search'))")
    press(browser, "[data-group=alarms]")
    shows(browser, "#main", "Nothing of this kind")
    journal.add("alarm", {"id": "leak", "from": "normal", "to": "unacknowledged", "cause": "wet"})
    until(lambda: texts(browser, ".entry .text") == ["Leak: came · wet"], "what comes is shown as it comes")
    press(browser, "[data-group=all]")
    del journal.entries[20:]  # another journal than the one that was read: the stream begins anew
    station.fakes.judge.show()
    browser.js("dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))")
    until(lambda: len(texts(browser, ".entry")) == 20, "what is there now is read back by itself")
    assert "note 0" in texts(browser, ".entry .text")[-1]
    assert browser.errors() == []


def test_entries_are_said_in_words(browser: Browser, station: Station) -> None:
    station.fakes.journal.entries.clear()
    journal = station.fakes.journal
    a_day(journal)
    mistake, stands = (
        journal.add("record", {"record": "note", "by": "M. Osei", "text": text, "counts": True}).seq for text in "ab"
    )
    signed = {"by": "J. Lund", "counts": True, "proven": "typed"}
    limits = {"low": 275.790291726734, "high": 413.685437590102, "quantity": "pressure"}
    worked = {
        "was": 19.0,
        "becomes": 19.3,
        "as_found": -0.3,
        "unit": "Cel",
        "beyond": "",
        "beyond_allowance": False,
        "changes": 0.3,
    }
    for body in (
        {
            "record": "commissioning",
            "item": "static",
            "number": 6887.862536,
            "result": "failed",
            "taken": "entered",
            **limits,
        },
        {
            "record": "commissioning",
            "item": "reservoir_below",
            "result": "not_applicable",
            "not_applicable": "it hangs",
        },
        {
            "record": "calibration",
            "point": "room",
            "points": [{"reference": "19.3 degC"}],
            "reference_u": "0.05 K",
            **worked,
        },
        {"record": "disinfectant_fill", "litres": 8, "by_role": "technician"},
        {"record": "water_path_treatment", "step": "ends", "contact_s": 619.217, "began_s": 619.217, "done": False},
        {"record": "entered_reading", "role": "supply_temperature", "value": "12.5 degC"},
    ):
        journal.add("record", {**body, **signed})
    for wrong in (mistake, stands, len(journal.entries) + 2):  # the third takes the second correction back
        journal.add("record", {"record": "correction", "by": "M. Osei", "of": wrong, "counts": True})
    station.fakes.judge.show(settings=SITE)  # whose commissioning list has titles
    browser.go("about:blank")
    browser.go(f"{station.url}#record")
    until(lambda: browser.js("document.querySelectorAll('.entry').length") > 30, "the entries")
    assert texts(browser, ".entry.taken .rest") == [f"Correction by M. Osei · entry {stands}", "Note by M. Osei · a"]
    assert set(texts(browser, ".entry.taken .beside")) == {"taken back"}
    said = texts(browser, ".entry .text")
    for words in (
        "Daily test by M. Osei · port 1: 11.8 s, port 2: 12.1 s", "24.1 °C to 39.0 °C in 1 h 57 min, room 17.4 °C", "switched off → idle",
        "10 gal in 4 min · 2.46 gal/min · supply 43.1 psi",
        "Commissioning by J. Lund · Pressure at rest: 999.0 psi (limits: 40.0 psi to 60.0 psi), failed, name typed",
        "Commissioning by J. Lund · Reservoir below the basin: not applicable: it hangs, name typed",
        "Calibration by J. Lund · Room temperature (room): before 19.0 °C, after 19.3 °C, reference 19.3 °C (u 0.05 K), name typed",
        "Disinfectant fill by J. Lund · 8 L, technician, name typed",  # as it was typed, though the station shows gallons
        "Water path treatment by J. Lund · contact ended, contact: 10 min, name typed",
        "Entered reading by J. Lund · supply temperature, value 12.5 °C, name typed",
        "version 0.1.0 · after power lost", "NOT READY · Station free: water is being drawn",
    ):  # fmt: skip
        assert words in said, words
    past_what_was_lost = (
        browser.js(  # a journal that was restored leaves out millions of numbers: one step leads over them
            "import('/web/book.js').then(async ({ Book }) => { const book = new Book();"
            " book.add([{ seq: 5_000_007, kind: 'repair', body: { what: 'lost', from: 7, to: 5_000_006 } }]);"
            " await book.earlier(); return [book.all().map((entry) => entry.seq), book.isWhole]; })"
        )
    )
    assert past_what_was_lost == [[5_000_007, 6, 5, 4, 3, 2, 1], True]


def test_a_days_strip_tells_each_stretch(browser: Browser, station: Station) -> None:
    station.fakes.journal.entries.clear()
    a_day(station.fakes.journal)
    browser.go("about:blank")
    browser.go(f"{station.url}#record")
    number = len(station.fakes.journal.entries)
    until(lambda: browser.js("document.querySelectorAll('.entry').length") == number, "all entries of two days")
    day = START_MS - 50 * 60_000 - 5 * HOUR_MS - 24 * HOUR_MS
    until(lambda: browser.js("!!document.querySelector('.day:nth-child(2) .span')"), "its strip")
    expected = [("cant_tell", 300.1, 301), ("not_ready", 301, 420), ("ready", 420, 450)]
    spans = browser.js(
        "[...document.querySelectorAll('.day:nth-child(2) .span')]"
        ".map((e) => [e.dataset.what, parseFloat(e.style.left), parseFloat(e.style.width)])"
    )
    for (what, left, width), (word, start, end) in zip(spans, expected, strict=False):
        assert (what, left) == (word, pytest.approx(start / 14.4, abs=0.01)) and width == pytest.approx(
            (end - start) / 14.4, abs=0.01
        )
    assert [what for what, *_ in spans[3:6]] == ["in_use", "reheating", "ready"] and spans[-1][0] == "at_rest"
    assert sum(width for *_, width in spans) == pytest.approx(
        100 * (1440 - 300.1) / 1440, abs=0.1
    )  # before its start nothing was watched
    assert rfc3339(day) == "2026-03-15T00:00:00.000Z"
    assert "NOT READY from 05:01 to 07:00; READY from 07:00 to 07:30" in browser.js(
        "document.querySelector('.day:nth-child(2) .strip').getAttribute('aria-label')"
    )


# -- the station, and this screen


def test_the_station_tells_its_health_points_and_settings(browser: Browser, station: Station) -> None:
    station.fakes.journal.add(
        "settings",
        {"digest": "5f" * 32, "document": {"reservoir": {"minimum": "35 degC"}, "filter": [{"id": "coarse"}]}},
    )
    station.fakes.parts_state = lambda: HEALTH | {"ok": False}
    put_into(browser, station, "ready")
    view(browser, "station", ".settings-group")
    shows(browser, ".health-text", "a part is in trouble")
    health = browser.text("#health")
    for words in ("✕ serial-line, lost: the port is gone; 14 faults", "7.5 GB free", "connected, 0 behind", "26.0 h"):
        assert words.removeprefix("✕ ") in health, words
    assert texts(browser, "#calibration tbody tr")[0].split("\t")[1:] == [
        "39.9 °C", "good", "Tue 16 Dec 2025: × 1.0021, − 0.120 K", "Wed 16 Dec", "± 0.32 K",
    ]  # fmt: skip
    assert texts(browser, ".settings-group summary") == ["Reservoir", "Each filter"]
    press(browser, ".settings-group summary")
    assert "35 degC" in browser.text(".settings-group")


def test_units_are_the_viewers_and_stay_on_the_device(browser: Browser, station: Station) -> None:
    view(browser, "station", "#device")
    for value in ("degF", "bar", "L"):
        press(browser, f"#device input[value={value}]")
    view(browser, "now", ".point")
    shown = [" ".join(text.split()) for text in texts(browser, ".point .value")]
    assert shown == ["88.6 °F", "62.6 °F", "3.98 bar", "—", "3.80 bar", "0.00 L/min", "ok"]
    browser.go("about:blank")
    browser.go(station.url)
    until(lambda: browser.js("document.querySelectorAll('.point').length") == 7, "the page anew")
    assert " ".join(browser.text(".point .value").split()) == "88.6 °F"
    # sentences too: the station says them in these units
    cold = as_json(say("reservoir.cold", here=celsius(31.4375), limit=celsius(38.9)))
    verdict = dict(station.fakes.judge.newest.verdict)
    verdict["conditions"] = [condition("reservoir", "unmet", "31.4 °C, below 38.9 °C") | {"msg": cold}]
    station.fakes.judge.show(verdict=verdict, units=Units(SETTINGS, list(SETTINGS.points)))
    shows(browser, ".condition .text", "88.6 °F, below 102.0 °F")
    view(browser, "station", "#device")
    for name in ("temperature", "pressure", "volume"):
        press(browser, f"#device input[name='units.{name}'][value=station]")
    view(browser, "now", ".point")
    shows(browser, ".condition .text", "31.4 °C, below 38.9 °C")
    assert " ".join(browser.text(".point .value").split()) == "31.4 °C"


@pytest.mark.parametrize(
    ("held", "kind", "units"),
    [
        ("Cel", Kind.TEMPERATURE, ["degC", "degF"]),
        ("kPa", Kind.PRESSURE, ["psi", "kPa", "bar"]),
        ("L/min", Kind.FLOW, ["L/min", "gal/min"]),
    ],
)
def test_the_page_converts_as_the_station_does(
    browser: Browser, station: Station, held: str, kind: Kind, units: list[str]
) -> None:
    """edge/domain/quantities.py, whose own check values stand in tests/handbook/f.flow-units.jsonl."""
    values = (-40.0, 0.0, 0.1, 37.4, 101.325, 398.4, 1000.0)
    for unit in units:
        page = module(browser, "units.js", f"{list(values)}.map((v) => m.convert(v, '{held}', '{unit}'))")
        assert page == pytest.approx([from_kind(value, unit, kind) for value in values], rel=1e-12, abs=1e-12)
    if kind is Kind.FLOW:  # a volume is converted as its flow
        assert module(browser, "units.js", "m.convert(37.85411784, 'L', 'gal')") == pytest.approx(10.0, rel=1e-12)


def test_day_and_dark_follow_the_device_or_a_choice_that_is_kept(browser: Browser, station: Station) -> None:
    def ground() -> int:
        return int(browser.js("getComputedStyle(document.body).backgroundColor.match(/\\d+/)[0]"))

    browser.prefers(color_scheme="dark")
    until(lambda: ground() < 60, "dark, as the device")
    view(browser, "station", "#device")
    press(browser, "#device input[value=day]")
    until(lambda: ground() > 180, "day, as chosen")
    browser.go("about:blank")
    browser.go(station.url)
    until(lambda: browser.js("document.querySelectorAll('.point').length") == 7, "the page anew")
    assert ground() > 180
    view(browser, "station", "#device")
    press(browser, "#device input[name=scheme][value=device]")
    until(lambda: ground() < 60, "as the device again")


def test_who_wants_less_motion_sees_none(browser: Browser, station: Station) -> None:
    put_into(browser, station, "warming")
    moves = "[...document.querySelectorAll('body *')].filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0).length"
    assert browser.js(moves) > 0
    browser.prefers(reduced_motion="reduce")
    assert browser.js(moves) == 0


def test_the_states_that_these_tests_go_through_have_every_word_for_people() -> None:
    assert {state["verdict"]["display"] for state in STATES.values()} == set(DISPLAY_WORDS)
