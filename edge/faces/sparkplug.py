"""A station as an edge node of Sparkplug B 3.0, over MQTT 3.1.1: it says how it is, and says it again where that is asked for.

Source: Eclipse Sparkplug Specification 3.0.0 (topics, births and deaths, bdSeq, seq, rebirth; field numbers of its payload, from memory
and held against the Eclipse project's own decoder by a test). Nothing that comes changes anything: of all commands only the rebirth does
something, which is to say everything again, once a second at the most.

What isn't known has no value (is_null), never an old one. A metric's property Quality is 192 (good) where it may be relied on, 500 (stale)
where the station isn't heard, and 0 (bad) in all other cases; property Reason says why.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

from google.protobuf import descriptor_pb2, descriptor_pool, message_factory
from google.protobuf.message import DecodeError
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from edge.domain.back_off import BackOff
from edge.domain.errors import UnusableInput
from edge.faces import kept
from edge.faces.seen import NOBODY, Seen

log = logging.getLogger("warmwell.face")

REBIRTH: Final = "Node Control/Rebirth"
#: datatypes of the specification
INT32, INT64, DOUBLE, BOOLEAN, STRING = 3, 4, 10, 11, 12
GOOD, STALE, BAD = 192, 500, 0
_FIELD: Final = {INT64: "long_value", DOUBLE: "double_value", BOOLEAN: "boolean_value", STRING: "string_value"}
#: real seconds
_KEEPALIVE_S: Final = 30
_LIMIT_S: Final = 10.0
_BETWEEN_BIRTHS_S: Final = 1.0
_LONGEST_COMMAND: Final = 65_536
_KIND: Final = "warmwell face births"


class Broker(NamedTuple):
    """Where it is. `ca`: who vouches for it, for TLS; `user` and `password` where it asks for them."""

    host: str
    port: int
    ca: Path | None = None
    user: str | None = None
    password: str | None = None


class Metric(NamedTuple):
    """`value` None: not known."""

    name: str
    datatype: int
    value: Any
    quality: int = GOOD
    reason: str = ""


def metrics_of(seen: Seen) -> list[Metric]:
    """A station's metrics."""
    stale = GOOD if seen.is_live else STALE
    found = [
        Metric("Station/Live", BOOLEAN, seen.is_live), Metric("Station/Why", STRING, seen.why),
        Metric("Station/Test", BOOLEAN, seen.is_test), Metric("Station/Verdict", STRING, seen.verdict, stale),
    ]  # fmt: skip
    found += [Metric(f"Basins/{ident}/Verdict", STRING, verdict, stale) for ident, verdict in seen.basins.items()]
    for ident, point in seen.points.items():
        quality = stale if not seen.is_live else GOOD if point.quality == "good" and point.value is not None else BAD
        found.append(Metric(f"Points/{ident}", DOUBLE, point.value, quality, point.reason or ""))
    for ident, alarm in seen.alarms.items():
        found += [
            Metric(f"Alarms/{ident}/Active", BOOLEAN, alarm.is_active, stale),
            Metric(f"Alarms/{ident}/Unacknowledged", BOOLEAN, alarm.is_unacknowledged, stale),
            Metric(f"Alarms/{ident}/State", STRING, alarm.state, stale), Metric(f"Alarms/{ident}/Cause", STRING, alarm.cause, stale),
        ]  # fmt: skip
    return found


def payload(metrics: Iterable[Metric], at_ms: int, seq: int | None = None) -> bytes:
    """A payload of the specification, serialised. `seq` None: of a death, which has none."""
    made = _payload_type()(timestamp=at_ms)
    if seq is not None:
        made.seq = seq
    for one in metrics:
        metric = made.metrics.add(name=one.name, timestamp=at_ms, datatype=one.datatype)
        if one.value is None:
            metric.is_null = True
        else:
            setattr(metric, _FIELD[one.datatype], one.value)
        if one.name.partition("/")[0] in ("Station", "Basins", "Points", "Alarms"):
            metric.properties.keys.extend(["Quality", "Reason"])
            metric.properties.values.add(type=INT32, int_value=one.quality)
            metric.properties.values.add(type=STRING, string_value=one.reason)
    return bytes(made.SerializeToString())


