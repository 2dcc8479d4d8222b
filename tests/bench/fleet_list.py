"""The fleet's list at 10,000 stations: its first page in each order, each filter, a page in the middle.

    python -m tests.bench.fleet_list

A real PostgreSQL of its own on loopback; the stations' state is loaded by COPY, 9,700 of them quiet and of each trouble some. Each figure
is the best of 5 and the whole way through edge/fleet/asking.py: SQL, connection, rows in Python. Goal: below 300 ms each. Beside it stand
a yardstick of the same run (the shortest question that there is), and how the default list is planned: with an index, without a scan.
Exit code 1 where a goal is missed.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Final

from edge.archive import migrations
from edge.fleet.asking import SORTS, Filters, Fleet, listed
from tests.integration.archive_kit import Postgres

STATIONS: Final = 10_000
SITES: Final = 250
GOAL_MS: Final = 300.0
FILTERS: Final = {
    "one site": Filters(site="site-077"), "ready": Filters(verdict="ready"), "not ready": Filters(verdict="not_ready"),
    "unknown": Filters(verdict="unknown"), "an urgent alarm": Filters(alarm=3), "silent": Filters(silent=True), "gaps": Filters(gaps=True),
    "altered": Filters(altered=True), "none such": Filters(site="nowhere"),
}  # fmt: skip
_STATE: Final = """
COPY state (site, name, verdict, display, said_at, heard_at, silent_at, alarm, filters_due, calibration_due, missing, misfit) FROM STDIN"""
_LIKE: Final = "CREATE TEMP TABLE state AS SELECT * FROM summary WITH NO DATA"
_INTO: Final = """
UPDATE summary s SET verdict = t.verdict, display = t.display, said_at = t.said_at, heard_at = t.heard_at, silent_at = t.silent_at,
    is_silent = t.silent_at <= now(), alarm = t.alarm, filters_due = t.filters_due, calibration_due = t.calibration_due,
    missing = t.missing, misfit = t.misfit FROM state t WHERE (s.site, s.name) = (t.site, t.name)"""


def load(postgres: Postgres, database: str) -> None:
    """The state of 10,000 stations, made up by their number: each 100th is away, each 150th cold, and so on."""
    with contextlib.closing(postgres.connect(database)) as db:
        migrations.prepare(db)
        db.execute(_LIKE)
        with db.cursor() as cursor, cursor.copy(_STATE) as copy:
            for n in range(STATIONS):
                verdict = "unknown" if n % 170 == 3 else "not_ready" if n % 150 == 2 else "ready"
                copy.write_row(
                    (
                        f"site-{n % SITES:03d}", f"bench-{n:05d}", verdict, "cant_tell" if verdict == "unknown" else verdict,
                        "now", "now", at("-60 minutes" if n % 100 == 1 else "30 minutes"), 3 if n % 900 == 5 else 0,
                        at(f"{n % 400} days"), at(f"{(n * 7) % 380} days"), 4 if n % 300 == 7 else 0, n % 4000 == 9,
                    )
                )  # fmt: skip
        db.execute("INSERT INTO station (site, name) SELECT site, name FROM state")
        db.execute(_INTO)
        db.execute("VACUUM ANALYZE summary")


def at(ahead: str) -> str:
    """A time so far ahead of now, for COPY."""
    number, unit = ahead.split()
    seconds = int(number) * {"minutes": 60, "days": 86_400}[unit]
    return time.strftime("%Y-%m-%d %H:%M:%SZ", time.gmtime(time.time() + seconds))


def best_ms(call: Callable[[], object], times: int = 5) -> float:
    """The shortest of so many goes [ms]."""
    found = []
    for _ in range(times):
        began_s = time.perf_counter()
        call()
        found.append((time.perf_counter() - began_s) * 1000)
    return min(found)


def figures(fleet: Fleet) -> dict[str, float]:
    """Each figure by its name [ms]."""
    found = {f"first page by {sort}": best_ms(partial(fleet.stations, Filters(), sort, None, 50)) for sort in SORTS}
    for name, filters in FILTERS.items():
        found[f"only {name}"] = best_ms(partial(fleet.stations, filters, "urgent", None, 50))
    after = None
    for _ in range(10):
        _, after = fleet.stations(Filters(), "urgent", after, 500)
    found["page behind 5,000"] = best_ms(partial(fleet.stations, Filters(), "urgent", after, 50))
    found["sites, counted"] = best_ms(partial(fleet.sites, "", 1000))
    return found


def plan(postgres: Postgres, database: str) -> str:
    """How PostgreSQL goes about the default list."""
    sql, values = listed(Filters(), "urgent", None)
    with contextlib.closing(postgres.connect(database)) as db:
        return "\n".join(row[0] for row in db.execute(f"EXPLAIN (ANALYZE) {sql} LIMIT 51".encode(), values))


def main() -> int:
    """Print all of it. 1 where a goal is missed."""
    postgres = Postgres()
    try:
        database = postgres.database("fleet")
        load(postgres, database)
        fleet = Fleet(postgres.dsn(database))
        yardstick = best_ms(fleet.is_heard)
        found, planned = figures(fleet), plan(postgres, database)
        fleet.close()
    finally:
        postgres.close()
    print(f"{STATIONS} stations; yardstick (a question of one row): {yardstick:.1f} ms")
    for name, ms in found.items():
        print(f"{name:28} {ms:7.1f} ms {'' if ms < GOAL_MS else f'  MISSED: goal {GOAL_MS:g} ms'}")
    print(planned)
    is_scanned = "Seq Scan" in planned
    if is_scanned:
        print("MISSED: the default list scans the table")
    return 1 if is_scanned or any(ms >= GOAL_MS for ms in found.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
