"""The command `serve`: the dashboard, for this machine or, with sign-in, for others."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from cellmon.cli.arguments import address_arguments, as_of_argument, cell_argument, open_monitor
from cellmon.cli.logged import log_argument, start_log
from cellmon.cli.terminal import write
from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from dashboards.reached import Reached


def serve_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `serve`."""
    address_arguments(parser)
    parser.add_argument(
        "--sign-in",
        action="store_true",
        help="ask who people are on this machine too; others are always asked",
    )
    parser.add_argument(
        "--name",
        metavar="HOST",
        action="append",
        default=[],
        help="a host name by which people call it; addresses and this machine's own name need none",
    )
    parser.add_argument(
        "--proxy",
        metavar="ADDRESS",
        help="the address of the https proxy in front of it, whose word on visitors is taken",
    )
    log_argument(parser)
    cell_argument(parser)
    as_of_argument(parser)


def serve(args: argparse.Namespace) -> int:
    """Serve the dashboard until stopped."""
    from dashboards.reached import reached

    start_log(args.log)
    how = reached(args.host, sign_in=args.sign_in, names=tuple(args.name), proxy=args.proxy)
    return serve_monitor(open_monitor(args), host=args.host, port=args.port, how=how)


def serve_monitor(monitor: Monitor, *, host: str, port: int, how: Reached | None = None) -> int:
    """Serve the dashboard of a cell that is open."""
    from dashboards.reached import is_loopback, reached
    from dashboards.serve import serve as serve_dashboard

    how = how or reached(host)
    said = [say("Everybody signs in, with the accounts of `cellmon people`.")] if how.sign_in else []
    if how.proxy is None and not is_loopback(host):
        said.append(
            say("Passwords cross the network readable: put an https proxy in front (docs/security.md).")
        )
    shown = f"[{host}]" if ":" in host else host
    told = say("Dashboard: {address} (Ctrl-C stops it)", address=f"http://{shown}:{port}/")
    serve_dashboard(monitor, host, port, how=how, bound=lambda: write([told, *said]))
    return 0


def check_host(host: str) -> None:
    """Refuse every address but this machine's own, where nobody could be asked who they are."""
    from dashboards.reached import is_loopback

    if not is_loopback(host):
        text = to_say(
            "{host}: the demo is served on this machine only (127.0.0.1); `cellmon serve` serves others"
        )
        raise WrongUsage(say(text, host=host))
