"""The study of an archive: every cell in it, and in a sentence how they stand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cellmon import local
from cellmon.errors import NotFound
from cellmon.intake.archive import cells_in
from cellmon.monitor.signals import WAITING
from cellmon.monitor.study.cell import CellStudy
from cellmon.monitor.study.engines import in_process, on_scheduler
from cellmon.words import say, say_many


@dataclass(frozen=True, kw_only=True)
class Study:
    """All cells of an archive, in order of their folders."""

    sentence: str
    cells: tuple[CellStudy, ...]


def study(
    archive: Path,
    *,
    scheduler: str | None = None,
    cell: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> Study:
    """Study an archive of bores; `scheduler` is the URL of a Dask scheduler, else this process does it.

    The answer is the same to the last digit, whoever computes it.

    Raises
    ------
    FileUnreadable, NotFound
        Where there is no archive, or no such cell in it.
    WrongUsage, SchedulerRefused
        See `engines.on_scheduler`.
    """
    cells = [one for one in cells_in(archive) if cell in (None, one.name)]
    if not cells:
        raise NotFound(say("no cell {cell} in {archive}", cell=str(cell), archive=str(archive)))
    found = []
    for one in in_process(cells) if scheduler is None else on_scheduler(cells, scheduler):
        found.append(one)
        if progress is not None:
            progress(say("{cell} studied", cell=one.cell))
    return Study(sentence=_sentence(found), cells=tuple(found))


def _sentence(cells: list[CellStudy]) -> str:
    known = [
        (one.ppk.value, cell.cell, str(one.stream))
        for cell in cells
        for one in cell.streams
        if one.ppk is not None and one.ppk.value is not None
    ]
    said = say_many(
        "{count} cell: {bores} bores, {subgroups} subgroups in {streams} streams.",
        "{count} cells: {bores} bores, {subgroups} subgroups in {streams} streams.",
        len(cells),
        bores=local.number(sum(cell.bores for cell in cells)),
        subgroups=local.number(sum(cell.subgroups for cell in cells)),
        streams=local.number(sum(len(cell.streams) for cell in cells)),
    )
    signals = [one for cell in cells for one in cell.signals if one.state != "withdrawn"]
    said += " " + say_many(
        "{count} signal, {waiting} without an answer; {sets} stone sets fitted.",
        "{count} signals, {waiting} without an answer; {sets} stone sets fitted.",
        len(signals),
        waiting=local.number(sum(one.state in WAITING for one in signals)),
        sets=local.number(sum(one.state == "fitted" for cell in cells for one in cell.stones)),
    )
    if not known:
        return said
    ppk, cell_name, stream = min(known)
    worst = say(
        "The least Ppk is {ppk}: {cell}, {stream}.", ppk=local.number(ppk, 2), cell=cell_name, stream=stream
    )
    return f"{said} {worst}"
