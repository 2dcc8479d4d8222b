"""A short visit to a station's broker, beside the station: what is retained there, and emptying what is left of something gone."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from types import TracebackType
from typing import Final, Self

from edge.mqtt.link import MQTT_3_1_1, MQTT_5, Limits, Link, MqttSettings, Waker
from edge.mqtt.troubles import BrokerTrouble, Kind, refusal, silent_trouble

#: so long (real seconds) nothing retained has come: then all has
QUIET_S: Final = 1.0
_LIMITS: Final = Limits()


class Visit:
    """One connection of our own, under a name that the broker chooses: the station's own connection stays as it is.

    Raises:
        BrokerTrouble: no connection, or it ended.
    """

    def __init__(self, plan: MqttSettings, limits: Limits = _LIMITS) -> None:
        self._plan, self._limits = plan, limits
        self._waker = Waker()
        self._heard: dict[str, bytes] = {}
        self._heard_s = 0.0
        self._subscribed: list[tuple[int, str]] | None = None
        self._waits: dict[int, str] = {}  # mid -> topic
        self._refused: dict[str, str] = {}

    def __enter__(self) -> Self:
        try:
            self._link = self._opened(MQTT_5)
        except BrokerTrouble as trouble:
            if trouble.kind not in (Kind.PROTOCOL, Kind.LOST, Kind.SILENT):
                self._waker.close()
                raise
            try:
                self._link = self._opened(MQTT_3_1_1)  # some brokers refuse 5, some hang up on it, some give no answer
            except BrokerTrouble:
                self._waker.close()
                raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, raised: BaseException | None, at: TracebackType | None
    ) -> None:
        self._link.close(1.0)
        self._waker.close()

    def _opened(self, protocol: int) -> Link:
        link = Link(
            self._plan, "", protocol=protocol, lasting=False, limits=self._limits, acknowledged=self._acknowledged,
            received=self._received, subscribed=self._is_subscribed,
        )  # fmt: skip
        try:
            link.open()
            while not link.up:
                link.turn(0.3, self._waker)
        except BrokerTrouble:
            link.drop()
            raise
        return link

    # ---- what is there

    def retained(self, filters: list[str]) -> dict[str, bytes]:
        """What is retained under these filters, by topic.

        Raises:
            BrokerTrouble: also where the broker refuses to tell.
        """
        self._heard.clear()
        self._subscribed = None
        self._link.subscribe(filters)
        self._turn_until(lambda: self._subscribed is not None, "the subscription was not acknowledged")
        answers: list[tuple[int, str]] = self._subscribed or []
        for flt, (code, name) in zip(filters, answers, strict=False):
            if code >= 128:
                raise BrokerTrouble(
                    Kind.FORBIDDEN, f"the subscription to {flt} is refused ({name})", where=self._link.where,
                    expected="to be let read the station's topics", do="Allow this user to read them in the broker's access list",
                )  # fmt: skip
        self._heard_s = time.monotonic()
        while time.monotonic() < self._heard_s + QUIET_S:
            self._link.turn(0.1, self._waker)
        return dict(self._heard)

    def _is_subscribed(self, _mid: int, codes: list[tuple[int, str]]) -> None:
        self._subscribed = codes

    def _received(self, topic: str, payload: bytes, retained: bool, _qos: int) -> None:
        if retained and payload:  # what is said just now is no ghost
            self._heard[topic], self._heard_s = payload, time.monotonic()

    # ---- emptying

    def empty(self, topics: Iterable[str]) -> dict[str, str]:
        """Empty these topics. Returns those that the broker refuses to empty, and why.

        MQTT 3.1.1 has no word for a refusal: look again to be sure.
        """
        left = list(topics)
        self._refused.clear()
        while left or self._waits:
            while left and self._link.room and (mid := self._link.publish(left[0], b"", retain=True)) is not None:
                self._waits[mid] = left.pop(0)
            self._link.turn(0.3, self._waker)  # a missing answer ends the connection
        return dict(self._refused)

    def _acknowledged(self, mid: int, code: int, name: str) -> None:
        topic = self._waits.pop(mid, "")
        if topic and code >= 128:
            self._refused[topic] = refusal(code, name)

    def _turn_until(self, done: Callable[[], bool], what: str) -> None:
        deadline_s = time.monotonic() + self._limits.ack_s
        while not done():
            if time.monotonic() > deadline_s:
                raise silent_trouble(what, self._link.where)
            self._link.turn(0.3, self._waker)
