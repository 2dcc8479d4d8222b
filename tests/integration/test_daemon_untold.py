"""A whole daemon at a real Mosquitto that takes the connection and nothing else: its alarm `untold` rings; then it takes all.

The broker's access list lets nobody write (mosquitto.conf(5), acl_file: what is not listed is refused); by MQTT 5.0, 3.4.2.1, it
answers each message with 135, not authorised.
"""

from __future__ import annotations

from pathlib import Path

from edge.store.journal import ReadOnlyJournal
from tests.integration.daemon_kit import STATION, Daemon, until
from tests.integration.mqtt_kit import BASE, NEEDS_MOSQUITTO, Broker, Watcher

pytestmark = NEEDS_MOSQUITTO

TOLD = """
[mqtt]
host = "127.0.0.1"
port = {broker}

[alarm.untold]
on_delay = "1 s"
"""


def test_a_broker_that_refuses_all_raises_untold_until_it_takes_what_is_told(tmp_path: Path) -> None:
    access = tmp_path / "access"
    access.write_text("topic read #\n", encoding="utf-8")
    broker = Broker(tmp_path / "broker", "user root", f"acl_file {access}").start()
    daemon = Daemon(tmp_path, STATION + TOLD.replace("{broker}", str(broker.port)))
    try:
        daemon.start()
        alarm = until(lambda: (a := daemon.alarm("untold"))["active"] and a, why="no alarm")
        assert "not authorised" in alarm["cause"]
        watcher = Watcher(broker.port, f"{BASE}/journal")
        access.write_text("topic readwrite #\n", encoding="utf-8")
        broker.reload()
        until(lambda: not daemon.alarm("untold")["active"], 40, why="the alarm stays")
        until(lambda: alarm["seq"] in watcher.seqs(), why="the entries were not told")
        watcher.close()
        journal = ReadOnlyJournal(daemon.keep)
        told = [message.json() for message in watcher.journal()]
        assert {(one["journal"], one["digest"]) for one in told} == {
            (journal.mark(), journal.digest(one["seq"])) for one in told
        }
        journal.close()
    finally:
        daemon.end()
        broker.stop()
