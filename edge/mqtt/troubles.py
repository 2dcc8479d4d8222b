"""What can go wrong between a station and its broker, each in one clear sentence."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from edge.domain.errors import WarmwellError


class Kind(StrEnum):
    """Why there is no connection, for programs; decides how soon another try makes sense."""

    UNREACHABLE = "unreachable"
    NAME = "name"  # the host's name leads nowhere
    LOST = "lost"
    SILENT = "silent"
    CLOCK = "clock"  # a certificate can't be judged by a clock that is not trusted
    CERTIFICATE = "certificate"
    PASSWORD = "password"
    FORBIDDEN = "forbidden"
    TAKEN_OVER = "taken_over"
    PROTOCOL = "protocol"  # the broker doesn't speak this version of MQTT
    REFUSED = "refused"
    SETTINGS = "settings"  # a file of ours can't be used


class BrokerTrouble(WarmwellError):
    """No connection to the broker, or an end of it. `kind` tells programs which; the sentence tells people."""

    def __init__(self, kind: Kind, what: str, *, where: str, expected: str, do: str) -> None:
        super().__init__(what, where=where, expected=expected, do=do)
        self.kind = kind


#: reason codes of MQTT 5.0 (2.4) that are told apart: code -> (kind, what, expected, do)
_CONNACK: Final[Mapping[int, tuple[Kind, str, str, str]]] = {
    132: (
        Kind.PROTOCOL, "the broker doesn't speak this version of MQTT", "MQTT 5, or 3.1.1",
        "Use a broker that speaks one of them",
    ),
    133: (
        Kind.REFUSED, "the broker refuses our client id", "a client id that it accepts",
        "Set another [mqtt] client_id",
    ),
    134: (
        Kind.PASSWORD, "the broker refuses our user name or password", "the pair that the broker knows",
        "Correct [mqtt] username and the file that password_file names",
    ),
    135: (
        Kind.FORBIDDEN, "the broker does not let us in (not authorised: user name, password or certificate)",
        "a user and password, or a certificate, that it knows",
        "Add this station to the broker's users, or correct [mqtt] username, password_file or tls",
    ),
    136: (Kind.REFUSED, "the broker says it is not available", "a broker at work", "Wait; Warmwell tries again by itself"),
    137: (Kind.REFUSED, "the broker says it is busy", "a broker with room", "Wait; Warmwell tries again by itself"),
    138: (Kind.FORBIDDEN, "the broker has banned us", "to be let in", "Ask whoever looks after the broker"),
    151: (Kind.REFUSED, "the broker says its quota is used up", "room", "Raise the broker's limit for connections"),
    159: (Kind.REFUSED, "the broker says we connect too often", "a slower pace", "Wait; Warmwell tries again by itself"),
}  # fmt: skip

#: reason codes for one message (PUBACK): code -> (what, do)
_PUBACK: Final[Mapping[int, tuple[str, str]]] = {
    16: ("nobody subscribes to it", ""),
    131: ("the broker has a rule of its own against it", "See the broker's log"),
    135: ("not authorised", "Let this station write below its own topics in the broker's access list"),
    144: ("the broker doesn't accept the topic's name", "See the broker's log"),
    149: ("the message is too large for the broker", "Raise the broker's limit for messages"),
    151: ("the broker's quota is used up", "Raise the broker's queue limits"),
    153: ("the broker doesn't accept its format", "See the broker's log"),
    154: ("the broker keeps no retained messages", "Allow retained messages in the broker"),
    155: ("the broker doesn't take QoS 1", "Allow QoS 1 in the broker"),
}

#: refusals that won't mend by waiting a little
LASTING: Final = frozenset({135, 144, 149, 153, 154, 155, 1149})
#: refusals that are about this one message, not about all of its topic
OF_ONE_MESSAGE: Final = frozenset({149, 153, 1149})
TOO_LARGE: Final = 149
BAD_FORMAT: Final = 153
#: ours, outside MQTT's byte: the connection ends each time this message is sent
CUTS: Final = 1149
TAKEN_OVER: Final = 142
UNSUPPORTED_PROTOCOL: Final = 132

# OpenSSL's X509_V_ERR_ numbers (x509_vfy.h; here from memory, checked by tests against real certificates)
_NOT_YET_VALID, _HAS_EXPIRED = 9, 10


def connack_trouble(code: int, name: str, where: str) -> BrokerTrouble:
    """The broker answered CONNECT with a reason code other than success."""
    kind, what, expected, do = _CONNACK.get(
        code,
        (Kind.REFUSED, f"the broker refuses the connection ({name}, {code})", "to be let in", "See the broker's log"),
    )
    return BrokerTrouble(kind, what, where=where, expected=expected, do=do)


def disconnect_trouble(code: int, name: str, client_id: str, where: str) -> BrokerTrouble:
    """The broker ended the connection and said why (MQTT 5)."""
    if code == TAKEN_OVER:
        return BrokerTrouble(
            Kind.TAKEN_OVER,
            f"another client uses the name {client_id!r}, and the broker lets only one of them stay",
            where=where,
            expected="a client id of its own for each station",
            do="Look for a copied card or a second daemon with the same station file, or set [mqtt] client_id",
        )
    return BrokerTrouble(
        Kind.LOST, f"the broker ended the connection ({name}, {code})", where=where, expected="a lasting connection",
        do="See the broker's log; Warmwell tries again by itself",
    )  # fmt: skip


def flapping_trouble(client_id: str, where: str) -> BrokerTrouble:
    """Connections end again and again after seconds, and the broker doesn't say why (MQTT 3.1.1 can't)."""
    return BrokerTrouble(
        Kind.LOST, "connections end again and again within a minute", where=where, expected="a lasting connection",
        do=f"See whether another client uses the name {client_id!r}; see the broker's log",
    )  # fmt: skip


def lost_trouble(detail: str, where: str) -> BrokerTrouble:
    """The connection ended without a word from the broker."""
    said = f" ({detail})" if detail else ""
    return BrokerTrouble(
        Kind.LOST, f"the connection was cut{said}", where=where, expected="a lasting connection",
        do="See that network and broker are up; Warmwell tries again by itself",
    )  # fmt: skip


def failed_trouble(exc: Exception, where: str) -> BrokerTrouble:
    """A mistake of ours, or the store in trouble, while telling."""
    return BrokerTrouble(
        Kind.LOST, f"the publisher failed ({type(exc).__name__}: {exc})", where=where, expected="a publisher at work",
        do="See the system journal; Warmwell tries again by itself",
    )  # fmt: skip


def silent_trouble(what: str, where: str) -> BrokerTrouble:
    """The connection looks alive, but nothing comes back."""
    return BrokerTrouble(
        Kind.SILENT,
        what,
        where=where,
        expected="an answer",
        do="See that network and broker are up; Warmwell tries again by itself",
    )


def opening_trouble(exc: OSError | ValueError, where: str, *, clock: str, tls: bool) -> BrokerTrouble:
    """What hindered TCP or TLS. `clock`: empty where the wall clock is trusted, else what it shows. `tls`: it is asked for."""
    if isinstance(exc, ssl.SSLCertVerificationError):
        return _certificate_trouble(exc, where, clock)
    if isinstance(exc, ssl.SSLError):
        return tls_trouble(exc.reason or str(exc), where)
    if tls and isinstance(exc, ConnectionResetError):
        return tls_trouble("connection reset", where)
    if isinstance(exc, socket.gaierror):
        return BrokerTrouble(
            Kind.NAME, "the host's name leads to no address", where=where, expected="a name that the network knows",
            do="Correct [mqtt] host, or see that the name server is up",
        )  # fmt: skip
    if isinstance(exc, TimeoutError):
        what = "no answer in time"
    elif isinstance(exc, ConnectionRefusedError):
        what = "connection refused"
    else:
        what = exc.strerror.lower() if isinstance(exc, OSError) and exc.strerror else str(exc) or type(exc).__name__
    return BrokerTrouble(
        Kind.UNREACHABLE, what, where=where, expected="a broker listening there",
        do="Start the broker, or correct [mqtt] host and port; Warmwell tries again by itself",
    )  # fmt: skip


def _certificate_trouble(exc: ssl.SSLCertVerificationError, where: str, clock: str) -> BrokerTrouble:
    dated = {_NOT_YET_VALID: "is not yet valid", _HAS_EXPIRED: "has expired"}.get(exc.verify_code)
    if dated and clock:
        return BrokerTrouble(
            Kind.CLOCK,
            f"our clock is not trusted yet (it shows {clock}), and by it the broker's certificate {dated}",
            where=where,
            expected="a clock that is right",
            do="See that the board reaches its time server; Warmwell connects as soon as the clock is right, and never without checking",
        )
    if dated:
        return BrokerTrouble(
            Kind.CERTIFICATE, f"the broker's certificate {dated}", where=where, expected="a certificate that is valid today",
            do="Renew the broker's certificate, or see that its date and ours are right",
        )  # fmt: skip
    return BrokerTrouble(
        Kind.CERTIFICATE,
        f"the broker's certificate can't be trusted ({exc.verify_message.rstrip('.')})",
        where=where,
        expected="a certificate for this host from the authority in [mqtt] tls.ca",
        do="See that host and tls.ca are those of this broker",
    )


def tls_trouble(reason: str, where: str, *, began: bool = False) -> BrokerTrouble:
    """TLS did not come about. `began`: the handshake was done on our side; with TLS 1.3 the broker judges us only then."""
    reason = reason.replace("_", " ").lower()
    if began or "alert" in reason:
        return BrokerTrouble(
            Kind.CERTIFICATE, f"the broker ended the TLS handshake ({reason})", where=where,
            expected="a client certificate that the broker accepts, if it asks for one",
            do="Correct [mqtt] tls.certificate and tls.key, or renew them",
        )  # fmt: skip
    return BrokerTrouble(
        Kind.CERTIFICATE, f"no TLS with what listens there ({reason})", where=where, expected="a listener with TLS",
        do="Correct [mqtt] port, or leave [mqtt] tls out",
    )  # fmt: skip


def settings_trouble(what: str, file: str, expected: str) -> BrokerTrouble:
    """A file that the [mqtt] section names can't be used."""
    return BrokerTrouble(
        Kind.SETTINGS,
        what,
        where=file,
        expected=expected,
        do="Correct the [mqtt] section or the file; Warmwell looks again",
    )


def refusal(code: int, name: str) -> str:
    """Why one message was refused, as a clause, with what to do."""
    if code == CUTS:
        return "the connection ends whenever it is sent; perhaps it is too large for the broker. See the broker's log"
    what, do = _PUBACK.get(code, (f"refused ({name})", "See the broker's log"))
    return f"{what}, code {code}. {do}" if do else f"{what}, code {code}"
