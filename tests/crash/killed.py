"""Work that is killed at a random moment, in a process of its own."""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import cellmon
from cellmon.monitor import Monitor

Work = Callable[[], object]


@dataclass(frozen=True, kw_only=True)
class Ended:
    """How a child ended, and after how long."""

    killed: bool
    seconds: float


def run_in_child(work: Work, *, kill_after_s: float | None = None) -> Ended:
    """Do work in a child; SIGKILL it after a while, as a power cut would, or let it end.

    The parent must hold no store open: a connection does not survive a fork.
    """
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert not (os.WIFEXITED(status) and os.WEXITSTATUS(status)), "the work failed by itself"
    return Ended(killed=os.WIFSIGNALED(status), seconds=time.monotonic() - began)


def moments(n: int, *, longest_s: float, seed: int) -> Iterator[float]:
    """Yield moments to kill at, some after the work is done."""
    draw = random.Random(seed)
    for _ in range(n):
        yield draw.uniform(0.0, 1.15 * longest_s)


def with_cell(folder: Path, do: Callable[[Monitor], object]) -> Work:
    """Return work that opens the cell and does one thing with it."""

    def work() -> object:
        monitor = cellmon.open_cell(folder)
        found = do(monitor)
        monitor.close()
        return found

    return work


def readings_of(monitor: Monitor) -> int:
    """Return how many readings the store holds."""
    with monitor._store.reading() as session:
        found = session.readings_between(np.datetime64("2000-01-01", "us"), np.datetime64("2100-01-01", "us"))
    return 0 if found is None else int(np.isfinite(found.readings.um).sum())
