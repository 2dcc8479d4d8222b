"""The API's server: uvicorn in a daemon thread of its own, FastAPI imported there, stopped within three seconds.

Only the socket is opened by the caller's thread: a port that is taken is told at once, and connections wait in its queue
while FastAPI is still being imported.
"""

from __future__ import annotations

import asyncio
import errno
import logging
import socket
import threading
import time
from collections.abc import Callable, Mapping, MutableMapping
from typing import TYPE_CHECKING, Any, Final

from edge.api.parts import Judge, Parts, People, Series
from edge.domain.contracts import JournalReader
from edge.domain.errors import AlreadyRunning, UnusableInput, WarmwellError

if TYPE_CHECKING:
    import uvicorn

log = logging.getLogger(__name__)

LET_GO_AFTER_S: Final = 1.0  # at a stop: what has not ended by itself until then is cut off
_WATCH_EVERY_S: Final = 1.0


class ApiServer:
    """Serves /api/1, /health, /metrics, the page and the API pages.

    Args:
        host, port: where to listen; port 0 takes a free one, see `url` after start().
        judge: record(), snapshot(), wait_snapshot().
        journal: a JournalReader.
        series: buckets().
        about: what GET /api/1/station answers: site, station, title, timezone, version, speed.
        status: the parts' state for /health; "ok": false in it makes it "degraded".
        people: who may do what; None: whoever is typed counts.
    """

    def __init__(
        self,
        host: str,
        port: int,
        judge: Judge,
        journal: JournalReader,
        series: Series,
        about: Mapping[str, Any],
        status: Callable[[], dict[str, Any]],
        people: People | None = None,
    ) -> None:
        self._host, self._port = host, port
        self._parts = Parts(judge, journal, series, about, status, people)
        self._socket: socket.socket | None = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stopping: asyncio.Event | None = None
        self._ready = threading.Event()
        self._stop_asked = False
        self._fault: str | None = None
        self._beat_s = time.monotonic()
        self.url = ""

    def start(self) -> None:
        """Open the port and start serving in an own thread. `url` is known when this returns.

        Raises:
            AlreadyRunning: the port is taken.
            UnusableInput: the address can't be listened on.
        """
        self._socket = _listen(self._host, self._port)
        port = self._socket.getsockname()[1]
        self.url = f"http://{f'[{self._host}]' if ':' in self._host else self._host}:{port}/"
        self._thread = threading.Thread(target=self._run, name="api", daemon=True)
        self._thread.start()

    def wait_ready(self, timeout_s: float) -> bool:
        """Wait until requests are answered (or serving has failed); False when time ran out."""
        return self._ready.wait(timeout_s)

    def quiet_s(self) -> float:
        """Real seconds since its loop last came round; it does each second."""
        return time.monotonic() - self._beat_s

    def status(self) -> dict[str, Any]:
        """For /health and the summary: does it serve, where, and if not, why."""
        serves = self._thread is not None and self._thread.is_alive() and self._fault is None
        return {"ok": serves, "url": self.url, "fault": self._fault}

    def stop(self, timeout_s: float = 3.0) -> None:
        """End streams with a last event, let answers finish for a second, cut off the rest. May be called twice."""
        self._stop_asked = True
        loop, stopping = self._loop, self._stopping
        if loop is not None and stopping is not None:
            try:
                loop.call_soon_threadsafe(stopping.set)
            except RuntimeError:
                pass  # the loop is closed: it has stopped by itself
        if self._thread is not None:
            self._thread.join(timeout_s)
            if self._thread.is_alive():
                log.warning("the API did not stop within %g s; the program goes on without it", timeout_s)
        if self._socket is not None:
            self._socket.close()

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as exc:  # supervision border: without its API the daemon still watches, keeps and publishes
            self._fault = f"{type(exc).__name__}: {exc}"
            log.exception("the API failed")
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        from edge.api import app as api  # 300 ms and 29 MiB: here, after sampling has begun

        self._loop, self._stopping = asyncio.get_running_loop(), asyncio.Event()
        if self._stop_asked:
            return
        server = _uvicorn()
        connections = Connections(server)
        built = api.build(self._parts)
        border = api.bordered(built, self._host, let_go=connections.let_go)
        server.config.loaded_app = server.config.app = border
        desk = built.state.desk

        def see() -> None:
            self._beat_s = time.monotonic()
            desk.watch.see()

        watching = asyncio.create_task(_watch(see, self._ready.set))
        serving = asyncio.create_task(server.serve(sockets=[self._socket] if self._socket else None))
        asked = asyncio.create_task(self._stopping.wait())
        await asyncio.wait({serving, asked}, return_when=asyncio.FIRST_COMPLETED)
        desk.hub.close()
        server.should_exit = True
        await asyncio.wait({serving}, timeout=LET_GO_AFTER_S)
        connections.abort_all()
        await asyncio.wait({serving}, timeout=LET_GO_AFTER_S)
        for task in (watching, asked, serving):
            task.cancel()
        desk.readers.stop()
        desk.tellers.stop()
        desk.door.readers.stop()
        if serving.done() and not serving.cancelled() and (fault := serving.exception()) is not None:
            raise fault


