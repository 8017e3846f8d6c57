"""On which days blocks were measured: a join, so that history's length does not count."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Column, Connection, MetaData, Table, Text, select

from cellmon.records import Texts
from cellmon.store import bulk, schema

# without an index of its own, so that each name is looked up among all days and not each day among the names
PROBE = Table("probe", MetaData(), Column("part", Text), prefixes=["TEMPORARY"])


def days_of_parts(conn: Connection, parts: Texts) -> list[int]:
    """Return the days, as the store keeps moments, on which any of these blocks was measured."""
    if conn.execute(select(schema.PART_DAYS.c.part).limit(1)).first() is None:
        return []
    table, names = schema.PART_DAYS, list(dict.fromkeys(parts.tolist()))
    if len(names) == 1:
        found = conn.execute(select(table.c.day).where(table.c.part == names[0])).scalars().all()
        return sorted(found)
    PROBE.create(conn, checkfirst=False)
    bulk.insert(conn, PROBE, {"part": names})
    joined = PROBE.join(table, table.c.part == PROBE.c.part)
    found = conn.execute(select(table.c.day).select_from(joined).distinct()).scalars().all()
    PROBE.drop(conn, checkfirst=False)
    return sorted(found)


def isin(texts: Texts, among: Texts) -> NDArray[np.bool_]:
    """Return which texts are among others."""
    import pandas as pd

    found: NDArray[np.bool_] = pd.Index(texts).isin(among)
    return found
