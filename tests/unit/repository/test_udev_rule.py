"""The shipped rule that lets the daemon's group order a conversion of all 1-Wire thermometers, tried on a folder laid out as the kernel's.

How a rule is written (keys, `%p` for the device's path below /sys, `$$` for a dollar sign) is of udev(7), from memory; that the file
stands in the bus master's folder, above the thermometer's own, is of the kernel's w1_therm documentation, from memory.
"""

from __future__ import annotations

import fnmatch
import grp
import os
import re
import stat
import subprocess
from pathlib import Path

from adapters.onewire import ADDRESS

RULE = Path(__file__).parents[3] / "deploy" / "60-warmwell-onewire.rules"


def keys() -> dict[str, str]:
    lines = [line for line in RULE.read_text().splitlines() if line and not line.startswith("#")]
    assert len(lines) == 1
    found = dict(re.findall(r'([A-Z]+)(?:==|\+=)"((?:[^"\\]|\\.)*)"', lines[0]))
    assert ", ".join(re.findall(r"[A-Z]+(?:==|\+=)\"[^\"]*\"", lines[0])) == lines[0]  # nothing else stands in it
    return found


def test_the_rule_is_for_thermometers_that_are_found() -> None:
    rule = keys()
    assert (rule["ACTION"], rule["SUBSYSTEM"]) == ("add", "w1")
    for address in ("28-00000a1b2c3d", "10-000801b2c3d4", "3b-00000a1b2c3d"):
        assert ADDRESS.fullmatch(address) and fnmatch.fnmatchcase(address, rule["KERNEL"])
    assert not fnmatch.fnmatchcase("w1_bus_master1", rule["KERNEL"])


def run(sysfs: Path) -> int:
    """What the rule runs, as udev would hand it over, with a group that is here."""
    command = keys()["RUN"].replace("%p", "/devices/w1_bus_master1/28-00000a1b2c3d").replace("$$", "$")
    shell, option, script = re.fullmatch(r"(\S+) (\S+) '(.*)'", command).groups()  # type: ignore[union-attr]  # else it fails here
    assert "%" not in script and "chgrp warmwell " in script
    group = grp.getgrgid(os.getegid()).gr_name
    script = script.replace("/sys/", f"{sysfs}/").replace("warmwell", group)
    return subprocess.run([shell, option, script], check=False, timeout=10).returncode


def test_it_lets_the_group_write_the_order_and_nothing_else(tmp_path: Path) -> None:
    probe = tmp_path / "devices" / "w1_bus_master1" / "28-00000a1b2c3d"
    probe.mkdir(parents=True)
    bulk, search = probe.parent / "therm_bulk_read", probe.parent / "w1_master_search"
    for file in (bulk, search):
        file.write_text("0\n")
        file.chmod(0o644)
    assert run(tmp_path) == 0
    assert stat.S_IMODE(bulk.stat().st_mode) == 0o664 and bulk.stat().st_gid == os.getegid()
    assert stat.S_IMODE(search.stat().st_mode) == 0o644


def test_a_kernel_without_the_order_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "devices" / "w1_bus_master1" / "28-00000a1b2c3d").mkdir(parents=True)
    assert run(tmp_path) == 0
