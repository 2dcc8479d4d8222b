"""People are told by the library apprise, in a child process for each message."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge.telling.cursor import Notice
from edge.telling.words import Told

CHILD: Final = Path(__file__).with_name("child.py")
#: a board needs some five seconds to load the library, a target some ten to answer (our own number, no published source)
LIMIT_S: Final = 45
#: an address is one line of at most so many characters
LONGEST_URL: Final = 4000
INSTALL: Final = "Install Warmwell with its extra notify, as in warmwell[notify]"


class BadTarget(Exception):
    """An address that can't be used: a clause for people. `lacks`: what is missing may still come, or can't be told here."""

    def __init__(self, what: str, *, lacks: bool = False) -> None:
        super().__init__(what)
        self.lacks = lacks


def address_in(file: Path) -> str:
    """The address that a file holds.

    Raises:
        BadTarget: it isn't there, others may read it, or it holds no address.
    """
    try:
        with open(os.open(file, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK), encoding="utf-8") as opened:
            mode = os.fstat(opened.fileno()).st_mode
            text = opened.read(2 * LONGEST_URL)
    except FileNotFoundError:
        raise BadTarget(f"{file} isn't there: write the target's address into it, with mode 0600", lacks=True) from None
    except (OSError, ValueError) as exc:
        raise BadTarget(
            f"{file} can't be read ({getattr(exc, 'strerror', None) or 'not UTF-8'})",
            lacks=isinstance(exc, PermissionError),
        ) from exc
    if mode & 0o077:
        raise BadTarget(
            f"{file} may be read by others (mode {mode & 0o777:04o}): what it holds is a secret. Run chmod 600 on it"
        )
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if len(lines) != 1 or "://" not in lines[0] or len(lines[0]) > LONGEST_URL:
        raise BadTarget(f"{file} holds no address: one line is expected, such as mailto://… or json://…")
    return lines[0]


class Carrier:
    """Brings words, and a file with them, to one address.

    Args:
        file: holds the address; it is read for each message, so a new one needs no restart.
        limit_s: after so long (real seconds) the child is killed.
    """

    def __init__(self, file: Path, limit_s: int = LIMIT_S) -> None:
        self._file, self._limit_s = file, limit_s
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._is_stopped = False

    def carry(self, told: Told, paper: Path | None = None) -> str:
        """Send it, with a file where one is named: "" where it was taken, else why not."""
        order = {"title": told.title, "body": told.text, "sort": told.sort}
        answer = self._ask(order if paper is None else {**order, "paper": str(paper.absolute())})
        return "" if answer["told"] else str(answer["why"])

    def look(self, *, with_paper: bool = False) -> None:
        """Look at file and address, and whether it takes files where some are to be sent. Sends nothing.

        Raises:
            BadTarget: what is wrong with them.
        """
        address_in(self._file)
        answer = self._ask({"check": True, **({"paper": ""} if with_paper else {})})
        if not answer.get("known"):
            raise BadTarget(f"{self._file}: {answer['why']}", lacks=answer.get("known") is None)

    def stop(self) -> None:
        """End a send that is under way, and every later one at once."""
        with self._lock:
            self._is_stopped = True
            if self._child is not None:
                _kill(self._child)

    def _ask(self, order: dict[str, Any]) -> dict[str, Any]:
        try:
            order |= {"url": address_in(self._file), "limit_s": self._limit_s}
        except BadTarget as exc:
            return {"told": False, "why": str(exc)}
        try:
            with self._lock:
                if self._is_stopped:
                    return {"told": False, "why": "it was stopped"}
                self._child = child = subprocess.Popen(
                    [sys.executable, "-P", str(CHILD)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                    start_new_session=True,
                )  # fmt: skip
        except OSError as exc:
            return {"told": False, "why": f"no process can be started ({exc.strerror or exc})"}
        try:
            said, _ = child.communicate(json.dumps(order).encode(), timeout=self._limit_s)
        except subprocess.TimeoutExpired:
            return {"told": False, "why": f"no answer within {self._limit_s} s"}
        finally:
            with self._lock:
                self._child = None
            _bury(child)
        try:
            answer = dict(json.loads(said))
        except ValueError:
            return {"told": False, "why": f"the sending process ended without an answer (exit code {child.returncode})"}
        if answer.get("known") is None and "imported" in str(answer.get("why")):
            answer["why"] = f"{answer['why']}. {INSTALL}"
        return answer


class Courier(Carrier):
    """Sends notices to one target.

    Args:
        file, limit_s: as of a Carrier.
        say: a notice in words.
    """

    def __init__(self, file: Path, say: Callable[[Notice], Told], limit_s: int = LIMIT_S) -> None:
        super().__init__(file, limit_s)
        self._say = say

    def send(self, notice: Notice) -> str:
        """Send it: "" where it was taken, else why not."""
        return self.carry(self._say(notice))


def _kill(child: subprocess.Popen[bytes]) -> None:
    """End it with all that it started; whoever waits for it sees that."""
    if child.poll() is None:
        try:
            os.killpg(child.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass  # it has just ended


def _bury(child: subprocess.Popen[bytes]) -> None:
    """Leave nothing of it behind."""
    _kill(child)
    child.wait()
    for stream in (child.stdin, child.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):  # what it never took
                stream.close()
