"""The shipped units and rules, by the service manager's own eyes (systemd-analyze) and by what the code relies on.

What keys mean is of systemd.service(5), systemd.exec(5) and systemd.path(5); that Type=notify-reload came with systemd 253 is of the
first of them. What a sandbox breaks that the offline score praises was found once under a real systemd 252; see the unit's remarks.
"""

from __future__ import annotations

import fnmatch
import re
import shutil
import subprocess
from pathlib import Path

import pytest
import typer

from edge.cli.app import app
from edge.daemon.run import READY_AFTER_S
from edge.daemon.watch import HANGS_S
from edge.sharing.bus_file import PORTS
from edge.sharing.run import LONGEST_WAIT_S
from edge.terminal import NEWER, UNUSABLE

DEPLOY = Path(__file__).parents[3] / "deploy"
SERVICE, PATH = DEPLOY / "warmwell@.service", DEPLOY / "warmwell@.path"
LINE, ARCHIVE = DEPLOY / "warmwell-bus@.service", DEPLOY / "warmwell-archive.service"
FACE = DEPLOY / "warmwell-face@.service"


def values(key: str, unit: Path = SERVICE) -> list[str]:
    return re.findall(rf"^{key}=(.*)$", unit.read_text(encoding="utf-8"), re.MULTILINE)


def analyze(*arguments: str | Path) -> tuple[int, str]:
    if not shutil.which("systemd-analyze"):
        pytest.skip("systemd-analyze is not installed here")
    done = subprocess.run(["systemd-analyze", *arguments], capture_output=True, text=True, check=False, timeout=120)
    return done.returncode, done.stdout + done.stderr


def test_the_service_manager_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    program = tmp_path / "opt/warmwell/current/bin/warmwell"
    program.parent.mkdir(parents=True)
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    for unit in (SERVICE, PATH, LINE, ARCHIVE, FACE):
        text = unit.read_text(encoding="utf-8").replace("/opt/warmwell", f"{tmp_path}/opt/warmwell")
        (tmp_path / unit.name).write_text(text, encoding="utf-8")
    units = [
        tmp_path / "warmwell@room-2.service",
        tmp_path / "warmwell@room-2.path",
        tmp_path / "warmwell-bus@panel.service",
        tmp_path / "warmwell-archive.service",
        tmp_path / "warmwell-face@modbus.service",
    ]
    assert analyze("verify", "--man=no", *units) == (0, "")
    spoiled = tmp_path / SERVICE.name
    spoiled.write_text(spoiled.read_text(encoding="utf-8").replace("adjtimex", "adjtimey"), encoding="utf-8")
    assert "adjtimey" in analyze("verify", "--man=no", *units)[1], "a mistake would not be seen"


@pytest.mark.parametrize("unit", [SERVICE, LINE, ARCHIVE, FACE], ids=lambda unit: unit.name)
def test_the_sandbox_scores_two_of_ten_at_most(unit: Path) -> None:
    status, said = analyze("security", "--offline=true", "--threshold=20", unit)
    assert status == 0, said


def test_what_the_sandbox_must_not_take_away() -> None:
    """Each would keep the station from watching, though the score would praise it."""
    keys = set(re.findall(r"^(\w+)=", SERVICE.read_text(encoding="utf-8"), re.MULTILINE))
    assert not keys & {
        "ProtectClock",
        "ProcSubset",
        "PrivateDevices",
        "PrivateUsers",
        "PrivateNetwork",
        "IPAddressDeny",
    }
    assert "adjtimex clock_adjtime" in values("SystemCallFilter") and values("SystemCallErrorNumber") == ["EPERM"]
    allowed = [value.removesuffix(" rw").removeprefix("char-") for value in values("DeviceAllow")]
    for driver in ("gpiochip", "ttyUSB", "ttyACM", "ttyS", "ttyAMA", "pts"):  # as /proc/devices names them
        assert any(fnmatch.fnmatchcase(driver, one) for one in allowed)
    assert not any(
        fnmatch.fnmatchcase(driver, one) for one in allowed for driver in ("mem", "sd", "input", "tty", "hidraw")
    )
    (writable,) = values("ReadWritePaths")
    assert "-/sys/devices/w1_bus_master1" in writable.split()  # therm_bulk_read


