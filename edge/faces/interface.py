"""The one interface that a face answers on."""

from __future__ import annotations

from edge.domain.errors import UnusableInput, WarmwellError
from edge.hosts import address_of


def one_interface(address: str) -> str:
    """An address of one interface, as it is.

    Raises:
        UnusableInput: it is no IP address, or it stands for all interfaces.
    """
    found = address_of(address)
    if found is None or found.is_unspecified or found.is_multicast:
        raise UnusableInput(
            f"{address[:60]!r} is not the address of one interface", where="--address", expected="one such as 192.0.2.14",
            do="See the addresses by `ip -br address`; take that of the building's network",
        )  # fmt: skip
    return str(found)


def no_listening(address: str, port: int, why: str) -> WarmwellError:
    """It can't listen there."""
    return WarmwellError(
        f"it can't listen ({why})", where=f"{address} port {port}", expected="an address of this computer and a port that is free",
        do="Correct --address or --port; a port below 1024 needs CAP_NET_BIND_SERVICE, which the unit gives",
    )  # fmt: skip
