"""Heads that a station signs: whether OpenSSL, which knows nothing of us, finds the same; what is told of journals that were tampered with.

The form of a key is RFC 8410, of a signature RFC 8032, of what is signed RFC 8785: here the last is written down by hand.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import sqlite3
import stat
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from edge.backup import checking, restoring
from edge.backup.making import make
from edge.cli.verify import verify
from edge.domain.entries import Draft, Now, SignedHead, rfc3339
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.chain import link, trust_check
from edge.store.journal import Journal
from edge.store.signed_heads import HEADS_FILE, append, heads_of
from edge.store.signing import KEY_FILE, PUBLIC_FILE, own_key

STATION = "harbour-lane/scope-room-2"
WALL_MS = 1_773_640_200_000


def run(keep: Path, number: int, day: int) -> SignedHead:
    """A run of a station: so many entries, the last head of it signed."""
    now = Now(day, WALL_MS + day * 86_400_000, True)
    with closing(Journal(keep, STATION, f"boot-{day}")) as journal:
        journal.append([Draft(now, "record", {"record": "note", "text": str(at)}) for at in range(number)])
        signed = own_key(keep).signed(STATION, journal.mark(), journal.head(), now)
    append(keep, signed)
    return signed


@pytest.fixture
def keep(tmp_path: Path) -> Path:
    """Of a station that ran on two days, ten entries each."""
    folder = tmp_path / "keep"
    run(folder, 10, 0)
    run(folder, 10, 1)
    shutil.copy(folder / PUBLIC_FILE, tmp_path / "auditor.pem")
    return folder


def unguarded(conn: sqlite3.Connection) -> list[str]:
    """Take the triggers away that keep entries as they are; what makes them again."""
    guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        conn.execute(f"DROP TRIGGER {name}")
    return [sql for _, sql in guards]


def guarded(conn: sqlite3.Connection, guards: list[str]) -> None:
    for sql in guards:
        conn.execute(sql)


def looked(keep: Path, capsys: pytest.CaptureFixture[str], head: Path | None = None) -> tuple[int, str]:
    code = verify(keep, None if head is None else str(head), keep.parent / "auditor.pem", as_json=False)
    return code, capsys.readouterr().out


def test_openssl_finds_the_signature_good_and_the_key_s_fingerprint_the_same(keep: Path, tmp_path: Path) -> None:
    head = heads_of(keep)[-1]
    written = (  # RFC 8785: members in the order of their names, no spaces
        f'{{"at":"{rfc3339(WALL_MS + 86_400_000)}","digest":"{head["digest"]}","journal":"{head["journal"]}","key":"{head["key"]}",'
        f'"seq":20,"station":"{STATION}","trusted":true,"v":1,"what":"signed_head"}}'
    )
    (tmp_path / "said").write_text(written)
    (tmp_path / "signature").write_bytes(base64.b64decode(head["signature"]))
    command = [
        "openssl",
        "pkeyutl",
        "-verify",
        "-pubin",
        "-inkey",
        "auditor.pem",
        "-rawin",
        "-in",
        "said",
        "-sigfile",
        "signature",
    ]
    assert subprocess.run(command, cwd=tmp_path, capture_output=True).returncode == 0
    (tmp_path / "said").write_text(written.replace('"seq":20', '"seq":21'))
    assert subprocess.run(command, cwd=tmp_path, capture_output=True).returncode == 1
    der = subprocess.run(
        ["openssl", "pkey", "-pubin", "-in", "auditor.pem", "-outform", "DER"],
        cwd=tmp_path,
        capture_output=True,
        check=True,
    ).stdout
    assert hashlib.sha256(der).hexdigest() == head["key"]
    assert stat.S_IMODE((keep / KEY_FILE).stat().st_mode) == 0o600


def test_a_journal_that_was_signed_holds_and_says_up_to_where(keep: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = looked(keep, capsys)
    assert (
        code == 0
        and f"signed up to entry 20, {rfc3339(WALL_MS + 86_400_000)}, by {own_key(keep).public.fingerprint}\n" in said
    )
    with closing(Journal(keep, STATION, "boot-2")) as journal:
        journal.append([Draft(Now(0, WALL_MS, True), "record", {"record": "note"})])
    assert "what came after it, up to 21, bears no signature yet" in looked(keep, capsys)[1]
    with pytest.raises(UnusableInput, match="is no head"):
        verify(keep, "1:" + "a" * 400, None, as_json=False)  # longer than a file's name can be


def test_what_was_cut_off_or_rewritten_is_found_though_the_chain_was_made_to_hold(
    keep: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(keep, tmp_path / "cut")
    with closing(sqlite3.connect(tmp_path / "cut/journal.db", isolation_level=None)) as conn:
        guards = unguarded(conn)
        conn.execute("DELETE FROM entry WHERE seq > 15")
        guarded(conn, guards)
    code, said = looked(tmp_path / "cut", capsys)
    assert code == 1 and "the journal ends at 15 without a word of it: entries were cut off" in said

    # whoever takes the heads out of the folder, too, is found by one that was kept elsewhere
    (tmp_path / "elsewhere.json").write_text(json.dumps({"seq": 20, "signed": heads_of(keep)[-1]}))
    (tmp_path / "cut" / HEADS_FILE).unlink()
    code, said = looked(tmp_path / "cut", capsys)
    assert code == 1 and "nothing of this journal is signed by a key that was given" in said
    code, said = looked(tmp_path / "cut", capsys, tmp_path / "elsewhere.json")
    assert code == 1 and "entries were cut off" in said

    # entry 12 says something else, and all after it are chained anew
    shutil.copytree(keep, tmp_path / "forged")
    with closing(sqlite3.connect(tmp_path / "forged" / "journal.db", isolation_level=None)) as conn:
        guards = unguarded(conn)
        digest = conn.execute("SELECT digest FROM entry WHERE seq = 11").fetchone()[0]
        for seq, hashed in conn.execute("SELECT seq, hashed FROM entry WHERE seq > 11 ORDER BY seq").fetchall():
            other = hashed.replace(b'"text":"1"', b'"text":"9"') if seq == 12 else hashed
            digest = link(digest, other)
            conn.execute(
                "UPDATE entry SET hashed = ?, digest = ?, trust_check = ? WHERE seq = ?",
                (other, digest, trust_check(digest, True), seq),
            )
        guarded(conn, guards)
    code, said = looked(tmp_path / "forged", capsys)
    assert code == 1 and "the chain holds" in said and "entry 20 is another than was signed" in said

    # a head that was made up, or changed
    changed = {**heads_of(keep)[-1], "seq": 15}
    (keep / HEADS_FILE).write_text(f"{json.dumps(changed)}\n")
    code, said = looked(keep, capsys)
    assert code == 1 and "the signed head of entry 15 isn't what the key signed" in said


def test_a_restore_is_told_from_a_cut_and_its_new_key_has_to_be_known(
    keep: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The backup holds no key; the board before went on after it."""
    made = make(tmp_path / "stick", keep, None, made_at=rfc3339(WALL_MS), program="0.1.0")
    assert made.left_out == [KEY_FILE] and b"PRIVATE" not in b"".join(
        p.read_bytes() for p in (tmp_path / "stick").iterdir()
    )
    assert looked(tmp_path / "stick", capsys)[0] == 0 and checking.signed_heads(tmp_path / "stick")[0] == heads_of(keep)
    (tmp_path / "elsewhere.json").write_text(json.dumps(run(keep, 5, 2)))
    board = tmp_path / "board"
    restoring.restore(tmp_path / "stick", board)
    run(board, 3, 3)
    code, said = looked(board, capsys, tmp_path / "elsewhere.json")
    fresh = own_key(board).public.fingerprint
    assert code == 1 and f"another key signs, {fresh}: the journal says that it goes on at entry" in said
    assert "entries up to 25 were signed and aren't here; the journal says so itself" in said and "cut off" not in said
    shutil.copy(board / PUBLIC_FILE, tmp_path / "auditor.pem")  # it holds the keys of both boards
    code, said = looked(board, capsys, tmp_path / "elsewhere.json")
    assert code == 0 and f"by {own_key(keep).public.fingerprint} and {fresh}" in said


def test_a_key_that_others_may_read_signs_nothing_and_a_torn_line_costs_none(keep: Path) -> None:
    with (keep / HEADS_FILE).open("a") as file:
        file.write('{"what":"signed_h')
    run(keep, 1, 2)
    assert [head["seq"] for head in heads_of(keep)] == [10, 20, 21]
    (keep / KEY_FILE).chmod(0o640)
    with pytest.raises(StoreFault, match="others may read it"):
        own_key(keep)