def test_it_is_never_given_up_on_but_for_what_somebody_has_to_correct() -> None:
    assert values("StartLimitIntervalSec") == ["0"] and values("Restart") == ["always"]
    assert values("RestartPreventExitStatus") == [f"{UNUSABLE} {NEWER}"]
    waits = {word for key in ("After", "Requires", "Wants", "BindsTo") for word in " ".join(values(key)).split()}
    assert waits == set(), "nothing is waited for at the start, not even the time"
    assert values("PathChanged", PATH) == ["/etc/warmwell/%i.toml"]
    assert values("ExecStart")[0].endswith(" run /etc/warmwell/%i.toml")


def test_a_shared_line_has_what_it_needs() -> None:
    assert values("ExecStart", LINE)[0].endswith(" bus /etc/warmwell/lines/%i.toml")
    assert [f"/run/{folder}" for folder in values("RuntimeDirectory", LINE)] == [f"{PORTS}/%i"]
    assert {"char-tty?* rw", "char-pts rw", "/dev/ptmx rw"} == set(values("DeviceAllow", LINE))
    assert values("User", LINE) == values("User"), "a station may open the ports that it makes"
    assert values("Restart", LINE) == ["always"] and values("RestartPreventExitStatus", LINE) == [str(UNUSABLE)]
    assert int(values("WatchdogSec", LINE)[0]) > 2 * LONGEST_WAIT_S


def test_the_archive_has_what_it_needs_and_no_more() -> None:
    assert values("ExecStart", ARCHIVE)[0].endswith(" archive run /etc/warmwell-archive/archive.toml")
    assert values("Restart", ARCHIVE) == ["always"] and values("RestartPreventExitStatus", ARCHIVE) == [
        f"{UNUSABLE} {NEWER}"
    ]
    assert values("PrivateDevices", ARCHIVE) == ["yes"] and values("User", ARCHIVE) != values("User")
    assert int(values("WatchdogSec", ARCHIVE)[0]) > 2 * 60, "one statement may take a minute"


def test_a_face_is_another_user_and_finds_its_places_and_options_by_the_names_that_the_verbs_have() -> None:
    assert values("ExecStart", FACE)[0].endswith(" face $WARMWELL_FACE") and values("DynamicUser", FACE) == ["yes"]
    assert values("EnvironmentFile", FACE) == ["/etc/warmwell/faces/%i.env"] and values("User", FACE) == []
    (places,) = values("Environment", FACE)
    command = typer.main.get_command(app)
    for name in ("modbus", "bacnet"):
        verb = command.commands["face"].commands[name]  # type: ignore[attr-defined]  # a group's
        told = {parameter.envvar for parameter in verb.params}
        assert {places.partition("=")[0], "WARMWELL_FACE_ADDRESS", "WARMWELL_FACE_PORT", "WARMWELL_URL"} <= told
    assert values("Restart", FACE) == ["always"] and values("RestartPreventExitStatus", FACE) == [str(UNUSABLE)]
    assert values("StateDirectory", FACE) == [places.partition("%S/")[2].removesuffix("/places.json")]


def test_times_fit_those_of_the_daemon() -> None:
    assert values("Type") == ["notify"] and values("NotifyAccess") == ["main"]
    assert values("TimeoutStartSec") == ["5min"] and READY_AFTER_S < 300
    # A part that hangs starves the watchdog; it may not take much longer until the restart than until it is seen.
    (watchdog,) = map(int, values("WatchdogSec"))
    assert 4 * 1.0 < watchdog <= max(HANGS_S.values())


def test_user_and_groups_of_unit_and_rules_are_those_that_are_made() -> None:
    """sysusers.d(5): `u` makes a user and its group, `g` a group, `m` a member."""
    lines = [line.split() for line in (DEPLOY / "warmwell.sysusers").read_text(encoding="utf-8").splitlines()]
    made = {tuple(line[:2]) for line in lines if line[0] in "ug"}
    members = {line[2] for line in lines if line[:2] == ["m", "warmwell"]}
    assert values("User") == values("Group") == ["warmwell"] and ("u", "warmwell") in made
    assert {("g", group) for group in members} <= made and members == {"dialout", "gpio"}
    (rule,) = [
        line for line in (DEPLOY / "60-warmwell-gpio.rules").read_text().splitlines() if not line.startswith("#")
    ]
    assert rule == 'ACTION!="remove", SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="gpio", MODE="0660"'
    assert re.search(r"chgrp (\w+) ", (DEPLOY / "60-warmwell-onewire.rules").read_text())[1] == values("Group")[0]  # type: ignore[index]  # else it fails here
