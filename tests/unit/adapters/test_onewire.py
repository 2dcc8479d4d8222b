"""The 1-Wire adapter on files laid out as the kernel does: what each of them is taken for, and the cases of the case book.

Sources of the texts: the kernel's own driver on a simulated bus (seen, Debian 6.1), the case book where a test says so.
What the adapter hands over goes through the real transducer and, where a case is about it, the real station.
"""

from __future__ import annotations

import os
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import pytest

from adapters.onewire import OneWire, Probe, probes
from edge import config
from edge.acquisition.schedule import Schedule
from edge.clock import ToldClock
from edge.domain.errors import BusLost, UnusableInput
from edge.domain.readings import REASONS, Quality
from edge.domain.sensing.point_monitor import STUCK_AFTER_MS
from edge.domain.sensing.transducers import transducer
from simulators.devices.trees import ONE_WIRE_STATES, OneWireTree
from tests.unit.stations import POINTS, QUIET, Driver

RESERVOIR, BASIN, OTHER = "28-00000a1b2c3d", "28-00000a1b2c5f", "28-0000cafe0001"
GOOD = "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\n"
POWER_ON = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
CRC_NO = "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n63 01 4b 46 7f ff 0d 10 15 t=-62\n"


EXAMPLE = Path(__file__).parents[3] / "config" / "station-example.toml"


class Wire:
    """A bus whose files say what a test writes into them."""

    def __init__(self, root, points=None, **options):
        self.root, self.clock = root, ToldClock(mono_ms=1_000_000)
        (root / "w1_bus_master1").mkdir(parents=True)
        points = points or {"reservoir": RESERVOIR}
        tables = {name: {"id": name, "address": address, "every": "2 s"} for name, address in points.items()}
        self.adapter = OneWire({"id": "probe-wire", "root": str(root), **options}, tables, self.clock)
        self.transducers = {p.id: transducer(p, tables[p.id]) for p in POINTS if p.id in tables}

    def write(self, text, address=RESERVOIR, file="w1_slave"):
        path = self.root / address / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else text.encode("ascii"))

    def read(self, *due):
        """By point: (number, reason); what else a test wants is in `raws`."""
        self.raws = {raw.point: raw for raw in self.adapter.read(due or ("reservoir",))}
        return {name: (raw.number, raw.reason) for name, raw in self.raws.items()}

    def samples(self, *due):
        """As acquisition hands them to the judge."""
        self.read(*due)
        return [self.transducers[raw.point](raw) for raw in self.raws.values()]


@pytest.fixture
def wire(tmp_path):
    return Wire(tmp_path / "devices")


def station_hears(wire, driver, *due):
    samples = [sample._replace(mono_ms=driver.mono_ms) for sample in wire.samples(*due)]
    driver.keep(driver.station.hear(samples, driver.now))


# -- the case book


@pytest.mark.parametrize("in_a_row", [1, 10])
def test_c001_the_power_on_value_is_no_temperature(wire, in_a_row):
    """Among readings of 39.0 once, then ten times in a row: bad, no high alarm; ten make the point silent, with one alarm."""
    driver = Driver()
    driver.run(5)
    rest = {name: value for name, value in QUIET.items() if name != "reservoir"}

    def feed(text, times):
        for _ in range(times):
            wire.write(text)
            wire.clock.tell(2000)
            driver.run(2, rest)
            station_hears(wire, driver)

    wire.write(GOOD)
    feed(GOOD, 3)
    feed(POWER_ON, in_a_row)
    shown = driver.station.points(driver.now)["reservoir"]
    assert (shown["quality"], shown["reason"], shown["value"]) == ("bad", "power_on_value", None)
    assert shown["advice"] == "Check the sensor's supply and pull-up"
    assert driver.alarms("reservoir_hot") == []
    assert driver.alarms("silent:reservoir") == (["unacknowledged"] if in_a_row == 10 else [])
    feed(GOOD, 1)
    shown = driver.station.points(driver.now)["reservoir"]
    assert (shown["quality"], shown["value"]) == ("good", 39.0)
    assert driver.alarms("silent:reservoir")[1:] == (["returned_unacknowledged"] if in_a_row == 10 else [])


