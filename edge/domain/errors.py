"""Every refusal, one family: one clear sentence for a person, four parts for a program."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edge.domain.messages import Message


def printable(text: str) -> str:
    r"""A text with a word for each sign that a terminal can't show: what was sent or typed stands in refusals, and orders none.

    >>> printable("a\x1b[2J")
    'a\\x1b[2J'
    """
    return text if text.isprintable() else "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in text)


class WarmwellError(Exception):
    """Base of every refusal; one line of signs that can be shown.

    Args:
        what: what is wrong, as a clause without a full stop.
        where: the file and line, topic, route, port or point that it is about.
        expected: what would have done.
        do: what to do about it, as a clause without a full stop.

    >>> str(WarmwellError("low is 65 psi, high is 60 psi", where="station.toml line 21, supply.pressure",
    ...                   expected="low below high", do="Swap the two"))
    'station.toml line 21, supply.pressure: low is 65 psi, high is 60 psi; expected low below high. Swap the two.'
    """

    def __init__(self, what: str, *, where: str, expected: str, do: str) -> None:
        self.what, self.where, self.expected, self.do = map(printable, (what, where, expected, do))
        super().__init__(f"{self.where}: {self.what}; expected {self.expected}. {self.do}.")


class UnusableInput(WarmwellError):
    """A file, argument or message that can't be used; the command line ends with exit code 2."""


class NewerStore(WarmwellError):
    """A store that a newer version wrote; the command line ends with exit code 3."""


class AlreadyRunning(WarmwellError):
    """Another process holds the store, a port or a name; the command line ends with exit code 4."""


class StoreFault(WarmwellError):
    """The disk refused a write or a read; nothing that was answered as kept is touched."""


class BusLost(WarmwellError):
    """A whole bus can't be read: its port is gone, held by another, or refused. `reason`: the reason of its points' bad readings, a key
    of REASONS; a subclass may have another."""

    reason = "bus_lost"


class SensorSilent(WarmwellError):
    """The bus works, but a point gave no answer within its time limit."""


class NotSignedIn(WarmwellError):
    """Nobody is known to have asked: no sign-in, or one that is over."""


class NotAllowed(WarmwellError):
    """Whoever asked is known, and may not do that."""


class TooManyTries(WarmwellError):
    """Codes are tried too fast, or too many were wrong. `wait_s`: after so many seconds it may be tried again."""

    wait_s = 1


class RecordRefused(WarmwellError):
    """A record whose shape can't be used (a wrong order is never refused, only marked).

    Attributes:
        key: the key of its form that it is about; "" where it is about none.
        msg: what is wrong there, for whoever has the form before them; None where that isn't said.
    """

    def __init__(
        self, what: str, *, where: str, expected: str, do: str, key: str = "", msg: Message | None = None
    ) -> None:
        super().__init__(what, where=where, expected=expected, do=do)
        self.key, self.msg = key, msg
