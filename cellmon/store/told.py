"""The signals as they were last put together, so that those of one time are found without all others."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from sqlalchemy import Connection, Select, Table, delete, exists, func, insert, literal, or_, select

from cellmon.store import bulk, schema


@dataclass(frozen=True, kw_only=True)
class ToldSignal:
    """One signal as it stood when something was judged last; `body` is what the monitor made of it.

    It may tell of what was made from `earliest_at` to `last_at`. `outline` is what is shown of it, a
    function of the body; None for what is never shown.
    """

    id: str
    sheet: int
    earliest_at: np.datetime64
    last_at: np.datetime64
    body: Mapping[str, Any]
    outline: Mapping[str, Any] | None = None


class Told:
    """The part of a session that keeps signals as they were put together."""

    conn: Connection

    def keep_told(self, signals: Sequence[ToldSignal], *, among: Collection[str] | None = None) -> None:
        """Replace the signals kept, all or those of some names, by these; the same are not written again.

        Of all, outlines are: another program may make others of the same signals.
        """
        table = schema.TOLD
        query = select(table.c.id, table.c.digest)
        known = {row.id: row.digest for some in _some(query, among) for row in self.conn.execute(some)}
        rows = {signal.id: _row(signal) for signal in signals}
        gone = [id_ for id_, digest in known.items() if id_ not in rows or rows[id_]["digest"] != digest]
        new = {id_: row for id_, row in rows.items() if known.get(id_) != row["digest"]}
        changed, number = sorted({*gone, *new}), self.newest_told_change() + 1
        for kept in (table, schema.OUTLINES, schema.TOLD_CHANGES):
            for i in range(0, len(changed), 500):
                self.conn.execute(delete(kept).where(kept.c.id.in_(changed[i : i + 500])))
        _insert(self.conn, table, list(new.values()))
        _insert(self.conn, schema.TOLD_CHANGES, [{"id": id_, "number": number} for id_ in changed])
        if among is None:
            self.conn.execute(delete(schema.OUTLINES))
        self.keep_outlines(
            {
                one.id: one.outline
                for one in signals
                if one.outline is not None and (among is None or one.id in new)
            }
        )

    def told_changes(self, *, after: int) -> dict[str, int]:
        """Return the signals put together otherwise, or dropped, since a change; of each its last."""
        table = schema.TOLD_CHANGES
        found = self.conn.execute(select(table.c.id, table.c.number).where(table.c.number > after))
        return {row.id: row.number for row in found}

    def newest_told_change(self) -> int:
        """Return the number of the last change among the signals kept, 0 where there is none."""
        return int(self.conn.execute(select(func.max(schema.TOLD_CHANGES.c.number))).scalar() or 0)

    def keep_outlines(self, outlines: Mapping[str, Mapping[str, Any]]) -> None:
        """Keep what is shown of signals that have no outline yet, by their names."""
        rows = [{"id": id_, "body": json.dumps(body, sort_keys=True)} for id_, body in outlines.items()]
        _insert(self.conn, schema.OUTLINES, rows)

    def told(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        among: Collection[str] | None = None,
    ) -> list[tuple[str, str]]:
        """Return the signals that may tell of something made in [start, end], oldest first.

        Of all, or of a few names. Each by its name and a digest of what is kept of it; `told_of` reads that.
        """
        table = schema.TOLD
        query = select(table.c.id, table.c.digest)
        if among is not None:
            query = query.where(table.c.id.in_(sorted(among)))
        if start is not None:
            query = query.where(table.c.last_at >= bulk.moment(start))
        if end is not None:
            query = query.where(table.c.earliest_at <= bulk.moment(end))
        rows = self.conn.execute(query.order_by(table.c.earliest_at, table.c.id)).fetchall()
        return [(id_, digest) for id_, digest in rows]

    def announced_untold(self) -> list[str]:
        """Return the names of what was announced and is not kept as a signal any more."""
        kept = exists().where(schema.TOLD.c.id == schema.ANNOUNCED.c.id)
        return list(self.conn.execute(select(schema.ANNOUNCED.c.id).where(~kept)).scalars())

    def told_of(self, ids: Collection[str]) -> Iterator[ToldSignal]:
        """Yield the signals kept under some names, without their outlines."""
        for some in _some(select(schema.TOLD), ids):
            yield from map(_signal, self.conn.execute(some))

    def told_calls(self, ids: Collection[str]) -> Iterator[tuple[str, list[str]]]:
        """Yield the calls of the signals kept under some names, each call as JSON, beside the name."""
        for some in _some(select(schema.TOLD.c.id, schema.TOLD.c.body), ids):
            for row in self.conn.execute(some):
                yield row.id, _calls_in(row.body)

    def told_among(self, ids: Collection[str]) -> set[str]:
        """Return under which of some names a signal is kept."""
        found = (self.conn.execute(some).scalars() for some in _some(select(schema.TOLD.c.id), ids))
        return set(chain.from_iterable(found))

    def outlines_of(self, ids: Collection[str]) -> Iterator[tuple[str, Mapping[str, Any]]]:
        """Yield what is shown of the signals kept under some names, each beside its name."""
        for some in _some(select(schema.OUTLINES), ids):
            for row in self.conn.execute(some):
                yield row.id, json.loads(row.body)

    def is_without_outlines(self) -> bool:
        """Return whether an older program kept signals, without what is shown of them."""
        told, outlines = schema.TOLD.c.id, schema.OUTLINES.c.id
        kept = self.conn.execute(select(told).where(told != "").limit(1)).first() is not None
        return kept and self.conn.execute(select(outlines).limit(1)).first() is None

    def told_containing(self, words: Collection[str], *, start: np.datetime64 | None = None) -> list[str]:
        """Return the names of signals of which what is kept has one of some words, as JSON writes them.

        With `start` of those that last until then or longer.
        """
        table = schema.TOLD
        said = or_(*(table.c.body.contains(json.dumps(word)[1:-1], autoescape=True) for word in words))
        query = select(table.c.id).where(said)
        if start is not None:
            query = query.where(table.c.last_at >= bulk.moment(start))
        return list(self.conn.execute(query).scalars())

    def sheet_of_told(self, id_: str) -> int | None:
        """Return under which version of the sheet a signal was put together; None where there is none."""
        table = schema.TOLD
        return self.conn.execute(select(table.c.sheet).where(table.c.id == id_)).scalar()


def _some(query: Select[Any], ids: Collection[str] | None) -> Iterator[Select[Any]]:
    """Yield a query for all names, or for some of them a bounded number at a time."""
    if ids is None:
        yield query
        return
    names = sorted(ids)
    for i in range(0, len(names), 500):
        yield query.where(query.selected_columns.id.in_(names[i : i + 500]))


def number_told(conn: Connection) -> None:
    """Give a number to the signals kept that have none."""
    told, changes = schema.TOLD, schema.TOLD_CHANGES
    numbered = select(changes.c.id).where(changes.c.id == told.c.id).exists()
    names = select(told.c.id, literal(1)).where(~numbered)
    conn.execute(insert(changes).from_select(["id", "number"], names))


def _insert(conn: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        bulk.insert(conn, table, {name: [row[name] for row in rows] for name in rows[0]})


def _signal(row: Any) -> ToldSignal:
    return ToldSignal(
        id=row.id,
        sheet=row.sheet,
        earliest_at=np.datetime64(row.earliest_at, "us"),
        last_at=np.datetime64(row.last_at, "us"),
        body=json.loads(row.body),
    )


def _row(signal: ToldSignal) -> dict[str, Any]:
    """Return a signal as a row, its columns in the order of the table."""
    body = _text(signal.body)
    return {
        "id": signal.id,
        "sheet": signal.sheet,
        "earliest_at": bulk.moment(signal.earliest_at),
        "last_at": bulk.moment(signal.last_at),
        "digest": _digest(signal.sheet, body.replace("\n", "")),
        "body": body,
    }


def _text(body: Mapping[str, Any]) -> str:
    """Return a body as JSON, each call on a line: without line ends it is what `json.dumps` makes of it.

    Of a signal that lasts one call changes and hundreds stay: whoever read a line need not read it again.
    """
    values = (f"{json.dumps(name)}: {_value(name, value)}" for name, value in sorted(body.items()))
    return "{" + ", ".join(values) + "}"


def _value(name: str, value: Any) -> str:
    if name != "calls" or not value:
        return json.dumps(value, sort_keys=True)
    calls = ", \n".join(json.dumps(call, sort_keys=True) for call in value)
    return f"[\n{calls}\n]"


def _calls_in(text: str) -> list[str]:
    """Return the calls of a body, each as JSON; an older program kept them on one line."""
    _, *lines = text.split("\n")
    if lines:
        return [line.removesuffix(", ") for line in lines[:-1]]
    return [json.dumps(call, sort_keys=True) for call in json.loads(text)["calls"]]


def _digest(sheet: int, body: str) -> str:
    return hashlib.sha256(f"{sheet}|{body}".encode()).hexdigest()
