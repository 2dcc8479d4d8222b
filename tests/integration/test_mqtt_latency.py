"""The bench of tests/bench/alarm_latency.py, short: it runs, and an alarm is told well under the limit of 100 ms."""

from __future__ import annotations

from tests.bench.alarm_latency import LIMIT_MS, as_text, run
from tests.integration.mqtt_kit import NEEDS_MOSQUITTO

pytestmark = NEEDS_MOSQUITTO


def test_an_alarm_reaches_the_subscriber_in_time() -> None:
    result = run(40)
    print(as_text(result))
    for topic in ("journal", "alarm"):
        assert result[topic]["n"] == 40
        assert result[topic]["p50_ms"] < LIMIT_MS
    assert result["bare"]["p50_ms"] > 0
