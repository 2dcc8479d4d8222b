"""The yardstick of tests that measure real time: it counts what a thread waits for a processor, and nothing else."""

from __future__ import annotations

import os
import threading
import time

import pytest

from edge.demo.held_up import waited_ns
from tests.yardstick import Yardstick

COUNTS = os.path.exists("/proc/self/schedstat")


def burn(own_s: float) -> None:
    """Use a processor for so long."""
    end_s = time.thread_time() + own_s
    while time.thread_time() < end_s:
        pass


@pytest.mark.skipif(not COUNTS, reason="this kernel doesn't count what threads wait for a processor")
def test_a_span_is_what_the_thread_ran_and_what_it_waited():
    with Yardstick() as yardstick:
        began_s, own_s = time.monotonic(), time.process_time()
        burn(0.3)
        took_s, ran_s = time.monotonic() - began_s, time.process_time() - own_s
        late_s = yardstick.late_s()
    assert took_s <= ran_s + late_s + 0.1


def test_sleep_is_no_waiting_for_a_processor():
    with Yardstick() as yardstick:
        began_s = time.monotonic()
        threading.Event().wait(0.4)
        took_s, late_s = time.monotonic() - began_s, yardstick.late_s()
    assert took_s - late_s > 0.2


def test_the_worst_span_is_no_longer_than_the_whole():
    with Yardstick() as yardstick:
        burn(0.2)
        within_s, whole_s = yardstick.late_s(0.1), yardstick.late_s()
    assert 0.0 <= within_s <= whole_s


def test_of_a_process_that_has_ended_nothing_is_counted_any_more(tmp_path):
    assert waited_ns(tmp_path / "task") == []
