"""How fast codes may be tried.

Fewer than 100 tries an hour for one account is what OWASP ASVS 2.2.1 (v4, from memory) asks for; here even an address has fewer, and
fewer than ten a minute.
"""

from __future__ import annotations

from itertools import pairwise

from edge.people.store import Tries
from edge.people.throttle import (
    FIRST_LOCK_MS,
    FORGET_MS,
    FREE,
    LOCK_AT,
    LONGEST_LOCK_MS,
    LONGEST_OVERALL_MS,
    MINUTE_MS,
    MOST_ADDRESSES,
    TRIES_A_MINUTE,
    Throttle,
)

HOUR_MS = 60 * MINUTE_MS


def tries_of(throttle: Throttle, addresses: list[str], for_ms: int, step_ms: int = 250) -> list[int]:
    """Instants at which a wrong code was looked at, by whoever tries as often as possible from these addresses."""
    looked_at = []
    for now_ms in range(0, for_ms, step_ms):
        for address in addresses:
            if not throttle.take(address, now_ms):
                looked_at.append(now_ms)
                throttle.wrong(address, now_ms)
    return looked_at


def most_in_a_minute(instants: list[int]) -> int:
    return max(sum(first <= one < first + MINUTE_MS for one in instants) for first in instants)


def test_an_address_tries_fewer_than_ten_times_a_minute_and_is_locked_out() -> None:
    throttle = Throttle([], "boot", 0)
    looked_at = tries_of(throttle, ["192.0.2.1"], 2 * HOUR_MS)
    assert most_in_a_minute(looked_at) < 10
    assert looked_at[LOCK_AT] - looked_at[LOCK_AT - 1] >= FIRST_LOCK_MS
    waits = [after - before for before, after in pairwise(looked_at)]
    assert waits[FREE:] == sorted(waits[FREE:]), "each wait is as long as the one before, or longer"
    assert sum(one < HOUR_MS for one in looked_at) < 100 and len(looked_at) <= LOCK_AT + 4


def test_whoever_has_a_code_may_not_try_others_in_between() -> None:
    """A right code gives no new tries: else one card would open the way to the others'."""
    throttle, wrong, right = Throttle([], "boot", 0), 0, 0
    for now_ms in range(0, HOUR_MS, 250):
        if not throttle.take("192.0.2.1", now_ms):
            if (wrong + right) % 2:
                throttle.right("192.0.2.1")
                right += 1
            else:
                throttle.wrong("192.0.2.1", now_ms)
                wrong += 1
    assert LOCK_AT <= wrong < 20 and right < 20


def test_people_who_sign_in_one_after_the_other_wait_for_nothing() -> None:
    throttle = Throttle([], "boot", 0)
    for place in range(TRIES_A_MINUTE):
        assert throttle.take("127.0.0.1", place) == 0
        throttle.right("127.0.0.1")
    assert 0 < throttle.take("127.0.0.1", TRIES_A_MINUTE) <= MINUTE_MS
    assert throttle.take("127.0.0.1", MINUTE_MS) == 0


def test_two_tries_at_once_are_one_after_the_other() -> None:
    throttle = Throttle([], "boot", 0)
    assert throttle.take("192.0.2.1", 0) == 0 and throttle.take("192.0.2.1", 0) > 0
    throttle.neither("192.0.2.1")
    assert throttle.take("192.0.2.1", 0) == 0


def test_many_addresses_are_slowed_together_and_those_of_people_are_not() -> None:
    throttle = Throttle([], "boot", 0)
    assert throttle.take("192.0.2.200", 0) == 0
    throttle.right("192.0.2.200")
    looked_at = tries_of(throttle, [f"198.51.100.{n}" for n in range(50)], HOUR_MS, 2000)
    late = [one for one in looked_at if one > HOUR_MS // 2]
    assert most_in_a_minute(late) < 10, "all of them together"
    assert max(b - a for a, b in pairwise(late)) <= LONGEST_OVERALL_MS + 1000
    assert throttle.take("192.0.2.200", HOUR_MS) == 0
    assert throttle.take("203.0.113.9", looked_at[-1] + 1) > 0, "a stranger waits with the rest"


def locked(throttle: Throttle, address: str) -> Tries:
    for now_ms in range(0, HOUR_MS, 1000):
        if not throttle.take(address, now_ms):
            row, is_locked = throttle.wrong(address, now_ms)
            if is_locked:
                return row
    raise AssertionError("never locked out")


def test_a_lock_survives_a_restart_and_a_reboot() -> None:
    row = locked(Throttle([], "boot", 0), "192.0.2.1")
    again = Throttle([row], "boot", row.last_ms + 1000)
    assert again.take("192.0.2.1", row.last_ms + 1000) == row.until_ms - row.last_ms - 1000
    rebooted = Throttle([row], "next boot", 50)
    assert rebooted.take("192.0.2.1", 50) == FIRST_LOCK_MS, "nobody knows how long the board was off"
    assert rebooted.locked(60) == 1 and rebooted.locked(50 + FIRST_LOCK_MS) == 0


def test_a_lock_that_was_over_isnt_begun_anew_by_a_reboot() -> None:
    throttle = Throttle([], "boot", 0)
    row = locked(throttle, "192.0.2.1")
    assert throttle.over(row.until_ms - 1) == ([], [])
    (ended,), _ = throttle.over(row.until_ms)
    assert throttle.over(row.until_ms) == ([], []) and ended.until_ms == 0
    assert Throttle([ended], "next boot", 5).take("192.0.2.1", 5) == 0
    assert throttle.over(row.until_ms + FORGET_MS - 1) == ([], [])
    _, forgotten = throttle.over(row.until_ms + FORGET_MS)
    assert forgotten == ["192.0.2.1"] and throttle.over(row.until_ms + FORGET_MS) == ([], [])


def test_locks_grow_to_some_hours_and_no_further() -> None:
    throttle, waits, now_ms = Throttle([], "boot", 0), [], 0
    for _ in range(40):
        wait_ms = throttle.take("a", now_ms)
        now_ms += wait_ms
        assert not wait_ms or throttle.take("a", now_ms) == 0
        row, _ = throttle.wrong("a", now_ms)
        waits.append(row.until_ms - row.last_ms)
    assert waits[:FREE] == [0] * FREE and waits[LOCK_AT - 1] == FIRST_LOCK_MS
    assert waits == sorted(waits) and waits[-1] == LONGEST_LOCK_MS


def test_what_is_remembered_is_bounded() -> None:
    throttle = Throttle([], "boot", 0)
    for place in range(3 * MOST_ADDRESSES):
        throttle.take(f"address {place}", 0)
    assert len(throttle._known) == MOST_ADDRESSES
