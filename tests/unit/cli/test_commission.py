"""`warmwell commission` on a terminal, with a station behind it that is none of its own making: guided, interrupted, gone on with.

What is recorded and shown is the station's; the answers' words are this project's own. 1 psi is 6.894757 kPa (SP 811 of NIST, from memory).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from edge.api.commissioning import _told
from edge.cli import commission
from edge.domain.errors import UnusableInput
from edge.domain.words.saying import Words
from edge.domain.words.units import Units
from edge.snapshot import Snapshot
from tests.unit.stations import DRAWING, PSI, QUIET
from tests.unit.stories.test_commissioning import Bench

URL = "http://127.0.0.1:8484/"


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    """A station behind the client."""
    made = Bench()
    made.run(60, DRAWING)
    made.run(60, QUIET)

    def get(url: str, path: str, timeout_s: float = 10.0) -> dict[str, Any]:
        if path == "/api/1/commissioning":
            station, now = made.station, made.now
            snapshot = Snapshot(
                1, 1, now, station.verdict(now), settings=station.settings, commissioning=station.commissioning(now)
            )  # type: ignore[arg-type]  # as the judge makes it
            return json.loads(
                json.dumps(_told(snapshot, Words(Units(station.settings, list(station.settings.points)))))
            )  # type: ignore[no-any-return]
        after = int(path.partition("after=")[2].partition("&")[0])
        return {"entries": [e.as_json() for e in made.said if e.seq > after][:1]}

    def post(body: dict[str, Any], url: str, timeout_s: float = 15.0) -> dict[str, Any]:
        made.run(1, QUIET)
        return {"seq": made.record(**body)[0].seq, "led_to": []}

    monkeypatch.setattr("edge.cli.client.get", get)
    monkeypatch.setattr("edge.cli.client.record", post)
    yield made


def answers(*said: str) -> Callable[[str], str]:
    """What somebody types, one line after the other; then the terminal is gone."""
    lines = iter(said)

    def ask(prompt: str) -> str:
        line = next(lines, None)
        if line is None:
            raise EOFError
        return line

    return ask


def test_it_guides_is_interrupted_and_goes_on_where_it_was(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    before = len(bench.items())
    said = (
        "no",
        "it has a loop",
        "yes",
        "skip",
        "na it hangs from the wall",
        "stop",
    )  # standpipe fails, so it stays open
    assert commission.guide("M. Osei", URL, answers(*said)) == 0
    out = capsys.readouterr().out
    assert "Stopped. What is recorded stays" in out and f"{before - 2} of {before} items" in out
    assert "standpipe at least 1 ft" in out and "! Disinfectant: gloves" in out
    assert (bench.state("standpipe"), bench.text("standpipe")) == ("failed", "it has a loop")
    assert (bench.state("shut_off"), bench.state("housings"), bench.state("reservoir_below")) == (
        "passed",
        "open",
        "not_applicable",
    )
    assert (
        commission.guide("A. Berg", URL, answers("yes", "yes")) == 0
    )  # the failed one first, then the one that was left
    assert (bench.state("standpipe"), bench.state("housings")) == ("passed", "passed")
    assert str(bench.items()["standpipe"].by.value if bench.items()["standpipe"].by else "") == "A. Berg"


def test_numbers_are_taken_as_the_station_has_them_or_as_they_are_typed(
    bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    assert commission.one("static", "kim", (), URL, answers("", "take")) == 0  # Enter looks again
    assert "55.0 psi (40.0 psi to 60.0 psi), measured by the station" in capsys.readouterr().out
    assert commission.one("static", "kim", (), URL, answers("38 psi")) == 0 and bench.state("static") == "failed"
    assert commission.one("bucket", "kim", (), URL, answers("take", "9 L", "60 s", "")) == 0
    assert bench.state("bucket") == "passed" and "meter +0.0%" in bench.text("bucket")
    assert (
        commission.one("decay", "kim", (), URL, answers("take", "55.4 psi", "")) == 0
        and bench.state("decay") == "passed"
    )
    assert commission.one("zero:supply", "kim", ["value=0.2 psi"], URL) == 0 and bench.state("zero:supply") == "passed"
    capsys.readouterr()
    assert commission.one("restart", "kim", ["passed=yes"], URL) == 2, "kept, and it doesn't count"
    assert "only that can" in capsys.readouterr().out


def test_a_decay_is_begun_shown_and_ended_by_the_station(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    def pause(_: float) -> None:
        bench.run(60, QUIET | {"supply": 54.5 * PSI}, every_s=5)

    assert commission.one("decay", "kim", (), URL, answers("begin"), pause=pause) == 0
    out = capsys.readouterr().out
    assert "! Under pressure: relieve it before anything is opened" in out.splitlines()[-1]
    assert "600 s" not in out and "begun at 55.0 psi" in out and "; fell by 0.5 psi in " in out, out
    assert (
        "passed: fell by 0.5 psi in 10 min" in out
        and "timed by the station" in out
        and bench.state("decay") == "passed"
    )
    # another terminal finds it under way, and sees why it gives no number
    bench.run(30, QUIET)
    assert commission.one("decay", "kim", ("timing=begins",), URL) == 0
    capsys.readouterr()
    assert commission.one("decay", "lee", (), URL, answers(), pause=lambda _: bench.run(3, DRAWING)) == 2
    assert "not usable: water flowed while the valve was to be shut" in capsys.readouterr().out


def test_the_list_is_printed_and_a_wrong_item_is_refused_with_the_nearest(
    bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.found("shut_off", passed=True)
    assert commission.show(URL) == 0
    out = capsys.readouterr().out
    assert "  passed           Stop valve (shut_off): early technician, entry" in out and out.endswith(
        "items are still to be done.\n"
    )
    assert commission.show(URL, as_json=True) == 0
    assert {one["id"]: one["state"] for one in json.loads(capsys.readouterr().out)["items"]}["shut_off"] == "passed"
    with pytest.raises(UnusableInput, match="nearest: standpipe"):
        commission.one("standpip", "kim", ["passed=yes"], URL)
