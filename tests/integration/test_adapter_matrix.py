"""Every adapter, every misbehaviour that its device can show: exactly the reason of the table, and only where it belongs.

One acquisition reads a bus of each kind for the whole run. Each row spoils one device and mends it again; the reason must be the
table's, the points beside it on the same bus stay right, the other buses keep their periods, and all is good again
without a restart. (adapter_table.py has the rows, adapter_rigs.py the devices.)
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from edge.domain.readings import KIND_OF, REASONS, Quality, Role, Sample
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Point
from simulators.devices.files_fuse import why_not
from simulators.devices.modbus import MISBEHAVIOURS
from simulators.devices.trees import IIO_STATES, ONE_WIRE_STATES
from tests.integration.adapter_rigs import PERIOD_MS, Station
from tests.integration.adapter_table import TABLE, Row
from tests.yardstick import Yardstick

#: states that are no misbehaviour of their own: right; what another row gives the bytes or the errno for; late, but in time
_NO_MISBEHAVIOUR = {"good", "bytes", "error", "slow"}
#: a row is watched for so long after its reason has come
WATCHED_MS = 3 * PERIOD_MS
#: so often a row is tried where the machine held threads of ours up for this long meanwhile [s]; else once
TRIES = 6
HELD_UP_S = 0.1

LIVE = [row for row in TABLE if row.adapter != "entered"]


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Station]:
    """All buses, with pauses short enough for a test that waits for each of them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("edge.acquisition.worker.FIRST_BACK_OFF_S", 0.05)
        patch.setattr("edge.acquisition.worker.LONGEST_BACK_OFF_S", 0.2)
        patch.setattr("adapters.gpio.FIRST_BACK_OFF_S", 0.05)
        patch.setattr("adapters.gpio.LONGEST_BACK_OFF_S", 0.2)
        patch.setattr("adapters.modbus_rtu.FIRST_BACK_OFF_S", 0.1)
        patch.setattr("adapters.modbus_rtu.LONGEST_BACK_OFF_S", 0.4)
        with Station(tmp_path_factory.mktemp("rigs"), why_not() is None) as station:
            yield station


def named(row: Row) -> str:
    return f"{row.rig_name}: {row.what}"


@pytest.mark.parametrize("row", LIVE, ids=named)
def test_a_misbehaviour_has_its_reason_harms_no_other_and_ends_without_a_restart(station: Station, row: Row):
    if row.rig_name not in station.rigs:
        pytest.skip(f"can't mount: {why_not()}")
    for left in reversed(range(TRIES)):
        with Yardstick() as yardstick:
            try:
                late = spoil_and_mend(station, row, yardstick)
                assert not late, late
            except AssertionError:
                # Time limits of adapters are real time. A misbehaviour that does harm does so each time; a machine that kept
                # our threads from running may have done it, and then it is looked at again.
                if not left or yardstick.late_s() < HELD_UP_S:
                    raise
            else:
                return


