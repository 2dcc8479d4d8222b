"""A station as its API tells it, small, and a server that tells it."""

from __future__ import annotations

import contextlib
import copy
import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar


def point(
    role: str, value: float | None, unit: str, quality: str = "good", age_s: float | None = 1.0
) -> dict[str, Any]:
    return {
        "role": role, "value": value, "unit": unit, "quality": quality, "reason": None if quality == "good" else "stale", "age_s": age_s,
    }  # fmt: skip


def alarm(state: str = "normal", priority: str = "medium") -> dict[str, Any]:
    return {"state": state, "priority": priority, "cause": "" if state == "normal" else "19.5 °C; 33 °C needed"}


#: an event `snapshot` with the members that faces read, and one that they don't know
PICTURE = {
    "seq": 70000,
    "verdict": {"site": "harbour-lane", "station": "scope-room-2", "verdict": "not_ready", "quiet_s": 0.2, "seq": 70000},
    "points": {
        "flow": point("flow", 9.5, "L/min"),
        "reservoir": point("reservoir_temperature", 38.5, "Cel"),
        "supply": point("supply_pressure", None, "kPa", "bad", 40.0),
    },
    "alarms": {"leak": alarm(), "pressure_low": alarm("acknowledged"), "reservoir_cold": alarm("unacknowledged", "high")},
    "estimates": {},
}  # fmt: skip


def picture(quiet_s: float = 0.2) -> dict[str, Any]:
    """A copy to be changed."""
    made: dict[str, Any] = copy.deepcopy(PICTURE)
    made["verdict"]["quiet_s"] = quiet_s
    return made


class Api:
    """Tells `picture` by the paths that faces ask, to as many streams as there are: at once, when told anew, and four times a second."""

    def __init__(self) -> None:
        self.picture = picture()
        self.changed = threading.Condition()
        self.asked: list[str] = []

        class Handler(_Handler):
            api = self

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}/"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,))
        self._thread.start()

    def tell(self, told: dict[str, Any]) -> None:
        with self.changed:
            self.picture = told
            self.changed.notify_all()

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class _Handler(BaseHTTPRequestHandler):
    api: ClassVar[Api]

    def do_GET(self) -> None:
        self.api.asked.append(self.path)
        self.send_response(200)
        self.end_headers()
        if not self.path.startswith("/api/1/stream"):
            name = self.path.rsplit("/", 1)[1]
            told = self.api.picture[name]
            self.wfile.write(json.dumps(told if name == "verdict" else {name: told}).encode())
            return
        with contextlib.suppress(OSError), self.api.changed:
            while True:
                self.wfile.write(f"event: snapshot\ndata: {json.dumps(self.api.picture)}\n\n".encode())
                self.api.changed.wait(0.25)

    def log_message(self, *_: object) -> None:
        """Nothing."""


@contextlib.contextmanager
def told_api() -> Iterator[Api]:
    api = Api()
    try:
        yield api
    finally:
        api.close()
