"""The fleet over a real PostgreSQL: what the list says of each station, its order, filters and pages, one station, its entries; who may
read.

That a list goes along an index, without a scan, is asked of PostgreSQL itself (documentation of version 15: EXPLAIN; 11.3, multicolumn
indexes; 9.24.5, row constructor comparison). RFC 9457 for refusals.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from edge.archive import migrations
from edge.archive.messages import Place, state_of
from edge.archive.settings import ENVIRONMENT
from edge.archive.store import Message, Store
from edge.domain.errors import StoreFault, UnusableInput
from edge.fleet.asking import BadCursor, Filters, Fleet, listed
from edge.fleet.server import address_in
from tests.integration.archive_kit import NEEDS_POSTGRES, ROOT, Postgres, chain
from tests.integration.fleet_kit import TEN, ten_stations, told
from tests.integration.mqtt_kit import SITE, free_port, until

if TYPE_CHECKING:
    from psycopg import Connection

pytestmark = NEEDS_POSTGRES


@pytest.fixture
def db(postgres: Postgres, request: pytest.FixtureRequest) -> Iterator[Connection[Any]]:
    with contextlib.closing(postgres.connect(postgres.database(request.node.name[:60]))) as made:
        migrations.prepare(made)
        yield made


def names(fleet: Fleet, sort: str = "urgent", **filters: Any) -> list[str]:
    return [row["name"] for row in fleet.stations(Filters(**filters), sort, None, 100)[0]]


@pytest.fixture
def fleet(postgres: Postgres, db: Connection[Any]) -> Iterator[Fleet]:
    """Ten stations, one of each kind, and a database that is asked."""
    ten_stations(db)
    found = Fleet(postgres.dsn(db.info.dbname))
    yield found
    found.close()


def test_the_list_says_of_each_station_what_it_is_and_the_most_urgent_stands_first(fleet: Fleet) -> None:
    assert names(fleet) == list(TEN)
    assert names(fleet, verdict="ready") == ["i-altered", "h-gaps", "a-ready", "j-ready"], (
        "who is silent is never ready"
    )
    assert names(fleet, verdict="unknown") == ["e-away", "f-lost", "d-unknown"]
    assert names(fleet, silent=True) == ["e-away", "f-lost"]
    assert names(fleet, alarm=3) == ["c-tripped"] and names(fleet, alarm=2) == ["c-tripped", "b-cold"]
    assert names(fleet, gaps=True) == ["h-gaps"] and names(fleet, altered=True) == ["i-altered"]
    assert names(fleet, site="other-clinic") == ["j-ready"]
    assert names(fleet, "filters")[:2] == ["g-resting", "j-ready"], "one that is due before one that lasts half a day"
    assert names(fleet, "calibration")[0] == "j-ready" and names(fleet, "heard")[0] == "e-away"
    kinds = {row["site"]: row for row in fleet.sites("", 10)}
    assert (kinds[SITE]["stations"], kinds[SITE]["silent"], kinds[SITE]["ready"], kinds[SITE]["not_ready"]) == (
        9,
        2,
        3,
        2,
    )
    assert (kinds[SITE]["with_gaps"], kinds[SITE]["altered"]) == (1, 1)
    for sort in ("urgent", "name", "filters", "calibration", "heard"):
        goes_on_page_by_page(fleet, sort)


def goes_on_page_by_page(fleet: Fleet, sort: str) -> None:
    """Each station once, in the order of one list."""
    whole, paged, after = names(fleet, sort), list[str](), None
    while True:
        rows, after = fleet.stations(Filters(), sort, after, 3)
        paged += [row["name"] for row in rows]
        if after is None:
            break
        other = "name" if sort == "urgent" else "urgent"
        with pytest.raises(BadCursor):
            fleet.stations(Filters(), other, after, 3)
    assert paged == whole and len(whole) == 10


def test_silence_is_judged_when_it_is_asked_for_and_a_clock_that_is_ahead_keeps_nothing_alive(
    db: Connection[Any], fleet: Fleet
) -> None:
    """The control is the column that the worker keeps: while nobody sweeps, it still says that a station is heard."""
    told(db, "k-ahead", minutes=60 * 24)  # tomorrow, by its clock: good for three minutes from when it came
    (row,) = [one for one in fleet.stations(Filters(), "name", None, 100)[0] if one["name"] == "k-ahead"]
    assert row["is_silent"] is False
    db.execute("UPDATE summary SET silent_at = silent_at - interval '4 minutes' WHERE name = 'k-ahead'")
    (row,) = [one for one in fleet.stations(Filters(), "name", None, 100)[0] if one["name"] == "k-ahead"]
    assert row["is_silent"] is True
    assert db.execute("SELECT is_silent FROM summary WHERE name = 'k-ahead'").fetchone() == (False,)
    Store(db).fall_silent()
    assert db.execute("SELECT is_silent, urgency FROM summary WHERE name = 'k-ahead'").fetchone() == (True, 1)


def test_what_the_station_no_longer_says_stands_no_more(db: Connection[Any], fleet: Fleet) -> None:
    Store(db).note(Place(SITE, "c-tripped", "alarm/outlet_tripped/heater"), b"")
    assert names(fleet, alarm=3) == []
    told(db, "b-cold", "not_ready", minutes=5)  # its alarm was not said again beside it
    assert names(fleet, alarm=2) == []
    told(db, "a-ready", verdict=["ready"])  # type: ignore[arg-type]  # no word at all
    Store(db).note(Place(SITE, "h-gaps", "verdict"), b"\x00rubbish")
    assert {"a-ready", "h-gaps"} <= set(names(fleet, verdict="unknown")) and names(fleet, verdict="ready") == [
        "i-altered",
        "j-ready",
    ]


def test_one_station_has_all_that_it_said_and_its_entries_go_back_page_by_page(
    db: Connection[Any], fleet: Fleet
) -> None:
    from edge.api.viewers import Viewer
    from edge.fleet.telling import Teller, station_of

    found = fleet.station(SITE, "h-gaps")
    assert found is not None and fleet.station(SITE, "nobody") is None
    (journal,) = station_of(found, Teller(Viewer()))["journals"]
    assert (journal["gaps"], journal["missing"], journal["entries"]) == ([[4, 6]], 3, 9)
    Store(db).put([Message("", Place(SITE, "h-gaps", "journal"), one) for one in chain("h-gaps", 2, card="two")])
    seen, before = list[tuple[str, int]](), None
    while True:
        page = fleet.history(SITE, "h-gaps", before, 3)
        assert page is not None and len(page[0]) <= 3
        seen += [(one["journal"][:3], one["seq"]) for one in page[0]]
        before = page[1]
        if before is None:
            break
    assert [seq for _, seq in seen] == [2, 1, 9, 8, 7, 3, 2, 1], "the newest card's journal first"
    assert fleet.history(SITE, "nobody", None, 3) is None
    with pytest.raises(BadCursor):
        fleet.history(SITE, "h-gaps", "1.x", 3)


def test_who_reads_can_not_write_by_rights_nor_by_session(
    postgres: Postgres, db: Connection[Any], fleet: Fleet
) -> None:
    import psycopg

    db.execute("DROP ROLE IF EXISTS warmwell_reader")
    db.execute("CREATE ROLE warmwell_reader LOGIN")
    migrations.prepare(db, reader="warmwell_reader")
    reading = Fleet(postgres.dsn(db.info.dbname, "warmwell_reader"))
    reading.check()
    assert len(names(reading)) == 10 and reading.is_heard() is False
    assert Store(db).lock() and reading.is_heard() is True
    with (
        contextlib.closing(postgres.connect(db.info.dbname, "warmwell_reader")) as other,
        pytest.raises(psycopg.errors.InsufficientPrivilege),
    ):
        other.execute("UPDATE summary SET verdict = 'ready'")
    with pytest.raises(StoreFault, match="read-only"), fleet._db() as owner:
        owner.execute("UPDATE summary SET verdict = 'ready'")
    with pytest.raises(UnusableInput, match="no role"):
        migrations.prepare(db, reader="nobody_there")
    reading.close()
    db.execute("DROP OWNED BY warmwell_reader")


def test_no_list_scans_the_table(db: Connection[Any]) -> None:
    """At 2000 stations, as PostgreSQL plans it; the control: an order that no index has."""
    db.execute(
        "INSERT INTO station (site, name) SELECT 'site-' || n % 40, 'bench-' || n FROM generate_series(1, 2000) n"
    )
    db.execute("ANALYZE summary")

    def plan(sql: str, values: tuple[Any, ...] = ()) -> str:
        return "\n".join(row[0] for row in db.execute(f"EXPLAIN {sql} LIMIT 50".encode(), values))

    for sort in ("urgent", "name", "filters", "calibration", "heard"):
        found = plan(*listed(Filters(), sort, None))
        assert "Index Scan" in found and "Seq Scan" not in found and "Sort" not in found, found
    assert "Seq Scan" in plan("SELECT * FROM summary ORDER BY title")


def test_a_topic_is_one_of_those_that_are_kept_or_none() -> None:
    kept = ("node", "head", "verdict", "alarm/leak", "alarm/outlet_tripped/heater", "estimate/filter/fine/left")
    assert all(state_of(f"warmwell/1/{SITE}/x/{what}") == (SITE, "x", what) for what in kept)
    for what in ("journal", "point/room", "estimate/supply_capacity", "alarm/", "receipt/hospital"):
        assert state_of(f"warmwell/1/{SITE}/x/{what}") is None
    assert state_of("warmwell/2/a/b/node") is None


@pytest.mark.parametrize("listen", ["0.0.0.0:8490", "fleet.example:8490", "8490", "127.0.0.1:x", "127.0.0.1:70000"])
def test_others_than_this_computer_are_let_in_nowhere(listen: str) -> None:
    with pytest.raises(UnusableInput):
        address_in(listen)


def test_the_command_answers_refuses_by_sentences_and_stops_in_good_order(
    postgres: Postgres, db: Connection[Any], fleet: Fleet, tmp_path: Path
) -> None:
    file, port = tmp_path / "archive.toml", free_port()
    file.write_text('[archive]\nname = "hospital"\n[mqtt]\nhost = "127.0.0.1"\n', encoding="utf-8")
    program = [sys.executable, "-m", "edge.cli", "archive", "serve", str(file), "--listen", f"127.0.0.1:{port}"]
    env = {**os.environ, "PYTHONPATH": str(ROOT), ENVIRONMENT: postgres.dsn(db.info.dbname)}
    process = subprocess.Popen(program, env=env, cwd=ROOT, stderr=subprocess.DEVNULL)

    def get(path: str) -> tuple[int, Any]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=60) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as exc:
            with exc:
                return exc.code, json.loads(exc.read())

    def answers() -> bool:
        with contextlib.suppress(OSError):
            return get("/api/1/fleet")[0] == 200
        return False

    try:
        until(answers, "the fleet answers", 120)
        said = get("/api/1/fleet?lang=de")[1]
        assert said["hears"] is False and said["words"]["displays"]["not_ready"] == "NICHT BEREIT"
        code, page = get("/api/1/fleet/stations?limit=4&units=degF")
        assert code == 200 and [one["station"] for one in page["stations"]] == [
            "c-tripped",
            "e-away",
            "f-lost",
            "b-cold",
        ]
        assert page["stations"][1]["verdict"] == "unknown" and page["stations"][1]["last"]["verdict"] == "ready"
        assert page["stations"][3]["first"] == "Warm it up" and page["stations"][0]["alarm"] == "high"
        more = get(f"/api/1/fleet/stations?after={page['next']}")[1]
        assert len(more["stations"]) == 6 and more["next"] is None
        one = get(f"/api/1/fleet/stations/{SITE}/c-tripped")[1]
        assert [each["id"] for each in one["standing"]] == ["outlet_tripped:heater"]
        told = get("/api/1/fleet/stations/other-clinic/j-ready")[1]
        assert told["filters"][0]["filter"] == "fine" and told["duties"][0]["id"] == "duty_due:calibration:reservoir"
        entries = get(f"/api/1/fleet/stations/{SITE}/h-gaps/history?limit=2")[1]
        assert [each["seq"] for each in entries["entries"]] == [9, 8] and entries["entries"][0]["body"]["n"] == 9
        assert [each["site"] for each in get("/api/1/fleet/sites")[1]["sites"]] == [SITE, "other-clinic"]
        refused = {
            "/api/1/fleet/stations?after=x": 422, "/api/1/fleet/stations?sort=colour": 422, "/api/1/fleet/stations?verdct=ready": 422,
            "/api/1/fleet/stations?site=%00": 422, f"/api/1/fleet/stations/{SITE}/nobody": 404, "/api/1/verdict": 404,
        }  # fmt: skip
        for path, status in refused.items():
            code, problem = get(path)
            assert code == status and all(problem[part] for part in ("what", "where", "expected", "do")), path
        assert {"/api/1/fleet/stations", "/api/1/fleet/sites"} <= set(get("/api/1/openapi.json")[1]["paths"])
    finally:
        process.send_signal(signal.SIGTERM)
        code = process.wait(60)
    assert code == 0
