"""How much a cell has taken, how new the newest is, what waits: figures for whoever watches over it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View


@dataclass(frozen=True, kw_only=True)
class Newest(Answer):
    """When the newest row was measured and the newest file taken; None before there is one."""

    row: datetime | None
    file: datetime | None


@dataclass(frozen=True, kw_only=True)
class Totals(Newest):
    """All that was ever taken; rows = taken + known + set_aside, of which `waiting` still wait."""

    files: int
    rows: int
    taken: int
    known: int
    set_aside: int
    waiting: int
    doubts_open: int
    signals_open: int


def newest(view: View) -> Newest:
    """Answer with how new the newest row and file are; costs little."""
    found = _moments(view)
    return Newest(**view.head(), row=found[0], file=found[1], why_not=_why_not(*found))


def totals(view: View) -> Totals:
    """Answer with the sums over every file, and what waits for a person."""
    session = view.session
    held, found = session.row_totals(), _moments(view)
    return Totals(
        **view.head(),
        row=found[0],
        file=found[1],
        files=session.file_totals().files,
        rows=held.rows,
        taken=held.taken,
        known=held.known,
        set_aside=held.set_aside,
        waiting=sum(session.waiting_by_reason().values()),
        doubts_open=sum(session.open_doubts().values()),
        signals_open=len(view.waiting),
        why_not=_why_not(*found),
    )


def _moments(view: View) -> tuple[datetime | None, datetime | None]:
    row, file = view.session.newest_row(), view.session.file_totals().newest_at
    return (None if row is None else view.local(row)), (None if file is None else view.local(file))


def _why_not(row: datetime | None, file: datetime | None) -> dict[str, str]:
    nothing = "nothing was taken yet"
    return {name: nothing for name, found in (("row", row), ("file", file)) if found is None}
