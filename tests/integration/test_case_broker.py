"""A hard case of memory: a broker that comes and goes. The table of all cases, and which tests hold them, is tests/cases.toml."""

from __future__ import annotations

import os
import threading

from tests.integration.mqtt_kit import NEEDS_MOSQUITTO, Bench, Broker, bench, broker, until

pytestmark = NEEDS_MOSQUITTO
__all__ = ["bench", "broker"]  # fixtures


def test_c061_a_broker_that_comes_and_goes_leaves_no_thread_and_no_file_behind(bench: Bench, broker: Broker) -> None:
    def rounds(number: int) -> tuple[int, int]:
        for _ in range(number):
            broker.stop()
            until(lambda: not bench.status["connected"], "the loss")
            bench.add(count=20)
            broker.start()
            bench.connected()
            bench.told()
        return threading.active_count(), len(os.listdir("/proc/self/fd"))

    bench.start()
    bench.connected()
    threads, files = rounds(3)
    rounds(10)
    until(lambda: threading.active_count() <= threads, "threads end")
    until(lambda: len(os.listdir("/proc/self/fd")) <= files + 1, "sockets are closed")
