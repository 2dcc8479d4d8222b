"""A small client of the API, for `warmwell status`, `watch` and `ack`. Standard library only: it has to start at once.

Every fault is one WarmwellError sentence.
"""

from __future__ import annotations

import http.client
import json
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import MappingProxyType
from typing import Any, Final, NamedTuple
from urllib.parse import quote, urlsplit

from edge.domain.errors import NotSignedIn, UnusableInput, WarmwellError

DEFAULT_URL: Final = "http://127.0.0.1:8484/"
_MOST_BYTES: Final = 8 * 1024 * 1024
_LONGEST_LINE: Final = 1024 * 1024
_SILENT_AFTER_S: Final = 30.0  # the stream sends a sign of life each 10 s


#: what goes with each request, beside what it is: a token, or a session's cookie and its proof
_SIGNED: Final[ContextVar[Mapping[str, str]]] = ContextVar(
    "signed", default=MappingProxyType({})
)  # it can't be changed


class Event(NamedTuple):
    """One event of the live stream: `entry`, `snapshot`, `reset`, `trouble` or `goodbye`; `seq` for entries."""

    name: str
    seq: int | None
    data: dict[str, Any]


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
        return _object(content, url)


@contextmanager
def _connection(url: str, timeout_s: float) -> Iterator[http.client.HTTPConnection]:
    """A connection; what befalls it becomes one sentence. Proxies of the environment are left alone: the station is here."""
    parts = urlsplit(url if "//" in url else f"http://{url}")
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if parts.scheme != "http" or not host:
        raise UnusableInput(
            "this is no address of a station",
            where=repr(url[:80]),
            expected=f"one such as {DEFAULT_URL}",
            do="Correct it",
        )
    connection = http.client.HTTPConnection(host, port or 80, timeout=timeout_s)
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


def _refused(answer: http.client.HTTPResponse, content: bytes, url: str) -> WarmwellError:
    """The station's own sentence, where it gave one; what was sent can't be used where the status says so."""
    family = {401: NotSignedIn}.get(answer.status, WarmwellError)
    if answer.status in (400, 404, 413, 422):
        family = UnusableInput
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
