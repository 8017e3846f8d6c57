"""The demo cell: a folder with the week of the scenario taken, from sample files or made on the spot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cellmon
from cellmon.errors import WrongUsage
from cellmon.export.run_files import write_run
from cellmon.monitor.take import Taken
from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run
from cellmon.simulate.sheet_text import sheet_text

SAMPLES = Path(cellmon.__file__).resolve().parent.parent / "sample_runs"
FREEZER = "demo"
WHY = "demo: the first quiet subgroups of the week"
FIRST_DAY = f"{harrowmere_week().starts:%Y-%m-%d}"
"""Limits are frozen once this day is taken, as a cell would before it goes on."""


def make_demo(folder: Path, progress: Callable[[str], None] | None = None) -> Taken:
    """Make a cell folder, take the demo week, freezing limits after its first day; return what was taken.

    Raises
    ------
    WrongUsage
        When the folder already holds a cell: nothing is ever replaced.
    """
    if (folder / "cell.toml").exists():
        raise WrongUsage(f"{folder} already holds a cell; name another folder, or remove it first")
    files = _files(folder, progress or _say_nothing)
    monitor = cellmon.open_cell(folder)
    begins = [path for path in files if not path.name[:4].isdigit() or path.name[:10] == FIRST_DAY]
    first = monitor.take(begins, progress=progress)
    if progress is not None:
        progress("freezing limits")
    monitor.freeze(by=FREEZER, why=WHY)
    rest = monitor.take([path for path in files if path not in begins], progress=progress)
    monitor.close()
    return replace(rest, files=(*first.files, *rest.files))


def _say_nothing(_words: str) -> None:
    """Take the place of progress where nobody watches."""


def _files(folder: Path, progress: Callable[[str], None]) -> list[Path]:
    """Lay out the folder and return the week's files in the order in which a cell would send them."""
    inbox = folder / "inbox"
    for name in ("inbox", "taken", "set-aside", "reports"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    if (SAMPLES / "cell.toml").exists():
        text = (SAMPLES / "cell.toml").read_text(encoding="utf-8")
        found = [path for path in sorted(SAMPLES.iterdir()) if path.is_file() and _is_data(path)]
    else:
        progress("making the demo week")
        text = sheet_text()
        found = list(write_run(run(harrowmere_week(), seed=SEED), inbox))
    (folder / "cell.toml").write_text(text, encoding="utf-8")
    return sorted(found, key=_order)


def _is_data(path: Path) -> bool:
    return path.suffix in {".csv", ".tsv", ".xlsx", ".parquet", ".jsonl"}


def _order(path: Path) -> tuple[bool, bool, str]:
    """Logs of the cell first, then the readings by date, what was exported again after its original."""
    dated = path.name[:4].isdigit()
    return dated, "again" in path.name, path.name
