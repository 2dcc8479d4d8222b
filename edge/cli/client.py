"""A small client of the API, for `warmwell status`, `watch` and `ack`. Standard library only: it has to start at once.

Every fault is one WarmwellError sentence.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import re
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NamedTuple
from urllib.parse import quote, urlsplit

from edge.domain.errors import NotSignedIn, UnusableInput, WarmwellError
from edge.hosts import is_loopback

if TYPE_CHECKING:
    import ssl

DEFAULT_URL: Final = "http://127.0.0.1:8484/"
_MOST_BYTES: Final = 8 * 1024 * 1024
_LONGEST_LINE: Final = 1024 * 1024
_SILENT_AFTER_S: Final = 30.0  # the stream sends a sign of life each 10 s


#: what goes with each request, beside what it is: a token, or a session's cookie and its proof
_SIGNED: Final[ContextVar[Mapping[str, str]]] = ContextVar(
    "signed", default=MappingProxyType({})
)  # it can't be changed


#: what a refusal of the station is to whoever asked; any other is one fault or another
_FAMILY: Final[Mapping[int, type[WarmwellError]]] = MappingProxyType(
    {401: NotSignedIn, **dict.fromkeys((400, 404, 413, 422), UnusableInput)}
)


class Event(NamedTuple):
    """One event of the live stream: `entry`, `snapshot`, `reset`, `trouble` or `goodbye`; `seq` for entries."""

    name: str
    seq: int | None
    data: dict[str, Any]


class Address(str):
    """The address of a station's page, and who vouches for it.

    Attributes:
        ca: a file of authorities in PEM form; None: those that the system knows.
        fingerprint: SHA-256 of its certificate, hex digits, in place of any authority; "" for none.
    """

    ca: Path | None = None
    fingerprint: str = ""


def address(url: str, ca: Path | None = None, fingerprint: str | None = None) -> Address:
    """An address as the command line takes it.

    Raises:
        UnusableInput: a fingerprint that is none; both; either of them without https.
    """
    made, asked = Address(url), fingerprint or ""
    made.ca, made.fingerprint = ca, re.sub(r"[:\s]", "", asked).lower()
    if asked and not re.fullmatch(r"[0-9a-f]{64}", made.fingerprint):
        raise UnusableInput(
            "this is no SHA-256 fingerprint", where="--fingerprint", expected="32 pairs of hex digits, with or without colons",
            do="Take it from `warmwell certificate show` at the station",
        )  # fmt: skip
    if asked and ca is not None:
        raise UnusableInput(
            "two say whom to trust", where="--ca and --fingerprint", expected="one of them", do="Leave one out",
        )  # fmt: skip
    if (asked or ca is not None) and not url.lower().startswith("https://"):
        raise UnusableInput(
            "by plain HTTP nothing can be checked", where=url, expected="https:// with --ca or --fingerprint",
            do="Write https:// before the address, or leave the option out",
        )  # fmt: skip
    return made


@contextmanager
def signed(headers: Mapping[str, str]) -> Iterator[None]:
    """These headers go with all that is asked within."""
    before = _SIGNED.set(headers)
    try:
        yield
    finally:
        _SIGNED.reset(before)


def get(url: str, path: str, timeout_s: float = 10.0) -> dict[str, Any]:
    """The JSON object at `path` ("/api/1/points").

    Raises:
        WarmwellError: nobody answers there, or it was refused; the sentence says which.
    """
    return _ask(url, "GET", path, None, timeout_s)


def fetch(url: str, path: str, timeout_s: float = 30.0) -> bytes:
    """What stands at `path`, as it is. Raises as get()."""
    return _answer(url, "GET", path, None, timeout_s)


def get_verdict(url: str = DEFAULT_URL, timeout_s: float = 10.0) -> dict[str, Any]:
    """The verdict, as GET /api/1/verdict gives it. Raises as get()."""
    return get(url, "/api/1/verdict", timeout_s)


def acknowledge(
    alarm: str, by: str | None, url: str = DEFAULT_URL, note: str | None = None, timeout_s: float = 15.0
) -> dict[str, Any]:
    """Answer an alarm; {"seq": n, …} once it is on disk. Raises as get(); the alarm's nearest name is in the sentence."""
    body = {key: said for key, said in (("by", by), ("note", note)) if said is not None}
    return _ask(url, "POST", f"/api/1/alarms/{quote(alarm, safe=':')}/acknowledge", body, timeout_s)


