"""Whatever stands in a station file, the answer is a StationFile or sentences; never another exception."""

from __future__ import annotations

from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from edge import config

EXAMPLE = (Path(__file__).parents[3] / "config" / "station-example.toml").read_text(encoding="utf-8")
LINES = EXAMPLE.splitlines()

PIECES = st.sampled_from(
    [
        "[station]", "[[point]]", "[[bus]]", "[point]", "[bus]", "[reservoir]", "[supply.pressure]", "[alarm.pressure_low]",
        "[alarm]", "[not_fitted]", "[[point.text]]", "[", "]", "{", "}", "=", ",", '"', "'", '"""', "\n", "\r\n", "#", ".", "-",
        'id = "a"', 'id = 3', 'kind = "serial-line"', 'kind = "gpio"', 'kind = "modbus-rtu"', 'kind = "iio"', "kind = 1",
        'bus = "a"', "bus = []", 'role = "supply_pressure"', 'role = "leak"', "role = {}", 'every = "1 s"', "every = nan",
        'every = "-1 s"', 'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "1 psi" }', "loop = 1", "loop = {}",
        "text = { pattern = '(?P<value>.)', unit = 'psi' }", "text = { pattern = '[[a' }", "pulses = {}", "register = {}",
        'low = "1 psi"', 'high = "1 psi"', 'range = { low = "1 degC", high = "0 psi" }', "contact = {}", "draw = 7",
        "point = 3", "point = [3]", "supply = {}", "1979-05-27", "1e400", "0x" + "f" * 300, "true", "é", "\u2028", "\x7f",
    ]
)  # fmt: skip


def answer(text: str) -> None:
    try:
        station = config.loads(text, Path("s.toml"))
    except config.UnusableInputs as refusal:
        assert len(refusal) >= 1
        for mistake in refusal:
            assert str(mistake).startswith("s.toml line ")
            assert "; expected " in str(mistake)
            assert "\n" not in str(mistake)
    else:
        assert len(station.digest) == 64
        assert station.settings.points


@given(st.text(max_size=300))
@example("\ufeff")
@example("[point]\n[[point]]")
def test_any_text(text: str) -> None:
    answer(text)


@given(st.lists(PIECES, max_size=40), st.sampled_from(["\n", " ", ""]))
def test_any_arrangement_of_pieces(pieces: list[str], between: str) -> None:
    answer(between.join(pieces))


@settings(max_examples=150)
@given(st.data())
def test_any_change_to_the_example(data: st.DataObject) -> None:
    lines = list(LINES)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        what = data.draw(st.sampled_from(["drop", "twice", "swap", "put", "cut", "replace value"]))
        if what == "drop" and len(lines) > 1:
            del lines[at]
        elif what == "twice":
            lines.insert(at, lines[at])
        elif what == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif what == "put":
            lines.insert(at, data.draw(PIECES))
        elif what == "cut":
            lines[at] = lines[at][: data.draw(st.integers(0, max(0, len(lines[at]))))]
        else:
            key = lines[at].partition("=")[0]
            value = data.draw(
                st.sampled_from(["1", "true", '""', '"1 psi"', '"39 degC"', "[]", "{}", "nan", '"a/b"', "-0.0", "[{}]"])
            )
            lines[at] = f"{key}= {value}"
    answer("\n".join(lines))
