"""A station as a device of BACnet/IP (ASHRAE 135): points as analog inputs, alarms as binary inputs, the verdict as a multi-state input.

Whoever reads it can read only: each service that would change something is refused, and so is each that isn't named below, whatever the
library offers. BACnet/IP knows no sign-in: whoever reaches the address may read.

An alarm's event state follows the station's own states, at once: the station has delayed already. What is unreliable says so in
reliability and status flags; an analog input then has no number (NaN).

Instances: analog inputs and binary inputs from 1 in the order of their places; multi-state input 1 is the station's verdict, from 2 on
those of basins; binary value 1 is the heartbeat, analog value 1 the seconds since the last judgement.
"""

from __future__ import annotations

import asyncio
import ipaddress
import math
import socket
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from bacpypes3.apdu import (
    ConfirmedRequestPDU,
    GetEventInformationACK,
    RejectPDU,
    RejectReason,
)
from bacpypes3.app import Application
from bacpypes3.basetypes import (
    DateTime,
    EventState,
    EventTransitionBits,
    GetEventInformationEventSummary,
    ServicesSupported,
    StatusFlags,
    TimeStamp,
)
from bacpypes3.errors import ExecutionError
from bacpypes3.local.analog import AnalogInputObject, AnalogValueObject
from bacpypes3.local.binary import BinaryInputObject, BinaryValueObject
from bacpypes3.local.cov import GenericCriteria
from bacpypes3.local.device import DeviceObject
from bacpypes3.local.multistate import MultiStateInputObject
from bacpypes3.local.networkport import NetworkPortObject
from bacpypes3.object import NotificationClassObject
from bacpypes3.primitivedata import Date, Time

from edge.domain.errors import UnusableInput
from edge.faces import places as keeping
from edge.faces.interface import no_listening, one_interface
from edge.faces.places import Places
from edge.faces.seen import UNKNOWN, VERDICTS, Seen, SeenAlarm, SeenPoint
from edge.telling.words import title_of

#: the only services that are executed; all of them only read. By the names that the library and Protocol_Services_Supported have
SERVICES: Final[Mapping[str, str]] = {
    "ReadPropertyRequest": "readProperty", "ReadPropertyMultipleRequest": "readPropertyMultiple", "SubscribeCOVRequest": "subscribeCOV",
    "GetEventInformationRequest": "getEventInformation", "WhoIsRequest": "whoIs", "WhoHasRequest": "whoHas",
}  # fmt: skip
#: for whom changes are remembered; more are refused, so that nobody can fill the memory
MOST_SUBSCRIPTIONS: Final = 64
#: bacpypes3's number for applications without one of their own; ASHRAE assigns them
VENDOR: Final = 999
#: unit here -> EngineeringUnits, a factor, and the least change that subscribers are told of
UNITS: Final[Mapping[str, tuple[str, float, float]]] = {
    "Cel": ("degreesCelsius", 1.0, 0.1), "kPa": ("kilopascals", 1.0, 1.0), "L/min": ("litersPerMinute", 1.0, 0.1),
    "uS/cm": ("siemensPerMeter", 1e-4, 1e-4), "1": ("noUnits", 1.0, 1.0),
}  # fmt: skip
#: judgements between two changes of the heartbeat
BEATS: Final = 5
_FINE, _SILENT, _OTHER = "noFaultDetected", "communicationFailure", "unreliableOther"
#: reasons of a bad value that the standard has a word for (Reliability)
_RELIABILITY: Final[Mapping[str, str]] = {
    "stale": _SILENT, "no_answer": _SILENT, "bus_lost": _SILENT, "no_reading_yet": _SILENT, "loop_open": "openLoop",
    "loop_over": "shortedLoop", "not_entered": "noSensor",
}  # fmt: skip
#: notification classes 1, 2, 3, by the station's priorities, and what the standard's 0 (urgent) to 255 they have: our own choice
_CLASSES: Final = ("high", "medium", "low")
_PRIORITIES: Final = (64, 128, 192)
#: of one answer; an alarm has about 50 octets, and an answer has to fit an APDU of 1024
_SUMMARIES: Final = 15
_STATES: Final = ["ready", "not ready", "unknown"]
_GONE: Final = "the station has it no more"


