"""Brokers that say no: wrong password, forbidden topics, messages too large; and certificates. Each is one clear sentence.

The reason codes are MQTT 5.0's (table 2-6: 134 bad user name or password, 135 not authorised, 149 packet too large); they
come from a real Mosquitto. The certificates are made by openssl in the test.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.integration.mqtt_kit import (
    BASE,
    FAST,
    MOSQUITTO,
    NEEDS_MOSQUITTO,
    Bench,
    Broker,
    Watcher,
    alarm,
    bench,
    broker,
    until,
    watcher,
)
from tests.yardstick import Yardstick

__all__ = ["bench", "broker", "watcher"]  # fixtures
pytestmark = NEEDS_MOSQUITTO

NEEDS_OPENSSL = pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed here")


class Guarded:
    """A broker with users: `station` (password `right`), who may write what the access list says, and `watcher`."""

    def __init__(self, folder: Path, *may: str) -> None:
        folder.mkdir()
        self._acl, passwords = folder / "acl", folder / "passwords"
        tool = shutil.which("mosquitto_passwd", path=f"/usr/bin:/usr/local/bin:{Path(MOSQUITTO or '/').parent}")
        assert tool, "mosquitto_passwd comes with Mosquitto"
        passwords.touch()
        for user, password in (("station", "right"), ("watcher", "watching")):
            subprocess.run([tool, "-b", str(passwords), user, password], check=True, capture_output=True)
        self.let(*may)
        self.broker = Broker(
            folder / "broker", "user root", f"password_file {passwords}", f"acl_file {self._acl}", anonymous=False
        ).start()
        self.watcher = Watcher(self.broker.port, username="watcher", password="watching")

    def let(self, *may: str) -> None:
        lines = ["user station", *(f"topic write {BASE}/{rest}" for rest in may), "user watcher", "topic read #"]
        self._acl.write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._acl.chmod(0o600)

    def close(self) -> None:
        self.watcher.close()
        self.broker.stop()


def test_wrong_password_then_the_right_one(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "#")
    password = tmp_path / "password"
    password.write_text("wrong\n", encoding="utf-8")
    bench = Bench(tmp_path, guarded.broker.port, plan={"username": "station", "password_file": password})
    bench.start()
    try:
        bench.add()
        sentence = bench.error("does not let us in (not authorised")  # Mosquitto 2.0.11 says 135 here, not 134
        assert "password_file" in sentence and "wrong" not in sentence
        password.write_text("right\n", encoding="utf-8")
        bench.told()
        until(lambda: guarded.watcher.seqs() == [1], "the entry")
    finally:
        bench.stop()
        guarded.close()


def test_no_user_where_one_is_wanted(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "#")
    bench = Bench(tmp_path, guarded.broker.port).start()
    try:
        bench.error("does not let us in (not authorised")
    finally:
        bench.stop()
        guarded.close()


def test_a_password_file_that_is_not_there(bench: Bench) -> None:
    bench.plan = {"username": "station", "password_file": bench.folder / "nowhere"}
    bench.publisher = bench.made()
    bench.start()
    sentence = bench.error("the password can't be read (No such file or directory)")
    assert str(bench.folder / "nowhere") in sentence


def test_a_forbidden_journal_is_told_once_while_the_state_goes_on(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "node", "head", "verdict", "alarm/#")
    password = tmp_path / "password"
    password.write_text("right", encoding="utf-8")
    bench = Bench(tmp_path, guarded.broker.port, plan={"username": "station", "password_file": password})
    bench.timing = _patient()
    bench.publisher = bench.made()
    bench.book.draw([alarm("leak")])
    bench.start()
    try:
        bench.add(count=30)
        until(lambda: bench.untold, "the refusal told")
        until(lambda: bench.publisher._feed.refused and bench.publisher._feed.refused.for_s > 0.2, "more tries")
        seq, why = bench.untold[0]
        assert (seq, "not authorised, code 135" in why) == (1, True)
        assert bench.status["refused_entry"] == {"seq": 1, "why": why}
        assert bench.publisher.untold_since_ms() is not None
        bench.book.draw([alarm("leak", "unacknowledged", 7)])
        until(
            lambda: (m := guarded.watcher.last("alarm/leak")) and m.json()["seq"] == 7, "the alarm's state all the same"
        )
        bench.restart()  # what was told is not told again
        until(lambda: bench.publisher._feed.refused, "still refused")
        assert len(bench.untold) == 1
        guarded.let("#")
        guarded.broker.reload()
        bench.told()
        until(lambda: guarded.watcher.seqs() == list(range(1, 31)), "all entries, in order, once it is allowed")
        until(lambda: bench.journal.cursors["mqtt"] == 30, "the cursor, which moves once a second")
        until(lambda: bench.publisher.untold_since_ms() is None, "told again")
    finally:
        bench.stop()
        guarded.close()


def test_an_entry_refused_for_the_whole_time_is_passed_over(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "node")
    password = tmp_path / "password"
    password.write_text("right", encoding="utf-8")
    bench = Bench(
        tmp_path, guarded.broker.port, plan={"username": "station", "password_file": password}
    )  # gives up after 1 s
    bench.add(count=3)
    bench.start()
    try:
        until(lambda: bench.publisher._feed.confirmed == 1, "the first passed over")
        guarded.let("#")
        guarded.broker.reload()
        bench.told()
        until(lambda: guarded.watcher.seqs() == [2, 3], "the others")
        assert [seq for seq, _why in bench.untold][:1] == [1]
    finally:
        bench.stop()
        guarded.close()


def test_a_forbidden_alarm_topic_is_in_the_status_and_nothing_else_waits(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "node", "journal", "verdict")
    password = tmp_path / "password"
    password.write_text("right", encoding="utf-8")
    bench = Bench(tmp_path, guarded.broker.port, plan={"username": "station", "password_file": password})
    bench.book.draw([alarm("leak")])
    bench.add(count=5)
    bench.start()
    try:
        bench.told()
        until(
            lambda: "not authorised, code 135" in bench.status["refused_topics"].get(f"{BASE}/alarm/leak", ""),
            "the refusal",
        )
        guarded.let("#")
        guarded.broker.reload()
        until(lambda: guarded.watcher.last("alarm/leak"), "the alarm once it is allowed")
        until(lambda: bench.status["refused_topics"] == {}, "no refusals left")
    finally:
        bench.stop()
        guarded.close()


@pytest.mark.parametrize("limit", ["message_size_limit 2000", "max_packet_size 2000"])
def test_one_entry_too_large_holds_nothing_else_up(tmp_path: Path, limit: str) -> None:
    narrow = Broker(tmp_path / "narrow", limit).start()
    watcher, bench = Watcher(narrow.port), Bench(tmp_path, narrow.port, timing=_patient())
    bench.start()
    try:
        bench.add(count=3)
        bench.add(text="x" * 3000)
        bench.add(count=30)
        until(lambda: set(watcher.seqs()) == {1, 2, 3, *range(5, 35)}, "all but the large one")
        assert [seq for seq, _why in bench.untold] == [4]
        assert "too large for the broker" in bench.untold[0][1]
        assert bench.journal.cursors.get("mqtt", 0) <= 3, "not passed over before its time"
        until(lambda: bench.status["behind"] == 1, "only that one untold")
    finally:
        bench.stop()
        watcher.close()
        narrow.stop()


def _patient() -> object:
    """FAST, but refusals are not given up."""
    from dataclasses import replace

    return replace(FAST, patience=replace(FAST.patience, give_up_s=3600.0))


# ---- TLS


class Authority:
    """A certificate authority in a folder; `openssl ca` lets a certificate begin and end when it is told to."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        self._folder = folder
        self.ca, self._ca_key = folder / "ca.pem", folder / "ca.key"
        subject = ["-subj", "/CN=Harbour Lane test authority"]
        self._openssl(
            "req", "-x509", *_KEY, "-keyout", str(self._ca_key), "-out", str(self.ca), "-days", "3650", *subject
        )
        (folder / "index.txt").touch()
        (folder / "serial").write_text("01\n", encoding="ascii")
        (folder / "ca.cnf").write_text(_CA_SETTINGS.format(folder=folder), encoding="ascii")

    def certificate(self, name: str, begins: datetime, ends: datetime) -> SimpleNamespace:
        """A certificate for 127.0.0.1 and its key, as paths."""
        key, request, made = (self._folder / f"{name}.{end}" for end in ("key", "csr", "pem"))
        self._openssl("req", *_KEY, "-keyout", str(key), "-out", str(request), "-subj", f"/CN={name}")
        times = [f"{moment:%Y%m%d%H%M%SZ}" for moment in (begins, ends)]
        self._openssl(
            "ca", "-batch", "-notext", "-config", str(self._folder / "ca.cnf"), "-in", str(request), "-out", str(made),
            "-startdate", times[0], "-enddate", times[1],
        )  # fmt: skip
        return SimpleNamespace(certificate=made, key=key)

    def _openssl(self, *words: str) -> None:
        subprocess.run(["openssl", *words], check=True, capture_output=True, cwd=self._folder)


