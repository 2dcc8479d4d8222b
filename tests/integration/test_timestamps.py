"""Time stamps of signed heads, by an authority that is OpenSSL's own (`openssl ts -reply`) behind a small server on loopback.

OpenSSL is the second opinion, too: what we keep it finds good by RFC 3161 (`openssl ts -verify`), and what was altered it finds bad.
"""

from __future__ import annotations

import base64
import http.server
import importlib.util
import json
import re
import subprocess
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from edge.backup.making import make
from edge.cli import stamp as cli_stamp
from edge.cli.stamp import stamp
from edge.cli.verify import verify
from edge.config.plans import StationFile
from edge.domain.entries import Draft, Now
from edge.domain.errors import WarmwellError
from edge.store import stamps
from edge.store.journal import Journal
from edge.store.signed_heads import HEADS_FILE, append, heads_of
from edge.store.signing import own_key
from tests.unit.reports.kit import PLAN

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("rfc3161_client") is None, reason="rfc3161-client is not installed here"
)
WALL_MS = 1_796_083_200_000
NAME = "Harbour Lane time stamps"
CONFIG = """
[tsa]
serial = serial
crypto_device = builtin
signer_cert = tsa.pem
signer_key = tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = {digests}
accuracy = secs:1
ess_cert_id_alg = sha256
"""


def openssl(folder: Path, *words: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(["openssl", *words], cwd=folder, capture_output=True, timeout=60)


def authority_in(folder: Path, name: str = NAME) -> None:
    """Keys and certificates: who vouches, and who stamps (RFC 3161, 2.3: critical, for time stamps alone)."""
    folder.mkdir()
    (folder / "ext").write_text("extendedKeyUsage=critical,timeStamping\nkeyUsage=critical,digitalSignature\n")
    (folder / "serial").write_text("01\n")
    ec = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    for words in (
        ["req", "-x509", *ec, "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=Harbour Lane root", "-days", "3650"],
        ["req", *ec, "-keyout", "tsa.key", "-out", "tsa.csr", "-subj", f"/O=Harbour Lane/CN={name}"],
        ["x509", "-req", "-in", "tsa.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-extfile", "ext", "-out", "tsa.pem", "-days", "3650"],
    ):  # fmt: skip
        done = openssl(folder, *words)
        assert done.returncode == 0, done.stderr


class Authority(http.server.ThreadingHTTPServer):
    """Answers as OpenSSL does, or otherwise: `mode` says how."""

    daemon_threads = True

    def __init__(self, folder: Path) -> None:
        self.folder, self.mode, self.asked, self.first, self.hung = folder, "", 0, b"", threading.Event()
        own = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                assert self.headers["Content-Type"] == "application/timestamp-query"
                own.asked += 1
                query = self.rfile.read(int(self.headers["Content-Length"]))
                if own.mode == "hangs":
                    own.hung.wait(60)
                    return
                status = {"503": 503, "redirects": 302}.get(own.mode, 200)
                body = b"<p>sign in first</p>" if own.mode == "html" else own.reply(query)
                body = {"old": own.first, "long": body.ljust(70_000, b"\0"), "cut": body[:200], "noise": b"noise"}.get(
                    own.mode, body
                )
                self.send_response(status)
                self.send_header("Content-Type", "text/html" if own.mode == "html" else "application/timestamp-reply")
                self.send_header("Location", f"http://127.0.0.1:{own.server_port}/other")
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def reply(self, query: bytes) -> bytes:
        (self.folder / "query").write_bytes(query)
        (self.folder / "conf").write_text(
            CONFIG.format(digests="sha512" if self.mode == "refuses" else "sha256, sha512")
        )
        done = openssl(
            self.folder, "ts", "-reply", "-config", "conf", "-section", "tsa", "-queryfile", "query", "-out", "reply"
        )
        answer = (self.folder / "reply").read_bytes()
        assert answer, done.stderr
        self.first = self.first or answer
        return answer


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("authority") / "keys"
    authority_in(folder)
    return folder


@pytest.fixture
def authority(keys: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Authority]:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with Authority(keys) as made:
        yield made
        made.hung.set()
        made.shutdown()


@pytest.fixture
def plan(tmp_path: Path, authority: Authority) -> StationFile:
    keep = tmp_path / "keep"
    run(keep, 1)
    url = f"http://127.0.0.1:{authority.server_port}/tsa"
    return replace(
        PLAN, keep=replace(PLAN.keep, folder=keep, timestamp_url=url, timestamp_ca=authority.folder / "ca.pem")
    )


def run(keep: Path, day: int) -> None:
    """A run of a station of so many entries; its last head is signed."""
    now = Now(day, WALL_MS + day * 86_400_000, True)
    with closing(Journal(keep, PLAN.settings.name, f"boot-{day}")) as journal:
        journal.append([Draft(now, "record", {"record": "note", "text": str(at)}) for at in range(5)])
        append(keep, own_key(keep).signed(PLAN.settings.name, journal.mark(), journal.head(), now))


def kept(plan: StationFile) -> list[dict[str, str]]:
    return [json.loads(line) for path in stamps.files_in(plan.keep.folder) for line in path.read_text().splitlines()]


def keeps(plan: StationFile, lines: list[dict[str, str]]) -> None:
    (path,) = stamps.files_in(plan.keep.folder)
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))


