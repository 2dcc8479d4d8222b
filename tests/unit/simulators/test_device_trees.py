"""The played trees say what the kernel's own driver said of a simulated bus (seen, Debian 6.1), and what the case book gives."""

from __future__ import annotations

import os

import pytest

from simulators.devices.files import PlainFiles
from simulators.devices.trees import (
    IioChannel,
    IioTree,
    OneWireTree,
    crc8,
    loop_volts,
    millidegrees_of,
    scratchpad,
    w1_slave,
)
from simulators.physics.world import Missing

PROBE = "28-00000a1b2c3d"


@pytest.mark.parametrize(
    "celsius, is_look_alike, first, millidegrees",
    [
        (39.0, True, "70 02 4b 46 7f ff 0c 10 07", 39000),  # seen
        (39.0, False, "70 02 4b 46 7f ff 10 10 a6", 39000),  # the case book's good line
        (35.0, True, "30 02 4b 46 7f ff 0c 10 4e", 35000),  # built in the kernel's form
        (35.0625, False, "31 02 4b 46 7f ff 0f 10", 35062),  # seen: cut, not rounded
        (-10.5, False, "58 ff 4b 46 7f ff 08 10", -10500),  # seen
        (127.9375, False, "ff 07 4b 46 7f ff 01 10", 127937),  # seen: under-supplied
    ],
)
def test_scratchpads_and_their_millidegrees(celsius, is_look_alike, first, millidegrees):
    nine = scratchpad(celsius, is_look_alike)
    assert nine.hex(" ").startswith(first)
    assert millidegrees_of(nine) == millidegrees


def test_the_check_sum_is_that_of_the_bus():
    assert crc8(bytes.fromhex("021CB801000000")) == 0xA2  # the example of the part maker's application note on this CRC
    assert crc8(bytes(8)) == 0
    assert crc8(bytes.fromhex("50054B467FFF0C10")) == 0x1C


def test_the_two_lines_stand_as_the_kernel_writes_them():
    told = "70 02 4b 46 7f ff 0c 10 07 : crc=07 YES\n70 02 4b 46 7f ff 0c 10 07 t=39000\n"
    assert w1_slave(scratchpad(39.0, True), 39000) == told.encode()


@pytest.fixture
def tree(tmp_path):
    value = {PROBE: 39.0}
    tree = OneWireTree(tmp_path / "devices", {PROBE: lambda: value[PROBE]})
    tree.value = value
    tree.renew()
    yield tree
    tree.stop()


def said(tree, file="w1_slave"):
    return (tree.root / PROBE / file).read_bytes()


def test_the_tree_is_laid_out_as_the_kernel_does(tree):
    assert sorted(os.listdir(tree.root)) == [PROBE, "w1_bus_master1"]
    assert os.path.realpath(tree.root / PROBE) == str((tree.root / "w1_bus_master1" / PROBE).resolve())
    assert said(tree, "resolution") == b"12\n"


def test_it_says_what_is_measured_now(tree):
    tree.value[PROBE] = 35.0625
    tree.renew()
    assert said(tree).endswith(b" t=35062\n")


@pytest.mark.parametrize(
    "state, text",
    [
        ("power_on", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"),
        ("shorted", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"),
        ("cut", ""), ("crc", ""), ("nul", "\0" * 3000),
        ("one_line", "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n"),
        ("crc_no", "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n70 02 4b 46 7f ff 10 10 a6 t=-62\n"),
    ],
)  # fmt: skip
def test_states_that_are_texts(tree, state, text):
    tree.show(PROBE, state)
    assert said(tree) == text.encode("latin-1")
    tree.show(PROBE, "good")
    assert said(tree).endswith(b" t=39000\n")


def test_after_a_failure_the_resolution_holds_an_errno(tree):
    tree.show(PROBE, "cut")
    assert said(tree, "resolution") == b"-19\n"
    tree.show(PROBE, "crc")
    assert said(tree, "resolution") == b"-5\n"


def test_a_world_without_a_value_shows_why(tree, tmp_path):
    for reason, ends in (("power_on_value", b"t=85000\n"), ("shorted", b"t=0\n"), ("empty_answer", b"")):
        tree.value[PROBE] = Missing(reason, "")
        tree.renew()
        assert said(tree).endswith(ends) and (bool(said(tree)) == bool(ends))
    tree.value[PROBE] = Missing("", "no answer")
    tree.renew()
    assert not (tree.root / PROBE).exists()


def test_orders_for_one_conversion_of_all_are_counted(tree):
    for count in (1, 2):
        (tree.root / "w1_bus_master1" / "therm_bulk_read").write_bytes(b"trigger\n")
        tree.renew()
        assert tree.conversions_at_once() == count


def test_a_file_is_replaced_in_one_step(tmp_path):
    """A reader that has opened the old one goes on reading the old one."""
    files = PlainFiles(tmp_path / "files")
    files.put("a/b", b"39000\n")
    with open(tmp_path / "files/a/b", "rb") as old:
        files.put("a/b", b"40000\n")
        assert (old.read(), (tmp_path / "files/a/b").read_bytes()) == (b"39000\n", b"40000\n")
    assert os.listdir(tmp_path / "files/a") == ["b"]


def test_an_errno_that_plain_files_can_t_give_is_refused(tmp_path):
    with pytest.raises(ValueError, match="plain files can't fail with EREMOTEIO"):
        PlainFiles(tmp_path / "files").fail("a", 121)


def test_unknown_states_are_refused(tree):
    with pytest.raises(ValueError, match="no state of 28-"):
        tree.show(PROBE, "sulking")


@pytest.mark.parametrize(
    "channel, raw",
    [
        (IioChannel(lambda: 1.25, scale=0.125), "10000"), (IioChannel(lambda: -0.000125, scale=0.125), "-1"),
        (IioChannel(lambda: 9.0, scale=0.125), "32767"), (IioChannel(lambda: 9.0, scale=2.0, bits=10, signed=False), "1023"),
        (IioChannel(lambda: 0.12, scale=1.5, offset=-20), "100"),
    ],
)  # fmt: skip
def test_converters_count_and_stop(tmp_path, channel, raw):
    tree = IioTree(tmp_path / "devices", {"voltage0": channel})
    try:
        tree.renew()
        assert (tree.device / "in_voltage0_raw").read_text() == raw + "\n"
        assert (tree.device / "in_voltage0_scale").read_text() == f"{channel.scale:.9f}\n"
    finally:
        tree.stop()


@pytest.mark.parametrize(
    "kpa, volts",
    [(0.0, 0.6), (50.0, 1.8), (100.0, 3.0), (Missing("loop_open", ""), 0.0), (Missing("loop_over", ""), 3.3)],
)
def test_a_sender_s_current_over_a_burden(kpa, volts):
    """4, 12 and 20 mA over 150 ohm; a cut loop carries nothing, a sender in fault more than 21 mA (NAMUR NE 43, as summarised)."""
    assert loop_volts(lambda: kpa, 0.0, 100.0, 150.0)() == pytest.approx(volts)
