"""`warmwell record` and `warmwell calibrate` against a running daemon: entered readings and calibrations survive a restart."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.integration.daemon_kit import STATION, Daemon, called, until

PEOPLE = """
[[bus]]
id = "people"
kind = "entered"

[[point]]
id = "gauge"
role = "supply_pressure"
bus = "people"
every = "8 h"
unit = "psi"

[api]"""
TOLD = ["--instrument", "thermometer 7", "--certificate", "HL-0042", "--reference-u", "0.05 K"]


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path, STATION.replace("\n[api]", PEOPLE))
    yield made.start()
    made.end()


def point(daemon: Daemon, name: str) -> dict[str, Any]:
    points = daemon.get("/api/1/points")[1]["points"]
    return dict(points[name])


def test_what_is_typed_is_the_points_reading_until_it_is_too_old_also_after_a_kill(daemon: Daemon) -> None:
    url = f"http://127.0.0.1:{daemon.port}"
    assert not [entry for entry in daemon.entries() if entry["kind"] == "bus" and entry["body"]["what"] == "lost"]
    words = ["record", "entered_reading", "--by", "early technician", "--url", url, "point=gauge"]
    code, out, err = called(*words, "value=44 psi")
    assert (code, err) == (0, "") and out.startswith("recorded: entry ")
    shown = point(daemon, "gauge")
    assert (
        shown["quality"] == "good"
        and shown["shown"] == {"value": 44.0, "unit": "psi"}
        and shown["by"] == "early technician"
    )
    code, out, err = called(*words, "value=55")
    assert code == 2 and out == "" and "55 has no unit" in err
    code, out, _ = called(*words, "value=55 degC")
    assert code == 2 and "doesn't count" in out and "no pressure with its unit" in out
    daemon.stop(signal.SIGKILL)
    daemon.start()
    shown = until(lambda: (seen := point(daemon, "gauge"))["quality"] == "good" and seen, why="it was forgotten")
    assert shown["shown"]["value"] == 44.0 and shown["by"] == "early technician"
    buckets = daemon.get("/api/1/points/gauge/readings?buckets=4")[1]["buckets"]
    assert sum(bucket["n"] for bucket in buckets) <= 1  # once, not again after the restart


def test_a_calibration_is_in_force_at_once_and_after_a_restart(daemon: Daemon) -> None:
    url = f"http://127.0.0.1:{daemon.port}"
    until(lambda: point(daemon, "reservoir")["value"] is not None)
    words = ["calibrate", "reservoir", "--by", "biomed", "--url", url, *TOLD]
    code, out, err = called(*words, "--reference", "35.0 degC=34.8 degC", "--drift-allowance", "0.3 K")
    assert (code, err) == (0, "")
    assert (
        "as found: -0.2 K" in out
        and "as left: +0 K" in out
        and "standard uncertainty: " in out
        and "0.17  drift until it is due again" in out
        and "0.029  the reference's step" in out
        and "due again: " in out
    )
    shown = until(lambda: (seen := point(daemon, "reservoir"))["value"] != seen["uncorrected"] and seen)
    assert shown["calibrated"] and shown["value"] - shown["uncorrected"] == pytest.approx(0.2)
    # GUM 5.1.2; what lies within a rectangle has its half width over root 3 (GUM 4.3.7)
    parts = shown["correction"]["u_parts"]
    assert parts["drift"] == pytest.approx(0.3 / 3**0.5) and parts["reference"] == 0.05
    assert shown["u"] == pytest.approx(sum(part**2 for part in parts.values()) ** 0.5)
    code, out, _ = called(*words, "--check", "--reference", "35 degC=34.2 degC")
    assert code == 0 and "nothing was adjusted" in out and "drift since the last calibration: -0.6 K" in out
    code, out, err = called(*words, "--reference", "35")
    assert code == 2 and out == "" and err.count("\n") == 1 and "--reference" in err
    daemon.stop()
    daemon.start()
    assert until(lambda: point(daemon, "reservoir")["calibrated"])
