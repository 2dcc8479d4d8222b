"""`warmwell status`: what people do next stands in the order of its dates, whatever else the alarms say."""

from __future__ import annotations

from edge.cli.ask import due_lines


def test_what_is_due_next_comes_first() -> None:
    alarms = [
        {
            "id": "filter_due:fine",
            "duty": {"due_at": "2026-09-16T16:30:00.000Z", "text": "done on 2026-03-16 by kim; due from 2026-09-16 on"},
        },
        {"id": "duty_due:daily_test", "duty": {"due_at": "2026-03-17T00:00:00.000Z", "text": "done today"}},
        {"id": "filter_due:coarse", "duty": {"due_at": None, "text": "none on record"}},
        {"id": "leak"},
    ]
    assert due_lines(alarms) == [
        "Due again:",
        "  duty_due:daily_test: done today",
        "  filter_due:fine: done on 2026-03-16 by kim; due from 2026-09-16 on",
    ]
    assert due_lines(alarms[2:]) == []
