"""Blocks of what is judged, read once by a session that only reads: many streams ask for the same ones."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from sqlalchemy import Connection, Row, Select, Table

from cellmon.records import Frame
from cellmon.store.blocks import overlapping
from cellmon.store.frames import Frames

MOST_BLOCKS = 48
"""So many of one stretch of time are kept; whoever wants more reads the rest for himself."""
MOST_STRETCHES = 6


@dataclass(kw_only=True, eq=False)
class _Stretch:
    """The first blocks of a query, as far as anybody wanted them, and where the others come from."""

    query: Select[Any]
    more: Iterator[Row[Any]]
    rows: list[Row[Any]] = field(default_factory=list)

    def each(self, conn: Connection) -> Iterator[Row[Any]]:
        """Yield the blocks in their order."""
        k = 0
        while k < MOST_BLOCKS:
            if k == len(self.rows):
                row = next(self.more, None)
                if row is None:
                    return
                self.rows.append(row)
            yield self.rows[k]
            k += 1
        yield from conn.execute(self.query.offset(MOST_BLOCKS))


class BlocksRead(Frames):
    """The blocks a session reads; where nothing changes under it, it reads them once."""

    only_reads: bool = False
    """Whether the session sees one state from its beginning to its end."""

    def frames(self) -> dict[int, Frame]:
        """Return every set of planes and directions, by number."""
        if not self.only_reads:
            return super().frames()
        known: dict[int, Frame] = vars(self).setdefault("_frames", {})
        if not known:
            known.update(super().frames())
        return known

    def blocks(
        self, table: Table, start: np.datetime64 | None, end: np.datetime64 | None, *, newest_first: bool
    ) -> Iterator[Row[Any]]:
        """Yield the units that may hold rows between two moments, in order of time."""
        if not self.only_reads:
            yield from self.conn.execute(overlapping(table, start, end, newest_first=newest_first))
            return
        known: OrderedDict[tuple[Any, ...], _Stretch] = vars(self).setdefault("_stretches", OrderedDict())
        key = (table.name, start, end, newest_first)
        if key not in known:
            query = overlapping(table, start, end, newest_first=newest_first)
            known[key] = _Stretch(query=query, more=iter(self.conn.execute(query)))
            while len(known) > MOST_STRETCHES:
                known.popitem(last=False)
        known.move_to_end(key)
        yield from known[key].each(self.conn)
