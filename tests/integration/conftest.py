"""What all tests of this folder share: one PostgreSQL, started where a test asks for it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.integration.archive_kit import Postgres


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A server that each test makes a database of its own in."""
    from tests.integration.archive_kit import Postgres

    made = Postgres()
    yield made
    made.close()