class Connections:
    """The server's open connections, and how to end one."""

    def __init__(self, server: uvicorn.Server) -> None:
        self._open: set[Any] = server.server_state.connections

    def let_go(self, scope: MutableMapping[str, Any], at_once: bool) -> None:
        """End the connection of a request: at once, or after a last message that its full buffer would not take otherwise."""
        for protocol in list(self._open):
            if protocol.client == scope.get("client"):
                if at_once:
                    protocol.transport.abort()
                else:
                    protocol.flow.resume_writing()
                    protocol.loop.call_later(30, protocol.transport.abort)

    def abort_all(self) -> None:
        """Cut off whatever is still open."""
        for protocol in list(self._open):
            protocol.transport.abort()


async def _watch(see: Callable[[], object], first: Callable[[], None]) -> None:
    """Look at the picture each second, so that a judge that falls silent is noticed from the start of its silence."""
    await asyncio.sleep(0)
    first()
    while True:
        see()
        await asyncio.sleep(_WATCH_EVERY_S)


def _uvicorn() -> uvicorn.Server:
    import uvicorn

    from edge.api.connection import BoundedConnection

    config = uvicorn.Config(
        _not_yet,
        loop="asyncio",
        http=BoundedConnection,
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=16 * 1024,
        workers=1,  # whatever the environment says: there is one judge
    )
    config.load()
    return uvicorn.Server(config)


async def _not_yet(scope: Any, receive: Any, send: Any) -> None:
    """Stands where the application will be until it is built."""
    raise RuntimeError("the application is not built yet")


def _listen(host: str, port: int) -> socket.socket:
    where = f"api.listen {host}:{port}"
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, _, _, _, address = found[0]
        listener = socket.socket(family, socket.SOCK_STREAM)
    except (OSError, UnicodeError, OverflowError) as exc:
        raise UnusableInput(
            f"the address is unknown ({exc})", where=where, expected="an address of this machine", do="Use 127.0.0.1"
        ) from exc
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a quick restart finds the port free
        listener.bind(address)
        listener.listen(64)
    except (OSError, OverflowError) as exc:
        listener.close()
        raise _refused(exc, where) from exc
    return listener


def _refused(exc: OSError | OverflowError, where: str) -> WarmwellError:
    number = exc.errno if isinstance(exc, OSError) else None
    if number == errno.EADDRINUSE:
        return AlreadyRunning(
            "another program listens there already",
            where=where,
            expected="a free port",
            do="See whether this station runs already, or choose another port",
        )
    if number in (errno.EACCES, errno.EPERM):
        return UnusableInput(
            "this user may not listen there", where=where, expected="a port above 1023", do="Choose another port"
        )
    return UnusableInput(
        f"it can't be listened on ({exc})",
        where=where,
        expected="an address of this machine and a port",
        do="Use 127.0.0.1:8484",
    )
