"""The verbs of the faces that tell by themselves, as face_verbs.py wants them: syslog, SNMP, Sparkplug."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edge.cli.options import DEFAULT_URL, Api, Ca, FileOption, Fingerprint

if TYPE_CHECKING:
    from edge.faces.face import Face

#: RFC 5612: the number for examples, where a site has none of its own
_EXAMPLE = 32473

Kept = Annotated[
    Path,
    FileOption(
        help="The file that keeps what was told last: it is made where there is none.", metavar="FILE", envvar="WARMWELL_FACE_KEPT"
    ),
]  # fmt: skip
Priority = Annotated[
    str, typer.Option(help="The least that is told: low, medium or high.", envvar="WARMWELL_FACE_PRIORITY")
]
Enterprise = Annotated[
    int,
    typer.Option(
        help="The site's own IANA private enterprise number; 32473 is the one for examples.", min=1, max=2**31 - 1,
        envvar="WARMWELL_FACE_ENTERPRISE",
    ),
]  # fmt: skip


def _word(given: str, words: tuple[str, ...], option: str) -> str:
    from edge.domain.errors import UnusableInput

    if given not in words:
        raise UnusableInput(
            f"{given[:40]!r} is none", where=option, expected="one of " + ", ".join(words), do="Correct it"
        )
    return given


def _outbox(kept: Path, priority: str) -> Any:
    from edge.domain.alarms.catalogue import PRIORITIES
    from edge.faces.outbox import Outbox

    return Outbox(kept, _word(priority, tuple(PRIORITIES), "--priority"))


def syslog(act: Callable[..., None]) -> Callable[..., None]:
    def syslog(
        ctx: typer.Context,
        to: Annotated[
            str,
            typer.Option(
                help="The receiver: tls://HOST, tcp://HOST or udp://HOST, with :PORT.", envvar="WARMWELL_FACE_TO"
            ),
        ],
        kept: Kept,
        api: Api = DEFAULT_URL,
        ca: Ca = None,
        fingerprint: Fingerprint = None,
        receiver_ca: Annotated[
            Path | None,
            FileOption(help="With tls://, who vouches for the receiver; else the system's list.", metavar="FILE"),
        ] = None,
        facility: Annotated[str, typer.Option(help="Facility of RFC 5424.")] = "daemon",
        priority: Priority = "low",
        enterprise: Enterprise = _EXAMPLE,
    ) -> None:
        """Syslog (RFC 5424): a message for each change of an alarm, and where the station isn't heard."""

        def make() -> Face:
            from edge.config.telling_tables import SyslogAddress
            from edge.domain.errors import UnusableInput
            from edge.faces.syslog import SyslogFace
            from edge.telling.syslog import FACILITIES
            from edge.telling.wire import Receiver, Tls

            try:
                how, host, port = SyslogAddress().parse(to)
            except ValueError:
                raise UnusableInput(
                    f"{to[:60]!r} is no receiver", where="--to", expected="an address such as tls://log.harbour-lane.example:6514",
                    do="Correct it",
                ) from None  # fmt: skip
            _word(facility, tuple(FACILITIES), "--facility")
            return SyslogFace(
                _outbox(kept, priority), Receiver(how, host, port, Tls(receiver_ca)), facility, enterprise
            )

        act(ctx, (api, ca, fingerprint), make)

    return syslog


def snmp(act: Callable[..., None]) -> Callable[..., None]:
    def snmp(
        ctx: typer.Context,
        to: Annotated[
            str, typer.Option(help="The receiver's name or address.", metavar="HOST", envvar="WARMWELL_FACE_TO")
        ],
        user: Annotated[str, typer.Option(help="As whom it is told (SNMPv3).", envvar="WARMWELL_FACE_USER")],
        auth_key: Annotated[
            Path,
            FileOption(
                help="A file, mode 0600, with the password for authentication (SHA-256).",
                metavar="FILE",
                envvar="WARMWELL_FACE_AUTH_KEY",
            ),
        ],
        priv_key: Annotated[
            Path,
            FileOption(
                help="A file, mode 0600, with the password for encryption (AES-128).",
                metavar="FILE",
                envvar="WARMWELL_FACE_PRIV_KEY",
            ),
        ],
        engine: Annotated[
            Path,
            FileOption(
                help="The file that keeps which SNMP engine this is: it is made where there is none, and has to be kept.",
                metavar="FILE",
                envvar="WARMWELL_FACE_ENGINE",
            ),
        ],
        kept: Kept,
        api: Api = DEFAULT_URL,
        ca: Ca = None,
        fingerprint: Fingerprint = None,
        port: Annotated[int, typer.Option(help="Its UDP port.", min=1, max=65535, envvar="WARMWELL_FACE_PORT")] = 162,
        trap: Annotated[bool, typer.Option("--trap", help="Traps, which nobody answers, in place of informs.")] = False,
        priority: Priority = "low",
        enterprise: Enterprise = _EXAMPLE,
    ) -> None:
        """SNMPv3: an inform for each change of an alarm, and where the station isn't heard."""

        def make() -> Face:
            from edge.cli.face import needs

            needs("pysnmp", "snmp")
            from edge.faces.secret import secret_in
            from edge.faces.snmp import SHORTEST_KEY, SnmpFace, SnmpReceiver, engine_of

            receiver = SnmpReceiver(
                to, port, user, (secret_in(auth_key, SHORTEST_KEY), secret_in(priv_key, SHORTEST_KEY)), not trap
            )
            return SnmpFace(
                _outbox(kept, priority),
                receiver,
                enterprise,
                lambda begins: engine_of(engine, enterprise, begins=begins),
            )

        act(ctx, (api, ca, fingerprint), make)

    return snmp


def sparkplug(act: Callable[..., None]) -> Callable[..., None]:
    def sparkplug(
        ctx: typer.Context,
        broker: Annotated[
            str, typer.Option(help="The MQTT broker's name or address.", metavar="HOST", envvar="WARMWELL_FACE_TO")
        ],
        kept: Annotated[
            Path,
            FileOption(
                help="The file that counts connections: it is made where there is none.",
                metavar="FILE",
                envvar="WARMWELL_FACE_KEPT",
            ),
        ],
        api: Api = DEFAULT_URL,
        ca: Ca = None,
        fingerprint: Fingerprint = None,
        port: Annotated[
            int,
            typer.Option(
                help="Its TCP port; 8883 where left out with --broker-ca, else 1883.",
                min=0,
                max=65535,
                envvar="WARMWELL_FACE_PORT",
            ),
        ] = 0,
        broker_ca: Annotated[
            Path | None, FileOption(help="Who vouches for the broker: then by TLS.", metavar="FILE")
        ] = None,
        user: Annotated[
            str | None, typer.Option(help="As whom, where the broker asks.", envvar="WARMWELL_FACE_USER")
        ] = None,
        password: Annotated[
            Path | None,
            FileOption(help="A file, mode 0600, with the password.", metavar="FILE", envvar="WARMWELL_FACE_PASSWORD"),
        ] = None,
    ) -> None:
        """Sparkplug B: one edge node. A rebirth only makes it say everything again; no other command does anything."""

        def make() -> Face:
            from edge.cli.face import needs

            needs("google.protobuf", "sparkplug")
            from edge.faces.secret import secret_in
            from edge.faces.sparkplug import Broker, SparkplugFace

            secret = None if password is None else secret_in(password, 1)
            return SparkplugFace(
                Broker(broker, port or (1883 if broker_ca is None else 8883), broker_ca, user, secret), kept
            )

        act(ctx, (api, ca, fingerprint), make)

    return sparkplug
