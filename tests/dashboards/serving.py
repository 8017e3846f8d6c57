"""A server of the dashboard that runs beside a test, and is stopped by itself and not under its own feet.

A socket closed by another thread may be closed twice, and its number may by then be that of a file of the
store: a write then fails with a word about locks.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def served(server: Any) -> Iterator[int]:
    """Run a server that listens, and give its port."""
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    try:
        yield int(server.effective_port)
    finally:
        lines = dict(server._map)
        server.trigger.pull_trigger(server._map.clear)  # its loop ends when it has nobody to listen to
        running.join()
        server.task_dispatcher.shutdown()
        for line in lines.values():
            line.close()
