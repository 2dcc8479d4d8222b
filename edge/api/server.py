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
from collections import Counter
from collections.abc import Callable, Mapping, MutableMapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from edge.api.parts import Certificate, Judge, MadeOfIt, Parts, People, Refused, Series
from edge.domain.contracts import JournalReader
from edge.domain.errors import AlreadyRunning, UnusableInput, WarmwellError
from edge.hosts import is_loopback

if TYPE_CHECKING:
    import uvicorn

log = logging.getLogger(__name__)

LET_GO_AFTER_S: Final = 1.0  # at a stop: what has not ended by itself until then is cut off
IDLE_S: Final = 15  # a kept connection that asks nothing is closed
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
        certificate: what TLS is spoken with; None: plain HTTP, for this computer alone.
        refused: hears in the server's thread of what was refused at the border.
        people: who may do what; None: whoever is typed counts.
        keep: the [keep] folder, for the support bundle's list of files.
        room: the other stations of this computer.

    Raises:
        UnusableInput: it would listen to the network without a certificate.
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
        certificate: Certificate | None = None,
        refused: Refused = lambda why, address: None,
        people: People | None = None,
        keep: Path | None = None,
        room: Callable[[], Sequence[Mapping[str, Any]]] | None = None,
        head: Callable[[], dict[str, Any]] | None = None,
        made_of_it: MadeOfIt = MadeOfIt(),
    ) -> None:
        self._host, self._port, self._certificate = host, port, certificate
        self._tell_refused, self._refusals = refused, Counter[str]()
        on_network = not is_loopback(host)
        if on_network and certificate is None:
            raise UnusableInput(
                "the page would be open to the network without TLS", where=f"api.listen {host}:{port}",
                expected="a certificate, or an address of this computer alone", do="Add [api.tls], or listen on 127.0.0.1",
            )  # fmt: skip
        self._parts = Parts(
            judge, journal, series, about, status, on_network=on_network, people=people, keep=keep, room=room, head=head,
            export=made_of_it.export, report=made_of_it.report,
        )  # fmt: skip
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
        self._socket = listening(self._host, self._port, f"api.listen {self._host}:{self._port}")
        port = self._socket.getsockname()[1]
        scheme = "http" if self._certificate is None else "https"
        self.url = f"{scheme}://{f'[{self._host}]' if ':' in self._host else self._host}:{port}/"
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
        return {"ok": serves, "url": self.url, "fault": self._fault, "refused": dict(self._refusals)}

    def _refused(self, why: str, address: str) -> None:
        self._refusals[why] += 1
        self._tell_refused(why, address)

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
        from edge.api.border import Names
        from edge.api.connection import BoundedConnection
        from edge.api.door import MOST_OF_ONE, Door

        self._loop, self._stopping = asyncio.get_running_loop(), asyncio.Event()
        if self._stop_asked:
            return
        server, certificate = _uvicorn(), self._certificate
        connections = Connections(server)
        built = api.build(self._parts)
        certified = None if certificate is None else certificate.names
        server.config.loaded_app = server.config.app = api.bordered(
            built, self._host, certified, let_go=connections.let_go, refused=self._refused
        )
        assert self._socket is not None  # start() has opened it
        door = Door(
            self._socket,
            lambda lost: BoundedConnection(server.config, server.server_state, {}, lost=lost),
            Names(self._host, certified),
            None if certificate is None else certificate.context,
            MOST_OF_ONE if self._parts.on_network else None,
            self._refused,
        )
        desk = built.state.desk

        def see() -> None:
            self._beat_s = time.monotonic()
            desk.watch.see()

        watching = asyncio.create_task(_watch(see, self._ready.set))
        serving = asyncio.create_task(server.serve(sockets=[]))  # none of its own: the door accepts
        accepting = asyncio.create_task(door.serve())
        asked = asyncio.create_task(self._stopping.wait())
        await asyncio.wait({serving, accepting, asked}, return_when=asyncio.FIRST_COMPLETED)
        desk.hub.close()
        accepting.cancel()
        await asyncio.wait({accepting}, timeout=LET_GO_AFTER_S)  # it lets go of the socket before that is closed
        self._socket.close()
        server.should_exit = True
        await asyncio.wait({serving}, timeout=LET_GO_AFTER_S)
        connections.abort_all()
        await asyncio.wait({serving}, timeout=LET_GO_AFTER_S)
        for task in (watching, asked, serving):
            task.cancel()
        desk.readers.stop()
        desk.tellers.stop()
        desk.exporters.stop()
        desk.reporters.stop()
        desk.door.readers.stop()
        for task in (serving, accepting):
            if task.done() and not task.cancelled() and (fault := task.exception()) is not None:
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

    from edge.api.border import HEAD_LIMIT

    config = uvicorn.Config(
        _not_yet,
        loop="asyncio",
        http="h11",
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=IDLE_S,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=HEAD_LIMIT,
        workers=1,  # whatever the environment says: there is one judge
    )
    config.load()
    return uvicorn.Server(config)


async def _not_yet(scope: Any, receive: Any, send: Any) -> None:
    """Stands where the application will be until it is built."""
    raise RuntimeError("the application is not built yet")


def listening(host: str, port: int, where: str) -> socket.socket:
    """A socket that listens there; `where` is what names the address.

    Raises:
        AlreadyRunning: the port is taken.
        UnusableInput: the address can't be listened on.
    """
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
