"""Messages in words: units of the station, zone, formats of the templates, and the form in entries.

Conversions go by NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757 kPa, t/degF = 1.8 t/degC + 32; 1 gal (US) = 3.785412 L.
"""

from __future__ import annotations

import json
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import Now
from edge.domain.messages import (
    Message,
    Value,
    as_json,
    as_told,
    both,
    celsius,
    difference,
    duration,
    has,
    moment,
    name,
    names,
    number,
    of_body,
    of_json,
    part,
    parts,
    quantity,
    say,
    text,
    within,
    without,
)
from edge.domain.readings import Kind
from edge.domain.station.station import Station
from edge.domain.words.english import EN
from edge.domain.words.saying import Words
from edge.domain.words.units import Chosen, Units
from tests.unit.stations import DRAWING, QUIET, SETTINGS, Driver

DUBLIN = ZoneInfo("Europe/Dublin")
PSI = 6.894757
#: 2026-06-01 06:30 UTC, 07:30 on a wall in Dublin in summer
JUNE_MS = 1_780_295_400_000
FAHRENHEIT = replace(
    SETTINGS, points=tuple(replace(p, unit="degF") if p.kind is Kind.TEMPERATURE else p for p in SETTINGS.points)
)


def said(template: str, settings=SETTINGS, **values: Value) -> str:
    words = Words(
        Units(settings, list(settings.points)), DUBLIN, EN._replace(catalogue={"x": template, "y": "it is {a}"})
    )
    return words.text(Message("x", values))


@pytest.mark.parametrize(
    ("template", "value", "expected"),
    [
        ("{v}", celsius(39.04), "39.0 °C"),
        ("{v:.4g degC}", celsius(39.04), "39.04 degC"),
        ("{v}", difference(Kind.TEMPERATURE, 1.25), "1.2 K"),
        ("{v:.2g K}", difference(Kind.TEMPERATURE, 0.44), "0.44 K"),
        ("{v:.2g K}", difference(Kind.TEMPERATURE, 0.0125), "0.013 K"),  # by way of kelvins above absolute zero it would be 0.012 K
        ("{v}", quantity(Kind.PRESSURE, 40.0 * PSI), "40.0 psi"),
        ("{v:.0f kPa}", quantity(Kind.PRESSURE, 40.0 * PSI), "276 kPa"),
        ("{v}", difference(Kind.PRESSURE, 2.0 * PSI), "2.0 psi"),
        ("{v}", difference(Kind.PRESSURE, None), "?"),
        ("{v}", quantity(Kind.FLOW, 3.785412), "1.00 gal/min"),
        ("{v}", duration(8_100_000), "2 h 15 min"),
        ("{v:.0f min}", duration(1_860_000), "31 min"),
        ("{v:g s}", duration(2_500), "2.5 s"),
        ("{v}", moment(JUNE_MS), "07:30"),
        ("{v:date}", moment(JUNE_MS), "2026-06-01"),
        ("{v:utc}", moment(JUNE_MS), "2026-06-01T06:30:00.000Z"),
        ("{v}", number(3), "3"),
        ("{v:.0f}", number(None), "?"),
        ("{v:.0%}", number(0.126, "1"), "13%"),
        ("{v:spaced}", name("daily_test"), "daily test"),
        ("{v}", text("as typed {so}"), "as typed {so}"),
        ("{v:and}", names(["a", "b"]), "a and b"),
        ("{v}", names(["a", "b"]), "a, b"),
        ("now{v}", part(None), "now"),
        ("now {v}", part(say("y", a=number(2))), "now it is 2"),
        ("{v:and}", parts([say("y", a=number(1)), say("y", a=number(2))]), "it is 1 and it is 2"),
    ],
)  # fmt: skip
def test_each_kind_of_value_is_said_as_people_say_it(template: str, value: Value, expected: str) -> None:
    assert said(template, v=value) == expected


