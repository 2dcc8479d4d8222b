"""No test of this folder looks at a time to temperature."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True, scope="module")
def no_forecast(fewer_hypotheses: None) -> None:
    """See tests/unit/conftest.py."""
