"""Every misbehaviour that the devices can show, by adapter, and the reason that it gives a reading.

deploy/reference-readings.md prints it.

`how` is what tests/integration/adapter_rigs.py does to the device; test_adapter_matrix.py holds each row against the running
adapter. Where `reason` is None, the point is read all the same.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Row(NamedTuple):
    """One misbehaviour.

    `also`: reasons that may stand for a moment on the way. `is_bus`: it takes every point of its bus. `is_lost`: the bus is told
    to be lost, though the reason is another. `rig`: where the device that can show it is another one than the adapter's usual.
    """

    adapter: str
    what: str
    how: str
    reason: str | None
    also: frozenset[str] = frozenset()
    is_bus: bool = False
    is_lost: bool = False
    point: str = "subject"
    rig: str = ""

    @property
    def rig_name(self) -> str:
        return self.rig or self.adapter


def _rows(adapter: str, *rows: tuple[str, str, str | None], **more: object) -> list[Row]:
    return [Row(adapter, what, how, reason, **more) for what, how, reason in rows]  # type: ignore[arg-type]  # keys of Row


_ERRNOS: Final = (
    ("EIO", "io_error"), ("EBUSY", "in_use"), ("ENODEV", "device_gone"), ("ETIMEDOUT", "no_answer"), ("EREMOTEIO", "no_answer"),
    ("EACCES", "no_access"), ("EPROTO", "io_error"),
)  # fmt: skip

TABLE: Final[tuple[Row, ...]] = (
    # -- 1-Wire
    *_rows(
        "onewire",
        ("power-on value, 85 °C, with a right check sum", "power_on", "power_on_value"),
        ("too little power, 127.9375 °C, with a right check sum", "under_supplied", "under_supplied"),
        ("check sum wrong, each time (an empty file)", "crc", "no_valid_answer"),
        ("check sum wrong, as older kernels show it (NO)", "crc_no", "crc"),
        ("cable cut just now (an empty file)", "cut", "no_valid_answer"),
        ("bus shorted to ground (nine zero bytes, 0 °C)", "shorted", "shorted"),
        ("one line only", "one_line", "garbled"),
        ("no t= in it", "no_t", "garbled"),
        ("nothing behind t=", "no_digits", "garbled"),
        ("zero bytes", "nul", "garbled"),
        ("rubbish", "garbage", "garbled"),
        ("more than such a file can hold", "huge", "garbled"),
        ("input/output error", "io_error", "io_error"),
        ("a file that never answers", "hangs", "no_answer"),
        ("the probe's folder without a file of a temperature", "no_files", "device_gone"),
        ("the probe is gone", "vanished", "device_gone"),
        ("the probe is gone and another one, which no point names, is there", "stranger", "device_gone"),
        ("the probe is gone and phantoms are there (shorted for long)", "phantoms", "shorted"),
    ),
    *_rows("onewire", ("the bus master is unplugged", "unplugged", "bus_lost"), is_bus=True),
    *_rows("onewire", *((f"{name} from its hwmon file", name, reason) for name, reason in _ERRNOS), rig="onewire, errnos"),
    *_rows("onewire", ("a read that hangs in the kernel", "hangs", "no_answer"), rig="onewire, errnos", is_bus=True),
    # -- industrial I/O
    *_rows(
        "iio",
        ("lower end stop", "lower_stop", "lower_stop"),
        ("upper end stop", "upper_stop", "upper_stop"),
        ("an empty file", "empty", "empty_answer"),
        ("rubbish", "garbage", "garbled"),
        ("zero bytes", "nul", "garbled"),
        ("more than such a file can hold", "huge", "garbled"),
        ("input/output error", "io_error", "io_error"),
        ("a file that never answers", "hangs", "no_answer"),
        ("the channel is gone", "no_files", "device_gone"),
    ),
    *_rows("iio", ("platinum element shorted", "0 ohm", "shorted"), point="element"),
    *_rows("iio", ("platinum element open", "1e9 ohm", "upper_stop"), point="element"),
    *_rows("iio", ("supervised loop cut", "200000 ohm", "sensor_open"), point="loop"),
    *_rows("iio", ("supervised loop shorted", "0 ohm", "shorted"), point="loop"),
    *_rows("iio", ("supervised loop neither at rest nor tripped", "6800 ohm", "loop_unclear"), point="loop"),
    *_rows(
        "iio",
        ("the converter is unplugged", "unplugged", "bus_lost"),
        ("another converter has its place", "another", "bus_lost"),
        is_bus=True,
    ),
    *_rows("iio", *((f"{name} from its file", name, reason) for name, reason in _ERRNOS), rig="iio, errnos"),
    *_rows("iio", ("a read that hangs in the kernel", "hangs", "no_answer"), rig="iio, errnos", is_bus=True),
    # -- Modbus
    *_rows(
        "modbus-rtu",
        ("no answer", "silent", "no_answer"),
        ("the answer comes too late", "late", "no_answer"),
        ("half an answer", "partial", "garbled"),
        ("the answer lacks its last byte", "short", "garbled"),
        ("the answer drips, slower than a frame may", "drip", "garbled"),
        ("the answer comes in two parts", "split", None),
        ("check sum wrong", "crc", "crc"),
        ("as many bytes of rubbish", "garbage", "garbled"),
        ("another unit's answer", "wrong unit", "garbled"),
        ("a register more than was asked for", "wrong length", "garbled"),
        ("the unit refuses", "exception", "refused"),
        ("the adapter hears its question, then the answer", "echo", None),
        ("the adapter hears its question and nothing else", "echo only", "no_answer"),
        ("two bytes of noise before the answer", "noise", None),
        ("a float that is not a number", "nan", "not_a_number"),
        ("a float with its words swapped", "swapped", "absurd_number"),
    ),
    *_rows("modbus-rtu", ("lower end stop, 8000 hex", "-32768", "lower_stop"), point="count"),
    *_rows("modbus-rtu", ("upper end stop, 7fff hex", "32767", "upper_stop"), point="count"),
    *_rows(
        "modbus-rtu",
        ("current loop open, 0 mA", "0 mA", "loop_open"),
        ("current loop below its range, 3.7 mA", "3.7 mA", "under_range"),
        ("current loop above its range, 20.8 mA", "20.8 mA", "over_range"),
        ("current loop shorted, 22 mA", "22 mA", "loop_over"),
        point="loop",
    ),
    *_rows(
        "modbus-rtu",
        ("the line is unplugged", "unplugged", "bus_lost"),
        ("another program holds the port", "held", "in_use"),
        is_bus=True,
        is_lost=True,
        also=frozenset({"bus_lost"}),
    ),
    # -- lines of a board
    *_rows(
        "gpio",
        ("contacts bounce", "bounces", None),
        ("edges are lost on their way", "edges lost", "edges_lost"),
        ("many more edges than the meter can give", "noise", "edges_noisy"),
        ("the meter's wire is cut: no flow, and no more can be told", "cut", None),
        ("asking the line fails", "error", "no_answer"),
    ),
    *_rows(
        "gpio",
        ("another program holds the line", "held", "in_use"),
        ("the chip has no such line", "no line", "no_such_line"),
        also=frozenset({"no_answer"}),  # while our own hold on the line ends
    ),
    *_rows("gpio", ("the chip is unplugged", "unplugged", "bus_lost"), is_bus=True),
    # -- lines of text
    *_rows(
        "serial-line",
        ("nothing comes", "silent", "no_answer"),
        ("wrong baud rate, as it looks: rubbish", "rubbish", "garbled"),
        ("lines never end", "endless", "no_answer"),
        ("lines are cut off", "cut", "no_answer"),
        is_bus=True,
    ),
    *_rows(
        "serial-line",
        ("the channel prints dashes", "T=----", "garbled"),
        ("the channel prints nan", "T=nan", "not_a_number"),
        ("a decimal comma that was not agreed", "T=39,5", "garbled"),
        ("a number with an exponent", "T=3.9e1", "garbled"),
        ("a number that the pattern would cut", "T=39.", "garbled"),
        ("two values in one line", "T=39.5 T=12.0", "garbled"),
        ("lines without this point's value", "X=1", "no_answer"),
        ("a byte that is no text in the line", "T=39.5 \xff", "garbled"),
        ("a byte each 5 ms", "drip", None),
    ),
    *_rows(
        "serial-line",
        ("the plug is pulled", "unplugged", "bus_lost"),
        ("another program holds the port", "held", "in_use"),
        is_bus=True,
        is_lost=True,
        also=frozenset({"bus_lost"}),
    ),
    # -- without hardware
    *_rows(
        "simulated",
        ("a sensor that doesn't answer", "", "no_answer"),
        ("any reason that its world names, such as a wrong check sum", "crc", "crc"),
    ),
    *_rows(
        "entered",
        ("nobody has entered a reading", "never", "not_entered"),
        ("the last one is older than it may be", "old", "not_entered"),
    ),
    *_rows("any", ("reading raises something", "raises", "adapter_fault"), is_bus=True, is_lost=True),
    *_rows(
        "any",
        ("it hands over something else than readings", "odd", "adapter_fault"),
        ("a reading stamped ahead of time", "ahead", "adapter_fault"),
        ("it says that the sensor is silent", "silent", "no_answer"),
        ("a call that never returns", "hangs", "no_answer"),
        ("it says that its bus is lost", "lost", "bus_lost"),
        is_bus=True,
    ),
)  # fmt: skip
