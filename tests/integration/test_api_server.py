"""The server as it is: real sockets on loopback, its own thread, streams, stops, slow and greedy clients."""

from __future__ import annotations

import http.client
import json
import os
import select
import socket
import ssl
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from edge.api import connection as api_connection
from edge.api.border import Border
from edge.api.server import ApiServer
from edge.cli import client
from edge.cli.ask import status, support
from edge.domain.errors import AlreadyRunning, UnusableInput, WarmwellError
from tests.api_fakes import ABOUT, Fakes, until
from tests.yardstick import Yardstick

ROOT = Path(__file__).parents[2]


class Running:
    """A server over fakes."""

    def __init__(self, entries: int = 7, port: int = 0) -> None:
        self.fakes = Fakes(entries)
        self.server = ApiServer(
            "127.0.0.1", port, self.fakes.judge, self.fakes.journal, self.fakes.series, ABOUT, self.fakes.status
        )
        self.server.start()
        assert self.server.wait_ready(120)
        self.url = self.server.url
        self.port = int(self.url.rsplit(":", 1)[1].strip("/"))

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=60)

    def stream(self, after: int | None = None, headers: str = "") -> socket.socket:
        """An open stream, past its first event."""
        sock = self.connect()
        query = "" if after is None else f"?after={after}"
        sock.sendall(f"GET /api/1/stream{query} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n{headers}\r\n".encode())
        read_until(sock, b"event: snapshot")
        return sock


def read_until(sock: socket.socket, what: bytes, timeout_s: float = 60.0) -> bytes:
    """What comes, until `what` is in it."""
    sock.settimeout(timeout_s)
    seen = bytearray()
    new = 0  # from here on `what` may begin that wasn't looked for yet
    while seen.find(what, new) < 0:
        new = max(len(seen) - len(what), 0)
        piece = sock.recv(1 << 20)
        assert piece, f"closed before {what!r}: {bytes(seen[-300:])!r}"
        seen += piece
    return bytes(seen)


def read_all(sock: socket.socket, timeout_s: float = 60.0) -> bytes:
    """What comes until the other side closes."""
    sock.settimeout(timeout_s)
    seen = b""
    while True:
        try:
            piece = sock.recv(65536)
        except ConnectionResetError:
            return seen
        if not piece:
            return seen
        seen += piece


@pytest.fixture
def running() -> Iterator[Running]:
    found = Running()
    yield found
    found.server.stop()


def problem_of(raw: bytes) -> dict[str, Any]:
    head, _, body = raw.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head, raw[:300]
    found: dict[str, Any] = json.loads(body)
    return found


# -- the client that the command line uses


def test_status_watch_and_ack_work_through_the_client(running: Running) -> None:
    assert client.get_verdict(running.url)["verdict"] == "not_ready"
    assert client.acknowledge("outlet_tripped:heater", "Kim", running.url, note="seen")["seq"] == 8
    assert client.record({"record": "note", "text": "x", "by": "Kim"}, running.url)["seq"] == 9
    events = client.stream(running.url, after=6)
    names = [next(events) for _ in range(4)]
    assert (
        [e.seq for e in names[:3]] == [7, 8, 9]
        and names[3].name == "snapshot"
        and names[3].data["verdict"]["verdict"] == "not_ready"
    )
    events.close()