def asks_for_rebirth(command: bytes) -> bool:
    """Whether an NCMD asks for a birth; all else in it, and what is no payload, asks for nothing."""
    if len(command) > _LONGEST_COMMAND:
        return False
    made = _payload_type()()
    try:
        made.ParseFromString(command)
    except DecodeError:
        return False
    return any(
        one.name == REBIRTH and one.WhichOneof("value") == "boolean_value" and one.boolean_value for one in made.metrics
    )


@cache
def _payload_type() -> Any:
    """The payload's message type, built from its field numbers: no generated code."""
    field = descriptor_pb2.FieldDescriptorProto
    words = {
        "string": field.TYPE_STRING, "bool": field.TYPE_BOOL, "uint32": field.TYPE_UINT32, "uint64": field.TYPE_UINT64,
        "float": field.TYPE_FLOAT, "double": field.TYPE_DOUBLE,
    }  # fmt: skip
    file = descriptor_pb2.FileDescriptorProto(name="warmwell_sparkplug.proto", package="warmwell", syntax="proto2")
    many, one = field.LABEL_REPEATED, field.LABEL_OPTIONAL

    def add(name: str, fields: str, values: str = "") -> None:
        message = file.message_type.add(name=name)
        if values:
            message.oneof_decl.add(name="value")
        for chosen, told in ((None, fields), (0, values)):
            for number, kind, called in (part.split() for part in told.split(",") if part):
                made = message.field.add(name=called, number=int(number), label=many if kind.endswith("*") else one)
                kind = kind.rstrip("*")
                if kind in words:
                    made.type = words[kind]
                else:
                    made.type, made.type_name = field.TYPE_MESSAGE, f".warmwell.{kind}"
                if chosen is not None:
                    made.oneof_index = chosen

    add(
        "Property",
        "1 uint32 type, 2 bool is_null",
        "3 uint32 int_value, 4 uint64 long_value, 6 double double_value, 7 bool boolean_value, 8 string string_value",
    )
    add("Properties", "1 string* keys, 2 Property* values")
    add(
        "Metric", "1 string name, 2 uint64 alias, 3 uint64 timestamp, 4 uint32 datatype, 7 bool is_null, 9 Properties properties",
        "10 uint32 int_value, 11 uint64 long_value, 12 float float_value, 13 double double_value, 14 bool boolean_value, "
        "15 string string_value",
    )  # fmt: skip
    add("Payload", "1 uint64 timestamp, 2 Metric* metrics, 3 uint64 seq")
    pool = descriptor_pool.DescriptorPool()
    pool.AddSerializedFile(file.SerializeToString())
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("warmwell.Payload"))


class SparkplugFace:
    """One edge node: the site is its group, the station its name. `kept`: the file that counts its births."""

    name = "sparkplug"
    after = None

    def __init__(self, broker: Broker, kept: Path) -> None:
        self._broker, self._kept = broker, kept
        self._seen = NOBODY
        self._news = asyncio.Event()
        self._trouble = ""

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        names = {BOOLEAN: "Boolean", DOUBLE: "Double", STRING: "String"}
        units = {f"Points/{ident}": point.unit for ident, point in seen.points.items()}
        return [
            {"metric": one.name, "datatype": names[one.datatype], "unit": units.get(one.name, "")}
            for one in metrics_of(seen)
        ]

    def show(self, seen: Seen) -> None:
        if seen.station and self._seen.station not in ("", seen.station):
            raise UnusableInput(
                f"the station is {seen.station} now", where=f"the sparkplug face of {self._seen.station}", expected="the same station",
                do="Start the face anew",
            )  # fmt: skip
        self._seen = seen
        self._news.set()

    def hear(self, entry: Mapping[str, Any]) -> None:
        """Entries aren't told: what an alarm is now stands in the picture."""

    async def serve(self, opened: Callable[[], None]) -> None:
        """Until cancelled; nothing is told before the station was heard once."""
        back_off = BackOff(1.0, 60.0)
        while True:
            while not self._seen.station:
                self._news.clear()
                await self._news.wait()
            session = _Session(self._broker, self._seen.station, self._next_birth(), self._news)
            try:
                await session.open()
                opened()
                self._say("")
                back_off.begin_anew()
                await session.tell(lambda: self._seen)
            except (OSError, ValueError, TimeoutError) as exc:
                self._say(f"the broker can't be reached ({exc or type(exc).__name__})")
            finally:
                await session.close()
            await asyncio.sleep(back_off.take_s())

    def _next_birth(self) -> int:
        """bdSeq, which counts connections from 0 to 255 and on from 0."""
        before = kept.read(self._kept, _KIND, lambda told: int(told["births"]), "Delete it")
        number = 0 if before is None else (before + 1) % 256
        kept.write(self._kept, {"kind": _KIND, "births": number}, "--kept")
        return number

    def _say(self, trouble: str) -> None:
        if trouble != self._trouble:
            log.log(logging.WARNING if trouble else logging.INFO, "sparkplug: %s", trouble or "the broker is there")
        self._trouble = trouble


