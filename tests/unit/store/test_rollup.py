"""Spans: each figure against its definition, worked by hand or by a slow second way."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.readings import Quality
from edge.store.rollup import HOUR_MS, MINUTE_MS, Read, Spans, fold, regroup

GOOD, BAD, UNCERTAIN = Quality.GOOD, Quality.BAD, Quality.UNCERTAIN


def minutes(readings: list[Read], hold_ms: int = 10_000, end_ms: int = 10 * MINUTE_MS) -> Spans:
    spans: Spans = {}
    fold(readings, hold_ms, 0, end_ms, MINUTE_MS, spans)
    return spans


def test_the_mean_is_weighted_by_time_not_by_readings() -> None:
    # 10 for 20 s from one reading, 40 for 10 s from ten: (10 * 20 + 40 * 10) / 30 = 20
    readings: list[Read] = [
        (0, 10.0, GOOD, None),
        *((20_000 + i * 1000, 40.0, GOOD, None) for i in range(10)),
        (30_000, None, BAD, "crc"),
    ]
    span = minutes(readings, hold_ms=20_000)[0]
    assert (span.n, span.low, span.high, span.mean(), span.covered_ms) == (11, 10.0, 40.0, 20.0, 30_000)


def test_a_gap_stays_a_gap() -> None:
    spans = minutes([(0, 5.0, GOOD, None), (175_000, 7.0, GOOD, None)])
    assert sorted(spans) == [0, 2, 3]  # nothing in the minute between
    assert spans[0].covered_ms == 10_000  # the stale limit, no longer
    assert spans[2].covered_ms + spans[3].covered_ms == 10_000


def test_a_bad_reading_ends_what_stood_before_it() -> None:
    span = minutes(
        [(0, 5.0, GOOD, None), (2_000, None, BAD, "crc"), (8_000, 6.0, UNCERTAIN, "settling")], end_ms=9_000
    )[0]
    assert (span.n, span.covered_ms, span.worst) == (2, 3_000, 2)
    assert span.mean() == pytest.approx((5.0 * 2 + 6.0 * 1) / 3)


def test_a_reading_before_the_stretch_lends_only_its_value() -> None:
    spans: Spans = {}
    fold([(0, 5.0, GOOD, None), (9_000, 6.0, GOOD, None)], 60_000, 0, 12_000, MINUTE_MS, spans, begin_mono_ms=8_000)
    assert (spans[0].n, spans[0].low, spans[0].covered_ms) == (1, 5.0, 4_000)


def test_a_volume_is_a_total_whatever_the_spans() -> None:
    # 6 L/min for ten minutes is 60 L
    spans = minutes([(i * 1000, 6.0, GOOD, None) for i in range(600)])
    assert sum(span.integral for span in spans.values()) / MINUTE_MS == pytest.approx(60.0)
    (whole,) = regroup(spans, MINUTE_MS, HOUR_MS).values()
    assert whole.integral / MINUTE_MS == pytest.approx(60.0)


values = st.none() | st.floats(-100, 100).map(lambda v: round(v, 3))
stories = st.lists(
    st.tuples(st.integers(0, 200), values, st.sampled_from([GOOD, UNCERTAIN]), st.sampled_from(["crc", "no_answer"])),
    min_size=1,
    max_size=25,
).map(
    lambda rows: sorted(
        ((at, value, BAD if value is None else q, why if value is None else None) for at, value, q, why in rows),
        key=lambda r: r[0],
    )
)


@given(stories, st.integers(1, 60), st.integers(1, 50))
def test_every_millisecond_is_counted_as_a_slow_second_way_does(story: list[Read], hold_ms: int, width: int) -> None:
    spans: Spans = {}
    fold(story, hold_ms, 0, 230, width, spans)
    standing: dict[int, float] = {}
    for index, (at, value, *_) in enumerate(story):
        until = story[index + 1][0] if index + 1 < len(story) else 230
        if value is not None:
            standing |= dict.fromkeys(range(at, min(at + hold_ms, until, 230)), value)
    for index in range(230 // width + 1):
        stood = [standing[ms] for ms in range(index * width, (index + 1) * width) if ms in standing]
        span = spans.get(index)
        assert len(stood) == (span.covered_ms if span else 0)
        if span and stood:
            assert span.mean() == pytest.approx(sum(stood) / len(stood), abs=1e-9)
        seen = [(v, why) for at, v, _, why in story if at // width == index]
        assert (span.n if span else 0) == sum(v is not None for v, _ in seen)
        assert (span.reason if span else None) == next((why for v, why in reversed(seen) if v is None), None)


@given(stories, st.integers(1, 60))
def test_minutes_make_the_hour_that_a_direct_fold_makes(story: list[Read], hold_ms: int) -> None:
    fine: Spans = {}
    coarse: Spans = {}
    fold(story, hold_ms, 0, 230, 10, fine)
    fold(story, hold_ms, 0, 230, 60, coarse)
    drawn = regroup(fine, 10, 60)
    assert drawn.keys() == coarse.keys()
    for index, span in coarse.items():
        other = drawn[index]
        assert (span.n, span.low, span.high, span.covered_ms, span.worst, span.reason) == (
            other.n, other.low, other.high, other.covered_ms, other.worst, other.reason,
        )  # fmt: skip
        assert span.integral == pytest.approx(other.integral, abs=1e-6)
