"""Serves the fleet's API on this computer, until a signal says stop."""

from __future__ import annotations

import logging
import signal
from typing import Final

from edge.archive.settings import Settings
from edge.daemon.version import program_version
from edge.domain.errors import UnusableInput
from edge.fleet.asking import Fleet
from edge.hosts import is_loopback

log = logging.getLogger("warmwell.fleet")

#: connections at a time; beyond them it is answered 503
_MOST_CONNECTIONS: Final = 200


def address_in(listen: str) -> tuple[str, int]:
    """Host and port of HOST:PORT.

    Raises:
        UnusableInput: it is none, or others than this computer could come in.

    >>> address_in("127.0.0.1:8490"), address_in("[::1]:8490")
    (('127.0.0.1', 8490), ('::1', 8490))
    """
    host, _, port = listen.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not host or not (port.isascii() and port.isdigit() and 0 <= int(port) < 65_536):
        raise UnusableInput(
            f"{listen[:80]!r} is no address", where="--listen", expected="HOST:PORT, as 127.0.0.1:8490", do="Correct it"
        )
    if not is_loopback(host):
        raise UnusableInput(
            f"{host[:80]} can be reached from the network, and the fleet knows no sign-in", where="--listen",
            expected="an address of this computer alone, as 127.0.0.1:8490",
            do="Leave it out, and reach it through a proxy that asks who comes, or by ssh",
        )  # fmt: skip
    return host, int(port)


def serve(settings: Settings, host: str, port: int) -> int:
    """Serve until SIGTERM or SIGINT. Returns 0.

    Raises:
        UnusableInput, NewerStore: the tables aren't this version's. AlreadyRunning: the port is taken. StoreFault: no database.
    """
    fleet = Fleet(settings.database)
    fleet.check()

    import uvicorn

    from edge.api.app import bordered
    from edge.api.border import HEAD_LIMIT
    from edge.api.server import listening
    from edge.fleet.app import build

    listener = listening(host, port, "--listen")
    app = bordered(build(fleet, settings.name, program_version()), host)
    config = uvicorn.Config(
        app, loop="asyncio", http="h11", ws="none", lifespan="off", interface="asgi3", log_config=None, access_log=False,
        proxy_headers=False, server_header=False, timeout_keep_alive=15, timeout_graceful_shutdown=2,
        limit_concurrency=_MOST_CONNECTIONS, h11_max_incomplete_event_size=HEAD_LIMIT, workers=1,
    )  # fmt: skip
    bare, tcp_port = listener.getsockname()[:2]
    log.info("the fleet of %s is at http://%s:%d/", settings.name, f"[{bare}]" if ":" in bare else bare, tcp_port)
    before = {number: signal.signal(number, lambda *_: None) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        uvicorn.Server(config).run(
            sockets=[listener]
        )  # it stops at these signals, and hands them on once it has stopped
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        listener.close()
        fleet.close()
    return 0
