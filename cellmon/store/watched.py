"""Where the detectors stand at the end of each unit of judging, and which units there are."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, bindparam, delete, select

from cellmon.store import bulk, schema

_FORGET = delete(schema.WATCHED).where(schema.WATCHED.c.unit_start == bindparam("unit"))
"""Said again and again, so put together once."""


class Watched:
    """The detectors' part of a session."""

    conn: Connection

    def put_watched(self, blocks: Mapping[np.datetime64, bytes]) -> None:
        """Keep where the detectors stand at the end of some units."""
        units = [bulk.moment(unit) for unit in blocks]
        if units:
            self.conn.execute(_FORGET, [{"unit": at} for at in units])
            bulk.insert(self.conn, schema.WATCHED, {"unit_start": units, "data": list(blocks.values())})

    def watched_before(self, unit: np.datetime64) -> bytes | None:
        """Return where the detectors stood at the end of the unit before one."""
        table = schema.WATCHED
        query = select(table.c.data).where(table.c.unit_start < bulk.moment(unit))
        found: bytes | None = self.conn.execute(query.order_by(table.c.unit_start.desc()).limit(1)).scalar()
        return found

    def watched_at(self, unit: np.datetime64) -> bytes | None:
        """Return where the detectors stand at the end of one unit."""
        table = schema.WATCHED
        found: bytes | None = self.conn.execute(
            select(table.c.data).where(table.c.unit_start == bulk.moment(unit))
        ).scalar()
        return found

    def forget_watched(self, unit: np.datetime64) -> None:
        """Drop where the detectors stood at the end of a unit, and what they called in it."""
        for table in (schema.WATCHED, schema.ALARMS):
            self.conn.execute(delete(table).where(table.c.unit_start == bulk.moment(unit)))

    def units_watched(self, start: np.datetime64 | None = None) -> NDArray[np.datetime64]:
        """Return every unit at whose end the detectors' place is kept, from one on, oldest first."""
        query = select(schema.WATCHED.c.unit_start)
        if start is not None:
            query = query.where(schema.WATCHED.c.unit_start >= bulk.moment(start))
        return bulk.moments(sorted(self.conn.execute(query).scalars()))

    def last_watched(self, before: np.datetime64, count: int) -> NDArray[np.datetime64]:
        """Return the last so many such units before one, oldest first."""
        started = schema.WATCHED.c.unit_start
        query = select(started).where(started < bulk.moment(before)).order_by(started.desc()).limit(count)
        return bulk.moments(sorted(self.conn.execute(query).scalars()))

    def units_judged(self, start: np.datetime64 | None = None) -> NDArray[np.datetime64]:
        """Return every unit that has subgroups, from one on, oldest first."""
        found: set[int] = set()
        for table in (schema.SUBGROUPS, schema.TOGETHER):
            query = select(table.c.unit_start)
            if start is not None:
                query = query.where(table.c.unit_start >= bulk.moment(start))
            found |= set(self.conn.execute(query).scalars())
        return bulk.moments(sorted(found))
