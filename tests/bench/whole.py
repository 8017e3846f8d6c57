"""Rows of the benchmark: files read and taken, pages drawn, whole commands."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import pandas as pd
from pyarrow import csv

import cellmon
from cellmon.intake import read_file
from cellmon.simulate.sheet_text import sheet_text
from tests.bench import inputs, pandas_script
from tests.bench.clock import Child, Row, by_turns, child
from tests.bench.next_batch import next_batches
from tests.bench.pages_of import refreshes
from tests.monitor.judge.making import demo_sheet

PAGE_WANTED = "150 ms"


def reading(folder: Path, size: str) -> list[Row]:
    """A readings file parsed and checked row by row, nothing stored."""
    path, sheet = inputs.readings_file(folder, size), demo_sheet()
    ours, bare, arrow = by_turns(
        lambda: read_file(path, sheet), lambda: pd.read_csv(path), lambda: csv.read_csv(path), rounds=3
    )
    work = f"read and check a file of {inputs.SIZES[size]:,} readings"
    return [
        Row(work=work, seconds=ours, against="pandas' bare read", baseline=bare),
        Row(work="the same", seconds=ours, against="pyarrow's bare read", baseline=arrow),
    ]


def taking(folder: Path, size: str) -> list[Row]:
    """The same file taken into an empty cell: stored, judged, signals put together."""
    path = inputs.readings_file(folder, size)

    def take() -> None:
        with tempfile.TemporaryDirectory(dir=folder) as name:
            (Path(name) / "cell.toml").write_text(sheet_text(), encoding="utf-8")
            monitor = cellmon.open_cell(Path(name))
            taken = monitor.take([path]).files[0]
            monitor.close()
            if taken.rows != taken.taken:
                raise SystemExit(f"{taken.rows - taken.taken} rows were set aside")

    ours, bare, script = by_turns(
        take, lambda: pd.read_csv(path), lambda: pandas_script.limits(str(path)), rounds=3
    )
    work = (
        f"take a file of {inputs.SIZES[size]:,} readings: committed, features, subgroups, detectors, signals"
    )
    return [
        Row(work=work, seconds=ours, against="pandas' bare read", baseline=bare, wanted="6"),
        Row(work="the same", seconds=ours, against="tests/bench/pandas_script.py", baseline=script),
    ]


def pages(folder: Path) -> list[Row]:
    """What each page asks and draws once one more batch of bores was committed, on the demo week."""
    bare = child(_PANDAS).seconds
    with tempfile.TemporaryDirectory(dir=folder) as name:
        shutil.copytree(inputs.demo_cell(folder), Path(name) / "cell")
        monitor = cellmon.open_cell(Path(name) / "cell")
        commit = next_batches(monitor, Path(name))
        refreshes(monitor, commit)  # what a process imports and works out once
        found = refreshes(monitor, commit)
        monitor.close()
    work = "page {} on the demo week, after a batch of 48 bores was committed"
    return [
        Row(work=work.format(name), seconds=s, against=_IMPORT, baseline=bare, wanted=PAGE_WANTED)
        for name, s in found.items()
    ]


def commands(folder: Path) -> list[Row]:
    """Whole commands: processor time and most memory of the child."""
    cell = str(inputs.demo_cell(folder))
    bare = child(_PANDAS)
    found = []
    for words, wanted in ((["--help"], "0.3 s"), (["state", "--cell", cell], "1.5 s")):
        took = child([*_CELLMON, *words])
        found.append(_command(f"`cellmon {words[0]}`", took, bare, wanted))
    with tempfile.TemporaryDirectory(dir=folder) as name:
        took = child([*_CELLMON, "demo", f"{name}/demo", "--no-serve"], rounds=1)
    found.append(_command("`cellmon demo --no-serve`", took, bare, "20 s, 600 MB"))
    return found


def _command(work: str, took: Child, bare: Child, wanted: str) -> Row:
    return Row(
        work=work,
        seconds=took.seconds,
        against=f"{_IMPORT} ({bare.megabytes:.0f} MB)",
        baseline=bare.seconds,
        wanted=wanted,
        besides=f"{took.megabytes:.0f} MB",
    )


_CELLMON = [sys.executable, "-m", "cellmon"]
_PANDAS = [sys.executable, "-c", "import pandas"]
_IMPORT = '`python -c "import pandas"`'
