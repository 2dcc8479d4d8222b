"""/metrics against the grammar of OpenMetrics 1.0 (openmetrics.io, "ABNF" and "Overall Structure"), and which form of it Accept asks for.

The older text format is read by promtool, in tests/integration/test_prometheus.py.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from edge.api import metrics
from edge.api.accept import quality
from edge.api.picture import Watch
from edge.domain.entries import Now
from tests.api_fakes import ABOUT, START_MS, Fakes, alarm, of_basin, point
from tests.unit.stations import SETTINGS

NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\[n"\\])*"'
NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[+-]?\d+)?"
SAMPLE = re.compile(rf"({NAME})(\{{(?:{LABEL}(?:,{LABEL})*)?\}})? ({NUMBER})", re.IGNORECASE)
META = re.compile(rf"# (TYPE|UNIT|HELP) ({NAME}) (.*)")
SUFFIX = {"counter": "_total", "info": "_info", "gauge": "", "stateset": ""}


def exposition(fakes: Fakes, *, is_open: bool = True) -> str:
    watch = Watch(fakes.judge)
    seen = watch.see()
    figures = {"last_seq": 7, "streams": 2, "resident_bytes": 55_000_000, "first_case_s": 1_773_648_000.0}
    return metrics.text(ABOUT, watch.verdict(seen), watch.points(seen), seen.snapshot.alarms, figures, is_open=is_open)


def test_every_line_is_of_the_format() -> None:
    """Families don't interleave, samples follow their own TYPE, suffixes fit types, no sample twice, # EOF ends it."""
    text = exposition(Fakes())
    assert text.endswith("\n# EOF\n")
    families: dict[str, str] = {}
    current, samples = "", set()
    for line in text.splitlines()[:-1]:
        if meta := META.fullmatch(line):
            word, name, rest = meta.groups()
            if word == "TYPE":
                assert name not in families and rest in SUFFIX
                families[name] = rest
                current = name
            assert name == current
            if word == "UNIT":
                assert name.endswith("_" + rest)
            continue
        sample = SAMPLE.fullmatch(line)
        assert sample is not None, line
        name, labels, number = sample.groups()
        assert name == current + SUFFIX[families[current]]
        assert (name, labels) not in samples
        samples.add((name, labels))
        if families[current] == "stateset":
            assert number in ("0", "1") and f'{current}="' in labels
        if families[current] == "info":
            assert number == "1"
    assert len(families) >= 10


def test_what_a_collector_wants_to_know() -> None:
    lines = exposition(Fakes()).splitlines()
    assert 'warmwell_verdict{warmwell_verdict="not_ready"} 1' in lines
    assert 'warmwell_verdict{warmwell_verdict="ready"} 0' in lines
    assert 'warmwell_condition{condition="reservoir",warmwell_condition="unmet"} 1' in lines
    assert 'warmwell_point_value{point="reservoir",role="reservoir_temperature",unit="Cel"} 31.4375' in lines
    assert 'warmwell_alarm_unacknowledged{alarm="reservoir_cold",priority="medium"} 1' in lines
    assert 'warmwell_alarm_active{alarm="outlet_tripped:heater",priority="high"} 0' in lines
    assert "warmwell_journal_entries_total 7" in lines
    assert "warmwell_first_case_timestamp_seconds 1773648000.0" in lines
    assert 'warmwell_build_info{site="harbour-lane",station="scope-room-2",version="0.1.0"} 1' in lines


def test_of_several_basins_each_has_its_verdict() -> None:
    fakes = Fakes()
    assert "warmwell_basin_verdict" not in exposition(fakes)
    basins = [of_basin("left", "ready"), of_basin("right", "unknown")]
    fakes.judge.show(verdict=dict(fakes.judge.newest.verdict) | {"verdicts": basins})
    lines = exposition(fakes).splitlines()
    assert 'warmwell_basin_verdict{basin="left",warmwell_basin_verdict="ready"} 1' in lines
    assert 'warmwell_basin_verdict{basin="right",warmwell_basin_verdict="ready"} 0' in lines


def test_a_point_without_a_value_has_no_sample() -> None:
    text = exposition(Fakes())
    assert 'warmwell_point_value{point="between"' not in text
    assert 'warmwell_point_quality{point="between",warmwell_point_quality="bad"} 1' in text


@pytest.mark.parametrize("ident", ['a"b', "a\\b", "a\nb"])
def test_odd_names_are_escaped(ident: str) -> None:
    fakes = Fakes()
    fakes.judge.show(points={ident: point(ident, "leak", 0.0, "1", ("dry", ""))})
    for line in exposition(fakes).splitlines():
        assert line.startswith("#") or SAMPLE.fullmatch(line), line


