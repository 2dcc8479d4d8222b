"""One question and what comes back: echo, noise, strangers, broken and cut answers told apart. Bytes in, outcome out; time is told."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.modbus_frames import Answer, Exchange, Failure, Question, Refusal, crc16, frames_in
from simulators.devices.modbus import crc_of

FLOAT = Question(1, 4, 0, 2)
GOOD = bytes.fromhex("01 04 04 42 3e 00 00 8e 30")
COUNT = Question(1, 4, 0, 1)


def after(question, *chunks, until=1.0, step=0.01):
    """What has become of a question that is given up after 1 s; a chunk each 10 ms, 0.1 s of silence end a frame."""
    exchange = Exchange(question, 0.0, 1.0, 0.1)
    now_s = 0.0
    for chunk in chunks:
        now_s += step
        exchange.feed(chunk, now_s)
        if (outcome := exchange.outcome(now_s)) is not None:
            return outcome, now_s, exchange
    while now_s < until:
        now_s = min(until, exchange.next_look_s)
        if (outcome := exchange.outcome(now_s)) is not None:
            return outcome, now_s, exchange
    return None, now_s, exchange


def test_the_question_as_it_goes_on_the_wire():
    assert FLOAT.frame == bytes.fromhex("01 04 00 00 00 02 71 cb")
    assert FLOAT.length == len(GOOD)


def test_the_answer_at_once():
    outcome, now_s, _ = after(FLOAT, GOOD)
    assert (outcome, now_s) == (Answer(bytes.fromhex("423e0000")), 0.01)


def test_the_answer_byte_by_byte():
    outcome, _, _ = after(FLOAT, *(bytes([octet]) for octet in GOOD), step=0.06)
    assert outcome == Answer(bytes.fromhex("423e0000"))


def test_the_answer_behind_the_echo_of_the_question():
    heard = bytes.fromhex("01 04 00 00 00 02 71 cb 01 04 04 42 3e 00 00 8e 30")
    outcome, _, exchange = after(FLOAT, heard)
    assert outcome == Answer(bytes.fromhex("423e0000"))
    assert exchange.echoed


def test_the_echo_alone_is_no_answer_at_the_time_limit():
    outcome, now_s, _ = after(FLOAT, bytes.fromhex("01 04 00 00 00 02 71 cb"))
    assert (outcome.reason, outcome.detail, now_s) == ("no_answer", "no answer; the adapter hears itself", 1.0)


def test_silence_is_no_answer_at_the_time_limit():
    outcome, now_s, _ = after(FLOAT)
    assert (outcome, now_s) == (Failure("no_answer", "no answer within 1 s", False), 1.0)


def test_noise_before_a_good_frame_is_passed_over():
    outcome, _, exchange = after(FLOAT, bytes.fromhex("ff 00") + GOOD)
    assert (outcome, exchange.noise) == (Answer(bytes.fromhex("423e0000")), 2)


def test_noise_that_looks_like_the_beginning_of_the_answer():
    assert after(FLOAT, b"\x01\x04\x04\x01" + GOOD)[0] == Answer(bytes.fromhex("423e0000"))


def test_a_missing_last_byte_is_a_cut_answer_as_soon_as_it_is_silent():
    outcome, now_s, _ = after(FLOAT, GOOD[:-1])
    assert (outcome.reason, outcome.heard) == ("garbled", True)
    assert "8 of 9 bytes" in outcome.detail
    assert now_s == pytest.approx(0.11)


@pytest.mark.parametrize("at", range(8 * len(GOOD)))
def test_one_flipped_bit_anywhere_is_a_wrong_check_sum_and_soon_known(at):
    spoilt = bytearray(GOOD)
    spoilt[at // 8] ^= 1 << at % 8
    outcome, now_s, _ = after(FLOAT, bytes(spoilt))
    assert outcome.reason == "crc"
    assert now_s == pytest.approx(0.11)  # so that there is time to ask again within the period


def test_rubbish_as_long_as_an_answer_is_no_wrong_check_sum():
    outcome, now_s, _ = after(FLOAT, bytes(range(0xA0, 0xA9)))
    assert (outcome.reason, now_s) == ("garbled", pytest.approx(0.11))


def test_a_little_noise_does_not_end_the_wait():
    outcome, now_s, _ = after(FLOAT, b"\xff\x00")
    assert (outcome.reason, now_s) == ("garbled", 1.0)
    assert "2 bytes that are no answer: ff 00" in outcome.detail


def test_a_unit_that_refuses():
    body = bytes([1, 0x84, 2])
    outcome, _, _ = after(FLOAT, body + crc16(body))
    assert outcome == Refusal(2)
    assert outcome.text == "exception 2: it has no such register"
    assert "not in the standard" in Refusal(99).text


def test_a_refusal_with_a_wrong_check_sum_is_none():
    assert after(FLOAT, bytes([1, 0x84, 2, 0, 0]))[0].reason == "crc"


def test_another_units_answer_is_set_aside_and_ours_still_awaited():
    stranger = b"\x02" + GOOD[1:-2]
    stranger += crc16(stranger)
    outcome, now_s, exchange = after(FLOAT, stranger)
    assert (outcome.detail, now_s) == ("unit 2 answered in its place", 1.0)
    assert [frame.unit_id for frame in exchange.strangers] == [2]
    assert after(FLOAT, stranger, b"", GOOD)[0] == Answer(bytes.fromhex("423e0000"))


def test_an_answer_to_a_question_of_another_length():
    short = bytes.fromhex("01 04 02 ff fe 79 40")
    outcome, now_s, _ = after(FLOAT, short)
    assert (outcome.reason, now_s) == ("garbled", 1.0)
    assert "another question: 2 octets, not 4" in outcome.detail
    assert after(COUNT, short)[0] == Answer(b"\xff\xfe")


def test_noise_without_end_is_given_up_at_the_time_limit():
    exchange = Exchange(FLOAT, 0.0, 1.0, 0.1)
    for step in range(200):
        exchange.feed(bytes([0x55, step]) * 20, step / 100)
        outcome = exchange.outcome(step / 100)
        if outcome is not None:
            break
    assert (step, outcome.reason) == (100, "garbled")


@given(st.binary(max_size=40), st.binary(max_size=10))
def test_whatever_stands_before_it_the_answer_is_found_or_nothing_is_made_up(before, behind):
    outcome, _, _ = after(FLOAT, before + GOOD + behind)
    assert outcome == Answer(bytes.fromhex("423e0000"))


@given(st.lists(st.binary(max_size=12), max_size=6))
def test_no_bytes_whatever_give_an_answer_without_its_check_sum(chunks):
    outcome, _, _ = after(FLOAT, *chunks)
    data = b"".join(chunks)
    if isinstance(outcome, Answer):
        frame = b"\x01\x04\x04" + outcome.data
        assert frame + crc_of(frame) in data
    elif isinstance(outcome, Failure):
        assert outcome.reason in ("no_answer", "garbled", "crc")


def test_all_frames_in_some_bytes():
    second = bytes([7, 0x83, 2])
    found = list(frames_in(b"\xff" + GOOD + b"\x00" + second + crc16(second) + b"\x01"))
    assert [(frame.unit_id, frame.function, frame.code) for frame in found] == [(1, 4, None), (7, 3, 2)]
