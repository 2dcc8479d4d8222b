"""People are set up once, as hashing a code takes its time; each test has a copy of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.security.kit import Site, copied, set_up


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A folder with people, and their codes."""
    folder = tmp_path_factory.mktemp("people")
    return folder, set_up(folder)


@pytest.fixture
def site(made: tuple[Path, dict[str, str]], tmp_path: Path) -> Iterator[Site]:
    """A station with people of every role."""
    folder, codes = made
    site = Site(copied(folder, tmp_path), dict(codes))
    yield site
    site.built.state.desk.door.readers.stop()
    site.access.stop()