@pytest.mark.parametrize("burst", [1, 5])
def test_c002_after_no_neither_number_is_taken(wire, burst):
    wire.write(GOOD)
    assert wire.read()["reservoir"] == (39.0, None)
    wire.write(CRC_NO)
    for _ in range(burst):
        assert wire.read()["reservoir"] == (None, "crc")
    wire.write(GOOD)
    assert wire.read()["reservoir"] == (39.0, None)
    assert wire.adapter.counts["crc"] == burst


def test_c002_a_short_burst_raises_nothing(wire):
    driver = Driver()
    driver.run(5)
    for text in [GOOD, *[CRC_NO] * 4, GOOD]:  # four of a period of 2 s: shorter than the stale limit of 10 s
        wire.write(text)
        driver.run(2, {name: value for name, value in QUIET.items() if name != "reservoir"})
        station_hears(wire, driver)
    assert driver.alarms("silent:reservoir") == []


@pytest.mark.parametrize(
    "content, reason",
    [
        (b"", "empty_answer"),
        (GOOD.splitlines(keepends=True)[0].encode(), "garbled"),
        (b"70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6\n", "garbled"),
        (b"70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=\n", "garbled"),
        (bytes(3072), "garbled"),
    ],
    ids=["0 bytes", "one line", "no t=", "t= without digits", "3 kB of NUL"],
)
def test_c003_files_that_are_not_whole(wire, content, reason):
    wire.write(GOOD)
    assert wire.read()["reservoir"] == (39.0, None)
    wire.write(content)
    assert wire.read()["reservoir"] == (None, reason)
    wire.write(GOOD)
    assert wire.read()["reservoir"] == (39.0, None)


def test_c004_a_pipe_that_nobody_writes_to_is_no_answer_within_the_limit(tmp_path):
    """Through acquisition, with other buses beside it: tests/integration/test_kernel_trees.py."""
    wire = Wire(tmp_path / "devices", {"reservoir": RESERVOIR, "basin": BASIN}, time_limit="200 ms")
    (wire.root / RESERVOIR).mkdir()
    os.mkfifo(wire.root / RESERVOIR / "w1_slave")
    wire.write(GOOD, BASIN)
    assert wire.read("reservoir", "basin") == {"reservoir": (None, "no_answer"), "basin": (39.0, None)}
    assert list(wire.read("reservoir", "basin")) == ["basin", "reservoir"]  # from now on it holds up no other


def test_c005_another_probe_never_slides_into_the_place_of_one_that_is_gone(tmp_path):
    """Reservoir and basin by their ids; the reservoir's goes, then an unknown one comes."""
    wire = Wire(tmp_path / "devices", {"reservoir": RESERVOIR, "basin": BASIN})
    wire.write(GOOD)
    wire.write("30 02 4b 46 7f ff 0c 10 4e : crc=4e YES\n30 02 4b 46 7f ff 0c 10 4e t=35000\n", BASIN)
    assert wire.read("reservoir", "basin") == {"reservoir": (39.0, None), "basin": (35.0, None)}
    (wire.root / RESERVOIR / "w1_slave").unlink()
    (wire.root / RESERVOIR).rmdir()
    assert wire.read("reservoir", "basin") == {"reservoir": (None, "device_gone"), "basin": (35.0, None)}
    assert wire.raws["reservoir"].detail == f"{RESERVOIR} is not on the bus"
    wire.write(GOOD, OTHER)
    for _ in range(3):
        assert wire.read("reservoir", "basin") == {"reservoir": (None, "device_gone"), "basin": (35.0, None)}
    assert OTHER in wire.raws["reservoir"].detail and BASIN not in wire.raws["reservoir"].detail


def test_c005_a_reservoir_without_its_probe_is_unknown_and_not_ready(wire):
    driver = Driver()
    driver.run(5)
    wire.write(GOOD, OTHER)
    for _ in range(6):
        station_hears(wire, driver)
        driver.run(2, {name: value for name, value in QUIET.items() if name != "reservoir"})
    assert driver.condition("reservoir")["state"] == "unknown"
    assert driver.verdict() != "ready"
    shown = driver.station.points(driver.now)["reservoir"]
    assert (shown["value"], shown["reason"]) == (None, "device_gone") and OTHER in shown["detail"]
    alarm = next(e.body for e in driver.said if e.kind == "alarm" and e.body["id"] == "silent:reservoir")
    assert OTHER in alarm["cause"]


