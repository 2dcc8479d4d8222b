"""The faces that tell by themselves, heard by programs that nobody here wrote: Debian's rsyslogd and snmptrapd, Mosquitto with the decoder
of the Eclipse Sparkplug project.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import queue
import re
import shutil
import signal
import subprocess
from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from edge.faces.outbox import Outbox
from edge.faces.seen import later, read
from tests.integration.daemon_kit import called, free_port, until
from tests.integration.mqtt_kit import NEEDS_MOSQUITTO, Broker
from tests.npm_kit import folder_of
from tests.unit.faces.kit import picture, told_api

RSYSLOGD = shutil.which("rsyslogd", path="/usr/sbin:/usr/bin")
SNMPTRAPD = shutil.which("snmptrapd", path="/usr/sbin:/usr/bin")
ENTRY = {
    "seq": 70001, "boot": "b1", "mono_ms": 12_340, "at": "2026-03-16T05:50:00.000Z", "trusted": True, "kind": "alarm",
    "body": {"id": "leak", "from": "normal", "to": "unacknowledged", "cause": 'wet: "5" mm', "priority": "high"},
}  # fmt: skip


@contextlib.contextmanager
def running(*command, log):
    with log.open("wb") as out:
        process = subprocess.Popen(list(map(str, command)), stdout=out, stderr=out)
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


async def told(face, wanted):
    """The face tells, in the time that it takes until `wanted`."""
    serving = asyncio.ensure_future(face.serve(lambda: None))
    try:
        async with asyncio.timeout(90):
            while not wanted():
                assert not serving.done(), serving.exception()
                await asyncio.sleep(0.05)
    finally:
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)


def text_of(file):
    return file.read_text(encoding="utf-8", errors="replace") if file.exists() else ""


@pytest.mark.skipif(RSYSLOGD is None, reason="rsyslogd is not installed here")
def test_rsyslog_hears_what_a_witness_is_shown(tmp_path):
    """Each message by its fields, as rsyslogd has taken it apart: the framing, and RFC 5424's own."""
    port, got = free_port(), tmp_path / "got"
    settings = tmp_path / "rsyslog.conf"
    settings.write_text(
        f"""
global(workDirectory="{tmp_path}")
module(load="imtcp")
input(type="imtcp" address="127.0.0.1" port="{port}")
template(name="fields" type="string" string="%syslogseverity% %app-name% %msgid% %structured-data% %msg%\\n")
*.* action(type="omfile" file="{got}" template="fields")
""",
        encoding="utf-8",
    )
    kept = tmp_path / "told.json"
    with running(RSYSLOGD, "-n", "-f", settings, "-i", tmp_path / "pid", log=tmp_path / "log"), told_api() as api:
        options = ["--api", api.url, "--to", f"tcp://127.0.0.1:{port}", "--kept", kept]
        code, out, err = called("face", "test", "--each", "400 ms", "syslog", *options)
        assert code == 0 and out.count("raised") == 3, err
        # what stood before is told once, then each alarm comes and goes as a test
        lines = until(lambda: len(found := text_of(got).splitlines()) >= 8 and found, 90, text_of(tmp_path / "log"))
    ids = [line.split(" ")[2] for line in lines]
    assert sorted(ids[:2]) == ["pressure_low", "reservoir_cold"]
    assert ids[2:] == ["leak", "leak", "pressure_low", "pressure_low", "reservoir_cold", "reservoir_cold"]
    assert all(line.split(" ")[1] == "warmwell" and 'station="harbour-lane/scope-room-2"' in line for line in lines)
    assert [line.split(" ")[0] for line in lines[2:4]] == [
        "3",
        "5",
    ]  # an error while it stands, a notice when it is gone
    assert all("TEST for a witness" in line for line in lines[2:])
    assert json.loads(kept.read_text())["seq"] == 70000