def looked(folder: Path, capsys: pytest.CaptureFixture[str], ca: Path | None) -> tuple[int, str]:
    capsys.readouterr()
    code = verify(folder, None, None, as_json=False, authority=ca)
    return code, capsys.readouterr().out


def openssl_finds_good(keys: Path, line: dict[str, str]) -> bool:
    (keys / "head").write_text(line["head"])
    (keys / "answer").write_bytes(base64.b64decode(line["answer"]))
    done = openssl(keys, "ts", "-verify", "-data", "head", "-in", "answer", "-CAfile", "ca.pem")
    return done.returncode == 0 and b"Verification: OK" in done.stdout + done.stderr


def test_a_head_is_stamped_once_and_openssl_finds_the_stamp_good(
    plan: StationFile, authority: Authority, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ca = plan.keep.timestamp_ca
    assert stamp(plan) == 0
    (line,) = kept(plan)
    assert openssl_finds_good(authority.folder, line)
    text = openssl(authority.folder, "ts", "-reply", "-in", "answer", "-text").stdout.decode()
    second = re.search(r"Time stamp: \w+ +\d+ (\d\d:\d\d:\d\d) \d{4} GMT", text)
    assert second is not None
    head = heads_of(plan.keep.folder)[-1]
    assert json.loads(line["head"]) == head
    code, said = looked(plan.keep.folder, capsys, ca)
    (told,) = [one for one in said.splitlines() if "was stamped at" in one]
    assert code == 0 and f"the head of entry 5, signed {head['at']}, was stamped at " in told
    assert f"T{second[1]}" in told and told.endswith(f" by {NAME}.")
    assert stamp(plan) == 0 and (authority.asked, len(kept(plan))) == (1, 1), "it is stamped already"
    run(plan.keep.folder, 2)
    assert stamp(plan) == 0 and len(kept(plan)) == 2
    assert looked(plan.keep.folder, capsys, ca)[1].count(f"by {NAME}.") == 2
    made = make(tmp_path / "stick", plan.keep.folder, None, made_at="2026-12-03T00:00:00Z", program="0.1.0")
    assert made.trouble is None
    code, said = looked(tmp_path / "stick", capsys, ca)
    assert (code, said.count(f"by {NAME}.")) == (0, 2), "of a backup, too"


def test_what_was_altered_is_told_and_openssl_agrees(
    plan: StationFile, authority: Authority, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep, ca = plan.keep.folder, plan.keep.timestamp_ca
    assert stamp(plan) == 0
    (line,) = kept(plan)
    answer = base64.b64decode(line["answer"])
    at = answer.index(
        b"2026" if b"2026" in answer else b"20"
    )  # the token's time (GeneralizedTime), which the authority signed
    for altered in (answer[:-1] + bytes([answer[-1] ^ 1]), answer[: at + 3] + b"0" + answer[at + 4 :]):
        assert altered != answer
        changed = {**line, "answer": base64.b64encode(altered).decode()}
        keeps(plan, [changed])
        code, said = looked(keep, capsys, ca)
        assert (
            code == 1
            and "the stamp of the head of entry 5 doesn't fit: the certificates that are trusted don't vouch" in said
        )
        assert not openssl_finds_good(authority.folder, changed)
    keeps(plan, [{**line, "answer": base64.b64encode(answer[:100]).decode()}, {"head": "no"}])
    code, said = looked(keep, capsys, ca)
    assert code == 1 and "it is no time stamp, or a damaged one" in said and "a stamp doesn't fit" in said
    keeps(plan, [line])
    code, said = looked(keep, capsys, None)
    assert code == 0 and f"by {NAME}, as it says: its signature wasn't looked at" in said and "(--authority)" in said
    authority_in(tmp_path / "other", "Somebody else")
    assert "don't vouch for it" in looked(keep, capsys, tmp_path / "other/ca.pem")[1]
    heads = (keep / HEADS_FILE).read_text()
    (keep / HEADS_FILE).write_text(heads.replace("2026-", "2025-"))
    code, said = looked(keep, capsys, ca)
    assert code == 1 and "doesn't fit: no signed head in the list is the one that it was made of" in said
    changed = {**line, "head": line["head"].replace("2026-", "2025-")}
    keeps(plan, [changed])
    code, said = looked(keep, capsys, ca)
    assert code == 1 and "doesn't fit: it is a stamp of something else" in said
    assert not openssl_finds_good(authority.folder, changed)


def test_an_answer_that_is_none_is_told_in_a_sentence_and_not_kept(plan: StationFile, authority: Authority) -> None:
    assert stamp(plan) == 0
    stamps.files_in(plan.keep.folder)[0].unlink()
    for mode, why in {
        "old": "it bears another number than was asked with",
        "html": "the answer is text/html, not application/timestamp-reply",
        "503": "it answered with status 503",
        "redirects": "it answered with status 302",
        "long": "the answer is longer than 65536 bytes",
        "cut": "it is no time stamp, or a damaged one",
        "noise": "it is no time stamp, or a damaged one",
        "refuses": "it was refused (status 2",
        "hangs": "no answer within 0.2 s",
    }.items():
        authority.mode = mode
        with pytest.raises(WarmwellError) as refused:
            stamp(plan, silent_s=0.2 if mode == "hangs" else 30.0)
        assert why in str(refused.value) and plan.keep.timestamp_url in str(refused.value), mode
    gone = replace(plan, keep=replace(plan.keep, timestamp_url="http://127.0.0.1:9/tsa"))
    with pytest.raises(WarmwellError, match="it can't be reached"):
        stamp(gone)
    assert kept(plan) == []


def test_where_the_package_is_missing_check_and_verify_say_so_in_one_sentence(
    plan: StationFile, authority: Authority, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli_stamp.look(plan) == ([], [])
    assert stamp(plan) == 0
    monkeypatch.setattr(stamps, "is_installed", lambda: False)
    ((warning,), mistakes) = cli_stamp.look(plan)
    assert "isn't installed; install warmwell[timestamp]" in warning and mistakes == []
    code, said = looked(plan.keep.folder, capsys, plan.keep.timestamp_ca)
    assert code == 0 and "1 time stamps stand beside it, and what looks at them isn't installed" in said
    with pytest.raises(WarmwellError, match="extra `timestamp`"):
        stamp(plan)
    (authority.folder / "none.pem").write_text("no certificate")
    monkeypatch.undo()
    _, (mistake,) = cli_stamp.look(replace(plan, keep=replace(plan.keep, timestamp_ca=authority.folder / "none.pem")))
    assert "there is no certificate in it" in str(mistake)
