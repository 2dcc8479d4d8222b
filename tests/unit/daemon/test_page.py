"""The page's way to the network: to whom it is opened, where it is found, and when its certificate's end is told."""

from __future__ import annotations

import os
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from edge import config
from edge.certificates.making import make_own
from edge.certificates.reading import Facts
from edge.daemon import page as page_module
from edge.daemon.page import TOLD_BEFORE_MS, Page, address_for_people, ending
from edge.domain.entries import Now
from edge.domain.errors import StoreFault, UnusableInput
from edge.people.store import any_person
from tests.api_fakes import until
from tests.unit.config.test_telling import HEAD as STATION
from tests.unit.stations import english

HEAD = f'{STATION}[keep]\nfolder = "keep"\n[api]\n'
OPEN = 'listen = "0.0.0.0:8484"\ntls = { names = ["scope-room-2.harbour-lane.example"] }\n'
ENDS_MS = 1_773_640_200_000  # 2026-03-16T05:50:00Z
DAY_MS = 86_400_000


def plan(folder: Path, api: str) -> config.StationFile:
    return config.loads(HEAD + api, folder / "station.toml")


def facts(*names: str) -> Facts:
    return Facts(names, "CN=page", "CN=page", ENDS_MS - 365 * DAY_MS, ENDS_MS, "AB", True)


def own(folder: Path) -> None:
    keep = folder / "keep"
    make_own(keep / "page-certificate.pem", keep / "page-key.pem", ["localhost"], datetime.now(UTC))


def test_the_network_gets_a_page_only_with_a_certificate_and_once_somebody_can_sign_in(tmp_path: Path) -> None:
    own(tmp_path)
    asked: list[Path] = []
    page = Page(lambda folder: bool(asked.append(folder)) or len(asked) > 1)
    with pytest.raises(UnusableInput, match="nobody is set up to sign in"):
        page.take(plan(tmp_path, OPEN))
    assert page.fingerprint == ""
    found = page.take(plan(tmp_path, OPEN))
    assert found is not None and page.fingerprint == found.facts.fingerprint and asked == [tmp_path / "keep"] * 2
    (tmp_path / "keep/page-key.pem").unlink()
    with pytest.raises(UnusableInput, match="the key can't be read"):
        page.take(plan(tmp_path, OPEN))


def test_this_computer_gets_its_page_without_anybody_and_without_a_certificate(tmp_path: Path) -> None:
    page = Page(any_person)
    assert page.take(plan(tmp_path, 'listen = "[::1]:8484"\n')) is None
    own(tmp_path)
    assert page.take(plan(tmp_path, 'listen = "127.0.0.1:8484"\ntls = {}\n')) is not None


@pytest.mark.parametrize(
    "api, certified, found",
    [
        ('listen = "127.0.0.1:8484"\n', [], "http://127.0.0.1:8484/"),
        ('listen = "127.0.0.1:8484"\ntls = {}\n', ["a.example", "localhost"], "https://127.0.0.1:8484/"),
        (OPEN, ["localhost", "*.rooms.example", "a.example", "192.0.2.14"], "https://a.example:8484/"),
        (OPEN, ["localhost", "2001:db8::14"], "https://[2001:db8::14]:8484/"),
        (OPEN, ["localhost"], "https://0.0.0.0:8484/"),
        ('listen = "192.0.2.14:443"\ntls = {}\n', ["a.example", "192.0.2.14"], "https://192.0.2.14:443/"),
        ('listen = "192.0.2.14:443"\ntls = {}\n', ["a.example"], "https://a.example:443/"),
    ],
)  # fmt: skip
def test_people_find_the_page_by_a_name_that_its_certificate_is_for(
    tmp_path: Path, api: str, certified: list[str], found: str
) -> None:
    assert address_for_people(plan(tmp_path, api).api, certified) == found


@pytest.mark.parametrize(
    "before_ms, said",
    [
        (TOLD_BEFORE_MS + 1, ""),
        (TOLD_BEFORE_MS, "the page's certificate ends on 2026-03-16"),
        (1, "the page's certificate ends on 2026-03-16"),
        (0, "the page's certificate ended on 2026-03-16"),
        (-400 * DAY_MS, "the page's certificate ended on 2026-03-16"),
    ],
)
def test_three_weeks_before_its_end_a_certificate_is_told_of(before_ms: int, said: str) -> None:
    found = ending(facts("localhost"), Now(0, ENDS_MS - before_ms, True))
    assert found.is_known and found.remark == "" and (english(found.cause) if found.cause else "") == said
    assert timedelta(days=21).total_seconds() * 1000 == TOLD_BEFORE_MS


@pytest.mark.parametrize("wall_ms", [0, ENDS_MS + 1, ENDS_MS - 1])
def test_a_clock_that_is_not_trusted_tells_of_no_end_and_says_so(wall_ms: int) -> None:
    found = ending(facts("localhost"), Now(0, wall_ms, False))
    assert (found.is_known, found.cause) == (False, None) and "can't be told: the clock is not trusted" in found.remark


class Told:
    """What the judge was told."""

    def __init__(self) -> None:
        self.facts, self.remarks = list[tuple[str, bool]](), dict[str, str]()

    def look(self, page: Page, now: Now) -> None:
        page.look(now, lambda alarm, present, cause: self.facts.append((alarm, present)), self.remarks.__setitem__)


def test_what_was_told_stands_while_the_clock_is_not_trusted(tmp_path: Path) -> None:
    own(tmp_path)
    page, told = Page(any_person), Told()
    found = page.take(plan(tmp_path, 'listen = "127.0.0.1:8484"\ntls = {}\n'))
    assert found is not None
    for wall_ms, trusted in [
        (found.facts.ends_ms - DAY_MS, True),
        (0, False),
        (found.facts.begins_ms + 2 * DAY_MS, True),
    ]:
        told.look(page, Now(0, wall_ms, trusted))
    assert told.facts == [("certificate_ends", True), ("certificate_ends", False)] and told.remarks == {
        "certificate": ""
    }
    (tmp_path / "keep/page-certificate.pem").write_text("rubbish")
    said = "The page's new certificate was not taken, the old one stays in force: "
    until(lambda: told.look(page, Now(0, 0, False)) or told.remarks["certificate"].startswith(said), "it is said")
    page.take(plan(tmp_path, 'listen = "127.0.0.1:8484"\n'))
    told.look(page, Now(0, 0, True))
    assert told.facts[-1] == ("certificate_ends", False) and told.remarks["certificate"] == ""


def test_a_disk_that_hangs_holds_nobody_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_module, "TAKEN_WITHIN_S", 0.05)
    own(tmp_path)
    page, free = Page(any_person), threading.Event()
    real = page_module.Live

    def hung(*files: Path) -> page_module.Live:
        free.wait(30)
        return real(*files)

    monkeypatch.setattr(page_module, "Live", hung)
    api = 'listen = "127.0.0.1:8484"\ntls = {}\n'
    for _ in range(2):  # the second finds the first still under way
        with pytest.raises(StoreFault, match="the disk doesn't answer"):
            page.take(plan(tmp_path, api))
    free.set()
    monkeypatch.setattr(page_module, "TAKEN_WITHIN_S", 30.0)
    until(lambda: page._aside._under_way.done(), "the disk answers")
    assert page.take(plan(tmp_path, api)) is not None


def test_what_is_no_file_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "keep").mkdir()
    os.mkfifo(tmp_path / "keep/page-certificate.pem")
    with pytest.raises(UnusableInput, match="holds no certificate"):
        Page(any_person).take(plan(tmp_path, 'listen = "127.0.0.1:8484"\ntls = {}\n'))
