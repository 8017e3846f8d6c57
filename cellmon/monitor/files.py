"""The files that were taken, newest first, and what of them waits for a person."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import local
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.shifts import to_utc
from cellmon.store import ListedFile, ReadingBlocks, Session
from cellmon.words import say, say_many

MOST = 200
"""So many files are listed unless told otherwise."""
DoubtedKey = tuple[str, str, int]
"""A measurement: its part, its bore and its moment, microseconds."""


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
    flagged = _flagged(view, listed)
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


def _flagged(view: View, listed: Sequence[ListedFile]) -> dict[int, int]:
    """Return how many doubted measurements each file brought; blocks are opened where one is near, once."""
    lie = _blocks(view, [one.id for one in listed])
    if not lie:
        return {}
    first, last = min(b.first_at.min() for b in lie.values()), max(b.last_at.max() for b in lie.values())
    doubted = view.session.doubted_between(first, last)
    at = doubted.at.astype(np.int64)
    wanted = list(zip(doubted.part.tolist(), doubted.bore.tolist(), at.tolist(), strict=True))
    near, file_of = dict[int, tuple[DoubtedKey, ...]](), dict[int, int]()
    for file_id, blocks in lie.items() if wanted else ():
        starts = np.searchsorted(doubted.at, blocks.first_at)
        ends = np.searchsorted(doubted.at, blocks.last_at, side="right")
        for i in np.flatnonzero(ends > starts):
            id_ = int(blocks.id[i])
            near[id_], file_of[id_] = tuple(wanted[starts[i] : ends[i]]), file_id
    brought = view.carry_each("doubts of blocks", near, lambda id_: _brought(view.session, id_, near[id_]))
    found: dict[int, set[DoubtedKey]] = {}
    for id_, keys in brought.items():
        found.setdefault(file_of[id_], set()).update(keys)
    return {file_id: len(keys) for file_id, keys in found.items()}


def _blocks(view: View, ids: Sequence[int]) -> dict[int, ReadingBlocks]:
    """Return where the readings of those files lie that brought any; that never changes and is read once."""
    known: dict[int, ReadingBlocks | None] = view.carry("blocks of files", None, dict)
    new = [id_ for id_ in ids if id_ not in known]
    known.update(dict.fromkeys(new) | view.session.blocks_of_files(new))
    return {id_: blocks for id_ in ids if (blocks := known[id_]) is not None}


def _brought(session: Session, block: int, doubted: Collection[DoubtedKey]) -> frozenset[DoubtedKey]:
    """Return which of some doubted measurements a block of readings holds."""
    rows = session.keys_of_block(block)
    moments = rows.at.astype(np.int64)
    here = np.flatnonzero(np.isin(moments, [moment for _, _, moment in doubted]))
    return frozenset(doubted) & {(rows.part[i], rows.bore[i], int(moments[i])) for i in here}


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
