"""`warmwell people` on the board, beside a running daemon: from then on recording takes a code or a token."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.integration.daemon_kit import ROOT, STATION, Daemon, called, until

CODE = re.compile(r"\b([0-9A-Z]{4}-){3}[0-9A-Z]{4}\b")


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    made = Daemon(tmp_path, STATION)
    yield made.start()
    made.end()


def on_a_terminal(*arguments: str, typed: str = "", timeout_s: float = 120.0) -> tuple[int, str]:
    """(exit code, all that the terminal showed) of a command at which somebody sits; what they type comes once they are asked."""
    far, near = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "edge.cli", *arguments],
        stdin=near,
        stdout=near,
        stderr=near,
        cwd=ROOT,
        start_new_session=True,
    )
    os.close(near)
    shown, deadline_s = b"", time.monotonic() + timeout_s
    try:
        while time.monotonic() < deadline_s:
            if not select.select([far], [], [], 1.0)[0]:
                continue
            try:
                piece = os.read(far, 4096)
            except OSError:  # the other end is closed
                break
            if not piece:
                break
            shown += piece
            if typed and b"code" in shown:
                os.write(far, typed.encode() + b"\n")
                typed = ""
        return process.wait(max(1.0, deadline_s - time.monotonic())), shown.decode()
    finally:
        os.close(far)
        if process.poll() is None:
            process.kill()


def test_people_who_are_set_up_on_the_board_record_by_code_or_token(daemon: Daemon, tmp_path: Path) -> None:
    url, keep = f"http://127.0.0.1:{daemon.port}", str(daemon.keep)
    note = ("record", "note", "--url", url, "text=looked at")
    assert (
        daemon.get("/api/1/station")[1]["people"] == "none"
        and daemon.get("/health")[1]["parts"]["people"]["state"] == "none"
    )
    assert called(*note, "--by", "anybody")[0] == 0, "as before, while nobody is set up"

    code, out, err = called("people", "add", "--role", "viewer", "J. Lund", "--keep", str(daemon.file))
    assert (code, out) == (2, "") and "expected a biomed first" in err, "else nobody might record or manage"
    assert called("people", "add", "--role", "biomed", "M. Osei", "--keep", str(daemon.file))[0] == 0
    code, out, err = called("people", "add", "--role", "technician", "J. Lund", "--keep", str(daemon.file))
    found = CODE.search(out)
    assert (code, err) == (0, "") and found is not None
    secret = found[0]
    assert called("people", "list", "--keep", keep) == (0, "technician  J. Lund\nbiomed      M. Osei\n", "")

    code, out, err = called(*note, "--by", "anybody")
    assert code == 1 and out == "" and "WARMWELL_TOKEN" in err, "nobody is there to be asked"
    assert daemon.record(record="note")[0] == 401

    code, shown = on_a_terminal(*note, typed=secret)
    assert code == 0 and "recorded: entry" in shown and secret not in shown, "it is never echoed"
    code, shown = on_a_terminal(*note, typed=secret[:-1] + ("0" if secret[-1] != "0" else "1"))
    assert code == 2 and "form of a code" in shown

    code, out, _ = called(
        "people", "token", "add", "J. Lund", "cleaning robot", "--scope", "record", "--scope", "read", "--keep", keep
    )
    token = next(line.strip() for line in out.splitlines() if line.startswith("    "))
    file = tmp_path / "token"
    file.write_text(token + "\n")
    file.chmod(0o640)
    code, _, err = called(*note, WARMWELL_TOKEN_FILE=str(file))
    assert code == 2 and "others may read it" in err and token not in err
    file.chmod(0o600)
    assert called(*note, WARMWELL_TOKEN_FILE=str(file))[0] == 0
    assert called("people", "token", "revoke", "1", "--keep", keep)[0] == 0
    code, _, err = called(*note, WARMWELL_TOKEN=token)
    assert code == 1 and "revoked" in err

    records = [entry["body"] for entry in daemon.entries() if entry["kind"] == "record"]
    assert [(body["by"], body.get("by_role"), body["proven"]) for body in records] == [
        ("anybody", None, "typed"), ("J. Lund", "technician", "session"), ("J. Lund", "technician", "token"),
    ]  # fmt: skip
    told = until(
        lambda: (
            (whats := [entry["body"]["what"] for entry in daemon.entries() if entry["kind"] == "access"])
            and {"person_added", "signed_in", "signed_out", "token_made", "token_revoked", "not_signed_in"}
            <= set(whats)
            and whats
        ),
        why="not journalled",
    )
    assert told[0] == "person_added"
    assert daemon.stop()[0] == 0
    everything = b"".join(path.read_bytes() for path in daemon.keep.iterdir() if path.name != "people.db")
    assert secret.replace("-", "")[4:15].encode() not in everything and token.encode() not in everything
    assert secret not in daemon.log() and token not in daemon.log()


def test_a_damaged_file_of_people_never_stops_a_start(daemon: Daemon) -> None:
    assert called("people", "add", "--role", "biomed", "M. Osei", "--keep", str(daemon.keep))[0] == 0
    daemon.stop(signal.SIGKILL)
    (daemon.keep / "people.db").write_bytes(b"rubbish" * 1000)
    for name in ("people.db-wal", "people.db-shm"):
        (daemon.keep / name).unlink(missing_ok=True)
    daemon.start()
    health = until(
        lambda: (seen := daemon.get("/health")[1])["parts"]["people"]["state"] == "unreadable" and seen, why="not said"
    )
    assert health["status"] == "degraded" and "people.db" in health["parts"]["people"]["fault"]
    assert daemon.record(record="note")[0] == 503 and daemon.get("/api/1/verdict")[0] == 200
    until(
        lambda: [e for e in daemon.entries() if e["kind"] == "access" and e["body"]["what"] == "unreadable"],
        why="not journalled",
    )
    code, _, err = called("people", "list", "--keep", str(daemon.keep))
    assert code == 1 and "Move it away" in err


def test_the_first_code_is_shown_on_a_terminal_and_nowhere_else(daemon: Daemon) -> None:
    keep = ("--keep", str(daemon.keep))
    code, out, err = called("people", "first", *keep)
    assert code == 2 and out == "" and "terminal" in err
    code, shown = on_a_terminal("people", "first", *keep)
    found = CODE.search(shown)
    assert code == 0 and found is not None
    status, made = daemon.ask("POST", "/api/1/people/first", {"code": found[0], "name": "M. Osei"})
    assert status == 200 and made["role"] == "biomed" and CODE.fullmatch(made["code"])
    assert daemon.ask("POST", "/api/1/people/first", {"code": found[0], "name": "J. Lund"})[0] == 403
    assert json.dumps(made["code"]) not in json.dumps(daemon.entries())
