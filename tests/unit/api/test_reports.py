"""Reports by the API: what is asked for, as the words of a command; and the process of its own that makes each."""

from __future__ import annotations

import asyncio
import sys
import threading
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from edge.api import app as api
from edge.api.parts import Parts
from edge.daemon.asked_reports import AskedReports
from edge.domain.entries import Now, wall_ms_of
from edge.domain.errors import UnusableInput
from tests.api_fakes import ABOUT, Answer, Fakes, ask
from tests.integration.store_kit import until
from tests.unit.reports.kit import Store

NOW = Now(3_600_000, wall_ms_of("2026-03-14T07:00:00Z"), False)


class Maker:
    """Takes down what is asked of it."""

    def __init__(self) -> None:
        self.asked: list[list[str]] = []

    def __call__(self, of: Sequence[str], options: Sequence[str]) -> bytes:
        self.asked.append([*of, "/", *options])
        if of[-1] == "2026-12":
            raise UnusableInput("the future", where="period", expected="the past", do="Wait")
        return b"<!doctype html>a report"


def got(maker: Maker | None, rest: str) -> Answer:
    fakes = Fakes()
    parts = Parts(
        fakes.judge, fakes.journal, fakes.series, {**ABOUT, "timezone": "Europe/Dublin"}, fakes.status, report=maker
    )
    return asyncio.run(ask(api.bordered(api.build(parts), "127.0.0.1"), "GET", f"/api/1/report/{rest}"))


def test_each_kind_is_asked_for_in_the_words_of_the_command() -> None:
    maker = Maker()
    for rest in (
        "day?day=2026-03-14&lang=de&units=degF,psi",
        "day?day=yesterday&form=pdf&lang=en",
        "period?period=2026-Q1&lang=fr",
        "incident?from=2026-03-14T05:00:00Z&to=2026-03-14T08:00:00%2B01:00&lang=es",
        "calibration?point=reservoir&lang=en",
        "day?lang=en",
        "period?lang=en",
        "incident?to=2026-03-14T08:00:00Z&lang=en",
        "commissioning?lang=de&form=pdf",
    ):
        answer = got(maker, rest)
        assert (answer.status, answer.body) == (200, b"<!doctype html>a report")
        assert (
            "script-src" not in answer.headers["content-security-policy"]
            and "sandbox" in answer.headers["content-security-policy"]
        )
        assert answer.headers["content-type"] == ("application/pdf" if "pdf" in rest else "text/html; charset=utf-8")
        assert answer.headers["content-disposition"].startswith('inline; filename="warmwell-')
    assert maker.asked == [
        ["day", "2026-03-14", "/", "--language", "de", "--units", "degF,psi"],
        ["day", "2026-03-15", "/", "--language", "en", "--pdf"],
        ["period", "2026-Q1", "/", "--language", "fr"],
        ["incident", "2026-03-14T05:00:00.000Z", "2026-03-14T07:00:00.000Z", "/", "--language", "es"],
        ["calibration", "reservoir", "/", "--language", "en"],
        ["day", "2026-03-15", "/", "--language", "en"],
        ["period", "2026-03", "/", "--language", "en"],
        ["incident", "2026-03-13T08:00:00.000Z", "2026-03-14T08:00:00.000Z", "/", "--language", "en"],
        ["commissioning", "/", "--language", "de", "--pdf"],
    ]


@pytest.mark.parametrize(
    ("rest", "status"),
    [
        ("day?day=--out", 422), ("day?day=2026-03-14&point=reservoir", 422), ("day?day=2026-03-14%0A", 422),
        ("year?day=2026-03-14", 422),
        ("period?period=2026", 422), ("calibration", 422), ("commissioning?day=2026-03-14", 422), ("incident?from=05:00&to=06:00", 422),
        ("calibration?point=--out", 404), ("calibration?point=kettle", 404), ("period?period=2026-12", 422),
        ("day?day=2026-03-14&form=doc", 422),
    ],
)  # fmt: skip
def test_what_is_none_is_refused_and_nothing_of_it_reaches_a_command(rest: str, status: int) -> None:
    maker = Maker()
    answer = got(maker, rest)
    assert answer.status == status and {"what", "where", "expected", "do"} <= answer.json.keys()
    assert maker.asked == [] or rest.startswith("period?period=2026-12")


def test_where_nothing_is_kept_it_says_so() -> None:
    assert got(None, "day?day=2026-03-14").status == 503


def test_one_is_made_by_a_process_of_its_own(tmp_path: Path) -> None:
    """The very command, on a journal; what it refuses is said in its own words."""
    with closing(Store(tmp_path / "keep", "2026-03-14T06:00:00Z")) as store:
        store.verdict("2026-03-14T06:00:10Z", "ready", before=None)
    make = AskedReports(tmp_path / "keep", lambda: NOW)
    made = make(["day", "2026-03-14"], ["--language", "de"])
    assert made.startswith(b"<!doctype html>") and b"Tagesbericht" in made
    assert b"Erstellt am 2026-03-14 um 07:00" in made and b"Die Uhr der Station war nicht gestellt" in made, (
        "by its own clock"
    )
    with pytest.raises(UnusableInput, match="no point 'kettle'"):
        make(["calibration", "kettle"], [])


def test_they_are_made_one_at_a_time_and_broken_off_with_the_daemon(tmp_path: Path) -> None:
    program = "import sys, time; open(sys.argv[1] + '/' + sys.argv[2], 'w').close(); time.sleep(60)"
    make = AskedReports(tmp_path, lambda: NOW, (sys.executable, "-c", program, str(tmp_path)))
    said: list[str] = []

    def asks(name: str) -> None:
        try:
            make([name], [])
        except UnusableInput as exc:
            said.append(str(exc))

    threads = [threading.Thread(target=asks, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    assert until(lambda: len(list(tmp_path.iterdir())) == 1)
    make.stop()
    for thread in threads:
        thread.join(30)
        assert not thread.is_alive()
    assert len(said) == 2
    slow = AskedReports(tmp_path, lambda: NOW, (sys.executable, "-c", "import time; time.sleep(60)"), waits_s=0.2)
    with pytest.raises(UnusableInput, match=r"it took more than 0\.2 s"):
        slow(["day", "2026-03-14"], [])
