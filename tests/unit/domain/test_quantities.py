"""Units of the trade: what is read, what is refused, and with which words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain import quantities as q
from edge.domain.readings import Kind

# 1 atm = 101.325 kPa (exact, from memory); the others: tests/handbook/f.flow-units.jsonl
READ = [
    ("40 psi", "pressure", 275.7902917),
    ("40 PSI", "pressure", 275.7902917),
    ("40psig", "pressure", 275.7902917),
    ("40 lbf/in²", "pressure", 275.7902917),
    ("2.8 bar", "pressure", 280.0),
    ("1 atm abs", "pressure", 0.0),
    ("14.695949 psia", "pressure", 0.0),
    ("100 mmHg", "pressure", 13.3322387415),
    ("10 mH2O", "pressure", 98.0665),
    ("39 degC", "temperature", 39.0),
    ("39 °C", "temperature", 39.0),
    ("102.2 degF", "temperature", 39.0),
    ("312.15 K", "temperature", 39.0),
    ("4 K", "temperature_difference", 4.0),
    ("7.2 degF", "temperature_difference", 4.0),
    ("2 gal/min", "flow", 7.570823568),
    ("2 gpm", "flow", 7.570823568),
    ("2 imp gal/min", "flow", 9.09218),
    ("0.6 m3/h", "flow", 10.0),
    ("100 mL", "volume", 0.1),
    ("15 s", "duration", 15_000.0),
    ("2 weeks", "duration", 1_209_600_000.0),
    ("0.5 K/s", "temperature_rate", 0.5),
    ("30 K/min", "temperature_rate", 0.5),
    ("20 psi/s", "pressure_rate", 137.8951459),
    ("5 L/min/s", "flow_rate", 5.0),
    ("0.2 µm", "length_um", 0.2),
    ("20 mA", "current_ma", 20.0),
    ("2 GB", "size_bytes", 2e9),
    ("−5 degC", "temperature", -5.0),
]


@pytest.mark.parametrize("text, dimension, value", READ, ids=[text for text, _, _ in READ])
def test_a_quantity_is_read(text: str, dimension: str, value: float) -> None:
    assert q.quantity(text, dimension) == pytest.approx(value, rel=1e-7, abs=1e-5)


REFUSED = [
    ("40", "pressure", "has no unit"),
    ("40 K", "pressure", "is the unit of a temperature, not of a pressure"),
    ("40 pis", "pressure", "did you mean psi"),
    ("40 mPa", "pressure", "is not known for a pressure"),  # milli or mega is never guessed
    ("39,1 degC", "temperature", "has a decimal comma"),
    ("nan psi", "pressure", "is not a finite number"),
    ("-inf psi", "pressure", "is not a finite number"),
    ("1e999 psi", "pressure", "beyond anything"),
    ("", "flow", "is empty"),
    ("psi", "pressure", "does not begin with a number"),
    ("1,234,567 psi", "pressure", "not one number and one unit"),
    ("4 0 psi", "pressure", "not one number and one unit"),
    ("1_000 psi", "pressure", "is not known for a pressure"),
    ("4 psi abs", "pressure_difference", "is the unit of a pressure, not of a pressure difference"),
    ("6 months", "duration", "is not known for a duration"),  # months have no length in days
    ("٤ psi", "pressure", "does not begin with a number"),
]


@pytest.mark.parametrize("text, dimension, part", REFUSED, ids=[text or "nothing" for text, _, _ in REFUSED])
def test_a_refusal_says_what_is_wrong_and_what_would_do(text: str, dimension: str, part: str) -> None:
    with pytest.raises(q.UnitError) as refusal:
        q.quantity(text, dimension)
    assert part in refusal.value.what
    assert '"' in refusal.value.expected
    assert str(refusal.value) == f"{refusal.value.what}; expected {refusal.value.expected}"


def test_a_comma_gets_the_right_spelling_as_a_hint() -> None:
    with pytest.raises(q.UnitError, match=r'as in "39\.1 degC"'):
        q.quantity("39,1 degC", "temperature")


@given(st.text(max_size=60), st.sampled_from(sorted(q.DIMENSIONS)))
def test_any_text_is_a_finite_quantity_or_refused(text: str, dimension: str) -> None:
    try:
        assert math.isfinite(q.quantity(text, dimension))
    except q.UnitError as refusal:
        assert "\n" not in refusal.expected


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from(
        [(kind, unit) for kind, dimension in q.DIMENSION_OF.items() for unit in q.DIMENSIONS[dimension].units]
    ),
)
def test_there_and_back_is_the_same(value: float, kind_unit: tuple[Kind, str]) -> None:
    kind, unit = kind_unit
    back = q.from_kind(q.in_kind(value, unit, kind), unit, kind)
    scale, offset = q.converter(unit, kind)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-9 * (abs(offset) / scale + 1))


def test_every_unit_and_spelling_leads_somewhere() -> None:
    for dimension in q.DIMENSIONS.values():
        for unit, (scale, _) in dimension.units.items():
            assert scale > 0, unit
        for example in dimension.examples:
            number, unit = q.split(example, dimension)
            assert float(number) > 0 and q._lookup(unit, dimension.units) is not None
    for spelling, unit in q._ALSO.items():
        assert any(unit in dimension.units for dimension in q.DIMENSIONS.values()), spelling


def test_case_is_forgiven_only_where_no_other_unit_is_meant() -> None:
    assert q.converter("KPA", Kind.PRESSURE) == (1.0, 0.0)
    assert q.converter("MPa", Kind.PRESSURE) == (1000.0, 0.0)
    with pytest.raises(q.UnitError):
        q.converter("MBAR", Kind.PRESSURE)


def test_a_contact_has_no_unit() -> None:
    assert q.converter("", Kind.CONTACT) == (1.0, 0.0)
    with pytest.raises(q.UnitError, match="a contact has none"):
        q.converter("psi", Kind.CONTACT)


def test_months_are_a_calendar_count() -> None:
    assert [q.months(text) for text in ("6 months", "1 month", "2 years")] == [6, 1, 24]
    for text in ("6", "half a year", "0 months", "601 months", "1.5 months", "26 weeks"):
        with pytest.raises(q.UnitError):
            q.months(text)


def test_the_unit_is_kept_as_written() -> None:
    assert q.unit_in("100 psi", "pressure") == "psi"
    with pytest.raises(q.UnitError):
        q.unit_in("100", "pressure")
