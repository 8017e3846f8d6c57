"""Rows that were set aside, and what became of them."""

from __future__ import annotations

import csv
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from cellmon.errors import NotFound, WrongUsage
from cellmon.intake.columns import own_names
from cellmon.intake.delimited import separator_of
from cellmon.monitor.answers import Answer
from cellmon.monitor.row_words import reason_words, row_text
from cellmon.monitor.view import View
from cellmon.records import Reason
from cellmon.store import AsideFact, Decision, Session
from cellmon.words import say, to_say

TAKE_ROW = "take-row"
"""The kind of decision by which a person takes a row in words of their own."""


@dataclass(frozen=True, kw_only=True)
class Corrected:
    """What a person wrote in place of a row set aside; the row itself stands as it was."""

    text: str
    by: str
    why: str
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One cell of a row under its column; None where one of the two is missing."""

    column: str | None
    cell: str | None


@dataclass(frozen=True, kw_only=True)
class AsideRow:
    """One row set aside; `state` is `waiting` or `taken` (after a retry, or as a person corrected it)."""

    id: int
    file: str
    line: int
    reason: str
    text: str
    state: str
    kind: str | None = None
    header: str | None = None
    as_read: str | None = None
    """The row as it stood in its file, where `text` is words about it."""
    means: str = ""
    helps: str = ""
    corrected: Corrected | None = None
    cells: tuple[Cell, ...] = ()
    """What stands under each column, where one row is asked for and its text is the row."""
    part: str | None = None
    """The block that such a row names, as it stands or as it was corrected."""


@dataclass(frozen=True, kw_only=True)
class Aside(Answer):
    """Rows set aside, newest file first; `waiting` counts all that wait, by their reason."""

    rows: tuple[AsideRow, ...]
    waiting: Mapping[str, int] = field(default_factory=dict)
    more: bool = False
    """Whether further rows follow those shown."""


def aside(view: View, *, waiting: bool = False, most: int | None = None, skip: int = 0) -> Aside:
    """Answer with rows set aside: all, or only those that wait; so many at most, after some."""
    found = view.session.aside(waiting=waiting, most=None if most is None else most + 1, skip=skip)
    shown = found if most is None else found[:most]
    decided = {d.subject: d for d in view.session.decisions(TAKE_ROW)} if shown else {}
    return Aside(
        **view.head(),
        rows=tuple(_row(view, fact, decided.get(subject_of(fact.id))) for fact in shown),
        waiting=view.session.waiting_by_reason(),
        more=len(found) > len(shown),
    )


def aside_row(view: View, row: str) -> AsideRow:
    """Answer with one row set aside, by its number or as FILE:LINE.

    Raises
    ------
    NotFound
        When no such row was set aside.
    WrongUsage
        When several rows that wait have that file and line.
    """
    fact = find_row(view.session, row)
    decided = view.session.decisions(TAKE_ROW, subject=subject_of(fact.id))
    shown, cells = _row(view, fact, decided[-1] if decided else None), _cells(fact, fact.row)
    as_read = _cells(fact, shown.corrected.text) if shown.corrected else cells
    return replace(shown, cells=cells, part=_part(as_read, view.sheet.columns))


def _part(cells: Sequence[Cell], renamed: Mapping[str, str]) -> str | None:
    """Return the serial in a row."""
    ours = own_names([cell.column or "" for cell in cells], renamed)
    return next((c.cell for name, c in zip(ours, cells, strict=True) if name in ("part", "serial")), None)


def _cells(fact: AsideFact, text: str) -> tuple[Cell, ...]:
    """Return a row cell by cell; nothing where only words about it are kept."""
    header = fact.header or ""
    separator = separator_of(header, text)
    columns = next(csv.reader([header], delimiter=separator), [])
    cells = [cell.strip() for cell in next(csv.reader(text.splitlines() or [""], delimiter=separator), [])]
    if fact.reason == Reason.CONTRADICTS and len(cells) != len(columns):
        return ()
    pairs = itertools.zip_longest(columns, cells)
    return tuple(Cell(column=column, cell=cell) for column, cell in pairs)


def find_row(session: Session, row: str) -> AsideFact:
    """Return the row set aside that a person names; refusals as `aside_row`."""
    if row.isdecimal() and len(row) < 16:
        found = session.aside(id_=int(row))
    else:
        file, _, line = row.rpartition(":")
        number = int(line) if line.isdecimal() and len(line) < 16 else None
        found = [a for a in session.aside() if (a.file, a.line) == (file, number)]
        found = [a for a in found if not a.retried] or found[:1]
    if not found:
        text = to_say("no row {row} was set aside; `cellmon aside` lists them as FILE and line")
        raise NotFound(say(text, row=row))
    if len(found) > 1:
        numbers = say(" or ").join(str(a.id) for a in found)
        text = to_say("{row} waits more than once; name the row by its number: {numbers}")
        raise WrongUsage(say(text, row=row, numbers=numbers))
    return found[0]


def subject_of(row: int) -> str:
    """Return under which subject the decision about a row set aside is kept."""
    return f"row {row}"


def _row(view: View, fact: AsideFact, decided: Decision | None) -> AsideRow:
    words = reason_words(fact.reason)
    corrected = None
    if decided is not None:
        corrected = Corrected(
            text=decided.body["text"], by=decided.by, why=decided.why, at=view.local(decided.at)
        )
    return AsideRow(
        id=fact.id,
        file=fact.file,
        line=fact.line,
        reason=fact.reason,
        text=row_text(fact.reason, fact.text),
        state="taken" if fact.retried else "waiting",
        kind=fact.kind,
        header=fact.header,
        as_read=fact.as_read,
        means=words.means,
        helps=words.helps,
        corrected=corrected,
    )