def test_both_forms_have_the_same_samples() -> None:
    """The older one has neither UNIT nor EOF, a family is named as its samples are, and a kind that it doesn't know is a gauge."""
    older, newer = exposition(Fakes(), is_open=False), exposition(Fakes())
    assert [one for one in older.splitlines() if one[0] != "#"] == [one for one in newer.splitlines() if one[0] != "#"]
    kinds = re.findall(r"^# TYPE (\S+) (\S+)$", older, re.MULTILINE)
    assert set(dict(kinds).values()) == {"counter", "gauge"} and ("warmwell_journal_entries_total", "counter") in kinds
    assert "# EOF" not in older and "# UNIT" not in older and '\\"' not in older


def test_an_alarm_that_is_put_aside_does_not_stand() -> None:
    fakes = Fakes()
    states = ["acknowledged", "returned_unacknowledged", "shelved", "suppressed_by_design", "latched_unacknowledged"]
    fakes.judge.show(alarms={f"of_{state}": alarm(f"of_{state}", state) | {"active": True} for state in states})
    stands = re.findall(r'warmwell_alarm_standing\{alarm="of_(\w+)",priority="medium"\} ([01])', exposition(fakes))
    assert dict(stands) == dict(zip(states, "10001", strict=True))


def test_the_first_case_is_told_by_the_stations_hours_and_only_by_a_clock_to_be_trusted() -> None:
    """Dublin keeps winter time until 29 March 2026: 08:00 on Monday the 16th is 08:00 UTC, on Monday the 30th 07:00 UTC."""
    fakes = Fakes()
    fakes.judge.show(settings=replace(SETTINGS, timezone="Europe/Dublin", hours={0: (480, 1020)}))
    winter = replace(fakes.judge.newest, now=Now(0, START_MS, True))
    assert metrics.first_case_s(winter) == 1_773_648_000.0  # 2026-03-16T08:00:00Z
    summer = replace(winter, now=Now(0, START_MS + 14 * 86_400_000, True))
    assert metrics.first_case_s(summer) == 1_773_648_000.0 + 14 * 86_400 - 3600
    closed = replace(winter, now=Now(0, START_MS + 86_400_000, True))
    assert metrics.first_case_s(closed) is None
    assert metrics.first_case_s(replace(winter, now=Now(0, START_MS, False))) is None
    assert metrics.first_case_s(replace(winter, settings=replace(SETTINGS, hours=None))) is None


#: RFC 9110, 12.5.1, its example and the table behind it
EXAMPLE = "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5"


@pytest.mark.parametrize(
    ("kind", "parameters", "liked"),
    [
        ("text/plain", {"format": "flowed"}, 1.0), ("text/plain", {}, 0.7), ("text/html", {}, 0.3), ("image/jpeg", {}, 0.5),
        ("text/plain", {"format": "fixed"}, 0.4), ("text/html", {"level": "3"}, 0.3),
    ],
)  # fmt: skip
def test_accept_as_the_standard_has_it(kind: str, parameters: dict[str, str], liked: float) -> None:
    assert quality(EXAMPLE, kind, parameters) == liked


#: what Prometheus 2.42 and 3 ask with (from memory of their source; the former is run in tests/integration/test_prometheus.py)
OF_2 = (
    "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,"
    "text/plain;version=0.0.4;q=0.5,*/*;q=0.1"
)
OF_3 = (
    "application/openmetrics-text;version=1.0.0;escaping=allow-utf-8;q=0.6,application/openmetrics-text;version=0.0.1;q=0.5,"
    "text/plain;version=1.0.0;escaping=allow-utf-8;q=0.4,text/plain;version=0.0.4;q=0.3,*/*;q=0.2"
)


@pytest.mark.parametrize(
    ("header", "is_open"),
    [
        ("", False), ("*/*", False), ("text/html,*/*;q=0.8", False), (OF_2, True), (OF_3, True),
        ("application/openmetrics-text", True), ("application/openmetrics-text;version=0.0.1", False),
        ("application/openmetrics-text;q=0.5, text/plain;q=0.5", False), ("application/openmetrics-text;q=0.4, text/plain", False),
        ("application/openmetrics-text;q=0", False), ("text/plain;q=0, */*;q=0.1", True), ("image/png", False),
        ("application/openmetrics-text;q=2", False), ("application/openmetrics-text;q=nan", False), (";;,q=,/", False),
        ("APPLICATION/OpenMetrics-Text; Version=1.0.0; charset=\"UTF-8\"", True), ("application/openmetrics-text," * 200, False),
    ],
)  # fmt: skip
def test_open_metrics_is_given_where_it_is_liked_better(header: str, is_open: bool) -> None:
    assert metrics.preferred(header) == (metrics.OPEN if is_open else metrics.TEXT)
