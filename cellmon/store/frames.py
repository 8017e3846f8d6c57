"""The sets of planes and directions that readings were made on, each kept once."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sqlalchemy import Connection, and_, select

from cellmon.store import schema


class Frames:
    """What both halves of a session share: the connection, and the frames of readings."""

    def __init__(self, conn: Connection) -> None:
        self.conn = conn

    def frame(self, planes: Sequence[str], directions: Sequence[str]) -> int:
        """Return the number under which a set of planes and directions is kept."""
        table = schema.FRAMES
        key = {"planes": json.dumps(list(planes)), "directions": json.dumps(list(directions))}
        where = and_(*(table.c[name] == value for name, value in key.items()))
        found = self.conn.execute(select(table.c.id).where(where)).scalar()
        if found is None:
            result = self.conn.execute(table.insert().values(key))
            assert result.inserted_primary_key is not None
            found = result.inserted_primary_key[0]
        return int(found)

    def frames(self) -> dict[int, tuple[tuple[str, ...], tuple[str, ...]]]:
        """Return every set of planes and directions by its number."""
        table = schema.FRAMES
        rows = self.conn.execute(select(table.c.id, table.c.planes, table.c.directions))
        return {i: (tuple(json.loads(p)), tuple(json.loads(d))) for i, p, d in rows}
