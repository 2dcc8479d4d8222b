"""Whose turn it is on a shared line, by times that are told. The frames are those of pymodbus, a library that nobody here wrote."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadHoldingRegistersResponse,
    ReadInputRegistersRequest,
    WriteSingleRegisterRequest,
)

from adapters.modbus_rtu import MOST_LATE_S as LATE_S
from edge.sharing.turns import Turns

LEFT, RIGHT = "scope-room-1", "scope-room-2"
LIMIT_S = 0.3


def framed(pdu: object) -> bytes:
    return FramerRTU(DecodePDU(is_server=False)).buildFrame(pdu)  # type: ignore[arg-type]


def asks(unit: int, at: int, count: int = 1) -> bytes:
    return framed(ReadHoldingRegistersRequest(address=at, count=count, dev_id=unit))


def answers(unit: int, *registers: int) -> bytes:
    return framed(ReadHoldingRegistersResponse(registers=list(registers), dev_id=unit))


@pytest.fixture
def turns() -> Turns:
    return Turns([LEFT, RIGHT], 19200, LIMIT_S)


def test_each_has_its_turn_in_the_order_of_asking_and_hears_its_own_answer_alone(turns: Turns) -> None:
    turns.ask(RIGHT, asks(5, 7), 10.000)
    turns.ask(LEFT, asks(3, 7), 10.001)
    assert turns.next(10.002) == asks(5, 7) and turns.next(10.003) is None
    assert turns.hear(answers(5, 57)[:3], 10.010) == RIGHT == turns.hear(answers(5, 57)[3:], 10.012)
    assert turns.next(10.013) is None, "3.5 characters of silence part two frames"
    assert turns.next(10.015) == asks(3, 7)
    assert turns.hear(answers(3, 37), 10.020) == LEFT
    assert turns.hear(b"\xff\x00", 10.021) is None, "nobody asked"
    assert turns.next(10.1) is None and turns.look_s(10.1) > 60
    assert [turns.counts[who]["answered"] for who in (LEFT, RIGHT)] == [1, 1]


def test_who_asks_without_a_pause_does_not_keep_the_other_waiting(turns: Turns) -> None:
    now_s, order = 0.0, ""
    turns.ask(LEFT, asks(3, 0), now_s)
    turns.ask(RIGHT, asks(5, 0), now_s)
    for _ in range(10):
        now_s += 0.1
        question = turns.next(now_s)
        assert question is not None
        unit = question[0]
        order += "LR"[unit == 5]
        turns.hear(answers(unit, 1), now_s + 0.01)
        turns.ask(LEFT if unit == 3 else RIGHT, asks(unit, 0), now_s + 0.011)
    assert order == "LRLRLRLRLR"


def test_a_silent_unit_costs_the_other_one_time_limit(turns: Turns) -> None:
    turns.ask(LEFT, asks(3, 0), 1.0)
    turns.ask(RIGHT, asks(5, 0), 1.0)
    turns.next(1.0)
    wire_s = 0.02  # 8 and 7 characters of 11 bits at 19 200 baud, and two silences: 13 ms
    assert turns.next(1.0 + LIMIT_S) is None
    assert turns.look_s(1.1) <= 1.0 + LIMIT_S + wire_s
    assert turns.next(1.0 + LIMIT_S + wire_s) == asks(5, 0)
    assert turns.counts[LEFT]["unanswered"] == 1


def test_an_answer_that_may_still_come_is_not_taken_for_that_of_anothers_question(turns: Turns) -> None:
    """Register 10 of unit 3 isn't answered in time; another station asks for register 20: one answer looks like the other."""
    turns.ask(LEFT, asks(3, 10), 1.0)
    turns.next(1.0)
    turns.ask(RIGHT, asks(3, 20), 1.1)
    assert turns.next(1.5) is None
    assert turns.hear(answers(3, 1010), 1.6) is None, "the late answer goes to nobody"
    assert turns.next(1.0 + LATE_S - 0.01) is None and turns.look_s(2.0) <= 1.0 + LATE_S
    assert turns.next(1.0 + LATE_S + 0.01) == asks(3, 20)


@pytest.mark.parametrize(
    "question", [asks(3, 20, count=2), asks(3, 10), asks(4, 20)], ids=["longer", "same", "other unit"]
)
def test_a_question_whose_answer_looks_otherwise_need_not_wait(turns: Turns, question: bytes) -> None:
    turns.ask(LEFT, asks(3, 10), 1.0)
    turns.next(1.0)
    turns.ask(RIGHT, question, 1.1)
    assert turns.next(1.5) == question


