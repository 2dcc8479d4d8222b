"""The Modbus face as a process of its own, read by Debian's mbpoll (libmodbus), which nobody here wrote."""

from __future__ import annotations

import csv
import io
import math
import re
import shutil
import socket
import subprocess

import pytest

from tests.integration.daemon_kit import called, free_port, until, warmwell
from tests.unit.faces.kit import picture, told_api

MBPOLL = shutil.which("mbpoll")


def mbpoll(port, *arguments):
    assert MBPOLL is not None
    done = subprocess.run(
        [MBPOLL, "-0", "-1", "-m", "tcp", "-p", str(port), *arguments], capture_output=True, text=True, timeout=60
    )
    return done.stdout + done.stderr


def values(said):
    return [float(text) for text in re.findall(r"^\[\d+\]:\s+(\S+)", said, re.MULTILINE)]


def listens(port):
    with socket.socket() as sock:
        return sock.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def face(tmp_path):
    """(the API that it reads, its port, its process)."""
    port = free_port()
    with told_api() as api:
        options = [
            "--api",
            api.url,
            "--address",
            "127.0.0.1",
            "--port",
            str(port),
            "--places",
            tmp_path / "places.json",
        ]
        process = warmwell("face", "modbus", *options)
        try:
            until(lambda: listens(port) or process.poll() is not None)
            yield api, port, process, options
        finally:
            process.kill()
            process.communicate()


def test_another_program_reads_the_registers_and_can_write_none(face):
    if MBPOLL is None:
        pytest.skip("mbpoll is not installed here")
    api, port, process, options = face
    until(lambda: values(mbpoll(port, "-t", "3", "-r", "8", "127.0.0.1")) == [1])
    head = values(mbpoll(port, "-t", "3", "-r", "0", "-c", "10", "127.0.0.1"))
    assert [head[0], *head[4:]] == [1, 1, 4464, 0, 2, 1, 0]  # seq 70000 = 1 * 65536 + 4464; not ready; live
    # the list names where each is; libmodbus reads a float of two registers as the list says
    code, out, err = called("face", "points", "modbus", *options)
    assert (code, err) == (0, "")
    at = {row["name"]: row["address"] for row in csv.DictReader(io.StringIO(out))}

    def floats(name):
        return values(mbpoll(port, "-t", "4:float", "-B", "-r", at[name], "127.0.0.1"))

    assert floats("reservoir value") == [38.5] and floats("flow value") == [9.5]
    assert math.isnan(floats("supply value")[0])
    assert values(mbpoll(port, "-t", "4", "-r", at["flow quality"], "-c", "2", "127.0.0.1")) == [2, 1]
    assert values(mbpoll(port, "-t", "3", "-r", at["leak active"].split(".")[0], "127.0.0.1")) == [0b110]
    assert values(mbpoll(port, "-t", "3", "-r", at["leak unacknowledged"].split(".")[0], "127.0.0.1")) == [0b100]
    for kind, function in (("4", "register"), ("0", "coil")):
        refused = mbpoll(port, "-t", kind, "-r", "7", "127.0.0.1", "1")
        assert function in refused and "Illegal function" in refused, refused
    assert "Illegal data" in mbpoll(port, "-t", "4", "-r", "60000", "127.0.0.1")
    assert values(mbpoll(port, "-t", "4", "-r", "7", "127.0.0.1")) == [2]
    # the station's judge is silent
    api.tell(picture(quiet_s=12.0))
    until(lambda: values(mbpoll(port, "-t", "3", "-r", "7", "-c", "2", "127.0.0.1")) == [3, 0])
    assert math.isnan(floats("reservoir value")[0])
    process.terminate()
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (0, ""), err
    assert set(api.asked) == {
        "/api/1/stream",
        "/api/1/verdict",
        "/api/1/points",
        "/api/1/alarms",
    }  # it asks, and tells nothing
