"""What the tests of the fleet share: ten stations, one of each kind, as an archive has them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from edge.archive.messages import Place
from edge.archive.store import Message, Store
from edge.archive.verifying import verify
from edge.domain.entries import rfc3339
from tests.integration.archive_kit import chain
from tests.integration.mqtt_kit import SITE

if TYPE_CHECKING:
    from psycopg import Connection

#: the ten, the most urgent first
TEN = ("c-tripped", "e-away", "f-lost", "b-cold", "d-unknown", "i-altered", "h-gaps", "g-resting", "a-ready", "j-ready")


def at(minutes: float) -> str:
    """So many minutes from now."""
    return rfc3339(int((datetime.now(UTC) + timedelta(minutes=minutes)).timestamp() * 1000))


def told(db: Connection[Any], name: str, verdict: str = "ready", display: str = "", *, minutes: float = 0.0, site: str = SITE,
         alarms: tuple[dict[str, Any], ...] = (), node: str = "online", **more: Any) -> None:  # fmt: skip
    """A station's retained messages, said so many minutes from now and good for three."""
    fresh = {"fresh_until": at(minutes + 3)}
    said = {
        "node": {"state": node, "title": f"Bench {name}", "timezone": "Europe/Dublin", "at": at(minutes)} | fresh,
        "verdict": {"verdict": verdict, "display": display or verdict, "at": at(minutes), "waits_for": [], **more} | fresh,
        **{f"alarm/{one['id'].replace(':', '/')}": one | fresh for one in alarms},
    }  # fmt: skip
    Store(db).note_all([(Place(site, name, what), json.dumps(one).encode(), None) for what, one in said.items()])


def alarm(ident: str, priority: str = "medium", **more: Any) -> dict[str, Any]:
    return {
        "id": ident,
        "state": "unacknowledged",
        "active": True,
        "priority": priority,
        "since": at(-5),
        "cause": f"{ident} has tripped",
        **more,
    }


def ten_stations(db: Connection[Any]) -> None:
    """Keep them in a prepared database."""
    told(db, "a-ready")
    told(db, "b-cold", "not_ready", alarms=(alarm("reservoir_cold"),), waits_for=["Warm it up"])
    told(
        db,
        "c-tripped",
        "not_ready",
        alarms=(alarm("outlet_tripped:heater", "high"), alarm("leak", "low", state="normal", active=False)),
    )
    told(db, "d-unknown", "unknown", "cant_tell")
    told(db, "e-away", minutes=-10)
    told(db, "f-lost", node="lost")
    told(db, "g-resting", "not_ready", "at_rest", alarms=(alarm("filter_due:fine", "low"),))
    told(db, "h-gaps")
    messages = chain("h-gaps", 9)
    Store(db).put([Message("", Place(SITE, "h-gaps", "journal"), one) for one in (*messages[:3], *messages[6:])])
    told(db, "i-altered")
    good = chain("i-altered", 3)
    Store(db).put(
        [
            Message("", Place(SITE, "i-altered", "journal"), one)
            for one in (good[0], good[1].replace(b'"n":2', b'"n":9'), good[2])
        ]
    )
    assert [one.misfit is None for one in verify(db, (SITE, "i-altered"))] == [False]
    due = {"duty": {"due_at": at(60 * 24), "done_at": None, "by": None, "text": ""}, "state": "normal", "active": False}
    told(db, "j-ready", site="other-clinic", alarms=(alarm("duty_due:calibration:reservoir", "low", **due),))
    left = {"of": "filter:fine:left", "value": 0.5, "at": at(0), "fresh_until": at(3)}
    Store(db).note(Place("other-clinic", "j-ready", "estimate/filter/fine/left"), json.dumps(left).encode())
