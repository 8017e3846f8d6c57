"""Provisional limits, one of a stream."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from sqlalchemy import Connection, bindparam, delete, select

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

    def put_provisional(self, limits: Mapping[Stream, Limit | None]) -> None:
        """Replace the provisional limits of some streams, or drop those of one that has none."""
        names = [{name: getattr(stream, name) for name in STREAM_COLUMNS} for stream in limits]
        if names:
            self.conn.execute(_FORGET, names)
        rows = [_row(stream, limit) for stream, limit in limits.items() if limit is not None]
        columns = {name: [row[name] for row in rows] for name in (rows[0] if rows else ())}
        bulk.insert(self.conn, schema.PROVISIONAL, columns)


_FORGET = delete(schema.PROVISIONAL).where(
    *(schema.PROVISIONAL.c[name].is_not_distinct_from(bindparam(name)) for name in STREAM_COLUMNS)
)


def _row(stream: Stream, limit: Limit) -> dict[str, Any]:
    known = np.isfinite(limit.sigma)
    return {
        **{name: getattr(stream, name) for name in STREAM_COLUMNS},
        "centre": limit.centre if known else None,
        "sigma": limit.sigma if known else None,
        "n": limit.n,
        "subgroups": limit.subgroups,
        "size": limit.size,
        "window_from": bulk.moment(limit.window_from),
        "window_to": bulk.moment(limit.window_to),
        "learned": None if limit.learned is None else json.dumps(limit.learned, sort_keys=True),
        "why_not": limit.why_not,
    }
