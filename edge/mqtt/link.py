"""One connection to an MQTT broker, driven by the thread that calls it.

paho speaks the protocol; everything else is ours. One Link is one connection with a paho client of its own: what a broken
connection left in paho's memory goes with it, so nothing is sent twice behind our back. Nothing is handed to paho
while there is no connection, and never more than the broker will take unconfirmed, so that paho's own queue stays empty.
paho's is_connected() can be wrong and its keep-alive needs twice its time; what was heard when is noted here.
"""

from __future__ import annotations

import os
import select
import socket
import ssl
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol

from edge.mqtt.troubles import (
    BrokerTrouble,
    Kind,
    connack_trouble,
    disconnect_trouble,
    lost_trouble,
    opening_trouble,
    settings_trouble,
    silent_trouble,
    tls_trouble,
)

if TYPE_CHECKING:
    from paho.mqtt.client import Client

MQTT_5: Final = 5  # protocol level on the wire
MQTT_3_1_1: Final = 4
WORDS: Final = {MQTT_5: "5", MQTT_3_1_1: "3.1.1"}

#: QoS 1 without a word about its limit: MQTT 5.0, 3.2.2.3.3 says 65535; Mosquitto's and our default is 20
MOST_IN_FLIGHT: Final = 20
#: longest a broker that shuts down may keep our session: a week away loses no session
_SESSION_S: Final = 7 * 86_400
_RST: Final = struct.pack("ii", 1, 0)


class TlsSettings(Protocol):
    """Certificates: paths, or None."""

    @property
    def ca(self) -> Path | str | None: ...
    @property
    def certificate(self) -> Path | str | None: ...
    @property
    def key(self) -> Path | str | None: ...


class MqttSettings(Protocol):
    """What the [mqtt] section says; edge/config/station_file.py makes one."""

    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def tls(self) -> TlsSettings | None: ...
    @property
    def username(self) -> str | None: ...
    @property
    def password_file(self) -> Path | str | None: ...
    @property
    def client_id(self) -> str | None: ...
    @property
    def keepalive_s(self) -> float: ...


class Waker:
    """Wakes a thread that waits in poll(); any thread may call wake()."""

    def __init__(self) -> None:
        self._out, self._in = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._closed = False

    def fileno(self) -> int:
        return self._out

    def wake(self) -> None:
        if self._closed:
            return  # nobody waits any more, and the number may be another file's by now
        try:
            os.write(self._in, b"!")
        except OSError:
            pass  # full: it is awake already

    def clear(self) -> None:
        try:
            while len(os.read(self._out, 4096)) == 4096:
                pass
        except BlockingIOError:
            pass

    def wait(self, timeout_s: float) -> bool:
        """Wait to be woken; False when time ran out."""
        woken = bool(_poll([(self._out, select.POLLIN)], timeout_s))
        self.clear()
        return woken

    def close(self) -> None:
        if not self._closed:
            self._closed = True
            os.close(self._in)
            os.close(self._out)