_KEY = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
_CA_SETTINGS = """
[ca]
default_ca = own
[own]
database = {folder}/index.txt
serial = {folder}/serial
new_certs_dir = {folder}
certificate = {folder}/ca.pem
private_key = {folder}/ca.key
default_md = sha256
policy = any
unique_subject = no
x509_extensions = host
[any]
commonName = supplied
[host]
subjectAltName = IP:127.0.0.1
"""


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("pki") / "ca")


@pytest.fixture
def tls_brokers(tmp_path: Path, authority: Authority) -> Iterator[object]:
    started: list[Broker] = []

    def start(begins: datetime, ends: datetime, *lines: str) -> Broker:
        name = f"broker-{len(list(tmp_path.iterdir()))}"
        own = authority.certificate(name, begins, ends)
        started.append(
            Broker(
                tmp_path / name,
                "user root",
                f"cafile {authority.ca}",
                f"certfile {own.certificate}",
                f"keyfile {own.key}",
                *lines,
            )
        )
        return started[-1].start()

    yield start
    for one in started:
        one.stop()


def _tls(authority: Authority, **own: Path) -> SimpleNamespace:
    return SimpleNamespace(ca=authority.ca, certificate=own.get("certificate"), key=own.get("key"))


NOW = datetime.now(UTC)
DAY = timedelta(days=1)


