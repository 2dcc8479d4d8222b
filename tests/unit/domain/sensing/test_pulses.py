"""Flow from pulses. f = K Q / 60 and V = N / K are the definition of a meter's K factor (its handbook rows: test_flow_units.py);
here is what bounce, lost edges and slow flows make of it. Numbers of edges and pulses are counted in the tests themselves.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.domain.sensing.pulses import PulseMeter, Step, counter_step

S = 1_000_000_000
MS = 1_000_000
K = 450.0  # pulses a litre
MAXIMUM = 30.0  # L/min: 225 Hz, 4.44 ms


def numbered(times, first=1):
    return [(round(at), first + n) for n, at in enumerate(times)]


def heard(meter, edges, every_ns=S // 2, until_ns=None):
    """Feed edges period by period, as an adapter does; every reading as (time, told)."""
    edges, said = list(edges), []
    at = 0
    end = until_ns if until_ns is not None else edges[-1][0]
    while at < end:
        at += every_ns
        now = [edge for edge in edges if edge[0] <= at]
        edges = edges[len(now) :]
        meter.hear(now, at)
        said.append((at, meter.tell(at)))
    return said


def test_flow_and_volume_of_a_steady_draw():
    # 60 pulses a second of a meter of 450 a litre are 8 L/min: row f.pulse.inv of the check values
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered(S + n * S / 60 for n in range(601)))
    assert [told.l_min for _, told in said[2:-1]] == pytest.approx([8.0] * (len(said) - 3), rel=1e-6)
    assert meter.volume_l == pytest.approx(601 / 450)
    assert {told.reason for _, told in said} == {None}


# -- bounce


def test_500_pulses_at_15_hz_each_with_one_to_three_edges_more_within_5_ms():
    rng = random.Random(7)
    times = []
    for n in range(500):
        at = S + n * S / 15
        times += [at, *sorted(at + rng.uniform(0.05, 5.0) * MS for _ in range(rng.randint(1, 3)))]
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered(times), until_ns=36 * S)
    assert abs(meter.pulses - 500) <= 5
    assert meter.rejected == len(times) - meter.pulses
    steady = [told.l_min for at, told in said if 3 * S < at < 33 * S]
    assert steady == pytest.approx([2.0] * len(steady), rel=0.02)  # 15 Hz * 60 / 450


@pytest.mark.parametrize("maximum_l_min, counted", [(30.0, 100), (300.0, 200)])
def test_the_shortest_spacing_comes_from_the_meters_maximum(maximum_l_min, counted):
    # edges 2 ms apart: bounce for a meter of at most 225 Hz, two pulses for one of 2250 Hz
    times = [at for n in range(100) for at in (S + n * 4 * MS * 10, S + n * 4 * MS * 10 + 2 * MS)]
    meter = PulseMeter(K, maximum_l_min)
    heard(meter, numbered(times), until_ns=10 * S)
    assert (meter.pulses, meter.rejected) == (counted, 200 - counted)


@pytest.mark.parametrize("l_min", [16.0, 20.0, 29.9, 36.0])
def test_a_flow_near_the_maximum_is_no_bounce(l_min):
    hz = K * l_min / 60
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered(S + n * S / hz for n in range(int(hz * 10))))
    assert meter.rejected == 0
    assert said[-2][1].l_min == pytest.approx(l_min, rel=1e-6)


def test_a_flow_that_doubles_and_doubles_again_within_a_pulse_is_followed():
    times, at = [], S
    for spacing_ms in (60, 30, 15, 7.5, 5):
        for _ in range(20):
            at += spacing_ms * MS
            times.append(at)
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered(times))
    assert (meter.pulses, meter.rejected) == (100, 0)
    assert said[-1][1].reason is None


@settings(max_examples=60, deadline=None)
@given(
    hz=st.floats(0.1, 60.0),
    bounces=st.lists(st.lists(st.floats(0.01, 3.4), max_size=4), min_size=5, max_size=80),
)
def test_bounce_within_the_shortest_spacing_never_counts(hz, bounces):
    # 225 Hz with a quarter to spare: 3.55 ms; pulses up to 60 Hz are 16 ms apart
    times = [
        at
        for n, extra in enumerate(bounces)
        for at in (S + n * S / hz, *(S + n * S / hz + ms * MS for ms in sorted(extra)))
    ]
    meter = PulseMeter(K, MAXIMUM)
    meter.hear(numbered(times), round(times[-1]))
    meter.tell(round(times[-1]) + S)
    assert meter.pulses == len(bounces)
    assert meter.rejected == sum(map(len, bounces))


def test_interference_is_said():
    rng = random.Random(3)
    times = sorted(rng.uniform(S, 3 * S) for _ in range(6000))  # 3 kHz on a meter of at most 225 Hz
    meter = PulseMeter(K, MAXIMUM)
    assert {told.reason for at, told in heard(meter, numbered(times)) if at > 3 * S // 2} == {"edges_noisy"}


@pytest.mark.parametrize("every_ns", [S // 2, S, 4 * S])
@pytest.mark.parametrize("hz", [500, 900, 2000])
def test_a_wet_joint_adds_no_water_to_the_total_and_a_draw_before_and_after_it_counts(hz, every_ns):
    # 900 edges a second for 9.5 s on a meter of at most 225 Hz, between two draws of 300 pulses at 60 a second
    draws = [[at + n * S / 60 for n in range(300)] for at in (S, 30 * S)]
    joint = [14 * S + n * S / hz for n in range(round(9.5 * hz))]
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered([*draws[0], *joint, *draws[1]]), every_ns, 40 * S)
    assert abs(meter.pulses - 600) <= 2
    assert meter.withheld > 1000
    assert {told.reason for at, told in said if 14 * S + every_ns < at <= 23 * S} == {"edges_noisy"}
    assert {told.reason for at, told in said if at < 14 * S} == {None}


def test_pulses_of_a_line_that_is_taken_anew_before_they_were_told_are_counted():
    meter = PulseMeter(K, MAXIMUM)
    meter.hear(numbered(S + n * S / 60 for n in range(60)), 2 * S)
    meter.begin(2 * S)
    assert meter.pulses == 60


# -- lost edges


def lossy(times, is_lost):
    return [edge for edge in numbered(times) if not is_lost(edge[1])]


def test_16_of_200_edges_lost_are_counted_and_said_and_the_flow_is_not_low():
    # line sequence numbers 1...100, 117...200, times continuous
    times = [S + n * S / 60 for n in range(200)]
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, lossy(times, lambda number: 100 < number < 117), every_ns=4 * S)
    assert (meter.pulses, meter.lost, meter.recovered) == (200, 16, 16)
    assert said[0][1].l_min == pytest.approx(8.0, rel=1e-6)
    assert (said[0][1].reason, said[0][1].detail) == ("edges_lost", "16 edges lost")


def test_a_queue_that_kept_only_the_last_16_of_400_edges_counts_all():
    times = [S + n * S / 80 for n in range(400)]
    meter = PulseMeter(K, MAXIMUM)
    meter.hear(lossy(times, lambda number: number <= 384), 6 * S)
    told = meter.tell(6 * S)
    assert meter.pulses == 400
    assert told.reason == "edges_lost"


@settings(max_examples=60, deadline=None)
@given(hz=st.floats(2.0, 200.0), lost=st.sets(st.integers(2, 119), max_size=100), every_ms=st.integers(50, 5000))
def test_no_pattern_of_loss_makes_a_total_low_or_goes_unsaid(hz, lost, every_ms):
    times = [S + n * S / hz for n in range(120)]
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, lossy(times, lost.__contains__), every_ns=every_ms * MS)
    assert meter.pulses == 120
    assert meter.lost == len(lost)
    assert bool(lost) == any(told.reason == "edges_lost" for _, told in said)


def test_of_lost_edges_among_bounce_only_the_usual_share_is_counted():
    # each pulse gives two edges more; 30 edges that nobody saw were 10 pulses
    times = [at for n in range(400) for at in (S + n * S / 15, S + n * S / 15 + MS, S + n * S / 15 + 2 * MS)]
    meter = PulseMeter(K, MAXIMUM)
    heard(meter, lossy(times, lambda number: 900 < number <= 930), until_ns=29 * S)
    assert meter.pulses == pytest.approx(400, abs=3)


# -- slow flows


def test_one_pulse_in_40_s_is_told_from_the_time_between_pulses():
    meter = PulseMeter(K, MAXIMUM)
    said = heard(meter, numbered((10 + 40 * n) * S for n in range(20)))
    late = [told.l_min for at, told in said if at > 51 * S]
    assert late == pytest.approx([60 / (450 * 40)] * len(late), rel=0.02)  # Q = 60 f / K, f = 1/40 Hz


def test_when_the_next_pulse_is_overdue_the_flow_falls_and_then_is_zero():
    meter = PulseMeter(K, MAXIMUM)
    said = dict(heard(meter, numbered((10 + 10 * n) * S for n in range(5)), every_ns=S, until_ns=100 * S))
    at_last = 60 / (450 * 10)
    assert said[50 * S].l_min == pytest.approx(at_last)
    assert said[55 * S].l_min == pytest.approx(at_last)
    assert said[65 * S].l_min == pytest.approx(60 / (450 * 15), rel=0.01)  # one pulse in 15 s at the most
    assert said[71 * S].l_min == 0.0
    falling = [said[at * S].l_min for at in range(50, 100)]
    assert falling == sorted(falling, reverse=True)


def test_a_draw_that_stops_reads_zero_at_the_next_look_and_one_that_begins_is_not_diluted():
    times = [100 * S + n * S / 60 for n in range(300)] + [1000 * S + 10 * MS + n * S / 60 for n in range(300)]
    meter = PulseMeter(K, MAXIMUM)
    said = dict(heard(meter, numbered(times), until_ns=1010 * S))
    assert said[106 * S].l_min == 0.0
    assert said[1000 * S + S // 2].l_min == pytest.approx(8.0, rel=1e-6)  # the rest before it doesn't count
    assert said[104 * S].l_min == pytest.approx(8.0, rel=1e-6)


def test_nothing_is_told_before_a_pulse_could_have_come():
    meter = PulseMeter(K, MAXIMUM)
    meter.begin(5 * S)
    assert meter.tell(5 * S + 1).l_min is None
    assert meter.tell(6 * S).l_min == 0.0


def test_an_edge_on_its_way_is_not_overdue():
    # 200 Hz: the newest edge may reach us tens of milliseconds late
    meter = PulseMeter(K, MAXIMUM)
    meter.hear(numbered(S + n * S / 200 for n in range(100)), S + S // 2)
    assert meter.tell(S + S // 2 + 40 * MS).l_min == pytest.approx(60 * 200 / 450)


# -- numbers that are wrong


@pytest.mark.parametrize(
    "before, now, bits, most, step",
    [
        (5, 5, 32, 100, (Step.SAME, 0)),
        (5, 9, 32, 100, (Step.COUNTED, 4)),
        (2**32 - 2, 1, 32, 100, (Step.WRAPPED, 3)),
        (65_535, 0, 16, 100, (Step.WRAPPED, 1)),
        (5000, 3, 32, 100, (Step.RESET, 3)),
        (5000, 4000, 32, 100, (Step.GLITCH, 0)),
        (5, 60_000, 32, 100, (Step.GLITCH, 0)),
    ],
)
def test_wrap_reset_and_glitch_are_told_apart(before, now, bits, most, step):
    assert counter_step(before, now, bits, most) == step


def test_the_numbers_of_a_line_may_run_over_their_end():
    meter = PulseMeter(K, MAXIMUM)
    meter.begin(0)
    meter._seqno = 2**32 - 3  # as after a year of a fast meter
    edges = [(S + n * S // 60, (2**32 - 2 + n) % 2**32) for n in range(60)]
    meter.hear(edges, 2 * S)
    meter.tell(2 * S)
    assert (meter.pulses, meter.lost, meter.resets, meter.glitches) == (60, 0, 0, 0)


def test_numbers_that_begin_anew_are_a_reset_and_the_total_goes_on():
    meter = PulseMeter(K, MAXIMUM)
    meter.hear(numbered(S + n * S / 60 for n in range(200)), 5 * S)
    assert meter.tell(5 * S).reason is None
    meter.hear(numbered(10 * S + n * S / 60 for n in range(60)), 11 * S)
    told = meter.tell(11 * S)
    assert (meter.pulses, meter.resets, told.reason) == (260, 1, "edges_lost")
    assert told.l_min == pytest.approx(8.0, rel=1e-6)


def test_an_edge_told_twice_or_out_of_order_counts_once():
    edges = numbered(S + n * S / 60 for n in range(60))
    meter = PulseMeter(K, MAXIMUM)
    meter.hear([*edges, edges[-1], edges[10], (90 * S, 61)], 2 * S)  # the last one is stamped in the future
    meter.tell(2 * S)
    assert (meter.pulses, meter.glitches) == (60, 3)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(-S, 20 * S), st.integers(-5, 2**33)), max_size=60), st.integers(0, 20 * S))
def test_no_edges_whatever_make_a_total_fall_or_a_flow_negative_or_beyond_the_meter(edges, now_ns):
    meter = PulseMeter(K, MAXIMUM)
    for n, edge in enumerate(edges):
        before = (meter.pulses, meter.rejected, meter.lost, meter.glitches, meter.resets)
        meter.hear([edge], now_ns)
        if n % 3 == 0:
            told = meter.tell(now_ns)
            assert told.l_min is None or 0.0 <= told.l_min <= MAXIMUM * 1.26
        assert all(
            a >= b
            for a, b in zip(
                (meter.pulses, meter.rejected, meter.lost, meter.glitches, meter.resets), before, strict=True
            )
        )


@pytest.mark.parametrize("k, maximum", [(0.0, 30.0), (450.0, 0.0), (-1.0, 30.0)])
def test_a_meter_needs_a_factor_and_a_maximum(k, maximum):
    with pytest.raises(ValueError, match="above 0"):
        PulseMeter(k, maximum)


@pytest.mark.parametrize("every_s", [1, 3])
@pytest.mark.parametrize("hz", [900, 2000, 5000])
def test_interference_that_overflows_the_queue_is_told_as_interference(hz, every_s):
    # what the kernel keeps: the newest 1024 edges of each look
    meter, seen, reasons = PulseMeter(K, MAXIMUM), 0, []
    for look in range(1, 8):
        newest = look * every_s * hz
        meter.hear([(n * S // hz, n) for n in range(max(seen + 1, newest - 1023), newest + 1)], look * every_s * S)
        seen = newest
        reasons.append(meter.tell(look * every_s * S).reason)
    assert set(reasons[1:]) == {"edges_noisy"}