def _poll(wanted: list[tuple[int, int]], timeout_s: float) -> dict[int, int]:
    poll = select.poll()
    for fd, events in wanted:
        poll.register(fd, events)
    return dict(poll.poll(max(0, int(timeout_s * 1000 + 0.999))))


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker is to say if we go without a goodbye."""

    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Limits:
    """Time limits of a connection, in real seconds."""

    connect_s: float = 5.0  # TCP, TLS and the broker's answer to CONNECT, each
    ack_s: float = 30.0  # an acknowledgement that is still missing then won't come: MQTT 5 forbids to ask again on the same connection


class Link:
    """One connection.

    Args:
        client_id: empty: the broker chooses one (only with `lasting` False).
        lasting: ask the broker to keep the session when we are gone.
        acknowledged: called with (mid, code, name) for each PUBACK; code below 128 is success.
        received: called with (topic, payload, retained, qos) for each message; None: messages are ignored.
        clock: what the wall clock shows where it is not trusted, else empty.
    """

    def __init__(
        self,
        plan: MqttSettings,
        client_id: str,
        *,
        protocol: int = MQTT_5,
        lasting: bool = True,
        will: Will | None = None,
        limits: Limits = Limits(),
        acknowledged: Callable[[int, int, str], None] = lambda _mid, _code, _name: None,
        received: Callable[[str, bytes, bool, int], None] | None = None,
        subscribed: Callable[[int, list[tuple[int, str]]], None] = lambda _mid, _codes: None,
        clock: Callable[[], str] = lambda: "",
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.where = f"MQTT broker {plan.host}:{plan.port}"
        self.protocol, self.client_id = protocol, client_id
        self.up = False
        self.session_present = False
        self.receive_maximum = MOST_IN_FLIGHT
        self.maximum_packet: int | None = None
        self.retains = True
        self._plan, self._lasting, self._will, self._limits = plan, lasting, will, limits
        self._acknowledged, self._received, self._subscribed = acknowledged, received, subscribed
        self._clock, self._mono_s = clock, mono_s
        self._client: Client | None = None
        self._unconfirmed: dict[int, float] = {}  # mid -> when it was sent
        self._end: BrokerTrouble | None = None
        self._last_error = ""
        self._answered = False  # to our CONNECT
        self._keepalive_s = max(2, round(plan.keepalive_s))
        self._heard_s = self._opened_s = 0.0

    # ---- opening

    def open(self) -> None:
        """TCP, TLS and CONNECT; the answer comes in turn(). Blocks for a few time limits at most. Raises BrokerTrouble."""
        self._client = client = self._made()
        options: dict[str, Any] = {}
        if self.protocol == MQTT_5:
            options = {"clean_start": not self._lasting, "properties": self._connect_properties()}
        try:
            client.connect(self._plan.host, self._plan.port, keepalive=self._keepalive_s, **options)
        except (
            OSError,
            ValueError,
        ) as exc:  # ssl's errors and gaierror are OSErrors; ValueError: a host name that can't be encoded
            raise opening_trouble(exc, self.where, clock=self._clock(), tls=self._plan.tls is not None) from exc
        self._opened_s = self._heard_s = self._mono_s()
        if isinstance(
            sock := client.socket(), socket.socket
        ):  # one small message must not wait 40 ms for the one before
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _made(self) -> Client:
        from paho.mqtt import client as paho  # 30 ms that stations without a broker don't pay
        from paho.mqtt.enums import CallbackAPIVersion

        common: dict[str, Any] = {"client_id": self.client_id, "reconnect_on_failure": False}
        if self.protocol == MQTT_5:
            client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5, **common)
        else:
            client = paho.Client(
                CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311, clean_session=not self._lasting, **common
            )
        client.suppress_exceptions = True  # a callback never ends the thread; what it raised is logged by paho
        client.connect_timeout = self._limits.connect_s
        client.max_inflight_messages = 0  # no limit: the caller keeps within receive_maximum, so paho never queues
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_publish, client.on_message, client.on_subscribe = (
            self._on_publish,
            self._on_message,
            self._on_subscribe,
        )
        client.on_log = self._on_log
        if self._will:
            client.will_set(self._will.topic, self._will.payload, qos=1, retain=True)
        self._add_password(client)
        if self._plan.tls:
            client.tls_set_context(_tls_context(self._plan.tls))
        return client

    def _add_password(self, client: Client) -> None:
        if self._plan.username is None:
            return
        file, password = self._plan.password_file, None
        if file is not None:
            try:  # read at each connect, so that a new password needs no restart
                text = Path(file).read_text(encoding="utf-8")
            except (OSError, ValueError) as exc:
                why = exc.strerror if isinstance(exc, OSError) else "not UTF-8 text"
                expected = "a file with the password in its first line"
                raise settings_trouble(f"the password can't be read ({why})", str(file), expected) from exc
            password = text.splitlines()[0] if text else ""
        client.username_pw_set(self._plan.username, password)

    def _connect_properties(self) -> Any:
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's class has no types
        properties.SessionExpiryInterval = _SESSION_S if self._lasting else 0
        properties.MaximumPacketSize = 1_048_576  # nobody fills our memory with one message
        return properties

    # ---- one turn of the loop

    def turn(self, timeout_s: float, waker: Waker) -> None:
        """Wait for the broker, the waker or the time limit, and do what is due. Raises BrokerTrouble when the connection is over."""
        client = self._client
        sock = client.socket() if client else None
        if client is None or sock is None:
            raise self._ending()
        pending = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
        events = select.POLLIN | (select.POLLOUT if client.want_write() else 0)
        ready = _poll([(sock.fileno(), events), (waker.fileno(), select.POLLIN)], 0 if pending else timeout_s)
        waker.clear()
        got = ready.get(sock.fileno(), 0)
        if pending or got & ~select.POLLOUT:
            client.loop_read()
            self._heard_s = self._mono_s()
        if got & select.POLLOUT and client.socket() is not None:
            client.loop_write()
        client.loop_misc()
        if client.socket() is None or self._end:
            raise self._ending()
        self._check_silence()

    def _check_silence(self) -> None:
        now_s = self._mono_s()
        if not self.up:
            if now_s - self._opened_s > self._limits.connect_s:
                raise self._cut(
                    silent_trouble(f"connected, but no answer within {self._limits.connect_s:g} s", self.where)
                )
            return
        if now_s - self._heard_s > 1.5 * self._keepalive_s:
            raise self._cut(silent_trouble(f"nothing heard for {1.5 * self._keepalive_s:g} s", self.where))
        oldest_s = min(self._unconfirmed.values(), default=now_s)
        if now_s - oldest_s > self._limits.ack_s:
            raise self._cut(
                silent_trouble(f"a message was not acknowledged within {self._limits.ack_s:g} s", self.where)
            )

    def _cut(self, trouble: BrokerTrouble) -> BrokerTrouble:
        self._end = self._end or trouble
        self.drop()
        return self._end

    def _ending(self) -> BrokerTrouble:
        self.up = False
        return self._end or self._lost()

    def _lost(self) -> BrokerTrouble:
        if self._plan.tls and not self._answered:
            return tls_trouble(self._last_error or "hung up", self.where, began=True)
        return lost_trouble(self._last_error, self.where)

    # ---- saying and hearing

    @property
    def room(self) -> int:
        """How many more messages the broker takes before it has confirmed some."""
        return max(0, min(self.receive_maximum, MOST_IN_FLIGHT) - len(self._unconfirmed)) if self.up else 0

    def fits(self, topic: str, payload: bytes) -> bool:
        """Whether the broker takes a message of this size (MQTT 5.0, 3.2.2.3.6); 16 bytes for the headers."""
        return self.maximum_packet is None or len(topic.encode()) + len(payload) + 16 <= self.maximum_packet

    def publish(self, topic: str, payload: bytes, *, retain: bool, expires_s: int | None = None) -> int | None:
        """Hand one message over, QoS 1; a broker of MQTT 5 forgets it after `expires_s` (MQTT 5.0, 3.3.2.3.3).

        Returns its mid; None where the connection has just ended (then nothing was kept).
        """
        client = self._client
        if client is None or not self.up or client.socket() is None:
            return None
        properties = self._expiry(expires_s) if expires_s is not None and self.protocol == MQTT_5 else None
        info = client.publish(topic, payload, qos=1, retain=retain and self.retains, properties=properties)
        if info.mid in self._unconfirmed or client.socket() is None:
            return None
        self._unconfirmed[info.mid] = self._mono_s()
        return info.mid

    @staticmethod
    def _expiry(expires_s: int) -> Any:
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # paho's class has no types
        properties.MessageExpiryInterval = expires_s
        return properties

    def subscribe(self, filters: list[str], qos: int = 1) -> int | None:
        """Ask for these topics; what is retained there comes again. The answer goes to `subscribed`.

        None where the connection has just ended.
        """
        if self._client is None or not self.up:
            return None
        return self._client.subscribe([(flt, qos) for flt in filters])[1]

    def subscribe_to_others(self, filters: list[str]) -> None:
        """Ask for what others say under these topics (MQTT 5.0, 3.8.3.1, No Local); 3.1.1 has no word for that."""
        if self._client is None or not self.up or self.protocol != MQTT_5:
            return
        from paho.mqtt.subscribeoptions import SubscribeOptions

        of_others = SubscribeOptions(qos=0, noLocal=True)
        self._client.subscribe([(flt, of_others) for flt in filters])

    def close(self, timeout_s: float) -> None:
        """Say goodbye, so that the broker does not send the last will, and close."""
        client = self._client
        if client is None or client.socket() is None:
            return
        self._end = None
        client.disconnect()
        deadline_s = self._mono_s() + timeout_s
        while (sock := client.socket()) is not None and self._mono_s() < deadline_s:
            _poll([(sock.fileno(), select.POLLOUT)], 0.05)
            client.loop_write()
        self.drop()

    def drop(self) -> None:
        """Close without a goodbye: the broker tells our last will. What was in the system's buffers is thrown away."""
        self.up = False
        client, self._client = self._client, None
        sock = client.socket() if client else None
        if client is None or sock is None:
            return
        client.on_disconnect = None
        try:
            if isinstance(sock, socket.socket):
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RST)
            sock.close()
        except OSError:
            pass  # it is gone, which is what was wanted

    # ---- paho's callbacks; all come from within open(), turn(), publish() or close()

    def _on_connect(self, _client: Any, _userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        self._answered = True
        if reason.value >= 128 or reason.is_failure:
            self._end = connack_trouble(int(reason.value), str(reason), self.where)
            return
        self.up, self.session_present = True, bool(flags.session_present)
        self._heard_s = self._mono_s()
        told = properties.json() if properties is not None else {}
        self.receive_maximum = int(told.get("ReceiveMaximum", 65_535))
        self.maximum_packet = told.get("MaximumPacketSize")
        self.retains = told.get("RetainAvailable", 1) != 0
        self._keepalive_s = int(told.get("ServerKeepAlive", self._keepalive_s)) or self._keepalive_s
        if told.get("MaximumQoS", 1) < 1:
            self.up = False
            self._end = BrokerTrouble(
                Kind.REFUSED, "the broker doesn't take QoS 1", where=self.where, expected="a broker that confirms messages",
                do="Allow QoS 1 in the broker",
            )  # fmt: skip

    def _on_disconnect(self, _client: Any, _userdata: Any, flags: Any, reason: Any, _properties: Any) -> None:
        self.up = False
        if self._end is None and flags.is_disconnect_packet_from_server:
            self._end = disconnect_trouble(int(reason.value), str(reason), self.client_id, self.where)

    def _on_publish(self, _client: Any, _userdata: Any, mid: int, reason: Any, _properties: Any) -> None:
        self._unconfirmed.pop(mid, None)
        self._acknowledged(mid, int(reason.value), str(reason))

    def _on_message(self, _client: Any, _userdata: Any, message: Any) -> None:
        if self._received:
            self._received(message.topic, bytes(message.payload), bool(message.retain), int(message.qos))

    def _on_subscribe(self, _client: Any, _userdata: Any, mid: int, reasons: Any, _properties: Any) -> None:
        self._subscribed(mid, [(int(reason.value), str(reason)) for reason in reasons])

    def _on_log(self, _client: Any, _userdata: Any, level: int, text: str) -> None:
        if level == 8:  # paho's MQTT_LOG_ERR
            self._last_error = text.removeprefix("failed to receive on socket: ")


def _tls_context(tls: TlsSettings) -> ssl.SSLContext:
    """Verification of chain and host name is on, always."""
    try:
        context = ssl.create_default_context(cafile=str(tls.ca) if tls.ca else None)
    except (OSError, ValueError) as exc:
        why = exc.strerror if isinstance(exc, OSError) and exc.strerror else "no certificate in it"
        raise settings_trouble(f"the authority's certificate can't be used ({why})", str(tls.ca), "a PEM file") from exc
    context.sslsocket_class = _ClosedOnFailure
    if tls.certificate:
        try:
            context.load_cert_chain(str(tls.certificate), str(tls.key) if tls.key else None, password=_no_question)
        except (OSError, ValueError) as exc:
            why = exc.strerror if isinstance(exc, OSError) and exc.strerror else "certificate and key don't fit"
            raise settings_trouble(
                f"our certificate can't be used ({why})", f"{tls.certificate}, {tls.key}",
                "a PEM certificate, and its key without a pass phrase, readable by the daemon",
            ) from exc  # fmt: skip
    return context


class _ClosedOnFailure(ssl.SSLSocket):
    """paho leaves the socket open when the handshake fails; one an attempt adds up over a night."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _no_question() -> str:
    """OpenSSL would ask for a pass phrase on the terminal and hang there."""
    return ""
