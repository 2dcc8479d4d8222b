"""[api] and [api.tls]: when the page may listen to the network, and with which files."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.config.plans import PageTlsPlan
from tests.unit.config.test_mistakes import changed, sentences

LISTEN = 'listen = "127.0.0.1:8484"'
NAMES = '["scope-room-2.harbour-lane.example", "192.0.2.14"]'


def api(text: str) -> config.StationFile:
    return config.loads(changed(LISTEN, text)[0], Path("/somewhere/s.toml"))


def test_files_of_the_site_stand_beside_the_station_file() -> None:
    tls = api('listen = "0.0.0.0:8484"\ntls = { certificate = "page.pem", key = "/etc/page.key" }').api.tls
    assert tls == PageTlsPlan(Path("/somewhere/page.pem"), Path("/etc/page.key"), False)


def test_an_own_certificate_is_kept_in_the_folder_of_the_store() -> None:
    plan = api(f'listen = "[::]:8484"\ntls = {{ names = {NAMES} }}')
    keep = Path("/var/lib/warmwell")
    assert plan.api.tls == PageTlsPlan(
        keep / "page-certificate.pem", keep / "page-key.pem", True, ("scope-room-2.harbour-lane.example", "192.0.2.14")
    )
    assert plan.api.on_network and not any("api" in text for text in (*plan.warnings, *plan.not_active))


@pytest.mark.parametrize("host", ["192.0.2.14", "scope-room-2"])
def test_a_host_that_is_listened_on_is_name_enough(host: str) -> None:
    plan = api(f'listen = "{host}:8484"\ntls = {{}}')
    assert plan.api.tls is not None and plan.api.tls.is_own and plan.api.on_network


@pytest.mark.parametrize(
    "text, said",
    [
        ('listen = "0.0.0.0:8484"', "would open the page to the network without TLS"),
        ('listen = "192.0.2.14:8484"', "would open the page to the network without TLS"),
        ('listen = "0.0.0.0:8484"\ntls = {}', "doesn't say what the page's own certificate is to be for"),
        ('listen = "[::]:8484"\ntls = {}', "doesn't say what the page's own certificate is to be for"),
        (LISTEN + '\ntls = { certificate = "page.pem" }', "certificate and key go together"),
        (LISTEN + '\ntls = { key = "page.key" }', "certificate and key go together"),
        (LISTEN + "\ntls = { names = [] }", "is a list of 0"),
        (LISTEN + '\ntls = { names = "scope-room-2" }', "a list of host names and addresses"),
        (LISTEN + '\ntls = { names = ["https://scope-room-2"] }', "neither a host name nor an address"),
        (LISTEN + '\ntls = { names = ["scope room 2"] }', "neither a host name nor an address"),
        (LISTEN + '\ntls = { names = ["192.0.2.300"] }', "neither a host name nor an address"),
        (LISTEN + '\ntls = { names = ["0.0.0.0"] }', "neither a host name nor an address"),
        (LISTEN + '\ntls = { names = ["-a.example"] }', "neither a host name nor an address"),
        (LISTEN + '\ntls = { names = ["a", "A"] }', "names one twice"),
    ],
)
def test_a_mistake_is_one_sentence(text: str, said: str) -> None:
    (only,) = sentences(changed(LISTEN, text)[0])
    assert said in only and only.startswith("s.toml line ")
