"""The files that were taken, newest first, and what of them waits for a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import local
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.shifts import to_utc
from cellmon.store import ListedFile, Session
from cellmon.words import say, say_many

MOST = 200
"""So many files are listed unless told otherwise."""


@dataclass(frozen=True, kw_only=True)
class FileRow:
    """One file; rows = taken + known + set_aside, of which `waiting` still wait.

    `flagged` counts its measurements that are doubted, as things stand now.
    """

    id: int
    file: str
    kind: str | None
    at: datetime
    rows: int
    taken: int
    known: int
    set_aside: int
    waiting: int
    flagged: int


@dataclass(frozen=True, kw_only=True)
class Files(Answer):
    """Files taken, newest first; `waiting` and `doubts` count what waits, by reason and by flag."""

    sentence: str
    files: tuple[FileRow, ...]
    total: int
    last_day: int
    """How many came on the day that brought the newest."""
    older: int | None
    """The number to go on from with `before`; None where no older file is left."""
    waiting: Mapping[str, int]
    doubts: Mapping[str, int]


def files(view: View, *, last: int = MOST, before: int | None = None) -> Files:
    """Answer with the files that were taken last, or with those taken before one of them.

    Parameters
    ----------
    view : View
        The cell.
    last : int
        So many files; 0 for all.
    before : int, optional
        The number of a file: those taken before it.
    """
    session = view.session
    totals = session.file_totals()
    listed = session.files_listed(most=last or totals.files, before=before)
    flagged = _flagged(session, listed)
    waiting, doubts = session.waiting_by_reason(), session.open_doubts()
    first = session.files_listed(most=1)
    last_day = 0
    if totals.newest_at is not None:
        day = view.local(totals.newest_at).replace(hour=0, minute=0, second=0, microsecond=0)
        last_day = session.files_since(to_utc(day))
    return Files(
        **view.head(),
        sentence=_sentence(view, first[0] if first else None, last_day, waiting, doubts),
        files=tuple(_row(view, one, flagged.get(one.id, 0)) for one in listed),
        total=totals.files,
        last_day=last_day,
        older=listed[-1].id if listed and session.files_listed(most=1, before=listed[-1].id) else None,
        waiting=waiting,
        doubts=doubts,
    )


def _row(view: View, one: ListedFile, flagged: int) -> FileRow:
    return FileRow(
        id=one.id,
        file=one.name,
        kind=one.kind,
        at=view.local(one.at),
        rows=one.rows,
        taken=one.taken,
        known=one.known,
        set_aside=one.set_aside,
        waiting=one.waiting,
        flagged=flagged,
    )


def _flagged(session: Session, listed: Sequence[ListedFile]) -> dict[int, int]:
    """Return how many doubted measurements each file brought; only blocks that hold one are opened."""
    blocks = session.blocks_of_files([one.id for one in listed])
    if not blocks:
        return {}
    doubted = session.doubted_between(min(b.first_at for b in blocks), max(b.last_at for b in blocks))
    at = doubted.at.astype(np.int64)
    wanted = list(zip(doubted.part.tolist(), doubted.bore.tolist(), at.tolist(), strict=True))
    near, file_of = {}, {}
    for block in blocks:
        start = np.searchsorted(doubted.at, block.first_at)
        end = np.searchsorted(doubted.at, block.last_at, side="right")
        if end > start:
            near[block.id], file_of[block.id] = set(wanted[start:end]), block.file_id
    found: dict[int, set[tuple[str, str, int]]] = {}
    for id_, rows in session.keys_of_blocks(list(near)):
        moments = rows.at.astype(np.int64)
        here = np.flatnonzero(np.isin(moments, [moment for _, _, moment in near[id_]]))
        there = {(rows.part[i], rows.bore[i], int(moments[i])) for i in here}
        found.setdefault(file_of[id_], set()).update(near[id_] & there)
    return {file_id: len(keys) for file_id, keys in found.items()}


def _sentence(
    view: View,
    newest: ListedFile | None,
    last_day: int,
    waiting: Mapping[str, int],
    doubts: Mapping[str, int],
) -> str:
    if newest is None:
        return say("No file was taken yet.")
    at = view.local(newest.at)
    came = say_many(
        "{count} file came on {day}, at {time}: {name}, {rows}.",
        "{count} files came on {day}, the last at {time}: {name}, {rows}.",
        last_day,
        day=local.long_day(at),
        time=local.clock(at),
        name=newest.name,
        rows=say_many("{n} row", "{n} rows", newest.rows, n=local.number(newest.rows)),
    )
    return f"{came} {waits(sum(waiting.values()), sum(doubts.values()))}"


def waits(rows: int, doubts: int) -> str:
    """Return what waits for a person, in one sentence."""
    if not rows and not doubts:
        return say("Nothing waits.")
    aside = say_many("{n} row set aside waits", "{n} rows set aside wait", rows, n=local.number(rows))
    open_ = say_many(
        "{n} measurement is doubted", "{n} measurements are doubted", doubts, n=local.number(doubts)
    )
    if not doubts:
        return say("{rows}.", rows=aside)
    if not rows:
        return say("{doubts}.", doubts=open_)
    return say("{rows}; {doubts}.", rows=aside, doubts=open_)
