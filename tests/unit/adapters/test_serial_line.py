"""Lines and the numbers in them: no half number is ever taken for a whole one. No port here: bytes in, values out."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.serial_line import LONGEST_LINE, Field, Garbled, LineBuffer, SerialLine, text_of, value_in
from edge.clock import ToldClock
from edge.domain.errors import UnusableInput
from edge.domain.sensing.transducers import plain_number

CSV = [r"^(?P<value>[^,]+),", r"^[^,]+,(?P<value>[^,]+),", r",(?P<value>[^,]+)$"]


def field(pattern, decimal="point"):
    return Field("p", re.compile(pattern, re.ASCII), lambda text: plain_number(text, decimal), False, decimal, 1.0)


def begun(longest=LONGEST_LINE):
    """A buffer that has seen the end of the line that was under way when it began."""
    buffer = LineBuffer(longest)
    buffer.feed(b"\n")
    return buffer


# -- lines


def test_the_line_that_was_under_way_at_the_opening_is_skipped():
    """The rest of 52.4 is 2.4: a plain number, and wrong."""
    buffer = LineBuffer()
    assert buffer.feed(b"2.4\r\n52.4\r\n") == [b"52.4"]
    assert buffer.dropped == Counter(cut=1)


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r", b"\n\r"])
def test_every_usual_line_end(end):
    assert begun().feed(end.join([b"1", b"2", b""])) == [b"1", b"2"]


def test_a_line_end_that_is_torn_apart_makes_no_line_of_its_own():
    buffer = begun()
    assert [buffer.feed(chunk) for chunk in (b"1\r", b"\n2\r\n")] == [[b"1"], [b"2"]]


def test_an_overlong_line_is_dropped_to_its_end_and_counted_once():
    buffer = begun(longest=10)
    assert [buffer.feed(chunk) for chunk in (b"x" * 8, b"y" * 8, b"52.4", b"\n39.1\n")] == [[], [], [], [b"39.1"]]
    assert buffer.feed(b"z" * 11 + b"\n1\n") == [b"1"]
    assert buffer.dropped["overlong"] == 2


def test_memory_stays_bounded_without_a_line_end():
    buffer = begun()
    for _ in range(1000):
        buffer.feed(b"\0" * 1000)
        assert len(buffer._rest) <= LONGEST_LINE


def test_an_unfinished_line_that_was_given_up_takes_its_rest_with_it():
    """The rest of `39.1,52.` is `4,2.31`: a line of its own it is not."""
    buffer = begun()
    buffer.feed(b"39.1,52.")
    assert buffer.unfinished
    buffer.give_up()
    assert buffer.feed(b"4,2.31\n39.2,52.5,2.32\n") == [b"39.2,52.5,2.32"]
    assert buffer.dropped["unfinished"] == 1


@given(st.lists(st.binary(max_size=30), max_size=12), st.data())
def test_lines_are_the_same_however_the_bytes_are_torn(lines, data):
    whole = b"\n" + b"".join(line.replace(b"\n", b"").replace(b"\r", b"") + b"\n" for line in lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(whole)), max_size=8)))
    at_once, torn = LineBuffer(), LineBuffer()
    pieces = [whole[a:b] for a, b in pairwise([0, *cuts, len(whole)])]
    assert [line for piece in pieces for line in torn.feed(piece)] == at_once.feed(whole)
    assert torn.dropped == at_once.dropped


# -- text


@pytest.mark.parametrize(
    "line, clean",
    [
        (b"P1=+52.4 psi", True), (b"a\tb", True), (b"39.1 \xb0C", True), (b"2.3 \xb5S", True), ("39.1 °C µ".encode(), True),
        (b"39.1\xff", False), (b"39.1\x00", False), (b"\x0039.1", False), (b"\xaae\xd1\xb9\xf10;0", False), (b"\x1b[2J39.1", False),
    ],
)  # fmt: skip
def test_clean_lines(line, clean):
    assert text_of(line)[1] is clean


@given(st.binary(max_size=60))
def test_any_bytes_are_text_of_some_kind(line):
    text, _ = text_of(line)
    assert isinstance(text, str)


# -- values


@pytest.mark.parametrize(
    "pattern, text, value",
    [
        (r"P1=(?P<value>\S+)", "P1=+52.4 psi", 52.4), (r"P1=(?P<value>\S+)", "T1=39 P1=52", 52.0),
        (r"P1=\s*(?P<value>[-+.\d]+)", "P1=  -0.5psi", -0.5), (r"P1=(?P<value>\S+)", "P2=52.4", None),
        (CSV[0], "39.1,52.4,2.31", 39.1), (CSV[1], "39.1,52.4,2.31", 52.4), (CSV[2], "39.1,52.4,2.31", 2.31),
        (CSV[0], "39,52,2", 39.0), (r"^(?P<value>[\d.]+)", "39.1,52.4,2.31", 39.1), (r"^(?P<value>\d+),\d+$", "39,52", 39.0),
        (r"T=(?P<value>\S+)", "T=39.0 T=39.0", 39.0),
    ],
)  # fmt: skip
def test_values(pattern, text, value):
    assert value_in(text, field(pattern)) == value


@pytest.mark.parametrize(
    "pattern, text",
    [
        (r"(?P<value>\d+)", "52.4"), (r"(?P<value>\d+)$", "52.4"), (r"(?P<value>\d)", "52"), (r"P=(?P<value>\d\.\d)", "P=5.24"),
        (r"(?P<value>\d+)", "5e3"), (r"P=-(?P<value>\S+)", "P=-5"), (r"P=\D*(?P<value>\S+)", "P=- 5"),
        (r"P=(?P<value>[\d.]+)", "P=5P=52.4"), (r"T=(?P<value>\S+)", "T=39 T=40"),
        (r"P=(?P<value>\S+)", "P=52."), (r"P=(?P<value>\S+)", "P=nan"), (r"P=(?P<value>\S+)", "P=1_000"), (r"P=(?P<value>\S+)", "P=0x1f"),
        (r"P=(?P<value>[\d.]+)", "P=1,234.5"), (r"^(?P<value>\d+)", "39,52"),
    ],
)  # fmt: skip
def test_what_is_cut_out_of_something_longer_is_garbled(pattern, text):
    with pytest.raises(Garbled):
        value_in(text, field(pattern))


@pytest.mark.parametrize(
    "pattern",
    [
        *CSV, r"^(?P<value>[\d.]+)", r"^(?P<value>[\d.]+),", r"(?P<value>\d+)$", r",(?P<value>[\d.]+)$", r"(?P<value>\d+);",
        r"^\d+,(?P<value>\d+)", r"^(?P<value>[^,]+),[^,]+,[^,]+", r"^(?P<value>\d+),\d+",
    ],
)  # fmt: skip
def test_a_decimal_comma_on_the_wire_is_bad_unless_the_station_file_says_so(pattern):
    """`39,1;52,4;2,31`: neither 39 nor 1 nor 31, whatever the pattern was written for."""
    try:
        assert value_in("39,1;52,4;2,31", field(pattern)) is None
    except Garbled:
        pass


def test_a_decimal_comma_that_the_station_file_says():
    fields = [
        field(r"^(?P<value>[^;]+);", "comma"),
        field(r";(?P<value>[^;]+);", "comma"),
        field(r";(?P<value>[^;]+)$", "comma"),
    ]
    values = [value_in("39,1;52,4;2,31", one) for one in fields[:1]]
    values.append(value_in("39,1;52,4;2,31", fields[1]))
    values.append(value_in("39,1;52,4;2,31", field(r";[^;]+;(?P<value>[^;]+)$", "comma")))
    assert values == [39.1, 52.4, 2.31]
    with pytest.raises(Garbled):
        value_in("39.1;52.4;2.31", fields[0])


@given(st.decimals(-9999, 9999, places=3), st.sampled_from([r"P=(?P<value>\S+)", r"P=(?P<value>[-+.\d]+)"]), st.data())
def test_a_line_cut_anywhere_never_gives_another_number(number, pattern, data):
    """Head or tail of a line lost, as by a dropped byte run: its value, or none, or garbled; never another one."""
    line = f"P={number} kPa"
    cut = data.draw(st.integers(0, len(line)))
    for part in (line[cut:], line[:cut] + "P=" + line[2:]):
        try:
            assert value_in(part, field(pattern)) in (None, float(number))
        except Garbled:
            pass


# -- settings


@pytest.mark.parametrize(
    "bus, table, where",
    [
        ({}, {}, "port"), ({"port": ""}, {}, "port"), ({"port": "/dev/x\0"}, {}, "port"), ({"port": "x", "baud": 0}, {}, "baud"),
        ({"port": "x", "baud": "9600"}, {}, "baud"), ({"port": "x", "parity": "often"}, {}, "parity"),
        ({"port": "x", "data_bits": 9}, {}, "data_bits"), ({"port": "x", "stop_bits": 3}, {}, "stop_bits"),
        ({"port": "x", "settle": "5"}, {}, "settle"), ({"port": "x"}, {"text": None}, "pattern"),
        ({"port": "x"}, {"text": {"pattern": "("}}, "expression"), ({"port": "x"}, {"text": {"pattern": "P="}}, "value"),
        ({"port": "x"}, {"text": {"pattern": "(?P<value>.)", "decimal": "dot"}}, "decimal"),
    ],
)  # fmt: skip
def test_unusable_settings_are_refused_in_one_sentence(bus, table, where):
    with pytest.raises(UnusableInput, match=where):
        SerialLine({"id": "lines", **bus}, {"p": {"id": "p", "every": "1 s", **table}} if table else {}, ToldClock())
