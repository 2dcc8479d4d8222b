"""The page by TLS: what is agreed, what is refused, whom the command line trusts, and how a renewed certificate is taken.

TLS 1.1 and older are not to be negotiated (RFC 8996); suites with forward secrecy and authenticated encryption alone (RFC 9325, 4.2).
"""

from __future__ import annotations

import hashlib
import os
import ssl
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.cli import client
from edge.domain.errors import UnusableInput, WarmwellError
from tests.api_fakes import until
from tests.security.tls_kit import OWN, Authority, Page


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def page(authority: Authority) -> Iterator[Page]:
    made = Page(*authority.pair())
    yield made
    made.server.stop()


def only(version: ssl.TLSVersion, ciphers: str = "DEFAULT:@SECLEVEL=0") -> ssl.SSLContext:
    """A client of one version, that trusts anybody and takes what is weak."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.set_ciphers(ciphers)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # that it is old is why it is tried
        context.minimum_version = context.maximum_version = version
    return context


def shaken(client_context: ssl.SSLContext, server_context: ssl.SSLContext) -> str | None:
    """The version that the two agree on in memory."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    one = client_context.wrap_bio(to_client, to_server)
    other = server_context.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(4):
        for side in (one, other):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                pass
    return one.version()


@pytest.mark.parametrize("version, said", [(ssl.TLSVersion.TLSv1_3, "TLSv1.3"), (ssl.TLSVersion.TLSv1_2, "TLSv1.2")])
def test_tls_1_3_and_1_2_are_spoken(page: Page, version: ssl.TLSVersion, said: str) -> None:
    with page.tls(only(version)) as sock:
        assert sock.version() == said and sock.selected_alpn_protocol() is None


def test_the_newest_version_is_preferred(page: Page, authority: Authority) -> None:
    context = authority.trusting()
    context.set_alpn_protocols(["h2", "http/1.1"])
    with page.tls(context) as sock:
        assert sock.version() == "TLSv1.3" and sock.selected_alpn_protocol() == "http/1.1"


