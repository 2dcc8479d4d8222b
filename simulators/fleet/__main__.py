"""`python -m simulators.fleet --stations 1000 --broker HOST:PORT`: many simulated stations tell one broker.

Until Ctrl-C, or for --minutes.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import time

from edge.config import MqttPlan
from edge.domain.entries import rfc3339, wall_ms_of
from simulators.fleet.sending import Count, Fleet, Plan


def main(words: list[str] | None = None) -> int:
    """0 where the broker has confirmed every entry at the end, 1 where it has not, 2 where what was asked can't be."""
    chosen = _chosen(words)
    host, _, port = chosen.broker.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65_536:
        print(
            f"--broker: {chosen.broker[:60]!r} is no address; expected HOST:PORT. Name the broker so.", file=sys.stderr
        )
        return 2
    if not 1 <= chosen.stations <= 20_000 or not 0 < chosen.speed <= 10_000 or (chosen.minutes or 1) <= 0:
        print("--stations: 1 to 20000, --speed: above 0 to 10000, --minutes: above 0. Choose others.", file=sys.stderr)
        return 2
    try:
        start_ms = wall_ms_of(chosen.start) if chosen.start else time.time_ns() // 1_000_000
    except ValueError:
        print(
            f"--start: {chosen.start[:60]!r} is no time; expected RFC 3339, as 2026-03-16T05:50:00Z. Write it so.",
            file=sys.stderr,
        )
        return 2
    if (wanted := _files(chosen.stations + 100)) is not None:
        needed = chosen.stations + 100
        print(
            f"--stations: a program may have {wanted} open files here; expected {needed}. See `ulimit -n`.",
            file=sys.stderr,
        )
        return 2
    live_ms = None if chosen.minutes is None else int(chosen.minutes * 60_000)
    fleet = Fleet(
        Plan(chosen.stations, chosen.speed, start_ms, live_ms, tuple(chosen.archive), chosen.seed, chosen.site),
        MqttPlan(host, int(port)),
    )  # fmt: skip
    return _run(fleet)


def _chosen(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m simulators.fleet", description=(__doc__ or "").split(": ", 1)[1])
    parser.add_argument("--stations", type=int, default=20)
    parser.add_argument("--broker", required=True, metavar="HOST:PORT")
    parser.add_argument(
        "--speed", type=float, default=1.0, help="times as fast as real time; connections keep real time"
    )
    parser.add_argument("--minutes", type=float, help="of the stations' own time; left out: until Ctrl-C")
    parser.add_argument("--start", help="at what time their days begin (RFC 3339); left out: now")
    parser.add_argument(
        "--archive", action="append", default=[], help="whose receipts they hear; may be given several times"
    )
    parser.add_argument("--site", default="", help="of all of them; left out: a site for each hundred")
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args(words)


def _files(needed: int) -> int | None:
    """How many files may be open, where that is too few."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < needed and (hard == resource.RLIM_INFINITY or hard >= needed):
        resource.setrlimit(resource.RLIMIT_NOFILE, (needed, hard))
        return None
    return soft if soft < needed else None


def _run(fleet: Fleet) -> int:
    shown_s = time.monotonic()
    try:
        while not fleet.is_over or fleet.count().waiting:
            fleet.turn(0.5)
            if time.monotonic() - shown_s >= 10:
                shown_s = time.monotonic()
                print(_text(fleet.count(), fleet.trouble), flush=True)
    except KeyboardInterrupt:
        pass
    count = fleet.count()
    fleet.close()
    print(_text(count, fleet.trouble), flush=True)
    return 1 if count.waiting else 0


def _text(count: Count, trouble: str) -> str:
    cpu_s = sum(os.times()[:2])
    why = f"; {trouble}" if trouble and not count.connected else ""
    return (
        f"{rfc3339(count.wall_ms)}: {count.connected} connected, {count.entries} entries, {count.waiting} not confirmed, "
        f"{count.said_again} said again, {count.behind_s:.1f} s late, {cpu_s:.1f} s of CPU{why}"
    )


if __name__ == "__main__":
    sys.exit(main())