def test_c005_accepting_a_replacement_is_a_change_of_the_station_file(tmp_path):
    """Which, at the next start or reload, is an entry of the journal; calibrations of the old probe don't hold for the new."""
    text = EXAMPLE.read_text(encoding="utf-8")
    before = config.loads(text, tmp_path / "station.toml")
    after = config.loads(text.replace(RESERVOIR, OTHER), tmp_path / "station.toml")
    told = [
        (s.settings.points[0].identity, s.document["point"][0]["address"], s.settings.points[0].transducer)
        for s in (before, after)
    ]
    assert told[0][:2] == (RESERVOIR, RESERVOIR) and told[1][:2] == (OTHER, OTHER)
    assert before.digest != after.digest


STUCK = "6f 02 4b 46 7f ff 01 10 20 : crc=20 YES\n6f 02 4b 46 7f ff 01 10 20 t=38937\n"
LITTLE_ABOVE = "71 02 4b 46 7f ff 0f 10 11 : crc=11 YES\n71 02 4b 46 7f ff 0f 10 11 t=39062\n"


def test_c006_a_value_that_never_moves_is_found_out(wire):
    """38.9375 to the last bit for six hours while the room moves: uncertain, then bad."""
    driver = Driver()
    wire.write(STUCK)
    seen = []
    for minute in range(6 * 60):
        driver.run(60, {"room": 20.0 + minute / 100}, every_s=60)
        station_hears(wire, driver)
        reading = driver.station.watches["reservoir"].last
        assert reading.value in (None, 38.9375)
        seen.append((reading.quality, reading.reason))
    order = list(dict.fromkeys(seen))
    assert order == [(Quality.GOOD, None), (Quality.UNCERTAIN, "perhaps_stuck"), (Quality.BAD, "stuck")]
    assert seen.index((Quality.BAD, "stuck")) <= STUCK_AFTER_MS / 60_000 + 1


def test_c006_a_steady_reservoir_is_left_alone(wire):
    """39.0 and one sixteenth beside it, for two hours."""
    driver = Driver()
    for minute in range(2 * 60):
        wire.write(LITTLE_ABOVE if minute % 7 == 3 else GOOD)
        driver.run(60, {"room": 20.0 + minute / 100}, every_s=60)
        station_hears(wire, driver)
        assert driver.station.watches["reservoir"].last.quality is Quality.GOOD


# -- what the kernel's files say


@pytest.mark.parametrize(
    "text, said",
    [
        ("70 02 4b 46 7f ff 0c 10 07 : crc=07 YES\n70 02 4b 46 7f ff 0c 10 07 t=39000\n", (39.0, None)),
        ("24 01 4b 46 7f ff 0c 10 48 : crc=48 YES\n24 01 4b 46 7f ff 0c 10 48 t=18250\n", (18.25, None)),
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", (None, "shorted")),
        (POWER_ON, (None, "power_on_value")),
        ("", (None, "empty_answer")),
        ("\x00\xfft=39000", (None, "garbled")),
        ("9" * 5000, (None, "garbled")),
    ],
)
def test_w1_slave(wire, text, said):
    wire.write(text.encode("latin-1"))
    assert wire.read()["reservoir"] == said


@pytest.mark.parametrize("file", ["temperature", "hwmon/hwmon3/temp1_input"])
@pytest.mark.parametrize(
    "text, said",
    [
        ("39000\n", (39.0, None)), ("35062\n", (35.062, None)), ("-10500\n", (-10.5, None)), ("", (None, "empty_answer")),
        ("85000\n", (None, "power_on_value")), ("127937\n", (None, "under_supplied")), ("0\n", (None, "shorted")),
        ("N/A\n", (None, "garbled")), ("39000\n39001\n", (None, "garbled")), ("9" * 5000, (None, "garbled")),
    ],
)  # fmt: skip
def test_files_of_millidegrees(wire, file, text, said):
    wire.write(text, file=file)
    assert wire.read()["reservoir"] == said


