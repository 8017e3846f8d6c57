"""Rows of the benchmark that ask whether a history makes anything slower: batches taken, pages refreshed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from itertools import product
from pathlib import Path

import cellmon
from cellmon.monitor import Monitor
from cellmon.records import Kind
from tests.bench.clock import Row, spent
from tests.bench.grown import grown_cell
from tests.bench.inputs import SIZES
from tests.bench.next_batch import a_finding, next_batches, next_files, next_rows, rows_again
from tests.bench.pages_of import refreshes

BATCH, BATCHES = 1000, 12
FLAT = "1.2"
OTHERS = (
    ("24 audited figures", next_rows, Kind.CHARACTERISTICS, 24),
    ("a finding", next_rows, Kind.FINDINGS, 1),
    ("4,320 points of traces", next_rows, Kind.TRACES, 4320),
    ("4,320 points of blocks traced a shift before", rows_again, Kind.TRACES, 4320),
)
Measured = Callable[[Monitor, Path], Iterator[tuple[str, float]]]
MANY = 8
"""Findings of the same kind in one shift, beyond chance by far."""
SHEETS = (
    ("a batch under a new version of the sheet", "upper = 4.0", "upper = 4.2"),
    ("a batch under a new allowance of false alarms", "per_week = 2.0", "per_week = 1.9"),
)
"""What a version of the sheet says otherwise: of roundness, then of all limits."""


def batches(folder: Path, sizes: Sequence[str]) -> list[Row]:
    """A batch of a thousand bores, taken after so many, by turns; the least of some of one process.

    A batch is judged with the rest of its shift: they are more than two shifts hold.
    """
    with ExitStack() as cells, tempfile.TemporaryDirectory(dir=folder) as name:
        found: dict[str, list[float]] = {size: [] for size in sizes}
        works = {size: _next_batch(cells.enter_context(_copied(folder, size)), Path(name)) for size in sizes}
        for _, (size, take) in product(range(1 + BATCHES), works.items()):
            found[size].append(take())
    least = {size: min(seconds[1:]) for size, seconds in found.items()}  # the first imports and works out
    return [
        Row(
            work=f"take a batch of {BATCH:,} bores after {SIZES[size]:,}",
            seconds=seconds,
            against=f"after {SIZES[sizes[0]]:,}",
            baseline=least[sizes[0]],
            wanted=FLAT,
        )
        for size, seconds in least.items()
    ]


def _next_batch(monitor: Monitor, folder: Path) -> Callable[[], float]:
    """Return what takes the next batch and says how long that took; its file is written before."""
    within = folder / monitor.folder.parent.name
    within.mkdir()
    file = next_files(monitor, within, bores=BATCH)

    def take() -> float:
        path = file()
        return spent(partial(monitor.take, [path]))

    return take


def others(folder: Path, sizes: Sequence[str]) -> Iterator[Row]:
    """What is taken beside bores, and a batch under new versions of the sheet, after so many bores.

    The limits of a new allowance are worked out for the first of the cells; the process keeps them.
    """
    return _each(folder, sizes, _others, work="take {} after {:,}", against="after {:,}", wanted=FLAT)


def _each(
    folder: Path, sizes: Sequence[str], measure: Measured, *, work: str, against: str, wanted: str
) -> Iterator[Row]:
    """Yield what is measured of each cell, by turns, against the first of them."""
    with ExitStack() as stack:
        found = []
        for size in sizes:
            monitor = stack.enter_context(_copied(folder, size))
            own = stack.enter_context(tempfile.TemporaryDirectory(dir=folder))
            found.append(measure(monitor, Path(own)))
        for each in zip(*found, strict=True):
            for size, (what, seconds) in zip(sizes, each, strict=True):
                yield Row(
                    work=work.format(what, SIZES[size]),
                    seconds=seconds,
                    against=against.format(SIZES[sizes[0]]),
                    baseline=each[0][1],
                    wanted=wanted,
                )


def _others(monitor: Monitor, folder: Path) -> Iterator[tuple[str, float]]:
    next_batches(monitor, folder)()  # what a process imports and works out once
    for work, write, kind, rows in OTHERS:
        path = write(monitor, folder, kind, rows=rows)
        yield work, spent(partial(_take, monitor, path))
    for i in range(MANY):
        path = a_finding(monitor, folder, f"P{i}")
        took = spent(partial(_take, monitor, path))
    yield f"a finding, the {MANY}th of a shift, beyond chance", took
    write_file = next_files(monitor, folder, bores=BATCH)
    for work, old, new in SHEETS:
        _adopt(monitor, old, new)  # until then it judges nothing
        yield work, spent(partial(_take, monitor, write_file()))


def _adopt(monitor: Monitor, old: str, new: str) -> None:
    """Put a changed sheet in force."""
    sheet = monitor.folder / "cell.toml"
    text = sheet.read_text(encoding="utf-8")
    assert old in text
    sheet.write_text(text.replace(old, new), encoding="utf-8")
    monitor.adopt(by="R. Hale", why="of the new drawing")


def _take(monitor: Monitor, path: Path) -> None:
    taken = monitor.take([path]).files[0]
    if taken.taken != taken.rows or not taken.rows:
        raise SystemExit(f"of {taken.rows} rows of {path.name} {taken.taken} were taken")


def refreshed(folder: Path, sizes: Sequence[str]) -> Iterator[Row]:
    """Every page drawn anew after a batch was committed, with so many bores stored."""
    work = "page {} after a batch of 48 bores, {:,} stored"
    return _each(folder, sizes, _refreshed, work=work, against="the same with {:,}", wanted=f"150 ms, {FLAT}")


def _refreshed(monitor: Monitor, folder: Path) -> Iterator[tuple[str, float]]:
    commit = next_batches(monitor, folder)
    refreshes(monitor, commit)  # what a process imports and works out once
    yield from refreshes(monitor, commit).items()


@contextmanager
def _copied(folder: Path, size: str) -> Iterator[Monitor]:
    """Yield a cell with so many bores that may be written into."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        shutil.copytree(grown_cell(folder, size), Path(name) / "cell")
        monitor = cellmon.open_cell(Path(name) / "cell")
        yield monitor
        monitor.close()
