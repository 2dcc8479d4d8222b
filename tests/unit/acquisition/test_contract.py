"""What the contract `Adapter` promises: its defaults, and that an adapter of another package may be less, or have only some of it."""

from __future__ import annotations

import threading
from importlib import import_module
from inspect import signature

import pytest

from adapters import TABLE
from edge.acquisition.acquisition import Acquisition
from edge.acquisition.completed import completed, inner
from edge.clock import RealClock
from edge.config.plans import BusPlan
from edge.domain.contracts import Adapter, Raw, Reads
from edge.domain.errors import BusLost
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point

NAMES = {name for name in vars(Adapter) | vars(Reads) if not name.startswith("_")}


class Least:
    """No more than a package of its own has to bring: it knows nothing of this project's classes."""

    def __init__(self, bus, points, clock):
        self.clock, self.points = clock, points

    def open(self):
        pass

    def read(self, due):
        return [Raw(point, self.clock.mono_ms(), 21.5, "degC") for point in due]

    def close(self):
        pass


class Some(Least):
    """One with a few of the other names, as attributes and methods."""

    counts = {"lines": 3}
    remark = "the line is noisy"

    def __init__(self, bus, points, clock):
        super().__init__(bus, points, clock)
        self.woken, self.before = [], []

    def wake(self):
        self.woken.append(True)

    def resume(self, before):
        self.before.append(before)


def point(ident, every_ms=50):
    return Point(ident, Role.ROOM_TEMPERATURE, Kind.TEMPERATURE, every_ms, 10_000, -50, 150)


def acquired(made, samples, **more):
    plan = BusPlan("wire", "wire", {}, {"room": {"id": "room"}}, time_limit_ms=more.pop("limit_ms", None))
    return Acquisition(
        [plan], {"room": point("room")}, RealClock(), samples, lambda *_told: None, lambda _kind: made, **more
    )


def test_an_adapter_of_the_least_is_read_and_has_the_defaults():
    read = threading.Event()
    acquisition = acquired(Least, lambda _samples: read.set())
    acquisition.start()
    try:
        assert read.wait(10.0)
        status = acquisition.status()["wire"]
        assert (status["state"], status["counts"], status["remark"], status["seen"]) == ("ok", {}, "", "")
    finally:
        assert acquisition.stop(5.0)
    whole = completed(Least({}, {}, RealClock()))
    assert (whole.listen(0.0), whole.changed(), whole.wake(), whole.resume(whole)) == (None, False, None, None)


def test_what_an_adapter_has_of_the_contract_is_used():
    made = Some({}, {}, RealClock())
    whole = completed(made)
    assert inner(whole) is made
    assert (dict(whole.counts), whole.remark, dict(whole.seen)) == ({"lines": 3}, "the line is noisy", {})
    whole.wake()
    whole.resume(made)
    assert (made.woken, made.before) == ([True], [made])


@pytest.mark.parametrize("kind", TABLE)
def test_each_adapter_of_ours_is_the_whole_contract(kind):
    module, _, name = TABLE[kind].partition(":")
    ours = getattr(import_module(module), name)
    assert Adapter in ours.__mro__
    for hook in NAMES:
        own, wanted = getattr(ours, hook), getattr(Adapter, hook)
        assert isinstance(own, property) == isinstance(wanted, property), hook
        if not isinstance(own, property):
            assert list(signature(own).parameters) == list(signature(wanted).parameters), hook


def test_the_contract_names_every_hook_that_is_used():
    assert set("open read close listen wake changed resume counts seen remark".split()) == NAMES
    assert BusLost("it is gone", where="wire", expected="it", do="Plug it in").reason == "bus_lost"


def test_time_limits_go_by_the_clock_that_is_handed_in():
    """A read that hangs is overdue when the told seconds say so: nobody waits for the minute."""
    told_s, released, bad, asked = [1_000.0], threading.Event(), threading.Event(), threading.Event()

    class Hangs(Least):
        def read(self, due):
            asked.set()
            released.wait(60.0)
            return ()

    def take(samples):
        if any(sample.reason == "no_answer" for sample in samples):
            bad.set()

    acquisition = acquired(Hangs, take, limit_ms=60_000, mono_s=lambda: told_s[0])
    acquisition.start()
    try:
        assert asked.wait(10.0)
        assert not bad.wait(0.7), "a look and more have passed, and no told second"
        told_s[0] += 61.0
        assert bad.wait(10.0)
        assert acquisition.status()["wire"]["state"] == "hung"
    finally:
        released.set()
        acquisition.stop(5.0)
