"""Rows of the benchmark that ask whether a history makes anything slower: batches taken, pages refreshed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import cellmon
from cellmon.monitor import Monitor
from cellmon.records import Kind
from tests.bench.clock import ROUNDS, Row, spent
from tests.bench.grown import grown_cell
from tests.bench.inputs import SIZES
from tests.bench.next_batch import next_batches, next_files, next_rows
from tests.bench.pages_of import refreshes

BATCH = 1000
FLAT = "1.2"
OTHERS = (
    ("24 audited figures", Kind.CHARACTERISTICS, 24),
    ("a finding", Kind.FINDINGS, 1),
    ("4,320 points of traces", Kind.TRACES, 4320),
)
OLD, NEW = "upper = 4.0", "upper = 4.2"
"""What the new version of the sheet says otherwise, of roundness."""


def batches(folder: Path, sizes: Sequence[str]) -> list[Row]:
    """A batch of a thousand bores, taken after so many; the least of five later takes of a process."""
    found = {size: _batch(folder, size) for size in sizes}
    return [
        Row(
            work=f"take a batch of {BATCH:,} bores after {SIZES[size]:,}",
            seconds=seconds,
            against=f"after {SIZES[sizes[0]]:,}",
            baseline=found[sizes[0]],
            wanted=FLAT,
        )
        for size, seconds in found.items()
    ]


def _batch(folder: Path, size: str) -> float:
    with _copied(folder, size) as monitor, tempfile.TemporaryDirectory(dir=folder) as name:
        file = next_files(monitor, Path(name), bores=BATCH)
        monitor.take([file()])  # what a process imports and works out once
        return min(spent(partial(monitor.take, [path])) for path in (file() for _ in range(ROUNDS)))


def others(folder: Path, sizes: Sequence[str]) -> Iterator[Row]:
    """What is taken beside bores, and a batch under a new version of the sheet, after so many bores."""
    first: dict[str, float] = {}
    for size in sizes:
        with _copied(folder, size) as monitor, tempfile.TemporaryDirectory(dir=folder) as name:
            found = dict(_others(monitor, Path(name)))
        first = first or found
        for work, seconds in found.items():
            yield Row(
                work=f"take {work} after {SIZES[size]:,}",
                seconds=seconds,
                against=f"after {SIZES[sizes[0]]:,}",
                baseline=first[work],
                wanted=FLAT,
            )


def _others(monitor: Monitor, folder: Path) -> Iterator[tuple[str, float]]:
    next_batches(monitor, folder)()  # what a process imports and works out once
    for work, kind, rows in OTHERS:
        path = next_rows(monitor, folder, kind, rows=rows)
        yield work, spent(partial(_take, monitor, path))
    sheet = monitor.folder / "cell.toml"
    text = sheet.read_text(encoding="utf-8")
    assert OLD in text
    sheet.write_text(text.replace(OLD, NEW), encoding="utf-8")
    path = next_files(monitor, folder, bores=BATCH)()
    yield "a batch under a new version of the sheet", spent(partial(_take, monitor, path))


def _take(monitor: Monitor, path: Path) -> None:
    taken = monitor.take([path]).files[0]
    if taken.taken != taken.rows or not taken.rows:
        raise SystemExit(f"of {taken.rows} rows of {path.name} {taken.taken} were taken")


def refreshed(folder: Path, sizes: Sequence[str]) -> Iterator[Row]:
    """Every page drawn anew after a batch was committed, with so many bores stored."""
    first: dict[str, float] = {}
    for size in sizes:
        with _copied(folder, size) as monitor, tempfile.TemporaryDirectory(dir=folder) as name:
            commit = next_batches(monitor, Path(name))
            refreshes(monitor, commit)  # what a process imports and works out once
            found = refreshes(monitor, commit)
        first = first or found
        for page, seconds in found.items():
            yield Row(
                work=f"page {page} after a batch of 48 bores, {SIZES[size]:,} stored",
                seconds=seconds,
                against=f"the same with {SIZES[sizes[0]]:,}",
                baseline=first[page],
                wanted=f"150 ms, {FLAT}",
            )


@contextmanager
def _copied(folder: Path, size: str) -> Iterator[Monitor]:
    """Yield a cell with so many bores that may be written into."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        shutil.copytree(grown_cell(folder, size), Path(name) / "cell")
        monitor = cellmon.open_cell(Path(name) / "cell")
        yield monitor
        monitor.close()
