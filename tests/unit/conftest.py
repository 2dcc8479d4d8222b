"""For modules that look at no time to temperature: it is made of fewer hypotheses, as the random search makes it."""

from __future__ import annotations

from collections.abc import Iterator
from unittest.mock import patch

import pytest


@pytest.fixture(scope="module")
def fewer_hypotheses() -> Iterator[None]:
    from tests.bench.truth import FEWER  # half a second that few modules need

    with patch.multiple("edge.domain.heat.warmup_fit", **FEWER):
        yield
