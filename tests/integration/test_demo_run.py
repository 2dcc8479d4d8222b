"""`warmwell demo` as a process. The shape of its JSON lines is that of a replay (README.md)."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import re
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.domain.entries import wall_ms_of
from edge.store.verify import verify
from tests.asyncapi_kit import Contract
from tests.integration.daemon_kit import ROOT, called, finished, until, warmwell


def lines_of(out: str) -> list[dict[str, Any]]:
    """Every line is a JSON object: nothing else stands on standard output."""
    return [json.loads(line) for line in out.splitlines()]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[dict[str, Any]], Path, str]:
    """Four real seconds of the cold morning: some forty simulated minutes."""
    for left in (2, 1, 0):
        keep = tmp_path_factory.mktemp("demo") / "kept"
        code, out, err = finished(
            "demo", "--scenario", "cold-morning", "--speed", "600", "--for", "4", "--json", "--keep", keep,
            "--port", "0", "--estimates-every", "10 min",
        )  # fmt: skip
        # With several programs waiting for each processor its parts may take longer than 5 s to stop, and it says so (1).
        is_busy = os.getloadavg()[0] >= 2 * (os.cpu_count() or 1)
        if (code, err) == (0, "") or not left or not is_busy:
            break
    assert err == "" and (code == 0 or (is_busy and code == 1))
    return lines_of(out), keep, out


def test_the_lines_are_entries_verdicts_estimates_and_a_closing_summary(
    played: tuple[list[dict[str, Any]], Path, str],
) -> None:
    lines, _, _ = played
    kinds = [line["type"] for line in lines]
    assert set(kinds) == {"entry", "verdict", "estimate", "summary"}
    assert kinds.count("summary") == 1 and kinds[-1] == "summary"
    last_verdict = max(place for place, kind in enumerate(kinds) if kind == "verdict")
    assert set(kinds[last_verdict + 1 : -1]) <= {"estimate"}
    summary = lines[-1]
    assert summary["entries"] == kinds.count("entry")
    assert summary["readings"] > summary["rows"] > 100
    assert summary["alarms"]["reservoir_cold"] == 1
    assert summary["span_s"] > 1800


def test_entries_come_whole_and_in_order(played: tuple[list[dict[str, Any]], Path, str]) -> None:
    lines, keep, _ = played
    entries = [line for line in lines if line["type"] == "entry"]
    assert [entry["seq"] for entry in entries] == list(range(1, len(entries) + 1))
    assert entries[0]["kind"] == "started" and entries[-1]["kind"] == "stopped"
    assert [entry["mono_ms"] for entry in entries] == sorted(entry["mono_ms"] for entry in entries)
    found = verify(keep)
    assert found.ok and found.head_seq == len(entries)


def test_verdicts_come_at_each_simulated_minute_exactly_and_in_order_with_the_entries(
    played: tuple[list[dict[str, Any]], Path, str],
) -> None:
    lines, _, _ = played
    verdicts = [wall_ms_of(line["at"]) for line in lines if line["type"] == "verdict"]
    ticks, closing = verdicts[:-1], verdicts[-1]
    assert len(ticks) > 25
    assert ticks == list(range(ticks[0], ticks[-1] + 1, 60_000)) and ticks[0] % 60_000 == 0
    assert closing >= ticks[-1]
    timed = [(wall_ms_of(line["at"]), line["type"]) for line in lines if line["type"] in ("entry", "verdict")]
    assert [at for at, _ in timed] == sorted(at for at, _ in timed)


def test_the_cold_reservoir_is_an_alarm_that_somebody_answers(
    played: tuple[list[dict[str, Any]], Path, str],
) -> None:
    lines, _, _ = played
    told = [
        (line["body"]["from"], line["body"]["to"])
        for line in lines
        if line["type"] == "entry" and line["kind"] == "alarm" and line["body"]["id"] == "reservoir_cold"
    ]
    assert told[:2] == [("normal", "unacknowledged"), ("unacknowledged", "acknowledged")]


def test_a_part_of_the_points_is_read_through_a_serial_line(
    played: tuple[list[dict[str, Any]], Path, str],
) -> None:
    lines, keep, _ = played
    assert 'kind = "serial-line"' in (keep / "station.toml").read_text()
    buses = [line["body"] for line in lines if line["type"] == "entry" and line["kind"] == "bus"]
    assert not [bus for bus in buses if bus["what"] == "lost"]
    code, out, _ = called("export", "readings", keep, "--points", "supply")
    values = [row.split(",")[1] for row in out.splitlines()[1:]]
    assert code == 0 and out.startswith("time,supply [kPa]")
    assert len([value for value in values if float(value) > 200]) > 10


def test_ctrl_c_leaves_a_summary_of_one_screen_and_no_folder(tmp_path: Path) -> None:
    with playing("--speed", "600", "--port", "0", TMPDIR=str(tmp_path)) as demo:
        lines = reading(demo)
        until(lambda: any("Page:" in line for line in lines))
        until(lambda: any("alarm: reservoir_cold" in line for line in list(lines)))
        folder = next(tmp_path.glob("warmwell-demo-*"))
        demo.send_signal(signal.SIGINT)
        assert demo.wait(120) == 0
        until(lambda: any(line.startswith("Verdict:") for line in lines))
        start = next(place for place, line in enumerate(lines) if "of simulated time" in line)
        assert len(lines) - start < 24
        assert any("the chain holds" in line for line in lines[start:])
        assert any(line.startswith("Verdict:  NOT READY") for line in lines[start:])
        assert not folder.exists()


@contextlib.contextmanager
def playing(*wishes: str, **environment: str) -> Iterator[subprocess.Popen[str]]:
    """A demo that is gone afterwards, whatever it does."""
    with warmwell("demo", *wishes, **environment) as demo:
        try:
            yield demo
        finally:
            demo.kill()


def test_on_a_terminal_of_80_by_24_a_view_that_fits_stands_until_the_verdict(tmp_path: Path) -> None:
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    command = [sys.executable, "-m", "edge.cli", "demo", "--speed", "600", "--for", "3", "--port", "0"]
    size = {"COLUMNS", "LINES"}
    environment = {
        **{key: value for key, value in os.environ.items() if key not in size}, "TMPDIR": str(tmp_path), "TERM": "xterm-256color",
    }  # fmt: skip
    with subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, cwd=ROOT, env=environment
    ) as demo:
        os.close(theirs)
        shown = b""
        with contextlib.suppress(OSError):  # the far end hangs up when the demo has ended
            while piece := os.read(ours, 65_536):
                shown += piece
        os.close(ours)
        assert demo.wait(120) == 0 and demo.stderr is not None and demo.stderr.read() == b""
    text = shown.decode()
    assert text.count("\x1b[?25l") == text.count("\x1b[?25h") == 1  # the cursor is given back
    assert (
        text.count("\x1b[?1049h") == text.count("\x1b[?1049l") == 1
    )  # and what stood there (xterm's control sequences)
    before, _, rest = text.partition("\x1b[?1049h")
    view, _, after = rest.partition("\x1b[?1049l")
    assert "Page:" in before and after.splitlines()[-1].startswith("Verdict:  ") and "the chain holds" in after
    frames = [re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", one).replace("\r", "") for one in view.split("\x1b[H") if one]
    drawn = [frame for frame in frames if frame.strip()]
    assert len(drawn) > 3
    for frame in drawn:  # each is drawn from the top: one line too many, or a wider one, would scroll it away
        lines = frame.split("\n")
        assert len(lines) <= 24 and max(map(len, lines)) <= 80, frame
        assert lines[0].strip().startswith(("NOT READY", "READY")) and "Ctrl-C" in frame and "Page:" in frame
    for words in ("Do first", "reservoir_cold", "reservoir 2", "Journal"):
        assert any(words in frame for frame in drawn), words


def reading(process: subprocess.Popen[str]) -> list[str]:
    """Its standard output, line by line, as it comes."""
    lines: list[str] = []
    assert process.stdout is not None
    stream = process.stdout
    threading.Thread(target=lambda: lines.extend(iter(stream.readline, "")), daemon=True).start()
    return lines


def test_the_page_and_the_retained_topics_are_there_while_it_plays(tmp_path: Path) -> None:
    from paho.mqtt import client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    with playing("--speed", "60", "--for", "60", "--port", "0", TMPDIR=str(tmp_path)) as demo:
        lines = reading(demo)
        until(lambda: any("Ctrl-C" in line for line in lines))
        text = "".join(lines)
        url = re.search(r"Page: +(http://127\.0\.0\.1:\d+/)", text)
        broker = re.search(r"mosquitto_sub -h (\S+) -p (\d+) -t 'warmwell/#'", text)
        assert url and broker
        code, out, err = until(lambda: _status(url[1]))
        assert code == 0 and out.startswith("NOT READY  ") and "(harbour-lane/scope-room-2)" in out and err == ""

        retained: dict[str, Any] = {}
        contract, faults = Contract(), list[str]()

        def heard(_client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
            retained[message.topic] = message.payload
            faults.extend(contract.faults(message.topic, json.loads(message.payload)))

        client = mqtt.Client(CallbackAPIVersion.VERSION2)
        client.on_message = heard
        client.connect(broker[1], int(broker[2]))
        client.subscribe("warmwell/#", 1)
        client.loop_start()
        prefix = "warmwell/1/harbour-lane/scope-room-2/"
        with contextlib.closing(_Stopping(client)):
            until(lambda: f"{prefix}verdict" in retained and f"{prefix}alarm/reservoir_cold" in retained)
            until(
                lambda: (
                    {place.channel for topic in list(retained) if (place := contract.place(topic))}
                    == set(contract.channels) - {"receipt"}  # that is an archive's word
                )
            )
        assert faults == [], "every message is as config/mqtt.asyncapi.json says"
        assert json.loads(retained[f"{prefix}node"])["simulated"] is True
        assert json.loads(retained[f"{prefix}verdict"])["verdict"] == "not_ready"
        demo.send_signal(signal.SIGTERM)
        assert demo.wait(120) == 0


class _Stopping:
    def __init__(self, client: Any) -> None:
        self.client = client

    def close(self) -> None:
        self.client.loop_stop()
        self.client.disconnect()


def _status(url: str) -> tuple[int, str, str] | None:
    found = called("status", "--url", url)
    return found if found[0] == 0 else None


def test_a_reader_that_has_enough_ends_it_quietly(tmp_path: Path) -> None:
    with playing("--speed", "600", "--json", "--port", "0", TMPDIR=str(tmp_path)) as demo:
        assert demo.stdout is not None and demo.stderr is not None
        assert json.loads(demo.stdout.readline())["type"] == "entry"
        demo.stdout.close()
        assert demo.wait(120) == 0
        assert demo.stderr.read() == ""


@pytest.fixture
def held_port() -> Iterator[int]:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen(1)
        yield sock.getsockname()[1]


def test_a_port_that_is_taken_is_said_at_once(held_port: int) -> None:
    code, out, err = finished("demo", "--port", str(held_port), "--for", "1")
    assert code == 4 and out == "" and f"port {held_port}" in err and err.count("\n") == 1


@pytest.mark.parametrize(
    "wish, said",
    [
        (["--scenario", "sunny"], "cold-morning"),
        (["--speed", "0"], "--speed"),
        (["--speed", "nan"], "--speed"),
        (["--for", "-1"], "--for"),
        (["--port", "70000"], "--port"),
        (["--broker", "nowhere"], None),
        (["--broker", "host:port"], "--broker"),
        (["--verdict-every", "60"], "--verdict-every"),
        (["--verdict-every", "0 s"], "--verdict-every"),
        (["--keep", "/dev/null/demo"], "/dev/null/demo"),
    ],
)
def test_a_wish_that_can_not_be_granted_is_one_sentence(wish: list[str], said: str | None, tmp_path: Path) -> None:
    if said is None:  # a host without a port has the usual one; nobody is there, which is no fault of the demo
        code, out, _ = finished("demo", *wish, "--for", "1", "--speed", "600", "--port", "0", TMPDIR=str(tmp_path))
        assert code == 0 and "--broker nowhere:1883" in out
        return
    code, out, err = called("demo", *wish, TMPDIR=str(tmp_path))
    assert code == 2 and out == "" and said in err and err.count("\n") == 1


def test_a_folder_with_a_journal_is_not_played_over(played: tuple[list[dict[str, Any]], Path, str]) -> None:
    _, keep, _ = played
    before = verify(keep)
    code, _, err = called("demo", "--for", "1", "--keep", keep)
    assert code == 2 and "journal already" in err
    assert verify(keep) == before


def test_the_broker_outage_is_played_with_the_demos_own_broker(tmp_path: Path) -> None:
    """The broker is away for a simulated hour from 08:00 on; at speed 900 that is four seconds."""
    keep = tmp_path / "kept"
    code, out, err = finished(
        "demo", "--scenario", "broker-outage", "--speed", "900", "--for", "14", "--json", "--port", "0", "--keep", keep
    )
    assert code == 0, err
    entries = [line for line in lines_of(out) if line["type"] == "entry"]
    from_ms, to_ms = wall_ms_of("2026-03-23T08:00:00Z"), wall_ms_of("2026-03-23T09:00:00Z")
    untold = [
        (wall_ms_of(entry["at"]), entry["body"]["to"])
        for entry in entries
        if entry["kind"] == "alarm" and entry["body"]["id"] == "untold" and wall_ms_of(entry["at"]) > from_ms
    ]
    # at speed 900 a broker that takes a second longer to be reached on a busy machine is told of once more, before the outage or after it
    assert untold[0][1] == "unacknowledged" and untold[0][0] < to_ms
    assert untold[-1][1] == "returned_unacknowledged" and untold[-1][0] > to_ms
