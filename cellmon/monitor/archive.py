"""A whole cell as an archive holds it: its bores by day, what was logged beside them, its sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.errors import NotEnoughData
from cellmon.monitor.answers import Answer
from cellmon.monitor.bores import BoreTable
from cellmon.monitor.view import View
from cellmon.records import Events, Kind


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetText:
    """A version of the sheet as it was written, and from when it judges."""

    version: int
    since: np.datetime64
    text: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Archive(Answer):
    """All of a cell that a study needs; days are those on which units of judging begin."""

    cell: str
    newest: np.datetime64
    days: Mapping[str, BoreTable]
    events: Events
    sheets: tuple[SheetText, ...]


def archive(view: View) -> Archive:
    """Return the cell up to the moment of the view.

    Raises
    ------
    NotEnoughData
        Where no bore was measured.
    """
    bores = view.session.bores(end=view.as_of)
    if not len(bores):
        raise NotEnoughData("bores to archive", need=1, got=0)
    units, unit = np.unique(bores.unit_start, return_inverse=True)
    day = np.array([view.local(start).date().isoformat() for start in units])[unit]
    head = view.head()
    days = {str(d): BoreTable(**head, bores=bores.select(day == d)) for d in np.unique(day)}
    newest = view.session.newest_reading()
    end = view.as_of + np.timedelta64(1, "us")
    return Archive(
        **head,
        cell=view.sheet.cell.name,
        newest=view.as_of if newest is None else min(newest, view.as_of),
        days=days,
        events=view.session.rows(Kind.EVENTS, end=end),
        sheets=_sheets(view),
    )


def _sheets(view: View) -> tuple[SheetText, ...]:
    since = {version.version: version.since for version in view.rules.versions}
    return tuple(
        SheetText(version=sheet.version, since=since[sheet.version], text=sheet.text)
        for sheet in view.session.sheets()
        if sheet.version in since
    )
