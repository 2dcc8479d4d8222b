"""What a station file that was edited between two starts, or under a running daemon, may not take away."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.store.verify import verify
from tests.integration.daemon_kit import STATION, Daemon, until

TEST = '\n[daily_test]\ndeliver = {{ volume = "100 mL", within = "15 s" }}\nmeasure = "weak ports"\n'


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path, text=STATION + TEST)
    yield made
    made.end()


def no_hold(daemon: Daemon) -> dict[str, Any]:
    _, verdict = daemon.get("/api/1/verdict")
    return {c["id"]: c for c in verdict["conditions"]}["no_hold"]


@pytest.mark.parametrize("how", ["restart", "killed", "reload"])
def test_a_test_that_is_due_stays_so_when_its_section_is_taken_out(daemon: Daemon, how: str) -> None:
    daemon.start()
    assert no_hold(daemon)["state"] == "met"
    daemon.text = STATION
    if how == "reload":
        daemon.write()
        daemon.send(signal.SIGHUP)
    else:
        daemon.stop(signal.SIGTERM if how == "restart" else signal.SIGKILL)
        daemon.write()
        daemon.start()
    held = until(lambda: (c := no_hold(daemon))["state"] == "unknown" and c, why=daemon.log())
    assert "daily test (no daily test on record)" in held["text"]
    daemon.stop()
    assert verify(daemon.keep).ok
    daemon.start()
    assert no_hold(daemon)["state"] == "unknown"  # the same file: no news, and no end of it
    assert [entry["kind"] for entry in daemon.entries()].count("duty_dropped") == 1
    assert daemon.record(record="release")[0] == 200
    assert no_hold(daemon)["state"] == "met"
    daemon.stop()
    daemon.start()
    assert no_hold(daemon)["state"] == "met"