def test_a_value_of_a_point_is_said_in_the_point_s_own_unit() -> None:
    reservoir = next(p.id for p in SETTINGS.points if p.role == "reservoir_temperature")
    assert said("{v}", FAHRENHEIT, v=celsius(39.0, reservoir)) == "102.2 °F"
    assert said("{v}", FAHRENHEIT, v=difference(Kind.TEMPERATURE, 1.0, reservoir)) == "1.8 °F"
    assert said("±{v:.2g own}", FAHRENHEIT, v=difference(Kind.TEMPERATURE, 0.5, reservoir)) == "±0.9"
    assert said("{v:.1f degC}", FAHRENHEIT, v=celsius(39.0, reservoir)) == "39.0 degC"


#: as German writes numbers, lists and ages
GERMAN = EN._replace(
    catalogue={}, titles={"conditions": {"filter": "Filter"}, "contact_words": {"wet": "nass"}, "records": {"daily_test": "Tagestest"}},
    decimal=",", percent="\u00a0%", last=" und ", days="Tage",
)  # fmt: skip


@pytest.mark.parametrize(
    ("template", "value", "expected"),
    [
        ("{v}", celsius(39.04), "39,0 °C"),
        ("{v:.2g K}", difference(Kind.TEMPERATURE, 0.44), "0,44 K"),
        ("{v}", quantity(Kind.PRESSURE, 40.0 * PSI), "40,0 psi"),
        ("{v}", duration(500_000_000), "5 Tage"),
        ("{v}", duration(8_100_000), "2 h 15 min"),
        ("{v:g s}", duration(2_500), "2,5 s"),
        ("{v}", number(2.5), "2,5"),
        ("{v:.0%}", number(0.126, "1"), "13\u00a0%"),
        ("{v:.1f L}", number(2.5, "L"), "2,5 L"),
        ("{v:and}", names(["a", "b"]), "a und b"),
        ("{v:condition}", name("filter:coarse"), "Filter coarse"),
        ("{v:condition}", name("to.come"), "to.come"),
        ("{v:contact}", text("wet"), "nass"),
        ("{v:record}", name("daily_test"), "Tagestest"),
        ("{v}", text("39.5 as typed"), "39.5 as typed"),
        ("{v:date}", moment(JUNE_MS), "2026-06-01"),
    ],
)
def test_a_language_writes_numbers_lists_and_titles_in_its_own_way(template: str, value: Value, expected: str) -> None:
    units = Units(SETTINGS, list(SETTINGS.points))
    assert Words(units, DUBLIN, GERMAN._replace(catalogue={"x": template})).text(say("x", v=value)) == expected


AMERICAN = Chosen("degF", "psi", "gal")


@pytest.mark.parametrize(
    ("template", "value", "chosen", "expected"),
    [
        ("{v}", celsius(39.0), AMERICAN, "102.2 °F"),
        ("{v}", difference(Kind.TEMPERATURE, 0.5), AMERICAN, "0.9 °F"),
        ("{v:.4g degC}", celsius(39.0), AMERICAN, "102.2 °F"),
        ("{v:.4g}", celsius(39.0), AMERICAN, "102.2"),
        ("{v:.2g K}", difference(Kind.TEMPERATURE, 0.5), AMERICAN, "0.9 °F"),
        ("{v:.2g K}", difference(Kind.TEMPERATURE, 0.5), Chosen("degC"), "0.5 K"),
        ("{v}", quantity(Kind.PRESSURE, 40.0 * PSI), Chosen(pressure="kPa"), "275.8 kPa"),
        ("{v}", quantity(Kind.PRESSURE, 40.0 * PSI), Chosen(pressure="bar"), "2.758 bar"),
        ("{v}", difference(Kind.PRESSURE, 2.0 * PSI), Chosen(pressure="kPa"), "13.8 kPa"),
        ("{v}", quantity(Kind.FLOW, 3.785412), Chosen(volume="L"), "3.79 L/min"),
        ("{v}", quantity(Kind.FLOW, 3.785412), AMERICAN, "1.00 gal/min"),
        ("{v:.2f L}", number(3.785412, "L"), AMERICAN, "1.00 gal"),
        ("{v:.2f L}", number(3.785412, "L"), Chosen(), "3.79 L"),
        ("{v:g s}", duration(2_500), AMERICAN, "2.5 s"),
        ("{v}", number(3.785412, "L"), AMERICAN, "3.78541"),  # the template wants it without a unit: as it was told
    ],
)  # fmt: skip
def test_who_chooses_units_reads_everything_in_these(
    template: str, value: Value, chosen: Chosen, expected: str
) -> None:
    units = Units(SETTINGS, list(SETTINGS.points)).read_in(chosen)
    assert Words(units, DUBLIN, EN._replace(catalogue={"x": template})).text(say("x", v=value)) == expected


