"""What of a client's address stands for one client."""

from __future__ import annotations

import pytest

from edge.hosts import whose


@pytest.mark.parametrize(
    ("address", "counts_as"),
    [
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"), ("::1", "::1"), ("fe80::1%eth0", "fe80::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"), ("testclient", "testclient"), ("x" * 100, "x" * 64), ("", ""),
    ],
)  # fmt: skip
def test_one_machine_is_one_address(address: str, counts_as: str) -> None:
    assert whose(address) == counts_as
