"""The table of docs/benchmarks.md, measured anew.

python -m tests.bench                            # every row, files of a million readings
python -m tests.bench features take              # some rows
python -m tests.bench read take --sizes 10k 100k 1m
python -m tests.bench batches others refreshes --sizes 10k 100k 1m 10m     # bores stored; ten million: 3 GB
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.bench import histories, kernels, whole
from tests.bench.clock import Row, machine
from tests.bench.inputs import SIZES

HEAD = "| work | measured | against | ratio | wanted |\n| --- | --- | --- | --- | --- |"
ARRAYS: dict[str, Callable[[int], list[Row]]] = {
    "features": kernels.features,
    "subgroups": kernels.subgroups,
    "series": kernels.series,
}
"""Of which bores or points a size says how many; ten million unless asked."""
FILES = {"read": whole.reading, "take": whole.taking}
"""Of which readings; a million unless asked."""
HISTORIES = {"batches": histories.batches, "others": histories.others, "refreshes": histories.refreshed}
"""With so many bores stored; ten thousand and a million unless asked."""
SINGLE = {"circle": kernels.circle, "limits": kernels.limits}
ON_DEMO = {"pages": whole.pages, "commands": whole.commands}
ROWS = (*ARRAYS, *SINGLE, *FILES, *ON_DEMO, *HISTORIES)


def main() -> None:
    """Print the rows asked for as they are measured."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("rows", nargs="*", metavar="row", help=f"of {', '.join(ROWS)}; all without one")
    parser.add_argument("--sizes", nargs="+", choices=SIZES, help="readings of files, values of arrays")
    parser.add_argument(
        "--folder", type=Path, default=Path("/tmp/cellmon-bench"), help="where inputs are kept"
    )
    asked = parser.parse_args()
    unknown = set(asked.rows) - set(ROWS)
    if unknown:
        parser.error(f"no such row: {', '.join(sorted(unknown))}")
    asked.folder.mkdir(parents=True, exist_ok=True)
    print(f"Machine: {machine()}.\n\n{HEAD}", flush=True)
    for name in asked.rows or ROWS:
        for row in rows_of(name, asked.folder, asked.sizes):
            print(row.line(), flush=True)


def rows_of(name: str, folder: Path, sizes: list[str] | None) -> Iterator[Row]:
    """Yield the lines of one row, one after another size."""
    if name in ARRAYS:
        for size in sizes or ["10m"]:
            yield from ARRAYS[name](SIZES[size])
    elif name in FILES:
        for size in sizes or ["1m"]:
            yield from FILES[name](folder, size)
    elif name in HISTORIES:
        yield from HISTORIES[name](folder, sizes or ["10k", "1m"])
    elif name in SINGLE:
        yield from SINGLE[name]()
    else:
        yield from ON_DEMO[name](folder)


if __name__ == "__main__":
    main()