def _bench(tmp_path: Path, started: Broker, tls: object) -> Bench:
    made = Bench(tmp_path, started.port, plan={"tls": tls})
    made.add(count=3)
    return made


@NEEDS_OPENSSL
def test_tls_with_a_client_certificate(tmp_path: Path, authority: Authority, tls_brokers) -> None:  # type: ignore[no-untyped-def]
    started = tls_brokers(NOW - DAY, NOW + DAY, "require_certificate true")
    bare = _bench(tmp_path, started, _tls(authority)).start()
    sentence = bare.error("the broker ended the TLS handshake")
    assert "tls.certificate" in sentence
    bare.stop()
    own = authority.certificate("scope-room-2", NOW - DAY, NOW + DAY)
    bench = _bench(tmp_path, started, _tls(authority, certificate=own.certificate, key=own.key)).start()
    bench.told()
    assert bench.stop()


@NEEDS_OPENSSL
def test_a_broker_of_another_authority_is_not_told_anything(tmp_path: Path, authority: Authority, tls_brokers) -> None:  # type: ignore[no-untyped-def]
    started = tls_brokers(NOW - DAY, NOW + DAY)
    other = Authority(tmp_path / "other")
    bench = _bench(tmp_path, started, _tls(other)).start()
    sentence = bench.error("the broker's certificate can't be trusted")
    assert "tls.ca" in sentence and not bench.status["connected"]
    bench.stop()
    named = Bench(tmp_path, started.port, plan={"tls": _tls(authority), "host": "localhost"}).start()
    assert "ostname mismatch" in named.error("can't be trusted"), "the certificate is for 127.0.0.1 only"
    named.stop()


@NEEDS_OPENSSL
def test_an_expired_certificate_is_told_apart(tmp_path: Path, authority: Authority, tls_brokers) -> None:  # type: ignore[no-untyped-def]
    started = tls_brokers(NOW - 9 * DAY, NOW - DAY)
    bench = _bench(tmp_path, started, _tls(authority)).start()
    assert "Renew" in bench.error("the broker's certificate has expired")
    bench.stop()


@NEEDS_OPENSSL
def test_not_yet_valid_by_a_clock_that_is_not_trusted(tmp_path: Path, authority: Authority, tls_brokers) -> None:  # type: ignore[no-untyped-def]
    """A board that wakes in the past: said as what it is, no hurry, verification on; connected soon after the clock is right."""
    begins = datetime.now(UTC) + timedelta(seconds=4)
    started = tls_brokers(begins, begins + DAY)
    bench = _bench(tmp_path, started, _tls(authority))
    bench.timing = _slow()
    bench.publisher = bench.made()
    bench.clock.trusted = False
    bench.start()
    sentence = bench.error("our clock is not trusted yet")
    assert "is not yet valid" in sentence and "never without checking" in sentence
    until(lambda: bench.status["next_try_s"] is not None, "it rests until its next try")
    assert bench.status["next_try_s"] > 60, "no fast retries"
    until(lambda: datetime.now(UTC) > begins + timedelta(seconds=1), "the certificate's beginning")
    assert not bench.status["connected"]
    bench.clock.trusted = True
    with Yardstick() as yardstick:
        began_s = time.monotonic()
        bench.told()
        assert time.monotonic() - began_s < 5.0 + yardstick.late_s()
    bench.stop()


@NEEDS_OPENSSL
def test_not_yet_valid_by_a_clock_that_is_trusted_is_the_certificate(
    tmp_path: Path, authority: Authority, tls_brokers
) -> None:  # type: ignore[no-untyped-def]
    started = tls_brokers(NOW + DAY, NOW + 9 * DAY)
    bench = _bench(tmp_path, started, _tls(authority)).start()
    bench.error("the broker's certificate is not yet valid")
    bench.stop()


@NEEDS_OPENSSL
def test_tls_asked_of_a_listener_without_it(bench: Bench, authority: Authority) -> None:
    bench.plan = {"tls": _tls(authority)}
    bench.publisher = bench.made()
    bench.start()
    bench.error("no TLS with what listens there")


def test_certificate_files_that_can_not_be_used(bench: Bench) -> None:
    bench.plan = {"tls": SimpleNamespace(ca=bench.folder / "nowhere.pem", certificate=None, key=None)}
    bench.publisher = bench.made()
    bench.start()
    assert "nowhere.pem" in bench.error("the authority's certificate can't be used (No such file or directory)")
    json.dumps(bench.status)


def _slow() -> object:
    from dataclasses import replace

    return replace(FAST, slow_s=300.0, cap_s=300.0)
