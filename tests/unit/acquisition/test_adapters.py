"""Adapters by name: the table, installed packages, and sentences for what can't be found."""

from __future__ import annotations

from importlib.metadata import EntryPoint

import pytest

import adapters
from adapters.replay import Replay
from adapters.serial_line import SerialLine
from edge.clock import ToldClock
from edge.domain.errors import UnusableInput


def test_adapters_are_found_by_name():
    assert adapters.find("serial-line") is SerialLine
    assert adapters.find("replay") is Replay


@pytest.mark.parametrize("kind", sorted(adapters.TABLE))
def test_each_name_of_the_table_leads_somewhere(kind):
    assert callable(adapters.find(kind))


@pytest.mark.parametrize(
    "kind, said",
    [("serial_line", 'Write "serial-line"'), ("telepathy", "Choose one of these"), ("", "no such")],
)
def test_unknown_kinds_get_one_sentence(kind, said):
    with pytest.raises(UnusableInput, match=said) as refused:
        adapters.find(kind)
    assert "\n" not in str(refused.value)


def test_a_kind_that_comes_later_is_told_as_such(monkeypatch):
    monkeypatch.setattr("adapters.NOT_YET", frozenset({"carrier-wave"}))
    with pytest.raises(UnusableInput, match="this version can't read it yet"):
        adapters.find("carrier-wave")


def test_installed_packages_add_kinds_and_broken_ones_are_told(monkeypatch):
    ours = [
        EntryPoint("bench", "adapters.replay:Replay", adapters.GROUP),
        EntryPoint("broken", "no.such.module:Class", adapters.GROUP),
        EntryPoint("classless", "adapters.replay:Nothing", adapters.GROUP),
        EntryPoint("replay", "no.such.module:Class", adapters.GROUP),
    ]
    monkeypatch.setattr("adapters.entry_points", lambda group: ours if group == "warmwell.adapters" else [])
    assert adapters.find("bench") is Replay
    assert adapters.find("replay") is Replay  # a name of the table can't be taken over
    assert {"bench", "serial-line"} <= set(adapters.kinds())
    for kind in ("broken", "classless"):
        with pytest.raises(UnusableInput, match="can't be loaded"):
            adapters.find(kind)


def test_a_bus_of_kind_replay_says_in_one_sentence_that_it_cannot_be_opened():
    bus = Replay({"id": "recorded"}, {}, ToldClock())
    for call in (bus.open, lambda: bus.read(["p"])):
        with pytest.raises(UnusableInput, match=r"bus recorded: .*can't be opened live.*warmwell replay") as refused:
            call()
        assert "\n" not in str(refused.value)
    bus.close()