class BacnetFace:
    """The device, on one interface.

    Args:
        kept: the places as they are in `file`.
        address: with the bits of its network, "192.0.2.14/24", by which the broadcast address is known.
        device: the device's instance, unique in the building.
    """

    name = "bacnet"
    after = None

    def __init__(self, kept: Places, file: Path, address: str, port: int, device: int) -> None:
        host, _, bits = address.partition("/")
        self._host, self._port, self._device = one_interface(host), port, device
        try:
            self._network = ipaddress.IPv4Interface(f"{self._host}/{int(bits)}")
        except ValueError as exc:
            raise UnusableInput(
                f"{address[:60]!r} has no network", where="--address", expected="an IPv4 address with its bits, such as 192.0.2.14/24",
                do="See the addresses by `ip -br address`; take that of the building's network",
            ) from exc  # fmt: skip
        self._places, self._file = kept, file
        self._objects: dict[tuple[str, int], Any] = {}
        self._app: _ReadOnly | None = None
        self._shown: Seen = Seen()

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """The list of points, by object."""
        places = self._places.grown(seen)
        listed = [
            _row("device", self._device, _device_name(self._device), "", "this station"),
            _row("multi-state-input", 1, "verdict", "", "1 ready, 2 not ready, 3 unknown; all but 1 mean: don't start"),
            _row("binary-value", 1, "heartbeat", "", f"changes each {BEATS} judgements, about as many seconds"),
            _row("analog-value", 1, "judged", "seconds", "since the last judgement"),
        ]
        for ident, place in _in_order(places.points):
            point = seen.points.get(ident)
            unit = UNITS.get(point.unit, UNITS["1"])[0] if point else ""
            listed.append(_row("analog-input", place + 1, f"point:{ident}", unit, point.role if point else _GONE))
        for ident, place in _in_order(places.alarms):
            alarm = seen.alarms.get(ident)
            text = f"active: {title_of(ident)} (priority {alarm.priority})" if alarm else _GONE
            listed.append(_row("binary-input", place + 1, f"alarm:{ident}", "", text))
        for ident, place in _in_order(places.basins):
            listed.append(_row("multi-state-input", place + 2, f"basin:{ident}", "", "as the verdict, of this basin"))
        return listed

    def show(self, seen: Seen) -> None:
        """Renew the objects. Raises UnusableInput, WarmwellError: as Places.grown() and save()."""
        grown = self._places.grown(seen)
        if grown is not self._places:
            keeping.save(self._file, grown)
            self._places = grown
        self._shown = seen
        if self._app is not None:
            self._renew(seen)

    def hear(self, entry: Mapping[str, Any]) -> None:
        """Objects tell no history."""

    async def serve(self, opened: Callable[[], None]) -> None:
        """Answer until cancelled. Raises WarmwellError: the address or the port can't be had."""
        try:  # the library would wait for a port for ever, and share one with another program
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
                trial.bind((self._host, self._port))
        except OSError as exc:
            raise no_listening(self._host, self._port, exc.strerror or str(exc)) from exc
        device = DeviceObject(
            objectIdentifier=("device", self._device), objectName=_device_name(self._device), vendorIdentifier=VENDOR,
            vendorName="Warmwell", modelName="Warmwell face",
            description="surroundings of an endoscope reprocessor; read-only", location="",
        )  # fmt: skip
        port = NetworkPortObject(
            f"{self._network.with_prefixlen}:{self._port}",
            objectIdentifier=("network-port", 1),
            objectName="network-port",
        )
        app: _ReadOnly = _ReadOnly.from_object_list([device, port])
        for number, (word, priority) in enumerate(zip(_CLASSES, _PRIORITIES, strict=True), 1):
            app.add_object(
                NotificationClassObject(
                    objectIdentifier=("notification-class", number), objectName=f"alarms of {word} priority", notificationClass=number,
                    priority=[priority] * 3, ackRequired=[1, 0, 0], recipientList=[],
                )
            )  # fmt: skip
        self._app = app
        try:
            self._renew(self._shown)
            if self._network.network.prefixlen < 31:
                app.i_am()
            opened()
            await asyncio.get_running_loop().create_future()
        finally:
            self._app = None
            self._objects.clear()
            app.close()

    # ---- objects

    def _renew(self, seen: Seen) -> None:
        silent = _FINE if seen.is_live else _SILENT
        if self._app is not None and self._app.device_object.location != seen.station:
            self._app.device_object.location = seen.station
        note = ("TEST for a witness; " if seen.is_test else "") + (seen.why or seen.station)
        self._put(MultiStateInputObject, 1, "verdict", {"presentValue": VERDICTS[seen.verdict]}, silent, note)
        self._put(
            BinaryValueObject, 1, "heartbeat", {"presentValue": _binary(seen.heartbeat // BEATS % 2 == 1)}, silent, note
        )
        judged_s = math.nan if seen.judged_s is None else float(int(seen.judged_s))
        self._put(AnalogValueObject, 1, "judged", {"presentValue": judged_s, "units": "seconds"}, _FINE, note)
        for ident, place in self._places.points.items():
            self._point(place + 1, ident, seen.points.get(ident), silent)
        for ident, place in self._places.alarms.items():
            self._alarm(place + 1, ident, seen.alarms.get(ident), silent)
        for ident, place in self._places.basins.items():
            told = silent if ident in seen.basins or not seen.is_live else _OTHER
            state = VERDICTS[seen.basins.get(ident, UNKNOWN)]
            self._put(MultiStateInputObject, place + 2, f"basin:{ident}", {"presentValue": state}, told, note)

    def _point(self, instance: int, ident: str, point: SeenPoint | None, silent: str) -> None:
        unit, factor, least = UNITS.get(point.unit, UNITS["1"]) if point is not None else UNITS["1"]
        value, reliability, text = math.nan, silent if silent != _FINE else _OTHER, _GONE
        if point is not None:
            text = point.role + (f"; {point.quality}: {point.reason}" if point.reason else "")
            if point.value is not None:
                value, reliability = point.value * factor, silent
            elif silent == _FINE:
                reliability = _RELIABILITY.get(point.reason or "", _OTHER)
        values = {"presentValue": value, "units": unit, "covIncrement": least}
        if point is None and (AnalogInputObject.__name__, instance) in self._objects:
            del values["units"], values["covIncrement"]
        self._put(AnalogInputObject, instance, f"point:{ident}", values, reliability, text)

    def _alarm(self, instance: int, ident: str, alarm: SeenAlarm | None, silent: str) -> None:
        is_active, calls = (alarm.is_active, alarm.is_unacknowledged) if alarm is not None else (False, False)
        reliability = silent if alarm is not None or silent != _FINE else _OTHER
        text = title_of(ident) + (f": {alarm.state}" if alarm is not None else f": {_GONE}")
        if alarm is not None and alarm.cause:
            text += f"; {alarm.cause}"
        values: dict[str, Any] = {
            "presentValue": _binary(is_active), "eventState": EventState.offnormal if is_active else EventState.normal,
            "ackedTransitions": EventTransitionBits([int(not calls), 1, 1]), "outOfService": alarm is not None and alarm.is_aside,
            "notificationClass": _CLASSES.index(alarm.priority) + 1 if alarm is not None and alarm.priority in _CLASSES else 1,
        }  # fmt: skip
        self._stamp(instance, values, is_active)
        self._put(BinaryInputObject, instance, f"alarm:{ident}", values, reliability, text)

    def _stamp(self, instance: int, values: dict[str, Any], is_active: bool) -> None:
        """When the face saw it come, and go; what was so when the face began has no time."""
        found = self._objects.get((BinaryInputObject.__name__, instance))
        if found is None:
            values["eventTimeStamps"] = [_NEVER, _NEVER, _NEVER]
        elif found[1]["presentValue"] != values["presentValue"]:
            now = TimeStamp(dateTime=DateTime(date=Date.now(), time=Time.now()))
            off, fault, normal = found[1]["eventTimeStamps"]
            values["eventTimeStamps"] = [now, fault, normal] if is_active else [off, fault, now]

    def _put(self, kind: Any, instance: int, name: str, values: Mapping[str, Any], reliability: str, text: str) -> None:
        """Make an object, or renew what has changed of it: subscribers are told of that."""
        assert self._app is not None
        state, away = values.get("eventState", EventState.normal), bool(values.get("outOfService"))
        flags = StatusFlags([int(state != EventState.normal), int(reliability != _FINE), 0, int(away)])
        told = {
            "eventState": state, "outOfService": away, **values, "reliability": reliability, "statusFlags": flags,
            "description": text[:250],
        }  # fmt: skip
        key = (kind.__name__, instance)
        found = self._objects.get(key)
        if found is None:
            made = kind(objectIdentifier=(_KINDS[kind], instance), objectName=name, **_STILL.get(kind, {}), **told)
            made._cov_criteria = AnalogInputObject._cov_criteria if kind is AnalogInputObject else GenericCriteria
            self._app.add_object(made)
            self._objects[key] = (made, told)
            return
        target, before = found
        for member, value in told.items():
            if not _same(before.get(member), value):
                setattr(target, member, value)
        self._objects[key] = (target, {**before, **told})


_NEVER: Final = TimeStamp(time=(255, 255, 255, 255))


def _device_name(device: int) -> str:
    return f"warmwell-{device}"


def _binary(is_on: bool) -> str:
    return "active" if is_on else "inactive"


def _same(one: object, other: object) -> bool:
    """Also where both are no number."""
    return one == other or (one != one and other != other)


def _in_order(places: Mapping[str, int]) -> list[tuple[str, int]]:
    return sorted(places.items(), key=lambda pair: pair[1])


def _row(kind: str, instance: int, name: str, unit: str, meaning: str) -> dict[str, str]:
    return {"object": f"{kind},{instance}", "name": name, "units": unit, "meaning": meaning}


_KINDS: Final[Mapping[Any, str]] = {
    AnalogInputObject: "analog-input", AnalogValueObject: "analog-value", BinaryInputObject: "binary-input",
    BinaryValueObject: "binary-value", MultiStateInputObject: "multi-state-input",
}  # fmt: skip
#: what doesn't change of an object
_STILL: Final[Mapping[Any, Mapping[str, Any]]] = {
    MultiStateInputObject: {"numberOfStates": 3, "stateText": _STATES},
    BinaryInputObject: {
        "polarity": "normal", "activeText": "alarm", "inactiveText": "normal", "alarmValue": "active", "timeDelay": 0,
        "notifyType": "alarm", "eventEnable": [1, 1, 1], "eventDetectionEnable": True,
    },
}  # fmt: skip


class _ReadOnly(Application):  # type: ignore[misc]  # the library has no types here
    """The library's application, that executes what SERVICES names and nothing else."""

    async def indication(self, apdu: Any) -> None:
        """A request that came; one that isn't named is rejected as a service that isn't there, or passed over where no answer is due."""
        if type(apdu).__name__ not in SERVICES:
            if isinstance(apdu, ConfirmedRequestPDU):
                await self.response(RejectPDU(reason=RejectReason.unrecognizedService, context=apdu))
            return
        await super().indication(apdu)

    async def do_SubscribeCOVRequest(self, apdu: Any) -> None:
        """Tell of changes; the library sets no bound."""
        is_end = apdu.issueConfirmedNotifications is None and apdu.lifetime is None
        known = [one for found in self._cov_detections.values() for one in found.cov_subscriptions]
        asked = (apdu.pduSource, apdu.subscriberProcessIdentifier, apdu.monitoredObjectIdentifier)
        is_renewed = any((one.client_addr, one.proc_id, one.obj_id) == asked for one in known)
        if len(known) >= MOST_SUBSCRIPTIONS and not is_end and not is_renewed:
            raise ExecutionError("resources", "noSpaceToAddListElement")
        await super().do_SubscribeCOVRequest(apdu)

    def cov_confirmation(self, cov: Any, future: asyncio.Future[Any]) -> None:
        """A subscriber's answer. One that refuses what it asked for is no fault of the face."""
        if not future.cancelled():
            future.exception()

    async def do_GetEventInformationRequest(self, apdu: Any) -> None:
        """Alarms that are there, or that nobody has answered, after the last that the asker has (13.12); the library has no answer."""
        events = [
            one
            for one in self.objectIdentifier.values()
            if isinstance(one, BinaryInputObject)
            and (one.eventState != EventState.normal or 0 in list(one.ackedTransitions))
        ]
        last = apdu.lastReceivedObjectIdentifier
        if last is not None:
            events = [one for one in events if one.objectIdentifier[1] > last[1]]
        summaries = [
            GetEventInformationEventSummary(
                objectIdentifier=one.objectIdentifier, eventState=one.eventState, acknowledgedTransitions=one.ackedTransitions,
                eventTimeStamps=list(one.eventTimeStamps), notifyType=one.notifyType, eventEnable=one.eventEnable,
                eventPriorities=[_PRIORITIES[one.notificationClass - 1]] * 3,
            )
            for one in events[:_SUMMARIES]
        ]  # fmt: skip
        more = len(events) > _SUMMARIES
        await self.response(GetEventInformationACK(listOfEventSummaries=summaries, moreEvents=more, context=apdu))

    def get_services_supported(self) -> ServicesSupported:
        supported = ServicesSupported([])
        for name in SERVICES.values():
            supported[getattr(supported, name)] = 1
        return supported
