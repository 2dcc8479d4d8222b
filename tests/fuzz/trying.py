"""Try bytes on a target: with a limit of processor time, and what must never come of them."""

from __future__ import annotations

import shutil
import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Final

from tests.fuzz.targets import Target

CORPUS: Final = Path(__file__).parent / "corpus"
#: processor time [s] that no bytes of a few hundred may cost; the slowest parser takes some hundredths
LIMIT_S: Final = 5.0


class Hung(AssertionError):
    """The bytes cost more than LIMIT_S of processor time."""


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Raise Hung in what takes longer, by processor time. Main thread only."""

    def over(_signal: int, _frame: FrameType | None) -> None:
        raise Hung(f"more than {seconds:g} s of processor time")

    before = signal.signal(signal.SIGVTALRM, over)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


def attempt(target: Target, data: bytes, limit_s: float = LIMIT_S) -> bool:
    """Whether the bytes were taken. Raises what the parser must not: another exception than its refusals, or Hung."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz"))
    try:
        with limited(limit_s):
            target.takes(data, folder)
    except target.refuses:
        return False
    finally:
        shutil.rmtree(folder)
    return True


def corpus_of(name: str) -> list[bytes]:
    """What was once found with a parser, each file whole."""
    return [path.read_bytes() for path in sorted((CORPUS / name).glob("*.bin"))]


def smallest(fails: Callable[[bytes], bool], data: bytes) -> bytes:
    """Fewer bytes of which `fails` holds still: halves, then ever smaller parts, are left out.

    >>> smallest(lambda data: b"!" in data, b"a long text! and more")
    b'!'
    """
    part = max(1, len(data) // 2)
    while True:
        at = 0
        while at < len(data):
            fewer = data[:at] + data[at + part :]
            if fails(fewer):
                data = fewer
            else:
                at += part
        if part == 1:
            return data
        part //= 2