def test_the_scratchpad_is_read_where_there_is_one(wire):
    """`temperature` can't tell a shorted wire from 0 degC; the scratchpad can."""
    wire.write("01 00 4b 46 7f ff 0f 10 de : crc=de YES\n01 00 4b 46 7f ff 0f 10 de t=62\n")
    wire.write("85000\n", file="temperature")
    assert wire.read()["reservoir"] == (0.0625, None)


@pytest.mark.parametrize(
    "resolution, reason, told",
    [
        ("-19\n", "no_valid_answer", "it didn't answer its address"),
        ("-5\n", "no_valid_answer", "its check sum was wrong each time"),
        ("12\n", "empty_answer", ""),
    ],
)
def test_why_an_answer_is_empty_as_far_as_the_kernel_tells(wire, resolution, reason, told):
    wire.write("")
    wire.write(resolution, file="resolution")
    assert wire.read()["reservoir"] == (None, reason)
    assert wire.raws["reservoir"].detail == told


def test_a_probe_that_its_master_has_just_taken_off_its_list_is_gone_at_once(wire):
    """w1_master_slaves: the kernel's documentation of its 1-Wire masters; "not found." where there is none."""
    wire.write("")
    wire.write("-5\n", file="resolution")
    master = wire.root / "w1_bus_master1"
    (master / RESERVOIR).symlink_to(wire.root / RESERVOIR)
    (master / "w1_master_slaves").write_text(f"{BASIN}\n{RESERVOIR}\n")
    assert wire.read()["reservoir"] == (None, "no_valid_answer")
    for listed in (f"{BASIN}\n", "not found.\n"):
        (master / "w1_master_slaves").write_text(listed)
        assert wire.read()["reservoir"] == (None, "device_gone")
    wire.write(GOOD)
    assert wire.read()["reservoir"] == (39.0, None)


def test_85_that_was_reached_is_a_temperature(wire):
    """84.9375, whose scratchpad shows that the part keeps byte 6, then 85.0 with 16 sixteenths left."""
    wire.write("4f 05 4b 46 7f ff 01 10 3b : crc=3b YES\n4f 05 4b 46 7f ff 01 10 3b t=84937\n")
    assert wire.read()["reservoir"] == (84.9375, None)
    wire.write("50 05 4b 46 7f ff 10 10 bd : crc=bd YES\n50 05 4b 46 7f ff 10 10 bd t=85000\n")
    assert wire.read()["reservoir"] == (85.0, None)
    wire.write(POWER_ON)
    assert wire.read()["reservoir"] == (None, "power_on_value")


def test_a_reading_is_stamped_by_the_station_s_clock(wire):
    wire.write(GOOD)
    wire.clock.tell(1234)
    wire.read()
    assert (wire.raws["reservoir"].mono_ms, wire.raws["reservoir"].unit) == (1_001_234, "degC")


# -- what is on the bus


def test_phantoms_and_other_devices_are_no_probes(wire):
    for name in ("00-800000000000", "00-400000000000", "29-0000000a0001", "28-00000A1B2C3D", "28-short", OTHER):
        (wire.root / name).mkdir()
    assert probes(str(wire.root)) == [Probe(OTHER, str(wire.root / OTHER))]


@pytest.mark.parametrize("family", ["28", "10", "22", "3b", "42"])
def test_families_of_thermometers(tmp_path, family):
    address = f"{family}-0000000a0001"
    wire = Wire(tmp_path / "devices", {"reservoir": address})
    wire.write("70 02 4b 46 7f ff 0c 10 07 : crc=07 YES\n70 02 4b 46 7f ff 0c 10 07 t=39000\n", address)
    assert wire.read()["reservoir"] == (39.0, None)


def test_phantoms_in_place_of_a_probe_are_a_shorted_wire(wire):
    for name in ("00-800000000000", "00-400000000000"):
        (wire.root / name).mkdir()
    assert wire.read()["reservoir"] == (None, "shorted")
    assert "00-400000000000, 00-800000000000" in wire.raws["reservoir"].detail
    wire.write(GOOD)  # phantoms linger while the probe is back already
    assert wire.read()["reservoir"] == (39.0, None)


