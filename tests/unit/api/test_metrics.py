"""/metrics against the grammar of OpenMetrics 1.0 (openmetrics.io, "ABNF" and "Overall Structure")."""

from __future__ import annotations

import re

import pytest

from edge.api import metrics
from edge.api.picture import Watch
from tests.api_fakes import ABOUT, Fakes, of_basin, point

NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\[n"\\])*"'
NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[+-]?\d+)?"
SAMPLE = re.compile(rf"({NAME})(\{{(?:{LABEL}(?:,{LABEL})*)?\}})? ({NUMBER})", re.IGNORECASE)
META = re.compile(rf"# (TYPE|UNIT|HELP) ({NAME}) (.*)")
SUFFIX = {"counter": "_total", "info": "_info", "gauge": "", "stateset": ""}


def exposition(fakes: Fakes) -> str:
    watch = Watch(fakes.judge)
    seen = watch.see()
    figures = {"last_seq": 7, "streams": 2, "resident_bytes": 55_000_000}
    return metrics.text(ABOUT, watch.verdict(seen), watch.points(seen), seen.snapshot.alarms, figures)


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
