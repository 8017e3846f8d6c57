"""Serving the dashboard: on this machine, or to others who sign in."""

from __future__ import annotations

import gc
import logging
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from typing import TYPE_CHECKING, Any

from cellmon import lengths
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say
from dashboards.kept import beside, kept
from dashboards.reached import Reached, reached

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

THREADS = 8  # every open page asks once a second, and one slow question must not keep them waiting
LARGEST_BODY = 128 * 2**20
"""Bytes of a request: a file laid on a page, and no more."""
RUBBISH = (50_000, 20, 100)
"""So many new things begin a search among the newest; so many searches one among older ones, and so on."""
BELIEVED = frozenset({"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"})


def serve(
    monitor: Monitor,
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    how: Reached | None = None,
    ready: Callable[[str], None] | None = None,
    bound: Callable[[], None] | None = None,
) -> None:
    """Serve the dashboard until stopped; `bound` is called once it can be reached, `ready` with the address.

    Raises
    ------
    WrongUsage
        When it asks people to sign in, and nobody could sign in and decide.
    CellmonError
        When the port is taken.
    """
    monitor = kept(monitor)
    server = listening(monitor, host, port, how=how)
    if bound:
        bound()
    look_seldom_for_rubbish()
    threading.Thread(target=warm, args=(monitor,), daemon=True).start()
    if ready:
        shown = f"[{host}]" if ":" in host else host
        ready(f"http://{shown}:{server.effective_port}/")
    server.run()


def look_seldom_for_rubbish() -> None:
    """Leave what the program is made of out of every search for what nobody needs, and search seldom.

    Years of rows are read as hundreds of thousands of small things, and every few hundred begin a search:
    together they took a fifth of the first answer of page Stones.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*RUBBISH)


def warm(monitor: Monitor) -> None:
    """Work out what every page begins with, all of Now first, and last rules and stones, which take longest.

    Whoever comes first finds the answers that a process would else work out while they wait; whoever comes
    before goes first and waits for none of it, but for the answer they ask for themselves.
    """
    from dashboards.first_said import BEGINS, first_said
    from dashboards.pages import claims, now, stones

    last = (claims.PATH, stones.PATH)  # they take longest to begin
    with beside(monitor) as apart, lengths.shown_in(apart.sheet.cell.lengths_shown):
        now.show_now(apart)
        for path in sorted(BEGINS, key=last.__contains__):
            first_said(apart, path)
        for question in (apart.alarms, apart.stone_picture):
            with suppress(CellmonError):
                question()


def listening(monitor: Monitor, host: str, port: int, *, how: Reached | None = None) -> Any:
    """Return a server bound to a port, 0 for a free one, that has not begun to answer."""
    how = how or reached(host)
    if how.sign_in and not monitor.may_serve():
        raise WrongUsage(
            say(
                "whoever comes in must sign in, and nobody could decide yet: "
                "first `cellmon people add NAME --role decide`"
            )
        )
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a page asks more at once than is answered
    from waitress.server import create_server

    from dashboards.app import create_app

    import_module("pandas")  # figures look at it as it stands, also while another thread half imported it
    app = create_app(monitor, how=how)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        bound = socket.create_server((host, port), family=family)
    except OSError as taken:
        why = taken.strerror or taken
        raise CellmonError(
            say("cannot serve on {host} port {port}: {why}", host=host, port=port, why=why)
        ) from taken
    trusted = {"trusted_proxy": how.proxy, "trusted_proxy_headers": BELIEVED} if how.proxy else {}
    return create_server(
        app.server,
        sockets=[bound],
        threads=THREADS,
        ident=None,
        max_request_body_size=LARGEST_BODY,
        clear_untrusted_proxy_headers=how.sign_in,  # else the gate refuses them
        **trusted,
    )