def test_many_candidates_make_no_endless_sentence(wire):
    for number in range(30):
        (wire.root / f"28-0000000000{number:02x}").mkdir()
    wire.read()
    assert wire.raws["reservoir"].detail.endswith("28-000000000004 and 25 more")


def test_a_tree_without_master_and_probes_is_a_lost_bus(wire):
    wire.write(GOOD)
    assert wire.adapter.changed()
    (wire.root / RESERVOIR / "w1_slave").unlink()
    (wire.root / RESERVOIR).rmdir()
    (wire.root / "w1_bus_master1").rmdir()
    with pytest.raises(BusLost, match=r"bus probe-wire, .*: there is no bus master; expected .*w1-gpio"):
        wire.read()
    assert not wire.adapter.changed()
    wire.root.rmdir()
    with pytest.raises(BusLost, match="there is no such folder"):
        wire.adapter.open()
    wire.write(GOOD)
    assert wire.adapter.changed()


# -- one conversion for all


def test_several_points_are_converted_at_once_and_a_single_one_by_itself(tmp_path):
    wire = Wire(tmp_path / "devices", {"reservoir": RESERVOIR, "basin": BASIN})
    bulk = wire.root / "w1_bus_master1" / "therm_bulk_read"
    for address in (RESERVOIR, BASIN):
        wire.write(GOOD, address)
    bulk.write_text("0\n")
    wire.read("reservoir", "basin")
    assert (bulk.read_bytes(), wire.adapter.counts["bulk"]) == (b"trigger\n", 1)
    bulk.write_text("0\n")
    wire.read("reservoir")  # the basin's answer of a conversion that isn't fetched would be an old one next time
    assert bulk.read_bytes() == b"trigger\n"
    bulk.write_text("0\n")
    (wire.root / BASIN / "w1_slave").unlink()
    (wire.root / BASIN).rmdir()
    wire.read("reservoir", "basin")
    assert bulk.read_bytes() == b"0\n"


def test_an_answer_that_nobody_fetched_is_not_taken_for_a_fresh_one(wire):
    """1: a bulk conversion was made, by whomever, and not all of it was read; a value read late is that old."""
    wire.write(GOOD)
    bulk = wire.root / "w1_bus_master1" / "therm_bulk_read"
    bulk.write_text("1\n")
    assert wire.read()["reservoir"] == (39.0, None)
    assert bulk.read_bytes() == b"trigger\n"


def test_a_master_that_takes_no_order_has_its_probes_read_in_turn(tmp_path, caplog):
    wire = Wire(tmp_path / "devices", {"reservoir": RESERVOIR, "basin": BASIN})
    for address in (RESERVOIR, BASIN):
        wire.write(GOOD, address)
    os.mkfifo(wire.root / "w1_bus_master1" / "therm_bulk_read")  # ENXIO where nobody reads it
    for _ in range(2):
        assert wire.read("reservoir", "basin") == {"reservoir": (39.0, None), "basin": (39.0, None)}
    assert wire.adapter.counts["bulk_refused"] == 2
    told = [record.message for record in caplog.records if "no order" in record.message]
    assert len(told) == 1 and wire.adapter.remark in told[0]
    assert "Let the daemon's user write it (deploy/60-warmwell-onewire.rules), or set the probes to 11 bits" in told[0]


