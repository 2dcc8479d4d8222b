"""A whole daemon whose 1-Wire master takes no order: probes are read all the same, and health and page say what to do."""

from __future__ import annotations

import os
from pathlib import Path

from tests.integration.daemon_kit import STATION, Daemon, until

PROBES = """
[[bus]]
id = "probes"
kind = "onewire"
root = "{folder}/../devices"

[[point]]
id = "room"
role = "room_temperature"
bus = "probes"
address = "28-00000a1b2c4e"
every = "1 s"

[[point]]
id = "water"
role = "supply_temperature"
bus = "probes"
address = "28-00000a1b2c5f"
every = "1 s"
"""
GOOD = "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\n"


def test_a_refused_order_is_said_by_health_and_beside_the_verdict(tmp_path: Path) -> None:
    master = tmp_path / "devices" / "w1_bus_master1"
    master.mkdir(parents=True)
    for address in ("28-00000a1b2c4e", "28-00000a1b2c5f"):
        (tmp_path / "devices" / address).mkdir()
        (tmp_path / "devices" / address / "w1_slave").write_text(GOOD)
    os.mkfifo(master / "therm_bulk_read")  # takes no order
    daemon = Daemon(tmp_path, STATION + PROBES)
    try:
        daemon.start()
        note = until(lambda: "takes no order" in str(daemon.get("/api/1/verdict")[1].get("note")))
        assert note and "deploy/60-warmwell-onewire.rules" in daemon.get("/api/1/verdict")[1]["note"]
        health = daemon.get("/health")[1]["parts"]
        bus = health["buses"]["probes"]
        assert bus["state"] == "ok" and "takes no order" in bus["remark"]
        assert health["judge"]["ok"]
        (master / "therm_bulk_read").unlink()
        (master / "therm_bulk_read").write_text("0\n")  # the rule is installed
        until(lambda: "takes no order" not in str(daemon.get("/api/1/verdict")[1].get("note")))
    finally:
        daemon.end()
