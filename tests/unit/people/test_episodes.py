"""What was refused becomes one entry for an episode, and no flood fills the journal."""

from __future__ import annotations

from edge.clock import FastClock
from edge.people.episodes import (
    HOUR_MS,
    LONGEST_MS,
    MOST_AN_HOUR,
    MOST_OPEN,
    OTHERS,
    QUIET_MS,
    Episodes,
    note_at_border,
)

DAY_MS = 24 * HOUR_MS


def test_an_episode_is_one_entry_with_its_count() -> None:
    episodes = Episodes()
    for now_ms in (0, 1000, 4000):
        episodes.note("wrong_code", now_ms, address="192.0.2.1")
    assert episodes.over(4000 + QUIET_MS - 1) == []
    assert episodes.over(4000 + QUIET_MS) == [
        {"what": "wrong_code", "tries": 3, "address": "192.0.2.1", "lasted_s": 4.0}
    ]
    assert episodes.over(DAY_MS) == []


def test_what_differs_is_told_apart() -> None:
    episodes = Episodes()
    episodes.note("role", 0, name="M. Osei", role="viewer", address="192.0.2.1", record="calibration")
    episodes.note("role", 1, name="J. Lund", role="technician", address="192.0.2.1", record="filter_change")
    episodes.note("no_proof", 2, name="M. Osei", role="viewer", address="192.0.2.1", record="note")
    bodies = episodes.over(DAY_MS)
    assert bodies[0] == {
        "what": "role", "tries": 1, "name": "M. Osei", "role": "viewer", "address": "192.0.2.1", "record": "calibration",
    }  # fmt: skip
    assert [(body["what"], body.get("name")) for body in bodies] == [
        ("role", "M. Osei"), ("role", "J. Lund"), ("no_proof", "M. Osei"),
    ]  # fmt: skip


def test_one_that_never_ends_is_told_now_and_then() -> None:
    episodes, bodies = Episodes(), []
    for now_ms in range(0, 6 * LONGEST_MS, 1000):
        episodes.note("not_signed_in", now_ms, address="192.0.2.1")
        bodies += episodes.over(now_ms)
    assert len(bodies) in (5, 6) and all(body["tries"] <= LONGEST_MS // 1000 + 1 for body in bodies)


def test_a_day_of_floods_from_everywhere_fills_no_journal_and_loses_no_count() -> None:
    episodes, bodies, noted = Episodes(), [], 0
    for now_ms in range(0, DAY_MS, 27_000):
        for place in range(2 * MOST_OPEN):
            episodes.note("wrong_code", now_ms, address=f"198.51.{now_ms // 27_000 % 250}.{place}")
            noted += 1
        bodies += episodes.over(now_ms)
    bodies += episodes.over(DAY_MS, all_of_them=True)
    assert len(bodies) <= 26 * MOST_AN_HOUR, "some hundred kilobytes a day at most"
    assert sum(body["tries"] for body in bodies) == noted
    assert any(body["address"] == OTHERS for body in bodies)


def test_the_stop_hands_over_what_is_under_way() -> None:
    episodes = Episodes()
    episodes.note("signed_in", 5, name="M. Osei", role="biomed", address="127.0.0.1")
    assert episodes.over(5) == [] and len(episodes.over(5, all_of_them=True)) == 1


def test_of_what_is_refused_at_the_border_only_foreign_hosts_and_sites_are_told() -> None:
    episodes, clock = Episodes(), FastClock(1.0, 0, mono_ns=lambda: 0)
    for why in ("host", "host", "origin", "connections", "handshake", "plain"):
        note_at_border(episodes, clock, why, "2001:db8::7")
    bodies = episodes.over(clock.mono_ms(), all_of_them=True)
    assert bodies == [
        {"what": "foreign_host", "tries": 2, "address": "2001:db8::/64"},
        {"what": "foreign_origin", "tries": 1, "address": "2001:db8::/64"},
    ]
