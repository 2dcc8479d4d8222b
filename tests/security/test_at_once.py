"""Many at once: tries, sign-ins, resets and records in several threads, as the API's own threads and the command line are."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from edge.domain.errors import NotSignedIn, TooManyTries
from edge.domain.permits import Credentials, PersonRole
from edge.people import roster
from edge.people.codes import new_code
from edge.people.store import PeopleStore
from edge.people.throttle import FREE
from tests.security.kit import BIOMED, TECHNICIAN, Site


def all_at_once(many: int, call: Callable[[int], object]) -> Counter[str]:
    """How each of so many calls ended that begin together."""
    gate = threading.Barrier(many)

    def one(place: int) -> str:
        gate.wait(30)
        try:
            call(place)
        except (NotSignedIn, TooManyTries) as exc:
            return type(exc).__name__
        return "done"

    with ThreadPoolExecutor(many) as pool:
        return Counter(pool.map(one, range(many)))


def test_wrong_codes_that_come_at_once_are_no_more_tries_than_one_after_the_other(site: Site) -> None:
    for _ in range(2):
        outcome = all_at_once(8, lambda _: site.access.sign_in(str(new_code()), Credentials(address="192.0.2.1")))
        assert outcome["NotSignedIn"] <= FREE + 1 and sum(outcome.values()) == 8 and outcome["done"] == 0


def test_sessions_that_begin_at_once_are_each_their_own(site: Site) -> None:
    codes = [site.codes[BIOMED], site.codes[TECHNICIAN]]
    begun = {}
    outcome = all_at_once(
        4, lambda n: begun.setdefault(n, site.access.sign_in(codes[n % 2], Credentials(address=f"192.0.2.{n}")))
    )
    assert outcome == {"done": 4} and len({one.token for one in begun.values()}) == 4
    for place, one in begun.items():
        found = site.access.session(Credentials(cookie=one.token))
        assert found is not None and found.name == (BIOMED, TECHNICIAN)[place % 2]


def test_whoever_is_reset_while_they_record_is_out_at_the_end(site: Site) -> None:
    begun = site.access.sign_in(site.codes[TECHNICIAN], Credentials(address="192.0.2.1"))
    asks = Credentials(cookie=begun.token, proof=begun.csrf)

    def one(place: int) -> None:
        if place == 0:
            store = PeopleStore(site.folder)
            roster.reset(store, TECHNICIAN, 2)
            store.close()
        for _ in range(5):
            site.clock.tell(40_000)  # so that each writes down that somebody was there
            site.access.writer(asks, {"record": "note"})

    outcome = all_at_once(6, one)
    assert set(outcome) <= {"done", "NotSignedIn"} and outcome["NotSignedIn"] >= 1
    assert site.access.session(asks) is None


def test_people_who_are_added_from_two_sides_at_once_are_all_there(site: Site) -> None:
    def one(place: int) -> None:
        store = PeopleStore(site.folder)
        roster.add(store, f"Person {place}", PersonRole.VIEWER, 1)
        store.close()

    assert all_at_once(4, one) == {"done": 4}
    store = PeopleStore(site.folder)
    assert {f"Person {place}" for place in range(4)} <= {person.name for person in store.people()}
    store.close()
    site.access.look()
    assert sum(body["what"] == "person_added" for body in site.noted) >= 4
