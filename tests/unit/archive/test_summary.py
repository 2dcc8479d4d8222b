"""What the list tells of a station out of what it said: whatever comes is summed up, and what can't be read is never ready."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from edge.archive.summary import FAR, NEVER, Summary, summary_of

NOW = datetime(2026, 3, 17, 15, 1, tzinfo=UTC)  # a minute after the examples that the project publishes
EXAMPLES = json.loads((Path(__file__).parents[3] / "edge/mqtt/examples.json").read_text(encoding="utf-8"))["messages"]
ODD: tuple[Any, ...] = (
    None,
    True,
    -1,
    1e400,
    2**70,
    "",
    "\0\udc00",
    "9999-12-31T23:59:59Z",
    [],
    ["ready"],
    {},
    {"due_at": []},
    [[{}]],
)


def summed(**changed: Any) -> Summary:
    said = {
        "node": EXAMPLES["node"], "verdict": EXAMPLES["verdict"], "alarm/outlet_tripped/heater": EXAMPLES["alarm"] | {
            "fresh_until": "2026-03-17T15:20:00.000Z"
        },
        "estimate/filter/fine/left": {
            "of": "filter:fine:left", "at": "2026-03-17T15:00:00.000Z", "value": 12.5, "fresh_until": "2026-03-17T15:03:00.000Z"
        },
    } | changed  # fmt: skip
    return summary_of({topic: (json.dumps(one).encode(), NOW) for topic, one in said.items()})


def test_the_published_examples_are_summed_up() -> None:
    found = summed()
    assert (found.title, found.timezone, found.node) == ("Scope room 2, left bench", "Europe/Dublin", "online")
    assert (found.verdict, found.display, found.alarm, found.alarms) == ("ready", "ready", 3, 1)
    assert found.said_at == datetime(2026, 3, 17, 15, tzinfo=UTC) == found.heard_at
    assert found.silent_at == datetime(2026, 3, 17, 15, 3, tzinfo=UTC), "its fresh_until"
    assert (
        found.filters_due == datetime(2026, 3, 17, 15, tzinfo=UTC) + timedelta(days=12.5)
        and found.calibration_due == FAR
    )


def test_a_station_that_is_lost_or_stopped_is_silent_at_once_and_nothing_heard_is_unknown() -> None:
    assert summed(node=EXAMPLES["node_lost"]).silent_at == NOW
    nothing = summary_of({})
    assert (nothing.verdict, nothing.display, nothing.silent_at, nothing.heard_at) == (
        "unknown",
        "cant_tell",
        NEVER,
        NEVER,
    )


def test_whatever_a_message_says_is_summed_up_and_never_ready_without_a_word_and_a_time() -> None:
    """The database's columns take each: texts without U+0000 and halves of characters, times from 1970 to 9999."""
    for topic in ("node", "verdict", "alarm/outlet_tripped/heater", "estimate/filter/fine/left"):
        whole = {"node": EXAMPLES["node"], "verdict": EXAMPLES["verdict"]}.get(topic, EXAMPLES["alarm"])
        for key in (*whole, "duty", "value", ""):
            for odd in ODD:
                found = summed(**{topic: whole | {key: odd} if key else odd})
                for one in found:
                    if isinstance(one, str):
                        assert "\0" not in one.encode().decode()
                    if isinstance(one, datetime):
                        assert NEVER <= one <= FAR
                if topic == "verdict" and key in ("", "verdict", "at"):
                    assert found.verdict == "unknown" and found.display == "cant_tell", (key, odd)