def record(body: dict[str, Any], url: str = DEFAULT_URL, timeout_s: float = 15.0) -> dict[str, Any]:
    """Record what was done; {"seq": n, …} once it is on disk. Raises as get()."""
    return _ask(url, "POST", "/api/1/records", body, timeout_s)


def sign_in(code: str, url: str = DEFAULT_URL, timeout_s: float = 15.0) -> dict[str, str]:
    """Begin a session: the headers that say so. Raises as get(); NotSignedIn where it is nobody's code."""
    with _connection(url, timeout_s) as connection:
        sent = json.dumps({"code": code}).encode()
        connection.request("POST", "/api/1/session", sent, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        content = answer.read(_MOST_BYTES)
        if answer.status != 200:
            raise _refused(answer, content, url)
        cookie = (answer.getheader("Set-Cookie") or "").partition(";")[0]
        return {"Cookie": cookie, "X-CSRF-Proof": str(_object(content, url).get("csrf"))}


def sign_out(url: str = DEFAULT_URL, timeout_s: float = 5.0) -> None:
    """End the session that signed() goes with. Raises as get()."""
    _ask(url, "DELETE", "/api/1/session", None, timeout_s)


def stream(
    url: str = DEFAULT_URL, after: int | None = None, silent_after_s: float = _SILENT_AFTER_S
) -> Iterator[Event]:
    """Events as they come, until the server ends the stream (its last event is `goodbye`).

    To resume after a WarmwellError or a goodbye, call again with `after` = the last `seq` seen.

    Raises:
        WarmwellError: as get(); also when nothing at all comes for `silent_after_s`, or the connection breaks.
    """
    path = "/api/1/stream" if after is None else f"/api/1/stream?after={after}"
    with _connection(url, silent_after_s) as connection:
        connection.request("GET", path, headers={"Accept": "text/event-stream", **_SIGNED.get()})
        answer = connection.getresponse()
        if answer.status != 200:
            raise _refused(answer, answer.read(_MOST_BYTES), url)
        yield from _events(answer, url)


def _events(answer: http.client.HTTPResponse, url: str) -> Iterator[Event]:
    name, seq, data = "message", None, ""
    while line := answer.readline(_LONGEST_LINE + 1):
        if len(line) > _LONGEST_LINE:
            raise _not_ours(url, "an endless line")
        field, _, value = line.decode("utf-8", "replace").rstrip("\r\n").partition(": ")
        if field == "event":
            name = value
        elif field == "id":
            seq = int(value) if value.isdigit() else None
        elif field == "data":
            data += value
        elif field == "" and data:
            yield Event(name, seq, _object(data.encode(), url))
            name, seq, data = "message", None, ""


def _ask(url: str, method: str, path: str, body: dict[str, Any] | None, timeout_s: float) -> dict[str, Any]:
    return _object(_answer(url, method, path, body, timeout_s), url)


def _answer(url: str, method: str, path: str, body: dict[str, Any] | None, timeout_s: float) -> bytes:
    with _connection(url, timeout_s) as connection:
        headers = {"Accept": "application/json", **_SIGNED.get()}
        sent = None
        if body is not None:
            sent, headers["Content-Type"] = json.dumps(body).encode(), "application/json"
        connection.request(method, path, sent, headers)
        answer = connection.getresponse()
        content = answer.read(_MOST_BYTES)
        if answer.length:  # so much of what was announced never came
            raise _broken(url, "it broke off in the middle")
        if answer.status != 200:
            raise _refused(answer, content, url)
        return content


@contextmanager
def _connection(url: str, timeout_s: float) -> Iterator[http.client.HTTPConnection]:
    """A connection; what befalls it becomes one sentence. Proxies of the environment are left alone: the station is here."""
    try:
        parts = urlsplit(url if "//" in url else f"http://{url}")
        scheme, host, port = parts.scheme, parts.hostname, parts.port
    except ValueError:
        scheme, host, port = "", None, None
    if scheme not in ("http", "https") or not host:
        raise UnusableInput(
            "this is no address of a station",
            where=repr(url[:80]),
            expected=f"one such as {DEFAULT_URL}",
            do="Correct it",
        )
    if scheme == "http" and not is_loopback(host):
        raise UnusableInput(
            "by plain HTTP anybody between could read and change what is said", where=url, expected="https:// beyond this computer",
            do="Write https:// before the address",
        )  # fmt: skip
    connection = (
        http.client.HTTPConnection(host, port or 80, timeout=timeout_s)
        if scheme == "http"
        else _trusted(url, host, port or 443, timeout_s)
    )
    try:
        yield connection
    except ConnectionRefusedError as exc:
        raise WarmwellError(
            "nobody answers",
            where=url,
            expected="a running station",
            do="Start it with `warmwell run`, or correct the address",
        ) from exc
    except TimeoutError as exc:
        raise WarmwellError(
            f"no answer within {timeout_s:g} s", where=url, expected="an answer", do="See the station's system journal"
        ) from exc
    except _NoTls as exc:
        raise UnusableInput(
            "what answers there speaks no TLS", where=url, expected="a station whose file has [api.tls]",
            do="Write http:// on the station's own computer, or correct the port",
        ) from exc  # fmt: skip
    except _NotTrusted as exc:
        raise WarmwellError(
            f"its certificate is not to be trusted ({exc})", where=url, expected="one that is vouched for, or has the fingerprint given",
            do="Give the authority by --ca, or, by --fingerprint, what `warmwell certificate show` prints at the station",
        ) from exc  # fmt: skip
    except socket.gaierror as exc:
        raise WarmwellError(
            f"the name is unknown ({exc})", where=url, expected="a known host", do="Correct the address"
        ) from exc
    except (http.client.IncompleteRead, ConnectionError) as exc:
        raise _broken(url, "it broke off") from exc
    except (http.client.HTTPException, ValueError) as exc:
        raise _not_ours(url, f"what no station says ({type(exc).__name__})") from exc
    except OSError as exc:
        raise _broken(url, str(exc) or type(exc).__name__) from exc
    finally:
        connection.close()


class _NotTrusted(Exception):
    """Why."""


class _NoTls(Exception):
    """The other end doesn't speak it."""


def _trusted(url: str, host: str, port: int, timeout_s: float) -> http.client.HTTPSConnection:
    """By TLS: the name and who vouches for it are checked, or the fingerprint is; nothing is sent before."""
    import ssl  # a client of this computer's own station needs none

    ca, fingerprint = (url.ca, url.fingerprint) if isinstance(url, Address) else (None, "")
    try:
        context = ssl.create_default_context(cafile=ca)
    except (OSError, ssl.SSLError) as exc:
        why = "it holds no certificate" if isinstance(exc, ssl.SSLError) else exc.strerror or str(exc)
        raise UnusableInput(
            f"no authorities can be read ({why})", where=str(ca), expected="certificates in PEM form",
            do="Name the right file",
        ) from exc  # fmt: skip
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if fingerprint:
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE

    class Checked(http.client.HTTPSConnection):
        sock: ssl.SSLSocket

        def connect(self) -> None:
            try:
                super().connect()
            except ssl.SSLCertVerificationError as exc:
                raise _NotTrusted(exc.verify_message) from exc
            except ssl.SSLError as exc:
                if exc.reason in ("WRONG_VERSION_NUMBER", "PACKET_LENGTH_TOO_LONG", "HTTP_REQUEST"):
                    raise _NoTls from exc  # its first bytes are no TLS record (names of OpenSSL's reasons)
                raise
            if fingerprint:
                found = hashlib.sha256(self.sock.getpeercert(binary_form=True) or b"").hexdigest()
                if found != fingerprint:
                    raise _NotTrusted(f"its fingerprint is {bytes.fromhex(found).hex(':').upper()}")

    return Checked(host, port, timeout=timeout_s, context=context)


def _refused(answer: http.client.HTTPResponse, content: bytes, url: str) -> WarmwellError:
    """The station's own sentence, where it gave one; what was sent can't be used where the status says so."""
    if (answer.getheader("location") or "").startswith("https://"):
        return UnusableInput("it speaks TLS", where=url, expected="https://", do="Write https:// before the address")
    family = _FAMILY.get(answer.status, WarmwellError)
    try:
        problem = json.loads(content)
        return family(
            str(problem["what"]), where=str(problem["where"]), expected=str(problem["expected"]), do=str(problem["do"])
        )
    except (ValueError, KeyError, TypeError):
        return _not_ours(url, f"status {answer.status} {answer.reason}")


def _object(content: bytes, url: str) -> dict[str, Any]:
    try:
        value = json.loads(content)
    except ValueError:
        value = None
    if not isinstance(value, dict):
        raise _not_ours(url, "something that is no JSON object")
    return value


def _broken(url: str, what: str) -> WarmwellError:
    return WarmwellError(f"the connection failed: {what}", where=url, expected="a whole answer", do="Try again")


def _not_ours(url: str, what: str) -> WarmwellError:
    return WarmwellError(
        f"it answered {what}",
        where=url,
        expected="a Warmwell station",
        do="See whether another program listens at this address",
    )
