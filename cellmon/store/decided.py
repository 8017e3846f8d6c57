"""What people decided, the versions of the sheet, and what was announced. Only ever added to."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, Select, func, select

from cellmon.errors import WrongUsage
from cellmon.store import bulk, schema
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class Decision:
    """One thing a named person decided; `body` says what, `subject` about what."""

    id: int
    at: np.datetime64
    by: str
    why: str
    kind: str
    subject: str
    body: Mapping[str, Any]
    hash: str = ""


@dataclass(frozen=True, kw_only=True)
class SheetVersion:
    """One version of the sheet; in force from a moment on, or not (yet) at all."""

    version: int
    at: np.datetime64
    in_force_from: np.datetime64 | None
    text: str


@dataclass(frozen=True, kw_only=True)
class Announcement:
    """What was shown as a signal, and when; `body` is the episode as it was then."""

    id: str
    at: np.datetime64
    unit_start: np.datetime64
    stream: str
    body: Mapping[str, Any]


class Decided:
    """The decisions half of a session."""

    conn: Connection

    def decide(
        self, *, at: np.datetime64, by: str, why: str, kind: str, subject: str, body: Mapping[str, Any]
    ) -> int:
        """Journal a decision; each entry carries the hash of the one before. Returns its number.

        Raises
        ------
        WrongUsage
            When it has no name or no reason.
        """
        if not by.strip() or not why.strip():
            raise WrongUsage(say("a decision needs a name and a reason"))
        table = schema.DECISIONS
        last = self.conn.execute(select(table.c.hash).order_by(table.c.id.desc()).limit(1)).scalar()
        values = {
            "at": bulk.moment(at),
            "by": by,
            "why": why,
            "kind": kind,
            "subject": subject,
            "body": json.dumps(body, sort_keys=True),
            "previous": last or "",
        }
        values["hash"] = _hash(values)
        result = self.conn.execute(table.insert().values(values))
        assert result.inserted_primary_key is not None
        return int(result.inserted_primary_key[0])

    def decisions(
        self, *kinds: str, subject: str | None = None, naming: str | None = None, after: int = 0
    ) -> list[Decision]:
        """Return decisions of some kinds, or of all, in the order taken, or those about or naming one thing.

        `naming` is a word of the body, such as the serial of a block among many; `after` the number of one
        that was taken before all that are wanted.
        """
        table = schema.DECISIONS
        names = ("id", "at", "by", "why", "kind", "subject", "body", "hash")
        query = select(*(table.c[name] for name in names)).order_by(table.c.id)
        if kinds:
            query = query.where(table.c.kind.in_(kinds))
        if after:
            query = query.where(table.c.id > after)
        if subject is not None:
            query = query.where(table.c.subject == subject)
        if naming is not None:
            query = query.where(table.c.body.contains(json.dumps(naming), autoescape=True))
        return [
            Decision(
                id=row.id,
                at=np.datetime64(row.at, "us"),
                by=row.by,
                why=row.why,
                kind=row.kind,
                subject=row.subject,
                body=json.loads(row.body),
                hash=row.hash,
            )
            for row in self.conn.execute(query)
        ]

    def newest_decision(self) -> int:
        """Return the number of the decision taken last, 0 where there is none."""
        return int(self.conn.execute(select(func.max(schema.DECISIONS.c.id))).scalar() or 0)

    def broken_decision(self) -> int | None:
        """Return the first decision that was changed, or follows a gap; None where the journal is whole."""
        table, previous = schema.DECISIONS, ""
        for row in self.conn.execute(select(table).order_by(table.c.id)).mappings():
            values = {name: row[name] for name in CHAINED}
            if row["previous"] != previous or row["hash"] != _hash(values):
                return int(row["id"])
            previous = row["hash"]
        return None

    def add_sheet(
        self, text: str, *, at: np.datetime64, in_force_from: np.datetime64 | None, sha256: str
    ) -> int:
        """Keep a version of the sheet; return its number."""
        table = schema.SHEETS
        version = (self.conn.execute(select(func.max(table.c.version))).scalar() or 0) + 1
        self.conn.execute(
            table.insert().values(
                version=version,
                at=bulk.moment(at),
                in_force_from=None if in_force_from is None else bulk.moment(in_force_from),
                text=text,
                sha256=sha256,
            )
        )
        return int(version)

    def sheets(self) -> list[SheetVersion]:
        """Return every version of the sheet, oldest first, with the moment its adoption names."""
        table = schema.SHEETS
        adopted = {
            d.body["version"]: np.datetime64(d.body["in_force_from"], "us") for d in self.decisions("adopt")
        }
        query = select(table.c.version, table.c.at, table.c.in_force_from, table.c.text)
        return [
            SheetVersion(
                version=row.version,
                at=np.datetime64(row.at, "us"),
                in_force_from=adopted.get(row.version, _moment(row.in_force_from)),
                text=row.text,
            )
            for row in self.conn.execute(query.order_by(table.c.version))
        ]

    def announce(self, announcements: Sequence[Announcement]) -> None:
        """Keep what is now shown as signals for the first time."""
        columns: dict[str, list[Any]] = {
            "id": [a.id for a in announcements],
            "at": [bulk.moment(a.at) for a in announcements],
            "unit_start": [bulk.moment(a.unit_start) for a in announcements],
            "stream": [a.stream for a in announcements],
            "body": [json.dumps(a.body, sort_keys=True) for a in announcements],
        }
        bulk.insert(self.conn, schema.ANNOUNCED, columns)

    def announced(self) -> list[Announcement]:
        """Return all that was announced."""
        table = schema.ANNOUNCED
        return self._announced(select(table).order_by(table.c.unit_start, table.c.id))

    def announced_as(self, names: Iterable[str]) -> list[Announcement]:
        """Return what was announced under some names."""
        table, wanted, found = schema.ANNOUNCED, sorted(set(names)), list[Announcement]()
        for i in range(0, len(wanted), 500):
            found += self._announced(select(table).where(table.c.id.in_(wanted[i : i + 500])))
        return found

    def announced_of(self, ids: Iterable[str]) -> set[str]:
        """Return which of some names were announced."""
        table, names, found = schema.ANNOUNCED, sorted(set(ids)), set[str]()
        for i in range(0, len(names), 500):
            query = select(table.c.id).where(table.c.id.in_(names[i : i + 500]))
            found |= set(self.conn.execute(query).scalars())
        return found

    def announced_between(self, start: np.datetime64, end: np.datetime64) -> list[Announcement]:
        """Return what was announced of calls in [start, end]."""
        table = schema.ANNOUNCED
        query = select(table).where(table.c.unit_start.between(bulk.moment(start), bulk.moment(end)))
        return self._announced(query.order_by(table.c.unit_start, table.c.id))

    def _announced(self, query: Select[Any]) -> list[Announcement]:
        return [
            Announcement(
                id=row.id,
                at=np.datetime64(row.at, "us"),
                unit_start=np.datetime64(row.unit_start, "us"),
                stream=row.stream,
                body=json.loads(row.body),
            )
            for row in self.conn.execute(query)
        ]


CHAINED = ("at", "by", "why", "kind", "subject", "body", "previous")
"""What the hash of a decision is taken of."""


def _hash(values: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(dict(values), sort_keys=True).encode()).hexdigest()


def _moment(value: int | None) -> np.datetime64 | None:
    return None if value is None else np.datetime64(value, "us")
