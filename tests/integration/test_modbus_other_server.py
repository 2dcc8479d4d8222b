"""The modbus-rtu adapter against another implementation of the protocol: pymodbus's server, joined to it by two pseudo-terminals."""

from __future__ import annotations

import asyncio
import threading

import pytest

from simulators.devices.far_end import FarEnd
from tests.integration.modbus_kit import Master, point


class Server(threading.Thread):
    """Unit 1: register n holds 1000 + n, for n below 40; bit n is set where n is odd. In a loop of its own."""

    def __init__(self, port):
        super().__init__(daemon=True)
        self.port, self.ready, self.loop = port, threading.Event(), None

    def run(self):
        asyncio.run(self.serve())

    async def serve(self):
        from pymodbus.server import ModbusSerialServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        device = SimDevice(1, simdata=[SimData(0, values=[1000 + at for at in range(40)], datatype=DataType.REGISTERS)])
        server = ModbusSerialServer(device, port=self.port, baudrate=19200)
        await server.serve_forever(background=True)
        self.loop, self.over = asyncio.get_running_loop(), asyncio.Event()
        self.ready.set()
        await self.over.wait()
        await server.shutdown()


@pytest.fixture
def port():
    """Two lines with their far ends joined: what goes in at one port comes out at the other."""
    ours, theirs = FarEnd("ours"), FarEnd("theirs")
    over = threading.Event()

    def join(one, other):
        while not over.is_set():
            if data := one.read(0.05):
                other.write(data)

    joints = [threading.Thread(target=join, args=ends, daemon=True) for ends in ((ours, theirs), (theirs, ours))]
    for joint in joints:
        joint.start()
    server = Server(theirs.port)
    server.start()
    assert server.ready.wait(10)
    yield ours.port
    server.loop.call_soon_threadsafe(server.over.set)
    server.join(10)
    over.set()
    for joint in joints:
        joint.join()
    ours.done()
    theirs.done()


def test_registers_of_another_implementation(port):
    points = {
        "a": point(1, 10), "b": point(1, 11, scale=0.1), "held": point(1, 39, kind="holding"),
        "wide": point(1, 0, "uint32", order="ABCD"), "swapped": point(1, 2, "uint32", order="CDAB"),
    }  # fmt: skip
    with Master(port, points) as master:
        numbers = {name: raw.number for name, raw in master.ask().items()}
    assert numbers == {
        "a": 1010, "b": pytest.approx(101.1), "held": 1039, "wide": (1000 << 16) + 1001, "swapped": (1003 << 16) + 1002,
    }  # fmt: skip


def test_its_refusals_and_its_silence(port):
    """A register out of its range is exception 2; a unit that it doesn't have gets an exception or no answer, never a number."""
    with Master(
        port, {"gone": point(1, 500), "there": point(1, 0), "nobody": point(9, 0)}, time_limit="300 ms"
    ) as master:
        raws = master.ask()
    assert raws["there"].number == 1000
    assert (raws["gone"].reason, "exception 2" in raws["gone"].detail) == ("refused", True)
    assert raws["nobody"].number is None
    assert raws["nobody"].reason in ("refused", "no_answer")
