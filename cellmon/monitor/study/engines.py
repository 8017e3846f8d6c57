"""Where a study is computed: in this process, or on a Dask scheduler and its workers.

Both compute the same tasks, a run of days each and then a cell, and put them together in order of time.
A worker that dies loses the tasks it held; the scheduler has others compute them anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from cellmon.errors import SchedulerRefused, WrongUsage
from cellmon.intake.archive import CellArchive
from cellmon.monitor.study.cell import CellStudy, study_cell
from cellmon.monitor.study.days import runs_of_days, study_days
from cellmon.words import say

PATIENCE_S = 20
"""Seconds until a scheduler that does not answer is given up."""
RETRIES = 3


def in_process(cells: Sequence[CellArchive]) -> Iterator[CellStudy]:
    """Study cell after cell here; no more than one cell is in memory."""
    for cell in cells:
        yield study_cell(cell, (study_days(cell, days) for days in runs_of_days(cell)))


def on_scheduler(cells: Sequence[CellArchive], url: str) -> Iterator[CellStudy]:
    """Study cells on the workers of a Dask scheduler, which must see the archive under the same path.

    Raises
    ------
    WrongUsage
        Without the extra `scale`.
    SchedulerRefused
        Where no scheduler answers, or a task kills one worker after another.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError as missing:
        raise WrongUsage(
            say("a scheduler needs the extra `scale`: pip install 'cellmon[scale]'")
        ) from missing
    try:
        client: Any = Client(url, timeout=PATIENCE_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as refused:
        raise SchedulerRefused(say("{url}: no scheduler answers", url=url)) from refused
    with client:
        asked = [_submit(client, cell) for cell in cells]
        try:
            for future in asked:
                yield future.result()
        except KilledWorker as refused:
            raise SchedulerRefused(
                say("{url}: a task killed every worker it was given to", url=url)
            ) from refused


def _submit(client: Any, cell: CellArchive) -> Any:
    """Hand a cell to the scheduler; not by what it is of, since an archive may be written anew."""
    submit = client.submit
    card = replace(cell, days={})  # a run of days is told which: a list of years would go with each errand
    days = [submit(study_days, card, run, pure=False, retries=RETRIES) for run in runs_of_days(cell)]
    return submit(study_cell, cell, days, pure=False, retries=RETRIES)
