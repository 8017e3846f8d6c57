"""Messages from an MQTT broker, at quality of service 1: each stays with the broker until it is done here."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from cellmon.errors import CellmonError
from cellmon.words import say, to_say

QUALITY = 1
PORTS = {"mqtt": 1883, "mqtts": 8883}
HEARD_S = 1.0
NOT_YET = to_say("{host} port {port} was not reached yet")
REFUSES = to_say("{host} port {port} refuses: {why}")
GONE = to_say("{host} port {port} is gone: {why}")


@dataclass(frozen=True, kw_only=True)
class Message:
    """One message; `number` is what it is acknowledged by."""

    topic: str
    payload: bytes
    number: int


class Broker:
    """A subscription that outlives a lost connection and a stopped program.

    The session is kept by the broker under the client's name: what is sent while nobody listens waits
    there, and what was not acknowledged is sent again. A broker sends only so many unacknowledged messages
    at once, so a slow store slows it down and loses nothing.

    Parameters
    ----------
    url : str
        mqtt://host[:port], or mqtts:// for TLS.
    topic : str
        What to listen to; `+` and `#` as the protocol has them.
    client : str
        The name of the session; one for each cell.
    user, password : str, optional
        As the broker asks for them.

    References
    ----------
    OASIS, MQTT Version 3.1.1, sections 3.1.2.4 (sessions) and 4.3.2 (QoS 1).
    """

    def __init__(
        self, url: str, topic: str, *, client: str, user: str | None = None, password: str | None = None
    ) -> None:
        try:
            from paho.mqtt import client as mqtt
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError as missing:
            text = to_say("MQTT needs the extra `live`: pip install 'cellmon[live]'")
            raise CellmonError(say(text)) from missing
        parts = urlsplit(url)
        self.host, self.port = parts.hostname or "localhost", parts.port or PORTS[parts.scheme]
        self.topic = topic
        self._heard: queue.SimpleQueue[Message] = queue.SimpleQueue()
        self._why: str | None = say(NOT_YET, host=self.host, port=self.port)
        self._there = threading.Event()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client, clean_session=False, manual_ack=True
        )
        if user is not None:
            self._client.username_pw_set(user, password)
        if parts.scheme == "mqtts":
            self._client.tls_set()
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected
        self._client.on_message = self._arrived

    def start(self) -> None:
        """Begin to connect and listen, in a thread of its own, and go on trying for ever."""
        self._client.reconnect_delay_set(min_delay=1, max_delay=30)
        self._client.connect_async(self.host, self.port, keepalive=30)
        self._client.loop_start()

    def stop(self) -> None:
        """Leave; the broker keeps the session."""
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def why_away(self) -> str | None:
        """Why nothing is heard now, None while the broker is there."""
        return None if self._there.is_set() else self._why

    def heard(self, *, most: int, wait_s: float = HEARD_S) -> list[Message]:
        """Return what has arrived, waiting a moment for the first; each must be given to `done`."""
        found: list[Message] = []
        try:
            found.append(self._heard.get(timeout=wait_s))
            while len(found) < most:
                found.append(self._heard.get_nowait())
        except queue.Empty:
            pass
        return found

    def done(self, message: Message) -> None:
        """Acknowledge a message whose rows are committed: the broker forgets it."""
        self._client.ack(message.number, QUALITY)

    def _connected(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._why = say(REFUSES, host=self.host, port=self.port, why=reason)
            return
        client.subscribe(self.topic, qos=QUALITY)
        self._there.set()

    def _disconnected(self, _client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._there.clear()
        self._why = say(GONE, host=self.host, port=self.port, why=reason)
        while not self._heard.empty():  # unacknowledged: they come again
            self._heard.get()

    def _arrived(self, _client: Any, _data: Any, message: Any) -> None:
        self._heard.put(Message(topic=message.topic, payload=message.payload, number=message.mid))
