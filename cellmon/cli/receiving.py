"""The command that takes what arrives: receive."""

from __future__ import annotations

import argparse
import logging
import os
import signal
import sys
import time
from collections.abc import Iterator
from datetime import datetime
from threading import Event, Thread
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from cellmon.cli.arguments import cell_argument
from cellmon.cli.logged import log_argument, start_log
from cellmon.cli.terminal import clean
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor.receive import Received
    from cellmon.sheet import Sheet

LOG = logging.getLogger("cellmon.receive")
LOOK_MS = 1000
"""How often the inbox is looked at where nothing tells of a change: shares seldom do."""
HAPPENED = {
    "taken": to_say("taken"),
    "set-aside": to_say("set-aside"),
    "waits": to_say("waits"),
    "back": to_say("back"),
}


def receive_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `receive`."""
    cell_argument(parser)
    parser.add_argument("--once", action="store_true", help="take what is there, then end")
    parser.add_argument("--json", action="store_true", help="a line of JSON for each thing that happens")
    log_argument(parser)


def receive(args: argparse.Namespace) -> int:
    """Take what arrives in the inbox until stopped."""
    import cellmon
    from cellmon.monitor.receive import INBOX, Receiver

    start_log(args.log)
    monitor = cellmon.open_cell(args.cell)  # a cell that cannot be opened is refused at once, not waited for
    sheet = monitor.on_disk.sheet
    monitor.close()
    stop = Event()
    for which in (signal.SIGTERM, signal.SIGINT):
        signal.signal(which, lambda *_: stop.set())
    receiver = Receiver(args.cell, cellmon.open_cell)
    listening = None if args.once else _listening(args, sheet, stop)
    for _ in _moments(args.cell / INBOX, stop):
        for one in receiver.look(time.monotonic()):
            _say(one, as_json=args.json)
            if stop.is_set():
                break
        if args.once and not receiver.is_busy:
            break
    receiver.close()
    if listening is not None:
        listening.join()
    return 0


def _listening(args: argparse.Namespace, sheet: Sheet, stop: Event) -> Thread | None:
    """Listen to the broker that the sheet names, beside the inbox; None where it names none."""
    if sheet.live is None:
        return None
    import cellmon
    from cellmon.monitor.listen import Listener

    listener = Listener.of(
        args.cell,
        sheet.live,
        cellmon.open_cell,
        user=os.environ.get("CELLMON_MQTT_USER"),
        password=os.environ.get("CELLMON_MQTT_PASSWORD"),
    )

    def listen() -> None:
        while not stop.is_set():
            for one in listener.listen():
                _say(one, as_json=args.json)
        listener.close()

    thread = Thread(target=listen, name="broker")
    thread.start()
    return thread


def _moments(inbox: object, stop: Event) -> Iterator[None]:
    """Yield whenever the inbox may have changed, at least every second, until told to stop."""
    from watchfiles import watch

    while not stop.is_set():
        yield
        try:
            for _ in watch(
                str(inbox),
                stop_event=stop,
                rust_timeout=LOOK_MS,
                yield_on_timeout=True,
                raise_interrupt=False,
                recursive=False,
            ):
                yield
        except (OSError, RuntimeError):  # the folder is not there now
            stop.wait(LOOK_MS / 1000)


def _say(one: Received, *, as_json: bool) -> None:
    _log(one)
    at = datetime.now().astimezone()
    if as_json:
        from cellmon.export.documents import as_json as lines
        from cellmon.export.documents import document

        zone = ZoneInfo("UTC")
        sys.stdout.write(lines({"at": at.isoformat(), **document(one, zone=zone)}, indent=False).decode())
    else:
        sys.stdout.write(clean(f"{at:%Y-%m-%d %H:%M:%S} {say(HAPPENED[one.what])} {one.words}") + "\n")
    sys.stdout.flush()


def _log(one: Received) -> None:
    grave = logging.INFO if one.what in ("taken", "back") else logging.WARNING
    told = {"what": one.what, "about": one.about, "seconds": None if one.file is None else one.file.seconds}
    LOG.log(grave, "%s", one.words, extra=told)
