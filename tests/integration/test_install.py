"""deploy/install.sh, into a folder: its true steps, with two small wheels in place of the packages (install_kit.py)."""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.integration.daemon_kit import ROOT, until
from tests.integration.install_kit import NEEDS_SYSTEMD, STATION, Board, made_key, release, signed, stick

pytestmark = NEEDS_SYSTEMD

#: sourced by bash before the script: kills it before the first of its own shell's commands that has KILL_ON in it, as it is written
KILLER = """
set -o functrace
_before() { [ "$BASH_SUBSHELL" != 0 ] || [[ "$1" != *"$KILL_ON"* ]] || kill -KILL $$; }
trap '_before "$BASH_COMMAND"' DEBUG
"""


@pytest.fixture(scope="module")
def sticks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("sticks")
    broken = ("bin/warmwell run ", "bin/warmwell runs ")
    return {
        "1.0": stick(folder / "one", "1.0"),
        "2.0": stick(folder / "two", "2.0", ("[Install]", "# renewed\n[Install]")),
        "3.0": stick(folder / "three", "3.0", broken),
    }


@pytest.fixture(scope="module")
def installed(sticks: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A board with version 1.0 in use; copied by the tests that change it."""
    board = Board(tmp_path_factory.mktemp("board"))
    status, said = board.run(sticks["1.0"])
    assert status == 0, said
    return board.root


def copied(root: Path, folder: Path, *, live: bool = False) -> Board:
    shutil.copytree(root, folder / "root", symlinks=True)
    return Board(folder, live=live)


def killed(board: Board, stick: Path, before: str) -> int:
    """The exit code of an upgrade that is killed before the first command that has these words in it."""
    killer = board.state / "killer.sh"
    killer.write_text(KILLER)
    return board.run(stick, "--upgrade", BASH_ENV=str(killer), KILL_ON=before)[0]


@pytest.fixture(scope="module")
def second(installed: Path, sticks: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of version 2.0, made at the second try: the first was killed while it made the environment."""
    board = copied(installed, tmp_path_factory.mktemp("second"))
    assert killed(board, sticks["2.0"], "-m compileall") == -signal.SIGKILL
    assert board.says("--version") == "warmwell 1.0\n"
    assert board.run(sticks["2.0"], "--upgrade")[0] == 0
    assert board.says("--version") == "warmwell 2.0\n"
    return (board.root / "opt/warmwell/current").resolve()


@pytest.fixture
def board(installed: Path, tmp_path: Path) -> Iterator[Board]:
    board = copied(installed, tmp_path)
    yield board
    board.stop()


def refused(said: list[str], *words: str) -> None:
    """One sentence that says what, where, what was expected and what to do."""
    last = said[-1]
    assert last.startswith("warmwell: ") and "; expected " in last and last.endswith("."), said
    assert [word for word in words if word not in last] == [], last
    assert sum("; expected " in line and line.startswith("warmwell: ") for line in said) == 1, said


def test_all_is_in_its_place_a_second_time_changes_nothing_and_removing_leaves_what_was_kept(
    board: Board, sticks: dict[str, Path]
) -> None:
    status, said = board.run(sticks["1.0"], "--station", board.station)
    assert status == 0, said
    assert board.says("--version") == "warmwell 1.0\n"
    lib, etc = board.root / "usr/local/lib", board.root / "etc"
    units = ("warmwell@.service", "warmwell@.path", "warmwell-bus@.service", "warmwell-face@.service")
    for place in (*(f"systemd/system/{name}" for name in units), "sysusers.d/warmwell.conf"):
        assert (lib / place).is_file()
    assert [path.name for path in sorted((lib / "udev/rules.d").iterdir())] == [
        "60-warmwell-gpio.rules", "60-warmwell-onewire.rules",
    ]  # fmt: skip
    assert (etc / "warmwell/scope-room-2.toml").read_bytes() == board.station.read_bytes()
    assert (etc / "warmwell/scope-room-2.toml").stat().st_mode & 0o777 == 0o640
    assert (
        (etc / "warmwell").stat().st_mode & 0o777 == (board.root / "var/lib/warmwell").stat().st_mode & 0o777 == 0o750
    )
    enabled = etc / "systemd/system/multi-user.target.wants"
    assert {path.name: os.readlink(path) for path in enabled.iterdir()} == {
        f"warmwell@scope-room-2.{kind}": f"/usr/local/lib/systemd/system/warmwell@.{kind}"
        for kind in ("service", "path")
    }
    # Whoever installed it let nobody read what they make; the daemon's user has to.
    program = (board.root / "opt/warmwell/current").resolve()
    shut = [
        path
        for path in (program, *program.rglob("*"))
        if not path.is_symlink() and path.stat().st_mode & 0o044 != 0o044
    ]
    assert shut == [] and (program / "bin/warmwell").stat().st_mode & 0o777 == 0o755
    before = board.picture()
    status, said = board.run(sticks["1.0"], "--station", board.station)
    after = board.picture()
    assert status == 0, said
    assert {name for name in before | after if before.get(name) != after.get(name)} == set()

    # The system was upgraded, and has another Python.
    (packages,) = program.glob("lib/python3.*")
    packages.rename(packages.with_name("python3.1"))
    done = subprocess.run(
        [board.root / "usr/local/bin/warmwell", "status"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    refused(done.stderr.splitlines(), "another Python", "install.sh --upgrade")
    packages.with_name("python3.1").rename(packages)

    kept = board.root / "var/lib/warmwell/scope-room-2/journal.db"
    kept.parent.mkdir()
    kept.write_bytes(b"a record")
    status, said = board.run(sticks["1.0"], "--uninstall")
    assert status == 0 and "var/lib/warmwell" in said[-1], said
    assert kept.read_bytes() == b"a record" and (board.root / "etc/warmwell/scope-room-2.toml").exists()
    left = {str(path.relative_to(board.root)) for path in board.root.rglob("*warmwell*")}
    assert left == {"etc/warmwell", "var/lib/warmwell"}
    status, said = board.run(sticks["1.0"], "--uninstall")
    assert status == 2
    refused(said, "isn't installed here")


def test_the_user_and_the_groups_are_made_by_the_systems_own_tool(board: Board, sticks: dict[str, Path]) -> None:
    if os.getuid() != 0:
        pytest.skip("only root can make users")
    for name in ("passwd", "group"):
        (board.root / "etc" / name).unlink()
    assert board.run(sticks["1.0"])[0] == 0
    (user,) = [line for line in (board.root / "etc/passwd").read_text().splitlines() if line.startswith("warmwell:")]
    uid, gid, home, shell = (user.split(":")[at] for at in (2, 3, 5, 6))
    assert 0 < int(uid) < 1000 and home == "/var/lib/warmwell" and shell.endswith("nologin")
    groups = dict(line.split(":x:") for line in (board.root / "etc/group").read_text().splitlines())
    assert groups["dialout"].endswith(":warmwell") and groups["gpio"].endswith(":warmwell")
    assert (board.root / "var/lib/warmwell").stat().st_uid == int(uid)
    assert (board.root / "etc/warmwell").stat().st_gid == int(gid)


def test_what_can_not_be_installed_is_refused_in_one_sentence_and_leaves_all_as_it_was(
    board: Board, sticks: dict[str, Path], tmp_path: Path
) -> None:
    before, one = board.picture(), sticks["1.0"]

    def refuses(stick: Path, arguments: list[str | Path], *words: str, **settings: str) -> None:
        status, said = board.run(stick, *arguments, **settings)
        assert status == 2, said
        refused(said, *words)
        assert board.picture() == before
        assert not (board.root / "etc/warmwell/.to-be-checked").exists()

    refuses(one, ["--upgrde"], "--upgrde is no option")
    refuses(one, ["--station", tmp_path / "nobody.toml"], "no such file")
    refuses(sticks["2.0"], [], "version 1.0-", "Add --upgrade")
    refuses(one, [], "MB free", WARMWELL_ROOM_KB=str(10**12))
    bad = tmp_path / "bad.toml"
    bad.write_text(STATION.format(port=board.port).replace('"39 degC"', '"39"'))
    refuses(one, ["--station", bad], str(bad), "as said above")
    bad.write_text(STATION.format(port=board.port).replace("/var/lib/warmwell/scope-room-2", "/srv/scope-room-2"))
    refuses(one, ["--station", bad], "/srv/scope-room-2", 'folder = "/var/lib/warmwell/scope-room-2"')
    torn = tmp_path / "torn"
    shutil.copytree(one, torn)
    with (torn / "wheels/thing-1.0-py3-none-any.whl").open("ab") as wheel:
        wheel.write(b"\0")
    refuses(torn, ["--upgrade"], "SHA256SUMS")
    with (board.root / "opt/warmwell/.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        refuses(one, [], "another installation is under way")


def test_a_station_that_the_new_version_can_not_use_keeps_the_old_one(
    board: Board, sticks: dict[str, Path], second: Path
) -> None:
    shutil.copytree(second, board.root / "opt/warmwell/versions" / second.name, symlinks=True)
    old = board.root / "etc/warmwell/scope-room-2.toml"
    old.write_text(STATION.format(port=board.port).replace("coldest_room", "coldest_rom"))
    before = (os.readlink(board.root / "opt/warmwell/current"), old.read_bytes())
    status, said = board.run(sticks["2.0"], "--upgrade")
    assert status == 2, said
    refused(said, str(old), "what was installed before still runs")
    assert any("coldest_rom" in line and "coldest_room" in line for line in said)
    assert (os.readlink(board.root / "opt/warmwell/current"), old.read_bytes()) == before
    assert board.says("--version") == "warmwell 1.0\n"


def test_a_board_that_was_told_whose_releases_it_takes_takes_no_other(
    board: Board, sticks: dict[str, Path], tmp_path: Path
) -> None:
    if not shutil.which("openssl"):
        pytest.skip("openssl is not installed here")
    ours, others = made_key(tmp_path / "ours"), made_key(tmp_path / "others")
    shutil.copy(ours.with_name("ours.pub"), board.root / "etc/warmwell/release.pub")
    one = tmp_path / "one"
    shutil.copytree(sticks["1.0"], one)
    before = board.picture()

    def refuses(stick: Path, *words: str) -> None:
        status, said = board.run(stick)
        assert status == 2, said
        refused(said, *words)
        assert board.picture() == before

    refuses(one, "it isn't signed", "etc/warmwell/release.pub")
    refuses(ROOT, "it is a checkout, which nobody signed")
    release("sign", others, one)
    refuses(one, "SHA256SUMS isn't as the owner of the key signed it")
    release("sign", ours, one)
    assert board.run(one)[0] == 0 and board.says("--version") == "warmwell 1.0\n"
    before = board.picture()
    newer = one / "wheels/warmwell-9.0-py3-none-any.whl"  # the newest wheel would be installed
    newer.write_bytes(b"from elsewhere")
    refuses(one, f"wheels/{newer.name} isn't in SHA256SUMS")
    signed(one)  # as whoever can write to the stick can: the sums hold, the signature doesn't
    refuses(one, "SHA256SUMS isn't as the owner of the key signed it")
    status, said = board.run(one, "--uninstall")
    assert status == 0, said


def test_packages_that_are_not_those_of_the_lock_are_not_installed(
    board: Board, sticks: dict[str, Path], tmp_path: Path
) -> None:
    other = tmp_path / "other"
    shutil.copytree(sticks["2.0"], other)
    (other / "deploy/requirements-run.lock").write_text("thing==1.0 --hash=sha256:" + "0" * 64 + "\n")
    signed(other)
    status, said = board.run(other, "--upgrade")
    assert status == 1 and "could not be installed" in said[-1], said
    assert board.says("--version") == "warmwell 1.0\n"
    assert len(list((board.root / "opt/warmwell/versions").iterdir())) == 1


@pytest.mark.parametrize(
    ("before", "then"),
    [
        ('printf \'%s\\n\' "$current" > "$opt/restart-owed.new"', "1.0"),
        ('link "versions/$1" "$opt/current"', "1.0"),  # units are the new ones by then
        ("mv -fT", "1.0"),
        ('sync -f "$opt"', "2.0"),
        ("failed=$(restarted $again)", "2.0"),
        ('rm -f "$opt/restart-owed"', "2.0"),
    ],
    ids=lambda text: text[:12],
)
def test_killed_at_any_moment_the_old_or_the_new_one_runs_and_a_second_try_ends_well(
    board: Board, sticks: dict[str, Path], second: Path, before: str, then: str
) -> None:
    board.live = True
    manager = board.manager.read_text()  # one that only notes what it is asked for
    board.manager.write_text(manager.replace('elif words[0] in ("stop", "restart")', "elif False"))
    (board.state / "warmwell@scope-room-2.service").write_text(str(2**22 + 1))  # a pid that nobody has
    shutil.copytree(second, board.root / "opt/warmwell/versions" / second.name, symlinks=True)
    assert killed(board, sticks["2.0"], before) == -signal.SIGKILL
    assert board.says("--version") == f"warmwell {then}\n"
    unit = (board.root / "usr/local/lib/systemd/system/warmwell@.service").read_text()
    assert unit.endswith("[Install]\nWantedBy=multi-user.target\n")
    assert board.run(sticks["2.0"], "--upgrade")[0] == 0
    assert os.readlink(board.root / "opt/warmwell/current") == f"versions/{second.name}"
    assert "restart warmwell@scope-room-2.service" in (board.state / "asked").read_text().splitlines()
    assert {path.name for path in (board.root / "opt/warmwell").iterdir()} == {
        ".lock", "current", "install.log", "versions",
    }  # fmt: skip


def test_a_station_runs_is_replaced_and_taken_back_where_the_new_version_does_not_start_it(
    board: Board, sticks: dict[str, Path]
) -> None:
    board.live = True
    status, said = board.run(sticks["1.0"], "--station", board.station)
    assert status == 0, said
    first = board.says("status", "--json", "--url", f"http://127.0.0.1:{board.port}")
    assert '"scope-room-2"' in first or "reservoir" in first
    pid = (board.state / "warmwell@scope-room-2.service").read_text()
    status, said = board.run(sticks["3.0"], "--upgrade")
    assert status == 1, said
    refused(said, "version 3.0-", "scope-room-2", "Version 1.0-", "is back", "journalctl -u warmwell@scope-room-2")
    assert board.says("--version") == "warmwell 1.0\n"
    again = (board.state / "warmwell@scope-room-2.service").read_text()
    assert again != pid and Path(f"/proc/{again}/cmdline").read_bytes().split(b"\0")[-3] == b"run"
    assert not (board.root / "opt/warmwell/restart-owed").exists()
    status, said = board.run(sticks["1.0"], "--uninstall")
    assert status == 0, said
    until(lambda: not Path(f"/proc/{again}/exe").exists(), why="the station was not stopped")


def test_help_says_how_it_is_used() -> None:
    done = subprocess.run(
        ["bash", "deploy/install.sh", "--help"],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    for option in ("--station", "--upgrade", "--uninstall", "--root"):
        assert option in done.stdout
