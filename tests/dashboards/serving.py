"""A server of the dashboard that runs beside a test, and is stopped by itself and not under its own feet.

A socket closed by another thread may be closed twice, and its number may by then be that of a file of the
store: a write then fails with a word about locks.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from waitress.channel import HTTPChannel

from cellmon.errors import CellmonError
from cellmon.monitor import Monitor
from dashboards.reached import Reached
from dashboards.serve import listening

LEFT: list[int] = []
"""Ports that a server of these tests has left, the last one last."""
ANEW: set[str] = set()
"""Addresses of those: what pages kept in a browser is another server's, until it is cleared there."""


@contextmanager
def dashboard(monitor: Monitor, *, how: Reached | None = None) -> Iterator[str]:
    """Serve a monitor where the dashboard before it was, and give its address.

    A browser keeps what it compiled of the scripts by address: at one it has not seen yet a page costs it
    twice as much.
    """
    with served(_bound(monitor, how)) as port:
        address = f"http://127.0.0.1:{port}"
        yield address
    LEFT.append(port)
    ANEW.add(address)


def _bound(monitor: Monitor, how: Reached | None) -> Any:
    while LEFT:
        with suppress(CellmonError):  # by now it may be another program's
            return listening(monitor, "127.0.0.1", LEFT.pop(), how=how)
    return listening(monitor, "127.0.0.1", 0, how=how)


@contextmanager
def served(server: Any) -> Iterator[int]:
    """Run a server that listens, and give its port."""
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    lines: dict[int, Any] = {}

    def leave() -> None:
        lines.update(server._map)
        server._map.clear()  # its loop ends when it has nobody to listen to

    try:
        yield int(server.effective_port)
    finally:
        server.trigger.pull_trigger(leave)  # there: a line that comes meanwhile is among them
        running.join()
        server.task_dispatcher.shutdown()
        for line in lines.values():
            closed = line.handle_close if isinstance(line, HTTPChannel) else line.close
            closed()  # a line with the files of answers that are longer than what it keeps in memory
