"""A connection whose messages are acknowledged by hand, once they are kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from edge.mqtt.link import Link, MqttSettings


class LinkByHand(Link):
    """As a Link, but what comes with QoS 1 goes to `delivered` (topic, payload, mid) and is the broker's until acknowledge().

    Args:
        most: how many such messages the broker may hand over before they are acknowledged (MQTT 5.0, 3.1.2.11.3).
    """

    def __init__(
        self,
        plan: MqttSettings,
        client_id: str,
        *,
        most: int,
        delivered: Callable[[str, bytes, int], None],
        **more: Any,
    ) -> None:
        super().__init__(plan, client_id, **more)
        self._most, self._delivered = most, delivered

    def acknowledge(self, mid: int) -> None:
        """A message that was delivered is kept: the broker may forget it. In the order in which they came (4.6)."""
        if self._client is not None and self.up:
            self._client.ack(mid, 1)

    def _made(self) -> Any:
        client = super()._made()
        client.manual_ack_set(True)
        return client

    def _connect_properties(self) -> Any:
        properties = super()._connect_properties()
        properties.ReceiveMaximum = self._most
        return properties

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:
        if message.qos == 1:
            self._delivered(message.topic, bytes(message.payload), int(message.mid))
        else:
            super()._on_message(client, userdata, message)