def test_probes_that_convert_in_turn_share_the_time_by_their_periods(tmp_path, monkeypatch):
    """Four that are to be read each 10 s hold up the reservoir's, read each second, by one conversion and not by four."""
    others = {f"p{number}": f"28-00000a1b3c{number:02x}" for number in range(4)}
    wire = Wire(tmp_path / "devices", {"reservoir": RESERVOIR, **others})
    tables = {
        name: {"id": name, "address": address, "every": "1 s" if name == "reservoir" else "10 s"}
        for name, address in {"reservoir": RESERVOIR, **others}.items()
    }
    wire.adapter = OneWire({"id": "probe-wire", "root": str(wire.root)}, tables, wire.clock)
    for table in tables.values():
        wire.write(GOOD, table["address"])
    now = {"s": 100.0}
    whole = OneWire._heard

    def slow(self, *arguments):
        now["s"] += 0.75  # a conversion of 12 bits
        return whole(self, *arguments)

    monkeypatch.setattr(OneWire, "_heard", slow)
    monkeypatch.setattr("adapters.onewire.time", SimpleNamespace(monotonic=lambda: now["s"], sleep=lambda _s: None))
    schedule = Schedule({name: 1000 if name == "reservoir" else 10_000 for name in tables}, 100_000)
    at_s = {name: [] for name in tables}
    while now["s"] < 200.0:
        due = schedule.take(round(now["s"] * 1000))
        began_s = now["s"]
        for raw in wire.adapter.read(due):
            at_s[raw.point].append(now["s"])
        assert now["s"] - began_s < 1.0 + 0.76  # the shortest period, and one probe
        now["s"] = max(now["s"], schedule.next_ms() / 1000)
    gaps = {name: max(b - a for a, b in pairwise(times)) for name, times in at_s.items()}
    assert gaps["reservoir"] < 4.0 and all(gap < 16.0 for gap in gaps.values())
    assert len(at_s["reservoir"]) > 45 and all(len(times) > 7 for times in at_s.values())


# -- settings


@pytest.mark.parametrize(
    "address", [None, 28, "", "28-a", "00-800000000000", "29-00000a1b2c3d", "28-00000A1B2C3D", "28-00000a1b2c3d/.."]
)
def test_an_address_that_is_none_is_refused_in_one_sentence(tmp_path, address):
    with pytest.raises(
        UnusableInput, match=r"bus w, point p: .* is no thermometer's address; expected family"
    ) as refused:
        OneWire({"id": "w", "root": str(tmp_path)}, {"p": {"address": address}}, ToldClock())
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("root", [None, "", 5, "a\0b"])
def test_a_root_that_is_none_is_refused(root):
    with pytest.raises(UnusableInput, match=r"bus w, root: .* is no folder"):
        OneWire({"id": "w", "root": root}, {}, ToldClock())


# -- every state that the played tree can show

EXPECTED = {
    "good": None, "power_on": "power_on_value", "under_supplied": "under_supplied", "crc": "no_valid_answer", "crc_no": "crc",
    "cut": "no_valid_answer", "shorted": "shorted", "one_line": "garbled", "no_t": "garbled", "no_digits": "garbled", "nul": "garbled",
    "garbage": "garbled", "huge": "garbled", "io_error": "io_error", "hangs": "no_answer", "slow": None, "no_files": "device_gone",
    "vanished": "device_gone", "phantoms": "shorted",
}  # fmt: skip


#: texts of two lines only the file with the scratchpad can hold
MATRIX = [
    (state, shows)
    for state in EXPECTED
    for shows in ("w1_slave", "temperature", "hwmon")
    if shows == "w1_slave" or state not in ("crc_no", "one_line", "no_t", "no_digits")
]


def test_the_table_above_knows_every_state():
    assert set(ONE_WIRE_STATES) == {*EXPECTED, "bytes", "error"}  # the latter: tests/integration/test_kernel_trees.py


@pytest.mark.parametrize("state, shows", MATRIX)
def test_every_state_has_its_reason_and_is_over_when_it_is_over(tmp_path, state, shows):
    tree = OneWireTree(tmp_path / "devices", {RESERVOIR: lambda: 39.0, BASIN: lambda: 35.5}, shows=shows)
    tables = {"reservoir": {"address": RESERVOIR, "every": "2 s"}, "basin": {"address": BASIN, "every": "2 s"}}
    adapter = OneWire(
        {"id": "w", "root": str(tree.root), "time_limit": "2 s" if state == "slow" else "300 ms"}, tables, ToldClock()
    )

    def said():
        return {raw.point: (raw.number, raw.reason) for raw in adapter.read(["reservoir", "basin"])}

    try:
        tree.renew()
        assert said() == {"reservoir": (39.0, None), "basin": (35.5, None)}
        tree.show(RESERVOIR, state)
        reason = EXPECTED[state]
        assert said() == {"reservoir": (39.0 if reason is None else None, reason), "basin": (35.5, None)}
        assert reason is None or REASONS[reason].quality is Quality.BAD
        tree.show(RESERVOIR, "good")
        assert said() == {"reservoir": (39.0, None), "basin": (35.5, None)}
    finally:
        tree.stop()
