"""Serving the dashboard on this machine."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from ipaddress import ip_address
from typing import TYPE_CHECKING, Any

from cellmon.errors import CellmonError, WrongUsage

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

THREADS = 4


def serve(
    monitor: Monitor,
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    ready: Callable[[str], None] | None = None,
) -> None:
    """Serve the dashboard until stopped; `ready` is told the address once it answers.

    Raises
    ------
    WrongUsage
        When the host is not this machine alone.
    CellmonError
        When the port is taken.
    """
    server = listening(monitor, host, port)
    threading.Thread(target=warm, args=(monitor,), daemon=True).start()
    if ready:
        shown = f"[{host}]" if ":" in host else host
        ready(f"http://{shown}:{server.effective_port}/")
    server.run()


def warm(monitor: Monitor) -> None:
    """Work out what is solved once in a process: limits, and the price of other rules."""
    with suppress(CellmonError):
        monitor.alarms()


def listening(monitor: Monitor, host: str, port: int) -> Any:
    """Return a server bound to a port, 0 for a free one, that has not begun to answer."""
    if not is_loopback(host):
        raise WrongUsage(
            f"{host}: the dashboard answers on this machine only (127.0.0.1); "
            "serving to others waits for sign-in"
        )
    from waitress.server import create_server

    from dashboards.app import create_app

    app = create_app(monitor)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        bound = socket.create_server((host, port), family=family)
    except OSError as taken:
        raise CellmonError(f"cannot serve on {host} port {port}: {taken.strerror or taken}") from taken
    return create_server(app.server, sockets=[bound], threads=THREADS)


def is_loopback(host: str) -> bool:
    """Return whether a host name or address means this machine alone."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
