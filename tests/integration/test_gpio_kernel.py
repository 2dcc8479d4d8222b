"""The gpio adapter through gpiod: against the kernel's own interface where there is a GPIO chip, else against a stand-in for it.

The stand-in (gpio_shim.c) is preloaded and answers the calls to the kernel with the structures of the system's own header, so
that gpiod itself, its enumerations and its buffers are the real ones.

The layouts and numbers of the interface are those of the kernel's header include/uapi/linux/gpio.h, version 2 of its ABI.
Lines are only looked at here, and only a line that nobody uses is taken for a moment, as an input without bias: nothing that is
wired to a board is driven.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from adapters.gpio import Gpio
from adapters.gpio_chip import CONSUMER, KernelLines, Wanted
from edge.clock import RealClock
from edge.domain.errors import BusLost

GET_CHIP_INFO = 0x8044B401  # _IOR(0xB4, 0x01, struct gpiochip_info)
GET_LINE_INFO = 0xC100B405  # _IOWR(0xB4, 0x05, struct gpio_v2_line_info)
CHIP_INFO = struct.Struct("32s32sI")  # name, label, lines
LINE_INFO = struct.Struct("32s32sIIQ160s16s")  # name, consumer, offset, attributes, flags, attributes, padding
USED, OUTPUT = 1 << 0, 1 << 3  # GPIO_V2_LINE_FLAG_...

CHIPS = sorted(Path("/dev").glob("gpiochip*"))


def text(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode()


@pytest.fixture
def chip() -> Iterator[tuple[Path, int]]:
    if not CHIPS:
        pytest.skip("no GPIO chip on this machine")
    handle = os.open(CHIPS[0], os.O_RDONLY)
    yield CHIPS[0], handle
    os.close(handle)


def line_info(handle: int, offset: int) -> tuple[str, int]:
    """(consumer, flags) of a line, as the kernel says."""
    asked = bytearray(LINE_INFO.pack(b"", b"", offset, 0, 0, b"", b""))
    fcntl.ioctl(handle, GET_LINE_INFO, asked)
    _, consumer, _, _, flags, _, _ = LINE_INFO.unpack(bytes(asked))
    return text(consumer), flags


def test_the_layouts_are_as_long_as_the_numbers_say():
    # an ioctl's number holds its argument's size in bits 16 to 29
    assert CHIP_INFO.size == GET_CHIP_INFO >> 16 & 0x3FFF
    assert LINE_INFO.size == GET_LINE_INFO >> 16 & 0x3FFF


def test_a_line_is_taken_read_and_let_go_and_the_kernel_agrees(chip):
    pytest.importorskip("gpiod", reason="gpiod is not installed here")
    path, handle = chip
    told = bytearray(CHIP_INFO.size)
    fcntl.ioctl(handle, GET_CHIP_INFO, told)
    lines = CHIP_INFO.unpack(bytes(told))[2]
    free = [n for n in range(lines) if not line_info(handle, n)[1] & (USED | OUTPUT)]
    if not free:
        pytest.skip("no GPIO line of this machine is free")
    opened = KernelLines({"id": "lines", "chip": str(path)}, {}, RealClock()).open()
    held = opened.take(free[0], Wanted("none", True, 0.0, False))
    try:
        assert held.is_closed() in (True, False)
        assert line_info(handle, free[0])[0] == CONSUMER
        with pytest.raises(OSError, match=os.strerror(errno.EBUSY)):
            opened.take(free[0], Wanted("none", True, 0.0, False))
        assert opened.holder(free[0]) == CONSUMER
        with pytest.raises(LookupError):
            opened.take(lines, Wanted("none", True, 0.0, False))
    finally:
        held.release()
        opened.close()
    assert line_info(handle, free[0])[1] & USED == 0


@pytest.mark.parametrize(
    "path, said",
    [("/dev/gpiochip-that-is-not-there", "the chip is not there"), ("/dev/null", "can't be opened as a GPIO chip")],
)
def test_what_gpiod_can_not_open_is_told_in_one_sentence_with_its_lines(path, said):
    pytest.importorskip("gpiod", reason="gpiod is not installed here")
    points = {"flow": {"role": "supply_flow", "line": 17, "pulses": {"k_factor": "450 /L", "maximum_flow": "30 L/min"}}}
    adapter = Gpio({"id": "lines", "kind": "gpio", "chip": path}, points, RealClock())
    with pytest.raises(BusLost, match=said) as lost:
        adapter.open()
    assert path in str(lost.value) and "17 (flow)" in str(lost.value) and "\n" not in str(lost.value)
    adapter.close()


# -- gpiod itself, on a stand-in for the kernel

ROOT = Path(__file__).parents[2]
#: flags of a line's request: linux/gpio.h
ACTIVE_LOW, INPUT, EDGE_RISING, EDGE_FALLING, PULL_UP, PULL_DOWN = 1 << 1, 1 << 2, 1 << 4, 1 << 5, 1 << 8, 1 << 9
BOTH = EDGE_RISING | EDGE_FALLING

STATION = """
import json
from adapters import gpio_chip
from adapters.gpio import Gpio
from edge.clock import ToldClock
from edge.domain.errors import BusLost
METER = {"k_factor": "450 /L", "maximum_flow": "200 L/min"}
points = {
    "flow": {"role": "supply_flow", "line": "FLOW", "pulses": METER},
    "power": {"role": "machine_power", "line": 9, "bias": "pull-down", "debounce": "30 ms"},
    "leak": {"role": "leak", "line": 10, "bias": "none"},
    "outlet": {"role": "outlet_protection", "line": 5},
    "tray": {"role": "leak", "line": 99},
    "named": {"role": "leak", "line": "NOBODY"},
}
gpio_chip._KernelChip.now_ns = lambda self: NOW[0]
NOW = [1_000_000_000]
adapter = Gpio({"id": "lines", "chip": "/dev/null"}, points, ToldClock())
try:
    adapter.open()
    NOW[0] = 3_000_000_000
    said = {raw.point: [raw.number, raw.unit, raw.reason, raw.detail] for raw in adapter.read(list(points))}
    print(json.dumps({"said": said, "counts": adapter.counts}))
