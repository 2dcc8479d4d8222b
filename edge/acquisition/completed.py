"""An adapter that has only some of the contract's names, as the whole contract."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar, cast

from edge.domain.contracts import Adapter, Raw, Reads

_T = TypeVar("_T")


def completed(made: Reads) -> Adapter:
    """The adapter itself where it is a subclass of Adapter, else one that hands calls on, with the defaults for the rest."""
    return cast(Adapter, made) if Adapter in type(made).__mro__ else _Completed(made)


def inner(adapter: Adapter) -> Reads:
    """What was made by the factory."""
    return adapter.made if isinstance(adapter, _Completed) else adapter


class _Completed(Adapter):
    def __init__(self, made: Reads) -> None:
        self.made = made

    def open(self) -> None:
        self.made.open()

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        return self.made.read(due)

    def close(self) -> None:
        self.made.close()

    def _own(self, name: str, default: _T) -> _T:
        own: _T = getattr(self.made, name, default)
        return own

    def listen(self, timeout_s: float) -> Sequence[Raw] | None:
        return self._own("listen", super().listen)(timeout_s)

    def wake(self) -> None:
        self._own("wake", super().wake)()

    def changed(self) -> bool:
        return self._own("changed", super().changed)()

    def resume(self, before: Reads) -> None:
        self._own("resume", super().resume)(before)

    @property
    def counts(self) -> Mapping[str, float]:
        return self._own("counts", super().counts)

    @property
    def seen(self) -> Mapping[str, str]:
        return self._own("seen", super().seen)

    @property
    def remark(self) -> str:
        return self._own("remark", super().remark)