class _Session:
    """One connection, from its birth to its death."""

    def __init__(self, broker: Broker, station: str, births: int, news: asyncio.Event) -> None:
        self._broker, self._news = broker, news
        group, _, node = station.partition("/")
        self._topic = f"spBv1.0/{group}/{{}}/{node}"
        self._births = Metric("bdSeq", INT64, births)
        self._loop = asyncio.get_running_loop()
        self._there, self._lost, self._rebirth, self._why = False, False, True, ""
        self._seq, self._born_s = 0, float("-inf")
        self._told: dict[str, Metric] = {}
        # one connection a session: its will bears the birth's number, so nothing may connect again by itself
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2, clean_session=True, protocol=paho.MQTTv311, reconnect_on_failure=False
        )
        client.will_set(self._topic.format("NDEATH"), self._death(), qos=1, retain=False)
        if broker.ca is not None:
            client.tls_set(str(broker.ca))
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        client.on_connect = lambda *told: self._soon(self._connected, str(told[3]), bool(told[3].is_failure))
        client.on_disconnect = lambda *told: self._soon(self._gone, str(told[3]))
        client.on_message = lambda *told: self._soon(self._command, told[2].payload)

    async def open(self) -> None:
        """Raises OSError, ValueError: the broker isn't there, or refuses."""
        await asyncio.to_thread(self._client.connect, self._broker.host, self._broker.port, _KEEPALIVE_S)
        self._client.loop_start()
        async with asyncio.timeout(_LIMIT_S):
            while not self._there:
                if self._lost:
                    raise ConnectionError(self._why)
                await self._until_news()
        self._client.subscribe(self._topic.format("NCMD"), qos=1)

    async def tell(self, seen: Callable[[], Seen]) -> None:
        """Until the connection is lost, which raises ConnectionError."""
        while not self._lost:
            metrics = {one.name: one for one in metrics_of(seen())}
            if self._rebirth or metrics.keys() != self._told.keys():
                if time.monotonic() - self._born_s >= _BETWEEN_BIRTHS_S:
                    self._rebirth, self._seq, self._born_s = False, 0, time.monotonic()
                    self._publish("NBIRTH", [self._births, Metric(REBIRTH, BOOLEAN, False), *metrics.values()])
                    self._told = metrics
            elif changed := [one for name, one in metrics.items() if one != self._told[name]]:
                self._publish("NDATA", changed)
                self._told = metrics
            await self._until_news()
        raise ConnectionError(self._why)

    async def close(self) -> None:
        """An end in order is told by ourselves: the broker would not tell our will."""
        if self._there and not self._lost:
            self._client.publish(self._topic.format("NDEATH"), self._death(), qos=1)
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    async def _until_news(self) -> None:
        """What is flagged meanwhile is seen a second later at the latest."""
        self._news.clear()
        try:
            async with asyncio.timeout(_BETWEEN_BIRTHS_S):
                await self._news.wait()
        except TimeoutError:
            return

    def _publish(self, kind: str, metrics: Iterable[Metric]) -> None:
        self._client.publish(self._topic.format(kind), payload(metrics, int(time.time() * 1000), self._seq), qos=0)
        self._seq = (self._seq + 1) % 256

    def _death(self) -> bytes:
        return payload([self._births], int(time.time() * 1000))

    def _soon(self, do: Callable[..., None], *told: Any) -> None:
        """From the library's thread into the loop's."""
        try:
            self._loop.call_soon_threadsafe(do, *told)
        except RuntimeError:
            return  # the loop has ended: so has the face

    def _connected(self, why: str, refused: bool) -> None:
        self._there, self._lost, self._why = not refused, refused, why
        self._news.set()

    def _gone(self, why: str) -> None:
        self._lost, self._why = True, self._why if self._lost else why
        self._news.set()

    def _command(self, command: bytes) -> None:
        if asks_for_rebirth(command):
            self._rebirth = True
            self._news.set()
