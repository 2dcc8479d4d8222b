"""The BACnet face, asked over loopback. By octets as the standard writes them, by bacpypes3's own client (the library that the face is
made with: for what it answers, not for how), and by rusty-bacnet, which nobody here wrote, where that is installed."""

from __future__ import annotations

import asyncio
import contextlib
import math
import socket
from importlib.util import find_spec

import pytest
from bacpypes3.apdu import (
    DeviceCommunicationControlRequest,
    ErrorRejectAbortNack,
    GetEventInformationACK,
    GetEventInformationRequest,
    ReinitializeDeviceRequest,
    RejectPDU,
    SubscribeCOVRequest,
    WritePropertyMultipleRequest,
)
from bacpypes3.app import Application
from bacpypes3.basetypes import PropertyValue, WriteAccessSpecification
from bacpypes3.constructeddata import Any
from bacpypes3.local.device import DeviceObject
from bacpypes3.local.networkport import NetworkPortObject
from bacpypes3.pdu import Address
from bacpypes3.primitivedata import Real

from edge.domain.errors import UnusableInput, WarmwellError
from edge.faces.bacnet import MOST_SUBSCRIPTIONS, BacnetFace
from edge.faces.places import Places, load
from edge.faces.seen import OLD_S, later, read, rehearsed
from tests.unit.faces.kit import picture, point


def free_udp_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


@contextlib.asynccontextmanager
async def serving(folder, seen=None):
    """(the face, its port) while it answers, on loopback without broadcasts."""
    port, opened = free_udp_port(), asyncio.Event()
    face = BacnetFace(Places(), folder / "places.json", "127.0.0.1/32", port, 4711)
    face.show(seen or read(picture()))
    task = asyncio.ensure_future(face.serve(opened.set))
    waiting = asyncio.ensure_future(opened.wait())
    try:
        await asyncio.wait([task, waiting], return_when=asyncio.FIRST_COMPLETED)
        assert opened.is_set(), task
        yield face, port
    finally:
        task.cancel()
        waiting.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


class Operator(Application):
    """Keeps what it is told of changes. (The library's own subscriber misses what comes with the answer.)"""

    async def do_UnconfirmedCOVNotificationRequest(self, apdu):
        self.changes.put_nowait(apdu)


@contextlib.asynccontextmanager
async def client():
    device = DeviceObject(objectIdentifier=("device", 99), objectName="operator", vendorIdentifier=999)
    port = NetworkPortObject(
        f"127.0.0.1/32:{free_udp_port()}", objectIdentifier=("network-port", 1), objectName="network-port"
    )
    app = Operator.from_object_list([device, port])
    app.changes = asyncio.Queue()
    try:
        yield app
    finally:
        app.close()


def asked(port, request):
    """The answer to a datagram; in a thread, as the face answers in the loop."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.settimeout(30)
        sock.connect(("127.0.0.1", port))
        sock.send(bytes.fromhex(request))
        return sock.recv(2000).hex()


#: BVLC original unicast, 17 octets in all (ASHRAE 135, J.2.11); NPDU version 1, an answer is expected (6.2)
READ_ENVELOPE = "81 0a 00 11 01 04"
#: ReadProperty of Analog Input 5, Present_Value: the example of ASHRAE 135, F.3.5, from memory (but for the APDU size that is taken)
READ_AI_5 = "00 00 01 0c 0c 00 00 00 05 19 55"
#: its answer there: 72.3 as a Real
AI_5_IS = "30010c0c0000000519553e444290999a3f"


def test_the_standard_s_own_example_is_answered_as_it_is_printed(tmp_path):
    told = picture()
    told["points"] = {f"p{number}": point("room_temperature", 20.0, "Cel") for number in range(1, 5)}
    told["points"]["p5"] = point("room_temperature", 72.3, "Cel")

    async def ask():
        async with serving(tmp_path, read(told)) as (_, port):
            return await asyncio.to_thread(asked, port, READ_ENVELOPE + READ_AI_5)

    assert asyncio.run(ask()).endswith(AI_5_IS)


async def told_of(app, port, *objects):
    """Each object's value, flags and reliability, as texts."""
    found = []
    for name in objects:
        found.append(
            [str(await app.read_property(f"127.0.0.1:{port}", name, what)) for what in ("present-value", "status-flags", "reliability")]
        )  # fmt: skip
    return found


def test_points_alarms_and_verdict_are_objects_and_what_is_unknown_is_no_value(tmp_path):
    async def ask():
        async with serving(tmp_path) as (face, port), client() as app:
            fine = "no-fault-detected"
            # places: flow, reservoir, supply; leak, pressure_low, reservoir_cold
            assert await told_of(
                app, port, "analog-input,2", "analog-input,3", "binary-input,1", "binary-input,3", "multi-state-input,1"
            ) == [
                ["38.5", "", fine], ["nan", "fault", "communication-failure"], ["inactive", "", fine],
                ["active", "in-alarm", fine], ["2", "", fine],
            ]  # fmt: skip
            here = f"127.0.0.1:{port}"
            assert str(await app.read_property(here, "analog-input,2", "units")) == "degrees-celsius"
            assert await app.read_property(here, "binary-input,3", "object-name") == "alarm:reservoir_cold"
            assert str(await app.read_property(here, "binary-input,3", "event-state")) == "offnormal"
            face.show(later(read(picture()), OLD_S + 1))
            silent = "communication-failure"
            assert await told_of(app, port, "analog-input,2", "multi-state-input,1", "binary-input,3") == [
                ["nan", "fault", silent], ["3", "fault", silent], ["active", "in-alarm;fault", silent],
            ]  # fmt: skip
            told = picture()
            del told["points"]["reservoir"]
            face.show(read(told))
            assert (await told_of(app, port, "analog-input,2"))[0] == ["nan", "fault", "unreliable-other"]
            face.show(rehearsed(read(picture()), "leak"))
            assert (await told_of(app, port, "binary-input,1"))[0][0] == "active"
            assert "TEST" in await app.read_property(here, "binary-input,1", "description")

    asyncio.run(ask())
    assert load(tmp_path / "places.json").points == {"flow": 0, "reservoir": 1, "supply": 2}


