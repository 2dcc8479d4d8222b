"""Station files with Modbus units: what is read, what is refused, and how much of the line's time the questions take."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.config.reading import UnusableInputs
from edge.domain.sensing.registers import wire_ms

HEAD = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "/dev/serial/by-id/usb-rs485"
baud = {baud}
"""
NUMBER = """
[[point]]
id = "{id}"
role = "{role}"
unit_id = 3
register = {{ kind = "input", at = {at}, type = "{type}"{more}, unit = "kPa" }}
every = "{every}"
"""
PRESSURES = ("supply_pressure", "between_filters_pressure", "filtered_pressure")


def station(*points, baud=9600):
    return config.loads(HEAD.format(baud=baud) + "".join(points), Path("station.toml"))


def number(index, at, every="500 ms", width="int16", more=""):
    return NUMBER.format(id=f"p{index}", role=PRESSURES[index], at=at, every=every, type=width, more=more)


def contact(**keys):
    more = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    return f'[[point]]\nid = "o"\nrole = "outlet_protection"\nunit_id = 4\nregister = {{ kind = "discrete", at = 0, type = "bit" }}\n{more}'


def refused(*points, baud=9600):
    with pytest.raises(UnusableInputs) as said:
        station(*points, baud=baud)
    return str(said.value)


def test_a_modbus_bus_is_read():
    read = station(number(0, 0))
    assert read.buses[0].active
    assert read.buses[0].points["p0"]["register"]["type"] == "int16"
    assert read.not_active == ()


def test_neighbours_cost_one_question_and_strays_one_each():
    """At 600 baud: 13 octets and 2 per register at 11 bits, twice 3.5 characters of silence, and 20 ms for the unit."""
    together_ms, alone_ms = wire_ms(4, 3, 600) + 20, wire_ms(4, 1, 600) + 20
    assert together_ms == pytest.approx((13 + 6 + 7) * 11_000 / 600 + 20)
    assert together_ms < 600 and alone_ms * 3 > 600  # ms
    station(*(number(index, index, "600 ms") for index in range(3)), baud=600)
    text = refused(*(number(index, 4 * index, "600 ms") for index in range(3)), baud=600)
    assert 'bus "panel" would be busy' in text
    assert f"3 points take 3 questions of up to {alone_ms:.0f} ms at 600 baud" in text


def test_registers_that_are_read_unequally_often_are_counted_apart():
    text = refused(number(0, 0, "300 ms"), number(1, 1, "310 ms"), number(2, 2, "320 ms"), baud=1200)
    assert "3 points take 3 questions" in text


def test_the_last_register_has_none_behind_it():
    text = refused(number(0, 65535, width="float32", more=', order = "ABCD"'))
    assert "float32 takes two registers, and there is none behind 65535" in text
    station(number(0, 65535))


def test_a_contact_behind_a_units_input_may_say_what_closed_means():
    read = station(contact(tripped_when="open"))
    assert read.buses[0].points["o"]["tripped_when"] == "open"
    assert "wet_when is for leak, not for outlet_protection" in refused(contact(wet_when="open"))
    assert "tripped_when is for outlet_protection, not for supply_pressure" in refused(
        number(0, 0) + 'tripped_when = "open"\n'
    )


def test_a_bit_has_no_unit():
    assert "a bit has no unit" in refused(contact().replace('"bit" }', '"bit", unit = "1" }'))


# -- contacts that are only looked at


def test_a_polled_contact_is_warned_of_with_its_period_and_both_ways_out():
    told = "\n".join(station(contact(of="machine", every="2 s")).warnings)
    assert "this contact is looked at every 2 s: one that comes and goes in between leaves no trace" in told
    assert "(counter)" in told and "(gpio)" in told
    assert "looked at every 0.25 s" in "\n".join(station(contact(of="machine")).warnings)


def test_of_water_on_the_floor_it_is_warned_only_where_it_might_have_dried():
    leak = (
        '[[point]]\nid = "floor"\nrole = "leak"\nunit_id = 4\nregister = { kind = "discrete", at = 0, type = "bit" }\n'
    )
    assert not any("leaves no trace" in text for text in station(leak + 'every = "10 s"\n').warnings)
    assert any("leaves no trace" in text for text in station(leak + 'every = "30 s"\n').warnings)


def test_a_contact_with_a_counter_is_not_warned_of_and_its_question_is_counted():
    counted = contact(of="machine", every="2 s").rstrip() + '\ncounter = { kind = "input", at = 16 }\n'
    read = station(counted)
    assert not any("leaves no trace" in text for text in read.warnings)
    assert (read.settings.points[0].polled, station(contact(of="machine")).settings.points[0].polled) == (False, True)
    quick = counted.replace('"2 s"', '"50 ms"')
    assert "2 questions" in refused(quick, baud=4800)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (', type = "uint32"', "counter.order: order is missing"),
        (', order = "ABCD"', "uint16 has no order of words"),
        (', type = "int16"', "counter.type"),
    ],
)
def test_a_counter_that_can_not_be_is_refused(more, said):
    assert said in refused(contact(of="machine").rstrip() + f'\ncounter = {{ kind = "input", at = 16{more} }}\n')
    with_number = number(0, 0) + 'counter = { kind = "input", at = 16 }\n'
    assert "has no closings" in refused(with_number)
