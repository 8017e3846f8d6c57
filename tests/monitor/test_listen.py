"""Rows as messages, through a real MQTT broker: none lost, none doubled."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from paho.mqtt import client as mqtt

import cellmon
from cellmon.errors import StoreRefused
from cellmon.intake.broker import Broker, Message
from cellmon.monitor import Monitor
from cellmon.monitor.listen import Listener
from cellmon.monitor.receive import Received
from tests.small_cell import HEADER, new_cell, rows

TOPIC = "cell/readings"


@pytest.fixture
def cell(tmp_path) -> Path:
    """An empty cell folder."""
    new_cell(tmp_path / "cell").close()
    return tmp_path / "cell"


@pytest.fixture
def sender(broker) -> Iterator[mqtt.Client]:
    """Somebody who sends; `publish(...).wait_for_publish()` returns once the broker has it."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="sender")
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()


def subscribed(broker) -> Broker:
    found = Broker(broker.url, TOPIC, client="cell-1")
    found.start()
    until(lambda: found.why_away is None)
    time.sleep(0.2)
    return found


def until(done, *, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "it did not come about in time"
        time.sleep(0.05)


def send(sender: mqtt.Client, payload: str) -> None:
    sender.publish(TOPIC, payload, qos=1).wait_for_publish(timeout=20)


def heard(listener: Listener, rows_wanted: int) -> list[Received]:
    """Listen until so many rows were accounted for."""
    found: list[Received] = []

    def done() -> bool:
        found.extend(listener.listen())
        return sum(one.file.rows for one in found if one.file) >= rows_wanted

    until(done)
    return found


def stored(cell: Path) -> int:
    monitor = cellmon.open_cell(cell)
    with monitor._store.reading() as session:
        found = session.readings_between(*map(_us, ("2026-01-01", "2027-01-01")))
    monitor.close()
    return 0 if found is None else int((found.readings.um == found.readings.um).sum())


def _us(day: str):
    import numpy as np

    return np.datetime64(day, "us")


def as_lines(lines: list[str]) -> str:
    names = HEADER.split(",")
    return "\n".join(json.dumps(dict(zip(names, line.split(","), strict=True))) for line in lines)


@pytest.mark.parametrize("shape", ["csv", "json lines"])
def test_every_row_of_every_message_is_taken_once(cell, broker, sender, shape):
    link, lines = subscribed(broker), rows(20)
    for start in range(0, len(lines), 8):
        chunk = lines[start : start + 8]
        send(sender, "\n".join([HEADER, *chunk]) if shape == "csv" else as_lines(chunk))
    send(sender, "\n".join([HEADER, *lines[:8]]) if shape == "csv" else as_lines(lines[:8]))  # sent twice
    listener = Listener(cell, link, cellmon.open_cell)
    found = heard(listener, len(lines) + 1)
    listener.close()
    files = [one.file for one in found if one.file]
    assert sum(f.taken for f in files) == len(lines) == stored(cell)
    assert sum(len(f.set_aside) for f in files) == 0


def test_what_was_sent_while_nobody_listened_is_picked_up(cell, broker, sender):
    subscribed(broker).stop()
    lines = rows(10)
    send(sender, "\n".join([HEADER, *lines]))
    link = subscribed(broker)
    listener = Listener(cell, link, cellmon.open_cell)
    heard(listener, len(lines))
    listener.close()
    assert stored(cell) == len(lines)


def test_what_was_heard_and_not_committed_comes_again(cell, broker, sender):
    link, lines = subscribed(broker), rows(10)
    send(sender, "\n".join([HEADER, *lines]))
    until(lambda: bool(link.heard(most=10)))  # the program dies here: nothing was acknowledged
    link.stop()
    again = subscribed(broker)
    listener = Listener(cell, again, cellmon.open_cell)
    heard(listener, len(lines))
    listener.close()
    assert stored(cell) == len(lines)


def test_a_store_that_is_away_leaves_the_messages_waiting(cell, broker, sender):
    away = [True]

    def open_cell(folder: Path) -> Monitor:
        if away[0]:
            raise StoreRefused("the store is not there")
        return cellmon.open_cell(folder)

    link, lines = subscribed(broker), rows(10)
    listener = Listener(cell, link, open_cell)
    send(sender, "\n".join([HEADER, *lines]))
    said: list[Received] = []
    until(lambda: bool(said.extend(listener.listen()) or said))
    assert [(one.what, one.about) for one in (*said, *listener.listen())] == [("waits", "store")]
    away[0] = False
    after = heard(listener, len(lines))
    listener.close()
    assert [one.what for one in after] == ["taken", "back"]
    assert stored(cell) == len(lines)


def test_a_broker_that_goes_away_and_comes_back_loses_nothing(cell, broker, sender):
    link, lines = subscribed(broker), rows(20)
    listener = Listener(cell, link, cellmon.open_cell)
    send(sender, "\n".join([HEADER, *lines[:80]]))
    heard(listener, 80)
    time.sleep(1.5)  # its queue is written every second
    broker.stop()
    until(lambda: link.why_away is not None)
    assert [one.what for one in listener.listen()] == ["waits"]
    broker.start()
    until(sender.is_connected)
    send(sender, "\n".join([HEADER, *lines[80:]]))
    heard(listener, 80)
    listener.close()
    assert stored(cell) == len(lines)


def test_a_message_that_is_no_table_is_set_aside_as_a_file(cell, broker, sender):
    link = subscribed(broker)
    listener = Listener(cell, link, cellmon.open_cell)
    send(sender, "hello")
    found: list[Received] = []
    until(lambda: bool(found.extend(listener.listen()) or found))
    listener.close()
    assert [one.what for one in found] == ["set-aside"]
    kept = sorted((cell / "set-aside").iterdir())
    assert [p.read_text(encoding="utf-8").strip() for p in kept] == ["hello", found[0].words]


class Sent:
    """Messages that lie ready, without a broker; notes which are acknowledged."""

    topic, why_away = TOPIC, None

    def __init__(self, *payloads: bytes) -> None:
        self._sent = [Message(topic=TOPIC, payload=one, number=i) for i, one in enumerate(payloads)]
        self.acknowledged: list[int] = []

    def heard(self, *, most: int) -> list[Message]:
        return self._sent

    def done(self, message: Message) -> None:
        self.acknowledged.append(message.number)

    def stop(self) -> None:
        pass


def in_store(cell: Path) -> dict[str, str | None]:
    """Return every part of the store with its operator."""
    monitor = cellmon.open_cell(cell)
    with monitor._store.reading() as session:
        found = session.readings_between(np.datetime64("2026-01-01", "us"), np.datetime64("2027-01-01", "us"))
    monitor.close()
    return {} if found is None else dict(zip(found.readings.part, found.readings.operator, strict=True))


def by_operator(part: str, name: str) -> str:
    return f"{HEADER},operator\n{part},1,S1,2026-03-02T05:00:00Z,top,x,50.0010,{name}\n"


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(by_operator("B2", "José").encode("latin-1"), id="not UTF-8"),
        pytest.param(by_operator('"B2', "left open").encode(), id="a quote left open"),
    ],
)
def test_a_message_never_changes_how_those_that_came_with_it_are_read(cell, other):
    # found by fuzzing: messages of one header are one file, and a file is UTF-8 or else Latin-1 as a whole
    sent = Sent(other, by_operator("Bü1", "Müller").encode())
    listener = Listener(cell, sent, cellmon.open_cell)
    list(listener.listen())
    listener.close()
    assert sorted(sent.acknowledged) == [0, 1]
    assert in_store(cell)["Bü1"] == "Müller"


def test_objects_of_two_kinds_on_one_topic_are_two_files(cell):
    event = {"at": "2026-03-02T04:00:00Z", "event": "stones-fitted", "spindle": "S1", "stone_set": "A1"}
    row = dict(zip(HEADER.split(","), rows(1)[0].split(","), strict=True))
    sent = Sent(json.dumps(row).encode(), json.dumps(event).encode())
    listener = Listener(cell, sent, cellmon.open_cell)
    said = list(listener.listen())
    listener.close()
    assert sorted(one.file.kind for one in said) == ["events", "readings"]
    assert [one.file.taken for one in said] == [1, 1]
