"""`warmwell archive pull` from a real server by TLS into a real PostgreSQL: the bytes that MQTT would have brought, or nothing.

RFC 8785 and FIPS 180-4 for the digests, as the archive's walk reads them.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from edge.api.server import ApiServer
from edge.archive import migrations
from edge.archive.pulling import pull
from edge.archive.settings import ENVIRONMENT
from edge.archive.store import Put, Store
from edge.archive.verifying import verify
from edge.certificates.live import Live
from edge.cli import archive as cli
from edge.cli import client
from edge.cli.signed import TOKEN_FILE
from edge.daemon.signing import head_told
from edge.domain.entries import Draft, Now
from edge.domain.errors import UnusableInput, WarmwellError
from edge.mqtt.topics import entry_message
from edge.store.journal import Journal
from tests.api_fakes import ABOUT, Fakes
from tests.integration.archive_kit import NEEDS_POSTGRES, Postgres
from tests.integration.mqtt_kit import SITE, STATION
from tests.security.tls_kit import Authority

pytestmark = NEEDS_POSTGRES

NAME = f"{SITE}/{STATION}"
FILE = '[archive]\nname = "hospital"\nsites = ["{site}"]\n[mqtt]\nhost = "127.0.0.1"\n'


class Station:
    """A journal on disk, and the real API over it, by TLS."""

    def __init__(self, folder: Path, authority: Authority) -> None:
        self.journal, self.ca = Journal(folder, NAME, "boot-1"), authority.file
        fakes = Fakes(0)
        self._server = ApiServer(
            "0.0.0.0", 0, fakes.judge, self.journal, fakes.series, ABOUT, fakes.status, Live(*authority.pair()),
            head=partial(head_told, NAME, self.journal, {}),
        )  # fmt: skip
        self._server.start()
        assert self._server.wait_ready(120)
        port = self._server.url.rsplit(":", 1)[1].strip("/")
        self.url = client.address(f"https://localhost:{port}/", self.ca)

    def add(self, count: int) -> None:
        first = self.journal.last_seq() + 1
        bodies = [
            {"n": n, "text": 'ü "\u0000" \ud83d\ude00 <', "value": n / 7, "whole": 2.0}
            for n in range(first, first + count)
        ]
        self.journal.append(
            [
                Draft(Now(body["n"] * 1000, 1_790_000_000_123 + body["n"], body["n"] > 3), "note", body)
                for body in bodies
            ]
        )

    def told(self) -> list[bytes]:
        """Each entry as the station tells it by MQTT."""
        mark, journal = self.journal.mark(), self.journal
        entries = [entry for after in range(0, journal.last_seq(), 100) for entry in journal.read(after, 100)]
        return [entry_message(entry, SITE, STATION, mark, journal.digest(entry.seq)) for entry in entries]

    def get(self, path: str) -> dict[str, Any]:
        return client.get(self.url, path)

    def close(self) -> None:
        self._server.stop()
        self.journal.close()


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    made = Station(tmp_path / "keep", Authority(tmp_path))
    yield made
    made.close()


def test_what_the_archive_lacks_comes_once_and_as_mqtt_would_have_brought_it(
    station: Station,
    postgres: Postgres,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    database = postgres.database("pull")
    monkeypatch.setenv(ENVIRONMENT, postgres.dsn(database))
    file = tmp_path / "archive.toml"
    file.write_text(FILE.format(site=SITE), encoding="utf-8")
    station.add(450)
    with contextlib.closing(postgres.connect(database)) as db:
        migrations.prepare(db)

        def kept() -> list[bytes]:
            return [bytes(one) for (one,) in db.execute("SELECT message FROM entry ORDER BY journal, seq")]

        _nothing_of_what_does_not_fit(station, Store(db))
        assert kept() == []
        for wrong, said in ((f"{SITE}/other", f"it is {NAME}"), ("", "its certificate is not to be trusted")):
            with pytest.raises(WarmwellError, match=said):
                cli.pull(file, station.url if wrong else client.address(str(station.url)), wrong, as_json=False)
        other = tmp_path / "other.toml"
        other.write_text(FILE.format(site="other-site"), encoding="utf-8")
        with pytest.raises(UnusableInput, match=f"of the site {SITE}"):
            cli.pull(other, station.url, "", as_json=False)
        with monkeypatch.context() as patch, pytest.raises(UnusableInput, match="no-token"):
            patch.setenv(TOKEN_FILE, str(tmp_path / "no-token"))
            cli.pull(file, station.url, "", as_json=False)

        assert cli.pull(file, station.url, NAME, as_json=False) == 0
        assert "entries 1 to 450 came, 450 kept, 0 were there" in capsys.readouterr().out
        assert kept() == station.told()
        station.add(30)
        asked: list[str] = []
        done = pull(_noted(station.get, asked), Store(db), str(station.url))
        assert done.put == Put(new=30) and [path for path in asked if "journal" in path] == [
            "/api/1/journal?after=450&limit=30"
        ]
        assert cli.pull(file, station.url, "", as_json=True) == 0
        assert json.loads(capsys.readouterr().out)["put"] == {"new": 0, "again": 0, "aside": 0, "clashes": 0}
        assert kept() == station.told()
        (found,) = verify(db)
        assert (found.verified_seq, found.misfit, found.waits) == (480, None, None)


def _noted(get: Callable[[str], dict[str, Any]], asked: list[str]) -> Callable[[str], Mapping[str, Any]]:
    def ask(path: str) -> Mapping[str, Any]:
        asked.append(path)
        return get(path)

    return ask


def _nothing_of_what_does_not_fit(station: Station, store: Store) -> None:
    """One entry altered, left out or from another journal; a head that isn't theirs; an answer that breaks off for good."""

    def changed(change: Callable[[str, dict[str, Any]], None]) -> Callable[[str], Mapping[str, Any]]:
        def ask(path: str) -> Mapping[str, Any]:
            said = station.get(path)
            change(path, said)
            return said

        return ask

    def alter(path: str, said: dict[str, Any]) -> None:
        if "after=200" in path:
            said["entries"][7]["body"]["n"] = 9

    def leave_out(path: str, said: dict[str, Any]) -> None:
        if "after=200" in path:
            del said["entries"][7]

    def first(path: str, said: dict[str, Any]) -> None:
        if "after=0" in path:
            said["entries"][0]["boot"] = "boot-2"

    def no_head(path: str, said: dict[str, Any]) -> None:
        if "head" in path:
            said["digest"] = "00" * 32

    def nothing(path: str, said: dict[str, Any]) -> None:
        if "after=200" in path:
            said["entries"] = []

    for change, why in (
        (alter, "another digest"), (leave_out, "entry 209 follows entry 207"), (first, "isn't the first of journal"),
        (no_head, "another digest"), (nothing, "tells nothing after entry 200"),
    ):  # fmt: skip
        with pytest.raises(UnusableInput, match=f"{why}.*nothing of it was kept"):
            pull(changed(change), store, "there")

    def broken(path: str) -> Mapping[str, Any]:
        if "after=200" in path:
            raise WarmwellError("it broke off", where="there", expected="a whole answer", do="Try again")
        return station.get(path)

    rests: list[float] = []
    with pytest.raises(WarmwellError, match="broke off"):
        pull(broken, store, "there", rest=rests.append)
    assert rests == [2.0, 4.0, 8.0], "it was asked for again, later and later"
