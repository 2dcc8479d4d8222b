"""deploy/release.sh: what is signed is checked by other programs, too, and what was altered since is found.

Ed25519 is of RFC 8032; the library `cryptography` says whether a signature is one. The commands that deploy/install.md gives for a check
by hand are run as they stand there.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key, load_pem_public_key

from tests.integration.daemon_kit import ROOT
from tests.integration.install_kit import made_key, release, released

pytestmark = pytest.mark.skipif(not shutil.which("openssl"), reason="openssl is not installed here")


def altered(folder: Path) -> None:
    with (folder / "deploy/install.sh").open("r+b") as file:
        file.seek(10)
        file.write(b"!")


def with_sums_of_its_own(folder: Path) -> None:
    altered(folder)
    (folder / "SHA256SUMS").unlink()
    release("sign", made_key(folder.with_name("another")), folder)


#: what somebody did to a signed folder, and what is said of it
DONE: dict[str, tuple[Callable[[Path], object], str]] = {
    "a file altered": (altered, "a file isn't the one that was written (deploy/install.sh)"),
    "a file gone": (lambda folder: (folder / "LICENSE").unlink(), "a file isn't the one that was written (LICENSE)"),
    "a file more": (lambda folder: (folder / "deploy/more").touch(), "deploy/more isn't in SHA256SUMS"),
    "a link more": (lambda folder: (folder / "a").symlink_to("LICENSE"), "a isn't in SHA256SUMS"),
    "a line out": (
        lambda folder: (folder / "SHA256SUMS").write_bytes((folder / "SHA256SUMS").read_bytes().partition(b"\n")[2]),
        "SHA256SUMS isn't as the owner of the key signed it",
    ),
    "signed by another": (with_sums_of_its_own, "SHA256SUMS isn't as the owner of the key signed it"),
    "signature gone": (lambda folder: (folder / "SHA256SUMS.sig").unlink(), "it isn't signed"),
    "sums gone": (lambda folder: (folder / "SHA256SUMS").unlink(), "SHA256SUMS isn't there"),
}


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_key(tmp_path_factory.mktemp("keys") / "release")


@pytest.fixture(scope="module")
def signed_once(key: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("signed") / "warmwell 1.0"
    (folder / "deploy").mkdir(parents=True)
    (folder / "LICENSE").write_text("Apache-2.0\n")
    (folder / "deploy/install.sh").write_text("echo installs it\n")
    release("sign", key, folder)
    return folder


def test_the_signature_is_one_for_other_programs_and_the_key_is_locked(key: Path, signed_once: Path) -> None:
    public = load_pem_public_key(key.with_name("release.pub").read_bytes())
    assert isinstance(public, Ed25519PublicKey)
    sums, signature = (signed_once / "SHA256SUMS").read_bytes(), (signed_once / "SHA256SUMS.sig").read_bytes()
    public.verify(signature, sums)
    with pytest.raises(InvalidSignature):
        public.verify(signature, sums + b"\n")
    assert [line.split(b"  ")[1] for line in sums.splitlines()] == [b"LICENSE", b"deploy/install.sh"]
    assert key.stat().st_mode & 0o777 == 0o600
    with pytest.raises(ValueError, match="password"):
        load_pem_private_key(key.read_bytes(), b"strong tea")
    assert "as it was signed" in release("check", key.with_name("release.pub"), signed_once)


@pytest.mark.parametrize("what", DONE)
def test_what_was_done_to_it_since_is_found(what: str, key: Path, signed_once: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(signed_once, folder)
    do, said = DONE[what]
    do(folder)
    status, sentence = released("check", key.with_name("release.pub"), folder)
    assert status == 2 and said in sentence and sentence.count("; expected ") == 1 and sentence.endswith(".\n"), (
        sentence
    )


def test_the_commands_of_the_guide_check_it_by_the_systems_own_tools(
    key: Path, signed_once: Path, tmp_path: Path
) -> None:
    guide = (ROOT / "deploy/install.md").read_text(encoding="utf-8")
    commands = re.findall(r"^    ((?:openssl pkeyutl|sha256sum) .*)$", guide, re.MULTILINE)
    assert len(commands) == 2
    folder = tmp_path / "copy"
    shutil.copytree(signed_once, folder)

    def by_hand() -> list[int]:
        public = str(key.with_name("release.pub"))
        texts = [command.replace("~/warmwell-release.pub", public) for command in commands]
        return [
            subprocess.run(["bash", "-c", text], cwd=folder, capture_output=True, check=False).returncode
            for text in texts
        ]

    assert by_hand() == [0, 0]
    altered(folder)
    assert by_hand() == [0, 1]
    with_sums_of_its_own(folder)
    assert by_hand() == [1, 0]


def test_what_can_not_be_done_is_refused_and_nothing_is_written(key: Path, signed_once: Path, tmp_path: Path) -> None:
    before = key.read_bytes()
    for arguments, said in (
        (["key", key], "it is there already"),
        (["sign", key, tmp_path / "none"], "it is no folder"),
        (["sign", tmp_path / "none", tmp_path], "there is no such file"),
        (["sign", key], "it was given 2 words"),
        (["mend", key], "'mend' is nothing that it does"),
        (["check", signed_once / "LICENSE", signed_once], "SHA256SUMS isn't as the owner of the key signed it"),
    ):
        status, sentence = released(*arguments)
        assert status == 2 and said in sentence and "; expected " in sentence, sentence
    folder = tmp_path / "copy"
    shutil.copytree(signed_once, folder)
    (folder / "SHA256SUMS.sig").unlink()
    status, sentence = released("sign", key, folder, passphrase="strong tea")
    assert status == 2 and "it doesn't sign" in sentence and not (folder / "SHA256SUMS.sig").exists()
    altered(folder)
    status, sentence = released("sign", key, folder)
    assert status == 2 and "(deploy/install.sh)" in sentence and not (folder / "SHA256SUMS.sig").exists()
    assert key.read_bytes() == before
