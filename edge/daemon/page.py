"""The page's way to the network: may it be opened, with which certificate, where do people find it, and when does that end?"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar

from edge.certificates.live import Live
from edge.certificates.reading import Facts
from edge.config.plans import ApiPlan, StationFile
from edge.domain.entries import Now
from edge.domain.errors import StoreFault, UnusableInput, WarmwellError
from edge.domain.messages import Message, moment, say
from edge.hosts import LOOPBACK, address_of

#: so long before its end a certificate is told of: time to ask an authority, and for a holiday
TOLD_BEFORE_MS: Final = 21 * 86_400_000

ALARM: Final = "certificate_ends"
#: so long (real seconds) a start waits for the files
TAKEN_WITHIN_S: Final = 2.0

log = logging.getLogger("warmwell.daemon")
T = TypeVar("T")

#: whether somebody is set up to sign in at the station of a [keep] folder
Anyone = Callable[[Path], bool]


def refuse_nobody(plan: StationFile, anyone: Anyone) -> None:
    """The network gets no page that nobody can sign in to.

    Raises:
        UnusableInput: it would.
    """
    if plan.api.on_network and not anyone(plan.keep.folder):
        raise UnusableInput(
            "nobody is set up to sign in, so the page is not opened to the network", where=f"{plan.path}, api.listen",
            expected="at least one person with a code, or this machine only", do='Set somebody up, or write listen = "127.0.0.1:8484"',
        )  # fmt: skip


def address_for_people(api: ApiPlan, certified: Iterable[str], port: int = 0) -> str:
    """Where people find the page: by the first name of its certificate that leads here from elsewhere, else where it listens.

    Args:
        certified: names and addresses of the certificate.
        port: where it listens; 0: as planned.
    """
    listens = address_of(api.host)
    host = api.host
    if api.on_network:
        names = [name for name in certified if name not in LOOPBACK and not name.startswith("*")]
        if names and (listens is None or api.host not in names):
            host = names[0]
    scheme = "http" if api.tls is None else "https"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port or api.port}/"


class Ending(NamedTuple):
    """When a certificate ends. `is_known`: the clock is trusted; `cause`: of the alarm, None while there is none; `remark`: beside it."""

    is_known: bool
    cause: Message | None
    remark: str


def ending(facts: Facts, now: Now) -> Ending:
    """Whether a certificate has ended, or will within three weeks; not known while the clock isn't trusted."""
    if not now.trusted:
        return Ending(
            False, None, "Whether the page's certificate still holds can't be told: the clock is not trusted."
        )
    until = moment(facts.ends_ms)
    if now.wall_ms >= facts.ends_ms:
        return Ending(True, say("alarm.certificate_ends.over", until=until), "")
    if now.wall_ms >= facts.ends_ms - TOLD_BEFORE_MS:
        return Ending(True, say("alarm.certificate_ends.soon", until=until), "")
    return Ending(True, None, "")


class Aside:
    """Calls in a thread of its own, one at a time: the disk that they ask may hang, and who watches the parts may not."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._under_way: Future[Any] = Future()
        self._under_way.set_result(None)

    def begin(self, call: Callable[[], T]) -> Future[T] | None:
        """Begin it; None while the one before is under way."""
        if not self._under_way.done():
            return None
        done: Future[T] = Future()
        self._under_way = done
        threading.Thread(target=self._run, args=(call, done), name=self._name, daemon=True).start()
        return done

    def _run(self, call: Callable[[], T], done: Future[T]) -> None:
        try:
            done.set_result(call())
        except WarmwellError as exc:
            done.set_exception(exc)
        except (
            Exception
        ) as exc:  # supervision border: a certificate that trips the library is looked at again in a second
            log.exception("looking at the %s failed", self._name)
            done.set_exception(exc)


class Page:
    """The certificate that the page is served with, while a station runs.

    Args:
        anyone: whether somebody is set up to sign in.
    """

    def __init__(self, anyone: Anyone) -> None:
        self._anyone = anyone
        self._certificate: Live | None = None
        self._aside = Aside("page's certificate")

    def take(self, plan: StationFile) -> Live | None:
        """What a new server is to serve the page with; None: plain HTTP, for this computer alone.

        Raises:
            UnusableInput: certificate or key can't be used, or the network could come in and nobody is set up to sign in.
            StoreFault: the disk that they are on doesn't answer.
        """
        self._certificate = None
        refuse_nobody(plan, self._anyone)
        tls = plan.api.tls
        if tls is None:
            return None
        taken = self._aside.begin(lambda: Live(tls.certificate, tls.key))
        try:
            self._certificate = None if taken is None else taken.result(TAKEN_WITHIN_S)
        except TimeoutError:
            pass
        if self._certificate is None:
            raise StoreFault(
                "the disk doesn't answer", where=str(tls.certificate), expected=f"the page's certificate within {TAKEN_WITHIN_S:g} s",
                do="See to the disk",
            )  # fmt: skip
        return self._certificate

    def address(self, api: ApiPlan, listens: str) -> str:
        """Where people find a page that listens at an address."""
        if self._certificate is None:
            return listens
        return address_for_people(api, self._certificate.names(), int(listens.rsplit(":", 1)[1].strip("/")))

    @property
    def fingerprint(self) -> str:
        """SHA-256 of its certificate; "" where there is none."""
        return "" if self._certificate is None else self._certificate.facts.fingerprint

    def look(
        self, now: Now, fact: Callable[[str, bool, Message | None], None], remark: Callable[[str, str], None]
    ) -> None:
        """Take changed files; tell of its end, and of files that can't be used. What was told stands while the clock isn't trusted."""
        found = self._certificate
        if found is None:
            fact(ALARM, False, None)
            remark("certificate", "")
            return
        self._aside.begin(found.look)
        end = ending(found.facts, now)
        if end.is_known:
            fact(ALARM, end.cause is not None, end.cause)
        refused = f"The page's new certificate was not taken, the old one stays in force: {found.trouble}"
        remark("certificate", refused if found.trouble else end.remark)
