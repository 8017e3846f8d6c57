"""Files that were taken, and their rows that were set aside. Only ever added to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, func, select

from cellmon.records import Refused
from cellmon.store import bulk, schema


@dataclass(frozen=True, kw_only=True)
class FileFact:
    """A file that was taken, and what became of its rows."""

    name: str
    kind: str | None
    sha256: str
    at: np.datetime64
    header: str | None
    rows: int
    taken: int
    known: int
    set_aside: int


@dataclass(frozen=True, kw_only=True)
class AsideFact:
    """A row that was set aside, with what is needed to try it again."""

    id: int
    file_id: int
    file: str
    kind: str | None
    header: str | None
    line: int
    reason: str
    text: str
    retried: bool
    as_read: str | None = None
    """The row, where `text` is words about it."""
    came_in: int | None = None
    """The file with which it came in after all."""

    @property
    def row(self) -> str:
        """The row as it stood in its file, as far as it is kept."""
        return self.text if self.as_read is None else self.as_read


class FilesTaken:
    """The files' part of a session."""

    conn: Connection

    def add_file(self, fact: FileFact, refused: Sequence[Refused]) -> int:
        """Keep a file and the rows of it that were set aside; return its number."""
        values = {**vars(fact), "at": bulk.moment(fact.at)}
        result = self.conn.execute(schema.FILES.insert().values(values))
        assert result.inserted_primary_key is not None
        file_id = int(result.inserted_primary_key[0])
        before = self._aside_before(fact.sha256)
        refused = [r for r in refused if (r.line, r.reason.value) not in before]
        columns: dict[str, list[Any]] = {
            "file_id": [file_id] * len(refused),
            "line": [r.line for r in refused],
            "reason": [r.reason.value for r in refused],
            "text": [r.text for r in refused],
            "as_read": [r.as_read for r in refused],
        }
        bulk.insert(self.conn, schema.SET_ASIDE, columns)
        return file_id

    def _aside_before(self, sha256: str) -> set[tuple[int, str]]:
        """Return the lines that are already set aside from the very same file, with their reasons."""
        a, f = schema.SET_ASIDE, schema.FILES
        query = select(a.c.line, a.c.reason).select_from(a.join(f, a.c.file_id == f.c.id))
        return {(row[0], row[1]) for row in self.conn.execute(query.where(f.c.sha256 == sha256))}

    def newest_file(self) -> int:
        """Return the number of the file added last."""
        return int(self.conn.execute(select(func.max(schema.FILES.c.id))).scalar() or 0)

    def aside(
        self,
        *,
        id_: int | None = None,
        waiting: bool = False,
        most: int | None = None,
        skip: int = 0,
    ) -> list[AsideFact]:
        """Return rows set aside, newest file first: all, one, or so many after some."""
        a, f, r = schema.SET_ASIDE, schema.FILES, schema.RETRIED
        query = (
            select(
                a.c.id,
                a.c.file_id,
                f.c.name,
                f.c.kind,
                f.c.header,
                a.c.line,
                a.c.reason,
                a.c.text,
                a.c.as_read,
                r.c.file_id,
            )
            .select_from(a.join(f, a.c.file_id == f.c.id).outerjoin(r, r.c.aside_id == a.c.id))
            .order_by(a.c.file_id.desc(), a.c.line, a.c.id)
            .limit(most)
            .offset(skip or None)
        )
        if id_ is not None:
            query = query.where(a.c.id == id_)
        if waiting:
            query = query.where(r.c.aside_id.is_(None))
        names = ("id", "file_id", "file", "kind", "header", "line", "reason", "text", "as_read")
        return [
            AsideFact(**dict(zip(names, row[:-1], strict=True)), retried=row[-1] is not None, came_in=row[-1])
            for row in self.conn.execute(query)
        ]

    def mark_retried(self, aside_ids: Sequence[int], *, file_id: int) -> None:
        """Keep that rows set aside came in with a later file; of the first that brought one it stays so."""
        columns = {"aside_id": list(aside_ids), "file_id": [file_id] * len(aside_ids)}
        bulk.insert(self.conn, schema.RETRIED, columns, known="ignore")