except BusLost as exc:
    print(json.dumps({"lost": str(exc)}))
adapter.close()
"""


@pytest.fixture(scope="module")
def shim(tmp_path_factory) -> Path:
    pytest.importorskip("gpiod", reason="gpiod is not installed here")
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or not Path("/usr/include/linux/gpio.h").exists():
        pytest.skip("no C compiler or kernel headers here")
    made = tmp_path_factory.mktemp("shim") / "gpio_shim.so"
    source = Path(__file__).with_name("gpio_shim.c")
    subprocess.run(
        [compiler, "-Wall", "-Werror", "-shared", "-fPIC", "-o", made, source, "-ldl"], check=True, timeout=60
    )
    return made


def on_the_shim(shim: Path, **more: str) -> tuple[dict[str, Any], list[str]]:
    """What the adapter said, and what requests reached the kernel."""
    done = subprocess.run(
        [sys.executable, "-c", STATION], cwd=ROOT, env=os.environ | {"LD_PRELOAD": str(shim)} | more, text=True,
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    return json.loads(done.stdout), [line for line in done.stderr.splitlines() if line.startswith("line ")]


def test_lines_reach_the_kernel_as_they_are_wired_and_its_edges_reach_the_meter(shim):
    told, requests = on_the_shim(shim, GPIO_SHIM_EDGES="400")
    assert requests == [
        f"line 7 consumer warmwell flags {INPUT | EDGE_RISING | PULL_UP | ACTIVE_LOW} debounce_us 0 queue 1024",
        f"line 9 consumer warmwell flags {INPUT | BOTH | PULL_DOWN} debounce_us 30000 queue 0",
        f"line 10 consumer warmwell flags {INPUT | BOTH | ACTIVE_LOW} debounce_us 20000 queue 0",
    ]
    said = told["said"]
    assert said["power"] == [1.0, "closed", None, ""]
    assert said["leak"] == [0.0, "closed", None, ""]
    assert said["flow"][:3] == [0.0, "L/min", None]  # 400 pulses, and none for 1.6 s
    assert (told["counts"]["flow: pulses"], told["counts"]["flow: edges lost"]) == (400, 0)
    assert said["outlet"][2:] == ["in_use", "line 5 of /dev/null is in use by other-driver"]
    assert said["tray"][2:] == ["no_such_line", "/dev/null has no line 99"]
    assert said["named"][2:] == ["no_such_line", "/dev/null has no line NOBODY"]


def test_edges_that_the_kernel_dropped_are_known_by_its_numbers(shim):
    told, _ = on_the_shim(shim, GPIO_SHIM_EDGES="200", GPIO_SHIM_LOST="16")
    assert told["said"]["flow"][2:] == ["edges_lost", "16 edges lost"]
    assert (told["counts"]["flow: pulses"], told["counts"]["flow: edges lost"]) == (200, 16)


OUTPUT_FLAG = 1 << 3
DRIVEN = """
import json
from adapters.gpio_output import take
from edge.domain.errors import WarmwellError
def tried(line, active="high"):
    try:
        return take("lamp", {"chip": "/dev/null", "chip_label": None, "line": line, "active": active})
    except (WarmwellError, OSError) as exc:
        return str(exc)
lamp, relay = tried("FLOW"), tried(9, "low")
said = []
for line, on in ((lamp, True), (relay, True), (lamp, False), (relay, False)):
    try:
        line.drive(on)
    except OSError as exc:
        said.append(exc.strerror)
lamp.release(); relay.release(); lamp.release()
print(json.dumps({"said": said, "refused": [tried(5), tried(99), tried("NOBODY")]}))
"""


def test_outputs_reach_the_kernel_off_and_are_driven_by_their_level(shim):
    told, requests, levels = driven(shim)
    assert requests == [
        f"line 7 consumer warmwell flags {OUTPUT_FLAG} debounce_us 0 queue 0",
        f"line 9 consumer warmwell flags {OUTPUT_FLAG | ACTIVE_LOW} debounce_us 0 queue 0",
    ]
    assert levels == [
        "set 7 to 1",
        "set 9 to 1",
        "set 7 to 0",
        "set 9 to 0",
    ]  # logical values: the kernel turns an active-low one round
    assert told["said"] == []
    held, *missing = told["refused"]
    assert "the line is in use by other-driver" in held
    assert all("there is no such line; expected a line's number or name" in one for one in missing)


def test_an_output_whose_chip_is_gone_says_so(shim):
    told, _, levels = driven(shim, GPIO_SHIM_GONE="1")
    assert told["said"] == [os.strerror(errno.ENODEV)] * 4 and levels == []


def driven(shim: Path, **more: str) -> tuple[dict[str, Any], list[str], list[str]]:
    """What the outputs said, what requests reached the kernel, and what lines were set to."""
    done = subprocess.run(
        [sys.executable, "-c", DRIVEN], cwd=ROOT, env=os.environ | {"LD_PRELOAD": str(shim)} | more, text=True,
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    said = done.stderr.splitlines()
    return (
        json.loads(done.stdout),
        [s for s in said if s.startswith("line ")],
        [s for s in said if s.startswith("set ")],
    )


def test_a_chip_that_is_gone_is_a_lost_bus(shim):
    told, _ = on_the_shim(shim, GPIO_SHIM_GONE="1")
    assert "the chip is gone" in told["lost"]
