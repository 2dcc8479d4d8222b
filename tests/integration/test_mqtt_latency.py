"""The bench of tests/bench/alarm_latency.py, short: it runs, and an alarm is told well under the limit of 100 ms.

On a busy machine a bare publish of the same bytes, in the same run, takes longer, too: then that is the yardstick.
"""

from __future__ import annotations

from tests.bench.alarm_latency import LIMIT_MS, as_text, run
from tests.integration.mqtt_kit import NEEDS_MOSQUITTO

pytestmark = NEEDS_MOSQUITTO

#: judge, sync to the disk, publisher: of four threads each may wait for a processor as the bare publish's one does
TIMES_BARE = 8.0


def test_an_alarm_reaches_the_subscriber_in_time() -> None:
    result = run(40)
    print(as_text(result))
    for topic in ("journal", "alarm"):
        assert result[topic]["n"] == 40
        assert result[topic]["p50_ms"] < max(LIMIT_MS, TIMES_BARE * result["bare"]["p50_ms"])
    assert result["bare"]["p50_ms"] > 0
