"""`warmwell stamp`: has the newest signed head stamped by an authority of RFC 3161."""

from __future__ import annotations

import http.client
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Final

from edge import terminal
from edge.config.plans import StationFile
from edge.domain.errors import UnusableInput, WarmwellError
from edge.store import stamps
from edge.store.signed_heads import heads_of
from edge.store.stamps import MOST_ANSWERED, Unfit

#: an authority that says nothing is waited for so long (real seconds), and one that says a little at a time so long in all
SILENT_S, LONGEST_S = 15.0, 60.0
_PIECE: Final = 4096
#: RFC 3161, 3.4
_ASKED, _ANSWERED = "application/timestamp-query", "application/timestamp-reply"


def stamp(plan: StationFile, silent_s: float = SILENT_S, longest_s: float = LONGEST_S) -> int:
    """Ask for a stamp of the newest signed head, look at it and keep it; one that is stamped already isn't again.

    Raises:
        UnusableInput: nobody is named who stamps, or what asks isn't installed.
        StoreFault: heads and stamps can't be read or kept.
        WarmwellError: the authority doesn't answer, or not with a stamp of that.
    """
    keep, url = plan.keep, plan.keep.timestamp_url
    if url is None:
        raise UnusableInput(
            "there is no timestamp_url", where=f"{plan.path}, [keep]", expected="the address of a time-stamp authority",
            do="Add one: deploy/security.md says how",
        )  # fmt: skip
    if not stamps.is_installed():
        raise stamps.not_there(f"{plan.path}, keep.timestamp_url")
    trusted = [] if keep.timestamp_ca is None else stamps.trusted_in(keep.timestamp_ca)
    head = next(reversed(heads_of(keep.folder)), None)
    if head is None:
        raise UnusableInput(
            "no head was signed yet",
            where=str(keep.folder),
            expected="a station that has run",
            do="Start it once: `warmwell run`",
        )
    text = stamps.text_of(head)
    if any(one.text == text and one.answer for one in stamps.stamps_of(keep.folder)):
        print(f"the head of entry {head['seq']} is stamped already.")
        return terminal.DONE
    request = stamps.request_of(head)
    try:
        answer = _answer(url, request.as_bytes(), silent_s, longest_s)
        seen = stamps.seen_in(answer, text, trusted, request)
    except Unfit as exc:
        raise WarmwellError(
            f"the head of entry {head['seq']} got no time stamp: {exc}", where=url, expected="a time stamp by RFC 3161",
            do="Look at the address and ask the authority; a station tries again by itself",
        ) from exc  # fmt: skip
    stamps.append(keep.folder, head, answer)
    tail = "" if seen.proven else "; nobody is named whose certificates vouch for that (timestamp_ca)"
    print(f"the head of entry {head['seq']} was stamped at {seen.at} by {seen.by}{tail}.")
    return terminal.DONE


def _answer(url: str, question: bytes, silent_s: float, longest_s: float) -> bytes:
    """What an authority answers. Raises Unfit: nothing, too late, or nothing that can be a stamp."""
    asked = urllib.request.Request(url, question, {"Content-Type": _ASKED, "Accept": _ANSWERED})
    until_s = time.monotonic() + longest_s
    try:
        with _opener().open(asked, timeout=silent_s) as answer:
            kind = answer.headers.get_content_type()
            if kind != _ANSWERED:
                raise Unfit(f"the answer is {kind}, not {_ANSWERED}")
            got = b""
            while piece := answer.read1(_PIECE):
                got += piece
                if len(got) > MOST_ANSWERED:
                    raise Unfit(f"the answer is longer than {MOST_ANSWERED} bytes")
                if time.monotonic() > until_s:
                    raise Unfit(f"the answer took more than {longest_s:g} s")
            return got
    except urllib.error.HTTPError as exc:
        exc.close()
        raise Unfit(f"it answered with status {exc.code}") from exc
    except TimeoutError as exc:
        raise Unfit(f"no answer within {silent_s:g} s") from exc
    except (OSError, http.client.HTTPException) as exc:
        reason = getattr(exc, "reason", exc)
        if isinstance(reason, TimeoutError):
            raise Unfit(f"no answer within {silent_s:g} s") from exc
        raise Unfit(f"it can't be reached ({' '.join(str(reason).split())[:120]})") from exc


def _opener() -> urllib.request.OpenerDirector:
    """What opens addresses, and follows no redirection: a question that is posted isn't sent elsewhere."""
    made = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(), urllib.request.HTTPHandler(), urllib.request.HTTPSHandler(),
        urllib.request.HTTPDefaultErrorHandler(), urllib.request.HTTPErrorProcessor(),
    ):  # fmt: skip
        made.add_handler(handler)
    return made


def look(plan: StationFile) -> tuple[list[str], list[UnusableInput]]:
    """(warnings, mistakes) of what asks for stamps; asks nobody."""
    keep, found = plan.keep, list[str]()
    if keep.timestamp_url is None:
        return [], []
    if not stamps.is_installed():
        found.append(
            f"{plan.path}, keep.timestamp_url: what asks for time stamps isn't installed; install warmwell[timestamp], or leave it out"
        )
    if keep.timestamp_ca is None:
        found.append(
            f"{plan.path}, keep.timestamp_url: without timestamp_ca a stamp is kept as it comes, and its signature isn't looked at"
        )
    elif not Path(keep.timestamp_ca).exists():
        found.append(f"{plan.path}, keep.timestamp_ca: {keep.timestamp_ca} isn't there.")
    else:
        try:
            stamps.trusted_in(keep.timestamp_ca)
        except UnusableInput as exc:
            where = f"{plan.path}, keep.timestamp_ca: {exc.where}"
            return found, [UnusableInput(exc.what, where=where, expected=exc.expected, do=exc.do)]
    return found, []
