"""Programs that use one cell at the same time, each a process of its own, split off from that of the tests.

What they need is imported once and not by each of them: that took longer than their work. Each ends by itself
and says on standard output, as JSON, what it did; what was refused it says and goes on.
"""

from __future__ import annotations

import json
import multiprocessing
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import cellmon
from cellmon.cli.main import main
from cellmon.errors import CellmonError, WrongUsage

SPLIT_OFF = multiprocessing.get_context("fork")
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
    """Mark every signal as seen and decide every doubt, again and again, until there is a file.

    Takers may end as soon as the first signal is there: then it is seen after them.
    """
    monitor, done = cellmon.open_cell(cell), False
    while going(until) or (not done and in_time()):
        for signal in monitor.signals().signals[:3]:
            monitor.respond(signal.id, by=who, seen=True)
            done = True
            yield 1
        for flag in monitor.flags().flags[:3]:
            monitor.correct(flag.id, accept=False, by=who, why="as read")
            done = True
            yield 1
        time.sleep(PAUSE_S)
    monitor.close()


def freeze(cell: Path, who: str, until: str) -> Iterator[int]:
    """Freeze limits again and again, as soon as there is anything to freeze."""
    monitor, done = cellmon.open_cell(cell), False
    while going(until) or (not done and in_time()):
        try:
            monitor.freeze(by=who, why="at once")
            done = True
            yield 1
        except WrongUsage:  # too few subgroups yet
            pass
        time.sleep(2 * PAUSE_S)
    monitor.close()


def read(cell: Path, until: str) -> Iterator[int]:
    """Ask what a dashboard asks; every file is seen whole."""
    monitor = cellmon.open_cell(cell)
    before = 0
    for _ in turns(until):
        bores = len(monitor.bores().bores)
        assert bores >= before
        monitor.state(), monitor.signals(), monitor.now()
        before = bores
        yield bores
        time.sleep(PAUSE_S)
    monitor.close()


def export(cell: Path, until: str) -> Iterator[int]:
    """Write every bore into a table again and again."""
    for number in turns(until):
        target = cell.parent / f"exported-{number}.csv"
        with redirect_stdout(StringIO()):
            assert main(["export", "bores", "--to", "csv", "--cell", str(cell), "--out", str(target)]) == 0
        yield len(target.read_text(encoding="utf-8").splitlines())
        time.sleep(PAUSE_S)


def back_up(cell: Path, until: str) -> Iterator[int]:
    """Write backups until told to stop."""
    monitor = cellmon.open_cell(cell)
    for number in turns(until):
        yield monitor.back_up(cell.parent / f"backup-{number}.cell").rows
        time.sleep(PAUSE_S)
    monitor.close()


WORKS: dict[str, Callable[..., Iterator[int]]] = {
    work.__name__: work for work in (take, decide, freeze, read, export, back_up)
}


def turns(until: str) -> Iterator[int]:
    """Count turns until a file is there, one at least: others may have ended before this one began."""
    yield 0
    number = 1
    while going(until):
        yield number
        number += 1


def going(until: str) -> bool:
    """Return whether to go on: until a file is there, and never for ever."""
    return not Path(until).exists() and in_time()


def in_time() -> bool:
    """Return whether this program may still run."""
    return time.monotonic() < began + LONGEST_S


began = 0.0
"""When this program began."""


def run(name: str, cell: str, *given: str) -> dict[str, object]:
    """Do one work and return what it did, and what was refused."""
    global began  # noqa: PLW0603
    began = time.monotonic()
    done: list[int] = []
    try:
        done.extend(WORKS[name](Path(cell), *given))
    except CellmonError as refusal:
        return {"done": done, "refused": str(refusal)}
    return {"done": done, "refused": None}


class Program:
    """One of them, asked for what it said as a `subprocess.Popen` is.

    The process of the tests must hold no store open as it starts: a connection does not survive.
    """

    def __init__(self, beside: Path, *given: str) -> None:
        self._said, self._wrong = beside.with_suffix(".out"), beside.with_suffix(".err")
        self._process = SPLIT_OFF.Process(target=say, args=(self._said, self._wrong, *given))
        self._process.start()

    def communicate(self, timeout: float | None = None) -> tuple[str, str]:
        """Wait until it has ended by itself, and return what it said and what went wrong."""
        self._process.join(timeout)
        assert not self._process.is_alive(), "it does not come to its end"
        return self._said.read_text(encoding="utf-8"), self._wrong.read_text(encoding="utf-8")

    @property
    def returncode(self) -> int | None:
        """How it ended."""
        return self._process.exitcode

    def kill(self) -> None:
        """End it at once."""
        self._process.kill()


def say(said: Path, wrong: Path, *given: str) -> None:
    """Do one work; write what it did into a file, and what goes wrong into another."""
    with said.open("w", encoding="utf-8") as sys.stdout, wrong.open("w", encoding="utf-8") as sys.stderr:
        try:
            sys.stdout.write(json.dumps(run(*given)) + "\n")
        except BaseException:
            traceback.print_exc()
            raise