def test_an_absolute_pressure_stays_absolute_in_the_unit_that_was_chosen() -> None:
    absolute = replace(
        SETTINGS, points=tuple(replace(p, unit="kPa abs") if p.id == "supply" else p for p in SETTINGS.points)
    )
    units = Units(absolute, list(absolute.points)).read_in(Chosen(pressure="psi"))
    assert units.value(Kind.PRESSURE, 0.0, "supply") == "14.70 psi abs"  # NIST SP 811: 1 atm = 14.696 psi
    assert units.value(Kind.PRESSURE, 40.0 * PSI, "filtered") == "40.0 psi"


def test_a_message_of_another_version_is_said_by_its_id_and_its_values() -> None:
    words = Words(Units(SETTINGS, list(SETTINGS.points)), DUBLIN, EN._replace(catalogue={"x": "{v} there"}))
    assert words.text(say("heater.sings", here=celsius(39.0), by=name("kim"))) == "heater.sings (here 39.0 °C, by kim)"
    assert words.text(say("heater.sings")) == "heater.sings"
    assert words.text(say("x")) == words.text(say("x", v=difference(Kind.PRESSURE, None))) == "? there"
    assert words.text(None) == ""


def test_a_value_of_a_point_that_is_gone_is_said_in_the_station_s_unit() -> None:
    assert said("{v}", v=quantity(Kind.PRESSURE, 40.0 * PSI, "taken-out")) == "40.0 psi"
    assert said("{v}", v=difference(Kind.PRESSURE, PSI, "taken-out")) == "1.0 psi"


def test_a_value_of_an_id_that_another_kind_of_point_has_now_is_said_in_the_station_s_unit() -> None:
    reservoir = next(p.id for p in SETTINGS.points if p.role == "reservoir_temperature")
    assert said("{v}", FAHRENHEIT, v=quantity(Kind.PRESSURE, 40.0 * PSI, reservoir)) == "40.0 psi"


def test_a_reading_is_said_as_it_stands_where_no_units_are_known() -> None:
    words = Words(language=EN._replace(catalogue={"x": "{v}"}))
    with pytest.raises(ValueError, match="temperature"):
        words.formatted(celsius(39.0), "")
    assert words.text(say("x", v=celsius(39.0))) == "39.0 Cel"
    assert words.text(say("x", v=duration(30_000))) == "30 s"


@pytest.mark.parametrize(
    ("template", "value", "expected"),
    [
        ("{v}", Value("weight", 3.5, "kg"), "3.5 kg"),
        ("{v}", Value("_difference", 3.5, "K"), "3.5 K"),
        ("{v:.0%}", text("much"), "much"),
        ("{v:d}", number(2.5), "2.5"),
        ("{v:.0f min}", celsius(39.0), "39.0 Cel"),
        ("{v:.1f degC}", Value("temperature", None, "Cel"), "?"),
    ],
)
def test_a_value_of_another_version_that_cant_be_said_so_is_said_as_it_stands(
    template: str, value: Value, expected: str
) -> None:
    assert said(template, v=value) == expected


def test_a_catalogue_says_in_english_what_it_lacks() -> None:
    words = Words(language=EN._replace(catalogue={"leak.wet": "{point} ist nass"}))
    assert words.text(say("leak.wet", point=name("tray"))) == "tray ist nass"
    assert words.text(say("hold.none")) == "no hold"


MALFORMED: list[object] = [
    None, "tray is wet", [], {}, {"id": "x"}, {"id": 3, "values": {}}, {"id": "x", "values": None}, {"id": "x", "values": []},
    *(
        {"id": "x", "values": {"v": value}}
        for value in (
            3, {}, {"kind": "number", "unit": ""}, {"kind": 3, "value": 1, "unit": ""}, {"kind": "number", "value": "3", "unit": ""},
            {"kind": "number", "value": [], "unit": ""}, {"kind": "message", "value": "x", "unit": ""},
            {"kind": "list", "value": None, "unit": ""}, {"kind": "list", "value": [1], "unit": ""},
            {"kind": "moment", "value": None, "unit": ""}, {"kind": "moment", "value": "noon", "unit": ""},
            {"kind": "number", "value": 3, "unit": "", "point": ["a"]},
        )
    ),
]  # fmt: skip


