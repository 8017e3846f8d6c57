"""A whole cell as an archive holds it: bores by day, what was logged and decided beside them, its sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.errors import NotEnoughData
from cellmon.intake.archive import ARCHIVED_KINDS, CARD, DECIDED, DOUBTS, TRACED, TracedRows
from cellmon.judged import Doubts
from cellmon.monitor.answers import Answer
from cellmon.monitor.bores import BoreTable
from cellmon.monitor.view import View
from cellmon.records import Batch, Kind, Texts
from cellmon.store import Announcement, Decision, TracedFigure

__all__ = ["CARD", "DECIDED", "DOUBTS", "TRACED", "Archive", "SheetText", "archive"]

ARCHIVED_DECISIONS = ("freeze", "respond")
"""Decisions without which limits and signals would not be those of the cell."""


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
    logged: Mapping[Kind, Batch]
    """Events, stones, gauge checks, and what other instruments and eyes found."""
    doubts: Doubts
    traced: TracedRows
    decisions: tuple[Decision, ...]
    """Limits frozen and signals answered."""
    announced: tuple[Announcement, ...]
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
    doubts = view.session.doubts()
    return Archive(
        **head,
        cell=view.sheet.cell.name,
        newest=view.as_of if newest is None else min(newest, view.as_of),
        days=days,
        logged={kind: view.session.rows(kind, end=end) for kind in ARCHIVED_KINDS},
        doubts=doubts.select(doubts.measured_at <= view.as_of),
        traced=_traced(view.session.traced(end=end)),
        decisions=tuple(view.session.decisions(*ARCHIVED_DECISIONS)),
        announced=tuple(one for one in view.session.announced() if one.unit_start <= view.as_of),
        sheets=_sheets(view),
    )


def _traced(figures: Sequence[TracedFigure]) -> TracedRows:
    of = [f.of for f in figures]
    return TracedRows(
        part=_texts([o.part for o in of]),
        bore=_texts([o.bore for o in of]),
        gauge=_texts([o.gauge for o in of]),
        at=np.array([o.at for o in of], dtype="datetime64[us]"),
        spindle=_texts([f.spindle for f in figures]),
        feature=_texts([f.feature for f in figures]),
        value=np.array([np.nan if f.value is None else f.value for f in figures], dtype=np.float64),
        why_not=_texts([f.why_not for f in figures]),
    )


def _texts(words: Sequence[str | None]) -> Texts:
    found = np.empty(len(words), dtype=object)
    found[:] = words
    return found


def _sheets(view: View) -> tuple[SheetText, ...]:
    since = {version.version: version.since for version in view.rules.versions}
    return tuple(
        SheetText(version=sheet.version, since=since[sheet.version], text=sheet.text)
        for sheet in view.session.sheets()
        if sheet.version in since
    )
