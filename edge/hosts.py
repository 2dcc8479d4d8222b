"""Host names and IP addresses: is it this computer alone, and what is a page for?"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from typing import Final

#: how a browser on the board itself asks for its page
LOOPBACK: Final = ("localhost", "127.0.0.1", "::1")


def address_of(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """The IP address that a text is; None where it is a name.

    >>> address_of("192.0.2.14"), address_of("scope-room-2")
    (IPv4Address('192.0.2.14'), None)
    """
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def is_loopback(host: str) -> bool:
    """Can this address only be reached from this computer?

    >>> is_loopback("localhost"), is_loopback("::1"), is_loopback("0.0.0.0"), is_loopback("scope-room-2")
    (True, True, False, False)
    """
    address = address_of(host)
    return host.lower() == "localhost" if address is None else address.is_loopback


def whose(address: str) -> str:
    """What of a client's address stands for one client: of IPv6 the network of 64 bits, of which one computer has all addresses.

    >>> whose("192.0.2.14"), whose("2001:db8::1:2:3:4%eth0"), whose("::ffff:192.0.2.14"), whose("::1")
    ('192.0.2.14', '2001:db8::/64', '192.0.2.14', '::1')
    """
    found = address_of(address.partition("%")[0])
    if not isinstance(found, ipaddress.IPv6Address) or found.is_loopback:
        return address[:64]
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))


def names_for(asked: Iterable[str], host: str) -> tuple[str, ...]:
    """What an own certificate is for: what the station file asks for, the address that is listened on, this computer; each once.

    >>> names_for(["Scope-Room-2.harbour-lane.example"], "0.0.0.0")
    ('scope-room-2.harbour-lane.example', 'localhost', '127.0.0.1', '::1')
    """
    address = address_of(host)
    own = [] if address is not None and address.is_unspecified else [host]
    return tuple(dict.fromkeys(str(address_of(name) or name.lower()) for name in (*asked, *own, *LOOPBACK)))
