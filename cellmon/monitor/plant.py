"""The cells of one PostgreSQL database: which there are, and when each was last fed. Opens no cell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from cellmon import local
from cellmon.shifts import to_local
from cellmon.store import plant_cells
from cellmon.words import say, say_many

UTC = ZoneInfo("UTC")


@dataclass(frozen=True, kw_only=True)
class CellOfPlant:
    """One cell; moments in UTC, None where nothing was taken yet."""

    cell: str
    schema: int
    files: int
    readings: int
    units: int
    """Units of judging that have bores."""
    newest: datetime | None
    """When its newest bore was measured."""
    taken_at: datetime | None
    """When its newest file was taken."""


@dataclass(frozen=True, kw_only=True)
class Plant:
    """All cells of a database, by name."""

    sentence: str
    cells: tuple[CellOfPlant, ...]


def plant(url: str) -> Plant:
    """Return the cells that a database holds.

    Raises
    ------
    StoreRefused
        Where it cannot be reached, or is none that holds several.
    """
    cells = tuple(
        CellOfPlant(
            cell=one.cell,
            schema=one.schema,
            files=one.files,
            readings=one.readings,
            units=one.units,
            newest=_moment(one.newest),
            taken_at=_moment(one.taken),
        )
        for one in plant_cells(url)
    )
    return Plant(sentence=_sentence(cells), cells=cells)


def _sentence(cells: tuple[CellOfPlant, ...]) -> str:
    if not cells:
        return say("No cell yet; one is made by a sheet whose store url ends in ?cell=NAME.")
    return say_many(
        "{count} cell with {readings} rows of readings from {files} files.",
        "{count} cells with {readings} rows of readings from {files} files.",
        len(cells),
        readings=local.number(sum(one.readings for one in cells)),
        files=local.number(sum(one.files for one in cells)),
    )


def _moment(at: np.datetime64 | None) -> datetime | None:
    return None if at is None else to_local(at, UTC)
