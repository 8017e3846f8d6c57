"""Provisional limits, one of a stream."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, select

from cellmon.judged import STREAM_COLUMNS, Limit
from cellmon.records import Stream
from cellmon.store import bulk, schema


class Provisional:
    """The provisional limits of a session."""

    conn: Connection

    def provisional(self) -> dict[Stream, Limit]:
        """Return the provisional limits of every stream that has some."""
        table = schema.PROVISIONAL
        return {
            (stream := Stream(**{name: row._mapping[name] for name in STREAM_COLUMNS})): Limit(
                stream=stream,
                centre=np.nan if row.centre is None else row.centre,
                sigma=np.nan if row.sigma is None else row.sigma,
                n=row.n,
                subgroups=row.subgroups,
                size=row.size,
                window_from=np.datetime64(row.window_from, "us"),
                window_to=np.datetime64(row.window_to, "us"),
                learned=None if row.learned is None else json.loads(row.learned),
                why_not=row.why_not,
            )
            for row in self.conn.execute(select(table))
        }

    def put_provisional(self, stream: Stream, limit: Limit | None) -> None:
        """Replace the provisional limits of one stream, or drop them."""
        table = schema.PROVISIONAL
        self.conn.execute(_of_stream(delete(table), table, stream))
        if limit is None:
            return
        known = np.isfinite(limit.sigma)
        self.conn.execute(
            table.insert().values(
                **{name: getattr(stream, name) for name in STREAM_COLUMNS},
                centre=limit.centre if known else None,
                sigma=limit.sigma if known else None,
                n=limit.n,
                subgroups=limit.subgroups,
                size=limit.size,
                window_from=bulk.moment(limit.window_from),
                window_to=bulk.moment(limit.window_to),
                learned=None if limit.learned is None else json.dumps(limit.learned, sort_keys=True),
                why_not=limit.why_not,
            )
        )


def _of_stream(query: Any, table: Any, stream: Stream) -> Any:
    for name in STREAM_COLUMNS:
        value = getattr(stream, name)
        query = query.where(table.c[name].is_(None) if value is None else table.c[name] == value)
    return query
