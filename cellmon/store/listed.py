"""Files, rows set aside and doubts as people look through them: the newest first, so many at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, Select, func, select

from cellmon.judged import Doubts
from cellmon.records import ColumnType, Texts, Times, Whole
from cellmon.store import bulk, schema
from cellmon.store.chunks import decode

AT_ONCE = 500
"""So many numbers stand in one query."""


@dataclass(frozen=True, kw_only=True)
class ListedFile:
    """A file that was taken, and how many of its rows set aside still wait."""

    id: int
    name: str
    kind: str | None
    at: np.datetime64
    rows: int
    taken: int
    known: int
    set_aside: int
    waiting: int


@dataclass(frozen=True, kw_only=True)
class FileTotals:
    """How many files there are, and what those taken since a moment held."""

    files: int
    newest_at: np.datetime64 | None


@dataclass(frozen=True, kw_only=True)
class RowTotals:
    """What all files held; rows = taken + known + set_aside."""

    rows: int
    taken: int
    known: int
    set_aside: int


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadingBlocks:
    """Where the readings of a file lie: the numbers of its blocks, and the first and last moment of each."""

    id: Whole
    first_at: Times
    last_at: Times


@dataclass(frozen=True, kw_only=True, eq=False)
class RowKeys:
    """The part, the bore and the moment of each of some rows."""

    part: Texts
    bore: Texts
    at: Times


class Listed:
    """The part of a session that lists files."""

    conn: Connection

    def file_totals(self) -> FileTotals:
        """Return how many files were taken, and when the newest was."""
        row = self.conn.execute(select(func.count(), func.max(schema.FILES.c.at))).one()
        newest = None if row[1] is None else np.datetime64(int(row[1]), "us")
        return FileTotals(files=int(row[0]), newest_at=newest)

    def row_totals(self) -> RowTotals:
        """Return what became of the rows of every file."""
        names = ("rows", "taken", "known", "set_aside")
        found = self.conn.execute(select(*(func.sum(schema.FILES.c[name]) for name in names))).one()
        return RowTotals(**{name: int(n or 0) for name, n in zip(names, found, strict=True)})

    def files_since(self, at: np.datetime64) -> int:
        """Return how many files were taken from a moment on."""
        query = select(func.count()).where(schema.FILES.c.at >= bulk.moment(at))
        return int(self.conn.execute(query).scalar() or 0)

    def files_listed(self, *, most: int, before: int | None = None) -> list[ListedFile]:
        """Return so many files, the newest first; with `before` those taken before that number."""
        f = schema.FILES
        names = ("id", "name", "kind", "at", "rows", "taken", "known", "set_aside")
        query = select(*(f.c[name] for name in names)).order_by(f.c.id.desc()).limit(most)
        if before is not None:
            query = query.where(f.c.id < before)
        rows = self.conn.execute(query).mappings().all()
        waiting = self._waiting_of([row["id"] for row in rows if row["set_aside"]])
        return [
            ListedFile(**{**row, "at": np.datetime64(row["at"], "us")}, waiting=waiting.get(row["id"], 0))
            for row in rows
        ]

    def _waiting_of(self, ids: Sequence[int]) -> dict[int, int]:
        a = schema.SET_ASIDE
        found: dict[int, int] = {}
        for start in range(0, len(ids), AT_ONCE):
            query = _waiting(select(a.c.file_id, func.count()))
            query = query.where(a.c.file_id.in_(ids[start : start + AT_ONCE])).group_by(a.c.file_id)
            found |= {int(row[0]): int(row[1]) for row in self.conn.execute(query)}
        return found

    def sha256_of(self, id_: int) -> str:
        """Return the hash of a file that was taken."""
        return str(self.conn.execute(select(schema.FILES.c.sha256).where(schema.FILES.c.id == id_)).scalar())

    def waiting_lines(self, sha256: str) -> dict[int, int]:
        """Return the rows that wait of the very same file: the line of each by its number."""
        a, f = schema.SET_ASIDE, schema.FILES
        query = _waiting(select(a.c.id, a.c.line)).where(
            a.c.file_id.in_(select(f.c.id).where(f.c.sha256 == sha256))
        )
        return {int(row[0]): int(row[1]) for row in self.conn.execute(query)}

    def waiting_by_reason(self) -> Mapping[str, int]:
        """Return how many rows set aside wait, by their reason, the most first."""
        a = schema.SET_ASIDE
        query = _waiting(select(a.c.reason, func.count())).group_by(a.c.reason)
        found = {str(row[0]): int(row[1]) for row in self.conn.execute(query)}
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    def open_doubts(self) -> Mapping[str, int]:
        """Return how many doubts nobody has decided, by their flag, the most first."""
        d = schema.DOUBTS
        query = select(d.c.flag, func.count()).where(d.c.id.not_in(_decided())).group_by(d.c.flag)
        found = {str(row[0]): int(row[1]) for row in self.conn.execute(query)}
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    def doubts_listed(
        self, *, flag: str | None = None, waiting: bool = False, most: int | None = None, skip: int = 0
    ) -> Doubts:
        """Return doubts, the newest first: of one flag or all, so many after some."""
        d = schema.DOUBTS
        query = select(*bulk.declared_columns(d, Doubts.columns())).order_by(d.c.measured_at.desc(), d.c.id)
        if flag is not None:
            query = query.where(d.c.flag == flag)
        if waiting:
            query = query.where(d.c.id.not_in(_decided()))
        query = query.limit(most).offset(skip or None)
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def first_doubted(self, *, flag: str, words: str) -> np.datetime64 | None:
        """Return the oldest moment that a waiting doubt of one flag and wording is about."""
        d = schema.DOUBTS
        query = select(d.c.measured_at).where(d.c.flag == flag, d.c.words == words)
        query = query.where(d.c.id.not_in(_decided())).order_by(d.c.measured_at).limit(1)
        found = self.conn.execute(query).scalar()
        return None if found is None else bulk.moments([found])[0]

    def blocks_of_files(self, ids: Sequence[int]) -> dict[int, ReadingBlocks]:
        """Return where the readings of some files lie; a file that brought none is left out."""
        r = schema.READINGS
        rows: dict[int, list[tuple[int, int, int]]] = {}
        for start in range(0, len(ids), AT_ONCE):
            query = select(r.c.file_id, r.c.id, r.c.first_at, r.c.last_at)
            for file_id, *block in self.conn.execute(
                query.where(r.c.file_id.in_(ids[start : start + AT_ONCE]))
            ):
                rows.setdefault(file_id, []).append(tuple(block))
        return {file_id: _lie(blocks) for file_id, blocks in rows.items()}

    def keys_of_block(self, id_: int) -> RowKeys:
        """Return of which part, bore and moment the rows of a block are."""
        query = select(schema.READINGS.c.data).where(schema.READINGS.c.id == id_)
        columns = decode(self.conn.execute(query).scalar_one(), ("part", "bore", "measured_at"))
        return RowKeys(part=columns["part"], bore=columns["bore"], at=columns["measured_at"])

    def doubted_between(self, first: np.datetime64, last: np.datetime64) -> RowKeys:
        """Return of which part, bore and moment the doubts are about [first, last], oldest first."""
        table = schema.DOUBTS
        query = (
            select(table.c.part, table.c.bore, table.c.measured_at)
            .where(table.c.measured_at >= bulk.moment(first), table.c.measured_at <= bulk.moment(last))
            .order_by(table.c.measured_at)
        )
        rows = self.conn.execute(query).fetchall()
        part, bore, at = zip(*rows, strict=True) if rows else ((), (), ())
        return RowKeys(
            part=bulk.array(part, ColumnType.TEXT),
            bore=bulk.array(bore, ColumnType.TEXT),
            at=bulk.moments(at),
        )


def _lie(blocks: Sequence[tuple[int, int, int]]) -> ReadingBlocks:
    number, first, last = np.array(blocks, dtype=np.int64).T
    return ReadingBlocks(
        id=number, first_at=first.view("datetime64[us]"), last_at=last.view("datetime64[us]")
    )


def _waiting(query: Select[Any]) -> Select[Any]:
    """Return a query of rows set aside that keeps only those not taken since."""
    a, r = schema.SET_ASIDE, schema.RETRIED
    found = query.select_from(a.outerjoin(r, r.c.aside_id == a.c.id))
    return found.where(r.c.aside_id.is_(None))


def _decided() -> Select[Any]:
    """Return a query of the doubts that somebody decided."""
    decided = schema.DECISIONS
    return select(decided.c.subject).where(decided.c.kind == "correct")
