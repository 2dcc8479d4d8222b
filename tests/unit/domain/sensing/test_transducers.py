"""From raw numbers to quantities. NAMUR NE 43 bands by its public summaries; 1 psi = 6.894757293168361 kPa (exact pound, inch, g)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.contracts import Raw
from edge.domain.quantities import UnitError
from edge.domain.readings import KIND_OF, REASONS, Quality, Role, Sample
from edge.domain.sensing.transducers import plain_number, transducer
from edge.domain.settings import Point

PSI_KPA = 6.894757293168361
LOOP = {"from": "4 mA", "to": "20 mA", "low": "0 psi", "high": "100 psi", "kind": "gauge"}


def point(role=Role.SUPPLY_PRESSURE, **more):
    return Point("p", role, KIND_OF[role], 1000, 3000, -1e9, 1e9, **more)


def heard(wiring, number, unit="", role=Role.SUPPLY_PRESSURE, **more):
    return transducer(point(role), wiring)(Raw("p", 7, number, unit, **more))


def test_a_number_in_the_wirings_unit_is_held_in_the_kinds_unit():
    sample = heard({"text": {"pattern": "", "unit": "psi"}}, 40.0)
    assert sample == Sample("p", 7, pytest.approx(40 * PSI_KPA, abs=1e-9), None, "")


def test_the_unit_for_display_is_not_the_unit_of_the_wire():
    assert heard({"unit": "psi"}, 300.0).value == 300.0


def test_a_raw_reading_that_names_its_unit_outranks_the_wiring():
    assert heard({"text": {"unit": "psi"}}, 300.0, "kPa").value == 300.0


def test_forty_psi_is_the_limit_of_forty_psi_to_the_last_bit():
    """A minimum is met at equality, so the two must not differ by rounding."""
    from edge.domain.quantities import quantity

    for psi in (40, 44, 52.4, 60):
        assert heard({"text": {"unit": "psi"}}, float(psi)).value == quantity(f"{psi} psi", "pressure")


@pytest.mark.parametrize(
    "ma, reason, psi",
    [
        (0.0, "loop_open", None), (3.6, "loop_open", None), (3.61, "under_range", -2.4375), (3.8, None, -1.25),
        (12.0, None, 50.0), (20.5, None, 103.125), (20.51, "over_range", 103.1875), (21.0, "loop_over", None),
        (23.0, "loop_over", None), (380 * 0.01, None, -1.25), (360 * 0.01, "loop_open", None),
    ],
)  # fmt: skip
def test_a_current_loop_by_ne43(ma, reason, psi):
    sample = heard({"loop": LOOP, "register": {"unit": "mA"}}, ma)
    assert sample.reason == reason
    assert sample.value == (None if psi is None else pytest.approx(psi * PSI_KPA, abs=1e-6))
    if reason is not None:
        assert REASONS[reason].quality is (Quality.BAD if psi is None else Quality.UNCERTAIN)
        assert "mA" in sample.detail


def test_the_bands_can_be_set_since_summaries_of_the_standard_differ():
    narrow = {**LOOP, "range_low": "4 mA", "range_high": "20 mA"}
    assert heard({"loop": narrow}, 3.9).reason == "under_range"
    assert heard({"loop": narrow}, 20.2).reason == "over_range"


def test_a_loop_in_amperes_and_one_of_absolute_pressure():
    assert heard({"loop": LOOP}, 0.012, "A").value == pytest.approx(50 * PSI_KPA, abs=1e-6)
    absolute = {"low": "0 bar", "high": "10 bar", "kind": "absolute"}
    assert heard({"loop": absolute}, 12.0).value == pytest.approx(500 - 101.325, abs=1e-9)


def test_a_loop_without_a_live_zero_has_no_open_band():
    """0-20 mA: nothing flows at the lower end, so a broken wire can't be told from zero; NE 43 is about 4-20 mA."""
    assert heard({"loop": {**LOOP, "from": "0 mA"}}, 0.0) == Sample("p", 7, 0.0, None, "")


@pytest.mark.parametrize(
    "number", [math.nan, math.inf, -math.inf, 1e308 * 10],
)  # fmt: skip
@pytest.mark.parametrize("wiring", [{}, {"loop": LOOP}, {"text": {"unit": "psi"}}])
def test_what_is_not_finite_is_no_reading(wiring, number):
    sample = heard(wiring, number)
    assert (sample.value, sample.reason) == (None, "not_a_number")


def test_a_huge_number_that_overflows_on_its_way_is_no_reading():
    assert heard({"text": {"unit": "bar"}}, 1.7e308).reason == "not_a_number"
    assert heard({"loop": LOOP}, 1.7e308, "A").value is None