@pytest.mark.skipif(SNMPTRAPD is None, reason="snmptrapd is not installed here")
@pytest.mark.parametrize("informs", [True, False], ids=["informs", "traps"])
def test_snmptrapd_hears_by_snmp_v3(tmp_path, informs):
    from edge.faces.snmp import SnmpFace, SnmpReceiver, engine_of

    engine = engine_of(tmp_path / "engine.json", 32473, begins=False)
    port, log = free_port(), tmp_path / "log"
    settings = tmp_path / "snmptrapd.conf"
    # of informs the receiver is the authority, of traps we are: the user is another's
    whose = "" if informs else f"-e 0x{engine.ident.hex()} "
    settings.write_text(
        f"[snmp] persistentDir {tmp_path / 'kept'}\n"
        f'createUser {whose}warmwell SHA-256 "authentication 1" AES "encryption 1"\n'
        "authUser log warmwell priv\nformat2 %v\\n\n",
        encoding="utf-8",
    )
    face = SnmpFace(
        Outbox(tmp_path / "told.json", "low"),
        SnmpReceiver("127.0.0.1", port, "warmwell", ("authentication 1", "encryption 1"), informs),
        32473,
        lambda begins: engine_of(tmp_path / "engine.json", 32473, begins=begins),
    )
    trapd = [SNMPTRAPD, "-f", "-Lo", "-On", "-m", "", "-C", "-c", settings, f"udp:127.0.0.1:{port}"]
    with running(*trapd, log=log) as process:
        until(lambda: f"{port:04X}" in Path("/proc/net/udp").read_text() and process.poll() is None, 60, text_of(log))
        heard = read(picture())
        face.show(heard)
        face.hear(ENTRY)
        face.show(later(heard, 12.0, "nobody answers"))
        asyncio.run(told(face, lambda: ".32473.0.2" in text_of(log)))
    said = text_of(log)
    notices = [line for line in said.splitlines() if ".1.3.6.1.6.3.1.1.4.1.0" in line]
    # the two that stood, the entry, and that nobody knows any more
    assert [re.search(r"32473\.0\.(\d)", one)[1] for one in notices] == ["1", "1", "1", "2"], said
    values = dict(re.findall(r"\.1\.3\.6\.1\.4\.1\.32473\.1\.(\d+)\.0 = ([^\t]*)", notices[2]))
    assert values["1"] == 'STRING: "harbour-lane/scope-room-2"' and values["2"] == 'STRING: "leak"'
    assert (
        values["3"] == 'STRING: "unacknowledged"' and values["7"] == "Counter64: 70001" and values["10"] == "INTEGER: 2"
    )
    assert values["8"] == 'STRING: "2026-03-16T05:50:00.000Z"'
    # the verdict is the one of now, which nobody knows
    assert "32473.1.9.0 = INTEGER: 3" in notices[3] and "nobody answers" in notices[3]
    assert engine_of(tmp_path / "engine.json", 32473, begins=False).boots == 1


def test_an_inform_that_nobody_answers_stays_to_be_told(tmp_path):
    from edge.faces.snmp import SnmpFace, SnmpReceiver, engine_of

    outbox = Outbox(tmp_path / "told.json", "low")
    receiver = SnmpReceiver("127.0.0.1", free_port(), "warmwell", ("authentication 1", "encryption 1"), True)
    face = SnmpFace(outbox, receiver, 32473, lambda begins: engine_of(tmp_path / "engine.json", 32473, begins=begins))
    face.limit_s = 0.1
    face.show(read(picture()))
    entry = outbox.first()

    async def tried():
        try:
            return await face.tell(entry, read(picture()))
        finally:
            face.close()

    assert "No SNMP response" in asyncio.run(tried())
    assert outbox.first() is entry


