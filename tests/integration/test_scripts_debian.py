"""tests/debian.sh: packages are installed only where that is allowed, and no service is started by it."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

#: says what it was asked, and whether services were kept from starting at that moment (policy-rc.d(8): 101, forbidden)
APT = """#!{bash}
case "$*" in
    *" install "*)
        sh "$WARMWELL_POLICY" mosquitto start; echo "policy $?" >>"$HOME/said"
        echo "install ${@: -2}" >>"$HOME/said"
        exit "${APT_ENDS:-0}" ;;
esac
"""


@dataclass
class Debian:
    """A machine with an apt-get that only notes what it is asked."""

    folder: Path

    def __post_init__(self) -> None:
        self.bin, self.policy, self.said = self.folder / "bin", self.folder / "policy-rc.d", self.folder / "said"
        self.bin.mkdir()
        for tool in ("bash", "sh", "grep", "rm", "chmod", "cat", "dirname"):
            (self.bin / tool).symlink_to(str(shutil.which(tool)))
        self.command("apt-get", APT)
        self.command("python3", '#!{bash}\nexec {python} "$@"\n')
        self.user(0)

    def user(self, number: int) -> None:
        self.command("id", f"#!{{bash}}\necho {number}\n")

    def command(self, name: str, text: str) -> None:
        path = self.bin / name
        path.write_text(
            text.replace("{bash}", str(shutil.which("bash"))).replace("{python}", shlex.quote(sys.executable))
        )
        path.chmod(0o755)

    def packages(self, *wanted: str, **settings: str) -> str:
        """Ask for packages; what was said on standard error."""
        script = (
            f'set -uo pipefail; . "{ROOT}/deploy/environment.sh"; . "{ROOT}/tests/debian.sh"; _find_python; '
            'debian_packages "$HOME/apt.log" "$@"'
        )
        environ = {
            "PATH": str(self.bin), "HOME": str(self.folder), "WARMWELL_POLICY": str(self.policy),
            "WARMWELL_APT_LOCK": str(self.folder / "lock"), **settings,
        }  # fmt: skip
        done = subprocess.run(
            ["bash", "-c", script, "bash", *wanted], env=environ, capture_output=True, text=True, timeout=60, check=True
        )
        assert done.stdout == ""
        return done.stderr


@pytest.fixture
def debian(tmp_path: Path) -> Debian:
    return Debian(tmp_path)


def test_nothing_is_installed_where_nothing_is_missing(debian: Debian):
    assert debian.packages("bash:bash", "grep:grep") == ""
    assert not debian.said.exists()


def test_missing_packages_are_installed_and_their_services_kept_from_starting(debian: Debian):
    debian.packages("bash:bash", "mosquitto_sub:mosquitto-clients", "mosquitto:mosquitto")
    assert debian.said.read_text().splitlines() == ["policy 101", "install mosquitto-clients mosquitto"]
    assert not debian.policy.exists()


@pytest.mark.parametrize("ends", ["0", "100"])
def test_a_policy_of_the_machines_own_is_left_as_it_is(debian: Debian, ends: str):
    debian.policy.write_text("#!/bin/sh\nexit 104\n")
    debian.packages("mosquitto:mosquitto", APT_ENDS=ends)
    assert debian.policy.read_text() == "#!/bin/sh\nexit 104\n"
    assert "policy 104" in debian.said.read_text()


def test_a_policy_that_a_killed_run_left_behind_goes_with_the_next(debian: Debian):
    debian.policy.write_text("#!/bin/sh\n# made by Warmwell while packages are installed; to be removed\nexit 101\n")
    debian.packages("mosquitto:mosquitto")
    assert not debian.policy.exists()


def test_an_installation_that_fails_is_said_and_leaves_nothing_behind(debian: Debian):
    said = debian.packages("mosquitto:mosquitto", APT_ENDS="100")
    assert "could not be installed, so some tests will skip: mosquitto" in said
    assert not debian.policy.exists()


@pytest.mark.parametrize("user, settings", [(1000, {}), (0, {"WARMWELL_NO_APT": "1"})], ids=["not root", "told not to"])
def test_where_nothing_may_be_installed_it_says_what_is_missing(debian: Debian, user: int, settings: dict[str, str]):
    debian.user(user)
    said = debian.packages("mosquitto:mosquitto", "chromium:chromium", **settings)
    assert "some tests will skip: mosquitto chromium (as root: apt install mosquitto chromium)" in said
    assert not debian.said.exists()
