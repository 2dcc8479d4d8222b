"""Noise that depends only on who asks about which instant: the same world however often and in whatever order it is read."""

from __future__ import annotations

from typing import Final

_MASK: Final = (1 << 64) - 1
#: standard deviation of the sum of four numbers, each even over 0..65535 (variance of each (65536^2 - 1)/12)
_SCALE: Final = 1.0 / (2.0 * ((65536.0**2 - 1.0) / 12.0) ** 0.5)


def mixed(key: int) -> int:
    """64 well mixed bits of a key: the finaliser of the SplitMix64 generator (public domain; constants from memory)."""
    z = (key + 0x9E3779B97F4A7C15) & _MASK
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
    return z ^ (z >> 31)


def normal(stream: int, tick: int) -> float:
    """Nearly normal noise, mean 0, standard deviation 1, never beyond 3.5: the sum of four even 16-bit numbers.

    `stream` names the point (and seed), `tick` the instant.
    """
    bits = mixed(stream ^ (tick * 0xD1342543DE82EF95))
    total = (bits & 0xFFFF) + ((bits >> 16) & 0xFFFF) + ((bits >> 32) & 0xFFFF) + (bits >> 48)
    return (total - 131070.0) * _SCALE


def even(stream: int, tick: int) -> float:
    """Even noise from 0 up to, not including, 1."""
    return (mixed(stream ^ (tick * 0xD1342543DE82EF95)) >> 11) / (1 << 53)


def stream_of(seed: int, name: str) -> int:
    """A stream of its own for each point and seed; the same in each process (no hash of the interpreter)."""
    key = seed & _MASK
    for byte in name.encode():
        key = mixed(key ^ byte)
    return key
