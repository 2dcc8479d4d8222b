"""Ways of reading sensors, by name. A name leads to "module:Class", imported only when a station file asks for it.

Packages from elsewhere add kinds with the entry-point group `warmwell.adapters`; none of them can take over a name of
the table here.

What an adapter does. It speaks one protocol, knows nothing of stations, and keeps the contract `Adapter` of edge/domain/contracts.py: it
is made with `(bus, points, clock)`, then `open`, `read(due)`, `close`. It never makes a reading up: what doesn't answer is a `Raw` with a
reason, a bus that is gone is `BusLost`. What is wrong with a unit, a probe or a line is its points' alone; an unplugged device takes all
points of its bus. Timestamps are taken at the read. Time limits are real time.

How it is tried. On something that behaves like the hardware, a pseudo-terminal or a device of simulators/devices: silence, garbage, half an
answer, unplugged and plugged in again, held by another program. tests/integration/adapter_table.py has a row for each misbehaviour, and
simulators/devices/hardware.py a device that `warmwell demo --hardware` reads.

What a technician sees of it before there is a station file: a watch in edge/survey/sources.py reads with the adapter's own
code in a thread of its own; edge/survey/file.py writes its block. A draft's point is active only where its kind and unit are
told by the device, or one alone is plausible; then it says CONFIRM. The rest is a comment: a guessed span is a believable wrong number.
"""

from __future__ import annotations

import difflib
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from typing import Final, cast

from edge.domain.contracts import AdapterFactory
from edge.domain.errors import UnusableInput

TABLE: Final[dict[str, str]] = {
    "simulated": "simulators.adapter:Simulated",
    "replay": "adapters.replay:Replay",
    "serial-line": "adapters.serial_line:SerialLine",
    "modbus-rtu": "adapters.modbus_rtu:ModbusRtu",
    "onewire": "adapters.onewire:OneWire",
    "iio": "adapters.iio:Iio",
    "gpio": "adapters.gpio:Gpio",
    "entered": "adapters.entered:Entered",
}

#: kinds that station files may name already; their code comes with a later version
NOT_YET: Final[frozenset[str]] = frozenset()

GROUP: Final = "warmwell.adapters"


def kinds() -> list[str]:
    """Every kind of bus that can be read here: the table's and those of installed packages."""
    return sorted({*TABLE, *(entry.name for entry in entry_points(group=GROUP))})


def find(kind: str) -> AdapterFactory:
    """The adapter for a kind of bus.

    Raises:
        UnusableInput: no such kind, not in this version, or its package can't be imported.
    """
    target = TABLE.get(kind) or _installed(kind)
    if target is None:
        raise _unknown(kind)
    module, _, name = target.partition(":")
    try:
        return cast(AdapterFactory, getattr(import_module(module), name))
    except (ImportError, AttributeError, SyntaxError) as exc:
        raise UnusableInput(
            f"the adapter can't be loaded from {target} ({exc})",
            where=f'bus kind "{kind}"',
            expected="an installed adapter",
            do="Install the package that it needs, or take the bus out of the station file",
        ) from exc


def _installed(kind: str) -> str | None:
    found: list[EntryPoint] = [entry for entry in entry_points(group=GROUP) if entry.name == kind]
    return found[0].value.partition("[")[0].strip() if found else None


def _unknown(kind: str) -> UnusableInput:
    known = kinds()
    if kind in NOT_YET:
        what, do = "this version can't read it yet", "Leave the bus and its points out until a version can"
    else:
        near = difflib.get_close_matches(kind, known, n=1)
        what = "there is no such kind of bus"
        do = f'Write "{near[0]}"' if near else "Choose one of these, or install the package that brings it"
    return UnusableInput(what, where=f'bus kind "{kind[:40]}"', expected="one of " + ", ".join(known), do=do)
