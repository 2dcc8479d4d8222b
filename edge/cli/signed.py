"""Who sends what the command line sends, where people are set up: a program's token from the environment, or a person's code.

A token stands in WARMWELL_TOKEN, or in the file that WARMWELL_TOKEN_FILE names, which nobody else may read. Without one the code is
asked for on the terminal; it is never an argument, and never echoed. The session ends with the command.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Final

from edge.cli import client
from edge.domain.errors import NotSignedIn, UnusableInput, WarmwellError
from edge.terminal import is_terminal

TOKEN: Final = "WARMWELL_TOKEN"
TOKEN_FILE: Final = "WARMWELL_TOKEN_FILE"
_MOST_BYTES: Final = 1024


@contextmanager
def looking() -> Iterator[None]:
    """What is asked within is asked with the token of the environment, if there is one."""
    token = _token()
    with client.signed({"Authorization": f"Bearer {token}"} if token else {}):
        yield


@contextmanager
def recording(url: str, ask: Callable[[str], str] | None = None) -> Iterator[None]:
    """What is sent within is sent by the token of the environment, else by whoever types a code here, where the station asks for it.

    Raises:
        NotSignedIn: people are set up, and there is neither a token nor a terminal; or the code is nobody's.
        WarmwellError: the station doesn't answer.
    """
    if _token():
        with looking():
            yield
        return
    if not _asks_for_people(url):
        yield
        return
    begun = client.sign_in((ask or _code)("Your code (it is not shown): "), url)
    with client.signed(begun):
        try:
            yield
        finally:
            with suppress(WarmwellError):  # it ends by itself, soon
                client.sign_out(url)


def signs_for(url: str) -> bool:
    """Whether it will be known who sends something, so that nobody has to be named."""
    return bool(_token()) or _asks_for_people(url)


def _asks_for_people(url: str) -> bool:
    try:
        return bool(client.get(url, "/api/1/session").get("people", "none") != "none")
    except WarmwellError:
        return False  # who doesn't answer is told of by the command itself


def _code(question: str) -> str:
    from getpass import getpass

    if not is_terminal(sys.stdin):
        raise NotSignedIn(
            "people sign in at this station, and nobody is here to be asked", where="standard input",
            expected=f"a terminal, or a token in {TOKEN} or {TOKEN_FILE}",
            do="Make a token for this program on the board: `warmwell people token add`",
        )  # fmt: skip
    return getpass(question)


def _token() -> str:
    """The token of the environment; "" where there is none.

    Raises:
        UnusableInput: its file can't be read, or others may read it too.
    """
    if told := os.environ.get(TOKEN, "").strip():
        return _plain(told, TOKEN)
    name = os.environ.get(TOKEN_FILE, "")
    if not name:
        return ""
    try:
        with open(name, encoding="ascii") as file:
            if stat.S_IMODE(os.fstat(file.fileno()).st_mode) & 0o077:
                raise UnusableInput(
                    "others may read it", where=f"{TOKEN_FILE} {name}", expected="a file of mode 0600",
                    do=f"Run `chmod 600 {name}`, and make another token if somebody may have seen this one",
                )  # fmt: skip
            return _plain(file.read(_MOST_BYTES).strip(), f"{TOKEN_FILE} {name}")
    except (OSError, UnicodeError) as exc:
        raise UnusableInput(
            f"it can't be read ({exc.__class__.__name__})", where=f"{TOKEN_FILE} {name}", expected="a file with the token alone",
            do="Correct the name, or the file",
        ) from exc  # fmt: skip


def _plain(token: str, where: str) -> str:
    if not token.isascii() or not token.isprintable() or " " in token or not token:
        raise UnusableInput("it is no token", where=where, expected="the token alone", do="Correct it")
    return token