def lenient(authority: Authority) -> ssl.SSLContext:
    """A server that takes whatever OpenSSL still has: what a client is refused by the page, it could have spoken."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context.minimum_version = ssl.TLSVersion.TLSv1
    context.load_cert_chain(*authority.pair("lenient"))
    return context


OLD_SUITE = "ECDHE-ECDSA-AES128-SHA256:@SECLEVEL=0"  # of TLS 1.2, without authenticated encryption


@pytest.mark.parametrize(
    "version, ciphers, said, why",
    [
        (ssl.TLSVersion.TLSv1, "DEFAULT:@SECLEVEL=0", "TLSv1", "unsupported protocol"),
        (ssl.TLSVersion.TLSv1_1, "DEFAULT:@SECLEVEL=0", "TLSv1.1", "unsupported protocol"),
        (ssl.TLSVersion.TLSv1_2, OLD_SUITE, "TLSv1.2", "no shared cipher"),
    ],
)
def test_what_is_old_or_weak_is_refused_though_the_client_speaks_it(
    page: Page, authority: Authority, version: ssl.TLSVersion, ciphers: str, said: str, why: str
) -> None:
    if not {"TLSv1": ssl.HAS_TLSv1, "TLSv1.1": ssl.HAS_TLSv1_1}.get(said, True):
        pytest.skip("this OpenSSL has no TLS of that age")
    old = only(version, ciphers)
    assert shaken(old, lenient(authority)) == said, "this OpenSSL speaks it where it may"
    page.refused.clear()
    with pytest.raises(ssl.SSLError):
        page.tls(old)
    until(lambda: page.refused == [("handshake", "127.0.0.1")], "the refused handshake is told")
    with pytest.raises(ssl.SSLError, match=why):  # the server's own reason: it tells it to nobody else
        shaken(old, page.live.context())


# -- whom the command line trusts


def fingerprint(page: Page) -> str:
    """Of what a handshake shows, not of the file."""
    with page.tls(only(ssl.TLSVersion.TLSv1_3)) as sock:
        return hashlib.sha256(sock.getpeercert(binary_form=True) or b"").hexdigest()


def test_the_command_line_verifies_by_an_authority_or_a_fingerprint(page: Page, authority: Authority) -> None:
    by_authority = client.address(page.url, authority.file)
    assert client.get_verdict(by_authority)["verdict"] == "not_ready"
    assert client.record({"record": "note", "by": "Kim", "text": "looked on"}, by_authority)["seq"] == 4
    assert next(client.stream(by_authority, after=3)).seq == 4
    shown = bytes.fromhex(fingerprint(page)).hex(":").upper()
    elsewhere = (
        f"https://127.0.0.2:{page.port}/"  # its certificate is not for this address: the fingerprint says enough
    )
    assert shown == page.live.facts.fingerprint
    with pytest.raises(
        WarmwellError, match=r"expected one of .*localhost"
    ):  # it is trusted; the station refuses the host
        client.get_verdict(client.address(elsewhere, fingerprint=shown))
    assert client.get_verdict(client.address(page.url, fingerprint=shown.replace(":", "").lower()))


def test_whoever_nobody_vouches_for_is_refused_before_anything_is_sent(
    page: Page, authority: Authority, tmp_path: Path
) -> None:
    asked = page.fakes.journal.reads
    other = Authority(tmp_path, "another authority")
    for address, why in [
        (
            client.address(page.url),
            "self-signed certificate in certificate chain|unable to get local issuer certificate",
        ),
        (client.address(page.url, other.file), "certificate verify failed|unable to get local issuer certificate"),
        (client.address(f"https://127.0.0.2:{page.port}/", authority.file), "IP address mismatch"),
        (client.address(page.url, fingerprint="AB:" * 31 + "CD"), "its fingerprint is [0-9A-F:]{95}"),
    ]:
        with pytest.raises(WarmwellError, match=why) as refused:
            client.record({"record": "note", "by": "Kim", "text": "looked on"}, address)
        assert str(refused.value).count(". ") == 1 and "--fingerprint" in str(refused.value)
    assert page.fakes.journal.reads == asked


def test_a_name_that_the_certificate_is_not_for_is_refused(page: Page, authority: Authority) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="Hostname mismatch"):
        page.tls(authority.trusting(), "scope-room-3.harbour-lane.example")


def test_plain_http_to_the_page_is_told_to_speak_tls(page: Page) -> None:
    with pytest.raises(UnusableInput, match="it speaks TLS; expected https://"):
        client.get_verdict(f"http://127.0.0.1:{page.port}/")
    with pytest.raises(UnusableInput, match="https:// beyond this computer"):
        client.get_verdict("http://scope-room-2.harbour-lane.example:8484/")


# -- renewal


def test_a_renewed_certificate_is_taken_without_a_restart_and_open_streams_go_on(authority: Authority) -> None:
    files = authority.pair("renewed")
    page = Page(*files)
    try:
        before = fingerprint(page)
        stream = client.stream(client.address(page.url, authority.file))
        assert next(stream).name == "snapshot"
        authority.issue(*files, names=[*OWN, "new-name.harbour-lane.example"])
        page.live.look()
        assert fingerprint(page) == before, "it may be only half written yet"
        page.live.look()
        assert fingerprint(page) != before and page.live.trouble == ""
        page.fakes.journal.add("note", {"text": "after the renewal"})
        page.fakes.judge.show()
        assert next(event for event in stream if event.name == "entry").seq == 4
        stream.close()
        answer = page.ask(authority.trusting(), "GET /api/1/verdict", host="new-name.harbour-lane.example")
        assert answer.startswith(b"HTTP/1.1 200 "), "its new names are known, too"
    finally:
        page.server.stop()


@pytest.mark.parametrize("how", ["rubbish", "another key", "gone", "everybody may read the key", "no names"])
def test_a_new_file_that_can_not_be_used_leaves_the_old_in_force_and_says_so(
    authority: Authority, how: str, tmp_path: Path
) -> None:
    files = tmp_path / "page.pem", tmp_path / "page.key"
    authority.issue(*files)
    own = Page(*files)
    try:
        before = fingerprint(own)
        if how == "rubbish":
            files[0].write_text("-----BEGIN CERTIFICATE-----\nrubbish\n")
        elif how == "another key":
            authority.issue(tmp_path / "other.pem", files[1])
        elif how == "gone":
            files[0].unlink()
        elif how == "no names":
            authority.issue(*files, names=[])
        else:
            authority.issue(*files)
            files[1].chmod(0o644)
        own.live.look()
        own.live.look()
        assert own.live.trouble.startswith(str(tmp_path)) and "; expected " in own.live.trouble
        assert fingerprint(own) == before
        os.unlink(files[1])
        authority.issue(*files)
        own.live.look()
        own.live.look()
        assert own.live.trouble == "" and fingerprint(own) != before, "a good pair ends it"
    finally:
        own.server.stop()