@pytest.mark.parametrize("kept", MALFORMED, ids=repr)
def test_what_is_no_message_in_an_entry_leaves_the_words_beside_it(kept: object) -> None:
    with pytest.raises(ValueError):
        of_json(kept)
    assert of_body({"cause": "tray is wet", "msg": kept}, "cause") == as_told("tray is wet")


def test_a_message_that_is_nested_without_an_end_leaves_the_words_beside_it() -> None:
    deep: dict[str, object] = {"id": "x", "values": {}}
    for _ in range(5_000):
        deep = {"id": "x", "values": {"v": {"kind": "message", "value": deep, "unit": ""}}}
    assert of_body({"cause": "tray is wet", "msg": deep}, "cause") == as_told("tray is wet")


def test_a_record_that_bears_messages_of_its_own_is_kept_without_them() -> None:
    driver = Driver(SETTINGS)
    driver.run(30, QUIET)
    kept = driver.record("note", text="tray was wiped", msg=as_json(say("leak.wet", point=name("tray"))))[0]
    assert "msg" not in kept.body


def test_an_alarm_outlasts_the_point_that_its_cause_names() -> None:
    driver = Driver(SETTINGS)
    driver.run(30, QUIET)
    driver.run(60, DRAWING | {"supply": 20 * PSI})
    kept = json.loads(json.dumps(driver.station.state()))
    renamed = tuple(replace(p, id="new-" + p.id) if p.id == "supply" else p for p in SETTINGS.points)
    again = Station(replace(SETTINGS, points=renamed), "boot-2", kept)
    now = Now(1_000, driver.wall_ms + 1_000, True)
    again.advance(now)
    assert (
        again.alarms(now)["pressure_low"]["cause"] == driver.station.alarms(driver.now)["pressure_low"]["cause"] != ""
    )


WHOLE = say(
    "x", a=celsius(38.0625, "reservoir"), b=duration(90_000), c=moment(JUNE_MS), d=names(["tray", "floor"]),
    e=part(both(say("y", a=number(0.5, "1")), say("y", a=text("as typed")))), f=part(None), g=difference(Kind.PRESSURE, None),
)  # fmt: skip


def test_a_message_comes_back_from_its_form_as_it_was() -> None:
    form = json.loads(json.dumps(as_json(WHOLE), allow_nan=False))
    assert of_json(form) == WHOLE
    assert form["id"] == "x"
    assert form["values"]["a"] == {"kind": "temperature", "value": 38.0625, "unit": "Cel", "point": "reservoir"}
    assert form["values"]["b"] == {"kind": "duration", "value": 90.0, "unit": "s"}
    assert form["values"]["c"] == {"kind": "moment", "value": "2026-06-01T06:30:00.000Z", "unit": ""}
    assert form["values"]["f"] == {"kind": "message", "value": None, "unit": ""}


def test_the_form_keeps_every_digit_and_has_no_number_that_json_lacks() -> None:
    form = json.loads(json.dumps(as_json(say("x", a=celsius(39.049999999999997), b=number(float("inf"))))))
    assert form["values"]["a"]["value"] == 39.049999999999997
    assert form["values"]["b"]["value"] is None


def test_an_entry_that_is_older_than_messages_says_its_text() -> None:
    assert of_body({"cause": "tray is wet"}, "cause") == as_told("tray is wet")
    assert of_body({"cause": "tray is wet", "msg": as_json(WHOLE)}, "cause") == WHOLE


def test_what_is_said_within_is_found_and_left_out() -> None:
    inner = say("nominal.uncalibrated")
    whole = both(say("outer", nominal=part(inner), points=parts([inner, say("z")])), None)
    assert [m.id for m in within(whole)] == ["outer", "nominal.uncalibrated", "nominal.uncalibrated", "z"]
    assert has(whole, "z") and not has(whole, "q") and not has(None, "z")
    assert [m.id for m in within(without(whole, "nominal.uncalibrated"))] == ["outer", "z"]
