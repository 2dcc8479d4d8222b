"""How a station is heard, and how a face is run: connections that break, silence, a test before a witness."""

from __future__ import annotations

import asyncio
import itertools
import os
import queue
import signal
import time

import pytest

from edge.cli.client import Event
from edge.domain.errors import UnusableInput, WarmwellError
from edge.faces import face as running
from edge.faces.interface import one_interface
from edge.faces.seen import OLD_S, TEST
from edge.faces.source import Source
from tests.unit.faces.kit import picture

ENTRY = {"seq": 8, "kind": "alarm", "body": {"id": "leak"}}


class Streams:
    """Each time a stream is opened: the next list of events, an error among them is raised. After the last one it stays open."""

    def __init__(self, *lives):
        self._lives, self.asked, self._over = iter(lives), [], queue.SimpleQueue()

    def __call__(self, after):
        self.asked.append(after)
        for event in next(self._lives, ()):
            if isinstance(event, Exception):
                raise event
            yield event
        if self._lives.__length_hint__() == 0:
            self._over.get()

    def end(self):
        self._over.put(None)


def snapshot(quiet_s=0.0):
    return Event("snapshot", None, picture(quiet_s))


def fault():
    return WarmwellError("nobody answers", where="http://127.0.0.1:8484/", expected="a running station", do="Start it")


def until(true):
    deadline_s = time.monotonic() + 60
    while not true():
        assert time.monotonic() < deadline_s
        time.sleep(0.002)


def test_a_station_is_heard_again_after_the_last_entry_and_is_unknown_while_it_is_silent():
    now, entries = [100.0], []
    streams = Streams(
        [snapshot(), Event("entry", 8, ENTRY), Event("snapshot", None, {"verdict": 3}), fault()], [OSError("odd")], [fault()], [snapshot()]
    )  # fmt: skip
    source = Source(streams, entry=entries.append, monotonic_s=lambda: now[0], first_s=0.001)
    assert source.seen().verdict == "unknown"
    source.start()
    until(lambda: source.seen().heartbeat == 2)
    assert streams.asked == [None, 8, 8, 8] and entries == [ENTRY]
    assert source.seen().verdict == "not_ready"
    now[0] += OLD_S + 0.1
    silent = source.seen()
    assert (silent.verdict, silent.is_live, silent.heartbeat, silent.judged_s) == (
        "unknown",
        False,
        2,
        pytest.approx(OLD_S + 0.1),
    )
    assert {point.value for point in silent.points.values()} == {None}
    source.stop()
    streams.end()


def test_an_old_picture_told_anew_is_no_heartbeat_and_another_journal_is_heard_from_now_on():
    streams = Streams(
        [Event("entry", 8, ENTRY), Event("reset", None, {"why": "another", "last_seq": 2}), fault()], [snapshot(30.0)]
    )
    source = Source(streams, first_s=0.001)
    source.start()
    until(lambda: source.seen().judged_s is not None)
    assert (source.seen().heartbeat, source.seen().verdict) == (0, "unknown")
    assert streams.asked == [None, None]
    source.stop()
    streams.end()


class Recorder:
    """A face of which is kept what it was told."""

    name = "recorder"
    after = None

    def __init__(self, fails=None):
        self.shown, self.heard, self._fails = [], [], fails

    def points(self, seen):
        return [{"name": name} for name in seen.points]

    def show(self, seen):
        self.shown.append(seen)

    def hear(self, entry):
        self.heard.append(entry)

    async def serve(self, opened):
        if self._fails:
            raise self._fails
        opened()
        await asyncio.get_running_loop().create_future()


def test_a_test_raises_each_alarm_once_in_the_face_and_ends(capsys):
    face, streams = Recorder(), Streams([snapshot(), Event("entry", 8, ENTRY)])
    assert running.run(face, streams, rehearsal_s=0.02) == 0
    raised = [seen.is_test and seen.alarms["leak"].cause == TEST for seen in face.shown]
    assert [name for name, _ in itertools.groupby(raised)] == [False, True, False]
    assert face.heard == [ENTRY]
    assert capsys.readouterr().out.splitlines()[:2] == ["1 of 3: leak: raised", "1 of 3: leak: gone"]
    streams.end()


def test_sigterm_ends_a_face_and_a_face_that_fails_says_why():
    streams = Streams([snapshot()])

    class Ended(Recorder):
        def show(self, seen):
            super().show(seen)
            if seen.is_live:
                os.kill(os.getpid(), signal.SIGTERM)

    assert running.run(Ended(), streams) == 0
    streams.end()
    with pytest.raises(WarmwellError, match="nobody answers"):
        running.run(Recorder(fault()), streams)


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "224.0.0.1", "board-2", ""])
def test_a_face_answers_on_one_interface(address):
    with pytest.raises(UnusableInput, match="not the address of one interface"):
        one_interface(address)
    assert one_interface("192.0.2.14") == "192.0.2.14"
