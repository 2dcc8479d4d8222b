"""The service manager's notify protocol (sd_notify(3)): one datagram of text to the socket named in NOTIFY_SOCKET."""

from __future__ import annotations

import logging
import os
import socket

log = logging.getLogger("warmwell.systemd")


def notify(text: str) -> bool:
    """Tell the service manager, such as "READY=1". False where there is none, or it doesn't listen."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    if address[0] == "@":  # the abstract name space of unix(7)
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sock:
            sock.settimeout(1.0)
            sock.sendto(text.encode(), address)
    except OSError as exc:
        log.warning("the service manager could not be told %r: %s", text, exc)
        return False
    return True


def watchdog_s() -> float | None:
    """How often to say WATCHDOG=1: half of what the service manager waits; None where it doesn't watch this process."""
    usec, pid = os.environ.get("WATCHDOG_USEC", ""), os.environ.get("WATCHDOG_PID", "")
    if not usec.isdigit() or int(usec) == 0 or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 2_000_000