def test_the_same_station_may_ask_on_its_own_adapter_knows_what_may_still_come(turns: Turns) -> None:
    turns.ask(LEFT, asks(3, 10), 1.0)
    turns.next(1.0)
    turns.ask(LEFT, asks(3, 20), 1.6)
    assert turns.next(1.6) == asks(3, 20)


def test_a_station_that_gave_a_question_up_does_not_hear_its_answer(turns: Turns) -> None:
    turns.ask(LEFT, asks(3, 10), 1.0)
    turns.next(1.0)
    turns.ask(LEFT, asks(3, 20), 1.2)
    assert turns.hear(answers(3, 1010), 1.25) is None
    assert turns.next(1.26) == asks(3, 20)
    assert turns.hear(answers(3, 1020), 1.27) == LEFT


def test_nothing_that_writes_and_no_rubbish_reaches_the_line(turns: Turns) -> None:
    write = framed(WriteSingleRegisterRequest(address=1, registers=[2], dev_id=3))
    turns.ask(LEFT, write, 1.0)
    turns.ask(RIGHT, b"\x00\x01" + asks(5, 0)[:4], 1.0)
    assert turns.next(1.1) is None
    turns.ask(RIGHT, asks(5, 0), 2.0)  # what was begun long ago is no part of it
    assert turns.next(2.0) == asks(5, 0)
    assert turns.counts[LEFT]["dropped"] >= 1 and turns.counts[RIGHT]["dropped"] >= 4
    turns.hear(answers(5, 1), 2.01)
    turns.ask(RIGHT, b"\x00\x01" + framed(ReadInputRegistersRequest(address=9, count=1, dev_id=5)), 3.0)
    assert (turns.next(3.0) or b"")[1] == 4, "a question behind rubbish is found"


def test_a_lost_port_takes_what_was_asked_with_it(turns: Turns) -> None:
    turns.ask(LEFT, asks(3, 10), 1.0)
    turns.next(1.0)
    turns.ask(RIGHT, asks(3, 20), 1.1)
    turns.forget()
    assert turns.next(1.2) is None and turns.hear(answers(3, 1), 1.3) is None
    turns.ask(RIGHT, asks(3, 20), 1.4)
    assert turns.next(1.4) == asks(3, 20)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["ask L", "ask R", "answer", "late", "noise", "wait"]),
            st.integers(0, 2),
            st.floats(0.0, 0.6),
        ),
        max_size=60,
    )
)
def test_no_order_of_events_gives_a_station_a_register_that_it_did_not_ask_for(
    events: list[tuple[str, int, float]],
) -> None:
    """Unit 3 alone, three registers, answers in time, late or never: who hears one that fits its question hears the right one."""
    turns, now_s = Turns([LEFT, RIGHT], 19200, LIMIT_S), 0.0
    on_line: bytes | None = None
    asked: dict[str, bytes | None] = {LEFT: None, RIGHT: None}
    late: list[tuple[bytes, float]] = []
    for what, at, after_s in events:
        now_s += after_s
        if (sent := turns.next(now_s)) is not None:
            if on_line is not None:
                late.append((on_line, now_s))
            on_line = sent
        if what.startswith("ask"):
            who = LEFT if what == "ask L" else RIGHT
            asked[who] = asks(3, at)
            turns.ask(who, asks(3, at), now_s)
        elif what == "answer" and on_line is not None:
            heard = turns.hear(answers(3, on_line[3]), now_s)
            assert heard is None or asked[heard] == on_line
            on_line = None
        elif what == "late" and late:
            question, left_s = late.pop()
            if now_s - left_s < LATE_S - 0.7:
                heard = turns.hear(answers(3, question[3]), now_s)
                own = heard is not None and asked[heard]
                # one's own late answer: the station's adapter knows that it may come
                assert heard is None or own == question or question in mine(events, heard)
        elif what == "noise":
            turns.hear(b"\xff\x00", now_s)


def mine(events: list[tuple[str, int, float]], who: str) -> set[bytes]:
    """All questions that a station has asked."""
    return {asks(3, at) for what, at, _ in events if what == ("ask L" if who == LEFT else "ask R")}
