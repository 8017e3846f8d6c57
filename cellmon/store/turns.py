"""Whose turn it is to write: writers of one SQLite file wait in a line, first come, first served.

SQLite gives its lock to whoever asks at the right moment, so with several busy writers one may wait for a
minute and more. Here each takes the next number of a file beside the store, holds a lock on the byte of that
number until it has written, and waits for the byte before. The system takes back the locks of a program
that dies, so nobody waits for the dead. Where the system has no such locks there is no line, and SQLite's
own waiting holds.

References
----------
Magnusson, Landin and Hagersten, "Queue locks on cache coherent multiprocessors", 1994 (each waits for the one
before it), from memory; fcntl(2), "Open file description locks".
"""

from __future__ import annotations

import os
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl = None  # type: ignore[assignment]

LOOK_S = 0.004
"""So often somebody who waits looks whether the one before is done."""
COUNTER = 8
"""Bytes of the file: the number given out last. The byte under number 0 guards them."""
GUARD = 0


class NotYet(Exception):
    """The one before has not written in time."""


@contextmanager
def in_line(database: Path, *, wait_s: float) -> Iterator[None]:
    """Wait until those who came before have written, and keep those who come after waiting.

    Raises
    ------
    NotYet
        When the one before was not done in time.
    """
    line = _opened(database)
    if line is None:
        yield
        return
    try:
        place = _next_place(line)
        if place is not None:
            _wait_for(line, place - 1, until=time.monotonic() + wait_s)
        yield
    finally:
        os.close(line)  # gives up its place


def _opened(database: Path) -> int | None:
    """Open the line of a store; None where there can be none."""
    if fcntl is None or not hasattr(fcntl, "F_OFD_SETLK"):
        return None
    try:
        how = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC
        return os.open(database.with_name(f"{database.name}-line"), how, 0o666)
    except OSError:
        return None


def _next_place(line: int) -> int | None:
    """Take the next number and hold its byte; None where this file system keeps no locks."""
    try:
        _lock(line, GUARD, fcntl.F_OFD_SETLKW)
        place = int.from_bytes(os.pread(line, COUNTER, 0), "big") + 1
        _lock(line, place, fcntl.F_OFD_SETLK)
        os.pwrite(line, place.to_bytes(COUNTER, "big"), 0)
        _lock(line, GUARD, fcntl.F_OFD_SETLK, free=True)
    except OSError:
        return None
    return place


def _wait_for(line: int, place: int, *, until: float) -> None:
    """Return once nobody holds a number any more; the first of all waits for nobody."""
    while place > 0:
        try:
            _lock(line, place, fcntl.F_OFD_SETLK)
        except BlockingIOError:
            if time.monotonic() > until:
                raise NotYet from None
            time.sleep(LOOK_S)
        else:
            return


def _lock(line: int, place: int, how: int, *, free: bool = False) -> None:
    kind = fcntl.F_UNLCK if free else fcntl.F_WRLCK
    fcntl.fcntl(line, how, struct.pack("hhqqi4x", kind, os.SEEK_SET, place, 1, 0))
