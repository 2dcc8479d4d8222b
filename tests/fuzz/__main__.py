"""Try parsers for long: `python -m tests.fuzz [--seconds 60] [--seed N] [NAME…]`. Each parser gets as much time as another.

Prints a row for each: bytes tried, how many were taken, the longest try, growth of this process' memory in the second half. What is
found is written into tests/fuzz/corpus/NAME as the smallest bytes that show it; the exit code is 1 then, and where memory grew.
"""

from __future__ import annotations

import argparse
import gc
import hashlib
import logging
import random
import sys
import time
import traceback
from typing import Final

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded

from tests.fuzz.edits import edited
from tests.fuzz.targets import TARGETS, Target
from tests.fuzz.trying import CORPUS, attempt, corpus_of, smallest

#: so much may this process grow [MB] while a parser is tried for the second half of its time
MOST_MB: Final = 8.0
_AT_ONCE: Final = 300


def main(names: list[str], seconds: float, seed: int) -> int:
    """Try each; 1 where something was found."""
    logging.disable()  # what a parser says of bytes that it refuses
    found = 0
    for name in names:
        found += _one(name, TARGETS[name], seconds, random.Random(f"{seed} {name}"))
    print(f"{len(names)} parsers, {found} found")
    return 1 if found else 0


def _one(name: str, target: Target, seconds: float, rng: random.Random) -> int:
    tried = taken = 0
    longest_s, found, half_mb = 0.0, set[str](), None
    began_s = time.monotonic()
    while (passed_s := time.monotonic() - began_s) < seconds:
        if half_mb is None and passed_s > seconds / 2:
            half_mb = _memory_mb()
        for data in _more(target, corpus_of(name), rng.getrandbits(64)):
            tried += 1
            before_s = time.process_time()
            error = None
            try:
                taken += attempt(target, data)
            except Exception as exc:
                error = exc
            longest_s = max(longest_s, time.process_time() - before_s)
            if error is not None:
                _keep(name, target, data, error, found)
    grown_mb = 0.0 if half_mb is None else _memory_mb() - half_mb
    print(
        f"{name:20} {tried:8} tried, {taken:8} taken, longest {1000 * longest_s:7.1f} ms, memory {grown_mb:+5.1f} MB, {len(found)} found",
        flush=True,
    )
    return len(found) + (grown_mb > MOST_MB)


def _more(target: Target, kept: list[bytes], seed: int) -> list[bytes]:
    """Some bytes, made anew."""
    made: list[bytes] = []

    @seeded(seed)
    @settings(
        max_examples=_AT_ONCE,
        database=None,
        phases=(Phase.generate,),
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(edited((*target.seeds, *kept)))
    def gather(data: bytes) -> None:
        made.append(data)

    gather()
    return made


def _keep(name: str, target: Target, data: bytes, exc: Exception, found: set[str]) -> None:
    """The smallest bytes that end alike."""
    where = traceback.extract_tb(exc.__traceback__)[-1]
    kind = f"{type(exc).__name__} in {where.name}"
    if kind in found:
        return
    found.add(kind)

    def fails(fewer: bytes) -> bool:
        try:
            attempt(target, fewer)
        except Exception as again:
            return f"{type(again).__name__} in {traceback.extract_tb(again.__traceback__)[-1].name}" == kind
        return False

    data = smallest(fails, data)
    folder = CORPUS / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{hashlib.sha256(data).hexdigest()[:12]}.bin").write_bytes(data)
    print(f"{name}: {kind}: {str(exc)[:200]}\n    {data[:200]!r}", flush=True)


def _memory_mb() -> float:
    gc.collect()
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * 4096 / 1e6


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", choices=[[], *TARGETS], default=[], metavar="NAME")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each parser")
    parser.add_argument("--seed", type=int, default=time.time_ns())
    asked = parser.parse_args()
    sys.exit(main(asked.names or list(TARGETS), asked.seconds, asked.seed))