@pytest.mark.parametrize(
    "wiring, unit, number, value",
    [
        ({}, "", 1.0, 1.0),
        ({}, "1", 0.0, 0.0),
        ({"tripped_when": "open"}, "", 1.0, 1.0),  # already said in words: no switch to turn round
        ({"tripped_when": "open"}, "closed", 1.0, 0.0),
        ({"tripped_when": "open"}, "closed", 0.0, 1.0),
        ({"tripped_when": "closed"}, "closed", 1.0, 1.0),
        ({}, "closed", 1.0, 1.0),
    ],
)
def test_a_contact(wiring, unit, number, value):
    assert heard(wiring, number, unit, Role.OUTLET_PROTECTION).value == value


def test_half_a_contact_is_garbled_and_a_contact_in_psi_is_a_fault():
    assert heard({}, 0.5, role=Role.LEAK).reason == "garbled"
    assert heard({}, 1.0, "psi", role=Role.LEAK).reason == "adapter_fault"


def test_reasons_of_the_adapter_pass_and_unknown_ones_are_faults():
    assert heard({}, None, reason="crc", detail="c9")[2:5] == (None, "crc", "c9")
    assert heard({}, 39.0, reason="crc").value is None
    assert heard({}, None).reason == "no_answer"
    assert heard({}, None, reason="tired").reason == "adapter_fault"


def test_a_unit_of_another_kind_in_a_raw_reading_is_a_fault_not_a_number():
    sample = heard({}, 39.0, "degC")
    assert (sample.value, sample.reason) == (None, "adapter_fault")
    assert heard({"loop": LOOP}, 3.0, "V").reason == "adapter_fault"


@pytest.mark.parametrize(
    "wiring",
    [
        {"text": {"unit": "degC"}}, {"text": {"unit": "PSY"}}, {"loop": {"from": "4 mA"}}, {"loop": "4-20"},
        {"loop": {**LOOP, "high": "0 psi"}}, {"loop": {**LOOP, "to": "4 mA"}}, {"loop": {**LOOP, "low": "0 degC"}},
        {"loop": LOOP, "register": {"unit": "V"}}, {"loop": {**LOOP, "range_low": "22 mA"}},
    ],
)  # fmt: skip
def test_unusable_wiring_is_refused_when_the_transducer_is_made(wiring):
    with pytest.raises(ValueError):
        transducer(point(), wiring)


def test_unusable_contacts_are_refused():
    with pytest.raises(ValueError, match="open"):
        transducer(point(Role.LEAK), {"wet_when": "ajar"})
    with pytest.raises(ValueError, match="contact"):
        transducer(point(Role.LEAK), {"loop": LOOP})
    with pytest.raises(UnitError):
        transducer(point(), {"text": {"unit": "gal/min"}})


@pytest.mark.parametrize(
    "text, decimal, number",
    [
        ("52.4", "point", 52.4), ("+52.4", "point", 52.4), ("-0.5", "point", -0.5), (".5", "point", 0.5), ("007", "point", 7),
        ("52,4", "comma", 52.4), ("52", "comma", 52.0),
    ],
)  # fmt: skip
def test_plain_numbers(text, decimal, number):
    assert plain_number(text, decimal) == number


@pytest.mark.parametrize(
    "text",
    [
        "",
        "52.",
        "nan",
        "inf",
        "-inf",
        "1_000",
        "0x1f",
        "1e3",
        "39,1",
        "1,234.5",
        "- 5",
        "--5",
        "5-",
        " 5",
        "٣٩",
        "½",
        "9" * 400,
    ],
)
def test_what_is_not_a_plain_number(text):
    """Python's float() takes many of these, and rounds the last to infinity."""
    with pytest.raises(ValueError):
        plain_number(text)


def test_a_decimal_point_where_a_comma_is_said_is_refused():
    with pytest.raises(ValueError):
        plain_number("39.1", "comma")


@given(st.text(max_size=12), st.sampled_from(["point", "comma"]))
def test_whatever_comes_is_a_finite_number_or_refused(text, decimal):
    try:
        assert math.isfinite(plain_number(text, decimal))
    except ValueError:
        pass


@given(
    st.one_of(st.none(), st.floats(), st.integers(-(2**63), 2**63)),
    st.sampled_from(["", "psi", "kPa", "mA", "degC", "1", "closed", "?"]),
    st.sampled_from([{}, {"loop": LOOP}, {"text": {"unit": "psi"}}]),
)
def test_a_transducer_never_raises_and_never_hands_over_nonsense(number, unit, wiring):
    sample = heard(wiring, number, unit)
    assert sample.value is None or math.isfinite(sample.value)
    assert sample.value is not None or sample.reason in REASONS
