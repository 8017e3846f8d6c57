"""How many bores were honed in each unit of judging, measured completely or not: kept with the bores."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from cellmon.records import Texts, Times, Whole
from cellmon.records.alike import numbered
from cellmon.store import bulk, schema
from cellmon.store.chunks import decode

COUNTED = ("unit_start", "spindle", "part", "bore", "part_number")
"""The columns of bores by which they are counted."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HonedInUnits:
    """Bores that each spindle honed of each part in each unit, each bore once, the oldest unit first.

    `end` is the last moment of the unit; a spindle that is not known is an empty text.
    """

    start: Times
    end: Times
    spindle: Texts
    part_number: Texts
    bores: Whole


class KeptHoned:
    """The part of a session that counts what was honed."""

    conn: Connection

    def honed_in_units(self, *, before: np.datetime64 | None = None) -> HonedInUnits:
        """Return what was honed in every unit, or in those begun before a moment."""
        table, bores = schema.HONED, schema.BORES
        columns = (table.c.unit_start, bores.c.last_at, table.c.spindle, table.c.part_number, table.c.bores)
        query = select(*columns).select_from(table.join(bores, table.c.unit_start == bores.c.unit_start))
        if before is not None:
            query = query.where(table.c.unit_start < bulk.moment(before))
        in_order = query.order_by(table.c.unit_start, table.c.part_number, table.c.spindle)
        rows = self.conn.execute(in_order).fetchall()
        start, end, spindle, part_number, count = zip(*rows, strict=True) if rows else ((),) * 5
        return HonedInUnits(
            start=bulk.moments(start),
            end=bulk.moments(end),
            spindle=np.array(spindle, dtype=object),
            part_number=np.array(part_number, dtype=object),
            bores=np.array(count, dtype=np.int64),
        )


def add_honed(conn: Connection, bores: Mapping[str, NDArray[Any]]) -> None:
    """Count bores and keep it: each once a unit, as of the spindle and part that come first.

    `bores` are columns of equal length by name, those of `COUNTED`.
    """
    unit = np.unique(bores["unit_start"], return_inverse=True)[1]
    code = {name: numbered(bores[name])[0] for name in COUNTED[1:]}
    each = np.unique(_key(unit, code["part"], code["bore"]), return_index=True)[1]
    alike = _key(unit[each], code["spindle"][each], code["part_number"][each])
    _, first, count = np.unique(alike, return_index=True, return_counts=True)
    rows = each[first]
    columns: dict[str, list[Any]] = {
        "unit_start": [bulk.moment(start) for start in bores["unit_start"][rows]],
        "spindle": [spindle or "" for spindle in bores["spindle"][rows].tolist()],
        "part_number": bores["part_number"][rows].tolist(),
        "bores": count.tolist(),
    }
    bulk.insert(conn, schema.HONED, columns)


def count_stored(conn: Connection) -> None:
    """Count the bores of every unit that is stored."""
    table = schema.BORES
    for unit in conn.execute(select(table.c.unit_start)).scalars().all():
        data = conn.execute(select(table.c.data).where(table.c.unit_start == unit)).scalar_one()
        add_honed(conn, decode(data, COUNTED))


def _key(*codes: Whole) -> Whole:
    """Return one number for each row: the same where all of some numbers are, -1 the least of them."""
    key = np.zeros(len(codes[0]), dtype=np.int64)
    for code in codes:
        key = key * (int(code.max(initial=-1)) + 2) + code + 1
    return key
