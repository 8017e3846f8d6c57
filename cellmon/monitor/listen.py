"""Listening: rows that arrive as messages are taken by the same intake as files, and then acknowledged."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import orjson

from cellmon.errors import CellmonError
from cellmon.intake.broker import Broker, Message
from cellmon.monitor import Monitor
from cellmon.monitor.receive import SET_ASIDE, Received, words_of
from cellmon.sheet import Live
from cellmon.words import say

MOST = 500
"""Messages taken in one transaction."""
LINES = b"{"
"""How JSON lines begin; anything else is a header and rows."""


class Heard(Protocol):
    """What is asked of a broker."""

    topic: str

    @property
    def why_away(self) -> str | None:
        """Why nothing is heard."""

    def heard(self, *, most: int) -> list[Message]:
        """Return what has arrived."""

    def done(self, message: Message) -> None:
        """Acknowledge a message."""

    def stop(self) -> None:
        """Leave."""


@dataclass
class Listener:
    """A broker and a cell; `listen` takes what has arrived and acknowledges what is committed."""

    folder: Path
    broker: Heard
    open_cell: Callable[[Path], Monitor]
    _monitor: Monitor | None = None
    _waiting: tuple[Message, ...] = ()
    _said: str | None = None

    @classmethod
    def of(
        cls,
        folder: Path,
        live: Live,
        open_cell: Callable[[Path], Monitor],
        *,
        user: str | None = None,
        password: str | None = None,
    ) -> Listener:
        """Return a listener to the broker that a sheet names, which begins to listen."""
        broker = Broker(live.mqtt, live.topic, client=live.client, user=user, password=password)
        broker.start()
        return cls(folder, broker, open_cell)

    def close(self) -> None:
        """Let go of broker and store; the broker keeps what is not acknowledged."""
        self.broker.stop()
        self._let_go()

    def _let_go(self) -> None:
        if self._monitor is not None:
            self._monitor.close()
            self._monitor = None

    def listen(self) -> Iterator[Received]:
        """Take the messages that have arrived; what the store refuses is kept and tried again."""
        away = self.broker.why_away
        if away is not None:
            self._waiting = ()  # not acknowledged: the broker sends it again
            yield from self._waits("broker", say("the broker {why}; it is tried again", why=away))
        if not self._waiting:
            self._waiting = tuple(self.broker.heard(most=MOST))
        if not self._waiting:
            return
        try:
            if self._monitor is None:
                self._monitor = self.open_cell(self.folder)
            for group in _groups(self._waiting):
                yield self._take(self._monitor, group)
        except CellmonError as refused:
            self._let_go()
            yield from self._waits("store", say("{why}; messages wait at the broker", why=refused))
            return
        self._waiting = ()
        if self._said is not None:
            self._said = None
            yield Received(what="back", about="broker", words=say("messages are taken again"))

    def _take(self, monitor: Monitor, group: Sequence[Message]) -> Received:
        raw, name = _joined(group), f"{group[0].topic.replace('/', '.')}.{_ending(group[0])}"
        [file] = monitor.take_bytes(raw, name=name).files
        if file.kind is None:
            self._keep(raw, name, words_of(file))
        for message in group:
            self.broker.done(message)
        self._waiting = tuple(m for m in self._waiting if m not in group)
        what = "set-aside" if file.kind is None else "taken"
        return Received(what=what, about=name, words=words_of(file), file=file)

    def _keep(self, raw: bytes, name: str, why: str) -> None:
        """Put messages of which nothing could be read where such files go, with the reason beside them."""
        into = self.folder / SET_ASIDE
        into.mkdir(exist_ok=True)
        path = into / f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}-{name}"
        path.write_bytes(raw)
        path.with_name(f"{path.name}.why.txt").write_text(f"{why}\n", encoding="utf-8")

    def _waits(self, about: str, words: str) -> Iterator[Received]:
        if self._said != words:
            self._said = words
            yield Received(what="waits", about=about, words=words)


def _groups(messages: Sequence[Message]) -> list[list[Message]]:
    """Put messages of one topic and the same columns together: many readings, one transaction."""
    found: dict[tuple[str, str | int], list[Message]] = {}
    for message in messages:
        head = _head(message)
        found.setdefault((message.topic, message.number if head is None else head), []).append(message)
    return list(found.values())


def _head(message: Message) -> str | None:
    """Return by what a message is joined to others; None where it could change how they are read.

    A quote left open may run into the next message, one that is not UTF-8 has all read as Latin-1, and
    objects of other names are rows of another kind.
    """
    try:
        text = message.payload.decode("utf-8")
        if _ending(message) == "jsonl":
            return LINES.decode() + _names(text)
    except (UnicodeDecodeError, orjson.JSONDecodeError):
        return None
    return None if '"' in text else text.split("\n", 1)[0].strip()


def _names(text: str) -> str:
    """Return the names that the objects of some JSON lines have, in one order."""
    objects = [orjson.loads(line) for line in text.splitlines() if line.strip()]
    return ",".join(sorted({name for one in objects if isinstance(one, dict) for name in one}))


def _joined(group: Sequence[Message]) -> bytes:
    if _ending(group[0]) == "jsonl":
        return b"\n".join(m.payload.strip() for m in group) + b"\n"
    head = group[0].payload.split(b"\n", 1)[0].strip()
    rows = [m.payload.split(b"\n", 1)[1].strip() for m in group if b"\n" in m.payload.strip()]
    return b"\n".join([head, *(r for r in rows if r)]) + b"\n"


def _ending(message: Message) -> str:
    return "jsonl" if message.payload.lstrip().startswith(LINES) else "csv"