@pytest.mark.parametrize("_", [pytest.param(0, marks=NEEDS_MOSQUITTO)])
def test_sparkplug_is_born_changes_and_dies(tmp_path, _):
    """The Eclipse project's decoder reads what Mosquitto carried, and a rebirth that its encoder made is answered."""
    from edge.faces.sparkplug import Broker as At
    from edge.faces.sparkplug import SparkplugFace

    folder = folder_of("sparkplug-payload@1.0.3", "the Sparkplug decoder")
    decode = ["node", str(Path(__file__).with_name("sparkplug_decode.mjs")), str(folder)]
    rebirth = bytes.fromhex(
        json.loads(subprocess.run([*decode, "--rebirth"], capture_output=True, check=True, timeout=60).stdout)
    )
    broker, got = Broker(tmp_path / "broker").start(), []
    listener = paho.Client(CallbackAPIVersion.VERSION2)
    ready = queue.SimpleQueue()
    listener.on_subscribe = lambda *_: ready.put(True)
    listener.on_message = lambda _, __, message: got.append((message.topic, message.payload, message.retain))
    try:
        listener.connect("127.0.0.1", broker.port)
        listener.subscribe("spBv1.0/#", qos=1)
        listener.loop_start()
        ready.get(timeout=60)
        heard = read(picture())
        base = "spBv1.0/harbour-lane/{}/scope-room-2"

        def came(kind, count=1):
            return lambda: sum(topic == base.format(kind) for topic, *_ in got) >= count

        async def life():
            face = SparkplugFace(At("127.0.0.1", broker.port), tmp_path / "births.json")
            serving = asyncio.ensure_future(face.serve(lambda: None))
            try:
                async with asyncio.timeout(120):

                    async def until_came(kind, count=1):
                        while not came(kind, count)():
                            assert not serving.done(), serving.exception()
                            await asyncio.sleep(0.02)

                    face.show(heard)
                    await until_came("NBIRTH")
                    face.show(later(heard, 12.0, "nobody answers"))
                    await until_came("NDATA")
                    for command in (b"\xff\xff", rebirth):  # what is no payload asks for nothing
                        listener.publish(base.format("NCMD"), command)
                    await until_came("NBIRTH", 2)
            finally:
                serving.cancel()
                await asyncio.gather(serving, return_exceptions=True)

        asyncio.run(life())
        until(came("NDEATH"))
    finally:
        listener.loop_stop()
        broker.stop()
    ours = [(topic.split("/")[2], content) for topic, content, _ in got if "NCMD" not in topic]
    assert [kind for kind, _ in ours] == ["NBIRTH", "NDATA", "NBIRTH", "NDEATH"] and not any(kept for *_, kept in got)
    files = [tmp_path / f"{number}.bin" for number in range(len(ours))]
    for file, (_, content) in zip(files, ours, strict=True):
        file.write_bytes(content)
    lines = subprocess.run([*decode, *map(str, files)], capture_output=True, check=True, timeout=60).stdout.splitlines()
    born, data, again, dead = map(json.loads, lines)
    first = {one["name"]: one for one in born["metrics"]}
    assert (born["seq"], data["seq"], again["seq"], "seq" in dead) == (0, 1, 0, False)
    assert (first["bdSeq"]["type"], first["bdSeq"]["value"]) == ("Int64", 0) and first["Node Control/Rebirth"][
        "value"
    ] is False
    assert [(one["name"], one["value"]) for one in dead["metrics"]] == [("bdSeq", 0)]
    point = first["Points/reservoir"]
    assert (point["type"], point["value"]) == ("Double", 38.5)
    assert point["properties"]["Quality"] == {"type": "Int32", "value": 192}
    assert first["Points/supply"]["value"] is None and first["Points/supply"]["properties"]["Quality"]["value"] == 0
    assert first["Alarms/reservoir_cold/Active"]["value"] is True and first["Station/Verdict"]["value"] == "not_ready"
    changed = {one["name"]: one for one in data["metrics"]}
    assert changed["Station/Live"]["value"] is False and changed["Station/Verdict"]["value"] == "unknown"
    assert (
        changed["Points/reservoir"]["value"] is None
        and changed["Points/reservoir"]["properties"]["Quality"]["value"] == 500
    )
    assert {one["name"] for one in again["metrics"]} == set(first)