def test_status_is_printed_in_the_language_and_units_that_were_asked_for(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    """The supply's pressure, 398.4 kPa, is 3.984 bar by definition."""
    assert status(running.url, "de", "degF,bar") == 0
    german = capsys.readouterr().out
    assert german.startswith("Texts: an unreviewed translation (Deutsch)\n")
    assert "do first: Den Tagestest durchführen und erfassen" in german and "supply: 3.984 bar" in german
    assert status(running.url) == 0
    english = capsys.readouterr().out
    assert "do first: Do the daily test and record it" in english and "supply: 57.79 psi" in english
    assert "translation" not in english
    with pytest.raises(UnusableInput, match="nearest 'de'"):
        status(running.url, "deu")


def test_the_support_bundle_is_written_whole_or_not_at_all(
    running: Running, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "bundle.zip"
    assert support(file, running.url, as_json=True) == 0
    assert json.loads(capsys.readouterr().out) == {"file": str(file), "bytes": file.stat().st_size}
    with zipfile.ZipFile(file) as found:
        assert len(found.read("journal.jsonl").splitlines()) == 7
    with pytest.raises(UnusableInput, match="it is there already"):
        support(file, running.url)
    running.fakes.break_store()
    with pytest.raises(WarmwellError, match="the disk refused a read"):
        support(tmp_path / "another.zip", running.url)
    assert [one.name for one in tmp_path.iterdir()] == ["bundle.zip"]


def test_the_clients_faults_are_one_sentence_each(running: Running) -> None:
    with pytest.raises(WarmwellError, match="nearest 'reservoir_cold'"):
        client.acknowledge("resrvoir_cold", "Kim", running.url)
    with pytest.raises(WarmwellError, match="nothing at this path"):
        client.get(running.url, "/api/1/nothing")
    with pytest.raises(UnusableInput, match="no address of a station"):
        client.get_verdict("ftp://127.0.0.1/")
    with pytest.raises(UnusableInput, match="no address of a station"):
        client.get_verdict("http://127.0.0.1:notaport/")
    running.server.stop()
    with pytest.raises(WarmwellError, match="nobody answers"):
        client.get_verdict(running.url)


@pytest.mark.parametrize(
    "said, words",
    [
        (b"SSH-2.0-something\r\n", "what no station says"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 5\r\n\r\n<htm>", "no JSON object"),
        (b"HTTP/1.1 404 Not Found\r\ncontent-length: 2\r\n\r\n{}", "status 404"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 500\r\n\r\n{", "broke off"),
        (b"", "connection failed"),
        (None, "no answer within"),
    ],
)
def test_whoever_else_answers_is_told_apart(said: bytes | None, words: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def answer() -> None:
            other, _ = listener.accept()
            with other:
                other.recv(4096)
                if said is None:
                    other.recv(4096)  # until the client gives up
                else:
                    other.sendall(said)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        with pytest.raises(WarmwellError, match=words):
            client.get_verdict(f"http://127.0.0.1:{listener.getsockname()[1]}/", timeout_s=0.5)
        thread.join(5)


# -- listening


def test_a_port_that_is_taken_is_said_in_one_sentence(running: Running) -> None:
    fakes = running.fakes
    second = ApiServer("127.0.0.1", running.port, fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)
    with pytest.raises(AlreadyRunning, match="another program listens there already"):
        second.start()
    assert client.get_verdict(running.url)["seq"] == 7  # the first goes on


def test_an_address_of_another_machine_is_refused() -> None:
    """192.0.2.0/24 is kept for documents (RFC 5737): no machine has it."""
    fakes = Fakes()
    with pytest.raises(UnusableInput, match="address of this machine"):
        ApiServer(
            "192.0.2.1", 0, fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status, certificate=Unasked()
        ).start()


class Unasked:
    """A certificate that nobody comes to see."""

    def context(self) -> ssl.SSLContext:
        raise AssertionError

    def names(self) -> list[str]:
        raise AssertionError


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "scope-room-2"])
def test_the_network_is_never_listened_to_without_tls(host: str) -> None:
    fakes = Fakes()
    with pytest.raises(UnusableInput, match="open to the network without TLS"):
        ApiServer(host, 0, fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)


def test_twenty_quick_restarts_find_the_port_free() -> None:
    first = Running()
    with first.connect() as kept:  # leaves the port in TIME_WAIT, as a browser would
        kept.sendall(b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n")
        read_until(kept, b"200 OK")
        first.server.stop()
    for _ in range(20):
        again = Running(port=first.port)
        assert client.get_verdict(again.url)["verdict"] == "not_ready"
        again.server.stop()


def test_fastapi_is_imported_by_the_servers_own_thread_only() -> None:
    """It is the price of the whole daemon: sampling begins before it."""
    heavy = {"fastapi", "starlette", "uvicorn", "pydantic"}
    script = f"import sys, edge.api.server, edge.cli.client; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.strip() == "[]"


# -- stopping


def open_files() -> int:
    return len(os.listdir("/proc/self/fd"))


def _streams(running: Running) -> int | None:
    """How many streams /health counts; None where a busy machine keeps it waiting for too long."""
    running.fakes.judge.show()  # health is bad where the judge has said nothing for long
    try:
        return int(client.get(running.url, "/health")["streams"])
    except WarmwellError:
        return None


def test_it_stops_within_three_seconds_with_ten_streams_open_one_of_them_suspended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # on a busy machine the nine take longer to read than a suspended client is kept
    monkeypatch.setitem(Border.__init__.__kwdefaults__, "taken_within_s", 600.0)
    running = Running()
    before = threading.active_count()
    with ExitStack() as stack:
        suspended = stack.enter_context(socket.socket())
        suspended.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        suspended.connect(("127.0.0.1", running.port))
        suspended.sendall(b"GET /api/1/stream?after=0 HTTP/1.1\r\nHost: localhost\r\n\r\n")
        journal = running.fakes.journal
        for n in range(300):  # 300 x 20 kB: more than socket buffers take, and nobody reads
            journal.add("note", {"n": n, "text": "x" * 20_000})
        seen = journal.entries[-1].seq  # the nine have that behind them
        streams = [stack.enter_context(running.stream(after=seen)) for _ in range(9)]
        journal.add("note", {"n": 300})
        running.fakes.judge.show()
        half = stack.enter_context(running.connect())
        half.sendall(b"GET /api/1/ver")
        for stream in streams:
            read_until(stream, b'"n":300')
        until(lambda: _streams(running) == 10, "ten streams counted")
        with Yardstick() as yardstick:
            began = time.monotonic()
            running.server.stop()
            assert time.monotonic() - began < 3.0 + yardstick.late_s()
        for stream in streams:
            last = read_all(stream)
            assert b"event: goodbye" in last and last.endswith(
                b"0\r\n\r\n"
            )  # a whole answer: the client comes back by itself
    until(lambda: threading.active_count() < before, "the server's threads end")
    with pytest.raises(ConnectionRefusedError):
        running.connect()


def test_a_client_that_comes_back_resumes_where_it_was() -> None:
    first = Running()
    journal = first.fakes.journal
    events = client.stream(first.url, after=5)
    seen = [e.seq for e in (next(events), next(events))]
    first.server.stop()
    for event in events:
        assert event.name in ("snapshot", "goodbye")
    journal.add("note", {"while": "away"})
    again = ApiServer(
        "127.0.0.1", first.port, first.fakes.judge, journal, first.fakes.series, ABOUT, first.fakes.status
    )
    again.start()
    raw = socket.create_connection(("127.0.0.1", first.port), timeout=10)
    raw.sendall(b"GET /api/1/stream?after=1 HTTP/1.1\r\nHost: localhost\r\nLast-Event-ID: 7\r\n\r\n")  # the header wins
    text = read_until(raw, b"event: snapshot")
    raw.close()
    again.stop()
    assert seen == [6, 7]
    assert text.count(b"event: entry") == 1 and b"\nid: 8\n" in text


def test_a_write_in_progress_is_answered_at_a_stop() -> None:
    running = Running()
    release = threading.Event()
    keep = running.fakes.judge.recorded

    def slowly(body: dict[str, Any]) -> Any:
        from concurrent.futures import Future

        future: Future[Any] = Future()

        def work() -> None:
            release.wait(10)
            future.set_result(keep(body).result())

        threading.Thread(target=work, daemon=True).start()
        return future

    running.fakes.judge.recorded = slowly
    answers: list[Any] = []
    writer = threading.Thread(
        target=lambda: answers.append(client.record({"record": "note", "text": "x", "by": "Kim"}, running.url))
    )
    writer.start()
    until(lambda: running.fakes.judge.bodies, "the record reaches the judge")
    stopper = threading.Thread(target=running.server.stop)
    stopper.start()
    release.set()
    writer.join(5)
    stopper.join(5)
    assert answers and answers[0]["seq"] == 8


def test_stopping_twice_and_before_the_start_does_no_harm() -> None:
    fakes = Fakes()
    server = ApiServer("127.0.0.1", 0, fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)
    server.stop()
    server = ApiServer("127.0.0.1", 0, fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)
    server.start()
    server.stop()  # while FastAPI may still be on its way
    server.stop()


def test_nothing_is_left_behind_by_pages_that_come_and_go(running: Running) -> None:
    running.stream().close()
    running.fakes.judge.show()
    until(lambda: client.get(running.url, "/health")["streams"] == 0, "the stream's place is given back")
    threads, files = threading.active_count(), open_files()
    for _ in range(60):
        running.stream().close()
    until(lambda: client.get(running.url, "/health")["streams"] == 0, "all places are given back")
    until(lambda: open_files() <= files + 2, "sockets are closed")
    assert threading.active_count() <= threads


# -- too much, too slow, not HTTP


def test_the_twenty_first_stream_is_refused_and_told_when_to_come_back(running: Running) -> None:
    with ExitStack() as stack:
        for _ in range(20):
            stack.enter_context(running.stream())
        with running.connect() as one_more:
            one_more.sendall(b"GET /api/1/stream HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
            raw = read_all(one_more)
        assert raw.startswith(b"HTTP/1.1 503 ") and b"retry-after: 10" in raw
        assert "all 20 live streams are taken" in problem_of(raw)["detail"]
        assert client.get_verdict(running.url)["verdict"] == "not_ready"  # everything else goes on


def test_a_client_that_takes_nothing_loses_its_place_and_finds_a_last_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(Border.__init__.__kwdefaults__, "taken_within_s", 0.5)
    running = Running()
    with socket.socket() as suspended, running.stream() as other:
        suspended.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        suspended.connect(("127.0.0.1", running.port))
        suspended.sendall(b"GET /api/1/stream?after=0 HTTP/1.1\r\nHost: localhost\r\n\r\n")
        for n in range(300):
            running.fakes.journal.add("note", {"n": n, "text": "x" * 20_000})
        running.fakes.judge.show()
        read_until(other, b'"n":299')  # the others don't wait for it
        until(lambda: client.get(running.url, "/health")["streams"] == 1, "its place is free")
        raw = read_all(suspended)
        assert b"event: goodbye" in raw and b"took nothing" in raw and raw.endswith(b"0\r\n\r\n")
        assert 0 < raw.count(b"event: entry") < 300
    running.server.stop()


def resident_kib() -> int:
    text = Path("/proc/self/status").read_text()
    return int(next(line.split()[1] for line in text.splitlines() if line.startswith("VmRSS")))


@pytest.mark.parametrize("how", ["length", "chunked"])
@pytest.mark.parametrize("path", ["/api/1/records", "/api/1/verdict", "/"])
def test_sixty_megabytes_are_413_and_never_in_memory(running: Running, how: str, path: str) -> None:
    piece = b"x" * 65536
    before = resident_kib()
    highest = before
    with running.connect() as sock:
        kind = b"Content-Length: 60000000" if how == "length" else b"Transfer-Encoding: chunked"
        sock.sendall(
            b"POST %s HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n%s\r\n\r\n"
            % (path.encode(), kind)
        )
        sent, raw = 0, b""
        while sent < 60_000_000 and not raw:
            try:
                sock.sendall(piece if how == "length" else b"10000\r\n" + piece + b"\r\n")
            except (ConnectionResetError, BrokenPipeError):
                break
            sent += len(piece)
            highest = max(highest, resident_kib())
            if select.select([sock], [], [], 0)[0]:
                raw = sock.recv(65536)
        raw += read_all(sock)
    assert raw.startswith(b"HTTP/1.1 413 "), raw[:200]
    assert "at most 64 KiB" in problem_of(raw)["detail"]
    assert highest - before < 8 * 1024


def test_a_body_announced_too_long_is_refused_before_it_is_sent(running: Running) -> None:
    """RFC 9110, 10.1.1: a client that waits for 100 (Continue) gets the final status instead."""
    with running.connect() as sock:
        sock.sendall(
            b"POST /api/1/records HTTP/1.1\r\nHost: localhost\r\nExpect: 100-continue\r\nContent-Length: 60000000\r\n\r\n"
        )
        with Yardstick() as yardstick:
            began = time.monotonic()
            raw = read_all(sock)
            took_s = time.monotonic() - began
    assert raw.startswith(b"HTTP/1.1 413 ") and took_s < 1.5 + yardstick.late_s()


def test_half_a_request_is_let_go_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(api_connection, "HEADERS_WITHIN_S", 0.3)
    running = Running()
    with running.connect() as drip, running.connect() as silent:
        drip.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n")
        drip.sendall(b"X-One: 1\r\n")  # more headers don't buy more time
        raw = read_all(drip, 5)
        assert raw.startswith(b"HTTP/1.1 408 ") and "headers did not arrive" in problem_of(raw)["detail"]
        assert read_all(silent, 5) == b""
    running.server.stop()


def test_a_half_second_request_on_a_kept_connection_is_let_go_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(api_connection, "HEADERS_WITHIN_S", 0.3)
    running = Running()
    with running.connect() as sock:
        sock.sendall(b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n")
        read_until(sock, b'"status":"ok"')
        sock.sendall(b"GET /hea")
        assert read_all(sock, 5).startswith(b"HTTP/1.1 408 ")
    running.server.stop()


@pytest.mark.parametrize(
    "sent",
    [
        b"GARBAGE\r\n\r\n",
        b"GET /" + b"a" * 600_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"y" * 600_000 + b"\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 40 + b"\r\n\r\n",
        b"POST /api/1/records HTTP/1.1\r\nHost: localhost\r\nContent-Length: x\r\n\r\n",
        b"POST /api/1/records HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: gzip\r\n\r\n",
    ],
)
def test_what_is_no_http_is_refused_with_a_problem_document(running: Running, sent: bytes) -> None:
    with running.connect() as sock:
        sock.sendall(sent)
        raw = read_all(sock)
    assert raw.split(b" ")[1] in (b"400", b"501"), raw[:200]
    assert problem_of(raw)["detail"]
    assert client.get_verdict(running.url)["verdict"] == "not_ready"


def test_more_connections_than_the_limit_are_refused_not_queued(running: Running) -> None:
    with ExitStack() as stack:
        for _ in range(api_connection.MOST_CONNECTIONS):
            stack.enter_context(running.connect())
        with running.connect() as one_more:
            raw = read_all(one_more)
        assert raw.startswith(b"HTTP/1.1 503 ") and b"retry-after" in raw
    until(lambda: answers(running), "the others are gone")


def answers(running: Running) -> bool:
    try:
        return bool(client.get_verdict(running.url))
    except WarmwellError:
        return False


def test_a_websocket_is_not_spoken_here(running: Running) -> None:
    with running.connect() as sock:
        sock.sendall(
            b"GET /api/1/stream HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
        )
        assert read_until(sock, b"\r\n").startswith(b"HTTP/1.1 200 ")  # RFC 9110, 7.8: an upgrade may be ignored


def test_answers_name_no_server_and_no_version(running: Running) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=10)
    connection.request("GET", "/")
    answer = connection.getresponse()
    answer.read()
    assert answer.getheader("server") is None and answer.getheader("x-content-type-options") == "nosniff"
    connection.close()


def test_the_verdict_is_answered_while_the_store_hangs(running: Running) -> None:
    stuck = threading.Event()

    def hang(*_: Any) -> list[Any]:
        stuck.wait(90)
        return []

    read: Callable[[int, int], list[Any]] = running.fakes.journal.read
    running.fakes.journal.read = hang  # type: ignore[method-assign]  # a card that no longer answers
    waiting = [threading.Thread(target=lambda: answers_journal(running), daemon=True) for _ in range(3)]
    for thread in waiting:
        thread.start()
    with Yardstick() as yardstick:
        began = time.monotonic()
        for _ in range(5):
            assert client.get_verdict(running.url)["verdict"] == "not_ready"
        assert time.monotonic() - began < 2 + yardstick.late_s()
        running.server.stop()
        assert time.monotonic() - began < 6 + yardstick.late_s()
    stuck.set()
    running.fakes.journal.read = read  # type: ignore[method-assign]
    for thread in waiting:
        thread.join(5)


def answers_journal(running: Running) -> None:
    try:
        client.get(running.url, "/api/1/journal")
    except WarmwellError:
        pass  # the server was stopped meanwhile
