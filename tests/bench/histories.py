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
from tests.bench.clock import ROUNDS, Row, spent
from tests.bench.grown import grown_cell
from tests.bench.inputs import SIZES
from tests.bench.next_batch import next_batches, next_files
from tests.bench.pages_of import refreshes

BATCH = 1000
FLAT = "1.2"


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
