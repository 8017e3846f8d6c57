"""Programs that use one cell at the same time, each a process of its own: `python -m tests.monitor.at_once`.

Each ends by itself and says on standard output, as JSON, what it did; what was refused it says and goes on.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import cellmon
from cellmon.errors import CellmonError, WrongUsage

LONGEST_S = 300.0
PAUSE_S = 0.2
"""Between what people and pages do; takers never pause."""


def take(cell: Path, *names: str) -> Iterator[int]:
    """Take files one by one, each by a monitor that stays open."""
    monitor = cellmon.open_cell(cell)
    for name in names:
        [file] = monitor.take([name]).files
        yield file.taken + file.known
    monitor.close()


def decide(cell: Path, who: str, until: str) -> Iterator[int]:
    """Mark every signal as seen and decide every doubt, again and again, until there is a file."""
    monitor = cellmon.open_cell(cell)
    while going(until):
        for signal in monitor.signals().signals[:3]:
            monitor.respond(signal.id, by=who, seen=True)
            yield 1
        for flag in monitor.flags().flags[:3]:
            monitor.correct(flag.id, accept=False, by=who, why="as read")
            yield 1
        time.sleep(PAUSE_S)
    monitor.close()


def freeze(cell: Path, who: str, until: str) -> Iterator[int]:
    """Freeze limits again and again, as soon as there is anything to freeze."""
    monitor = cellmon.open_cell(cell)
    while going(until):
        try:
            monitor.freeze(by=who, why="at once")
            yield 1
        except WrongUsage:  # too few subgroups yet
            pass
        time.sleep(2 * PAUSE_S)
    monitor.close()


def read(cell: Path, until: str) -> Iterator[int]:
    """Ask what a dashboard asks; every file is seen whole."""
    monitor = cellmon.open_cell(cell)
    before = 0
    while going(until):
        bores = len(monitor.bores().bores)
        assert bores >= before
        monitor.state(), monitor.signals(), monitor.now()
        before = bores
        yield bores
        time.sleep(PAUSE_S)
    monitor.close()


def export(cell: Path, until: str) -> Iterator[int]:
    """Write every bore into a table again and again."""
    from cellmon.cli.main import main

    number = 0
    while going(until):
        target = cell.parent / f"exported-{number}.csv"
        with redirect_stdout(StringIO()):
            assert main(["export", "bores", "--to", "csv", "--cell", str(cell), "--out", str(target)]) == 0
        yield len(target.read_text(encoding="utf-8").splitlines())
        number += 1
        time.sleep(PAUSE_S)


def back_up(cell: Path, until: str) -> Iterator[int]:
    """Write backups until told to stop."""
    monitor = cellmon.open_cell(cell)
    number = 0
    while going(until):
        yield monitor.back_up(cell.parent / f"backup-{number}.cell").rows
        number += 1
        time.sleep(PAUSE_S)
    monitor.close()


WORKS: dict[str, Callable[..., Iterator[int]]] = {
    work.__name__: work for work in (take, decide, freeze, read, export, back_up)
}


def going(until: str) -> bool:
    """Return whether to go on: until a file is there, and never for ever."""
    return not Path(until).exists() and time.monotonic() < BEGAN + LONGEST_S


BEGAN = time.monotonic()


def run(name: str, cell: str, *given: str) -> dict[str, object]:
    """Do one work and return what it did, and what was refused."""
    done: list[int] = []
    try:
        done.extend(WORKS[name](Path(cell), *given))
    except CellmonError as refusal:
        return {"done": done, "refused": str(refusal)}
    return {"done": done, "refused": None}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(run(*sys.argv[1:])) + "\n")