def test_alarms_that_wait_for_an_answer_are_listed_and_nothing_can_be_written(tmp_path):
    async def ask():
        async with serving(tmp_path) as (_, port), client() as app:
            here = Address(f"127.0.0.1:{port}")
            answer = await app.request(GetEventInformationRequest(destination=here))
            assert isinstance(answer, GetEventInformationACK) and answer.moreEvents == 0
            assert [
                (one.objectIdentifier[1], str(one.eventState), list(one.acknowledgedTransitions), list(one.eventPriorities))
                for one in answer.listOfEventSummaries
            ] == [
                (2, "offnormal", [1, 1, 1], [128, 128, 128]), (3, "offnormal", [0, 1, 1], [64, 64, 64]),
            ]  # fmt: skip
            write = WriteAccessSpecification(
                objectIdentifier="analog-input,2",
                listOfProperties=[PropertyValue(propertyIdentifier="present-value", value=Any(Real(99.0)))],
            )
            requests = [
                app.write_property(here, "analog-input,2", "present-value", 99.0),
                app.write_property(here, "binary-input,3", "event-detection-enable", False),
                app.request(WritePropertyMultipleRequest(listOfWriteAccessSpecs=[write], destination=here)),
                app.request(DeviceCommunicationControlRequest(enableDisable="disable", destination=here)),
                app.request(ReinitializeDeviceRequest(reinitializedStateOfDevice="coldstart", destination=here)),
            ]
            for request in requests:
                with pytest.raises(RejectPDU, match="unrecognized-service"):
                    await request
            assert (await told_of(app, port, "analog-input,2"))[0][0] == "38.5"
            served = await app.read_property(here, "device,4711", "protocol-services-supported")
            assert (
                sum(served) == 6 and not served[15] and not served[16]
            )  # WriteProperty and -Multiple: bits 15, 16 (21, ServicesSupported)

    asyncio.run(ask())


def test_changes_are_told_to_subscribers_up_to_a_bound(tmp_path):
    async def ask():
        async with serving(tmp_path) as (face, port), client() as app:

            def subscribing(number):
                return app.request(
                    SubscribeCOVRequest(
                        subscriberProcessIdentifier=number, monitoredObjectIdentifier="analog-input,1",
                        issueConfirmedNotifications=False, lifetime=300, destination=Address(f"127.0.0.1:{port}"),
                    )
                )  # fmt: skip

            async def told():
                apdu = await asyncio.wait_for(app.changes.get(), 30)
                return apdu.subscriberProcessIdentifier, apdu.listOfValues[0].value.cast_out(Real)

            await subscribing(1)
            assert await told() == (1, 9.5)
            changed = picture()
            changed["points"]["flow"]["value"] = 7.25
            face.show(read(changed))
            assert await told() == (1, 7.25)
            for number in range(2, MOST_SUBSCRIPTIONS + 1):
                await subscribing(number)
            with pytest.raises(ErrorRejectAbortNack, match="no-space-to-add-list-element"):
                await subscribing(MOST_SUBSCRIPTIONS + 1)
            await subscribing(1)  # one that is known is renewed

    asyncio.run(ask())


def test_a_port_that_is_taken_is_said_and_an_address_needs_its_network(tmp_path):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        face = BacnetFace(Places(), tmp_path / "places.json", "127.0.0.1/8", sock.getsockname()[1], 1)
        with pytest.raises(WarmwellError, match="it can't listen"):
            asyncio.run(face.serve(lambda: None))
    for address in ("192.0.2.14", "192.0.2.14/33", "2001:db8::1/64", "0.0.0.0/0"):
        with pytest.raises(UnusableInput):
            BacnetFace(Places(), tmp_path / "places.json", address, 47808, 1)


def test_another_implementation_reads_it_and_can_not_write(tmp_path):
    if find_spec("rusty_bacnet") is None:
        pytest.skip("rusty-bacnet is not installed here")
    import rusty_bacnet

    kind, what = rusty_bacnet.ObjectType, rusty_bacnet.PropertyIdentifier

    async def ask():
        async with serving(tmp_path) as (_, port):
            here = f"127.0.0.1:{port}"
            async with rusty_bacnet.BACnetClient(
                interface="127.0.0.1", port=free_udp_port(), broadcast_address="127.255.255.255", apdu_timeout_ms=5000
            ) as far:
                basin = rusty_bacnet.ObjectIdentifier(kind.ANALOG_INPUT, 2)
                verdict = rusty_bacnet.ObjectIdentifier(kind.MULTI_STATE_INPUT, 1)
                missing = rusty_bacnet.ObjectIdentifier(kind.ANALOG_INPUT, 3)
                assert (await far.read_property(here, basin, what.PRESENT_VALUE)).value == 38.5
                assert (await far.read_property(here, verdict, what.PRESENT_VALUE)).value == 2
                assert math.isnan((await far.read_property(here, missing, what.PRESENT_VALUE)).value)
                assert await far.get_event_information(here)
                with pytest.raises(Exception, match=r"(?i)reject"):
                    await far.write_property(here, basin, what.PRESENT_VALUE, rusty_bacnet.PropertyValue.real(99.0))
                assert (await far.read_property(here, basin, what.PRESENT_VALUE)).value == 38.5

    asyncio.run(ask())
