"""`warmwell run FILE`: the daemon of one station, from the start to a clean stop.

SIGTERM and SIGINT stop it within five seconds; SIGHUP reloads the station file (a bad one leaves the old in force, and says
so). Under a service manager it speaks sd_notify: ready once something was read and the page answers, and alive only while
each part makes progress.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import os
import socket
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from edge import config
from edge.clock import RealClock
from edge.daemon import interpreter
from edge.daemon.assembly import Assembly
from edge.daemon.opening import Opening
from edge.daemon.signals import Asked, listening
from edge.daemon.systemd import notify, watchdog_s
from edge.daemon.version import program_version
from edge.domain.entry_bodies import SettingsRefusedBody
from edge.domain.errors import AlreadyRunning, StoreFault, UnusableInput, WarmwellError
from edge.store.lock import FolderLock

log = logging.getLogger("warmwell.daemon")

#: how often the parts are looked at (real seconds)
LOOK_EVERY_S: Final = 1.0
#: after so long (real seconds) it is ready without a reading or without the page, and says which
READY_AFTER_S: Final = 30.0


def run(path: Path) -> int:
    """Run the station that a file describes until a signal stops it.

    Returns: 0 after a clean stop; 1 where the judge died or a part could not be stopped in time.

    Raises:
        UnusableInputs: the station file can't be used.
        AlreadyRunning: another process holds the folder or the port of the page.
        NewerStore, StoreFault: the store can't be used.
    """
    plan = config.load(path)
    interpreter.take_short_turns()
    with listening() as asked:
        log.info("Warmwell %s: station %s, settings %s", program_version(), plan.settings.name, plan.digest[:12])
        for text in plan.warnings:
            log.warning("%s", text)
        for text in plan.not_active:
            log.warning("not active yet: %s", text)
        try:
            refuse_held_port(plan.api.host, plan.api.port)
        except AlreadyRunning:
            if (
                plan.keep.folder.is_dir()
            ):  # of two on one folder, who holds it is said rather than that the port is taken
                with contextlib.suppress(StoreFault):
                    FolderLock(plan.keep.folder).release()
            raise
        judged = again = True
        opening: Opening | None = None
        while again:
            again = False
            assembly = Assembly(plan, RealClock(), opening=opening)
            try:
                assembly.open()
                assembly.start_reading()
                assembly.start_telling()
                log.info("the page is at %s", assembly.url or "(not yet: see above)")
                if assembly.page.fingerprint:
                    log.info("the page's certificate has the SHA-256 fingerprint %s", assembly.page.fingerprint)
                judged = _attend(assembly, asked, path)
                again = judged and asked.stop_why is None
            finally:
                if not again:
                    notify("STOPPING=1")
                ended = assembly.stop(asked.stop_why or ("the store can be used again" if again else "a fault"))
            plan, opening = assembly.plan, assembly.opening
        if opening is not None:
            opening.let_go()
        log.info("stopped (%s)", asked.stop_why or "a fault")
        if not ended:  # a call that hangs in the kernel would hold up the end of the program, too
            log.error("a part hangs and could not be stopped: the program ends without it")
            logging.shutdown()
            os._exit(1)
        return 0 if judged else 1


def _attend(assembly: Assembly, asked: Asked, path: Path) -> bool:
    """Supervise until a signal asks for the stop, or a store that couldn't be used can be; False where the judge died."""
    watchdog, fed_s, began_s, is_ready = watchdog_s(), 0.0, time.monotonic(), False
    hangs = False
    while asked.stop_why is None and not assembly.store_is_back():
        asked.wait(min(LOOK_EVERY_S if is_ready else 0.1, watchdog or LOOK_EVERY_S))
        if not is_ready and (assembly.is_ready() or time.monotonic() - began_s > READY_AFTER_S):
            is_ready = True
            interpreter.settle()
            notify(f"READY=1\nSTATUS={'watching' if assembly.is_ready() else 'watching; no reading or no page yet'}")
        if asked.reload:
            asked.reload = False
            reload(assembly, path)
        if not assembly.judge.alive():
            log.critical("the judge has ended; Warmwell stops, so that the service manager can start it afresh")
            return False
        try:
            assembly.look()
        except Exception:  # supervision border: whoever looks after the parts must outlive a mistake about one
            log.exception("looking after the parts failed")
        if is_ready and watchdog is not None and time.monotonic() - fed_s >= watchdog / 2:
            hangs = not feed(assembly.stuck(), again=hangs)
            fed_s = fed_s if hangs else time.monotonic()
    return True


def feed(stuck: Sequence[str], *, again: bool) -> bool:
    """Tell the service manager that the daemon is alive, or which parts make no progress. Returns whether it was told the first.

    Args:
        stuck: those parts, in words.
        again: it was told of some the last time.
    """
    if stuck:
        log.critical("no progress: %s; the service manager is not told that all is well", ", ".join(stuck))
        notify(f"STATUS=no progress: {', '.join(stuck)}")
        return False
    notify("WATCHDOG=1\nSTATUS=watching" if again else "WATCHDOG=1")
    return True


def reload(assembly: Assembly, path: Path) -> bool:
    """Load the station file anew; a bad one leaves the old in force. Returns whether the new one is in force."""
    notify(f"RELOADING=1\nMONOTONIC_USEC={time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000}")
    state = "watching; the station file was not taken, the old settings stay in force"
    try:
        plan = config.load(path)
        assembly.reload(plan)
        state = "watching"
    except WarmwellError as exc:
        for line in str(exc).splitlines():
            log.error("%s", line)
        log.error("the station file was not taken; the old settings (%s) stay in force", assembly.plan.digest[:12])
        _tell_refused(assembly, str(exc))
        return False
    except Exception:  # supervision border: a reload that fails must not end the watch
        log.exception("the reload failed; see /health for what is in force")
        _tell_refused(assembly, "the reload failed because of a fault in Warmwell; see the system journal")
        return False
    finally:
        notify(f"READY=1\nSTATUS={state}")
    for text in (*plan.warnings, *(f"not active yet: {text}" for text in plan.not_active)):
        log.warning("%s", text)
    assembly.judge.remark("settings", "")
    interpreter.settle()
    log.info("the station file was taken: settings %s are in force", plan.digest[:12])
    return True


def _tell_refused(assembly: Assembly, why: str) -> None:
    """Whoever wrote the file may not see this program's log: it is an entry, and stands beside the verdict until one is taken."""
    first = why.splitlines()[0] if why else ""
    body: SettingsRefusedBody = {"why": why[:2000], "in_force": assembly.plan.digest}
    assembly.judge.note("settings_refused", body)
    assembly.judge.remark("settings", f"The station file was not taken, the old settings stay in force: {first}")


def refuse_held_port(host: str, port: int) -> None:
    """Say before anything is begun that the page's port is taken.

    Raises:
        AlreadyRunning: another program listens there.
        UnusableInput: nobody can: no address of this machine, or a port kept for root.
    """
    if port == 0:
        return
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as sock:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port))
        except OSError as exc:
            where, what = f"{host} port {port}", f"the port can't be taken ({exc.strerror})"
            if exc.errno == errno.EADDRINUSE:
                raise AlreadyRunning(
                    what, where=where, expected="a free port for the page",
                    do="Stop the other program, or name another port: `listen` under [api], --port of a demo",
                ) from exc  # fmt: skip
            raise UnusableInput(
                what, where=where, expected="an address of this machine and a port that this user may take, above 1023",
                do="Correct `listen` under [api]",
            ) from exc  # fmt: skip
