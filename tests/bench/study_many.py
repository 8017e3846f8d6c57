"""How long a study of an archive of many cells takes, and how much memory: in one process or on workers.

    python -m tests.bench.many_cells ARCHIVE 50 1000000
    python -m tests.bench.study_many ARCHIVE --workers 2

Prints after each cell the seconds that passed, those of the processors, and the most memory a process held.
The archive is read once by pyarrow alone at the end, as what the work is held against.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from pathlib import Path
from typing import Any

from pyarrow import parquet

from cellmon.monitor.study import Study, study

AS_DOCUMENTED = {
    "OPENBLAS_NUM_THREADS": "1",
    "MALLOC_TRIM_THRESHOLD_": str(1 << 28),
    "MALLOC_MMAP_THRESHOLD_": str(1 << 28),
}
"""How docs/study.md starts workers; without the last two each array costs its pages anew."""


def used(_worker: Any = None) -> tuple[float, int]:
    """Return the processor's seconds of this process, and the most memory it held, MB."""
    found = resource.getrusage(resource.RUSAGE_SELF)
    return found.ru_utime + found.ru_stime, found.ru_maxrss // 1024


def on_workers(archive: Path, workers: int) -> Study:
    """Study an archive on a scheduler and workers of this machine."""
    import distributed

    os.environ |= AS_DOCUMENTED
    cluster_of: Any = distributed.LocalCluster
    client_of: Any = distributed.Client
    begun = time.perf_counter()
    with (
        cluster_of(
            n_workers=workers,
            threads_per_worker=1,
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": ":0"},
        ) as cluster,
        client_of(cluster.scheduler_address, set_as_default=False) as client,
    ):

        def told(line: str) -> None:
            seen = client.run(used).values()
            say_so(line, begun, sum(s for s, _ in seen), max(mb for _, mb in seen))

        return study(archive, scheduler=cluster.scheduler_address, progress=told)


def alone(archive: Path) -> Study:
    """Study an archive in this process."""
    begun = time.perf_counter()
    return study(archive, progress=lambda line: say_so(line, begun, *used()))


def say_so(line: str, begun: float, cpu: float, most: int) -> None:
    """Print what a cell has taken up to now."""
    print(f"{line}: {time.perf_counter() - begun:.0f} s, {cpu:.0f} s of processors, {most} MB", flush=True)


def main() -> None:
    """Study, then read the same files alone."""
    parser = argparse.ArgumentParser()
    parser.add_argument("archive", type=Path)
    parser.add_argument("--workers", type=int, default=0)
    given = parser.parse_args()
    found = on_workers(given.archive, given.workers) if given.workers else alone(given.archive)
    print(found.sentence)
    begun = used()[0]
    rows = sum(parquet.read_table(path).num_rows for path in given.archive.glob("*/day=*/bores.parquet"))
    print(f"pyarrow alone reads the {rows:,} rows in {used()[0] - begun:.1f} s of processors")


if __name__ == "__main__":
    main()
