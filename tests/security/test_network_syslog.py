"""Syslog by TLS (RFC 5425) at a small server of the standard library with certificates of a throwaway authority."""

from __future__ import annotations

import contextlib
import re
import socket
import ssl
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.x509.oid import ExtendedKeyUsageOID

from edge.domain.errors import UnusableInput
from edge.telling.cursor import Notice
from edge.telling.wire import Receiver, Tls, Wire, context_of
from tests.security.tls_kit import Authority, everything
from tests.unit.telling.kit import Journal

SAID = b"<27>1 2026-03-16T05:50:00Z scope-room-2 warmwell - leak [x@32473] \xef\xbb\xbfLeak: the floor is wet"


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


class Log:
    """Takes one connection at a time; `got` is what came within TLS. `closes`: with its own close_notify, by a bare end, or never."""

    def __init__(self, context: ssl.SSLContext, closes: str = "properly") -> None:
        self.got: list[bytes] = []
        self._context, self._closes, self._stopping = context, closes, threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stopping.is_set():
            plain, _ = self._listener.accept()
            plain.settimeout(30)
            with plain, contextlib.suppress(OSError):  # a client that goes away in its handshake
                sock = self._context.wrap_socket(plain, server_side=True, suppress_ragged_eofs=True)
                seen = everything(sock)
                self.got.append(seen)
                if self._closes == "properly":
                    sock.unwrap()
                elif self._closes == "never":
                    self._stopping.wait(30)
                sock.close()

    def stop(self) -> None:
        self._stopping.set()
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 5):
            pass
        self._thread.join(10)
        self._listener.close()


@contextlib.contextmanager
def log(files: tuple[Path, Path], closes: str = "properly", wants: Path | None = None) -> Iterator[Log]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*files)
    if wants is not None:
        context.verify_mode = ssl.CERT_REQUIRED
        context.load_verify_locations(wants)
    made = Log(context, closes)
    try:
        yield made
    finally:
        made.stop()


def sent(to: Log, tls: Tls, host: str = "localhost") -> str:
    return Wire(Receiver("tls", host, to.port, tls), lambda _: SAID, limit_s=20).send(
        Notice("entry", (), Journal().now)
    )


@pytest.mark.parametrize("closes", ["properly", "bare"])
def test_a_message_comes_with_its_length_before_it(authority: Authority, closes: str) -> None:
    """RFC 5425, 4.3: MSG-LEN SP SYSLOG-MSG, the length in octets."""
    with log(authority.pair("log"), closes) as there:
        assert sent(there, Tls(authority.file)) == ""
        assert sent(there, Tls(authority.file)) == ""
    assert there.got[:2] == [b"%d %s" % (len(SAID), SAID)] * 2


def test_a_receiver_that_never_closes_has_it_once_its_computer_has(
    authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("edge.telling.wire.CLOSES_WITHIN_S", 0.3)
    with log(authority.pair("log"), "never") as there:
        assert sent(there, Tls(authority.file)) == ""
    assert there.got == [b"%d %s" % (len(SAID), SAID)]


@pytest.mark.parametrize(
    "how, said",
    [
        ("another authority", "unable to get local issuer certificate"),
        ("another name", "hostname mismatch"),
        ("ended", "certificate has expired"),
        ("the system's list", "unable to get local issuer certificate"),
    ],
)
def test_a_receiver_that_nobody_vouches_for_gets_nothing(
    authority: Authority, tmp_path: Path, how: str, said: str
) -> None:
    files = (
        authority.pair("bad", ends=datetime.now(UTC) - timedelta(days=1)) if how == "ended" else authority.pair("log")
    )
    tls = Tls(
        Authority(tmp_path, "other").file if how == "another authority" else None if "system" in how else authority.file
    )
    if how == "another name":
        files = authority.pair("bad", names=["other.harbour-lane.example"])
    with log(files) as there:
        why = sent(there, tls)
        assert why.startswith("its certificate is not to be trusted (") and said in why
    assert [got for got in there.got if got] == []


def test_a_receiver_that_asks_for_a_certificate_gets_the_stations(authority: Authority) -> None:
    own = authority.pair("station", names=["scope-room-2"], usage=ExtendedKeyUsageOID.CLIENT_AUTH)
    with log(authority.pair("log"), wants=authority.file) as there:
        assert sent(there, Tls(authority.file, *own)) == ""
    assert there.got[0] == b"%d %s" % (len(SAID), SAID)


def test_a_receiver_that_refuses_the_station_after_the_handshake_was_not_told(authority: Authority) -> None:
    """With TLS 1.3 a client hears of it only after its own end of the handshake (RFC 8446, 4.4.2.4); it may have written by then."""
    with log(authority.pair("log"), wants=authority.file) as there:
        said = {sent(there, Tls(authority.file)) for _ in range(30)}
    assert [got for got in there.got if got] == []
    assert "" not in said and all(re.search("certificate required|reset by peer|broken pipe", why) for why in said), (
        said
    )


def test_what_speaks_no_tls_or_only_an_old_one_is_told(authority: Authority) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def answer() -> None:
            other, _ = listener.accept()
            with other:
                other.sendall(b"220 hello\r\n")
                other.recv(4096)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        receiver = Receiver("tls", "127.0.0.1", listener.getsockname()[1], Tls(authority.file))
        why = Wire(receiver, lambda _: SAID, limit_s=20).send(Notice("entry", (), Journal().now))
        assert why == "no TLS could be agreed (wrong version number)"
        thread.join(10)
    assert context_of(Tls()).minimum_version is ssl.TLSVersion.TLSv1_2 and context_of(Tls()).check_hostname


def test_files_that_can_not_be_used_are_one_sentence(authority: Authority, tmp_path: Path) -> None:
    rubbish = tmp_path / "rubbish.pem"
    rubbish.write_text("rubbish")
    for tls, said in [
        (Tls(tmp_path / "none.pem"), "none.pem: the authority's certificate can't be used (no such file"),
        (Tls(rubbish), "rubbish.pem: the authority's certificate can't be used ("),
        (
            Tls(authority.file, authority.pair("one")[0], authority.pair("two")[1]),
            "can't be used (key values mismatch)",
        ),
    ]:
        with pytest.raises(UnusableInput) as refused:
            context_of(tls)
        assert said in str(refused.value) and "; expected PEM files" in str(refused.value)