def spoil_and_mend(station: Station, row: Row, yardstick: Yardstick) -> dict[str, int]:
    """One misbehaviour from its beginning to its end; the points of other buses whose age came to two periods meanwhile, and to what
    the machine kept from our threads."""
    name, rig = row.rig_name, station.rigs[row.rig_name]
    started_ms = station.clock.mono_ms()
    for point in rig.tables:
        station.until(lambda point=point: station.is_good(name, point, started_ms), f"{point} is not good")
    told = len(station.told)
    station.watch_anew()
    spoilt_ms = station.clock.mono_ms()
    rig.spoil(row.how, row.point)
    try:
        came = station.until(
            lambda: shown(station, row, spoilt_ms), lambda: station.of(name, row.point, spoilt_ms)[-3:]
        )
        until_ms = station.clock.mono_ms() + WATCHED_MS
        station.until(lambda: station.clock.mono_ms() >= until_ms, "the time goes by")
        said = station.of(name, row.point, spoilt_ms)
        oldest_ms = station.oldest_ms(but=name)
    finally:
        rig.mend()
    # exactly this reason, with its quality
    assert {sample.reason for sample in said} <= {row.reason, None} | row.also, said
    assert_quality(station.points[f"{name}:{row.point}"], row, came)
    # nobody else on the bus
    for point in set(rig.tables) - {row.point} if not row.is_bus else ():
        beside = [sample for sample in station.of(name, point, spoilt_ms) if sample.mono_ms < until_ms]
        assert beside or name == "modbus-rtu", point
        if not on_the_same_unit(row, point):
            assert {sample.reason for sample in beside} <= {None}, (point, beside)
    # and it ends
    mended_ms = station.clock.mono_ms()
    for point in rig.tables:
        station.until(
            lambda point=point: station.is_good(name, point, mended_ms),
            lambda: station.of(name, row.point, mended_ms)[-3:],
        )
    lost = [what for what in station.told[told:] if what[1] == "lost"]
    assert lost == ([(rig.id, "lost")] if row.reason == "bus_lost" or row.is_lost else []), lost
    assert oldest_ms
    limit_ms = 2 * PERIOD_MS + 1000 * yardstick.late_s(2 * PERIOD_MS / 1000)
    return {point: age for point, age in oldest_ms.items() if age >= limit_ms}


def on_the_same_unit(row: Row, point: str) -> bool:
    """A Modbus unit that misbehaves does so for each of its registers."""
    return row.adapter == "modbus-rtu" and row.point == "subject" and point != "neighbour"


def shown(station: Station, row: Row, since_ms: int) -> Sample | None:
    """The newest sample, once it says what it should; where it is read all the same, the third one that is right."""
    rig = station.rigs[row.rig_name]
    found = station.of(row.rig_name, row.point, since_ms)
    if row.reason is not None:
        return next((sample for sample in reversed(found) if sample.reason == row.reason), None)
    true = rig.values_while(row.how).get(row.point, rig.values[row.point])
    right = [
        sample
        for sample in found
        if sample.value is not None and abs(sample.value - true) <= rig.slack * max(1.0, true)
    ]
    return right[-1] if len(right) >= 3 else None


def assert_quality(point: Point, row: Row, sample: Sample) -> None:
    """What the station makes of it: the quality that the reason has, and no value where that is bad."""
    reading = PointMonitor(point, 0).hear(sample)
    assert reading.reason == row.reason
    assert reading.quality is (Quality.GOOD if row.reason is None else REASONS[row.reason].quality)
    assert (reading.value is None) == (reading.quality is Quality.BAD)


@pytest.mark.parametrize("row", [row for row in TABLE if row.adapter == "entered"], ids=named)
def test_what_people_enter_is_missed_where_it_is_missing_or_too_old(row: Row):
    role = Role.FILTERED_CONDUCTIVITY
    watch = PointMonitor(Point("meter", role, KIND_OF[role], 60_000, 120_000, 0.0, 1000.0, by_people=True), 0)
    if row.how == "old":
        watch.hear(Sample("meter", 0, 310.0))
        assert watch.value(120_000) == 310.0
    assert watch.value(120_001) is None and watch.is_silent(120_001)
    assert watch.why_silent() == row.reason and REASONS[row.reason].quality is Quality.BAD
    watch.hear(Sample("meter", 130_000, 311.0))
    assert watch.value(130_000) == 311.0 and not watch.is_silent(130_000)


def test_the_table_has_every_misbehaviour_of_the_devices():
    rows = {adapter: {row.how for row in TABLE if row.adapter == adapter} for adapter in {row.adapter for row in TABLE}}
    assert set(ONE_WIRE_STATES) - _NO_MISBEHAVIOUR <= rows["onewire"]
    assert set(IIO_STATES) - _NO_MISBEHAVIOUR <= rows["iio"]
    assert set(MISBEHAVIOURS) <= rows["modbus-rtu"]


def test_the_table_has_every_adapter_that_reads_devices():
    import adapters

    assert {row.adapter for row in TABLE} == {*adapters.TABLE, "any"} - {"replay"}
    assert {row.reason for row in TABLE} - {None} <= set(REASONS)
